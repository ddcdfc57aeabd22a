/* Files put into the folder beside the book, and read again. SPDX-License-Identifier: Apache-2.0
 *
 * A file is copied to a name of its own ("part-..."), hashed on the way, brought to the disk, and only then renamed to its
 * hash; then the folders are brought to the disk. So under a hash there is never half a file, and what a process that was
 * ended leaves behind is a part, which is cleaned up later (keepsakes_keep.c). Counting what there is and renaming happen
 * under a lock (flock on a file of the folder), and so does every removal. */
#include "ledger/keepsakes_inside.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <time.h>
#include <unistd.h>

#include "base/whole.h"
#include "ledger/store_inside.h"

enum { BLOCK = 64 * 1024, LOCK_WAIT_MS = 10000, LOCK_STEP_MS = 5, PART_TRIES = 1000 };

static po_status failed(po_err *err, const char *where, const char *doing)
{
    int e = errno;
    return e == ENOSPC || e == EDQUOT || e == EFBIG
               ? po_fail_at(err, PO_E_IO, where, 0, 0, "%s: there is no room left on the disk; make room and try again",
                            doing)
               : po_fail_at(err, PO_E_IO, where, 0, 0, "%s: %s", doing, strerror(e));
}

static bool is_hash(const char *s)
{
    return strlen(s) == 64 && strspn(s, "0123456789abcdef") == 64;
}

po_status po_vault_open(po_ledger *ledger, bool create, po_vault *ret, po_err *err)
{
    const char *book = po_store_path(ledger->asking);
    size_t room = strlen(book) + sizeof ".files";
    *ret = (po_vault){.path = malloc(room), .folder = -1, .lock = -1};
    if (!ret->path) {
        return po_fail(err, PO_E_NOMEM, "out of memory for a name");
    }
    snprintf(ret->path, room, "%s.files", book);
    /* brought to the disk by whoever finds it too: who made it may have been ended before it came to that */
    if (create && ((mkdir(ret->path, 0777) != 0 && errno != EEXIST) || !po_store_sync_folder(ret->path))) {
        return failed(err, ret->path, "the folder for files could not be made");
    }
    ret->folder = open(ret->path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (ret->folder < 0) {
        return errno == ENOENT
                   ? po_fail_at(err, PO_E_NOTFOUND, ret->path, 0, 0, "there is no folder of files beside the book")
                   : failed(err, ret->path, "the folder for files can't be opened");
    }
    return PO_OK;
}

void po_vault_close(po_vault *vault)
{
    po_vault_unlock(vault);
    if (vault->folder >= 0) {
        close(vault->folder);
    }
    free(vault->path);
    *vault = (po_vault){.folder = -1, .lock = -1};
}

po_status po_vault_lock(po_vault *vault, po_err *err)
{
    /* opened each time: threads of one process must wait for each other too */
    int lock = openat(vault->folder, "lock", O_RDWR | O_CREAT | O_NOFOLLOW | O_CLOEXEC, 0666);
    if (lock < 0) {
        return failed(err, vault->path, "the folder for files can't be locked");
    }
    for (int waited = 0; flock(lock, LOCK_EX | LOCK_NB) != 0; waited += LOCK_STEP_MS) {
        if ((errno != EWOULDBLOCK && errno != EINTR) || waited >= LOCK_WAIT_MS) {
            bool busy = errno == EWOULDBLOCK;
            po_status s = busy ? po_fail_at(err, PO_E_CONFLICT, vault->path, 0, 0,
                                            "another program has worked in the folder for files for %d s; try again",
                                            LOCK_WAIT_MS / 1000)
                               : failed(err, vault->path, "the folder for files can't be locked");
            close(lock);
            return s;
        }
        nanosleep(&(struct timespec){.tv_nsec = LOCK_STEP_MS * 1000000}, NULL);
    }
    vault->lock = lock;
    return PO_OK;
}

void po_vault_unlock(po_vault *vault)
{
    if (vault->lock >= 0) {
        close(vault->lock);
        vault->lock = -1;
    }
}

/* The folder of the first two digits; -1 with errno. */
static int open_drawer(const po_vault *vault, const char *sha256)
{
    char drawer[3] = {sha256[0], sha256[1], 0};
    return openat(vault->folder, drawer, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
}

/* drawer: the two digits that names in it begin with; NULL: the folder itself, whose drawers are then walked too */
static po_status walk(const po_vault *vault, int folder, const char *drawer, po_vault_visit *visit, void *user,
                      po_err *err)
{
    int copy = openat(folder, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC); /* a reading place of its own */
    DIR *d = copy >= 0 ? fdopendir(copy) : NULL;
    if (!d) {
        po_status s = failed(err, vault->path, "the folder for files can't be read");
        if (copy >= 0) {
            close(copy);
        }
        return s;
    }
    po_status s = PO_OK;
    struct dirent *e;
    for (errno = 0; s == PO_OK && (e = readdir(d)); errno = 0) {
        struct stat st;
        if (!strcmp(e->d_name, ".") || !strcmp(e->d_name, "..") || (!drawer && !strcmp(e->d_name, "lock"))) {
            continue;
        }
        if (fstatat(folder, e->d_name, &st, AT_SYMLINK_NOFOLLOW) != 0) {
            s = errno == ENOENT ? PO_OK : failed(err, vault->path, "the folder for files can't be read");
            continue; /* removed meanwhile */
        }
        bool is_drawer = !drawer && S_ISDIR(st.st_mode) && strlen(e->d_name) == 2 &&
                         strspn(e->d_name, "0123456789abcdef") == 2;
        if (is_drawer) {
            int inside = open_drawer(vault, e->d_name);
            s = inside >= 0       ? walk(vault, inside, e->d_name, visit, user, err)
                : errno == ENOENT ? PO_OK
                                  : failed(err, vault->path, "a folder of files can't be opened");
            if (inside >= 0) {
                close(inside);
            }
        } else {
            bool in_place = drawer && is_hash(e->d_name) && !strncmp(e->d_name, drawer, 2) && S_ISREG(st.st_mode);
            s = visit(user, in_place ? e->d_name : NULL, folder, e->d_name, &st, err);
        }
    }
    s = s == PO_OK && errno ? failed(err, vault->path, "the folder for files can't be read") : s;
    closedir(d);
    return s;
}

po_status po_vault_walk(const po_vault *vault, po_vault_visit *visit, void *user, po_err *err)
{
    return walk(vault, vault->folder, NULL, visit, user, err);
}

po_status po_vault_find(const po_vault *vault, const char *sha256, int *ret_file, int64_t *ret_bytes, po_err *err)
{
    if (!is_hash(sha256)) {
        return po_fail_at(err, PO_E_RANGE, "sha256", 0, 0, "the name of a kept file is 64 hex digits");
    }
    int drawer = vault->folder >= 0 ? open_drawer(vault, sha256) : -1, file = -1;
    int e = vault->folder >= 0 ? errno : ENOENT; /* no folder at all */
    if (drawer >= 0) {
        file = openat(drawer, sha256, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
        e = errno;
        close(drawer);
    }
    struct stat st;
    if (file >= 0 && fstat(file, &st) == 0 && S_ISREG(st.st_mode)) {
        *ret_file = file;
        *ret_bytes = st.st_size;
        return PO_OK;
    }
    if (file >= 0 || e == ELOOP || e == ENOTDIR) {
        if (file >= 0) {
            close(file);
        }
        return po_fail_at(err, PO_E_SYNTAX, vault->path, 0, 0,
                          "%.12s... is not a plain file there; bring the file back from a backup", sha256);
    }
    errno = e;
    return e == ENOENT ? po_fail_at(err, PO_E_NOTFOUND, vault->path, 0, 0,
                                    "the file %.12s... is not there; bring it back from a backup", sha256)
                       : failed(err, vault->path, "a kept file can't be opened");
}

/* All bytes to `to`, and their hash. */
static po_status pour(int file, const char *what, char ret_sha256[65], po_pour_to *to, void *user, po_err *err)
{
    unsigned char *block = malloc(BLOCK), digest[PO_HASH];
    if (!block) {
        return po_fail(err, PO_E_NOMEM, "out of memory for a file's bytes");
    }
    struct sha256_ctx sha;
    sha256_init(&sha);
    po_status s = PO_OK;
    ssize_t n = 1;
    while (s == PO_OK && (n = po_read_whole(file, block, BLOCK)) > 0) {
        sha256_update(&sha, (size_t)n, block);
        s = to ? to(user, block, (size_t)n, err) : PO_OK;
    }
    if (s == PO_OK && n < 0) {
        s = po_fail_at(err, PO_E_IO, what, 0, 0, "the file can't be read: %s", strerror(errno));
    }
    sha256_digest(&sha, PO_HASH, digest);
    po_hex(ret_sha256, digest);
    free(block);
    return s;
}

po_status po_vault_pour(int file, const char *sha256, po_pour_to *to, void *user, po_err *err)
{
    char is[65];
    po_status s = pour(file, "kept file", is, to, user, err);
    return s == PO_OK && strcmp(is, sha256) != 0
               ? po_fail_at(err, PO_E_SYNTAX, "kept file", 0, 0,
                            "%.12s... is damaged: its bytes are not those that were put there; bring it back from a "
                            "backup",
                            sha256)
               : s;
}

/* A file that is on its way into the folder. */
typedef struct part {
    const char *what; /* whence, for sentences */
    const char *vault;
    int file;
    char name[48];
    int64_t bytes, most; /* most 0: no limit */
} part;

static po_status too_long(const part *p, int64_t bytes, po_err *err)
{
    return po_fail_at(
        err, PO_E_LIMIT, p->what, 0, 0,
        "the file has %s%lld bytes, and at most %lld are kept of one; make it smaller, or raise the limit",
        bytes ? "" : "more than ", (long long)(bytes ? bytes : p->most), (long long)p->most);
}

static po_status write_part(void *user, const void *bytes, size_t n, po_err *err)
{
    part *p = user;
    if (p->most > 0 && p->bytes + (int64_t)n > p->most) {
        return too_long(p, 0, err);
    }
    p->bytes += (int64_t)n;
    return po_write_whole(p->file, bytes, n) ? PO_OK : failed(err, p->vault, "the file could not be kept");
}

static po_status new_part(const po_vault *vault, part *p, po_err *err)
{
    for (int i = 0; i < PART_TRIES; i++) { /* others of this process, or left by an ended one of the same number */
        snprintf(p->name, sizeof p->name, "part-%ld-%d", (long)getpid(), i);
        p->file = openat(vault->folder, p->name, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
        if (p->file >= 0 || errno != EEXIST) {
            break;
        }
    }
    return p->file >= 0 ? PO_OK : failed(err, vault->path, "a file could not be begun");
}

static po_status add_size(void *user, const char *sha256, int folder, const char *name, const struct stat *st,
                          po_err *err)
{
    (void)sha256, (void)folder, (void)name, (void)err;
    *(int64_t *)user += S_ISREG(st->st_mode) ? st->st_size : 0; /* parts count: they are room that is taken */
    return PO_OK;
}

static po_status room_for(const po_vault *vault, const part *p, const po_keepsake *k, int64_t most, po_err *err)
{
    int64_t all = 0, same = 0;
    int file = -1;
    if (po_vault_find(vault, k->sha256, &file, &same, NULL) == PO_OK) { /* it takes the place of the same content */
        close(file);
    }
    po_status s = po_vault_walk(vault, add_size, &all, err); /* with this part */
    return s == PO_OK && all - same > most
               ? po_fail_at(err, PO_E_LIMIT, p->what, 0, 0,
                            "the file has %lld bytes and the folder would hold %lld, more than its limit of %lld; "
                            "detach and tidy away what is no longer needed, or raise the limit",
                            (long long)k->bytes, (long long)(all - same), (long long)most)
               : s;
}

/* Under the lock: the part becomes a kept file. */
static po_status give_hash(const po_vault *vault, const part *p, const po_keepsake *k, po_err *err)
{
    char name[3] = {k->sha256[0], k->sha256[1], 0};
    static const char doing[] = "the file could not be kept";
    if (mkdirat(vault->folder, name, 0777) != 0 && errno != EEXIST) {
        return failed(err, vault->path, doing);
    }
    int drawer = open_drawer(vault, k->sha256);
    if (drawer < 0) {
        return failed(err, vault->path, doing);
    }
    /* the folder too, whoever made the drawer: the other may have been ended before it came to that */
    bool done = fsync(vault->folder) == 0 && renameat(vault->folder, p->name, drawer, k->sha256) == 0 &&
                fsync(drawer) == 0;
    po_status s = done ? PO_OK : failed(err, vault->path, doing);
    close(drawer);
    return s;
}

/* The bytes are in the part; on the disk with it, and to its place. */
static po_status finish(po_vault *vault, part *p, const po_keepsake *k, const po_keepsake_limits *limits, po_err *err)
{
    if (k->bytes == 0) {
        return po_fail_at(err, PO_E_EMPTY, p->what, 0, 0, "the file is empty, so there is nothing to keep");
    }
    bool done = fsync(p->file) == 0;
    po_status s = done ? po_vault_lock(vault, err) : failed(err, vault->path, "the file could not be kept");
    if (s == PO_OK && limits && limits->all_most_bytes > 0) {
        s = room_for(vault, p, k, limits->all_most_bytes, err);
    }
    s = s == PO_OK ? give_hash(vault, p, k, err) : s;
    po_vault_unlock(vault);
    return s;
}

/* From a descriptor, or (from -1) from memory. */
static po_status put(po_vault *vault, int from, const void *bytes, size_t n, const char *what, const char *want,
                     const po_keepsake_limits *limits, po_keepsake *ret, po_err *err)
{
    part p = {.what = what, .vault = vault->path, .file = -1, .most = limits ? limits->one_most_bytes : 0};
    po_keepsake k = {0};
    po_status s = new_part(vault, &p, err);
    if (s == PO_OK && from >= 0) {
        s = pour(from, what, k.sha256, write_part, &p, err);
    } else if (s == PO_OK) {
        unsigned char digest[PO_HASH];
        struct sha256_ctx sha;
        sha256_init(&sha);
        sha256_update(&sha, n, bytes);
        sha256_digest(&sha, PO_HASH, digest);
        po_hex(k.sha256, digest);
        s = write_part(&p, bytes, n, err);
    }
    k.bytes = p.bytes;
    if (s == PO_OK && want && strcmp(want, k.sha256) != 0) {
        s = po_fail_at(err, PO_E_SYNTAX, what, 0, 0, "%.12s... is damaged: its bytes are not those that were put there",
                       want);
    }
    s = s == PO_OK ? finish(vault, &p, &k, limits, err) : s;
    if (p.file >= 0) {
        if (s != PO_OK) {
            unlinkat(vault->folder, p.name, 0);
        }
        close(p.file);
    }
    if (s == PO_OK) {
        *ret = k;
    }
    return s;
}

po_status po_vault_put(po_vault *vault, int from, const char *what, const char *want, const po_keepsake_limits *limits,
                       po_keepsake *ret, po_err *err)
{
    return put(vault, from, NULL, 0, what, want, limits, ret, err);
}

po_status po_keepsake_put(po_ledger *ledger, const char *path, const po_keepsake_limits *limits, po_keepsake *ret,
                          po_err *err)
{
    struct stat st;
    int from = open(path, O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC); /* a pipe must not hold everything up */
    if (from < 0) {
        return po_fail_at(err, errno == ENOENT ? PO_E_NOTFOUND : PO_E_IO, path, 0, 0, "the file can't be opened: %s",
                          strerror(errno));
    }
    part p = {.what = path, .most = limits ? limits->one_most_bytes : 0};
    po_vault vault = {.folder = -1, .lock = -1};
    po_status s = fstat(from, &st) != 0 || !S_ISREG(st.st_mode)
                      ? po_fail_at(err, PO_E_RANGE, path, 0, 0, "this is not a plain file; name one")
                  : p.most > 0 && st.st_size > p.most ? too_long(&p, st.st_size, err)
                                                      : po_vault_open(ledger, true, &vault, err);
    s = s == PO_OK ? put(&vault, from, NULL, 0, path, NULL, limits, ret, err) : s;
    po_vault_close(&vault);
    close(from);
    return s;
}

po_status po_keepsake_put_bytes(po_ledger *ledger, const void *bytes, size_t n, const po_keepsake_limits *limits,
                                po_keepsake *ret, po_err *err)
{
    po_vault vault = {.folder = -1, .lock = -1};
    po_status s = n > INT64_MAX / 2 ? po_fail(err, PO_E_LIMIT, "more bytes than any file has")
                                    : po_vault_open(ledger, true, &vault, err);
    s = s == PO_OK ? put(&vault, -1, bytes, n, "file", NULL, limits, ret, err) : s;
    po_vault_close(&vault);
    return s;
}

static po_status write_out(void *user, const void *bytes, size_t n, po_err *err)
{
    part *p = user;
    return po_write_whole(p->file, bytes, n) ? PO_OK : failed(err, p->what, "the copy could not be written");
}

po_status po_keepsake_copy_out(po_ledger *ledger, const char *sha256, const char *to, po_err *err)
{
    if (access(to, F_OK) == 0) {
        return po_fail_at(err, PO_E_CONFLICT, to, 0, 0, "there is a file of this name already; name another");
    }
    po_vault vault;
    int file = -1;
    int64_t bytes = 0;
    size_t room = strlen(to) + 48;
    char *beside = malloc(room);
    po_status s = po_vault_open(ledger, false, &vault, err);
    s = s == PO_OK ? po_vault_find(&vault, sha256, &file, &bytes, err) : s;
    if (s == PO_OK && !beside) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for a name");
    }
    part p = {.what = to, .file = -1};
    if (s == PO_OK) {
        snprintf(beside, room, "%s.copying-%ld-%lx", to, (long)getpid(), (unsigned long)(uintptr_t)beside);
        p.file = open(beside, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
        s = p.file >= 0 ? po_vault_pour(file, sha256, write_out, &p, err)
                        : failed(err, to, "the copy could not be written");
        if (p.file >= 0 && close(p.file) != 0 && s == PO_OK) {
            s = failed(err, to, "the copy could not be written");
        }
        s = s == PO_OK ? po_store_give_name(beside, to, err) : s;
        if (p.file >= 0) {
            unlink(beside);
        }
    }
    if (file >= 0) {
        close(file);
    }
    free(beside);
    po_vault_close(&vault);
    return s;
}

/* Where bytes go in memory. */
typedef struct room {
    unsigned char *at;
    size_t left;
} room;

static po_status write_room(void *user, const void *bytes, size_t n, po_err *err)
{
    room *r = user;
    if (n > r->left) {
        return po_fail_at(err, PO_E_SYNTAX, "kept file", 0, 0, "the file is growing while it is read; try again");
    }
    memcpy(r->at, bytes, n);
    r->at += n;
    r->left -= n;
    return PO_OK;
}

po_status po_keepsake_read(po_ledger *ledger, const char *sha256, int64_t most_bytes, po_arena *arena, const void **ret,
                           size_t *ret_n, po_err *err)
{
    po_vault vault;
    int file = -1;
    int64_t bytes = 0;
    po_status s = po_vault_open(ledger, false, &vault, err);
    s = s == PO_OK ? po_vault_find(&vault, sha256, &file, &bytes, err) : s;
    if (s == PO_OK && bytes > most_bytes) {
        s = po_fail_at(err, PO_E_LIMIT, "kept file", 0, 0,
                       "the file has %lld bytes, more than the %lld there is room for", (long long)bytes,
                       (long long)most_bytes);
    }
    if (s == PO_OK) {
        void *all = po_arena_zeros(arena, (size_t)bytes + 1, 1);
        room r = {all, (size_t)bytes};
        s = all ? po_vault_pour(file, sha256, write_room, &r, err)
                : po_fail(err, PO_E_NOMEM, "out of memory for a file of %lld bytes", (long long)bytes);
        if (s == PO_OK) {
            *ret = all;
            *ret_n = (size_t)bytes;
        }
    }
    if (file >= 0) {
        close(file);
    }
    po_vault_close(&vault);
    return s;
}
