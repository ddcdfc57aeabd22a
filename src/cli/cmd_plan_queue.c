/* proveout plan queue, add, promise, moved, without: the queue of the book, planned. SPDX-License-Identifier: Apache-2.0
 *
 * The plan is made anew at each call, from the book as it is: only promises are kept. Nothing is booked but by add, promise and moved --keep. */
#include <math.h>
#include <string.h>

#include "book.h"
#include "plan_queue.h"
#include "when.h"
#include "work/hand_out.h"

enum { ADD_MOST = 258 };

typedef struct planning {
    desk d;
    work_context w;
    work_queue_options o;
} planning;

static int begin(planning *p, const cli_call *call)
{
    double steps = 0;
    *p = (planning){.o = WORK_QUEUE_OPTIONS_INIT};
    int status = desk_open(&p->d, call);
    const char *given = cli_value(call, "steps");
    if (status == EXIT_CLEAR && given && (!cli_number(given, 1, 1e9, &steps) || steps != floor(steps))) {
        status = cli_fail(EXIT_USAGE, "--steps %s: expected a whole number from 1 to 1000000000", given);
    }
    p->o.steps = (int64_t)steps;
    status = status == EXIT_CLEAR ? when_calendar(p->d.shop, p->d.now_ms, p->d.arena, &p->o.calendar) : status;
    p->w = desk_work(&p->d);
    return status;
}

static int make(planning *p, const work_queue_options *o, work_queue *ret)
{
    po_err err;
    po_status s = work_queue_make(&p->w, o, ret, &err);
    return s == PO_OK ? EXIT_CLEAR : p->w.asked ? desk_refused(&p->d, p->w.asked, &err) : cli_fail_err(&err);
}

/* Somebody is late, without place or moved: the exit status says so. */
static int exit_of(const work_queue *q)
{
    int status = EXIT_CLEAR;
    for (size_t j = 0; j < q->plan->n_rows; j++) {
        if (!q->plan->rows[j].placed || q->plan->rows[j].late_h > 0 || work_queue_moved(q, j)) {
            status = EXIT_ASK;
        }
    }
    return status;
}

int plan_queue(const cli_call *call)
{
    planning p;
    work_queue q = {0};
    int status = begin(&p, call);
    const char *picture = cli_value(call, "picture");
    status = status == EXIT_CLEAR ? make(&p, &p.o, &q) : status;
    if (status == EXIT_CLEAR) {
        status = picture ? plan_picture(&p.d, &q, picture) : EXIT_CLEAR;
        if (status == EXIT_CLEAR && p.d.json) {
            status = desk_print_json(work_queue_json(&p.w, &q));
        } else if (status == EXIT_CLEAR && !(picture && strcmp(picture, "-") == 0)) {
            plan_queue_print(&p.d, &q);
        }
        status = status == EXIT_CLEAR ? exit_of(&q) : status;
    }
    work_queue_done(&q);
    desk_close(&p.d);
    return status;
}

/* ---- add ---- */

typedef struct adding {
    planning *p;
    cli_book book;
    po_arena *arena; /* of the proofs */
    work_proved *proved;
    json_t *bodies[ADD_MOST];
    const char *acts[ADD_MOST];
    size_t n_acts;
    po_plan_option *options;
    size_t n_options;
} adding;

static int prove_all(adding *a, const char *path)
{
    const po_shop *shop = a->p->d.shop;
    const char *recipe = cli_value(a->p->d.call, "recipe");
    po_source source;
    cli_kind kind;
    po_err err;
    int status = cli_open_source(path, a->arena, &source, &kind);
    if (status == EXIT_CLEAR && kind != CLI_KIND_JOB) {
        status = cli_fail(EXIT_NO_JOB, "%s is no job; a machine runs jobs (G-code)", path);
    }
    const po_recipe *wished = recipe ? po_shop_recipe(shop, recipe) : NULL;
    if (status == EXIT_CLEAR && recipe && !wished) {
        status = cli_fail(EXIT_USAGE, "the shop has no recipe \"%s\"; proveout shop show lists them", recipe);
    }
    a->proved = po_arena_zeros(a->arena, shop->n_machines, sizeof *a->proved);
    if (status != EXIT_CLEAR || !a->proved) {
        return status != EXIT_CLEAR ? status : cli_fail(EXIT_OWN, "memory ran out");
    }
    cli_progress progress;
    cli_progress_begin(&progress, path);
    work_prove_options o = {.recipe = wished, .progress = cli_progress_step, .user = &progress};
    po_status s = work_prove_all(cli_book_light(&a->book), &source, path, &o, a->arena, a->proved, &err);
    cli_progress_end(&progress);
    cli_book_tell_suspended(&a->book);
    return s == PO_OK ? EXIT_CLEAR : cli_book_failed(&a->book, &err);
}

/* The acts: a proof for each machine that may run it, and the reservation, for any of them. */
static int take(adding *a, const char *path)
{
    const desk *d = &a->p->d;
    const po_shop *shop = d->shop;
    json_t *wishes = NULL, *reserve = NULL;
    int status = desk_body(&a->p->d, &wishes);
    a->options = po_arena_zeros(a->arena, shop->n_machines, sizeof *a->options);
    for (size_t m = 0; status == EXIT_CLEAR && a->options && m < shop->n_machines; m++) {
        work_hand_out h = {0};
        po_err err;
        work_hand_out_begin(&h, cli_book_light(&a->book), json_copy(wishes));
        h.machine = &shop->machines[m];
        h.file = path;
        h.proved = a->proved[m];
        json_object_set_new(h.body, "machine", json_string(h.machine->name));
        po_status s = work_hand_out_take(&h, false, a->arena, &err);
        s = s == PO_OK ? work_hand_out_figures(&h, false, &err) : s;
        if (s != PO_OK) {
            status = cli_book_failed(&a->book, &err);
        } else if (h.worst != PO_GRADE_STOP && a->n_acts + 2 < ADD_MOST) {
            a->acts[a->n_acts] = "proof-keep";
            a->bodies[a->n_acts++] = work_hand_out_proof(&h, a->arena);
            a->options[a->n_options++] = (po_plan_option){m, PO_PLAN_NOBODY, po_need_of(a->proved[m].proof, shop)};
            if (!reserve) {
                reserve = json_deep_copy(h.body);
                json_object_del(reserve, "machine");
                json_object_del(reserve, "uses");
                json_object_del(reserve, "spool");
            }
        }
        work_hand_out_done(&h);
    }
    json_decref(wishes);
    if (status == EXIT_CLEAR && !reserve) {
        return cli_fail(EXIT_STOP, "the verdict is stop on every machine: proveout check %s says why", path);
    }
    if (status == EXIT_CLEAR) {
        a->acts[a->n_acts] = "run-reserve";
        a->bodies[a->n_acts++] = reserve;
    } else {
        json_decref(reserve);
    }
    return status;
}

/* What if so many hand it in: when the last is off, and how many are late. */
static int try_copies(adding *a, size_t copies)
{
    planning *p = a->p;
    work_queue q = {0};
    work_queue_options o = p->o;
    json_t *due = json_object_get(a->bodies[a->n_acts - 1], "due");
    o.like = a->options;
    o.n_like = a->n_options;
    o.copies = copies;
    o.like_due_ms = json_is_integer(due) ? json_integer_value(due) : INT64_MAX;
    int status = make(p, &o, &q);
    if (status != EXIT_CLEAR) {
        return status;
    }
    size_t late = 0, without = 0, first = q.plan->n_rows - copies;
    int64_t last = 0, last90 = 0;
    for (size_t j = first; j < q.plan->n_rows; j++) {
        const po_plan_row *r = &q.plan->rows[j];
        late += r->placed && r->late_h > 0;
        without += !r->placed;
        if (r->placed && r->when.off.middle_ms > last) {
            last = r->when.off.middle_ms;
        }
        last90 = r->placed && q.kept[j].off90_ms > last90 ? q.kept[j].off90_ms : last90;
    }
    if (p->d.json) {
        json_t *json = work_queue_json(&p->w, &q);
        json_object_set_new(json, "format", json_string("proveout/plan-try/1"));
        json_object_set_new(json, "copies", json_integer((json_int_t)copies));
        json_object_set_new(json, "last_off_ms", last ? json_integer(last) : json_null());
        json_object_set_new(json, "last_off_nine_of_ten_ms", last90 ? json_integer(last90) : json_null());
        json_object_set_new(json, "late", json_integer((json_int_t)late));
        json_object_set_new(json, "without_place", json_integer((json_int_t)without));
        status = desk_print_json(json);
    } else {
        if (copies == 1) {
            printf("It would be off about ");
        } else {
            printf("If all %zu hand in, the last is off about ", copies);
        }
        printf("%s", last ? work_time_words(&p->w, last) : "a time beyond the plan");
        if (last90) {
            printf(" (in nine of ten cases by %s)", work_time_words(&p->w, last90));
        }
        printf(".\n");
        if (o.like_due_ms < INT64_MAX) {
            printf("%zu of %zu would be late for %s%s.\n", late + without, copies,
                   work_until_words(&p->w, o.like_due_ms), without ? ", some without any place" : "");
        }
        plan_bound_print(&q);
        printf("Nothing was booked.\n");
    }
    status = status == EXIT_CLEAR && late + without > 0 ? EXIT_ASK : status;
    work_queue_done(&q);
    return status;
}

static int book_it(adding *a)
{
    planning *p = a->p;
    json_t *answers[ADD_MOST] = {NULL};
    po_act_done done[ADD_MOST];
    work_queue q = {0};
    size_t n = a->n_acts;
    a->n_acts = 0; /* bodies are taken over */
    int status = desk_acts(&p->d, a->acts, a->bodies, n, done, answers);
    int64_t run = status == EXIT_CLEAR ? work_int(answers[n - 1], "run", 0) : 0;
    status = status == EXIT_CLEAR ? make(p, &p->o, &q) : status;
    if (status == EXIT_CLEAR && p->d.json) {
        json_t *json = work_queue_json(&p->w, &q);
        json_object_set_new(json, "format", json_string("proveout/plan-add/1"));
        json_object_set_new(json, "run", json_integer(run));
        status = desk_print_json(json);
    } else if (status == EXIT_CLEAR) {
        printf("Run %lld waits.", (long long)run);
        for (size_t j = 0; j < q.plan->n_rows; j++) {
            if (q.queued[j].run == run) {
                printf(" As planned now: %s.", plan_place_words(&p->w, &q, j));
            }
        }
        printf("\nNothing is promised by that: proveout plan promise %lld tells the member a start.\n", (long long)run);
    }
    for (size_t i = 0; i < n; i++) {
        json_decref(answers[i]);
    }
    work_queue_done(&q);
    return status;
}

int plan_add(const cli_call *call)
{
    planning p;
    adding a = {.p = &p, .arena = po_arena_new(2000000000)};
    const char *copies = cli_value(call, "copies"), *member = cli_value(call, "member");
    bool only_try = cli_value(call, "try") != NULL;
    double n = 1;
    int status = begin(&p, call);
    if (status == EXIT_CLEAR && !a.arena) {
        status = cli_fail(EXIT_OWN, "memory ran out");
    }
    if (status == EXIT_CLEAR && !member && !only_try) {
        status = cli_fail(EXIT_USAGE, "--member is missing: whose run is it? (--try asks without one)");
    }
    if (status == EXIT_CLEAR && copies &&
        (!only_try || !cli_number(copies, 1, PO_PLAN_RUNS_MOST, &n) || n != floor(n))) {
        status = cli_fail(EXIT_USAGE, "--copies goes with --try, and is a whole number from 1 to %d",
                          PO_PLAN_RUNS_MOST);
    }
    if (status == EXIT_CLEAR) {
        cli_book_of(&a.book, &p.d);
        a.book.light.member = member;
        status = prove_all(&a, call->args[0]);
        status = status == EXIT_CLEAR ? take(&a, call->args[0]) : status;
        status = status != EXIT_CLEAR ? status : only_try ? try_copies(&a, (size_t)n) : book_it(&a);
        for (size_t i = 0; i < a.n_acts; i++) {
            json_decref(a.bodies[i]);
        }
        cli_book_close(&a.book);
    }
    po_arena_free(a.arena);
    desk_close(&p.d);
    return status;
}

/* ---- promise ---- */

static size_t place_of(const work_queue *q, int64_t run)
{
    size_t j = 0;
    while (j < q->plan->n_rows && q->queued[j].run != run) {
        j++;
    }
    return j;
}

/* Where and when the desk says, or as planned: in *ret_fresh the plan with it there. */
static int place_it(const planning *p, const work_queue *q, size_t j, const po_plan **ret_fresh)
{
    const char *start = cli_value(p->d.call, "start"), *machine = cli_value(p->d.call, "machine");
    const po_machine *wished = machine ? po_shop_machine(p->d.shop, machine) : NULL;
    long long number = (long long)q->queued[j].run;
    int64_t at = p->d.now_ms;
    po_err err;
    *ret_fresh = q->plan;
    if (!start && !machine) {
        return q->plan->rows[j].placed
                   ? EXIT_CLEAR
                   : cli_fail(EXIT_STOP, "run %lld has no place in the plan; proveout plan queue says why", number);
    }
    if (machine && !wished) {
        return cli_fail(EXIT_USAGE, "the shop has no machine \"%s\"; proveout shop show lists them", machine);
    }
    if (start && !desk_time_from(p->d.shop, start, false, p->d.now_ms, &at)) {
        return cli_fail(EXIT_USAGE, "--start %s: expected a time that exists, such as 15:10 or 2026-11-26T15:10",
                        start);
    }
    size_t m = wished ? (size_t)(wished - p->d.shop->machines) : q->plan->rows[j].machine;
    if (po_plan_try(&q->problem, q->plan, j, m, at, p->d.arena, ret_fresh, &err) != PO_OK) {
        return cli_fail(EXIT_STOP, "%s", err.msg);
    }
    int64_t step = q->problem.step_minutes * INT64_C(60000), got = (*ret_fresh)->rows[j].start_ms;
    return start && got - at >= step
               ? cli_fail(EXIT_STOP, "run %lld can't start on %s at %s: not before %s", number,
                          q->problem.machines[m].name, work_time_words(&p->w, at), work_time_words(&p->w, got))
               : EXIT_CLEAR;
}

/* Book the promise of one run. rows: for --json. */
static int promise_one(planning *p, const work_queue *q, int64_t number, json_t *rows)
{
    size_t j = place_of(q, number);
    const po_plan *fresh = q->plan;
    po_act_done done;
    json_t *answer = NULL;
    if (j == q->plan->n_rows) {
        return cli_fail(EXIT_STOP, "run %lld is not in the plan; proveout plan queue says why", (long long)number);
    }
    int status = place_it(p, q, j, &fresh);
    if (status != EXIT_CLEAR) {
        return status;
    }
    const po_plan_row *r = &fresh->rows[j];
    const char *name = q->problem.machines[r->machine].name;
    status = desk_act(&p->d, "run-promise", work_queue_promise(&p->w, q, j, fresh, NULL, cli_value(p->d.call, "quiet")),
                      &done, &answer);
    json_decref(answer);
    if (status == EXIT_CLEAR && p->d.json) {
        json_array_append_new(rows, json_pack("{s:I, s:s, s:I, s:I, s:I}", "run", (json_int_t)number, "machine", name,
                                              "promised_ms", (json_int_t)r->start_ms, "event", (json_int_t)done.event,
                                              "costs_1000", (json_int_t)(fresh->cost - q->plan->cost)));
    } else if (status == EXIT_CLEAR) {
        printf("Run %lld is promised: %s at %s. Booked as event %lld.\n", (long long)number, name,
               work_time_words(&p->w, r->start_ms), (long long)done.event);
        for (size_t i = 0; i < fresh->n_rows; i++) {
            if (i != j && fresh->rows[i].placed && fresh->rows[i].start_ms > q->plan->rows[i].start_ms) {
                printf("  Run %lld would then start later: %s.\n", (long long)q->queued[i].run,
                       work_time_words(&p->w, fresh->rows[i].start_ms));
            }
        }
    }
    return status;
}

int plan_promise(const cli_call *call)
{
    planning p;
    work_queue q = {0};
    json_t *rows = json_array();
    int status = begin(&p, call);
    if (status == EXIT_CLEAR && call->n_args > 1 && (cli_value(call, "start") || cli_value(call, "machine"))) {
        status = cli_fail(EXIT_USAGE, "--start and --machine go with one run; %d were given", call->n_args);
    }
    status = status == EXIT_CLEAR ? make(&p, &p.o, &q) : status;
    for (int i = 0; status == EXIT_CLEAR && i < call->n_args; i++) { /* all of one plan */
        json_t *run = desk_value(&p.d, "RUN", call->args[i], DESK_COUNT);
        status = run ? promise_one(&p, &q, json_integer_value(run), rows) : EXIT_USAGE;
        json_decref(run);
    }
    if (status == EXIT_CLEAR && p.d.json) {
        status = desk_print_json(json_pack("{s:s, s:O}", "format", "proveout/plan-promise/1", "promises", rows));
    }
    json_decref(rows);
    work_queue_done(&q);
    desk_close(&p.d);
    return status;
}

/* ---- moved ---- */

static json_t *moved_json(const planning *p, const work_queue *q, size_t j)
{
    const work_queued *c = &q->queued[j];
    const po_plan_row *r = &q->plan->rows[j];
    (void)p;
    return json_pack("{s:I, s:s, s:I, s:s, s:o, s:s?, s:s}", "run", (json_int_t)c->run, "member", c->member,
                     "promised_ms", (json_int_t)c->promised_ms, "promised_machine", c->promised_machine, "start_ms",
                     r->placed ? json_integer(r->start_ms) : json_null(), "machine",
                     r->placed ? q->problem.machines[r->machine].name : NULL, "why",
                     c->why_moved ? c->why_moved : "no machine is free then");
}

int plan_moved(const cli_call *call)
{
    planning p;
    work_queue q = {0};
    int status = begin(&p, call), n = 0, kept = 0;
    bool keep = cli_value(call, "keep") != NULL;
    status = status == EXIT_CLEAR ? make(&p, &p.o, &q) : status;
    json_t *list = json_array();
    for (size_t j = 0; status == EXIT_CLEAR && j < q.plan->n_rows; j++) {
        const work_queued *c = &q.queued[j];
        const po_plan_row *r = &q.plan->rows[j];
        if (!work_queue_moved(&q, j)) {
            continue;
        }
        const char *why = c->why_moved ? c->why_moved : "no machine is free then";
        n++;
        if (!p.d.json) {
            printf("Run %lld of member %s: was promised %s%s%s, now %s: %s.\n", (long long)c->run, c->member,
                   *c->promised_machine ? c->promised_machine : "", *c->promised_machine ? ", " : "",
                   work_time_words(&p.w, c->promised_ms), plan_place_words(&p.w, &q, j), why);
        }
        if (keep && r->placed) {
            po_act_done done;
            json_t *answer = NULL;
            status = desk_act(&p.d, "run-promise",
                              work_queue_promise(&p.w, &q, j, q.plan, why, cli_value(call, "quiet")), &done, &answer);
            kept += status == EXIT_CLEAR;
            json_decref(answer);
        }
        json_array_append_new(list, moved_json(&p, &q, j));
    }
    if (status == EXIT_CLEAR && p.d.json) {
        status = desk_print_json(json_pack("{s:s, s:O, s:i, s:b}", "format", "proveout/plan-moved/1", "moved", list,
                                           "kept", kept, "booked", keep));
    } else if (status == EXIT_CLEAR && n == 0) {
        printf("Every promise stands.\n");
    } else if (status == EXIT_CLEAR && keep) {
        printf("%d promise%s made anew%s.\n", kept, kept == 1 ? "" : "s",
               p.d.shop->outbox.on && !cli_value(call, "quiet") ? "; the messages are in the outbox" : "");
    } else if (status == EXIT_CLEAR) {
        printf("Nothing was booked: --keep makes these promises and puts the messages into the outbox.\n");
    }
    status = status == EXIT_CLEAR && n > 0 && !keep ? EXIT_ASK : status;
    json_decref(list);
    work_queue_done(&q);
    desk_close(&p.d);
    return status;
}

/* ---- without ---- */

static size_t same_run(const work_queue *q, const work_queue *other, size_t j)
{
    return place_of(other, q->queued[j].run);
}

int plan_without(const cli_call *call)
{
    planning p;
    work_queue with = {0}, without = {0};
    int status = begin(&p, call);
    const char *name = call->args[0], *until = cli_value(call, "until");
    const po_machine *machine = status == EXIT_CLEAR ? po_shop_machine(p.d.shop, name) : NULL;
    if (status == EXIT_CLEAR && !machine) {
        status = cli_fail(EXIT_USAGE, "the shop has no machine \"%s\"; proveout shop show lists them", name);
    }
    if (status == EXIT_CLEAR && until && !desk_time_from(p.d.shop, until, true, p.d.now_ms, &p.o.without_until_ms)) {
        status = cli_fail(EXIT_USAGE, "--until %s: expected a time that exists, such as 15:10 or 2026-11-26", until);
    }
    work_queue_options other = p.o;
    other.without = machine ? machine->name : NULL;
    status = status == EXIT_CLEAR ? make(&p, &p.o, &with) : status;
    status = status == EXIT_CLEAR ? make(&p, &other, &without) : status;
    if (status == EXIT_CLEAR && p.d.json) {
        json_t *json = work_queue_json(&p.w, &without);
        json_object_set_new(json, "format", json_string("proveout/plan-without/1"));
        json_object_set_new(json, "without", json_string(machine->name));
        json_object_set_new(json, "costs_1000", json_integer(without.plan->cost - with.plan->cost));
        status = desk_print_json(json);
    } else if (status == EXIT_CLEAR) {
        int n = 0;
        for (size_t j = 0; j < without.plan->n_rows; j++) {
            size_t i = same_run(&without, &with, j);
            const po_plan_row *b = &without.plan->rows[j], *a = i < with.plan->n_rows ? &with.plan->rows[i] : NULL;
            if (a && (a->placed != b->placed || a->start_ms != b->start_ms || a->machine != b->machine)) {
                const char *was = plan_place_words(&p.w, &with, i), *now = plan_place_words(&p.w, &without, j);
                printf("Run %lld of member %s: %s; without %s: %s%s.\n", (long long)with.queued[i].run,
                       with.queued[i].member, was, machine->name, now,
                       work_queue_moved(&without, j) ? " (A PROMISE)" : "");
                n++;
            }
        }
        printf(n ? "%d of %zu runs change; it costs %.1f points more.\n" : "No run changes.\n", n, without.plan->n_rows,
               (double)(without.plan->cost - with.plan->cost) / 1000);
        printf("Nothing was booked: proveout machine tag %s takes it out of use; then proveout plan moved.\n",
               machine->name);
    }
    status = status == EXIT_CLEAR ? exit_of(&without) : status;
    work_queue_done(&with);
    work_queue_done(&without);
    desk_close(&p.d);
    return status;
}
