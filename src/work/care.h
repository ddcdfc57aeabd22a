/* Care that is due, by what machines ran since it was last done. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_CARE_H
#define PO_WORK_CARE_H

#include "work/work.h"

/* "proveout/care-due/1": of each machine and task of the shop file how much of its interval is used up ("share", of the interval that is used up most:
 * "by"), "state" due (1 and more), soon (0.9 and more) or good, when it was last done. The most pressing first. A task that was never done counts from the
 * machine's first run in the book; a machine that never ran, or left the shop, owes nothing. machine NULL: all. The caller's.
 * Errors  work_ask's */
po_status work_care_due(work_context *w, const char *machine, json_t **ret, po_err *err) PO_MUST_USE;
/* The same in short for the day: today["care"], a row for each machine with due tasks. */
po_status work_care_today(work_context *w, json_t *today, po_err *err) PO_MUST_USE;

#endif
