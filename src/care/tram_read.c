/* Readings of a bed from text. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "base/number.h"
#include "proveout/tram.h"

static const struct {
    const char *name;
    double pitch_mm;
} threads[] = {{"M2", 0.4}, {"M2.5", 0.45}, {"M3", 0.5}, {"M4", 0.7}, {"M5", 0.8}, {"M6", 1.0}, {"M8", 1.25}};

/* How a sheet of office paper of about 0.10 mm drags: gaps, mm. Common practice, no published source. */
static const struct {
    const char *word;
    double gap_mm;
} drags[] = {{"blocked", 0.05}, {"firm", 0.08}, {"light", 0.10}, {"loose", 0.13}, {"free", 0.18}};

double po_tram_pitch(const char *thread)
{
    for (size_t i = 0; i < sizeof threads / sizeof threads[0]; i++) {
        bool m = thread[0] == 'M' || thread[0] == 'm';
        if (m && strcmp(threads[i].name + 1, thread + 1) == 0) {
            return threads[i].pitch_mm;
        }
    }
    return 0;
}

typedef struct line {
    const char *at, *end, *name;
    uint32_t number;
} line;

static bool between(char c)
{
    return c == ' ' || c == '\t' || c == ',' || c == ';' || c == '\r';
}

/* The next piece of a line; false: there is none. */
static bool piece(line *l, const char **ret, size_t *ret_n)
{
    while (l->at < l->end && between(*l->at)) {
        l->at++;
    }
    *ret = l->at;
    while (l->at < l->end && !between(*l->at)) {
        l->at++;
    }
    *ret_n = (size_t)(l->at - *ret);
    return *ret_n > 0;
}

static po_status wrong(const line *l, const char *text, size_t n, const char *expected, po_err *err)
{
    char shown[40];
    size_t k = n < sizeof shown - 1 ? n : sizeof shown - 1;
    for (size_t i = 0; i < k; i++) {
        shown[i] = (unsigned char)text[i] < 0x20 || (unsigned char)text[i] >= 0x7f ? '?' : text[i];
    }
    shown[k] = 0;
    return po_fail_at(err, PO_E_SYNTAX, l->name, l->number, 0, "found \"%s\", expected %s", shown, expected);
}

/* A length in mm, or with its unit behind it. */
static po_status length(const line *l, const char *text, size_t n, double most, const char *what, double *ret,
                        po_err *err)
{
    const char *rest = po_number_read(text, text + n, ret);
    size_t n_rest = rest ? (size_t)(text + n - rest) : 0;
    bool um = n_rest == 2 && memcmp(rest, "um", 2) == 0, mm = n_rest == 2 && memcmp(rest, "mm", 2) == 0;
    if (!rest || (n_rest > 0 && !um && !mm)) {
        return wrong(l, text, n, "a length in mm such as 0.12 (or 120um)", err);
    }
    *ret *= um ? 1e-3 : 1;
    return fabs(*ret) <= most
               ? PO_OK
               : po_fail_at(err, PO_E_RANGE, l->name, l->number, 0,
                            "%g mm is no %s of a bed; lengths are in mm, of others write the unit (120um)", *ret, what);
}

static po_status third(const line *l, const char *text, size_t n, po_tram_kind kind, double *ret, po_err *err)
{
    if (kind == PO_TRAM_PAPER) {
        for (size_t i = 0; i < sizeof drags / sizeof drags[0]; i++) {
            if (strlen(drags[i].word) == n && memcmp(drags[i].word, text, n) == 0) {
                *ret = -drags[i].gap_mm;
                return PO_OK;
            }
        }
        return wrong(l, text, n, "how the paper drags: blocked, firm, light, loose or free", err);
    }
    po_status s = length(l, text, n, 5, kind == PO_TRAM_FEELER ? "gap" : "height", ret, err);
    if (s == PO_OK && kind == PO_TRAM_FEELER && *ret < 0) {
        return po_fail_at(err, PO_E_RANGE, l->name, l->number, 0, "a gap is not less than nothing");
    }
    *ret = kind == PO_TRAM_FEELER ? -*ret : *ret;
    return s;
}

po_status po_tram_read(const char *text, size_t n_bytes, const char *name, po_tram_kind kind, po_arena *arena,
                       const po_tram_reading **ret, size_t *ret_n, po_err *err)
{
    const char *end = text + n_bytes, *at = text;
    size_t n = 0, room = 64;
    po_tram_reading *list = po_arena_zeros(arena, room, sizeof *list);
    line l = {.name = name};
    while (list && at < end) {
        const char *stop = memchr(at, '\n', (size_t)(end - at));
        l.number++;
        l.at = at;
        l.end = stop ? stop : end;
        at = stop ? stop + 1 : end;
        const char *comment = l.at < l.end ? memchr(l.at, '#', (size_t)(l.end - l.at)) : NULL;
        l.end = comment ? comment : l.end;
        const char *p[4];
        size_t k[4], pieces = 0;
        while (pieces < 4 && piece(&l, &p[pieces], &k[pieces])) {
            pieces++;
        }
        double ignored;
        bool heading = n == 0 && pieces > 0 && !po_number_read(p[0], p[0] + k[0], &ignored);
        if (pieces == 0 || (heading && l.number == 1)) {
            continue;
        }
        if (pieces != 3) {
            return po_fail_at(err, PO_E_SYNTAX, name, l.number, 0, "expected x, y and what was read there; found %s",
                              pieces > 3 ? "more" : "less");
        }
        if (n == PO_TRAM_READINGS_MOST) {
            return po_fail_at(err, PO_E_LIMIT, name, l.number, 0, "at most %d readings", PO_TRAM_READINGS_MOST);
        }
        if (n == room) {
            list = po_arena_resize(arena, list, room * sizeof *list, 2 * room * sizeof *list);
            room *= 2;
            if (!list) {
                break;
            }
        }
        po_tram_reading *r = &list[n];
        po_status s = length(&l, p[0], k[0], 5000, "place", &r->x_mm, err);
        s = s == PO_OK ? length(&l, p[1], k[1], 5000, "place", &r->y_mm, err) : s;
        s = s == PO_OK ? third(&l, p[2], k[2], kind, &r->z_mm, err) : s;
        if (s != PO_OK) {
            return s;
        }
        r->line = l.number;
        n++;
    }
    if (!list) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    if (n == 0) {
        return po_fail_at(err, PO_E_EMPTY, name, 0, 0, "there are no readings: one a line, x y z");
    }
    *ret = list;
    *ret_n = n;
    return PO_OK;
}
