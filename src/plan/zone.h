/* Local seconds and UTC seconds of a zone, for the files of this folder. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PLAN_ZONE_H
#define PO_PLAN_ZONE_H

#include "proveout/calendar.h"

/* Days since 1970-01-01, proleptic Gregorian. */
int64_t po_day_of(po_date date);
po_date po_date_of(int64_t day);
/* Seconds that a clock on the wall is ahead of 1970-01-01T00:00 (its own), against UTC seconds; as po_zone_moments. */
po_zone_times po_zone_utc(const po_zone *zone, int64_t local_s, int64_t *ret_first_s, int64_t *ret_second_s);

#endif
