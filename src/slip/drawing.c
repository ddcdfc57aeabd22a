/* Building the list of marks, hatching, and text widths. SPDX-License-Identifier: Apache-2.0
 *
 * Hatching is plain lines, cut to a convex polygon by the Cyrus-Beck method (Cyrus and Beck, "Generalized two- and
 * three-dimensional clipping", 1978), so that no renderer needs patterns and all of them show the same. */
#include "slip/drawing.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* Advances in thousandths of an em of the characters 32..126: DejaVu Sans 2.37 and its bold, read with cairo. */
static const uint16_t ADVANCE[2][95] = {
    {318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361,  318, 337, 636, 636, 636,
     636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632,
     575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695, 635,  611, 732, 684, 989, 685,
     611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635, 615, 352,  635, 634, 278, 278, 579,
     278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592,  525, 636, 337, 636, 838},
    {348, 456,  521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415,  380, 365, 696, 696,  696,
     696, 696,  696, 696, 696, 696,  696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830,  683,
     683, 821,  837, 372, 372, 775,  637, 995, 837, 850, 733, 850, 770, 720,  682, 812, 774, 1103, 771,
     724, 725,  457, 365, 457, 838,  500, 500, 675, 716, 593, 716, 678, 435,  716, 712, 343, 343,  665,
     343, 1042, 712, 687, 716, 716,  493, 595, 478, 712, 652, 924, 645, 652,  582, 712, 365, 712,  838}};
enum { OTHER_ADVANCE = 640, MOST_HATCH_LINES = 4000 };

static const uint32_t RGB[PO_INK_COUNT] = {
    [PO_INK_NONE] = 0xFFFFFF,  [PO_INK_LINE] = 0x1C2530, [PO_INK_SOFT] = 0x596471,
    [PO_INK_FAINT] = 0xB3BAC1, [PO_INK_WASH] = 0xEDEFEE, [PO_INK_PAPER] = 0xFFFFFF,
    [PO_INK_YES] = 0x1F6350,   [PO_INK_ASK] = 0x8A5A00,  [PO_INK_STOP] = 0x9C2B20,
};

uint32_t po_ink_rgb(po_ink ink)
{
    return (unsigned)ink < PO_INK_COUNT ? RGB[ink] : RGB[PO_INK_LINE];
}

po_palette_image *po_palette_blank(po_arena *arena, int width, int height, int most, const uint32_t *rgba,
                                   int n_colours, uint8_t **ret_px)
{
    if (width < 1 || height < 1 || width > most || height > most) {
        return NULL;
    }
    po_palette_image *image = po_arena_zeros(arena, 1, sizeof *image);
    uint8_t *px = po_arena_zeros(arena, (size_t)width * (size_t)height, 1);
    if (!image || !px) {
        return NULL;
    }
    *image = (po_palette_image){.width = width, .height = height, .px = px, .rgba = rgba, .n_colours = n_colours};
    *ret_px = px;
    return image;
}

void po_draw_init(po_drawing *d, po_arena *arena, double width_mm, double height_mm, const char *title,
                  const char *description)
{
    *d = (po_drawing){.arena = arena, .width_mm = width_mm, .height_mm = height_mm};
    d->title = title ? po_arena_text(arena, title) : NULL;
    d->description = description ? po_arena_text(arena, description) : NULL;
}

static po_mark *add(po_drawing *d, po_mark_kind kind, const double *xy, size_t n_points)
{
    if (d->failed) {
        return NULL;
    }
    if (d->n_marks == d->cap) {
        size_t cap = d->cap ? d->cap * 2 : 64;
        po_mark *marks = po_arena_zeros(d->arena, cap, sizeof *marks);
        if (!marks) {
            d->failed = true;
            return NULL;
        }
        if (d->n_marks) {
            memcpy(marks, d->marks, d->n_marks * sizeof *marks);
        }
        d->marks = marks;
        d->cap = cap;
    }
    double *copy = NULL;
    if (n_points) {
        copy = po_arena_zeros(d->arena, n_points, 2 * sizeof *copy);
        if (!copy) {
            d->failed = true;
            return NULL;
        }
        for (size_t i = 0; i < 2 * n_points; i++) {
            copy[i] = isfinite(xy[i]) ? fmin(fmax(xy[i], -1e5), 1e5) : 0; /* no renderer has to think of NaN */
        }
    }
    po_mark *mark = &d->marks[d->n_marks++];
    *mark = (po_mark){.kind = kind, .xy = copy, .n_points = n_points};
    return mark;
}

void po_draw_dashed(po_drawing *d, double x0, double y0, double x1, double y1, po_ink ink, double width_mm,
                    double dash_mm)
{
    po_mark *mark = add(d, PO_MARK_LINE, (double[]){x0, y0, x1, y1}, 2);
    if (mark) {
        mark->stroke = ink;
        mark->width_mm = (float)width_mm;
        mark->dash_mm = (float)dash_mm;
    }
}

void po_draw_line(po_drawing *d, double x0, double y0, double x1, double y1, po_ink ink, double width_mm)
{
    po_draw_dashed(d, x0, y0, x1, y1, ink, width_mm, 0);
}

void po_draw_polyline(po_drawing *d, const double *xy, size_t n_points, po_ink ink, double width_mm)
{
    po_mark *mark = n_points > 1 ? add(d, PO_MARK_LINE, xy, n_points) : NULL;
    if (mark) {
        mark->stroke = ink;
        mark->width_mm = (float)width_mm;
    }
}

static void add_area(po_drawing *d, po_mark_kind kind, const double *xy, size_t n_points, po_ink fill, po_ink stroke,
                     double width_mm, double size_mm)
{
    po_mark *mark = n_points ? add(d, kind, xy, n_points) : NULL;
    if (mark) {
        mark->fill = fill;
        mark->stroke = stroke;
        mark->width_mm = (float)width_mm;
        mark->size_mm = (float)size_mm;
    }
}

void po_draw_polygon(po_drawing *d, const double *xy, size_t n_points, po_ink fill, po_ink stroke, double width_mm)
{
    add_area(d, PO_MARK_POLYGON, xy, n_points, fill, stroke, width_mm, 0);
}

void po_draw_rect(po_drawing *d, po_box2 box, po_ink fill, po_ink stroke, double width_mm)
{
    add_area(d, PO_MARK_RECT, (double[]){box.x, box.y, box.x + box.w, box.y + box.h}, 2, fill, stroke, width_mm, 0);
}

void po_draw_circle(po_drawing *d, double x, double y, double r, po_ink fill, po_ink stroke, double width_mm)
{
    add_area(d, PO_MARK_CIRCLE, (double[]){x, y}, 1, fill, stroke, width_mm, r);
}

static void add_text(po_drawing *d, double x, double y, double size_mm, po_anchor anchor, po_ink ink, bool bold,
                     double turn_deg, const char *text)
{
    if (!text || !*text) {
        return;
    }
    char *copy = po_arena_text(d->arena, text);
    po_mark *mark = copy ? add(d, PO_MARK_TEXT, (double[]){x, y}, 1) : NULL;
    if (!mark) {
        d->failed = true;
        return;
    }
    mark->fill = ink;
    mark->size_mm = (float)size_mm;
    mark->anchor = anchor;
    mark->bold = bold;
    mark->turn_deg = (float)turn_deg;
    mark->text = copy;
}

void po_draw_text(po_drawing *d, double x, double y, double size_mm, po_anchor anchor, po_ink ink, const char *text)
{
    add_text(d, x, y, size_mm, anchor, ink, false, 0, text);
}

void po_draw_bold(po_drawing *d, double x, double y, double size_mm, po_anchor anchor, po_ink ink, const char *text)
{
    add_text(d, x, y, size_mm, anchor, ink, true, 0, text);
}

void po_draw_turned(po_drawing *d, double x, double y, double size_mm, po_anchor anchor, po_ink ink, double turn_deg,
                    const char *text)
{
    add_text(d, x, y, size_mm, anchor, ink, false, turn_deg, text);
}

void po_draw_textf(po_drawing *d, double x, double y, double size_mm, po_anchor anchor, po_ink ink, const char *format,
                   ...)
{
    char text[256];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    add_text(d, x, y, size_mm, anchor, ink, false, 0, text);
}

void po_draw_image(po_drawing *d, po_box2 box, const po_palette_image *image)
{
    po_mark *mark = add(d, PO_MARK_IMAGE, (double[]){box.x, box.y, box.x + box.w, box.y + box.h}, 2);
    if (mark) {
        mark->image = image;
    }
}

void po_draw_begin(po_drawing *d, const char *title)
{
    po_mark *mark = add(d, PO_MARK_BEGIN, NULL, 0);
    if (mark) {
        mark->text = title ? po_arena_text(d->arena, title) : NULL;
    }
}

void po_draw_end(po_drawing *d)
{
    add(d, PO_MARK_END, NULL, 0);
}

void po_draw_arrow(po_drawing *d, double x0, double y0, double x1, double y1, po_ink ink, double width_mm)
{
    double dx = x1 - x0, dy = y1 - y0, length = hypot(dx, dy);
    if (!(length > 0)) {
        return;
    }
    dx /= length;
    dy /= length;
    double head = fmin(fmax(5.5 * width_mm, 1.3), length), half = head * 0.34;
    po_draw_line(d, x0, y0, x1 - dx * head * 0.8, y1 - dy * head * 0.8, ink, width_mm);
    double tip[] = {x1,
                    y1,
                    x1 - dx * head - dy * half,
                    y1 - dy * head + dx * half,
                    x1 - dx * head + dy * half,
                    y1 - dy * head - dx * half};
    po_draw_polygon(d, tip, 3, ink, PO_INK_NONE, 0);
}

void po_draw_hatch(po_drawing *d, const double *xy, size_t n_points, double angle_deg, double pitch_mm, po_ink ink,
                   double width_mm)
{
    if (n_points < 3 || !(pitch_mm > 0.05)) {
        return;
    }
    double a = angle_deg * 3.14159265358979323846 / 180, ux = cos(a), uy = -sin(a), nx = -uy, ny = ux;
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < n_points; i++) {
        double s = xy[2 * i] * nx + xy[2 * i + 1] * ny;
        low = fmin(low, s);
        high = fmax(high, s);
    }
    if (!(high - low < pitch_mm * MOST_HATCH_LINES)) {
        return;
    }
    /* Lines keep to one lattice of the whole paper, so that neighbouring areas continue each other's hatching. */
    for (double s = (floor(low / pitch_mm) + 1) * pitch_mm; s < high; s += pitch_mm) {
        double t0 = INFINITY, t1 = -INFINITY;
        for (size_t i = 0; i < n_points; i++) {
            size_t j = (i + 1) % n_points;
            double si = xy[2 * i] * nx + xy[2 * i + 1] * ny - s, sj = xy[2 * j] * nx + xy[2 * j + 1] * ny - s;
            if ((si < 0) == (sj < 0)) {
                continue;
            }
            double f = si / (si - sj);
            double t = (xy[2 * i] + f * (xy[2 * j] - xy[2 * i])) * ux +
                       (xy[2 * i + 1] + f * (xy[2 * j + 1] - xy[2 * i + 1])) * uy;
            t0 = fmin(t0, t);
            t1 = fmax(t1, t);
        }
        if (t1 > t0) {
            po_draw_line(d, s * nx + t0 * ux, s * ny + t0 * uy, s * nx + t1 * ux, s * ny + t1 * uy, ink, width_mm);
        }
    }
}

void po_draw_hatch_box(po_drawing *d, po_box2 box, double angle_deg, double pitch_mm, po_ink ink, double width_mm)
{
    double xy[] = {box.x, box.y, box.x + box.w, box.y, box.x + box.w, box.y + box.h, box.x, box.y + box.h};
    po_draw_hatch(d, xy, 4, angle_deg, pitch_mm, ink, width_mm);
}

/* Width of the first n bytes, thousandths of an em. */
static double advance(const char *text, size_t n, bool bold)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c >= 32 && c < 127) {
            sum += ADVANCE[bold][c - 32];
        } else if (c >= 0xC0) { /* the first byte of a longer character */
            sum += c >= 0xE0 ? 1000 : OTHER_ADVANCE;
        }
    }
    return sum;
}

double po_text_width(const char *text, double size_mm, bool bold)
{
    return advance(text, strlen(text), bold) * size_mm / 1000;
}

/* Bytes of text, at most n, that fit; never splits a character; at least one character. */
static size_t fitting(const char *text, size_t n, double width_mm, double size_mm, bool bold)
{
    size_t fit = 0;
    double sum = 0;
    for (size_t i = 0; i < n;) {
        size_t k = 1;
        while (i + k < n && ((unsigned char)text[i + k] & 0xC0) == 0x80) {
            k++;
        }
        sum += advance(text + i, k, bold) * size_mm / 1000;
        if (sum > width_mm && fit) {
            break;
        }
        i += k;
        fit = i;
    }
    return fit;
}

const char *po_text_cut(po_arena *arena, const char *text, double width_mm, double size_mm, bool bold)
{
    if (po_text_width(text, size_mm, bold) <= width_mm) {
        return text;
    }
    double room = width_mm - po_text_width("...", size_mm, bold);
    size_t n = fitting(text, strlen(text), room, size_mm, bold);
    while (n && text[n - 1] == ' ') {
        n--;
    }
    const char *cut = po_arena_printf(arena, "%.*s...", (int)n, text);
    return cut ? cut : "...";
}

size_t po_text_wrap(po_arena *arena, const char *text, double width_mm, double size_mm, bool bold, const char **lines,
                    size_t max)
{
    size_t n_lines = 0;
    while (*text == ' ') {
        text++;
    }
    while (*text && n_lines < max) {
        size_t n = strlen(text);
        if (n_lines + 1 == max) {
            lines[n_lines++] = po_text_cut(arena, text, width_mm, size_mm, bold);
            break;
        }
        size_t fit = fitting(text, n, width_mm, size_mm, bold), end = fit;
        if (fit < n) {
            while (end && text[end] != ' ') {
                end--;
            }
            if (!end) {
                end = fit; /* one long word */
            }
        }
        char *line = po_arena_text_n(arena, text, end);
        if (!line) {
            break;
        }
        lines[n_lines++] = line;
        text += end;
        while (*text == ' ') {
            text++;
        }
    }
    return n_lines;
}
