/* The calendar for the verbs. SPDX-License-Identifier: Apache-2.0 */
#include "when.h"

#include <string.h>

#include "desk.h"
#include "work/opening.h"
#include "work/prove.h"

static int one_file(const po_shop **shop, const char *path, bool holidays, const po_zone *zone, int64_t now_ms,
                    po_arena *arena)
{
    po_err err;
    char line[512];
    po_status s = work_opening_file(*shop, path, holidays, zone, now_ms, arena, shop, &err);
    return s == PO_OK ? EXIT_CLEAR
                      : cli_fail(s == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "%s", po_err_text(&err, line, sizeof line));
}

int when_opening(const cli_call *call, po_arena *arena, const po_shop **shop)
{
    static const char *const names[] = {"calendar", "holidays"};
    const po_zone *zone = NULL;
    int64_t now = desk_now_ms((void *)(uintptr_t)*shop);
    int status = EXIT_CLEAR;
    for (int k = 0; k < 2 && status == EXIT_CLEAR; k++) {
        const char *text = cli_value(call, names[k]), *paths[CLI_MOST_LIST];
        size_t n = 0;
        po_err err;
        if (text && !cli_split(text, arena, paths, &n)) {
            return cli_fail(EXIT_USAGE, "--%s takes at most %d files, with commas between them", names[k],
                            CLI_MOST_LIST);
        }
        if (n > 0 && !zone && po_zone_load((*shop)->time_zone, arena, &zone, &err) != PO_OK) {
            return cli_fail(err.code == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "%s", err.msg);
        }
        for (size_t i = 0; i < n && status == EXIT_CLEAR; i++) {
            status = one_file(shop, paths[i], k == 1, zone, now, arena);
        }
    }
    return status;
}

int when_calendar(const po_shop *shop, int64_t from_ms, po_arena *arena, const po_calendar **ret)
{
    const po_zone *zone = NULL;
    po_err err;
    po_ms_span within = {from_ms, from_ms + INT64_C(86400000) * WHEN_DAYS};
    po_status s = po_zone_load(shop->time_zone, arena, &zone, &err);
    s = s == PO_OK ? po_calendar_make(shop, zone, within, NULL, 0, arena, ret, &err) : s;
    return s == PO_OK ? EXIT_CLEAR : cli_fail(s == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "%s", err.msg);
}

int when_judge(const po_job_report *report, const char *path, po_proof_context *context, po_arena *arena,
               const po_proof **proof)
{
    po_err err;
    po_status s = work_judge_when(report, path, context, arena, proof, &err);
    return s == PO_OK                                           ? EXIT_CLEAR
           : s == PO_E_RANGE && strcmp(err.where, "start") == 0 ? cli_fail(EXIT_USAGE, "--start: %s", err.msg)
                                                                : cli_fail_err(&err);
}
