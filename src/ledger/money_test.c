/* Money of members: what is owed, what is refused, taking back. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/book.h"
#include "ledger/ledger_kit.h"

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m2\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
    OK(kit_act(k, "run-hand-out", "d1",
               "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":25000000,\"sha256\":\"" KIT_SHA "\"}"));
}

static po_status book(kit *k, const char *by, const char *kind, int64_t minor, const char *currency, int run)
{
    char more[32] = "";
    if (run) {
        snprintf(more, sizeof more, ",\"run\":%d", run);
    }
    return kit_act(
        k, "money-book", by,
        "{\"member\":\"m1\",\"kind\":\"%s\",\"minor\":%lld,\"currency\":\"%s\",\"reason\":\"at the desk\"%s}", kind,
        (long long)minor, currency, more);
}

static int64_t owed(kit *k, const char *what)
{
    return kit_number(kit_ask(k, "money", "{\"member\":\"m1\"}"), what);
}

static void refusals(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    static const struct {
        const char *by, *kind;
        int64_t minor;
        const char *currency;
        int run;
        po_status want;
        const char *where, *words;
    } cases[] = {
        {"d1", "gift", 100, "GBP", 0, PO_E_CONFLICT, "kind", "only a keeper gives"},
        {"d1", "charge", 0, "GBP", 0, PO_E_RANGE, "minor", "expected a whole number, 1 or more"},
        {"d1", "charge", INT64_C(1000000000001), "GBP", 0, PO_E_RANGE, "minor", "at most 1000000000000"},
        {"d1", "charge", 1, "gbp", 0, PO_E_RANGE, "currency", "gbp is no currency"},
        {"d1", "charge", 1, "GBPX", 0, PO_E_RANGE, "currency", "ISO 4217"},
        {"d1", "tip", 1, "GBP", 0, PO_E_RANGE, "kind", "payment|charge|gift|refund"},
        {"d1", "charge", 1, "GBP", 99, PO_E_NOTFOUND, "run", "there is no run 99"},
        {"m2", "payment", 1, "GBP", 0, PO_E_CONFLICT, NULL, "desk"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        po_status s = book(k, cases[i].by, cases[i].kind, cases[i].minor, cases[i].currency, cases[i].run);
        if (s != cases[i].want || (cases[i].where && strcmp(k->err.where, cases[i].where) != 0) ||
            !strstr(k->err.msg, cases[i].words)) {
            fail_msg("case %zu: %d at \"%s\": %s", i, s, k->err.where, k->err.msg);
        }
    }
    assert_int_equal(kit_act(k, "money-book", "d1",
                             "{\"member\":\"m2\",\"kind\":\"charge\",\"minor\":1,\"currency\":\"GBP\",\"reason\":\"r\","
                             "\"run\":4}"),
                     PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "run 4 is not a run of member m2"));
    assert_int_equal(kit_number(kit_ask(k, "events", "{\"after\":4}"), "events/0/event"), -1);
    kit_clean(k);
    kit_end(k);
}

static void adds_up(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    assert_int_equal(owed(k, "owed/0/owed_minor"), -1); /* no currency at all */
    OK(book(k, "d1", "charge", 1250, "GBP", 4));
    OK(book(k, "d1", "payment", 1000, "GBP", 0));
    OK(book(k, "keeper", "gift", 200, "GBP", 4));
    assert_int_equal(owed(k, "owed/0/owed_minor"), 50);
    uint64_t gift = k->done.event;
    OK(book(k, "d1", "payment", 300, "GBP", 0));
    OK(book(k, "d1", "refund", 100, "GBP", 0));
    OK(book(k, "d1", "charge", 777, "EUR", 0));
    const char *m = kit_ask(k, "money", "{\"member\":\"m1\",\"limit\":2}");
    assert_int_equal(kit_number(m, "owed/0/owed_minor"), 777); /* EUR: no currency pays for another */
    assert_int_equal(kit_number(m, "owed/1/owed_minor"), 1250 - 1000 - 200 - 300 + 100);
    assert_int_equal(kit_number(m, "owed/1/charges_minor"), 1250);
    assert_int_equal(kit_number(m, "owed/1/payments_minor"), 1300);
    assert_int_equal(kit_number(m, "owed/1/gifts_minor"), 200);
    assert_int_equal(kit_number(m, "owed/1/refunds_minor"), 100);
    assert_int_equal(kit_number(m, "entries/0/minor"), 777);
    assert_int_equal(kit_number(m, "entries/2/minor"), -1);
    assert_int_equal(kit_number(m, "more"), 1);
    assert_int_equal(kit_number(kit_ask(k, "money", "{\"member\":\"m2\"}"), "owed/0/owed_minor"), -1);
    /* taken back: as if the gift had not been */
    OK(kit_act(k, "undo", "keeper", "{\"event\":%llu}", (unsigned long long)gift));
    assert_int_equal(owed(k, "owed/1/owed_minor"), 50);
    /* a run with money booked for it stays */
    assert_int_equal(kit_act(k, "undo", "keeper", "{\"event\":4}"), PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "event 5 came later and rests on it"));
    /* a member with money stays; one without goes */
    assert_int_equal(kit_act(k, "undo", "keeper", "{\"event\":1}"), PO_E_CONFLICT);
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    assert_int_equal(owed(k, "owed/1/owed_minor"), 50);
    kit_clean(k);
    kit_end(k);
}

/* What runs took beyond allowance and waivers: written into the rows here, whatever the acts of runs make of it. */
static void runs_too(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "run-hand-out", "d1",
               "{\"member\":\"m1\",\"machine\":\"Birch\",\"um\":1000000,\"sha256\":\"" KIT_SHA "\"}"));
    OK(kit_act(k, "run-hand-out", "d1",
               "{\"member\":\"m1\",\"machine\":\"Cedar\",\"um\":1000000,\"sha256\":\"" KIT_SHA "\"}"));
    OK(kit_act(k, "fund-open", "keeper",
               "{\"fund\":\"outreach\",\"title\":\"Open days\",\"currency\":\"GBP\",\"budget_minor\":500}"));
    po_store *store = NULL;
    po_store_options o = {.wait_ms = 1000, .schema = &po_ledger_schema};
    OK(po_store_open(k->path, &o, &store, &k->err));
    OK(po_store_begin(store, true, &k->err));
    OK(po_store_do(store, NULL, &k->err,
                   "UPDATE runs SET beyond = 'charge', beyond_minor = 430, currency = 'GBP' WHERE id = 4", ""));
    OK(po_store_do(store, NULL, &k->err,
                   "UPDATE runs SET beyond = 'gift', beyond_minor = 99, currency = 'GBP' WHERE id = 5", ""));
    OK(po_store_do(store, NULL, &k->err,
                   "UPDATE runs SET fund = 'outreach', fund_minor = 620, fund_um = 1000000 WHERE id = 6", ""));
    OK(po_store_commit(store, &k->err));
    po_store_close(store);
    OK(book(k, "d1", "payment", 400, "GBP", 4));
    const char *m = kit_ask(k, "money", "{\"member\":\"m1\"}");
    assert_int_equal(kit_number(m, "owed/0/runs_minor"), 430);
    assert_int_equal(kit_number(m, "owed/0/owed_minor"), 30);
    assert_int_equal(kit_number(m, "entries/0/minor"), 400);
    assert_int_equal(kit_number(m, "entries/1/minor"), 430);
    assert_non_null(strstr(m, "\"kind\":\"run\""));
    assert_null(strstr(m, "99"));
    const char *f = kit_ask(k, "funds", "{}");
    assert_int_equal(kit_number(f, "funds/0/used_minor"), 620);
    assert_non_null(strstr(f, "\"left_minor\":-120"));
    assert_int_equal(kit_number(f, "funds/0/um"), 1000000);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(refusals),
        cmocka_unit_test(adds_up),
        cmocka_unit_test(runs_too),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
