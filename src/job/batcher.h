/* Cuts the moves of one reading into batches of one height. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_JOB_BATCHER_H
#define PO_JOB_BATCHER_H

#include "job/batch.h"

enum { PO_HEIGHT_NEAR_UM = 20 }; /* heights closer than this are one (docs/measures.md) */

/* Called with a full batch; returns an empty one to go on with, or NULL when there is none to be had. */
typedef po_batch *(*po_batch_taker)(po_batch *full, void *user);

typedef struct po_batcher {
    double filament_area[PO_MAX_TOOLS]; /* mm2, of each tool's filament */
    po_batch_taker take;
    void *user;
    po_batch *now;
    bool failed; /* memory ran out */
    /* state between moves */
    bool new_chain;
    int tool;
    double nozzle_c[PO_MAX_TOOLS], fan_percent;
    float highest;    /* of all beads in batches before this one */
    float climb_from; /* height at which the climb of this batch began */
    float usual_step; /* between the last two flat heights; 0: not known yet */
    float last_flat;
    bool flat; /* the height of this batch is settled: flat_z */
    float flat_z;
    double net[PO_MAX_TOOLS], most[PO_MAX_TOOLS];
} po_batcher;

void po_batcher_init(po_batcher *b, const double *filament_mm, size_t n_tools, po_batch *first, po_batch_taker take,
                     void *user);
/* Append a block of moves. False when memory is gone. */
bool po_batcher_moves(po_batcher *b, const po_moves *moves);
/* Hand over what is left. */
bool po_batcher_finish(po_batcher *b);

/* Memory of a batch. */
po_batch *po_batch_new(size_t n_lanes);
void po_batch_free(po_batch *batch);
void po_batch_empty(po_batch *batch);
/* Room for the times of its beads on every lane. */
bool po_batch_times(po_batch *batch);

#endif
