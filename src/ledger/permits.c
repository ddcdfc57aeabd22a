/* Permissions of members: granted, withdrawn, lapsed. SPDX-License-Identifier: Apache-2.0
 *
 * The book knows what was granted, by whom and until when. What a permission brings along (`implies`) stands in the shop file
 * and comes in as plain values. A permit is never changed into another: a new time is a new row, and the old one is withdrawn. */
#include "ledger/book.h"

po_status po_permit_held(po_store *store, int64_t member, const char *permission, int64_t at_ms, int64_t *ret,
                         po_err *err)
{
    *ret = 0;
    return po_store_number(
        store, ret, NULL, err,
        "SELECT id FROM permits WHERE member = ?1 AND permission = ?2 AND withdrawn_ms IS NULL AND (until_ms "
        "IS NULL OR until_ms > ?3)",
        "iti", member, permission, at_ms);
}

static po_status withdraw(po_book *book, int64_t permit, const char *reason, po_err *err)
{
    po_status s = po_book_touch(book, PO_T_PERMITS, permit, err);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE permits SET last = ?1, withdrawn_ms = ?2, reason = ?3 WHERE id = ?4",
                                    "iiti", book->event, book->at_ms, reason, permit)
                      : s;
}

po_status po_apply_permit_grant(po_book *book, po_err *err)
{
    const char *permission = po_field_text(book->body, "permission");
    bool until = po_field_has(book->body, "until");
    int64_t until_ms = po_field_int(book->body, "until"), held = 0;
    po_member m = {0};
    if (until && until_ms <= book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "until", 0, 0,
                          "the permission would have lapsed already; give a later time");
    }
    po_status s = po_member_find(book->store, po_field_text(book->body, "member"), book->at_ms, &m, err);
    if (s == PO_OK) {
        s = po_permit_held(book->store, m.id, permission, book->at_ms, &held, err);
    }
    if (s == PO_OK && held) {
        s = withdraw(book, held, "granted anew", err);
    }
    if (s == PO_OK) {
        s = po_store_do(
            book->store, NULL, err,
            "INSERT INTO permits(id, last, member, permission, given_by, given_ms, until_ms) VALUES(?1, ?1, ?2, ?3, "
            "?4, ?5, nullif(?6, -1))",
            "iittii", book->event, m.id, permission, book->by, book->at_ms, until ? until_ms : INT64_C(-1));
    }
    if (s == PO_OK) {
        s = po_book_made(book, PO_T_PERMITS, book->event, err);
    }
    po_book_answer_int(book, "permit", book->event);
    return s;
}

po_status po_apply_permit_withdraw(po_book *book, po_err *err)
{
    const char *number = po_field_text(book->body, "member"), *permission = po_field_text(book->body, "permission");
    int64_t held = 0;
    po_member m = {0};
    po_status s = po_member_find(book->store, number, book->at_ms, &m, err);
    if (s == PO_OK) {
        s = po_permit_held(book->store, m.id, permission, book->at_ms, &held, err);
    }
    if (s == PO_OK && !held) {
        return po_fail_at(err, PO_E_CONFLICT, "permission", 0, 0, "member %s does not hold %s now", number, permission);
    }
    return s == PO_OK ? withdraw(book, held, po_field_text(book->body, "reason"), err) : s;
}

/* Of all who hold it at once: more rows than an undo keeps, so it can not be taken back. */
po_status po_apply_permits_lapse(po_book *book, po_err *err)
{
    int64_t n = 0;
    po_status s = po_store_do(book->store, &n, err,
                              "UPDATE permits SET last = ?1, until_ms = ?2, reason = ?3 WHERE permission = ?4 AND "
                              "withdrawn_ms IS NULL AND (until_ms IS NULL OR until_ms > ?2)",
                              "iitt", book->event, book->at_ms, po_field_text(book->body, "reason"),
                              po_field_text(book->body, "permission"));
    po_book_answer_int(book, "lapsed", n);
    return s;
}
