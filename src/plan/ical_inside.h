/* Content lines, times and rules of an iCalendar file, for the files of this folder. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PLAN_ICAL_INSIDE_H
#define PO_PLAN_ICAL_INSIDE_H

#include "plan/zone.h"

/* ---- ical_lines.c ---- */

/* One content line, unfolded (RFC 5545 3.1), in the arena. */
typedef struct po_ical_line {
    const char *name, *parameters, *value; /* parameters: "TZID=Europe/London;VALUE=DATE", as written, or "" */
    uint32_t line;
} po_ical_line;

/* Errors: PO_E_SYNTAX (no ":", an empty name, a NUL byte, text that is no UTF-8, BEGIN and END that do not match, no VCALENDAR), PO_E_LIMIT. */
po_status po_ical_lines(const char *text, size_t n, const char *name, po_arena *arena, const po_ical_line **ret_lines,
                        size_t *ret_n, po_err *err) PO_MUST_USE;
/* The value of a parameter, without quotation marks, in the arena; NULL: not given. */
const char *po_ical_parameter(const po_ical_line *line, const char *name, po_arena *arena);
/* A text without its escapes (RFC 5545 3.3.11); NULL: no memory. */
const char *po_ical_text(const char *value, po_arena *arena);

/* ---- ical_time.c ---- */

typedef struct po_ical_time {
    int64_t local_s; /* seconds of the wall from 1970 on; UTC's own where utc is set */
    bool is_date, utc;
} po_ical_time;
/* "20261224", "20261224T100000", "20261224T100000Z"; the first n bytes. false: none. */
bool po_ical_time_read(const char *text, size_t n, po_ical_time *ret);
/* "P1D", "PT1H30M", "-PT5M": whole days and the seconds beside them. false: none, or beyond 100 years. */
bool po_ical_duration_read(const char *text, size_t n, int64_t *ret_days, int64_t *ret_seconds);

/* ---- ical_rule.c: the only file that sees libical ---- */

/* Occurrences of a recurrence rule, as local seconds, the start not included where the rule does not hold for it.
 * until      local second after which nothing is asked for; budget: occurrences that may still be laid out, lowered
 * rule_until the rule's UNTIL where it is given in UTC, brought to the same clock by the caller; INT64_MIN: as written
 * Errors     PO_E_SYNTAX, PO_E_UNSUPPORTED, PO_E_LIMIT, PO_E_NOMEM, without a place */
po_status po_ical_expand(const char *rule, po_ical_time start, int64_t until, int64_t rule_until, size_t *budget,
                         po_arena *arena, const int64_t **ret_seconds, size_t *ret_n, po_err *err) PO_MUST_USE;
/* The rule's UNTIL; false: it has none. */
bool po_ical_rule_until(const char *rule, po_ical_time *ret);

/* A zone that the file brings along (VTIMEZONE). */
typedef struct po_ical_zone po_ical_zone;
/* lines: those from BEGIN:VTIMEZONE to its END. Free with po_ical_zone_free. Errors as above. */
po_status po_ical_zone_read(const po_ical_line *lines, size_t n, po_arena *arena, po_ical_zone **ret,
                            po_err *err) PO_MUST_USE;
void po_ical_zone_free(po_ical_zone *zone);
int64_t po_ical_zone_utc(const po_ical_zone *zone, int64_t local_s);
int64_t po_ical_zone_local(const po_ical_zone *zone, int64_t utc_s);

#endif
