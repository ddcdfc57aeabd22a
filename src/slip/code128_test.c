/* Tests of code128.c. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "slip/code128.h"

/* The bars of a sign by the code itself, so that tables can't agree by being the same one. */
static int widths_of(po_arena *arena, const char *text, const uint8_t **ret)
{
    int n = 0, modules = 0;
    po_err err;
    assert_int_equal(po_code128(text, arena, ret, &n, &modules, &err), PO_OK);
    int sum = 0;
    for (int i = 0; i < n; i++) {
        assert_in_range((*ret)[i], 1, 4);
        sum += (*ret)[i];
    }
    assert_int_equal(sum, modules);
    assert_int_equal(modules, (n - 7) / 6 * 11 + 13);
    return n;
}

/* ISO/IEC 15417: six elements of one to four modules, eleven together, the bars even; of the 108 such patterns one is the stop and one its mirror. */
static void every_sign(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(1 << 20);
    char seen[128][8];
    int n_seen = 0;
    for (int v = 0; v < 100; v++) { /* by set C: the pair of digits is the sign */
        char text[8];
        snprintf(text, sizeof text, "%02d", v);
        const uint8_t *w;
        assert_int_equal(widths_of(arena, text, &w), 25);
        int bars = w[6] + w[8] + w[10], all = 0;
        for (int i = 6; i < 12; i++) {
            all += w[i];
            seen[n_seen][i - 6] = (char)('0' + w[i]);
        }
        seen[n_seen][6] = 0;
        assert_int_equal(all, 11);
        assert_int_equal(bars % 2, 0);
        for (int k = 0; k < n_seen; k++) {
            assert_string_not_equal(seen[k], seen[n_seen]);
        }
        assert_string_not_equal(seen[n_seen], "211133");
        assert_string_not_equal(seen[n_seen], "233111");
        n_seen++;
    }
    po_arena_free(arena);
}

/* Read backwards, so to say: which of the hundred pairs has these bars. -1: none. */
static int value_of(po_arena *arena, const uint8_t *six)
{
    for (int v = 0; v < 100; v++) {
        char text[8];
        const uint8_t *w;
        snprintf(text, sizeof text, "%02d", v);
        widths_of(arena, text, &w);
        if (memcmp(w + 6, six, 6) == 0) {
            return v;
        }
    }
    return -1;
}

static void read_again(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(1 << 22);
    const uint8_t *w;
    /* by hand: start C = 105, 12, 34: 105 + 12 + 2 * 34 = 185 = 82 modulo 103 */
    assert_int_equal(widths_of(arena, "1234", &w), 5 * 6 - 6 + 7);
    assert_int_equal(value_of(arena, w + 6), 12);
    assert_int_equal(value_of(arena, w + 12), 34);
    assert_int_equal(value_of(arena, w + 18), 82);
    assert_memory_equal(w + 24, ((uint8_t[]){2, 3, 3, 1, 1, 1, 2}), 7);
    /* by hand: start B = 104, "A" = 33: 104 + 33 = 137 = 34 */
    assert_int_equal(widths_of(arena, "A", &w), 3 * 6 + 7);
    assert_int_equal(value_of(arena, w + 6), 33);
    assert_int_equal(value_of(arena, w + 12), 34);
    /* five digits: two pairs by C, the last by B */
    assert_int_equal(widths_of(arena, "12345", &w), 6 * 6 + 7);
    assert_int_equal(value_of(arena, w + 24), '5' - ' ');
    po_arena_free(arena);
}

static void refused(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(1 << 16);
    static const char *const bad[] = {"", "\x1f", "a\x7f", "\xc3\xa4",
                                      "0123456789012345678901234567890123456789012345678"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        const uint8_t *w = NULL;
        int n = 0, modules = 0;
        po_err err;
        assert_int_equal(po_code128(bad[i], arena, &w, &n, &modules, &err), PO_E_RANGE);
        assert_null(w);
    }
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_sign), cmocka_unit_test(read_again),
                                       cmocka_unit_test(refused)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
