/* Practical steps that were signed, other times for papers, and who uses a permission. SPDX-License-Identifier: Apache-2.0
 *
 * Why somebody has another time for papers stands nowhere in the book: it may be a matter of health, and events stay. */
#include <stdlib.h>
#include <string.h>

#include "ledger/answers.h"

enum { PERCENT_MOST = 1000 };

po_status po_apply_practice_sign(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *member = po_field_text(b, "member"), *seen_by = po_field_text(b, "seen_by");
    po_member m = {0};
    po_role role = PO_ROLE_NONE;
    int64_t at = 0;
    po_status s = po_book_when(book, &at, err);
    s = s == PO_OK ? po_member_find(book->store, member, book->at_ms, &m, err) : s;
    s = s == PO_OK ? po_role_of(book->store, seen_by, book->at_ms, &role, err) : s;
    if (s == PO_OK && role < PO_ROLE_DESK) {
        return po_fail_at(err, PO_E_CONFLICT, "seen_by", 0, 0, "%s is not of the desk: who saw it must be", seen_by);
    }
    if (s == PO_OK && strcmp(member, seen_by) == 0) {
        return po_fail_at(err, PO_E_CONFLICT, "seen_by", 0, 0,
                          "nobody signs what they did themselves: somebody else of the "
                          "desk must have seen it");
    }
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO practices(id, last, member, study, step, machine, seen_by, by, note, "
                                 "at_ms) VALUES(?1, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                                 "iitttttti", book->event, m.id, po_field_text(b, "study"), po_field_text(b, "step"),
                                 po_field_text(b, "machine"), seen_by, book->by, po_field_text(b, "note"), at)
                   : s;
    po_book_answer_int(book, "practice", book->event);
    return s == PO_OK ? po_book_made(book, PO_T_PRACTICES, book->event, err) : s;
}

po_status po_apply_member_accommodate(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    int64_t percent = po_field_int(b, "time_percent"), id = 0;
    po_member m = {0};
    bool found = false;
    if (percent > PERCENT_MOST || (percent > 0 && percent < 100)) {
        return po_fail_at(err, PO_E_RANGE, "time_percent", 0, 0,
                          "the time is 100 (as usual) to %d percent, or 0 for no limit", PERCENT_MOST);
    }
    po_status s = po_member_find(book->store, po_field_text(b, "member"), book->at_ms, &m, err);
    s = s == PO_OK
            ? po_store_number(book->store, &id, &found, err, "SELECT id FROM allowed WHERE member = ?1", "i", m.id)
            : s;
    if (s == PO_OK && found) {
        s = po_book_touch(book, PO_T_ALLOWED, id, err);
    } else if (s == PO_OK) {
        id = book->event;
        s = po_store_do(book->store, NULL, err,
                        "INSERT INTO allowed(id, last, member, time_percent, by, at_ms) VALUES(?1, ?1, ?2, 100, '', 0)",
                        "ii", id, m.id);
        s = s == PO_OK ? po_book_made(book, PO_T_ALLOWED, id, err) : s;
    }
    return s == PO_OK
               ? po_store_do(book->store, NULL, err,
                             "UPDATE allowed SET last = ?1, time_percent = ?2, until_ms = nullif(?3, -1), by = "
                             "?4, at_ms = ?5 WHERE id = ?6",
                             "iiitii", book->event, percent, po_field_or_none(b, "until"), book->by, book->at_ms, id)
               : s;
}

po_status po_ask_practice(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p);
    po_member m = {0};
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/practice/1");
    po_status s = po_field_has(p, "member") ? po_member_find(store, po_field_text(p, "member"), now, &m, err) : PO_OK;
    s = s == PO_OK ? po_store_ask(store, &rows, err,
                                  "SELECT u.id AS practice, m.member AS member, o.name AS name, u.study AS study, "
                                  "u.step AS step, u.machine AS machine, u.seen_by AS seen_by, u.by AS by, u.note AS "
                                  "note, u.at_ms AS at_ms FROM practices u JOIN members m ON m.id = u.member LEFT JOIN "
                                  "persons o ON o.member = m.member WHERE (?1 = 0 OR u.member = ?1) AND (?2 IS NULL OR "
                                  "u.study = ?2) AND (?3 = 0 OR u.id < ?3) ORDER BY u.id DESC LIMIT ?4",
                                  "itii", m.id, po_field_text(p, "study"), po_field_int(p, "before"), limit + 1)
                   : s;
    return s == PO_OK ? po_put_rows(rows, ret, "practice", limit, err) : s;
}

po_status po_ask_accommodations(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p);
    po_member m = {0};
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/accommodations/1");
    po_status s = po_field_has(p, "member") ? po_member_find(store, po_field_text(p, "member"), now, &m, err) : PO_OK;
    s = s == PO_OK ? po_store_ask(store, &rows, err,
                                  "SELECT m.member AS member, o.name AS name, u.time_percent AS time_percent, "
                                  "u.until_ms AS until_ms, u.by AS by, u.at_ms AS at_ms FROM allowed u JOIN members m "
                                  "ON m.id = u.member LEFT JOIN persons o ON o.member = m.member WHERE (?1 = 0 OR "
                                  "u.member = ?1) AND (u.until_ms IS NULL OR u.until_ms > ?2) AND u.time_percent <> "
                                  "100 AND m.state <> 'forgotten' ORDER BY m.member LIMIT ?3",
                                  "iii", m.id, now, limit + 1)
                   : s;
    return s == PO_OK ? po_put_rows(rows, ret, "accommodations", limit, err) : s;
}

po_status po_ask_permit_use(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p);
    char *machines = po_fields_canonical(json_object_get(p, "machines"));
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/permit-use/1");
    po_status s =
        machines
            ? po_store_ask(store, &rows, err,
                           "SELECT p.id AS permit, m.member AS member, o.name AS name, p.given_ms AS given_ms, "
                           "p.until_ms AS until_ms, (SELECT max(r.out_ms) FROM runs r WHERE r.member = p.member AND "
                           "r.state NOT IN ('reserved', 'dropped') AND r.machine IN (SELECT value FROM json_each(?3))) "
                           "AS last_out_ms FROM permits p JOIN members m ON m.id = p.member LEFT JOIN persons o ON "
                           "o.member = m.member WHERE p.permission = ?1 AND p.withdrawn_ms IS NULL AND (p.until_ms IS "
                           "NULL OR p.until_ms > ?2) AND m.state <> 'forgotten' ORDER BY coalesce(last_out_ms, "
                           "p.given_ms), p.id LIMIT ?4",
                           "titi", po_field_text(p, "permission"), now, machines, limit + 1)
            : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    s = s == PO_OK ? po_put_rows(rows, ret, "holders", limit, err) : s;
    free(machines);
    return s;
}
