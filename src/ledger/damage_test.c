/* Pages whose rows say what no row can: each look at them ends in a sentence, and verify finds it. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/run_kit.h"

/* A row's header stands before its texts, a byte or two for each column (SQLite file format, 2.1): so many bytes of it. */
enum { HEADER = 14 };

static unsigned char *read_file(const char *path, size_t *ret_n)
{
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    fseek(f, 0, SEEK_END);
    *ret_n = (size_t)ftell(f);
    rewind(f);
    unsigned char *bytes = malloc(*ret_n);
    assert_non_null(bytes);
    assert_int_equal(fread(bytes, 1, *ret_n, f), *ret_n);
    fclose(f);
    return bytes;
}

static void write_file(const char *path, const unsigned char *bytes, size_t n)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    assert_int_equal(fclose(f), 0);
}

/* All that looks at the damaged rows, and at others; whatever it says, it says it. */
static void look_everywhere(kit *k)
{
    static const char *const questions[][2] = {{"today", "{}"},    {"member", "{\"member\":\"m1\"}"},
                                               {"machines", "{}"}, {"events", "{}"},
                                               {"tickets", "{}"},  {"book", "{}"}};
    static const char *const acts[][2] = {{"machine-clear", "{\"machine\":\"Birch\"}"},
                                          {"ticket-call", "{\"ticket\":1,\"until\":9999999999999}"},
                                          {"member-suspend", "{\"member\":\"m1\",\"reason\":\"r\"}"},
                                          {"undo", "{\"event\":2}"}};
    const char *const *faults = NULL, *json = NULL;
    size_t n = 0;
    po_ledger_options o = kit_options(k);
    o.create = false;
    if (po_ledger_open(k->path, &o, &k->ledger, &k->err) != PO_OK) {
        assert_true(strlen(k->err.msg) > 10);
        return;
    }
    if (po_ledger_verify(k->ledger, k->arena, &faults, &n, &k->err) == PO_OK) {
        assert_true(n > 0);
    }
    for (size_t i = 0; i < sizeof questions / sizeof questions[0]; i++) {
        po_status s = po_ledger_ask(k->ledger, questions[i][0], questions[i][1], k->arena, &json, &k->err);
        assert_true(s == PO_OK || strlen(k->err.msg) > 10);
    }
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++) {
        po_status s = kit_act(k, acts[i][0], "keeper", "%s", acts[i][1]);
        assert_true(s == PO_OK || strlen(k->err.msg) > 10);
    }
    po_status s = po_ledger_rebuild(k->ledger, &k->err);
    assert_true(s == PO_OK || strlen(k->err.msg) > 10);
}

static void headers_of_rows(void **state)
{
    (void)state;
    static const char *const texts[] = {"member-enroldesk", "Birchtagged-out", "m1memberactive"};
    kit one, *k = &one;
    size_t n = 0;
    char other[128];
    kit_in_memory();
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
    OK(kit_act(k, "machine-tag", "desk", "{\"machine\":\"Birch\",\"reason\":\"x\"}"));
    OK(kit_act(k, "ticket-take", "desk", "{\"member\":\"m1\"}"));
    po_ledger_close(k->ledger);
    k->ledger = NULL;
    unsigned char *bytes = read_file(k->path, &n);
    for (size_t t = 0; t < sizeof texts / sizeof texts[0]; t++) {
        unsigned char *at = memmem(bytes, n, texts[t], strlen(texts[t]));
        if (!at) {
            fail_msg("no row holds %s", texts[t]);
        }
        for (int back = 1; back <= HEADER + 6; back++) { /* numbers stand between the header and the texts */
            unsigned char was = at[-back];
            if (was != 0) {
                at[-back] = 0;
                write_file(k->path, bytes, n);
                look_everywhere(k);
                po_ledger_close(k->ledger);
                k->ledger = NULL;
                at[-back] = was;
            }
        }
    }
    free(bytes);
    snprintf(other, sizeof other, "%.100s-wal", k->path);
    unlink(other);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(headers_of_rows)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
