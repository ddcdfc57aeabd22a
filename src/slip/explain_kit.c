/* Pieces that the drawings of `proveout explain` are made of. SPDX-License-Identifier: Apache-2.0
 *
 * Drawn as on a workshop board: sections are hatched, lengths have arrows, the thing that is meant is dark. */
#include "slip/explain_kit.h"

#include <math.h>

void po_ex_bed(po_drawing *d, double x0, double x1, double y)
{
    po_draw_hatch_box(d, (po_box2){x0, y, x1 - x0, 2.2}, 45, 1.5, PO_INK_SOFT, 0.2);
    po_draw_line(d, x0, y, x1, y, PO_INK_LINE, 0.6);
}

void po_ex_bead(po_drawing *d, double x, double y_under, double w, double h, bool strong)
{
    enum { STEPS = 9 };
    double q[4 * (STEPS + 1)], r = h / 2, straight = fmax(w / 2 - r, 0), cy = y_under - r, rx = fmin(r, w / 2);
    for (int i = 0; i <= STEPS; i++) {
        double a = -M_PI / 2 + M_PI * i / STEPS;
        q[2 * i] = x + straight + rx * cos(a);
        q[2 * i + 1] = cy + r * sin(a);
        q[2 * (i + STEPS + 1)] = x - straight - rx * cos(a);
        q[2 * (i + STEPS + 1) + 1] = cy - r * sin(a);
    }
    po_draw_polygon(d, q, 2 * (STEPS + 1), strong ? PO_INK_LINE : PO_INK_WASH, PO_INK_LINE, 0.3);
}

double po_ex_stack(po_drawing *d, double x, double y_under, int n, double w, double h, double lean)
{
    for (int i = 0; i < n; i++) {
        po_ex_bead(d, x + lean * i, y_under - h * i, w, h, false);
    }
    return y_under - h * n;
}

void po_ex_row(po_drawing *d, double x, double y_under, int n, double w, double h)
{
    double step = w * 0.94;
    for (int i = 0; i < n; i++) {
        po_ex_bead(d, x + step * (i - (n - 1) / 2.0), y_under, w, h, false);
    }
}

void po_ex_nozzle(po_drawing *d, double x, double y, double s)
{
    double q[] = {x - 0.22 * s, y,           x + 0.22 * s, y,           x + 0.62 * s, y - 0.62 * s,
                  x + 0.62 * s, y - 1.5 * s, x - 0.62 * s, y - 1.5 * s, x - 0.62 * s, y - 0.62 * s};
    po_draw_polygon(d, q, 6, PO_INK_PAPER, PO_INK_LINE, 0.4);
    double left[] = {x - 0.22 * s, y,           x - 0.09 * s, y,           x - 0.09 * s, y - 0.45 * s,
                     x - 0.24 * s, y - 0.7 * s, x - 0.24 * s, y - 1.5 * s, x - 0.62 * s, y - 1.5 * s,
                     x - 0.62 * s, y - 0.62 * s};
    double right[14];
    for (int i = 0; i < 7; i++) {
        right[2 * i] = 2 * x - left[2 * i];
        right[2 * i + 1] = left[2 * i + 1];
    }
    po_draw_hatch(d, left, 7, 45, 1, PO_INK_SOFT, 0.18);
    po_draw_hatch(d, right, 7, -45, 1, PO_INK_SOFT, 0.18);
    for (int side = -1; side <= 1; side += 2) {
        double bore[] = {x + side * 0.09 * s, y,           x + side * 0.09 * s, y - 0.45 * s,
                         x + side * 0.24 * s, y - 0.7 * s, x + side * 0.24 * s, y - 1.5 * s};
        po_draw_polyline(d, bore, 4, PO_INK_LINE, 0.25);
    }
}

void po_ex_solid(po_drawing *d, const double *xy, size_t n_points)
{
    po_draw_polygon(d, xy, n_points, PO_INK_WASH, PO_INK_NONE, 0);
    po_draw_hatch(d, xy, n_points, 45, 1.8, PO_INK_FAINT, 0.22);
    po_draw_polygon(d, xy, n_points, PO_INK_NONE, PO_INK_LINE, 0.4);
}

void po_ex_box(po_drawing *d, double x, double y, double w, double h)
{
    double q[] = {x, y, x + w, y, x + w, y + h, x, y + h};
    po_ex_solid(d, q, 4);
}

void po_ex_length(po_drawing *d, double x0, double x1, double y, const char *text)
{
    double mid = (x0 + x1) / 2;
    po_draw_arrow(d, mid, y, x0, y, PO_INK_LINE, 0.25);
    po_draw_arrow(d, mid, y, x1, y, PO_INK_LINE, 0.25);
    po_draw_line(d, x0, y - 1.4, x0, y + 1.4, PO_INK_SOFT, 0.2);
    po_draw_line(d, x1, y - 1.4, x1, y + 1.4, PO_INK_SOFT, 0.2);
    po_draw_text(d, mid, y - 2.1, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, text);
}

void po_ex_height(po_drawing *d, double x, double y0, double y1, const char *text)
{
    double mid = (y0 + y1) / 2;
    po_draw_arrow(d, x, mid, x, y0, PO_INK_LINE, 0.25);
    po_draw_arrow(d, x, mid, x, y1, PO_INK_LINE, 0.25);
    po_draw_line(d, x - 1.4, y0, x + 1.4, y0, PO_INK_SOFT, 0.2);
    po_draw_line(d, x - 1.4, y1, x + 1.4, y1, PO_INK_SOFT, 0.2);
    po_draw_text(d, x + 1.6, mid + 0.9, 2.6, PO_ANCHOR_START, PO_INK_LINE, text);
}

po_box2 po_ex_bed_above(po_drawing *d, double x)
{
    po_box2 bed = {x + 8, 8, 43, 36};
    po_draw_rect(d, bed, PO_INK_PAPER, PO_INK_LINE, 0.5);
    for (int i = 1; i < 4; i++) {
        po_draw_line(d, bed.x + bed.w * i / 4, bed.y, bed.x + bed.w * i / 4, bed.y + bed.h, PO_INK_WASH, 0.25);
        po_draw_line(d, bed.x, bed.y + bed.h * i / 4, bed.x + bed.w, bed.y + bed.h * i / 4, PO_INK_WASH, 0.25);
    }
    return bed;
}

void po_ex_note(po_drawing *d, double x, double y, const char *text)
{
    po_draw_text(d, x, y, 2.6, PO_ANCHOR_START, PO_INK_LINE, text);
}
