/* Inside of the export: tables handed over row by row, and what writes them. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_LEDGER_EXPORT_INSIDE_H
#define PO_LEDGER_EXPORT_INSIDE_H

#include "ledger/store.h"
#include "proveout/ledger_export.h"

enum { PO_EXPORT_BUFFER = 1 << 16 };

/* One export on its way. */
typedef struct po_exporting {
    const po_export_options *options;
    const po_export_out *out;
    int64_t now_ms, last_event;
    const char *last_hash; /* hex; of last_event */
    bool stopped;          /* the other end takes no more */
    bool first_table, first_row;
    size_t n;
    char buffer[PO_EXPORT_BUFFER];
} po_exporting;

/* Does this table go out? */
bool po_export_wanted(const po_export_options *options, const po_export_table *table);
/* export_write.c: what stands before all tables, a table's head, a row, a table's end, the end. Column c of a row is column c + 1
 * of rows. Whether the other end still takes it is in `stopped`. */
void po_export_begin(po_exporting *x);
void po_export_table_begin(po_exporting *x, const po_export_table *table);
void po_export_row(po_exporting *x, const po_export_table *table, po_rows *rows);
void po_export_table_end(po_exporting *x, const po_export_table *table);
void po_export_end(po_exporting *x);

#endif
