/* Rays against a mesh. SPDX-License-Identifier: Apache-2.0
 * Points and distances in mm, in the mesh's own coordinates; directions are unit vectors. What the tree answers is good
 * to about po_rays_slack; who needs more takes the triangle and works the distance out again in double precision. */
#ifndef PO_PART_RAYS_H
#define PO_PART_RAYS_H

#include <stdbool.h>

#include "proveout/part.h"

enum { PO_RAYS_AT_ONCE = 16 };
#define PO_RAY_MISSED UINT32_MAX

typedef struct po_rays po_rays;

/* Builds the tree. The mesh is borrowed until po_rays_close; its indices must be below n_vertices and its coordinates
 * finite. quick: a tree that is built several times faster and followed up to twice as slowly. threads 1..64.
 * Memory: about 150 bytes a triangle. Errors: PO_E_UNSUPPORTED (the ray library is not there), PO_E_RANGE (2^32 - 1
 * triangles or more), PO_E_NOMEM. */
po_status po_rays_open(const po_mesh *mesh, bool quick, int threads, po_rays **ret_rays, po_err *err) PO_MUST_USE;
void po_rays_close(po_rays *rays); /* accepts NULL */

/* Distance below which hits are not to be told from rounding: start rays so far away from their own surface. */
double po_rays_slack(const po_rays *rays);

typedef struct po_ray_batch { /* rays that start near each other and run alike are fastest */
    double from[PO_RAYS_AT_ONCE][3], along[PO_RAYS_AT_ONCE][3];
    double near[PO_RAYS_AT_ONCE], far[PO_RAYS_AT_ONCE]; /* hits between these count; far may be INFINITY */
    double distance[PO_RAYS_AT_ONCE];                   /* out */
    uint32_t triangle[PO_RAYS_AT_ONCE];                 /* out: the first one met, or PO_RAY_MISSED */
} po_ray_batch;

/* The first triangle that each of the first n rays meets. From any thread. */
void po_rays_first(const po_rays *rays, po_ray_batch *batch, int n);

/* Every triangle that a ray meets between near and far (a slack more at both ends), in no order. Returns how many there
 * are; where they are more than `most`, it stops there, writes any `most` of them and returns most + 1. From any thread. */
size_t po_rays_all(const po_rays *rays, const double from[3], const double along[3], double near, double far,
                   uint32_t *ret_triangles, size_t most);

#endif
