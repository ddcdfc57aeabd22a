/* Comma-separated values, read in place. SPDX-License-Identifier: Apache-2.0
 *
 * RFC 4180 section 2. What a cell becomes is never longer than what stands in the file, so it is written over it; the zero behind it
 * goes where its comma, line end or closing mark was. A fault is noted and reading goes on to the end of the record: a
 * quotation mark too many then spoils one record, not all that follow. */
#include "base/csv.h"

#include <string.h>

#include "base/text.h"

void po_csv_begin(po_csv *csv, char *data, size_t n)
{
    *csv = (po_csv){.at = data, .end = data + n, .line = 1, .column = 1};
    if (n >= 3 && memcmp(data, "\xef\xbb\xbf", 3) == 0) {
        csv->at += 3;
    }
}

/* The first fault of a record is the one that is told. */
typedef struct fault {
    po_status code;
    uint32_t line, column;
    const char *says;
} fault;

static void note(fault *f, po_status code, const po_csv *csv, const char *says)
{
    if (f->code == PO_OK) {
        *f = (fault){code, csv->line, csv->column, says};
    }
}

/* Bytes of the line end at p: 2, 1 or 0. */
static size_t line_end(const po_csv *csv, const char *p)
{
    return p < csv->end && *p == '\n' ? 1 : csv->end - p >= 2 && p[0] == '\r' && p[1] == '\n' ? 2 : 0;
}

/* One character from `at` to *to, which is not beyond it. */
static void take(po_csv *csv, char **to, fault *f)
{
    unsigned char c = (unsigned char)*csv->at;
    size_t n = po_utf8_length(csv->at, (size_t)(csv->end - csv->at));
    if (n == 0) {
        note(f, PO_E_SYNTAX, csv, "a byte that is no UTF-8: save the file as UTF-8");
        n = 1;
    } else if (c == '\r') {
        note(f, PO_E_SYNTAX, csv, "a carriage return alone: end lines with LF or CRLF");
    } else if ((c < 0x20 && c != '\t') || c == 0x7f) {
        note(f, PO_E_SYNTAX, csv, "a control character: take it out");
    }
    memmove(*to, csv->at, n);
    if (c == 0) {
        **to = '?'; /* the record is refused; its cells stay whole texts all the same */
    }
    *to += n;
    csv->at += n;
    csv->column++;
}

/* What stands between quotation marks; `at` is on the first. */
static void quoted(po_csv *csv, char **to, fault *f)
{
    const po_csv begin = {.line = csv->line, .column = csv->column};
    csv->at++;
    csv->column++;
    while (csv->at < csv->end) {
        size_t n = line_end(csv, csv->at);
        if (*csv->at == '"' && csv->end - csv->at >= 2 && csv->at[1] == '"') {
            *(*to)++ = '"';
            csv->at += 2;
            csv->column += 2;
        } else if (*csv->at == '"') {
            csv->at++;
            csv->column++;
            return;
        } else if (n > 0) {
            memmove(*to, csv->at, n);
            *to += n;
            csv->at += n;
            csv->line++;
            csv->column = 1;
        } else {
            take(csv, to, f);
        }
    }
    note(f, PO_E_SYNTAX, &begin, "a quotation mark that is never closed");
}

/* One cell up to its comma, line end or the end, which stay. */
static po_csv_cell cell(po_csv *csv, char **ret_end, fault *f)
{
    char *text = csv->at, *to = text;
    po_csv_cell c = {.text = text, .line = csv->line, .column = csv->column};
    bool in_marks = csv->at < csv->end && *csv->at == '"';
    if (in_marks) {
        quoted(csv, &to, f);
    }
    while (csv->at < csv->end && *csv->at != ',' && line_end(csv, csv->at) == 0) {
        if (in_marks) {
            note(f, PO_E_SYNTAX, csv, "something behind the closing quotation mark: a mark within a cell is doubled");
        } else if (*csv->at == '"') {
            note(f, PO_E_SYNTAX, csv,
                 "a quotation mark within a cell: put the whole cell in quotation marks and double it");
        }
        take(csv, &to, f);
    }
    c.n = (size_t)(to - text);
    *ret_end = to;
    return c;
}

po_status po_csv_next(po_csv *csv, bool *ret_more, po_err *err)
{
    fault f = {0};
    *ret_more = csv->at < csv->end;
    if (!*ret_more) {
        return PO_OK;
    }
    csv->n_cells = 0;
    for (bool more = true; more;) {
        char *end;
        uint32_t line = csv->line, column = csv->column;
        po_csv_cell c = cell(csv, &end, &f);
        if (csv->n_cells < PO_CSV_CELLS) {
            csv->cells[csv->n_cells++] = c;
        } else {
            note(&f, PO_E_LIMIT, &(po_csv){.line = line, .column = column}, "more than 64 cells in one record");
        }
        size_t n = line_end(csv, csv->at);
        more = csv->at < csv->end && n == 0; /* then it is a comma */
        csv->at += more ? 1 : n;
        csv->column++;
        *end = 0;
        if (n > 0) {
            csv->line++;
            csv->column = 1;
        }
    }
    return f.code == PO_OK ? PO_OK : po_fail_at(err, f.code, NULL, f.line, f.column, "%s", f.says);
}
