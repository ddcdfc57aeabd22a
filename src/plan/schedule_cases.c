/* Queues made up from a seed. SPDX-License-Identifier: Apache-2.0 */
#include "plan/schedule_cases.h"

#include <string.h>

#include "plan/schedule_inside.h"

static const po_span_minutes ten_to_eight[] = {{600, 1200}}, with_break[] = {{600, 780}, {840, 1200}};
static const int64_t tuesday_ms = INT64_C(1796119200000); /* 2026-12-01 10:00 UTC */
static const int64_t hour_ms = 3600000;

static int below(uint64_t *seed, int n)
{
    return n > 0 ? (int)(po_random_next(seed) % (uint64_t)n) : 0;
}

static double between(uint64_t *seed, double low, double high)
{
    return low + (high - low) * ((double)(po_random_next(seed) >> 11) * 0x1p-53);
}

static const po_calendar *desk(po_arena *arena, int days)
{
    po_shop *shop = po_arena_zeros(arena, 1, sizeof *shop);
    const po_calendar *c = NULL;
    const po_zone *zone;
    po_ms_span within = {tuesday_ms - 10 * hour_ms, tuesday_ms + (days + 60) * 24 * hour_ms};
    if (!shop || po_zone_load("Europe/London", arena, &zone, NULL) != PO_OK) {
        return NULL;
    }
    shop->name = "Quayside Workshop";
    for (int d = 0; d < 5; d++) {
        shop->hours[d] = (po_day_hours){d == 2 ? with_break : ten_to_eight, d == 2 ? 2 : 1};
    }
    return po_calendar_make(shop, zone, within, NULL, 0, arena, &c, NULL) == PO_OK ? c : NULL;
}

static po_need need_of(const case_kind *k, double hours, double pace)
{
    double step_h = k->step_minutes / 60.0;
    if (k->whole_hours) {
        double s = (double)(int)(hours * pace / step_h + 1) * step_h * 3600;
        return (po_need){.watch_s = step_h * 3600, .seconds = s, .low = 1, .middle = 1, .high = 1};
    }
    return (po_need){.first_bead_s = 300,
                     .watch_s = 1800,
                     .seconds = hours * pace * 3600,
                     .low = 0.92,
                     .middle = 1,
                     .high = 1.09,
                     .cool_s = 900};
}

static bool put_run(const case_kind *k, uint64_t *seed, int j, po_plan_run *r, po_arena *arena)
{
    po_plan_option *options = po_arena_zeros(arena, (size_t)k->machines, sizeof *options);
    double hours = between(seed, k->shortest_h, k->longest_h);
    int kind = below(seed, 3) == 0 ? below(seed, k->kinds) : NOBODY; /* a third wants one kind of machine */
    int fitting = k->fittings > 0 && below(seed, 4) > 0 ? below(seed, k->fittings) : NOBODY;
    *r = (po_plan_run){
        .number = 100 + j,
        .member = k->members > 0 ? below(seed, k->members) : j,
        .weight = below(seed, 6) == 0 ? 3 : 1,
        .ready_ms = tuesday_ms + (k->asked_days > 0 && below(seed, 2) ? below(seed, k->asked_days * 24) * hour_ms : 0),
        .due_ms = INT64_MAX,
        .promised_ms = INT64_MAX,
        .promised_machine = NOBODY,
        .options = options};
    if (between(seed, 0, 1) < k->due_share) {
        r->due_ms = r->ready_ms + (int64_t)(hours + between(seed, 4, k->days * 16)) * hour_ms;
    }
    for (int m = 0; options && m < k->machines; m++) {
        if (kind < 0 || m % k->kinds == kind) {
            options[r->n_options++] = (po_plan_option){(size_t)m, fitting,
                                                       need_of(k, hours, 1 + 0.25 * (m % k->kinds))};
        }
    }
    return options != NULL;
}

const po_plan_problem *po_case_make(case_kind k, uint64_t seed, po_arena *arena)
{
    static const char *const names[] = {"Alder", "Birch", "Cedar", "Dogwood", "Elm"};
    po_plan_problem *p = po_arena_zeros(arena, 1, sizeof *p);
    po_plan_run *runs = po_arena_zeros(arena, (size_t)k.runs + 1, sizeof *runs);
    po_plan_machine *machines = po_arena_zeros(arena, (size_t)k.machines + 1, sizeof *machines);
    po_plan_fitting *fittings = po_arena_zeros(arena, (size_t)k.fittings + 1, sizeof *fittings);
    po_ms_span *closed = po_arena_zeros(arena, (size_t)k.machines + 1, sizeof *closed);
    const po_calendar *c = desk(arena, k.days);
    k.kinds = k.kinds < 1 ? 1 : k.kinds > k.machines ? k.machines : k.kinds;
    if (!p || !runs || !machines || !fittings || !closed || !c) {
        return NULL;
    }
    for (int f = 0; f < k.fittings; f++) {
        fittings[f] = (po_plan_fitting){1 + f % 2, 1 + f / 2};
    }
    for (int m = 0; m < k.machines; m++) {
        machines[m] = (po_plan_machine){.name = m < 5 ? names[m] : po_arena_printf(arena, "Machine %d", m + 1),
                                        .free_ms = INT64_MIN,
                                        .holder = NOBODY,
                                        .watch_ms = INT64_MIN,
                                        .fitting = k.fittings > 0 ? below(&seed, k.fittings + 1) - 1 : NOBODY};
        if (k.busy && below(&seed, 3) == 0) {
            machines[m].free_ms = tuesday_ms + below(&seed, 9) * hour_ms;
            machines[m].holder = below(&seed, k.members > 0 ? k.members : k.runs);
            machines[m].watch_ms = below(&seed, 2) ? tuesday_ms + hour_ms / 2 : INT64_MIN;
        }
        if (k.closures && below(&seed, 3) == 0) {
            closed[m].from_ms = tuesday_ms + below(&seed, k.days * 20) * hour_ms;
            closed[m].until_ms = closed[m].from_ms + (1 + below(&seed, 30)) * hour_ms;
            machines[m].closed = &closed[m];
            machines[m].n_closed = 1;
        }
    }
    for (int j = 0; j < k.runs; j++) {
        if (!put_run(&k, &seed, j, &runs[j], arena)) {
            return NULL;
        }
    }
    for (int j = 0; j < k.stays && j < k.runs; j++) { /* at ten o'clock of days to come */
        runs[j].stays = true;
        runs[j].promised_machine = (int)runs[j].options[(size_t)below(&seed, (int)runs[j].n_options)].machine;
        runs[j].promised_ms = tuesday_ms + (1 + j) * 24 * hour_ms;
        runs[j].ready_ms = tuesday_ms;
        machines[runs[j].promised_machine].n_closed = 0;
    }
    *p = (po_plan_problem){.calendar = c,
                           .from_ms = tuesday_ms,
                           .until_ms = tuesday_ms + k.days * 24 * hour_ms,
                           .step_minutes = k.step_minutes,
                           .watches_most = k.watches,
                           .spool_minutes = 10,
                           .nozzle_minutes = 30,
                           .slack_share = 0.8,
                           .weights = PO_PLAN_WEIGHTS_INIT,
                           .fittings = fittings,
                           .n_fittings = (size_t)k.fittings,
                           .machines = machines,
                           .n_machines = (size_t)k.machines,
                           .runs = runs,
                           .n_runs = (size_t)k.runs};
    return p;
}

/* ---- the model for other solvers ---- */

/* Terms of a row, broken into lines. */
static void term(FILE *out, int *n, const char *sign, long long factor, int j, int g, int at)
{
    fprintf(out, factor == 1 ? " %s " : " %s %lld ", sign, factor);
    if (at < 0) {
        fprintf(out, "u%d", j);
    } else {
        fprintf(out, "x%d_%d_%d", j, g, at);
    }
    if (++*n % 8 == 0) {
        fprintf(out, "\n");
    }
}

typedef void visit(FILE *out, const slots *s, int j, const slot_table *t, int g, int at, int slot, int *n);

/* Every start of every run on every kind of machine, but those before the first machine of that kind is free. */
static void each(FILE *out, const slots *s, int only, int slot, int *n, visit *do_it)
{
    for (int j = only < 0 ? 0 : only; j < (only < 0 ? s->n_runs : only + 1); j++) {
        const slot_run *r = &s->runs[j];
        uint64_t seen = 0;
        for (int o = r->first_option; o < r->first_option + r->n_options; o++) {
            int g = s->machines[s->options[o].machine].group;
            const slot_table *t = &s->tables[s->options[o].table];
            for (size_t i = 0; !(seen >> g & 1) && i < t->n_goods; i++) {
                if (t->goods[i] >= r->ready) {
                    do_it(out, s, j, t, g, t->goods[i], slot, n);
                }
            }
            seen |= UINT64_C(1) << g;
        }
    }
}

static void cost_term(FILE *out, const slots *s, int j, const slot_table *t, int g, int at, int slot, int *n)
{
    (void)slot;
    term(out, n, "+", start_cost(s, &s->runs[j], t, at), j, g, at);
}

static void once_term(FILE *out, const slots *s, int j, const slot_table *t, int g, int at, int slot, int *n)
{
    (void)s, (void)t, (void)slot;
    term(out, n, "+", 1, j, g, at);
}

static void binary_term(FILE *out, const slots *s, int j, const slot_table *t, int g, int at, int slot, int *n)
{
    (void)s, (void)t, (void)slot;
    term(out, n, "", 1, j, g, at);
}

/* slot: slot * (groups + 1) + group; the last group is that of watches */
static void place_term(FILE *out, const slots *s, int j, const slot_table *t, int g, int at, int slot, int *n)
{
    int of = slot % (s->n_groups + 1), k = slot / (s->n_groups + 1);
    if (of == s->n_groups ? at <= k && k < at + t->watch : of == g && at <= k && k < t->off[at]) {
        term(out, n, "+", 1, j, g, at);
    }
}

bool po_case_model(const po_plan_problem *p, FILE *out)
{
    po_arena *work = po_arena_new(0);
    slots s;
    int n = 0;
    if (!work || po_slots_make(p, work, &s, NULL) != PO_OK) {
        po_arena_free(work);
        return false;
    }
    fprintf(out, "Minimize\n cost:");
    each(out, &s, -1, 0, &n, cost_term);
    for (int j = 0; j < s.n_runs; j++) {
        term(out, &n, "+", unplaced_cost(&s, &s.runs[j]), j, 0, -1);
    }
    fprintf(out, "\nSubject To\n");
    for (int j = 0; j < s.n_runs; j++) {
        fprintf(out, " r%d:", j);
        each(out, &s, j, 0, &n, once_term);
        term(out, &n, "+", 1, j, 0, -1);
        fprintf(out, " = 1\n");
    }
    for (int k = 0; k < s.n; k++) {
        for (int g = 0; g <= s.n_groups; g++) {
            int cap = g == s.n_groups ? s.watches_most - s.watched[k] : 0;
            for (int m = 0; m < s.n_machines; m++) {
                bool in = s.machines[m].group == g && s.machines[m].ready <= k;
                for (int c = 0; c < s.machines[m].n_closed; c++) {
                    in = in && !(s.machines[m].closed[c].from <= k && k < s.machines[m].closed[c].until);
                }
                cap += in;
            }
            fprintf(out, " p%d_%d: 0 u0", k, g);
            each(out, &s, -1, k * (s.n_groups + 1) + g, &n, place_term);
            fprintf(out, " <= %d\n", cap < 0 ? 0 : cap);
        }
    }
    fprintf(out, "Binary\n");
    each(out, &s, -1, 0, &n, binary_term);
    for (int j = 0; j < s.n_runs; j++) {
        fprintf(out, " u%d\n", j);
    }
    fprintf(out, "End\n");
    po_arena_free(work);
    return !ferror(out);
}
