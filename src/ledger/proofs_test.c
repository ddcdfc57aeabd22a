/* Proofs that are kept. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/run_kit.h"

#define BRIEF "\"verdict\":\"clear\",\"um\":1000000,\"seconds\":600"

static po_status keep(kit *k, const char *sha256, const char *machine, const char *more)
{
    k->now += 1000;
    return kit_act(k, "proof-keep", "d1", "{\"sha256\":\"%s\",\"machine\":\"%s\",%s}", sha256, machine, more);
}

static void kept(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    TWICE(
        keep(k, KIT_SHA, "Alder",
             BRIEF
             ",\"mg\":2983,\"file\":\"hook.gcode\",\"recipe\":\"fine\",\"materials\":[\"pla\",\"tpu\"],"
             "\"first_bead_seconds\":0,\"first_layer_seconds\":90,\"height_um\":40000,\"hands\":[90,300],\"by_height\":"
             "[[200,100000,90],[40000,1000000,600]],\"findings\":[\"over-allowance\"]"));
    int64_t first = (int64_t)k->done.event;
    const char *p = kit_ask(k, "proofs", "{\"sha256\":\"" KIT_SHA "\"}");
    assert_int_equal(kit_number(p, "proofs/0/proof"), first);
    assert_int_equal(kit_number(p, "proofs/0/first_bead_seconds"), 0);
    assert_int_equal(kit_number(p, "proofs/0/hands/1"), 300);
    assert_int_equal(kit_number(p, "proofs/0/by_height/1/1"), 1000000);
    assert_non_null(strstr(p, "\"findings\":[\"over-allowance\"]"));
    assert_non_null(strstr(p, "\"materials\":[\"pla\",\"tpu\"]"));
    /* a later proof takes its place, all of it */
    TWICE(keep(k, KIT_SHA, "Alder", "\"verdict\":\"ask\",\"um\":2000000,\"seconds\":700"));
    p = kit_ask(k, "proofs", "{\"sha256\":\"" KIT_SHA "\",\"machine\":\"Alder\"}");
    assert_int_equal(kit_number(p, "proofs/0/proof"), first);
    assert_int_equal(kit_number(p, "proofs/0/um"), 2000000);
    assert_int_equal(kit_number(p, "proofs/0/mg"), -1);
    assert_int_equal(kit_number(p, "proofs/0/by_height/0/0"), -1);
    assert_int_equal(kit_number(p, "proofs/1/proof"), -1);
    REFUSED(UNDO(first), PO_E_CONFLICT, "event", "changed the same proof");
    /* another machine, another job */
    OK(keep(k, KIT_SHA, "Birch", BRIEF));
    OK(keep(k, KIT_SHA2, "Alder", BRIEF));
    int64_t last = (int64_t)k->done.event;
    assert_int_equal(kit_number(kit_ask(k, "proofs", "{}"), "proofs/0/proof"), last);
    assert_int_equal(kit_number(kit_ask(k, "proofs", "{\"machine\":\"Alder\"}"), "proofs/1/proof"), first);
    assert_int_equal(kit_number(kit_ask(k, "proofs", "{\"limit\":2}"), "more"), 1);
    REFUSED(keep(k, KIT_SHA, "Alder", "\"verdict\":\"fine\",\"um\":1,\"seconds\":1"), PO_E_RANGE, "verdict", "one of");
    REFUSED(keep(k, KIT_SHA, "Alder", BRIEF ",\"by_height\":[[1,1,1],[1,2,2]]"), PO_E_RANGE, "by_height", "rise");
    run_sound(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(kept)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
