/* Closed surfaces from outlines. SPDX-License-Identifier: Apache-2.0 */
#include "solidmesh.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double GRAIN = 1e-3; /* mm: a micrometre */

void solidmesh_free(solidmesh *m)
{
    free(m->xyz);
    *m = (solidmesh){.unit = m->unit};
}

static double rounded(double v)
{
    return round(v / GRAIN) * GRAIN + 0.0; /* + 0.0: no negative zero */
}

void solidmesh_triangle(solidmesh *m, const double a[3], const double b[3], const double c[3])
{
    if (m->n == m->room) {
        m->room = m->room ? 2 * m->room : 256;
        m->xyz = demo_more(m->xyz, m->room, 9 * sizeof *m->xyz);
    }
    double *to = m->xyz + 9 * m->n++;
    for (int k = 0; k < 3; k++) {
        to[k] = rounded(a[k]);
        to[3 + k] = rounded(b[k]);
        to[6 + k] = rounded(c[k]);
    }
}

/* ---- outlines ---- */

void outline_arc(polyline *line, double x, double y, double radius, double from_deg, double to_deg, int n)
{
    for (int i = 0; i <= n; i++) {
        double a = (from_deg + (to_deg - from_deg) * i / n) * (M_PI / 180);
        polyline_point(line, x + radius * cos(a), y + radius * sin(a));
    }
}

void outline_circle(polyline *line, double x, double y, double radius, int n)
{
    outline_arc(line, x, y, radius, 0, 360.0 * (n - 1) / n, n - 1);
}

void outline_rounded(polyline *line, double x0, double y0, double x1, double y1, double radius, int n)
{
    outline_arc(line, x1 - radius, y0 + radius, radius, -90, 0, n);
    outline_arc(line, x1 - radius, y1 - radius, radius, 0, 90, n);
    outline_arc(line, x0 + radius, y1 - radius, radius, 90, 180, n);
    outline_arc(line, x0 + radius, y0 + radius, radius, 180, 270, n);
}

/* ---- flat faces ---- */

static double side(pt a, pt b, pt c)
{
    return (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
}

static bool same(pt a, pt b)
{
    return fabs(a.x - b.x) < GRAIN / 2 && fabs(a.y - b.y) < GRAIN / 2;
}

static double twice_area(const pt *p, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        pt a = p[i], b = p[(i + 1) % n];
        sum += a.x * b.y - a.y * b.x;
    }
    return sum;
}

static bool cross(pt a, pt b, pt c, pt d)
{
    if (same(a, c) || same(a, d) || same(b, c) || same(b, d)) {
        return false;
    }
    return (side(a, b, c) > 0) != (side(a, b, d) > 0) && (side(c, d, a) > 0) != (side(c, d, b) > 0);
}

/* Whether the straight line from a to b crosses no edge of the loop. */
static bool free_line(pt a, pt b, const pt *p, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (cross(a, b, p[i], p[(i + 1) % n])) {
            return false;
        }
    }
    return true;
}

/* Join a hole to the ring by the shortest slit that crosses nothing. The ring has room. */
static size_t join_hole(pt *ring, size_t n, const polyline *hole, const polyline *holes, size_t n_holes)
{
    size_t best_i = 0, best_k = 0;
    double best = INFINITY;
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < hole->n; k++) {
            double d = hypot(ring[i].x - hole->p[k].x, ring[i].y - hole->p[k].y);
            bool open = d < best && free_line(ring[i], hole->p[k], ring, n);
            for (size_t h = 0; open && h < n_holes; h++) {
                open = free_line(ring[i], hole->p[k], holes[h].p, holes[h].n);
            }
            if (open) {
                best = d;
                best_i = i;
                best_k = k;
            }
        }
    }
    memmove(ring + best_i + hole->n + 2, ring + best_i, (n - best_i) * sizeof *ring);
    bool forward = twice_area(hole->p, hole->n) < 0; /* holes run clockwise */
    for (size_t k = 0; k <= hole->n; k++) {
        size_t step = k % hole->n;
        ring[best_i + 1 + k] = hole->p[(best_k + (forward ? step : hole->n - step)) % hole->n];
    }
    return n + hole->n + 2;
}

static bool inside(pt p, pt a, pt b, pt c)
{
    return side(a, b, p) >= 0 && side(b, c, p) >= 0 && side(c, a, p) >= 0;
}

static bool is_ear(const pt *ring, size_t n, size_t i)
{
    pt a = ring[(i + n - 1) % n], b = ring[i], c = ring[(i + 1) % n];
    if (side(a, b, c) <= GRAIN * GRAIN) {
        return false;
    }
    for (size_t k = 0; k < n; k++) {
        pt p = ring[k];
        if (!same(p, a) && !same(p, b) && !same(p, c) && inside(p, a, b, c)) {
            return false;
        }
    }
    return true;
}

static void place(const frame *f, pt p, double ret[3])
{
    for (int k = 0; k < 3; k++) {
        ret[k] = f->from[k] + p.x * f->along[k] + p.y * f->up[k];
    }
}

void solidmesh_face(solidmesh *m, const frame *f, const polyline *outline, const polyline *holes, size_t n_holes)
{
    size_t room = outline->n, n = outline->n;
    for (size_t h = 0; h < n_holes; h++) {
        room += holes[h].n + 2;
    }
    pt *ring = demo_alloc(room, sizeof *ring);
    memcpy(ring, outline->p, n * sizeof *ring);
    for (size_t h = 0; h < n_holes; h++) {
        n = join_hole(ring, n, &holes[h], holes, n_holes);
    }
    while (n > 2) {
        size_t ear = n;
        double most = -1;
        for (size_t i = 0; i < n; i++) { /* the ear least like a needle */
            pt a = ring[(i + n - 1) % n], b = ring[i], c = ring[(i + 1) % n];
            double ab = hypot(b.x - a.x, b.y - a.y), bc = hypot(c.x - b.x, c.y - b.y), ca = hypot(a.x - c.x, a.y - c.y);
            double fat = side(a, b, c) / fmax(1e-12, ab * ab + bc * bc + ca * ca);
            if (fat > most && is_ear(ring, n, i)) {
                most = fat;
                ear = i;
            }
        }
        if (ear == n) { /* what is left has no area */
            if (fabs(twice_area(ring, n)) > 1e-3) {
                fprintf(stderr, "demo parts: a face could not be made\n");
                exit(5);
            }
            break;
        }
        double a[3], b[3], c[3];
        place(f, ring[(ear + n - 1) % n], a);
        place(f, ring[ear], b);
        place(f, ring[(ear + 1) % n], c);
        solidmesh_triangle(m, a, b, c);
        memmove(ring + ear, ring + ear + 1, (n - ear - 1) * sizeof *ring);
        n--;
    }
    free(ring);
}

/* ---- walls and whole bodies ---- */

static void quad(solidmesh *m, const double a[3], const double b[3], const double c[3], const double d[3])
{
    solidmesh_triangle(m, a, b, c);
    solidmesh_triangle(m, a, c, d);
}

void solidmesh_wall(solidmesh *m, const polyline *outline, double z0, double z1)
{
    for (size_t i = 0; i < outline->n; i++) {
        pt p = outline->p[i], q = outline->p[(i + 1) % outline->n];
        if (!same(p, q)) {
            double a[] = {p.x, p.y, z0}, b[] = {q.x, q.y, z0}, c[] = {q.x, q.y, z1}, d[] = {p.x, p.y, z1};
            quad(m, a, b, c, d);
        }
    }
}

/* The same points the other way round, mirrored in x = y: for faces that look down. */
static void seen_from_below(const polyline *line, polyline *ret)
{
    for (size_t i = line->n; i-- > 0;) {
        polyline_point(ret, line->p[i].y, line->p[i].x);
    }
}

void solidmesh_prism(solidmesh *m, const polyline *outline, const polyline *holes, size_t n_holes, double z0, double z1)
{
    const frame top = {{0, 0, z1}, {1, 0, 0}, {0, 1, 0}}, bottom = {{0, 0, z0}, {0, 1, 0}, {1, 0, 0}};
    polyline below = {0}, *holes_below = demo_alloc(n_holes + 1, sizeof *holes_below);
    memset(holes_below, 0, (n_holes + 1) * sizeof *holes_below);
    seen_from_below(outline, &below);
    solidmesh_wall(m, outline, z0, z1);
    for (size_t h = 0; h < n_holes; h++) {
        polyline inward = {0};
        for (size_t i = holes[h].n; i-- > 0;) {
            polyline_point(&inward, holes[h].p[i].x, holes[h].p[i].y);
        }
        solidmesh_wall(m, &inward, z0, z1);
        free(inward.p);
        seen_from_below(&holes[h], &holes_below[h]);
    }
    solidmesh_face(m, &top, outline, holes, n_holes);
    solidmesh_face(m, &bottom, &below, holes_below, n_holes);
    for (size_t h = 0; h < n_holes; h++) {
        free(holes_below[h].p);
    }
    free(holes_below);
    free(below.p);
}

void solidmesh_turned(solidmesh *m, const polyline *profile, int n_around)
{
    for (size_t i = 0; i < profile->n; i++) {
        pt p = profile->p[i], q = profile->p[(i + 1) % profile->n];
        for (int k = 0; k < n_around; k++) {
            double t = 2 * M_PI * k / n_around, u = 2 * M_PI * ((k + 1) % n_around) / n_around;
            double a[] = {p.x * cos(t), p.x * sin(t), p.y}, b[] = {p.x * cos(u), p.x * sin(u), p.y};
            double c[] = {q.x * cos(u), q.x * sin(u), q.y}, d[] = {q.x * cos(t), q.x * sin(t), q.y};
            if (p.x > 0) {
                solidmesh_triangle(m, a, b, q.x > 0 ? c : d);
            }
            if (q.x > 0) {
                solidmesh_triangle(m, a, c, d);
            }
        }
    }
}

void solidmesh_flip(solidmesh *m, size_t from, size_t to)
{
    for (size_t t = from; t < to; t++) {
        double keep[3], *b = m->xyz + 9 * t + 3, *c = b + 3;
        memcpy(keep, b, sizeof keep);
        memcpy(b, c, sizeof keep);
        memcpy(c, keep, sizeof keep);
    }
}

void solidmesh_shift(solidmesh *m, size_t from, size_t to, double x, double y, double z)
{
    const double by[3] = {x, y, z};
    for (size_t i = 9 * from; i < 9 * to; i++) {
        m->xyz[i] = rounded(m->xyz[i] + by[i % 3]);
    }
}
