/* How long permissions hold by the shop file, and which bring others along. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_PERMITS_H
#define PO_WORK_PERMITS_H

#include "work/work.h"

/* The moment at which a day of the shop is over, ms of UTC; where the clocks go forward at midnight: the first moment after it. -1: the zone
 * is not known. */
int64_t work_day_over(const work_context *w, po_date date);

/* Which permissions bring which along, for the question "member": {"lathe": ["saw"], ...}; the caller's. */
json_t *work_implied(const po_shop *shop);

/* Until when a permission that is granted now holds, in ms of UTC; -1: without end. One that lapses with the term: to the end of the
 * shop's term that is on or comes next; one that lapses after months: to the end of that day. Both: whichever is first. */
int64_t work_permit_until(const work_context *w, const po_permission *permission);

#endif
