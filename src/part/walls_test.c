/* Checks of walls and gaps. SPDX-License-Identifier: Apache-2.0
 * Outside: closed forms (distances between planes, cylinders and spheres; areas of the faces), stated beside each. What
 * must not be called a wall are shapes that every shop prints daily: common practice, no published source. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/walls_shapes.h"
#include "part/weld.h"
#include "proveout/solid.h"

static const double BEAD = 0.45;
#define PI 3.14159265358979323846

static po_mesh weld_soup(const soup *s, po_arena *arena)
{
    po_weld weld;
    assert_true(po_weld_init(&weld, arena, s->n));
    for (size_t t = 0; t < s->n; t += PO_WELD_BATCH) {
        assert_true(po_weld_add(&weld, s->nine + 9 * t, s->n - t < PO_WELD_BATCH ? s->n - t : PO_WELD_BATCH));
    }
    po_weld_done(&weld);
    return (po_mesh){weld.xyz, weld.n_vertices, weld.corners, weld.n_triangles};
}

/* Samples are not kept: their arena ends here. */
static po_wall_facts walls_of(const soup *s, size_t rays, uint64_t seed, int threads)
{
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = weld_soup(s, arena);
    po_wall_facts facts;
    po_err err;
    assert_int_equal(po_mesh_walls(&mesh, BEAD, rays, seed, threads, arena, &facts, &err), PO_OK);
    facts.samples = NULL;
    po_arena_free(arena);
    return facts;
}

static bool near(double a, double b, double within)
{
    return fabs(a - b) <= within;
}

#define check_near(a, b, within)                                                                                       \
    do {                                                                                                               \
        double check_a = (a), check_b = (b), check_w = (within);                                                       \
        if (!near(check_a, check_b, check_w)) {                                                                        \
            print_error("%s = %.9g, wanted %.9g within %.3g\n", #a, check_a, check_b, check_w);                        \
        }                                                                                                              \
        assert_true(near(check_a, check_b, check_w));                                                                  \
    } while (0)

static void show(const char *name, const po_wall_facts *f)
{
    if (getenv("PO_SHOW")) {
        print_message("%-28s wall %8.4f sheet %8.4f thin %9.3f/%9.3f slim %9.3f/%9.3f err %.2f gap %.4f %.3f (%llu)\n",
                      name, f->thinnest_wall_mm, f->thinnest_sheet_mm, f->thin_sheet_mm2, f->thin_wall_mm2,
                      f->slim_sheet_mm2, f->slim_wall_mm2, f->area_error_mm2, f->narrowest_gap_mm, f->gap_mm2,
                      (unsigned long long)f->rays);
    }
}

/* ---- walls that are there ---- */

static void test_slab(void **state)
{
    (void)state;
    static const double thick[] = {0.003, 0.1, 0.3, 0.44, 0.46, 0.8, 5};
    for (size_t i = 0; i < sizeof thick / sizeof *thick; i++) {
        for (int tumbled = 0; tumbled < 2; tumbled++) {
            soup s = {0};
            soup_box(&s, 0, 0, 0, 40, 30, thick[i]);
            if (tumbled) {
                soup_tumble(&s);
            }
            po_wall_facts f = walls_of(&s, 0, 7, 0);
            free(s.nine);
            show("slab", &f);
            /* distance of two planes; area of both faces. The sides look along the slab. */
            check_near(f.thinnest_wall_mm, thick[i], 1e-9);
            check_near(f.thinnest_sheet_mm, thick[i], 1e-9);
            double both = 2 * 40 * 30, area = both + 2 * 70 * thick[i], point = area / (double)f.rays;
            bool thin = thick[i] < BEAD, slim = !thin && thick[i] < 2 * BEAD;
            check_near(f.thin_wall_mm2, thin ? both : 0, 8 * point); /* each face's share to a point or two */
            check_near(f.slim_wall_mm2, slim ? both : 0, 8 * point);
            assert_true(f.thin_sheet_mm2 == f.thin_wall_mm2 && f.slim_sheet_mm2 == f.slim_wall_mm2);
            assert_true(isnan(f.narrowest_gap_mm) && f.gap_mm2 == 0);
            assert_true(f.seed == 7 && f.bead_mm == BEAD && f.rays >= 2 * 40 * 30);
        }
    }
}

static void test_thin_part_of_a_plate(void **state)
{
    (void)state;
    /* A plate 3 mm thick with a field of 10 by 8 mm, 0.4 mm thick: 160 mm2 in both faces. */
    double x[] = {0, 20, 30, 60}, y[] = {0, 10, 18, 40}, z[] = {0, 0.4, 3};
    soup s = {0};
    soup_grid(&s, x, 3, y, 3, z, 2,
              "#########"
              "####.####");
    po_wall_facts f = walls_of(&s, 0, 3, 0);
    show("field", &f);
    check_near(f.thinnest_sheet_mm, 0.4, 1e-9);
    check_near(f.thin_sheet_mm2, 160, 3 * f.area_error_mm2);
    check_near(f.thin_wall_mm2, 160, 3 * f.area_error_mm2);
    assert_true(f.sheet_at[0] > 20 && f.sheet_at[0] < 30 && f.sheet_at[1] > 10 && f.sheet_at[1] < 18);
    assert_true(f.area_error_mm2 > 0 && f.area_error_mm2 < 16);
    /* Binomial: A sqrt(p (1 - p) / n). */
    double area = 2 * 60 * 40 + 2 * 100 * 3 + 36 * 2.6, p = f.thin_wall_mm2 / area;
    check_near(f.area_error_mm2, area * sqrt(p * (1 - p) / (double)f.rays), 1e-6 * area);
    free(s.nine);
}

static void test_fin(void **state)
{
    (void)state;
    /* A fin 0.3 mm thick, 6 mm high, 20 mm long on a block: 2 * 120 mm2. A rib 0.2 mm wide and high comes out as well. */
    static const struct {
        double thick, high;
    } fins[] = {{0.3, 6}, {0.2, 0.2}, {0.4, 2}};
    for (size_t i = 0; i < 3; i++) {
        double x[] = {0, 10, 30, 40}, y[] = {0, 10, 10 + fins[i].thick, 20}, z[] = {0, 5, 5 + fins[i].high};
        soup s = {0};
        soup_grid(&s, x, 3, y, 3, z, 2,
                  "#########"
                  "....#....");
        soup_tumble(&s);
        po_wall_facts f = walls_of(&s, 0, 3, 0);
        show("fin", &f);
        check_near(f.thinnest_sheet_mm, fins[i].thick, 1e-9);
        check_near(f.thin_sheet_mm2, 2 * 20 * fins[i].high, 3 * f.area_error_mm2 + 1e-9);
        assert_true(isnan(f.narrowest_gap_mm));
        free(s.nine);
    }
}

static void test_many_fins(void **state)
{
    (void)state;
    /* 300 fins 0.3 mm thick, 10 high, 20 long, 0.4 mm apart on a block: lines along it meet up to 600 faces. */
    enum { FINS = 300, PLANES = 2 * FINS };
    double x[PLANES], y[] = {0, 20}, z[] = {0, 3, 13};
    char full[2 * (PLANES - 1)];
    for (int i = 0; i < PLANES; i++) {
        x[i] = 0.7 * (i / 2) + 0.3 * (i % 2);
    }
    for (int i = 0; i < PLANES - 1; i++) {
        full[i] = '#';
        full[PLANES - 1 + i] = i % 2 ? '.' : '#';
    }
    soup s = {0};
    soup_grid(&s, x, PLANES - 1, y, 1, z, 2, full);
    soup_tumble(&s);
    po_wall_facts f = walls_of(&s, 20000, 3, 0);
    show("many fins", &f);
    double area = 2 * 20 * 10; /* of one fin */
    check_near(f.thinnest_sheet_mm, 0.3, 1e-9);
    check_near(f.thin_sheet_mm2, FINS * area, 4 * f.area_error_mm2);
    check_near(f.narrowest_gap_mm, 0.4, 1e-9);
    check_near(f.gap_mm2, (FINS - 1) * area, 4 * f.area_error_mm2);
    free(s.nine);
}

static void test_tubes_and_cups(void **state)
{
    (void)state;
    static const size_t steps[] = {16, 24, 64, 360};
    for (size_t i = 0; i < 4; i++) {
        size_t m = steps[i];
        double chord = cos(PI / (double)m); /* a facet's distance from the axis by that of its corners */
        /* A tube of 0.6 mm wall: 2 pi (r + R) h, by facets. */
        double tube[][2] = {{10 - 0.6, 0}, {10, 0}, {10, 25}, {10 - 0.6, 25}};
        soup s = {0};
        soup_lathe(&s, tube, 4, m, true);
        po_wall_facts f = walls_of(&s, 0, 1, 0);
        show("tube", &f);
        check_near(f.thinnest_sheet_mm, 0.6 * chord, 1e-3);
        double round = 2 * (double)m * sin(PI / (double)m);
        check_near(f.slim_sheet_mm2, round * (19.4) * 25, 0.025 * round * 19.4 * 25);
        assert_true(f.thin_sheet_mm2 == 0 && f.thin_wall_mm2 < 1);
        free(s.nine);
        /* A cup with a wall of 0.4 and a floor of 2 mm. */
        double cup[][2] = {{0, 0}, {10, 0}, {10, 20}, {9.6, 20}, {9.6, 2}, {0, 2}};
        s = (soup){0};
        soup_lathe(&s, cup, 6, m, false);
        soup_tumble(&s);
        f = walls_of(&s, 0, 1, 0);
        show("cup", &f);
        check_near(f.thinnest_sheet_mm, 0.4 * chord, 1e-3);
        double wanted = round * (10 + 9.6) * 18;
        check_near(f.thin_sheet_mm2, wanted, 0.03 * wanted);
        free(s.nine);
        /* A hollow ball of 0.35 mm wall. */
        soup inner = {0};
        s = (soup){0};
        soup_ball(&s, 0, 0, 0, 12, m, m / 2);
        soup_ball(&inner, 0, 0, 0, 11.65, m, m / 2);
        soup_turn_round(&inner);
        for (size_t t = 0; t < inner.n; t++) {
            soup_add(&s, inner.nine + 9 * t, inner.nine + 9 * t + 3, inner.nine + 9 * t + 6);
        }
        f = walls_of(&s, 0, 1, 0);
        show("hollow ball", &f);
        assert_true(f.thinnest_sheet_mm > 0.35 * chord * chord - 1e-3 && f.thinnest_sheet_mm < 0.35 + 1e-3);
        wanted = 4 * PI * (12 * 12 + 11.65 * 11.65);
        check_near(f.thin_sheet_mm2, wanted, (m < 20 ? 0.1 : 0.04) * wanted);
        free(s.nine);
        free(inner.nine);
    }
}

static void test_pins(void **state)
{
    (void)state;
    static const size_t steps[] = {5, 8, 9, 12, 32};
    for (size_t i = 0; i < 5; i++) {
        double pin[][2] = {{0, 0}, {0.15, 0}, {0.15, 8}, {0, 8}}; /* 0.3 mm across */
        soup s = {0};
        soup_lathe(&s, pin, 4, steps[i], false);
        po_wall_facts f = walls_of(&s, 0, 1, 0);
        show("pin", &f);
        double side = 2 * (double)steps[i] * 0.15 * sin(PI / (double)steps[i]) * 8;
        if (steps[i] > 5) { /* a bar of five sides has no two that face each other */
            assert_true(f.thin_sheet_mm2 > 0.6 * side);
        }
        assert_true(f.thin_wall_mm2 > 0.98 * side);
        free(s.nine);
    }
}

static void test_whole_bodies(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 5, 6, 7, 30, 10, 20);
    soup_tumble(&s);
    po_wall_facts f = walls_of(&s, 0, 1, 0);
    show("box", &f);
    check_near(f.thinnest_wall_mm, 10, 1e-9); /* its least side */
    check_near(f.thinnest_sheet_mm, 10, 1e-9);
    free(s.nine);
    s = (soup){0};
    soup_ball(&s, 0, 0, 0, 10, 64, 32);
    f = walls_of(&s, 0, 1, 0);
    show("ball", &f);
    assert_true(f.thinnest_wall_mm <= 20 && f.thinnest_wall_mm > 20 * cos(PI / 64 * sqrt(2)) - 1e-3);
    free(s.nine);
    s = (soup){0};
    double tube[][2] = {{6, 0}, {10, 0}, {10, 25}, {6, 25}};
    soup_lathe(&s, tube, 4, 128, true);
    f = walls_of(&s, 0, 1, 0);
    show("hollow cylinder", &f);
    check_near(f.thinnest_sheet_mm, 4 * cos(PI / 128), 1e-3);
    free(s.nine);
}

/* ---- edges, tips and curves that are no walls ---- */

static double thread(double turns, double z)
{
    double at = z / 1.5 - turns,
           part = at - floor(at); /* 60 degrees: flanks of 0.43 mm depth, flats at top and bottom */
    double up = part < 0.5 ? part : 1 - part, depth = 0.92;
    up = fmin(fmax((up - 0.06) / 0.34, 0), 1);
    return 4 + depth * up;
}

static double gear(double turns, double z)
{
    (void)z;
    double at = turns * 20, part = at - floor(at), up = part < 0.5 ? part : 1 - part;
    return 9 + 2 * fmin(fmax((up - 0.15) / 0.18, 0), 1);
}

static void no_sheet(const char *name, soup *s)
{
    for (int tumbled = 0; tumbled < 2; tumbled++) {
        po_wall_facts f = walls_of(s, 0, 5, 0);
        show(name, &f);
        if (f.thin_sheet_mm2 != 0 || f.gap_mm2 != 0) {
            print_error("%s: %.4f mm2 of sheets, thinnest %.4f at %.3f %.3f %.3f; %.4f mm2 of gaps at %.3f %.3f %.3f\n",
                        name, f.thin_sheet_mm2, f.thinnest_sheet_mm, f.sheet_at[0], f.sheet_at[1], f.sheet_at[2],
                        f.gap_mm2, f.gap_at[0], f.gap_at[1], f.gap_at[2]);
        }
        assert_true(f.thin_sheet_mm2 == 0);
        assert_true(f.slim_sheet_mm2 == 0);
        assert_true(f.gap_mm2 == 0 && isnan(f.narrowest_gap_mm));
        soup_tumble(s);
    }
    free(s->nine);
}

static void test_edges_and_tips(void **state)
{
    (void)state;
    soup s = {0};
    static const double half_angles[] = {4, 5, 6, 7, 8, 10, 12, 15, 20, 30, 45};
    for (size_t i = 0; i < sizeof half_angles / sizeof *half_angles; i++) {
        /* A wedge as for a door, and a cone, from sharp to blunt. Their edge or tip is not a wall. */
        double t = tan(half_angles[i] * PI / 180), wedge[][2] = {{0, 0}, {20, -20 * t}, {20, 20 * t}};
        s = (soup){0};
        soup_prism(&s, wedge, 3, 15, 0, 0, 25);
        no_sheet("wedge", &s);
        double lean[][2] = {{0, 0}, {20, 0}, {20, 20 * tan(2 * half_angles[i] * PI / 180)}};
        s = (soup){0};
        soup_prism(&s, lean, 3, 15, 0.1, 0, 25);
        if (half_angles[i] < 45) {
            no_sheet("door wedge", &s);
        } else {
            free(s.nine);
        }
        double cone[][2] = {{0, 0}, {20 * t, 0}, {0, 20}};
        static const size_t steps[] = {4, 5, 7, 16, 90};
        for (size_t k = 0; k < 5; k++) {
            if (2 * t * cos(PI / (double)steps[k]) < 0.15) {
                continue; /* a needle: thinner than a bead over more than eight beads */
            }
            s = (soup){0};
            soup_lathe(&s, cone, 3, steps[k], false);
            no_sheet("cone", &s);
        }
    }
}

static void test_ordinary_parts(void **state)
{
    (void)state;
    soup s = {0};
    soup_tetra(&s, 0, 0, 0, 20);
    no_sheet("tetrahedron", &s);
    static const size_t steps[] = {6, 12, 48, 200};
    for (size_t i = 0; i < 4; i++) {
        s = (soup){0};
        soup_ball(&s, 0, 0, 0, 8, steps[i], steps[i] / 2);
        no_sheet("ball", &s);
        s = (soup){0};
        soup_torus(&s, 0, 0, 0, 10, 3, steps[i], steps[i]);
        no_sheet("ring", &s);
        /* A turned pin with chamfers of 0.3 mm, a collar, and a pointed end. */
        double turned[][2] = {{0, 0}, {4.7, 0}, {5, 0.3}, {5, 2.7}, {4.7, 3}, {3.3, 3}, {3, 3.3}, {3, 15}, {0, 18}};
        s = (soup){0};
        soup_lathe(&s, turned, 9, steps[i], false);
        no_sheet("turned pin", &s);
        /* A plate with a countersunk hole: inwards its edges are obtuse. */
        double sunk[][2] = {{2, 0}, {15, 0}, {15, 4}, {4, 4}, {2, 2}};
        s = (soup){0};
        soup_lathe(&s, sunk, 5, steps[i], true);
        no_sheet("countersunk ring", &s);
        /* A lens with a sharp rim: two caps that meet at 43 degrees. */
        double lens[41][2]; /* radius 30, rim at 10 */
        for (int k = 0; k <= 40; k++) {
            double r = 10 - fabs(k - 20.0) / 2, high = sqrt(900 - r * r) - sqrt(800);
            lens[k][0] = r;
            lens[k][1] = k < 20 ? -high : high;
        }
        s = (soup){0};
        soup_lathe(&s, lens, 41, steps[i], false);
        no_sheet("lens", &s);
        /* A foot with a hollow of 3 mm radius that runs out on the floor in a feather edge: 0.45 mm at 1.64 mm. */
        double foot[26][2] = {{0, 0}, {9, 0}};
        for (int k = 0; k <= 20; k++) {
            double u = k / 20.0 * PI / 2; /* from (9, 0) up to (6, 3) round (9, 3) */
            foot[2 + k][0] = 9 - 3 * sin(u);
            foot[2 + k][1] = 3 - 3 * cos(u);
        }
        foot[2][0] = 9;
        foot[23][0] = 6;
        foot[23][1] = 10;
        foot[24][0] = 0;
        foot[24][1] = 10;
        memmove(foot + 2, foot + 3, 22 * sizeof *foot);
        s = (soup){0};
        soup_lathe(&s, foot, 24, steps[i], false);
        no_sheet("feather-edged foot", &s);
    }
    s = (soup){0};
    soup_bar(&s, thread, 9, 120, 240);
    no_sheet("thread", &s);
    s = (soup){0};
    soup_bar(&s, gear, 6, 400, 2);
    no_sheet("gear", &s);
    /* A box whose edges are chamfered by 0.2 mm all round its top. */
    double chamfered[][2] = {{0, 0}, {20, 0}, {20, 9.8}, {19.8, 10}, {0.2, 10}, {0, 9.8}};
    s = (soup){0};
    soup_prism(&s, chamfered, 6, 10, 5, 0, 15);
    no_sheet("chamfered box", &s);
    /* Inner corners: an L, a V-groove of 60 and of 20 degrees. */
    double bent[][2] = {{0, 0}, {20, 0}, {20, 3}, {3, 3}, {3, 20}, {0, 20}};
    s = (soup){0};
    soup_prism(&s, bent, 6, 1.5, 1.5, 0, 15);
    no_sheet("L", &s);
    static const double grooves[] = {10, 15, 20, 45, 60, 90};
    for (size_t i = 0; i < 6; i++) {
        double half = 4 * tan(grooves[i] / 2 * PI / 180);
        double groove[][2] = {{-10, 0}, {10, 0}, {10, 10}, {half, 10}, {0, 6}, {-half, 10}, {-10, 10}};
        s = (soup){0};
        soup_prism(&s, groove, 7, 0, 3, 0, 15);
        no_sheet("V-groove", &s);
    }
    /* Letters cut 0.6 mm deep with strokes 1 mm wide, 1 mm apart. */
    double x[] = {0, 2, 3, 4, 5, 6, 7, 8, 10}, y[] = {0, 2, 3, 4, 5, 6, 8}, z[] = {0, 2.4, 3};
    s = (soup){0};
    soup_grid(&s, x, 8, y, 6, z, 2,
              "################################################"
              "########"
              "#...#..#"
              "#.###.##"
              "#...#..#"
              "#.#.##.#"
              "########");
    no_sheet("letters", &s);
}

static void test_slow_tapers(void **state)
{
    (void)state;
    /* A blade of 3 degrees is thinner than a bead over 8.6 mm: it is missing there. Both faces, 25 mm long; along the
     * inward normal of one face the other is d tan(3 degrees) away. */
    double blade[][2] = {{0, 0}, {20, -20 * tan(1.5 * PI / 180)}, {20, 20 * tan(1.5 * PI / 180)}};
    soup s = {0};
    soup_prism(&s, blade, 3, 15, 0, 0, 25);
    soup_tumble(&s);
    po_wall_facts f = walls_of(&s, 0, 1, 0);
    show("blade", &f);
    double wanted = 2 * 25 * BEAD / tan(3 * PI / 180);
    check_near(f.thin_sheet_mm2, wanted, 0.02 * wanted);
    free(s.nine);
    /* Fins 8 mm high with a draft of 1 and 2 degrees a side, 0.2 and 0.3 mm at the top: thin down to where they are as
     * thick as a bead (measured square to a side, which leans). */
    for (int i = 0; i < 4; i++) {
        double draft = (1 + i % 2) * PI / 180, top = i < 2 ? 0.2 : 0.3, base = top + 16 * tan(draft);
        double fin[][2] = {{-5, 0},       {5, 0},         {5, 3},         {base / 2, 3},
                           {top / 2, 11}, {-top / 2, 11}, {-base / 2, 3}, {-5, 3}};
        s = (soup){0};
        soup_prism(&s, fin, 8, 0, 2.9, 0, 25);
        soup_tumble(&s);
        f = walls_of(&s, 0, 1, 0);
        show("drafted fin", &f);
        double along = fmin(8 / cos(draft), (BEAD / cos(2 * draft) * cos(draft) - top) / (2 * sin(draft)));
        check_near(f.thin_sheet_mm2, 2 * 25 * along, 0.06 * 2 * 25 * along);
        free(s.nine);
    }
}

static void test_curves_that_touch(void **state)
{
    (void)state;
    /* A ball and a rod that are let a little into a plate: the air between them runs out, as in any inner corner. */
    static const double sunk[] = {0.02, 0.1, 0.5};
    for (size_t i = 0; i < 3; i++) {
        soup s = {0};
        soup_box(&s, -15, -15, -4, 30, 30, 4);
        soup_ball(&s, 0, 0, 5 - sunk[i], 5, 90, 45);
        no_sheet("ball on a plate", &s);
        double section[60][2];
        for (int k = 0; k < 60; k++) {
            section[k][0] = 4 * cos(2 * PI * k / 60);
            section[k][1] = 4 * sin(2 * PI * k / 60) + 4 - sunk[i];
        }
        s = (soup){0};
        soup_prism(&s, section, 60, 0, 4 - sunk[i], 0, 20);
        soup_box(&s, -10, -4, 0, 20, 4, 20);
        no_sheet("rod on a plate", &s);
    }
    /* 0.1 mm above, it is a gap: as wide as a bead where r^2 / 2R = 0.35 mm, at r = 1.87 mm; on ball and plate. */
    soup s = {0};
    soup_box(&s, -15, -15, -4, 30, 30, 4);
    soup_ball(&s, 0, 0, 5.1, 5, 180, 180);
    po_wall_facts f = walls_of(&s, 400000, 1, 0);
    show("ball above a plate", &f);
    check_near(f.narrowest_gap_mm, 0.1, 0.005);
    check_near(f.gap_mm2, 2 * PI * 2 * 5 * 0.35, 0.1 * 2 * PI * 2 * 5 * 0.35);
    free(s.nine);
}

/* ---- gaps ---- */

static void test_gaps(void **state)
{
    (void)state;
    /* A slot 0.3 mm wide, 5 mm deep, 20 mm long across a block: two faces of 100 mm2. */
    double x[] = {0, 10, 10.3, 20}, y[] = {0, 20}, z[] = {0, 5, 10};
    soup s = {0};
    soup_grid(&s, x, 3, y, 1, z, 2, "####.#");
    soup_tumble(&s);
    po_wall_facts f = walls_of(&s, 0, 1, 0);
    show("slot", &f);
    check_near(f.narrowest_gap_mm, 0.3, 1e-9);
    check_near(f.gap_mm2, 200, 12);
    assert_true(f.thin_sheet_mm2 == 0);
    free(s.nine);
    /* A hole 0.3 mm across through 6 mm: pi d h. */
    double ring[][2] = {{0.15, 0}, {8, 0}, {8, 6}, {0.15, 6}};
    s = (soup){0};
    soup_lathe(&s, ring, 4, 24, true);
    f = walls_of(&s, 200000, 1, 0);
    show("hole", &f);
    check_near(f.narrowest_gap_mm, 0.3, 0.01);
    check_near(f.gap_mm2, PI * 0.3 * 6, 0.6);
    free(s.nine);
    /* Two boxes 0.2 mm apart; in contact, and as good as in contact, there is no gap, and no end of the material. */
    static const double apart[] = {0.2, 0, 1e-6, -1e-6, -0.1};
    for (size_t i = 0; i < 5; i++) {
        s = (soup){0};
        soup_box(&s, 0, 0, 0, 20, 20, 0.4);
        soup_box(&s, 0, 0, 0.4 + apart[i], 20, 20, 3);
        soup_tumble(&s);
        f = walls_of(&s, 0, 1, 0);
        show("two boxes", &f);
        if (i == 0) {
            check_near(f.narrowest_gap_mm, 0.2, 1e-9);
            check_near(f.gap_mm2, 800, 12);
            check_near(f.thin_sheet_mm2, 800, 12);
        } else {
            assert_true(isnan(f.narrowest_gap_mm) && f.gap_mm2 == 0);
            assert_true(f.thin_wall_mm2 == 0);
            check_near(f.thinnest_wall_mm, 3.4 + apart[i], 1e-9);
        }
        free(s.nine);
    }
}

static void test_bodies_that_overlap(void **state)
{
    (void)state;
    /* A letter as a body of its own, let 0.2 mm into a plate: what is buried is no wall. */
    soup s = {0};
    soup_box(&s, 0, 0, 0, 30, 30, 3);
    soup_box(&s, 10, 10, 2.8, 5, 5, 2);
    soup_tumble(&s);
    po_wall_facts f = walls_of(&s, 0, 1, 0);
    show("letter let in", &f);
    assert_true(f.thin_wall_mm2 == 0 && f.slim_wall_mm2 == 0 && f.gap_mm2 == 0);
    check_near(f.thinnest_wall_mm, 3, 1e-9);
    free(s.nine);
    /* Three slabs of 0.3 mm side by side that overlap by 0.1: 0.7 mm in all. */
    s = (soup){0};
    for (int i = 0; i < 3; i++) {
        soup_box(&s, 0, 0, 0.2 * i, 30, 30, 0.3);
    }
    f = walls_of(&s, 0, 1, 0);
    show("slabs in a heap", &f);
    check_near(f.thinnest_sheet_mm, 0.7, 1e-9);
    assert_true(f.thin_sheet_mm2 == 0);
    check_near(f.slim_sheet_mm2, 1800, 12);
    free(s.nine);
}

static void test_inside_out(void **state)
{
    (void)state;
    /* The same facts, but for where the points lie, whichever way the whole or one body of it runs: a cup, a box with a hollow, a box beside. */
    soup cup = {0};
    double profile[][2] = {{0, 0}, {10, 0}, {10, 20}, {9.6, 20}, {9.6, 2}, {0, 2}};
    soup_lathe(&cup, profile, 6, 48, false);
    size_t whole = cup.n;
    soup_box(&cup, 30, 0, 0, 10, 10, 0.3);
    soup hollow = {0};
    soup_box(&cup, 50, 0, 0, 10, 10, 10);
    soup_box(&hollow, 50.4, 0.4, 0.4, 9.2, 9.2, 9.2);
    soup_turn_round(&hollow);
    for (size_t t = 0; t < hollow.n; t++) {
        soup_add(&cup, hollow.nine + 9 * t, hollow.nine + 9 * t + 3, hollow.nine + 9 * t + 6);
    }
    po_wall_facts right = walls_of(&cup, 0, 1, 0);
    show("right way round", &right);
    check_near(right.thinnest_sheet_mm, 0.3, 1e-9);
    double cup_area = 2 * 48 * sin(PI / 48) * 19.6 * 18; /* wall of the cup, slab, and six walls inside and out */
    check_near(right.thin_sheet_mm2, cup_area + 200 + 600 + 6 * 9.2 * 9.2, 0.03 * right.thin_sheet_mm2);
    soup_turn_round(&cup);
    po_wall_facts wrong = walls_of(&cup, 0, 1, 0);
    show("all inside out", &wrong);
    check_near(wrong.thin_sheet_mm2, right.thin_sheet_mm2, 3 * right.area_error_mm2);
    check_near(wrong.thinnest_sheet_mm, 0.3, 1e-9);
    assert_true(right.gap_mm2 == 0 && wrong.gap_mm2 == 0);
    soup_turn_round(&cup);
    soup one = {.nine = cup.nine + 9 * whole, .n = 12}; /* the slab alone */
    soup_turn_round(&one);
    wrong = walls_of(&cup, 0, 1, 0);
    show("one inside out", &wrong);
    check_near(wrong.thin_sheet_mm2, right.thin_sheet_mm2, 3 * right.area_error_mm2);
    check_near(wrong.thinnest_sheet_mm, 0.3, 1e-9);
    assert_true(wrong.gap_mm2 == 0);
    free(cup.nine);
    free(hollow.nine);
}

/* ---- promises ---- */

static void same(const po_wall_facts *a, const po_wall_facts *b)
{
    po_wall_facts p = *a, q = *b;
    p.samples = q.samples = NULL;
    assert_memory_equal(&p, &q, sizeof p);
}

static void test_same_answer(void **state)
{
    (void)state;
    soup s = {0};
    soup_torus(&s, 0, 0, 0, 10, 0.35, 200, 60);
    double tube[][2] = {{9.6, 0}, {10, 0}, {10, 25}, {9.6, 25}};
    soup_lathe(&s, tube, 4, 100, true);
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = weld_soup(&s, arena);
    po_wall_facts facts[5];
    po_err err;
    assert_int_equal(po_mesh_walls(&mesh, BEAD, 100000, 1, 1, arena, facts, &err), PO_OK);
    assert_true(facts[0].thin_sheet_mm2 > 1000 && facts[0].n_samples == 4000);
    /* Thin ones first, each where the mesh is and as thick as it is said to be. */
    for (size_t i = 0; i < facts[0].n_samples; i++) {
        const po_wall_sample *a = facts[0].samples + i;
        double r = hypot(a->at[0], a->at[1]);
        assert_true(r > 9.5 && r < 10.4 && a->mm < 2 * BEAD);
        if (i > 0 && a[-1].mm >= BEAD) {
            assert_true(a->mm >= BEAD);
        }
    }
    assert_int_equal(po_mesh_walls(&mesh, BEAD, 100000, 1, 2, arena, facts + 1, &err), PO_OK);
    assert_int_equal(po_mesh_walls(&mesh, BEAD, 100000, 1, 7, arena, facts + 2, &err), PO_OK);
    soup_shuffle(&s, 99);
    po_mesh shuffled = weld_soup(&s, arena);
    assert_int_equal(po_mesh_walls(&shuffled, BEAD, 100000, 1, 2, arena, facts + 3, &err), PO_OK);
    for (int i = 1; i < 4; i++) {
        same(facts, facts + i);
        assert_memory_equal(facts[0].samples, facts[i].samples, facts[0].n_samples * sizeof *facts[0].samples);
    }
    /* Another seed: other points, the same area within the error. */
    assert_int_equal(po_mesh_walls(&mesh, BEAD, 100000, 2, 2, arena, facts + 4, &err), PO_OK);
    assert_memory_not_equal(facts[0].samples, facts[4].samples, 1000 * sizeof *facts[0].samples);
    check_near(facts[4].thin_wall_mm2, facts[0].thin_wall_mm2, 3 * facts[0].area_error_mm2);
    po_arena_free(arena);
    free(s.nine);
}

static void test_size_and_place(void **state)
{
    (void)state;
    /* A slab far from the origin, and a mesh of nothing but odd things. */
    soup s = {0};
    soup_box(&s, 4000, -7000, 9000, 40, 30, 0.3);
    po_wall_facts f = walls_of(&s, 0, 1, 0);
    check_near(f.thinnest_sheet_mm, 0.3, 1e-9);
    free(s.nine);
    double xyz[] = {0, 0, 0, 10, 0, 0, 0, 10, 0, 5, 5, 5}, wrong[] = {0, 0, 0, 10, NAN, 0, 0, 10, 0};
    uint32_t one[] = {0, 1, 2}, flat[] = {0, 0, 1, 2, 2, 2}, beyond[] = {0, 1, 4};
    po_arena *arena = po_arena_new(0);
    po_err err;
    po_mesh open = {xyz, 4, one, 1}, none = {xyz, 4, one, 0}, lines = {xyz, 4, flat, 2}, bad = {xyz, 4, beyond, 1},
            nan_mesh = {wrong, 3, one, 1};
    assert_int_equal(po_mesh_walls(&open, BEAD, 0, 1, 0, arena, &f, &err), PO_OK); /* a ray that meets nothing */
    assert_true(isnan(f.thinnest_wall_mm) && isnan(f.thinnest_at[0]) && f.thin_wall_mm2 == 0 && f.n_samples == 0);
    assert_int_equal(po_mesh_walls(&none, BEAD, 0, 1, 0, arena, &f, &err), PO_OK);
    assert_true(isnan(f.thinnest_wall_mm) && f.rays == 0 && f.area_error_mm2 == 0);
    assert_int_equal(po_mesh_walls(&lines, BEAD, 0, 1, 0, arena, &f, &err), PO_OK);
    assert_true(isnan(f.thinnest_sheet_mm) && f.rays == 0);
    assert_int_equal(po_mesh_walls(&bad, BEAD, 0, 1, 0, arena, &f, &err), PO_E_RANGE);
    assert_true(err.byte == 0);
    assert_int_equal(po_mesh_walls(&nan_mesh, BEAD, 0, 1, 0, arena, &f, &err), PO_E_RANGE);
    assert_true(err.byte == 1);
    assert_int_equal(po_mesh_walls(&open, 0, 0, 1, 0, arena, &f, &err), PO_E_RANGE);
    assert_int_equal(po_mesh_walls(&open, NAN, 0, 1, 0, arena, &f, &err), PO_E_RANGE);
    assert_int_equal(po_mesh_walls(&open, BEAD, (size_t)1 << 40, 1, 0, arena, &f, &err), PO_E_RANGE);
    po_arena_free(arena);
}

/* Meshes of shared/data/mesh, from drawings of real parts; figures from its manifest.tsv. */
static bool real_walls(const char *name, size_t object, double scale, po_wall_facts *ret, po_mesh_facts *ret_mesh)
{
    const char *shared = getenv("PO_SHARED");
    char path[4096];
    snprintf(path, sizeof path, "%s/data/mesh/%s", shared ? shared : "", name);
    FILE *file = shared ? fopen(path, "rb") : NULL;
    if (!file) {
        print_message("%s is not there: not tried\n", name);
        return false;
    }
    fclose(file);
    po_arena *arena = po_arena_new(0);
    po_source source = {.path = path};
    const po_part *part;
    po_err err;
    assert_int_equal(po_part_read(&source, NULL, arena, &part, &err), PO_OK);
    assert_true(object < part->n_objects);
    assert_int_equal(po_mesh_measure(&part->objects[object].mesh, 0, arena, ret_mesh, &err), PO_OK);
    po_mesh mesh = *ret_mesh->judged;
    double *xyz = malloc(3 * mesh.n_vertices * sizeof *xyz);
    assert_non_null(xyz);
    for (size_t i = 0; i < 3 * mesh.n_vertices; i++) {
        xyz[i] = mesh.xyz[i] * scale;
    }
    mesh.xyz = xyz;
    po_status status = po_mesh_walls(&mesh, BEAD, 0, 1, 0, arena, ret, &err);
    free(xyz);
    ret_mesh->judged = NULL;
    ret->samples = NULL;
    po_arena_free(arena);
    assert_int_equal(status, PO_OK);
    show(name, ret);
    return true;
}

static void test_real_parts(void **state)
{
    (void)state;
    po_wall_facts f;
    po_mesh_facts m;
    if (real_walls("unit_cube.STL", 0, 10, &f, &m)) { /* extents 1 x 1 x 1 */
        check_near(f.thinnest_wall_mm, 10, 1e-5);
    }
    if (real_walls("torus.STL", 0, 10, &f, &m)) { /* 1 across the ring (its extent along the axis: 0.998), in facets */
        assert_true(f.thinnest_sheet_mm > 9.9 && f.thinnest_sheet_mm < 10);
        assert_true(f.thin_wall_mm2 == 0 && f.gap_mm2 == 0);
    }
    if (real_walls("cylinder.stl", 0, 5, &f, &m)) { /* extents 2 x 2 x 8 */
        assert_true(f.thinnest_sheet_mm > 9.9 && f.thinnest_sheet_mm <= 10);
    }
    if (real_walls("round.stl", 0, 1, &f, &m)) { /* a tube: volume 277.9, area 1835.7: a wall of twice their ratio */
        double wall = 2 * m.volume_mm3 / m.area_mm2;
        check_near(f.thinnest_sheet_mm, wall, 0.03 * wall);
        check_near(f.thin_sheet_mm2, m.area_mm2, 0.01 * m.area_mm2);
    }
    /* A plate with holes, a block with a countersunk screw whose thread has 60 degrees, a riser: nothing thin. */
    static const struct {
        const char *name;
        size_t object;
        double scale;
    } sound[] = {{"plate_holes.STL", 0, 0.5},  {"counterXP.3MF", 0, 1},      {"counterXP.3MF", 1, 1},
                 {"idler_riser.STL", 0, 25.4}, {"angle_block.STL", 0, 25.4}, {"busted.STL", 0, 5},
                 {"7_8ths_cube.stl", 0, 1}};
    for (size_t i = 0; i < sizeof sound / sizeof *sound; i++) {
        if (real_walls(sound[i].name, sound[i].object, sound[i].scale, &f, &m)) {
            assert_true(f.thin_sheet_mm2 == 0 && f.slim_sheet_mm2 == 0 && f.gap_mm2 == 0);
        }
    }
}

/* Without the ray library nothing here can be tried but that it is named. */
static bool have_rays(void)
{
    soup s = {0};
    soup_tetra(&s, 0, 0, 0, 10);
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = weld_soup(&s, arena);
    po_wall_facts facts;
    po_err err;
    po_status status = po_mesh_walls(&mesh, BEAD, 100, 1, 1, arena, &facts, &err);
    po_arena_free(arena);
    free(s.nine);
    if (status == PO_E_UNSUPPORTED) {
        print_message("%s\n", err.msg);
        assert_non_null(strstr(err.msg, "libembree3"));
    }
    return status != PO_E_UNSUPPORTED;
}

int main(void)
{
    if (!have_rays()) {
        return 77; /* skipped */
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_slab),
        cmocka_unit_test(test_thin_part_of_a_plate),
        cmocka_unit_test(test_fin),
        cmocka_unit_test(test_many_fins),
        cmocka_unit_test(test_tubes_and_cups),
        cmocka_unit_test(test_pins),
        cmocka_unit_test(test_whole_bodies),
        cmocka_unit_test(test_edges_and_tips),
        cmocka_unit_test(test_ordinary_parts),
        cmocka_unit_test(test_slow_tapers),
        cmocka_unit_test(test_curves_that_touch),
        cmocka_unit_test(test_gaps),
        cmocka_unit_test(test_bodies_that_overlap),
        cmocka_unit_test(test_inside_out),
        cmocka_unit_test(test_same_answer),
        cmocka_unit_test(test_size_and_place),
        cmocka_unit_test(test_real_parts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
