/* Closures and openings of the desk from an iCalendar file. SPDX-License-Identifier: Apache-2.0
 *
 * RFC 5545: events (3.6.1) with start, end or duration, recurrence (3.8.5), exceptions, and single occurrences that were moved
 * (RECURRENCE-ID, 3.8.4.4). Times are floating (the shop's clock), UTC, or of a zone by name: the system's zone of that name, else
 * the one that the file brings along. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "plan/ical_inside.h"

enum {
    EVENTS_MOST = 20000,
    OCCURRENCES_MOST = 100000,
    ZONES_MOST = 64,
    RULES_MOST = 1000,
    DAY_S = 86400,
    TZID_MOST = 200
};

typedef struct clock_of { /* of one zone of the file */
    const char *tzid;
    const po_zone *zone; /* else own */
    po_ical_zone *own;
} clock_of;

typedef struct moment { /* a time with its clock */
    po_ical_time time;
    const clock_of *clock;
} moment;

typedef struct event {
    uint32_t line;
    size_t first, last; /* its lines, BEGIN and END */
    const char *uid, *summary;
    bool has_start, has_end, has_duration, cancelled, transparent, open, closed, moved;
    moment start, end, instead_of; /* instead_of: RECURRENCE-ID */
    int64_t days, seconds;         /* of the duration */
} event;

typedef struct reader {
    const char *name;
    const po_zone *shop_zone;
    po_arena *arena;
    const po_ical_line *lines;
    size_t n_lines;
    clock_of clocks[ZONES_MOST];
    size_t n_clocks;
    event *events;
    const event **moved; /* those that stand in for an occurrence, by UID */
    size_t n_events, n_rules, n_moved, budget;
    po_ms_span within;
    bool others_close;
    po_desk_event *out;
    size_t n_out, room;
    po_err *err;
} reader;

static po_status bad(reader *r, const po_ical_line *l, po_status code, const char *says)
{
    return po_fail_at(r->err, code, r->name, l->line, 1, "%s: %s", l->name, says);
}

static po_status placed(reader *r, po_status s, uint32_t line)
{
    if (s != PO_OK && r->err) {
        snprintf(r->err->where, sizeof r->err->where, "%s", r->name);
        r->err->line = r->err->line ? r->err->line : line;
        r->err->column = 1;
    }
    return s;
}

/* ---- clocks ---- */

static po_status clock_named(reader *r, const po_ical_line *l, const char *tzid, const clock_of **ret)
{
    for (size_t i = 0; i < r->n_clocks; i++) {
        if (strcmp(r->clocks[i].tzid, tzid) == 0) {
            *ret = &r->clocks[i];
            return PO_OK;
        }
    }
    if (r->n_clocks == ZONES_MOST) {
        return bad(r, l, PO_E_LIMIT, "the file uses more than 64 zones");
    }
    clock_of c = {.tzid = tzid};
    po_err ignored;
    if (po_zone_load(tzid, r->arena, &c.zone, &ignored) != PO_OK) {
        c.zone = NULL;
        for (size_t i = 0; !c.own && i < r->n_lines; i++) { /* where the file brings it along */
            if (!po_text_same(r->lines[i].name, "BEGIN") || !po_text_same(r->lines[i].value, "VTIMEZONE")) {
                continue;
            }
            size_t end = i;
            bool it = false;
            for (; !(po_text_same(r->lines[end].name, "END") && po_text_same(r->lines[end].value, "VTIMEZONE"));
                 end++) {
                it |= po_text_same(r->lines[end].name, "TZID") && strcmp(r->lines[end].value, tzid) == 0;
            }
            if (it) {
                po_status s = po_ical_zone_read(r->lines + i, end - i + 1, r->arena, &c.own, r->err);
                if (s != PO_OK) {
                    return placed(r, s, r->lines[i].line);
                }
            }
            i = end;
        }
        if (!c.own) {
            return po_fail_at(r->err, PO_E_NOTFOUND, r->name, l->line, 1,
                              "neither this file nor this system knows the time zone %.60s", tzid);
        }
    }
    r->clocks[r->n_clocks] = c;
    *ret = &r->clocks[r->n_clocks++];
    return PO_OK;
}

static int64_t to_utc(const reader *r, const clock_of *c, int64_t local)
{
    if (c && c->own) {
        return po_ical_zone_utc(c->own, local);
    }
    int64_t first, second;
    po_zone_utc(c ? c->zone : r->shop_zone, local, &first, &second);
    return first; /* of two the first; of none by the offset before the gap (3.3.5) */
}

static int64_t to_local(const reader *r, const clock_of *c, int64_t utc)
{
    return c && c->own ? po_ical_zone_local(c->own, utc) : utc + po_zone_offset(c ? c->zone : r->shop_zone, utc * 1000);
}

static int64_t utc_of(const reader *r, const moment *m)
{
    return m->time.utc ? m->time.local_s : to_utc(r, m->clock, m->time.local_s);
}

/* ---- properties ---- */

static po_status read_moment(reader *r, const po_ical_line *l, const char *text, size_t n, moment *ret)
{
    const char *tzid = po_ical_parameter(l, "TZID", r->arena);
    *ret = (moment){0};
    if (!po_ical_time_read(text, n, &ret->time)) {
        return bad(r, l, PO_E_SYNTAX, "expected a day such as 20261224 or a time such as 20261224T100000Z");
    }
    if (tzid && strlen(tzid) > TZID_MOST) {
        return bad(r, l, PO_E_LIMIT, "the name of the zone is too long");
    }
    return tzid && !ret->time.utc && !ret->time.is_date ? clock_named(r, l, tzid, &ret->clock) : PO_OK;
}

static bool begins_with_word(const char *text, const char *word)
{
    size_t n = strlen(word);
    text += strspn(text, " \t");
    return strncasecmp(text, word, n) == 0 &&
           !((text[n] >= 'a' && text[n] <= 'z') || (text[n] >= 'A' && text[n] <= 'Z') || (text[n] & 0x80));
}

/* Whether the list of categories holds the word. */
static bool has_word(const char *list, const char *word)
{
    for (const char *p = list; *p;) {
        size_t n = strcspn(p, ",");
        const char *from = p + strspn(p, " ");
        size_t blanks = (size_t)(from - p), length = n > blanks ? n - blanks : 0;
        while (length > 0 && from[length - 1] == ' ') {
            length--;
        }
        if (length == strlen(word) && strncasecmp(from, word, length) == 0) {
            return true;
        }
        p += n + (p[n] == ',');
    }
    return false;
}

static po_status read_property(reader *r, event *e, const po_ical_line *l)
{
    const char *n = l->name, *v = l->value;
    size_t length = strlen(v);
    po_status s = PO_OK;
    if (po_text_same(n, "DTSTART")) {
        if (e->has_start) {
            return bad(r, l, PO_E_SYNTAX, "the event has two starts");
        }
        e->has_start = true;
        s = read_moment(r, l, v, length, &e->start);
    } else if (po_text_same(n, "DTEND")) {
        e->has_end = true;
        s = read_moment(r, l, v, length, &e->end);
    } else if (po_text_same(n, "DURATION")) {
        e->has_duration = true;
        if (!po_ical_duration_read(v, length, &e->days, &e->seconds) || e->days < 0 || e->seconds < 0) {
            s = bad(r, l, PO_E_SYNTAX, "expected a length such as PT2H or P1D");
        }
    } else if (po_text_same(n, "RECURRENCE-ID")) {
        const char *range = po_ical_parameter(l, "RANGE", r->arena);
        e->moved = true;
        s = range && po_text_same(range, "THISANDFUTURE")
                ? bad(r, l, PO_E_UNSUPPORTED,
                      "this and all later occurrences can't be moved at once; write them as an event of their own")
                : read_moment(r, l, v, length, &e->instead_of);
    } else if (po_text_same(n, "RRULE")) {
        s = ++r->n_rules > RULES_MOST ? bad(r, l, PO_E_LIMIT, "the file has more than 1000 rules") : PO_OK;
    } else if (po_text_same(n, "UID")) {
        e->uid = v;
    } else if (po_text_same(n, "SUMMARY")) {
        e->summary = po_ical_text(v, r->arena);
        if (!e->summary) {
            return po_fail(r->err, PO_E_NOMEM, "no memory for a calendar");
        }
        e->open |= begins_with_word(e->summary, "open");
        e->closed |= begins_with_word(e->summary, "closed");
    } else if (po_text_same(n, "CATEGORIES")) {
        e->open |= has_word(v, "OPEN");
        e->closed |= has_word(v, "CLOSED");
    } else if (po_text_same(n, "STATUS")) {
        e->cancelled = po_text_same(v, "CANCELLED");
    } else if (po_text_same(n, "TRANSP")) {
        e->transparent = po_text_same(v, "TRANSPARENT");
    }
    return s;
}

static po_status read_event(reader *r, size_t first, size_t last)
{
    if (r->n_events == EVENTS_MOST) {
        return bad(r, &r->lines[first], PO_E_LIMIT, "the file has more than 20000 events");
    }
    event *e = &r->events[r->n_events++];
    *e = (event){.line = r->lines[first].line, .first = first, .last = last, .uid = "", .summary = ""};
    int deep = 0;
    for (size_t i = first + 1; i < last; i++) {
        const po_ical_line *l = &r->lines[i];
        deep += po_text_same(l->name, "BEGIN") ? 1 : po_text_same(l->name, "END") ? -1 : 0;
        po_status s = deep == 0 ? read_property(r, e, l) : PO_OK; /* alarms within are not the event's */
        if (s != PO_OK) {
            return s;
        }
    }
    if (!e->has_start) {
        return bad(r, &r->lines[first], PO_E_SYNTAX, "the event that begins here has no start (DTSTART)");
    }
    if (e->has_end && (e->has_duration || e->end.time.is_date != e->start.time.is_date)) {
        return bad(r, &r->lines[first], PO_E_SYNTAX,
                   e->has_duration ? "the event that begins here has an end and a length; one of them is needed"
                                   : "of the event that begins here one of start and end is a day, the other a time");
    }
    if (e->has_end && (e->start.time.is_date ? e->end.time.local_s < e->start.time.local_s
                                             : utc_of(r, &e->end) < utc_of(r, &e->start))) {
        return bad(r, &r->lines[first], PO_E_RANGE, "the event that begins here ends before it starts");
    }
    return PO_OK;
}

/* ---- occurrences ---- */

/* An occurrence that starts at this local second of the event's clock. */
static po_ms_span span_at(const reader *r, const event *e, int64_t local)
{
    bool utc = e->start.time.utc;
    int64_t from = utc ? local : to_utc(r, e->start.clock, local), until = from;
    if (e->start.time.is_date) { /* whole days of the shop */
        int64_t length = e->has_end        ? e->end.time.local_s - e->start.time.local_s
                         : e->has_duration ? e->days * DAY_S
                                           : DAY_S;
        until = to_utc(r, NULL, local + length);
    } else if (e->has_end) {
        until = from + (utc_of(r, &e->end) - utc_of(r, &e->start));
    } else if (e->has_duration) { /* days by the wall, the rest by the clock that ticks (3.3.6) */
        int64_t after = local + e->days * DAY_S;
        until = (utc ? after : to_utc(r, e->start.clock, after)) + e->seconds;
    }
    return (po_ms_span){from * 1000, until * 1000};
}

/* Occurrences that are taken out: moments, and whole days of the event's clock. Rising. */
typedef struct outs {
    int64_t *utc, *days;
    size_t n_utc, n_days;
} outs;

static int by_size(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static int by_uid(const void *a, const void *b)
{
    return strcmp((*(const event *const *)a)->uid, (*(const event *const *)b)->uid);
}

static void put_out(const reader *r, outs *o, const moment *m)
{
    if (m->time.is_date) {
        o->days[o->n_days++] = m->time.local_s;
    } else {
        o->utc[o->n_utc++] = utc_of(r, m);
    }
}

/* What EXDATE of the event says, and other events that stand in for an occurrence of it. */
static po_status read_outs(reader *r, const event *e, outs *ret)
{
    size_t most = 0, moved = 0, low = 0, high = r->n_moved;
    while (low < high) { /* the first of that UID */
        size_t mid = low + (high - low) / 2;
        if (strcmp(r->moved[mid]->uid, e->uid) < 0) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    for (; !e->moved && *e->uid && low + moved < r->n_moved && strcmp(r->moved[low + moved]->uid, e->uid) == 0;
         moved++) {
    }
    for (size_t i = e->first + 1; i < e->last; i++) {
        const char *v = po_text_same(r->lines[i].name, "EXDATE") ? r->lines[i].value : "";
        most += *v != 0;
        for (; *v; v++) {
            most += *v == ',';
        }
    }
    *ret = (outs){po_arena_zeros(r->arena, most + moved + 1, sizeof *ret->utc),
                  po_arena_zeros(r->arena, most + moved + 1, sizeof *ret->days), 0, 0};
    if (!ret->utc || !ret->days) {
        return po_fail(r->err, PO_E_NOMEM, "no memory for a calendar");
    }
    for (size_t i = e->first + 1; i < e->last; i++) {
        const po_ical_line *l = &r->lines[i];
        for (const char *p = po_text_same(l->name, "EXDATE") ? l->value : ""; *p;) {
            size_t n = strcspn(p, ",");
            moment m;
            po_status s = read_moment(r, l, p, n, &m);
            if (s != PO_OK) {
                return s;
            }
            put_out(r, ret, &m);
            p += n + (p[n] == ',');
        }
    }
    for (size_t i = 0; i < moved; i++) {
        put_out(r, ret, &r->moved[low + i]->instead_of);
    }
    qsort(ret->utc, ret->n_utc, sizeof *ret->utc, by_size);
    qsort(ret->days, ret->n_days, sizeof *ret->days, by_size);
    return PO_OK;
}

static bool is_out(const reader *r, const event *e, const outs *o, int64_t local)
{
    int64_t utc = e->start.time.utc ? local : to_utc(r, e->start.clock, local);
    int64_t day = local - ((local % DAY_S) + DAY_S) % DAY_S;
    return bsearch(&utc, o->utc, o->n_utc, sizeof utc, by_size) ||
           bsearch(&day, o->days, o->n_days, sizeof day, by_size);
}

static po_status put(reader *r, const event *e, po_ms_span span)
{
    if (span.until_ms <= r->within.from_ms || span.from_ms >= r->within.until_ms || span.from_ms >= span.until_ms) {
        return PO_OK;
    }
    if (r->n_out == r->room) {
        size_t more = r->room ? 2 * r->room : 32;
        po_desk_event *larger = po_arena_resize(r->arena, r->out, r->room * sizeof *r->out, more * sizeof *r->out);
        if (!larger) {
            return po_fail(r->err, PO_E_NOMEM, "no memory for a calendar");
        }
        r->out = larger;
        r->room = more;
    }
    po_desk_effect effect = e->closed ? PO_DESK_CLOSED : e->open ? PO_DESK_OPEN : PO_DESK_CLOSED_ALWAYS;
    r->out[r->n_out++] = (po_desk_event){span, effect, e->summary, e->line};
    return PO_OK;
}

static po_status put_local(reader *r, const event *e, const outs *o, int64_t local)
{
    po_ms_span span = span_at(r, e, local);
    if (span.until_ms <= r->within.from_ms || span.from_ms >= r->within.until_ms) {
        return PO_OK;
    }
    return is_out(r, e, o, local) ? PO_OK : put(r, e, span);
}

static po_status expand(reader *r, const event *e)
{
    int64_t until = r->within.until_ms / 1000 + 2 * DAY_S;
    outs o;
    po_status s = read_outs(r, e, &o);
    s = s == PO_OK ? put_local(r, e, &o, e->start.time.local_s) : s;
    for (size_t i = e->first + 1; s == PO_OK && i < e->last; i++) {
        const po_ical_line *l = &r->lines[i];
        if (po_text_same(l->name, "RRULE") && !e->moved) {
            po_ical_time own;
            bool utc = po_ical_rule_until(l->value, &own) && own.utc && !e->start.time.utc;
            const int64_t *list = NULL;
            size_t n = 0;
            s = po_ical_expand(l->value, e->start.time, until,
                               utc ? to_local(r, e->start.clock, own.local_s) : INT64_MIN, &r->budget, r->arena, &list,
                               &n, r->err);
            s = placed(r, s, l->line);
            for (size_t k = 0; s == PO_OK && k < n; k++) {
                s = list[k] != e->start.time.local_s ? put_local(r, e, &o, list[k]) : PO_OK;
            }
        } else if (po_text_same(l->name, "RDATE")) {
            for (const char *p = l->value; s == PO_OK && *p;) {
                size_t n = strcspn(p, ","), first = strcspn(p, "/,");
                moment m;
                s = read_moment(r, l, p, first, &m);
                if (s == PO_OK && first < n) { /* a period has an end or length of its own */
                    moment end = m;
                    int64_t days, seconds;
                    if (po_ical_duration_read(p + first + 1, n - first - 1, &days, &seconds)) {
                        end.time.local_s += days * DAY_S + seconds;
                    } else {
                        s = read_moment(r, l, p + first + 1, n - first - 1, &end);
                    }
                    s = s == PO_OK ? put(r, e, (po_ms_span){utc_of(r, &m) * 1000, utc_of(r, &end) * 1000}) : s;
                } else if (s == PO_OK) {
                    int64_t local = m.time.is_date || e->start.time.utc
                                        ? (e->start.time.utc ? utc_of(r, &m) : m.time.local_s)
                                        : to_local(r, e->start.clock, utc_of(r, &m));
                    s = put_local(r, e, &o, local);
                }
                p += n + (p[n] == ',');
            }
        }
    }
    return s;
}

static int by_time(const void *a, const void *b)
{
    const po_desk_event *x = a, *y = b;
    return x->span.from_ms != y->span.from_ms
               ? (x->span.from_ms > y->span.from_ms) - (x->span.from_ms < y->span.from_ms)
           : x->line != y->line ? (x->line > y->line) - (x->line < y->line)
                                : (x->span.until_ms > y->span.until_ms) - (x->span.until_ms < y->span.until_ms);
}

po_status po_ical_read(const char *text, size_t n_bytes, const char *name, const po_zone *zone, po_ms_span within,
                       bool others_close, po_arena *arena, const po_desk_event **ret_events, size_t *ret_n, po_err *err)
{
    reader *r = po_arena_zeros(arena, 1, sizeof *r);
    if (!r) {
        return po_fail(err, PO_E_NOMEM, "no memory for a calendar");
    }
    *r = (reader){.name = name,
                  .shop_zone = zone,
                  .arena = arena,
                  .budget = OCCURRENCES_MOST,
                  .within = within,
                  .others_close = others_close,
                  .err = err};
    po_status s = po_ical_lines(text, n_bytes, name, arena, &r->lines, &r->n_lines, err);
    size_t n_begin = 0;
    for (size_t i = 0; s == PO_OK && i < r->n_lines; i++) {
        n_begin += po_text_same(r->lines[i].name, "BEGIN");
    }
    r->events = s == PO_OK ? po_arena_zeros(arena, n_begin + 1, sizeof *r->events) : NULL;
    r->moved = s == PO_OK ? po_arena_zeros(arena, n_begin + 1, sizeof *r->moved) : NULL;
    if (s == PO_OK && (!r->events || !r->moved)) {
        s = po_fail(err, PO_E_NOMEM, "no memory for a calendar");
    }
    int deep = 0;
    for (size_t i = 0, first = 0; s == PO_OK && i < r->n_lines; i++) {
        bool begins = po_text_same(r->lines[i].name, "BEGIN"), ends = po_text_same(r->lines[i].name, "END");
        bool is_event = (begins || ends) && po_text_same(r->lines[i].value, "VEVENT");
        if (begins && ++deep == 2 && is_event) {
            first = i;
        } else if (ends && deep-- == 2 && is_event) {
            s = read_event(r, first, i);
        }
    }
    for (size_t i = 0; s == PO_OK && i < r->n_events; i++) {
        r->moved[r->n_moved] = &r->events[i];
        r->n_moved += r->events[i].moved;
    }
    if (r->n_moved > 1) {
        qsort(r->moved, r->n_moved, sizeof *r->moved, by_uid);
    }
    for (size_t i = 0; s == PO_OK && i < r->n_events; i++) {
        const event *e = &r->events[i];
        bool marked = e->open || e->closed;
        if (!e->cancelled && (marked || (others_close && !e->transparent))) {
            s = expand(r, e);
        }
    }
    for (size_t i = 0; i < r->n_clocks; i++) {
        po_ical_zone_free(r->clocks[i].own);
    }
    if (s == PO_OK) {
        if (r->n_out > 0) {
            qsort(r->out, r->n_out, sizeof *r->out, by_time);
        }
        *ret_events = r->out;
        *ret_n = r->n_out;
    }
    return s;
}
