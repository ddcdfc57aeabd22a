/* The search for a cause: opened with a symptom, checks with their answers, closed with a cause. SPDX-License-Identifier: Apache-2.0
 *
 * Symptoms, causes, checks and their odds are not the book's; it keeps what was asked and answered by name. Only what was confirmed,
 * and closed after the last reset of its symptom, is learned from. */
#include "ledger/answers.h"

po_status po_apply_trouble_open(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    int64_t machine = 0, run = po_field_int(b, "run"), on = 0;
    bool found = false;
    po_status s = po_machine_row(book, po_field_text(b, "machine"), &machine, err);
    if (s == PO_OK && run) {
        s = po_store_number(book->store, &on, &found, err,
                            "SELECT machine = ?2 FROM runs WHERE id = ?1 AND machine IS NOT NULL", "it", run,
                            po_field_text(b, "machine"));
        if (s == PO_OK && !found) {
            return po_fail_at(err, PO_E_NOTFOUND, "run", 0, 0, "there is no run %lld that had a machine",
                              (long long)run);
        }
        if (s == PO_OK && !on) {
            return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %lld was not on %s; name its own machine",
                              (long long)run, po_field_text(b, "machine"));
        }
    }
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO troubles(id, last, machine, symptom, run, note, by, opened_ms) "
                                 "VALUES(?1, ?1, ?2, ?3, nullif(?4, 0), ?5, ?6, ?7)",
                                 "iititti", book->event, machine, po_field_text(b, "symptom"), run,
                                 po_field_text(b, "note"), book->by, book->at_ms)
                   : s;
    po_book_answer_int(book, "trouble", book->event);
    return s == PO_OK ? po_book_made(book, PO_T_TROUBLES, book->event, err) : s;
}

/* The search of the body, which must be open. */
static po_status open_one(po_book *book, int64_t *ret, po_err *err)
{
    int64_t open = 0;
    bool found = false;
    *ret = po_field_int(book->body, "trouble");
    po_status s = po_store_number(book->store, &open, &found, err,
                                  "SELECT closed_ms IS NULL FROM troubles WHERE id = ?1", "i", *ret);
    if (s == PO_OK && !found) {
        return po_fail_at(err, PO_E_NOTFOUND, "trouble", 0, 0, "there is no search %lld", (long long)*ret);
    }
    if (s == PO_OK && !open) {
        return po_fail_at(err, PO_E_CONFLICT, "trouble", 0, 0, "search %lld is closed; open another one",
                          (long long)*ret);
    }
    po_book_answer_int(book, "trouble", *ret);
    return s;
}

po_status po_apply_trouble_check(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    int64_t trouble = 0, id = 0;
    bool found = false;
    po_status s = open_one(book, &trouble, err);
    s = s == PO_OK
            ? po_store_number(book->store, &id, &found, err, "SELECT id FROM looks WHERE trouble = ?1 AND looked = ?2",
                              "it", trouble, po_field_text(b, "check"))
            : s;
    if (s == PO_OK && found) {
        s = po_book_touch(book, PO_T_LOOKS, id, err);
    } else if (s == PO_OK) {
        s = po_book_next_id(book, PO_T_LOOKS, &id, err);
        s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                     "INSERT INTO looks(id, last, trouble, looked, answer, by, at_ms) VALUES(?1, ?2, "
                                     "?3, ?4, '', '', 0)",
                                     "iiit", id, book->event, trouble, po_field_text(b, "check"))
                       : s;
        s = s == PO_OK ? po_book_made(book, PO_T_LOOKS, id, err) : s;
    }
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE looks SET last = ?1, answer = ?2, minutes = nullif(?3, -1), by = ?4, at_ms "
                                    "= ?5 WHERE id = ?6",
                                    "ititii", book->event, po_field_text(b, "answer"), po_field_or_none(b, "minutes"),
                                    book->by, book->at_ms, id)
                      : s;
}

po_status po_apply_trouble_close(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *cause = po_field_text(b, "cause");
    bool confirmed = po_field_flag(b, "confirmed");
    int64_t trouble = 0;
    if (confirmed && !cause) {
        return po_fail_at(err, PO_E_RANGE, "cause", 0, 0, "a cause that was confirmed must be named");
    }
    po_status s = open_one(book, &trouble, err);
    s = s == PO_OK ? po_book_touch(book, PO_T_TROUBLES, trouble, err) : s;
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE troubles SET last = ?1, closed_ms = ?2, closed_by = ?3, cause = ?4, "
                                    "confirmed = ?5, remedy = ?6, closing = ?7 WHERE id = ?8",
                                    "iittitti", book->event, book->at_ms, book->by, cause, (int64_t)confirmed,
                                    po_field_text(b, "remedy"), po_field_text(b, "note"), trouble)
                      : s;
}

po_status po_apply_trouble_reset(po_book *book, po_err *err)
{
    po_status s = po_store_do(book->store, NULL, err,
                              "INSERT INTO resets(id, last, symptom, reason, by, at_ms) VALUES(?1, ?1, ?2, ?3, ?4, ?5)",
                              "ittti", book->event, po_field_text(book->body, "symptom"),
                              po_field_text(book->body, "reason"), book->by, book->at_ms);
    return s == PO_OK ? po_book_made(book, PO_T_RESETS, book->event, err) : s;
}

po_status po_ask_troubles(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p), trouble = po_field_int(p, "trouble");
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/troubles/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT t.id AS trouble, m.machine AS machine, t.symptom AS symptom, t.run AS run, t.note AS note, t.by AS by, "
        "t.opened_ms AS opened_ms, t.closed_ms AS closed_ms, t.closed_by AS closed_by, t.cause AS cause, t.confirmed "
        "AS "
        "is_confirmed, t.remedy AS remedy, t.closing AS closing, (SELECT json_group_array(json_object('check', looked, "
        "'answer', answer, 'minutes', minutes, 'by', by, 'at_ms', at_ms)) FROM (SELECT * FROM looks WHERE trouble = "
        "t.id ORDER BY id)) AS json_checks FROM troubles t JOIN machines m ON m.id = t.machine WHERE (?1 = 0 OR t.id = "
        "?1) AND (?2 IS NULL OR m.machine = ?2) AND (?3 = 0 OR t.run = ?3) AND (?4 IS NULL OR (t.closed_ms IS NULL) = "
        "(?4 = 'open')) ORDER BY t.id DESC LIMIT ?5",
        "ititi", trouble, po_field_text(p, "machine"), po_field_int(p, "run"), po_field_text(p, "state"), limit + 1);
    s = s == PO_OK ? po_put_rows(rows, ret, "troubles", limit, err) : s;
    if (s == PO_OK && trouble && json_array_size(json_object_get(ret, "troubles")) == 0) {
        return po_fail_at(err, PO_E_NOTFOUND, "trouble", 0, 0, "there is no search %lld", (long long)trouble);
    }
    return s;
}

/* Those that count: confirmed, and closed after the last reset that concerns them. */
#define COUNTS                                                                                                         \
    "t.confirmed = 1 AND (?1 IS NULL OR t.symptom = ?1) AND NOT EXISTS (SELECT 1 FROM resets x WHERE x.id > t.last "   \
    "AND (x.symptom IS NULL OR x.symptom = t.symptom))"

po_status po_ask_trouble_learned(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *symptom = po_field_text(p, "symptom");
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/trouble-learned/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT t.symptom AS symptom, t.cause AS cause, count(*) AS n FROM troubles t WHERE " COUNTS
        " GROUP BY t.symptom, t.cause ORDER BY t.symptom, t.cause",
        "t", symptom);
    s = s == PO_OK ? po_put_rows(rows, ret, "causes", -1, err) : s;
    s = s == PO_OK
            ? po_store_ask(store, &rows, err,
                           "SELECT t.symptom AS symptom, t.cause AS cause, l.looked AS \"check\", l.answer AS answer, "
                           "count(*) AS n FROM troubles t JOIN looks l ON l.trouble = t.id WHERE " COUNTS
                           " GROUP BY t.symptom, t.cause, l.looked, l.answer ORDER BY t.symptom, t.cause, "
                           "l.looked, l.answer",
                           "t", symptom)
            : s;
    s = s == PO_OK ? po_put_rows(rows, ret, "answers", -1, err) : s;
    s = s == PO_OK ? po_store_ask(store, &rows, err,
                                  "SELECT id AS event, symptom, reason, by, at_ms FROM resets WHERE ?1 IS NULL OR "
                                  "symptom IS NULL OR symptom = ?1 ORDER BY id DESC LIMIT 20",
                                  "t", symptom)
                   : s;
    s = s == PO_OK ? po_put_rows(rows, ret, "resets", -1, err) : s;
    json_object_del(ret, "more");
    return s;
}
