/* Money of members beyond the allowance: payments, gifts, charges, refunds. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_apply_money_book(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "money-book is not made yet");
}

po_status po_ask_money(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "money is not made yet");
}
