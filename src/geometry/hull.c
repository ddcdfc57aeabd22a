/* Convex hulls. SPDX-License-Identifier: Apache-2.0 */
#include "geometry/hull.h"

#include <math.h>
#include <stdlib.h>

static int by_x(const void *a, const void *b)
{
    const po_xy *p = a, *q = b;
    return p->x != q->x ? (p->x < q->x ? -1 : 1) : p->y != q->y ? (p->y < q->y ? -1 : 1) : 0;
}

static double cross(po_xy o, po_xy a, po_xy b)
{
    return (a.x - o.x) * (b.y - o.y) - (a.y - o.y) * (b.x - o.x);
}

size_t po_hull(po_xy *points, size_t n, po_xy *hull)
{
    if (n == 0) {
        return 0;
    }
    qsort(points, n, sizeof *points, by_x);
    size_t k = 0;
    for (size_t i = 0; i < n; i++) {
        while (k >= 2 && cross(hull[k - 2], hull[k - 1], points[i]) <= 0) {
            k--;
        }
        if (k == 0 || by_x(&hull[k - 1], &points[i]) != 0) {
            hull[k++] = points[i];
        }
    }
    size_t lower = k + 1;
    for (size_t i = n - 1; i-- > 0;) {
        while (k >= lower && cross(hull[k - 2], hull[k - 1], points[i]) <= 0) {
            k--;
        }
        hull[k++] = points[i];
    }
    return k > 1 ? k - 1 : k; /* the last point is the first again */
}

double po_hull_area(const po_xy *hull, size_t n)
{
    double twice = 0;
    for (size_t i = 2; i < n; i++) {
        twice += cross(hull[0], hull[i - 1], hull[i]);
    }
    return twice / 2;
}

double po_hull_longest_edge(const po_xy *hull, size_t n)
{
    double best = 0;
    for (size_t i = 0; i < n; i++) {
        const po_xy *a = &hull[i], *b = &hull[(i + 1) % n];
        best = fmax(best, hypot(b->x - a->x, b->y - a->y));
    }
    return best;
}

double po_hull_least_width(const po_xy *hull, size_t n)
{
    if (n < 3) {
        return 0;
    }
    double least = INFINITY;
    for (size_t i = 0; i < n; i++) {
        po_xy a = hull[i], b = hull[(i + 1) % n];
        double len = hypot(b.x - a.x, b.y - a.y), far = 0;
        for (size_t j = 0; len > 0 && j < n; j++) {
            far = fmax(far, cross(a, b, hull[j]) / len);
        }
        least = len > 0 ? fmin(least, far) : least;
    }
    return least;
}

double po_hull_inset(const po_xy *hull, size_t n, po_xy p)
{
    if (n < 3) {
        return n == 0 ? -INFINITY : -hypot(p.x - hull[0].x, p.y - hull[0].y);
    }
    double least = INFINITY;
    for (size_t i = 0; i < n; i++) {
        po_xy a = hull[i], b = hull[(i + 1) % n];
        double len = hypot(b.x - a.x, b.y - a.y);
        least = len > 0 ? fmin(least, cross(a, b, p) / len) : least;
    }
    return least;
}
