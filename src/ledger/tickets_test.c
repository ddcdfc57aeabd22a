/* Tickets: taken, called, claimed, passed, left, taken back. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"

#define MINUTE INT64_C(60000)

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper", "{\"term\":\"t\",\"from\":0,\"until\":%lld,\"allowance_um\":150000000}",
               (long long)(KIT_NOON + 90 * KIT_DAY)));
    for (int i = 1; i <= 4; i++) {
        OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m%d\",\"name\":\"Name %d\"}", i, i));
    }
}

static int64_t take(kit *k, int member)
{
    OK(kit_act(k, "ticket-take", "desk", "{\"member\":\"m%d\"}", member));
    return kit_number(k->done.answer, "ticket");
}

static void call(kit *k, int64_t ticket, int64_t minutes)
{
    OK(kit_act(k, "ticket-call", "desk", "{\"ticket\":%lld,\"until\":%lld}", (long long)ticket,
               (long long)(k->now + minutes * MINUTE)));
}

static void undo_last(kit *k)
{
    OK(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)k->done.event));
}

/* The answer without its time. */
static void tickets(kit *k, char out[4096])
{
    const char *json = kit_ask(k, "tickets", "{\"all\":true}"), *list = strstr(json, "\"tickets\"");
    assert_non_null(list);
    snprintf(out, 4096, "%s", list);
}

/* Each act, then its undo: all is as before. */
static void every_act_can_be_taken_back(void **state)
{
    (void)state;
    kit one, *k = &one;
    char before[4096], after[4096];
    open_shop(k);
    int64_t first = take(k, 1);
    assert_int_equal(first, 1);
    tickets(k, before);
    assert_int_equal(take(k, 2), 2);
    assert_int_equal(kit_number(k->done.answer, "ahead"), 1);
    undo_last(k);
    tickets(k, after);
    assert_string_equal(before, after);
    call(k, first, 15);
    undo_last(k);
    tickets(k, after);
    assert_string_equal(before, after);
    OK(kit_act(k, "ticket-leave", "desk", "{\"ticket\":1}"));
    undo_last(k);
    tickets(k, after);
    assert_string_equal(before, after);
    call(k, first, 15);
    tickets(k, before);
    OK(kit_act(k, "ticket-pass", "desk", "{\"ticket\":1,\"no_show\":false}"));
    assert_int_equal(kit_number(kit_ask(k, "tickets", "{}"), "tickets/0/ticket"), -1);
    undo_last(k);
    tickets(k, after);
    assert_string_equal(before, after);
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":1000,\"sha256\":\"" KIT_SHA "\"}"));
    uint64_t run = k->done.event;
    undo_last(k);
    tickets(k, after);
    assert_string_equal(before, after);
    assert_true(run > 0);
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    tickets(k, after);
    assert_string_equal(before, after);
    kit_end(k);
}

static void refusals(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    int64_t t = take(k, 1);
    REFUSED_WITH(kit_act(k, "ticket-take", "desk", "{\"member\":\"m1\"}"), PO_E_CONFLICT,
                 "member m1 has ticket 1 already");
    REFUSED_WITH(kit_act(k, "ticket-take", "desk", "{\"member\":\"m9\"}"), PO_E_NOTFOUND, "no member m9");
    OK(kit_act(k, "member-suspend", "desk", "{\"member\":\"m2\",\"reason\":\"unsafe\"}"));
    REFUSED_WITH(kit_act(k, "ticket-take", "desk", "{\"member\":\"m2\"}"), PO_E_CONFLICT, "suspended (unsafe)");
    REFUSED_WITH(kit_act(k, "ticket-pass", "desk", "{\"ticket\":1,\"no_show\":false}"), PO_E_CONFLICT,
                 "not called yet");
    REFUSED_WITH(kit_act(k, "ticket-call", "desk", "{\"ticket\":7,\"until\":%lld}", (long long)(k->now + MINUTE)),
                 PO_E_NOTFOUND, "no ticket 7 waits");
    REFUSED_WITH(kit_act(k, "ticket-call", "desk", "{\"ticket\":1,\"until\":%lld}", (long long)k->now), PO_E_CONFLICT,
                 "that time is past");
    call(k, t, 15);
    REFUSED_WITH(kit_act(k, "ticket-call", "desk", "{\"ticket\":1,\"until\":%lld}", (long long)(k->now + MINUTE)),
                 PO_E_CONFLICT, "for 15 minutes more");
    k->now += 14 * MINUTE;
    REFUSED_WITH(kit_act(k, "ticket-pass", "desk", "{\"ticket\":1,\"no_show\":true}"), PO_E_CONFLICT,
                 "for 1 minute more");
    /* passed without being a no-show: they said no */
    OK(kit_act(k, "ticket-pass", "desk", "{\"ticket\":1,\"no_show\":false}"));
    REFUSED_WITH(kit_act(k, "ticket-leave", "desk", "{\"ticket\":1}"), PO_E_NOTFOUND, "no ticket 1 waits");
    uint64_t pass = k->done.event;
    take(k, 1);
    REFUSED_WITH(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)pass), PO_E_CONFLICT,
                 "the member has another ticket since event");
    REFUSED_WITH(kit_act(k, "undo", "desk", "{\"event\":2}"), PO_E_CONFLICT, "undo that first");
    kit_clean(k);
    kit_end(k);
}

static void lapsed_and_no_show(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    int64_t a = take(k, 1), b = take(k, 2);
    call(k, a, 15);
    k->now += 15 * MINUTE; /* up to that minute, not at it */
    const char *list = kit_ask(k, "tickets", "{}");
    assert_int_equal(kit_number(list, "tickets/0/ticket"), a);
    assert_int_equal(kit_number(list, "tickets/0/lapsed"), 1);
    call(k, b, 15); /* meanwhile */
    assert_int_equal(kit_number(kit_ask(k, "tickets", "{}"), "tickets/1/lapsed"), 0);
    OK(kit_act(k, "ticket-pass", "desk", "{\"ticket\":%lld,\"no_show\":true}", (long long)a));
    int64_t since = k->now - 30 * KIT_DAY;
    assert_int_equal(take(k, 1), 3);
    list = kit_ask(k, "tickets", "{\"no_shows_since\":%lld}", (long long)since);
    assert_int_equal(kit_number(list, "tickets/0/no_shows"), 0);
    assert_int_equal(kit_number(list, "tickets/1/no_shows"), 1);
    list = kit_ask(k, "tickets", "{\"no_shows_since\":%lld}", (long long)k->now);
    assert_int_equal(kit_number(list, "tickets/1/no_shows"), 0);
    /* the shop bears none: the desk is refused, a keeper is not; after the days it is forgotten */
    OK(kit_act(k, "ticket-leave", "desk", "{\"ticket\":3}"));
    const char *no = "{\"member\":\"m1\",\"no_shows_most\":0,\"no_show_days\":30}";
    REFUSED_WITH(kit_act(k, "ticket-take", "desk", "%s", no), PO_E_CONFLICT, "let 1 tickets lapse in the last 30 days");
    OK(kit_act(k, "ticket-take", "desk", "{\"member\":\"m1\",\"no_shows_most\":1,\"no_show_days\":30}"));
    undo_last(k);
    OK(kit_act(k, "ticket-take", "keeper", "%s", no));
    undo_last(k);
    k->now += 30 * KIT_DAY;
    OK(kit_act(k, "ticket-take", "desk", "%s", no));
    kit_clean(k);
    kit_end(k);
}

/* A screen that everybody sees holds numbers and nothing of a person. */
static void the_public_sees_numbers(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    take(k, 1);
    take(k, 2);
    call(k, 2, 10);
    const char *json = kit_ask(k, "tickets", "{\"public\":true}");
    assert_int_equal(kit_number(json, "tickets/1/ticket"), 2);
    assert_null(strstr(json, "member"));
    assert_null(strstr(json, "m1"));
    assert_null(strstr(json, "no_show"));
    assert_null(strstr(json, "taken"));
    kit_end(k);
}

/* 1 to 999 and round again, past those that still wait. */
static void numbers_go_round(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    enum { N = 1998 };
    static char bodies[2 * N][32];
    static po_act acts[2 * N];
    static po_act_done done[2 * N];
    size_t failed = 0, n = 0;
    for (int i = 1; i <= 998; i++) { /* m1 keeps number 1 */
        snprintf(bodies[n], sizeof bodies[n], "{\"member\":\"m%d\"}", i == 1 ? 1 : 2);
        acts[n] = (po_act){"ticket-take", "desk", bodies[n]};
        n++;
        if (i > 1) {
            snprintf(bodies[n], sizeof bodies[n], "{\"ticket\":%d}", i);
            acts[n] = (po_act){"ticket-leave", "desk", bodies[n]};
            n++;
        }
    }
    OK(po_ledger_act_all(k->ledger, acts, n, k->arena, done, &failed, &k->err));
    assert_int_equal(take(k, 2), 999);
    assert_int_equal(take(k, 3), 2);
    undo_last(k);
    OK(kit_act(k, "ticket-leave", "desk", "{\"ticket\":1}"));
    assert_int_equal(take(k, 3), 1);
    kit_clean(k);
    kit_end(k);
}

static void claimed_by_a_hand_out(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    int64_t a = take(k, 1), b = take(k, 2);
    char body[256];
    snprintf(body, sizeof body,
             "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":1000,\"sha256\":\"" KIT_SHA "\",\"ticket\":%lld}",
             (long long)b);
    REFUSED_WITH(kit_act(k, "run-hand-out", "desk", "%s", body), PO_E_CONFLICT, "ticket 2 is member m2's");
    call(k, a, 15);
    char before[4096], after[4096];
    k->now += 16 * MINUTE;
    body[strlen(body) - 2] = '1';
    REFUSED_WITH(kit_act(k, "run-hand-out", "desk", "%s", body), PO_E_CONFLICT, "was up 1 minute ago");
    call(k, a, 15);
    tickets(k, before);
    OK(kit_act(k, "run-hand-out", "desk", "%s", body));
    assert_int_equal(kit_number(kit_ask(k, "tickets", "{\"all\":true}"), "tickets/1/run"), (int64_t)k->done.event);
    kit_clean(k);
    undo_last(k);
    tickets(k, after);
    assert_string_equal(before, after);
    OK(kit_act(k, "run-hand-out", "desk", "%s", body));
    uint64_t run = k->done.event;
    take(k, 1);
    REFUSED_WITH(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)run), PO_E_CONFLICT,
                 "the member has another ticket");
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

/* A machine is kept for one ticket at a time, and only one that may go out is offered. */
static void a_machine_is_kept_for_one(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    int64_t a = take(k, 1), b = take(k, 2), until = k->now + 15 * MINUTE;
    char of_a[160], of_b[160];
    snprintf(of_a, sizeof of_a, "{\"ticket\":%lld,\"until\":%lld,\"machine\":\"Cedar\",\"message\":\"Your turn.\"}",
             (long long)a, (long long)until);
    snprintf(of_b, sizeof of_b, "{\"ticket\":%lld,\"until\":%lld,\"machine\":\"Cedar\"}", (long long)b,
             (long long)(until + 30 * MINUTE));
    OK(kit_act(k, "ticket-call", "desk", "%s", of_a));
    assert_int_equal(kit_number(k->done.answer, "message"), 1);
    REFUSED_WITH(kit_act(k, "ticket-call", "desk", "%s", of_b), PO_E_CONFLICT, "Cedar is kept for ticket 1");
    OK(kit_act(k, "ticket-pass", "desk", "{\"ticket\":1,\"no_show\":false}"));
    uint64_t pass = k->done.event;
    OK(kit_act(k, "ticket-call", "desk", "%s", of_b));
    REFUSED_WITH(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)pass), PO_E_CONFLICT,
                 "the machine is kept for another ticket since event");
    undo_last(k);
    OK(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)pass));
    k->now = until; /* lapsed: it is not kept any more */
    OK(kit_act(k, "ticket-call", "desk", "%s", of_b));
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"m2\",\"machine\":\"Cedar\",\"um\":1000,\"sha256\":\"" KIT_SHA "\",\"ticket\":%lld}",
               (long long)b));
    REFUSED_WITH(kit_act(k, "ticket-call", "desk", "{\"ticket\":%lld,\"until\":%lld,\"machine\":\"Cedar\"}",
                         (long long)a, (long long)(k->now + MINUTE)),
                 PO_E_CONFLICT, "Cedar is out");
    kit_clean(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_act_can_be_taken_back),
                                       cmocka_unit_test(refusals),
                                       cmocka_unit_test(lapsed_and_no_show),
                                       cmocka_unit_test(the_public_sees_numbers),
                                       cmocka_unit_test(numbers_go_round),
                                       cmocka_unit_test(claimed_by_a_hand_out),
                                       cmocka_unit_test(a_machine_is_kept_for_one)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
