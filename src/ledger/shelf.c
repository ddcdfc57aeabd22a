/* Parts that wait for their member. SPDX-License-Identifier: Apache-2.0
 *
 * A part has the number of its run. It lies on a place of the shelf, one part on each; how many places there are the shop
 * knows, not the book. */
#include <string.h>

#include "ledger/answers.h"
#include "ledger/run_row.h"

/* The lowest place with nothing on it. */
static po_status next_free(po_store *store, int64_t *ret, po_err *err)
{
    *ret = 1;
    bool taken = false;
    int64_t ignored = 0;
    po_status s = po_store_number(store, &ignored, &taken, err,
                                  "SELECT 1 FROM parts WHERE state = 'shelf' AND place IS NOT NULL AND place = 1", "");
    return s == PO_OK && taken
               ? po_store_number(store, ret, NULL, err,
                                 "SELECT p.place + 1 FROM parts p WHERE p.state = 'shelf' AND p.place IS NOT "
                                 "NULL AND NOT EXISTS (SELECT 1 FROM parts q WHERE q.state = 'shelf' AND "
                                 "q.place IS NOT NULL AND q.place = p.place + 1) ORDER BY p.place LIMIT 1",
                                 "")
               : s;
}

/* Nothing of another run lies on this place; 0: none is named. */
static po_status place_is_free(po_store *store, int64_t run, int64_t place, po_err *err)
{
    int64_t other = 0, next = 0;
    char member[72] = "";
    po_rows *rows = NULL;
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT p.run, m.member FROM parts p JOIN runs r ON r.id = p.run JOIN members m ON m.id = "
        "r.member WHERE p.state = 'shelf' AND p.place IS NOT NULL AND p.place = ?1 AND p.run <> ?2",
        "ii", place, run);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        other = po_rows_int(rows, 0);
        po_cut_text(member, sizeof member, po_rows_text(rows, 1));
    }
    s = po_rows_end(rows, err);
    s = s == PO_OK && other ? next_free(store, &next, err) : s;
    return s == PO_OK && other
               ? po_fail_at(err, PO_E_CONFLICT, "place", 0, 0,
                            "on place %lld lies the part of run %lld (member %.60s); the next free place is %lld",
                            (long long)place, (long long)other, member, (long long)next)
               : s;
}

static po_status still_to_come(const po_book *book, int64_t kept_until_ms, po_err *err)
{
    return kept_until_ms > 0 && kept_until_ms <= book->at_ms
               ? po_fail_at(err, PO_E_CONFLICT, "kept_until", 0, 0,
                            "the part would be overdue already; give a later time")
               : PO_OK;
}

po_status po_part_off(po_book *book, int64_t run, const char *to, int64_t place, int64_t kept_until_ms, po_err *err)
{
    bool shelf = strcmp(to, "shelf") == 0, member = strcmp(to, "member") == 0;
    int64_t next = 0;
    po_status s = shelf ? place_is_free(book->store, run, place, err) : PO_OK;
    s = s == PO_OK ? still_to_come(book, kept_until_ms, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "INSERT INTO parts(id, last, run, state, place, kept_until_ms, shelved_ms, gone_ms, "
                          "collected_by) VALUES(?1, ?2, ?1, ?3, nullif(?4, 0), nullif(?5, 0), iif(?3 = 'shelf', ?6, "
                          "NULL), iif(?3 = 'shelf', NULL, ?6), iif(?3 = 'collected', (SELECT m.member FROM runs r JOIN "
                          "members m ON m.id = r.member WHERE r.id = ?1), NULL))",
                          "iitiii", run, book->event,
                          shelf    ? "shelf"
                          : member ? "collected"
                                   : "waste",
                          place, kept_until_ms, book->at_ms)
            : s;
    if (shelf && place) {
        po_book_answer_int(book, "place", place);
    } else if (shelf && s == PO_OK && book->answer) {
        s = next_free(book->store, &next, err);
        po_book_answer_int(book, "next_place", next);
    }
    return s == PO_OK ? po_book_made(book, PO_T_PARTS, run, err) : s;
}

typedef struct part_row {
    po_run_row run;
    bool there;
    char state[12], collected_by[72];
} part_row;

/* The part of the body's run, which lies on the shelf; touched. */
static po_status take_part(po_book *book, part_row *ret, po_err *err)
{
    po_rows *rows = NULL;
    part_row p = {0};
    po_status s = po_run_find(book->store, po_field_int(book->body, "run"), &p.run, err);
    long long run = p.run.id;
    s = s == PO_OK ? po_store_ask(book->store, &rows, err, "SELECT state, collected_by FROM parts WHERE id = ?1", "i",
                                  p.run.id)
                   : s;
    if (s != PO_OK) {
        return s;
    }
    p.there = po_rows_next(rows);
    if (p.there) {
        po_cut_text(p.state, sizeof p.state, po_rows_text(rows, 0));
        po_cut_text(p.collected_by, sizeof p.collected_by, po_rows_text(rows, 1));
    }
    s = po_rows_end(rows, err);
    *ret = p;
    po_book_answer_int(book, "run", run);
    po_book_answer_text(book, "member", p.run.member_number);
    if (s != PO_OK || strcmp(p.state, "shelf") == 0) {
        return s == PO_OK ? po_book_touch(book, PO_T_PARTS, run, err) : s;
    }
    return !p.there ? po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                                 "the part of run %lld is not off its bed by the book; run off books that", run)
           : strcmp(p.state, "waste") == 0
               ? po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                            "the part of run %lld went to the waste; undo that act if it is wrong", run)
               : po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                            "the part of run %lld was collected by %.60s; undo that act if it is wrong", run,
                            p.collected_by);
}

po_status po_apply_shelf_put(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *message = po_field_text(b, "message");
    int64_t place = po_field_int(b, "place"), kept = po_field_int(b, "kept_until");
    part_row p = {0};
    po_status s = take_part(book, &p, err);
    s = s == PO_OK ? place_is_free(book->store, p.run.id, place, err) : s;
    s = s == PO_OK ? still_to_come(book, kept, err) : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE parts SET last = ?1, place = ?2, kept_until_ms = coalesce(nullif(?3, 0), "
                                 "kept_until_ms) WHERE id = ?4",
                                 "iiii", book->event, place, kept, p.run.id)
                   : s;
    po_book_answer_int(book, "place", place);
    return s == PO_OK && message ? po_message_put(book, p.run.member, "collect", message, p.run.id, err) : s;
}

/* The part leaves the shelf; its place stays in its row as where it lay. */
static po_status leaves(po_book *book, int64_t run, const char *state, const char *by, po_err *err)
{
    return po_store_do(book->store, NULL, err,
                       "UPDATE parts SET last = ?1, state = ?2, gone_ms = ?3, collected_by = ?4 WHERE id = ?5", "ititi",
                       book->event, state, book->at_ms, by, run);
}

po_status po_apply_shelf_collect(po_book *book, po_err *err)
{
    const char *by = po_field_text(book->body, "collected_by");
    part_row p = {0};
    po_status s = take_part(book, &p, err);
    by = by ? by : p.run.member_number;
    po_book_answer_text(book, "collected_by", by);
    return s == PO_OK ? leaves(book, p.run.id, "collected", by, err) : s;
}

po_status po_apply_shelf_recycle(po_book *book, po_err *err)
{
    int64_t mg = po_field_int(book->body, "mg");
    char material[72] = "";
    part_row p = {0};
    po_status s = take_part(book, &p, err);
    s = s == PO_OK ? po_mass_holds("mg", mg, err) : s;
    s = s == PO_OK && mg > 0 ? po_run_material(book->store, p.run.id, material, err) : s;
    if (s == PO_OK && mg > 0 && !material[0]) {
        return po_fail_at(
            err, PO_E_CONFLICT, "mg", 0, 0,
            "the book knows no spool of run %lld, so no material: leave the weight out, and spool waste books it",
            (long long)p.run.id);
    }
    s = s == PO_OK ? leaves(book, p.run.id, "waste", NULL, err) : s;
    return s == PO_OK && mg > 0
               ? po_waste_put(book, material, mg, "uncollected", po_field_text(book->body, "reason"), p.run.id, err)
               : s;
}

po_status po_ask_shelf(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p), next = 0;
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/shelf/1");
    po_status s = next_free(store, &next, err);
    po_put_int(ret, "next_place", next);
    s = s == PO_OK
            ? po_store_ask(store, &rows, err,
                           "SELECT p.run AS run, CAST(p.run AS TEXT) AS code, m.member AS member, r.machine AS "
                           "machine, r.file AS file, p.place AS place, p.shelved_ms AS shelved_ms, p.kept_until_ms "
                           "AS kept_until_ms, coalesce(p.kept_until_ms <= ?1, 0) AS is_overdue FROM parts p JOIN runs "
                           "r ON r.id = p.run JOIN members m ON m.id = r.member WHERE p.state = 'shelf' AND (?2 = 0 OR "
                           "p.kept_until_ms <= ?1) ORDER BY p.place IS NULL, p.place, p.run LIMIT ?3",
                           "iii", now, (int64_t)po_field_flag(p, "overdue"), limit + 1)
            : s;
    return s == PO_OK ? po_put_rows(rows, ret, "parts", limit, err) : s;
}
