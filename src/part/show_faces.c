/* Flat faces to stand on, and turns. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/mend.h"
#include "part/show_inside.h"
#include "proveout/show.h"

#define FLAT_MM 0.02        /* coordinates in files are rounded to 0.001 to 0.01 mm */
#define FLAT_COS 0.99984770 /* 1 degree */
static const double DEG = 57.295779513082321;

typedef struct flood {
    const po_mesh *mesh;
    po_edges edges;
    uint8_t *taken; /* of triangles */
    uint32_t *queue;
} flood;

static bool in_plane(const po_mesh *mesh, size_t t, const double n[3], double d)
{
    double own[3];
    double area = po_show_normal(mesh, t, own);
    if (area > 0 && own[0] * n[0] + own[1] * n[1] + own[2] * n[2] < FLAT_COS) {
        return false;
    }
    for (size_t k = 0; k < 3; k++) {
        const double *p = mesh->xyz + 3 * (size_t)mesh->corners[3 * t + k];
        if (fabs(p[0] * n[0] + p[1] * n[1] + p[2] * n[2] - d) > FLAT_MM) {
            return false;
        }
    }
    return true;
}

static void spread(flood *f, uint32_t seed, po_flat_face *ret)
{
    const po_mesh *mesh = f->mesh;
    double n[3], area = po_show_normal(mesh, seed, n);
    const double *p = mesh->xyz + 3 * (size_t)mesh->corners[3 * (size_t)seed];
    double d = p[0] * n[0] + p[1] * n[1] + p[2] * n[2], largest = area;
    size_t begin = 0, end = 0;
    *ret = (po_flat_face){.triangle = seed};
    memcpy(ret->normal, n, sizeof n);
    f->queue[end++] = seed;
    f->taken[seed] = 1;
    while (begin < end) {
        uint32_t t = f->queue[begin++];
        const uint32_t *c = mesh->corners + 3 * (size_t)t;
        double own[3], a = po_show_normal(mesh, t, own);
        ret->mm2 += a;
        if (a > largest) {
            largest = a;
            ret->triangle = t;
        }
        for (size_t k = 0; k < 3; k++) {
            for (size_t j = 0; j < 3; j++) {
                ret->at[k] += a * mesh->xyz[3 * (size_t)c[j] + k] / 3;
            }
        }
        for (int k = 0; k < 3 && !po_is_flat(c); k++) {
            size_t n_uses;
            const po_edge_use *uses = po_edges_of(&f->edges, c[k], c[(k + 1) % 3], &n_uses);
            for (size_t u = 0; u < n_uses; u++) {
                uint32_t other = uses[u].half / 3;
                if (!f->taken[other] && in_plane(mesh, other, n, d)) {
                    f->taken[other] = 1;
                    f->queue[end++] = other;
                }
            }
        }
    }
    for (int k = 0; k < 3; k++) {
        ret->at[k] /= ret->mm2;
    }
}

/* Whether nothing reaches through the face's plane. */
static bool outermost(const po_mesh *mesh, const po_flat_face *face)
{
    const double *n = face->normal, *at = mesh->xyz + 3 * (size_t)mesh->corners[3 * (size_t)face->triangle];
    double d = at[0] * n[0] + at[1] * n[1] + at[2] * n[2];
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        const double *p = mesh->xyz + 3 * (size_t)mesh->corners[i];
        if (p[0] * n[0] + p[1] * n[1] + p[2] * n[2] > d + 2 * FLAT_MM) {
            return false;
        }
    }
    return true;
}

static po_status flood_begin(flood *f, const po_mesh *mesh, po_err *err)
{
    *f = (flood){.mesh = mesh};
    po_status status = po_edges_find(mesh, &f->edges, err);
    if (status != PO_OK) {
        return status;
    }
    f->taken = calloc(mesh->n_triangles + 1, 1);
    f->queue = malloc((mesh->n_triangles + 1) * sizeof *f->queue);
    return f->taken && f->queue ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out while flat faces were looked for");
}

static void flood_end(flood *f)
{
    po_edges_done(&f->edges);
    free(f->taken);
    free(f->queue);
}

po_status po_mesh_flat_face(const po_mesh *mesh, uint32_t triangle, po_arena *arena, po_flat_face *ret, po_err *err)
{
    double normal[3];
    (void)arena;
    if (triangle >= mesh->n_triangles || !(po_show_normal(mesh, triangle, normal) > 0)) {
        return po_fail(err, PO_E_RANGE, "triangle %u is no face of the part; it has %zu", triangle, mesh->n_triangles);
    }
    flood f;
    po_status status = flood_begin(&f, mesh, err);
    if (status == PO_OK) {
        spread(&f, triangle, ret);
        ret->outermost = outermost(mesh, ret);
    }
    flood_end(&f);
    return status;
}

typedef struct sized {
    double area;
    uint32_t triangle;
} sized;

static int larger_first(const void *a, const void *b)
{
    const sized *p = a, *q = b;
    return p->area != q->area ? (p->area > q->area ? -1 : 1) : p->triangle < q->triangle ? -1 : 1;
}

static int larger_face_first(const void *a, const void *b)
{
    const po_flat_face *p = a, *q = b;
    return p->mm2 != q->mm2 ? (p->mm2 > q->mm2 ? -1 : 1) : p->triangle < q->triangle ? -1 : 1;
}

po_status po_mesh_flat_faces(const po_mesh *mesh, size_t most, po_arena *arena, const po_flat_face **ret, size_t *ret_n,
                             po_err *err)
{
    enum { MOST_SEEDS = 4096 }; /* the largest triangles of a fine mesh: what is no part of one of them is small */
    flood f;
    po_status status = flood_begin(&f, mesh, err);
    sized *order = malloc((mesh->n_triangles + 1) * sizeof *order);
    po_flat_face *faces = malloc(MOST_SEEDS * sizeof *faces);
    size_t n = 0, kept = 0;
    if (status == PO_OK && (!order || !faces)) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out while flat faces were looked for");
    }
    for (size_t t = 0; status == PO_OK && t < mesh->n_triangles; t++) {
        double normal[3];
        order[t] = (sized){po_show_normal(mesh, t, normal), (uint32_t)t};
    }
    if (status == PO_OK) {
        qsort(order, mesh->n_triangles, sizeof *order, larger_first);
    }
    for (size_t i = 0; status == PO_OK && i < mesh->n_triangles && n < MOST_SEEDS && order[i].area > 0; i++) {
        if (!f.taken[order[i].triangle]) {
            spread(&f, order[i].triangle, &faces[n++]);
        }
    }
    if (status == PO_OK) {
        qsort(faces, n, sizeof *faces, larger_face_first);
        for (size_t i = 0; i < n && kept < most && i < 256; i++) {
            faces[i].outermost = outermost(mesh, &faces[i]);
            if (faces[i].outermost) {
                faces[kept++] = faces[i];
            }
        }
        po_flat_face *out = po_arena_zeros(arena, kept + 1, sizeof *out);
        if (out && kept > 0) {
            memcpy(out, faces, kept * sizeof *out);
        }
        *ret = out;
        *ret_n = kept;
        status = out ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out while flat faces were looked for");
    }
    free(order);
    free(faces);
    flood_end(&f);
    return status;
}

/* ---- turns ---- */

bool po_is_turn(const double t[9])
{
    for (int a = 0; a < 3; a++) {
        for (int b = a; b < 3; b++) {
            double dot = t[3 * a] * t[3 * b] + t[3 * a + 1] * t[3 * b + 1] + t[3 * a + 2] * t[3 * b + 2];
            if (!(fabs(dot - (a == b)) < 1e-6)) {
                return false;
            }
        }
    }
    double det = t[0] * (t[4] * t[8] - t[5] * t[7]) - t[1] * (t[3] * t[8] - t[5] * t[6]) +
                 t[2] * (t[3] * t[7] - t[4] * t[6]);
    return det > 0;
}

void po_turn_by(const double *from, const double degrees[3], double ret[9])
{
    double m[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    if (from) {
        memcpy(m, from, sizeof m);
    }
    for (int axis = 0; axis < 3; axis++) { /* rows are where x, y and z of the part go: each row is turned */
        double turns = degrees[axis] / 90, c = cos(degrees[axis] / DEG), s = sin(degrees[axis] / DEG);
        if (turns == floor(turns) && fabs(turns) < 1e6) { /* by right angles: whole numbers */
            static const double whole[4] = {1, 0, -1, 0};
            int quarter = (int)(turns - 4 * floor(turns / 4));
            c = whole[quarter];
            s = whole[(quarter + 3) % 4];
        }
        int a = (axis + 1) % 3, b = (axis + 2) % 3;
        for (int row = 0; row < 3; row++) {
            double u = m[3 * row + a], v = m[3 * row + b];
            m[3 * row + a] = c * u - s * v;
            m[3 * row + b] = s * u + c * v;
        }
    }
    for (int row = 0; row < 2; row++) { /* Gram-Schmidt; the third is the product of the two */
        double *r = m + 3 * row, along = 0, length = 0;
        for (int k = 0; k < 3 && row == 1; k++) {
            along += r[k] * m[k];
        }
        for (int k = 0; k < 3; k++) {
            r[k] -= along * (row == 1 ? m[k] : 0);
            length += r[k] * r[k];
        }
        for (int k = 0; k < 3; k++) {
            r[k] /= sqrt(length);
        }
    }
    for (int k = 0; k < 3; k++) {
        m[6 + k] = m[(k + 1) % 3] * m[3 + (k + 2) % 3] - m[(k + 2) % 3] * m[3 + (k + 1) % 3];
    }
    for (int k = 0; k < 9; k++) {
        ret[k] = fabs(m[k] - round(m[k])) < 1e-12 ? round(m[k]) + 0.0 : m[k];
    }
}

void po_turn_down(const double direction[3], double ret[9])
{
    po_pose_turn((const double[3]){-direction[0], -direction[1], -direction[2]}, ret);
}
