/* A run on its machine: reserved, started, watched, off the bed. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/book.h"

po_status po_apply_run_reserve(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "run-reserve is not made yet");
}

po_status po_apply_run_drop(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "run-drop is not made yet");
}

po_status po_apply_run_start(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "run-start is not made yet");
}

po_status po_apply_run_watched(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "run-watched is not made yet");
}

po_status po_apply_run_off(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "run-off is not made yet");
}
