/* Tables and rows as JSON, CSV and SQL. SPDX-License-Identifier: Apache-2.0
 *
 * JSON by RFC 8259; CSV by RFC 4180, where nothing between commas is null and "" an empty text; SQL in the words that databases
 * have in common (ISO/IEC 9075: names in double quotes, texts in single ones, a quote doubled). */
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "base/text.h"
#include "ledger/export_inside.h"

static void flush(po_exporting *x)
{
    if (x->n > 0 && !x->stopped && !x->out->write(x->out->user, x->buffer, x->n)) {
        x->stopped = true;
    }
    x->n = 0;
}

static void put_n(po_exporting *x, const char *bytes, size_t n)
{
    while (n > 0) {
        size_t room = sizeof x->buffer - x->n, part = n < room ? n : room;
        memcpy(x->buffer + x->n, bytes, part);
        x->n += part;
        bytes += part;
        n -= part;
        if (x->n == sizeof x->buffer) {
            flush(x);
        }
    }
}

static void put(po_exporting *x, const char *text)
{
    put_n(x, text, strlen(text));
}

static void put_form(po_exporting *x, const char *format, ...) PO_PRINTF(2, 3);
static void put_form(po_exporting *x, const char *format, ...)
{
    char text[512];
    va_list values;
    va_start(values, format);
    vsnprintf(text, sizeof text, format, values);
    va_end(values);
    put(x, text);
}

/* "2026-10-05T12:00:00.000Z" (ISO 8601-1:2019, 5.4.2.1 and 5.3.5) */
static const char *time_text(char out[40], int64_t ms)
{
    time_t t = (time_t)(ms / 1000);
    struct tm tm;
    if (ms < 0 || !gmtime_r(&t, &tm)) {
        return NULL;
    }
    size_t n = strftime(out, 40, "%Y-%m-%dT%H:%M:%S", &tm);
    snprintf(out + n, 40 - n, ".%03dZ", (int)(ms % 1000));
    return out;
}

static void put_json_text(po_exporting *x, const char *text)
{
    size_t left = strlen(text);
    put(x, "\"");
    while (left > 0) {
        unsigned char c = (unsigned char)*text;
        size_t n = po_utf8_length(text, left);
        if (n == 0) { /* no act lets such a byte in; a file that was tampered with may hold it */
            put(x, "\xef\xbf\xbd");
            n = 1;
        } else if (c == '"' || c == '\\') {
            put_form(x, "\\%c", c);
        } else if (c < 0x20) {
            put_form(x, "\\u%04x", c);
        } else {
            put_n(x, text, n);
        }
        text += n;
        left -= n;
    }
    put(x, "\"");
}

/* A text within quotes, which are doubled within it. */
static void put_quoted(po_exporting *x, const char *text, char quote)
{
    put_n(x, &quote, 1);
    for (const char *p; (p = strchr(text, quote)); text = p + 1) {
        put_n(x, text, (size_t)(p - text) + 1);
        put_n(x, &quote, 1);
    }
    put(x, text);
    put_n(x, &quote, 1);
}

static void put_text(po_exporting *x, const char *text)
{
    if (x->options->format == PO_EXPORT_JSON) {
        put_json_text(x, text);
    } else if (x->options->format == PO_EXPORT_SQL) {
        put_quoted(x, text, '\'');
    } else if (!*text || strpbrk(text, ",\"\r\n") || *text == ' ' || text[strlen(text) - 1] == ' ') {
        put_quoted(x, text, '"');
    } else {
        put(x, text);
    }
}

static void put_cell(po_exporting *x, char kind, po_rows *rows, int c)
{
    bool json = x->options->format == PO_EXPORT_JSON;
    char is = po_rows_kind(rows, c), at[40];
    if (is == 'n') {
        put(x, json ? "null" : x->options->format == PO_EXPORT_SQL ? "NULL" : "");
    } else if (kind == 'f') {
        bool yes = po_rows_int(rows, c) != 0;
        put(x, json ? (yes ? "true" : "false") : yes ? "1" : "0");
    } else if (kind == 's' && is == 'i' && time_text(at, po_rows_int(rows, c))) {
        put_text(x, at);
    } else if (is == 'i') {
        put_form(x, "%lld", (long long)po_rows_int(rows, c));
    } else if (kind == 'j' && json) {
        put(x, po_rows_text(rows, c)); /* JSON as it stands */
    } else {
        put_text(x, po_rows_text(rows, c));
    }
}

static void put_time_or_null(po_exporting *x, const char *key, int64_t ms)
{
    char at[40];
    put_form(x, ",\"%s\":", key);
    if (ms && time_text(at, ms)) {
        put_json_text(x, at);
    } else {
        put(x, "null");
    }
}

static const char *kind_words(char kind)
{
    return kind == 'i' ? "whole number" : kind == 's' ? "time" : kind == 'f' ? "0 or 1" : kind == 'j' ? "JSON" : "text";
}

static void readme(po_exporting *x)
{
    size_t n;
    char at[40];
    const po_export_table *tables = po_export_tables(&n);
    put_form(x, "# The book of %s, up to event %lld (SHA-256 %s)\n\n", time_text(at, x->now_ms) ? at : "",
             (long long)x->last_event, x->last_hash);
    put(x,
        "A file a table, a line a row, the first line the names of the columns (RFC 4180, UTF-8, lines end in CR LF). "
        "Nothing between two commas: not known, none; \"\": an empty text. Times are UTC (ISO 8601). um: micrometres "
        "of "
        "filament; mg: milligrams; s: seconds; minor: minor units of the currency (pence, cents). Read the columns of "
        "text as text: a spreadsheet must not take what a member wrote for a formula.\n\n");
    put(x, x->options->names ? "Names of persons stand in persons.csv: keep this folder as you keep the book.\n"
                             : "Names of persons were left out; members stand under their numbers.\n");
    if (x->options->from_ms || x->options->until_ms) {
        put_form(x, "\nTables that have a time hold it from %s", time_text(at, x->options->from_ms) ? at : "");
        put_form(x, " to before %s.\n",
                 x->options->until_ms && time_text(at, x->options->until_ms) ? at : "the end of the book");
    }
    for (size_t t = 0; t < n; t++) {
        if (!po_export_wanted(x->options, &tables[t])) {
            continue;
        }
        put_form(x, "\n## %s.csv: %s\n\n", tables[t].name, tables[t].says);
        for (size_t c = 0; c < tables[t].n_columns; c++) {
            const po_export_column *k = &tables[t].columns[c];
            put_form(x, "- %s, %s%s%s\n", k->name, kind_words(k->kind), *k->says ? ": " : "", k->says);
        }
    }
}

static void new_file(po_exporting *x, const char *name)
{
    flush(x);
    if (!x->stopped && !x->out->file(x->out->user, name)) {
        x->stopped = true;
    }
}

void po_export_begin(po_exporting *x)
{
    char at[40];
    const char *now = time_text(at, x->now_ms) ? at : "";
    x->first_table = true;
    if (x->options->format == PO_EXPORT_CSV) {
        new_file(x, "README.md");
        readme(x);
    } else if (x->options->format == PO_EXPORT_JSON) {
        put_form(
            x,
            "{\"format\":\"proveout/export/1\",\"made\":\"%s\",\"last_event\":%lld,\"last_hash\":\"%s\",\"names\":%s",
            now, (long long)x->last_event, x->last_hash, x->options->names ? "true" : "false");
        put_time_or_null(x, "from", x->options->from_ms);
        put_time_or_null(x, "until", x->options->until_ms);
        put(x, ",\"tables\":{");
    } else {
        put_form(x, "-- The book of %s, up to event %lld (SHA-256 %s).\n", now, (long long)x->last_event, x->last_hash);
        put(x, x->options->names
                   ? "-- Names of persons stand in the table persons: keep this file as you keep the book.\n"
                   : "-- Names of persons were left out.\n");
        put(x, "-- Names stand in double quotes, texts in single ones, as ISO/IEC 9075 has it; what the columns are: "
               "docs/export.md.\nBEGIN;\n");
    }
}

static void sql_table(po_exporting *x, const po_export_table *table)
{
    put_form(x, "-- %s\nCREATE TABLE \"%s\" (", table->says, table->name);
    for (size_t c = 0; c < table->n_columns; c++) {
        char kind = table->columns[c].kind;
        put_form(x, "%s\"%s\" %s", c ? ", " : "", table->columns[c].name,
                 kind == 'i'   ? "BIGINT"
                 : kind == 'f' ? "SMALLINT"
                               : "TEXT");
    }
    put(x, ");\n");
}

void po_export_table_begin(po_exporting *x, const po_export_table *table)
{
    x->first_row = true;
    if (x->options->format == PO_EXPORT_JSON) {
        put_form(x, "%s\n\"%s\":[", x->first_table ? "" : ",", table->name);
    } else if (x->options->format == PO_EXPORT_SQL) {
        sql_table(x, table);
    } else {
        char name[80];
        snprintf(name, sizeof name, "%.70s.csv", table->name);
        new_file(x, name);
        for (size_t c = 0; c < table->n_columns; c++) {
            put_form(x, "%s%s", c ? "," : "", table->columns[c].name);
        }
        put(x, "\r\n");
    }
    x->first_table = false;
}

void po_export_row(po_exporting *x, const po_export_table *table, po_rows *rows)
{
    po_export_format format = x->options->format;
    if (format == PO_EXPORT_JSON) {
        put(x, x->first_row ? "\n{" : ",\n{");
    } else if (format == PO_EXPORT_SQL) {
        put_form(x, "INSERT INTO \"%s\" VALUES (", table->name);
    }
    for (size_t c = 0; c < table->n_columns; c++) {
        put(x, c ? "," : "");
        if (format == PO_EXPORT_JSON) {
            put_form(x, "\"%s\":", table->columns[c].name);
        }
        put_cell(x, table->columns[c].kind, rows, (int)c + 1);
    }
    put(x, format == PO_EXPORT_JSON ? "}" : format == PO_EXPORT_SQL ? ");\n" : "\r\n");
    x->first_row = false;
}

void po_export_table_end(po_exporting *x, const po_export_table *table)
{
    (void)table;
    put(x, x->options->format == PO_EXPORT_JSON ? "]" : "");
}

void po_export_end(po_exporting *x)
{
    put(x, x->options->format == PO_EXPORT_JSON ? "}}\n" : x->options->format == PO_EXPORT_SQL ? "COMMIT;\n" : "");
    flush(x);
}
