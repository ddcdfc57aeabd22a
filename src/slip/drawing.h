/* One list of marks on paper, drawn alike as SVG, PDF and PNG. SPDX-License-Identifier: Apache-2.0
 *
 * Units are millimetres on paper, x to the right, y down, origin at the top left. Colours are named by what they are
 * for (inks), so that a page can be light, dark or printed grey. Nothing depends on colour alone: areas carry hatching,
 * flags carry numbers. Builders never fail on their own: a failed allocation is remembered in `failed` and reported by
 * the renderer. Texts and points are copied into the drawing's arena. */
#ifndef PO_SLIP_DRAWING_H
#define PO_SLIP_DRAWING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"

typedef enum po_ink {
    PO_INK_NONE,  /* not drawn */
    PO_INK_LINE,  /* the darkest: outlines, text */
    PO_INK_SOFT,  /* secondary text, thin rules */
    PO_INK_FAINT, /* grids, hatching behind other things */
    PO_INK_WASH,  /* a light area */
    PO_INK_PAPER,
    PO_INK_YES,
    PO_INK_ASK,
    PO_INK_STOP,
    PO_INK_COUNT
} po_ink;

/* 0xRRGGBB of an ink on light paper. */
uint32_t po_ink_rgb(po_ink ink);

typedef enum po_anchor { PO_ANCHOR_START, PO_ANCHOR_MIDDLE, PO_ANCHOR_END } po_anchor;

typedef struct po_palette_image { /* rows from the top down */
    int width, height;
    const uint8_t *px;    /* index into rgba, row after row */
    const uint32_t *rgba; /* 0xRRGGBBAA */
    int n_colours;        /* at most 16 */
} po_palette_image;

/* An image of the first colour, at most `most` dots a side; its dots are handed out to be painted. rgba is borrowed. NULL when
 * it is larger, or memory is gone. */
po_palette_image *po_palette_blank(po_arena *arena, int width, int height, int most, const uint32_t *rgba,
                                   int n_colours, uint8_t **ret_px);

typedef enum po_mark_kind {
    PO_MARK_LINE,    /* open polyline: stroke, width, dash */
    PO_MARK_POLYGON, /* closed: fill, stroke */
    PO_MARK_RECT,    /* xy: corner and opposite corner */
    PO_MARK_CIRCLE,  /* xy: centre; size: radius */
    PO_MARK_TEXT,    /* xy: anchor on the base line; size: em */
    PO_MARK_IMAGE,   /* xy: corner and opposite corner */
    PO_MARK_BEGIN,   /* a group with a title (text); groups nest */
    PO_MARK_END
} po_mark_kind;

typedef struct po_mark {
    po_mark_kind kind;
    po_ink fill, stroke;
    float width_mm; /* of the stroke */
    float dash_mm;  /* 0 = solid; else dash and gap */
    float size_mm;
    float turn_deg; /* text: clockwise about its anchor */
    bool bold;
    po_anchor anchor;
    const double *xy;
    size_t n_points;
    const char *text;
    const po_palette_image *image;
} po_mark;

typedef struct po_drawing {
    po_arena *arena;
    double width_mm, height_mm;
    const char *title, *description; /* alternative text; NULL = none */
    po_mark *marks;
    size_t n_marks, cap;
    bool failed;
} po_drawing;

typedef struct po_box2 { /* a frame on the paper */
    double x, y, w, h;
} po_box2;

void po_draw_init(po_drawing *d, po_arena *arena, double width_mm, double height_mm, const char *title,
                  const char *description);
void po_draw_line(po_drawing *d, double x0, double y0, double x1, double y1, po_ink ink, double width_mm);
void po_draw_dashed(po_drawing *d, double x0, double y0, double x1, double y1, po_ink ink, double width_mm,
                    double dash_mm);
void po_draw_polyline(po_drawing *d, const double *xy, size_t n_points, po_ink ink, double width_mm);
void po_draw_polygon(po_drawing *d, const double *xy, size_t n_points, po_ink fill, po_ink stroke, double width_mm);
void po_draw_rect(po_drawing *d, po_box2 box, po_ink fill, po_ink stroke, double width_mm);
void po_draw_circle(po_drawing *d, double x, double y, double r, po_ink fill, po_ink stroke, double width_mm);
void po_draw_text(po_drawing *d, double x, double y, double size_mm, po_anchor anchor, po_ink ink, const char *text);
void po_draw_bold(po_drawing *d, double x, double y, double size_mm, po_anchor anchor, po_ink ink, const char *text);
void po_draw_turned(po_drawing *d, double x, double y, double size_mm, po_anchor anchor, po_ink ink, double turn_deg,
                    const char *text);
/* As po_draw_text with a format. */
void po_draw_textf(po_drawing *d, double x, double y, double size_mm, po_anchor anchor, po_ink ink, const char *format,
                   ...) PO_PRINTF(7, 8);
/* The image is borrowed: it must live as long as the drawing. */
void po_draw_image(po_drawing *d, po_box2 box, const po_palette_image *image);
void po_draw_begin(po_drawing *d, const char *title);
void po_draw_end(po_drawing *d);
/* An arrow from the first to the second point with a filled head. */
void po_draw_arrow(po_drawing *d, double x0, double y0, double x1, double y1, po_ink ink, double width_mm);

/* Parallel lines at angle_deg (0 = level, counter-clockwise), pitch_mm apart, cut to a convex polygon. */
void po_draw_hatch(po_drawing *d, const double *xy, size_t n_points, double angle_deg, double pitch_mm, po_ink ink,
                   double width_mm);
void po_draw_hatch_box(po_drawing *d, po_box2 box, double angle_deg, double pitch_mm, po_ink ink, double width_mm);

/* Width of a text, mm, by the advances of DejaVu Sans; characters beyond ASCII count as 0.64 em. No font is opened, so
 * the layout is the same everywhere. */
double po_text_width(const char *text, double size_mm, bool bold);
/* Break a text into lines of at most width_mm at blanks (a longer word is cut). Lines live in the arena.
 * Returns their number, at most max; the last one ends in "..." where something was left out. */
size_t po_text_wrap(po_arena *arena, const char *text, double width_mm, double size_mm, bool bold, const char **lines,
                    size_t max);
/* A text cut to width_mm with "..." at its end. */
const char *po_text_cut(po_arena *arena, const char *text, double width_mm, double size_mm, bool bold);

#endif
