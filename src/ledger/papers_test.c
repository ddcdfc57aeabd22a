/* Papers, practical steps, other times, who uses a permission. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/run_kit.h"
#include "proveout/scan.h"

static void shop(kit *k)
{
    kit_in_memory();
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"m1\",\"name\":\"Ada\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"m2\"}"));
}

static po_status draw(kit *k, const char *member, const char *questions)
{
    return kit_act(
        k, "paper-draw", "desk",
        "{\"member\":\"%s\",\"study\":\"start\",\"kind\":\"full\",\"seed\":7,\"questions\":%s,\"study_sha256\":"
        "\"" KIT_SHA "\",\"pass_permille\":800,\"until\":%lld}",
        member, questions, (long long)k->now + 3600000);
}

static po_status answer(kit *k, long long paper, const char *question, const char *text)
{
    return kit_act(k, "paper-answer", "desk", "{\"paper\":%lld,\"question\":\"%s\",\"answer\":\"%s\"}", paper, question,
                   text);
}

static void sat(void **state)
{
    (void)state;
    kit one, *k = &one;
    shop(k);
    REFUSED_WITH(draw(k, "m1", "[\"q1\",\"q2\",\"q1\"]"), PO_E_RANGE, "q1 is drawn twice");
    REFUSED_WITH(kit_act(k, "paper-draw", "m1",
                         "{\"member\":\"m1\",\"study\":\"s\",\"kind\":\"full\",\"seed\":1,\"questions\":[\"q\"],"
                         "\"study_sha256\":\"" KIT_SHA "\",\"pass_permille\":0}"),
                 PO_E_CONFLICT, ""); /* nobody draws, or marks, a paper of their own */
    OK(draw(k, "m1", "[\"q1\",\"q2\",\"q10\",\"q3\"]"));
    long long paper = (long long)k->done.event;
    REFUSED_WITH(draw(k, "m1", "[\"q5\"]"), PO_E_CONFLICT, "open");
    OK(draw(k, "m2", "[\"q5\"]"));
    OK(answer(k, paper, "q10", "b"));
    OK(answer(k, paper, "q1", "a"));
    OK(answer(k, paper, "q10", "c,d")); /* another tab, later */
    REFUSED_WITH(answer(k, paper, "q5", "a"), PO_E_NOTFOUND, "no question q5");
    REFUSED_WITH(answer(k, paper, "q", "a"), PO_E_NOTFOUND, "no question q");
    const char *open = kit_ask(k, "paper", "{\"paper\":%lld}", paper);
    assert_non_null(strstr(open, "{\"answer\":\"c,d\",\"mark\":null,\"question\":\"q10\"}"));
    assert_non_null(strstr(open, "{\"answer\":null,\"mark\":null,\"question\":\"q2\"}"));
    assert_null(strstr(kit_ask(k, "papers", "{}"), "c,d")); /* answers stand in no list */
    REFUSED_WITH(kit_act(k, "paper-hand-in", "desk",
                         "{\"paper\":%lld,\"right\":[\"q1\"],\"wrong\":[\"q1\"],\"passed\":false}", paper),
                 PO_E_RANGE, "marked twice");
    REFUSED_WITH(kit_act(k, "paper-hand-in", "desk",
                         "{\"paper\":%lld,\"right\":[\"q1\"],\"passed\":false,\"teach\":[\"q1\"]}", paper),
                 PO_E_RANGE, "was not missed");
    REFUSED_WITH(kit_act(k, "paper-hand-in", "m1", "{\"paper\":%lld,\"passed\":true}", paper), PO_E_CONFLICT, "");
    OK(kit_act(
        k, "paper-hand-in", "desk",
        "{\"paper\":%lld,\"right\":[\"q1\",\"q3\"],\"wrong\":[\"q10\"],\"passed\":true,\"teach\":[\"q10\",\"q2\"]}",
        paper));
    assert_int_equal(kit_number(k->done.answer, "passed"), 0);
    assert_int_equal(kit_number(k->done.answer, "points"), 2);
    REFUSED_WITH(answer(k, paper, "q1", "b"), PO_E_CONFLICT, "handed in already");
    const char *in = kit_ask(k, "paper", "{\"paper\":%lld}", paper);
    assert_non_null(strstr(in, "{\"answer\":\"c,d\",\"mark\":\"wrong\",\"question\":\"q10\"}"));
    assert_non_null(strstr(in, "{\"answer\":null,\"mark\":\"none\",\"question\":\"q2\"}"));
    assert_non_null(strstr(in, "\"teach\":[\"q10\",\"q2\"]"));
    REFUSED_WITH(kit_act(k, "paper-taught", "desk", "{\"paper\":%lld,\"question\":\"q1\"}", paper), PO_E_NOTFOUND,
                 "not to be taught");
    OK(kit_act(k, "paper-taught", "desk", "{\"paper\":%lld,\"question\":\"q2\"}", paper));
    assert_int_equal(kit_number(k->done.answer, "passed"), 0);
    OK(kit_act(k, "paper-taught", "desk", "{\"paper\":%lld,\"question\":\"q10\"}", paper));
    assert_int_equal(kit_number(k->done.answer, "passed"), 1);
    assert_int_equal(kit_number(kit_ask(k, "papers", "{\"passed\":true}"), "papers/0/paper"), paper);
    TWICE(kit_act(k, "paper-void", "keeper", "{\"paper\":%lld,\"reason\":\"a friend sat it\"}", paper));
    assert_int_equal(kit_number(kit_ask(k, "papers", "{\"member\":\"m1\",\"latest\":true}"), "papers/0/paper"), -1);
    REFUSED_WITH(kit_act(k, "paper-void", "keeper", "{\"paper\":%lld,\"reason\":\"r\"}", paper), PO_E_CONFLICT,
                 "void already");
    REFUSED_WITH(kit_act(k, "paper-void", "keeper", "{\"paper\":1,\"reason\":\"r\"}"), PO_E_NOTFOUND, "no paper 1");
    TWICE(kit_act(k, "paper-import", "keeper",
                  "{\"member\":\"m1\",\"study\":\"start\",\"passed\":true,\"points\":18,\"most\":20,\"at\":%lld,"
                  "\"source\":\"old list\"}",
                  (long long)k->now - KIT_DAY));
    assert_int_equal(kit_number(kit_ask(k, "papers", "{\"member\":\"m1\",\"latest\":true}"), "papers/0/points"), 18);
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    /* forgotten: the paper stays by its number, the name does not */
    OK(kit_act(k, "member-forget", "keeper", "{\"member\":\"m1\"}"));
    assert_null(strstr(kit_ask(k, "papers", "{}"), "Ada"));
    kit_end(k);
}

typedef struct seen {
    int n;
    char text[400];
} seen;

static bool look(const po_paper_seen *p, void *user)
{
    seen *s = user;
    size_t n = strlen(s->text);
    snprintf(s->text + n, sizeof s->text - n, "[%s|%s|%s]", p->questions, p->marks, p->answers);
    s->n++;
    return true;
}

static void looked_through(void **state)
{
    (void)state;
    kit one, *k = &one;
    seen s = {0};
    shop(k);
    for (int i = 0; i < 2; i++) {
        OK(draw(k, i ? "m2" : "m1", "[\"q1\",\"q2\",\"q3\"]"));
        long long paper = (long long)k->done.event;
        OK(answer(k, paper, i ? "q3" : "q1", "a"));
        OK(kit_act(k, "paper-hand-in", "desk",
                   i ? "{\"paper\":%lld,\"wrong\":[\"q3\"],\"passed\":false}"
                     : "{\"paper\":%lld,\"right\":[\"q1\"],\"passed\":false}",
                   paper));
    }
    OK(draw(k, "m1", "[\"q4\"]")); /* open: not seen */
    OK(kit_act(k, "paper-import", "keeper",
               "{\"member\":\"m1\",\"study\":\"start\",\"passed\":true,\"at\":1,\"source\":\"x\"}"));
    OK(po_ledger_scan_papers(k->ledger, "start", look, &s, &k->err));
    assert_int_equal(s.n, 2);
    assert_string_equal(s.text, "[q1\nq2\nq3|r--|a\n\n][q1\nq2\nq3|--w|\n\na]");
    OK(po_ledger_scan_papers(k->ledger, "other", look, &s, &k->err));
    assert_int_equal(s.n, 2);
    kit_end(k);
}

static void signed_and_allowed(void **state)
{
    (void)state;
    kit one, *k = &one;
    shop(k);
    TWICE(
        kit_act(k, "practice-sign", "d1",
                "{\"member\":\"m1\",\"study\":\"start\",\"step\":\"load\",\"machine\":\"Alder\",\"seen_by\":\"d1\"}"));
    REFUSED_WITH(
        kit_act(k, "practice-sign", "d1",
                "{\"member\":\"m1\",\"study\":\"start\",\"step\":\"load\",\"machine\":\"Alder\",\"seen_by\":\"m2\"}"),
        PO_E_CONFLICT, "not of the desk");
    REFUSED_WITH(
        kit_act(k, "practice-sign", "desk",
                "{\"member\":\"d1\",\"study\":\"start\",\"step\":\"load\",\"machine\":\"Alder\",\"seen_by\":\"d1\"}"),
        PO_E_CONFLICT, "nobody signs");
    assert_int_equal(kit_number(kit_ask(k, "practice", "{\"member\":\"m1\"}"), "practice/0/at_ms"), k->now);
    TWICE(kit_act(k, "member-accommodate", "d1", "{\"member\":\"m1\",\"time_percent\":150}"));
    assert_int_equal(kit_number(kit_ask(k, "accommodations", "{\"member\":\"m1\"}"), "accommodations/0/time_percent"),
                     150);
    TWICE(kit_act(k, "member-accommodate", "d1", "{\"member\":\"m1\",\"time_percent\":0,\"until\":%lld}",
                  (long long)k->now + 1000));
    assert_int_equal(kit_number(kit_ask(k, "accommodations", "{}"), "accommodations/0/time_percent"), 0);
    k->now += 1000;
    assert_int_equal(kit_number(kit_ask(k, "accommodations", "{}"), "accommodations/0/time_percent"), -1);
    REFUSED_WITH(kit_act(k, "member-accommodate", "d1", "{\"member\":\"m1\",\"time_percent\":50}"), PO_E_RANGE,
                 "no limit");
    /* who uses a permission: those who never did first */
    OK(kit_act(k, "permit-grant", "d1", "{\"member\":\"m1\",\"permission\":\"starter\"}"));
    OK(kit_act(k, "permit-grant", "d1", "{\"member\":\"m2\",\"permission\":\"starter\"}"));
    OK(kit_act(k, "term-open", "keeper",
               "{\"term\":\"t1\",\"from\":1790000000000,\"until\":1799000000000,\"allowance_um\":150000000}"));
    k->now += KIT_DAY;
    OK(kit_act(k, "run-hand-out", "d1",
               "{\"member\":\"m1\",\"machine\":\"Old Oak\",\"um\":5,\"sha256\":\"" KIT_SHA "\",\"run_limit_um\":50}"));
    const char *use = kit_ask(k, "permit-use", "{\"permission\":\"starter\",\"machines\":[\"Alder\",\"Old Oak\"]}");
    assert_non_null(strstr(use, "\"last_out_ms\":null,\"member\":\"m2\""));
    assert_int_equal(kit_number(use, "holders/1/last_out_ms"), k->now);
    use = kit_ask(k, "permit-use", "{\"permission\":\"starter\",\"machines\":[\"Alder\"]}");
    assert_int_equal(kit_number(use, "holders/1/last_out_ms"), -1);
    kit_clean(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(sat), cmocka_unit_test(looked_through),
                                       cmocka_unit_test(signed_and_allowed)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
