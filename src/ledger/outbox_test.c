/* Messages: put, sent, failed, dropped. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "desk",
               "{\"member\":\"m1\",\"name\":\"Ada Quay\",\"contact\":\"ada@quayside.example\"}"));
}

static int64_t put(kit *k, const char *kind, const char *text)
{
    k->now += 1000;
    OK(kit_act(k, "message-put", "desk", "{\"member\":\"m1\",\"kind\":\"%s\",\"text\":\"%s\"}", kind, text));
    return kit_number(k->done.answer, "message");
}

static void refused(kit *k, const char *act, const char *body, po_status status, const char *words)
{
    assert_int_equal(kit_act(k, act, "desk", "%s", body), status);
    if (!strstr(k->err.msg, words)) {
        fail_msg("expected \"%s\" in: %s", words, k->err.msg);
    }
}

static void put_sent_failed_dropped(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    assert_int_equal(put(k, "done", "Your part is on the shelf."), 1);
    assert_int_equal(put(k, "collect", "Collect it by Friday."), 2);
    assert_int_equal(put(k, "other", "Your bottle was found."), 3);
    OK(kit_act(k, "message-failed", "desk", "{\"message\":1,\"why\":\"no connection\"}"));
    const char *json = kit_ask(k, "outbox", "{\"state\":\"waiting\"}"); /* in turn: what failed keeps its place */
    assert_int_equal(kit_number(json, "messages/0/message"), 1);
    assert_int_equal(kit_number(json, "messages/0/tries"), 1);
    assert_int_equal(kit_number(json, "messages/2/message"), 3);
    assert_non_null(strstr(json, "no connection"));
    OK(kit_act(k, "message-sent", "desk", "{\"message\":1}"));
    OK(kit_act(k, "message-drop", "desk", "{\"message\":2,\"reason\":\"said in person\"}"));
    json = kit_ask(k, "outbox", "{\"state\":\"sent\"}");
    assert_int_equal(kit_number(json, "messages/0/message"), 1);
    assert_int_equal(kit_number(json, "messages/0/tries"), 2);
    assert_int_equal(kit_number(json, "messages/0/sent_ms"), k->now);
    assert_int_equal(kit_number(json, "messages/1/message"), -1);
    assert_int_equal(kit_number(kit_ask(k, "outbox", "{\"state\":\"dropped\"}"), "messages/0/message"), 2);
    json = kit_ask(k, "outbox", "{}");
    assert_int_equal(kit_number(json, "messages/0/message"), 3); /* the latest first */
    assert_null(strstr(json, "Ada"));
    assert_null(strstr(json, "ada@"));
    json = kit_ask(k, "outbox", "{\"limit\":2}");
    assert_int_equal(kit_number(json, "more"), 1);
    refused(k, "message-sent", "{\"message\":1}", PO_E_CONFLICT, "message 1 was sent already");
    refused(k, "message-failed", "{\"message\":2,\"why\":\"w\"}", PO_E_CONFLICT, "message 2 was dropped already");
    refused(k, "message-drop", "{\"message\":9}", PO_E_NOTFOUND, "there is no message 9");
    refused(k, "message-put", "{\"member\":\"m2\",\"kind\":\"done\",\"text\":\"x\"}", PO_E_NOTFOUND, "no member m2");
    refused(k, "message-put", "{\"member\":\"m1\",\"kind\":\"done\",\"text\":\"x\",\"run\":1}", PO_E_NOTFOUND,
            "there is no run 1");
    refused(k, "message-put", "{\"member\":\"m1\",\"kind\":\"news\",\"text\":\"x\"}", PO_E_RANGE, "failed");
    const char *none = NULL;
    assert_int_equal(po_ledger_ask(k->ledger, "outbox", "{\"message\":3,\"state\":\"sent\"}", k->arena, &none, &k->err),
                     PO_E_NOTFOUND);
    assert_string_equal(k->err.msg, "there is no message 3 that is sent");
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

static void taken_back(void **state)
{
    (void)state;
    static const char *const acts[][2] = {{"message-sent", "{\"message\":1}"},
                                          {"message-failed", "{\"message\":1,\"why\":\"busy\"}"},
                                          {"message-drop", "{\"message\":1}"},
                                          {"message-put", "{\"member\":\"m1\",\"kind\":\"hands\",\"text\":\"t\"}"}};
    kit one, *k = &one;
    open_shop(k);
    put(k, "failed", "Your run stopped.");
    char before[1024];
    snprintf(before, sizeof before, "%s", kit_ask(k, "outbox", "{}"));
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++) {
        OK(kit_act(k, acts[i][0], "desk", "%s", acts[i][1]));
        assert_string_not_equal(before, kit_ask(k, "outbox", "{}"));
        OK(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)k->done.event));
        assert_string_equal(before, kit_ask(k, "outbox", "{}"));
    }
    /* the enrolment and the putting stand while the message does */
    refused(k, "undo", "{\"event\":1}", PO_E_CONFLICT, "event 2 came later and rests on it");
    OK(kit_act(k, "message-sent", "desk", "{\"message\":1}"));
    refused(k, "undo", "{\"event\":2}", PO_E_CONFLICT, "came later and changed the same message");
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

static void a_message_of_a_run(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":1000,\"sha256\":\"" KIT_SHA "\"}"));
    long long run = (long long)k->done.event;
    OK(kit_act(k, "message-put", "desk", "{\"member\":\"m1\",\"kind\":\"hands\",\"text\":\"t\",\"run\":%lld}", run));
    assert_int_equal(kit_number(kit_ask(k, "outbox", "{\"message\":1}"), "messages/0/run"), run);
    assert_int_equal(kit_act(k, "undo", "desk", "{\"event\":%lld}", run), PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "event 3 came later and rests on it"));
    OK(kit_act(k, "undo", "desk", "{\"event\":3}"));
    OK(kit_act(k, "undo", "desk", "{\"event\":%lld}", run));
    kit_clean(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(put_sent_failed_dropped), cmocka_unit_test(taken_back),
                                       cmocka_unit_test(a_message_of_a_run)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
