/* 3MF out. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/pieces.h"

po_status po_3mf_write(const po_3mf_item *items, size_t n_items, const char *title, po_arena *arena,
                       const unsigned char **ret_bytes, size_t *ret_n, po_err *err)
{
    (void)items;
    (void)n_items;
    (void)title;
    (void)arena;
    (void)ret_bytes;
    (void)ret_n;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
