/* A term in one report, held against what was booked by hand. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"

#define TERM "{\"term\":\"autumn-2026\",\"lapse\":[\"starter\",\"two-material\"],\"weighed_since\":%lld}"

static const char *report(kit *k)
{
    return kit_ask(k, "term", TERM, (long long)(k->now - 7 * KIT_DAY));
}

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper",
               "{\"term\":\"autumn-2026\",\"from\":%lld,\"until\":%lld,\"allowance_um\":150000000}",
               (long long)(KIT_NOON - KIT_DAY), (long long)(KIT_NOON + 60 * KIT_DAY)));
    for (int i = 1; i <= 3; i++) {
        OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"100%d\"}", i));
    }
    OK(kit_act(k, "permit-grant", "desk", "{\"member\":\"1001\",\"permission\":\"starter\"}"));
    OK(kit_act(k, "permit-grant", "desk", "{\"member\":\"1002\",\"permission\":\"starter\"}"));
    OK(kit_act(k, "stick-add", "keeper", "{\"stick\":\"A1\",\"machine\":\"Alder\"}"));
    OK(kit_act(k, "stick-add", "keeper", "{\"stick\":\"B1\",\"machine\":\"Birch\"}"));
    OK(kit_act(k, "stick-add", "keeper", "{\"stick\":\"C1\",\"machine\":\"Cedar\"}"));
    OK(kit_act(
        k, "spool-add", "desk",
        "{\"spool\":\"S1\",\"material\":\"petg\",\"diameter_um\":1750,\"density_mg_cm3\":1270,\"tare_mg\":200000,"
        "\"gross_mg\":1200000,\"price_minor_kg\":1900}"));
    OK(kit_act(k, "spool-open", "desk", "{\"spool\":\"S1\"}"));
}

static void nothing_yet(void **state)
{
    (void)state;
    kit one, *k = &one;
    const char *json = NULL;
    kit_begin(k);
    kit_open(k);
    assert_int_equal(po_ledger_ask(k->ledger, "term", "{}", k->arena, &json, &k->err), PO_E_NOTFOUND);
    assert_non_null(strstr(k->err.msg, "term open begins one"));
    assert_int_equal(po_ledger_ask(k->ledger, "term", "{\"term\":\"x\"}", k->arena, &json, &k->err), PO_E_NOTFOUND);
    OK(kit_act(k, "term-open", "keeper", "{\"term\":\"t\",\"from\":%lld,\"until\":%lld,\"allowance_um\":5}",
               (long long)KIT_NOON, (long long)(KIT_NOON + KIT_DAY)));
    const char *r = kit_ask(k, "term", "{}");
    assert_int_equal(kit_number(r, "sums/runs"), 0);
    assert_int_equal(kit_number(r, "sums/good"), 0);
    assert_int_equal(kit_number(r, "sums/um"), 0);
    assert_int_equal(kit_number(r, "members/printed"), 0);
    assert_int_equal(kit_number(r, "more"), 0);
    assert_int_equal(kit_number(r, "allowance_um"), 5);
    kit_end(k);
}

/* Three runs: 20 m good with its part on the shelf, 40 m of which 10 m from a waiver and 5 m paid, and one that failed halfway and
 * does not count. */
static void a_term(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    const char *r = report(k);
    assert_int_equal(kit_number(r, "sticks/not_counted"), 3);
    assert_int_equal(kit_number(r, "spools/0/left_mg"), 1000000);
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"1001\",\"machine\":\"Alder\",\"um\":20000000,\"seconds\":3600,\"sha256\":\"" KIT_SHA
               "\",\"stick\":\"A1\",\"spool\":\"S1\",\"recipe\":\"everyday\",\"any_of\":[\"starter\"]}"));
    int64_t first = (int64_t)k->done.event;
    r = report(k);
    assert_int_equal(kit_number(r, "runs_open/0/run"), first);
    assert_int_equal(kit_number(r, "permits/0/held"), 2);
    assert_int_equal(kit_number(r, "permits/1/held"), 0);
    OK(kit_act(k, "run-ended", "desk", "{\"run\":%lld,\"seconds\":4000}", (long long)first));
    OK(kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"shelf\",\"place\":3}", (long long)first));
    OK(kit_act(k, "run-take-back", "desk",
               "{\"run\":%lld,\"figure\":\"counter\",\"used_um\":21000000,\"stick_there\":true}", (long long)first));
    r = report(k);
    assert_int_equal(kit_number(r, "runs_open/0/run"), -1);
    assert_int_equal(kit_number(r, "outcomes_open/0/run"), first);
    OK(kit_act(k, "run-outcome", "desk", "{\"run\":%lld,\"outcome\":\"good\",\"counts\":true}", (long long)first));
    OK(kit_act(
        k, "waiver-give", "keeper",
        "{\"member\":\"1002\",\"um\":10000000,\"reason\":\"a show\",\"asked_by\":\"1002\",\"desk_limit_um\":0}"));
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"1002\",\"machine\":\"Birch\",\"um\":40000000,\"seconds\":7200,\"sha256\":\"" KIT_SHA2
               "\",\"spool\":\"S1\",\"recipe\":\"fine\",\"run_limit_um\":25000000,\"beyond\":\"charge\",\"currency\":"
               "\"GBP\"}"));
    int64_t second = (int64_t)k->done.event;
    OK(kit_act(k, "run-ended", "desk", "{\"run\":%lld}", (long long)second));
    OK(kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"member\"}", (long long)second));
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\"}", (long long)second));
    OK(kit_act(k, "run-outcome", "desk", "{\"run\":%lld,\"outcome\":\"good\",\"counts\":true}", (long long)second));
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"1001\",\"machine\":\"Cedar\",\"um\":10000000,\"seconds\":1000,\"sha256\":\"" KIT_SHA
               "\",\"recipe\":\"everyday\"}"));
    int64_t third = (int64_t)k->done.event;
    OK(kit_act(k, "run-failed", "desk",
               "{\"run\":%lld,\"percent\":50,\"by_height\":[[10000,10000000,1000]],\"symptom\":\"came loose\"}",
               (long long)third));
    OK(kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"waste\"}", (long long)third));
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\"}", (long long)third));
    OK(kit_act(k, "run-outcome", "desk", "{\"run\":%lld,\"outcome\":\"failed\",\"cause\":\"machine\",\"counts\":false}",
               (long long)third));
    OK(kit_act(k, "money-book", "desk",
               "{\"member\":\"1002\",\"kind\":\"payment\",\"minor\":7,\"currency\":\"GBP\",\"reason\":\"cash\"}"));
    OK(kit_act(k, "waste-weigh", "desk", "{\"material\":\"petg\",\"mg\":12000,\"kind\":\"failed\"}"));
    OK(kit_act(k, "stick-count", "desk", "{\"stick\":\"B1\"}"));
    OK(kit_act(k, "stick-lost", "desk", "{\"stick\":\"C1\",\"reason\":\"not in its drawer\"}"));
    OK(kit_act(k, "spool-weigh", "desk", "{\"spool\":\"S1\",\"gross_mg\":1010000}"));
    r = report(k);
    assert_int_equal(kit_number(r, "sums/runs"), 3);
    assert_int_equal(kit_number(r, "sums/good"), 2);
    assert_int_equal(kit_number(r, "sums/failed"), 1);
    assert_int_equal(kit_number(r, "sums/um"), 21000000 + 40000000 + 5000000);
    /* 61 m of petg through S1: pi/4 * 1.75^2 mm2 * 1.27 mg/mm3 (docs/measures.md) */
    assert_int_equal(kit_number(r, "by_material/0/mg"),
                     po_ledger_mg(21000000, 1750, 1270) + po_ledger_mg(40000000, 1750, 1270));
    assert_int_equal(kit_number(r, "sums/seconds"), 4000 + 7200 + 500);
    assert_int_equal(kit_number(r, "sums/charged_um"), 21000000 + 25000000);
    assert_int_equal(kit_number(r, "sums/waived_um"), 10000000);
    assert_int_equal(kit_number(r, "sums/beyond_um"), 5000000);
    assert_int_equal(kit_number(r, "waivers/drawn_um"), 10000000);
    assert_int_equal(kit_number(r, "waivers/given"), 1);
    assert_int_equal(kit_number(r, "members/printed"), 2);
    assert_int_equal(kit_number(r, "members/enrolled"), 3);
    assert_int_equal(kit_number(r, "by_machine/0/runs"), 1);
    assert_int_equal(kit_number(r, "by_recipe/0/runs"), 2); /* everyday */
    assert_int_equal(kit_number(r, "by_member/0/um"), 40000000);
    assert_int_equal(kit_number(r, "failures/0/runs"), 1);
    assert_int_equal(kit_number(r, "failures/0/counted"), 0);
    assert_non_null(strstr(r, "\"cause\":\"machine\""));
    /* 5 m are 15.27 g, at 19.00 a kg 0.29 */
    assert_int_equal(kit_number(r, "money/0/runs_charged_minor"), 29);
    assert_int_equal(kit_number(r, "money/0/payments_minor"), 7);
    assert_int_equal(kit_number(r, "waste/0/mg"), 12000);
    assert_int_equal(kit_number(r, "sticks/lost"), 1);
    assert_int_equal(kit_number(r, "sticks/counted"), 1);
    assert_int_equal(kit_number(r, "sticks/not_counted"), 1);
    assert_int_equal(kit_number(r, "parts_open/0/place"), 3);
    assert_int_equal(kit_number(r, "spools_open/0/weighed_ms"), -1); /* none */
    assert_int_equal(kit_number(r, "spools/0/term_drift_mg"),
                     810000 - (1000000 - po_ledger_mg(21000000, 1750, 1270) - po_ledger_mg(40000000, 1750, 1270)));
    k->now += 8 * KIT_DAY;
    assert_true(kit_number(report(k), "spools_open/0/weighed_ms") > 0); /* weighed, but too long ago */
    kit_clean(k);
    /* money and waste after the end are of another term, runs stay */
    OK(kit_act(k, "term-close", "keeper", "{\"term\":\"autumn-2026\"}"));
    OK(kit_act(k, "waste-weigh", "desk", "{\"material\":\"petg\",\"mg\":1,\"kind\":\"purge\"}"));
    r = report(k);
    assert_true(kit_number(r, "closed_ms") > 0);
    assert_int_equal(kit_number(r, "waste/1/mg"), -1);
    assert_int_equal(kit_number(r, "sums/runs"), 3);
    const char *terms = kit_ask(k, "terms", "{}");
    assert_int_equal(kit_number(terms, "terms/0/runs"), 3);
    assert_int_equal(kit_number(terms, "terms/0/charged_um"), 46000000);
    assert_non_null(strstr(terms, "\"state\":\"closed\""));
    kit_clean(k);
    kit_end(k);
}

/* Without a name the term of now is meant, else the last that began. */
static void which(void **state)
{
    (void)state;
    kit one, *k = &one;
    kit_begin(k);
    kit_open(k);
    for (int i = 0; i < 3; i++) {
        OK(kit_act(k, "term-open", "keeper", "{\"term\":\"t%d\",\"from\":%lld,\"until\":%lld,\"allowance_um\":5}", i,
                   (long long)(KIT_NOON + 10 * i * KIT_DAY), (long long)(KIT_NOON + (10 * i + 5) * KIT_DAY)));
    }
    const struct {
        int day;
        const char *term;
    } days[] = {{1, "\"t0\""}, {6, "\"t0\""}, {11, "\"t1\""}, {16, "\"t1\""}, {40, "\"t2\""}};
    for (size_t i = 0; i < sizeof days / sizeof days[0]; i++) {
        k->now = KIT_NOON + days[i].day * KIT_DAY;
        assert_non_null(strstr(kit_ask(k, "term", "{}"), days[i].term));
    }
    k->now = KIT_NOON + 6 * KIT_DAY;
    const char *terms = kit_ask(k, "terms", "{\"limit\":2}");
    assert_non_null(strstr(terms, "\"to come\""));
    assert_int_equal(kit_number(terms, "more"), 1);
    assert_non_null(strstr(kit_ask(k, "terms", "{}"), "\"over\""));
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(nothing_yet), cmocka_unit_test(a_term),
                                       cmocka_unit_test(which)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
