/* Care, troubles and the look through the book's runs. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/run_kit.h"
#include "proveout/scan.h"

static void shop(kit *k)
{
    kit_in_memory();
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper",
               "{\"term\":\"t1\",\"from\":1790000000000,\"until\":1799000000000,\"allowance_um\":150000000}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"m1\"}"));
    OK(kit_act(
        k, "spool-add", "d1",
        "{\"spool\":\"P1\",\"material\":\"pa-cf\",\"diameter_um\":1750,\"density_mg_cm3\":1100,\"net_mg\":900000}"));
}

/* One run of so many metres and seconds; its number. */
static int64_t run(kit *k, const char *machine, int m, int s, const char *outcome)
{
    k->now += 3600000;
    OK(kit_act(k, "run-hand-out", "d1",
               "{\"member\":\"m1\",\"machine\":\"%s\",\"um\":%d000000,\"seconds\":%d,\"sha256\":\"" KIT_SHA
               "\",\"uses\":[{\"tool\":0,\"spool\":\"P1\",\"um\":%d000000}],\"run_limit_um\":50000000}",
               machine, m, s, m));
    int64_t id = (int64_t)k->done.event;
    k->now += 60000;
    OK(kit_act(k, "run-ended", "d1", "{\"run\":%lld}", (long long)id));
    OK(kit_act(k, "run-take-back", "d1", "{\"run\":%lld,\"figure\":\"proof\"}", (long long)id));
    OK(kit_act(k, "run-outcome", "d1", "{\"run\":%lld,\"outcome\":\"%s\",\"counts\":false%s}", (long long)id, outcome,
               outcome[0] == 'f' ? ",\"cause\":\"machine\",\"symptom\":\"loose\"" : ""));
    return id;
}

static void measured(void **state)
{
    (void)state;
    kit one, *k = &one;
    shop(k);
    TWICE(
        kit_act(k, "care-measure", "d1",
                "{\"machine\":\"Alder\",\"kind\":\"tram\",\"figures\":{\"peak_to_valley_um\":240,\"tilt_urad\":-1500},"
                "\"readings\":[[20000,20000,-120],[200000,20000,15]]}"));
    k->now += KIT_DAY;
    TWICE(kit_act(
        k, "care-measure", "d1",
        "{\"machine\":\"Alder\",\"kind\":\"feed\",\"tool\":1,\"material\":\"petg\",\"figures\":{\"steps_per_m\":"
        "93000},\"at\":%lld}",
        (long long)k->now - 3600000));
    const char *all = kit_ask(k, "care-measures", "{\"machine\":\"Alder\"}");
    assert_non_null(strstr(all, "\"kind\":\"feed\""));
    assert_int_equal(kit_number(all, "measures/1/figures/tilt_urad"), -1500);
    assert_int_equal(kit_number(all, "measures/1/readings/0/2"), -120);
    assert_int_equal(kit_number(all, "measures/0/at_ms"), k->now - 3600000);
    assert_int_equal(kit_number(kit_ask(k, "care-measures", "{\"kind\":\"feed\",\"tool\":0}"), "measures/0/measure"),
                     -1);
    assert_int_equal(kit_number(kit_ask(k, "care-measures", "{\"kind\":\"feed\",\"tool\":1}"), "measures/0/tool"), 1);
    /* the machine's own history has them */
    assert_non_null(strstr(kit_ask(k, "machine-history", "{\"machine\":\"Alder\"}"), "care-measure"));
    assert_null(strstr(kit_ask(k, "machine-history", "{\"machine\":\"Birch\"}"), "care-measure"));
    REFUSED_WITH(kit_act(k, "care-measure", "d1", "{\"machine\":\"Alder\",\"kind\":\"tram\",\"figures\":{}}"),
                 PO_E_RANGE, "1 to 16 short names");
    REFUSED_WITH(kit_act(k, "care-measure", "d1", "{\"machine\":\"Alder\",\"kind\":\"tram\",\"figures\":{\"a\":1.5}}"),
                 PO_E_RANGE, "figures: expected 1 to 16 short names");
    REFUSED_WITH(kit_act(k, "care-measure", "d1",
                         "{\"machine\":\"Alder\",\"kind\":\"tram\",\"figures\":{\"a\":1},\"readings\":[[1,2],[3]]}"),
                 PO_E_RANGE, "all of one length");
    REFUSED_WITH(kit_act(k, "care-measure", "d1", "{\"machine\":\"Alder\",\"kind\":\"smell\",\"figures\":{\"a\":1}}"),
                 PO_E_RANGE, "tram|feed");
    REFUSED_WITH(kit_act(k, "care-measure", "d1",
                         "{\"machine\":\"Alder\",\"kind\":\"tram\",\"figures\":{\"a\":1},\"at\":%lld}",
                         (long long)k->now + 1),
                 PO_E_CONFLICT, "still to come");
    REFUSED_WITH(kit_act(k, "care-measure", "m1", "{\"machine\":\"Alder\",\"kind\":\"tram\",\"figures\":{\"a\":1}}"),
                 PO_E_CONFLICT, "");
    kit_clean(k);
    kit_end(k);
}

static void cared_for(void **state)
{
    (void)state;
    kit one, *k = &one;
    shop(k);
    run(k, "Alder", 2, 600, "good");
    k->now += 1000;
    TWICE(kit_act(k, "care-done", "d1",
                  "{\"machine\":\"Alder\",\"task\":\"oil-rods\",\"by\":\"k1\",\"minutes\":15,\"parts\":\"oil\"}"));
    int64_t done = k->now;
    run(k, "Alder", 3, 700, "good");
    run(k, "Birch", 9, 5000, "good");
    run(k, "Alder", 4, 800, "failed");
    TWICE(kit_act(k, "care-replace", "d1", "{\"machine\":\"Alder\",\"part\":\"nozzle\",\"tool\":0,\"why\":\"worn\"}"));
    run(k, "Alder", 5, 900, "good");
    const char *last = kit_ask(k, "care-last", "{}");
    assert_int_equal(kit_number(last, "done/0/at_ms"), done);
    assert_int_equal(kit_number(last, "done/0/starts"), 3);
    assert_int_equal(kit_number(last, "done/0/takes/0/um"), 12000000);
    assert_int_equal(kit_number(last, "replaced/0/starts"), 1);
    assert_int_equal(kit_number(last, "replaced/0/takes/0/um"), 5000000);
    assert_non_null(strstr(last, "pa-cf"));
    const char *counters = kit_ask(k, "care-counters", "{\"machine\":\"Alder\"}");
    assert_int_equal(kit_number(counters, "machines/0/starts"), 4);
    assert_int_equal(kit_number(counters, "machines/0/takes/0/um"), 14000000);
    assert_int_equal(kit_number(counters, "machines/1/starts"), -1);
    assert_int_equal(kit_number(kit_ask(k, "care-counters", "{\"since\":%lld}", (long long)done), "machines/0/starts"),
                     3);
    const char *log = kit_ask(k, "care-log", "{}");
    assert_int_equal(kit_number(log, "log/0/tool"), 0);
    assert_int_equal(kit_number(log, "log/1/minutes"), 15);
    assert_int_equal(kit_number(kit_ask(k, "care-log", "{\"part\":\"nozzle\"}"), "log/1/event"), -1);
    assert_int_equal(kit_number(kit_ask(k, "care-log", "{\"task\":\"oil-rods\",\"machine\":\"Birch\"}"), "log/0/event"),
                     -1);
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    assert_int_equal(kit_number(kit_ask(k, "care-last", "{}"), "done/0/starts"), 3);
    kit_end(k);
}

static void searched(void **state)
{
    (void)state;
    kit one, *k = &one;
    shop(k);
    int64_t failed = run(k, "Alder", 2, 600, "failed");
    REFUSED_WITH(kit_act(k, "trouble-open", "d1", "{\"machine\":\"Birch\",\"symptom\":\"loose\",\"run\":%lld}",
                         (long long)failed),
                 PO_E_CONFLICT, "was not on Birch");
    REFUSED_WITH(kit_act(k, "trouble-open", "d1", "{\"machine\":\"Alder\",\"symptom\":\"loose\",\"run\":999}"),
                 PO_E_NOTFOUND, "there is no run 999");
    TWICE(kit_act(k, "trouble-open", "d1", "{\"machine\":\"Alder\",\"symptom\":\"loose\",\"run\":%lld}",
                  (long long)failed));
    long long t = (long long)k->done.event;
    assert_int_equal(kit_number(kit_ask(k, "today", "{}"), "troubles/0/trouble"), t);
    TWICE(kit_act(k, "trouble-check", "d1",
                  "{\"trouble\":%lld,\"check\":\"wipe-bed\",\"answer\":\"greasy\",\"minutes\":2}", t));
    TWICE(kit_act(k, "trouble-check", "d1", "{\"trouble\":%lld,\"check\":\"wipe-bed\",\"answer\":\"clean\"}", t));
    OK(kit_act(k, "trouble-check", "d1", "{\"trouble\":%lld,\"check\":\"gap\",\"answer\":\"wide\"}", t));
    REFUSED_WITH(kit_act(k, "undo", "d1", "{\"event\":%lld}", t), PO_E_CONFLICT, "");
    REFUSED_WITH(kit_act(k, "trouble-close", "d1", "{\"trouble\":%lld,\"confirmed\":true}", t), PO_E_RANGE,
                 "must be named");
    assert_int_equal(kit_number(kit_ask(k, "trouble-learned", "{}"), "causes/0/n"), -1);
    TWICE(kit_act(k, "trouble-close", "d1",
                  "{\"trouble\":%lld,\"cause\":\"gap-wide\",\"confirmed\":true,\"remedy\":\"tram\"}", t));
    REFUSED_WITH(kit_act(k, "trouble-check", "d1", "{\"trouble\":%lld,\"check\":\"gap\",\"answer\":\"good\"}", t),
                 PO_E_CONFLICT, "is closed");
    const char *learned = kit_ask(k, "trouble-learned", "{\"symptom\":\"loose\"}");
    assert_int_equal(kit_number(learned, "causes/0/n"), 1);
    assert_int_equal(kit_number(learned, "answers/1/n"), 1);
    assert_int_equal(kit_number(kit_ask(k, "trouble-learned", "{\"symptom\":\"strings\"}"), "causes/0/n"), -1);
    /* a search without a confirmed end teaches nothing */
    OK(kit_act(k, "trouble-open", "d1", "{\"machine\":\"Birch\",\"symptom\":\"loose\"}"));
    OK(kit_act(k, "trouble-close", "d1", "{\"trouble\":%llu,\"cause\":\"gap-wide\",\"confirmed\":false}",
               (unsigned long long)k->done.event));
    assert_int_equal(kit_number(kit_ask(k, "trouble-learned", "{}"), "causes/0/n"), 1);
    TWICE(kit_act(k, "trouble-reset", "keeper", "{\"symptom\":\"loose\",\"reason\":\"another bed surface\"}"));
    assert_int_equal(kit_number(kit_ask(k, "trouble-learned", "{}"), "causes/0/n"), -1);
    assert_int_equal(kit_number(kit_ask(k, "troubles", "{\"state\":\"open\"}"), "troubles/0/trouble"), -1);
    assert_int_equal(kit_number(kit_ask(k, "troubles", "{\"run\":%lld}", (long long)failed), "troubles/0/confirmed"),
                     1);
    assert_non_null(strstr(kit_ask(k, "machine-history", "{\"machine\":\"Alder\"}"), "trouble-close"));
    kit_clean(k);
    kit_end(k);
}

typedef struct sums {
    int n, failed, stop_at;
    int64_t um, seconds, before;
} sums;

static bool look(const po_run_seen *r, void *user)
{
    sums *s = user;
    s->n++;
    s->um += r->um;
    s->seconds += r->seconds;
    s->failed += r->outcome && strcmp(r->outcome, "failed") == 0;
    assert_true(r->out_ms >= s->before);
    s->before = r->out_ms;
    assert_string_equal(r->material, "pa-cf");
    assert_true(r->machine && (strcmp(r->machine, "Alder") == 0 || strcmp(r->machine, "Birch") == 0));
    return s->n != s->stop_at;
}

static void looked_through(void **state)
{
    (void)state;
    kit one, *k = &one;
    sums s = {0};
    shop(k);
    run(k, "Alder", 2, 600, "good");
    run(k, "Birch", 3, 700, "failed");
    int64_t late = k->now + 1;
    run(k, "Alder", 4, 800, "good");
    OK(kit_act(k, "run-reserve", "d1", "{\"member\":\"m1\",\"um\":9}"));
    OK(po_ledger_scan_runs(k->ledger, 0, INT64_MAX, look, &s, &k->err));
    assert_int_equal(s.n, 3);
    assert_int_equal(s.um, 9000000);
    assert_int_equal(s.failed, 1);
    s = (sums){0};
    OK(po_ledger_scan_runs(k->ledger, late, INT64_MAX, look, &s, &k->err));
    assert_int_equal(s.n, 1);
    s = (sums){.stop_at = 1};
    assert_int_equal(po_ledger_scan_runs(k->ledger, 0, INT64_MAX, look, &s, &k->err), PO_E_CANCELLED);
    assert_int_equal(s.n, 1);
    kit_clean(k); /* nothing of it is left open */
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(measured), cmocka_unit_test(cared_for),
                                       cmocka_unit_test(searched), cmocka_unit_test(looked_through)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
