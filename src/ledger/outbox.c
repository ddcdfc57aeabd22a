/* What members should hear. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_message_put(po_book *book, int64_t member, const char *kind, const char *text, int64_t run, po_err *err)
{
    int64_t id = 0;
    po_status s = po_book_next_id(book, PO_T_MESSAGES, &id, err);
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO messages(id, last, member, kind, text, run, state, at_ms) VALUES(?1, ?2, "
                                 "?3, ?4, ?5, nullif(?6, 0), 'waiting', ?7)",
                                 "iiittii", id, book->event, member, kind, text, run, book->at_ms)
                   : s;
    po_book_answer_int(book, "message", id);
    return s == PO_OK ? po_book_made(book, PO_T_MESSAGES, id, err) : s;
}

po_status po_apply_message_put(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "message-put is not made yet");
}

po_status po_apply_message_sent(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "message-sent is not made yet");
}

po_status po_apply_message_failed(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "message-failed is not made yet");
}

po_status po_apply_message_drop(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "message-drop is not made yet");
}

po_status po_ask_outbox(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "outbox is not made yet");
}
