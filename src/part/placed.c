/* A mesh as an item of a build places it. SPDX-License-Identifier: Apache-2.0
 *
 * Row vectors times a 4 x 3 matrix (3MF core specification, section 3.3). A matrix of negative determinant turns the
 * mesh inside out; its triangles are then turned round, so that outward stays outward (the same section). */
#include <math.h>
#include <string.h>

#include "proveout/solid.h"

static const double unchanged[12] = {1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0};

static double determinant(const double m[12])
{
    return m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]);
}

po_status po_mesh_placed(const po_mesh *mesh, const double m[12], po_arena *arena, const po_mesh **ret, po_err *err)
{
    bool same = true;
    for (int i = 0; i < 12; i++) {
        if (!isfinite(m[i])) {
            return po_fail(err, PO_E_RANGE, "a number of the item's matrix is not finite");
        }
        same &= m[i] == unchanged[i];
    }
    po_mesh *placed = po_arena_zeros(arena, 1, sizeof *placed);
    if (placed == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for the placed mesh");
    }
    *placed = *mesh;
    if (same) {
        *ret = placed;
        return PO_OK;
    }
    double *xyz = po_arena_zeros(arena, mesh->n_vertices, 3 * sizeof *xyz);
    if (xyz == NULL && mesh->n_vertices > 0) {
        return po_fail(err, PO_E_NOMEM, "no memory for the placed mesh");
    }
    for (size_t i = 0; i < mesh->n_vertices; i++) {
        const double *p = mesh->xyz + 3 * i;
        for (int k = 0; k < 3; k++) {
            xyz[3 * i + (size_t)k] = p[0] * m[k] + p[1] * m[3 + k] + p[2] * m[6 + k] + m[9 + k];
        }
    }
    placed->xyz = xyz;
    if (determinant(m) < 0) {
        uint32_t *corners = po_arena_zeros(arena, mesh->n_triangles, 3 * sizeof *corners);
        if (corners == NULL && mesh->n_triangles > 0) {
            return po_fail(err, PO_E_NOMEM, "no memory for the placed mesh");
        }
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            const uint32_t *c = mesh->corners + 3 * t;
            corners[3 * t] = c[0];
            corners[3 * t + 1] = c[2];
            corners[3 * t + 2] = c[1];
        }
        placed->corners = corners;
    }
    *ret = placed;
    return PO_OK;
}
