/* Exceptions to the desk hours from iCalendar files. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_OPENING_H
#define PO_WORK_OPENING_H

#include "proveout/calendar.h"

enum { WORK_OPENING_BEFORE_DAYS = 62, WORK_OPENING_AFTER_DAYS = 800, WORK_CALENDAR_BYTES_MOST = 16 << 20 };

/* The shop with what one file says; holidays: events that do not say open or closed close the desk too.
 * Laid out from so many days before now_ms to so many after; a desk that runs for longer is started anew or reads the shop file again.
 * Errors  PO_E_NOTFOUND, PO_E_IO: it can't be read; those of po_ical_read; each with the file's path */
po_status work_opening_file(const po_shop *shop, const char *path, bool holidays, const po_zone *zone, int64_t now_ms,
                            po_arena *arena, const po_shop **ret_shop, po_err *err) PO_MUST_USE;
/* The same with all files of the shop file (hours.calendars, hours.holidays).
 * shop_path  of the shop file, from whose folder relative paths start */
po_status work_opening(const po_shop *shop, const char *shop_path, int64_t now_ms, po_arena *arena,
                       const po_shop **ret_shop, po_err *err) PO_MUST_USE;

#endif
