/* Who pays for a run: term, waivers, a fund, money. SPDX-License-Identifier: Apache-2.0
 *
 * What a run takes is split at hand-out. A fund that the run names pays for all of it. Else what exceeds the allowance for one
 * run, or what is left of the term, is drawn from waivers; what they do not reach is charged or given in money, where that
 * was agreed (`beyond`); the rest is charged to the term. Every later figure (where it failed, what was really used, whether
 * it counts) settles the split anew: money is given back first when less was needed, then draws; what was used beyond the
 * proof goes to money where that was agreed, else to the term, which may then be overdrawn, because it has been used. */
#include <string.h>

#include "ledger/run_row.h"

static int64_t or_none(po_rows *rows, int column)
{
    return po_rows_kind(rows, column) == 'i' ? po_rows_int(rows, column) : -1;
}

po_status po_run_find(po_store *store, int64_t id, po_run_row *ret, po_err *err)
{
    po_rows *rows = NULL;
    po_run_row r = {.id = id};
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT r.member, coalesce(r.term, 0), coalesce(r.used_um, r.failed_um, r.reserved_um), r.reserved_um, "
        "r.run_limit_um, r.out_ms, r.started_ms, r.watched_ms, r.ended_ms, r.off_ms, r.real_seconds, r.price_minor_kg, "
        "r.diameter_um, r.density_mg_cm3, r.counts, r.outcome IS NOT NULL, r.failed_um IS NOT NULL, r.state, "
        "r.machine, "
        "r.sha256, r.fund, r.beyond, r.currency, m.member FROM runs r JOIN members m ON m.id = r.member WHERE r.id = "
        "?1",
        "i", id);
    if (s != PO_OK) {
        return s;
    }
    bool found = po_rows_next(rows);
    if (found) {
        r.member = po_rows_int(rows, 0);
        r.term = po_rows_int(rows, 1);
        r.um = po_rows_int(rows, 2);
        r.reserved_um = po_rows_int(rows, 3);
        int64_t *const may_miss[] = {&r.limit_um,    &r.out_ms,        &r.started_ms,   &r.watched_ms,
                                     &r.ended_ms,    &r.off_ms,        &r.real_seconds, &r.price_minor_kg,
                                     &r.diameter_um, &r.density_mg_cm3};
        for (int i = 0; i < 10; i++) {
            *may_miss[i] = or_none(rows, 4 + i);
        }
        r.counts = po_rows_int(rows, 14) != 0;
        r.has_outcome = po_rows_int(rows, 15) != 0;
        r.failed = po_rows_int(rows, 16) != 0;
        po_cut_text(r.state, sizeof r.state, po_rows_text(rows, 17));
        po_cut_text(r.machine, sizeof r.machine, po_rows_text(rows, 18));
        po_cut_text(r.sha256, sizeof r.sha256, po_rows_text(rows, 19));
        po_cut_text(r.fund, sizeof r.fund, po_rows_text(rows, 20));
        po_cut_text(r.beyond, sizeof r.beyond, po_rows_text(rows, 21));
        po_cut_text(r.currency, sizeof r.currency, po_rows_text(rows, 22));
        po_cut_text(r.member_number, sizeof r.member_number, po_rows_text(rows, 23));
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && !found) {
        return po_fail_at(err, PO_E_NOTFOUND, "run", 0, 0, "there is no run %lld", (long long)id);
    }
    *ret = r;
    return s;
}

bool po_run_is(const po_run_row *run, const char *states)
{
    return strstr(states, run->state) != NULL; /* no state's name is part of another's */
}

po_status po_run_take(po_book *book, const char *states, po_run_row *ret, po_err *err)
{
    static const struct {
        const char *state, *says;
    } why_not[] = {
        {"reserved", "is only reserved: hand the machine out first"},
        {"dropped", "was given up: reserve or hand out anew"},
        {"out", "is still going; book first that it ended or failed"},
        {"ended", "has ended already; undo that act if it is wrong"},
        {"failed", "has failed already; undo that act if it is wrong"},
        {"back", "was taken back already; undo that act if it is wrong"},
    };
    po_status s = po_run_find(book->store, po_field_int(book->body, "run"), ret, err);
    for (size_t i = 0; s == PO_OK && !po_run_is(ret, states) && i < sizeof why_not / sizeof why_not[0]; i++) {
        if (strcmp(why_not[i].state, ret->state) == 0) {
            s = po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %lld %s", (long long)ret->id, why_not[i].says);
        }
    }
    return s == PO_OK ? po_book_touch(book, PO_T_RUNS, ret->id, err) : s;
}

po_status po_run_need(po_store *store, const po_run_row *r, int64_t um, int64_t *ret_need, int64_t *ret_left,
                      po_err *err)
{
    int64_t need = r->limit_um >= 0 && um > r->limit_um ? um - r->limit_um : 0, allowance = 0, charged = 0;
    *ret_left = INT64_MAX;
    po_status s = PO_OK;
    if (r->term) {
        s = po_store_number(store, &allowance, NULL, err, "SELECT allowance_um FROM terms WHERE id = ?1", "i", r->term);
        s = s == PO_OK ? po_term_charged(store, r->member, r->term, r->id, &charged, err) : s;
        int64_t left = allowance - charged, over = um - (left > 0 ? left : 0);
        *ret_left = left;
        need = over > need ? over : need;
    }
    *ret_need = need;
    return s;
}

po_status po_run_minor(const po_run_row *r, int64_t um, int64_t *ret_minor, po_err *err)
{
    __extension__ typedef __int128 wide;
    *ret_minor = 0;
    if (r->price_minor_kg < 0 || r->diameter_um < 0 || r->density_mg_cm3 < 0) {
        return PO_OK;
    }
    int64_t mg = po_ledger_mg(um, r->diameter_um, r->density_mg_cm3);
    if (mg < 0) {
        return po_fail_at(err, PO_E_RANGE, "um", 0, 0,
                          "what it costs can be told for at most 10 km of filament of up to 10 mm and 30 g/cm3");
    }
    *ret_minor = (int64_t)(((wide)mg * r->price_minor_kg * 2 + 1000000) / 2000000);
    return PO_OK;
}

/* Give back draws until they come to `target`: the last drawn first. */
static po_status shrink_draws(po_book *book, int64_t run, int64_t target, int64_t *ret_drawn, po_err *err)
{
    int64_t ids[64], ums[64], drawn = 0;
    int n = 0;
    po_rows *rows = NULL;
    po_status s = po_store_ask(book->store, &rows, err, "SELECT id, um FROM draws WHERE run = ?1 ORDER BY id DESC", "i",
                               run);
    if (s != PO_OK) {
        return s;
    }
    while (n < 64 && po_rows_next(rows)) {
        ids[n] = po_rows_int(rows, 0);
        ums[n] = po_rows_int(rows, 1);
        drawn += ums[n++];
    }
    s = po_rows_end(rows, err);
    for (int i = 0; s == PO_OK && i < n && drawn > target; i++) {
        int64_t back = ums[i] < drawn - target ? ums[i] : drawn - target;
        if (back > 0) {
            s = po_book_touch(book, PO_T_DRAWS, ids[i], err);
            s = s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE draws SET last = ?1, um = ?2 WHERE id = ?3",
                                         "iii", book->event, ums[i] - back, ids[i])
                           : s;
            drawn -= back;
        }
    }
    *ret_drawn = drawn;
    return s;
}

po_status po_run_settle(po_book *book, int64_t id, po_err *err)
{
    po_run_row r = {0};
    int64_t need = 0, left = 0, drawn = 0, beyond = 0, beyond_minor = 0, fund = 0, fund_minor = 0;
    po_status s = po_run_find(book->store, id, &r, err);
    if (s != PO_OK) {
        return s;
    }
    int64_t um = r.counts ? r.um : 0;
    if (r.fund[0]) {
        fund = um;
        s = po_run_minor(&r, fund, &fund_minor, err);
    } else {
        s = po_run_need(book->store, &r, um, &need, &left, err);
        s = s == PO_OK ? shrink_draws(book, id, need, &drawn, err) : s;
        beyond = r.beyond[0] ? need - drawn : 0;
        s = s == PO_OK ? po_run_minor(&r, beyond, &beyond_minor, err) : s;
    }
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE runs SET charge_um = ?1, beyond_um = ?2, beyond_minor = ?3, fund_um = ?4, "
                                 "fund_minor = ?5 WHERE id = ?6",
                                 "iiiiii", um - drawn - beyond - fund, beyond, beyond_minor, fund, fund_minor, id)
                   : s;
    po_book_answer_int(book, "run", id);
    po_book_answer_int(book, "charged_um", um - drawn - beyond - fund);
    po_book_answer_int(book, "waived_um", drawn);
    if (r.beyond[0]) {
        po_book_answer_text(book, "beyond", r.beyond);
        po_book_answer_int(book, "beyond_um", beyond);
        po_book_answer_int(book, "beyond_minor", beyond_minor);
        po_book_answer_text(book, "currency", r.currency);
    }
    if (r.fund[0]) {
        po_book_answer_text(book, "fund", r.fund);
        po_book_answer_int(book, "fund_um", fund);
        po_book_answer_int(book, "fund_minor", fund_minor);
    }
    return s;
}
