/* Points spread evenly over a mesh. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_WALLS_SURFACE_H
#define PO_PART_WALLS_SURFACE_H

#include "base/pool.h"
#include "proveout/part.h"

/* A copy of a mesh whose triangles and vertices stand in an order that is theirs alone (along a curve through space),
 * whatever their order in the file, each triangle beginning with its least corner; and the area up to and with each. */
typedef struct po_surface {
    po_mesh mesh;
    double *xyz;
    uint32_t *corners;
    double *upto; /* mm2; rising */
    double area;
} po_surface;

typedef struct po_surface_point {
    uint32_t triangle;       /* of the surface's mesh */
    double at[3], normal[3]; /* of unit length, as the triangle runs */
} po_surface_point;

/* The mesh is not kept. Errors: PO_E_NOMEM. Release with po_surface_done, which accepts a zeroed one. */
po_status po_surface_init(po_surface *surface, const po_mesh *mesh, po_pool *pool, po_err *err) PO_MUST_USE;
void po_surface_done(po_surface *surface);

/* Points number first .. first + count - 1 of n, which follow each other along the curve; seeded. */
void po_surface_points(const po_surface *surface, uint64_t seed, size_t n, size_t first, size_t count,
                       po_surface_point *ret_points);

/* The three corners of a triangle. */
void po_triangle_corners(const po_mesh *mesh, uint32_t triangle, double ret_corners[3][3]);
/* Its normal as it runs, length 1; zeros where it has none. Returns its area. */
double po_triangle_normal(const double corners[3][3], double ret_normal[3]);

#endif
