/* proveout export ...: the book for other programs. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "desk.h"
#include "verbs.h"
#include "whole.h"

static int run_as(const cli_call *call, po_export_format format)
{
    desk d;
    const char *to = call->args[0], *given = cli_value(call, "table"), *tables[CLI_MOST_LIST];
    const char *from = cli_value(call, "from"), *until = cli_value(call, "until");
    po_export_options o = {.format = format, .tables = tables, .names = cli_value(call, "names") != NULL};
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR && given && !cli_split(given, d.arena, tables, &o.n_tables)) {
        status = cli_fail(EXIT_USAGE, "--table %s: more names than there are tables", given);
    }
    if (status == EXIT_CLEAR && from && !desk_time_from(d.shop, from, false, d.now_ms, &o.from_ms)) {
        status = cli_fail(EXIT_USAGE, "--from %s: expected a day or time such as 2026-11-26", from);
    }
    if (status == EXIT_CLEAR && until && !desk_time_from(d.shop, until, true, d.now_ms, &o.until_ms)) {
        status = cli_fail(EXIT_USAGE, "--until %s: expected a day or time such as 2026-11-26", until);
    }
    status = status == EXIT_CLEAR ? whole_export(d.ledger, &o, to) : status;
    if (status == EXIT_CLEAR && strcmp(to, "-") != 0) {
        if (d.json) {
            status = desk_print_json(json_pack("{s:s, s:s, s:s, s:b}", "format", "proveout/exported/1", "as",
                                               format == PO_EXPORT_CSV ? "csv" : "json", "to", to, "names",
                                               (int)o.names));
        } else {
            printf("Exported to %s; %s. What the columns are: %s.\n", to,
                   o.names ? "it holds names: keep it as you keep the book" : "names of persons were left out",
                   format == PO_EXPORT_CSV ? "README.md in it" : "docs/export.md");
        }
    }
    desk_close(&d);
    return status;
}

static int run_csv(const cli_call *call)
{
    return run_as(call, PO_EXPORT_CSV);
}

static int run_json(const cli_call *call)
{
    return run_as(call, PO_EXPORT_JSON);
}

static const cli_option options[] = {
    DESK_OPTIONS,
    {.name = "table",
     .value = "NAMES",
     .says = "only these tables, with commas between them: runs, members, events ..."},
    {.name = "from", .value = "TIME", .says = "of what has a time only what is not before"},
    {.name = "until", .value = "TIME", .says = "and not after; a day: to its end"},
    {.name = "names", .says = "with names and contacts of persons (table persons)"},
};
static const cli_example examples_csv[] = {
    {"proveout export csv year-2026 --from 2026-01-01 --until 2026-12-31", "a year for a spreadsheet"},
    {"proveout export csv runs --table runs,takes", "runs and what they took from spools"},
};
static const cli_example examples_json[] = {
    {"proveout export json book.json", "all of the book but the names"},
    {"proveout export json - --table runs", "runs, on standard output"},
};

const cli_verb cli_export_verbs[] = {
    {
        .name = "export csv",
        .operands = "FOLDER",
        .least = 1,
        .most = 1,
        .options = options,
        .n_options = sizeof options / sizeof options[0],
        .line = "tables as a folder of CSV files",
        .help =
            "Writes a folder with a file for each table of the book (RFC 4180) and a README that says what each column "
            "is. "
            "Members stand under their numbers; names go out only with --names. Texts that people wrote go out as they "
            "are: read them into a spreadsheet as text. The folder is there whole or not at all, and never over "
            "another.",
        .examples = examples_csv,
        .n_examples = 2,
        .run = run_csv,
    },
    {
        .name = "export json",
        .operands = "FILE",
        .least = 1,
        .most = 1,
        .options = options,
        .n_options = sizeof options / sizeof options[0],
        .line = "tables as one JSON object",
        .help = "Writes one JSON object (format proveout/export/1, docs/export.md) with a list of rows for each table "
                "of the "
                "book; - is standard output. It is written row by row, however large the book is.",
        .examples = examples_json,
        .n_examples = 2,
        .run = run_json,
    },
    {.name = NULL},
};
