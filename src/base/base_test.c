/* Checks of arena.c, text.c, pool.c, err.c. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/number.h"
#include "base/pages.h"
#include "base/pool.h"
#include "base/text.h"

static void test_arena_limits(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(1000);
    assert_null(po_arena_zeros(arena, SIZE_MAX, 2));
    assert_null(po_arena_zeros(arena, SIZE_MAX / 2 + 1, 2));
    assert_null(po_arena_zeros(arena, SIZE_MAX, 1));
    assert_null(po_arena_text_n(arena, "x", SIZE_MAX));
    assert_null(po_arena_zeros(arena, 1001, 1));
    assert_int_equal(po_arena_used(arena), 0);
    assert_non_null(po_arena_zeros(arena, 500, 1));
    assert_true(po_arena_used(arena) >= 500 && po_arena_used(arena) <= 520);
    assert_null(po_arena_zeros(arena, 501, 1));
    assert_non_null(po_arena_zeros(arena, 400, 1)); /* a refusal leaves the rest to be had */
    po_arena_free(arena);
    po_arena_free(NULL);
}

/* Pieces of all sizes, around the blocks: zeroed, aligned, apart from each other. */
static void test_arena_pieces(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    enum { N = 2000 };
    static unsigned char *pieces[N];
    static size_t sizes[N];
    unsigned seed = 7;
    for (int i = 0; i < N; i++) {
        seed = seed * 1664525u + 1013904223u;
        sizes[i] = i % 97 == 0 ? seed >> 14 : seed >> 22; /* up to 1 KB, some up to 256 KB */
        pieces[i] = po_arena_zeros(arena, sizes[i], 1);
        assert_non_null(pieces[i]);
        assert_int_equal((uintptr_t)pieces[i] % _Alignof(max_align_t), 0);
        for (size_t k = 0; k < sizes[i]; k++) {
            assert_true(pieces[i][k] == 0);
        }
        memset(pieces[i], i & 255, sizes[i]);
    }
    for (int i = 0; i < N; i++) {
        for (size_t k = 0; k < sizes[i]; k++) {
            assert_true(pieces[i][k] == (i & 255));
        }
    }
    char *text = po_arena_printf(arena, "%s-%04d", "layer", 12);
    assert_string_equal(text, "layer-0012");
    assert_string_equal(po_arena_text_n(arena, "bead and more", 4), "bead");
    assert_string_equal(po_arena_text(arena, ""), "");
    po_arena_free(arena);
}

static void test_text(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_text text;
    po_text_init(&text, arena);
    char want[5000] = "";
    for (int i = 0; i < 400; i++) {
        po_text_printf(&text, "%d,", i);
        sprintf(want + strlen(want), "%d,", i);
        po_text_add_n(&text, "xyz", (size_t)(i % 4));
        sprintf(want + strlen(want), "%.*s", i % 4, "xyz");
    }
    po_text_add(&text, "end");
    strcat(want, "end");
    assert_false(text.failed);
    assert_string_equal(text.data, want);
    assert_int_equal(text.n, strlen(want));
    po_arena_free(arena);

    arena = po_arena_new(200); /* 64 bytes, then 128 more: 256 are not to be had */
    po_text_init(&text, arena);
    for (int i = 0; i < 12; i++) {
        po_text_add(&text, "0123456789");
    }
    assert_false(text.failed);
    po_text_printf(&text, "%050d", 1);
    assert_true(text.failed);
    assert_int_equal(text.n, 120);
    assert_int_equal(strlen(text.data), 120);
    po_text_add(&text, "x"); /* would fit, but comes after what is missing */
    assert_int_equal(text.n, 120);
    po_arena_free(arena);
}

static void test_same(void **state)
{
    (void)state;
    assert_true(po_text_same("PETG", "petg"));
    assert_true(po_text_same("", ""));
    assert_false(po_text_same("petg", "pet"));
    assert_false(po_text_same("pet", "petg"));
    assert_false(po_text_same("[", "{")); /* 32 apart, but no letters */
    assert_false(po_text_same("\xc4", "\xe4"));
}

/* The plain recurrence over whole prefixes, as Wagner and Fischer write it, with the swap. */
static size_t slow_distance(const char *a, size_t n, const char *b, size_t m)
{
    if (n == 0 || m == 0) {
        return n + m;
    }
    size_t best = slow_distance(a, n - 1, b, m - 1) + (a[n - 1] != b[m - 1]);
    size_t d = slow_distance(a, n - 1, b, m) + 1;
    best = d < best ? d : best;
    d = slow_distance(a, n, b, m - 1) + 1;
    best = d < best ? d : best;
    if (n > 1 && m > 1 && a[n - 1] == b[m - 2] && a[n - 2] == b[m - 1]) {
        d = slow_distance(a, n - 2, b, m - 2) + 1;
        best = d < best ? d : best;
    }
    return best;
}

static void test_distance(void **state)
{
    (void)state;
    static const struct {
        const char *a, *b;
        size_t want;
    } cases[] = {
        {"", "", 0},
        {"", "abc", 3},
        {"abc", "", 3},
        {"abc", "ABC", 0},
        {"kitten", "sitting", 3}, /* the usual textbook pair */
        {"ca", "ac", 1},          /* Damerau's swap */
        {"ca", "abc", 3},         /* 2 if a pair might be edited after its swap: optimal string alignment says 3 */
        {"machine", "machnie", 1},
        {"density", "densty", 1},
        {"bed", "bad", 1},
        {"first_layer", "frist_layer", 1},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_int_equal(po_text_distance(cases[i].a, cases[i].b), cases[i].want);
        assert_int_equal(po_text_distance(cases[i].b, cases[i].a), cases[i].want);
    }
    unsigned seed = 3;
    for (int i = 0; i < 2000; i++) {
        char w[2][8] = {"", ""};
        for (int k = 0; k < 2; k++) {
            seed = seed * 1664525u + 1013904223u;
            size_t n = (seed >> 28) % 7;
            for (size_t j = 0; j < n; j++) {
                seed = seed * 1664525u + 1013904223u;
                w[k][j] = (char)('a' + (seed >> 30) % 3);
            }
            w[k][n] = 0;
        }
        assert_int_equal(po_text_distance(w[0], w[1]), slow_distance(w[0], strlen(w[0]), w[1], strlen(w[1])));
    }
    char longer[200];
    memset(longer, 'x', sizeof longer - 1);
    longer[sizeof longer - 1] = 0;
    assert_int_equal(po_text_distance(longer, ""), 63); /* cut, as the contract says */
    assert_int_equal(po_text_distance(longer, longer), 0);
}

enum { ITEMS = 5000 };
typedef struct tally {
    atomic_int done[ITEMS];
} tally;

static void count_item(size_t i, void *user)
{
    tally *t = user;
    atomic_fetch_add(&t->done[i], 1);
}

static void test_pool(void **state)
{
    (void)state;
    static const int threads[] = {0, 1, 2, 5, 64, 1000};
    for (size_t k = 0; k < sizeof threads / sizeof *threads; k++) {
        po_pool *pool = po_pool_new(threads[k]);
        assert_non_null(pool);
        int n = po_pool_threads(pool);
        assert_true(n >= 1 && n <= 64);
        if (threads[k] >= 1 && threads[k] <= 64) {
            assert_int_equal(n, threads[k]);
        }
        for (size_t round = 0; round < 60; round++) { /* rounds of all lengths, one upon the other */
            tally *t = calloc(1, sizeof *t);
            size_t items = round < 5 ? round : round * 80;
            po_pool_each(pool, items, count_item, t);
            for (size_t i = 0; i < ITEMS; i++) {
                assert_int_equal(atomic_load(&t->done[i]), i < items);
            }
            free(t);
        }
        po_pool_free(pool);
    }
    po_pool_free(NULL);
}

static void test_err(void **state)
{
    (void)state;
    po_err err;
    char buf[64];
    assert_int_equal(po_fail(&err, PO_E_RANGE, "%d is too much", 7), PO_E_RANGE);
    assert_true(err.byte == PO_NO_BYTE && err.line == 0);
    assert_string_equal(po_err_text(&err, buf, sizeof buf), "7 is too much");
    assert_int_equal(po_fail_at(&err, PO_E_SYNTAX, "shop.yaml", 3, 9, "no colon"), PO_E_SYNTAX);
    assert_string_equal(po_err_text(&err, buf, sizeof buf), "shop.yaml:3:9: no colon");
    assert_string_equal(po_err_text(&err, buf, 12), "shop.yaml:3");
    assert_int_equal(po_fail(NULL, PO_E_IO, "nobody asks"), PO_E_IO);
    char longer[1000];
    memset(longer, 'x', sizeof longer - 1);
    longer[sizeof longer - 1] = 0;
    assert_int_equal(po_fail_at(&err, PO_E_IO, longer, 0, 0, "%s", longer), PO_E_IO);
    assert_int_equal(strlen(err.where), sizeof err.where - 1);
    assert_int_equal(strlen(err.msg), sizeof err.msg - 1);
}

/* Pieces of all sizes grow and shrink, keep what fits, and count what they take. */
static void test_arena_resize(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(3u << 20);
    unsigned char *a = po_arena_resize(arena, NULL, 0, 100), *b = po_arena_zeros(arena, 100, 1);
    memset(a, 1, 100);
    memset(b, 2, 100);
    for (size_t n = 100, next; n < 1u << 20; n = next) {
        next = n * 3 / 2;
        unsigned char *grown = po_arena_resize(arena, a, n, next);
        assert_non_null(grown);
        assert_int_equal((uintptr_t)grown % _Alignof(max_align_t), 0);
        a = grown;
        for (size_t k = 0; k < n; k++) {
            assert_int_equal(a[k], 1);
        }
        memset(a, 1, next);
        if (next > 1u << 19) {
            po_pages_large(a, next);
            assert_non_null(po_arena_zeros(arena, 10, 1));
            assert_int_equal(b[99], 2);
            assert_null(po_arena_resize(arena, a, next, 4u << 20)); /* beyond the limit: the old one stands */
            assert_null(po_arena_resize(arena, a, next, SIZE_MAX));
            assert_int_equal(a[next - 1], 1);
            unsigned char *cut = po_arena_resize(arena, a, next, 1000);
            assert_non_null(cut);
            assert_int_equal(cut[999], 1);
            assert_true(po_arena_used(arena) < 2u << 20);
            break;
        }
    }
    po_arena_free(arena);
}

/* Against the C library's own conversion, which rounds correctly. */
static void test_number_e(void **state)
{
    (void)state;
    static const char *const texts[] = {"0",
                                        "-0.0",
                                        "1e0",
                                        "1.234567e+01",
                                        "-1.5E-3",
                                        "1e22",
                                        "1e23",
                                        "9007199254740993",
                                        "9007199254740993e-3",
                                        "1e-22",
                                        "1e-23",
                                        "5e-324",
                                        "1.7976931348623157e308",
                                        "1e309",
                                        "-1e99999999999999999999",
                                        "1e-99999999999999999999",
                                        "123456789012345678901234567890e-10",
                                        "0.000000000000000000000000000001e30",
                                        "3.402823466e+38",
                                        "1.17549435E-38"};
    double value;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        const char *end = texts[i] + strlen(texts[i]);
        assert_ptr_equal(po_number_read_e(texts[i], end, &value), end);
        double wanted = strtod(texts[i], NULL);
        assert_memory_equal(&value, &wanted, sizeof value);
    }
    unsigned seed = 1;
    for (int i = 0; i < 20000; i++) {
        char text[64];
        seed = seed * 1664525u + 1013904223u;
        snprintf(text, sizeof text, "%s%u.%0*ue%d", seed & 1 << 9 ? "-" : "", seed >> 20, (int)(seed >> 8 & 7) + 1,
                 seed >> 12, (int)(seed >> 25) - 64);
        const char *end = text + strlen(text);
        assert_ptr_equal(po_number_read_e(text, end, &value), end);
        double wanted = strtod(text, NULL);
        assert_memory_equal(&value, &wanted, sizeof value);
    }
    const char *one = "1e", *signed_one = "1e+", *none = ".e5";
    assert_ptr_equal(po_number_read_e(one, one + 2, &value), one + 1);
    assert_ptr_equal(po_number_read_e(signed_one, signed_one + 3, &value), signed_one + 1);
    assert_null(po_number_read_e(none, none + 3, &value));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_arena_limits), cmocka_unit_test(test_arena_pieces), cmocka_unit_test(test_text),
        cmocka_unit_test(test_same),         cmocka_unit_test(test_distance),     cmocka_unit_test(test_pool),
        cmocka_unit_test(test_err),          cmocka_unit_test(test_arena_resize), cmocka_unit_test(test_number_e),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
