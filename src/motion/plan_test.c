/* Checks of the planner. SPDX-License-Identifier: Apache-2.0
 *
 * Against: the handbook's tables 3.1 to 3.3 (trapezoid and corner formulas, worked out there by hand), a slow planner
 * that follows docs/measures.md word by word, a stepping one that knows no trapezoids, and laws of motion: a program
 * run backwards takes as long. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "motion/kernels.h"
#include "motion/plan.h"
#include "motion/plan_slow.h"

#define NEAR(got, wanted, tolerance)                                                                                   \
    do {                                                                                                               \
        const double got_ = (got), wanted_ = (wanted), tolerance_ = (tolerance);                                       \
        if (!(fabs(got_ - wanted_) <= tolerance_)) {                                                                   \
            fail_msg("%s is %.12g, not %.12g (within %.3g)", #got, got_, wanted_, tolerance_);                         \
        }                                                                                                              \
    } while (0)

static const po_limits WIDE = {.feed_mm_s = {1e4, 1e4, 1e4, 1e4},
                               .accel_mm_s2 = {1e6, 1e6, 1e6, 1e6},
                               .print_mm_s2 = 1000,
                               .travel_mm_s2 = 2000,
                               .retract_mm_s2 = 500,
                               .corner = PO_CORNER_STEP,
                               .step_mm_s = {8, 8, 8, 8},
                               .deviation_mm = 0.05};

/* shop/quayside.yaml's first and second machine, from memory of the file; only realism hangs on it. */
static const po_limits USUAL[2] = {{.feed_mm_s = {180, 180, 12, 60},
                                    .accel_mm_s2 = {2000, 1600, 120, 4000},
                                    .print_mm_s2 = 1000,
                                    .travel_mm_s2 = 1500,
                                    .retract_mm_s2 = 1200,
                                    .corner = PO_CORNER_STEP,
                                    .step_mm_s = {9, 9, 0.4, 4}},
                                   {.feed_mm_s = {220, 200, 15, 70},
                                    .accel_mm_s2 = {2500, 2000, 150, 5000},
                                    .print_mm_s2 = 1200,
                                    .travel_mm_s2 = 2000,
                                    .retract_mm_s2 = 1500,
                                    .corner = PO_CORNER_DEVIATION,
                                    .deviation_mm = 0.03}};

typedef struct result {
    size_t n;
    double seconds[SLOW_MOST], top[SLOW_MOST];
    double total;
} result;

/* ---- programs ---- */

static void begin(program *g)
{
    g->n = g->n_arcs = 0;
}

static size_t add(program *g, const po_limits *l, unsigned kind, double x, double y, double z, double e, double feed)
{
    const size_t i = g->n++;
    assert_true(i < SLOW_MOST);
    g->dx[i] = x;
    g->dy[i] = y;
    g->dz[i] = z;
    g->de[i] = e;
    g->length[i] = sqrt(x * x + y * y + z * z);
    g->feed[i] = feed;
    g->kind[i] = (uint8_t)kind;
    g->limits[i] = *l;
    return i;
}

/* An arc that begins in direction `from` (radians), turns left by `turn`, and climbs by z. */
static void add_arc(program *g, const po_limits *l, unsigned kind, double radius, double from, double turn, double z,
                    double e, double feed)
{
    const double flat = radius * fabs(turn), length = sqrt(flat * flat + z * z), to = from + turn;
    const double side = turn > 0.0 ? radius : -radius;
    const size_t i = add(g, l, kind | PO_MOVE_ARC, side * (sin(to) - sin(from)), side * (cos(from) - cos(to)), z, e, feed);
    g->length[i] = length;
    g->arcs[g->n_arcs++] =
        (po_arc_ends){.radius = radius,
                      .start = {cos(from) * flat / length, sin(from) * flat / length, z / length},
                      .end = {cos(to) * flat / length, sin(to) * flat / length, z / length}};
}

static po_move_block slice(const program *g, size_t first, size_t n)
{
    size_t arc = 0, arcs = 0;
    for (size_t i = 0; i < first + n; i++) {
        const int is_arc = (g->kind[i] & PO_MOVE_ARC) != 0;
        arc += i < first && is_arc;
        arcs += i >= first && is_arc;
    }
    return (po_move_block){n, g->dx + first, g->dy + first, g->dz + first, g->de + first, g->length + first,
                           g->feed + first, g->kind + first, g->arcs + arc, arcs};
}

static void collect(result *r, const po_planned *out)
{
    assert_true(r->n + out->n <= SLOW_MOST);
    for (size_t i = 0; i < out->n; i++) {
        r->seconds[r->n] = out->seconds[i];
        r->top[r->n] = out->top_mm_s[i];
        r->total += out->seconds[i];
        r->n++;
    }
}

static uint64_t draw(uint64_t *seed) /* splitmix64, S. Vigna, public domain */
{
    uint64_t z = (*seed += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

static double uniform(uint64_t *seed, double low, double high)
{
    return low + (high - low) * ((double)(draw(seed) >> 11) * 0x1p-53);
}

/* Plan in blocks of 0 .. most moves (0: all at once); a block ends where the limits change. */
static void run_cut(const program *g, size_t most, uint64_t seed, result *r)
{
    po_planner *p = po_planner_new(&g->limits[0]);
    assert_non_null(p);
    po_planned out;
    r->n = 0;
    r->total = 0.0;
    for (size_t i = 0; i < g->n;) {
        size_t n = most ? draw(&seed) % (most + 1) : g->n;
        n = n < g->n - i ? n : g->n - i;
        for (size_t k = 1; k < n; k++) {
            if (memcmp(&g->limits[i], &g->limits[i + k], sizeof g->limits[i]) != 0) {
                n = k;
            }
        }
        const po_move_block block = slice(g, i, n);
        po_planner_limits(p, &g->limits[i]);
        assert_int_equal(po_planner_push(p, &block, &out, NULL), PO_OK);
        collect(r, &out);
        i += n;
    }
    assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
    collect(r, &out);
    assert_int_equal(r->n, g->n);
    po_planner_free(p);
}

static void run(const program *g, result *r)
{
    run_cut(g, 0, 0, r);
}

/* A random program such as jobs hold: walls, fill, reversals, hops, retractions, arcs, rests, changed limits. */
static void random_program(program *g, const po_limits *limits, size_t n, uint64_t seed)
{
    po_limits l = *limits;
    double heading = 0.0;
    begin(g);
    while (g->n < n) {
        const unsigned rest = draw(&seed) % 40 == 0 ? PO_MOVE_REST : 0;
        const double feed = draw(&seed) % 20 == 0 ? 0.0 : uniform(&seed, 5.0, 220.0);
        const double far = draw(&seed) % 3 ? uniform(&seed, 0.02, 2.0) : uniform(&seed, 1.0, 60.0);
        switch (draw(&seed) % 16) {
        case 0:
            heading += M_PI; /* back on itself */
            add(g, &l, PO_MOVE_BEAD | rest, far * cos(heading), far * sin(heading), 0, 0.03 * far, feed);
            break;
        case 1:
            add(g, &l, PO_MOVE_TRAVEL | rest, 0, 0, draw(&seed) % 2 ? 0.2 : -0.2, 0, feed);
            break;
        case 2:
            add(g, &l, PO_MOVE_FEED | rest, 0, 0, 0, draw(&seed) % 2 ? 0.8 : -0.8, feed);
            break;
        case 3:
            add(g, &l, PO_MOVE_TRAVEL | rest, uniform(&seed, -30, 30), uniform(&seed, -30, 30), 0, 0, feed);
            break;
        case 4:
            add(g, &l, PO_MOVE_TRAVEL | rest, far * cos(heading), far * sin(heading), uniform(&seed, -1, 1), -0.4, feed);
            break;
        case 5:
        case 6: {
            const double turn = uniform(&seed, -6.0, 6.0), climb = draw(&seed) % 3 ? 0.0 : uniform(&seed, 0.0, 0.4);
            const double from = draw(&seed) % 2 ? heading : heading + 1.0;
            add_arc(g, &l, PO_MOVE_BEAD | rest, uniform(&seed, 0.3, 20.0), from, turn, climb, 0.5, feed);
            heading = from + turn;
            break;
        }
        case 7:
            if (draw(&seed) % 8 == 0) { /* M201, M204, M205 and the like */
                l.print_mm_s2 = limits->print_mm_s2 * uniform(&seed, 0.3, 1.0);
                l.step_mm_s[0] = limits->step_mm_s[0] * uniform(&seed, 0.3, 1.0);
                l.deviation_mm = limits->deviation_mm * uniform(&seed, 0.3, 1.0);
            }
            break;
        case 8:
        case 9: /* straight on */
            add(g, &l, PO_MOVE_BEAD | rest, far * cos(heading), far * sin(heading), 0, 0.03 * far, feed);
            break;
        default:
            heading += draw(&seed) % 4 ? uniform(&seed, -0.4, 0.4) : uniform(&seed, -3.0, 3.0);
            add(g, &l, PO_MOVE_BEAD | rest, far * cos(heading), far * sin(heading), 0, 0.03 * far, feed);
        }
    }
}

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
        {100, 100, 1000, 1.1, 100},          {100, 150, 1000, 0.8166667, 150},   {10, 100, 500, 0.2828427, 70.710678},
        {5, 100, 1000, 0.1414214, 70.710678}, {1, 60, 500, 0.0894427, 22.360680}, {20, 60, 500, 0.4533333, 60},
        {200, 200, 3000, 1.0666667, 200},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        po_limits l = WIDE;
        l.print_mm_s2 = rows[i].a;
        begin(&G);
        add(&G, &l, PO_MOVE_BEAD, rows[i].d, 0, 0, 1, rows[i].v);
        run(&G, &R);
        NEAR(R.seconds[0], rows[i].t, 1e-7);
        NEAR(R.top[0], rows[i].peak, 1e-6);
    }
    /* 50 mm at 60 mm/s, 500 mm/s2, 10 mm/s at both ends: 0.9166667 s. Ends of 10 mm/s by steps of 10 at right angles. */
    po_limits l = WIDE;
    l.print_mm_s2 = 500;
    l.step_mm_s[0] = l.step_mm_s[1] = 10;
    begin(&G);
    add(&G, &l, PO_MOVE_BEAD, 0, 30, 0, 1, 60);
    add(&G, &l, PO_MOVE_BEAD, 50, 0, 0, 1, 60);
    add(&G, &l, PO_MOVE_BEAD, 0, 30, 0, 1, 60);
    l.step_mm_s[3] = 1e9;
    for (size_t i = 0; i < 3; i++) {
        G.limits[i] = l;
    }
    run(&G, &R);
    NEAR(R.seconds[1], 0.9166667, 1e-7);
    NEAR(R.top[1], 60, 1e-9);
}

/* ---- handbook 3.2 ---- */

/* Corner speed of a path of two moves that turns by `turn`, told from the time of the first: both are long enough to
 * cruise, t = (v - vj)/a + v/a + (L - (2 v^2 - vj^2)/2a)/v, solved for vj. */
static double corner_speed(const po_limits *l, double turn)
{
    const double far = 400, v = 300, a = l->print_mm_s2;
    begin(&G);
    add(&G, l, PO_MOVE_BEAD, far, 0, 0, 0, v);
    add(&G, l, PO_MOVE_BEAD, far * cos(turn), far * sin(turn), 0, 0, v);
    run(&G, &R);
    NEAR(R.seconds[0], R.seconds[1], 1e-12); /* the mirror image */
    const double more = R.seconds[0] - far / v - v / (2 * a); /* (v - vj)^2 / (2 a v) */
    return v - sqrt(2.0 * a * v * more);
}

static void step_corners_of_the_handbook(void **state)
{
    (void)state;
    NEAR(corner_speed(&WIDE, M_PI / 2), 8.0, 1e-6);
    NEAR(corner_speed(&WIDE, M_PI / 4), 11.3137, 1e-4);
    NEAR(corner_speed(&WIDE, M_PI), 4.0, 1e-6); /* by the formula: 8 / 2 */
    NEAR(corner_speed(&WIDE, 0.0), 300.0, 1e-3);
}

static void deviation_corners_of_the_handbook(void **state)
{
    (void)state;
    static const struct {
        double degrees, a, d, vj;
    } rows[] = {{90, 500, 0.013, 3.96136},  {90, 1000, 0.013, 5.60221},  {90, 1000, 0.05, 10.98684},
                {60, 1000, 0.05, 7.07107},  {120, 1000, 0.05, 17.97791}, {135, 1000, 0.05, 24.63439},
                {150, 1000, 0.05, 37.64820}, {170, 1000, 0.05, 114.40962}};
    po_limits l = WIDE;
    l.corner = PO_CORNER_DEVIATION;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        l.print_mm_s2 = rows[i].a;
        l.deviation_mm = rows[i].d;
        NEAR(corner_speed(&l, M_PI - rows[i].degrees * M_PI / 180.0), rows[i].vj, 1e-5);
    }
    l.print_mm_s2 = 1000;
    NEAR(corner_speed(&l, 0.0), 300.0, 1e-3); /* straight on: no limit */
    NEAR(corner_speed(&l, M_PI), 0.0, 1e-6);
    /* equal feel: a deviation of (sqrt 2 - 1) J^2 / a corners at 90 degrees as a step of J does; 0.02651 mm for 8 */
    l.deviation_mm = 0.02651;
    NEAR(corner_speed(&l, M_PI / 2), 8.0, 1e-3);
}

static void corner_of_unequal_moves(void **state)
{
    (void)state;
    /* never above the slower of both */
    begin(&G);
    add(&G, &WIDE, PO_MOVE_BEAD, 50, 0, 0, 0, 100);
    add(&G, &WIDE, PO_MOVE_BEAD, 50, 0, 0, 0, 20);
    run(&G, &R);
    NEAR(R.seconds[0], 100 / 1000. + 80 / 1000. + (50 - 5 - (1e4 - 400) / 2000) / 100, 1e-9);
    NEAR(R.seconds[1], 20 / 1000. + (50 - 0.2) / 20, 1e-9);
    /* deviation takes the smaller acceleration: bead 1000, travel 2000, right angle: 10.98684 */
    po_limits l = WIDE;
    l.corner = PO_CORNER_DEVIATION;
    begin(&G);
    add(&G, &l, PO_MOVE_TRAVEL, 40, 0, 0, 0, 100);
    add(&G, &l, PO_MOVE_BEAD, 0, 40, 0, 0, 100);
    run(&G, &R);
    const double vj = 10.98684;
    NEAR(R.seconds[0], 100 / 2000. + (100 - vj) / 2000. + (40 - 2.5 - (1e4 - vj * vj) / 4000) / 100, 1e-8);
    NEAR(R.seconds[1], 100 / 1000. + (100 - vj) / 1000. + (40 - 5 - (1e4 - vj * vj) / 2000) / 100, 1e-8);
}

static void filament_alone(void **state)
{
    (void)state;
    /* rule step: the step of E counts; 0.8 mm at 40 mm/s and 500 mm/s2 is a triangle to sqrt(400 + vj^2 / 2) */
    begin(&G);
    add(&G, &WIDE, PO_MOVE_FEED, 0, 0, 0, -0.8, 40);
    add(&G, &WIDE, PO_MOVE_FEED, 0, 0, 0, 0.8, 40);
    run(&G, &R);
    const double peak = sqrt((2 * 500 * 0.8 + 16) / 2); /* reversal: 8 / 2 = 4 mm/s */
    NEAR(R.seconds[0], peak / 500 + (peak - 4) / 500, 1e-12);
    NEAR(R.top[0], peak, 1e-12);
    NEAR(R.seconds[0], R.seconds[1], 1e-12);
    /* rule deviation: rest before and after, also between two of the same direction */
    po_limits l = WIDE;
    l.corner = PO_CORNER_DEVIATION;
    begin(&G);
    add(&G, &l, PO_MOVE_TRAVEL, 100, 0, 0, 0, 100);
    add(&G, &l, PO_MOVE_FEED, 0, 0, 0, 0.8, 40);
    add(&G, &l, PO_MOVE_FEED, 0, 0, 0, 0.8, 40);
    add(&G, &l, PO_MOVE_TRAVEL, 100, 0, 0, 0, 100);
    run(&G, &R);
    NEAR(R.seconds[0], 1.05, 1e-12);
    NEAR(R.seconds[1], 2 * sqrt(0.8 / 500), 1e-12);
    NEAR(R.seconds[2], 2 * sqrt(0.8 / 500), 1e-12);
    NEAR(R.seconds[3], 1.05, 1e-12);
}

static void limits_of_axes(void **state)
{
    (void)state;
    po_limits l = WIDE;
    l.feed_mm_s[1] = 30;
    l.accel_mm_s2[0] = 600;
    l.feed_mm_s[3] = 2;
    l.accel_mm_s2[3] = 10;
    begin(&G);
    add(&G, &l, PO_MOVE_TRAVEL | PO_MOVE_REST, 30, 40, 0, 0, 500); /* u = (0.6, 0.8): v 37.5, a 1000 */
    add(&G, &l, PO_MOVE_BEAD | PO_MOVE_REST, 0, 100, 0, 10, 500);  /* u_e 0.1: v 20, a 100 */
    add(&G, &l, PO_MOVE_BEAD | PO_MOVE_REST, 0, 100, 0, 0, 0);     /* no feed known: 30, a 1000 */
    add(&G, &l, PO_MOVE_FEED, 0, 0, 0, -5, -3);                    /* no feed known: 2, a 10 */
    run(&G, &R);
    NEAR(R.seconds[0], 50 / 37.5 + 37.5 / 1000, 1e-12);
    NEAR(R.seconds[1], 100 / 20. + 20 / 100., 1e-12);
    NEAR(R.seconds[2], 100 / 30. + 30 / 1000., 1e-12);
    NEAR(R.seconds[3], 5 / 2. + 2 / 10., 1e-12);
}

static void rest_where_told(void **state)
{
    (void)state;
    begin(&G);
    for (size_t i = 0; i < 4; i++) {
        add(&G, &WIDE, PO_MOVE_BEAD | (i == 1 ? PO_MOVE_REST : 0), 50, 0, 0, 0, 100);
    }
    run(&G, &R);
    NEAR(R.total, 2 * (100 / 100. + 100 / 1000.), 1e-12); /* two stretches of 100 mm, rest to rest */
    /* what ends in rest is handed out at once */
    po_planner *p = po_planner_new(&WIDE);
    const po_move_block block = slice(&G, 0, 2);
    po_planned out;
    assert_int_equal(po_planner_push(p, &block, &out, NULL), PO_OK);
    assert_int_equal(out.n, 2);
    po_planner_free(p);
}

static void arcs(void **state)
{
    (void)state;
    /* full turn of r 10 at 1000 mm/s2: sqrt(a r) = 100 */
    begin(&G);
    add_arc(&G, &WIDE, PO_MOVE_BEAD, 10, 0, 2 * M_PI, 0, 1, 150);
    run(&G, &R);
    NEAR(R.top[0], 100, 1e-9);
    NEAR(R.seconds[0], 62.831853 / 100 + 0.1, 1e-8);
    /* handbook 3.3: quarter of r 10 is 15.707963 long, a turn that climbs 0.2 is 62.832171 */
    begin(&G);
    add_arc(&G, &WIDE, PO_MOVE_BEAD | PO_MOVE_REST, 10, 0, M_PI / 2, 0, 1, 20);
    add_arc(&G, &WIDE, PO_MOVE_BEAD, 10, 0, -2 * M_PI, 0.2, 1, 20);
    run(&G, &R);
    NEAR(R.seconds[0], 15.707963 / 20 + 20 / 1000., 1e-7);
    NEAR(R.seconds[1], 62.832171 / 20 + 20 / 1000., 1e-7);
    /* the acceleration is settled before sqrt(a r), and |u_x| = |u_y| = 1 */
    po_limits l = WIDE;
    l.accel_mm_s2[1] = 250;
    l.feed_mm_s[0] = 45;
    begin(&G);
    add_arc(&G, &l, PO_MOVE_BEAD | PO_MOVE_REST, 4, 0, 3, 0, 0, 500); /* sqrt(250 * 4) = 31.6 */
    add_arc(&G, &l, PO_MOVE_BEAD, 40, 0, 3, 0, 0, 500);               /* 45 */
    run(&G, &R);
    NEAR(R.top[0], sqrt(1000), 1e-9);
    NEAR(R.seconds[0], 12 / sqrt(1000) + sqrt(1000) / 250, 1e-9);
    NEAR(R.top[1], 45, 1e-9);
    /* a line runs into its tangent arc and out again without slowing, by both rules, and the corner counts otherwise */
    for (int rule = 0; rule < 2; rule++) {
        l = WIDE;
        l.corner = rule ? PO_CORNER_DEVIATION : PO_CORNER_STEP;
        begin(&G);
        add(&G, &l, PO_MOVE_BEAD, 50, 0, 0, 0, 50);
        add_arc(&G, &l, PO_MOVE_BEAD, 10, 0, M_PI / 2, 0, 0, 50);
        add(&G, &l, PO_MOVE_BEAD, 0, 50, 0, 0, 50);
        run(&G, &R);
        NEAR(R.total, 115.707963 / 50 + 50 / 1000., 1e-7);
        const double vj = rule ? 10.98684 : 8.0; /* 90 degrees, handbook 3.2 */
        const double one_side = 50 / 50. + (50 * 50 + (50 - vj) * (50 - vj)) / (2 * 1000. * 50);
        begin(&G);
        add(&G, &l, PO_MOVE_BEAD, 50, 0, 0, 0, 50);
        add_arc(&G, &l, PO_MOVE_BEAD, 10, M_PI / 2, M_PI / 2, 0, 0, 50);
        add(&G, &l, PO_MOVE_BEAD, 0, 50, 0, 0, 50);
        run(&G, &R);
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
        random_program(&G, &USUAL[seed % 2], seed % 7 ? 300 : 3000, seed);
        slow_by_the_book(&G, &P);
        run_cut(&G, 700, seed, &R);
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
        random_program(&G, &USUAL[seed % 2], 150, seed);
        slow_limits(&G, &P);
        run(&G, &R);
        NEAR(slow_by_stepping(&P, G.n, 1e-5), R.total, 1e-3 * R.total);
    }
}

static void backwards_takes_as_long(void **state)
{
    (void)state;
    static program back;
    for (uint64_t seed = 201; seed <= 220; seed++) {
        random_program(&G, &USUAL[seed % 2], 500, seed);
        begin(&back);
        for (size_t i = G.n; i-- > 0;) {
            if (G.kind[i] & PO_MOVE_ARC) {
                continue; /* left out of both */
            }
            add(&back, &USUAL[seed % 2], G.kind[i] & ~PO_MOVE_REST, -G.dx[i], -G.dy[i], -G.dz[i], -G.de[i], G.feed[i]);
        }
        run(&back, &R);
        begin(&G);
        for (size_t i = back.n; i-- > 0;) {
            add(&G, &USUAL[seed % 2], back.kind[i], -back.dx[i], -back.dy[i], -back.dz[i], -back.de[i], back.feed[i]);
        }
        run(&G, &S);
        NEAR(R.total, S.total, 1e-10 * S.total);
        for (size_t i = 0; i < G.n; i++) {
            NEAR(R.seconds[i], S.seconds[G.n - 1 - i], 1e-9);
        }
    }
}

static void blocks_do_not_matter(void **state)
{
    (void)state;
    static const size_t most[] = {1, 2, 5, 64, 511, 700, 2000};
    for (uint64_t seed = 301; seed <= 312; seed++) {
        random_program(&G, &USUAL[seed % 2], 3000, seed);
        if (seed > 308) { /* long look-ahead: tiny moves, nearly straight */
            for (size_t i = 0; i < G.n; i++) {
                G.kind[i] &= (uint8_t)~PO_MOVE_REST;
                if (!(G.kind[i] & PO_MOVE_ARC)) {
                    G.dx[i] = G.length[i] = 0.004;
                    G.dy[i] = G.dz[i] = G.de[i] = 0.0;
                }
            }
        }
        run(&G, &R);
        for (size_t k = 0; k < sizeof most / sizeof *most; k++) {
            run_cut(&G, most[k], seed + k, &S);
            assert_memory_equal(R.seconds, S.seconds, G.n * sizeof *R.seconds);
            assert_memory_equal(R.top, S.top, G.n * sizeof *R.top);
        }
    }
}

/* ---- long look-ahead ---- */

typedef struct long_line {
    double total, worst_wait; /* seconds; moves that waited at most after a push */
    uint64_t print;           /* FNV-1a over the bits of all results */
    size_t n;
} long_line;

static void mark(long_line *r, const po_planned *out)
{
    for (size_t i = 0; i < out->n; i++) {
        uint64_t bits;
        memcpy(&bits, &out->seconds[i], sizeof bits);
        r->print = (r->print ^ bits) * 0x100000001b3u;
        r->total += out->seconds[i];
    }
    r->n += out->n;
}

/* n moves of `step` mm in line, in blocks of block_size. */
static long_line run_line(size_t n, double step, double feed, size_t block_size)
{
    long_line r = {.print = 0xcbf29ce484222325u};
    double *d = malloc(block_size * sizeof *d), *zero = calloc(block_size, sizeof *zero);
    double *f = malloc(block_size * sizeof *f);
    uint8_t *kind = malloc(block_size);
    po_planner *p = po_planner_new(&WIDE);
    assert_true(d && zero && f && kind && p);
    for (size_t i = 0; i < block_size; i++) {
        d[i] = step;
        f[i] = feed;
        kind[i] = PO_MOVE_BEAD;
    }
    po_planned out;
    for (size_t i = 0; i < n; i += block_size) {
        const size_t m = n - i < block_size ? n - i : block_size;
        const po_move_block block = {m, d, zero, zero, zero, d, f, kind, NULL, 0};
        assert_int_equal(po_planner_push(p, &block, &out, NULL), PO_OK);
        mark(&r, &out);
        r.worst_wait = fmax(r.worst_wait, (double)(i + m - r.n));
    }
    assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
    mark(&r, &out);
    assert_int_equal(r.n, n);
    po_planner_free(p);
    free(d);
    free(zero);
    free(f);
    free(kind);
    return r;
}

static void many_small_moves_are_one_long(void **state)
{
    (void)state;
    /* 100 mm at 100 mm/s, 1000 mm/s2 (handbook 3.1: 1.1 s); braking takes 5 mm: 10000 of these moves look ahead */
    const long_line whole = run_line(200000, 0.0005, 100, 1500);
    NEAR(whole.total, 1.1, 1e-9);
    assert_true(whole.worst_wait < 40000);
    /* one by one: the same bits, and no quadratic time (that would be 2e9 steps of look-ahead) */
    const clock_t start = clock();
    const long_line single = run_line(200000, 0.0005, 100, 1);
    assert_true((double)(clock() - start) / CLOCKS_PER_SEC < 2.0);
    assert_true(single.print == whole.print);
}

static void waiting_has_a_cap(void **state)
{
    (void)state;
    /* braking from 300 mm/s takes 45 mm; 600000 moves of 2.5e-5 mm are 15 mm: nothing could be settled without a cap */
    const size_t n = 600000;
    const long_line whole = run_line(n, 2.5e-5, 300, n);
    const long_line parts = run_line(n, 2.5e-5, 300, 999);
    assert_true(whole.print == parts.print);
    assert_true(parts.worst_wait <= PO_PLAN_MOST + PO_PLAN_MOST / 8);
    assert_true(parts.worst_wait > PO_PLAN_MOST);
    /* never faster than without a cap, rest to rest 2 sqrt(d / a), and not much slower */
    const double best = 2.0 * sqrt(15.0 / 1000.0);
    assert_true(parts.total >= best * (1.0 - 1e-9));
    assert_true(parts.total < 1.5 * best);
}

/* ---- bad values, memory ---- */

static void odd_values_do_no_harm(void **state)
{
    (void)state;
    static const double odd[] = {0.0,  -0.0,   1e-300, -1e-300, 5e-324, 1e-150, 1e-20, 1e30,
                                 -1e30, 1e160, 1e308,  INFINITY, -INFINITY, NAN, -1.0};
    const size_t n_odd = sizeof odd / sizeof *odd;
    for (int rule = 0; rule < 2; rule++) {
        for (size_t what = 0; what < 9; what++) {
            for (size_t k = 0; k < n_odd * n_odd; k++) {
                const double v = odd[k % n_odd], w = odd[k / n_odd];
                begin(&G);
                for (size_t i = 0; i < 3; i++) {
                    add(&G, &USUAL[rule], PO_MOVE_BEAD, 10, 0, 0, 0.3, 50);
                    if (i == 0 && what != 8) {
                        add(&G, &USUAL[rule], PO_MOVE_BEAD, 1, 0, 0, 0, 50);
                    } else if (i == 0) {
                        add_arc(&G, &USUAL[rule], PO_MOVE_BEAD, 5, 0, 1, 0, 0.1, 50);
                        G.arcs[0].radius = v;
                        G.arcs[0].end[0] = w;
                    }
                }
                double *fields[] = {&G.dx[1], &G.dy[1], &G.dz[1], &G.de[1], &G.length[1], &G.feed[1]};
                if (what < 6) {
                    *fields[what] = v;
                    *fields[(what + 1) % 6] = w;
                } else if (what == 6) { /* a whole move of that size */
                    G.dx[1] = v;
                    G.length[1] = fabs(v);
                    G.feed[1] = w;
                } else if (what == 7) {
                    G.kind[1] = PO_MOVE_FEED;
                    G.dx[1] = G.length[1] = 0.0;
                    G.de[1] = v;
                    G.feed[1] = w;
                }
                run(&G, &R);
                for (size_t i = 0; i < G.n; i++) {
                    if (!(R.seconds[i] >= 0.0 && isfinite(R.seconds[i]) && R.top[i] >= 0.0 && isfinite(R.top[i]))) {
                        fail_msg("case %zu, %g %g: move %zu takes %g s", what, v, w, i, R.seconds[i]);
                    }
                }
            }
        }
    }
    /* a move without length or with a value that is no number takes no time, and motion rests at it */
    begin(&G);
    add(&G, &WIDE, PO_MOVE_BEAD, 100, 0, 0, 0, 100);
    add(&G, &WIDE, PO_MOVE_BEAD, 0, 0, 0, 0, 100);
    add(&G, &WIDE, PO_MOVE_BEAD, 100, 0, 0, 0, 100);
    add(&G, &WIDE, PO_MOVE_BEAD, NAN, 0, 0, 0, 100);
    add(&G, &WIDE, PO_MOVE_BEAD, 100, 0, 0, 0, 100);
    run(&G, &R);
    for (size_t i = 0; i < 5; i++) {
        NEAR(R.seconds[i], i % 2 ? 0.0 : 1.1, 1e-12);
    }
}

static void odd_limits_do_no_harm(void **state)
{
    (void)state;
    static const double odd[] = {0.0, -1.0, 1e-300, 1e-30, 1e30, 1e300, INFINITY, NAN};
    for (size_t k = 0; k < sizeof odd / sizeof *odd; k++) {
        for (size_t what = 0; what < 5; what++) {
            for (uint64_t seed = 1; seed <= 4; seed++) {
                po_limits l = USUAL[seed % 2];
                for (size_t a = 0; a < 4; a++) {
                    double *fields[] = {&l.feed_mm_s[a], &l.accel_mm_s2[a], &l.print_mm_s2, &l.step_mm_s[a],
                                        &l.deviation_mm};
                    *fields[what] = odd[k];
                }
                random_program(&G, &USUAL[seed % 2], 60, seed);
                for (size_t i = 0; i < G.n; i++) {
                    G.limits[i] = l;
                }
                run(&G, &R);
                for (size_t i = 0; i < G.n; i++) {
                    if (!(R.seconds[i] > 0.0 && isfinite(R.seconds[i]) && isfinite(R.top[i]))) {
                        fail_msg("limit %zu is %g: move %zu takes %g s", what, odd[k], i, R.seconds[i]);
                    }
                }
            }
        }
    }
}

static void an_arc_without_ends_is_a_line(void **state)
{
    (void)state;
    begin(&G);
    add(&G, &WIDE, PO_MOVE_BEAD, 50, 0, 0, 0, 100);
    add(&G, &WIDE, PO_MOVE_BEAD | PO_MOVE_ARC, 50, 0, 0, 0, 100);
    const po_move_block block = {2, G.dx, G.dy, G.dz, G.de, G.length, G.feed, G.kind, NULL, 0};
    po_planner *p = po_planner_new(&WIDE);
    po_planned out;
    R.n = 0;
    R.total = 0.0;
    assert_int_equal(po_planner_push(p, &block, &out, NULL), PO_OK);
    collect(&R, &out);
    assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
    collect(&R, &out);
    assert_int_equal(R.n, 2);
    NEAR(R.total, 1.1, 1e-12);
    /* nothing waits: the end is empty, and so is an empty block; free takes NULL */
    const po_move_block none = {0};
    assert_int_equal(po_planner_push(p, &none, &out, NULL), PO_OK);
    assert_int_equal(out.n, 0);
    assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
    assert_int_equal(out.n, 0);
    po_planner_free(p);
    po_planner_free(NULL);
}

static long grants = -1; /* how many allocations succeed before one fails; -1: all */

void *__real_realloc(void *old, size_t n);
void *__wrap_realloc(void *old, size_t n);
void *__real_calloc(size_t n, size_t size);
void *__wrap_calloc(size_t n, size_t size);

static int refused(void)
{
    if (grants == 0) {
        return 1;
    }
    grants -= grants > 0;
    return 0;
}

void *__wrap_realloc(void *old, size_t n)
{
    return refused() ? NULL : __real_realloc(old, n);
}

void *__wrap_calloc(size_t n, size_t size)
{
    return refused() ? NULL : __real_calloc(n, size);
}

static void memory_may_run_out(void **state)
{
    (void)state;
    random_program(&G, &USUAL[0], 1200, 7);
    for (size_t i = 0; i < G.n; i++) {
        G.limits[i] = USUAL[0];
    }
    run(&G, &S);
    size_t failures = 0;
    for (long k = 0; k < 20; k++) {
        grants = k;
        po_planner *p = po_planner_new(&USUAL[0]);
        R.n = 0;
        for (size_t i = 0; p && i < G.n;) {
            const po_move_block block = slice(&G, i, 300);
            po_planned out;
            po_err err = {0};
            const po_status status = po_planner_push(p, &block, &out, &err);
            if (status == PO_OK) {
                collect(&R, &out);
                i += 300;
            } else { /* nothing was taken in: the same block may be pushed again */
                assert_int_equal(status, PO_E_NOMEM);
                assert_int_equal(err.code, PO_E_NOMEM);
                assert_int_equal(out.n, 0);
                grants = -1;
                failures++;
            }
        }
        grants = -1;
        if (p) {
            po_planned out;
            assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
            collect(&R, &out);
            assert_int_equal(R.n, G.n);
            assert_memory_equal(R.seconds, S.seconds, G.n * sizeof *R.seconds);
        } else {
            assert_int_equal(k, 0);
        }
        po_planner_free(p);
    }
    assert_true(failures >= 6);
}

/* ---- all versions of the loops ---- */

static void all_processors_agree(void **state)
{
    (void)state;
    static double out[2][11][SLOW_MOST + 1];
    static const po_rates no_rates;
    for (uint64_t seed = 401; seed <= 408; seed++) {
        po_rates rates = no_rates;
        po_rates_set(&rates, &USUAL[seed % 2]);
        random_program(&G, &USUAL[seed % 2], 1001 + seed % 8, seed);
        const po_move_block block = slice(&G, 0, G.n);
        for (size_t k = 0; po_kernels_at(k); k++) {
            const po_kernels *kernels = po_kernels_at(k);
            double(*o)[SLOW_MOST + 1] = out[k > 0];
            const po_directions u = {o[0], o[1], o[2], o[3]};
            kernels->limits(&rates, &block, 0, G.n, u, o[4], o[5], o[6]);
            o[7][0] = o[7][G.n] = 0.0;
            kernels->corners(&rates, G.length, G.n, u, o[4], o[5], o[7]);
            kernels->times(G.n, o[7], o[4], o[5], o[6], o[8], o[9]);
            for (size_t j = 0; j < 10; j++) {
                if (memcmp(out[0][j], o[j], G.n * sizeof(double)) != 0) {
                    fail_msg("%s differs from %s in array %zu", kernels->name, po_kernels_at(0)->name, j);
                }
            }
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
        cmocka_unit_test(blocks_do_not_matter),
        cmocka_unit_test(many_small_moves_are_one_long),
        cmocka_unit_test(waiting_has_a_cap),
        cmocka_unit_test(odd_values_do_no_harm),
        cmocka_unit_test(odd_limits_do_no_harm),
        cmocka_unit_test(an_arc_without_ends_is_a_line),
        cmocka_unit_test(memory_may_run_out),
        cmocka_unit_test(all_processors_agree),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
