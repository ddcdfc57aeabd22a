/* The store over SQLite: transactions, statements, rows, copies. SPDX-License-Identifier: Apache-2.0
 *
 * Statements are prepared once and kept in a table by the place of their text. Every failure of SQLite becomes one sentence here; what
 * SQLite calls "locked" is said as what it is: another program is writing. Copies by SQLite's online backup ("SQLite Backup
 * API", sqlite.org/backup.html), in one step under a read transaction, so that writers never make it start again. */
#include "ledger/store.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "ledger/store_inside.h"

po_status po_store_failed_at(const char *path, int rc, int system_errno, int64_t wait_ms, const char *doing,
                             po_err *err)
{
    const char *where = path ? path : "temporary book";
    char why[96] = "";
    if (system_errno) {
        char buf[64];
        snprintf(why, sizeof why, " (%s)", strerror_r(system_errno, buf, sizeof buf));
    }
    switch (rc & 0xff) {
    case SQLITE_NOMEM:
        return po_fail_at(err, PO_E_NOMEM, where, 0, 0, "out of memory while %s", doing);
    case SQLITE_FULL:
        return po_fail_at(err, PO_E_IO, where, 0, 0, "the disk is full: %s was not done; make room and do it again",
                          doing);
    case SQLITE_READONLY:
        return po_fail_at(err, PO_E_IO, where, 0, 0, "the book or its folder may not be written to: %s was not done",
                          doing);
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return po_fail_at(err, PO_E_IO, where, 0, 0, "no right to read and write the book%s", why);
    case SQLITE_CANTOPEN:
        return po_fail_at(err, PO_E_IO, where, 0, 0,
                          "the book, or the files -wal and -shm beside it, cannot be opened%s", why);
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
    case SQLITE_PROTOCOL:
        return po_fail_at(
            err, PO_E_IO, where, 0, 0,
            "another program has kept the book to itself for %.1f seconds; %s was not done: try again when it "
            "is finished",
            (double)wait_ms / 1000.0, doing);
    case SQLITE_CORRUPT:
        return po_fail_at(err, PO_E_SYNTAX, where, 0, 0,
                          "the book is damaged (found while %s); keep this file and go on with the last backup", doing);
    case SQLITE_NOTADB:
        return po_fail_at(err, PO_E_SYNTAX, where, 0, 0, "this file is not a ledger");
    case SQLITE_IOERR:
        return po_fail_at(err, PO_E_IO, where, 0, 0, "the disk refused while %s%s", doing, why);
    case SQLITE_INTERRUPT:
        return po_fail_at(err, PO_E_CANCELLED, where, 0, 0, "stopped while %s", doing);
    case SQLITE_TOOBIG:
        return po_fail_at(err, PO_E_LIMIT, where, 0, 0, "too large for the book while %s", doing);
    default:
        return po_fail_at(err, PO_E_INTERNAL, where, 0, 0, "%s failed: %s", doing, sqlite3_errstr(rc));
    }
}

po_status po_store_failed(const po_store *store, int rc, const char *doing, po_err *err)
{
    int kind = rc & 0xff;
    if (kind == SQLITE_ERROR || kind == SQLITE_CONSTRAINT || kind == SQLITE_MISUSE || kind == SQLITE_MISMATCH) {
        return po_fail_at(err, PO_E_INTERNAL, store->path, 0, 0, "%s: %s", doing, sqlite3_errmsg(store->db));
    }
    int system_errno = kind == SQLITE_IOERR || kind == SQLITE_CANTOPEN ? sqlite3_system_errno(store->db) : 0;
    return po_store_failed_at(store->path, rc, system_errno, store->options.wait_ms, doing, err);
}

const char *po_store_path(const po_store *store)
{
    return store->path;
}

void po_store_forget_statements(po_store *store)
{
    for (int i = 0; i < PO_STORE_STATEMENTS; i++) {
        sqlite3_finalize(store->statements[i].stmt);
        store->statements[i] = (po_rows){0};
    }
}

/* The place in the table for a text: its own, or the free one where it belongs. NULL: the table is full. */
static po_rows *place_of(po_store *store, const char *sql)
{
    uint64_t h = (uint64_t)(uintptr_t)sql *
                 UINT64_C(0x9e3779b97f4a7c15); /* texts are constants: where it stands will do */
    for (unsigned i = 0; i < PO_STORE_STATEMENTS; i++) {
        po_rows *r = &store->statements[((h >> 32) + i) & (PO_STORE_STATEMENTS - 1)];
        if (!r->sql || r->sql == sql) {
            return r;
        }
    }
    return NULL;
}

static po_status bind_all(po_rows *rows, const char *kinds, va_list values, po_err *err)
{
    int rc = SQLITE_OK, i = 1;
    for (const char *k = kinds; *k && rc == SQLITE_OK; k++, i++) {
        if (*k == 'i') {
            rc = sqlite3_bind_int64(rows->stmt, i, va_arg(values, int64_t));
        } else if (*k == 't') {
            rc = sqlite3_bind_text(rows->stmt, i, va_arg(values, const char *), -1, SQLITE_STATIC);
        } else if (*k == 'b') {
            const void *blob = va_arg(values, const void *);
            size_t n = va_arg(values, size_t);
            rc = sqlite3_bind_blob64(rows->stmt, i, blob, n, SQLITE_STATIC);
        } else {
            assert(*k == 'n');
            rc = sqlite3_bind_null(rows->stmt, i);
        }
    }
    assert(rc != SQLITE_OK || i - 1 == sqlite3_bind_parameter_count(rows->stmt)); /* our own mistake, never input */
    return rc == SQLITE_OK ? PO_OK : po_store_failed(rows->store, rc, "preparing a statement", err);
}

static po_status get_rows(po_store *store, po_rows **ret, const char *sql, const char *kinds, va_list values,
                          po_err *err)
{
    po_rows *rows = place_of(store, sql);
    bool once = !rows || rows->busy; /* the same text is asked within its own rows */
    if (once) {
        rows = calloc(1, sizeof *rows);
        if (!rows) {
            return po_fail(err, PO_E_NOMEM, "out of memory for a statement");
        }
        rows->once = true;
    }
    rows->store = store;
    if (!rows->stmt) {
        int rc = sqlite3_prepare_v3(store->db, sql, -1, once ? 0 : SQLITE_PREPARE_PERSISTENT, &rows->stmt, NULL);
        if (rc != SQLITE_OK) {
            po_status s = po_store_failed(store, rc, "preparing a statement", err);
            if (once) {
                free(rows);
            } else {
                rows->stmt = NULL;
            }
            return s;
        }
        rows->sql = sql;
    }
    rows->busy = true;
    rows->rc = SQLITE_OK;
    po_status s = bind_all(rows, kinds, values, err);
    if (s != PO_OK) {
        po_status ignored = po_rows_end(rows, NULL);
        (void)ignored;
        return s;
    }
    *ret = rows;
    return PO_OK;
}

po_status po_store_ask(po_store *store, po_rows **ret, po_err *err, const char *sql, const char *kinds, ...)
{
    va_list values;
    va_start(values, kinds);
    po_status s = get_rows(store, ret, sql, kinds, values, err);
    va_end(values);
    return s;
}

bool po_rows_next(po_rows *rows)
{
    if (rows->rc != SQLITE_OK && rows->rc != SQLITE_ROW) {
        return false;
    }
    rows->rc = sqlite3_step(rows->stmt);
    return rows->rc == SQLITE_ROW;
}

po_status po_rows_end(po_rows *rows, po_err *err)
{
    po_status s = PO_OK;
    if (rows->rc != SQLITE_OK && rows->rc != SQLITE_ROW && rows->rc != SQLITE_DONE) {
        s = po_store_failed(rows->store, rows->rc, "using the book", err);
    }
    if (rows->once) {
        sqlite3_finalize(rows->stmt);
        free(rows);
        return s;
    }
    int end = sqlite3_reset(rows->stmt);
    if (s == PO_OK && (end & 0xff) == SQLITE_NOMEM) { /* while a column was read: what was read as null may not be */
        s = po_store_failed(rows->store, end, "using the book", err);
    }
    sqlite3_clear_bindings(rows->stmt); /* borrowed texts end with the call */
    rows->busy = false;
    return s;
}

int po_rows_columns(const po_rows *rows)
{
    return sqlite3_column_count(rows->stmt);
}

char po_rows_kind(po_rows *rows, int column)
{
    int t = sqlite3_column_type(rows->stmt, column);
    return t == SQLITE_INTEGER ? 'i' : t == SQLITE_TEXT ? 't' : t == SQLITE_BLOB ? 'b' : 'n';
}

const char *po_rows_name(po_rows *rows, int column)
{
    return sqlite3_column_name(rows->stmt, column);
}

int64_t po_rows_int(po_rows *rows, int column)
{
    return sqlite3_column_int64(rows->stmt, column);
}

const char *po_rows_text(po_rows *rows, int column)
{
    return (const char *)sqlite3_column_text(rows->stmt, column);
}

const char *po_rows_word(po_rows *rows, int column)
{
    const char *text = po_rows_text(rows, column);
    if (!text) {
        rows->rc = (sqlite3_errcode(rows->store->db) & 0xff) == SQLITE_NOMEM ? SQLITE_NOMEM : SQLITE_CORRUPT;
    }
    return text ? text : "";
}

const void *po_rows_blob(po_rows *rows, int column, size_t *ret_n)
{
    const void *p = sqlite3_column_blob(rows->stmt, column);
    *ret_n = (size_t)sqlite3_column_bytes(rows->stmt, column);
    return p;
}

po_status po_store_do(po_store *store, int64_t *ret_n, po_err *err, const char *sql, const char *kinds, ...)
{
    po_rows *rows = NULL;
    va_list values;
    va_start(values, kinds);
    po_status s = get_rows(store, &rows, sql, kinds, values, err);
    va_end(values);
    if (s != PO_OK) {
        return s;
    }
    while (po_rows_next(rows)) {
    }
    if (ret_n) {
        *ret_n = sqlite3_changes64(store->db);
    }
    return po_rows_end(rows, err);
}

po_status po_store_number(po_store *store, int64_t *ret, bool *ret_found, po_err *err, const char *sql,
                          const char *kinds, ...)
{
    po_rows *rows = NULL;
    va_list values;
    va_start(values, kinds);
    po_status s = get_rows(store, &rows, sql, kinds, values, err);
    va_end(values);
    if (s != PO_OK) {
        return s;
    }
    bool found = po_rows_next(rows) && po_rows_kind(rows, 0) == 'i';
    int64_t value = found ? po_rows_int(rows, 0) : 0;
    s = po_rows_end(rows, err);
    if (s == PO_OK && found) {
        *ret = value;
    }
    if (s == PO_OK && ret_found) {
        *ret_found = found;
    }
    return s;
}

po_status po_store_begin(po_store *store, bool write, po_err *err)
{
    po_status s = po_store_do(store, NULL, err, write ? "BEGIN IMMEDIATE" : "BEGIN", "");
    if (s == PO_OK && !write) { /* a view begins with its first look */
        int64_t ignored = 0;
        s = po_store_number(store, &ignored, NULL, err, "SELECT count(*) FROM sqlite_schema", "");
        if (s != PO_OK) {
            po_store_rollback(store);
        }
    }
    return s;
}

po_status po_store_commit(po_store *store, po_err *err)
{
    return po_store_do(store, NULL, err, "COMMIT", "");
}

bool po_store_is_open(const po_store *store)
{
    return !sqlite3_get_autocommit(store->db);
}

void po_store_rollback(po_store *store)
{
    if (po_store_is_open(store)) {
        po_status ignored = po_store_do(store, NULL, NULL, "ROLLBACK", "");
        (void)ignored; /* SQLite: an error here means that it was rolled back already */
    }
}

po_status po_store_mark(po_store *store, po_err *err)
{
    return po_store_do(store, NULL, err, "SAVEPOINT act", "");
}

po_status po_store_keep(po_store *store, po_err *err)
{
    return po_store_do(store, NULL, err, "RELEASE act", "");
}

po_status po_store_back(po_store *store, po_err *err)
{
    po_status s = po_store_do(store, NULL, err, "ROLLBACK TO act", "");
    return s == PO_OK ? po_store_keep(store, err) : s;
}

po_status po_store_check(po_store *store, po_store_say *say, void *user, po_err *err)
{
    static const char *const checks[] = {"PRAGMA integrity_check", "PRAGMA foreign_key_check"};
    for (int i = 0; i < 2; i++) {
        po_rows *rows = NULL;
        po_status s = po_store_ask(store, &rows, err, checks[i], "");
        if (s != PO_OK) {
            return s;
        }
        while (po_rows_next(rows)) {
            char sentence[256];
            const char *text = po_rows_text(rows, 0);
            if (i == 1) {
                snprintf(sentence, sizeof sentence, "%s, row %lld: refers to a row of %s that is not there",
                         text ? text : "", (long long)po_rows_int(rows, 1), po_rows_text(rows, 2));
                say(user, sentence);
            } else if (!text || strcmp(text, "ok") != 0) {
                snprintf(sentence, sizeof sentence, "the file: %s", text ? text : "damaged");
                say(user, sentence);
            }
        }
        s = po_rows_end(rows, err);
        if (s != PO_OK) {
            return s;
        }
    }
    return PO_OK;
}

void po_store_settle(po_store *store)
{
    int rc = sqlite3_wal_checkpoint_v2(store->db, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
    (void)rc; /* others may be reading: then it happens later */
}

/* Names are on the disk only when their folder is. */
static bool sync_path(const char *path, int flags)
{
    int fd = open(path, flags | O_CLOEXEC);
    bool ok = fd >= 0 && fsync(fd) == 0;
    if (fd >= 0) {
        close(fd);
    }
    return ok;
}

bool po_store_sync_file(const char *path)
{
    return sync_path(path, O_RDONLY);
}

bool po_store_sync_folder(const char *path)
{
    char *folder = strdup(path);
    if (!folder) {
        return false;
    }
    char *slash = strrchr(folder, '/');
    bool ok;
    if (slash) {
        slash[slash == folder] = 0;
        ok = sync_path(folder, O_RDONLY | O_DIRECTORY);
    } else {
        ok = sync_path(".", O_RDONLY | O_DIRECTORY);
    }
    free(folder);
    return ok;
}

po_status po_store_give_name(const char *part, const char *to, po_err *err)
{
    if (!sync_path(part, O_RDONLY)) {
        return po_fail_at(err, PO_E_IO, to, 0, 0, "the copy could not be brought to the disk: %s", strerror(errno));
    }
    /* never over a file that appeared meanwhile; a stick's file system knows no second names, but this rename */
    bool named = link(part, to) == 0 || ((errno == EPERM || errno == EOPNOTSUPP || errno == ENOSYS) &&
                                         renameat2(AT_FDCWD, part, AT_FDCWD, to, RENAME_NOREPLACE) == 0);
    if (!named || !po_store_sync_folder(to)) {
        return po_fail_at(err, errno == EEXIST ? PO_E_CONFLICT : PO_E_IO, to, 0, 0,
                          "the copy could not be given its name: %s", strerror(errno));
    }
    return PO_OK;
}

static int copy_pages(po_store *store, const char *to)
{
    sqlite3 *copy = NULL;
    int rc = sqlite3_open_v2(to, &copy, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_EXCLUSIVE, store->vfs);
    if (rc == SQLITE_OK) {
        sqlite3_backup *backup = sqlite3_backup_init(copy, "main", store->db, "main");
        if (backup) {
            sqlite3_busy_timeout(copy, (int)store->options.wait_ms);
            rc = sqlite3_backup_step(backup, -1);
            int end = sqlite3_backup_finish(backup);
            rc = rc == SQLITE_DONE ? end : rc;
        } else {
            rc = sqlite3_errcode(copy);
        }
    }
    int closed = sqlite3_close_v2(copy);
    return rc == SQLITE_OK ? closed : rc;
}

po_status po_store_copy(po_store *store, const char *to, po_err *err)
{
    if (access(to, F_OK) == 0) {
        return po_fail_at(err, PO_E_CONFLICT, to, 0, 0, "there is a file of this name already; name another");
    }
    size_t n = strlen(to) + 32;
    char *part = malloc(n);
    if (!part) {
        return po_fail(err, PO_E_NOMEM, "out of memory for a name");
    }
    snprintf(part, n, "%s.part-%ld", to, (long)getpid());
    unlink(part);
    int rc = copy_pages(store, part);
    po_status s = rc == SQLITE_OK ? PO_OK : po_store_failed_at(to, rc, 0, store->options.wait_ms, "making a copy", err);
    s = s == PO_OK ? po_store_give_name(part, to, err) : s;
    unlink(part);
    free(part);
    return s;
}
