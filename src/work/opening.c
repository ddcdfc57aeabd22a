/* Exceptions to the desk hours from iCalendar files. SPDX-License-Identifier: Apache-2.0 */
#include "work/opening.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/whole.h"

/* The whole of a file; the caller frees. */
static po_status whole_file(const char *path, char **ret_bytes, size_t *ret_n, po_err *err)
{
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    if (file < 0) {
        return po_fail_at(err, errno == ENOENT ? PO_E_NOTFOUND : PO_E_IO, path, 0, 0, "the calendar can't be read: %s",
                          strerror(errno));
    }
    char *bytes = malloc((size_t)WORK_CALENDAR_BYTES_MOST + 1); /* one more: that too long is seen, by po_ical_read */
    ssize_t n = bytes ? po_read_whole(file, bytes, (size_t)WORK_CALENDAR_BYTES_MOST + 1) : 0;
    int fault = errno;
    close(file);
    if (!bytes || n < 0) {
        free(bytes);
        return bytes ? po_fail_at(err, PO_E_IO, path, 0, 0, "the calendar can't be read: %s", strerror(fault))
                     : po_fail_at(err, PO_E_NOMEM, path, 0, 0, "memory ran out");
    }
    *ret_bytes = bytes;
    *ret_n = (size_t)n;
    return PO_OK;
}

po_status work_opening_file(const po_shop *shop, const char *path, bool holidays, const po_zone *zone, int64_t now_ms,
                            po_arena *arena, const po_shop **ret_shop, po_err *err)
{
    const int64_t day = INT64_C(86400000);
    po_ms_span within = {now_ms - WORK_OPENING_BEFORE_DAYS * day, now_ms + WORK_OPENING_AFTER_DAYS * day};
    const po_desk_event *events = NULL;
    char *bytes = NULL;
    size_t n_bytes = 0, n = 0;
    po_status s = whole_file(path, &bytes, &n_bytes, err);
    if (s != PO_OK) {
        return s;
    }
    s = po_ical_read(bytes, n_bytes, path, zone, within, holidays, arena, &events, &n, err);
    free(bytes);
    return s == PO_OK ? po_shop_with_events(shop, zone, events, n, arena, ret_shop, err) : s;
}

po_status work_opening(const po_shop *shop, const char *shop_path, int64_t now_ms, po_arena *arena,
                       const po_shop **ret_shop, po_err *err)
{
    const po_zone *zone = NULL;
    *ret_shop = shop;
    if (shop->n_calendars + shop->n_holidays == 0) {
        return PO_OK;
    }
    po_status s = po_zone_load(shop->time_zone, arena, &zone, err);
    const char *slash = strrchr(shop_path, '/');
    int folder = slash ? (int)(slash - shop_path) + 1 : 0;
    for (size_t i = 0; i < shop->n_calendars + shop->n_holidays && s == PO_OK; i++) {
        bool holidays = i >= shop->n_calendars;
        const char *path = holidays ? shop->holidays[i - shop->n_calendars] : shop->calendars[i];
        const char *whole = path[0] == '/' ? path : po_arena_printf(arena, "%.*s%s", folder, shop_path, path);
        s = whole ? work_opening_file(*ret_shop, whole, holidays, zone, now_ms, arena, ret_shop, err)
                  : po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    return s;
}
