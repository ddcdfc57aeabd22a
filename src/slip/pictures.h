/* The pictures of a job's slip. SPDX-License-Identifier: Apache-2.0
 *
 * Each draws into a frame on the paper and nowhere else. Machine millimetres are scaled evenly in both directions. */
#ifndef PO_SLIP_PICTURES_H
#define PO_SLIP_PICTURES_H

#include "proveout/slip.h"
#include "slip/drawing.h"

/* A rectangle of the machine, mm. */
typedef struct po_window {
    double x0, y0, x1, y1;
} po_window;

/* The bed from above with keep-outs, home, and the first layer where it lies. */
void po_picture_bed(po_drawing *d, po_box2 box, const po_proof *proof);
/* The first layer close up: footholds, priming, parts by letter, flags, a scale. */
void po_picture_close(po_drawing *d, po_box2 box, const po_proof *proof);
/* From the front: height scale, flags at the worst heights, what it has cost by some heights. */
void po_picture_side(po_drawing *d, po_box2 box, const po_proof *proof);
/* Height that the side view needs in a box of that width, at most `most`. */
double po_side_height(const po_proof *proof, double width, double most);
/* Worst heights, at most `most` frames side by side. */
void po_picture_heights(po_drawing *d, po_box2 box, const po_proof *proof, size_t first, size_t most);
/* The run's time: getting ready, first layer and watch, rest, cooling; clock times where the start is known. */
void po_picture_time(po_drawing *d, po_box2 box, const po_proof *proof, const po_shop *shop);
/* The key to the areas that these pictures hold. Returns its height (0 = nothing to explain). */
double po_picture_key(po_drawing *d, double x, double y, double width_mm, const po_proof *proof);
/* Height of a row of frames of po_picture_heights for a given width. */
double po_heights_height(double width_mm, size_t frames);

/* A title at the upper left of a frame, and a note at its right where there is room for it (NULL = none). */
void po_draw_heading(po_drawing *d, po_box2 box, const char *title, const char *note);
/* A bar of a round number of mm, at most a third of the width; scale: mm of paper for one. */
void po_draw_scale(po_drawing *d, double x, double y, double scale, double width);
/* A numbered flag whose foot stands at x, y. Filled: stop; outlined: ask or note. lift: 0, 1, 2 ... longer poles. */
void po_draw_flag(po_drawing *d, double x, double y, size_t number, po_grade grade, int lift);
/* The mark of a verdict: a ring with a tick, a diamond with a question mark, a square with a bar. */
void po_draw_verdict(po_drawing *d, double x, double y, double size_mm, po_verdict verdict);
/* The mark of a grade, small: filled square, diamond, ring. */
void po_draw_grade(po_drawing *d, double x, double y, double size_mm, po_grade grade);
po_ink po_verdict_ink(po_verdict verdict);
po_ink po_grade_ink(po_grade grade);

/* A window of a layer in dots. NULL when memory is gone. outlined: with a dark line where material ends. */
const po_palette_image *po_layer_dots(po_arena *arena, const po_layer_image *layer, po_window window, int width,
                                      int height);
/* A side view in dots. */
const po_palette_image *po_side_dots(po_arena *arena, const po_side_image *side, po_window window, int width,
                                     int height);
/* A patch of one kind of area, for the key. */
const po_palette_image *po_patch_dots(po_arena *arena, uint8_t kind, int width, int height);
/* Where a layer's image is not empty, mm; false when it is. */
bool po_layer_extent(const po_layer_image *layer, bool with_beneath, po_window *ret);
/* What an area is called in the key. */
const char *po_area_name(uint8_t kind);

/* The squares of a code for a text (ISO/IEC 18004) in a square box. Errors: those of po_code_squares. */
po_status po_draw_squares(po_drawing *d, po_box2 box, const char *text, const char *title, po_err *err) PO_MUST_USE;
/* A drawing of its own with nothing but a slip's code, with its quiet edge. */
po_status po_draw_code(po_drawing *d, po_arena *arena, const char *code, po_err *err) PO_MUST_USE;

/* Bed, close-up and view from the front: side by side in a low frame, in two rows in a high one. */
void po_panels(po_drawing *d, po_box2 box, const po_proof *proof);
/* All pictures on one sheet, 200 mm wide. */
void po_sheet(po_drawing *d, po_arena *arena, const po_proof *proof, const po_shop *shop);

/* Dots a mm of paper in images: 0.12 mm, near what a desk printer shows. */
#define PO_DOTS_PER_MM 8.0

#endif
