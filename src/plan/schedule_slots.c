/* The schedule's problem cut into slots. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan/schedule_inside.h"

static const int64_t far_slot = INT64_C(1) << 40;
static const double quantile_95 = 1.6448536269514722; /* ranges hold nine runs of ten */

/* The pace (real / modelled) that so large a share of runs stays below: log-normal between low and high. The normal quantile by
 * Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.23 (|error| < 4.5e-4). */
static double pace_of(const po_need *n, double share)
{
    double p = fmax(1 - share, 1e-6), t = sqrt(-2 * log(p));
    double z = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
    double scatter = n->low > 0 && n->high > n->low ? log(n->high / n->low) / (2 * quantile_95) : 0;
    return n->middle * exp(z * scatter);
}

static int64_t slot_floor(const slots *s, int64_t ms)
{
    int64_t d = ms - s->origin_ms;
    return d >= 0 ? d / s->step_ms : -((-d + s->step_ms - 1) / s->step_ms);
}

static int64_t slot_ceil(const slots *s, int64_t ms)
{
    return slot_floor(s, ms + s->step_ms - 1);
}

static int within(const slots *s, int64_t slot)
{
    return slot < 0 ? 0 : slot > s->n ? s->n : (int)slot;
}

static bool fill_table(slots *s, slot_table *t, po_arena *arena)
{
    const po_calendar *c = s->problem->calendar;
    size_t n = (size_t)s->n + 1;
    double pace = pace_of(t->need, s->problem->slack_share);
    po_need slow = *t->need;
    slow.low = slow.middle = slow.high = pace;
    t->start = po_arena_zeros(arena, n, sizeof *t->start);
    t->off = po_arena_zeros(arena, n, sizeof *t->off);
    t->full = po_arena_zeros(arena, n, sizeof *t->full);
    t->goods = po_arena_zeros(arena, n, sizeof *t->goods);
    if (!t->start || !t->off || !t->full || !t->goods) {
        return false;
    }
    double watch_s = fmin(t->need->first_bead_s + t->need->watch_s, t->need->seconds);
    int64_t watch = (llround(fmax(watch_s, 0) * 1000) + s->step_ms - 1) / s->step_ms;
    t->watch = watch < 1 ? 1 : watch > s->n ? s->n : (int)watch;
    int off_most = 0;
    int64_t full_most = 0;
    for (int at = 0; at < s->n;) {
        int64_t ms = 0, at_ms = s->origin_ms + at * s->step_ms;
        po_good good = po_calendar_earliest(c, t->need, NULL, 0, at_ms, &ms);
        int64_t next = good == PO_GOOD_NEVER ? s->n : slot_ceil(s, ms);
        if (next > at) {
            at = next < s->n ? (int)next : s->n;
            continue;
        }
        po_job_when w;
        po_calendar_job(c, &slow, at_ms, &w);
        int64_t off = slot_ceil(s, w.off.middle_ms), end = slot_floor(s, w.end.middle_ms);
        if (!w.off_known || off > s->n) {
            break; /* not off in the stretch; nor is any later start */
        }
        off_most = off > off_most ? (int)off : off_most;
        off_most = off_most > at ? off_most : at + 1;
        /* where a later start would stand full for less than it comes later, it is counted as if it did not */
        int64_t full = off_most - end;
        full = full > 0 ? full : 0;
        full_most = at + full > full_most ? at + full : full_most;
        t->off[at] = (uint16_t)off_most;
        t->full[at] = (uint16_t)(full_most - at);
        t->goods[t->n_goods++] = (uint16_t)at;
        at++;
    }
    for (size_t k = t->n_goods, at = n; at-- > 0;) {
        while (k > 0 && t->goods[k - 1] >= at) {
            k--;
        }
        t->start[at] = k < t->n_goods ? t->goods[k] : SLOT_NONE;
    }
    return true;
}

static bool same_need(const po_need *a, const po_need *b)
{
    if (a->first_bead_s != b->first_bead_s || a->watch_s != b->watch_s || a->seconds != b->seconds ||
        a->low != b->low || a->middle != b->middle || a->high != b->high || a->n_hands != b->n_hands ||
        a->must_end_staffed != b->must_end_staffed || a->limits_alone != b->limits_alone ||
        (a->limits_alone && a->alone_most_s != b->alone_most_s) || !(a->cool_s == b->cool_s)) {
        return false;
    }
    for (size_t i = 0; i < a->n_hands; i++) {
        if (a->hands_s[i] != b->hands_s[i]) {
            return false;
        }
    }
    return true;
}

static po_status put_tables(slots *s, po_arena *arena, po_err *err)
{
    const po_plan_problem *p = s->problem;
    int n = 0;
    for (size_t j = 0; j < p->n_runs; j++) {
        n += (int)p->runs[j].n_options;
    }
    s->options = po_arena_zeros(arena, (size_t)n + 1, sizeof *s->options);
    s->tables = po_arena_zeros(arena, (size_t)n + 1, sizeof *s->tables);
    if (!s->options || !s->tables) {
        return po_fail(err, PO_E_NOMEM, "no memory for a schedule");
    }
    for (size_t j = 0; j < p->n_runs; j++) {
        const po_plan_run *r = &p->runs[j];
        int mine =
            s->n_tables; /* needs are alike within a run, hardly between runs; copies of a job lie side by side */
        mine = mine > 64 ? mine - 64 : 0;
        for (size_t o = 0; o < r->n_options; o++) {
            const po_plan_option *x = &r->options[o];
            int t = mine;
            while (t < s->n_tables && !same_need(s->tables[t].need, &x->need)) {
                t++;
            }
            if (t == s->n_tables) {
                s->tables[s->n_tables++].need = &x->need;
                if ((int64_t)s->n_tables * (s->n + 1) * 8 > TABLE_BYTES_MOST) {
                    return po_fail(err, PO_E_LIMIT,
                                   "the plan is too large: fewer runs, a shorter stretch, or longer steps");
                }
                if (!fill_table(s, &s->tables[t], arena)) {
                    return po_fail(err, PO_E_NOMEM, "no memory for a schedule");
                }
            }
            s->options[s->n_options++] = (slot_option){(int)x->machine, x->fitting, t};
        }
    }
    return PO_OK;
}

static int by_from(const void *a, const void *b)
{
    const slot_closed *x = a, *y = b;
    return (x->from > y->from) - (x->from < y->from);
}

static bool put_closed(slots *s, const po_plan_machine *m, slot_machine *ret, po_arena *arena)
{
    slot_closed *list = po_arena_zeros(arena, m->n_closed + 1, sizeof *list);
    int n = 0, k = 0;
    if (!list) {
        return false;
    }
    for (size_t i = 0; i < m->n_closed; i++) {
        int from = within(s, slot_floor(s, m->closed[i].from_ms)),
            until = m->closed[i].until_ms == INT64_MAX ? s->n : within(s, slot_ceil(s, m->closed[i].until_ms));
        if (from < until) {
            list[n++] = (slot_closed){from, until};
        }
    }
    qsort(list, (size_t)n, sizeof *list, by_from);
    for (int i = 0; i < n; i++) {
        if (k > 0 && list[i].from <= list[k - 1].until) {
            list[k - 1].until = list[i].until > list[k - 1].until ? list[i].until : list[k - 1].until;
        } else {
            list[k++] = list[i];
        }
    }
    ret->closed = list;
    ret->n_closed = k;
    return true;
}

/* When a change of so many minutes is done that may begin at a slot: somebody is there for all of it. */
static uint16_t *put_changed(const slots *s, int minutes, po_arena *arena)
{
    uint16_t *done = po_arena_zeros(arena, (size_t)s->n + 1, sizeof *done);
    for (int at = 0; done && at <= s->n; at++) {
        int64_t ms = s->origin_ms + at * s->step_ms;
        po_ms_span span;
        done[at] = SLOT_NONE;
        if (minutes == 0) {
            done[at] = (uint16_t)at;
            continue;
        }
        while (po_calendar_next(s->problem->calendar, ms, &span)) {
            int64_t from = span.from_ms > ms ? span.from_ms : ms, until = from + minutes * INT64_C(60000);
            if (until <= span.until_ms) {
                int64_t slot = slot_ceil(s, until);
                done[at] = slot <= s->n ? (uint16_t)slot : SLOT_NONE;
                break;
            }
            ms = span.until_ms;
        }
    }
    return done;
}

static bool put_changes(slots *s, po_arena *arena)
{
    const po_plan_problem *p = s->problem;
    s->n_fittings = (int)p->n_fittings;
    s->change_kinds = po_arena_zeros(arena, p->n_fittings * p->n_fittings + 1, 1);
    s->changed[CHANGE_NONE] = put_changed(s, 0, arena);
    s->changed[CHANGE_SPOOL] = put_changed(s, p->spool_minutes, arena);
    s->changed[CHANGE_NOZZLE] = put_changed(s, p->nozzle_minutes, arena);
    if (!s->change_kinds || !s->changed[0] || !s->changed[1] || !s->changed[2]) {
        return false;
    }
    for (size_t i = 0; i < p->n_fittings; i++) {
        for (size_t k = 0; k < p->n_fittings; k++) {
            const po_plan_fitting *a = &p->fittings[i], *b = &p->fittings[k];
            bool nozzle = a->nozzles && b->nozzles && a->nozzles != b->nozzles;
            bool spool = a->spools && b->spools && a->spools != b->spools;
            s->change_kinds[i * p->n_fittings + k] = nozzle ? CHANGE_NOZZLE : spool ? CHANGE_SPOOL : CHANGE_NONE;
        }
    }
    return true;
}

static int64_t weight_of(double points_h, double weight, int64_t step_ms)
{
    return llround(points_h * weight * 1000 * (double)step_ms / 3600000);
}

static void put_run(slots *s, const po_plan_run *r, int first, slot_run *ret)
{
    const po_plan_weights *w = &s->problem->weights;
    *ret = (slot_run){.first_option = first,
                      .n_options = (int)r->n_options,
                      .member = r->member,
                      .several = r->may_hold_several || r->member < 0,
                      .ready = within(s, slot_ceil(s, r->ready_ms)),
                      .due = r->due_ms == INT64_MAX ? far_slot : slot_floor(s, r->due_ms),
                      .promised = r->promised_ms == INT64_MAX ? far_slot : slot_ceil(s, r->promised_ms),
                      .wait = weight_of(w->wait_h, r->weight, s->step_ms),
                      .late = weight_of(w->late_h, r->weight, s->step_ms),
                      .moved = weight_of(w->moved_h, r->weight, s->step_ms),
                      .stays = NOBODY};
    ret->wait = ret->wait > s->full ? ret->wait : s->full; /* rounding must not turn them round */
}

/* A run that stays is where it was promised whatever the calendar says: somebody has agreed to it. */
static po_status put_stays(slots *s, int j, po_err *err)
{
    const po_plan_run *r = &s->problem->runs[j];
    slot_run *q = &s->runs[j];
    for (size_t o = 0; o < r->n_options; o++) {
        if ((int)r->options[o].machine == r->promised_machine) {
            q->stays = q->first_option + (int)o;
        }
    }
    int64_t at = slot_floor(s, r->promised_ms);
    if (q->stays < 0 || r->promised_ms == INT64_MAX || at < 0 || at >= s->n) {
        return po_fail(err, PO_E_RANGE,
                       "run %lld is to stay where it was promised, but that is not on a machine that may run it, or "
                       "beyond the plan",
                       (long long)r->number);
    }
    const slot_table *t = &s->tables[s->options[q->stays].table];
    po_need slow = *t->need;
    slow.low = slow.middle = slow.high = pace_of(t->need, s->problem->slack_share);
    po_job_when w;
    po_calendar_job(s->problem->calendar, &slow, r->promised_ms, &w);
    int64_t off = slot_ceil(s, w.off.middle_ms);
    q->stays_at = (int)at;
    q->stays_off = within(s, off > at ? off : at + 1);
    int64_t full = q->stays_off - slot_floor(s, w.end.middle_ms), late = q->stays_off - q->due;
    s->base += q->wait * (at - q->ready) + s->full * (full > 0 ? full : 0) + (late > 0 ? q->late * late : 0);
    for (int k = q->stays_at; k < s->n && k < q->stays_at + t->watch; k++) {
        s->watched[k] = (uint8_t)(s->watched[k] < 255 ? s->watched[k] + 1 : 255);
    }
    return PO_OK;
}

static po_status put_machines(slots *s, po_arena *arena, po_err *err)
{
    const po_plan_problem *p = s->problem;
    s->machines = po_arena_zeros(arena, p->n_machines, sizeof *s->machines);
    for (size_t m = 0; s->machines && m < p->n_machines; m++) {
        const po_plan_machine *x = &p->machines[m];
        slot_machine *q = &s->machines[m];
        int *stays = po_arena_zeros(arena, p->n_runs + 1, sizeof *stays);
        q->ready = x->free_ms == INT64_MIN ? 0 : x->free_ms == INT64_MAX ? s->n : within(s, slot_ceil(s, x->free_ms));
        q->fitting = x->fitting;
        q->holder = q->ready > 0 ? x->holder : NOBODY;
        if (!stays || !put_closed(s, x, q, arena)) {
            return po_fail(err, PO_E_NOMEM, "no memory for a schedule");
        }
        for (int j = 0; j < s->n_runs; j++) { /* by insertion: they are few */
            if (s->runs[j].stays >= 0 && s->options[s->runs[j].stays].machine == (int)m) {
                int k = q->n_stays++;
                for (; k > 0 && s->runs[stays[k - 1]].stays_at > s->runs[j].stays_at; k--) {
                    stays[k] = stays[k - 1];
                }
                stays[k] = j;
            }
        }
        q->stays = stays;
        for (int k = 0; x->watch_ms != INT64_MIN && k < within(s, slot_ceil(s, x->watch_ms)); k++) {
            s->watched[k] = (uint8_t)(s->watched[k] < 255 ? s->watched[k] + 1 : 255);
        }
    }
    return s->machines ? PO_OK : po_fail(err, PO_E_NOMEM, "no memory for a schedule");
}

static const slot_option *option_on(const slots *s, int j, int machine)
{
    const slot_run *r = &s->runs[j];
    for (int o = r->first_option; o < r->first_option + r->n_options; o++) {
        if (s->options[o].machine == machine) {
            return &s->options[o];
        }
    }
    return NULL;
}

/* Machines on which every run is alike stand together in the bound. */
static void put_groups(slots *s)
{
    for (int m = 0; m < s->n_machines; m++) {
        s->machines[m].group = -1;
        for (int k = 0; k < m && s->machines[m].group < 0; k++) {
            bool same = true;
            for (int j = 0; j < s->n_runs && same; j++) {
                const slot_option *a = option_on(s, j, m), *b = option_on(s, j, k);
                same = !a == !b && (!a || (a->table == b->table && a->fitting == b->fitting));
            }
            s->machines[m].group = same ? s->machines[k].group : -1;
        }
        if (s->machines[m].group < 0) {
            s->machines[m].group = s->n_groups++;
        }
    }
}

static po_status sound(const po_plan_problem *p, po_err *err)
{
    const po_plan_weights *w = &p->weights;
    const double all[] = {w->late_h, w->wait_h, w->full_h, w->change, w->moved_h};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        if (!(all[i] >= 0 && all[i] <= 1000)) {
            return po_fail(err, PO_E_RANGE, "a weight of the plan is not between 0 and 1000");
        }
    }
    if (w->full_h > w->wait_h) {
        return po_fail(err, PO_E_RANGE,
                       "an hour of standing full weighs more than an hour of waiting: the cheapest plan would leave "
                       "machines empty by day");
    }
    if (p->n_runs > PO_PLAN_RUNS_MOST || p->n_machines > PO_PLAN_MACHINES_MOST ||
        p->n_fittings > PO_PLAN_FITTINGS_MOST) {
        return po_fail(err, PO_E_LIMIT, "a plan takes up to %d runs on %d machines, with %d fittings",
                       PO_PLAN_RUNS_MOST, PO_PLAN_MACHINES_MOST, PO_PLAN_FITTINGS_MOST);
    }
    if (p->n_machines == 0 || p->step_minutes < 1 || p->step_minutes > 60 || p->watches_most < 1 ||
        p->watches_most > 255 || p->spool_minutes < 0 || p->spool_minutes > 1440 || p->nozzle_minutes < 0 ||
        p->nozzle_minutes > 1440 || !(p->slack_share >= 0.5 && p->slack_share <= 0.99)) {
        return po_fail(err, PO_E_RANGE,
                       "steps, watches, minutes of a change or the slack of the plan are out of range");
    }
    if (p->until_ms <= p->from_ms || (p->until_ms - p->from_ms) / (p->step_minutes * INT64_C(60000)) >= SLOTS_MOST) {
        return po_fail(err, PO_E_LIMIT, "a plan has at most %d steps: a shorter stretch, or longer steps", SLOTS_MOST);
    }
    for (size_t j = 0; j < p->n_runs; j++) {
        const po_plan_run *r = &p->runs[j];
        if (!(r->weight >= 1 && r->weight <= 100) || r->member < NOBODY || r->member >= PO_PLAN_RUNS_MOST) {
            return po_fail(err, PO_E_RANGE, "run %lld: its weight is not from 1 to 100, or its member has no number",
                           (long long)r->number);
        }
        if (r->n_options == 0) {
            return po_fail(err, PO_E_RANGE, "run %lld: no machine may run it", (long long)r->number);
        }
        for (size_t o = 0; o < r->n_options; o++) {
            const po_plan_option *x = &r->options[o];
            if (x->machine >= p->n_machines || x->fitting >= (int)p->n_fittings || x->fitting < NOBODY ||
                !(x->need.seconds >= 0) || !(x->need.middle > 0)) {
                return po_fail(err, PO_E_RANGE, "run %lld: a machine, a fitting or a length that is none",
                               (long long)r->number);
            }
        }
    }
    return PO_OK;
}

po_status po_slots_make(const po_plan_problem *p, po_arena *arena, slots *s, po_err *err)
{
    po_status status = sound(p, err);
    if (status != PO_OK) {
        return status;
    }
    int64_t step = p->step_minutes * INT64_C(60000);
    *s = (slots){.problem = p, .step_ms = step, .n_runs = (int)p->n_runs, .n_machines = (int)p->n_machines};
    s->origin_ms = (p->from_ms + step - 1) / step * step;
    s->n = (int)((p->until_ms - s->origin_ms) / step);
    if (s->n < 1) {
        return po_fail(err, PO_E_RANGE, "the plan's stretch is shorter than a step");
    }
    s->full = weight_of(p->weights.full_h, 1, step);
    s->change = llround(p->weights.change * 1000);
    s->unplaced = 1000000;
    s->watches_most = p->watches_most;
    s->watched = po_arena_zeros(arena, (size_t)s->n + 1, 1);
    s->runs = po_arena_zeros(arena, p->n_runs + 1, sizeof *s->runs);
    if (!s->watched || !s->runs || !put_changes(s, arena)) {
        return po_fail(err, PO_E_NOMEM, "no memory for a schedule");
    }
    status = put_tables(s, arena, err);
    int first = 0, held[PO_PLAN_RUNS_MOST] = {0};
    for (int j = 0; status == PO_OK && j < s->n_runs; j++) {
        put_run(s, &p->runs[j], first, &s->runs[j]);
        first += s->runs[j].n_options;
        held[p->runs[j].member < 0 ? 0 : p->runs[j].member] += p->runs[j].member >= 0;
        status = p->runs[j].stays ? put_stays(s, j, err) : status;
    }
    status = status == PO_OK ? put_machines(s, arena, err) : status;
    for (int m = 0; status == PO_OK && m < s->n_machines; m++) {
        int h = s->machines[m].holder;
        held[h < 0 || h >= PO_PLAN_RUNS_MOST ? 0 : h] += h >= 0 && h < PO_PLAN_RUNS_MOST;
    }
    for (int j = 0; status == PO_OK && j < s->n_runs; j++) {
        slot_run *r = &s->runs[j];
        r->asks = !r->several && held[r->member] > 1;
    }
    if (status == PO_OK) {
        put_groups(s);
    }
    return status;
}
