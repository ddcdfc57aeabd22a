/* Slips of parts as JSON. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/slip.h"

po_status po_part_slip_json(const po_part_proof *const *proofs, size_t n_proofs, bool several, po_arena *arena,
                            po_document *ret, po_err *err)
{
    (void)proofs;
    (void)n_proofs;
    (void)several;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
