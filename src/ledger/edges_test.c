/* Where one thing ends and another begins: the largest counts, terms, a machine that is kept, clocks that stand. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/run_kit.h"

#define MOST "1000000000000000" /* the largest count that a field takes */

/* Counts at their limit are booked, or refused with a sentence; nothing runs over. */
static void largest_counts(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    REFUSED(kit_act(k, "spool-add", "desk",
                    "{\"spool\":\"P9\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,"
                    "\"price_minor_kg\":" MOST "}"),
            PO_E_RANGE, "price_minor_kg", "at most");
    OK(kit_act(k, "waiver-give", "keeper",
               "{\"member\":\"m1\",\"um\":" MOST ",\"reason\":\"r\",\"asked_by\":\"m1\",\"desk_limit_um\":" MOST "}"));
    const char *balance = kit_ask(k, "balance", "{\"member\":\"m1\",\"run_limit_um\":" MOST "}");
    assert_int_equal(kit_number(balance, "one_run_um"), INT64_C(1000000150000000));
    REFUSED(run_out(k, "desk", "Alder", INT64_C(1000000000000000), ",\"spool\":\"P1\""), PO_E_RANGE, "um", "10 km");
    REFUSED(run_out(k, "desk", "Alder", INT64_C(1000000000000000),
                    ",\"fund\":\"robots\",\"price_minor_kg\":1,\"diameter_um\":1750,\"density_mg_cm3\":1240"),
            PO_E_RANGE, "um", "10 km");
    OK(run_out(k, "desk", "Alder", INT64_C(1000000000000000), ",\"seconds\":" MOST));
    int64_t run = (int64_t)k->done.event;
    assert_int_equal(run_number(k, run, "waived_um"), INT64_C(1000000000000000) - 150000000);
    kit_ask(k, "today", "{}");
    kit_ask(k, "machines", "{}");
    OK(kit_act(k, "run-failed", "desk",
               "{\"run\":%lld,\"percent\":50,\"by_height\":[[1," MOST "," MOST "],[" MOST "," MOST "," MOST "]]}",
               (long long)run));
    OK(kit_act(k, "run-take-back", "desk",
               "{\"run\":%lld,\"figure\":\"counter\",\"uses\":[{\"tool\":0,\"um\":" MOST "},{\"tool\":7,\"um\":" MOST
               "}]}",
               (long long)run));
    assert_int_equal(run_number(k, run, "used_um"), INT64_C(2000000000000000));
    kit_ask(k, "run-sums", "{\"by\":\"machine\"}");
    kit_ask(k, "term", "{}");
    REFUSED(kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"waste\",\"recycled_mg\":" MOST "}", (long long)run),
            PO_E_RANGE, "recycled_mg", "100 kg");
    OK(kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"shelf\",\"place\":" MOST "}", (long long)run));
    assert_int_equal(kit_number(kit_ask(k, "shelf", "{}"), "next_place"), 1);
    REFUSED(kit_act(k, "shelf-recycle", "desk", "{\"run\":%lld,\"mg\":" MOST "}", (long long)run), PO_E_RANGE, "mg",
            "100 kg");
    OK(kit_act(k, "ticket-take", "desk", "{\"member\":\"m1\",\"seconds\":" MOST "}"));
    kit_ask(k, "tickets", "{}");
    run_sound(k);
    kit_end(k);
}

/* A run is of the term in which it went out; an outcome that comes after the close changes that term's sum, and is seen. */
static void from_one_term_into_the_next(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    int64_t end = KIT_NOON + 90 * KIT_DAY;
    OK(kit_act(k, "term-open", "keeper", "{\"term\":\"t2\",\"from\":%lld,\"until\":%lld,\"allowance_um\":1000000}",
               (long long)end, (long long)(end + 90 * KIT_DAY)));
    k->now = end - 1; /* the last moment of the first term */
    OK(run_out(k, "desk", "Alder", 100000000, ""));
    int64_t run = (int64_t)k->done.event;
    k->now = end; /* the first of the second */
    REFUSED(run_out(k, "desk", "Birch", 1000001, ""), PO_E_CONFLICT, "um", "a waiver of 0.01 m more would do");
    OK(run_out(k, "desk", "Birch", 1000000, ""));
    REFUSED(kit_act(k, "term-close", "keeper", "{\"term\":\"t1\"}"), PO_E_CONFLICT, "", "is not back yet");
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"counter\",\"used_um\":90000000}",
               (long long)run));
    const char *terms = kit_ask(k, "terms", "{}");
    assert_int_equal(kit_number(terms, "terms/0/charged_um"), 1000000);
    assert_int_equal(kit_number(terms, "terms/1/charged_um"), 90000000);
    OK(kit_act(k, "term-close", "keeper", "{\"term\":\"t1\"}"));
    assert_int_equal(kit_number(k->done.answer, "charged_um"), 90000000);
    OK(kit_act(k, "run-outcome", "desk", "{\"run\":%lld,\"outcome\":\"failed\",\"cause\":\"machine\",\"counts\":false}",
               (long long)run));
    assert_int_equal(kit_number(kit_ask(k, "terms", "{}"), "terms/1/charged_um"), 0);
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"m1\"}"), "left_um"),
                     0); /* the present term's is its own */
    run_sound(k);
    kit_end(k);
}

/* A machine that is kept for a ticket that was called goes to nobody else while it can be claimed. */
static void machine_that_is_kept(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(kit_act(k, "ticket-take", "desk", "{\"member\":\"m2\"}"));
    OK(kit_act(k, "ticket-call", "desk", "{\"ticket\":1,\"machine\":\"Alder\",\"until\":%lld}",
               (long long)(k->now + 600000)));
    REFUSED(run_out(k, "desk", "Alder", 1000, ""), PO_E_CONFLICT, "machine", "kept for ticket 1 for 10 minutes more");
    OK(run_out(k, "desk", "Birch", 1000, ""));
    k->now += 600000;
    OK(run_out(k, "desk", "Alder", 1000, "")); /* it lapsed */
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%llu,\"figure\":\"proof\"}", (unsigned long long)k->done.event));
    OK(kit_act(k, "ticket-call", "desk", "{\"ticket\":1,\"machine\":\"Alder\",\"until\":%lld}",
               (long long)(k->now + 600000)));
    OK(kit_act(k, "run-hand-out", "desk",
               "{\"member\":\"m2\",\"machine\":\"Alder\",\"um\":5,\"sha256\":\"" KIT_SHA "\",\"ticket\":1}"));
    run_sound(k);
    kit_end(k);
}

/* A reservation for a course that is over by now: the sentence says what can be done about it. */
static void reservation_for_what_is_over(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(kit_act(k, "run-reserve", "desk", "{\"member\":\"m1\",\"um\":5,\"course\":\"make-1\"}"));
    long long run = (long long)k->done.event;
    char more[40];
    snprintf(more, sizeof more, ",\"run\":%lld", run);
    OK(kit_act(k, "course-close", "keeper", "{\"course\":\"make-1\"}"));
    REFUSED(run_out(k, "desk", "Alder", 5, more), PO_E_CONFLICT, "course", "or drop the reservation");
    REFUSED(run_out(k, "desk", "Alder", 5, ",\"course\":\"make-1\""), PO_E_CONFLICT, "course", "leave it out");
    OK(kit_act(k, "course-open", "keeper", "{\"course\":\"make-2\",\"title\":\"M\"}"));
    snprintf(more, sizeof more, ",\"run\":%lld,\"course\":\"make-2\"", run);
    OK(run_out(k, "desk", "Alder", 5, more));
    assert_string_equal(run_text(k, run, "course"), "make-2");
    run_sound(k);
    kit_end(k);
}

/* Control characters beyond ASCII steer terminals as well: no text and no name holds one. */
static void control_characters(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    REFUSED(kit_act(k, "note-leave", "desk",
                    "{\"text\":\"a\xc2\x9b"
                    "2Jb\"}"),
            PO_E_RANGE, "text", "text");
    REFUSED(kit_act(k, "note-leave", "desk", "{\"text\":\"a\\u0085b\"}"), PO_E_RANGE, "text", "text");
    REFUSED(kit_act(k, "member-enrol", "desk", "{\"member\":\"a\xc2\x9b\"}"), PO_E_RANGE, "member", "member");
    REFUSED(kit_act(k, "machine-tag", "desk", "{\"machine\":\"a\xc2\x80\",\"reason\":\"r\"}"), PO_E_RANGE, "machine",
            "machine");
    OK(kit_act(k, "note-leave", "desk", "{\"text\":\"caf\xc3\xa9 \xc2\xa0 \xe2\x80\x93\"}"));
    kit_end(k);
}

/* While a clock that was set back catches up, all has one time: what was weighed after a run had ended was so all the same. */
static void weighed_while_time_stands(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    k->now -= KIT_DAY; /* the book's time stands from here on */
    for (int i = 0; i < 2; i++) {
        OK(run_out(k, "desk", "Alder", 10000000, ",\"spool\":\"P1\""));
        long long run = (long long)k->done.event;
        OK(kit_act(k, "run-ended", "desk", "{\"run\":%lld}", run));
        OK(kit_act(k, "spool-weigh", "desk", "{\"spool\":\"P1\",\"gross_mg\":%d,\"tare_mg\":200000}",
                   1100000 - i * 1000));
        if (i == 0) {
            OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\"}", run));
        } else {
            OK(kit_act(k, "run-failed", "desk", "{\"run\":%lld,\"percent\":50,\"by_height\":[[1,10000000,60]]}", run));
            OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\"}", run));
        }
        assert_int_equal(spool_left(k, "P1"), 900000 - i * 1000);
    }
    OK(run_out(k, "desk", "Alder", 10000000,
               ",\"spool\":\"P1\"")); /* weighed before, or in the middle: the run's comes off */
    long long run = (long long)k->done.event;
    OK(kit_act(k, "spool-weigh", "desk", "{\"spool\":\"P1\",\"gross_mg\":1000000,\"tare_mg\":200000}"));
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\"}", run));
    assert_int_equal(spool_left(k, "P1"), 800000 - po_ledger_mg(10000000, 1750, 1240));
    run_sound(k);
    kit_end(k);
}

/* The reason of a suspension is cut for a sentence, and never within a character. */
static void long_reasons(void **state)
{
    (void)state;
    kit one, *k = &one;
    char reason[420] = "x";
    for (int i = 0; i < 200; i++) {
        memcpy(reason + 1 + (size_t)i * 2, "\xc3\xa4", 3);
    }
    run_shop(k);
    OK(kit_act(k, "member-suspend", "keeper", "{\"member\":\"m1\",\"reason\":\"%s\"}", reason));
    assert_int_equal(run_out(k, "desk", "Alder", 5, ""), PO_E_CONFLICT);
    json_t *words = json_string(k->err.msg); /* NULL for what is not UTF-8 */
    assert_non_null(words);
    json_decref(words);
    assert_non_null(strstr(k->err.msg, "ends it"));
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(largest_counts),       cmocka_unit_test(from_one_term_into_the_next),
        cmocka_unit_test(machine_that_is_kept), cmocka_unit_test(reservation_for_what_is_over),
        cmocka_unit_test(control_characters),   cmocka_unit_test(weighed_while_time_stands),
        cmocka_unit_test(long_reasons)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
