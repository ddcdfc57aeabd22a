/* The largest mean flow over any three seconds. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_JOB_DEPOSIT_FLOW_H
#define PO_JOB_DEPOSIT_FLOW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct flow_window {      /* zeroed = empty; free t and f */
    double *t, *f;                /* ring of break points: time, volume so far */
    size_t cap, first, n;         /* cap is a power of two */
    size_t tail, lead;            /* offsets from first: for windows that end / begin at a break point */
    double volume, best, best_at; /* mm3; mm3/s; s */
    uint64_t best_line;
    float best_xyz[3];
} flow_window;

/* A bead of so much volume, laid evenly from start on; beads come in order of time. x y z line: its place, for the
 * record. best is the largest mean over any 3 s (a job shorter than that: its volume over 3 s). False when memory is
 * gone. */
bool po_flow_add(flow_window *w, double start, double seconds, double volume, uint64_t line, float x, float y, float z);

#endif
