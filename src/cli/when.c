/* The calendar for the verbs. SPDX-License-Identifier: Apache-2.0 */
#include "when.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "work/prove.h"

enum { FILE_MOST = (16 << 20) + 1 };

/* The whole of a calendar file; NULL with a message printed. The caller frees. */
static char *whole_file(const char *path, size_t *ret_n)
{
    FILE *f = fopen(path, "rb");
    char *bytes = f ? malloc(FILE_MOST) : NULL;
    *ret_n = bytes ? fread(bytes, 1, FILE_MOST, f) : 0;
    if (!f || !bytes || ferror(f)) {
        cli_fail(EXIT_USAGE, "%s can't be read: %s", path, f && !bytes ? "memory ran out" : strerror(errno));
        free(bytes);
        bytes = NULL;
    }
    if (f) {
        fclose(f);
    }
    return bytes;
}

typedef struct events {
    po_desk_event *list;
    size_t n;
} events;

static int read_files(const cli_call *call, const char *option, bool others_close, const po_zone *zone,
                      po_ms_span within, po_arena *arena, events *all)
{
    const char *text = cli_value(call, option), *paths[CLI_MOST_LIST];
    size_t n = 0;
    if (text && !cli_split(text, arena, paths, &n)) {
        return cli_fail(EXIT_USAGE, "--%s takes at most %d files, with commas between them", option, CLI_MOST_LIST);
    }
    for (size_t i = 0; i < n; i++) {
        size_t n_bytes, n_new = 0;
        const po_desk_event *fresh = NULL;
        po_err err;
        char *bytes = whole_file(paths[i], &n_bytes);
        if (!bytes) {
            return EXIT_USAGE;
        }
        po_status s = po_ical_read(bytes, n_bytes, paths[i], zone, within, others_close, arena, &fresh, &n_new, &err);
        free(bytes);
        if (s != PO_OK) {
            char line[512];
            return cli_fail(s == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "%s", po_err_text(&err, line, sizeof line));
        }
        if (n_new > 0) {
            po_desk_event *larger = po_arena_resize(arena, all->list, all->n * sizeof *larger,
                                                    (all->n + n_new) * sizeof *larger);
            if (!larger) {
                return cli_fail(EXIT_OWN, "memory ran out");
            }
            memcpy(larger + all->n, fresh, n_new * sizeof *larger);
            *all = (events){larger, all->n + n_new};
        }
    }
    return EXIT_CLEAR;
}

int when_calendar(const cli_call *call, const po_shop *shop, int64_t from_ms, po_arena *arena, const po_calendar **ret)
{
    const po_zone *zone = NULL;
    po_err err;
    events all = {NULL, 0};
    po_ms_span within = {from_ms, from_ms + INT64_C(86400000) * WHEN_DAYS};
    po_status s = po_zone_load(shop->time_zone, arena, &zone, &err);
    if (s != PO_OK) {
        return cli_fail(s == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "%s", err.msg);
    }
    int status = read_files(call, "calendar", false, zone, within, arena, &all);
    status = status == EXIT_CLEAR ? read_files(call, "holidays", true, zone, within, arena, &all) : status;
    if (status == EXIT_CLEAR) {
        s = po_calendar_make(shop, zone, within, all.list, all.n, arena, ret, &err);
        status = s == PO_OK ? EXIT_CLEAR : cli_fail(s == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "%s", err.msg);
    }
    return status;
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
