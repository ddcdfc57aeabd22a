/* A term in one report. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_ask_term(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "term is not made yet");
}
