/* The queue: what waits in the book, as a plan, with what the plan says to people. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_QUEUE_H
#define PO_WORK_QUEUE_H

#include "proveout/schedule.h"
#include "work/due.h"

enum { WORK_QUEUE_REPLAYS = 400 };

typedef struct work_queue_options {
    const po_calendar *calendar; /* of the shop, from now on */
    const char *without;         /* a machine as if it were out of use; NULL: none */
    int64_t without_until_ms;    /* until then; 0: for good */
    bool all_may_move;           /* promises too */
    const po_plan_option *
        like; /* more runs that are not in the book, alike, each of a member of its own; machines by the shop's order */
    size_t n_like, copies;
    int64_t like_due_ms;      /* INT64_MAX: none */
    int64_t steps, nodes;     /* as of po_plan_options; 0: by default */
    bool (*stop)(void *user); /* the same; may be NULL */
    void *user;
} work_queue_options;
#define WORK_QUEUE_OPTIONS_INIT                                                                                        \
    {                                                                                                                  \
        .calendar = 0, .like_due_ms = INT64_MAX                                                                        \
    }

typedef struct work_queued {                     /* beside each run of the problem */
    int64_t run;                                 /* 0: one of the copies */
    const char *member, *file, *recipe, *course; /* "" where not known */
    int64_t promised_ms;                         /* as the book has it; INT64_MAX: none */
    const char *promised_machine;                /* "": any */
    const char *why_moved;                       /* the promise can't be kept: why; NULL: it is, or there is none */
} work_queued;

typedef struct work_queue {
    po_plan_problem problem;
    const work_queued *queued;
    const po_plan *plan;
    const po_plan_kept *kept;
    const po_plan_lack *lacks;
    size_t n_lacks;
    json_t *left_out; /* of the book, but not in the plan: {"run", "member", "says"}; work_queue_done's */
} work_queue;

/* Ask the book for all that waits, make a plan of it, replay it. Lives in the context's arena.
 * Errors  those of the book and of po_plan_make; PO_E_NOTFOUND (where "machine"): `without` is no machine of the shop */
po_status work_queue_make(work_context *w, const work_queue_options *options, work_queue *ret, po_err *err) PO_MUST_USE;
void work_queue_done(work_queue *queue); /* accepts one that was zeroed */

/* Whether the run of that place starts otherwise than was promised. */
bool work_queue_moved(const work_queue *queue, size_t place);

/* The body of the act run-promise for that place, with a message to its member where the shop sends messages and not `quiet`. why: why it is
 * otherwise than was promised; may be NULL. The caller's; NULL: out of memory. */
json_t *work_queue_promise(const work_context *w, const work_queue *queue, size_t place, const po_plan *plan,
                           const char *why, bool quiet);

/* "proveout/plan-queue/1" (docs/schedule.md); the caller's. NULL: out of memory. */
json_t *work_queue_json(const work_context *w, const work_queue *queue);

/* ---- for work_queue_make: queue_book.c ---- */

typedef struct work_queue_maker {
    work_context *w;
    const work_queue_options *o;
    work_book book;
    json_t *today, *machines, *left_out;
    po_plan_machine *machine_list;
    po_plan_run *runs;
    work_queued *queued;
    size_t n_runs;
    po_plan_fitting *fittings;
    const char **spool_keys; /* materials of each fitting, "petg,pla" */
    size_t n_fittings;
    const char **members;
    int n_members;
} work_queue_maker;

po_status work_queue_gather(work_queue_maker *k, po_err *err) PO_MUST_USE;

#endif
