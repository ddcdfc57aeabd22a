/* What is due today: each list, and how it is found in a large book. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/book.h"
#include "ledger/ledger_kit.h"
#include "ledger/today_inside.h"

#define MINUTE INT64_C(60000)

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper", "{\"term\":\"t\",\"from\":0,\"until\":%lld,\"allowance_um\":150000000}",
               (long long)(KIT_NOON + 90 * KIT_DAY)));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\",\"name\":\"Ada Quay\"}"));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m2\",\"name\":\"Ben Pier\"}"));
}

static int64_t hand_out(kit *k, const char *machine, int64_t seconds)
{
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"m1\",\"machine\":\"%s\",\"um\":1000000,\"seconds\":%lld,\"sha256\":\"" KIT_SHA "\"}",
               machine, (long long)seconds));
    return (int64_t)k->done.event;
}

static void an_empty_book(void **state)
{
    (void)state;
    kit one, *k = &one;
    kit_begin(k);
    kit_open(k);
    const char *json = kit_ask(k, "today", "{}");
    json_t *root = json_loads(json, 0, NULL);
    for (size_t i = 0; po_today_lists[i].key; i++) {
        const json_t *v = json_object_get(root, po_today_lists[i].key);
        assert_true(json_is_null(v) || (json_is_array(v) && json_array_size(v) == 0));
    }
    assert_true(json_is_null(json_object_get(root, "note")));
    assert_int_equal(kit_number(json, "messages_waiting"), 0);
    assert_int_equal(kit_number(json, "more"), 0);
    json_decref(root);
    kit_end(k);
}

static void runs_and_their_ends(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "proof-keep", "desk",
               "{\"sha256\":\"" KIT_SHA
               "\",\"machine\":\"Alder\",\"verdict\":\"clear\",\"um\":1000000,\"seconds\":3600,"
               "\"first_bead_seconds\":240,\"first_layer_seconds\":900,\"hands\":[1800]}"));
    int64_t out = k->now, run = hand_out(k, "Alder", 3600);
    hand_out(k, "Birch", 7200);
    const char *json = kit_ask(k, "today", "{}");
    assert_int_equal(kit_number(json, "runs/0/run"), run);
    assert_int_equal(kit_number(json, "runs/0/first_layer_seconds"), 900);
    assert_int_equal(kit_number(json, "runs/0/hands/0"), 1800);
    assert_int_equal(kit_number(json, "runs/0/end_ms"), out + 3600000); /* the earliest */
    assert_int_equal(kit_number(json, "runs/1/first_layer_seconds"), -1);
    assert_int_equal(kit_number(json, "machines/0/free"), 0);
    k->now += 10 * MINUTE;
    OK(kit_act(k, "run-start", "desk",
               "{\"run\":%lld,\"heated\":true,\"stream_steady\":true,\"bed_clean\":true,\"gap_good\":true,"
               "\"spool_right\":true}",
               (long long)run));
    json = kit_ask(k, "today", "{}");
    assert_int_equal(kit_number(json, "runs/0/started_ms"), k->now);
    assert_int_equal(kit_number(json, "runs/0/end_ms"), k->now + (3600 - 240) * 1000);
    k->now += KIT_DAY;
    OK(kit_act(k, "run-ended", "desk", "{\"run\":%lld}", (long long)run));
    json = kit_ask(k, "today", "{}");
    assert_int_equal(kit_number(json, "runs/0/end_ms"), -1);
    assert_int_equal(kit_number(json, "runs/0/ended_ms"), k->now);
    assert_null(strstr(json, "Ada"));
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\",\"used_um\":1000000}", (long long)run));
    json = kit_ask(k, "today", "{}");
    assert_int_equal(kit_number(json, "runs/1/run"), -1);
    assert_int_equal(kit_number(json, "machines/0/free"), 1);
    kit_end(k);
}

static const char *note_of(kit *k, char out[64])
{
    json_t *root = json_loads(kit_ask(k, "today", "{}"), 0, NULL);
    const char *text = json_string_value(json_object_get(json_object_get(root, "note"), "text"));
    snprintf(out, 64, "%s", text ? text : "");
    json_decref(root);
    return out;
}

/* The later of a round's note and a note that was left counts, by the events, not by the clock. */
static void notes_and_rounds(void **state)
{
    (void)state;
    kit one, *k = &one;
    char text[64];
    open_shop(k);
    assert_string_equal(note_of(k, text), "");
    OK(kit_act(k, "round-begin", "desk", "{\"kind\":\"closing\"}"));
    long long round = kit_number(k->done.answer, "round");
    assert_int_equal(kit_act(k, "note-leave", "m1", "{\"text\":\"x\"}"), PO_E_CONFLICT); /* not a member's act */
    OK(kit_act(k, "note-leave", "desk", "{\"text\":\"left\"}"));
    assert_string_equal(note_of(k, text), "left");
    assert_int_equal(kit_number(kit_ask(k, "today", "{}"), "open_round/round"), round);
    OK(kit_act(k, "round-done", "desk", "{\"round\":%lld,\"note\":\"from the round\"}", round));
    assert_string_equal(note_of(k, text), "from the round");
    const char *json = kit_ask(k, "today", "{}");
    assert_int_equal(kit_number(json, "open_round/round"), -1);
    assert_int_equal(kit_number(json, "last_closing/round"), round);
    assert_int_equal(kit_number(json, "last_opening/round"), -1);
    OK(kit_act(k, "note-leave", "desk", "{\"text\":\"left later\"}"));
    assert_string_equal(note_of(k, text), "left later");
    OK(kit_act(k, "round-begin", "desk", "{\"kind\":\"opening\"}"));
    OK(kit_act(k, "round-done", "desk", "{\"round\":%lld}", (long long)kit_number(k->done.answer, "round")));
    assert_string_equal(note_of(k, text), "left later"); /* a round without a note leaves it standing */
    assert_int_not_equal(kit_number(kit_ask(k, "today", "{}"), "last_opening/round"), -1);
    kit_end(k);
}

static void spools_permits_tickets_messages(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    static const struct {
        const char *spool;
        int grams;
        bool open, loaded;
    } spools[] = {{"s1", 30, true, false}, {"s2", 30, false, false}, {"s3", 20, false, true}, {"s4", 500, true, true}};
    for (size_t i = 0; i < 4; i++) {
        OK(kit_act(
            k, "spool-add", "desk",
            "{\"spool\":\"%s\",\"material\":\"PETG\",\"diameter_um\":1750,\"density_mg_cm3\":1270,\"net_mg\":%d}",
            spools[i].spool, spools[i].grams * 1000));
        if (spools[i].open) {
            OK(kit_act(k, "spool-open", "desk", "{\"spool\":\"%s\"}", spools[i].spool));
        }
        if (spools[i].loaded) {
            OK(kit_act(k, "machine-fit", "desk", "{\"machine\":\"M%zu\",\"tool\":0,\"spool\":\"%s\"}", i,
                       spools[i].spool));
        }
    }
    OK(kit_act(k, "permit-grant", "desk", "{\"member\":\"m1\",\"permission\":\"starter\",\"until\":%lld}",
               (long long)(k->now + 5 * KIT_DAY)));
    OK(kit_act(k, "permit-grant", "desk", "{\"member\":\"m2\",\"permission\":\"starter\",\"until\":%lld}",
               (long long)(k->now + 15 * KIT_DAY)));
    OK(kit_act(k, "ticket-take", "desk", "{\"member\":\"m2\",\"machine\":\"Alder\"}"));
    OK(kit_act(k, "message-put", "desk", "{\"member\":\"m2\",\"kind\":\"other\",\"text\":\"t\"}"));
    OK(kit_act(k, "machine-tag", "desk", "{\"machine\":\"Elm\",\"reason\":\"the belt slips\"}"));
    const char *json = kit_ask(k, "today", "{\"below_mg\":50000,\"lapse_before\":%lld}",
                               (long long)(k->now + 14 * KIT_DAY));
    json_t *root = json_loads(json, 0, NULL), *low = json_object_get(root, "spools");
    assert_int_equal(json_array_size(low), 2); /* the least first; s2 is sealed, s4 has enough */
    assert_string_equal(json_string_value(json_object_get(json_array_get(low, 0), "spool")), "s3");
    assert_string_equal(json_string_value(json_object_get(json_array_get(low, 0), "machine")), "M2");
    assert_string_equal(json_string_value(json_object_get(json_array_get(low, 1), "spool")), "s1");
    assert_int_equal(json_array_size(json_object_get(root, "permits")), 1);
    assert_int_equal(kit_number(json, "tickets/0/ticket"), 1);
    assert_int_equal(kit_number(json, "messages_waiting"), 1);
    assert_non_null(strstr(json, "the belt slips"));
    json_decref(root);
    json = kit_ask(k, "today", "{}");
    assert_int_equal(kit_number(json, "spools/0/left_mg"), -1);
    assert_int_equal(kit_number(json, "permits/0/permit"), -1);
    kit_end(k);
}

static void parts_and_reservations(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    int64_t run = hand_out(k, "Alder", 60);
    OK(kit_act(k, "run-ended", "desk", "{\"run\":%lld}", (long long)run));
    OK(kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"shelf\",\"place\":3,\"kept_until\":%lld}", (long long)run,
               (long long)(k->now + 7 * KIT_DAY)));
    OK(kit_act(k, "run-reserve", "desk", "{\"member\":\"m2\",\"um\":1000,\"machine\":\"Alder\"}"));
    OK(kit_act(k, "run-reserve", "desk", "{\"member\":\"m2\",\"um\":1000,\"machine\":\"Birch\",\"promised\":%lld}",
               (long long)(k->now + KIT_DAY)));
    int64_t promised = (int64_t)k->done.event;
    const char *json = kit_ask(k, "today", "{}");
    assert_int_equal(kit_number(json, "overdue/0/run"), -1);
    assert_int_equal(kit_number(json, "reservations/0/run"), promised);
    assert_int_equal(kit_number(json, "reservations/1/run"), promised - 1);
    assert_int_equal(kit_number(json, "runs/1/run"), -1); /* a reservation is on no machine */
    k->now += 7 * KIT_DAY;
    json = kit_ask(k, "today", "{}");
    assert_int_equal(kit_number(json, "overdue/0/run"), run);
    assert_int_equal(kit_number(json, "overdue/0/place"), 3);
    kit_end(k);
}

/* No list walks a table that grows with the years, only an index of what still matters; but machines are few, and notes and
 * rounds are walked from the latest on until the first that fits. */
static void found_through_indexes(void **state)
{
    (void)state;
    static const char *const walked[] = {"SCAN r USING INDEX machine_taken",
                                         "SCAN t USING INDEX tickets_waiting",
                                         "SCAN s USING INDEX spools_in_use",
                                         "SCAN r USING INDEX rounds_open",
                                         "SCAN k USING INDEX sqlite_autoindex_machines_1",
                                         "SCAN notes",
                                         "SCAN rounds"};
    kit one, *k = &one;
    open_shop(k);
    po_store *store = NULL;
    po_store_options o = {.read_only = true, .wait_ms = 1000, .schema = &po_ledger_schema};
    OK(po_store_open(k->path, &o, &store, &k->err));
    for (size_t i = 0; po_today_lists[i].key; i++) {
        char sql[2000];
        po_rows *rows = NULL;
        int n = 0;
        snprintf(sql, sizeof sql, "EXPLAIN QUERY PLAN %s", po_today_lists[i].sql);
        OK(po_store_ask(store, &rows, &k->err, sql, "iiii", INT64_C(0), INT64_C(0), INT64_C(0), INT64_C(1)));
        for (; po_rows_next(rows); n++) {
            const char *plan = po_rows_text(rows, 3);
            bool few = strncmp(plan, "SCAN (", 6) == 0;
            for (size_t w = 0; w < sizeof walked / sizeof walked[0]; w++) {
                few = few || strcmp(plan, walked[w]) == 0;
            }
            if (strncmp(plan, "SCAN", 4) == 0 && !few) {
                fail_msg("%s: %s", po_today_lists[i].key, plan);
            }
        }
        assert_true(n > 0);
        OK(po_rows_end(rows, &k->err));
    }
    po_store_close(store);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_empty_book),          cmocka_unit_test(runs_and_their_ends),
        cmocka_unit_test(notes_and_rounds),       cmocka_unit_test(spools_permits_tickets_messages),
        cmocka_unit_test(parts_and_reservations), cmocka_unit_test(found_through_indexes)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
