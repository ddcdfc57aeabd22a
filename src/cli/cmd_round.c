/* proveout round ...: walking all machines at opening and closing. SPDX-License-Identifier: Apache-2.0
 *
 * Made for somebody who walks: several machines in one line, all points good unless one is named, and behind each machine what
 * the book says otherwise. The round changes no run: what is missing is booked by its own verb. */
#include <string.h>

#include "due.h"
#include "verbs.h"
#include "work/round.h"

enum { MACHINES_MOST = 24 };

#define CAREFUL                                                                                                        \
    "Careful: nozzle and bed may be hot, and a running machine moves without warning; look, and keep hands out. A "    \
    "machine that smells, smokes or sparks is switched off at the wall if that is safe, and tagged out; go by the "    \
    "maker's instructions and local rules."

/* The open round, or the one that --round names. EXIT_CLEAR, or a message printed. */
static int the_round(desk *d, int64_t *ret, json_t **ret_answer)
{
    const char *given = cli_value(d->call, "round");
    json_t *p = NULL, *answer = NULL;
    if (given) {
        json_t *number = desk_value(d, "--round", given, DESK_COUNT);
        if (!number) {
            return EXIT_USAGE;
        }
        *ret = json_integer_value(number);
        json_decref(number);
    } else {
        int status = desk_ask(d, "rounds", json_pack("{s:i}", "limit", 1), &answer);
        const json_t *last = json_array_get(json_object_get(answer, "rounds"), 0);
        bool open = last && json_is_null(json_object_get(last, "done_ms"));
        *ret = work_int(last, "round", 0);
        json_decref(answer);
        if (status != EXIT_CLEAR) {
            return status;
        }
        if (!open && ret_answer == NULL) {
            return cli_fail(EXIT_STOP, "no round is open; proveout round begin opening (or closing) begins one");
        }
        if (!last) {
            return cli_fail(EXIT_STOP, "no round was made yet; proveout round begin opening begins one");
        }
    }
    p = json_pack("{s:I}", "round", (json_int_t)*ret);
    if (ret_answer) {
        return desk_ask(d, "rounds", p, ret_answer);
    }
    json_decref(p);
    return EXIT_CLEAR;
}

/* Machines of the shop and of the book that the round has not seen: names with commas; "" where it has seen all. */
static const char *left_to_see(desk *d, const json_t *answer, const json_t *today)
{
    work_context w = desk_work(d);
    json_t *left = work_round_left(&w, answer, today);
    const char *out = "";
    size_t i;
    const json_t *name;
    json_array_foreach(left, i, name)
    {
        out = po_arena_printf(d->arena, "%s%s%s", out, *out ? ", " : "", json_string_value(name));
    }
    json_decref(left);
    return out ? out : "";
}

/* What the book says against what was found; NULL: nothing. */
static const char *disagrees(const desk *d, const char *found, const char *run_state, long long run)
{
    switch (work_round_against(found, run_state)) {
    case WORK_WHOSE_JOB:
        return "by the book nobody has it: find out whose job it is, and book the hand-out or stop it";
    case WORK_WHOSE_PART:
        return "by the book nobody had it: find out whose part it is";
    case WORK_BOOK_ENDED:
        return po_arena_printf(d->arena, "book it: proveout run ended %lld", run);
    case WORK_BOOK_FAILED:
        return po_arena_printf(d->arena, "book it: proveout run failed %lld", run);
    case WORK_STILL_GOING:
        return po_arena_printf(d->arena, "by the book run %lld is still going on it: proveout run ended %lld", run,
                               run);
    case WORK_STILL_THERE:
        return po_arena_printf(d->arena,
                               "by the book the part of run %lld is still on it: proveout run off %lld, or run "
                               "take-back %lld",
                               run, run, run);
    case WORK_RUNS_ON:
        return po_arena_printf(d->arena, "by the book run %lld is over: find out what it does", run);
    case WORK_AGREES:
        break;
    }
    return NULL;
}

/* ---- begin ---- */

static int run_begin(const cli_call *call)
{
    desk d;
    json_t *body = NULL, *today = NULL;
    if (strcmp(call->args[0], "opening") != 0 && strcmp(call->args[0], "closing") != 0) {
        return cli_fail(EXIT_USAGE, "round begin %s: expected opening or closing", call->args[0]);
    }
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? desk_book_and_tell(&d, body) : status;
    if (status == EXIT_CLEAR && !d.json && due_ask(&d, &today) == EXIT_CLEAR) {
        const json_t *note = json_object_get(today, "note");
        if (json_is_object(note) && !strcmp(call->args[0], "opening")) {
            desk_tell(&d, "Note from {by}, {at_ms:time}: {text}", note, NULL);
        }
        size_t i;
        const json_t *r;
        json_array_foreach(json_object_get(today, "runs"), i, r)
        {
            desk_tell(&d, "{machine}: by the book run {run} of member {member}, {state}[, to end about {end_ms:time}].",
                      r, NULL);
        }
    }
    json_decref(today);
    desk_close(&d);
    return status;
}

/* ---- machine ---- */

static int find_points(desk *d, const char *found, bool good[WORK_ROUND_POINTS])
{
    const char *bad = cli_value(d->call, "not"), *pieces[CLI_MOST_LIST];
    size_t n = 0;
    for (size_t i = 0; i < WORK_ROUND_POINTS; i++) {
        good[i] = !work_round_of_course(found, i);
    }
    if (bad && !cli_split(bad, d->arena, pieces, &n)) {
        return cli_fail(EXIT_USAGE, "--not %s: too many words", bad);
    }
    for (size_t k = 0; k < n; k++) {
        size_t i = 0;
        while (i < WORK_ROUND_POINTS && strcmp(work_round_points[i].word, pieces[k]) != 0) {
            i++;
        }
        if (i == WORK_ROUND_POINTS) {
            return cli_fail(EXIT_USAGE, "--not %s: expected some of bed, stick, nozzle, spool, heaters", pieces[k]);
        }
        good[i] = false;
    }
    return EXIT_CLEAR;
}

static int bodies_of(desk *d, int64_t round, json_t **bodies, const char **acts)
{
    const char *found = cli_value(d->call, "found"), *note = cli_value(d->call, "note");
    bool good[WORK_ROUND_POINTS];
    found = found ? found : "free";
    int status = find_points(d, found, good);
    for (int m = 0; status == EXIT_CLEAR && m < d->call->n_args; m++) {
        json_t *name = desk_value(d, "MACHINE", d->call->args[m], DESK_MACHINE);
        if (!name) {
            return EXIT_USAGE;
        }
        acts[m] = "round-machine";
        bodies[m] = json_pack("{s:I, s:o, s:s, s:s*}", "round", (json_int_t)round, "machine", name, "found", found,
                              "note", note);
        for (size_t i = 0; bodies[m] && i < WORK_ROUND_POINTS; i++) {
            json_object_set_new(bodies[m], work_round_points[i].field, json_boolean(good[i]));
        }
    }
    return status;
}

/* "free; not: stick, nozzle", what the book says, what is left. */
static void tell_machine(const desk *d, const json_t *f, const json_t *answer)
{
    const char *bad = "", *found = work_text(f, "found");
    for (size_t i = 0; i < WORK_ROUND_POINTS; i++) {
        static const char *const says[] = {"bed not clear", "stick not there", "nozzle not clean", "no spool on",
                                           "heaters on"};
        if (!json_is_true(json_object_get(f, work_round_points[i].field)) && !work_round_of_course(found, i)) {
            bad = po_arena_printf(d->arena, "%s, %s", bad, says[i]);
        }
    }
    const char *against = disagrees(d, found, work_text(answer, "run_state"), work_int(answer, "run", 0));
    printf("%s: %s%s%s%s.\n", work_text(f, "machine"), found, *bad ? bad : ", all good", against ? "; " : "",
           against ? against : "");
}

static int run_machine(const cli_call *call)
{
    desk d;
    int64_t round = 0;
    json_t *bodies[MACHINES_MOST] = {0}, *kept[MACHINES_MOST] = {0}, *answers[MACHINES_MOST] = {0}, *now = NULL,
           *today = NULL;
    const char *acts[MACHINES_MOST];
    po_act_done done[MACHINES_MOST];
    size_t n = (size_t)call->n_args;
    if (!cli_value(call, "ok") == !cli_value(call, "not")) {
        return cli_fail(EXIT_USAGE,
                        "say --ok (bed, stick, nozzle, spool and heaters are as they should be) or --not with "
                        "what is not, such as --not stick,nozzle");
    }
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? the_round(&d, &round, NULL) : status;
    status = status == EXIT_CLEAR ? bodies_of(&d, round, bodies, acts) : status;
    for (size_t i = 0; i < n; i++) {
        kept[i] = json_deep_copy(bodies[i]);
        if (status != EXIT_CLEAR) {
            json_decref(bodies[i]);
        }
    }
    status = status == EXIT_CLEAR ? desk_acts(&d, acts, bodies, n, done, answers) : status;
    json_t *p = json_pack("{s:I}", "round", (json_int_t)round);
    if (status == EXIT_CLEAR) {
        status = desk_ask(&d, "rounds", json_incref(p), &now);
        status = status == EXIT_CLEAR ? due_ask(&d, &today) : status;
    }
    json_decref(p);
    const char *left = status == EXIT_CLEAR ? left_to_see(&d, now, today) : "";
    if (status == EXIT_CLEAR && d.json) {
        json_t *list = json_array();
        for (size_t i = 0; i < n; i++) {
            json_object_update(kept[i], answers[i]);
            json_object_set_new(kept[i], "event", json_integer((json_int_t)done[i].event));
            json_array_append(list, kept[i]);
        }
        status = desk_print_json(json_pack("{s:s, s:I, s:o, s:s}", "format", "proveout/round-machine/1", "round",
                                           (json_int_t)round, "machines", list, "left", left));
    } else if (status == EXIT_CLEAR) {
        for (size_t i = 0; i < n; i++) {
            tell_machine(&d, kept[i], answers[i]);
        }
        printf(*left ? "Left to see: %s.\n" : "All machines are seen: proveout round done.%s\n", left);
    }
    for (size_t i = 0; i < n; i++) {
        json_decref(kept[i]);
        json_decref(answers[i]);
    }
    json_decref(now);
    json_decref(today);
    desk_close(&d);
    return status;
}

/* ---- done ---- */

static void tell_overnight(const desk *d, const json_t *o)
{
    size_t i;
    const json_t *r;
    const json_t *running = json_object_get(o, "running");
    json_array_foreach(running, i, r)
    {
        desk_tell(d, "Runs on: {machine}, run {run} of member {member}[, to end about {end_ms:time}].", r, NULL);
        if (!json_is_true(json_object_get(r, "watched"))) {
            desk_tell(d, "  Its watch is not done: stay with run {run} until its first layer was judged, or stop it.",
                      r, NULL);
        }
    }
    if (json_array_size(running) == 0) {
        printf("Nothing runs on.\n");
    }
    int64_t last = work_int(o, "last_safe_start_ms", 0);
    if (last > d->now_ms) {
        desk_tell(d, "Last safe start today: {last_safe_start_ms:time}.", o, NULL);
    } else if (last > 0) {
        desk_tell(d, "The last safe start was {last_safe_start_ms:time}: nothing more should be started today.", o,
                  NULL);
    }
    desk_tell(d, "[The desk opens again {opens_ms:time}.]", o, NULL);
}

static int run_done(const cli_call *call)
{
    desk d;
    json_t *body = NULL, *answer = NULL, *today = NULL, *night = NULL, *about = NULL;
    int64_t round = 0;
    po_act_done done = {0};
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? the_round(&d, &round, NULL) : status;
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR) {
        json_t *machines = json_array();
        for (size_t i = 0; i < d.shop->n_machines && i < 256; i++) {
            json_array_append_new(machines, json_string(d.shop->machines[i].name));
        }
        json_object_set_new(body, "machines", machines);
        json_object_set_new(body, "round", json_integer(round));
        status = desk_act(&d, "round-done", body, &done, &answer);
    }
    if (status == EXIT_CLEAR) {
        status = desk_ask(&d, "rounds", json_pack("{s:I}", "round", (json_int_t)round), &about);
    }
    const json_t *head = json_array_get(json_object_get(about, "rounds"), 0);
    if (status == EXIT_CLEAR && !strcmp(work_text(head, "kind"), "closing") && due_ask(&d, &today) == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        night = work_round_overnight(&w, today);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_pack("{s:s, s:s, s:I, s:s, s:O, s:O*}", "format", "proveout/act/1", "act",
                                           "round-done", "event", (json_int_t)done.event, "hash", done.hash, "answer",
                                           answer, "overnight", night));
    } else if (status == EXIT_CLEAR) {
        desk_tell(&d, "The {kind} round is done, with {machines} machines seen.", head, NULL);
        if (night) {
            tell_overnight(&d, night);
        }
        printf("Booked as event %llu.\n", (unsigned long long)done.event);
    }
    json_decref(answer);
    json_decref(today);
    json_decref(night);
    json_decref(about);
    desk_close(&d);
    return status;
}

/* ---- show, list ---- */

static int run_show(const cli_call *call)
{
    static const desk_column lines[] = {
        {"round", "round", DESK_COUNT, 0, false},   {"kind", "kind", DESK_TEXT, 0, false},
        {"begun", "begun_ms", DESK_TIME, 0, false}, {"by", "by", DESK_TEXT, 0, false},
        {"done", "done_ms", DESK_TIME, 0, false},   {"done by", "done_by", DESK_TEXT, 0, false},
        {"note", "note", DESK_TEXT, 0, false},      {"not seen because", "unseen", DESK_TEXT, 0, false},
    };
    static const desk_column columns[] = {
        {"Machine", "machine", DESK_TEXT, 20, false},
        {"Found", "found", DESK_TEXT, 0, false},
        {"Bed clear", "bed_clear", DESK_YES, 0, false},
        {"Stick", "stick_there", DESK_YES, 0, false},
        {"Nozzle", "nozzle_clean", DESK_YES, 0, false},
        {"Spool", "spool_on", DESK_YES, 0, false},
        {"Heaters off", "heaters_off", DESK_YES, 0, false},
        {"At", "at_ms", DESK_TIME, 0, false},
        {"Note", "note", DESK_TEXT, 0, false},
    };
    desk d;
    json_t *answer = NULL, *today = NULL;
    int64_t round = 0;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? the_round(&d, &round, &answer) : status;
    const json_t *head = json_array_get(json_object_get(answer, "rounds"), 0);
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        desk_card(&d, head, lines, sizeof lines / sizeof lines[0]);
        desk_table(&d, json_object_get(answer, "found"), columns, sizeof columns / sizeof columns[0],
                   "No machine was seen yet.");
        if (json_is_null(json_object_get(head, "done_ms")) && due_ask(&d, &today) == EXIT_CLEAR) {
            const char *left = left_to_see(&d, answer, today);
            printf(*left ? "Left to see: %s.\n" : "All machines are seen: proveout round done.%s\n", left);
        }
    }
    json_decref(answer);
    json_decref(today);
    desk_close(&d);
    return status;
}

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Round", "round", DESK_COUNT, 0, true},
        {"Kind", "kind", DESK_TEXT, 0, false},
        {"Begun", "begun_ms", DESK_TIME, 0, false},
        {"Done", "done_ms", DESK_TIME, 0, false},
        {"By", "by", DESK_TEXT, 12, false},
        {"Machines", "machines", DESK_COUNT, 0, true},
        {"Not seen because", "unseen", DESK_TEXT, 30, false},
        {"Note", "note", DESK_TEXT, 0, false},
    };
    desk d;
    json_t *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_ask(&d, "rounds", json_pack("{s:i}", "limit", 30), &answer) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        desk_table(&d, json_object_get(answer, "rounds"), columns, sizeof columns / sizeof columns[0],
                   "No round was made yet.");
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

static const cli_option options_plain[] = {DESK_OPTIONS};
static const cli_option options_machine[] = {
    DESK_OPTIONS,
    {.name = "ok", .says = "bed, stick, nozzle, spool and heaters are as they should be"},
    {.name = "not",
     .value = "WORDS",
     .says = "what is not, of bed, stick, nozzle, spool, heaters; the others are good"},
    {.name = "found", .value = "WORD", .says = "free (the usual), running, finished, failed or out-of-use"},
    {.name = "note", .value = "TEXT", .says = "what else there is to say of it"},
};
static const cli_option options_done[] = {
    DESK_OPTIONS,
    {.name = "note", .value = "TEXT", .says = "for whoever comes next: today shows it first", .field = "note"},
    {.name = "unseen", .value = "TEXT", .says = "why a machine was not seen", .field = "unseen"},
};
static const cli_option options_show[] = {
    DESK_OPTIONS,
    {.name = "round", .value = "ROUND", .says = "which; else the last"},
};
static const cli_example examples_begin[] = {{"proveout round begin opening", "in the morning"}};
static const cli_example examples_machine[] = {
    {"proveout round machine alder birch dogwood --ok", "all three are free, all points good"},
    {"proveout round machine cedar --found running --ok", "it works on through the night"},
    {"proveout round machine elm --not stick,nozzle --note \"a blob on the nozzle\"", "two points are not good"},
};
static const cli_example examples_done[] = {
    {"proveout round done --note \"Feed Birch first, its spool is nearly empty\"",
     "with a note for whoever comes next"},
    {"proveout round done --unseen \"Elm is lent to the fair\"", "a machine could not be seen"},
};
static const cli_example examples_show[] = {{"proveout round show", "the last round, machine by machine"}};
static const cli_example examples_note[] = {
    {"proveout round note \"The post comes at ten\"", "today shows it first, until the next note"},
};
static const cli_example examples_list[] = {{"proveout round list", "the last thirty rounds"}};

#define OPTIONS(list) .options = list, .n_options = sizeof list / sizeof list[0]
#define EXAMPLES(list) .examples = list, .n_examples = sizeof list / sizeof list[0]

const cli_verb cli_round_verbs[] = {
    {
        .name = "round begin",
        .operands = "opening|closing",
        .least = 1,
        .most = 1,
        OPTIONS(options_plain),
        .line = "begin to walk the machines",
        .help =
            "Begins a round of the machines, at opening or at closing, and says what the book knows of them. One round "
            "is open at a time. " CAREFUL,
        EXAMPLES(examples_begin),
        .run = run_begin,
        .act = "round-begin",
        .fills = {{"kind", DESK_TEXT}},
        .done = "Round {round} ({kind}) begins.",
    },
    {
        .name = "round machine",
        .operands = "MACHINE...",
        .least = 1,
        .most = MACHINES_MOST,
        OPTIONS(options_machine),
        .line = "what was found at one machine or several",
        .help =
            "Says what the open round found: whether the machine is free, running, finished, failed or out of use, and "
            "five points: bed clear, stick there, nozzle clean, spool on, heaters off. A part on the bed of a run that "
            "goes on or is over, and heaters of one that goes on, are no faults. Several machines that are alike go "
            "into one line, all or none. A second time corrects the first. Where the book says otherwise (a run that "
            "ended and was not booked), the answer names the verb. " CAREFUL,
        EXAMPLES(examples_machine),
        .run = run_machine,
    },
    {
        .name = "round done",
        .operands = "",
        OPTIONS(options_done),
        .line = "the round is done",
        .help =
            "Ends the open round when every machine in use was seen, or --unseen says why not. At closing it says what "
            "runs on over night, when it is likely to end, and until when a start was safe: late enough that its watch "
            "ends before the desk closes.",
        EXAMPLES(examples_done),
        .run = run_done,
    },
    {
        .name = "round show",
        .operands = "",
        OPTIONS(options_show),
        .line = "a round, machine by machine",
        .help = "Shows the last round, or another, with what it found at each machine and what is left to see.",
        EXAMPLES(examples_show),
        .run = run_show,
    },
    {
        .name = "round list",
        .operands = "",
        OPTIONS(options_plain),
        .line = "the last rounds",
        .help = "Lists the last thirty rounds with their notes.",
        EXAMPLES(examples_list),
        .run = run_list,
    },
    {
        .name = "round note",
        .operands = "TEXT",
        .least = 1,
        .most = 1,
        OPTIONS(options_plain),
        .line = "leave a hand-over note",
        .help =
            "Leaves a note that today shows first, until the next note or a round that is done with one. It stays in "
            "the book for good: leave names and private matters out of it.",
        EXAMPLES(examples_note),
        .run = desk_run_act,
        .act = "note-leave",
        .fills = {{"text", DESK_TEXT}},
        .done = "Noted for whoever comes next.",
    },
    {.name = NULL},
};
