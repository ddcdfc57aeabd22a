/* Floors and roofs: how many whole layers close a fill below and above. SPDX-License-Identifier: Apache-2.0
 *
 * A grid of points is watched. A point in open fill is covered by the floors, then now and then by a strand, then by the
 * roofs: the length of its first run of covered layers is the number of floors, of its last one that of roofs. Points in
 * walls are always covered, points in holes never: neither says anything. The medians over all points are the facts. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/deposit_inside.h"

enum { GRID_CELLS = 23 }; /* a prime, so that no pattern of fill repeats with it */
#define SAME_MM 0.015f

static void look(po_deposit *d)
{
    if (d->probe_area.x0 >= d->probe_area.x1) {
        return;
    }
    int i0 = (d->probe_area.x0 + GRID_CELLS - 1) / GRID_CELLS, j0 = (d->probe_area.y0 + GRID_CELLS - 1) / GRID_CELLS;
    for (int j = j0; j * GRID_CELLS < d->probe_area.y1 && j < d->probes_h; j++) {
        for (int i = i0; i * GRID_CELLS < d->probe_area.x1 && i < d->probes_w; i++) {
            probe *p = &d->probes[j * d->probes_w + i];
            float h = height_at(d, i * GRID_CELLS, j * GRID_CELLS);
            if (h > d->probe_z - SAME_MM && h < d->probe_z + SAME_MM) {
                p->run += p->run < UINT16_MAX;
            } else if (p->run) {
                p->first = p->first ? p->first : p->run;
                p->last = p->run;
                p->runs += p->runs < UINT16_MAX;
                p->run = 0;
            }
        }
    }
}

bool po_deposit_probe(po_deposit *d, const work *w)
{
    if (!d->probes) {
        d->probes_w = d->width / GRID_CELLS;
        d->probes_h = d->height / GRID_CELLS;
        d->probes = calloc((size_t)d->probes_w * (size_t)d->probes_h + 1, sizeof *d->probes);
        if (!d->probes) {
            return false;
        }
    }
    float z = w->batch->z_high;
    if (z > d->probe_z - SAME_MM && z < d->probe_z + SAME_MM) { /* the same height goes on */
        po_cells *a = &d->probe_area;
        a->x0 = w->used.x0 < a->x0 ? w->used.x0 : a->x0;
        a->y0 = w->used.y0 < a->y0 ? w->used.y0 : a->y0;
        a->x1 = w->used.x1 > a->x1 ? w->used.x1 : a->x1;
        a->y1 = w->used.y1 > a->y1 ? w->used.y1 : a->y1;
        return true;
    }
    look(d);
    d->probe_z = z;
    d->probe_area = w->used;
    return true;
}

static int by_value(const void *a, const void *b)
{
    return (int)*(const uint16_t *)a - (int)*(const uint16_t *)b;
}

bool po_deposit_probed(po_deposit *d, double *ret_floors, double *ret_roofs)
{
    *ret_floors = *ret_roofs = NAN;
    look(d);
    d->probe_area = (po_cells){0, 0, 0, 0};
    size_t n = (size_t)d->probes_w * (size_t)d->probes_h, m = 0;
    uint16_t *floors = malloc((n + 1) * sizeof *floors), *roofs = malloc((n + 1) * sizeof *roofs);
    if (!floors || !roofs) {
        free(floors);
        free(roofs);
        return false;
    }
    for (size_t i = 0; d->probes && i < n; i++) {
        const probe *p = &d->probes[i];
        unsigned runs = p->runs + (p->run > 0);
        if (runs >= 2) {
            floors[m] = p->first;
            roofs[m++] = p->run ? p->run : p->last;
        }
    }
    if (m >= 3) {
        qsort(floors, m, sizeof *floors, by_value);
        qsort(roofs, m, sizeof *roofs, by_value);
        *ret_floors = floors[m / 2];
        *ret_roofs = roofs[m / 2];
    }
    free(floors);
    free(roofs);
    return true;
}
