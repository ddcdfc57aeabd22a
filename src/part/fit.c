/* Room on a machine. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/solid.h"

po_status po_part_fit(const po_mesh *mesh, const po_machine *machine, double clearance_mm, const po_pose *poses,
                      size_t n_poses, po_arena *arena, po_fit *ret, po_err *err)
{
    (void)mesh;
    (void)machine;
    (void)clearance_mm;
    (void)poses;
    (void)n_poses;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
