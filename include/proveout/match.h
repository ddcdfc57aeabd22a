/* Is what a job lays this shape: at what scale, turned how, mirrored? SPDX-License-Identifier: Apache-2.0
 * Lengths in mm, angles in degrees. Works on outlines alone: heights as they were laid on one side, sections of a solid on
 * the other. */
#ifndef PROVEOUT_MATCH_H
#define PROVEOUT_MATCH_H

#include "proveout/loops.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef struct
    po_match_layer { /* one height: material where px is not 0; pixel (0, 0) has its lower left corner at x0, y0 */
    double z;        /* of its top */
    double x0, y0, px_mm;
    int width, height;
    const uint8_t *px;
} po_match_layer;

/* What stands apart on the bed: layers cut out around one piece of material, as seen from above. */
typedef struct po_match_object {
    double bounds_mm[2][3];
    const po_match_layer *layers; /* rising, one a height, all on one grid */
    size_t n_layers;
    double px_mm;
} po_match_object;

/* Find them. Pieces are told apart above the two lowest heights (brims join what is apart); layers of one height are put
 * together. least_mm2: smaller ones (seen from above) are left out. Errors: PO_E_NOMEM, PO_E_RANGE. */
PO_API po_status po_match_objects(const po_match_layer *layers, size_t n_layers, double least_mm2, po_arena *arena,
                                  const po_match_object **ret, size_t *ret_n, po_err *err) PO_MUST_USE;

typedef struct po_match_shape {
    size_t n_poses;           /* ways up, likely ones first */
    const double *heights_mm; /* of each */
    /* Sections of a pose at n heights above its lowest point, in its own x and y. */
    po_status (*sections)(void *user, size_t pose, const double *z, size_t n, po_arena *arena, po_loops *ret,
                          po_err *err);
    void *user;
} po_match_shape;

typedef struct po_match {
    bool found; /* covered and spilled are as those of the shape itself */
    size_t pose;
    double scale;    /* 1 where that fits */
    double turn_deg; /* about the vertical, (-180, 180] */
    bool mirrored;
    double shift_mm[2];
    double covered;    /* 0..1: share of the shape's outline that the job lays */
    double spilled;    /* 0..1: share of what the job lays that lies outside (supports count) */
    bool holes_filled; /* in most heights that have holes the job lays material in one of them */
    double worst_z;    /* height with the least covered */
    double worst_covered;
    double missing_from_mm; /* height at which the object ends although the shape goes on; NAN: it is whole */
} po_match;

/* Match one object with one shape. layer_mm: usual layer height of the job. like: a match of an alike object, tried first;
 * NULL = none. Errors: those of sections, PO_E_NOMEM. */
PO_API po_status po_match_find(const po_match_object *object, const po_match_shape *shape, double layer_mm,
                               const po_match *like, po_match *ret, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
