/* A best plan, and the proof that it is one: branch and bound over lists by rising starts. SPDX-License-Identifier: Apache-2.0
 *
 * Each node is a beginning of such a list; its children put one more run on one machine, not before the last start. The bound of a node: what
 * is put, what each other run costs at least from there on at the slots' prices, less the worth of all places that are left (Land and Doig,
 * "An automatic method of solving discrete programming problems", Econometrica 28, 1960; prices as in schedule_bound.c). A node whose runs,
 * machines and watches stand exactly as at another that cost no more is left out. What stays is put in its turn, like any other.
 * Machines that stand alike are tried once. */
#include <stdlib.h>
#include <string.h>

#include "plan/schedule_inside.h"

enum { SEEN_BITS = 20, SEEN_BITS_FEW = 12, SEEN_FEW = 7 };

typedef struct seen {
    uint64_t key, check;
    int64_t cost;
} seen;

typedef struct child {
    int64_t bound;
    int run, option, start, kind;
} child;

typedef struct exact {
    const slots *s;
    const slot_prices *prices;
    putting p;
    int64_t *least;      /* [(group, slot, run)]: the least at the prices from a slot on, without place included */
    int64_t *tail;       /* [machine * (n + 1)]: worth of its places from a slot on */
    int64_t *watch_tail; /* [n + 1] worth of all watches from a slot on, none taken */
    seen *table;
    child *children; /* a row for each depth */
    int width, seen_bits;
    int64_t best, nodes, nodes_most;
    bool cut, found;
    int *turns, *options;
    int *sequence; /* runs by depth */
    bool (*stop)(void *);
    void *user;
    uint64_t *run_keys;
    bool *moves; /* of runs */
    int n_free;  /* of them */
    int longest_watch;
} exact;

/* No plan that goes on from here, starts not before `from`, costs less. */
static int64_t bound_from(const exact *e, int from)
{
    const slots *s = e->s;
    size_t row = (size_t)s->n + 1;
    int64_t bound = e->p.cost;
    int soonest[PO_PLAN_MACHINES_MOST]; /* of groups: when the first machine is free */
    for (int g = 0; g < s->n_groups; g++) {
        soonest[g] = s->n;
    }
    for (int m = 0; m < s->n_machines; m++) {
        int *first = &soonest[s->machines[m].group];
        *first = e->p.ready[m] < *first ? e->p.ready[m] : *first;
    }
    const int64_t *least[PO_PLAN_MACHINES_MOST]; /* of groups, from that slot on: of all runs, side by side */
    for (int g = 0; g < s->n_groups; g++) {
        size_t at = (size_t)(soonest[g] > from ? soonest[g] : from);
        least[g] = e->least + (row * (size_t)g + at) * (size_t)s->n_runs;
    }
    for (int j = 0; j < s->n_runs; j++) {
        int64_t c = least[0][j];
        for (int g = 1; g < s->n_groups; g++) {
            c = least[g][j] < c ? least[g][j] : c;
        }
        bound += e->p.option[j] == NOBODY && e->moves[j] ? c : 0;
    }
    for (int m = 0; m < s->n_machines; m++) {
        int at = e->p.ready[m] > from ? e->p.ready[m] : from;
        bound -= e->tail[row * (size_t)m + (size_t)at];
    }
    if (e->prices->watches_cost) {
        bound -= e->watch_tail[from];
        for (int t = from; t < s->n && t < from + e->longest_watch; t++) {
            int more = e->p.watched[t] - s->watched[t];
            bound += (e->prices->watch[t + 1] - e->prices->watch[t]) * more;
        }
    }
    return bound;
}

static void tables_of(exact *e)
{
    const slots *s = e->s;
    size_t row = (size_t)s->n + 1;
    for (int j = 0; j < s->n_runs; j++) {
        const slot_run *r = &s->runs[j];
        for (int g = 0; g < s->n_groups; g++) {
            int64_t *least = e->least + row * (size_t)g * (size_t)s->n_runs + (size_t)j;
            size_t next = (size_t)s->n_runs; /* to the next slot */
            const int64_t *sum = e->prices->machine + row * (size_t)g;
            const slot_table *t = NULL;
            for (int o = r->first_option; o < r->first_option + r->n_options && !t; o++) {
                t = s->machines[s->options[o].machine].group == g ? &s->tables[s->options[o].table] : NULL;
            }
            int64_t cheapest = unplaced_cost(s, r);
            least[(size_t)s->n * next] = cheapest;
            for (int at = s->n - 1; at >= 0; at--) {
                if (t && t->start[at] == at) {
                    int w = at + t->watch < s->n ? at + t->watch : s->n;
                    int64_t c = start_cost(s, r, t, at) + sum[t->off[at]] - sum[at] + e->prices->watch[w] -
                                e->prices->watch[at];
                    cheapest = c < cheapest ? c : cheapest;
                }
                least[(size_t)at * next] = cheapest;
            }
        }
    }
    for (int m = 0; m < s->n_machines; m++) {
        const slot_machine *q = &s->machines[m];
        int64_t *tail = e->tail + row * (size_t)m;
        const int64_t *sum = e->prices->machine + row * (size_t)q->group;
        for (int at = s->n - 1; at >= 0; at--) {
            bool taken = at < q->ready;
            for (int k = 0; k < q->n_closed && !taken; k++) {
                taken = q->closed[k].from <= at && at < q->closed[k].until;
            }
            for (int k = 0; k < q->n_stays && !taken; k++) {
                const slot_run *r = &s->runs[q->stays[k]];
                taken = r->stays_at <= at && at < r->stays_off;
            }
            tail[at] = tail[at + 1] + (taken ? 0 : sum[at + 1] - sum[at]);
        }
    }
    for (int at = s->n - 1; at >= 0; at--) {
        int left = s->watches_most - s->watched[at];
        e->watch_tail[at] = e->watch_tail[at + 1] +
                            (left > 0 ? left : 0) * (e->prices->watch[at + 1] - e->prices->watch[at]);
    }
}

static uint64_t mix(uint64_t a, uint64_t b)
{
    uint64_t seed = a ^ (b * UINT64_C(0xff51afd7ed558ccd));
    return po_random_next(&seed);
}

/* Everything that decides what can follow: what was put, machines, watches to come, members' machines. */
static bool seen_cheaper(exact *e, int last)
{
    const slots *s = e->s;
    uint64_t key = (uint64_t)last, check = UINT64_C(0x1234567) + (uint64_t)last;
    for (int j = 0; j < s->n_runs; j++) {
        if (e->p.option[j] != NOBODY) {
            key ^= e->run_keys[j];
            check += e->run_keys[j] * UINT64_C(0x9e3779b97f4a7c15);
            const slot_run *r = &s->runs[j];
            if (e->p.option[j] >= 0) {
                int until = e->p.start[j] + s->tables[s->options[e->p.option[j]].table].watch;
                if (until > last) { /* summed, so that the order of watches does not matter */
                    key += mix(1, (uint64_t)until);
                    check += mix(2, (uint64_t)until);
                }
                if (r->asks && e->p.off[j] > last) {
                    uint64_t holds = (uint64_t)r->member << 32 | (uint64_t)e->p.off[j];
                    key += mix(3, holds);
                    check += mix(4, holds);
                }
            }
        }
    }
    for (int m = 0; m < s->n_machines; m++) { /* of machines alike only how they stand matters, not which */
        const slot_machine *q = &s->machines[m];
        uint64_t which = q->n_closed || q->n_stays || (q->holder >= 0 && e->p.ready[m] > last) ? 1000 + (uint64_t)m
                                                                                               : (uint64_t)q->group;
        int ready = e->p.ready[m] > last ? e->p.ready[m] : e->p.fitting[m] < 0 ? last : e->p.ready[m];
        uint64_t stands = which << 48 ^ (uint64_t)ready << 24 ^ (uint64_t)(e->p.fitting[m] + 1) << 8 ^
                          (uint64_t)e->p.next_stay[m];
        key += mix(5, stands);
        check += mix(6, stands);
    }
    seen *at = &e->table[key >> (64 - e->seen_bits)];
    if (at->key == key && at->check == check && at->cost <= e->p.cost) {
        return true;
    }
    *at = (seen){key, check, e->p.cost};
    return false;
}

static int by_bound(const void *a, const void *b)
{
    const child *x = a, *y = b;
    return x->bound != y->bound   ? (x->bound > y->bound) - (x->bound < y->bound)
           : x->start != y->start ? (x->start > y->start) - (x->start < y->start)
           : x->run != y->run     ? (x->run > y->run) - (x->run < y->run)
                                  : (x->option > y->option) - (x->option < y->option);
}

/* What stays and comes next. */
static int next_stay(const exact *e, int *ret_machine)
{
    const slots *s = e->s;
    int best = NOBODY;
    for (int m = 0; m < s->n_machines; m++) {
        const slot_machine *q = &s->machines[m];
        if (e->p.next_stay[m] < q->n_stays) {
            int j = q->stays[e->p.next_stay[m]];
            if (best < 0 || s->runs[j].stays_at < s->runs[best].stays_at) {
                best = j;
                *ret_machine = m;
            }
        }
    }
    return best;
}

static void complete(exact *e, int depth)
{
    if (e->p.cost < e->best) {
        e->best = e->p.cost;
        e->found = true;
        for (int i = 0; i < depth; i++) {
            e->turns[e->sequence[i]] = i;
        }
        memcpy(e->options, e->p.option, (size_t)e->s->n_runs * sizeof *e->options);
    }
}

/* A machine that stands just as another before it does. */
static bool stands_like(const exact *e, int j, int o)
{
    const slots *s = e->s;
    int m = s->options[o].machine;
    const slot_machine *q = &s->machines[m];
    if (q->n_closed || q->n_stays || q->holder >= 0) {
        return false;
    }
    for (int k = s->runs[j].first_option; k < o; k++) {
        int x = s->options[k].machine;
        const slot_machine *y = &s->machines[x];
        if (y->group == q->group && !y->n_closed && !y->n_stays && y->holder < 0 && e->p.ready[x] == e->p.ready[m] &&
            e->p.fitting[x] == e->p.fitting[m]) {
            return true;
        }
    }
    return false;
}

/* Every run that is left, on every machine, that may still lead to something better. */
static int add_children(exact *e, int last, int before, child *list)
{
    const slots *s = e->s;
    int n = 0;
    for (int j = 0; j < s->n_runs; j++) {
        const slot_run *r = &s->runs[j];
        if (e->p.option[j] != NOBODY || r->stays >= 0) {
            continue;
        }
        for (int o = r->first_option; o < r->first_option + r->n_options; o++) {
            int passed, kind;
            if (stands_like(e, j, o)) {
                continue;
            }
            int at = po_slot_first(&e->p, j, o, last, false, &passed, &kind);
            if (at == SLOT_NONE || at > before) {
                continue;
            }
            put_undo u;
            po_slot_put(&e->p, j, o, at, 0, kind, &u);
            int64_t bound = bound_from(e, at);
            po_slot_unput(&e->p, &u);
            if (bound < e->best) {
                list[n++] = (child){bound, j, o, at, kind};
            }
        }
    }
    return n;
}

static void look(exact *e, int depth, int last)
{
    const slots *s = e->s;
    int machine = 0, stay = next_stay(e, &machine), n_left = e->n_free - e->p.n_put;
    if (e->cut || ++e->nodes > e->nodes_most || (e->stop && e->nodes % 4096 == 0 && e->stop(e->user))) {
        e->cut = true;
        return;
    }
    if (n_left == 0 && stay < 0) {
        complete(e, depth);
        return;
    }
    if (seen_cheaper(e, last)) {
        return;
    }
    child *list = e->children + (size_t)depth * (size_t)e->width;
    int n = add_children(e, last, stay >= 0 ? s->runs[stay].stays_at : s->n, list);
    qsort(list, (size_t)n, sizeof *list, by_bound);
    for (int i = 0; i < n && !e->cut; i++) {
        put_undo u;
        if (list[i].bound >= e->best) {
            break;
        }
        po_slot_put(&e->p, list[i].run, list[i].option, list[i].start, 0, list[i].kind, &u);
        e->sequence[depth] = list[i].run;
        look(e, depth + 1, list[i].start);
        po_slot_unput(&e->p, &u);
    }
    if (stay >= 0) { /* the next is what stays */
        int64_t cost = e->p.cost;
        int fitting = e->p.fitting[machine], ready = e->p.ready[machine], to = s->options[s->runs[stay].stays].fitting;
        int at = s->runs[stay].stays_at;
        e->p.changed[stay] = change_kind(s, fitting, to) != CHANGE_NONE;
        e->p.cost += e->p.changed[stay] ? s->change : 0;
        e->p.fitting[machine] = to >= 0 ? to : fitting;
        e->p.ready[machine] = ready > s->runs[stay].stays_off ? ready : s->runs[stay].stays_off;
        e->p.option[stay] = s->runs[stay].stays;
        e->p.next_stay[machine]++;
        at = at > last ? at : last;
        e->sequence[depth] = stay;
        if (bound_from(e, at) < e->best) {
            look(e, depth + 1, at);
        }
        e->p.next_stay[machine]--;
        e->p.option[stay] = NOBODY;
        e->p.ready[machine] = ready;
        e->p.fitting[machine] = fitting;
        e->p.cost = cost;
    } else if (n_left > 0) { /* those that are left go without a place */
        int left[PO_PLAN_RUNS_MOST], k = 0;
        put_undo u[EXACT_RUNS_MOST];
        for (int j = 0; j < s->n_runs; j++) {
            if (e->p.option[j] == NOBODY) {
                po_slot_put_nowhere(&e->p, j, &u[k]);
                e->sequence[depth + k] = j;
                left[k++] = j;
            }
        }
        complete(e, depth + k);
        while (k > 0) {
            k--;
            e->p.option[left[k]] = NOBODY;
            e->p.cost = u[k].cost;
            e->p.n_put--;
        }
    }
}

bool po_slots_exact(const slots *s, const slot_prices *prices, int64_t *cost, int64_t nodes_most, int64_t *ret_nodes,
                    int *turns, int *options, bool *ret_better, po_arena *arena, bool (*stop)(void *), void *user)
{
    size_t row = (size_t)s->n + 1, n = (size_t)s->n_runs;
    exact e = {.s = s,
               .prices = prices,
               .best = *cost,
               .nodes_most = nodes_most,
               .turns = turns,
               .options = options,
               .stop = stop,
               .user = user,
               .width = s->n_options + 1};
    for (int j = 0; j < s->n_runs; j++) {
        e.n_free += s->runs[j].stays < 0;
    }
    e.seen_bits = e.n_free <= SEEN_FEW ? SEEN_BITS_FEW : SEEN_BITS;
    *ret_better = false;
    *ret_nodes = 0;
    if (e.n_free > EXACT_RUNS_MOST || n * (size_t)s->n_groups * row > (size_t)16 << 20) {
        return false;
    }
    e.least = po_arena_zeros(arena, n * (size_t)s->n_groups * row + 1, sizeof *e.least);
    e.tail = po_arena_zeros(arena, (size_t)s->n_machines * row, sizeof *e.tail);
    e.watch_tail = po_arena_zeros(arena, row, sizeof *e.watch_tail);
    e.table = po_arena_zeros(arena, (size_t)1 << e.seen_bits, sizeof *e.table);
    e.children = po_arena_zeros(arena, (n + 2) * (size_t)e.width, sizeof *e.children);
    e.sequence = po_arena_zeros(arena, n + 1, sizeof *e.sequence);
    e.moves = po_arena_zeros(arena, n + 1, sizeof *e.moves);
    e.run_keys = po_arena_zeros(arena, n + 1, sizeof *e.run_keys);
    if (!e.least || !e.tail || !e.watch_tail || !e.table || !e.children || !e.sequence || !e.run_keys || !e.moves ||
        !po_slot_putting_make(s, arena, &e.p)) {
        return false;
    }
    for (int i = 0; i < s->n_tables; i++) {
        e.longest_watch = s->tables[i].watch > e.longest_watch ? s->tables[i].watch : e.longest_watch;
    }
    uint64_t seed = 7;
    for (size_t j = 0; j < n; j++) {
        e.run_keys[j] = po_random_next(&seed);
        e.moves[j] = s->runs[j].stays < 0;
    }
    tables_of(&e);
    look(&e, 0, 0);
    *cost = e.best;
    *ret_nodes = e.nodes;
    *ret_better = e.found;
    return !e.cut;
}
