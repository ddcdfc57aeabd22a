/* A bed from above on paper, and such a picture as a document. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_BED_VIEW_H
#define PO_SLIP_BED_VIEW_H

#include "proveout/slip.h"
#include "slip/drawing.h"

typedef struct po_bed_view { /* bed to paper, mm: the front below */
    double x, y, scale, low_x, high_y;
} po_bed_view;

static inline double po_bed_x(const po_bed_view *v, double x)
{
    return v->x + v->scale * (x - v->low_x);
}

static inline double po_bed_y(const po_bed_view *v, double y)
{
    return v->y + v->scale * (v->high_y - y);
}

/* The drawing as SVG by itself, PNG or PDF. Errors: those of slip/render.h */
po_status po_bed_document(const po_drawing *d, po_picture_kind kind, const char *title, po_arena *arena,
                          po_document *ret, po_err *err) PO_MUST_USE;

#endif
