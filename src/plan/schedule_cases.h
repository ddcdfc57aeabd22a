/* Queues made up from a seed, for tests and benchmarks of the schedule. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PLAN_SCHEDULE_CASES_H
#define PO_PLAN_SCHEDULE_CASES_H

#include <stdio.h>

#include "proveout/schedule.h"

typedef struct case_kind {
    int runs, machines, members; /* members 0: each run has one of its own */
    int kinds;                   /* of machines: on another kind a run takes another time */
    int fittings;                /* 0: nothing is ever changed */
    int step_minutes, days, watches;
    double shortest_h, longest_h;
    double due_share;                 /* of runs */
    int asked_days;                   /* runs are asked for within so many days; 0: all now */
    int stays;                        /* so many runs at most are promised and stay */
    bool closures, busy, whole_hours; /* whole_hours: lengths are whole steps, ranges and cooling none */
} case_kind;

/* From Tuesday 1 December 2026, 10:00, at a desk that is open 10:00 to 20:00 from Monday to Friday, with a break on Wednesdays, in London.
 * Lives in the arena. NULL: no memory, or no zone. */
const po_plan_problem *po_case_make(case_kind kind, uint64_t seed, po_arena *arena);

/* The same queue as a time-indexed model in CPLEX's LP format, for solvers of integer programs: a 0-1 variable for each run, kind of machine
 * and start; machines alike, and watches, as places in each slot. It knows no changes, nothing that stays and no rule for members, so the queue should
 * have none. Costs are thousandths of a point. False: it could not be written. */
bool po_case_model(const po_plan_problem *problem, FILE *out);

#endif
