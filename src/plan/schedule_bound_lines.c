/* A bound that knows what changes cost: every machine picks its best line of runs. SPDX-License-Identifier: Apache-2.0
 *
 * Lagrangian relaxation of the other limit: that each run is run once is given up for a worth of each run, and then every machine picks the line
 * of runs that is worth most for itself, by dynamic programming over slots and fittings; a line may hold a run twice. The worth of all runs, less
 * that of all lines and of all watches, is below every plan. Without changes it is at best what the prices of slots give (schedule_bound.c),
 * with changes it is more (Pessoa, Uchoa, Poggi de Aragao and Rodrigues, "Exact algorithm over an arc-time-indexed formulation for
 * parallel machine scheduling problems", Mathematical Programming Computation 2, 2010). It starts from what runs cost at those prices,
 * and goes on by subgradients as there. All is reckoned in whole numbers, so that no rounding can raise it.
 * The rule for members is left out: that can only lower it. */
#include <math.h>
#include <string.h>

#include "plan/schedule_inside.h"

enum {
    ENTRIES_MOST = 4000000, /* memory: 16 bytes each */
    CELLS_MOST = 8000000,   /* 12 bytes each */
    LOOKS_MOST = 200000000, /* time: some 2 ns each */
    TURNS_MOST = 400,
    WAITS = -1,
    STAYS = -2,
    CHANGES = -3 /* less the fitting */
};
#define REMEMBER 0.97

typedef struct entry {     /* a run that may start at a slot */
    int run, cost;         /* thousandths of a point */
    uint16_t off, watched; /* the slots from which its machine and its watch are free again */
} entry;

typedef struct
    starts { /* of the runs of a group, by slots and fittings that they want; those that want none stand last */
    entry *entries;
    int *first; /* [n * states + 1] */
} starts;

typedef struct block { /* nothing can start in it, nor run into it */
    int from, until;
    bool stays;
    int fitting; /* what is fitted behind what stays; NOBODY: what was before; MANY: anything may be */
} block;
enum { MANY = -2 };

typedef struct lane { /* machines for which all is alike once they are free */
    int machine;      /* one of them */
    block *blocks;
    int n_blocks;
    int64_t *worth; /* [(n + 1) * states]: of the best line from a slot on, by what is fitted */
    int *choice;    /* WAITS, STAYS, CHANGES - fitting, or an entry */
} lane;

typedef struct begin {
    int lane, slot, state, machines; /* state MANY: anything may be fitted */
} begin;

typedef struct relaxation {
    const slots *s;
    int states; /* fittings, and one for none in particular */
    starts *of_group;
    lane *lanes;
    int n_lanes;
    begin *begins;
    int n_begins;
    int *cap;                /* of watches */
    uint8_t *same;           /* nothing changes from the slot before */
    int64_t *worth;          /* of runs */
    int64_t *watch;          /* [n + 1]: sums of the prices of watches */
    int *used;               /* how often the lines hold a run */
    int *watched;            /* watches that begin in a slot, less those that are over */
    size_t n_entries, looks; /* in all; at a turn */
} relaxation;

static size_t cell(const relaxation *x, int slot, int state)
{
    return (size_t)slot * (size_t)x->states + (size_t)state;
}

static int state_of(const relaxation *x, int fitting)
{
    return fitting < 0 ? x->states - 1 : fitting;
}

/* Entries of a group, as they are on one of its machines: counted, then put. */
static bool put_starts(relaxation *x, int machine, po_arena *arena)
{
    const slots *s = x->s;
    starts *k = &x->of_group[s->machines[machine].group];
    size_t cells = cell(x, s->n, 0);
    k->first = po_arena_zeros(arena, cells + 2, sizeof *k->first);
    for (int turn = 0; k->first && turn < 2; turn++) {
        for (int o = 0, j = 0; o < s->n_options; o++) {
            while (o >= s->runs[j].first_option + s->runs[j].n_options) {
                j++;
            }
            const slot_run *r = &s->runs[j];
            const slot_table *t = &s->tables[s->options[o].table];
            int64_t most = unplaced_cost(s, r);
            for (size_t i = 0; s->options[o].machine == machine && r->stays < 0 && i < t->n_goods; i++) {
                int b = t->goods[i], watched = b + t->watch < s->n ? b + t->watch : s->n;
                int64_t cost = start_cost(s, r, t, b);
                size_t at = cell(x, b, state_of(x, s->options[o].fitting));
                if (b < r->ready || cost >= most) {
                    continue; /* no worth is above what it costs to have no place */
                }
                if (cost > INT32_MAX) {
                    return false;
                }
                if (turn == 0) {
                    k->first[at + 2]++;
                    x->n_entries++;
                } else {
                    k->entries[k->first[at + 1]++] = (entry){j, (int)cost, t->off[b], (uint16_t)watched};
                }
            }
        }
        if (turn == 0) {
            for (size_t i = 2; i < cells + 2; i++) {
                k->first[i] += k->first[i - 1];
            }
            size_t n = (size_t)k->first[cells + 1];
            k->entries = x->n_entries <= ENTRIES_MOST ? po_arena_zeros(arena, n + 1, sizeof *k->entries) : NULL;
            if (!k->entries) {
                return false;
            }
        }
    }
    return k->first != NULL;
}

/* Closed stretches and what stays, by time; where they lie over one another they are one block. */
static bool put_blocks(const slots *s, lane *l, po_arena *arena)
{
    const slot_machine *q = &s->machines[l->machine];
    int stay = 0, closed = 0;
    l->blocks = po_arena_zeros(arena, (size_t)(q->n_stays + q->n_closed) + 1, sizeof *l->blocks);
    while (l->blocks && (stay < q->n_stays || closed < q->n_closed)) {
        const slot_run *r = stay < q->n_stays ? &s->runs[q->stays[stay]] : NULL;
        const slot_closed *c = closed < q->n_closed ? &q->closed[closed] : NULL;
        block b, *last = l->n_blocks > 0 ? &l->blocks[l->n_blocks - 1] : NULL;
        if (r && (!c || r->stays_at <= c->from)) {
            b = (block){r->stays_at, r->stays_off, true, s->options[r->stays].fitting};
            stay++;
        } else {
            b = (block){c->from, c->until, false, NOBODY};
            closed++;
        }
        if (last && b.from < last->until) {
            last->until = b.until > last->until ? b.until : last->until;
            last->stays = true;
            last->fitting = MANY;
        } else {
            l->blocks[l->n_blocks++] = b;
        }
    }
    return l->blocks != NULL;
}

static bool alike(const slot_machine *a, const slot_machine *b)
{
    return a->group == b->group && a->n_stays == 0 && b->n_stays == 0 && a->n_closed == b->n_closed &&
           (a->n_closed == 0 || memcmp(a->closed, b->closed, (size_t)a->n_closed * sizeof *a->closed) == 0);
}

static bool put_lanes(relaxation *x, po_arena *arena)
{
    const slots *s = x->s;
    size_t cells = cell(x, s->n + 1, 0);
    x->lanes = po_arena_zeros(arena, (size_t)s->n_machines + 1, sizeof *x->lanes);
    x->begins = po_arena_zeros(arena, (size_t)s->n_machines + 1, sizeof *x->begins);
    for (int m = 0; x->lanes && x->begins && m < s->n_machines; m++) {
        const slot_machine *q = &s->machines[m];
        int l = 0, i = 0;
        while (l < x->n_lanes && !alike(q, &s->machines[x->lanes[l].machine])) {
            l++;
        }
        if (l == x->n_lanes) {
            const starts *k = &x->of_group[q->group];
            x->lanes[x->n_lanes++] = (lane){.machine = m,
                                            .worth = po_arena_zeros(arena, cells, sizeof(int64_t)),
                                            .choice = po_arena_zeros(arena, cells, sizeof(int))};
            x->looks += cells;
            for (int t = 0; t < s->n; t++) { /* what wants nothing is looked at for all that may be fitted */
                const int *f = k->first + cell(x, t, 0);
                x->looks += (size_t)(f[x->states - 1] - f[0]) +
                            (size_t)(f[x->states] - f[x->states - 1]) * (size_t)x->states;
            }
            if (!x->lanes[l].worth || !x->lanes[l].choice || !put_blocks(s, &x->lanes[l], arena)) {
                return false;
            }
        }
        bool behind = q->n_stays > 0 && s->runs[q->stays[0]].stays_at < q->ready;
        begin b = {l, q->ready, behind ? MANY : state_of(x, q->fitting), 1};
        while (i < x->n_begins &&
               !(x->begins[i].lane == l && x->begins[i].slot == b.slot && x->begins[i].state == b.state)) {
            i++;
        }
        b.machines += i < x->n_begins ? x->begins[i].machines : 0;
        x->begins[i] = b;
        x->n_begins += i == x->n_begins;
    }
    return x->lanes && x->begins;
}

static bool make(relaxation *x, const slots *s, po_arena *arena)
{
    *x = (relaxation){.s = s, .states = s->n_fittings + 1};
    size_t n = (size_t)s->n + 1, runs = (size_t)s->n_runs + 1;
    if (cell(x, s->n + 1, 0) * (size_t)s->n_machines > CELLS_MOST) {
        return false;
    }
    x->of_group = po_arena_zeros(arena, (size_t)s->n_groups + 1, sizeof *x->of_group);
    x->cap = po_arena_zeros(arena, n, sizeof *x->cap);
    x->same = po_arena_zeros(arena, n, sizeof *x->same);
    x->worth = po_arena_zeros(arena, runs, sizeof *x->worth);
    x->watch = po_arena_zeros(arena, n, sizeof *x->watch);
    x->used = po_arena_zeros(arena, runs, sizeof *x->used);
    x->watched = po_arena_zeros(arena, n, sizeof *x->watched);
    if (!x->of_group || !x->cap || !x->same || !x->worth || !x->watch || !x->used || !x->watched) {
        return false;
    }
    for (int m = 0; m < s->n_machines; m++) {
        if (!x->of_group[s->machines[m].group].first && !put_starts(x, m, arena)) {
            return false;
        }
    }
    for (int t = 0; t < s->n; t++) {
        int64_t ms = s->origin_ms + t * s->step_ms;
        x->cap[t] = s->watches_most > s->watched[t] ? s->watches_most - s->watched[t] : 0;
        x->same[t] = t > 0 && x->cap[t] == x->cap[t - 1] &&
                     !po_calendar_staffed(s->problem->calendar, ms - s->step_ms) &&
                     !po_calendar_staffed(s->problem->calendar, ms);
    }
    return put_lanes(x, arena);
}

/* ---- one turn ---- */

/* What is most worth behind a block, for what was fitted before it; the state that it leaves. */
static int64_t behind(const relaxation *x, const lane *l, const block *b, int before, int *ret_state)
{
    const int64_t *worth = l->worth + cell(x, b->until, 0);
    *ret_state = b->fitting >= 0 ? b->fitting : before;
    for (int g = 0; b->fitting == MANY && g < x->states; g++) {
        *ret_state = worth[g] > worth[*ret_state] ? g : *ret_state;
    }
    return worth[*ret_state];
}

/* Looks at entries that are off before `next`; worth is without the price of a watch up to that slot. */
static void look(const relaxation *x, const entry *all, const int *range, const int64_t *worth, int state, int next,
                 int64_t *best, int *choice)
{
    for (const entry *e = all + range[0], *end = all + range[1]; e < end; e++) {
        int64_t w = x->worth[e->run] - e->cost - x->watch[e->watched] + worth[cell(x, e->off, state)];
        if (w > *best && e->off <= next) {
            *best = w;
            *choice = (int)(e - all);
        }
    }
}

static int64_t change_cost(const relaxation *x, int from, int to)
{
    return change_kind(x->s, from == x->states - 1 ? NOBODY : from, to) != CHANGE_NONE ? x->s->change : 0;
}

/* A slot in which a run may start or a change begin. can_start false: closed. */
static void weigh_slot(const relaxation *x, lane *l, int t, int next, bool can_start)
{
    const slots *s = x->s;
    const starts *k = &x->of_group[s->machines[l->machine].group];
    const int *first = k->first + cell(x, t, 0);
    int any = x->states - 1, *choice = l->choice + cell(x, t, 0);
    int64_t *here = l->worth + cell(x, t, 0), start[PO_PLAN_FITTINGS_MOST];
    int start_choice[PO_PLAN_FITTINGS_MOST];
    for (int f = 0; f < any; f++) {
        start[f] = INT64_MIN / 4;
        if (can_start) {
            look(x, k->entries, first + f, l->worth, f, next, &start[f], &start_choice[f]);
            start[f] += x->watch[t];
        }
    }
    for (int f = 0; f <= any; f++) {
        int64_t best = l->worth[cell(x, t + 1, f)] - x->watch[t];
        choice[f] = WAITS;
        if (can_start) {
            look(x, k->entries, first + any, l->worth, f, next, &best, &choice[f]);
        }
        best += x->watch[t];
        for (int g = 0; g < any; g++) {
            int kind = change_kind(s, f == any ? NOBODY : f, g), done = s->changed[kind][t];
            int64_t cost = kind == CHANGE_NONE ? 0 : s->change;
            if (done == t && start[g] - cost > best) {
                best = start[g] - cost;
                choice[f] = start_choice[g];
            } else if (done > t && done != SLOT_NONE && l->worth[cell(x, done, g)] - cost > best) {
                best = l->worth[cell(x, done, g)] - cost;
                choice[f] = CHANGES - g;
            }
        }
        here[f] = best;
    }
}

static void weigh_lane(const relaxation *x, lane *l)
{
    int next = x->s->n, i = l->n_blocks; /* what is off at the end of the stretch at the latest; the block behind */
    for (int f = 0; f < x->states; f++) {
        l->worth[cell(x, x->s->n, f)] = 0;
        l->choice[cell(x, x->s->n, f)] = WAITS;
    }
    for (int t = x->s->n; t-- > 0;) {
        if (i < l->n_blocks && t < l->blocks[i].from) {
            next = l->blocks[i].from;
        }
        if (i > 0 && t < l->blocks[i - 1].until) {
            i--;
        }
        const block *b = i < l->n_blocks && t >= l->blocks[i].from ? &l->blocks[i] : NULL;
        if (!b || !b->stays) {
            weigh_slot(x, l, t, next, !b);
            continue;
        }
        block inside = *b;
        inside.fitting = t > b->from ? MANY : b->fitting;
        for (int f = 0, to; f < x->states; f++) {
            l->choice[cell(x, t, f)] = STAYS;
            l->worth[cell(x, t, f)] = behind(x, l, &inside, f, &to) - (inside.fitting >= 0 ? change_cost(x, f, to) : 0);
        }
    }
}

/* Follows the best line from its beginning: what it holds. */
static void follow(relaxation *x, const begin *b, int state)
{
    const slots *s = x->s;
    const lane *l = &x->lanes[b->lane];
    const starts *k = &x->of_group[s->machines[l->machine].group];
    for (int t = b->slot, i = 0; t < s->n;) {
        int c = l->choice[cell(x, t, state)];
        if (c == WAITS) {
            t++;
        } else if (c == STAYS) {
            while (l->blocks[i].until <= t) {
                i++;
            }
            block inside = l->blocks[i];
            inside.fitting = t > inside.from ? MANY : inside.fitting;
            behind(x, l, &inside, state, &state);
            t = inside.until;
        } else if (c <= CHANGES) {
            int to = CHANGES - c;
            t = s->changed[change_kind(s, state == x->states - 1 ? NOBODY : state, to)][t];
            state = to;
        } else {
            const entry *e = &k->entries[c];
            const int *first = k->first + cell(x, t, 0);
            for (int f = 0; f < x->states - 1; f++) {
                state = first[f] <= c && c < first[f + 1] ? f : state;
            }
            x->used[e->run] += b->machines;
            x->watched[t] += b->machines;
            x->watched[e->watched] -= b->machines;
            t = e->off;
        }
    }
}

/* The bound by the worths and prices as they are; `used` and `watched` of the lines that give it. */
static int64_t weigh(relaxation *x)
{
    const slots *s = x->s;
    int64_t bound = s->base;
    memset(x->used, 0, ((size_t)s->n_runs + 1) * sizeof *x->used);
    memset(x->watched, 0, ((size_t)s->n + 1) * sizeof *x->watched);
    for (int j = 0; j < s->n_runs; j++) {
        bound += x->worth[j];
    }
    for (int t = 0; t < s->n; t++) {
        bound -= (x->watch[t + 1] - x->watch[t]) * x->cap[t];
    }
    for (int i = 0; i < x->n_lanes; i++) {
        weigh_lane(x, &x->lanes[i]);
    }
    for (int i = 0; i < x->n_begins; i++) {
        const begin *b = &x->begins[i];
        const int64_t *worth = x->lanes[b->lane].worth + cell(x, b->slot, 0);
        int state = b->state == MANY ? 0 : b->state;
        for (int f = 1; b->state == MANY && f < x->states; f++) {
            state = worth[f] > worth[state] ? f : state;
        }
        bound -= b->machines * worth[state];
        follow(x, b, state);
    }
    return bound;
}

/* ---- all turns ---- */

typedef struct point {
    double *worth, *watch; /* as the relaxation has them, watches slot by slot */
} point;

static void set(relaxation *x, const point *p)
{
    for (int j = 0; j < x->s->n_runs; j++) {
        x->worth[j] = llround(p->worth[j]);
    }
    for (int t = 0; t < x->s->n; t++) {
        x->watch[t + 1] = x->watch[t] + llround(p->watch[t]);
    }
}

static void copy(const slots *s, point *to, const point *from)
{
    memcpy(to->worth, from->worth, (size_t)s->n_runs * sizeof *to->worth);
    memcpy(to->watch, from->watch, (size_t)s->n * sizeof *to->watch);
}

/* Worths up for runs that no line holds, down for those that several do; watches likewise. false: there is no way on. */
static bool step(const relaxation *x, point *now, point *way, double by_gap)
{
    const slots *s = x->s;
    double norm = 0;
    int watches = 0;
    for (int j = 0; j < s->n_runs; j++) {
        bool full = now->worth[j] >= (double)unplaced_cost(s, &s->runs[j]) && x->used[j] == 0;
        way->worth[j] = s->runs[j].stays >= 0 || full ? 0 : REMEMBER * way->worth[j] + (1 - x->used[j]);
        norm += way->worth[j] * way->worth[j];
    }
    for (int t = 0; t < s->n; t++) {
        watches += x->watched[t];
        way->watch[t] = x->same[t] ? 0 : REMEMBER * way->watch[t] + (watches - x->cap[t]);
        norm += way->watch[t] > 0 || now->watch[t] > 0 ? way->watch[t] * way->watch[t] : 0;
    }
    for (int j = 0; norm > 0 && j < s->n_runs; j++) {
        double most = (double)unplaced_cost(s, &s->runs[j]);
        now->worth[j] = fmin(fmax(now->worth[j] + by_gap / norm * way->worth[j], 0), most);
    }
    for (int t = 0; norm > 0 && t < s->n; t++) {
        now->watch[t] = fmax(now->watch[t] + by_gap / norm * way->watch[t], 0);
    }
    return norm > 0;
}

int64_t po_slots_bound_lines(const slots *s, const slot_prices *prices, int64_t cost, bool (*stop)(void *), void *user,
                             po_arena *arena)
{
    relaxation x;
    point now, best_point, way;
    point *all[] = {&now, &best_point, &way};
    int64_t best = prices->bound;
    bool changes = false;
    for (int i = 0; i < s->n_fittings * s->n_fittings; i++) {
        changes |= s->change_kinds[i] != CHANGE_NONE;
    }
    if (!changes || s->change == 0 || !make(&x, s, arena)) {
        return best;
    }
    for (int i = 0; i < 3; i++) {
        all[i]->worth = po_arena_zeros(arena, (size_t)s->n_runs + 1, sizeof(double));
        all[i]->watch = po_arena_zeros(arena, (size_t)s->n + 1, sizeof(double));
        if (!all[i]->worth || !all[i]->watch) {
            return best;
        }
    }
    for (int j = 0; j < s->n_runs; j++) {
        double most = (double)unplaced_cost(s, &s->runs[j]);
        now.worth[j] = s->runs[j].stays >= 0 ? 0 : fmin(fmax((double)prices->worth[j], 0), most);
    }
    for (int t = 0; t < s->n; t++) {
        now.watch[t] = (double)(prices->watch[t + 1] - prices->watch[t]);
    }
    copy(s, &best_point, &now);
    int turns = x.looks > LOOKS_MOST / TURNS_MOST ? (int)(LOOKS_MOST / x.looks) : TURNS_MOST;
    double pace = 0.1;
    for (int i = 0, since = 0; i < turns && best < cost && !(stop && i % 4 == 3 && stop(user)); i++, since++) {
        set(&x, &now);
        int64_t bound = weigh(&x);
        if (bound > best) {
            since = bound > best + best / 100000 ? 0 : since;
            best = bound;
            copy(s, &best_point, &now);
        }
        if (since > 10 + turns / 50) {
            pace *= 0.6;
            since = 0;
            copy(s, &now, &best_point);
            memset(way.worth, 0, (size_t)s->n_runs * sizeof *way.worth);
            memset(way.watch, 0, (size_t)s->n * sizeof *way.watch);
        } else if (!step(&x, &now, &way, pace * fmax((double)(cost - bound), 1))) {
            break;
        }
    }
    return best;
}
