/* One pose in full. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/solid.h"

po_status po_pose_measure(const po_mesh *mesh, const double turn[9], const po_pose_setup *setup, int threads,
                          po_arena *arena, po_pose *ret, po_err *err)
{
    (void)mesh;
    (void)turn;
    (void)setup;
    (void)threads;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
