/* proveout ledger ...: the book itself. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "desk.h"
#include "verbs.h"

/* The shop is needed only to know where the book is. */
static int run_new(const cli_call *call)
{
    po_arena *arena = po_arena_new(0);
    const po_shop *shop = NULL;
    int status = arena ? EXIT_CLEAR : cli_fail(EXIT_OWN, "memory ran out");
    if (status == EXIT_CLEAR && !cli_value(call, "ledger")) {
        status = cli_shop_read(cli_value(call, "shop"), arena, &shop);
    }
    const char *path = status == EXIT_CLEAR ? desk_ledger_path(call, shop, arena) : NULL;
    po_ledger *ledger = NULL;
    po_err err;
    if (path && po_ledger_open(path, NULL, &ledger, &err) == PO_OK) {
        status = cli_fail(EXIT_STOP, "there is a book at %s already", path);
    } else if (path && po_ledger_open(path, &(po_ledger_options){.create = true}, &ledger, &err) != PO_OK) {
        status = cli_fail(EXIT_USAGE, "%s: %s", path, err.msg);
    } else if (path) {
        printf("A new book stands at %s. Next: proveout term open, proveout member enrol.\n", path);
    }
    po_ledger_close(ledger);
    po_arena_free(arena);
    return path ? status : EXIT_USAGE;
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

const cli_verb cli_ledger_verbs[] = {
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
        .done = "Event {event} is taken back.",
    },
    {.name = NULL},
};
