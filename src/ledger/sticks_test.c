/* Sticks act by act: refused, taken back, made anew from the events. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
    OK(kit_act(k, "stick-add", "keeper", "{\"stick\":\"A1\",\"machine\":\"Alder\"}"));
    OK(kit_act(k, "stick-add", "keeper", "{\"stick\":\"B1\",\"machine\":\"Birch\"}"));
}

static po_status hand_out(kit *k, const char *machine, const char *stick)
{
    return kit_act(k, "run-hand-out", "desk",
                   "{\"member\":\"m1\",\"machine\":\"%s\",\"stick\":\"%s\",\"um\":1000,\"sha256\":\"" KIT_SHA "\"}",
                   machine, stick);
}

static void taken_back(kit *k, const char *act, const char *body)
{
    const char *before = kit_ask(k, "sticks", "{}");
    OK(kit_act(k, act, "keeper", "%s", body));
    unsigned long long event = (unsigned long long)k->done.event;
    assert_string_not_equal(before, kit_ask(k, "sticks", "{}"));
    OK(kit_act(k, "undo", "keeper", "{\"event\":%llu}", event));
    assert_string_equal(before, kit_ask(k, "sticks", "{}"));
}

static void again(kit *k)
{
    const char *before = kit_ask(k, "sticks", "{}");
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    assert_string_equal(before, kit_ask(k, "sticks", "{}"));
}

static bool says(const char *json, const char *words)
{
    return strstr(json, words) != NULL;
}

static void belongs_to_one_machine(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    taken_back(k, "stick-add", "{\"stick\":\"E1\",\"machine\":\"Elm\"}");
    REFUSED_WITH(kit_act(k, "stick-add", "keeper", "{\"stick\":\"A1\",\"machine\":\"Birch\"}"), PO_E_CONFLICT,
                 "there is a stick A1 already, of Alder: stick assign");
    REFUSED_WITH(kit_act(k, "stick-add", "desk", "{\"stick\":\"A2\",\"machine\":\"Alder\"}"), PO_E_CONFLICT, "keeper");
    REFUSED_WITH(hand_out(k, "Birch", "A1"), PO_E_CONFLICT, "stick A1 belongs to Alder, not to Birch");
    REFUSED_WITH(hand_out(k, "Birch", "Z9"), PO_E_NOTFOUND, "there is no stick Z9 in the book; stick add");
    REFUSED_WITH(kit_act(k, "stick-assign", "keeper", "{\"stick\":\"A1\",\"machine\":\"Alder\"}"), PO_E_CONFLICT,
                 "stick A1 belongs to Alder already");
    taken_back(k, "stick-assign", "{\"stick\":\"A1\",\"machine\":\"Birch\"}");
    OK(hand_out(k, "Alder", "A1"));
    unsigned long long run = (unsigned long long)k->done.event;
    const char *now = kit_ask(k, "sticks", "{\"stick\":\"A1\"}");
    assert_int_equal(kit_number(now, "sticks/0/run"), (long long)run);
    assert_true(says(now, "\"member\":\"m1\"") || says(now, "\"member\": \"m1\""));
    /* nobody empties or gives away what a member has in hand */
    static const char *const none[] = {"stick-assign", "stick-clear", "stick-retire"};
    static const char *const bodies[] = {"{\"stick\":\"A1\",\"machine\":\"Birch\"}",
                                         "{\"stick\":\"A1\",\"files\":2,\"leave\":\"keeper\"}",
                                         "{\"stick\":\"A1\",\"reason\":\"worn\"}"};
    for (size_t i = 0; i < 3; i++) {
        REFUSED_WITH(kit_act(k, none[i], "keeper", "%s", bodies[i]), PO_E_CONFLICT,
                     "stick A1 is out with Alder and member m1");
    }
    /* the run names the stick: adding it stays */
    REFUSED_WITH(kit_act(k, "undo", "keeper", "{\"event\":2}"), PO_E_CONFLICT, "rests on it");
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%llu,\"figure\":\"proof\",\"used_um\":1000}", run));
    assert_int_equal(kit_number(kit_ask(k, "sticks", "{\"stick\":\"A1\"}"), "sticks/0/run"), -1);
    /* given away and handed out with its new machine: that stays until it is back */
    OK(kit_act(k, "stick-assign", "keeper", "{\"stick\":\"A1\",\"machine\":\"Birch\"}"));
    unsigned long long assign = (unsigned long long)k->done.event;
    OK(hand_out(k, "Birch", "A1"));
    REFUSED_WITH(kit_act(k, "undo", "keeper", "{\"event\":%llu}", assign), PO_E_CONFLICT, "the stick is out by event");
    again(k);
    kit_end(k);
}

static void lost_found_cleared_retired(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    taken_back(k, "stick-lost", "{\"stick\":\"A1\",\"reason\":\"not on the hook\"}");
    OK(kit_act(k, "stick-lost", "desk", "{\"stick\":\"A1\",\"reason\":\"not on the hook\"}"));
    REFUSED_WITH(kit_act(k, "stick-lost", "desk", "{\"stick\":\"A1\"}"), PO_E_CONFLICT,
                 "stick count books that it was found");
    REFUSED_WITH(hand_out(k, "Alder", "A1"), PO_E_CONFLICT,
                 "stick A1 of Alder is lost (not on the hook): stick count books that it was found");
    REFUSED_WITH(kit_act(k, "stick-clear", "desk", "{\"stick\":\"A1\",\"files\":1,\"leave\":\"keeper\"}"),
                 PO_E_CONFLICT, "is lost");
    REFUSED_WITH(kit_act(k, "stick-add", "keeper", "{\"stick\":\"A1\",\"machine\":\"Alder\"}"), PO_E_CONFLICT,
                 "booked as lost: stick count");
    taken_back(k, "stick-count", "{\"stick\":\"A1\"}");
    OK(kit_act(k, "stick-count", "desk", "{\"stick\":\"A1\"}"));
    unsigned long long found = (unsigned long long)k->done.event;
    assert_true(says(k->done.answer, "lost"));
    assert_int_equal(kit_number(kit_ask(k, "sticks", "{\"stick\":\"A1\"}"), "sticks/0/counted_ms"), KIT_NOON);
    OK(hand_out(k, "Alder", "A1"));
    REFUSED_WITH(kit_act(k, "undo", "keeper", "{\"event\":%llu}", found), PO_E_CONFLICT, "the stick is out by event");
    REFUSED_WITH(kit_act(k, "stick-clear", "desk", "{\"stick\":\"B1\",\"files\":0,\"leave\":\"keeper\"}"), PO_E_RANGE,
                 "no file was removed");
    k->now += 1000; /* a time of its own, so that it shows */
    taken_back(k, "stick-clear", "{\"stick\":\"B1\",\"files\":3,\"leave\":\"keeper\"}");
    taken_back(k, "stick-retire", "{\"stick\":\"B1\",\"reason\":\"bent\"}");
    OK(kit_act(k, "stick-retire", "keeper", "{\"stick\":\"B1\",\"reason\":\"bent\"}"));
    REFUSED_WITH(hand_out(k, "Birch", "B1"), PO_E_CONFLICT,
                 "stick B1 of Birch is used no more (bent); take another one");
    REFUSED_WITH(kit_act(k, "stick-count", "desk", "{\"stick\":\"B1\"}"), PO_E_CONFLICT, "used no more");
    REFUSED_WITH(kit_act(k, "stick-add", "keeper", "{\"stick\":\"B1\",\"machine\":\"Birch\"}"), PO_E_CONFLICT,
                 "give the new one another name");
    OK(kit_act(k, "machine-retire", "keeper", "{\"machine\":\"Elm\",\"reason\":\"old\"}"));
    REFUSED_WITH(kit_act(k, "stick-add", "keeper", "{\"stick\":\"E1\",\"machine\":\"Elm\"}"), PO_E_CONFLICT,
                 "Elm has left the shop");
    again(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(belongs_to_one_machine),
        cmocka_unit_test(lost_found_cleared_retired),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
