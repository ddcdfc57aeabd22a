/* Rounds and notes: begun, walked, corrected, done, taken back. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"

#define ALL_GOOD "\"bed_clear\":true,\"stick_there\":true,\"nozzle_clean\":true,\"spool_on\":true,\"heaters_off\":true"

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
}

static long long begin(kit *k, const char *kind)
{
    OK(kit_act(k, "round-begin", "desk", "{\"kind\":\"%s\"}", kind));
    return kit_number(k->done.answer, "round");
}

static void see(kit *k, long long round, const char *machine, const char *found)
{
    OK(kit_act(k, "round-machine", "desk", "{\"round\":%lld,\"machine\":\"%s\",\"found\":\"%s\"," ALL_GOOD "}", round,
               machine, found));
}

static void refused(kit *k, const char *act, const char *body, po_status status, const char *words)
{
    assert_int_equal(kit_act(k, act, "desk", "%s", body), status);
    if (!strstr(k->err.msg, words)) {
        fail_msg("expected \"%s\" in: %s", words, k->err.msg);
    }
}

static void undo(kit *k, uint64_t event)
{
    OK(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)event));
}

static void one_is_open(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    long long r = begin(k, "opening");
    refused(k, "round-begin", "{\"kind\":\"closing\"}", PO_E_CONFLICT, "the opening round 2, which desk began");
    see(k, r, "Alder", "free");
    OK(kit_act(k, "round-done", "desk", "{\"round\":%lld}", r));
    uint64_t done = k->done.event;
    refused(k, "round-done", "{\"round\":2}", PO_E_CONFLICT, "round 2 is done");
    refused(k, "round-machine", "{\"round\":2,\"machine\":\"Alder\",\"found\":\"free\"," ALL_GOOD "}", PO_E_CONFLICT,
            "round 2 is done");
    refused(k, "round-done", "{\"round\":1}", PO_E_NOTFOUND, "no round 1");
    long long second = begin(k, "closing");
    char body[64];
    snprintf(body, sizeof body, "{\"event\":%llu}", (unsigned long long)done);
    refused(k, "undo", body, PO_E_CONFLICT, "another round was begun by event");
    undo(k, (uint64_t)second);
    undo(k, done);
    assert_int_equal(kit_number(kit_ask(k, "rounds", "{\"round\":2}"), "rounds/0/done_ms"), -1);
    refused(k, "undo", "{\"event\":2}", PO_E_CONFLICT, "came later and rests on it");
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

static void machine_by_machine(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"m1\",\"machine\":\"Birch\",\"um\":1000,\"sha256\":\"" KIT_SHA "\"}"));
    int64_t run = (int64_t)k->done.event;
    long long r = begin(k, "closing");
    see(k, r, "Alder", "free");
    assert_int_equal(kit_number(k->done.answer, "run"), -1);
    see(k, r, "Birch", "running");
    assert_int_equal(kit_number(k->done.answer, "run"), run);
    char before[2048];
    snprintf(before, sizeof before, "%s", kit_ask(k, "rounds", "{\"round\":%lld}", r));
    assert_int_equal(kit_number(before, "found/0/stick_there"), 1);
    /* a second time: corrected, not twice */
    k->now += 60000;
    OK(kit_act(k, "round-machine", "desk",
               "{\"round\":%lld,\"machine\":\"Alder\",\"found\":\"failed\",\"bed_clear\":false,\"stick_there\":false,"
               "\"nozzle_clean\":false,\"spool_on\":true,\"heaters_off\":true,\"note\":\"a lump\"}",
               r));
    const char *json = kit_ask(k, "rounds", "{\"round\":%lld}", r);
    assert_int_equal(kit_number(json, "rounds/0/machines"), 2);
    assert_int_equal(kit_number(json, "found/0/stick_there"), 0);
    assert_int_equal(kit_number(json, "found/0/at_ms"), k->now);
    assert_int_equal(kit_number(json, "found/2/at_ms"), -1);
    assert_non_null(strstr(json, "a lump"));
    undo(k, k->done.event);
    assert_string_equal(before, kit_ask(k, "rounds", "{\"round\":%lld}", r));
    see(k, r, "Cedar", "out-of-use");
    undo(k, k->done.event);
    assert_string_equal(before, kit_ask(k, "rounds", "{\"round\":%lld}", r));
    kit_clean(k);
    kit_end(k);
}

static void done_when_all_were_seen(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "machine-tag", "desk", "{\"machine\":\"Elm\",\"reason\":\"the fan rattles\"}"));
    OK(kit_act(k, "machine-gap", "desk", "{\"machine\":\"Birch\"}"));
    long long r = begin(k, "opening");
    see(k, r, "Alder", "free");
    char body[256];
    snprintf(body, sizeof body, "{\"round\":%lld,\"machines\":[\"Alder\",\"Birch\",\"Cedar\",\"Elm\"]}", r);
    refused(k, "round-done", body, PO_E_CONFLICT, "has not seen Birch, Cedar; look");
    see(k, r, "Birch", "free");
    refused(k, "round-done", body, PO_E_CONFLICT, "has not seen Cedar; look");
    assert_null(strstr(kit_ask(k, "rounds", "{\"round\":%lld}", r), "the fan"));
    OK(kit_act(k, "round-done", "desk",
               "{\"round\":%lld,\"machines\":[\"Cedar\"],\"unseen\":\"Cedar is lent\",\"note\":\"Feed Birch first\"}",
               r));
    uint64_t done = k->done.event;
    assert_int_equal(kit_number(k->done.answer, "machines"), 2);
    assert_non_null(strstr(kit_ask(k, "rounds", "{}"), "Cedar is lent"));
    undo(k, done);
    assert_null(strstr(kit_ask(k, "rounds", "{}"), "Cedar is lent"));
    /* many: as many names as a sentence holds, and how many more */
    char names[2048] = "", sentence[64];
    for (int i = 0; i < 60; i++) {
        snprintf(names + strlen(names), sizeof names - strlen(names), "%s\"printer-%02d\"", i ? "," : "", i);
    }
    assert_int_equal(kit_act(k, "round-done", "desk", "{\"round\":%lld,\"machines\":[%s]}", r, names), PO_E_CONFLICT);
    snprintf(sentence, sizeof sentence, " and %d more; look", 60 - 11);
    if (!strstr(k->err.msg, sentence)) {
        fail_msg("%s", k->err.msg);
    }
    kit_clean(k);
    kit_end(k);
}

static void notes(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "note-leave", "desk", "{\"text\":\"The post comes at ten.\"}"));
    assert_int_equal(kit_number(k->done.answer, "note"), 2);
    undo(k, k->done.event);
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(one_is_open), cmocka_unit_test(machine_by_machine),
                                       cmocka_unit_test(done_when_all_were_seen), cmocka_unit_test(notes)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
