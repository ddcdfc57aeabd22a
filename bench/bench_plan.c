/* How long the calendar takes to say when: prints one line of JSON. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_plan SHOP [TURNS]
 * What `plan when` does beside measuring the job: the zone read, a calendar file of 200 events (8 recur) read, 400 days laid out, and on 20 machines the
 * earliest good start of a job of 14 hours that needs hands six times, with 30 promises on each machine. Beside it: the same start found
 * by trying every minute. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/text.h"
#include "proveout/calendar.h"

enum { MACHINES = 20, TURNS_MOST = 101, PROMISES = 30, DAYS = 400 };

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec * 1e-6;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void fail(const char *what)
{
    fprintf(stderr, "bench_plan: %s\n", what);
    exit(1);
}

static const char *file_of_events(po_arena *arena, size_t *ret_n)
{
    po_text t;
    po_text_init(&t, arena);
    po_text_add(&t, "BEGIN:VCALENDAR\r\n");
    for (int i = 0; i < 200; i++) {
        po_text_printf(&t,
                       "BEGIN:VEVENT\r\nUID:%d\r\nSUMMARY:%s\r\nDTSTART;TZID=Europe/"
                       "London:2026%02d%02dT%02d0000\r\nDURATION:PT1H\r\n%sEND:VEVENT\r\n",
                       i, i % 2 ? "Open evening" : "Closed", 1 + i % 12, 1 + i % 28, i % 2 ? 20 : 12,
                       i % 25 == 0 ? "RRULE:FREQ=MONTHLY;BYDAY=1SA\r\n" : "");
    }
    po_text_add(&t, "END:VCALENDAR\r\n");
    *ret_n = t.n;
    return t.data;
}

/* One look-up; the starts, the last machine's calendar and promises for the slow way. */
static double look_up(const po_shop *shop, const char *file, size_t n_file, int64_t from, po_need *need,
                      int64_t starts[MACHINES], double *ret_slow)
{
    double begun = now();
    po_arena *arena = po_arena_new(0);
    const po_zone *zone;
    const po_calendar *c;
    const po_desk_event *events;
    size_t n;
    po_ms_span within = {from, from + INT64_C(86400000) * DAYS};
    if (po_zone_load(shop->time_zone, arena, &zone, NULL) != PO_OK ||
        po_ical_read(file, n_file, "x", zone, within, false, arena, &events, &n, NULL) != PO_OK ||
        po_calendar_make(shop, zone, within, events, n, arena, &c, NULL) != PO_OK) {
        fail("no calendar");
    }
    po_ms_span taken[PROMISES];
    po_job_when when;
    for (int m = MACHINES - 1; m >= 0; m--) {
        for (int i = 0; i < PROMISES; i++) {
            taken[i].from_ms = from + (i * INT64_C(26) + m) * 3600000;
            taken[i].until_ms = taken[i].from_ms + 6 * INT64_C(3600000);
        }
        if (po_calendar_earliest(c, need, taken, PROMISES, from, &starts[m]) == PO_GOOD_NEVER) {
            fail("no start");
        }
        po_calendar_job(c, need, starts[m], &when);
    }
    double took = now() - begun;
    if (ret_slow) { /* of the last machine, by the minute, the same conditions */
        begun = now();
        int64_t s = from;
        for (bool good = false; !good && s < within.until_ms; s += 60000) {
            po_calendar_job(c, need, s, &when);
            good = when.watched && when.n_unserved == 0;
            for (int i = 0; i < PROMISES && good; i++) {
                good = s >= taken[i].until_ms || when.off.middle_ms <= taken[i].from_ms;
            }
        }
        *ret_slow = (now() - begun) * MACHINES;
    }
    po_arena_free(arena);
    return took;
}

int main(int argc, char **argv)
{
    po_arena *arena = po_arena_new(0);
    const po_shop *shop;
    po_shop_faults faults;
    int turns = argc > 2 ? (int)strtol(argv[2], NULL, 10) : 31;
    if (argc < 2 || turns < 1 || turns > TURNS_MOST ||
        po_shop_read_file(argv[1], arena, &shop, &faults, NULL) != PO_OK) {
        fail("usage: bench_plan SHOP [TURNS]");
    }
    po_need need = {.first_bead_s = 300,
                    .watch_s = 1800,
                    .seconds = 14 * 3600,
                    .low = 0.95,
                    .middle = 1,
                    .high = 1.05,
                    .cool_s = 900};
    for (need.n_hands = 0; need.n_hands < 6; need.n_hands++) {
        need.hands_s[need.n_hands] = 1200.0 * (double)(need.n_hands + 1);
    }
    size_t n_file;
    const char *file = file_of_events(arena, &n_file);
    double ms[TURNS_MOST], slow = 0;
    int64_t starts[MACHINES];
    for (int i = 0; i < turns; i++) {
        ms[i] = look_up(shop, file, n_file, INT64_C(1795705800000), &need, starts,
                        i == 0 ? &slow : NULL); /* 2026-11-26 15:10 UTC */
    }
    qsort(ms, (size_t)turns, sizeof *ms, by_size);
    printf("{\"machines\": %d, \"look_up_ms\": %.3f, \"slowest_ms\": %.3f, \"by_the_minute_ms\": %.1f}\n", MACHINES,
           ms[turns / 2], ms[turns - 1], slow);
    po_arena_free(arena);
    return 0;
}
