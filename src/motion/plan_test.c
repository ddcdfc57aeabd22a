/* Checks that the planner's times are right. SPDX-License-Identifier: Apache-2.0
 *
 * Against: the handbook's tables 3.1 to 3.3 (trapezoid and corner formulas, worked out there by hand), a slow planner
 * that follows docs/measures.md word by word, a stepping one that knows no trapezoids, and laws of motion: a program
 * run backwards takes as long. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "motion/plan_programs.h"

static program G;
static result R, S;
static slow_plan P;

/* ---- handbook 3.1 ---- */

static void trapezoids_of_the_handbook(void **state)
{
    (void)state;
    static const struct {
        double d, v, a, t, peak;
    } rows[] = {
        {100, 100, 1000, 1.1, 100},           {100, 150, 1000, 0.8166667, 150},   {10, 100, 500, 0.2828427, 70.710678},
        {5, 100, 1000, 0.1414214, 70.710678}, {1, 60, 500, 0.0894427, 22.360680}, {20, 60, 500, 0.4533333, 60},
        {200, 200, 3000, 1.0666667, 200},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        po_limits l = limits_wide;
        l.print_mm_s2 = rows[i].a;
        program_begin(&G);
        program_add(&G, &l, PO_MOVE_BEAD, rows[i].d, 0, 0, 1, rows[i].v);
        program_run(&G, &R);
        NEAR(R.seconds[0], rows[i].t, 1e-7);
        NEAR(R.top[0], rows[i].peak, 1e-6);
    }
    /* 50 mm at 60 mm/s, 500 mm/s2, 10 mm/s at both ends: 0.9166667 s. Ends of 10 mm/s by steps of 10 at right angles. */
    po_limits l = limits_wide;
    l.print_mm_s2 = 500;
    l.step_mm_s[0] = l.step_mm_s[1] = 10;
    program_begin(&G);
    program_add(&G, &l, PO_MOVE_BEAD, 0, 30, 0, 1, 60);
    program_add(&G, &l, PO_MOVE_BEAD, 50, 0, 0, 1, 60);
    program_add(&G, &l, PO_MOVE_BEAD, 0, 30, 0, 1, 60);
    l.step_mm_s[3] = 1e9;
    for (size_t i = 0; i < 3; i++) {
        G.limits[i] = l;
    }
    program_run(&G, &R);
    NEAR(R.seconds[1], 0.9166667, 1e-7);
    NEAR(R.top[1], 60, 1e-9);
}

/* ---- handbook 3.2 ---- */

/* Corner speed of a path of two moves that turns by `turn`, told from the time of the first: both are long enough to
 * cruise, t = (v - vj)/a + v/a + (L - (2 v^2 - vj^2)/2a)/v, solved for vj. */
static double corner_speed(const po_limits *l, double turn)
{
    const double far = 400, v = 300, a = l->print_mm_s2;
    program_begin(&G);
    program_add(&G, l, PO_MOVE_BEAD, far, 0, 0, 0, v);
    program_add(&G, l, PO_MOVE_BEAD, far * cos(turn), far * sin(turn), 0, 0, v);
    program_run(&G, &R);
    NEAR(R.seconds[0], R.seconds[1], 1e-12);                  /* the mirror image */
    const double more = R.seconds[0] - far / v - v / (2 * a); /* (v - vj)^2 / (2 a v) */
    return v - sqrt(2.0 * a * v * more);
}

static void step_corners_of_the_handbook(void **state)
{
    (void)state;
    NEAR(corner_speed(&limits_wide, M_PI / 2), 8.0, 1e-6);
    NEAR(corner_speed(&limits_wide, M_PI / 4), 11.3137, 1e-4);
    NEAR(corner_speed(&limits_wide, M_PI), 4.0, 1e-6); /* by the formula: 8 / 2 */
    NEAR(corner_speed(&limits_wide, 0.0), 300.0, 1e-3);
}

static void deviation_corners_of_the_handbook(void **state)
{
    (void)state;
    static const struct {
        double degrees, a, d, vj;
    } rows[] = {{90, 500, 0.013, 3.96136},   {90, 1000, 0.013, 5.60221},  {90, 1000, 0.05, 10.98684},
                {60, 1000, 0.05, 7.07107},   {120, 1000, 0.05, 17.97791}, {135, 1000, 0.05, 24.63439},
                {150, 1000, 0.05, 37.64820}, {170, 1000, 0.05, 114.40962}};
    po_limits l = limits_wide;
    l.corner = PO_CORNER_DEVIATION;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        l.print_mm_s2 = rows[i].a;
        l.deviation_mm = rows[i].d;
        NEAR(corner_speed(&l, M_PI - rows[i].degrees * M_PI / 180.0), rows[i].vj, 1e-5);
    }
    l.print_mm_s2 = 1000;
    NEAR(corner_speed(&l, 0.0), 300.0, 1e-3); /* straight on: no limit */
    NEAR(corner_speed(&l, M_PI), 0.0, 1e-6);
    l.deviation_mm = 0.0; /* straight on has no limit even then, and any turn at all rests */
    NEAR(corner_speed(&l, 0.0), 300.0, 1e-3);
    NEAR(corner_speed(&l, 0.01), 0.0, 1e-6);
    /* equal feel: a deviation of (sqrt 2 - 1) J^2 / a corners at 90 degrees as a step of J does; 0.02651 mm for 8 */
    l.deviation_mm = 0.02651;
    NEAR(corner_speed(&l, M_PI / 2), 8.0, 1e-3);
}

static void corner_of_unequal_moves(void **state)
{
    (void)state;
    /* never above the slower of both */
    program_begin(&G);
    program_add(&G, &limits_wide, PO_MOVE_BEAD, 50, 0, 0, 0, 100);
    program_add(&G, &limits_wide, PO_MOVE_BEAD, 50, 0, 0, 0, 20);
    program_run(&G, &R);
    NEAR(R.seconds[0], 100 / 1000. + 80 / 1000. + (50 - 5 - (1e4 - 400) / 2000) / 100, 1e-9);
    NEAR(R.seconds[1], 20 / 1000. + (50 - 0.2) / 20, 1e-9);
    /* deviation takes the smaller acceleration: bead 1000, travel 2000, right angle: 10.98684 */
    po_limits l = limits_wide;
    l.corner = PO_CORNER_DEVIATION;
    program_begin(&G);
    program_add(&G, &l, PO_MOVE_TRAVEL, 40, 0, 0, 0, 100);
    program_add(&G, &l, PO_MOVE_BEAD, 0, 40, 0, 0, 100);
    program_run(&G, &R);
    const double vj = 10.98684;
    NEAR(R.seconds[0], 100 / 2000. + (100 - vj) / 2000. + (40 - 2.5 - (1e4 - vj * vj) / 4000) / 100, 1e-8);
    NEAR(R.seconds[1], 100 / 1000. + (100 - vj) / 1000. + (40 - 5 - (1e4 - vj * vj) / 2000) / 100, 1e-8);
}

static void filament_alone(void **state)
{
    (void)state;
    /* rule step: the step of E counts; 0.8 mm at 40 mm/s and 500 mm/s2 is a triangle to sqrt(400 + vj^2 / 2) */
    program_begin(&G);
    program_add(&G, &limits_wide, PO_MOVE_FEED, 0, 0, 0, -0.8, 40);
    program_add(&G, &limits_wide, PO_MOVE_FEED, 0, 0, 0, 0.8, 40);
    program_run(&G, &R);
    const double peak = sqrt((2 * 500 * 0.8 + 16) / 2); /* reversal: 8 / 2 = 4 mm/s */
    NEAR(R.seconds[0], peak / 500 + (peak - 4) / 500, 1e-12);
    NEAR(R.top[0], peak, 1e-12);
    NEAR(R.seconds[0], R.seconds[1], 1e-12);
    /* rule deviation: rest before and after, also between two of the same direction */
    po_limits l = limits_wide;
    l.corner = PO_CORNER_DEVIATION;
    program_begin(&G);
    program_add(&G, &l, PO_MOVE_TRAVEL, 100, 0, 0, 0, 100);
    program_add(&G, &l, PO_MOVE_FEED, 0, 0, 0, 0.8, 40);
    program_add(&G, &l, PO_MOVE_FEED, 0, 0, 0, 0.8, 40);
    program_add(&G, &l, PO_MOVE_TRAVEL, 100, 0, 0, 0, 100);
    program_run(&G, &R);
    NEAR(R.seconds[0], 1.05, 1e-12);
    NEAR(R.seconds[1], 2 * sqrt(0.8 / 500), 1e-12);
    NEAR(R.seconds[2], 2 * sqrt(0.8 / 500), 1e-12);
    NEAR(R.seconds[3], 1.05, 1e-12);
}

static void limits_of_axes(void **state)
{
    (void)state;
    po_limits l = limits_wide;
    l.feed_mm_s[1] = 30;
    l.accel_mm_s2[0] = 600;
    l.feed_mm_s[3] = 2;
    l.accel_mm_s2[3] = 10;
    program_begin(&G);
    program_add(&G, &l, PO_MOVE_TRAVEL | PO_MOVE_REST, 30, 40, 0, 0, 500); /* u = (0.6, 0.8): v 37.5, a 1000 */
    program_add(&G, &l, PO_MOVE_BEAD | PO_MOVE_REST, 0, 100, 0, 10, 500);  /* u_e 0.1: v 20, a 100 */
    program_add(&G, &l, PO_MOVE_BEAD | PO_MOVE_REST, 0, 100, 0, 0, 0);     /* no feed known: 30, a 1000 */
    program_add(&G, &l, PO_MOVE_FEED, 0, 0, 0, -5, -3);                    /* no feed known: 2, a 10 */
    program_run(&G, &R);
    NEAR(R.seconds[0], 50 / 37.5 + 37.5 / 1000, 1e-12);
    NEAR(R.seconds[1], 100 / 20. + 20 / 100., 1e-12);
    NEAR(R.seconds[2], 100 / 30. + 30 / 1000., 1e-12);
    NEAR(R.seconds[3], 5 / 2. + 2 / 10., 1e-12);
}

static void rest_where_told(void **state)
{
    (void)state;
    program_begin(&G);
    for (size_t i = 0; i < 4; i++) {
        program_add(&G, &limits_wide, PO_MOVE_BEAD | (i == 1 ? PO_MOVE_REST : 0), 50, 0, 0, 0, 100);
    }
    program_run(&G, &R);
    NEAR(R.total, 2 * (100 / 100. + 100 / 1000.), 1e-12); /* two stretches of 100 mm, rest to rest */
    /* what ends in rest is handed out at once */
    po_planner *p = po_planner_new(&limits_wide);
    const po_move_block block = program_slice(&G, 0, 2);
    po_planned out;
    assert_int_equal(po_planner_push(p, &block, &out, NULL), PO_OK);
    assert_int_equal(out.n, 2);
    po_planner_free(p);
}

static void arcs(void **state)
{
    (void)state;
    /* full turn of r 10 at 1000 mm/s2: sqrt(a r) = 100 */
    program_begin(&G);
    program_add_arc(&G, &limits_wide, PO_MOVE_BEAD, 10, 0, 2 * M_PI, 0, 1, 150);
    program_run(&G, &R);
    NEAR(R.top[0], 100, 1e-9);
    NEAR(R.seconds[0], 62.831853 / 100 + 0.1, 1e-8);
    /* handbook 3.3: quarter of r 10 is 15.707963 long, a turn that climbs 0.2 is 62.832171 */
    program_begin(&G);
    program_add_arc(&G, &limits_wide, PO_MOVE_BEAD | PO_MOVE_REST, 10, 0, M_PI / 2, 0, 1, 20);
    program_add_arc(&G, &limits_wide, PO_MOVE_BEAD, 10, 0, -2 * M_PI, 0.2, 1, 20);
    program_run(&G, &R);
    NEAR(R.seconds[0], 15.707963 / 20 + 20 / 1000., 1e-7);
    NEAR(R.seconds[1], 62.832171 / 20 + 20 / 1000., 1e-7);
    /* the acceleration is settled before sqrt(a r), and |u_x| = |u_y| = 1 */
    po_limits l = limits_wide;
    l.accel_mm_s2[1] = 250;
    l.feed_mm_s[0] = 45;
    program_begin(&G);
    program_add_arc(&G, &l, PO_MOVE_BEAD | PO_MOVE_REST, 4, 0, 3, 0, 0, 500); /* sqrt(250 * 4) = 31.6 */
    program_add_arc(&G, &l, PO_MOVE_BEAD, 40, 0, 3, 0, 0, 500);               /* 45 */
    program_run(&G, &R);
    NEAR(R.top[0], sqrt(1000), 1e-9);
    NEAR(R.seconds[0], 12 / sqrt(1000) + sqrt(1000) / 250, 1e-9);
    NEAR(R.top[1], 45, 1e-9);
    /* a line runs into its tangent arc and out again without slowing, by both rules, and the corner counts otherwise */
    for (int rule = 0; rule < 2; rule++) {
        l = limits_wide;
        l.corner = rule ? PO_CORNER_DEVIATION : PO_CORNER_STEP;
        program_begin(&G);
        program_add(&G, &l, PO_MOVE_BEAD, 50, 0, 0, 0, 50);
        program_add_arc(&G, &l, PO_MOVE_BEAD, 10, 0, M_PI / 2, 0, 0, 50);
        program_add(&G, &l, PO_MOVE_BEAD, 0, 50, 0, 0, 50);
        program_run(&G, &R);
        NEAR(R.total, 115.707963 / 50 + 50 / 1000., 1e-7);
        const double vj = rule ? 10.98684 : 8.0; /* 90 degrees, handbook 3.2 */
        const double one_side = 50 / 50. + (50 * 50 + (50 - vj) * (50 - vj)) / (2 * 1000. * 50);
        program_begin(&G);
        program_add(&G, &l, PO_MOVE_BEAD, 50, 0, 0, 0, 50);
        program_add_arc(&G, &l, PO_MOVE_BEAD, 10, M_PI / 2, M_PI / 2, 0, 0, 50);
        program_add(&G, &l, PO_MOVE_BEAD, 0, 50, 0, 0, 50);
        program_run(&G, &R);
        NEAR(R.seconds[0], one_side, 1e-8);
        NEAR(R.seconds[2], one_side, 1e-8);
        NEAR(R.seconds[1], 15.707963 / 50 + (50 - vj) * (50 - vj) / (1000. * 50), 1e-7);
    }
}

/* ---- against slower ways ---- */

static void same_as_by_the_book(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 60; seed++) {
        program_random(&G, &limits_usual[seed % 2], seed % 7 ? 300 : 3000, seed);
        slow_by_the_book(&G, &P);
        program_run_cut(&G, 700, seed, &R);
        for (size_t i = 0; i < G.n; i++) {
            /* 1 ns: at a reversal the last bit of a direction makes some 1e-7 mm/s */
            NEAR(R.seconds[i], P.seconds[i], 1e-9 * P.seconds[i] + 1e-9);
            NEAR(R.top[i], P.top[i], 1e-9 * P.top[i] + 1e-9);
        }
        NEAR(R.total, P.total, 1e-10 * P.total);
    }
}

static void same_as_by_stepping(void **state)
{
    (void)state;
    for (uint64_t seed = 101; seed <= 106; seed++) {
        program_random(&G, &limits_usual[seed % 2], 150, seed);
        slow_limits(&G, &P);
        program_run(&G, &R);
        NEAR(slow_by_stepping(&P, G.n, 1e-5), R.total, 1e-3 * R.total);
    }
}

static void backwards_takes_as_long(void **state)
{
    (void)state;
    static program back;
    for (uint64_t seed = 201; seed <= 220; seed++) {
        program_random(&G, &limits_usual[seed % 2], 500, seed);
        program_begin(&back);
        for (size_t i = G.n; i-- > 0;) {
            if (G.kind[i] & PO_MOVE_ARC) {
                continue; /* left out of both */
            }
            program_add(&back, &limits_usual[seed % 2], G.kind[i] & ~PO_MOVE_REST, -G.dx[i], -G.dy[i], -G.dz[i],
                        -G.de[i], G.feed[i]);
        }
        program_run(&back, &R);
        program_begin(&G);
        for (size_t i = back.n; i-- > 0;) {
            program_add(&G, &limits_usual[seed % 2], back.kind[i], -back.dx[i], -back.dy[i], -back.dz[i], -back.de[i],
                        back.feed[i]);
        }
        program_run(&G, &S);
        NEAR(R.total, S.total, 1e-10 * S.total);
        for (size_t i = 0; i < G.n; i++) {
            NEAR(R.seconds[i], S.seconds[G.n - 1 - i], 1e-9);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(trapezoids_of_the_handbook),
        cmocka_unit_test(step_corners_of_the_handbook),
        cmocka_unit_test(deviation_corners_of_the_handbook),
        cmocka_unit_test(corner_of_unequal_moves),
        cmocka_unit_test(filament_alone),
        cmocka_unit_test(limits_of_axes),
        cmocka_unit_test(rest_where_told),
        cmocka_unit_test(arcs),
        cmocka_unit_test(same_as_by_the_book),
        cmocka_unit_test(same_as_by_stepping),
        cmocka_unit_test(backwards_takes_as_long),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
