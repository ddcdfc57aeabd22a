/* A part as it lies in one way up, with its trouble spots numbered. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_SPOTS_PICTURE_H
#define PO_SLIP_SPOTS_PICTURE_H

#include "proveout/show.h"
#include "proveout/slip.h"

typedef struct po_spots_picture {
    const po_solid *solid;
    const double *turn; /* nine; NULL = as it lies */
    const po_spot *spots;
    size_t n_spots; /* numbered from 1 in their order; those that are hidden are ringed with a dash */
    bool below;     /* seen from beneath the bed */
    bool small;     /* a thumbnail: the part alone */
    double overhang_limit_deg, first_layer_mm, bead_mm;
    const char *title, *description; /* alternative text */
} po_spots_picture;

/* SVG that stands alone, for light and dark. A part of which nothing is to be seen gives an empty picture. */
po_status po_spots_svg(const po_spots_picture *p, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;

#endif
