/* Starts that are told to members. SPDX-License-Identifier: Apache-2.0
 *
 * A promise is of a run that waits; a hand-out keeps it or not, and the book says what was told. */
#include "ledger/run_row.h"

po_status po_apply_run_promise(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *machine = po_field_text(b, "machine"), *message = po_field_text(b, "message");
    int64_t promised = po_field_has(b, "promised") ? po_field_int(b, "promised") : -1, retired = 0;
    po_run_row r = {0};
    po_status s = po_run_find(book->store, po_field_int(b, "run"), &r, err);
    if (s == PO_OK && !po_run_is(&r, "reserved")) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                          "run %lld does not wait any more: it is %s, and no start can be promised", (long long)r.id,
                          r.state);
    }
    if (s == PO_OK && promised >= 0 && promised < book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "promised", 0, 0,
                          "the promised start has passed already; give a later time");
    }
    if (s == PO_OK && promised < 0 && machine) {
        return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                          "a machine is promised with a start; give promised as well, or leave both out");
    }
    if (s == PO_OK && machine) {
        s = po_store_number(book->store, &retired, NULL, err,
                            "SELECT 1 FROM machines WHERE machine = ?1 AND state = 'retired'", "t", machine);
        if (s == PO_OK && retired) {
            return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                              "%s has left the shop; name another machine, or none", machine);
        }
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_RUNS, r.id, err) : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE runs SET last = ?1, promised_ms = nullif(?2, -1), machine = "
                                 "coalesce(?3, machine) WHERE id = ?4",
                                 "iiti", book->event, promised, machine, r.id)
                   : s;
    po_book_answer_int(book, "run", r.id);
    return s == PO_OK && message ? po_message_put(book, r.member, "other", message, r.id, err) : s;
}
