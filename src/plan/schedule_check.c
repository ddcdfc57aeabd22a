/* Whether a plan keeps to all that it should: from the calendar and the problem alone, without the search's tables.
 * SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "plan/schedule_inside.h"

typedef struct checking {
    const po_plan_problem *p;
    const po_plan *plan;
    po_arena *arena;
    int64_t origin_ms, step_ms;
} checking;

#define WRONG(c, ...) po_arena_printf((c)->arena, __VA_ARGS__)

static int64_t up(const checking *c, int64_t ms)
{
    int64_t d = ms - c->origin_ms, step = c->step_ms;
    return d <= 0 ? c->origin_ms : c->origin_ms + (d + step - 1) / step * step;
}

static const po_plan_option *option_of(const checking *c, size_t j)
{
    return &c->p->runs[j].options[c->plan->rows[j].option];
}

static bool holds_machine(const checking *c, size_t j, int64_t at)
{
    const po_plan_row *w = &c->plan->rows[j];
    return w->placed && w->start_ms <= at && at < w->free_ms;
}

/* A watch is taken for whole steps. */
static int64_t watch_until(const checking *c, size_t j)
{
    const po_need *n = &option_of(c, j)->need;
    int64_t ms = llround(fmin(n->first_bead_s + n->watch_s, n->seconds) * 1000);
    ms = (ms + c->step_ms - 1) / c->step_ms * c->step_ms;
    int64_t start = c->plan->rows[j].start_ms;
    start -= (start - c->origin_ms) % c->step_ms; /* what stays may start within a step */
    return start + (ms > 0 ? ms : c->step_ms);
}

static const char *wrong_by_itself(const checking *c, size_t j)
{
    const po_plan_run *r = &c->p->runs[j];
    const po_plan_row *w = &c->plan->rows[j];
    long long number = r->number;
    int64_t good = 0;
    po_job_when when;
    if (!w->placed) {
        return NULL;
    }
    const po_need *need = &option_of(c, j)->need;
    if (option_of(c, j)->machine != w->machine) {
        return WRONG(c, "run %lld is on a machine that may not run it", number);
    }
    if (r->stays) {
        return w->start_ms == r->promised_ms && (int)w->machine == r->promised_machine
                   ? NULL
                   : WRONG(c, "run %lld does not stay where it was promised", number);
    }
    if (w->start_ms < r->ready_ms || w->start_ms < c->p->from_ms || (w->start_ms - c->origin_ms) % c->step_ms) {
        return WRONG(c, "run %lld starts too early, or between steps", number);
    }
    if (po_calendar_earliest(c->p->calendar, need, NULL, 0, w->start_ms, &good) == PO_GOOD_NEVER ||
        good != w->start_ms) {
        return WRONG(c, "run %lld does not start at a good time", number);
    }
    po_calendar_job(c->p->calendar, need, w->start_ms, &when);
    if (!when.watched || when.off.middle_ms > w->free_ms || w->free_ms > c->p->until_ms) {
        return WRONG(c, "run %lld is not watched, or off later than planned", number);
    }
    const po_plan_machine *m = &c->p->machines[w->machine];
    if (w->start_ms < m->free_ms) {
        return WRONG(c, "run %lld starts while something is on its machine", number);
    }
    for (size_t k = 0; k < m->n_closed; k++) {
        if (w->start_ms < m->closed[k].until_ms && w->free_ms > m->closed[k].from_ms) {
            return WRONG(c, "run %lld is on its machine while that is out of use", number);
        }
    }
    return NULL;
}

/* What is fitted when a run's turn comes, and since when the machine is free. */
static void before(const checking *c, size_t j, int *ret_fitting, int64_t *ret_free)
{
    const po_plan_row *w = &c->plan->rows[j];
    const po_plan_machine *m = &c->p->machines[w->machine];
    int64_t last = INT64_MIN;
    *ret_fitting = m->fitting;
    *ret_free = m->free_ms > c->origin_ms ? m->free_ms : c->origin_ms;
    for (size_t k = 0; k < c->plan->n_rows; k++) {
        const po_plan_row *v = &c->plan->rows[k];
        if (k != j && v->placed && v->machine == w->machine && v->start_ms < w->start_ms) {
            *ret_free = v->free_ms > *ret_free ? v->free_ms : *ret_free;
            if (option_of(c, k)->fitting >= 0 && v->start_ms > last) {
                last = v->start_ms;
                *ret_fitting = option_of(c, k)->fitting;
            }
        }
    }
}

static const char *wrong_change(const checking *c, size_t j)
{
    const po_plan_row *w = &c->plan->rows[j];
    int from, to = w->placed ? option_of(c, j)->fitting : PO_PLAN_NOBODY;
    int64_t at;
    before(c, j, &from, &at);
    bool nozzles = false, spools = false;
    if (from >= 0 && to >= 0) {
        const po_plan_fitting *a = &c->p->fittings[from], *b = &c->p->fittings[to];
        nozzles = a->nozzles && b->nozzles && a->nozzles != b->nozzles;
        spools = a->spools && b->spools && a->spools != b->spools;
    }
    if (w->placed && w->change != (nozzles || spools)) {
        return WRONG(c, "run %lld: a change of fittings is missing, or is none", (long long)c->p->runs[j].number);
    }
    if (!w->placed || !w->change || c->p->runs[j].stays) {
        return NULL;
    }
    int64_t needs = (nozzles ? c->p->nozzle_minutes : c->p->spool_minutes) * INT64_C(60000);
    po_ms_span s;
    for (; po_calendar_next(c->p->calendar, at, &s) && s.from_ms < w->start_ms; at = s.until_ms) {
        int64_t begin = s.from_ms > at ? s.from_ms : at;
        int64_t end = s.until_ms < w->start_ms ? s.until_ms : w->start_ms;
        if (end - begin >= needs) {
            return NULL;
        }
    }
    return needs == 0 ? NULL
                      : WRONG(c, "run %lld: nobody is there long enough for the change before it",
                              (long long)c->p->runs[j].number);
}

static const char *wrong_pair(const checking *c, size_t i, size_t j)
{
    const po_plan_row *a = &c->plan->rows[i], *b = &c->plan->rows[j];
    bool both_stay = c->p->runs[i].stays && c->p->runs[j].stays;
    return a->placed && b->placed && a->machine == b->machine && !both_stay && a->start_ms < b->free_ms &&
                   b->start_ms < a->free_ms
               ? WRONG(c, "runs %lld and %lld are on one machine at the same time", (long long)c->p->runs[i].number,
                       (long long)c->p->runs[j].number)
               : NULL;
}

static const char *wrong_watches(const checking *c, size_t j)
{
    const po_plan_row *w = &c->plan->rows[j];
    for (int64_t at = w->start_ms; w->placed && !c->p->runs[j].stays && at < watch_until(c, j); at += c->step_ms) {
        int n = 0;
        for (size_t k = 0; k < c->plan->n_rows; k++) {
            const po_plan_row *v = &c->plan->rows[k];
            int64_t from = v->start_ms - (v->start_ms - c->origin_ms) % c->step_ms;
            n += v->placed && from <= at && at < watch_until(c, k);
        }
        for (size_t m = 0; m < c->p->n_machines; m++) {
            n += c->p->machines[m].watch_ms != INT64_MIN && at < up(c, c->p->machines[m].watch_ms);
        }
        if (n > c->p->watches_most) {
            return WRONG(c, "there are more watches at the start of run %lld than people can stand",
                         (long long)c->p->runs[j].number);
        }
    }
    return NULL;
}

static bool waits_for(const checking *c, size_t k, size_t machine, int64_t at)
{
    const po_plan_run *r = &c->p->runs[k];
    const po_plan_row *w = &c->plan->rows[k];
    for (size_t o = 0; o < r->n_options; o++) {
        int64_t start;
        po_job_when when;
        if (r->options[o].machine == machine && !r->stays && up(c, r->ready_ms) <= at &&
            !(w->placed && w->start_ms <= at) &&
            po_calendar_earliest(c->p->calendar, &r->options[o].need, NULL, 0, c->origin_ms, &start) != PO_GOOD_NEVER) {
            po_calendar_job(c->p->calendar, &r->options[o].need, start, &when);
            return when.off.high_ms <= c->p->until_ms;
        }
    }
    return false;
}

static bool others_wait(const checking *c, size_t j)
{
    bool others = false;
    for (size_t k = 0; k < c->plan->n_rows && !others; k++) {
        others = c->p->runs[k].member != c->p->runs[j].member &&
                 waits_for(c, k, c->plan->rows[j].machine, c->plan->rows[j].start_ms);
    }
    return others;
}

/* Takes a machine while its member has another, and somebody else waits who could have it. Of runs that start at the same moment one may be
 * the first. */
static bool unfair(const checking *c, size_t j)
{
    const po_plan_run *r = &c->p->runs[j];
    const po_plan_row *w = &c->plan->rows[j];
    if (!w->placed || r->stays || r->may_hold_several || r->member < 0 || !others_wait(c, j)) {
        return false;
    }
    for (size_t k = 0; k < c->plan->n_rows; k++) {
        const po_plan_run *q = &c->p->runs[k];
        bool before = c->plan->rows[k].start_ms < w->start_ms || q->stays || (k < j && others_wait(c, k));
        if (k != j && q->member == r->member && holds_machine(c, k, w->start_ms) && before) {
            return true;
        }
    }
    for (size_t m = 0; m < c->p->n_machines; m++) {
        if (m != w->machine && c->p->machines[m].holder == r->member && c->p->machines[m].free_ms > w->start_ms) {
            return true;
        }
    }
    return false;
}

bool po_plan_holds(const po_plan_problem *p, const po_plan *plan, po_arena *arena, const char **ret_why)
{
    checking c = {.p = p, .plan = plan, .arena = arena, .step_ms = p->step_minutes * INT64_C(60000)};
    c.origin_ms = (p->from_ms + c.step_ms - 1) / c.step_ms * c.step_ms;
    const char *why = plan->bound > plan->cost ? "the plan costs less than its bound" : NULL;
    for (size_t j = 0; j < plan->n_rows && !why; j++) {
        why = wrong_by_itself(&c, j);
        why = why ? why : wrong_change(&c, j);
        why = why ? why : wrong_watches(&c, j);
        why = why             ? why
              : unfair(&c, j) ? WRONG(&c, "run %lld takes a second machine of its member while others wait",
                                      (long long)p->runs[j].number)
                              : NULL;
        for (size_t i = 0; i < j && !why; i++) {
            why = wrong_pair(&c, i, j);
        }
    }
    int64_t parts = plan->late + plan->wait + plan->full + plan->change + plan->moved + plan->unplaced;
    if (!why && parts != plan->cost) {
        why = "the parts of the cost do not add up";
    }
    *ret_why = why;
    return !why;
}
