/* Plans made, tried and told. SPDX-License-Identifier: Apache-2.0
 *
 * First plans by rules of thumb and by the prices of the bound; the search; for short queues the exact search. The cheapest of all is taken. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan/schedule_inside.h"

enum { NODES = 3000000, FEW = 24 };

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "no memory for a schedule");
}

typedef struct place { /* to sort by */
    int64_t key, then;
    int run;
} place;

static int by_key(const void *a, const void *b)
{
    const place *x = a, *y = b;
    return x->key != y->key     ? (x->key > y->key) - (x->key < y->key)
           : x->then != y->then ? (x->then > y->then) - (x->then < y->then)
                                : (x->run > y->run) - (x->run < y->run);
}

static void sort_places(place *places, int n, int *order)
{
    qsort(places, (size_t)n, sizeof *places, by_key);
    for (int i = 0; i < n; i++) {
        order[i] = places[i].run;
    }
}

/* How long a machine is taken at least. */
static int length_of(const slots *s, const slot_run *r)
{
    int least = s->n;
    for (int o = r->first_option; o < r->first_option + r->n_options; o++) {
        const slot_table *t = &s->tables[s->options[o].table];
        if (t->n_goods > 0 && t->off[t->goods[0]] - t->goods[0] < least) {
            least = t->off[t->goods[0]] - t->goods[0];
        }
    }
    return least;
}

/* A plan by a rule of thumb: 0 as they are, 1 short ones first, 2 by due time, 3 by the last start in time, weighed. */
static void order_by_rule(const slots *s, int rule, place *places, int *order)
{
    for (int j = 0; j < s->n_runs; j++) {
        const slot_run *r = &s->runs[j];
        int length = length_of(s, r);
        int64_t due = r->due < s->n ? r->due : s->n + r->ready;
        places[j] = (place){rule == 0   ? r->ready
                            : rule == 1 ? r->ready / 4 + (int64_t)length * 100 / (r->wait > 0 ? r->wait : 1)
                            : rule == 2 ? due
                                        : due - length,
                            length, j};
    }
    sort_places(places, s->n_runs, order);
}

typedef struct maker {
    const slots *s;
    const po_plan_options *o;
    putting now, best;
    place *places;
    int *order, *best_order;
    int64_t bound;
} maker;

static void swap_in(maker *k)
{
    putting p = k->now;
    k->now = k->best;
    k->best = p;
    memcpy(k->best_order, k->order, (size_t)k->s->n_runs * sizeof *k->order);
}

/* Put k->order; kept where it is the cheapest so far. */
static void offer_order(maker *k, const int *wished)
{
    po_slot_putting_clear(&k->now);
    if (po_slot_put_list(&k->now, k->order, k->s->n_runs, wished, NULL, k->best.cost - 1)) {
        swap_in(k);
    }
}

static void offer_now(maker *k)
{
    if (k->now.cost < k->best.cost) {
        swap_in(k);
    }
}

/* By the starts that are in k->now, with its machines. */
static void offer_again(maker *k, const int *starts, const int *options)
{
    int wished[PO_PLAN_RUNS_MOST];
    for (int j = 0; j < k->s->n_runs; j++) {
        k->places[j] = (place){starts[j], 0, j};
        wished[j] = options ? (options[j] < 0 ? NOBODY : options[j]) : NOBODY;
    }
    sort_places(k->places, k->s->n_runs, k->order);
    offer_order(k, options ? wished : NULL);
}

static int64_t offer_starts(void *user, const int *starts)
{
    maker *k = user;
    offer_again(k, starts, NULL);
    return k->best.cost;
}

static po_status search_all(maker *k, po_arena *arena, slot_prices *prices, po_plan *ret, po_err *err)
{
    const slots *s = k->s;
    int *starts = po_arena_zeros(arena, (size_t)s->n_runs + 1, sizeof *starts);
    int *options = po_arena_zeros(arena, (size_t)s->n_runs + 1, sizeof *options);
    int n_free = 0;
    if (!starts || !options) {
        return no_memory(err);
    }
    for (int j = 0; j < s->n_runs; j++) {
        n_free += s->runs[j].stays < 0;
    }
    k->best.cost = INT64_MAX;
    if (k->o->first) {
        for (int j = 0; j < s->n_runs; j++) {
            k->places[j] = (place){k->o->first[j], 0, j};
        }
        sort_places(k->places, s->n_runs, k->order);
        offer_order(k, NULL);
    }
    for (int rule = 0; rule < 4; rule++) {
        order_by_rule(s, rule, k->places, k->order);
        offer_order(k, NULL);
    }
    int turns = n_free <= FEW ? 600 : 2500;
    if (!po_slots_bound(s, turns, offer_starts, k, k->o->stop, k->o->user, arena, prices, starts)) {
        return no_memory(err);
    }
    k->bound = prices->bound;
    offer_again(k, starts, NULL);
    int64_t steps = k->o->steps > 0 ? k->o->steps
                    : n_free <= FEW ? 20 * (int64_t)n_free * n_free + 200
                                    : 200000 + 4000 * (int64_t)n_free;
    bool asks = false;
    for (int j = 0; j < s->n_runs; j++) {
        asks |= s->runs[j].asks;
    }
    int64_t by_lines = n_free <= FEW ? 0 : steps, by_lists = n_free <= FEW ? steps : asks ? steps / 20 : 0, taken = 0;
    if (k->best.cost > k->bound && by_lines > 0) {
        if (!po_slots_lines(s, &k->best, k->o, by_lines, k->bound, starts, options, &taken, arena)) {
            return no_memory(err);
        }
        ret->steps += taken;
        offer_again(k, starts, options);
    }
    if (k->best.cost > k->bound && by_lists > 0 && n_free > 0) {
        if (!po_slots_search(s, k->best_order, k->o, by_lists, k->bound, &k->now, &taken, arena)) {
            return no_memory(err);
        }
        ret->steps += taken;
        memcpy(starts, k->now.start, (size_t)s->n_runs * sizeof *starts);
        memcpy(options, k->now.option, (size_t)s->n_runs * sizeof *options);
        offer_now(k);
        offer_again(k, starts, options);
    }
    if (k->best.cost > k->bound && n_free > FEW) {
        k->bound = po_slots_bound_lines(s, prices, k->best.cost, k->o->stop, k->o->user, arena);
    }
    if (k->best.cost > k->bound && n_free > 0 && n_free <= EXACT_RUNS_MOST && k->o->nodes >= 0) {
        int64_t cost = k->best.cost;
        bool better = false;
        bool all = po_slots_exact(s, prices, &cost, k->o->nodes > 0 ? k->o->nodes : NODES, &ret->nodes, starts, options,
                                  &better, arena, k->o->stop, k->o->user);
        if (better) {
            offer_again(k, starts, options);
        }
        k->bound = all ? k->best.cost : k->bound;
    }
    return PO_OK;
}

/* A putting as a plan. */
static po_status tell(const slots *s, const putting *p, po_arena *arena, po_plan *ret, po_err *err)
{
    const po_plan_problem *q = s->problem;
    po_plan_row *rows = po_arena_zeros(arena, q->n_runs + 1, sizeof *rows);
    if (!rows) {
        return no_memory(err);
    }
    ret->rows = rows;
    ret->n_rows = q->n_runs;
    ret->cost = p->cost;
    for (size_t j = 0; j < q->n_runs; j++) {
        const slot_run *r = &s->runs[j];
        po_plan_row *w = &rows[j];
        int option = r->stays >= 0 ? r->stays : p->option[j], at = p->start[j], off = p->off[j];
        w->placed = option >= 0;
        int64_t late = (w->placed ? off : s->n) - r->due, wait = (w->placed ? at : s->n) - r->ready,
                moved = (w->placed ? at : s->n) - r->promised, full = 0;
        ret->unplaced += w->placed ? 0 : s->unplaced;
        if (w->placed) {
            const slot_table *t = &s->tables[s->options[option].table];
            w->machine = (size_t)s->options[option].machine;
            w->option = (size_t)(option - r->first_option);
            w->start_ms = r->stays >= 0 ? q->runs[j].promised_ms : s->origin_ms + at * s->step_ms;
            w->free_ms = s->origin_ms + off * s->step_ms;
            w->change = p->changed[j];
            w->change_by_ms = w->start_ms;
            po_calendar_job(q->calendar, t->need, w->start_ms, &w->when);
            full = r->stays >= 0 ? 0 : t->full[at];
            ret->n_placed++;
            ret->n_changes += w->change;
            ret->full_h += w->when.full_s / 3600;
        }
        if (q->runs[j].due_ms != INT64_MAX && late > 0) {
            w->late_h = (double)(late * s->step_ms) / 3600000;
            ret->late_h += w->late_h;
        }
        late = late > 0 ? r->late * late : 0;
        wait *= r->wait;
        moved = moved > 0 && r->stays < 0 ? r->moved * moved : 0;
        int64_t change = w->change ? s->change : 0;
        w->cost = late + wait + moved + s->full * full + change + (w->placed ? 0 : s->unplaced);
        ret->late += late;
        ret->wait += wait;
        ret->moved += moved;
        ret->full += s->full * full;
        ret->change += change;
    }
    /* standing full of what stays, in the base */
    ret->full += ret->cost - (ret->late + ret->wait + ret->moved + ret->full + ret->change + ret->unplaced);
    return PO_OK;
}

/* By when the change before a run can be done: after what is before it on its machine. */
static void put_change_times(const slots *s, po_plan *plan)
{
    po_plan_row *rows = (po_plan_row *)(uintptr_t)plan->rows;
    for (size_t j = 0; j < plan->n_rows; j++) {
        if (!rows[j].placed || !rows[j].change) {
            continue;
        }
        const slot_machine *m = &s->machines[rows[j].machine];
        int64_t ready_ms = s->origin_ms + m->ready * s->step_ms;
        int fitting = m->fitting, to = s->options[s->runs[j].first_option + (int)rows[j].option].fitting;
        int64_t last = INT64_MIN;
        for (size_t k = 0; k < plan->n_rows; k++) {
            int f = s->options[s->runs[k].first_option + (int)rows[k].option].fitting;
            if (rows[k].placed && rows[k].machine == rows[j].machine && rows[k].start_ms < rows[j].start_ms) {
                ready_ms = rows[k].free_ms > ready_ms ? rows[k].free_ms : ready_ms;
                if (rows[k].start_ms > last && f >= 0) {
                    last = rows[k].start_ms;
                    fitting = f;
                }
            }
        }
        int64_t slot = (ready_ms - s->origin_ms) / s->step_ms;
        int done = slot >= 0 && slot <= s->n ? s->changed[change_kind(s, fitting, to)][slot] : SLOT_NONE;
        rows[j].change_by_ms = done != SLOT_NONE && s->origin_ms + done * s->step_ms < rows[j].start_ms
                                   ? s->origin_ms + done * s->step_ms
                                   : rows[j].start_ms;
    }
}

static bool make_maker(maker *k, const slots *s, const po_plan_options *o, po_arena *arena)
{
    size_t n = (size_t)s->n_runs + 1;
    *k = (maker){.s = s,
                 .o = o,
                 .places = po_arena_zeros(arena, n, sizeof(place)),
                 .order = po_arena_zeros(arena, n, sizeof(int)),
                 .best_order = po_arena_zeros(arena, n, sizeof(int))};
    return k->places && k->order && k->best_order && po_slot_putting_make(s, arena, &k->now) &&
           po_slot_putting_make(s, arena, &k->best);
}

po_status po_plan_make(const po_plan_problem *problem, const po_plan_options *options, po_arena *arena,
                       const po_plan **ret, po_err *err)
{
    static const po_plan_options usual = PO_PLAN_OPTIONS_INIT;
    po_arena *work = po_arena_new(0);
    po_plan *plan = po_arena_zeros(arena, 1, sizeof *plan);
    slots s;
    maker k;
    slot_prices prices;
    if (!work || !plan) {
        po_arena_free(work);
        return no_memory(err);
    }
    po_status status = po_slots_make(problem, work, &s, err);
    if (status == PO_OK && !make_maker(&k, &s, options ? options : &usual, work)) {
        status = no_memory(err);
    }
    status = status == PO_OK ? search_all(&k, work, &prices, plan, err) : status;
    status = status == PO_OK ? tell(&s, &k.best, arena, plan, err) : status;
    if (status == PO_OK) {
        put_change_times(&s, plan);
        plan->bound = k.bound < plan->cost ? k.bound : plan->cost;
        plan->best = plan->bound == plan->cost;
        *ret = plan;
    }
    po_arena_free(work);
    return status;
}

po_status po_plan_try(const po_plan_problem *problem, const po_plan *plan, size_t run, size_t machine, int64_t at_ms,
                      po_arena *arena, const po_plan **ret, po_err *err)
{
    po_arena *work = po_arena_new(0);
    po_plan *fresh = po_arena_zeros(arena, 1, sizeof *fresh);
    po_plan_problem p = *problem;
    po_plan_run *runs = work ? po_arena_zeros(work, p.n_runs + 1, sizeof *runs) : NULL;
    slots s;
    maker k;
    if (!work || !fresh || !runs) {
        po_arena_free(work);
        return no_memory(err);
    }
    if (run >= p.n_runs || plan->n_rows != p.n_runs) {
        po_arena_free(work);
        return po_fail(err, PO_E_RANGE, "the plan has no such run");
    }
    memcpy(runs, p.runs, p.n_runs * sizeof *runs);
    bool stayed = runs[run].stays;
    runs[run].stays = false;
    p.runs = runs;
    po_status status = po_slots_make(&p, work, &s, err);
    if (status == PO_OK && !make_maker(&k, &s, NULL, work)) {
        status = no_memory(err);
    }
    if (status == PO_OK) {
        int wished[PO_PLAN_RUNS_MOST], earliest[PO_PLAN_RUNS_MOST], mine = NOBODY;
        for (int o = 0; o < s.runs[run].n_options; o++) {
            mine = s.options[s.runs[run].first_option + o].machine == (int)machine ? s.runs[run].first_option + o
                                                                                   : mine;
        }
        for (int j = 0; j < s.n_runs; j++) {
            const po_plan_row *w = &plan->rows[j];
            int64_t at = (size_t)j == run ? at_ms : w->placed ? w->start_ms : p.until_ms;
            int64_t slot = (at - s.origin_ms + s.step_ms - 1) / s.step_ms;
            earliest[j] = at <= s.origin_ms ? 0 : slot > s.n ? s.n : (int)slot;
            wished[j] = w->placed ? s.runs[j].first_option + (int)w->option : NOBODY;
            k.places[j] = (place){earliest[j], (size_t)j == run ? 0 : 1, j};
            earliest[j] = w->placed || (size_t)j == run ? earliest[j] : 0;
        }
        wished[run] = mine;
        sort_places(k.places, s.n_runs, k.order);
        if (mine >= 0) {
            po_slot_put_list(&k.now, k.order, s.n_runs, wished, earliest, INT64_MAX);
        }
        if (mine < 0 || k.now.option[run] < 0) {
            status = po_fail(err, PO_E_NOTFOUND, "run %lld can't start on %s from then on",
                             (long long)problem->runs[run].number,
                             machine < p.n_machines ? p.machines[machine].name : "that machine");
        }
    }
    status = status == PO_OK ? tell(&s, &k.now, arena, fresh, err) : status;
    if (status == PO_OK) {
        put_change_times(&s, fresh);
        fresh->bound = stayed || plan->bound > fresh->cost ? 0 : plan->bound;
        *ret = fresh;
    }
    po_arena_free(work);
    return status;
}
