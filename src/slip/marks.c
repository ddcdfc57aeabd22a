/* Flags, grade marks and verdict marks. SPDX-License-Identifier: Apache-2.0
 *
 * Every one is told by its shape first and its ink second: a square with a bar (stop), a diamond (ask), a ring (note or
 * yes), so that a grey print and a colour-blind reader lose nothing. */
#include <math.h>
#include <stdio.h>

#include "slip/pictures.h"

po_ink po_verdict_ink(po_verdict verdict)
{
    return verdict == PO_CLEAR ? PO_INK_YES : verdict == PO_ASK ? PO_INK_ASK : PO_INK_STOP;
}

po_ink po_grade_ink(po_grade grade)
{
    return grade == PO_GRADE_STOP ? PO_INK_STOP : grade == PO_GRADE_ASK ? PO_INK_ASK : PO_INK_SOFT;
}

void po_draw_grade(po_drawing *d, double x, double y, double s, po_grade grade)
{
    po_ink ink = po_grade_ink(grade);
    double h = s / 2;
    if (grade == PO_GRADE_STOP) {
        po_draw_rect(d, (po_box2){x - h, y - h, s, s}, ink, PO_INK_NONE, 0);
        po_draw_line(d, x - h * 0.5, y, x + h * 0.5, y, PO_INK_PAPER, s * 0.17);
    } else if (grade == PO_GRADE_ASK) {
        double k = h * 1.12, q[] = {x, y - k, x + k, y, x, y + k, x - k, y};
        po_draw_polygon(d, q, 4, PO_INK_PAPER, ink, s * 0.13);
    } else {
        po_draw_circle(d, x, y, h * 0.8, PO_INK_PAPER, ink, s * 0.11);
    }
}

void po_draw_verdict(po_drawing *d, double x, double y, double s, po_verdict verdict)
{
    po_ink ink = po_verdict_ink(verdict);
    double h = s / 2;
    if (verdict == PO_CLEAR) {
        po_draw_circle(d, x, y, h, ink, PO_INK_NONE, 0);
        double tick[] = {x - h * 0.48, y + h * 0.04, x - h * 0.12, y + h * 0.42, x + h * 0.52, y - h * 0.4};
        po_draw_polyline(d, tick, 3, PO_INK_PAPER, s * 0.12);
    } else if (verdict == PO_ASK) {
        double k = h * 1.08, q[] = {x, y - k, x + k, y, x, y + k, x - k, y};
        po_draw_polygon(d, q, 4, ink, PO_INK_NONE, 0);
        po_draw_bold(d, x, y + s * 0.235, s * 0.64, PO_ANCHOR_MIDDLE, PO_INK_PAPER, "?");
    } else {
        po_draw_rect(d, (po_box2){x - h, y - h, s, s}, ink, PO_INK_NONE, 0);
        po_draw_line(d, x - h * 0.55, y, x + h * 0.55, y, PO_INK_PAPER, s * 0.17);
    }
}

void po_draw_flag(po_drawing *d, double x, double y, size_t number, po_grade grade, int lift)
{
    po_ink ink = po_grade_ink(grade);
    char text[24];
    snprintf(text, sizeof text, "%zu", number);
    double pole = 5.2 + 3.6 * lift, h = 3.4, w = fmax(4.2, po_text_width(text, 2.5, true) + 2.4), top = y - pole;
    po_draw_line(d, x, y, x, top, PO_INK_PAPER, 0.9); /* a pale edge keeps the pole readable over dark areas */
    po_draw_line(d, x, y, x, top, ink, 0.35);
    po_draw_circle(d, x, y, 0.65, PO_INK_PAPER, ink, 0.35);
    double q[] = {x, top, x + w, top, x + w - 1, top + h / 2, x + w, top + h, x, top + h};
    bool filled = grade == PO_GRADE_STOP;
    po_draw_polygon(d, q, 5, filled ? ink : PO_INK_PAPER, ink, 0.35);
    po_draw_bold(d, x + (w - 1) / 2 + 0.15, top + h - 0.8, 2.5, PO_ANCHOR_MIDDLE, filled ? PO_INK_PAPER : ink, text);
}
