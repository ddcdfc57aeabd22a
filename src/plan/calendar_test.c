/* Desk hours as moments, by hand; and the layers in every order. SPDX-License-Identifier: Apache-2.0 */
#include "base/random.h"
#include "plan/kit.h"

static const po_span_minutes ten_to_eight[] = {{600, 1200}}, with_break[] = {{600, 780}, {840, 1200}},
                             night[] = {{30, 150}}, touching[] = {{600, 780}, {780, 1200}};

/* The desk is there Monday to Friday from 10:00 to 20:00, on Wednesdays with a break from 13:00 to 14:00. */
static po_shop weekly(void)
{
    po_shop shop = {.name = "Quayside Workshop", .time_zone = "Europe/London"};
    for (int d = 0; d < 5; d++) {
        shop.hours[d] = (po_day_hours){ten_to_eight, 1};
    }
    shop.hours[2] = (po_day_hours){with_break, 2};
    return shop;
}

static const po_calendar *make(po_arena *arena, const po_shop *shop, int64_t from, int64_t until,
                               const po_desk_event *events, size_t n)
{
    const po_calendar *c = NULL;
    po_err err = {0};
    if (po_calendar_make(shop, zone_of(arena, "Europe/London"), (po_ms_span){from, until}, events, n, arena, &c,
                         &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    return c;
}

static void is_span(const po_calendar *c, size_t i, int64_t from, int64_t until)
{
    assert_true(i < c->n_spans);
    assert_int_equal(c->spans[i].from_ms, from);
    assert_int_equal(c->spans[i].until_ms, until);
}

/* Tuesday 1 to Monday 7 December 2026; London is at UTC. */
static void a_week(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_shop shop = weekly();
    po_dates closed[] = {{NULL, {2026, 12, 4}, {2026, 12, 4}}};
    shop.closed = closed;
    shop.n_closed = 1;
    const po_calendar *c = make(arena, &shop, utc(2026, 12, 1, 12, 0), utc(2026, 12, 7, 12, 0), NULL, 0);
    assert_int_equal(c->n_spans, 5);
    is_span(c, 0, utc(2026, 12, 1, 12, 0), utc(2026, 12, 1, 20, 0)); /* cut at what is laid out */
    is_span(c, 1, utc(2026, 12, 2, 10, 0), utc(2026, 12, 2, 13, 0));
    is_span(c, 2, utc(2026, 12, 2, 14, 0), utc(2026, 12, 2, 20, 0));
    is_span(c, 3, utc(2026, 12, 3, 10, 0), utc(2026, 12, 3, 20, 0));
    is_span(c, 4, utc(2026, 12, 7, 10, 0), utc(2026, 12, 7, 12, 0)); /* Friday closed, no weekend */
    assert_true(po_calendar_staffed(c, utc(2026, 12, 2, 12, 59)));
    assert_false(po_calendar_staffed(c, utc(2026, 12, 2, 13, 0)));
    assert_true(po_calendar_staffed_all(c, utc(2026, 12, 2, 12, 0), utc(2026, 12, 2, 13, 0)));
    assert_false(po_calendar_staffed_all(c, utc(2026, 12, 2, 12, 0), utc(2026, 12, 2, 13, 0) + 1));
    assert_false(po_calendar_staffed_all(c, utc(2026, 12, 2, 12, 0), utc(2026, 12, 2, 15, 0))); /* over the break */
    int64_t next;
    assert_true(po_calendar_next_staffed(c, utc(2026, 12, 3, 20, 0), &next));
    assert_int_equal(next, utc(2026, 12, 7, 10, 0));
    assert_false(po_calendar_next_staffed(c, utc(2026, 12, 7, 12, 0), &next));
    po_arena_free(arena);
}

/* On 2026-10-25 it is 1:00 to 2:00 twice, on 2027-03-28 never; both Sundays. 0:30 to 2:30 is three hours and one. */
static void clocks_change(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_shop shop = weekly();
    shop.hours[6] = (po_day_hours){night, 1};
    const po_calendar *c = make(arena, &shop, utc(2026, 10, 24, 12, 0), utc(2026, 10, 25, 12, 0), NULL, 0);
    assert_int_equal(c->n_spans, 1);
    is_span(c, 0, utc(2026, 10, 24, 23, 30), utc(2026, 10, 25, 2, 30));
    c = make(arena, &shop, utc(2027, 3, 27, 12, 0), utc(2027, 3, 28, 12, 0), NULL, 0);
    is_span(c, 0, utc(2027, 3, 28, 0, 30), utc(2027, 3, 28, 1, 30));
    c = make(arena, &shop, utc(2026, 10, 23, 12, 0), utc(2026, 10, 26, 12, 0), NULL,
             0); /* 10:00 is 9:00 UTC, then 10:00 */
    is_span(c, 0, utc(2026, 10, 23, 12, 0), utc(2026, 10, 23, 19, 0));
    is_span(c, 2, utc(2026, 10, 26, 10, 0), utc(2026, 10, 26, 12, 0));
    po_arena_free(arena);
}

/* Layers: an opening goes before the weekend, the shop's closures and holidays; what says closed goes before all. */
static void layers(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_shop shop = weekly();
    po_dates closed[] = {{NULL, {2026, 12, 24}, {2027, 1, 3}}};
    shop.closed = closed;
    shop.n_closed = 1;
    po_desk_event e[] = {
        {{utc(2026, 12, 19, 11, 0), utc(2026, 12, 19, 15, 0)}, PO_DESK_OPEN, "", 0},        /* a Saturday */
        {{utc(2026, 12, 28, 12, 0), utc(2026, 12, 28, 14, 0)}, PO_DESK_OPEN, "", 0},        /* in the closure */
        {{utc(2026, 12, 21, 0, 0), utc(2026, 12, 22, 0, 0)}, PO_DESK_CLOSED_ALWAYS, "", 0}, /* a Monday's holiday */
        {{utc(2026, 12, 21, 18, 0), utc(2026, 12, 21, 19, 0)}, PO_DESK_OPEN, "", 0},        /* yet an hour */
        {{utc(2026, 12, 19, 12, 0), utc(2026, 12, 19, 13, 0)}, PO_DESK_CLOSED, "", 0},
        {{utc(2026, 12, 22, 15, 0), utc(2026, 12, 22, 15, 0)}, PO_DESK_CLOSED, "", 0}, /* nothing */
        {{utc(2026, 12, 22, 20, 0), utc(2026, 12, 22, 21, 0)}, PO_DESK_OPEN, "", 0},   /* an hour longer */
    };
    enum { N = sizeof e / sizeof e[0] };
    for (int turn = 0; turn < N; turn++) { /* whatever the order */
        const po_calendar *c = make(arena, &shop, utc(2026, 12, 19, 0, 0), utc(2027, 1, 4, 0, 0), e, N);
        assert_int_equal(c->n_spans, 7);
        is_span(c, 0, utc(2026, 12, 19, 11, 0), utc(2026, 12, 19, 12, 0));
        is_span(c, 1, utc(2026, 12, 19, 13, 0), utc(2026, 12, 19, 15, 0));
        is_span(c, 2, utc(2026, 12, 21, 18, 0), utc(2026, 12, 21, 19, 0));
        is_span(c, 3, utc(2026, 12, 22, 10, 0), utc(2026, 12, 22, 21, 0));
        is_span(c, 6, utc(2026, 12, 28, 12, 0), utc(2026, 12, 28, 14, 0));
        po_desk_event first = e[0];
        memmove(e, e + 1, (N - 1) * sizeof *e);
        e[N - 1] = first;
    }
    po_arena_free(arena);
}

/* po_shop_staffed says the same of every quarter of an hour of a year, changes of the clocks included. */
static void like_the_wall(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_shop shop = weekly();
    po_dates closed[] = {{NULL, {2026, 12, 24}, {2027, 1, 3}}, {NULL, {2027, 3, 26}, {2027, 3, 26}}};
    shop.closed = closed;
    shop.n_closed = 2;
    int64_t from = utc(2026, 10, 1, 0, 0), until = utc(2027, 10, 1, 0, 0);
    const po_calendar *c = make(arena, &shop, from, until, NULL, 0);
    for (int64_t ms = from; ms < until; ms += 15 * 60000) {
        if (po_calendar_staffed(c, ms) != po_shop_staffed(&shop, po_zone_wall(c->zone, ms, NULL))) {
            fail_msg("at %lld", (long long)ms);
        }
    }
    /* the same with exceptions of all kinds, many, overlapping, in no order */
    po_desk_event *e = po_arena_zeros(arena, 3000, sizeof *e);
    const po_shop *with;
    uint64_t random = 11;
    for (size_t i = 0; i < 3000; i++) {
        int64_t begin = from + 900000 * (int64_t)(po_random_next(&random) % 35000);
        e[i] = (po_desk_event){{begin, begin + 900000 * (int64_t)(1 + po_random_next(&random) % (i % 50 ? 9 : 200))},
                               (po_desk_effect)(po_random_next(&random) % 3),
                               "",
                               0};
    }
    assert_int_equal(po_shop_with_events(&shop, c->zone, e, 3000, arena, &with, NULL), PO_OK);
    c = make(arena, with, from, until, NULL, 0);
    size_t n = 0;
    for (int64_t ms = from; ms < until; ms += 15 * 60000) {
        bool staffed = po_calendar_staffed(c, ms);
        n += staffed;
        if (ms > utc(2026, 10, 24, 0, 0) && ms < utc(2026, 10, 27, 0, 0)) {
            continue; /* an hour comes twice on the wall */
        }
        if (staffed != po_shop_staffed(with, po_zone_wall(c->zone, ms, NULL))) {
            fail_msg("with exceptions, at %lld", (long long)ms);
        }
    }
    assert_true(n > 3000 && n < 20000);
    po_arena_free(arena);
}

static void faults(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_zone *z = zone_of(arena, "Europe/London");
    const po_calendar *c;
    po_err err;
    static const po_span_minutes back[] = {{1200, 600}}, over[] = {{600, 780}, {720, 1200}}, long_day[] = {{600, 1500}};
    po_ms_span year = {utc(2026, 1, 1, 0, 0), utc(2027, 1, 1, 0, 0)}, none = {5, 5};
    po_shop shop = weekly();
    shop.hours[1] = (po_day_hours){back, 1};
    assert_int_equal(po_calendar_make(&shop, z, year, NULL, 0, arena, &c, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "on Tuesday the desk would close (10:00) before it opens (20:00)"));
    shop.hours[1] = (po_day_hours){over, 2};
    assert_int_equal(po_calendar_make(&shop, z, year, NULL, 0, arena, &c, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "on Tuesday the hours from 12:00 overlap"));
    shop.hours[1] = (po_day_hours){long_day, 1};
    assert_int_equal(po_calendar_make(&shop, z, year, NULL, 0, arena, &c, &err), PO_E_RANGE);
    shop.hours[1] = (po_day_hours){touching, 2}; /* fine: one stretch */
    assert_int_equal(po_calendar_make(&shop, z, year, NULL, 0, arena, &c, &err), PO_OK);
    assert_int_equal(po_calendar_make(&shop, z, none, NULL, 0, arena, &c, &err), PO_E_RANGE);
    po_dates closed[] = {{NULL, {2025, 1, 1}, {2028, 1, 1}}};
    shop.closed = closed;
    shop.n_closed = 1;
    assert_int_equal(po_calendar_make(&shop, z, year, NULL, 0, arena, &c, &err), PO_E_EMPTY);
    assert_non_null(strstr(err.msg, "never opens from 2026-01-01 to 2027-01-01"));
    po_shop shut = {.name = "x"};
    assert_int_equal(po_calendar_make(&shut, z, year, NULL, 0, arena, &c, &err), PO_E_EMPTY);
    assert_non_null(strstr(err.msg, "no hours on any day"));
    po_desk_event open = {{utc(2026, 5, 1, 9, 0), utc(2026, 5, 1, 10, 0)}, PO_DESK_OPEN, "", 0};
    assert_int_equal(po_calendar_make(&shut, z, year, &open, 1, arena, &c, &err), PO_OK);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_week),        cmocka_unit_test(clocks_change), cmocka_unit_test(layers),
        cmocka_unit_test(like_the_wall), cmocka_unit_test(faults),
    };
    return cmocka_run_group_tests_name("calendar", tests, NULL, NULL);
}
