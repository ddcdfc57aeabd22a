/* Drawings: findings about the surface of a part. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "slip/explain_kit.h"

/* A block seen from the front, above and the right. The upper face may lack a triangle. */
static void block(po_drawing *d, double x, double y, double w, double h, bool whole)
{
    double k = 9, front[] = {x, y, x + w, y, x + w, y + h, x, y + h};
    double side[] = {x + w, y, x + w + k, y - k, x + w + k, y - k + h, x + w, y + h};
    double top[] = {x, y, x + k, y - k, x + w + k, y - k, x + w, y};
    double gap[] = {x + 6, y - 1.6, x + w - 1, y - 1.6, x + w - 1 + k * 0.64, y - k + 1.6};
    po_draw_polygon(d, front, 4, PO_INK_WASH, PO_INK_LINE, 0.4);
    po_draw_polygon(d, side, 4, PO_INK_FAINT, PO_INK_LINE, 0.4);
    po_draw_polygon(d, top, 4, PO_INK_PAPER, PO_INK_LINE, 0.4);
    if (!whole) {
        po_draw_polygon(d, gap, 3, PO_INK_FAINT, PO_INK_NONE, 0);
        po_draw_hatch(d, gap, 3, -45, 1, PO_INK_LINE, 0.2);
        po_draw_polygon(d, gap, 3, PO_INK_NONE, PO_INK_STOP, 0.7);
    }
}

static void open_edges(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        block(d, x + 10, 18, 30, 25, half);
    }
    po_draw_line(d, EX_LEFT + 33, 12, EX_LEFT + 46, 6, PO_INK_SOFT, 0.2);
    po_draw_text(d, EX_LEFT + 47, 6, 2.6, PO_ANCHOR_END, PO_INK_LINE, "a triangle is missing");
}

/* A line of a surface in section: a dot at each edge. */
static void surface(po_drawing *d, const double *xy, size_t n, bool close)
{
    for (size_t i = 0; i + (close ? 0 : 1) < n; i++) {
        size_t k = (i + 1) % n;
        po_draw_line(d, xy[2 * i], xy[2 * i + 1], xy[2 * k], xy[2 * k + 1], PO_INK_LINE, 0.6);
    }
    for (size_t i = 0; i < n; i++) {
        po_draw_circle(d, xy[2 * i], xy[2 * i + 1], 0.8, PO_INK_LINE, PO_INK_NONE, 0);
    }
}

static void crowded_edges(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        double q[] = {x + 9, 42, x + 29, 42, x + 49, 42, x + 49, 14, x + 29, 14, x + 9, 14};
        po_ex_box(d, x + 9, 14, 40, 28);
        surface(d, q, 6, true);
        if (!half) {
            double inner[] = {x + 29, 14, x + 29, 42};
            surface(d, inner, 2, false);
            po_draw_circle(d, x + 29, 14, 2.2, PO_INK_NONE, PO_INK_STOP, 0.5);
            po_draw_circle(d, x + 29, 42, 2.2, PO_INK_NONE, PO_INK_STOP, 0.5);
            po_draw_text(d, x + 29, 9.5, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "three faces at one edge");
        }
    }
}

static void inside_out(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, w = 26, h = 18, x0 = x + 16, y0 = 16;
        po_draw_rect(d, (po_box2){x0, y0, w, h}, PO_INK_WASH, PO_INK_LINE, 0.6);
        po_draw_arrow(d, x0 + w / 2, y0, x0 + w / 2, y0 - 7, PO_INK_LINE, 0.4);
        po_draw_arrow(d, x0 + w / 2, y0 + h, x0 + w / 2, y0 + h + 7, PO_INK_LINE, 0.4);
        po_draw_arrow(d, x0, y0 + h / 2, x0 - 7, y0 + h / 2, PO_INK_LINE, 0.4);
        if (half) {
            po_draw_arrow(d, x0 + w, y0 + h / 2, x0 + w + 7, y0 + h / 2, PO_INK_LINE, 0.4);
        } else {
            po_draw_line(d, x0 + w, y0, x0 + w, y0 + h, PO_INK_STOP, 1);
            po_draw_arrow(d, x0 + w, y0 + h / 2, x0 + w - 7, y0 + h / 2, PO_INK_STOP, 0.6);
        }
        po_draw_text(d, x + 29, 46, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "arrows: where it says outside is");
    }
}

static void cuts_itself(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        if (half) {
            double a[] = {x + 6, 36, x + 6, 22, x + 20, 22, x + 20, 10, x + 36, 10, x + 36, 22, x + 52, 22, x + 52, 36};
            po_draw_polygon(d, a, 8, PO_INK_WASH, PO_INK_NONE, 0);
            po_draw_hatch_box(d, (po_box2){x + 6, 22, 46, 14}, 45, 1.8, PO_INK_FAINT, 0.22);
            po_draw_hatch_box(d, (po_box2){x + 20, 10, 16, 12}, 45, 1.8, PO_INK_FAINT, 0.22);
            po_draw_polygon(d, a, 8, PO_INK_NONE, PO_INK_LINE, 0.5);
        } else {
            po_ex_box(d, x + 6, 22, 46, 14);
            po_ex_box(d, x + 20, 10, 16, 18);
            po_draw_line(d, x + 6, 22, x + 52, 22, PO_INK_LINE, 0.5);
            po_draw_circle(d, x + 20, 22, 2, PO_INK_NONE, PO_INK_STOP, 0.5);
            po_draw_circle(d, x + 36, 22, 2, PO_INK_NONE, PO_INK_STOP, 0.5);
        }
    }
}

static void loose_shells(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 4, x + 55, EX_BED);
        po_ex_box(d, x + 12, half ? 25 : 29, 34, EX_BED - (half ? 25 : 29));
        if (half) {
            double q[] = {x + 23, 25, x + 23, 14, x + 35, 14, x + 35, 25};
            po_draw_polygon(d, q, 4, PO_INK_WASH, PO_INK_NONE, 0);
            po_draw_hatch(d, q, 4, 45, 1.8, PO_INK_FAINT, 0.22);
            po_draw_polyline(d, q, 4, PO_INK_LINE, 0.4);
            po_draw_line(d, x + 23.3, 25, x + 34.7, 25, PO_INK_WASH, 0.6);
        } else {
            po_ex_box(d, x + 23, 12, 12, 11);
            po_draw_dashed(d, x + 40, 23, x + 40, 29, PO_INK_SOFT, 0.25, 0.8);
            po_draw_dashed(d, x + 35, 23, x + 42, 23, PO_INK_SOFT, 0.25, 0.8);
            po_ex_note(d, x + 43, 27, "a gap");
        }
    }
}

static void unit_suspect(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        po_box2 bed = po_ex_bed_above(d, half ? EX_RIGHT : EX_LEFT);
        double w = half ? 22 : 1, h = half ? 15 : 0.7;
        po_ex_box(d, bed.x + bed.w / 2 - w / 2, bed.y + bed.h / 2 - h / 2, w, h);
        if (!half) {
            po_draw_circle(d, bed.x + bed.w / 2, bed.y + bed.h / 2, 3, PO_INK_NONE, PO_INK_SOFT, 0.25);
        }
        po_ex_note(d, bed.x + 2, bed.y + 5, half ? "x 25.4: 76 x 51 mm" : "3 x 2: of what?");
    }
}

static void not_a_solid(po_drawing *d)
{
    enum { N = 24 };
    for (int half = 0; half < 2; half++) {
        double x = (half ? EX_RIGHT : EX_LEFT) + 7, q[4 * (N + 1)];
        for (int i = 0; i <= N; i++) {
            double t = i / (double)N, y = 22 - 6 * sin(t * 6.2) - 3 * sin(t * 11);
            q[2 * i] = q[2 * (2 * N + 1 - i)] = x + 45 * t;
            q[2 * i + 1] = y;
            q[2 * (2 * N + 1 - i) + 1] = y + 7;
        }
        if (half) {
            po_draw_polygon(d, q, 2 * (N + 1), PO_INK_WASH, PO_INK_LINE, 0.5);
            po_ex_height(d, x + 47.5, q[2 * N + 1], q[2 * N + 1] + 7, "");
            po_draw_text(d, x + 22, 42, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "a body with a thickness");
        } else {
            po_draw_polyline(d, q, N + 1, PO_INK_LINE, 0.5);
            po_draw_text(d, x + 22, 42, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "only a skin");
        }
    }
}

static void many_materials(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 4, x + 55, EX_BED);
        for (int i = 0; i < 3; i++) {
            po_box2 b = {x + 14, 21.0 + 8 * i, 22, 8};
            po_draw_rect(d, b, PO_INK_PAPER, PO_INK_LINE, 0.35);
            if (half || i == 0) {
                po_draw_hatch_box(d, b, 45, 1.6, PO_INK_SOFT, 0.22);
            } else if (i == 1) {
                po_draw_rect(d, b, PO_INK_FAINT, PO_INK_LINE, 0.35);
            } else {
                po_draw_hatch_box(d, b, -45, 1.1, PO_INK_LINE, 0.25);
            }
            if (!half) {
                static const char *const NAMES[] = {"A", "B", "C"};
                po_draw_bold(d, x + 39, 26.0 + 8 * i, 2.8, PO_ANCHOR_START, PO_INK_LINE, NAMES[i]);
            }
        }
        po_ex_nozzle(d, x + 25, 20.4, 9);
        po_ex_note(d, x + 33, 14, "one nozzle");
    }
}

const po_explain *po_explain_mesh(size_t *ret_n)
{
    static const po_explain ROWS[] = {
        {"open-edges", "The surface has a hole: what is inside?", "Closed all round, inside and outside are clear.",
         open_edges},
        {"crowded-edges", "A wall without thickness stands inside the body.", "One surface around one body.",
         crowded_edges},
        {"inside-out", "Part of the surface says that outside is within.", "Every face looks outwards.", inside_out},
        {"cuts-itself", "Surfaces pass through each other.", "Joined to one body with one outline.", cuts_itself},
        {"loose-shells", "Bodies that do not touch come apart.", "Joined, when it is meant to be one piece.",
         loose_shells},
        {"unit-suspect", "Read as millimetres it is a speck.", "Export it in millimetres, or scale it.", unit_suspect},
        {"not-a-solid", "A surface without thickness holds no plastic.", "Give it a thickness in the drawing.",
         not_a_solid},
        {"many-materials", "More materials than the machine has nozzles.", "One material, or another machine.",
         many_materials},
    };
    *ret_n = sizeof ROWS / sizeof *ROWS;
    return ROWS;
}
