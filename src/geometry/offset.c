/* Loops: offsets. SPDX-License-Identifier: Apache-2.0
 *
 * The region is first made clean. Growing it by r then adds, with winding number 1 each, a rectangle of height r outside
 * every edge and a sector of a disk at every convex corner; together with the region their borders sum up to one closed
 * curve a ring: each edge moved out by r, joined by arcs at convex corners and, at reflex ones, by way of the corner
 * itself. The region of positive winding of these curves is the answer (a convolution: L. Guibas, L. Ramshaw, J. Stolfi, A
 * kinetic framework for computational geometry, FOCS 1983). Shrinking is growing the outside, and comes out as the same
 * curves to the other side with the same rule.
 *
 * At a reflex corner the moved edges cross; cutting both there takes a kite out of the sum. Where the turn is no sharper
 * than a right angle and the kite reaches no further along either edge than that is long, it lies in both rectangles, and
 * the sum stays positive all over it: k kites in a row lie in k + 1 rectangles. Only where all corners of a ring are cut and each of its edges is consumed
 * from both ends would the kites use up all rectangles; such a ring keeps one corner uncut. This saves most of the
 * crossings that would have to be found. */
#include <math.h>

#include "geometry/rings.h"

static const double LEAST_ARC_ERROR_MM = 1e-7, MITRE_MM = 2.5e-7;

typedef struct vec {
    double x, y;
} vec;

typedef struct tracer {
    po_rings *out;
    size_t room;
    double r, size;        /* to the right of each edge; its absolute value; grid units */
    double step, cos_step; /* of an arc's chords */
    double mitre;          /* how far a corner may stand off its arc */
    po_arena *scratch;
    po_err *err;
} tracer;

/* Room for n more points and the closing one. */
static po_status more_room(tracer *t, size_t n)
{
    po_rings *out = t->out;
    if (n > PO_RINGS_MOST_POINTS || out->n_points + n + 1 > PO_RINGS_MOST_POINTS) {
        return po_fail(t->err, PO_E_LIMIT, "an offset outline of more than %d points", PO_RINGS_MOST_POINTS);
    }
    if (out->n_points + n + 1 > t->room) {
        size_t room = 2 * t->room + n + 64;
        po_spot *at = po_arena_resize(t->scratch, out->at, t->room * sizeof *at, room * sizeof *at);
        if (!at) {
            return po_rings_memory(t->err);
        }
        out->at = at;
        t->room = room;
    }
    return PO_OK;
}

static inline void put(tracer *t, const po_spot *v, double x, double y)
{
    t->out->at[t->out->n_points++] = (po_spot){v->x + llrint(x), v->y + llrint(y)};
}

/* Whether one corner's kite lies in both rectangles, and may be cut off. Its far corners are the ends of the moved edges:
 * each is size * sin(turn) along the other edge and size * cos(turn) above it. */
static bool is_cut(const tracer *t, vec a, vec b, double l, double m)
{
    double turn = a.x * b.y - a.y * b.x, along = a.x * b.x + a.y * b.y;
    return turn * t->r <= 0 && t->size * along >= -1 && t->size * fabs(turn) <= fmin(l, m) && along > -0.5;
}

static po_status put_corner(tracer *t, const po_spot *v, vec a, vec b, bool cut)
{
    double turn = a.x * b.y - a.y * b.x, along = a.x * b.x + a.y * b.y, r = t->r;
    if (cut || (along > 0 && turn * r > 0 && t->size * (1 - along) <= 4 * t->mitre)) {
        /* 1 / cos(h) - 1 is about h^2 / 2, and 1 - cos(2 h) about 2 h^2 */
        double k = r / (1 + along);
        put(t, v, k * (a.x + b.x), k * (a.y + b.y));
        return PO_OK;
    }
    double n = 1;
    if (turn * r > 0 && along < t->cos_step) {
        n = ceil(fabs(atan2(turn, along)) / t->step - 1e-9);
    }
    if (!(n < PO_RINGS_MOST_POINTS)) {
        n = PO_RINGS_MOST_POINTS; /* is refused below */
    }
    po_status status = more_room(t, (size_t)n + 3);
    if (status) {
        return status;
    }
    put(t, v, r * a.x, r * a.y);
    if (turn * r <= 0) {
        put(t, v, 0, 0);
    } else if (n > 1) {
        double angle = atan2(turn, along) / n, c = cos(angle), s = sin(angle);
        vec d = a;
        for (size_t i = 1; i < (size_t)n; i++) {
            d = (vec){d.x * c - d.y * s, d.x * s + d.y * c};
            put(t, v, r * d.x, r * d.y);
        }
    }
    put(t, v, r * b.x, r * b.y);
    return PO_OK;
}

static void drop_repeats(po_rings *out, size_t first)
{
    size_t n = first;
    for (size_t i = first; i < out->n_points; i++) {
        const po_spot *p = &out->at[i];
        if (n == first || p->x != out->at[n - 1].x || p->y != out->at[n - 1].y) {
            out->at[n++] = *p;
        }
    }
    while (n > first + 1 && out->at[n - 1].x == out->at[first].x && out->at[n - 1].y == out->at[first].y) {
        n--;
    }
    if (n - first < 3) {
        out->n_points = first;
        return;
    }
    out->at[n++] = out->at[first];
    out->n_points = n;
    out->start[++out->n_rings] = (uint32_t)n;
}

/* A ring too narrow to hold a disk of the offset: it closes and leaves nothing. */
static bool closes(const tracer *t, const po_spot *at, size_t n)
{
    int64_t x0 = at->x, x1 = at->x, y0 = at->y, y1 = at->y;
    double twice = 0;
    for (size_t i = 1; i <= n; i++) {
        x0 = at[i].x < x0 ? at[i].x : x0;
        x1 = at[i].x > x1 ? at[i].x : x1;
        y0 = at[i].y < y0 ? at[i].y : y0;
        y1 = at[i].y > y1 ? at[i].y : y1;
        twice += (double)(at[i - 1].x - at->x) * (double)(at[i].y - at->y) -
                 (double)(at[i].x - at->x) * (double)(at[i - 1].y - at->y);
    }
    bool hole = twice < 0;
    int64_t width = x1 - x0 < y1 - y0 ? x1 - x0 : y1 - y0;
    return hole == (t->r > 0) && (double)width <= 2 * t->size;
}

/* Moved edges of one ring of n points (and the first again). normal and length have room for n + 1. */
static po_status trace_ring(tracer *t, const po_spot *at, size_t n, vec *normal, double *length)
{
    if (closes(t, at, n)) {
        return PO_OK;
    }
    for (size_t i = 0; i < n; i++) {
        double dx = (double)(at[i + 1].x - at[i].x), dy = (double)(at[i + 1].y - at[i].y), l = sqrt(dx * dx + dy * dy);
        length[i] = l;
        normal[i] = (vec){dy / l, -dx / l};
    }
    bool all_cut = true, consumed = true;
    for (size_t i = 0; i < n && all_cut && consumed; i++) {
        size_t h = i > 0 ? i - 1 : n - 1, j = i + 1 < n ? i + 1 : 0;
        vec a = normal[h], b = normal[i], c = normal[j];
        all_cut = is_cut(t, a, b, length[h], length[i]);
        double before = fabs(a.x * b.y - a.y * b.x), after = fabs(b.x * c.y - b.y * c.x);
        consumed = t->size * (before + after) >= length[i] * (1 - 1e-9);
    }
    size_t first = t->out->n_points;
    po_status status = more_room(t, n + 1);
    for (size_t i = 0; i < n && !status; i++) {
        size_t h = i > 0 ? i - 1 : n - 1;
        bool cut = is_cut(t, normal[h], normal[i], length[h], length[i]) && !(all_cut && consumed && i == 0);
        status = more_room(t, n - i + 1);
        status = status ? status : put_corner(t, &at[i], normal[h], normal[i], cut);
    }
    if (!status) {
        drop_repeats(t->out, first);
    }
    return status;
}

static po_status trace(tracer *t, const po_rings *in)
{
    size_t longest = 0;
    for (size_t i = 0; i < in->n_rings; i++) {
        size_t n = in->start[i + 1] - in->start[i];
        longest = n > longest ? n : longest;
    }
    t->room = in->n_points + in->n_points / 2 + 64;
    vec *normal = po_arena_zeros(t->scratch, longest + 1, sizeof *normal);
    double *length = po_arena_zeros(t->scratch, longest + 1, sizeof *length);
    *t->out = (po_rings){.at = po_arena_zeros(t->scratch, t->room, sizeof *t->out->at),
                         .start = po_arena_zeros(t->scratch, in->n_rings + 2, sizeof *t->out->start)};
    if (!normal || !length || !t->out->at || !t->out->start) {
        return po_rings_memory(t->err);
    }
    po_status status = PO_OK;
    for (size_t i = 0; i < in->n_rings && !status; i++) {
        status = trace_ring(t, in->at + in->start[i], in->start[i + 1] - in->start[i] - 1, normal, length);
    }
    t->out->n_first = t->out->n_rings;
    return status;
}

po_status po_loops_offset(const po_loops *loops, double by_mm, double arc_error_mm, po_arena *arena, po_loops *ret,
                          po_err *err)
{
    double reach = 0;
    po_status status = po_loops_reach(loops, &reach, err);
    if (status) {
        return status;
    }
    if (!(fabs(by_mm) <= 1e6) || !(arc_error_mm > 0) || !(arc_error_mm <= 1e6)) {
        return po_fail(err, PO_E_RANGE, "an offset of %g mm with an arc error of %g mm; at most 1e6 each was wanted",
                       by_mm, arc_error_mm);
    }
    po_arena *scratch = po_arena_new(PO_RINGS_MOST_BYTES);
    if (!scratch) {
        return po_rings_memory(err);
    }
    po_grid grid = po_grid_for(reach + fabs(by_mm) + 1);
    double r = by_mm * grid.per_mm, size = fabs(r);
    double off = fmax(arc_error_mm, LEAST_ARC_ERROR_MM) * grid.per_mm;
    /* A chord over the angle s is size * (1 - cos(s / 2)) off its arc = 2 size sin^2(s / 4); half a turn at most. */
    double step = fmin(M_PI, 4 * asin(fmin(1, sqrt(off / (2 * fmax(size, 1))))));
    po_rings in, clean, raw, out;
    tracer t = {.out = &raw,
                .r = r,
                .size = size,
                .step = step,
                .cos_step = cos(step),
                .mitre = MITRE_MM * grid.per_mm,
                .scratch = scratch,
                .err = err};
    double least = PO_RINGS_LEAST_WIDTH_MM * grid.per_mm;
    status = po_rings_of(loops, NULL, grid, scratch, &in, err);
    status = status ? status : po_rings_arrange(&in, PO_CLIP_UNION, least, scratch, &clean, err);
    if (!status && size >= 0.5) {
        status = trace(&t, &clean);
        status = status ? status : po_rings_arrange(&raw, PO_CLIP_UNION, least, scratch, &out, err);
    } else {
        out = clean;
    }
    status = status ? status : po_rings_to_loops(&out, grid, arena, ret, err);
    po_arena_free(scratch);
    return status;
}
