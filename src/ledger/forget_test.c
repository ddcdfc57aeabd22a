/* Whoever is forgotten leaves no byte of their name in the book's files, however full the book. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/ledger_kit.h"

enum { PERSONS = 2400, ONCE = 200 };

/* The n-th in an order that fills pages from everywhere. */
static int number_of(int n)
{
    return n * 1009 % PERSONS; /* 1009 is prime and no divisor */
}

static bool is_forgotten(int number)
{
    return number % 3 == 0;
}

static bool has_bytes(const char *path, const char *words)
{
    FILE *f = fopen(path, "rb");
    bool found = false;
    if (!f) {
        return false;
    }
    fseek(f, 0, SEEK_END);
    size_t n = (size_t)ftell(f);
    rewind(f);
    char *bytes = malloc(n + 1);
    assert_non_null(bytes);
    assert_int_equal(fread(bytes, 1, n, f), n);
    fclose(f);
    found = memmem(bytes, n, words, strlen(words)) != NULL;
    free(bytes);
    return found;
}

static void book_all(kit *k, const char *act, const char *by, bool name, bool forgotten)
{
    static char bodies[ONCE][400];
    static po_act acts[ONCE];
    static po_act_done done[ONCE];
    size_t n = 0, failed = 0;
    for (int i = 0; i <= PERSONS; i++) {
        int number = number_of(i);
        if (i < PERSONS && (!forgotten || is_forgotten(number))) {
            if (name) {
                snprintf(bodies[n], sizeof bodies[n],
                         "{\"member\":\"m%d\",\"name\":\"%s person %d %.*s\",\"contact\":\"%s.%d@quayside.example\"}",
                         number, is_forgotten(number) ? "Gone" : "Kept", number, number % 90,
                         "............................................................................................."
                         ".......",
                         is_forgotten(number) ? "gone" : "kept", number);
            } else {
                snprintf(bodies[n], sizeof bodies[n], "{\"member\":\"m%d\"}", number);
            }
            acts[n] = (po_act){act, by, bodies[n]};
            n++;
        }
        if (n == ONCE || (i == PERSONS && n > 0)) {
            OK(po_ledger_act_all(k->ledger, acts, n, k->arena, done, &failed, &k->err));
            n = 0;
        }
    }
}

static void no_byte_is_left(void **state)
{
    (void)state;
    kit one, *k = &one;
    char log[128];
    kit_in_memory();
    kit_begin(k);
    kit_open(k);
    snprintf(log, sizeof log, "%.100s-wal", k->path);
    book_all(k, "member-enrol", "desk", true, false);
    book_all(k, "member-name", "desk", true, false);
    assert_true(has_bytes(k->path, "Gone person") || has_bytes(log, "Gone person"));
    book_all(k, "member-forget", "keeper", false, true);
    assert_true(has_bytes(k->path, "Kept person"));
    assert_false(has_bytes(k->path, "Gone person") || has_bytes(log, "Gone person"));
    assert_false(has_bytes(k->path, "gone.") || has_bytes(log, "gone."));
    kit_end(k);
}

/* Somebody enrolled by mistake, too. */
static void nor_of_a_mistake(void **state)
{
    (void)state;
    kit one, *k = &one;
    char log[128];
    kit_in_memory();
    kit_begin(k);
    kit_open(k);
    snprintf(log, sizeof log, "%.100s-wal", k->path);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\",\"name\":\"Gone person\",\"contact\":\"gone.1\"}"));
    assert_true(has_bytes(log, "Gone person"));
    OK(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)k->done.event));
    assert_false(has_bytes(k->path, "Gone person") || has_bytes(log, "Gone person"));
    assert_false(has_bytes(k->path, "gone.1") || has_bytes(log, "gone.1"));
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(no_byte_is_left), cmocka_unit_test(nor_of_a_mistake)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
