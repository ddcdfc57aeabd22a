/* Random acts of tickets, messages and rounds, taken back at random: verify clean, a rebuild equal. SPDX-License-Identifier: Apache-2.0
 *
 * Nothing is foreseen but what must hold whatever happens: an act is done or refused with a sentence, an undo leads back to the
 * answers of before where it follows at once, and the book's own sums stand at the end. */
#include "ledger/ledger_kit.h"

enum { ACTS = 700, MEMBERS = 5 };

static const char *const machines[] = {"Alder", "Birch", "Cedar"};

typedef struct dice {
    uint64_t state;
} dice;

static int roll(dice *d, int n)
{
    d->state = d->state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (int)((d->state >> 33) % (uint64_t)n);
}

static po_status any_act(kit *k, dice *d)
{
    const char *machine = machines[roll(d, 3)];
    int member = 1 + roll(d, MEMBERS), ticket = 1 + roll(d, 6) + (roll(d, 20) == 0 ? 990 : 0);
    int64_t open = kit_number(kit_ask(k, "today", "{}"), "open_round/round");
    switch (roll(d, 12)) {
    case 0:
    case 1:
        return kit_act(k, "ticket-take", "desk", "{\"member\":\"m%d\",\"no_shows_most\":%d,\"no_show_days\":1}", member,
                       roll(d, 3));
    case 2:
        return kit_act(k, "ticket-call", "desk", "{\"ticket\":%d,\"until\":%lld,\"machine\":\"%s\",\"message\":\"t\"}",
                       ticket, (long long)(k->now + roll(d, 3) * 600000), machine);
    case 3:
        return kit_act(k, "ticket-call", "desk", "{\"ticket\":%d,\"until\":%lld}", ticket,
                       (long long)(k->now + roll(d, 3) * 600000));
    case 4:
        return kit_act(k, "ticket-pass", "desk", "{\"ticket\":%d,\"no_show\":%s}", ticket,
                       roll(d, 2) ? "true" : "false");
    case 5:
        return kit_act(k, "ticket-leave", "desk", "{\"ticket\":%d}", ticket);
    case 6:
        return kit_act(k, "run-hand-out", "desk",
                       "{\"member\":\"m%d\",\"machine\":\"%s\",\"um\":1,\"sha256\":\"" KIT_SHA "\",\"ticket\":%d}",
                       member, machine, ticket);
    case 7: {
        const char *runs = kit_ask(k, "today", "{}");
        bool ended = roll(d, 2) == 0;
        return kit_act(k, ended ? "run-ended" : "run-take-back", "desk", "{\"run\":%lld%s}",
                       (long long)kit_number(runs, "runs/0/run"), ended ? "" : ",\"figure\":\"proof\",\"used_um\":1");
    }
    case 8:
        return kit_act(k, roll(d, 2) ? "message-sent" : "message-drop", "desk", "{\"message\":%d}", 1 + roll(d, 30));
    case 9:
        return kit_act(k, "round-begin", "desk", "{\"kind\":\"%s\"}", roll(d, 2) ? "opening" : "closing");
    case 10:
        return kit_act(k, "round-machine", "desk",
                       "{\"round\":%lld,\"machine\":\"%s\",\"found\":\"free\",\"bed_clear\":true,\"stick_there\":true,"
                       "\"nozzle_clean\":true,\"spool_on\":true,\"heaters_off\":true}",
                       (long long)(open > 0 ? open : 1), machine);
    default:
        return kit_act(k, "round-done", "desk", "{\"round\":%lld,\"note\":\"n\"%s}", (long long)(open > 0 ? open : 1),
                       roll(d, 2) ? ",\"unseen\":\"u\"" : "");
    }
}

/* All that questions say of it; the caller frees. */
static char *everything(kit *k)
{
    char *a = strdup(kit_ask(k, "tickets", "{\"all\":true,\"limit\":1000}"));
    char *b = strdup(kit_ask(k, "outbox", "{\"limit\":1000}"));
    const char *c = kit_ask(k, "rounds", "{\"limit\":1000}");
    size_t room = strlen(a) + strlen(b) + strlen(c) + 1;
    char *all = malloc(room);
    assert_non_null(all);
    snprintf(all, room, "%s%s%s", a, b, c);
    free(a);
    free(b);
    return all;
}

/* A member has one ticket, a number is one ticket's, a machine is kept for one. */
static void one_of_each(kit *k)
{
    json_t *root = json_loads(kit_ask(k, "tickets", "{}"), 0, NULL), *list = json_object_get(root, "tickets");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *a = json_array_get(list, i);
        bool kept = json_is_string(json_object_get(a, "offered")) && json_is_false(json_object_get(a, "lapsed")) &&
                    strcmp(json_string_value(json_object_get(a, "state")), "called") == 0;
        for (size_t j = 0; j < i; j++) {
            const json_t *b = json_array_get(list, j);
            assert_false(json_equal(json_object_get(a, "member"), json_object_get(b, "member")));
            assert_false(json_equal(json_object_get(a, "ticket"), json_object_get(b, "ticket")));
            bool both = kept && json_is_false(json_object_get(b, "lapsed")) &&
                        strcmp(json_string_value(json_object_get(b, "state")), "called") == 0;
            assert_false(both && json_equal(json_object_get(a, "offered"), json_object_get(b, "offered")));
        }
    }
    json_decref(root);
}

static void random_walks(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 2; seed++) {
        kit one, *k = &one;
        dice d = {seed};
        int done = 0, refused = 0, undone = 0;
        kit_begin(k);
        kit_open(k);
        for (int i = 1; i <= MEMBERS; i++) {
            OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m%d\"}", i));
        }
        for (int i = 0; i < ACTS; i++) {
            bool back = roll(&d, 6) == 0;
            char *before = back ? everything(k) : NULL;
            k->now += back ? 0 : roll(&d, 400000);
            po_status s = any_act(k, &d);
            if (s != PO_OK && s != PO_E_CONFLICT && s != PO_E_NOTFOUND && s != PO_E_RANGE) {
                fail_msg("seed %llu: [%s] %s", (unsigned long long)seed, k->err.where, k->err.msg);
            }
            assert_true(s == PO_OK || strlen(k->err.msg) > 10);
            done += s == PO_OK;
            refused += s != PO_OK;
            if (back && s == PO_OK) {
                OK(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)k->done.event));
                char *after = everything(k);
                assert_string_equal(before, after);
                free(after);
            } else if (roll(&d, 3) == 0 &&
                       k->done.event > 20) { /* something that was done lately, where nothing rests on it */
                uint64_t event = k->done.event - (uint64_t)roll(&d, 12);
                s = kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)event);
                undone += s == PO_OK;
                assert_true(s == PO_OK || s == PO_E_CONFLICT || s == PO_E_NOTFOUND);
            }
            free(before);
            one_of_each(k);
        }
        assert_true(done > ACTS / 8 && refused > ACTS / 8 && undone > 5);
        kit_clean(k);
        char *before = everything(k);
        OK(po_ledger_rebuild(k->ledger, &k->err));
        kit_clean(k);
        char *after = everything(k);
        assert_string_equal(before, after);
        free(before);
        free(after);
        kit_end(k);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(random_walks)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
