/* One way of running a job: a reading of the file, limits, heating. SPDX-License-Identifier: Apache-2.0
 *
 * Lines go in; the interpreter writes moves into a block; a full block is tallied, planned, and handed to whoever lays
 * beads (the deposit's batcher). Machines that read a file alike and move and heat alike share a lane. */
#ifndef PO_JOB_LANE_H
#define PO_JOB_LANE_H

#include "job/batcher.h"
#include "job/tally.h"

typedef struct po_lane {
    po_state state;
    po_planner *planner;
    po_moves *block;
    po_clock clock;
    po_tally tally;
    po_batcher *batcher;        /* NULL = this lane leads no deposit; borrowed */
    bool finished;              /* no more lines: all times are known */
    bool off;                   /* lays other beads than the lane that leads */
    bool counting;              /* the first bead has been met */
    bool sets_units, sets_mode; /* said before the first bead */
    uint64_t odd_count[PO_ODD_COUNT];
    double odd_first_s[PO_ODD_COUNT], odd_worst_s[PO_ODD_COUNT];
    uint64_t odd_worst_asked[PO_ODD_COUNT]; /* line + 1 */
} po_lane;

/* How a machine with these materials reads a file, and whether two are read, moved and heated alike. */
po_reading po_reading_of(const po_job_setup *setup);
bool po_lane_alike(const po_job_setup *a, const po_job_setup *b);

/* machines: borrowed, alike. */
po_status po_lane_init(po_lane *lane, const po_job_setup *const *machines, size_t n_machines, po_err *err) PO_MUST_USE;
void po_lane_done(po_lane *lane);

/* Carry out lines, in order. */
po_status po_lane_lines(po_lane *lane, const po_line *lines, size_t n, po_err *err) PO_MUST_USE;
/* No more lines. The batcher is not finished by this. */
po_status po_lane_finish(po_lane *lane, po_err *err) PO_MUST_USE;

#endif
