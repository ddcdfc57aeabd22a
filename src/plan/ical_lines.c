/* An iCalendar file as unfolded lines with their numbers. SPDX-License-Identifier: Apache-2.0
 *
 * RFC 5545 3.1: content lines end at CRLF and go on where the next one begins with a blank or tab. A bare LF or CR is taken as well,
 * as many writers use it. libical, which reads values, keeps no line numbers: so lines are cut here. */
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "plan/ical_inside.h"

enum { BYTES_MOST = 16 << 20, DEEP = 4 };

static po_status fault(po_err *err, const char *name, uint32_t line, const char *says)
{
    return po_fail_at(err, PO_E_SYNTAX, name, line, 1, "%s; an iCalendar file (RFC 5545) is needed", says);
}

/* Bytes of one physical line, and where the next one begins. */
static size_t physical(const char *text, size_t n, size_t at, size_t *ret_next)
{
    size_t end = at;
    while (end < n && text[end] != '\n' && text[end] != '\r') {
        end++;
    }
    *ret_next = end < n ? end + 1 + (text[end] == '\r' && end + 1 < n && text[end + 1] == '\n') : n;
    return end - at;
}

/* Cuts "NAME;parameters:value" in place. */
static bool cut(char *text, po_ical_line *ret)
{
    size_t name = strspn(text, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-");
    bool quoted = false;
    char *p = text + name;
    if (name == 0 || (*p != ':' && *p != ';')) {
        return false;
    }
    for (; *p && (quoted || *p != ':'); p++) {
        quoted ^= *p == '"';
    }
    if (!*p) {
        return false;
    }
    ret->value = p + 1;
    ret->parameters = text[name] == ';' ? text + name + 1 : "";
    *p = 0;
    text[name] = 0;
    ret->name = text;
    return true;
}

static bool readable(const char *text, size_t n)
{
    for (size_t i = 0; i < n;) {
        size_t k = po_utf8_length(text + i, n - i);
        if (k == 0 || text[i] == 0) {
            return false;
        }
        i += k;
    }
    return true;
}

/* BEGIN and END in pairs. */
static po_status nested(const po_ical_line *lines, size_t n, const char *name, po_err *err)
{
    const po_ical_line *open[DEEP];
    size_t deep = 0, calendars = 0;
    for (size_t i = 0; i < n; i++) {
        const po_ical_line *l = &lines[i];
        if (po_text_same(l->name, "BEGIN")) {
            calendars += deep == 0;
            if ((deep == 0) != po_text_same(l->value, "VCALENDAR")) {
                return fault(err, name, l->line,
                             deep == 0 ? "something begins outside of a calendar" : "a calendar begins within another");
            }
            if (deep == DEEP) {
                return fault(err, name, l->line, "things begin within each other more than 4 deep");
            }
            open[deep++] = l;
        } else if (po_text_same(l->name, "END")) {
            if (deep == 0 || !po_text_same(open[deep - 1]->value, l->value)) {
                return fault(err, name, l->line, "an END stands here that ends nothing");
            }
            deep--;
        } else if (deep == 0) {
            return fault(err, name, l->line, "a line stands outside of a calendar");
        }
    }
    if (deep > 0) {
        return fault(err, name, open[deep - 1]->line, "what begins here is never ended");
    }
    return calendars == 0 ? fault(err, name, 1, "no calendar is there") : PO_OK;
}

po_status po_ical_lines(const char *text, size_t n, const char *name, po_arena *arena, const po_ical_line **ret_lines,
                        size_t *ret_n, po_err *err)
{
    if (n > BYTES_MOST) {
        return po_fail_at(err, PO_E_LIMIT, name, 0, 0, "a calendar of more than 16 MB is not read");
    }
    size_t n_lines = 0, most = 1;
    for (size_t i = 0; i < n; i++) {
        most += text[i] == '\n' || text[i] == '\r';
    }
    po_ical_line *lines = po_arena_zeros(arena, most, sizeof *lines);
    char *block = po_arena_zeros(arena, n + most + 1, 1);
    if (!lines || !block) {
        return po_fail(err, PO_E_NOMEM, "no memory for a calendar");
    }
    uint32_t number = 1;
    size_t used = 0, at = n >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0 ? 3 : 0; /* a byte order mark */
    while (at < n) {
        size_t next, length = physical(text, n, at, &next), from = used;
        uint32_t first = number;
        for (;;) {
            memcpy(block + used, text + at, length);
            used += length;
            at = next;
            number++;
            if (at >= n || used == from || (text[at] != ' ' && text[at] != '\t')) {
                break;
            }
            length = physical(text, n, ++at, &next);
        }
        block[used++] = 0;
        if (used - from == 1) {
            continue; /* an empty line */
        }
        if (!readable(block + from, used - from - 1)) {
            return fault(err, name, first, "this line is no text in UTF-8");
        }
        lines[n_lines].line = first;
        if (!cut(block + from, &lines[n_lines++])) {
            return fault(err, name, first, "this line has no name with a colon behind it");
        }
    }
    po_status s = nested(lines, n_lines, name, err);
    if (s == PO_OK) {
        *ret_lines = lines;
        *ret_n = n_lines;
    }
    return s;
}

const char *po_ical_parameter(const po_ical_line *line, const char *name, po_arena *arena)
{
    size_t n = strlen(name);
    for (const char *p = line->parameters; *p;) {
        const char *end = p;
        for (bool quoted = false; *end && (quoted || *end != ';'); end++) {
            quoted ^= *end == '"';
        }
        if (strncasecmp(p, name, n) == 0 && p[n] == '=') {
            const char *from = p + n + 1;
            size_t length = (size_t)(end - from);
            if (length >= 2 && from[0] == '"' && from[length - 1] == '"') {
                from++;
                length -= 2;
            }
            return po_arena_text_n(arena, from, length);
        }
        p = *end ? end + 1 : end;
    }
    return NULL;
}

const char *po_ical_text(const char *value, po_arena *arena)
{
    char *text = po_arena_text(arena, value), *to = text;
    for (const char *p = text; p && *p; p++) {
        if (*p == '\\' && p[1]) {
            p++;
            *to++ = *p == 'n' || *p == 'N' ? '\n' : *p;
        } else {
            *to++ = *p;
        }
    }
    if (to) {
        *to = 0;
    }
    return text;
}
