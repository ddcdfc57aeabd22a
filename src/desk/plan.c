/* The plan of the queue on the desk's page: what it says, what a change costs, what is kept of it. SPDX-License-Identifier: Apache-2.0
 *
 * The plan itself is never kept, only promises are: what was tried is booked as the promise of that run, and anew of each run whose
 * promise moves with it. */
#include <inttypes.h>
#include <string.h>

#include "desk/at_desk.h"
#include "desk/plan_line.h"
#include "desk/proving.h"

enum { WAIT_S = 20 };

/* Not yet: the answer where it does not come in time. */
static void put_off(desk_request *rq, desk_reply *rp)
{
    if (!rq->until_s) {
        rq->until_s = desk_seconds() + WAIT_S;
    }
    rp->retry_seconds = 2;
    desk_problem(rq, rp, 503, NULL, "the plan is still being made; ask again in a moment");
    rp->later = true;
}

/* The plan that holds now, lent; NULL with the reply written or put off. exactly: of the book's last event and nothing before it. */
static desk_planned *plan_now(po_desk *desk, desk_request *rq, desk_reply *rp, bool exactly)
{
    uint64_t event = 0;
    desk_planned *p = NULL;
    po_err err;
    if (po_ledger_last_event(desk->options.ledger, &event, &err) != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
        return NULL;
    }
    int64_t asked = rq->until_s && !exactly ? rq->until_s - WAIT_S : 0;
    if (desk_plan_take(desk, event, desk_now_ms_of(desk), asked, &p) != DESK_PLAN_HERE) {
        put_off(rq, rp);
        return NULL;
    }
    if (p->status != PO_OK) {
        err = p->err;
        desk_plan_give(desk, p);
        desk_said_no(desk, rq, rp, &err);
        return NULL;
    }
    return p;
}

void desk_do_plan(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_planned *p = plan_now(desk, rq, rp, false);
    if (p) {
        size_t n = strlen(p->answer);
        rp->body = po_arena_text_n(rq->arena, p->answer, n);
        rp->n = rp->body ? n : 0;
        rp->type = "application/json";
        rp->status = 200;
        desk_plan_give(desk, p);
        if (!rp->body) {
            desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        }
    }
}

/* Run and machine of the body among those of the plan; false with the reply written. */
static bool read_trial(const desk_planned *p, desk_request *rq, desk_reply *rp, desk_trial *t)
{
    const po_plan_problem *q = &p->queue.problem;
    int64_t run = work_int(rq->json, "run", 0);
    const char *machine = work_text(rq->json, "machine");
    for (t->run = 0; t->run < q->n_runs && p->queue.queued[t->run].run != run; t->run++) {
    }
    if (t->run == q->n_runs) {
        desk_problem(rq, rp, 404, "run",
                     "run %" PRId64 " does not wait, or the plan leaves it out; GET /api/1/plan says why", run);
        return false;
    }
    const po_plan_row *row = &p->queue.plan->rows[t->run];
    t->machine = row->placed ? row->machine : q->n_machines;
    if (*machine) {
        for (t->machine = 0; t->machine < q->n_machines && strcmp(q->machines[t->machine].name, machine) != 0;
             t->machine++) {
        }
    }
    if (t->machine == q->n_machines) {
        desk_problem(rq, rp, *machine ? 404 : 422, "machine",
                     *machine ? "the shop has no such machine"
                              : "the run has no place in the plan; name the machine to put it on");
        return false;
    }
    return true;
}

/* The plan with the trial in it; NULL with the reply written or put off. */
static const po_plan *tried(po_desk *desk, desk_planned *p, const desk_trial *t, desk_request *rq, desk_reply *rp)
{
    const po_plan *fresh = NULL;
    const char *machine = p->queue.problem.machines[t->machine].name;
    po_err err;
    switch (desk_plan_tried(desk, p, t, rq->arena, &fresh, &err)) {
    case DESK_PLAN_HERE:
        return fresh;
    case DESK_PLAN_FAILED:
        if (err.code == PO_E_NOTFOUND) {
            desk_problem(rq, rp, 409, "machine",
                         "run %" PRId64 " can't start on %s from then on: it may not run there, or no start is good; "
                         "try another time or machine",
                         p->queue.queued[t->run].run, machine);
        } else {
            desk_said_no(desk, rq, rp, &err);
        }
        return NULL;
    case DESK_PLAN_FULL:
        rp->retry_seconds = 2;
        desk_problem(rq, rp, 429, NULL, "too much is being tried at once; ask again in a moment");
        return NULL;
    default:
        put_off(rq, rp);
        return NULL;
    }
}

/* ---- what it costs ---- */

static bool moves(const desk_planned *p, const po_plan *fresh, size_t j)
{
    const po_plan_row *was = &p->queue.plan->rows[j], *now = &fresh->rows[j];
    return was->placed != now->placed ||
           (now->placed && (was->start_ms != now->start_ms || was->machine != now->machine));
}

/* Whether another's promise has to be told anew: it was promised, and is elsewhere than it was promised and planned. */
static bool promised_moves(const desk_planned *p, const po_plan *fresh, size_t j)
{
    return p->queue.queued[j].promised_ms != INT64_MAX && moves(p, fresh, j);
}

static json_t *move_note(const desk_planned *p, const po_plan *fresh, size_t j)
{
    const work_queue *q = &p->queue;
    const po_plan_row *was = &q->plan->rows[j], *now = &fresh->rows[j];
    json_t *o = json_pack("{s:I, s:s, s:b, s:b, s:f, s:f}", "run", (json_int_t)q->queued[j].run, "member",
                          q->queued[j].member, "placed", now->placed, "promised", q->queued[j].promised_ms != INT64_MAX,
                          "late_hours", now->late_h, "was_late_hours", was->late_h);
    if (now->placed) {
        json_object_set_new(o, "machine", json_string(q->problem.machines[now->machine].name));
        json_object_set_new(o, "start_ms", json_integer(now->start_ms));
        json_object_set_new(o, "end_ms", json_integer(now->when.end.middle_ms));
    }
    if (was->placed) {
        json_object_set_new(o, "was_machine", json_string(q->problem.machines[was->machine].name));
        json_object_set_new(o, "was_ms", json_integer(was->start_ms));
    }
    return o;
}

/* "costs 3.5 points more; run 9 then starts at 16:10 instead of 15:00". */
static const char *cost_words(const work_context *w, const desk_planned *p, const po_plan *fresh, size_t run)
{
    const work_queue *q = &p->queue;
    const po_plan_row *r = &fresh->rows[run];
    int64_t costs = fresh->cost - q->plan->cost, tenths = ((costs > 0 ? costs : -costs) + 50) / 100;
    const char *text = po_arena_printf(
        w->arena, "Run %" PRId64 " on %s at %s%s", q->queued[run].run, q->problem.machines[r->machine].name,
        work_time_words(w, r->start_ms),
        costs == 0 ? " costs nothing"
                   : po_arena_printf(w->arena, costs > 0 ? " costs %s points more" : " saves %s points",
                                     work_decimal(w, tenths > 0 ? tenths : 1, 1, 1, "")));
    for (size_t j = 0; text && j < fresh->n_rows; j++) {
        const po_plan_row *was = &q->plan->rows[j], *now = &fresh->rows[j];
        if (j == run || !moves(p, fresh, j)) {
            continue;
        }
        text = po_arena_printf(
            w->arena, "%s; run %" PRId64 " then %s%s%s%s", text, q->queued[j].run,
            now->placed ? "starts on " : "has no place", now->placed ? q->problem.machines[now->machine].name : "",
            now->placed ? po_arena_printf(w->arena, " at %s", work_time_words(w, now->start_ms)) : "",
            was->placed ? po_arena_printf(w->arena, " instead of %s", work_time_words(w, was->start_ms)) : "");
    }
    return text ? po_arena_printf(w->arena, "%s.", text) : "";
}

static json_t *trial_note(const work_context *w, const desk_planned *p, const po_plan *fresh, const desk_trial *t)
{
    const work_queue *q = &p->queue;
    const po_plan *plan = q->plan;
    const po_plan_row *r = &fresh->rows[t->run];
    json_t *others = json_array();
    for (size_t j = 0; j < fresh->n_rows; j++) {
        if (j != t->run && moves(p, fresh, j)) {
            json_array_append_new(others, move_note(p, fresh, j));
        }
    }
    json_t *o = json_pack(
        "{s:s, s:s, s:I, s:s, s:s, s:I, s:I, s:I, s:[I,I], s:I, s:o, s:b, s:f, s:I, s:{s:I, s:I, s:I, s:I, s:I, s:I}, "
        "s:b, s:o, s:s}",
        "format", "proveout/plan-tried/1", "plan", p->tag, "run", (json_int_t)q->queued[t->run].run, "member",
        q->queued[t->run].member, "machine", q->problem.machines[r->machine].name, "asked_ms", (json_int_t)t->at_ms,
        "start_ms", (json_int_t)r->start_ms, "end_ms", (json_int_t)r->when.end.middle_ms, "end_range_ms",
        (json_int_t)r->when.end.low_ms, (json_int_t)r->when.end.high_ms, "free_ms", (json_int_t)r->free_ms, "off_ms",
        r->when.off_known ? json_integer(r->when.off.middle_ms) : json_null(), "change", r->change, "late_hours",
        r->late_h, "costs_1000", (json_int_t)(fresh->cost - plan->cost), "points_1000", "late",
        (json_int_t)(fresh->late - plan->late), "wait", (json_int_t)(fresh->wait - plan->wait), "full",
        (json_int_t)(fresh->full - plan->full), "change", (json_int_t)(fresh->change - plan->change), "moved",
        (json_int_t)(fresh->moved - plan->moved), "unplaced", (json_int_t)(fresh->unplaced - plan->unplaced),
        "as_planned", !moves(p, fresh, t->run), "moves", others, "says", cost_words(w, p, fresh, t->run));
    return o;
}

void desk_do_plan_try(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_planned *p = plan_now(desk, rq, rp, false);
    work_context w;
    desk_trial t;
    if (!p) {
        return;
    }
    const po_plan *fresh = NULL;
    if (read_trial(p, rq, rp, &t)) {
        t.at_ms = work_int(rq->json, "at", p->from_ms);
        fresh = tried(desk, p, &t, rq, rp);
    }
    if (fresh && desk_context_begin(desk, rq, rp, &w)) {
        json_t *o = trial_note(&w, p, fresh, &t);
        if (o) {
            desk_reply_json(rq, rp, o);
        } else {
            desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        }
    }
    desk_plan_give(desk, p);
}

/* ---- keeping ---- */

/* The acts: the promise of this run, and of each whose promise moves with it. False with the reply written. */
static bool promises(work_context *w, const desk_planned *p, const po_plan *fresh, size_t run, bool quiet,
                     work_acts *acts, desk_request *rq, desk_reply *rp)
{
    for (size_t n = 0; n <= fresh->n_rows; n++) { /* this run first */
        size_t j = n == 0 ? run : n - 1;
        if (n > 0 && (j == run || !promised_moves(p, fresh, j))) {
            continue;
        }
        const char *why = j == run ? NULL : "another run goes first";
        json_t *body = NULL;
        if (!fresh->rows[j].placed) {
            desk_problem(rq, rp, 409, "run",
                         "run %" PRId64 " was promised a start and would have no place any more; nothing was booked",
                         p->queue.queued[j].run);
        } else if (acts->n == WORK_ACTS_MOST) {
            desk_problem(rq, rp, 409, "run", "more than %d promises would move; nothing was booked",
                         WORK_ACTS_MOST - 1);
        } else if (!(body = work_queue_promise(w, &p->queue, j, fresh, why, quiet))) {
            desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        } else {
            acts->names[acts->n] = "run-promise";
            acts->bodies[acts->n++] = body;
            continue;
        }
        return false;
    }
    return true;
}

void desk_do_plan_keep(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_planned *p = plan_now(desk, rq, rp, true);
    work_context w;
    work_acts acts = {0};
    desk_trial t;
    const po_plan *fresh = NULL;
    if (!p) {
        return;
    }
    int64_t start = work_int(rq->json, "start", 0);
    if (strcmp(work_text(rq->json, "plan"), p->tag) != 0) {
        desk_problem(rq, rp, 409, "plan",
                     "the plan has changed since this was tried: look at what it costs now, then keep it");
    } else if (read_trial(p, rq, rp, &t)) {
        t.at_ms = start;
        fresh = tried(desk, p, &t, rq, rp);
    }
    if (fresh && fresh->rows[t.run].start_ms != start && desk_context_begin(desk, rq, rp, &w)) {
        desk_problem(rq, rp, 409, "start", "run %" PRId64 " can't start on %s at %s: not before %s",
                     p->queue.queued[t.run].run, p->queue.problem.machines[t.machine].name, work_time_words(&w, start),
                     work_time_words(&w, fresh->rows[t.run].start_ms));
    } else if (fresh && desk_context_begin(desk, rq, rp, &w) &&
               promises(&w, p, fresh, t.run, json_is_true(json_object_get(rq->json, "quiet")), &acts, rq, rp)) {
        desk_book_acts(desk, rq, rp, &acts,
                       json_pack("{s:I, s:s, s:I}", "run", (json_int_t)p->queue.queued[t.run].run, "machine",
                                 p->queue.problem.machines[t.machine].name, "promised_ms", (json_int_t)start));
    }
    work_acts_done(&acts);
    desk_plan_give(desk, p);
}
