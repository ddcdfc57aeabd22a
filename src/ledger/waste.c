/* Waste by material, weighed before it goes to recycling. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_waste_put(po_book *book, const char *material, int64_t mg, const char *kind, const char *note, int64_t run,
                       po_err *err)
{
    int64_t id = 0;
    po_status s = po_book_next_id(book, PO_T_WASTE, &id, err);
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO waste(id, last, material, mg, kind, note, run, at_ms) VALUES(?1, ?2, ?3, "
                                 "?4, ?5, ?6, nullif(?7, 0), ?8)",
                                 "iitittii", id, book->event, material, mg, kind, note, run, book->at_ms)
                   : s;
    return s == PO_OK ? po_book_made(book, PO_T_WASTE, id, err) : s;
}

po_status po_apply_waste_weigh(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "waste-weigh is not made yet");
}

po_status po_ask_waste(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "waste is not made yet");
}
