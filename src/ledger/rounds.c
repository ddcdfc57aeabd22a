/* Rounds of the machines and hand-over notes. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_apply_round_begin(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "round-begin is not made yet");
}

po_status po_apply_round_machine(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "round-machine is not made yet");
}

po_status po_apply_round_done(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "round-done is not made yet");
}

po_status po_apply_note_leave(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "note-leave is not made yet");
}

po_status po_ask_rounds(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "rounds is not made yet");
}
