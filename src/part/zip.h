/* The members of a ZIP archive that lies in memory. SPDX-License-Identifier: Apache-2.0
 *
 * Strict on purpose: the central directory and the local headers must tell the same story, members must not overlap, and
 * names must not climb out. Stored and deflated members, ZIP64, data descriptors; nothing else. docs/part-limits.md. */
#ifndef PO_PART_ZIP_H
#define PO_PART_ZIP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/part.h"

typedef struct po_zip_member {
    const char *name; /* as in the archive, not ended; borrowed from the archive's bytes */
    size_t n_name;
    uint64_t packed, unpacked;
    uint64_t local, at; /* of its local header; of its first packed byte */
    uint64_t end;       /* behind its last packed byte and its descriptor */
    uint32_t crc;
    bool deflated; /* otherwise stored */
    bool folder;   /* a name that ends in '/': holds no bytes */
} po_zip_member;

typedef struct po_zip {
    const unsigned char *data; /* borrowed */
    size_t n;
    const po_zip_member *members; /* by name, ASCII case ignored; lives in the arena */
    size_t n_members;
} po_zip;

/* Whether the bytes begin as a ZIP archive does (a local header, or the end record of an empty archive). */
bool po_zip_looks_like(const unsigned char *data, size_t n);

/* Read and check the directory. data must stay until the last po_zip_unpack.
 * Errors (err->byte = place in the archive): PO_E_SYNTAX, PO_E_LIMIT, PO_E_UNSUPPORTED (encrypted, another method,
 * several disks), PO_E_NOMEM. */
po_status po_zip_open(const unsigned char *data, size_t n, const po_part_limits *limits, po_arena *arena, po_zip *ret,
                      po_err *err) PO_MUST_USE;

/* A member (no folder) by name, ASCII case ignored; NULL = none. */
const po_zip_member *po_zip_find(const po_zip *zip, const char *name, size_t n_name);

/* Unpack a member into out, which has room for member->unpacked bytes, and check its CRC.
 * Errors: PO_E_SYNTAX (err->where = the member), PO_E_NOMEM. */
po_status po_zip_unpack(const po_zip *zip, const po_zip_member *member, void *out, po_err *err) PO_MUST_USE;

#endif
