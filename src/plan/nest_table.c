/* What is made ready before a search: shapes at every turn, no-fit polygons of every pair. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "geometry/hull.h"
#include "nest_inside.h"

po_status po_nest_no_fit(const po_loops *a, const po_loops *b, po_arena *arena, po_loops *ret, po_err *err)
{
    return po_nfp_loops(a, b, arena, ret, err);
}

/* Exact at quarter turns, so that what is level stays level. */
static void turn_of(size_t k, size_t n, double ret[2])
{
    double angle = 2 * M_PI * (double)k / (double)n;
    ret[0] = 4 * k % n == 0 && 4 * k / n % 2 == 1 ? 0 : cos(angle);
    ret[1] = 2 * k % n == 0 ? 0 : sin(angle);
    for (int i = 0; i < 2 && 4 * k % n == 0; i++) {
        ret[i] = round(ret[i]);
    }
}

static po_status turned(const po_loops *loops, const double turn[2], po_arena *arena, po_loops *ret, po_err *err)
{
    double *xy = po_arena_zeros(arena, loops->n_points, 2 * sizeof *xy);
    if (!xy && loops->n_points) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < loops->n_points; i++) {
        xy[2 * i] = turn[0] * loops->xy[2 * i] - turn[1] * loops->xy[2 * i + 1];
        xy[2 * i + 1] = turn[1] * loops->xy[2 * i] + turn[0] * loops->xy[2 * i + 1];
    }
    *ret = (po_loops){xy, loops->n_points, loops->ends, loops->n_loops};
    return PO_OK;
}

static po_status make_forms(po_nest_shape *shape, const po_nest_table *t, po_arena *arena, po_err *err)
{
    size_t n = 0;
    const po_loops *truth = shape->truth ? shape->truth : shape->bands;
    for (size_t b = 0; b < t->n_bands; b++) {
        n += truth[b].n_points;
    }
    po_nest_form *forms = po_arena_zeros(arena, t->n_turns, sizeof *forms);
    po_xy *all = malloc((n + 1) * sizeof *all), *hull = malloc((n + 2) * sizeof *hull);
    po_status status = forms && all && hull ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    size_t n_hull = 0, at = 0;
    for (size_t b = 0; status == PO_OK && b < t->n_bands; b++) {
        for (size_t i = 0; i < truth[b].n_points; i++) {
            all[at++] = (po_xy){truth[b].xy[2 * i], truth[b].xy[2 * i + 1]};
        }
    }
    if (status == PO_OK) {
        n_hull = po_hull(all, n, hull);
    }
    for (size_t k = 0; status == PO_OK && k < t->n_turns; k++) {
        double *xy = po_arena_zeros(arena, n_hull + 1, 2 * sizeof *xy);
        if (!xy) {
            status = po_fail(err, PO_E_NOMEM, "memory ran out");
            break;
        }
        po_nest_form *f = &forms[k];
        f->box[0] = f->box[1] = INFINITY;
        f->box[2] = f->box[3] = -INFINITY;
        for (size_t i = 0; i < n_hull; i++) {
            double x = t->turns[k][0] * hull[i].x - t->turns[k][1] * hull[i].y;
            double y = t->turns[k][1] * hull[i].x + t->turns[k][0] * hull[i].y;
            xy[2 * i] = x;
            xy[2 * i + 1] = y;
            f->box[0] = fmin(f->box[0], x);
            f->box[1] = fmin(f->box[1], y);
            f->box[2] = fmax(f->box[2], x);
            f->box[3] = fmax(f->box[3], y);
        }
        f->hull = xy;
        f->n_hull = n_hull;
    }
    free(all);
    free(hull);
    shape->forms = forms;
    return status;
}

typedef struct pairs {
    const po_nest_table *table;
    po_nfp *nfps;
    po_arena **arenas; /* one for each pair of shapes: arenas are not shared between threads */
    atomic_int failed;
    po_err err;
} pairs;

/* Places at which the head, while one of two tall parts is printed, meets the other. */
static po_status add_head(const po_nest_table *t, const po_loops *a, const po_loops *b, const double turn[2],
                          po_arena *scratch, po_loops *all, po_err *err)
{
    const po_head *h = t->head;
    /* turned by half a circle, as the sum below turns it back; then back by the turn at which the lower shape lies, for what is found
     * here is turned by it */
    double xy[8] = {-h->right_mm, -h->ahead_mm, h->left_mm,   -h->ahead_mm,
                    h->left_mm,   h->behind_mm, -h->right_mm, h->behind_mm};
    const uint32_t end = 4;
    for (int i = 0; i < 4; i++) {
        double x = xy[2 * i], y = xy[2 * i + 1];
        xy[2 * i] = turn[0] * x + turn[1] * y;
        xy[2 * i + 1] = turn[0] * y - turn[1] * x;
    }
    const po_loops head = {xy, 4, &end, 1};
    po_loops swept[2], meets[2], both;
    po_status status = po_nfp_loops(a, &head, scratch, &swept[0], err);
    if (status == PO_OK) {
        status = po_nfp_loops(b, &head, scratch, &swept[1], err);
    }
    if (status == PO_OK) {
        status = po_nfp_loops(&swept[0], b, scratch, &meets[0], err);
    }
    if (status == PO_OK) {
        status = po_nfp_loops(a, &swept[1], scratch, &meets[1], err);
    }
    if (status == PO_OK) {
        status = po_loops_clip(&meets[0], &meets[1], t->either_order ? PO_CLIP_COMMON : PO_CLIP_UNION, scratch, &both,
                               err);
    }
    return status == PO_OK ? po_loops_clip(all, &both, PO_CLIP_UNION, scratch, all, err) : status;
}

/* Of two shapes at one turn to each other: all bands together. */
static po_status one_pair(const po_nest_table *t, size_t high, size_t low, size_t turn, po_arena *arena, po_nfp *ret,
                          po_err *err)
{
    po_arena *scratch = po_arena_new(0);
    po_loops all = {0}, c = {0};
    po_status status = scratch ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    for (size_t b = 0; status == PO_OK && b < t->n_bands; b++) {
        po_loops a = t->shapes[low].bands[b], made = {0};
        if (a.n_points == 0 || t->shapes[high].bands[b].n_points == 0) {
            continue;
        }
        status = turned(&t->shapes[high].bands[b], t->turns[turn], scratch, &c, err);
        if (status == PO_OK) {
            status = po_nfp_loops(&a, &c, scratch, &made, err);
        }
        if (status == PO_OK && all.n_points) {
            status = po_loops_clip(&all, &made, PO_CLIP_UNION, scratch, &all, err);
        } else if (status == PO_OK) {
            all = made;
        }
    }
    bool tall = t->head && t->shapes[high].tall &&
                t->shapes[low].tall; /* one band then: c is the higher one as it lies */
    for (size_t k = 0; status == PO_OK && tall && k < t->n_turns; k++) {
        if (t->shapes[low].allowed[k] && t->shapes[high].allowed[(k + turn) % t->n_turns]) {
            status = add_head(t, t->shapes[low].bands, &c, t->turns[k], scratch, &all, err);
        }
    }
    if (status == PO_OK) {
        status = po_nfp_ready(&all, t->n_turns, arena, ret, err);
    }
    po_arena_free(scratch);
    return status;
}

static void work(size_t at, void *user)
{
    pairs *p = user;
    size_t high = 0;
    while ((high + 1) * (high + 2) / 2 <= at) {
        high++;
    }
    size_t low = at - high * (high + 1) / 2;
    po_err err;
    const po_nest_table *t = p->table;
    uint32_t group = t->shapes[high].group, other = t->shapes[low].group;
    if (group != other && group != PO_NEST_ANY_GROUP && other != PO_NEST_ANY_GROUP) {
        return; /* they never meet */
    }
    for (size_t k = 0; k < t->n_turns && !atomic_load(&p->failed); k++) {
        bool used = false; /* by a pair of turns that may be had */
        for (size_t a = 0; a < t->n_turns && !used; a++) {
            used = t->shapes[low].allowed[a] && t->shapes[high].allowed[(a + k) % t->n_turns];
        }
        if (used && one_pair(t, high, low, k, p->arenas[at], &p->nfps[at * t->n_turns + k], &err) != PO_OK) {
            int none = 0;
            if (atomic_compare_exchange_strong(&p->failed, &none, 1)) {
                p->err = err;
            }
        }
    }
}

/* Copies the small results over, so that one arena holds everything. */
static po_status gather_up(pairs *p, size_t n_pairs, po_arena *arena, po_err *err)
{
    const po_nest_table *t = p->table;
    for (size_t i = 0; i < n_pairs * t->n_turns; i++) {
        po_nfp *nfp = &p->nfps[i];
        if (nfp->n_blocks == 0) {
            continue;
        }
        size_t bytes = nfp->n_blocks * PO_NFP_BLOCK * sizeof(float);
        char *room = po_arena_zeros(arena, bytes + 32, 1);
        float *corners = po_arena_zeros(arena, nfp->n_corners, 2 * sizeof *corners);
        double(*boxes)[4] = po_arena_zeros(arena, t->n_turns, sizeof *boxes);
        if (!room || !corners || !boxes) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        room += (32 - (uintptr_t)room % 32) % 32;
        memcpy(room, nfp->edges, bytes);
        memcpy(corners, nfp->corners, nfp->n_corners * 2 * sizeof *corners);
        memcpy(boxes, nfp->boxes, t->n_turns * sizeof *boxes);
        nfp->edges = (const float *)(void *)room;
        nfp->corners = corners;
        nfp->boxes = (const double(*)[4])boxes;
    }
    return PO_OK;
}

po_status po_nest_table_make(po_nest_table *table, po_nest_shape *shapes, po_pool *pool, po_arena *arena, po_err *err)
{
    size_t n_shapes = table->n_shapes, n_turns = table->n_turns;
    double(*turns)[2] = po_arena_zeros(arena, n_turns, sizeof *turns);
    size_t n_pairs = n_shapes * (n_shapes + 1) / 2;
    po_nfp *nfps = po_arena_zeros(arena, n_pairs * n_turns + 1, sizeof *nfps);
    po_arena **arenas = calloc(n_pairs + 1, sizeof(po_arena *));
    po_nest_table t = *table;
    t.shapes = shapes;
    t.nfps = nfps;
    t.turns = (const double(*)[2])turns;
    pairs p = {.table = &t, .nfps = nfps, .arenas = arenas};
    po_status status = turns && nfps && arenas ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    for (size_t k = 0; status == PO_OK && k < n_turns; k++) {
        turn_of(k, n_turns, turns[k]);
    }
    for (size_t i = 0; status == PO_OK && i < n_shapes; i++) {
        status = make_forms(&shapes[i], &t, arena, err);
    }
    for (size_t i = 0; status == PO_OK && i < n_pairs; i++) {
        arenas[i] = po_arena_new(0);
        status = arenas[i] ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    if (status == PO_OK) {
        po_pool_each(pool, n_pairs, work, &p);
        if (atomic_load(&p.failed)) {
            status = p.err.code;
            if (err) {
                *err = p.err;
            }
        }
    }
    if (status == PO_OK) {
        status = gather_up(&p, n_pairs, arena, err);
    }
    for (size_t i = 0; arenas && i < n_pairs; i++) {
        po_arena_free(arenas[i]);
    }
    free(arenas);
    if (status == PO_OK) {
        *table = t;
    }
    return status;
}
