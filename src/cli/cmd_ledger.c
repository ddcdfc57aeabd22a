/* proveout ledger ...: the book itself. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "book_path.h"
#include "listing.h"
#include "proveout/keepsakes.h"
#include "verbs.h"

/* The shop is needed only to know where the book is. */
int book_path(const cli_call *call, po_arena *arena, const char **ret)
{
    const char *variable = getenv("PROVEOUT_LEDGER");
    const po_shop *shop = NULL;
    int status = EXIT_CLEAR;
    if (!cli_value(call, "ledger") && !(variable && *variable)) {
        status = cli_shop_read(cli_value(call, "shop"), arena, &shop);
    }
    *ret = status == EXIT_CLEAR ? desk_ledger_path(call, shop, arena) : NULL;
    return status == EXIT_CLEAR && !*ret ? EXIT_USAGE : status;
}

static int run_new(const cli_call *call)
{
    po_arena *arena = po_arena_new(0);
    const char *path = NULL;
    int status = arena ? book_path(call, arena, &path) : cli_fail(EXIT_OWN, "memory ran out");
    po_ledger *ledger = NULL;
    po_err err;
    if (path && po_ledger_open(path, NULL, &ledger, &err) == PO_OK) {
        status = cli_fail(EXIT_STOP, "there is a book at %s already", path);
    } else if (path && po_ledger_open(path, &(po_ledger_options){.create = true}, &ledger, &err) != PO_OK) {
        status = cli_fail(EXIT_USAGE, "%s: %s", path, err.msg);
    } else if (path && cli_value(call, "json")) {
        status = desk_print_json(json_pack("{s:s, s:s}", "format", "proveout/new-book/1", "ledger", path));
    } else if (path) {
        printf("A new book stands at %s. Next: proveout term open, proveout member enrol.\n", path);
    }
    po_ledger_close(ledger);
    po_arena_free(arena);
    return status;
}

/* The book alone, without a shop: it can be verified wherever a copy of it lies. */
static int open_book(const cli_call *call, bool read_only, po_arena **ret_arena, const char **ret_path, po_ledger **ret)
{
    po_err err;
    *ret_arena = po_arena_new(0);
    *ret_path = NULL;
    *ret = NULL;
    int status = *ret_arena ? book_path(call, *ret_arena, ret_path) : cli_fail(EXIT_OWN, "memory ran out");
    po_ledger_options o = {.read_only = read_only};
    po_status s = status == EXIT_CLEAR ? po_ledger_open(*ret_path, &o, ret, &err) : PO_OK;
    return s == PO_OK         ? status
           : s == PO_E_NOMEM  ? cli_fail(EXIT_OWN, "%s: %s", *ret_path, err.msg)
           : s == PO_E_SYNTAX ? cli_fail(EXIT_STOP, "%s: %s", *ret_path, err.msg)
                              : cli_fail(EXIT_USAGE, "%s: %s", *ret_path, err.msg);
}

enum { FILES_SHOWN = 10 };

/* Sentences may quote what a damaged file holds. */
static void print_clean(const char *sentence)
{
    for (const char *p = sentence; *p; p++) {
        fputc((unsigned char)*p < 0x20 || *p == 0x7f ? '?' : *p, stdout);
    }
    fputc('\n', stdout);
}

static int tell_faults(const cli_call *call, const char *path, const char *const *const lists[2], const size_t n[2])
{
    size_t all = n[0] + n[1];
    int status = EXIT_CLEAR;
    if (cli_value(call, "json")) {
        json_t *faults = json_array();
        for (size_t i = 0; i < all; i++) {
            json_array_append_new(faults, json_string(i < n[0] ? lists[0][i] : lists[1][i - n[0]]));
        }
        status = desk_print_json(json_pack("{s:s, s:s, s:b, s:o}", "format", "proveout/verify/1", "ledger", path,
                                           "clean", (int)(all == 0), "faults", faults));
    } else if (all == 0) {
        printf("%s is in order: every event, every table that follows from them, every file that is kept.\n", path);
    } else {
        for (size_t i = 0; i < all; i++) {
            bool file = i >= n[0];
            if (!file || i - n[0] < FILES_SHOWN) {
                print_clean(file ? lists[1][i - n[0]] : lists[0][i]);
            }
        }
        if (n[1] > FILES_SHOWN) {
            printf("and %zu more such files; --json lists them.\n", n[1] - FILES_SHOWN);
        }
        if (n[0]) {
            printf("Keep this file as it is. Where only tables are named, ledger rebuild makes them anew from the "
                   "events; where "
                   "events or the file are, go on with the last good backup (proveout restore).\n");
        }
    }
    return status == EXIT_CLEAR && all ? EXIT_STOP : status;
}

static int run_verify(const cli_call *call)
{
    po_arena *arena;
    po_ledger *ledger;
    const char *path, *const *lists[2] = {NULL, NULL};
    size_t n[2] = {0, 0};
    po_err err;
    cli_progress progress;
    int status = open_book(call, false, &arena, &path, &ledger);
    if (status == EXIT_CLEAR) {
        cli_progress_begin(&progress, path);
        po_ledger_watch(ledger, cli_progress_step, &progress);
        po_status s = po_ledger_verify(ledger, arena, &lists[0], &n[0], &err);
        cli_progress_end(&progress);
        s = s == PO_OK ? po_keepsakes_verify(ledger, arena, &lists[1], &n[1], &err) : s;
        status = s == PO_OK ? tell_faults(call, path, lists, n) : cli_fail(EXIT_OWN, "%s: %s", path, err.msg);
    }
    po_ledger_close(ledger);
    po_arena_free(arena);
    return status;
}

static int run_rebuild(const cli_call *call)
{
    po_arena *arena;
    po_ledger *ledger;
    const char *path;
    po_err err;
    cli_progress progress;
    int status = open_book(call, false, &arena, &path, &ledger);
    if (status == EXIT_CLEAR) {
        cli_progress_begin(&progress, path);
        po_ledger_watch(ledger, cli_progress_step, &progress);
        po_status s = po_ledger_rebuild(ledger, &err);
        cli_progress_end(&progress);
        if (s != PO_OK) {
            status = cli_fail(s == PO_E_SYNTAX ? EXIT_STOP : EXIT_OWN, "%s: %s; it was left as it was", path, err.msg);
        } else if (cli_value(call, "json")) {
            status = desk_print_json(json_pack("{s:s, s:s}", "format", "proveout/rebuild/1", "ledger", path));
        } else {
            printf("All tables of %s were made anew from its events.\n", path);
        }
    }
    po_ledger_close(ledger);
    po_arena_free(arena);
    return status;
}

static int run_show(const cli_call *call)
{
    static const desk_column lines[] = {
        {"Where", "ledger", DESK_TEXT, 0, false},         {"Version", "version", DESK_COUNT, 0, false},
        {"Events", "events", DESK_COUNT, 0, false},       {"First", "first_ms", DESK_TIME, 0, false},
        {"Last", "last_ms", DESK_TIME, 0, false},         {"Hash of the last", "last_hash", DESK_TEXT, 0, false},
        {"Size in bytes", "bytes", DESK_COUNT, 0, false},
    };
    desk d;
    json_t *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_ask(&d, "book", NULL, &answer) : status;
    if (status == EXIT_CLEAR) {
        json_object_set_new(answer, "ledger", json_string(d.ledger_path));
        if (d.json) {
            status = desk_print_json(json_incref(answer));
        } else {
            desk_card(&d, answer, lines, sizeof lines / sizeof lines[0]);
            printf("The book does not know of its backups: look where they are kept. Write the hash down now and then: "
                   "what "
                   "came before it can not be changed without being seen.\n");
        }
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

static int run_events(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Event", "event", DESK_COUNT, 0, true},
        {"At", "at_ms", DESK_TIME, 0, false},
        {"Act", "act", DESK_TEXT, 0, false},
        {"By", "by", DESK_TEXT, 12, false},
        {"Undone by", "undone_by", DESK_COUNT, 0, true},
        {"What", "what", DESK_TEXT, 400, false},
    };
    static const listing what = {.question = "events",
                                 .list = "events",
                                 LISTING_COLUMNS(columns),
                                 .none = "No such event.",
                                 .next = "after",
                                 .next_key = "event"};
    desk d;
    json_t *parameters = NULL, *answer = NULL, *row;
    size_t i;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &parameters) : status;
    status = status == EXIT_CLEAR ? desk_ask(&d, "events", parameters, &answer) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        json_array_foreach(json_object_get(answer, "events"), i, row)
        {
            char *text = json_dumps(json_object_get(row, "body"), JSON_COMPACT | JSON_SORT_KEYS);
            json_object_set_new(row, "what", json_string(text ? text : ""));
            free(text);
        }
        listing_print(&d, answer, &what);
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

static const cli_option options_new[] = {DESK_OPTIONS};
static const cli_option options_undo[] = {
    DESK_OPTIONS,
    {.name = "reason", .value = "TEXT", .says = "why, for whoever reads the book", .field = "reason"},
};
static const cli_example examples_new[] = {
    {"proveout ledger new --ledger desk.db", "a book of its own"},
};
static const cli_example examples_undo[] = {
    {"proveout ledger undo 214", "the act booked as event 214 is taken back"},
};

static const cli_option options_events[] = {
    DESK_OPTIONS,
    {.name = "after", .value = "EVENT", .says = "those after this one", .field = "after", .unit = DESK_COUNT},
    {.name = "act", .value = "NAME", .says = "only this act, such as run-hand-out", .field = "act", .unit = DESK_ID},
    {.name = "of",
     .value = "WHO",
     .says = "only what this member, desk or keeper booked",
     .field = "by",
     .unit = DESK_ID},
    {.name = "from", .value = "TIME", .says = "not before", .field = "from", .unit = DESK_TIME},
    {.name = "until", .value = "TIME", .says = "and before; a day: to its end", .field = "until", .unit = DESK_UNTIL},
    {.name = "limit",
     .value = "N",
     .says = "at most so many, 100 as a rule, 1000 at most",
     .field = "limit",
     .unit = DESK_COUNT},
};
static const cli_example examples_verify[] = {
    {"proveout ledger verify", "the book, with all that follows from its events"},
    {"proveout ledger verify --ledger desk-2026-11-30.db", "a backup"},
};
static const cli_example examples_rebuild[] = {{"proveout ledger rebuild", "after ledger verify has named tables"}};
static const cli_example examples_show[] = {
    {"proveout ledger show", "where it is, how long, the hash of its last event"}};
static const cli_example examples_events[] = {
    {"proveout ledger events --act run-hand-out --from 2026-11-26", "hand-outs since a day"},
    {"proveout ledger events --of keeper --limit 20", "what a keeper booked"},
};

const cli_verb cli_ledger_verbs[] = {
    {
        .name = "ledger show",
        .operands = "",
        .options = options_new,
        .n_options = sizeof options_new / sizeof options_new[0],
        .line = "where the book is and how long",
        .help = "Shows where the book is, its version, its events and the hash of the last of them.",
        .examples = examples_show,
        .n_examples = 1,
        .run = run_show,
    },
    {
        .name = "ledger events",
        .operands = "",
        .options = options_events,
        .n_options = sizeof options_events / sizeof options_events[0],
        .line = "what was booked, act by act",
        .help = "Lists events in order: when, which act, by whom, and its fields as they were booked (lengths in um, "
                "masses in "
                "mg, times in ms of UTC; docs/ledger.md). An act that was taken back names the event that did it.",
        .examples = examples_events,
        .n_examples = 2,
        .run = run_events,
    },
    {
        .name = "ledger verify",
        .operands = "",
        .options = options_new,
        .n_options = sizeof options_new / sizeof options_new[0],
        .line = "check the whole book",
        .help = "Checks everything: the chain of hashes, the file itself, references, sums, all tables against what "
                "follows "
                "from the events, and the files kept beside the book. Others can go on working. Each fault is one "
                "sentence; "
                "exit status 2 where there are any. No shop file is needed with --ledger.",
        .examples = examples_verify,
        .n_examples = 2,
        .run = run_verify,
    },
    {
        .name = "ledger rebuild",
        .operands = "",
        .options = options_new,
        .n_options = sizeof options_new / sizeof options_new[0],
        .line = "make all tables anew from the events",
        .help = "Throws away what follows from the events and makes it again from them, all or nothing. The events "
                "themselves are "
                "never changed. Others wait meanwhile.",
        .examples = examples_rebuild,
        .n_examples = 1,
        .run = run_rebuild,
    },
    {
        .name = "ledger new",
        .operands = "",
        .options = options_new,
        .n_options = sizeof options_new / sizeof options_new[0],
        .line = "make the book",
        .help = "Makes an empty book where --ledger, PROVEOUT_LEDGER or the shop file says. A book that is there "
                "already is "
                "left as it is.",
        .examples = examples_new,
        .n_examples = 1,
        .run = run_new,
    },
    {
        .name = "ledger undo",
        .operands = "EVENT",
        .least = 1,
        .most = 1,
        .options = options_undo,
        .n_options = sizeof options_undo / sizeof options_undo[0],
        .line = "take an act back",
        .help = "Takes an act back that was booked by mistake. The book keeps both: an undo is an event that names the "
                "other. "
                "Where something later rests on it, that is named, and can be taken back first.",
        .examples = examples_undo,
        .n_examples = 1,
        .run = desk_run_act,
        .act = "undo",
        .fills = {{"event", DESK_COUNT}},
        .done = "Event {event} ({undone_act}) is taken back.",
    },
    {.name = NULL},
};
