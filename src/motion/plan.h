/* Moves in, seconds out: speeds, corners, look-ahead, trapezoids. SPDX-License-Identifier: Apache-2.0
 *
 * docs/measures.md, "Motion time". Moves come in blocks; results come out in order as soon as nothing that follows can
 * change them. All lengths mm, speeds mm/s, accelerations mm/s2, times s.
 *
 * Where measures.md leaves room:
 * - A corner goes by the limits in force at the move that it leads into; each move's speed and acceleration by the
 *   limits that it was pushed with.
 * - Rule deviation: a corner with a move of E alone is 0, also between two of them, which have no direction in XYZ.
 *   Rule step takes them like any other, with direction (0, 0, 0, +-1).
 * - A void move (no length at all, a value that is not a number, lengths outside 1e-100 .. 1e100 mm, more than 1e50 mm
 *   of E per mm) takes no time, reaches 0 mm/s, and motion rests at it.
 * - A feed or acceleration limit that is not above 0 counts as not given; a step or deviation so as 0. All others are
 *   kept within 1e-12 .. 1e12, asked speeds within 1e-9 .. 1e9: every result is finite.
 * Results do not depend on how moves are cut into blocks, nor on the processor: to the bit. */
#ifndef PO_MOTION_PLAN_H
#define PO_MOTION_PLAN_H

#include <stddef.h>
#include <stdint.h>

#include "proveout/shop.h"

enum {                     /* bits of po_move_block.kind */
       PO_MOVE_BEAD = 1,   /* XY distance and filament forward: printing acceleration */
       PO_MOVE_TRAVEL = 2, /* XYZ distance without: travel acceleration */
       PO_MOVE_FEED = 4,   /* E alone: retraction acceleration (XYZ displacement is zero) */
       PO_MOVE_ARC = 8,    /* arcs[...] holds its tangents; |u_x| = |u_y| = 1 for the axis limits, v <= sqrt(a r) */
       PO_MOVE_REST = 16,  /* motion comes to rest after this move (dwell, wait for heat, homing, tool change ...) */
};

typedef struct po_arc_ends {
    double radius;
    double start[3], end[3]; /* unit directions of motion in XYZ at both ends (tangents of the helix) */
} po_arc_ends;

/* A block of moves, one array per quantity; owned by the caller, borrowed for the call.
 * length: XYZ path length (that of the helix for arcs); 0 for E alone (then |de| counts). A move changes at least one
 * axis. Bead wins over feed over travel where several bits are set; travel where none is. */
typedef struct po_move_block {
    size_t n;
    const double *dx, *dy, *dz, *de; /* displacement */
    const double *length;
    const double *feed; /* asked speed along the path (or of E, if E alone); <= 0: none known */
    const uint8_t *kind;
    const po_arc_ends *arcs; /* one for each move with PO_MOVE_ARC, in order */
    size_t n_arcs;
} po_move_block;

typedef struct po_planner po_planner;

/* limits are copied. NULL when memory is gone. */
po_planner *po_planner_new(const po_limits *limits);
void po_planner_free(po_planner *planner); /* accepts NULL */

/* Limits for the moves pushed from now on. */
void po_planner_limits(po_planner *planner, const po_limits *limits);

/* Results of finished moves, in the order pushed; soon after nothing can change them: with many waiting the planner
 * looks again when half as many have come. Borrowed until the next call on the planner. */
typedef struct po_planned {
    size_t n;
    const double *seconds;
    const double *top_mm_s; /* highest speed that the move reaches, along its length (of E, if E alone) */
} po_planned;

/* Push a block (any size, also 0) and take what is finished by it. Look-ahead is unlimited up to PO_PLAN_MOST pending
 * moves; beyond that the oldest half is finished as if motion could come to rest at the newest move. That is looked at
 * every PO_PLAN_MOST / 8 moves from the start, so that never more than 9/8 of PO_PLAN_MOST wait.
 * A move marked as an arc past n_arcs is taken as straight.
 * Errors: PO_E_NOMEM; then nothing of the block was taken in. */
enum { PO_PLAN_MOST = 1 << 18 };
po_status po_planner_push(po_planner *planner, const po_move_block *block, po_planned *ret, po_err *err) PO_MUST_USE;
/* The end: motion comes to rest; all that is pending is finished. The planner then starts again from rest. */
po_status po_planner_finish(po_planner *planner, po_planned *ret, po_err *err) PO_MUST_USE;

#endif
