/* The test that every layout has to pass before it is given out. SPDX-License-Identifier: Apache-2.0
 *
 * Knows nothing of how the layout was found. Corners go to the nearest 1e-6 mm; from there on everything is decided with
 * whole numbers: whether two edges share a point, whether an outline lies inside another (crossings of a ray, even-odd),
 * and whether two edges are nearer than the clearance (squares of distances, as fractions). Edges are sorted by their
 * left ends, so that only those whose boxes come near each other are looked at. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest_inside.h"

#define UNITS 1e6 /* in a mm */
__extension__ typedef __int128 wide;
__extension__ typedef unsigned __int128 wide_plus;

typedef struct edge {
    int64_t ax, ay, bx, by;
    uint32_t outline;
} edge;

static int64_t low(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static int64_t high(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

static int by_left(const void *a, const void *b)
{
    const edge *p = a, *q = b;
    int64_t x = low(p->ax, p->bx), y = low(q->ax, q->bx);
    return (x > y) - (x < y);
}

static int side(int64_t ax, int64_t ay, int64_t bx, int64_t by, int64_t px, int64_t py)
{
    wide c = (wide)(bx - ax) * (py - ay) - (wide)(by - ay) * (px - ax);
    return (c > 0) - (c < 0);
}

static bool on_box(const edge *e, int64_t x, int64_t y)
{
    return x >= low(e->ax, e->bx) && x <= high(e->ax, e->bx) && y >= low(e->ay, e->by) && y <= high(e->ay, e->by);
}

static bool share_a_point(const edge *p, const edge *q)
{
    int a = side(p->ax, p->ay, p->bx, p->by, q->ax, q->ay), b = side(p->ax, p->ay, p->bx, p->by, q->bx, q->by);
    int c = side(q->ax, q->ay, q->bx, q->by, p->ax, p->ay), d = side(q->ax, q->ay, q->bx, q->by, p->bx, p->by);
    if (a * b < 0 && c * d < 0) {
        return true;
    }
    return (a == 0 && on_box(p, q->ax, q->ay)) || (b == 0 && on_box(p, q->bx, q->by)) ||
           (c == 0 && on_box(q, p->ax, p->ay)) || (d == 0 && on_box(q, p->bx, p->by));
}

/* Is the corner nearer to the edge than the square root of `square`? Exact: |cross|^2 < square * length^2, with a cross
 * product that is first divided down only where it is far too large to be near. */
static bool corner_near(const edge *e, int64_t x, int64_t y, wide square, int64_t reach)
{
    int64_t dx = e->bx - e->ax, dy = e->by - e->ay, px = x - e->ax, py = y - e->ay;
    wide along = (wide)dx * px + (wide)dy * py, length2 = (wide)dx * dx + (wide)dy * dy;
    if (along <= 0) {
        return (wide)px * px + (wide)py * py < square;
    }
    if (along >= length2) {
        int64_t qx = x - e->bx, qy = y - e->by;
        return (wide)qx * qx + (wide)qy * qy < square;
    }
    wide cross = (wide)dx * py - (wide)dy * px;
    cross = cross < 0 ? -cross : cross;
    /* |cross| < reach * length; length <= |dx| + |dy|: outside that it can't be near, inside the squares fit */
    wide most = (wide)reach * ((dx < 0 ? -dx : dx) + (dy < 0 ? -dy : dy));
    if (cross >= most) {
        return false;
    }
    /* cross^2 < square * length2, both sides split at 2^60 so that nothing overflows */
    wide_plus m = (wide_plus)cross, s = (wide_plus)square, l = (wide_plus)length2;
    wide_plus part[2][4];
    wide_plus f[2][2] = {{m, m}, {s, l}};
    for (int k = 0; k < 2; k++) {
        uint64_t a1 = (uint64_t)(f[k][0] >> 64), a0 = (uint64_t)f[k][0];
        uint64_t b1 = (uint64_t)(f[k][1] >> 64), b0 = (uint64_t)f[k][1];
        wide_plus p00 = (wide_plus)a0 * b0, p01 = (wide_plus)a0 * b1, p10 = (wide_plus)a1 * b0,
                  p11 = (wide_plus)a1 * b1;
        wide_plus mid = (p00 >> 64) + (uint64_t)p01 + (uint64_t)p10;
        part[k][0] = (uint64_t)p00;
        part[k][1] = (uint64_t)mid;
        wide_plus up = p11 + (p01 >> 64) + (p10 >> 64) + (mid >> 64);
        part[k][2] = (uint64_t)up;
        part[k][3] = up >> 64;
    }
    for (int w = 3; w >= 0; w--) {
        if (part[0][w] != part[1][w]) {
            return part[0][w] < part[1][w];
        }
    }
    return false;
}

static bool edges_near(const edge *p, const edge *q, wide square, int64_t reach)
{
    return share_a_point(p, q) ||
           (reach > 0 && (corner_near(p, q->ax, q->ay, square, reach) || corner_near(p, q->bx, q->by, square, reach) ||
                          corner_near(q, p->ax, p->ay, square, reach) || corner_near(q, p->bx, p->by, square, reach)));
}

typedef struct outline {
    size_t begin, end; /* edges, before they are sorted */
    int64_t box[4];
} outline;

static bool contains(const edge *edges, const outline *o, int64_t x, int64_t y)
{
    bool in = false;
    for (size_t i = o->begin; i < o->end; i++) {
        const edge *e = &edges[i];
        if ((e->ay <= y) != (e->by <= y)) {
            in ^= side(e->ax, e->ay, e->bx, e->by, x, y) * (e->by > e->ay ? 1 : -1) > 0;
        }
    }
    return in;
}

static po_status make(const po_nest_laid *laid, size_t n, edge *edges, outline *outlines, po_err *err)
{
    size_t at = 0;
    for (size_t k = 0; k < n; k++) {
        const po_nest_laid *p = &laid[k];
        outline *o = &outlines[k];
        *o = (outline){at, at, {INT64_MAX, INT64_MAX, INT64_MIN, INT64_MIN}};
        size_t begin = 0;
        for (size_t l = 0; l < p->loops->n_loops; l++) {
            size_t end = p->loops->ends[l], first = at;
            for (size_t i = begin; i < end; i++) {
                const double *c = p->loops->xy + 2 * i;
                double x = p->cosine * c[0] - p->sine * c[1] + p->x, y = p->sine * c[0] + p->cosine * c[1] + p->y;
                if (!(fabs(x) < 1e6 && fabs(y) < 1e6)) {
                    return po_fail(err, PO_E_RANGE, "a corner of outline %zu lies beyond 1 km", k + 1);
                }
                edge *e = &edges[at++];
                *e = (edge){llround(x * UNITS), llround(y * UNITS), 0, 0, (uint32_t)k};
                o->box[0] = low(o->box[0], e->ax);
                o->box[1] = low(o->box[1], e->ay);
                o->box[2] = high(o->box[2], e->ax);
                o->box[3] = high(o->box[3], e->ay);
            }
            for (size_t i = first; i < at; i++) {
                const edge *next = &edges[i + 1 < at ? i + 1 : first];
                edges[i].bx = next->ax;
                edges[i].by = next->ay;
            }
            begin = end;
        }
        o->end = at;
    }
    return PO_OK;
}

po_status po_nest_apart(const po_nest_laid *laid, size_t n, double clearance_mm, size_t *ret_a, size_t *ret_b,
                        double *ret_mm, po_err *err)
{
    size_t n_edges = 0;
    for (size_t k = 0; k < n; k++) {
        n_edges += laid[k].loops->n_points;
    }
    if (!(clearance_mm >= 0 && clearance_mm < 1000)) {
        return po_fail(err, PO_E_RANGE, "a clearance of %g mm; expected 0 to 1000", clearance_mm);
    }
    edge *edges = malloc((n_edges + 1) * sizeof *edges);
    outline *outlines = malloc((n + 1) * sizeof *outlines);
    uint32_t *open = malloc((n_edges + 1) * sizeof *open);
    po_status status = edges && outlines && open ? make(laid, n, edges, outlines, err)
                                                 : po_fail(err, PO_E_NOMEM, "memory ran out");
    int64_t reach = llround(clearance_mm * UNITS);
    wide square = (wide)reach * reach;
    *ret_a = *ret_b = 0;
    *ret_mm = 0;
    /* one inside another: any corner of it tells, as edges that cross are found below */
    for (size_t a = 0; status == PO_OK && a < n && *ret_a == *ret_b; a++) {
        for (size_t b = 0; b < n && *ret_a == *ret_b; b++) {
            const int64_t *p = outlines[a].box, *q = outlines[b].box;
            if (a == b || outlines[a].begin == outlines[a].end || p[0] > q[2] || p[1] > q[3] || p[2] < q[0] ||
                p[3] < q[1]) {
                continue;
            }
            const po_loops *loops = laid[a].loops;
            for (size_t l = 0; l < loops->n_loops && *ret_a == *ret_b; l++) {
                const edge *e = &edges[outlines[a].begin + (l ? loops->ends[l - 1] : 0)];
                if (contains(edges, &outlines[b], e->ax, e->ay)) {
                    *ret_a = a < b ? a : b;
                    *ret_b = a < b ? b : a;
                }
            }
        }
    }
    if (status == PO_OK && *ret_a == *ret_b) {
        qsort(edges, n_edges, sizeof *edges, by_left);
        size_t n_open = 0;
        for (size_t i = 0; i < n_edges && *ret_a == *ret_b; i++) {
            const edge *e = &edges[i];
            int64_t left = low(e->ax, e->bx), down = low(e->ay, e->by), up = high(e->ay, e->by);
            size_t kept = 0;
            for (size_t k = 0; k < n_open; k++) {
                const edge *o = &edges[open[k]];
                if (high(o->ax, o->bx) + reach < left) {
                    continue; /* all edges to come begin further right */
                }
                open[kept++] = open[k];
                if (o->outline != e->outline && low(o->ay, o->by) - reach <= up && high(o->ay, o->by) + reach >= down &&
                    edges_near(e, o, square, reach)) {
                    *ret_a = o->outline < e->outline ? o->outline : e->outline;
                    *ret_b = o->outline < e->outline ? e->outline : o->outline;
                }
            }
            n_open = kept;
            open[n_open++] = (uint32_t)i;
        }
    }
    free(edges);
    free(outlines);
    free(open);
    return status;
}

bool po_nest_on_bed(const po_nest_laid *laid, const po_nest_bed *bed)
{
    int64_t cx = llround(bed->centre[0] * UNITS), cy = llround(bed->centre[1] * UNITS),
            r = llround(bed->radius * UNITS);
    int64_t x0 = llround(bed->low[0] * UNITS), y0 = llround(bed->low[1] * UNITS);
    int64_t x1 = llround(bed->high[0] * UNITS), y1 = llround(bed->high[1] * UNITS);
    for (size_t i = 0; i < laid->loops->n_points; i++) {
        const double *c = laid->loops->xy + 2 * i;
        int64_t x = llround((laid->cosine * c[0] - laid->sine * c[1] + laid->x) * UNITS);
        int64_t y = llround((laid->sine * c[0] + laid->cosine * c[1] + laid->y) * UNITS);
        if (x < x0 || y < y0 || x > x1 || y > y1 ||
            (bed->round && (wide)(x - cx) * (x - cx) + (wide)(y - cy) * (y - cy) > (wide)r * r)) {
            return false;
        }
    }
    return true;
}

/* An edge, moved over the head's rectangle, covers the hull of its two ends so widened: an edge of the other outline must
 * not meet it. The hull is the two rectangles and the four edges between like corners; two convex figures are apart
 * exactly when an edge's line of one has all of the other on its far side. */
static bool parted(const int64_t (*p)[2], size_t n, const int64_t (*q)[2], size_t m)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < n; k++) {
            if (p[i][0] == p[k][0] && p[i][1] == p[k][1]) {
                continue;
            }
            bool is_side = true, off = true; /* i to k: all of p on the left, all of q on the right */
            for (size_t j = 0; j < n && is_side; j++) {
                is_side = side(p[i][0], p[i][1], p[k][0], p[k][1], p[j][0], p[j][1]) >= 0;
            }
            for (size_t j = 0; j < m && is_side && off; j++) {
                off = side(p[i][0], p[i][1], p[k][0], p[k][1], q[j][0], q[j][1]) < 0;
            }
            if (is_side && off) {
                return true;
            }
        }
    }
    return false;
}

po_status po_nest_head_clear(const po_nest_laid *later, const po_nest_laid *earlier, const po_head *head,
                             bool *ret_clear, po_err *err)
{
    size_t n = later->loops->n_points, m = earlier->loops->n_points;
    edge *edges = malloc((n + m + 1) * sizeof *edges);
    outline outlines[2];
    const po_nest_laid both[2] = {*later, *earlier};
    po_status status = edges ? make(both, 2, edges, outlines, err) : po_fail(err, PO_E_NOMEM, "memory ran out");
    int64_t left = llround(head->left_mm * UNITS), right = llround(head->right_mm * UNITS);
    int64_t ahead = llround(head->ahead_mm * UNITS), behind = llround(head->behind_mm * UNITS);
    bool clear = true;
    if (status == PO_OK && n && m) { /* all of one within the other: edges that part say nothing then */
        clear = !contains(edges, &outlines[0], edges[n].ax, edges[n].ay) &&
                !contains(edges, &outlines[1], edges[0].ax, edges[0].ay);
    }
    for (size_t i = 0; status == PO_OK && clear && i < n; i++) {
        const edge *e = &edges[i];
        const int64_t swept[8][2] = {{e->ax - left, e->ay - behind}, {e->ax + right, e->ay - behind},
                                     {e->ax + right, e->ay + ahead}, {e->ax - left, e->ay + ahead},
                                     {e->bx - left, e->by - behind}, {e->bx + right, e->by - behind},
                                     {e->bx + right, e->by + ahead}, {e->bx - left, e->by + ahead}};
        for (size_t k = n; clear && k < n + m; k++) {
            const edge *f = &edges[k];
            const int64_t line[2][2] = {{f->ax, f->ay}, {f->bx, f->by}};
            clear = high(f->ax, f->bx) < low(e->ax, e->bx) - left || low(f->ax, f->bx) > high(e->ax, e->bx) + right ||
                    high(f->ay, f->by) < low(e->ay, e->by) - behind || low(f->ay, f->by) > high(e->ay, e->by) + ahead ||
                    parted(swept, 8, line, 2) || parted(line, 2, swept, 8);
        }
    }
    free(edges);
    if (status == PO_OK) {
        *ret_clear = clear;
    }
    return status;
}
