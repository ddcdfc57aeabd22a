/* A deposit and the lanes that it serves. SPDX-License-Identifier: Apache-2.0
 *
 * The lane that leads feeds the batcher at once; the batches wait until every lane of the group knows the times of
 * their beads, then go to the deposit, here or on a worker's thread. Nothing depends on which. */
#ifndef PO_JOB_GROUP_H
#define PO_JOB_GROUP_H

#include "job/deposit.h"
#include "job/lane.h"

typedef struct po_workers po_workers; /* threads that do deposits' work; NULL = the caller does it */

/* n threads; NULL when memory or threads are not to be had. */
po_workers *po_workers_new(size_t n);
void po_workers_free(po_workers *workers); /* accepts NULL; waits for what is under way, throws the rest away */

typedef struct po_group {
    po_lane **lanes; /* the first leads; borrowed */
    size_t n_lanes;
    po_deposit *deposit;
    po_batcher batcher;
    po_workers *workers; /* NULL = here */
    size_t worker;
    po_batch **waiting; /* for times: a ring */
    size_t cap_waiting;
    uint64_t waiting_in, waiting_out;
    struct po_group_shared *shared; /* what the worker touches too */
    bool failed;                    /* memory ran out */
} po_group;

/* Whether two machines can share a deposit; the same raster is part of it. */
bool po_group_alike(const po_job_setup *a, const po_job_setup *b);

/* lanes and machines are borrowed; lane_of[i] is the index (in lanes) of machine i's. */
po_status po_group_init(po_group *group, po_lane **lanes, size_t n_lanes, const po_job_setup *const *machines,
                        const size_t *lane_of, size_t n_machines, bool images, size_t prints, po_workers *workers,
                        size_t worker, po_err *err) PO_MUST_USE;
void po_group_done(po_group *group);

/* Send on what is ready. False when memory is gone. */
bool po_group_pump(po_group *group);
/* After its lanes have finished: all is laid; waits for the worker. False when memory is gone. */
bool po_group_finish(po_group *group);

#endif
