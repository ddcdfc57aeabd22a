/* How cheap a plan can be at best. SPDX-License-Identifier: Apache-2.0
 *
 * Lagrangian relaxation of the time-indexed model: machines alike are one resource with so many places a slot, watches are another;
 * their limits are given up for a price on each slot, and then every run picks its cheapest start for itself. What all pay together, less the
 * worth of all places, is below every plan, whatever the prices (Fisher, "The Lagrangian relaxation method for solving integer
 * programming problems", Management Science 27, 1981). Prices are found by subgradients with Polyak's step, halved where nothing comes of it;
 * at the end they are rounded to whole numbers and the bound is reckoned anew in whole numbers, so that no rounding can raise it.
 * Changes between runs (schedule_bound_lines.c) and the rule for members are left out of it: that can only lower it. */
#include <math.h>
#include <string.h>

#include "plan/schedule_inside.h"

enum { OFFER_EACH = 4 };
#define REMEMBER 0.97 /* of the way so far; with 0.7 a bound for 200 runs stays 1 % below what prices can do */

typedef struct relaxation {
    const slots *s;
    double *price;    /* [(n_groups + 1) * (n + 1)]: of slots; watches last */
    double *sum;      /* sums of it */
    int *use, *cap;   /* alike */
    double *best;     /* prices of the best bound */
    double *way;      /* where prices go */
    uint8_t *same;    /* nothing changes from the slot before: nobody is there in either, and as many places */
    int *group_ready; /* of groups: when the first machine is free */
} relaxation;

static int *caps_of(const slots *s, relaxation *x, po_arena *arena)
{
    size_t row = (size_t)s->n + 1;
    int *cap = po_arena_zeros(arena, row * (size_t)(s->n_groups + 1), sizeof *cap);
    for (int m = 0; cap && m < s->n_machines; m++) {
        const slot_machine *q = &s->machines[m];
        int *c = cap + row * (size_t)q->group, k = 0;
        if (q->ready < x->group_ready[q->group]) {
            x->group_ready[q->group] = q->ready;
        }
        for (int t = q->ready; t < s->n; t++) {
            bool taken = false;
            while (k < q->n_closed && q->closed[k].until <= t) {
                k++;
            }
            for (int i = 0; i < q->n_stays && !taken; i++) {
                const slot_run *r = &s->runs[q->stays[i]];
                taken = r->stays_at <= t && t < r->stays_off;
            }
            c[t] += !(k < q->n_closed && q->closed[k].from <= t) && !taken;
        }
    }
    for (int t = 0; cap && t < s->n; t++) {
        int left = s->watches_most - s->watched[t];
        cap[row * (size_t)s->n_groups + (size_t)t] = left > 0 ? left : 0;
    }
    return cap;
}

/* Fittings that some run must have and no machine has: each costs a change at least once, if that run has a place at all. So much less
 * (`less`) is it worth to such a run to have none. */
static int64_t least_changes(const slots *s, int64_t *less)
{
    int64_t cost = 0;
    for (int f = 0; f < s->n_fittings; f++) {
        int needs = NOBODY;
        bool there = false;
        for (int j = 0; j < s->n_runs && needs < 0; j++) {
            const slot_run *r = &s->runs[j];
            bool all = r->stays < 0;
            for (int o = r->first_option; o < r->first_option + r->n_options && all; o++) {
                all = s->options[o].fitting == f;
            }
            needs = all ? j : NOBODY;
        }
        for (int m = 0; m < s->n_machines; m++) {
            there |= change_kind(s, s->machines[m].fitting, f) == CHANGE_NONE;
        }
        for (int g = 0; g < s->n_fittings; g++) { /* another that can go without it may have brought it */
            there |= g != f && change_kind(s, g, f) == CHANGE_NONE;
        }
        if (needs >= 0 && !there) {
            cost += s->change;
            less[needs] += s->change;
        }
    }
    return cost;
}

static bool first_of_group(const slots *s, const slot_run *r, int o)
{
    int g = s->machines[s->options[o].machine].group;
    for (int k = r->first_option; k < o; k++) {
        if (s->machines[s->options[k].machine].group == g) {
            return false;
        }
    }
    return true;
}

/* Every run for itself, at the prices; the bound. starts: the slots. */
static double relax(relaxation *x, int *starts)
{
    const slots *s = x->s;
    size_t row = (size_t)s->n + 1;
    double bound = 0;
    const double *watch = x->sum + row * (size_t)s->n_groups;
    memset(x->use, 0, row * (size_t)(s->n_groups + 1) * sizeof *x->use);
    for (int g = 0; g <= s->n_groups; g++) {
        double *sum = x->sum + row * (size_t)g, *price = x->price + row * (size_t)g;
        const int *cap = x->cap + row * (size_t)g;
        sum[0] = 0;
        for (int t = 0; t < s->n; t++) {
            sum[t + 1] = sum[t] + price[t];
            bound -= price[t] * cap[t];
        }
    }
    for (int j = 0; j < s->n_runs; j++) {
        const slot_run *r = &s->runs[j];
        double least = (double)unplaced_cost(s, r);
        int at = s->n, option = NOBODY;
        for (int o = r->first_option; r->stays < 0 && o < r->first_option + r->n_options; o++) {
            if (!first_of_group(s, r, o)) {
                continue;
            }
            const slot_table *t = &s->tables[s->options[o].table];
            int g = s->machines[s->options[o].machine].group;
            const double *sum = x->sum + row * (size_t)g;
            int ready = r->ready > x->group_ready[g] ? r->ready : x->group_ready[g];
            for (size_t i = 0; i < t->n_goods; i++) {
                int b = t->goods[i];
                if (b < ready) {
                    continue;
                }
                if ((double)(r->wait * (b - r->ready)) > least) {
                    break; /* prices are not negative: later starts cost more still */
                }
                int w = b + t->watch < s->n ? b + t->watch : s->n;
                double cost = (double)start_cost(s, r, t, b) + sum[t->off[b]] - sum[b] + watch[w] - watch[b];
                if (cost < least) {
                    least = cost;
                    at = b;
                    option = o;
                }
            }
        }
        starts[j] = r->stays >= 0 ? r->stays_at : at;
        if (r->stays >= 0) {
            continue;
        }
        bound += least;
        if (option >= 0) {
            const slot_table *t = &s->tables[s->options[option].table];
            int *u = x->use + row * (size_t)s->machines[s->options[option].machine].group;
            int w = at + t->watch < s->n ? at + t->watch : s->n;
            u[at]++;
            u[t->off[at]]--;
            u = x->use + row * (size_t)s->n_groups;
            u[at]++;
            u[w]--;
        }
    }
    return bound;
}

/* One step: prices up where too many want a slot, down where places are left; the direction remembers those before it (Camerini, Fratta and
 * Maffioli, "On improving relaxation methods by modified gradient techniques", Mathematical Programming Study 3, 1975). Of a night
 * only the first slot has a price: nothing begins or ends in it, and many like slots would outweigh the day. */
static void step(relaxation *x, double bound, double upper, double pace)
{
    const slots *s = x->s;
    size_t row = (size_t)s->n + 1;
    double norm = 0;
    for (int g = 0; g <= s->n_groups; g++) {
        const int *u = x->use + row * (size_t)g, *cap = x->cap + row * (size_t)g;
        double *way = x->way + row * (size_t)g;
        const uint8_t *same = x->same + row * (size_t)g;
        const double *price = x->price + row * (size_t)g;
        int now = 0;
        for (int t = 0; t < s->n; t++) {
            now += u[t];
            way[t] = same[t] ? 0 : REMEMBER * way[t] + (now - cap[t]);
            if (way[t] > 0 || price[t] > 0) {
                norm += way[t] * way[t];
            }
        }
    }
    if (norm <= 0) {
        return;
    }
    double by = pace * fmax(upper - bound, 1) / norm;
    for (size_t i = 0, n = row * (size_t)(s->n_groups + 1); i < n; i++) {
        x->price[i] = fmax(x->price[i] + by * x->way[i], 0);
    }
}

/* The bound in whole numbers at the rounded best prices. */
static int64_t whole_bound(const relaxation *x, int64_t *less, slot_prices *ret)
{
    const slots *s = x->s;
    size_t row = (size_t)s->n + 1;
    int64_t bound = s->base + least_changes(s, less);
    for (int g = 0; g <= s->n_groups; g++) {
        int64_t *sum = g < s->n_groups ? ret->machine + row * (size_t)g : ret->watch;
        for (int t = 0; t < s->n; t++) {
            int64_t price = llround(x->best[row * (size_t)g + (size_t)t]);
            sum[t + 1] = sum[t] + price;
            bound -= price * x->cap[row * (size_t)g + (size_t)t];
        }
    }
    ret->watches_cost = ret->watch[s->n] > 0;
    for (int j = 0; j < s->n_runs; j++) {
        const slot_run *r = &s->runs[j];
        int64_t least = r->stays < 0 ? unplaced_cost(s, r) - less[j] : 0;
        for (int o = r->first_option; r->stays < 0 && o < r->first_option + r->n_options; o++) {
            const slot_table *t = &s->tables[s->options[o].table];
            int g = s->machines[s->options[o].machine].group;
            const int64_t *sum = ret->machine + row * (size_t)g;
            int ready = r->ready > x->group_ready[g] ? r->ready : x->group_ready[g];
            for (size_t i = 0; first_of_group(s, r, o) && i < t->n_goods; i++) {
                int b = t->goods[i], w = b + t->watch < s->n ? b + t->watch : s->n;
                int64_t cost = start_cost(s, r, t, b) + sum[t->off[b]] - sum[b] + ret->watch[w] - ret->watch[b];
                least = b >= ready && cost < least ? cost : least;
            }
        }
        bound += least;
        ret->worth[j] = least;
    }
    return bound;
}

bool po_slots_bound(const slots *s, int turns, int64_t (*offer)(void *user, const int *starts), void *user,
                    bool (*stop)(void *), void *stop_user, po_arena *arena, slot_prices *ret, int *ret_starts)
{
    size_t row = (size_t)s->n + 1, all = row * (size_t)(s->n_groups + 1);
    relaxation x = {.s = s,
                    .price = po_arena_zeros(arena, all, sizeof(double)),
                    .sum = po_arena_zeros(arena, all, sizeof(double)),
                    .best = po_arena_zeros(arena, all, sizeof(double)),
                    .way = po_arena_zeros(arena, all, sizeof(double)),
                    .use = po_arena_zeros(arena, all, sizeof(int)),
                    .same = po_arena_zeros(arena, all, 1),
                    .group_ready = po_arena_zeros(arena, (size_t)s->n_groups + 1, sizeof(int))};
    double *mean = po_arena_zeros(arena, (size_t)s->n_runs + 1, sizeof *mean);
    int64_t *less = po_arena_zeros(arena, (size_t)s->n_runs + 1, sizeof *less);
    *ret = (slot_prices){.machine = po_arena_zeros(arena, row * (size_t)s->n_groups, sizeof(int64_t)),
                         .worth = po_arena_zeros(arena, (size_t)s->n_runs + 1, sizeof(int64_t)),
                         .watch = po_arena_zeros(arena, row, sizeof(int64_t))};
    for (int g = 0; x.group_ready && g < s->n_groups; g++) {
        x.group_ready[g] = s->n;
    }
    if (!x.price || !x.sum || !x.best || !x.way || !x.use || !x.same || !x.group_ready || !mean || !less ||
        !ret->machine || !ret->worth || !ret->watch || !(x.cap = caps_of(s, &x, arena))) {
        return false;
    }
    for (int g = 0; g <= s->n_groups; g++) {
        for (int t = 1; t < s->n; t++) {
            int64_t ms = s->origin_ms + t * s->step_ms;
            size_t i = row * (size_t)g + (size_t)t;
            x.same[i] = x.cap[i] == x.cap[i - 1] && !po_calendar_staffed(s->problem->calendar, ms - s->step_ms) &&
                        !po_calendar_staffed(s->problem->calendar, ms);
        }
    }
    double best = -INFINITY, pace = 1, target = INFINITY;
    int since = 0, patience = 10 + turns / 50;
    for (int i = 0; i < turns && pace > 1e-4 && !(stop && i % 16 == 15 && stop(stop_user)); i++) {
        double bound = relax(&x, ret_starts);
        for (int j = 0; j < s->n_runs; j++) {
            mean[j] += (ret_starts[j] - mean[j]) * (i == 0 ? 1 : 0.05);
        }
        if (i % OFFER_EACH == 0) {
            target = (double)(offer(user, ret_starts) - s->base);
        }
        since++;
        if (bound > best) {
            since = bound > best + 1e-5 * fabs(best) ? 0 : since;
            best = bound;
            memcpy(x.best, x.price, all * sizeof *x.best);
        }
        if (best >= target - 0.5) {
            break;
        }
        if (since > patience) {
            pace *= 0.6;
            since = 0;
            memcpy(x.price, x.best, all * sizeof *x.best);
            memset(x.way, 0, all * sizeof *x.way);
            continue; /* the step is to be taken from there */
        }
        step(&x, bound, target, pace);
    }
    for (int j = 0; j < s->n_runs; j++) {
        ret_starts[j] = (int)(mean[j] * 16);
    }
    ret->bound = whole_bound(&x, less, ret);
    return true;
}
