/* Solids that do not hang together. SPDX-License-Identifier: Apache-2.0
 *
 * Shells by union of vertices (R. E. Tarjan 1975). Which shell lies in which is told by the solid angle under which a
 * point sees it (A. van Oosterom, J. Strackee, "The solid angle of a plane triangle", IEEE Trans. Biomed. Eng. 30, 1983):
 * 4 pi from inside, 0 from outside. Two outer shells whose boxes meet and of which one has a corner in the other are one
 * piece; where they cross without any corner inside, they come apart: each is a closed solid all the same. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/sets.h"
#include "part/pieces_plan.h"

enum { SHELLS_MOST = 64, CORNERS_ASKED = 24 };

typedef struct shell {
    double low[3], high[3], volume;
    size_t n_triangles, first; /* triangle */
    uint32_t group;
} shell;

static double solid_angle(const po_mesh *mesh, const uint32_t *shell_of, uint32_t which, const double *p)
{
    double sum = 0;
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        if (shell_of[t] != which) {
            continue;
        }
        double r[3][3], l[3];
        for (int i = 0; i < 3; i++) {
            const double *q = mesh->xyz + 3 * (size_t)mesh->corners[3 * t + (size_t)i];
            for (int k = 0; k < 3; k++) {
                r[i][k] = q[k] - p[k];
            }
            l[i] = sqrt(r[i][0] * r[i][0] + r[i][1] * r[i][1] + r[i][2] * r[i][2]);
        }
        double det = r[0][0] * (r[1][1] * r[2][2] - r[1][2] * r[2][1]) +
                     r[0][1] * (r[1][2] * r[2][0] - r[1][0] * r[2][2]) +
                     r[0][2] * (r[1][0] * r[2][1] - r[1][1] * r[2][0]);
        double d01 = r[0][0] * r[1][0] + r[0][1] * r[1][1] + r[0][2] * r[1][2];
        double d12 = r[1][0] * r[2][0] + r[1][1] * r[2][1] + r[1][2] * r[2][2];
        double d20 = r[2][0] * r[0][0] + r[2][1] * r[0][1] + r[2][2] * r[0][2];
        sum += 2 * atan2(det, l[0] * l[1] * l[2] + d01 * l[2] + d12 * l[0] + d20 * l[1]);
    }
    return sum;
}

/* A corner of shell a lies in shell b? */
static bool corner_inside(const po_mesh *mesh, const uint32_t *shell_of, const shell *shells, uint32_t a, uint32_t b)
{
    size_t step = shells[a].n_triangles / CORNERS_ASKED + 1, seen = 0;
    for (size_t t = shells[a].first; t < mesh->n_triangles; t++) {
        if (shell_of[t] != a || seen++ % step) {
            continue;
        }
        const double *p = mesh->xyz + 3 * (size_t)mesh->corners[3 * t];
        bool boxed = true;
        for (int k = 0; k < 3; k++) {
            boxed = boxed && shells[b].low[k] <= p[k] && p[k] <= shells[b].high[k];
        }
        if (boxed && fabs(solid_angle(mesh, shell_of, b, p)) > 6.283185307179586) { /* half of all round */
            return true;
        }
    }
    return false;
}

static void measure(const po_mesh *mesh, const uint32_t *shell_of, shell *shells, size_t n)
{
    for (size_t s = 0; s < n; s++) {
        shells[s] = (shell){{INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}, 0, 0, 0, (uint32_t)s};
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        shell *s = &shells[shell_of[t]];
        const double *p[3], *o = mesh->xyz;
        s->first = s->n_triangles++ ? s->first : t;
        for (int i = 0; i < 3; i++) {
            p[i] = mesh->xyz + 3 * (size_t)mesh->corners[3 * t + (size_t)i];
            for (int k = 0; k < 3; k++) {
                s->low[k] = fmin(s->low[k], p[i][k]);
                s->high[k] = fmax(s->high[k], p[i][k]);
            }
        }
        double u[3], v[3], w[3];
        for (int k = 0; k < 3; k++) {
            u[k] = p[0][k] - o[k];
            v[k] = p[1][k] - o[k];
            w[k] = p[2][k] - o[k];
        }
        s->volume += u[0] * (v[1] * w[2] - v[2] * w[1]) + u[1] * (v[2] * w[0] - v[0] * w[2]) +
                     u[2] * (v[0] * w[1] - v[1] * w[0]);
    }
}

static bool boxes_meet(const shell *a, const shell *b)
{
    for (int k = 0; k < 3; k++) {
        if (a->low[k] > b->high[k] || b->low[k] > a->high[k]) {
            return false;
        }
    }
    return true;
}

static void group(const po_mesh *mesh, const uint32_t *shell_of, shell *shells, uint32_t n, uint32_t *parent)
{
    for (uint32_t i = 0; i < n; i++) {
        parent[i] = i;
    }
    for (uint32_t i = 0; i < n; i++) {
        for (uint32_t j = i + 1; j < n; j++) {
            if (boxes_meet(&shells[i], &shells[j]) && po_set_root(parent, i) != po_set_root(parent, j) &&
                (corner_inside(mesh, shell_of, shells, i, j) || corner_inside(mesh, shell_of, shells, j, i))) {
                po_set_join(parent, i, j);
            }
        }
    }
    for (uint32_t i = 0; i < n; i++) { /* a hollow that nothing holds: left with the first solid, not by itself */
        if (shells[i].volume <= 0 && po_set_root(parent, i) == i) {
            po_set_join(parent, i, i ? 0 : n - 1);
        }
    }
}

static po_status copy_group(const po_mesh *mesh, const uint32_t *shell_of, uint32_t *parent, uint32_t which,
                            uint32_t *renumber, po_arena *arena, po_mesh *ret, po_err *err)
{
    size_t n_triangles = 0, n_vertices = 0, at = 0;
    memset(renumber, 0xff, mesh->n_vertices * sizeof *renumber);
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        if (po_set_root(parent, shell_of[t]) == which) {
            n_triangles++;
            for (size_t i = 0; i < 3; i++) {
                renumber[mesh->corners[3 * t + i]] = 0;
            }
        }
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        renumber[v] = renumber[v] == 0 ? (uint32_t)n_vertices++ : UINT32_MAX;
    }
    double *xyz = po_arena_zeros(arena, n_vertices + 1, 3 * sizeof *xyz);
    uint32_t *corners = po_arena_zeros(arena, n_triangles + 1, 3 * sizeof *corners);
    if (!xyz || !corners) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        if (renumber[v] != UINT32_MAX) {
            memcpy(xyz + 3 * (size_t)renumber[v], mesh->xyz + 3 * v, 3 * sizeof *xyz);
        }
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        if (po_set_root(parent, shell_of[t]) == which) {
            for (size_t i = 0; i < 3; i++) {
                corners[at++] = renumber[mesh->corners[3 * t + i]];
            }
        }
    }
    *ret = (po_mesh){xyz, n_vertices, corners, n_triangles};
    return PO_OK;
}

static po_status split(const po_mesh *mesh, po_arena *own, po_arena *arena, const po_mesh **ret_meshes, size_t *ret_n,
                       po_err *err)
{
    uint32_t *parent = po_arena_zeros(own, mesh->n_vertices + 1, sizeof *parent);
    uint32_t *number = po_arena_zeros(own, mesh->n_vertices + 1, sizeof *number);
    uint32_t *shell_of = po_arena_zeros(own, mesh->n_triangles + 1, sizeof *shell_of);
    po_mesh *meshes = po_arena_zeros(arena, SHELLS_MOST, sizeof *meshes);
    shell shells[SHELLS_MOST];
    uint32_t groups[SHELLS_MOST];
    size_t n = 0, count = 0;
    if (!parent || !number || !shell_of || !meshes) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        parent[v] = (uint32_t)v;
        number[v] = UINT32_MAX;
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        po_set_join(parent, mesh->corners[3 * t], mesh->corners[3 * t + 1]);
        po_set_join(parent, mesh->corners[3 * t], mesh->corners[3 * t + 2]);
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        uint32_t r = po_set_root(parent, mesh->corners[3 * t]);
        if (number[r] == UINT32_MAX) {
            number[r] = (uint32_t)n++;
        }
        shell_of[t] = number[r];
    }
    if (n > 1 && n <= SHELLS_MOST) {
        measure(mesh, shell_of, shells, n);
        group(mesh, shell_of, shells, (uint32_t)n, groups);
        for (uint32_t i = 0; i < n; i++) {
            if (groups[i] == i) {
                po_status status = copy_group(mesh, shell_of, groups, i, number, arena, &meshes[count++], err);
                if (status != PO_OK) {
                    return status;
                }
            }
        }
    } else {
        meshes[count++] = *mesh;
    }
    *ret_meshes = meshes;
    *ret_n = count;
    return PO_OK;
}

po_status po_mesh_bodies(const po_mesh *mesh, po_arena *arena, const po_mesh **ret_meshes, size_t *ret_n, po_err *err)
{
    po_arena *own = po_arena_new(0);
    po_status status = own ? split(mesh, own, arena, ret_meshes, ret_n, err)
                           : po_fail(err, PO_E_NOMEM, "memory ran out");
    po_arena_free(own);
    return status;
}
