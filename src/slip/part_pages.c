/* Slips of parts as pages. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/slip.h"

po_status po_part_slip_html(const po_part_proof *const *proofs, size_t n_proofs, const po_slip_options *options,
                            po_arena *arena, po_document *ret, po_err *err)
{
    (void)proofs;
    (void)n_proofs;
    (void)options;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}

po_status po_part_slip_pdf(const po_part_proof *proof, const po_slip_options *options, po_arena *arena,
                           po_document *ret, po_err *err)
{
    (void)proof;
    (void)options;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
