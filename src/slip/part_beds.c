/* A part on the beds of the shop, and what it takes by each recipe. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/part_pictures.h"
#include "slip/pictures.h"
#include "slip/say.h"

#define BED_GAP 4.0
#define BED_TEXT 7.6 /* with one line of words */
#define BED_LINE 2.9
#define ROW_H 6.2

/* ---- beds ---- */

size_t po_part_machine_index(const po_part_report *report)
{
    for (size_t i = 0; i < report->shop->n_machines; i++) {
        if (&report->shop->machines[i] == report->machine) {
            return i;
        }
    }
    return SIZE_MAX;
}

static int fit_rank(const po_fit *f)
{
    return f->as_is ? 0 : f->turned ? 1 : f->pose >= 0 ? 2 : 3;
}

const po_fit *po_part_worst_fit(const po_part_report *r, const po_machine *machine)
{
    const po_fit *worst = NULL;
    for (size_t i = 0; i < r->n_solids; i++) {
        for (size_t m = 0; r->solids[i].fits && m < r->shop->n_machines; m++) {
            const po_fit *f = &r->solids[i].fits[m];
            worst = f->machine == machine && (!worst || fit_rank(f) > fit_rank(worst)) ? f : worst;
        }
    }
    return worst;
}

const char *po_part_fit_words(po_arena *a, const po_fit *f)
{
    if (f->as_is) {
        return "yes, as it lies";
    }
    if (f->turned) {
        return po_arena_printf(a, "yes, turned by %s degrees", po_say_number(a, f->turn_deg, 0));
    }
    if (f->pose >= 0) {
        return po_arena_printf(a, "tipped over: way up %d", f->pose + 1);
    }
    static const char *const AXES[] = {"x", "y", "z"};
    po_text out;
    po_text_init(&out, a);
    po_text_add(&out, "no");
    int n = 0;
    bool round = f->machine != NULL && f->machine->round_bed; /* its diameter counts, not x and y */
    for (int k = round ? 1 : 0; k < 3; k++) {
        if (f->over_mm[k] > 0) {
            po_text_printf(&out, "%s%s mm %s%s", n++ ? ", " : ": too large by ", po_say_number(a, f->over_mm[k], 1),
                           round && k == 1 ? "" : "in ", round && k == 1 ? "across" : AXES[k]);
        }
    }
    if (isfinite(f->largest_scale) && f->largest_scale > 0 && f->largest_scale < 1) {
        po_text_printf(&out, "; at %s %% it would fit", po_say_number(a, floor(f->largest_scale * 1000) / 10, 1));
    }
    return out.failed ? "no" : out.data;
}

/* Lines of words below each bed: most are a word or two. */
static size_t bed_lines(const po_part_report *r, size_t solid, double width, size_t n, size_t columns)
{
    double w = (width - BED_GAP * (double)(columns - 1)) / (double)columns;
    for (size_t i = 0; i < r->shop->n_machines && n > 0; i++) {
        const po_fit *f = &r->solids[solid].fits[i];
        if (!f->as_is && !f->turned && f->pose < 0) {
            return w > 60 ? 2 : 3;
        }
    }
    return w > 40 ? 1 : 2;
}

static double bed_h(double width, size_t columns)
{
    double w = (width - BED_GAP * (double)(columns - 1)) / (double)columns;
    return fmin(w * 0.9, 52);
}

double po_part_beds_height(const po_part_report *report, size_t solid, double width, size_t n, size_t columns)
{
    if (solid >= report->n_solids || !report->solids[solid].fits || !n) {
        return 0;
    }
    double text = BED_TEXT + BED_LINE * (double)(bed_lines(report, solid, width, n, columns) - 1);
    return 6 + (double)((n + columns - 1) / columns) * (bed_h(width, columns) + text);
}

/* First the pose, then a turn about the vertical: nine, as po_pose.turn. */
static void turn_after(const double *pose, double deg, double ret[9])
{
    double c = cos(deg * M_PI / 180), s = sin(deg * M_PI / 180);
    for (int from = 0; from < 3; from++) {
        double x = pose ? pose[3 * from] : from == 0, y = pose ? pose[3 * from + 1] : from == 1;
        ret[3 * from] = c * x - s * y;
        ret[3 * from + 1] = s * x + c * y;
        ret[3 * from + 2] = pose ? pose[3 * from + 2] : from == 2;
    }
}

/* The part from above on the bed. to: paper x and y of a place of the machine. */
typedef struct bed_view {
    double x0, y1, scale, left, top; /* machine corner that lies at left, top of the paper */
} bed_view;

static double px(const bed_view *v, double x)
{
    return v->left + (x - v->x0) * v->scale;
}

static double py(const bed_view *v, double y)
{
    return v->top + (v->y1 - y) * v->scale;
}

static void bed_itself(po_drawing *d, const bed_view *v, const po_machine *m, po_range x, po_range y)
{
    po_box2 b = {px(v, x.low), py(v, y.high), (x.high - x.low) * v->scale, (y.high - y.low) * v->scale};
    if (m->round_bed) {
        po_draw_circle(d, b.x + b.w / 2, b.y + b.h / 2, b.w / 2, PO_INK_PAPER, PO_INK_LINE, 0.4);
    } else {
        po_draw_rect(d, b, PO_INK_PAPER, PO_INK_LINE, 0.4);
    }
    for (size_t i = 0; i < m->n_keep_outs; i++) {
        const po_keep_out *k = &m->keep_outs[i];
        po_box2 q = {px(v, k->x.low), py(v, k->y.high), (k->x.high - k->x.low) * v->scale,
                     (k->y.high - k->y.low) * v->scale};
        po_draw_rect(d, q, PO_INK_PAPER, PO_INK_LINE, 0.2);
        po_draw_hatch_box(d, q, 45, 0.8, PO_INK_LINE, 0.15);
        po_draw_hatch_box(d, q, -45, 0.8, PO_INK_LINE, 0.15);
    }
}

/* The part from above, kept for the next bed: most beds show it in the same turn. */
typedef struct from_above {
    double turn[9];
    po_part_view view;
    int side; /* dots */
    bool made;
} from_above;

/* side: dots that it will be on paper, about; lines of a much finer picture would be lost in it. */
static void look_down(po_drawing *d, const po_mesh *mesh, const double turn[9], int side, from_above *ret)
{
    if (ret->made && !memcmp(ret->turn, turn, sizeof ret->turn) && side * 2 < ret->side * 3 &&
        ret->side * 2 < side * 3) {
        return;
    }
    po_view_setup setup = {
        .mesh = mesh, .turn = turn, .from = PO_VIEW_DOWN, .width = side, .height = side, .overhang_limit_deg = NAN};
    po_err err;
    po_status status = po_part_view_make(&setup, d->arena, &ret->view, &err);
    d->failed = d->failed || status == PO_E_NOMEM;
    memcpy(ret->turn, turn, sizeof ret->turn);
    ret->side = side;
    ret->made = status == PO_OK;
}

static void one_bed(po_drawing *d, po_box2 box, size_t n_lines, const po_part_report *r, const po_solid *s,
                    const po_fit *f, from_above *above)
{
    const po_machine *m = f->machine;
    po_range bx, by;
    double turn[9];
    bool tipped = !f->turned && !f->as_is && f->pose >= 0 && s->poses && (size_t)f->pose < s->n_poses;
    double deg = f->as_is ? 0 : f->turned ? f->turn_deg : tipped ? f->pose_turn_deg : 0;
    turn_after(tipped ? s->poses[f->pose].turn : NULL, isfinite(deg) ? deg : 0, turn);
    po_machine_bed_extent(m, &bx, &by);

    /* The bounds of what lies there decide the window: a part that is too large shows how much. */
    const po_part_view *view = &above->view;
    const double(*b)[3] = s->facts.bounds_mm;
    double large = fmax(b[1][0] - b[0][0], b[1][1] - b[0][1]), room = fmax(bx.high - bx.low, by.high - by.low);
    double paper = fmax(large, 0) / fmax(fmax(large, room), 1e-9) * box.w;
    int side = isfinite(paper) ? (int)fmin(fmax(paper * PO_DOTS_PER_MM, 48), 400) : 48;
    look_down(d, s->judged ? s->judged : s->mesh, turn, side, above);
    double wx = view->high[0] - view->low[0], wy = view->high[1] - view->low[1];
    bool seen = above->made && view->image && wx < 1e5 && wy < 1e5;
    double cx = (bx.low + bx.high) / 2, cy = (by.low + by.high) / 2;
    double x = cx - wx / 2, y = cy - wy / 2; /* of its lower left corner */
    if (seen && (f->as_is || f->turned) && isfinite(f->shift_mm[0]) && isfinite(f->shift_mm[1])) {
        x = view->low[0] + f->shift_mm[0];
        y = view->low[1] + f->shift_mm[1];
    }
    double x0 = bx.low, x1 = bx.high, y0 = by.low, y1 = by.high;
    if (seen) {
        x0 = fmin(x0, x);
        x1 = fmax(x1, x + wx);
        y0 = fmin(y0, y);
        y1 = fmax(y1, y + wy);
    }
    double image_h = box.h - BED_TEXT - BED_LINE * (double)(n_lines - 1),
           scale = fmin(box.w / (x1 - x0), image_h / (y1 - y0));
    bed_view v = {.x0 = x0, .y1 = y1, .scale = scale, .top = box.y + 4.2};
    v.left = box.x + (box.w - (x1 - x0) * scale) / 2;
    v.top += (image_h - (y1 - y0) * scale) / 2;
    bed_itself(d, &v, m, bx, by);
    if (seen) {
        double per_mm = scale * view->dot_mm; /* paper for a dot */
        double left = px(&v, x) - (view->low[0] - view->left) / view->dot_mm * per_mm;
        double top = py(&v, y + wy) - (view->top - view->high[1]) / view->dot_mm * per_mm;
        po_draw_image(d, (po_box2){left, top, view->image->width * per_mm, view->image->height * per_mm}, view->image);
        po_box2 bed = {px(&v, bx.low), py(&v, by.high), (bx.high - bx.low) * scale, (by.high - by.low) * scale};
        if (m->round_bed) { /* its edge stays visible under a part that covers it */
            po_draw_circle(d, bed.x + bed.w / 2, bed.y + bed.h / 2, bed.w / 2, PO_INK_NONE, PO_INK_LINE, 0.3);
        } else {
            po_draw_rect(d, bed, PO_INK_NONE, PO_INK_LINE, 0.3);
        }
    }
    bool own = m == r->machine;
    const char *name = po_text_cut(d->arena, po_say_clean(d->arena, m->name), box.w, 2.6, own);
    if (own) {
        po_draw_bold(d, box.x, box.y + 2.6, 2.6, PO_ANCHOR_START, PO_INK_LINE, name);
    } else {
        po_draw_text(d, box.x, box.y + 2.6, 2.6, PO_ANCHOR_START, PO_INK_LINE, name);
    }
    const char *lines[3];
    size_t n = po_text_wrap(d->arena, po_part_fit_words(d->arena, f), box.w, 2.3, false, lines, n_lines);
    double y_text = v.top + (y1 - y0) * scale + 3.6;
    for (size_t i = 0; i < n; i++) {
        po_draw_text(d, box.x, y_text + BED_LINE * (double)i, 2.3, PO_ANCHOR_START, PO_INK_LINE, lines[i]);
    }
}

void po_part_picture_beds(po_drawing *d, po_box2 box, const po_part_report *report, size_t solid, size_t first,
                          size_t n, size_t columns)
{
    if (solid >= report->n_solids || !report->solids[solid].fits || !n) {
        return;
    }
    const po_solid *s = &report->solids[solid];
    size_t lines = bed_lines(report, solid, box.w, n, columns);
    double w = (box.w - BED_GAP * (double)(columns - 1)) / (double)columns;
    double h = bed_h(box.w, columns) + BED_TEXT + BED_LINE * (double)(lines - 1);
    from_above above = {.made = false};
    po_draw_begin(d, "The part on the beds");
    po_draw_heading(d, box, n == 1 ? "On the bed" : "On the beds", NULL);
    for (size_t i = 0; i < n && first + i < report->shop->n_machines; i++) {
        po_box2 at = {box.x + (double)(i % columns) * (w + BED_GAP), box.y + 5.5 + (double)(i / columns) * h, w, h - 1};
        one_bed(d, at, lines, report, s, &s->fits[first + i], &above);
    }
    po_draw_end(d);
}

/* ---- what it takes ---- */

const po_estimate *po_part_judged(const po_part_report *r)
{
    const po_estimate *e = r->estimates && r->judged_estimate < r->shop->n_recipes ? &r->estimates[r->judged_estimate]
                                                                                   : NULL;
    return e && isfinite(e->filament_mm) ? e : NULL;
}

static bool any_estimate(const po_part_report *r)
{
    for (size_t i = 0; r->estimates && i < r->shop->n_recipes; i++) {
        if (isfinite(r->estimates[i].filament_mm)) {
            return true;
        }
    }
    return false;
}

enum { MOST_RECIPES = 12 };

double po_part_takes_height(const po_part_report *report)
{
    size_t n = report->shop->n_recipes < MOST_RECIPES ? report->shop->n_recipes : MOST_RECIPES;
    return any_estimate(report) ? 6 + 3.5 + ROW_H * (double)n + 3.5 : 0;
}

/* A bar with the range as a whisker; `full` is the value at the end of the box. */
static void bar(po_drawing *d, po_box2 box, double value, po_range range, double full)
{
    double per = box.w / full, y = box.y + box.h / 2;
    po_draw_rect(d, (po_box2){box.x, box.y, fmax(value * per, 0.2), box.h}, PO_INK_WASH, PO_INK_LINE, 0.3);
    if (isfinite(range.low) && isfinite(range.high) && range.high > range.low) {
        double a = box.x + fmax(range.low, 0) * per, b = box.x + fmin(range.high, full) * per;
        po_draw_line(d, a, y, b, y, PO_INK_LINE, 0.4);
        po_draw_line(d, a, y - 1.2, a, y + 1.2, PO_INK_LINE, 0.4);
        po_draw_line(d, b, y - 1.2, b, y + 1.2, PO_INK_LINE, 0.4);
    }
}

void po_part_picture_takes(po_drawing *d, po_box2 box, const po_part_report *r)
{
    po_arena *a = d->arena;
    if (!any_estimate(r)) {
        return;
    }
    size_t n = r->shop->n_recipes < MOST_RECIPES ? r->shop->n_recipes : MOST_RECIPES;
    double most_mm = 0, most_s = 0, free_mm = r->shop->rules.allowance_m_per_run * 1000;
    for (size_t i = 0; i < n; i++) {
        const po_estimate *e = &r->estimates[i];
        if (isfinite(e->filament_mm)) {
            most_mm = fmax(most_mm,
                           fmax(e->filament_mm, isfinite(e->filament_range_mm.high) ? e->filament_range_mm.high : 0));
            most_s = fmax(most_s, fmax(e->seconds, isfinite(e->seconds_range.high) ? e->seconds_range.high : 0));
        }
    }
    bool line = free_mm > 0 && free_mm < 4 * most_mm; /* far beyond every bar it would only shrink them */
    double full_mm = fmax(line ? fmax(most_mm, free_mm) : most_mm, 1e-9) * 1.03, full_s = fmax(most_s, 1e-9) * 1.03;
    double name_w = box.w * 0.15, mm_w = box.w * 0.27, mm_text = box.w * 0.15, s_w = box.w * 0.22;
    double x_mm = box.x + name_w, x_mm_text = x_mm + mm_w + 2, x_s = x_mm_text + mm_text, x_s_text = x_s + s_w + 2;
    double y = box.y + 6 + 2.6;
    po_draw_begin(d, "What it takes by each recipe");
    po_draw_heading(d, box, "What it takes", "bars: estimate; whiskers: its range");
    po_draw_text(d, x_mm, y, 2.3, PO_ANCHOR_START, PO_INK_SOFT, "filament");
    po_draw_text(d, x_s, y, 2.3, PO_ANCHOR_START, PO_INK_SOFT, "time");
    y += 1.4;
    for (size_t i = 0; i < n; i++) {
        const po_estimate *e = &r->estimates[i];
        double row = y + ROW_H * (double)i, base = row + 3.7;
        bool own = i == r->judged_estimate;
        const char *name = po_text_cut(a, e->recipe ? po_say_clean(a, e->recipe->name) : "", name_w - 2, 2.5, own);
        if (own) {
            po_draw_bold(d, box.x, base, 2.5, PO_ANCHOR_START, PO_INK_LINE, name);
        } else {
            po_draw_text(d, box.x, base, 2.5, PO_ANCHOR_START, PO_INK_LINE, name);
        }
        if (!isfinite(e->filament_mm)) {
            po_draw_text(d, x_mm, base, 2.4, PO_ANCHOR_START, PO_INK_SOFT, "not estimated");
            continue;
        }
        bar(d, (po_box2){x_mm, row + 0.9, mm_w, 3.8}, e->filament_mm, e->filament_range_mm, full_mm);
        po_draw_text(d, x_mm_text, base, 2.4, PO_ANCHOR_START, PO_INK_LINE,
                     po_arena_printf(a, "%s, %s", po_say_metres(a, e->filament_mm), po_say_grams(a, e->filament_g)));
        bar(d, (po_box2){x_s, row + 0.9, s_w, 3.8}, e->seconds, e->seconds_range, full_s);
        po_draw_text(d, x_s_text, base, 2.4, PO_ANCHOR_START, PO_INK_LINE, po_say_time(a, e->seconds));
    }
    double bottom = y + ROW_H * (double)n;
    if (line) {
        double x = x_mm + free_mm / full_mm * mm_w;
        po_draw_dashed(d, x, y - 0.4, x, bottom, PO_INK_LINE, 0.4, 1);
        bool right = x < x_mm + mm_w * 0.6;
        po_draw_text(d, right ? x + 0.8 : x, bottom + 2.2, 2.2, right ? PO_ANCHOR_START : PO_ANCHOR_END, PO_INK_LINE,
                     po_arena_printf(a, "allowance for a run: %s", po_say_metres(a, free_mm)));
    }
    po_draw_end(d);
}
