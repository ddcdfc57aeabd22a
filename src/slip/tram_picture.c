/* A bed after tramming, from above. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/tram_picture.h"

#include <math.h>

#include "slip/bed_view.h"

enum { PAGE = 190, MARGIN = 10, HEAD_H = 16 };

/* One cell of the map: nothing within the tolerance, else lines, closer where it is farther from level. */
static void draw_cell(po_drawing *d, const po_tram_setup *s, const po_bed_view *v, int i, int j, double left)
{
    double w = (s->bed_x[1] - s->bed_x[0]) / PO_TRAM_MAP, h = (s->bed_y[1] - s->bed_y[0]) / PO_TRAM_MAP;
    double over = fabs(left) / s->tolerance_mm;
    po_box2 box = {po_bed_x(v, s->bed_x[0] + i * w), po_bed_y(v, s->bed_y[0] + (j + 1) * h), v->scale * w,
                   v->scale * h};
    if (!isnan(left) && over > 1) {
        po_draw_hatch_box(d, box, left > 0 ? 45 : -45, fmax(0.6, 2.4 / over), left > 0 ? PO_INK_STOP : PO_INK_ASK, 0.2);
    }
}

static void draw_screw(po_drawing *d, const po_tram *t, const po_tram_setup *s, const po_bed_view *v, size_t i)
{
    const po_tram_turn *turn = &t->turns[i];
    double x = po_bed_x(v, s->screws[i].x_mm), y = po_bed_y(v, s->screws[i].y_mm);
    double edge = 14; /* the words stand within the paper */
    double words_x = fmin(fmax(x, MARGIN + edge), PAGE - MARGIN - edge);
    po_draw_circle(d, x, y, 2.6, PO_INK_PAPER, PO_INK_LINE, 0.4);
    po_draw_textf(d, x, y + 1.1, 3, PO_ANCHOR_MIDDLE, PO_INK_LINE, "%zu", i + 1);
    if ((int)i == s->keep || turn->within) {
        po_draw_text(d, words_x, y + 6.4, 3, PO_ANCHOR_MIDDLE, PO_INK_LINE, (int)i == s->keep ? "keep" : "leave");
    } else {
        po_draw_textf(d, words_x, y + 6.4, 3, PO_ANCHOR_MIDDLE, PO_INK_LINE, "%.2f turn %s", turn->turns,
                      turn->clockwise ? "clockwise" : "counter");
    }
}

po_status po_tram_picture(const po_tram *t, const po_tram_reading *r, const po_tram_setup *s, const char *title,
                          po_picture_kind kind, po_arena *arena, po_document *ret, po_err *err)
{
    po_drawing d;
    double width = s->bed_x[1] - s->bed_x[0], height = s->bed_y[1] - s->bed_y[0];
    po_bed_view v = {MARGIN, MARGIN + HEAD_H, (PAGE - 2 * MARGIN) / width, s->bed_x[0], s->bed_y[1]};
    double h = v.scale * height, below = MARGIN + HEAD_H + h;
    po_draw_init(&d, arena, PAGE, below + 20, title,
                 "The bed from above: what is left after the turns, readings and screws");
    po_draw_bold(&d, MARGIN, MARGIN + 3, 4.4, PO_ANCHOR_START, PO_INK_LINE,
                 po_text_cut(arena, title, PAGE - 2 * MARGIN, 4.4, true));
    po_draw_textf(&d, MARGIN, MARGIN + 9, 3.2, PO_ANCHOR_START, PO_INK_SOFT,
                  "%.2f mm from top to bottom now, %.2f mm after the turns; %.0f %% of the bed within %.2f mm of level",
                  t->before_mm, t->after_mm, 100 * t->share_within, s->tolerance_mm);
    po_draw_begin(&d, "what is left after the turns");
    for (int j = 0; j < PO_TRAM_MAP; j++) {
        for (int i = 0; i < PO_TRAM_MAP; i++) {
            draw_cell(&d, s, &v, i, j, t->map_mm[j * PO_TRAM_MAP + i]);
        }
    }
    if (s->round_bed) {
        po_draw_circle(&d, v.x + h / 2, v.y + h / 2, h / 2, PO_INK_NONE, PO_INK_LINE, 0.4);
    } else {
        po_draw_rect(&d, (po_box2){v.x, v.y, v.scale * width, h}, PO_INK_NONE, PO_INK_LINE, 0.4);
    }
    po_draw_end(&d);
    po_draw_begin(&d, "readings");
    for (size_t i = 0; i < t->n && t->n <= 100; i++) {
        double x = po_bed_x(&v, r[i].x_mm), y = po_bed_y(&v, r[i].y_mm);
        po_draw_circle(&d, x, y, 0.6, PO_INK_LINE, PO_INK_NONE, 0);
        po_draw_textf(&d, x, y - 3.2, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "%+.2f", t->left_mm[i]);
    }
    po_draw_end(&d);
    po_draw_begin(&d, "screws");
    for (size_t i = 0; i < s->n_screws; i++) {
        draw_screw(&d, t, s, &v, i);
    }
    po_draw_end(&d);
    po_draw_text(&d, MARGIN + v.scale * width / 2, below + 4, 2.6, PO_ANCHOR_MIDDLE, PO_INK_SOFT, "front");
    po_draw_text(&d, MARGIN, below + 10, 2.8, PO_ANCHOR_START, PO_INK_SOFT,
                 "Small figures: mm above (+) or below (-) level after the turns. Hatched: farther from level than the "
                 "tolerance,");
    po_draw_text(
        &d, MARGIN, below + 14.5, 2.8, PO_ANCHOR_START, PO_INK_SOFT,
        "lines rising to the right where high, to the left where low. Turns are as seen from the knob's side.");
    return po_bed_document(&d, kind, title, arena, ret, err);
}
