/* Zones: against the C library, against published changes, and broken files. SPDX-License-Identifier: Apache-2.0 */
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "base/rounds.h"
#include "plan/zone.h"
#include "plan/zone_rule.h"

static const char *const names[] = {
    "Europe/London",  "Europe/Berlin",   "America/New_York", "America/St_Johns",  "Australia/Lord_Howe",
    "Asia/Kathmandu", "Asia/Tokyo",      "Pacific/Apia",     "America/Sao_Paulo", "Africa/Casablanca",
    "Europe/Dublin",  "Pacific/Chatham", "Antarctica/Troll", "Asia/Gaza",         "UTC"};
enum { N_NAMES = sizeof names / sizeof names[0] };

static const po_zone *load(po_arena *arena, const char *name)
{
    const po_zone *zone = NULL;
    po_err err = {0};
    if (po_zone_load(name, arena, &zone, &err) != PO_OK) {
        fail_msg("%s: %s", name, err.msg);
    }
    return zone;
}

static void hold_against_library(const po_zone *zone, time_t t)
{
    struct tm tm;
    int second;
    assert_non_null(localtime_r(&t, &tm));
    po_wall_time w = po_zone_wall(zone, (int64_t)t * 1000 + 999, &second);
    if (po_zone_offset(zone, (int64_t)t * 1000) != tm.tm_gmtoff || w.date.year != tm.tm_year + 1900 ||
        w.date.month != tm.tm_mon + 1 || w.date.day != tm.tm_mday || w.minute != tm.tm_hour * 60 + tm.tm_min ||
        second != tm.tm_sec) {
        fail_msg("%s at %lld: offset %d, the C library says %ld", po_zone_name(zone), (long long)t,
                 po_zone_offset(zone, (int64_t)t * 1000), tm.tm_gmtoff);
    }
    if (tm.tm_sec == 0) { /* and back */
        int64_t first, second_ms, ms = (int64_t)t * 1000;
        po_zone_times times = po_zone_moments(zone, w, &first, &second_ms);
        assert_true(times != PO_ZONE_NEVER && (first == ms || second_ms == ms));
        assert_true((times == PO_ZONE_ONCE) == (first == second_ms));
    }
}

/* Steps of 23 h 13 min over 1970 to 2100, and the second before, at and after each change that either side finds. */
static void like_the_library(void **state)
{
    (void)state;
    const time_t end = 4102444800; /* 2100-01-01 */
    for (size_t i = 0; i < N_NAMES; i++) {
        po_arena *arena = po_arena_new(0);
        const po_zone *zone = load(arena, names[i]);
        setenv("TZ", names[i], 1);
        tzset();
        size_t changes = 0, library = 0;
        long before = 0;
        for (time_t t = 0; t < end; t += 60 * (23 * 60 + 13)) {
            struct tm tm;
            hold_against_library(zone, t);
            localtime_r(&t, &tm);
            library += t > 0 && tm.tm_gmtoff != before;
            before = tm.tm_gmtoff;
        }
        for (int64_t ms = 0; po_zone_change(zone, ms, (int64_t)end * 1000, &ms);) {
            for (int k = -1; k <= 1; k++) {
                hold_against_library(zone, (time_t)(ms / 1000) + k);
            }
            assert_true(po_zone_offset(zone, ms) != po_zone_offset(zone, ms - 1000));
            changes++;
        }
        if (changes < library || changes > library + 4) { /* two within one step look like none */
            fail_msg("%s: %zu changes, the C library shows %zu", names[i], changes, library);
        }
        po_arena_free(arena);
    }
}

static int64_t utc_ms(int year, int month, int day, int hour, int minute)
{
    return (po_day_of((po_date){year, month, day}) * 1440 + hour * 60 + minute) * 60000;
}

/* Changes as published: Directive 2000/84/EC, articles 2 and 3 (last Sundays of March and October, 1:00 UTC), and The Summer Time Order
 * 2002 (SI 2002/262) for London; US Energy Policy Act of 2005, section 110 (second Sunday of March, first of November, 2:00 by the wall)
 * for New York; Samoa had no 30 December 2011 (Standard Time Act 2009, as amended 2011). */
static void published_changes(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_zone *london = load(arena, "Europe/London"), *york = load(arena, "America/New_York"),
                  *apia = load(arena, "Pacific/Apia");
    static const struct {
        int year, month, day;
    } sundays[] = {{2026, 3, 29}, {2026, 10, 25}, {2027, 3, 28}, {2027, 10, 31}, {2060, 3, 28}, {2060, 10, 31}};
    for (size_t i = 0; i < sizeof sundays / sizeof sundays[0]; i++) {
        int64_t at = utc_ms(sundays[i].year, sundays[i].month, sundays[i].day, 1, 0), found = 0;
        assert_true(po_zone_change(london, at - 86400000, at + 86400000, &found));
        assert_int_equal(found, at);
        assert_int_equal(po_zone_offset(london, at), sundays[i].month == 3 ? 3600 : 0);
    }
    int64_t found;
    assert_true(po_zone_change(york, utc_ms(2026, 3, 1, 0, 0), INT64_MAX, &found));
    assert_int_equal(found, utc_ms(2026, 3, 8, 7, 0)); /* 2:00 at UTC-5 */
    assert_true(po_zone_change(york, found, INT64_MAX, &found));
    assert_int_equal(found, utc_ms(2026, 11, 1, 6, 0)); /* 2:00 at UTC-4 */
    po_wall_time w = po_zone_wall(apia, utc_ms(2011, 12, 30, 9, 59), NULL);
    assert_true(w.date.day == 29 && w.minute == 23 * 60 + 59);
    w = po_zone_wall(apia, utc_ms(2011, 12, 30, 10, 0), NULL);
    assert_true(w.date.day == 31 && w.minute == 0);
    po_arena_free(arena);
}

/* By hand, with 1:00 UTC on both days: 1:30 comes at 0:30 and 1:30 UTC on 2026-10-25, and never on 2027-03-28. */
static void twice_and_never(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_zone *z = load(arena, "Europe/London");
    int64_t first, second;
    assert_int_equal(po_zone_moments(z, (po_wall_time){{2026, 10, 25}, 90}, &first, &second), PO_ZONE_TWICE);
    assert_int_equal(first, utc_ms(2026, 10, 25, 0, 30));
    assert_int_equal(second, utc_ms(2026, 10, 25, 1, 30));
    assert_int_equal(po_zone_moments(z, (po_wall_time){{2026, 10, 25}, 60}, &first, &second), PO_ZONE_TWICE);
    assert_int_equal(po_zone_moments(z, (po_wall_time){{2026, 10, 25}, 59}, &first, &second), PO_ZONE_ONCE);
    assert_int_equal(po_zone_moments(z, (po_wall_time){{2026, 10, 25}, 120}, &first, &second), PO_ZONE_ONCE);
    assert_int_equal(first, utc_ms(2026, 10, 25, 2, 0));
    assert_int_equal(po_zone_moments(z, (po_wall_time){{2027, 3, 28}, 90}, &first, &second), PO_ZONE_NEVER);
    assert_int_equal(first, utc_ms(2027, 3, 28, 1, 30)); /* by the offset before: 2:30 on the wall */
    assert_int_equal(second, utc_ms(2027, 3, 28, 1, 0));
    assert_int_equal(po_zone_moments(z, (po_wall_time){{2027, 3, 28}, 60}, &first, &second), PO_ZONE_NEVER);
    assert_int_equal(po_zone_moments(z, (po_wall_time){{2027, 3, 28}, 120}, &first, &second), PO_ZONE_ONCE);
    assert_int_equal(first, utc_ms(2027, 3, 28, 1, 0));
    /* a whole day that never was */
    assert_int_equal(po_zone_moments(load(arena, "Pacific/Apia"), (po_wall_time){{2011, 12, 30}, 720}, &first, &second),
                     PO_ZONE_NEVER);
    assert_int_equal(second, utc_ms(2011, 12, 30, 10, 0));
    po_arena_free(arena);
}

/* POSIX.1-2017 8.3 and RFC 8536 3.3.1 and appendix B. */
static void rules(void **state)
{
    (void)state;
    po_zone_rule r;
    size_t wrong;
    static const char *const good[] = {"UTC0",
                                       "EST5EDT,M3.2.0,M11.1.0",
                                       "<-03>3<-02>,M3.5.0/-2,M10.5.0/-1",
                                       "IST-2IDT,M3.4.4/26,M10.5.0",
                                       "XXX3EDT4,0/0,J365/23",
                                       "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0",
                                       "ABC-1:02:03"};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        if (!po_zone_rule_read(good[i], strlen(good[i]), &r, &wrong)) {
            fail_msg("%s: stopped at %zu", good[i], wrong);
        }
    }
    assert_true(
        po_zone_rule_read(good[4], strlen(good[4]), &r, &wrong)); /* summer time all year: appendix B's example */
    for (int64_t day = 0; day < 4000; day++) {
        assert_int_equal(po_zone_rule_offset(&r, day * 43200), -4 * 3600);
    }
    int64_t at;
    assert_false(po_zone_rule_change(&r, 0, INT64_C(4102444800), &at));
    static const struct {
        const char *text;
        size_t wrong;
    } bad[] = {{"", 0},
               {"UT0", 2},
               {"UTC", 3},
               {"UTC25", 5},
               {"EST5EDT", 7},
               {"EST5EDT,M13.1.0,M11.1.0", 11},
               {"EST5EDT,M3.2.0", 14},
               {"EST5EDT,M3.2.0,M11.1.0x", 22},
               {"<+0330-3", 8},
               {"EST5EDT,J0,J365", 10},
               {"EST5EDT,M3.2.0/168,J365", 18}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_false(po_zone_rule_read(bad[i].text, strlen(bad[i].text), &r, &wrong));
        if (wrong != bad[i].wrong) {
            fail_msg("%s: stopped at %zu", bad[i].text, wrong);
        }
    }
}

static unsigned char *file(const char *name, size_t *ret_n)
{
    char path[256];
    snprintf(path, sizeof path, "/usr/share/zoneinfo/%s", name);
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    unsigned char *bytes = malloc(1 << 16);
    *ret_n = fread(bytes, 1, 1 << 16, f);
    fclose(f);
    return bytes;
}

static po_status read_exact(const unsigned char *bytes, size_t n, po_err *err)
{
    unsigned char *exact = malloc(n ? n : 1);
    memcpy(exact, bytes, n);
    po_arena *arena = po_arena_new(0);
    const po_zone *zone = NULL;
    po_status s = po_zone_read(exact, n, "x", arena, &zone, err);
    if (s == PO_OK) { /* whatever it says, it can be asked */
        int64_t a, b;
        for (int64_t ms = -INT64_C(60000000000000); ms < INT64_C(300000000000000); ms += INT64_C(7777777777777)) {
            po_wall_time w = po_zone_wall(zone, ms, NULL);
            assert_true(w.minute >= 0 && w.minute < 1440 && w.date.month >= 1 && w.date.month <= 12);
            po_zone_moments(zone, w, &a, &b);
            assert_true(a <= b || po_zone_offset(zone, a) != po_zone_offset(zone, b));
        }
    }
    po_arena_free(arena);
    free(exact);
    return s;
}

static void broken_files(void **state)
{
    (void)state;
    size_t n;
    unsigned char *bytes = file("Europe/London", &n);
    po_err err = {0};
    assert_int_equal(read_exact(bytes, n, &err), PO_OK);
    for (size_t cut = 0; cut < n; cut++) { /* every prefix */
        assert_int_equal(read_exact(bytes, cut, &err), PO_E_SYNTAX);
        assert_true(err.byte <= cut && strstr(err.msg, "RFC 8536"));
    }
    unsigned seed = 1;
    for (int i = 0; i < PO_ROUNDS(4000, 300); i++) { /* one byte other */
        seed = seed * 1103515245 + 12345;
        size_t at = (seed >> 8) % n;
        unsigned char was = bytes[at];
        bytes[at] = (unsigned char)(seed >> 24 ^ i);
        po_status s = read_exact(bytes, n, &err);
        assert_true(s == PO_OK || s == PO_E_SYNTAX || s == PO_E_UNSUPPORTED);
        bytes[at] = was;
    }
    free(bytes);
    po_arena *arena = po_arena_new(0);
    const po_zone *zone;
    static const char *const bad[] = {"",        "Nowhere/Town", "../zoneinfo/UTC", "/etc/passwd", "Europe",
                                      "Europe/", "a//b"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        po_status s = po_zone_load(bad[i], arena, &zone, &err);
        assert_true(s == PO_E_NOTFOUND || s == PO_E_IO || s == PO_E_SYNTAX);
        assert_true(strcmp(bad[i], "Europe") == 0 || s == PO_E_NOTFOUND);
    }
    assert_int_equal(po_zone_load("right/Europe/London", arena, &zone, &err), PO_E_UNSUPPORTED);
    po_arena_free(arena);
}

/* The process's zone is neither asked nor set, and threads do not meet. */
static void *ask(void *user)
{
    po_arena *arena = po_arena_new(0);
    const char *name = user;
    const po_zone *zone = NULL;
    uintptr_t sum = 0;
    if (po_zone_load(name, arena, &zone, NULL) == PO_OK) {
        for (int64_t ms = 0; ms < INT64_C(2000000000000); ms += INT64_C(999999999)) {
            sum = sum * 31 + (uintptr_t)po_zone_offset(zone, ms);
        }
    }
    po_arena_free(arena);
    return (void *)sum;
}

static void pure(void **state)
{
    (void)state;
    setenv("TZ", "Asia/Tokyo", 1);
    tzset();
    void *alone[N_NAMES], *together[N_NAMES];
    pthread_t threads[N_NAMES];
    for (size_t i = 0; i < N_NAMES; i++) {
        alone[i] = ask((void *)(uintptr_t)names[i]);
    }
    for (size_t i = 0; i < N_NAMES; i++) {
        assert_int_equal(pthread_create(&threads[i], NULL, ask, (void *)(uintptr_t)names[i]), 0);
    }
    for (size_t i = 0; i < N_NAMES; i++) {
        pthread_join(threads[i], &together[i]);
        assert_ptr_equal(alone[i], together[i]);
    }
    assert_string_equal(getenv("TZ"), "Asia/Tokyo");
    assert_string_equal(tzname[0], "JST");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(like_the_library), cmocka_unit_test(published_changes),
        cmocka_unit_test(twice_and_never),  cmocka_unit_test(rules),
        cmocka_unit_test(broken_files),     cmocka_unit_test(pure),
    };
    return cmocka_run_group_tests_name("zone", tests, NULL, NULL);
}
