/* proveout term ...: terms opened, shown, closed. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "listing.h"
#include "term_print.h"
#include "verbs.h"

enum { WEIGHED_DAYS = 7, LAPSE_MOST = 64, DAY_MS = 86400000 };

/* The days of a term in the shop file, as "2026-09-21"; false where the shop file has none of this name. */
static bool days_of(const desk *d, const char *term, char from[16], char until[16])
{
    for (size_t i = 0; i < d->shop->n_terms; i++) {
        const po_dates *t = &d->shop->terms[i];
        if (!strcmp(t->name, term)) {
            snprintf(from, 16, "%04d-%02d-%02d", t->from.year % 10000, t->from.month % 100, t->from.day % 100);
            snprintf(until, 16, "%04d-%02d-%02d", t->to.year % 10000, t->to.month % 100, t->to.day % 100);
            return true;
        }
    }
    return false;
}

static int run_open(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    char from[16], until[16];
    int64_t from_ms = 0, until_ms = 0;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && !(json_object_get(body, "from") && json_object_get(body, "until"))) {
        if (!days_of(&d, call->args[0], from, until)) {
            status = cli_fail(
                EXIT_USAGE,
                "term open %s: the shop file has no term of this name; give --from and --until, or put it "
                "under terms: there",
                call->args[0]);
        } else if (!desk_time_from(d.shop, from, false, d.now_ms, &from_ms) ||
                   !desk_time_from(d.shop, until, true, d.now_ms, &until_ms)) {
            status = cli_fail(EXIT_USAGE, "term open %s: its days in the shop file, %s to %s, are none", call->args[0],
                              from, until);
        } else {
            json_t *given_from = json_object_get(body, "from"), *given_until = json_object_get(body, "until");
            json_object_set_new(body, "from", given_from ? json_incref(given_from) : json_integer(from_ms));
            json_object_set_new(body, "until", given_until ? json_incref(given_until) : json_integer(until_ms));
        }
    }
    if (status == EXIT_CLEAR && !json_object_get(body, "allowance_um")) {
        json_object_set_new(body, "allowance_um",
                            json_integer((json_int_t)(d.shop->rules.allowance_m_per_term * 1e6 + 0.5)));
    }
    if (status == EXIT_CLEAR) {
        status = desk_book_and_tell(&d, body);
    } else {
        json_decref(body);
    }
    desk_close(&d);
    return status;
}

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Term", "term", DESK_TEXT, 24, false},         {"State", "state", DESK_TEXT, 0, false},
        {"From", "from_ms", DESK_DAY, 0, false},        {"Until", "until_ms", DESK_UNTIL, 0, false},
        {"Allowance", "allowance_um", DESK_M, 0, true}, {"Runs", "runs", DESK_COUNT, 0, true},
        {"Charged", "charged_um", DESK_M, 0, true},     {"Closed", "closed_ms", DESK_TIME, 0, false},
    };
    static const listing what = {.question = "terms",
                                 .list = "terms",
                                 LISTING_COLUMNS(columns),
                                 .none = "The book has no term yet; proveout term open begins one."};
    return listing_run(call, &what);
}

/* Permissions that end with the term, by the shop file. */
static json_t *lapsing(const desk *d)
{
    json_t *list = json_array();
    for (size_t i = 0; i < d->shop->n_permissions && json_array_size(list) < LAPSE_MOST; i++) {
        if (d->shop->permissions[i].lapses_with_term) {
            json_array_append_new(list, json_string(d->shop->permissions[i].name));
        }
    }
    return list;
}

static int ask_report(desk *d, const char *term, json_t **ret)
{
    json_t *lapse = lapsing(d), *p = json_pack("{s:s*, s:I}", "term", term, "weighed_since",
                                               (json_int_t)(d->now_ms > WEIGHED_DAYS * (int64_t)DAY_MS
                                                                ? d->now_ms - WEIGHED_DAYS * (int64_t)DAY_MS
                                                                : 0));
    if (json_array_size(lapse) > 0) {
        json_object_set(p, "lapse", lapse);
    }
    json_decref(lapse);
    return desk_ask(d, "term", p, ret);
}

static int run_show(const cli_call *call)
{
    desk d;
    json_t *report = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? ask_report(&d, call->n_args ? call->args[0] : NULL, &report) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(report));
    } else if (status == EXIT_CLEAR) {
        term_print(&d, report);
        if (json_is_null(json_object_get(report, "closed_ms"))) {
            term_print_open(&d, report, WEIGHED_DAYS);
        }
    }
    json_decref(report);
    desk_close(&d);
    return status;
}

/* It is not closed: what is open was told to people; with --json it is in the refusal. */
static int not_closed(const desk *d, const char *term, const json_t *report, bool runs)
{
    const char *says = runs ? "runs of this term are not back; take them back first"
                            : "some things are still open; do them, or close the term all the same with --anyway";
    if (d->json) {
        json_t *open = json_object();
        const char *key;
        json_t *value;
        json_object_foreach((json_t *)(uintptr_t)report, key, value)
        {
            size_t n = strlen(key);
            if (n > 5 && !strcmp(key + n - 5, "_open")) {
                json_object_set(open, key, value);
            }
        }
        int status = desk_print_json(json_pack("{s:s, s:s, s:s, s:n, s:o}", "format", "proveout/refusal/1", "what",
                                               "term-close", "says", says, "field", "open", open));
        if (status != EXIT_CLEAR) {
            return status;
        }
    }
    return cli_fail(EXIT_STOP, "term %s is not closed: %s", term, says);
}

/* All acts together: permissions that end with the term, and its end. */
static int book_close(desk *d, const char *term, json_t **ret_lapsed, uint64_t *ret_event)
{
    const char *names[LAPSE_MOST + 1];
    json_t *bodies[LAPSE_MOST + 1], *answers[LAPSE_MOST + 1] = {NULL}, *lapse = lapsing(d);
    po_act_done done[LAPSE_MOST + 1] = {0};
    size_t n = json_array_size(lapse);
    const char *reason = po_arena_printf(d->arena, "the term %s is over", term);
    for (size_t i = 0; i < n; i++) {
        names[i] = "permits-lapse";
        bodies[i] = json_pack("{s:O, s:s}", "permission", json_array_get(lapse, i), "reason", reason ? reason : "");
    }
    names[n] = "term-close";
    bodies[n] = json_pack("{s:s}", "term", term);
    int status = desk_acts(d, names, bodies, n + 1, done, answers);
    *ret_lapsed = json_array();
    for (size_t i = 0; i <= n; i++) {
        if (status == EXIT_CLEAR && i < n) {
            json_array_append_new(*ret_lapsed, json_pack("{s:O, s:O*}", "permission", json_array_get(lapse, i),
                                                         "lapsed", json_object_get(answers[i], "lapsed")));
        }
        json_decref(answers[i]);
    }
    *ret_event = done[n].event;
    json_decref(lapse);
    return status;
}

static int run_close(const cli_call *call)
{
    desk d;
    const char *term = call->args[0];
    json_t *report = NULL, *lapsed = NULL;
    uint64_t event = 0;
    bool anyway = cli_value(call, "anyway") != NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? ask_report(&d, term, &report) : status;
    if (status == EXIT_CLEAR && json_is_null(json_object_get(report, "closed_ms"))) {
        size_t n = d.json ? term_count_open(report) : term_print_open(&d, report, WEIGHED_DAYS);
        bool runs = json_array_size(json_object_get(report, "runs_open")) > 0;
        status = runs || (n && !anyway) ? not_closed(&d, term, report, runs) : status;
    }
    status = status == EXIT_CLEAR ? book_close(&d, term, &lapsed, &event) : status;
    json_decref(report);
    report = NULL;
    status = status == EXIT_CLEAR ? ask_report(&d, term, &report) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_pack("{s:s, s:s, s:I, s:O, s:O}", "format", "proveout/term-close/1", "term", term,
                                           "event", (json_int_t)event, "lapsed", lapsed, "report", report));
    } else if (status == EXIT_CLEAR) {
        const json_t *row;
        size_t i;
        term_print(&d, report);
        printf("\n");
        json_array_foreach(lapsed, i, row)
        {
            desk_tell(
                &d, "The permission {permission} has lapsed (held by {lapsed}); it is granted anew after a refresher.",
                row, NULL);
        }
        printf("Term %s is closed (event %llu). Each member's allowance begins anew with the next term.\n", term,
               (unsigned long long)event);
    }
    json_decref(report);
    json_decref(lapsed);
    desk_close(&d);
    return status;
}

static const cli_option options_open[] = {
    DESK_OPTIONS,
    {.name = "from",
     .value = "DAY",
     .says = "its first day; else that of the shop file",
     .field = "from",
     .unit = DESK_TIME},
    {.name = "until",
     .value = "DAY",
     .says = "its last day; else that of the shop file",
     .field = "until",
     .unit = DESK_UNTIL},
    {.name = "allowance",
     .value = "M",
     .says = "free filament for every member in m; else that of the shop file",
     .field = "allowance_um",
     .unit = DESK_M},
};
static const cli_option options_show[] = {DESK_OPTIONS};
static const cli_option options_close[] = {
    DESK_OPTIONS,
    {.name = "anyway", .says = "close it although something is still open; runs must be back all the same"},
};
static const cli_example examples_open[] = {
    {"proveout term open autumn-2026 --by keeper", "as the shop file says"},
    {"proveout term open may --from 2027-05-01 --until 2027-05-31 --allowance 60 --by keeper", "another"},
};
static const cli_example examples_list[] = {{"proveout term list", "all terms"}};
static const cli_example examples_show[] = {
    {"proveout term show", "this term so far"},
    {"proveout term show autumn-2026 --json", "one term, for another program"},
};
static const cli_example examples_close[] = {
    {"proveout term close autumn-2026 --by keeper", "when all that is open is done"},
};

#define OPTIONS(list) .options = list, .n_options = sizeof list / sizeof list[0]
const cli_verb cli_term_verbs[] = {
    {
        .name = "term open",
        .operands = "NAME",
        .least = 1,
        .most = 1,
        OPTIONS(options_open),
        .line = "a term begins, with its allowance",
        .help = "Opens a term: from its first day to its last every member may use its allowance. Days and allowance "
                "come from "
                "the shop file where they are not given. Takes a keeper.",
        .examples = examples_open,
        .n_examples = 2,
        .run = run_open,
        .act = "term-open",
        .fills = {{"term", DESK_ID}},
        .done = "Term {term} goes from {from:day} to {until:until}; every member may use {allowance_um:m}.",
    },
    {
        .name = "term list",
        .operands = "",
        OPTIONS(options_show),
        .line = "terms, the latest first",
        .help = "Lists terms: to come, open, over but not closed yet, closed.",
        .examples = examples_list,
        .n_examples = 1,
        .run = run_list,
    },
    {
        .name = "term show",
        .operands = "[NAME]",
        .most = 1,
        OPTIONS(options_show),
        .line = "a term in one report",
        .help =
            "Shows what a term came to: runs by outcome, machine, material, recipe and course, failures by cause, what "
            "was "
            "charged, waived and paid, waste, sticks, spools; and what is still open. Without a name: the term of now.",
        .examples = examples_show,
        .n_examples = 2,
        .run = run_show,
    },
    {
        .name = "term close",
        .operands = "NAME",
        .least = 1,
        .most = 1,
        OPTIONS(options_close),
        .line = "a term ends: permissions lapse, one report",
        .help =
            "Lists what is still open, each with what to do: runs that are not back, runs without an outcome, sticks "
            "not "
            "counted since the term began, parts on the shelf, spools in use that were not weighed in the last 7 days, "
            "an "
            "open round. When nothing is, permissions that the shop file lets lapse with the term lapse, the term is "
            "closed, all or nothing, and the report is printed. Allowances need no resetting: the next term has its "
            "own. "
            "Takes a keeper.",
        .examples = examples_close,
        .n_examples = 1,
        .run = run_close,
    },
    {.name = NULL},
};
