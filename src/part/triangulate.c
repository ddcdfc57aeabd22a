/* Triangles of a flat region, over its own corners and no others. SPDX-License-Identifier: Apache-2.0
 *
 * All corners are made into triangles, the edges are put into them (delaunay.h: sources there), and what lies inside is
 * told by the winding number: it is 0 far out and changes by what an edge holds as it is crossed. So loops need no order
 * and no pairing, holes no bridges, and touching points are nothing special. */
#include "part/triangulate.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "part/delaunay.h"

enum { POINTS_MOST = 200 * 1000 * 1000, WINDING_MOST = 1000000 };

typedef struct spot {
    double x, y;
    uint32_t point;
} spot;

typedef struct edge {
    uint32_t a, b; /* a < b */
    int32_t times;
} edge;

static int by_place(const void *a, const void *b)
{
    const spot *p = a, *q = b;
    return p->x < q->x   ? -1
           : p->x > q->x ? 1
           : p->y < q->y ? -1
           : p->y > q->y ? 1
                         : (p->point > q->point) - (p->point < q->point);
}

static int by_ends(const void *a, const void *b)
{
    const edge *e = a, *f = b;
    return e->a != f->a ? (e->a > f->a) - (e->a < f->a) : (e->b > f->b) - (e->b < f->b);
}

static uint32_t *find_same(const double *xy, size_t n, po_arena *arena)
{
    uint32_t *same = po_arena_zeros(arena, n + 1, sizeof *same);
    spot *spots = po_arena_zeros(arena, n + 1, sizeof *spots);
    if (!same || !spots) {
        return NULL;
    }
    for (size_t i = 0; i < n; i++) {
        spots[i] = (spot){xy[2 * i] + 0.0, xy[2 * i + 1] + 0.0, (uint32_t)i}; /* -0 becomes 0 */
    }
    qsort(spots, n, sizeof *spots, by_place);
    for (size_t i = 0, first = 0; i < n; i++) {
        first = i && spots[i].x == spots[first].x && spots[i].y == spots[first].y ? first : i;
        same[spots[i].point] = spots[first].point;
    }
    return same;
}

/* Edges between different places, what cancels left out. */
static edge *find_edges(const uint32_t (*edges)[2], size_t n, const uint32_t *same, po_arena *arena, size_t *ret_n)
{
    edge *list = po_arena_zeros(arena, n + 1, sizeof *list);
    size_t count = 0, kept = 0;
    for (size_t i = 0; list && i < n; i++) {
        uint32_t a = same[edges[i][0]], b = same[edges[i][1]];
        if (a != b) {
            list[count++] = a < b ? (edge){a, b, 1} : (edge){b, a, -1};
        }
    }
    if (!list) {
        return NULL;
    }
    qsort(list, count, sizeof *list, by_ends);
    for (size_t i = 0; i < count;) {
        edge sum = list[i++];
        for (; i < count && by_ends(&sum, &list[i]) == 0; i++) {
            sum.times += list[i].times;
        }
        if (sum.times) {
            list[kept++] = sum;
        }
    }
    *ret_n = kept;
    return list;
}

/* Winding number of every triangle, from the outside in. */
static po_status wind(const po_delaunay *d, int32_t *winding, po_arena *arena, po_err *err)
{
    uint32_t *queue = po_arena_zeros(arena, d->n_triangles, sizeof *queue);
    unsigned char *seen = po_arena_zeros(arena, d->n_triangles, 1);
    if (!queue || !seen) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    size_t n = 0;
    queue[n++] = d->at[d->n_points];
    seen[queue[0]] = 1;
    for (size_t i = 0; i < n; i++) {
        const po_triangle *t = &d->triangles[queue[i]];
        for (int k = 0; k < 3; k++) {
            uint32_t u = t->beyond[k];
            if (u == PO_NO_TRIANGLE) {
                continue;
            }
            int32_t there = winding[queue[i]] - t->held[k];
            if (there > WINDING_MOST || there < -WINDING_MOST || (seen[u] && winding[u] != there)) {
                return po_fail(err, PO_E_RANGE, "the outline in the plane does not close");
            }
            if (!seen[u]) {
                seen[u] = 1;
                winding[u] = there;
                queue[n++] = u;
            }
        }
    }
    return PO_OK;
}

static double area_of(const po_delaunay *d, const po_triangle *t, double *ret_longest)
{
    const double *p[3];
    *ret_longest = 0;
    for (int k = 0; k < 3; k++) {
        p[k] = d->xy + 2 * (size_t)t->corner[k];
    }
    for (int k = 0; k < 3; k++) {
        const double *q = p[(k + 1) % 3];
        *ret_longest = fmax(*ret_longest, hypot(q[0] - p[k][0], q[1] - p[k][1]));
    }
    return ((p[1][0] - p[0][0]) * (p[2][1] - p[0][1]) - (p[1][1] - p[0][1]) * (p[2][0] - p[0][0])) / 2;
}

static void put(uint32_t *corners, size_t *n, uint32_t a, uint32_t b, uint32_t c)
{
    corners[3 * *n] = a;
    corners[3 * *n + 1] = b;
    corners[3 * *n + 2] = c;
    ++*n;
}

static po_status emit(const po_delaunay *d, const int32_t *winding, po_arena *arena, po_flat *ret, po_err *err)
{
    size_t n = 0, count = 0;
    double area = 0, longest;
    for (size_t t = 0; t < d->n_triangles; t++) {
        if (winding[t] != 0 && winding[t] != 1) {
            double wide = area_of(d, &d->triangles[t], &longest);
            if (wide > 4 * d->tolerance * longest) { /* not a mere seam */
                return po_fail(err, PO_E_RANGE, "outlines overlap each other in the plane");
            }
        }
        n += (size_t)abs(winding[t]);
    }
    for (size_t i = 0; i < d->n_patches; i++) {
        n += (size_t)abs(d->patches[i].times);
    }
    uint32_t *corners = po_arena_zeros(arena, n + 1, 3 * sizeof *corners);
    if (!corners) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t t = 0; t < d->n_triangles; t++) {
        const uint32_t *c = d->triangles[t].corner;
        for (int32_t k = 0; k < abs(winding[t]); k++) {
            put(corners, &count, c[0], c[winding[t] > 0 ? 1 : 2], c[winding[t] > 0 ? 2 : 1]);
        }
        area += winding[t] ? winding[t] * area_of(d, &d->triangles[t], &longest) : 0;
        if (winding[t] && (c[0] >= d->n_points || c[1] >= d->n_points || c[2] >= d->n_points)) {
            return po_fail(err, PO_E_INTERNAL, "the outline in the plane has no outside");
        }
    }
    for (size_t i = 0; i < d->n_patches; i++) {
        const po_patch *p = &d->patches[i];
        for (int32_t k = 0; k < abs(p->times); k++) {
            put(corners, &count, p->a, p->times > 0 ? p->b : p->c, p->times > 0 ? p->c : p->b);
        }
    }
    ret->corners = corners;
    ret->n_triangles = count;
    ret->area = area;
    return PO_OK;
}

static po_status run(const double *xy, size_t n_points, const uint32_t (*edges)[2], size_t n_edges, double tolerance,
                     po_arena *own, po_arena *arena, po_flat *ret, po_err *err)
{
    uint32_t *same = find_same(xy, n_points, arena);
    double *copy = po_arena_zeros(own, n_points + 3, 2 * sizeof *copy);
    size_t n = 0;
    if (!same || !copy) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < 2 * n_points; i++) {
        copy[i] = xy[i];
    }
    const edge *list = find_edges(edges, n_edges, same, own, &n);
    po_delaunay d;
    po_status status = list ? po_delaunay_points(copy, (uint32_t)n_points, same, tolerance, own, &d, err)
                            : po_fail(err, PO_E_NOMEM, "memory ran out");
    for (size_t i = 0; status == PO_OK && i < n; i++) {
        status = list[i].times > 0 ? po_delaunay_hold(&d, list[i].a, list[i].b, list[i].times, err)
                                   : po_delaunay_hold(&d, list[i].b, list[i].a, -list[i].times, err);
    }
    if (status == PO_OK) {
        status = po_delaunay_settle(&d, err);
    }
    int32_t *winding = status == PO_OK ? po_arena_zeros(own, d.n_triangles, sizeof *winding) : NULL;
    if (status == PO_OK) {
        status = winding ? wind(&d, winding, own, err) : po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    if (status == PO_OK) {
        status = emit(&d, winding, arena, ret, err);
        ret->same = same;
    }
    return status;
}

po_status po_triangulate(const double *xy, size_t n_points, const uint32_t (*edges)[2], size_t n_edges,
                         double tolerance, po_arena *arena, po_flat *ret, po_err *err)
{
    if (n_points > POINTS_MOST || n_edges > POINTS_MOST) {
        return po_fail(err, PO_E_LIMIT, "an outline of more than %d points", POINTS_MOST);
    }
    for (size_t i = 0; i < 2 * n_points; i++) {
        if (!isfinite(xy[i])) {
            return po_fail(err, PO_E_RANGE, "a point of the outline is not a finite number");
        }
    }
    for (size_t i = 0; i < n_edges; i++) {
        if (edges[i][0] >= n_points || edges[i][1] >= n_points) {
            return po_fail(err, PO_E_RANGE, "an edge of the outline names a point that is not there");
        }
    }
    po_flat flat = {0};
    po_arena *own = po_arena_new(0);
    po_status status = own ? run(xy, n_points, edges, n_edges, tolerance, own, arena, &flat, err)
                           : po_fail(err, PO_E_NOMEM, "memory ran out");
    po_arena_free(own);
    if (status == PO_OK) {
        *ret = flat;
    }
    return status;
}
