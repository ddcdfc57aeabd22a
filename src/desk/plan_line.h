/* The plan of the queue for the desk's page: made once for all who ask, in a thread of its own. SPDX-License-Identifier: Apache-2.0
 *
 * A plan takes from a hundredth of a second to some seconds: too long for those who answer. It holds until the next event of the book, or
 * the next step of its starts. What somebody tries is put into it by the same thread, on the plan that was seen. */
#ifndef PO_DESK_PLAN_LINE_H
#define PO_DESK_PLAN_LINE_H

#include "desk/desk_inside.h"
#include "work/queue.h"

enum {
    DESK_PLAN_TAG = 48,
    DESK_PLAN_NODES = 300000, /* of the exact search; more are the command line's */
    DESK_PLAN_SECONDS = 8,    /* then the best so far is the plan, with its bound */
    DESK_PLAN_TRIED_MOST = 64
};

/* A plan as it was made, shared by count; never changed while it is lent. */
typedef struct desk_planned {
    po_arena *arena;
    work_context work;
    work_queue queue;
    po_status status; /* not PO_OK: there is none, err says why */
    po_err err;
    uint64_t event;            /* the last of the book before it was made */
    int64_t from_ms, until_ms; /* it holds so long */
    int64_t begun_s;
    char tag[DESK_PLAN_TAG]; /* "" where there is none */
    const char *answer;      /* of GET, in the arena; NULL where there is none */
    int users;
} desk_planned;

/* What is tried: indices into the plan's runs and machines. */
typedef struct desk_trial {
    size_t run, machine;
    int64_t at_ms;
} desk_trial;

typedef enum desk_plan_state { DESK_PLAN_WAITS, DESK_PLAN_HERE, DESK_PLAN_FAILED, DESK_PLAN_FULL } desk_plan_state;

/* The plan that holds now, lent until desk_plan_give; asked_s: when it was asked for (one made since is taken although the book went on
 * meanwhile); 0: only one of the book's last event. WAITS: it is being made. */
desk_plan_state desk_plan_take(po_desk *desk, uint64_t event, int64_t now_ms, int64_t asked_s, desk_planned **ret);
void desk_plan_give(po_desk *desk, desk_planned *planned);
/* The plan with the trial put into it, copied into the arena. FAILED: err says why. FULL: too many wait. */
desk_plan_state desk_plan_tried(po_desk *desk, desk_planned *planned, const desk_trial *trial, po_arena *arena,
                                const po_plan **ret, po_err *err);

#endif
