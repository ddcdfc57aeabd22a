/* Opening, making and migrating the file of a store. SPDX-License-Identifier: Apache-2.0
 *
 * The first bytes are looked at before anything else (the SQLite database file format, sqlite.org/fileformat2.html, 1.3: the
 * words at the start, the version at byte 60, the application at byte 68), through SQLite's own file layer: closing a
 * descriptor of our own would let go the locks that this process holds. A new book is made whole beside its place and then
 * linked to its name, so that no half-made book is ever seen, and of two that make it at once one wins. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "ledger/store_inside.h"

enum { HEADER = 100, BUSY_AT_LEAST_MS = 1 };

static uint32_t big_endian(const unsigned char *p)
{
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

/* The first bytes of a file through the file layer. Returns SQLite's code; *ret_n below HEADER: the file is shorter. */
static int look(const char *path, const char *vfs_name, unsigned char bytes[HEADER], size_t *ret_n)
{
    sqlite3_vfs *vfs = sqlite3_vfs_find(vfs_name);
    if (!vfs) {
        return SQLITE_MISUSE;
    }
    sqlite3_file *file = calloc(1, (size_t)vfs->szOsFile);
    char *full = malloc((size_t)vfs->mxPathname + 2); /* two zeros end a name that has no parameters */
    int rc = file && full ? SQLITE_OK : SQLITE_NOMEM;
    if (rc == SQLITE_OK) {
        memset(full, 0, (size_t)vfs->mxPathname + 2);
        rc = vfs->xFullPathname(vfs, path, vfs->mxPathname, full);
    }
    rc = rc == SQLITE_OK || rc == SQLITE_OK_SYMLINK ? SQLITE_OK : rc;
    int flags = 0;
    if (rc == SQLITE_OK) {
        sqlite3_filename name = sqlite3_create_filename(full, "", "", 0, NULL);
        rc = name ? vfs->xOpen(vfs, name, file, SQLITE_OPEN_READONLY | SQLITE_OPEN_MAIN_DB, &flags) : SQLITE_NOMEM;
        if (file->pMethods) {
            sqlite3_int64 size = 0;
            rc = rc == SQLITE_OK ? file->pMethods->xFileSize(file, &size) : rc;
            *ret_n = size < HEADER ? (size_t)size : HEADER;
            if (rc == SQLITE_OK && size > 0) {
                rc = file->pMethods->xRead(file, bytes, (int)*ret_n, 0);
            }
            file->pMethods->xClose(file);
        }
        sqlite3_free_filename(name);
    }
    free(full);
    free(file);
    return rc;
}

/* Is it a book of this kind, as far as its first bytes tell? *ret_empty: a file of no bytes. */
static po_status recognise(const char *path, const po_store_options *o, bool *ret_empty, po_err *err)
{
    unsigned char bytes[HEADER] = {0};
    size_t n = 0;
    errno = 0;
    int rc = look(path, o->vfs, bytes, &n);
    if (rc != SQLITE_OK) {
        return po_store_failed_at(path, rc, errno, o->wait_ms, "opening the book", err);
    }
    *ret_empty = n == 0;
    if (n == 0) {
        return PO_OK;
    }
    if (n < HEADER || memcmp(bytes, "SQLite format 3", 16) != 0) {
        return po_fail_at(err, PO_E_SYNTAX, path, 0, 0, "this file is not a ledger; it was left as it is");
    }
    if (big_endian(bytes + 68) != o->schema->application) {
        return po_fail_at(err, PO_E_SYNTAX, path, 0, 0,
                          "this database was made by another program and is not a ledger; it was left as it is");
    }
    uint32_t version = big_endian(bytes + 60);
    if (version > (uint32_t)o->schema->n_steps) {
        return po_fail_at(
            err, PO_E_UNSUPPORTED, path, 0, 0,
            "this ledger has version %u, made by a newer program; this one reads up to version %d: use the newer "
            "program",
            version, o->schema->n_steps);
    }
    return PO_OK;
}

/* Settings of one connection. None of them is the file's. */
static int settle_in(po_store *store)
{
    sqlite3 *db = store->db;
    int64_t wait = store->options.wait_ms;
    sqlite3_busy_timeout(db, wait < BUSY_AT_LEAST_MS ? BUSY_AT_LEAST_MS : wait > INT32_MAX ? INT32_MAX : (int)wait);
    sqlite3_extended_result_codes(db, 1);
    sqlite3_db_config(db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_ENABLE_FKEY, 1, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_DQS_DML, 0, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_DQS_DDL, 0, NULL);
    /* cache_size: 16 MB at most, for acts of many kinds in one turn; as much as is looked at is taken.
     * secure_delete: a person who is forgotten is not left lying in the free pages */
    return sqlite3_exec(
        db, "PRAGMA synchronous=FULL; PRAGMA secure_delete=ON; PRAGMA cell_size_check=ON; PRAGMA cache_size=-16384;",
        NULL, NULL, NULL);
}

static po_status connect(po_store *store, const char *path, int flags, po_err *err)
{
    int rc = sqlite3_open_v2(path ? path : "", &store->db, flags | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_PRIVATECACHE,
                             store->vfs);
    if (rc == SQLITE_OK) {
        rc = settle_in(store);
    }
    if (rc != SQLITE_OK) {
        int why = store->db ? sqlite3_system_errno(store->db) : 0;
        return po_store_failed_at(path, rc, why, store->options.wait_ms, "opening the book", err);
    }
    return PO_OK;
}

static po_status version_of(po_store *store, int64_t *ret, po_err *err)
{
    return po_store_number(store, ret, NULL, err, "PRAGMA user_version", "");
}

/* Steps from the version that is there to the last, in one transaction. */
static po_status step_up(po_store *store, po_err *err)
{
    const po_schema *schema = store->options.schema;
    int64_t version = 0;
    po_status s = po_store_begin(store, true, err);
    if (s == PO_OK) { /* again, now that nobody else writes: another program may have done it meanwhile */
        s = version_of(store, &version, err);
    }
    for (int i = 0; s == PO_OK && i < schema->n_steps; i++) {
        const po_schema_step *step = &schema->steps[i];
        if (step->version > version) {
            char set[96];
            snprintf(set, sizeof set, "PRAGMA user_version=%d; PRAGMA application_id=%u;", step->version,
                     schema->application);
            int rc = SQLITE_OK;
            for (int k = 0; rc == SQLITE_OK && k < PO_STEP_TEXTS && step->sql[k]; k++) {
                rc = sqlite3_exec(store->db, step->sql[k], NULL, NULL, NULL);
            }
            rc = rc == SQLITE_OK ? sqlite3_exec(store->db, set, NULL, NULL, NULL) : rc;
            s = rc == SQLITE_OK ? PO_OK : po_store_failed(store, rc, "bringing the book to a new version", err);
        }
    }
    if (s == PO_OK) {
        s = po_store_commit(store, err);
    }
    if (s != PO_OK) {
        po_store_rollback(store);
    }
    return s;
}

static po_status bring_up(po_store *store, po_err *err)
{
    int last = store->options.schema->n_steps;
    int64_t version = 0;
    po_status s = version_of(store, &version, err);
    if (s != PO_OK || version == last) {
        return s;
    }
    if (version > last) {
        return po_fail_at(
            err, PO_E_UNSUPPORTED, store->path, 0, 0,
            "this ledger has version %d, made by a newer program; this one reads up to version %d: use the newer "
            "program",
            (int)version, last);
    }
    if (store->options.read_only) {
        return po_fail_at(err, PO_E_UNSUPPORTED, store->path, 0, 0,
                          "this ledger has the older version %d; open it once for writing to bring it to version %d",
                          (int)version, last);
    }
    if (store->path && version > 0) {
        size_t n = strlen(store->path) + 32;
        char *copy = malloc(n);
        if (!copy) {
            return po_fail(err, PO_E_NOMEM, "out of memory for a name");
        }
        snprintf(copy, n, "%s.version-%d", store->path, (int)version);
        /* a copy of this name is of an earlier try that did not come to its end, and as good */
        s = access(copy, F_OK) == 0 ? PO_OK : po_store_copy(store, copy, err);
        free(copy);
    }
    if (s == PO_OK) {
        s = step_up(store, err);
    }
    po_store_forget_statements(store);
    return s;
}

static po_status new_store(const char *path, const po_store_options *options, po_store **ret, po_err *err)
{
    po_store *store = calloc(1, sizeof *store);
    if (store) {
        store->options = *options;
        store->path = path ? strdup(path) : NULL;
        store->vfs = options->vfs ? strdup(options->vfs) : NULL;
        store->options.vfs = store->vfs;
    }
    if (!store || (path && !store->path) || (options->vfs && !store->vfs)) {
        po_store_close(store);
        return po_fail(err, PO_E_NOMEM, "out of memory for a book");
    }
    *ret = store;
    return PO_OK;
}

/* A whole new book beside its place, then given its name. Another that was quicker is as good. */
static po_status make(const char *path, const po_store_options *options, po_err *err)
{
    size_t n = strlen(path) + 48;
    char *part = malloc(n);
    if (!part) {
        return po_fail(err, PO_E_NOMEM, "out of memory for a name");
    }
    static const char form[] = "%s.new-%ld-%lx";
    snprintf(part, n, form, path, (long)getpid(),
             (unsigned long)(uintptr_t)part); /* threads of one process differ too */
    unlink(part);
    po_store *store = NULL;
    po_status s = new_store(part, options, &store, err);
    if (s == PO_OK) {
        s = connect(store, part, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, err);
    }
    if (s == PO_OK) {
        s = step_up(store, err);
    }
    if (s == PO_OK) {
        po_store_forget_statements(store);
        int rc = sqlite3_exec(store->db, "PRAGMA journal_mode=WAL", NULL, NULL, NULL);
        s = rc == SQLITE_OK ? PO_OK : po_store_failed(store, rc, "making a new book", err);
    }
    po_store_close(store);
    if (s == PO_OK && ((link(part, path) != 0 && errno != EEXIST) || !po_store_sync_folder(path))) {
        s = po_fail_at(err, PO_E_IO, path, 0, 0, "the new book could not be given its name: %s", strerror(errno));
    }
    unlink(part);
    free(part);
    return s;
}

/* A book that was closed for good (po_store_open_alone) has no log; it gets one when it is used again. Without one it works
 * too: readers then wait for writers. */
static po_status with_log(po_store *store, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(store, &rows, err, "PRAGMA journal_mode", "");
    if (s != PO_OK) {
        return s;
    }
    bool has = po_rows_next(rows) && po_rows_text(rows, 0) && strcmp(po_rows_text(rows, 0), "wal") == 0;
    s = po_rows_end(rows, err);
    if (s == PO_OK && !has) {
        po_store_forget_statements(store);
        int rc = sqlite3_exec(store->db, "PRAGMA journal_mode=WAL", NULL, NULL, NULL);
        (void)rc;
    }
    return s;
}

po_status po_store_open(const char *path, const po_store_options *options, po_store **ret, po_err *err)
{
    struct stat st;
    bool empty = false, there = path && stat(path, &st) == 0;
    po_status s = PO_OK;
    if (path && !there && errno != ENOENT) {
        return po_fail_at(err, PO_E_IO, path, 0, 0, "the book cannot be reached: %s", strerror(errno));
    }
    if (there && !S_ISREG(st.st_mode)) {
        return po_fail_at(err, PO_E_SYNTAX, path, 0, 0, "this is not a file, so it cannot be a ledger");
    }
    if (there) {
        s = recognise(path, options, &empty, err);
    }
    if (s == PO_OK && there && empty) {
        return po_fail_at(err, PO_E_SYNTAX, path, 0, 0, "this file is empty and not a ledger; it was left as it is");
    }
    if (s == PO_OK && path && !there) {
        if (!options->create || options->read_only) {
            return po_fail_at(err, PO_E_NOTFOUND, path, 0, 0, "there is no ledger here");
        }
        s = make(path, options, err);
    }
    po_store *store = NULL;
    if (s == PO_OK) {
        s = new_store(path, options, &store, err);
    }
    if (s == PO_OK) {
        int flags = options->read_only ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE;
        s = connect(store, path, path ? flags : SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, err);
    }
    if (s == PO_OK) {
        s = bring_up(store, err);
    }
    s = s == PO_OK && path && !options->read_only ? with_log(store, err) : s;
    if (s != PO_OK) {
        po_store_close(store);
        return s;
    }
    *ret = store;
    return PO_OK;
}

po_status po_store_open_alone(const char *path, const po_store_options *options, po_store **ret, po_err *err)
{
    bool empty = false;
    po_store *store = NULL;
    po_status s = recognise(path, options, &empty, err);
    if (s == PO_OK && empty) {
        return po_fail_at(err, PO_E_SYNTAX, path, 0, 0, "this file is empty and not a ledger");
    }
    s = s == PO_OK ? new_store(path, options, &store, err) : s;
    s = s == PO_OK ? connect(store, path, SQLITE_OPEN_READWRITE, err) : s;
    if (s == PO_OK) { /* each connection to a book with a log holds a lock on it while it is open */
        int rc = sqlite3_exec(store->db, "PRAGMA journal_mode=DELETE", NULL, NULL, NULL);
        rc = rc == SQLITE_OK ? sqlite3_exec(store->db, "BEGIN EXCLUSIVE", NULL, NULL, NULL) : rc;
        s = rc == SQLITE_OK ? PO_OK
            : (rc & 0xff) == SQLITE_BUSY || (rc & 0xff) == SQLITE_LOCKED
                ? po_fail_at(err, PO_E_CONFLICT, path, 0, 0, "another program has the book open")
                : po_store_failed(store, rc, "closing the book", err);
    }
    if (s != PO_OK) {
        po_store_close(store);
        return s;
    }
    *ret = store;
    return PO_OK;
}

po_status po_store_again(const po_store *store, bool read_only, po_store **ret, po_err *err)
{
    po_store_options options = store->options;
    options.read_only = read_only;
    options.create = false;
    return po_store_open(store->path, &options, ret, err);
}

void po_store_close(po_store *store)
{
    if (!store) {
        return;
    }
    if (store->db) {
        po_store_rollback(store);
        po_store_forget_statements(store);
        sqlite3_close_v2(store->db);
    }
    free(store->path);
    free(store->vfs);
    free(store);
}
