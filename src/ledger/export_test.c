/* What goes out is what the book holds: JSON, CSV and SQL, read back. SPDX-License-Identifier: Apache-2.0 */
#include <sqlite3.h>

#include "ledger/ledger_kit.h"
#include "proveout/ledger_export.h"

enum { FILES_MOST = 40, ROOM = 1 << 20 };
typedef struct sink {
    char names[FILES_MOST][40], *texts[FILES_MOST];
    size_t n[FILES_MOST];
    int files;
    long refuse_after; /* bytes; -1: never */
} sink;

static bool take_file(void *user, const char *name)
{
    sink *s = user;
    assert_in_range(s->files, 0, FILES_MOST - 1);
    snprintf(s->names[s->files], sizeof s->names[0], "%s", name);
    s->texts[s->files++] = calloc(1, ROOM);
    return true;
}

static bool take_bytes(void *user, const char *bytes, size_t n)
{
    sink *s = user;
    if (s->files == 0) {
        take_file(user, "");
    }
    size_t *at = &s->n[s->files - 1];
    assert_true(*at + n < ROOM);
    memcpy(s->texts[s->files - 1] + *at, bytes, n);
    *at += n;
    return s->refuse_after < 0 || (long)*at <= s->refuse_after;
}

static void done(sink *s)
{
    for (int i = 0; i < s->files; i++) {
        free(s->texts[i]);
    }
}

static po_status go(kit *k, sink *s, const po_export_options *o)
{
    long refuse = s->refuse_after;
    memset(s, 0, sizeof *s);
    s->refuse_after = refuse;
    return po_ledger_export(k->ledger, o, &(po_export_out){s, take_file, take_bytes}, &k->err);
}

static const char *file(const sink *s, const char *name)
{
    for (int i = 0; i < s->files; i++) {
        if (strcmp(s->names[i], name) == 0) {
            return s->texts[i];
        }
    }
    return NULL;
}

#define AWKWARD "an \\\"odd\\\", it's = 1; Grüße"
static void some_days(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper",
               "{\"term\":\"autumn\",\"from\":%lld,\"until\":%lld,\"allowance_um\":150000000}", (long long)KIT_NOON,
               (long long)(KIT_NOON + 60 * KIT_DAY)));
    OK(kit_act(k, "member-enrol", "desk",
               "{\"member\":\"1001\",\"name\":\"Ada Quill\",\"contact\":\"ada@quayside.example\"}"));
    OK(kit_act(
        k, "spool-add", "desk",
        "{\"spool\":\"S1\",\"material\":\"petg\",\"diameter_um\":1750,\"density_mg_cm3\":1270,\"net_mg\":1000000}"));
    for (int i = 0; i < 3; i++) {
        k->now = KIT_NOON + i * KIT_DAY;
        OK(kit_act(k, "run-hand-out", "desk",
                   "{\"member\":\"1001\",\"machine\":\"Alder\",\"um\":10000000,\"seconds\":60,\"sha256\":\"" KIT_SHA
                   "\",\"spool\":\"S1\",\"purpose\":\"" AWKWARD "\"}"));
        OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"proof\"}", (long long)k->done.event));
    }
}

static void json(void **state)
{
    (void)state;
    kit one, *k = &one;
    sink s = {.refuse_after = -1};
    some_days(k);
    OK(go(k, &s, &(po_export_options){.format = PO_EXPORT_JSON}));
    json_error_t where;
    json_t *root = json_loads(s.texts[0], JSON_REJECT_DUPLICATES, &where), *tables = json_object_get(root, "tables");
    if (!root) {
        fail_msg("%s at %d", where.text, where.position);
    }
    size_t n = 0;
    const po_export_table *all = po_export_tables(&n);
    assert_int_equal(json_object_size(tables), n - 1); /* without names */
    assert_null(json_object_get(tables, "persons"));
    assert_null(strstr(s.texts[0], "Quill"));
    assert_string_equal(json_string_value(json_object_get(root, "format")), "proveout/export/1");
    assert_int_equal(json_integer_value(json_object_get(root, "last_event")), 9);
    const json_t *runs = json_object_get(tables, "runs"), *run = json_array_get(runs, 1), *event;
    assert_int_equal(json_array_size(runs), 3);
    assert_string_equal(json_string_value(json_object_get(run, "purpose")), "an \"odd\", it's = 1; Grüße");
    assert_string_equal(json_string_value(json_object_get(run, "handed_out")),
                        "2026-10-06T12:00:00.000Z"); /* KIT_NOON and a day */
    assert_true(json_is_true(json_object_get(run, "counts")));
    assert_true(json_is_null(json_object_get(run, "ended")) || json_is_string(json_object_get(run, "ended")));
    assert_int_equal(json_integer_value(json_object_get(run, "charged_um")), 10000000);
    event = json_array_get(json_object_get(tables, "events"), 0);
    assert_string_equal(json_string_value(json_object_get(json_object_get(event, "body"), "term")), "autumn");
    assert_string_equal(
        json_string_value(json_object_get(json_array_get(json_object_get(tables, "events"), 8), "hash")), k->done.hash);
    for (size_t t = 0; t < n; t++) { /* each row has each column, and no other */
        const json_t *row = json_array_get(json_object_get(tables, all[t].name), 0);
        assert_true(!row || json_object_size(row) == all[t].n_columns);
    }
    json_decref(root);
    done(&s);
    /* two tables, one day */
    const char *const two[] = {"runs", "members"};
    OK(go(k, &s, &(po_export_options){PO_EXPORT_JSON, two, 2, KIT_NOON + KIT_DAY, KIT_NOON + 2 * KIT_DAY, false}));
    root = json_loads(s.texts[0], 0, NULL);
    tables = json_object_get(root, "tables");
    assert_int_equal(json_object_size(tables), 2);
    assert_int_equal(json_array_size(json_object_get(tables, "runs")), 1);
    assert_int_equal(json_array_size(json_object_get(tables, "members")), 1);
    json_decref(root);
    done(&s);
    kit_end(k);
}

static void csv(void **state)
{
    (void)state;
    kit one, *k = &one;
    sink s = {.refuse_after = -1};
    size_t n = 0;
    some_days(k);
    OK(go(k, &s, &(po_export_options){.format = PO_EXPORT_CSV, .names = true}));
    const po_export_table *all = po_export_tables(&n);
    assert_int_equal(s.files, n + 1);
    assert_string_equal(file(&s, "persons.csv"), "member,name,contact\r\n1001,Ada Quill,ada@quayside.example\r\n");
    assert_string_equal(file(&s, "terms.csv"),
                        "term,begins,ends,allowance_um,closed\r\nautumn,2026-10-05T12:00:00.000Z,"
                        "2026-12-04T12:00:00.000Z,150000000,\r\n");
    assert_non_null(strstr(file(&s, "runs.csv"), ",\"an \"\"odd\"\", it's = 1; Grüße\","));
    assert_string_equal(file(&s, "funds.csv"), "fund,title,currency,budget_minor,closed\r\n");
    const char *readme = file(&s, "README.md");
    for (size_t t = 0; t < n; t++) {
        char head[80];
        snprintf(head, sizeof head, "## %s.csv", all[t].name);
        assert_non_null(strstr(readme, head));
    }
    assert_non_null(strstr(readme, "Names of persons stand in"));
    done(&s);
    OK(go(k, &s, &(po_export_options){.format = PO_EXPORT_CSV}));
    assert_null(file(&s, "persons.csv"));
    assert_non_null(strstr(file(&s, "README.md"), "Names of persons were left out"));
    done(&s);
    kit_end(k);
}

static int64_t number(sqlite3 *db, const char *sql)
{
    sqlite3_stmt *stmt = NULL;
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &stmt, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(stmt), SQLITE_ROW);
    int64_t v = sqlite3_column_int64(stmt, 0);
    sqlite3_finalize(stmt);
    return v;
}

/* Read by a database that knows nothing of this program. */
static void sql(void **state)
{
    (void)state;
    kit one, *k = &one;
    sink s = {.refuse_after = -1};
    sqlite3 *db = NULL;
    char *why = NULL;
    some_days(k);
    OK(go(k, &s, &(po_export_options){.format = PO_EXPORT_SQL}));
    assert_int_equal(sqlite3_open(":memory:", &db), SQLITE_OK);
    if (sqlite3_exec(db, s.texts[0], NULL, NULL, &why) != SQLITE_OK) {
        fail_msg("%s", why);
    }
    assert_int_equal(number(db, "SELECT count(*) FROM runs"), 3);
    assert_int_equal(number(db, "SELECT sum(charged_um) FROM runs WHERE purpose = 'an \"odd\", it''s = 1; Grüße'"),
                     30000000);
    assert_int_equal(number(db, "SELECT count(*) FROM events WHERE length(hash) = 64"), 9);
    assert_int_equal(number(db, "SELECT count(*) FROM runs WHERE handed_out = '2026-10-06T12:00:00.000Z'"), 1);
    assert_int_equal(number(db, "SELECT sum(mg) FROM takes"), 3 * po_ledger_mg(10000000, 1750, 1270));
    assert_int_equal(number(db, "SELECT count(*) FROM sqlite_schema WHERE name = 'persons'"), 0);
    sqlite3_close(db);
    done(&s);
    kit_end(k);
}

static void refused(void **state)
{
    (void)state;
    kit one, *k = &one;
    sink s = {.refuse_after = -1};
    const char *const unknown[] = {"prints"}, *const persons[] = {"persons"};
    some_days(k);
    assert_int_equal(go(k, &s, &(po_export_options){.tables = unknown, .n_tables = 1}), PO_E_RANGE);
    assert_non_null(strstr(k->err.msg, "no table prints"));
    assert_int_equal(go(k, &s, &(po_export_options){.tables = persons, .n_tables = 1}), PO_E_RANGE);
    assert_int_equal(go(k, &s, &(po_export_options){.from_ms = 5, .until_ms = 5}), PO_E_RANGE);
    s.refuse_after = 0;
    assert_int_equal(go(k, &s, &(po_export_options){.format = PO_EXPORT_JSON}), PO_E_CANCELLED);
    done(&s);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"1002\"}")); /* and the book goes on */
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(json), cmocka_unit_test(csv), cmocka_unit_test(sql),
                                       cmocka_unit_test(refused)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
