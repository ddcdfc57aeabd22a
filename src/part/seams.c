/* Seams that close within a tolerance. SPDX-License-Identifier: Apache-2.0
 *
 * Programs that write STL round the two sides of a seam apart. Vertices at open edges, in their order, are welded to
 * the nearest one before them within the tolerance (docs/measures.md, "Meshes"), or else stay and attract others: none
 * moves by more than the tolerance, however many lie in a row. Vertices that no open edge needs are left alone, so fine
 * detail is not lost. A hashed grid of cells a few tolerances wide finds neighbours: vertices that stay lie a tolerance
 * apart, so a cell holds few (J. L. Bentley et al., "The complexity of finding fixed-radius near neighbors", 1977). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/pages.h"
#include "part/topology.h"

/* Wide enough that a point mostly asks one or two cells, narrow enough that they hold few. */
enum { CELL_TOLERANCES = 4 };

typedef struct grid {
    const double *xyz, *low;
    double cell, tolerance;
    uint32_t *heads, *nexts; /* vertex + 1; nexts by vertex */
    size_t mask;
} grid;

/* At most 1e5 / CELL_TOLERANCES cells a side (the tolerance is 1e-5 of the diagonal), and one more below. */
static int64_t cell_along(const grid *g, double x, int axis)
{
    return (int64_t)floor((x - g->low[axis]) / g->cell) + 1;
}

static uint64_t slot_of(const grid *g, int64_t x, int64_t y, int64_t z)
{
    uint64_t key = ((uint64_t)x << 42 ^ (uint64_t)y << 21 ^ (uint64_t)z) * UINT64_C(0x9e3779b97f4a7c15);
    return (key ^ key >> 29) & g->mask;
}

/* The nearest kept vertex within the tolerance (the earlier one of two), or UINT32_MAX. */
static uint32_t nearest(const grid *g, const double *p)
{
    uint32_t best = UINT32_MAX;
    double best2 = g->tolerance * g->tolerance;
    int64_t from[3], to[3];
    for (int k = 0; k < 3; k++) {
        from[k] = cell_along(g, p[k] - g->tolerance, k);
        to[k] = cell_along(g, p[k] + g->tolerance, k);
    }
    for (int64_t x = from[0]; x <= to[0]; x++) {
        for (int64_t y = from[1]; y <= to[1]; y++) {
            for (int64_t z = from[2]; z <= to[2]; z++) {
                for (uint32_t v = g->heads[slot_of(g, x, y, z)]; v; v = g->nexts[v - 1]) {
                    const double *q = g->xyz + 3 * (size_t)(v - 1);
                    double dx = p[0] - q[0], dy = p[1] - q[1], dz = p[2] - q[2], d2 = dx * dx + dy * dy + dz * dz;
                    if (d2 < best2 || (d2 == best2 && v - 1 < best)) {
                        best = v - 1;
                        best2 = d2;
                    }
                }
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
    grid g = {
        .xyz = mesh->xyz, .low = topology->bounds[0], .cell = CELL_TOLERANCES * tolerance, .tolerance = tolerance};
    g.mask = slots - 1;
    g.heads = calloc(slots, sizeof *g.heads);
    g.nexts = malloc((mesh->n_vertices + 1) * sizeof *g.nexts);
    po_pages_large(g.heads, slots * sizeof *g.heads);
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
            uint64_t slot = slot_of(&g, cell_along(&g, p[0], 0), cell_along(&g, p[1], 1), cell_along(&g, p[2], 2));
            g.nexts[v] = g.heads[slot];
            g.heads[slot] = (uint32_t)v + 1;
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
