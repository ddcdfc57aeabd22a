/* Planning of cuts. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_PIECES_PLAN_H
#define PO_PART_PIECES_PLAN_H

#include "part/cut.h"

/* ---- room, by boxes (pieces_room.c) ---- */

enum { PO_FREE_MOST = 16 };
typedef struct po_bed_room {            /* what a machine holds */
    double x, y, z;                     /* x, y: sides of the bed, or its diameter */
    bool round;                         /* keep-outs of round beds are left to po_part_fit */
    double free_sides[PO_FREE_MOST][2]; /* of the largest rectangles of the bed that no keep-out touches */
    size_t n_free;
} po_bed_room;

po_bed_room po_bed_room_of(const po_machine *machine, double clearance_mm);
/* Some way up, turned about the vertical as need be. */
bool po_box_fits(const po_bed_room *room, const double size[3]);
/* The fewest equal parts that such a grid cuts a box into so that each fits; counts along the sides may be NULL.
 * 0: more than 512. */
unsigned po_box_pieces(const po_bed_room *room, const double size[3], unsigned ret_counts[3]);
/* The longest side along axis i with which the box fits; 0: none. */
double po_box_longest(const po_bed_room *room, const double size[3], int axis);

typedef struct po_axes { /* three directions at right angles, of length 1 */
    double of[3][3];
} po_axes;
enum { PO_AXES_MOST = 3 };
/* The part's own axes, then those of its large faces and of its mass where they differ. */
size_t po_axes_find(const po_mesh *mesh, po_axes ret[PO_AXES_MOST]);
/* Extents along them. */
void po_axes_bounds(const po_axes *axes, const po_mesh *mesh, double low[3], double high[3]);

/* The signed volume of a closed mesh, by tetrahedra from its first corner. */
double po_plain_volume(const po_mesh *mesh);

/* ---- the plan (pieces_plan.c) ---- */

typedef struct po_split po_split;

typedef struct po_shard { /* a solid on the way */
    const po_mesh *mesh;
    const po_split *from; /* the cut that made it; NULL: the part's own */
    int side;             /* 0 below it, 1 above */
    double volume;
    size_t number;   /* in the order in which solids were made */
    unsigned pieces; /* how many it will take, by boxes; 1: it fits */
} po_shard;

struct po_split {
    const po_shard *of;
    po_cut cut;
    const po_shard *const *parts[2]; /* below and above */
    size_t n_parts[2];
    double cost; /* of the joint, for choosing: lower is better */
};

typedef struct po_plan {
    const po_shard *const *shards; /* all of them fit */
    size_t n_shards;
    const po_split *const *splits; /* each before those of its parts */
    size_t n_splits;
} po_plan;

typedef struct po_planning { /* a setup with its defaults filled in */
    const po_pieces_setup *setup;
    po_bed_room room;
    po_axes axes[PO_AXES_MOST]; /* of the whole part */
    size_t n_axes;
    double least_joint;
    size_t most_pieces;
} po_planning;

/* One of the poses that cuts are planned by: an axis of the part up or down. Room for 6 * PO_AXES_MOST. */
size_t po_plain_poses(const po_planning *p, po_pose *ret);
/* Does it fit in one of them? */
po_status po_fits_plainly(const po_planning *p, const po_mesh *mesh, bool *ret_fits, po_err *err) PO_MUST_USE;

/* Errors: as po_part_pieces. */
po_status po_plan_cuts(const po_mesh *mesh, const po_planning *p, po_arena *arena, po_plan *ret,
                       po_err *err) PO_MUST_USE;

/* A plane to cut a shard by. */
typedef struct po_cut_plane {
    po_plane plane;
    unsigned pieces; /* what both sides will take, by boxes */
    double cost;     /* of the joint */
} po_cut_plane;
enum { PO_CUT_PLANES_MOST = 8 };
/* The best planes, best first (pieces_planes.c). Errors: PO_E_NOMEM and those of sections and offsets. */
po_status po_planes_find(const po_planning *p, const po_shard *shard, size_t most, po_cut_plane *ret, size_t *ret_n,
                         po_err *err) PO_MUST_USE;

/* ---- pins (pins.c) ---- */

typedef struct po_pin_plan { /* of one cut */
    po_pin_hole holes[64];
    const po_shard *joins[64][2]; /* the solids that each pin joins in the end */
    size_t n;
    double pin_mm, length_mm; /* of each pin */
} po_pin_plan;

/* Where pins go in each cut: one or two for each pair of pieces that meet there, well inside, nowhere near another cut.
 * ret: room for plan->n_splits. Errors: PO_E_NOMEM and those of offsets. */
po_status po_pins_plan(const po_mesh *whole, const po_planning *p, const po_plan *plan, po_pin_plan *ret,
                       po_err *err) PO_MUST_USE;
/* A loose pin, standing on z = 0 about the origin. In the arena; NULL: no memory. */
const po_mesh *po_pin_mesh(double diameter, double length, po_arena *arena);

#endif
