/* Strip packing: all pieces in a strip of given width, as short as can be. SPDX-License-Identifier: Apache-2.0
 *
 * Two lanes search side by side, each with its own random numbers; after each round both know the shorter of their
 * layouts. A lane shortens the strip, lets the overlaps that this makes be taken away (nest_search.c), and shortens again;
 * where that does not succeed it goes on from a state with little overlap, two large pieces exchanged. In the last part
 * of the effort it only presses the best layout, in smaller and smaller steps. Rounds are counted in moves, never by the
 * clock, so the way of the search depends on the seed alone; the clock only says where it ends. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "nest_inside.h"

enum { MOST_PIECES = 2000, ROUND_MOVES = 3000, STATES = 8 };
static const double PRESS_FROM = 0.7; /* share of the effort after which the best is only pressed */
static const int PATIENCE = 150;      /* passes without less overlap, then something else is tried */

typedef struct kept { /* a state that could not be freed of overlaps */
    double overlap;
    po_nest_spot *spots;
} kept;

typedef struct lane {
    po_nest_state *state;
    po_nest_spot *best, *least; /* the best without overlap; the least overlap of this attempt */
    double length;              /* of best */
    double target;              /* what is being tried */
    double ratio;               /* by how much it is shortened */
    double least_overlap;
    int waited, strikes, failures;
    kept pool[STATES];
    size_t n_pool;
    uint64_t random, steps, quota;
    bool pressing;
    bool stopped;
} lane;

typedef struct strip {
    const po_nest_table *table;
    size_t n;
    const uint32_t *shape_of;
    double width;
    lane lanes[PO_NEST_LANES];
    const po_nest_effort *effort;
    double started, ends; /* on the steady clock; 0 = never */
    uint64_t steps_most;
} strip;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static double share(uint64_t *random)
{
    return (double)(po_random_next(random) >> 11) * 0x1p-53;
}

static po_nest_bed bed_of(const strip *s, double length)
{
    return (po_nest_bed){.low = {0, 0}, .high = {length, s->width}};
}

static double right_end(const strip *s, const po_nest_spot *spots)
{
    double most = 0;
    for (size_t i = 0; i < s->n; i++) {
        most = fmax(most, spots[i].x + s->table->shapes[s->shape_of[i]].forms[spots[i].turn].box[2]);
    }
    return most;
}

/* Draw everything right of a random cut to the left, and what still sticks out as well. */
static void shorten(const strip *s, lane *l, const po_nest_spot *from, double was, double length)
{
    po_nest_spot *spots = l->least;
    double cut = share(&l->random) * was;
    for (size_t i = 0; i < s->n; i++) {
        spots[i] = from[i];
        const double *box = s->table->shapes[s->shape_of[i]].forms[spots[i].turn].box;
        if (spots[i].x + (box[0] + box[2]) / 2 > cut) {
            spots[i].x -= was - length;
        }
        spots[i].x = fmax(fmin(spots[i].x, length - box[2]), -box[0]);
    }
    po_nest_bed bed = bed_of(s, length);
    po_nest_state_bed(l->state, &bed, 1);
    po_nest_state_set(l->state, spots);
    l->target = length;
    l->waited = l->strikes = 0;
    l->least_overlap = INFINITY;
}

static void begin_attempt(const strip *s, lane *l)
{
    l->n_pool = 0;
    l->failures = 0;
    shorten(s, l, l->best, l->length, l->length * (1 - l->ratio));
}

static void into_pool(const strip *s, lane *l)
{
    size_t at = l->n_pool;
    if (at == STATES) {
        at = 0;
        for (size_t k = 1; k < STATES; k++) {
            at = l->pool[k].overlap > l->pool[at].overlap ? k : at;
        }
        if (l->pool[at].overlap <= l->least_overlap) {
            return;
        }
    } else {
        l->n_pool++;
    }
    l->pool[at].overlap = l->least_overlap;
    memcpy(l->pool[at].spots, l->least, s->n * sizeof *l->least);
}

static void next_attempt(const strip *s, lane *l)
{
    l->failures++;
    if (l->pressing) {
        l->ratio = fmax(l->ratio * 0.8, 2e-5);
        begin_attempt(s, l);
        return;
    }
    into_pool(s, l);
    l->ratio = fmax(l->ratio * 0.7, 0.0005);
    if (l->failures >= 12) { /* this length is too much to ask; a shorter step from the best */
        begin_attempt(s, l);
        return;
    }
    const kept *a = &l->pool[po_random_next(&l->random) % l->n_pool],
               *b = &l->pool[po_random_next(&l->random) % l->n_pool];
    const kept *c = a->overlap < b->overlap ? a : b;
    po_nest_state_set(l->state, c->spots);
    po_nest_state_swap(l->state);
    l->waited = l->strikes = 0;
    l->least_overlap = INFINITY;
}

static void one_pass(const strip *s, lane *l)
{
    l->steps += po_nest_state_pass(l->state) + 1;
    double overlap = po_nest_state_overlap(l->state);
    const po_nest_spot *spots = po_nest_state_spots(l->state);
    if (overlap <= 0) {
        memcpy(l->best, spots, s->n * sizeof *spots);
        l->length = right_end(s, spots);
        if (l->failures == 0) {
            l->ratio = fmin(l->ratio * 1.2, l->pressing ? 0.001 : 0.02);
        }
        begin_attempt(s, l);
        return;
    }
    if (overlap < 0.98 * l->least_overlap) {
        l->waited = 0;
    } else {
        l->waited++;
    }
    if (overlap < l->least_overlap) {
        l->least_overlap = overlap;
        memcpy(l->least, spots, s->n * sizeof *spots);
    }
    if (l->waited > PATIENCE) {
        l->waited = 0;
        if (++l->strikes >= (l->pressing ? 2 : 3)) {
            next_attempt(s, l);
        } else {
            po_nest_state_set(l->state, l->least);
        }
    }
}

static void run_lane(size_t at, void *user)
{
    strip *s = user;
    lane *l = &s->lanes[at];
    uint64_t until = l->steps + l->quota;
    while (l->steps < until) {
        one_pass(s, l);
        if (s->ends > 0 && now() > s->ends) {
            return;
        }
    }
}

/* A first layout: the largest first, each as far left as a few hundred tries find room. */
static bool lay_first(const strip *s, lane *l, double longest)
{
    po_nest_bed bed = bed_of(s, longest);
    uint32_t *order = malloc((s->n + 1) * sizeof *order);
    bool fine = order != NULL;
    for (size_t i = 0; fine && i < s->n; i++) {
        size_t k = i;
        for (; k > 0 && s->table->shapes[s->shape_of[order[k - 1]]].area < s->table->shapes[s->shape_of[i]].area; k--) {
            order[k] = order[k - 1];
        }
        order[k] = (uint32_t)i;
    }
    po_nest_state_bed(l->state, &bed, 1);
    for (size_t k = 0; fine && k < s->n; k++) {
        fine = po_nest_state_insert(l->state, order[k], 0, (const double[2]){1, 0.05}, 400);
    }
    free(order);
    if (fine) {
        memcpy(l->best, po_nest_state_spots(l->state), s->n * sizeof *l->best);
        l->length = right_end(s, l->best);
    }
    return fine;
}

static void share_best(strip *s)
{
    size_t best = 0;
    for (size_t k = 1; k < PO_NEST_LANES; k++) {
        best = s->lanes[k].length < s->lanes[best].length ? k : best;
    }
    for (size_t k = 0; k < PO_NEST_LANES; k++) {
        lane *l = &s->lanes[k];
        if (l->length > s->lanes[best].length) {
            l->length = s->lanes[best].length;
            memcpy(l->best, s->lanes[best].best, s->n * sizeof *l->best);
            if (l->target >= l->length) {
                begin_attempt(s, l);
            }
        }
    }
}

static po_status search(strip *s, po_pool *pool, uint64_t *ret_steps)
{
    const po_nest_effort *e = s->effort;
    double told = 0;
    for (size_t k = 0; k < PO_NEST_LANES; k++) {
        s->lanes[k].ratio = 0.02;
        begin_attempt(s, &s->lanes[k]);
    }
    for (bool on = true; on;) {
        uint64_t steps = 0;
        for (size_t k = 0; k < PO_NEST_LANES; k++) {
            steps += s->lanes[k].steps;
        }
        double at = now() - s->started, part = 0;
        part = s->steps_most ? (double)steps / (double)s->steps_most : 0;
        part = e->seconds > 0 ? fmax(part, at / e->seconds) : part;
        if (part >= 1) {
            break;
        }
        for (size_t k = 0; k < PO_NEST_LANES; k++) {
            lane *l = &s->lanes[k];
            l->quota = ROUND_MOVES;
            if (!l->pressing && part >= PRESS_FROM) {
                l->pressing = true;
                l->ratio = 0.001;
                begin_attempt(s, l);
            }
        }
        po_pool_each(pool, PO_NEST_LANES, run_lane, s);
        share_best(s);
        if (e->progress && now() - told > 0.1) {
            told = now();
            on = e->progress(s->lanes[0].length, told - s->started, e->user);
        }
    }
    *ret_steps = s->lanes[0].steps + s->lanes[1].steps;
    return PO_OK;
}

/* ---- in and out ---- */

static po_status count_turns(const po_strip_piece *pieces, size_t n, size_t *ret, po_err *err)
{
    for (size_t turns = 1; turns <= 360; turns++) {
        bool fits = true;
        for (size_t i = 0; i < n && fits; i++) {
            for (size_t k = 0; k < pieces[i].n_turns && fits; k++) {
                double at = pieces[i].turns_deg[k] * (double)turns / 360;
                fits = fabs(at - round(at)) < 1e-9 * (double)turns;
            }
        }
        if (fits) {
            *ret = turns;
            return PO_OK;
        }
    }
    return po_fail(err, PO_E_RANGE,
                   "the turns of the pieces are no whole multiples of one part of a circle, down to 1 "
                   "degree; round them");
}

static po_status shape_make(const po_strip_piece *piece, size_t at, size_t n_turns, double width, po_arena *arena,
                            po_nest_shape *ret, po_err *err)
{
    po_loops *clean = po_arena_zeros(arena, 1, sizeof *clean);
    unsigned char *allowed = po_arena_zeros(arena, n_turns, 1);
    if (!clean || !allowed) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status status = po_loops_clip(&piece->outline, NULL, PO_CLIP_UNION, arena, clean, err);
    if (status != PO_OK) {
        return status;
    }
    double area = po_loops_area(clean), raw = po_loops_area(&piece->outline);
    if (!(area > 0) || fabs(area - raw) > 1e-6 * area) {
        return po_fail(err, PO_E_RANGE,
                       "the outline of piece %zu crosses itself, runs the wrong way round or has no area", at + 1);
    }
    (void)width;
    size_t n = 0;
    for (size_t k = 0; k < piece->n_turns || k == 0; k++) {
        double deg = piece->n_turns ? fmod(piece->turns_deg[k], 360) : 0;
        size_t turn = (size_t)llround((deg < 0 ? deg + 360 : deg) * (double)n_turns / 360) % n_turns;
        n += !allowed[turn];
        allowed[turn] = 1;
    }
    *ret = (po_nest_shape){.bands = clean, .area = area, .allowed = allowed, .n_allowed = n};
    return PO_OK;
}

static po_status lanes_make(strip *s, po_err *err)
{
    for (size_t k = 0; k < PO_NEST_LANES; k++) {
        lane *l = &s->lanes[k];
        l->random = s->effort->seed * 2 + k;
        po_random_next(&l->random);
        l->state = po_nest_state_new(s->table, s->shape_of, s->n, 0, po_random_next(&l->random));
        l->best = malloc((s->n + 1) * sizeof *l->best);
        l->least = malloc((s->n + 1) * sizeof *l->least);
        bool fine = l->state && l->best && l->least;
        for (size_t i = 0; i < STATES && fine; i++) {
            l->pool[i].spots = malloc((s->n + 1) * sizeof *l->least);
            fine = l->pool[i].spots != NULL;
        }
        if (!fine) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
    }
    return PO_OK;
}

static void lanes_done(strip *s)
{
    for (size_t k = 0; k < PO_NEST_LANES; k++) {
        lane *l = &s->lanes[k];
        po_nest_state_free(l->state);
        free(l->best);
        free(l->least);
        for (size_t i = 0; i < STATES; i++) {
            free(l->pool[i].spots);
        }
    }
}

static po_status give_out(const strip *s, const po_strip_piece *pieces, const uint32_t *copy_of, po_arena *arena,
                          po_strip *ret, po_err *err)
{
    const lane *l = &s->lanes[0];
    po_laid *laid = po_arena_zeros(arena, s->n, sizeof *laid);
    po_nest_laid *test = malloc((s->n + 1) * sizeof *test);
    if (!laid || !test) {
        free(test);
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    double area = 0;
    for (size_t i = 0; i < s->n; i++) {
        const po_nest_spot *p = &l->best[i];
        const double *turn = s->table->turns[p->turn];
        laid[i] = (po_laid){s->shape_of[i], copy_of[i], 360.0 * p->turn / (double)s->table->n_turns, p->x, p->y};
        test[i] = (po_nest_laid){&pieces[s->shape_of[i]].outline, turn[0], turn[1], p->x, p->y};
        area += s->table->shapes[s->shape_of[i]].area;
    }
    size_t a, b;
    double mm;
    po_status status = po_nest_apart(test, s->n, 0, &a, &b, &mm, err);
    free(test);
    if (status == PO_OK && a != b) {
        status = po_fail(err, PO_E_INTERNAL, "pieces %zu and %zu of the layout touch or overlap", a + 1, b + 1);
    }
    if (status == PO_OK) {
        *ret = (po_strip){.length = l->length, .density = area / (s->width * l->length), .laid = laid, .n_laid = s->n};
    }
    return status;
}

po_status po_nest_strip(const po_strip_piece *pieces, size_t n_pieces, double width, const po_nest_effort *effort,
                        po_arena *arena, po_strip *ret, po_err *err)
{
    size_t n = 0, n_turns = 1;
    double longest = 0;
    for (size_t i = 0; i < n_pieces; i++) {
        n += pieces[i].copies;
        if (n > MOST_PIECES || pieces[i].copies > MOST_PIECES) {
            return po_fail(err, PO_E_LIMIT, "more than %d pieces for one strip", MOST_PIECES);
        }
    }
    if (n == 0 || !(width > 0 && width < 1e5)) {
        return po_fail(err, PO_E_RANGE, "no piece, or a strip whose width is no number from 0 to 100000 mm");
    }
    po_status status = count_turns(pieces, n_pieces, &n_turns, err);
    po_nest_shape *shapes = po_arena_zeros(arena, n_pieces, sizeof *shapes);
    uint32_t *shape_of = po_arena_zeros(arena, n, sizeof *shape_of),
             *copy_of = po_arena_zeros(arena, n, sizeof *copy_of);
    po_nest_table table = {0};
    po_pool *pool = po_pool_new(effort->threads);
    if (status == PO_OK && (!shapes || !shape_of || !copy_of || !pool)) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    strip s = {.table = &table, .n = n, .shape_of = shape_of, .width = width, .effort = effort, .started = now()};
    s.steps_most = effort->steps || effort->seconds > 0 ? effort->steps : 200000;
    s.ends = effort->seconds > 0 ? s.started + effort->seconds : 0;
    for (size_t i = 0, at = 0; status == PO_OK && i < n_pieces; i++) {
        status = shape_make(&pieces[i], i, n_turns, width, arena, &shapes[i], err);
        for (uint32_t k = 0; k < pieces[i].copies; k++, at++) {
            shape_of[at] = (uint32_t)i;
            copy_of[at] = k;
        }
    }
    if (status == PO_OK) {
        table = (po_nest_table){.n_shapes = n_pieces, .n_turns = n_turns, .n_bands = 1};
        status = po_nest_table_make(&table, shapes, pool, arena, err);
    }
    for (size_t i = 0; status == PO_OK && i < n_pieces; i++) {
        bool fits = false;
        for (size_t k = 0; k < n_turns; k++) {
            const double *box = shapes[i].forms[k].box;
            fits = fits || (shapes[i].allowed[k] && box[3] - box[1] <= width);
            longest += k == 0 ? hypot(box[2] - box[0], box[3] - box[1]) * pieces[i].copies : 0;
        }
        if (!fits) {
            status = po_fail(err, PO_E_RANGE, "piece %zu is wider than the strip at every turn that it may be laid at",
                             i + 1);
        }
    }
    if (status == PO_OK) {
        status = lanes_make(&s, err);
    }
    for (size_t k = 0; status == PO_OK && k < PO_NEST_LANES; k++) {
        if (!lay_first(&s, &s.lanes[k], longest + width)) {
            status = po_fail(err, PO_E_NOMEM, "memory ran out");
        }
    }
    uint64_t steps = 0;
    if (status == PO_OK) {
        status = search(&s, pool, &steps);
    }
    if (status == PO_OK) {
        status = give_out(&s, pieces, copy_of, arena, ret, err);
    }
    if (status == PO_OK) {
        ret->steps = steps;
    }
    lanes_done(&s);
    po_pool_free(pool);
    return status;
}
