/* Numbers, times, places and foreign text as people read them. SPDX-License-Identifier: Apache-2.0
 *
 * Decimals are always written with '.', whatever the locale of the program that uses the library. Foreign text (names
 * of files, machines, words of a job) is untrusted: UTF-8 is checked by the table of RFC 3629 section 4, and what could
 * steer a terminal or turn the direction of writing (Unicode Standard Annex 9) is replaced. */
#include "slip/say.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *kept(const char *text)
{
    return text ? text : "";
}

const char *po_say_number(po_arena *arena, double v, int decimals)
{
    if (!isfinite(v)) {
        return "-";
    }
    char buf[400];
    snprintf(buf, sizeof buf, "%.*f", decimals < 0 ? 0 : decimals > 9 ? 9 : decimals, v);
    for (char *p = buf; *p; p++) { /* a locale may write another decimal mark */
        if (*p != '-' && (*p < '0' || *p > '9')) {
            *p = '.';
        }
    }
    char *dot = strchr(buf, '.');
    if (dot) {
        char *end = buf + strlen(buf);
        while (end[-1] == '0') {
            *--end = 0;
        }
        if (end[-1] == '.') {
            *--end = 0;
        }
    }
    return kept(po_arena_text(arena, strcmp(buf, "-0") ? buf : "0"));
}

const char *po_say_or(po_arena *arena, double v, int decimals, const char *unit, const char *missing)
{
    if (!isfinite(v)) {
        return missing;
    }
    return kept(po_arena_printf(arena, "%s%s%s", po_say_number(arena, v, decimals), *unit ? " " : "", unit));
}

const char *po_say_time(po_arena *arena, double seconds)
{
    if (!isfinite(seconds) || seconds < 0 || seconds > 1e12) {
        return "-";
    }
    long long s = llround(seconds);
    if (s < 60) {
        return kept(po_arena_printf(arena, "%lld s", s));
    }
    if (s < 600) {
        return kept(s % 60 ? po_arena_printf(arena, "%lld min %lld s", s / 60, s % 60)
                           : po_arena_printf(arena, "%lld min", s / 60));
    }
    long long m = (s + 30) / 60;
    if (m < 60) {
        return kept(po_arena_printf(arena, "%lld min", m));
    }
    return kept(m % 60 ? po_arena_printf(arena, "%lld h %lld min", m / 60, m % 60)
                       : po_arena_printf(arena, "%lld h", m / 60));
}

const char *po_say_hmm(po_arena *arena, double seconds)
{
    if (!isfinite(seconds) || seconds < 0 || seconds > 1e12) {
        return "-";
    }
    long long m = (llround(seconds) + 30) / 60;
    return kept(po_arena_printf(arena, "%lld:%02lld", m / 60, m % 60));
}

/* Fixed decimals with '.'. */
static const char *fixed(po_arena *arena, double v, int decimals)
{
    char buf[400];
    snprintf(buf, sizeof buf, "%.*f", decimals, v);
    for (char *p = buf; *p; p++) {
        if (*p != '-' && (*p < '0' || *p > '9')) {
            *p = '.';
        }
    }
    return kept(po_arena_text(arena, buf));
}

const char *po_say_metres(po_arena *arena, double filament_mm)
{
    if (!isfinite(filament_mm)) {
        return "-";
    }
    double m = filament_mm / 1000;
    return kept(po_arena_printf(arena, "%s m", fixed(arena, m, m < 9.995 ? 2 : m < 99.95 ? 1 : 0)));
}

const char *po_say_grams(po_arena *arena, double grams)
{
    if (!isfinite(grams)) {
        return "-";
    }
    return kept(po_arena_printf(arena, "%s g", fixed(arena, grams, grams < 99.95 ? 1 : 0)));
}

const char *po_say_clock(po_arena *arena, po_wall_time t, const po_wall_time *beside)
{
    static const char *const DAYS[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};
    static const char *const MONTHS[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    if (beside && beside->date.year == t.date.year && beside->date.month == t.date.month &&
        beside->date.day == t.date.day) {
        return kept(po_arena_printf(arena, "%02d:%02d", t.minute / 60, t.minute % 60));
    }
    unsigned day = (unsigned)po_weekday(t.date), month = (unsigned)t.date.month - 1;
    return kept(po_arena_printf(arena, "%s %d %s %02d:%02d", day < 7 ? DAYS[day] : "?", t.date.day,
                                month < 12 ? MONTHS[month] : "?", t.minute / 60, t.minute % 60));
}

const char *po_say_iso(po_arena *arena, po_wall_time t)
{
    return kept(po_arena_printf(arena, "%04d-%02d-%02dT%02d:%02d", t.date.year, t.date.month, t.date.day, t.minute / 60,
                                t.minute % 60));
}

bool po_clock_after(po_wall_time start, double seconds, po_wall_time *ret)
{
    if (!isfinite(seconds) || fabs(seconds) > 100 * 366 * 86400.0) {
        return false;
    }
    *ret = po_wall_add(start, (long)ceil(seconds / 60 - 1e-9)); /* rounded as the proof's own end is */
    return true;
}

const char *po_say_materials(po_arena *arena, const po_job_report *report)
{
    po_text out;
    po_text_init(&out, arena);
    for (size_t i = 0; i < report->n_materials && i < PO_MAX_TOOLS; i++) {
        const po_material *material = report->materials[i];
        if (!material) {
            continue;
        }
        bool used = report->facts.n_tools == 0 && i == 0, again = false;
        for (size_t k = 0; k < report->facts.n_tools; k++) {
            used = used || report->facts.tools[k].tool == (int)i;
        }
        for (size_t k = 0; k < i; k++) {
            again = again || (report->materials[k] == material && out.n);
        }
        if (used && !again) {
            po_text_add(&out, out.n ? " + " : "");
            po_text_add(&out, po_say_clean(arena, material->name));
        }
    }
    return out.n ? out.data : "no material";
}

const char *po_say_answer(po_verdict verdict)
{
    return verdict == PO_CLEAR ? "yes" : verdict == PO_ASK ? "ask" : "no";
}

const char *po_say_place(po_arena *arena, const po_place *place)
{
    if (!place->known) {
        return NULL;
    }
    po_text out;
    po_text_init(&out, arena);
    if (place->line) {
        po_text_printf(&out, "line %llu", (unsigned long long)place->line);
    }
    if (isfinite(place->z)) {
        po_text_printf(&out, "%s%s mm up", out.n ? ", " : "", po_say_number(arena, place->z, 2));
    }
    if (isfinite(place->x) && isfinite(place->y)) {
        po_text_printf(&out, "%sx %s y %s",
                       isfinite(place->z) ? " at "
                       : out.n            ? ", "
                                          : "",
                       po_say_number(arena, place->x, 1), po_say_number(arena, place->y, 1));
    }
    if (isfinite(place->seconds)) {
        po_text_printf(&out, "%safter %s", out.n ? ", " : "", po_say_time(arena, place->seconds));
    }
    return out.n ? out.data : NULL;
}

const char *po_say_point(po_arena *arena, const po_place *place)
{
    if (!place->known || !isfinite(place->x) || !isfinite(place->y) || !isfinite(place->z)) {
        return NULL;
    }
    return kept(po_arena_printf(arena, "x %s y %s z %s", po_say_number(arena, place->x, 1),
                                po_say_number(arena, place->y, 1), po_say_number(arena, place->z, 1)));
}

/* Length of the UTF-8 character at p (ended text), 0 where it is none (RFC 3629 section 4). */
static size_t character(const unsigned char *p, uint32_t *ret_code)
{
    size_t n;
    uint32_t code;
    if (p[0] < 0x80) {
        *ret_code = p[0];
        return 1;
    }
    if (p[0] >= 0xC2 && p[0] < 0xE0) {
        n = 2;
        code = p[0] & 0x1FU;
    } else if (p[0] >= 0xE0 && p[0] < 0xF0) {
        n = 3;
        code = p[0] & 0x0FU;
    } else if (p[0] >= 0xF0 && p[0] < 0xF5) {
        n = 4;
        code = p[0] & 0x07U;
    } else {
        return 0;
    }
    for (size_t i = 1; i < n; i++) {
        if ((p[i] & 0xC0) != 0x80) {
            return 0;
        }
        code = code << 6 | (p[i] & 0x3FU);
    }
    if ((n == 3 && code < 0x800) || (n == 4 && (code < 0x10000 || code > 0x10FFFF)) ||
        (code >= 0xD800 && code <= 0xDFFF)) {
        return 0;
    }
    *ret_code = code;
    return n;
}

static bool steers(uint32_t code)
{
    return code < 0x20 || (code >= 0x7F && code < 0xA0) || (code >= 0x200B && code <= 0x200F) ||
           (code >= 0x2028 && code <= 0x202E) || (code >= 0x2060 && code <= 0x206F) || code == 0xFEFF ||
           code == 0x061C || (code >= 0xFFF9 && code <= 0xFFFB) || code == 0xFFFE || code == 0xFFFF;
}

const char *po_say_clean(po_arena *arena, const char *text)
{
    if (!text) {
        return "";
    }
    const unsigned char *p = (const unsigned char *)text;
    bool good = true;
    for (size_t i = 0; p[i] && good;) {
        uint32_t code;
        size_t n = character(p + i, &code);
        good = n && !steers(code);
        i += n;
    }
    if (good) {
        return text;
    }
    po_text out;
    po_text_init(&out, arena);
    for (size_t i = 0; p[i];) {
        uint32_t code = 0;
        size_t n = character(p + i, &code);
        if (!n || steers(code)) {
            po_text_add(&out, code == '\t' || code == '\n' || code == '\r' ? " " : "\xEF\xBF\xBD");
        } else {
            po_text_add_n(&out, text + i, n);
        }
        i += n ? n : 1;
    }
    return out.failed || !out.data ? "" : out.data;
}

void po_add_escaped(po_text *out, const char *text)
{
    const char *clean = po_say_clean(out->arena, text);
    for (const char *p = clean; *p;) {
        size_t n = strcspn(p, "<>&\"'");
        po_text_add_n(out, p, n);
        p += n;
        switch (*p) {
        case '<':
            po_text_add(out, "&lt;");
            break;
        case '>':
            po_text_add(out, "&gt;");
            break;
        case '&':
            po_text_add(out, "&amp;");
            break;
        case '"':
            po_text_add(out, "&quot;");
            break;
        case '\'':
            po_text_add(out, "&#39;");
            break;
        default:
            break;
        }
        p += *p ? 1 : 0;
    }
}

size_t po_columns(const char *text)
{
    size_t n = 0;
    for (; *text; text++) {
        n += ((unsigned char)*text & 0xC0) != 0x80;
    }
    return n;
}

size_t po_flag_number(const po_proof *proof, po_sight sight)
{
    for (size_t i = 0; i < proof->n_findings; i++) {
        if (proof->findings[i].sight == sight && sight != PO_SIGHT_COUNT) {
            return i + 1;
        }
    }
    return 0;
}
