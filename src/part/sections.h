/* What the two halves of making sections share. SPDX-License-Identifier: Apache-2.0
 *
 * A triangle that the plane cuts gives one segment: from the edge that it runs down (above to below) to the edge that it
 * runs up. Its outside is then on the right (z x normal is the way it goes), and where two triangles agree, the one's
 * last edge is the other's first. */
#ifndef PO_PART_SECTIONS_H
#define PO_PART_SECTIONS_H

#include "proveout/solid.h"

/* Edges by their two vertices: the one above (upper 32 bits) and the one below. The same from both sides. */
typedef struct po_cut {
    uint64_t from, to;
} po_cut;

typedef struct po_walks { /* loops being written; room for every segment and one point more for each open walk */
    double *xy;
    size_t n_points;
    uint32_t *ends;
    size_t n_loops;
    uint32_t open_ends;
} po_walks;

/* Where the plane meets an edge. Counted from the nearer end, so that a corner in the plane is met exactly. */
static inline void po_cut_point(const double *xyz, uint64_t edge, double z, double ret[2])
{
    const double *a = xyz + 3 * (size_t)(edge >> 32), *b = xyz + 3 * (size_t)(uint32_t)edge;
    double over = a[2] - z, under = z - b[2]; /* >= 0, > 0 */
    const double *near = over < under ? a : b, *far = over < under ? b : a;
    double part = (over < under ? over : under) / (a[2] - b[2]);
    ret[0] = near[0] + part * (far[0] - near[0]);
    ret[1] = near[1] + part * (far[1] - near[1]);
}

/* Points that repeat the one before say nothing and are left out. */
static inline void po_walk_point(po_walks *walks, size_t loop_from, const double at[2])
{
    double *to = walks->xy + 2 * walks->n_points;
    if (walks->n_points > loop_from && to[-2] == at[0] && to[-1] == at[1]) {
        return;
    }
    to[0] = at[0];
    to[1] = at[1];
    walks->n_points++;
}

/* The loop is complete; one that never left its first point is none. */
static inline void po_walk_close(po_walks *walks, size_t loop_from)
{
    const double *first = walks->xy + 2 * loop_from, *last = walks->xy + 2 * walks->n_points - 2;
    if (last[0] == first[0] && last[1] == first[1]) {
        walks->n_points--;
    }
    if (walks->n_points > loop_from) {
        walks->ends[walks->n_loops++] = (uint32_t)walks->n_points;
    }
}

/* The loops of n segments whose edges don't all have two triangles that agree. walks->ends: room for n; walks->xy is
 * made here, the caller frees it. false: memory is gone. */
bool po_section_join(const double *xyz, double z, const po_cut *cuts, size_t n, po_walks *walks);

#endif
