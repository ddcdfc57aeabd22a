/* Ordinary shapes for poses, as meshes over shared corners. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_POSE_SHAPES_H
#define PO_PART_POSE_SHAPES_H

#include "part/shapes.h"
#include "proveout/solid.h"

typedef struct pose_mesh {
    po_mesh mesh;
    double *xyz;
    uint32_t *corners;
} pose_mesh;

/* Equal corners become one. Quadratic only within cells of a hash; frees the soup. */
static inline pose_mesh mesh_of(soup *s)
{
    pose_mesh m = {.xyz = malloc((9 * s->n + 1) * sizeof(double)),
                   .corners = malloc((3 * s->n + 1) * sizeof(uint32_t))};
    size_t room = 16;
    while (room < 6 * s->n) {
        room *= 2;
    }
    uint32_t *table = malloc(room * sizeof *table), n = 0;
    if (!m.xyz || !m.corners || !table) {
        __builtin_trap();
    }
    memset(table, 0xff, room * sizeof *table);
    for (size_t i = 0; i < 3 * s->n; i++) {
        double p[3];
        uint64_t hash = 0, bits;
        for (int k = 0; k < 3; k++) {
            p[k] = s->nine[3 * i + (size_t)k] + 0.0; /* no minus zero */
            memcpy(&bits, &p[k], 8);
            hash = (hash ^ bits) * 0x9e3779b97f4a7c15u;
            hash ^= hash >> 29;
        }
        size_t at = hash & (room - 1);
        while (table[at] != UINT32_MAX && memcmp(m.xyz + 3 * (size_t)table[at], p, sizeof p) != 0) {
            at = (at + 1) & (room - 1);
        }
        if (table[at] == UINT32_MAX) {
            table[at] = n;
            memcpy(m.xyz + 3 * (size_t)n++, p, sizeof p);
        }
        m.corners[i] = table[at];
    }
    m.mesh = (po_mesh){m.xyz, n, m.corners, s->n};
    free(table);
    free(s->nine);
    *s = (soup){0};
    return m;
}

static inline void mesh_done(pose_mesh *m)
{
    free(m->xyz);
    free(m->corners);
}

/* A prism: the outline (counter-clockwise in x, z as seen from -y, star-shaped about its point `eye`) drawn out along y
 * from 0 to depth. */
static inline void soup_prism(soup *s, const double (*xz)[2], size_t n, const double eye[2], double depth)
{
    for (size_t i = 0; i < n; i++) {
        const double *a = xz[i], *b = xz[(i + 1) % n];
        double a0[3] = {a[0], 0, a[1]}, a1[3] = {a[0], depth, a[1]}, b0[3] = {b[0], 0, b[1]},
               b1[3] = {b[0], depth, b[1]};
        double e0[3] = {eye[0], 0, eye[1]}, e1[3] = {eye[0], depth, eye[1]};
        soup_add(s, e0, a0, b0);
        soup_add(s, e1, b1, a1);
        soup_add(s, a0, a1, b1);
        soup_add(s, a0, b1, b0);
    }
}

/* A solid of revolution about z: radius and height of each ring from bottom to top, outside upwards; r 0 closes. */
static inline void soup_turned(soup *s, const double (*rz)[2], size_t n, size_t sides)
{
    const double turn = 6.28318530717958647692;
    for (size_t j = 0; j + 1 < n; j++) {
        for (size_t i = 0; i < sides; i++) {
            double p[4][3];
            for (int k = 0; k < 4; k++) {
                const double *ring = rz[j + (size_t)(k >> 1)];
                double u = turn * (double)((i + (size_t)(k & 1)) % sides) / (double)sides;
                p[k][0] = ring[0] * cos(u);
                p[k][1] = ring[0] * sin(u);
                p[k][2] = ring[1];
            }
            if (rz[j][0] > 0) {
                soup_add(s, p[0], p[1], p[3]);
            }
            if (rz[j + 1][0] > 0) {
                soup_add(s, p[0], p[3], p[2]);
            }
        }
    }
}

static inline void soup_sphere(soup *s, double r, size_t rings, size_t sides)
{
    double(*rz)[2] = malloc((rings + 1) * sizeof *rz);
    if (!rz) {
        __builtin_trap();
    }
    for (size_t j = 0; j <= rings; j++) {
        double v = 3.14159265358979323846 * (double)j / (double)rings;
        rz[j][0] = j == 0 || j == rings ? 0 : r * sin(v);
        rz[j][1] = r - r * cos(v);
    }
    soup_turned(s, (const double(*)[2])rz, rings + 1, sides);
    free(rz);
}

/* Corners turned, row vectors as po_part_item.matrix. */
static inline void soup_turn(soup *s, const double turn[9])
{
    for (size_t i = 0; i < 3 * s->n; i++) {
        double *p = s->nine + 3 * i, q[3];
        for (int k = 0; k < 3; k++) {
            q[k] = p[0] * turn[k] + p[1] * turn[3 + k] + p[2] * turn[6 + k];
        }
        memcpy(p, q, sizeof q);
    }
}

static const po_pose_setup POSE_SETUP = {
    .overhang_limit_deg = 45,
    .bridge_limit_mm = 12,
    .support_gap_mm = 0.5,
    .layer_mm = 0.2,
    .first_layer_mm = 0.2,
    .bead_mm = 0.45,
    .machine_cost_h = 0.6,
    .hand_cost_min = 0.2,
    .material_cost_mm3 = 19 * 1.27e-6,
    .rough_flow_mm3_s = 3,
    .support_fill = 0.15,
    .clean_min_cm2 = 0.5,
    .smooth_min_cm2 = 0.02,
    .layer_change_s = 2,
    .weak_layers_cost = 5,
};

#endif
