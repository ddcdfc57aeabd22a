/* A part to be looked at: its mesh for showing, its trouble spots, one way up in full. SPDX-License-Identifier: Apache-2.0
 * Units as in solid.h; everything returned lives in the arena given. Triangles are numbered as in po_solid.judged. */
#ifndef PROVEOUT_SHOW_H
#define PROVEOUT_SHOW_H

#include "proveout/solid.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- what is said of a triangle: bits, the gravest is the highest ---- */

enum {
    PO_SHOW_FOOTHOLD = 1, /* stands on the bed */
    PO_SHOW_CARRIED = 2,  /* beyond the overhang limit, but carries itself: a bridge, a narrow arch or ledge */
    PO_SHOW_SLIM = 4,     /* on a wall of one to two beads */
    PO_SHOW_OVERHANG = 8, /* beyond the limit, to be supported */
    PO_SHOW_THIN = 16,    /* on a wall of less than one bead */
    PO_SHOW_CUT = 32,     /* cuts another triangle (one of those listed in po_mesh_self_cuts.first) */
    PO_SHOW_CROWDED = 64, /* at an edge of more than two triangles */
    PO_SHOW_OPEN = 128    /* at an edge of one triangle */
};

/* A byte for each triangle of solid->judged. turn NULL = as it lies. ret_pose (may be NULL): the way up, measured; where it
 * is not to be had (solid->lies_done is false) the bits of a way up are left out and ret_pose stays as it is.
 * Walls: a triangle counts where samples stand for half of its area, or, one smaller than a sample's area, where one lies
 * beside it on the same face. Errors: as po_pose_measure. */
PO_API po_status po_show_classes(const po_solid *solid, const double *turn, const po_pose_setup *setup, int threads,
                                 po_arena *arena, const uint8_t **ret_classes, po_pose *ret_pose,
                                 po_err *err) PO_MUST_USE;

/* ---- trouble spots ---- */

typedef struct po_spot { /* one place, as a person would point at it */
    const char *finding; /* name of the finding that speaks of such places */
    double at[3];        /* on the part, part coordinates */
    double normal[3];    /* outwards, of length 1; zeros = none */
    double size_mm;      /* across the bounds of the place */
    double mm2, mm;      /* its area; its measure: the thinnest wall, the length of open edges, a gap; NAN = none */
    uint32_t triangle;   /* one of it; UINT32_MAX = none */
} po_spot;

typedef struct po_spots {
    const po_spot
        *spots;   /* worst first: by kind (open edges, crowded ones, cuts, bodies in the air, thin walls, overhangs,
                             gaps, slim walls), then by size */
    size_t n;     /* at most 12 of a kind */
    size_t n_all; /* with those left out */
} po_spots;

/* Overhangs smaller than least_overhang_mm2 are left out. Errors: PO_E_NOMEM. */
PO_API po_status po_show_spots(const po_solid *solid, const uint8_t *classes, double least_overhang_mm2,
                               po_arena *arena, po_spots *ret, po_err *err) PO_MUST_USE;

/* ---- the mesh for showing ---- */

typedef struct po_shown {
    const float *xyz; /* from origin */
    size_t n_vertices;
    const uint32_t *corners, *from; /* from: the triangle of solid->judged that each one is, or stands for */
    const uint8_t *classes;
    size_t n_triangles, n_whole; /* n_whole: triangles of the part */
    double origin[3];
    double cell_mm; /* corners nearer than this may be one; 0 = all triangles are there as they are */
    bool kept_all;  /* every triangle with a bit in `keep` is there as it is */
} po_shown;

/* The mesh as it is up to most_triangles (0 = 300,000). Above, corners in one cell of a grid become one (vertex clustering:
 * J. Rossignac, P. Borrel, "Multi-resolution 3D approximations for rendering complex scenes", 1993), the grid as fine as
 * the number allows; corners of triangles with a class in PO_SHOW_OVERHANG and above stay where they are, all of them
 * unless they are more than most_triangles themselves (then the gravest kinds that are not). Triangles without three
 * different corners are left out. Errors: PO_E_NOMEM. */
PO_API po_status po_show_mesh(const po_mesh *mesh, const uint8_t *classes, size_t most_triangles, po_arena *arena,
                              po_shown *ret, po_err *err) PO_MUST_USE;

/* As bytes, little-endian: "PVM1"; u32 vertices, triangles, triangles of the part, 2 or 4 (bytes of an index), points;
 * f32 cell_mm; u32 flags (1: kept_all); f64 origin[3]; then f32 xyz[3] a vertex; u32 from a triangle; of each point (a sample
 * of a thin or slim wall) f32 x, y, z, thickness; indices, three a triangle; a byte of classes a triangle. */
PO_API po_status po_show_bytes(const po_shown *shown, const po_wall_sample *samples, size_t n_samples, po_arena *arena,
                               const unsigned char **ret, size_t *ret_n, po_err *err) PO_MUST_USE;

/* ---- faces and turns ---- */

typedef struct po_flat_face {
    uint32_t triangle; /* its largest */
    double mm2, at[3], normal[3];
    bool outermost; /* the whole part lies on one side of it: it can stand on it */
} po_flat_face;

/* The flat face that a triangle belongs to: neighbours whose corners lie within 0.02 mm of its plane and that face within
 * 1 degree of it. Errors: PO_E_RANGE (no such triangle, or one without area), PO_E_NOMEM. */
PO_API po_status po_mesh_flat_face(const po_mesh *mesh, uint32_t triangle, po_arena *arena, po_flat_face *ret,
                                   po_err *err) PO_MUST_USE;
/* The largest outermost ones, at most `most`, largest first. */
PO_API po_status po_mesh_flat_faces(const po_mesh *mesh, size_t most, po_arena *arena, const po_flat_face **ret,
                                    size_t *ret_n, po_err *err) PO_MUST_USE;

/* The turn `from` (NULL = as it lies), then by degrees about the bed's x, then y, then z, counter-clockwise as seen from the
 * end of the axis; made orthogonal again, and whole where it is a turn by right angles. */
PO_API void po_turn_by(const double *from, const double degrees[3], double ret[9]);
/* The turn that lays a direction of the part downwards: po_pose_turn of its opposite. */
PO_API void po_turn_down(const double direction[3], double ret[9]);
/* Whether nine numbers are a turn: rows at right angles, of length 1, not mirrored; to 1e-6. */
PO_API bool po_is_turn(const double turn[9]);

/* ---- one way up in full ---- */

typedef struct po_posed {
    po_pose pose; /* why is set */
    const uint8_t *classes;
    const po_fit *fits;           /* one for each machine of the shop, as turned; pose -1 */
    const po_estimate *estimates; /* one for each recipe of the shop, of one piece; NULL: see why_no_estimate */
    size_t judged;                /* index, as po_part_report.judged_estimate */
    const char *why_no_estimate;
} po_posed;

/* estimates: all recipes (a sentence says why not where there can be none). recipe of the report: the only one where it was
 * asked for. Errors: as po_pose_measure and po_part_estimate. */
PO_API po_status po_solid_posed(const po_part_report *report, size_t solid, const double turn[9], bool estimates,
                                const po_part_options *options, po_arena *arena, po_posed *ret,
                                po_err *err) PO_MUST_USE;

/* Scales of one piece, turned: at which its filament by a recipe meets most_mm (NAN: not to be had; above 1: room is left, at
 * most 10), and the largest that a machine has room for. Errors: as po_part_scale_for, po_part_fit. */
PO_API po_status po_solid_scales(const po_part_report *report, size_t solid, const double turn[9],
                                 const po_recipe *recipe, double most_mm, const po_part_options *options,
                                 po_arena *arena, double *ret_allowance, double *ret_machine, po_err *err) PO_MUST_USE;

/* The solid as 3MF, turned, scaled, standing on z = 0 at x = y = 0, as many times as the part has it, in a row; mended: what
 * po_mesh_mend makes of it, and its sentences. Bytes in the arena. Errors: as po_mesh_mend, po_3mf_write. */
PO_API po_status po_solid_write(const po_part_report *report, size_t solid, const double turn[9], double scale,
                                bool mended, po_arena *arena, const unsigned char **ret_bytes, size_t *ret_n,
                                po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
