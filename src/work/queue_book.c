/* What the book has of the queue, as the schedule takes it. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "proveout/proof.h"
#include "work/queue.h"

enum { RUNS_ASKED = 1000 };

static const double z_90 = 1.6448536269514722; /* ranges hold nine runs of ten */

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "no memory for the queue");
}

static int machine_of(const po_shop *shop, const char *name)
{
    for (size_t m = 0; m < shop->n_machines; m++) {
        if (strcmp(shop->machines[m].name, name) == 0) {
            return (int)m;
        }
    }
    return PO_PLAN_NOBODY;
}

static int member_of(work_queue_maker *k, const char *member)
{
    for (int i = 0; i < k->n_members; i++) {
        if (strcmp(k->members[i], member) == 0) {
            return i;
        }
    }
    if (k->n_members >= PO_PLAN_RUNS_MOST) {
        return PO_PLAN_NOBODY;
    }
    k->members[k->n_members] = po_arena_text(k->w->arena, member);
    return k->members[k->n_members] ? k->n_members++ : PO_PLAN_NOBODY;
}

/* The fitting with these materials, one for each tool with commas between them; "": nothing in particular. */
static int fitting_of(work_queue_maker *k, const char *materials)
{
    if (!*materials) {
        return PO_PLAN_NOBODY;
    }
    for (size_t i = 0; i < k->n_fittings; i++) {
        if (strcmp(k->spool_keys[i], materials) == 0) {
            return (int)i;
        }
    }
    if (k->n_fittings >= PO_PLAN_FITTINGS_MOST) {
        return PO_PLAN_NOBODY;
    }
    k->spool_keys[k->n_fittings] = materials;
    k->fittings[k->n_fittings] = (po_plan_fitting){0, (int)k->n_fittings + 1};
    return (int)k->n_fittings++;
}

/* "petg,pla" of an array of names, or of objects with a key; "" where one is not known. */
static const char *joined(const work_context *w, const json_t *list, const char *key)
{
    const char *out = "";
    size_t i;
    const json_t *o;
    json_array_foreach(list, i, o)
    {
        const char *name = key ? work_text(o, key) : json_string_value(o);
        if (!name || !*name) {
            return "";
        }
        out = po_arena_printf(w->arena, "%s%s%s", out, i > 0 ? "," : "", name);
        if (!out) {
            return "";
        }
    }
    return out;
}

/* ---- machines ---- */

/* When what is on it is off: as so large a share of runs is. */
static void free_of(const work_queue_maker *k, const json_t *run, int64_t *ret_free, int64_t *ret_watch)
{
    const work_context *w = k->w;
    int64_t at = w->now_ms, cool = work_cool_at(w, run);
    *ret_watch = INT64_MIN;
    if (strcmp(work_text(run, "state"), "out") == 0) {
        int64_t end = work_int(run, "end_ms", at), late = work_int(run, "end_high_ms", end);
        /* between the middle and the 95 % point the quantiles go nearly as those of the normal distribution */
        double share = w->shop->rules.plan_slack_percent / 100;
        double z = share >= 0.95  ? z_90
                   : share >= 0.9 ? 1.2816
                   : share >= 0.8 ? 0.8416
                   : share >= 0.7 ? 0.5244
                   : share >= 0.6 ? 0.2533
                                  : 0;
        at = end + llround((double)(late - end) * z / z_90);
        if (work_has(run, "started_ms") && !work_has(run, "watched_ms")) {
            *ret_watch = work_watch_until(w, run);
        }
    } else if (cool > at) {
        at = cool;
    }
    at = at < w->now_ms ? w->now_ms : at;
    *ret_free = po_calendar_next_staffed(k->o->calendar, at, &at) ? at : INT64_MAX;
}

static po_status put_machine(work_queue_maker *k, size_t m, po_err *err)
{
    work_context *w = k->w;
    const char *name = w->shop->machines[m].name;
    po_plan_machine *x = &k->machine_list[m];
    size_t i;
    const json_t *o;
    *x = (po_plan_machine){
        .name = name, .free_ms = INT64_MIN, .holder = PO_PLAN_NOBODY, .watch_ms = INT64_MIN, .fitting = PO_PLAN_NOBODY};
    po_ms_span *closed = po_arena_zeros(w->arena, 2, sizeof *closed);
    if (!closed) {
        return no_memory(err);
    }
    x->closed = closed;
    json_array_foreach(json_object_get(k->machines, "machines"), i, o)
    {
        const char *state = work_text(o, "state");
        if (strcmp(work_text(o, "machine"), name) == 0) {
            x->fitting = fitting_of(k, joined(w, json_object_get(o, "tools"), "material"));
            if (strcmp(state, "tagged-out") == 0 || strcmp(state, "resting") == 0 || strcmp(state, "retired") == 0) {
                closed[x->n_closed++] = (po_ms_span){w->now_ms, INT64_MAX}; /* nobody knows until when */
            }
        }
    }
    if (k->o->without && strcmp(k->o->without, name) == 0) {
        closed[x->n_closed++] = (po_ms_span){w->now_ms, k->o->without_until_ms ? k->o->without_until_ms : INT64_MAX};
    }
    json_array_foreach(json_object_get(k->today, "runs"), i, o)
    {
        if (strcmp(work_text(o, "machine"), name) == 0) {
            free_of(k, o, &x->free_ms, &x->watch_ms);
            x->holder = member_of(k, work_text(o, "member"));
        }
    }
    return PO_OK;
}

/* ---- runs ---- */

static bool permitted(const work_context *w, const json_t *permits, const po_machine *machine)
{
    size_t i;
    const json_t *o;
    if (!machine->permission) {
        return true;
    }
    json_array_foreach(json_object_get(permits, "permits"), i, o)
    {
        if (po_shop_grants(w->shop, work_text(o, "permission"), machine->permission)) {
            return true;
        }
    }
    return false;
}

/* Times of a proof that the book has kept, as the calendar takes them. */
static po_status need_of(work_queue_maker *k, const json_t *proof, const po_machine *machine, const po_recipe *recipe,
                         int64_t seconds, po_need *ret, po_err *err)
{
    const po_shop *shop = k->w->shop;
    const json_t *hands = json_object_get(proof, "hands"), *materials = json_object_get(proof, "materials");
    double layer = (double)work_int(proof, "first_layer_seconds", 0), hottest = NAN,
           alone = po_shop_alone_s(shop, machine, NULL);
    const char *from = "model";
    po_range r = {1, 1};
    po_status s = work_book_seconds(&k->book, machine, recipe, &r, &from, err);
    *ret = (po_need){.seconds = (double)(proof ? work_int(proof, "seconds", seconds) : seconds),
                     .first_bead_s = (double)work_int(proof, "first_bead_seconds", 0),
                     .watch_s = shop->rules.watch_minutes * 60,
                     .low = r.low,
                     .high = r.high,
                     .must_end_staffed = !shop->rules.may_end_unstaffed};
    ret->middle = strcmp(from, "model") != 0 ? sqrt(r.low * r.high) : 1;
    ret->watch_s = shop->rules.watch_first_layer && layer > ret->watch_s ? layer : ret->watch_s;
    for (size_t i = 0; i < json_array_size(hands) && ret->n_hands < PO_CALENDAR_HANDS; i++) {
        double at = (double)json_integer_value(json_array_get(hands, i));
        if (at <= ret->seconds && (ret->n_hands == 0 || at >= ret->hands_s[ret->n_hands - 1])) {
            ret->hands_s[ret->n_hands++] = at;
        }
    }
    for (size_t i = 0; i < json_array_size(materials); i++) {
        const char *name = json_string_value(json_array_get(materials, i));
        const po_material *m = name ? po_shop_material(shop, name) : NULL;
        hottest = m ? fmax(hottest, m->bed_c.high) : hottest;
        alone = m ? fmin(alone, po_shop_alone_s(shop, machine, m)) : alone;
    }
    ret->limits_alone = isfinite(alone);
    ret->alone_most_s = ret->limits_alone ? alone : 0;
    if (!isnan(hottest)) {
        hottest = machine->bed_hottest_c > 0 ? fmin(hottest, machine->bed_hottest_c) : hottest;
        double cool = po_proof_cool_seconds(machine, &shop->rules, hottest);
        ret->cool_s = isnan(cool) ? 0 : cool;
    }
    return s;
}

static const json_t *proof_on(const json_t *proofs, const char *machine)
{
    size_t i;
    const json_t *o;
    json_array_foreach(json_object_get(proofs, "proofs"), i, o)
    {
        if (strcmp(work_text(o, "machine"), machine) == 0) {
            return o;
        }
    }
    return NULL;
}

static po_status leave_out(work_queue_maker *k, const json_t *run, const char *says, po_err *err)
{
    json_t *o = json_pack("{s:O, s:O, s:s}", "run", json_object_get(run, "run"), "member",
                          json_object_get(run, "member"), "says", says);
    return o && json_array_append_new(k->left_out, o) == 0 ? PO_OK : no_memory(err);
}

/* The machines that may run it: those with a proof that says no stop; without a file, the one that was named, or all. */
static po_status put_options(work_queue_maker *k, const json_t *run, const json_t *proofs, const json_t *permits,
                             po_plan_run *r, const char **ret_why, po_err *err)
{
    const po_shop *shop = k->w->shop;
    const char *named = work_text(run, "machine");
    bool file = work_has(run, "sha256"), any_proof = false, any_may = false;
    int64_t seconds = work_int(run, "reserved_seconds", -1);
    const po_recipe *recipe = po_shop_recipe(shop, work_text(run, "recipe"));
    po_plan_option *options = po_arena_zeros(k->w->arena, shop->n_machines, sizeof *options);
    po_status s = options ? PO_OK : no_memory(err);
    *ret_why = NULL;
    for (size_t m = 0; s == PO_OK && m < shop->n_machines; m++) {
        const po_machine *machine = &shop->machines[m];
        const json_t *proof = file ? proof_on(proofs, machine->name) : NULL;
        bool wanted = file ? proof != NULL : !*named || strcmp(named, machine->name) == 0;
        any_proof |= wanted;
        wanted = wanted && strcmp(work_text(proof, "verdict"), "stop") != 0 && (file || seconds >= 0);
        any_may |= wanted;
        if (!wanted || !permitted(k->w, permits, machine)) {
            continue;
        }
        po_plan_option *o = &options[r->n_options++];
        o->machine = m;
        o->fitting = fitting_of(k, joined(k->w, json_object_get(proof, "materials"), NULL));
        s = need_of(k, proof, machine, recipe, seconds, &o->need, err);
    }
    r->options = options;
    if (r->n_options == 0) {
        *ret_why = !file && seconds < 0 ? "no length is known: reserve it with a file, or with --takes"
                   : !any_proof         ? "no proof of its file is kept: check the file again with plan add"
                   : !any_may           ? "the verdict is stop on every machine that it was proved for"
                                        : "its member holds no permission for a machine that may run it";
    }
    return s;
}

/* A promise that can be kept keeps its place; else says why not. */
static const char *why_not_kept(const work_queue_maker *k, const po_plan_run *r)
{
    const work_context *w = k->w;
    if (r->promised_machine < 0) {
        return NULL; /* any machine: it is for the plan to find one */
    }
    const po_plan_machine *m = &k->machine_list[r->promised_machine];
    const po_plan_option *o = NULL;
    for (size_t i = 0; i < r->n_options; i++) {
        o = (int)r->options[i].machine == r->promised_machine ? &r->options[i] : o;
    }
    if (!o) {
        return po_arena_printf(w->arena, "%s may not run it any more", m->name);
    }
    po_job_when when;
    po_calendar_job(k->o->calendar, &o->need, r->promised_ms, &when);
    for (size_t i = 0; i < m->n_closed; i++) {
        if (m->closed[i].from_ms < when.off.high_ms && m->closed[i].until_ms > r->promised_ms) {
            return po_arena_printf(w->arena, "%s is out of use", m->name);
        }
    }
    if (r->promised_ms < w->now_ms) {
        return "the promised start has passed";
    }
    if (m->free_ms > r->promised_ms) {
        return po_arena_printf(w->arena, "%s is taken until about %s", m->name, work_time_words(w, m->free_ms));
    }
    if (!when.watched) {
        return "nobody is at the desk for its heating and watch";
    }
    for (size_t i = 0; i < k->n_runs; i++) { /* of two promises the one that was there first */
        const po_plan_run *q = &k->runs[i];
        if (q->stays && q->promised_machine == r->promised_machine) {
            po_job_when other;
            const po_plan_option *x = q->options;
            while ((int)x->machine != q->promised_machine) {
                x++;
            }
            po_calendar_job(k->o->calendar, &x->need, q->promised_ms, &other);
            if (q->promised_ms < when.off.middle_ms && r->promised_ms < other.off.middle_ms) {
                return po_arena_printf(w->arena, "%s is promised to run %lld then", m->name, (long long)q->number);
            }
        }
    }
    return NULL;
}

static int64_t due_of(const json_t *courses, const json_t *run)
{
    size_t i, n;
    const json_t *c, *a;
    if (work_has(run, "due_ms")) {
        return work_int(run, "due_ms", 0);
    }
    json_array_foreach(json_object_get(courses, "courses"), i, c)
    {
        json_array_foreach(json_object_get(c, "assignments"), n, a)
        {
            if (work_has(run, "assignment") && strcmp(work_text(c, "course"), work_text(run, "course")) == 0 &&
                strcmp(work_text(a, "assignment"), work_text(run, "assignment")) == 0) {
                return work_int(a, "due_ms", INT64_MAX);
            }
        }
    }
    return INT64_MAX;
}

/* Who has waited for long goes before others alike: a tenth more for each day, three times as much at most. */
static double weight_of(const work_context *w, const json_t *run)
{
    double days = (double)(w->now_ms - work_int(run, "reserved_ms", w->now_ms)) / 86400000;
    return fmin(1 + 0.1 * fmax(days, 0), 3);
}

static const char *kept_text(const work_context *w, const json_t *o, const char *key)
{
    const char *text = po_arena_text(w->arena, work_text(o, key));
    return text ? text : "";
}

static po_status put_run(work_queue_maker *k, const json_t *run, const json_t *courses, po_err *err)
{
    work_context *w = k->w;
    json_t *proofs = NULL, *permits = NULL;
    const char *why = NULL;
    po_plan_run *r = &k->runs[k->n_runs];
    po_status s = work_ask(w, "permits", json_pack("{s:O}", "member", json_object_get(run, "member")), &permits, err);
    if (s == PO_OK && work_has(run, "sha256")) {
        s = work_ask(w, "proofs", json_pack("{s:O}", "sha256", json_object_get(run, "sha256")), &proofs, err);
    }
    *r = (po_plan_run){.number = work_int(run, "run", 0),
                       .member = member_of(k, work_text(run, "member")),
                       .weight = weight_of(k->w, run),
                       .due_ms = due_of(courses, run),
                       .promised_ms = work_int(run, "promised_ms", INT64_MAX),
                       .promised_machine = PO_PLAN_NOBODY};
    s = s == PO_OK ? put_options(k, run, proofs, permits, r, &why, err) : s;
    if (s == PO_OK && why) {
        s = leave_out(k, run, why, err);
    } else if (s == PO_OK) {
        work_queued *q = &k->queued[k->n_runs];
        *q = (work_queued){r->number,
                           kept_text(w, run, "member"),
                           kept_text(w, run, "file"),
                           kept_text(w, run, "recipe"),
                           kept_text(w, run, "course"),
                           r->promised_ms,
                           r->promised_ms < INT64_MAX ? kept_text(w, run, "machine") : "",
                           NULL};
        if (r->promised_ms < INT64_MAX) {
            /* who is a little late may be at the desk at this moment */
            int64_t grace = w->shop->rules.ticket_claim_minutes * INT64_C(60000);
            if (r->promised_ms < w->now_ms && w->now_ms - r->promised_ms <= grace) {
                r->promised_ms = w->now_ms;
            }
            r->promised_machine = *q->promised_machine ? machine_of(w->shop, q->promised_machine) : PO_PLAN_NOBODY;
            q->why_moved = why_not_kept(k, r);
            r->stays = !q->why_moved && r->promised_machine >= 0 && !k->o->all_may_move;
        }
        /* who was told a time is not there before it */
        r->ready_ms = r->promised_ms < INT64_MAX && r->promised_ms > w->now_ms ? r->promised_ms : w->now_ms;
        k->n_runs++;
    }
    json_decref(proofs);
    json_decref(permits);
    return s;
}

/* Those that are promised first, by their times, so that the earlier promise stands. */
static po_status put_runs(work_queue_maker *k, const json_t *runs, const json_t *courses, po_err *err)
{
    const json_t *list = json_object_get(runs, "runs"), *o;
    size_t n = json_array_size(list), i;
    bool *done = po_arena_zeros(k->w->arena, n + 1, sizeof *done);
    po_status s = done ? PO_OK : no_memory(err);
    for (size_t turn = 0; s == PO_OK && turn < n; turn++) {
        size_t best = n;
        int64_t best_ms = INT64_MAX;
        json_array_foreach(list, i, o)
        {
            int64_t at = work_int(o, "promised_ms", INT64_MAX);
            if (!done[i] && (best == n || at <= best_ms)) { /* the list has the latest first */
                best = i;
                best_ms = at;
            }
        }
        done[best] = true;
        s = put_run(k, json_array_get(list, best), courses, err);
    }
    for (size_t a = 1; a < k->n_runs;
         a++) { /* as they were asked for, so that a promise changes nothing else in the plan */
        po_plan_run r = k->runs[a];
        work_queued q = k->queued[a];
        size_t b = a;
        for (; b > 0 && k->runs[b - 1].number > r.number; b--) {
            k->runs[b] = k->runs[b - 1];
            k->queued[b] = k->queued[b - 1];
        }
        k->runs[b] = r;
        k->queued[b] = q;
    }
    return s;
}

static void put_copies(work_queue_maker *k)
{
    for (size_t i = 0; i < k->o->copies; i++) {
        k->queued[k->n_runs] = (work_queued){0, "", "", "", "", INT64_MAX, "", NULL};
        k->runs[k->n_runs++] = (po_plan_run){.number = 0,
                                             .member = PO_PLAN_NOBODY,
                                             .weight = 1,
                                             .ready_ms = k->w->now_ms,
                                             .due_ms = k->o->like_due_ms,
                                             .promised_ms = INT64_MAX,
                                             .promised_machine = PO_PLAN_NOBODY,
                                             .options = k->o->like,
                                             .n_options = k->o->n_like};
    }
}

po_status work_queue_gather(work_queue_maker *k, po_err *err)
{
    work_context *w = k->w;
    json_t *runs = NULL, *courses = NULL;
    k->book = (work_book){.work = w};
    po_status s = work_today(w, &k->today, err);
    s = s == PO_OK ? work_ask(w, "machines", NULL, &k->machines, err) : s;
    s = s == PO_OK ? work_ask(w, "courses", NULL, &courses, err) : s;
    s = s == PO_OK ? work_ask(w, "runs", json_pack("{s:s, s:i}", "state", "reserved", "limit", RUNS_ASKED), &runs, err)
                   : s;
    size_t most = json_array_size(json_object_get(runs, "runs")) + k->o->copies;
    if (s == PO_OK && (most > PO_PLAN_RUNS_MOST || json_is_true(json_object_get(runs, "more")))) {
        s = po_fail(err, PO_E_LIMIT, "more than %d runs wait; a plan takes no more", PO_PLAN_RUNS_MOST);
    }
    k->left_out = json_array();
    k->machine_list = po_arena_zeros(w->arena, w->shop->n_machines, sizeof *k->machine_list);
    k->runs = po_arena_zeros(w->arena, most + 1, sizeof *k->runs);
    k->queued = po_arena_zeros(w->arena, most + 1, sizeof *k->queued);
    k->fittings = po_arena_zeros(w->arena, PO_PLAN_FITTINGS_MOST, sizeof *k->fittings);
    k->spool_keys = po_arena_zeros(w->arena, PO_PLAN_FITTINGS_MOST, sizeof *k->spool_keys);
    k->members = po_arena_zeros(w->arena, PO_PLAN_RUNS_MOST, sizeof *k->members);
    if (s == PO_OK &&
        (!k->left_out || !k->machine_list || !k->runs || !k->queued || !k->fittings || !k->spool_keys || !k->members)) {
        s = no_memory(err);
    }
    for (size_t m = 0; s == PO_OK && m < w->shop->n_machines; m++) {
        s = put_machine(k, m, err);
    }
    s = s == PO_OK ? put_runs(k, runs, courses, err) : s;
    if (s == PO_OK) {
        put_copies(k);
    }
    json_decref(runs);
    json_decref(courses);
    return s;
}
