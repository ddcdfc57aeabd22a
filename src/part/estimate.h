/* What a part will take, between the files that work it out. SPDX-License-Identifier: Apache-2.0
 *
 * estimate.c asks estimate_slices.c for the outline of every layer, picks the layers that are worked out in full, lets
 * estimate_layer.c lay their beads (estimate_lines.c fills areas) and estimate_time.c drive along them, and sums.
 *
 * The model, apart from the recipe's own figures. Where no source is named: common practice, no published source. */
#ifndef PO_PART_ESTIMATE_H
#define PO_PART_ESTIMATE_H

#include "proveout/solid.h"

/* ---- what the model takes for granted ---- */

#define PO_EST_SIMPLE_MM 0.005 /* outlines are simplified by this: an eightieth of a bead */
#define PO_EST_LAP 0.3         /* beads of fill end this share of a bead's width over the wall */
#define PO_EST_COVER 0.5       /* a neighbour's outline closes what lies this many beads inside it: its edge is round */
#define PO_EST_HOLD 1.25       /* solid areas reach this many beads beyond what has to be closed, to be held there */
#define PO_EST_SLIVER 0.3      /* a loop whose sides lie closer than this share of a bead has no room */
#define PO_EST_OUTER 0.87      /* speed of the outermost loop above the first layer, of the recipe's wall speed */
#define PO_EST_TRAVEL 0.8      /* travels go at this share of the machine's own limit, */
#define PO_EST_TRAVEL_MOST 150.0  /* but not faster, mm/s */
#define PO_EST_PULL_MM 2.0        /* longer travels retract; */
#define PO_EST_PULL_INSIDE_MM 7.0 /* between lines of fill, which hide what drips: longer ones */
#define PO_EST_LAYER_S 12.0       /* beads are slowed down until a layer takes this long, */
#define PO_EST_LAYER_LOW_S 8.0    /* or from this, for the range, */
#define PO_EST_LAYER_HIGH_S 15.0  /* to this; */
#define PO_EST_SLOWEST_MM_S 7.0   /* but not below this speed */
#define PO_EST_PURGE_MM 60.0      /* a purge line beside the part, */
#define PO_EST_PURGE_WIDTH 1.35   /* this many beads wide */
#define PO_EST_SKIRT_MM 4.0       /* one skirt loop this far around the part's bounds */
#define PO_EST_PARK_MM 8.0        /* the nozzle is lifted this much at the end */
#define PO_EST_SUPPORT_SHARE 0.18 /* of the volume under an overhang that its support fills (15 to 20 %) */
#define PO_EST_SUPPORT_SLOW 1.3   /* time of supports over bead length by fill speed: starts and travels */

/* One bead. Stadium-shaped: area = w h - h^2 (1 - pi/4) (docs/measures.md, "Layers and beads"); beads side by side fill
 * a solid where they lie area / h = w - h (1 - pi/4) apart. */
typedef struct po_est_bead {
    double w, h, area, pitch;
} po_est_bead;

po_est_bead po_est_bead_of(double w, double h);

typedef struct po_est_plan { /* fixed for one estimate */
    const po_recipe *recipe;
    const po_machine *machine;
    double scale, fill_share, filament_mm2, travel_mm_s;
    bool timed; /* false: filament alone */
} po_est_plan;

/* ---- slices ---- */

enum { PO_EST_MARKS = 8 }; /* numbers that tell outlines apart */

typedef struct po_est_slice {
    po_loops outline; /* scaled, simplified, around the part's middle; raw: taken by positive winding */
    double mark[PO_EST_MARKS];
    uint32_t same; /* the first layer of the run of equal outlines that this one is in */
    bool known;    /* false: not cut (only in very tall parts) */
} po_est_slice;

typedef struct po_est_slices {
    po_est_slice *at;
    size_t n;
    double size_mm[3]; /* of the scaled part */
    size_t some;       /* layers around which the part was cut, of a very tall or very ragged part; 0: all were cut */
} po_est_slices;

/* Layers in all, and where a layer's top is. */
size_t po_est_layers(const po_recipe *recipe, double height_mm);
double po_est_top(const po_recipe *recipe, size_t layer);

enum { PO_EST_LAYERS_MOST = 160 }; /* worked out in full */

/* Outlines half-way up each layer: a sum over layers is then the midpoint rule, exact for slopes. Of a part with
 * thousands of layers, or hundreds of thousands of edges in each, only those around some are cut. Lives in the arena.
 * Errors: PO_E_LIMIT for more than 200,000 layers or too many edges, and those of po_mesh_sections. */
po_status po_est_slices_cut(const po_mesh *mesh, const po_est_plan *plan, int threads,
                            bool (*progress)(void *user, double share), void *user, po_arena *arena,
                            po_est_slices *slices, po_err *err) PO_MUST_USE;

/* Layers to be worked out in full, so that what lies between two of them may be taken as changing evenly: rising, first
 * and last layer among them, about `most` unless the part changes abruptly in more places. ret: room for n. */
size_t po_est_choose(const po_est_slices *slices, const po_recipe *recipe, size_t most, uint32_t *ret);

/* ---- paths ---- */

typedef enum po_est_kind { PO_EST_WALL, PO_EST_OUTER_WALL, PO_EST_SOLID, PO_EST_FILL } po_est_kind;

typedef struct po_est_path {
    size_t first, n; /* points */
    unsigned group;  /* paths of a group are laid in the order that suits the nozzle, groups one after another */
    po_est_kind kind;
    bool closed;
} po_est_path;

typedef struct po_est_paths {
    po_arena *arena;
    double *xy;
    size_t n_points, cap_points;
    po_est_path *at;
    size_t n, cap;
    unsigned group; /* of the paths to come */
    bool failed;    /* memory is gone */
} po_est_paths;

void po_est_path_begin(po_est_paths *paths, po_est_kind kind, bool closed);
void po_est_path_point(po_est_paths *paths, double x, double y);
/* Length of path i, closing edge included. */
double po_est_path_mm(const po_est_paths *paths, size_t i);

/* Lines at 45 or 135 degrees, spacing mm apart, over clean loops; pieces shorter than least_mm are left out. With join,
 * a line goes on from the end of its neighbour in the row before where that is near. Returns the length of those
 * connections. False in *ret_done, and nothing laid, where there would be too many lines. */
double po_est_lines(const po_loops *area, bool across, double spacing, bool join, double least_mm, po_est_kind kind,
                    po_est_paths *paths, bool *ret_done);

/* ---- one layer ---- */

typedef struct po_est_layer {
    double wall_mm, solid_mm, fill_mm, joins_mm; /* lengths; joins are part of solid_mm */
    double wall_mm3, solid_mm3, fill_mm3;
    double gap_mm3; /* left open between walls where no further bead fits */
    double ends_mm; /* half the edge of sparse fill: what joining its lines would add */
    double travel_mm;
    double seconds; /* NAN: not timed */
    double low_s, high_s;
} po_est_layer;

/* Work out layer k; across: direction of its lines. Scratch comes from an arena of its own. */
po_status po_est_layer_work(const po_est_plan *plan, const po_est_slices *slices, size_t k, bool across,
                            po_est_layer *ret, po_err *err) PO_MUST_USE;

/* Drive along the paths of a layer. Adds travel, seconds and their range to ret. more_mm: length of beads that
 * are not among the paths, at more_mm_s. */
po_status po_est_drive(const po_est_plan *plan, const po_est_paths *paths, po_est_bead bead, bool first_layer,
                       double more_mm, double more_mm_s, po_est_layer *ret, po_err *err) PO_MUST_USE;

/* ---- all layers ---- */

/* What po_part_estimate does, with a choice of how many layers are worked out in full and whether they are timed. */
po_status po_est_run(const po_mesh *mesh, const po_estimate_setup *setup, bool timed, size_t most_layers,
                     po_estimate *ret, po_err *err) PO_MUST_USE;

#endif
