/* How good plans are and how long they take: prints one line of JSON. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_schedule short|long|changes|middling SEED STEPS [MODEL.lp]
 * short: 12 runs on 4 machines of two kinds, three fittings. long: 200 runs on 20 machines of three kinds over two weeks, nothing to
 * change. changes: the same with two materials. middling: 9 runs on 3 machines, without changes, as the model knows none. STEPS 0: as many as the
 * plan takes by itself. The model is the same queue for a solver of integer programs (plan/schedule_cases.h). */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "plan/schedule_cases.h"

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static case_kind kind_of(const char *name)
{
    case_kind k = {.runs = 12,
                   .machines = 4,
                   .members = 9,
                   .kinds = 2,
                   .fittings = 3,
                   .step_minutes = 10,
                   .days = 10,
                   .watches = 4,
                   .shortest_h = 1,
                   .longest_h = 14,
                   .due_share = 0.6,
                   .busy = true};
    if (strcmp(name, "long") == 0 || strcmp(name, "changes") == 0) {
        k.runs = 200;
        k.machines = 20;
        k.members = 0;
        k.kinds = 3;
        k.fittings = strcmp(name, "changes") == 0 ? 2 : 0;
        k.step_minutes = 15;
        k.days = 21;
        k.watches = 10;
        k.longest_h = 20;
        k.asked_days = 7;
    } else if (strcmp(name, "middling") == 0) {
        k.runs = 9;
        k.machines = 3;
        k.members = 0;
        k.fittings = 0;
        k.step_minutes = 60;
        k.days = 6;
        k.busy = false;
        k.whole_hours = true;
    }
    return k;
}

int main(int argc, char **argv)
{
    po_arena *arena = po_arena_new(0);
    po_err err = {0};
    const po_plan *plan = NULL;
    const char *why = NULL;
    po_plan_options o = PO_PLAN_OPTIONS_INIT;
    o.threads = 2;
    const po_plan_problem *p = argc > 3 ? po_case_make(kind_of(argv[1]), strtoull(argv[2], NULL, 10), arena) : NULL;
    if (!p) {
        fprintf(stderr, "usage: bench_schedule short|long|changes|middling SEED STEPS [MODEL.lp]\n");
        return 1;
    }
    o.steps = strtoll(argv[3], NULL, 10);
    if (argc > 4) {
        FILE *out = fopen(argv[4], "w");
        bool written = out && po_case_model(p, out);
        if (!out || fclose(out) != 0 || !written) {
            fprintf(stderr, "bench_schedule: %s can't be written\n", argv[4]);
            return 1;
        }
    }
    double begun = now();
    if (po_plan_make(p, &o, arena, &plan, &err) != PO_OK) {
        fprintf(stderr, "bench_schedule: %s\n", err.msg);
        return 1;
    }
    double took = now() - begun;
    if (!po_plan_holds(p, plan, arena, &why)) {
        fprintf(stderr, "bench_schedule: the plan does not hold: %s\n", why);
        return 1;
    }
    printf("{\"runs\": %zu, \"machines\": %zu, \"placed\": %zu, \"seconds\": %.3f, \"cost\": %lld, \"bound\": %lld, "
           "\"best\": %s, \"gap_percent\": %.3f, \"steps\": %lld, \"nodes\": %lld}\n",
           p->n_runs, p->n_machines, plan->n_placed, took, (long long)plan->cost, (long long)plan->bound,
           plan->best ? "true" : "false",
           100 * (double)(plan->cost - plan->bound) / (double)(plan->bound > 0 ? plan->bound : 1),
           (long long)plan->steps, (long long)plan->nodes);
    po_arena_free(arena);
    return 0;
}
