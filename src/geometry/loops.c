/* Loops: area, length, bounds, winding. SPDX-License-Identifier: Apache-2.0
 *
 * Area: the shoelace sum (C. F. Gauss; A. L. F. Meister, 1769), terms taken relative to the first point of each loop so
 * that a small outline far from the origin keeps its digits. Winding: signed crossings of the ray to the right, each edge
 * half open in y (D. Sunday, "Inclusion of a Point in a Polygon", 2001), so that a ray through corners counts rightly. */
#include "proveout/loops.h"

#include <math.h>

double po_loops_area(const po_loops *loops)
{
    double sum = 0;
    for (size_t i = 0, from = 0; i < loops->n_loops; from = loops->ends[i++]) {
        const double *p = loops->xy + 2 * from;
        size_t n = loops->ends[i] - from;
        double twice = 0;
        for (size_t k = 2; k < n; k++) {
            double ax = p[2 * k - 2] - p[0], ay = p[2 * k - 1] - p[1], bx = p[2 * k] - p[0], by = p[2 * k + 1] - p[1];
            twice += ax * by - bx * ay;
        }
        sum += twice / 2;
    }
    return sum;
}

double po_loops_length(const po_loops *loops)
{
    double sum = 0;
    for (size_t i = 0, from = 0; i < loops->n_loops; from = loops->ends[i++]) {
        const double *p = loops->xy + 2 * from;
        size_t n = loops->ends[i] - from;
        for (size_t k = 0, before = n - 1; k < n; before = k++) {
            double dx = p[2 * k] - p[2 * before], dy = p[2 * k + 1] - p[2 * before + 1];
            sum += sqrt(dx * dx + dy * dy);
        }
    }
    return sum;
}

bool po_loops_bounds(const po_loops *loops, double ret[4])
{
    size_t n = loops->n_loops ? loops->ends[loops->n_loops - 1] : 0;
    if (n == 0) {
        return false;
    }
    double b[4] = {INFINITY, INFINITY, -INFINITY, -INFINITY};
    for (size_t k = 0; k < n; k++) {
        double x = loops->xy[2 * k], y = loops->xy[2 * k + 1];
        b[0] = x < b[0] ? x : b[0];
        b[1] = y < b[1] ? y : b[1];
        b[2] = x > b[2] ? x : b[2];
        b[3] = y > b[3] ? y : b[3];
    }
    for (int k = 0; k < 4; k++) {
        ret[k] = b[k];
    }
    return true;
}

int po_loops_winding(const po_loops *loops, double x, double y)
{
    int winding = 0;
    for (size_t i = 0, from = 0; i < loops->n_loops; from = loops->ends[i++]) {
        const double *p = loops->xy + 2 * from;
        size_t n = loops->ends[i] - from;
        for (size_t k = 0, before = n - 1; k < n; before = k++) {
            const double *a = p + 2 * before, *b = p + 2 * k;
            bool up = a[1] <= y && b[1] > y, down = a[1] > y && b[1] <= y;
            if (!up && !down) {
                continue;
            }
            double left = (b[0] - a[0]) * (y - a[1]) - (x - a[0]) * (b[1] - a[1]); /* > 0: the point is left of a b */
            winding += up && left > 0 ? 1 : down && left < 0 ? -1 : 0;
        }
    }
    return winding;
}
