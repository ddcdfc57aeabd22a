/* The schedule's problem in slots, for the files that search it. SPDX-License-Identifier: Apache-2.0
 *
 * Time is cut into slots of step_minutes. For every need that differs there is a table: the first good start from a slot on, and for a
 * good start the slot in which the machine is free again. Tables are made rising where the calendar would not have them so (a later start
 * is never taken for better), so that of two plans alike but for one start the earlier start costs no more: all that is proved rests on that.
 *
 * A plan is a list of runs. Taken in turn, each is put at the first slot at which its machine and a watch are free. Lists by rising
 * starts hold a best plan: take one, take its runs by their starts, and put them anew; by induction none starts later than before. */
#ifndef PO_PLAN_SCHEDULE_INSIDE_H
#define PO_PLAN_SCHEDULE_INSIDE_H

#include "base/random.h"
#include "proveout/schedule.h"

enum {
    SLOT_NONE = 0xffff, /* no such slot */
    SLOTS_MOST = 60000,
    TABLE_BYTES_MOST = 400 << 20,
    CHANGE_NONE = 0,
    CHANGE_SPOOL = 1,
    CHANGE_NOZZLE = 2,
    NOBODY = PO_PLAN_NOBODY
};

typedef struct slot_table { /* of one need */
    const po_need *need;
    uint16_t *start; /* [n_slots + 1]: the first good start from there on */
    uint16_t *off;   /* [n_slots + 1]: of a good start */
    uint16_t *full;  /* slots that it stands full */
    uint16_t *goods; /* good starts, rising */
    size_t n_goods;
    int watch; /* slots from the start that one watch is taken; at least 1 */
} slot_table;

typedef struct slot_option {
    int machine, fitting, table;
} slot_option;

typedef struct slot_run {
    int first_option, n_options;
    int member;
    bool asks; /* its member has something else too: fairness is to be asked */
    bool several;
    int ready;                 /* first slot */
    int64_t due;               /* slot; far away where none */
    int64_t promised;          /* slot; far away where none */
    int64_t wait, late, moved; /* thousandths of a point a slot */
    int stays;                 /* option; NOBODY: it may move */
    int stays_at, stays_off;   /* slots */
} slot_run;

typedef struct slot_closed {
    int from, until;
} slot_closed;

typedef struct slot_machine {
    int ready, fitting, holder;
    const slot_closed *closed; /* rising, apart */
    int n_closed;
    const int *stays; /* runs that stay on it, by time */
    int n_stays;
    int group;
} slot_machine;

typedef struct slots {
    const po_plan_problem *problem;
    int64_t origin_ms, step_ms;
    int n; /* slots */
    slot_table *tables;
    int n_tables;
    slot_option *options;
    int n_options;
    slot_run *runs;
    int n_runs;
    slot_machine *machines;
    int n_machines, n_groups;
    uint16_t *changed[3];  /* by kind of change: when it is done, if it may begin at that slot */
    uint8_t *change_kinds; /* [(n_fittings + 1)^2]: from, to */
    int n_fittings;
    uint8_t *watched; /* [n + 1] watches of what runs already and of what stays */
    int watches_most;
    int64_t full, change; /* thousandths of a point a slot, a change */
    int64_t base;         /* that no plan can alter: runs that stay */
    int64_t unplaced;     /* what a run without place costs beside its waiting */
} slots;

/* Tables and all; in the arena. */
po_status po_slots_make(const po_plan_problem *problem, po_arena *arena, slots *ret, po_err *err);

static inline int change_kind(const slots *s, int from, int to)
{
    return from < 0 || to < 0 ? CHANGE_NONE : s->change_kinds[from * s->n_fittings + to];
}

/* What a run costs that starts at a slot by a table; without changes. */
static inline int64_t start_cost(const slots *s, const slot_run *r, const slot_table *t, int at)
{
    int64_t late = t->off[at] - r->due, moved = at - r->promised;
    return r->wait * (at - r->ready) + s->full * t->full[at] + (late > 0 ? r->late * late : 0) +
           (moved > 0 ? r->moved * moved : 0);
}

/* What one without place costs: as if it began and were off at the end. */
static inline int64_t unplaced_cost(const slots *s, const slot_run *r)
{
    int64_t late = s->n - r->due, moved = s->n - r->promised;
    return s->unplaced + r->wait * (s->n - r->ready) + (late > 0 ? r->late * late : 0) +
           (moved > 0 ? r->moved * moved : 0);
}

/* ---- schedule_put.c ---- */

typedef struct putting { /* a plan as it grows */
    const slots *s;
    int *ready, *fitting, *next_stay; /* of machines */
    uint8_t *watched;
    int *start, *option, *off; /* of runs; option NOBODY: not put, -2: without place */
    uint8_t *changed;          /* of runs: something was changed for it */
    int n_put;
    int64_t cost;                    /* of what was put, and of changes */
    int *of_member, *next_of_member; /* runs of a member that were put, linked; by member, by run */
} putting;

enum { WITHOUT_PLACE = -2 };

bool po_slot_putting_make(const slots *s, po_arena *arena, putting *ret);
void po_slot_putting_clear(putting *p);

/* The first start for a run by an option, not before `from`; SLOT_NONE: there is none.
 * passes: it may go behind what stays on the machine (then `*ret_passed` says behind how many); else it must come off before.
 * ret_kind: what has to be changed first */
int po_slot_first(const putting *p, int run, int option, int from, bool passes, int *ret_passed, int *ret_kind);

typedef struct put_undo {
    int run, machine, ready, fitting, next_stay;
    int64_t cost;
} put_undo;
/* Put it; what stays on the machine and is passed goes into the plan too. */
void po_slot_put(putting *p, int run, int option, int start, int passed, int kind, put_undo *undo);
void po_slot_put_nowhere(putting *p, int run, put_undo *undo);
/* Take the last one on its machine back, and what it passed. cost goes back to what it was before: where another was put since, the
 * caller mends it. */
void po_slot_unput(putting *p, const put_undo *undo);
/* What stays and was not passed: its changes, at the end. */
void po_slot_put_rest(putting *p);

/* One more, by the option wished, or NOBODY: where it costs least. */
void po_slot_put_one(putting *p, int run, int wished, put_undo *undo);

/* Runs in the order given, each by the option (wished[run], or NOBODY: where it costs least). *ret_cost in all. earliest (may be NULL): slots
 * before which runs do not start. limit: stops and gives up (false) once the cost is beyond. */
bool po_slot_put_list(putting *p, const int *order, int n, const int *wished, const int *earliest, int64_t limit);
/* Anew by rising starts, until nothing changes; the cost never rises. order: room for n_runs. */
void po_slot_put_again(putting *p, int *order);

/* ---- schedule_bound.c ---- */

typedef struct slot_prices { /* of a slot of a machine of a group, of a watch; whole, not negative */
    int64_t *machine;        /* [n_groups * (n + 1)]: sums from slot 0 on */
    int64_t *watch;          /* [n + 1]: sums */
    int64_t *worth;          /* of runs: what each that may move costs at least at these prices */
    int64_t bound;
    bool watches_cost;
} slot_prices;

/* A bound below all plans by Lagrangian relaxation.
 * offer    is shown now and then by which starts (slots, of every run) the prices would have it, and says what the cheapest plan costs that
 *          is known by then
 * ret_starts  those starts in the mean over the turns, in sixteenths of a slot */
bool po_slots_bound(const slots *s, int turns, int64_t (*offer)(void *user, const int *starts), void *user,
                    bool (*stop)(void *), void *stop_user, po_arena *arena, slot_prices *ret, int *ret_starts);

/* ---- schedule_bound_lines.c ---- */

/* A bound that takes changes in, from those prices on; not below theirs. cost: of the cheapest plan that is known. Without memory, or for a
 * problem too large for it, that of the prices. */
int64_t po_slots_bound_lines(const slots *s, const slot_prices *prices, int64_t cost, bool (*stop)(void *), void *user,
                             po_arena *arena);

/* ---- schedule_exact.c ---- */

enum { EXACT_RUNS_MOST = 24 };
/* Looks at all plans that could be better than *cost; true: none was left out. Where one was found (*ret_better): turns,
 * for each run its place in the list, and options. */
bool po_slots_exact(const slots *s, const slot_prices *prices, int64_t *cost, int64_t nodes_most, int64_t *ret_nodes,
                    int *turns, int *options, bool *ret_better, po_arena *arena, bool (*stop)(void *), void *user);

/* ---- schedule_search.c ---- */

/* The best that was found in so many steps; best: a putting of that plan. */
bool po_slots_search(const slots *s, const int *first_order, const po_plan_options *options, int64_t steps,
                     int64_t bound, putting *best, int64_t *ret_steps, po_arena *arena);

/* ---- schedule_lines.c ---- */

/* The same for long queues, from a plan; starts and options of all runs. The rule for members may be broken. */
bool po_slots_lines(const slots *s, const putting *first, const po_plan_options *options, int64_t steps, int64_t bound,
                    int *ret_starts, int *ret_options, int64_t *ret_steps, po_arena *arena);

#endif
