/* A lane's sums and sightings, written out as one machine's report. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_JOB_JOBFACTS_H
#define PO_JOB_JOBFACTS_H

#include "job/lane.h"

typedef struct po_file_facts { /* of the bytes, whatever the machine */
    uint64_t bytes, lines;
    char sha256[65];
    bool last_unended; /* the last line has no end ... */
    bool last_broken;  /* ... and breaks off within a word or a move */
    uint64_t last_line;
} po_file_facts;

/* Everything that needs no deposit; what does is left without a value. machine: index among the lane's machines.
 * NULL when the arena is full. */
po_job_report *po_report_new(const po_lane *lane, size_t machine, const po_file_facts *file, po_arena *arena);

#endif
