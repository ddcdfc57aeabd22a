/* plan when, printed: a line for each machine, a strip of time, JSON. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "when.h"

enum { COLUMNS = 84, NAME_COLUMNS = 10, MINUTE = 60000, LONGEST_DAYS = 14 };

static const char *time_of(const when_plan *p, int64_t ms)
{
    json_t *v = json_integer(ms);
    const char *text = desk_words(p->desk, v, DESK_TIME);
    json_decref(v);
    return text;
}

static const char *length_of(const when_plan *p, double seconds)
{
    json_t *v = json_integer((json_int_t)llround(seconds));
    const char *text = desk_words(p->desk, v, DESK_SPAN);
    json_decref(v);
    return text;
}

static const po_job_when *shown(const when_row *r)
{
    return !r->may ? NULL : r->asked ? &r->then : r->good != PO_GOOD_NEVER ? &r->best : NULL;
}

/* ---- the strip ---- */

typedef struct strip {
    int64_t from_ms, unit_ms;
    int n;
} strip;

static bool within(const strip *s, int i, int64_t from, int64_t until)
{
    int64_t at = s->from_ms + i * s->unit_ms;
    return from < at + s->unit_ms && until > at;
}

static strip strip_for(const when_plan *p)
{
    static const int units[] = {10, 15, 30, 60, 120, 180, 240, 360};
    int64_t until = p->from_ms + INT64_C(12) * 60 * MINUTE, most = p->from_ms + INT64_C(1440) * MINUTE * LONGEST_DAYS;
    for (size_t i = 0; i < p->n_rows; i++) {
        const po_job_when *w = shown(&p->rows[i]);
        if (w && w->off.middle_ms + 30 * MINUTE > until) {
            until = w->off.middle_ms + 30 * MINUTE;
        }
    }
    until = until < most ? until : most;
    strip s = {0, 0, 0};
    for (size_t i = 0; i < sizeof units / sizeof units[0] && (i == 0 || s.n > COLUMNS); i++) {
        int minute = po_zone_wall(p->calendar->zone, p->from_ms, NULL).minute % units[i];
        s.unit_ms = (int64_t)units[i] * MINUTE;
        s.from_ms = p->from_ms - p->from_ms % MINUTE - (int64_t)minute * MINUTE;
        s.n = (int)((until - s.from_ms + s.unit_ms - 1) / s.unit_ms);
    }
    s.n = s.n < COLUMNS ? s.n : COLUMNS;
    return s;
}

/* Two lines above: days, and hours where a label has room. */
static void print_ruler(const when_plan *p, const strip *s)
{
    static const char *const days[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};
    char day[COLUMNS + 16], hour[COLUMNS + 16];
    int day_free = 0, hour_free = 0, last_day = 0;
    memset(day, ' ', sizeof day);
    memset(hour, ' ', sizeof hour);
    for (int i = 0; i < s->n; i++) {
        po_wall_time w = po_zone_wall(p->calendar->zone, s->from_ms + i * s->unit_ms, NULL);
        char text[32];
        if (w.date.day != last_day && i >= day_free) {
            int n = snprintf(text, sizeof text, "%s %d", days[po_weekday(w.date)], w.date.day);
            memcpy(day + i, text, (size_t)n);
            day_free = i + n + 1;
        }
        last_day = w.date.day;
        int each = s->unit_ms <= 15 * MINUTE   ? 60
                   : s->unit_ms <= 30 * MINUTE ? 120
                   : s->unit_ms <= 60 * MINUTE ? 180
                                               : 720;
        if (w.minute % each == 0 && i >= hour_free) {
            int n = snprintf(text, sizeof text, "%d", w.minute / 60);
            memcpy(hour + i, text, (size_t)n);
            hour_free = i + n + 1;
        }
    }
    day[s->n + 8] = hour[s->n + 8] = 0;
    for (char *line = day; line; line = line == day ? hour : NULL) {
        size_t n = strlen(line);
        while (n > 0 && line[n - 1] == ' ') {
            line[--n] = 0;
        }
        printf("%-*s%s\n", NAME_COLUMNS, "", line);
    }
}

static char cell(const when_row *r, const po_job_when *w, const strip *s, int i)
{
    for (size_t h = 0; w && h < w->n_hands; h++) {
        if (within(s, i, w->hands[h].middle_ms, w->hands[h].middle_ms + 1)) {
            return '!';
        }
    }
    for (size_t h = 0; w && h < w->n_hands; h++) {
        if (within(s, i, w->hands[h].middle_ms, w->served_ms[h])) {
            return ':';
        }
    }
    if (w && w->off_known && within(s, i, w->off.middle_ms, w->off.middle_ms + 1)) {
        return '^';
    }
    if (w) {
        char c = within(s, i, w->start_ms, w->watch_ms)              ? 'w'
                 : within(s, i, w->watch_ms, w->end.middle_ms)       ? '='
                 : within(s, i, w->end.middle_ms, w->cool.middle_ms) ? '~'
                 : within(s, i, w->cool.middle_ms, w->off.middle_ms) ? '#'
                                                                     : 0;
        if (c) {
            return c;
        }
    }
    for (size_t t = 0; t < r->n_taken; t++) {
        if (within(s, i, r->taken[t].span.from_ms, r->taken[t].span.until_ms)) {
            return 'x';
        }
    }
    return ' ';
}

static void print_strip(const when_plan *p)
{
    strip s = strip_for(p);
    char line[COLUMNS + 1];
    print_ruler(p, &s);
    for (int i = 0; i < s.n; i++) {
        po_ms_span open;
        int64_t at = s.from_ms + i * s.unit_ms;
        line[i] = po_calendar_next(p->calendar, at, &open) && within(&s, i, open.from_ms, open.until_ms) ? '+' : '.';
    }
    printf("%-*s%.*s\n", NAME_COLUMNS, "desk", s.n, line);
    for (size_t k = 0; k < p->n_rows; k++) {
        const when_row *r = &p->rows[k];
        if (!r->may) {
            continue;
        }
        for (int i = 0; i < s.n; i++) {
            line[i] = cell(r, shown(r), &s, i);
        }
        int n = s.n;
        while (n > 0 && line[n - 1] == ' ') {
            n--;
        }
        printf("%-*.*s %.*s\n", NAME_COLUMNS - 1, NAME_COLUMNS - 1, r->machine->name, n, line);
    }
    printf("%-*sEach letter is %s. + desk  . nobody  w heating and watch  = runs  ! hands  : waits  ~ cools  # stands "
           "full  ^ off"
           "  x taken\n",
           NAME_COLUMNS, "",
           s.unit_ms < 60 * MINUTE ? po_arena_printf(p->desk->arena, "%d min", (int)(s.unit_ms / MINUTE))
                                   : length_of(p, (double)s.unit_ms / 1000));
}

/* ---- words ---- */

static void print_hands(const when_plan *p, const po_job_when *w)
{
    for (size_t i = 0; i < w->n_hands; i++) {
        bool there = po_calendar_staffed(p->calendar, w->hands[i].middle_ms);
        printf("  needs hands about %s (%s to %s)%s\n", time_of(p, w->hands[i].middle_ms),
               time_of(p, w->hands[i].low_ms), time_of(p, w->hands[i].high_ms),
               there ? ", somebody is there"
               : w->served_ms[i] > w->hands[i].middle_ms
                   ? po_arena_printf(p->desk->arena, ", NOBODY is there before %s: it stands still, hot",
                                     time_of(p, w->served_ms[i]))
                   : ", NOBODY is there");
    }
}

static void print_hits(const when_plan *p, const when_row *r)
{
    for (size_t i = 0; i < r->n_hits; i++) {
        const when_taken *t = r->hits[i];
        if (t->promised) {
            printf("  %s run %lld, which is promised for %s\n",
                   r->hit_unsure[i] ? "if it is slow it holds up" : "holds up", t->run, time_of(p, t->span.from_ms));
        } else {
            printf("  run %lld is on it%s%s\n", t->run, t->span.until_ms < INT64_MAX ? " until about " : "",
                   t->span.until_ms < INT64_MAX ? time_of(p, t->span.until_ms) : "");
        }
    }
}

static void print_row(const when_plan *p, const when_row *r)
{
    const po_job_when *w = shown(r);
    printf("%s", r->machine->name);
    if (!r->may) {
        printf(": no. %s\n", r->why);
        return;
    }
    if (!w) {
        printf(": no start within %d days at which somebody is there for heating and watch (%s)\n", WHEN_DAYS,
               length_of(p, r->need.first_bead_s + r->need.watch_s));
        return;
    }
    printf(": start %s, watch until %s, ends %s (%s to %s), cool %s, ", time_of(p, w->start_ms),
           time_of(p, w->watch_ms), time_of(p, w->end.middle_ms), time_of(p, w->end.low_ms), time_of(p, w->end.high_ms),
           time_of(p, w->cool.middle_ms));
    if (w->off_known) {
        printf("off %s; stands full for %s\n", time_of(p, w->off.middle_ms), length_of(p, w->full_s));
    } else {
        printf("and nobody is there to take it off within %d days\n", WHEN_DAYS);
    }
    if (r->why) {
        printf("  to ask: %s\n", r->why);
    }
    if (r->asked && !w->watched) {
        printf("  NOBODY is there for all of heating and watch\n");
    }
    print_hands(p, w);
    if (!p->desk->shop->rules.may_end_unstaffed && !w->end_staffed) {
        printf("  ends with NOBODY there, which this shop does not allow\n");
    }
    if (r->need.limits_alone && w->alone_s > r->need.alone_most_s) {
        printf("  runs for %s with NOBODY there, which this shop's conditions do not allow\n",
               length_of(p, w->alone_s));
    }
    print_hits(p, r);
    if (!r->asked && r->good == PO_GOOD_EXPECTED) {
        printf("  if it is quicker or slower than expected, nobody may be there when it needs somebody\n");
    } else if (!r->asked && r->good == PO_GOOD_WATCHED) {
        printf("  there is no start at which somebody is there whenever it needs somebody: this one has the watch "
               "alone\n");
    }
    if (r->asked && r->good <= PO_GOOD_EXPECTED && r->best.start_ms > w->start_ms) {
        printf("  earliest good start: %s, ends %s, off %s\n", time_of(p, r->best.start_ms),
               time_of(p, r->best.end.middle_ms), time_of(p, r->best.off.middle_ms));
    }
}

void when_print(const when_plan *p)
{
    bool any = false;
    for (size_t i = 0; i < p->n_rows; i++) {
        print_row(p, &p->rows[i]);
        any = any || p->rows[i].may;
    }
    if (any) {
        printf("\n");
        print_strip(p);
    }
}

/* ---- JSON ---- */

static json_t *when_object(const when_plan *p, const po_job_when *w)
{
    json_t *hands = json_array();
    for (size_t i = 0; i < w->n_hands; i++) {
        json_array_append_new(hands,
                              json_pack("{s:I, s:[I,I], s:b, s:I}", "at_ms", (json_int_t)w->hands[i].middle_ms,
                                        "range_ms", (json_int_t)w->hands[i].low_ms, (json_int_t)w->hands[i].high_ms,
                                        "staffed", po_calendar_staffed(p->calendar, w->hands[i].middle_ms), "served_ms",
                                        (json_int_t)w->served_ms[i]));
    }
    return json_pack(
        "{s:I, s:I, s:I, s:b, s:o, s:I, s:[I,I], s:b, s:I, s:o, s:o, s:f}", "start_ms", (json_int_t)w->start_ms,
        "first_bead_ms", (json_int_t)w->bead_ms, "watch_until_ms", (json_int_t)w->watch_ms, "watched", w->watched,
        "hands", hands, "end_ms", (json_int_t)w->end.middle_ms, "end_range_ms", (json_int_t)w->end.low_ms,
        (json_int_t)w->end.high_ms, "end_staffed", w->end_staffed, "cool_ms", (json_int_t)w->cool.middle_ms, "off_ms",
        w->off_known ? json_integer(w->off.middle_ms) : json_null(), "off_range_ms",
        w->off_known ? json_pack("[I,I]", (json_int_t)w->off.low_ms, (json_int_t)w->off.high_ms) : json_null(),
        "full_seconds", w->full_s);
}

json_t *when_json(const when_plan *p)
{
    static const char *const goods[] = {"sure", "expected", "watched", "never"};
    json_t *rows = json_array(), *hours = json_array();
    int64_t until = p->from_ms + INT64_C(7) * 1440 * MINUTE;
    for (size_t i = 0; i < p->n_rows; i++) {
        const when_row *r = &p->rows[i];
        json_t *hits = json_array();
        for (size_t k = 0; k < r->n_hits; k++) {
            const when_taken *t = r->hits[k];
            json_array_append_new(hits,
                                  json_pack("{s:I, s:b, s:I, s:o, s:b}", "run", (json_int_t)t->run, "promised",
                                            t->promised, "from_ms", (json_int_t)t->span.from_ms, "until_ms",
                                            t->span.until_ms < INT64_MAX ? json_integer(t->span.until_ms) : json_null(),
                                            "sure", !r->hit_unsure[k]));
        }
        bool best = r->may && r->good != PO_GOOD_NEVER;
        json_array_append_new(rows,
                              json_pack("{s:s, s:b, s:s, s:s?, s:s, s:s?, s:o, s:o, s:o}", "machine", r->machine->name,
                                        "may", r->may, "verdict", po_verdict_name(r->proof->verdict), "says", r->why,
                                        "ranges_from", r->proof->ranges_from, "good", r->may ? goods[r->good] : NULL,
                                        "earliest", best ? when_object(p, &r->best) : json_null(), "asked",
                                        r->may && r->asked ? when_object(p, &r->then) : json_null(), "collides", hits));
        until = best && r->best.off.middle_ms > until ? r->best.off.middle_ms : until;
    }
    po_ms_span s;
    for (int64_t at = p->from_ms; po_calendar_next(p->calendar, at, &s) && s.from_ms < until; at = s.until_ms) {
        json_array_append_new(
            hours, json_pack("{s:I, s:I}", "from_ms", (json_int_t)s.from_ms, "until_ms", (json_int_t)s.until_ms));
    }
    return json_pack("{s:s, s:s, s:s, s:s, s:I, s:o, s:o}", "format", "proveout/when/1", "file", p->file, "shop",
                     p->desk->shop->name, "zone", po_zone_name(p->calendar->zone), "from_ms", (json_int_t)p->from_ms,
                     "desk", hours, "machines", rows);
}
