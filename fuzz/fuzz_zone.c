/* Zones of time (TZif files). SPDX-License-Identifier: Apache-2.0
 * Promises: a fault has a place within the file; whatever is read can be asked: walls are times of a day, and lead back. */
#include <string.h>

#include "fuzz.h"
#include "proveout/calendar.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    po_arena *arena = po_arena_new(64 << 20);
    const po_zone *zone = NULL;
    po_err err = {0};
    PROMISE(arena);
    po_status s = po_zone_read(data, n, "x", arena, &zone, &err);
    if (s != PO_OK) {
        PROMISE(s == PO_E_SYNTAX || s == PO_E_UNSUPPORTED);
        PROMISE(err.code == s && (s != PO_E_SYNTAX || err.byte <= n));
        po_arena_free(arena);
        return 0;
    }
    int64_t last = 0;
    for (int i = 0; i < 50; i++) {
        int64_t ms = INT64_C(86400000) * (i * 977 % 40000) - INT64_C(86400000) * 9000 + i * INT64_C(1234567), a, b;
        po_wall_time w = po_zone_wall(zone, ms, NULL);
        PROMISE(w.minute >= 0 && w.minute < 1440 && w.date.month >= 1 && w.date.month <= 12 && w.date.day >= 1 &&
                w.date.day <= 31);
        if (po_zone_moments(zone, w, &a, &b) != PO_ZONE_NEVER) {
            PROMISE(a <= b);
            po_wall_time back = po_zone_wall(zone, a, NULL);
            PROMISE(back.minute == w.minute && back.date.day == w.date.day);
        }
        if (po_zone_change(zone, last, INT64_C(4102444800000), &a)) {
            PROMISE(a > last && po_zone_offset(zone, a) != po_zone_offset(zone, a - 1000));
            last = a;
        }
    }
    po_arena_free(arena);
    return 0;
}
