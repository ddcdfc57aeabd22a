/* Mending: triangles whose corners lie in a row. SPDX-License-Identifier: Apache-2.0
 *
 * Such a triangle lies on its longest edge: the neighbour across is split at the middle corner, and the two halves take
 * the place of both (an edge flip), unless that would make another such triangle, fold the surface or need an edge that
 * there is already. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/mend.h"

enum { MOST_PASSES = 8 };
static const double FLAT_MM2 = 1e-12; /* docs/measures.md, "Meshes" */

static uint32_t third_corner(const po_mending *m, uint32_t half)
{
    return m->corners[half / 3 * 3 + (half % 3 + 2) % 3];
}

/* Twice the area vector. */
static double area_of(const po_mending *m, uint32_t a, uint32_t b, uint32_t c, double ret[3])
{
    const double *p = m->xyz + 3 * (size_t)a, *q = m->xyz + 3 * (size_t)b, *r = m->xyz + 3 * (size_t)c;
    double u[3] = {q[0] - p[0], q[1] - p[1], q[2] - p[2]}, v[3] = {r[0] - p[0], r[1] - p[1], r[2] - p[2]};
    for (int k = 0; k < 3; k++) {
        ret[k] = u[(k + 1) % 3] * v[(k + 2) % 3] - u[(k + 2) % 3] * v[(k + 1) % 3];
    }
    return sqrt(ret[0] * ret[0] + ret[1] * ret[1] + ret[2] * ret[2]) / 2;
}

static bool flip(po_mending *m, const po_edges *edges, uint32_t t, unsigned char *touched)
{
    uint32_t best = 3 * t;
    double longest = -1, n0[3], n1[3], n2[3];
    for (uint32_t half = 3 * t; half < 3 * t + 3; half++) {
        const double *p = m->xyz + 3 * (size_t)po_half_from(m, half), *q = m->xyz + 3 * (size_t)po_half_to(m, half);
        double d = (p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1]) + (p[2] - q[2]) * (p[2] - q[2]);
        if (d > longest) {
            longest = d;
            best = half;
        }
    }
    uint32_t a = po_half_from(m, best), b = po_half_to(m, best), c = third_corner(m, best);
    size_t n;
    const po_edge_use *use = po_edges_of(edges, a, b, &n);
    if (n != 2) {
        return false;
    }
    uint32_t other = use[0].half == best ? use[1].half : use[0].half, u = other / 3, d = third_corner(m, other);
    if (touched[t] || touched[u] || po_half_from(m, other) != b || c == d) {
        return false;
    }
    po_edges_of(edges, c, d, &n);
    /* (b a d) becomes (b c d) and (c a d) */
    if (n > 0 || area_of(m, b, a, d, n0) < FLAT_MM2 || area_of(m, b, c, d, n1) < FLAT_MM2 ||
        area_of(m, c, a, d, n2) < FLAT_MM2 || n0[0] * n1[0] + n0[1] * n1[1] + n0[2] * n1[2] <= 0 ||
        n0[0] * n2[0] + n0[1] * n2[1] + n0[2] * n2[2] <= 0) {
        return false;
    }
    uint32_t *first = m->corners + 3 * (size_t)t, *second = m->corners + 3 * (size_t)u;
    first[0] = b;
    first[1] = c;
    first[2] = d;
    second[0] = c;
    second[1] = a;
    second[2] = d;
    touched[t] = touched[u] = 1;
    return true;
}

po_status po_mend_flat(po_mending *m, uint64_t *ret_flat, po_err *err)
{
    *ret_flat = 0;
    unsigned char *touched = malloc(m->n_triangles + 1);
    if (!touched) {
        return po_fail(err, PO_E_NOMEM, "no memory to look for flat triangles among %zu", m->n_triangles);
    }
    po_status s = PO_OK;
    for (int round = 0; round < MOST_PASSES && s == PO_OK; round++) {
        po_mesh mesh = po_mending_mesh(m);
        po_edges edges;
        uint64_t n = 0;
        s = po_edges_find(&mesh, &edges, err);
        if (s != PO_OK) {
            break;
        }
        memset(touched, 0, m->n_triangles);
        for (uint32_t t = 0; t < m->n_triangles; t++) {
            const uint32_t *c = m->corners + 3 * (size_t)t;
            double normal[3];
            if (!po_is_flat(c) && area_of(m, c[0], c[1], c[2], normal) < FLAT_MM2) {
                n += flip(m, &edges, t, touched);
            }
        }
        po_edges_done(&edges);
        *ret_flat += n;
        if (n == 0) {
            break;
        }
    }
    free(touched);
    return s;
}
