/* What the tests of clipping and offsets share: shapes, and slow answers to hold the fast ones against.
 * SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLIP_TEST_H
#define PO_CLIP_TEST_H

#include <math.h>
#include <stdlib.h>

#include "base/rounds.h"
#include "geometry/rings.h"
#include "proveout/loops.h"

static uint64_t shape_seed = 1;
static inline uint32_t some(uint32_t below) /* splitmix64 (Steele, Lea, Flood, OOPSLA 2014) */
{
    uint64_t z = (shape_seed += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
    return (uint32_t)((z ^ z >> 31) % below);
}

static inline double some_unit(void)
{
    return some(1u << 30) / (double)(1u << 30);
}

enum { SHAPE_POINTS = 20000, SHAPE_LOOPS = 2000 };
typedef struct shape {
    double xy[2 * SHAPE_POINTS];
    uint32_t ends[SHAPE_LOOPS];
    size_t n, n_loops;
} shape;

static inline void shape_point(shape *s, double x, double y)
{
    s->xy[2 * s->n] = x;
    s->xy[2 * s->n++ + 1] = y;
}

static inline void shape_end(shape *s)
{
    s->ends[s->n_loops++] = (uint32_t)s->n;
}

static inline po_loops shape_loops(const shape *s)
{
    return (po_loops){s->xy, s->n, s->ends, s->n_loops};
}

/* Counter-clockwise; a hole when x0 > x1. */
static inline void shape_box(shape *s, double x0, double y0, double x1, double y1)
{
    shape_point(s, x0, y0);
    shape_point(s, x1, y0);
    shape_point(s, x1, y1);
    shape_point(s, x0, y1);
    shape_end(s);
}

/* n points at the radius r (1 + wave cos(k angle)); clockwise for a negative r. */
static inline void shape_ring(shape *s, double x, double y, double r, int n, double wave, int k, double turn)
{
    for (int i = 0; i < n; i++) {
        double a = 2 * M_PI * i / n * (r < 0 ? -1 : 1) + turn, q = fabs(r) * (1 + wave * cos(k * a));
        shape_point(s, x + q * cos(a), y + q * sin(a));
    }
    shape_end(s);
}

/* Any n points joined in any way. */
static inline void shape_tangle(shape *s, int n, double size, int steps)
{
    for (int i = 0; i < n; i++) {
        if (steps > 0) {
            double x = some((uint32_t)steps), y = some((uint32_t)steps);
            shape_point(s, size * x / steps, size * y / steps);
        } else {
            double x = some_unit(), y = some_unit();
            shape_point(s, size * x, size * y);
        }
    }
    shape_end(s);
}

static inline double area_of(const po_loops *l)
{
    double twice = 0;
    for (size_t i = 0, start = 0; i < l->n_loops; start = l->ends[i++]) {
        const double *o = l->xy + 2 * start;
        for (size_t k = start; k < l->ends[i]; k++) {
            const double *p = l->xy + 2 * k, *q = k + 1 < l->ends[i] ? p + 2 : o;
            twice += (p[0] - o[0]) * (q[1] - o[1]) - (q[0] - o[0]) * (p[1] - o[1]);
        }
    }
    return twice / 2;
}

static inline double length_of(const po_loops *l)
{
    double sum = 0;
    for (size_t i = 0, start = 0; i < l->n_loops; start = l->ends[i++]) {
        for (size_t k = start; k < l->ends[i]; k++) {
            const double *p = l->xy + 2 * k, *q = k + 1 < l->ends[i] ? p + 2 : l->xy + 2 * start;
            sum += hypot(q[0] - p[0], q[1] - p[1]);
        }
    }
    return sum;
}

static inline int winding_of(const po_loops *l, double x, double y)
{
    int w = 0;
    for (size_t i = 0, start = 0; i < l->n_loops; start = l->ends[i++]) {
        for (size_t k = start; k < l->ends[i]; k++) {
            const double *p = l->xy + 2 * k, *q = k + 1 < l->ends[i] ? p + 2 : l->xy + 2 * start;
            if ((p[1] <= y) != (q[1] <= y)) {
                double side = (q[0] - p[0]) * (y - p[1]) - (x - p[0]) * (q[1] - p[1]);
                w += p[1] <= y ? side > 0 : -(side < 0);
            }
        }
    }
    return w;
}

static inline double edge_distance(const po_loops *l, double x, double y)
{
    double best = INFINITY;
    for (size_t i = 0, start = 0; i < l->n_loops; start = l->ends[i++]) {
        for (size_t k = start; k < l->ends[i]; k++) {
            const double *p = l->xy + 2 * k, *q = k + 1 < l->ends[i] ? p + 2 : l->xy + 2 * start;
            double dx = q[0] - p[0], dy = q[1] - p[1], l2 = dx * dx + dy * dy;
            double t = l2 > 0 ? ((x - p[0]) * dx + (y - p[1]) * dy) / l2 : 0;
            t = t < 0 ? 0 : t > 1 ? 1 : t;
            double ex = x - p[0] - t * dx, ey = y - p[1] - t * dy;
            best = fmin(best, ex * ex + ey * ey);
        }
    }
    return sqrt(best);
}

/* Rings as doubles, so that the above can be used on them. */
static inline po_loops rings_as_loops(const po_rings *r, po_arena *arena)
{
    po_loops l = {0};
    po_err err;
    if (po_rings_to_loops(r, (po_grid){1, 1}, arena, &l, &err) != PO_OK) {
        abort();
    }
    return l;
}

/* The first thing that is wrong with rings that should be simple and not cross, or NULL. Looks at every pair of edges:
 * two may share an end and nothing else. */
static inline const char *fault_of(const po_rings *r)
{
    for (size_t a = 0; a < r->n_rings; a++) {
        for (uint32_t i = r->start[a]; i + 1 < r->start[a + 1]; i++) {
            const po_spot *p = &r->at[i], *q = p + 1;
            if (p->x == q->x && p->y == q->y) {
                return "an edge of no length";
            }
            for (size_t b = a; b < r->n_rings; b++) {
                for (uint32_t k = b == a ? i + 1 : r->start[b]; k + 1 < r->start[b + 1]; k++) {
                    const po_spot *s = &r->at[k], *t = s + 1;
                    if (a == b && p->x == s->x && p->y == s->y) {
                        return "a ring comes to a point twice";
                    }
                    if ((p->x > s->x && p->x > t->x && q->x > s->x && q->x > t->x) ||
                        (p->x < s->x && p->x < t->x && q->x < s->x && q->x < t->x) ||
                        (p->y > s->y && p->y > t->y && q->y > s->y && q->y > t->y) ||
                        (p->y < s->y && p->y < t->y && q->y < s->y && q->y < t->y)) {
                        continue;
                    }
                    po_wide ps = po_spot_cross(q->x - p->x, q->y - p->y, s->x - p->x, s->y - p->y);
                    po_wide pt = po_spot_cross(q->x - p->x, q->y - p->y, t->x - p->x, t->y - p->y);
                    po_wide sp = po_spot_cross(t->x - s->x, t->y - s->y, p->x - s->x, p->y - s->y);
                    po_wide sq = po_spot_cross(t->x - s->x, t->y - s->y, q->x - s->x, q->y - s->y);
                    if (((ps > 0 && pt < 0) || (ps < 0 && pt > 0)) && ((sp > 0 && sq < 0) || (sp < 0 && sq > 0))) {
                        return "two edges cross";
                    }
#define INSIDE(cross, v, e, f)                                                                                         \
    ((cross) == 0 && !((v)->x == (e)->x && (v)->y == (e)->y) && !((v)->x == (f)->x && (v)->y == (f)->y) &&             \
     (po_wide)((v)->x - (e)->x) * ((v)->x - (f)->x) <= 0 && (po_wide)((v)->y - (e)->y) * ((v)->y - (f)->y) <= 0)
                    if (INSIDE(ps, s, p, q) || INSIDE(pt, t, p, q) || INSIDE(sp, p, s, t) || INSIDE(sq, q, s, t)) {
                        return "an end inside an edge";
                    }
#undef INSIDE
                    if ((p->x == s->x && p->y == s->y && q->x == t->x && q->y == t->y) ||
                        (p->x == t->x && p->y == t->y && q->x == s->x && q->y == s->y)) {
                        return "the same edge twice";
                    }
                }
            }
        }
    }
    return NULL;
}

#endif
