/* A ZIP archive from members in memory. SPDX-License-Identifier: Apache-2.0
 *
 * PKWARE APPNOTE.TXT 6.3.4, sections 4.3 (layout) and 4.4 (fields); raw deflate by libdeflate. The plain form that every
 * reader knows: sizes in the local headers, no descriptors, no extra fields, no ZIP64. All dates are the format's first
 * day, 1 January 1980. */
#include "part/zip_write.h"

#include <libdeflate.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum {
    LOCAL_BYTES = 30,
    ENTRY_BYTES = 46,
    END_BYTES = 22,
    VERSION = 20, /* 2.0: deflate, 4.4.3.2 */
    FIRST_DAY = 1 << 5 | 1,
    LEVEL = 6,
    MOST_RATIO = 100,
    MOST_MEMBERS = 65534
};

typedef struct member {
    const unsigned char *packed;
    unsigned char *own; /* freed here; NULL where packed is the caller's bytes */
    size_t n_packed, n_name, local;
    uint32_t crc;
    int method; /* 0 stored, 8 deflated */
} member;

static unsigned char *put(unsigned char *at, uint64_t value, int bytes)
{
    for (int i = 0; i < bytes; i++) {
        *at++ = (unsigned char)(value >> 8 * i);
    }
    return at;
}

/* The fields that local header and directory entry share (4.3.7, 4.3.12). */
static unsigned char *put_shared(unsigned char *at, const member *m, const po_zip_piece *piece)
{
    at = put(at, VERSION, 2);
    at = put(at, 0, 2); /* flags */
    at = put(at, (unsigned)m->method, 2);
    at = put(at, 0, 2); /* time */
    at = put(at, FIRST_DAY, 2);
    at = put(at, m->crc, 4);
    at = put(at, m->n_packed, 4);
    at = put(at, piece->n, 4);
    at = put(at, m->n_name, 2);
    return put(at, 0, 2); /* extra */
}

static po_status pack(const po_zip_piece *piece, struct libdeflate_compressor *tool, member *m, po_err *err)
{
    *m = (member){.packed = piece->bytes, .n_packed = piece->n, .n_name = strlen(piece->name)};
    if (piece->n >= UINT32_MAX || m->n_name > 1000) {
        return po_fail(err, PO_E_LIMIT, "%.60s: more than 4 GB, which a plain archive can't hold", piece->name);
    }
    m->crc = libdeflate_crc32(0, piece->bytes, piece->n);
    size_t room = libdeflate_deflate_compress_bound(tool, piece->n);
    unsigned char *packed = malloc(room);
    if (!packed) {
        return po_fail(err, PO_E_NOMEM, "no memory to pack %.60s", piece->name);
    }
    size_t n = libdeflate_deflate_compress(tool, piece->bytes, piece->n, packed, room);
    if (n == 0 || n >= piece->n || n < piece->n / MOST_RATIO) {
        free(packed);
        return PO_OK;
    }
    m->own = packed;
    m->packed = packed;
    m->n_packed = n;
    m->method = 8;
    return PO_OK;
}

static void lay_out(const po_zip_piece *pieces, member *members, size_t n, unsigned char *out)
{
    unsigned char *at = out;
    for (size_t i = 0; i < n; i++) {
        member *m = &members[i];
        m->local = (size_t)(at - out);
        at = put(at, 0x04034b50, 4);
        at = put_shared(at, m, &pieces[i]);
        memcpy(at, pieces[i].name, m->n_name);
        at += m->n_name;
        if (m->n_packed) {
            memcpy(at, m->packed, m->n_packed);
        }
        at += m->n_packed;
    }
    unsigned char *directory = at;
    for (size_t i = 0; i < n; i++) {
        const member *m = &members[i];
        at = put(at, 0x02014b50, 4);
        at = put(at, VERSION, 2); /* made by */
        at = put_shared(at, m, &pieces[i]);
        at = put(at, 0, 2); /* comment */
        at = put(at, 0, 2); /* disk */
        at = put(at, 0, 2); /* internal attributes */
        at = put(at, 0, 4); /* external attributes */
        at = put(at, m->local, 4);
        memcpy(at, pieces[i].name, m->n_name);
        at += m->n_name;
    }
    size_t n_directory = (size_t)(at - directory);
    at = put(at, 0x06054b50, 4); /* 4.3.16 */
    at = put(at, 0, 2);
    at = put(at, 0, 2);
    at = put(at, n, 2);
    at = put(at, n, 2);
    at = put(at, n_directory, 4);
    at = put(at, (size_t)(directory - out), 4);
    put(at, 0, 2);
}

po_status po_zip_write(const po_zip_piece *pieces, size_t n, po_arena *arena, const unsigned char **ret_bytes,
                       size_t *ret_n, po_err *err)
{
    if (n > MOST_MEMBERS) {
        return po_fail(err, PO_E_LIMIT, "%zu members, which is more than a plain archive can hold", n);
    }
    po_status s = PO_OK;
    unsigned char *out = NULL;
    uint64_t size = END_BYTES;
    struct libdeflate_compressor *tool = libdeflate_alloc_compressor(LEVEL);
    member *members = calloc(n + 1, sizeof *members);
    if (!tool || !members) {
        s = po_fail(err, PO_E_NOMEM, "no memory to pack an archive");
        goto done;
    }
    for (size_t i = 0; i < n; i++) {
        s = pack(&pieces[i], tool, &members[i], err);
        if (s != PO_OK) {
            goto done;
        }
        size += LOCAL_BYTES + ENTRY_BYTES + 2 * members[i].n_name + members[i].n_packed;
    }
    if (size >= UINT32_MAX) {
        s = po_fail(err, PO_E_LIMIT, "more than 4 GB, which a plain archive can't hold");
        goto done;
    }
    out = po_arena_zeros(arena, (size_t)size, 1);
    if (!out) {
        s = po_fail(err, PO_E_NOMEM, "no memory for an archive of %zu bytes", (size_t)size);
        goto done;
    }
    lay_out(pieces, members, n, out);
    *ret_bytes = out;
    *ret_n = (size_t)size;
done:
    for (size_t i = 0; members && i < n; i++) {
        free(members[i].own);
    }
    free(members);
    libdeflate_free_compressor(tool);
    return s;
}
