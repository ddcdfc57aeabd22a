/* A job written to a stick, and read back. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_STICK_PUT_H
#define PO_WORK_STICK_PUT_H

#include <stddef.h>

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

#endif
