/* On which side of a plane or line a point lies, without error. SPDX-License-Identifier: Apache-2.0
 *
 * Right for all doubles that are 0 or between 1e-70 and 1e70 in size: nothing over- or underflows on the way. */
#ifndef PO_PART_EXACT_H
#define PO_PART_EXACT_H

#include <math.h>

/* The sign of ((b - a) x (c - a)) . (d - a): 1 where the normal points, 0 in the plane, -1 behind. */
int po_side3(const double *a, const double *b, const double *c, const double *d);
/* The same by exact arithmetic at once (po_side3 tries plain arithmetic first). */
int po_side3_exact(const double *a, const double *b, const double *c, const double *d);
/* The sign of (b - a) x (c - a) with coordinates x and y: 1 left of the line from a to b. */
int po_side2(const double *a, const double *b, const double *c, int x, int y);
int po_side2_exact(const double *a, const double *b, const double *c, int x, int y);

/* A plane for many questions: products are made once. */
typedef struct po_exact_plane {
    const double *a, *b, *c;
    double normal[3], sizes[3]; /* sizes: the same sums with all terms positive, for the error bound */
} po_exact_plane;

static inline void po_exact_plane_set(po_exact_plane *plane, const double *a, const double *b, const double *c)
{
    double ux = b[0] - a[0], uy = b[1] - a[1], uz = b[2] - a[2], vx = c[0] - a[0], vy = c[1] - a[1], vz = c[2] - a[2];
    double yz = uy * vz, zy = uz * vy, zx = uz * vx, xz = ux * vz, xy = ux * vy, yx = uy * vx;
    plane->a = a;
    plane->b = b;
    plane->c = c;
    plane->normal[0] = yz - zy;
    plane->normal[1] = zx - xz;
    plane->normal[2] = xy - yx;
    plane->sizes[0] = fabs(yz) + fabs(zy);
    plane->sizes[1] = fabs(zx) + fabs(xz);
    plane->sizes[2] = fabs(xy) + fabs(yx);
}

/* Shewchuk's bound for this sum is (7 + 56 eps) eps times its terms' sizes, eps = 2^-53: 7.8e-16. */
#define PO_SIDE3_BOUND 1e-15

static inline int po_exact_plane_side(const po_exact_plane *plane, const double *d)
{
    double x = d[0] - plane->a[0], y = d[1] - plane->a[1], z = d[2] - plane->a[2];
    double det = x * plane->normal[0] + y * plane->normal[1] + z * plane->normal[2];
    double bound = PO_SIDE3_BOUND * (fabs(x) * plane->sizes[0] + fabs(y) * plane->sizes[1] + fabs(z) * plane->sizes[2]);
    if (det > bound) {
        return 1;
    }
    if (det < -bound) {
        return -1;
    }
    return bound == 0 ? 0 : po_side3_exact(plane->a, plane->b, plane->c, d);
}

#endif
