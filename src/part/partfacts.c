/* All facts of a part. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/solid.h"

po_status po_part_measure(const po_part *part, const po_shop *shop, const po_machine *const *machines,
                          const po_material *const *materials, size_t n_machines, const po_part_options *options,
                          po_arena *arena, const po_part_report **ret_reports, po_err *err)
{
    (void)part;
    (void)shop;
    (void)machines;
    (void)materials;
    (void)n_machines;
    (void)options;
    (void)arena;
    (void)ret_reports;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
