/* For tests: programs of moves, and running them through the planner. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_MOTION_PLAN_PROGRAMS_H
#define PO_MOTION_PLAN_PROGRAMS_H

#include "motion/plan_slow.h"

#define NEAR(got, wanted, tolerance)                                                                                   \
    do {                                                                                                               \
        const double got_ = (got), wanted_ = (wanted), tolerance_ = (tolerance);                                       \
        if (!(fabs(got_ - wanted_) <= tolerance_)) {                                                                   \
            fail_msg("%s is %.12g, not %.12g (within %.3g)", #got, got_, wanted_, tolerance_);                         \
        }                                                                                                              \
    } while (0)

extern const po_limits limits_wide;     /* only the acceleration and the corner bind */
extern const po_limits limits_usual[2]; /* one machine for each rule */

typedef struct result {
    size_t n;
    double seconds[SLOW_MOST], top[SLOW_MOST];
    double total;
} result;

void program_begin(program *g);
size_t program_add(program *g, const po_limits *l, unsigned kind, double x, double y, double z, double e, double feed);
/* An arc that begins in direction `from` (radians), turns left by `turn`, and climbs by z. */
void program_add_arc(program *g, const po_limits *l, unsigned kind, double radius, double from, double turn, double z,
                     double e, double feed);
po_move_block program_slice(const program *g, size_t first, size_t n);
void program_collect(result *r, const po_planned *out);
/* Plan in blocks of 0 .. most moves (0: all at once); a block ends where the limits change. */
void program_run_cut(const program *g, size_t most, uint64_t seed, result *r);
void program_run(const program *g, result *r);
/* A random program such as jobs hold: walls, fill, reversals, hops, retractions, arcs, rests, changed limits. */
void program_random(program *g, const po_limits *limits, size_t n, uint64_t seed);

#endif
