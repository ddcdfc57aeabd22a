/* proveout run list, show, sum: what the book says of runs. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "due.h"
#include "listing.h"
#include "run_verbs.h"

#define COUNT_OF(list) (sizeof list / sizeof list[0])

int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Run", "run", DESK_COUNT, 0, true},          {"Member", "member", DESK_TEXT, 12, false},
        {"Machine", "machine", DESK_TEXT, 14, false}, {"State", "state", DESK_TEXT, 0, false},
        {"Outcome", "outcome", DESK_TEXT, 0, false},  {"Out", "out_ms", DESK_TIME, 0, false},
        {"Proved", "reserved_um", DESK_M, 0, true},   {"Used", "used_um", DESK_M, 0, true},
        {"Cause", "cause", DESK_TEXT, 0, false},      {"File", "file", DESK_TEXT, 40, false},
    };
    static const listing what = {.question = "runs",
                                 .list = "runs",
                                 LISTING_COLUMNS(columns),
                                 .none = "No run is like that.",
                                 .next = "before",
                                 .next_key = "run"};
    return listing_run(call, &what);
}

static void tell_run(const desk *d, json_t *run)
{
    static const desk_column lines[] = {
        {"run", "run", DESK_COUNT, 0, false},
        {"state", "state", DESK_TEXT, 0, false},
        {"member", "member", DESK_TEXT, 0, false},
        {"machine", "machine", DESK_TEXT, 0, false},
        {"stick", "stick", DESK_TEXT, 0, false},
        {"job", "file", DESK_TEXT, 0, false},
        {"SHA-256", "sha256", DESK_TEXT, 0, false},
        {"recipe", "recipe", DESK_TEXT, 0, false},
        {"verdict", "verdict", DESK_TEXT, 0, false},
        {"leave", "leave", DESK_TEXT, 0, false},
        {"course", "course", DESK_TEXT, 0, false},
        {"assignment", "assignment", DESK_TEXT, 0, false},
        {"group", "group", DESK_TEXT, 0, false},
        {"fund", "fund", DESK_TEXT, 0, false},
        {"purpose", "purpose", DESK_TEXT, 0, false},
        {"at the desk", "by", DESK_TEXT, 0, false},
        {"reserved", "reserved_ms", DESK_TIME, 0, false},
        {"promised", "promised_ms", DESK_TIME, 0, false},
        {"wanted by", "due_ms", DESK_UNTIL, 0, false},
        {"handed out", "out_ms", DESK_TIME, 0, false},
        {"started", "started_ms", DESK_TIME, 0, false},
        {"watched", "watched_ms", DESK_TIME, 0, false},
        {"first layer", "first_layer", DESK_TEXT, 0, false},
        {"seen by", "seen_by", DESK_TEXT, 0, false},
        {"ended", "ended_ms", DESK_TIME, 0, false},
        {"off the bed", "off_ms", DESK_TIME, 0, false},
        {"back", "back_ms", DESK_TIME, 0, false},
        {"proved", "reserved_um", DESK_M, 0, false},
        {"proved time", "reserved_seconds", DESK_SPAN, 0, false},
        {"took", "real_seconds", DESK_SPAN, 0, false},
        {"used when it failed", "failed_um", DESK_M, 0, false},
        {"after", "failed_seconds", DESK_SPAN, 0, false},
        {"used", "used_um", DESK_M, 0, false},
        {"weight", "used_mg", DESK_G, 0, false},
        {"figure from", "figure", DESK_TEXT, 0, false},
        {"machine was", "condition", DESK_TEXT, 0, false},
        {"stick there", "stick_there", DESK_TEXT, 0, false},
        {"outcome", "outcome", DESK_TEXT, 0, false},
        {"symptom", "symptom", DESK_TEXT, 0, false},
        {"cause", "cause", DESK_TEXT, 0, false},
        {"counts", "counts", DESK_TEXT, 0, false},
        {"rerun first", "rerun_first", DESK_TEXT, 0, false},
        {"of the term", "charged_um", DESK_M, 0, false},
        {"of waivers", "waived_um", DESK_M, 0, false},
        {"fund paid", "fund_minor", DESK_MONEY, 0, false},
        {"beyond", "beyond", DESK_TEXT, 0, false},
        {"beyond by", "beyond_um", DESK_M, 0, false},
        {"beyond costs", "beyond_minor", DESK_MONEY, 0, false},
        {"part", "part/state", DESK_TEXT, 0, false},
        {"place", "part/place", DESK_COUNT, 0, false},
        {"kept until", "part/kept_until_ms", DESK_UNTIL, 0, false},
        {"collected by", "part/collected_by", DESK_TEXT, 0, false},
    };
    static const desk_column takes[] = {
        {"Tool", "tool", DESK_COUNT, 0, true},
        {"Spool", "spool", DESK_TEXT, 20, false},
        {"Material", "material", DESK_TEXT, 0, false},
        {"Proved", "promised_um", DESK_M, 0, true},
        {"Takes", "um", DESK_M, 0, true},
        {"Weight", "mg", DESK_G, 0, true},
    };
    static const desk_column messages[] = {
        {"Message", "message", DESK_COUNT, 0, true},
        {"At", "at_ms", DESK_TIME, 0, false},
        {"State", "state", DESK_TEXT, 0, false},
        {"Text", "text", DESK_TEXT, 60, false},
    };
    static const desk_column events[] = {
        {"Event", "event", DESK_COUNT, 0, true},
        {"At", "at_ms", DESK_TIME, 0, false},
        {"Act", "act", DESK_TEXT, 0, false},
        {"By", "by", DESK_TEXT, 20, false},
        {"Taken back by", "undone_by", DESK_COUNT, 0, true},
    };
    static const char *const zeros[] = {"waived_um", "fund_um",      "fund_minor",
                                        "beyond_um", "beyond_minor", "charged_um"};
    for (size_t i = 0; i < COUNT_OF(zeros); i++) { /* what nobody paid is not worth a line */
        if (work_int(run, zeros[i], 0) == 0) {
            json_object_del(run, zeros[i]);
        }
    }
    if (!json_is_string(json_object_get(run, "outcome"))) {
        json_object_del(run, "counts");
        json_object_del(run, "rerun_first");
    }
    desk_card(d, run, lines, COUNT_OF(lines));
    if (json_array_size(json_object_get(run, "takes")) > 0) {
        printf("\n");
        desk_table(d, json_object_get(run, "takes"), takes, COUNT_OF(takes), "");
    }
    if (json_array_size(json_object_get(run, "messages")) > 0) {
        printf("\n");
        desk_table(d, json_object_get(run, "messages"), messages, COUNT_OF(messages), "");
    }
    printf("\n");
    desk_table(d, json_object_get(run, "events"), events, COUNT_OF(events), "");
}

int run_show(const cli_call *call)
{
    desk d;
    json_t *body = NULL, *run = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? run_of_body(&d, body, &run) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(run));
    } else if (status == EXIT_CLEAR) {
        tell_run(&d, run);
    }
    json_decref(body);
    json_decref(run);
    desk_close(&d);
    return status;
}

/* ---- sums ---- */

enum { MONTHS_MOST = 63, MONTHS_USUAL = 12 };

/* Where the shop's months begin, from the one of from_ms to the one of until_ms, and the end of the last; both may be -1: a year
 * until now. The first and last edge are from and until themselves where they are given. */
static json_t *month_edges(const desk *d, int64_t from_ms, int64_t until_ms)
{
    json_t *edges = json_array();
    po_wall_time first, last;
    int64_t end = until_ms < 0 ? d->now_ms : until_ms;
    if (!desk_wall(d->shop, end > 0 ? end - 1 : 0, &last, NULL) ||
        (from_ms >= 0 && !desk_wall(d->shop, from_ms, &first, NULL))) {
        return edges;
    }
    if (from_ms < 0) {
        int month = last.date.year * 12 + last.date.month - 1 - (MONTHS_USUAL - 1);
        first = (po_wall_time){{month / 12, month % 12 + 1, 1}, 0};
    }
    int at = first.date.year * 12 + first.date.month - 1, stop = last.date.year * 12 + last.date.month - 1;
    for (int m = at; m <= stop + 1 && json_array_size(edges) <= MONTHS_MOST; m++) {
        int64_t ms = m == at && from_ms >= 0     ? from_ms
                     : m > stop && until_ms >= 0 ? until_ms
                                                 : desk_ms(d->shop, (po_wall_time){{m / 12, m % 12 + 1, 1}, 0});
        json_array_append_new(edges, json_integer(ms));
    }
    return edges;
}

static int sum_parameters(const desk *d, json_t *p)
{
    int64_t from = work_int(p, "from", -1), until = work_int(p, "until", -1);
    if (from >= 0 && until >= 0 && from >= until) {
        return cli_fail(EXIT_USAGE, "--from is not before --until");
    }
    if (strcmp(work_text(p, "by"), "month") != 0) {
        return EXIT_CLEAR;
    }
    json_t *edges = month_edges(d, from, until);
    size_t n = json_array_size(edges);
    json_object_del(p, "from");
    json_object_del(p, "until");
    json_object_set_new(p, "edges_ms", edges);
    return n >= 2 && n <= MONTHS_MOST + 1
               ? EXIT_CLEAR
               : cli_fail(EXIT_USAGE, "sums by month are of 1 to %d months: bring --from and --until nearer",
                          MONTHS_MOST);
}

/* What all rows have in common, as one row below; grams and hours of those that have them. */
static json_t *sum_up(const json_t *rows)
{
    static const char *const keys[] = {"runs",   "good", "failed",  "stopped",    "not_collected", "without_outcome",
                                       "um",     "mg",   "seconds", "charged_um", "waived_um",     "beyond_um",
                                       "fund_um"};
    json_t *all = json_pack("{s:s}", "key", "all");
    for (size_t k = 0; k < COUNT_OF(keys); k++) {
        int64_t sum = 0;
        for (size_t i = 0; i < json_array_size(rows); i++) {
            sum += work_int(json_array_get(rows, i), keys[k], 0);
        }
        json_object_set_new(all, keys[k], json_integer(sum));
    }
    return all;
}

static void tell_sums(const desk *d, json_t *answer)
{
    desk_column columns[] = {
        {"", "key", DESK_TEXT, 20, false},
        {"Runs", "runs", DESK_COUNT, 0, true},
        {"Good", "good", DESK_COUNT, 0, true},
        {"Failed", "failed", DESK_COUNT, 0, true},
        {"Stopped", "stopped", DESK_COUNT, 0, true},
        {"Left", "not_collected", DESK_COUNT, 0, true},
        {"Open", "without_outcome", DESK_COUNT, 0, true},
        {"Filament", "um", DESK_M, 0, true},
        {"Weight", "mg", DESK_G, 0, true},
        {"Time", "seconds", DESK_SPAN, 0, true},
        {"Of waivers", "waived_um", DESK_M, 0, true},
        {"Beyond", "beyond_um", DESK_M, 0, true},
    };
    static const char *const months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    json_t *rows = json_object_get(answer, "sums"), *all = sum_up(rows);
    const char *by = work_text(answer, "by");
    char head[24];
    snprintf(head, sizeof head, "%c%.20s", *by >= 'a' ? *by - 'a' + 'A' : *by, *by ? by + 1 : "");
    columns[0].head = head;
    bool without = false;
    for (size_t i = 0; i < json_array_size(rows); i++) {
        json_t *row = json_array_get(rows, i);
        po_wall_time w;
        if (json_object_get(row, "from_ms") && desk_wall(d->shop, work_int(row, "from_ms", 0), &w, NULL)) {
            json_object_set_new(
                row, "key",
                json_string(po_arena_printf(d->arena, "%s %d", months[(w.date.month + 11) % 12], w.date.year)));
        } else if (!json_is_string(json_object_get(row, "key"))) {
            json_object_set_new(row, "key", json_string("(none)"));
        }
        without = without || work_int(row, "runs_without_mg", 0) > 0;
    }
    while (json_object_get(json_array_get(rows, 0), "from_ms") && work_int(json_array_get(rows, 0), "runs", 0) == 0) {
        json_array_remove(rows, 0); /* months before the first run */
    }
    if (json_array_size(rows) > 1) {
        json_array_append(rows, all);
    }
    desk_table(d, rows, columns, COUNT_OF(columns), "No run was handed out then.");
    if (without) {
        printf("Weights are of the runs whose spool the book knows.\n");
    }
    json_decref(all);
}

int run_sum(const cli_call *call)
{
    desk d;
    json_t *parameters = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &parameters) : status;
    if (status == EXIT_CLEAR && !json_object_get(parameters, "by")) {
        json_object_set_new(parameters, "by", json_string("machine"));
    }
    status = status == EXIT_CLEAR ? sum_parameters(&d, parameters) : status;
    if (status == EXIT_CLEAR) {
        status = desk_ask(&d, "run-sums", parameters, &answer);
        parameters = NULL;
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        tell_sums(&d, answer);
    }
    json_decref(parameters);
    json_decref(answer);
    desk_close(&d);
    return status;
}
