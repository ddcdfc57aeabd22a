/* What is due at the desk, now and next, with the verb that books it. SPDX-License-Identifier: Apache-2.0
 *
 * The book says what is the case, the shop file what follows: how long a watch is, how cool a bed has to be, how long a gap check
 * holds. Nothing is said to be due that is not: an end is overdue only when the whole of its range has passed, rounds are
 * asked for only where the shop makes them. */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "work/due.h"

typedef struct agenda {
    const work_context *w;
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
    return po_arena_text(a->w->arena, text);
}

/* The time alone where the day is that of the time that it stands beside. */
static const char *beside(const agenda *a, int64_t ms, int64_t other_ms)
{
    const char *text = work_time_words(a->w, ms), *other = work_time_words(a->w, other_ms);
    const char *time = strrchr(text, ' '), *time_of_other = strrchr(other, ' ');
    bool same = time && time_of_other && time - text == time_of_other - other &&
                !strncmp(text, other, (size_t)(time - text));
    return same ? time + 1 : text;
}

/* A watch lasts the shop's minutes from the first bead on, and not less than the first layer takes. */
static int64_t watch_until(const agenda *a, const json_t *run)
{
    const po_rules *rules = &a->w->shop->rules;
    int64_t ms = (int64_t)(rules->watch_minutes * 60000 + 0.5);
    int64_t layer = work_int(run, "first_layer_seconds", 0) - work_int(run, "first_bead_seconds", 0);
    if (rules->watch_first_layer && layer * 1000 > ms) {
        ms = layer * 1000;
    }
    return work_int(run, "started_ms", 0) + ms;
}

static void add_out(agenda *a, const json_t *r)
{
    const char *machine = work_text(r, "machine"), *member = work_text(r, "member");
    long long run = work_int(r, "run", 0);
    int64_t now = a->w->now_ms, end = work_int(r, "end_ms", 0), open = 0;
    if (!work_has(r, "started_ms")) {
        add(a, work_int(r, "out_ms", 0), true, verb(a, "proveout run start %lld", run),
            "%s: out with member %s as run %lld; the start check is due before the first bead", machine, member, run);
        return;
    }
    if (!work_has(r, "watched_ms")) {
        int64_t until = watch_until(a, r);
        add(a, until, until <= now, verb(a, "proveout run watched %lld good", run),
            until <= now ? "%s: the watch of run %lld (member %s) is over; how is the first layer?"
                         : "%s: run %lld (member %s) is watched until then",
            machine, run, member);
    }
    const json_t *hands = json_object_get(r, "hands");
    for (size_t i = 0; i < json_array_size(hands); i++) {
        int64_t at = work_int(r, "started_ms", 0) +
                     1000 * (json_integer_value(json_array_get(hands, i)) - work_int(r, "first_bead_seconds", 0));
        if (at > now) {
            add(a, at, false, NULL, "%s: run %lld (member %s) needs hands; nozzle and bed are hot", machine, run,
                member);
        }
    }
    int64_t low = work_int(r, "end_low_ms", end), high = work_int(r, "end_high_ms", end);
    const char *does = verb(a, "proveout run ended %lld", run);
    const char *range = high / 60000 > low / 60000 ? verb(a, " (%s to %s)", beside(a, low, end), beside(a, high, end))
                                                   : "";
    if (end > 0 && high <= now) {
        add(a, high, true, does, "%s: run %lld (member %s) should have ended; look at it", machine, run, member);
    } else if (end > 0 && end <= now) {
        add(a, high, false, does, "%s: run %lld (member %s) should end by then", machine, run, member);
    } else if (end > 0 && work_staffed(a->w, end)) {
        add(a, end, false, does, "%s: run %lld (member %s) should end%s", machine, run, member, range);
    } else if (end > 0) {
        bool known = work_next_staffed(a->w, end, &open);
        add(a, end, false, does, "%s: run %lld (member %s) should end%s with nobody at the desk%s%s", machine, run,
            member, range, known ? ", which opens " : "", known ? work_time_words(a->w, open) : "");
    }
}

static void add_runs(agenda *a, const json_t *today)
{
    size_t i;
    const json_t *r;
    json_array_foreach(json_object_get(today, "runs"), i, r)
    {
        const char *machine = work_text(r, "machine"), *member = work_text(r, "member"), *state = work_text(r, "state");
        long long run = work_int(r, "run", 0);
        if (!strcmp(state, "out")) {
            add_out(a, r);
        } else if (!work_has(r, "off_ms")) {
            add(a, work_int(r, "ended_ms", 0), true, verb(a, "proveout run off %lld", run),
                "%s: run %lld (member %s) %s; the part may come off when the bed is below %g C", machine, run, member,
                !strcmp(state, "failed") ? "failed" : "has ended", a->w->shop->rules.collect_below_bed_c);
        } else {
            add(a, work_int(r, "off_ms", 0), true, verb(a, "proveout run take-back %lld", run),
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
        if (!strcmp(work_text(m, "machine"), machine)) {
            return json_is_true(json_object_get(m, "free"));
        }
    }
    return true; /* no act has named it yet */
}

/* A free machine for a ticket, that no ticket was called to and none before it gets. given: by place in the shop file. */
static const char *free_machine(const agenda *a, const json_t *today, const char *wanted,
                                bool given[WORK_MACHINES_MOST])
{
    for (size_t i = 0; i < a->w->shop->n_machines && i < WORK_MACHINES_MOST; i++) {
        const char *name = a->w->shop->machines[i].name;
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
    bool given[WORK_MACHINES_MOST] = {false};
    json_array_foreach(json_object_get(today, "tickets"), i, t)
    {
        if (!strcmp(work_text(t, "state"), "called") && !json_is_true(json_object_get(t, "lapsed"))) {
            free_machine(a, today, work_text(t, "offered"), given);
        }
    }
    json_array_foreach(json_object_get(today, "tickets"), i, t)
    {
        long long ticket = work_int(t, "ticket", 0);
        const char *member = work_text(t, "member"), *offered = work_text(t, "offered");
        bool waits = !strcmp(work_text(t, "state"), "waiting");
        const char *free = waits ? free_machine(a, today, work_text(t, "machine"), given) : NULL;
        if (json_is_true(json_object_get(t, "lapsed"))) {
            add(a, work_int(t, "until_ms", 0), true, verb(a, "proveout ticket pass %lld --no-show", ticket),
                "ticket %lld (member %s) was called and not claimed", ticket, member);
        } else if (!waits) {
            add(a, work_int(t, "until_ms", 0), false, verb(a, "proveout ticket pass %lld --no-show", ticket),
                "ticket %lld (member %s) can be claimed until then%s%s", ticket, member, *offered ? ": " : "", offered);
        } else if (free) {
            add(a, work_int(t, "taken_ms", 0), true, verb(a, "proveout ticket call %lld --machine %s", ticket, free),
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
        int64_t at = work_int(o, "dry_until_ms", 0);
        add(a, at, at > 0 && at <= a->w->now_ms, verb(a, "proveout spool dried %s", work_text(o, "spool")),
            "spool %s (%s) is dry", work_text(o, "spool"), work_text(o, "material"));
    }
    json_array_foreach(json_object_get(today, "spools"), i, o)
    {
        const char *machine = work_text(o, "machine");
        add(a, 0, false, verb(a, "proveout spool weigh %s GRAMS", work_text(o, "spool")),
            "spool %s (%s%s%s) is running out: %s left by the book", work_text(o, "spool"), work_text(o, "material"),
            *machine ? ", on " : "", machine, work_grams(a->w, work_int(o, "left_mg", 0)));
    }
    json_array_foreach(json_object_get(today, "overdue"), i, o)
    {
        char place[40] = "";
        if (work_has(o, "place")) {
            snprintf(place, sizeof place, " on place %lld", (long long)work_int(o, "place", 0));
        }
        add(a, work_int(o, "kept_until_ms", 0), true,
            verb(a, "proveout shelf recycle %lld", (long long)work_int(o, "run", 0)),
            "the part of run %lld (member %s)%s was kept until then and not collected",
            (long long)work_int(o, "run", 0), work_text(o, "member"), place);
    }
}

/* Those that lapse at one time, at the end of a term say, in one line. The list is in order of time. */
static void add_permits(agenda *a, const json_t *list, bool more)
{
    for (size_t i = 0, n = json_array_size(list); i < n;) {
        const json_t *first = json_array_get(list, i);
        const char *permission = work_text(first, "permission"), *member = work_text(first, "member");
        int64_t until = work_int(first, "until_ms", 0);
        size_t same = 0, k = i;
        bool mixed = false;
        for (; k < n && work_int(json_array_get(list, k), "until_ms", 0) - until < 60000; k++) {
            mixed = mixed || strcmp(work_text(json_array_get(list, k), "permission"), permission) != 0;
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
        int64_t at = work_int(o, "promised_ms", 0);
        long long run = work_int(o, "run", 0);
        const char *machine = work_text(o, "machine");
        if (at > 0) {
            add(a, at, at <= a->w->now_ms,
                verb(a, "proveout run hand-out %s FILE --run %lld", work_text(o, "member"), run),
                "member %s was promised a start then (run %lld%s%s)", work_text(o, "member"), run,
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
    int64_t days = a->w->shop->rules.gap_check_days;
    json_array_foreach(json_object_get(today, "machines"), i, m)
    {
        const char *name = work_text(m, "machine");
        int64_t gap = work_int(m, "gap_ms", 0), fitted = work_int(m, "fitted_ms", 0);
        int64_t lapses = days > 0 && gap > 0 ? gap + days * INT64_C(86400000) : 0;
        bool old = lapses > 0 && lapses <= a->w->now_ms;
        long long part = work_int(m, "part_of", 0);
        if (part > 0) {
            add(a, 0, true, verb(a, "proveout run off %lld", part),
                "%s is back, and by the book the part of run %lld is still on its bed; it may be hot", name, part);
        }
        if (strcmp(work_text(m, "state"), "in-use") != 0) {
            add(a, 0, false, verb(a, "proveout machine clear %s", name), "%s %s%s%s%s%s", name,
                !strcmp(work_text(m, "state"), "resting") ? "rests for care" : "is tagged out",
                work_has(m, "since_ms") ? " since " : "",
                work_has(m, "since_ms") ? work_time_words(a->w, work_int(m, "since_ms", 0)) : "",
                *work_text(m, "reason") ? ": " : "", work_text(m, "reason"));
        } else if (fitted > gap || old) {
            add(a, 0, false, verb(a, "proveout machine gap %s", name),
                "%s: the gap of the first layer is to be checked%s", name,
                fitted > gap ? ", something was fitted since" : "");
        }
    }
}

/* What the latest round found wrong at a free machine. */
static void add_wrong(agenda *a, const json_t *today)
{
    static const struct {
        const char *key, *says;
    } points[] = {{"bed_clear", "bed not clear"},
                  {"stick_there", "stick not there"},
                  {"nozzle_clean", "nozzle not clean"},
                  {"spool_on", "spool not on"},
                  {"heaters_off", "heaters not off"}};
    size_t i;
    const json_t *f;
    json_array_foreach(json_object_get(today, "wrong"), i, f)
    {
        const char *says = "", *note = work_text(f, "note");
        for (size_t k = 0; k < sizeof points / sizeof points[0]; k++) {
            if (json_is_false(json_object_get(f, points[k].key))) {
                says = verb(a, "%s%s%s", says, *says ? ", " : "", points[k].says);
            }
        }
        add(a, 0, false, "proveout round show", "%s, by the %s round of %s: %s%s%s", work_text(f, "machine"),
            work_text(f, "kind"), work_time_words(a->w, work_int(f, "at_ms", 0)), says, *note ? "; " : "", note);
    }
}

/* Rounds are asked for only where the shop makes them. */
static void add_rounds(agenda *a, const json_t *today)
{
    const json_t *open = json_object_get(today, "open_round"), *opening = json_object_get(today, "last_opening"),
                 *closing = json_object_get(today, "last_closing");
    work_span spans[WORK_SPANS_MOST];
    size_t n = work_hours(a->w, a->w->now_ms, spans);
    if (json_is_object(open)) {
        add(a, work_int(open, "begun_ms", 0), true, "proveout round done",
            "the %s round is still open, with %lld machines seen", work_text(open, "kind"),
            (long long)work_int(open, "machines", 0));
    }
    if (n > 0 && json_is_object(opening) && !json_is_object(open) &&
        work_int(opening, "done_ms", 0) < spans[0].from_ms - INT64_C(3 * 3600000) &&
        a->w->now_ms < spans[n - 1].until_ms) {
        add(a, spans[0].from_ms, a->w->now_ms >= spans[0].from_ms, "proveout round begin opening",
            "the round before opening is due");
    }
    if (n > 0 && json_is_object(closing) && !json_is_object(open) &&
        work_int(closing, "done_ms", 0) < spans[n - 1].until_ms - INT64_C(2 * 3600000)) {
        add(a, spans[n - 1].until_ms, a->w->now_ms >= spans[n - 1].until_ms, "proveout round begin closing",
            "the round at closing is due");
    }
}

static int earlier(const void *p, const void *q)
{
    const json_t *a = *(const json_t *const *)p, *b = *(const json_t *const *)q;
    int64_t x = work_int(a, "at_ms", INT64_MAX), y = work_int(b, "at_ms", INT64_MAX);
    return x != y ? (x < y ? -1 : 1) : strcmp(work_text(a, "says"), work_text(b, "says"));
}

json_t *work_due_list(const work_context *w, const json_t *today)
{
    agenda a = {w, json_array()};
    add_runs(&a, today);
    add_tickets(&a, today);
    add_stock(&a, today);
    add_promises(&a, today);
    add_machines(&a, today);
    add_wrong(&a, today);
    add_rounds(&a, today);
    if (work_int(today, "messages_waiting", 0) > 0) {
        add(&a, 0, false, w->shop->outbox.on ? "proveout outbox send" : "proveout outbox list",
            "messages that wait to be sent: %lld", (long long)work_int(today, "messages_waiting", 0));
    }
    size_t n = json_array_size(a.list);
    json_t **rows = po_arena_zeros(w->arena, n + 1, sizeof(json_t *)), *sorted = json_array();
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
