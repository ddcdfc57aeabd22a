/* The thread that plans (plan_line.h). SPDX-License-Identifier: Apache-2.0 */
#include "desk/opening.h"
#include "desk/plan_line.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "desk/proving.h"

#define PLAN_ARENA_MOST ((size_t)1000000000)
#define DAY_MS INT64_C(86400000)
enum { CALENDAR_DAYS = 70 /* a plan reaches eight weeks, its last run some days more */ };

typedef enum stage { FREE, WAITS, WORKS, DONE, FAILED } stage;

typedef struct tried {
    stage stage;
    desk_planned *of; /* held */
    desk_trial trial;
    po_arena *arena;
    const po_plan *plan;
    po_err err;
    uint64_t used;
} tried;

struct desk_plans {
    po_desk *desk;
    pthread_mutex_t lock;
    pthread_cond_t more;
    pthread_t thread;
    bool runs, wanted, ending;
    int64_t stop_s; /* of the plan that is being made */
    desk_planned *latest;
    tried tried[DESK_PLAN_TRIED_MOST];
    uint64_t uses;
};

/* With the lock held. */
static void let_go(desk_planned *p)
{
    if (p && --p->users == 0) {
        work_queue_done(&p->queue);
        po_arena_free(p->arena);
        free(p);
    }
}

static void clear(tried *t)
{
    po_arena_free(t->arena);
    let_go(t->of);
    *t = (tried){.stage = FREE};
}

static bool time_is_up(void *user)
{
    struct desk_plans *p = user;
    pthread_mutex_lock(&p->lock);
    bool up = p->ending || desk_seconds() >= p->stop_s;
    pthread_mutex_unlock(&p->lock);
    return up;
}

/* The rows of the answer with the machines that each may run on. */
static void put_machines(const desk_planned *p, json_t *answer)
{
    json_t *rows = json_object_get(answer, "runs");
    for (size_t j = 0; j < json_array_size(rows); j++) {
        const po_plan_run *r = &p->queue.problem.runs[j];
        json_t *list = json_array();
        for (size_t i = 0; i < r->n_options; i++) {
            json_array_append_new(list, json_string(p->queue.problem.machines[r->options[i].machine].name));
        }
        json_object_set_new(json_array_get(rows, j), "machines", list);
    }
}

/* The answer as text, for it is read by several at once. */
static po_status tell(desk_planned *p, po_err *err)
{
    json_t *answer = work_queue_json(&p->work, &p->queue);
    int64_t step = p->queue.problem.step_minutes * INT64_C(60000);
    if (!answer) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    p->until_ms = p->from_ms - p->from_ms % step + step; /* then its first slot has passed */
    snprintf(p->tag, sizeof p->tag, "%llu-%lld", (unsigned long long)p->event, (long long)p->from_ms);
    put_machines(p, answer);
    json_object_set_new(answer, "format", json_string("proveout/plan-now/1"));
    json_object_set_new(answer, "plan", json_string(p->tag));
    json_object_set_new(answer, "event", json_integer((json_int_t)p->event));
    json_object_set_new(answer, "holds_until_ms", json_integer(p->until_ms));
    json_object_set_new(answer, "step_ms", json_integer(step));
    char *text = json_dumps(answer, JSON_COMPACT);
    p->answer = text ? po_arena_text(p->arena, text) : NULL;
    free(text);
    json_decref(answer);
    return p->answer ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
}

static po_status plan(struct desk_plans *plans, desk_planned *p, po_err *err)
{
    po_desk *desk = plans->desk;
    work_queue_options o = WORK_QUEUE_OPTIONS_INIT;
    po_status s = po_ledger_last_event(desk->options.ledger, &p->event, err);
    s = s == PO_OK ? work_begin(&p->work, p->arena, desk_shop_now(desk), NULL, desk->options.ledger, p->from_ms, err)
                   : s;
    if (s == PO_OK && !p->work.zone) {
        s = po_fail(err, PO_E_NOTFOUND,
                    "the shop's time zone is not known on this computer, so nothing can be planned");
    }
    po_ms_span within = {p->from_ms, p->from_ms + CALENDAR_DAYS * DAY_MS};
    s = s == PO_OK ? po_calendar_make(p->work.shop, p->work.zone, within, NULL, 0, p->arena, &o.calendar, err) : s;
    o.nodes = DESK_PLAN_NODES;
    o.stop = time_is_up;
    o.user = plans;
    s = s == PO_OK ? work_queue_make(&p->work, &o, &p->queue, err) : s;
    return s == PO_OK ? tell(p, err) : s;
}

/* With the lock held, which is open meanwhile. */
static void make(struct desk_plans *plans)
{
    plans->wanted = false;
    plans->stop_s = desk_seconds() + DESK_PLAN_SECONDS;
    pthread_mutex_unlock(&plans->lock);
    desk_planned *p = calloc(1, sizeof *p);
    if (p) {
        p->users = 1;
        p->begun_s = desk_seconds();
        p->from_ms = desk_now_ms_of(plans->desk);
        p->until_ms = p->from_ms + 5000; /* one that failed is tried again soon */
        p->arena = po_arena_new(PLAN_ARENA_MOST);
        p->status = p->arena ? plan(plans, p, &p->err) : po_fail(&p->err, PO_E_NOMEM, "memory ran out");
    }
    pthread_mutex_lock(&plans->lock);
    if (p) {
        let_go(plans->latest);
        plans->latest = p;
    }
}

/* With the lock held, which is open meanwhile. */
static void put_in(struct desk_plans *plans, tried *t)
{
    t->stage = WORKS;
    pthread_mutex_unlock(&plans->lock);
    po_arena *arena = po_arena_new(PLAN_ARENA_MOST);
    const po_plan *fresh = NULL;
    po_err err = {0};
    po_status s = arena ? po_plan_try(&t->of->queue.problem, t->of->queue.plan, t->trial.run, t->trial.machine,
                                      t->trial.at_ms, arena, &fresh, &err)
                        : po_fail(&err, PO_E_NOMEM, "memory ran out");
    pthread_mutex_lock(&plans->lock);
    t->arena = arena;
    t->plan = fresh;
    t->err = err;
    t->stage = s == PO_OK ? DONE : FAILED;
}

static tried *next_trial(struct desk_plans *plans)
{
    tried *first = NULL;
    for (int i = 0; i < DESK_PLAN_TRIED_MOST; i++) {
        tried *t = &plans->tried[i];
        first = t->stage == WAITS && (!first || t->used < first->used) ? t : first;
    }
    return first;
}

static void *work(void *user)
{
    struct desk_plans *plans = user;
    pthread_mutex_lock(&plans->lock);
    while (!plans->ending) {
        tried *t = next_trial(plans);
        if (t) {
            put_in(plans, t);
        } else if (plans->wanted) {
            make(plans);
        } else {
            pthread_cond_wait(&plans->more, &plans->lock);
            continue;
        }
        pthread_mutex_unlock(&plans->lock);
        desk_changed(plans->desk);
        pthread_mutex_lock(&plans->lock);
    }
    pthread_mutex_unlock(&plans->lock);
    return NULL;
}

po_status desk_plans_open(po_desk *desk, po_err *err)
{
    struct desk_plans *p = calloc(1, sizeof *p);
    if (!p) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    p->desk = desk;
    desk->plans = p;
    pthread_mutex_init(&p->lock, NULL);
    pthread_cond_init(&p->more, NULL);
    p->runs = pthread_create(&p->thread, NULL, work, p) == 0;
    return p->runs ? PO_OK : po_fail(err, PO_E_NOMEM, "a thread could not be started");
}

void desk_plans_stop(po_desk *desk)
{
    struct desk_plans *p = desk->plans;
    if (p && p->runs) {
        pthread_mutex_lock(&p->lock);
        p->ending = true;
        pthread_cond_signal(&p->more);
        pthread_mutex_unlock(&p->lock);
        pthread_join(p->thread, NULL);
        p->runs = false;
    }
}

void desk_plans_close(po_desk *desk)
{
    struct desk_plans *p = desk->plans;
    if (!p) {
        return;
    }
    desk_plans_stop(desk);
    for (int i = 0; i < DESK_PLAN_TRIED_MOST; i++) {
        clear(&p->tried[i]);
    }
    let_go(p->latest);
    pthread_cond_destroy(&p->more);
    pthread_mutex_destroy(&p->lock);
    free(p);
    desk->plans = NULL;
}

desk_plan_state desk_plan_take(po_desk *desk, uint64_t event, int64_t now_ms, int64_t asked_s, desk_planned **ret)
{
    struct desk_plans *plans = desk->plans;
    pthread_mutex_lock(&plans->lock);
    desk_planned *p = plans->latest;
    bool fresh = p && now_ms >= p->from_ms && now_ms < p->until_ms && p->event == event;
    bool since = p && asked_s > 0 && p->begun_s > asked_s; /* else a busy book would never be answered */
    desk_plan_state state = fresh || since ? DESK_PLAN_HERE : DESK_PLAN_WAITS;
    if (state == DESK_PLAN_HERE) {
        p->users++;
        *ret = p;
    } else {
        plans->wanted = true;
        pthread_cond_signal(&plans->more);
    }
    pthread_mutex_unlock(&plans->lock);
    return state;
}

void desk_plan_give(po_desk *desk, desk_planned *planned)
{
    pthread_mutex_lock(&desk->plans->lock);
    let_go(planned);
    pthread_mutex_unlock(&desk->plans->lock);
}

static tried *find(struct desk_plans *plans, const desk_planned *planned, const desk_trial *trial)
{
    tried *oldest = NULL;
    for (int i = 0; i < DESK_PLAN_TRIED_MOST; i++) {
        tried *t = &plans->tried[i];
        if (t->stage != FREE && t->of == planned && t->trial.run == trial->run && t->trial.machine == trial->machine &&
            t->trial.at_ms == trial->at_ms) {
            return t;
        }
        if (t->stage == FREE) {
            oldest = t;
        } else if (t->stage >= DONE && (!oldest || (oldest->stage != FREE && t->used < oldest->used))) {
            oldest = t;
        }
    }
    if (oldest) { /* it gives way */
        clear(oldest);
    }
    return oldest;
}

desk_plan_state desk_plan_tried(po_desk *desk, desk_planned *planned, const desk_trial *trial, po_arena *arena,
                                const po_plan **ret, po_err *err)
{
    struct desk_plans *plans = desk->plans;
    desk_plan_state state = DESK_PLAN_WAITS;
    pthread_mutex_lock(&plans->lock);
    tried *t = find(plans, planned, trial);
    if (!t) {
        state = DESK_PLAN_FULL;
    } else if (t->stage == FREE) {
        planned->users++;
        *t = (tried){.stage = WAITS, .of = planned, .trial = *trial, .used = ++plans->uses};
        pthread_cond_signal(&plans->more);
    } else if (t->stage == DONE) {
        po_plan *copy = po_arena_zeros(arena, 1, sizeof *copy);
        po_plan_row *rows = po_arena_zeros(arena, t->plan->n_rows + 1, sizeof *rows);
        if (copy && rows) {
            memcpy(rows, t->plan->rows, t->plan->n_rows * sizeof *rows);
            *copy = *t->plan;
            copy->rows = rows;
            *ret = copy;
            state = DESK_PLAN_HERE;
        } else {
            (void)po_fail(err, PO_E_NOMEM, "memory ran out");
            state = DESK_PLAN_FAILED;
        }
        t->used = ++plans->uses;
    } else if (t->stage == FAILED) {
        *err = t->err;
        state = DESK_PLAN_FAILED;
        t->used = ++plans->uses;
    }
    pthread_mutex_unlock(&plans->lock);
    return state;
}
