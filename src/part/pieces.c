/* Pieces. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/pieces.h"

po_status po_part_pieces(const po_mesh *mesh, const po_pieces_setup *setup, po_arena *arena, po_pieces *ret,
                         po_err *err)
{
    (void)mesh;
    (void)setup;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
