/* Runs put one after another, each at the first slot at which its machine and a watch are free. SPDX-License-Identifier: Apache-2.0
 *
 * Serial schedule generation (Kolisch, "Serial and parallel resource-constrained project scheduling methods revisited", European Journal of
 * Operational Research 90, 1996), with tables of good starts instead of free time. */
#include <stdlib.h>
#include <string.h>

#include "plan/schedule_inside.h"

bool po_slot_putting_make(const slots *s, po_arena *arena, putting *p)
{
    size_t n = (size_t)s->n_runs + 1, m = (size_t)s->n_machines;
    *p = (putting){.s = s,
                   .ready = po_arena_zeros(arena, m, sizeof(int)),
                   .fitting = po_arena_zeros(arena, m, sizeof(int)),
                   .next_stay = po_arena_zeros(arena, m, sizeof(int)),
                   .watched = po_arena_zeros(arena, (size_t)s->n + 1, 1),
                   .start = po_arena_zeros(arena, n, sizeof(int)),
                   .option = po_arena_zeros(arena, n, sizeof(int)),
                   .off = po_arena_zeros(arena, n, sizeof(int)),
                   .changed = po_arena_zeros(arena, n, 1),
                   .of_member = po_arena_zeros(arena, PO_PLAN_RUNS_MOST, sizeof(int)),
                   .next_of_member = po_arena_zeros(arena, n, sizeof(int))};
    bool ok = p->ready && p->fitting && p->next_stay && p->watched && p->start && p->option && p->off && p->changed &&
              p->of_member && p->next_of_member;
    if (ok) {
        po_slot_putting_clear(p);
    }
    return ok;
}

static void link_member(putting *p, int j)
{
    int member = p->s->runs[j].member;
    if (member >= 0) {
        p->next_of_member[j] = p->of_member[member];
        p->of_member[member] = j;
    }
}

void po_slot_putting_clear(putting *p)
{
    const slots *s = p->s;
    for (int m = 0; m < s->n_machines; m++) {
        p->ready[m] = s->machines[m].ready;
        p->fitting[m] = s->machines[m].fitting;
        p->next_stay[m] = 0;
    }
    memcpy(p->watched, s->watched, (size_t)s->n + 1);
    for (int i = 0; i < PO_PLAN_RUNS_MOST; i++) {
        p->of_member[i] = NOBODY;
    }
    for (int j = 0; j < s->n_runs; j++) {
        p->option[j] = NOBODY;
        p->changed[j] = 0;
        if (s->runs[j].stays >= 0) { /* where it is, whether its turn has come or not */
            p->start[j] = s->runs[j].stays_at;
            p->off[j] = s->runs[j].stays_off;
            link_member(p, j);
        }
    }
    p->n_put = 0;
    p->cost = s->base;
}

/* A run of somebody else that could have this machine is still waiting at a slot. */
static bool others_wait(const putting *p, int member, int machine, int at)
{
    const slots *s = p->s;
    for (int k = 0; k < s->n_runs; k++) {
        const slot_run *r = &s->runs[k];
        if (r->member == member || r->stays >= 0 || r->ready > at || (p->option[k] >= 0 && p->start[k] <= at)) {
            continue;
        }
        for (int o = r->first_option; o < r->first_option + r->n_options; o++) {
            if (s->options[o].machine == machine && s->tables[s->options[o].table].n_goods > 0) {
                return true;
            }
        }
    }
    return false;
}

/* From when on it may be tried again, because its member has another machine then and others wait; `at`: it may start. */
static int unfair_until(const putting *p, int j, int machine, int at, int off)
{
    const slots *s = p->s;
    int member = s->runs[j].member;
    for (int m = 0; m < s->n_machines; m++) {
        if (m != machine && s->machines[m].holder == member && s->machines[m].ready > at &&
            others_wait(p, member, machine, at)) {
            return s->machines[m].ready;
        }
    }
    for (int i = p->of_member[member]; i != NOBODY; i = p->next_of_member[i]) {
        if (p->start[i] <= at && at < p->off[i]) {
            if (others_wait(p, member, machine, at)) {
                return p->off[i];
            }
        } else if (at < p->start[i] && p->start[i] < off && s->runs[i].stays < 0 && !s->runs[i].several &&
                   others_wait(p, member, s->options[p->option[i]].machine, p->start[i])) {
            return p->off[i];
        }
    }
    return at;
}

int po_slot_first(const putting *p, int j, int option, int from, bool passes, int *ret_passed, int *ret_kind)
{
    const slots *s = p->s;
    const slot_run *r = &s->runs[j];
    const slot_option *o = &s->options[option];
    const slot_table *t = &s->tables[o->table];
    const slot_machine *m = &s->machines[o->machine];
    int ready = p->ready[o->machine], fitting = p->fitting[o->machine], next = p->next_stay[o->machine];
    int passed = 0, kind = change_kind(s, fitting, o->fitting);
    int at = s->changed[kind][ready];
    from = from > r->ready ? from : r->ready;
    if (at == SLOT_NONE) {
        return SLOT_NONE;
    }
    at = at > from ? at : from;
    for (;;) {
        at = at <= s->n ? t->start[at] : SLOT_NONE;
        if (at == SLOT_NONE) {
            return SLOT_NONE;
        }
        int off = t->off[at], retry = at;
        for (int c = 0; c < m->n_closed && m->closed[c].from < off; c++) {
            if (m->closed[c].until > at) {
                int done = s->changed[kind][m->closed[c].until];
                retry = done;
                break;
            }
        }
        if (retry == SLOT_NONE) {
            return SLOT_NONE;
        }
        if (retry == at && next < m->n_stays) {
            int i = m->stays[next], back = s->runs[i].stays_at;
            int then = change_kind(s, o->fitting >= 0 ? o->fitting : fitting, s->options[s->runs[i].stays].fitting);
            if (off > back || s->changed[then][off] > back) {
                if (!passes) {
                    return SLOT_NONE;
                }
                passed++;
                next++;
                fitting = s->options[s->runs[i].stays].fitting >= 0 ? s->options[s->runs[i].stays].fitting : fitting;
                kind = change_kind(s, fitting, o->fitting);
                ready = ready > s->runs[i].stays_off ? ready : s->runs[i].stays_off;
                int done = s->changed[kind][ready];
                if (done == SLOT_NONE) {
                    return SLOT_NONE;
                }
                at = done > from ? done : from;
                continue;
            }
        }
        if (retry == at) {
            for (int k = at + t->watch < s->n ? at + t->watch : s->n; k-- > at;) {
                if (p->watched[k] >= s->watches_most) {
                    retry = k + 1;
                    break;
                }
            }
        }
        if (retry == at && r->asks) {
            retry = unfair_until(p, j, o->machine, at, off);
        }
        if (retry == at) {
            *ret_passed = passed;
            *ret_kind = kind;
            return at;
        }
        at = retry > at ? retry : at + 1;
    }
}

/* What stays on a machine comes next there. */
static void pass(putting *p, int machine)
{
    const slots *s = p->s;
    int i = s->machines[machine].stays[p->next_stay[machine]++], to = s->options[s->runs[i].stays].fitting;
    p->changed[i] = change_kind(s, p->fitting[machine], to) != CHANGE_NONE;
    p->cost += p->changed[i] ? s->change : 0;
    p->fitting[machine] = to >= 0 ? to : p->fitting[machine];
    p->ready[machine] = p->ready[machine] > p->off[i] ? p->ready[machine] : p->off[i];
    p->option[i] = s->runs[i].stays;
}

static void watch(putting *p, int table, int at, int by)
{
    int until = at + p->s->tables[table].watch;
    for (int k = at; k < until && k < p->s->n; k++) {
        p->watched[k] = (uint8_t)(p->watched[k] + by);
    }
}

void po_slot_put(putting *p, int j, int option, int start, int passed, int kind, put_undo *undo)
{
    const slots *s = p->s;
    const slot_option *o = &s->options[option];
    *undo = (put_undo){j, o->machine, p->ready[o->machine], p->fitting[o->machine], p->next_stay[o->machine], p->cost};
    for (int i = 0; i < passed; i++) {
        pass(p, o->machine);
    }
    p->start[j] = start;
    p->option[j] = option;
    p->off[j] = s->tables[o->table].off[start];
    p->changed[j] = kind != CHANGE_NONE;
    p->ready[o->machine] = p->off[j];
    p->fitting[o->machine] = o->fitting >= 0 ? o->fitting : p->fitting[o->machine];
    p->cost += start_cost(s, &s->runs[j], &s->tables[o->table], start) + (p->changed[j] ? s->change : 0);
    watch(p, o->table, start, 1);
    link_member(p, j);
    p->n_put++;
}

void po_slot_put_nowhere(putting *p, int j, put_undo *undo)
{
    *undo = (put_undo){j, NOBODY, 0, 0, 0, p->cost};
    p->option[j] = WITHOUT_PLACE;
    p->start[j] = p->off[j] = p->s->n;
    p->cost += unplaced_cost(p->s, &p->s->runs[j]);
    p->n_put++;
}

void po_slot_unput(putting *p, const put_undo *u)
{
    const slots *s = p->s;
    int option = p->option[u->run], member = s->runs[u->run].member;
    p->option[u->run] = NOBODY;
    p->cost = u->cost;
    p->n_put--;
    if (option < 0) {
        return;
    }
    watch(p, s->options[option].table, p->start[u->run], -1);
    while (p->next_stay[u->machine] > u->next_stay) {
        p->option[s->machines[u->machine].stays[--p->next_stay[u->machine]]] = NOBODY;
    }
    p->ready[u->machine] = u->ready;
    p->fitting[u->machine] = u->fitting;
    if (member >= 0) { /* mostly the last that was put, which stands first */
        int *at = &p->of_member[member];
        while (*at != u->run) {
            at = &p->next_of_member[*at];
        }
        *at = p->next_of_member[u->run];
    }
}

void po_slot_put_rest(putting *p)
{
    for (int m = 0; m < p->s->n_machines; m++) {
        while (p->next_stay[m] < p->s->machines[m].n_stays) {
            pass(p, m);
        }
    }
}

/* The option that costs least: itself, and what the machine is taken for at the price of waiting. */
static int cheapest(const putting *p, int j, int from, int *ret_at, int *ret_passed, int *ret_kind)
{
    const slots *s = p->s;
    const slot_run *r = &s->runs[j];
    int best = NOBODY;
    int64_t least = INT64_MAX;
    for (int o = r->first_option; o < r->first_option + r->n_options; o++) {
        const slot_option *x = &s->options[o];
        int passed, kind, soonest = p->ready[x->machine] > from ? p->ready[x->machine] : from;
        if (best >= 0 && *ret_kind == CHANGE_NONE && x->table == s->options[best].table && soonest >= *ret_at) {
            continue; /* it can't be better on a machine that is like it and free later */
        }
        int at = po_slot_first(p, j, o, from, true, &passed, &kind);
        if (at == SLOT_NONE) {
            continue;
        }
        const slot_table *t = &s->tables[x->table];
        int64_t cost = start_cost(s, r, t, at) + (kind != CHANGE_NONE ? s->change : 0) + r->wait * (t->off[at] - at);
        if (cost < least) {
            least = cost;
            best = o;
            *ret_at = at;
            *ret_passed = passed;
            *ret_kind = kind;
        }
    }
    return best;
}

static void put_next(putting *p, int j, int wished, int from, put_undo *undo)
{
    int at = SLOT_NONE, passed = 0, kind = 0, o = wished;
    if (wished >= 0) {
        at = po_slot_first(p, j, wished, from, true, &passed, &kind);
    } else {
        o = cheapest(p, j, from, &at, &passed, &kind);
    }
    if (o < 0 || at == SLOT_NONE) {
        po_slot_put_nowhere(p, j, undo);
    } else {
        po_slot_put(p, j, o, at, passed, kind, undo);
    }
}

void po_slot_put_one(putting *p, int j, int wished, put_undo *undo)
{
    put_next(p, j, wished, 0, undo);
}

bool po_slot_put_list(putting *p, const int *order, int n, const int *wished, const int *earliest, int64_t limit)
{
    put_undo undo;
    for (int i = 0; i < n; i++) {
        int j = order[i];
        if (p->s->runs[j].stays >= 0) {
            continue;
        }
        put_next(p, j, wished ? wished[j] : NOBODY, earliest ? earliest[j] : 0, &undo);
        if (p->cost > limit) {
            return false;
        }
    }
    po_slot_put_rest(p);
    return p->cost <= limit;
}

void po_slot_put_again(putting *p, int *order)
{
    const slots *s = p->s;
    for (int64_t before = INT64_MAX; p->cost < before;) {
        int n = 0;
        before = p->cost;
        for (int j = 0; j < s->n_runs; j++) {
            int k = n;
            if (s->runs[j].stays >= 0) {
                continue;
            }
            for (; k > 0 && p->start[order[k - 1]] > p->start[j]; k--) {
                order[k] = order[k - 1];
            }
            order[k] = j;
            n++;
        }
        int wished[PO_PLAN_RUNS_MOST];
        for (int i = 0; i < n; i++) {
            wished[order[i]] = p->option[order[i]];
        }
        for (int i = 0; i < n; i++) {
            wished[order[i]] = wished[order[i]] < 0 ? NOBODY : wished[order[i]];
        }
        po_slot_putting_clear(p);
        po_slot_put_list(p, order, n, wished, NULL, INT64_MAX);
    }
}
