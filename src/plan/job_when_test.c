/* When a job starts, ends and comes off, by hand; the earliest start against trying every minute. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "base/rounds.h"
#include "plan/kit.h"

enum { H = 3600, M = 60 };

static const po_span_minutes ten_to_eight[] = {{600, 1200}}, with_break[] = {{600, 780}, {840, 1200}};

static const po_calendar *desk(po_arena *arena, int64_t from, int days)
{
    static po_shop shop; /* borrowed by the calendar */
    shop = (po_shop){.name = "Quayside Workshop"};
    for (int d = 0; d < 5; d++) {
        shop.hours[d] = (po_day_hours){d == 2 ? with_break : ten_to_eight, d == 2 ? 2 : 1};
    }
    const po_calendar *c = NULL;
    po_ms_span within = {from, from + days * INT64_C(86400000)};
    assert_int_equal(po_calendar_make(&shop, zone_of(arena, "Europe/London"), within, NULL, 0, arena, &c, NULL), PO_OK);
    return c;
}

static po_need plain(double seconds)
{
    return (po_need){.first_bead_s = 5 * M,
                     .watch_s = 30 * M,
                     .seconds = seconds,
                     .low = 1,
                     .middle = 1,
                     .high = 1,
                     .cool_s = 15 * M};
}

/* Tuesday 2026-12-01: started at 19:25 the watch ends when the desk closes, at 20:00; a minute later it doesn't. */
static void last_safe_start(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_calendar *c = desk(arena, utc(2026, 12, 1, 0, 0), 30);
    po_need n = plain(8 * H);
    po_job_when w;
    po_calendar_job(c, &n, utc(2026, 12, 1, 19, 25), &w);
    assert_true(w.watched && w.open_at_start && !w.end_staffed);
    assert_int_equal(w.bead_ms, utc(2026, 12, 1, 19, 30));
    assert_int_equal(w.watch_ms, utc(2026, 12, 1, 20, 0));
    assert_int_equal(w.leaves_ms, utc(2026, 12, 1, 20, 0));
    assert_int_equal(w.end.middle_ms, utc(2026, 12, 2, 3, 25));
    assert_int_equal(w.cool.middle_ms, utc(2026, 12, 2, 3, 40));
    assert_int_equal(w.off.middle_ms, utc(2026, 12, 2, 10, 0));
    assert_true(w.full_s == 6 * H + 35 * M);
    po_calendar_job(c, &n, utc(2026, 12, 1, 19, 26), &w);
    assert_false(w.watched);
    int64_t start;
    assert_int_equal(po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 1, 19, 25), &start), PO_GOOD_SURE);
    assert_int_equal(start, utc(2026, 12, 1, 19, 25));
    assert_int_equal(po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 1, 19, 25) + 1, &start), PO_GOOD_SURE);
    assert_int_equal(start, utc(2026, 12, 2, 10, 0));
    /* before the break of Wednesday the last safe start is 12:25, the next 14:00 */
    po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 2, 12, 25), &start);
    assert_int_equal(start, utc(2026, 12, 2, 12, 25));
    po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 2, 12, 26), &start);
    assert_int_equal(start, utc(2026, 12, 2, 14, 0));
    /* a run that is over before its watch is: 20 min in all, so 19:40 */
    n = plain(20 * M);
    po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 1, 19, 40), &start);
    assert_int_equal(start, utc(2026, 12, 1, 19, 40));
    po_arena_free(arena);
}

/* Hands after 4 h: at 18:00 they would be needed at 22:00, when nobody is there: it waits until 10:00, and so does the rest. */
static void hands(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_calendar *c = desk(arena, utc(2026, 12, 1, 0, 0), 30);
    po_need n = plain(6 * H);
    n.hands_s[0] = 4 * H;
    n.n_hands = 1;
    po_job_when w;
    po_calendar_job(c, &n, utc(2026, 12, 1, 18, 0), &w);
    assert_int_equal(w.hands[0].middle_ms, utc(2026, 12, 1, 22, 0));
    assert_int_equal(w.served_ms[0], utc(2026, 12, 2, 10, 0));
    assert_int_equal(w.n_unserved, 1);
    assert_int_equal(w.end.middle_ms, utc(2026, 12, 2, 12, 0));
    assert_true(w.off_known && w.hands_known);
    int64_t start; /* not before 10:00 the next day: then hands at 14:00, just after the break */
    assert_int_equal(po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 1, 16, 0), &start), PO_GOOD_SURE);
    assert_int_equal(start, utc(2026, 12, 2, 10, 0));
    /* 10 % slower or quicker: hands after 3:36 to 4:24. From 10:00 that is 13:36, in the break; from 10:24 it isn't */
    n.low = 0.9;
    n.high = 1.1;
    assert_int_equal(po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 1, 16, 0), &start), PO_GOOD_SURE);
    assert_int_equal(start, utc(2026, 12, 2, 10, 24));
    po_calendar_job(c, &n, start, &w);
    assert_int_equal(w.hands[0].low_ms, utc(2026, 12, 2, 14, 0));
    assert_int_equal(w.hands[0].high_ms, utc(2026, 12, 2, 14, 48));
    assert_int_equal(w.end.low_ms, utc(2026, 12, 2, 10, 24) + llround(0.9 * 6 * H) * 1000);
    /* so uncertain that no stretch of ten hours holds it: as expected is all there is */
    n.low = 0.1;
    n.high = 4;
    assert_int_equal(po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 1, 16, 0), &start), PO_GOOD_EXPECTED);
    assert_int_equal(start, utc(2026, 12, 2, 10, 0));
    /* hands after 9 h, in the night wherever it starts within 10:00 to 20:00 less the watch: 10:00 -> 19:00 is fine; after 10 h it is not */
    n = plain(12 * H);
    n.n_hands = 1;
    n.hands_s[0] = 10 * H;
    assert_int_equal(po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 1, 16, 0), &start), PO_GOOD_WATCHED);
    assert_int_equal(start, utc(2026, 12, 1, 16, 0));
    po_arena_free(arena);
}

/* Eight hours over the night of each change, from 23:00: by the wall an hour less, an hour more (1:00 UTC, as in zone_test.c). */
static void nights_of_change(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    static const struct {
        int64_t start;
        int minute;
    } nights[] = {{1792879200000 /* 2026-10-24T22:00Z */, 6 * 60}, {1806188400000 /* 2027-03-27T23:00Z */, 8 * 60}};
    assert_int_equal(nights[0].start, utc(2026, 10, 24, 22, 0));
    assert_int_equal(nights[1].start, utc(2027, 3, 27, 23, 0));
    for (size_t i = 0; i < 2; i++) {
        const po_calendar *c = desk(arena, nights[i].start, 30);
        po_need n = plain(8 * H);
        n.cool_s = NAN;
        po_job_when w;
        const po_when *when = NULL;
        po_calendar_job(c, &n, nights[i].start, &w);
        assert_int_equal(po_zone_wall(c->zone, nights[i].start, NULL).minute, 23 * 60);
        assert_int_equal(po_zone_wall(c->zone, w.end.middle_ms, NULL).minute, nights[i].minute);
        assert_int_equal(po_zone_wall(c->zone, w.off.middle_ms, NULL).minute, 600); /* Monday, 10:00 by the wall */
        assert_int_equal(po_when_make(c, &w, -1, arena, &when, NULL), PO_OK);
        assert_int_equal(when->end.minute, nights[i].minute);
        assert_int_equal(when->n_shifts, 1);
        assert_int_equal(when->shifts[0].minutes, i == 0 ? -60 : 60);
        assert_true(when->shifts[0].after_seconds == (i == 0 ? 3 * H : 2 * H));
        assert_false(when->watched || when->open_at_start || when->better_known);
    }
    po_arena_free(arena);
}

/* The machine is promised from Tuesday 15:00 to 18:00: what ends and is off by then may go before it. */
static void what_is_taken(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_calendar *c = desk(arena, utc(2026, 12, 1, 0, 0), 30);
    po_ms_span taken[] = {{utc(2026, 12, 1, 15, 0), utc(2026, 12, 1, 18, 0)}, {INT64_MIN / 2, utc(2026, 12, 1, 11, 0)}};
    po_need n = plain(3 * H + 45 * M); /* off after four hours */
    int64_t start;
    assert_int_equal(po_calendar_earliest(c, &n, taken, 2, utc(2026, 12, 1, 8, 0), &start), PO_GOOD_SURE);
    assert_int_equal(start, utc(2026, 12, 1, 11, 0));
    n.cool_s += 1;
    po_calendar_earliest(c, &n, taken, 2, utc(2026, 12, 1, 8, 0), &start);
    assert_int_equal(start, utc(2026, 12, 1, 18, 0));
    taken[0].until_ms = INT64_MAX; /* nobody knows until when */
    assert_int_equal(po_calendar_earliest(c, &n, taken, 2, utc(2026, 12, 1, 8, 0), &start), PO_GOOD_NEVER);
    n.watch_s = 11 * H; /* longer than the desk is ever there */
    n.seconds = 20 * H;
    assert_int_equal(po_calendar_earliest(c, &n, NULL, 0, utc(2026, 12, 1, 8, 0), &start), PO_GOOD_NEVER);
    po_arena_free(arena);
}

/* Whether a start is good, from its own definition. */
static bool good_at(const po_calendar *c, const po_need *n, const po_ms_span *taken, size_t n_taken, int64_t start,
                    bool sure)
{
    po_job_when w;
    po_calendar_job(c, n, start, &w);
    bool good = w.watched;
    for (size_t i = 0; i < n->n_hands + n->must_end_staffed; i++) {
        double s = i < n->n_hands ? n->hands_s[i] : n->seconds;
        int64_t low = start + llround(s * (sure ? n->low : n->middle) * 1000),
                high = start + llround(s * (sure ? n->high : n->middle) * 1000);
        good = good && po_calendar_staffed_all(c, low, high) && po_calendar_staffed(c, low);
    }
    int64_t length = llround(n->seconds * (sure ? n->high : n->middle) * 1000), alone = 0;
    for (int64_t ms = start; good && n->limits_alone && ms < start + length; ms += 60000) { /* times are whole */
        alone = po_calendar_staffed_all(c, ms, ms + 60000) ? 0 : alone + 60000;
        good = good && alone <= llround(n->alone_most_s * 1000);
    }
    for (size_t i = 0; i < n_taken; i++) {
        good = good && (start >= taken[i].until_ms || w.off.middle_ms <= taken[i].from_ms);
    }
    return good;
}

/* Needs drawn at random, with times of whole minutes: the first good minute of three weeks is the answer. */
static void like_every_minute(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    int64_t from = utc(2026, 10, 20, 0, 0);
    const po_calendar *c = desk(arena, from, 21);
    unsigned seed = 7;
    int kinds[4] = {0};
#define DRAW(n) ((int)((seed = seed * 1103515245 + 12345) >> 8) % (n))
    for (int round = 0; round < PO_ROUNDS(300, 30); round++) {
        po_need n = plain((1 + DRAW(1500)) * M);
        n.first_bead_s = DRAW(20) * M;
        n.watch_s = (1 + DRAW(60)) * M;
        n.cool_s = DRAW(60) * M;
        n.must_end_staffed = DRAW(3) == 0;
        n.n_hands = (size_t)DRAW(3);
        n.limits_alone = DRAW(3) == 0;
        n.alone_most_s = DRAW(3) ? DRAW(900) * M : 0;
        double at = 0;
        for (size_t i = 0; i < n.n_hands; i++) {
            n.hands_s[i] = at = fmin(at + DRAW(500) * M, n.seconds);
        }
        if (DRAW(2)) { /* whole minutes stay whole: multiples of ten minutes, a tenth off */
            n.seconds = ceil(n.seconds / 600) * 600;
            for (size_t i = 0; i < n.n_hands; i++) {
                n.hands_s[i] = floor(n.hands_s[i] / 600) * 600;
            }
            n.low = 0.9;
            n.high = 1.1;
        }
        po_ms_span taken[2];
        size_t n_taken = (size_t)DRAW(3);
        for (size_t i = 0; i < n_taken; i++) {
            taken[i].from_ms = from + DRAW(5000) * INT64_C(60000);
            taken[i].until_ms = taken[i].from_ms + DRAW(600) * INT64_C(60000);
        }
        int64_t start = 0, first = -1, asked = from + DRAW(4000) * INT64_C(60000);
        po_good good = po_calendar_earliest(c, &n, taken, n_taken, asked, &start);
        kinds[good]++;
        for (int sure = 1; sure >= 0 && first < 0; sure--) {
            for (int64_t ms = asked; ms < c->within.until_ms; ms += 60000) {
                if (good_at(c, &n, taken, n_taken, ms, sure)) {
                    first = ms;
                    break;
                }
            }
            if (first >= 0) {
                if (good != (sure ? PO_GOOD_SURE : PO_GOOD_EXPECTED) || first != start) {
                    fail_msg("round %d: %d at %lld, by the minute %lld", round, good, (long long)start,
                             (long long)first);
                }
            }
        }
        assert_true(first >= 0 || good >= PO_GOOD_WATCHED);
    }
    assert_true(kinds[PO_GOOD_SURE] > 10 && kinds[PO_GOOD_WATCHED] > 0);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(last_safe_start),   cmocka_unit_test(hands),
        cmocka_unit_test(nights_of_change),  cmocka_unit_test(what_is_taken),
        cmocka_unit_test(like_every_minute),
    };
    return cmocka_run_group_tests_name("job_when", tests, NULL, NULL);
}
