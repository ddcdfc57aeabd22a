/* What unit a part was drawn in, by its size. SPDX-License-Identifier: Apache-2.0
 *
 * An STL says no unit: millimetres are taken, and a largest side below 5 or above twice the machine is asked about
 * (handbook section 6.1). Nothing below 5 mm has the 25 mm2 of foothold that shops ask for, so that asking about it costs
 * nobody a part that would otherwise pass. 3MF states its unit, and only sizes that cannot be printed raise a doubt. The
 * unit offered is the one that makes the part a thing of a few centimetres: common practice, no published source. */
#include "part/partfacts.h"

#include <math.h>

static const double SMALLEST_MM = 5, SMALLEST_STATED_MM = 1; /* of the largest side */
static const double METRE_BELOW = 0.5;                       /* half an inch at most, but up to half a metre: metres */
static const double LARGEST_MM = 2000;                       /* furniture is drawn to be cut into pieces, up to here */
static const double LARGEST_STATED_MM = 10000;
static const double MICRON_ABOVE = 10000; /* 25.4 too large would be 400 mm; beyond, thousandths are likelier */

double po_part_largest_room(const po_shop *shop)
{
    double room = 0;
    for (size_t i = 0; i < shop->n_machines; i++) {
        const po_machine *m = &shop->machines[i];
        room = fmax(room, fmax(m->height_mm, fmax(m->bed_mm[0], m->bed_mm[1])));
    }
    return room;
}

double po_part_unit_factor(double side, bool stated, double room, const char **ret_guess)
{
    *ret_guess = NULL;
    if (!(side > 0) || !isfinite(side)) {
        return 1;
    }
    if (side < (stated ? SMALLEST_STATED_MM : SMALLEST_MM)) {
        if (side < METRE_BELOW) {
            *ret_guess = "metre";
            return 1000;
        }
        *ret_guess = "inch";
        return 25.4;
    }
    if (side > fmax(stated ? LARGEST_STATED_MM : LARGEST_MM, 2 * room)) {
        if (side > MICRON_ABOVE) {
            *ret_guess = "micrometre";
            return 0.001;
        }
        *ret_guess = "millimetre taken for inch";
        return 1 / 25.4;
    }
    return 1;
}

bool po_part_is_vast(const po_shop *shop, const po_mesh_facts *facts)
{
    double side = 0;
    for (int k = 0; k < 3; k++) {
        side = fmax(side, facts->bounds_mm[1][k] - facts->bounds_mm[0][k]);
    }
    return side > fmax(LARGEST_MM, 2 * po_part_largest_room(shop));
}
