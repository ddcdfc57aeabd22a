/* Bedfuls from above. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "proveout/nest_picture.h"
#include "slip/bed_view.h"

enum { PAGE = 190, MARGIN = 8, BEDS_MOST = 24, NAMES_MOST = 60 };
static const double GAP = 6, HEAD_H = 14, LINE_H = 4.6;

static void draw_bed(po_drawing *d, const po_machine *m, const po_bed_view *v, double width, double height)
{
    po_box2 box = {v->x, v->y, v->scale * width, v->scale * height};
    if (m->round_bed) {
        po_draw_circle(d, box.x + box.w / 2, box.y + box.h / 2, box.w / 2, PO_INK_PAPER, PO_INK_LINE, 0.4);
    } else {
        po_draw_rect(d, box, PO_INK_PAPER, PO_INK_LINE, 0.4);
    }
    for (size_t i = 0; i < m->n_keep_outs; i++) {
        const po_keep_out *k = &m->keep_outs[i];
        double x0 = fmax(box.x, po_bed_x(v, k->x.low)), x1 = fmin(box.x + box.w, po_bed_x(v, k->x.high));
        double y0 = fmax(box.y, po_bed_y(v, k->y.high)), y1 = fmin(box.y + box.h, po_bed_y(v, k->y.low));
        if (x0 < x1 && y0 < y1) {
            po_draw_hatch_box(d, (po_box2){x0, y0, x1 - x0, y1 - y0}, 45, 1, PO_INK_SOFT, 0.2);
            po_draw_rect(d, (po_box2){x0, y0, x1 - x0, y1 - y0}, PO_INK_NONE, PO_INK_SOFT, 0.25);
        }
    }
    po_draw_textf(d, box.x + box.w / 2, box.y + box.h + 3.2, 2.5, PO_ANCHOR_MIDDLE, PO_INK_SOFT, "front");
}

static double loop_area(const double *xy, size_t n)
{
    uint32_t end = (uint32_t)n;
    po_loops one = {xy, n, &end, 1};
    return po_loops_area(&one);
}

/* Where a number can stand: the middle of the longest level stretch inside, of a few tried. */
static bool label_at(const po_loops *l, double *ret_x, double *ret_y, double *ret_room)
{
    double b[4], best = 0;
    if (!po_loops_bounds(l, b)) {
        return false;
    }
    enum { ROWS = 15, COLUMNS = 60 };
    for (int r = 1; r <= ROWS; r++) {
        double y = b[1] + (b[3] - b[1]) * r / (ROWS + 1), step = (b[2] - b[0]) / COLUMNS, from = 0;
        bool in = false;
        for (int c = 0; c <= COLUMNS + 1; c++) {
            double x = b[0] + step * (c + 0.5);
            bool now = c <= COLUMNS && po_loops_winding(l, x, y) > 0;
            if (now && !in) {
                from = x;
            }
            /* near the middle of its height wins where stretches are alike */
            double length = (x - from) * (1 - 0.3 * fabs(2.0 * r / (ROWS + 1) - 1));
            if (!now && in && length > best) {
                best = length;
                *ret_x = (from + x - step) / 2;
                *ret_y = y;
            }
            in = now;
        }
    }
    *ret_room = best;
    return best > 0;
}

static void draw_place(po_drawing *d, const po_nest_sheet *s, const po_nest_place *p, size_t order,
                       const po_bed_view *v)
{
    double c = cos(p->turn_deg * M_PI / 180), sn = sin(p->turn_deg * M_PI / 180);
    const po_loops *bands = s->parts[p->part].bands;
    for (size_t b = s->n_bands; b-- > 0;) { /* the lowest last, over the others */
        const po_loops *l = &bands[b];
        double *xy = po_arena_zeros(d->arena, l->n_points + 1, 2 * sizeof *xy);
        if (!xy) {
            d->failed = true;
            return;
        }
        for (size_t i = 0; i < l->n_points; i++) {
            double x = c * l->xy[2 * i] - sn * l->xy[2 * i + 1] + p->x;
            double y = sn * l->xy[2 * i] + c * l->xy[2 * i + 1] + p->y;
            xy[2 * i] = po_bed_x(v, x);
            xy[2 * i + 1] = po_bed_y(v, y);
        }
        for (int holes = 0; holes < 2; holes++) {
            for (size_t i = 0; i < l->n_loops; i++) {
                size_t first = i ? l->ends[i - 1] : 0;
                if ((loop_area(l->xy + 2 * first, l->ends[i] - first) < 0) == (holes == 1)) {
                    po_draw_polygon(d, xy + 2 * first, l->ends[i] - first, holes ? PO_INK_PAPER : PO_INK_WASH,
                                    b ? PO_INK_SOFT : PO_INK_LINE, b ? 0.15 : 0.25);
                }
            }
        }
    }
    double x, y, room;
    const po_loops *l = bands;
    for (size_t b = 0; b < s->n_bands && l->n_points == 0; b++) {
        l = bands + b;
    }
    if (label_at(l, &x, &y, &room)) {
        double size = fmin(3.4, fmax(1.5, room * v->scale * 0.45));
        double px = po_bed_x(v, c * x - sn * y + p->x), py = po_bed_y(v, sn * x + c * y + p->y) + size * 0.36;
        const char *text = s->in_order ? po_arena_printf(d->arena, "%u.%zu", p->part + 1, order)
                                       : po_arena_printf(d->arena, "%u", p->part + 1);
        if (text) {
            po_draw_bold(d, px, py, size, PO_ANCHOR_MIDDLE, PO_INK_LINE, text);
        }
    }
}

/* Holes are drawn as paper, so what lies in one has to come after what is around it. */
static void draw_bedful(po_drawing *d, const po_nest_sheet *s, size_t at, const po_bed_view *v)
{
    const po_bedful *bed = &s->nest->bedfuls[at];
    for (int inner = 0; inner < 2; inner++) {
        for (size_t i = 0; i < bed->n_places; i++) {
            if (bed->places[i].in_hole == (inner == 1)) {
                draw_place(d, s, &bed->places[i], i + 1, v);
            }
        }
    }
}

po_status po_nest_picture(const po_nest_sheet *s, po_picture_kind kind, po_arena *arena, po_document *ret, po_err *err)
{
    po_drawing d;
    po_range side[2];
    po_machine_bed_extent(s->machine, &side[0], &side[1]);
    double width = side[0].high - side[0].low, height = side[1].high - side[1].low;
    size_t n = s->nest->n_bedfuls < BEDS_MOST ? s->nest->n_bedfuls : BEDS_MOST, columns = n > 6 ? 3 : n > 1 ? 2 : 1;
    double column = (PAGE - 2 * MARGIN - GAP * (double)(columns - 1)) / (double)columns;
    double scale = fmin(column / width, 170 / height), bed_h = scale * height, row_h = bed_h + 14;
    size_t rows = (n + columns - 1) / columns, named = s->n_parts < NAMES_MOST ? s->n_parts : NAMES_MOST;
    bool more = s->nest->n_bedfuls > n;
    double total = MARGIN + HEAD_H + (double)rows * row_h + LINE_H * (double)(named + more + 1 + (named < s->n_parts)) +
                   MARGIN;
    po_draw_init(&d, arena, PAGE, total, s->title, "Beds from above with the parts that lie on each, numbered");
    po_draw_bold(&d, MARGIN, MARGIN + 4, 4.4, PO_ANCHOR_START, PO_INK_LINE,
                 po_text_cut(arena, s->title, PAGE - 2 * MARGIN, 4.4, true));
    po_draw_textf(&d, MARGIN, MARGIN + 9.5, 3.2, PO_ANCHOR_START, PO_INK_SOFT, "%zu bedful%s for %s, %.0f %s%.0f mm%s",
                  s->nest->n_bedfuls, s->nest->n_bedfuls == 1 ? "" : "s", s->machine->name, width,
                  s->machine->round_bed ? "mm across, height " : "x ",
                  s->machine->round_bed ? s->machine->height_mm : height,
                  s->in_order ? "; part.order: printed one after another" : "");
    for (size_t i = 0; i < n; i++) {
        double x = MARGIN + (column + GAP) * (double)(i % columns), y = MARGIN + HEAD_H + row_h * (double)(i / columns);
        po_bed_view v = {x, y + 5, scale, side[0].low, side[1].high};
        const po_bedful *bed = &s->nest->bedfuls[i];
        const char *title = po_arena_printf(arena, "bedful %zu: %zu part%s%s%s", i + 1, bed->n_places,
                                            bed->n_places == 1 ? "" : "s", s->heads ? ", " : "",
                                            s->heads ? s->heads[i] : "");
        po_draw_begin(&d, title);
        po_draw_text(&d, x, y + 3.4, 3, PO_ANCHOR_START, PO_INK_LINE,
                     po_text_cut(arena, title ? title : "", column, 3, false));
        draw_bed(&d, s->machine, &v, width, height);
        draw_bedful(&d, s, i, &v);
        po_draw_end(&d);
    }
    double y = MARGIN + HEAD_H + row_h * (double)rows + 4;
    if (more) {
        po_draw_textf(&d, MARGIN, y, 3, PO_ANCHOR_START, PO_INK_SOFT, "and %zu bedfuls more, which are not drawn",
                      s->nest->n_bedfuls - n);
        y += LINE_H;
    }
    for (size_t i = 0; i < named; i++, y += LINE_H) {
        const char *line = po_arena_printf(arena, "%zu  %s", i + 1, s->names[i]);
        po_draw_text(&d, MARGIN, y, 3, PO_ANCHOR_START, PO_INK_LINE,
                     po_text_cut(arena, line ? line : "", PAGE - 2 * MARGIN, 3, false));
    }
    if (named < s->n_parts) {
        po_draw_textf(&d, MARGIN, y, 3, PO_ANCHOR_START, PO_INK_SOFT, "and %zu parts more", s->n_parts - named);
    }
    return po_bed_document(&d, kind, s->title, arena, ret, err);
}
