/* proveout import ...: members from a file of comma-separated values. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "listing.h"
#include "permits.h"
#include "proveout/import.h"
#include "verbs.h"

static bool end_of_day(void *user, const char *day, int64_t *ret_ms)
{
    const desk *d = user;
    return strlen(day) == 10 && day[4] == '-' && day[7] == '-' && desk_time_from(d->shop, day, true, d->now_ms, ret_ms);
}

static const char *line_words(const desk *d, const po_import_line *line)
{
    const char *words = po_arena_printf(
        d->arena, "%s%s%s%s%s", line->is_new ? "new member" : "", !line->is_new && line->name ? "another name" : "",
        !line->is_new && line->contact ? (line->name ? ", another contact" : "another contact") : "",
        line->role ? (line->is_new || line->name || line->contact ? ", role " : "role ") : "",
        line->role ? line->role : "");
    for (size_t i = 0; words && i < line->n_granted; i++) {
        json_t *until = json_integer((json_int_t)line->granted[i].until_ms);
        const char *day = line->granted[i].until_ms >= 0 ? desk_words(d, until, DESK_UNTIL) : "";
        words = po_arena_printf(d->arena, "%s%s%s%s%s", words, *words ? ", " : "", line->granted[i].name,
                                *day ? " until " : "", day);
        json_decref(until);
    }
    return words ? words : "";
}

static json_t *lines_as_json(const po_import *found)
{
    json_t *list = json_array();
    for (size_t i = 0; i < found->n_lines; i++) {
        const po_import_line *line = &found->lines[i];
        json_t *granted = json_array();
        for (size_t k = 0; k < line->n_granted; k++) {
            json_t *until = line->granted[k].until_ms >= 0 ? json_integer((json_int_t)line->granted[k].until_ms)
                                                           : json_null();
            json_array_append_new(granted,
                                  json_pack("{s:s, s:o}", "permission", line->granted[k].name, "until_ms", until));
        }
        json_array_append_new(list, json_pack("{s:I, s:s, s:b, s:b, s:b, s:s?, s:o}", "line", (json_int_t)line->line,
                                              "member", line->member, "new", line->is_new, "name", line->name,
                                              "contact", line->contact, "role", line->role, "granted", granted));
    }
    return list;
}

static json_t *as_json(const po_import *found, const char *file)
{
    json_t *faults = json_array();
    for (size_t i = 0; i < found->n_faults && i < PO_IMPORT_FAULTS; i++) {
        json_array_append_new(faults, json_pack("{s:I, s:I, s:s}", "line", (json_int_t)found->faults[i].line, "column",
                                                (json_int_t)found->faults[i].column, "says", found->faults[i].says));
    }
    json_t *root = json_pack("{s:s, s:s, s:b, s:I, s:I, s:I, s:I, s:I, s:o, s:o}", "format",
                             "proveout/import-members/1", "file", file, "booked", found->first_event != 0, "new",
                             (json_int_t)found->n_new, "changed", (json_int_t)found->n_changed, "granted",
                             (json_int_t)found->n_granted, "unchanged", (json_int_t)found->n_unchanged, "n_faults",
                             (json_int_t)found->n_faults, "lines", lines_as_json(found), "faults", faults);
    if (root && found->first_event) {
        json_object_set_new(root, "first_event", json_integer((json_int_t)found->first_event));
        json_object_set_new(root, "last_event", json_integer((json_int_t)found->last_event));
    }
    return root;
}

static void print_faults(const desk *d, const po_import *found, const char *file)
{
    for (size_t i = 0; i < found->n_faults && i < PO_IMPORT_FAULTS; i++) {
        json_t *says = json_string(found->faults[i].says);
        printf("%s:%u:%u: %s\n", file, found->faults[i].line, found->faults[i].column, desk_words(d, says, DESK_TEXT));
        json_decref(says);
    }
    if (found->n_faults > PO_IMPORT_FAULTS) {
        printf("and %zu more\n", found->n_faults - PO_IMPORT_FAULTS);
    }
}

static void print_changes(const desk *d, const po_import *found)
{
    static const desk_column columns[] = {
        {"Line", "line", DESK_COUNT, 0, true},
        {"Member", "member", DESK_TEXT, 20, false},
        {"What changes", "words", DESK_TEXT, 200, false},
    };
    json_t *list = json_array();
    for (size_t i = 0; i < found->n_lines; i++) {
        json_array_append_new(list, json_pack("{s:I, s:s, s:s}", "line", (json_int_t)found->lines[i].line, "member",
                                              found->lines[i].member, "words", line_words(d, &found->lines[i])));
    }
    desk_table(d, list, columns, sizeof columns / sizeof columns[0], "Nothing changes.");
    json_decref(list);
    printf("New members: %zu; others with another name, contact or role: %zu; permissions granted: %zu; lines that "
           "change nothing: %zu.\n",
           found->n_new, found->n_changed, found->n_granted, found->n_unchanged);
    if (found->first_event) {
        printf("Booked as events %llu to %llu.\n", (unsigned long long)found->first_event,
               (unsigned long long)found->last_event);
    } else if (found->n_lines > 0) {
        printf("Nothing is booked yet: the same with --yes books all of it.\n");
    }
}

static int import_file(desk *d, const char *file)
{
    size_t n = 0;
    char *bytes = cli_read_whole(file, PO_IMPORT_BYTES, &n);
    po_import_permission *permissions = po_arena_zeros(d->arena, d->shop->n_permissions + 1, sizeof *permissions);
    if (!bytes || !permissions) {
        free(bytes);
        return bytes ? cli_fail(EXIT_OWN, "memory ran out") : EXIT_USAGE;
    }
    for (size_t i = 0; i < d->shop->n_permissions; i++) {
        permissions[i] = (po_import_permission){d->shop->permissions[i].name,
                                                permit_until(d, &d->shop->permissions[i])};
    }
    po_import_options options = {
        .by = d->by,
        .permissions = permissions,
        .n_permissions = d->shop->n_permissions,
        .end_of_day = end_of_day,
        .user = d,
        .book = cli_value(d->call, "yes") != NULL,
    };
    po_import found = {0};
    po_err err;
    po_status s = po_ledger_import_members(d->ledger, bytes, n, &options, d->arena, &found, &err);
    free(bytes);
    if (s != PO_OK) {
        const char *says = po_arena_text(d->arena, err.msg);
        if (err.line && says) {
            snprintf(err.msg, sizeof err.msg, "line %u: %s; nothing is booked", err.line, says);
        }
        return desk_refused(d, "import members", &err);
    }
    if (d->json) {
        int status = desk_print_json(as_json(&found, file));
        return status == EXIT_CLEAR && found.n_faults ? EXIT_USAGE : status;
    }
    if (found.n_faults) {
        print_faults(d, &found, file);
        return cli_fail(EXIT_USAGE, "%s: %zu fault%s; nothing is booked until all are put right", file, found.n_faults,
                        found.n_faults == 1 ? "" : "s");
    }
    print_changes(d, &found);
    return EXIT_CLEAR;
}

static int run_members(const cli_call *call)
{
    desk d;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? import_file(&d, call->args[0]) : status;
    desk_close(&d);
    return status;
}

static const cli_option options_members[] = {DESK_OPTIONS, {.name = "yes", .says = "book it, all or nothing"}};
static const cli_example examples_members[] = {
    {"proveout import members members.csv", "what it would change"},
    {"proveout import members members.csv --yes", "the same, booked"},
};

const cli_verb cli_import_verbs[] = {
    {
        .name = "import members",
        .operands = "FILE.csv",
        .least = 1,
        .most = 1,
        OPTIONS_OF(members),
        .line = "members from a file",
        .help = "Enrols members from a file of comma-separated values (RFC 4180, UTF-8; - reads standard input), "
                "changes names and "
                "contacts, grants permissions. Its first line names the columns, in any order: member, name, contact, "
                "role, "
                "permissions (several with | between them), until (a day such as 2026-12-18, to the end of which "
                "the permissions hold; else by the shop file). Only member is needed; an empty cell leaves what is "
                "there as "
                "it is, and nobody loses a permission. Without --yes it says what would change. A faulty line is told "
                "with its "
                "line and column, and then nothing is booked.",
        EXAMPLES_OF(members),
        .run = run_members,
    },
    {.name = NULL},
};
