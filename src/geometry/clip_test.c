/* Clipping against closed forms, slow answers and its own laws. SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "geometry/clip_test.h"

static shape *sa, *sb;

static int begin(void **state)
{
    (void)state;
    sa = calloc(1, sizeof *sa);
    sb = calloc(1, sizeof *sb);
    shape_seed = 1;
    return sa && sb ? 0 : -1;
}

static int end(void **state)
{
    (void)state;
    free(sa);
    free(sb);
    return 0;
}

static po_loops clip(const po_loops *a, const po_loops *b, po_clip how, po_arena *arena)
{
    po_loops r = {0};
    po_err err = {0};
    po_status status = po_loops_clip(a, b, how, arena, &r, &err);
    if (status) {
        print_message("%s\n", err.msg);
    }
    assert_int_equal(status, PO_OK);
    return r;
}

static double area_clipped(const po_loops *a, const po_loops *b, po_clip how)
{
    po_arena *arena = po_arena_new(0);
    po_loops r = clip(a, b, how, arena);
    double area = area_of(&r);
    po_arena_free(arena);
    return area;
}

static void simple_shapes(void **state)
{
    (void)state;
    static const struct {
        const char *what;
        double b[4];
        double area[3]; /* joined, common, less */
        size_t loops[3];
    } cases[] = {
        {"apart", {20, 0, 30, 10}, {200, 0, 100}, {2, 0, 1}},
        {"overlapping", {5, 5, 15, 15}, {175, 25, 75}, {1, 1, 1}},
        {"touching in a corner", {10, 10, 20, 20}, {200, 0, 100}, {2, 0, 1}},
        {"sharing an edge", {10, 0, 20, 10}, {200, 0, 100}, {1, 0, 1}},
        {"sharing part of an edge", {10, 2, 20, 7}, {150, 0, 100}, {1, 0, 1}},
        {"the same", {0, 0, 10, 10}, {100, 100, 0}, {1, 1, 0}},
        {"inside", {2, 2, 8, 8}, {100, 36, 64}, {1, 1, 2}},
        {"inside, touching an edge from within", {0, 2, 8, 8}, {100, 48, 52}, {1, 1, 1}},
        {"around", {-1, -1, 11, 11}, {144, 100, 0}, {1, 1, 0}},
        {"across", {-5, 3, 15, 6}, {130, 30, 70}, {1, 1, 2}},
        {"a hair apart", {10.001, 0, 20.001, 10}, {200, 0, 100}, {2, 0, 1}},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        *sa = *sb = (shape){0};
        shape_box(sa, 0, 0, 10, 10);
        shape_box(sb, cases[i].b[0], cases[i].b[1], cases[i].b[2], cases[i].b[3]);
        po_loops a = shape_loops(sa), b = shape_loops(sb);
        for (int how = 0; how < 3; how++) {
            po_arena *arena = po_arena_new(0);
            po_loops r = clip(&a, &b, (po_clip)how, arena);
            if (fabs(area_of(&r) - cases[i].area[how]) > 1e-5 || r.n_loops != cases[i].loops[how]) {
                fail_msg("%s, %d: %g in %zu loops", cases[i].what, how, area_of(&r), r.n_loops);
            }
            po_arena_free(arena);
        }
    }
}

static void windings(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    *sa = (shape){0};
    /* The pentagram runs twice round its core: by positive winding all of it is inside. Area of the outline of {5/2} at
     * circumradius 1: ten triangles, each 1/2 R r sin 36 degrees with r = R / phi^2 (golden ratio). */
    for (int i = 0; i < 5; i++) {
        shape_point(sa, 10 * cos(2 * M_PI * (2 * i) / 5), 10 * sin(2 * M_PI * (2 * i) / 5));
    }
    shape_end(sa);
    double phi = (1 + sqrt(5)) / 2;
    po_loops a = shape_loops(sa), r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_int_equal(r.n_loops, 1);
    assert_int_equal(r.n_points, 10);
    assert_true(fabs(area_of(&r) - 5 * 100 * sin(M_PI / 5) / (phi * phi)) < 1e-5);

    /* A bow tie: one half runs the wrong way round. */
    *sa = (shape){0};
    shape_point(sa, 0, 0);
    shape_point(sa, 10, 10);
    shape_point(sa, 10, 0);
    shape_point(sa, 0, 10);
    shape_end(sa);
    a = shape_loops(sa);
    r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_int_equal(r.n_loops, 1);
    assert_true(fabs(fabs(area_of(&r)) - 25) < 1e-5);

    /* Twice a square less once: still inside; a hole on its own is nothing; a hole with a core in it. */
    *sa = (shape){0};
    shape_box(sa, 0, 0, 10, 10);
    shape_box(sa, 0, 0, 10, 10);
    shape_box(sa, 8, 2, 2, 8); /* not turned: a box from right to left runs clockwise */
    a = shape_loops(sa);
    r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_true(fabs(area_of(&r) - 100) < 1e-5 && r.n_loops == 1);
    *sa = (shape){0};
    shape_box(sa, 8, 2, 2, 8);
    a = shape_loops(sa);
    r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_int_equal(r.n_loops, 0);
    *sa = (shape){0};
    shape_box(sa, 8, 2, 2, 8);
    shape_box(sa, 4, 4, 6, 6);
    shape_box(sa, 0, 0, 10, 10);
    a = shape_loops(sa);
    r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_true(fabs(area_of(&r) - 68) < 1e-5 && r.n_loops == 3);
    po_arena_free(arena);
}

/* A hole that touches its outline in a point, and a ring of four squares that meet in corners. */
static void pinches(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    *sa = (shape){0};
    shape_box(sa, 0, 0, 10, 10);
    shape_point(sa, 0, 5);
    shape_point(sa, 4, 7);
    shape_point(sa, 4, 3);
    shape_end(sa);
    po_loops a = shape_loops(sa), r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_true(r.n_loops == 2 && fabs(area_of(&r) - 92) < 1e-5);
    *sa = (shape){0};
    shape_box(sa, 1, 0, 2, 1);
    shape_box(sa, 0, 1, 1, 2);
    shape_box(sa, 2, 1, 3, 2);
    shape_box(sa, 1, 2, 2, 3);
    a = shape_loops(sa);
    r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_true(r.n_loops == 4 && fabs(area_of(&r) - 4) < 1e-5);
    *sb = (shape){0};
    shape_box(sb, 0, 0, 3, 3);
    po_loops b = shape_loops(sb);
    r = clip(&b, &a, PO_CLIP_LESS, arena);
    assert_true(r.n_loops == 5 && fabs(area_of(&r) - 5) < 1e-5);
    po_arena_free(arena);
}

static void many_rings(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    *sa = (shape){0};
    double want = 0;
    for (int i = 0; i < 100; i++) { /* nested, in a mixed order */
        int k = i * 37 % 100;
        double r = 1 + k;
        shape_ring(sa, 0, 0, k % 2 ? r : -r, 64, 0, 0, 0.1 * k);
        want += (k % 2 ? 32 : -32) * r * r * sin(M_PI / 32);
    }
    po_loops a = shape_loops(sa), r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_true(r.n_loops == 100 && fabs(area_of(&r) - want) < 1e-3);
    *sa = (shape){0};
    for (int i = 0; i < 1000; i++) { /* in rows, apart */
        int k = i * 377 % 1000;
        shape_box(sa, k % 40 * 3, k / 40 * 3, k % 40 * 3 + 2, k / 40 * 3 + 2);
    }
    a = shape_loops(sa);
    r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_true(r.n_loops == 1000 && fabs(area_of(&r) - 4000) < 1e-3);
    *sb = (shape){0};
    shape_box(sb, -1, -1, 200, 200);
    po_loops b = shape_loops(sb);
    r = clip(&b, &a, PO_CLIP_LESS, arena);
    assert_true(r.n_loops == 1001 && fabs(area_of(&r) - (201.0 * 201 - 4000)) < 1e-3);
    /* a comb over a comb turned by 90 degrees: a lattice */
    *sa = *sb = (shape){0};
    for (int i = 0; i < 50; i++) {
        shape_box(sa, 2 * i, 0, 2 * i + 1, 100);
        shape_box(sb, 0, 2 * i, 100, 2 * i + 1);
    }
    a = shape_loops(sa);
    b = shape_loops(sb);
    r = clip(&a, &b, PO_CLIP_COMMON, arena);
    assert_true(r.n_loops == 2500 && fabs(area_of(&r) - 2500) < 1e-3);
    r = clip(&a, &b, PO_CLIP_UNION, arena);
    assert_true(fabs(area_of(&r) - 7500) < 1e-3);
    assert_int_equal(r.n_loops, 1 + 49 * 49);
    po_arena_free(arena);
}

/* Tangles whose points lie a few grid units apart, where all is rounding: the result must be simple, and right wherever a
 * point is further from every edge than edges can have been bent (less than one unit). */
static void tangles_of_a_few_units(void **state)
{
    (void)state;
    shape_seed = 5;
    for (int round = 0; round < PO_ROUNDS(6000, 900); round++) {
        *sa = *sb = (shape){0};
        int size = 2 + (int)some(round % 3 ? 12 : 60);
        for (int i = 0; i < 1 + round % 3; i++) {
            shape_tangle(sa, 3 + (int)some(round % 5 ? 6 : 25), size, size);
            shape_tangle(sb, 3 + (int)some(6), size, size);
        }
        po_loops a = shape_loops(sa), b = shape_loops(sb);
        for (int how = 0; how < 3; how++) {
            po_arena *arena = po_arena_new(0);
            po_scratch scratch;
            po_rings in, out;
            po_err err = {0};
            po_scratch_init(&scratch, 0, SIZE_MAX);
            assert_int_equal(po_rings_of(&a, &b, (po_grid){1, 1}, &scratch, &in, &err), PO_OK);
            if (po_rings_arrange(&in, (po_clip)how, 0, &scratch, &out, &err) != PO_OK) {
                fail_msg("round %d, %d: %s", round, how, err.msg);
            }
            const char *fault = fault_of(&out);
            if (fault) {
                fail_msg("round %d, %d: %s", round, how, fault);
            }
            po_loops r = rings_as_loops(&out, arena);
            for (int i = 0; i < 100; i++) {
                double x = some_unit() * size, y = some_unit() * size;
                if (edge_distance(&a, x, y) > 1 && edge_distance(&b, x, y) > 1) {
                    bool in_a = winding_of(&a, x, y) > 0, in_b = winding_of(&b, x, y) > 0;
                    int want = how == PO_CLIP_UNION    ? in_a || in_b
                               : how == PO_CLIP_COMMON ? in_a && in_b
                                                       : in_a && !in_b;
                    if (winding_of(&r, x, y) != want) {
                        fail_msg("round %d, %d: %g, %g", round, how, x, y);
                    }
                }
            }
            po_scratch_done(&scratch);
            po_arena_free(arena);
        }
    }
}

/* Laws that hold for any two regions, on tangles and on rings over each other, at several sizes. */
static void laws(void **state)
{
    (void)state;
    shape_seed = 5;
    for (int round = 0; round < PO_ROUNDS(800, 120); round++) {
        *sa = *sb = (shape){0};
        double size = round % 4 == 0 ? 0.01 : round % 4 == 1 ? 900 : 30;
        for (int i = 0; i < 1 + round % 4; i++) {
            int n = 3 + (int)some(30), steps = round % 2 ? 0 : 9;
            if (round % 3) {
                shape_tangle(sa, n, size, steps);
                shape_tangle(sb, n, size, steps);
            } else {
                shape_ring(sa, size * some_unit(), size * some_unit(), size * (some_unit() - 0.3), n, 0.3, 4,
                           some_unit());
                shape_ring(sb, size * some_unit(), size * some_unit(), size * (some_unit() - 0.3), n, 0.2, 5,
                           some_unit());
            }
        }
        po_loops a = shape_loops(sa), b = shape_loops(sb);
        po_arena *arena = po_arena_new(0);
        po_loops ca = clip(&a, NULL, PO_CLIP_UNION, arena), cb = clip(&b, NULL, PO_CLIP_UNION, arena);
        po_loops joined = clip(&a, &b, PO_CLIP_UNION, arena), common = clip(&a, &b, PO_CLIP_COMMON, arena);
        po_loops less = clip(&a, &b, PO_CLIP_LESS, arena), more = clip(&b, &a, PO_CLIP_LESS, arena);
        /* each edge of any of these may have moved by half a unit of 2^-24 mm, and slivers go */
        double near = 2e-6 * (1 + length_of(&a) + length_of(&b)), aa = area_of(&ca), ab = area_of(&cb);
        assert_true(fabs(aa + ab - area_of(&joined) - area_of(&common)) < near);
        assert_true(fabs(area_of(&less) + area_of(&common) - aa) < near);
        assert_true(fabs(area_of(&more) + area_of(&common) - ab) < near);
        assert_true(fabs(area_clipped(&joined, &b, PO_CLIP_LESS) - area_of(&less)) < near);
        assert_true(fabs(area_clipped(&common, &less, PO_CLIP_COMMON)) < near);
        assert_true(fabs(area_clipped(&joined, &common, PO_CLIP_LESS) - area_of(&less) - area_of(&more)) < near);
        po_loops again = clip(&joined, &joined, PO_CLIP_UNION, arena);
        assert_true(fabs(area_of(&again) - area_of(&joined)) < near);
        assert_true(fabs(area_clipped(&joined, &joined, PO_CLIP_LESS)) < near);
        for (int i = 0; i < 50; i++) {
            double x = some_unit() * size, y = some_unit() * size;
            if (edge_distance(&a, x, y) > 2e-6 && edge_distance(&b, x, y) > 2e-6) {
                int in_a = winding_of(&a, x, y) > 0, in_b = winding_of(&b, x, y) > 0;
                assert_int_equal(winding_of(&ca, x, y), in_a);
                assert_int_equal(winding_of(&joined, x, y), in_a || in_b);
                assert_int_equal(winding_of(&common, x, y), in_a && in_b);
                assert_int_equal(winding_of(&less, x, y), in_a && !in_b);
            }
        }
        po_arena_free(arena);
    }
}

/* All lines through one point, spikes out and back, points twice, loops of one and two points. */
static void degenerate(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    *sa = (shape){0};
    for (int i = 0; i < 40; i++) {
        double a = M_PI * i / 40;
        shape_point(sa, -100 * cos(a), -100 * sin(a));
        shape_point(sa, 100 * cos(a), 100 * sin(a));
    }
    shape_end(sa);
    po_loops a = shape_loops(sa), r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_true(area_of(&r) > 0);
    *sa = (shape){0};
    shape_point(sa, 0, 0);
    shape_point(sa, 0, 0);
    shape_point(sa, 10, 0);
    shape_point(sa, 10, 20);
    shape_point(sa, 10, 10);
    shape_point(sa, 5, 10);
    shape_point(sa, 5, 4);
    shape_point(sa, 5, 10);
    shape_point(sa, 0, 10);
    shape_point(sa, 0, 0);
    shape_end(sa);
    shape_point(sa, 3, 3);
    shape_end(sa);
    shape_point(sa, 3, 3);
    shape_point(sa, 30, 3);
    shape_end(sa);
    shape_point(sa, 3, 3);
    shape_point(sa, 30, 3);
    shape_point(sa, 12, 3);
    shape_end(sa);
    shape_end(sa); /* of no point */
    a = shape_loops(sa);
    r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_true(fabs(area_of(&r) - 100) < 1e-5 && r.n_loops == 1);
    assert_int_equal(r.n_points, 4);
    /* nothing at all */
    po_loops none = {0};
    r = clip(&none, &none, PO_CLIP_UNION, arena);
    assert_int_equal(r.n_loops, 0);
    /* slivers below 1e-6 mm go, others stay */
    *sa = (shape){0};
    shape_box(sa, 0, 0, 10, 2e-7);
    shape_box(sa, 0, 5, 10, 5 + 1e-4);
    a = shape_loops(sa);
    r = clip(&a, NULL, PO_CLIP_UNION, arena);
    assert_int_equal(r.n_loops, 1);
    po_arena_free(arena);
}

static void refusals(void **state)
{
    (void)state;
    static const double bad[] = {NAN, INFINITY, -INFINITY, 1.0001e6, -1e300};
    po_arena *arena = po_arena_new(0);
    po_loops r = {0};
    po_err err;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        for (size_t k = 0; k < 8; k++) {
            *sa = *sb = (shape){0};
            shape_box(sa, 0, 0, 1, 1);
            shape_box(sb, 0, 0, 1, 1);
            sa->xy[k] = bad[i];
            po_loops a = shape_loops(sa), b = shape_loops(sb);
            assert_int_equal(po_loops_clip(&a, NULL, PO_CLIP_UNION, arena, &r, &err), PO_E_RANGE);
            assert_int_equal(err.code, PO_E_RANGE);
            assert_int_equal(po_loops_clip(&b, &a, PO_CLIP_LESS, arena, &r, &err), PO_E_RANGE);
        }
    }
    *sa = (shape){0};
    shape_box(sa, -1e6, -1e6, 1e6, 1e6);
    po_loops a = shape_loops(sa);
    assert_true(fabs(area_clipped(&a, NULL, PO_CLIP_UNION) - 4e12) < 1);
    sa->ends[0] = 5; /* beyond the points */
    assert_int_equal(po_loops_clip(&a, NULL, PO_CLIP_UNION, arena, &r, &err), PO_E_RANGE);
    po_arena *small = po_arena_new(64);
    sa->ends[0] = 4;
    assert_int_equal(po_loops_clip(&a, NULL, PO_CLIP_UNION, small, &r, &err), PO_E_NOMEM);
    po_arena_free(small);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(simple_shapes),
        cmocka_unit_test(windings),
        cmocka_unit_test(pinches),
        cmocka_unit_test(many_rings),
        cmocka_unit_test(laws),
        cmocka_unit_test(degenerate),
        cmocka_unit_test(tangles_of_a_few_units),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests_name("clip", tests, begin, end);
}
