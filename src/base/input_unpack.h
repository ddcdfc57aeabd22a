/* Raw bytes to unpacked ones, by content. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_BASE_INPUT_UNPACK_H
#define PO_BASE_INPUT_UNPACK_H

#include "base/input_raw.h"

typedef struct po_unpacker po_unpacker;

/* NULL when memory is gone. raw is borrowed. most_raw: cap on the packed bytes of a packed stream. */
po_unpacker *po_unpacker_new(po_raw *raw, uint64_t most_raw);
void po_unpacker_free(po_unpacker *unpacker); /* accepts NULL */
/* Start again; the raw bytes must stand at their first. */
void po_unpacker_again(po_unpacker *unpacker);

/* Fill buf as far as it goes. *ret_n < cap: the end, an error, or woken. Bytes before an error are good and counted in
 * *ret_n also on failure. Errors: PO_E_IO, PO_E_NOMEM, PO_E_SYNTAX (err->byte), PO_E_LIMIT. */
po_status po_unpacker_read(po_unpacker *unpacker, void *buf, size_t cap, size_t *ret_n, bool *ret_woken,
                           po_err *err) PO_MUST_USE;

#endif
