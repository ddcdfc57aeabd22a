/* A mesh as it looks, in dots of few greys. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_PART_VIEW_H
#define PO_SLIP_PART_VIEW_H

#include "proveout/solid.h"
#include "slip/drawing.h"

typedef enum po_view_from {
    PO_VIEW_ABOVE, /* from the front right, a little above; parallel */
    PO_VIEW_BELOW, /* the same from beneath the bed */
    PO_VIEW_DOWN   /* straight down: x to the right, y up */
} po_view_from;

typedef struct po_view_setup {
    const po_mesh *mesh;
    const double *turn; /* nine, as po_pose.turn; NULL = as it lies */
    po_view_from from;
    int width, height;             /* most dots; the picture is as large as the part fills of it; 8 .. 2048 */
    double overhang_limit_deg;     /* from the vertical; NAN = overhangs are not marked */
    double on_bed_mm;              /* what faces down at most this far above the lowest point stands on the bed */
    const po_wall_sample *samples; /* dotted where a sheet is thinner than two beads; in coordinates of the mesh */
    size_t n_samples;
    double bead_mm;
} po_view_setup;

/* What textures stand for. */
typedef enum po_view_kind {
    PO_SURFACE_OVERHANG,
    PO_SURFACE_INSIDE, /* seen from the side where the material should be */
    PO_SURFACE_THIN,   /* below one bead */
    PO_SURFACE_SLIM,   /* below two */
    PO_SURFACE_COUNT
} po_view_kind;

typedef struct po_part_view {
    const po_palette_image *image; /* NULL: there is nothing to see */
    double rows[3][3];             /* of the mesh's coordinates: to the right, up, towards the eye */
    double left, top, dot_mm;      /* of the image's upper left corner, mm along the first two rows */
    const float *depth;            /* of each dot, mm along the third row; -INFINITY = nothing */
    double slack_mm;               /* a point this far behind the surface is still on it */
    double low[3], high[3];        /* bounds of the mesh after `turn` */
    bool seen[PO_SURFACE_COUNT];
} po_part_view;

/* A small rasteriser of our own: each triangle is filled row by row at the centres of dots, the nearest one stays
 * (z-buffer: Catmull, "A subdivision algorithm for computer display of curved surfaces", 1974); what stays is shaded by
 * its own normal in levels, with lines where the surface ends, jumps or bends. Everything returned lives in the arena.
 * Errors: PO_E_NOMEM, PO_E_RANGE (size of the picture; no triangle or coordinates beyond 1e30 give image == NULL). */
po_status po_part_view_make(const po_view_setup *setup, po_arena *arena, po_part_view *ret, po_err *err) PO_MUST_USE;

/* Where a point of the mesh lies on the image, in dots from its upper left corner (it may lie beyond). Returns whether
 * nothing hides it. */
bool po_part_view_point(const po_part_view *view, const double p[3], double *ret_x, double *ret_y);

/* A patch of a texture, for the key. NULL when memory is gone. */
const po_palette_image *po_surface_patch(po_arena *arena, po_view_kind kind, int width, int height);

/* The inside of loops (positive winding) as hatched dots with a dark edge: the window's lower left is x0, y0; dot_mm a
 * dot. NULL when memory is gone. */
const po_palette_image *po_section_dots(po_arena *arena, const po_loops *loops, double x0, double y0, double dot_mm,
                                        int width, int height);

#endif
