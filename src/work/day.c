/* The desk's day in one answer. SPDX-License-Identifier: Apache-2.0
 *
 * Nothing is decided here: the due list, ends and hours come from where the command line has them too (due.c). A strip holds what is
 * known of a machine: what ran since yesterday, what runs until its expected end, how long it then stands full because nobody is there,
 * what was promised, what keeps it out of use. Between them it is free. */
#include "work/care.h"
#include "work/training.h"
#include "work/day.h"

#include <stdlib.h>
#include <string.h>

#define DAY_MS INT64_C(86400000)
enum { BEFORE_MOST = 300 /* runs since yesterday */ };

static int64_t day_begin(const work_context *w, po_date date)
{
    int64_t ms = work_moment(w, (po_wall_time){date, 0});
    return ms >= 0 ? ms : work_moment(w, (po_wall_time){date, 60}); /* where the clocks go forward at midnight */
}

static json_t *days_of(const work_context *w)
{
    json_t *days = json_array();
    po_wall_time wall;
    if (!work_wall(w, w->now_ms, &wall, NULL)) {
        return days;
    }
    wall.minute = 0;
    for (int i = 0; i < WORK_DAYS; i++) {
        po_wall_time next = po_wall_add(wall, 1440);
        int64_t from = day_begin(w, wall.date), until = day_begin(w, next.date);
        work_span spans[WORK_SPANS_MOST];
        size_t n = work_hours(w, from + DAY_MS / 2, spans);
        json_t *hours = json_array();
        for (size_t k = 0; k < n; k++) {
            json_array_append_new(hours, json_pack("{s:I, s:I, s:o}", "from_ms", (json_int_t)spans[k].from_ms,
                                                   "until_ms", (json_int_t)spans[k].until_ms, "last_safe_start_ms",
                                                   spans[k].last_start_ms >= spans[k].from_ms
                                                       ? json_integer(spans[k].last_start_ms)
                                                       : json_null()));
        }
        json_array_append_new(days, json_pack("{s:I, s:I, s:o}", "from_ms", (json_int_t)from, "until_ms",
                                              (json_int_t)until, "hours", hours));
        wall = next;
    }
    return days;
}

/* A stretch of a strip. until_ms 0: nobody knows its end. */
static json_t *stretch(json_t *spans, const char *kind, int64_t from_ms, int64_t until_ms, const json_t *run)
{
    json_t *o = json_pack("{s:s, s:I, s:o}", "kind", kind, "from_ms", (json_int_t)from_ms, "until_ms",
                          until_ms > 0 ? json_integer(until_ms) : json_null());
    static const char *const keys[] = {"run", "member", "outcome", "recipe", "reason"};
    for (size_t i = 0; o && i < sizeof keys / sizeof keys[0]; i++) {
        if (run && work_has(run, keys[i])) {
            json_object_set(o, keys[i], json_object_get(run, keys[i]));
        }
    }
    json_array_append_new(spans, o);
    return o;
}

static void put_out(const work_context *w, json_t *spans, json_t *hands, const json_t *r)
{
    int64_t end = work_int(r, "end_ms", 0), now = w->now_ms, out = work_int(r, "out_ms", 0), open = 0;
    json_t *o = stretch(spans, work_has(r, "started_ms") ? "run" : "out", out, end > now ? end : 0, r);
    if (end > 0) {
        json_object_set_new(o, "low_ms", json_integer(work_int(r, "end_low_ms", end)));
        json_object_set_new(o, "high_ms", json_integer(work_int(r, "end_high_ms", end)));
    }
    if (work_has(r, "started_ms") && !work_has(r, "watched_ms")) {
        stretch(spans, "watch", work_int(r, "started_ms", 0), work_watch_until(w, r), r);
    }
    if (end > now && !work_staffed(w, end)) {
        json_object_set_new(o, "alone", json_true());
        if (work_next_staffed(w, end, &open)) {
            json_object_set_new(stretch(spans, "full", end, open, r), "expected", json_true());
        }
    }
    const json_t *list = json_object_get(r, "hands");
    for (size_t i = 0; work_has(r, "started_ms") && i < json_array_size(list); i++) {
        int64_t at = work_int(r, "started_ms", 0) +
                     1000 * (json_integer_value(json_array_get(list, i)) - work_int(r, "first_bead_seconds", 0));
        if (at > now) {
            json_array_append_new(hands, json_pack("{s:I, s:O, s:b}", "at_ms", (json_int_t)at, "run",
                                                   json_object_get(r, "run"), "staffed", work_staffed(w, at)));
        }
    }
}

static bool is_of(const json_t *row, const char *machine)
{
    return !strcmp(work_text(row, "machine"), machine);
}

static int begins_earlier(const void *p, const void *q)
{
    int64_t x = work_int(*(const json_t *const *)p, "from_ms", 0),
            y = work_int(*(const json_t *const *)q, "from_ms", 0);
    bool watch = !strcmp(work_text(*(const json_t *const *)p, "kind"), "watch"); /* lies on its run */
    return x != y ? (x < y ? -1 : 1) : watch ? 1 : -!strcmp(work_text(*(const json_t *const *)q, "kind"), "watch");
}

/* As time goes. */
static json_t *sorted(const work_context *w, json_t *spans)
{
    size_t n = json_array_size(spans);
    const json_t **rows = po_arena_zeros(w->arena, n + 1, sizeof *rows);
    json_t *list = json_array();
    for (size_t i = 0; rows && i < n; i++) {
        rows[i] = json_array_get(spans, i);
    }
    if (rows) {
        qsort(rows, n, sizeof *rows, begins_earlier);
    }
    for (size_t i = 0; rows && i < n; i++) {
        json_array_append(list, (json_t *)(uintptr_t)rows[i]);
    }
    json_decref(spans);
    return list;
}

static json_t *strip_of(const work_context *w, const char *machine, const json_t *today, const json_t *before)
{
    json_t *spans = json_array(), *hands = json_array();
    const char *state = "free";
    size_t i;
    const json_t *r;
    json_array_foreach(before, i, r)
    {
        int64_t ended = work_int(r, "ended_ms", work_int(r, "back_ms", 0)), off = work_int(r, "off_ms", 0);
        int64_t back = work_int(r, "back_ms", 0), full = off > back ? off : back;
        if (is_of(r, machine) && !strcmp(work_text(r, "state"), "back") && ended > 0) {
            stretch(spans, "done", work_int(r, "out_ms", 0), ended, r);
            if (full > ended) {
                stretch(spans, "full", ended, full, r);
            }
        }
    }
    json_array_foreach(json_object_get(today, "runs"), i, r)
    {
        if (is_of(r, machine)) {
            bool out = !strcmp(work_text(r, "state"), "out");
            state = out ? "out" : "waiting";
            if (out) {
                put_out(w, spans, hands, r);
            } else {
                stretch(spans, !strcmp(work_text(r, "state"), "failed") ? "failed" : "done", work_int(r, "out_ms", 0),
                        work_int(r, "ended_ms", 0), r);
                stretch(spans, "full", work_int(r, "ended_ms", 0), 0, r);
            }
        }
    }
    json_array_foreach(json_object_get(today, "reservations"), i, r)
    {
        if (is_of(r, machine) && work_int(r, "promised_ms", 0) > 0) {
            int64_t from = work_int(r, "promised_ms", 0), seconds = work_int(r, "seconds", 0);
            stretch(spans, "promised", from, seconds > 0 ? from + seconds * 1000 : 0, r);
        }
    }
    json_array_foreach(json_object_get(today, "machines"), i, r)
    {
        if (is_of(r, machine) && strcmp(work_text(r, "state"), "in-use") != 0) {
            bool rests = !strcmp(work_text(r, "state"), "resting");
            state = rests ? "resting" : "tagged-out";
            stretch(spans, rests ? "resting" : "tagged", work_int(r, "since_ms", w->now_ms), 0, r);
        }
    }
    json_t *o = json_pack("{s:s, s:s, s:o, s:o, s:n}", "machine", machine, "state", state, "spans", sorted(w, spans),
                          "hands", hands, "free_ms");
    int64_t free_ms = 0;
    const char *which = NULL;
    if (work_next_free(w, today, NULL, machine, NULL, &free_ms, &which)) {
        json_object_set_new(o, "free_ms", json_integer(free_ms));
    }
    return o;
}

po_status work_day(work_context *w, json_t **ret_day, po_err *err)
{
    json_t *today = NULL, *before = NULL, *shelf = NULL, *due = NULL;
    json_t *days = days_of(w);
    int64_t since = work_int(json_array_get(days, 0), "from_ms", w->now_ms) - DAY_MS;
    po_status s = work_today(w, &today, err);
    s = s == PO_OK ? work_care_today(w, today, err) : s;
    s = s == PO_OK && w->studies ? work_training_today(w, w->studies, today, err) : s;
    s = s == PO_OK ? work_ask(w, "runs",
                              json_pack("{s:I, s:s, s:i}", "from", (json_int_t)(since > 0 ? since : 0), "state", "back",
                                        "limit", BEFORE_MOST),
                              &before, err)
                   : s;
    s = s == PO_OK ? work_ask(w, "shelf", json_pack("{s:i}", "limit", 1), &shelf, err) : s;
    if (s == PO_OK && !(due = work_due_list(w, today))) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    if (s == PO_OK) {
        int64_t place = work_int(shelf, "next_place", 0), free_ms = 0;
        const char *free = NULL;
        work_day_acts(w, due, place <= w->shop->rules.shelf_places ? place : 0);
        json_t *strips = json_array();
        for (size_t i = 0; i < w->shop->n_machines; i++) {
            json_array_append_new(strips,
                                  strip_of(w, w->shop->machines[i].name, today, json_object_get(before, "runs")));
        }
        json_t *next = work_next_free(w, today, NULL, NULL, NULL, &free_ms, &free)
                           ? json_pack("{s:s, s:I}", "machine", free, "at_ms", (json_int_t)free_ms)
                           : json_null();
        const json_t *note = json_object_get(today, "note");
        *ret_day = json_pack("{s:s, s:I, s:O, s:O, s:O, s:o, s:o, s:i, s:o, s:b}", "format", "proveout/day/1", "at_ms",
                             (json_int_t)w->now_ms, "note", note, "messages_waiting",
                             json_object_get(today, "messages_waiting"), "due", due, "days", days, "strips", strips,
                             "waiting", (int)json_array_size(json_object_get(today, "tickets")), "next_free", next,
                             "more", json_is_true(json_object_get(today, "more")));
        days = NULL;
        s = *ret_day ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    json_decref(days);
    json_decref(due);
    json_decref(shelf);
    json_decref(before);
    json_decref(today);
    return s;
}
