/* What a machine's limits make of one move: formulas shared by the loops over blocks and by the single cases.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Limits are kept as reciprocals, so that "the least of limit_a / |u_a|" costs one division for all axes:
 * min_a(limit_a / |u_a|) = 1 / max_a(|u_a| / limit_a). Speeds are kept squared: v_out^2 = v_in^2 + 2 a L needs no root.
 * Source: docs/measures.md, "Motion time". */
#ifndef PO_MOTION_RATES_H
#define PO_MOTION_RATES_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

#include "motion/plan.h"

/* Bounds that keep every intermediate value finite; far outside what any machine can do, so that no real move meets
 * them. A move outside PO_LENGTH_* or steeper than PO_STEEPEST, or with a value that is not a number, is void: it takes
 * no time, and motion rests at it. */
#define PO_LENGTH_LEAST 1e-100  /* mm */
#define PO_LENGTH_MOST 1e100    /* mm */
#define PO_STEEPEST 1e50        /* sum of |u_a|: filament per path length, at most */
#define PO_SPEED_LEAST 1e-9     /* mm/s, for asked speeds */
#define PO_SPEED_MOST 1e9       /* mm/s */
#define PO_INVERSE_MOST 1e12    /* 1 / limit; a step of 0 mm/s counts as 1e-12 */
#define PO_INVERSE_LEAST 1e-12  /* 1 / limit; an acceleration that is none counts as 1e12 mm/s2 */
#define PO_SLOWEST_INVERSE 1e62 /* 1 / acceleration of a move, at most: PO_STEEPEST * PO_INVERSE_MOST */
#define PO_STRAIGHT 1e-15       /* 1 - s below this is rounding: straight on, no limit */

typedef struct po_rates {
    double slow[4]; /* 1 / feed_mm_s */
    double lazy[4]; /* 1 / accel_mm_s2 */
    double lazy_print, lazy_travel, lazy_retract;
    double stiff[4]; /* 1 / step_mm_s */
    double deviation_mm;
    po_corner_rule corner;
} po_rates;

/* What has to be known of a move to judge the corner after it. */
typedef struct po_tail {
    double u[4]; /* direction at its end */
    double v2;   /* squared cruise speed */
    double ia;   /* 1 / acceleration */
    int has_xyz;
    int rest; /* motion rests after it */
} po_tail;

/* Reciprocals of limits. A feed or acceleration that is not above 0 counts as not given; a step or deviation that is
 * not above 0 as 0. */
void po_rates_set(po_rates *rates, const po_limits *limits);

/* An arc: its squared cruise speed, 1 / acceleration, and 2 a L, and how it ends. |u_x| = |u_y| = 1 for the
 * limits of axes; v is not above sqrt(a r). A void move gets 0 everywhere, and some finite ia. */
void po_arc_rates(const po_rates *rates, const po_arc_ends *arc, double dz, double de, double length, double feed,
                  uint8_t kind, po_tail *ret_tail, double *ret_reach2);

/* Squared corner speed from `before` into a move that begins along u with squared cruise speed v2. */
double po_corner_into(const po_rates *rates, const po_tail *before, const double u[4], double v2, double ia,
                      int has_xyz);

/* x < y ? x : y, which is one instruction, unlike fmin with its care for NaN (none gets here). */
static inline double po_min(double x, double y)
{
    return x < y ? x : y;
}

static inline double po_max(double x, double y)
{
    return x > y ? x : y;
}

static inline double po_max4(const double by[4], double x, double y, double z, double e)
{
    return po_max(po_max(x * by[0], y * by[1]), po_max(z * by[2], e * by[3]));
}

static inline double po_lazy_of_kind(const po_rates *rates, unsigned kind)
{
    const double not_bead = kind & PO_MOVE_FEED ? rates->lazy_retract : rates->lazy_travel;
    return kind & PO_MOVE_BEAD ? rates->lazy_print : not_bead;
}

/* Asked speed and what the axes allow. */
static inline double po_speed(double slowest, double feed)
{
    const double allowed = 1.0 / po_max(slowest, 1.0 / PO_SPEED_MOST);
    const double asked = po_min(po_max(feed, PO_SPEED_LEAST), allowed);
    return feed > 0.0 ? asked : allowed;
}

/* Rule step, squared, from |du|. */
static inline double po_step2(const po_rates *rates, double x, double y, double z, double e)
{
    const double m = po_max4(rates->stiff, x, y, z, e);
    return 1.0 / po_max(m * m, 1e-200); /* no change at all: no limit to speak of */
}

/* Rule deviation, squared, from the sum of the unit directions; ia the larger of both 1 / a. s = sin(t/2) is half the
 * length of that sum: the same as sqrt((1 - cos t) / 2) for unit vectors, but it keeps its digits near a reversal. */
static inline double po_deviation2(const po_rates *rates, double x, double y, double z, double ia)
{
    const double s = 0.5 * sqrt(x * x + y * y + z * z);
    const double gap = 1.0 - s;
    const double v2 = rates->deviation_mm * s / (po_max(gap, PO_STRAIGHT) * ia);
    return gap > PO_STRAIGHT ? v2 : HUGE_VAL;
}

#endif
