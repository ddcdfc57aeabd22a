/* Nesting: known areas, brute force, and a test that refuses. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/rounds.h"
#include "nest_grow.h"
#include "nest_inside.h"

typedef struct shape {
    double xy[128];
    uint32_t ends[8];
    po_loops loops;
} shape;

static shape shape_of(const double *xy, size_t n)
{
    shape s = {{0}, {(uint32_t)n}, {0}};
    memcpy(s.xy, xy, 2 * n * sizeof *xy);
    return s;
}

static const po_loops *loops(shape *s, size_t n_loops)
{
    s->loops = (po_loops){s->xy, s->ends[n_loops - 1], s->ends, n_loops};
    return &s->loops;
}

static shape rectangle(double w, double h)
{
    return shape_of((const double[]){0, 0, w, 0, w, h, 0, h}, 4);
}

/* A star: simple, with deep notches; corners on a grid. */
static shape star(uint64_t *random, size_t n, double size)
{
    shape s = {{0}, {(uint32_t)n}, {0}};
    for (size_t i = 0; i < n; i++) {
        double r = size * (0.3 + 0.7 * (double)(po_random_next(random) % 1000) / 1000);
        s.xy[2 * i] = round(1000 * r * cos(2 * M_PI * (double)i / (double)n)) / 1000;
        s.xy[2 * i + 1] = round(1000 * r * sin(2 * M_PI * (double)i / (double)n)) / 1000;
    }
    return s;
}

static double common(const po_loops *a, const po_loops *b, double x, double y)
{
    po_arena *arena = po_arena_new(0);
    double xy[128];
    for (size_t i = 0; i < b->n_points; i++) {
        xy[2 * i] = b->xy[2 * i] + x;
        xy[2 * i + 1] = b->xy[2 * i + 1] + y;
    }
    po_loops moved = {xy, b->n_points, b->ends, b->n_loops}, both;
    assert_int_equal(po_loops_clip(a, &moved, PO_CLIP_COMMON, arena, &both, NULL), PO_OK);
    double area = po_loops_area(&both);
    po_arena_free(arena);
    return area;
}

/* ---- no-fit polygons ---- */

static void areas_of_sums_are_known(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_loops sum;
    shape a = rectangle(3, 2), b = rectangle(1, 5),
          l = shape_of((const double[]){0, 0, 3, 0, 3, 1, 1, 1, 1, 3, 0, 3}, 6);
    assert_int_equal(po_nest_no_fit(loops(&a, 1), loops(&b, 1), arena, &sum, NULL), PO_OK);
    assert_float_equal(po_loops_area(&sum), 4 * 7, 1e-9);
    shape one = rectangle(1, 1);
    assert_int_equal(po_nest_no_fit(loops(&l, 1), loops(&one, 1), arena, &sum, NULL), PO_OK);
    assert_float_equal(po_loops_area(&sum), 4 * 2 + 2 * 2, 1e-9); /* 4 x 4 without the corner of 2 x 2 */
    /* a frame of 10 with a hole of 6: a square of 2 has 4 x 4 places within it, one of 7 has none */
    shape frame = {{0, 0, 10, 0, 10, 10, 0, 10, 2, 2, 2, 8, 8, 8, 8, 2}, {4, 8}, {0}};
    shape two = rectangle(2, 2), seven = rectangle(7, 7);
    assert_int_equal(po_nest_no_fit(loops(&frame, 2), loops(&two, 1), arena, &sum, NULL), PO_OK);
    assert_float_equal(po_loops_area(&sum), 12 * 12 - 4 * 4, 1e-9);
    assert_int_equal(sum.n_loops, 2);
    assert_int_equal(po_nest_no_fit(loops(&frame, 2), loops(&seven, 1), arena, &sum, NULL), PO_OK);
    assert_float_equal(po_loops_area(&sum), 17 * 17, 1e-9);
    po_arena_free(arena);
}

/* Inside the polygon exactly where the two overlap; depth by both kernels alike. */
static void sums_agree_with_clipping(void **state)
{
    (void)state;
    uint64_t random = 7;
    for (int round = 0; round < PO_ROUNDS(60, 6); round++) {
        po_arena *arena = po_arena_new(0);
        shape a = star(&random, 5 + po_random_next(&random) % 20, 10),
              b = star(&random, 5 + po_random_next(&random) % 20, 6);
        po_loops sum;
        po_nfp nfp;
        assert_int_equal(po_nest_no_fit(loops(&a, 1), loops(&b, 1), arena, &sum, NULL), PO_OK);
        assert_int_equal(po_nfp_ready(&sum, 1, arena, &nfp, NULL), PO_OK);
        for (int k = 0; k < 40; k++) {
            double x = (double)(po_random_next(&random) % 4000) / 100 - 20;
            double y = (double)(po_random_next(&random) % 4000) / 100 - 20;
            float depth = po_nfp_depth_best()(&nfp, x, y), plain = po_nfp_depth_plain()(&nfp, x, y);
            assert_true(depth == plain);
            double area = common(&a.loops, &b.loops, x, y);
            if (depth <= 0) {
                assert_true(area < 1e-9);
            } else if (depth > 0.01F) {
                assert_true(area > 0);
            }
        }
        po_arena_free(arena);
    }
}

/* ---- the independent test ---- */

static bool apart(const po_nest_laid *laid, size_t n, double clearance)
{
    size_t a, b;
    double mm;
    assert_int_equal(po_nest_apart(laid, n, clearance, &a, &b, &mm, NULL), PO_OK);
    return a == b;
}

static void the_test_refuses(void **state)
{
    (void)state;
    shape big = rectangle(10, 10), small = rectangle(1, 1);
    shape frame = {{0, 0, 10, 0, 10, 10, 0, 10, 2, 2, 2, 8, 8, 8, 8, 2}, {4, 8}, {0}};
    const po_loops *b = loops(&big, 1), *s = loops(&small, 1), *f = loops(&frame, 2);
    struct {
        const po_loops *a, *b;
        double x, y, clearance;
        bool fine;
    } cases[] = {
        {b, b, 10.000001, 0, 0, true},  {b, b, 10, 0, 0, false}, /* they touch */
        {b, b, 9.999999, 0, 0, false},  {b, s, 4, 4, 0, false},  /* one within the other */
        {f, s, 4, 4, 0, true},          {f, s, 4, 4, 2, true},   /* in the hole, 2 mm from each side ... */
        {f, s, 4.000001, 4, 1.9, true}, {f, s, 5.000001, 4, 2, false},   {f, s, 5, 4, 2, true},
        {b, s, 13, 14, 5, true},        {b, s, 13, 14, 5.000001, false}, /* 3, 4, 5 */
        {b, b, 0, 0, 0, false},                                          /* the same place */
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        po_nest_laid laid[2] = {{cases[i].a, 1, 0, 0, 0}, {cases[i].b, 1, 0, cases[i].x, cases[i].y}};
        if (apart(laid, 2, cases[i].clearance) != cases[i].fine) {
            fail_msg("case %zu", i + 1);
        }
    }
    po_nest_bed bed = {.round = true, .low = {-5, -5}, .high = {5, 5}, .radius = 5};
    shape edge = shape_of((const double[]){0, 0, 3, 4, -3, 4}, 3); /* 3, 4, 5 again */
    assert_true(po_nest_on_bed(&(po_nest_laid){loops(&edge, 1), 1, 0, 0, 0}, &bed));
    assert_false(po_nest_on_bed(&(po_nest_laid){&edge.loops, 1, 0, 1e-6, 0}, &bed));
}

static void the_head_is_seen(void **state)
{
    (void)state;
    shape s = rectangle(10, 10);
    const po_loops *l = loops(&s, 1);
    const po_head head = {true, 20, 5, 30, 40, 25};
    struct {
        double x, y;
        bool clear; /* of one that stands at x, y while one at 0, 0 is printed */
    } cases[] = {{51, 0, true},  {49, 0, false}, {-41, 0, true},  {-39, 0, false}, {0, 31, true},
                 {0, 29, false}, {0, -16, true}, {0, -14, false}, {0, 0, false}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        bool clear = false;
        po_nest_laid later = {l, 1, 0, 0, 0}, earlier = {l, 1, 0, cases[i].x, cases[i].y};
        assert_int_equal(po_nest_head_clear(&later, &earlier, &head, &clear, NULL), PO_OK);
        if (clear != cases[i].clear) {
            fail_msg("case %zu", i + 1);
        }
    }
}

/* ---- outlines ---- */

static void grown_outlines_hold_what_they_have_to(void **state)
{
    (void)state;
    uint64_t random = 3;
    for (int round = 0; round < PO_ROUNDS(40, 4); round++) {
        po_arena *arena = po_arena_new(0);
        shape a = star(&random, 30, 40);
        po_loops grown, exact, rest;
        assert_int_equal(po_nest_grow(loops(&a, 1), 3, false, arena, &grown, NULL), PO_OK);
        assert_int_equal(po_loops_offset(&a.loops, 3, 0.001, arena, &exact, NULL), PO_OK);
        assert_int_equal(po_loops_clip(&exact, &grown, PO_CLIP_LESS, arena, &rest, NULL), PO_OK);
        assert_true(po_loops_area(&rest) < 1e-6);
        assert_true(po_loops_area(&grown) < 1.05 * po_loops_area(&exact));
        assert_true(grown.n_points < exact.n_points);
        po_arena_free(arena);
    }
}

static po_mesh box_mesh(double *xyz, double w, double d, double h)
{
    static const uint32_t corners[36] = {0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4,
                                         2, 6, 7, 2, 7, 3, 0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5};
    for (size_t i = 0; i < 8; i++) {
        xyz[3 * i] = i & 1 ? w : 0;
        xyz[3 * i + 1] = i & 2 ? d : 0;
        xyz[3 * i + 2] = i & 4 ? h : 0;
    }
    return (po_mesh){xyz, 8, corners, 12};
}

static void outlines_by_height(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    double xyz[24];
    po_mesh mesh = box_mesh(xyz, 30, 20, 10);
    for (size_t i = 4; i < 8; i++) { /* a frustum that widens upwards: 30 x 20 at the foot, 50 x 40 on top */
        xyz[3 * i] += i & 1 ? 10 : -10;
        xyz[3 * i + 1] += i & 2 ? 10 : -10;
    }
    po_loops l;
    assert_int_equal(po_nest_outline(&mesh, 0, INFINITY, arena, &l, NULL), PO_OK);
    assert_float_equal(po_loops_area(&l), 50 * 40, 1e-6);
    assert_int_equal(po_nest_outline(&mesh, 0, 5, arena, &l, NULL), PO_OK);
    assert_float_equal(po_loops_area(&l), 40 * 30, 1e-4);
    assert_int_equal(po_nest_outline(&mesh, 5, 10, arena, &l, NULL), PO_OK);
    assert_float_equal(po_loops_area(&l), 50 * 40, 1e-4);
    mesh = box_mesh(xyz, 30, 20, 10); /* straight walls show nothing level between: the section counts */
    assert_int_equal(po_nest_outline(&mesh, 3, 6, arena, &l, NULL), PO_OK);
    assert_float_equal(po_loops_area(&l), 600, 1e-6);
    po_mesh none = {xyz, 8, mesh.corners, 0};
    assert_int_equal(po_nest_outline(&none, 0, 1, arena, &l, NULL), PO_E_EMPTY);
    po_arena_free(arena);
}

/* ---- strips ---- */

/* Simple perfect squared rectangle of order 9, 33 x 32 (Z. Moron, 1925): squares of 1 4 7 8 9 10 14 15 18 fill it. */
static void squares_nearly_fill_their_rectangle(void **state)
{
    (void)state;
    static const double sides[9] = {18, 15, 14, 10, 9, 8, 7, 4, 1};
    po_arena *arena = po_arena_new(0);
    shape s[9];
    po_strip_piece pieces[9];
    for (size_t i = 0; i < 9; i++) {
        s[i] = rectangle(sides[i], sides[i]);
        pieces[i] = (po_strip_piece){.outline = *loops(&s[i], 1), .copies = 1};
    }
    po_nest_effort effort = {.seed = 1, .steps = PO_ROUNDS(20000, 2000), .threads = 1};
    po_strip strip, again;
    assert_int_equal(po_nest_strip(pieces, 9, 32.01, &effort, arena, &strip, NULL), PO_OK);
    assert_true(strip.length >= 33);
    assert_true(strip.length < PO_ROUNDS(38.0, 45.0));
    assert_int_equal(strip.n_laid, 9);
    effort.threads = 2;
    assert_int_equal(po_nest_strip(pieces, 9, 32.01, &effort, arena, &again, NULL), PO_OK);
    assert_true(again.length == strip.length && again.steps == strip.steps);
    assert_memory_equal(again.laid, strip.laid, 9 * sizeof *strip.laid);
    effort.seed = 2;
    assert_int_equal(po_nest_strip(pieces, 9, 32.01, &effort, arena, &again, NULL), PO_OK);
    assert_memory_not_equal(again.laid, strip.laid, 9 * sizeof *strip.laid);
    po_arena_free(arena);
}

static void strips_refuse(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_err err;
    po_strip strip;
    po_nest_effort effort = {.steps = 100, .threads = 1};
    shape wide = rectangle(5, 20), bow = shape_of((const double[]){0, 0, 10, 10, 10, 0, 0, 10}, 4),
          one = rectangle(1, 1);
    po_strip_piece p = {.outline = *loops(&wide, 1), .copies = 1};
    assert_int_equal(po_nest_strip(&p, 1, 10, &effort, arena, &strip, &err), PO_E_RANGE);
    static const double turns[] = {90};
    p.turns_deg = turns;
    p.n_turns = 1;
    assert_int_equal(po_nest_strip(&p, 1, 10, &effort, arena, &strip, &err), PO_OK);
    assert_float_equal(strip.length, 20, 1e-3);
    p = (po_strip_piece){.outline = *loops(&bow, 1), .copies = 1};
    assert_int_equal(po_nest_strip(&p, 1, 20, &effort, arena, &strip, &err), PO_E_RANGE);
    p = (po_strip_piece){.outline = *loops(&one, 1), .copies = 2001};
    assert_int_equal(po_nest_strip(&p, 1, 20, &effort, arena, &strip, &err), PO_E_LIMIT);
    p.copies = 0;
    assert_int_equal(po_nest_strip(&p, 1, 20, &effort, arena, &strip, &err), PO_E_RANGE);
    po_arena_free(arena);
}

/* ---- bedfuls ---- */

static const po_machine square_bed = {.name = "Alder", .bed_mm = {100, 100}, .height_mm = 80},
                        round_bed = {.name = "Elm",
                                     .bed_mm = {100, 100},
                                     .height_mm = 80,
                                     .round_bed = true,
                                     .origin_centre = true};

static void find(const po_nest_part *parts, size_t n, const po_nest_setup *setup, po_arena *arena, po_nest *ret)
{
    po_err err;
    if (po_nest_find(parts, n, setup, arena, ret, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
}

static void beds_are_filled(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    shape s = rectangle(46, 46), tall = rectangle(10, 10), large = rectangle(99, 99), thin = rectangle(130, 2);
    po_nest_part parts[] = {
        {.bands = loops(&s, 1), .height_mm = 10, .copies = 9, .due = INT64_MAX},
        {.bands = loops(&tall, 1), .height_mm = 81, .copies = 2, .due = INT64_MAX},
        {.bands = loops(&large, 1), .height_mm = 10, .copies = 1, .due = INT64_MAX},
        {.bands = loops(&thin, 1), .height_mm = 10, .copies = 1, .turn_step_deg = PO_NEST_FREE, .due = INT64_MAX},
    };
    po_nest_setup setup = {.machine = &square_bed,
                           .clearance_mm = 4,
                           .margin_mm = 1,
                           .n_bands = 1,
                           .effort = {.seed = 1, .steps = 4000, .threads = 1}};
    po_nest nest, again;
    find(parts, 4, &setup, arena, &nest);
    assert_int_equal(nest.n_left_out, 2); /* too high; larger than the bed */
    assert_non_null(strstr(nest.left_out[0].why, "81.0 mm high"));
    assert_int_equal(nest.left_out[1].part, 2);
    size_t laid = 0;
    for (size_t i = 0; i < nest.n_bedfuls; i++) {
        laid += nest.bedfuls[i].n_places;
    }
    assert_int_equal(laid, 10); /* nine squares, and the thin one across the corner */
    assert_true(nest.n_bedfuls <= 4 && nest.n_bedfuls >= nest.at_least && nest.at_least == 3);
    setup.effort.threads = 2;
    find(parts, 4, &setup, arena, &again);
    assert_int_equal(again.n_bedfuls, nest.n_bedfuls);
    for (size_t i = 0; i < nest.bedfuls[0].n_places; i++) {
        const po_nest_place *a = &nest.bedfuls[0].places[i], *b = &again.bedfuls[0].places[i];
        assert_true(a->part == b->part && a->copy == b->copy && a->turn_deg == b->turn_deg && a->x == b->x &&
                    a->y == b->y && a->in_hole == b->in_hole);
    }
    po_arena_free(arena);
}

static void groups_and_dates(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    shape s = rectangle(90, 40);
    po_nest_part parts[] = {
        {.bands = loops(&s, 1), .height_mm = 10, .copies = 1, .group = 0, .due = 30},
        {.bands = &s.loops, .height_mm = 10, .copies = 1, .group = 1, .due = 20},
        {.bands = &s.loops, .height_mm = 10, .copies = 2, .group = 0, .due = 10},
    };
    po_nest_setup setup = {.machine = &square_bed,
                           .clearance_mm = 4,
                           .margin_mm = 1,
                           .n_bands = 1,
                           .effort = {.seed = 1, .steps = 2000, .threads = 1}};
    po_nest nest;
    find(parts, 3, &setup, arena, &nest);
    assert_int_equal(nest.n_bedfuls, 3);
    assert_int_equal(nest.bedfuls[0].due, 10);
    assert_int_equal(nest.bedfuls[0].n_places, 2); /* both that are due first */
    assert_int_equal(nest.bedfuls[1].group, 1);
    assert_int_equal(nest.bedfuls[2].due, 30);
    po_arena_free(arena);
}

static void holes_keep_outs_and_round_beds(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    shape frame = {{-33, -33, 33, -33, 33, 33, -33, 33, -20, -20, -20, 20, 20, 20, 20, -20}, {4, 8}, {0}};
    shape inner = rectangle(30, 30);
    po_nest_part parts[] = {{.bands = loops(&frame, 2), .height_mm = 10, .copies = 1, .due = INT64_MAX},
                            {.bands = loops(&inner, 1), .height_mm = 10, .copies = 1, .due = INT64_MAX}};
    po_nest_setup setup = {.machine = &round_bed,
                           .clearance_mm = 4,
                           .margin_mm = 2,
                           .n_bands = 1,
                           .effort = {.seed = 1, .steps = 4000, .threads = 1}};
    po_nest nest;
    find(parts, 2, &setup, arena, &nest);
    assert_int_equal(nest.n_bedfuls, 1);
    assert_int_equal(nest.bedfuls[0].n_places, 2);
    assert_true(nest.bedfuls[0].places[0].in_hole + nest.bedfuls[0].places[1].in_hole == 1);
    setup.keep_holes_free = true;
    find(parts, 2, &setup, arena, &nest);
    assert_int_equal(nest.n_bedfuls, 2);
    setup.keep_holes_free = false;
    const po_keep_out block = {{40, 60}, {0, 100}, 15};
    po_machine split = square_bed;
    split.keep_outs = &block;
    split.n_keep_outs = 1;
    setup.machine = &split;
    parts[1].copies = 2; /* 40 x 100 on either side of the keep-out */
    find(parts, 2, &setup, arena, &nest);
    assert_int_equal(nest.n_left_out, 1);
    assert_int_equal(nest.left_out[0].part, 0);
    assert_int_equal(nest.n_bedfuls, 1);
    po_arena_free(arena);
}

static void one_after_another(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_machine m = square_bed;
    shape s = rectangle(10, 10);
    po_nest_part parts[] = {{.bands = loops(&s, 1), .height_mm = 50, .copies = 3, .due = INT64_MAX},
                            {.bands = &s.loops, .height_mm = 20, .copies = 3, .due = INT64_MAX}};
    po_nest_setup setup = {.machine = &m,
                           .clearance_mm = 4,
                           .margin_mm = 1,
                           .n_bands = 1,
                           .finish_each = true,
                           .effort = {.seed = 1, .steps = 3000, .threads = 1}};
    po_nest nest;
    po_err err;
    assert_int_equal(po_nest_find(parts, 2, &setup, arena, &nest, &err), PO_E_NOTFOUND);
    m.head = (po_head){true, 30, 30, 30, 30, 25};
    find(parts, 2, &setup, arena, &nest);
    size_t laid = 0;
    for (size_t b = 0; b < nest.n_bedfuls; b++) {
        const po_nest_place *p = nest.bedfuls[b].places;
        for (size_t i = 0; i < nest.bedfuls[b].n_places; i++, laid++) {
            for (size_t k = 0; k < i; k++) {
                assert_true(p[k].part != 0 || p[i].part == 0); /* low ones first */
                if (p[k].part == 0) {                          /* squares of 10, a head that reaches 30 to each side */
                    assert_true(fmax(fabs(p[i].x - p[k].x), fabs(p[i].y - p[k].y)) > 40);
                }
            }
        }
    }
    assert_int_equal(laid, 6);
    assert_int_equal(nest.n_bedfuls, 1);
    po_arena_free(arena);
}

/* A bar is told by its middle, half length, half width and angle: how far the outline of one reaches along an axis. */
static void corners_of(const po_nest_place *p, double half_x, double half_y, double ret[4][2])
{
    double c = cos(p->turn_deg * M_PI / 180), s = sin(p->turn_deg * M_PI / 180);
    for (int k = 0; k < 4; k++) {
        double x = k & 1 ? half_x : -half_x, y = k & 2 ? half_y : -half_y;
        ret[k][0] = c * x - s * y + p->x;
        ret[k][1] = s * x + c * y + p->y;
    }
}

static void one_after_another_turned(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    shape bar = rectangle(40, 10);
    po_nest_part parts[] = {
        {.bands = loops(&bar, 1), .height_mm = 50, .copies = 2, .turn_step_deg = PO_NEST_FREE, .due = INT64_MAX}};
    po_machine m = square_bed;
    m.bed_mm[0] = 62; /* 60 wide within the margin: two bars of 40 across would be side by side */
    m.bed_mm[1] = 62;
    m.head = (po_head){true, 40, 40, 12, 12, 25}; /* ahead, behind, left, right: long along y, narrow along x */
    po_nest_setup setup = {.machine = &m,
                           .clearance_mm = 2,
                           .margin_mm = 1,
                           .n_bands = 1,
                           .finish_each = true,
                           .effort = {.seed = 1, .steps = 6000, .threads = 1}};
    po_nest nest;
    /* As they lie (40 along x) two take 40 + 40 + 12 along x, or 10 + 10 + 40 along y, with what lies between: 60.2 of 60, too much
     * either way. Upright they stand 10 + 12 + 10 = 32 apart along x. */
    find(parts, 1, &setup, arena, &nest);
    assert_int_equal(nest.n_left_out, 0);
    assert_int_equal(nest.n_bedfuls, 1);
    double a[4][2], b[4][2];
    corners_of(&nest.bedfuls[0].places[0], 20, 5, a);
    corners_of(&nest.bedfuls[0].places[1], 20, 5, b);
    double alow[2] = {1e9, 1e9}, ahigh[2] = {-1e9, -1e9}, blow[2] = {1e9, 1e9}, bhigh[2] = {-1e9, -1e9};
    for (int k = 0; k < 4; k++) {
        for (int i = 0; i < 2; i++) {
            alow[i] = fmin(alow[i], a[k][i]);
            ahigh[i] = fmax(ahigh[i], a[k][i]);
            blow[i] = fmin(blow[i], b[k][i]);
            bhigh[i] = fmax(bhigh[i], b[k][i]);
        }
    }
    double gap[2] = {fmax(alow[0] - bhigh[0], blow[0] - ahigh[0]), fmax(alow[1] - bhigh[1], blow[1] - ahigh[1])};
    if (!(gap[0] > 12 || gap[1] > 40)) {
        fail_msg("gaps of %g and %g mm; turned by %g and %g", gap[0], gap[1], nest.bedfuls[0].places[0].turn_deg,
                 nest.bedfuls[0].places[1].turn_deg);
    }
    parts[0].turn_step_deg = 0;
    find(parts, 1, &setup, arena, &nest);
    assert_int_equal(nest.n_bedfuls, 2);
    po_arena_free(arena);
}

/* A bar drawn askew, and one that fits at few angles only: no multiple of 15 degrees does. */
static void free_turns_are_fine(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    double c = cos(7.3 * M_PI / 180), s = sin(7.3 * M_PI / 180), xy[8];
    for (int k = 0; k < 4; k++) {
        double x = k == 1 || k == 2 ? 49 : -49, y = k >= 2 ? 3 : -3;
        xy[2 * k] = c * x - s * y;
        xy[2 * k + 1] = s * x + c * y;
    }
    shape askew = shape_of(xy, 4), across = rectangle(114, 8);
    po_nest_setup setup = {.machine = &square_bed,
                           .clearance_mm = 1,
                           .margin_mm = 1,
                           .n_bands = 1,
                           .effort = {.seed = 1, .steps = 2000, .threads = 1}};
    po_nest nest;
    /* 98 x 6 with 1 between: 13 of them lie level on 98 (13 * 6 + 12 = 90), at 7.3 degrees they take 13 * 7 / cos 7.3 + 98 sin 7.3 = 104 */
    po_nest_part part = {
        .bands = loops(&askew, 1), .height_mm = 5, .copies = 13, .turn_step_deg = PO_NEST_FREE, .due = INT64_MAX};
    po_machine wide = square_bed;
    wide.bed_mm[0] = 100.3;
    setup.machine = &wide;
    find(&part, 1, &setup, arena, &nest);
    assert_int_equal(nest.n_bedfuls, 1);
    assert_true(fabs(remainder(nest.bedfuls[0].places[0].turn_deg + 7.3, 180)) < 0.01);
    part.turn_step_deg = 15;
    find(&part, 1, &setup, arena, &nest);
    assert_true(nest.n_bedfuls != 1);
    /* 114 cos a + 8 sin a and 114 sin a + 8 cos a within 98 x 82: at 37.5 the one is 95.3 and the other 75.7; 30: 102.7; 45: 86.3 high */
    part.bands = loops(&across, 1);
    part.copies = 1;
    part.turn_step_deg = PO_NEST_FREE;
    wide.bed_mm[0] = 100;
    wide.bed_mm[1] = 84;
    find(&part, 1, &setup, arena, &nest);
    assert_int_equal(nest.n_bedfuls, 1);
    part.turn_step_deg = 15;
    find(&part, 1, &setup, arena, &nest);
    assert_int_equal(nest.n_left_out, 1);
    assert_non_null(strstr(nest.left_out[0].why, "free turns"));
    po_arena_free(arena);
}

static void over_each_other(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    static const double feet[2] = {0, 10};
    shape stem = rectangle(20, 20), cap = shape_of((const double[]){-30, -30, 50, -30, 50, 50, -30, 50}, 4);
    po_loops mushroom[2] = {*loops(&stem, 1), *loops(&cap, 1)}, flat[2] = {stem.loops, {0}};
    po_nest_part parts[] = {{.bands = mushroom, .height_mm = 20, .copies = 1, .due = INT64_MAX},
                            {.bands = flat, .height_mm = 10, .copies = 6, .due = INT64_MAX}};
    po_nest_setup setup = {.machine = &square_bed,
                           .clearance_mm = 2,
                           .margin_mm = 1,
                           .n_bands = 2,
                           .band_from_mm = feet,
                           .effort = {.seed = 1, .steps = 4000, .threads = 1}};
    po_nest nest;
    find(parts, 2, &setup, arena, &nest);
    assert_int_equal(nest.n_bedfuls, 1); /* under the cap's edge */
    assert_int_equal(nest.bedfuls[0].n_places, 7);
    po_arena_free(arena);
}

static bool at_once(double value, double seconds, void *user)
{
    (void)value;
    (void)seconds;
    (*(int *)user)++;
    return false;
}

static void many_and_bad(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    shape s = rectangle(8, 5);
    int asked = 0;
    po_nest_part part = {.bands = loops(&s, 1), .height_mm = 5, .copies = 10000, .turn_step_deg = 90, .due = INT64_MAX};
    po_nest_setup setup = {.machine = &square_bed,
                           .clearance_mm = 2,
                           .margin_mm = 1,
                           .n_bands = 1,
                           .effort = {.seed = 1, .threads = 1, .progress = at_once, .user = &asked}};
    po_nest nest;
    po_err err;
    find(&part, 1, &setup, arena, &nest);
    size_t laid = 0;
    for (size_t b = 0; b < nest.n_bedfuls; b++) {
        laid += nest.bedfuls[b].n_places;
    }
    assert_int_equal(laid, 10000);
    assert_true(nest.ended_early && asked > 0);
    part.copies = 10001;
    assert_int_equal(po_nest_find(&part, 1, &setup, arena, &nest, &err), PO_E_LIMIT);
    part.copies = 1;
    part.turn_step_deg = 7;
    assert_int_equal(po_nest_find(&part, 1, &setup, arena, &nest, &err), PO_E_RANGE);
    part.turn_step_deg = 0;
    setup.clearance_mm = NAN;
    assert_int_equal(po_nest_find(&part, 1, &setup, arena, &nest, &err), PO_E_RANGE);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(areas_of_sums_are_known),
        cmocka_unit_test(sums_agree_with_clipping),
        cmocka_unit_test(the_test_refuses),
        cmocka_unit_test(the_head_is_seen),
        cmocka_unit_test(grown_outlines_hold_what_they_have_to),
        cmocka_unit_test(outlines_by_height),
        cmocka_unit_test(squares_nearly_fill_their_rectangle),
        cmocka_unit_test(strips_refuse),
        cmocka_unit_test(beds_are_filled),
        cmocka_unit_test(groups_and_dates),
        cmocka_unit_test(holes_keep_outs_and_round_beds),
        cmocka_unit_test(one_after_another),
        cmocka_unit_test(one_after_another_turned),
        cmocka_unit_test(free_turns_are_fine),
        cmocka_unit_test(over_each_other),
        cmocka_unit_test(many_and_bad),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
