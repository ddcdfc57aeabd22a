/* Closed outlines in a plane: areas, clipping, offsets. SPDX-License-Identifier: Apache-2.0
 * Lengths in mm, areas in mm2. Coordinates within 1e6 mm; results are exact to 1e-6 mm. */
#ifndef PROVEOUT_LOOPS_H
#define PROVEOUT_LOOPS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Loops of straight edges; the last point of each is joined to its first. Material lies on the left: outer loops run
 * counter-clockwise, holes clockwise. Raw loops (sections of overlapping shells) may overlap and cross themselves: a
 * point is then inside where the winding number is positive. Plain data; whoever made it owns the arrays. */
typedef struct po_loops {
    const double *xy; /* 2 * n_points */
    size_t n_points;
    const uint32_t *ends; /* loop i holds points [i ? ends[i - 1] : 0, ends[i]) */
    size_t n_loops;
} po_loops;

/* Sum of signed areas; holes count against. */
PO_API double po_loops_area(const po_loops *loops);
/* Length of all edges. */
PO_API double po_loops_length(const po_loops *loops);
/* Bounds as {min x, min y, max x, max y}; false when there is no point. */
PO_API bool po_loops_bounds(const po_loops *loops, double ret[4]);
/* Winding number of a point; on an edge either side's. */
PO_API int po_loops_winding(const po_loops *loops, double x, double y);

typedef enum po_clip {
    PO_CLIP_UNION,
    PO_CLIP_COMMON, /* in both */
    PO_CLIP_LESS    /* in a and not in b */
} po_clip;

/* Both are taken by positive winding; b may be NULL (nothing): union with NULL makes raw loops clean. The result's loops
 * are simple, do not cross, outer ones counter-clockwise and holes clockwise; slivers below 1e-6 mm wide may go.
 * Everything lives in the arena. Errors: PO_E_RANGE (a coordinate not finite or beyond 1e6), PO_E_NOMEM, PO_E_LIMIT (more
 * than 2^23 points or places where loops touch or cross, 2^33 pairs of edges near each other, 8 GiB of scratch). */
PO_API po_status po_loops_clip(const po_loops *a, const po_loops *b, po_clip how, po_arena *arena, po_loops *ret,
                               po_err *err) PO_MUST_USE;

/* All points within by_mm of the inside (by_mm > 0, round corners), or those at least -by_mm from the outside
 * (by_mm < 0). Arcs are cut into chords at most arc_error_mm off the arc (chords end on it). The input as for clip.
 * Errors as above; PO_E_RANGE also for by_mm or arc_error_mm that are no sensible numbers. */
PO_API po_status po_loops_offset(const po_loops *loops, double by_mm, double arc_error_mm, po_arena *arena,
                                 po_loops *ret, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
