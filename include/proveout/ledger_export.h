/* The book for other programs: its tables as JSON, CSV or SQL. SPDX-License-Identifier: Apache-2.0
 *
 * docs/export.md describes every table and column. All is written from one view of the book, row by row: nothing is held in
 * memory but the row. Times are ISO 8601 in UTC with milliseconds ("2026-10-05T12:00:00.000Z"), which loses nothing. */
#ifndef PROVEOUT_LEDGER_EXPORT_H
#define PROVEOUT_LEDGER_EXPORT_H

#include "proveout/ledger.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef enum po_export_format {
    PO_EXPORT_JSON, /* one object, RFC 8259 */
    PO_EXPORT_CSV,  /* a file a table and a README, RFC 4180 */
    PO_EXPORT_SQL   /* tables and rows in the words of ISO/IEC 9075 that every database has */
} po_export_format;

typedef struct po_export_column {
    const char *name, *says;
    char kind; /* i a whole number  t text  s a time  f yes or no  j JSON */
} po_export_column;

typedef struct po_export_table {
    const char *name, *says;
    const po_export_column *columns;
    size_t n_columns;
    bool timed; /* can be had for a time */
} po_export_table;
/* Static data. */
PO_API const po_export_table *po_export_tables(size_t *ret_n);

typedef struct po_export_options {
    po_export_format format;
    const char *const *tables; /* by name; n_tables 0: all */
    size_t n_tables;
    int64_t from_ms, until_ms; /* of timed tables: from <= t < until; until 0: without end */
    bool names;                /* with the table persons */
} po_export_options;

/* Where it goes. Both hand back false when they can't go on; the export then ends with PO_E_CANCELLED. */
typedef struct po_export_out {
    void *user;
    bool (*file)(void *user, const char *name); /* a new file begins, "runs.csv"; for CSV only */
    bool (*write)(void *user, const char *bytes, size_t n);
} po_export_out;

/* Errors: PO_E_RANGE (no table of that name, a period that ends before it begins), PO_E_CANCELLED, PO_E_IO, PO_E_SYNTAX. */
PO_API po_status po_ledger_export(po_ledger *ledger, const po_export_options *options, const po_export_out *out,
                                  po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
