/* The bytes as given: a file, a pipe or memory, hashed on their first way through. SPDX-License-Identifier: Apache-2.0
 * Used by input.c and input_unpack.c only. */
#ifndef PO_BASE_INPUT_RAW_H
#define PO_BASE_INPUT_RAW_H

#include <nettle/sha2.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>
#include <sys/stat.h>

#include "proveout/job.h"

/* One thread at a time uses it; only `done` may be looked at from another. Bytes from `hashed` on have not been seen
 * before; bytes below `kept` lie in the temporary file. A pipe can be read again only while kept == piped. */
typedef struct po_raw {
    const unsigned char *memory; /* NULL: a descriptor */
    int fd, keep_fd, wake_fd;    /* -1 = none; wake_fd: an eventfd that breaks a wait for a pipe */
    bool own_fd, regular, keep, hash;
    bool pipe_ended;              /* a terminal would give more if it were asked again */
    struct stat as_opened;        /* regular files: to see that they did not change between two readings */
    uint64_t base;                /* regular standard input may stand past its start */
    uint64_t total;               /* 0 = not known beforehand */
    _Atomic uint64_t done;        /* offset of the next byte */
    uint64_t hashed, kept, piped; /* piped: taken from the pipe so far */
    struct sha256_ctx sha;
    char name[128]; /* for errors: the path, "standard input", or "" for memory */
} po_raw;

po_status po_raw_open(const po_source *source, bool hash, po_raw *ret, po_err *err) PO_MUST_USE;
void po_raw_close(po_raw *raw); /* accepts one that failed to open */

/* At most cap bytes, at least one; 0 = the end (or: po_raw_wake was called while it waited for a pipe, which sets
 * *ret_woken). Errors: PO_E_IO. */
po_status po_raw_read(po_raw *raw, void *buf, size_t cap, size_t *ret_n, bool *ret_woken, po_err *err) PO_MUST_USE;
/* From another thread: let a po_raw_read that waits for a pipe return. */
void po_raw_wake(po_raw *raw);
/* Once that thread is gone: wait for pipes again. */
void po_raw_woken(po_raw *raw);
/* Back to the first byte. PO_E_UNSUPPORTED for a pipe that was not kept, PO_E_IO for a file that has changed. */
po_status po_raw_again(po_raw *raw, po_err *err) PO_MUST_USE;

#endif
