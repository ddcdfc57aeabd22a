/* Limits made ready, and the moves that come singly: arcs, and the corner at the seam of two blocks.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Source: docs/measures.md, "Motion time". */
#include "motion/rates.h"

#include <string.h>

/* 1 / limit within the bounds; missing (0, negative, not a number) gives `otherwise`. */
static double inverse(double limit, double otherwise)
{
    if (!(limit > 0.0)) {
        return otherwise;
    }
    return po_min(po_max(1.0 / limit, PO_INVERSE_LEAST), PO_INVERSE_MOST);
}

void po_rates_set(po_rates *rates, const po_limits *limits)
{
    for (int a = 0; a < 4; a++) {
        rates->slow[a] = inverse(limits->feed_mm_s[a], PO_INVERSE_LEAST);
        rates->lazy[a] = inverse(limits->accel_mm_s2[a], PO_INVERSE_LEAST);
        rates->stiff[a] = inverse(limits->step_mm_s[a], PO_INVERSE_MOST);
    }
    rates->lazy_print = inverse(limits->print_mm_s2, PO_INVERSE_LEAST);
    rates->lazy_travel = inverse(limits->travel_mm_s2, PO_INVERSE_LEAST);
    rates->lazy_retract = inverse(limits->retract_mm_s2, PO_INVERSE_LEAST);
    rates->deviation_mm = limits->deviation_mm > 0.0 ? po_min(limits->deviation_mm, PO_LENGTH_MOST) : 0.0;
    rates->corner = limits->corner;
}

void po_arc_rates(const po_rates *rates, const po_arc_ends *arc, double dz, double de, double length, double feed,
                  uint8_t kind, po_tail *ret_tail, double *ret_reach2)
{
    const double uz = dz / length, ue = de / length;
    double steep = fabs(uz) + fabs(ue);
    for (int a = 0; a < 3; a++) {
        ret_tail->u[a] = arc->end[a];
        steep += fabs(arc->start[a]) + fabs(arc->end[a]);
    }
    ret_tail->u[3] = ue;
    ret_tail->has_xyz = 1;
    ret_tail->rest = (kind & PO_MOVE_REST) != 0;
    if (!(length >= PO_LENGTH_LEAST && length <= PO_LENGTH_MOST && steep <= PO_STEEPEST &&
          arc->radius >= PO_LENGTH_LEAST && arc->radius <= PO_LENGTH_MOST)) {
        memset(ret_tail->u, 0, sizeof ret_tail->u);
        ret_tail->v2 = 0.0;
        ret_tail->ia = 1.0;
        *ret_reach2 = 0.0;
        return;
    }
    const double v = po_speed(po_max4(rates->slow, 1.0, 1.0, fabs(uz), fabs(ue)), feed);
    const double axes = po_max4(rates->lazy, 1.0, 1.0, fabs(uz), fabs(ue));
    ret_tail->ia = po_min(po_max(po_lazy_of_kind(rates, kind), axes), PO_SLOWEST_INVERSE);
    ret_tail->v2 = po_min(v * v, arc->radius / ret_tail->ia);
    *ret_reach2 = 2.0 * length / ret_tail->ia;
}

double po_corner_into(const po_rates *rates, const po_tail *before, const double u[4], double v2, double ia,
                      int has_xyz)
{
    if (before->rest) {
        return 0.0;
    }
    const double *w = before->u;
    double corner2;
    if (rates->corner == PO_CORNER_STEP) {
        corner2 = po_step2(rates, fabs(u[0] - w[0]), fabs(u[1] - w[1]), fabs(u[2] - w[2]), fabs(u[3] - w[3]));
    } else if (has_xyz && before->has_xyz) {
        corner2 = po_deviation2(rates, u[0] + w[0], u[1] + w[1], u[2] + w[2], po_max(before->ia, ia));
    } else {
        corner2 = 0.0;
    }
    return po_min(corner2, po_min(before->v2, v2));
}
