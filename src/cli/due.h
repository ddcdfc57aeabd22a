/* The day at the desk: hours, what is due now and next, when a machine is free. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_DUE_H
#define PO_CLI_DUE_H

#include "desk.h"

enum { DUE_SPANS_MOST = 16, DUE_LAPSE_DAYS = 14 /* permits that lapse so soon are named */ };

/* One stretch of desk hours, ms of UTC. last_start_ms: the latest first bead whose watch of the shop's minutes ends before
 * `until_ms`; a first layer that takes longer needs an earlier start. Less than from_ms: the stretch is too short for a watch. */
typedef struct due_span {
    int64_t from_ms, until_ms, last_start_ms;
} due_span;
/* Desk hours on the day of a time; the number of spans, 0 on a closed day. */
size_t due_hours(const desk *d, int64_t ms, due_span spans[DUE_SPANS_MOST]);
/* Somebody is at the desk at that time. */
bool due_staffed(const desk *d, int64_t ms);
/* The next time from ms on when somebody is; false where there is none within 400 days. */
bool due_next_staffed(const desk *d, int64_t ms, int64_t *ret_ms);

/* The book's question today, with the shop's limits. The answer is the caller's. */
int due_ask(desk *d, json_t **ret_today);
/* What is due, in order of time: objects of "at_ms" (null: at no certain time), "now" (it waits for somebody), "says", "do" (the
 * verb that books it; may be null). The caller's; NULL: out of memory. */
json_t *due_list(const desk *d, const json_t *today);

/* When the machine that comes `ahead` others will be free, by the expected ends of runs: at once where one is free now.
 * machine: only that one; NULL: any that the predicate allows (NULL: all). false: nobody knows. ret_machine: its name */
bool due_next_free(const desk *d, const json_t *today, const char *machine, const json_t *permissions, size_t ahead,
                   int64_t *ret_ms, const char **ret_machine);

/* The run of a list of today by number or machine, helpers for the verbs around. */
int64_t due_int(const json_t *object, const char *key, int64_t missing);
const char *due_text(const json_t *object, const char *key); /* "" where missing */

#endif
