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

/* kind: what a page goes by; it calls the row by words of its own (docs/api.md). about: what they need, taken over; NULL: memory is gone. */
static void add(agenda *a, const char *kind, json_t *about, int64_t at_ms, bool now, const char *does,
                const char *format, ...) PO_PRINTF(7, 8);
static void add(agenda *a, const char *kind, json_t *about, int64_t at_ms, bool now, const char *does,
                const char *format, ...)
{
    char says[400];
    va_list values;
    va_start(values, format);
    vsnprintf(says, sizeof says, format, values);
    va_end(values);
    json_array_append_new(a->list, json_pack("{s:s, s:o, s:o, s:b, s:s, s:s?}", "kind", kind, "about", about, "at_ms",
                                             at_ms > 0 ? json_integer(at_ms) : json_null(), "now", now, "says", says,
                                             "do", does));
}

/* These keys of a row of the book's answer, under the same names. */
static json_t *of_row(const json_t *row, const char *const *keys, size_t n)
{
    json_t *o = json_object();
    for (size_t i = 0; o && i < n; i++) {
        const json_t *v = json_object_get(row, keys[i]);
        if (v && !json_is_null(v)) {
            json_object_set(o, keys[i], (json_t *)(uintptr_t)v);
        }
    }
    return o;
}
#define OF(row, ...)                                                                                                   \
    of_row(row, (const char *const[]){__VA_ARGS__}, sizeof(const char *[]){__VA_ARGS__} / sizeof(const char *))
#define RUN_OF(row) OF(row, "run", "machine", "member", "file", "recipe", "stick", "reserved_um")

static json_t *with_int(json_t *o, const char *key, int64_t value)
{
    if (o) {
        json_object_set_new(o, key, json_integer(value));
    }
    return o;
}

static json_t *with_text(json_t *o, const char *key, const char *value)
{
    if (o && value) {
        json_object_set_new(o, key, json_string(value));
    }
    return o;
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

static void add_out(agenda *a, const json_t *r)
{
    const char *machine = work_text(r, "machine"), *member = work_text(r, "member");
    long long run = work_int(r, "run", 0);
    int64_t now = a->w->now_ms, end = work_int(r, "end_ms", 0), open = 0;
    if (!work_has(r, "started_ms")) {
        add(a, "start", RUN_OF(r), work_int(r, "out_ms", 0), true, verb(a, "proveout run start %lld", run),
            "%s: out with member %s as run %lld; the start check is due before the first bead", machine, member, run);
        return;
    }
    if (!work_has(r, "watched_ms")) {
        int64_t until = work_watch_until(a->w, r);
        add(a, "watch", with_int(RUN_OF(r), "until_ms", until), until, until <= now,
            verb(a, "proveout run watched %lld good", run),
            until <= now ? "%s: the watch of run %lld (member %s) is over; how is the first layer?"
                         : "%s: run %lld (member %s) is watched until then",
            machine, run, member);
    }
    const json_t *hands = json_object_get(r, "hands");
    for (size_t i = 0; i < json_array_size(hands); i++) {
        int64_t at = work_int(r, "started_ms", 0) +
                     1000 * (json_integer_value(json_array_get(hands, i)) - work_int(r, "first_bead_seconds", 0));
        if (at > now) {
            json_t *about = RUN_OF(r);
            json_object_set_new(about, "staffed", json_boolean(work_staffed(a->w, at)));
            add(a, "hands", about, at, false, NULL, "%s: run %lld (member %s) needs hands; nozzle and bed are hot",
                machine, run, member);
        }
    }
    int64_t low = work_int(r, "end_low_ms", end), high = work_int(r, "end_high_ms", end);
    const char *does = verb(a, "proveout run ended %lld", run);
    const char *range = high / 60000 > low / 60000 ? verb(a, " (%s to %s)", beside(a, low, end), beside(a, high, end))
                                                   : "";
    json_t *about = with_text(with_int(RUN_OF(r), "end_ms", end), "from", work_text(r, "end_from"));
    with_int(with_int(about, "low_ms", low), "high_ms", high);
    if (end > 0 && high <= now) {
        add(a, "end-late", json_incref(about), high, true, does,
            "%s: run %lld (member %s) should have ended; look at it", machine, run, member);
    } else if (end > 0 && end <= now) {
        add(a, "end", json_incref(about), high, false, does, "%s: run %lld (member %s) should end by then", machine,
            run, member);
    } else if (end > 0 && work_staffed(a->w, end)) {
        add(a, "end", json_incref(about), end, false, does, "%s: run %lld (member %s) should end%s", machine, run,
            member, range);
    } else if (end > 0) {
        bool known = work_next_staffed(a->w, end, &open);
        if (known) {
            with_int(about, "opens_ms", open);
        }
        add(a, "end-alone", json_incref(about), end, false, does,
            "%s: run %lld (member %s) should end%s with nobody at the desk%s%s", machine, run, member, range,
            known ? ", which opens " : "", known ? work_time_words(a->w, open) : "");
    }
    json_decref(about);
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
            bool failed = !strcmp(state, "failed");
            int64_t cool = work_cool_at(a->w, r), ended = work_int(r, "ended_ms", 0), now = a->w->now_ms;
            json_t *about = with_int(RUN_OF(r), "ended_ms", ended);
            json_object_set_new(about, "failed", json_boolean(failed));
            json_object_set_new(about, "below_c", json_real(a->w->shop->rules.collect_below_bed_c));
            if (cool > 0) {
                with_int(about, "cool_ms", cool);
            }
            add(a, "off", about, cool > now ? cool : ended, cool <= now, verb(a, "proveout run off %lld", run),
                "%s: run %lld (member %s) %s; the part may come off when the bed is below %g C%s%s", machine, run,
                member, failed ? "failed" : "has ended", a->w->shop->rules.collect_below_bed_c,
                cool > now ? ", which takes until about " : "", cool > now ? beside(a, cool, now) : "");
        } else {
            add(a, "back", RUN_OF(r), work_int(r, "off_ms", 0), true, verb(a, "proveout run take-back %lld", run),
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
            add(a, "ticket-lapsed", OF(t, "ticket", "member", "offered", "until_ms"), work_int(t, "until_ms", 0), true,
                verb(a, "proveout ticket pass %lld --no-show", ticket),
                "ticket %lld (member %s) was called and not claimed", ticket, member);
        } else if (!waits) {
            add(a, "ticket-called", OF(t, "ticket", "member", "offered", "until_ms"), work_int(t, "until_ms", 0), false,
                verb(a, "proveout ticket pass %lld --no-show", ticket),
                "ticket %lld (member %s) can be claimed until then%s%s", ticket, member, *offered ? ": " : "", offered);
        } else if (free) {
            add(a, "ticket-next", with_text(OF(t, "ticket", "member", "taken_ms"), "machine", free),
                work_int(t, "taken_ms", 0), true, verb(a, "proveout ticket call %lld --machine %s", ticket, free),
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
        add(a, "dry", OF(o, "spool", "material"), at, at > 0 && at <= a->w->now_ms,
            verb(a, "proveout spool dried %s", work_text(o, "spool")), "spool %s (%s) is dry", work_text(o, "spool"),
            work_text(o, "material"));
    }
    json_array_foreach(json_object_get(today, "spools"), i, o)
    {
        const char *machine = work_text(o, "machine");
        add(a, "low", OF(o, "spool", "material", "colour", "machine", "left_mg"), 0, false,
            verb(a, "proveout spool weigh %s GRAMS", work_text(o, "spool")),
            "spool %s (%s%s%s) is running out: %s left by the book", work_text(o, "spool"), work_text(o, "material"),
            *machine ? ", on " : "", machine, work_grams(a->w, work_int(o, "left_mg", 0)));
    }
    json_array_foreach(json_object_get(today, "overdue"), i, o)
    {
        char place[40] = "";
        if (work_has(o, "place")) {
            snprintf(place, sizeof place, " on place %lld", (long long)work_int(o, "place", 0));
        }
        add(a, "overdue", OF(o, "run", "member", "place", "kept_until_ms"), work_int(o, "kept_until_ms", 0), true,
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
            add(a, "permit", OF(first, "member", "permission", "until_ms"), until, false,
                verb(a, "proveout permit grant %s %s", member, permission), "permission %s of member %s lapses",
                permission, member);
        } else {
            json_t *about = with_int(OF(first, "until_ms"), "n", (int64_t)same);
            json_object_set_new(about, "more", json_boolean(more && k == n));
            add(a, "permits", mixed ? about : with_text(about, "permission", permission), until, false,
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
            add(a, "promise", OF(o, "run", "member", "machine", "promised_ms", "seconds", "recipe"), at,
                at <= a->w->now_ms, verb(a, "proveout run hand-out %s FILE --run %lld", work_text(o, "member"), run),
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
            add(a, "part-left", with_int(OF(m, "machine"), "run", part), 0, true,
                verb(a, "proveout run off %lld", part),
                "%s is back, and by the book the part of run %lld is still on its bed; it may be hot", name, part);
        }
        if (strcmp(work_text(m, "state"), "in-use") != 0) {
            add(a, !strcmp(work_text(m, "state"), "resting") ? "resting" : "tagged",
                OF(m, "machine", "reason", "since_ms"), 0, false, verb(a, "proveout machine clear %s", name),
                "%s %s%s%s%s%s", name, !strcmp(work_text(m, "state"), "resting") ? "rests for care" : "is tagged out",
                work_has(m, "since_ms") ? " since " : "",
                work_has(m, "since_ms") ? work_time_words(a->w, work_int(m, "since_ms", 0)) : "",
                *work_text(m, "reason") ? ": " : "", work_text(m, "reason"));
        } else if (fitted > gap || old) {
            json_t *about = OF(m, "machine", "gap_ms");
            json_object_set_new(about, "fitted", json_boolean(fitted > gap));
            add(a, "gap", about, 0, false, verb(a, "proveout machine gap %s", name),
                "%s: the gap of the first layer is to be checked%s", name,
                fitted > gap ? ", something was fitted since" : "");
        }
    }
}

/* Tasks of care that are due, a line for each machine (work_care_today), and searches for causes that are open. */
static void add_care(agenda *a, const json_t *today)
{
    size_t i;
    const json_t *o;
    json_array_foreach(json_object_get(today, "care"), i, o)
    {
        const char *machine = work_text(o, "machine");
        size_t n = json_array_size(json_object_get(o, "tasks"));
        add(a, "care", with_int(OF(o, "machine", "says", "tasks"), "n", (int64_t)n), 0, false,
            verb(a, "proveout care due --machine %s", machine),
            n == 1 ? "%s: care is due: %s" : "%s: care is due: %s, and %zu more", machine, work_text(o, "says"), n - 1);
    }
    json_array_foreach(json_object_get(today, "troubles"), i, o)
    {
        long long trouble = work_int(o, "trouble", 0);
        add(a, "trouble", OF(o, "trouble", "machine", "symptom", "run", "opened_ms"), 0, false,
            verb(a, "proveout why show %lld", trouble), "%s: the search for a cause is still open (%s)",
            work_text(o, "machine"), work_text(o, "symptom"));
    }
}

/* Who has passed and waits for steps to be seen, study by study; permissions that lie unused. */
static void add_training(agenda *a, const json_t *today)
{
    size_t i, n = json_array_size(json_object_get(today, "unused"));
    const json_t *o;
    json_array_foreach(json_object_get(today, "signoff"), i, o)
    {
        long long waiting = work_int(o, "n", 0);
        add(a, "signoff", OF(o, "study", "title", "n", "member"), 0, false, "proveout signoff list",
            waiting == 1 ? "member %s has passed \"%s\" and waits for the steps to be seen"
                         : "%s and others have passed \"%s\" and wait for the steps to be seen",
            work_text(o, "member"), work_text(o, "title"));
    }
    if (n > 0) {
        add(a, "unused", with_int(json_object(), "n", (int64_t)n), 0, false, "proveout train unused",
            "permissions that lie unused: %zu", n);
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
        json_t *about = OF(f, "machine", "kind", "at_ms", "note"), *wrong = json_array();
        for (size_t k = 0; k < sizeof points / sizeof points[0]; k++) {
            if (json_is_false(json_object_get(f, points[k].key))) {
                json_array_append_new(wrong, json_string(points[k].key));
            }
        }
        json_object_set_new(about, "points", wrong);
        add(a, "wrong", about, 0, false, "proveout round show", "%s, by the %s round of %s: %s%s%s",
            work_text(f, "machine"), work_text(f, "kind"), work_time_words(a->w, work_int(f, "at_ms", 0)), says,
            *note ? "; " : "", note);
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
        add(a, "round-open", OF(open, "round", "kind", "by", "begun_ms", "machines"), work_int(open, "begun_ms", 0),
            true, "proveout round done", "the %s round is still open, with %lld machines seen", work_text(open, "kind"),
            (long long)work_int(open, "machines", 0));
    }
    if (n > 0 && json_is_object(opening) && !json_is_object(open) &&
        work_int(opening, "done_ms", 0) < spans[0].from_ms - INT64_C(3 * 3600000) &&
        a->w->now_ms < spans[n - 1].until_ms) {
        add(a, "round-opening", json_object(), spans[0].from_ms, a->w->now_ms >= spans[0].from_ms,
            "proveout round begin opening", "the round before opening is due");
    }
    if (n > 0 && json_is_object(closing) && !json_is_object(open) &&
        work_int(closing, "done_ms", 0) < spans[n - 1].until_ms - INT64_C(2 * 3600000)) {
        add(a, "round-closing", json_object(), spans[n - 1].until_ms, a->w->now_ms >= spans[n - 1].until_ms,
            "proveout round begin closing", "the round at closing is due");
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
    add_care(&a, today);
    add_training(&a, today);
    add_wrong(&a, today);
    add_rounds(&a, today);
    if (work_int(today, "messages_waiting", 0) > 0) {
        add(&a, "messages", with_int(json_object(), "n", work_int(today, "messages_waiting", 0)), 0, false,
            w->shop->outbox.on ? "proveout outbox send" : "proveout outbox list", "messages that wait to be sent: %lld",
            (long long)work_int(today, "messages_waiting", 0));
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
