/* A file layer that fails on purpose (fault_vfs.h). SPDX-License-Identifier: Apache-2.0
 *
 * For each file a log of what was written since its last sync, with the bytes that stood there before. After a power cut the
 * log is undone from its end, and then some of it done again from its start. */
#include "ledger/fault_vfs.h"

#include <fcntl.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

typedef struct entry {
    struct entry *next, *before;
    int64_t at, n, size_before, n_old;
    bool truncation;
    unsigned char *old_bytes, *new_bytes;
} entry;

typedef struct logged {
    struct logged *next;
    char *path;
    entry *first, *last;
} logged;

typedef struct fault_file {
    sqlite3_file base;
    logged *log; /* NULL: a temporary file */
    sqlite3_file *real;
} fault_file;

static struct {
    po_fault_kind kind;
    int64_t at, count;
    bool lasting, dark;
    logged *files;
    sqlite3_vfs *real;
} fault;

static void forget_log(logged *l)
{
    for (entry *e = l->first; e;) {
        entry *next = e->next;
        free(e->old_bytes);
        free(e->new_bytes);
        free(e);
        e = next;
    }
    l->first = l->last = NULL;
}

/* Counts a call; what it meets. */
static po_fault_kind meet(void)
{
    if (fault.dark) {
        return PO_FAULT_POWER;
    }
    fault.count++;
    bool hit = fault.kind != PO_FAULT_NONE && (fault.lasting ? fault.count >= fault.at : fault.count == fault.at);
    if (hit && fault.kind == PO_FAULT_POWER) {
        fault.dark = true;
    }
    return hit ? fault.kind : PO_FAULT_NONE;
}

static void add_entry(logged *l, sqlite3_file *real, const void *bytes, int64_t n, int64_t at, bool truncation)
{
    sqlite3_int64 size = 0;
    entry *e = calloc(1, sizeof *e);
    real->pMethods->xFileSize(real, &size);
    e->at = at;
    e->n = n;
    e->size_before = size;
    e->truncation = truncation;
    int64_t end = truncation ? size : at + n < size ? at + n : size;
    e->n_old = end > at ? end - at : 0;
    e->old_bytes = malloc((size_t)e->n_old + 1);
    if (e->n_old) {
        real->pMethods->xRead(real, e->old_bytes, (int)e->n_old, at);
    }
    e->new_bytes = malloc((size_t)n + 1);
    if (n) {
        memcpy(e->new_bytes, bytes, (size_t)n);
    }
    e->before = l->last;
    *(l->last ? &l->last->next : &l->first) = e;
    l->last = e;
}

#define REAL(file) (((fault_file *)(file))->real)

static int f_close(sqlite3_file *file)
{
    sqlite3_file *real = REAL(file);
    int rc = real->pMethods->xClose(real);
    free(real);
    return rc;
}

static int f_read(sqlite3_file *file, void *to, int n, sqlite3_int64 at)
{
    return fault.dark ? SQLITE_IOERR_READ : REAL(file)->pMethods->xRead(REAL(file), to, n, at);
}

static int f_write(sqlite3_file *file, const void *bytes, int n, sqlite3_int64 at)
{
    logged *l = ((fault_file *)file)->log;
    po_fault_kind k = l ? meet() : PO_FAULT_NONE;
    if (k == PO_FAULT_SHORT || k == PO_FAULT_POWER) { /* half of it may be there */
        add_entry(l, REAL(file), bytes, n / 2, at, false);
        REAL(file)->pMethods->xWrite(REAL(file), bytes, n / 2, at);
    }
    if (k != PO_FAULT_NONE) {
        return k == PO_FAULT_FULL ? SQLITE_FULL : SQLITE_IOERR_WRITE;
    }
    if (l) {
        add_entry(l, REAL(file), bytes, n, at, false);
    }
    return REAL(file)->pMethods->xWrite(REAL(file), bytes, n, at);
}

static int f_truncate(sqlite3_file *file, sqlite3_int64 size)
{
    logged *l = ((fault_file *)file)->log;
    if (l && meet() != PO_FAULT_NONE) {
        return SQLITE_IOERR_TRUNCATE;
    }
    if (l) {
        add_entry(l, REAL(file), NULL, 0, size, true);
    }
    return REAL(file)->pMethods->xTruncate(REAL(file), size);
}

static int f_sync(sqlite3_file *file, int flags)
{
    logged *l = ((fault_file *)file)->log;
    if (l && meet() != PO_FAULT_NONE) {
        return SQLITE_IOERR_FSYNC;
    }
    if (l) {
        forget_log(l); /* the real sync is left out: the log is the disk */
    }
    (void)flags;
    return SQLITE_OK;
}

static int f_size(sqlite3_file *file, sqlite3_int64 *ret)
{
    return REAL(file)->pMethods->xFileSize(REAL(file), ret);
}

static int f_lock(sqlite3_file *file, int level)
{
    return REAL(file)->pMethods->xLock(REAL(file), level);
}

static int f_unlock(sqlite3_file *file, int level)
{
    return REAL(file)->pMethods->xUnlock(REAL(file), level);
}

static int f_reserved(sqlite3_file *file, int *ret)
{
    return REAL(file)->pMethods->xCheckReservedLock(REAL(file), ret);
}

static int f_control(sqlite3_file *file, int op, void *arg)
{
    if (op == SQLITE_FCNTL_SIZE_HINT || op == SQLITE_FCNTL_CHUNK_SIZE) {
        return SQLITE_OK; /* would change the file past the log */
    }
    return REAL(file)->pMethods->xFileControl(REAL(file), op, arg);
}

static int f_sector(sqlite3_file *file)
{
    return REAL(file)->pMethods->xSectorSize(REAL(file));
}

static int f_traits(sqlite3_file *file)
{
    (void)file;
    return 0; /* nothing is promised: not even that a page is written whole */
}

static int f_map(sqlite3_file *file, int page, int size, int extend, void volatile **ret)
{
    return REAL(file)->pMethods->xShmMap(REAL(file), page, size, extend, ret);
}

static int f_shm_lock(sqlite3_file *file, int offset, int n, int flags)
{
    return REAL(file)->pMethods->xShmLock(REAL(file), offset, n, flags);
}

static void f_barrier(sqlite3_file *file)
{
    REAL(file)->pMethods->xShmBarrier(REAL(file));
}

static int f_unmap(sqlite3_file *file, int remove)
{
    return REAL(file)->pMethods->xShmUnmap(REAL(file), remove);
}

static const sqlite3_io_methods methods = {
    .iVersion = 2,
    .xClose = f_close,
    .xRead = f_read,
    .xWrite = f_write,
    .xTruncate = f_truncate,
    .xSync = f_sync,
    .xFileSize = f_size,
    .xLock = f_lock,
    .xUnlock = f_unlock,
    .xCheckReservedLock = f_reserved,
    .xFileControl = f_control,
    .xSectorSize = f_sector,
    .xDeviceCharacteristics = f_traits,
    .xShmMap = f_map,
    .xShmLock = f_shm_lock,
    .xShmBarrier = f_barrier,
    .xShmUnmap = f_unmap,
};

static logged *log_of(const char *path)
{
    for (logged *l = fault.files; l; l = l->next) {
        if (strcmp(l->path, path) == 0) {
            return l;
        }
    }
    logged *l = calloc(1, sizeof *l);
    l->path = strdup(path);
    l->next = fault.files;
    fault.files = l;
    return l;
}

static int v_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *file, int flags, int *ret_flags)
{
    fault_file *f = (fault_file *)file;
    (void)vfs;
    memset(f, 0, sizeof *f);
    if (fault.dark) {
        return SQLITE_CANTOPEN;
    }
    f->real = calloc(1, (size_t)fault.real->szOsFile);
    int rc = fault.real->xOpen(fault.real, name, f->real, flags, ret_flags);
    if (rc != SQLITE_OK) {
        free(f->real);
        return rc;
    }
    f->log = name && (flags & (SQLITE_OPEN_MAIN_DB | SQLITE_OPEN_WAL | SQLITE_OPEN_MAIN_JOURNAL)) ? log_of(name) : NULL;
    f->base.pMethods = &methods;
    return SQLITE_OK;
}

static int v_delete(sqlite3_vfs *vfs, const char *name, int sync)
{
    (void)vfs;
    if (meet() != PO_FAULT_NONE) {
        return SQLITE_IOERR_DELETE;
    }
    forget_log(log_of(name));
    return fault.real->xDelete(fault.real, name, sync);
}

static int v_access(sqlite3_vfs *vfs, const char *name, int flags, int *ret)
{
    (void)vfs;
    return fault.real->xAccess(fault.real, name, flags, ret);
}

static int v_full(sqlite3_vfs *vfs, const char *name, int n, char *out)
{
    (void)vfs;
    return fault.real->xFullPathname(fault.real, name, n, out);
}

static int v_random(sqlite3_vfs *vfs, int n, char *out)
{
    (void)vfs;
    return fault.real->xRandomness(fault.real, n, out);
}

static int v_sleep(sqlite3_vfs *vfs, int us)
{
    (void)vfs;
    return fault.real->xSleep(fault.real, us);
}

static int v_time(sqlite3_vfs *vfs, double *ret)
{
    (void)vfs;
    return fault.real->xCurrentTime(fault.real, ret);
}

static int v_last_error(sqlite3_vfs *vfs, int n, char *out)
{
    (void)vfs;
    return fault.real->xGetLastError ? fault.real->xGetLastError(fault.real, n, out) : 0;
}

static sqlite3_vfs vfs = {
    .iVersion = 1,
    .szOsFile = sizeof(fault_file),
    .zName = PO_FAULT_VFS,
    .xOpen = v_open,
    .xDelete = v_delete,
    .xAccess = v_access,
    .xFullPathname = v_full,
    .xRandomness = v_random,
    .xSleep = v_sleep,
    .xCurrentTime = v_time,
    .xGetLastError = v_last_error,
};

void po_fault_register(void)
{
    fault.real = sqlite3_vfs_find(NULL);
    vfs.mxPathname = fault.real->mxPathname;
    sqlite3_vfs_register(&vfs, 0);
}

void po_fault_arm(po_fault_kind kind, int64_t at, bool lasting)
{
    fault.kind = kind;
    fault.at = at;
    fault.lasting = lasting;
    fault.count = 0;
    fault.dark = false;
}

int64_t po_fault_count(void)
{
    return fault.count;
}

void po_fault_forget(void)
{
    while (fault.files) {
        logged *l = fault.files;
        fault.files = l->next;
        forget_log(l);
        free(l->path);
        free(l);
    }
}

static void put(int fd, const void *bytes, int64_t n, int64_t at)
{
    if (n > 0 && pwrite(fd, bytes, (size_t)n, at) != n) {
        abort();
    }
}

void po_fault_power_cut(uint64_t seed)
{
    for (logged *l = fault.files; l; l = l->next) {
        int fd = l->first ? open(l->path, O_RDWR) : -1;
        if (fd < 0) {
            continue;
        }
        for (entry *e = l->last; e; e = e->before) {
            put(fd, e->old_bytes, e->n_old, e->at);
            if (ftruncate(fd, e->size_before) != 0) {
                abort();
            }
        }
        for (entry *e = l->first; e; e = e->next) {
            seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
            unsigned choice = (unsigned)(seed >> 40) % 4; /* lost, half, whole, whole */
            if (choice == 0) {
                continue;
            }
            if (e->truncation) {
                if (ftruncate(fd, e->at) != 0) {
                    abort();
                }
            } else {
                put(fd, e->new_bytes, choice == 1 ? e->n / 2 : e->n, e->at);
            }
        }
        close(fd);
    }
    po_fault_forget();
}
