/* Rounds of the machines and hand-over notes. SPDX-License-Identifier: Apache-2.0
 *
 * One round is open at a time, so that two people at opening do not walk past each other. What a round found at a machine does
 * not change runs or machines: it is said beside what the book says, and the desk books what is missing. */
#include <stdio.h>
#include <string.h>

#include "ledger/answers.h"

#define OPEN "done_ms IS NULL" /* as in the index rounds_open */

po_status po_apply_round_begin(po_book *book, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(book->store, &rows, err, "SELECT id, kind, by FROM rounds WHERE " OPEN, "");
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        s = po_fail_at(err, PO_E_CONFLICT, "kind", 0, 0,
                       "the %s round %lld, which %s began, is still open; finish it with round done",
                       po_rows_word(rows, 1), (long long)po_rows_int(rows, 0), po_rows_word(rows, 2));
    }
    po_status end = po_rows_end(rows, s == PO_OK ? err : NULL);
    s = s == PO_OK ? end : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO rounds(id, last, kind, by, begun_ms) VALUES(?1, ?1, ?2, ?3, ?4)", "itti",
                                 book->event, po_field_text(book->body, "kind"), book->by, book->at_ms)
                   : s;
    po_book_answer_int(book, "round", book->event);
    return s == PO_OK ? po_book_made(book, PO_T_ROUNDS, book->event, err) : s;
}

static po_status round_is_open(po_book *book, int64_t *ret_id, po_err *err)
{
    int64_t id = po_field_int(book->body, "round"), open = 0;
    bool found = false;
    po_status s = po_store_number(book->store, &open, &found, err, "SELECT " OPEN " FROM rounds WHERE id = ?1", "i",
                                  id);
    if (s == PO_OK && !found) {
        return po_fail_at(err, PO_E_NOTFOUND, "round", 0, 0, "there is no round %lld", (long long)id);
    }
    if (s == PO_OK && !open) {
        return po_fail_at(err, PO_E_CONFLICT, "round", 0, 0, "round %lld is done; undo that act, or begin another",
                          (long long)id);
    }
    *ret_id = id;
    return s;
}

/* What the book says of the machine's run, for whoever stands before it. */
static po_status answer_run(po_book *book, const char *machine, po_err *err)
{
    po_rows *rows = NULL;
    if (!book->answer) {
        return PO_OK;
    }
    po_status s = po_store_ask(book->store, &rows, err,
                               "SELECT id, state FROM runs WHERE machine = ?1 AND state IN ('out', 'ended', 'failed')",
                               "t", machine);
    if (s == PO_OK && po_rows_next(rows)) {
        po_book_answer_int(book, "run", po_rows_int(rows, 0));
        po_book_answer_text(book, "run_state", po_rows_word(rows, 1));
    }
    return s == PO_OK ? po_rows_end(rows, err) : s;
}

po_status po_apply_round_machine(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *machine = po_field_text(b, "machine");
    int64_t round = 0, id = 0, row = 0, ignored = 0;
    bool found = false;
    po_status s = round_is_open(book, &round, err);
    s = s == PO_OK ? po_machine_row(book, machine, &id, err) : s;
    s = s == PO_OK ? po_store_number(book->store, &ignored, &found, err,
                                     "SELECT 1 FROM machines WHERE id = ?1 AND state = 'retired'", "i", id)
                   : s;
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0, "%s has left the shop; no round looks for it", machine);
    }
    s = s == PO_OK ? po_store_number(book->store, &row, &found, err,
                                     "SELECT id FROM found WHERE round = ?1 AND machine = ?2", "ii", round, id)
                   : s;
    if (s == PO_OK && found) {
        s = po_book_touch(book, PO_T_FOUND, row, err);
    } else if (s == PO_OK) {
        row = book->event;
        s = po_store_do(book->store, NULL, err,
                        "INSERT INTO found(id, last, round, machine, found, bed_clear, stick_there, nozzle_clean, "
                        "spool_on, heaters_off, at_ms) VALUES(?1, ?1, ?2, ?3, '', 0, 0, 0, 0, 0, 0)",
                        "iii", row, round, id);
        s = s == PO_OK ? po_book_made(book, PO_T_FOUND, row, err) : s;
    }
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "UPDATE found SET last = ?1, found = ?2, bed_clear = ?3, stick_there = ?4, nozzle_clean = "
                          "?5, spool_on = ?6, heaters_off = ?7, note = ?8, at_ms = ?9 WHERE id = ?10",
                          "itiiiiitii", book->event, po_field_text(b, "found"), (int64_t)po_field_flag(b, "bed_clear"),
                          (int64_t)po_field_flag(b, "stick_there"), (int64_t)po_field_flag(b, "nozzle_clean"),
                          (int64_t)po_field_flag(b, "spool_on"), (int64_t)po_field_flag(b, "heaters_off"),
                          po_field_text(b, "note"), book->at_ms, row)
            : s;
    po_book_answer_int(book, "round", round);
    po_book_answer_text(book, "machine", machine);
    return s == PO_OK ? answer_run(book, machine, err) : s;
}

/* Machines that a round has not seen: names for a sentence. */
typedef struct unseen {
    char names[140];
    int n, n_named;
} unseen;

static void add_unseen(unseen *u, const char *machine)
{
    size_t at = strlen(u->names);
    u->n++;
    if (u->n == u->n_named + 1 && at + strlen(machine) + 3 < sizeof u->names) {
        snprintf(u->names + at, sizeof u->names - at, "%s%s", at ? ", " : "", machine);
        u->n_named++;
    }
}

#define NOT_SEEN                                                                                                       \
    "SELECT machine FROM machines WHERE state = 'in-use' AND NOT EXISTS (SELECT 1 FROM found WHERE round = ?1 AND "    \
    "found.machine = machines.id) ORDER BY machine"

static po_status find_unseen(po_book *book, int64_t round, unseen *u, po_err *err)
{
    const json_t *shop = json_object_get(book->body, "machines");
    po_rows *rows = NULL;
    po_status s = po_store_ask(book->store, &rows, err, NOT_SEEN, "i", round);
    if (s != PO_OK) {
        return s;
    }
    while (po_rows_next(rows)) {
        add_unseen(u, po_rows_word(rows, 0));
    }
    s = po_rows_end(rows, err);
    for (size_t i = 0; s == PO_OK && i < json_array_size(shop); i++) { /* those that no act has named yet */
        const char *name = json_string_value(json_array_get(shop, i));
        int64_t id = 0;
        bool known = false;
        s = po_store_number(book->store, &id, &known, err, "SELECT id FROM machines WHERE machine = ?1", "t", name);
        if (s == PO_OK && !known) {
            add_unseen(u, name);
        }
    }
    return s;
}

po_status po_apply_round_done(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    int64_t id = 0, n = 0;
    unseen u = {0};
    po_status s = round_is_open(book, &id, err);
    s = s == PO_OK ? find_unseen(book, id, &u, err) : s;
    if (s == PO_OK && u.n > 0 && !po_field_has(b, "unseen")) {
        char more[32] = "";
        if (u.n > u.n_named) {
            snprintf(more, sizeof more, " and %d more", u.n - u.n_named);
        }
        return po_fail_at(err, PO_E_CONFLICT, "unseen", 0, 0,
                          "the round has not seen %s%s; look, or say why not with --unseen", u.names, more);
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_ROUNDS, id, err) : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE rounds SET last = ?1, done_ms = ?2, done_by = ?3, note = ?4, unseen = ?5 "
                                 "WHERE id = ?6",
                                 "iittti", book->event, book->at_ms, book->by, po_field_text(b, "note"),
                                 u.n > 0 ? po_field_text(b, "unseen") : NULL, id)
                   : s;
    s = s == PO_OK && book->answer
            ? po_store_number(book->store, &n, NULL, err, "SELECT count(*) FROM found WHERE round = ?1", "i", id)
            : s;
    po_book_answer_int(book, "round", id);
    po_book_answer_int(book, "machines", n);
    return s;
}

po_status po_apply_note_leave(po_book *book, po_err *err)
{
    po_status s = po_store_do(book->store, NULL, err,
                              "INSERT INTO notes(id, last, text, by, at_ms) VALUES(?1, ?1, ?2, ?3, ?4)", "itti",
                              book->event, po_field_text(book->body, "text"), book->by, book->at_ms);
    po_book_answer_int(book, "note", book->event);
    return s == PO_OK ? po_book_made(book, PO_T_NOTES, book->event, err) : s;
}

#define COLUMNS                                                                                                        \
    "SELECT r.id AS round, r.kind AS kind, r.by AS by, r.begun_ms AS begun_ms, r.done_ms AS done_ms, r.done_by AS "    \
    "done_by, r.note AS note, r.unseen AS unseen, (SELECT count(*) FROM found WHERE round = r.id) AS machines FROM "   \
    "rounds r "

static po_status put_found(po_store *store, int64_t round, json_t *ret, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT m.machine AS machine, f.found AS found, f.bed_clear AS is_bed_clear, f.stick_there AS is_stick_there, "
        "f.nozzle_clean AS is_nozzle_clean, f.spool_on AS is_spool_on, f.heaters_off AS is_heaters_off, f.note AS "
        "note, f.at_ms AS at_ms FROM found f JOIN machines m ON m.id = f.machine WHERE f.round = ?1 ORDER BY "
        "m.machine",
        "i", round);
    s = s == PO_OK ? po_put_rows(rows, ret, "found", PO_LIMIT_MOST, err) : s;
    const json_t *one = json_array_get(json_object_get(ret, "rounds"), 0);
    bool open = json_is_null(json_object_get(one, "done_ms"));
    s = s == PO_OK && open ? po_store_ask(store, &rows, err, NOT_SEEN, "i", round) : s;
    if (s == PO_OK && open) { /* which are left to see */
        json_t *left = json_array();
        while (po_rows_next(rows)) {
            if (json_array_append_new(left, json_string(po_rows_text(rows, 0))) != 0) {
                json_object_clear(ret);
            }
        }
        po_put(ret, "left", left);
        s = po_rows_end(rows, err);
    }
    return s;
}

po_status po_ask_rounds(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p), round = po_field_int(p, "round");
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/rounds/1");
    po_status s = round ? po_store_ask(store, &rows, err, COLUMNS "WHERE r.id = ?1", "i", round)
                        : po_store_ask(store, &rows, err, COLUMNS "ORDER BY r.id DESC LIMIT ?1", "i", limit + 1);
    s = s == PO_OK ? po_put_rows(rows, ret, "rounds", limit, err) : s;
    if (s == PO_OK && round && json_array_size(json_object_get(ret, "rounds")) == 0) {
        return po_fail_at(err, PO_E_NOTFOUND, "round", 0, 0, "there is no round %lld", (long long)round);
    }
    return s == PO_OK && round ? put_found(store, round, ret, err) : s;
}
