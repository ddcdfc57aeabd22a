/* Better and better plans for long queues: annealing over the machines' own lines of runs. SPDX-License-Identifier: Apache-2.0
 *
 * Each machine has its line; a change moves a run to another place, swaps two, or swaps what comes behind two places. Only the
 * lines that it concerns are put anew, around the watches of all others, so a step takes some microseconds however long the queue is. A
 * change is kept where it costs less, or not much more (Kirkpatrick, Gelatt and Vecchi, "Optimization by simulated annealing", Science 220,
 * 1983). The rule for members is asked of
 * what is put anew, not again of the others: whoever takes the plan over puts its runs anew by their starts.
 * Two searches run side by side, on one thread or two, and the worse takes over from the better eight times: so the plan depends on seed and
 * number of steps alone. */
#include <math.h>
#include <stdatomic.h>
#include <string.h>

#include "base/pool.h"
#include "plan/schedule_inside.h"

enum { CHAINS = 2, EPOCHS = 8 };
#define HOT_SHARE 0.2 /* of what a run costs: a change that costs so much more is kept one time in three at first */
#define COLD_SHARE 0.002

typedef struct stand { /* how a run was put */
    int option, start, passed, kind;
    int64_t cost;
} stand;

typedef struct lines {
    slots s;
    putting p;
    put_undo *undo; /* of runs */
    stand *stands;
    int *line, *length, *put; /* [machines * n], [machines]: in the line, put */
    int *machine, *place;     /* of runs */
    int *loose;               /* runs in lines, in any order, to draw from */
    int n_loose, n;
    const int *on; /* options by run and machine */
    /* what a change may be taken back to */
    int *old_line[2], old_length[2], old_machine[2], old_from[2], n_old;
    stand *old_stands[2];
    int64_t cost, best_cost;
    int *best_line, *best_length;
    stand *best_stands; /* of runs */
    uint64_t seed;
} lines;

typedef struct search {
    lines chains[CHAINS];
    int64_t steps, done, bound;
    double hot, cold;
    bool (*stop)(void *);
    void *user;
    atomic_bool stopped;
} search;

static int *line_of(const lines *c, int m)
{
    return c->line + (size_t)m * (size_t)c->n;
}

static int below(lines *c, int n)
{
    return (int)(po_random_next(&c->seed) % (uint64_t)n);
}

/* Changes of what stays on a machine and has not been passed. */
static int64_t rest_of(const lines *c, int m)
{
    const slots *s = &c->s;
    const slot_machine *q = &s->machines[m];
    int64_t cost = 0;
    int fitting = c->p.fitting[m];
    for (int k = c->p.next_stay[m]; k < q->n_stays; k++) {
        int to = s->options[s->runs[q->stays[k]].stays].fitting;
        cost += change_kind(s, fitting, to) != CHANGE_NONE ? s->change : 0;
        fitting = to >= 0 ? to : fitting;
    }
    return cost;
}

/* Take the end of a line off again, down to a place. */
static void pop(lines *c, int m, int place)
{
    const int *line = line_of(c, m);
    while (c->put[m] > place) {
        int j = line[--c->put[m]];
        int64_t cost = c->p.cost - c->stands[j].cost;
        po_slot_unput(&c->p, &c->undo[j]);
        c->p.cost = cost;
    }
}

static void put_stand(lines *c, int j, stand *t)
{
    int64_t before = c->p.cost;
    if (t->start == SLOT_NONE) {
        po_slot_put_nowhere(&c->p, j, &c->undo[j]);
    } else {
        po_slot_put(&c->p, j, t->option, t->start, t->passed, t->kind, &c->undo[j]);
    }
    t->cost = c->p.cost - before;
    c->stands[j] = *t;
}

/* Put what a line has beyond what is put. From a place on nothing else is altered, so that runs mostly cost no less than they did: false:
 * with what is still to be put at its old cost it is beyond the limit, and was given up. */
static bool push_within(lines *c, int m, int altered, int64_t limit)
{
    const int *line = line_of(c, m);
    int64_t old = 0;
    for (int i = c->put[m]; i < c->length[m]; i++) {
        old += c->stands[line[i]].cost;
    }
    for (; c->put[m] < c->length[m]; c->put[m]++) {
        int j = line[c->put[m]];
        if (c->put[m] > altered && c->p.cost + old > limit) {
            return false;
        }
        old -= c->stands[j].cost;
        stand t = {.option = c->on[(size_t)j * (size_t)c->s.n_machines + (size_t)m]};
        t.start = po_slot_first(&c->p, j, t.option, 0, true, &t.passed, &t.kind);
        put_stand(c, j, &t);
        c->machine[j] = m;
        c->place[j] = c->put[m];
    }
    return true;
}

static void push(lines *c, int m)
{
    push_within(c, m, c->n, INT64_MAX);
}

/* Remember a line from a place on, and take that off. */
static void open_line(lines *c, int m, int from)
{
    int k = c->n_old++;
    const int *line = line_of(c, m);
    c->old_machine[k] = m;
    c->old_from[k] = from;
    c->old_length[k] = c->length[m];
    for (int i = from; i < c->length[m]; i++) {
        c->old_line[k][i] = line[i];
        c->old_stands[k][i] = c->stands[line[i]];
    }
    pop(c, m, from);
}

/* Everything as it was, start by start. */
static void take_back(lines *c)
{
    for (int k = 0; k < c->n_old; k++) {
        pop(c, c->old_machine[k], c->old_from[k]);
    }
    for (int k = 0; k < c->n_old; k++) {
        int m = c->old_machine[k], *line = line_of(c, m);
        c->length[m] = c->old_length[k];
        for (int i = c->old_from[k]; i < c->length[m]; i++) {
            int j = line[i] = c->old_line[k][i];
            put_stand(c, j, &c->old_stands[k][i]);
            c->machine[j] = m;
            c->place[j] = i;
            c->put[m]++;
        }
    }
}

static bool may(const lines *c, int j, int m)
{
    return c->on[(size_t)j * (size_t)c->s.n_machines + (size_t)m] >= 0;
}

static void remove_at(lines *c, int m, int i)
{
    int *line = line_of(c, m);
    memmove(line + i, line + i + 1, (size_t)(c->length[m] - i - 1) * sizeof *line);
    c->length[m]--;
}

static void insert_at(lines *c, int m, int i, int j)
{
    int *line = line_of(c, m);
    memmove(line + i + 1, line + i, (size_t)(c->length[m] - i) * sizeof *line);
    line[i] = j;
    c->length[m]++;
}

/* What comes behind two places goes over to the other machine. */
static bool swap_tails(lines *c, int a, int i, int b, int k)
{
    int *la = line_of(c, a), *lb = line_of(c, b), na = c->length[a] - i, nb = c->length[b] - k;
    for (int x = 0; x < na; x++) {
        if (!may(c, la[i + x], b)) {
            return false;
        }
    }
    for (int x = 0; x < nb; x++) {
        if (!may(c, lb[k + x], a)) {
            return false;
        }
    }
    open_line(c, a, i);
    open_line(c, b, k);
    memcpy(la + i, c->old_line[1] + k, (size_t)nb * sizeof *la);
    memcpy(lb + k, c->old_line[0] + i, (size_t)na * sizeof *lb);
    c->length[a] = i + nb;
    c->length[b] = k + na;
    return true;
}

/* One change: lines opened and altered; false: none could be made. It may be given up halfway where it will cost more than the limit. */
static bool alter(lines *c, int64_t limit, bool *ret_given_up)
{
    int j = c->loose[below(c, c->n_loose)], what = below(c, 100), other = j;
    int64_t nearest = INT64_MAX;
    for (int tries = 0, most = 1 + below(c, 6); tries < most;
         tries++) { /* mostly one that starts at about the same time */
        int k = c->loose[below(c, c->n_loose)];
        int64_t apart = c->p.start[k] > c->p.start[j] ? c->p.start[k] - c->p.start[j] : c->p.start[j] - c->p.start[k];
        if (k != j && apart < nearest) {
            nearest = apart;
            other = k;
        }
    }
    int a = c->machine[j], i = c->place[j], b = c->machine[other], k = c->place[other];
    c->n_old = 0;
    if (what < 8) { /* to the end of a line, or of an empty one */
        b = below(c, c->s.n_machines);
        k = c->length[b];
        other = j;
    } else if (other == j) {
        return false;
    }
    if (a == b) {
        if (other == j) {
            return false;
        }
        open_line(c, a, i < k ? i : k);
        int *line = line_of(c, a);
        if (what < 50) {
            line[i] = other;
            line[k] = j;
        } else {
            remove_at(c, a, i);
            insert_at(c, a, k, j);
        }
        *ret_given_up = !push_within(c, a, i > k ? i : k, limit);
        return true;
    }
    if (!may(c, j, b)) {
        return false;
    }
    if (other != j && what < 50) { /* one for another */
        if (!may(c, other, a)) {
            return false;
        }
        open_line(c, a, i);
        open_line(c, b, k);
        line_of(c, a)[i] = other;
        line_of(c, b)[k] = j;
    } else if (other != j && what >= 85) {
        if (!swap_tails(c, a, i, b, k)) {
            return false;
        }
    } else { /* over to that line, before or behind */
        k += other != j && below(c, 2);
        open_line(c, a, i);
        open_line(c, b, k);
        remove_at(c, a, i);
        insert_at(c, b, k, j);
    }
    push(c, a);
    *ret_given_up = !push_within(c, b, k, limit);
    return true;
}

static int64_t rest_of_old(const lines *c)
{
    int64_t cost = 0;
    for (int k = 0; k < c->n_old; k++) {
        cost += rest_of(c, c->old_machine[k]);
    }
    return cost;
}

static int64_t whole_cost(const lines *c)
{
    int64_t cost = c->p.cost;
    for (int m = 0; m < c->s.n_machines; m++) {
        cost += rest_of(c, m);
    }
    return cost;
}

static void keep_best(lines *c)
{
    c->best_cost = c->cost;
    memcpy(c->best_stands, c->stands, (size_t)c->s.n_runs * sizeof *c->stands);
    for (int m = 0; m < c->s.n_machines; m++) {
        memcpy(c->best_line + (size_t)m * (size_t)c->n, line_of(c, m), (size_t)c->length[m] * sizeof(int));
        c->best_length[m] = c->length[m];
    }
}

/* The best of a search, its own or the other's, start by start. */
static void load(lines *c, const lines *from)
{
    for (int m = 0; m < c->s.n_machines; m++) {
        pop(c, m, 0);
    }
    for (int m = 0; m < c->s.n_machines; m++) {
        int *line = line_of(c, m);
        c->length[m] = from->best_length[m];
        memcpy(line, from->best_line + (size_t)m * (size_t)c->n, (size_t)c->length[m] * sizeof *line);
        for (; c->put[m] < c->length[m]; c->put[m]++) {
            stand t = from->best_stands[line[c->put[m]]];
            put_stand(c, line[c->put[m]], &t);
            c->machine[line[c->put[m]]] = m;
            c->place[line[c->put[m]]] = c->put[m];
        }
    }
    c->cost = whole_cost(c);
}

static void run_chain(size_t i, void *user)
{
    search *z = user;
    lines *c = &z->chains[i];
    int64_t steps = z->steps / EPOCHS;
    double heat = z->hot;
    for (int64_t k = 0; k < steps; k++) {
        if (k % 64 == 0) {
            heat = z->hot * pow(z->cold / z->hot, (double)(z->done + k) / (double)z->steps);
            if (atomic_load(&z->stopped) || c->best_cost <= z->bound) {
                break;
            }
            if (z->stop && k % 1024 == 0 && z->stop(z->user)) {
                atomic_store(&z->stopped, true);
                break;
            }
        }
        double chance = ((double)(po_random_next(&c->seed) >> 11) + 1) * 0x1p-53;
        int64_t limit = c->cost + (int64_t)(-log(chance) * heat), before = c->p.cost;
        bool given_up = false;
        if (!alter(c, limit - c->cost + before, &given_up)) {
            continue;
        }
        if (given_up) {
            take_back(c);
            continue;
        }
        int64_t rest = rest_of_old(c), cost = c->cost + c->p.cost - before;
        if (rest > 0) { /* rare: something stays there */
            cost = whole_cost(c);
        }
        if (cost > limit) {
            take_back(c);
        } else {
            c->cost = rest > 0 ? cost : whole_cost(c);
            if (c->cost < c->best_cost) {
                keep_best(c);
            }
        }
    }
}

static bool make_chain(lines *c, const slots *s, const int *on, const putting *first, uint64_t seed, po_arena *arena)
{
    size_t n = (size_t)s->n_runs + 1, m = (size_t)s->n_machines;
    *c = (lines){.s = *s, .on = on, .seed = seed, .n = (int)n};
    int **arrays[] = {&c->machine, &c->place, &c->loose, &c->old_line[0], &c->old_line[1]};
    int **tables[] = {&c->line, &c->best_line};
    int **rows[] = {&c->length, &c->put, &c->best_length};
    bool ok = true;
    for (size_t i = 0; i < 5; i++) {
        ok = (*arrays[i] = po_arena_zeros(arena, n, sizeof(int))) != NULL && ok;
    }
    for (size_t i = 0; i < 2; i++) {
        ok = (*tables[i] = po_arena_zeros(arena, n * m, sizeof(int))) != NULL && ok;
    }
    for (size_t i = 0; i < 3; i++) {
        ok = (*rows[i] = po_arena_zeros(arena, m, sizeof(int))) != NULL && ok;
    }
    c->undo = po_arena_zeros(arena, n, sizeof *c->undo);
    c->stands = po_arena_zeros(arena, n, sizeof *c->stands);
    c->best_stands = po_arena_zeros(arena, n, sizeof *c->best_stands);
    c->old_stands[0] = po_arena_zeros(arena, n, sizeof(stand));
    c->old_stands[1] = po_arena_zeros(arena, n, sizeof(stand));
    if (!ok || !c->undo || !c->stands || !c->best_stands || !c->old_stands[0] || !c->old_stands[1]) {
        return false;
    }
    if (!po_slot_putting_make(&c->s, arena, &c->p)) {
        return false;
    }
    /* the first plan's runs, by their starts: each at the end of its machine's line */
    for (int j = 0; j < s->n_runs; j++) {
        int k = c->n_loose;
        if (s->runs[j].stays >= 0) {
            continue;
        }
        for (; k > 0 && first->start[c->loose[k - 1]] > first->start[j]; k--) {
            c->loose[k] = c->loose[k - 1];
        }
        c->loose[k] = j;
        c->n_loose++;
    }
    for (int i = 0; i < c->n_loose; i++) {
        int j = c->loose[i], o = first->option[j] >= 0 ? first->option[j] : s->runs[j].first_option;
        int to = s->options[o].machine;
        insert_at(c, to, c->length[to], j);
        push(c, to);
    }
    c->cost = whole_cost(c);
    keep_best(c);
    return true;
}

bool po_slots_lines(const slots *s, const putting *first, const po_plan_options *o, int64_t steps, int64_t bound,
                    int *ret_starts, int *ret_options, int64_t *ret_steps, po_arena *arena)
{
    search z = {.steps = steps / CHAINS, .bound = bound, .stop = o->stop, .user = o->user};
    int *on = po_arena_zeros(arena, (size_t)s->n_runs * (size_t)s->n_machines + 1, sizeof *on);
    int least = 0;
    for (int i = 0; on && i < s->n_runs * s->n_machines; i++) {
        on[i] = NOBODY;
    }
    for (int j = 0; on && j < s->n_runs; j++) {
        const slot_run *r = &s->runs[j];
        for (int k = r->first_option; k < r->first_option + r->n_options; k++) {
            on[j * s->n_machines + s->options[k].machine] = k;
        }
    }
    for (int i = 0; on && i < CHAINS; i++) {
        if (!make_chain(&z.chains[i], s, on, first, o->seed * CHAINS + (uint64_t)i, arena)) {
            return false;
        }
    }
    po_pool *pool = on && z.steps >= EPOCHS && z.chains[0].n_loose > 1
                        ? po_pool_new(o->threads > CHAINS ? CHAINS : o->threads)
                        : NULL;
    if (!on) {
        return false;
    }
    double each = (double)z.chains[0].cost / (z.chains[0].n_loose + 1.0);
    z.hot = fmax(each * HOT_SHARE, 20);
    z.cold = fmax(each * COLD_SHARE, 1);
    *ret_steps = 0;
    for (int e = 0; e < EPOCHS && pool && !atomic_load(&z.stopped); e++) {
        po_pool_each(pool, CHAINS, run_chain, &z);
        z.done += z.steps / EPOCHS;
        *ret_steps += z.steps / EPOCHS * CHAINS;
        least = z.chains[1].best_cost < z.chains[0].best_cost;
        load(&z.chains[1 - least], &z.chains[least]);
    }
    po_pool_free(pool);
    lines *c = &z.chains[least];
    load(c, c);
    memcpy(ret_starts, c->p.start, (size_t)s->n_runs * sizeof *ret_starts);
    for (int j = 0; j < s->n_runs; j++) {
        ret_options[j] = s->runs[j].stays >= 0 ? s->runs[j].stays : c->p.option[j];
    }
    return true;
}
