/* Items on beds, and moves that take overlaps away. SPDX-License-Identifier: Apache-2.0
 *
 * Overlap minimisation by guided local search (C. Voudouris, E. Tsang, 1999; for nesting: J. Egeblad, B. K. Nielsen,
 * A. Odgaard, "Fast neighborhood search for two- and three-dimensional nesting problems", 2007), with penetration depth
 * from no-fit polygons as the measure (T. Imamichi, M. Yagiura, H. Nagamochi, 2009). An item is put where the sum of
 * depths times weights is least: samples all over the bed, samples about where it is, and corners of no-fit polygons,
 * where it touches others exactly; the best of them go downhill in ever smaller steps. A pair that goes on overlapping
 * gains weight. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest_inside.h"

enum { KEEP = 4 };
static const int UNIFORM = 60, TOUCHING = 150, LOCAL = 16; /* samples of one move */
static const double WEIGHT_LEAST = 1.05, WEIGHT_MOST = 1.5, WEIGHT_FADES = 0.95;

typedef struct near { /* another item, as seen by the one that moves */
    const po_nfp *nfp;
    double x, y; /* where it is */
    double c, s; /* turn into the polygon's frame, with the sign of its roles */
    float weight;
    uint32_t item;
} near;

struct po_nest_state {
    const po_nest_table *table;
    size_t n, n_fixed; /* fixed ones are the last */
    uint32_t *shape;
    po_nest_spot *spots;
    unsigned char *out;
    po_nest_bed bed;
    uint32_t n_beds;
    float *weights, *depths;           /* n * n, symmetric */
    float *edge_weights, *edge_depths; /* against a round bed's edge */
    uint64_t random;
    po_nfp_depth_fn *depth;
    near *nears;
    float *boxes; /* 4 rows of n: low x, low y, high x, high y */
    uint32_t *hits, *order, *some;
    size_t n_near;
};

static double share(po_nest_state *s) /* 0 <= . < 1 */
{
    return (double)(po_random_next(&s->random) >> 11) * 0x1p-53;
}

static size_t below(po_nest_state *s, size_t n)
{
    return (size_t)((po_random_next(&s->random) >> 32) * n >> 32);
}

static void weights_again(po_nest_state *s)
{
    for (size_t i = 0; i < s->n * s->n; i++) {
        s->weights[i] = 1;
    }
    for (size_t i = 0; i < s->n; i++) {
        s->edge_weights[i] = 1;
    }
}

po_nest_state *po_nest_state_new(const po_nest_table *table, const uint32_t *shape_of, size_t n, size_t n_fixed,
                                 uint64_t seed)
{
    po_nest_state *s = calloc(1, sizeof *s);
    if (!s) {
        return NULL;
    }
    *s = (po_nest_state){.table = table, .n = n, .n_fixed = n_fixed, .random = seed, .depth = po_nfp_depth_best()};
    s->shape = malloc((n + 1) * sizeof *s->shape);
    s->spots = calloc(n + 1, sizeof *s->spots);
    s->out = calloc(n + 1, 1);
    s->weights = malloc((n * n + 1) * sizeof *s->weights);
    s->depths = calloc(n * n + 1, sizeof *s->depths);
    s->edge_weights = malloc((n + 1) * sizeof *s->edge_weights);
    s->edge_depths = calloc(n + 1, sizeof *s->edge_depths);
    s->nears = malloc((n + 1) * sizeof *s->nears);
    s->boxes = malloc((4 * n + 4) * sizeof *s->boxes);
    s->hits = malloc((n + 1) * sizeof *s->hits);
    s->order = malloc((n + 1) * sizeof *s->order);
    s->some = malloc((n + 1) * sizeof *s->some);
    if (!s->shape || !s->spots || !s->out || !s->weights || !s->depths || !s->edge_weights || !s->edge_depths ||
        !s->nears || !s->boxes || !s->hits || !s->order || !s->some) {
        po_nest_state_free(s);
        return NULL;
    }
    if (n) {
        memcpy(s->shape, shape_of, n * sizeof *s->shape);
    }
    memset(s->out, 1, n - n_fixed);
    weights_again(s);
    return s;
}

void po_nest_state_free(po_nest_state *s)
{
    if (s) {
        free(s->shape);
        free(s->spots);
        free(s->out);
        free(s->weights);
        free(s->depths);
        free(s->edge_weights);
        free(s->edge_depths);
        free(s->nears);
        free(s->boxes);
        free(s->hits);
        free(s->order);
        free(s->some);
        free(s);
    }
}

void po_nest_state_shape(po_nest_state *s, size_t i, uint32_t shape)
{
    s->shape[i] = shape;
}

static bool is_fixed(const po_nest_state *s, size_t i)
{
    return i >= s->n - s->n_fixed;
}

static const po_nest_form *form_of(const po_nest_state *s, size_t i, uint32_t turn)
{
    return &s->table->shapes[s->shape[i]].forms[turn];
}

/* ---- what a place costs ---- */

/* Every other item on that bed, as the one at that turn meets it. */
static void prepare(po_nest_state *s, size_t i, uint32_t turn, uint32_t bed)
{
    const po_nest_table *t = s->table;
    size_t n = 0, turns = t->n_turns;
    float *lx = s->boxes, *ly = lx + s->n, *hx = ly + s->n, *hy = hx + s->n;
    for (size_t j = 0; j < s->n; j++) {
        if (j == i || s->out[j] || (is_fixed(s, j) ? is_fixed(s, i) : s->spots[j].bed != bed)) {
            continue;
        }
        const po_nest_spot *o = &s->spots[j];
        bool high = s->shape[i] >= s->shape[j]; /* the lower one's turn is the polygon's */
        size_t h = high ? s->shape[i] : s->shape[j], l = high ? s->shape[j] : s->shape[i];
        size_t th = high ? turn : o->turn, tl = high ? o->turn : turn;
        const po_nfp *nfp = &t->nfps[(h * (h + 1) / 2 + l) * turns + (th + turns - tl) % turns];
        const double *box = nfp->boxes[tl];
        double sign = high ? 1 : -1;
        if (nfp->n_blocks == 0) {
            continue; /* bands that never meet */
        }
        s->nears[n] = (near){
            nfp, o->x, o->y, sign * t->turns[tl][0], sign * t->turns[tl][1], s->weights[i * s->n + j], (uint32_t)j};
        lx[n] = (float)(o->x + (high ? box[0] : -box[2]));
        ly[n] = (float)(o->y + (high ? box[1] : -box[3]));
        hx[n] = (float)(o->x + (high ? box[2] : -box[0]));
        hy[n] = (float)(o->y + (high ? box[3] : -box[1]));
        n++;
    }
    s->n_near = n;
}

static float near_depth(const po_nest_state *s, const near *o, double x, double y)
{
    double dx = x - o->x, dy = y - o->y;
    return s->depth(o->nfp, o->c * dx + o->s * dy, o->c * dy - o->s * dx);
}

/* How far the item reaches over the edge of a round bed. */
static float over_edge(const po_nest_state *s, const po_nest_form *form, double x, double y)
{
    double most = 0;
    x -= s->bed.centre[0];
    y -= s->bed.centre[1];
    for (size_t k = 0; k < form->n_hull; k++) {
        double hx = x + form->hull[2 * k], hy = y + form->hull[2 * k + 1], d = hx * hx + hy * hy;
        most = d > most ? d : most;
    }
    most = sqrt(most) - s->bed.radius + 1e-5;
    return most > 0 ? (float)most : 0;
}

/* Which of the prepared ones may meet it anywhere in this box. */
static size_t gather(po_nest_state *s, double x0, double y0, double x1, double y1, uint32_t *to)
{
    const float *lx = s->boxes, *ly = lx + s->n, *hx = ly + s->n, *hy = hx + s->n;
    float ax = (float)x0, ay = (float)y0, bx = (float)x1, by = (float)y1;
    size_t n = 0;
    for (size_t k = 0; k < s->n_near; k++) { /* without branches */
        to[n] = (uint32_t)k;
        n += (size_t)((int)(bx > lx[k]) & (int)(ax < hx[k]) & (int)(by > ly[k]) & (int)(ay < hy[k]));
    }
    return n;
}

/* Weighted depths at a place against the gathered ones; stops at `limit`. */
static double cost_among(const po_nest_state *s, size_t i, const po_nest_form *form, double x, double y,
                         const uint32_t *which, size_t n, double limit)
{
    const float *lx = s->boxes, *ly = lx + s->n, *hx = ly + s->n, *hy = hx + s->n;
    float fx = (float)x, fy = (float)y;
    double sum = s->bed.round ? (double)s->edge_weights[i] * (double)over_edge(s, form, x, y) : 0;
    for (size_t k = 0; k < n && sum < limit; k++) {
        size_t w = which[k];
        if (fx > lx[w] && fx < hx[w] && fy > ly[w] && fy < hy[w]) {
            sum += (double)(s->nears[w].weight * near_depth(s, &s->nears[w], x, y));
        }
    }
    return sum;
}

static double cost(po_nest_state *s, size_t i, const po_nest_form *form, double x, double y, double limit)
{
    size_t n = gather(s, x, y, x, y, s->hits);
    return cost_among(s, i, form, x, y, s->hits, n, limit);
}

/* ---- where it may be ---- */

typedef struct range { /* of its origin, so that it lies within the bed's box */
    double low[2], high[2];
} range;

static bool range_of(const po_nest_state *s, const po_nest_form *form, range *ret)
{
    for (int k = 0; k < 2; k++) {
        ret->low[k] = s->bed.low[k] - form->box[k];
        ret->high[k] = s->bed.high[k] - form->box[2 + k];
    }
    return ret->low[0] <= ret->high[0] && ret->low[1] <= ret->high[1];
}

static double clamp(double v, double low, double high)
{
    return v < low ? low : v > high ? high : v;
}

typedef struct sample {
    double x, y, cost;
    uint32_t turn, bed;
} sample;

/* Keep the best, each well apart from the others at its turn and bed. */
static void keep(sample *best, size_t *n, sample c, double apart)
{
    size_t at = *n;
    for (size_t k = 0; k < *n; k++) {
        if (best[k].turn == c.turn && best[k].bed == c.bed && fabs(best[k].x - c.x) + fabs(best[k].y - c.y) < apart) {
            if (c.cost >= best[k].cost) {
                return;
            }
            memmove(best + k, best + k + 1, (*n - k - 1) * sizeof *best);
            (*n)--;
            at = *n;
            break;
        }
    }
    at = *n;
    while (at > 0 && best[at - 1].cost > c.cost) {
        at--;
    }
    if (at >= KEEP) {
        return;
    }
    size_t more = *n < KEEP ? *n : KEEP - 1;
    memmove(best + at + 1, best + at, (more - at) * sizeof *best);
    best[at] = c;
    *n = more + 1;
}

/* Downhill along the axes and diagonals, in steps that shrink where nothing is gained. */
static void descend(po_nest_state *s, size_t i, const range *r, double step, double least, sample *c)
{
    static const double ways[4][2] = {{1, 0}, {0, 1}, {0.7071, 0.7071}, {0.7071, -0.7071}};
    const po_nest_form *form = form_of(s, i, c->turn);
    double reach = 6 * step, x0 = c->x, y0 = c->y;
    size_t n = gather(s, x0 - reach, y0 - reach, x0 + reach, y0 + reach, s->some);
    int way = (int)below(s, 4);
    while (step > least && c->cost > 0) {
        bool better = false;
        for (int side = -1; side <= 1; side += 2) {
            double x = clamp(c->x + side * step * ways[way][0], r->low[0], r->high[0]);
            double y = clamp(c->y + side * step * ways[way][1], r->low[1], r->high[1]);
            if (fabs(x - x0) > reach || fabs(y - y0) > reach) {
                x0 = c->x;
                y0 = c->y;
                n = gather(s, x0 - reach, y0 - reach, x0 + reach, y0 + reach, s->some);
            }
            double f = cost_among(s, i, form, x, y, s->some, n, c->cost);
            if (f < c->cost) {
                c->x = x;
                c->y = y;
                c->cost = f;
                better = true;
            }
        }
        step *= better ? 1.1 : 0.6;
        way = (way + 1 + (int)below(s, 3)) % 4;
    }
}

static double size_of(const po_nest_form *form)
{
    return fmin(form->box[2] - form->box[0], form->box[3] - form->box[1]);
}

static void sample_turn(po_nest_state *s, size_t i, uint32_t turn, uint32_t bed, int parts, sample *best, size_t *n)
{
    const po_nest_form *form = form_of(s, i, turn);
    range r;
    if (!range_of(s, form, &r)) {
        return;
    }
    prepare(s, i, turn, bed);
    double apart = 0.05 * size_of(form), w = r.high[0] - r.low[0], h = r.high[1] - r.low[1];
    const po_nest_spot *now = &s->spots[i];
    int uniform = (UNIFORM + parts - 1) / parts, touching = (TOUCHING + parts - 1) / parts, local = 0;
    if (!s->out[i] && now->bed == bed && now->turn == turn) {
        sample c = {now->x, now->y, 0, turn, bed};
        c.x = clamp(c.x, r.low[0], r.high[0]);
        c.y = clamp(c.y, r.low[1], r.high[1]);
        c.cost = cost(s, i, form, c.x, c.y, INFINITY);
        keep(best, n, c, apart);
        local = LOCAL;
    }
    double reach = 0.5 * size_of(form);
    for (int k = 0; k < uniform + touching + local; k++) {
        sample c = {0, 0, 0, turn, bed};
        if (k < uniform) {
            c.x = r.low[0] + share(s) * w;
            c.y = r.low[1] + share(s) * h;
        } else if (k < uniform + touching) {
            if (s->n_near == 0) {
                continue;
            }
            const near *o = &s->nears[below(s, s->n_near)];
            size_t corner = below(s, o->nfp->n_corners);
            double qx = (double)o->nfp->corners[2 * corner] + o->nfp->middle[0];
            double qy = (double)o->nfp->corners[2 * corner + 1] + o->nfp->middle[1];
            c.x = o->x + o->c * qx - o->s * qy;
            c.y = o->y + o->s * qx + o->c * qy;
            if (c.x < r.low[0] - apart || c.x > r.high[0] + apart || c.y < r.low[1] - apart ||
                c.y > r.high[1] + apart) {
                continue;
            }
        } else {
            c.x = now->x + (share(s) - share(s)) * reach;
            c.y = now->y + (share(s) - share(s)) * reach;
        }
        c.x = clamp(c.x, r.low[0], r.high[0]);
        c.y = clamp(c.y, r.low[1], r.high[1]);
        double limit = *n < KEEP ? INFINITY : best[KEEP - 1].cost;
        c.cost = cost(s, i, form, c.x, c.y, limit);
        if (c.cost < limit) {
            keep(best, n, c, apart);
        }
    }
}

/* ---- depths and weights ---- */

static void measure(po_nest_state *s, size_t i)
{
    const po_nest_spot *p = &s->spots[i];
    float *row = s->depths + i * s->n;
    for (size_t j = 0; j < s->n; j++) {
        row[j] = s->depths[j * s->n + i] = 0;
    }
    s->edge_depths[i] = 0;
    if (s->out[i]) {
        return;
    }
    const po_nest_form *form = form_of(s, i, p->turn);
    prepare(s, i, p->turn, p->bed);
    size_t n = gather(s, p->x, p->y, p->x, p->y, s->hits);
    for (size_t k = 0; k < n; k++) {
        const near *o = &s->nears[s->hits[k]];
        row[o->item] = s->depths[o->item * s->n + i] = near_depth(s, o, p->x, p->y);
    }
    if (is_fixed(s, i)) {
        return; /* what stands in the way may stand anywhere */
    }
    s->edge_depths[i] = s->bed.round ? over_edge(s, form, p->x, p->y) : 0;
    range r;
    if (!range_of(s, form, &r)) {
        s->edge_depths[i] += (float)(fmax(0, r.low[0] - r.high[0]) + fmax(0, r.low[1] - r.high[1])) + 1;
    } else {
        double x = clamp(p->x, r.low[0], r.high[0]), y = clamp(p->y, r.low[1], r.high[1]);
        s->edge_depths[i] += (float)(fabs(x - p->x) + fabs(y - p->y));
    }
}

void po_nest_state_bed(po_nest_state *s, const po_nest_bed *bed, uint32_t n_beds)
{
    s->bed = *bed;
    s->n_beds = n_beds;
    for (size_t i = 0; i < s->n; i++) {
        if (!s->out[i]) {
            measure(s, i);
        }
    }
}

void po_nest_state_set(po_nest_state *s, const po_nest_spot *spots)
{
    weights_again(s);
    for (size_t i = 0; i < s->n; i++) {
        s->spots[i] = spots[i];
        s->out[i] = spots[i].bed == UINT32_MAX;
    }
    for (size_t i = 0; i < s->n; i++) {
        measure(s, i);
    }
}

const po_nest_spot *po_nest_state_spots(const po_nest_state *s)
{
    return s->spots;
}

double po_nest_state_overlap(const po_nest_state *s)
{
    double sum = 0;
    for (size_t i = 0; i < s->n; i++) {
        sum += (double)s->edge_depths[i];
        for (size_t j = 0; j < i; j++) {
            sum += (double)s->depths[i * s->n + j];
        }
    }
    return sum;
}

static bool overlaps(const po_nest_state *s, size_t i)
{
    bool any = s->edge_depths[i] > 0;
    for (size_t j = 0; j < s->n && !any; j++) {
        any = s->depths[i * s->n + j] > 0;
    }
    return any;
}

static void move(po_nest_state *s, size_t i)
{
    const po_nest_shape *shape = &s->table->shapes[s->shape[i]];
    sample best[KEEP + 1];
    size_t n = 0;
    int parts = (int)(shape->n_allowed * s->n_beds);
    for (uint32_t bed = 0; bed < s->n_beds; bed++) {
        for (uint32_t turn = 0; turn < s->table->n_turns; turn++) {
            if (shape->allowed[turn]) {
                sample_turn(s, i, turn, bed, parts, best, &n);
            }
        }
    }
    if (n == 0) {
        return;
    }
    size_t won = 0;
    for (size_t k = 0; k < n; k++) {
        if (best[k].cost <= 0) {
            won = k;
            break;
        }
        const po_nest_form *form = form_of(s, i, best[k].turn);
        range r;
        range_of(s, form, &r);
        prepare(s, i, best[k].turn, best[k].bed);
        descend(s, i, &r, 0.05 * size_of(form), 0.002 * size_of(form), &best[k]);
        won = best[k].cost < best[won].cost ? k : won;
    }
    sample c = best[won];
    if (c.cost > 0) {
        const po_nest_form *form = form_of(s, i, c.turn);
        range r;
        range_of(s, form, &r);
        prepare(s, i, c.turn, c.bed);
        descend(s, i, &r, 0.003 * size_of(form), 1e-5 * size_of(form), &c);
    }
    s->spots[i] = (po_nest_spot){c.x, c.y, c.turn, c.bed};
    s->out[i] = 0;
    measure(s, i);
}

static void grow_weights(po_nest_state *s)
{
    float most = 0;
    for (size_t i = 0; i < s->n; i++) {
        most = fmaxf(most, s->edge_depths[i]);
        for (size_t j = 0; j < i; j++) {
            most = fmaxf(most, s->depths[i * s->n + j]);
        }
    }
    for (size_t i = 0; i < s->n; i++) {
        for (size_t j = 0; j <= i; j++) {
            float d = j < i ? s->depths[i * s->n + j] : s->edge_depths[i];
            float *w = j < i ? &s->weights[i * s->n + j] : &s->edge_weights[i];
            double by = d > 0 ? WEIGHT_LEAST + (WEIGHT_MOST - WEIGHT_LEAST) * (double)(d / most) : WEIGHT_FADES;
            *w = (float)fmax(1, (double)*w * by);
            if (j < i) {
                s->weights[j * s->n + i] = *w;
            }
        }
    }
}

size_t po_nest_state_pass(po_nest_state *s)
{
    size_t n = 0, moved = 0;
    for (size_t i = 0; i < s->n - s->n_fixed; i++) {
        if (!s->out[i] && overlaps(s, i)) {
            s->order[n++] = (uint32_t)i;
        }
    }
    for (size_t i = n; i > 1; i--) {
        size_t k = below(s, i);
        uint32_t swap = s->order[i - 1];
        s->order[i - 1] = s->order[k];
        s->order[k] = swap;
    }
    for (size_t k = 0; k < n; k++) {
        if (overlaps(s, s->order[k])) {
            move(s, s->order[k]);
            moved++;
        }
    }
    grow_weights(s);
    return moved;
}

/* ---- one at a time ---- */

bool po_nest_state_is_out(const po_nest_state *s, size_t i)
{
    return s->out[i];
}

void po_nest_state_out(po_nest_state *s, size_t i)
{
    s->out[i] = 1;
    s->spots[i].bed = UINT32_MAX;
    measure(s, i);
}

bool po_nest_state_insert(po_nest_state *s, size_t i, uint32_t bed, const double by[2], size_t samples)
{
    const po_nest_shape *shape = &s->table->shapes[s->shape[i]];
    sample best = {.cost = INFINITY};
    for (uint32_t turn = 0; turn < s->table->n_turns; turn++) {
        const po_nest_form *form = form_of(s, i, turn);
        range r;
        if (!shape->allowed[turn] || !range_of(s, form, &r)) {
            continue;
        }
        prepare(s, i, turn, bed);
        for (size_t k = 0; k < samples + 4; k++) {
            sample c = {0, 0, 0, turn, bed};
            if (k < 4) {
                c.x = k & 1 ? r.high[0] : r.low[0];
                c.y = k & 2 ? r.high[1] : r.low[1];
            } else if (k % 3 == 0 || s->n_near == 0) {
                c.x = r.low[0] + share(s) * (r.high[0] - r.low[0]);
                c.y = r.low[1] + share(s) * (r.high[1] - r.low[1]);
            } else {
                const near *o = &s->nears[below(s, s->n_near)];
                size_t corner = below(s, o->nfp->n_corners);
                /* a hair outwards, so that it does touch nothing */
                double out = 1 + 4 * (double)o->nfp->slack /
                                     (1e-3 + fabs((double)o->nfp->corners[2 * corner]) +
                                      fabs((double)o->nfp->corners[2 * corner + 1]));
                double qx = (double)o->nfp->corners[2 * corner] * out + o->nfp->middle[0];
                double qy = (double)o->nfp->corners[2 * corner + 1] * out + o->nfp->middle[1];
                c.x = o->x + o->c * qx - o->s * qy;
                c.y = o->y + o->s * qx + o->c * qy;
                if (c.x < r.low[0] || c.x > r.high[0] || c.y < r.low[1] || c.y > r.high[1]) {
                    c.x = clamp(c.x, r.low[0], r.high[0]);
                    c.y = clamp(c.y, r.low[1], r.high[1]);
                }
            }
            c.cost = by[0] * c.x + by[1] * c.y;
            if (c.cost < best.cost && cost(s, i, form, c.x, c.y, 1e-30) <= 0) {
                best = c;
            }
        }
        /* slide on as far as nothing is in the way */
        if (best.turn == turn && isfinite(best.cost)) {
            double step = size_of(form);
            while (step > 1e-4 * size_of(form)) {
                bool better = false;
                for (int axis = 0; axis < 2; axis++) {
                    double x = axis ? best.x : clamp(best.x - (by[0] > 0 ? step : -step), r.low[0], r.high[0]);
                    double y = axis ? clamp(best.y - (by[1] > 0 ? step : -step), r.low[1], r.high[1]) : best.y;
                    double f = by[0] * x + by[1] * y;
                    if (f < best.cost && cost(s, i, form, x, y, 1e-30) <= 0) {
                        best.x = x;
                        best.y = y;
                        best.cost = f;
                        better = true;
                    }
                }
                step *= better ? 1 : 0.5;
            }
        }
    }
    if (!isfinite(best.cost)) {
        return false;
    }
    s->spots[i] = (po_nest_spot){best.x, best.y, best.turn, bed};
    s->out[i] = 0;
    measure(s, i);
    return true;
}

void po_nest_state_swap(po_nest_state *s)
{
    size_t n = s->n - s->n_fixed;
    if (n < 2) {
        return;
    }
    /* the first of a few by size, the other of another shape where there is one */
    size_t a = below(s, n), b = below(s, n);
    for (int tries = 0; tries < 3; tries++) {
        size_t c = below(s, n);
        a = s->table->shapes[s->shape[c]].area > s->table->shapes[s->shape[a]].area ? c : a;
    }
    for (int tries = 0; tries < 8; tries++) {
        size_t c = below(s, n);
        bool other = s->shape[c] != s->shape[a], was = s->shape[b] != s->shape[a];
        if (c != a && (b == a || (other && !was) ||
                       (other && s->table->shapes[s->shape[c]].area > s->table->shapes[s->shape[b]].area))) {
            b = c;
        }
    }
    if (a == b || s->out[a] || s->out[b]) {
        return;
    }
    size_t both[2] = {a, b};
    double middle[2][2];
    for (int k = 0; k < 2; k++) {
        const po_nest_spot *p = &s->spots[both[k]];
        const double *box = form_of(s, both[k], p->turn)->box;
        middle[k][0] = p->x + (box[0] + box[2]) / 2;
        middle[k][1] = p->y + (box[1] + box[3]) / 2;
    }
    uint32_t bed = s->spots[a].bed;
    s->spots[a].bed = s->spots[b].bed;
    s->spots[b].bed = bed;
    for (int k = 0; k < 2; k++) {
        po_nest_spot *p = &s->spots[both[k]];
        const po_nest_form *form = form_of(s, both[k], p->turn);
        range r;
        if (range_of(s, form, &r)) {
            p->x = clamp(middle[1 - k][0] - (form->box[0] + form->box[2]) / 2, r.low[0], r.high[0]);
            p->y = clamp(middle[1 - k][1] - (form->box[1] + form->box[3]) / 2, r.low[1], r.high[1]);
        }
        measure(s, both[k]);
    }
}

void po_nest_state_drop(po_nest_state *s, size_t i, uint32_t bed)
{
    const po_nest_shape *shape = &s->table->shapes[s->shape[i]];
    size_t which = below(s, shape->n_allowed);
    uint32_t turn = 0;
    for (uint32_t t = 0; t < s->table->n_turns; t++) {
        if (shape->allowed[t] && which-- == 0) {
            turn = t;
            break;
        }
    }
    range r;
    range_of(s, form_of(s, i, turn), &r);
    s->spots[i] = (po_nest_spot){r.low[0] + share(s) * (r.high[0] - r.low[0]),
                                 r.low[1] + share(s) * (r.high[1] - r.low[1]), turn, bed};
    s->out[i] = 0;
    measure(s, i);
}
