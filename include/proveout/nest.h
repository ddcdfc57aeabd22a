/* Bedfuls: outlines laid out on beds and strips, none overlapping. SPDX-License-Identifier: Apache-2.0
 * Lengths in mm, angles in degrees. How it is done, and what is promised: docs/nesting.md. */
#ifndef PROVEOUT_NEST_H
#define PROVEOUT_NEST_H

#include "proveout/loops.h"
#include "proveout/solid.h"

#ifdef __cplusplus
extern "C" {
#endif

/* What every search is told. Any-time: the best so far is kept whenever it ends. With the same seed and steps the answer
 * is the same, whatever the threads and the clock, where `seconds` is 0 or not used up. */
typedef struct po_nest_effort {
    uint64_t seed;
    uint64_t steps; /* moves of one item, all searches together; 0 = no limit but the time */
    double seconds; /* 0 = no limit but the steps; both 0: as many steps as the library thinks fit */
    int threads;    /* 0 = as many as cores, else 1..64 */
    /* after each round of some thousand moves: value is the best length (strip) or the number of bedfuls; false ends the
     * search, and the best so far is the answer. NULL allowed. */
    bool (*progress)(double value, double seconds, void *user);
    void *user;
} po_nest_effort;

/* ---- strips: as short as can be ---- */

typedef struct po_strip_piece {
    po_loops outline; /* outer loops counter-clockwise, holes clockwise */
    uint32_t copies;
    const double *turns_deg; /* that it may be laid at; whole multiples of 360/n, n <= 360 */
    size_t n_turns;          /* 0 = as it is only */
} po_strip_piece;

typedef struct po_laid { /* outline turned about its origin, then shifted */
    uint32_t piece, copy;
    double turn_deg, x, y;
} po_laid;

typedef struct po_strip {
    double length;  /* x from 0 to this, y from 0 to width */
    double density; /* area of the pieces over width * length */
    const po_laid *laid;
    size_t n_laid;
    uint64_t steps; /* taken */
} po_strip;

/* Everything lives in the arena. Errors: PO_E_RANGE (a piece wider than the strip at every turn, an outline without
 * area or that crosses itself, a turn that is no number), PO_E_LIMIT (more than 2000 pieces in all), PO_E_NOMEM,
 * PO_E_INTERNAL (a layout that the independent test refuses; none is given out then). */
PO_API po_status po_nest_strip(const po_strip_piece *pieces, size_t n_pieces, double width,
                               const po_nest_effort *effort, po_arena *arena, po_strip *ret, po_err *err) PO_MUST_USE;

/* ---- bedfuls ---- */

/* What of a mesh is seen from above between two heights over its lowest point: the union of all sections there, exact to
 * 1e-6 mm (projected triangles cut to that slab, and the section at its foot). Surfaces that are open or inside out count
 * by where their triangles are. In the arena; no loop: nothing is there.
 * Errors: PO_E_EMPTY (no triangle), PO_E_RANGE, PO_E_LIMIT, PO_E_NOMEM. */
PO_API po_status po_nest_outline(const po_mesh *mesh, double from_mm, double to_mm, po_arena *arena, po_loops *ret,
                                 po_err *err) PO_MUST_USE;

#define PO_NEST_FREE                                                                                                   \
    (-1.0) /* turned at will: by 15 degrees from where its long edge lies level, finer where that finds no room */

typedef struct po_nest_part {
    const po_loops *bands; /* n_bands of the setup: what is seen from above in each band of heights; clean */
    double height_mm;
    uint32_t copies;
    double
        turn_step_deg; /* 0: as it lies; else it may be turned by multiples of this: 360/n, n from 1 to 72; PO_NEST_FREE */
    uint32_t group;    /* parts of different groups (material, recipe) never share a bed */
    int64_t due;       /* smaller is earlier; INT64_MAX: none */
} po_nest_part;

typedef struct po_nest_setup {
    const po_machine *machine;
    double clearance_mm;        /* between parts, 0 to 100 */
    double margin_mm;           /* between parts and the bed's edge or what is in the way, 0 to 100 */
    size_t n_bands;             /* 1: outlines are of the whole height */
    const double *band_from_mm; /* foot of each band; keep-outs count in those that begin below their height */
    bool finish_each; /* one part after another: room for the head's outline about each that is higher than it clears */
    bool keep_holes_free; /* no part may lie in a hole of another */
    bool by_group;        /* bedfuls of one group follow each other, by due date within it; else by due date first */
    po_nest_effort effort;
} po_nest_setup;

typedef struct po_nest_place { /* outline turned about its origin, then shifted; machine coordinates */
    uint32_t part, copy;
    double turn_deg, x, y;
    bool in_hole; /* within a hole of another part's outline */
} po_nest_place;

typedef struct po_bedful {
    uint32_t group;
    int64_t due;                 /* the earliest of its parts */
    const po_nest_place *places; /* with finish_each: in the order in which they are printed */
    size_t n_places;
    double filled; /* 0..1: area of outlines over the bed's */
} po_bedful;

typedef struct po_left_out {
    uint32_t part, copies;
    const char *why; /* one sentence */
} po_left_out;

typedef struct po_nest {
    const po_bedful *bedfuls; /* by due date, then group; with by_group the other way round */
    size_t n_bedfuls;
    const po_left_out *left_out;
    size_t n_left_out;
    uint32_t at_least; /* no layout takes fewer, by areas */
    uint64_t steps;    /* taken */
    bool ended_early;  /* progress said so: more time might take fewer */
} po_nest;

/* As few bedfuls as are found. Every one has passed the independent test: outlines, at 1e-6 mm, no nearer than the
 * clearance, on the bed, out of what is in the way, and with finish_each clear of the head. In the arena.
 * Errors: PO_E_RANGE (a number out of bounds, an outline without area), PO_E_LIMIT (more than 10000 parts in all, 400
 * different ones), PO_E_NOTFOUND (finish_each on a machine whose head the shop file does not describe), PO_E_NOMEM,
 * PO_E_INTERNAL (the test refused a layout). */
PO_API po_status po_nest_find(const po_nest_part *parts, size_t n_parts, const po_nest_setup *setup, po_arena *arena,
                              po_nest *ret, po_err *err) PO_MUST_USE;

/* All places of b's origin, a lying still, at which the insides of a and b meet: the no-fit polygon. Both clean (as from
 * po_loops_clip). Errors: those of po_loops_clip. */
PO_API po_status po_nest_no_fit(const po_loops *a, const po_loops *b, po_arena *arena, po_loops *ret,
                                po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
