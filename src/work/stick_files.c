/* The files on a stick: walked, read, told apart by what is in them, removed. SPDX-License-Identifier: Apache-2.0
 *
 * A stick comes from anywhere: names, links and depth are not to be trusted. Every folder is opened from the mount downwards,
 * part by part, without following a link and without leaving the mount's file system; the same way once more to remove. */
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/input.h"
#include "base/text.h"
#include "base/whole.h"
#include "job/kind.h"
#include "work/stick_look.h"

enum { CHUNK = 64 * 1024, PATH_MOST = 4000 };

/* ---- what is in a file ---- */

/* Looks for a motion word in a line that goes on with an axis: "G1 X10". Comments don't count. Bytes may come in pieces. */
typedef struct sniffer {
    unsigned char before; /* the byte before */
    int state; /* 0 none; 1 a G; 2 its number, so far one of motion; 3 it is a motion word; 4 an axis behind it */
    bool comment, brackets, found;
} sniffer;

static bool letter(unsigned char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

static bool axis(unsigned char c)
{
    return c && strchr("XYZExyze", c);
}

static void sniff(sniffer *s, const unsigned char *bytes, size_t n)
{
    for (size_t i = 0; i < n && !s->found; i++) {
        unsigned char c = bytes[i], before = s->before;
        s->before = c;
        if (c == '\n' || c == '\r') {
            s->state = 0;
            s->comment = s->brackets = false;
        } else if (s->comment || (s->brackets && c != ')')) {
            continue;
        } else if (c == ';') {
            s->comment = true;
        } else if (c == '(' || c == ')') {
            s->brackets = c == '(';
        } else if (s->state == 0) {
            s->state = (c == 'G' || c == 'g') && !letter(before) ? 1 : 0;
        } else if (s->state == 1 && c >= '0' && c <= '3') { /* G0 to G3, with zeros before */
            s->state = c == '0' ? 1 : 2;
        } else if (s->state <= 2) {
            bool number = s->state == 2 || before == '0';
            s->state = !number ? 0 : c == ' ' || c == '\t' ? 3 : axis(c) ? 4 : 0;
        } else if (s->state == 3) {
            s->state = axis(c) ? 4 : 3;
        } else {
            s->found = (c >= '0' && c <= '9') || c == '.' || c == '-' || c == '+';
            s->state = s->found ? 4 : 3;
        }
    }
}

/* What a packed file unpacks to at its beginning. */
static bool packed_job(const unsigned char *head, size_t n)
{
    bool gzip = n > 2 && !memcmp(head, "\x1f\x8b", 2), zstd = n > 4 && !memcmp(head, "\x28\xb5\x2f\xfd", 4);
    if (!gzip && !zstd) {
        return false;
    }
    po_source source = {.data = head, .n_bytes = n};
    po_input *input = NULL;
    po_err err;
    sniffer s = {0};
    unsigned char bytes[4096];
    size_t got = 0, all = 0;
    if (po_input_open(&source, 0, false, &input, &err) == PO_OK) {
        while (all < 4u * 1024 * 1024 && !s.found && po_input_read(input, bytes, sizeof bytes, &got, &err) == PO_OK &&
               got > 0) {
            sniff(&s, bytes, got);
            all += got;
        }
    }
    po_input_close(input);
    return s.found;
}

static void hex(char out[65], const unsigned char sum[SHA256_DIGEST_SIZE])
{
    static const char digits[] = "0123456789abcdef";
    for (size_t i = 0; i < SHA256_DIGEST_SIZE; i++) {
        out[2 * i] = digits[sum[i] >> 4];
        out[2 * i + 1] = digits[sum[i] & 15];
    }
    out[64] = 0;
}

/* Read to the end, or to the size that it had: one that grows meanwhile is not read for ever. */
static void look_into(int fd, unsigned char *buffer, stick_file *f)
{
    struct sha256_ctx sha;
    unsigned char sum[SHA256_DIGEST_SIZE];
    sniffer s = {0};
    bool packed = false, first = true;
    po_file_is kind = PO_FILE_JOB;
    uint64_t left = f->bytes;
    sha256_init(&sha);
    do {
        ssize_t n = po_read_whole(fd, buffer, left < CHUNK ? (size_t)left : CHUNK);
        if (n < 0 || ((uint64_t)n < left && n < CHUNK)) {
            f->kind = STICK_UNREADABLE;
            f->why = n < 0 ? "the stick can't be read here" : "it became shorter while it was read";
            return;
        }
        if (first) {
            kind = po_file_kind(buffer, (size_t)n, f->bytes);
            packed = packed_job(buffer, (size_t)n);
            first = false;
        }
        sha256_update(&sha, (size_t)n, buffer);
        if (kind == PO_FILE_JOB && !packed) {
            sniff(&s, buffer, (size_t)n);
        }
        left -= (uint64_t)n;
    } while (left > 0);
    sha256_digest(&sha, sizeof sum, sum);
    f->kind = kind == PO_FILE_STL || kind == PO_FILE_3MF   ? STICK_PART
              : kind == PO_FILE_JOB && (packed || s.found) ? STICK_JOB
                                                           : STICK_OTHER;
    hex(f->sha256, sum);
}

/* ---- names ---- */

size_t work_stick_characters(const char *text, bool *ret_ascii)
{
    size_t n = 0;
    *ret_ascii = true;
    for (; *text; text++) {
        n += ((unsigned char)*text & 0xc0) != 0x80;
        *ret_ascii = *ret_ascii && (unsigned char)*text < 0x80;
    }
    return n;
}

/* Control characters and what is no UTF-8 as "?". */
static const char *clean(const char *name, po_arena *arena)
{
    char *copy = po_arena_text(arena, name);
    for (unsigned char *p = (unsigned char *)copy; p && *p;) {
        size_t n = po_utf8_length(p, strlen((const char *)p));
        bool control = p[0] < 0x20 || p[0] == 0x7f || (n == 2 && p[0] == 0xc2 && p[1] < 0xa0);
        if (n == 0 || control) {
            for (size_t i = 0; i < (n ? n : 1); i++) {
                p[i] = '?';
            }
        }
        p += n ? n : 1;
    }
    return copy;
}

/* ---- the walk ---- */

typedef struct walk {
    int root;
    dev_t device;
    po_arena *arena;
    uint64_t most_bytes;
    unsigned char *buffer;
    const char **folders; /* still to be looked through, paths within the mount */
    size_t n_folders, n_seen;
    stick_files *out;
    bool no_memory;
} walk;

/* A folder within the mount; -1 where it isn't one, or a link stands in its path. */
static int open_folder(int root, const char *path)
{
    int fd = dup(root);
    char part[256];
    while (fd >= 0 && *path) {
        size_t n = strcspn(path, "/");
        int next = -1;
        if (n > 0 && n < sizeof part) {
            memcpy(part, path, n);
            part[n] = 0;
            next = openat(fd, part, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
        }
        close(fd);
        fd = next;
        path += n + (path[n] == '/');
    }
    return fd;
}

static int depth_of(const char *path)
{
    int n = *path != 0;
    for (; *path; path++) {
        n += *path == '/';
    }
    return n;
}

static void add_folder(walk *w, const char *path)
{
    if (w->n_seen == STICK_MOST_FOLDERS || depth_of(path) > STICK_MOST_DEPTH) {
        w->out->more = true;
        return;
    }
    w->n_seen++;
    w->folders[w->n_folders++] = path;
}

static void add_file(walk *w, int folder, const char *path, const char *name, const struct stat *st)
{
    if (w->out->n == STICK_MOST_FILES) {
        w->out->more = true;
        return;
    }
    stick_file *f = &w->out->files[w->out->n];
    *f = (stick_file){.path = path,
                      .name = path + strlen(path) - strlen(name),
                      .bytes = (uint64_t)st->st_size,
                      .seen = *st,
                      .shown = clean(path, w->arena),
                      .shown_name = clean(name, w->arena)};
    w->no_memory |= !f->shown || !f->shown_name;
    w->out->n++;
    if (w->most_bytes && f->bytes > w->most_bytes) {
        f->kind = STICK_TOO_LARGE;
        return;
    }
    int fd = openat(folder, name, O_RDONLY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK);
    struct stat now;
    if (fd < 0 || fstat(fd, &now) != 0 || now.st_ino != st->st_ino || !S_ISREG(now.st_mode)) {
        f->kind = STICK_UNREADABLE;
        f->why = fd < 0 ? "it can't be opened" : "it was changed while it was read";
    } else {
        look_into(fd, w->buffer, f);
    }
    if (fd >= 0) {
        close(fd);
    }
}

static void look_through(walk *w, const char *path)
{
    int fd = open_folder(w->root, path);
    DIR *d = fd >= 0 ? fdopendir(fd) : NULL;
    if (!d) {
        w->out->n_unread++;
        if (fd >= 0) {
            close(fd);
        }
        return;
    }
    for (struct dirent *e; !w->no_memory && !w->out->more && (e = readdir(d));) {
        struct stat st;
        if (!strcmp(e->d_name, ".") || !strcmp(e->d_name, "..") ||
            fstatat(dirfd(d), e->d_name, &st, AT_SYMLINK_NOFOLLOW) != 0) {
            continue;
        }
        const char *below = *path ? po_arena_printf(w->arena, "%s/%s", path, e->d_name)
                                  : po_arena_text(w->arena, e->d_name);
        w->no_memory |= !below;
        if (!below || strlen(below) > PATH_MOST) {
            w->out->more = true;
        } else if (S_ISLNK(st.st_mode)) {
            w->out->n_links++;
        } else if (S_ISDIR(st.st_mode) && st.st_dev == w->device) {
            add_folder(w, below);
        } else if (S_ISREG(st.st_mode) && st.st_dev == w->device) {
            add_file(w, dirfd(d), below, e->d_name, &st);
        }
    }
    closedir(d);
}

static int by_path(const void *a, const void *b)
{
    return strcmp(((const stick_file *)a)->path, ((const stick_file *)b)->path);
}

static int open_mount(const char *mount, struct stat *ret)
{
    int fd = open(mount, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0 && fstat(fd, ret) != 0) {
        close(fd);
        fd = -1;
    }
    return fd;
}

static po_status no_folder(const char *mount, po_err *err)
{
    return po_fail(err, PO_E_NOTFOUND, "%s: no folder that can be read: %s; put the stick in and name where it shows",
                   mount, strerror(errno));
}

po_status work_stick_read(const char *mount, uint64_t most_bytes, po_arena *arena, stick_files *ret, po_err *err)
{
    struct stat st;
    *ret = (stick_files){.files = po_arena_zeros(arena, STICK_MOST_FILES, sizeof *ret->files)};
    walk w = {.arena = arena,
              .most_bytes = most_bytes,
              .buffer = malloc(CHUNK),
              .folders = po_arena_zeros(arena, STICK_MOST_FOLDERS, sizeof *w.folders),
              .out = ret};
    w.root = open_mount(mount, &st);
    po_status s = PO_OK;
    if (w.root < 0) {
        s = no_folder(mount, err);
    } else if (!w.buffer || !w.folders || !ret->files) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out");
    } else {
        w.device = st.st_dev;
        add_folder(&w, "");
        while (w.n_folders > 0 && !w.no_memory && !ret->more) {
            look_through(&w, w.folders[--w.n_folders]);
        }
        s = w.no_memory ? po_fail(err, PO_E_NOMEM, "memory ran out") : PO_OK;
        qsort(ret->files, ret->n, sizeof *ret->files, by_path);
    }
    free(w.buffer);
    if (w.root >= 0) {
        close(w.root);
    }
    return s;
}

/* ---- removing ---- */

static bool own_file_system(int fd, const struct stat *here)
{
    struct stat above;
    return fstatat(fd, "..", &above, 0) == 0 && above.st_dev != here->st_dev;
}

bool work_stick_mounted(const char *mount)
{
    struct stat here;
    int fd = open_mount(mount, &here);
    bool own = fd >= 0 && own_file_system(fd, &here);
    if (fd >= 0) {
        close(fd);
    }
    return own;
}

po_status work_stick_may_clear(const char *mount, const char *known, po_err *err)
{
    struct stat here, there;
    int fd = open_mount(mount, &here);
    if (fd < 0) {
        return no_folder(mount, err);
    }
    bool own = own_file_system(fd, &here);
    bool same = known && stat(known, &there) == 0 && there.st_dev == here.st_dev && there.st_ino == here.st_ino;
    close(fd);
    if (known && !same) {
        return po_fail(err, PO_E_CONFLICT,
                       "%s: by the shop file this machine's stick shows at %s; nothing is removed elsewhere", mount,
                       known);
    }
    return own || same ? PO_OK
                       : po_fail(err, PO_E_CONFLICT,
                                 "%s: no stick is mounted there, and nothing is removed from an ordinary folder; name "
                                 "where the stick shows, or say it in the shop file (machines, stick, mount)",
                                 mount);
}

const char *work_stick_remove(const char *mount, const stick_file *file)
{
    struct stat st;
    char folder_path[PATH_MOST + 1] = "";
    size_t n = (size_t)(file->name - file->path);
    if (n > PATH_MOST) {
        return "its path is too long";
    }
    if (n > 0) {
        memcpy(folder_path, file->path, n - 1); /* without the last slash */
        folder_path[n - 1] = 0;
    }
    int root = open_mount(mount, &st), folder = root >= 0 ? open_folder(root, folder_path) : -1;
    const char *why = NULL;
    if (folder < 0 || fstatat(folder, file->name, &st, AT_SYMLINK_NOFOLLOW) != 0) {
        why = "it is not there any more";
    } else if (!S_ISREG(st.st_mode) || st.st_dev != file->seen.st_dev || st.st_ino != file->seen.st_ino ||
               st.st_size != file->seen.st_size || st.st_mtim.tv_sec != file->seen.st_mtim.tv_sec ||
               st.st_mtim.tv_nsec != file->seen.st_mtim.tv_nsec) {
        why = "it was changed since it was looked at";
    } else if (unlinkat(folder, file->name, 0) != 0) {
        why = errno == EROFS ? "the stick may not be written to (its lock may be on)" : "the stick refused";
    }
    if (folder >= 0) {
        close(folder);
    }
    if (root >= 0) {
        close(root);
    }
    return why;
}
