/* How the triangles of a mesh hang together. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_TOPOLOGY_H
#define PO_PART_TOPOLOGY_H

#include "base/pool.h"
#include "proveout/part.h"

/* Of fewer triangles a second thread costs more than it brings; a file may hold a million of such meshes. */
enum { PO_ONE_THREAD_BELOW = 4000 };

/* Counts leave out triangles with two equal corners ("flat" here). */
typedef struct po_topology {
    uint64_t n_vertices; /* that a triangle uses */
    uint64_t n_edges, n_flat;
    uint64_t open, crowded; /* edges */
    uint64_t against;       /* edges of two triangles that both run them the same way */
    uint64_t doubled;       /* triangles */
    uint64_t fans;          /* of triangles around vertices; of a closed surface without pinched vertices: n_vertices */
    uint64_t shells;
    bool watertight;
    double bounds[2][3];    /* of used vertices */
    uint32_t *shell_of;     /* of each vertex; UINT32_MAX: not used. Caller frees with po_topology_done */
    unsigned char *at_open; /* of each vertex: 1 = an end of an open edge */
} po_topology;

/* Checks the mesh, too. PO_E_RANGE, PO_E_NOMEM; po_topology_done after success only. */
po_status po_topology_find(const po_mesh *mesh, po_pool *pool, po_topology *ret, po_err *err) PO_MUST_USE;
void po_topology_done(po_topology *topology);

/* Pieces connected across edges of exactly two triangles, and the fewest triangles to turn so that neighbours agree. */
po_status po_flips_find(const po_mesh *mesh, uint64_t *ret_pieces, uint64_t *ret_flipped, po_err *err) PO_MUST_USE;

/* The mesh with vertices at open edges welded that lie within tolerance of each other; in the arena. */
po_status po_seams_close(const po_mesh *mesh, const po_topology *topology, double tolerance, po_arena *arena,
                         const po_mesh **ret_mesh, po_err *err) PO_MUST_USE;

typedef struct po_bulk {
    double volume, area, centre[3];
    uint64_t n_flat; /* two equal corners, or an area below 1e-12 mm2 */
} po_bulk;
/* Tetrahedra from `from`; the centre is NAN where the volume is 0. PO_E_NOMEM. */
po_status po_bulk_find(const po_mesh *mesh, const double from[3], po_pool *pool, po_bulk *ret, po_err *err) PO_MUST_USE;
/* One signed volume for each shell. from NULL: each from a vertex of its own. PO_E_NOMEM. */
po_status po_bulk_shells(const po_mesh *mesh, const po_topology *topology, const double *from, po_arena *arena,
                         const double **ret_volumes, po_err *err) PO_MUST_USE;

#endif
