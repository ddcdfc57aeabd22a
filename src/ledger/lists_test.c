/* Lists of members, permits and waivers. SPDX-License-Identifier: Apache-2.0 */
#include <time.h>

#include "ledger/ledger_kit.h"

static void enrol(kit *k, const char *number, const char *name, const char *contact)
{
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"%s\",\"name\":\"%s\",\"contact\":\"%s\"}", number, name,
               contact));
}

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper",
               "{\"term\":\"autumn-2026\",\"from\":%lld,\"until\":%lld,\"allowance_um\":150000000}",
               (long long)(KIT_NOON - 14 * KIT_DAY), (long long)(KIT_NOON + 74 * KIT_DAY)));
    enrol(k, "10041", "Ada Quay", "ada@quayside.example");
    enrol(k, "10042", "Ben 50% Harbour", "ben_h@quayside.example");
    enrol(k, "20041", "Cleo Adair", "cleo@quayside.example");
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
}

/* The members of the answer, in order, with blanks between. */
static void members_are(kit *k, const char *wanted, const char *parameters)
{
    json_t *answer = json_loads(kit_ask(k, "members", "%s", parameters), 0, NULL);
    char got[200] = "";
    size_t i;
    json_t *m;
    json_array_foreach(json_object_get(answer, "members"), i, m)
    {
        size_t n = strlen(got);
        snprintf(got + n, sizeof got - n, "%s%s", n ? " " : "", json_string_value(json_object_get(m, "member")));
    }
    if (strcmp(got, wanted) != 0) {
        fail_msg("members %s: \"%s\", wanted \"%s\"", parameters, got, wanted);
    }
    json_decref(answer);
}

static void members(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    members_are(k, "10041 10042 20041 d1", "{}");
    members_are(k, "10041 10042", "{\"search\":\"100\"}");
    members_are(k, "10041", "{\"search\":\"10041\"}");
    members_are(k, "", "{\"search\":\"0041\"}"); /* numbers: by their beginning */
    members_are(k, "10041 20041", "{\"search\":\"ada\"}");
    members_are(k, "10041 10042 20041", "{\"search\":\"quayside.ex\"}");
    members_are(k, "10042", "{\"search\":\"50%\"}"); /* what LIKE reads as a wild card is only itself */
    members_are(k, "10042", "{\"search\":\"n_h\"}");
    members_are(k, "", "{\"search\":\"a_a\"}");
    members_are(k, "", "{\"search\":\"\\\\\"}");
    members_are(k, "d1", "{\"role\":\"desk\"}");
    members_are(k, "10042 20041", "{\"after\":\"10041\",\"limit\":2}");
    assert_int_equal(kit_number(kit_ask(k, "members", "{\"limit\":4}"), "more"), 0);
    assert_int_equal(kit_number(kit_ask(k, "members", "{\"limit\":3}"), "more"), 1);
    /* states, as they are at this time */
    OK(kit_act(k, "member-suspend", "d1", "{\"member\":\"10041\",\"reason\":\"left the watch\",\"until\":%lld}",
               (long long)(KIT_NOON + 1000)));
    OK(kit_act(k, "member-suspend", "d1", "{\"member\":\"10042\",\"reason\":\"no end\"}"));
    members_are(k, "10041 10042", "{\"state\":\"suspended\"}");
    assert_non_null(strstr(kit_ask(k, "members", "{\"search\":\"10041\"}"), "left the watch"));
    assert_int_equal(kit_number(kit_ask(k, "member", "{\"member\":\"10041\"}"), "suspended_until_ms"), KIT_NOON + 1000);
    assert_int_equal(kit_number(kit_ask(k, "member", "{\"member\":\"10042\"}"), "suspended_until_ms"), -1);
    k->now += 1000;
    members_are(k, "10042", "{\"state\":\"suspended\"}");
    members_are(k, "10041 20041 d1", "{\"state\":\"active\"}");
    assert_null(strstr(kit_ask(k, "members", "{\"search\":\"10041\"}"), "left the watch"));
    OK(kit_act(k, "ticket-take", "d1", "{\"member\":\"20041\"}"));
    assert_int_equal(kit_act(k, "member-forget", "keeper", "{\"member\":\"20041\"}"), PO_E_CONFLICT);
    assert_non_null(strstr(k->err.msg, "member 20041 waits with ticket 1;"));
    OK(kit_act(k, "ticket-leave", "d1", "{\"ticket\":1}"));
    OK(kit_act(k, "member-forget", "keeper", "{\"member\":\"20041\"}"));
    members_are(k, "10041 10042 d1", "{}");
    members_are(k, "20041", "{\"state\":\"forgotten\"}");
    members_are(k, "", "{\"search\":\"cleo\",\"state\":\"forgotten\"}");
    kit_end(k);
}

static void permits(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    static const struct {
        const char *member, *permission;
        int days;
    } grants[] = {
        {"10041", "starter", 10}, {"10042", "starter", 0}, {"20041", "starter", 3}, {"10041", "two-material", 5}};
    for (size_t i = 0; i < 4; i++) {
        char until[40] = "";
        if (grants[i].days) {
            snprintf(until, sizeof until, ",\"until\":%lld", (long long)(KIT_NOON + grants[i].days * KIT_DAY));
        }
        OK(kit_act(k, "permit-grant", "d1", "{\"member\":\"%s\",\"permission\":\"%s\"%s}", grants[i].member,
                   grants[i].permission, until));
    } /* events 6 to 9 */
    const char *all = kit_ask(k, "permits", "{}");
    assert_int_equal(kit_number(all, "permits/0/permit"), 9);
    assert_int_equal(kit_number(all, "permits/3/permit"), 6);
    assert_int_equal(kit_number(kit_ask(k, "permits", "{\"before\":8}"), "permits/0/permit"), 7);
    const char *starter = kit_ask(k, "permits", "{\"permission\":\"starter\"}");
    assert_int_equal(kit_number(starter, "permits/0/permit"), 8);
    assert_int_equal(kit_number(starter, "permits/2/permit"), 6);
    const char *ada = kit_ask(k, "permits", "{\"member\":\"10041\"}");
    assert_int_equal(kit_number(ada, "permits/1/permit"), 6);
    assert_int_equal(kit_number(ada, "permits/2/permit"), -1);
    /* the first to lapse first, page by page */
    long long week = (long long)(KIT_NOON + 7 * KIT_DAY), month = (long long)(KIT_NOON + 30 * KIT_DAY);
    const char *soon = kit_ask(k, "permits", "{\"lapse_before\":%lld}", week);
    assert_int_equal(kit_number(soon, "permits/0/permit"), 8);
    assert_int_equal(kit_number(soon, "permits/1/permit"), 9);
    assert_int_equal(kit_number(soon, "permits/2/permit"), -1);
    const char *next = kit_ask(k, "permits", "{\"lapse_before\":%lld,\"before\":8,\"limit\":1}", month);
    assert_int_equal(kit_number(next, "permits/0/permit"), 9);
    assert_int_equal(kit_number(next, "more"), 1);
    assert_int_equal(kit_number(kit_ask(k, "permits", "{\"lapse_before\":%lld,\"permission\":\"starter\"}", month),
                                "permits/1/permit"),
                     6);
    /* what is withdrawn or lapsed holds no more */
    OK(kit_act(k, "permit-withdraw", "d1", "{\"member\":\"10041\",\"permission\":\"two-material\"}"));
    k->now += 3 * KIT_DAY;
    all = kit_ask(k, "permits", "{}");
    assert_int_equal(kit_number(all, "permits/0/permit"), 7);
    assert_int_equal(kit_number(all, "permits/2/permit"), -1);
    assert_int_equal(kit_number(kit_ask(k, "permits", "{\"lapse_before\":%lld}", month), "permits/0/permit"), 6);
    kit_end(k);
}

static void waivers(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    static const char give[] = "{\"member\":\"%s\",\"um\":%d,\"reason\":\"course work\",\"asked_by\":\"20041\","
                               "\"desk_limit_um\":10000000%s}";
    char body[300], until[40];
    snprintf(until, sizeof until, ",\"until\":%lld", (long long)(KIT_NOON + KIT_DAY));
    const char *const more[] = {"", until, "", ",\"sha256\":\"" KIT_SHA "\""};
    const char *const who[] = {"10041", "10041", "10042", "10041"};
    for (int i = 0; i < 4; i++) {
        snprintf(body, sizeof body, give, who[i], (i + 1) * 1000000, more[i]);
        OK(kit_act(k, "waiver-give", "d1", "%s", body));
    } /* events 6 to 9 */
    /* 3 m more than one run may take: from the waiver for this job first */
    OK(kit_act(
        k, "run-hand-out", "d1",
        "{\"member\":\"10041\",\"machine\":\"Alder\",\"um\":33000000,\"run_limit_um\":30000000,\"sha256\":\"" KIT_SHA
        "\"}"));
    const char *w = kit_ask(k, "waivers", "{\"member\":\"10041\"}");
    assert_int_equal(kit_number(w, "waivers/0/waiver"), 9);
    assert_int_equal(kit_number(w, "waivers/0/um"), 4000000);
    assert_int_equal(kit_number(w, "waivers/0/left_um"), 1000000);
    assert_int_equal(kit_number(w, "waivers/2/waiver"), 6);
    assert_int_equal(kit_number(w, "waivers/3/waiver"), -1);
    assert_int_equal(kit_number(kit_ask(k, "waivers", "{\"limit\":2}"), "waivers/1/waiver"), 8);
    OK(kit_act(k, "waiver-withdraw", "d1", "{\"waiver\":8,\"reason\":\"not needed\"}"));
    k->now += KIT_DAY;
    w = kit_ask(k, "waivers", "{}");
    assert_non_null(strstr(w, "\"state\":\"withdrawn\""));
    assert_non_null(strstr(w, "\"state\":\"lapsed\""));
    assert_non_null(strstr(w, "\"state\":\"holds\""));
    w = kit_ask(k, "waivers", "{\"holding\":true}");
    assert_int_equal(kit_number(w, "waivers/0/waiver"), 9);
    assert_int_equal(kit_number(w, "waivers/1/waiver"), 6);
    assert_int_equal(kit_number(w, "waivers/2/waiver"), -1);
    kit_end(k);
}

static double seconds_now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

/* As many as a busy shop has in ten years, booked in one go, as an import does. */
static void many(void **state)
{
    (void)state;
    kit one, *k = &one;
    kit_begin(k);
    kit_open(k);
    enum { N = PO_ACTS_MOST };
    po_act *acts = calloc(N, sizeof *acts);
    po_act_done *done = calloc(N, sizeof *done);
    assert_true(acts && done);
    for (int i = 0; i < N; i++) {
        char *body = po_arena_printf(k->arena, "{\"member\":\"%05d\",\"name\":\"Person %c%c%c of the quay\"}", i,
                                     'a' + i / 676 % 26, 'a' + i / 26 % 26, 'a' + i % 26);
        assert_non_null(body);
        acts[i] = (po_act){"member-enrol", "desk", body};
    }
    size_t failed = 0;
    OK(po_ledger_act_all(k->ledger, acts, N, k->arena, done, &failed, &k->err));
    assert_int_equal(done[N - 1].event, N);
    double worst = 0;
    static const char *const searches[] = {"{\"search\":\"1234\"}", "{\"search\":\"son BAC \"}",
                                           "{\"search\":\"nobody\"}", "{\"after\":\"19000\"}"};
    for (size_t i = 0; i < 4; i++) {
        double from = seconds_now();
        kit_ask(k, "members", "%s", searches[i]);
        double took = seconds_now() - from;
        worst = took > worst ? took : worst;
    }
    members_are(k, "12340 12341 12342 12343 12344 12345 12346 12347 12348 12349", "{\"search\":\"1234\"}");
    members_are(k, "00678 18254", "{\"search\":\"son BAC \"}"); /* 678 = 1 * 676 + 0 * 26 + 2, and 26^3 on */
    print_message("the slowest search among %d members: %.1f ms\n", N, worst * 1000);
    assert_true(worst < 2); /* some 20 ms; far above, so that a busy machine does not fail it */
    free(acts);
    free(done);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(members),
        cmocka_unit_test(permits),
        cmocka_unit_test(waivers),
        cmocka_unit_test(many),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
