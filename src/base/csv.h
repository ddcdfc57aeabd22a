/* Comma-separated values, read in place. SPDX-License-Identifier: Apache-2.0
 *
 * RFC 4180: cells between commas, records between line ends (CRLF or LF), a cell in quotation marks may hold commas, line ends and
 * doubled quotation marks. UTF-8, with or without a byte order mark. The reader allocates nothing: it shortens quoted
 * cells within the caller's bytes and ends every cell with a zero there. */
#ifndef PO_BASE_CSV_H
#define PO_BASE_CSV_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/status.h"

enum { PO_CSV_CELLS = 64 };

typedef struct po_csv_cell {
    const char *text;      /* ended; never NULL */
    size_t n;              /* bytes without the ending zero; none of them is zero */
    uint32_t line, column; /* where it begins, from 1; columns count characters */
} po_csv_cell;

typedef struct po_csv {
    size_t n_cells; /* of the record that was read last */
    po_csv_cell cells[PO_CSV_CELLS];
    /* the reader's own: */
    char *at, *end;
    uint32_t line, column;
} po_csv;

/* data: n bytes and room for one more, the caller's; written to, and to be kept as long as cells are looked at. */
void po_csv_begin(po_csv *csv, char *data, size_t n);
/* The next record. *ret_more false: there is none, and cells stay as they were. A line without anything is a record of one empty cell.
 * Errors: PO_E_SYNTAX (a quotation mark where none may be or that is never closed, a byte that is no UTF-8 or a control character,
 * a carriage return alone), PO_E_LIMIT (more than PO_CSV_CELLS cells); err->line and column say where. The next call then
 * goes on behind that record, so that all faults can be listed. */
po_status po_csv_next(po_csv *csv, bool *ret_more, po_err *err) PO_MUST_USE;

#endif
