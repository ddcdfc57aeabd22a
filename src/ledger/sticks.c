/* Sticks: each belongs to one machine. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_stick_goes_with(po_store *store, const char *stick, const char *machine, po_err *err)
{
    (void)store, (void)stick, (void)machine;
    return po_fail(err, PO_E_INTERNAL, "not made yet");
}

po_status po_apply_stick_add(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "stick-add is not made yet");
}

po_status po_apply_stick_assign(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "stick-assign is not made yet");
}

po_status po_apply_stick_lost(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "stick-lost is not made yet");
}

po_status po_apply_stick_count(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "stick-count is not made yet");
}

po_status po_apply_stick_clear(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "stick-clear is not made yet");
}

po_status po_apply_stick_retire(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "stick-retire is not made yet");
}

po_status po_ask_sticks(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "sticks is not made yet");
}
