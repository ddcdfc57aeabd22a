/* Sums over planes and corners for many directions at once. SPDX-License-Identifier: Apache-2.0
 * Internal to poses. All arrays are aligned to 32 bytes and filled up to a multiple of PO_LANES. */
#ifndef PO_PART_POSE_KERNEL_H
#define PO_PART_POSE_KERNEL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { PO_LANES = 8, PO_MOST_AXES = 64, PO_BLOCK = 256 };

/* Things near each other stand in blocks of PO_BLOCK, so that most blocks can be passed over unseen. */
typedef struct po_ball { /* that holds the corners of a block */
    float at[3], radius;
} po_ball;

typedef struct po_cone { /* that holds the normals of a block: axis, and the cosine and sine of the half angle */
    float axis[3], cosine, sine;
} po_cone;

typedef struct po_corners3 { /* n is a multiple of PO_LANES; what fills it up repeats the last point */
    const float *x, *y, *z;
    size_t n;
    const po_ball *balls; /* one for each block; NULL = none known */
} po_corners3;

typedef struct
    po_planes { /* pieces of a surface with one normal: unit normal, area, area times centre; filled up with 0 */
    const float *nx, *ny, *nz, *area, *cx, *cy, *cz;
    size_t n;
    const po_cone *cones; /* one for each block */
} po_planes;

typedef struct po_plane_limits {
    float down;                  /* a normal whose height is less overhangs */
    float steps_low, steps_high; /* heights of normals of faces that show steps */
} po_plane_limits;

typedef struct po_plane_sums {
    double foothold; /* area from above of overhanging planes whose centre is below `bed` */
    double hang;     /* area of the other overhanging ones */
    double beneath;  /* space beneath them, down to `low` */
    double steps;
} po_plane_sums;

typedef struct po_pose_kernel {
    const char *name;
    /* Least and greatest height along each of up to PO_MOST_AXES axes. */
    void (*heights)(const po_corners3 *corners, const float (*axes)[3], size_t n_axes, float (*ret)[2]);
    /* Number of the lowest corner along each axis (of equals, any: lanes decide, always alike). */
    void (*lowest)(const po_corners3 *corners, const float (*axes)[3], size_t n_axes, uint32_t *ret);
    /* Corners below `limit` along an axis; at most `most` numbers are written, in order. Returns how many there are. */
    size_t (*below)(const po_corners3 *corners, const float axis[3], float limit, uint32_t *ret, size_t most);
    /* 1 for each corner that lies beyond any of n planes x*p[0] + y*p[1] + z*p[2] + p[3] > margin. */
    void (*outside)(const po_corners3 *corners, const float (*planes)[4], size_t n, float margin, uint8_t *ret);
    /* low: lowest height along each axis; bed: height above it that still stands on the bed. */
    void (*sums)(const po_planes *planes, const float (*axes)[3], const float *low, float bed, size_t n_axes,
                 const po_plane_limits *limits, po_plane_sums *ret);
} po_pose_kernel;

const po_pose_kernel *po_pose_kernel_at(size_t i); /* the plain one first; NULL beyond those this machine runs */
const po_pose_kernel *po_pose_kernel_best(void);

#endif
