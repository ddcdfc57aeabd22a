/* Mending, and writing what came of it. SPDX-License-Identifier: Apache-2.0
 * Bytes: how coordinates are made (bit 0: floats as they are, else a grid of 8; bit 1: shaken by a millionth), number of
 * vertices, vertices (three bytes, or three floats), then triangles (three bytes each).
 * Promises: the input stays as it is; never more open or crowded edges than before; indices are vertices; something is
 * said; a second time changes nothing for the worse; what is written as 3MF reads back to the bit; room is looked for
 * without harm. */
#include <math.h>
#include <string.h>

#include "fuzz.h"
#include "part/topology.h"
#include "proveout/pieces.h"

enum { ARENA = 256 << 20, MOST_TRIANGLES = 300 };

static void count(const po_mesh *mesh, uint64_t *open, uint64_t *crowded)
{
    po_topology t;
    po_pool *pool = po_pool_new(1);
    PROMISE(pool);
    PROMISE(po_topology_find(mesh, pool, &t, NULL) == PO_OK);
    *open = t.open;
    *crowded = t.crowded;
    po_topology_done(&t);
    po_pool_free(pool);
}

static void write_and_read(const po_mesh *mesh, po_arena *arena)
{
    const unsigned char *bytes;
    size_t n, kept = 0;
    po_err err;
    po_3mf_item item = {.mesh = mesh, .name = "fuzz"};
    po_status s = po_3mf_write(&item, 1, NULL, arena, &bytes, &n, &err);
    PROMISE(s == PO_OK || s == PO_E_RANGE || s == PO_E_NOMEM);
    if (s != PO_OK) {
        return;
    }
    po_source source = {.data = bytes, .n_bytes = n};
    const po_part *part;
    s = po_part_read(&source, NULL, arena, &part, &err);
    PROMISE(s == PO_OK || s == PO_E_NOMEM);
    if (s != PO_OK) {
        return;
    }
    const po_mesh *back = &part->objects[0].mesh;
    PROMISE(back->n_vertices == mesh->n_vertices);
    PROMISE(memcmp(back->xyz, mesh->xyz, 24 * mesh->n_vertices) == 0);
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        if (c[0] != c[1] && c[1] != c[2] && c[2] != c[0]) {
            PROMISE(kept < back->n_triangles && memcmp(back->corners + 3 * kept, c, 12) == 0);
            kept++;
        }
    }
    PROMISE(kept == back->n_triangles);
}

static void look_for_room(const po_mesh *mesh, po_arena *arena)
{
    static const po_keep_out out[2] = {{{0, 2}, {0, 3}, 2}, {{6, 9}, {5, 9}, 50}};
    po_machine machine = {.name = "Bench", .bed_mm = {9, 9}, .height_mm = 7, .keep_outs = out, .n_keep_outs = 2};
    size_t kind = mesh->n_triangles % 16; /* one of them: a round bed with things in the way takes its time */
    po_fit fit;
    machine.round_bed = kind < 4;
    machine.n_keep_outs = kind == 0 || kind > 13 ? 2 : 0;
    po_status s = po_part_fit(mesh, &machine, 0.1, NULL, 0, arena, &fit, NULL);
    PROMISE(s == PO_OK || s == PO_E_NOMEM || s == PO_E_RANGE);
    if (s == PO_OK) {
        PROMISE((fit.turned || !fit.as_is) && fit.turned == !isnan(fit.turn_deg) && fit.largest_scale >= 0);
        PROMISE(!fit.as_is || fit.turn_deg == 0);
    }
}

static void check(const po_mesh *mesh, po_arena *arena)
{
    uint64_t open, crowded, open_after, crowded_after;
    po_mend one, two;
    po_err err;
    po_status s = po_mesh_mend(mesh, NAN, 1, arena, &one, &err);
    PROMISE(s == PO_OK || s == PO_E_NOMEM);
    if (s != PO_OK) {
        return;
    }
    count(mesh, &open, &crowded);
    const po_mesh *m = one.mesh;
    PROMISE(m->n_triangles > 0 && one.n_says > 0);
    for (size_t i = 0; i < 3 * m->n_triangles; i++) {
        PROMISE(m->corners[i] < m->n_vertices);
    }
    for (size_t i = 0; i < one.n_says + one.n_left; i++) {
        PROMISE((i < one.n_says ? one.says[i] : one.left[i - one.n_says])[0]);
    }
    count(m, &open_after, &crowded_after);
    PROMISE(open_after <= open && crowded_after <= crowded);
    PROMISE(one.after.triangles == m->n_triangles);
    s = po_mesh_mend(m, NAN, 2, arena, &two, &err);
    PROMISE(s == PO_OK || s == PO_E_NOMEM);
    if (s == PO_OK) {
        count(two.mesh, &open, &crowded);
        PROMISE(open <= open_after && crowded <= crowded_after);
    }
    write_and_read(m, arena);
    look_for_room(m, arena);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    if (n < 2) {
        return 0;
    }
    bool floats = data[0] & 1, shaken = data[0] & 2;
    size_t n_vertices = data[1], wide = floats ? 12 : 3, at = 2;
    if (n_vertices == 0 || n - at < n_vertices * wide + 3) {
        return 0;
    }
    double xyz[3 * 255], kept[3 * 255];
    for (size_t i = 0; i < 3 * n_vertices; i++) {
        float f;
        if (floats) {
            memcpy(&f, data + at + 4 * i, 4);
            xyz[i] = isfinite(f) ? (double)f : 0;
        } else {
            xyz[i] = (data[at + i] & 7) + (shaken ? (data[at + i] >> 3) * 1e-6 : 0);
        }
    }
    at += n_vertices * wide;
    size_t n_triangles = (n - at) / 3;
    n_triangles = n_triangles > MOST_TRIANGLES ? MOST_TRIANGLES : n_triangles;
    uint32_t corners[3 * MOST_TRIANGLES], kept_corners[3 * MOST_TRIANGLES];
    for (size_t i = 0; i < 3 * n_triangles; i++) {
        corners[i] = data[at + i] % (uint32_t)n_vertices;
    }
    memcpy(kept, xyz, 24 * n_vertices);
    memcpy(kept_corners, corners, 12 * n_triangles);
    po_mesh mesh = {xyz, n_vertices, corners, n_triangles};
    po_arena *arena = po_arena_new(ARENA);
    PROMISE(arena);
    check(&mesh, arena);
    PROMISE(memcmp(kept, xyz, 24 * n_vertices) == 0 && memcmp(kept_corners, corners, 12 * n_triangles) == 0);
    po_arena_free(arena);
    return 0;
}
