/* The day at the desk: hours, what is due now and next, when a machine is free. SPDX-License-Identifier: Apache-2.0
 *
 * The book says what is the case, the shop file what follows: how long a watch is, how cool a bed has to be, when somebody is
 * there. Ends are expected ones: the proofs', corrected by what runs really took (docs/learned.md). */
#include "due.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "book.h"

enum { MACHINES_MOST = 256 };

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

static bool has(const json_t *object, const char *key)
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
    const po_machine *machine = po_shop_machine(book->desk.shop, due_text(run, "machine"));
    const po_recipe *recipe = po_shop_recipe(book->desk.shop, due_text(run, "recipe"));
    int64_t end = due_int(run, "end_ms", 0);
    double ms = (double)due_int(run, "reserved_seconds", 0) * 1000;
    po_range r = {1, 1};
    const char *from = "model";
    int status = machine ? cli_book_seconds(book, machine, recipe, &r, &from) : EXIT_CLEAR;
    json_object_set_new(run, "proof_end_ms", json_integer(end));
    json_object_set_new(run, "end_from", json_string(from));
    /* the range is even on both sides of its centre in the logarithm (docs/learned.md); the model's is its own centre */
    double centre = strcmp(from, "model") != 0 ? sqrt(r.low * r.high) : 1;
    json_object_set_new(run, "end_ms", json_integer(end + llround((centre - 1) * ms)));
    json_object_set_new(run, "end_low_ms", json_integer(end + llround((r.low - 1) * ms)));
    json_object_set_new(run, "end_high_ms", json_integer(end + llround((r.high - 1) * ms)));
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
        if (has(run, "end_ms")) {
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

/* ---- what is due ---- */

typedef struct agenda {
    const desk *d;
    json_t *list;
} agenda;

static void add(agenda *a, int64_t at_ms, bool now, const char *does, const char *format, ...) PO_PRINTF(5, 6);
static void add(agenda *a, int64_t at_ms, bool now, const char *does, const char *format, ...)
{
    char says[400];
    va_list values;
    va_start(values, format);
    vsnprintf(says, sizeof says, format, values);
    va_end(values);
    json_array_append_new(a->list,
                          json_pack("{s:o, s:b, s:s, s:s?}", "at_ms", at_ms > 0 ? json_integer(at_ms) : json_null(),
                                    "now", now, "says", says, "do", does));
}

static const char *verb(agenda *a, const char *format, ...) PO_PRINTF(2, 3);
static const char *verb(agenda *a, const char *format, ...)
{
    char text[200];
    va_list values;
    va_start(values, format);
    vsnprintf(text, sizeof text, format, values);
    va_end(values);
    return po_arena_text(a->d->arena, text);
}

static const char *clock_words(const agenda *a, int64_t ms)
{
    json_t *v = json_integer(ms);
    const char *text = desk_words(a->d, v, DESK_TIME);
    json_decref(v);
    return text;
}

static const char *grams(const agenda *a, int64_t mg)
{
    json_t *v = json_integer(mg);
    const char *text = desk_words(a->d, v, DESK_G);
    json_decref(v);
    return text;
}

/* A watch lasts the shop's minutes from the first bead on, and not less than the first layer takes. */
static int64_t watch_until(const agenda *a, const json_t *run)
{
    const po_rules *rules = &a->d->shop->rules;
    int64_t ms = (int64_t)(rules->watch_minutes * 60000 + 0.5);
    int64_t layer = due_int(run, "first_layer_seconds", 0) - due_int(run, "first_bead_seconds", 0);
    if (rules->watch_first_layer && layer * 1000 > ms) {
        ms = layer * 1000;
    }
    return due_int(run, "started_ms", 0) + ms;
}

static void add_out(agenda *a, const json_t *r)
{
    const char *machine = due_text(r, "machine"), *member = due_text(r, "member");
    long long run = due_int(r, "run", 0);
    int64_t now = a->d->now_ms, end = due_int(r, "end_ms", 0), open = 0;
    if (!has(r, "started_ms")) {
        add(a, due_int(r, "out_ms", 0), true, verb(a, "proveout run start %lld", run),
            "%s: out with member %s as run %lld; the start check is due before the first bead", machine, member, run);
        return;
    }
    if (!has(r, "watched_ms")) {
        int64_t until = watch_until(a, r);
        add(a, until, until <= now, verb(a, "proveout run watched %lld good", run),
            until <= now ? "%s: the watch of run %lld (member %s) is over; how is the first layer?"
                         : "%s: run %lld (member %s) is watched until then",
            machine, run, member);
    }
    const json_t *hands = json_object_get(r, "hands");
    for (size_t i = 0; i < json_array_size(hands); i++) {
        int64_t at = due_int(r, "started_ms", 0) +
                     1000 * (json_integer_value(json_array_get(hands, i)) - due_int(r, "first_bead_seconds", 0));
        if (at > now) {
            add(a, at, false, NULL, "%s: run %lld (member %s) needs hands; nozzle and bed are hot", machine, run,
                member);
        }
    }
    int64_t low = due_int(r, "end_low_ms", end), high = due_int(r, "end_high_ms", end);
    const char *does = verb(a, "proveout run ended %lld", run);
    const char *range = high / 60000 > low / 60000 ? verb(a, " (%s to %s)", clock_words(a, low), clock_words(a, high))
                                                   : "";
    if (end > 0 && high <= now) {
        add(a, high, true, does, "%s: run %lld (member %s) should have ended; look at it", machine, run, member);
    } else if (end > 0 && end <= now) {
        add(a, high, false, does, "%s: run %lld (member %s) should end by then", machine, run, member);
    } else if (end > 0 && due_staffed(a->d, end)) {
        add(a, end, false, does, "%s: run %lld (member %s) should end%s", machine, run, member, range);
    } else if (end > 0) {
        bool known = due_next_staffed(a->d, end, &open);
        add(a, end, false, does, "%s: run %lld (member %s) should end%s with nobody at the desk%s%s", machine, run,
            member, range, known ? ", which opens " : "", known ? clock_words(a, open) : "");
    }
}

static void add_runs(agenda *a, const json_t *today)
{
    size_t i;
    const json_t *r;
    json_array_foreach(json_object_get(today, "runs"), i, r)
    {
        const char *machine = due_text(r, "machine"), *member = due_text(r, "member"), *state = due_text(r, "state");
        long long run = due_int(r, "run", 0);
        if (!strcmp(state, "out")) {
            add_out(a, r);
        } else if (!has(r, "off_ms")) {
            add(a, due_int(r, "ended_ms", 0), true, verb(a, "proveout run off %lld", run),
                "%s: run %lld (member %s) %s; the part may come off when the bed is below %g C", machine, run, member,
                !strcmp(state, "failed") ? "failed" : "has ended", a->d->shop->rules.collect_below_bed_c);
        } else {
            add(a, due_int(r, "off_ms", 0), true, verb(a, "proveout run take-back %lld", run),
                "%s: the part of run %lld (member %s) is off; the machine can be taken back", machine, run, member);
        }
    }
}

static bool is_free(const json_t *today, const char *machine)
{
    size_t i;
    const json_t *m;
    json_array_foreach(json_object_get(today, "machines"), i, m)
    {
        if (!strcmp(due_text(m, "machine"), machine)) {
            return json_is_true(json_object_get(m, "free"));
        }
    }
    return true; /* no act has named it yet */
}

/* A free machine for a ticket, that no ticket was called to and none before it gets. given: by place in the shop file. */
static const char *free_machine(const agenda *a, const json_t *today, const char *wanted, bool given[MACHINES_MOST])
{
    for (size_t i = 0; i < a->d->shop->n_machines && i < MACHINES_MOST; i++) {
        const char *name = a->d->shop->machines[i].name;
        if (!given[i] && (!*wanted || !strcmp(wanted, name)) && is_free(today, name)) {
            given[i] = true;
            return name;
        }
    }
    return NULL;
}

static void add_tickets(agenda *a, const json_t *today)
{
    size_t i;
    const json_t *t;
    bool given[MACHINES_MOST] = {false};
    json_array_foreach(json_object_get(today, "tickets"), i, t)
    {
        if (!strcmp(due_text(t, "state"), "called") && !json_is_true(json_object_get(t, "lapsed"))) {
            free_machine(a, today, due_text(t, "offered"), given);
        }
    }
    json_array_foreach(json_object_get(today, "tickets"), i, t)
    {
        long long ticket = due_int(t, "ticket", 0);
        const char *member = due_text(t, "member"), *offered = due_text(t, "offered");
        bool waits = !strcmp(due_text(t, "state"), "waiting");
        const char *free = waits ? free_machine(a, today, due_text(t, "machine"), given) : NULL;
        if (json_is_true(json_object_get(t, "lapsed"))) {
            add(a, due_int(t, "until_ms", 0), true, verb(a, "proveout ticket pass %lld --no-show", ticket),
                "ticket %lld (member %s) was called and not claimed", ticket, member);
        } else if (!waits) {
            add(a, due_int(t, "until_ms", 0), false, verb(a, "proveout ticket pass %lld --no-show", ticket),
                "ticket %lld (member %s) can be claimed until then%s%s", ticket, member, *offered ? ": " : "", offered);
        } else if (free) {
            add(a, due_int(t, "taken_ms", 0), true, verb(a, "proveout ticket call %lld --machine %s", ticket, free),
                "ticket %lld (member %s) waits, and %s is free", ticket, member, free);
        }
    }
}

static void add_stock(agenda *a, const json_t *today)
{
    size_t i;
    const json_t *o;
    json_array_foreach(json_object_get(today, "drying"), i, o)
    {
        int64_t at = due_int(o, "dry_until_ms", 0);
        add(a, at, at > 0 && at <= a->d->now_ms, verb(a, "proveout spool dried %s", due_text(o, "spool")),
            "spool %s (%s) is dry", due_text(o, "spool"), due_text(o, "material"));
    }
    json_array_foreach(json_object_get(today, "spools"), i, o)
    {
        const char *machine = due_text(o, "machine");
        add(a, 0, false, verb(a, "proveout spool weigh %s GRAMS", due_text(o, "spool")),
            "spool %s (%s%s%s) is running out: %s left by the book", due_text(o, "spool"), due_text(o, "material"),
            *machine ? ", on " : "", machine, grams(a, due_int(o, "left_mg", 0)));
    }
    json_array_foreach(json_object_get(today, "overdue"), i, o)
    {
        char place[40] = "";
        if (has(o, "place")) {
            snprintf(place, sizeof place, " on place %lld", (long long)due_int(o, "place", 0));
        }
        add(a, due_int(o, "kept_until_ms", 0), true,
            verb(a, "proveout shelf recycle %lld", (long long)due_int(o, "run", 0)),
            "the part of run %lld (member %s)%s was kept until then and not collected", (long long)due_int(o, "run", 0),
            due_text(o, "member"), place);
    }
}

/* Those that lapse at one time, at the end of a term say, in one line. The list is in order of time. */
static void add_permits(agenda *a, const json_t *list, bool more)
{
    for (size_t i = 0, n = json_array_size(list); i < n;) {
        const json_t *first = json_array_get(list, i);
        const char *permission = due_text(first, "permission"), *member = due_text(first, "member");
        int64_t until = due_int(first, "until_ms", 0);
        size_t same = 0, k = i;
        bool mixed = false;
        for (; k < n && due_int(json_array_get(list, k), "until_ms", 0) - until < 60000; k++) {
            mixed = mixed || strcmp(due_text(json_array_get(list, k), "permission"), permission) != 0;
            same++;
        }
        if (same == 1) {
            add(a, until, false, verb(a, "proveout permit grant %s %s", member, permission),
                "permission %s of member %s lapses", permission, member);
        } else {
            add(a, until, false,
                verb(a, "proveout permit list%s%s", mixed ? "" : " --permission ", mixed ? "" : permission),
                "permission%s%s of %zu%s members lapse%s", mixed ? "s" : " ", mixed ? "" : permission, same,
                more && k == n ? " or more" : "", mixed ? "" : "s");
        }
        i = k;
    }
}

static void add_promises(agenda *a, const json_t *today)
{
    size_t i;
    const json_t *o;
    json_array_foreach(json_object_get(today, "reservations"), i, o)
    {
        int64_t at = due_int(o, "promised_ms", 0);
        long long run = due_int(o, "run", 0);
        const char *machine = due_text(o, "machine");
        if (at > 0) {
            add(a, at, at <= a->d->now_ms,
                verb(a, "proveout run hand-out %s FILE --run %lld", due_text(o, "member"), run),
                "member %s was promised a start then (run %lld%s%s)", due_text(o, "member"), run,
                *machine ? " on " : "", machine);
        }
    }
    add_permits(a, json_object_get(today, "permits"), json_is_true(json_object_get(today, "more")));
}

/* A gap check holds until something was fitted, or for the shop's days. A machine of which the book knows neither is not
 * reproached with it. */
static void add_machines(agenda *a, const json_t *today)
{
    size_t i;
    const json_t *m;
    int64_t days = a->d->shop->rules.gap_check_days;
    json_array_foreach(json_object_get(today, "machines"), i, m)
    {
        const char *name = due_text(m, "machine");
        int64_t gap = due_int(m, "gap_ms", 0), fitted = due_int(m, "fitted_ms", 0);
        int64_t lapses = days > 0 && gap > 0 ? gap + days * INT64_C(86400000) : 0;
        bool old = lapses > 0 && lapses <= a->d->now_ms;
        if (strcmp(due_text(m, "state"), "in-use") != 0) {
            add(a, 0, false, verb(a, "proveout machine clear %s", name), "%s %s%s%s%s%s", name,
                !strcmp(due_text(m, "state"), "resting") ? "rests for care" : "is tagged out",
                has(m, "since_ms") ? " since " : "",
                has(m, "since_ms") ? clock_words(a, due_int(m, "since_ms", 0)) : "", *due_text(m, "reason") ? ": " : "",
                due_text(m, "reason"));
        } else if (fitted > gap || old) {
            add(a, 0, false, verb(a, "proveout machine gap %s", name),
                "%s: the gap of the first layer is to be checked%s", name,
                fitted > gap ? ", something was fitted since" : "");
        }
    }
}

/* Rounds are asked for only where the shop makes them. */
static void add_rounds(agenda *a, const json_t *today)
{
    const json_t *open = json_object_get(today, "open_round"), *opening = json_object_get(today, "last_opening"),
                 *closing = json_object_get(today, "last_closing");
    due_span spans[DUE_SPANS_MOST];
    size_t n = due_hours(a->d, a->d->now_ms, spans);
    if (json_is_object(open)) {
        add(a, due_int(open, "begun_ms", 0), true, "proveout round done",
            "the %s round is still open, with %lld machines seen", due_text(open, "kind"),
            (long long)due_int(open, "machines", 0));
    }
    if (n > 0 && json_is_object(opening) && !json_is_object(open) &&
        due_int(opening, "done_ms", 0) < spans[0].from_ms - INT64_C(3 * 3600000) &&
        a->d->now_ms < spans[n - 1].until_ms) {
        add(a, spans[0].from_ms, a->d->now_ms >= spans[0].from_ms, "proveout round begin opening",
            "the round before opening is due");
    }
    if (n > 0 && json_is_object(closing) && !json_is_object(open) &&
        due_int(closing, "done_ms", 0) < spans[n - 1].until_ms - INT64_C(2 * 3600000)) {
        add(a, spans[n - 1].until_ms, a->d->now_ms >= spans[n - 1].until_ms, "proveout round begin closing",
            "the round at closing is due");
    }
}

static int earlier(const void *p, const void *q)
{
    const json_t *a = *(const json_t *const *)p, *b = *(const json_t *const *)q;
    int64_t x = due_int(a, "at_ms", INT64_MAX), y = due_int(b, "at_ms", INT64_MAX);
    return x != y ? (x < y ? -1 : 1) : strcmp(due_text(a, "says"), due_text(b, "says"));
}

json_t *due_list(const desk *d, const json_t *today)
{
    agenda a = {d, json_array()};
    add_runs(&a, today);
    add_tickets(&a, today);
    add_stock(&a, today);
    add_promises(&a, today);
    add_machines(&a, today);
    add_rounds(&a, today);
    if (due_int(today, "messages_waiting", 0) > 0) {
        add(&a, 0, false, d->shop->outbox.on ? "proveout outbox send" : "proveout outbox list",
            "messages that wait to be sent: %lld", (long long)due_int(today, "messages_waiting", 0));
    }
    size_t n = json_array_size(a.list);
    json_t **rows = po_arena_zeros(d->arena, n + 1, sizeof(json_t *)), *sorted = json_array();
    for (size_t i = 0; rows && i < n; i++) {
        rows[i] = json_array_get(a.list, i);
    }
    if (rows) {
        qsort(rows, n, sizeof(json_t *), earlier);
    }
    for (size_t i = 0; rows && i < n; i++) {
        json_array_append(sorted, rows[i]);
    }
    json_decref(a.list);
    return sorted;
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
    int64_t at[MACHINES_MOST]; /* INT64_MAX: nobody knows */
    const po_machine *machine[MACHINES_MOST];
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
    for (size_t m = 0; m < d->shop->n_machines && p.n < MACHINES_MOST; m++) {
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
