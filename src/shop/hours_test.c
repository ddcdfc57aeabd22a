/* Calendar arithmetic against known weekdays, and desk hours. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "proveout/shop.h"
#include "shop/excepted.h"
#include "shop/values.h"

static void test_weekdays(void **state)
{
    (void)state;
    /* ISO 8601:2004 counts Monday first; its reference day 2000-01-01 is a Saturday (section 3.2.1, from memory).
     * Others: 1875-05-20, a Thursday, the day of the Metre Convention; 1970-01-01, a Thursday; 2024-02-29, a Thursday. */
    static const struct {
        po_date date;
        int weekday;
    } known[] = {{{2000, 1, 1}, 5},   {{1875, 5, 20}, 3},  {{1970, 1, 1}, 3}, {{2024, 2, 29}, 3},
                 {{2026, 11, 26}, 3}, {{2026, 12, 25}, 4}, {{2027, 1, 1}, 4}, {{2000, 2, 29}, 1}};
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        assert_int_equal(po_weekday(known[i].date), known[i].weekday);
    }
    /* The C library's calendar (POSIX, seconds since the epoch) says the same for every day of 1901 to 2200. */
    for (time_t day = -25202; day < 84370; day++) {
        struct tm tm;
        time_t t = day * 86400;
        assert_non_null(gmtime_r(&t, &tm));
        po_date date = {tm.tm_year + 1900, tm.tm_mon + 1, tm.tm_mday};
        assert_int_equal(po_weekday(date), (tm.tm_wday + 6) % 7);
        po_wall_time next = po_wall_add((po_wall_time){{1970, 1, 1}, 0}, (long)day * 1440);
        assert_int_equal(po_date_order(next.date, date), 0);
    }
}

static void test_adding(void **state)
{
    (void)state;
    po_wall_time t = po_wall_add((po_wall_time){{2024, 2, 28}, 1439}, 1);
    assert_true(t.date.month == 2 && t.date.day == 29 && t.minute == 0);
    t = po_wall_add(t, -1);
    assert_true(t.date.day == 28 && t.minute == 1439);
    t = po_wall_add((po_wall_time){{2026, 12, 31}, 1200}, 300);
    assert_true(t.date.year == 2027 && t.date.month == 1 && t.date.day == 1 && t.minute == 60);
    t = po_wall_add((po_wall_time){{2027, 1, 1}, 10}, -1440 * 365 - 11);
    assert_true(t.date.year == 2025 && t.date.month == 12 && t.date.day == 31 && t.minute == 1439);
}

static const char text[] =
    "shop: {name: Shed}\n"
    "hours: {monday: [\"10:00-20:00\"], wednesday: [\"14:00-20:00\", \"9:30-13:00\"], saturday: [\"22:00-24:00\"],\n"
    "        closed: [\"2026-12-24/2027-01-03\", 2026-11-30]}\n"
    "materials: {pla: {density_g_cm3: 1.24, nozzle_c: [190, 220], bed_c: [45, 60], glass_c: 60}}\n"
    "machines:\n"
    "  - {name: One, bed: {shape: rectangle, x: 100, y: 100}, height: 90, bed_hottest_c: 100, materials: [pla],\n"
    "     nozzles: [{diameter: 0.4, hottest_c: 260, melt_mm3_s: 11}],\n"
    "     motion: {feed_mm_s: &a {x: 9, y: 9, z: 9, e: 9}, accel_mm_s2: *a, print_mm_s2: 9,\n"
    "              corner: {rule: deviation, mm: 0.02}}}\n";

static void test_staffed(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_shop *s = NULL;
    po_shop_faults faults;
    assert_int_equal(po_shop_read(text, strlen(text), "text", arena, &s, &faults, NULL), PO_OK);
    assert_int_equal(s->hours[2].spans[0].from, 570); /* put in order */
    static const struct { /* asked: 2026-11, day and time; wanted: staffed then, and the next time somebody is there */
        int day, minute;
        bool staffed;
        int next_month, next_day, next_minute;
    } cases[] = {
        {23, 599, false, 11, 23, 600},  /* Monday, a minute early */
        {23, 600, true, 11, 23, 600},   /* opening belongs to the hours */
        {23, 1199, true, 11, 23, 1199}, /* the last minute */
        {23, 1200, false, 11, 25, 570}, /* closing does not; the next is Wednesday */
        {25, 780, false, 11, 25, 840},  /* the midday gap */
        {28, 1439, true, 11, 28, 1439}, /* Saturday until midnight */
        {29, 0, false, 12, 2, 570},     /* Sunday; Monday the 30th is closed */
        {30, 700, false, 12, 2, 570},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        po_wall_time t = {{2026, 11, cases[i].day}, cases[i].minute}, next;
        assert_int_equal(po_shop_staffed(s, t), cases[i].staffed);
        assert_true(po_shop_next_staffed(s, t, &next));
        assert_int_equal(next.date.month, cases[i].next_month);
        assert_int_equal(next.date.day, cases[i].next_day);
        assert_int_equal(next.minute, cases[i].next_minute);
    }
    po_wall_time next, eve = {{2026, 12, 24}, 700};
    assert_true(po_shop_next_staffed(s, eve, &next)); /* the whole of the closure is stepped over */
    assert_true(next.date.year == 2027 && next.date.month == 1 && next.date.day == 4 && next.minute == 600);
    const po_date mon = {2026, 11, 23}, tue = {2026, 11, 24}, wed = {2026, 11, 25};
    const po_shop_exception exceptions[] = {
        {0, 0, {mon, 900}, {mon, 960}, PO_SHOP_CLOSED},               /* a meeting */
        {0, 0, {wed, 0}, {{2026, 11, 26}, 0}, PO_SHOP_CLOSED_ALWAYS}, /* a holiday ... */
        {0, 0, {wed, 1080}, {wed, 1200}, PO_SHOP_OPEN}, /* ... with an opening, but closed for half an hour */
        {0, 0, {wed, 1140}, {wed, 1170}, PO_SHOP_CLOSED},
        {0, 0, {tue, 720}, {tue, 780}, PO_SHOP_OPEN}, /* on a day when nobody is there */
    };
    po_shop excepted = *s;
    excepted.exceptions = exceptions;
    excepted.n_exceptions = sizeof exceptions / sizeof exceptions[0];
    assert_int_equal(po_shop_lay_exceptions(&excepted, arena, NULL), PO_OK);
    const struct {
        po_date date;
        int minute, staffed, next_day, next_minute;
    } rows[] = {
        {mon, 899, 1, 23, 899},   {mon, 900, 0, 23, 960},   {mon, 960, 1, 23, 960},  {mon, 1200, 0, 24, 720},
        {tue, 719, 0, 24, 720},   {tue, 780, 0, 25, 1080},  {wed, 700, 0, 25, 1080}, {wed, 1139, 1, 25, 1139},
        {wed, 1140, 0, 25, 1170}, {wed, 1199, 1, 25, 1199},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        po_wall_time t = {rows[i].date, rows[i].minute};
        assert_int_equal(po_shop_staffed(&excepted, t), rows[i].staffed);
        assert_true(po_shop_next_staffed(&excepted, t, &next));
        assert_int_equal(next.date.day, rows[i].next_day);
        assert_int_equal(next.minute, rows[i].next_minute);
    }
    assert_int_equal(po_shop_staffed_until(&excepted, (po_wall_time){mon, 610}).minute, 900);
    assert_int_equal(po_shop_staffed_until(&excepted, (po_wall_time){wed, 1100}).minute, 1140);
    assert_int_equal(po_shop_staffed_until(&excepted, (po_wall_time){wed, 1180}).minute, 1200);
    assert_int_equal(po_shop_staffed_until(&excepted, (po_wall_time){wed, 100}).minute, 100); /* nobody is there */
    po_shop never = *s;
    memset(never.hours, 0, sizeof never.hours);
    assert_false(po_shop_next_staffed(&never, eve, &next));
    po_arena_free(arena);
}

static void test_values(void **state)
{
    (void)state;
    po_date d, e;
    bool backwards;
    static const char *const bad_days[] = {"2026-02-29", "2100-02-29", "2026-13-01", "2026-00-10", "2026-04-31",
                                           "2026-4-3",   "2026-12-32", "20261203",   "1999-01-01", "2026-12-00"};
    for (size_t i = 0; i < sizeof bad_days / sizeof bad_days[0]; i++) {
        assert_false(po_value_date(bad_days[i], strlen(bad_days[i]), &d));
    }
    assert_true(po_value_date("2000-02-29", 10, &d));
    assert_true(po_value_dates("2026-02-01/2026-02-01", 21, false, &d, &e, &backwards));
    assert_false(po_value_dates("2026-02-02/2026-02-01", 21, false, &d, &e, &backwards));
    assert_true(backwards);
    assert_false(po_value_dates("2026-02-02", 10, false, &d, &e, &backwards));
    po_span_minutes span;
    static const char *const bad_spans[] = {"10:00",       "10-12",         "10:00-25:00",  "10:60-11:00",
                                            "24:01-24:02", "1000-1200",     "10:00-10:00",  "10:0-11:0",
                                            "-10:00",      "100:00-101:00", "10:00 - 11:00"};
    for (size_t i = 0; i < sizeof bad_spans / sizeof bad_spans[0]; i++) {
        assert_false(po_value_span(bad_spans[i], strlen(bad_spans[i]), &span, &backwards));
    }
    assert_true(po_value_span("0:00-24:00", 10, &span, &backwards));
    assert_true(span.from == 0 && span.to == 1440);
    double x;
    static const char *const bad_numbers[] = {"",      "-",   ".",   "1e5",   "0x10", "nan",   ".nan", "inf", ".inf",
                                              "1_000", "010", "1,5", "1.2.3", "1 ",   "12:30", "--1",  "1a"};
    for (size_t i = 0; i < sizeof bad_numbers / sizeof bad_numbers[0]; i++) {
        assert_false(po_value_number(bad_numbers[i], strlen(bad_numbers[i]), &x));
    }
    assert_true(po_value_number("-0.30", 5, &x) && x == -0.3);
    assert_true(po_value_number("+.5", 3, &x) && x == 0.5);
    assert_true(po_value_number("0", 1, &x) && x == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_weekdays),
        cmocka_unit_test(test_adding),
        cmocka_unit_test(test_staffed),
        cmocka_unit_test(test_values),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
