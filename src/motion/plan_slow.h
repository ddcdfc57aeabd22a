/* For tests: programs of moves, and two slow ways to their times. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_MOTION_PLAN_SLOW_H
#define PO_MOTION_PLAN_SLOW_H

#include "motion/plan.h"

enum { SLOW_MOST = 4096 };

typedef struct program { /* all moves in memory; arcs beside them */
    size_t n, n_arcs;
    double dx[SLOW_MOST], dy[SLOW_MOST], dz[SLOW_MOST], de[SLOW_MOST], length[SLOW_MOST], feed[SLOW_MOST];
    uint8_t kind[SLOW_MOST];
    po_arc_ends arcs[SLOW_MOST];
    po_limits limits[SLOW_MOST]; /* in force at each move */
} program;

typedef struct slow_plan {
    double v[SLOW_MOST], a[SLOW_MOST], length[SLOW_MOST], corner[SLOW_MOST + 1];
    double seconds[SLOW_MOST], top[SLOW_MOST];
    double total;
} slow_plan;

/* docs/measures.md word by word, in speeds, with divisions, and angles by atan2. */
void slow_by_the_book(const program *g, slow_plan *ret);
/* Total time by stepping through time, dt seconds at once: speed up by a dt, never faster than lets all corners ahead
 * be met. Takes speeds, accelerations and uncut corners from the plan; knows no trapezoids and no passes. */
double slow_by_stepping(const slow_plan *uncut, size_t n, double dt);
/* Speeds, accelerations and corners only, corners not yet cut by the passes. */
void slow_limits(const program *g, slow_plan *ret);

#endif
