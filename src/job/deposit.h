/* Where material lies: heights, beads, what carries them, parts. SPDX-License-Identifier: Apache-2.0
 *
 * docs/measures.md, "Layers and beads" and "Deposit". Batches come in order (batch.h); the deposit keeps a height map and
 * a map of pieces, and answers with the facts and sightings that need them. One deposit serves all machines that lay the
 * same beads with the same nozzles (its lanes differ in time only). */
#ifndef PO_JOB_DEPOSIT_H
#define PO_JOB_DEPOSIT_H

#include "base/pool.h"
#include "job/batch.h"
#include "proveout/job.h"

typedef struct po_deposit po_deposit;

typedef struct po_deposit_setup {
    size_t n_lanes;
    size_t n_tools;
    double nozzle_mm[PO_MAX_TOOLS];
    double filament_mm[PO_MAX_TOOLS];
    double overhang_limit_deg, support_gap_mm;
    double raster_mm;
    po_range window_x, window_y;         /* where material is mapped: all beds with a margin */
    const po_job_setup *const *machines; /* served; borrowed */
    const size_t *lane_of;               /* lane of each machine */
    size_t n_machines;
    bool images;
    size_t prints; /* heights to keep as they were laid; 0 = none */
} po_deposit_setup;

/* NULL when memory is gone. */
po_deposit *po_deposit_new(const po_deposit_setup *setup);
void po_deposit_free(po_deposit *deposit); /* accepts NULL */
/* Who helps with the work: each(helpers, n, work, user) calls work(i, user) once for each i < n, on any threads, and returns
 * when all is done. The answer is the same with and without. */
void po_deposit_help(po_deposit *deposit,
                     void (*each)(void *helpers, size_t n, void (*work)(size_t i, void *user), void *user),
                     void *helpers);

/* Work on one batch, whose times are filled. The deposit owns the batch from here on; batches it is done with are given
 * back through `spent`. False when memory is gone. */
bool po_deposit_batch(po_deposit *deposit, po_batch *batch, void (*spent)(po_batch *batch, void *user), void *user);
/* The end of the job. end_xyz: where the nozzle stays. */
bool po_deposit_finish(po_deposit *deposit, const double end_xyz[3], void (*spent)(po_batch *batch, void *user),
                       void *user);

/* Write facts and sightings for one machine (index into setup.machines): those fields that rest on the deposit; the
 * others are left alone. Arrays live in the arena. densities: g/cm3 of each tool's material. */
bool po_deposit_report(po_deposit *deposit, size_t machine, const double *densities, po_arena *arena,
                       po_job_facts *facts, po_sighting *sights, po_job_images *images);
/* Hand over the heights kept (po_job_report.prints), copied into the arena. */
bool po_deposit_prints(const po_deposit *deposit, po_arena *arena, const po_layer_image **ret, size_t *ret_n);

#endif
