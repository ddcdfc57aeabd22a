/* iCalendar files. SPDX-License-Identifier: Apache-2.0
 * Promises: it comes to an end, soon; a fault has a place within the file; events touch what was asked, end after they start and
 * rise; a calendar is made of them, with stretches that rise and lie apart. */
#include <string.h>

#include "fuzz.h"
#include "proveout/calendar.h"

static void lay_out(const po_zone *zone, po_ms_span within, const po_desk_event *events, size_t n, po_arena *arena)
{
    static const po_span_minutes all_day[] = {{600, 1200}};
    po_shop shop = {.name = "x"};
    shop.hours[2] = (po_day_hours){all_day, 1};
    const po_calendar *c = NULL;
    if (po_calendar_make(&shop, zone, within, events, n, arena, &c, NULL) == PO_OK) {
        for (size_t i = 0; i < c->n_spans; i++) {
            PROMISE(c->spans[i].from_ms < c->spans[i].until_ms);
            PROMISE(c->spans[i].from_ms >= within.from_ms && c->spans[i].until_ms <= within.until_ms);
            PROMISE(i == 0 || c->spans[i].from_ms > c->spans[i - 1].until_ms);
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    uint32_t lines = 1;
    for (size_t i = 0; i < n; i++) {
        lines += data[i] == '\n' || data[i] == '\r';
    }
    po_arena *arena = po_arena_new(256 << 20);
    const po_zone *zone = NULL;
    const po_desk_event *events = NULL;
    size_t n_events = 0;
    po_err err = {0};
    po_ms_span within = {INT64_C(1790000000000), INT64_C(1830000000000)}; /* September 2026 to December 2027 */
    PROMISE(arena && po_zone_load("UTC", arena, &zone, NULL) == PO_OK);
    po_status s = po_ical_read((const char *)data, n, "x", zone, within, n % 2, arena, &events, &n_events, &err);
    if (s != PO_OK) {
        PROMISE(err.code == s && strlen(err.msg) > 5 && err.line <= lines);
        PROMISE(s == PO_E_NOMEM || s == PO_E_LIMIT || err.line >= 1);
        PROMISE(s == PO_E_NOMEM || s == PO_E_LIMIT || s == PO_E_SYNTAX || s == PO_E_UNSUPPORTED || s == PO_E_NOTFOUND ||
                s == PO_E_RANGE);
    }
    for (size_t i = 0; s == PO_OK && i < n_events; i++) {
        PROMISE(events[i].span.from_ms < events[i].span.until_ms && events[i].summary);
        PROMISE(events[i].span.from_ms < within.until_ms && events[i].span.until_ms > within.from_ms);
        PROMISE(events[i].line >= 1 && events[i].line <= lines);
        PROMISE(i == 0 || events[i].span.from_ms >= events[i - 1].span.from_ms);
    }
    if (s == PO_OK) {
        lay_out(zone, within, events, n_events, arena);
    }
    po_arena_free(arena);
    return 0;
}
