/* Drawings: findings about the machine's room and how a part stands in it. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "slip/explain_kit.h"

static void leaves_the_bed(po_drawing *d)
{
    po_box2 a = po_ex_bed_above(d, EX_LEFT), b = po_ex_bed_above(d, EX_RIGHT);
    po_ex_box(d, a.x + a.w - 14, a.y + 9, 20, 15);
    po_draw_rect(d, (po_box2){a.x + a.w, a.y + 9, 6, 15}, PO_INK_LINE, PO_INK_LINE, 0.3);
    po_ex_box(d, b.x + 12, b.y + 10, 20, 15);
}

static void hits_keep_out(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        po_box2 bed = po_ex_bed_above(d, half ? EX_RIGHT : EX_LEFT), k = {bed.x + bed.w - 9, bed.y, 9, 8};
        po_draw_rect(d, k, PO_INK_PAPER, PO_INK_LINE, 0.3);
        po_draw_hatch_box(d, k, 45, 1, PO_INK_LINE, 0.18);
        po_draw_hatch_box(d, k, -45, 1, PO_INK_LINE, 0.18);
        double y = bed.y + 4;
        if (half) {
            double way[] = {bed.x + 6, y + 24, bed.x + bed.w - 13, y + 16, bed.x + bed.w - 3, y + 16};
            po_draw_polyline(d, way, 2, PO_INK_LINE, 0.35);
            po_draw_arrow(d, way[2], way[3], way[4], way[5], PO_INK_LINE, 0.35);
        } else {
            po_draw_arrow(d, bed.x + 6, y + 24, k.x + 5, k.y + 5, PO_INK_LINE, 0.35);
            po_draw_circle(d, k.x + 5, k.y + 5, 1.8, PO_INK_NONE, PO_INK_STOP, 0.5);
        }
        po_ex_note(d, bed.x + 2, bed.y + 5, "scraper: keep out");
    }
}

static void reaches_too_far(po_drawing *d)
{
    po_box2 a = po_ex_bed_above(d, EX_LEFT), b = po_ex_bed_above(d, EX_RIGHT);
    for (int half = 0; half < 2; half++) {
        po_box2 bed = half ? b : a;
        double x0 = bed.x - 2.5, y0 = bed.y - 2.5, x1 = bed.x + bed.w + 2.5, y1 = bed.y + bed.h + 2.5;
        po_draw_dashed(d, x0, y0, x1, y0, PO_INK_SOFT, 0.25, 1.2);
        po_draw_dashed(d, x1, y0, x1, y1, PO_INK_SOFT, 0.25, 1.2);
        po_draw_dashed(d, x1, y1, x0, y1, PO_INK_SOFT, 0.25, 1.2);
        po_draw_dashed(d, x0, y1, x0, y0, PO_INK_SOFT, 0.25, 1.2);
        po_ex_note(d, bed.x + 2, bed.y + bed.h - 2, "dashed: its reach");
    }
    po_draw_arrow(d, a.x + 12, a.y + 22, a.x + a.w + 7, a.y + 12, PO_INK_LINE, 0.4);
    po_draw_arrow(d, b.x + 12, b.y + 22, b.x + b.w - 4, b.y + 12, PO_INK_LINE, 0.4);
}

static void too_tall(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 6, x + 46, EX_BED);
        po_draw_dashed(d, x + 6, 14, x + 46, 14, PO_INK_LINE, 0.3, 1.4);
        po_ex_box(d, x + 18, half ? 17 : 7, 14, half ? 28 : 38);
        po_ex_height(d, x + 49, 14, EX_BED, "room");
    }
    po_draw_rect(d, (po_box2){EX_LEFT + 18, 7, 14, 7}, PO_INK_LINE, PO_INK_LINE, 0.3);
}

static void below_the_bed(po_drawing *d)
{
    po_ex_bed(d, EX_LEFT + 6, EX_LEFT + 52, 36);
    po_ex_nozzle(d, EX_LEFT + 28, 38, 13);
    po_draw_arrow(d, EX_LEFT + 41, 26, EX_LEFT + 41, 41, PO_INK_STOP, 0.5);
    po_ex_bed(d, EX_RIGHT + 6, EX_RIGHT + 52, 36);
    po_ex_nozzle(d, EX_RIGHT + 28, 34.6, 13);
    po_ex_bead(d, EX_RIGHT + 22, 36, 12, 1.4, true);
}

static void runs_into_part(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 4, x + 55, EX_BED);
        po_ex_box(d, x + 33, 24, 13, 21);
        double tip = half ? 19 : 32;
        po_ex_nozzle(d, x + (half ? 39 : 25), tip, 9);
        if (half) {
            double way[] = {x + 12, 34, x + 12, 19.6};
            po_draw_polyline(d, way, 2, PO_INK_LINE, 0.35);
            po_draw_arrow(d, x + 12, 19.6, x + 32, 19.6, PO_INK_LINE, 0.35);
        } else {
            po_draw_arrow(d, x + 9, 32, x + 32, 32, PO_INK_STOP, 0.5);
        }
    }
}

static void homes_into_part(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 4, x + 55, EX_BED);
        if (!half) {
            po_ex_box(d, x + 20, 30, 24, 15);
        }
        po_ex_nozzle(d, x + 32, half ? 33 : 25, 9);
        po_draw_arrow(d, x + 45, 16, x + 45, half ? 44 : 29, half ? PO_INK_LINE : PO_INK_STOP, 0.45);
        po_ex_note(d, x + 4, 9, "homes downwards");
    }
}

static void not_homed(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        po_box2 bed = po_ex_bed_above(d, half ? EX_RIGHT : EX_LEFT);
        double hx = bed.x, hy = bed.y + bed.h;
        po_draw_circle(d, hx, hy, 1.6, PO_INK_PAPER, PO_INK_LINE, 0.3);
        po_draw_line(d, hx - 2.4, hy, hx + 2.4, hy, PO_INK_LINE, 0.25);
        po_draw_line(d, hx, hy - 2.4, hx, hy + 2.4, PO_INK_LINE, 0.25);
        if (half) {
            po_draw_arrow(d, bed.x + 26, bed.y + 13, hx + 2, hy - 2, PO_INK_SOFT, 0.3);
            po_ex_note(d, bed.x + 12, bed.y + 25, "1 home");
            po_draw_arrow(d, hx + 3, hy - 1.6, bed.x + 36, bed.y + 22, PO_INK_LINE, 0.4);
            po_ex_note(d, bed.x + 28, bed.y + 30, "2 move");
        } else {
            po_draw_bold(d, bed.x + 14, bed.y + 22, 7, PO_ANCHOR_MIDDLE, PO_INK_SOFT, "?");
            po_draw_arrow(d, bed.x + 18, bed.y + 20, bed.x + 38, bed.y + 8, PO_INK_LINE, 0.4);
        }
    }
}

static void parks_on_part(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 4, x + 55, EX_BED);
        po_ex_box(d, x + 14, 28, 24, 17);
        po_ex_nozzle(d, x + (half ? 48 : 26), half ? 20 : 28.4, 9);
    }
    po_draw_circle(d, EX_LEFT + 26, 29.6, 2.2, PO_INK_LINE, PO_INK_NONE, 0);
}

static void small_foothold(po_drawing *d)
{
    po_ex_bed(d, EX_LEFT + 4, EX_LEFT + 55, EX_BED);
    double a[] = {EX_LEFT + 27, EX_BED, EX_LEFT + 30, EX_BED, EX_LEFT + 40, 16, EX_LEFT + 17, 16};
    po_ex_solid(d, a, 4);
    po_draw_line(d, EX_LEFT + 26.5, EX_BED, EX_LEFT + 30.5, EX_BED, PO_INK_STOP, 1.2);
    po_ex_bed(d, EX_RIGHT + 4, EX_RIGHT + 55, EX_BED);
    double b[] = {EX_RIGHT + 27, EX_BED, EX_RIGHT + 30, EX_BED, EX_RIGHT + 40, 16, EX_RIGHT + 17, 16};
    po_ex_solid(d, b, 4);
    po_ex_row(d, EX_RIGHT + 28.5, EX_BED, 9, 3, 1.4);
    po_ex_note(d, EX_RIGHT + 38, 38, "a brim holds it");
}

static void tips_over(po_drawing *d)
{
    po_ex_bed(d, EX_LEFT + 4, EX_LEFT + 55, EX_BED);
    double a[] = {EX_LEFT + 23, EX_BED, EX_LEFT + 29, EX_BED - 1, EX_LEFT + 35.5, 7, EX_LEFT + 29.5, 6};
    po_ex_solid(d, a, 4);
    po_draw_circle(d, EX_LEFT + 29.3, 25, 1, PO_INK_LINE, PO_INK_NONE, 0);
    po_draw_dashed(d, EX_LEFT + 29.3, 25, EX_LEFT + 29.3, EX_BED + 3, PO_INK_LINE, 0.25, 1);
    po_draw_arrow(d, EX_LEFT + 14, 12, EX_LEFT + 26, 12, PO_INK_STOP, 0.45);
    po_ex_note(d, EX_LEFT + 6, 9, "a jerk of the bed");
    po_ex_bed(d, EX_RIGHT + 4, EX_RIGHT + 55, EX_BED);
    po_ex_box(d, EX_RIGHT + 10, 38, 38, 7);
    po_draw_circle(d, EX_RIGHT + 29, 41.5, 1, PO_INK_LINE, PO_INK_NONE, 0);
    po_ex_note(d, EX_RIGHT + 16, 34, "lying, or with a wide brim");
}

static void may_lift(po_drawing *d)
{
    enum { STEPS = 24 };
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, q[4 * (STEPS + 1)];
        po_ex_bed(d, x + 2, x + 57, EX_BED);
        for (int i = 0; i <= STEPS; i++) {
            double t = -1 + 2.0 * i / STEPS, lift = half ? 0 : 5 * pow(fabs(t), 3);
            q[2 * i] = x + 29.5 + 22 * t;
            q[2 * i + 1] = EX_BED - lift;
            q[2 * (2 * STEPS + 1 - i)] = x + 29.5 + 22 * t;
            q[2 * (2 * STEPS + 1 - i) + 1] = EX_BED - lift - 9;
        }
        po_draw_polygon(d, q, 2 * (STEPS + 1), PO_INK_WASH, PO_INK_LINE, 0.4);
        if (half) {
            for (int side = -1; side <= 1; side += 2) { /* ears on the corners */
                po_draw_rect(d, (po_box2){x + 29.5 + side * 22 - 4, EX_BED - 1.2, 8, 1.2}, PO_INK_LINE, PO_INK_LINE,
                             0.2);
            }
            po_draw_text(d, x + 29.5, 32, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "ears, warmer bed, no draught");
        } else {
            po_draw_arrow(d, x + 4, 43, x + 4, 35, PO_INK_STOP, 0.45);
            po_draw_arrow(d, x + 55, 43, x + 55, 35, PO_INK_STOP, 0.45);
            po_draw_arrow(d, x + 14, 29, x + 24, 29, PO_INK_LINE, 0.35);
            po_draw_arrow(d, x + 45, 29, x + 35, 29, PO_INK_LINE, 0.35);
            po_draw_text(d, x + 29.5, 26, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "shrinks as it cools");
        }
    }
}

static void other_machine(po_drawing *d)
{
    po_box2 a = po_ex_bed_above(d, EX_LEFT);
    po_ex_box(d, a.x - 7, a.y + 24, 14, 12);
    po_draw_circle(d, a.x, a.y + 30, 1.2, PO_INK_LINE, PO_INK_NONE, 0);
    po_ex_note(d, a.x + 9, a.y + 31, "0, 0 is a corner here");
    double cx = EX_RIGHT + 29, cy = 25;
    po_draw_circle(d, cx, cy, 18, PO_INK_PAPER, PO_INK_LINE, 0.5);
    po_ex_box(d, cx - 7, cy - 6, 14, 12);
    po_draw_circle(d, cx, cy, 1.2, PO_INK_LINE, PO_INK_NONE, 0);
    po_draw_text(d, cx, cy + 11, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "0, 0 is the centre here");
}

const po_explain *po_explain_room(size_t *ret_n)
{
    static const po_explain ROWS[] = {
        {"leaves-the-bed", "Plastic is laid where there is no bed.", "Move the part, or take a larger machine.",
         leaves_the_bed},
        {"hits-keep-out", "The nozzle goes where something is fixed to the bed.",
         "Go round it, or pass above its height.", hits_keep_out},
        {"reaches-too-far", "A move ends beyond where the nozzle can go.",
         "Keep every move inside, also at start and end.", reaches_too_far},
        {"too-tall", "The part is taller than the machine's room.",
         "Lay it down, cut it in two, or take a taller machine.", too_tall},
        {"below-the-bed", "The nozzle is driven into the bed.", "The lowest bead is a layer's height above it.",
         below_the_bed},
        {"runs-into-part", "The nozzle passes through what already stands.", "It must lift first, then pass over.",
         runs_into_part},
        {"homes-into-part", "Homing comes down on a part.", "Home before the first bead, with a clear bed.",
         homes_into_part},
        {"not-homed", "It moves before it knows where it is.", "Home first; every place counts from there.", not_homed},
        {"parks-on-part", "At the end the hot nozzle stays on the part.", "Lift and move aside before the end.",
         parks_on_part},
        {"small-foothold", "It stands on very little and may break loose.", "A brim or a wider base gives it hold.",
         small_foothold},
        {"tips-over", "Tall and narrow: a quick move can throw it.", "Lay it down or widen its foot.", tips_over},
        {"may-lift", "Long edges curl up as the plastic shrinks.", "Give the corners more hold and even warmth.",
         may_lift},
        {"made-for-other-machine", "Made for a bed with its zero in the centre.",
         "Prepare it for this machine, or run it there.", other_machine},
    };
    *ret_n = sizeof ROWS / sizeof *ROWS;
    return ROWS;
}
