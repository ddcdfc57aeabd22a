/* Terms and waivers: what may be used, and leave to exceed it. SPDX-License-Identifier: Apache-2.0
 *
 * Every metre that counts is charged either to the term's allowance or to a waiver, never to both; all sums are of whole
 * micrometres. A waiver may be for one job (by its SHA-256) or for any; runs draw on those for their own job first. */
#include <stdlib.h>

#include "ledger/book.h"

po_status po_term_at(po_store *store, int64_t at_ms, int64_t *ret_id, int64_t *ret_allowance_um, int64_t *ret_until_ms,
                     po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT id, allowance_um, until_ms FROM terms WHERE from_ms <= ?1 AND until_ms > ?1 AND closed_ms IS "
        "NULL",
        "i", at_ms);
    if (s != PO_OK) {
        return s;
    }
    bool found = po_rows_next(rows);
    *ret_id = found ? po_rows_int(rows, 0) : 0;
    *ret_allowance_um = found ? po_rows_int(rows, 1) : 0;
    *ret_until_ms = found ? po_rows_int(rows, 2) : 0;
    return po_rows_end(rows, err);
}

po_status po_term_charged(po_store *store, int64_t member, int64_t term, int64_t but_run, int64_t *ret_um, po_err *err)
{
    *ret_um = 0;
    return po_store_number(store, ret_um, NULL, err,
                           "SELECT sum(charge_um) FROM runs WHERE member = ?1 AND term = ?2 AND id <> ?3", "iii",
                           member, term, but_run);
}

po_status po_apply_term_open(po_book *book, po_err *err)
{
    const char *term = po_field_text(book->body, "term");
    int64_t from = po_field_int(book->body, "from"), until = po_field_int(book->body, "until"), other = 0;
    bool found = false;
    if (until <= from) {
        return po_fail_at(err, PO_E_CONFLICT, "until", 0, 0, "a term must end after it begins");
    }
    po_status s = po_store_number(book->store, &other, &found, err, "SELECT id FROM terms WHERE term = ?1", "t", term);
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "term", 0, 0, "there is a term %s already (event %lld)", term,
                          (long long)other);
    }
    if (s == PO_OK) {
        s = po_store_number(book->store, &other, &found, err,
                            "SELECT id FROM terms WHERE closed_ms IS NULL AND from_ms < ?2 AND until_ms > ?1", "ii",
                            from, until);
    }
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "from", 0, 0,
                          "the term opened by event %lld is open at that time; close it or change "
                          "the dates",
                          (long long)other);
    }
    if (s == PO_OK) {
        s = po_store_do(
            book->store, NULL, err,
            "INSERT INTO terms(id, last, term, from_ms, until_ms, allowance_um) VALUES(?1, ?1, ?2, ?3, ?4, ?5)",
            "itiii", book->event, term, from, until, po_field_int(book->body, "allowance_um"));
    }
    return s == PO_OK ? po_book_made(book, PO_T_TERMS, book->event, err) : s;
}

po_status po_apply_term_close(po_book *book, po_err *err)
{
    const char *term = po_field_text(book->body, "term");
    int64_t id = 0, run = 0, n = 0, sum = 0;
    bool found = false;
    po_status s = po_store_number(book->store, &id, &found, err, "SELECT id FROM terms WHERE term = ?1", "t", term);
    if (s == PO_OK && !found) {
        return po_fail_at(err, PO_E_NOTFOUND, "term", 0, 0, "there is no term %s", term);
    }
    if (s == PO_OK) {
        s = po_store_number(book->store, &n, &found, err, "SELECT 1 FROM terms WHERE id = ?1 AND closed_ms IS NOT NULL",
                            "i", id);
    }
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "term", 0, 0, "the term %s is closed already", term);
    }
    if (s == PO_OK) {
        s = po_store_number(book->store, &run, &found, err,
                            "SELECT min(id) FROM runs WHERE term = ?1 AND state <> 'back'", "i", id);
    }
    if (s == PO_OK && found) {
        return po_fail(err, PO_E_CONFLICT, "run %lld of this term is not back yet; take it back first", (long long)run);
    }
    if (s == PO_OK) {
        s = po_book_touch(book, PO_T_TERMS, id, err);
    }
    if (s == PO_OK) {
        s = po_store_do(book->store, NULL, err, "UPDATE terms SET last = ?1, closed_ms = ?2 WHERE id = ?3", "iii",
                        book->event, book->at_ms, id);
    }
    if (s == PO_OK && book->answer) {
        s = po_store_number(book->store, &n, NULL, err, "SELECT count(*) FROM runs WHERE term = ?1", "i", id);
        s = s == PO_OK ? po_store_number(book->store, &sum, NULL, err,
                                         "SELECT sum(charge_um) FROM runs WHERE term = ?1", "i", id)
                       : s;
        po_book_answer_int(book, "runs", n);
        po_book_answer_int(book, "charged_um", sum);
    }
    return s;
}

#define HOLDS "withdrawn_ms IS NULL AND (until_ms IS NULL OR until_ms > ?2)"

po_status po_waivers_left(po_store *store, int64_t member, const char *sha256, int64_t at_ms, int64_t *ret_um,
                          po_err *err)
{
    *ret_um = 0;
    return po_store_number(
        store, ret_um, NULL, err,
        "SELECT sum(um - coalesce((SELECT sum(d.um) FROM draws d WHERE d.waiver = waivers.id), 0)) FROM waivers "
        "WHERE member = ?1 AND " HOLDS " AND (sha256 IS NULL OR sha256 = ?3)",
        "iit", member, at_ms, sha256);
}

po_status po_waivers_draw(po_book *book, int64_t member, int64_t run, const char *sha256, int64_t um, po_err *err)
{
    int64_t ids[32], takes[32];
    int n = 0;
    po_rows *rows = NULL;
    po_status s = po_store_ask(
        book->store, &rows, err,
        "SELECT id, um - coalesce((SELECT sum(d.um) FROM draws d WHERE d.waiver = waivers.id), 0) AS rest "
        "FROM waivers WHERE member = ?1 AND " HOLDS " AND (sha256 IS NULL OR sha256 = ?3) AND rest > 0 "
        "ORDER BY sha256 IS NULL, until_ms IS NULL, until_ms, id",
        "iit", member, book->at_ms, sha256);
    if (s != PO_OK) {
        return s;
    }
    while (um > 0 && n < 32 && po_rows_next(rows)) {
        int64_t rest = po_rows_int(rows, 1);
        ids[n] = po_rows_int(rows, 0);
        takes[n] = rest < um ? rest : um;
        um -= takes[n++];
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && um > 0) {
        return po_fail(err, PO_E_CONFLICT,
                       "the waivers for this run are spread over more than 32 small ones; give one for the whole");
    }
    for (int i = 0; s == PO_OK && i < n; i++) {
        int64_t id = 0;
        s = po_store_number(book->store, &id, NULL, err, "SELECT coalesce(max(id), 0) + 1 FROM draws", "");
        if (s == PO_OK) {
            s = po_store_do(book->store, NULL, err,
                            "INSERT INTO draws(id, last, run, waiver, um) VALUES(?1, ?2, ?3, ?4, ?5)", "iiiii", id,
                            book->event, run, ids[i], takes[i]);
        }
        s = s == PO_OK ? po_book_made(book, PO_T_DRAWS, id, err) : s;
    }
    return s;
}

po_status po_apply_waiver_give(po_book *book, po_err *err)
{
    int64_t um = po_field_int(book->body, "um"), limit = po_field_int(book->body, "desk_limit_um");
    int64_t until = po_field_has(book->body, "until") ? po_field_int(book->body, "until") : -1, term = 0, allowance = 0,
            end = 0;
    po_member m = {0};
    char a[32], b[32];
    if (um == 0) {
        return po_fail_at(err, PO_E_RANGE, "um", 0, 0, "a waiver is for more than nothing");
    }
    if (um > limit && book->role < PO_ROLE_KEEPER) {
        return po_fail_at(err, PO_E_CONFLICT, "um", 0, 0, "the desk may waive up to %s, and this is %s: a keeper can",
                          po_metres(a, limit), po_metres(b, um));
    }
    po_status s = po_member_find(book->store, po_field_text(book->body, "member"), book->at_ms, &m, err);
    if (s == PO_OK && until < 0) {
        s = po_term_at(book->store, book->at_ms, &term, &allowance, &end, err);
        until = term ? end : -1;
    }
    if (s == PO_OK && until >= 0 && until <= book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "until", 0, 0, "the waiver would have lapsed already; give a later time");
    }
    if (s == PO_OK) {
        s = po_store_do(book->store, NULL, err,
                        "INSERT INTO waivers(id, last, member, um, reason, asked_by, given_by, given_ms, sha256, "
                        "until_ms) VALUES(?1, "
                        "?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, nullif(?9, -1))",
                        "iiitttiti", book->event, m.id, um, po_field_text(book->body, "reason"),
                        po_field_text(book->body, "asked_by"), book->by, book->at_ms,
                        po_field_text(book->body, "sha256"), until);
    }
    s = s == PO_OK ? po_book_made(book, PO_T_WAIVERS, book->event, err) : s;
    po_book_answer_int(book, "waiver", book->event);
    return s;
}

po_status po_apply_waiver_withdraw(po_book *book, po_err *err)
{
    int64_t id = po_field_int(book->body, "waiver"), ignored = 0;
    bool found = false, over = false;
    po_status s = po_store_number(book->store, &ignored, &found, err, "SELECT 1 FROM waivers WHERE id = ?1", "i", id);
    if (s == PO_OK && !found) {
        return po_fail_at(err, PO_E_NOTFOUND, "waiver", 0, 0, "there is no waiver %lld", (long long)id);
    }
    if (s == PO_OK) {
        s = po_store_number(book->store, &ignored, &over, err,
                            "SELECT 1 FROM waivers WHERE id = ?1 AND withdrawn_ms IS NOT NULL", "i", id);
    }
    if (s == PO_OK && over) {
        return po_fail_at(err, PO_E_CONFLICT, "waiver", 0, 0, "waiver %lld was withdrawn already", (long long)id);
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_WAIVERS, id, err) : s;
    return s == PO_OK
               ? po_store_do(book->store, NULL, err, "UPDATE waivers SET last = ?1, withdrawn_ms = ?2 WHERE id = ?3",
                             "iii", book->event, book->at_ms, id)
               : s;
}
