/* Old versions are brought up, step by step, with a copy before. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"
#include "ledger/store.h"

static const po_schema_step steps[] = {
    {1, {"CREATE TABLE a(id INTEGER PRIMARY KEY, x INTEGER) STRICT; INSERT INTO a VALUES(1, 10)"}},
    {2, {"ALTER TABLE a ADD COLUMN y INTEGER; UPDATE a SET y = x * 2"}},
    {3, {"CREATE TABLE b(id INTEGER PRIMARY KEY) STRICT; INSERT INTO b SELECT y FROM a"}},
};
static const po_schema_step broken[] = {
    {1, {"CREATE TABLE a(id INTEGER PRIMARY KEY, x INTEGER) STRICT"}},
    {2, {"ALTER TABLE a ADD COLUMN y INTEGER; UPDATE nowhere SET y = 1"}},
};

static po_store *opened(kit *k, const po_schema_step *list, int n, po_status want, bool read_only)
{
    po_schema schema = {7, list, n};
    po_store_options o = {.create = true, .read_only = read_only, .wait_ms = 1000, .schema = &schema};
    po_store *store = NULL;
    po_status s = po_store_open(k->path, &o, &store, &k->err);
    if (s != want) {
        fail_msg("%d: %s", s, k->err.msg);
    }
    return store;
}

static int64_t number(kit *k, po_store *store, const char *sql)
{
    int64_t v = -1;
    OK(po_store_number(store, &v, NULL, &k->err, sql, ""));
    return v;
}

static void brought_up(void **state)
{
    (void)state;
    kit one, *k = &one;
    char copy[128];
    kit_begin(k);
    snprintf(copy, sizeof copy, "%.90s.version-1", k->path);
    po_store_close(opened(k, steps, 1, PO_OK, false));
    assert_int_equal(access(copy, F_OK), -1);
    assert_null(opened(k, steps, 3, PO_E_UNSUPPORTED, true)); /* reading only does not migrate */
    assert_null(opened(k, broken, 2, PO_E_INTERNAL, false));  /* a step that fails leaves the book as it was */
    po_store *s = opened(k, steps, 1, PO_OK, false);
    assert_int_equal(number(k, s, "SELECT count(*) FROM pragma_table_info('a')"), 2);
    po_store_close(s);
    s = opened(k, steps, 3, PO_OK, false);
    assert_int_equal(number(k, s, "SELECT id FROM b"), 20);
    po_store_close(s);
    po_store_close(opened(k, steps, 3, PO_OK, false));
    assert_null(opened(k, steps, 2, PO_E_UNSUPPORTED, false)); /* made by a newer program */
    snprintf(k->path, sizeof k->path, "%.90s", copy);
    s = opened(k, steps, 1, PO_OK, true);
    assert_int_equal(number(k, s, "SELECT x FROM a"), 10);
    po_store_close(s);
    kit_end(k);
}

/* The same text within its own rows, and a store of its own that leaves no file. */
static void rows_in_rows(void **state)
{
    (void)state;
    kit one, *k = &one;
    po_schema schema = {7, steps, 3};
    po_store_options o = {.wait_ms = 1, .schema = &schema};
    po_store *s = NULL;
    po_rows *a = NULL, *b = NULL;
    static const char sql[] = "SELECT x, NULL, 'text', x'0102' FROM a WHERE id = ?1";
    kit_begin(k);
    OK(po_store_open(NULL, &o, &s, &k->err));
    OK(po_store_ask(s, &a, &k->err, sql, "i", INT64_C(1)));
    assert_true(po_rows_next(a));
    OK(po_store_ask(s, &b, &k->err, sql, "i", INT64_C(2)));
    assert_false(po_rows_next(b));
    OK(po_rows_end(b, &k->err));
    size_t n = 0;
    assert_int_equal(po_rows_int(a, 0), 10);
    assert_int_equal(po_rows_kind(a, 1), 'n');
    assert_string_equal(po_rows_text(a, 2), "text");
    assert_memory_equal(po_rows_blob(a, 3, &n), "\1\2", 2);
    assert_int_equal(n, 2);
    assert_false(po_rows_next(a));
    OK(po_rows_end(a, &k->err));
    po_store_close(s);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(brought_up), cmocka_unit_test(rows_in_rows)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
