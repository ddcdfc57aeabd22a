/* Loops: offsets. SPDX-License-Identifier: Apache-2.0
 *
 * The region is first made clean. Growing it by r adds everything that is nearest to some place of its outline and within
 * r of it: beside every edge a piece of the rectangle of height r, at every convex corner a sector of a disk. The borders
 * of the region and of all pieces sum up to one closed curve a ring, and the region of positive winding of these curves is
 * the answer (a convolution: L. Guibas, L. Ramshaw, J. Stolfi, A kinetic framework for computational geometry, FOCS 1983).
 * Shrinking is growing the outside, and comes out as the same curves to the other side with the same rule.
 *
 * At a reflex corner the rectangles of both edges overlap. Each may be cut along the bisector there, which saves most of
 * the crossings that would have to be found, as long as no point beyond the bisector has its nearest place on the edge
 * that it is cut from. Let x be such a point within r. It is nearer to the line of the other edge than to this edge, so its
 * foot on that line must lie behind the other edge's end, at most r sin(turn) from the corner (r tan(turn / 2) for turns
 * over a right angle). If the outline goes on that far along the line, by reflex corners that turn less than a right
 * angle in all, it comes between x and the foot, and so nearer to x than this edge is. Where it does not go on like that
 * the corner is not cut: the curve runs to the corner and back out. Two bisectors that meet below r leave a triangle. */
#include <math.h>

#include "geometry/rings.h"

enum { FURTHEST_LOOK = 64 }; /* edges: beyond that a corner is left uncut */
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
    po_scratch *scratch;
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
        po_spot *at = po_scratch_more(t->scratch, out->at, t->room * sizeof *at, room * sizeof *at);
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

/* One ring on its way out: n corners, corner i between the edges i - 1 and i. */
typedef struct course {
    const po_spot *at;
    size_t n;
    vec *normal; /* of each edge, to its right; of length 1 */
    double *length;
    bool *cut;    /* each corner: along its bisector */
    double *apex; /* each edge: height at which the bisectors of its ends meet, if below the offset; else 0 */
} course;

static inline size_t before(const course *c, size_t i)
{
    return i > 0 ? i - 1 : c->n - 1;
}

static inline size_t after(const course *c, size_t i)
{
    return i + 1 < c->n ? i + 1 : 0;
}

static inline double cross(vec a, vec b)
{
    return a.x * b.y - a.y * b.x;
}

static inline double dot(vec a, vec b)
{
    return a.x * b.x + a.y * b.y;
}

/* Whether the outline goes on along the edge for so far, forward or backward. */
static bool goes_on(const tracer *t, const course *c, size_t edge, bool forward, double far)
{
    vec first = c->normal[edge];
    double sum = 1; /* a grid unit's grace */
    for (int steps = 0; steps < FURTHEST_LOOK; steps++) {
        vec a = c->normal[edge];
        double along = dot(first, a);
        if (along <= 0) {
            return false;
        }
        sum += c->length[edge] * along;
        if (sum >= far) {
            return true;
        }
        edge = forward ? after(c, edge) : before(c, edge);
        vec b = c->normal[edge];
        if ((forward ? cross(a, b) : cross(b, a)) * t->r > 0 || dot(a, b) <= 0) {
            return false;
        }
    }
    return false;
}

static bool may_cut(const tracer *t, const course *c, size_t corner)
{
    size_t h = before(c, corner);
    double turn = cross(c->normal[h], c->normal[corner]), along = dot(c->normal[h], c->normal[corner]);
    if (turn * t->r > 0 || along < -0.999) {
        return false;
    }
    double far = t->size * fabs(turn) / (along >= 0 ? 1 : 1 + along);
    return goes_on(t, c, corner, true, far) && goes_on(t, c, h, false, far);
}

/* tan of half the turn: how far a bisector leans over its edge. */
static double lean(const course *c, size_t corner)
{
    vec a = c->normal[before(c, corner)], b = c->normal[corner];
    return c->cut[corner] ? fabs(cross(a, b)) / (1 + dot(a, b)) : 0;
}

static void put_apex(tracer *t, const course *c, size_t edge)
{
    vec a = c->normal[edge];
    double h = c->apex[edge], along = h * lean(c, edge);
    h = t->r < 0 ? -h : h;
    put(t, &c->at[edge], h * a.x - along * a.y, h * a.y + along * a.x);
}

static po_status put_corner(tracer *t, const course *c, size_t i)
{
    size_t h = before(c, i);
    const po_spot *v = &c->at[i];
    vec a = c->normal[h], b = c->normal[i];
    double turn = cross(a, b), along = dot(a, b), r = t->r, n = 1;
    bool arc = turn * r > 0;
    if (arc && along < t->cos_step) {
        n = ceil(fabs(atan2(turn, along)) / t->step - 1e-9);
    }
    po_status status = more_room(t, n < PO_RINGS_MOST_POINTS ? (size_t)n + 4 : PO_RINGS_MOST_POINTS + (size_t)1);
    if (status) {
        return status;
    }
    if (c->cut[i] || (arc && along > 0 && t->size * (1 - along) <= 4 * t->mitre)) {
        /* 1 / cos(x) - 1 is about x^2 / 2, and 1 - cos(2 x) about 2 x^2 */
        double k = r / (1 + along);
        if (arc || !(c->apex[h] > 0 && c->apex[i] > 0)) {
            put(t, v, k * (a.x + b.x), k * (a.y + b.y));
        }
    } else {
        if (arc || !(c->apex[h] > 0)) {
            put(t, v, r * a.x, r * a.y);
        }
        if (!arc) {
            put(t, v, 0, 0);
        } else if (n > 1) {
            double angle = atan2(turn, along) / n, co = cos(angle), si = sin(angle);
            vec d = a;
            for (size_t k = 1; k < (size_t)n; k++) {
                d = (vec){d.x * co - d.y * si, d.x * si + d.y * co};
                put(t, v, r * d.x, r * d.y);
            }
        }
        if (arc || !(c->apex[i] > 0)) {
            put(t, v, r * b.x, r * b.y);
        }
    }
    if (c->apex[i] > 0) {
        put_apex(t, c, i);
    }
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

static po_status trace_ring(tracer *t, course *c)
{
    if (closes(t, c->at, c->n)) {
        return PO_OK;
    }
    for (size_t i = 0; i < c->n; i++) {
        double dx = (double)(c->at[i + 1].x - c->at[i].x), dy = (double)(c->at[i + 1].y - c->at[i].y);
        double l = sqrt(dx * dx + dy * dy);
        c->length[i] = l;
        c->normal[i] = (vec){dy / l, -dx / l};
    }
    for (size_t i = 0; i < c->n; i++) {
        c->cut[i] = may_cut(t, c, i);
    }
    for (size_t i = 0; i < c->n; i++) {
        double lean2 = lean(c, i) + lean(c, after(c, i));
        c->apex[i] = t->size * lean2 > c->length[i] ? c->length[i] / lean2 : 0;
    }
    size_t first = t->out->n_points;
    po_status status = PO_OK;
    for (size_t i = 0; i < c->n && !status; i++) {
        status = put_corner(t, c, i);
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
    course c = {.normal = po_scratch_take(t->scratch, longest + 1, sizeof *c.normal),
                .length = po_scratch_take(t->scratch, longest + 1, sizeof *c.length),
                .cut = po_scratch_take(t->scratch, longest + 1, sizeof *c.cut),
                .apex = po_scratch_take(t->scratch, longest + 1, sizeof *c.apex)};
    *t->out = (po_rings){.at = po_scratch_take(t->scratch, t->room, sizeof *t->out->at),
                         .start = po_scratch_zeros(t->scratch, in->n_rings + 2, sizeof *t->out->start)};
    if (!c.normal || !c.length || !c.cut || !c.apex || !t->out->at || !t->out->start) {
        return po_rings_memory(t->err);
    }
    po_status status = PO_OK;
    for (size_t i = 0; i < in->n_rings && !status; i++) {
        c.at = in->at + in->start[i];
        c.n = in->start[i + 1] - in->start[i] - 1;
        status = trace_ring(t, &c);
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
    po_scratch scratch;
    po_scratch_init(&scratch, 3 * PO_RINGS_BYTES_A_POINT * loops->n_points,
                    PO_RINGS_MOST_BYTES); /* once more on twice the points */
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
                .scratch = &scratch,
                .err = err};
    double least = PO_RINGS_LEAST_WIDTH_MM * grid.per_mm;
    status = po_rings_of(loops, NULL, grid, &scratch, &in, err);
    status = status ? status : po_rings_arrange(&in, PO_CLIP_UNION, least, &scratch, &clean, err);
    if (!status && size >= 0.5) {
        status = trace(&t, &clean);
        status = status ? status : po_rings_arrange(&raw, PO_CLIP_UNION, least, &scratch, &out, err);
    } else {
        out = clean;
    }
    status = status ? status : po_rings_to_loops(&out, grid, arena, ret, err);
    po_scratch_done(&scratch);
    return status;
}
