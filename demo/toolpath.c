/* Honest toolpaths: see toolpath.h. SPDX-License-Identifier: Apache-2.0
 *
 * Each layer of a body is a section (section.h) sampled half-way up the layer. Walls run at depths w/2, w/2 + pitch, ...;
 * pitch = w - h (1 - pi/4), so that stadium-shaped beads of area w h - h^2 (1 - pi/4) fill a solid exactly. A point of the
 * inside is solid where one of the next layers above or below does not hold it. */
#include "toolpath.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double FILAMENT_MM2 = 2.405281875, THIN_MM = 0.008, GRID_MM = 0.2;

typedef struct path {
    polyline line;
    double width, mm_s, share; /* share of the full bead area */
    bool ramp, fill;
} path;

typedef struct layer_work {
    path *at;
    size_t n, room;
} layer_work;

typedef struct shifted { /* a body's solid in machine coordinates */
    const body *b;
} shifted;

static double solid_at(const void *self, double x, double y, double z)
{
    const body *b = ((const shifted *)self)->b;
    if (z < b->base || z > b->height) {
        return 1e3;
    }
    return b->solid(b->self, x - b->x, y - b->y, z);
}

static double bead_area(double w, double h)
{
    return w >= h ? w * h - h * h * (1 - M_PI / 4) : M_PI / 4 * w * w;
}

static path *add_path(layer_work *work, polyline line, double width, double mm_s)
{
    if (work->n == work->room) {
        work->room = work->room ? 2 * work->room : 32;
        work->at = demo_more(work->at, work->room, sizeof *work->at);
    }
    path *p = &work->at[work->n++];
    *p = (path){.line = line, .width = width, .mm_s = mm_s, .share = 1};
    return p;
}

static void take_lines(layer_work *work, polylines *lines, double width, double mm_s, bool fill, double share)
{
    for (size_t i = 0; i < lines->n; i++) {
        path *p = add_path(work, lines->at[i], width, mm_s);
        p->fill = fill;
        p->share = share;
    }
    free(lines->at);
    *lines = (polylines){0};
}

/* ---- what is solid ---- */

typedef struct inside {
    const section *here;
    section
        open; /* for every grid point the greatest distance among the next layers: how far it is from being covered */
    double depth; /* deeper than this: fill */
    bool all_solid;
} inside;

static int kind_at(const void *user, double x, double y)
{
    const inside *in = user;
    if (section_at(in->here, x, y) > -in->depth) {
        return 0;
    }
    return in->all_solid || section_at(&in->open, x, y) > -0.2 ? 2 : 1;
}

/* All sections of a body share one grid. */
static section open_of(const section *sections, int k, int n, int floors, int roofs)
{
    section open = sections[k];
    size_t n_points = (size_t)open.nx * (size_t)open.ny;
    open.depth = demo_alloc(n_points, sizeof *open.depth);
    for (size_t i = 0; i < n_points; i++) {
        open.depth[i] = -1e3f;
    }
    for (int d = -floors; d <= roofs; d++) {
        const section *s = k + d >= 0 && k + d < n ? &sections[k + d] : NULL;
        for (size_t i = 0; i < n_points && d; i++) {
            float f = s ? s->depth[i] : 1e3f;
            open.depth[i] = f > open.depth[i] ? f : open.depth[i];
        }
    }
    return open;
}

/* Area of the layer with no material in the layer beneath. */
static double air_beneath(const section *s, const section *below)
{
    double area = 0;
    for (int j = 0; j < s->ny; j++) {
        for (int i = 0; i < s->nx; i++) {
            size_t at = (size_t)j * (size_t)s->nx + (size_t)i;
            area += s->depth[at] < -0.3 && below->depth[at] > 0.4 ? s->step * s->step : 0;
        }
    }
    return area;
}

/* ---- one layer of one body ---- */

/* Loops that run out and back on nearly the same line: no room for two beads there. */
static void drop_slivers(polylines *lines, double width)
{
    size_t n = 0;
    for (size_t i = 0; i < lines->n; i++) {
        polyline *l = &lines->at[i];
        double twice = 0;
        for (size_t k = 0; k < l->n; k++) {
            pt p = l->p[k], q = l->p[(k + 1) % l->n];
            twice += (p.x - l->p[0].x) * (q.y - l->p[0].y) - (p.y - l->p[0].y) * (q.x - l->p[0].x);
        }
        if (fabs(twice) / polyline_length(l) < 0.3 * width) {
            free(l->p);
        } else {
            lines->at[n++] = *l;
        }
    }
    lines->n = n;
}

static void layer_paths(const job *j, const body *b, const section *sections, int k, int n, double z, double h,
                        layer_work *work)
{
    const style *st = b->style;
    double w = k == 0 ? st->first_width : st->width, pitch = w - h * (1 - M_PI / 4);
    double wall_speed = k == 0 ? st->first_mm_s : st->wall_mm_s, fill_speed = k == 0 ? st->first_mm_s : st->fill_mm_s;
    polylines lines = {0};
    if (b->trace) {
        polyline line = {0};
        b->trace(b->self, z, &line);
        for (size_t i = 0; i < line.n; i++) {
            line.p[i].x += b->x;
            line.p[i].y += b->y;
        }
        add_path(work, line, w, wall_speed);
        return;
    }
    shifted self = {b};
    for (int loop = k == 0 ? j->brim_loops : 0; loop > 0; loop--) {
        section_outline(&sections[0], solid_at, &self, -w / 2 + loop * pitch, 4, &lines);
        take_lines(work, &lines, w, st->first_mm_s, false, 1);
    }
    bool only_outer = st->spiral && k >= st->floors;
    int walls = only_outer ? 1 : st->walls;
    for (int i = 0; i < walls; i++) {
        int wall = st->outer_first ? i : walls - 1 - i;
        section_outline(&sections[k], solid_at, &self, -(w / 2 + wall * pitch), 2, &lines);
        size_t from = work->n;
        drop_slivers(&lines, w);
        take_lines(work, &lines, w, k == 0 || wall > 0 ? wall_speed : st->outer_mm_s, false, 1);
        for (; from < work->n && wall == 0 && k > 0; from++) {
            work->at[from].ramp = st->ramp_mm > 0;
        }
    }
    if (only_outer) {
        return;
    }
    inside in = {.here = &sections[k],
                 .open = open_of(sections, k, n, st->floors, st->spiral ? 0 : st->roofs),
                 .depth = w / 2 + (walls - 1) * pitch + 0.68 * w,
                 .all_solid = st->fill_percent >= 100};
    double angle = (k % 2 ? 135 : 45) + st->turn_degrees;
    if (k > 0 && !isnan(st->bridge_degrees) && air_beneath(&sections[k], &sections[k - 1]) > 6) {
        angle = st->bridge_degrees;
    }
    section_fill(&sections[k], angle, pitch, 2, kind_at, &in, in.all_solid ? 0 : 0.8, true, &lines);
    take_lines(work, &lines, w, fill_speed, true, 1);
    if (st->fill_percent > 0 && st->fill_percent < 100) {
        double spacing = w / (st->fill_percent / 100);
        if (st->fill == FILL_RINGS) {
            for (double d = in.depth + spacing; d < 60; d += spacing) {
                section_outline(&sections[k], solid_at, &self, -d, 3, &lines);
            }
            if (kind_at(&in, b->x + (b->x0 + b->x1) / 2, b->y + (b->y0 + b->y1) / 2) == 2) {
                polylines_free(&lines); /* rings only where the layer is hollow throughout */
            }
        } else if (st->fill == FILL_GRID) {
            section_fill(&sections[k], 45, 2 * spacing, 1, kind_at, &in, 0, false, &lines);
            section_fill(&sections[k], 135, 2 * spacing, 1, kind_at, &in, 0, false, &lines);
        } else {
            section_fill(&sections[k], angle, spacing, 1, kind_at, &in, 0, false, &lines);
        }
        take_lines(work, &lines, w, fill_speed, true, 1);
    }
    if (st->smooth_roofs && k == n - 1) { /* hardly any plastic, close lines, across the roof's own */
        inside all = in;
        all.depth = 0.3 * w;
        all.all_solid = true;
        section_fill(&sections[k], angle + 90, 0.16, 2, kind_at, &all, 0, true, &lines);
        take_lines(work, &lines, w, fill_speed, true, 0.1);
    }
    section_free(&in.open);
}

/* ---- from paths to words ---- */

typedef struct arc_fit {
    double cx, cy, r, sweep;
} arc_fit;

/* The arc through points i, middle and z of line, if all points between lie on it; sweep signed. */
static bool fit_arc(const polyline *l, size_t i, size_t z, arc_fit *ret)
{
    pt a = l->p[i], m = l->p[(i + z) / 2], c = l->p[z % l->n];
    double d = 2 * (a.x * (m.y - c.y) + m.x * (c.y - a.y) + c.x * (a.y - m.y));
    if (fabs(d) < 1e-6) {
        return false;
    }
    double a2 = a.x * a.x + a.y * a.y, m2 = m.x * m.x + m.y * m.y, c2 = c.x * c.x + c.y * c.y;
    double cx = (a2 * (m.y - c.y) + m2 * (c.y - a.y) + c2 * (a.y - m.y)) / d;
    double cy = (a2 * (c.x - m.x) + m2 * (a.x - c.x) + c2 * (m.x - a.x)) / d;
    double r = hypot(a.x - cx, a.y - cy), sweep = 0;
    if (r > 120 || r < 0.5) {
        return false;
    }
    for (size_t k = i; k < z; k++) {
        pt p = l->p[k], q = l->p[(k + 1) % l->n];
        double mx = (p.x + q.x) / 2 - cx, my = (p.y + q.y) / 2 - cy;
        if (fabs(hypot(q.x - cx, q.y - cy) - r) > 0.006 || fabs(hypot(mx, my) - r) > 0.02) {
            return false;
        }
        sweep += atan2((p.x - cx) * (q.y - cy) - (p.y - cy) * (q.x - cx),
                       (p.x - cx) * (q.x - cx) + (p.y - cy) * (q.y - cy));
    }
    *ret = (arc_fit){cx, cy, r, sweep};
    return fabs(sweep) < 5.5;
}

static void write_straight(words *w, const polyline *l, double z, double e_mm, double mm_s)
{
    for (size_t i = 1; i < l->n; i++) {
        words_bead(w, l->p[i].x, l->p[i].y, z, e_mm * hypot(l->p[i].x - w->x, l->p[i].y - w->y), mm_s);
    }
}

/* The points of an open line, arcs where they fit. */
static void write_with_arcs(words *w, const polyline *l, double z, double e_mm, double mm_s)
{
    polyline straight = {0};
    polyline_point(&straight, l->p[0].x, l->p[0].y);
    for (size_t i = 0; i + 1 < l->n;) {
        arc_fit best = {0}, fit;
        size_t to = i;
        for (size_t z2 = i + 6; z2 < l->n && fit_arc(l, i, z2, &fit); z2++) {
            best = fit;
            to = z2;
        }
        if (to > i && fabs(best.sweep) > 0.3) {
            polyline_thin(&straight, THIN_MM);
            write_straight(w, &straight, z, e_mm, mm_s);
            words_arc(w, best.sweep < 0, l->p[to].x, l->p[to].y, best.cx, best.cy, e_mm * best.r * fabs(best.sweep),
                      mm_s);
            straight.n = 0;
            polyline_point(&straight, l->p[to].x, l->p[to].y);
            i = to;
        } else {
            i++;
            polyline_point(&straight, l->p[i].x, l->p[i].y);
        }
    }
    polyline_thin(&straight, THIN_MM);
    write_straight(w, &straight, z, e_mm, mm_s);
    free(straight.p);
}

/* A loop that climbs in over `ramp` mm and fades out over the same stretch after it has closed. */
static void write_ramped(words *w, const polyline *l, double z, double h, double e_mm, double mm_s, double ramp)
{
    double done = 0, total = polyline_length(l);
    size_t n = l->n - 1; /* l is closed by repeating its first point */
    ramp = fmin(ramp, total / 3);
    for (size_t i = 1; done < total + ramp - 1e-6 && i < 3 * n + 3; i++) {
        pt to = l->p[(i - 1) % n + 1];
        double left = hypot(to.x - w->x, to.y - w->y), dx = to.x - w->x, dy = to.y - w->y, x = w->x, y = w->y;
        int pieces = done < ramp || done > total - 1e-6 ? (int)ceil(left / 0.8) : 1;
        for (int k = 1; k <= pieces && done < total + ramp - 1e-6; k++) {
            double step = left / pieces, mid = done + step / 2;
            double share = mid < ramp ? mid / ramp : mid > total ? fmax(0.04, 1 - (mid - total) / ramp) : 1;
            double height = done + step < ramp ? z - h * (1 - (done + step) / ramp) : z;
            words_bead(w, x + dx * k / pieces, y + dy * k / pieces, height, e_mm * fmax(share, 0.06) * step, mm_s);
            done += step;
        }
    }
}

static void go_to(words *w, pt to, double z, bool near_is_free)
{
    double d = hypot(to.x - w->x, to.y - w->y);
    bool worn = w->pushed < 0.25 && d < 12; /* the same stretch would pass the drive too often */
    if ((d > (near_is_free ? 7.0 : 1.6) && !worn) || w->z > z + 0.5) {
        words_retract(w);
    }
    words_travel(w, to.x, to.y, fmax(w->z, z));
    words_travel(w, to.x, to.y, z);
    words_unretract(w);
}

static void write_path(words *w, path *p, const style *st, double z, double h, double slow)
{
    polyline *l = &p->line;
    if (l->n < 2) {
        return;
    }
    double e_mm = bead_area(p->width, h) * p->share / FILAMENT_MM2, mm_s = p->mm_s * slow;
    if (l->closed) { /* begin at the nearest point, and come back to it */
        size_t best = 0;
        for (size_t i = 1; i < l->n; i++) {
            if (hypot(l->p[i].x - w->x, l->p[i].y - w->y) < hypot(l->p[best].x - w->x, l->p[best].y - w->y) - 1e-9) {
                best = i;
            }
        }
        pt *turned = demo_alloc(l->n + 1, sizeof *turned);
        for (size_t i = 0; i <= l->n; i++) {
            turned[i] = l->p[(best + i) % l->n];
        }
        free(l->p);
        l->p = turned;
        l->room = ++l->n;
        l->closed = false;
    }
    if (!w->d->arcs || p->ramp) {
        polyline_thin(l, THIN_MM);
    }
    if (p->ramp) {
        go_to(w, l->p[0], z - h + 0.04, p->fill);
        write_ramped(w, l, z, h, e_mm, mm_s, st->ramp_mm);
        return;
    }
    go_to(w, l->p[0], z, p->fill);
    if (w->d->arcs && l->n > 6) {
        write_with_arcs(w, l, z, e_mm, mm_s);
    } else {
        write_straight(w, l, z, e_mm, mm_s);
    }
}

/* The fill path nearest to the nozzle goes next, turned round where its end is nearer. Passes of another share of
 * plastic (smoothing) stay behind. */
static void bring_nearest(const words *w, layer_work *work, size_t from)
{
    size_t best = from;
    double least = INFINITY;
    bool turn = false;
    for (size_t i = from; i < work->n && work->at[i].fill && work->at[i].share == work->at[from].share; i++) {
        const polyline *l = &work->at[i].line;
        if (l->n < 2 || l->closed) {
            continue;
        }
        double a = hypot(l->p[0].x - w->x, l->p[0].y - w->y),
               z = hypot(l->p[l->n - 1].x - w->x, l->p[l->n - 1].y - w->y);
        if (fmin(a, z) < least - 1e-9) {
            least = fmin(a, z);
            best = i;
            turn = z < a;
        }
    }
    path chosen = work->at[best];
    work->at[best] = work->at[from];
    work->at[from] = chosen;
    for (size_t k = 0; turn && k < chosen.line.n / 2; k++) {
        pt swap = chosen.line.p[k];
        chosen.line.p[k] = chosen.line.p[chosen.line.n - 1 - k];
        chosen.line.p[chosen.line.n - 1 - k] = swap;
    }
}

static void write_work(words *w, layer_work *work, const style *st, double z, double h)
{
    double seconds = 0;
    for (size_t i = 0; i < work->n; i++) {
        seconds += polyline_length(&work->at[i].line) / work->at[i].mm_s;
    }
    double slow = fmax(0.12, fmin(1, seconds / st->layer_seconds));
    for (size_t i = 0; i < work->n; i++) {
        if (work->at[i].fill) {
            bring_nearest(w, work, i);
        }
        write_path(w, &work->at[i], st, z, h, slow);
        free(work->at[i].line.p);
    }
    free(work->at);
    *work = (layer_work){0};
}

/* ---- one climbing bead ---- */

static double ray(const body *b, double cx, double cy, double t, double z, double depth)
{
    shifted self = {b};
    double in = 0, out = hypot(b->x1 - b->x0, b->y1 - b->y0);
    for (int i = 0; i < 40; i++) {
        double m = (in + out) / 2;
        if (solid_at(&self, cx + m * cos(t), cy + m * sin(t), fmin(z, b->height)) < -depth) {
            in = m;
        } else {
            out = m;
        }
    }
    return in;
}

static void write_spiral(words *w, const body *b, double z0, double h)
{
    const style *st = b->style;
    double cx = b->x + (b->x0 + b->x1) / 2, cy = b->y + (b->y0 + b->y1) / 2;
    int steps = 150, turns = (int)floor((b->height - z0) / h);
    double speed = st->outer_mm_s;
    for (long i = 0; i <= (long)steps * (turns + 1); i++) {
        double turn = (double)i / steps, t = 2 * M_PI * (double)(i % steps) / steps;
        double z = fmin(z0 + h * turn, z0 + h * turns), local = turn < 1       ? h * turn
                                                                : turn > turns ? h * (turns + 1 - turn)
                                                                               : h;
        double r = ray(b, cx, cy, t, fmax(z - h / 2, 0), st->width / 2);
        pt to = {cx + r * cos(t), cy + r * sin(t)};
        if (i == 0) {
            go_to(w, to, z0, false);
            continue;
        }
        double l = hypot(to.x - w->x, to.y - w->y), area = bead_area(st->width, fmax(local, 0.03));
        double round_s = 2 * M_PI * r / speed;
        words_bead(w, to.x, to.y, z, area / FILAMENT_MM2 * l, speed * fmin(1, round_s / st->layer_seconds));
    }
}

/* ---- start, end, aids ---- */

static void heat_and_home(const job *j, words *w)
{
    const dialect *d = w->d;
    double hot = j->nozzle_c, bed = j->bed_c;
    switch (d->heat) {
    case HEAT_TOGETHER:
        words_say(w, "M140 S%.0f", bed);
        words_say(w, "M104 S%.0f", hot);
        words_say(w, "G28");
        words_say(w, "M190 S%.0f", bed);
        words_say(w, "M109 S%.0f", hot);
        break;
    case HEAT_IN_TURN:
        words_say(w, "M190 S%.0f", bed);
        words_say(w, "M109 S%.0f T0", hot);
        words_say(w, "G28 X Y");
        words_say(w, "G28 Z");
        break;
    case HEAT_AFTER_HOME:
        words_say(w, "G28 W");
        words_say(w, "M104 S160");
        words_say(w, "M190 R%.0f", bed);
        words_say(w, "M109 R%.0f", hot);
        break;
    case HEAT_BY_TOOL:
        words_say(w, "G10 P0 S%.0f R%.0f", hot, hot - 60);
        words_say(w, "M140 S%.0f", bed);
        words_say(w, "T0");
        words_say(w, "M116");
        words_say(w, "G28");
        break;
    case HEAT_NEVER:
        words_say(w, "G28");
        break;
    }
    if (j->nozzle_c2 > 0) {
        words_say(w, "M109 T1 S%.0f", j->nozzle_c2);
    }
    if (j->probe) {
        words_say(w, "G29");
    }
}

static void write_start(const job *j, words *w)
{
    const dialect *d = w->d;
    words_note(w, "Quayside Workshop");
    if (d->comments == 3) {
        words_say(w, "; layer 1 of 99, Z:300 E9999 M500");
        words_say(w, "(G1 X9999 Y9999 E500)");
        words_say(w, "; high bytes: \xc3\xa4\xe2\x82\xac\xff");
    }
    if (d->progress) {
        words_say(w, "M73 P0 R25");
    }
    if (d->messages) {
        words_say(w, "M117 Warming up (100%% E1 X2): wait...");
    }
    words_say(w, d->inch ? "G20" : "G21");
    if (d->m83_before_g90) {
        words_say(w, d->e_absolute ? "M82" : "M83");
        words_say(w, "G90");
    } else {
        words_say(w, "G90");
        words_say(w, d->e_absolute ? "M82" : "M83");
    }
    heat_and_home(j, w);
    if (j->extra_start) {
        char line[200];
        for (const char *p = j->extra_start; *p;) {
            size_t n = strcspn(p, "\n");
            snprintf(line, sizeof line, "%.*s", (int)n, p);
            words_say(w, "%s", line);
            p += n + (p[n] == '\n');
        }
    }
    words_reset_e(w);
    words_say(w, "M107");
    w->feed = -1;
    w->x = w->y = w->z = -1e6; /* unknown until the first move */
    words_travel(w, j->purge_x, j->purge_y, 5);
}

static void write_purge(const job *j, words *w)
{
    double z = j->purge == PURGE_HIGH ? 0.35 : j->first_layer, h = z, e_mm = bead_area(0.6, h) / FILAMENT_MM2;
    if (j->purge == PURGE_NONE) {
        return;
    }
    words_travel(w, j->purge_x, j->purge_y, z);
    words_push(w, 2, 20);
    words_bead(w, j->purge_x + 60, j->purge_y, z, 60 * e_mm, 18);
    if (j->purge == PURGE_TWICE) {
        words_bead(w, j->purge_x + 60, j->purge_y + 0.7, z, 0.7 * e_mm, 18);
        words_bead(w, j->purge_x, j->purge_y + 0.7, z, 60 * e_mm, 18);
    }
}

static void write_skirt(const job *j, words *w, const body *bodies, int n, const style *st, double z, double h)
{
    double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY, width = st->first_width,
           pitch = width - h * (1 - M_PI / 4);
    for (int i = 0; i < n; i++) {
        x0 = fmin(x0, bodies[i].x + bodies[i].x0);
        y0 = fmin(y0, bodies[i].y + bodies[i].y0);
        x1 = fmax(x1, bodies[i].x + bodies[i].x1);
        y1 = fmax(y1, bodies[i].y + bodies[i].y1);
    }
    for (int loop = j->skirt_loops - 1; loop >= 0; loop--) {
        double g = j->skirt_gap + j->brim_loops * width + loop * pitch, r = fmin(g, 6);
        layer_work work = {0};
        polyline line = {.closed = true};
        for (int i = 0; i < 32; i++) {
            double t = 2 * M_PI * (i / 8 * 8 + (i % 8) * 8 / 7.0) / 32;
            double cx = i < 8 || i >= 24 ? x1 + g - r : x0 - g + r, cy = i < 16 ? y1 + g - r : y0 - g + r;
            polyline_point(&line, cx + r * cos(t), cy + r * sin(t));
        }
        add_path(&work, line, width, st->first_mm_s);
        write_work(w, &work, st, z, h);
    }
}

static void write_end(const job *j, words *w, double top)
{
    const dialect *d = w->d;
    double up = fmin(top + 8, top + 40);
    if (d->end == END_NONE) {
        return;
    }
    words_retract(w);
    switch (d->end) {
    case END_RELATIVE_LIFT:
        words_say(w, "G91");
        words_say(w, d->inch ? "G1 Z0.3 F23.6" : "G1 Z8 F600");
        words_say(w, "G90");
        w->z += d->inch ? 7.62 : 8;
        w->feed = 10;
        break;
    case END_TOOL_WORDS:
        words_say(w, "G10 P0 S0 R0");
        /* fall through */
    default:
        words_travel(w, w->x, w->y, up);
    }
    words_say(w, "M107");
    words_say(w, j->nozzle_c2 > 0 ? "M104 T0 S0" : "M104 S0");
    if (j->nozzle_c2 > 0) {
        words_say(w, "M104 T1 S0");
    }
    words_say(w, "M140 S0");
    if (d->end == END_HOME_X) {
        words_say(w, "G28 X");
    } else {
        words_travel(w, j->park_x, j->park_y, w->z);
    }
    if (d->messages) {
        words_say(w, "M117 Done");
    }
    if (d->progress) {
        words_say(w, "M73 P100 R0");
    }
    words_say(w, d->end == END_LONG ? "M84 X Y E" : "M84");
    if (d->end == END_LONG) {
        words_say(w, "M400");
        words_say(w, "M82");
    }
}

/* ---- the job ---- */

static double next_z(const job *j, int k, double z)
{
    return k == 0 ? j->first_layer : z + (j->other_layer > 0 && z >= j->other_from - 1e-6 ? j->other_layer : j->layer);
}

static void write_layer_words(const job *j, words *w, int k, bool first_time)
{
    if (w->d->comments) {
        char text[40];
        snprintf(text, sizeof text, "next height, %d", k + 1);
        words_note(w, text);
    }
    if (k == j->fan_from && first_time) {
        words_say(w, "M106 S%.0f", j->fan_percent * 2.55);
    }
    if (w->d->reset_e_every && k % w->d->reset_e_every == 0) {
        words_reset_e(w);
    }
    if (w->d->progress && k % 5 == 0) {
        words_say(w, "M73 P%d", k % 100);
    }
    if (w->d->messages && k % 10 == 0) {
        words_say(w, "M117 Height %d", k);
    }
    if (j->pause_layer && k == j->pause_layer && first_time) {
        words_retract(w);
        words_say(w, "M600");
    }
}

/* Bodies that grow together; returns the height reached. */
static double write_bodies(const job *j, words *w, const body *bodies, int n, bool first_group)
{
    double tallest = 0, margin = 1 + j->brim_loops * 0.6;
    int layers = 0;
    for (int i = 0; i < n; i++) {
        tallest = fmax(tallest, bodies[i].height);
    }
    double *zs = demo_alloc((size_t)(tallest / 0.04) + 4, sizeof *zs);
    for (double z = 0;; layers++) {
        double to = next_z(j, layers, z);
        if ((z + to) / 2 > tallest - 1e-9) {
            break;
        }
        zs[layers] = z = to;
    }
    section **sections = demo_alloc((size_t)n, sizeof *sections);
    int *top = demo_alloc((size_t)n, sizeof *top);
    for (int i = 0; i < n; i++) {
        const body *b = &bodies[i];
        shifted self = {b};
        sections[i] = demo_alloc((size_t)layers, sizeof *sections[i]);
        int needed = b->trace ? 0 : b->style->spiral && b->style->floors + 1 < layers ? b->style->floors + 1 : layers;
        for (int k = 0; k < needed; k++) {
            section_make(&sections[i][k], solid_at, &self, (zs[k] + (k ? zs[k - 1] : 0)) / 2, b->x + b->x0 - margin,
                         b->y + b->y0 - margin, b->x + b->x1 + margin, b->y + b->y1 + margin, GRID_MM);
        }
        while (top[i] < layers && (zs[top[i]] + (top[i] ? zs[top[i] - 1] : 0)) / 2 <= b->height) {
            top[i]++;
        }
    }
    int tool = bodies[0].tool;
    for (int k = 0; k < layers; k++) {
        double z = zs[k], h = z - (k ? zs[k - 1] : 0);
        write_layer_words(j, w, k, first_group);
        if (k < j->skirt_layers && first_group) {
            write_skirt(j, w, j->bodies, j->n_bodies, bodies[0].style, z, h);
        }
        layer_work work = {0};
        for (int i = 0; i < n; i++) {
            const body *b = &bodies[i];
            if (b->style->spiral && k >= b->style->floors) {
                write_spiral(w, b, zs[k - 1], h);
                k = layers;
                break;
            }
            if (b->tool != tool) {
                write_work(w, &work, bodies[i ? i - 1 : 0].style, z, h);
                words_retract(w);
                words_say(w, "T%d", b->tool);
                tool = b->tool;
            }
            if (k < top[i] && z - h / 2 > b->base) {
                layer_paths(j, b, sections[i], k, top[i], z, h, &work);
            }
        }
        write_work(w, &work, bodies[n - 1].style, z, h);
    }
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < layers; k++) {
            section_free(&sections[i][k]);
        }
        free(sections[i]);
    }
    double reached = layers ? zs[layers - 1] : 0;
    free(sections);
    free(top);
    free(zs);
    return reached;
}

void job_write(const job *j, words *w)
{
    w->d = j->words;
    write_start(j, w);
    write_purge(j, w);
    double top = 0;
    if (j->in_turn) {
        for (int i = 0; i < j->n_bodies; i++) {
            if (i) { /* over what stands, then to the next part */
                words_retract(w);
                words_travel(w, w->x, w->y, top + 2);
                words_travel(w, j->bodies[i].x + j->bodies[i].x0, j->bodies[i].y + j->bodies[i].y0, top + 2);
            }
            top = fmax(top, write_bodies(j, w, &j->bodies[i], 1, i == 0));
        }
    } else {
        top = write_bodies(j, w, j->bodies, j->n_bodies, true);
    }
    write_end(j, w, top);
}

bool job_save(const job *j, const char *file)
{
    words w = {0};
    job_write(j, &w);
    size_t n = j->stop_share > 0 ? (size_t)((double)w.n * j->stop_share) : w.n;
    FILE *f = fopen(file, "wb");
    bool ok = f && fwrite(w.text, 1, n, f) == n;
    ok = f && fclose(f) == 0 && ok;
    if (!ok) {
        fprintf(stderr, "%s: cannot write: %s\n", file, strerror(errno));
    }
    words_done(&w);
    return ok;
}
