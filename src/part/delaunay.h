/* Triangles over points in the plane that hold given edges. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_DELAUNAY_H
#define PO_PART_DELAUNAY_H

#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/status.h"

#define PO_NO_TRIANGLE UINT32_MAX

typedef struct po_triangle { /* counter-clockwise; side i lies opposite corner i, from corner i + 1 to corner i + 2 */
    uint32_t corner[3];
    uint32_t beyond[3]; /* triangle across side i; PO_NO_TRIANGLE: none */
    int32_t held[3]; /* edges that run along side i in the triangle's sense, less those against it; 0: may be flipped */
} po_triangle;

typedef struct po_patch { /* the edge from a to b was led over c: closed by so many triangles a, b, c without width */
    uint32_t a, b, c;
    int32_t times;
} po_patch;

typedef struct po_delaunay {
    const double *xy;  /* of the points given and of three more, far around them */
    uint32_t n_points; /* of the points given */
    po_triangle *triangles;
    size_t n_triangles;
    uint32_t *at; /* a triangle at each point */
    po_patch *patches;
    size_t n_patches;
    /* working room */
    po_arena *arena;
    double tolerance;
    uint32_t *stack;
    size_t n_stack, stack_cap, patches_cap;
    uint32_t (*crossed)[2];
    size_t crossed_cap;
    struct po_hold *holds;
    size_t n_holds, holds_cap;
} po_delaunay;

/* Over the points whose index i has same[i] == i (points at one place must have been made one); xy: room for three
 * points more, which are written. All of it lives in the arena. Errors: PO_E_NOMEM. */
po_status po_delaunay_points(double *xy, uint32_t n_points, const uint32_t *same, double tolerance, po_arena *arena,
                             po_delaunay *ret, po_err *err) PO_MUST_USE;
/* Make the segment from a to b a chain of sides and add `times` to what they hold. Where it meets a point on its way it
 * is led over it, and a patch is noted. Errors: PO_E_RANGE (it crosses an edge held), PO_E_NOMEM. */
po_status po_delaunay_hold(po_delaunay *d, uint32_t a, uint32_t b, int32_t times, po_err *err) PO_MUST_USE;
/* Flip what may be flipped until it is as near to Delaunay as the edges held allow. Errors: PO_E_NOMEM. */
po_status po_delaunay_settle(po_delaunay *d, po_err *err) PO_MUST_USE;

#endif
