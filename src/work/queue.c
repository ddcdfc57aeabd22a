/* The queue planned, and told as JSON. SPDX-License-Identifier: Apache-2.0
 *
 * The stretch that is planned is as short as holds everything: two weeks, else four, else eight, in steps of five minutes where that is not
 * too much for memory. */
#include "work/queue.h"

#include <math.h>
#include <string.h>

enum { DAYS_FIRST = 14, DAYS_MOST = 56, STEP_MINUTES = 5, STEP_MINUTES_MANY = 15, MANY = 60 };

static po_status plan(work_queue_maker *k, work_queue *q, po_err *err)
{
    const work_context *w = k->w;
    const po_rules *r = &w->shop->rules;
    po_plan_options o = PO_PLAN_OPTIONS_INIT;
    po_status s = PO_OK;
    o.steps = k->o->steps;
    o.nodes = k->o->nodes;
    o.stop = k->o->stop;
    o.user = k->o->user;
    q->problem = (po_plan_problem){.calendar = k->o->calendar,
                                   .from_ms = w->now_ms,
                                   .step_minutes = k->n_runs > MANY ? STEP_MINUTES_MANY : STEP_MINUTES,
                                   .watches_most = 2 * w->shop->people_at_desk, /* docs/shop-file.md: people_at_desk */
                                   .spool_minutes = r->spool_change_minutes,
                                   .nozzle_minutes = r->nozzle_change_minutes,
                                   .slack_share = r->plan_slack_percent / 100,
                                   .weights = {r->plan_late_points_h, r->plan_wait_points_h, r->plan_full_points_h,
                                               r->plan_change_points, r->plan_moved_points_h},
                                   .fittings = k->fittings,
                                   .n_fittings = k->n_fittings,
                                   .machines = k->machine_list,
                                   .n_machines = w->shop->n_machines,
                                   .runs = k->runs,
                                   .n_runs = k->n_runs};
    for (int days = DAYS_FIRST; days <= DAYS_MOST && s == PO_OK; days *= 2) {
        q->problem.until_ms = w->now_ms + days * INT64_C(86400000);
        bool reaches = true; /* promises may be further away */
        for (size_t j = 0; j < k->n_runs; j++) {
            reaches = reaches &&
                      !(k->runs[j].stays && k->runs[j].promised_ms > q->problem.until_ms - INT64_C(3) * 86400000);
        }
        if (!reaches && days < DAYS_MOST) {
            continue;
        }
        s = po_plan_make(&q->problem, &o, w->arena, &q->plan, err);
        if (s == PO_OK && q->plan->n_placed == q->plan->n_rows) {
            break;
        }
    }
    return s;
}

po_status work_queue_make(work_context *w, const work_queue_options *options, work_queue *ret, po_err *err)
{
    work_queue_maker k = {.w = w, .o = options};
    *ret = (work_queue){0};
    if (options->without && !po_shop_machine(w->shop, options->without)) {
        return po_fail_at(err, PO_E_NOTFOUND, "machine", 0, 0, "the shop has no machine \"%s\"", options->without);
    }
    po_status s = work_queue_gather(&k, err);
    ret->left_out = k.left_out;
    ret->queued = k.queued;
    s = s == PO_OK ? plan(&k, ret, err) : s;
    s = s == PO_OK ? po_plan_replay(&ret->problem, ret->plan, WORK_QUEUE_REPLAYS, 1, w->arena, &ret->kept, err) : s;
    s = s == PO_OK ? po_plan_lacks(&ret->problem, ret->plan, w->arena, &ret->lacks, &ret->n_lacks, err) : s;
    json_decref(k.today);
    json_decref(k.machines);
    if (s != PO_OK) {
        work_queue_done(ret);
    }
    return s;
}

void work_queue_done(work_queue *q)
{
    json_decref(q->left_out);
    q->left_out = NULL;
}

bool work_queue_moved(const work_queue *q, size_t j)
{
    const work_queued *r = &q->queued[j];
    const po_plan_row *w = &q->plan->rows[j];
    if (r->promised_ms == INT64_MAX) {
        return false;
    }
    return !w->placed || (!q->problem.runs[j].stays && w->start_ms > r->promised_ms) ||
           (*r->promised_machine && strcmp(q->problem.machines[w->machine].name, r->promised_machine) != 0);
}

json_t *work_queue_promise(const work_context *w, const work_queue *q, size_t j, const po_plan *plan, const char *why,
                           bool quiet)
{
    const po_plan_row *r = &plan->rows[j];
    const char *machine = q->problem.machines[r->machine].name;
    long long run = (long long)q->queued[j].run;
    json_t *body = json_pack("{s:I, s:I, s:s}", "run", (json_int_t)run, "promised", (json_int_t)r->start_ms, "machine",
                             machine);
    if (body && w->shop->outbox.on && !quiet) {
        const char *text = po_arena_printf(
            w->arena, "Your run %lld can start on %s at %s%s%s. Please come to the desk.", run, machine,
            work_time_words(w, r->start_ms), why ? ", not as promised before: " : "", why ? why : "");
        json_object_set_new(body, "message", json_string(text ? text : ""));
    }
    return body;
}

static json_t *ms_or_null(int64_t ms)
{
    return ms == INT64_MAX || ms == INT64_MIN ? json_null() : json_integer(ms);
}

static json_t *share_or_null(double share)
{
    return isnan(share) ? json_null() : json_real(round(share * 1000) / 1000);
}

static json_t *row_json(const work_queue *q, size_t j)
{
    const work_queued *r = &q->queued[j];
    const po_plan_row *w = &q->plan->rows[j];
    const po_plan_run *p = &q->problem.runs[j];
    json_t *o = json_pack("{s:o, s:s, s:s, s:s, s:s, s:b, s:o, s:o, s:s, s:b, s:b, s:s?}", "run",
                          r->run ? json_integer(r->run) : json_null(), "member", r->member, "file", r->file, "recipe",
                          r->recipe, "course", r->course, "placed", w->placed, "due_ms", ms_or_null(p->due_ms),
                          "promised_ms", ms_or_null(r->promised_ms), "promised_machine", r->promised_machine, "stays",
                          p->stays, "moved", work_queue_moved(q, j), "why_moved", r->why_moved);
    if (o && w->placed) {
        json_t *times = json_pack("{s:s, s:I, s:b, s:I, s:I, s:I, s:[I,I], s:o, s:I, s:f, s:f, s:o, s:o, s:o, s:I}",
                                  "machine", q->problem.machines[w->machine].name, "start_ms", (json_int_t)w->start_ms,
                                  "change", w->change, "change_by_ms", (json_int_t)w->change_by_ms, "watch_until_ms",
                                  (json_int_t)w->when.watch_ms, "end_ms", (json_int_t)w->when.end.middle_ms,
                                  "end_range_ms", (json_int_t)w->when.end.low_ms, (json_int_t)w->when.end.high_ms,
                                  "off_ms", w->when.off_known ? json_integer(w->when.off.middle_ms) : json_null(),
                                  "free_ms", (json_int_t)w->free_ms, "full_seconds", w->when.full_s, "late_hours",
                                  w->late_h, "start_kept", share_or_null(q->kept[j].start), "due_kept",
                                  share_or_null(q->kept[j].due), "off_nine_of_ten_ms",
                                  json_integer(q->kept[j].off90_ms), "points_1000", (json_int_t)w->cost);
        json_object_update(o, times);
        json_decref(times);
    }
    return o;
}

static json_t *lacks_json(const work_queue *q)
{
    json_t *list = json_array();
    for (size_t i = 0; i < q->n_lacks; i++) {
        const po_plan_lack *l = &q->lacks[i];
        json_t *others = json_array();
        for (size_t k = 0; k < l->n_others; k++) {
            json_array_append_new(others, json_integer(q->queued[l->others[k]].run));
        }
        json_array_append_new(
            list, json_pack("{s:I, s:b, s:o, s:s, s:b, s:o}", "run", (json_int_t)q->queued[l->run].run, "alone",
                            l->alone, "earliest_off_ms", ms_or_null(l->earliest_off_ms), "machine",
                            q->problem.machines[l->machine].name, "another_machine", l->another, "others", others));
    }
    return list;
}

json_t *work_queue_json(const work_context *w, const work_queue *q)
{
    json_t *rows = json_array(), *machines = json_array(), *hours = json_array();
    const po_plan *p = q->plan;
    int64_t until = q->problem.from_ms + INT64_C(86400000);
    for (size_t j = 0; j < p->n_rows; j++) {
        json_array_append_new(rows, row_json(q, j));
        until = p->rows[j].placed && p->rows[j].free_ms > until ? p->rows[j].free_ms : until;
    }
    for (size_t m = 0; m < q->problem.n_machines; m++) {
        const po_plan_machine *x = &q->problem.machines[m];
        json_array_append_new(machines, json_pack("{s:s, s:o, s:b}", "machine", x->name, "free_ms",
                                                  ms_or_null(x->free_ms), "out_of_use", x->n_closed > 0));
    }
    po_ms_span s;
    for (int64_t at = q->problem.from_ms; po_calendar_next(q->problem.calendar, at, &s) && s.from_ms < until;
         at = s.until_ms) {
        json_array_append_new(
            hours, json_pack("{s:I, s:I}", "from_ms", (json_int_t)s.from_ms, "until_ms", (json_int_t)s.until_ms));
    }
    return json_pack("{s:s, s:s, s:s?, s:I, s:I, s:o, s:o, s:o, s:O, s:o, s:{s:I, s:I, s:b, s:I, s:I, s:I, s:I, s:I}}",
                     "format", "proveout/plan-queue/1", "shop", w->shop->name, "zone",
                     w->zone ? po_zone_name(w->zone) : NULL, "from_ms", (json_int_t)q->problem.from_ms, "until_ms",
                     (json_int_t)q->problem.until_ms, "desk", hours, "machines", machines, "runs", rows, "left_out",
                     q->left_out, "cannot_be_met", lacks_json(q), "points_1000", "cost", (json_int_t)p->cost, "bound",
                     (json_int_t)p->bound, "best", p->best, "late", (json_int_t)p->late, "wait", (json_int_t)p->wait,
                     "full", (json_int_t)p->full, "change", (json_int_t)p->change, "moved", (json_int_t)p->moved);
}
