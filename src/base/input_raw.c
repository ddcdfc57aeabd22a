/* The bytes as given: a file, a pipe or memory. SPDX-License-Identifier: Apache-2.0
 *
 * Regular files are read with pread, so that standard input that is a file keeps its offset. A pipe is waited for
 * together with an eventfd, so that a reader that is no longer wanted can be told so. The hash (FIPS 180-4, by nettle,
 * which uses the processor's own SHA instructions) goes along with the first reading of each byte, whatever is read
 * again. What it does not do: it knows nothing of packing. */
#include "base/input_raw.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

static po_status fail_system(const po_raw *raw, po_err *err, po_status code, const char *what)
{
    char buf[96];
    return po_fail_at(err, code, raw->name, 0, 0, "%s: %s", what, strerror_r(errno, buf, sizeof buf));
}

po_status po_raw_open(const po_source *source, bool hash, po_raw *ret, po_err *err)
{
    memset(ret, 0, sizeof *ret);
    ret->fd = ret->keep_fd = ret->wake_fd = -1;
    ret->hash = hash;
    sha256_init(&ret->sha);
    if (!source->path) {
        /* An empty memory source may come without an address. */
        ret->memory = source->data ? source->data : (const void *)"";
        ret->total = source->data ? source->n_bytes : 0;
        return PO_OK;
    }
    if (strcmp(source->path, "-") == 0) {
        snprintf(ret->name, sizeof ret->name, "standard input");
        ret->fd = STDIN_FILENO;
    } else {
        snprintf(ret->name, sizeof ret->name, "%s", source->path);
        ret->fd = open(source->path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
        if (ret->fd < 0) {
            return fail_system(ret, err, errno == ENOENT || errno == ENOTDIR ? PO_E_NOTFOUND : PO_E_IO, "can't open");
        }
        ret->own_fd = true;
    }
    if (fstat(ret->fd, &ret->as_opened) != 0) {
        return fail_system(ret, err, PO_E_IO, "can't read");
    }
    if (S_ISDIR(ret->as_opened.st_mode)) {
        return po_fail_at(err, PO_E_IO, ret->name, 0, 0, "is a folder; a file was wanted");
    }
    if (S_ISREG(ret->as_opened.st_mode)) {
        ret->regular = true;
        off_t at = ret->own_fd ? 0 : lseek(ret->fd, 0, SEEK_CUR);
        ret->base = at > 0 ? (uint64_t)at : 0;
        uint64_t size = (uint64_t)ret->as_opened.st_size;
        ret->total = size > ret->base ? size - ret->base : 0;
    } else {
        ret->wake_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
        if (ret->wake_fd < 0) {
            return fail_system(ret, err, PO_E_IO, "can't wait for the bytes");
        }
    }
    return PO_OK;
}

void po_raw_close(po_raw *raw)
{
    if (raw->own_fd && raw->fd >= 0) {
        close(raw->fd);
    }
    if (raw->keep_fd >= 0) {
        close(raw->keep_fd);
    }
    if (raw->wake_fd >= 0) {
        close(raw->wake_fd);
    }
    raw->fd = raw->keep_fd = raw->wake_fd = -1;
}

void po_raw_wake(po_raw *raw)
{
    if (raw->wake_fd >= 0) {
        uint64_t one = 1;
        ssize_t n = write(raw->wake_fd, &one, sizeof one);
        (void)n; /* can only fail when it is set already */
    }
}

void po_raw_woken(po_raw *raw)
{
    if (raw->wake_fd >= 0) {
        uint64_t count;
        ssize_t n = read(raw->wake_fd, &count, sizeof count);
        (void)n; /* does not block; nothing to forget is fine */
    }
}

/* A file that has no name, in the folder for temporary files. */
static int open_unlinked(void)
{
    const char *dir = getenv("TMPDIR");
    if (!dir || !*dir) {
        dir = "/tmp";
    }
    int fd = open(dir, O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    if (fd < 0) { /* not every file system has O_TMPFILE */
        char path[4096];
        int n = snprintf(path, sizeof path, "%s/proveout-XXXXXX", dir);
        if (n < 0 || (size_t)n >= sizeof path) {
            errno = ENAMETOOLONG;
            return -1;
        }
        fd = mkostemp(path, O_CLOEXEC);
        if (fd >= 0) {
            unlink(path);
        }
    }
    return fd;
}

static po_status keep(po_raw *raw, const unsigned char *buf, size_t n, po_err *err)
{
    if (raw->keep_fd < 0) {
        raw->keep_fd = open_unlinked();
        if (raw->keep_fd < 0) {
            return fail_system(raw, err, PO_E_IO, "can't make a temporary file to keep the bytes");
        }
    }
    while (n) {
        ssize_t wrote = pwrite(raw->keep_fd, buf, n, (off_t)raw->kept);
        if (wrote < 0 && errno == EINTR) {
            continue;
        }
        if (wrote <= 0) {
            errno = wrote == 0 ? ENOSPC : errno;
            return fail_system(raw, err, PO_E_IO, "can't keep the bytes in a temporary file");
        }
        buf += wrote;
        n -= (size_t)wrote;
        raw->kept += (uint64_t)wrote;
    }
    return PO_OK;
}

static po_status wait_for_pipe(po_raw *raw, bool *ret_woken, po_err *err)
{
    struct pollfd wait[2] = {{.fd = raw->fd, .events = POLLIN}, {.fd = raw->wake_fd, .events = POLLIN}};
    while (poll(wait, 2, -1) < 0) {
        if (errno != EINTR) {
            return fail_system(raw, err, PO_E_IO, "can't read");
        }
    }
    *ret_woken = wait[1].revents != 0;
    return PO_OK;
}

/* Bytes that were never read before, from a pipe. */
static po_status read_pipe(po_raw *raw, void *buf, size_t cap, size_t *ret_n, bool *ret_woken, po_err *err)
{
    while (!raw->pipe_ended) { /* until there are bytes: a pipe that does not block may have none after all */
        po_status s = wait_for_pipe(raw, ret_woken, err);
        if (s != PO_OK || *ret_woken) {
            return s;
        }
        ssize_t got = read(raw->fd, buf, cap);
        if (got < 0 && (errno == EINTR || errno == EAGAIN)) {
            continue;
        }
        if (got < 0) {
            return fail_system(raw, err, PO_E_IO, "can't read");
        }
        raw->pipe_ended = got == 0;
        raw->piped += (uint64_t)got;
        *ret_n = (size_t)got;
        return raw->keep ? keep(raw, buf, (size_t)got, err) : PO_OK;
    }
    return PO_OK;
}

static po_status read_file(const po_raw *raw, int fd, uint64_t at, void *buf, size_t cap, size_t *ret_n, po_err *err)
{
    ssize_t got;
    do {
        got = pread(fd, buf, cap, (off_t)at);
    } while (got < 0 && errno == EINTR);
    if (got < 0) {
        return fail_system(raw, err, PO_E_IO, "can't read");
    }
    *ret_n = (size_t)got;
    return PO_OK;
}

po_status po_raw_read(po_raw *raw, void *buf, size_t cap, size_t *ret_n, bool *ret_woken, po_err *err)
{
    uint64_t at = raw->done;
    size_t n = 0;
    po_status s = PO_OK;
    *ret_n = 0;
    *ret_woken = false;
    if (raw->memory) {
        n = raw->total - at < cap ? (size_t)(raw->total - at) : cap;
        if (n) {
            memcpy(buf, raw->memory + at, n);
        }
    } else if (raw->regular) {
        s = read_file(raw, raw->fd, raw->base + at, buf, cap, &n, err);
    } else if (at < raw->kept) {
        s = read_file(raw, raw->keep_fd, at, buf, raw->kept - at < cap ? (size_t)(raw->kept - at) : cap, &n, err);
    } else {
        s = read_pipe(raw, buf, cap, &n, ret_woken, err);
    }
    if (s != PO_OK) {
        return s;
    }
    if (raw->hash && at + n > raw->hashed) {
        size_t seen = (size_t)(raw->hashed - at); /* hashed >= at: no byte is skipped */
        sha256_update(&raw->sha, n - seen, (const unsigned char *)buf + seen);
        raw->hashed = at + n;
    }
    raw->done = at + n;
    *ret_n = n;
    return PO_OK;
}

po_status po_raw_again(po_raw *raw, po_err *err)
{
    if (raw->regular) {
        struct stat now;
        if (fstat(raw->fd, &now) != 0) {
            return fail_system(raw, err, PO_E_IO, "can't read again");
        }
        if (now.st_size != raw->as_opened.st_size || now.st_mtim.tv_sec != raw->as_opened.st_mtim.tv_sec ||
            now.st_mtim.tv_nsec != raw->as_opened.st_mtim.tv_nsec) {
            return po_fail_at(err, PO_E_IO, raw->name, 0, 0, "the file changed while it was read");
        }
    } else if (!raw->memory && raw->kept != raw->piped) {
        return po_fail_at(err, PO_E_UNSUPPORTED, raw->name, 0, 0, "can't be read twice and was not kept");
    }
    raw->done = 0;
    return PO_OK;
}
