/* Events as an iCalendar stream. SPDX-License-Identifier: Apache-2.0
 * RFC 5545: lines end at CRLF and are folded at 75 octets, never within a character (3.1); texts are escaped (3.3.11); an event
 * has a UID and DTSTAMP (3.6.1); times are in UTC, so that no zone has to be brought along (3.3.5). */
#include <string.h>

#include "base/text.h"
#include "plan/zone.h"

enum { LINE_OCTETS = 75 };

static void put_line(po_text *t, const char *line)
{
    size_t used = 0;
    for (const char *p = line; *p;) {
        size_t n = po_utf8_length(p, strlen(p));
        n = n ? n : 1;
        if (used + n > LINE_OCTETS) {
            po_text_add(t, "\r\n ");
            used = 1;
        }
        po_text_add_n(t, p, n);
        used += n;
        p += n;
    }
    po_text_add(t, "\r\n");
}

static void put_text(po_text *t, po_arena *arena, const char *name, const char *value)
{
    po_text line;
    po_text_init(&line, arena);
    po_text_printf(&line, "%s:", name);
    for (const char *p = value; *p;) {
        size_t n = po_utf8_length(p, strlen(p));
        if (n == 0) { /* no text in UTF-8 */
            po_text_add(&line, "?");
            p++;
        } else if (*p == '\n') {
            po_text_add(&line, "\\n");
            p++;
        } else if (*p == '\\' || *p == ';' || *p == ',') {
            po_text_printf(&line, "\\%c", *p++);
        } else {
            bool control = (unsigned char)*p < 0x20 || *p == 0x7f;
            po_text_add_n(&line, control ? "?" : p, n);
            p += n;
        }
    }
    t->failed |= line.failed;
    if (!line.failed) {
        put_line(t, line.data);
    }
}

static void put_time(po_text *t, const po_zone *utc, const char *name, int64_t ms)
{
    int second;
    po_wall_time w = po_zone_wall(utc, ms, &second);
    po_text_printf(t, "%s:%04d%02d%02dT%02d%02d%02dZ\r\n", name, w.date.year, w.date.month, w.date.day, w.minute / 60,
                   w.minute % 60, second);
}

po_status po_feed_write(const char *name, const po_feed_event *events, size_t n, int64_t stamp_ms, po_arena *arena,
                        const char **ret_text, size_t *ret_n, po_err *err)
{
    const int64_t most = po_day_of((po_date){9999, 12, 30}) * INT64_C(86400000);
    const po_zone *utc;
    po_text t;
    po_status s = po_zone_load("UTC", arena, &utc, err);
    if (s != PO_OK) {
        return s;
    }
    po_text_init(&t, arena);
    po_text_add(&t,
                "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Proveout//Desk calendar 1//EN\r\nCALSCALE:GREGORIAN\r\n");
    put_text(&t, arena, "X-WR-CALNAME", name); /* widely read, though of no standard; RFC 7986 5.1 says NAME */
    put_text(&t, arena, "NAME", name);
    for (size_t i = 0; i < n; i++) {
        const po_feed_event *e = &events[i];
        if (e->span.from_ms < 0 || e->span.until_ms < e->span.from_ms || e->span.until_ms > most || stamp_ms < 0 ||
            stamp_ms > most) {
            return po_fail(err, PO_E_RANGE, "event %.60s lies outside the years 1970 to 9999 or ends before it starts",
                           e->uid);
        }
        po_text_add(&t, "BEGIN:VEVENT\r\n");
        put_text(&t, arena, "UID", e->uid);
        put_time(&t, utc, "DTSTAMP", stamp_ms);
        put_time(&t, utc, "DTSTART", e->span.from_ms);
        if (e->span.until_ms > e->span.from_ms) { /* an end must be later; without one it is a moment */
            put_time(&t, utc, "DTEND", e->span.until_ms);
        }
        put_text(&t, arena, "SUMMARY", e->summary);
        if (e->description) {
            put_text(&t, arena, "DESCRIPTION", e->description);
        }
        put_text(&t, arena, "CATEGORIES", e->category);
        po_text_add(&t, "TRANSP:TRANSPARENT\r\nEND:VEVENT\r\n");
    }
    po_text_add(&t, "END:VCALENDAR\r\n");
    if (t.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the feed");
    }
    *ret_text = t.data;
    *ret_n = t.n;
    return PO_OK;
}
