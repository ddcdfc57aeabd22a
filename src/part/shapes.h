/* Meshes with known answers, for tests and benchmarks. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_SHAPES_H
#define PO_PART_SHAPES_H

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Triangles by coordinates, nine a triangle; grows as needed. Free nine. */
typedef struct soup {
    double *nine;
    size_t n, cap;
} soup;

static inline void soup_add(soup *s, const double *a, const double *b, const double *c)
{
    double nine[9]; /* the corners may stand in the soup itself */
    memcpy(nine, a, 3 * sizeof(double));
    memcpy(nine + 3, b, 3 * sizeof(double));
    memcpy(nine + 6, c, 3 * sizeof(double));
    if (s->n == s->cap) {
        s->cap = s->cap ? s->cap * 2 : 64;
        s->nine = realloc(s->nine, s->cap * sizeof nine);
        if (!s->nine) {
            __builtin_trap();
        }
    }
    memcpy(s->nine + 9 * s->n++, nine, sizeof nine);
}

/* Corners (0,0,0)(a,0,0)(0,a,0)(0,0,a), outward: volume a^3/6 (shared/handbook.md 6.1). */
static inline void soup_tetra(soup *s, double x, double y, double z, double a)
{
    double o[3] = {x, y, z}, i[3] = {x + a, y, z}, j[3] = {x, y + a, z}, k[3] = {x, y, z + a};
    soup_add(s, o, j, i);
    soup_add(s, o, k, j);
    soup_add(s, o, i, k);
    soup_add(s, i, j, k);
}

static inline void soup_box(soup *s, double x, double y, double z, double a, double b, double c)
{
    static const int faces[12][3] = {{0, 2, 1}, {1, 2, 3}, {4, 5, 6}, {5, 7, 6}, {0, 1, 4}, {1, 5, 4},
                                     {2, 6, 3}, {3, 6, 7}, {0, 4, 2}, {2, 4, 6}, {1, 3, 5}, {3, 7, 5}};
    double p[8][3];
    for (int i = 0; i < 8; i++) {
        p[i][0] = x + (i & 1 ? a : 0);
        p[i][1] = y + (i & 2 ? b : 0);
        p[i][2] = z + (i & 4 ? c : 0);
    }
    for (int f = 0; f < 12; f++) {
        soup_add(s, p[faces[f][0]], p[faces[f][1]], p[faces[f][2]]);
    }
}

/* n by m quads on a torus about z; coordinates are floats, as an STL would hold them. */
static inline void soup_torus(soup *s, double x, double y, double z, double big, double small, size_t n, size_t m)
{
    const double turn = 6.28318530717958647692;
    double *p = malloc(n * m * 3 * sizeof *p);
    if (!p) {
        __builtin_trap();
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < m; j++) {
            double u = turn * (double)i / (double)n, v = turn * (double)j / (double)m, r = big + small * cos(v);
            double *q = p + 3 * (i * m + j);
            q[0] = (double)(float)(x + r * cos(u));
            q[1] = (double)(float)(y + r * sin(u));
            q[2] = (double)(float)(z + small * sin(v));
        }
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < m; j++) {
            size_t i2 = (i + 1) % n, j2 = (j + 1) % m;
            soup_add(s, p + 3 * (i * m + j), p + 3 * (i2 * m + j), p + 3 * (i2 * m + j2));
            soup_add(s, p + 3 * (i * m + j), p + 3 * (i2 * m + j2), p + 3 * (i * m + j2));
        }
    }
    free(p);
}

/* Volume of that mesh but for the rounding of its coordinates. The quads between two rings of corners are flat (their long
 * sides are parallel), so at each height it is a regular n-gon less a smaller one, and the radius goes straight from
 * ring to ring: n/2 sin(turn/n) times the sum of (z1 - z0) (r0^2 + r0 r1 + r1^2) / 3, frustums of pyramids. */
static inline double torus_volume(double big, double small, size_t n, size_t m)
{
    const double turn = 6.28318530717958647692;
    double sum = 0;
    for (size_t j = 0; j < m; j++) {
        double v = turn * (double)j / (double)m, w = turn * (double)(j + 1) / (double)m;
        double r0 = big + small * cos(v), r1 = big + small * cos(w);
        sum += small * (sin(w) - sin(v)) * (r0 * r0 + r0 * r1 + r1 * r1) / 3;
    }
    return sum * (double)n * sin(turn / (double)n) / 2;
}

/* Binary STL; caller frees. count: what the header says. */
static inline unsigned char *soup_binary(const soup *s, uint32_t count, size_t *ret_n)
{
    *ret_n = 84 + 50 * s->n;
    unsigned char *bytes = calloc(*ret_n, 1);
    if (!bytes) {
        __builtin_trap();
    }
    for (int i = 0; i < 4; i++) {
        bytes[80 + i] = (unsigned char)(count >> 8 * i);
    }
    for (size_t t = 0; t < s->n; t++) {
        for (int i = 0; i < 9; i++) {
            float f = (float)s->nine[9 * t + (size_t)i];
            uint32_t bits;
            memcpy(&bits, &f, 4);
            for (int k = 0; k < 4; k++) {
                bytes[84 + 50 * t + 12 + 4 * (size_t)i + (size_t)k] = (unsigned char)(bits >> 8 * k);
            }
        }
    }
    return bytes;
}

/* Text STL, lines ended by end; caller frees. */
static inline char *soup_text(const soup *s, const char *name, const char *end, size_t *ret_n)
{
    size_t room = 400 * (s->n + 1) + strlen(name) * 2, n = 0;
    char *text = malloc(room);
    if (!text) {
        __builtin_trap();
    }
    n += (size_t)snprintf(text, room, "solid %s%s", name, end);
    for (size_t t = 0; t < s->n; t++) {
        const double *p = s->nine + 9 * t;
        n += (size_t)snprintf(text + n, room - n,
                              "  facet normal 0 0 1%s    outer loop%s      vertex %.9g %.9e %.9g%s"
                              "      vertex %.9g %.9e %.9g%s      vertex %.9g %.9e %.9g%s    endloop%s  endfacet%s",
                              end, end, p[0], p[1], p[2], end, p[3], p[4], p[5], end, p[6], p[7], p[8], end, end, end);
    }
    n += (size_t)snprintf(text + n, room - n, "endsolid %s%s", name, end);
    *ret_n = n;
    return text;
}

#endif
