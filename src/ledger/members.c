/* Members: enrolled, named, suspended, forgotten. SPDX-License-Identifier: Apache-2.0
 *
 * A member is a number. Name and contact stand in a table of their own that no event feeds: forgetting removes that row, and
 * everything that was used still adds up under the number. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ledger/book.h"

static po_role role_from(const char *word)
{
    return !word                         ? PO_ROLE_NONE
           : strcmp(word, "keeper") == 0 ? PO_ROLE_KEEPER
           : strcmp(word, "desk") == 0   ? PO_ROLE_DESK
           : strcmp(word, "member") == 0 ? PO_ROLE_MEMBER
                                         : PO_ROLE_NONE;
}

/* found false: no such number. state: 0 active, 1 suspended, 2 forgotten */
static po_status look_up(po_store *store, const char *number, int64_t at_ms, po_member *ret, bool *ret_found,
                         int *ret_state, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(store, &rows, err,
                               "SELECT id, role, state, reason, until_ms FROM members WHERE member = ?1", "t", number);
    if (s != PO_OK) {
        return s;
    }
    po_member m = {0};
    bool found = po_rows_next(rows);
    if (found) {
        const char *state = po_rows_word(rows, 2), *reason = po_rows_text(rows, 3);
        *ret_state = strcmp(state, "forgotten") == 0 ? 2 : strcmp(state, "suspended") == 0 ? 1 : 0;
        m.id = po_rows_int(rows, 0);
        m.role = role_from(po_rows_word(rows, 1));
        m.until_ms = po_rows_kind(rows, 4) == 'n' ? 0 : po_rows_int(rows, 4);
        m.suspended = *ret_state == 1 && (m.until_ms == 0 || m.until_ms > at_ms);
        po_cut_text(m.reason, sizeof m.reason, reason);
    }
    s = po_rows_end(rows, err);
    *ret = m;
    *ret_found = found;
    return s;
}

po_status po_member_find(po_store *store, const char *number, int64_t at_ms, po_member *ret, po_err *err)
{
    po_member m = {0};
    bool found = false;
    int state = 0;
    po_status s = look_up(store, number, at_ms, &m, &found, &state, err);
    if (s != PO_OK) {
        return s;
    }
    if (!found) {
        return po_fail_at(err, PO_E_NOTFOUND, "member", 0, 0, "there is no member %s; enrol them first", number);
    }
    if (state == 2) {
        return po_fail_at(err, PO_E_NOTFOUND, "member", 0, 0,
                          "member %s was forgotten; enrol them under another number", number);
    }
    *ret = m;
    return PO_OK;
}

po_status po_role_of(po_store *store, const char *by, int64_t at_ms, po_role *ret, po_err *err)
{
    *ret = strcmp(by, "keeper") == 0 ? PO_ROLE_KEEPER : strcmp(by, "desk") == 0 ? PO_ROLE_DESK : PO_ROLE_NONE;
    if (*ret != PO_ROLE_NONE) {
        return PO_OK;
    }
    po_member m = {0};
    bool found = false;
    int state = 0;
    po_status s = look_up(store, by, at_ms, &m, &found, &state, err);
    if (s == PO_OK && found && state != 2 && !m.suspended) {
        *ret = m.role;
    }
    return s;
}

static po_status keep_person(po_book *book, const char *number, po_err *err)
{
    const char *name = po_field_text(book->private, "name"), *contact = po_field_text(book->private, "contact");
    return po_store_do(
        book->store, NULL, err,
        "INSERT INTO persons(member, name, contact) VALUES(?1, ?2, ?3) ON CONFLICT(member) DO UPDATE SET "
        "name = coalesce(?2, name), contact = coalesce(?3, contact)",
        "ttt", number, name, contact);
}

po_status po_apply_member_enrol(po_book *book, po_err *err)
{
    const char *number = po_field_text(book->body, "member"), *role = po_field_text(book->body, "role");
    po_member m = {0};
    bool found = false;
    int state = 0;
    po_status s = look_up(book->store, number, book->at_ms, &m, &found, &state, err);
    if (s != PO_OK) {
        return s;
    }
    if (found) {
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0, "the number %s %s; take another", number,
                          state == 2 ? "belonged to somebody who was forgotten" : "belongs to a member already");
    }
    if (role_from(number) != PO_ROLE_NONE) {
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0, "%s is the word for a role; take another number", number);
    }
    if (role_from(role) > PO_ROLE_MEMBER && book->role < PO_ROLE_KEEPER) {
        return po_fail_at(err, PO_E_CONFLICT, "role", 0, 0, "only a keeper gives the role %s", role);
    }
    s = po_store_do(book->store, NULL, err,
                    "INSERT INTO members(id, last, member, role, state) VALUES(?1, ?1, ?2, ?3, 'active')", "itt",
                    book->event, number, role ? role : "member");
    if (s == PO_OK) {
        s = po_book_made(book, PO_T_MEMBERS, book->event, err);
    }
    if (s == PO_OK && book->private) {
        s = keep_person(book, number, err);
    }
    po_book_answer_text(book, "member", number);
    return s;
}

po_status po_apply_member_name(po_book *book, po_err *err)
{
    const char *number = po_field_text(book->body, "member");
    po_member m = {0};
    po_status s = po_member_find(book->store, number, book->at_ms, &m, err);
    return s == PO_OK && book->private ? keep_person(book, number, err) : s;
}

/* The member of the body, whose row is about to change. */
static po_status touch_member(po_book *book, po_member *ret, po_err *err)
{
    po_status s = po_member_find(book->store, po_field_text(book->body, "member"), book->at_ms, ret, err);
    return s == PO_OK ? po_book_touch(book, PO_T_MEMBERS, ret->id, err) : s;
}

po_status po_apply_member_role(po_book *book, po_err *err)
{
    po_member m = {0};
    po_status s = touch_member(book, &m, err);
    return s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE members SET last = ?1, role = ?2 WHERE id = ?3",
                                    "iti", book->event, po_field_text(book->body, "role"), m.id)
                      : s;
}

po_status po_apply_member_suspend(po_book *book, po_err *err)
{
    po_member m = {0};
    bool until = po_field_has(book->body, "until");
    int64_t until_ms = po_field_int(book->body, "until");
    if (until && until_ms <= book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "until", 0, 0, "the suspension would be over already; give a later time");
    }
    po_status s = touch_member(book, &m, err);
    if (s == PO_OK && m.role > PO_ROLE_MEMBER && book->role < PO_ROLE_KEEPER) {
        return po_fail(err, PO_E_CONFLICT, "only a keeper suspends somebody with the role %s", po_role_word(m.role));
    }
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE members SET last = ?1, state = 'suspended', reason = ?2, until_ms = "
                                    "nullif(?3, -1) WHERE id = ?4",
                                    "itii", book->event, po_field_text(book->body, "reason"),
                                    until ? until_ms : INT64_C(-1), m.id)
                      : s;
}

po_status po_apply_member_resume(po_book *book, po_err *err)
{
    po_member m = {0};
    po_status s = touch_member(book, &m, err);
    if (s == PO_OK && !m.suspended) {
        return po_fail(err, PO_E_CONFLICT, "member %s is not suspended", po_field_text(book->body, "member"));
    }
    if (s == PO_OK && m.role > PO_ROLE_MEMBER && book->role < PO_ROLE_KEEPER && book->answer) { /* older programs let */
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0,
                          "only a keeper ends the suspension of somebody with the "
                          "role %s",
                          po_role_word(m.role));
    }
    return s == PO_OK
               ? po_store_do(
                     book->store, NULL, err,
                     "UPDATE members SET last = ?1, state = 'active', reason = NULL, until_ms = NULL WHERE id = ?2",
                     "ii", book->event, m.id)
               : s;
}

/* A page of a tree that was filled anew keeps bytes of rows that went to another page, and overwriting what is deleted
 * (secure_delete) does not know them. So whoever is left is written to new pages, and all old ones are overwritten. */
static po_status write_anew(po_store *store, const char *read, const char *empty, const char *write, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(store, &rows, err, read, "");
    if (s != PO_OK) {
        return s;
    }
    const char *text = po_rows_next(rows) ? po_rows_text(rows, 0) : NULL;
    char *kept = text ? strdup(text) : NULL;
    s = po_rows_end(rows, err);
    s = s == PO_OK && !kept ? po_fail(err, PO_E_NOMEM, "out of memory for the names of persons") : s;
    s = s == PO_OK ? po_store_do(store, NULL, err, empty, "") : s;
    s = s == PO_OK ? po_store_do(store, NULL, err, write, "t", kept) : s;
    free(kept);
    return s;
}

po_status po_persons_write_anew(po_store *store, po_err *err)
{
    po_status s = write_anew(store, "SELECT json_group_array(json_array(member, name, contact)) FROM persons",
                             "DELETE FROM persons",
                             "INSERT INTO persons(member, name, contact) SELECT json_extract(value, '$[0]'), "
                             "json_extract(value, '$[1]'), json_extract(value, '$[2]') FROM json_each(?1)",
                             err);
    return s == PO_OK
               ? write_anew(store, "SELECT json_group_array(json_array(member, changed, password, pin)) FROM secrets",
                            "DELETE FROM secrets",
                            "INSERT INTO secrets(member, changed, password, pin) SELECT json_extract(value, '$[0]'), "
                            "json_extract(value, '$[1]'), json_extract(value, '$[2]'), json_extract(value, '$[3]') "
                            "FROM json_each(?1)",
                            err)
               : s;
}

po_status po_apply_member_forget(po_book *book, po_err *err)
{
    const char *number = po_field_text(book->body, "member");
    po_member m = {0};
    int64_t run = 0;
    bool out = false;
    po_status s = touch_member(book, &m, err);
    if (s == PO_OK) {
        s = po_store_number(book->store, &run, &out, err,
                            "SELECT id FROM runs WHERE member = ?1 AND state NOT IN ('back', 'dropped') LIMIT 1", "i",
                            m.id);
    }
    if (s == PO_OK && out) {
        return po_fail(err, PO_E_CONFLICT, "run %lld of member %s is not back yet; take it back or drop it first",
                       (long long)run, number);
    }
    if (s == PO_OK) {
        s = po_store_number(book->store, &run, &out, err,
                            "SELECT number FROM tickets WHERE member = ?1 AND state IN ('waiting', 'called') LIMIT 1",
                            "i", m.id);
    }
    if (s == PO_OK && out) {
        return po_fail(err, PO_E_CONFLICT, "member %s waits with ticket %lld; let them leave the line first", number,
                       (long long)run);
    }
    if (s == PO_OK) {
        s = po_store_do(
            book->store, NULL, err,
            "UPDATE members SET last = ?1, state = 'forgotten', reason = NULL, until_ms = NULL WHERE id = ?2", "ii",
            book->event, m.id);
    }
    s = s == PO_OK ? po_store_do(book->store, NULL, err, "DELETE FROM persons WHERE member = ?1", "t", number) : s;
    return s == PO_OK ? po_store_do(book->store, NULL, err, "DELETE FROM secrets WHERE member = ?1", "t", number) : s;
}
