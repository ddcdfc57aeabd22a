/* Runs from reservation to outcome, act by act. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/run_kit.h"

#define LAST ((int64_t)k->done.event)

static po_status of(kit *k, const char *act, int64_t run, const char *more)
{
    return kit_act(k, act, "d1", "{\"run\":%lld%s}", (long long)run, more);
}

static void reserved(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    TWICE(kit_act(
        k, "run-reserve", "desk",
        "{\"member\":\"m1\",\"um\":20000000,\"machine\":\"Birch\",\"seconds\":3600,\"sha256\":\"" KIT_SHA
        "\",\"course\":\"make-1\",\"assignment\":\"hook\",\"purpose\":\"a hook\",\"promised\":%lld,\"due\":%lld}",
        (long long)(k->now + 1000), (long long)(k->now + KIT_DAY)));
    int64_t run = LAST;
    assert_string_equal(run_text(k, run, "state"), "reserved");
    assert_string_equal(run_text(k, run, "assignment"), "hook");
    assert_int_equal(run_number(k, run, "charged_um"), 0);
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"m1\"}"), "left_um"), 150000000);
    /* what can't be reserved */
    REFUSED(
        kit_act(k, "run-reserve", "desk", "{\"member\":\"m1\",\"um\":1,\"promised\":%lld}", (long long)(k->now - 1)),
        PO_E_CONFLICT, "promised", "has passed");
    REFUSED(kit_act(k, "run-reserve", "desk", "{\"member\":\"m1\",\"um\":1,\"course\":\"make-2\"}"), PO_E_NOTFOUND,
            "course", "make-2");
    OK(kit_act(k, "member-suspend", "desk", "{\"member\":\"m2\",\"reason\":\"r\",\"until\":%lld}",
               (long long)(k->now + 500)));
    REFUSED(kit_act(k, "run-reserve", "desk", "{\"member\":\"m2\",\"um\":1}"), PO_E_CONFLICT, "member", "suspended");
    OK(kit_act(k, "run-reserve", "desk", "{\"member\":\"m2\",\"um\":1,\"promised\":%lld}", (long long)(k->now + 500)));
    int64_t other = LAST;
    /* a reservation is none of the acts of a run that is out */
    REFUSED(of(k, "run-ended", run, ""), PO_E_CONFLICT, "run", "only reserved");
    REFUSED(of(k, "run-take-back", run, ",\"figure\":\"proof\""), PO_E_CONFLICT, "run", "only reserved");
    REFUSED(kit_act(k, "run-hand-out", "d1",
                    "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":1,\"sha256\":\"" KIT_SHA "\",\"run\":%lld}",
                    (long long)other),
            PO_E_CONFLICT, "run", "reserved by member m2");
    /* it goes out with what it was for, and with the act's figures */
    TWICE(kit_act(k, "run-hand-out", "d1",
                  "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":21000000,\"sha256\":\"" KIT_SHA2 "\",\"run\":%lld}",
                  (long long)run));
    assert_int_equal(kit_number(k->done.answer, "run"), run);
    assert_string_equal(run_text(k, run, "state"), "out");
    assert_string_equal(run_text(k, run, "machine"), "Alder");
    assert_string_equal(run_text(k, run, "sha256"), KIT_SHA2);
    assert_string_equal(run_text(k, run, "course"), "make-1");
    assert_string_equal(run_text(k, run, "purpose"), "a hook");
    assert_string_equal(run_text(k, run, "by"), "d1");
    assert_int_equal(run_number(k, run, "charged_um"), 21000000);
    assert_int_equal(run_number(k, run, "promised_ms"), KIT_NOON + 1000);
    REFUSED(of(k, "run-drop", run, ""), PO_E_CONFLICT, "run", "handed out");
    TWICE(of(k, "run-drop", other, ",\"reason\":\"no time\""));
    assert_string_equal(run_text(k, other, "state"), "dropped");
    REFUSED(of(k, "run-drop", other, ""), PO_E_CONFLICT, "run", "given up already");
    REFUSED(of(k, "run-start", other,
               ",\"heated\":true,\"stream_steady\":true,\"bed_clean\":true,\"gap_good\":true,\"spool_right\":true"),
            PO_E_CONFLICT, "run", "given up");
    REFUSED(of(k, "run-outcome", run, ",\"outcome\":\"good\",\"counts\":true"), PO_E_CONFLICT, "run", "still going");
    run_sound(k);
    kit_end(k);
}

static void handed_out(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    REFUSED(run_out(k, "d1", "Birch", 1000000, ",\"stick\":\"A1\""), PO_E_CONFLICT, "stick", "Alder");
    REFUSED(run_out(k, "d1", "Birch", 1000000, ",\"stick\":\"A9\""), PO_E_NOTFOUND, "stick", "A9");
    REFUSED(run_out(k, "d1", "Alder", 1000000, ",\"verdict\":\"stop\""), PO_E_CONFLICT, "leave", "a keeper can");
    REFUSED(run_out(k, "d1", "Alder", 1000000, ",\"verdict\":\"stop\",\"leave\":\"it is mine\""), PO_E_CONFLICT,
            "verdict", "takes the role keeper");
    REFUSED(run_out(k, "d1", "Alder", 1000000, ",\"group\":\"none\""), PO_E_NOTFOUND, "group", "none");
    REFUSED(run_out(k, "d1", "Alder", 1000000, ",\"spool\":\"P9\""), PO_E_NOTFOUND, "spool", "P9");
    REFUSED(run_out(k, "d1", "Alder", 1000000, ",\"uses\":[{\"tool\":0,\"um\":999999}]"), PO_E_RANGE, "uses",
            "0.999999 m and the whole to 1 m");
    OK(kit_act(k, "machine-tag", "d1", "{\"machine\":\"Birch\",\"reason\":\"smoke\"}"));
    REFUSED(run_out(k, "d1", "Birch", 1000000, ""), PO_E_CONFLICT, "machine", "smoke");
    OK(kit_act(k, "spool-dry", "d1", "{\"spool\":\"P2\",\"c\":60,\"minutes\":240}"));
    REFUSED(run_out(k, "d1", "Alder", 1000000, ",\"spool\":\"P2\""), PO_E_CONFLICT, "spool", "in the dryer");
    OK(kit_act(k, "spool-dried", "d1", "{\"spool\":\"P2\"}"));
    OK(kit_act(k, "ticket-take", "d1", "{\"member\":\"m2\"}"));
    char ticket[48];
    snprintf(ticket, sizeof ticket, ",\"ticket\":%lld", (long long)kit_number(k->done.answer, "ticket"));
    REFUSED(run_out(k, "d1", "Alder", 1000000, ticket), PO_E_CONFLICT, "ticket", "m2");
    OK(kit_act(k, "ticket-take", "d1", "{\"member\":\"m1\"}"));
    char all[400];
    snprintf(
        all, sizeof all,
        ",\"stick\":\"A1\",\"uses\":[{\"tool\":0,\"spool\":\"P1\",\"um\":10000000},{\"tool\":1,\"spool\":\"P2\",\"um\":"
        "2500000}],\"verdict\":\"stop\",\"leave\":\"seen\",\"file\":\"a b.gcode\",\"recipe\":\"fine\",\"ticket\":%lld",
        (long long)kit_number(k->done.answer, "ticket"));
    TWICE(run_out(k, "keeper", "Alder", 12500000, all));
    int64_t run = LAST;
    assert_string_equal(run_text(k, run, "leave"), "seen");
    assert_string_equal(run_text(k, run, "recipe"), "fine");
    /* 10 m of 1.75 mm PLA: 29.825 g; 2.5 m of PETG: 7.637 g (handbook.md 1.2: 2.9825 and 3.0547 g/m) */
    assert_int_equal(run_number(k, run, "takes/0/mg"), 29825);
    assert_int_equal(run_number(k, run, "takes/1/mg"), 7637);
    assert_int_equal(run_number(k, run, "takes/1/booked_mg"), 0);
    assert_int_equal(spool_left(k, "P1"), 1000000); /* promised, not taken */
    assert_int_equal(kit_number(kit_ask(k, "tickets", "{\"all\":true}"), "tickets/0/run"), run);
    REFUSED(run_out(k, "d1", "Alder", 1, ""), PO_E_CONFLICT, "machine", "Alder is out with member m1");
    run_sound(k);
    kit_end(k);
}

static void started_and_ended(void **state)
{
    (void)state;
    static const char *const points[] = {"heated", "stream_steady", "bed_clean", "gap_good", "spool_right"};
    kit one, *k = &one;
    run_shop(k);
    OK(run_out(k, "d1", "Alder", 1000000, ",\"seconds\":600,\"recipe\":\"fine\""));
    int64_t run = LAST;
    for (int no = 0; no <= 5; no++) { /* each point in turn is not so; then all are */
        char body[256] = "";
        size_t n = 0;
        for (int i = 0; i < 5; i++) {
            n += (size_t)snprintf(body + n, sizeof body - n, ",\"%s\":%s", points[i], i == no ? "false" : "true");
        }
        if (no < 5) {
            REFUSED(of(k, "run-start", run, body), PO_E_CONFLICT, points[no], "Alder: ");
            assert_non_null(strstr(k->err.msg, no == 2 ? "cool" : "hot")); /* each says what can hurt */
        } else {
            TWICE(of(k, "run-start", run, body));
            REFUSED(of(k, "run-start", run, body), PO_E_CONFLICT, "run", "started already");
        }
    }
    k->now += 300000;
    REFUSED(of(k, "run-watched", run, ",\"first_layer\":\"good\",\"seen_by\":\"m9\""), PO_E_NOTFOUND, "seen_by", "m9");
    TWICE(of(k, "run-watched", run, ",\"first_layer\":\"poor\",\"seen_by\":\"m1\""));
    assert_string_equal(run_text(k, run, "seen_by"), "m1");
    REFUSED(of(k, "run-watched", run, ",\"first_layer\":\"good\""), PO_E_CONFLICT, "run", "booked already");
    k->now += 400500;
    char at[64];
    snprintf(at, sizeof at, ",\"at\":%lld", (long long)(k->now + 1));
    REFUSED(of(k, "run-ended", run, at), PO_E_CONFLICT, "at", "still to come");
    snprintf(at, sizeof at, ",\"at\":%lld", (long long)(KIT_NOON - 1));
    REFUSED(of(k, "run-ended", run, at), PO_E_CONFLICT, "at", "was handed out only after that");
    REFUSED(of(k, "run-off", run, ",\"to\":\"member\""), PO_E_CONFLICT, "run", "still going");
    snprintf(at, sizeof at, ",\"at\":%lld,\"seconds\":700,\"message\":\"it is done\"", (long long)(k->now - 500));
    TWICE(of(k, "run-ended", run, at));
    assert_int_equal(run_number(k, run, "real_seconds"), 700);
    assert_int_equal(kit_number(kit_ask(k, "outbox", "{\"state\":\"waiting\"}"), "messages/0/run"), run);
    REFUSED(of(k, "run-ended", run, ""), PO_E_CONFLICT, "run", "has ended already");
    TWICE(of(k, "run-off", run, ",\"to\":\"member\""));
    REFUSED(of(k, "run-off", run, ",\"to\":\"waste\""), PO_E_CONFLICT, "run", "off the bed already");
    TWICE(of(k, "run-take-back", run, ",\"figure\":\"counter\",\"used_um\":1100000,\"stick_there\":false"));
    REFUSED(of(k, "run-take-back", run, ",\"figure\":\"proof\""), PO_E_CONFLICT, "run", "taken back already");
    assert_int_equal(run_number(k, run, "stick_there"), 0);
    TWICE(of(k, "run-outcome", run, ",\"outcome\":\"good\",\"counts\":true"));
    REFUSED(of(k, "run-outcome", run, ",\"outcome\":\"good\",\"counts\":true"), PO_E_CONFLICT, "run", "undo that act");
    const char *r = kit_ask(k, "ratios", "{\"machine\":\"Alder\"}");
    assert_int_equal(kit_number(r, "ratios/0/used_um"), 1100000);
    assert_int_equal(kit_number(r, "ratios/0/real_seconds"), 700);
    r = kit_ask(k, "ratios", "{\"machine\":\"Alder\",\"columns\":true}"); /* the same, turned round */
    assert_int_equal(kit_number(r, "columns/used_um/0"), 1100000);
    assert_int_equal(kit_number(r, "columns/real_seconds/0"), 700);
    assert_int_equal(kit_number(r, "columns/real_seconds/1"), -1);
    /* people forget: watch, end and take-back without a start check */
    OK(run_out(k, "d1", "Birch", 1000000, ""));
    run = LAST;
    k->now += KIT_DAY; /* when it ended nobody knows: it teaches nothing about times */
    OK(of(k, "run-ended", run, ""));
    assert_int_equal(run_number(k, run, "real_seconds"), -1);
    OK(of(k, "run-watched", run, ",\"first_layer\":\"good\""));
    assert_string_equal(run_text(k, run, "seen_by"), "d1");
    OK(of(k, "run-take-back", run, ",\"figure\":\"proof\""));
    assert_int_equal(run_number(k, run, "used_um"), 1000000);
    assert_int_equal(kit_number(kit_ask(k, "ratios", "{}"), "ratios/1/run"), -1); /* nobody measured it */
    run_sound(k);
    kit_end(k);
}

static void failed(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(run_out(k, "d1", "Alder", 20000000, ",\"spool\":\"P1\""));
    int64_t run = LAST;
    REFUSED(of(k, "run-failed", run, ",\"percent\":50"), PO_E_NOTFOUND, "by_height", "keep the proof");
    OK(kit_act(k, "proof-keep", "d1",
               "{\"sha256\":\"" KIT_SHA
               "\",\"machine\":\"Alder\",\"verdict\":\"clear\",\"um\":20000000,\"seconds\":4100,"
               "\"by_height\":[[10000,4000000,1000],[30000,12500000,3000],[40000,20000000,4100]]}"));
    REFUSED(of(k, "run-failed", run, ""), PO_E_RANGE, "z_um", "in one way");
    REFUSED(of(k, "run-failed", run, ",\"z_um\":1,\"percent\":1"), PO_E_RANGE, "z_um", "in one way");
    REFUSED(of(k, "run-failed", run, ",\"percent\":101"), PO_E_RANGE, "percent", "at most 100");
    REFUSED(of(k, "run-failed", run, ",\"percent\":1000000000000000"), PO_E_RANGE, "percent", "at most 100");
    REFUSED(of(k, "run-failed", run, ",\"z_um\":40001"), PO_E_RANGE, "z_um", "it is 40.000 mm high");
    REFUSED(of(k, "run-failed", run, ",\"seconds\":4101"), PO_E_RANGE, "seconds", "ends before that");
    /* asked before it is booked: the same figures, and nothing is booked */
    char *was = run_rows(k);
    const char *would = kit_ask(k, "stopped", "{\"run\":%lld,\"z_um\":34000}", (long long)run);
    assert_int_equal(kit_number(would, "used_um"), 15500000);
    assert_int_equal(kit_number(would, "used_seconds"), 3440);
    assert_int_equal(kit_number(would, "used_mg"), 46230);
    assert_int_equal(kit_number(would, "height_um"), 40000);
    would = kit_ask(k, "stopped", "{\"run\":%lld,\"seconds\":3440}", (long long)run);
    assert_int_equal(kit_number(would, "z_um"), 34000);
    char *now = run_rows(k);
    assert_string_equal(was, now);
    free(was);
    free(now);
    const char *none = NULL;
    char ask[64];
    snprintf(ask, sizeof ask, "{\"run\":%lld,\"z_um\":40001}", (long long)run);
    REFUSED(po_ledger_ask(k->ledger, "stopped", ask, k->arena, &none, &k->err), PO_E_RANGE, "z_um",
            "it is 40.000 mm high");
    /* worked by hand: 12.5 m + (20 - 12.5) * (34 - 30) / (40 - 30) = 15.5 m; 15.5 m x 2.98255 g = 46.230 g */
    TWICE(of(k, "run-failed", run, ",\"z_um\":34000,\"symptom\":\"came loose\",\"message\":\"it failed\""));
    assert_int_equal(kit_number(k->done.answer, "used_um"), 15500000);
    assert_int_equal(kit_number(k->done.answer, "used_seconds"), 3440);
    assert_int_equal(kit_number(k->done.answer, "used_mg"), 46230);
    assert_int_equal(spool_left(k, "P1"), 1000000 - 46230);
    assert_string_equal(run_text(k, run, "state"), "failed");
    REFUSED(po_ledger_ask(k->ledger, "stopped", ask, k->arena, &none, &k->err), PO_E_CONFLICT, "run",
            "is failed by the book");
    /* counted for nobody, but the spool has given it */
    REFUSED(of(k, "run-outcome", run, ",\"outcome\":\"good\",\"counts\":true"), PO_E_CONFLICT, "outcome",
            "failed by the book");
    TWICE(of(k, "run-outcome", run, ",\"outcome\":\"failed\",\"cause\":\"machine\",\"counts\":false"));
    assert_int_equal(run_number(k, run, "charged_um"), 0);
    assert_int_equal(spool_left(k, "P1"), 1000000 - 46230);
    /* the scale knows better: 48 g come to 16.0938 m */
    TWICE(of(k, "run-take-back", run, ",\"figure\":\"scale\",\"used_mg\":48000,\"condition\":\"clean\""));
    assert_int_equal(run_number(k, run, "used_um"), po_ledger_um(48000, 1750, 1240));
    assert_int_equal(spool_left(k, "P1"), 1000000 - 48000);
    assert_int_equal(run_number(k, run, "takes/0/promised_um"), 20000000);
    TWICE(of(k, "run-off", run, ",\"to\":\"waste\",\"recycled_mg\":46000"));
    assert_int_equal(run_number(k, run, "waste/0/mg"), 46000);
    assert_string_equal(run_text(k, run, "symptom"), "came loose");
    /* by the clock: it stood still 2000 s after its start */
    OK(run_out(k, "d1", "Alder", 20000000, ""));
    run = LAST;
    OK(of(k, "run-start", run,
          ",\"heated\":true,\"stream_steady\":true,\"bed_clean\":true,\"gap_good\":true,\"spool_right\":true"));
    k->now += 5000000;
    char at[64];
    snprintf(at, sizeof at, ",\"at\":%lld", (long long)(k->now - 3000000));
    OK(of(k, "run-failed", run, at));
    assert_int_equal(kit_number(k->done.answer, "used_seconds"), 2000);
    assert_int_equal(kit_number(k->done.answer, "used_um"), 8250000);
    assert_int_equal(run_number(k, run, "real_seconds"), 2000);
    REFUSED(of(k, "run-off", run, ",\"to\":\"waste\",\"recycled_mg\":5"), PO_E_CONFLICT, "recycled_mg", "spool waste");
    run_sound(k);
    kit_end(k);
}

static void from_several_spools(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(run_out(
        k, "d1", "Alder", 10000001,
        ",\"uses\":[{\"tool\":0,\"spool\":\"P1\",\"um\":7000000},{\"tool\":3,\"um\":3000001}],\"diameter_um\":1750,"
        "\"density_mg_cm3\":1270"));
    int64_t run = LAST;
    /* in proportion, whole um, what is left over on the last: 5000000 * 7000000 / 10000001 = 3499999.65 */
    OK(of(k, "run-take-back", run, ",\"figure\":\"counter\",\"used_um\":5000000"));
    int64_t back = LAST;
    assert_int_equal(run_number(k, run, "takes/0/um"), 3499999);
    assert_int_equal(run_number(k, run, "takes/1/um"), 1500001);
    assert_int_equal(run_number(k, run, "takes/1/mg"), 4582); /* 1.500001 m of 3.0547 g/m; from no spool of the book */
    assert_int_equal(run_number(k, run, "takes/1/booked_mg"), 0);
    assert_int_equal(run_number(k, run, "used_mg"), 10439 + 4582);
    OK(UNDO(back));
    REFUSED(of(k, "run-take-back", run, ",\"figure\":\"counter\",\"used_um\":5,\"uses\":[{\"tool\":0,\"um\":4}]"),
            PO_E_RANGE, "uses", "the same");
    REFUSED(of(k, "run-take-back", run, ",\"figure\":\"counter\""), PO_E_RANGE, "used_um", "missing");
    REFUSED(of(k, "run-take-back", run, ",\"figure\":\"counter\",\"used_mg\":5"), PO_E_RANGE, "used_mg", "scale");
    REFUSED(of(k, "run-take-back", run, ",\"figure\":\"scale\",\"used_um\":5"), PO_E_RANGE, "used_mg", "no used_um");
    /* tool by tool; the spool was changed to P2 on the way, and a tool nobody thought of took some too */
    TWICE(of(
        k, "run-take-back", run,
        ",\"figure\":\"counter\",\"uses\":[{\"tool\":0,\"spool\":\"P2\",\"um\":1000000},{\"tool\":1,\"spool\":\"P1\","
        "\"um\":2000000}]"));
    assert_int_equal(run_number(k, run, "used_um"), 3000000);
    assert_int_equal(spool_left(k, "P2"), 500000 - 3055);
    assert_int_equal(spool_left(k, "P1"), 1000000 - 5965);
    assert_int_equal(run_number(k, run, "takes/2/um"), 0); /* tool 3 took nothing after all */
    /* a spool that failed with one figure and is back with another, weighed in between: the scale has seen it */
    OK(run_out(k, "d1", "Birch", 10000000, ",\"spool\":\"P1\""));
    run = LAST;
    k->now += 1000;
    OK(of(k, "run-failed", run, ",\"percent\":50,\"by_height\":[[1000,10000000,1000]]"));
    assert_int_equal(spool_left(k, "P1"), 1000000 - 5965 - 14913);
    k->now += 1000;
    OK(kit_act(k, "spool-weigh", "d1", "{\"spool\":\"P1\",\"gross_mg\":1200000,\"tare_mg\":230000}"));
    assert_int_equal(spool_left(k, "P1"), 970000);
    OK(of(k, "run-take-back", run, ",\"figure\":\"counter\",\"used_um\":6000000"));
    assert_int_equal(spool_left(k, "P1"), 970000);
    assert_int_equal(run_number(k, run, "takes/0/booked_mg"), 17895);
    run_sound(k);
    kit_end(k);
}

/* What was booked for a run later stands in the way of taking its hand-out back. */
static void what_rests_on_it(void **state)
{
    (void)state;
    kit one, *k = &one;
    run_shop(k);
    OK(run_out(k, "d1", "Alder", 10000000, ",\"spool\":\"P1\""));
    int64_t run = LAST;
    OK(kit_act(k, "message-put", "d1", "{\"member\":\"m1\",\"kind\":\"other\",\"text\":\"t\",\"run\":%lld}",
               (long long)run));
    int64_t message = LAST;
    REFUSED(UNDO(run), PO_E_CONFLICT, "event", "undo that first");
    OK(UNDO(message));
    OK(of(k, "run-take-back", run, ",\"figure\":\"proof\""));
    int64_t back = LAST;
    REFUSED(UNDO(run), PO_E_CONFLICT, "event", "undo that first");
    OK(run_out(k, "d1", "Alder", 10000000, ""));
    int64_t second = LAST;
    REFUSED(UNDO(back), PO_E_CONFLICT, "event", "the machine is out again with run");
    OK(UNDO(second));
    OK(run_out(k, "d1", "Birch", 1000000, ",\"spool\":\"P1\""));
    second = LAST;
    OK(of(k, "run-take-back", second, ",\"figure\":\"proof\""));
    REFUSED(UNDO(back), PO_E_CONFLICT, "event", "changed the same spool");
    OK(UNDO(LAST));
    OK(UNDO(second));
    OK(UNDO(back));
    OK(UNDO(run));
    assert_int_equal(spool_left(k, "P1"), 1000000);
    run_sound(k);
    kit_end(k);
}

/* A run is not put back out where that would no longer be possible. */
static void no_way_back(void **state)
{
    (void)state;
    static const struct {
        const char *act, *body, *words;
        bool undoable;
    } cases[] = {
        {"machine-rest", "{\"machine\":\"Alder\",\"reason\":\"r\"}", "the machine rests", true},
        {"stick-assign", "{\"stick\":\"A1\",\"machine\":\"Birch\"}", "its stick went over", true},
        {"term-close", "{\"term\":\"t1\"}", "its term was closed", true},
        {"member-forget", "{\"member\":\"m1\"}", "its member was forgotten", false},
    };
    kit one, *k = &one;
    run_shop(k);
    OK(run_out(k, "d1", "Alder", 10000000, ",\"stick\":\"A1\""));
    OK(of(k, "run-take-back", LAST, ",\"figure\":\"proof\""));
    int64_t back = LAST;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        OK(kit_act(k, cases[i].act, "keeper", "%s", cases[i].body));
        int64_t event = LAST;
        REFUSED(UNDO(back), PO_E_CONFLICT, "event", cases[i].words);
        if (cases[i].undoable) {
            OK(UNDO(event));
        }
    }
    run_sound(k);
    kit_end(k);
}

/* One run with all of it, lists by each filter, sums by what they have in common. */
static void asked_for(void **state)
{
    (void)state;
    static const char *const filters[] = {
        "\"member\":\"m1\"",       "\"machine\":\"Alder\"",     "\"state\":\"back\"",  "\"outcome\":\"good\"",
        "\"term\":\"t1\"",         "\"course\":\"make-1\"",     "\"fund\":\"robots\"", "\"from\":0",
        "\"until\":9999999999999", "\"sha256\":\"" KIT_SHA "\""};
    static const char *const by[] = {"machine", "recipe", "course", "fund", "term", "member", "outcome", "cause"};
    kit one, *k = &one;
    run_shop(k);
    OK(run_out(k, "d1", "Alder", 10000000,
               ",\"spool\":\"P1\",\"course\":\"make-1\",\"fund\":\"robots\",\"recipe\":\"fine\",\"seconds\":3600"));
    int64_t run = LAST;
    OK(of(k, "run-take-back", run, ",\"figure\":\"proof\""));
    OK(of(k, "run-off", run, ",\"to\":\"shelf\",\"place\":3,\"message\":\"come\""));
    OK(of(k, "run-outcome", run, ",\"outcome\":\"good\",\"counts\":true"));
    OK(UNDO(LAST));
    OK(of(k, "run-outcome", run, ",\"outcome\":\"good\",\"counts\":true"));
    k->now += 10 * KIT_DAY;
    OK(run_out(k, "d1", "Alder", 4000000, ""));
    OK(kit_act(k, "run-reserve", "d1", "{\"member\":\"m1\",\"um\":1,\"machine\":\"Alder\"}"));
    int64_t waits = LAST;
    for (size_t i = 0; i < sizeof filters / sizeof filters[0]; i++) {
        const char *runs = kit_ask(k, "runs", "{%s}", filters[i]);
        bool found = false;
        for (int n = 0; n < 3; n++) {
            char path[32];
            snprintf(path, sizeof path, "runs/%d/run", n);
            found = found || kit_number(runs, path) == run;
        }
        if (!found) {
            fail_msg("%s: %s", filters[i], runs);
        }
        runs = kit_ask(k, "runs", "{%s,\"run\":%lld}", filters[i], (long long)run);
        assert_int_equal(kit_number(runs, "runs/0/run"), run);
        runs = kit_ask(k, "runs", "{%s,\"before_run\":%lld}", filters[i], (long long)run);
        assert_int_equal(kit_number(runs, "runs/0/run"), -1);
    }
    assert_int_equal(kit_number(kit_ask(k, "runs", "{\"state\":\"reserved\"}"), "runs/0/run"), waits);
    assert_int_equal(kit_number(kit_ask(k, "runs", "{\"state\":\"dropped\"}"), "runs/0/run"), -1);
    assert_int_equal(kit_number(kit_ask(k, "runs", "{\"limit\":2}"), "more"), 1);
    const char *r = kit_ask(k, "run", "{\"run\":%lld}", (long long)run);
    assert_int_equal(kit_number(r, "takes/0/mg"), 29825);
    assert_int_equal(kit_number(r, "part/place"), 3);
    assert_int_equal(kit_number(r, "messages/0/message"), 1);
    assert_int_equal(kit_number(r, "events/0/event"), run);
    assert_int_equal(kit_number(r, "events/4/event"), run + 5);
    assert_int_equal(kit_number(r, "events/3/undone_by"), run + 4);
    assert_int_equal(kit_number(r, "events/5/event"), -1);
    assert_int_equal(kit_number(r, "fund_minor"), 60); /* 29.825 g at 20.00 EUR/kg: 59.65 */
    for (size_t i = 0; i < sizeof by / sizeof by[0]; i++) {
        const char *sums = kit_ask(k, "run-sums", "{\"by\":\"%s\"}", by[i]);
        int64_t n = kit_number(sums, "sums/0/runs"), m = kit_number(sums, "sums/1/runs");
        bool together = i == 0 || i == 4 || i == 5 || i == 7; /* both runs have it in common */
        if (n != (together ? 2 : 1) || m != (together ? -1 : 1)) {
            fail_msg("%s: %s", by[i], sums);
        }
    }
    r = kit_ask(k, "run-sums", "{\"by\":\"machine\"}");
    assert_int_equal(kit_number(r, "sums/0/um"), 14000000);
    assert_int_equal(kit_number(r, "sums/0/good"), 1);
    assert_int_equal(kit_number(r, "sums/0/without_outcome"), 1);
    assert_int_equal(kit_number(r, "sums/0/mg"), 29825);
    assert_int_equal(kit_number(r, "sums/0/runs_without_mg"), 1);
    assert_int_equal(kit_number(r, "sums/0/seconds"), 3600);
    assert_int_equal(kit_number(r, "sums/0/charged_um"), 4000000);
    r = kit_ask(k, "run-sums", "{\"by\":\"month\",\"edges_ms\":[%lld,%lld,%lld]}", (long long)(KIT_NOON - 1),
                (long long)KIT_NOON, (long long)(KIT_NOON + 10 * KIT_DAY));
    assert_int_equal(kit_number(r, "sums/0/runs"), 0);
    assert_int_equal(kit_number(r, "sums/0/um"), 0);
    assert_int_equal(kit_number(r, "sums/1/runs"), 1); /* an edge belongs to the month that it begins */
    assert_int_equal(kit_number(r, "sums/2/runs"), -1);
    const char *json = NULL;
    assert_int_equal(po_ledger_ask(k->ledger, "run-sums", "{\"by\":\"month\"}", k->arena, &json, &k->err), PO_E_RANGE);
    assert_int_equal(po_ledger_ask(k->ledger, "run", "{\"run\":999}", k->arena, &json, &k->err), PO_E_NOTFOUND);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reserved),    cmocka_unit_test(handed_out),          cmocka_unit_test(started_and_ended),
        cmocka_unit_test(failed),      cmocka_unit_test(from_several_spools), cmocka_unit_test(what_rests_on_it),
        cmocka_unit_test(no_way_back), cmocka_unit_test(asked_for),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
