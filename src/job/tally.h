/* Sums over the moves of one lane, and what is seen on each of its machines. SPDX-License-Identifier: Apache-2.0
 *
 * All that needs no times, taken block by block as the interpreter writes them (docs/measures.md); sightings ask the
 * clock for theirs. Rooms of machines are tried only where a block's bounds leave them. */
#ifndef PO_JOB_TALLY_H
#define PO_JOB_TALLY_H

#include "job/clock.h"
#include "job/state.h"

enum { PO_DRIVE_BINS = 128 }; /* of 0.5 mm: the recent 64 mm of filament */

typedef struct po_box {
    double min[3], max[3];
} po_box;

typedef struct po_tool_tally {
    double net, most; /* mm of filament */
    double extruding;
    bool used;        /* pushed, pulled or heated */
    double command_c; /* NAN = never */
    bool was_hot;     /* commanded above 0 before */
    po_heat_facts nozzle_c;
    double cold_mm; /* new filament since the nozzle was commanded as it is */
    bool laid;      /* beads */
    /* filament that passed the drive more than once: passes forward, by where on the filament */
    uint16_t passes[PO_DRIVE_BINS];
    int64_t passed; /* bin that new filament has reached */
} po_tool_tally;

/* One machine of the lane. */
typedef struct po_machine_tally {
    const po_job_setup *setup;
    double bed[2][2]; /* low, high of x and y */
    po_sighting sights[PO_SIGHT_COUNT];
    po_sighting parking; /* reach since the last bead */
} po_machine_tally;

typedef struct po_tally {
    po_clock *clock;
    po_machine_tally *machines;
    size_t n_machines;
    double coldest_limit[PO_TOOL_SLOTS]; /* highest cold_below_c of the machines */
    uint64_t n_moves, n_counted, n_retractions;
    double travel_mm;
    int tool;
    po_tool_tally *tools;        /* [PO_TOOL_SLOTS] */
    po_box beads, travels, tall; /* tall: beads above 1 mm */
    bool any_bead;
    double fan, bed_command_c;
    bool bed_was_hot;
    po_heat_facts nozzle_c, bed_c, fan_percent;
    uint64_t last_bead, last_bead_line; /* number of the move + 1; 0 = none */
    double last_bead_z;
    uint64_t end_signs; /* number of moves before the last word that belongs to an end */
    bool any_end_sign;
    bool shut_down;             /* all heat was switched off after beads, and none laid since */
    bool homes, probes, probed; /* homes, probes: before the first bead */
    /* retraction going on, and the longest since the last bead (which counts once another follows) */
    double back_mm, back_most;
    po_place back_at;
    uint64_t back_bead; /* last_bead then */
    int heated_tool;    /* highest tool that was heated or selected */
    uint64_t heated_line;
    po_sighting sights[PO_SIGHT_COUNT]; /* of all machines alike */
    /* geometry of beads, for comparing lanes */
    bool hashing;
    uint64_t hash, hash_travel;
    /* questions to the clock, gathered over a block */
    struct po_question {
        uint64_t move, event;
        double *dest;
    } * questions;
    size_t n_questions, cap_questions;
    bool failed;
} po_tally;

/* machines: borrowed. False when memory is gone. */
bool po_tally_init(po_tally *t, po_clock *clock, const po_job_setup *const *machines, size_t n_machines);
void po_tally_done(po_tally *t);

/* One block; tells the clock of its moves and happenings. False when memory is gone. */
bool po_tally_block(po_tally *t, const po_moves *m);
/* A question to the clock, about the start of a move of this block (numbers from the start of the job). */
void po_tally_ask(po_tally *t, uint64_t move, uint64_t event, double *dest);

/* tally_room.c: try the machines' rooms. all, beads: bounds of the block's moves (ends and arcs) and of its beads.
 * first: number of its first move; last_bead: index of the last bead in the block, SIZE_MAX = none. */
void po_tally_room(po_tally *t, const po_moves *m, uint64_t first, const po_box *all, const po_box *beads,
                   size_t last_bead);
/* The part of an arc that may lie outside its ends. */
void po_arc_box(const struct po_arc_shape *shape, double x0, double y0, po_box *box);

static inline void po_box_empty(po_box *b)
{
    for (int a = 0; a < 3; a++) {
        b->min[a] = __builtin_inf();
        b->max[a] = -__builtin_inf();
    }
}

static inline void po_box_join(po_box *b, const po_box *c)
{
    for (int a = 0; a < 3; a++) {
        b->min[a] = c->min[a] < b->min[a] ? c->min[a] : b->min[a];
        b->max[a] = c->max[a] > b->max[a] ? c->max[a] : b->max[a];
    }
}

#endif
