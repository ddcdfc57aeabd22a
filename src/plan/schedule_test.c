/* Plans against brute force, by hand, and held to what they promise. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "base/rounds.h"
#include "plan/kit.h"
#include "plan/schedule_cases.h"

static const po_plan *make(const po_plan_problem *p, const po_plan_options *o, po_arena *arena)
{
    const po_plan *plan = NULL;
    const char *why = NULL;
    po_err err = {0};
    if (po_plan_make(p, o, arena, &plan, &err) != PO_OK) {
        fail_msg("no plan: %s", err.msg);
    }
    if (!po_plan_holds(p, plan, arena, &why)) {
        fail_msg("a plan that does not hold: %s", why);
    }
    return plan;
}

/* ---- brute force: every run at every good start of every machine, straight from the calendar ---- */

typedef struct place {
    int machine, at, off, watch, full; /* steps */
    int64_t cost;
} place;

enum { BRUTE_RUNS = 6, BRUTE_PLACES = 600 };

typedef struct brute {
    const po_plan_problem *p;
    place *places[BRUTE_RUNS];
    int n_places[BRUTE_RUNS];
    int64_t least_left[BRUTE_RUNS + 1];
    const place *taken[BRUTE_RUNS];
    int64_t best;
    long leaves;
} brute;

/* Costs by the header's words. Plans of these cases have lengths in whole steps and no ranges, so nothing is rounded. */
static void put_places(brute *b, int j, po_arena *arena)
{
    const po_plan_problem *p = b->p;
    const po_plan_run *r = &p->runs[j];
    int64_t step = p->step_minutes * INT64_C(60000), least = INT64_MAX;
    double step_h = p->step_minutes / 60.0;
    b->places[j] = po_arena_zeros(arena, BRUTE_PLACES, sizeof(place));
    for (size_t o = 0; o < r->n_options; o++) {
        const po_need *need = &r->options[o].need;
        int most = 0;
        for (int at = 0; p->from_ms + at * step < p->until_ms; at++) {
            int64_t start = p->from_ms + at * step, good;
            po_job_when w;
            if (start < r->ready_ms ||
                po_calendar_earliest(p->calendar, need, NULL, 0, start, &good) == PO_GOOD_NEVER || good != start) {
                continue;
            }
            po_calendar_job(p->calendar, need, start, &w);
            if (w.off.middle_ms > p->until_ms) {
                break;
            }
            int off = (int)((w.off.middle_ms - p->from_ms + step - 1) / step);
            int end = (int)((w.end.middle_ms - p->from_ms) / step);
            most = at + off - end > most ? at + off - end : most;
            double wait_h = (double)(start - r->ready_ms) / 3600000;
            double late_h = r->due_ms == INT64_MAX || p->from_ms + off * step <= r->due_ms
                                ? 0
                                : (double)(p->from_ms + off * step - r->due_ms) / 3600000;
            int64_t cost = llround(1000 * (p->weights.wait_h * r->weight * wait_h +
                                           p->weights.late_h * r->weight * late_h +
                                           p->weights.full_h * (most - at) * step_h));
            assert_true(b->n_places[j] < BRUTE_PLACES);
            b->places[j][b->n_places[j]++] =
                (place){(int)r->options[o].machine, at, off, (int)(ceil(need->watch_s / 3600 / step_h)), 0, cost};
            least = cost < least ? cost : least;
        }
    }
    assert_true(b->n_places[j] > 0);
    b->least_left[j] = least;
}

static bool fits(const brute *b, int n, const place *x)
{
    int watches = 0;
    for (int i = 0; i < n; i++) {
        const place *y = b->taken[i];
        if (x->machine == y->machine && x->at < y->off && y->at < x->off) {
            return false;
        }
        watches += x->at < y->at + y->watch && y->at < x->at + x->watch;
    }
    return watches < b->p->watches_most;
}

/* The rule for members, of whole plans. */
static bool fair(const brute *b)
{
    int n = (int)b->p->n_runs;
    for (int j = 0; j < n; j++) {
        bool waits[BRUTE_RUNS] = {false}, has = false;
        for (int i = 0; i < n; i++) { /* does somebody wait for the machine of run i when that starts? */
            for (int k = 0; k < n; k++) {
                const po_plan_run *r = &b->p->runs[k];
                for (size_t o = 0; o < r->n_options; o++) {
                    waits[i] |= r->member != b->p->runs[i].member && b->taken[k]->at > b->taken[i]->at &&
                                (int)r->options[o].machine == b->taken[i]->machine &&
                                b->p->from_ms + b->taken[i]->at * (int64_t)b->p->step_minutes * 60000 >= r->ready_ms;
                }
            }
        }
        for (int i = 0; i < n; i++) {
            const place *x = b->taken[i], *y = b->taken[j];
            has |= i != j && b->p->runs[i].member == b->p->runs[j].member && x->at <= y->at && y->at < x->off &&
                   (x->at < y->at || (i < j && waits[i]));
        }
        if (has && waits[j]) {
            return false;
        }
    }
    return true;
}

static void all_plans(brute *b, int n, int64_t cost)
{
    if (n == (int)b->p->n_runs) {
        b->leaves++;
        if (cost < b->best && fair(b)) {
            b->best = cost;
        }
        return;
    }
    for (int i = 0; i < b->n_places[n]; i++) {
        const place *x = &b->places[n][i];
        if (cost + x->cost + b->least_left[n + 1] < b->best && fits(b, n, x)) {
            b->taken[n] = x;
            all_plans(b, n + 1, cost + x->cost);
        }
    }
}

/* Places cheapest first, so that much is cut off soon. */
static int by_cost(const void *a, const void *b)
{
    const place *x = a, *y = b;
    return (x->cost > y->cost) - (x->cost < y->cost);
}

static int64_t brute_force(const po_plan_problem *p, po_arena *arena)
{
    brute b = {.p = p, .best = INT64_MAX};
    int n = (int)p->n_runs;
    for (int j = 0; j < n; j++) {
        put_places(&b, j, arena);
        qsort(b.places[j], (size_t)b.n_places[j], sizeof(place), by_cost);
    }
    for (int j = n - 1; j >= 0; j--) {
        b.least_left[j] += b.least_left[j + 1];
    }
    all_plans(&b, 0, 0);
    return b.best;
}

/* A watch place is asked for in pairs above, which is exact where at most two machines run: two watches or one. */
static void like_brute_force(void **state)
{
    (void)state;
    int proved = 0, crowded = 0, all = PO_ROUNDS(1500, 60);
    for (int round = 0; round < all; round++) {
        po_arena *arena = po_arena_new(0);
        case_kind k = {.runs = 2 + round % 3,
                       .machines = 1 + round % 2,
                       .members = round % 4 == 0 ? 2 : 0,
                       .kinds = 1 + round % 5 / 3,
                       .step_minutes = 60,
                       .days = 5,
                       .watches = 1 + round / 7 % 2,
                       .shortest_h = 1,
                       .longest_h = 9,
                       .due_share = 0.6,
                       .asked_days = round % 3 == 0 ? 1 : 0,
                       .whole_hours = true};
        po_plan_problem p = *po_case_make(k, 1000 + (uint64_t)round, arena);
        p.slack_share = 0.5;
        const po_plan *plan = make(&p, NULL, arena);
        int64_t best = brute_force(&p, arena);
        proved += plan->best;
        crowded += k.watches == 1 && k.machines > 1;
        if (!plan->best || plan->cost != best) {
            fail_msg("round %d: %lld, by brute force %lld, %s", round, (long long)plan->cost, (long long)best,
                     plan->best ? "said to be proved" : "not proved");
        }
        po_arena_free(arena);
    }
    assert_int_equal(proved, all);
    assert_true(crowded > 5);
}

/* ---- every list of runs: changes, closures, machines that are taken ---- */

/* With everything that there is, against all orders of all runs on all machines, through the slots of the search itself. */
#include "plan/schedule_inside.h"

static void all_lists(putting *p, int64_t *best)
{
    const slots *s = p->s;
    bool left = false;
    for (int j = 0; j < s->n_runs; j++) {
        const slot_run *r = &s->runs[j];
        if (p->option[j] != NOBODY || r->stays >= 0) {
            continue;
        }
        left = true;
        for (int o = r->first_option; o < r->first_option + r->n_options; o++) {
            int passed, kind, at = po_first_start(p, j, o, 0, true, &passed, &kind);
            put_undo u;
            if (at != SLOT_NONE) {
                po_put(p, j, o, at, passed, kind, &u);
                all_lists(p, best);
                po_unput(p, &u);
            }
        }
    }
    if (!left) {
        int64_t cost = p->cost;
        for (int m = 0; m < s->n_machines; m++) {
            int fitting = p->fitting[m];
            for (int k = p->next_stay[m]; k < s->machines[m].n_stays; k++) {
                int to = s->options[s->runs[s->machines[m].stays[k]].stays].fitting;
                cost += change_kind(s, fitting, to) ? s->change : 0;
                fitting = to >= 0 ? to : fitting;
            }
        }
        *best = cost < *best ? cost : *best;
    }
}

static void like_all_lists(void **state)
{
    (void)state;
    int changes = 0, stays = 0, all = PO_ROUNDS(2500, 60);
    for (int round = 0; round < all; round++) {
        po_arena *arena = po_arena_new(0);
        case_kind k = {.runs = 2 + round % 4,
                       .machines = 1 + round % 3,
                       .members = round % 3 == 0 ? 2 : 0,
                       .kinds = 1 + round % 2,
                       .fittings = round % 5 < 3 ? 3 : 0,
                       .step_minutes = 15 + 15 * (round % 2),
                       .days = 10,
                       .watches = 1 + round % 3,
                       .shortest_h = 0.6,
                       .longest_h = 15,
                       .due_share = 0.7,
                       .asked_days = round % 4 == 1 ? 2 : 0,
                       .stays = round % 4 == 2 ? 1 : 0,
                       .closures = round % 2 == 0,
                       .busy = round % 3 != 1};
        const po_plan_problem *p = po_case_make(k, (uint64_t)round, arena);
        const po_plan *plan = make(p, NULL, arena);
        slots s;
        putting all_of;
        int64_t best = INT64_MAX;
        assert_int_equal(po_slots_make(p, arena, &s, NULL), PO_OK);
        assert_true(po_putting_make(&s, arena, &all_of));
        all_lists(&all_of, &best);
        if (plan->cost > best || (plan->best && plan->cost < best && plan->n_placed == plan->n_rows)) {
            fail_msg("round %d: %lld, of all lists %lld", round, (long long)plan->cost, (long long)best);
        }
        assert_true(plan->best);
        changes += plan->n_changes;
        stays += k.stays;
        po_arena_free(arena);
    }
    assert_true(changes > all / 10 && stays > all / 8);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(like_brute_force),
        cmocka_unit_test(like_all_lists),
    };
    return cmocka_run_group_tests_name("schedule", tests, NULL, NULL);
}
