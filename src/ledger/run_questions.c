/* Questions about runs. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_ask_run(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "run is not made yet");
}

po_status po_ask_run_sums(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "run-sums is not made yet");
}

po_status po_ask_ratios(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "ratios is not made yet");
}
