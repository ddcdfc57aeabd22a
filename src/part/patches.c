/* Solids of an STL that are pieces of one surface. SPDX-License-Identifier: Apache-2.0 */
#include "part/patches.h"

#include <string.h>

#include "part/topology.h"
#include "part/weld.h"

/* wrong: what more there must not be of when pieces are put together. */
static po_status count(const po_mesh *mesh, po_pool *pool, uint64_t *ret_open, uint64_t *ret_wrong, po_err *err)
{
    po_topology topology;
    po_status s = po_topology_find(mesh, pool, &topology, err);
    if (s == PO_OK) {
        *ret_open += topology.open;
        *ret_wrong += topology.crowded + topology.doubled;
        po_topology_done(&topology);
    }
    return s;
}

/* All objects' triangles over vertices shared by all. false: memory is gone. */
static bool weld_all(const po_part_object *objects, size_t n, po_arena *arena, po_mesh *ret)
{
    size_t n_triangles = 0;
    for (size_t i = 0; i < n; i++) {
        n_triangles += objects[i].mesh.n_triangles;
    }
    po_weld weld;
    bool good = po_weld_init(&weld, arena, n_triangles);
    for (size_t i = 0; good && i < n; i++) {
        const po_mesh *mesh = &objects[i].mesh;
        for (size_t t = 0; good && t < mesh->n_triangles; t += PO_WELD_BATCH) {
            double nine[9 * PO_WELD_BATCH];
            size_t batch = mesh->n_triangles - t < PO_WELD_BATCH ? mesh->n_triangles - t : PO_WELD_BATCH;
            for (size_t c = 0; c < 3 * batch; c++) {
                memcpy(nine + 3 * c, mesh->xyz + 3 * (size_t)mesh->corners[3 * t + c], 3 * sizeof *nine);
            }
            good = po_weld_add(&weld, nine, batch);
        }
    }
    if (good) {
        po_weld_trim(&weld);
        *ret = (po_mesh){
            .xyz = weld.xyz, .n_vertices = weld.n_vertices, .corners = weld.corners, .n_triangles = weld.n_triangles};
    }
    po_weld_done(&weld);
    return good;
}

static po_status join(po_part_object *objects, size_t *n, po_pool *pool, po_arena *arena, po_notes *notes, po_err *err)
{
    uint64_t apart = 0, together = 0, wrong_apart = 0, wrong_together = 0;
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < *n; i++) {
        s = count(&objects[i].mesh, pool, &apart, &wrong_apart, err);
    }
    if (s != PO_OK || apart == 0) {
        return s;
    }
    po_mesh all;
    if (!weld_all(objects, *n, arena, &all)) {
        return po_fail(err, PO_E_NOMEM, "no memory to join %zu solids", *n);
    }
    s = count(&all, pool, &together, &wrong_together, err);
    if (s == PO_OK && together <= apart / 2 && wrong_together <= wrong_apart) {
        po_note(notes, "the %zu solids of the file are pieces of one surface and are read as one", *n);
        objects[0].mesh = all;
        *n = 1;
    }
    return s;
}

po_status po_patches_join(po_part_object *objects, size_t *n, po_arena *arena, po_notes *notes, po_err *err)
{
    if (*n < 2) {
        return PO_OK;
    }
    po_pool *pool = po_pool_new(1);
    if (!pool) {
        return po_fail(err, PO_E_NOMEM, "no memory to join %zu solids", *n);
    }
    po_status s = join(objects, n, pool, arena, notes, err);
    po_pool_free(pool);
    return s;
}
