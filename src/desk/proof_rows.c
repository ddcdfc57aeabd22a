/* One line a machine: what was computed, and when it would start, end and be off the bed from now on. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "desk/opening.h"
#include "desk/proving.h"

enum { CALENDAR_DAYS = 60, STEP_MS = 300000, STEPS_MOST = 288, TAKEN_MOST = 64 };

/* ---- kept with the result ---- */

static json_t *number(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

static json_t *need_note(const po_need *need)
{
    json_t *hands = json_array();
    for (size_t i = 0; i < need->n_hands; i++) {
        json_array_append_new(hands, json_real(need->hands_s[i]));
    }
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:b, s:o}", "first_bead_s", number(need->first_bead_s),
                     "watch_s", number(need->watch_s), "seconds", number(need->seconds), "low", number(need->low),
                     "middle", number(need->middle), "high", number(need->high), "cool_s", number(need->cool_s),
                     "hands_s", hands, "must_end_staffed", need->must_end_staffed, "alone_most_s",
                     need->limits_alone ? json_real(need->alone_most_s) : json_null());
}

static double real_of(const json_t *o, const char *field)
{
    const json_t *v = json_object_get(o, field);
    return json_is_number(v) ? json_number_value(v) : NAN;
}

static bool need_read(const json_t *o, po_need *ret)
{
    const json_t *hands = json_object_get(o, "hands_s");
    *ret = (po_need){.first_bead_s = real_of(o, "first_bead_s"),
                     .watch_s = real_of(o, "watch_s"),
                     .seconds = real_of(o, "seconds"),
                     .low = real_of(o, "low"),
                     .middle = real_of(o, "middle"),
                     .high = real_of(o, "high"),
                     .cool_s = real_of(o, "cool_s"),
                     .must_end_staffed = json_is_true(json_object_get(o, "must_end_staffed")),
                     .limits_alone = json_is_number(json_object_get(o, "alone_most_s")),
                     .alone_most_s = json_number_value(json_object_get(o, "alone_most_s"))};
    for (size_t i = 0; i < json_array_size(hands) && i < PO_CALENDAR_HANDS; i++) {
        ret->hands_s[ret->n_hands++] = json_number_value(json_array_get(hands, i));
    }
    return json_is_object(o) && isfinite(ret->seconds) && isfinite(ret->first_bead_s) && isfinite(ret->watch_s);
}

static void put_obstacle(json_t *row, const po_finding *findings, size_t n)
{
    bool has = n > 0 && findings[0].grade >= PO_GRADE_ASK;
    json_object_set_new(row, "obstacle",
                        has ? json_pack("{s:s, s:s, s:s}", "name", findings[0].name, "grade",
                                        po_grade_name(findings[0].grade), "says", findings[0].says)
                            : json_null());
}

static json_t *job_row(po_desk *desk, const desk_made *m, size_t i)
{
    const po_proof *p = m->jobs[i];
    po_need need = po_need_of(p, desk->options.shop);
    json_t *row = json_pack("{s:s, s:s, s:s, s:o, s:o, s:o, s:o}", "machine", m->machines[i]->name, "verdict",
                            po_verdict_name(p->verdict), "reads", p->aloud, "filament_mm",
                            number(p->report->facts.filament_mm), "filament_g", number(p->report->facts.filament_g),
                            "seconds", number(p->report->facts.seconds), "need", need_note(&need));
    if (row) {
        put_obstacle(row, p->findings, p->n_findings);
        json_object_set_new(row, "recipe", p->recipe ? json_string(p->recipe->name) : json_null());
    }
    return row;
}

static json_t *part_row(const desk_made *m, size_t i)
{
    const po_part_proof *p = m->parts[i];
    json_t *row = json_pack("{s:s, s:s, s:s}", "machine", m->machines[i]->name, "verdict", po_verdict_name(p->verdict),
                            "reads", p->aloud);
    if (row) {
        put_obstacle(row, p->findings, p->n_findings);
    }
    return row;
}

json_t *desk_rows(po_desk *desk, const desk_made *m, const json_t *result)
{
    (void)result;
    json_t *rows = json_array();
    for (size_t i = 0; rows && i < m->n; i++) {
        json_t *row = m->jobs ? job_row(desk, m, i) : part_row(m, i);
        if (!row || json_array_append_new(rows, row) != 0) {
            json_decref(rows);
            return NULL;
        }
    }
    return rows;
}

/* ---- from now on ---- */

typedef struct agenda {
    work_context work;
    const po_calendar *calendar;
    json_t *today; /* NULL: not known */
} agenda;

/* What stands on a machine now, and what is promised on it. */
static size_t taken_of(const agenda *a, const char *machine, po_ms_span *ret)
{
    const json_t *o;
    size_t i, n = 0;
    int64_t now = a->work.now_ms;
    json_array_foreach(json_object_get(a->today, "runs"), i, o)
    {
        if (n < TAKEN_MOST && strcmp(work_text(o, "machine"), machine) == 0) {
            int64_t end = strcmp(work_text(o, "state"), "out") == 0 ? work_int(o, "end_ms", now) : now;
            end = end < now ? now : end;
            ret[n++] = (po_ms_span){now, po_calendar_next_staffed(a->calendar, end, &end) ? end : INT64_MAX};
        }
    }
    json_array_foreach(json_object_get(a->today, "reservations"), i, o)
    {
        if (n < TAKEN_MOST && strcmp(work_text(o, "machine"), machine) == 0 && work_has(o, "promised_ms")) {
            int64_t start = work_int(o, "promised_ms", 0), end = start + 1000 * work_int(o, "seconds", 0);
            po_calendar_next_staffed(a->calendar, end, &end);
            ret[n++] = (po_ms_span){start, end};
        }
    }
    return n;
}

/* The last start of the same quality, in steps of five minutes, with no worse one between. */
static int64_t last_start(const agenda *a, const po_need *need, const po_ms_span *taken, size_t n, po_good good,
                          int64_t start)
{
    int64_t last = start, at = start - start % STEP_MS + STEP_MS;
    for (int i = 0; i < STEPS_MOST; i++, at += STEP_MS) {
        int64_t found;
        if (po_calendar_earliest(a->calendar, need, taken, n, at, &found) != good || found != at) {
            break;
        }
        last = at;
    }
    return last;
}

static void put_when(const agenda *a, const char *machine, const po_need *need, json_t *row)
{
    static const char *const words[] = {"sure", "expected", "watched", "never"};
    po_ms_span taken[TAKEN_MOST];
    size_t n = taken_of(a, machine, taken);
    int64_t start;
    po_good good = po_calendar_earliest(a->calendar, need, taken, n, a->work.now_ms, &start);
    json_object_set_new(row, "good", json_string(words[good]));
    if (good == PO_GOOD_NEVER) {
        return;
    }
    po_job_when first, last;
    int64_t by = last_start(a, need, taken, n, good, start);
    po_calendar_job(a->calendar, need, start, &first);
    po_calendar_job(a->calendar, need, by, &last);
    json_object_set_new(row, "start_ms", json_integer(start));
    json_object_set_new(row, "start_by_ms", json_integer(by));
    json_object_set_new(row, "end_ms", json_integer(first.end.middle_ms));
    json_object_set_new(row, "end_by_ms", json_integer(last.end.middle_ms));
    if (first.off_known) {
        json_object_set_new(row, "off_bed_ms", json_integer(first.off.middle_ms));
    }
    if (last.off_known) {
        json_object_set_new(row, "off_bed_by_ms", json_integer(last.off.middle_ms));
    }
}

json_t *desk_rows_now(po_desk *desk, const json_t *rows, po_arena *arena)
{
    agenda a = {0};
    po_err err;
    json_t *list = json_deep_copy(rows), *row;
    size_t i;
    int64_t now = desk_now_ms_of(desk);
    po_status s = work_begin(&a.work, arena, desk_shop_now(desk), NULL, desk->options.ledger, now, &err);
    po_ms_span within = {now, now + INT64_C(86400000) * CALENDAR_DAYS};
    bool known = s == PO_OK && a.work.zone &&
                 po_calendar_make(a.work.shop, a.work.zone, within, NULL, 0, arena, &a.calendar, &err) == PO_OK;
    if (known && work_ask(&a.work, "today", NULL, &a.today, &err) != PO_OK) {
        a.today = NULL;
    }
    json_array_foreach(list, i, row)
    {
        po_need need;
        bool stops = strcmp(work_text(row, "verdict"), "stop") == 0;
        if (known && !stops && need_read(json_object_get(row, "need"), &need)) {
            put_when(&a, work_text(row, "machine"), &need, row);
        }
        json_object_del(row, "need");
    }
    json_decref(a.today);
    return list;
}
