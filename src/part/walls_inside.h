/* What the walls files share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_WALLS_INSIDE_H
#define PO_PART_WALLS_INSIDE_H

#include "part/rays.h"
#include "part/walls_surface.h"

/* A mesh whose walls are measured. */
typedef struct po_walls {
    const po_mesh *mesh;
    const po_rays *rays;
    const uint8_t *turned; /* one a triangle: its normal points inwards; NULL = none does */
    double bead;
    double slack;   /* distances below are nothing */
    double contact; /* bodies nearer than this touch; never less than slack */
} po_walls;

/* Where a line meets a wall or the far side of a gap. */
typedef struct po_far_side {
    double mm;        /* INFINITY: nowhere within reach */
    double normal[3]; /* of the surface there, outwards */
} po_far_side;

/* Which triangles run the wrong way round: ret_turned[t] is set for those; *ret_any tells whether any is. A shell does
 * where the sign of its volume does not suit its place: as a whole the mesh has a positive volume, and a shell with a
 * negative one is a cavity where it lies inside others, else it is inside out. Errors: PO_E_NOMEM. */
po_status po_walls_find_turned(const po_mesh *mesh, const po_rays *rays, po_pool *pool, uint8_t *ret_turned,
                               bool *ret_any, po_err *err) PO_MUST_USE;

/* The triangle's normal, outwards. */
void po_walls_normal(const po_walls *walls, uint32_t triangle, double ret_normal[3]);

/* Distance along a direction from a point to the plane of a triangle, in double precision. */
double po_walls_distance(const po_walls *walls, const double at[3], const double along[3], uint32_t triangle,
                         double ret_normal[3]);

/* From a point of the surface along its inward normal to where the material ends, bodies that overlap or touch taken as
 * one; INFINITY where that is not within far. */
po_far_side po_walls_thickness(const po_walls *walls, const double at[3], const double normal[3], double far);

/* Whether there is air outside a point of the surface (it is not buried in another body nor in contact with one), and
 * the first surface that its outward normal meets within far. */
bool po_walls_outside(const po_walls *walls, const double at[3], const double normal[3], double far,
                      po_far_side *ret_air);

/* Whether point and far side are a wall (air: a gap) and not the two sides of an edge, tip or groove. */
bool po_walls_is_sheet(const po_walls *walls, const double at[3], const double normal[3], const po_far_side *side,
                       bool air);

#endif
