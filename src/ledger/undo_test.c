/* Acts taken back: who may, what stands in the way, and any act of any book leads back to what was. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/run_kit.h"

/* What is final stays final; what takes a keeper takes one to be taken back. */
static void who_may(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(kit_act(k, "member-forget", "keeper", "{\"member\":\"m2\"}"));
    REFUSED(UNDO(k->done.event), PO_E_CONFLICT, "event", "a member-forget can not be taken back");
    OK(kit_act(k, "member-name", "desk", "{\"member\":\"m1\",\"name\":\"N\"}"));
    REFUSED(UNDO(k->done.event), PO_E_CONFLICT, "event", "a member-name can not be taken back");

    OK(kit_act(k, "member-role", "keeper", "{\"member\":\"d1\",\"role\":\"keeper\"}"));
    OK(kit_act(k, "member-role", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
    uint64_t demoted = k->done.event;
    REFUSED(kit_act(k, "undo", "d1", "{\"event\":%llu}", (unsigned long long)demoted), PO_E_CONFLICT, "by",
            "takes the role keeper");
    OK(UNDO(demoted));
    OK(kit_act(k, "member-role", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));

    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d2\",\"role\":\"desk\"}"));
    OK(kit_act(k, "member-suspend", "keeper", "{\"member\":\"d2\",\"reason\":\"r\"}"));
    REFUSED(kit_act(k, "undo", "d1", "{\"event\":%llu}", (unsigned long long)k->done.event), PO_E_CONFLICT, "by",
            "takes the role keeper");
    REFUSED(kit_act(k, "member-resume", "d1", "{\"member\":\"d2\"}"), PO_E_CONFLICT, "member", "only a keeper");
    REFUSED(kit_act(k, "member-suspend", "d2", "{\"member\":\"m1\",\"reason\":\"r\"}"), PO_E_CONFLICT, "", "suspended");
    OK(kit_act(k, "member-resume", "keeper", "{\"member\":\"d2\"}"));
    OK(kit_act(k, "money-book", "keeper",
               "{\"member\":\"m1\",\"kind\":\"gift\",\"minor\":5,\"currency\":\"EUR\",\"reason\":\"r\"}"));
    REFUSED(kit_act(k, "undo", "d1", "{\"event\":%llu}", (unsigned long long)k->done.event), PO_E_CONFLICT, "by",
            "takes the role keeper");
    OK(kit_act(k, "member-suspend", "desk", "{\"member\":\"m1\",\"reason\":\"r\"}"));
    OK(kit_act(k, "undo", "d1", "{\"event\":%llu}", (unsigned long long)k->done.event));
    run_sound(k);
    kit_end(k);
}

/* A run that came back after the weighing took nothing, for the scale had seen it: without the weighing it would be missing. */
static void weighing_that_runs_rest_on(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(run_out(k, "desk", "Alder", 10000000, ",\"spool\":\"P1\""));
    int64_t run = (int64_t)k->done.event;
    k->now += 60000;
    OK(kit_act(k, "run-ended", "desk", "{\"run\":%lld}", (long long)run));
    k->now += 60000;
    OK(kit_act(k, "spool-weigh", "desk", "{\"spool\":\"P1\",\"gross_mg\":1170000,\"tare_mg\":200000}"));
    int64_t weighing = (int64_t)k->done.event;
    k->now += 60000;
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\"}", (long long)run));
    int64_t back = (int64_t)k->done.event;
    assert_int_equal(spool_left(k, "P1"), 970000);
    REFUSED(UNDO(weighing), PO_E_CONFLICT, "event", "rests on it");
    OK(UNDO(back));
    OK(UNDO(weighing));
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\"}", (long long)run));
    assert_int_equal(spool_left(k, "P1"), 1000000 - po_ledger_mg(10000000, 1750, 1240));
    run_sound(k);
    kit_end(k);
}

/* The same with a spool that was booked as used up while its run was out. */
static void empty_spool_that_runs_rest_on(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(run_out(k, "desk", "Alder", 10000000, ",\"spool\":\"P1\""));
    int64_t run = (int64_t)k->done.event;
    OK(kit_act(k, "spool-empty", "desk", "{\"spool\":\"P1\"}"));
    int64_t empty = (int64_t)k->done.event;
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\"}", (long long)run));
    int64_t back = (int64_t)k->done.event;
    REFUSED(UNDO(empty), PO_E_CONFLICT, "event", "undo that first");
    OK(UNDO(back));
    OK(UNDO(empty));
    assert_int_equal(spool_left(k, "P1"), 1000000);
    run_sound(k);
    kit_end(k);
}

/* No spool comes back to a machine that has left, no ticket to somebody who was forgotten. */
static void what_has_left(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Birch\",\"spool\":\"P1\"}"));
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Cedar\",\"spool\":\"P1\"}"));
    int64_t moved = (int64_t)k->done.event;
    OK(kit_act(k, "machine-retire", "keeper", "{\"machine\":\"Birch\",\"reason\":\"r\"}"));
    int64_t retired = (int64_t)k->done.event;
    REFUSED(UNDO(moved), PO_E_CONFLICT, "event", "has left the shop");
    OK(UNDO(retired));
    OK(UNDO(moved));
    OK(kit_act(k, "spool-empty", "desk", "{\"spool\":\"P1\"}"));
    int64_t empty = (int64_t)k->done.event;
    OK(kit_act(k, "machine-retire", "keeper", "{\"machine\":\"Birch\",\"reason\":\"r\"}"));
    REFUSED(UNDO(empty), PO_E_CONFLICT, "event", "has left the shop");

    OK(kit_act(k, "ticket-take", "desk", "{\"member\":\"m2\"}"));
    OK(kit_act(k, "ticket-leave", "desk", "{\"ticket\":1}"));
    int64_t left = (int64_t)k->done.event;
    OK(kit_act(k, "member-forget", "keeper", "{\"member\":\"m2\"}"));
    REFUSED(UNDO(left), PO_E_CONFLICT, "event", "was forgotten");
    run_sound(k);
    kit_end(k);
}

/* A machine that the book first heard of by an act that is taken back, and that is out since, stays in the book. */
static void machine_that_is_out(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(kit_act(k, "machine-gap", "desk", "{\"machine\":\"Birch\"}"));
    int64_t gap = (int64_t)k->done.event;
    OK(run_out(k, "desk", "Birch", 1000, ""));
    int64_t run = (int64_t)k->done.event;
    if (UNDO(gap) == PO_OK) {
        assert_int_equal(kit_number(kit_ask(k, "machines", "{\"machine\":\"Birch\"}"), "machines/0/run"), run);
    }
    run_sound(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(who_may), cmocka_unit_test(weighing_that_runs_rest_on),
                                       cmocka_unit_test(empty_spool_that_runs_rest_on), cmocka_unit_test(what_has_left),
                                       cmocka_unit_test(machine_that_is_out)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
