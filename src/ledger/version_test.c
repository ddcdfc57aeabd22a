/* Books that the programs of older versions wrote come up to the present version, with all that they say. SPDX-License-Identifier: Apache-2.0
 *
 * version_1.sql and version_2.sql are those programs' books as SQLite writes them out; the numbers here are what those programs answered. */
#include <sqlite3.h>

#include "ledger/ledger_kit.h"

static char *read_text(const char *path)
{
    FILE *f = fopen(path, "rb");
    char *text = calloc(1, 80000);
    assert_non_null(f);
    assert_non_null(text);
    size_t n = fread(text, 1, 79999, f);
    assert_in_range(n, 1000, 79998);
    fclose(f);
    return text;
}

/* The book of that version at k->path. */
static void write_old(kit *k, int version)
{
    char path[512];
    const char *root = getenv("PO_SOURCE_ROOT");
    assert_non_null(root);
    snprintf(path, sizeof path, "%.400s/src/ledger/version_%d.sql", root, version);
    char *sql = read_text(path);
    sqlite3 *db = NULL;
    assert_int_equal(sqlite3_open(k->path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, "PRAGMA journal_mode=WAL", NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
    free(sql);
}

static int64_t count(const char *path, const char *sql)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt = NULL;
    int64_t v = -1;
    assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    if (sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) == SQLITE_OK && sqlite3_step(stmt) == SQLITE_ROW) {
        v = sqlite3_column_int64(stmt, 0);
    }
    sqlite3_finalize(stmt);
    sqlite3_close(db);
    return v;
}

static void says_the_same(kit *k)
{
    static const struct {
        const char *member;
        int64_t charged_um, left_um, waivers_um;
    } balances[] = {
        {"1001", 30000000, 120000000, 6000000}, {"1002", 0, 150000000, 0}, {"1003", 12345678, 137654322, 0}};
    for (size_t i = 0; i < sizeof balances / sizeof balances[0]; i++) {
        const char *answer = kit_ask(k, "balance", "{\"member\":\"%s\"}", balances[i].member);
        assert_int_equal(kit_number(answer, "charged_um"), balances[i].charged_um);
        assert_int_equal(kit_number(answer, "left_um"), balances[i].left_um);
        assert_int_equal(kit_number(answer, "waivers_left_um"), balances[i].waivers_um);
        assert_int_equal(kit_number(answer, "allowance_um"), 150000000);
    }
    const char *run = kit_ask(k, "runs", "{\"member\":\"1001\"}");
    assert_int_equal(kit_number(run, "runs/0/run"), 19);
    assert_int_equal(kit_number(run, "runs/0/used_um"), 54000000);
    assert_int_equal(kit_number(run, "runs/0/charged_um"), 30000000);
    assert_int_equal(kit_number(run, "runs/0/waived_um"), 24000000);
    const char *failed = kit_ask(k, "runs", "{\"member\":\"1003\",\"outcome\":\"failed\"}");
    assert_int_equal(kit_number(failed, "runs/0/run"), 23);
    assert_int_equal(kit_number(failed, "runs/0/failed_um"), 12294118);
    assert_int_equal(kit_number(failed, "runs/0/used_um"), 12501031);
    assert_int_equal(kit_number(failed, "runs/0/used_mg"), 38187);
    assert_int_equal(kit_number(failed, "runs/0/charged_um"), 0);
    assert_non_null(strstr(kit_ask(k, "member", "{\"member\":\"1002\"}"), "\"name\":\"Bo Reed-Hart\""));
    const char *json = NULL;
    assert_int_equal(po_ledger_ask(k->ledger, "member", "{\"member\":\"1004\"}", k->arena, &json, &k->err),
                     PO_E_NOTFOUND); /* forgotten */
}

static void brought_up(void **state)
{
    (void)state;
    kit one, *k = &one;
    char copy[128];
    kit_begin(k);
    write_old(k, 1);
    snprintf(copy, sizeof copy, "%.90s.version-1", k->path);
    assert_int_equal(access(copy, F_OK), -1);
    po_ledger_options reading = kit_options(k); /* only looking changes nothing */
    reading.read_only = true;
    assert_int_equal(po_ledger_open(k->path, &reading, &k->ledger, &k->err), PO_E_UNSUPPORTED);
    assert_int_equal(count(k->path, "PRAGMA user_version"), 1);
    k->now = KIT_NOON + KIT_DAY;
    kit_open(k);
    assert_int_equal(count(copy, "PRAGMA user_version"), 1);
    assert_int_equal(count(copy, "SELECT count(*) FROM events"), 32);
    assert_int_equal(count(copy, "SELECT count(*) FROM runs"), 3); /* the old tables, as they were */
    assert_true(count(k->path, "PRAGMA user_version") > 1);
    kit_clean(k);
    says_the_same(k);
    /* and it goes on: the run that was out is taken back, an old act is taken back, the term closes */
    OK(kit_act(k, "run-take-back", "desk", "{\"run\":29,\"figure\":\"counter\",\"used_um\":12000000}"));
    assert_int_equal(k->done.event, 33);
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"1003\"}"), "charged_um"), 12000000);
    OK(kit_act(k, "undo", "desk", "{\"event\":32}"));
    OK(kit_act(k, "run-outcome", "desk", "{\"run\":29,\"outcome\":\"good\",\"counts\":true}"));
    OK(kit_act(k, "term-close", "keeper", "{\"term\":\"autumn-2026\"}"));
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

static void brought_up_from_2(void **state)
{
    (void)state;
    kit one, *k = &one;
    char copy[128];
    kit_begin(k);
    write_old(k, 2);
    snprintf(copy, sizeof copy, "%.90s.version-2", k->path);
    k->now = KIT_NOON + KIT_DAY;
    kit_open(k);
    assert_int_equal(count(copy, "PRAGMA user_version"), 2);
    assert_int_equal(count(k->path, "PRAGMA user_version"), 3);
    assert_int_equal(count(k->path, "SELECT count(*) FROM events"), 82);
    kit_clean(k);
    assert_int_equal(kit_number(kit_ask(k, "balance", "{\"member\":\"m1\"}"), "waivers_left_um"), 8000000);
    assert_int_equal(kit_number(kit_ask(k, "spools", "{}"), "spools/0/left_mg"), 894035);
    const char *run = kit_ask(k, "run", "{\"run\":40}");
    assert_int_equal(kit_number(run, "used_um"), 2000000);
    assert_int_equal(kit_number(run, "waived_um"), 1000000);
    /* an act of the old program is taken back, and the new ones are there */
    OK(kit_act(k, "undo", "keeper", "{\"event\":77}"));
    OK(kit_act(k, "care-done", "desk", "{\"machine\":\"Alder\",\"task\":\"oil\"}"));
    assert_int_equal(k->done.event, 84);
    kit_clean(k);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(brought_up), cmocka_unit_test(brought_up_from_2)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
