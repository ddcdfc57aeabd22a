/* Numbers to text and back. SPDX-License-Identifier: Apache-2.0
 * Against the C library's own conversions, and Python's repr (shortest since 3.1) for some known ones, from memory. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"

static void check(double x)
{
    char text[PO_NUMBER_ROOM + 1], want[64];
    size_t n = po_number_write(text, x);
    assert_true(n > 0 && n <= PO_NUMBER_ROOM);
    text[n] = 0;
    double back = strtod(text, NULL), own = 0;
    assert_ptr_equal(po_number_read_e(text, text + n, &own), text + n);
    if (memcmp(&back, &x, sizeof x) != 0 || memcmp(&own, &x, sizeof x) != 0) {
        fail_msg("%.17g became %s", x, text);
    }
    /* no shorter one reads back: count digits without zeros at either end */
    int digits = 0, zeros = 0;
    for (const char *p = text; *p && *p != 'e'; p++) {
        if (*p >= '0' && *p <= '9' && (digits || *p != '0')) {
            digits++;
            zeros = *p == '0' ? zeros + 1 : 0;
        }
    }
    digits -= zeros;
    if (digits > 1) {
        snprintf(want, sizeof want, "%.*e", digits - 2, x);
        if (strtod(want, NULL) == x) {
            fail_msg("%s is shorter than %s", want, text);
        }
        snprintf(want, sizeof want, "%.*e", digits - 1, x);
        if (strtod(want, NULL) != back) {
            fail_msg("%s is no nearest for %s", want, text);
        }
    }
}

static void known(void **state)
{
    (void)state;
    static const struct {
        double x;
        const char *text;
    } all[] = {{0, "0"},
               {-0.0, "-0"},
               {1, "1"},
               {-12.5, "-12.5"},
               {0.1, "0.1"},
               {(double)0.1f, "0.10000000149011612"},
               {1.0 / 3, "0.3333333333333333"},
               {5e-324, "5e-324"},
               {DBL_MAX, "1.7976931348623157e308"},
               {DBL_MIN, "2.2250738585072014e-308"},
               {1e22, "1e22"},
               {1e-7, "1e-7"},
               {0.0001, "0.0001"},
               {1.2345678901234568e17, "1.2345678901234568e17"},
               {9007199254740993.0, "9007199254740992"},
               {2.5e16, "25000000000000000"},
               {1234.5678, "1234.5678"}};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        char text[PO_NUMBER_ROOM + 1];
        text[po_number_write(text, all[i].x)] = 0;
        assert_string_equal(text, all[i].text);
        check(all[i].x);
    }
}

static uint64_t next(uint64_t *s)
{
    *s ^= *s << 13;
    *s ^= *s >> 7;
    *s ^= *s << 17;
    return *s;
}

static void random_ones(void **state)
{
    (void)state;
    uint64_t seed = 88172645463325252u;
    for (int i = 0; i < 150000; i++) {
        uint64_t bits = next(&seed);
        double x;
        memcpy(&x, &bits, sizeof x);
        if (isfinite(x)) {
            check(x);
        }
        double u = (double)(next(&seed) >> 11) / 9007199254740992.0;
        check((double)(float)((u - 0.5) * 500));    /* what an STL holds */
        check(pow(10, u * 22 - 6));                 /* the range that is done in 128 bits, and both its ends */
        check(nextafter(ldexp(1, i % 90 - 30), u)); /* beside powers of two */
        check(ldexp(1, i % 1000 - 500));
        check(rint(u * 1e9) / 1e4);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(known), cmocka_unit_test(random_ones)};
    return cmocka_run_group_tests_name("number", tests, NULL, NULL);
}
