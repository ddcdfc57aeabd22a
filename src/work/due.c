/* The day at the desk: its hours, what the book says of it, when a machine is free. SPDX-License-Identifier: Apache-2.0
 *
 * The book says what is the case, the shop file what follows: how long a watch is, how cool a bed has to be, when somebody is
 * there. Ends are expected ones: the proofs', corrected by what runs really took (docs/learned.md). */
#include "work/due.h"

#include <math.h>
#include <string.h>

#include "proveout/proof.h"
#include "shop/values.h"

bool work_staffed(const work_context *w, int64_t ms)
{
    po_wall_time wall;
    return work_wall(w, ms, &wall, NULL) && po_shop_staffed(w->shop, wall);
}

bool work_next_staffed(const work_context *w, int64_t ms, int64_t *ret_ms)
{
    po_wall_time wall, next;
    if (!work_wall(w, ms, &wall, NULL) || !po_shop_next_staffed(w->shop, wall, &next)) {
        return false;
    }
    bool same = next.minute == wall.minute && next.date.day == wall.date.day && next.date.month == wall.date.month &&
                next.date.year == wall.date.year;
    *ret_ms = same ? ms : work_moment(w, next);
    return *ret_ms >= 0;
}

size_t work_hours(const work_context *w, int64_t ms, work_span spans[WORK_SPANS_MOST])
{
    po_wall_time wall;
    size_t n = 0;
    if (!work_wall(w, ms, &wall, NULL)) {
        return 0;
    }
    const po_wall_time midnight = po_wall_add((po_wall_time){wall.date, 0}, 1440);
    const int64_t watch = (int64_t)(w->shop->rules.watch_minutes * 60000 + 0.5);
    po_wall_time from = {wall.date, 0};
    while (n < WORK_SPANS_MOST && po_shop_next_staffed(w->shop, from, &from) &&
           po_date_order(from.date, wall.date) == 0) {
        po_wall_time to = po_shop_staffed_until(w->shop, from);
        to = po_date_order(to.date, wall.date) > 0 ? midnight : to;
        int64_t begin = work_moment(w, from), end = work_moment(w, to);
        if (begin >= 0 && end > begin) {
            spans[n++] = (work_span){begin, end, end - watch};
        }
        from = to;
        if (po_date_order(to.date, wall.date) > 0) {
            break;
        }
    }
    return n;
}

/* An end of the proof's, as runs of that machine and recipe have really gone, with the range in which one run to come ends;
 * where the book knows of none, with the model's own range. */
static po_status correct(work_book *book, json_t *run, po_err *err)
{
    work_run_end end;
    int64_t proof_end = work_int(run, "end_ms", 0);
    po_status s = work_book_end(book, work_text(run, "machine"), work_text(run, "recipe"),
                                work_int(run, "reserved_seconds", 0), proof_end, &end, err);
    json_object_set_new(run, "proof_end_ms", json_integer(proof_end));
    json_object_set_new(run, "end_from", json_string(end.from));
    json_object_set_new(run, "end_ms", json_integer(end.ms));
    json_object_set_new(run, "end_low_ms", json_integer(end.low_ms));
    json_object_set_new(run, "end_high_ms", json_integer(end.high_ms));
    return s;
}

int64_t work_watch_until(const work_context *w, const json_t *run)
{
    const po_rules *rules = &w->shop->rules;
    int64_t ms = (int64_t)(rules->watch_minutes * 60000 + 0.5);
    int64_t layer = work_int(run, "first_layer_seconds", 0) - work_int(run, "first_bead_seconds", 0);
    if (rules->watch_first_layer && layer * 1000 > ms) {
        ms = layer * 1000;
    }
    return work_int(run, "started_ms", 0) + ms;
}

int64_t work_cool_at(const work_context *w, const json_t *run)
{
    const po_machine *machine = po_shop_machine(w->shop, work_text(run, "machine"));
    const json_t *materials = json_object_get(run, "materials");
    double hottest = NAN;
    for (size_t i = 0; i < json_array_size(materials); i++) {
        const char *name = json_string_value(json_array_get(materials, i));
        const po_material *m = name ? po_shop_material(w->shop, name) : NULL;
        if (!m) {
            return 0;
        }
        hottest = fmax(hottest, m->bed_c.high); /* fmax passes NAN over */
    }
    if (!machine || isnan(hottest) || !work_has(run, "ended_ms")) {
        return 0;
    }
    if (machine->bed_hottest_c > 0) {
        hottest = fmin(hottest, machine->bed_hottest_c);
    }
    return work_int(run, "ended_ms", 0) + llround(po_proof_cool_seconds(machine, &w->shop->rules, hottest) * 1000);
}

po_status work_today(work_context *w, json_t **ret_today, po_err *err)
{
    json_t *p = json_pack("{s:I}", "lapse_before", (json_int_t)(w->now_ms + INT64_C(86400000) * WORK_LAPSE_DAYS));
    int64_t low_mg = (int64_t)(w->shop->rules.spool_low_g * 1000 + 0.5);
    if (p && low_mg > 0) {
        json_object_set_new(p, "below_mg", json_integer(low_mg));
    }
    json_t *today = NULL;
    po_status s = work_ask(w, "today", p, &today, err);
    work_book book = {.work = w};
    json_t *runs = json_object_get(today, "runs");
    for (size_t i = 0; s == PO_OK && i < json_array_size(runs); i++) {
        json_t *run = json_array_get(runs, i);
        if (work_has(run, "end_ms")) {
            s = correct(&book, run, err);
        }
    }
    if (s != PO_OK) {
        json_decref(today);
        return s;
    }
    *ret_today = today;
    return PO_OK;
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
static int64_t free_at(const work_context *w, const json_t *today, const char *machine)
{
    size_t i;
    const json_t *o;
    json_array_foreach(json_object_get(today, "machines"), i, o)
    {
        if (!strcmp(work_text(o, "machine"), machine) && strcmp(work_text(o, "state"), "in-use") != 0) {
            return INT64_MAX;
        }
    }
    json_array_foreach(json_object_get(today, "runs"), i, o)
    {
        if (!strcmp(work_text(o, "machine"), machine)) {
            int64_t end = strcmp(work_text(o, "state"), "out") != 0 ? w->now_ms : work_int(o, "end_ms", INT64_MAX);
            end = end < w->now_ms ? w->now_ms : end;
            return end == INT64_MAX || !work_next_staffed(w, end, &end) ? INT64_MAX : end;
        }
    }
    return w->now_ms;
}

typedef struct pool {
    size_t n;
    int64_t at[WORK_MACHINES_MOST]; /* INT64_MAX: nobody knows */
    const po_machine *machine[WORK_MACHINES_MOST];
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
static void take(const work_context *w, pool *p, size_t i, int64_t seconds)
{
    int64_t end = seconds > 0 ? p->at[i] + seconds * 1000 : INT64_MAX;
    p->at[i] = end < INT64_MAX && work_next_staffed(w, end, &end) ? end : INT64_MAX;
}

bool work_next_free(const work_context *w, const json_t *today, const char *member, const char *machine,
                    const json_t *permissions, int64_t *ret_ms, const char **ret_machine)
{
    pool p = {0};
    size_t i, k;
    const json_t *t;
    for (size_t m = 0; m < w->shop->n_machines && p.n < WORK_MACHINES_MOST; m++) {
        p.machine[p.n] = &w->shop->machines[m];
        p.at[p.n++] = free_at(w, today, w->shop->machines[m].name);
    }
    json_array_foreach(json_object_get(today, "tickets"), k, t)
    {
        bool called = !strcmp(work_text(t, "state"), "called"), lapsed = json_is_true(json_object_get(t, "lapsed"));
        if (!member || !strcmp(work_text(t, "member"), member)) {
            break; /* those behind wait for this one */
        }
        i = lapsed ? p.n : first_free(&p, called ? work_text(t, "offered") : work_text(t, "machine"), NULL);
        if (i < p.n) {
            take(w, &p, i, work_int(t, "seconds", 0));
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
