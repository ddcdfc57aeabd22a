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
PO_API po_status po_nest_strip(const po_strip_piece *pieces, size_t n_pieces, double width, const po_nest_effort *effort,
                               po_arena *arena, po_strip *ret, po_err *err) PO_MUST_USE;

/* All places of b's origin, a lying still, at which the insides of a and b meet: the no-fit polygon. Both clean (as from
 * po_loops_clip). Errors: those of po_loops_clip. */
PO_API po_status po_nest_no_fit(const po_loops *a, const po_loops *b, po_arena *arena, po_loops *ret,
                                po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
