/* Money of members beyond the allowance: payments, gifts, charges, refunds. SPDX-License-Identifier: Apache-2.0
 *
 * What a member owes is worked out anew whenever it is asked for: what their runs took beyond allowance and waivers and is
 * charged, plus charges and refunds, less payments and gifts, each currency by itself. Below nothing: the member has that
 * much with the shop. Whole minor units; no rate from one currency to another. */
#include <string.h>

#include "ledger/answers.h"

/* So that a million of them still add up in 64 bits. */
#define MINOR_MOST INT64_C(1000000000000)

po_status po_currency_holds(const char *currency, po_err *err)
{
    return strlen(currency) == 3 && strspn(currency, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == 3
               ? PO_OK
               : po_fail_at(err, PO_E_RANGE, "currency", 0, 0,
                            "%.40s is no currency; wanted its code of three capital letters (ISO 4217)", currency);
}

/* So that a price times 100 kg still is a number: ten million of the main unit for a kilogram. */
#define PRICE_MOST INT64_C(1000000000)

po_status po_price_holds(int64_t price_minor_kg, po_err *err)
{
    return price_minor_kg <= PRICE_MOST
               ? PO_OK
               : po_fail_at(err, PO_E_RANGE, "price_minor_kg", 0, 0,
                            "a price is at most %lld minor units for a kilogram", (long long)PRICE_MOST);
}

/* The run that money is for is a run of that member. */
static po_status run_is_theirs(po_book *book, int64_t run, const po_member *m, po_err *err)
{
    int64_t whose = 0;
    bool found = false;
    po_status s = po_store_number(book->store, &whose, &found, err, "SELECT member FROM runs WHERE id = ?1", "i", run);
    if (s == PO_OK && !found) {
        return po_fail_at(err, PO_E_NOTFOUND, "run", 0, 0, "there is no run %lld", (long long)run);
    }
    return s == PO_OK && whose != m->id ? po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                                                     "run %lld is not a run of member %s; name one of theirs, or none",
                                                     (long long)run, po_field_text(book->body, "member"))
                                        : s;
}

po_status po_apply_money_book(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *kind = po_field_text(b, "kind"), *currency = po_field_text(b, "currency");
    int64_t minor = po_field_int(b, "minor"), run = po_field_int(b, "run");
    po_member m = {0};
    if (minor > MINOR_MOST) {
        return po_fail_at(err, PO_E_RANGE, "minor", 0, 0, "an amount is at most %lld minor units",
                          (long long)MINOR_MOST);
    }
    if (strcmp(kind, "gift") == 0 && book->role < PO_ROLE_KEEPER) {
        return po_fail_at(err, PO_E_CONFLICT, "kind", 0, 0, "only a keeper gives away what a member owes; ask one");
    }
    po_status s = po_currency_holds(currency, err);
    s = s == PO_OK ? po_member_find(book->store, po_field_text(b, "member"), book->at_ms, &m, err) : s;
    s = s == PO_OK && run ? run_is_theirs(book, run, &m, err) : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO money(id, last, member, kind, minor, currency, run, reason, by, at_ms) "
                                 "VALUES(?1, ?1, ?2, ?3, ?4, ?5, nullif(?6, 0), ?7, ?8, ?9)",
                                 "iitititti", book->event, m.id, kind, minor, currency, run, po_field_text(b, "reason"),
                                 book->by, book->at_ms)
                   : s;
    po_book_answer_int(book, "entry", book->event);
    return s == PO_OK ? po_book_made(book, PO_T_MONEY, book->event, err) : s;
}

po_status po_ask_money(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p);
    po_member m = {0};
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/money/1");
    po_put_text(ret, "member", po_field_text(p, "member"));
    po_status s = po_member_find(store, po_field_text(p, "member"), now, &m, err);
    s = s == PO_OK
            ? po_store_ask(
                  store, &rows, err,
                  "SELECT currency, sum(run) AS runs_minor, sum(charge) AS charges_minor, sum(refund) AS "
                  "refunds_minor, "
                  "sum(payment) AS payments_minor, sum(gift) AS gifts_minor, sum(run + charge + refund - payment - "
                  "gift) AS owed_minor FROM (SELECT currency, beyond_minor AS run, 0 AS charge, 0 AS refund, 0 AS "
                  "payment, 0 AS gift FROM runs WHERE member = ?1 AND beyond = 'charge' AND beyond_minor <> 0 UNION "
                  "ALL SELECT currency, 0, iif(kind = 'charge', minor, 0), iif(kind = 'refund', minor, 0), iif(kind "
                  "= 'payment', minor, 0), iif(kind = 'gift', minor, 0) FROM money WHERE member = ?1) GROUP BY "
                  "currency ORDER BY currency",
                  "i", m.id)
            : s;
    s = s == PO_OK ? po_put_rows(rows, ret, "owed", PO_LIMIT_MOST, err) : s;
    s = s == PO_OK ? po_store_ask(
                         store, &rows, err,
                         "SELECT id AS entry, kind, minor, currency, run, reason, by, at_ms FROM money WHERE member = "
                         "?1 UNION ALL SELECT id, 'run', beyond_minor, currency, id, purpose, by, out_ms FROM runs "
                         "WHERE member = ?1 AND beyond = 'charge' AND beyond_minor <> 0 ORDER BY 1 DESC LIMIT ?2",
                         "ii", m.id, limit + 1)
                   : s;
    return s == PO_OK ? po_put_rows(rows, ret, "entries", limit, err) : s;
}
