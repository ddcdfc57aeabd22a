/* A job written to a stick, and read back. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_STICK_PUT_H
#define PO_WORK_STICK_PUT_H

#include <stddef.h>

#include "proveout/arena.h"
#include "proveout/status.h"

/* Write bytes as a file in the top folder of a mounted stick: under a name of its own first, brought to the stick (fsync), read back and
 * compared by SHA-256, then renamed. What stood under the name is replaced; after an error it is as it was.
 * mount   where the stick shows; an absolute path of the shop file's, never a caller's
 * name    1 to 200 bytes without '/' and control characters, not beginning with a dot
 * sha256  in hex: of the bytes as they were proved; they are held against it first
 * Errors  PO_E_RANGE (name), PO_E_CONFLICT (the bytes are not those that were proved, or what was read back is not what was written: the
 *         stick is faulty), PO_E_NOTFOUND (no folder there), PO_E_IO (full, locked, pulled out) */
po_status work_stick_put(const char *mount, const char *name, const void *bytes, size_t n, const char sha256[65],
                         po_err *err) PO_MUST_USE;

/* A name under which the job can be put without taking the place of another one: the wished one, with _ for what sticks refuse and cut to 120
 * bytes with its ending kept, where that is free or holds these very bytes; else with -2, -3 ... before its ending. In the arena; NULL: no memory, or a hundred are taken. */
const char *work_stick_name(const char *mount, const char *wished, const char sha256[65], po_arena *arena);

typedef enum work_released {
    WORK_UNMOUNTED, /* it may be pulled out */
    WORK_FLUSHED,   /* all is on it; this program may not unmount it, or it is an ordinary folder */
    WORK_BUSY       /* all is on it; something else has it open */
} work_released;
/* Bring all to the stick (syncfs) and unmount it where that is allowed.
 * Errors  PO_E_NOTFOUND (no folder there), PO_E_IO (what was written could not be brought to it) */
po_status work_stick_release(const char *mount, work_released *ret, po_err *err) PO_MUST_USE;

#endif
