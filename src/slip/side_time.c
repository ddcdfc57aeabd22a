/* The job from the front, and its time from left to right. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/pictures.h"
#include "slip/say.h"

/* A round step that gives about n steps over a length. */
static double round_step(double length, double n)
{
    double raw = length / n, ten = pow(10, floor(log10(fmax(raw, 1e-9)))), f = raw / ten;
    return ten * (f <= 1 ? 1 : f <= 2 ? 2 : f <= 5 ? 5 : 10);
}

/* Filament and time used until height z is finished; NULL when the table has none. */
static const po_height_row *row_at(const po_job_facts *f, double z)
{
    const po_height_row *best = NULL;
    for (size_t i = 0; i < f->n_by_height; i++) {
        if (f->by_height[i].z <= z + 1e-6 && (!best || f->by_height[i].z > best->z)) {
            best = &f->by_height[i];
        }
    }
    return best;
}

double po_side_height(const po_proof *proof, double width, double most)
{
    const po_job_facts *f = &proof->report->facts;
    double top = f->bounds_mm.max[2], span = (f->bounds_mm.max[0] - f->bounds_mm.min[0]) * 1.06 + 1;
    if (!isfinite(top) || !(top > 0) || !(span > 0)) {
        return fmin(most, 20);
    }
    double scale = fmin((width - 8 - (f->n_by_height ? 25 : 9)) / span, (most - 14.5) / top);
    return fmin(most, fmax(34, top * scale + 24)); /* 24: heading, flags, the line below */
}

void po_picture_side(po_drawing *d, po_box2 box, const po_proof *proof)
{
    const po_job_report *r = proof->report;
    const po_side_image *side = r->images.side;
    const po_job_facts *f = &r->facts;
    po_draw_begin(d, "From the front");
    po_draw_bold(d, box.x, box.y + 3.1, 3.1, PO_ANCHOR_START, PO_INK_LINE, "From the front");
    double top = f->bounds_mm.max[2];
    if (!isfinite(top) || !(top > 0)) {
        po_draw_text(d, box.x, box.y + 10, 2.6, PO_ANCHOR_START, PO_INK_SOFT, "nothing was laid");
        po_draw_end(d);
        return;
    }
    double right = f->n_by_height ? 25 : 9;
    po_box2 in = {box.x + 8, box.y + 7, box.w - 8 - right, box.h - 7 - 7.5};
    double x0 = f->bounds_mm.min[0], x1 = f->bounds_mm.max[0], pad = (x1 - x0) * 0.03 + 0.5;
    x0 -= pad;
    x1 += pad;
    double scale = fmin(in.w / (x1 - x0), in.h / top);
    double pw = (x1 - x0) * scale, ph = top * scale;
    if (in.w > pw * 1.5 && in.w > 40) { /* keep what belongs together close by */
        in.w = fmax(pw * 1.5, 40);
    }
    double px = in.x + (in.w - pw) / 2, floor_y = in.y + in.h;
    if (side && pw > 0.2 && ph > 0.2) {
        const po_palette_image *image = po_side_dots(d->arena, side, (po_window){x0, 0, x1, top},
                                                     (int)fmax(lround(pw * PO_DOTS_PER_MM), 1),
                                                     (int)fmax(lround(ph * PO_DOTS_PER_MM), 1));
        if (image) {
            po_draw_image(d, (po_box2){px, floor_y - ph, pw, ph}, image);
        }
    } else {
        po_draw_rect(d, (po_box2){px, floor_y - ph, pw, ph}, PO_INK_WASH, PO_INK_SOFT, 0.25);
    }
    /* the bed */
    po_draw_line(d, in.x, floor_y, in.x + in.w, floor_y, PO_INK_LINE, 0.5);
    po_draw_hatch_box(d, (po_box2){in.x, floor_y, in.w, 1.6}, 45, 1.3, PO_INK_SOFT, 0.2);
    /* heights, on the left */
    double step = round_step(top, fmax(2, fmin(5, ph / 9)));
    po_draw_line(d, in.x, floor_y, in.x, floor_y - ph, PO_INK_SOFT, 0.25);
    for (double z = 0; z <= top + 1e-6; z += step) {
        double y = floor_y - z * scale;
        po_draw_line(d, in.x - 1, y, in.x, y, PO_INK_SOFT, 0.25);
        po_draw_text(d, in.x - 1.6, y + 0.8, 2.2, PO_ANCHOR_END, PO_INK_SOFT, po_say_number(d->arena, z, 2));
    }
    po_draw_textf(d, in.x, floor_y + 5.4, 2.4, PO_ANCHOR_START, PO_INK_SOFT, "%s mm wide, %s mm tall",
                  po_say_number(d->arena, f->bounds_mm.max[0] - f->bounds_mm.min[0], 1),
                  po_say_number(d->arena, top, 1));
    /* what it has cost by then, on the right */
    double cost_x = in.x + in.w + 2;
    if (f->n_by_height && ph > 14) {
        po_draw_text(d, cost_x + 0.8, floor_y - ph - 3, 2.3, PO_ANCHOR_START, PO_INK_SOFT, "if it stopped");
        bool room = ph / 4 > 5.5; /* else the three would stand in each other: half way only */
        for (int i = room ? 1 : 2; i <= (room ? 3 : 2); i++) {
            double z = top * i / 4;
            const po_height_row *row = row_at(f, z);
            if (!row) {
                continue;
            }
            double y = floor_y - row->z * scale;
            po_draw_dashed(d, in.x, y, in.x + in.w, y, PO_INK_FAINT, 0.2, 0.9);
            po_draw_line(d, in.x + in.w, y, cost_x, y, PO_INK_SOFT, 0.25);
            po_draw_textf(d, cost_x + 0.8, y - 0.3, 2.2, PO_ANCHOR_START, PO_INK_LINE, "%s mm",
                          po_say_number(d->arena, row->z, 1));
            po_draw_textf(d, cost_x + 0.8, y + 2.3, 2.2, PO_ANCHOR_START, PO_INK_SOFT, "%s, %s h",
                          po_say_metres(d->arena, row->filament_mm), po_say_hmm(d->arena, row->seconds));
        }
    }
    /* flags at the findings' worst places */
    double used[16], used_y[16];
    size_t n = 0;
    for (size_t i = 0; i < proof->n_findings && n < 8; i++) {
        const po_finding *finding = &proof->findings[i];
        const po_place *place = finding->worst.known ? &finding->worst : &finding->where;
        if (!place->known || !isfinite(place->z) || !isfinite(place->x) || place->z < 0 || place->z > top * 1.02 + 1) {
            continue;
        }
        double x = fmin(fmax(px + (place->x - x0) * scale, in.x), in.x + in.w), y = floor_y - place->z * scale;
        int lift = 0;
        for (size_t k = 0; k < n; k++) {
            lift += fabs(used[k] - x) < 5.5 && fabs(used_y[k] - y) < 4;
        }
        if (lift > 2) {
            continue; /* a bundle: the findings say where */
        }
        po_draw_flag(d, x, y, i + 1, finding->grade, lift);
        used[n] = x;
        used_y[n++] = y;
    }
    po_draw_end(d);
}

typedef struct stop { /* a moment on the strip */
    double seconds;
    const char *name, *when;
    double x, label_x, label_w;
} stop;

static void spread_labels(stop *s, size_t n, double left, double right)
{
    for (size_t i = 0; i < n; i++) {
        s[i].label_x = fmax(s[i].x, left);
        if (i) {
            s[i].label_x = fmax(s[i].label_x, s[i - 1].label_x + s[i - 1].label_w + 2.5);
        }
    }
    double edge = right;
    for (size_t i = n; i-- > 0;) {
        s[i].label_x = fmin(s[i].label_x, edge - s[i].label_w);
        edge = s[i].label_x - 2.5;
    }
}

static void label_widths(stop *s, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        s[i].label_w = fmax(po_text_width(s[i].name, 2.5, true), po_text_width(s[i].when, 2.5, false));
    }
}

void po_picture_time(po_drawing *d, po_box2 box, const po_proof *proof, const po_shop *shop)
{
    const po_job_facts *f = &proof->report->facts;
    po_draw_begin(d, "The run's time");
    po_draw_bold(d, box.x, box.y + 3.1, 3.1, PO_ANCHOR_START, PO_INK_LINE, "Time");
    double end = f->seconds;
    if (!isfinite(end) || !(end > 0)) {
        po_draw_text(d, box.x, box.y + 9, 2.6, PO_ANCHOR_START, PO_INK_SOFT, "nothing runs");
        po_draw_end(d);
        return;
    }
    bool beads = isfinite(f->first_bead_seconds);
    double first = beads ? fmin(f->first_bead_seconds, end) : end;
    double watch = beads ? fmin(first + (isfinite(proof->watch_seconds) ? proof->watch_seconds : 0), end) : end;
    double cool = isfinite(proof->cool_seconds) && proof->cool_seconds > 0 ? proof->cool_seconds : 0;
    double total = end + cool, scale = box.w / total, y = box.y + 6, h = 6.5;

    stop stops[5];
    size_t n = 0;
    static const char *const NAMES[] = {"start", "first bead: watch", "watch over", "end", "cool enough"};
    double at[] = {0, first, watch, end, total};
    for (size_t i = 0; i < 5; i++) {
        if ((i == 1 && !beads) || (i == 2 && (!beads || watch >= end - 30)) || (i == 4 && !cool)) {
            continue;
        }
        po_wall_time clock;
        const char *when = po_say_time(d->arena, at[i]);
        if (proof->start_known && po_clock_after(proof->start, at[i], &clock)) {
            when = po_say_clock(d->arena, clock, i ? &proof->start : NULL);
        } else if (i) {
            when = po_arena_printf(d->arena, "after %s", when);
        } else {
            when = "";
        }
        stops[n++] = (stop){.seconds = at[i], .name = NAMES[i], .when = when ? when : "", .x = box.x + at[i] * scale};
    }
    label_widths(stops, n);

    /* the strip: dots while it gets ready, dense hatching under watch, plain while it runs, thin hatching as it cools */
    po_box2 ready = {box.x, y, first * scale, h}, watched = {box.x + first * scale, y, (watch - first) * scale, h};
    po_box2 rest = {box.x + watch * scale, y, (end - watch) * scale, h},
            cooling = {box.x + end * scale, y, cool * scale, h};
    po_draw_rect(d, ready, PO_INK_PAPER, PO_INK_NONE, 0);
    po_draw_hatch_box(d, ready, 90, 1, PO_INK_SOFT, 0.25);
    po_draw_rect(d, watched, PO_INK_WASH, PO_INK_NONE, 0);
    po_draw_hatch_box(d, watched, 45, 1, PO_INK_LINE, 0.32);
    po_draw_rect(d, rest, PO_INK_WASH, PO_INK_NONE, 0);
    po_draw_hatch_box(d, cooling, -45, 2.2, PO_INK_FAINT, 0.25);
    for (size_t i = 0; i < f->n_later_first_layers && i < 64; i++) {
        double a = f->later_first_layers[2 * i], b = f->later_first_layers[2 * i + 1];
        if (a >= 0 && b >= a && b <= end) {
            po_box2 later = {box.x + a * scale, y, fmax((b - a) * scale, 0.6), h};
            po_draw_hatch_box(d, later, 45, 1, PO_INK_LINE, 0.2);
            po_draw_line(d, later.x, y, later.x, y + h, PO_INK_LINE, 0.2);
        }
    }
    po_draw_rect(d, (po_box2){box.x, y, end * scale, h}, PO_INK_NONE, PO_INK_LINE, 0.35);
    if (cool) {
        po_draw_rect(d, cooling, PO_INK_NONE, PO_INK_SOFT, 0.25);
    }
    /* names inside where there is room */
    struct {
        po_box2 b;
        const char *name;
    } inside[] = {{ready, "getting ready"}, {watched, "first layer, watch"}, {rest, "runs on"}, {cooling, "cools"}};
    for (size_t i = 0; i < 4; i++) {
        double w = po_text_width(inside[i].name, 2.5, false);
        if (w + 3 < inside[i].b.w) {
            double cx = inside[i].b.x + inside[i].b.w / 2;
            po_draw_rect(d, (po_box2){cx - w / 2 - 0.9, y + 1.45, w + 1.8, h - 2.9}, PO_INK_PAPER, PO_INK_NONE, 0);
            po_draw_text(d, cx, y + h / 2 + 0.9, 2.5, PO_ANCHOR_MIDDLE, PO_INK_LINE, inside[i].name);
        }
    }
    /* where it needs a person: a small hand-high post above the strip */
    for (size_t i = 0; i < f->n_hands && i < 12; i++) {
        double s = f->hands[i].seconds;
        if (s >= 0 && s <= end) {
            double x = box.x + s * scale, q[] = {x, y, x - 1.3, y - 2.3, x + 1.3, y - 2.3};
            po_draw_polygon(d, q, 3, PO_INK_ASK, PO_INK_NONE, 0);
            po_draw_line(d, x, y, x, y + h, PO_INK_ASK, 0.4);
            if (i == 0) {
                po_draw_text(d, x > box.x + box.w * 0.7 ? x - 2 : x + 2, y - 0.6, 2.3,
                             x > box.x + box.w * 0.7 ? PO_ANCHOR_END : PO_ANCHOR_START, PO_INK_ASK, "needs hands");
            }
        }
    }
    /* who is there */
    double label_y = y + h;
    if (proof->start_known && shop) {
        double line_y = y + h + 1.3;
        bool open = false;
        double since = 0;
        int steps = 600;
        for (int i = 0; i <= steps; i++) {
            po_wall_time clock;
            double s = total * i / steps;
            bool staffed = i < steps && po_clock_after(proof->start, s, &clock) && po_shop_staffed(shop, clock);
            if (staffed && !open) {
                since = s;
            } else if (!staffed && open) {
                po_draw_line(d, box.x + since * scale, line_y, box.x + s * scale, line_y, PO_INK_YES, 0.9);
            }
            open = staffed;
        }
        po_draw_dashed(d, box.x, line_y, box.x + box.w, line_y, PO_INK_FAINT, 0.2, 0.6);
        po_draw_text(d, box.x + box.w, box.y + 3.1, 2.3, PO_ANCHOR_END, PO_INK_SOFT,
                     "thick line under the strip: somebody is at the desk");
        label_y += 2.2;
    }
    spread_labels(stops, n, box.x, box.x + box.w);
    for (size_t i = 0; i < n; i++) {
        stop *s = &stops[i];
        double lx = s->label_x + (s->label_x < s->x - s->label_w + 0.5 ? s->label_w : 0.4);
        double elbow[] = {s->x, y + h, s->x, label_y + 1, lx, label_y + 3.2};
        po_draw_polyline(d, elbow, 3, PO_INK_SOFT, 0.25);
        po_draw_bold(d, s->label_x, label_y + 6, 2.5, PO_ANCHOR_START, PO_INK_LINE, s->name);
        po_draw_text(d, s->label_x, label_y + 9.2, 2.5, PO_ANCHOR_START, PO_INK_SOFT, s->when);
    }
    po_draw_end(d);
}
