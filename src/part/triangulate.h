/* Triangles of a flat region, over its own corners and no others. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_TRIANGULATE_H
#define PO_PART_TRIANGULATE_H

#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/status.h"

typedef struct po_flat {     /* what po_triangulate returns; arrays live in the arena given to it */
    const uint32_t *corners; /* 3 * n_triangles, indices of points, counter-clockwise */
    size_t n_triangles;
    const uint32_t *same; /* n_points: the first point at the same place. Corners name only such first points */
    double area;
} po_flat;

/* Cut the region on the left of directed edges into triangles whose outline is exactly those edges, so that a surface
 * that ends in them is closed by the triangles. The edges need no order; loops may touch each other in points, and holes
 * run the other way round.
 * xy         2 * n_points; borrowed
 * edges      from, to; each point has as many edges coming as going. An edge and its opposite cancel
 * tolerance  a point that lies on another edge, or within this of one that crosses there, is taken up by a flat
 *            triangle between them
 * Errors     PO_E_RANGE (edges that cross or overlap by more than the tolerance, or do not close), PO_E_LIMIT (more than
 *            200 million points), PO_E_NOMEM.   Cost: O(n log n) for points of a common outline. */
po_status po_triangulate(const double *xy, size_t n_points, const uint32_t (*edges)[2], size_t n_edges,
                         double tolerance, po_arena *arena, po_flat *ret, po_err *err) PO_MUST_USE;

#endif
