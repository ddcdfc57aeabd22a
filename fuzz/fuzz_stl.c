/* STL, and what is measured of it. SPDX-License-Identifier: Apache-2.0
 * Promises: an answer or an error whose place lies in the input; corners are vertices, vertices are used and finite and
 * no two alike; facts agree with each other and do not depend on the number of threads; self cuts are pairs of
 * triangles that share no vertex. */
#include <math.h>
#include <string.h>

#include "fuzz.h"
#include "proveout/part.h"

enum { ARENA = 256 << 20, CUTS_BELOW = 5000, ALIKE_BELOW = 300 };

static void check_mesh(const po_mesh *mesh)
{
    PROMISE(mesh->n_triangles > 0 && mesh->n_vertices > 0 && mesh->n_vertices <= 3 * mesh->n_triangles);
    unsigned char *used = calloc(mesh->n_vertices, 1);
    PROMISE(used);
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        PROMISE(mesh->corners[i] < mesh->n_vertices);
        used[mesh->corners[i]] = 1;
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        PROMISE(used[v]);
        for (size_t k = 0; k < 3; k++) {
            PROMISE(isfinite(mesh->xyz[3 * v + k]));
        }
        for (size_t w = 0; w < v && v < ALIKE_BELOW; w++) {
            const double *p = mesh->xyz + 3 * v, *q = mesh->xyz + 3 * w;
            PROMISE(p[0] != q[0] || p[1] != q[1] || p[2] != q[2]);
        }
    }
    free(used);
}

static void check_facts(const po_mesh *mesh, const po_mesh_facts *f)
{
    PROMISE(f->triangles == mesh->n_triangles && f->vertices <= mesh->n_vertices && f->judged);
    PROMISE(f->watertight <= (f->open_edges == 0 && f->crowded_edges == 0 && f->flipped_triangles == 0));
    PROMISE(f->flat_triangles <= f->triangles && f->doubled_triangles < f->triangles &&
            f->flipped_triangles < f->triangles);
    PROMISE(f->shells <= f->vertices && (f->shells > 0) == (f->vertices > 0));
    PROMISE(!f->watertight || (f->genus >= 0 && f->genus == floor(f->genus)));
    PROMISE(f->watertight || isnan(f->genus));
    PROMISE(isnan(f->seams_closed_at_mm) || (f->seams_closed_at_mm > 0 && f->open_edges == 0));
    PROMISE(f->area_mm2 >= 0 && !isnan(f->volume_mm3));
    for (int k = 0; f->vertices && k < 3; k++) {
        PROMISE(f->bounds_mm[0][k] <= f->bounds_mm[1][k]);
    }
}

static void check_cuts(const po_mesh *mesh, po_arena *arena)
{
    po_mesh_self_cuts one, two;
    po_err err;
    po_status status = po_mesh_find_self_cuts(mesh, 1, arena, &one, &err);
    PROMISE(status == PO_OK || status == PO_E_NOMEM || status == PO_E_RANGE);
    if (status != PO_OK || po_mesh_find_self_cuts(mesh, 2, arena, &two, &err) != PO_OK) {
        return;
    }
    PROMISE(one.pairs == two.pairs && one.n_first == two.n_first && one.complete == two.complete);
    PROMISE(one.n_first <= one.pairs && one.n_first <= 1000);
    for (size_t i = 0; i < one.n_first; i++) {
        uint32_t a = one.first[i][0], b = one.first[i][1];
        PROMISE(a == two.first[i][0] && b == two.first[i][1] && a < b && b < mesh->n_triangles);
        for (size_t k = 0; k < 9; k++) {
            PROMISE(mesh->corners[3 * (size_t)a + k / 3] != mesh->corners[3 * (size_t)b + k % 3]);
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    if (n >= 2 && memcmp(data, "PK", 2) == 0) {
        return 0; /* an archive: another target's */
    }
    po_arena *arena = po_arena_new(ARENA);
    PROMISE(arena);
    po_source source = {.data = data, .n_bytes = n};
    const po_part *part = NULL;
    po_err err;
    po_status status = po_part_read(&source, NULL, arena, &part, &err);
    if (status != PO_OK) {
        PROMISE(err.code == status && err.msg[0] && !part);
        PROMISE(status == PO_E_EMPTY || status == PO_E_SYNTAX || status == PO_E_NOMEM || status == PO_E_LIMIT);
        int packed = n >= 2 &&
                     (data[0] == 0x1f || data[0] == 0x28 || data[1] == 0x2a); /* places are in what it unpacks to */
        PROMISE(packed || err.byte == PO_NO_BYTE || err.byte <= n);
        po_arena_free(arena);
        return 0;
    }
    PROMISE(part->n_objects > 0 && part->n_items == part->n_objects && part->bytes == n);
    PROMISE(part->format == PO_PART_STL_BINARY || part->format == PO_PART_STL_ASCII);
    for (size_t i = 0; i < part->n_objects && i < 20; i++) {
        const po_mesh *mesh = &part->objects[i].mesh;
        po_mesh_facts one, two;
        PROMISE(part->items[i].object == i);
        check_mesh(mesh);
        status = po_mesh_measure(mesh, 1, arena, &one, &err);
        PROMISE(status == PO_OK || status == PO_E_NOMEM || status == PO_E_RANGE);
        if (status == PO_OK) {
            check_facts(mesh, &one);
            if (po_mesh_measure(mesh, 2, arena, &two, &err) == PO_OK) {
                PROMISE(memcmp(&one.volume_mm3, &two.volume_mm3, sizeof(double)) == 0 && one.euler == two.euler);
            }
            if (mesh->n_triangles < CUTS_BELOW) {
                check_cuts(one.judged, arena);
            }
        }
    }
    po_arena_free(arena);
    return 0;
}
