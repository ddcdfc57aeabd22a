/* The day at the desk: hours, what is due now and next, when a machine is free. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_DUE_H
#define PO_CLI_DUE_H

#include "desk.h"

enum { DUE_MACHINES_MOST = 256, DUE_SPANS_MOST = 16, DUE_LAPSE_DAYS = 14 /* permits that lapse so soon are named */ };

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
/* What is due (due_list.c), in order of time: objects of "at_ms" (null: at no certain time), "now" (it waits for somebody), "says", "do" (the
 * verb that books it; may be null). The caller's; NULL: out of memory. */
json_t *due_list(const desk *d, const json_t *today);

/* When a machine will be free for a member, by the expected ends of runs, with the tickets before theirs served first; now, where
 * one is. member NULL: the next of all machines, whoever waits. machine: that one only (NULL: any that the permissions, NULL =
 * all, allow). false: nobody knows. */
bool due_next_free(const desk *d, const json_t *today, const char *member, const char *machine,
                   const json_t *permissions, int64_t *ret_ms, const char **ret_machine);

/* Of an answer. */
int64_t due_int(const json_t *object, const char *key, int64_t missing);
const char *due_text(const json_t *object, const char *key); /* "" where missing */
bool due_has(const json_t *object, const char *key);         /* there, and not null */

#endif
