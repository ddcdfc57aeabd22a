/* Shares and trends against published and worked figures. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "base/rounds.h"
#include "proveout/care.h"

static bool near(double a, double b, double by)
{
    return fabs(a - b) <= by;
}

/* Wilson, NIST/SEMATECH e-Handbook 7.2.4.1 (formula; figures worked by hand); exact, its 7.2.4.2: 4 of 20 at 90 %, 0.071 and 0.401. */
static void shares(void **state)
{
    (void)state;
    static const struct {
        size_t x, n;
        double low, high;
    } rows[] = {{4, 20, 0.080658, 0.416017}, {0, 10, 0, 0.277533},         {0, 20, 0, 0.161125},
                {1, 10, 0.017876, 0.404150}, {20, 20, 0.838875, 1},        {10, 100, 0.055229, 0.174366},
                {3, 40, 0.025836, 0.198642}, {15, 200, 0.045975, 0.120044}};
    po_care_share r;
    po_err err;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        assert_int_equal(po_care_wilson(rows[i].x, rows[i].n, 0.95, &r, &err), PO_OK);
        assert_true(near(r.low, rows[i].low, 1e-6) && near(r.high, rows[i].high, 1e-6));
    }
    assert_int_equal(po_care_wilson(4, 20, 0.90, &r, &err), PO_OK);
    assert_true(near(r.low, 0.093118, 1e-6) && near(r.high, 0.378377, 1e-6));
    assert_int_equal(po_care_exact(4, 20, 0.90, &r, &err), PO_OK);
    assert_true(near(r.low, 0.071354, 1e-6) && near(r.high, 0.401028, 1e-6));
    assert_int_equal(po_care_exact(0, 20, 0.90, &r, &err), PO_OK);
    assert_true(r.low == 0 && near(r.high, 1 - pow(0.05, 1 / 20.0), 1e-9));
    assert_int_equal(po_care_wilson(0, 0, 0.95, &r, &err), PO_OK);
    assert_true(isnan(r.share) && r.low == 0 && r.high == 1);
    assert_int_equal(po_care_wilson(3, 2, 0.95, &r, &err), PO_E_RANGE);
    assert_int_equal(po_care_exact(1, 2, 2, &r, &err), PO_E_RANGE);
}

static double draw(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return ((double)(*seed >> 11) + 0.5) / 9007199254740992.0;
}

/* Of machines that are alike somebody is said to differ in at most 5 of 100 shops; one that fails five times as often is found. */
static void compared(void **state)
{
    (void)state;
    enum { ROUNDS = PO_ROUNDS(2000, 100) };
    uint64_t seed = 3;
    po_err err;
    po_care_group two[2] = {{.failed = 30, .n = 40}, {.failed = 10, .n = 40}};
    assert_int_equal(po_care_compare(two, 2, &err), PO_OK);
    assert_true(two[0].differs && two[1].differs && two[0].p < 0.001);
    int false_names = 0, found = 0;
    for (int round = 0; round < ROUNDS; round++) {
        po_care_group g[5] = {0};
        bool any = false;
        for (int i = 0; i < 5; i++) {
            g[i].n = 60;
            for (int k = 0; k < 60; k++) {
                g[i].failed += draw(&seed) < 0.08;
            }
        }
        assert_int_equal(po_care_compare(g, 5, &err), PO_OK);
        for (int i = 0; i < 5; i++) {
            any |= g[i].differs;
        }
        false_names += any;
        g[2].failed = 0;
        for (int k = 0; k < 60; k++) {
            g[2].failed += draw(&seed) < 0.40;
        }
        assert_int_equal(po_care_compare(g, 5, &err), PO_OK);
        found += g[2].differs;
    }
    assert_in_range(false_names, 0, ROUNDS * 5 / 100);
    assert_in_range(found, ROUNDS * 95 / 100, ROUNDS);
    po_care_group few[2] = {{.failed = 4, .n = 4}, {.failed = 0, .n = 100}};
    assert_int_equal(po_care_compare(few, 2, &err), PO_OK);
    assert_true(few[0].few && !few[0].differs);
    po_care_group wrong = {.failed = 2, .n = 1};
    assert_int_equal(po_care_compare(&wrong, 1, &err), PO_E_RANGE);
}

/* e-Handbook 8.2.2.3, 8.2.3.4, 8.4.5.2 (the set of ten failures to 1500 h; the set and its 310 h from memory, figures worked by hand). */
static void set_a(void **state)
{
    (void)state;
    const double t[] = {5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478};
    po_care_trend r;
    po_err err;
    assert_int_equal(po_care_trend_of(t, 10, 1500, false, &r, &err), PO_OK);
    assert_true(near(r.chi2, 37.2281, 1e-4) && r.freedom == 20 && near(r.chi2_p, 2 * 0.010986, 1e-5));
    assert_true(near(r.laplace, -1.32695, 1e-5) && near(r.laplace_p, 2 * 0.0923, 2e-4));
    assert_true(near(r.beta, 0.537229, 1e-6) && near(r.lambda, 0.196658, 1e-5) && near(r.beta_fair, 0.483506, 1e-6));
    assert_true(near(r.between_h, 310.23, 0.01) && r.arrangements == 33 && r.arrangements_most == 45);
    assert_int_equal(r.way, PO_CARE_UNSURE); /* the tests disagree: said */
}

/* M. Reid, documentation of "reliability", ROCOF, after Modarres, example 5.11: U = 2.409, beta = 1.588, worsening. */
static void set_b(void **state)
{
    (void)state;
    const double gaps[] = {104, 131, 1597, 59, 4,   503, 157, 6,  118, 173, 114, 62, 101, 216, 106,
                           140, 1,   102,  3,  393, 96,  232, 89, 61,  37,  293, 7,  165, 87,  99};
    double t[30], at = 0;
    po_care_trend r;
    po_err err;
    for (int i = 0; i < 30; i++) {
        t[i] = at += gaps[i];
    }
    assert_int_equal(po_care_trend_of(t, 30, at, true, &r, &err), PO_OK);
    assert_true(at == 5256 && near(r.laplace, 2.409, 5e-4) && near(r.beta, 1.588, 5e-4) &&
                near(r.lambda, 3.703e-05, 5e-9));
    assert_true(near(r.chi2, 37.7821, 1e-4) && r.freedom == 58);
    assert_int_equal(r.way, PO_CARE_WORSE);
}

static void set_c(void **state)
{
    (void)state;
    const double t[] = {120, 310, 450, 560, 640, 700, 745, 780};
    po_care_trend r;
    po_err err;
    assert_int_equal(po_care_trend_of(t, 8, 800, false, &r, &err), PO_OK);
    assert_true(near(r.laplace, 1.69168, 1e-5) && near(r.chi2, 8.46084, 1e-5) && near(r.beta, 1.89107, 1e-5) &&
                near(r.lambda, 2.58914e-05, 1e-9));
    assert_int_equal(r.way, PO_CARE_NONE);
    assert_int_equal(po_care_trend_of(t, 4, 800, false, &r, &err), PO_OK);
    assert_true(r.way == PO_CARE_FEW && isnan(r.laplace));
    assert_int_equal(po_care_trend_of(t, 0, 800, false, &r, &err), PO_OK);
    assert_true(r.way == PO_CARE_FEW && isinf(r.between_high_h) && near(r.between_low_h, 800 / -log(0.025), 1e-6));
    assert_int_equal(po_care_trend_of(t, 8, 700, false, &r, &err), PO_E_RANGE);
    assert_int_equal(po_care_trend_of(t, 8, 800, true, &r, &err), PO_E_RANGE);
    assert_int_equal(po_care_trend_of(t, 0, 0, false, &r, &err), PO_E_RANGE);
}

/* Machines without a trend: called worse or better in far fewer than 5 of 100; ones whose failures come ever faster are found. */
static void called(void **state)
{
    (void)state;
    enum { ROUNDS = PO_ROUNDS(3000, 200) };
    uint64_t seed = 11;
    int wrong = 0, found = 0;
    for (int round = 0; round < ROUNDS; round++) {
        double t[200], at = 0;
        size_t n = 0;
        po_care_trend r;
        po_err err;
        while (n < 200 && (at += -50 * log(draw(&seed))) < 1000) {
            t[n++] = at;
        }
        assert_int_equal(po_care_trend_of(t, n, 1000, false, &r, &err), PO_OK);
        wrong += r.way == PO_CARE_WORSE || r.way == PO_CARE_BETTER;
        for (size_t i = 0; i < n; i++) {
            t[i] = 1000 * sqrt(t[i] / 1000); /* power law with beta 2 */
        }
        assert_int_equal(po_care_trend_of(t, n, 1000, false, &r, &err), PO_OK);
        found += r.way == PO_CARE_WORSE;
    }
    assert_in_range(wrong, 0, ROUNDS * 5 / 100);
    assert_in_range(found, ROUNDS * 70 / 100, ROUNDS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(shares), cmocka_unit_test(compared), cmocka_unit_test(set_a),
                                       cmocka_unit_test(set_b),  cmocka_unit_test(set_c),    cmocka_unit_test(called)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
