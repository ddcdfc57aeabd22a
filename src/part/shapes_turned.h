/* Turned solids with known answers, for tests and benchmarks. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_SHAPES_TURNED_H
#define PO_PART_SHAPES_TURNED_H

#include "part/shapes.h"

/* Where corner i of a ring of n lies. */
static inline void turned_corner(double *p, double x, double y, double r, double z, size_t i, size_t n)
{
    double u = 6.28318530717958647692 * (double)(i % n) / (double)n;
    p[0] = x + r * cos(u);
    p[1] = y + r * sin(u);
    p[2] = z;
}

/* A profile of n_rings pairs (r, z), z rising, turned about the vertical through x, y as regular n-gons; flat ends, but
 * for r = 0. Quads between two rings are flat (their level sides are parallel), so that a section between them is
 * a regular n-gon whose radius goes straight from ring to ring: area n/2 r^2 sin(turn/n). */
static inline void soup_turned(soup *s, double x, double y, const double (*profile)[2], size_t n_rings, size_t n)
{
    double low[3] = {x, y, profile[0][1]}, high[3] = {x, y, profile[n_rings - 1][1]};
    for (size_t i = 0; i < n; i++) {
        double a[3], b[3], c[3], d[3];
        for (size_t k = 0; k + 1 < n_rings; k++) {
            turned_corner(a, x, y, profile[k][0], profile[k][1], i, n);
            turned_corner(b, x, y, profile[k][0], profile[k][1], i + 1, n);
            turned_corner(c, x, y, profile[k + 1][0], profile[k + 1][1], i + 1, n);
            turned_corner(d, x, y, profile[k + 1][0], profile[k + 1][1], i, n);
            if (profile[k][0] > 0) {
                soup_add(s, a, b, c);
            }
            if (profile[k + 1][0] > 0) {
                soup_add(s, a, c, d);
            }
            if (k == 0 && profile[0][0] > 0) {
                soup_add(s, low, b, a);
            }
            if (k + 2 == n_rings && profile[k + 1][0] > 0) {
                soup_add(s, high, d, c);
            }
        }
    }
}

/* A lumpy ball of about so many triangles round x, y, z: no two corners of a ring on a level. Coordinates are floats. */
static inline void soup_lumps(soup *s, double x, double y, double z, double radius, size_t triangles)
{
    const double turn = 6.28318530717958647692;
    size_t m = (size_t)sqrt((double)triangles / 4) + 2, n = 2 * m; /* m bands of n quads */
    double *p = malloc((m + 1) * n * 3 * sizeof *p);
    if (!p) {
        __builtin_trap();
    }
    for (size_t k = 0; k <= m; k++) {
        for (size_t i = 0; i < n; i++) {
            double v = turn / 2 * ((double)k / (double)m - 0.5), u = turn * (double)(k % m ? i : 0) / (double)n;
            double r = radius * (1 + 0.1 * sin(5 * u) * cos(v) * cos(7 * v) + 0.02 * cos(40 * u) * cos(v));
            double *q = p + 3 * (k * n + i);
            q[0] = (double)(float)(x + (k % m ? r * cos(v) * cos(u) : 0));
            q[1] = (double)(float)(y + (k % m ? r * cos(v) * sin(u) : 0));
            q[2] = (double)(float)(z + r * sin(v));
        }
    }
    for (size_t k = 0; k < m; k++) {
        for (size_t i = 0; i < n; i++) {
            const double *a = p + 3 * (k * n + i), *b = p + 3 * (k * n + (i + 1) % n);
            const double *d = a + 3 * n, *c = b + 3 * n;
            if (k > 0) {
                soup_add(s, a, b, c);
            }
            if (k + 1 < m) {
                soup_add(s, a, c, d);
            }
        }
    }
    free(p);
}

#endif
