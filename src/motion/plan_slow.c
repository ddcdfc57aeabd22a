/* For tests: the times of moves found slowly and apart from the planner. SPDX-License-Identifier: Apache-2.0
 *
 * Source: docs/measures.md, "Motion time"; handbook 3.1 for trapezoid and triangle. */
#include "motion/plan_slow.h"

#include <math.h>
#include <string.h>

static double angle_between(const double *a, const double *b)
{
    const double c[3] = {a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]};
    return atan2(sqrt(c[0] * c[0] + c[1] * c[1] + c[2] * c[2]), a[0] * b[0] + a[1] * b[1] + a[2] * b[2]);
}

void slow_limits(const program *g, slow_plan *ret)
{
    double end[4] = {0};
    size_t arc = 0;
    for (size_t i = 0; i < g->n; i++) {
        const po_limits *l = &g->limits[i];
        const double far = g->length[i] > 0.0 ? g->length[i] : fabs(g->de[i]);
        double in[4] = {g->dx[i] / far, g->dy[i] / far, g->dz[i] / far, g->de[i] / far}, out[4], share[4];
        memcpy(out, in, sizeof out);
        memcpy(share, in, sizeof share);
        const po_arc_ends *ends = NULL;
        if (g->kind[i] & PO_MOVE_ARC) {
            ends = &g->arcs[arc++];
            memcpy(in, ends->start, 3 * sizeof *in);
            memcpy(out, ends->end, 3 * sizeof *out);
            share[0] = share[1] = 1.0;
        }
        double v = g->feed[i] > 0.0 ? g->feed[i] : INFINITY;
        double a = g->kind[i] & PO_MOVE_BEAD   ? l->print_mm_s2
                   : g->kind[i] & PO_MOVE_FEED ? l->retract_mm_s2
                                               : l->travel_mm_s2;
        for (int k = 0; k < 4; k++) {
            v = fmin(v, l->feed_mm_s[k] / fabs(share[k]));
            a = fmin(a, l->accel_mm_s2[k] / fabs(share[k]));
        }
        if (ends) {
            v = fmin(v, sqrt(a * ends->radius));
        }
        ret->v[i] = v;
        ret->a[i] = a;
        ret->length[i] = far;
        double c = i > 0 ? fmin(v, ret->v[i - 1]) : 0.0;
        if (i > 0 && g->kind[i - 1] & PO_MOVE_REST) {
            c = 0.0;
        } else if (i > 0 && l->corner == PO_CORNER_STEP) {
            for (int k = 0; k < 4; k++) {
                if (in[k] != end[k]) {
                    c = fmin(c, l->step_mm_s[k] / fabs(in[k] - end[k]));
                }
            }
        } else if (i > 0 && (!(g->length[i] > 0.0) || !(g->length[i - 1] > 0.0))) {
            c = 0.0;
        } else if (i > 0) {
            const double turn = angle_between(in, end);                                         /* pi - t */
            const double s = cos(0.5 * turn), rest = 2.0 * sin(0.25 * turn) * sin(0.25 * turn); /* 1 - s */
            if (rest > 0.0) {
                c = fmin(c, sqrt(fmin(a, ret->a[i - 1]) * l->deviation_mm * s / rest));
            }
        }
        ret->corner[i] = c;
        memcpy(end, out, sizeof end);
    }
    ret->corner[g->n] = 0.0;
}

void slow_by_the_book(const program *g, slow_plan *ret)
{
    double *corner = ret->corner;
    slow_limits(g, ret);
    for (size_t i = g->n; i-- > 0;) {
        corner[i] = fmin(corner[i], sqrt(corner[i + 1] * corner[i + 1] + 2.0 * ret->a[i] * ret->length[i]));
    }
    ret->total = 0.0;
    for (size_t i = 0; i < g->n; i++) {
        const double v = ret->v[i], a = ret->a[i], d = ret->length[i], v0 = corner[i];
        const double v1 = corner[i + 1] = fmin(corner[i + 1], sqrt(v0 * v0 + 2.0 * a * d));
        const double up = (v * v - v0 * v0) / (2.0 * a), down = (v * v - v1 * v1) / (2.0 * a);
        if (up + down <= d) {
            ret->top[i] = v;
            ret->seconds[i] = (v - v0) / a + (v - v1) / a + (d - up - down) / v;
        } else {
            const double peak = sqrt((2.0 * a * d + v0 * v0 + v1 * v1) / 2.0);
            ret->top[i] = peak;
            ret->seconds[i] = (peak - v0) / a + (peak - v1) / a;
        }
        ret->total += ret->seconds[i];
    }
}

double slow_by_stepping(const slow_plan *uncut, size_t n, double dt)
{
    double time = 0.0, v = 0.0;
    for (size_t i = 0; i < n; i++) {
        /* the square that the end of this move bears, from every corner ahead and the way to it */
        double bears = INFINITY, way = 0.0;
        for (size_t j = i + 1; j <= n; j++) {
            bears = fmin(bears, uncut->corner[j] * uncut->corner[j] + way);
            if (j < n) {
                way += 2.0 * uncut->a[j] * uncut->length[j];
            }
        }
        const double a = uncut->a[i];
        for (double left = uncut->length[i]; left > 0.0;) {
            const double most = fmin(uncut->v[i], sqrt(bears + 2.0 * a * left));
            const double next = fmax(fmin(v + a * dt, most), 0.25 * a * dt);
            const double step = 0.5 * (v + next) * dt;
            time += step < left ? dt : dt * left / step;
            left -= step;
            v = next;
        }
    }
    return time;
}
