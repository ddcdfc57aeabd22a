/* Mending a mesh, cutting it into pieces, writing 3MF. SPDX-License-Identifier: Apache-2.0
 * Units as in solid.h; everything returned lives in the arena given. The input is never changed. */
#ifndef PROVEOUT_PIECES_H
#define PROVEOUT_PIECES_H

#include "proveout/solid.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- mend ---- */

typedef struct po_mend {
    const po_mesh *mesh;
    double weld_mm; /* the tolerance used; 0 = none was needed */
    uint64_t welded_vertices, flat_dropped, doubled_dropped, triangles_turned, shells_turned, holes_filled,
        triangles_added;
    po_mesh_facts before, after;
    const char *const *says; /* what was done, a sentence each */
    size_t n_says;
    const char *const *left; /* what a person must mend in the drawing; none: n_left 0 */
    size_t n_left;
} po_mend;

/* weld_mm: NAN = 1e-5 of the diagonal. Welds, drops flat and doubled triangles, turns pieces the right way round, fills
 * simple holes (a loop of open edges that is nearly flat or short against the part). */
PO_API po_status po_mesh_mend(const po_mesh *mesh, double weld_mm, int threads, po_arena *arena, po_mend *ret,
                              po_err *err) PO_MUST_USE;

/* ---- cut and pieces ---- */

typedef struct po_plane { /* x*n[0] + y*n[1] + z*n[2] = d, n of length 1 */
    double n[3], d;
} po_plane;

typedef struct po_cut {
    po_plane plane;
    double area_mm2;    /* of the joint */
    double least_mm;    /* thinnest place of the joint: twice the largest inset at which it stays whole */
    size_t loops, pins; /* loops of the section; pins planned */
    uint32_t
        pieces[2]; /* numbers of what it parted, below and above the plane (as cut; later cuts may part them again) */
    po_loops section; /* in the plane's own coordinates, for pictures */
    double frame[12]; /* section coordinates (x, y, 0) to part coordinates, as po_part_item.matrix */
} po_cut;

/* Both halves of a closed mesh, closed again by the triangulated section (the same triangles on both, so that volumes add
 * up). A half without triangles has n_triangles 0. Errors: PO_E_RANGE (mesh not closed: mend it first), PO_E_NOMEM. */
PO_API po_status po_mesh_cut(const po_mesh *mesh, const po_plane *plane, po_arena *arena, po_mesh *ret_below,
                             po_mesh *ret_above, po_cut *ret_cut, po_err *err) PO_MUST_USE;

/* The bodies of a mesh that do not touch: hollows stay with what holds them, shells that overlap are one. A mesh of more than
 * 64 shells stays one. Errors: PO_E_NOMEM. */
PO_API po_status po_mesh_bodies(const po_mesh *mesh, po_arena *arena, const po_mesh **ret_meshes, size_t *ret_n,
                                po_err *err) PO_MUST_USE;

typedef struct po_piece {
    uint32_t number;     /* as marked in the picture, from 1 */
    const po_mesh *mesh; /* in part coordinates, with its pin holes */
    po_pose pose;        /* how to lay it on the bed */
    double matrix[12];   /* part coordinates to the bed: turned, standing on z = 0, its bounds centred at x = y = 0 */
    double volume_mm3;   /* pin holes taken off */
    po_fit fit;          /* as it is laid by the matrix: as_is */
} po_piece;

typedef struct po_pin {                                    /* a loose pin between two pieces, to be printed apart */
    const po_mesh *mesh;                                   /* standing on z = 0 about the origin */
    double diameter_mm, length_mm, hole_mm, hole_depth_mm; /* hole: in each half */
    uint32_t cut;                                          /* index into cuts */
    uint32_t pieces[2]; /* numbers of the pieces that it joins, below and above the plane */
    double at[3];       /* its middle, part coordinates */
} po_pin;

typedef struct po_pieces {
    const po_piece *pieces;
    size_t n_pieces;
    const po_pin *pins; /* NULL unless asked for */
    size_t n_pins;
    const po_cut *cuts;
    size_t n_cuts;
    double volume_mm3, volume_error; /* sum of the pieces (pins aside) and its relative error against the whole */
    const char *const *says;         /* what to know: glue area, pins, thin joints */
    size_t n_says;
} po_pieces;

typedef struct po_pieces_setup {
    const po_machine *machine;
    po_pose_setup pose;
    double clearance_mm;   /* at the bed's edge */
    bool pins;             /* round alignment pins: loose, printed apart, holes in both halves */
    double pin_mm;         /* diameter; NAN = by the joint */
    double pin_slack_mm;   /* hole wider than the pin by this, diameter; NAN = 0.3 */
    double least_joint_mm; /* joints nowhere thinner than this; NAN = 3 beads */
    size_t most_pieces;    /* 0 = 64 */
    int threads;
    bool (*progress)(uint64_t done, uint64_t total, void *user); /* false cancels: PO_E_CANCELLED */
    void *user;
} po_pieces_setup;

/* Plan plane cuts so that every piece fits the machine. Errors: PO_E_LIMIT (more pieces than allowed), PO_E_RANGE (not a
 * closed solid: mend it first), PO_E_NOTFOUND (no cut is sturdy enough), PO_E_CANCELLED, PO_E_NOMEM. */
PO_API po_status po_part_pieces(const po_mesh *mesh, const po_pieces_setup *setup, po_arena *arena, po_pieces *ret,
                                po_err *err) PO_MUST_USE;

/* ---- 3MF out ---- */

typedef struct po_3mf_item {
    const po_mesh *mesh;
    const char *name;     /* NULL = none */
    const double *matrix; /* 12 values; NULL = as it is */
} po_3mf_item;

/* A 3MF document (ISO/IEC 25422 core, millimetres), one object and build item each; coordinates read back to the bit
 * (shortest decimals). Deterministic. Bytes live in the arena. Errors: PO_E_RANGE, PO_E_LIMIT (zip64 is not written:
 * 4 GB), PO_E_NOMEM. */
PO_API po_status po_3mf_write(const po_3mf_item *items, size_t n_items, const char *title, po_arena *arena,
                              const unsigned char **ret_bytes, size_t *ret_n, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
