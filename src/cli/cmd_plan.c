/* proveout plan when FILE: when each machine can start a job so that somebody is there. SPDX-License-Identifier: Apache-2.0
 *
 * Measured once for all machines, judged as check would; then the calendar is asked. Nothing is promised or kept. */
#include <math.h>
#include <string.h>

#include "due.h"
#include "plan_feed.h"
#include "plan_queue.h"
#include "verbs.h"
#include "when.h"

static const po_material *material_of(const po_shop *shop, const work_fitted *fitted, size_t nozzle)
{
    const po_material *house = po_shop_house_material(shop);
    return fitted->materials[nozzle]                        ? fitted->materials[nozzle]
           : po_machine_takes(shop, fitted->machine, house) ? house
                                                            : &shop->materials[fitted->machine->materials[0]];
}

static int measure(const po_shop *shop, const work_fitted *fitted, size_t n, const char *path, po_arena *arena,
                   const po_job_report **reports)
{
    po_source source;
    cli_kind kind;
    int status = cli_open_source(path, arena, &source, &kind);
    if (status != EXIT_CLEAR || kind != CLI_KIND_JOB) {
        return status != EXIT_CLEAR ? status
                                    : cli_fail(EXIT_NO_JOB, "%s is %s; a machine runs jobs (G-code)", path,
                                               kind == CLI_KIND_ZIP ? "a zip archive" : "a part");
    }
    po_job_setup *setups = po_arena_zeros(arena, n, sizeof *setups);
    if (!setups) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    for (size_t i = 0; i < n; i++) {
        setups[i] = (po_job_setup){.machine = fitted[i].machine, .rules = &shop->rules};
        for (size_t k = 0; k < fitted[i].machine->n_nozzles && k < PO_MAX_TOOLS; k++) {
            setups[i].materials[k] = material_of(shop, &fitted[i], k);
        }
    }
    cli_progress progress;
    cli_progress_begin(&progress, path);
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.most_bytes = shop->most_file_bytes;
    options.progress = cli_progress_step;
    options.user = &progress;
    po_err err;
    po_status s = po_job_measure(&source, setups, n, &options, arena, reports, &err);
    cli_progress_end(&progress);
    if (s != PO_OK && !err.where[0]) {
        snprintf(err.where, sizeof err.where, "%s", path);
    }
    return s == PO_OK ? EXIT_CLEAR : cli_fail_err(&err);
}

/* What is on the machine now, and what is promised on it. */
static int put_taken(const when_plan *p, const json_t *today, when_row *row)
{
    const json_t *runs = json_object_get(today, "runs"), *reservations = json_object_get(today, "reservations"), *o;
    size_t i, n = 0;
    when_taken *taken = po_arena_zeros(p->desk->arena, json_array_size(runs) + json_array_size(reservations) + 1,
                                       sizeof *taken);
    if (!taken) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    int64_t now = p->desk->now_ms, from = p->from_ms < now ? p->from_ms : now;
    json_array_foreach(runs, i, o)
    {
        if (strcmp(work_text(o, "machine"), row->machine->name) == 0) {
            int64_t end = strcmp(work_text(o, "state"), "out") == 0 ? work_int(o, "end_ms", now) : now;
            end = end < now ? now : end;
            bool known = po_calendar_next_staffed(p->calendar, end, &end);
            /* a part that is only to be taken off holds nobody up while somebody is there */
            taken[n++] = (when_taken){{from, known ? end : INT64_MAX}, work_int(o, "run", 0), false};
        }
    }
    json_array_foreach(reservations, i, o)
    {
        if (strcmp(work_text(o, "machine"), row->machine->name) == 0 && work_has(o, "promised_ms")) {
            int64_t start = work_int(o, "promised_ms", 0), end = start + 1000 * work_int(o, "seconds", 0);
            po_calendar_next_staffed(p->calendar, end, &end);
            taken[n++] = (when_taken){{start, end}, work_int(o, "run", 0), true};
        }
    }
    row->taken = taken;
    row->n_taken = n;
    return EXIT_CLEAR;
}

static void put_hits(when_row *row, const po_job_when *w)
{
    row->n_hits = 0;
    for (size_t i = 0; i < row->n_taken && row->n_hits < WHEN_HITS; i++) {
        const when_taken *t = &row->taken[i];
        if (w->start_ms < t->span.until_ms && w->off.high_ms > t->span.from_ms) {
            row->hit_unsure[row->n_hits] = w->off.middle_ms <= t->span.from_ms;
            row->hits[row->n_hits++] = t;
        }
    }
}

static int plan_row(const when_plan *p, cli_book *book, const work_fitted *fitted, const po_recipe *recipe,
                    const po_job_report *report, const json_t *today, bool asked, when_row *row)
{
    po_proof_context *context = po_arena_zeros(p->desk->arena, 1, sizeof *context);
    if (!context) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    *context = (po_proof_context){.shop = p->desk->shop, .recipe = recipe, .spool_g = NAN, .allowance_left_m = NAN};
    int status = cli_book_context(book, fitted, report->sha256, context);
    if (status == EXIT_CLEAR && !context->out_of_use) {
        context->not_free = NULL; /* what is on it now has its time below */
    }
    if (status == EXIT_CLEAR) {
        status = cli_book_judge(book, report, p->file, context, p->desk->arena, &row->proof);
    }
    status = status == EXIT_CLEAR ? put_taken(p, today, row) : status;
    if (status != EXIT_CLEAR) {
        return status;
    }
    row->may = row->proof->verdict != PO_STOP;
    row->why = row->proof->verdict != PO_CLEAR ? row->proof->findings[0].says : NULL;
    row->need = po_need_of(row->proof, p->desk->shop);
    if (!row->may) {
        return EXIT_CLEAR;
    }
    po_ms_span *spans = po_arena_zeros(p->desk->arena, row->n_taken + 1, sizeof *spans);
    if (!spans) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    for (size_t i = 0; i < row->n_taken; i++) {
        spans[i] = row->taken[i].span;
    }
    int64_t start = 0;
    row->good = po_calendar_earliest(p->calendar, &row->need, spans, row->n_taken, p->from_ms, &start);
    if (row->good != PO_GOOD_NEVER) {
        po_calendar_job(p->calendar, &row->need, start, &row->best);
    }
    row->asked = asked;
    if (asked) {
        po_calendar_job(p->calendar, &row->need, p->from_ms, &row->then);
    }
    if (asked || row->good != PO_GOOD_NEVER) {
        put_hits(row, asked ? &row->then : &row->best);
    }
    return EXIT_CLEAR;
}

static int choose(const cli_call *call, const po_shop *shop, po_arena *arena, const po_machine ***ret, size_t *ret_n,
                  const po_recipe **ret_recipe)
{
    const char *name = cli_value(call, "machine"), *recipe = cli_value(call, "recipe");
    *ret = po_arena_zeros(arena, shop->n_machines, sizeof **ret);
    *ret_n = 0;
    *ret_recipe = recipe ? po_shop_recipe(shop, recipe) : NULL;
    if (!*ret) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    if (recipe && !*ret_recipe) {
        return cli_fail(EXIT_USAGE, "the shop has no recipe \"%s\"; proveout shop show lists them", recipe);
    }
    for (size_t i = 0; i < shop->n_machines; i++) {
        if (!name || &shop->machines[i] == po_shop_machine(shop, name)) {
            (*ret)[(*ret_n)++] = &shop->machines[i];
        }
    }
    return *ret_n > 0 ? EXIT_CLEAR
                      : cli_fail(EXIT_USAGE, "the shop has no machine \"%s\"; proveout shop show lists them", name);
}

static int exit_of(const when_plan *p)
{
    int best = EXIT_STOP;
    for (size_t i = 0; i < p->n_rows; i++) {
        const when_row *r = &p->rows[i];
        int one = !r->may || r->good == PO_GOOD_NEVER ? EXIT_STOP
                  : r->good == PO_GOOD_WATCHED        ? EXIT_ASK
                                                      : (int)r->proof->verdict;
        best = one < best ? one : best;
    }
    return best;
}

static int plan_all(const cli_call *call, const po_shop *shop, po_arena *arena)
{
    cli_book book = {0};
    const po_machine **machines;
    const po_recipe *recipe;
    size_t n;
    json_t *today = NULL;
    int status = choose(call, shop, arena, &machines, &n, &recipe);
    status = status == EXIT_CLEAR ? cli_book_open(&book, call, shop, arena) : status;
    book.desk.now_ms = desk_now_ms((void *)(uintptr_t)shop);
    when_plan p = {.desk = &book.desk, .file = call->args[0], .from_ms = book.desk.now_ms, .n_rows = n};
    const char *start = cli_value(call, "start");
    if (status == EXIT_CLEAR && book.desk.now_ms < 0) {
        status = cli_fail(EXIT_USAGE, "PROVEOUT_CLOCK is no day and time such as 2026-11-26T15:10");
    }
    if (status == EXIT_CLEAR && start && !desk_time_from(shop, start, false, book.desk.now_ms, &p.from_ms)) {
        status = cli_fail(
            EXIT_USAGE, "--start %s: expected a time that exists, such as 15:10, 2026-11-26T15:10, now or +2h", start);
    }
    int64_t earlier = p.from_ms < book.desk.now_ms ? p.from_ms : book.desk.now_ms;
    status = status == EXIT_CLEAR ? when_calendar(shop, earlier, arena, &p.calendar) : status;
    work_fitted *fitted = po_arena_zeros(arena, n + 1, sizeof *fitted);
    const po_job_report **reports = po_arena_zeros(arena, n + 1, sizeof *reports);
    p.rows = po_arena_zeros(arena, n + 1, sizeof *p.rows);
    if (status == EXIT_CLEAR && (!fitted || !reports || !p.rows)) {
        status = cli_fail(EXIT_OWN, "memory ran out");
    }
    for (size_t i = 0; status == EXIT_CLEAR && i < n; i++) {
        status = cli_book_fitted(&book, machines[i], &fitted[i]);
    }
    status = status == EXIT_CLEAR ? measure(shop, fitted, n, p.file, arena, reports) : status;
    if (status == EXIT_CLEAR && book.desk.ledger) {
        status = due_ask(&book.desk, &today);
    }
    for (size_t i = 0; status == EXIT_CLEAR && i < n; i++) {
        p.rows[i].machine = machines[i];
        status = plan_row(&p, &book, &fitted[i], recipe, reports[i], today, start != NULL, &p.rows[i]);
    }
    if (status == EXIT_CLEAR) {
        status = exit_of(&p);
        if (cli_value(call, "json")) {
            int printed = desk_print_json(when_json(&p));
            status = printed != EXIT_CLEAR ? printed : status;
        } else if (cli_value(call, "picture")) {
            int drawn = when_picture(&p, cli_value(call, "picture"));
            status = drawn != EXIT_CLEAR ? drawn : status;
        } else {
            when_print(&p);
        }
    }
    for (size_t i = 0; fitted && i < n; i++) {
        json_decref(fitted[i].now);
    }
    json_decref(today);
    cli_book_close(&book);
    return status;
}

static int run_when(const cli_call *call)
{
    po_arena *arena = po_arena_new(2000000000);
    const po_shop *shop = NULL;
    int status = arena ? cli_shop_read(cli_value(call, "shop"), arena, &shop) : cli_fail(EXIT_OWN, "memory ran out");
    status = status == EXIT_CLEAR ? when_opening(call, arena, &shop) : status;
    status = status == EXIT_CLEAR ? plan_all(call, shop, arena) : status;
    po_arena_free(arena);
    return status;
}

static const cli_option when_options[] = {
    {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},
    {.name = "machine", .value = "NAME", .says = "this machine alone; without it: all that may run it"},
    {.name = "recipe", .value = "NAME", .says = "the house's way to print that it is held against; else the nearest"},
    {.name = "start",
     .value = "TIME",
     .says = "what happens if it is started then: 15:10, 2026-11-26T15:10, now, +2h; and the earliest good start from "
             "then on"},
    {.name = "member", .value = "ID", .says = "who brings it: permissions and allowance, from the book"},
    {.name = "spool", .value = "ID[,ID]", .says = "the spools that it would be printed from, from the book"},
    {.name = "ledger",
     .value = "FILE",
     .says = "the book, only read: what runs and what is promised, and what runs have really taken; else "
             "PROVEOUT_LEDGER, else "
             "the one that the shop file names, where there is one"},
    WHEN_OPTIONS,
    {.name = "picture",
     .value = "OUT.svg|.png|.pdf",
     .says = "the strip of time as a picture, instead of words; -: SVG on standard output"},
    {.name = "json", .says = "print one JSON object instead of words"},
};

static const cli_example when_examples[] = {
    {"proveout plan when bracket.gcode",
     "the earliest good start on each machine, its end, and when the part comes off"},
    {"proveout plan when --machine Birch --start 19:30 bracket.gcode", "what happens if it is started at 19:30"},
    {"proveout plan when --member 10041 --json bracket.gcode", "for a member, for another program"},
};

#define PLAN_OPTIONS                                                                                                   \
    DESK_OPTIONS, WHEN_OPTIONS,                                                                                        \
    {                                                                                                                  \
        .name = "steps", .value = "N",                                                                                 \
        .says = "how long a better plan is looked for, in steps; without it: by the number of runs"                    \
    }
#define QUIET                                                                                                          \
    {                                                                                                                  \
        .name = "quiet", .says = "no message to the member"                                                            \
    }

static const cli_option queue_options[] = {
    PLAN_OPTIONS,
    {.name = "picture",
     .value = "OUT.svg|.png|.pdf",
     .says = "strips of the machines as a picture beside the words; -: SVG on standard output instead of them"}};
static const cli_option add_options[] = {
    PLAN_OPTIONS,
    {.name = "member", .value = "ID", .says = "whose run it is", .field = "member", .unit = DESK_ID},
    {.name = "recipe", .value = "NAME", .says = "the house's way to print that it is held against; else the nearest"},
    {.name = "due", .value = "TIME", .says = "when the member needs the part", .field = "due", .unit = DESK_UNTIL},
    {.name = "course", .value = "ID", .says = "the course that it is for", .field = "course", .unit = DESK_ID},
    {.name = "assignment", .value = "ID", .says = "and its assignment", .field = "assignment", .unit = DESK_ID},
    {.name = "group", .value = "ID", .says = "the group that it is for", .field = "group", .unit = DESK_ID},
    {.name = "fund", .value = "ID", .says = "the fund that pays for it", .field = "fund", .unit = DESK_ID},
    {.name = "purpose", .value = "TEXT", .says = "what it is for, in words", .field = "purpose"},
    {.name = "try", .says = "only say what would be: nothing is booked"},
    {.name = "copies",
     .value = "N",
     .says = "with --try: so many such runs, each of another member, as when a whole course hands in"}};
static const cli_option promise_options[] = {
    PLAN_OPTIONS,
    {.name = "start",
     .value = "TIME",
     .says = "this start, or the first possible one after it; without it: as planned"},
    {.name = "machine", .value = "NAME", .says = "on this machine; without it: as planned"},
    QUIET};
static const cli_option moved_options[] = {
    PLAN_OPTIONS, {.name = "keep", .says = "make these promises anew, with a message to each member"}, QUIET};
static const cli_option without_options[] = {
    PLAN_OPTIONS, {.name = "until", .value = "TIME", .says = "it is back then; without it: it stays away"}};

static const cli_example queue_examples[] = {{"proveout plan queue", "who starts when and where, and what is late"},
                                             {"proveout plan queue --picture plan.svg", "with strips for the wall"}};
static const cli_example add_examples[] = {{"proveout plan add bracket.gcode --member 10041 --due 2026-12-04",
                                            "a run that waits for any machine that may run it"},
                                           {"proveout plan add --try --copies 60 --due 2026-12-18 bracket.gcode",
                                            "if 60 hand in such a job: when is the last off?"}};
static const cli_example promise_examples[] = {
    {"proveout plan promise 12 13 14", "their members are told the planned starts"},
    {"proveout plan promise 12 --machine Birch --start 15:10", "another, as the desk says"}};
static const cli_example moved_examples[] = {{"proveout plan moved", "promises that can't be kept, and why"},
                                             {"proveout plan moved --keep", "made anew, and the members hear of it"}};
static const cli_example without_examples[] = {
    {"proveout plan without Birch --until 2026-12-03", "Birch is jammed: what now?"}};

static const cli_option feed_options[] = {DESK_OPTIONS, WHEN_OPTIONS};

static const cli_example feed_examples[] = {
    {"proveout plan feed desk.ics", "runs, watches and take-offs, for any calendar program"},
    {"proveout plan feed -", "the same on standard output"},
};

const cli_verb cli_plan_verbs[] = {
    {
        .name = "plan when",
        .operands = "FILE",
        .least = 1,
        .most = 1,
        .options = when_options,
        .n_options = sizeof when_options / sizeof when_options[0],
        .line = "when each machine can start a job so that somebody is there",
        .help = "Measures the job and asks the calendar: the earliest good start from now on (somebody is there from "
                "the start to the end "
                "of the watch, whenever it needs hands, and at the end where the shop wants that; the machine is free "
                "until the part "
                "is off), the end with its range, when the bed is cool, when the part comes off and how long the "
                "machine stands full. "
                "Below that a strip of time: a row for the desk and one for each machine.\n\n"
                "Nothing is promised or kept by this. Exit status: 0 there is a good start; 1 only with somebody's "
                "leave; 2 there "
                "is none; 3 not a job; 4 wrong usage, or a faulty shop or calendar file.\n\n"
                "Nozzle and bed are hot while it runs and for a while after; a run with nobody near follows the shop's "
                "and the "
                "local rules for unattended machines.",
        .examples = when_examples,
        .n_examples = sizeof when_examples / sizeof when_examples[0],
        .run = run_when,
    },
    {
        .name = "plan feed",
        .operands = "OUT.ics",
        .least = 1,
        .most = 1,
        .options = feed_options,
        .n_options = sizeof feed_options / sizeof feed_options[0],
        .line = "runs, watches and take-offs as a calendar that other programs follow",
        .help = "Writes what the book knows of as an iCalendar file (RFC 5545): runs on their machines and promised "
                "ones, watches, when "
                "hands are needed, take-offs. The same thing keeps its UID, so that a calendar program that reads it "
                "again moves what has moved. "
                "Runs stand there by their numbers, without members or names.",
        .examples = feed_examples,
        .n_examples = sizeof feed_examples / sizeof feed_examples[0],
        .run = plan_feed,
    },
#define VERB_OF(name_)                                                                                                 \
    .options = name_##_options, .n_options = sizeof name_##_options / sizeof name_##_options[0],                       \
    .examples = name_##_examples, .n_examples = sizeof name_##_examples / sizeof name_##_examples[0],                  \
    .run = plan_##name_
    {
        .name = "plan queue",
        .operands = "",
        VERB_OF(queue),
        .line = "who starts when and where: the queue, planned",
        .help = "Makes a plan of all runs that wait in the book: by weight of lateness, waiting, standing full and "
                "changes (the shop "
                "file's rules plan_...), with somebody at the desk for every start, watch and take-off. What runs and "
                "what was "
                "promised stays put. Says how far from the best it can be, how often each start is kept as run lengths "
                "scatter, "
                "what can't be met and what would make room.\n\n"
                "Nothing is booked. Exit status: 0 all in time; 1 somebody is late, has no place, or a promise moved; "
                "4 wrong "
                "usage.",
    },
    {
        .name = "plan add",
        .operands = "FILE",
        .least = 1,
        .most = 1,
        VERB_OF(add),
        .line = "a run joins the queue, for any machine that may run it",
        .help = "Proves the job on all machines, keeps the proofs, reserves the run, and says where it stands in the "
                "plan. With "
                "--try nothing is booked; --copies asks for a whole course. Exit status: 0; 1 with --try where some "
                "would be "
                "late; 2 the verdict is stop on every machine, or the book refuses; 3 not a job; 4 wrong usage.",
    },
    {
        .name = "plan promise",
        .operands = "RUN...",
        .least = 1,
        .most = -1,
        VERB_OF(promise),
        .line = "a start is told to a run's member, and stays put from then on",
        .help = "Books the start that the plan has for the run, or one that the desk says, with a message to the "
                "member; says who "
                "then starts later. A promise is given up by proveout run drop, or moved by plan moved.",
    },
    {
        .name = "plan moved",
        .operands = "",
        VERB_OF(moved),
        .line = "promises that can't be kept, and why",
        .help = "After a failure, or when a machine is out of use: which promises can't be kept, why, and what the "
                "plan has instead. "
                "The others stay where they are. With --keep the new starts are promised and the messages put into the "
                "outbox. "
                "Exit status: 0 every promise stands, or all were made anew; 1 some moved and nothing was booked.",
    },
    {
        .name = "plan without",
        .operands = "MACHINE",
        .least = 1,
        .most = 1,
        VERB_OF(without),
        .line = "what changes if a machine is out of use",
        .help = "Plans the queue with and without the machine and says which runs change. Nothing is booked.",
    },
    {.name = NULL},
};
