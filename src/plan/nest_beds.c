/* Parts to bedfuls. SPDX-License-Identifier: Apache-2.0
 *
 * Parts of one group fill bed after bed (nest_fill.c), the largest first; where due dates differ, a second time with the
 * earliest first, which is taken if it needs no more beds. A bed that can be repeated with what is left is repeated as it
 * is. Every bedful goes through the independent test (nest_check.c) before it is given out. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest_grow.h"
#include "nest_inside.h"
#include "part/fit.h"

enum { MOST_PARTS = 400, MOST_COPIES = 10000, DEFAULT_STEPS = 60000, PAIRS_MOST = 4000, ALONE_PASSES = 200 };
static const double EDGE_MM = 2e-6; /* corners are rounded to 1e-6 mm */

typedef struct work {
    const po_nest_part *parts;
    size_t n_parts;
    const po_nest_setup *setup;
    po_room room;
    po_nest_table table;
    po_nest_shape *shapes; /* parts, then what is in the way */
    size_t n_fixed;
    po_nest_filling fill;
    po_arena *arena;
    po_pool *pool;
    double started;
    bool ended;
    po_bedful *beds;
    size_t n_beds, cap_beds;
    po_left_out *out;
    size_t n_out;
    uint32_t at_least;
    uint64_t taken; /* moves */
} work;

/* ---- what is asked ---- */

static po_status check_numbers(const work *w, po_err *err)
{
    const po_nest_setup *s = w->setup;
    size_t n = 0;
    if (!(s->clearance_mm >= 0 && s->clearance_mm <= 100) || !(s->margin_mm >= 0 && s->margin_mm <= 100)) {
        return po_fail(err, PO_E_RANGE, "a clearance or margin that is no number from 0 to 100 mm");
    }
    if (w->n_parts == 0 || w->n_parts > MOST_PARTS || s->n_bands == 0) {
        return po_fail(err, w->n_parts ? PO_E_LIMIT : PO_E_RANGE,
                       w->n_parts ? "%zu different parts; at most %d can be laid out together, so split the list"
                                  : "there is no part to lay out (%zu of %d)",
                       w->n_parts, MOST_PARTS);
    }
    for (size_t i = 0; i < w->n_parts; i++) {
        n += w->parts[i].copies;
        if (n > MOST_COPIES || w->parts[i].copies > MOST_COPIES) {
            return po_fail(err, PO_E_LIMIT, "more than %d parts in all; lay out one bedful and repeat it", MOST_COPIES);
        }
        double step = w->parts[i].turn_step_deg, turns = step > 0 ? 360 / step : 1;
        if (!(step >= 0 && step <= 360) || fabs(turns - round(turns)) > 1e-9 || turns > 72 ||
            fmod(360, round(turns)) != 0) {
            return po_fail(err, PO_E_RANGE,
                           "part %zu: turns by %g degrees; expected 0 (as it lies) or 5 or more whole degrees that "
                           "divide 360",
                           i + 1, step);
        }
    }
    if (s->finish_each && !s->machine->head.given) {
        return po_fail(err, PO_E_NOTFOUND,
                       "the shop file does not say how large the head of %.60s is, so room for it can't be left; add "
                       "head: to the machine",
                       s->machine->name);
    }
    if (s->finish_each && s->n_bands != 1) {
        return po_fail(err, PO_E_CONFLICT, "parts that are finished one after another can't reach over each other");
    }
    return PO_OK;
}

static size_t common_turns(const work *w)
{
    size_t n = 1;
    for (size_t i = 0; i < w->n_parts && !w->setup->finish_each; i++) {
        size_t t = w->parts[i].turn_step_deg > 0 ? (size_t)llround(360 / w->parts[i].turn_step_deg) : 1, a = n, b = t;
        while (b) {
            size_t r = a % b;
            a = b;
            b = r;
        }
        n = n / a * t;
    }
    return n;
}

/* ---- shapes ---- */

static po_status make_shape(work *w, size_t i, size_t n_turns, po_err *err)
{
    const po_nest_part *p = &w->parts[i];
    po_loops *bands = po_arena_zeros(w->arena, w->setup->n_bands, sizeof *bands);
    unsigned char *allowed = po_arena_zeros(w->arena, n_turns, 1);
    if (!bands || !allowed) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    double area = 0;
    for (size_t b = 0; b < w->setup->n_bands; b++) {
        if (p->bands[b].n_points == 0) {
            continue;
        }
        po_status status = po_nest_grow(&p->bands[b], w->setup->clearance_mm / 2, w->setup->keep_holes_free, w->arena,
                                        &bands[b], err);
        if (status != PO_OK) {
            return status;
        }
        area = fmax(area, po_loops_area(&bands[b]));
    }
    if (!(area > 0)) {
        return po_fail(err, PO_E_RANGE, "part %zu covers nothing of the bed: its outline has no area", i + 1);
    }
    size_t own = p->turn_step_deg > 0 && !w->setup->finish_each ? (size_t)llround(360 / p->turn_step_deg) : 1, n = 0;
    for (size_t t = 0; t < n_turns; t += n_turns / own) {
        allowed[t] = 1;
        n++;
    }
    w->shapes[i] = (po_nest_shape){.bands = bands,
                                   .area = area,
                                   .allowed = allowed,
                                   .n_allowed = n,
                                   .truth = p->bands,
                                   .group = p->group,
                                   .tall = p->height_mm > w->setup->machine->head.clears_mm};
    return PO_OK;
}

static po_status make_block(work *w, const po_keep_out *block, size_t n_turns, po_nest_shape *ret, po_err *err)
{
    double by = fmax(0, w->setup->margin_mm - w->setup->clearance_mm / 2);
    double xy[8] = {block->x.low - by,  block->y.low - by,  block->x.high + by, block->y.low - by,
                    block->x.high + by, block->y.high + by, block->x.low - by,  block->y.high + by};
    po_loops *bands = po_arena_zeros(w->arena, w->setup->n_bands, sizeof *bands);
    unsigned char *allowed = po_arena_zeros(w->arena, n_turns, 1);
    double *kept = po_arena_zeros(w->arena, 8, sizeof *kept);
    uint32_t *ends = po_arena_zeros(w->arena, 1, sizeof *ends);
    if (!bands || !allowed || !kept || !ends) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    memcpy(kept, xy, sizeof xy);
    ends[0] = 4;
    for (size_t b = 0; b < w->setup->n_bands; b++) {
        if (w->setup->n_bands == 1 || w->setup->band_from_mm[b] < block->below_z_mm) {
            bands[b] = (po_loops){kept, 4, ends, 1};
        }
    }
    allowed[0] = 1;
    *ret = (po_nest_shape){.bands = bands, .area = 1, .allowed = allowed, .n_allowed = 1, .group = PO_NEST_ANY_GROUP};
    return PO_OK;
}

static po_status make_table(work *w, bool either_order, po_err *err)
{
    size_t n = w->n_parts + w->room.n_blocks, n_turns = common_turns(w);
    w->shapes = po_arena_zeros(w->arena, n, sizeof *w->shapes);
    if (!w->shapes) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status status = PO_OK;
    for (size_t i = 0; status == PO_OK && i < w->n_parts; i++) {
        status = make_shape(w, i, n_turns, err);
    }
    for (size_t i = 0; status == PO_OK && i < w->room.n_blocks; i++) {
        status = make_block(w, &w->room.blocks[i], n_turns, &w->shapes[w->n_parts + i], err);
    }
    /* many parts at many turns: fewer turns, so that making ready does not take for ever */
    size_t pairs = n * (n + 1) / 2 * n_turns;
    for (size_t keep = 2; pairs > PAIRS_MOST && keep <= n_turns; keep++) {
        if (n_turns % keep != 0) {
            continue;
        }
        pairs = n * (n + 1) / 2 * (n_turns / keep);
        for (size_t i = 0; i < w->n_parts; i++) {
            unsigned char *allowed = (unsigned char *)w->shapes[i].allowed;
            w->shapes[i].n_allowed = 0;
            for (size_t t = 0; t < n_turns; t++) {
                allowed[t] = allowed[t] && t % keep == 0;
                w->shapes[i].n_allowed += allowed[t];
            }
        }
    }
    w->n_fixed = w->room.n_blocks;
    w->table = (po_nest_table){.n_shapes = n,
                               .n_turns = n_turns,
                               .n_bands = w->setup->n_bands,
                               .head = w->setup->finish_each ? &w->setup->machine->head : NULL,
                               .either_order = either_order};
    return status == PO_OK ? po_nest_table_make(&w->table, w->shapes, w->pool, w->arena, err) : status;
}

static po_nest_bed bed_of(const work *w)
{
    po_nest_bed bed = {.round = w->room.round, .radius = w->room.radius - EDGE_MM};
    for (int k = 0; k < 2; k++) {
        bed.low[k] = w->room.low[k] + EDGE_MM;
        bed.high[k] = w->room.high[k] - EDGE_MM;
        bed.centre[k] = w->room.centre[k];
    }
    return bed;
}

/* ---- what can't be laid at all ---- */

static void leave_out(work *w, uint32_t part, uint32_t copies, const char *why)
{
    w->out[w->n_out++] = (po_left_out){part, copies, why ? why : "there was no memory for the reason"};
}

/* Alone on an empty bed: by samples, and if they find nothing by moving it about. */
static po_status fits_alone(work *w, uint32_t i, bool *ret, po_err *err)
{
    uint32_t *shapes = malloc((1 + w->n_fixed) * sizeof *shapes);
    po_nest_spot *spots = calloc(1 + w->n_fixed, sizeof *spots);
    po_nest_state *s = NULL;
    *ret = false;
    if (shapes && spots) {
        for (size_t k = 0; k < 1 + w->n_fixed; k++) {
            shapes[k] = k ? (uint32_t)(w->n_parts + k - 1) : i;
            spots[k].bed = k ? 0 : UINT32_MAX;
        }
        s = po_nest_state_new(&w->table, shapes, 1 + w->n_fixed, w->n_fixed, w->setup->effort.seed);
    }
    if (s) {
        po_nest_bed bed = bed_of(w);
        po_nest_state_bed(s, &bed, 1);
        po_nest_state_set(s, spots);
        *ret = po_nest_state_insert(s, 0, 0, (const double[2]){0, 1}, 60);
        if (!*ret) {
            po_nest_state_drop(s, 0, 0);
            for (int pass = 0; pass < ALONE_PASSES && !*ret; pass++) {
                po_nest_state_pass(s);
                *ret = po_nest_state_overlap(s) <= 0;
            }
        }
    }
    po_status status = s ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    po_nest_state_free(s);
    free(shapes);
    free(spots);
    return status;
}

static po_status sort_out(work *w, po_err *err)
{
    for (uint32_t i = 0; i < w->n_parts; i++) {
        const po_nest_part *p = &w->parts[i];
        bool fits = true;
        if (p->copies == 0) {
            continue;
        }
        if (p->height_mm > w->room.height) {
            leave_out(w, i, p->copies,
                      po_arena_printf(w->arena, "is %.1f mm high; %s holds %.1f mm", p->height_mm,
                                      w->setup->machine->name, w->room.height));
            continue;
        }
        po_status status = fits_alone(w, i, &fits, err);
        if (status != PO_OK) {
            return status;
        }
        if (!fits) {
            const double *box = w->shapes[i].forms[0].box;
            leave_out(w, i, p->copies,
                      po_arena_printf(w->arena,
                                      "has no room on an empty bed at any turn that it may have: as it lies it covers "
                                      "%.1f x %.1f mm; %s",
                                      box[2] - box[0], box[3] - box[1],
                                      p->turn_step_deg > 5 ? "finer turns (turns=5) may find a place"
                                                           : "another way up may lie on it"));
            continue;
        }
        w->fill.left[i] = p->copies;
    }
    return PO_OK;
}

/* ---- groups ---- */

typedef struct beds { /* of one group */
    po_nest_full *all;
    size_t n, cap;
} beds;

static void beds_done(beds *b)
{
    for (size_t i = 0; i < b->n; i++) {
        free(b->all[i].spots);
        free(b->all[i].shapes);
    }
    free(b->all);
    *b = (beds){0};
}

static po_status beds_add(beds *b, po_nest_full full, po_err *err)
{
    if (b->n == b->cap) {
        size_t cap = b->cap ? 2 * b->cap : 8;
        po_nest_full *all = realloc(b->all, cap * sizeof *all);
        if (!all) {
            free(full.spots);
            free(full.shapes);
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        b->all = all;
        b->cap = cap;
    }
    b->all[b->n++] = full;
    return PO_OK;
}

/* The same bed again, while enough of each of its parts is left. */
static po_status repeat(work *w, beds *b, po_err *err)
{
    uint32_t *of = calloc(w->n_parts + 1, sizeof *of);
    po_status status = of ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    const po_nest_full last = b->all[b->n - 1];
    for (size_t i = 0; status == PO_OK && i < last.n; i++) {
        of[last.shapes[i]]++;
    }
    for (bool again = true; status == PO_OK && again;) {
        for (size_t i = 0; i < w->n_parts && again; i++) {
            again = w->fill.left[i] >= of[i];
        }
        if (again) {
            po_nest_full full = {malloc(last.n * sizeof *full.spots + 1), malloc(last.n * sizeof *full.shapes + 1),
                                 last.n};
            if (!full.spots || !full.shapes) {
                free(full.spots);
                free(full.shapes);
                status = po_fail(err, PO_E_NOMEM, "memory ran out");
                break;
            }
            memcpy(full.spots, last.spots, last.n * sizeof *full.spots);
            memcpy(full.shapes, last.shapes, last.n * sizeof *full.shapes);
            status = beds_add(b, full, err);
            for (size_t i = 0; i < w->n_parts; i++) {
                w->fill.left[i] -= of[i];
            }
        }
    }
    free(of);
    return status;
}

static po_status fill_group(work *w, const uint32_t *order, size_t n_order, uint64_t steps, uint32_t expected, beds *b,
                            po_err *err)
{
    const po_nest_effort *e = &w->setup->effort;
    w->fill.steps = steps;
    for (;;) {
        bool any = false;
        for (size_t k = 0; k < n_order && !any; k++) {
            any = w->fill.left[order[k]] > 0;
        }
        if (!any) {
            return PO_OK;
        }
        double now = po_nest_now();
        if (e->progress && !w->ended && !e->progress((double)(w->n_beds + b->n), now - w->started, e->user)) {
            w->ended = true;
        }
        w->fill.ended = w->ended;
        w->fill.value = (double)(w->n_beds + b->n);
        uint32_t to_come = expected > b->n ? expected - (uint32_t)b->n : 1;
        w->fill.ends = 0;
        if (e->seconds > 0 && steps > 0) { /* this bed's share of the time that is left */
            w->fill.ends = now + fmax(0, w->started + e->seconds - now) / to_come;
        }
        po_nest_full full;
        w->fill.seed = e->seed * UINT64_C(1000003) + w->n_beds + b->n;
        po_status status = po_nest_fill(&w->fill, order, n_order, w->fill.steps / to_come, &full, err);
        if (status != PO_OK) {
            return status;
        }
        w->ended = w->fill.ended;
        if (full.n == 0) { /* each fits alone, but samples did not find where: it is left out, never dropped silently */
            free(full.spots);
            free(full.shapes);
            for (size_t k = 0; k < n_order; k++) {
                if (w->fill.left[order[k]]) {
                    leave_out(
                        w, order[k], w->fill.left[order[k]],
                        "fits an empty bed so narrowly that no place was found; try another --seed or fewer turns");
                    w->fill.left[order[k]] = 0;
                }
            }
            return PO_OK;
        }
        status = beds_add(b, full, err);
        if (status == PO_OK) {
            status = repeat(w, b, err);
        }
        if (status != PO_OK) {
            return status;
        }
    }
}

/* ---- order of parts finished one after another ---- */

static po_nest_laid laid_at(const work *w, const po_nest_full *f, size_t i, const po_loops *loops)
{
    const double *turn = w->table.turns[f->spots[i].turn];
    return (po_nest_laid){loops, turn[0], turn[1], f->spots[i].x, f->spots[i].y};
}

/* Low ones first, then tall ones so that the head never meets one that stands: repeatedly one that the head, while any
 * of the others is still to come, may stand beside. *ret_possible false: there is no such order. */
static po_status put_in_order(const work *w, const po_nest_full *f, uint32_t *order, bool *ret_possible, po_err *err)
{
    size_t n = 0;
    unsigned char *done = calloc(f->n + 1, 1), *clear = calloc(f->n * f->n + 1, 1);
    po_status status = done && clear ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    const po_head *head = &w->setup->machine->head;
    for (size_t i = 0; status == PO_OK && i < f->n; i++) {
        if (!w->shapes[f->shapes[i]].tall) {
            order[n++] = (uint32_t)i;
            done[i] = 1;
        }
    }
    for (size_t i = 0; status == PO_OK && i < f->n; i++) {
        for (size_t k = 0; status == PO_OK && k < f->n && !done[i]; k++) {
            bool is = true;
            if (k != i && !done[k]) {
                po_nest_laid later = laid_at(w, f, i, w->parts[f->shapes[i]].bands);
                po_nest_laid earlier = laid_at(w, f, k, w->parts[f->shapes[k]].bands);
                status = po_nest_head_clear(&later, &earlier, head, &is, err);
            }
            clear[i * f->n + k] = is; /* i may be printed after k */
        }
    }
    *ret_possible = true;
    while (status == PO_OK && n < f->n) {
        size_t next = SIZE_MAX;
        for (size_t k = 0; k < f->n && next == SIZE_MAX; k++) {
            bool fine = !done[k];
            for (size_t i = 0; fine && i < f->n; i++) {
                fine = i == k || done[i] || clear[i * f->n + k];
            }
            next = fine ? k : next;
        }
        if (next == SIZE_MAX) {
            *ret_possible = false;
            break;
        }
        done[next] = 1;
        order[n++] = (uint32_t)next;
    }
    free(done);
    free(clear);
    return status;
}

/* ---- out ---- */

static po_status test(const work *w, const po_nest_full *f, po_err *err)
{
    po_nest_laid *laid = malloc((f->n + w->n_fixed + 1) * sizeof *laid);
    po_status status = laid ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    po_nest_bed bed = {.round = w->room.round,
                       .low = {w->room.low[0], w->room.low[1]},
                       .high = {w->room.high[0], w->room.high[1]},
                       .centre = {w->room.centre[0], w->room.centre[1]},
                       .radius = w->room.radius};
    for (size_t b = 0; status == PO_OK && b < w->setup->n_bands; b++) {
        size_t n = f->n, x, y;
        double mm;
        for (size_t i = 0; i < f->n; i++) {
            laid[i] = laid_at(w, f, i, &w->parts[f->shapes[i]].bands[b]);
            if (!po_nest_on_bed(&laid[i], &bed)) {
                status = po_fail(err, PO_E_INTERNAL, "a layout with part %u off the bed was refused", f->shapes[i] + 1);
            }
        }
        if (status == PO_OK) {
            status = po_nest_apart(laid, n, w->setup->clearance_mm, &x, &y, &mm, err);
        }
        if (status == PO_OK && x != y) {
            status = po_fail(err, PO_E_INTERNAL, "a layout with parts %u and %u too near each other was refused",
                             f->shapes[x] + 1, f->shapes[y] + 1);
        }
        for (size_t k = 0; k < w->n_fixed && status == PO_OK; k++) { /* what is in the way, each for itself */
            const po_loops *block = &w->shapes[w->n_parts + k].bands[b];
            for (size_t i = 0; i < f->n && status == PO_OK && block->n_points; i++) {
                po_nest_laid two[2] = {laid[i], {block, 1, 0, 0, 0}};
                status = po_nest_apart(two, 2, 0, &x, &y, &mm, err);
                if (status == PO_OK && x != y) {
                    status = po_fail(err, PO_E_INTERNAL, "a layout with part %u on a keep-out was refused",
                                     f->shapes[i] + 1);
                }
            }
        }
    }
    free(laid);
    return status;
}

static bool in_hole(const work *w, const po_nest_full *f, size_t i)
{
    const po_loops *own = &w->parts[f->shapes[i]].bands[0];
    if (own->n_points == 0) {
        return false;
    }
    po_nest_laid a = laid_at(w, f, i, own);
    double x = a.cosine * own->xy[0] - a.sine * own->xy[1] + a.x, y = a.sine * own->xy[0] + a.cosine * own->xy[1] + a.y;
    for (size_t k = 0; k < f->n; k++) {
        const po_loops *other = &w->parts[f->shapes[k]].bands[0];
        po_nest_laid b = laid_at(w, f, k, other);
        double dx = x - b.x, dy = y - b.y, px = b.cosine * dx + b.sine * dy, py = b.cosine * dy - b.sine * dx;
        for (size_t l = 0; l < other->n_loops && k != i; l++) {
            size_t begin = l ? other->ends[l - 1] : 0;
            uint32_t end = (uint32_t)(other->ends[l] - begin);
            po_loops one = {other->xy + 2 * begin, end, &end, 1};
            if (po_loops_winding(&one, px, py) < 0) {
                return true;
            }
        }
    }
    return false;
}

static po_status give_out(work *w, const po_nest_full *f, uint32_t *next_copy, bool *ret_possible, po_err *err)
{
    po_nest_place *places = po_arena_zeros(w->arena, f->n, sizeof *places);
    uint32_t *order = po_arena_zeros(w->arena, f->n, sizeof *order);
    if (!places || !order) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status status = test(w, f, err);
    *ret_possible = true;
    for (size_t i = 0; i < f->n; i++) {
        order[i] = (uint32_t)i;
    }
    if (status == PO_OK && w->setup->finish_each) {
        status = put_in_order(w, f, order, ret_possible, err);
    }
    if (status != PO_OK || !*ret_possible) {
        return status;
    }
    po_bedful bed = {.due = INT64_MAX, .places = places, .n_places = f->n};
    double area = 0;
    for (size_t k = 0; k < f->n; k++) {
        size_t i = order[k];
        uint32_t part = f->shapes[i];
        const po_nest_spot *p = &f->spots[i];
        places[k] = (po_nest_place){part,
                                    next_copy[part]++,
                                    360.0 * p->turn / (double)w->table.n_turns,
                                    p->x,
                                    p->y,
                                    w->setup->n_bands == 1 && in_hole(w, f, i)};
        bed.group = w->parts[part].group;
        bed.due = w->parts[part].due < bed.due ? w->parts[part].due : bed.due;
        area += po_loops_area(&w->parts[part].bands[0]);
    }
    const double *d = w->setup->machine->bed_mm;
    bed.filled = area / (w->room.round ? M_PI * d[0] * d[0] / 4 : d[0] * d[1]);
    w->beds[w->n_beds++] = bed;
    return PO_OK;
}

static int by_due(const void *a, const void *b)
{
    const po_bedful *p = a, *q = b;
    int due = (p->due > q->due) - (p->due < q->due), group = (p->group > q->group) - (p->group < q->group);
    return due ? due : group ? group : (p->filled < q->filled) - (p->filled > q->filled);
}

/* Areas, parts grown by half the clearance: those can't overlap, and lie in the bed grown as much. */
static po_status least_beds(const work *w, const uint32_t *order, size_t n_order, uint32_t *ret, double *ret_room,
                            po_err *err)
{
    double c = w->setup->clearance_mm, sum = 0;
    double bed = w->room.round ? M_PI * (w->room.radius + c / 2) * (w->room.radius + c / 2)
                               : (w->room.high[0] - w->room.low[0] + c) * (w->room.high[1] - w->room.low[1] + c);
    *ret_room = w->setup->n_bands == 1 ? bed * 1.02 : INFINITY; /* grown a little more than they had to be */
    po_status status = PO_OK;
    for (size_t k = 0; k < n_order && status == PO_OK; k++) {
        const po_loops *l = w->parts[order[k]].bands;
        po_loops grown = *l;
        if (c > 0) {
            po_arena *scratch = po_arena_new(0);
            status = scratch ? po_loops_offset(l, c / 2, 0.01, scratch, &grown, err)
                             : po_fail(err, PO_E_NOMEM, "memory ran out");
            sum += status == PO_OK ? po_loops_area(&grown) * w->fill.left[order[k]] : 0;
            po_arena_free(scratch);
        } else {
            sum += po_loops_area(l) * w->fill.left[order[k]];
        }
    }
    *ret = w->setup->n_bands == 1 ? (uint32_t)ceil(sum / bed * (1 - 1e-9)) : 1;
    return status;
}

/* The largest first, or the earliest due. */
static void sort_parts(const work *w, uint32_t *order, size_t n, bool by_date)
{
    for (size_t i = 1; i < n; i++) {
        uint32_t part = order[i];
        size_t k = i;
        for (; k > 0; k--) {
            const po_nest_part *p = &w->parts[part], *q = &w->parts[order[k - 1]];
            bool before = w->shapes[part].area > w->shapes[order[k - 1]].area;
            if (by_date && p->due != q->due) {
                before = p->due < q->due;
            }
            if (!before) {
                break;
            }
            order[k] = order[k - 1];
        }
        order[k] = part;
    }
}

static po_status one_group(work *w, uint32_t *order, size_t n, uint64_t steps, uint32_t *next_copy, bool *ret_possible,
                           po_err *err)
{
    bool dates = false;
    uint32_t least = 0, *left = malloc((w->n_parts + 1) * sizeof *left);
    for (size_t k = 1; k < n; k++) {
        dates = dates || w->parts[order[k]].due != w->parts[order[0]].due;
    }
    /* plainly by size, by date, then with searching; no more of them where no layout can take fewer */
    beds kept[4] = {{0}, {0}, {0}, {0}};
    bool done[4] = {false}, dropped[4] = {false};
    po_status status = left ? least_beds(w, order, n, &least, &w->fill.room, err)
                            : po_fail(err, PO_E_NOMEM, "memory ran out");
    size_t best = 0, n_out = w->n_out;
    if (status == PO_OK) {
        memcpy(left, w->fill.left, w->n_parts * sizeof *left);
    }
    for (size_t how = 0; status == PO_OK && how < 4; how++) {
        bool by_date = how % 2 == 1, search = how >= 2;
        if ((by_date && !dates) || (search && (kept[best].n <= least || w->ended) && !dropped[best])) {
            continue;
        }
        memcpy(w->fill.left, left, w->n_parts * sizeof *left);
        w->n_out = n_out;
        sort_parts(w, order, n, by_date);
        uint64_t given = search ? steps / (1 + (uint64_t)dates) : 0;
        status = fill_group(w, order, n, given, least, &kept[how], err);
        w->taken += given - w->fill.steps;
        done[how] = true;
        dropped[how] = w->n_out > n_out;
        /* the later one where it is no worse: searched, and by date */
        bool better = kept[how].n < kept[best].n || (kept[how].n == kept[best].n && (by_date || !(best % 2)));
        best = !done[best] || dropped[best] || (!dropped[how] && better) ? how : best;
    }
    if (!dropped[best]) {
        w->n_out = n_out;
    }
    *ret_possible = true;
    w->at_least += least;
    for (size_t i = 0; status == PO_OK && *ret_possible && i < kept[best].n; i++) {
        if (w->n_beds == w->cap_beds) {
            size_t cap = w->cap_beds ? 2 * w->cap_beds : 16;
            po_bedful *more = po_arena_resize(w->arena, w->beds, w->cap_beds * sizeof *more, cap * sizeof *more);
            if (!more) {
                status = po_fail(err, PO_E_NOMEM, "memory ran out");
                break;
            }
            w->beds = more;
            w->cap_beds = cap;
        }
        status = give_out(w, &kept[best].all[i], next_copy, ret_possible, err);
    }
    for (size_t how = 0; how < 4; how++) {
        beds_done(&kept[how]);
    }
    free(left);
    return status;
}

static po_status all_groups(work *w, bool *ret_possible, po_err *err)
{
    uint32_t *order = po_arena_zeros(w->arena, w->n_parts, sizeof *order);
    uint32_t *next_copy = po_arena_zeros(w->arena, w->n_parts, sizeof *next_copy);
    unsigned char *done = po_arena_zeros(w->arena, w->n_parts, 1);
    const po_nest_effort *e = &w->setup->effort;
    uint64_t steps = e->steps ? e->steps : e->seconds > 0 ? UINT64_MAX / 4 : DEFAULT_STEPS, groups = 0;
    if (!order || !next_copy || !done) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < w->n_parts; i++) {
        bool first = true;
        for (size_t k = 0; k < i && first; k++) {
            first = w->parts[k].group != w->parts[i].group;
        }
        groups += first;
    }
    *ret_possible = true;
    for (size_t i = 0; i < w->n_parts && *ret_possible; i++) {
        size_t n = 0;
        for (size_t k = i; k < w->n_parts; k++) {
            if (!done[k] && w->parts[k].group == w->parts[i].group) {
                done[k] = 1;
                if (w->fill.left[k]) {
                    order[n++] = (uint32_t)k;
                }
            }
        }
        if (n > 0) {
            po_status status = one_group(w, order, n, steps / groups, next_copy, ret_possible, err);
            if (status != PO_OK) {
                return status;
            }
        }
    }
    return PO_OK;
}

static po_status find(work *w, bool either_order, bool *ret_possible, po_err *err)
{
    w->n_beds = w->n_out = 0;
    w->at_least = 0;
    po_status status = make_table(w, either_order, err);
    w->fill = (po_nest_filling){.table = &w->table,
                                .pool = w->pool,
                                .bed = bed_of(w),
                                .first_fixed = (uint32_t)w->n_parts,
                                .n_fixed = (uint32_t)w->n_fixed,
                                .effort = &w->setup->effort,
                                .started = w->started};
    w->fill.left = po_arena_zeros(w->arena, w->n_parts + 1, sizeof *w->fill.left);
    w->out = po_arena_zeros(w->arena, 2 * w->n_parts + 1, sizeof *w->out);
    if (status == PO_OK && (!w->fill.left || !w->out)) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    if (status == PO_OK) {
        status = sort_out(w, err);
    }
    return status == PO_OK ? all_groups(w, ret_possible, err) : status;
}

po_status po_nest_find(const po_nest_part *parts, size_t n_parts, const po_nest_setup *setup, po_arena *arena,
                       po_nest *ret, po_err *err)
{
    work w = {.parts = parts, .n_parts = n_parts, .setup = setup, .arena = arena, .started = po_nest_now()};
    po_status status = check_numbers(&w, err);
    if (status != PO_OK) {
        return status;
    }
    status = po_room_init(&w.room, setup->machine, setup->margin_mm, err);
    w.pool = po_pool_new(setup->effort.threads);
    if (status == PO_OK && !w.pool) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    bool possible = true;
    if (status == PO_OK) {
        status = find(&w, true, &possible, err);
    }
    if (status == PO_OK && !possible) { /* in a ring, each in the way of the next: room for any order */
        status = find(&w, false, &possible, err);
        if (status == PO_OK && !possible) {
            status = po_fail(err, PO_E_INTERNAL, "no order was found in which the head keeps off what is finished");
        }
    }
    if (status == PO_OK) {
        if (w.n_beds) {
            qsort(w.beds, w.n_beds, sizeof *w.beds, by_due);
        }
        *ret = (po_nest){w.beds, w.n_beds, w.out, w.n_out, w.at_least, w.taken, w.ended};
    }
    po_room_done(&w.room);
    po_pool_free(w.pool);
    return status;
}
