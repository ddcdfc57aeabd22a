/* The rule at the end of a zone's file: when the clocks change, year by year. SPDX-License-Identifier: Apache-2.0
 * "GMT0BST,M3.5.0/1,M10.5.0": POSIX.1-2017 section 8.3 (TZ), with hours of -167 to 167 (RFC 8536 section 3.3.1). */
#ifndef PO_PLAN_ZONE_RULE_H
#define PO_PLAN_ZONE_RULE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum po_rule_day {
    PO_DAY_JULIAN /* Jn: 1 to 365, never 29 February */,
    PO_DAY_OF_YEAR /* 0 to 365 */,
    PO_DAY_OF_WEEK
} po_rule_day;

typedef struct po_zone_date {
    po_rule_day kind;
    int day;         /* of the year; or of the week, Sunday 0 */
    int month, week; /* week 5: the last */
    int32_t time_s;  /* by the clock that holds before */
} po_zone_date;

typedef struct po_zone_rule {
    int32_t standard_s, summer_s; /* east of Greenwich */
    bool has_summer;
    po_zone_date begins, ends; /* summer time */
} po_zone_rule;

/* false, with *ret_wrong the offset in the text, where it is none. */
bool po_zone_rule_read(const char *text, size_t n, po_zone_rule *ret, size_t *ret_wrong);
int32_t po_zone_rule_offset(const po_zone_rule *rule, int64_t utc_s);
/* The next second after s, at most until, at which the offset changes. */
bool po_zone_rule_change(const po_zone_rule *rule, int64_t s, int64_t until, int64_t *ret);

#endif
