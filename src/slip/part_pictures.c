/* A part as it lies, cut, and in other ways up. SPDX-License-Identifier: Apache-2.0
 *
 * The look is that of the job's pictures: thin outlines, hatching, plain lettering, one number for one finding. */
#include "slip/part_pictures.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/pictures.h"
#include "slip/say.h"

#define VIEW_W 88.0 /* mm of paper that views are made for */
#define VIEW_H 62.0
#define WAY_W 34.0
#define WAY_H 26.0
#define SECTION_GAP 4.0
#define SECTION_MOST_H 38.0
#define SECTION_HEAD 4.6
#define SECTION_FOOT 5.0
#define WAY_GAP 4.0
#define WAY_TEXT 18.0

static int dots(double mm)
{
    return (int)lround(mm * PO_DOTS_PER_MM);
}

/* ---- views ---- */

static po_status make_look(const po_part_report *r, const po_solid *s, bool ways, po_arena *arena, po_part_look *ret,
                           po_err *err)
{
    double limit = r->shop->rules.overhang_limit_deg > 0 ? r->shop->rules.overhang_limit_deg : NAN;
    po_view_setup setup = {.mesh = s->mesh,
                           .from = PO_VIEW_ABOVE,
                           .width = dots(VIEW_W),
                           .height = dots(VIEW_H),
                           .overhang_limit_deg = limit,
                           .on_bed_mm = 0.1};
    if (s->walls_done) {
        setup.samples = s->walls.samples;
        setup.n_samples = s->walls.n_samples;
        setup.bead_mm = s->walls.bead_mm;
    }
    po_status status = po_part_view_make(&setup, arena, &ret->above, err);
    if (status == PO_OK) {
        setup.from = PO_VIEW_BELOW;
        status = po_part_view_make(&setup, arena, &ret->below, err);
    }
    setup.from = PO_VIEW_ABOVE;
    setup.mesh = s->judged ? s->judged : s->mesh;
    setup.width = dots(WAY_W);
    setup.height = dots(WAY_H);
    setup.n_samples = 0;
    for (size_t i = 0; ways && status == PO_OK && s->poses && i < s->n_poses && i < PO_MOST_WAYS; i++) {
        setup.turn = s->poses[i].turn;
        status = po_part_view_make(&setup, arena, &ret->ways[i], err);
        ret->n_ways = i + 1;
    }
    return status;
}

po_status po_part_gallery_make(const po_part_report *report, size_t with_ways, po_arena *arena, po_part_gallery *ret,
                               po_err *err)
{
    size_t n = report->n_solids < PO_MOST_LOOKS ? report->n_solids : PO_MOST_LOOKS;
    *ret = (po_part_gallery){.report = report, .looks = po_arena_zeros(arena, n + 1, sizeof *ret->looks), .n = n};
    if (!ret->looks) {
        return po_fail(err, PO_E_NOMEM, "no memory for the part's pictures");
    }
    po_status status = PO_OK;
    for (size_t i = 0; i < n && status == PO_OK; i++) {
        bool ways = with_ways == SIZE_MAX || with_ways == i;
        status = make_look(report, &report->solids[i], ways, arena, &ret->looks[i], err);
    }
    return status;
}

size_t po_part_worst_solid(const po_part_proof *proof)
{
    for (size_t i = 0; i < proof->n_findings; i++) {
        if (proof->findings[i].solid < proof->report->n_solids && proof->findings[i].solid < PO_MOST_LOOKS) {
            return proof->findings[i].solid;
        }
    }
    return 0;
}

/* ---- as it lies ---- */

typedef struct place { /* of a view's image on the paper */
    double x, y, per_dot;
} place;

static const double *finding_at(const po_finding *f, double ret[3])
{
    const po_place *p = f->worst.known && isfinite(f->worst.x) ? &f->worst : &f->where;
    ret[0] = p->x;
    ret[1] = p->y;
    ret[2] = p->z;
    return p->known && isfinite(p->x) && isfinite(p->y) && isfinite(p->z) ? ret : NULL;
}

static bool is_about(const po_part_report *r, const po_finding *f, size_t solid)
{
    return f->solid == solid || (f->solid == UINT32_MAX && r->n_solids == 1);
}

static bool shows(const po_part_view *below)
{
    return below->image && (below->seen[PO_SURFACE_OVERHANG] || below->seen[PO_SURFACE_INSIDE]);
}

/* Flags that stand in this view: those seen here; with the rest of them in the first view, whose poles reach through. */
static bool flags(po_drawing *d, const po_part_view *view, const po_part_view *other, bool first, place at,
                  const po_part_proof *proof, size_t solid, bool draw)
{
    double seen_x[24], seen_y[24], p[3], x, y, there_x, there_y;
    size_t n = 0;
    bool any = false;
    for (size_t i = 0; i < proof->n_findings && n < 24; i++) {
        const po_finding *f = &proof->findings[i];
        if (!is_about(proof->report, f, solid) || !finding_at(f, p)) {
            continue;
        }
        bool here = po_part_view_point(view, p, &x, &y);
        bool there = other && po_part_view_point(other, p, &there_x, &there_y);
        if (first ? !here && there : !here || there) {
            continue; /* the first view goes before the second */
        }
        x = at.x + x * at.per_dot;
        y = at.y + y * at.per_dot;
        any = true;
        int lift = 0;
        for (size_t k = 0; k < n; k++) {
            lift += fabs(seen_x[k] - x) < 5.5 && fabs(seen_y[k] - y) < 4;
        }
        seen_x[n] = x;
        seen_y[n++] = y;
        if (draw) {
            po_draw_flag(d, x, y, i + 1, f->grade, lift > 2 ? 2 : lift);
        }
    }
    return any;
}

/* Corners of the box around the part on its bed, in order, in dots of the view. */
static void base_corners(const po_part_view *v, double ret[8], double ret_top[2])
{
    for (int i = 0; i < 4; i++) {
        double p[3] = {i == 1 || i == 2 ? v->high[0] : v->low[0], i > 1 ? v->high[1] : v->low[1], v->low[2]};
        po_part_view_point(v, p, &ret[2 * i], &ret[2 * i + 1]);
    }
    double top[3] = {v->low[0], v->low[1], v->high[2]};
    po_part_view_point(v, top, &ret_top[0], &ret_top[1]);
}

static const char *mm(po_arena *a, double v)
{
    return po_arena_printf(a, "%s mm", po_say_number(a, v, v < 10 ? 2 : 1));
}

/* The box around the part: what it stands on, and how large it is. */
static void measures(po_drawing *d, const po_part_view *v, place at)
{
    po_arena *a = d->arena;
    double q[8], top[2];
    base_corners(v, q, top);
    for (int i = 0; i < 4; i++) {
        q[2 * i] = at.x + q[2 * i] * at.per_dot;
        q[2 * i + 1] = at.y + q[2 * i + 1] * at.per_dot;
    }
    for (int i = 0; i < 4; i++) {
        int k = (i + 1) % 4;
        po_draw_dashed(d, q[2 * i], q[2 * i + 1], q[2 * k], q[2 * k + 1], PO_INK_SOFT, 0.2, 1);
    }
    double z0 = q[1], z1 = at.y + top[1] * at.per_dot, left = q[0] - 1.6;
    po_draw_line(d, left, z0, left, z1, PO_INK_SOFT, 0.2);
    po_draw_line(d, left - 0.8, z0, left + 0.8, z0, PO_INK_SOFT, 0.2);
    po_draw_line(d, left - 0.8, z1, left + 0.8, z1, PO_INK_SOFT, 0.2);
    po_draw_turned(d, left - 1.2, (z0 + z1) / 2, 2.4, PO_ANCHOR_MIDDLE, PO_INK_LINE, -90,
                   po_arena_printf(a, "z %s", mm(a, v->high[2] - v->low[2])));
    const char *x = po_arena_printf(a, "x %s", mm(a, v->high[0] - v->low[0]));
    const char *y = po_arena_printf(a, "y %s", mm(a, v->high[1] - v->low[1]));
    po_draw_text(d, (q[0] + q[2]) / 2 - 1, (q[1] + q[3]) / 2 + 3.6, 2.4, PO_ANCHOR_END, PO_INK_LINE, x);
    po_draw_text(d, (q[2] + q[4]) / 2 + 1, (q[3] + q[5]) / 2 + 3.4, 2.4, PO_ANCHOR_START, PO_INK_LINE, y);
}

static place fit_view(const po_part_view *v, po_box2 box, bool with_base)
{
    double x0 = 0, y0 = 0, x1 = v->image->width, y1 = v->image->height, q[8], top[2];
    if (with_base) {
        base_corners(v, q, top);
        for (int i = 0; i < 4; i++) {
            x0 = fmin(x0, q[2 * i]);
            x1 = fmax(x1, q[2 * i]);
            y0 = fmin(y0, fmin(q[2 * i + 1], top[1]));
            y1 = fmax(y1, q[2 * i + 1]);
        }
    }
    double per_dot = fmin(fmin(box.w / (x1 - x0), box.h / (y1 - y0)), 1.25 / PO_DOTS_PER_MM);
    return (place){.x = box.x + box.w / 2 - (x0 + x1) / 2 * per_dot,
                   .y = box.y + box.h / 2 - (y0 + y1) / 2 * per_dot,
                   .per_dot = per_dot};
}

static void put_image(po_drawing *d, const po_part_view *v, place at)
{
    po_draw_image(d, (po_box2){at.x, at.y, v->image->width * at.per_dot, v->image->height * at.per_dot}, v->image);
}

void po_part_picture_lies(po_drawing *d, po_box2 box, const po_part_gallery *g, const po_part_proof *proof,
                          size_t solid, const char *title)
{
    const po_part_report *r = g->report;
    if (solid >= g->n) {
        return;
    }
    const po_part_look *look = &g->looks[solid];
    const po_part_view *above = &look->above, *below = &look->below;
    title = title ? title : "As it lies";
    po_draw_begin(d, "The part as it lies");
    if (!above->image || !below->image) {
        po_draw_heading(d, box, title, NULL);
        po_draw_text(d, box.x, box.y + 10, 2.6, PO_ANCHOR_START, PO_INK_SOFT, "there is nothing to see");
        po_draw_end(d);
        return;
    }
    place none = {0};
    bool two_flagged = flags(d, below, above, false, none, proof, solid, false), two = shows(below) || two_flagged;
    bool flagged = flags(d, above, NULL, true, none, proof, solid, false);
    double w = two ? (box.w - 5) / 2 : box.w, head = flagged || two_flagged ? 13 : 6.5; /* room for a flag above */
    po_box2 frame = {box.x + 6.5, box.y + head, w - 11, box.h - head - 5.5};
    place at = fit_view(above, frame, true);
    const char *times = r->solids[solid].times > 1 ? po_arena_printf(d->arena, "%u of it", r->solids[solid].times)
                                                   : NULL;
    po_draw_heading(d, (po_box2){box.x, box.y, w, box.h}, title, times);
    measures(d, above, at);
    put_image(d, above, at);
    flags(d, above, two ? below : NULL, true, at, proof, solid, true);
    if (two) {
        double x = box.x + w + 5;
        po_draw_heading(d, (po_box2){x, box.y, w, box.h}, "From beneath", NULL);
        at = fit_view(below, (po_box2){x + 3, frame.y, w - 6, frame.h}, false);
        put_image(d, below, at);
        flags(d, below, above, false, at, proof, solid, true);
    }
    po_draw_end(d);
}

double po_part_picture_key(po_drawing *d, double x, double y, double width_mm, const po_part_gallery *g, size_t solid)
{
    po_arena *a = d->arena;
    bool seen[PO_SURFACE_COUNT] = {false};
    double bead = NAN;
    for (size_t i = 0; i < g->n; i++) {
        for (int k = 0; k < PO_SURFACE_COUNT && (solid == SIZE_MAX || solid == i); k++) {
            seen[k] = seen[k] || g->looks[i].above.seen[k] || g->looks[i].below.seen[k];
        }
        bead = g->report->solids[i].walls_done ? g->report->solids[i].walls.bead_mm : bead;
    }
    const char *names[PO_SURFACE_COUNT] = {
        [PO_SURFACE_OVERHANG] = po_arena_printf(a, "hangs beyond %s degrees",
                                                po_say_number(a, g->report->shop->rules.overhang_limit_deg, 0)),
        [PO_SURFACE_INSIDE] = "seen from its inside",
        [PO_SURFACE_THIN] = po_arena_printf(a, "thinner than a bead (%s mm)", po_say_number(a, bead, 2)),
        [PO_SURFACE_SLIM] = "thinner than two beads",
    };
    double at = x, row = y;
    bool any = false;
    po_draw_begin(d, "Key to the surfaces");
    for (int k = 0; k < PO_SURFACE_COUNT; k++) {
        const po_palette_image *patch = seen[k] ? po_surface_patch(a, (po_view_kind)k, 48, 24) : NULL;
        double w = 7.4 + po_text_width(names[k] ? names[k] : "", 2.4, false) + 4;
        if (!patch) {
            continue;
        }
        if (at > x && at + w > x + width_mm) {
            at = x;
            row += 4.6;
        }
        po_draw_image(d, (po_box2){at, row, 6, 3}, patch);
        po_draw_text(d, at + 7.2, row + 2.4, 2.4, PO_ANCHOR_START, PO_INK_SOFT, names[k]);
        at += w;
        any = true;
    }
    po_draw_end(d);
    return any ? row + 4.6 - y : 0;
}

/* ---- sections ---- */

static bool sections_window(const po_solid *s, po_window *ret)
{
    *ret = (po_window){INFINITY, INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < s->n_sections; i++) {
        double b[4];
        if (po_loops_bounds(&s->sections[i].loops, b)) {
            *ret = (po_window){fmin(ret->x0, b[0]), fmin(ret->y0, b[1]), fmax(ret->x1, b[2]), fmax(ret->y1, b[3])};
        }
    }
    double dx = ret->x1 - ret->x0, dy = ret->y1 - ret->y0;
    return dx >= 0 && dy >= 0 && dx + dy > 0 && dx < 1e6 && dy < 1e6;
}

/* Columns: as many as there are, at least three frames' width each, so that two do not fill a page. */
static double section_w(const po_solid *s, double width)
{
    double n = s->n_sections < 3 ? 3 : (double)s->n_sections;
    return (width - SECTION_GAP * (n - 1)) / n;
}

double po_part_sections_height(const po_part_report *report, size_t solid, double width)
{
    po_window w;
    const po_solid *s = solid < report->n_solids ? &report->solids[solid] : NULL;
    if (!s || !s->sections || !sections_window(s, &w)) {
        return 0;
    }
    double frame = section_w(s, width), shape = (w.y1 - w.y0) / fmax(w.x1 - w.x0, 1e-9);
    return 5 + SECTION_HEAD + fmin(frame * shape, SECTION_MOST_H) + SECTION_FOOT + 1;
}

/* Rings at thin places near a height, none in another. */
static size_t thin_marks(po_drawing *d, const po_solid *s, double z, double near_mm, const po_window *w, double scale,
                         po_box2 box)
{
    enum { MOST = 40 };
    double xs[MOST], ys[MOST];
    size_t n = 0;
    for (size_t i = 0; s->walls_done && i < s->walls.n_samples && n < MOST; i++) {
        const po_wall_sample *sample = &s->walls.samples[i];
        if (!sample->sheet || !(sample->mm < s->walls.bead_mm) || !(fabs(sample->at[2] - z) <= near_mm)) {
            continue;
        }
        double x = box.x + (sample->at[0] - w->x0) * scale, y = box.y + box.h - (sample->at[1] - w->y0) * scale;
        bool taken = !(x >= box.x - 1 && x <= box.x + box.w + 1 && y >= box.y - 1 && y <= box.y + box.h + 1);
        for (size_t k = 0; k < n && !taken; k++) {
            taken = hypot(xs[k] - x, ys[k] - y) < 2.2;
        }
        if (!taken) {
            po_draw_circle(d, x, y, 0.75, PO_INK_NONE, PO_INK_PAPER, 0.7);
            po_draw_circle(d, x, y, 0.75, PO_INK_NONE, PO_INK_STOP, 0.3);
            xs[n] = x;
            ys[n++] = y;
        }
    }
    return n;
}

void po_part_picture_sections(po_drawing *d, po_box2 box, const po_part_report *report, size_t solid)
{
    po_arena *a = d->arena;
    const po_solid *s = solid < report->n_solids ? &report->solids[solid] : NULL;
    po_window w;
    if (!s || !s->sections || !sections_window(s, &w)) {
        return;
    }
    double frame_w = section_w(s, box.w), frame_h = box.h - 5 - SECTION_HEAD - SECTION_FOOT;
    double scale = fmin((frame_w - 1.6) / fmax(w.x1 - w.x0, 1e-9), frame_h / fmax(w.y1 - w.y0, 1e-9));
    double wide = (w.x1 - w.x0) * scale, high = (w.y1 - w.y0) * scale, low = s->facts.bounds_mm[0][2];
    double near_mm = fmax(0.02 * (s->facts.bounds_mm[1][2] - low), 0.5);
    size_t marks = 0, open = 0;
    po_draw_begin(d, "Cuts through the part");
    for (size_t i = 0; i < s->n_sections; i++) {
        const po_section *cut = &s->sections[i];
        double x = box.x + (double)i * (frame_w + SECTION_GAP);
        po_box2 at = {x + 0.8, box.y + 5 + SECTION_HEAD + (frame_h - high) / 2, wide, high};
        po_draw_text(d, x, box.y + 5 + 2.8, 2.5, PO_ANCHOR_START, PO_INK_LINE,
                     po_arena_printf(a, "%s up%s", mm(a, cut->z - low), cut->open_ends ? ", open" : ""));
        double rim = 0.8;
        po_draw_rect(d, (po_box2){at.x - rim, at.y - rim, at.w + 2 * rim, at.h + 2 * rim}, PO_INK_NONE, PO_INK_FAINT,
                     0.2);
        double dot = 1 / (scale * PO_DOTS_PER_MM);
        int width = dots(wide) + 4, height = dots(high) + 4; /* two dots more on each side */
        const po_palette_image *image = po_section_dots(a, &cut->loops, w.x0 - 2 * dot, w.y0 - 2 * dot, dot, width,
                                                        height);
        if (image) {
            double edge = 2 / PO_DOTS_PER_MM;
            po_draw_image(d,
                          (po_box2){at.x - edge, at.y + at.h + edge - height / PO_DOTS_PER_MM, width / PO_DOTS_PER_MM,
                                    height / PO_DOTS_PER_MM},
                          image);
        }
        marks += thin_marks(d, s, cut->z, near_mm, &w, scale, at);
        open += cut->open_ends;
    }
    double foot = box.y + box.h - 2.4;
    const char *note = marks  ? po_arena_printf(a, "rings: thinner than one bead, %s mm",
                                                po_say_number(a, s->walls.bead_mm, 2))
                       : open ? "open: the outline does not close there"
                              : NULL;
    po_draw_heading(d, box, "Cut level", note);
    po_draw_scale(d, box.x, foot, scale, box.w / 2);
    po_draw_end(d);
}

/* ---- ways up ---- */

static size_t n_ways(const po_part_report *report, size_t solid, size_t most)
{
    const po_solid *s = solid < report->n_solids ? &report->solids[solid] : NULL;
    size_t n = s && s->poses ? s->n_poses : 0;
    n = n < most ? n : most;
    return n < PO_MOST_WAYS ? n : PO_MOST_WAYS;
}

static double way_image_h(double width, size_t columns)
{
    double w = (width - WAY_GAP * (double)(columns - 1)) / (double)columns;
    return fmin(w * 0.72, 34);
}

double po_part_ways_height(const po_part_report *report, size_t solid, double width, size_t columns, size_t most)
{
    size_t n = n_ways(report, solid, most), rows = (n + columns - 1) / columns;
    return n ? 6 + (double)rows * (way_image_h(width, columns) + WAY_TEXT) + 4.5 : 0;
}

/* Not beaten in everything: a small triangle that points up. */
static void unbeaten(po_drawing *d, double x, double y)
{
    double q[] = {x, y, x + 2.2, y, x + 1.1, y - 2};
    po_draw_polygon(d, q, 3, PO_INK_LINE, PO_INK_NONE, 0);
}

static void one_way(po_drawing *d, po_box2 box, double image_h, const po_part_gallery *g, size_t solid, size_t i)
{
    po_arena *a = d->arena;
    const po_solid *s = &g->report->solids[solid];
    const po_pose *p = &s->poses[i];
    const char *currency = g->report->shop->currency ? po_say_clean(a, g->report->shop->currency) : "";
    po_draw_line(d, box.x, box.y + image_h, box.x + box.w, box.y + image_h, PO_INK_FAINT, 0.25);
    if (solid < g->n && i < g->looks[solid].n_ways && g->looks[solid].ways[i].image) {
        const po_part_view *v = &g->looks[solid].ways[i];
        put_image(d, v, fit_view(v, (po_box2){box.x + 6, box.y + 0.5, box.w - 7, image_h - 1.5}, false));
    }
    po_draw_circle(d, box.x + 2.4, box.y + 2.6, 2.1, PO_INK_PAPER, PO_INK_LINE, 0.3);
    po_draw_bold(d, box.x + 2.4, box.y + 3.5, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, po_arena_printf(a, "%zu", i + 1));
    if (p->best_in_something) {
        unbeaten(d, box.x + 1.3, box.y + 8);
    }
    double y = box.y + image_h + 3.4;
    const char *title = po_arena_printf(a, "%s%s", mm(a, p->size_mm[2]), i == s->as_is ? ", as it lies" : " tall");
    po_draw_bold(d, box.x, y, 2.5, PO_ANCHOR_START, PO_INK_LINE, po_text_cut(a, title, box.w, 2.5, true));
    double support = isfinite(p->support_open_mm3) ? p->support_open_mm3 : p->support_mm3;
    const char *beneath = !isfinite(support) ? "supports not known"
                          : support > 0      ? po_arena_printf(a, "supports %s cm3",
                                                               po_say_number(a, support / 1000,
                                                                        support < 1e4   ? 2
                                                                             : support < 1e5 ? 1
                                                                                             : 0))
                                             : "no supports";
    const char *line = isfinite(p->cost) ? po_arena_printf(a, "%s, %.2f %s", beneath, p->cost, currency) : beneath;
    line = line ? line : "";
    double em = po_text_width(line, 2.3, false) <= box.w ? 2.3 : 2.1; /* rather smaller than cut */
    po_draw_text(d, box.x, y + 3.5, em, PO_ANCHOR_START, PO_INK_LINE, po_text_cut(a, line, box.w, em, false));
    const char *lines[3];
    size_t n = p->why ? po_text_wrap(a, po_say_clean(a, p->why), box.w, 2.3, false, lines, 3) : 0;
    for (size_t k = 0; k < n; k++) {
        po_draw_text(d, box.x, y + 6.8 + 3.1 * (double)k, 2.3, PO_ANCHOR_START, PO_INK_SOFT, lines[k]);
    }
}

void po_part_picture_ways(po_drawing *d, po_box2 box, const po_part_gallery *g, size_t solid, size_t columns,
                          size_t most)
{
    size_t n = n_ways(g->report, solid, most);
    if (!n) {
        return;
    }
    double w = (box.w - WAY_GAP * (double)(columns - 1)) / (double)columns, image_h = way_image_h(box.w, columns);
    bool any = false;
    po_draw_begin(d, "The best ways up");
    po_draw_heading(d, box, "Ways up, cheapest first", NULL);
    for (size_t i = 0; i < n; i++) {
        po_box2 at = {box.x + (double)(i % columns) * (w + WAY_GAP),
                      box.y + 6 + (double)(i / columns) * (image_h + WAY_TEXT), w, image_h + WAY_TEXT};
        one_way(d, at, image_h, g, solid, i);
        any = any || g->report->solids[solid].poses[i].best_in_something;
    }
    double foot = box.y + 6 + (double)((n + columns - 1) / columns) * (image_h + WAY_TEXT) + 2.4;
    if (any) {
        unbeaten(d, box.x, foot);
        po_draw_text(d, box.x + 3.4, foot, 2.3, PO_ANCHOR_START, PO_INK_SOFT,
                     "no other way is better in everything. The cost is what comes on top of the part itself.");
    }
    po_draw_end(d);
}
