/* Parts to bedfuls. SPDX-License-Identifier: Apache-2.0
 *
 * Parts of one group fill bed after bed (nest_groups.c). Every bedful goes through the independent test (nest_check.c) before it is given
 * out. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest_beds.h"

enum { MOST_PARTS = 400, MOST_COPIES = 10000, DEFAULT_STEPS = 60000 };

/* ---- what is asked ---- */

static po_status check_numbers(const po_nest_work *w, po_err *err)
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
        if (step == PO_NEST_FREE) {
            continue;
        }
        if (!(step >= 0 && step <= 360) || fabs(turns - round(turns)) > 1e-9 || turns > 72 ||
            fmod(360, round(turns)) != 0) {
            return po_fail(
                err, PO_E_RANGE,
                "part %zu: turns by %g degrees; expected PO_NEST_FREE, 0 (as it lies) or 5 or more whole degrees that "
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

/* ---- groups ---- */

static po_status all_groups(po_nest_work *w, bool *ret_possible, po_err *err)
{
    uint32_t *order = po_arena_zeros(w->arena, w->n_parts, sizeof *order);
    uint32_t *next_copy = po_arena_zeros(w->arena, w->n_parts, sizeof *next_copy);
    unsigned char *done = po_arena_zeros(w->arena, w->n_parts, 1);
    uint64_t steps = w->steps ? w->steps : w->until > 0 ? UINT64_MAX / 4 : DEFAULT_STEPS, groups = 0;
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
            po_status status = po_nest_group(w, order, n, steps / groups, next_copy, ret_possible, err);
            if (status != PO_OK) {
                return status;
            }
        }
    }
    return PO_OK;
}

static int by_due(const void *a, const void *b)
{
    const po_bedful *p = a, *q = b;
    int due = (p->due > q->due) - (p->due < q->due), group = (p->group > q->group) - (p->group < q->group);
    return due ? due : group ? group : (p->filled < q->filled) - (p->filled > q->filled);
}

static int by_group(const void *a, const void *b)
{
    const po_bedful *p = a, *q = b;
    int group = (p->group > q->group) - (p->group < q->group);
    return group ? group : by_due(a, b);
}

static po_status find(po_nest_work *w, bool either_order, bool *ret_possible, po_err *err)
{
    w->n_beds = w->n_out = 0;
    w->at_least = 0;
    w->fill = (po_nest_filling){.table = &w->table,
                                .pool = w->pool,
                                .bed = po_nest_work_bed(w),
                                .first_fixed = (uint32_t)w->n_parts,
                                .effort = &w->setup->effort,
                                .started = w->started};
    w->fill.left = po_arena_zeros(w->arena, w->n_parts + 1, sizeof *w->fill.left);
    w->out = po_arena_zeros(w->arena, 2 * w->n_parts + 1, sizeof *w->out);
    w->base_deg = po_arena_zeros(w->arena, w->n_parts, sizeof *w->base_deg);
    w->own = po_arena_zeros(w->arena, w->n_parts, sizeof *w->own);
    w->alone = po_arena_zeros(w->arena, w->n_parts, 1);
    if (!w->fill.left || !w->out || !w->base_deg || !w->own || !w->alone) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status status = po_nest_ready(w, either_order, err);
    w->fill.n_fixed = (uint32_t)w->n_fixed;
    return status == PO_OK ? all_groups(w, ret_possible, err) : status;
}

/* In a ring, each in the way of the next: room for any order. */
static po_status find_any(po_nest_work *w, po_err *err)
{
    bool possible = true;
    po_status status = find(w, true, &possible, err);
    if (status == PO_OK && !possible) {
        status = find(w, false, &possible, err);
    }
    return status == PO_OK && !possible
               ? po_fail(err, PO_E_INTERNAL, "no order was found in which the head keeps off what is finished")
               : status;
}

/* Tall parts that may turn need room for the head at each turn that they may have; where all lie alike they may need less. All as they
 * lie, all turned by a quarter, and each as it likes are tried; the one with fewer left out, then with fewer beds, is taken. */
static bool has_ways(const po_nest_work *w)
{
    bool any = false;
    for (size_t i = 0; w->setup->finish_each && i < w->n_parts; i++) {
        any = any || (w->parts[i].turn_step_deg != 0 && w->parts[i].height_mm > w->setup->machine->head.clears_mm);
    }
    return any;
}

static uint32_t copies_out(const po_nest_work *w)
{
    uint32_t n = 0;
    for (size_t i = 0; i < w->n_out; i++) {
        n += w->out[i].copies;
    }
    return n;
}

static po_status find_all_ways(po_nest_work *w, po_err *err)
{
    const po_nest_effort *e = &w->setup->effort;
    unsigned ways = has_ways(w) ? 3 : 1;
    po_nest_work best = *w;
    po_status status = PO_OK;
    for (unsigned k = 0; k < ways && status == PO_OK; k++) {
        w->beds = NULL;
        w->cap_beds = 0;
        w->way = (int)k;
        w->steps = e->steps > ways ? e->steps / ways : e->steps;
        w->until = e->seconds > 0 ? w->started + e->seconds * (k + 1) / ways : 0;
        status = find_any(w, err);
        uint32_t was = k ? copies_out(&best) : UINT32_MAX, is = status == PO_OK ? copies_out(w) : 0;
        if (status == PO_OK && (is < was || (is == was && w->n_beds < best.n_beds))) {
            best = *w;
        }
        if (status == PO_OK && is == 0 && w->n_beds == w->at_least) {
            break; /* no other way takes fewer */
        }
    }
    best.taken = w->taken;
    best.ended = w->ended;
    *w = best;
    return status;
}

po_status po_nest_find(const po_nest_part *parts, size_t n_parts, const po_nest_setup *setup, po_arena *arena,
                       po_nest *ret, po_err *err)
{
    po_nest_work w = {.parts = parts, .n_parts = n_parts, .setup = setup, .arena = arena, .started = po_nest_now()};
    po_status status = check_numbers(&w, err);
    if (status != PO_OK) {
        return status;
    }
    status = po_room_init(&w.room, setup->machine, setup->margin_mm, err);
    w.pool = po_pool_new(setup->effort.threads);
    if (status == PO_OK && !w.pool) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    status = status == PO_OK ? find_all_ways(&w, err) : status;
    if (status == PO_OK) {
        if (w.n_beds) {
            qsort(w.beds, w.n_beds, sizeof *w.beds, setup->by_group ? by_group : by_due);
        }
        *ret = (po_nest){w.beds, w.n_beds, w.out, w.n_out, w.at_least, w.taken, w.ended};
    }
    po_room_done(&w.room);
    po_pool_free(w.pool);
    return status;
}
