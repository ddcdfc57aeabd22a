/* Many poses at once. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/solid.h"

po_status po_pose_score(const po_mesh *mesh, const double (*up)[3], size_t n, const po_pose_setup *setup, int threads,
                        po_arena *arena, po_pose *ret, po_err *err)
{
    (void)mesh;
    (void)up;
    (void)n;
    (void)setup;
    (void)threads;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
