/* The deposit's own state, shared by deposit*.c only. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_JOB_DEPOSIT_INSIDE_H
#define PO_JOB_DEPOSIT_INSIDE_H

#include <math.h>

#include "geometry/bitmap.h"
#include "geometry/hull.h"
#include "geometry/relief.h"
#include "job/deposit.h"
#include "job/deposit_flow.h"
#include "job/seen.h"

enum {                      /* bits of bead_info */
       INFO_FOUND = 1,      /* h was found beneath; else the usual one is taken: over a gap */
       INFO_ON_BED = 2,     /* lies on the bed */
       INFO_ROUND = 4,      /* a round strand, no stadium */
       INFO_OUTSIDE = 8,    /* outside the window: not mapped */
       INFO_PART_FREE = 16, /* some of it is not carried */
       INFO_SECOND = 32,    /* second pass over what this height has laid already */
       INFO_BRIDGE = 64,    /* most of it bridges */
       INFO_STRAND =
           256, /* spans more than a layer down to what it lies on: a strand of open fill; says nothing of layers */
};

typedef struct bead_info {
    float h, w;
    float across;   /* mm carried across a gap */
    float beneath;  /* median of the map under it */
    uint16_t piece; /* node at its middle, 0 = none */
    uint16_t bits;
} bead_info;

typedef enum stretch_class { FREE_ON_AIR, FREE_OVER_FILL, FREE_BRIDGE, FREE_OVERHANG } stretch_class;

typedef struct segment { /* part of a bead, t in 0..1 */
    uint32_t bead;
    float t0, t1;
    bool carried;
} segment;

typedef struct segments {
    segment *at;
    size_t n, cap;
    bool failed;
} segments;

typedef struct stretch { /* what is not carried, in one go, from t0 of bead0 to t1 of bead1 */
    uint32_t bead0, bead1;
    float t0, t1;
    float length, free_mm;
    float x, y, z; /* middle */
    bool chain_carried, left_carried, right_carried;
    uint32_t air_piece; /* piece of the height's material, for on air */
    stretch_class class;
} stretch;

typedef struct hit { /* the nozzle or head over something higher */
    uint64_t line;
    float x, y, z, higher;
    uint32_t bead;    /* time is that of this bead (or the one before a travel); UINT32_MAX: unknown */
    uint16_t machine; /* UINT16_MAX: every machine; else index, for the head's outline */
} hit;

typedef struct work { /* one batch with what was found about it */
    po_batch *batch;
    bead_info *info;
    size_t cap_info;
    stretch *stretches;
    size_t n_stretches, cap_stretches;
    hit *hits;
    size_t n_hits, cap_hits;
    po_cells used;
    bool drawn; /* the bitmap of what is laid holds this batch */
    bool seen_from_side;
    uint32_t serial;
    double area_mm2;
    double solid_share; /* laid of laid and enclosed cells; NAN = not measured */
    double fill_share;  /* after the walls are taken off; NAN */
    double walls;       /* NAN = not clear */
    bool any_on_bed, any_above;
    bool missing; /* a gap in height that nothing spans */
    float missing_mm;
    po_layer_image *image; /* owned; NULL = none kept */
} work;

typedef struct node { /* a piece on the bed, or one that began in the air; joined by union-find into parts */
    uint32_t parent;
    bool on_bed, foothold, thick;
    double area_mm2; /* of the foothold */
    double volume, moment[3];
    float min[3], max[3];
    float begun_z;
    uint32_t first_work, last_work; /* serial numbers */
    po_xy *hull;                    /* owned; of the foothold */
    size_t n_hull;
} node;

#define WIDEST_MM 10.0f    /* a bead wider than this is drawn this wide: the file is absurd, the work bounded */
enum { FETCH_AHEAD = 12 }; /* beads */
enum { FIRST_SHARES = 8, SHARES = 64 }; /* heights whose filling is looked at */

typedef struct probe {               /* a point that is watched through the layers */
    uint16_t run, first, last, runs; /* covered layers now; of the first and the last ended run; number of ended runs */
} probe;

enum { MOST_NODES = 65535, MOST_IMAGES = 6, MOST_FLAGS = 8, HEIGHT_RING = 16, H_BINS = 2000 };

typedef struct kept_print { /* a height as it was laid */
    po_layer_image *image;  /* owned */
    size_t number;          /* of the height */
} kept_print;

typedef struct tool_sums {
    double width_share[PO_WIDTH_BINS], height_share[PO_WIDTH_BINS];
    double width_moment[PO_WIDTH_BINS], height_moment[PO_WIDTH_BINS];
    double area_share[PO_WIDTH_BINS], area_moment[PO_WIDTH_BINS];
} tool_sums;

typedef struct lane_row { /* of one height, on one lane */
    double start, seconds, speed_moment, end;
} lane_row;

typedef struct lane_sums {
    flow_window flow[PO_MAX_TOOLS];
    double peak[PO_MAX_TOOLS];
    double first_bead, first_layer_end;
    double *later;
    size_t n_later, cap_later;
    lane_row *rows; /* one for each row of the deposit */
    double fan_share[PO_FAN_BINS];
    double speed_share[PO_WIDTH_BINS]; /* mm/s, bins of 1 mm/s */
    double first_speed_share[PO_WIDTH_BINS];
} lane_sums;

typedef struct machine_sums {
    po_sighting sights[PO_SIGHT_COUNT];
} machine_sums;

typedef struct height_row { /* one height, in the order laid */
    float z;
    double extruding_mm, filament_mm, area_mm2, filament_until;
    double volume;
    float solid_share, fill_share, walls, bridge_mm, overhang_mm, on_air_mm;
    uint64_t line;
    uint32_t serial;
    bool on_bed;
} height_row;

struct po_deposit {
    po_deposit_setup setup;
    const po_job_setup **machines; /* owned copies of the lists */
    size_t *lane_of;
    float cell, inv_cell, tan_limit;
    double x0, y0;                         /* machine position of cell (0, 0) */
    double inv_cell_d, corner_x, corner_y; /* the same in cells, whole numbers */
    int width, height;
    po_relief relief; /* height of what lies there, 0 = bed; node of it, 0 = none */
    float highest;
    po_bitmap laid, mask, scratch, carried;
    po_runs pieces, gaps, open_runs;
    segment *segments;
    size_t n_segments, cap_segments;
    segments *shares; /* of the shares in which a batch is sampled */
    size_t n_shares;
    struct band *bands; /* of rows, in which a batch is painted */
    uint16_t *roots;    /* scratch, one for each bead: what it is painted with */
    size_t cap_roots;
    void (*each)(void *helpers, size_t n, void (*work)(size_t i, void *user), void *user); /* NULL = a plain loop */
    void *helpers;
    uint32_t *piece_node; /* scratch, one for each piece */
    size_t cap_piece_node;
    uint8_t *flags; /* scratch */
    size_t cap_flags;
    /* heights met lately, with where */
    struct {
        float z;
        po_cells used;
    } ring[HEIGHT_RING];
    size_t n_ring;
    /* layer height: length-weighted, bins of a micrometre */
    double h_share[H_BINS], h_moment[H_BINS], h_total;
    float usual_h;
    double h_counted; /* h_total when usual_h was last worked out */
    bool last_chain_carried;
    bool want_full; /* too much of the last batch bears no label */
    node *nodes;
    size_t n_nodes, cap_nodes;
    bool nodes_full;
    size_t n_footholds;
    work **pending;
    size_t n_pending, cap_pending;
    size_t pending_beads;
    struct { /* those kept back wait to be closed, beside the next batch's first looks */
        bool due, all_counts, failed;
        void (*spent)(po_batch *batch, void *user);
        void *user;
    } closing;
    work *spare;     /* one kept for reuse */
    uint32_t serial; /* of the next work to be closed */
    /* sums over closed works */
    bool seen_foothold;
    float first_layer_z; /* NAN until known */
    bool first_layer_open;
    bool later_open;
    double extruding, climbing;
    double on_air, across, over_fill, overhang, longest_bridge;
    int bridges;
    float min[3], max[3];
    tool_sums *tools[PO_MAX_TOOLS];
    double width_share[PO_WIDTH_BINS], width_moment[PO_WIDTH_BINS];
    lane_sums *lanes;
    machine_sums *sums;
    height_row *rows;
    size_t n_rows, cap_rows;
    size_t n_flat, share_step;
    probe *probes;
    int probes_w, probes_h;
    float probe_z;
    po_cells probe_area;
    int layers_begun;
    float row_z0, row_top; /* where the row being filled began; highest row so far */
    bool any_counted, began_in_air, in_turn, rows_halved;
    double *work_times; /* begin and end of each closed batch on each lane */
    size_t n_work_times, cap_work_times;
    po_layer_image *images[MOST_IMAGES];
    double image_score[MOST_IMAGES];
    size_t n_images;
    po_layer_image *first_image;
    kept_print *prints; /* one for each batch kept */
    size_t n_prints, cap_prints;
    size_t print_step, n_heights; /* every so many heights are kept; heights seen */
    float print_z;                /* of the last height */
    uint8_t *side;                /* share of depth, side_w x side_h */
    int side_w, side_h, side_top;
    bool failed;
};

/* fminf and fmaxf are calls, for the sake of NAN; there is none here. */
static inline float min_f(float a, float b)
{
    return a < b ? a : b;
}

static inline float max_f(float a, float b)
{
    return a > b ? a : b;
}

/* Height and node of what lies in a cell of the window. */
static inline float height_at(const struct po_deposit *d, int x, int y)
{
    return po_relief_height(&d->relief, x, y);
}

static inline uint16_t label_at(const struct po_deposit *d, int x, int y)
{
    return po_relief_label(&d->relief, x, y);
}

static inline float bead_x(const po_bead *b, float t)
{
    return b->x0 + (b->x1 - b->x0) * t;
}

static inline float bead_y(const po_bead *b, float t)
{
    return b->y0 + (b->y1 - b->y0) * t;
}

static inline float bead_z(const po_bead *b)
{
    return 0.5f * (b->z0 + b->z1);
}

/* Cell of a machine position; may lie outside the window. Rounded to a thousandth of a cell before the window's corner is
 * taken off: the answer must not depend on which machines share the window. (Adding and taking off 1.5 * 2^42 rounds a
 * double to 2^-10.) */
static inline float cell_of(double mm, double inv_cell, double corner)
{
    const double magic = 6597069766656.0;
    float cell = (float)((mm * inv_cell + magic) - magic - corner);
    /* A word may name a place kilometres away: it stays far outside, and within what whole numbers hold. */
    return max_f(min_f(cell, 1e8f), -1e8f);
}

static inline float cell_x(const struct po_deposit *d, float x)
{
    return cell_of((double)x, d->inv_cell_d, d->corner_x);
}

static inline float cell_y(const struct po_deposit *d, float y)
{
    return cell_of((double)y, d->inv_cell_d, d->corner_y);
}

static inline bool cell_inside(const struct po_deposit *d, int x, int y)
{
    return x >= 0 && y >= 0 && x < d->width && y < d->height;
}

/* The relief is larger than the near caches: ask early for what a bead will look at. */
static inline void fetch_bead(const struct po_deposit *d, const po_bead *b)
{
    float x0 = cell_x(d, b->x0), y0 = cell_y(d, b->y0), x1 = cell_x(d, b->x1), y1 = cell_y(d, b->y1);
    if (!(fabsf(x0) < 1e6f && fabsf(y0) < 1e6f && fabsf(x1) < 1e6f && fabsf(y1) < 1e6f)) {
        return;
    }
    po_relief_fetch(&d->relief, (int)(0.5f * (x0 + x1)), (int)(0.5f * (y0 + y1)));
    po_relief_fetch(&d->relief, (int)x1, (int)y1);
}

/* And for what it will paint over. */
static inline void fetch_paint(const struct po_deposit *d, const po_bead *b)
{
    float x = cell_x(d, b->x1), y = cell_y(d, b->y1);
    if (!(fabsf(x) < 1e6f && fabsf(y) < 1e6f)) {
        return;
    }
    po_relief_fetch(&d->relief, (int)x, (int)y - 4);
    po_relief_fetch(&d->relief, (int)x, (int)y + 4);
}

/* Radius in cells with which a bead is drawn. */
static inline float radius_of(const struct po_deposit *d, const bead_info *info)
{
    const float widest_mm = 10; /* wider than this: the file is absurd, the work bounded */
    /* cells whose centre lies on the very rim belong to the bead: a hundredth of a cell is single precision's doubt */
    return 0.5f * min_f(info->w, widest_mm) * d->inv_cell + 0.01f;
}

/* item(i, user) for each i, on this thread and those that have nothing to do. */
static inline void share_out(const struct po_deposit *d, size_t n, void (*item)(size_t i, void *user), void *user)
{
    if (d->each && n > 1) {
        d->each(d->helpers, n, item, user);
        return;
    }
    for (size_t i = 0; i < n; i++) {
        item(i, user);
    }
}

/* How far beneath its underside material may lie and still carry a bead of height h. */
static inline float gap_most(const struct po_deposit *d, float h)
{
    float two = 2 * h;
    return (float)d->setup.support_gap_mm > two ? (float)d->setup.support_gap_mm : two;
}

/* Heights that differ by less than this touch: rounding of files and a quarter of a layer. */
static inline float touch_slack(float h)
{
    return h * 0.25f > 0.02f ? h * 0.25f : 0.02f;
}

/* deposit.c: close what is due to be closed. */
void po_deposit_close_due(struct po_deposit *d);
/* deposit_sample.c: h, w and what carries each bead; the stretches that nothing carries. Probes, too (below), and closes
 * what is due: beside each other. */
bool po_deposit_sample(struct po_deposit *d, work *w);
/* deposit_hits.c: nozzle and head against what stands. */
void po_deposit_hits(struct po_deposit *d, work *w);
/* deposit_class.c: on air, over fill, bridge or overhang. */
bool po_deposit_classify(struct po_deposit *d, work *w);
/* deposit_paint.c. Draw: the batch into the bitmap of what is laid, once. Paint: heights and labels (roots) into the maps.
 * Raise: a bead's heights alone. */
void po_deposit_draw(struct po_deposit *d, work *w);
void po_deposit_paint(struct po_deposit *d, work *w);
void po_deposit_raise(struct po_deposit *d, const po_bead *b, float radius);
void po_bands_free(struct po_deposit *d);
/* deposit_fill.c: shares of filled cells; gaps told apart by bits: 1 open to the outside, 2 may be wider than FILL_GAP_MM,
 * 4 and 8 are the caller's. The array is the caller's to free; NULL when memory is gone. */
#define FILL_GAP_MM 15.0f /* a gap in fill is at most this wide (docs/measures.md) */
bool po_deposit_shares(struct po_deposit *d, work *w, bool fill_too);
bool po_deposit_need_bitmaps(struct po_deposit *d);
uint8_t *po_gap_kinds(struct po_deposit *d, const po_runs *gaps, const po_bitmap *map, po_cells area);
po_cells po_cells_grown(const struct po_deposit *d, po_cells c, int by);
/* deposit_parts.c: pieces to parts, labels; all that lays a batch. */
bool po_deposit_lay(struct po_deposit *d, work *w);
uint32_t po_node_root(struct po_deposit *d, uint32_t i);
/* deposit_probe.c: layers that close a fill below and above. Probe before a batch is laid; probed at the end. */
bool po_deposit_probe(struct po_deposit *d, const work *w);
bool po_deposit_probed(struct po_deposit *d, double *ret_floors, double *ret_roofs);
/* deposit_image.c */
void po_deposit_picture(struct po_deposit *d, work *w);
void po_deposit_side_view(struct po_deposit *d, const work *w);
void po_image_free(po_layer_image *image);
/* An empty image of an area of cells, each pixel s x s cells, without flags; owned by the caller. NULL: no memory. */
po_layer_image *po_image_over(const struct po_deposit *d, po_cells area, float z, int s);
void po_deposit_first_picture(struct po_deposit *d, work *w);
/* deposit_print.c: heights kept as they were laid. False when memory is gone. */
bool po_deposit_print(struct po_deposit *d, work *w);
/* deposit_close.c: a batch whose priming is known goes into the sums. */
bool po_deposit_close(struct po_deposit *d, work *w, bool all_counts);

#endif
