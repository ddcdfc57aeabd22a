/* Moves and happenings of a job, in blocks. SPDX-License-Identifier: Apache-2.0
 *
 * The interpreter (state.h) writes a block; the planner times it; the tally and the deposit read it. Positions are
 * machine coordinates in mm, E in mm of filament. */
#ifndef PO_JOB_MOVES_H
#define PO_JOB_MOVES_H

#include <stdbool.h>
#include <stdint.h>

#include "motion/plan.h"

/* Not a multiple of 512: arrays a whole number of pages apart would fight for the same cache lines, twelve at a time. */
enum { PO_BLOCK_MOVES = 2088, PO_BLOCK_EVENTS = 512 };

/* Bits of po_moves.kind beyond those of motion/plan.h. */
enum {
    PO_MOVE_RETRACT = 32, /* E goes back (a travel or a feed), or G10 */
    PO_MOVE_COUNTED = 64, /* a G0 to G3 line: counts as a move; G10 and G11 don't */
    PO_MOVE_BLIND = 128,  /* first move out of home, or before X and Y were homed: no keep-out is judged */
};

typedef enum po_event_kind {
    PO_EV_NOZZLE, /* command: tool, value C (wait: also waits while heating) */
    PO_EV_BED,    /* command: value C, wait */
    PO_EV_FAN,    /* value percent */
    PO_EV_DWELL,  /* value s */
    PO_EV_HOME,   /* value: seconds; bits: axes (1 X, 2 Y, 4 Z) */
    PO_EV_PROBE,  /* value: seconds */
    PO_EV_TOOL,   /* tool selected (-1: none) */
    PO_EV_HANDS,  /* word needs a person */
    PO_EV_REST,   /* motion comes to rest, nothing else */
    PO_EV_LIMITS, /* limits[...] from here on */
    PO_EV_MOTORS_OFF,
} po_event_kind;

typedef struct po_event {
    uint32_t before; /* happens before this move of the block (n = after the last) */
    po_event_kind kind;
    uint64_t line;
    double value;
    int16_t tool;
    uint8_t bits;
    bool wait;
    char word[8]; /* PO_EV_HANDS */
    double z;     /* nozzle height then */
} po_event;

typedef struct po_moves {
    size_t n;
    double x0, y0, z0;                                              /* where the block begins */
    double x[PO_BLOCK_MOVES], y[PO_BLOCK_MOVES], z[PO_BLOCK_MOVES]; /* ends of the moves */
    double dx[PO_BLOCK_MOVES], dy[PO_BLOCK_MOVES], dz[PO_BLOCK_MOVES], de[PO_BLOCK_MOVES];
    double length[PO_BLOCK_MOVES], feed[PO_BLOCK_MOVES];
    uint64_t line[PO_BLOCK_MOVES];
    uint8_t kind[PO_BLOCK_MOVES];
    /* arcs, in order of the moves that carry PO_MOVE_ARC */
    size_t n_arcs;
    po_arc_ends arcs[PO_BLOCK_MOVES];
    struct po_arc_shape {
        double cx, cy, turn; /* centre, signed angle in rad */
    } shapes[PO_BLOCK_MOVES];
    bool closed; /* full, or something happened that the next move must not share a block with */
    size_t n_events;
    po_event events[PO_BLOCK_EVENTS];
} po_moves;

#endif
