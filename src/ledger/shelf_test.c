/* Parts on the shelf. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/run_kit.h"

#define LAST ((int64_t)k->done.event)

static int64_t ended(kit *k, const char *member, const char *machine)
{
    OK(kit_act(k, "run-hand-out", "d1",
               "{\"member\":\"%s\",\"machine\":\"%s\",\"um\":1000000,\"sha256\":\"" KIT_SHA "\",\"spool\":\"P1\"}",
               member, machine));
    int64_t run = LAST;
    OK(kit_act(k, "run-ended", "d1", "{\"run\":%lld}", (long long)run));
    return run;
}

static po_status of(kit *k, const char *act, int64_t run, const char *more)
{
    return kit_act(k, act, "d1", "{\"run\":%lld%s}", (long long)run, more);
}

static void on_and_off(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    int64_t a = ended(k, "m1", "Alder"), b = ended(k, "m2", "Birch"), c = ended(k, "m2", "Cedar");
    REFUSED(of(k, "shelf-put", a, ",\"place\":1"), PO_E_CONFLICT, "run", "run off books that");
    REFUSED(of(k, "shelf-put", 999, ",\"place\":1"), PO_E_NOTFOUND, "run", "999");
    char more[128];
    snprintf(more, sizeof more, ",\"to\":\"shelf\",\"place\":2,\"kept_until\":%lld,\"message\":\"collect it\"",
             (long long)(k->now + 7 * KIT_DAY));
    TWICE(of(k, "run-off", a, more));
    assert_int_equal(kit_number(k->done.answer, "place"), 2);
    REFUSED(of(k, "run-off", b, ",\"to\":\"shelf\",\"place\":2"), PO_E_CONFLICT, "place", "the next free place is 1");
    char words[80];
    snprintf(words, sizeof words, "lies the part of run %lld (member m1)", (long long)a);
    assert_non_null(strstr(k->err.msg, words));
    REFUSED(of(k, "run-off", b, ",\"to\":\"member\",\"place\":1"), PO_E_RANGE, "place", "leave them out");
    REFUSED(of(k, "run-off", b, ",\"to\":\"waste\",\"kept_until\":1"), PO_E_RANGE, "kept_until", "leave them out");
    REFUSED(of(k, "run-off", b, ",\"to\":\"shelf\",\"place\":1,\"kept_until\":1"), PO_E_CONFLICT, "kept_until",
            "overdue already");
    OK(of(k, "run-off", b, ",\"to\":\"shelf\"")); /* somewhere, as yet */
    assert_int_equal(kit_number(k->done.answer, "next_place"), 1);
    TWICE(of(k, "shelf-put", b, ",\"place\":1"));
    REFUSED(of(k, "shelf-put", b, ",\"place\":2"), PO_E_CONFLICT, "place", "the next free place is 3");
    TWICE(of(k, "shelf-put", a, ",\"place\":2,\"message\":\"still there\"")); /* its own place is no other's */
    TWICE(of(k, "run-off", c, ",\"to\":\"shelf\",\"place\":1000000000000000"));
    const char *shelf = kit_ask(k, "shelf", "{}");
    assert_int_equal(kit_number(shelf, "next_place"), 3);
    assert_int_equal(kit_number(shelf, "parts/0/run"), b);
    assert_int_equal(kit_number(shelf, "parts/1/kept_until_ms"), KIT_NOON + 7 * KIT_DAY);
    assert_int_equal(kit_number(shelf, "parts/1/overdue"), 0);
    assert_int_equal(kit_number(kit_ask(k, "shelf", "{\"overdue\":true}"), "parts/0/run"), -1);
    k->now += 7 * KIT_DAY;
    shelf = kit_ask(k, "shelf", "{\"overdue\":true}");
    assert_int_equal(kit_number(shelf, "parts/0/run"), a);
    assert_int_equal(kit_number(shelf, "parts/0/overdue"), 1);
    assert_int_equal(kit_number(shelf, "parts/1/run"), -1);
    TWICE(of(k, "shelf-collect", b, ""));
    REFUSED(of(k, "shelf-collect", b, ""), PO_E_CONFLICT, "run", "collected by m2");
    REFUSED(of(k, "shelf-recycle", b, ""), PO_E_CONFLICT, "run", "collected by m2");
    TWICE(of(k, "shelf-recycle", a, ",\"mg\":2900,\"reason\":\"nobody came\""));
    assert_int_equal(run_number(k, a, "waste/0/mg"), 2900);
    REFUSED(of(k, "shelf-collect", a, ""), PO_E_CONFLICT, "run", "went to the waste");
    assert_int_equal(kit_number(kit_ask(k, "shelf", "{}"), "parts/0/run"), c);
    assert_int_equal(kit_number(kit_ask(k, "shelf", "{}"), "next_place"), 1);
    run_sound(k);
    kit_end(k);
}

/* A place that was taken meanwhile is not given back by an undo. */
static void taken_meanwhile(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    int64_t a = ended(k, "m1", "Alder"), b = ended(k, "m2", "Birch");
    OK(of(k, "run-off", a, ",\"to\":\"shelf\",\"place\":1"));
    OK(of(k, "shelf-collect", a, ",\"collected_by\":\"m2\""));
    int64_t collect = LAST;
    OK(of(k, "run-off", b, ",\"to\":\"shelf\",\"place\":1"));
    REFUSED(UNDO(collect), PO_E_CONFLICT, "event", "its place on the shelf was taken by event");
    OK(of(k, "shelf-put", b, ",\"place\":4"));
    OK(UNDO(collect));
    assert_int_equal(kit_number(kit_ask(k, "shelf", "{}"), "parts/0/run"), a);
    OK(of(k, "run-take-back", a, ",\"figure\":\"proof\"")); /* off first, back later */
    run_sound(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(on_and_off), cmocka_unit_test(taken_meanwhile)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
