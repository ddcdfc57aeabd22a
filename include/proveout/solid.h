/* A mesh as a solid on a bed: sections, walls, poses, room on machines, what it will take. SPDX-License-Identifier: Apache-2.0
 * Lengths in mm, areas in mm2, volumes in mm3, times in s, angles in degrees. docs/measures.md, "Meshes", defines the
 * quantities. NAN = no value. threads: 0 = as many as cores, else 1..64; no answer depends on it. Everything returned
 * lives in the arena given. */
#ifndef PROVEOUT_SOLID_H
#define PROVEOUT_SOLID_H

#include "proveout/loops.h"
#include "proveout/part.h"
#include "proveout/shop.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- sections ---- */

typedef struct po_section {
    double z;
    po_loops loops;     /* raw: one loop for each closed walk over the triangles, material on the left */
    uint32_t open_ends; /* walks that did not close (holes in the mesh); they were closed by a straight edge */
} po_section;

/* The mesh cut at n_z heights, in any order. A corner that lies exactly in the plane counts as above it, so no case is
 * degenerate, and points on an edge that two triangles share are the same number from both: closed meshes give closed
 * loops. ret: room for n_z. A point that repeats the one before is left out, and so is a loop of one
 * point; one of two may be.
 * Errors: PO_E_RANGE (index out of bounds, coordinate or height not finite, coordinate beyond 1e60; err->byte = triangle
 * or vertex), PO_E_LIMIT (more than 2^28 points in all: ask for fewer heights at a time), PO_E_NOMEM. */
PO_API po_status po_mesh_sections(const po_mesh *mesh, const double *z, size_t n_z, int threads, po_arena *arena,
                                  po_section *ret, po_err *err) PO_MUST_USE;

/* ---- walls ---- */

typedef struct po_wall_sample { /* one ray that found less than two beads */
    double at[3], mm;
    bool sheet;            /* the far side faces back: a wall, not the tip of an edge or wedge */
    double normal[3], mm2; /* outwards, of length 1; the area that it stands for, with those left out of the list */
} po_wall_sample;

typedef struct po_wall_facts {
    double bead_mm; /* what thin and slim are measured by */
    uint64_t rays, seed;
    double thinnest_wall_mm, thinnest_at[3]; /* NAN: no ray met a far side */
    double thinnest_sheet_mm, sheet_at[3];   /* the same over sheets alone */
    double thin_wall_mm2, slim_wall_mm2;     /* area below one bead, and from one to two beads */
    double thin_sheet_mm2, slim_sheet_mm2;   /* those of them that are sheets: the rules go by these */
    double area_error_mm2;                   /* standard error of thin_wall_mm2 (binomial) */
    double narrowest_gap_mm, gap_at[3];      /* air between two faces that face each other; NAN: none below a bead */
    double gap_mm2;                          /* area of such faces less than a bead apart */
    const po_wall_sample *samples;           /* thin ones first; at most 4000; for pictures */
    size_t n_samples;
} po_wall_facts;

/* Rays from points spread evenly over the surface by area (low-discrepancy, seeded), inwards and outwards along the
 * normal. rays: 0 = chosen by area and bead (20,000 to a million), at most 2^26. The mesh as in po_mesh_facts.judged; a
 * shell that is inside out is turned. Bodies that overlap or touch count as one, what is buried as no surface. Every ray
 * tells of walls up to two beads, or up to the thinnest sheet where that is below eight; beyond, every eighth does.
 * The answer does not depend on the order of triangles either. A mesh without area: no rays, NANs and zeros.
 * Errors: PO_E_UNSUPPORTED (the ray library is not there), PO_E_RANGE (bead, rays; index or coordinate out of bounds:
 * err->byte is the triangle or vertex), PO_E_NOMEM. */
PO_API po_status po_mesh_walls(const po_mesh *mesh, double bead_mm, size_t rays, uint64_t seed, int threads,
                               po_arena *arena, po_wall_facts *ret, po_err *err) PO_MUST_USE;

/* ---- poses ---- */

typedef struct po_pose_setup { /* what a pose is scored by; all from the shop */
    double overhang_limit_deg; /* from the vertical */
    double bridge_limit_mm, support_gap_mm;
    double layer_mm, first_layer_mm, bead_mm;
    double machine_cost_h, hand_cost_min, material_cost_mm3; /* in the shop's currency */
    double rough_flow_mm3_s; /* what the recipe lays on the whole, to turn mm3 into machine time */
    double support_fill;     /* 0..1: share of the space beneath an overhang that supports fill */
    double clean_min_cm2;    /* hand minutes to free a cm2 of overhang from its supports */
    double smooth_min_cm2;   /* hand minutes that a cm2 of stair steps is worth */
    double layer_change_s;   /* time that each layer takes beside its beads */
    double weak_layers_cost; /* what it is worth that the load does not pull layers apart, in currency */
    bool load_known;
    double load[3]; /* direction in which the part will be pulled, part coordinates; any length */
} po_pose_setup;

typedef struct po_pose { /* one way up. x' = x*turn[0] + y*turn[3] + z*turn[6], and so on, as po_part_item.matrix */
    double turn[9];
    double size_mm[3];        /* bounds after turning, as it stands */
    double foothold_mm2;      /* area within half a first layer of the bed, facing it */
    int footholds;            /* pieces; 0 = not counted (bulk scoring) */
    double overhang_mm2;      /* beyond the limit, not on the bed; bridges included */
    double overhang_open_mm2; /* what of it needs support: without level ceilings short enough to bridge, narrow arches
                                 (small level holes) and narrow ledges; in bulk scoring: overhang_mm2 */
    double support_mm3;       /* space beneath overhang_mm2; NAN in bulk scoring */
    double support_open_mm3;  /* space beneath overhang_open_mm2; in bulk scoring: down to the bed, an upper bound */
    double longest_bridge_mm; /* level ceilings that both sides carry; NAN in bulk scoring */
    bool stands;
    double tip_deg;       /* tilt that tips it; 0 = falls by itself */
    bool brim;            /* small foothold for its height: to be printed with a brim */
    double steps_mm2;     /* area whose slope shows stair steps: 2 to 45 degrees from level, facing up */
    double across_layers; /* 0..1: share of the load that pulls layers apart; NAN without a load */
    int layers;
    double minutes_machine, minutes_hand,
        cost;               /* extra against an ideal: height and support time, cleaning, filament */
    bool best_in_something; /* no other pose beats it in everything (Pareto) */
    const char *why;        /* one sentence; NULL in bulk scoring */
} po_pose;

/* The setup of a shop. material NULL: the house material. recipe NULL: the one named everyday where there is one, else
 * the one in the middle of the list, else (no recipes) 0.2 mm layers of 0.45 mm beads. load_known is false. */
PO_API void po_pose_setup_for(const po_shop *shop, const po_material *material, const po_recipe *recipe,
                              po_pose_setup *ret);

/* The least turn that brings direction `up` (part coordinates, any length but 0) to +z; for directions along an axis its
 * numbers are whole. */
PO_API void po_pose_turn(const double up[3], double ret_turn[9]);

/* What a pose costs beyond the part itself, from its other fields:
 *   machine minutes = layers * layer_change_s + (support_open_mm3 * support_fill + brim) / rough_flow_mm3_s
 *   hand minutes    = overhang_open_mm2 * clean_min_cm2 + steps_mm2 * smooth_min_cm2, and 1 for any support, 2 for a brim
 *   cost            = machine and hand at their rates, filament of supports and brim, weak_layers_cost * across_layers
 * A pose that does not stand, or is more than 8 times as high as its base is wide, is charged for props up to half its
 * height and 5 hand minutes; one more than 5 times as high, or with a small foothold, for a brim. docs/poses.md has
 * every figure. Sets minutes_machine, minutes_hand, cost and brim. */
PO_API void po_pose_price(const po_pose_setup *setup, po_pose *pose);

/* One pose in full, rays and all. turn NULL = as it lies. Errors: PO_E_RANGE (an index or coordinate out of bounds, a turn
 * that is none), PO_E_EMPTY (no triangle), PO_E_NOMEM. */
PO_API po_status po_pose_measure(const po_mesh *mesh, const double turn[9], const po_pose_setup *setup, int threads,
                                 po_arena *arena, po_pose *ret, po_err *err) PO_MUST_USE;

/* All scores but rays and counts for n turns (rows 2 of turn is what matters: which way is up). */
PO_API po_status po_pose_score(const po_mesh *mesh, const double (*up)[3], size_t n, const po_pose_setup *setup,
                               int threads, po_arena *arena, po_pose *ret, po_err *err) PO_MUST_USE;

/* The best ways up: candidates from the hull's faces, large flat faces and a fine covering of the sphere; scored, the
 * promising ones measured in full, near ones merged, cheapest first. keep: NULL, or a direction (part coordinates) that
 * must end up facing down: then that pose is the first, and the one as it lies, where it is another, stands behind it for
 * comparison only (best_in_something false). At most `most` poses (0 = 12); the pose as it lies is always among them, at *ret_as_is (so
 * there are two where `most` is 1 and it is not the best). Poses that do not stand come only where none does.
 * progress as in po_job_options, may be NULL. */
PO_API po_status po_pose_find(const po_mesh *mesh, const po_pose_setup *setup, const double *keep, size_t most,
                              int threads, bool (*progress)(uint64_t done, uint64_t total, void *user), void *user,
                              po_arena *arena, const po_pose **ret_poses, size_t *ret_n, size_t *ret_as_is,
                              po_err *err) PO_MUST_USE;

/* ---- room on a machine ---- */

typedef struct po_fit {
    const po_machine *machine;
    bool as_is;      /* as it lies, shifted only */
    bool turned;     /* turned about the vertical; true as well where as_is is */
    double turn_deg; /* the least turn that fits; 0 where as_is; NAN where not turned */
    int pose;        /* index of the cheapest pose in which it fits (turned or not); -1: none, or none given */
    double pose_turn_deg;
    double over_mm[3];    /* as it lies: by how much it is larger than the machine in x, y, z; <= 0 fits */
    double largest_scale; /* uniform scale at which it would just fit as it lies or turned */
    double shift_mm[2];   /* where its origin goes in machine coordinates, for the first of as_is, turned that holds */
} po_fit;

/* Exact: the convex hull of what is seen from above, against the bed (rectangle or disc, less clearance_mm at the edge
 * and keep-outs lower than the part is tall) and the height. poses may be NULL. */
PO_API po_status po_part_fit(const po_mesh *mesh, const po_machine *machine, double clearance_mm, const po_pose *poses,
                             size_t n_poses, po_arena *arena, po_fit *ret, po_err *err) PO_MUST_USE;

/* ---- what it will take ---- */

typedef struct po_estimate {
    const po_recipe *recipe;
    double filament_mm, filament_g, volume_mm3, seconds;
    double first_layer_seconds; /* from the start to the end of the first layer, as in po_job_facts */
    /* What comes once a run, however many parts it has, and is part of the sums above: skirt and purge line; heating,
     * homing, probing, and the time of those beads. A sum over several parts counts it once. */
    double once_mm, once_seconds;
    int layers;
    po_range filament_range_mm, seconds_range;
    double wall_mm, solid_mm, fill_mm, travel_mm; /* lengths of beads and travel */
    double wall_mm3, solid_mm3, fill_mm3;
    double support_mm, support_seconds; /* filament and time that supports as it lies would add; not in the above */
    const char *covers;                 /* what the range covers, one sentence */
} po_estimate;

typedef struct po_estimate_setup {
    const po_recipe *recipe;
    const po_machine *machine;
    const po_material *material;
    double scale;        /* uniform; 1 = as it is */
    double support_mm3;  /* from po_pose; 0 = none */
    double fill_percent; /* NAN = the recipe's */
    int threads;
    bool (*progress)(uint64_t done, uint64_t total, void *user);
    void *user;
} po_estimate_setup;

/* A mesh that stands as it will be printed (any height over the bed is taken off). */
PO_API po_status po_part_estimate(const po_mesh *mesh, const po_estimate_setup *setup, po_arena *arena,
                                  po_estimate *ret, po_err *err) PO_MUST_USE;

/* The largest uniform scale whose filament is at most most_mm for `times` copies (solved by estimates, to 0.1 %);
 * at most most_scale. NAN when even the smallest (0.05) takes more. */
PO_API po_status po_part_scale_for(const po_mesh *mesh, const po_estimate_setup *setup, double most_mm, uint32_t times,
                                   double most_scale, po_arena *arena, double *ret_scale, po_err *err) PO_MUST_USE;

/* ---- all of it ---- */

typedef struct po_solid { /* one object as it is placed; copies that differ only by where they lie are one */
    const char *name;     /* NULL = none */
    uint32_t object;      /* index into the part's objects */
    uint32_t build_item;  /* number of the first build item that it is in */
    uint32_t times;
    const po_mesh *mesh; /* placed; mirrored ones turned the right way round */
    po_mesh_facts facts; /* of `mesh`; pointers into it */
    po_mesh_self_cuts cuts;
    bool cuts_done;
    po_wall_facts walls;
    bool walls_done;
    po_pose lies;               /* as it lies */
    const po_pose *poses;       /* NULL unless asked for; best first */
    size_t n_poses, as_is;      /* index of the pose as it lies */
    const po_fit *fits;         /* one for each machine of the shop */
    const po_section *sections; /* for pictures, rising; NULL unless asked for */
    size_t n_sections;
    /* Walls, ways up, fits, sections and estimates are of this mesh: facts.judged, or, where triangles run the wrong way
     * round, that one turned right. */
    const po_mesh *judged;
    bool closed;                /* `judged` has no open edge, and every edge is run as often one way as the other */
    bool lies_done;             /* `lies` was measured */
    uint64_t shells_inside_out; /* that had to be turned */
    uint64_t loose_shells;      /* that enclose material, without the first: cavities are not counted */
    uint64_t specks;            /* shells that hold less than a cube of one bead */
    uint64_t afloat;            /* bodies that touch nothing and begin in the air, as it lies */
    double afloat_at[3];        /* where the highest of them begins; NAN: none */
    uint64_t twice;             /* triangles that come again with the same side outwards */
    uint64_t uneven_edges;      /* crowded edges that are not run as often one way as the other */
    uint64_t cuts_within;       /* of the pairs in cuts.first: both triangles belong to one shell */
    double cut_depth_mm; /* the deepest of those: how far one triangle reaches through the other; NAN: none listed */
    double open_at[3], crowded_at[3], cut_at[3]; /* one place each, of `mesh`; NAN: none */
    double sheet_share; /* length of the sum of area vectors over the area: 0 closed, 1 a flat sheet */
} po_solid;

typedef struct po_part_totals { /* over all solids, copies counted */
    uint64_t triangles, vertices, shells, open_edges, crowded_edges, flipped_triangles, flat_triangles,
        doubled_triangles, self_cuts;
    bool watertight;
    double seams_closed_at_mm; /* the largest; NAN: none was */
    double volume_mm3, area_mm2, centre_of_mass_mm[3], bounds_mm[2][3];
    int64_t euler;
    double genus; /* NAN unless watertight */
    double thinnest_wall_mm, thin_wall_mm2, slim_wall_mm2, overhang_mm2, support_mm3, foothold_mm2;
    bool stands; /* every one of them */
} po_part_totals;

typedef struct po_part_report { /* of a part for one machine */
    const po_part *part;
    const po_shop *shop;
    const po_machine *machine;
    const po_material *material;
    const po_recipe *recipe; /* asked for; NULL = any */
    const po_solid *solids;
    size_t n_solids;
    uint32_t n_items; /* solids with their copies */
    po_part_totals totals;
    const po_estimate *estimates; /* one for each recipe of the shop; sums over all items */
    double allowance_scale;       /* by the judged recipe, for the run's allowance; NAN: not needed or not to be had */
    size_t judged_estimate;       /* index: the recipe asked for, else the one that takes least */
    double unit_factor;           /* 1: sizes are plausible; else what to multiply by, such as 25.4 or 1000 */
    const char *unit_guess;       /* "inch", "metre", ...; NULL where unit_factor is 1 */
    double hollow_mm;             /* filament of the judged recipe without any fill; NAN: not needed or not to be had */
    uint32_t n_left_out;          /* items that are no models (supports and the like): not judged */
    const char *const *notes;     /* what was not measured and why, a sentence each */
    size_t n_notes;
} po_part_report;

typedef struct po_part_options {
    bool poses;  /* search ways up */
    bool images; /* keep sections for pictures */
    int threads;
    const po_recipe *recipe;
    bool (*progress)(uint64_t done, uint64_t total, void *user); /* false cancels: PO_E_CANCELLED */
    void *user;
} po_part_options;

/* Measure a part for several machines: what does not depend on the machine is measured once and shared.
 * ret_reports: room for n_machines. The part must outlive the reports. materials: one for each machine. */
PO_API po_status po_part_measure(const po_part *part, const po_shop *shop, const po_machine *const *machines,
                                 const po_material *const *materials, size_t n_machines, const po_part_options *options,
                                 po_arena *arena, const po_part_report **ret_reports, po_err *err) PO_MUST_USE;

/* A mesh with a matrix applied (as po_part_item.matrix), triangles turned round where the determinant is negative. */
PO_API po_status po_mesh_placed(const po_mesh *mesh, const double matrix[12], po_arena *arena, const po_mesh **ret,
                                po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
