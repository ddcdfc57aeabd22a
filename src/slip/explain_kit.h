/* Pieces that the drawings of `proveout explain` are made of. SPDX-License-Identifier: Apache-2.0
 *
 * A drawing has two halves: on the left what the finding means, on the right what helps. */
#ifndef PO_SLIP_EXPLAIN_KIT_H
#define PO_SLIP_EXPLAIN_KIT_H

#include "slip/pictures.h"

#define EX_W 132.0
#define EX_H 62.0
#define EX_BED 45.0 /* y of the bed */
#define EX_LEFT 4.0 /* first x of each half */
#define EX_RIGHT 69.0
#define EX_HALF 59.0 /* width of a half */

typedef void po_explain_fn(po_drawing *d);
typedef struct po_explain {
    const char *finding;
    const char *left, *right; /* captions */
    po_explain_fn *paint;
} po_explain;

/* The tables; *ret_n entries. */
const po_explain *po_explain_room(size_t *ret_n);
const po_explain *po_explain_beads(size_t *ret_n);
const po_explain *po_explain_desk(size_t *ret_n);
const po_explain *po_explain_mesh(size_t *ret_n);
const po_explain *po_explain_part(size_t *ret_n);

/* Bed in section from x0 to x1, its top at y. */
void po_ex_bed(po_drawing *d, double x0, double x1, double y);
/* A bead in section: centre of its underside, width, height. strong: the one that is meant. */
void po_ex_bead(po_drawing *d, double x, double y_under, double w, double h, bool strong);
/* n beads on top of each other from y_under upwards, each `lean` further to the right. Returns the top's y. */
double po_ex_stack(po_drawing *d, double x, double y_under, int n, double w, double h, double lean);
/* A wall of n beads side by side, centred on x. */
void po_ex_row(po_drawing *d, double x, double y_under, int n, double w, double h);
/* Nozzle with its tip at x, y. */
void po_ex_nozzle(po_drawing *d, double x, double y, double size);
/* A part in section: outline with hatching (convex). */
void po_ex_solid(po_drawing *d, const double *xy, size_t n_points);
void po_ex_box(po_drawing *d, double x, double y, double w, double h);
/* A length between two points of one height, with arrows and a text above. */
void po_ex_length(po_drawing *d, double x0, double x1, double y, const char *text);
/* The same upright, text to the right. */
void po_ex_height(po_drawing *d, double x, double y0, double y1, const char *text);
/* A bed from above. */
po_box2 po_ex_bed_above(po_drawing *d, double x);
void po_ex_note(po_drawing *d, double x, double y, const char *text);

#endif
