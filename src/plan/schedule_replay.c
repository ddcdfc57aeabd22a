/* How often a plan is kept, and what would make room for what is late. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan/schedule_inside.h"

enum { REPLAYS_MOST = 100000, STEPS_TO_LOOK = 3000 };

static const double quantile_95 = 1.6448536269514722;

/* A normal number (Box and Muller, Annals of Mathematical Statistics 29, 1958). */
static double normal(uint64_t *seed)
{
    double u = ((double)(po_random_next(seed) >> 11) + 1) * 0x1p-53, v = (double)(po_random_next(seed) >> 11) * 0x1p-53;
    return sqrt(-2 * log(u)) * cos(2 * 3.14159265358979323846 * v);
}

typedef struct turn { /* a run in its turn on its machine */
    int64_t start_ms;
    size_t run, machine;
} turn;

static int by_start(const void *a, const void *b)
{
    const turn *x = a, *y = b;
    return x->start_ms != y->start_ms ? (x->start_ms > y->start_ms) - (x->start_ms < y->start_ms)
                                      : (x->run > y->run) - (x->run < y->run);
}

static int by_size(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

/* One replay: when each run starts and is off. */
static void replay(const po_plan_problem *p, const po_plan *plan, const turn *turns, size_t n, uint64_t *seed,
                   int64_t *free_ms, int64_t *starts, int64_t *offs)
{
    for (size_t m = 0; m < p->n_machines; m++) {
        free_ms[m] = p->machines[m].free_ms;
    }
    for (size_t i = 0; i < n; i++) {
        const po_plan_row *w = &plan->rows[turns[i].run];
        po_need need = p->runs[turns[i].run].options[w->option].need;
        double scatter = need.low > 0 && need.high > need.low ? log(need.high / need.low) / (2 * quantile_95) : 0;
        int64_t start = w->start_ms;
        /* a change is made while the machine stands: what it takes was planned, and is taken again when the machine is late */
        int64_t ready = free_ms[w->machine];
        if (ready > INT64_MIN && w->change) {
            ready += p->spool_minutes * INT64_C(60000);
        }
        if (ready > start && po_calendar_earliest(p->calendar, &need, NULL, 0, ready, &start) == PO_GOOD_NEVER) {
            start = ready;
        }
        need.low = need.middle = need.high = need.middle * exp(scatter * normal(seed));
        po_job_when when;
        po_calendar_job(p->calendar, &need, start, &when);
        starts[turns[i].run] = start;
        offs[turns[i].run] = free_ms[w->machine] = when.off.middle_ms;
    }
}

po_status po_plan_replay(const po_plan_problem *p, const po_plan *plan, int replays, uint64_t seed, po_arena *arena,
                         const po_plan_kept **ret, po_err *err)
{
    if (replays < 1 || replays > REPLAYS_MOST || plan->n_rows != p->n_runs) {
        return po_fail(err, PO_E_RANGE, "a plan is replayed 1 to %d times", REPLAYS_MOST);
    }
    po_arena *work = po_arena_new(0);
    size_t n = 0, all = p->n_runs;
    po_plan_kept *kept = po_arena_zeros(arena, all + 1, sizeof *kept);
    turn *turns = work ? po_arena_zeros(work, all + 1, sizeof *turns) : NULL;
    int64_t *times = work ? po_arena_zeros(work, 2 * all + p->n_machines + 1, sizeof *times) : NULL;
    int64_t *offs = work ? po_arena_zeros(work, all * (size_t)replays + 1, sizeof *offs) : NULL;
    if (!kept || !turns || !times || !offs) {
        po_arena_free(work);
        return po_fail(err, PO_E_NOMEM, "no memory to replay a plan");
    }
    for (size_t j = 0; j < all; j++) {
        const po_plan_row *w = &plan->rows[j];
        if (w->placed) {
            turns[n++] = (turn){w->start_ms, j, w->machine};
        }
        kept[j] = (po_plan_kept){w->placed ? 0 : NAN, w->placed && p->runs[j].due_ms != INT64_MAX ? 0 : NAN, 0};
    }
    qsort(turns, n, sizeof *turns, by_start);
    for (int i = 0; i < replays; i++) {
        replay(p, plan, turns, n, &seed, times + 2 * all, times, times + all);
        for (size_t k = 0; k < n; k++) {
            size_t j = turns[k].run;
            kept[j].start += times[j] <= plan->rows[j].start_ms;
            kept[j].due += times[all + j] <= p->runs[j].due_ms;
            offs[j * (size_t)replays + (size_t)i] = times[all + j];
        }
    }
    for (size_t k = 0; k < n; k++) {
        int64_t *mine = offs + turns[k].run * (size_t)replays;
        qsort(mine, (size_t)replays, sizeof *mine, by_size);
        kept[turns[k].run].start /= replays;
        kept[turns[k].run].due /= replays;
        kept[turns[k].run].off90_ms = mine[(size_t)((replays * INT64_C(9) + 9) / 10 - 1)];
    }
    po_arena_free(work);
    *ret = kept;
    return PO_OK;
}

/* ---- what would make room ---- */

static bool in_time(const po_plan_problem *p, const po_plan *plan, size_t j)
{
    return plan->rows[j].placed && plan->rows[j].free_ms <= p->runs[j].due_ms;
}

/* With the shop to itself: only what is on the machines now, and what stays. */
static po_status look_alone(const po_plan_problem *problem, size_t j, po_arena *work, po_plan_lack *ret, po_err *err)
{
    po_plan_problem p = *problem;
    po_plan_run *runs = po_arena_zeros(work, p.n_runs + 1, sizeof *runs);
    const po_plan *plan;
    po_plan_options o = PO_PLAN_OPTIONS_INIT;
    size_t n = 0, mine = 0;
    if (!runs) {
        return po_fail(err, PO_E_NOMEM, "no memory for a schedule");
    }
    for (size_t i = 0; i < p.n_runs; i++) {
        if (i == j || p.runs[i].stays) {
            mine = i == j ? n : mine;
            runs[n++] = p.runs[i];
        }
    }
    runs[mine].due_ms = runs[mine].ready_ms; /* it is off as soon as can be where every hour counts */
    p.weights.late_h = 1000;
    p.runs = runs;
    p.n_runs = n;
    o.steps = 100;
    po_status s = po_plan_make(&p, &o, work, &plan, err);
    if (s == PO_OK) {
        const po_plan_row *w = &plan->rows[mine];
        ret->earliest_off_ms = w->placed ? w->free_ms : INT64_MAX;
        ret->machine = w->placed ? w->machine : p.runs[mine].options[0].machine;
        ret->alone = w->placed && w->free_ms <= problem->runs[j].due_ms;
    }
    return s;
}

/* Another machine like that one, as it is fitted, free now: does it do then? */
static po_status look_another(const po_plan_problem *problem, size_t j, po_arena *work, po_plan_lack *ret, po_err *err)
{
    po_plan_problem p = *problem;
    po_plan_options o = PO_PLAN_OPTIONS_INIT;
    if (p.n_machines >= PO_PLAN_MACHINES_MOST) {
        return PO_OK;
    }
    po_plan_machine *machines = po_arena_zeros(work, p.n_machines + 1, sizeof *machines);
    po_plan_run *runs = po_arena_zeros(work, p.n_runs + 1, sizeof *runs);
    const po_plan *plan;
    if (!machines || !runs) {
        return po_fail(err, PO_E_NOMEM, "no memory for a schedule");
    }
    memcpy(machines, p.machines, p.n_machines * sizeof *machines);
    machines[p.n_machines] = (po_plan_machine){.name = "another",
                                               .free_ms = INT64_MIN,
                                               .holder = NOBODY,
                                               .watch_ms = INT64_MIN,
                                               .fitting = p.machines[ret->machine].fitting};
    for (size_t i = 0; i < p.n_runs; i++) {
        const po_plan_run *r = &p.runs[i];
        runs[i] = *r;
        po_plan_option *options = po_arena_zeros(work, r->n_options + 1, sizeof *options);
        if (!options) {
            return po_fail(err, PO_E_NOMEM, "no memory for a schedule");
        }
        memcpy(options, r->options, r->n_options * sizeof *options);
        for (size_t k = 0; k < r->n_options; k++) {
            if (options[k].machine == ret->machine) {
                options[runs[i].n_options] = options[k];
                options[runs[i].n_options++].machine = p.n_machines;
                break;
            }
        }
        runs[i].options = options;
    }
    p.machines = machines;
    p.n_machines++;
    p.runs = runs;
    o.steps = STEPS_TO_LOOK;
    o.nodes = -1;
    po_status s = po_plan_make(&p, &o, work, &plan, err);
    ret->another = s == PO_OK && in_time(&p, plan, j);
    return s;
}

/* If it goes first on that machine: who starts later? */
static po_status look_others(const po_plan_problem *p, const po_plan *plan, size_t j, po_arena *arena, po_arena *work,
                             po_plan_lack *ret, po_err *err)
{
    const po_plan *fresh;
    size_t *others = po_arena_zeros(arena, p->n_runs + 1, sizeof *others);
    if (!others) {
        return po_fail(err, PO_E_NOMEM, "no memory for a schedule");
    }
    po_status s = po_plan_try(p, plan, j, ret->machine, p->runs[j].ready_ms, work, &fresh, err);
    if (s != PO_OK) {
        return s == PO_E_NOTFOUND ? PO_OK : s;
    }
    for (size_t i = 0; in_time(p, fresh, j) && i < p->n_runs; i++) {
        if (i != j && plan->rows[i].placed &&
            (!fresh->rows[i].placed || fresh->rows[i].start_ms > plan->rows[i].start_ms)) {
            others[ret->n_others++] = i;
        }
    }
    ret->others = others;
    return PO_OK;
}

po_status po_plan_lacks(const po_plan_problem *p, const po_plan *plan, po_arena *arena, const po_plan_lack **ret,
                        size_t *ret_n, po_err *err)
{
    po_plan_lack *lacks = po_arena_zeros(arena, PO_PLAN_LACKS_MOST, sizeof *lacks);
    po_status s = lacks ? PO_OK : po_fail(err, PO_E_NOMEM, "no memory for a schedule");
    size_t n = 0;
    for (size_t j = 0; s == PO_OK && j < plan->n_rows && n < PO_PLAN_LACKS_MOST; j++) {
        if (in_time(p, plan, j) || p->runs[j].stays) {
            continue;
        }
        po_arena *work = po_arena_new(0);
        lacks[n].run = j;
        s = work ? look_alone(p, j, work, &lacks[n], err) : po_fail(err, PO_E_NOMEM, "no memory for a schedule");
        if (s == PO_OK && lacks[n].alone) {
            s = look_others(p, plan, j, arena, work, &lacks[n], err);
            s = s == PO_OK ? look_another(p, j, work, &lacks[n], err) : s;
        }
        n++;
        po_arena_free(work);
    }
    *ret = lacks;
    *ret_n = n;
    return s;
}
