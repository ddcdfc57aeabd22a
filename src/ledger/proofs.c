/* What check said of a job on a machine, kept for the day of its run. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_apply_proof_keep(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "proof-keep is not made yet");
}

po_status po_ask_proofs(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "proofs is not made yet");
}
