/* Better and better plans for queues too long to look at all: annealing over lists of runs. SPDX-License-Identifier: Apache-2.0
 *
 * A list is changed in one place (a run moved or swapped, or put on another machine), runs from there on are put anew, and the change is
 * kept where it costs less, or not much more (Kirkpatrick, Gelatt and Vecchi, "Optimization by simulated annealing", Science 220, 1983).
 * Two searches with seeds of their own run side by side, on one thread or two, and the worse takes over from the better eight times: so the
 * plan depends on seed and number of steps alone. */
#include <math.h>
#include <stdatomic.h>
#include <string.h>

#include "base/pool.h"
#include "plan/schedule_inside.h"

enum { CHAINS = 2, EPOCHS = 8 };
#define HOT_SHARE 0.01 /* of what a run costs: a change that costs so much more is kept one time in three at first */

typedef struct chain {
    putting p;
    put_undo *undo; /* of places in the list */
    int *on;        /* options by run and machine; of all chains */
    int n;
    int *list, *wished;      /* accepted */
    int *tried, *tried_wish; /* what p holds, and beyond p_n what is being tried */
    int p_n;                 /* places of `tried` that p holds */
    int *best, *best_wish;
    int64_t cost, best_cost;
    uint64_t seed;
} chain;

typedef struct search {
    const slots *s;
    chain chains[CHAINS];
    int64_t steps, done; /* of each chain: in all, before this epoch */
    int64_t bound;
    double hot, cold;
    bool (*stop)(void *);
    void *user;
    atomic_bool stopped;
} search;

static bool make_chain(chain *c, const slots *s, const int *order, int n, uint64_t seed, po_arena *arena)
{
    size_t k = (size_t)s->n_runs + 1;
    *c = (chain){.n = n, .seed = seed};
    int **arrays[] = {&c->list, &c->wished, &c->tried, &c->tried_wish, &c->best, &c->best_wish};
    for (size_t i = 0; i < sizeof arrays / sizeof arrays[0]; i++) {
        *arrays[i] = po_arena_zeros(arena, k, sizeof(int));
        if (!*arrays[i]) {
            return false;
        }
    }
    c->undo = po_arena_zeros(arena, k, sizeof *c->undo);
    if (!c->undo || !po_slot_putting_make(s, arena, &c->p)) {
        return false;
    }
    memcpy(c->list, order, (size_t)n * sizeof *order);
    for (int j = 0; j < s->n_runs; j++) {
        c->wished[j] = NOBODY;
    }
    return true;
}

/* What the rest of what stays will cost, without doing it. */
static int64_t cost_of_rest(const putting *p)
{
    const slots *s = p->s;
    int64_t cost = 0;
    for (int m = 0; m < s->n_machines; m++) {
        int fitting = p->fitting[m];
        for (int k = p->next_stay[m]; k < s->machines[m].n_stays; k++) {
            int to = s->options[s->runs[s->machines[m].stays[k]].stays].fitting;
            cost += change_kind(s, fitting, to) != CHANGE_NONE ? s->change : 0;
            fitting = to >= 0 ? to : fitting;
        }
    }
    return cost;
}

static void put_one(chain *c, int place)
{
    int j = c->tried[place], wish = c->tried_wish[j];
    po_slot_put_one(&c->p, j, wish, &c->undo[place]);
}

/* p holds `tried` up to its end; false: it is beyond the limit before. */
static bool put_all(chain *c, int64_t limit)
{
    while (c->p_n < c->n) {
        put_one(c, c->p_n);
        c->p_n++;
        if (c->p.cost > limit) {
            return false;
        }
    }
    return c->p.cost + cost_of_rest(&c->p) <= limit;
}

static void back_to(chain *c, int place)
{
    while (c->p_n > place) {
        po_slot_unput(&c->p, &c->undo[--c->p_n]);
    }
}

/* Make `tried` the accepted list again; hands back the first place that differs. */
static int restore(chain *c)
{
    int first = c->n;
    for (int i = c->n; i-- > 0;) {
        int j = c->list[i];
        if (c->tried[i] != j || c->tried_wish[j] != c->wished[j]) {
            first = i;
        }
        c->tried[i] = j;
        c->tried_wish[j] = c->wished[j];
    }
    return first;
}

static int below(chain *c, int n)
{
    return (int)(po_random_next(&c->seed) % (uint64_t)n);
}

/* The run's option on that machine; NOBODY: it may not run it. */
static int option_on(const chain *c, const slots *s, int j, int machine)
{
    return c->on[(size_t)j * (size_t)s->n_machines + (size_t)machine];
}

/* One change to `tried`; the first place that it touches. Runs keep to their machines, so that a change reaches no further than the two that
 * it concerns, and what it does can be told from what all the others do. */
static int change_list(chain *c, const slots *s)
{
    int n = c->n, a = below(c, n), what = below(c, 100), reach = n < 24 ? n : 2 * s->n_machines + 8, b;
    int j = c->tried[a], at = c->tried_wish[j];
    if (n == 1 || what < 4) { /* another machine, or any */
        const slot_run *r = &s->runs[j];
        c->tried_wish[j] = below(c, 2) == 0 ? NOBODY : r->first_option + below(c, r->n_options);
        return a;
    }
    if (below(c, 4) > 0) { /* near by */
        b = a - reach + below(c, 2 * reach + 1);
        b = b < 0 ? 0 : b >= n ? n - 1 : b;
    } else {
        b = below(c, n);
    }
    int k = c->tried[b], to = c->tried_wish[k];
    int mine = to >= 0 ? option_on(c, s, j, s->options[to].machine) : NOBODY;
    int other = at >= 0 ? option_on(c, s, k, s->options[at].machine) : NOBODY;
    if (what < 50) { /* in front of another, or behind it, on its machine */
        int step = a < b ? 1 : -1;
        for (int i = a; i != b; i += step) {
            c->tried[i] = c->tried[i + step];
        }
        c->tried[b] = j;
        c->tried_wish[j] = what < 40 && mine >= 0 ? mine : c->tried_wish[j];
    } else { /* one for another */
        c->tried[a] = k;
        c->tried[b] = j;
        if (mine >= 0 && other >= 0) {
            c->tried_wish[j] = mine;
            c->tried_wish[k] = other;
        }
    }
    return a < b ? a : b;
}

static void run_chain(size_t i, void *user)
{
    search *z = user;
    chain *c = &z->chains[i];
    int64_t steps = z->steps / EPOCHS;
    int differs = restore(c);
    back_to(c, differs < c->p_n ? differs : c->p_n);
    put_all(c, INT64_MAX);
    for (int64_t k = 0; k < steps; k++) {
        if (k % 64 == 0 && (atomic_load(&z->stopped) || c->best_cost <= z->bound)) {
            break;
        }
        if (k % 64 == 0 && z->stop && z->stop(z->user)) {
            atomic_store(&z->stopped, true);
            break;
        }
        double share = (double)(z->done + k) / (double)z->steps;
        double heat = z->hot * pow(z->cold / z->hot, share);
        double chance = ((double)(po_random_next(&c->seed) >> 11) + 1) * 0x1p-53;
        int64_t limit = c->cost + (int64_t)(-log(chance) * heat);
        int first = change_list(c, z->s);
        back_to(c, first < c->p_n ? first : c->p_n);
        if (put_all(c, limit)) {
            c->cost = c->p.cost + cost_of_rest(&c->p);
            memcpy(c->list + first, c->tried + first, (size_t)(c->n - first) * sizeof *c->list);
            memcpy(c->wished, c->tried_wish, (size_t)z->s->n_runs * sizeof *c->wished);
            if (c->cost < c->best_cost) {
                c->best_cost = c->cost;
                memcpy(c->best, c->list, (size_t)c->n * sizeof *c->best);
                memcpy(c->best_wish, c->wished, (size_t)z->s->n_runs * sizeof *c->best_wish);
            }
        } else {
            int from = restore(c);
            back_to(c, from < c->p_n ? from : c->p_n);
        }
    }
}

bool po_slots_search(const slots *s, const int *order, const po_plan_options *o, int64_t steps, int64_t bound,
                     putting *best, int64_t *ret_steps, po_arena *arena)
{
    search z = {.s = s, .steps = steps / CHAINS, .bound = bound, .stop = o->stop, .user = o->user};
    int list[PO_PLAN_RUNS_MOST], n = 0, least = 0;
    for (int i = 0; i < s->n_runs; i++) {
        if (s->runs[order[i]].stays < 0) {
            list[n++] = order[i];
        }
    }
    *ret_steps = 0;
    int *on = po_arena_zeros(arena, (size_t)s->n_runs * (size_t)s->n_machines + 1, sizeof *on);
    for (int i = 0; on && i < s->n_runs * s->n_machines; i++) {
        on[i] = NOBODY;
    }
    for (int j = 0; on && j < s->n_runs; j++) {
        const slot_run *r = &s->runs[j];
        for (int k = r->first_option; k < r->first_option + r->n_options; k++) {
            on[j * s->n_machines + s->options[k].machine] = k;
        }
    }
    if (!on) {
        return false;
    }
    for (int i = 0; i < CHAINS; i++) {
        chain *c = &z.chains[i];
        if (!make_chain(c, s, list, n, o->seed * CHAINS + (uint64_t)i, arena)) {
            return false;
        }
        restore(c);
        put_all(c, INT64_MAX);
        c->cost = c->best_cost = c->p.cost + cost_of_rest(&c->p);
        c->on = on;
        for (int j = 0; j < s->n_runs; j++) {
            c->wished[j] = c->p.option[j] >= 0 ? c->p.option[j] : NOBODY;
        }
        memcpy(c->best, c->list, (size_t)n * sizeof *c->best);
        memcpy(c->best_wish, c->wished, (size_t)s->n_runs * sizeof *c->best_wish);
    }
    z.hot = fmax((double)z.chains[0].cost / (n + 1.0) * HOT_SHARE, 20);
    z.cold = z.hot / 25;
    po_pool *pool = n > 0 && z.steps >= EPOCHS ? po_pool_new(o->threads > CHAINS ? CHAINS : o->threads) : NULL;
    for (int e = 0; e < EPOCHS && pool && !atomic_load(&z.stopped); e++) {
        po_pool_each(pool, CHAINS, run_chain, &z);
        z.done += z.steps / EPOCHS;
        *ret_steps += z.steps / EPOCHS * CHAINS;
        least = z.chains[1].best_cost < z.chains[0].best_cost;
        chain *from = &z.chains[least], *to = &z.chains[1 - least];
        memcpy(to->list, from->best, (size_t)n * sizeof *to->list);
        memcpy(to->wished, from->best_wish, (size_t)s->n_runs * sizeof *to->wished);
        to->cost = from->best_cost;
        if (from->best_cost <= bound) {
            break;
        }
    }
    po_pool_free(pool);
    chain *c = &z.chains[least];
    po_slot_putting_clear(best);
    po_slot_put_list(best, c->best, n, c->best_wish, NULL, INT64_MAX);
    return true;
}
