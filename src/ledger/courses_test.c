/* Courses, assignments, groups and funds: acts, refusals, taking back. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/book.h"
#include "ledger/ledger_kit.h"

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m2\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
    OK(kit_act(k, "fund-open", "keeper",
               "{\"fund\":\"outreach\",\"title\":\"Open days\",\"currency\":\"GBP\",\"budget_minor\":20000}"));
    OK(kit_act(k, "course-open", "keeper",
               "{\"course\":\"lamps\",\"title\":\"Lamps from the workshop\",\"fund\":\"outreach\"}"));
    OK(kit_act(k, "assignment-set", "d1",
               "{\"course\":\"lamps\",\"assignment\":\"shade\",\"title\":\"A shade\",\"due\":%lld}",
               (long long)(KIT_NOON + 7 * KIT_DAY)));
    OK(kit_act(k, "group-open", "d1", "{\"group\":\"quay-cats\",\"title\":\"The cats\",\"course\":\"lamps\"}"));
    OK(kit_act(k, "group-join", "d1", "{\"group\":\"quay-cats\",\"member\":\"m1\"}"));
}

/* Refused, with this field and these words, and nothing booked. */
static void refused(kit *k, po_status want, const char *where, const char *words, const char *act, const char *by,
                    const char *body)
{
    po_status s = kit_act(k, act, by, "%s", body);
    if (s != want || strcmp(k->err.where, where) != 0 || !strstr(k->err.msg, words)) {
        fail_msg("%s %s: %d at \"%s\": %s", act, body, s, k->err.where, k->err.msg);
    }
}

static void refusals(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    int64_t before = kit_number(kit_ask(k, "events", "{\"after\":8}"), "events/0/event");
    assert_int_equal(before, -1);
    static const struct {
        po_status want;
        const char *where, *words, *act, *by, *body;
    } cases[] = {
        {PO_E_CONFLICT, "course", "there is a course lamps already", "course-open", "keeper",
         "{\"course\":\"lamps\",\"title\":\"x\"}"},
        {PO_E_NOTFOUND, "fund", "there is no fund nobody", "course-open", "keeper",
         "{\"course\":\"new\",\"title\":\"x\",\"fund\":\"nobody\"}"},
        {PO_E_NOTFOUND, "course", "there is no course cups", "course-close", "keeper", "{\"course\":\"cups\"}"},
        {PO_E_NOTFOUND, "course", "there is no course cups; open it first", "assignment-set", "d1",
         "{\"course\":\"cups\",\"assignment\":\"a\"}"},
        {PO_E_CONFLICT, "group", "there is a group quay-cats already", "group-open", "d1", "{\"group\":\"quay-cats\"}"},
        {PO_E_NOTFOUND, "course", "there is no course cups", "group-open", "d1",
         "{\"group\":\"g\",\"course\":\"cups\"}"},
        {PO_E_NOTFOUND, "fund", "there is no fund cups", "group-open", "d1", "{\"group\":\"g\",\"fund\":\"cups\"}"},
        {PO_E_NOTFOUND, "group", "there is no group dogs", "group-join", "d1",
         "{\"group\":\"dogs\",\"member\":\"m1\"}"},
        {PO_E_NOTFOUND, "member", "there is no member m9", "group-join", "d1",
         "{\"group\":\"quay-cats\",\"member\":\"m9\"}"},
        {PO_E_CONFLICT, "member", "member m1 belongs to the group quay-cats already", "group-join", "d1",
         "{\"group\":\"quay-cats\",\"member\":\"m1\"}"},
        {PO_E_CONFLICT, "member", "member m2 does not belong to the group quay-cats", "group-leave", "d1",
         "{\"group\":\"quay-cats\",\"member\":\"m2\"}"},
        {PO_E_CONFLICT, "fund", "there is a fund outreach already", "fund-open", "keeper",
         "{\"fund\":\"outreach\",\"title\":\"x\",\"currency\":\"GBP\"}"},
        {PO_E_RANGE, "currency", "pounds is no currency", "fund-open", "keeper",
         "{\"fund\":\"f\",\"title\":\"x\",\"currency\":\"pounds\"}"},
        {PO_E_NOTFOUND, "fund", "there is no fund f", "fund-close", "keeper", "{\"fund\":\"f\"}"},
        {PO_E_CONFLICT, "", "keeper", "fund-close", "d1", "{\"fund\":\"outreach\"}"},
        {PO_E_CONFLICT, "", "keeper", "course-open", "d1", "{\"course\":\"cups\",\"title\":\"x\"}"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        if (cases[i].where[0]) {
            refused(k, cases[i].want, cases[i].where, cases[i].words, cases[i].act, cases[i].by, cases[i].body);
        } else {
            assert_int_equal(kit_act(k, cases[i].act, cases[i].by, "%s", cases[i].body), cases[i].want);
            assert_non_null(strstr(k->err.msg, cases[i].words));
        }
    }
    assert_int_equal(kit_number(kit_ask(k, "events", "{\"after\":8}"), "events/0/event"), -1);
    kit_clean(k);
    kit_end(k);
}

/* po_purpose_holds against a body, as the acts of runs call it. */
static po_status holds(kit *k, const char *body, int64_t member)
{
    po_store *store = NULL;
    po_store_options o = {.wait_ms = 1000, .read_only = true, .schema = &po_ledger_schema};
    OK(po_store_open(k->path, &o, &store, &k->err));
    json_t *b = json_loads(body, 0, NULL);
    assert_non_null(b);
    memset(&k->err, 0, sizeof k->err);
    po_status s = po_purpose_holds(store, b, member, &k->err);
    json_decref(b);
    po_store_close(store);
    return s;
}

static void what_a_run_is_for(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    const int64_t m1 = 1, m2 = 2; /* rows of members bear the number of their event */
    OK(kit_act(k, "course-open", "keeper", "{\"course\":\"old\",\"title\":\"Over\"}"));
    OK(kit_act(k, "course-close", "keeper", "{\"course\":\"old\"}"));
    refused(k, PO_E_CONFLICT, "course", "the course old is over already", "course-close", "keeper",
            "{\"course\":\"old\"}");
    OK(kit_act(k, "fund-open", "keeper", "{\"fund\":\"dry\",\"title\":\"Spent\",\"currency\":\"EUR\"}"));
    OK(kit_act(k, "fund-close", "keeper", "{\"fund\":\"dry\"}"));
    refused(k, PO_E_CONFLICT, "fund", "closed already", "fund-close", "keeper", "{\"fund\":\"dry\"}");
    static const struct {
        const char *body;
        int64_t member;
        po_status want;
        const char *where, *words;
    } cases[] = {
        {"{}", m1, PO_OK, "", ""},
        {"{\"course\":\"lamps\"}", m2, PO_OK, "", ""},
        {"{\"course\":\"lamps\",\"assignment\":\"shade\",\"group\":\"quay-cats\",\"fund\":\"outreach\"}", m1, PO_OK, "",
         ""},
        {"{\"course\":\"cups\"}", m1, PO_E_NOTFOUND, "course", "there is no course cups; open it first"},
        {"{\"course\":\"old\"}", m1, PO_E_CONFLICT, "course", "the course old is over"},
        {"{\"assignment\":\"shade\"}", m1, PO_E_RANGE, "assignment", "name the course as well"},
        {"{\"course\":\"lamps\",\"assignment\":\"foot\"}", m1, PO_E_NOTFOUND, "assignment",
         "the course lamps has no assignment foot"},
        {"{\"group\":\"dogs\"}", m1, PO_E_NOTFOUND, "group", "there is no group dogs"},
        {"{\"group\":\"quay-cats\"}", m2, PO_E_CONFLICT, "group", "does not belong to the group quay-cats"},
        {"{\"fund\":\"rich\"}", m1, PO_E_NOTFOUND, "fund", "there is no fund rich"},
        {"{\"fund\":\"dry\"}", m1, PO_E_CONFLICT, "fund", "the fund dry is closed"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        po_status s = holds(k, cases[i].body, cases[i].member);
        if (s != cases[i].want ||
            (s != PO_OK && (strcmp(k->err.where, cases[i].where) != 0 || !strstr(k->err.msg, cases[i].words)))) {
            fail_msg("%s: %d at \"%s\": %s", cases[i].body, s, k->err.where, k->err.msg);
        }
    }
    OK(kit_act(k, "group-leave", "d1", "{\"group\":\"quay-cats\",\"member\":\"m1\"}"));
    assert_int_equal(holds(k, "{\"group\":\"quay-cats\"}", m1), PO_E_CONFLICT);
    OK(kit_act(k, "group-join", "d1", "{\"group\":\"quay-cats\",\"member\":\"m1\"}"));
    OK(holds(k, "{\"group\":\"quay-cats\"}", m1));
    /* an assignment that is set again keeps what is left out */
    OK(kit_act(k, "assignment-set", "d1", "{\"course\":\"lamps\",\"assignment\":\"shade\",\"due\":%lld}",
               (long long)(KIT_NOON + 9 * KIT_DAY)));
    const char *c = kit_ask(k, "courses", "{\"course\":\"lamps\"}");
    assert_int_equal(kit_number(c, "courses/0/assignments/0/due_ms"), KIT_NOON + 9 * KIT_DAY);
    assert_non_null(strstr(c, "\"A shade\""));
    refused(k, PO_E_CONFLICT, "course", "is over", "assignment-set", "d1", "{\"course\":\"old\",\"assignment\":\"a\"}");
    kit_clean(k);
    kit_end(k);
}

static void questions(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    OK(kit_act(k, "group-join", "d1", "{\"group\":\"quay-cats\",\"member\":\"m2\"}"));
    OK(kit_act(k, "group-leave", "d1", "{\"group\":\"quay-cats\",\"member\":\"m1\"}"));
    const char *g = kit_ask(k, "groups", "{}");
    assert_non_null(strstr(g, "\"format\":\"proveout/groups/1\""));
    assert_non_null(strstr(g, "\"group\":\"quay-cats\""));
    assert_non_null(strstr(g, "\"members\":[{\"joined_ms\":1791201600000,\"member\":\"m2\"}]"));
    const char *f = kit_ask(k, "funds", "{\"fund\":\"outreach\"}");
    assert_int_equal(kit_number(f, "funds/0/budget_minor"), 20000);
    assert_int_equal(kit_number(f, "funds/0/used_minor"), 0);
    assert_int_equal(kit_number(f, "funds/0/left_minor"), 20000);
    OK(kit_act(k, "fund-open", "keeper", "{\"fund\":\"wide\",\"title\":\"No end\",\"currency\":\"GBP\"}"));
    assert_non_null(strstr(kit_ask(k, "funds", "{\"fund\":\"wide\"}"), "\"left_minor\":null"));
    const char *c = kit_ask(k, "courses", "{}");
    assert_int_equal(kit_number(c, "courses/0/runs"), 0);
    assert_int_equal(kit_number(c, "courses/0/assignments/0/um"), 0);
    const char *json = NULL;
    assert_int_equal(po_ledger_ask(k->ledger, "courses", "{\"course\":\"cups\"}", k->arena, &json, &k->err),
                     PO_E_NOTFOUND);
    assert_non_null(strstr(k->err.msg, "there is no course cups"));
    assert_int_equal(po_ledger_ask(k->ledger, "groups", "{\"group\":\"cups\"}", k->arena, &json, &k->err),
                     PO_E_NOTFOUND);
    assert_int_equal(po_ledger_ask(k->ledger, "funds", "{\"fund\":\"cups\"}", k->arena, &json, &k->err), PO_E_NOTFOUND);
    kit_end(k);
}

/* What all the questions say, to be compared. */
static const char *everything(kit *k)
{
    return po_arena_printf(k->arena, "%s\n%s\n%s", kit_ask(k, "courses", "{}"), kit_ask(k, "groups", "{}"),
                           kit_ask(k, "funds", "{}"));
}

static void taken_back(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    static const char *const acts[][2] = {
        {"fund-open", "{\"fund\":\"f\",\"title\":\"F\",\"currency\":\"GBP\"}"},
        {"course-open", "{\"course\":\"c\",\"title\":\"C\"}"},
        {"assignment-set", "{\"course\":\"lamps\",\"assignment\":\"foot\"}"},
        {"assignment-set", "{\"course\":\"lamps\",\"assignment\":\"shade\",\"title\":\"Another\"}"},
        {"group-open", "{\"group\":\"g\"}"},
        {"group-join", "{\"group\":\"quay-cats\",\"member\":\"m2\"}"},
        {"group-leave", "{\"group\":\"quay-cats\",\"member\":\"m1\"}"},
        {"course-close", "{\"course\":\"lamps\"}"},
        {"fund-close", "{\"fund\":\"outreach\"}"},
    };
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++) {
        const char *before = everything(k);
        OK(kit_act(k, acts[i][0], "keeper", "%s", acts[i][1]));
        uint64_t event = k->done.event;
        assert_string_not_equal(everything(k), before);
        OK(kit_act(k, "undo", "keeper", "{\"event\":%llu}", (unsigned long long)event));
        assert_string_equal(everything(k), before);
    }
    /* what others rest on stays: events 4 to 8 are fund, course, assignment, group, membership */
    static const struct {
        int event;
        const char *words;
    } held[] = {{4, "event 5 came later and rests on it"},
                {5, "event 6 came later and rests on it"},
                {7, "event 8 came later and rests on it"}};
    for (size_t i = 0; i < sizeof held / sizeof held[0]; i++) {
        assert_int_equal(kit_act(k, "undo", "keeper", "{\"event\":%d}", held[i].event), PO_E_CONFLICT);
        assert_non_null(strstr(k->err.msg, held[i].words));
    }
    uint64_t join = 8; /* the act that made the row can't go while a later one has changed it */
    OK(kit_act(k, "group-leave", "d1", "{\"group\":\"quay-cats\",\"member\":\"m1\"}"));
    assert_int_equal(kit_act(k, "undo", "keeper", "{\"event\":%llu}", (unsigned long long)join), PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "changed the same membership of a group"));
    OK(kit_act(k, "group-join", "d1", "{\"group\":\"quay-cats\",\"member\":\"m1\"}"));
    /* a member who has joined again can't have the leaving taken back */
    OK(kit_act(k, "group-leave", "d1", "{\"group\":\"quay-cats\",\"member\":\"m1\"}"));
    uint64_t leave = k->done.event;
    OK(kit_act(k, "group-join", "d1", "{\"group\":\"quay-cats\",\"member\":\"m1\"}"));
    assert_int_equal(kit_act(k, "undo", "keeper", "{\"event\":%llu}", (unsigned long long)leave), PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "joined the group again"));
    kit_clean(k);
    const char *before = everything(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    assert_string_equal(everything(k), before);
    kit_clean(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(refusals),
        cmocka_unit_test(what_a_run_is_for),
        cmocka_unit_test(questions),
        cmocka_unit_test(taken_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
