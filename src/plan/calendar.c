/* Desk hours as moments. SPDX-License-Identifier: Apache-2.0
 *
 * Everything is laid out once as stretches of UTC, so that a change of the clocks needs no thought afterwards; then layer by
 * layer: weekly hours, less closures, with openings, less what says itself that the desk is closed. */
#include "proveout/calendar.h"

#include <stdlib.h>
#include <string.h>

#include "plan/zone.h"
#include "shop/excepted.h"

enum { DAY_S = 86400, DAYS_MOST = 7320 /* 20 years */ };

typedef struct span_list {
    po_ms_span *spans;
    size_t n;
} span_list;

static int by_time(const void *a, const void *b)
{
    const po_ms_span *x = a, *y = b;
    return x->from_ms != y->from_ms ? (x->from_ms > y->from_ms) - (x->from_ms < y->from_ms)
                                    : (x->until_ms > y->until_ms) - (x->until_ms < y->until_ms);
}

/* Rising and apart: those that touch become one, empty ones go. */
static void tidy(span_list *l)
{
    size_t n = 0;
    qsort(l->spans, l->n, sizeof *l->spans, by_time);
    for (size_t i = 0; i < l->n; i++) {
        po_ms_span s = l->spans[i];
        if (s.from_ms >= s.until_ms) {
            continue;
        }
        if (n > 0 && s.from_ms <= l->spans[n - 1].until_ms) {
            l->spans[n - 1].until_ms = s.until_ms > l->spans[n - 1].until_ms ? s.until_ms : l->spans[n - 1].until_ms;
        } else {
            l->spans[n++] = s;
        }
    }
    l->n = n;
}

/* a without b, both tidy; each piece of b cuts at most one piece in two. */
static bool without(const span_list *a, const span_list *b, po_arena *arena, span_list *ret)
{
    *ret = (span_list){po_arena_zeros(arena, a->n + b->n + 1, sizeof *ret->spans), 0};
    size_t k = 0;
    for (size_t i = 0; ret->spans && i < a->n; i++) {
        po_ms_span s = a->spans[i];
        while (k < b->n && b->spans[k].until_ms <= s.from_ms) {
            k++;
        }
        for (size_t c = k; c < b->n && b->spans[c].from_ms < s.until_ms; c++) {
            if (b->spans[c].from_ms > s.from_ms) {
                ret->spans[ret->n++] = (po_ms_span){s.from_ms, b->spans[c].from_ms};
            }
            s.from_ms = b->spans[c].until_ms;
        }
        if (s.from_ms < s.until_ms) {
            ret->spans[ret->n++] = s;
        }
    }
    return ret->spans != NULL;
}

static int64_t at(const po_zone *zone, int64_t day, int minute)
{
    int64_t first, second;
    po_zone_times times = po_zone_utc(zone, day * DAY_S + minute * INT64_C(60), &first, &second);
    return 1000 * (times == PO_ZONE_NEVER ? second : first);
}

static const char *const weekdays[] = {"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"};

static po_status sound(const po_shop *shop, po_err *err)
{
    bool any = false;
    for (int d = 0; d < 7; d++) {
        const po_day_hours *day = &shop->hours[d];
        for (size_t i = 0; i < day->n_spans; i++) {
            const po_span_minutes *s = &day->spans[i];
            any = true;
            if (s->from < 0 || s->to > 1440 || s->from >= s->to) {
                return po_fail(err, PO_E_RANGE,
                               "on %s the desk would close (%d:%02d) before it opens (%d:%02d); mend the hours",
                               weekdays[d], s->to / 60, s->to % 60, s->from / 60, s->from % 60);
            }
            if (i > 0 && s->from < day->spans[i - 1].to) {
                return po_fail(err, PO_E_RANGE, "on %s the hours from %d:%02d overlap those before; mend the hours",
                               weekdays[d], s->from / 60, s->from % 60);
            }
        }
    }
    return any ? PO_OK : po_fail(err, PO_E_EMPTY, "the desk has no hours on any day; give the shop file hours");
}

static bool events_of(const po_desk_event *events, size_t n, po_desk_effect effect, po_arena *arena, span_list *ret)
{
    *ret = (span_list){po_arena_zeros(arena, n + 1, sizeof *ret->spans), 0};
    for (size_t i = 0; ret->spans && i < n; i++) {
        if (events[i].effect == effect) {
            ret->spans[ret->n++] = events[i].span;
        }
    }
    if (ret->spans) {
        tidy(ret);
    }
    return ret->spans != NULL;
}

po_status po_calendar_make(const po_shop *shop, const po_zone *zone, po_ms_span within, const po_desk_event *events,
                           size_t n_events, po_arena *arena, const po_calendar **ret_calendar, po_err *err)
{
    bool opens = false;
    if (shop->n_exceptions > 0) { /* those that the shop brings along */
        po_desk_event *both = po_arena_zeros(arena, shop->n_exceptions + n_events, sizeof *both);
        if (!both) {
            return po_fail(err, PO_E_NOMEM, "no memory for the calendar");
        }
        for (size_t i = 0; i < shop->n_exceptions; i++) {
            const po_shop_exception *e = &shop->exceptions[i];
            both[i] = (po_desk_event){{e->from_ms, e->until_ms}, (po_desk_effect)e->effect, "", 0};
        }
        if (n_events > 0) {
            memcpy(both + shop->n_exceptions, events, n_events * sizeof *both);
        }
        events = both;
        n_events += shop->n_exceptions;
    }
    for (size_t i = 0; i < n_events; i++) {
        opens |= events[i].effect == PO_DESK_OPEN;
    }
    po_status s = sound(shop, err);
    if (s != PO_OK && !(s == PO_E_EMPTY && opens)) {
        return s;
    }
    if (within.until_ms <= within.from_ms ||
        within.until_ms / 1000 - within.from_ms / 1000 > (int64_t)DAYS_MOST * DAY_S) {
        return po_fail(err, PO_E_RANGE, "a calendar is laid out for a stretch of up to 20 years");
    }
    int64_t first = po_day_of(po_zone_wall(zone, within.from_ms, NULL).date),
            last = po_day_of(po_zone_wall(zone, within.until_ms, NULL).date);
    size_t most = 0;
    for (int d = 0; d < 7; d++) {
        most = shop->hours[d].n_spans > most ? shop->hours[d].n_spans : most;
    }
    po_calendar *c = po_arena_zeros(arena, 1, sizeof *c);
    span_list all = {po_arena_zeros(arena, (size_t)(last - first + 1) * (most > 0 ? most : 1), sizeof *all.spans), 0};
    span_list closed = {po_arena_zeros(arena, shop->n_closed + n_events + 1, sizeof *closed.spans), 0}, always, open,
              said, less;
    if (!c || !all.spans || !closed.spans || !events_of(events, n_events, PO_DESK_CLOSED_ALWAYS, arena, &always) ||
        !events_of(events, n_events, PO_DESK_OPEN, arena, &open) ||
        !events_of(events, n_events, PO_DESK_CLOSED, arena, &said)) {
        return po_fail(err, PO_E_NOMEM, "no memory for the calendar");
    }
    for (int64_t day = first; day <= last; day++) {
        const po_day_hours *h = &shop->hours[((day + 3) % 7 + 7) % 7]; /* 1970-01-01 was a Thursday */
        for (size_t i = 0; i < h->n_spans; i++) {
            all.spans[all.n++] = (po_ms_span){at(zone, day, h->spans[i].from), at(zone, day, h->spans[i].to)};
        }
    }
    for (size_t i = 0; i < shop->n_closed; i++) {
        closed.spans[closed.n++] = (po_ms_span){at(zone, po_day_of(shop->closed[i].from), 0),
                                                at(zone, po_day_of(shop->closed[i].to) + 1, 0)};
    }
    memcpy(closed.spans + closed.n, always.spans, always.n * sizeof *always.spans);
    closed.n += always.n;
    tidy(&all);
    tidy(&closed);
    span_list with = {NULL, 0}, left,
              bounds = {(po_ms_span[2]){{INT64_MIN, within.from_ms}, {within.until_ms, INT64_MAX}}, 2};
    if (!without(&all, &closed, arena, &less) ||
        !(with.spans = po_arena_zeros(arena, less.n + open.n + 1, sizeof *with.spans))) {
        return po_fail(err, PO_E_NOMEM, "no memory for the calendar");
    }
    memcpy(with.spans, less.spans, less.n * sizeof *less.spans);
    memcpy(with.spans + less.n, open.spans, open.n * sizeof *open.spans);
    with.n = less.n + open.n;
    tidy(&with);
    if (!without(&with, &said, arena, &less) || !without(&less, &bounds, arena, &left)) {
        return po_fail(err, PO_E_NOMEM, "no memory for the calendar");
    }
    if (left.n == 0) {
        po_wall_time from = po_zone_wall(zone, within.from_ms, NULL), until = po_zone_wall(zone, within.until_ms, NULL);
        return po_fail(err, PO_E_EMPTY,
                       "the desk never opens from %04d-%02d-%02d to %04d-%02d-%02d; look at the hours and closures",
                       from.date.year, from.date.month, from.date.day, until.date.year, until.date.month,
                       until.date.day);
    }
    *c = (po_calendar){shop, zone, within, left.spans, left.n};
    *ret_calendar = c;
    return PO_OK;
}

_Static_assert((int)PO_DESK_OPEN == (int)PO_SHOP_OPEN && (int)PO_DESK_CLOSED == (int)PO_SHOP_CLOSED,
               "one and the same order");

po_status po_shop_with_events(const po_shop *shop, const po_zone *zone, const po_desk_event *events, size_t n_events,
                              po_arena *arena, const po_shop **ret_shop, po_err *err)
{
    po_shop *copy = po_arena_zeros(arena, 1, sizeof *copy);
    po_shop_exception *all = po_arena_zeros(arena, shop->n_exceptions + n_events + 1, sizeof *all);
    if (!copy || !all) {
        return po_fail(err, PO_E_NOMEM, "no memory for the calendar");
    }
    *copy = *shop;
    if (shop->n_exceptions > 0) {
        memcpy(all, shop->exceptions, shop->n_exceptions * sizeof *all);
    }
    for (size_t i = 0; i < n_events; i++) {
        const po_desk_event *e = &events[i];
        all[shop->n_exceptions + i] = (po_shop_exception){
            e->span.from_ms, e->span.until_ms, po_zone_wall(zone, e->span.from_ms, NULL),
            po_zone_wall(zone, e->span.until_ms, NULL), (po_shop_effect)e->effect};
    }
    copy->exceptions = all;
    copy->n_exceptions = shop->n_exceptions + n_events;
    *ret_shop = copy;
    return po_shop_lay_exceptions(copy, arena, err);
}

bool po_calendar_next(const po_calendar *c, int64_t ms, po_ms_span *ret)
{
    size_t low = 0, high = c->n_spans; /* the first that is not over */
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (c->spans[mid].until_ms <= ms) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    if (low == c->n_spans) {
        return false;
    }
    *ret = c->spans[low];
    return true;
}

bool po_calendar_staffed(const po_calendar *c, int64_t ms)
{
    po_ms_span s;
    return po_calendar_next(c, ms, &s) && s.from_ms <= ms;
}

bool po_calendar_staffed_all(const po_calendar *c, int64_t from_ms, int64_t until_ms)
{
    po_ms_span s;
    return po_calendar_next(c, from_ms, &s) && s.from_ms <= from_ms && until_ms <= s.until_ms;
}

bool po_calendar_next_staffed(const po_calendar *c, int64_t ms, int64_t *ret_ms)
{
    po_ms_span s;
    if (!po_calendar_next(c, ms, &s)) {
        return false;
    }
    *ret_ms = s.from_ms > ms ? s.from_ms : ms;
    return true;
}
