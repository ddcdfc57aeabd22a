/* All facts of a part, piece by piece. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_PARTFACTS_H
#define PO_PART_PARTFACTS_H

#include "proveout/solid.h"

/* Progress over all phases: each phase is a slice of the whole. */
typedef struct po_steps {
    const po_part_options *options;
    uint64_t done, total, slice;
} po_steps;
/* Report what is done and begin a slice that long. PO_E_CANCELLED when the caller does not want to go on. */
po_status po_steps_begin(po_steps *steps, uint64_t slice, po_err *err) PO_MUST_USE;
/* For the work within a slice: a callback as in po_part_options, user is the po_steps. */
bool po_steps_within(uint64_t done, uint64_t total, void *user);

/* Items that are one solid: the same object, turned and scaled alike. */
typedef struct po_copies {
    const po_part_item **items; /* rising by their place in the part */
    size_t n_items;
} po_copies;

/* The part's models as solids, in the order in which they come first. ret_left_out: items that are no models. */
po_status po_part_copies(const po_part *part, po_arena *arena, const po_copies **ret, size_t *ret_n,
                         uint32_t *ret_left_out, po_err *err) PO_MUST_USE;

/* Sentences about what could not be measured. */
typedef struct po_unmeasured {
    po_arena *arena;
    const char **said;
    size_t n, cap;
    bool failed;
} po_unmeasured;
/* True when a part is judged without what failed with this error, which is then said once; false when all must fail. */
bool po_go_without(po_unmeasured *list, const char *what, const po_err *err);

typedef struct po_solid_setup {
    const po_part *part;
    const po_shop *shop;
    const po_part_options *options;
    po_pose_setup pose;
    double bead_mm; /* of the recipe asked for, else the narrowest: walls are measured by it */
    po_steps *steps;
    po_unmeasured *unmeasured;
} po_solid_setup;

enum { PO_SOLID_STEPS = 40, PO_POSES_STEPS = 60, PO_ESTIMATE_STEPS = 20 }; /* of progress, for one solid */

/* Everything about one solid that no machine has a say in, and its fits. */
po_status po_solid_measure(const po_solid_setup *setup, const po_copies *copies, po_arena *arena, po_solid *ret,
                           po_err *err) PO_MUST_USE;

/* Bodies that begin in the air: they reach not down to the lowest point, and are apart_mm and more from the bounds of all
 * others. shells: how many there are. at: the lowest point of the highest; left alone where there is none. */
po_status po_solid_afloat(const po_mesh *mesh, uint64_t shells, double apart_mm, uint64_t *ret_n, double at[3],
                          po_err *err) PO_MUST_USE;

/* Estimates of all solids together for one machine, one for each recipe of the shop. */
typedef struct po_estimating {
    const po_shop *shop;
    const po_solid *solids;
    size_t n_solids;
    const po_machine *machine;
    const po_material *material;
    const po_recipe *asked; /* NULL = any */
    int threads;
    po_steps *steps;
    po_unmeasured *unmeasured;
} po_estimating;

po_status po_part_estimates(const po_estimating *e, po_arena *arena, const po_estimate **ret_estimates,
                            size_t *ret_judged, po_err *err) PO_MUST_USE;
/* Scale at which filament by a recipe meets most_mm, and the filament as it is without any fill. NAN: not to be had. */
po_status po_part_lighter(const po_estimating *e, const po_recipe *recipe, double most_mm, po_arena *arena,
                          double *ret_scale, double *ret_hollow_mm, po_err *err) PO_MUST_USE;

/* The longest side of the shop's machines. */
double po_part_largest_room(const po_shop *shop);
/* By size: what to multiply by (1: plausible), and what was meant. stated: the file says its unit. largest_room_mm: as
 * above. */
double po_part_unit_factor(double largest_side_mm, bool stated, double largest_room_mm, const char **ret_guess);

/* Far larger than anything printed here: a raster over it, or its layers, would take long and say nothing. */
bool po_part_is_vast(const po_shop *shop, const po_mesh_facts *facts);

#endif
