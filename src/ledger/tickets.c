/* Tickets: members who wait for a machine. SPDX-License-Identifier: Apache-2.0
 *
 * Acts name a ticket by its public number, which only one that waits or is called has. Numbers go round from 1 to 999, so that
 * a screen and a person who reads it aloud can do with three digits. Nothing happens by itself when a called ticket's time is
 * up: questions show that it lapsed, another may be called meanwhile, and the desk says whether it was a no-show. */
#include <stdio.h>
#include <string.h>

#include "ledger/answers.h"

enum { NUMBERS = 999 };

#define LIVE "state IN ('waiting', 'called')" /* as in the index tickets_waiting */

typedef struct ticket_row {
    int64_t id, member, until_ms;
    char number_of[72]; /* the member's */
    bool called;
} ticket_row;

static po_status find_ticket(po_store *store, int64_t number, ticket_row *ret, po_err *err)
{
    po_rows *rows = NULL;
    ticket_row t = {0};
    po_status s = po_store_ask(store, &rows, err,
                               "SELECT t.id, t.member, coalesce(t.until_ms, 0), t.state = 'called', m.member FROM "
                               "tickets t JOIN members m ON m.id = t.member WHERE t." LIVE " AND t.number = ?1",
                               "i", number);
    if (s != PO_OK) {
        return s;
    }
    bool found = po_rows_next(rows);
    if (found) {
        t.id = po_rows_int(rows, 0);
        t.member = po_rows_int(rows, 1);
        t.until_ms = po_rows_int(rows, 2);
        t.called = po_rows_int(rows, 3) != 0;
        snprintf(t.number_of, sizeof t.number_of, "%s", po_rows_word(rows, 4));
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && !found) {
        return po_fail_at(err, PO_E_NOTFOUND, "ticket", 0, 0, "no ticket %lld waits or is called", (long long)number);
    }
    *ret = t;
    return s;
}

/* Whole minutes, begun ones counted: "1 minute". */
static const char *minutes(char out[32], int64_t ms)
{
    long long n = (ms + 59999) / 60000;
    snprintf(out, 32, "%lld minute%s", n, n == 1 ? "" : "s");
    return out;
}

po_status po_ticket_claim(po_book *book, int64_t ticket, int64_t member, int64_t run, po_err *err)
{
    ticket_row t = {0};
    char m[32];
    po_status s = find_ticket(book->store, ticket, &t, err);
    if (s == PO_OK && t.member != member) {
        return po_fail_at(err, PO_E_CONFLICT, "ticket", 0, 0, "ticket %lld is member %s's; name theirs, or none",
                          (long long)ticket, t.number_of);
    }
    if (s == PO_OK && t.called && t.until_ms <= book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "ticket", 0, 0,
                          "the time to claim ticket %lld was up %s ago; ticket call it again if the machine is still "
                          "for it",
                          (long long)ticket, minutes(m, book->at_ms - t.until_ms));
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_TICKETS, t.id, err) : s;
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE tickets SET last = ?1, state = 'claimed', run = ?2 WHERE id = ?3", "iii",
                                    book->event, run, t.id)
                      : s;
}

po_status po_ticket_leaves_free(const po_book *book, const char *machine, int64_t member, po_err *err)
{
    po_rows *rows = NULL;
    int64_t number = 0, until = 0;
    char m[32];
    po_status s = po_store_ask(book->store, &rows, err,
                               "SELECT number, until_ms FROM tickets WHERE " LIVE " AND state = 'called' AND offered = "
                               "?1 AND until_ms > ?2 AND member <> ?3",
                               "tii", machine, book->at_ms, member);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        number = po_rows_int(rows, 0);
        until = po_rows_int(rows, 1);
    }
    s = po_rows_end(rows, err);
    return s == PO_OK && number
               ? po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                            "%s is kept for ticket %lld for %s more; ticket pass that one, or hand out another machine",
                            machine, (long long)number, minutes(m, until - book->at_ms))
               : s;
}

static po_status next_number(po_store *store, int64_t *ret, po_err *err)
{
    bool taken[NUMBERS + 1] = {false};
    int64_t last = 0;
    po_rows *rows = NULL;
    po_status s = po_store_number(store, &last, NULL, err, "SELECT number FROM tickets ORDER BY id DESC LIMIT 1", "");
    s = s == PO_OK ? po_store_ask(store, &rows, err, "SELECT number FROM tickets WHERE " LIVE, "") : s;
    if (s != PO_OK) {
        return s;
    }
    while (po_rows_next(rows)) {
        taken[po_rows_int(rows, 0)] = true;
    }
    s = po_rows_end(rows, err);
    for (int64_t i = 0; s == PO_OK && i < NUMBERS; i++) {
        int64_t number = (last + i) % NUMBERS + 1;
        if (!taken[number]) {
            *ret = number;
            return PO_OK;
        }
    }
    return s == PO_OK ? po_fail(err, PO_E_CONFLICT,
                                "all %d numbers wait or are called; ticket pass or ticket leave those whose members "
                                "are gone",
                                NUMBERS)
                      : s;
}

/* Who may have a ticket now. */
static po_status may_take(po_book *book, const po_member *m, po_err *err)
{
    const json_t *b = book->body;
    const char *number = po_field_text(b, "member"), *machine = po_field_text(b, "machine");
    int64_t other = 0, lapsed = 0, days = po_field_has(b, "no_show_days") ? po_field_int(b, "no_show_days") : 30;
    bool found = false;
    if (m->suspended) {
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0, "member %s is suspended (%s); member resume ends it",
                          number, m->reason);
    }
    po_status s = po_store_number(book->store, &other, &found, err,
                                  "SELECT number FROM tickets WHERE member = ?1 AND " LIVE, "i", m->id);
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0,
                          "member %s has ticket %lld already; ticket leave that one first", number, (long long)other);
    }
    if (s == PO_OK && machine) {
        s = po_store_number(book->store, &other, &found, err,
                            "SELECT 1 FROM machines WHERE machine = ?1 AND state = 'retired'", "t", machine);
        if (s == PO_OK && found) {
            return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                              "%s has left the shop; wait for another machine, or for any", machine);
        }
    }
    if (s == PO_OK && po_field_has(b, "no_shows_most") && book->role < PO_ROLE_KEEPER) {
        if (days > PO_TIME_MOST / 86400000) {
            return po_fail_at(err, PO_E_RANGE, "no_show_days", 0, 0, "no_show_days is too long a time");
        }
        s = po_store_number(book->store, &lapsed, NULL, err,
                            "SELECT count(*) FROM tickets WHERE member = ?1 AND no_show = 1 AND until_ms > ?2", "ii",
                            m->id, book->at_ms - days * 86400000);
        if (s == PO_OK && lapsed > po_field_int(b, "no_shows_most")) {
            return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0,
                              "member %s let %lld tickets lapse in the last %lld days, and the shop bears %lld: a "
                              "keeper can take one for them",
                              number, (long long)lapsed, (long long)days, (long long)po_field_int(b, "no_shows_most"));
        }
    }
    return s;
}

po_status po_apply_ticket_take(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    int64_t number = 0, ahead = 0;
    po_member m = {0};
    po_status s = po_member_find(book->store, po_field_text(b, "member"), book->at_ms, &m, err);
    s = s == PO_OK ? may_take(book, &m, err) : s;
    s = s == PO_OK ? next_number(book->store, &number, err) : s;
    s = s == PO_OK ? po_store_number(book->store, &ahead, NULL, err, "SELECT count(*) FROM tickets WHERE " LIVE, "")
                   : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO tickets(id, last, member, number, machine, seconds, state, taken_ms) "
                                 "VALUES(?1, ?1, ?2, ?3, ?4, nullif(?5, -1), 'waiting', ?6)",
                                 "iiitii", book->event, m.id, number, po_field_text(b, "machine"),
                                 po_field_has(b, "seconds") ? po_field_int(b, "seconds") : INT64_C(-1), book->at_ms)
                   : s;
    po_book_answer_int(book, "ticket", number);
    po_book_answer_int(book, "ahead", ahead);
    return s == PO_OK ? po_book_made(book, PO_T_TICKETS, book->event, err) : s;
}

/* A machine is free for one ticket at a time. */
static po_status may_offer(po_book *book, const char *machine, const ticket_row *t, po_err *err)
{
    int64_t other = 0;
    bool found = false;
    po_status s = po_machine_may_go_out(book->store, machine, err);
    s = s == PO_OK ? po_store_number(book->store, &other, &found, err,
                                     "SELECT number FROM tickets WHERE " LIVE " AND state = 'called' AND offered = ?1 "
                                     "AND until_ms > ?2 AND id <> ?3",
                                     "tii", machine, book->at_ms, t->id)
                   : s;
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                          "%s is kept for ticket %lld, which was called; ticket pass that one, or wait", machine,
                          (long long)other);
    }
    return s;
}

po_status po_apply_ticket_call(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *machine = po_field_text(b, "machine"), *message = po_field_text(b, "message");
    int64_t until = po_field_int(b, "until"), number = po_field_int(b, "ticket");
    ticket_row t = {0};
    char m[32];
    po_status s = find_ticket(book->store, number, &t, err);
    if (s == PO_OK && t.called && t.until_ms > book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "ticket", 0, 0,
                          "ticket %lld is called already and can be claimed for %s more; ticket pass it or wait",
                          (long long)number, minutes(m, t.until_ms - book->at_ms));
    }
    if (s == PO_OK && until <= book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "until", 0, 0, "that time is past; give a later one to come by");
    }
    s = s == PO_OK && machine ? may_offer(book, machine, &t, err) : s;
    s = s == PO_OK ? po_book_touch(book, PO_T_TICKETS, t.id, err) : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE tickets SET last = ?1, state = 'called', called_ms = ?2, until_ms = ?3, "
                                 "offered = ?4 WHERE id = ?5",
                                 "iiiti", book->event, book->at_ms, until, machine, t.id)
                   : s;
    s = s == PO_OK && message ? po_message_put(book, t.member, "ticket", message, 0, err) : s;
    po_book_answer_int(book, "ticket", number);
    po_book_answer_text(book, "member", t.number_of);
    return s;
}

po_status po_apply_ticket_pass(po_book *book, po_err *err)
{
    int64_t number = po_field_int(book->body, "ticket");
    bool no_show = po_field_flag(book->body, "no_show");
    ticket_row t = {0};
    char m[32];
    po_status s = find_ticket(book->store, number, &t, err);
    if (s == PO_OK && !t.called) {
        return po_fail_at(err, PO_E_CONFLICT, "ticket", 0, 0,
                          "ticket %lld was not called yet; ticket leave takes it off the list", (long long)number);
    }
    if (s == PO_OK && no_show && t.until_ms > book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "no_show", 0, 0,
                          "ticket %lld can be claimed for %s more: it is no no-show before that", (long long)number,
                          minutes(m, t.until_ms - book->at_ms));
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_TICKETS, t.id, err) : s;
    po_book_answer_int(book, "ticket", number);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE tickets SET last = ?1, state = 'passed', no_show = ?2 WHERE id = ?3", "iii",
                                    book->event, (int64_t)no_show, t.id)
                      : s;
}

po_status po_apply_ticket_leave(po_book *book, po_err *err)
{
    int64_t number = po_field_int(book->body, "ticket");
    ticket_row t = {0};
    po_status s = find_ticket(book->store, number, &t, err);
    s = s == PO_OK ? po_book_touch(book, PO_T_TICKETS, t.id, err) : s;
    po_book_answer_int(book, "ticket", number);
    return s == PO_OK
               ? po_store_do(book->store, NULL, err, "UPDATE tickets SET last = ?1, state = 'left' WHERE id = ?2", "ii",
                             book->event, t.id)
               : s;
}

#define PUBLIC_COLUMNS                                                                                                 \
    "t.number AS ticket, t.state AS state, t.called_ms AS called_ms, t.until_ms AS until_ms, t.offered AS offered, "   \
    "t.state = 'called' AND t.until_ms <= ?1 AS is_lapsed"
#define ALL_COLUMNS                                                                                                    \
    PUBLIC_COLUMNS ", t.id AS taken_by_event, m.member AS member, t.machine AS machine, t.seconds AS seconds, "        \
                   "t.taken_ms AS taken_ms, t.no_show AS is_no_show, t.run AS run, (SELECT count(*) FROM tickets n "   \
                   "WHERE n.member = t.member AND n.no_show = 1 AND n.until_ms > ?3) AS no_shows "                     \
                   "FROM tickets t JOIN members m ON m.id = t.member"

po_status po_ask_tickets(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p), since = po_field_int(p, "no_shows_since");
    bool public = po_field_flag(p, "public"), all = po_field_flag(p, "all");
    const char *member = po_field_text(p, "member");
    po_rows *rows = NULL;
    if (member && !all) {
        return po_fail_at(err, PO_E_RANGE, "member", 0, 0, "the tickets of a member are asked for with all");
    }
    if (public && all) {
        return po_fail_at(err, PO_E_RANGE, "all", 0, 0, "the public list is of those that wait or are called only");
    }
    po_put_text(ret, "format", "proveout/tickets/1");
    po_put_int(ret, "at_ms", now);
    po_status s = public ? po_store_ask(store, &rows, err,
                                        "SELECT " PUBLIC_COLUMNS " FROM tickets t WHERE t." LIVE
                                        " ORDER BY t.taken_ms, t.id LIMIT ?2",
                                        "ii", now, limit + 1)
                  : all  ? po_store_ask(store, &rows, err,
                                        "SELECT " ALL_COLUMNS " WHERE m.member = coalesce(?4, m.member) "
                                         "ORDER BY t.id DESC LIMIT ?2",
                                        "iiit", now, limit + 1, since, member)
                         : po_store_ask(store, &rows, err,
                                        "SELECT " ALL_COLUMNS " WHERE t." LIVE " ORDER BY t.taken_ms, t.id LIMIT ?2",
                                        "iii", now, limit + 1, since);
    return s == PO_OK ? po_put_rows(rows, ret, "tickets", limit, err) : s;
}
