/* A mesh made ready for many directions: planes, outer corners, hull. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_POSE_BULK_H
#define PO_PART_POSE_BULK_H

#include "part/pose.h"
#include "part/pose_kernel.h"

typedef struct po_pose_bulk {
    double middle[3];    /* what the numbers below are relative to */
    double diagonal;     /* of the bounds */
    double centre[3];    /* of mass, relative to middle */
    double sign;         /* -1: the mesh is inside out; normals here are turned already */
    po_planes planes;    /* pieces of surface with one plane, within half a cell of PO_POSE_PLANE_* */
    size_t n_planes;     /* without what fills up */
    po_corners3 corners; /* those that may be outermost in some direction */
    size_t n_corners;
    float *memory;
    po_ball *balls;
    po_cone *cones;
} po_pose_bulk;

/* Triangles whose planes agree this nearly are summed as one: a turn of less than 0.01 degrees, 0.02 mm. */
#define PO_POSE_PLANE_STEP (1.0 / 8192)
#define PO_POSE_PLANE_MM 0.02

/* Errors: PO_E_EMPTY, PO_E_RANGE, PO_E_NOMEM. */
po_status po_pose_bulk_make(const po_mesh *mesh, po_pool *pool, po_pose_bulk *ret, po_err *err) PO_MUST_USE;
void po_pose_bulk_done(po_pose_bulk *bulk); /* accepts zeroed */

/* Score n directions; poses[i] for up[i], which has length 1. threads by pool. */
po_status po_pose_bulk_score(const po_pose_bulk *bulk, const double (*up)[3], size_t n, const po_pose_setup *setup,
                             po_pool *pool, po_pose *ret, po_err *err) PO_MUST_USE;

/* n directions spread evenly over the sphere (Fibonacci lattice: Gonzalez, "Measurement of areas on a sphere using
 * Fibonacci and latitude-longitude lattices", Math. Geosci. 42, 2010). */
void po_pose_spread(size_t n, double (*ret)[3]);

/* ---- pose_hull.c ---- */

typedef struct po_hull_face {
    double normal[3], offset, area; /* outward; x . normal + offset = 0 */
} po_hull_face;

/* Faces of the convex hull of n points (3 doubles each), coplanar ones merged, by Qhull (Barber, Dobkin, Huhdanpaa,
 * "The quickhull algorithm for convex hulls", ACM Trans. Math. Software 22, 1996). Caller frees. *ret_n 0: the points
 * lie in a plane, or are too few. PO_E_NOMEM. */
po_status po_hull_faces(const double *points, size_t n, po_hull_face **ret, size_t *ret_n, po_err *err) PO_MUST_USE;

#endif
