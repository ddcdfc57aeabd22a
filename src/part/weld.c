/* Triangles given by coordinates to triangles over shared vertices. SPDX-License-Identifier: Apache-2.0
 *
 * Equal coordinates are one vertex (docs/measures.md, "Meshes"), -0 and 0 are equal. A table with open addressing
 * (D. E. Knuth, The Art of Computer Programming 3, section 6.4, algorithm L) finds a vertex; the hash multiplies 64 by
 * 64 bits and folds (as M. Dietzfelbinger et al., "A reliable randomized algorithm for the closest-pair problem", 1997,
 * use multiplication), with keys drawn for each file, so that no file can be made to collide. Numbers go by first
 * appearance: the answer does not depend on the keys. Triangles come in batches: all slots of a batch are asked for
 * from memory before the first is looked at. */
#include "part/weld.h"

#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "base/pages.h"

enum { LEAST_BITS = 8, CORNERS = 3 * PO_WELD_BATCH };
#define MOST_VERTICES ((size_t)UINT32_MAX - 1)

__extension__ typedef unsigned __int128 wide;

static inline uint64_t fold(uint64_t a, uint64_t b)
{
    wide p = (wide)a * b;
    return (uint64_t)p ^ (uint64_t)(p >> 64);
}

static inline uint64_t hash_of(const po_weld *weld, const double *xyz)
{
    uint64_t w[3];
    memcpy(w, xyz, sizeof w);
    return fold(fold(w[0] ^ weld->keys[0], w[1] ^ weld->keys[1]) ^ w[2], weld->keys[2]);
}

static uint64_t *new_slots(unsigned bits)
{
    uint64_t *slots = calloc((size_t)1 << bits, sizeof *slots);
    po_pages_large(slots, sizeof *slots << bits);
    return slots;
}

bool po_weld_init(po_weld *weld, po_arena *arena, size_t hint)
{
    memset(weld, 0, sizeof *weld);
    weld->arena = arena;
    if (getrandom(weld->keys, sizeof weld->keys, GRND_NONBLOCK) != (ssize_t)sizeof weld->keys) {
        weld->keys[0] = (uintptr_t)weld; /* differs from run to run as well */
    }
    weld->keys[2] |= UINT64_C(0x8000000000000001);
    hint = hint > PO_WELD_MOST_TRIANGLES ? PO_WELD_MOST_TRIANGLES : hint;
    weld->cap_triangles = hint < 64 ? 64 : hint;
    weld->cap_vertices = weld->cap_triangles / 2 + 64; /* Euler: a closed surface has half as many */
    weld->bits = LEAST_BITS;
    while (weld->bits < 31 && ((size_t)1 << weld->bits) * 7 < weld->cap_vertices * 10) {
        weld->bits++;
    }
    weld->xyz = po_arena_resize(arena, NULL, 0, weld->cap_vertices * 24);
    weld->corners = po_arena_resize(arena, NULL, 0, weld->cap_triangles * 12);
    weld->slots = new_slots(weld->bits);
    if (!weld->xyz || !weld->corners || !weld->slots) {
        po_weld_done(weld);
        return false;
    }
    po_pages_large(weld->xyz, weld->cap_vertices * 24);
    po_pages_large(weld->corners, weld->cap_triangles * 12);
    return true;
}

void po_weld_done(po_weld *weld)
{
    free(weld->slots);
    weld->slots = NULL;
}

void po_weld_next_solid(po_weld *weld)
{
    weld->base = weld->n_vertices;
}

void po_weld_trim(po_weld *weld)
{
    double *xyz = po_arena_resize(weld->arena, weld->xyz, weld->cap_vertices * 24, weld->n_vertices * 24);
    if (xyz) {
        weld->xyz = xyz;
        weld->cap_vertices = weld->n_vertices;
    }
    uint32_t *corners = po_arena_resize(weld->arena, weld->corners, weld->cap_triangles * 12, weld->n_triangles * 12);
    if (corners) {
        weld->corners = corners;
        weld->cap_triangles = weld->n_triangles;
    }
}

static bool grow_slots(po_weld *weld)
{
    unsigned bits = weld->bits + 1;
    free(weld->slots); /* first: it is made anew from the vertices, so both need not be held */
    uint64_t *slots = weld->slots = bits <= 33 ? new_slots(bits) : NULL;
    if (!slots) {
        return false;
    }
    weld->bits = bits;
    size_t mask = ((size_t)1 << bits) - 1;
    for (size_t v = weld->base; v < weld->n_vertices; v++) {
        uint64_t hash = hash_of(weld, weld->xyz + 3 * v);
        size_t at = hash & mask;
        while (slots[at]) {
            at = (at + 1) & mask;
        }
        slots[at] = hash >> 32 << 32 | (v + 1);
    }
    return true;
}

/* Room for n triangles all of whose vertices are new. */
static bool make_room(po_weld *weld, size_t n)
{
    if (n > PO_WELD_MOST_TRIANGLES - weld->n_triangles || 3 * n > MOST_VERTICES - weld->n_vertices) {
        return false;
    }
    if (weld->n_triangles + n > weld->cap_triangles) {
        size_t cap = weld->cap_triangles * 2;
        uint32_t *corners = po_arena_resize(weld->arena, weld->corners, weld->cap_triangles * 12, cap * 12);
        if (!corners) {
            return false;
        }
        weld->corners = corners;
        weld->cap_triangles = cap;
        po_pages_large(corners, cap * 12);
    }
    if (weld->n_vertices + 3 * n > weld->cap_vertices) {
        size_t cap = weld->cap_vertices + weld->cap_vertices / 2 + 3 * n;
        double *xyz = po_arena_resize(weld->arena, weld->xyz, weld->cap_vertices * 24, cap * 24);
        if (!xyz) {
            return false;
        }
        weld->xyz = xyz;
        weld->cap_vertices = cap;
        po_pages_large(xyz, cap * 24);
    }
    while ((weld->n_vertices - weld->base + 3 * n) * 10 > ((size_t)1 << weld->bits) * 7) {
        if (!grow_slots(weld)) {
            return false;
        }
    }
    return true;
}

bool po_weld_add(po_weld *weld, const double *nine, size_t n)
{
    if (!make_room(weld, n)) {
        return false;
    }
    double xyz[CORNERS * 3];
    uint64_t hashes[CORNERS];
    uint64_t *slots = weld->slots;
    const size_t mask = ((size_t)1 << weld->bits) - 1, base = weld->base;
    for (size_t i = 0; i < 9 * n; i++) {
        xyz[i] = nine[i] + 0.0; /* -0 becomes 0 */
    }
    for (size_t i = 0; i < 3 * n; i++) {
        hashes[i] = hash_of(weld, xyz + 3 * i);
        __builtin_prefetch(slots + (hashes[i] & mask));
    }
    for (size_t i = 0; i < 3 * n; i++) {
        uint64_t slot = slots[hashes[i] & mask];
        if (slot && slot >> 32 == hashes[i] >> 32) {
            __builtin_prefetch(weld->xyz + 3 * ((size_t)(uint32_t)slot - 1));
        }
    }
    uint32_t *corner = weld->corners + 3 * weld->n_triangles;
    size_t n_vertices = weld->n_vertices;
    for (size_t i = 0; i < 3 * n; i++) {
        const double *p = xyz + 3 * i;
        size_t at = hashes[i] & mask, vertex;
        for (;; at = (at + 1) & mask) {
            uint64_t slot = slots[at];
            vertex = (uint32_t)slot;
            if (vertex <= base) { /* free; or an earlier solid's, which is as good as free */
                double *to = weld->xyz + 3 * n_vertices;
                to[0] = p[0];
                to[1] = p[1];
                to[2] = p[2];
                vertex = ++n_vertices;
                slots[at] = hashes[i] >> 32 << 32 | vertex;
                break;
            }
            const double *q = weld->xyz + 3 * (vertex - 1);
            if (slot >> 32 == hashes[i] >> 32 && p[0] == q[0] && p[1] == q[1] && p[2] == q[2]) {
                break;
            }
        }
        corner[i] = (uint32_t)(vertex - 1);
    }
    weld->n_vertices = n_vertices;
    weld->n_triangles += n;
    return true;
}
