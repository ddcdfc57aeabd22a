/* Parts judged. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/proof.h"

po_status po_proof_part(const po_part_report *report, const char *file, const po_proof_context *context,
                        po_arena *arena, const po_part_proof **ret_proof, po_err *err)
{
    (void)report;
    (void)file;
    (void)context;
    (void)arena;
    (void)ret_proof;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
