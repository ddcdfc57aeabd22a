/* The job seen from above: the bed, the first layer close up, the worst heights. SPDX-License-Identifier: Apache-2.0
 *
 * The look is that of a workshop drawing: thin outlines, hatching, plain lettering, one number for one finding. */
#include "slip/pictures.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/say.h"

typedef struct view { /* machine mm to paper mm */
    po_window w;
    po_box2 box;
    double scale;
} view;

static double vx(const view *v, double x)
{
    return v->box.x + (x - v->w.x0) * v->scale;
}

static double vy(const view *v, double y)
{
    return v->box.y + v->box.h - (y - v->w.y0) * v->scale;
}

/* Fit a window into a frame, centred; the window grows to the frame's shape. */
static view fit(po_window w, po_box2 box)
{
    double dx = fmax(w.x1 - w.x0, 1e-3), dy = fmax(w.y1 - w.y0, 1e-3), scale = fmin(box.w / dx, box.h / dy);
    double cx = (w.x0 + w.x1) / 2, cy = (w.y0 + w.y1) / 2, hx = box.w / scale / 2, hy = box.h / scale / 2;
    return (view){.w = {cx - hx, cy - hy, cx + hx, cy + hy}, .box = box, .scale = scale};
}

static void layer_into(po_drawing *d, const view *v, const po_layer_image *layer)
{
    int width = (int)lround(v->box.w * PO_DOTS_PER_MM), height = (int)lround(v->box.h * PO_DOTS_PER_MM);
    const po_palette_image *image = po_layer_dots(d->arena, layer, v->w, width, height);
    if (image) {
        po_draw_image(d, v->box, image);
    }
}

void po_draw_heading(po_drawing *d, po_box2 box, const char *title, const char *note)
{
    po_draw_bold(d, box.x, box.y + 3.1, 3.1, PO_ANCHOR_START, PO_INK_LINE, title);
    if (note) {
        double left = box.w - po_text_width(title, 3.1, true) - 3;
        if (po_text_width(note, 2.5, false) <= left) {
            po_draw_text(d, box.x + box.w, box.y + 3.1, 2.5, PO_ANCHOR_END, PO_INK_SOFT, note);
        }
    }
}

void po_draw_scale(po_drawing *d, double x, double y, double scale, double width)
{
    static const double STEPS[] = {0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1,    2,    5,
                                   10,   20,   50,   100, 200, 500, 1000, 2000, 5000};
    double length = STEPS[0];
    for (size_t i = 0; i < sizeof STEPS / sizeof *STEPS && STEPS[i] * scale <= width / 3; i++) {
        length = STEPS[i];
    }
    double w = length * scale;
    po_draw_line(d, x, y, x + w, y, PO_INK_SOFT, 0.3);
    po_draw_line(d, x, y - 0.8, x, y + 0.8, PO_INK_SOFT, 0.3);
    po_draw_line(d, x + w, y - 0.8, x + w, y + 0.8, PO_INK_SOFT, 0.3);
    po_draw_textf(d, x + w + 1.2, y + 0.85, 2.4, PO_ANCHOR_START, PO_INK_SOFT, "%s mm",
                  po_say_number(d->arena, length, 2));
}

/* Of the flags of one sight in view the one nearest to the finding's worst place: sentence and picture show the same. */
static const po_flag *flag_at_worst(const view *v, const po_layer_image *layer, const po_flag *flag,
                                    const po_place *worst)
{
    double least = INFINITY;
    const po_flag *best = flag;
    for (size_t i = 0; worst->known && isfinite(worst->x) && i < layer->n_flags; i++) {
        const po_flag *other = &layer->flags[i];
        double far = hypot(other->x - worst->x, other->y - worst->y);
        bool inside = other->x >= v->w.x0 && other->x <= v->w.x1 && other->y >= v->w.y0 && other->y <= v->w.y1;
        if (other->sight == flag->sight && inside && far < least) {
            least = far;
            best = other;
        }
    }
    return best;
}

/* Flags of an image that belong to a finding: each number once; poles grow where they would stand in each other. */
static void flags_into(po_drawing *d, const view *v, const po_layer_image *layer, const po_proof *proof)
{
    double seen_x[8] = {0}, seen_y[8] = {0};
    size_t numbers[8] = {0}, n = 0;
    for (size_t i = 0; i < layer->n_flags && n < 8; i++) {
        const po_flag *flag = &layer->flags[i];
        size_t number = po_flag_number(proof, flag->sight);
        bool again = !number || !(flag->x >= v->w.x0 && flag->x <= v->w.x1 && flag->y >= v->w.y0 && flag->y <= v->w.y1);
        for (size_t k = 0; k < n; k++) {
            again = again || numbers[k] == number;
        }
        if (again) {
            continue;
        }
        flag = flag_at_worst(v, layer, flag, &proof->findings[number - 1].worst);
        double x = vx(v, flag->x), y = vy(v, flag->y);
        int lift = 0;
        for (size_t k = 0; k < n; k++) {
            lift += fabs(seen_x[k] - x) < 5.5 && fabs(seen_y[k] - y) < 4;
        }
        po_draw_flag(d, x, y, number, proof->findings[number - 1].grade, lift);
        seen_x[n] = x;
        seen_y[n] = y;
        numbers[n++] = number;
    }
}

static void bed_outline(po_drawing *d, const view *v, const po_machine *m, po_range bx, po_range by)
{
    double x0 = vx(v, bx.low), x1 = vx(v, bx.high), y0 = vy(v, by.high), y1 = vy(v, by.low);
    if (m->round_bed) {
        po_draw_circle(d, (x0 + x1) / 2, (y0 + y1) / 2, (x1 - x0) / 2, PO_INK_PAPER, PO_INK_LINE, 0.4);
    } else {
        po_draw_rect(d, (po_box2){x0, y0, x1 - x0, y1 - y0}, PO_INK_PAPER, PO_INK_LINE, 0.4);
    }
    double step = fmax(bx.high - bx.low, by.high - by.low) > 260 ? 100 : 50, r = (bx.high - bx.low) / 2;
    double cx = (bx.low + bx.high) / 2, cy = (by.low + by.high) / 2;
    for (double x = ceil(bx.low / step) * step; x <= bx.high + 1e-6; x += step) {
        double half = m->round_bed ? sqrt(fmax(r * r - (x - cx) * (x - cx), 0)) : (by.high - by.low) / 2;
        po_draw_line(d, vx(v, x), vy(v, cy - half), vx(v, x), vy(v, cy + half), PO_INK_WASH, 0.25);
        po_draw_line(d, vx(v, x), y1, vx(v, x), y1 + 1, PO_INK_SOFT, 0.25);
        po_draw_text(d, vx(v, x), y1 + 3.4, 2.1, PO_ANCHOR_MIDDLE, PO_INK_SOFT, po_say_number(d->arena, x, 0));
    }
    for (double y = ceil(by.low / step) * step; y <= by.high + 1e-6; y += step) {
        double half = m->round_bed ? sqrt(fmax(r * r - (y - cy) * (y - cy), 0)) : (bx.high - bx.low) / 2;
        po_draw_line(d, vx(v, cx - half), vy(v, y), vx(v, cx + half), vy(v, y), PO_INK_WASH, 0.25);
        po_draw_line(d, x0 - 1, vy(v, y), x0, vy(v, y), PO_INK_SOFT, 0.25);
        po_draw_text(d, x0 - 1.5, vy(v, y) + 0.75, 2.1, PO_ANCHOR_END, PO_INK_SOFT, po_say_number(d->arena, y, 0));
    }
    if (m->round_bed) {
        po_draw_circle(d, (x0 + x1) / 2, (y0 + y1) / 2, (x1 - x0) / 2, PO_INK_NONE, PO_INK_LINE, 0.4);
    } else {
        po_draw_rect(d, (po_box2){x0, y0, x1 - x0, y1 - y0}, PO_INK_NONE, PO_INK_LINE, 0.4);
    }
    po_draw_text(d, (x0 + x1) / 2, y1 + 6.4, 2.3, PO_ANCHOR_MIDDLE, PO_INK_SOFT, "front");
    for (size_t i = 0; i < m->n_keep_outs; i++) {
        const po_keep_out *k = &m->keep_outs[i];
        po_box2 b = {vx(v, k->x.low), vy(v, k->y.high), (k->x.high - k->x.low) * v->scale,
                     (k->y.high - k->y.low) * v->scale};
        po_draw_rect(d, b, PO_INK_PAPER, PO_INK_LINE, 0.25);
        po_draw_hatch_box(d, b, 45, 0.9, PO_INK_LINE, 0.15);
        po_draw_hatch_box(d, b, -45, 0.9, PO_INK_LINE, 0.15);
    }
}

void po_picture_bed(po_drawing *d, po_box2 box, const po_proof *proof)
{
    const po_job_report *r = proof->report;
    const po_machine *m = r->machine;
    const po_layer_image *layer = r->images.first_layer;
    po_range bx, by;
    po_machine_bed_extent(m, &bx, &by);
    po_draw_begin(d, "The bed from above with the first layer");
    char note[64];
    snprintf(note, sizeof note, "%s x %s mm", po_say_number(d->arena, m->bed_mm[0], 0),
             po_say_number(d->arena, m->bed_mm[1], 0));
    po_draw_heading(d, box, "On the bed", note);

    /* Room for what lies beyond the bed, within reason: at most half a bed on each side. */
    po_window w = {bx.low, by.low, bx.high, by.high};
    const po_span3 *all = &r->facts.bounds_all_mm;
    if (isfinite(all->min[0])) {
        double dx = (bx.high - bx.low) / 2, dy = (by.high - by.low) / 2;
        w.x0 = fmin(w.x0, fmax(all->min[0] - 2, bx.low - dx));
        w.y0 = fmin(w.y0, fmax(all->min[1] - 2, by.low - dy));
        w.x1 = fmax(w.x1, fmin(all->max[0] + 2, bx.high + dx));
        w.y1 = fmax(w.y1, fmin(all->max[1] + 2, by.high + dy));
    }
    po_box2 inner = {box.x + 7, box.y + 6, box.w - 8, box.h - 6 - 7.5};
    view v = fit(w, inner);
    bed_outline(d, &v, m, bx, by);
    if (layer) {
        layer_into(d, &v, layer);
    }
    if (isfinite(r->facts.bounds_mm.min[0])) { /* the extent of the parts, as a drawing's frame of reference */
        const po_span3 *b = &r->facts.bounds_mm;
        double q[] = {vx(&v, b->min[0]) - 0.8, vy(&v, b->max[1]) - 0.8, vx(&v, b->max[0]) + 0.8,
                      vy(&v, b->min[1]) + 0.8};
        po_draw_dashed(d, q[0], q[1], q[2], q[1], PO_INK_SOFT, 0.2, 1);
        po_draw_dashed(d, q[2], q[1], q[2], q[3], PO_INK_SOFT, 0.2, 1);
        po_draw_dashed(d, q[2], q[3], q[0], q[3], PO_INK_SOFT, 0.2, 1);
        po_draw_dashed(d, q[0], q[3], q[0], q[1], PO_INK_SOFT, 0.2, 1);
    }
    for (size_t i = 0; i < m->n_keep_outs; i++) {
        const po_keep_out *k = &m->keep_outs[i];
        bool right = (k->x.low + k->x.high) / 2 > (bx.low + bx.high) / 2;
        po_draw_textf(d, right ? vx(&v, k->x.low) - 0.8 : vx(&v, k->x.high) + 0.8,
                      vy(&v, (k->y.low + k->y.high) / 2) + 0.8, 2.1, right ? PO_ANCHOR_END : PO_ANCHOR_START,
                      PO_INK_SOFT, "keep out below %s mm", po_say_number(d->arena, k->below_z_mm, 0));
    }
    double hx = m->home_mm[0], hy = m->home_mm[1];
    bool low = fabs(m->home_mm[2]) <= 20; /* a home high above the bed is no place on it */
    if (low && hx >= v.w.x0 - 1 && hx <= v.w.x1 + 1 && hy >= v.w.y0 - 1 &&
        hy <= v.w.y1 + 1) { /* a small open cross in a ring */
        po_draw_circle(d, vx(&v, hx), vy(&v, hy), 1.1, PO_INK_PAPER, PO_INK_LINE, 0.25);
        po_draw_line(d, vx(&v, hx) - 1.7, vy(&v, hy), vx(&v, hx) + 1.7, vy(&v, hy), PO_INK_LINE, 0.2);
        po_draw_line(d, vx(&v, hx), vy(&v, hy) - 1.7, vx(&v, hx), vy(&v, hy) + 1.7, PO_INK_LINE, 0.2);
        po_draw_text(d, vx(&v, hx) + 2, vy(&v, hy) - 1.3, 2.1, PO_ANCHOR_START, PO_INK_SOFT, "home");
    }
    if (layer) {
        flags_into(d, &v, layer, proof);
    } else {
        po_draw_text(d, vx(&v, (bx.low + bx.high) / 2), vy(&v, (by.low + by.high) / 2), 2.8, PO_ANCHOR_MIDDLE,
                     PO_INK_SOFT, r->facts.deposit_done ? "no layer was laid" : "not measured");
    }
    po_draw_end(d);
}

void po_picture_close(po_drawing *d, po_box2 box, const po_proof *proof)
{
    const po_job_report *r = proof->report;
    const po_layer_image *layer = r->images.first_layer;
    po_window w;
    po_draw_begin(d, "The first layer close up");
    if (!layer || !po_layer_extent(layer, false, &w)) {
        po_draw_heading(d, box, "First layer", NULL);
        po_draw_text(d, box.x, box.y + 10, 2.6, PO_ANCHOR_START, PO_INK_SOFT, "nothing stands on the bed");
        po_draw_end(d);
        return;
    }
    char note[64] = "";
    if (isfinite(r->facts.first_layer_height_mm)) {
        snprintf(note, sizeof note, "%s mm high", po_say_number(d->arena, r->facts.first_layer_height_mm, 2));
    }
    po_draw_heading(d, box, "First layer", *note ? note : NULL);
    double pad = fmax(w.x1 - w.x0, w.y1 - w.y0) * 0.04 + 0.5;
    w = (po_window){w.x0 - pad, w.y0 - pad, w.x1 + pad, w.y1 + pad};
    po_box2 inner = {box.x, box.y + 6, box.w, box.h - 6 - 7.5};
    view v = fit(w, inner);
    layer_into(d, &v, layer);
    size_t n_parts = 0;
    for (size_t i = 0; i < r->facts.n_parts; i++) {
        n_parts += !r->facts.parts[i].aid;
    }
    char letter[2] = "A";
    for (size_t i = 0; n_parts > 1 && n_parts <= 26 && i < r->facts.n_parts; i++) {
        const po_job_part *part = &r->facts.parts[i];
        if (part->aid || !(part->x > v.w.x0 && part->x < v.w.x1 && part->y > v.w.y0 && part->y < v.w.y1)) {
            continue;
        }
        po_draw_circle(d, vx(&v, part->x), vy(&v, part->y), 2.1, PO_INK_PAPER, PO_INK_LINE, 0.25);
        po_draw_bold(d, vx(&v, part->x), vy(&v, part->y) + 0.95, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, letter);
        letter[0]++;
    }
    flags_into(d, &v, layer, proof);
    double y = box.y + box.h - 4.6;
    po_draw_scale(d, box.x, y, v.scale, box.w);
    if (r->facts.deposit_done) {
        char text[64];
        snprintf(text, sizeof text, "%d foothold%s, %s mm2", r->facts.footholds, r->facts.footholds == 1 ? "" : "s",
                 po_say_number(d->arena, r->facts.foothold_mm2, 0));
        bool beside = po_text_width(text, 2.4, false) < box.w * 2 / 3 - 16; /* else below the scale */
        po_draw_text(d, beside ? box.x + box.w : box.x, beside ? y + 0.85 : y + 4.4, 2.4,
                     beside ? PO_ANCHOR_END : PO_ANCHOR_START, PO_INK_SOFT, text);
    }
    po_draw_end(d);
}

/* The part of a layer worth showing: all of a small one, else what lies around the flags. */
static po_window frame_window(const po_layer_image *layer)
{
    po_window all;
    if (!po_layer_extent(layer, true, &all)) {
        return (po_window){layer->x0, layer->y0, layer->x0 + layer->width * layer->px_mm,
                           layer->y0 + layer->height * layer->px_mm};
    }
    double longest = fmax(all.x1 - all.x0, all.y1 - all.y0), pad = longest * 0.05 + 0.5;
    po_window whole = {all.x0 - pad, all.y0 - pad, all.x1 + pad, all.y1 + pad};
    if (longest <= 45 || !layer->n_flags) {
        return whole;
    }
    const po_flag *worst = &layer->flags[0]; /* frames stay readable: one place, not all of them */
    double half = fmax(22, longest * 0.22);
    double cx = fmin(fmax(worst->x, all.x0 + half * 0.6), all.x1 - half * 0.6);
    double cy = fmin(fmax(worst->y, all.y0 + half * 0.6), all.y1 - half * 0.6);
    return isfinite(cx) && isfinite(cy) ? (po_window){cx - half, cy - half, cx + half, cy + half} : whole;
}

double po_heights_height(double width_mm, size_t frames)
{
    double gap = 4, w = (width_mm - gap * (double)(frames - 1)) / (double)frames;
    return 5.5 + w * 0.8 + 5;
}

void po_picture_heights(po_drawing *d, po_box2 box, const po_proof *proof, size_t first, size_t most)
{
    const po_job_images *images = &proof->report->images;
    double gap = 4, w = (box.w - gap * (double)(most - 1)) / (double)most, h = w * 0.8;
    for (size_t i = first; i < images->n_worst && i < first + most; i++) {
        const po_layer_image *layer = &images->worst[i];
        double x = box.x + (double)(i - first) * (w + gap);
        char title[64];
        snprintf(title, sizeof title, "%s mm up", po_say_number(d->arena, layer->z, 2));
        po_draw_begin(d, title);
        po_draw_bold(d, x, box.y + 3, 2.8, PO_ANCHOR_START, PO_INK_LINE, title);
        po_box2 frame = {x, box.y + 5, w, h};
        view v = fit(frame_window(layer), frame);
        layer_into(d, &v, layer);
        po_draw_rect(d, frame, PO_INK_NONE, PO_INK_FAINT, 0.25);
        flags_into(d, &v, layer, proof);
        po_draw_scale(d, x, box.y + 5 + h + 2.6, v.scale, w);
        po_draw_end(d);
    }
}

static void note_kinds(const po_layer_image *layer, bool *seen)
{
    size_t n = layer ? (size_t)layer->width * (size_t)layer->height : 0;
    for (size_t i = 0; i < n; i++) {
        seen[layer->px[i] < PO_PX_COUNT ? layer->px[i] : PO_PX_NONE] = true;
    }
}

double po_picture_key(po_drawing *d, double x, double y, double width_mm, const po_proof *proof)
{
    bool seen[PO_PX_COUNT] = {false};
    const po_job_images *images = &proof->report->images;
    note_kinds(images->first_layer, seen);
    for (size_t i = 0; i < images->n_worst; i++) {
        note_kinds(&images->worst[i], seen);
    }
    double at = x, row = y;
    bool any = false;
    po_draw_begin(d, "Key to the areas");
    for (int kind = PO_PX_BENEATH; kind < PO_PX_COUNT; kind++) {
        const char *name = po_area_name((uint8_t)kind);
        double w = 7.4 + po_text_width(name, 2.4, false) + 4;
        const po_palette_image *patch = seen[kind] ? po_patch_dots(d->arena, (uint8_t)kind, 48, 24) : NULL;
        if (!patch) {
            continue;
        }
        if (at > x && at + w > x + width_mm) {
            at = x;
            row += 4.6;
        }
        po_draw_image(d, (po_box2){at, row, 6, 3}, patch);
        po_draw_text(d, at + 7.2, row + 2.4, 2.4, PO_ANCHOR_START, PO_INK_SOFT, name);
        at += w;
        any = true;
    }
    po_draw_end(d);
    return any ? row + 4.6 - y : 0;
}
