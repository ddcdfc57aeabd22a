/* Tuning against worked figures. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "proveout/tune.h"

/* new = old * asked / came, by definition; worked by hand. */
static void feed(void **state)
{
    (void)state;
    po_tune_feed f;
    po_err err;
    const double one[] = {95.5}, three[] = {97.0, 97.2, 96.8}, apart[] = {97.0, 95.0, 98.0}, near[] = {99.6, 99.4};
    assert_int_equal(po_tune_feed_of(93, 100, one, 1, &f, &err), PO_OK);
    assert_float_equal(f.steps, 97.382199, 1e-6);
    assert_true(isnan(f.low) && f.act == PO_TUNE_CHANGE);
    assert_int_equal(po_tune_feed_of(415, 100, three, 3, &f, &err), PO_OK);
    assert_float_equal(f.steps, 427.835, 1e-3);
    /* t(0.975, 2) = 4.303 (NIST/SEMATECH e-Handbook 1.3.6.7.2) */
    assert_float_equal(f.moved.half, 4.303 * 0.2 / sqrt(3), 1e-3);
    assert_true(f.low < f.steps && f.steps < f.high && f.act == PO_TUNE_CHANGE);
    assert_int_equal(po_tune_feed_of(415, 100, apart, 3, &f, &err), PO_OK);
    assert_int_equal(f.act, PO_TUNE_LOOK);
    assert_int_equal(po_tune_feed_of(415, 100, near, 2, &f, &err), PO_OK);
    assert_int_equal(f.act, PO_TUNE_LEAVE);
    const double left[] = {4.5}, negative[] = {-3};
    assert_int_equal(po_tune_feed_of(93, 100, left, 1, &f, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "what was left"));
    assert_int_equal(po_tune_feed_of(93, 100, negative, 1, &f, &err), PO_E_RANGE);
    assert_int_equal(po_tune_feed_of(93, 100, one, 0, &f, &err), PO_E_EMPTY);
    assert_int_equal(po_tune_feed_of(NAN, 100, one, 1, &f, &err), PO_E_RANGE);
}

static void flow(void **state)
{
    (void)state;
    po_tune_flow f;
    po_err err;
    const double walls[] = {0.47, 0.47, 0.47, 0.47}, near[] = {0.45, 0.46, 0.455, 0.45}, apart[] = {0.40, 0.52};
    assert_int_equal(po_tune_flow_of(1, 0.45, 0.2, walls, 4, &f, &err), PO_OK);
    assert_float_equal(f.by_width, 0.957447, 1e-6); /* rectangle and bead with round ends, worked by hand */
    assert_float_equal(f.by_area, 0.953170, 1e-6);
    assert_int_equal(f.act, PO_TUNE_CHANGE);
    assert_int_equal(po_tune_flow_of(1, 0.45, 0.2, near, 4, &f, &err), PO_OK);
    assert_int_equal(f.act, PO_TUNE_LEAVE);
    assert_int_equal(po_tune_flow_of(1, 0.45, 0.2, apart, 2, &f, &err), PO_OK);
    assert_int_equal(f.act, PO_TUNE_LOOK);
    const double um[] = {470};
    assert_int_equal(po_tune_flow_of(1, 0.45, 0.2, um, 1, &f, &err), PO_E_RANGE);
    assert_int_equal(po_tune_flow_of(1, 0.2, 0.3, walls, 4, &f, &err), PO_E_RANGE);
}

/* A straight line by least squares, worked by hand (NIST/SEMATECH e-Handbook 4.1.4.1). */
static void line(void **state)
{
    (void)state;
    po_tune_line l;
    po_err err;
    const double x[] = {20, 40, 60, 80, 100}, y[] = {20.14, 40.10, 60.07, 80.01, 99.98};
    assert_int_equal(po_tune_line_of(x, y, 5, &l, &err), PO_OK);
    /* the products about the means sum to 3991.8, the squares to 4000; mean of y 60.06 */
    assert_float_equal(l.scale, 3991.8 / 4000 - 1, 1e-7);
    assert_float_equal(l.offset_mm, 60.06 - 60 * 3991.8 / 4000, 1e-5);
    assert_true(l.scale_sure && l.offset_sure);
    const double same[] = {20, 20, 20};
    assert_int_equal(po_tune_line_of(same, y, 3, &l, &err), PO_E_RANGE);
    assert_int_equal(po_tune_line_of(x, y, 1, &l, &err), PO_E_EMPTY);
    po_tune_size z;
    const double two_x[] = {100, 50}, two_y[] = {99.70, 49.85};
    assert_int_equal(po_tune_size_of(80, two_x, two_y, 2, &z, &err), PO_OK);
    assert_float_equal(z.steps, 80.24072, 1e-5); /* 80 at 99.70 for 100 */
    assert_float_equal(z.shrinkage, 0.003, 1e-12);
    assert_true(isnan(z.line.scale_half) && z.act == PO_TUNE_CHANGE);
    double scale,
        width; /* 0.3 % short, beads 0.12 too wide: 30 outside comes as 29.91 + 0.06, 20 inside as 19.94 - 0.06 */
    assert_int_equal(po_tune_split(30, 29.97, 20, 19.88, &scale, &width, &err), PO_OK);
    assert_float_equal(scale, -0.003, 1e-12);
    assert_float_equal(width, 0.09, 1e-12); /* 0.12 less 0.3 % of the 10 mm between them */
    assert_int_equal(po_tune_split(20, 20, 30, 30, &scale, &width, &err), PO_E_RANGE);
}

/* Parallelogram law and law of cosines, worked by hand; a frame of 30 by 40 whose diagonals differ by 0.5: 0.5968 degrees ("Dr. Math" 61903, 2002). */
static void skew(void **state)
{
    (void)state;
    po_tune_skew k;
    po_err err;
    assert_int_equal(po_tune_skew_of(142.0, 140.8, 100, &k, &err), PO_OK);
    assert_float_equal(k.ab_mm, 99.97160, 1e-5);
    assert_float_equal(k.tangent, 0.00848672, 1e-8);
    assert_float_equal(k.deg, 0.486241, 1e-6);
    assert_int_equal(k.act, PO_TUNE_CHANGE);
    assert_int_equal(po_tune_skew_of(141.6, 141.2, 99.9, &k, &err), PO_OK);
    assert_float_equal(k.ab_mm, 100.06993, 1e-5);
    assert_float_equal(k.tangent, 0.00282886, 1e-8);
    double p = 50.25, q = sqrt(2 * (30.0 * 30 + 40 * 40) - p * p); /* diagonals of that frame; they differ by 0.5025 */
    assert_int_equal(po_tune_skew_of(p, q, 30, &k, &err), PO_OK);
    assert_float_equal(k.deg, 0.5968 * (p - q) / 0.5, 0.004);
    assert_int_equal(po_tune_skew_of(100, 100, 70.71, &k, &err), PO_OK);
    assert_int_equal(k.act, PO_TUNE_LEAVE);
    assert_int_equal(po_tune_skew_of(142, 60, 100, &k, &err), PO_E_RANGE);
    assert_int_equal(po_tune_skew_of(-1, 60, 100, &k, &err), PO_E_RANGE);
}

static void gap_and_limits(void **state)
{
    (void)state;
    po_tune_gap g;
    po_tune_limit l;
    po_err err;
    const double five[] = {0.26, 0.27, 0.25, 0.26, 0.26}, apart[] = {0.18, 0.33, 0.2};
    assert_int_equal(po_tune_gap_of(0.2, five, 5, &g, &err), PO_OK);
    assert_float_equal(g.correction_mm, -0.06, 1e-12);
    assert_int_equal(g.act, PO_TUNE_CHANGE);
    assert_int_equal(po_tune_gap_of(0.2, apart, 3, &g, &err), PO_OK);
    assert_int_equal(g.act, PO_TUNE_LOOK);
    assert_int_equal(po_tune_gap_of(0.2, (const double[]){20}, 1, &g, &err), PO_E_RANGE);
    const double at[] = {20, 5, 10, 15};
    const bool good[] = {false, true, true, false}, odd[] = {true, true, true, false},
               none[] = {false, false, false, false};
    assert_int_equal(po_tune_limit_of(at, good, 4, &l, &err), PO_OK);
    assert_true(l.good == 10 && l.bad == 15 && l.state == 10 && !l.mixed);
    assert_int_equal(po_tune_limit_of(at, odd, 4, &l, &err), PO_OK);
    assert_true(l.good == 10 && l.mixed);
    assert_int_equal(po_tune_limit_of(at, none, 4, &l, &err), PO_OK);
    assert_true(isnan(l.good) && l.bad == 5 && !l.mixed);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(feed), cmocka_unit_test(flow), cmocka_unit_test(line),
                                       cmocka_unit_test(skew), cmocka_unit_test(gap_and_limits)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
