/* What of a part is seen from above. SPDX-License-Identifier: Apache-2.0
 *
 * The convex hull of all vertices, found after those that lie well inside are left out: what is inside a polygon of a
 * few extreme points can be no corner (S. G. Akl and G. T. Toussaint, "A fast convex hull algorithm", Information
 * Processing Letters 7, 1978). For what is in the way only near the bed: the hull of the vertices below that height and
 * of the points where edges cross it, which is the hull of the part cut there. The smallest circle around the hull:
 * E. Welzl, "Smallest enclosing disks", 1991, as three loops over points in a fixed shuffled order. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/fit.h"

enum { DIRECTIONS = 16 }; /* of the extreme points: half of them, their opposites come for nothing */

static double dot(po_xy a, double c, double s)
{
    return a.x * c + a.y * s;
}

/* Drop points inside the polygon of extreme points; returns how many are left. */
static size_t drop_inside(po_xy *points, size_t n)
{
    if (n < 4 * DIRECTIONS) {
        return n;
    }
    po_xy ends[2 * DIRECTIONS], ring[2 * DIRECTIONS + 1];
    double c[DIRECTIONS], s[DIRECTIONS], low[DIRECTIONS], high[DIRECTIONS];
    for (int d = 0; d < DIRECTIONS; d++) {
        c[d] = cos(M_PI * d / DIRECTIONS);
        s[d] = sin(M_PI * d / DIRECTIONS);
        low[d] = INFINITY;
        high[d] = -INFINITY;
        ends[d] = ends[d + DIRECTIONS] = points[0];
    }
    for (size_t i = 0; i < n; i++) {
        for (int d = 0; d < DIRECTIONS; d++) {
            double at = dot(points[i], c[d], s[d]);
            if (at < low[d]) {
                low[d] = at;
                ends[d] = points[i];
            }
            if (at > high[d]) {
                high[d] = at;
                ends[d + DIRECTIONS] = points[i];
            }
        }
    }
    size_t n_ring = po_hull(ends, 2 * DIRECTIONS, ring), kept = 0;
    if (n_ring < 3) {
        return n;
    }
    double nx[2 * DIRECTIONS], ny[2 * DIRECTIONS], off[2 * DIRECTIONS];
    for (size_t k = 0; k < n_ring; k++) {
        po_xy a = ring[k], b = ring[(k + 1) % n_ring];
        double length = hypot(b.x - a.x, b.y - a.y);
        nx[k] = (a.y - b.y) / length; /* inwards */
        ny[k] = (b.x - a.x) / length;
        /* a margin far above rounding: what stays is only looked at again */
        off[k] = nx[k] * a.x + ny[k] * a.y + 1e-9 * (fabs(a.x) + fabs(a.y) + length);
    }
    for (size_t i = 0; i < n; i++) {
        bool inside = true;
        for (size_t k = 0; inside && k < n_ring; k++) {
            inside = nx[k] * points[i].x + ny[k] * points[i].y > off[k];
        }
        if (!inside) {
            points[kept++] = points[i];
        }
    }
    return kept;
}

/* The hull of n points in memory of its own; the points are moved about. */
static po_xy *hull_of(po_xy *points, size_t n, size_t *ret_n)
{
    n = drop_inside(points, n);
    po_xy *hull = malloc((n + 2) * sizeof *hull);
    if (hull) {
        *ret_n = po_hull(points, n, hull);
        po_xy *less = realloc(hull, (*ret_n + 1) * sizeof *hull);
        hull = less ? less : hull;
    }
    return hull;
}

static bool in_circle(po_xy p, po_xy c, double r)
{
    return hypot(p.x - c.x, p.y - c.y) <= r * (1 + 1e-14);
}

static po_xy around_two(po_xy a, po_xy b, double *r)
{
    po_xy c = {a.x / 2 + b.x / 2, a.y / 2 + b.y / 2};
    *r = fmax(hypot(a.x - c.x, a.y - c.y), hypot(b.x - c.x, b.y - c.y));
    return c;
}

static po_xy around_three(po_xy a, po_xy b, po_xy p, double *r)
{
    double bx = b.x - a.x, by = b.y - a.y, px = p.x - a.x, py = p.y - a.y, d = 2 * (bx * py - by * px);
    if (d == 0) { /* in a row: the two farthest apart */
        po_xy c = around_two(a, b, r);
        double r2;
        po_xy c2 = around_two(a, p, &r2);
        if (r2 > *r) {
            *r = r2;
            c = c2;
        }
        c2 = around_two(b, p, &r2);
        if (r2 > *r) {
            *r = r2;
            c = c2;
        }
        return c;
    }
    double bb = bx * bx + by * by, pp = px * px + py * py;
    po_xy c = {a.x + (py * bb - by * pp) / d, a.y + (bx * pp - px * bb) / d};
    *r = fmax(hypot(a.x - c.x, a.y - c.y), fmax(hypot(b.x - c.x, b.y - c.y), hypot(p.x - c.x, p.y - c.y)));
    return c;
}

po_xy po_circle_around(po_xy *points, size_t n, double *ret_radius)
{
    uint64_t seed = 1;
    for (size_t i = n; i > 1; i--) { /* always the same shuffle */
        seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        size_t k = (size_t)((seed >> 33) % i);
        po_xy swap = points[i - 1];
        points[i - 1] = points[k];
        points[k] = swap;
    }
    po_xy c = points[0];
    double r = 0;
    for (size_t i = 1; i < n; i++) {
        if (in_circle(points[i], c, r)) {
            continue;
        }
        c = points[i];
        r = 0;
        for (size_t k = 0; k < i; k++) {
            if (in_circle(points[k], c, r)) {
                continue;
            }
            c = around_two(points[i], points[k], &r);
            for (size_t l = 0; l < k; l++) {
                if (!in_circle(points[l], c, r)) {
                    c = around_three(points[i], points[k], points[l], &r);
                }
            }
        }
    }
    *ret_radius = r;
    return c;
}

/* Vertices below `height`, and where edges cross it. */
static po_xy *points_below(const po_mesh *mesh, const unsigned char *used, const po_xy *xy, const double *z,
                           double height, size_t *ret_n)
{
    size_t n = 0, cap = mesh->n_vertices + 64;
    po_xy *points = malloc(cap * sizeof *points);
    for (size_t v = 0; points && v < mesh->n_vertices; v++) {
        if (used[v] && z[v] < height) {
            points[n++] = xy[v];
        }
    }
    for (size_t i = 0; points && i < 3 * mesh->n_triangles; i++) {
        uint32_t a = mesh->corners[i], b = mesh->corners[i % 3 == 2 ? i - 2 : i + 1];
        if ((z[a] < height) == (z[b] < height)) {
            continue;
        }
        if (n == cap) {
            n = drop_inside(points, n);
            if (n > cap / 2) {
                po_xy *more = realloc(points, 2 * cap * sizeof *points);
                if (!more) {
                    free(points);
                    return NULL;
                }
                points = more;
                cap *= 2;
            }
        }
        double t = (height - z[a]) / (z[b] - z[a]);
        points[n++] = (po_xy){xy[a].x + t * (xy[b].x - xy[a].x), xy[a].y + t * (xy[b].y - xy[a].y)};
    }
    *ret_n = n;
    return points;
}

static bool find_below(const po_mesh *mesh, const unsigned char *used, const po_xy *xy, const double *z, double low,
                       const po_room *room, po_outline *o)
{
    o->n_blocks = room->n_blocks;
    o->below = calloc(room->n_blocks + 1, sizeof(po_xy *));
    o->n_below = calloc(room->n_blocks + 1, sizeof(size_t));
    if (!o->below || !o->n_below) {
        return false;
    }
    for (size_t b = 0; b < room->n_blocks; b++) {
        double height = room->blocks[b].below_z_mm;
        o->below[b] = o->hull;
        o->n_below[b] = o->n;
        if (height >= o->size[2]) {
            continue;
        }
        size_t n = 0;
        po_xy *points = points_below(mesh, used, xy, z, low + height, &n);
        o->below[b] = points ? hull_of(points, n, &o->n_below[b]) : NULL;
        free(points);
        if (!o->below[b]) {
            return false;
        }
        if (o->n_below[b] == 0) { /* the height is lost in rounding */
            free(o->below[b]);
            o->below[b] = o->hull;
            o->n_below[b] = o->n;
        }
    }
    return true;
}

po_status po_outline_find(const po_mesh *mesh, const unsigned char *used, const double *turn, const po_room *room,
                          po_outline *ret, po_err *err)
{
    size_t n = 0;
    po_outline o = {0};
    po_xy *xy = malloc((mesh->n_vertices + 1) * sizeof *xy), *points = malloc((mesh->n_vertices + 1) * sizeof *points);
    double *z = malloc((mesh->n_vertices + 1) * sizeof *z), low[3], high[3];
    bool good = xy && points && z;
    for (int k = 0; k < 3; k++) {
        low[k] = INFINITY;
        high[k] = -INFINITY;
    }
    for (size_t v = 0; good && v < mesh->n_vertices; v++) {
        const double *p = mesh->xyz + 3 * v;
        double q[3] = {p[0], p[1], p[2]};
        for (int k = 0; turn && k < 3; k++) {
            q[k] = p[0] * turn[k] + p[1] * turn[3 + k] + p[2] * turn[6 + k];
        }
        xy[v] = (po_xy){q[0], q[1]};
        z[v] = q[2];
        if (used[v]) {
            points[n++] = xy[v];
            for (int k = 0; k < 3; k++) {
                low[k] = fmin(low[k], q[k]);
                high[k] = fmax(high[k], q[k]);
            }
        }
    }
    for (int k = 0; k < 3; k++) {
        o.size[k] = high[k] - low[k];
    }
    o.hull = good ? hull_of(points, n, &o.n) : NULL;
    good = good && o.hull && o.n && find_below(mesh, used, xy, z, low[2], room, &o);
    if (good) {
        memcpy(points, o.hull, o.n * sizeof *points);
        o.middle = po_circle_around(points, o.n, &o.radius);
    }
    free(xy);
    free(z);
    free(points);
    if (!good) {
        po_outline_done(&o);
        return po_fail(err, PO_E_NOMEM, "no memory for the outline of %zu vertices", mesh->n_vertices);
    }
    *ret = o;
    return PO_OK;
}

void po_outline_done(po_outline *outline)
{
    for (size_t b = 0; outline->below && b < outline->n_blocks; b++) {
        if (outline->below[b] != outline->hull) {
            free(outline->below[b]);
        }
    }
    free(outline->below);
    free(outline->n_below);
    free(outline->hull);
    free(outline->shifts);
    *outline = (po_outline){0};
}
