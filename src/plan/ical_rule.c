/* Recurrence rules and zones of an iCalendar file, by libical (ical_library.h). SPDX-License-Identifier: Apache-2.0
 *
 * Rules are laid out on the wall's clock (RFC 5545 3.3.10); whoever asks brings them to UTC. What would take long to lay
 * out is refused first: rules by the hour and finer say nothing of desk hours, and each rule is cut at the end of what is
 * asked. libical itself gives up on a rule that never holds when its calendar ends. */
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "plan/ical_inside.h"
#include "plan/ical_library.h"

enum { RULE_MOST = 600, ZONE_PARTS_MOST = 400, YEAR_MOST = 2400 };

static struct icaltimetype to_ical(int64_t local_s, bool is_date)
{
    int64_t day = local_s / 86400 - (local_s % 86400 < 0);
    int of_day = (int)(local_s - day * 86400);
    po_date d = po_date_of(day);
    struct icaltimetype t = {0};
    t.year = d.year;
    t.month = d.month;
    t.day = d.day;
    t.is_date = is_date;
    t.hour = is_date ? 0 : of_day / 3600;
    t.minute = is_date ? 0 : of_day / 60 % 60;
    t.second = is_date ? 0 : of_day % 60;
    return t;
}

static int64_t from_ical(struct icaltimetype t)
{
    return po_day_of((po_date){t.year, t.month, t.day}) * 86400 + t.hour * 3600 + t.minute * 60 + t.second;
}

/* The part of a rule by that name: "FREQ" of "FREQ=DAILY;COUNT=3". */
static const char *part(const char *rule, const char *name, size_t *ret_n)
{
    size_t n = strlen(name);
    for (const char *p = rule; p; p = strchr(p, ';'), p = p ? p + 1 : NULL) {
        if (strncasecmp(p, name, n) == 0 && p[n] == '=') {
            *ret_n = strcspn(p + n + 1, ";");
            return p + n + 1;
        }
    }
    return NULL;
}

static bool is_one_of(const char *text, size_t n, const char *const *words, size_t n_words)
{
    for (size_t i = 0; i < n_words; i++) {
        if (strlen(words[i]) == n && strncasecmp(text, words[i], n) == 0) {
            return true;
        }
    }
    return false;
}

bool po_ical_rule_until(const char *rule, po_ical_time *ret)
{
    size_t n;
    const char *until = part(rule, "UNTIL", &n);
    return until && po_ical_time_read(until, n, ret);
}

static po_status refuse(const char *rule, po_err *err)
{
    static const char *const coarse[] = {"DAILY", "WEEKLY", "MONTHLY", "YEARLY"}, *const fine[] = {"HOURLY", "MINUTELY",
                                                                                                   "SECONDLY"};
    size_t n, m;
    po_ical_time until;
    const char *freq = part(rule, "FREQ", &n);
    if (strlen(rule) > RULE_MOST || !freq) {
        return po_fail(err, PO_E_SYNTAX, "a rule of at most %d letters with FREQ= is needed", RULE_MOST);
    }
    if (is_one_of(freq, n, fine, 3)) {
        return po_fail(err, PO_E_UNSUPPORTED,
                       "rules by the hour, minute or second are not laid out; desk hours go by days");
    }
    if (!is_one_of(freq, n, coarse, 4)) {
        return po_fail(err, PO_E_SYNTAX, "FREQ=%.*s is no rule; DAILY, WEEKLY, MONTHLY or YEARLY is needed",
                       (int)(n < 20 ? n : 20), freq);
    }
    if (part(rule, "RSCALE", &m) || part(rule, "SKIP", &m)) {
        return po_fail(err, PO_E_UNSUPPORTED, "rules of other calendars (RSCALE, RFC 7529) are not laid out");
    }
    if (part(rule, "UNTIL", &m) && !po_ical_rule_until(rule, &until)) {
        return po_fail(err, PO_E_SYNTAX, "UNTIL of the rule is no day or time");
    }
    const char *interval = part(rule, "INTERVAL", &m);
    if (interval && (m == 0 || m > 4 || strspn(interval, "0123456789") < m || strspn(interval, "0") == m)) {
        return po_fail(err, PO_E_SYNTAX, "INTERVAL of the rule is no number from 1 to 9999");
    }
    const char *count = part(rule, "COUNT", &m);
    if (count && (m == 0 || m > 9 || strspn(count, "0123456789") < m || strspn(count, "0") == m)) {
        return po_fail(err, PO_E_SYNTAX, "COUNT of the rule is no number from 1 to 999999999");
    }
    return PO_OK;
}

po_status po_ical_expand(const char *text, po_ical_time start, int64_t until, int64_t rule_until, size_t *budget,
                         po_arena *arena, const int64_t **ret_seconds, size_t *ret_n, po_err *err)
{
    po_ical_library ical[1];
    po_status s = refuse(text, err);
    s = s == PO_OK ? po_ical_library_open(ical, err) : s;
    if (s != PO_OK) {
        return s;
    }
    ical->icalerror_clear_errno();
    struct icalrecurrencetype rule = ical->icalrecurrencetype_from_string(text);
    icalrecur_iterator *it = NULL;
    if (rule.freq != ICAL_NO_RECURRENCE) {
        int64_t end = until;
        po_ical_time own;
        if (po_ical_rule_until(text, &own)) {
            own.local_s = rule_until != INT64_MIN ? rule_until
                                                  : own.local_s + (own.is_date && !start.is_date ? 86399 : 0);
            end = own.local_s < until ? own.local_s : until;
        }
        if (rule.count == 0) { /* UNTIL and COUNT exclude each other */
            rule.until = to_ical(end, start.is_date);
        }
        it = ical->icalrecur_iterator_new(rule, to_ical(start.local_s, start.is_date));
    }
    if (!it) {
        return po_fail(err, PO_E_SYNTAX, "this rule can't be read: %s",
                       *ical->icalerrno_return() != ICAL_NO_ERROR ? ical->icalerror_strerror(*ical->icalerrno_return())
                                                                  : "it says nothing");
    }
    int64_t *list = NULL;
    size_t n = 0, room = 0;
    for (struct icaltimetype t = ical->icalrecur_iterator_next(it); s == PO_OK && !ical->icaltime_is_null_time(t);
         t = ical->icalrecur_iterator_next(it)) {
        int64_t at = from_ical(t);
        if (at > until) {
            break;
        }
        if (*budget == 0) {
            s = po_fail(err, PO_E_LIMIT, "the calendar recurs too often: more than 100000 times in all");
            break;
        }
        --*budget;
        if (n == room) {
            size_t more = room ? 2 * room : 16;
            int64_t *larger = po_arena_resize(arena, list, room * sizeof *list, more * sizeof *list);
            if (!larger) {
                s = po_fail(err, PO_E_NOMEM, "no memory for a calendar");
                break;
            }
            list = larger;
            room = more;
        }
        list[n++] = at;
    }
    ical->icalrecur_iterator_free(it);
    if (s == PO_OK) {
        *ret_seconds = list;
        *ret_n = n;
    }
    return s;
}

/* ---- zones ---- */

struct po_ical_zone {
    po_ical_library ical;
    icaltimezone *zone;
};

po_status po_ical_zone_read(const po_ical_line *lines, size_t n, po_arena *arena, po_ical_zone **ret, po_err *err)
{
    static const char *const yearly[] = {"YEARLY"};
    po_text text;
    po_text_init(&text, arena);
    size_t parts = 0;
    for (size_t i = 0; i < n; i++) {
        size_t m;
        const char *freq = po_text_same(lines[i].name, "RRULE") ? part(lines[i].value, "FREQ", &m) : NULL;
        parts += po_text_same(lines[i].name, "BEGIN");
        if (po_text_same(lines[i].name, "RRULE") && (!freq || !is_one_of(freq, m, yearly, 1))) {
            return po_fail_at(err, PO_E_UNSUPPORTED, NULL, lines[i].line, 1,
                              "a zone whose clocks change other than yearly is not read");
        }
        po_status wrong = freq ? refuse(lines[i].value, err) : PO_OK;
        if (wrong != PO_OK) {
            if (err) {
                err->line = lines[i].line;
            }
            return wrong;
        }
        po_text_printf(&text, "%s%s%s:%s\r\n", lines[i].name, *lines[i].parameters ? ";" : "", lines[i].parameters,
                       lines[i].value);
    }
    if (parts > ZONE_PARTS_MOST) {
        return po_fail_at(err, PO_E_LIMIT, NULL, lines[0].line, 1, "the zone has more than %d clocks", ZONE_PARTS_MOST);
    }
    po_ical_zone *z = po_arena_zeros(arena, 1, sizeof *z);
    if (!z || text.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for a zone");
    }
    po_status s = po_ical_library_open(&z->ical, err);
    if (s != PO_OK) {
        return s;
    }
    const po_ical_library *ical = &z->ical;
    icalcomponent *c = ical->icalparser_parse_string(text.data);
    z->zone = ical->icaltimezone_new();
    bool good = c && z->zone && ical->icalcomponent_isa(c) == ICAL_VTIMEZONE_COMPONENT &&
                ical->icalcomponent_get_first_component(c, ICAL_ANY_COMPONENT) != NULL &&
                ical->icaltimezone_set_component(z->zone, c); /* it owns the component from here on */
    if (!good) {
        if (c) {
            ical->icalcomponent_free(c);
        }
        if (z->zone) {
            ical->icaltimezone_free(z->zone, 1);
        }
        return po_fail_at(err, PO_E_SYNTAX, NULL, lines[0].line, 1, "the zone that begins here can't be read");
    }
    *ret = z;
    return PO_OK;
}

void po_ical_zone_free(po_ical_zone *z)
{
    if (z) {
        z->ical.icaltimezone_free(z->zone, 1);
    }
}

/* libical knows a zone's changes for the years that its calendar has. */
static int64_t within(int64_t s)
{
    int64_t most = po_day_of((po_date){YEAR_MOST, 1, 1}) * 86400, least = po_day_of((po_date){1800, 1, 1}) * 86400;
    return s > most ? most : s < least ? least : s;
}

int64_t po_ical_zone_utc(const po_ical_zone *z, int64_t local)
{
    struct icaltimetype t = to_ical(within(local), false);
    int summer;
    return local - z->ical.icaltimezone_get_utc_offset(z->zone, &t, &summer);
}

int64_t po_ical_zone_local(const po_ical_zone *z, int64_t utc)
{
    struct icaltimetype t = to_ical(within(utc), false);
    int summer;
    return utc + z->ical.icaltimezone_get_utc_offset_of_utc_time(z->zone, &t, &summer);
}
