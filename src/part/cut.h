/* A mesh cut by a plane, for those who plan many cuts. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_CUT_H
#define PO_PART_CUT_H

#include "proveout/pieces.h"

enum { PO_PIN_SIDES = 48 }; /* of a pin and its hole */

typedef struct po_pin_hole { /* round, with its axis along the plane's normal */
    double at[2];            /* in the plane's frame */
    double radius;           /* of the circle within the polygon that is cut */
    double depth[2];         /* below and above the plane */
} po_pin_hole;

/* Section coordinates (x, y, 0) to part coordinates, as po_part_item.matrix; x and y lie along the part's own axes where
 * the normal does. */
void po_plane_frame(const po_plane *plane, double ret[12]);

/* Signed distances of vertices from the plane count as none up to this. */
double po_cut_tolerance(const po_mesh *mesh);

/* As po_mesh_cut, but that the mesh is closed is only looked at where it is cut, least_mm is NAN, and holes for pins may
 * be made in both halves. They must lie well inside the section and the halves. Errors: PO_E_RANGE, PO_E_LIMIT,
 * PO_E_NOMEM. */
po_status po_cut_mesh(const po_mesh *mesh, const po_plane *plane, const po_pin_hole *pins, size_t n_pins,
                      po_arena *arena, po_mesh *ret_below, po_mesh *ret_above, po_cut *ret_cut,
                      po_err *err) PO_MUST_USE;

/* Twice the largest inset at which every region of the section stays whole, found up to `most` (mm; less is measured to
 * 0.4 %, downwards); 0 for no section. Errors: as po_loops_offset. */
po_status po_section_least(const po_loops *section, double most, double *ret_mm, po_err *err) PO_MUST_USE;

/* ---- parts of po_cut_mesh ---- */

typedef struct po_on_edge { /* an edge of the outline in the plane, the material of the section on its left */
    uint32_t from, to;      /* points of the plane */
    uint32_t shell;         /* any vertex's number that stands for its shell */
} po_on_edge;

typedef struct po_on_points { /* points in the plane */
    double *xyz;              /* as they are in space */
    double *uv;               /* in the frame */
    size_t n, cap;
} po_on_points;

typedef struct po_caps {
    uint32_t *corners; /* of points of the plane, counter-clockwise seen from above; in the arena `own` */
    size_t n_triangles;
    uint32_t *same; /* for each point: the one that it is merged into */
    double area;
    po_loops section;
} po_caps;

/* Triangles for the section's outline, circles of pins cut out (their points are added to `on`, those of pin i from
 * ret_pins[i] on). inward[shell]: the shell is a hollow's. tolerance as po_triangulate. */
po_status po_cut_caps(po_on_points *on, const po_on_edge *edges, size_t n_edges, const bool *inward,
                      const po_pin_hole *pins, size_t n_pins, uint32_t *ret_pins, double tolerance, po_arena *own,
                      po_arena *arena, po_caps *ret, po_err *err) PO_MUST_USE;

#endif
