/* A chart of shares over time, on paper. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/wear_picture.h"

#include <math.h>

#include "slip/bed_view.h"

enum { PAGE_W = 190, PAGE_H = 114, LEFT = 22, RIGHT = 184, TOP = 34, BOTTOM = 92, MOST = 520, NAMES = 6 };

typedef struct scale {
    double most; /* share at the top */
    size_t n;
} scale;

static double x_of(const scale *s, double i)
{
    return LEFT + (RIGHT - LEFT) * (i + 0.5) / (double)s->n;
}

static double y_of(const scale *s, double share)
{
    return BOTTOM - (BOTTOM - TOP) * share / s->most;
}

static void draw_frame(po_drawing *d, const scale *s, const po_wear_chart *c)
{
    double step = s->most > 0.5 ? 0.2 : s->most > 0.2 ? 0.1 : 0.05;
    for (double share = 0; share <= s->most + 1e-9; share += step) {
        po_draw_line(d, LEFT, y_of(s, share), RIGHT, y_of(s, share), PO_INK_FAINT, 0.15);
        po_draw_textf(d, LEFT - 2, y_of(s, share) + 1, 2.8, PO_ANCHOR_END, PO_INK_SOFT, "%.0f", 100 * share);
    }
    po_draw_text(d, LEFT - 2, TOP - 3, 2.8, PO_ANCHOR_END, PO_INK_SOFT, "of 100");
    po_draw_line(d, LEFT, y_of(s, c->centre), RIGHT, y_of(s, c->centre), PO_INK_LINE, 0.3);
}

static void draw_period(po_drawing *d, const scale *s, const po_wear_point *p, const po_wear_period *period, size_t i)
{
    double half = fmin(2, (RIGHT - LEFT) / (double)s->n / 2), x = x_of(s, (double)i), y = y_of(s, p->share);
    po_draw_dashed(d, x - half, y_of(s, p->high), x + half, y_of(s, p->high), PO_INK_LINE, 0.25, 0.7);
    if (p->low > 0) {
        po_draw_dashed(d, x - half, y_of(s, p->low), x + half, y_of(s, p->low), PO_INK_LINE, 0.25, 0.7);
    }
    po_draw_circle(d, x, y, fmin(0.9, half), PO_INK_LINE, PO_INK_NONE, 0);
    if (p->signal != PO_WEAR_QUIET) {
        bool worse = p->signal == PO_WEAR_ABOVE || p->signal == PO_WEAR_ROW_HIGH;
        po_draw_circle(d, x, y, 2, PO_INK_NONE, worse ? PO_INK_STOP : PO_INK_YES, 0.5);
        po_draw_textf(d, x, y - 3, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "%lld of %lld", (long long)period->failed,
                      (long long)period->n);
    }
}

po_status po_wear_chart_picture(const po_wear_chart *c, const po_wear_point *points, const po_wear_period *periods,
                                const char *const *names, size_t n, const char *title, const char *says,
                                po_picture_kind kind, po_arena *arena, po_document *ret, po_err *err)
{
    po_drawing d;
    scale s = {c->centre * 1.2, n};
    const char *lines[2];
    if (n == 0 || n > MOST) {
        return po_fail(err, PO_E_LIMIT, "%zu periods are too many for one picture (at most %d): choose a shorter time",
                       n, MOST);
    }
    for (size_t i = 0; i < n; i++) {
        s.most = periods[i].n > 0 ? fmax(s.most, 1.1 * fmax(points[i].share, fmin(points[i].high, 0.6))) : s.most;
    }
    s.most = fmax(0.05, ceil(fmin(1, s.most) * 20 - 1e-9) / 20);
    po_draw_init(&d, arena, PAGE_W, PAGE_H, title, says);
    po_draw_bold(&d, 10, 13, 4.4, PO_ANCHOR_START, PO_INK_LINE, po_text_cut(arena, title, PAGE_W - 20, 4.4, true));
    size_t n_lines = po_text_wrap(arena, says, PAGE_W - 20, 3.2, false, lines, 2);
    for (size_t i = 0; i < n_lines; i++) {
        po_draw_text(&d, 10, 19 + 4.4 * (double)i, 3.2, PO_ANCHOR_START, PO_INK_LINE, lines[i]);
    }
    draw_frame(&d, &s, c);
    size_t every = (n + NAMES - 1) / NAMES;
    for (size_t i = 0; i < n; i++) {
        if (periods[i].n > 0) {
            draw_period(&d, &s, &points[i], &periods[i], i);
        }
        if (i % every == 0) {
            po_draw_text(&d, x_of(&s, (double)i), BOTTOM + 5, 2.6, PO_ANCHOR_MIDDLE, PO_INK_SOFT, names[i]);
        }
    }
    po_draw_textf(
        &d, 10, PAGE_H - 9, 2.8, PO_ANCHOR_START, PO_INK_SOFT,
        "Dots: so many of 100 runs failed. Line: their mean, %.1f. Dashed: three standard deviations for that "
        "period's runs.",
        100 * c->centre);
    po_draw_text(
        &d, 10, PAGE_H - 4.6, 2.8, PO_ANCHOR_START, PO_INK_SOFT,
        "Rings, with figures: rarer than chance, all periods taken together, or the end of a row of nine that is.");
    return po_bed_document(&d, kind, title, arena, ret, err);
}
