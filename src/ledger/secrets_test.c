/* Secrets: kept beside the events, never in them. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"
#include "proveout/secrets.h"

#define HASH "$argon2id$v=19$an invented one"

static po_identity who(kit *k, const char *member)
{
    po_identity id;
    OK(po_ledger_identity(k->ledger, member, &id, &k->err));
    return id;
}

/* Does the file, or the log beside it, hold these bytes? */
static bool in_file(const char *path, const char *bytes)
{
    static char all[1 << 22];
    FILE *f = fopen(path, "rb");
    size_t n = f ? fread(all, 1, sizeof all, f) : 0;
    if (f) {
        fclose(f);
    }
    return n > 0 && memmem(all, n, bytes, strlen(bytes));
}

static void are_set_and_removed(void **state)
{
    (void)state;
    kit own, *k = &own;
    bool can = true;
    uint64_t before = 0, after = 0;
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\": \"k1\", \"role\": \"keeper\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\": \"d1\", \"role\": \"desk\", \"name\": \"Dee\"}"));
    OK(po_ledger_last_event(k->ledger, &before, &k->err));
    OK(po_ledger_keeper_can_sign_in(k->ledger, &can, &k->err));
    assert_false(can);
    po_identity none = who(k, "d1");
    assert_int_equal(none.standing, PO_STANDS_AS_DESK);
    assert_true(none.changed == 0 && !none.password[0] && !none.pin[0]);
    OK(po_ledger_secret_set(k->ledger, "d1", PO_SECRET_PASSWORD, HASH, &k->err));
    OK(po_ledger_keeper_can_sign_in(k->ledger, &can, &k->err));
    assert_false(can); /* a desk person is no keeper */
    OK(po_ledger_secret_set(k->ledger, "k1", PO_SECRET_PASSWORD, HASH, &k->err));
    OK(po_ledger_keeper_can_sign_in(k->ledger, &can, &k->err));
    assert_true(can);
    OK(po_ledger_secret_set(k->ledger, "d1", PO_SECRET_PIN, "pin", &k->err));
    po_identity both = who(k, "d1");
    assert_string_equal(both.password, HASH);
    assert_string_equal(both.pin, "pin");
    OK(po_ledger_secret_set(k->ledger, "d1", PO_SECRET_PASSWORD, "another", &k->err));
    po_identity anew = who(k, "d1");
    assert_true(anew.changed != both.changed && !anew.pin[0]); /* a new password takes the PIN with it */
    OK(po_ledger_last_event(k->ledger, &after, &k->err));
    assert_true(after == before); /* no event knows of it */
    assert_int_equal(po_ledger_secret_set(k->ledger, "nobody", PO_SECRET_PIN, "x", &k->err), PO_E_NOTFOUND);
    assert_int_equal(who(k, "nobody").standing, PO_STANDS_AS_NOBODY);
    OK(kit_act(k, "member-suspend", "keeper", "{\"member\": \"k1\", \"reason\": \"away\"}"));
    assert_true(who(k, "k1").suspended && who(k, "k1").standing == PO_STANDS_AS_NOBODY);
    OK(po_ledger_keeper_can_sign_in(k->ledger, &can, &k->err));
    assert_false(can);
    kit_clean(k);
    kit_end(k);
}

static void outlive_what_is_made_anew_but_not_the_member(void **state)
{
    (void)state;
    kit own, *k = &own;
    char copy[1024];
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\": \"m1\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\": \"m2\"}"));
    OK(po_ledger_secret_set(k->ledger, "m1", PO_SECRET_PASSWORD, HASH, &k->err));
    OK(po_ledger_secret_set(k->ledger, "m2", PO_SECRET_PASSWORD, "short lived", &k->err));
    OK(po_ledger_rebuild(k->ledger, &k->err));
    assert_string_equal(who(k, "m1").password, HASH);
    snprintf(copy, sizeof copy, "%.900s.copy", k->path);
    OK(po_ledger_backup(k->ledger, copy, &k->err));
    assert_true(in_file(copy, HASH));
    OK(kit_act(k, "undo", "keeper", "{\"event\": 2}")); /* enrolled by mistake: nothing of it stays */
    assert_int_equal(who(k, "m2").standing, PO_STANDS_AS_NOBODY);
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\": \"m2\", \"name\": \"Em\"}"));
    OK(po_ledger_secret_set(k->ledger, "m2", PO_SECRET_PASSWORD, "of the second", &k->err));
    OK(po_ledger_rebuild(k->ledger, &k->err)); /* and what was taken back is not taken from whoever came later */
    assert_string_equal(who(k, "m2").password, "of the second");
    assert_non_null(strstr(kit_ask(k, "member", "{\"member\": \"m2\"}"), "\"Em\""));
    kit_clean(k);
    OK(kit_act(k, "member-forget", "keeper", "{\"member\": \"m1\"}"));
    assert_true(who(k, "m1").changed == 0);
    kit_clean(k);
    po_ledger_close(k->ledger);
    k->ledger = NULL;
    assert_false(in_file(k->path, HASH));
    kit_end(k);
}

static void news_come_in_order(void **state)
{
    (void)state;
    kit own, *k = &own;
    po_news news[4];
    size_t n = 0;
    kit_begin(k);
    kit_open(k);
    for (int i = 0; i < 5; i++) {
        OK(kit_act(k, "note-leave", "desk", "{\"text\": \"note %d\"}", i));
    }
    OK(po_ledger_news(k->ledger, 1, 3, news, &n, &k->err));
    assert_int_equal(n, 3);
    assert_true(news[0].event == 2 && news[2].event == 4 && strcmp(news[0].act, "note-leave") == 0);
    OK(po_ledger_news(k->ledger, 5, 3, news, &n, &k->err));
    assert_int_equal(n, 0);
    OK(po_ledger_news(k->ledger, UINT64_MAX, 3, news, &n, &k->err));
    assert_int_equal(n, 0);
    assert_int_equal(po_ledger_act_takes("term-open"), PO_STANDS_AS_KEEPER);
    assert_int_equal(po_ledger_act_takes("run-start"), PO_STANDS_AS_DESK);
    assert_int_equal(po_ledger_act_takes("run"), PO_STANDS_AS_NOBODY);
    kit_end(k);
}

int main(void)
{
    kit_in_memory();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(are_set_and_removed),
        cmocka_unit_test(outlive_what_is_made_anew_but_not_the_member),
        cmocka_unit_test(news_come_in_order),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
