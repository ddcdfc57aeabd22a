/* Outlines of all layers, and which layers are worked out in full. SPDX-License-Identifier: Apache-2.0
 *
 * Sections come in chunks; each loop is simplified at once by cones: from the last point kept, a point is passed over
 * as long as one direction stays within the tolerance of all that were passed (J. Sklansky and V. Gonzalez, "Fast
 * polygonal approximation of digitized curves", Pattern Recognition 12, 1980), one step a point.
 *
 * Marks tell outlines apart: area, first moments, length, and line integrals of two waves along the edges. They are
 * sums over edges that do not change when an edge is cut in two, so the triangles of a flat side do not matter, and the
 * waves have no symmetry that a turned outline could hide behind. Equal marks: the same outline, kept once.
 *
 * Layers are picked by how much area, length and moments bend from layer to layer: linear interpolation over L layers
 * errs by f'' L^2 / 8 (any book on numerical analysis). What floors and roofs can see of a bend counts as bent. */
#include "part/estimate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { CHUNK = 48, EVERY_MOST = 5000, LAYERS_MOST = 200000, SPREAD = 100, SPREAD_LEAST = 4 };
/* Edges of outlines, before they are simplified: of all layers that are cut, and of one chunk; bounds memory. */
static const double EDGES_MOST = 3e7, CHUNK_EDGES_MOST = 2e6;
static const double SAME = 1e-9;       /* of the size of a mark's terms */
static const double TINY_MM2 = 1e-4;   /* loops of less are dropped */
static const double POINTS_MOST = 8e6; /* of outlines that are worked out in full: bounds time */
enum { FEWEST = 12 };
static const double TOLERANCE = 5e-4;                            /* of the largest area, length, moment */
static const double WAVES[2][2] = {{0.83, 0.37}, {-0.61, 2.03}}; /* rad/mm: 7 and 3 mm long, in odd directions */

po_est_bead po_est_bead_of(double w, double h)
{
    double lost = h * (1 - M_PI / 4);
    if (w < h) { /* no stadium: a round strand of that width */
        double area = M_PI / 4 * w * w;
        return (po_est_bead){w, h, area, area / h};
    }
    return (po_est_bead){w, h, (w - lost) * h, w - lost};
}

double po_est_top(const po_recipe *recipe, size_t layer)
{
    return recipe->first_layer_mm + (double)layer * recipe->layer_mm;
}

size_t po_est_layers(const po_recipe *recipe, double height_mm)
{
    /* A layer is laid where its middle lies in the part. */
    double n = ceil((height_mm - recipe->first_layer_mm - recipe->layer_mm / 2) / recipe->layer_mm - 1e-9) + 1;
    return !(n > 1) ? 1 : n > 1e9 ? (size_t)1e9 : (size_t)n;
}

static double half_way(const po_recipe *recipe, size_t layer)
{
    return layer ? po_est_top(recipe, layer) - recipe->layer_mm / 2 : recipe->first_layer_mm / 2;
}

/* ---- marks ---- */

/* Integral of cos and sin of k . r along an edge. */
static void wave(const double k[2], const double *p, const double *q, double length, double *c, double *s)
{
    double a = k[0] * p[0] + k[1] * p[1], b = k[0] * q[0] + k[1] * q[1], m = (a + b) / 2, half = (b - a) / 2;
    double sinc = fabs(half) < 1e-4 ? 1 - half * half / 6 : sin(half) / half;
    *c += length * sinc * cos(m);
    *s += length * sinc * sin(m);
}

static void mark_loops(const po_loops *l, double scale, const double middle[2], double mark[PO_EST_MARKS])
{
    memset(mark, 0, PO_EST_MARKS * sizeof *mark);
    for (size_t i = 0, start = 0; i < l->n_loops; start = l->ends[i++]) {
        for (size_t k = start; k < l->ends[i]; k++) {
            const double *from = l->xy + 2 * k, *to = l->xy + 2 * (k + 1 < l->ends[i] ? k + 1 : start);
            double p[2] = {from[0] * scale - middle[0], from[1] * scale - middle[1]};
            double q[2] = {to[0] * scale - middle[0], to[1] * scale - middle[1]};
            double cross = p[0] * q[1] - q[0] * p[1], length = hypot(q[0] - p[0], q[1] - p[1]);
            mark[0] += cross / 2;
            mark[1] += length;
            mark[2] += cross * (p[0] + q[0]) / 6;
            mark[3] += cross * (p[1] + q[1]) / 6;
            wave(WAVES[0], p, q, length, &mark[4], &mark[5]);
            wave(WAVES[1], p, q, length, &mark[6], &mark[7]);
        }
    }
}

/* ---- simplifying ---- */

typedef struct cone { /* directions from the last point kept, as two edges; open until the first point is far enough */
    bool open;
    double low[2], high[2];
} cone;

static double cross2(const double *a, const double *b)
{
    return a[0] * b[1] - a[1] * b[0];
}

/* Whether the point at d from the apex can be passed over as well; narrows the cone. */
static bool cone_takes(cone *c, const double d[2], double tolerance)
{
    double r2 = d[0] * d[0] + d[1] * d[1], t2 = tolerance * tolerance;
    if (r2 <= t2) {
        return true;
    }
    double t = tolerance, along = sqrt(r2 - t2); /* tangents from the apex to the circle around the point */
    double low[2] = {d[0] * along + d[1] * t, d[1] * along - d[0] * t};
    double high[2] = {d[0] * along - d[1] * t, d[1] * along + d[0] * t};
    if (c->open) {
        c->open = false;
        memcpy(c->low, low, sizeof low);
        memcpy(c->high, high, sizeof high);
        return true;
    }
    if (cross2(c->low, d) < 0 || cross2(c->high, d) > 0 || c->low[0] * d[0] + c->low[1] * d[1] < 0) {
        return false;
    }
    if (cross2(c->low, low) > 0) {
        memcpy(c->low, low, sizeof low);
    }
    if (cross2(c->high, high) < 0) {
        memcpy(c->high, high, sizeof high);
    }
    return true;
}

/* One loop, scaled, into to; returns the points kept. Begins at the point farthest to the left, which is a corner. */
static size_t simplify(const double *xy, size_t n, double scale, const double middle[2], bool turn_round, double *to)
{
    size_t first = 0, kept = 1;
    for (size_t i = 1; i < n; i++) {
        first = xy[2 * i] < xy[2 * first] ? i : first;
    }
    double apex[2] = {xy[2 * first] * scale - middle[0], xy[2 * first + 1] * scale - middle[1]};
    double last[2] = {apex[0], apex[1]};
    memcpy(to, apex, sizeof apex);
    cone c = {.open = true};
    double reach2 = 0;
    for (size_t s = 1; s <= n; s++) {
        size_t i = (first + (turn_round ? n - s : s)) % n;
        double p[2] = {xy[2 * i] * scale - middle[0], xy[2 * i + 1] * scale - middle[1]};
        double d[2] = {p[0] - apex[0], p[1] - apex[1]};
        double r2 = d[0] * d[0] + d[1] * d[1];
        if (r2 < reach2 || !cone_takes(&c, d, PO_EST_SIMPLE_MM)) { /* going back cannot be passed over either */
            memcpy(apex, last, sizeof apex);
            memcpy(to + 2 * kept++, apex, sizeof apex);
            c = (cone){.open = true};
            d[0] = p[0] - apex[0];
            d[1] = p[1] - apex[1];
            r2 = d[0] * d[0] + d[1] * d[1];
            (void)cone_takes(&c, d, PO_EST_SIMPLE_MM);
        }
        reach2 = r2;
        memcpy(last, p, sizeof last);
    }
    return kept;
}

static po_status keep_outline(const po_loops *raw, double scale, const double middle[2], bool turn_round,
                              po_arena *arena, po_loops *ret, po_err *err)
{
    double *xy = malloc((2 * raw->n_points + 2) * sizeof *xy);
    uint32_t *ends = malloc((raw->n_loops + 1) * sizeof *ends);
    size_t n = 0, n_loops = 0;
    for (size_t i = 0, start = 0; xy && ends && i < raw->n_loops; start = raw->ends[i++]) {
        size_t m = raw->ends[i] - start, kept = 0;
        if (m >= 3) {
            kept = simplify(raw->xy + 2 * start, m, scale, middle, turn_round, xy + 2 * n);
        }
        uint32_t end = (uint32_t)kept;
        po_loops one = {xy + 2 * n, kept, &end, 1};
        if (kept >= 3 && fabs(po_loops_area(&one)) > TINY_MM2) {
            n += kept;
            ends[n_loops++] = (uint32_t)n;
        }
    }
    double *own_xy = xy && ends ? po_arena_zeros(arena, 2 * n + 2, sizeof *own_xy) : NULL;
    uint32_t *own_ends = own_xy ? po_arena_zeros(arena, n_loops + 1, sizeof *own_ends) : NULL;
    if (own_ends) {
        memcpy(own_xy, xy, 2 * n * sizeof *xy);
        memcpy(own_ends, ends, n_loops * sizeof *ends);
        *ret = (po_loops){own_xy, n, own_ends, n_loops};
    }
    free(xy);
    free(ends);
    return own_ends ? PO_OK : po_fail(err, PO_E_NOMEM, "no memory for the outlines of layers");
}

/* ---- cutting ---- */

/* Sums of terms that cancel are compared by the size of their terms: area, length, area times coordinate. */
static bool marks_equal(const double *a, const double *b, double most_mm2, double most_mm, double far_mm)
{
    for (int i = 0; i < PO_EST_MARKS; i++) {
        double size = i == 0 ? most_mm2 : i == 2 || i == 3 ? most_mm2 * far_mm : most_mm;
        if (!(fabs(a[i] - b[i]) <= SAME * size)) {
            return false;
        }
    }
    return true;
}

typedef struct cutter {
    const po_mesh *mesh;
    const po_est_plan *plan;
    po_est_slices *slices;
    double low;                       /* of the mesh, in its own units */
    double middle[2];                 /* of the part, scaled: outlines lie around it */
    double most_mm2, most_mm, far_mm; /* largest area, length, coordinate */
    uint32_t run;                     /* first layer of the present run of equal outlines */
    size_t before;                    /* the layer cut last */
    bool any, turn_round;
    double edges; /* of an outline, about, before it is simplified */
} cutter;

/* The part's lowest point, middle and extent; checks coordinates. */
static po_status measure(cutter *c, po_err *err)
{
    const po_mesh *mesh = c->mesh;
    const double scale = c->plan->scale;
    po_est_slices *ret = c->slices;
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    double tall = 0; /* heights of all triangles together */
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        double bottom = INFINITY, top = -INFINITY;
        for (size_t i = 3 * t; i < 3 * t + 3; i++) {
            if (mesh->corners[i] >= mesh->n_vertices) {
                return po_fail(err, PO_E_RANGE, "triangle %zu has a corner %u of %zu", t, mesh->corners[i],
                               mesh->n_vertices);
            }
            const double *p = mesh->xyz + 3 * (size_t)mesh->corners[i];
            if (!isfinite(p[0]) || !isfinite(p[1]) || !isfinite(p[2])) {
                return po_fail(err, PO_E_RANGE, "a corner of triangle %zu is not finite", t);
            }
            for (int a = 0; a < 3; a++) {
                low[a] = p[a] < low[a] ? p[a] : low[a];
                high[a] = p[a] > high[a] ? p[a] : high[a];
            }
            bottom = p[2] < bottom ? p[2] : bottom;
            top = p[2] > top ? p[2] : top;
        }
        tall += top - bottom;
    }
    c->edges = high[2] > low[2] ? tall / (high[2] - low[2]) : (double)mesh->n_triangles;
    for (int a = 0; a < 3; a++) {
        ret->size_mm[a] = (high[a] - low[a]) * scale;
    }
    for (int a = 0; a < 2; a++) {
        c->middle[a] = (low[a] + high[a]) / 2 * scale;
        c->far_mm = fmax(c->far_mm, ret->size_mm[a] / 2);
    }
    c->low = low[2];
    return PO_OK;
}

/* The sections of m layers, their outlines kept. */
static po_status cut_chunk(cutter *c, const size_t *layers, size_t m, int threads, po_arena *arena, po_err *err)
{
    po_arena *scratch = po_arena_new(0);
    po_section sections[CHUNK];
    double z[CHUNK];
    if (!scratch) {
        return po_fail(err, PO_E_NOMEM, "no memory for sections");
    }
    for (size_t i = 0; i < m; i++) {
        z[i] = c->low + half_way(c->plan->recipe, layers[i]) / c->plan->scale;
    }
    po_status st = po_mesh_sections(c->mesh, z, m, threads, scratch, sections, err);
    for (size_t i = 0; i < m && st == PO_OK; i++) {
        po_est_slice *s = &c->slices->at[layers[i]];
        const po_loops *raw = &sections[i].loops;
        mark_loops(raw, c->plan->scale, c->middle, s->mark);
        s->known = true;
        if (!c->any && fabs(s->mark[0]) > TINY_MM2) {
            c->turn_round = s->mark[0] < 0; /* a mesh turned inside out */
        }
        c->most_mm2 = fmax(c->most_mm2, fabs(s->mark[0]));
        c->most_mm = fmax(c->most_mm, s->mark[1]);
        if (c->any && layers[i] == c->before + 1 &&
            marks_equal(s->mark, c->slices->at[c->run].mark, c->most_mm2, c->most_mm, c->far_mm)) {
            s->outline = c->slices->at[c->run].outline;
            s->same = c->run;
        } else {
            s->same = c->run = (uint32_t)layers[i];
            st = keep_outline(raw, c->plan->scale, c->middle, c->turn_round, arena, &s->outline, err);
        }
        c->any = c->any || fabs(s->mark[0]) > TINY_MM2;
        c->before = layers[i];
    }
    po_arena_free(scratch);
    return st;
}

/* Some of n layers, spread evenly. ret: room for SPREAD. */
static size_t spread(size_t n, size_t some, uint32_t *ret)
{
    for (size_t i = 0; i < some; i++) {
        ret[i] = (uint32_t)(i * (n - 1) / (some - 1));
    }
    return some;
}

static bool *wanted_of(const po_est_slices *slices, const po_recipe *recipe, po_arena *arena)
{
    bool *wanted = po_arena_zeros(arena, slices->n, sizeof *wanted);
    uint32_t at[SPREAD];
    size_t back = (size_t)recipe->floors, ahead = (size_t)recipe->roofs;
    for (size_t i = 0, n = spread(slices->n, slices->some, at); wanted && i < n; i++) {
        for (size_t k = at[i] > back ? at[i] - back : 0; k <= at[i] + ahead && k < slices->n; k++) {
            wanted[k] = true;
        }
    }
    return wanted;
}

/* How many layers are cut: all, or those around some; 0 in slices->some means all. */
static po_status plan_cuts(const cutter *c, const po_recipe *recipe, po_err *err)
{
    po_est_slices *slices = c->slices;
    double around = (double)recipe->floors + recipe->roofs + 1, n = (double)slices->n;
    if (slices->n > LAYERS_MOST) {
        return po_fail(err, PO_E_LIMIT, "the part is %g mm tall: more than %d layers of %g mm are not estimated",
                       slices->size_mm[2], LAYERS_MOST, recipe->layer_mm);
    }
    slices->some = 0;
    if (slices->n > EVERY_MOST || n * c->edges > EDGES_MOST) {
        double some = fmin(EDGES_MOST / (c->edges * around), SPREAD);
        slices->some = some < SPREAD_LEAST ? SPREAD_LEAST : (size_t)some;
    }
    if (slices->some && slices->some * around >= n) { /* nothing would be saved */
        slices->some = 0;
        if (n * c->edges > 4 * EDGES_MOST) {
            return po_fail(err, PO_E_LIMIT, "outlines of about %.0f edges in %.0f layers are too many to estimate",
                           c->edges, n);
        }
    }
    return PO_OK;
}

po_status po_est_slices_cut(const po_mesh *mesh, const po_est_plan *plan, int threads,
                            bool (*progress)(void *user, double share), void *user, po_arena *arena,
                            po_est_slices *slices, po_err *err)
{
    cutter c = {.mesh = mesh, .plan = plan, .slices = slices};
    po_status st = measure(&c, err);
    if (st != PO_OK) {
        return st;
    }
    slices->n = po_est_layers(plan->recipe, slices->size_mm[2]);
    st = plan_cuts(&c, plan->recipe, err);
    if (st != PO_OK) {
        return st;
    }
    slices->at = po_arena_zeros(arena, slices->n, sizeof *slices->at);
    bool *wanted = slices->some ? wanted_of(slices, plan->recipe, arena) : NULL;
    if (!slices->at || (slices->some && !wanted)) {
        return po_fail(err, PO_E_NOMEM, "no memory for %zu layers", slices->n);
    }
    size_t chunk[CHUNK], m = 0;
    size_t most = (size_t)fmin(fmax(CHUNK_EDGES_MOST / (c.edges + 1), 1), CHUNK);
    for (size_t k = 0; k < slices->n && st == PO_OK; k++) {
        if (!wanted || wanted[k]) {
            chunk[m++] = k;
        }
        if (m == most || (m && k + 1 == slices->n)) {
            st = cut_chunk(&c, chunk, m, threads, arena, err);
            m = 0;
            if (st == PO_OK && progress && !progress(user, (double)(k + 1) / (double)slices->n)) {
                st = po_fail(err, PO_E_CANCELLED, "stopped");
            }
        }
    }
    return st;
}

/* ---- choosing ---- */

/* How much area, length and moments bend at layer k, of their largest values; ends of the part count as bent. */
static double bend(const po_est_slices *s, size_t k, const double most[4])
{
    double worst = 0;
    if (k == 0 || k + 1 >= s->n) {
        return 1;
    }
    const double *a = s->at[k - 1].mark, *b = s->at[k].mark, *c = s->at[k + 1].mark;
    for (int i = 0; i < 4; i++) {
        double d = fabs(a[i] - 2 * b[i] + c[i]);
        worst = most[i] > 0 ? fmax(worst, d / most[i]) : worst;
    }
    return worst;
}

/* Layers from k to the next one that is worked out. */
static size_t step_from(const unsigned *stride, size_t k, size_t n, size_t longest)
{
    size_t step = 1;
    while (step < longest && k + step + 1 < n) {
        bool fits = true;
        for (size_t j = k; j <= k + step + 1 && j < n && fits; j++) {
            fits = stride[j] > step;
        }
        if (!fits) {
            break;
        }
        step++;
    }
    return step;
}

size_t po_est_choose(const po_est_slices *slices, const po_recipe *recipe, size_t most, uint32_t *ret)
{
    size_t n = slices->n, n_ret = 0;
    if (slices->some) {
        return spread(n, slices->some, ret);
    }
    double points = 0;
    for (size_t k = 0; k < n; k++) {
        points += (double)slices->at[k].outline.n_points;
    }
    most = (size_t)fmax(fmin((double)most, POINTS_MOST * (double)n / (points + 1)), FEWEST);
    double *bends = malloc(n * sizeof *bends);
    unsigned *stride = malloc(n * sizeof *stride);
    double largest[4] = {0};
    for (size_t k = 0; k < n; k++) {
        for (int i = 0; i < 4; i++) { /* moments by area times size, so that where the part stands does not matter */
            double size = i < 2 ? 1 : slices->size_mm[i - 2];
            largest[i] = fmax(largest[i], fabs(slices->at[k].mark[i < 2 ? i : 0]) * size);
        }
    }
    for (size_t k = 0; bends && k < n; k++) {
        bends[k] = bend(slices, k, largest);
    }
    size_t ahead = (size_t)recipe->roofs + 1, back = (size_t)recipe->floors + 1;
    double tolerance = TOLERANCE;
    for (int turn = 0; bends && stride && turn < 24; turn++, tolerance *= 2) {
        size_t longest = n / 24 + 1;
        for (size_t k = 0; k < n; k++) {
            double worst = 0;
            for (size_t j = k > back ? k - back : 0; j <= k + ahead && j < n; j++) {
                worst = fmax(worst, bends[j]);
            }
            double l = worst > 0 ? sqrt(8 * tolerance / worst) : 1e9;
            stride[k] = l < 1 ? 1 : l > (double)longest ? (unsigned)longest : (unsigned)l;
        }
        n_ret = 0;
        for (size_t k = 0;;) {
            ret[n_ret++] = (uint32_t)k;
            if (k + 1 >= n) {
                break;
            }
            k += step_from(stride, k, n, longest);
        }
        if (n_ret <= most) {
            break;
        }
    }
    free(bends);
    free(stride);
    return n_ret;
}
