/* Spools and waste, act by act. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
}

static int64_t add(kit *k, const char *spool, const char *more)
{
    OK(kit_act(k, "spool-add", "d1",
               "{\"spool\":\"%s\",\"material\":\"petg\",\"diameter_um\":1750,\"density_mg_cm3\":1270%s}", spool, more));
    return (int64_t)k->done.event;
}

static int64_t of(kit *k, const char *spool, const char *what)
{
    char path[64];
    snprintf(path, sizeof path, "spools/0/%s", what);
    return kit_number(kit_ask(k, "spools", "{\"spool\":\"%s\",\"below_mg\":150000}", spool), path);
}

static void is(kit *k, const char *spool, const char *what, const char *want)
{
    json_t *root = json_loads(kit_ask(k, "spools", "{\"spool\":\"%s\",\"below_mg\":150000}", spool), 0, NULL);
    const json_t *v = json_object_get(json_array_get(json_object_get(root, "spools"), 0), what);
    assert_non_null(v);
    if (want) {
        assert_string_equal(json_string_value(v), want);
    } else {
        assert_true(json_is_null(v));
    }
    json_decref(root);
}

static void refused(kit *k, po_status status, po_status want, const char *where, const char *says)
{
    if (status != want || strcmp(k->err.where, where) != 0 || !strstr(k->err.msg, says)) {
        fail_msg("%d, not %d, at %s, not %s: \"%s\" instead of \"%s\"", status, want, k->err.where, where, k->err.msg,
                 says);
    }
}

/* All that the questions say of spools and waste; borrowed from the arena. */
static char *state_of(kit *k)
{
    char *all = NULL;
    const char *in_use = kit_ask(k, "spools", "{}"), *empty = kit_ask(k, "spools", "{\"state\":\"empty\"}");
    assert_true(asprintf(&all, "%s\n%s\n%s", in_use, empty, kit_ask(k, "waste", "{}")) > 0);
    return all;
}

/* The last act is taken back, and all is as it was. */
static void taken_back(kit *k, char *before)
{
    OK(kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)k->done.event));
    char *after = state_of(k);
    assert_string_equal(before, after);
    free(before);
    free(after);
}

static void added(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    char *before = state_of(k);
    add(k, "S1",
        ",\"colour\":\"dark blue\",\"lot\":\"L7\",\"tare_mg\":230000,\"gross_mg\":742000,\"price_minor_kg\":1900");
    assert_int_equal(kit_number(k->done.answer, "left_mg"), 512000);
    is(k, "S1", "state", "sealed");
    is(k, "S1", "colour", "dark blue");
    is(k, "S1", "machine", NULL);
    is(k, "S1", "drift_mg", NULL); /* nothing to compare with */
    assert_int_equal(of(k, "S1", "weighed_mg"), 512000);
    assert_int_equal(of(k, "S1", "price_minor_kg"), 1900);
    assert_int_equal(of(k, "S1", "low"), false);
    taken_back(k, before);
    assert_int_equal(kit_number(kit_ask(k, "spools", "{}"), "spools/0/left_mg"), -1);
    /* the maker's word; the scale's word against it; nobody's */
    add(k, "S2", ",\"net_mg\":1000000");
    assert_int_equal(of(k, "S2", "left_mg"), 1000000);
    is(k, "S2", "weighed_ms", NULL);
    add(k, "S3", ",\"net_mg\":1000000,\"tare_mg\":230000,\"gross_mg\":1219500");
    assert_int_equal(of(k, "S3", "left_mg"), 989500);
    assert_int_equal(of(k, "S3", "drift_mg"), -10500);
    add(k, "S4", ",\"gross_mg\":1219500");
    is(k, "S4", "left_mg", NULL);
    is(k, "S4", "left_um", NULL);
    is(k, "S4", "low", NULL);
    refused(k,
            kit_act(k, "spool-add", "d1",
                    "{\"spool\":\"S2\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240}"),
            PO_E_CONFLICT, "spool", "there is a spool S2 already");
    refused(k,
            kit_act(k, "spool-add", "d1",
                    "{\"spool\":\"S5\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,\"tare_mg\":"
                    "230500,\"gross_mg\":230499}"),
            PO_E_RANGE, "gross_mg", "230.499 g with filament is less than the 230.5 g of the empty spool");
    refused(k,
            kit_act(k, "spool-add", "d1",
                    "{\"spool\":\"S5\",\"material\":\"pla\",\"diameter_um\":0,\"density_mg_cm3\":1240}"),
            PO_E_RANGE, "diameter_um", "up to 10 mm");
    refused(k,
            kit_act(k, "spool-add", "d1",
                    "{\"spool\":\"S5\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":30001}"),
            PO_E_RANGE, "density_mg_cm3", "up to 10 mm");
    refused(k,
            kit_act(k, "spool-add", "d1",
                    "{\"spool\":\"S5\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,\"net_mg\":"
                    "100000001}"),
            PO_E_RANGE, "net_mg", "more than 100 kg");
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    assert_int_equal(of(k, "S3", "drift_mg"), -10500);
    kit_clean(k);
    kit_end(k);
}

/* Handbook 1.2: a spool of 742 g gross, 230 g tare, PLA of 1.24 g/cm3 and 1.75 mm: 512 g, 171.67 m are left. */
static void metres_left(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "spool-add", "d1",
               "{\"spool\":\"S1\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,\"tare_mg\":230000,"
               "\"gross_mg\":742000}"));
    int64_t um = of(k, "S1", "left_um");
    assert_true(um > 171665000 && um < 171675000);
    kit_end(k);
}

static void weighed(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    int64_t spool = add(k, "S1", ",\"net_mg\":1000000");
    refused(k, kit_act(k, "spool-weigh", "d1", "{\"spool\":\"S1\",\"gross_mg\":900000}"), PO_E_CONFLICT, "tare_mg",
            "what S1 weighs when it is empty; give its tare");
    refused(k, kit_act(k, "spool-weigh", "d1", "{\"spool\":\"S1\",\"gross_mg\":200000,\"tare_mg\":230000}"), PO_E_RANGE,
            "gross_mg", "200 g with filament is less than the 230 g");
    refused(k, kit_act(k, "spool-weigh", "d1", "{\"spool\":\"S9\",\"gross_mg\":1}"), PO_E_NOTFOUND, "spool",
            "there is no spool S9");
    char *before = state_of(k);
    k->now += 60000;
    OK(kit_act(k, "spool-weigh", "d1", "{\"spool\":\"S1\",\"gross_mg\":1200000,\"tare_mg\":230000}"));
    assert_int_equal(kit_number(k->done.answer, "left_mg"), 970000);
    assert_int_equal(kit_number(k->done.answer, "book_mg"), 1000000);
    taken_back(k, before);
    is(k, "S1", "tare_mg", NULL);
    OK(kit_act(k, "spool-weigh", "d1", "{\"spool\":\"S1\",\"gross_mg\":1200000,\"tare_mg\":230000}"));
    int64_t first = (int64_t)k->done.event;
    /* the tare is known from now on; more than there was by the book is a fact, not a fault */
    OK(kit_act(k, "spool-weigh", "d1", "{\"spool\":\"S1\",\"gross_mg\":1200250}"));
    assert_int_equal(kit_number(k->done.answer, "drift_mg"), 250);
    assert_int_equal(of(k, "S1", "drift_mg"), 250);
    assert_int_equal(of(k, "S1", "left_mg"), 970250);
    OK(kit_act(k, "spool-weigh", "d1", "{\"spool\":\"S1\",\"gross_mg\":379999}"));
    assert_int_equal(of(k, "S1", "low"), true); /* below 150 g */
    const char *all = kit_ask(k, "weighings", "{\"spool\":\"S1\"}");
    assert_int_equal(kit_number(all, "weighings/0/scale_mg"), 149999);
    assert_int_equal(kit_number(all, "weighings/0/book_mg"), 970250);
    assert_int_equal(kit_number(all, "weighings/0/tare_mg"), 230000);
    assert_int_equal(kit_number(all, "weighings/2/event"), first);
    assert_int_equal(kit_number(all, "weighings/2/at_ms"), KIT_NOON + 60000);
    assert_int_equal(kit_number(all, "more"), false);
    assert_int_equal(kit_number(kit_ask(k, "weighings", "{\"spool\":\"S1\",\"limit\":2}"), "more"), true);
    refused(k, kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)first), PO_E_CONFLICT, "event",
            "changed the same spool");
    refused(k, kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)spool), PO_E_CONFLICT, "event",
            "came later and changed the same spool: undo that first");
    kit_clean(k);
    kit_end(k);
}

static void dried(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    add(k, "S1", ",\"net_mg\":1000000");
    refused(k, kit_act(k, "spool-dried", "d1", "{\"spool\":\"S1\"}"), PO_E_CONFLICT, "spool", "not in the dryer");
    refused(k, kit_act(k, "spool-dry", "d1", "{\"spool\":\"S1\",\"c\":201,\"minutes\":240}"), PO_E_RANGE, "c",
            "1 to 200 degrees");
    refused(k, kit_act(k, "spool-dry", "d1", "{\"spool\":\"S1\",\"c\":65,\"minutes\":10081}"), PO_E_RANGE, "minutes",
            "7 days");
    OK(kit_act(k, "machine-fit", "d1", "{\"machine\":\"Alder\",\"spool\":\"S1\"}"));
    is(k, "S1", "machine", "Alder");
    assert_int_equal(of(k, "S1", "tool"), 0);
    refused(k, kit_act(k, "spool-dry", "d1", "{\"spool\":\"S1\",\"c\":65,\"minutes\":240}"), PO_E_CONFLICT, "spool",
            "S1 is loaded on Alder; unload it there first");
    OK(kit_act(k, "machine-fit", "d1", "{\"machine\":\"Alder\",\"unload\":true}"));
    char *before = state_of(k);
    OK(kit_act(k, "spool-dry", "d1", "{\"spool\":\"S1\",\"c\":65,\"minutes\":240}"));
    taken_back(k, before);
    OK(kit_act(k, "spool-dry", "d1", "{\"spool\":\"S1\",\"c\":65,\"minutes\":240}"));
    assert_int_equal(kit_number(k->done.answer, "dry_until_ms"), k->now + 240 * 60000);
    is(k, "S1", "state", "drying");
    assert_int_equal(of(k, "S1", "dry_c"), 65);
    refused(k, kit_act(k, "spool-dry", "d1", "{\"spool\":\"S1\",\"c\":65,\"minutes\":240}"), PO_E_CONFLICT, "spool",
            "in the dryer already");
    refused(k, kit_act(k, "machine-fit", "d1", "{\"machine\":\"Alder\",\"spool\":\"S1\"}"), PO_E_CONFLICT, "spool",
            "in the dryer");
    k->now += 301 * 60000 + 59999;
    before = state_of(k);
    OK(kit_act(k, "spool-dried", "d1", "{\"spool\":\"S1\"}"));
    assert_int_equal(kit_number(k->done.answer, "minutes"), 301);
    taken_back(k, before);
    OK(kit_act(k, "spool-dried", "d1", "{\"spool\":\"S1\",\"minutes\":250}"));
    int64_t out = (int64_t)k->done.event;
    is(k, "S1", "state", "open");
    is(k, "S1", "dry_until_ms", NULL);
    assert_int_equal(of(k, "S1", "dry_minutes"), 250);
    assert_int_equal(of(k, "S1", "dried_ms"), k->now);
    /* once it is loaded, that it came out can not be taken back */
    OK(kit_act(k, "machine-fit", "d1", "{\"machine\":\"Birch\",\"spool\":\"S1\"}"));
    refused(k, kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)out), PO_E_CONFLICT, "event",
            "the spool was loaded by event");
    kit_clean(k);
    kit_end(k);
}

static void opened_and_used_up(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    add(k, "S1", ",\"net_mg\":1000000");
    add(k, "S2", ",\"net_mg\":140000");
    add(k, "S3", "");
    char *before = state_of(k);
    k->now += 1000;
    OK(kit_act(k, "spool-open", "d1", "{\"spool\":\"S1\"}"));
    assert_int_equal(of(k, "S1", "opened_ms"), KIT_NOON + 1000);
    taken_back(k, before);
    OK(kit_act(k, "spool-open", "d1", "{\"spool\":\"S1\"}"));
    refused(k, kit_act(k, "spool-open", "d1", "{\"spool\":\"S1\"}"), PO_E_CONFLICT, "spool", "was opened already");
    OK(kit_act(k, "machine-fit", "d1", "{\"machine\":\"Alder\",\"spool\":\"S1\"}"));
    before = state_of(k);
    OK(kit_act(k, "spool-empty", "d1", "{\"spool\":\"S1\",\"left_mg\":12300,\"note\":\"tangled\"}"));
    assert_int_equal(kit_number(k->done.answer, "book_mg"), 1000000);
    assert_non_null(strstr(k->done.answer, "\"machine\":\"Alder\""));
    is(k, "S1", "state", "empty");
    is(k, "S1", "machine", NULL);
    assert_int_equal(of(k, "S1", "left_mg"), 0);
    assert_int_equal(of(k, "S1", "low"), false);
    assert_int_equal(kit_number(kit_ask(k, "waste", "{}"), "waste/0/mg"), 12300);
    kit_clean(k);
    taken_back(k, before); /* back on Alder */
    is(k, "S1", "machine", "Alder");
    OK(kit_act(k, "spool-empty", "d1", "{\"spool\":\"S1\",\"left_mg\":12300}"));
    int64_t empty = (int64_t)k->done.event;
    static const char *const acts[] = {"spool-open", "spool-empty", "spool-dried"};
    for (size_t i = 0; i < 3; i++) {
        refused(k, kit_act(k, acts[i], "d1", "{\"spool\":\"S1\"}"), PO_E_CONFLICT, "spool", "S1 is used up");
    }
    refused(k, kit_act(k, "spool-weigh", "d1", "{\"spool\":\"S1\",\"gross_mg\":1,\"tare_mg\":1}"), PO_E_CONFLICT,
            "spool", "S1 is used up");
    refused(k, kit_act(k, "machine-fit", "d1", "{\"machine\":\"Birch\",\"spool\":\"S1\"}"), PO_E_CONFLICT, "spool",
            "empty");
    /* it was not: weighed, it is back, until that is taken back */
    before = state_of(k);
    OK(kit_act(k, "spool-weigh", "d1", "{\"spool\":\"S1\",\"gross_mg\":250000,\"tare_mg\":230000}"));
    is(k, "S1", "state", "open");
    assert_int_equal(of(k, "S1", "drift_mg"), 20000);
    int64_t back = (int64_t)k->done.event;
    OK(kit_act(k, "machine-fit", "d1", "{\"machine\":\"Birch\",\"spool\":\"S1\"}"));
    int64_t fitted = (int64_t)k->done.event;
    refused(k, kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)back), PO_E_CONFLICT, "event",
            "the spool was loaded by event");
    OK(kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)fitted));
    OK(kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)back));
    char *after = state_of(k);
    assert_string_equal(before, after);
    free(before);
    free(after);
    /* without what was left nothing is waste */
    OK(kit_act(k, "spool-empty", "d1", "{\"spool\":\"S3\"}"));
    assert_int_equal(kit_number(kit_ask(k, "waste", "{}"), "mg"), 12300);
    /* another spool on that tool: the first can not come back onto it */
    OK(kit_act(k, "machine-fit", "d1", "{\"machine\":\"Alder\",\"spool\":\"S2\"}"));
    refused(k, kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)empty), PO_E_CONFLICT, "event",
            "changed the same tool");
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

static void listed(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    add(k, "S3", ",\"net_mg\":149999");
    add(k, "S1", ",\"net_mg\":150000");
    add(k, "S2", "");
    add(k, "S4", ",\"net_mg\":1");
    OK(kit_act(k, "spool-empty", "d1", "{\"spool\":\"S4\"}"));
    OK(kit_act(k, "spool-open", "d1", "{\"spool\":\"S2\"}"));
    const char *low = kit_ask(k, "spools", "{\"below_mg\":150000,\"low\":true}");
    assert_non_null(strstr(low, "\"spool\":\"S3\""));
    assert_int_equal(kit_number(low, "spools/1/diameter_um"),
                     -1); /* S1 holds enough, of S2 nobody knows, S4 is no more */
    assert_int_equal(kit_number(low, "spools/0/low"), true);
    const char *page = kit_ask(k, "spools", "{\"limit\":2}");
    assert_int_equal(kit_number(page, "more"), true);
    assert_non_null(strstr(page, "\"spool\":\"S1\""));
    page = kit_ask(k, "spools", "{\"limit\":2,\"after\":\"S2\"}");
    assert_int_equal(kit_number(page, "more"), false);
    assert_int_equal(kit_number(page, "spools/0/left_mg"), 149999);
    page = kit_ask(k, "spools", "{\"state\":\"open\",\"material\":\"petg\"}");
    assert_non_null(strstr(page, "\"spool\":\"S2\""));
    assert_null(strstr(page, "\"spool\":\"S1\""));
    assert_null(strstr(kit_ask(k, "spools", "{\"material\":\"pla\"}"), "\"spool\""));
    assert_non_null(strstr(kit_ask(k, "spools", "{\"state\":\"empty\"}"), "\"spool\":\"S4\""));
    const char *json = NULL;
    refused(k, po_ledger_ask(k->ledger, "spools", "{\"spool\":\"S9\"}", k->arena, &json, &k->err), PO_E_NOTFOUND,
            "spool", "there is no spool S9");
    refused(k, po_ledger_ask(k->ledger, "spools", "{\"low\":true}", k->arena, &json, &k->err), PO_E_RANGE, "below_mg",
            "say below what");
    refused(k, po_ledger_ask(k->ledger, "weighings", "{\"spool\":\"S9\"}", k->arena, &json, &k->err), PO_E_NOTFOUND,
            "spool", "there is no spool S9");
    kit_end(k);
}

static void wasted(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "waste-weigh", "d1", "{\"material\":\"petg\",\"mg\":41200,\"kind\":\"failed\"}"));
    char *before = state_of(k);
    OK(kit_act(k, "waste-weigh", "d1", "{\"material\":\"petg\",\"mg\":800,\"kind\":\"failed\",\"note\":\"Alder\"}"));
    taken_back(k, before);
    k->now += KIT_DAY;
    OK(kit_act(k, "waste-weigh", "d1", "{\"material\":\"petg\",\"mg\":800,\"kind\":\"failed\"}"));
    OK(kit_act(k, "waste-weigh", "d1", "{\"material\":\"petg\",\"mg\":7000,\"kind\":\"aids\"}"));
    OK(kit_act(k, "waste-weigh", "d1", "{\"material\":\"pla\",\"mg\":1,\"kind\":\"mixed\"}"));
    const char *all = kit_ask(k, "waste", "{}");
    assert_int_equal(kit_number(all, "mg"), 49001);
    assert_int_equal(kit_number(all, "materials_mg/petg"), 49000);
    assert_int_equal(kit_number(all, "materials_mg/pla"), 1);
    assert_int_equal(kit_number(all, "waste/1/mg"), 42000); /* petg: aids, failed */
    assert_int_equal(kit_number(all, "waste/1/times"), 2);
    /* from <= t < until */
    assert_int_equal(kit_number(kit_ask(k, "waste", "{\"from\":%lld}", (long long)k->now), "mg"), 7801);
    assert_int_equal(kit_number(kit_ask(k, "waste", "{\"until\":%lld}", (long long)k->now), "mg"), 41200);
    refused(k, kit_act(k, "waste-weigh", "d1", "{\"material\":\"petg\",\"mg\":100000001,\"kind\":\"failed\"}"),
            PO_E_RANGE, "mg", "more than 100 kg");
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(added),  cmocka_unit_test(metres_left),        cmocka_unit_test(weighed),
        cmocka_unit_test(dried),  cmocka_unit_test(opened_and_used_up), cmocka_unit_test(listed),
        cmocka_unit_test(wasted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
