/* Triangles given by coordinates to triangles over shared vertices. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_WELD_H
#define PO_PART_WELD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"

/* Most triangles of a file: a corner of a triangle has to be numbered in 32 bits. */
#define PO_WELD_MOST_TRIANGLES ((size_t)1 << 30)
enum { PO_WELD_BATCH = 32 }; /* triangles at a time */

/* Vertices are numbered in the order in which they first come. Those before `base` belong to earlier solids and are not
 * shared with. Results lie in the arena; the table beside it is freed with po_weld_done. */
typedef struct po_weld {
    po_arena *arena;
    double *xyz;
    uint32_t *corners; /* global vertex numbers */
    size_t n_vertices, cap_vertices, n_triangles, cap_triangles;
    size_t base;
    uint64_t *slots; /* hash (upper 32 bits), vertex + 1 (lower); vertices up to base: free */
    unsigned bits;
    uint64_t keys[3];
} po_weld;

/* hint: triangles to expect (memory is set aside, not used). false: memory is gone. Accepts being done twice. */
bool po_weld_init(po_weld *weld, po_arena *arena, size_t hint);
/* n triangles (at most PO_WELD_BATCH), 9 finite coordinates each. false: memory is gone, or too many. */
bool po_weld_add(po_weld *weld, const double *nine, size_t n);
/* The triangles from here on share no vertices with those before. */
void po_weld_next_solid(po_weld *weld);
/* Give back what was set aside and not used. */
void po_weld_trim(po_weld *weld);
void po_weld_done(po_weld *weld);

#endif
