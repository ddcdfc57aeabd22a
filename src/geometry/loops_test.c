/* Checks of area, length, bounds and winding of loops. SPDX-License-Identifier: Apache-2.0
 * Outside: closed forms of the regular polygon (area n/2 r^2 sin(2 pi/n), sides 2 r sin(pi/n)) and of rectangles; Pick's
 * theorem (G. Pick, 1899) for polygons on whole numbers. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "proveout/loops.h"

static const double TURN = 6.28318530717958647692;

/* A square of 10 with a hole of 4 by 4, its corners at (3, 3). */
static const double FRAME[] = {0, 0, 10, 0, 10, 10, 0, 10, 3, 3, 3, 7, 7, 7, 7, 3};
static const uint32_t FRAME_ENDS[] = {4, 8};
static const po_loops FRAME_LOOPS = {FRAME, 8, FRAME_ENDS, 2};

static void frame(void **state)
{
    (void)state;
    double bounds[4];
    assert_true(po_loops_area(&FRAME_LOOPS) == 84);
    assert_true(po_loops_length(&FRAME_LOOPS) == 56);
    assert_true(po_loops_bounds(&FRAME_LOOPS, bounds));
    assert_true(bounds[0] == 0 && bounds[1] == 0 && bounds[2] == 10 && bounds[3] == 10);
    assert_int_equal(po_loops_winding(&FRAME_LOOPS, 1, 1), 1);
    assert_int_equal(po_loops_winding(&FRAME_LOOPS, 5, 5), 0);
    assert_int_equal(po_loops_winding(&FRAME_LOOPS, 11, 5), 0);
    assert_int_equal(po_loops_winding(&FRAME_LOOPS, -1, 3), 0); /* the ray runs along an edge and through corners */
    assert_int_equal(po_loops_winding(&FRAME_LOOPS, 1, 3), 1);
    assert_int_equal(po_loops_winding(&FRAME_LOOPS, 1, 7), 1);
    assert_int_equal(po_loops_winding(&FRAME_LOOPS, -1, 10), 0);
}

static void polygons(void **state)
{
    (void)state;
    for (uint32_t n = 3; n < 200; n += 7) {
        double xy[400], r = 12.5, shift = 1e5, bounds[4];
        for (uint32_t k = 0; k < n; k++) {
            xy[2 * k] = shift + r * cos(TURN * k / n);
            xy[2 * k + 1] = r * sin(TURN * k / n) - shift;
        }
        po_loops loops = {xy, n, &n, 1};
        double area = n / 2.0 * r * r * sin(TURN / n), length = n * 2 * r * sin(TURN / 2 / n);
        assert_true(fabs(po_loops_area(&loops) - area) < 1e-8); /* coordinates of 1e5 are good to 1e-11 */
        assert_true(fabs(po_loops_length(&loops) - length) < 1e-8);
        assert_true(po_loops_bounds(&loops, bounds) && fabs(bounds[2] - shift - r) < 1e-9);
        assert_int_equal(po_loops_winding(&loops, shift + r * cos(TURN / 2 / n) * 0.999 * cos(TURN / 2 / n),
                                          -shift + r * cos(TURN / 2 / n) * 0.999 * sin(TURN / 2 / n)),
                         1);
        assert_int_equal(po_loops_winding(&loops, shift + r * cos(TURN / 2 / n) * 1.001 * cos(TURN / 2 / n),
                                          -shift + r * cos(TURN / 2 / n) * 1.001 * sin(TURN / 2 / n)),
                         0);
    }
}

static void overlaps(void **state)
{
    (void)state;
    /* Two squares that overlap, one of them twice round; a clockwise one beside. */
    const double xy[] = {0, 0, 4, 0, 4, 4, 0, 4, 2, 2, 6, 2, 6, 6, 2, 6,
                         2, 2, 6, 2, 6, 6, 2, 6, 8, 0, 8, 1, 9, 1, 9, 0};
    const uint32_t ends[] = {4, 12, 16};
    po_loops loops = {xy, 16, ends, 3};
    assert_true(po_loops_area(&loops) == 16 + 2 * 16 - 1);
    assert_int_equal(po_loops_winding(&loops, 1, 1), 1);
    assert_int_equal(po_loops_winding(&loops, 3, 3), 3);
    assert_int_equal(po_loops_winding(&loops, 5, 5), 2);
    assert_int_equal(po_loops_winding(&loops, 8.5, 0.5), -1);
}

/* Whole points inside a staircase: inside + edge / 2 - 1 is the area. */
static void pick(void **state)
{
    (void)state;
    double xy[2 * 44];
    uint32_t n = 0;
    for (int k = 0; k < 20; k++) {
        xy[2 * n] = k;
        xy[2 * n++ + 1] = (k * 7) % 5;
    }
    xy[2 * n] = 19;
    xy[2 * n++ + 1] = 12;
    xy[2 * n] = 0;
    xy[2 * n++ + 1] = 12;
    po_loops loops = {xy, n, &n, 1};
    int inside = 0, edge = 0;
    for (uint32_t k = 0, before = n - 1; k < n; before = k++) { /* points on an edge: gcd of its sides */
        int a = (int)fabs(xy[2 * k] - xy[2 * before]), b = (int)fabs(xy[2 * k + 1] - xy[2 * before + 1]);
        while (b) {
            int c = a % b;
            a = b;
            b = c;
        }
        edge += a;
    }
    for (int x = 0; x < 20; x++) {
        for (int y = 0; y < 13; y++) { /* a point inside, on an edge or outside: by four points about it */
            int sum = 0;
            for (int k = 0; k < 4; k++) {
                sum += po_loops_winding(&loops, x + (k & 1 ? 0.001 : -0.001), y + (k & 2 ? 1e-5 : -1e-5));
            }
            inside += sum == 4 && po_loops_winding(&loops, x, y + 0.01) == 1 &&
                      po_loops_winding(&loops, x, y - 0.01) == 1;
        }
    }
    assert_true(po_loops_area(&loops) == inside + edge / 2.0 - 1);
}

static void nothing(void **state)
{
    (void)state;
    po_loops none = {0};
    double bounds[4];
    uint32_t ends[] = {0, 1, 3}; /* no point, one, two */
    const double xy[] = {1, 2, 3, 4, 6, 8};
    po_loops thin = {xy, 3, ends, 3};
    assert_true(po_loops_area(&none) == 0 && po_loops_length(&none) == 0 && !po_loops_bounds(&none, bounds));
    assert_int_equal(po_loops_winding(&none, 0, 0), 0);
    assert_true(po_loops_area(&thin) == 0 && po_loops_length(&thin) == 10);
    assert_true(po_loops_bounds(&thin, bounds) && bounds[3] == 8);
    assert_int_equal(po_loops_winding(&thin, 0, 2), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(frame), cmocka_unit_test(polygons), cmocka_unit_test(overlaps),
        cmocka_unit_test(pick),  cmocka_unit_test(nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
