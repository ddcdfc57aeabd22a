/* Bodies and parameters against their descriptions (fields.h). SPDX-License-Identifier: Apache-2.0
 *
 * The description that people read in the documents is the one that is checked, so the two cannot part. Numbers are whole:
 * a fraction is refused, because no sum in the book may depend on rounding. JSON is RFC 8259, read by jansson, with doubled
 * keys refused; the canonical form has its keys sorted by bytes, so that the same body always has the same hash. */
#include "ledger/fields.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum {
    ID_MOST = 64,
    TEXT_MOST = 1000,
    IDS_MOST = 256,
    ROWS_MOST = 400,
    COUNTS_MOST = 64,
    USES_MOST = 8,
    FIGURES_MOST = 16,
    CELLS_MOST = 5,
    BODY_MOST = 256 * 1024
};

/* Control characters of ASCII, and those that Unicode has beyond it (U+0080 to U+009F): terminals obey them too. */
static bool is_control(const char *s)
{
    unsigned char c = (unsigned char)s[0], next = (unsigned char)(c ? s[1] : 0);
    return c < 0x20 || c == 0x7f || (c == 0xc2 && next >= 0x80 && next <= 0x9f);
}

bool po_field_is_id(const char *s)
{
    size_t n = strlen(s);
    if (n == 0 || n > ID_MOST || s[0] == '.' || s[0] == '-') {
        return false;
    }
    for (; *s; s++) {
        unsigned char c = (unsigned char)*s;
        bool ascii_ok = (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || c == '.' ||
                        c == '_' || c == '-';
        if ((c < 0x80 && !ascii_ok) || is_control(s)) {
            return false;
        }
    }
    return true;
}

/* What the shop file names may have blanks: a machine called Old Oak, a stick labelled "A 1". */
static bool is_name(const char *s)
{
    size_t n = strlen(s);
    for (size_t i = 0; i < n; i++) {
        if (is_control(s + i)) {
            return false;
        }
    }
    return n > 0 && n <= ID_MOST && s[0] != ' ' && s[n - 1] != ' ';
}

bool po_field_is_text(const char *s)
{
    size_t n = 0;
    for (; s[n]; n++) {
        if (is_control(s + n)) {
            return false;
        }
    }
    return n > 0 && n <= TEXT_MOST;
}

static bool is_sha256(const char *s)
{
    return strlen(s) == 64 && strspn(s, "0123456789abcdef") == 64;
}

static bool is_whole(const json_t *v, int64_t least, int64_t most)
{
    return json_is_integer(v) && json_integer_value(v) >= least && json_integer_value(v) <= most;
}

static bool are_ids(const json_t *v)
{
    size_t n = json_array_size(v);
    bool ok = json_is_array(v) && n >= 1 && n <= IDS_MOST;
    for (size_t i = 0; ok && i < n; i++) {
        const json_t *id = json_array_get(v, i);
        ok = json_is_string(id) && is_name(json_string_value(id));
    }
    return ok;
}

static bool is_table(const json_t *v)
{
    size_t n = json_array_size(v);
    bool ok = json_is_array(v) && n >= 1 && n <= ROWS_MOST;
    int64_t before[3] = {-1, 0, 0};
    for (size_t i = 0; ok && i < n; i++) {
        const json_t *row = json_array_get(v, i);
        ok = json_is_array(row) && json_array_size(row) == 3;
        for (size_t k = 0; ok && k < 3; k++) {
            const json_t *cell = json_array_get(row, k);
            ok = is_whole(cell, before[k] + (k == 0), PO_COUNT_MOST);
            before[k] = json_integer_value(cell);
        }
    }
    return ok;
}

static bool are_counts(const json_t *v)
{
    size_t n = json_array_size(v);
    bool ok = json_is_array(v) && n >= 1 && n <= COUNTS_MOST;
    int64_t least = 0;
    for (size_t i = 0; ok && i < n; i++) {
        ok = is_whole(json_array_get(v, i), least, PO_COUNT_MOST);
        least = json_integer_value(json_array_get(v, i));
    }
    return ok;
}

static bool are_uses(const json_t *v)
{
    size_t n = json_array_size(v);
    bool ok = json_is_array(v) && n >= 1 && n <= USES_MOST;
    int64_t least = 0;
    for (size_t i = 0; ok && i < n; i++) {
        const json_t *use = json_array_get(v, i), *tool = json_object_get(use, "tool");
        const json_t *spool = json_object_get(use, "spool");
        bool named = json_is_string(spool) && po_field_is_id(json_string_value(spool));
        ok = json_object_size(use) == (spool ? 3 : 2) && is_whole(tool, least, USES_MOST - 1) &&
             is_whole(json_object_get(use, "um"), 0, PO_COUNT_MOST) && (named || !spool || json_is_null(spool));
        least = json_integer_value(tool) + 1;
    }
    return ok;
}

static bool are_figures(const json_t *v)
{
    size_t n = json_object_size(v);
    bool ok = json_is_object(v) && n >= 1 && n <= FIGURES_MOST;
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)v, key, value)
    {
        ok = ok && po_field_is_id(key) && is_whole(value, -PO_COUNT_MOST, PO_COUNT_MOST);
    }
    return ok;
}

static bool are_readings(const json_t *v)
{
    size_t n = json_array_size(v), cells = json_array_size(json_array_get(v, 0));
    bool ok = json_is_array(v) && n >= 1 && n <= ROWS_MOST && cells >= 1 && cells <= CELLS_MOST;
    for (size_t i = 0; ok && i < n; i++) {
        const json_t *row = json_array_get(v, i);
        ok = json_is_array(row) && json_array_size(row) == cells;
        for (size_t k = 0; ok && k < cells; k++) {
            ok = is_whole(json_array_get(row, k), -PO_COUNT_MOST, PO_COUNT_MOST);
        }
    }
    return ok;
}

static bool is_map(const json_t *v)
{
    bool ok = json_is_object(v);
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)v, key, value)
    {
        ok = ok && is_name(key) && (are_ids(value) || (json_is_array(value) && json_array_size(value) == 0));
    }
    return ok;
}

/* Is this word one of "a|b|c" (n bytes)? */
static bool is_choice(const char *choices, size_t n, const char *word)
{
    size_t len = strlen(word);
    for (const char *p = choices, *end = choices + n; p < end;) {
        const char *bar = memchr(p, '|', (size_t)(end - p));
        size_t one = (size_t)((bar ? bar : end) - p);
        if (one == len && memcmp(p, word, len) == 0) {
            return true;
        }
        p += one + 1;
    }
    return false;
}

static const struct {
    const char *kind, *wanted;
} wanted_table[] = {
    {"id", "a short name: letters, digits, . _ -"},
    {"name", "a name of 1 to 64 bytes, as the shop file has it"},
    {"text", "a text of 1 to 1000 bytes on one line"},
    {"private", "a text of 1 to 1000 bytes on one line"},
    {"count", "a whole number, 0 or more"},
    {"number", "a whole number, 1 or more"},
    {"time", "a time: milliseconds since 1970 in UTC"},
    {"sha256", "64 hexadecimal digits"},
    {"flag", "true or false"},
    {"ids", "a list of 1 to 256 short names"},
    {"table", "1 to 400 rows of three whole numbers that rise"},
    {"counts", "a list of 1 to 64 whole numbers that do not fall"},
    {"uses", "1 to 8 of {tool, spool, um}, the tools rising from 0 to 7"},
    {"map", "names, each with a list of names"},
    {"figures", "1 to 16 short names, each with a whole number"},
    {"readings", "1 to 400 rows of 1 to 5 whole numbers, all of one length"},
};

static bool fits(const char *kind, size_t n, const json_t *v)
{
    const char *s = json_string_value(v);
    bool is[] = {
        /* in the order of the table above */
        s && po_field_is_id(s),
        s && is_name(s),
        s && po_field_is_text(s),
        s && po_field_is_text(s),
        is_whole(v, 0, PO_COUNT_MOST),
        is_whole(v, 1, INT64_MAX),
        is_whole(v, 0, PO_TIME_MOST),
        s && is_sha256(s),
        json_is_boolean(v),
    };
    for (size_t i = 0; i < sizeof is; i++) {
        if (strlen(wanted_table[i].kind) == n && memcmp(wanted_table[i].kind, kind, n) == 0) {
            return is[i];
        }
    }
    return n == 3 && memcmp(kind, "ids", 3) == 0        ? are_ids(v)
           : n == 5 && memcmp(kind, "table", 5) == 0    ? is_table(v)
           : n == 3 && memcmp(kind, "map", 3) == 0      ? is_map(v)
           : n == 6 && memcmp(kind, "counts", 6) == 0   ? are_counts(v)
           : n == 4 && memcmp(kind, "uses", 4) == 0     ? are_uses(v)
           : n == 7 && memcmp(kind, "figures", 7) == 0  ? are_figures(v)
           : n == 8 && memcmp(kind, "readings", 8) == 0 ? are_readings(v)
                                                        : s && is_choice(kind, n, s);
}

static po_status wrong(const char *name, const char *kind, size_t n, const json_t *v, po_err *err)
{
    for (size_t i = 0; i < sizeof wanted_table / sizeof wanted_table[0]; i++) {
        if (strlen(wanted_table[i].kind) == n && memcmp(wanted_table[i].kind, kind, n) == 0) {
            if (json_is_real(v)) {
                return po_fail_at(err, PO_E_RANGE, name, 0, 0, "%s: a fraction, expected %s", name,
                                  wanted_table[i].wanted);
            }
            return po_fail_at(err, PO_E_RANGE, name, 0, 0, "%s: expected %s", name, wanted_table[i].wanted);
        }
    }
    return po_fail_at(err, PO_E_RANGE, name, 0, 0, "%s: expected one of the words %.*s", name, (int)n, kind);
}

/* Hold the object against the description; moves what is private out of it. */
static po_status hold(const char *fields, json_t *object, json_t *private, po_err *err)
{
    size_t known = 0;
    for (const char *p = fields; *p;) {
        char name[64];
        size_t n_name = strcspn(p, "?:");
        bool optional = p[n_name] == '?';
        memcpy(name, p, n_name);
        name[n_name] = 0;
        const char *kind = p + n_name + optional + 2; /* ": " */
        size_t n_kind = strcspn(kind, ";");
        p = kind + n_kind + (kind[n_kind] ? 2 : 0); /* "; " */
        json_t *v = json_object_get(object, name);
        if (v && json_is_null(v)) {
            json_object_del(object, name);
            v = NULL;
        }
        if (!v && !optional) {
            return po_fail_at(err, PO_E_RANGE, name, 0, 0, "%s is missing", name);
        }
        if (!v) {
            continue;
        }
        if (!fits(kind, n_kind, v)) {
            return wrong(name, kind, n_kind, v, err);
        }
        if (n_kind == 7 && memcmp(kind, "private", 7) == 0) {
            if (json_object_set(private, name, v) != 0 || json_object_del(object, name) != 0) {
                return po_fail(err, PO_E_NOMEM, "out of memory for a body");
            }
        } else {
            known++;
        }
    }
    if (known == json_object_size(object)) {
        return PO_OK;
    }
    const char *key;
    json_t *value;
    json_object_foreach(object, key, value)
    {
        const char *at = fields;
        size_t n = strlen(key);
        while ((at = strstr(at, key)) && !((at == fields || at[-1] == ' ') && (at[n] == ':' || at[n] == '?'))) {
            at += n ? n : 1;
        }
        if (!at) {
            return po_fail_at(err, PO_E_RANGE, key, 0, 0, "there is no field \"%.60s\" here; there are: %.150s", key,
                              fields[0] ? fields : "none");
        }
    }
    return po_fail(err, PO_E_INTERNAL, "a description of fields is not as it should be");
}

json_t *po_json_read(const char *text, json_error_t *ret_fault)
{
    json_t *read = json_loads(text, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, ret_fault), *again = NULL;
    if (!read) { /* or was it the memory, which jansson may call a fault of the text? */
        read = json_loads(text, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, ret_fault);
    }
    again = read ? json_loads(text, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, ret_fault) : NULL;
    if (read && !(again && json_equal(read, again))) {
        json_decref(read);
        read = NULL;
        ret_fault->text[0] = 0;
    }
    json_decref(again);
    return read;
}

po_status po_fields_read(const char *fields, const char *text, json_t **ret, json_t **ret_private, po_err *err)
{
    if (text && strlen(text) > BODY_MOST) {
        return po_fail(err, PO_E_LIMIT, "the body is larger than 256 KB");
    }
    json_error_t e = {0};
    json_t *object = text ? po_json_read(text, &e) : json_object();
    if (!object) {
        return text && e.text[0] ? po_fail_at(err, PO_E_SYNTAX, "body", (uint32_t)(e.line > 0 ? e.line : 0),
                                              (uint32_t)(e.column > 0 ? e.column : 0), "not JSON: %.150s", e.text)
                                 : po_fail(err, PO_E_NOMEM, "out of memory for a body");
    }
    if (!json_is_object(object)) {
        json_decref(object);
        return po_fail_at(err, PO_E_SYNTAX, "body", 1, 1, "wanted a JSON object");
    }
    json_t *private = json_object();
    po_status s = private ? hold(fields, object, private, err) : po_fail(err, PO_E_NOMEM, "out of memory for a body");
    if (s == PO_OK && ret_private && json_object_size(private) > 0) {
        *ret_private = json_incref(private);
    } else if (s == PO_OK && ret_private) {
        *ret_private = NULL;
    }
    json_decref(private);
    if (s != PO_OK) {
        json_decref(object);
        return s;
    }
    *ret = object;
    return PO_OK;
}

/* jansson goes on after a key for which memory ended, and would leave it out: whether any piece was lost is kept here. */
typedef struct written {
    char *bytes;
    size_t n, room;
    bool lost;
} written;

static int write_piece(const char *piece, size_t n, void *user)
{
    written *w = user;
    if (!w->lost && w->room - w->n <= n) { /* and a last 0 */
        size_t room = 2 * (w->room + n) + 64;
        char *more = realloc(w->bytes, room);
        w->lost = !more;
        w->bytes = more ? more : w->bytes;
        w->room = more ? room : w->room;
    }
    if (w->lost) {
        return -1;
    }
    memcpy(w->bytes + w->n, piece, n);
    w->n += n;
    w->bytes[w->n] = 0;
    return 0;
}

char *po_fields_canonical(const json_t *object)
{
    written w = {0};
    if (json_dump_callback(object, write_piece, &w, JSON_COMPACT | JSON_SORT_KEYS) != 0 || w.lost) {
        free(w.bytes);
        return NULL;
    }
    return w.bytes;
}

const char *po_field_text(const json_t *body, const char *name)
{
    return json_string_value(json_object_get(body, name));
}

int64_t po_field_int(const json_t *body, const char *name)
{
    return json_integer_value(json_object_get(body, name));
}

bool po_field_has(const json_t *body, const char *name)
{
    return json_object_get(body, name) != NULL;
}

bool po_field_flag(const json_t *body, const char *name)
{
    return json_is_true(json_object_get(body, name));
}
