/* Runs: reserved, given up, handed out. SPDX-License-Identifier: Apache-2.0
 *
 * A reservation names what a run is for and takes nothing. At hand-out everything is held against the book, in the order in which
 * a person would ask: who, with which permission, which machine and stick, for what, from which spool, and who pays. */
#include <string.h>

#include "ledger/run_row.h"

/* One of the permissions that the machine asks for. *ret_permit 0: none was asked for. */
static po_status find_permit(po_book *book, int64_t member, int64_t *ret_permit, po_err *err)
{
    const json_t *any = json_object_get(book->body, "any_of");
    po_status s = PO_OK;
    *ret_permit = 0;
    for (size_t i = 0; s == PO_OK && !*ret_permit && i < json_array_size(any); i++) {
        s = po_permit_held(book->store, member, json_string_value(json_array_get(any, i)), book->at_ms, ret_permit,
                           err);
    }
    if (s == PO_OK && any && !*ret_permit) {
        return po_fail_at(err, PO_E_CONFLICT, "any_of", 0, 0,
                          "member %s does not hold the permission %s that %s needs: it is granted "
                          "after training",
                          po_field_text(book->body, "member"), json_string_value(json_array_get(any, 0)),
                          po_field_text(book->body, "machine"));
    }
    return s;
}

static int64_t or_none(const json_t *body, const char *name)
{
    return po_field_has(body, name) ? po_field_int(body, name) : -1;
}

/* A row that has to be filled yet. */
static po_status new_row(po_book *book, int64_t member, po_err *err)
{
    po_status s = po_store_do(book->store, NULL, err,
                              "INSERT INTO runs(id, last, member, by, state, out_ms, reserved_um, counts, rerun_first, "
                              "charge_um) VALUES(?1, ?1, ?2, ?3, 'reserved', ?4, 0, 1, 0, 0)",
                              "iiti", book->event, member, book->by, book->at_ms);
    return s == PO_OK ? po_book_made(book, PO_T_RUNS, book->event, err) : s;
}

/* What a reservation and a hand-out both say. */
static po_status put_facts(po_book *book, int64_t run, const json_t *b, po_err *err)
{
    return po_store_do(book->store, NULL, err,
                       "UPDATE runs SET last = ?1, machine = ?2, sha256 = ?3, file = ?4, recipe = ?5, course = ?6, "
                       "assignment = ?7, team "
                       "= ?8, fund = ?9, purpose = ?10, by = ?11, reserved_um = ?12, reserved_seconds = nullif(?13, "
                       "-1) WHERE id = ?14",
                       "ittttttttttiii", book->event, po_field_text(b, "machine"), po_field_text(b, "sha256"),
                       po_field_text(b, "file"), po_field_text(b, "recipe"), po_field_text(b, "course"),
                       po_field_text(b, "assignment"), po_field_text(b, "group"), po_field_text(b, "fund"),
                       po_field_text(b, "purpose"), book->by, po_field_int(b, "um"), or_none(b, "seconds"), run);
}

po_status po_apply_run_reserve(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *number = po_field_text(b, "member"), *machine = po_field_text(b, "machine");
    int64_t promised = or_none(b, "promised"), start = promised < 0 ? book->at_ms : promised, retired = 0;
    po_member m = {0};
    if (promised >= 0 && promised < book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "promised", 0, 0,
                          "the promised start has passed already; give a later time");
    }
    po_status s = po_member_find(book->store, number, start, &m, err);
    if (s == PO_OK && m.suspended) {
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0,
                          "member %s is suspended then (%s); member resume ends it, or promise a later start", number,
                          m.reason);
    }
    if (s == PO_OK && machine) {
        s = po_store_number(book->store, &retired, NULL, err,
                            "SELECT 1 FROM machines WHERE machine = ?1 AND state = 'retired'", "t", machine);
        if (s == PO_OK && retired) {
            return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                              "%s has left the shop; name another machine, or none", machine);
        }
    }
    s = s == PO_OK ? po_purpose_holds(book->store, b, m.id, err) : s;
    s = s == PO_OK ? new_row(book, m.id, err) : s;
    s = s == PO_OK ? put_facts(book, book->event, b, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "UPDATE runs SET reserved_ms = ?1, promised_ms = nullif(?2, -1), due_ms = nullif(?3, -1) "
                          "WHERE id = ?4",
                          "iiii", book->at_ms, promised, or_none(b, "due"), book->event)
            : s;
    po_book_answer_int(book, "run", book->event);
    return s;
}

po_status po_apply_run_drop(po_book *book, po_err *err)
{
    po_run_row r = {0};
    po_status s = po_run_find(book->store, po_field_int(book->body, "run"), &r, err);
    if (s == PO_OK && !po_run_is(&r, "reserved")) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                          po_run_is(&r, "dropped") ? "run %lld was given up already"
                                                   : "run %lld was handed out: it can be taken back, not given up",
                          (long long)r.id);
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_RUNS, r.id, err) : s;
    po_book_answer_int(book, "run", r.id);
    return s == PO_OK
               ? po_store_do(book->store, NULL, err, "UPDATE runs SET last = ?1, state = 'dropped' WHERE id = ?2", "ii",
                             book->event, r.id)
               : s;
}

/* The reservation that becomes this run: it is the member's, and what it was for stays where the act says nothing else. */
static po_status from_reservation(po_book *book, json_t *b, int64_t run, int64_t member, po_err *err)
{
    static const char *const keys[] = {"file", "recipe", "purpose", "group", "fund", "course", "assignment"};
    po_run_row r = {0};
    po_rows *rows = NULL;
    po_status s = po_run_find(book->store, run, &r, err);
    if (s == PO_OK && !po_run_is(&r, "reserved")) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                          "run %lld does not wait any more: it is %s; hand out without it", (long long)run, r.state);
    }
    if (s == PO_OK && r.member != member) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                          "run %lld was reserved by member %s; it goes out to them only", (long long)run,
                          r.member_number);
    }
    s = s == PO_OK
            ? po_store_ask(book->store, &rows, err,
                           "SELECT file, recipe, purpose, team, fund, course, assignment FROM runs WHERE id = ?1", "i",
                           run)
            : s;
    if (s != PO_OK) {
        return s;
    }
    int n = po_field_has(b, "course") ? 5 : 7; /* an assignment is of its course */
    if (po_rows_next(rows)) {
        for (int i = 0; s == PO_OK && i < n; i++) {
            const char *was = po_rows_text(rows, i);
            if (was && !po_field_has(b, keys[i]) && json_object_set_new(b, keys[i], json_string(was)) != 0) {
                s = po_fail(err, PO_E_NOMEM, "out of memory for a run");
            }
        }
    }
    po_status end = po_rows_end(rows, s == PO_OK ? err : NULL);
    s = s == PO_OK ? end : s;
    return s == PO_OK ? po_book_touch(book, PO_T_RUNS, run, err) : s;
}

/* The price, and what is needed to tell what a length costs: from the act, else of the spool. */
static po_status read_price(po_book *book, const json_t *b, po_run_row *r, po_err *err)
{
    const json_t *uses = json_object_get(b, "uses");
    const char *spool = po_field_text(b, "spool"), *currency = po_field_text(b, "currency");
    po_spool sp = {.diameter_um = -1, .density_mg_cm3 = -1, .price_minor_kg = -1};
    spool = spool ? spool : po_field_text(json_array_get(uses, 0), "spool");
    po_status s = spool ? po_unless_old(book, po_spool_find(book->store, spool, &sp, err)) : PO_OK;
    r->diameter_um = po_field_has(b, "diameter_um") ? po_field_int(b, "diameter_um") : sp.diameter_um;
    r->density_mg_cm3 = po_field_has(b, "density_mg_cm3") ? po_field_int(b, "density_mg_cm3") : sp.density_mg_cm3;
    r->price_minor_kg = po_field_has(b, "price_minor_kg") ? po_field_int(b, "price_minor_kg") : sp.price_minor_kg;
    s = s == PO_OK ? po_price_holds(r->price_minor_kg, err) : s;
    po_cut_text(r->currency, sizeof r->currency, currency);
    return s == PO_OK && currency ? po_currency_holds(currency, err) : s;
}

static bool has_price(const po_run_row *r)
{
    return r->price_minor_kg >= 0 && r->diameter_um >= 0 && r->density_mg_cm3 >= 0;
}

/* A fund pays in its own currency, up to its budget. */
static po_status fund_pays(po_book *book, po_run_row *r, po_err *err)
{
    po_rows *rows = NULL;
    int64_t budget = -1, spent = 0, minor = 0;
    char currency[72] = "";
    po_status s = po_store_ask(book->store, &rows, err, "SELECT currency, budget_minor FROM funds WHERE fund = ?1", "t",
                               r->fund);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        po_cut_text(currency, sizeof currency, po_rows_text(rows, 0));
        budget = po_rows_kind(rows, 1) == 'i' ? po_rows_int(rows, 1) : -1;
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && r->currency[0] && strcmp(currency, r->currency) != 0) {
        return po_fail_at(err, PO_E_CONFLICT, "currency", 0, 0, "the fund %.40s is kept in %.3s, not in %.3s", r->fund,
                          currency, r->currency);
    }
    po_cut_text(r->currency, sizeof r->currency, currency);
    s = s == PO_OK ? po_run_minor(r, r->um, &minor, err) : s;
    if (s != PO_OK || budget < 0) {
        return s;
    }
    if (!has_price(r)) {
        return po_fail_at(err, PO_E_RANGE, "price_minor_kg", 0, 0,
                          "the fund %.40s has a budget, which takes a price with the filament's diameter and density",
                          r->fund);
    }
    s = po_store_number(book->store, &spent, NULL, err, "SELECT sum(fund_minor) FROM runs WHERE fund = ?1 AND id <> ?2",
                        "ti", r->fund, r->id);
    int64_t left = budget > spent ? budget - spent : 0;
    return s == PO_OK && minor > left
               ? po_fail_at(
                     err, PO_E_CONFLICT, "fund", 0, 0,
                     "the job costs %lld and the fund %.40s has %lld left (minor units of %.3s): leave it out, or use "
                     "another",
                     (long long)minor, r->fund, (long long)left, currency)
               : s;
}

enum { CENTIMETRE = 10000 }; /* um: nobody waives less */

/* Up to whole centimetres, for sentences: what is said is enough, and can be typed. */
static int64_t up(int64_t um)
{
    return um % CENTIMETRE == 0 ? um : um - um % CENTIMETRE + CENTIMETRE;
}

/* Who pays: a fund, or term and waivers and what was agreed beyond them. *ret_draw: what comes from waivers. */
static po_status who_pays(po_book *book, po_run_row *r, int64_t *ret_draw, po_err *err)
{
    int64_t need = 0, left = 0, waived = 0;
    char x[32], y[32], z[32];
    *ret_draw = 0;
    if (r->beyond[0] && r->fund[0]) {
        return po_fail_at(err, PO_E_CONFLICT, "beyond", 0, 0,
                          "the fund %.40s pays for the run: leave out beyond, or the fund", r->fund);
    }
    if (strcmp(r->beyond, "gift") == 0 && book->role < PO_ROLE_KEEPER) {
        return po_fail_at(err, PO_E_CONFLICT, "beyond", 0, 0,
                          "%.60s may not give filament away: it takes the role keeper", book->by);
    }
    if (r->beyond[0] && (!has_price(r) || !r->currency[0])) {
        return po_fail_at(err, PO_E_RANGE, !r->currency[0] ? "currency" : "price_minor_kg", 0, 0,
                          "beyond the allowance takes a price, a currency, and the filament's diameter and density");
    }
    if (r->fund[0]) {
        return fund_pays(book, r, err);
    }
    po_status s = po_run_need(book->store, r, r->um, &need, &left, err);
    s = s == PO_OK && need > 0 ? po_waivers_left(book->store, r->member, r->sha256, book->at_ms, &waived, err) : s;
    *ret_draw = waived < need ? waived : need;
    if (s != PO_OK || waived >= need || r->beyond[0]) {
        return s;
    }
    return r->term && r->um - (left > 0 ? left : 0) == need
               ? po_fail_at(err, PO_E_CONFLICT, "um", 0, 0,
                            "the job takes %s and %s are left of the term: a waiver of %s more would "
                            "do",
                            po_metres(x, up(r->um)), po_metres(y, left > 0 ? left - left % CENTIMETRE : 0),
                            po_metres(z, up(need - waived)))
               : po_fail_at(err, PO_E_CONFLICT, "um", 0, 0,
                            "the job takes %s and one run may take %s: a waiver of %s more would do",
                            po_metres(x, up(r->um)), po_metres(y, r->limit_um), po_metres(z, up(need - waived)));
}

/* Who, with which permission and which verdict, on which machine, from which stick. */
static po_status may_take(po_book *book, const po_member *m, int64_t *ret_permit, po_err *err)
{
    const json_t *b = book->body;
    const char *machine = po_field_text(b, "machine"), *stick = po_field_text(b, "stick");
    const char *verdict = po_field_text(b, "verdict");
    int64_t id = 0;
    if (m->suspended) {
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0, "member %s is suspended (%s); member resume ends it",
                          po_field_text(b, "member"), m->reason);
    }
    po_status s = find_permit(book, m->id, ret_permit, err);
    if (s == PO_OK && verdict && strcmp(verdict, "stop") == 0) {
        if (!po_field_has(b, "leave")) {
            return po_fail_at(err, PO_E_CONFLICT, "leave", 0, 0,
                              "the verdict on this job is stop: a keeper can hand it out, with a leave that says why");
        }
        if (book->role < PO_ROLE_KEEPER) {
            return po_fail_at(
                err, PO_E_CONFLICT, "verdict", 0, 0,
                "the verdict on this job is stop, and %.60s may not hand it out: it takes the role keeper", book->by);
        }
    }
    s = s == PO_OK ? po_machine_may_go_out(book->store, machine, err) : s;
    s = s == PO_OK ? po_ticket_leaves_free(book, machine, m->id, err) : s;
    s = s == PO_OK ? po_machine_row(book, machine, &id, err) : s;
    return s == PO_OK && stick ? po_unless_old(book, po_stick_goes_with(book->store, stick, machine, err)) : s;
}

static po_status put_hand_out(po_book *book, const po_run_row *r, int64_t permit, po_err *err)
{
    const json_t *b = book->body;
    return po_store_do(
        book->store, NULL, err,
        "UPDATE runs SET state = 'out', out_ms = ?1, term = nullif(?2, 0), permit = nullif(?3, 0), stick = ?4, spool = "
        "?5, "
        "verdict = ?6, leave = ?7, run_limit_um = nullif(?8, -1), beyond = nullif(?9, ''), currency = nullif(?10, ''), "
        "price_minor_kg = nullif(?11, -1), diameter_um = nullif(?12, -1), density_mg_cm3 = nullif(?13, -1) WHERE id = "
        "?14",
        "iiittttittiiii", book->at_ms, r->term, permit, po_field_text(b, "stick"), po_field_text(b, "spool"),
        po_field_text(b, "verdict"), po_field_text(b, "leave"), r->limit_um, r->beyond, r->currency, r->price_minor_kg,
        r->diameter_um, r->density_mg_cm3, r->id);
}

/* What is wrong with what the reservation brought along can't be left out of the act. */
static po_status purpose_holds(const po_book *book, const json_t *b, int64_t member, po_err *err)
{
    po_err why;
    po_status s = po_purpose_holds(book->store, b, member, &why);
    bool brought = (s == PO_E_CONFLICT || s == PO_E_NOTFOUND) && !po_field_has(book->body, why.where);
    if (s != PO_OK && err) {
        *err = why;
    }
    return brought
               ? po_fail_at(err, s, why.where, 0, 0,
                            "the reservation is for the %s %.64s, which it may be no more: name another for this run, "
                            "or drop the reservation and hand out without",
                            why.where, po_field_text(b, why.where))
               : s;
}

/* b: the body, with what the reservation brings along. */
static po_status hand_out(po_book *book, json_t *b, po_err *err)
{
    int64_t permit = 0, draw = 0, allowance = 0, end = 0, reservation = po_field_int(b, "run");
    po_run_row r = {.id = reservation ? reservation : book->event,
                    .um = po_field_int(b, "um"),
                    .limit_um = or_none(b, "run_limit_um"),
                    .counts = true};
    po_member m = {0};
    po_cut_text(r.beyond, sizeof r.beyond, po_field_text(b, "beyond"));
    po_cut_text(r.sha256, sizeof r.sha256, po_field_text(b, "sha256"));
    po_status s = po_member_find(book->store, po_field_text(b, "member"), book->at_ms, &m, err);
    r.member = m.id;
    s = s == PO_OK ? may_take(book, &m, &permit, err) : s;
    s = s == PO_OK && reservation ? from_reservation(book, b, reservation, m.id, err) : s;
    s = s == PO_OK ? purpose_holds(book, b, m.id, err) : s;
    po_cut_text(r.fund, sizeof r.fund, po_field_text(b, "fund"));
    s = s == PO_OK ? read_price(book, b, &r, err) : s;
    s = s == PO_OK ? po_term_at(book->store, book->at_ms, &r.term, &allowance, &end, err) : s;
    s = s == PO_OK ? who_pays(book, &r, &draw, err) : s;
    s = s == PO_OK && !reservation ? new_row(book, m.id, err) : s;
    s = s == PO_OK ? put_facts(book, r.id, b, err) : s;
    s = s == PO_OK ? put_hand_out(book, &r, permit, err) : s;
    s = s == PO_OK && draw > 0 ? po_waivers_draw(book, m.id, r.id, r.sha256, draw, err) : s;
    s = s == PO_OK ? po_takes_put(book, &r, err) : s;
    s = s == PO_OK ? po_run_settle(book, r.id, err) : s;
    return s == PO_OK && po_field_has(b, "ticket") ? po_ticket_claim(book, po_field_int(b, "ticket"), m.id, r.id, err)
                                                   : s;
}

po_status po_apply_run_hand_out(po_book *book, po_err *err)
{
    json_t *b = json_copy((json_t *)(uintptr_t)book->body); /* not deep: only keys are added */
    po_status s = b ? hand_out(book, b, err) : po_fail(err, PO_E_NOMEM, "out of memory for a hand-out");
    json_decref(b);
    return s;
}
