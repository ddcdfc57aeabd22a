/* Drawings: findings about heat, hands and the shop's means. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "slip/explain_kit.h"

/* A thermometer: level 0..1, with a mark at limit. */
static void thermometer(po_drawing *d, double x, double level, double limit, const char *mark)
{
    double top = 8, bottom = 38, y = bottom - (bottom - top) * level, m = bottom - (bottom - top) * limit;
    po_draw_rect(d, (po_box2){x - 1.6, top, 3.2, bottom - top}, PO_INK_PAPER, PO_INK_LINE, 0.35);
    po_draw_rect(d, (po_box2){x - 0.9, y, 1.8, bottom - y + 1}, PO_INK_LINE, PO_INK_NONE, 0);
    po_draw_circle(d, x, bottom + 2.2, 3, PO_INK_LINE, PO_INK_LINE, 0.35);
    po_draw_line(d, x - 3.4, m, x + 3.4, m, PO_INK_LINE, 0.4);
    po_draw_text(d, x + 4.2, m + 0.9, 2.6, PO_ANCHOR_START, PO_INK_LINE, mark);
}

static void pushes_cold(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        thermometer(d, x + 42, half ? 0.85 : 0.35, 0.7, "melts");
        po_ex_nozzle(d, x + 18, 38, 15);
        po_draw_arrow(d, x + 18, 6, x + 18, 15, PO_INK_LINE, 0.5);
        if (half) {
            po_ex_bead(d, x + 12, 41.5, 15, 2.6, true);
        } else {
            po_draw_line(d, x + 13, 40, x + 23, 46, PO_INK_STOP, 0.6);
            po_draw_line(d, x + 23, 40, x + 13, 46, PO_INK_STOP, 0.6);
        }
    }
}

static void leaves_heat_on(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = (half ? EX_RIGHT : EX_LEFT) + 5, q[42];
        po_draw_line(d, x, 40, x + 50, 40, PO_INK_SOFT, 0.3);
        po_draw_line(d, x, 40, x, 10, PO_INK_SOFT, 0.3);
        po_draw_dashed(d, x + 26, 8, x + 26, 40, PO_INK_LINE, 0.3, 1);
        po_draw_text(d, x + 26, 6.5, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "end of the job");
        for (int i = 0; i <= 20; i++) {
            double t = i / 20.0;
            q[2 * i] = x + 50 * t;
            q[2 * i + 1] = t < 0.12 ? 38 - 22 * t / 0.12 : !half || t < 0.52 ? 16 : 38 - 22 * exp(-(t - 0.52) / 0.16);
        }
        po_draw_polyline(d, q, 21, PO_INK_LINE, 0.7);
        po_ex_note(d, x + 31, half ? 24 : 14, half ? "cools" : "stays hot");
        po_ex_note(d, x + 1, 43.5, "bed, over time");
    }
}

static void sits_hot(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        po_ex_box(d, x + 12, 33, 30, 12);
        po_ex_nozzle(d, x + 26, half ? 22 : 33, 10);
        if (!half) {
            po_draw_circle(d, x + 26, 35, 3, PO_INK_LINE, PO_INK_NONE, 0);
            po_ex_note(d, x + 35, 28, "chars, oozes");
        } else {
            po_ex_note(d, x + 34, 22, "lifted and cooled");
        }
    }
}

static void needs_hands(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = (half ? EX_RIGHT : EX_LEFT) + 4, y = 22;
        po_draw_rect(d, (po_box2){x, y, 50, 8}, PO_INK_WASH, PO_INK_LINE, 0.35);
        double at = x + 33, q[] = {at, y, at - 2.2, y - 4, at + 2.2, y - 4};
        po_draw_polygon(d, q, 3, PO_INK_ASK, PO_INK_NONE, 0);
        po_draw_line(d, at, y, at, y + 8, PO_INK_ASK, 0.6);
        po_draw_text(d, at, y - 5.5, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "waits for a person");
        po_draw_line(d, x, y + 11, x + (half ? 50 : 20), y + 11, PO_INK_YES, 1.2);
        po_ex_note(d, x, y + 16, "somebody is at the desk");
    }
}

/* A spool seen from its side, filled up to a share of its depth. */
static void spool(po_drawing *d, double x, double y, double share)
{
    po_draw_circle(d, x, y, 14, PO_INK_PAPER, PO_INK_LINE, 0.45);
    double r = 5 + 8 * share;
    po_draw_circle(d, x, y, r, PO_INK_WASH, PO_INK_LINE, 0.3);
    for (double k = 5.9; k < r; k += 0.9) {
        po_draw_circle(d, x, y, k, PO_INK_NONE, PO_INK_SOFT, 0.18);
    }
    po_draw_circle(d, x, y, 5, PO_INK_PAPER, PO_INK_LINE, 0.35);
}

static void spool_short(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        spool(d, x + 18, 26, half ? 0.85 : 0.15);
        double have = half ? 31 : 8;
        po_draw_rect(d, (po_box2){x + 40, 42 - have, 5, have}, PO_INK_LINE, PO_INK_NONE, 0);
        po_draw_rect(d, (po_box2){x + 49, 42 - 24, 5, 24}, PO_INK_PAPER, PO_INK_LINE, 0.35);
        po_draw_text(d, x + 42.5, 45.2, 2.4, PO_ANCHOR_MIDDLE, PO_INK_LINE, "has");
        po_draw_text(d, x + 51.5, 45.2, 2.4, PO_ANCHOR_MIDDLE, PO_INK_LINE, "needs");
    }
}

static void over_allowance(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = (half ? EX_RIGHT : EX_LEFT) + 4, used = half ? 27 : 46;
        po_draw_rect(d, (po_box2){x, 20, used, 7}, PO_INK_WASH, PO_INK_LINE, 0.35);
        if (!half) {
            po_draw_rect(d, (po_box2){x + 34, 20, used - 34, 7}, PO_INK_LINE, PO_INK_LINE, 0.35);
        }
        po_draw_line(d, x + 34, 15, x + 34, 32, PO_INK_LINE, 0.5);
        po_draw_text(d, x + 34, 13.5, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "free filament");
        po_ex_note(d, x, 36, half ? "less fill, fewer parts, smaller" : "beyond it: a waiver or paying");
    }
}

static void cut_short(po_drawing *d)
{
    po_ex_bed(d, EX_LEFT + 3, EX_LEFT + 56, EX_BED);
    double a[] = {EX_LEFT + 12, EX_BED, EX_LEFT + 40, EX_BED, EX_LEFT + 40, 34, EX_LEFT + 35, 31,
                  EX_LEFT + 30, 34,     EX_LEFT + 24, 31,     EX_LEFT + 18, 34, EX_LEFT + 12, 31};
    po_draw_polygon(d, a, 8, PO_INK_WASH, PO_INK_LINE, 0.4);
    po_ex_nozzle(d, EX_LEFT + 32, 32.5, 9);
    po_ex_note(d, EX_LEFT + 40, 24, "stops here, hot");
    po_ex_bed(d, EX_RIGHT + 3, EX_RIGHT + 56, EX_BED);
    po_ex_box(d, EX_RIGHT + 12, 20, 28, 25);
    po_ex_nozzle(d, EX_RIGHT + 49, 18, 9);
    po_draw_dashed(d, EX_LEFT + 12, 20, EX_LEFT + 40, 20, PO_INK_SOFT, 0.25, 1.2);
    po_draw_dashed(d, EX_LEFT + 12, 20, EX_LEFT + 12, 31, PO_INK_SOFT, 0.25, 1.2);
    po_draw_dashed(d, EX_LEFT + 40, 20, EX_LEFT + 40, 34, PO_INK_SOFT, 0.25, 1.2);
}

const po_explain *po_explain_desk(size_t *ret_n)
{
    static const po_explain ROWS[] = {
        {"pushes-cold", "Filament is pushed before it can melt.", "Heat and wait first, then push.", pushes_cold},
        {"leaves-heat-on", "The job is over and the heaters stay on.", "Words at the end switch them off.",
         leaves_heat_on},
        {"sits-hot", "A hot nozzle rests on one place for long.", "Lift it and let it cool while it waits.", sits_hot},
        {"needs-hands", "It waits for a person when nobody is there.", "Start it so that someone is.", needs_hands},
        {"spool-short", "The spool holds less than the job needs.", "Put on a fuller spool before it starts.",
         spool_short},
        {"over-allowance", "It takes more than the free filament.", "Use less, or settle it at the desk first.",
         over_allowance},
        {"cut-short", "The file breaks off: the part too.", "A whole file ends with a shutdown.", cut_short},
    };
    *ret_n = sizeof ROWS / sizeof *ROWS;
    return ROWS;
}
