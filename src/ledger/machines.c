/* Machines: in use, tagged out, resting, retired; what is fitted and loaded; gap checks. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_machine_row(po_book *book, const char *machine, int64_t *ret_id, po_err *err)
{
    bool found = false;
    po_status s = po_store_number(book->store, ret_id, &found, err, "SELECT id FROM machines WHERE machine = ?1", "t",
                                  machine);
    if (s != PO_OK || found) {
        return s;
    }
    s = po_book_next_id(book, PO_T_MACHINES, ret_id, err);
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO machines(id, last, machine, state) VALUES(?1, ?2, ?3, 'in-use')", "iit",
                                 *ret_id, book->event, machine)
                   : s;
    return s == PO_OK ? po_book_made(book, PO_T_MACHINES, *ret_id, err) : s;
}

po_status po_machine_may_go_out(po_store *store, const char *machine, po_err *err)
{
    (void)store, (void)machine;
    return po_fail(err, PO_E_INTERNAL, "not made yet");
}

po_status po_apply_machine_tag(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "machine-tag is not made yet");
}

po_status po_apply_machine_rest(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "machine-rest is not made yet");
}

po_status po_apply_machine_clear(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "machine-clear is not made yet");
}

po_status po_apply_machine_retire(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "machine-retire is not made yet");
}

po_status po_apply_machine_fit(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "machine-fit is not made yet");
}

po_status po_apply_machine_gap(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "machine-gap is not made yet");
}

po_status po_ask_machines(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "machines is not made yet");
}

po_status po_ask_machine_history(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "machine-history is not made yet");
}
