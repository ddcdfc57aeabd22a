/* One plane cut. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/pieces.h"

po_status po_mesh_cut(const po_mesh *mesh, const po_plane *plane, po_arena *arena, po_mesh *ret_below,
                      po_mesh *ret_above, po_cut *ret_cut, po_err *err)
{
    (void)mesh;
    (void)plane;
    (void)arena;
    (void)ret_below;
    (void)ret_above;
    (void)ret_cut;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
