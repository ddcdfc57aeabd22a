/* Parts that wait for their member. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_part_off(po_book *book, int64_t run, const char *to, int64_t place, int64_t kept_until_ms, po_err *err)
{
    (void)book, (void)run, (void)to, (void)place, (void)kept_until_ms;
    return po_fail(err, PO_E_INTERNAL, "not made yet");
}

po_status po_apply_shelf_put(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "shelf-put is not made yet");
}

po_status po_apply_shelf_collect(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "shelf-collect is not made yet");
}

po_status po_apply_shelf_recycle(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "shelf-recycle is not made yet");
}

po_status po_ask_shelf(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "shelf is not made yet");
}
