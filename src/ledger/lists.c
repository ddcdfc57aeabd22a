/* Lists of members, permits and waivers. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_ask_members(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "members is not made yet");
}

po_status po_ask_permits(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "permits is not made yet");
}

po_status po_ask_waivers(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "waivers is not made yet");
}
