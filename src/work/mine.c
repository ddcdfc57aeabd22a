/* What concerns one member. SPDX-License-Identifier: Apache-2.0
 *
 * Ends and cooling come from where the desk's day has them too (due.c), so that a member at home and the desk read the same time. Keys are
 * taken over by name, never a whole row: what the book adds to a row one day is not told here by accident. */
#include "work/mine.h"

#include <string.h>

static void take(json_t *to, const json_t *from, const char *const *keys, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        const json_t *v = json_object_get(from, keys[i]);
        if (v) {
            json_object_set(to, keys[i], (json_t *)(uintptr_t)v);
        }
    }
}
#define TAKE(to, from, ...)                                                                                            \
    take(to, from, (const char *const[]){__VA_ARGS__}, sizeof(const char *[]){__VA_ARGS__} / sizeof(const char *))

static const json_t *row_of(const json_t *list, const char *key, int64_t value)
{
    size_t i;
    const json_t *row;
    json_array_foreach(list, i, row)
    {
        if (work_int(row, key, -1) == value) {
            return row;
        }
    }
    return NULL;
}

/* The first moment from ms on when somebody hands it over. */
static void put_collect(const work_context *w, json_t *o, int64_t from_ms)
{
    int64_t at = from_ms > w->now_ms ? from_ms : w->now_ms, open = 0;
    if (from_ms > 0 && work_next_staffed(w, at, &open)) {
        json_object_set_new(o, "collect_ms", json_integer(open));
    }
}

/* A run on a machine or its bed, as the desk's day has it. */
static void put_due(const work_context *w, json_t *o, const json_t *due)
{
    int64_t end = work_int(due, "end_ms", 0);
    if (!strcmp(work_text(due, "state"), "out") && work_has(due, "started_ms") && end > 0) {
        int64_t high = work_int(due, "end_high_ms", end);
        json_object_set_new(o, "end_ms", json_integer(end));
        json_object_set_new(o, "end_low_ms", json_integer(work_int(due, "end_low_ms", end)));
        json_object_set_new(o, "end_high_ms", json_integer(high));
        json_t *ended = json_copy((json_t *)(uintptr_t)due);
        json_object_set_new(ended, "ended_ms", json_integer(high > w->now_ms ? high : w->now_ms));
        int64_t cool = work_cool_at(w, ended); /* 0: nobody knows what it printed with */
        put_collect(w, o, cool > high ? cool : high);
        json_decref(ended);
    } else if (strcmp(work_text(due, "state"), "out") != 0) {
        int64_t cool = work_cool_at(w, due);
        if (cool > 0) {
            json_object_set_new(o, "cool_ms", json_integer(cool));
        }
        put_collect(w, o, cool > 0 ? cool : work_int(due, "ended_ms", 0));
    }
}

static const char *where_is(const json_t *run)
{
    const char *state = work_text(run, "state"), *off = work_text(run, "off_to");
    return !strcmp(state, "reserved") || !strcmp(state, "dropped") ? state
           : !strcmp(state, "out")  ? (work_has(run, "started_ms") ? "prints" : "handed-out")
           : !strcmp(off, "member") ? "collected"
           : *off                   ? off
                                    : "on-bed";
}

static po_status one_run(work_context *w, const json_t *run, const json_t *today, json_t **ret, po_err *err)
{
    json_t *o = json_object(), *whole = NULL;
    const char *where = where_is(run);
    po_status s = PO_OK;
    TAKE(o, run, "run", "file", "machine", "recipe", "state", "outcome", "cause", "symptom", "counts", "rerun_first",
         "first_layer", "reserved_um", "reserved_seconds", "used_um", "charged_um", "waived_um", "beyond",
         "beyond_minor", "currency", "fund", "course", "purpose", "reserved_ms", "promised_ms", "out_ms", "started_ms",
         "ended_ms", "off_ms", "back_ms");
    if (!strcmp(where, "shelf")) {
        s = work_ask(w, "run", json_pack("{s:O}", "run", json_object_get(run, "run")), &whole, err);
        const json_t *part = json_object_get(whole, "part");
        const char *state = work_text(part, "state");
        where = *state ? state : where;
        TAKE(o, part, "place", "kept_until_ms", "gone_ms");
        if (s == PO_OK && !strcmp(where, "shelf")) {
            put_collect(w, o, w->now_ms);
        } else {
            json_object_del(o, "place");
        }
    }
    const json_t *due = row_of(json_object_get(today, "runs"), "run", work_int(run, "run", 0));
    if (s == PO_OK && due) {
        put_due(w, o, due);
    }
    json_object_set_new(o, "where", json_string(where));
    json_decref(whole);
    if (s != PO_OK) {
        json_decref(o);
        return s;
    }
    *ret = o;
    return PO_OK;
}

/* A ticket of theirs that waits or is called; how many are before it. */
static json_t *ticket_of(const json_t *tickets, const char *member)
{
    size_t i;
    const json_t *row;
    json_array_foreach(json_object_get(tickets, "tickets"), i, row)
    {
        if (!strcmp(work_text(row, "member"), member)) {
            json_t *o = json_object();
            TAKE(o, row, "ticket", "state", "machine", "offered", "until_ms", "lapsed", "taken_ms");
            json_object_set_new(o, "before", json_integer((json_int_t)i));
            return o;
        }
    }
    return json_null();
}

po_status work_mine(work_context *w, const char *member, json_t **ret_mine, po_err *err)
{
    json_t *who = NULL, *runs = NULL, *today = NULL, *tickets = NULL, *list = json_array(), *permits = json_array();
    int64_t limit = (int64_t)(w->shop->rules.allowance_m_per_run * 1e6 + 0.5);
    po_status s = work_ask(w, "member", json_pack("{s:s, s:I}", "member", member, "run_limit_um", (json_int_t)limit),
                           &who, err);
    s = s == PO_OK ? work_ask(w, "runs", json_pack("{s:s, s:i}", "member", member, "limit", WORK_MINE_RUNS), &runs, err)
                   : s;
    s = s == PO_OK ? work_ask(w, "tickets", NULL, &tickets, err) : s;
    s = s == PO_OK ? work_today(w, &today, err) : s;
    size_t i;
    const json_t *row;
    json_array_foreach(json_object_get(runs, "runs"), i, row)
    {
        json_t *one = NULL;
        s = s == PO_OK ? one_run(w, row, today, &one, err) : s;
        if (one) {
            json_array_append_new(list, one);
        }
    }
    json_array_foreach(json_object_get(who, "permits"), i, row)
    {
        json_t *one = json_object();
        TAKE(one, row, "permission", "until_ms");
        json_array_append_new(permits, one);
    }
    if (s == PO_OK) {
        json_t *suspended = json_null();
        if (work_has(who, "suspended")) {
            suspended = json_pack("{s:O, s:O}", "reason", json_object_get(who, "suspended"), "until_ms",
                                  json_object_get(who, "suspended_until_ms"));
        }
        *ret_mine = json_pack("{s:s, s:s, s:I, s:O?, s:O, s:o, s:o, s:o, s:O, s:o}", "format", "proveout/mine/1",
                              "member", member, "at_ms", (json_int_t)w->now_ms, "name", json_object_get(who, "name"),
                              "balance", json_object_get(who, "balance"), "suspended", suspended, "permits", permits,
                              "ticket", ticket_of(tickets, member), "more", json_object_get(runs, "more"), "runs",
                              list);
        permits = list = NULL;
        s = *ret_mine ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    json_decref(list);
    json_decref(permits);
    json_decref(tickets);
    json_decref(today);
    json_decref(runs);
    json_decref(who);
    return s;
}
