/* Convex hulls in the plane. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_GEOMETRY_HULL_H
#define PO_GEOMETRY_HULL_H

#include <stddef.h>

typedef struct po_xy {
    double x, y;
} po_xy;

/* Sort the points in place and write their hull counter-clockwise (no three in a row) into hull, which has room for
 * n + 1 points and may not be points. Returns its number of corners: 0, 1 or 2 for degenerate sets.
 * Method: monotone chain (Andrew, Inf. Process. Lett. 9, 1979). */
size_t po_hull(po_xy *points, size_t n, po_xy *hull);

double po_hull_area(const po_xy *hull, size_t n);
double po_hull_longest_edge(const po_xy *hull, size_t n);
/* Least distance between two parallel lines that hold the hull (rotating calipers). */
double po_hull_least_width(const po_xy *hull, size_t n);
/* Least distance from p to an edge's line, negative when p lies outside. n < 3: negative or 0. */
double po_hull_inset(const po_xy *hull, size_t n, po_xy p);

#endif
