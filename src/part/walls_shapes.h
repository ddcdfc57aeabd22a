/* More meshes with known answers: blocks on a grid, turned and drawn-out profiles. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_WALLS_SHAPES_H
#define PO_PART_WALLS_SHAPES_H

#include <stdbool.h>

#include "part/shapes.h"

static inline void soup_quad(soup *s, const double *a, const double *b, const double *c, const double *d)
{
    soup_add(s, a, b, c);
    soup_add(s, a, c, d);
}

/* Cells of a grid with the given planes (nx + 1, ny + 1, nz + 1 of them, rising), filled where the character at
 * (z * ny + y) * nx + x is '#': the faces between full and empty. */
static inline void soup_grid(soup *s, const double *x, size_t nx, const double *y, size_t ny, const double *z,
                             size_t nz, const char *full)
{
    const double *planes[3] = {x, y, z};
    const long n[3] = {(long)nx, (long)ny, (long)nz};
    for (long i = 0; i < n[0] * n[1] * n[2]; i++) {
        if (full[i] != '#') {
            continue;
        }
        long at[3] = {i % n[0], i / n[0] % n[1], i / n[0] / n[1]};
        for (int k = 0; k < 3; k++) {
            for (int up = 0; up < 2; up++) {
                long next[3] = {at[0], at[1], at[2]};
                next[k] += up ? 1 : -1;
                if (next[k] >= 0 && next[k] < n[k] && full[(next[2] * n[1] + next[1]) * n[0] + next[0]] == '#') {
                    continue;
                }
                int u = (k + 1) % 3, v = (k + 2) % 3;
                double c[4][3];
                for (int j = 0; j < 4; j++) {
                    c[j][k] = planes[k][at[k] + up];
                    c[j][u] = planes[u][at[u] + (j == 1 || j == 2)];
                    c[j][v] = planes[v][at[v] + (j >= 2)];
                }
                if (up) {
                    soup_quad(s, c[0], c[1], c[2], c[3]);
                } else {
                    soup_quad(s, c[3], c[2], c[1], c[0]);
                }
            }
        }
    }
}

/* A profile of n points (r, z), counter-clockwise with r to the right, turned about z in m steps. closed: from the last
 * point back to the first; else it begins and ends on the axis. */
static inline void soup_lathe(soup *s, double (*rz)[2], size_t n, size_t m, bool closed)
{
    const double turn = 6.28318530717958647692;
    for (size_t j = 0; j < m; j++) {
        double u = turn * (double)j / (double)m, w = turn * (double)((j + 1) % m) / (double)m;
        for (size_t i = 0; i + (closed ? 0 : 1) < n; i++) {
            const double *p = rz[i], *q = rz[(i + 1) % n];
            double a[3] = {p[0] * cos(u), p[0] * sin(u), p[1]}, b[3] = {p[0] * cos(w), p[0] * sin(w), p[1]};
            double c[3] = {q[0] * cos(w), q[0] * sin(w), q[1]}, d[3] = {q[0] * cos(u), q[0] * sin(u), q[1]};
            if (p[0] > 0) {
                soup_add(s, a, b, c);
            }
            if (q[0] > 0) {
                soup_add(s, a, c, d);
            }
        }
    }
}

/* A polygon of n points in x and y, counter-clockwise, all of it seen from the given point, drawn out to a height. */
static inline void soup_prism(soup *s, double (*xy)[2], size_t n, double see_x, double see_y, double low, double high)
{
    for (size_t i = 0; i < n; i++) {
        const double *p = xy[i], *q = xy[(i + 1) % n];
        double a[3] = {p[0], p[1], low}, b[3] = {q[0], q[1], low}, c[3] = {q[0], q[1], high}, d[3] = {p[0], p[1], high};
        double below[3] = {see_x, see_y, low}, above[3] = {see_x, see_y, high};
        soup_quad(s, a, b, c, d);
        soup_add(s, below, b, a);
        soup_add(s, above, d, c);
    }
}

/* A full round bar along z whose radius changes with angle and height: radius(turns, z), turns 0..1. */
static inline void soup_bar(soup *s, double (*radius)(double turns, double z), double high, size_t m, size_t n)
{
    const double turn = 6.28318530717958647692;
    double below[3] = {0, 0, 0}, above[3] = {0, 0, high};
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < m; j++) {
            double c[4][3];
            for (int k = 0; k < 4; k++) {
                size_t jj = (j + (k == 1 || k == 2)) % m, ii = i + (k >= 2);
                double t = (double)jj / (double)m, z = high * (double)ii / (double)n, r = radius(t, z);
                c[k][0] = r * cos(turn * t);
                c[k][1] = r * sin(turn * t);
                c[k][2] = z;
            }
            soup_quad(s, c[0], c[1], c[2], c[3]);
            if (i == 0) {
                soup_add(s, below, c[1], c[0]);
            }
            if (i + 1 == n) {
                soup_add(s, above, c[3], c[2]);
            }
        }
    }
}

/* As ball is to sphere: rings from pole to pole. */
static inline void soup_ball(soup *s, double x, double y, double z, double radius, size_t m, size_t n)
{
    size_t first = s->n;
    double(*rz)[2] = calloc(n + 1, sizeof *rz);
    if (!rz) {
        __builtin_trap();
    }
    for (size_t i = 0; i <= n; i++) {
        double u = 3.14159265358979323846 * (double)i / (double)n;
        rz[i][0] = i == 0 || i == n ? 0 : radius * sin(u);
        rz[i][1] = -radius * cos(u);
    }
    soup_lathe(s, rz, n + 1, m, false);
    free(rz);
    for (size_t i = 9 * first; i < 9 * s->n; i += 3) {
        s->nine[i] += x;
        s->nine[i + 1] += y;
        s->nine[i + 2] += z;
    }
}

/* Turned about an odd axis and moved, so that nothing lies along the axes. */
static inline void soup_tumble(soup *s)
{
    const double c = 0.8, d = 0.6, e = 12.0 / 13, f = 5.0 / 13;
    for (size_t i = 0; i < 9 * s->n; i += 3) {
        double x = s->nine[i], y = s->nine[i + 1], z = s->nine[i + 2];
        double u = c * x - d * y, v = d * x + c * y;
        s->nine[i] = u + 17;
        s->nine[i + 1] = e * v - f * z - 5;
        s->nine[i + 2] = f * v + e * z + 31;
    }
}

static inline void soup_turn_round(soup *s)
{
    for (size_t i = 0; i < 9 * s->n; i += 9) {
        for (size_t k = 0; k < 3; k++) {
            double keep = s->nine[i + 3 + k];
            s->nine[i + 3 + k] = s->nine[i + 6 + k];
            s->nine[i + 6 + k] = keep;
        }
    }
}

static inline void soup_shuffle(soup *s, uint64_t state)
{
    for (size_t i = s->n; i-- > 1;) {
        state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        size_t k = (size_t)((state >> 20) % (i + 1));
        double keep[9];
        memcpy(keep, s->nine + 9 * i, sizeof keep);
        memcpy(s->nine + 9 * i, s->nine + 9 * k, sizeof keep);
        size_t shift = 3 * ((state >> 50) % 3); /* and begun at another corner */
        for (size_t j = 0; j < 9; j++) {
            s->nine[9 * k + j] = keep[(j + shift) % 9];
        }
    }
}

#endif
