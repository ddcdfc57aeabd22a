/* Files that were sent to be proved (files.h). SPDX-License-Identifier: Apache-2.0 */
#include "desk/files.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include "base/text.h"

enum { LISTED_MOST = 100000 };
#define SPARE_BYTES (UINT64_C(256) << 20) /* left free on the disk for others */
#define DAY_S INT64_C(86400)

const char *desk_kind_word(desk_kind kind)
{
    static const char *const words[] = {"job", "part", "neither"};
    return words[kind];
}

/* ---- the folder ---- */

static bool is_hash(const char *s)
{
    return strlen(s) == 64 && strspn(s, "0123456789abcdef") == 64;
}

/* What was being received when a server ended without an end. */
static void clear_leftovers(int folder)
{
    int copy = dup(folder);
    DIR *dir = copy >= 0 ? fdopendir(copy) : NULL;
    if (!dir) {
        if (copy >= 0) {
            close(copy);
        }
        return;
    }
    rewinddir(dir);
    for (struct dirent *e; (e = readdir(dir));) {
        bool note = strncmp(e->d_name, "note-", 5) == 0;
        if (strncmp(e->d_name, "in-", 3) != 0 && !note) {
            continue;
        }
        int fd = openat(folder, e->d_name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
        if (fd >= 0 && flock(fd, LOCK_EX | LOCK_NB) == 0) {
            unlinkat(folder, e->d_name, 0);
        }
        if (fd >= 0) {
            close(fd);
        }
    }
    closedir(dir);
}

po_status desk_files_open(po_desk *desk, po_err *err)
{
    const char *path = desk->options.folder;
    struct stat st;
    desk->folder = -1;
    if (!path || !*path) {
        return po_fail_at(err, PO_E_RANGE, "spool-folder", 0, 0, "a folder for files to be proved is wanted");
    }
    if (mkdir(path, 0700) != 0 && errno != EEXIST) {
        return po_fail_at(err, PO_E_IO, "spool-folder", 0, 0, "%.150s can't be made: %s", path, strerror(errno));
    }
    desk->folder = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (desk->folder < 0 || fstat(desk->folder, &st) != 0) {
        return po_fail_at(err, PO_E_IO, "spool-folder", 0, 0, "%.150s can't be opened: %s", path, strerror(errno));
    }
    if (st.st_uid != geteuid() || ((st.st_mode & 077) != 0 && fchmod(desk->folder, 0700) != 0)) {
        return po_fail_at(err, PO_E_CONFLICT, "spool-folder", 0, 0,
                          "%.150s belongs to somebody else; name a folder of whoever runs the server", path);
    }
    clear_leftovers(desk->folder);
    desk_files_tidy(desk, 0);
    return PO_OK;
}

void desk_files_close(po_desk *desk)
{
    if (desk->folder >= 0 && desk->options.folder) {
        close(desk->folder);
    }
    desk->folder = -1;
}

/* ---- small files ---- */

json_t *desk_note_read(po_desk *desk, const char *name)
{
    int fd = openat(desk->folder, name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    if (fd < 0) {
        return NULL;
    }
    json_t *o = json_loadfd(fd, JSON_REJECT_DUPLICATES, NULL);
    close(fd);
    if (o && !json_is_object(o)) {
        json_decref(o);
        o = NULL;
    }
    return o;
}

bool desk_note_write(po_desk *desk, const char *name, const json_t *object)
{
    char word[DESK_WORD], aside[DESK_WORD + 8];
    desk_word_new(desk, word);
    snprintf(aside, sizeof aside, "note-%.16s", word);
    int fd = openat(desk->folder, aside, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0) {
        return false;
    }
    flock(fd, LOCK_EX | LOCK_NB);
    bool done = json_dumpfd(object, fd, JSON_COMPACT) == 0 && fdatasync(fd) == 0 &&
                renameat(desk->folder, aside, desk->folder, name) == 0;
    if (!done) {
        unlinkat(desk->folder, aside, 0);
    }
    close(fd);
    return done;
}

/* ---- what is kept ---- */

static void note_name(const char *sha256, char ret[80])
{
    snprintf(ret, 80, "%.64s.json", sha256);
}

bool desk_file_look(po_desk *desk, const char *sha256, desk_file *ret)
{
    char note[80];
    struct stat st;
    if (!is_hash(sha256) || fstatat(desk->folder, sha256, &st, AT_SYMLINK_NOFOLLOW) != 0 || !S_ISREG(st.st_mode)) {
        return false;
    }
    note_name(sha256, note);
    json_t *o = desk_note_read(desk, note);
    const char *name = json_string_value(json_object_get(o, "name")),
               *kind = json_string_value(json_object_get(o, "kind"));
    desk_file file = {.kind = DESK_NEITHER, .bytes = (uint64_t)st.st_size};
    memcpy(file.sha256, sha256, 65); /* which may stand in ret */
    *ret = file;
    snprintf(ret->name, sizeof ret->name, "%s", name ? name : "");
    for (int k = 0; kind && k <= DESK_NEITHER; k++) {
        ret->kind = strcmp(kind, desk_kind_word((desk_kind)k)) == 0 ? (desk_kind)k : ret->kind;
    }
    bool whole = o && kind && name;
    json_decref(o);
    return whole;
}

bool desk_file_get(po_desk *desk, const char *sha256, desk_file *ret)
{
    char note[80];
    if (!desk_file_look(desk, sha256, ret)) {
        return false;
    }
    note_name(ret->sha256, note);
    utimensat(desk->folder, note, NULL, 0);
    return true;
}

const char *desk_file_path(po_desk *desk, const char *sha256, po_arena *arena)
{
    return is_hash(sha256) ? po_arena_printf(arena, "%s/%s", desk->options.folder, sha256) : NULL;
}

void desk_file_drop(po_desk *desk, const char *sha256)
{
    char note[80];
    if (is_hash(sha256)) {
        note_name(sha256, note);
        unlinkat(desk->folder, sha256, 0);
        unlinkat(desk->folder, note, 0);
    }
}

typedef struct kept {
    char sha256[65];
    uint64_t bytes;
    int64_t used_ms;
} kept;

static int64_t ms_of(const struct timespec *t)
{
    return (int64_t)t->tv_sec * 1000 + t->tv_nsec / 1000000;
}

static int by_use(const void *a, const void *b)
{
    int64_t x = ((const kept *)a)->used_ms, y = ((const kept *)b)->used_ms;
    return x < y ? -1 : x > y;
}

/* All files with their last use; the caller frees. */
static kept *list_kept(po_desk *desk, size_t *ret_n)
{
    int copy = openat(desk->folder, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *dir = copy >= 0 ? fdopendir(copy) : NULL;
    kept *list = NULL;
    size_t n = 0, cap = 0;
    *ret_n = 0;
    if (!dir) {
        if (copy >= 0) {
            close(copy);
        }
        return NULL;
    }
    for (struct dirent *e; n < LISTED_MOST && (e = readdir(dir));) {
        struct stat bytes, note;
        char name[80];
        if (!is_hash(e->d_name) || fstatat(desk->folder, e->d_name, &bytes, AT_SYMLINK_NOFOLLOW) != 0) {
            continue;
        }
        if (n == cap) {
            kept *more = realloc(list, (cap = cap * 2 + 64) * sizeof *list);
            if (!more) {
                break;
            }
            list = more;
        }
        note_name(e->d_name, name);
        bool noted = fstatat(desk->folder, name, &note, AT_SYMLINK_NOFOLLOW) == 0;
        const struct timespec *used = noted ? &note.st_mtim : &bytes.st_mtim;
        list[n] = (kept){.bytes = (uint64_t)bytes.st_size, .used_ms = ms_of(used)};
        memcpy(list[n++].sha256, e->d_name, 65);
    }
    closedir(dir);
    *ret_n = n;
    return list;
}

static uint64_t free_bytes(po_desk *desk)
{
    struct statvfs v;
    return fstatvfs(desk->folder, &v) == 0 ? (uint64_t)v.f_bavail * v.f_frsize : 0;
}

bool desk_files_tidy(po_desk *desk, uint64_t room)
{
    const po_rules *rules = &desk->options.shop->rules;
    uint64_t most = desk->options.shop->keep_files_bytes, total = 0, left = free_bytes(desk);
    int64_t oldest = ((int64_t)time(NULL) - rules->keep_files_days * DAY_S) * 1000;
    size_t n;
    kept *list = list_kept(desk, &n);
    for (size_t i = 0; i < n; i++) {
        total += list[i].bytes;
    }
    if (n > 1) {
        qsort(list, n, sizeof *list, by_use);
    }
    for (size_t i = 0; i < n; i++) {
        bool old = oldest > list[i].used_ms;
        bool much = total + room > most || left < room + SPARE_BYTES;
        if (!old && !much) {
            break;
        }
        if (!desk_proofs_use(desk, list[i].sha256)) { /* what waits to be proved stays */
            desk_file_drop(desk, list[i].sha256);
            total -= list[i].bytes;
            left += list[i].bytes;
        }
    }
    free(list);
    return total + room <= most && left >= room + SPARE_BYTES;
}
