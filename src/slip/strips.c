/* Strips of machines against desk hours. SPDX-License-Identifier: Apache-2.0
 *
 * A row for the desk (somebody is there) and one for each machine; time goes to the right. In a run: heating and watch dark, then the run, then
 * hatched while the machine stands full; a whisker over its end says how early or late that may be. Kinds differ by outline and flag, not by
 * colour alone. */
#include "proveout/strips.h"

#include <math.h>
#include <string.h>

#include "slip/drawing.h"
#include "slip/render.h"
#include "slip/say.h"

enum { DAYS_MOST = 70 };
static const double page_w = 297, left = 34, right = 8, top = 34, row_h = 9, gap = 2.5, foot = 22;
static const int64_t hour_ms = 3600000;

typedef struct page {
    const po_strips *s;
    po_drawing d;
    double scale; /* mm a ms */
} page;

static double x_of(const page *p, int64_t ms)
{
    int64_t in = ms < p->s->from_ms ? p->s->from_ms : ms > p->s->until_ms ? p->s->until_ms : ms;
    return left + (double)(in - p->s->from_ms) * p->scale;
}

static double y_of(size_t row)
{
    return top + (double)row * (row_h + gap);
}

static double bottom_of(const page *p)
{
    return y_of(p->s->n_rows + 1) - gap;
}

/* Hours and days as lines, with words where there is room. */
static void draw_times(page *p)
{
    static const char *const days[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};
    static const int steps[] = {1, 2, 3, 6, 12, 24};
    int each = 24;
    for (size_t i = sizeof steps / sizeof steps[0]; i-- > 0;) {
        each = (double)steps[i] * (double)hour_ms * p->scale >= 9 ? steps[i] : each;
    }
    double free_at = 0, day_free = 0;
    int last_day = -1;
    for (int64_t ms = p->s->from_ms - p->s->from_ms % (hour_ms / 4); ms < p->s->until_ms; ms += hour_ms / 4) {
        po_wall_time w = po_zone_wall(p->s->calendar->zone, ms, NULL);
        if (ms < p->s->from_ms) {
            continue;
        }
        double x = x_of(p, ms);
        bool midnight = w.minute == 0;
        if ((midnight || last_day < 0) && x >= day_free) {
            const char *text = po_arena_printf(p->d.arena, "%s %d", days[po_weekday(w.date)], w.date.day);
            po_draw_bold(&p->d, x + 0.6, top - 6.5, 2.8, PO_ANCHOR_START, PO_INK_LINE, text);
            day_free = x + po_text_width(text, 2.8, true) + 2;
        }
        last_day = w.date.day;
        if (midnight) {
            po_draw_line(&p->d, x, top - 9, x, bottom_of(p), PO_INK_SOFT, 0.25);
        }
        if (w.minute % (each * 60) == 0 && each < 24) {
            if (!midnight) {
                po_draw_line(&p->d, x, top - 1.5, x, bottom_of(p), PO_INK_FAINT, 0.1);
            }
            if (x >= free_at && x < page_w - right - 3) {
                po_draw_textf(&p->d, x, top - 2.3, 2.3, PO_ANCHOR_MIDDLE, PO_INK_SOFT, "%d", w.minute / 60);
                free_at = x + 5;
            }
        }
    }
}

static void draw_desk(page *p)
{
    po_ms_span s;
    po_draw_begin(&p->d, "desk hours");
    po_draw_text(&p->d, left - 2, y_of(0) + row_h * 0.65, 3, PO_ANCHOR_END, PO_INK_SOFT, "desk");
    for (int64_t at = p->s->from_ms; po_calendar_next(p->s->calendar, at, &s) && s.from_ms < p->s->until_ms;
         at = s.until_ms) {
        double a = x_of(p, s.from_ms), b = x_of(p, s.until_ms);
        po_draw_rect(&p->d, (po_box2){a, y_of(0) + 2, b - a, row_h - 4}, PO_INK_SOFT, PO_INK_NONE, 0);
        po_draw_rect(&p->d, (po_box2){a, y_of(1) - gap / 2, b - a, bottom_of(p) - y_of(1) + gap / 2}, PO_INK_WASH,
                     PO_INK_NONE, 0);
    }
    po_draw_end(&p->d);
}

static void draw_held(page *p, const po_strip_run *r, double y)
{
    double a = x_of(p, r->start_ms), b = x_of(p, r->off_ms);
    po_box2 box = {a, y + 1, b - a, row_h - 2};
    if (b - a < 0.2) {
        return;
    }
    po_draw_rect(&p->d, box, PO_INK_PAPER, PO_INK_SOFT, 0.15);
    po_draw_hatch_box(&p->d, box, r->kind == PO_STRIP_CLOSED ? -45 : 45, r->kind == PO_STRIP_CLOSED ? 1 : 1.6,
                      PO_INK_SOFT, 0.12);
    if (*r->label && po_text_width(r->label, 2.6, true) + 2 < b - a) {
        double w = po_text_width(r->label, 2.6, true) + 1.4;
        po_draw_rect(&p->d, (po_box2){a + 0.8, y + 2.6, w, row_h - 5.2}, PO_INK_PAPER, PO_INK_NONE, 0);
        po_draw_bold(&p->d, a + 1.5, y + row_h * 0.61, 2.6, PO_ANCHOR_START, PO_INK_SOFT, r->label);
    }
}

static void draw_run(page *p, const po_strip_run *r)
{
    double y = y_of(r->row + 1), a = x_of(p, r->start_ms), w = x_of(p, r->watch_ms), e = x_of(p, r->end_ms),
           o = x_of(p, r->off_ms);
    po_draw_begin(&p->d, r->label);
    if (r->kind == PO_STRIP_TAKEN || r->kind == PO_STRIP_CLOSED) {
        draw_held(p, r, y);
        po_draw_end(&p->d);
        return;
    }
    po_ink edge = r->kind == PO_STRIP_LATE ? PO_INK_STOP : PO_INK_LINE;
    double thick = r->kind == PO_STRIP_PLANNED ? 0.2 : 0.55;
    po_draw_rect(&p->d, (po_box2){a, y + 1, fmax(e - a, 0.3), row_h - 2}, PO_INK_PAPER, edge, thick);
    po_draw_rect(&p->d, (po_box2){a, y + 1, fmax(w - a, 0.4), row_h - 2}, PO_INK_SOFT, PO_INK_NONE, 0);
    if (o - e > 0.3) {
        po_box2 box = {e, y + 2.2, o - e, row_h - 4.4};
        po_draw_rect(&p->d, box, PO_INK_PAPER, PO_INK_SOFT, 0.12);
        po_draw_hatch_box(&p->d, box, 60, 1.2, PO_INK_SOFT, 0.12);
    }
    double low = x_of(p, r->end_low_ms), high = x_of(p, r->end_high_ms);
    if (high - low > 0.4) {
        po_draw_line(&p->d, low, y + 0.3, high, y + 0.3, edge, 0.25);
        po_draw_line(&p->d, low, y - 0.2, low, y + 0.8, edge, 0.2);
        po_draw_line(&p->d, high, y - 0.2, high, y + 0.8, edge, 0.2);
    }
    for (size_t i = 0; i < r->n_hands; i++) {
        double x = x_of(p, r->hands_ms[i]);
        po_draw_line(&p->d, x, y + 0.4, x, y + row_h - 0.4, PO_INK_ASK, 0.5);
    }
    const char *label = r->kind == PO_STRIP_LATE ? po_arena_printf(p->d.arena, "%s !", r->label) : r->label;
    if (label && *label && po_text_width(label, 2.6, true) + 1 < e - w) {
        po_draw_bold(&p->d, w + 0.6, y + row_h * 0.61, 2.6, PO_ANCHOR_START, edge, label);
    } else if (label) { /* too short for words: above it */
        po_draw_bold(&p->d, a, y + 0.5, 1.9, PO_ANCHOR_START, edge, label);
    }
    po_draw_end(&p->d);
}

/* What the marks mean, once, at the foot. */
static void draw_legend(page *p)
{
    static const struct {
        po_strip_kind kind;
        const char *says;
    } kinds[] = {{PO_STRIP_PLANNED, "planned"},
                 {PO_STRIP_PROMISED, "promised"},
                 {PO_STRIP_LATE, "late"},
                 {PO_STRIP_TAKEN, "on it now"},
                 {PO_STRIP_CLOSED, "out of use"}};
    double y = bottom_of(p) + 5, x = left;
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        bool used = i == 0;
        for (size_t k = 0; k < p->s->n_runs && !used; k++) {
            used = p->s->runs[k].kind == kinds[i].kind;
        }
        if (!used) {
            continue;
        }
        po_box2 box = {x, y, 8, 4};
        po_draw_rect(&p->d, box, PO_INK_PAPER, kinds[i].kind == PO_STRIP_LATE ? PO_INK_STOP : PO_INK_LINE,
                     i == 1 || i == 2 ? 0.55 : 0.2);
        if (i >= 3) {
            po_draw_hatch_box(&p->d, box, i == 3 ? 45 : -45, i == 3 ? 1.6 : 1, PO_INK_SOFT, 0.12);
        }
        const char *says = i == 2 ? "late (!)" : kinds[i].says;
        po_draw_text(&p->d, x + 9.5, y + 3.1, 2.6, PO_ANCHOR_START, PO_INK_SOFT, says);
        x += 12 + po_text_width(says, 2.6, false) + 4;
    }
    po_draw_text(
        &p->d, left, y + 9, 2.6, PO_ANCHOR_START, PO_INK_SOFT,
        "Dark: heating and watch. Hatched behind a run: it stands full. Bracket: when it may end, nine times of "
        "ten. Grey ground: somebody is at the desk.");
    po_draw_text(
        &p->d, left, y + 13, 2.6, PO_ANCHOR_START, PO_INK_SOFT,
        "Nozzle and bed stay hot after a run, and axes move without warning. Unattended runs follow the shop's "
        "and the local rules.");
}

static po_status draw(const po_strips *s, po_arena *arena, page *p, po_err *err)
{
    if (s->until_ms <= s->from_ms || s->until_ms - s->from_ms > DAYS_MOST * 24 * hour_ms) {
        return po_fail(err, PO_E_RANGE, "strips show up to %d days", DAYS_MOST);
    }
    if (s->n_rows > PO_STRIP_ROWS_MOST || s->n_runs > PO_STRIP_RUNS_MOST) {
        return po_fail(err, PO_E_LIMIT, "strips show up to %d machines and %d runs", PO_STRIP_ROWS_MOST,
                       PO_STRIP_RUNS_MOST);
    }
    for (size_t i = 0; i < s->n_runs; i++) {
        if (s->runs[i].row >= s->n_rows) {
            return po_fail(err, PO_E_RANGE, "a run stands on a machine that has no strip");
        }
    }
    double high = y_of(s->n_rows + 1) + foot;
    *p = (page){.s = s, .scale = (page_w - left - right) / (double)(s->until_ms - s->from_ms)};
    po_draw_init(&p->d, arena, page_w, high > 100 ? high : 100, s->title,
                 "A row for the desk's hours and one for each machine, with its runs");
    po_wall_time from = po_zone_wall(s->calendar->zone, s->from_ms, NULL);
    po_draw_bold(&p->d, 8, 12, 5, PO_ANCHOR_START, PO_INK_LINE, s->title);
    po_draw_textf(&p->d, 8, 18, 3, PO_ANCHOR_START, PO_INK_SOFT, "from %s, times of %s",
                  po_say_clock(arena, from, NULL), po_zone_name(s->calendar->zone));
    draw_desk(p);
    draw_times(p);
    for (size_t m = 0; m < s->n_rows; m++) {
        double y = y_of(m + 1);
        po_draw_text(&p->d, left - 2, y + row_h * 0.62, 3.4, PO_ANCHOR_END, PO_INK_LINE,
                     po_text_cut(arena, s->rows[m], left - 6, 3.4, false));
        po_draw_line(&p->d, left, y + row_h, page_w - right, y + row_h, PO_INK_FAINT, 0.15);
    }
    for (size_t i = 0; i < s->n_runs; i++) {
        const po_strip_run *r = &s->runs[i];
        if (r->off_ms > s->from_ms && r->start_ms < s->until_ms) {
            draw_run(p, r);
        }
    }
    draw_legend(p);
    return PO_OK;
}

po_status po_strips_svg(const po_strips *s, po_arena *arena, po_document *ret, po_err *err)
{
    page p;
    po_text out;
    po_text_init(&out, arena);
    po_status status = draw(s, arena, &p, err);
    status = status == PO_OK ? po_render_svg(&p.d, true, &out, err) : status;
    if (status == PO_OK && out.failed) {
        status = po_fail(err, PO_E_NOMEM, "no memory for a picture");
    }
    if (status == PO_OK) {
        *ret = (po_document){out.data, out.n};
    }
    return status;
}

po_status po_strips_png(const po_strips *s, po_arena *arena, po_document *ret, po_err *err)
{
    page p;
    po_status status = draw(s, arena, &p, err);
    return status == PO_OK ? po_render_png(&p.d, 6, arena, ret, err) : status;
}

po_status po_strips_pdf(const po_strips *s, po_arena *arena, po_document *ret, po_err *err)
{
    page p;
    po_status status = draw(s, arena, &p, err);
    return status == PO_OK ? po_render_pdf(&p.d, s->title, arena, ret, err) : status;
}
