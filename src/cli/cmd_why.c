/* proveout why ...: from what is seen to the likely cause. SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "verbs.h"
#include "why.h"
#include "work/trouble.h"

static int show(const desk *d, work_context *w, const work_trouble *t)
{
    json_t *view = NULL;
    po_err err;
    if (work_trouble_view(w, t, &view, &err) != PO_OK) {
        return cli_fail_err(&err);
    }
    if (d->json) {
        return desk_print_json(view);
    }
    why_tell_view(view);
    json_decref(view);
    return EXIT_CLEAR;
}

/* ---- symptoms, learned ---- */

static int run_symptoms(const cli_call *call)
{
    po_arena *arena = po_arena_new(0);
    const po_why *why = NULL;
    po_err err;
    size_t n;
    int status = arena && po_why_new(NULL, 0, arena, &why, &err) == PO_OK ? EXIT_CLEAR
                                                                          : cli_fail(EXIT_OWN, "memory ran out");
    if (status == EXIT_CLEAR) {
        const po_why_symptom *list = po_why_symptoms(why, &n);
        json_t *rows = json_array();
        for (size_t i = 0; i < n; i++) {
            json_array_append_new(rows, json_pack("{s:s, s:s, s:s}", "symptom", list[i].id, "words", list[i].words,
                                                  "look", list[i].look));
        }
        if (cli_value(call, "json")) {
            status = desk_print_json(json_pack("{s:s, s:o}", "format", "proveout/symptoms/1", "symptoms", rows));
        } else {
            for (size_t i = 0; i < n; i++) {
                printf("  %-14s %s\n", list[i].id, list[i].words);
            }
            json_decref(rows);
        }
    }
    po_arena_free(arena);
    return status;
}

/* What the tables say and what the shop has made of it, cause by cause. */
static int run_learned(const cli_call *call)
{
    desk d;
    json_t *learned = NULL;
    const po_why *plain = NULL, *why = NULL;
    po_err err;
    int status = desk_open(&d, call);
    const char *symptom = call->n_args ? call->args[0] : NULL;
    work_context w = status == EXIT_CLEAR ? desk_work(&d) : (work_context){0};
    if (status == EXIT_CLEAR &&
        (po_why_new(NULL, 0, d.arena, &plain, &err) != PO_OK || work_why_net(&w, &why, &err) != PO_OK)) {
        status = cli_fail_err(&err);
    }
    if (status == EXIT_CLEAR && symptom && po_why_symptom_of(why, symptom) == SIZE_MAX) {
        status = cli_fail(EXIT_USAGE, "there is no symptom \"%s\"; the nearest is \"%s\"", symptom,
                          work_why_nearest_symptom(why, symptom));
    }
    status = status == EXIT_CLEAR
                 ? desk_ask(&d, "trouble-learned", symptom ? json_pack("{s:s}", "symptom", symptom) : NULL, &learned)
                 : status;
    size_t i;
    const json_t *row;
    json_array_foreach(json_object_get(learned, "causes"), i, row)
    {
        size_t s = po_why_symptom_of(why, work_text(row, "symptom")), c = po_why_cause_of(why, work_text(row, "cause"));
        if (s != SIZE_MAX && c != SIZE_MAX) {
            json_object_set_new((json_t *)(uintptr_t)row, "by_table", json_real(po_why_prior(plain, s, c)));
            json_object_set_new((json_t *)(uintptr_t)row, "now", json_real(po_why_prior(why, s, c)));
        }
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(learned);
        learned = NULL;
    } else if (status == EXIT_CLEAR) {
        json_array_foreach(json_object_get(learned, "causes"), i, row)
        {
            printf("  %-14s %-14s confirmed %lld times; by the tables %.0f %%, now %.0f %%\n",
                   work_text(row, "symptom"), work_text(row, "cause"), (long long)work_int(row, "n", 0),
                   100 * json_number_value(json_object_get(row, "by_table")),
                   100 * json_number_value(json_object_get(row, "now")));
        }
        if (json_array_size(json_object_get(learned, "causes")) == 0) {
            puts("Nothing was confirmed yet: the tables hold, which are common practice.");
        }
        json_array_foreach(json_object_get(learned, "resets"), i, row)
        {
            printf("  Reset %s by %s%s%s: %s\n", desk_words(&d, json_object_get(row, "at_ms"), DESK_TIME),
                   work_text(row, "by"), *work_text(row, "symptom") ? ", of " : "", work_text(row, "symptom"),
                   work_text(row, "reason"));
        }
    }
    json_decref(learned);
    desk_close(&d);
    return status;
}

/* ---- asking without the book's entry ---- */

/* "lines=round,wipe=drops" */
static int say_all(work_context *w, work_trouble *t, const char *list)
{
    const char *pieces[CLI_MOST_LIST];
    size_t n = 0;
    po_err err;
    if (!cli_split(list, w->arena, pieces, &n)) {
        return cli_fail(EXIT_USAGE, "--said: at most %d checks", CLI_MOST_LIST);
    }
    for (size_t i = 0; i < n; i++) {
        const char *is = strchr(pieces[i], '=');
        const char *check = is ? po_arena_printf(w->arena, "%.*s", (int)(is - pieces[i]), pieces[i]) : NULL;
        if (!is || !check) {
            return cli_fail(EXIT_USAGE, "--said %s: expected CHECK=ANSWER with commas between", pieces[i]);
        }
        if (work_trouble_say(w, t, check, is + 1, &err) != PO_OK) {
            return cli_fail(EXIT_USAGE, "--said: %s", err.msg);
        }
    }
    return EXIT_CLEAR;
}

/* At a terminal: check after check, answered by its figure; an empty line ends it. */
static int ask_on(work_context *w, work_trouble *t)
{
    char line[64];
    for (;;) {
        json_t *view = NULL;
        po_err err;
        if (work_trouble_view(w, t, &view, &err) != PO_OK) {
            return cli_fail_err(&err);
        }
        why_tell_view(view);
        const json_t *check = json_array_get(json_object_get(view, "next"), 0),
                     *answers = json_object_get(check, "answers");
        if (json_is_true(json_object_get(view, "enough")) || !check) {
            json_decref(view);
            return EXIT_CLEAR;
        }
        printf("Which (1 to %zu; nothing ends it)? ", json_array_size(answers));
        fflush(stdout);
        unsigned long which = fgets(line, sizeof line, stdin) ? strtoul(line, NULL, 10) : 0;
        if (which < 1 || which > json_array_size(answers)) {
            json_decref(view);
            return EXIT_CLEAR;
        }
        po_status s = work_trouble_say(w, t, work_text(check, "check"),
                                       work_text(json_array_get(answers, which - 1), "answer"), &err);
        json_decref(view);
        if (s != PO_OK) {
            return cli_fail_err(&err);
        }
        puts("");
    }
}

static int run_number(const cli_call *call, int64_t *ret)
{
    const char *text = cli_value(call, "run");
    double v = 0;
    if (text && (!cli_number(text, 1, 9e15, &v) || v != (double)(int64_t)v)) {
        return cli_fail(EXIT_USAGE, "--run %s: expected a run's number", text);
    }
    *ret = (int64_t)v;
    return EXIT_CLEAR;
}

static int run_ask(const cli_call *call)
{
    desk d = {.call = call, .json = cli_value(call, "json") != NULL};
    const char *name = cli_value(call, "machine"), *said = cli_value(call, "said");
    bool book = name || cli_value(call, "run");
    const po_machine *machine = NULL;
    work_trouble t = {0};
    int64_t run = 0;
    po_err err;
    int status = run_number(call, &run);
    if (status == EXIT_CLEAR && book) {
        status = desk_open(&d, call);
    } else if (status == EXIT_CLEAR) {
        d.arena = po_arena_new(0);
        status = d.arena ? EXIT_CLEAR : cli_fail(EXIT_OWN, "memory ran out");
    }
    status = status == EXIT_CLEAR && name ? cli_shop_machine(d.shop, name, d.arena, &machine) : status;
    work_context w = book && status == EXIT_CLEAR ? desk_work(&d) : (work_context){.arena = d.arena};
    if (status == EXIT_CLEAR) {
        po_status st = work_trouble_new(&w, call->args[0], machine ? machine->name : NULL, run, &t, &err);
        status = st == PO_OK           ? EXIT_CLEAR
                 : st == PO_E_NOTFOUND ? cli_fail(EXIT_USAGE, "%s (proveout why symptoms lists all)", err.msg)
                                       : cli_fail_err(&err);
    }
    status = status == EXIT_CLEAR && said ? say_all(&w, &t, said) : status;
    if (status == EXIT_CLEAR) {
        status = !d.json && !said && isatty(STDIN_FILENO) ? ask_on(&w, &t) : show(&d, &w, &t);
    }
    work_trouble_end(&t);
    if (book) {
        desk_close(&d);
    } else {
        po_arena_free(d.arena);
    }
    return status;
}

/* ---- in the book ---- */

static int trouble_number(const char *text, int64_t *ret)
{
    double v;
    if (!cli_number(text, 1, 9e15, &v) || v != (double)(int64_t)v) {
        return cli_fail(EXIT_USAGE, "%s is no search's number; proveout why list shows them", text);
    }
    *ret = (int64_t)v;
    return EXIT_CLEAR;
}

/* The search as it stands now. */
static int show_number(desk *d, int64_t trouble)
{
    work_context w = desk_work(d);
    work_trouble t = {0};
    po_err err;
    int status = work_trouble_read(&w, trouble, &t, &err) == PO_OK ? show(d, &w, &t)
                                                                   : desk_refused(d, "troubles", &err);
    work_trouble_end(&t);
    return status;
}

static int run_open(const cli_call *call)
{
    desk d;
    json_t *answer = NULL, *body = NULL;
    po_act_done done;
    const po_why *why = NULL;
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && po_why_new(NULL, 0, d.arena, &why, &err) != PO_OK) {
        status = cli_fail_err(&err);
    }
    if (status == EXIT_CLEAR && po_why_symptom_of(why, call->args[0]) == SIZE_MAX) {
        status = cli_fail(EXIT_USAGE,
                          "there is no symptom \"%s\"; the nearest is \"%s\" (proveout why symptoms lists all)",
                          call->args[0], work_why_nearest_symptom(why, call->args[0]));
    }
    if (status == EXIT_CLEAR) {
        status = desk_act(&d, "trouble-open", body, &done, &answer);
        body = NULL;
    }
    status = status == EXIT_CLEAR ? show_number(&d, work_int(answer, "trouble", 0)) : status;
    json_decref(body);
    json_decref(answer);
    desk_close(&d);
    return status;
}

static int run_show(const cli_call *call)
{
    desk d;
    int64_t trouble = 0;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? trouble_number(call->args[0], &trouble) : status;
    status = status == EXIT_CLEAR ? show_number(&d, trouble) : status;
    desk_close(&d);
    return status;
}

/* The check and answer must be the net's before the book keeps them. */
static int run_said(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    work_trouble t = {0};
    po_act_done done;
    int64_t trouble = 0;
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? trouble_number(call->args[0], &trouble) : status;
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        po_status read = work_trouble_read(&w, trouble, &t, &err);
        po_status s = read == PO_OK ? work_trouble_say(&w, &t, call->args[1], call->args[2], &err) : PO_OK;
        status = read != PO_OK                      ? desk_refused(&d, "troubles", &err)
                 : s == PO_OK || s == PO_E_CONFLICT ? EXIT_CLEAR /* answered before: corrected */
                                                    : cli_fail(EXIT_USAGE, "%s", err.msg);
        work_trouble_end(&t);
    }
    if (status == EXIT_CLEAR) {
        status = desk_act(&d, "trouble-check", body, &done, NULL);
        body = NULL;
    }
    status = status == EXIT_CLEAR ? show_number(&d, trouble) : status;
    json_decref(body);
    desk_close(&d);
    return status;
}

static int run_close(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    const po_why *why = NULL;
    const char *cause = cli_value(call, "cause");
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && po_why_new(NULL, 0, d.arena, &why, &err) != PO_OK) {
        status = cli_fail_err(&err);
    }
    size_t n, which = status == EXIT_CLEAR && cause ? po_why_cause_of(why, cause) : 0;
    if (which == SIZE_MAX) {
        status = cli_fail(EXIT_USAGE,
                          "there is no cause \"%s\"; proveout why show names those of a search, or leave it out and "
                          "say it with --note",
                          cause);
    }
    if (status == EXIT_CLEAR) {
        if (!json_object_get(body, "confirmed")) {
            json_object_set_new(body, "confirmed", json_false());
        }
        if (cause && !json_object_get(body, "remedy")) {
            json_object_set_new(body, "remedy", json_string(po_why_causes(why, &n)[which].remedy_id));
        }
        status = desk_book_and_tell(&d, body);
        body = NULL;
    }
    json_decref(body);
    desk_close(&d);
    return status;
}

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"search", "trouble", DESK_COUNT, 0, true},   {"machine", "machine", DESK_TEXT, 16, false},
        {"symptom", "symptom", DESK_TEXT, 16, false}, {"run", "run", DESK_COUNT, 0, true},
        {"opened", "opened_ms", DESK_TIME, 0, false}, {"closed", "closed_ms", DESK_TIME, 0, false},
        {"cause", "cause", DESK_TEXT, 16, false}};
    desk d;
    json_t *p = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &p) : status;
    if (status == EXIT_CLEAR) {
        if (cli_value(call, "open")) {
            json_object_set_new(p, "state", json_string("open"));
        }
        status = desk_ask(&d, "troubles", p, &answer);
        p = NULL;
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(answer);
        answer = NULL;
    } else if (status == EXIT_CLEAR) {
        desk_table(&d, json_object_get(answer, "troubles"), columns, sizeof columns / sizeof columns[0],
                   "No search for a cause is in the book.");
    }
    json_decref(p);
    json_decref(answer);
    desk_close(&d);
    return status;
}

static const cli_option symptoms_options[] = {{.name = "json", .says = "print one JSON object instead of words"}};
static const cli_option ask_options[] = {
    DESK_OPTIONS,
    {.name = "machine", .value = "NAME", .says = "on which machine it is seen: its gap checks and latest runs count"},
    {.name = "run", .value = "N", .says = "of which run: its proof and its spool count"},
    {.name = "said", .value = "CHECK=ANSWER,...", .says = "what was looked at already; without it a terminal is asked"},
};
static const cli_option open_options[] = {
    DESK_OPTIONS,
    {.name = "run",
     .value = "N",
     .says = "of which run: its proof and its spool count",
     .field = "run",
     .unit = DESK_COUNT},
    {.name = "note", .value = "TEXT", .says = "what else is to be seen", .field = "note", .unit = DESK_TEXT},
};
static const cli_option plain_options[] = {DESK_OPTIONS};
static const cli_option said_options[] = {
    DESK_OPTIONS,
    {.name = "minutes", .value = "N", .says = "how long it took", .field = "minutes", .unit = DESK_COUNT},
};
static const cli_option close_options[] = {
    DESK_OPTIONS,
    {.name = "cause", .value = "CAUSE", .says = "what it was", .field = "cause", .unit = DESK_ID},
    {.name = "confirmed",
     .says = "the remedy was seen to help: only then is it learned from",
     .field = "confirmed",
     .unit = DESK_FLAG},
    {.name = "remedy",
     .value = "REMEDY",
     .says = "what was done; without it the cause's own",
     .field = "remedy",
     .unit = DESK_ID},
    {.name = "note", .value = "TEXT", .says = "what else to know", .field = "note", .unit = DESK_TEXT},
};
static const cli_option list_options[] = {
    DESK_OPTIONS,
    {.name = "machine", .value = "NAME", .says = "only on this machine", .field = "machine", .unit = DESK_MACHINE},
    {.name = "open", .says = "only those that are not closed"},
    {.name = "limit", .value = "N", .says = "at most so many", .field = "limit", .unit = DESK_COUNT},
};
static const cli_option reset_options[] = {
    DESK_OPTIONS,
    {.name = "symptom",
     .value = "SYMPTOM",
     .says = "only of this one; without it of all",
     .field = "symptom",
     .unit = DESK_ID},
    {.name = "reason", .value = "TEXT", .says = "why (needed)", .field = "reason", .unit = DESK_TEXT},
};

static const cli_example symptoms_examples[] = {{"proveout why symptoms", "what can be asked about"}};
static const cli_example ask_examples[] = {
    {"proveout why ask hairs --said hiss=yes", "hairs, and it hisses: what to believe"},
    {"proveout why ask loose --machine Alder", "with what the book knows of Alder"},
};
static const cli_example open_examples[] = {
    {"proveout why open not-sticking Alder --note \"since the new sheet\"", "begin a search in the book"}};
static const cli_example close_examples[] = {
    {"proveout why close 512 --cause gap-wide --confirmed", "it was the gap, and closing it helped"}};
static const cli_example reset_examples[] = {
    {"proveout why reset --reason \"new machines\" --by keeper", "the tables alone hold again"}};

static const cli_example said_examples[] = {{"proveout why said 512 lines round", "what the first layer looked like"}};
static const cli_example show_examples[] = {{"proveout why show 512", "how the search stands"}};
static const cli_example list_examples[] = {{"proveout why list --open", "what is not found yet"}};
static const cli_example learned_examples[] = {{"proveout why learned", "what the shop has confirmed"}};
const cli_verb cli_why_verbs[] = {
    {.name = "why symptoms",
     .operands = "",
     .options = symptoms_options,
     .n_options = 1,
     .line = "what can be seen to be wrong",
     .help = "Lists the symptoms that the other verbs take.",
     .examples = symptoms_examples,
     .n_examples = 1,
     .run = run_symptoms},
    {.name = "why ask",
     .operands = "SYMPTOM",
     .least = 1,
     .most = 1,
     .options = ask_options,
     .n_options = sizeof ask_options / sizeof ask_options[0],
     .line = "the likely cause and the next check, without an entry in the book",
     .help = "Says what is likely behind a symptom, and which check tells most for its minutes. At a terminal it asks "
             "check after check. "
             "With a machine or a run the proof's findings, the spool's history and the machine's count too, and what "
             "this shop has confirmed. "
             "Odds are common practice, no published source.",
     .examples = ask_examples,
     .n_examples = 2,
     .run = run_ask},
    {.name = "why open",
     .operands = "SYMPTOM MACHINE",
     .least = 2,
     .most = 2,
     .options = open_options,
     .n_options = sizeof open_options / sizeof open_options[0],
     .line = "begin a search for a cause in the book",
     .help = "Opens a search; its checks and its end are booked with why said and why close, so that the shop learns.",
     .examples = open_examples,
     .n_examples = 1,
     .run = run_open,
     .act = "trouble-open",
     .fills = {{"symptom", DESK_ID}, {"machine", DESK_MACHINE}}},
    {.name = "why said",
     .operands = "SEARCH CHECK ANSWER",
     .least = 3,
     .most = 3,
     .options = said_options,
     .n_options = sizeof said_options / sizeof said_options[0],
     .line = "what a check showed",
     .help = "Books the answer of a check, a second time corrects it, and says what to believe now and what to look at "
             "next.",
     .examples = said_examples,
     .n_examples = 1,
     .run = run_said,
     .act = "trouble-check",
     .fills = {{"trouble", DESK_COUNT}, {"check", DESK_ID}, {"answer", DESK_ID}}},
    {.name = "why show",
     .operands = "SEARCH",
     .least = 1,
     .most = 1,
     .options = plain_options,
     .n_options = sizeof plain_options / sizeof plain_options[0],
     .line = "how a search stands: beliefs with their reasons, the next check",
     .help = "Shows what is known and was answered, what is likely and why, and the next check or the remedy.",
     .examples = show_examples,
     .n_examples = 1,
     .run = run_show},
    {.name = "why close",
     .operands = "SEARCH",
     .least = 1,
     .most = 1,
     .options = close_options,
     .n_options = sizeof close_options / sizeof close_options[0],
     .line = "a search is over: what it was, and whether the remedy helped",
     .help = "Only a cause that was confirmed, because its remedy was seen to help, is learned from.",
     .examples = close_examples,
     .n_examples = 1,
     .run = run_close,
     .act = "trouble-close",
     .fills = {{"trouble", DESK_COUNT}},
     .done = "Search {trouble} is closed."},
    {.name = "why list",
     .operands = "",
     .options = list_options,
     .n_options = sizeof list_options / sizeof list_options[0],
     .line = "searches for causes, the latest first",
     .help = "Lists searches; --open only those that are not closed.",
     .examples = list_examples,
     .n_examples = 1,
     .run = run_list},
    {.name = "why learned",
     .operands = "[SYMPTOM]",
     .most = 1,
     .options = plain_options,
     .n_options = sizeof plain_options / sizeof plain_options[0],
     .line = "what this shop's confirmed searches have changed",
     .help = "For each cause that was confirmed: how often, what the tables say, what is believed now; and the resets.",
     .examples = learned_examples,
     .n_examples = 1,
     .run = run_learned},
    {.name = "why reset",
     .operands = "",
     .options = reset_options,
     .n_options = sizeof reset_options / sizeof reset_options[0],
     .line = "what was learned counts no more (keeper)",
     .help = "Earlier searches stay in the book and teach nothing any more; an undo brings it back.",
     .examples = reset_examples,
     .n_examples = 1,
     .run = desk_run_act,
     .act = "trouble-reset",
     .done = "What was learned before counts no more."},
    {.name = NULL}};
