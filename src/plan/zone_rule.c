/* The rule at the end of a zone's file, read and asked. SPDX-License-Identifier: Apache-2.0 */
#include "plan/zone_rule.h"

#include "plan/zone.h"

typedef struct reader {
    const char *text;
    size_t n, at;
} reader;

static char peek(const reader *r)
{
    return r->at < r->n ? r->text[r->at] : 0;
}

static bool take(reader *r, char c)
{
    bool there = peek(r) == c && r->at < r->n;
    r->at += there;
    return there;
}

static bool number(reader *r, int low, int high, int *ret)
{
    int value = 0, digits = 0;
    while (peek(r) >= '0' && peek(r) <= '9' && digits < 4) {
        value = value * 10 + (r->text[r->at++] - '0');
        digits++;
    }
    *ret = value;
    return digits > 0 && value >= low && value <= high;
}

/* [+-]hh[:mm[:ss]] */
static bool clock_time(reader *r, int most_hours, int32_t *ret)
{
    bool minus = take(r, '-');
    int hour, minute = 0, second = 0;
    if (!minus) {
        take(r, '+');
    }
    if (!number(r, 0, most_hours, &hour) ||
        (take(r, ':') && (!number(r, 0, 59, &minute) || (take(r, ':') && !number(r, 0, 59, &second))))) {
        return false;
    }
    *ret = (minus ? -1 : 1) * (hour * 3600 + minute * 60 + second);
    return true;
}

static bool name(reader *r)
{
    bool quoted = take(r, '<');
    size_t from = r->at;
    for (char c = peek(r); c; c = peek(r)) {
        bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
        if (!letter && !(quoted && ((c >= '0' && c <= '9') || c == '+' || c == '-'))) {
            break;
        }
        r->at++;
    }
    return r->at - from >= 3 && (!quoted || take(r, '>'));
}

static bool date(reader *r, po_zone_date *ret)
{
    *ret = (po_zone_date){.kind = PO_DAY_OF_YEAR, .time_s = 7200};
    bool good;
    if (take(r, 'M')) {
        ret->kind = PO_DAY_OF_WEEK;
        good = number(r, 1, 12, &ret->month) && take(r, '.') && number(r, 1, 5, &ret->week) && take(r, '.') &&
               number(r, 0, 6, &ret->day);
    } else if (take(r, 'J')) {
        ret->kind = PO_DAY_JULIAN;
        good = number(r, 1, 365, &ret->day);
    } else {
        good = number(r, 0, 365, &ret->day);
    }
    return good && (!take(r, '/') || clock_time(r, 167, &ret->time_s));
}

bool po_zone_rule_read(const char *text, size_t n, po_zone_rule *ret, size_t *ret_wrong)
{
    reader r = {text, n, 0};
    int32_t west = 0;
    *ret = (po_zone_rule){0};
    bool good = name(&r) && clock_time(&r, 24, &west);
    ret->standard_s = -west; /* POSIX counts westwards */
    ret->summer_s = ret->standard_s + 3600;
    if (good && r.at < n) {
        ret->has_summer = true;
        good = name(&r);
        if (good && peek(&r) != ',') {
            good = clock_time(&r, 24, &west);
            ret->summer_s = -west;
        }
        good = good && take(&r, ',') && date(&r, &ret->begins) && take(&r, ',') && date(&r, &ret->ends);
    }
    *ret_wrong = r.at;
    return good && r.at == n;
}

/* Seconds by the wall from 1970 on. */
static int64_t second_of(const po_zone_date *d, int year)
{
    int64_t first = po_day_of((po_date){year, 1, 1}), day;
    bool leap = po_day_of((po_date){year + 1, 1, 1}) - first == 366;
    if (d->kind == PO_DAY_JULIAN) {
        day = first + d->day - 1 + (leap && d->day >= 60);
    } else if (d->kind == PO_DAY_OF_YEAR) {
        day = first + d->day;
    } else {
        int64_t of_month = po_day_of((po_date){year, d->month, 1});
        int64_t next = po_day_of((po_date){year + d->month / 12, d->month % 12 + 1, 1});
        int weekday = (int)(((of_month + 4) % 7 + 7) % 7); /* 1970-01-01 was a Thursday */
        day = of_month + (d->day - weekday + 7) % 7 + (d->week - 1) * INT64_C(7);
        while (day >= next) {
            day -= 7;
        }
    }
    return day * 86400 + d->time_s;
}

typedef struct turn {
    int64_t at;
    int32_t offset;
} turn;

enum { TURNS = 8 };

/* The turns of the years around a second, by time; of two at once the one to summer time comes last and holds (so a
 * summer time that never ends is written: RFC 8536 section 3.3.1). */
static void turns_around(const po_zone_rule *rule, int64_t s, turn ret[TURNS])
{
    int64_t day = s / 86400 - (s % 86400 < 0);
    int year = po_date_of(day).year - 1;
    for (int i = 0; i < TURNS; i += 2) {
        turn summer = {second_of(&rule->begins, year + i / 2) - rule->standard_s, rule->summer_s};
        turn standard = {second_of(&rule->ends, year + i / 2) - rule->summer_s, rule->standard_s};
        ret[i] = standard;
        ret[i + 1] = summer;
    }
    for (int i = 1; i < TURNS; i++) {
        turn t = ret[i];
        int k = i;
        for (; k > 0 && (ret[k - 1].at > t.at || (ret[k - 1].at == t.at && t.offset != rule->summer_s)); k--) {
            ret[k] = ret[k - 1];
        }
        ret[k] = t;
    }
}

int32_t po_zone_rule_offset(const po_zone_rule *rule, int64_t s)
{
    int32_t offset = rule->standard_s;
    if (rule->has_summer) {
        turn turns[TURNS];
        turns_around(rule, s, turns);
        for (int i = 0; i < TURNS && turns[i].at <= s; i++) {
            offset = turns[i].offset;
        }
    }
    return offset;
}

bool po_zone_rule_change(const po_zone_rule *rule, int64_t s, int64_t until, int64_t *ret)
{
    if (!rule->has_summer) {
        return false;
    }
    for (;;) { /* three years at a time */
        turn turns[TURNS];
        turns_around(rule, s, turns);
        int64_t last = s;
        for (int i = 0; i < TURNS; i++) {
            if (turns[i].at > s && turns[i].at <= until &&
                po_zone_rule_offset(rule, turns[i].at) != po_zone_rule_offset(rule, turns[i].at - 1)) {
                *ret = turns[i].at;
                return true;
            }
            last = turns[i].at > last ? turns[i].at : last;
        }
        if (last >= until || last == s) {
            return false;
        }
        s = last;
    }
}
