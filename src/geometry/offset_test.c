/* Offsets against closed forms and distances. SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "geometry/clip_test.h"
#include "geometry/hull.h"

static shape *sa;

static int begin(void **state)
{
    (void)state;
    sa = calloc(1, sizeof *sa);
    shape_seed = 1;
    return sa ? 0 : -1;
}

static int end(void **state)
{
    (void)state;
    free(sa);
    return 0;
}

static po_loops offset(const po_loops *a, double by, double off, po_arena *arena)
{
    po_loops r = {0};
    po_err err = {0};
    po_status status = po_loops_offset(a, by, off, arena, &r, &err);
    if (status) {
        print_message("%s\n", err.msg);
    }
    assert_int_equal(status, PO_OK);
    return r;
}

static void check_area(const po_loops *a, double by, double off, double want, double within, size_t loops)
{
    po_arena *arena = po_arena_new(0);
    po_loops r = offset(a, by, off, arena);
    if (!(fabs(area_of(&r) - want) <= within) || r.n_loops != loops) {
        fail_msg("by %g: %.9g in %zu loops, not %.9g in %zu", by, area_of(&r), r.n_loops, want, loops);
    }
    po_arena_free(arena);
}

/* What lies between an arc of radius r and its tangent, from where they touch to the distance h along the tangent. */
static double beside_arc(double r, double h)
{
    return r * h - (h * sqrt(r * r - h * h) + r * r * asin(h / r)) / 2;
}

static void closed_forms(void **state)
{
    (void)state;
    const double off = 1e-5;
    /* a box in and out: corners stay sharp inwards, are quarters of a disk outwards */
    *sa = (shape){0};
    shape_box(sa, 3, 4, 13, 10);
    po_loops a = shape_loops(sa);
    check_area(&a, -1, off, 8 * 4, 1e-5, 1);
    check_area(&a, -2.999, off, 4.002 * 0.002, 1e-5, 1);
    check_area(&a, -3, off, 0, 0, 0);
    check_area(&a, -3.5, off, 0, 0, 0);
    check_area(&a, -1e5, off, 0, 0, 0);
    check_area(&a, 0, off, 60, 0, 1);
    check_area(&a, 2, off, 60 + 32 * 2 + M_PI * 4, 20 * off, 1);
    check_area(&a, 500, off, 60 + 32 * 500 + M_PI * 250000, 4000 * off, 1);
    /* a frame: the hole's corners are round when the frame shrinks, sharp when it grows; it closes, or the frame does */
    *sa = (shape){0};
    shape_box(sa, 0, 0, 20, 20);
    shape_box(sa, 15, 5, 5, 15);
    a = shape_loops(sa);
    check_area(&a, -1, off, 18 * 18 - (100 + 40 + M_PI), 20 * off, 2);
    check_area(&a, -2.5, off, 15 * 15 - (100 + 4 * 25 + M_PI * 6.25), 40 * off, 4); /* its corners are wider */
    check_area(&a, -3.6, off, 0, 0, 0);
    check_area(&a, -2.499, off, 15.002 * 15.002 - (100 + 4 * 24.99 + M_PI * 2.499 * 2.499), 40 * off, 2);
    check_area(&a, 1, off, 400 + 80 + M_PI - 64, 20 * off, 2);
    check_area(&a, 4.999, off, 400 + 80 * 4.999 + M_PI * 4.999 * 4.999 - 4e-6, 50 * off, 2);
    check_area(&a, 5, off, 400 + 400 + 25 * M_PI, 50 * off, 1);
    check_area(&a, 7, off, 400 + 560 + 49 * M_PI, 60 * off, 1);
    /* a diamond is as wide as its diagonal along the axes: it closes all the same */
    *sa = (shape){0};
    shape_ring(sa, 0, 0, 10, 4, 0, 0, 0);
    a = shape_loops(sa);
    double inradius = 10 / sqrt(2);
    check_area(&a, -7, off, 4 * (inradius - 7) * (inradius - 7), 1e-5, 1);
    for (int i = 0; i < 28; i++) {
        check_area(&a, -inradius - 1e-4 - 0.1 * i, off, 0, 0, 0);
    }
    /* two that touch in a corner, that share an edge, that lie on each other */
    *sa = (shape){0};
    shape_box(sa, 0, 0, 10, 10);
    shape_box(sa, 10, 10, 20, 20);
    a = shape_loops(sa);
    check_area(&a, -1, off, 128, 1e-5, 2);
    check_area(&a, 1, off, 2 * (100 + 40 + M_PI) - 2 - M_PI / 2, 20 * off, 1);
    *sa = (shape){0};
    shape_box(sa, 0, 0, 10, 10);
    shape_box(sa, 10, 0, 20, 10);
    shape_box(sa, 10, 0, 20, 10);
    a = shape_loops(sa);
    check_area(&a, -1, off, 18 * 8, 1e-5, 1);
    check_area(&a, 1, off, 200 + 60 + M_PI, 20 * off, 1);
    /* a dumb-bell comes apart when its bar is consumed */
    *sa = (shape){0};
    shape_box(sa, 0, 0, 10, 10);
    shape_box(sa, 10, 4.5, 20, 5.5);
    shape_box(sa, 20, 0, 30, 10);
    a = shape_loops(sa);
    /* into the mouths of the bar it bulges: between two arcs about their corners */
    check_area(&a, -0.6, off, 2 * 8.8 * 8.8 + 4 * beside_arc(0.6, 0.5), 10 * off, 2);
    check_area(&a, 0.6, off, 2 * (100 + 24 + 0.36 * M_PI) + 10 * 2.2 - 2 * 0.6 * 2.2, 20 * off, 1);
    /* a comb: its teeth go, its gaps close */
    *sa = (shape){0};
    shape_box(sa, 0, 0, 100, 5);
    for (int i = 0; i < 25; i++) {
        shape_box(sa, 4 * i, 5, 4 * i + 2, 30);
    }
    a = shape_loops(sa);
    check_area(&a, -1.001, off, 97.998 * 2.998 + 48 * beside_arc(1.001, 1) + beside_arc(1.001, 0.999), 100 * off, 1);
    double r = 1.001; /* straight stretches of 260 in all, five round corners, one square overlap, dips over the gaps */
    check_area(&a, r, off, 2950 + 260 * r + (1.25 * M_PI - 1) * r * r - 48 * beside_arc(r, 1), 100 * off, 1);
}

/* Steiner's formula: area + length r + pi r^2, for any convex outline (J. Steiner, 1840). */
static void steiner(void **state)
{
    (void)state;
    shape_seed = 5;
    for (int round = 0; round < PO_ROUNDS(300, 60); round++) {
        po_xy points[64], hull[65];
        double size = round % 3 ? 20 : 0.3;
        for (int i = 0; i < 64; i++) {
            double x = some_unit(), y = some_unit();
            points[i] = (po_xy){size * x, size * y};
        }
        size_t n = po_hull(points, 3 + some(60), hull);
        *sa = (shape){0};
        for (size_t i = 0; i < n; i++) {
            shape_point(sa, hull[i].x, hull[i].y);
        }
        shape_end(sa);
        po_loops a = shape_loops(sa);
        double r = 0.01 + 3 * some_unit() * size, off = 1e-6 + 1e-3 * some_unit();
        po_arena *arena = po_arena_new(0);
        po_loops grown = offset(&a, r, off, arena), coarse, back;
        double rough = fmax(off, 3e-4 * r);
        coarse = offset(&a, r, rough, arena);
        back = offset(&coarse, -r, rough, arena);
        double want = area_of(&a) + length_of(&a) * r + M_PI * r * r;
        assert_int_equal(grown.n_loops, 1);
        assert_true(area_of(&grown) <= want + 1e-6 * (1 + length_of(&grown)));
        /* a segment of height h over a chord has 2/3 of the area of the box around it, at least of a parabola's */
        assert_true(area_of(&grown) >= want - 2 * M_PI * r * off - 1e-6 * (1 + length_of(&grown)));
        assert_true(fabs(area_of(&back) - area_of(&a)) <= length_of(&a) * rough + 20 * rough * rough + 1e-4 * size);
        po_arena_free(arena);
    }
}

/* Any region, any offset: points are inside by their distance from the region's outline. */
static void by_distance(void **state)
{
    (void)state;
    shape_seed = 5;
    long near = 0, all = 0;
    for (int round = 0; round < PO_ROUNDS(1500, 300); round++) {
        *sa = (shape){0};
        double size = round % 7 ? 40 : 0.5;
        for (int i = 0; i < 1 + round % 4; i++) {
            int n = 3 + (int)some(round % 5 == 0 ? 60 : round % 5 < 3 ? 14 : 3), steps = round % 2 ? 0 : 9;
            if (round % 3) {
                shape_tangle(sa, n, size, steps);
            } else {
                shape_ring(sa, size * some_unit(), size * some_unit(), size * (some_unit() - 0.3), n, 0.3, 4,
                           some_unit());
            }
        }
        po_loops raw = shape_loops(sa), a;
        po_arena *arena = po_arena_new(0);
        po_err err;
        assert_int_equal(po_loops_clip(&raw, NULL, PO_CLIP_UNION, arena, &a, &err), PO_OK);
        double by = size * (some_unit() - 0.5) * (round % 11 == 0 ? 3 : 0.3), off = 1e-6 + size * 1e-3 * some_unit();
        if (round % 13 == 0) {
            by = by > 0 ? 1e-5 : -1e-5;
        }
        po_loops r = offset(&raw, by, off, arena);
        for (int i = 0; i < 50; i++) {
            double x = size * (2 * some_unit() - 0.5), y = size * (2 * some_unit() - 0.5);
            double d = edge_distance(&a, x, y);
            if (winding_of(&a, x, y) > 0) {
                d = -d;
            }
            all++;
            /* chords lie inside the arcs of what grows: by up to `off` on one side */
            if ((by > 0 ? d > by - off - 2e-6 && d < by + 2e-6 : d > by - 2e-6 && d < by + off + 2e-6) ||
                edge_distance(&raw, x, y) < 2e-6) {
                near++;
                continue;
            }
            if (winding_of(&r, x, y) != (d < by)) {
                fail_msg("round %d by %g: point %g, %g at %g is taken for %d", round, by, x, y, d,
                         winding_of(&r, x, y));
            }
        }
        po_arena_free(arena);
    }
    assert_true(near < all / 50);
}

/* Growing and then shrinking by as much never loses material, shrinking and growing never gains any, but for the chords. */
static void closing(void **state)
{
    (void)state;
    shape_seed = 5;
    for (int round = 0; round < PO_ROUNDS(400, 60); round++) {
        *sa = (shape){0};
        for (int i = 0; i < 1 + round % 3; i++) {
            shape_tangle(sa, 3 + (int)some(12), 30, round % 2 ? 0 : 9);
        }
        po_loops raw = shape_loops(sa), a, lost;
        po_arena *arena = po_arena_new(0);
        po_err err;
        double by = 0.05 + 4 * some_unit(), off = 1e-3;
        assert_int_equal(po_loops_clip(&raw, NULL, PO_CLIP_UNION, arena, &a, &err), PO_OK);
        po_loops grown = offset(&a, by, off, arena), back = offset(&grown, -by, off, arena);
        assert_int_equal(po_loops_clip(&a, &back, PO_CLIP_LESS, arena, &lost, &err), PO_OK);
        assert_true(area_of(&lost) <= 2 * off * (1 + length_of(&a)));
        po_loops shrunk = offset(&a, -by, off, arena), again = offset(&shrunk, by, off, arena);
        assert_int_equal(po_loops_clip(&again, &a, PO_CLIP_LESS, arena, &lost, &err), PO_OK);
        if (area_of(&lost) > 2 * off * (1 + length_of(&a))) {
            fail_msg("round %d by %g: %g gained", round, by, area_of(&lost));
        }
        po_arena_free(arena);
    }
}

/* Fine circles: the offset is a circle; points are not multiplied by it; holes close where they should. */
static void circles(void **state)
{
    (void)state;
    for (int n = 8; n <= 8192; n *= 4) {
        *sa = (shape){0};
        shape_ring(sa, 0, 0, 20, n, 0, 0, 0.1);
        shape_ring(sa, 0, 0, -4, n, 0, 0, 0.2);
        po_loops a = shape_loops(sa);
        double big = n * sin(2 * M_PI / n) / 2, side = 2 * n * sin(M_PI / n), apothem = cos(M_PI / n), off = 1e-4;
        for (int i = -80; i <= 60; i++) {
            double by = i * 0.1; /* the frame is 16 wide, the hole 8 */
            double s = 20 * apothem + by, t = 4 * apothem - by, tan1 = n * tan(M_PI / n), want = 0;
            if (by > 0) {
                want = big * 400 + side * 20 * by + M_PI * by * by - (t > 0 ? tan1 * t * t : 0);
            } else if (s > 4 - by) {
                want = tan1 * s * s - (big * 16 - side * 4 * by + M_PI * by * by);
            }
            if (fabs(t) < 1e-3 ||
                fabs(s - 4 + by) < 1) { /* about to close: the corners of one, the arcs of the other */
                continue;
            }
            po_arena *arena = po_arena_new(0);
            po_loops r = offset(&a, by, off, arena);
            if (fabs(area_of(&r) - want) > 200 * off || r.n_loops != (size_t)(want > 0) + (want > 0 && t > 0)) {
                fail_msg("%d corners by %g: %g in %zu loops, not %g", n, by, area_of(&r), r.n_loops, want);
            }
            po_arena_free(arena);
        }
    }
}

/* The chords of an arc end on it and are no more than the error off. */
static void arcs(void **state)
{
    (void)state;
    *sa = (shape){0};
    shape_box(sa, 0, 0, 10, 10);
    po_loops a = shape_loops(sa);
    static const double offs[] = {1e-5, 1e-4, 1e-3, 0.01, 0.1, 1, 10};
    for (size_t k = 0; k < sizeof offs / sizeof *offs; k++) {
        po_arena *arena = po_arena_new(0);
        po_loops r = offset(&a, 3, offs[k], arena);
        for (size_t i = 0; i < r.n_points; i++) {
            const double *p = r.xy + 2 * i, *q = r.xy + 2 * ((i + 1) % r.n_points);
            assert_true(fabs(edge_distance(&a, p[0], p[1]) - 3) < 2e-7);
            assert_true(edge_distance(&a, (p[0] + q[0]) / 2, (p[1] + q[1]) / 2) > 3 - offs[k] * (1 + 1e-6) - 2e-7);
        }
        double step = 4 * asin(fmin(1, sqrt(offs[k] / 6)));
        assert_int_equal(r.n_points, 4 * (1 + (int)ceil(M_PI / 2 / fmin(step, M_PI) - 1e-9)));
        po_arena_free(arena);
    }
}

static void refusals(void **state)
{
    (void)state;
    static const double bad[][2] = {{NAN, 1},   {INFINITY, 1}, {2e6, 1},      {-2e6, 1}, {1, NAN},
                                    {1, -1e-3}, {1, 0},        {1, INFINITY}, {1, 1e7}};
    po_arena *arena = po_arena_new(0);
    po_loops r = {0};
    po_err err;
    *sa = (shape){0};
    shape_box(sa, 0, 0, 1, 1);
    po_loops a = shape_loops(sa);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_equal(po_loops_offset(&a, bad[i][0], bad[i][1], arena, &r, &err), PO_E_RANGE);
        assert_int_equal(err.code, PO_E_RANGE);
    }
    sa->xy[3] = NAN;
    assert_int_equal(po_loops_offset(&a, 1, 1e-3, arena, &r, &err), PO_E_RANGE);
    sa->xy[3] = 0;
    /* arcs of more points than there may be */
    *sa = (shape){0};
    for (int i = 0; i < 2; i++) {
        shape_box(sa, i * 3, 0, i * 3 + 1, 1);
    }
    a = shape_loops(sa);
    assert_int_equal(po_loops_offset(&a, 1e6, 1e-12, arena, &r, &err), PO_E_LIMIT);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(closed_forms), cmocka_unit_test(steiner), cmocka_unit_test(by_distance),
        cmocka_unit_test(closing),      cmocka_unit_test(circles), cmocka_unit_test(arcs),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests_name("offset", tests, begin, end);
}
