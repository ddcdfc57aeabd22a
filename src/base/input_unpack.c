/* Raw bytes to unpacked ones, by content. SPDX-License-Identifier: Apache-2.0
 *
 * gzip (RFC 1952, by zlib): any number of members one after another; zero bytes after the last one are padding, as
 * gzip(1) takes them; anything else there is an error. zstd (RFC 8878, by libzstd): any number of frames, skippable
 * ones included; a frame that wants a window above 128 MB is refused. Everything else is plain. Memory is a block of raw
 * bytes and the library's window, whatever the file says. What it does not do: cap the unpacked size (input.c does). */
#include "base/input_unpack.h"

#include <stdlib.h>
#include <string.h>
#include <zlib.h>
#include <zstd.h>
#include <zstd_errors.h>

enum { RAW_BLOCK = 128 * 1024 };
enum { WINDOW_LOG_MOST = 27 }; /* 128 MB: what the highest ordinary levels need (RFC 8878 asks readers for 8 MB) */

typedef enum kind { UNKNOWN, PLAIN, GZIP, ZSTD } kind;

struct po_unpacker {
    po_raw *raw;
    uint64_t most_raw;
    kind kind;
    bool raw_ended;
    bool open;    /* in a gzip member or zstd frame */
    bool padding; /* only zero bytes may follow */
    bool z_made;
    z_stream z;
    ZSTD_DStream *zstd;
    uint64_t base; /* offset of in[0] in the raw bytes */
    size_t at, n;  /* in[at..n) is not used yet */
    unsigned char in[RAW_BLOCK];
};

po_unpacker *po_unpacker_new(po_raw *raw, uint64_t most_raw)
{
    po_unpacker *u = malloc(sizeof *u);
    if (u) {
        memset(u, 0, offsetof(po_unpacker, in));
        u->raw = raw;
        u->most_raw = most_raw;
    }
    return u;
}

void po_unpacker_free(po_unpacker *u)
{
    if (!u) {
        return;
    }
    if (u->z_made) {
        inflateEnd(&u->z);
    }
    ZSTD_freeDStream(u->zstd);
    free(u);
}

void po_unpacker_again(po_unpacker *u)
{
    u->kind = UNKNOWN;
    u->raw_ended = u->open = u->padding = false;
    u->base = 0;
    u->at = u->n = 0;
}

static po_status fail_at_byte(const po_unpacker *u, po_err *err, po_status code, uint64_t byte, const char *what,
                              const char *detail)
{
    po_fail_at(err, code, u->raw->name, 0, 0, "%s%s%s (byte %llu of the packed file)", what, detail ? ": " : "",
               detail ? detail : "", (unsigned long long)byte);
    if (err) {
        err->byte = byte;
    }
    return code;
}

/* Read until `want` unused bytes are there, or the end. want <= RAW_BLOCK. */
static po_status fill(po_unpacker *u, size_t want, bool *ret_woken, po_err *err)
{
    *ret_woken = false;
    if (u->n - u->at >= want || u->raw_ended) {
        return PO_OK;
    }
    memmove(u->in, u->in + u->at, u->n - u->at);
    u->base += u->at;
    u->n -= u->at;
    u->at = 0;
    while (u->n < want && !u->raw_ended) {
        size_t n = 0;
        po_status s = po_raw_read(u->raw, u->in + u->n, RAW_BLOCK - u->n, &n, ret_woken, err);
        if (s != PO_OK || *ret_woken) {
            return s;
        }
        u->raw_ended = n == 0;
        u->n += n;
    }
    if (u->kind != UNKNOWN && u->base + u->n > u->most_raw) {
        return fail_at_byte(u, err, PO_E_LIMIT, u->most_raw, "the packed file is larger than the cap on a job", NULL);
    }
    return PO_OK;
}

static bool is_gzip(const unsigned char *p, size_t n)
{
    return n >= 2 && p[0] == 0x1f && p[1] == 0x8b;
}

static bool is_zstd(const unsigned char *p, size_t n)
{
    /* FD2FB528 little-endian, or a skippable frame 184D2A50..5F: RFC 8878, 3.1.1 and 3.1.2 */
    return n >= 4 && ((p[0] == 0x28 && p[1] == 0xb5 && p[2] == 0x2f && p[3] == 0xfd) ||
                      ((p[0] & 0xf0) == 0x50 && p[1] == 0x2a && p[2] == 0x4d && p[3] == 0x18));
}

static po_status tell_kind(po_unpacker *u, bool *ret_woken, po_err *err)
{
    po_status s = fill(u, 4, ret_woken, err);
    if (s != PO_OK || *ret_woken) {
        return s;
    }
    if (is_gzip(u->in, u->n)) {
        if (!u->z_made) {
            if (inflateInit2(&u->z, 15 + 16) != Z_OK) { /* 15: the largest window; +16: gzip heads and checks */
                return po_fail_at(err, PO_E_NOMEM, u->raw->name, 0, 0, "no memory to unpack gzip");
            }
            u->z_made = true;
        }
        u->kind = GZIP;
    } else if (is_zstd(u->in, u->n)) {
        if (!u->zstd) {
            u->zstd = ZSTD_createDStream();
        }
        if (!u->zstd || ZSTD_isError(ZSTD_initDStream(u->zstd)) ||
            ZSTD_isError(ZSTD_DCtx_setParameter(u->zstd, ZSTD_d_windowLogMax, WINDOW_LOG_MOST))) {
            return po_fail_at(err, PO_E_NOMEM, u->raw->name, 0, 0, "no memory to unpack zstd");
        }
        u->kind = ZSTD;
    } else {
        u->kind = PLAIN;
    }
    return PO_OK;
}

/* Plain: what was read to tell the kind first, then straight into the caller's block. */
static po_status read_plain(po_unpacker *u, unsigned char *buf, size_t cap, size_t *n, bool *ret_woken, po_err *err)
{
    while (*n < cap) {
        size_t got = u->n - u->at < cap - *n ? u->n - u->at : cap - *n;
        if (got) {
            memcpy(buf + *n, u->in + u->at, got);
            u->at += got;
        } else if (u->raw_ended) {
            break;
        } else {
            po_status s = po_raw_read(u->raw, buf + *n, cap - *n, &got, ret_woken, err);
            if (s != PO_OK || *ret_woken) {
                return s;
            }
            u->raw_ended = got == 0;
        }
        *n += got;
    }
    return PO_OK;
}

/* Between members: *ret_end true when nothing but padding follows. */
static po_status next_member(po_unpacker *u, bool *ret_end, bool *ret_woken, po_err *err)
{
    *ret_end = false;
    for (;;) {
        po_status s = fill(u, 2, ret_woken, err);
        if (s != PO_OK || *ret_woken) {
            return s;
        }
        size_t left = u->n - u->at;
        if (left == 0) {
            *ret_end = true;
            return PO_OK;
        }
        if (u->in[u->at] == 0) {
            u->padding = true;
            while (u->at < u->n && u->in[u->at] == 0) {
                u->at++;
            }
            continue;
        }
        if (u->padding || !is_gzip(u->in + u->at, left)) {
            return fail_at_byte(u, err, PO_E_SYNTAX, u->base + u->at, "bytes that are not gzip follow the packed data",
                                NULL);
        }
        inflateReset(&u->z);
        u->open = true;
        return PO_OK;
    }
}

static po_status read_gzip(po_unpacker *u, unsigned char *buf, size_t cap, size_t *n, bool *ret_woken, po_err *err)
{
    while (*n < cap) {
        po_status s;
        if (!u->open) {
            bool end;
            s = next_member(u, &end, ret_woken, err);
            if (s != PO_OK || *ret_woken || end) {
                return s;
            }
        }
        s = fill(u, 1, ret_woken, err);
        if (s != PO_OK || *ret_woken) {
            return s;
        }
        size_t room = cap - *n < (1u << 30) ? cap - *n : 1u << 30;
        u->z.next_in = u->in + u->at;
        u->z.avail_in = (uInt)(u->n - u->at);
        u->z.next_out = buf + *n;
        u->z.avail_out = (uInt)room;
        bool none_left = u->z.avail_in == 0;
        int r = inflate(&u->z, Z_NO_FLUSH);
        u->at = u->n - u->z.avail_in;
        *n += room - u->z.avail_out;
        if (r == Z_STREAM_END) {
            u->open = false;
        } else if (r == Z_MEM_ERROR) {
            return po_fail_at(err, PO_E_NOMEM, u->raw->name, 0, 0, "no memory to unpack gzip");
        } else if (r == Z_BUF_ERROR && none_left) {
            return fail_at_byte(u, err, PO_E_SYNTAX, u->base + u->n, "the file ends in the middle of its gzip data",
                                NULL);
        } else if (r != Z_OK && r != Z_BUF_ERROR) {
            return fail_at_byte(u, err, PO_E_SYNTAX, u->base + u->at, "does not unpack as gzip", u->z.msg);
        }
    }
    return PO_OK;
}

static po_status fail_zstd(const po_unpacker *u, po_err *err, size_t r, uint64_t byte)
{
    switch (ZSTD_getErrorCode(r)) {
    case ZSTD_error_memory_allocation:
        return po_fail_at(err, PO_E_NOMEM, u->raw->name, 0, 0, "no memory to unpack zstd");
    case ZSTD_error_frameParameter_windowTooLarge:
        return fail_at_byte(u, err, PO_E_LIMIT, byte, "was packed with a zstd window above 128 MB", NULL);
    default:
        return fail_at_byte(u, err, PO_E_SYNTAX, byte, "does not unpack as zstd", ZSTD_getErrorName(r));
    }
}

static po_status read_zstd(po_unpacker *u, unsigned char *buf, size_t cap, size_t *n, bool *ret_woken, po_err *err)
{
    while (*n < cap) {
        /* A frame's head is looked at whole, so that trailing bytes are told with the place where they begin. */
        po_status s = fill(u, u->open ? 1 : 4, ret_woken, err);
        if (s != PO_OK || *ret_woken) {
            return s;
        }
        bool none_left = u->at == u->n;
        if (!u->open) {
            if (none_left) {
                return PO_OK;
            }
            if (!is_zstd(u->in + u->at, u->n - u->at)) {
                return fail_at_byte(u, err, PO_E_SYNTAX, u->base + u->at,
                                    "bytes that are not zstd follow the packed data", NULL);
            }
            u->open = true;
        }
        ZSTD_inBuffer in = {u->in, u->n, u->at};
        ZSTD_outBuffer out = {buf, cap, *n};
        size_t r = ZSTD_decompressStream(u->zstd, &out, &in);
        bool moved = out.pos != *n || in.pos != u->at;
        u->at = in.pos;
        *n = out.pos;
        if (ZSTD_isError(r)) {
            return fail_zstd(u, err, r, u->base + u->at);
        }
        if (r == 0) {
            u->open = false;
        } else if (none_left && !moved) {
            return fail_at_byte(u, err, PO_E_SYNTAX, u->base + u->n, "the file ends in the middle of its zstd data",
                                NULL);
        }
    }
    return PO_OK;
}

po_status po_unpacker_read(po_unpacker *u, void *buf, size_t cap, size_t *ret_n, bool *ret_woken, po_err *err)
{
    *ret_n = 0;
    *ret_woken = false;
    if (u->kind == UNKNOWN) {
        po_status s = tell_kind(u, ret_woken, err);
        if (s != PO_OK || *ret_woken) {
            return s;
        }
    }
    switch (u->kind) {
    case GZIP:
        return read_gzip(u, buf, cap, ret_n, ret_woken, err);
    case ZSTD:
        return read_zstd(u, buf, cap, ret_n, ret_woken, err);
    default:
        return read_plain(u, buf, cap, ret_n, ret_woken, err);
    }
}
