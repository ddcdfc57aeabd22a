/* Who pays for a run: term, waivers, a fund, money; and the split after every later figure. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/run_kit.h"

#define LAST ((int64_t)k->done.event)
/* 1.75 mm at 1.24 g/cm3 weighs 2.98254953 mg a mm: 1 m of it at 20.00 EUR/kg is 5.965 cent */
#define PRICE ",\"price_minor_kg\":2000,\"diameter_um\":1750,\"density_mg_cm3\":1240,\"currency\":\"EUR\""

static void split_is(kit *k, int64_t run, int64_t charged, int64_t waived, int64_t beyond, int64_t minor)
{
    const char *r = kit_ask(k, "run", "{\"run\":%lld}", (long long)run);
    int64_t got[4] = {kit_number(r, "charged_um"), kit_number(r, "waived_um"), kit_number(r, "beyond_um"),
                      kit_number(r, "beyond_minor")};
    if (got[0] != charged || got[1] != waived || got[2] != beyond || got[3] != minor) {
        fail_msg("%lld %lld %lld %lld: %s", (long long)got[0], (long long)got[1], (long long)got[2], (long long)got[3],
                 r);
    }
}

static int64_t owed(kit *k)
{
    return kit_number(kit_ask(k, "money", "{\"member\":\"m1\"}"), "owed/0/owed_minor");
}

static void beyond(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(kit_act(k, "waiver-give", "keeper",
               "{\"member\":\"m1\",\"um\":5000000,\"reason\":\"r\",\"asked_by\":\"m1\",\"desk_limit_um\":0}"));
    const char *limit = ",\"run_limit_um\":30000000,\"beyond\":\"charge\"" PRICE;
    REFUSED(run_out(k, "d1", "Alder", 1, ",\"beyond\":\"charge\""), PO_E_RANGE, "currency",
            "takes a price, a currency");
    REFUSED(run_out(k, "d1", "Alder", 1, ",\"beyond\":\"charge\",\"currency\":\"EUR\""), PO_E_RANGE, "price_minor_kg",
            "takes a price");
    REFUSED(run_out(k, "d1", "Alder", 1, ",\"beyond\":\"gift\"" PRICE), PO_E_CONFLICT, "beyond",
            "takes the role keeper");
    REFUSED(run_out(k, "d1", "Alder", 1, ",\"beyond\":\"charge\",\"price_minor_kg\":1000000001,\"currency\":\"EUR\""),
            PO_E_RANGE, "price_minor_kg", "at most");
    REFUSED(run_out(k, "d1", "Alder", 1, ",\"currency\":\"euro\""), PO_E_RANGE, "currency", "euro");
    REFUSED(run_out(k, "d1", "Alder", INT64_C(10035000001), limit), PO_E_RANGE, "um", "10 km");
    /* 42 m: 30 by the limit for one run, 5 from the waiver, 7 in money: 20.87784... g, 41.7557 cent */
    TWICE(run_out(k, "d1", "Alder", 42000000, limit));
    int64_t run = LAST;
    assert_int_equal(kit_number(k->done.answer, "beyond_minor"), 42);
    split_is(k, run, 30000000, 5000000, 7000000, 42);
    assert_int_equal(owed(k), 42);
    /* less was used: the money comes back first, then the waiver */
    char body[200];
    snprintf(body, sizeof body, "{\"run\":%lld,\"percent\":50,\"by_height\":[[1000,67000000,100]]}", (long long)run);
    TWICE(kit_act(k, "run-failed", "d1", "%s", body)); /* 33.5 m */
    split_is(k, run, 30000000, 3500000, 0, 0);
    assert_int_equal(owed(k), -1); /* nothing */
    /* more was used after all: what was given back to the waiver stays there, the rest is money */
    snprintf(body, sizeof body, "{\"run\":%lld,\"figure\":\"counter\",\"used_um\":50000000}", (long long)run);
    TWICE(kit_act(k, "run-take-back", "d1", "%s", body));
    split_is(k, run, 30000000, 3500000, 16500000, 98); /* 49.2120... g, 98.4 cent */
    snprintf(body, sizeof body, "{\"run\":%lld,\"outcome\":\"stopped\",\"counts\":false}", (long long)run);
    TWICE(kit_act(k, "run-outcome", "d1", "%s", body));
    split_is(k, run, 0, 0, 0, 0);
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"m1\"}"), "waivers_left_um"), 5000000);
    /* a gift is a keeper's and is not owed; the price may be the spool's own */
    TWICE(run_out(k, "keeper", "Alder", 40000000,
                  ",\"run_limit_um\":30000000,\"beyond\":\"gift\",\"spool\":\"P1\",\"currency\":\"EUR\""));
    split_is(k, LAST, 30000000, 5000000, 5000000, 30); /* 14.91 g, 29.8 cent */
    assert_int_equal(owed(k), -1);
    run_sound(k);
    kit_end(k);
}

/* Half a cent is rounded up: 1 kg at 1 cent is 0.5 cent for 500 g. 167.642 m of this filament weigh 500.0006 g. */
static void halves(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    int64_t um = po_ledger_um(500000, 1750, 1240);
    assert_int_equal(po_ledger_mg(um, 1750, 1240), 500000);
    char more[200];
    for (int64_t i = 0; i < 2; i++) {
        snprintf(more, sizeof more,
                 ",\"run_limit_um\":0,\"beyond\":\"charge\",\"price_minor_kg\":1,\"diameter_um\":1750,\"density_mg_"
                 "cm3\":1240,"
                 "\"currency\":\"EUR\"");
        OK(run_out(k, "d1", i ? "Birch" : "Alder", um - 1000 * i, more));
        assert_int_equal(kit_number(k->done.answer, "beyond_minor"), 1 - i); /* 1 mm less: 499.997 g */
    }
    kit_clean(k);
    kit_end(k);
}

static void fund(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    const char *from = ",\"fund\":\"robots\",\"run_limit_um\":30000000" PRICE;
    REFUSED(run_out(k, "d1", "Alder", 1, ",\"fund\":\"robots\""), PO_E_RANGE, "price_minor_kg", "has a budget");
    REFUSED(run_out(k, "d1", "Alder", 1,
                    ",\"fund\":\"robots\",\"currency\":\"CHF\",\"price_minor_kg\":1,\"diameter_um\":1750,\"density_mg_"
                    "cm3\":1240"),
            PO_E_CONFLICT, "currency", "kept in EUR, not in CHF");
    REFUSED(run_out(k, "d1", "Alder", 1, ",\"fund\":\"robots\",\"beyond\":\"charge\"" PRICE), PO_E_CONFLICT, "beyond",
            "leave out beyond");
    /* 100 m cost 5.97 EUR of the 10.00: no allowance, no limit for one run */
    TWICE(run_out(k, "d1", "Alder", 100000000, from));
    int64_t run = LAST;
    split_is(k, run, 0, 0, 0, 0);
    assert_int_equal(run_number(k, run, "fund_um"), 100000000);
    assert_int_equal(run_number(k, run, "fund_minor"), 597);
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"m1\"}"), "left_um"), 150000000);
    /* 67.66 m would cost 4.04 */
    REFUSED(run_out(k, "d1", "Birch", 67660000, from), PO_E_CONFLICT, "fund",
            "costs 404 and the fund robots has 403 left");
    kit_end(k);
}

/* A budget is held at hand-out; what was really used may exceed it, and what does not count costs nothing. */
static void budget(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    const char *from = ",\"fund\":\"robots\"" PRICE;
    OK(run_out(k, "d1", "Alder", 160000000, from)); /* 954 */
    int64_t run = LAST;
    REFUSED(run_out(k, "d1", "Birch", 8000000, from), PO_E_CONFLICT, "fund",
            "costs 48 and the fund robots has 46 left");
    OK(run_out(k, "d1", "Birch", 7000000, from)); /* 42 */
    OK(kit_act(k, "run-take-back", "d1", "{\"run\":%lld,\"figure\":\"counter\",\"used_um\":170000000}",
               (long long)run));
    assert_int_equal(run_number(k, run, "fund_minor"), 1014);
    REFUSED(run_out(k, "d1", "Alder", 1000000, from), PO_E_CONFLICT, "fund", "has 0 left");
    TWICE(kit_act(k, "run-outcome", "d1", "{\"run\":%lld,\"outcome\":\"failed\",\"counts\":false}", (long long)run));
    assert_int_equal(run_number(k, run, "fund_minor"), 0);
    OK(run_out(k, "d1", "Alder", 160000000, from));
    /* a fund without a budget pays for whatever comes, with or without a price */
    OK(kit_act(k, "fund-open", "keeper", "{\"fund\":\"free\",\"title\":\"F\",\"currency\":\"EUR\"}"));
    TWICE(run_out(k, "d1", "Cedar", 900000000, ",\"fund\":\"free\""));
    assert_int_equal(run_number(k, LAST, "fund_um"), 900000000);
    assert_int_equal(run_number(k, LAST, "fund_minor"), 0);
    run_sound(k);
    kit_end(k);
}

/* More used than proved, nothing agreed beyond: the term bears it, overdrawn. */
static void overdrawn(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(run_out(k, "d1", "Alder", 149000000, ""));
    int64_t run = LAST;
    OK(kit_act(k, "run-take-back", "d1", "{\"run\":%lld,\"figure\":\"counter\",\"used_um\":152000000}",
               (long long)run));
    split_is(k, run, 152000000, 0, 0, 0);
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"m1\"}"), "left_um"), -2000000);
    REFUSED(run_out(k, "d1", "Alder", 1000000, ""), PO_E_CONFLICT, "um",
            "0 m are left of the term: a waiver of 1 m more");
    run_sound(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(beyond), cmocka_unit_test(halves),    cmocka_unit_test(fund),
        cmocka_unit_test(budget), cmocka_unit_test(overdrawn),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
