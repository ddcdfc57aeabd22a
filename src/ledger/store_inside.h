/* Inside of the store: shared by store.c and store_open.c. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_LEDGER_STORE_INSIDE_H
#define PO_LEDGER_STORE_INSIDE_H

#include <sqlite3.h>

#include "ledger/store.h"

enum { PO_STORE_STATEMENTS = 1024 }; /* a power of two; more than there are texts of SQL */

struct po_rows {
    po_store *store;
    sqlite3_stmt *stmt;
    const char *sql;
    bool busy, once; /* in use; not in the table: finalised at the end */
    int rc;
};

struct po_store {
    sqlite3 *db;
    char *path; /* NULL: temporary */
    po_store_options options;
    char *vfs;                               /* options.vfs, owned */
    po_rows statements[PO_STORE_STATEMENTS]; /* by where the text of the SQL stands */
};

/* A failed call of SQLite as a sentence. doing: "writing to the book" ... */
po_status po_store_failed(const po_store *store, int rc, const char *doing, po_err *err);
/* The same before there is a store. */
po_status po_store_failed_at(const char *path, int rc, int system_errno, int64_t wait_ms, const char *doing,
                             po_err *err);
void po_store_forget_statements(po_store *store);

#endif
