/* The parts of one group to beds. SPDX-License-Identifier: Apache-2.0
 *
 * They fill bed after bed (nest_fill.c), the largest first; where due dates differ, a second time with the
 * earliest first, which is taken if it needs no more beds. A bed that can be repeated with what is left is repeated as it
 * is. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest_beds.h"

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
static po_status repeat(po_nest_work *w, beds *b, po_err *err)
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

static po_status fill_group(po_nest_work *w, const uint32_t *order, size_t n_order, uint64_t steps, uint32_t expected,
                            beds *b, po_err *err)
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
        if (w->until > 0 && steps > 0) { /* this bed's share of the time that is left */
            w->fill.ends = now + fmax(0, w->until - now) / to_come;
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
                    po_nest_leave_out(
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

/* Areas, parts grown by half the clearance: those can't overlap, and lie in the bed grown as much. */
static po_status least_beds(const po_nest_work *w, const uint32_t *order, size_t n_order, uint32_t *ret,
                            double *ret_room, po_err *err)
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
static void sort_parts(const po_nest_work *w, uint32_t *order, size_t n, bool by_date)
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

po_status po_nest_group(po_nest_work *w, uint32_t *order, size_t n, uint64_t steps, uint32_t *next_copy,
                        bool *ret_possible, po_err *err)
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
        status = po_nest_give_out(w, &kept[best].all[i], next_copy, ret_possible, err);
    }
    for (size_t how = 0; how < 4; how++) {
        beds_done(&kept[how]);
    }
    free(left);
    return status;
}
