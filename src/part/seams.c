/* Seams that close within a tolerance. SPDX-License-Identifier: Apache-2.0
 *
 * Programs that write STL round the two sides of a seam apart. Vertices at open edges, in their order, are welded to
 * the nearest one before them within the tolerance (docs/measures.md, "Meshes"), or else stay and attract others: none
 * moves by more than the tolerance, however many lie in a row. Vertices that no open edge needs are left alone, so fine
 * detail is not lost. A grid of cells of the tolerance's size, hashed, finds neighbours: those that stay lie a
 * tolerance apart, so a cell holds few (J. L. Bentley et al., "The complexity of finding fixed-radius near neighbors",
 * 1977). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/topology.h"

typedef struct grid {
    const double *xyz, *low;
    double cell, tolerance2;
    uint32_t *heads, *nexts; /* vertex + 1; nexts by vertex */
    size_t mask;
} grid;

static uint64_t cell_at(const grid *g, const double *p, int dx, int dy, int dz)
{
    /* At most 1e5 cells a side (the tolerance is 1e-5 of the diagonal), one more for neighbours on either side. */
    int64_t x = (int64_t)floor((p[0] - g->low[0]) / g->cell) + dx,
            y = (int64_t)floor((p[1] - g->low[1]) / g->cell) + dy,
            z = (int64_t)floor((p[2] - g->low[2]) / g->cell) + dz;
    uint64_t key = (uint64_t)(x + 1) << 42 ^ (uint64_t)(y + 1) << 21 ^ (uint64_t)(z + 1);
    key *= UINT64_C(0x9e3779b97f4a7c15);
    return (key ^ key >> 29) & g->mask;
}

/* The nearest kept vertex within the tolerance (the earlier one of two), or UINT32_MAX. */
static uint32_t nearest(const grid *g, const double *p)
{
    uint32_t best = UINT32_MAX;
    double best2 = g->tolerance2;
    for (int n = 0; n < 27; n++) {
        for (uint32_t v = g->heads[cell_at(g, p, n % 3 - 1, n / 3 % 3 - 1, n / 9 - 1)]; v; v = g->nexts[v - 1]) {
            const double *q = g->xyz + 3 * (size_t)(v - 1);
            double x = p[0] - q[0], y = p[1] - q[1], z = p[2] - q[2], d2 = x * x + y * y + z * z;
            if (d2 < best2 || (d2 == best2 && v - 1 < best)) {
                best = v - 1;
                best2 = d2;
            }
        }
    }
    return best;
}

/* numbers[v]: the vertex it is welded to (itself for most). */
static bool weld_open(const po_mesh *mesh, const po_topology *topology, double tolerance, uint32_t *numbers)
{
    size_t n_open = 0, slots = 64;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        n_open += topology->at_open[v];
    }
    while (slots < 2 * n_open) {
        slots *= 2;
    }
    grid g = {.xyz = mesh->xyz, .low = topology->bounds[0], .cell = tolerance, .tolerance2 = tolerance * tolerance};
    g.mask = slots - 1;
    g.heads = calloc(slots, sizeof *g.heads);
    g.nexts = malloc((mesh->n_vertices + 1) * sizeof *g.nexts);
    bool good = g.heads && g.nexts;
    for (size_t v = 0; good && v < mesh->n_vertices; v++) {
        numbers[v] = (uint32_t)v;
        if (!topology->at_open[v]) {
            continue;
        }
        const double *p = mesh->xyz + 3 * v;
        uint32_t to = nearest(&g, p);
        if (to != UINT32_MAX) {
            numbers[v] = to;
        } else {
            uint64_t cell = cell_at(&g, p, 0, 0, 0);
            g.nexts[v] = g.heads[cell];
            g.heads[cell] = (uint32_t)v + 1;
        }
    }
    free(g.heads);
    free(g.nexts);
    return good;
}

po_status po_seams_close(const po_mesh *mesh, const po_topology *topology, double tolerance, po_arena *arena,
                         const po_mesh **ret_mesh, po_err *err)
{
    uint32_t *numbers = malloc((mesh->n_vertices + 1) * sizeof *numbers);
    po_mesh *closed = po_arena_zeros(arena, 1, sizeof *closed);
    po_status s = PO_OK;
    double *xyz = NULL;
    uint32_t *corners = NULL;
    size_t n = 0;
    if (!numbers || !closed || !weld_open(mesh, topology, tolerance, numbers)) {
        s = po_fail(err, PO_E_NOMEM, "no memory to weld %zu vertices", mesh->n_vertices);
        goto done;
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        n += numbers[v] == v;
    }
    xyz = po_arena_zeros(arena, n, 3 * sizeof *xyz);
    corners = po_arena_zeros(arena, mesh->n_triangles, 3 * sizeof *corners);
    if (!xyz || !corners) {
        s = po_fail(err, PO_E_NOMEM, "no memory to weld %zu vertices", mesh->n_vertices);
        goto done;
    }
    n = 0;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        if (numbers[v] == v) {
            memcpy(xyz + 3 * n, mesh->xyz + 3 * v, 3 * sizeof *xyz);
            numbers[v] = (uint32_t)n++;
        } else {
            numbers[v] = numbers[numbers[v]]; /* welded to one before it, which has its new number */
        }
    }
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        corners[i] = numbers[mesh->corners[i]];
    }
    *closed = (po_mesh){.xyz = xyz, .n_vertices = n, .corners = corners, .n_triangles = mesh->n_triangles};
    *ret_mesh = closed;
done:
    free(numbers);
    return s;
}
