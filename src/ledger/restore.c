/* A backup becomes the book. SPDX-License-Identifier: Apache-2.0
 *
 * A copy of the backup is made beside the book, brought up to the present version and verified; only then is the book that is
 * there given a second name, and its own name goes over to the copy in one step (rename(2): "newpath ... is atomically
 * replaced"). So at every instant a whole book stands under the name: the old one or the new one. The book that is there is
 * first closed for good (SQLite, "Write-Ahead Logging", 2.3: leaving WAL mode takes the only connection and empties the log), which also tells whether
 * another program has it open. Where it is too damaged for that, its log goes along under the second name. */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "ledger/ledger_inside.h"

enum { NAME_ROOM = 64 };

static po_status copy_bytes(const char *from, const char *to, po_err *err)
{
    static const char *const doing = "the copy of the backup could not be made";
    char buffer[1 << 16];
    int in = open(from, O_RDONLY | O_CLOEXEC), out = -1;
    if (in < 0) {
        return po_fail_at(err, errno == ENOENT ? PO_E_NOTFOUND : PO_E_IO, from, 0, 0, "the backup cannot be read: %s",
                          strerror(errno));
    }
    out = open(to, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    po_status s = out < 0 ? po_fail_at(err, PO_E_IO, to, 0, 0, "%s: %s", doing, strerror(errno)) : PO_OK;
    for (ssize_t got; s == PO_OK && (got = read(in, buffer, sizeof buffer)) != 0;) {
        if (got < 0) {
            s = po_fail_at(err, PO_E_IO, from, 0, 0, "the backup cannot be read: %s", strerror(errno));
            break;
        }
        for (ssize_t at = 0, put; s == PO_OK && at < got; at += put) {
            put = write(out, buffer + at, (size_t)(got - at));
            if (put <= 0) {
                s = po_fail_at(err, PO_E_IO, to, 0, 0, "%s: %s", doing, strerror(errno));
                break;
            }
        }
    }
    if (out >= 0 && close(out) != 0 && s == PO_OK) {
        s = po_fail_at(err, PO_E_IO, to, 0, 0, "%s: %s", doing, strerror(errno));
    }
    close(in);
    return s;
}

static void first_fault(void *user, const char *sentence)
{
    char *first = user;
    if (!first[0]) {
        snprintf(first, 200, "%s", sentence);
    }
}

/* Files that SQLite and a migration leave beside the copy. */
static void sweep(const char *part, bool itself)
{
    static const char *const ends[] = {"", "-wal", "-shm", "-journal", ".version-1"};
    char *name = malloc(strlen(part) + NAME_ROOM);
    for (size_t i = itself ? 0 : 1; name && i < sizeof ends / sizeof ends[0]; i++) {
        snprintf(name, strlen(part) + NAME_ROOM, "%s%s", part, ends[i]);
        unlink(name);
    }
    free(name);
}

/* A log with something in it: then somebody may be at work on the backup, and it is copied through the store. */
static bool has_log(const char *path)
{
    struct stat st;
    char *log = malloc(strlen(path) + NAME_ROOM);
    if (!log) {
        return false;
    }
    snprintf(log, strlen(path) + NAME_ROOM, "%s-wal", path);
    bool has = stat(log, &st) == 0 && st.st_size > 0;
    free(log);
    return has;
}

/* A whole, verified book of the present version under the name part. */
static po_status make_copy(const char *from, const char *part, const po_ledger_options *options, po_err *err)
{
    po_store *source = NULL;
    po_store_options so = {.read_only = true, .wait_ms = 10000, .schema = &po_ledger_schema};
    po_status s;
    if (has_log(from)) {
        s = po_store_open(from, &so, &source, err);
        s = s == PO_OK ? po_store_copy(source, part, err) : s;
        po_store_close(source);
    } else {
        s = copy_bytes(from, part, err);
    }
    po_ledger *copy = NULL;
    po_ledger_options o = options ? *options : (po_ledger_options){0};
    char fault[200] = "";
    o.create = o.read_only = false;
    s = s == PO_OK ? po_ledger_open(part, &o, &copy, err) : s;
    s = s == PO_OK ? po_ledger_verify_store(copy->asking, first_fault, fault, NULL, err) : s;
    po_ledger_close(copy);
    if (s == PO_OK && fault[0]) {
        s = po_fail(err, PO_E_SYNTAX, "the backup is not in order: %.200s", fault);
    }
    if (s != PO_OK && err) { /* what is wrong is wrong with the backup, not with its copy */
        snprintf(err->where, sizeof err->where, "%.120s", from);
    }
    return s;
}

/* Nobody else has it open, and all that was written is in the file itself; held until *ret is closed. A book that can't be read
 * any more is let pass: NULL. */
static po_status close_for_good(const char *path, po_store **ret, po_err *err)
{
    po_store_options o = {.wait_ms = 500, .schema = &po_ledger_schema};
    po_err why;
    po_status s = po_store_open_alone(path, &o, ret, &why);
    if (s == PO_E_CONFLICT) {
        return po_fail_at(err, PO_E_CONFLICT, path, 0, 0,
                          "another program has the book open: end it (the desk server, other windows), then restore");
    }
    return PO_OK;
}

/* "book.db.replaced-2026-11-30T23-50-00Z", with "-2" and so on where there is one. NULL: no memory. */
static char *aside_name(const char *path, int64_t now_ms)
{
    size_t room = strlen(path) + NAME_ROOM;
    char *name = malloc(room), when[40] = "";
    time_t t = (time_t)(now_ms / 1000);
    struct tm tm;
    if (name && gmtime_r(&t, &tm)) {
        strftime(when, sizeof when, "%Y-%m-%dT%H-%M-%SZ", &tm);
    }
    for (int i = 1; name && i < 1000; i++) {
        char more[16] = "";
        if (i > 1) {
            snprintf(more, sizeof more, "-%d", i);
        }
        snprintf(name, room, "%s.replaced-%s%s", path, when, more);
        if (access(name, F_OK) != 0) {
            break;
        }
    }
    return name;
}

/* The log of a book that was too damaged to be closed goes along under the second name, so that it is never read into the new one. */
static bool log_aside(const char *path, const char *aside)
{
    size_t room = strlen(path) + strlen(aside) + NAME_ROOM;
    char *from = malloc(room), *to = malloc(room);
    bool ok = from && to;
    static const char *const ends[] = {"-wal", "-shm"};
    for (int i = 0; ok && i < 2; i++) {
        snprintf(from, room, "%s%s", path, ends[i]);
        snprintf(to, room, "%s%s", aside, ends[i]);
        ok = rename(from, to) == 0 || errno == ENOENT;
    }
    free(from);
    free(to);
    return ok;
}

/* The name goes over from the book to the copy; the book keeps its second name. */
static po_status swap(const char *path, const char *part, const char *aside, po_err *err)
{
    bool second = link(path, aside) == 0;
    if (!second && errno != EPERM && errno != EOPNOTSUPP && errno != ENOSYS) {
        return po_fail_at(err, PO_E_IO, path, 0, 0, "the present book could not be given a second name: %s",
                          strerror(errno));
    }
    if (!log_aside(path, aside)) {
        return po_fail_at(err, PO_E_IO, path, 0, 0, "the log of the present book could not be moved aside: %s",
                          strerror(errno));
    }
    /* a file system without second names: the two change places, and the old one is then renamed */
    bool done = second ? rename(part, path) == 0
                       : renameat2(AT_FDCWD, part, AT_FDCWD, path, RENAME_EXCHANGE) == 0 && rename(part, aside) == 0;
    if (!done || !po_store_sync_folder(path)) {
        return po_fail_at(err, PO_E_IO, path, 0, 0, "the restored book could not be given its name: %s",
                          strerror(errno));
    }
    return PO_OK;
}

static po_status put_in_place(const char *path, const char *part, po_arena *arena, int64_t now_ms,
                              const char **ret_aside, po_err *err)
{
    struct stat st;
    if (stat(path, &st) != 0) {
        return errno == ENOENT
                   ? po_store_give_name(part, path, err)
                   : po_fail_at(err, PO_E_IO, path, 0, 0, "the book cannot be reached: %s", strerror(errno));
    }
    if (!S_ISREG(st.st_mode)) {
        return po_fail_at(err, PO_E_CONFLICT, path, 0, 0, "this is not a file; name another place for the book");
    }
    char *aside = aside_name(path, now_ms);
    const char *kept = aside ? po_arena_text(arena, aside) : NULL;
    po_store *held = NULL;
    po_status s = kept ? close_for_good(path, &held, err) : po_fail(err, PO_E_NOMEM, "out of memory for a name");
    s = s == PO_OK && !po_store_sync_file(part)
            ? po_fail_at(err, PO_E_IO, path, 0, 0, "the restored book could not be brought to the disk: %s",
                         strerror(errno))
            : s;
    s = s == PO_OK ? swap(path, part, aside, err) : s;
    po_store_close(held);
    if (s == PO_OK) {
        *ret_aside = kept;
    }
    free(aside);
    return s;
}

po_status po_ledger_restore(const char *from, const char *path, const po_ledger_options *options, po_arena *arena,
                            const char **ret_aside, po_err *err)
{
    struct stat a, b;
    *ret_aside = NULL;
    if (stat(from, &a) == 0 && stat(path, &b) == 0 && a.st_dev == b.st_dev && a.st_ino == b.st_ino) {
        return po_fail_at(err, PO_E_CONFLICT, path, 0, 0, "the backup and the book are the same file");
    }
    char *real = realpath(path, NULL); /* a book behind a link is replaced where it lies */
    const char *place = real ? real : path;
    size_t room = strlen(place) + NAME_ROOM;
    char *part = malloc(room);
    if (!part) {
        free(real);
        return po_fail(err, PO_E_NOMEM, "out of memory for a name");
    }
    snprintf(part, room, "%s.restoring-%ld", place, (long)getpid());
    sweep(part, true); /* of a try by a process of this number that was cut off */
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    int64_t now = options && options->now_ms ? options->now_ms(options->user) : (int64_t)t.tv_sec * 1000;
    po_status s = make_copy(from, part, options, err);
    if (s == PO_OK) {
        sweep(part, false);
        s = put_in_place(place, part, arena, now, ret_aside, err);
    }
    sweep(part, true);
    free(part);
    free(real);
    return s;
}
