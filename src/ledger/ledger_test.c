/* The desk's acts one by one. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper",
               "{\"term\":\"autumn-2026\",\"from\":%lld,\"until\":%lld,\"allowance_um\":150000000}",
               (long long)(KIT_NOON - 14 * KIT_DAY), (long long)(KIT_NOON + 74 * KIT_DAY)));
    OK(kit_act(k, "member-enrol", "desk",
               "{\"member\":\"m1\",\"name\":\"Ada Quay\",\"contact\":\"ada@quayside.example\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
    OK(kit_act(k, "permit-grant", "d1", "{\"member\":\"m1\",\"permission\":\"starter\"}"));
}

static int64_t hand_out(kit *k, const char *machine, int64_t um)
{
    OK(kit_act(k, "run-hand-out", "d1",
               "{\"member\":\"m1\",\"machine\":\"%s\",\"um\":%lld,\"sha256\":\"" KIT_SHA
               "\",\"any_of\":[\"starter\",\"two-material\"],\"run_limit_um\":30000000}",
               machine, (long long)um));
    return (int64_t)k->done.event;
}

static int64_t balance(kit *k, const char *what)
{
    return kit_number(kit_ask(k, "balance", "{\"member\":\"m1\",\"run_limit_um\":30000000,\"sha256\":\"" KIT_SHA "\"}"),
                      what);
}

static void a_whole_day(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    int64_t run = hand_out(k, "Alder", 25000000);
    assert_int_equal(balance(k, "left_um"), 125000000);
    /* the same machine at once: refused, with who has it */
    assert_int_equal(kit_act(k, "run-hand-out", "d1",
                             "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":1,\"sha256\":\"" KIT_SHA "\"}"),
                     PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "Alder is out with member m1"));
    /* too long for one run: 5 m are missing */
    assert_int_equal(kit_act(k, "run-hand-out", "d1",
                             "{\"member\":\"m1\",\"machine\":\"Birch\",\"um\":35000000,\"sha256\":\"" KIT_SHA
                             "\",\"run_limit_um\":30000000}"),
                     PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "a waiver of 5 m more"));
    /* the desk may waive 10 m, the keeper beyond */
    assert_int_equal(
        kit_act(k, "waiver-give", "d1",
                "{\"member\":\"m1\",\"um\":10000001,\"reason\":\"r\",\"asked_by\":\"m1\",\"desk_limit_um\":10000000}"),
        PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "10.000001 m"));
    OK(kit_act(
        k, "waiver-give", "d1",
        "{\"member\":\"m1\",\"um\":10000000,\"reason\":\"course work\",\"asked_by\":\"m1\",\"desk_limit_um\":10000000,"
        "\"sha256\":\"" KIT_SHA "\"}"));
    int64_t waiver = (int64_t)k->done.event;
    assert_int_equal(balance(k, "one_run_um"), 40000000);
    int64_t run2 = hand_out(k, "Birch", 35000000);
    assert_int_equal(kit_number(k->done.answer, "waived_um"), 5000000);
    assert_int_equal(balance(k, "left_um"), 95000000);
    assert_int_equal(balance(k, "waivers_left_um"), 5000000);
    /* it used less than thought: the waiver gets its part back first */
    OK(kit_act(k, "run-take-back", "d1", "{\"run\":%lld,\"figure\":\"counter\",\"used_um\":32000000}",
               (long long)run2));
    assert_int_equal(balance(k, "waivers_left_um"), 8000000);
    assert_int_equal(balance(k, "left_um"), 95000000);
    /* it failed at 34 mm: 12.5 m + (20 - 12.5) * (34 - 30) / (40 - 30) = 15.5 m */
    k->now += 3600000;
    OK(kit_act(k, "run-failed", "d1",
               "{\"run\":%lld,\"z_um\":34000,\"by_height\":[[10000,4000000,1000],[30000,12500000,3000],[40000,20000000,"
               "4100]]}",
               (long long)run));
    assert_int_equal(kit_number(k->done.answer, "used_um"), 15500000);
    assert_int_equal(kit_number(k->done.answer, "used_seconds"), 3440);
    assert_int_equal(balance(k, "left_um"), 104500000);
    OK(kit_act(k, "run-outcome", "d1",
               "{\"run\":%lld,\"outcome\":\"failed\",\"cause\":\"machine\",\"counts\":false,\"rerun_first\":true}",
               (long long)run));
    assert_int_equal(balance(k, "left_um"), 120000000);
    uint64_t outcome = k->done.event;
    OK(kit_act(k, "run-take-back", "d1",
               "{\"run\":%lld,\"figure\":\"scale\",\"used_mg\":48000,\"diameter_um\":1750,"
               "\"density_mg_cm3\":1270,\"condition\":\"clean\"}",
               (long long)run));
    assert_int_equal(balance(k, "left_um"), 120000000);
    /* undo: the outcome has the take-back resting on it */
    uint64_t back = k->done.event;
    assert_int_equal(kit_act(k, "undo", "d1", "{\"event\":%llu}", (unsigned long long)outcome), PO_E_CONFLICT);
    char words[64];
    snprintf(words, sizeof words, "event %llu came later", (unsigned long long)back);
    assert_non_null(strstr(k->err.msg, words));
    OK(kit_act(k, "undo", "d1", "{\"event\":%llu}", (unsigned long long)back));
    OK(kit_act(k, "undo", "d1", "{\"event\":%llu}", (unsigned long long)outcome));
    assert_int_equal(balance(k, "left_um"), 104500000);
    assert_int_equal(kit_act(k, "undo", "d1", "{\"event\":%llu}", (unsigned long long)outcome), PO_E_CONFLICT);
    /* a waiver that was drawn on stays */
    assert_int_equal(kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)waiver), PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "rests on it"));
    const char *runs = kit_ask(k, "runs", "{\"member\":\"m1\",\"state\":\"failed\"}");
    assert_int_equal(kit_number(runs, "runs/0/run"), run);
    assert_int_equal(kit_number(runs, "runs/1/run"), -1);
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    assert_int_equal(balance(k, "left_um"), 104500000);
    kit_end(k);
}

static void permissions(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    const char *no = "{\"member\":\"m1\",\"machine\":\"Dogwood\",\"um\":1,\"sha256\":\"" KIT_SHA
                     "\",\"any_of\":[\"two-material\"]}";
    assert_int_equal(kit_act(k, "run-hand-out", "d1", "%s", no), PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "two-material"));
    OK(kit_act(k, "permit-grant", "d1", "{\"member\":\"m1\",\"permission\":\"two-material\",\"until\":%lld}",
               (long long)(k->now + 1000)));
    const char *m = kit_ask(k, "member", "{\"member\":\"m1\",\"implies\":{\"two-material\":[\"starter\",\"extra\"]}}");
    assert_non_null(strstr(m, "\"extra\""));
    assert_non_null(strstr(m, "Ada Quay"));
    k->now += 1000; /* until: the first moment at which it does not hold */
    assert_int_equal(kit_act(k, "run-hand-out", "d1", "%s", no), PO_E_CONFLICT);
    k->now -= 1;
    OK(kit_act(k, "permit-withdraw", "d1", "{\"member\":\"m1\",\"permission\":\"starter\"}"));
    assert_int_equal(kit_act(k, "permit-withdraw", "d1", "{\"member\":\"m1\",\"permission\":\"starter\"}"),
                     PO_E_CONFLICT);
    /* who may do what */
    assert_int_equal(kit_act(k, "member-role", "d1", "{\"member\":\"m1\",\"role\":\"desk\"}"), PO_E_CONFLICT);
    assert_int_equal(kit_act(k, "permit-grant", "m1", "{\"member\":\"m1\",\"permission\":\"x\"}"), PO_E_CONFLICT);
    assert_int_equal(kit_act(k, "permit-grant", "nobody", "{\"member\":\"m1\",\"permission\":\"x\"}"), PO_E_CONFLICT);
    /* suspended for a time */
    OK(kit_act(k, "member-suspend", "d1", "{\"member\":\"m1\",\"reason\":\"left the watch\",\"until\":%lld}",
               (long long)(k->now + 5)));
    assert_int_equal(
        kit_act(k, "run-hand-out", "d1", "{\"member\":\"m1\",\"machine\":\"Elm\",\"um\":1,\"sha256\":\"" KIT_SHA "\"}"),
        PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "left the watch"));
    k->now += 5;
    OK(kit_act(k, "run-hand-out", "d1", "{\"member\":\"m1\",\"machine\":\"Elm\",\"um\":1,\"sha256\":\"" KIT_SHA "\"}"));
    kit_clean(k);
    kit_end(k);
}

static bool file_holds(const char *path, const char *words)
{
    FILE *f = fopen(path, "rb");
    if (!f) {
        return false;
    }
    static char bytes[4 << 20];
    size_t n = fread(bytes, 1, sizeof bytes, f);
    fclose(f);
    return memmem(bytes, n, words, strlen(words)) != NULL;
}

static void forgotten(void **state)
{
    (void)state;
    kit one, *k = &one;
    char wal[128];
    open_shop(k);
    snprintf(wal, sizeof wal, "%.100s-wal", k->path);
    int64_t run = hand_out(k, "Alder", 20000000);
    assert_int_equal(kit_act(k, "member-forget", "keeper", "{\"member\":\"m1\"}"), PO_E_CONFLICT);
    OK(kit_act(k, "run-take-back", "d1", "{\"run\":%lld,\"figure\":\"proof\",\"used_um\":20000000}", (long long)run));
    assert_true(file_holds(k->path, "Ada Quay") || file_holds(wal, "Ada Quay"));
    OK(kit_act(k, "member-forget", "keeper", "{\"member\":\"m1\"}"));
    assert_false(file_holds(k->path, "Ada Quay"));
    assert_false(file_holds(wal, "Ada Quay"));
    const char *json = NULL;
    assert_int_equal(po_ledger_ask(k->ledger, "member", "{\"member\":\"m1\"}", k->arena, &json, &k->err),
                     PO_E_NOTFOUND);
    assert_int_equal(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"), PO_E_CONFLICT);
    OK(kit_act(k, "term-close", "keeper", "{\"term\":\"autumn-2026\"}"));
    assert_int_equal(kit_number(k->done.answer, "charged_um"), 20000000); /* the accounts still add up */
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

static void fields_are_held_to(void **state)
{
    (void)state;
    static const struct {
        const char *act, *body, *where;
        po_status want;
    } cases[] = {
        {"member-enrol", "{\"member\":\"a b\"}", "member", PO_E_RANGE},
        {"member-enrol", "{\"member\":7}", "member", PO_E_RANGE},
        {"member-enrol", "{}", "member", PO_E_RANGE},
        {"member-enrol", "{\"member\":\"x\",\"shoe\":1}", "shoe", PO_E_RANGE},
        {"member-enrol", "{\"member\":\"x\",\"role\":\"king\"}", "role", PO_E_RANGE},
        {"member-enrol", "{\"member\":\"keeper\"}", "member", PO_E_CONFLICT},
        {"member-enrol", "{\"member\":\"x\",\"member\":\"y\"}", "body", PO_E_SYNTAX},
        {"member-enrol", "[1]", "body", PO_E_SYNTAX},
        {"member-enrol", "{\"member\":\"x\"", "body", PO_E_SYNTAX},
        {"term-open", "{\"term\":\"t\",\"from\":1,\"until\":2,\"allowance_um\":1.5}", "allowance_um", PO_E_RANGE},
        {"term-open", "{\"term\":\"t\",\"from\":-1,\"until\":2,\"allowance_um\":1}", "from", PO_E_RANGE},
        {"term-open", "{\"term\":\"t\",\"from\":3,\"until\":3,\"allowance_um\":1}", "until", PO_E_CONFLICT},
        {"member-suspend", "{\"member\":\"m1\",\"reason\":\"two\\nlines\"}", "reason", PO_E_RANGE},
        {"permit-grant", "{\"member\":\"m9\",\"permission\":\"p\"}", "member", PO_E_NOTFOUND},
        {"run-ended", "{\"run\":99}", "run", PO_E_NOTFOUND},
        {"undo", "{\"event\":99}", "event", PO_E_NOTFOUND},
        {"fly", "{}", "act", PO_E_NOTFOUND},
    };
    kit one, *k = &one;
    open_shop(k);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        po_status s = kit_act(k, cases[i].act, "keeper", "%s", cases[i].body);
        if (s != cases[i].want || strcmp(k->err.where, cases[i].where) != 0) {
            fail_msg("%s %s: %d at \"%s\": %s", cases[i].act, cases[i].body, s, k->err.where, k->err.msg);
        }
    }
    assert_int_equal(kit_number(kit_ask(k, "events", "{\"after\":4}"), "events/0/event"), -1); /* nothing was booked */
    kit_end(k);
}

static void clock_set_back(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    k->now -= 3 * KIT_DAY;
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m2\"}"));
    assert_int_equal(kit_number(k->done.answer, "clock_behind_ms"), 3 * KIT_DAY);
    const char *e = kit_ask(k, "events", "{\"act\":\"member-enrol\",\"after\":4}");
    assert_int_equal(kit_number(e, "events/0/at_ms"), KIT_NOON);
    assert_int_equal(kit_number(e, "events/0/behind_ms"), 3 * KIT_DAY);
    k->now = KIT_NOON + 1;
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m3\"}"));
    assert_int_equal(kit_number(k->done.answer, "clock_behind_ms"), -1);
    kit_clean(k);
    kit_end(k);
}

/* Times are milliseconds of UTC: a leap day or a change of the clocks is no different from any other. 2028-02-29T00:00:00Z is
 * 1835395200 (GNU date, from memory of the proleptic Gregorian calendar: 21243 days after 1970-01-01). */
static void leap_day(void **state)
{
    (void)state;
    kit one, *k = &one;
    kit_begin(k);
    const int64_t leap = INT64_C(21243) * KIT_DAY;
    assert_int_equal(leap, INT64_C(1835395200000));
    k->now = leap - 1;
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper", "{\"term\":\"feb\",\"from\":%lld,\"until\":%lld,\"allowance_um\":10}",
               (long long)(leap - KIT_DAY), (long long)leap));
    OK(kit_act(k, "term-open", "keeper", "{\"term\":\"leap\",\"from\":%lld,\"until\":%lld,\"allowance_um\":29}",
               (long long)leap, (long long)(leap + KIT_DAY)));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"m1\"}"), "allowance_um"), 10);
    k->now = leap;
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"m1\"}"), "allowance_um"), 29);
    k->now = leap + KIT_DAY;
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"m1\"}"), "allowance_um"), -1);
    kit_end(k);
}

/* handbook.md, 1.2: grams per metre, metres per kilogram, and the worked examples. */
static void metres_and_grams(void **state)
{
    (void)state;
    static const struct {
        int64_t density, mg_175, mm_kg_175, mg_285, mm_kg_285; /* mg per m to 0.1; mm per kg to 10 */
    } rows[] = {
        {1240, 29825, 335280, 79105, 126420}, {1270, 30547, 327360, 81018, 123430},
        {1040, 25015, 399760, 66346, 150730}, {1070, 25737, 388550, 68260, 146500},
        {1210, 29104, 343600, 77191, 129550}, {1140, 27420, 364690, 72725, 137500},
        {1200, 28863, 346460, 76553, 130630},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        int64_t d = rows[i].density; /* 10 m, so that 0.1 mg of a metre show */
        assert_int_equal(po_ledger_mg(10000000, 1750, d), rows[i].mg_175);
        assert_int_equal(po_ledger_mg(10000000, 2850, d), rows[i].mg_285);
        assert_int_equal((po_ledger_um(1000000, 1750, d) + 5000) / 10000 * 10, rows[i].mm_kg_175);
        assert_int_equal((po_ledger_um(1000000, 2850, d) + 5000) / 10000 * 10, rows[i].mm_kg_285);
    }
    assert_int_equal(po_ledger_mg(12500000, 1750, 1240), 37282);                      /* 12.5 m of PLA = 37.28 g */
    assert_int_equal((po_ledger_um(512000, 1750, 1240) + 5000) / 10000 * 10, 171670); /* 512 g = 171.67 m */
    assert_int_equal(po_ledger_mg(25000000, 1750, 1240), 74564);                      /* 25 m: 25 x 2.9825 g */
    assert_int_equal(po_ledger_mg(25000000, 1750, 1270), 76368);                      /* 25 m of PETG: 25 x 3.0547 g */
    assert_int_equal(po_ledger_mg(-1, 1750, 1240), -1);
    assert_int_equal(po_ledger_mg(1, 0, 1240), -1);
    assert_true(po_ledger_mg(INT64_C(10000000000), 10000, 30000) > 0);
}

static void copies(void **state)
{
    (void)state;
    kit one, *k = &one;
    char to[128];
    open_shop(k);
    hand_out(k, "Alder", 1000000);
    snprintf(to, sizeof to, "%.90s/copy.db", k->folder);
    OK(po_ledger_backup(k->ledger, to, &k->err));
    assert_int_equal(po_ledger_backup(k->ledger, to, &k->err), PO_E_CONFLICT);
    po_ledger *copy = NULL;
    po_ledger_options o = {.read_only = true};
    OK(po_ledger_open(to, &o, &copy, &k->err));
    const char *json = NULL;
    OK(po_ledger_ask(copy, "runs", NULL, k->arena, &json, &k->err));
    assert_int_equal(kit_number(json, "runs/0/reserved_um"), 1000000);
    po_act act = {"member-enrol", "desk", "{\"member\":\"z\"}"};
    assert_int_equal(po_ledger_act(copy, &act, k->arena, &k->done, &k->err), PO_E_IO);
    po_ledger_close(copy);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_whole_day),    cmocka_unit_test(permissions),      cmocka_unit_test(forgotten),
        cmocka_unit_test(clock_set_back), cmocka_unit_test(leap_day),         cmocka_unit_test(fields_are_held_to),
        cmocka_unit_test(copies),         cmocka_unit_test(metres_and_grams),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
