/* Mending. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/pieces.h"

po_status po_mesh_mend(const po_mesh *mesh, double weld_mm, int threads, po_arena *arena, po_mend *ret, po_err *err)
{
    (void)mesh;
    (void)weld_mm;
    (void)threads;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
