/* Machines act by act: refused, taken back, made anew from the events. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"

static const char *machine(kit *k, const char *name)
{
    char body[96];
    snprintf(body, sizeof body, "{\"machine\":\"%s\"}", name);
    return kit_ask(k, "machines", "%s", body);
}

/* A text in a JSON answer; "" where it is not there. */
static const char *text(kit *k, const char *json, const char *path)
{
    json_t *root = json_loads(json, 0, NULL), *at = root;
    char copy[128], *rest = copy;
    snprintf(copy, sizeof copy, "%s", path);
    for (char *key = strsep(&rest, "/"); key && at; key = strsep(&rest, "/")) {
        at = json_is_array(at) ? json_array_get(at, strtoul(key, NULL, 10)) : json_object_get(at, key);
    }
    const char *kept = po_arena_text(k->arena, json_is_string(at) ? json_string_value(at) : "");
    json_decref(root);
    return kept;
}

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
}

static void hand_out(kit *k, const char *name)
{
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"m1\",\"machine\":\"%s\",\"um\":1000000,\"seconds\":3600,"
               "\"sha256\":\"" KIT_SHA "\"}",
               name));
}

static void undo(kit *k, uint64_t event)
{
    OK(kit_act(k, "undo", "keeper", "{\"event\":%llu}", (unsigned long long)event));
}

/* What the book says of all machines and spools must be the same before an act and after it was taken back. */
static void taken_back(kit *k, const char *act, const char *by, const char *body)
{
    const char *before = kit_ask(k, "machines", "{}"), *spools = kit_ask(k, "spools", "{}");
    OK(kit_act(k, act, by, "%s", body));
    uint64_t event = k->done.event;
    assert_string_not_equal(before, kit_ask(k, "machines", "{}"));
    undo(k, event);
    assert_string_equal(before, kit_ask(k, "machines", "{}"));
    assert_string_equal(spools, kit_ask(k, "spools", "{}"));
}

static void again(kit *k)
{
    const char *before = kit_ask(k, "machines", "{}");
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    assert_string_equal(before, kit_ask(k, "machines", "{}"));
}

static void tagged_rested_cleared(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    const char *tag = "{\"machine\":\"Birch\",\"reason\":\"the nozzle leaks\",\"photo\":\"" KIT_SHA "\"}";
    taken_back(k, "machine-tag", "desk", tag);
    OK(kit_act(k, "machine-tag", "desk", "%s", tag));
    const char *now = machine(k, "Birch");
    assert_string_equal(text(k, now, "machines/0/state"), "tagged-out");
    assert_string_equal(text(k, now, "machines/0/reason"), "the nozzle leaks");
    assert_string_equal(text(k, now, "machines/0/photo"), KIT_SHA);
    assert_int_equal(kit_number(now, "machines/0/since_ms"), KIT_NOON);
    k->now += KIT_DAY;
    REFUSED_WITH(kit_act(k, "run-hand-out", "desk",
                         "{\"member\":\"m1\",\"machine\":\"Birch\",\"um\":1,\"sha256\":\"" KIT_SHA "\"}"),
                 PO_E_CONFLICT,
                 "Birch is tagged out since 2026-10-05 12:00 UTC (the nozzle leaks): machine clear puts it in use");
    REFUSED_WITH(kit_act(k, "machine-tag", "desk", "%s", tag), PO_E_CONFLICT, "tagged out since");
    REFUSED_WITH(kit_act(k, "machine-rest", "desk", "{\"machine\":\"Birch\",\"reason\":\"oil\"}"), PO_E_CONFLICT,
                 "tagged out since");
    taken_back(k, "machine-clear", "desk", "{\"machine\":\"Birch\",\"note\":\"new nozzle\"}");
    OK(kit_act(k, "machine-clear", "desk", "{\"machine\":\"Birch\"}"));
    assert_string_equal(text(k, machine(k, "Birch"), "machines/0/state"), "free");
    REFUSED_WITH(kit_act(k, "machine-clear", "desk", "{\"machine\":\"Birch\"}"), PO_E_CONFLICT, "Birch is in use");
    REFUSED_WITH(kit_act(k, "machine-clear", "m1", "{\"machine\":\"Birch\"}"), PO_E_CONFLICT, "may not do");
    taken_back(k, "machine-rest", "desk", "{\"machine\":\"Birch\",\"reason\":\"oil\"}");
    OK(kit_act(k, "machine-rest", "desk", "{\"machine\":\"Birch\",\"reason\":\"oil\"}"));
    REFUSED_WITH(kit_act(k, "run-hand-out", "desk",
                         "{\"member\":\"m1\",\"machine\":\"Birch\",\"um\":1,\"sha256\":\"" KIT_SHA "\"}"),
                 PO_E_CONFLICT, "Birch rests since 2026-10-06 12:00 UTC (oil): machine clear");
    /* care may find a fault */
    OK(kit_act(k, "machine-tag", "desk", "{\"machine\":\"Birch\",\"reason\":\"a cable is worn\"}"));
    assert_string_equal(text(k, machine(k, "Birch"), "machines/0/state"), "tagged-out");
    again(k);
    kit_end(k);
}

static void out_and_waiting(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    hand_out(k, "Cedar");
    long long run = (long long)k->done.event;
    const char *now = machine(k, "Cedar");
    assert_string_equal(text(k, now, "machines/0/state"), "out");
    assert_string_equal(text(k, now, "machines/0/member"), "m1");
    assert_int_equal(kit_number(now, "machines/0/run"), run);
    assert_int_equal(kit_number(now, "machines/0/ends_ms"), KIT_NOON + 3600000);
    REFUSED_WITH(kit_act(k, "machine-rest", "desk", "{\"machine\":\"Cedar\",\"reason\":\"oil\"}"), PO_E_CONFLICT,
                 "Cedar is out with member m1");
    REFUSED_WITH(kit_act(k, "machine-retire", "keeper", "{\"machine\":\"Cedar\",\"reason\":\"old\"}"), PO_E_CONFLICT,
                 "take it back before it leaves");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Cedar\",\"nozzle_um\":600}"), PO_E_CONFLICT,
                 "its nozzle and surface stay until it is back");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Cedar\",\"surface\":\"glass\"}"), PO_E_CONFLICT,
                 "its nozzle and surface stay until it is back");
    /* a fault is seen while it runs: the tag counts from now on, the run goes on */
    OK(kit_act(k, "machine-tag", "desk", "{\"machine\":\"Cedar\",\"reason\":\"it smells\"}"));
    uint64_t tag = k->done.event;
    assert_int_equal(kit_number(k->done.answer, "run"), run);
    assert_string_equal(text(k, machine(k, "Cedar"), "machines/0/state"), "tagged-out");
    assert_int_equal(kit_number(machine(k, "Cedar"), "machines/0/run"), run);
    undo(k, tag);
    k->now += 3600000;
    OK(kit_act(k, "run-ended", "desk", "{\"run\":%lld}", run));
    assert_string_equal(text(k, machine(k, "Cedar"), "machines/0/state"), "waiting");
    REFUSED_WITH(kit_act(k, "run-hand-out", "desk",
                         "{\"member\":\"m1\",\"machine\":\"Cedar\",\"um\":1,\"sha256\":\"" KIT_SHA "\"}"),
                 PO_E_CONFLICT, "and its part is still on it; take off the part, then take the machine back");
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\",\"used_um\":1000000}", run));
    assert_string_equal(text(k, machine(k, "Cedar"), "machines/0/state"), "free");
    assert_int_equal(kit_number(machine(k, "Cedar"), "machines/0/run"), -1);
    again(k);
    kit_end(k);
}

static void add_spool(kit *k, const char *spool)
{
    OK(kit_act(
        k, "spool-add", "desk",
        "{\"spool\":\"%s\",\"material\":\"petg\",\"diameter_um\":1750,\"density_mg_cm3\":1270,\"net_mg\":1000000}",
        spool));
}

static void fitted(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    add_spool(k, "s1");
    add_spool(k, "s2");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\"}"), PO_E_RANGE, "say what is fitted");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"spool\":\"s9\"}"), PO_E_NOTFOUND, "s9");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"spool\":\"s1\",\"unload\":true}"),
                 PO_E_RANGE, "either loaded or unloaded");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"tool\":8,\"spool\":\"s1\"}"), PO_E_RANGE,
                 "at most 8 tools");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"nozzle_um\":4}"), PO_E_RANGE,
                 "0.05 mm to 5 mm");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"unload\":true}"), PO_E_CONFLICT,
                 "no spool is loaded on tool 0 of Alder");
    taken_back(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"spool\":\"s1\",\"nozzle_um\":400}");
    OK(kit_act(k, "machine-fit", "desk",
               "{\"machine\":\"Alder\",\"spool\":\"s1\",\"nozzle_um\":400,\"surface\":\"steel\"}"));
    assert_int_equal(kit_number(k->done.answer, "gap_due"), 1);
    const char *now = machine(k, "Alder");
    assert_string_equal(text(k, now, "machines/0/tools/0/spool"), "s1");
    assert_string_equal(text(k, now, "machines/0/tools/0/material"), "petg");
    assert_int_equal(kit_number(now, "machines/0/tools/0/nozzle_um"), 400);
    assert_string_equal(text(k, now, "machines/0/surface"), "steel");
    assert_int_equal(kit_number(now, "machines/0/fitted_ms"), KIT_NOON);
    /* loading it has opened it */
    assert_string_equal(text(k, kit_ask(k, "spools", "{\"spool\":\"s1\"}"), "spools/0/state"), "open");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"spool\":\"s1\"}"), PO_E_CONFLICT,
                 "spool s1 is loaded there already, on tool 0 of Alder");
    /* from machine to machine, and to another tool of the same */
    k->now += 1000;
    taken_back(k, "machine-fit", "desk", "{\"machine\":\"Birch\",\"tool\":1,\"spool\":\"s1\"}");
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Birch\",\"tool\":1,\"spool\":\"s1\"}"));
    assert_string_equal(text(k, k->done.answer, "came_from"), "Alder");
    assert_int_equal(kit_number(k->done.answer, "gap_due"), 0);
    assert_string_equal(text(k, machine(k, "Alder"), "machines/0/tools/0/spool"), "");
    assert_string_equal(text(k, machine(k, "Birch"), "machines/0/tools/0/spool"), "s1");
    assert_int_equal(kit_number(machine(k, "Birch"), "machines/0/tools/0/tool"), 1);
    assert_int_equal(kit_number(machine(k, "Birch"), "machines/0/fitted_ms"), -1);
    taken_back(k, "machine-fit", "desk", "{\"machine\":\"Birch\",\"tool\":0,\"spool\":\"s1\"}");
    /* one in the place of another; the one that was there is loaded elsewhere, and so the change stays */
    taken_back(k, "machine-fit", "desk", "{\"machine\":\"Birch\",\"tool\":1,\"spool\":\"s2\"}");
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Birch\",\"tool\":1,\"spool\":\"s2\"}"));
    unsigned long long change = (unsigned long long)k->done.event;
    assert_string_equal(text(k, k->done.answer, "came_off"), "s1");
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"spool\":\"s1\"}"));
    unsigned long long later = (unsigned long long)k->done.event;
    char words[96];
    snprintf(words, sizeof words, "loaded elsewhere by event %llu, which came later", later);
    REFUSED_WITH(kit_act(k, "undo", "keeper", "{\"event\":%llu}", change), PO_E_CONFLICT, words);
    undo(k, later);
    OK(kit_act(k, "spool-dry", "desk", "{\"spool\":\"s1\",\"c\":55,\"minutes\":240}"));
    later = (unsigned long long)k->done.event;
    REFUSED_WITH(kit_act(k, "undo", "keeper", "{\"event\":%llu}", change), PO_E_CONFLICT,
                 "in the dryer or empty by event");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"spool\":\"s1\"}"), PO_E_CONFLICT,
                 "spool s1 is in the dryer");
    undo(k, later);
    undo(k, change);
    assert_string_equal(text(k, machine(k, "Birch"), "machines/0/tools/0/spool"), "s1");
    taken_back(k, "machine-fit", "desk", "{\"machine\":\"Birch\",\"tool\":1,\"unload\":true}");
    again(k);
    kit_end(k);
}

static void in_mid_run(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    add_spool(k, "s1");
    add_spool(k, "s2");
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Dogwood\",\"spool\":\"s1\"}"));
    hand_out(k, "Dogwood");
    long long run = (long long)k->done.event;
    /* it prints from s1: nobody carries that off to another machine by a slip of the key */
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Elm\",\"spool\":\"s1\"}"), PO_E_CONFLICT,
                 "spool s1 is on Dogwood, which is out with member m1");
    taken_back(k, "machine-fit", "desk", "{\"machine\":\"Dogwood\",\"spool\":\"s2\"}");
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Dogwood\",\"spool\":\"s2\"}"));
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Elm\",\"spool\":\"s1\"}"));
    /* it has finished: its spool may go, with the part on the bed or off */
    OK(kit_act(k, "run-ended", "desk", "{\"run\":%lld}", run));
    taken_back(k, "machine-fit", "desk", "{\"machine\":\"Elm\",\"tool\":1,\"spool\":\"s2\"}");
    OK(kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"member\"}", run));
    assert_string_equal(text(k, machine(k, "Dogwood"), "machines/0/state"), "out");
    taken_back(k, "machine-fit", "desk", "{\"machine\":\"Elm\",\"tool\":1,\"spool\":\"s2\"}");
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Dogwood\",\"nozzle_um\":400}"), PO_E_CONFLICT,
                 "Dogwood is out with member m1");
    OK(kit_act(k, "spool-empty", "desk", "{\"spool\":\"s1\"}"));
    REFUSED_WITH(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"spool\":\"s1\"}"), PO_E_CONFLICT,
                 "spool s1 was booked as empty");
    again(k);
    kit_end(k);
}

static void gaps(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    REFUSED_WITH(kit_act(k, "machine-gap", "desk", "{\"machine\":\"Alder\",\"um\":2001}"), PO_E_RANGE, "at most 2 mm");
    taken_back(k, "machine-gap", "desk", "{\"machine\":\"Alder\",\"um\":100}");
    OK(kit_act(k, "machine-gap", "desk", "{\"machine\":\"Alder\",\"um\":100}"));
    const char *now = machine(k, "Alder");
    assert_int_equal(kit_number(now, "machines/0/gap_good"), 1);
    assert_int_equal(kit_number(now, "machines/0/gap_um"), 100);
    assert_string_equal(text(k, now, "machines/0/gap_by"), "desk");
    /* a nozzle at the very time that the book has for the check, as when the clock was set back: the check is due */
    taken_back(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"nozzle_um\":600}");
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"nozzle_um\":600}"));
    assert_int_equal(kit_number(machine(k, "Alder"), "machines/0/gap_good"), 0);
    OK(kit_act(k, "machine-gap", "desk", "{\"machine\":\"Alder\"}"));
    assert_int_equal(kit_number(machine(k, "Alder"), "machines/0/gap_good"), 1);
    assert_int_equal(kit_number(machine(k, "Alder"), "machines/0/gap_um"), -1);
    /* a surface later on; a check before it is shown, and not good */
    k->now += 1000;
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"surface\":\"glass\"}"));
    assert_int_equal(kit_number(machine(k, "Alder"), "machines/0/gap_good"), 0);
    assert_int_equal(kit_number(machine(k, "Alder"), "machines/0/gap_ms"), KIT_NOON);
    OK(kit_act(k, "machine-gap", "desk", "{\"machine\":\"Alder\"}"));
    /* the shop's rule: good for 7 days */
    const char *week = "{\"machine\":\"Alder\",\"gap_days\":7}";
    assert_int_equal(kit_number(kit_ask(k, "machines", "%s", week), "machines/0/gap_good"), 1);
    k->now += 7 * KIT_DAY;
    assert_int_equal(kit_number(kit_ask(k, "machines", "%s", week), "machines/0/gap_good"), 1);
    k->now += 1;
    assert_int_equal(kit_number(kit_ask(k, "machines", "%s", week), "machines/0/gap_good"), 0);
    assert_int_equal(kit_number(machine(k, "Alder"), "machines/0/gap_good"), 1);
    again(k);
    kit_end(k);
}

static void retired(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    add_spool(k, "s1");
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Elm\",\"spool\":\"s1\",\"nozzle_um\":400}"));
    OK(kit_act(k, "stick-add", "keeper", "{\"stick\":\"E1\",\"machine\":\"Elm\"}"));
    const char *retire = "{\"machine\":\"Elm\",\"reason\":\"worn out\"}";
    REFUSED_WITH(kit_act(k, "machine-retire", "desk", "%s", retire), PO_E_CONFLICT, "keeper");
    taken_back(k, "machine-retire", "keeper", retire);
    OK(kit_act(k, "machine-retire", "keeper", "%s", retire));
    unsigned long long event = (unsigned long long)k->done.event;
    assert_int_equal(kit_number(k->done.answer, "sticks"), 1);
    assert_string_equal(text(k, machine(k, "Elm"), "machines/0/state"), "retired");
    assert_string_equal(text(k, machine(k, "Elm"), "machines/0/tools/0/spool"), "");
    static const char *const none[] = {"machine-tag", "machine-rest", "machine-retire"};
    for (size_t i = 0; i < 3; i++) {
        REFUSED_WITH(kit_act(k, none[i], "keeper", "%s", retire), PO_E_CONFLICT,
                     "Elm left the shop on 2026-10-05 (worn out); name another machine");
    }
    REFUSED_WITH(kit_act(k, "machine-clear", "keeper", "{\"machine\":\"Elm\"}"), PO_E_CONFLICT, "left the shop");
    REFUSED_WITH(kit_act(k, "machine-gap", "keeper", "{\"machine\":\"Elm\"}"), PO_E_CONFLICT, "left the shop");
    REFUSED_WITH(kit_act(k, "machine-fit", "keeper", "{\"machine\":\"Elm\",\"nozzle_um\":400}"), PO_E_CONFLICT,
                 "left the shop");
    REFUSED_WITH(kit_act(k, "run-hand-out", "desk",
                         "{\"member\":\"m1\",\"machine\":\"Elm\",\"um\":1,\"sha256\":\"" KIT_SHA "\"}"),
                 PO_E_CONFLICT, "left the shop");
    /* its spool went elsewhere: the machine can't come back with it */
    OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"Alder\",\"spool\":\"s1\"}"));
    unsigned long long moved = (unsigned long long)k->done.event;
    REFUSED_WITH(kit_act(k, "undo", "keeper", "{\"event\":%llu}", event), PO_E_CONFLICT, "loaded elsewhere by event");
    undo(k, moved);
    undo(k, event);
    assert_string_equal(text(k, machine(k, "Elm"), "machines/0/tools/0/spool"), "s1");
    again(k);
    kit_end(k);
}

/* A machine's row that an act made stays where something rests on it, and is as that would have made it. */
static void rests_on_the_row(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "machine-gap", "desk", "{\"machine\":\"Alder\"}"));
    unsigned long long made = (unsigned long long)k->done.event;
    OK(kit_act(k, "stick-add", "keeper", "{\"stick\":\"A1\",\"machine\":\"Alder\"}"));
    unsigned long long stick = (unsigned long long)k->done.event;
    undo(k, made); /* the stick would have made the row as well */
    assert_int_equal(kit_number(machine(k, "Alder"), "machines/0/gap_ms"), -1);
    assert_string_equal(text(k, kit_ask(k, "sticks", "{}"), "sticks/0/machine"), "Alder");
    undo(k, stick);
    /* care was booked as done, the machine went out: it can't rest again behind the member's back */
    OK(kit_act(k, "machine-rest", "desk", "{\"machine\":\"Alder\",\"reason\":\"oil\"}"));
    OK(kit_act(k, "machine-clear", "desk", "{\"machine\":\"Alder\"}"));
    unsigned long long clear = (unsigned long long)k->done.event;
    hand_out(k, "Alder");
    assert_int_equal(kit_act(k, "undo", "keeper", "{\"event\":%llu}", clear), PO_E_CONFLICT);
    again(k);
    kit_end(k);
}

static void history(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "stick-add", "keeper", "{\"stick\":\"A1\",\"machine\":\"Alder\"}"));
    OK(kit_act(k, "machine-gap", "desk", "{\"machine\":\"Birch\"}"));
    OK(kit_act(k, "machine-tag", "desk", "{\"machine\":\"Alder\",\"reason\":\"noise\"}"));
    unsigned long long tag = (unsigned long long)k->done.event;
    undo(k, tag);
    hand_out(k, "Alder");
    unsigned long long run = (unsigned long long)k->done.event;
    OK(kit_act(k, "run-ended", "desk", "{\"run\":%llu}", run));
    unsigned long long ended = (unsigned long long)k->done.event;
    undo(k, ended);
    undo(k, run); /* its row is gone: its events are found all the same */
    OK(kit_act(k, "stick-count", "desk", "{\"stick\":\"A1\"}"));
    const char *all = kit_ask(k, "machine-history", "{\"machine\":\"Alder\"}");
    static const char *const acts[] = {"stick-count",  "undo", "undo",        "run-ended",
                                       "run-hand-out", "undo", "machine-tag", "stick-add"};
    static const char *const undone[] = {"", "run-hand-out", "run-ended", "", "", "machine-tag", "", ""};
    char path[40];
    for (size_t i = 0; i < 8; i++) {
        snprintf(path, sizeof path, "events/%zu/act", i);
        assert_string_equal(text(k, all, path), acts[i]);
        snprintf(path, sizeof path, "events/%zu/undone_act", i);
        assert_string_equal(text(k, all, path), undone[i]);
    }
    assert_int_equal(kit_number(all, "events/8/event"), -1);
    assert_int_equal(kit_number(all, "more"), 0);
    assert_int_equal(kit_number(all, "looked_back_to"), 1);
    assert_int_equal(kit_number(all, "events/4/undone_by"), kit_number(all, "events/1/event"));
    assert_string_equal(text(k, all, "events/6/body/reason"), "noise");
    const char *two = kit_ask(k, "machine-history", "{\"machine\":\"Alder\",\"limit\":2}");
    assert_int_equal(kit_number(two, "more"), 1);
    assert_int_equal(kit_number(two, "looked_back_to"), kit_number(all, "events/1/event"));
    two = kit_ask(k, "machine-history", "{\"machine\":\"Alder\",\"limit\":2,\"before\":%lld}",
                  (long long)kit_number(two, "looked_back_to"));
    assert_int_equal(kit_number(two, "events/0/event"), kit_number(all, "events/2/event"));
    two = kit_ask(k, "machine-history", "{\"machine\":\"Elm\",\"before\":99999999}");
    assert_int_equal(kit_number(two, "looked_back_to"), 1);
    assert_int_equal(kit_number(two, "events/0/event"), -1);
    kit_clean(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tagged_rested_cleared),
        cmocka_unit_test(out_and_waiting),
        cmocka_unit_test(fitted),
        cmocka_unit_test(in_mid_run),
        cmocka_unit_test(gaps),
        cmocka_unit_test(retired),
        cmocka_unit_test(rests_on_the_row),
        cmocka_unit_test(history),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
