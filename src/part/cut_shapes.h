/* More meshes with known answers, for tests of cuts and pieces. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_CUT_SHAPES_H
#define PO_PART_CUT_SHAPES_H

#include "part/shapes.h"
#include "part/weld.h"
#include "proveout/part.h"

/* A soup welded by equal coordinates; in the arena. */
static inline po_mesh cut_weld(const soup *s, po_arena *arena)
{
    po_weld weld;
    if (!po_weld_init(&weld, arena, s->n)) {
        __builtin_trap();
    }
    for (size_t t = 0; t < s->n; t += PO_WELD_BATCH) {
        if (!po_weld_add(&weld, s->nine + 9 * t, s->n - t < PO_WELD_BATCH ? s->n - t : PO_WELD_BATCH)) {
            __builtin_trap();
        }
    }
    po_weld_done(&weld);
    return (po_mesh){weld.xyz, weld.n_vertices, weld.corners, weld.n_triangles};
}

/* Everything added from triangle `first` on, turned inside out: a hollow. */
static inline void soup_invert(soup *s, size_t first)
{
    for (size_t t = first; t < s->n; t++) {
        for (int k = 0; k < 3; k++) {
            double x = s->nine[9 * t + 3 + (size_t)k];
            s->nine[9 * t + 3 + (size_t)k] = s->nine[9 * t + 6 + (size_t)k];
            s->nine[9 * t + 6 + (size_t)k] = x;
        }
    }
}

/* An outline of n points in x, y (counter-clockwise, each seen from the first), from z0 to z1. */
static inline void soup_prism(soup *s, const double *xy, size_t n, double z0, double z1)
{
    for (size_t i = 0; i < n; i++) {
        const double *p = xy + 2 * i, *q = xy + 2 * ((i + 1) % n);
        double a[3] = {p[0], p[1], z0}, b[3] = {q[0], q[1], z0}, c[3] = {q[0], q[1], z1}, d[3] = {p[0], p[1], z1};
        double o[3] = {xy[0], xy[1], z0}, u[3] = {xy[0], xy[1], z1};
        soup_add(s, a, b, c);
        soup_add(s, a, c, d);
        if (i > 0 && i + 1 < n) {
            soup_add(s, o, b, a);
            soup_add(s, u, d, c);
        }
    }
}

/* A tube of n sides about z. */
static inline void soup_tube(soup *s, double inner, double outer, double z0, double z1, size_t n)
{
    const double turn = 6.28318530717958647692;
    for (size_t i = 0; i < n; i++) {
        double u = turn * (double)i / (double)n, v = turn * (double)((i + 1) % n) / (double)n;
        double p[8][3] = {{inner * cos(u), inner * sin(u), z0}, {inner * cos(v), inner * sin(v), z0},
                          {outer * cos(u), outer * sin(u), z0}, {outer * cos(v), outer * sin(v), z0},
                          {inner * cos(u), inner * sin(u), z1}, {inner * cos(v), inner * sin(v), z1},
                          {outer * cos(u), outer * sin(u), z1}, {outer * cos(v), outer * sin(v), z1}};
        static const int faces[8][3] = {{2, 3, 7}, {2, 7, 6}, {1, 0, 4}, {1, 4, 5},
                                        {0, 1, 3}, {0, 3, 2}, {4, 6, 7}, {4, 7, 5}};
        for (int f = 0; f < 8; f++) {
            soup_add(s, p[faces[f][0]], p[faces[f][1]], p[faces[f][2]]);
        }
    }
}

static inline double tube_volume(double inner, double outer, double height, size_t n)
{
    return (outer * outer - inner * inner) * height * (double)n / 2 * sin(6.28318530717958647692 / (double)n);
}

typedef struct lottery { /* xorshift64* (Vigna 2016), so that runs are alike everywhere */
    uint64_t state;
} lottery;

static inline double draw(lottery *l)
{
    l->state ^= l->state >> 12;
    l->state ^= l->state << 25;
    l->state ^= l->state >> 27;
    return (double)((l->state * 2685821657736338717ull) >> 11) * 0x1p-53;
}

/* A ball of n by 2n quads whose radius goes up and down. */
static inline void soup_bumpy(soup *s, double radius, double bump, int waves, size_t n)
{
    const double half = 3.14159265358979323846;
    size_t m = 2 * n;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < m; j++) {
            double p[4][3];
            for (int k = 0; k < 4; k++) {
                size_t a = i + (k == 1 || k == 2), b = (j + (k >= 2)) % m;
                double t = half * (double)a / (double)n, f = 2 * half * (double)b / (double)m;
                double st = a == 0 || a == n ? 0 : sin(t);
                double r = radius + (st > 0 ? bump * sin(waves * f) * sin(waves * t) : 0);
                p[k][0] = r * st * cos(f);
                p[k][1] = r * st * sin(f);
                p[k][2] = r * (a == 0 ? 1 : a == n ? -1 : cos(t));
            }
            if (i > 0) {
                soup_add(s, p[0], p[1], p[3]);
            }
            if (i + 1 < n) {
                soup_add(s, p[1], p[2], p[3]);
            }
        }
    }
}

#endif
