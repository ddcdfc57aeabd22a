/* A ZIP archive from members in memory. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_ZIP_WRITE_H
#define PO_PART_ZIP_WRITE_H

#include <stddef.h>

#include "proveout/arena.h"
#include "proveout/status.h"

typedef struct po_zip_piece {
    const char *name; /* ASCII, no folder of its own */
    const void *bytes;
    size_t n;
} po_zip_piece;

/* The archive in the arena, members in the order given, without dates: the same pieces give the same bytes. What
 * deflates to less than a hundredth is stored, so that our own limits let it in again.
 * Errors: PO_E_LIMIT (4 GiB, or 65,534 members), PO_E_NOMEM. */
po_status po_zip_write(const po_zip_piece *pieces, size_t n, po_arena *arena, const unsigned char **ret_bytes,
                       size_t *ret_n, po_err *err) PO_MUST_USE;

#endif
