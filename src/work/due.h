/* The day at the desk: hours, what is due now and next, when a machine is free. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_DUE_H
#define PO_WORK_DUE_H

#include "work/book.h"

enum {
    WORK_MACHINES_MOST = 256,
    WORK_SPANS_MOST = 16,
    WORK_LAPSE_DAYS = 14 /* permits that lapse so soon are named */
};

/* One stretch of desk hours, ms of UTC. last_start_ms: the latest first bead whose watch of the shop's minutes ends before
 * `until_ms`; a first layer that takes longer needs an earlier start. Less than from_ms: the stretch is too short for a watch. */
typedef struct work_span {
    int64_t from_ms, until_ms, last_start_ms;
} work_span;
/* Desk hours on the day of a time; the number of spans, 0 on a closed day. */
size_t work_hours(const work_context *w, int64_t ms, work_span spans[WORK_SPANS_MOST]);
/* Somebody is at the desk at that time. */
bool work_staffed(const work_context *w, int64_t ms);
/* The next time from ms on when somebody is; false where there is none within 400 days. */
bool work_next_staffed(const work_context *w, int64_t ms, int64_t *ret_ms);

/* The book's question today, with the shop's limits. The answer is the caller's. */
po_status work_today(work_context *w, json_t **ret_today, po_err *err) PO_MUST_USE;
/* When the watch of a run of the question today is over that has started: the shop's minutes from the first bead on, and not before
 * the first layer is down. */
int64_t work_watch_until(const work_context *w, const json_t *run);
/* When the bed of a run that ended is cool enough by the machine's figures, from as hot as the shop lets beds be for its materials: a bound,
 * so that nobody reaches in too early. 0: not known. The bed's own display goes before it. */
int64_t work_cool_at(const work_context *w, const json_t *run);
/* What is due (due_list.c), in order of time: objects of "at_ms" (null: at no certain time), "now" (it waits for somebody), "says", "do" (the
 * verb that books it; may be null), "kind" and "about" (what it is, for a page in any language: docs/api.md). The caller's; NULL: out of memory. */
json_t *work_due_list(const work_context *w, const json_t *today);

/* When a machine will be free for a member, by the expected ends of runs, with the tickets before theirs served first; now, where
 * one is. member NULL: the next of all machines, whoever waits. machine: that one only (NULL: any that the permissions, NULL =
 * all, allow). false: nobody knows. */
bool work_next_free(const work_context *w, const json_t *today, const char *member, const char *machine,
                    const json_t *permissions, int64_t *ret_ms, const char **ret_machine);

#endif
