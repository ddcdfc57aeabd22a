/* The schedule: which run starts when, on which machine; how good that is at best; how often it is kept. SPDX-License-Identifier: Apache-2.0
 *
 * Plain values in, plain values out: no clock, no book. docs/schedule.md says the model in prose and what is proved of it. */
#ifndef PROVEOUT_SCHEDULE_H
#define PROVEOUT_SCHEDULE_H

#include "proveout/calendar.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
    PO_PLAN_RUNS_MOST = 1000,
    PO_PLAN_MACHINES_MOST = 64,
    PO_PLAN_FITTINGS_MOST = 250,
    PO_PLAN_NOBODY = -1 /* a member, a machine or a fitting that is none */
};

/* What each thing costs, in points. 0 to 1000 each. full_h <= wait_h: else the cheapest would be to leave a machine empty by day. */
typedef struct po_plan_weights {
    double late_h;  /* each hour that a part is off after its due time */
    double wait_h;  /* each hour until a run starts */
    double full_h;  /* each hour that a finished part stands on its machine */
    double change;  /* each change of what is fitted or loaded */
    double moved_h; /* each hour that a run starts after the start that was promised, beside its waiting */
} po_plan_weights;

/* What has to be fitted and loaded. 0 in either: any will do. */
typedef struct po_plan_fitting {
    int nozzles, spools; /* numbers that stand for them */
} po_plan_fitting;

/* A machine that may run it. */
typedef struct po_plan_option {
    size_t machine;
    int fitting; /* index into fittings, or PO_PLAN_NOBODY: as it is */
    po_need need;
} po_plan_option;

typedef struct po_plan_run {
    int64_t number;        /* of the book; for whoever reads the plan */
    int member;            /* members are told apart by it; PO_PLAN_NOBODY: of nobody in particular */
    bool may_hold_several; /* several machines at a time though others wait */
    double weight;         /* 1 to 100: of waiting and lateness */
    int64_t ready_ms;      /* not before */
    int64_t due_ms;        /* INT64_MAX: none */
    int64_t promised_ms;   /* the start that was told; INT64_MAX: none */
    int promised_machine;  /* PO_PLAN_NOBODY: any */
    bool stays;            /* promised, and put at promised_ms on promised_machine, which must be among the options */
    const po_plan_option *options;
    size_t n_options;
} po_plan_run;

typedef struct po_plan_machine {
    const char *name;
    int64_t free_ms;          /* what is on it now is off by then; INT64_MIN: it is free */
    int holder;               /* whose that is */
    int64_t watch_ms;         /* until when somebody watches it; INT64_MIN: nobody */
    int fitting;              /* what is fitted and loaded; PO_PLAN_NOBODY: not known, then nothing need be changed */
    const po_ms_span *closed; /* tagged out, resting: any order */
    size_t n_closed;
} po_plan_machine;

typedef struct po_plan_problem {
    const po_calendar *calendar;
    int64_t from_ms;  /* now */
    int64_t until_ms; /* how far it may reach; within what the calendar has laid out */
    int step_minutes; /* starts lie on whole steps from from_ms, rounded up to a whole step of UTC, on: 1 to 60 */
    int watches_most; /* that run at once */
    int spool_minutes, nozzle_minutes; /* of somebody at the desk, for a change of spools, of nozzles (and spools) */
    double slack_share; /* machines are planned free when so large a share of runs has come off: 0.5 to 0.99 */
    po_plan_weights weights;
    const po_plan_fitting *fittings;
    size_t n_fittings;
    const po_plan_machine *machines;
    size_t n_machines;
    const po_plan_run *runs;
    size_t n_runs;
} po_plan_problem;

#define PO_PLAN_WEIGHTS_INIT                                                                                           \
    {                                                                                                                  \
        .late_h = 10, .wait_h = 1, .full_h = 0.25, .change = 1, .moved_h = 20                                          \
    }

typedef struct po_plan_options {
    uint64_t seed;
    int64_t steps; /* of the search, in all; 0: by the size of the problem */
    int64_t nodes; /* of the exact search; 0: by default; -1: none */
    int threads;   /* 0: as many as the process may use. The answer does not depend on it. */
    const int *
        first; /* a plan to begin with: for each run its place in the order; NULL: none. The answer may depend on it. */
    bool (*stop)(
        void *
            user); /* asked now and then; true: what was found so far will do (the answer then depends on when). May be NULL */
    void *user;
} po_plan_options;
#define PO_PLAN_OPTIONS_INIT                                                                                           \
    {                                                                                                                  \
        .seed = 1, .steps = 0, .nodes = 0, .threads = 1, .first = 0, .stop = 0, .user = 0                              \
    }

typedef struct po_plan_row { /* one for each run, in the problem's order */
    bool placed;             /* false: no good start within the stretch */
    size_t machine, option;
    int64_t start_ms;
    int64_t free_ms;      /* the machine is planned free again, with slack */
    bool change;          /* something has to be changed on the machine first */
    int64_t change_by_ms; /* the earliest time by which that can be done */
    po_job_when when;     /* as expected */
    double late_h;        /* of the planned take-off, hours past the due time; 0: in time, or none due */
    int64_t cost;         /* its part of the cost, thousandths of a point */
} po_plan_row;

typedef struct po_plan {
    const po_plan_row *rows;
    size_t n_rows, n_placed;
    int64_t cost;  /* thousandths of a point */
    int64_t bound; /* no plan costs less */
    bool best;     /* proved: cost == bound */
    int64_t late, wait, full, change,
        moved; /* parts of the cost; a run without a place is counted at the end of the stretch, a
                                                thousand points beside that in `unplaced` */
    int64_t unplaced;
    int n_changes;
    double late_h, full_h; /* in all */
    int64_t steps, nodes;  /* that were taken */
} po_plan;

/* Make a plan. Everything in the result lives in the arena.
 * Starts are good ones (po_calendar_earliest: the best of sure, expected, watched that the run has on that machine at all), at most
 * watches_most watches run at once (counted in whole steps), machines are free and changed over, and a member takes a second machine only when
 * no other member's run waits that could have it. A run that stays is where it was promised; its watch and the rule for members are
 * not asked. Of all such plans the one returned costs no more than any that was looked at; `bound` is below all.
 * Errors  PO_E_RANGE: a value outside its range, a run without options, a run that stays where it can't be; PO_E_LIMIT: too large;
 *         PO_E_NOMEM. Same problem and options, same plan. */
PO_API po_status po_plan_make(const po_plan_problem *problem, const po_plan_options *options, po_arena *arena,
                              const po_plan **ret, po_err *err) PO_MUST_USE;

/* The plan in which everything is where `plan` has it but one run, which is put on that machine, at the first possible start from at_ms
 * on; what no longer fits behind it moves as little later as it can on its own machine. PO_E_NOTFOUND: it can't start there at all. */
PO_API po_status po_plan_try(const po_plan_problem *problem, const po_plan *plan, size_t run, size_t machine,
                             int64_t at_ms, po_arena *arena, const po_plan **ret, po_err *err) PO_MUST_USE;

/* Whether a plan keeps to all that po_plan_make promises, written apart from the search; why: one sentence, in the arena. */
PO_API bool po_plan_holds(const po_plan_problem *problem, const po_plan *plan, po_arena *arena, const char **ret_why);

/* How often a plan is kept, by as many replays with run lengths drawn from their ranges (log-normal; low and high are the 5 % and 95 %
 * points). A run starts at its planned start or, where its machine comes free later, at the next good start. */
typedef struct po_plan_kept { /* for each run */
    double start;             /* share of replays in which it starts as planned */
    double due;               /* and is off by its due time; NAN: none */
    int64_t off90_ms;         /* it is off by then in nine of ten */
} po_plan_kept;
PO_API po_status po_plan_replay(const po_plan_problem *problem, const po_plan *plan, int replays, uint64_t seed,
                                po_arena *arena, const po_plan_kept **ret, po_err *err) PO_MUST_USE;

/* A run that is late or has no place, and what would make room for it. */
typedef struct po_plan_lack {
    size_t run;
    bool
        alone; /* it could be in time if it had the shop to itself; false: only another due time or longer hours help */
    int64_t earliest_off_ms; /* by then it would be off; INT64_MAX: never within the stretch */
    size_t machine;          /* where that is */
    bool another;            /* another machine like that one would do */
    const size_t
        *others; /* if it went first there, these would start later: they may make room. None: that would not do */
    size_t n_others;
} po_plan_lack;
/* Those that are late or without place, each looked at by itself, at most PO_PLAN_LACKS_MOST. */
enum { PO_PLAN_LACKS_MOST = 12 };
PO_API po_status po_plan_lacks(const po_plan_problem *problem, const po_plan *plan, po_arena *arena,
                               const po_plan_lack **ret, size_t *ret_n, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
