/* Drawings: findings about beads and layers. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "slip/explain_kit.h"

#define W 6.0 /* a bead as these drawings show it */
#define H 2.6

static void prints_on_air(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        po_ex_stack(d, x + 12, EX_BED, 12, W, H, 0);
        double y = EX_BED - 8 * H;
        for (int i = 0; i < 4; i++) {
            po_ex_bead(d, x + 26 + 5.6 * i, y, W, H, !half);
        }
        if (half) {
            po_ex_stack(d, x + 28, EX_BED, 8, 2.2, H, 0);
            po_ex_stack(d, x + 40, EX_BED, 8, 2.2, H, 0);
            po_ex_note(d, x + 44, 41, "support");
        } else {
            for (int i = 0; i < 3; i++) {
                po_draw_arrow(d, x + 28 + 6 * i, y + 1.5, x + 28 + 6 * i, y + 9, PO_INK_STOP, 0.4);
            }
            po_ex_note(d, x + 26, y + 13, "nothing beneath");
        }
    }
}

/* A strand from x0 to x1 that sags in the middle. */
static void strand(po_drawing *d, double x0, double x1, double y, double sag)
{
    enum { STEPS = 24 };
    double q[2 * (STEPS + 1)];
    for (int i = 0; i <= STEPS; i++) {
        double t = (double)i / STEPS;
        q[2 * i] = x0 + (x1 - x0) * t;
        q[2 * i + 1] = y + sag * 4 * t * (1 - t);
    }
    po_draw_polyline(d, q, STEPS + 1, PO_INK_LINE, 1.7);
}

static void long_bridge(po_drawing *d)
{
    po_ex_bed(d, EX_LEFT + 2, EX_LEFT + 57, EX_BED);
    po_ex_box(d, EX_LEFT + 5, 23, 9, 22);
    po_ex_box(d, EX_LEFT + 45, 23, 9, 22);
    strand(d, EX_LEFT + 6, EX_LEFT + 53, 22, 8);
    po_ex_length(d, EX_LEFT + 14, EX_LEFT + 45, 15, "free length");
    po_ex_bed(d, EX_RIGHT + 2, EX_RIGHT + 57, EX_BED);
    po_ex_box(d, EX_RIGHT + 5, 23, 9, 22);
    po_ex_box(d, EX_RIGHT + 45, 23, 9, 22);
    po_ex_box(d, EX_RIGHT + 27.5, 23, 4, 22);
    strand(d, EX_RIGHT + 6, EX_RIGHT + 53, 22, 0.2);
    po_ex_note(d, EX_RIGHT + 24, 15, "a rib");
}

static void steep_overhang(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, lean = half ? 1.6 : 5.2;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        po_ex_stack(d, x + 12, EX_BED, 4, W, H, 0);
        for (int i = 0; i < 6; i++) {
            po_ex_bead(d, x + 12 + lean * (i + 1), EX_BED - H * (4 + i), W, H, !half && i > 0);
        }
        po_draw_dashed(d, x + 15, EX_BED - 4 * H, x + 15, 12, PO_INK_SOFT, 0.25, 1);
        po_draw_line(d, x + 15, EX_BED - 4 * H, x + 15 + lean * 8.6, EX_BED - 4 * H - H * 8.6, PO_INK_SOFT, 0.25);
        po_ex_note(d, x + 17, 11, half ? "lean under the limit" : "lean");
    }
}

static void missing_layers(po_drawing *d)
{
    po_ex_bed(d, EX_LEFT + 3, EX_LEFT + 56, EX_BED);
    double y = po_ex_stack(d, EX_LEFT + 25, EX_BED, 4, 22, H, 0);
    po_ex_stack(d, EX_LEFT + 25, y - 3.5 * H, 3, 22, H, 0);
    po_ex_height(d, EX_LEFT + 41, y, y - 3.5 * H, "air");
    po_ex_bed(d, EX_RIGHT + 3, EX_RIGHT + 56, EX_BED);
    po_ex_stack(d, EX_RIGHT + 25, EX_BED, 11, 22, H, 0);
}

static void starts_in_the_air(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, y = half ? EX_BED : EX_BED - 8;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        po_ex_nozzle(d, x + 36, y - 2.8, 10);
        po_ex_bead(d, x + 24, y, 24, 2.6, true);
        if (!half) {
            po_ex_height(d, x + 48, y, EX_BED, "gap");
        }
    }
}

static void first_layer(po_drawing *d, double h_left, double w_left)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, h = half ? 3.4 : h_left, w = half ? 8 : w_left;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        for (int i = 0; i < 4; i++) {
            po_ex_bead(d, x + 12 + i * (half ? 7.5 : fmax(w * 0.94, 7.5)), EX_BED, w, h, !half);
        }
        po_ex_nozzle(d, x + 34.5, EX_BED - h, 13);
        po_ex_height(d, x + 49, EX_BED - h, EX_BED, "");
    }
}

static void first_too_thick(po_drawing *d)
{
    first_layer(d, 6.4, 6.4);
}

static void first_too_thin(po_drawing *d)
{
    first_layer(d, 1.1, 8);
}

static void bead_width(po_drawing *d, double w_left)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, w = half ? 8 : w_left;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        po_ex_row(d, x + 29, EX_BED, 5, 8, 3);
        po_ex_bead(d, x + 29, EX_BED - 3, w, 3, true);
        po_ex_nozzle(d, x + 29, EX_BED - 6, 14);
        po_ex_length(d, x + 29 - w / 2, x + 29 + w / 2, 15, "width");
    }
}

static void bead_too_wide(po_drawing *d)
{
    bead_width(d, 27);
}

static void bead_too_thin(po_drawing *d)
{
    bead_width(d, 2.6);
}

static void layer_too_thick(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, h = half ? 3 : 7;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        for (int i = 0; i < (half ? 5 : 2); i++) {
            po_ex_bead(d, x + 26, EX_BED - i * h, half ? 8 : 7, h, false);
        }
        po_ex_nozzle(d, x + 26, EX_BED - (half ? 15 : 14), 11);
        po_ex_height(d, x + 42, EX_BED, EX_BED - h, "layer");
    }
    po_ex_note(d, EX_LEFT + 36, 22, "touch in a line");
    po_ex_note(d, EX_RIGHT + 36, 22, "pressed flat");
}

static void melts_too_fast(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = (half ? EX_RIGHT : EX_LEFT) + 29, tip = EX_BED - 3;
        po_ex_bed(d, x - 26, x + 27, EX_BED);
        po_ex_nozzle(d, x, tip, 20);
        po_draw_rect(d, (po_box2){x - 3.4, 6, 6.8, half ? 17 : 25}, PO_INK_LINE, PO_INK_LINE, 0.2);
        po_draw_text(d, x + 16, half ? 20 : 28, 2.6, PO_ANCHOR_START, PO_INK_LINE, "still solid");
        po_draw_arrow(d, x + 15.5, half ? 19 : 27, x + 4, half ? 19 : 27, PO_INK_SOFT, 0.25);
        for (int i = 0; i < (half ? 1 : 3); i++) {
            po_draw_arrow(d, x - 17 - 3.2 * i, 10, x - 17 - 3.2 * i, 22, PO_INK_LINE, 0.4);
        }
        po_ex_bead(d, x - 10, EX_BED, 18, 2.6, true);
    }
}

static void layer_too_quick(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        for (int i = 0; i < 11; i++) {
            double sway = half ? 0 : 1.7 * sin(i * 1.3) * i / 10, sag = half ? 6 : 6 + 0.35 * i;
            po_ex_bead(d, x + 26 + sway, EX_BED - i * 2.3, sag, 2.6, !half && i > 6);
        }
        po_ex_note(d, x + 35, 20, half ? "time to set" : "still soft");
    }
}

static void few_roofs(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        for (int i = 0; i < 6; i++) {
            po_ex_stack(d, x + 10 + 7.6 * i, EX_BED, 7, 2.4, H, 0);
        }
        double y = EX_BED - 7 * H;
        for (int k = 0; k < (half ? 4 : 1); k++) {
            for (int i = 0; i < 5; i++) {
                double sag = half && k ? 0 : 1.6;
                strand(d, x + 10 + 7.6 * i, x + 17.6 + 7.6 * i, y - 1 - 1.9 * k, sag);
            }
        }
    }
}

static void grinds(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = (half ? EX_RIGHT : EX_LEFT) + 28;
        po_draw_rect(d, (po_box2){x - 2, 6, 4, 38}, PO_INK_WASH, PO_INK_LINE, 0.3);
        po_draw_circle(d, x - 9, 25, 7, PO_INK_PAPER, PO_INK_LINE, 0.4);
        for (int i = 0; i < 20; i++) {
            double a = i * M_PI / 10;
            po_draw_line(d, x - 9 + 6.2 * cos(a), 25 + 6.2 * sin(a), x - 9 + 7.2 * cos(a), 25 + 7.2 * sin(a),
                         PO_INK_LINE, 0.4);
        }
        po_draw_circle(d, x + 7, 25, 5, PO_INK_PAPER, PO_INK_LINE, 0.4);
        if (!half) {
            double bite[] = {x - 2.2, 20, x - 0.2, 22, x - 0.2, 28, x - 2.2, 30};
            po_draw_polygon(d, bite, 4, PO_INK_PAPER, PO_INK_LINE, 0.3);
            po_draw_arrow(d, x + 15, 32, x + 15, 18, PO_INK_LINE, 0.4);
            po_draw_arrow(d, x + 18, 18, x + 18, 32, PO_INK_LINE, 0.4);
            po_ex_note(d, x + 14, 38, "to and fro");
        } else {
            po_draw_arrow(d, x + 15, 18, x + 15, 32, PO_INK_LINE, 0.4);
        }
    }
}

const po_explain *po_explain_beads(size_t *ret_n)
{
    static const po_explain ROWS[] = {
        {"prints-on-air", "Beads are laid where nothing carries them.", "Supports carry them; or turn the part.",
         prints_on_air},
        {"long-bridge", "A strand spans too far and sags.", "Shorter spans hang straight: add a rib.", long_bridge},
        {"steep-overhang", "Each bead hangs out more than half over nothing.", "Lean less, or support it.",
         steep_overhang},
        {"missing-layers", "A gap in height: what is above falls.", "Layers follow each other without a gap.",
         missing_layers},
        {"starts-in-the-air", "The first bead is far above the bed.", "It must be pressed onto the bed.",
         starts_in_the_air},
        {"first-layer-too-thick", "A thick first layer barely touches the bed.", "Pressed a little flat, it holds.",
         first_too_thick},
        {"first-layer-too-thin", "Too thin: the nozzle scrapes and jams.", "Leave room for a flat, wide bead.",
         first_too_thin},
        {"bead-too-wide", "Wider than the nozzle can press down.", "About as wide as the nozzle, up to twice.",
         bead_too_wide},
        {"bead-too-thin", "A thread that does not reach its neighbours.", "Not much narrower than the nozzle.",
         bead_too_thin},
        {"layer-too-thick", "Beads lie like ropes: they hardly join.", "A layer is lower than the nozzle is wide.",
         layer_too_thick},
        {"melts-too-fast", "Filament comes faster than it can melt.", "Slower, thinner or narrower beads.",
         melts_too_fast},
        {"layer-too-quick", "A small layer is covered before it is hard.", "Slow down, or print several at once.",
         layer_too_quick},
        {"few-roofs", "One roof sags between the lines of fill.", "Several roofs close it.", few_roofs},
        {"grinds-filament", "The drive wheel files the same place thin.", "Fewer or shorter retractions.", grinds},
    };
    *ret_n = sizeof ROWS / sizeof *ROWS;
    return ROWS;
}
