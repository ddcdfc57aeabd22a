/* Answers of the book as words: values with their units, sentences, cards, tables. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "desk.h"

enum { TABLE_COLUMNS = 100, CELL_MOST = 60, COLUMNS_MOST = 16 };

static const char *list_words(const desk *d, const json_t *list)
{
    const char *text = "";
    for (size_t i = 0; i < json_array_size(list); i++) {
        text = po_arena_printf(d->arena, "%s%s%s", text, i ? ", " : "",
                               desk_words(d, json_array_get(list, i), DESK_TEXT));
    }
    return text;
}

static const char *number_words(const desk *d, int64_t v, desk_unit unit)
{
    work_context w = desk_work(d);
    switch (unit) {
    case DESK_M:
        return work_metres(&w, v);
    case DESK_MM:
        return work_decimal(&w, v, 3, 0, "mm");
    case DESK_G:
        return work_grams(&w, v);
    case DESK_TIME:
        return work_time_words(&w, v);
    case DESK_UNTIL:
        return work_until_words(&w, v);
    case DESK_DAY:
        return work_day_words(&w, v);
    case DESK_SPAN:
        return work_span_words(&w, v);
    case DESK_MINUTES:
        return work_span_words(&w, v * 60);
    case DESK_MONEY:
        return work_decimal(&w, v, desk_minor_places(d), desk_minor_places(d),
                            d->shop->currency ? d->shop->currency : "");
    default:
        return po_arena_printf(d->arena, "%lld", (long long)v);
    }
}

const char *desk_words(const desk *d, const json_t *value, desk_unit unit)
{
    const char *text = json_is_string(value)    ? json_string_value(value)
                       : json_is_integer(value) ? number_words(d, json_integer_value(value), unit)
                       : json_is_real(value)    ? po_arena_printf(d->arena, "%.3g", json_real_value(value))
                       : json_is_true(value)    ? "yes"
                       : json_is_false(value)   ? "no"
                       : json_is_array(value)   ? list_words(d, value)
                                                : "";
    work_context w = desk_work(d);
    return work_clean(&w, text);
}

/* "tools/0/spool" */
static const json_t *at_path(const json_t *object, const char *path)
{
    char key[64];
    while (object && *path) {
        size_t n = strcspn(path, "/");
        snprintf(key, sizeof key, "%.*s", (int)(n < 63 ? n : 63), path);
        object = json_is_array(object) ? json_array_get(object, strtoul(key, NULL, 10)) : json_object_get(object, key);
        path += n + (path[n] == '/');
    }
    return object;
}

static int columns_of(const char *text)
{
    int n = 0;
    for (; *text; text++) {
        n += ((unsigned char)*text & 0xc0) != 0x80;
    }
    return n;
}

/* A cell of exactly n columns; what is too long ends in "~". */
static void put_cell(const char *text, int n, bool right, bool last)
{
    int wide = columns_of(text);
    if (right && wide < n) {
        printf("%*s", n - wide, "");
    }
    int at = 0, most = wide > n ? n - 1 : n;
    for (const char *p = text; *p; p++) {
        at += ((unsigned char)*p & 0xc0) != 0x80;
        if (at > most) {
            break;
        }
        fputc(*p, stdout);
    }
    if (wide > n) {
        fputc('~', stdout);
    } else if (!right && !last) {
        printf("%*s", n - wide, "");
    }
}

void desk_table(const desk *d, const json_t *list, const desk_column *columns, size_t n, const char *none)
{
    size_t rows = json_array_size(list);
    if (n > COLUMNS_MOST || rows == 0) {
        printf("%s\n", none);
        return;
    }
    int wide[COLUMNS_MOST] = {0}, sum = 0;
    bool used[COLUMNS_MOST] = {false};
    size_t last = 0;
    for (size_t c = 0; c < n; c++) {
        int most = columns[c].most ? columns[c].most : CELL_MOST;
        wide[c] = columns_of(columns[c].head);
        for (size_t r = 0; r < rows; r++) {
            const char *text = desk_words(d, at_path(json_array_get(list, r), columns[c].key), columns[c].unit);
            int w = columns_of(text);
            used[c] = used[c] || w > 0; /* a column without a word is left out */
            wide[c] = w > wide[c] ? (w < most ? w : most > wide[c] ? most : wide[c]) : wide[c];
        }
        sum += used[c] ? wide[c] + 2 : 0;
        last = used[c] ? c : last;
    }
    if (sum > TABLE_COLUMNS && !columns[last].right) { /* the last column, of free text as a rule, gives way */
        int rest = wide[last] - (sum - TABLE_COLUMNS);
        wide[last] = rest > 12 ? rest : 12;
    }
    for (size_t r = 0; r <= rows; r++) {
        for (size_t c = 0; c <= last; c++) {
            if (used[c]) {
                const json_t *o = r ? json_array_get(list, r - 1) : NULL;
                put_cell(r ? desk_words(d, at_path(o, columns[c].key), columns[c].unit) : columns[c].head, wide[c],
                         columns[c].right, c == last);
                fputs(c == last ? "\n" : "  ", stdout);
            }
        }
    }
}

void desk_card(const desk *d, const json_t *object, const desk_column *lines, size_t n)
{
    int wide = 0;
    for (size_t i = 0; i < n; i++) {
        int w = columns_of(lines[i].head);
        wide = w > wide ? w : wide;
    }
    for (size_t i = 0; i < n; i++) {
        const char *text = desk_words(d, at_path(object, lines[i].key), lines[i].unit);
        if (*text) {
            printf("%s%*s  %s\n", lines[i].head, wide - columns_of(lines[i].head), "", text);
        }
    }
}

static desk_unit unit_named(const char *name, size_t n)
{
    static const struct {
        const char *name;
        desk_unit unit;
    } units[] = {{"m", DESK_M},       {"mm", DESK_MM},       {"g", DESK_G},
                 {"time", DESK_TIME}, {"day", DESK_DAY},     {"until", DESK_UNTIL},
                 {"span", DESK_SPAN}, {"money", DESK_MONEY}, {"minutes", DESK_MINUTES}};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strlen(units[i].name) == n && !memcmp(units[i].name, name, n)) {
            return units[i].unit;
        }
    }
    return DESK_TEXT;
}

/* The words of "{key}" or "{key:unit}" at p, which stands behind the brace. ret_end: behind the closing one. */
static const char *filled(const desk *d, const char *p, const json_t *first, const json_t *second, bool *ret_there,
                          const char **ret_end)
{
    const char *end = strchr(p, '}');
    char key[64];
    size_t n = end ? (size_t)(end - p) : 0, n_key = strcspn(p, ":}");
    *ret_end = end ? end + 1 : p + strlen(p);
    snprintf(key, sizeof key, "%.*s", (int)(n_key < 63 ? n_key : 63), p);
    const json_t *v = at_path(first, key);
    v = v && !json_is_null(v) ? v : at_path(second, key);
    *ret_there = v && !json_is_null(v) && !json_is_false(v);
    return desk_words(d, v, n_key < n ? unit_named(p + n_key + 1, n - n_key - 1) : DESK_TEXT);
}

void desk_tell(const desk *d, const char *sentence, const json_t *first, const json_t *second)
{
    const char *out = "", *held = NULL; /* held: what was said before a "[", while within it */
    bool all = true;
    for (const char *p = sentence; *p && out;) {
        if (*p == '[') {
            held = out;
            all = true;
            p++;
        } else if (*p == ']') {
            out = all ? out : held;
            held = NULL;
            p++;
        } else if (*p == '{') {
            bool there;
            const char *words = filled(d, p + 1, first, second, &there, &p);
            all = all && there;
            out = po_arena_printf(d->arena, "%s%s", out, words);
        } else {
            size_t n = strcspn(p, "[]{");
            out = po_arena_printf(d->arena, "%s%.*s", out, (int)n, p);
            p += n;
        }
    }
    cli_wrap(stdout, 0, out ? out : sentence);
}
