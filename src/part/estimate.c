/* What it will take. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/solid.h"

po_status po_part_estimate(const po_mesh *mesh, const po_estimate_setup *setup, po_arena *arena, po_estimate *ret,
                           po_err *err)
{
    (void)mesh;
    (void)setup;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}

po_status po_part_scale_for(const po_mesh *mesh, const po_estimate_setup *setup, double most_mm, uint32_t times,
                            double most_scale, po_arena *arena, double *ret_scale, po_err *err)
{
    (void)mesh;
    (void)setup;
    (void)most_mm;
    (void)times;
    (void)most_scale;
    (void)arena;
    (void)ret_scale;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
