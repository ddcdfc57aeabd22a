/* The files of a stick for the verbs: src/work's look at them, as tables and words. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "stick_look.h"

static const char *json_text(const json_t *o, const char *key)
{
    return json_string_value(json_object_get(o, key));
}

static int told(po_status s, const po_err *err)
{
    return s == PO_OK        ? EXIT_CLEAR
           : s == PO_E_NOMEM ? cli_fail(EXIT_OWN, "memory ran out")
                             : cli_fail(EXIT_USAGE, "%s", err->msg);
}

int stick_files_read(const char *mount, uint64_t most_bytes, po_arena *arena, stick_files *ret)
{
    po_err err;
    return told(work_stick_read(mount, most_bytes, arena, ret, &err), &err);
}

int stick_may_clear(const char *mount, const char *known)
{
    po_err err;
    return told(work_stick_may_clear(mount, known, &err), &err);
}

int stick_judge(desk *d, const po_machine *machine, const json_t *stick, const stick_files *files, json_t **ret)
{
    work_context w = desk_work(d);
    po_err err;
    po_status s = work_stick_judge(&w, machine, stick, files, ret, &err);
    return s == PO_OK ? EXIT_CLEAR : w.asked ? desk_refused(d, w.asked, &err) : cli_fail_err(&err);
}

const char *stick_count_words(const desk *d, const json_t *counts)
{
    static const char *const words[STICK_STATES] = {
        "proved", "with an old proof", "changed since", "not proved", "parts", "no job", "too large", "unreadable"};
    const char *text = "";
    for (int s = 0; s < STICK_STATES && text; s++) {
        json_int_t n = json_integer_value(json_object_get(counts, work_stick_states[s]));
        text = n ? po_arena_printf(d->arena, "%s%s%s %lld", text, *text ? ", " : "", words[s], (long long)n) : text;
    }
    return text && *text ? text : "no file";
}

void stick_table(const desk *d, json_t *rows, const char *none)
{
    static const char *const words[STICK_STATES] = {
        "proved",         "proof is old", "changed since",          "not proved",
        "a part, no job", "no job",       "too large to look into", "can't be read"};
    static const desk_column columns[] = {
        {"File", "path", DESK_TEXT, 40, false},      {"What", "what", DESK_TEXT, 0, false},
        {"Verdict", "verdict", DESK_TEXT, 0, false}, {"Proved", "proved_ms", DESK_TIME, 0, false},
        {"Run", "run", DESK_COUNT, 0, true},         {"Size", "size", DESK_TEXT, 0, true},
        {"Mind", "mind", DESK_TEXT, 90, false},
    };
    for (size_t i = 0; i < json_array_size(rows); i++) {
        json_t *row = json_array_get(rows, i);
        for (int s = 0; s < STICK_STATES; s++) {
            if (!strcmp(json_text(row, "state"), work_stick_states[s])) {
                json_object_set_new(row, "what", json_string(words[s]));
            }
        }
        uint64_t bytes = (uint64_t)json_integer_value(json_object_get(row, "bytes"));
        const char *size = bytes < 100000
                               ? po_arena_printf(d->arena, "%llu kB", (unsigned long long)((bytes + 999) / 1000))
                               : po_arena_printf(d->arena, "%llu.%llu MB", (unsigned long long)(bytes / 1000000),
                                                 (unsigned long long)(bytes / 100000 % 10));
        const char *other = desk_words(d, json_object_get(row, "proved_on"), DESK_TEXT),
                   *name = json_text(row, "name_says");
        const char *why = json_text(row, "why"), *mind = name ? name : why ? why : "";
        if (!name && *other && work_stick_is_job(row) && !json_is_string(json_object_get(row, "verdict"))) {
            mind = po_arena_printf(d->arena, "proved for %s", other);
        }
        json_object_set_new(row, "size", json_string(size ? size : ""));
        json_object_set_new(row, "mind", json_string(mind ? mind : ""));
    }
    desk_table(d, rows, columns, sizeof columns / sizeof columns[0], none);
}
