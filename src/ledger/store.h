/* The store of the book: transactions, statements, rows. SPDX-License-Identifier: Apache-2.0
 *
 * A small interface, so that a second engine can stand behind it; today SQLite does (store.c, store_open.c). One thread at a
 * time may use a store. SQL is always a constant text with parameters: the kinds of the values are given as letters, one each:
 *   i  int64_t      t  const char * (NULL: null)      b  const void *, size_t      n  null, no value
 * Texts and blobs are borrowed for the call of po_store_do, and until po_rows_end for po_store_ask. */
#ifndef PO_LEDGER_STORE_H
#define PO_LEDGER_STORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/status.h"

typedef struct po_store po_store;
typedef struct po_rows po_rows;

enum { PO_STEP_TEXTS = 120 };
/* One step of the schema: takes the book from version - 1 to version. Each text may hold several statements; NULL ends them. */
typedef struct po_schema_step {
    int version;
    const char *sql[PO_STEP_TEXTS];
} po_schema_step;

/* Everything that tells one kind of book from another. Steps rise by 1 from 1. */
typedef struct po_schema {
    uint32_t application;
    const po_schema_step *steps;
    int n_steps;
} po_schema;

typedef struct po_store_options {
    bool create;     /* make it where there is nothing */
    bool read_only;  /* never writes, not even a migration: an older version is then refused */
    int64_t wait_ms; /* how long to wait for others */
    const char *vfs; /* NULL: the usual one */
    const po_schema *schema;
} po_store_options;

/* Open, create or migrate. A file that is no such book is refused without being touched. path NULL: a store of its own in
 * a temporary file that nobody else sees (create is implied).
 * Errors: PO_E_NOTFOUND, PO_E_IO, PO_E_SYNTAX (not a book, damaged), PO_E_UNSUPPORTED (newer), PO_E_NOMEM. */
po_status po_store_open(const char *path, const po_store_options *options, po_store **ret, po_err *err) PO_MUST_USE;
void po_store_close(po_store *store); /* accepts NULL; rolls back what is open */
const char *po_store_path(const po_store *store);
/* The same file once more, for another thread. */
po_status po_store_again(const po_store *store, bool read_only, po_store **ret, po_err *err) PO_MUST_USE;

/* write: takes the right to write at once, waiting for others; else a view that stays as it is until the end. */
po_status po_store_begin(po_store *store, bool write, po_err *err) PO_MUST_USE;
/* When it returns PO_OK all is on the disk. */
po_status po_store_commit(po_store *store, po_err *err) PO_MUST_USE;
void po_store_rollback(po_store *store);      /* harmless where nothing is open */
bool po_store_is_open(const po_store *store); /* in a transaction? An error of the disk may have ended it. */

/* A mark within a transaction: keep what was done since, or take it back. Marks do not nest. */
po_status po_store_mark(po_store *store, po_err *err) PO_MUST_USE;
po_status po_store_keep(po_store *store, po_err *err) PO_MUST_USE;
po_status po_store_back(po_store *store, po_err *err) PO_MUST_USE;

/* A statement without rows. ret_n (may be NULL): rows changed. */
po_status po_store_do(po_store *store, int64_t *ret_n, po_err *err, const char *sql, const char *kinds,
                      ...) PO_MUST_USE;
/* The first column of the first row. No row or null: *ret untouched, *ret_found false. */
po_status po_store_number(po_store *store, int64_t *ret, bool *ret_found, po_err *err, const char *sql,
                          const char *kinds, ...) PO_MUST_USE;

/* A question with rows. *ret is never left to the caller on failure; else po_rows_end it. */
po_status po_store_ask(po_store *store, po_rows **ret, po_err *err, const char *sql, const char *kinds,
                       ...) PO_MUST_USE;
bool po_rows_next(po_rows *rows); /* false at the end and on failure: po_rows_end tells which */
int po_rows_columns(const po_rows *rows);
char po_rows_kind(po_rows *rows, int column); /* i t b n */
const char *po_rows_name(po_rows *rows, int column);
int64_t po_rows_int(po_rows *rows, int column);
const char *po_rows_text(po_rows *rows, int column); /* NULL for null; until the next row */
/* The same of a column that is never null: where a damaged page says otherwise "", and po_rows_end fails. */
const char *po_rows_word(po_rows *rows, int column);
const void *po_rows_blob(po_rows *rows, int column, size_t *ret_n);
po_status po_rows_end(po_rows *rows, po_err *err) PO_MUST_USE;

/* What the engine's own check finds: a sentence each to say; returns how many. */
typedef void po_store_say(void *user, const char *sentence);
po_status po_store_check(po_store *store, po_store_say *say, void *user, po_err *err) PO_MUST_USE;
/* A copy of the book as it is now, while others go on, to a new file that is then on the disk. `to` must not exist. */
po_status po_store_copy(po_store *store, const char *to, po_err *err) PO_MUST_USE;
/* Open a book that is there so that nobody else has it, with all that was written in the file itself and no log beside it.
 * PO_E_CONFLICT: another program has it open. Nothing is migrated. */
po_status po_store_open_alone(const char *path, const po_store_options *options, po_store **ret,
                              po_err *err) PO_MUST_USE;
/* Bring a file, or the folder that holds the name, to the disk. */
bool po_store_sync_file(const char *path);
bool po_store_sync_folder(const char *path);
/* Bring a finished file to the disk and give it a second name that must not exist yet. */
po_status po_store_give_name(const char *part, const char *to, po_err *err) PO_MUST_USE;
/* Move what was written lately into the file itself, as far as others allow; nothing is lost if not. */
void po_store_settle(po_store *store);

#endif
