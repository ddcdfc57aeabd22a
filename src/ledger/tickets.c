/* Tickets: members who wait for a machine. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_ticket_claim(po_book *book, int64_t ticket, int64_t member, int64_t run, po_err *err)
{
    (void)book, (void)ticket, (void)member, (void)run;
    return po_fail(err, PO_E_INTERNAL, "not made yet");
}

po_status po_apply_ticket_take(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "ticket-take is not made yet");
}

po_status po_apply_ticket_call(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "ticket-call is not made yet");
}

po_status po_apply_ticket_pass(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "ticket-pass is not made yet");
}

po_status po_apply_ticket_leave(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "ticket-leave is not made yet");
}

po_status po_ask_tickets(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "tickets is not made yet");
}
