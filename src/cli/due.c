/* The day at the desk: its hours, what the book says of it, when a machine is free. SPDX-License-Identifier: Apache-2.0
 *
 * The book says what is the case, the shop file what follows: how long a watch is, how cool a bed has to be, when somebody is
 * there. Ends are expected ones: the proofs', corrected by what runs really took (docs/learned.md). */
#include "due.h"

#include <string.h>

#include "book.h"

int64_t due_int(const json_t *object, const char *key, int64_t missing)
{
    const json_t *v = json_object_get(object, key);
    return json_is_integer(v) ? json_integer_value(v) : missing;
}

const char *due_text(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    return text ? text : "";
}

bool due_has(const json_t *object, const char *key)
{
    const json_t *v = json_object_get(object, key);
    return v && !json_is_null(v);
}

bool due_staffed(const desk *d, int64_t ms)
{
    po_wall_time w;
    return desk_wall(d->shop, ms, &w, NULL) && po_shop_staffed(d->shop, w);
}

bool due_next_staffed(const desk *d, int64_t ms, int64_t *ret_ms)
{
    po_wall_time w, next;
    if (!desk_wall(d->shop, ms, &w, NULL) || !po_shop_next_staffed(d->shop, w, &next)) {
        return false;
    }
    bool same = next.minute == w.minute && next.date.day == w.date.day && next.date.month == w.date.month &&
                next.date.year == w.date.year;
    *ret_ms = same ? ms : desk_ms(d->shop, next);
    return *ret_ms >= 0;
}

size_t due_hours(const desk *d, int64_t ms, due_span spans[DUE_SPANS_MOST])
{
    po_wall_time w;
    size_t n = 0;
    if (!desk_wall(d->shop, ms, &w, NULL)) {
        return 0;
    }
    const po_day_hours *day = &d->shop->hours[po_weekday(w.date)];
    for (size_t i = 0; i < day->n_spans && n < DUE_SPANS_MOST; i++) {
        po_wall_time from = {w.date, day->spans[i].from};
        int64_t begin = desk_ms(d->shop, from);
        int64_t end = desk_ms(d->shop, po_wall_add((po_wall_time){w.date, 0}, day->spans[i].to));
        if (begin >= 0 && end > begin && po_shop_staffed(d->shop, from)) {
            int64_t watch = (int64_t)(d->shop->rules.watch_minutes * 60000 + 0.5);
            spans[n++] = (due_span){begin, end, end - watch};
        }
    }
    return n;
}

/* An end of the proof's, as runs of that machine and recipe have really gone, with the range in which one run to come ends;
 * where the book knows of none, with the model's own range. */
static int correct(cli_book *book, json_t *run)
{
    cli_run_end end;
    int64_t proof_end = due_int(run, "end_ms", 0);
    int status = cli_book_end(book, due_text(run, "machine"), due_text(run, "recipe"),
                              due_int(run, "reserved_seconds", 0), proof_end, &end);
    json_object_set_new(run, "proof_end_ms", json_integer(proof_end));
    json_object_set_new(run, "end_from", json_string(end.from));
    json_object_set_new(run, "end_ms", json_integer(end.ms));
    json_object_set_new(run, "end_low_ms", json_integer(end.low_ms));
    json_object_set_new(run, "end_high_ms", json_integer(end.high_ms));
    return status;
}

int due_ask(desk *d, json_t **ret_today)
{
    json_t *p = json_pack("{s:I}", "lapse_before", (json_int_t)(d->now_ms + INT64_C(86400000) * DUE_LAPSE_DAYS));
    int64_t low_mg = (int64_t)(d->shop->rules.spool_low_g * 1000 + 0.5);
    if (p && low_mg > 0) {
        json_object_set_new(p, "below_mg", json_integer(low_mg));
    }
    json_t *today = NULL;
    int status = desk_ask(d, "today", p, &today);
    cli_book book = {0};
    cli_book_of(&book, d);
    json_t *runs = json_object_get(today, "runs");
    for (size_t i = 0; status == EXIT_CLEAR && i < json_array_size(runs); i++) {
        json_t *run = json_array_get(runs, i);
        if (due_has(run, "end_ms")) {
            status = correct(&book, run);
        }
    }
    cli_book_close(&book);
    if (status != EXIT_CLEAR) {
        json_decref(today);
        return status;
    }
    *ret_today = today;
    return EXIT_CLEAR;
}

/* ---- when a machine is free ---- */

static bool listed(const json_t *list, const char *text)
{
    size_t i;
    const json_t *v;
    json_array_foreach(list, i, v)
    {
        if (json_is_string(v) && !strcmp(json_string_value(v), text)) {
            return true;
        }
    }
    return false;
}

/* INT64_MAX: nobody knows. A run that ends with nobody there holds its machine until somebody comes. */
static int64_t free_at(const desk *d, const json_t *today, const char *machine)
{
    size_t i;
    const json_t *o;
    json_array_foreach(json_object_get(today, "machines"), i, o)
    {
        if (!strcmp(due_text(o, "machine"), machine) && strcmp(due_text(o, "state"), "in-use") != 0) {
            return INT64_MAX;
        }
    }
    json_array_foreach(json_object_get(today, "runs"), i, o)
    {
        if (!strcmp(due_text(o, "machine"), machine)) {
            int64_t end = strcmp(due_text(o, "state"), "out") != 0 ? d->now_ms : due_int(o, "end_ms", INT64_MAX);
            end = end < d->now_ms ? d->now_ms : end;
            return end == INT64_MAX || !due_next_staffed(d, end, &end) ? INT64_MAX : end;
        }
    }
    return d->now_ms;
}

typedef struct pool {
    size_t n;
    int64_t at[DUE_MACHINES_MOST]; /* INT64_MAX: nobody knows */
    const po_machine *machine[DUE_MACHINES_MOST];
} pool;

/* The one that is free first of those that may be taken; pool->n: none. */
static size_t first_free(const pool *p, const char *machine, const json_t *permissions)
{
    size_t best = p->n;
    for (size_t i = 0; i < p->n; i++) {
        const po_machine *m = p->machine[i];
        bool may = *machine ? !strcmp(machine, m->name)
                            : !m->permission || !permissions || listed(permissions, m->permission);
        if (may && p->at[i] != INT64_MAX && (best == p->n || p->at[i] < p->at[best])) {
            best = i;
        }
    }
    return best;
}

/* A machine is taken from when it is free on: until its run ends and somebody is there, where the ticket says how long. */
static void take(const desk *d, pool *p, size_t i, int64_t seconds)
{
    int64_t end = seconds > 0 ? p->at[i] + seconds * 1000 : INT64_MAX;
    p->at[i] = end < INT64_MAX && due_next_staffed(d, end, &end) ? end : INT64_MAX;
}

bool due_next_free(const desk *d, const json_t *today, const char *member, const char *machine,
                   const json_t *permissions, int64_t *ret_ms, const char **ret_machine)
{
    pool p = {0};
    size_t i, k;
    const json_t *t;
    for (size_t m = 0; m < d->shop->n_machines && p.n < DUE_MACHINES_MOST; m++) {
        p.machine[p.n] = &d->shop->machines[m];
        p.at[p.n++] = free_at(d, today, d->shop->machines[m].name);
    }
    json_array_foreach(json_object_get(today, "tickets"), k, t)
    {
        bool called = !strcmp(due_text(t, "state"), "called"), lapsed = json_is_true(json_object_get(t, "lapsed"));
        if (!member || !strcmp(due_text(t, "member"), member)) {
            break; /* those behind wait for this one */
        }
        i = lapsed ? p.n : first_free(&p, called ? due_text(t, "offered") : due_text(t, "machine"), NULL);
        if (i < p.n) {
            take(d, &p, i, due_int(t, "seconds", 0));
        }
    }
    i = first_free(&p, machine ? machine : "", permissions);
    if (i == p.n) {
        return false;
    }
    *ret_ms = p.at[i];
    *ret_machine = p.machine[i]->name;
    return true;
}
