/* proveout backup, restore: copies of the book, and back. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "book_path.h"
#include "desk.h"
#include "proveout/keepsakes.h"
#include "verbs.h"
#include "whole.h"

enum { FAULTS_SHOWN = 10 };

/* Files of one book that another refers to; what can't be had is told. */
static int copy_files(po_ledger *from, const char *to, po_arena *arena, int64_t *ret_copied, json_t *faults)
{
    po_ledger *copy = NULL;
    const char *const *list = NULL;
    size_t n = 0;
    po_err err;
    int status = EXIT_CLEAR;
    if (po_ledger_open(to, NULL, &copy, &err) != PO_OK ||
        po_keepsakes_copy(from, copy, arena, ret_copied, &list, &n, &err) != PO_OK) {
        status = cli_fail(EXIT_OWN, "the book was copied, but not the files beside it: %s", err.msg);
    }
    for (size_t i = 0; status == EXIT_CLEAR && i < n; i++) {
        json_array_append_new(faults, json_string(list[i]));
    }
    po_ledger_close(copy);
    return status;
}

static void print_faults(const json_t *faults)
{
    size_t n = json_array_size(faults);
    for (size_t i = 0; i < n && i < FAULTS_SHOWN; i++) {
        for (const char *p = json_string_value(json_array_get(faults, i)); p && *p; p++) {
            fputc((unsigned char)*p < 0x20 || *p == 0x7f ? '?' : *p, stdout);
        }
        fputc('\n', stdout);
    }
    if (n > FAULTS_SHOWN) {
        printf("and %zu more such; --json lists them.\n", n - FAULTS_SHOWN);
    }
}

static int backup_book(desk *d, const char *to)
{
    cli_progress progress;
    po_err err;
    int64_t copied = 0;
    cli_progress_begin(&progress, to);
    po_ledger_watch(d->ledger, cli_progress_step, &progress);
    po_status s = po_ledger_backup(d->ledger, to, &err);
    po_ledger_watch(d->ledger, NULL, NULL);
    cli_progress_end(&progress);
    if (s != PO_OK) {
        return cli_fail(s == PO_E_CONFLICT ? EXIT_USAGE
                        : s == PO_E_SYNTAX ? EXIT_STOP
                                           : EXIT_OWN,
                        "%s: %s", to, err.msg);
    }
    json_t *faults = json_array();
    int status = copy_files(d->ledger, to, d->arena, &copied, faults);
    size_t n = json_array_size(faults);
    if (status == EXIT_CLEAR && d->json) {
        status = desk_print_json(json_pack("{s:s, s:s, s:s, s:I, s:O}", "format", "proveout/backup/1", "as", "book",
                                           "to", to, "files", (json_int_t)copied, "faults", faults));
    } else if (status == EXIT_CLEAR) {
        printf("A verified copy of the book stands at %s", to);
        if (copied) {
            printf(", with %lld file%s beside it", (long long)copied, copied == 1 ? "" : "s");
        }
        printf(". It holds names: keep it as you keep the book.\n");
        print_faults(faults);
    }
    json_decref(faults);
    return status == EXIT_CLEAR && n ? EXIT_STOP : status;
}

static int backup_text(desk *d, const char *to, po_export_format format, bool names)
{
    const char *as = format == PO_EXPORT_CSV ? "csv" : "sql";
    po_export_options o = {.format = format, .names = names};
    int status = whole_export(d->ledger, &o, to);
    if (status == EXIT_CLEAR && strcmp(to, "-") != 0) {
        if (d->json) {
            return desk_print_json(json_pack("{s:s, s:s, s:s, s:b}", "format", "proveout/backup/1", "as", as, "to", to,
                                             "names", (int)names));
        }
        printf("All tables stand at %s for other programs; %s. To go back to, keep a copy of the book itself as well: "
               "proveout backup FILE.\n",
               to,
               names ? "names are in it: keep it as you keep the book" : "names of persons were left out (--names)");
    }
    return status;
}

static int run_backup(const cli_call *call)
{
    desk d;
    const char *as = cli_value(call, "as"), *to = call->args[0];
    bool names = cli_value(call, "names") != NULL, text = as && strcmp(as, "book") != 0;
    if (text && strcmp(as, "sql") != 0 && strcmp(as, "csv") != 0) {
        return cli_fail(EXIT_USAGE, "--as %s: expected book, sql or csv", as);
    }
    if (names && !text) {
        return cli_fail(EXIT_USAGE, "--names goes with --as sql or csv; a copy of the book always holds them");
    }
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR) {
        status = text ? backup_text(&d, to, !strcmp(as, "csv") ? PO_EXPORT_CSV : PO_EXPORT_SQL, names)
                      : backup_book(&d, to);
    }
    desk_close(&d);
    return status;
}

/* Files beside the backup that the restored book names, where there are any. */
static int files_back(const char *from, const char *path, po_arena *arena, int64_t *ret_copied, json_t *faults)
{
    po_ledger *backup = NULL;
    po_err err;
    const char *folder = po_arena_printf(arena, "%s.files", from);
    if (!folder || access(folder, F_OK) != 0) {
        return EXIT_CLEAR;
    }
    if (po_ledger_open(from, &(po_ledger_options){.read_only = true}, &backup, &err) != PO_OK) { /* an old version */
        json_array_append_new(faults,
                              json_string("files beside the backup were left where they are; copy the folder by hand "
                                          "where some are missing"));
        return EXIT_CLEAR;
    }
    int status = copy_files(backup, path, arena, ret_copied, faults);
    po_ledger_close(backup);
    return status;
}

static int run_restore(const cli_call *call)
{
    po_arena *arena = po_arena_new(0);
    const char *from = call->args[0], *path = NULL, *aside = NULL;
    int64_t copied = 0;
    po_err err;
    int status = arena ? book_path(call, arena, &path) : cli_fail(EXIT_OWN, "memory ran out");
    po_status s = status == EXIT_CLEAR ? po_ledger_restore(from, path, NULL, arena, &aside, &err) : PO_OK;
    if (s != PO_OK) {
        int exit_status = s == PO_E_CONFLICT || s == PO_E_SYNTAX        ? EXIT_STOP
                          : s == PO_E_NOTFOUND || s == PO_E_UNSUPPORTED ? EXIT_USAGE
                                                                        : EXIT_OWN;
        status = err.where[0] ? cli_fail(exit_status, "%s: %s", err.where, err.msg)
                              : cli_fail(exit_status, "%s", err.msg);
    }
    json_t *faults = json_array();
    status = status == EXIT_CLEAR ? files_back(from, path, arena, &copied, faults) : status;
    if (status == EXIT_CLEAR && cli_value(call, "json")) {
        status = desk_print_json(json_pack("{s:s, s:s, s:s, s:s?, s:I, s:O}", "format", "proveout/restore/1", "from",
                                           from, "ledger", path, "aside", aside, "files", (json_int_t)copied, "faults",
                                           faults));
    } else if (status == EXIT_CLEAR) {
        printf("The book at %s is the backup %s, verified.\n", path, from);
        if (aside) {
            printf("The book that was there is kept as %s.\n", aside);
        }
        print_faults(faults);
    }
    status = status == EXIT_CLEAR && json_array_size(faults) ? EXIT_STOP : status;
    json_decref(faults);
    po_arena_free(arena);
    return status;
}

static const cli_option options_backup[] = {
    DESK_OPTIONS,
    {.name = "as", .value = "KIND", .says = "book (a copy to go back to; usual), sql or csv (for other programs)"},
    {.name = "names", .says = "with sql or csv: names and contacts too"},
};
static const cli_option options_restore[] = {DESK_OPTIONS};
static const cli_example examples_backup[] = {
    {"proveout backup /media/safe/desk-2026-11-30.db", "a copy to go back to, while the desk works on"},
    {"proveout backup desk-2026.sql --as sql", "all tables, for any database"},
};
static const cli_example examples_restore[] = {
    {"proveout restore /media/safe/desk-2026-11-30.db", "go back to a copy"},
};

const cli_verb cli_backup_verb[] = {
    {
        .name = "backup",
        .operands = "TO",
        .least = 1,
        .most = 1,
        .options = options_backup,
        .n_options = sizeof options_backup / sizeof options_backup[0],
        .line = "a verified copy of the book",
        .help =
            "Copies the book while others go on working with it, verifies the copy, event by event, and only then "
            "gives it "
            "its name; job files and photos that the book names are copied to TO.files. Nothing that is there is "
            "written "
            "over. With --as sql or csv the tables go out for other programs, without names of persons unless --names "
            "is given; go back to a copy of the book, not to those. Keep backups on another disk, and try one now and "
            "then: proveout ledger verify --ledger TO.",
        .examples = examples_backup,
        .n_examples = 2,
        .run = run_backup,
    },
    {.name = NULL},
};

const cli_verb cli_restore_verb[] = {
    {
        .name = "restore",
        .operands = "FROM",
        .least = 1,
        .most = 1,
        .options = options_restore,
        .n_options = sizeof options_restore / sizeof options_restore[0],
        .line = "go back to a copy of the book",
        .help = "Makes a backup the book again. A copy of it is verified first; a damaged one, or one of a newer "
                "program, is "
                "refused. The book that is there is kept under a name with the time, and never deleted; whatever was "
                "booked "
                "since the backup is in there only. End other programs that have the book open first.",
        .examples = examples_restore,
        .n_examples = 1,
        .run = run_restore,
    },
    {.name = NULL},
};
