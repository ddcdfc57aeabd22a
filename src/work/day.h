/* The desk's day in one answer: what is due with the acts that do it, and the machines' day against desk hours. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_DAY_H
#define PO_WORK_DAY_H

#include "work/due.h"

enum { WORK_DAYS = 7 }; /* today and the next ones */

/* What a page shows of the day (docs/api.md, "today"): the note, what is due as `today` says it, days with desk hours, a strip for each machine
 * of the shop. The answer is the caller's.
 * Errors  those of work_today */
po_status work_day(work_context *w, json_t **ret_day, po_err *err) PO_MUST_USE;

/* day_acts.c: to each row of the due list the acts that one press can do, as "acts": objects of "word" (what it is called in a page), "act"
 * and "body", with the shop's message to the member where it sends any. What needs more to be known has none: a page leads to its form.
 * next_place: of the shelf; 0: it is full. */
void work_day_acts(const work_context *w, json_t *due, int64_t next_place);

#endif
