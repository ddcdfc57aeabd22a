/* Topology and bulk of one mesh, put together. SPDX-License-Identifier: Apache-2.0
 *
 * docs/measures.md, "Meshes": the exact weld first; where that leaves open edges, a weld at 1e-5 of the diagonal is
 * tried, and if it closes some, it is the one that counts. */
#include <math.h>

#include "part/topology.h"

static const double SEAM = 1e-5; /* of the diagonal of the bounds */

static void bounds_of(const po_topology *topology, po_mesh_facts *facts, double *ret_diagonal)
{
    double sum = 0;
    for (int k = 0; k < 3; k++) {
        facts->bounds_mm[0][k] = topology->n_vertices ? topology->bounds[0][k] : NAN;
        facts->bounds_mm[1][k] = topology->n_vertices ? topology->bounds[1][k] : NAN;
        double side = facts->bounds_mm[1][k] - facts->bounds_mm[0][k];
        sum += side * side;
    }
    *ret_diagonal = sqrt(sum);
}

/* The facts of the mesh whose topology is known. */
static po_status fill(const po_mesh *mesh, const po_topology *topology, po_pool *pool, po_arena *arena,
                      po_mesh_facts *facts, po_err *err)
{
    uint64_t pieces = topology->shells;
    double diagonal;
    facts->judged = mesh;
    facts->triangles = mesh->n_triangles;
    facts->vertices = topology->n_vertices;
    facts->shells = topology->shells;
    facts->open_edges = topology->open;
    facts->crowded_edges = topology->crowded;
    facts->doubled_triangles = topology->doubled;
    facts->watertight = topology->watertight;
    facts->euler = (int64_t)topology->n_vertices - (int64_t)topology->n_edges +
                   (int64_t)(mesh->n_triangles - topology->n_flat);
    facts->genus = NAN;
    facts->seams_closed_at_mm = NAN;
    bounds_of(topology, facts, &diagonal);
    if (topology->against || (topology->watertight && topology->fans != topology->n_vertices)) {
        po_status s = po_flips_find(mesh, &pieces, &facts->flipped_triangles, err);
        if (s != PO_OK) {
            return s;
        }
    }
    if (topology->watertight) {
        int64_t euler = (int64_t)topology->fans - (int64_t)topology->n_edges +
                        (int64_t)(mesh->n_triangles - topology->n_flat);
        facts->genus = (double)(2 * (int64_t)pieces - euler) / 2;
    }
    double from[3];
    const double *first = mesh->xyz + 3 * (size_t)mesh->corners[0];
    for (int k = 0; k < 3; k++) {
        from[k] = topology->watertight ? facts->bounds_mm[0][k] / 2 + facts->bounds_mm[1][k] / 2 : first[k];
    }
    po_bulk bulk;
    po_status s = po_bulk_find(mesh, from, pool, &bulk, err);
    if (s != PO_OK) {
        return s;
    }
    facts->volume_mm3 = bulk.volume;
    facts->area_mm2 = bulk.area;
    facts->flat_triangles = bulk.n_flat;
    for (int k = 0; k < 3; k++) {
        facts->centre_of_mass_mm[k] = bulk.centre[k];
    }
    if (topology->shells == 1) {
        double *volumes = po_arena_zeros(arena, 1, sizeof *volumes);
        if (!volumes) {
            return po_fail(err, PO_E_NOMEM, "no memory to measure a part");
        }
        volumes[0] = bulk.volume;
        facts->shell_volumes_mm3 = volumes;
        return PO_OK;
    }
    return po_bulk_shells(mesh, topology, topology->watertight ? NULL : from, arena, &facts->shell_volumes_mm3, err);
}

static po_status measure(const po_mesh *mesh, po_pool *pool, po_arena *arena, po_mesh_facts *ret, po_err *err)
{
    po_topology exact, welded;
    po_mesh_facts facts = {0};
    po_status s = po_topology_find(mesh, pool, &exact, err);
    if (s != PO_OK) {
        return s;
    }
    double diagonal;
    bounds_of(&exact, &facts, &diagonal);
    bool closes = false;
    if (exact.open && diagonal > 0) {
        const po_mesh *closed;
        s = po_seams_close(mesh, &exact, SEAM * diagonal, arena, &closed, err);
        if (s == PO_OK) {
            s = po_topology_find(closed, pool, &welded, err);
        }
        if (s != PO_OK) {
            goto done;
        }
        closes = welded.open < exact.open && welded.n_vertices;
        if (closes) {
            s = fill(closed, &welded, pool, arena, &facts, err);
            if (welded.open == 0) {
                facts.seams_closed_at_mm = SEAM * diagonal;
            }
        }
        po_topology_done(&welded);
    }
    if (!closes) {
        s = fill(mesh, &exact, pool, arena, &facts, err);
    }
    if (s == PO_OK) {
        *ret = facts;
    }
done:
    po_topology_done(&exact);
    return s;
}

po_status po_mesh_measure(const po_mesh *mesh, int threads, po_arena *arena, po_mesh_facts *ret_facts, po_err *err)
{
    if (mesh->n_triangles == 0) {
        return po_fail(err, PO_E_EMPTY, "a mesh without a triangle");
    }
    po_pool *pool = po_pool_new(mesh->n_triangles < PO_ONE_THREAD_BELOW ? 1 : threads);
    if (!pool) {
        return po_fail(err, PO_E_NOMEM, "no threads to measure a part with");
    }
    po_status s = measure(mesh, pool, arena, ret_facts, err);
    po_pool_free(pool);
    return s;
}
