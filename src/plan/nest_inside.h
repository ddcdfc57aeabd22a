/* What the files of nesting share. SPDX-License-Identifier: Apache-2.0
 *
 * Shapes are what is searched with: outlines already grown by half the clearance and simplified outwards. A turn is a
 * whole number of steps of 360/n_turns degrees. The no-fit polygon of two shapes holds the places of one, seen from the
 * other, at which they overlap; that of shapes at turns a and b is the one of 0 and b - a, turned by a, so only those
 * are kept, and only for the lower shape of a pair. */
#ifndef PO_PLAN_NEST_INSIDE_H
#define PO_PLAN_NEST_INSIDE_H

#include "base/pool.h"
#include "base/random.h"
#include "proveout/nest.h"

enum { PO_NEST_LANES = 2 }; /* searches side by side, however many threads there are: the answer may not depend on it */

/* ---- no-fit polygons (nest_nfp.c, nest_kernel.c) ---- */

enum { PO_NFP_BLOCK = 56 }; /* floats */

typedef struct po_nfp { /* edges as the kernel wants them, in blocks of 8, about the middle of its bounds */
    const float *edges; /* each block: 8 each of ax, ay, ex, ey, 1/length^2, ex/ey, by */
    size_t n_blocks;
    double middle[2];
    const double (*boxes)[4]; /* for each turn of the whole: low x, low y, high x, high y */
    const float *corners;     /* x, y of its corners, about the middle: places worth trying */
    size_t n_corners;
    float slack; /* what rounding may hide */
} po_nfp;

/* All places of b's origin, a's lying still, at which the insides meet: the sum of a and b turned by half a circle.
 * Convolution (L. J. Guibas, L. Ramshaw, J. Stolfi, "A kinetic framework for computational geometry", 1983) on integers
 * of 1e-6 mm; winding numbers above 0 are inside. Errors: those of po_loops_clip. */
po_status po_nfp_loops(const po_loops *a, const po_loops *b, po_arena *arena, po_loops *ret, po_err *err) PO_MUST_USE;
/* The same, ready for po_nfp_depth. n_turns: how many boxes. */
po_status po_nfp_ready(const po_loops *loops, size_t n_turns, po_arena *arena, po_nfp *ret, po_err *err) PO_MUST_USE;
/* How far (x, y) is inside, in mm: the way to the nearest edge, plus slack; 0 outside. The same on every processor. */
typedef float po_nfp_depth_fn(const po_nfp *nfp, double x, double y);
po_nfp_depth_fn *po_nfp_depth_best(void);
po_nfp_depth_fn *po_nfp_depth_plain(void);

/* ---- shapes ---- */

typedef struct po_nest_form { /* a shape at one turn */
    double box[4];            /* low x, low y, high x, high y about its origin */
    const double *hull;       /* x, y of its hull's corners */
    size_t n_hull;
} po_nest_form;

#define PO_NEST_ANY_GROUP UINT32_MAX

typedef struct po_nest_shape {
    const po_loops *bands; /* n_bands of the table; clean */
    double area;
    const unsigned char *allowed; /* of each turn: whether it may be had */
    size_t n_allowed;
    const po_nest_form *forms; /* n_turns */
    const po_loops *truth; /* n_bands; what forms are made of where it is not the bands themselves; NULL: they are */
    uint32_t group;        /* shapes of different groups never meet; PO_NEST_ANY_GROUP: meets all */
    bool tall;             /* higher than the head clears */
} po_nest_shape;

typedef struct po_nest_table {
    size_t n_shapes, n_turns, n_bands;
    const po_nest_shape *shapes;
    const po_nfp *nfps;       /* [(high * (high + 1) / 2 + low) * n_turns + (turn of high - turn of low)] */
    const double (*turns)[2]; /* cosine and sine */
    const po_head *head;      /* not NULL: tall ones have to leave room for it, whichever is printed first */
    bool either_order;        /* ... for at least one order of the two; else for both */
} po_nest_table;

/* n_shapes, n_turns, n_bands, shapes, head and either_order are set, and of the shapes all but forms; the rest is filled
 * in. With a head there is one band. */
po_status po_nest_table_make(po_nest_table *table, po_nest_shape *shapes, po_pool *pool, po_arena *arena,
                             po_err *err) PO_MUST_USE;

/* ---- the search (nest_search.c) ---- */

typedef struct po_nest_spot {
    double x, y;
    uint32_t turn, bed;
} po_nest_spot;

typedef struct po_nest_bed {
    bool round;
    double low[2], high[2]; /* a rectangle; of a round bed: the square around it */
    double centre[2], radius;
} po_nest_bed;

typedef struct po_nest_state po_nest_state;
/* Items 0..n-1 of the given shapes; the last n_fixed stand on every bed where they are (turn 0) and never move.
 * Lives until _free. NULL: no memory. */
po_nest_state *po_nest_state_new(const po_nest_table *table, const uint32_t *shape_of, size_t n, size_t n_fixed,
                                 uint64_t seed);
void po_nest_state_free(po_nest_state *s);
void po_nest_state_shape(po_nest_state *s, size_t i, uint32_t shape); /* of an item that is out */
void po_nest_state_drop(po_nest_state *s, size_t i, uint32_t bed);    /* anywhere on a bed, whatever it overlaps */
void po_nest_state_bed(po_nest_state *s, const po_nest_bed *bed, uint32_t n_beds);
void po_nest_state_set(po_nest_state *s, const po_nest_spot *spots); /* and weights back to 1 */
const po_nest_spot *po_nest_state_spots(const po_nest_state *s);
double po_nest_state_overlap(const po_nest_state *s); /* sum of depths; 0: none overlap and all lie on their bed */
/* Every overlapping item once to where it overlaps least by weight; then weights grow where overlap is left. Returns
 * how many items were moved. */
size_t po_nest_state_pass(po_nest_state *s);
/* Put item i where it overlaps nothing, as low in `by` (cost = by . (x, y)) as samples find; false: nowhere found. */
bool po_nest_state_insert(po_nest_state *s, size_t i, uint32_t bed, const double by[2], size_t samples);
void po_nest_state_out(po_nest_state *s, size_t i); /* takes it off the bed */
bool po_nest_state_is_out(const po_nest_state *s, size_t i);
void po_nest_state_swap(po_nest_state *s); /* two large items change places */

/* ---- one bed after another (nest_fill.c) ---- */

typedef struct po_nest_filling {
    const po_nest_table *table;
    po_pool *pool;
    po_nest_bed bed;
    uint32_t first_fixed, n_fixed; /* shapes that stand on every bed as they are */
    double room;                   /* area that grown outlines may take; they can't overlap: INFINITY where they may */
    uint32_t *left;                /* copies of each shape still to be laid; counted down */
    uint64_t seed, steps;          /* steps: how many may be taken; counted down */
    double ends;                   /* on the steady clock; 0: never */
    bool ended;                    /* no more improving */
    const po_nest_effort *effort;  /* whose progress is asked now and then, with `value` */
    double value, started;
} po_nest_filling;

typedef struct po_nest_full { /* one bed; malloc */
    po_nest_spot *spots;
    uint32_t *shapes;
    size_t n;
} po_nest_full;

double po_nest_now(void); /* s, steady */
/* One bed from what is left, shapes in the order given, then more by moving what lies there, for at most `steps` moves.
 * ret->n 0: not one could be laid. */
po_status po_nest_fill(po_nest_filling *f, const uint32_t *order, size_t n_order, uint64_t steps, po_nest_full *ret,
                       po_err *err) PO_MUST_USE;

/* ---- the independent test (nest_check.c); own arithmetic, no tables, no no-fit polygons ---- */

typedef struct po_nest_laid { /* an outline where it lies */
    const po_loops *loops;
    double cosine, sine, x, y;
} po_nest_laid;

/* Rounds every corner to 1e-6 mm and then decides without error: no two outlines cross, touch, lie in one another, or
 * are nearer than clearance_mm. *ret_a, *ret_b: the first pair that is too near; equal: none. */
/* Does every corner lie in the bed? Rounded as above, then exact. */
bool po_nest_on_bed(const po_nest_laid *laid, const po_nest_bed *bed);
/* While `later` is printed, does the head keep off `earlier`? Outlines; rounded as above, then exact. */
po_status po_nest_head_clear(const po_nest_laid *later, const po_nest_laid *earlier, const po_head *head,
                             bool *ret_clear, po_err *err) PO_MUST_USE;

po_status po_nest_apart(const po_nest_laid *laid, size_t n, double clearance_mm, size_t *ret_a, size_t *ret_b,
                        double *ret_mm, po_err *err) PO_MUST_USE;

#endif
