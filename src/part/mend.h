/* The steps of mending. SPDX-License-Identifier: Apache-2.0
 * Each step changes the mesh in hand and says how much it did; mend.c looks whether it got better and takes it back when
 * it did not. All return PO_E_NOMEM or PO_OK. */
#ifndef PO_PART_MEND_H
#define PO_PART_MEND_H

#include <stdbool.h>

#include "base/pool.h"
#include "proveout/part.h"

typedef struct po_mending { /* a mesh that may be changed; malloc */
    double *xyz;
    size_t n_vertices;
    uint32_t *corners;
    size_t n_triangles, cap_triangles;
    double diagonal;
} po_mending;

static inline po_mesh po_mending_mesh(const po_mending *m)
{
    return (po_mesh){m->xyz, m->n_vertices, m->corners, m->n_triangles};
}

/* ---- edges ---- */

typedef struct po_edge_use {
    uint32_t high; /* the higher vertex; the lower one is whose bucket it lies in */
    uint32_t half; /* 3 * triangle + k: from its corner k to the next */
} po_edge_use;

typedef struct po_edges { /* uses of one edge lie side by side; triangles with two equal corners have none */
    uint32_t *ends;       /* bucket of vertex v: [v ? ends[v - 1] : 0, ends[v]) */
    po_edge_use *uses;
} po_edges;

po_status po_edges_find(const po_mesh *mesh, po_edges *ret, po_err *err) PO_MUST_USE;
void po_edges_done(po_edges *edges);
/* The uses of the edge between a and b. */
const po_edge_use *po_edges_of(const po_edges *edges, uint32_t a, uint32_t b, size_t *ret_n);

static inline bool po_is_flat(const uint32_t *c)
{
    return c[0] == c[1] || c[1] == c[2] || c[2] == c[0];
}

static inline uint32_t po_half_from(const po_mending *m, uint32_t half)
{
    return m->corners[half];
}

static inline uint32_t po_half_to(const po_mending *m, uint32_t half)
{
    return m->corners[half % 3 == 2 ? half - 2 : half + 1];
}

/* ---- steps ---- */

/* Triangles with two equal corners, and all but one of those over the same corners. Where such a set cancels out (two that
 * face each other), both go if their edges are in order without them; keep_one: one stays all the same. */
po_status po_mend_drop(po_mending *m, bool keep_one, uint64_t *ret_flat, uint64_t *ret_doubled,
                       po_err *err) PO_MUST_USE;
/* Triangles whose corners lie in a row: the neighbour over the longest edge is split at the middle corner instead. */
po_status po_mend_flat(po_mending *m, uint64_t *ret_flat, po_err *err) PO_MUST_USE;
/* The fewest triangles turned so that neighbours agree. twisted: pieces where that cannot be. */
po_status po_mend_turn(po_mending *m, uint64_t *ret_turned, uint64_t *ret_twisted, po_err *err) PO_MUST_USE;

typedef struct po_hole_counts {
    uint64_t filled, triangles;
    uint64_t large, ragged, sheets; /* not filled: neither flat nor short; no simple loop; fills that would fold back */
} po_hole_counts;
/* largest_corners: of a loop; longer ones are left. */
po_status po_mend_holes(po_mending *m, size_t largest_corners, po_hole_counts *ret, po_err *err) PO_MUST_USE;

typedef struct po_shell_counts {
    uint64_t turned, cavities; /* cavities: of those turned, the ones that face inwards now */
    bool too_many;             /* to look which lies in which */
} po_shell_counts;
po_status po_mend_shells(po_mending *m, po_shell_counts *ret, po_err *err) PO_MUST_USE;

/* How often a surface of triangles winds around a point: list holds the numbers of n triangles. */
int po_winding(const po_mending *m, const uint32_t *list, size_t n, const double *point);

#endif
