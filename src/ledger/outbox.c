/* What members should hear. SPDX-License-Identifier: Apache-2.0
 *
 * A message holds a member's number and never a name or a contact: those are looked up when it is sent, so that a person who
 * was forgotten meanwhile is not written to, and nothing of them stays here. What could not be sent stays and is tried again. */
#include <string.h>

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
    const json_t *b = book->body;
    int64_t run = po_field_int(b, "run"), ignored = 0;
    bool found = false;
    po_member m = {0};
    po_status s = po_member_find(book->store, po_field_text(b, "member"), book->at_ms, &m, err);
    if (s == PO_OK && run) {
        s = po_store_number(book->store, &ignored, &found, err, "SELECT 1 FROM runs WHERE id = ?1", "i", run);
        if (s == PO_OK && !found) {
            return po_fail_at(err, PO_E_NOTFOUND, "run", 0, 0, "there is no run %lld", (long long)run);
        }
    }
    return s == PO_OK ? po_message_put(book, m.id, po_field_text(b, "kind"), po_field_text(b, "text"), run, err) : s;
}

/* The message of the body, which waits, touched. */
static po_status take_message(po_book *book, int64_t *ret_id, po_err *err)
{
    int64_t id = po_field_int(book->body, "message");
    po_rows *rows = NULL;
    char state[16] = "";
    po_status s = po_store_ask(book->store, &rows, err, "SELECT state FROM messages WHERE id = ?1", "i", id);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        strncat(state, po_rows_word(rows, 0), sizeof state - 1);
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && !state[0]) {
        return po_fail_at(err, PO_E_NOTFOUND, "message", 0, 0, "there is no message %lld", (long long)id);
    }
    if (s == PO_OK && strcmp(state, "waiting") != 0) {
        return po_fail_at(err, PO_E_CONFLICT, "message", 0, 0,
                          "message %lld was %s already; put another if the member should hear more", (long long)id,
                          state);
    }
    *ret_id = id;
    po_book_answer_int(book, "message", id);
    return s == PO_OK ? po_book_touch(book, PO_T_MESSAGES, id, err) : s;
}

po_status po_apply_message_sent(po_book *book, po_err *err)
{
    int64_t id = 0;
    po_status s = take_message(book, &id, err);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE messages SET last = ?1, state = 'sent', sent_ms = ?2, tries = tries + 1, "
                                    "why = NULL WHERE id = ?3",
                                    "iii", book->event, book->at_ms, id)
                      : s;
}

po_status po_apply_message_failed(po_book *book, po_err *err)
{
    int64_t id = 0;
    po_status s = take_message(book, &id, err);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE messages SET last = ?1, tries = tries + 1, why = ?2 WHERE id = ?3", "iti",
                                    book->event, po_field_text(book->body, "why"), id)
                      : s;
}

po_status po_apply_message_drop(po_book *book, po_err *err)
{
    int64_t id = 0;
    po_status s = take_message(book, &id, err);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE messages SET last = ?1, state = 'dropped', why = ?2 WHERE id = ?3", "iti",
                                    book->event, po_field_text(book->body, "reason"), id)
                      : s;
}

#define COLUMNS                                                                                                        \
    "SELECT x.id AS message, m.member AS member, x.kind AS kind, x.text AS text, x.run AS run, x.state AS state, "     \
    "x.at_ms AS at_ms, x.sent_ms AS sent_ms, x.tries AS tries, x.why AS why FROM messages x JOIN members m ON "        \
    "m.id = x.member "

po_status po_ask_outbox(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p), message = po_field_int(p, "message");
    const char *state = po_field_text(p, "state");
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/outbox/1");
    po_status s;
    if (message) {
        s = po_store_ask(store, &rows, err, COLUMNS "WHERE x.id = ?1 AND (?2 IS NULL OR x.state = ?2)", "it", message,
                         state);
    } else if (!state) {
        s = po_store_ask(store, &rows, err, COLUMNS "ORDER BY x.id DESC LIMIT ?1", "i", limit + 1);
    } else if (strcmp(state, "waiting") == 0) {
        s = po_store_ask(store, &rows, err, COLUMNS "WHERE x.state = 'waiting' ORDER BY x.at_ms, x.id LIMIT ?1", "i",
                         limit + 1);
    } else if (strcmp(state, "dropped") == 0) {
        s = po_store_ask(store, &rows, err, COLUMNS "WHERE x.state = 'dropped' ORDER BY x.id DESC LIMIT ?1", "i",
                         limit + 1);
    } else { /* most are */
        s = po_store_ask(store, &rows, err, COLUMNS "WHERE x.state = 'sent' ORDER BY x.id DESC LIMIT ?1", "i",
                         limit + 1);
    }
    s = s == PO_OK ? po_put_rows(rows, ret, "messages", limit, err) : s;
    if (s == PO_OK && message && json_array_size(json_object_get(ret, "messages")) == 0) {
        return po_fail_at(err, PO_E_NOTFOUND, "message", 0, 0, "there is no message %lld%s%s", (long long)message,
                          state ? " that is " : "", state ? state : "");
    }
    return s;
}
