/* Beads of one height, gathered for the deposit. SPDX-License-Identifier: Apache-2.0
 *
 * The batcher takes the moves of one reading (docs/measures.md, "Layers and beads") and cuts them where the height
 * changes: a batch is what is laid at one height without another height in between, or, while the nozzle climbs steadily,
 * at most half a layer's climb. Arcs are cut into chords and ramps into flat pieces, so that a bead here is straight.
 * The deposit works on one batch at a time, in order. */
#ifndef PO_JOB_BATCH_H
#define PO_JOB_BATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "job/moves.h"

enum {
    PO_BEAD_CHAIN = 1,  /* begins a chain: does not go on from the end of the bead before */
    PO_BEAD_PIECE = 2,  /* goes on the same move as the bead before (a chord, a piece of a ramp) */
    PO_BEAD_LONG = 4,   /* its whole move is longer than 1 mm */
    PO_BEAD_RAMP = 8,   /* part of a move that climbs or falls */
    PO_BEAD_CLIMB = 16, /* ... that climbs */
};

enum {
    PO_BATCH_MOST = 1 << 18
}; /* beads; a height with more is cut in two, which is no fault of the answer's but of a
                                     * detail: material of the first half counts as beneath for the second */

typedef struct po_bead {
    float x0, y0, x1, y1; /* centre line */
    float z0, z1;         /* nozzle heights at its ends */
    float length;         /* XYZ, of this piece */
    float area;           /* cross section, mm2: dE * filament area / length of the whole move */
    float share;          /* of its whole move's length: 1 for an ordinary bead */
    float from;           /* where in the whole move it begins, 0..1 */
    float nozzle_c;       /* commanded */
    uint8_t tool, fan_percent, flags, pad;
    uint64_t line;
} po_bead;

typedef struct po_passing { /* a travel, or a bead, low enough to run into something */
    float x0, y0, z0, x1, y1, z1;
    uint64_t line;
    uint32_t before_bead;
    bool blind;
} po_passing;

/* Times of the beads on one lane, one entry a bead. */
typedef struct po_bead_times {
    double *start;   /* of this piece */
    float *seconds;  /* of this piece */
    float *top_mm_s; /* of the whole move */
} po_bead_times;

typedef struct po_batch {
    po_bead *beads;
    size_t n_beads, cap_beads;
    po_passing *passings;
    size_t n_passings, cap_passings;
    float z_low, z_high;       /* of the beads' ends */
    bool climbing;             /* holds ramps; steady where it is not settled */
    bool settled;              /* its height is that of flat chains */
    bool continues;            /* same height (or the same climb) as the batch before: cut for its size or in a climb */
    uint64_t last_line;        /* of the last bead */
    po_bead_times *times;      /* one for each lane of the group; filled before the batch goes to the deposit */
    size_t n_times, cap_times; /* cap_times: beads that there is room for */
    double filament_mm;        /* used by the job until the end of the batch, all tools (highest net feed) */
} po_batch;

/* Height that a batch stands for when what lies beneath it is looked for: the lowest of a steady climb. */
static inline float po_batch_floor(const po_batch *b)
{
    return b->climbing && !b->settled ? b->z_low : b->z_high;
}

#endif
