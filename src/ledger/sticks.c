/* Sticks: each belongs to one machine. SPDX-License-Identifier: Apache-2.0
 *
 * A stick goes out with its machine only, so a stick that is out is found through the run of that machine. While it is out
 * nothing is booked of it but that it was seen or can't be found: whoever has it relies on what is on it. */
#include <string.h>

#include "ledger/answers.h"

typedef struct stick_row {
    int64_t id, run; /* run 0: it is not out */
    char machine[72], state[8], member[72], reason[104];
} stick_row;

/* id 0: there is none of that name. */
static po_status read_stick(po_store *store, const char *stick, stick_row *ret, po_err *err)
{
    po_rows *rows = NULL;
    stick_row r = {0};
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT s.id, m.machine, s.state, coalesce(r.id, 0), n.member, s.reason FROM sticks s "
        "JOIN machines m ON m.id = s.machine LEFT JOIN runs r ON r.machine = m.machine AND r.state IN "
        "('out', 'ended', 'failed') AND r.stick = s.stick LEFT JOIN members n ON n.id = r.member WHERE "
        "s.stick = ?1",
        "t", stick);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        r.id = po_rows_int(rows, 0);
        po_cut_text(r.machine, sizeof r.machine, po_rows_text(rows, 1));
        po_cut_text(r.state, sizeof r.state, po_rows_text(rows, 2));
        r.run = po_rows_int(rows, 3);
        po_cut_text(r.member, sizeof r.member, po_rows_text(rows, 4));
        po_cut_text(r.reason, sizeof r.reason, po_rows_text(rows, 5));
    }
    *ret = r;
    return po_rows_end(rows, err);
}

static po_status refuse_state(const char *stick, const stick_row *r, po_err *err)
{
    if (strcmp(r->state, "retired") == 0) {
        return po_fail_at(err, PO_E_CONFLICT, "stick", 0, 0, "stick %s of %s is used no more (%s); take another one",
                          stick, r->machine, r->reason);
    }
    if (strcmp(r->state, "lost") == 0) {
        return po_fail_at(err, PO_E_CONFLICT, "stick", 0, 0,
                          "stick %s of %s is lost%s%s%s: stick count books that it was found", stick, r->machine,
                          r->reason[0] ? " (" : "", r->reason, r->reason[0] ? ")" : "");
    }
    return PO_OK;
}

static po_status refuse_out(const char *stick, const stick_row *r, po_err *err)
{
    return r->run ? po_fail_at(err, PO_E_CONFLICT, "stick", 0, 0,
                               "stick %s is out with %s and member %s (run %lld); take it back first", stick,
                               r->machine, r->member, (long long)r->run)
                  : PO_OK;
}

static po_status find_stick(po_store *store, const char *stick, stick_row *ret, po_err *err)
{
    po_status s = read_stick(store, stick, ret, err);
    return s == PO_OK && !ret->id ? po_fail_at(err, PO_E_NOTFOUND, "stick", 0, 0,
                                               "there is no stick %s in the book; stick add puts it there", stick)
                                  : s;
}

po_status po_stick_goes_with(po_store *store, const char *stick, const char *machine, po_err *err)
{
    stick_row r = {0};
    po_status s = find_stick(store, stick, &r, err);
    if (s == PO_OK && strcmp(r.machine, machine) != 0) {
        return po_fail_at(err, PO_E_CONFLICT, "stick", 0, 0,
                          "stick %s belongs to %s, not to %s: take a stick of %s, or stick assign gives it this one",
                          stick, r.machine, machine, machine);
    }
    return s == PO_OK ? refuse_state(stick, &r, err) : s;
}

/* The stick of the body, touched; a retired one is refused. */
static po_status take_stick(po_book *book, stick_row *ret, po_err *err)
{
    const char *stick = po_field_text(book->body, "stick");
    po_status s = find_stick(book->store, stick, ret, err);
    s = s == PO_OK && strcmp(ret->state, "retired") == 0 ? refuse_state(stick, ret, err) : s;
    po_book_answer_text(book, "stick", stick);
    return s == PO_OK ? po_book_touch(book, PO_T_STICKS, ret->id, err) : s;
}

/* A machine that sticks may belong to: any that has not left. */
static po_status owner(po_book *book, int64_t *ret_id, po_err *err)
{
    const char *machine = po_field_text(book->body, "machine");
    bool left = false;
    int64_t one = 0;
    po_status s = po_machine_row(book, machine, ret_id, err);
    s = s == PO_OK ? po_store_number(book->store, &one, &left, err,
                                     "SELECT 1 FROM machines WHERE id = ?1 AND state = 'retired'", "i", *ret_id)
                   : s;
    po_book_answer_text(book, "machine", machine);
    return s == PO_OK && left ? po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                                           "%s has left the shop; a stick belongs to a machine that is there", machine)
                              : s;
}

po_status po_apply_stick_add(po_book *book, po_err *err)
{
    const char *stick = po_field_text(book->body, "stick");
    stick_row r = {0};
    int64_t machine = 0;
    po_status s = read_stick(book->store, stick, &r, err);
    if (s == PO_OK && r.id) {
        bool lost = strcmp(r.state, "lost") == 0, retired = strcmp(r.state, "retired") == 0;
        return po_fail_at(err, PO_E_CONFLICT, "stick", 0, 0, "there is a stick %s already, of %s%s", stick, r.machine,
                          retired ? ", though it is used no more; give the new one another name"
                          : lost  ? ", booked as lost: stick count books that it was found"
                                  : ": stick assign gives it to another machine");
    }
    s = s == PO_OK ? owner(book, &machine, err) : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO sticks(id, last, stick, machine, state) VALUES(?1, ?1, ?2, ?3, 'there')",
                                 "iti", book->event, stick, machine)
                   : s;
    po_book_answer_text(book, "stick", stick);
    return s == PO_OK ? po_book_made(book, PO_T_STICKS, book->event, err) : s;
}

po_status po_apply_stick_assign(po_book *book, po_err *err)
{
    const char *stick = po_field_text(book->body, "stick"), *to = po_field_text(book->body, "machine");
    stick_row r = {0};
    int64_t machine = 0;
    /* the machine's row first: an undo goes backwards, and the stick must have left it before it is dropped */
    po_status s = owner(book, &machine, err);
    s = s == PO_OK ? take_stick(book, &r, err) : s;
    s = s == PO_OK ? refuse_state(stick, &r, err) : s;
    s = s == PO_OK ? refuse_out(stick, &r, err) : s;
    if (s == PO_OK && strcmp(r.machine, to) == 0) {
        return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0, "stick %s belongs to %s already", stick, to);
    }
    po_book_answer_text(book, "was_of", r.machine);
    return s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE sticks SET last = ?1, machine = ?2 WHERE id = ?3",
                                    "iii", book->event, machine, r.id)
                      : s;
}

po_status po_apply_stick_lost(po_book *book, po_err *err)
{
    stick_row r = {0};
    po_status s = take_stick(book, &r, err);
    if (s == PO_OK && strcmp(r.state, "lost") == 0) {
        return refuse_state(po_field_text(book->body, "stick"), &r, err);
    }
    po_book_answer_text(book, "machine", r.machine);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE sticks SET last = ?1, state = 'lost', reason = ?2 WHERE id = ?3", "iti",
                                    book->event, po_field_text(book->body, "reason"), r.id)
                      : s;
}

po_status po_apply_stick_count(po_book *book, po_err *err)
{
    stick_row r = {0};
    po_status s = take_stick(book, &r, err);
    po_book_answer_text(book, "machine", r.machine);
    po_book_answer_text(book, "was", r.state);
    return s == PO_OK
               ? po_store_do(
                     book->store, NULL, err,
                     "UPDATE sticks SET last = ?1, state = 'there', reason = NULL, counted_ms = ?2 WHERE id = ?3",
                     "iii", book->event, book->at_ms, r.id)
               : s;
}

po_status po_apply_stick_clear(po_book *book, po_err *err)
{
    const char *stick = po_field_text(book->body, "stick");
    stick_row r = {0};
    po_status s = take_stick(book, &r, err);
    s = s == PO_OK ? refuse_state(stick, &r, err) : s;
    s = s == PO_OK ? refuse_out(stick, &r, err) : s;
    if (s == PO_OK && po_field_int(book->body, "files") == 0) {
        return po_fail_at(err, PO_E_RANGE, "files", 0, 0, "no file was removed from stick %s; there is nothing to book",
                          stick);
    }
    po_book_answer_text(book, "machine", r.machine);
    return s == PO_OK
               ? po_store_do(book->store, NULL, err, "UPDATE sticks SET last = ?1, cleared_ms = ?2 WHERE id = ?3",
                             "iii", book->event, book->at_ms, r.id)
               : s;
}

po_status po_apply_stick_retire(po_book *book, po_err *err)
{
    const char *stick = po_field_text(book->body, "stick");
    stick_row r = {0};
    po_status s = take_stick(book, &r, err);
    s = s == PO_OK ? refuse_out(stick, &r, err) : s;
    po_book_answer_text(book, "machine", r.machine);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE sticks SET last = ?1, state = 'retired', reason = ?2 WHERE id = ?3", "iti",
                                    book->event, po_field_text(book->body, "reason"), r.id)
                      : s;
}

po_status po_ask_sticks(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/sticks/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT s.stick AS stick, m.machine AS machine, s.state AS state, s.reason AS reason, s.counted_ms AS "
        "counted_ms, s.cleared_ms AS cleared_ms, r.id AS run, n.member AS member, r.out_ms AS out_ms, r.file AS file, "
        "r.sha256 AS sha256 FROM sticks s JOIN machines m ON m.id = s.machine LEFT JOIN runs r ON r.machine = "
        "m.machine "
        "AND r.state IN ('out', 'ended', 'failed') AND r.stick = s.stick LEFT JOIN members n ON n.id = r.member WHERE "
        "(?1 IS NULL OR s.stick = ?1) AND (?2 IS NULL OR m.machine = ?2) ORDER BY m.machine, s.stick LIMIT ?3",
        "tti", po_field_text(p, "stick"), po_field_text(p, "machine"), (int64_t)PO_LIMIT_MOST + 1);
    return s == PO_OK ? po_put_rows(rows, ret, "sticks", PO_LIMIT_MOST, err) : s;
}
