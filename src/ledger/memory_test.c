/* Memory ends, at each place in turn, in every act and every question. SPDX-License-Identifier: Apache-2.0
 *
 * Every allocation counts: those of this library (its calls are wrapped by the linker), of jansson and of SQLite (their own
 * hooks). An act or a question is tried again and again, the n-th allocation failing, until it comes through. Each failure has
 * to be PO_E_NOMEM with a sentence and to leave the events as they were; what comes through although an allocation failed has
 * to be the whole answer. */
#include <sqlite3.h>

#include "ledger/ledger_kit.h"

enum { TRIES_MOST = 4000 };

static int64_t countdown; /* below 1: nothing fails */
static bool met;

static bool fails(void)
{
    if (countdown > 0 && --countdown == 0) {
        met = true;
        return true;
    }
    return false;
}

void *__real_malloc(size_t n);
void *__real_calloc(size_t n, size_t each);
void *__real_realloc(void *p, size_t n);
char *__real_strdup(const char *s);
void *__wrap_malloc(size_t n);
void *__wrap_calloc(size_t n, size_t each);
void *__wrap_realloc(void *p, size_t n);
char *__wrap_strdup(const char *s);

void *__wrap_malloc(size_t n)
{
    return fails() ? NULL : __real_malloc(n);
}

void *__wrap_calloc(size_t n, size_t each)
{
    return fails() ? NULL : __real_calloc(n, each);
}

void *__wrap_realloc(void *p, size_t n)
{
    return fails() ? NULL : __real_realloc(p, n);
}

char *__wrap_strdup(const char *s)
{
    return fails() ? NULL : __real_strdup(s);
}

static sqlite3_mem_methods plain;

static void *sqlite_malloc(int n)
{
    return fails() ? NULL : plain.xMalloc(n);
}

static void *sqlite_realloc(void *p, int n)
{
    return fails() ? NULL : plain.xRealloc(p, n);
}

/* A day at the desk with every act there is, and questions between: "?" and its name. */
static const char *const day[][3] = {
    {"term-open", "keeper",
     "{\"term\":\"t1\",\"from\":1790000000000,\"until\":1799000000000,\"allowance_um\":150000000}"},
    {"member-enrol", "desk", "{\"member\":\"m1\",\"name\":\"Ada\",\"contact\":\"ada@quayside.example\"}"},
    {"member-enrol", "desk", "{\"member\":\"m2\"}"},
    {"member-enrol", "desk", "{\"member\":\"m3\",\"name\":\"Cy\"}"},
    {"member-name", "desk", "{\"member\":\"m3\",\"contact\":\"cy@quayside.example\"}"},
    {"member-role", "keeper", "{\"member\":\"m3\",\"role\":\"desk\"}"},
    {"member-suspend", "desk", "{\"member\":\"m2\",\"reason\":\"left a mess\"}"},
    {"member-resume", "desk", "{\"member\":\"m2\"}"},
    {"permit-grant", "desk", "{\"member\":\"m1\",\"permission\":\"starter\"}"},
    {"permit-grant", "desk", "{\"member\":\"m2\",\"permission\":\"starter\"}"},
    {"permit-withdraw", "desk", "{\"member\":\"m2\",\"permission\":\"starter\",\"reason\":\"r\"}"},
    {"course-open", "keeper", "{\"course\":\"c1\",\"title\":\"Making\"}"},
    {"assignment-set", "desk", "{\"course\":\"c1\",\"assignment\":\"a1\"}"},
    {"fund-open", "keeper", "{\"fund\":\"f1\",\"title\":\"Robots\",\"currency\":\"EUR\",\"budget_minor\":1000}"},
    {"group-open", "desk", "{\"group\":\"g1\",\"course\":\"c1\",\"fund\":\"f1\"}"},
    {"group-join", "desk", "{\"group\":\"g1\",\"member\":\"m1\"}"},
    {"group-join", "desk", "{\"group\":\"g1\",\"member\":\"m2\"}"},
    {"group-leave", "desk", "{\"group\":\"g1\",\"member\":\"m2\"}"},
    {"stick-add", "keeper", "{\"stick\":\"A1\",\"machine\":\"Alder\"}"},
    {"stick-lost", "desk", "{\"stick\":\"A1\"}"},
    {"stick-count", "desk", "{\"stick\":\"A1\"}"},
    {"stick-clear", "desk", "{\"stick\":\"A1\",\"files\":2,\"leave\":\"m1\"}"},
    {"spool-add", "desk",
     "{\"spool\":\"P1\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,\"tare_mg\":200000,\"net_"
     "mg\":1000000,"
     "\"price_minor_kg\":2000}"},
    {"spool-open", "desk", "{\"spool\":\"P1\"}"},
    {"spool-dry", "desk", "{\"spool\":\"P1\",\"c\":45,\"minutes\":240}"},
    {"spool-dried", "desk", "{\"spool\":\"P1\"}"},
    {"spool-weigh", "desk", "{\"spool\":\"P1\",\"gross_mg\":1100000}"},
    {"machine-fit", "desk", "{\"machine\":\"Alder\",\"nozzle_um\":400,\"spool\":\"P1\",\"surface\":\"smooth\"}"},
    {"machine-gap", "desk", "{\"machine\":\"Alder\"}"},
    {"machine-tag", "desk", "{\"machine\":\"Alder\",\"reason\":\"smells\"}"},
    {"machine-clear", "desk", "{\"machine\":\"Alder\"}"},
    {"machine-rest", "desk", "{\"machine\":\"Alder\",\"reason\":\"care\"}"},
    {"?machines", "", "{\"gap_days\":7}"},
    {"machine-clear", "desk", "{\"machine\":\"Alder\"}"},
    {"proof-keep", "desk",
     "{\"sha256\":\"" KIT_SHA
     "\",\"machine\":\"Alder\",\"verdict\":\"clear\",\"um\":4000000,\"seconds\":3600,\"hands\":[5],"
     "\"materials\":[\"pla\"],\"by_height\":[[250,100000,200],[10000,2000000,1800],[20000,4000000,3600]]}"},
    {"waiver-give", "keeper",
     "{\"member\":\"m1\",\"um\":9000000,\"reason\":\"r\",\"asked_by\":\"x\",\"desk_limit_um\":0}"},
    {"waiver-give", "keeper", "{\"member\":\"m2\",\"um\":9,\"reason\":\"r\",\"asked_by\":\"x\",\"desk_limit_um\":0}"},
    {"waiver-withdraw", "desk", "{\"waiver\":36,\"reason\":\"r\"}"},
    {"ticket-take", "desk", "{\"member\":\"m1\"}"},
    {"ticket-call", "desk", "{\"ticket\":1,\"until\":1795000000000,\"message\":\"come\"}"},
    {"?tickets", "", "{}"},
    {"run-reserve", "desk", "{\"member\":\"m1\",\"um\":500000,\"machine\":\"Alder\"}"},
    {"run-hand-out", "desk", /* event 40 */
     "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":4000000,\"seconds\":3600,\"sha256\":\"" KIT_SHA
     "\",\"run\":40,\"ticket\":1,\"stick\":\"A1\",\"uses\":[{\"tool\":0,\"spool\":\"P1\",\"um\":4000000}],\"any_of\":["
     "\"starter\"],"
     "\"run_limit_um\":1000000,\"course\":\"c1\",\"assignment\":\"a1\"}"},
    {"run-start", "desk",
     "{\"run\":40,\"heated\":true,\"stream_steady\":true,\"bed_clean\":true,\"gap_good\":true,\"spool_right\":true}"},
    {"run-watched", "desk", "{\"run\":40,\"first_layer\":\"good\"}"},
    {"round-begin", "desk", "{\"kind\":\"opening\"}"},
    {"round-machine", "desk",
     "{\"round\":44,\"machine\":\"Alder\",\"found\":\"running\",\"bed_clear\":false,\"stick_there\":true,\"nozzle_"
     "clean\":true,"
     "\"spool_on\":true,\"heaters_off\":false}"},
    {"?rounds", "", "{\"round\":44}"},
    {"?today", "", "{\"below_mg\":2000000,\"lapse_before\":1799000000000}"},
    {"round-done", "desk", "{\"round\":44,\"note\":\"all well\"}"},
    {"run-failed", "desk", "{\"run\":40,\"z_um\":10000,\"message\":\"failed\"}"},
    {"run-off", "desk", "{\"run\":40,\"to\":\"shelf\",\"place\":1,\"message\":\"collect it\"}"},
    {"run-take-back", "desk", "{\"run\":40,\"figure\":\"proof\"}"},
    {"run-outcome", "desk", "{\"run\":40,\"outcome\":\"failed\",\"cause\":\"material\",\"counts\":false}"},
    {"undo", "desk", "{\"event\":50}"},
    {"shelf-put", "desk", "{\"run\":40,\"place\":2}"},
    {"?shelf", "", "{}"},
    {"shelf-collect", "desk", "{\"run\":40}"},
    {"undo", "desk", "{\"event\":53}"},
    {"shelf-recycle", "desk", "{\"run\":40,\"mg\":5}"},
    {"run-hand-out", "desk", /* event 56 */
     "{\"member\":\"m2\",\"machine\":\"Birch\",\"um\":1000000,\"sha256\":\"" KIT_SHA2
     "\",\"fund\":\"f1\",\"price_minor_kg\":2000,"
     "\"diameter_um\":1750,\"density_mg_cm3\":1240}"},
    {"?stopped", "", "{\"run\":56,\"seconds\":1,\"by_height\":[[200,100,60],[400,900000,3600]]}"},
    {"run-ended", "desk", "{\"run\":56,\"message\":\"done\"}"},
    {"run-take-back", "desk", "{\"run\":56,\"figure\":\"counter\",\"used_um\":900000}"},
    {"run-reserve", "desk", "{\"member\":\"m2\",\"um\":9}"},
    {"run-promise", "desk", "{\"run\":59,\"promised\":1795000000000,\"machine\":\"Birch\",\"message\":\"then\"}"},
    {"run-drop", "desk", "{\"run\":59}"},
    {"message-sent", "desk", "{\"message\":1}"},
    {"message-failed", "desk", "{\"message\":2,\"why\":\"nobody there\"}"},
    {"message-drop", "desk", "{\"message\":2}"},
    {"message-put", "desk", "{\"member\":\"m1\",\"kind\":\"other\",\"text\":\"hello\"}"},
    {"ticket-take", "desk", "{\"member\":\"m1\"}"},
    {"ticket-call", "desk", "{\"ticket\":2,\"until\":1795000000000}"},
    {"ticket-pass", "desk", "{\"ticket\":2,\"no_show\":false}"},
    {"ticket-take", "desk", "{\"member\":\"m2\"}"},
    {"ticket-leave", "desk", "{\"ticket\":3}"},
    {"money-book", "desk",
     "{\"member\":\"m1\",\"kind\":\"charge\",\"minor\":250,\"currency\":\"EUR\",\"reason\":\"r\"}"},
    {"waste-weigh", "desk", "{\"material\":\"pla\",\"mg\":7,\"kind\":\"mixed\"}"},
    {"note-leave", "desk", "{\"text\":\"feed Birch\"}"},
    {"file-attach", "desk", "{\"sha256\":\"" KIT_SHA "\",\"bytes\":100,\"kind\":\"job\",\"run\":40}"},
    {"?files", "", "{}"},
    {"file-detach", "desk", "{\"file\":74}"},
    {"?member", "", "{\"member\":\"m1\",\"implies\":{\"starter\":[\"other\"]},\"run_limit_um\":1000000}"},
    {"?members", "", "{}"},
    {"?balance", "", "{\"member\":\"m1\"}"},
    {"?waivers", "", "{}"},
    {"?money", "", "{\"member\":\"m1\"}"},
    {"?permits", "", "{}"},
    {"?courses", "", "{}"},
    {"?groups", "", "{}"},
    {"?funds", "", "{}"},
    {"?runs", "", "{}"},
    {"?run", "", "{\"run\":40}"},
    {"?run-sums", "", "{\"by\":\"month\",\"edges_ms\":[0,1795000000000]}"},
    {"?run-sums", "", "{\"by\":\"machine\"}"},
    {"?proofs", "", "{}"},
    {"?machine-history", "", "{\"machine\":\"Alder\"}"},
    {"?sticks", "", "{}"},
    {"?spools", "", "{\"below_mg\":2000000}"},
    {"?weighings", "", "{\"spool\":\"P1\"}"},
    {"?waste", "", "{}"},
    {"?stock", "", "{\"edges_ms\":[0,1795000000000]}"},
    {"?outbox", "", "{}"},
    {"?ratios", "", "{}"},
    {"?ratios", "", "{\"columns\":true}"},
    {"?events", "", "{\"limit\":10}"},
    {"?term", "", "{\"lapse\":[\"starter\"]}"},
    {"?terms", "", "{}"},
    {"care-measure", "desk",
     "{\"machine\":\"Alder\",\"kind\":\"tram\",\"figures\":{\"tilt_urad\":-5},\"readings\":[[1,2,-3],[4,5,6]],\"note\":"
     "\"n\"}"},
    {"care-done", "desk", "{\"machine\":\"Alder\",\"task\":\"oil\",\"minutes\":5}"},
    {"care-replace", "desk", "{\"machine\":\"Alder\",\"part\":\"nozzle\",\"why\":\"worn\"}"},
    {"trouble-open", "desk", "{\"machine\":\"Alder\",\"symptom\":\"loose\",\"run\":40}"}, /* event 79 */
    {"trouble-check", "desk", "{\"trouble\":79,\"check\":\"gap\",\"answer\":\"wide\"}"},
    {"trouble-close", "desk", "{\"trouble\":79,\"cause\":\"gap\",\"confirmed\":true}"},
    {"?trouble-learned", "", "{}"},
    {"trouble-reset", "keeper", "{\"reason\":\"r\"}"},
    {"?care-measures", "", "{}"},
    {"?care-log", "", "{}"},
    {"?care-last", "", "{}"},
    {"?care-counters", "", "{}"},
    {"?troubles", "", "{}"},
    {"paper-draw", "desk", /* event 83 */
     "{\"member\":\"m1\",\"study\":\"s\",\"kind\":\"full\",\"seed\":3,\"questions\":[\"q1\",\"q2\"],\"study_sha256\":"
     "\"" KIT_SHA "\",\"pass_permille\":500}"},
    {"paper-answer", "desk", "{\"paper\":83,\"question\":\"q1\",\"answer\":\"a\"}"},
    {"paper-answer", "desk", "{\"paper\":83,\"question\":\"q1\",\"answer\":\"b\"}"},
    {"?paper", "", "{\"paper\":83}"},
    {"paper-hand-in", "desk", "{\"paper\":83,\"right\":[\"q1\"],\"passed\":true,\"teach\":[\"q2\"]}"},
    {"?paper", "", "{\"paper\":83}"},
    {"paper-taught", "desk", "{\"paper\":83,\"question\":\"q2\"}"},
    {"paper-void", "desk", "{\"paper\":83,\"reason\":\"r\"}"},
    {"paper-import", "desk", "{\"member\":\"m1\",\"study\":\"s\",\"passed\":true,\"at\":5,\"source\":\"x\"}"},
    {"practice-sign", "desk",
     "{\"member\":\"m1\",\"study\":\"s\",\"step\":\"load\",\"machine\":\"Alder\",\"seen_by\":\"keeper\"}"},
    {"member-accommodate", "desk", "{\"member\":\"m1\",\"time_percent\":150}"},
    {"?papers", "", "{\"member\":\"m1\"}"},
    {"?practice", "", "{}"},
    {"?accommodations", "", "{}"},
    {"?permit-use", "", "{\"permission\":\"starter\",\"machines\":[\"Alder\"]}"},
    {"machine-fit", "desk", "{\"machine\":\"Alder\",\"unload\":true}"},
    {"spool-empty", "desk", "{\"spool\":\"P1\",\"left_mg\":1000}"},
    {"stick-assign", "keeper", "{\"stick\":\"A1\",\"machine\":\"Birch\"}"},
    {"stick-retire", "keeper", "{\"stick\":\"A1\",\"reason\":\"broken\"}"},
    {"machine-retire", "keeper", "{\"machine\":\"Alder\",\"reason\":\"old\"}"},
    {"course-close", "keeper", "{\"course\":\"c1\"}"},
    {"fund-close", "keeper", "{\"fund\":\"f1\"}"},
    {"permits-lapse", "keeper", "{\"permission\":\"starter\",\"reason\":\"r\"}"},
    {"member-forget", "keeper", "{\"member\":\"m3\"}"},
    {"term-close", "keeper", "{\"term\":\"t1\"}"},
};
enum { N_DAY = sizeof day / sizeof day[0] };

static po_status once(kit *k, const char *const what[3], const char **ret_text)
{
    po_act act = {what[0], what[1], what[2]};
    memset(&k->err, 0, sizeof k->err);
    if (what[0][0] == '?') {
        return po_ledger_ask(k->ledger, what[0] + 1, what[2], k->arena, ret_text, &k->err);
    }
    po_status s = po_ledger_act(k->ledger, &act, k->arena, &k->done, &k->err);
    *ret_text = k->done.answer;
    return s;
}

/* The last event has the whole body, but for what is private. */
static void is_booked(sqlite3_stmt *last, const char *body)
{
    json_t *wanted = json_loads(body, 0, NULL);
    assert_int_equal(sqlite3_step(last), SQLITE_ROW);
    json_t *kept = json_loads((const char *)sqlite3_column_text(last, 1), 0, NULL);
    sqlite3_reset(last);
    json_object_del(wanted, "name");
    json_object_del(wanted, "contact");
    assert_true(json_equal(wanted, kept));
    json_decref(wanted);
    json_decref(kept);
}

/* Until it comes through. Returns how many places failed. */
static int each_place(kit *k, const char *const what[3], sqlite3_stmt *last)
{
    bool asks = what[0][0] == '?';
    const char *text = NULL, *whole = NULL;
    sqlite3_reset(last);
    assert_int_equal(sqlite3_step(last), SQLITE_ROW);
    int64_t before = sqlite3_column_int64(last, 0);
    if (asks) {
        OK(once(k, what, &whole));
    }
    for (int n = 1; n < TRIES_MOST; n++) {
        met = false;
        countdown = n;
        po_status s = once(k, what, &text);
        countdown = 0;
        sqlite3_reset(last);
        assert_int_equal(sqlite3_step(last), SQLITE_ROW);
        int64_t after = sqlite3_column_int64(last, 0);
        sqlite3_reset(last);
        if (s != PO_OK && (s != PO_E_NOMEM || !k->err.msg[0] || after != before || !met)) {
            fail_msg("%s, allocation %d: %d [%s] %s; %lld events more", what[0], n, s, k->err.where, k->err.msg,
                     (long long)(after - before));
        }
        if (s == PO_OK && asks && strcmp(text, whole) != 0) {
            size_t same = 0;
            while (text[same] && text[same] == whole[same]) {
                same++;
            }
            same = same > 30 ? same - 30 : 0;
            fail_msg("%s, allocation %d: a part of the answer is missing: ...%.200s, not ...%.200s", what[0], n,
                     text + same, whole + same);
        }
        if (s == PO_OK && !asks) {
            assert_int_equal(after, before + 1);
            is_booked(last, what[2]);
            if (met && strcmp(text, "{}") == 0) { /* booked, with no memory left for the words: allowed */
                return n;
            }
        }
        if (s == PO_OK && (!asks || !met)) {
            return n - 1;
        }
    }
    fail_msg("%s: no end of allocations", what[0]);
    return 0;
}

static void memory_ends(void **state)
{
    (void)state;
    kit one, *k = &one;
    size_t n_acts = 0, n_questions = 0;
    const po_ledger_verb *acts = po_ledger_acts(&n_acts), *questions = po_ledger_questions(&n_questions);
    sqlite3 *db = NULL;
    sqlite3_stmt *last = NULL;
    int places = 0;
    kit_in_memory();
    kit_begin(k);
    kit_open(k);
    assert_int_equal(sqlite3_open(k->path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, "SELECT coalesce(max(seq), 0), body FROM events", -1, &last, NULL),
                     SQLITE_OK);
    for (size_t i = 0; i < N_DAY; i++) {
        k->now += 60000;
        places += each_place(k, day[i], last);
        if (i % 20 == 19) {
            kit_clean(k);
        }
    }
    kit_clean(k);
    sqlite3_finalize(last);
    sqlite3_close(db);
    kit_end(k);
    print_message("memory ended at %d places\n", places);
    for (size_t a = 0; a < n_acts + n_questions; a++) { /* of every kind there was one */
        const char *name = a < n_acts ? acts[a].name : questions[a - n_acts].name;
        bool there = false;
        for (size_t i = 0; i < N_DAY; i++) {
            there = there || strcmp(day[i][0] + (a >= n_acts), name) == 0;
        }
        if (!there && strcmp(name, "book") != 0) {
            fail_msg("nothing tries %s", name);
        }
    }
}

int main(void)
{
    sqlite3_mem_methods counted;
    if (sqlite3_config(SQLITE_CONFIG_GETMALLOC, &plain) != SQLITE_OK) {
        return 1;
    }
    counted = plain;
    counted.xMalloc = sqlite_malloc;
    counted.xRealloc = sqlite_realloc;
    if (sqlite3_config(SQLITE_CONFIG_MALLOC, &counted) != SQLITE_OK) {
        return 1;
    }
    json_set_alloc_funcs(__wrap_malloc, free);
    const struct CMUnitTest tests[] = {cmocka_unit_test(memory_ends)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
