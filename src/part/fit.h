/* Outlines of parts and room on beds. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_FIT_H
#define PO_PART_FIT_H

#include <stdbool.h>

#include "geometry/hull.h"
#include "proveout/shop.h"
#include "proveout/solid.h"

/* Where a part may lie: the bed less clearance, within reach of the nozzle. */
typedef struct po_room {
    bool round;
    double low[2], high[2];   /* rectangle; of a round bed: the square around it */
    double centre[2], radius; /* of a round one */
    double height;
    po_keep_out *blocks; /* that lie on it, and strips out of reach of a round bed; malloc, po_room_done */
    size_t n_blocks;
} po_room;

po_status po_room_init(po_room *room, const po_machine *machine, double clearance_mm, po_err *err) PO_MUST_USE;
void po_room_done(po_room *room);

/* What of a part is seen from above, in one pose. Zero it before the first use. */
typedef struct po_outline {
    po_xy *hull; /* counter-clockwise */
    size_t n;
    double size[3]; /* bounds */
    po_xy middle;   /* and radius of the smallest circle around the hull */
    double radius;
    po_xy **below; /* for each block of the room the hull of what is below its height; may be `hull` itself */
    size_t *n_below, n_blocks;
    po_xy *shifts; /* kept from one question to the next: that hold it on a round bed, unturned, at shifts_scale */
    size_t n_shifts;
    double shifts_scale;
} po_outline;

/* used: of each vertex, whether a triangle has it. turn NULL = as it lies. Errors: PO_E_NOMEM. */
po_status po_outline_find(const po_mesh *mesh, const unsigned char *used, const double *turn, const po_room *room,
                          po_outline *ret, po_err *err) PO_MUST_USE;
void po_outline_done(po_outline *outline);

/* Centre and radius of the smallest circle around n points (n > 0; their order is changed). */
po_xy po_circle_around(po_xy *points, size_t n, double *ret_radius);

/* A point of the convex polygon `in` that is inside none of the n_out convex polygons (touching is allowed): the one
 * nearest to target among those that matter. Polygons counter-clockwise from their leftmost, then lowest corner. */
typedef struct po_convex {
    po_xy *at;
    size_t n;
} po_convex;
bool po_free_point(const po_convex *in, const po_convex *out, size_t n_out, po_xy target, po_xy *ret, bool *ret_memory);

/* Put the outline, scaled and turned about its origin, into the room. ret: where its origin goes. */
bool po_room_place(const po_room *room, po_outline *outline, double turn_rad, double scale, po_xy *ret,
                   bool *ret_memory);
/* The least turn that fits, in degrees; NAN = none. */
double po_room_turn(const po_room *room, po_outline *outline, double scale, po_xy *ret, bool *ret_memory);
/* The largest scale that fits at some turn. fits_turn_deg: one at which it fits as it is; NAN = none. */
double po_room_scale(const po_room *room, po_outline *outline, double fits_turn_deg, bool *ret_memory);

#endif
