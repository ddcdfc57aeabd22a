/* Small rasters for comparing outlines. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_GEOMETRY_CANVAS_H
#define PO_GEOMETRY_CANVAS_H

#include "proveout/loops.h"

typedef struct po_canvas { /* a byte a pixel, 1 = material; owned */
    int width, height;
    double x0, y0, px_mm;
    uint8_t *px;
} po_canvas;

/* False when memory is gone or a side is not 1 .. 4096. */
bool po_canvas_init(po_canvas *c, int width, int height, double x0, double y0, double px_mm);
void po_canvas_done(po_canvas *c); /* accepts zeroed */

typedef struct po_placing { /* x' = scale * (turned (x or -x), y) + shift */
    double scale, turn_deg, shift[2];
    bool mirrored; /* x -> -x before the turn */
} po_placing;

/* Fill the pixels whose centre is inside the loops (positive winding), placed. The canvas is cleared first. False when
 * memory is gone. */
bool po_canvas_loops(po_canvas *c, const po_loops *loops, const po_placing *placing);
/* Fill what is enclosed (not reached from the border over empty pixels, 4 neighbours). */
bool po_canvas_close(po_canvas *c);
/* Grow (by > 0) or shrink by so many pixels, in squares. */
bool po_canvas_grow(po_canvas *c, int by);

#endif
