/* Checks of estimates. SPDX-License-Identifier: Apache-2.0 Outside: closed forms. Volumes of box, tube, cone and ball
 * (any table of solids; shared/handbook.md 6); lengths of wall loops around a tube and of lines in a rectangle; the
 * stadium's area (docs/measures.md, "Layers and beads"); a machine without inertia, whose time is length over speed.
 * tests/estimate_jobs.c compares with jobs. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/estimate.h"
#include "part/shapes_turned.h"
#include "part/weld.h"

static const double LOST = 1 - M_PI / 4;

/* Figures as the workshop's everyday recipe has them; speeds differ so that a mix-up shows. */
static const po_recipe EVERYDAY = {.name = "everyday",
                                   .layer_mm = 0.22,
                                   .bead_width_mm = 0.44,
                                   .walls = 3,
                                   .floors = 4,
                                   .roofs = 4,
                                   .fill_percent = 20,
                                   .wall_mm_s = 45,
                                   .fill_mm_s = 65,
                                   .first_layer_mm = 0.25,
                                   .first_layer_mm_s = 20};
static const po_material PETG = {
    .name = "petg", .density_g_cm3 = 1.27, .diameter_mm = 1.75, .nozzle_c = {225, 250}, .bed_c = {70, 85}};
static const po_machine ALDER = {
    .name = "Alder",
    .retract_mm = 0.9,
    .retract_mm_s = 35,
    .limits = {.feed_mm_s = {180, 180, 12, 60},
               .accel_mm_s2 = {2000, 1600, 120, 4000},
               .print_mm_s2 = 1200,
               .travel_mm_s2 = 1600,
               .retract_mm_s2 = 2500,
               .corner = PO_CORNER_STEP,
               .step_mm_s = {9, 9, 0.4, 4}},
    .heat = {.nozzle_c_per_s = 2.6, .bed_c_per_s = 0.32, .room_c = 21, .home_seconds = 24, .probe_seconds = 55}};

static po_mesh weld_soup(soup *s, po_arena *arena)
{
    po_weld weld;
    assert_true(po_weld_init(&weld, arena, s->n));
    for (size_t t = 0; t < s->n; t += PO_WELD_BATCH) {
        assert_true(po_weld_add(&weld, s->nine + 9 * t, s->n - t < PO_WELD_BATCH ? s->n - t : PO_WELD_BATCH));
    }
    po_weld_done(&weld);
    free(s->nine);
    *s = (soup){0};
    return (po_mesh){weld.xyz, weld.n_vertices, weld.corners, weld.n_triangles};
}

static po_mesh box(double x, double y, double z, po_arena *arena)
{
    soup s = {0};
    soup_box(&s, 0, 0, 0, x, y, z);
    return weld_soup(&s, arena);
}

enum { AROUND = 720 };

static po_mesh turned(const double (*profile)[2], size_t n, po_arena *arena)
{
    soup s = {0};
    soup_turned(&s, 0, 0, profile, n, AROUND);
    return weld_soup(&s, arena);
}

/* A tube: an outer cylinder and an inner one turned inside out. */
static po_mesh tube(double outer, double inner, double height, po_arena *arena)
{
    soup s = {0}, hole = {0};
    soup_turned(&s, 0, 0, (const double[][2]){{outer, 0}, {outer, height}}, 2, AROUND);
    soup_turned(&hole, 0, 0, (const double[][2]){{inner, 0}, {inner, height}}, 2, AROUND);
    for (size_t t = 0; t < hole.n; t++) {
        const double *p = hole.nine + 9 * t;
        soup_add(&s, p, p + 6, p + 3);
    }
    free(hole.nine);
    return weld_soup(&s, arena);
}

static po_estimate_setup ask(const po_recipe *recipe)
{
    return (po_estimate_setup){
        .recipe = recipe, .machine = &ALDER, .material = &PETG, .scale = 1, .fill_percent = NAN, .threads = 1};
}

static po_estimate estimate(const po_mesh *mesh, const po_estimate_setup *setup, po_arena *arena)
{
    po_estimate e;
    po_err err;
    assert_int_equal(po_part_estimate(mesh, setup, arena, &e, &err), PO_OK);
    assert_true(e.filament_range_mm.low <= e.filament_mm && e.filament_mm <= e.filament_range_mm.high);
    assert_true(e.seconds_range.low <= e.seconds && e.seconds <= e.seconds_range.high);
    assert_true(fabs(e.volume_mm3 - e.filament_mm * M_PI / 4 * 1.75 * 1.75) < 1e-6 * e.volume_mm3 + 1e-9);
    assert_true(fabs(e.filament_g - e.volume_mm3 * 1.27e-3) < 1e-9 + 1e-9 * e.volume_mm3);
    return e;
}

static void near(double a, double b, double share)
{
    if (!(fabs(a - b) <= share * fabs(b))) {
        fail_msg("%.9g is not %.9g within %g", a, b, share);
    }
}

/* ---- filament ---- */

static void test_solid_parts_fill_their_volume(void **state)
{
    (void)state;
    po_recipe solid = EVERYDAY;
    solid.fill_percent = 100;
    po_arena *arena = po_arena_new(0);
    enum { RINGS = 121 };
    double ball[RINGS][2];
    for (int i = 0; i < RINGS; i++) {
        double t = M_PI * i / (RINGS - 1);
        ball[i][0] = i == 0 || i == RINGS - 1 ? 0 : 15 * sin(t);
        ball[i][1] = 15 - 15 * cos(t);
    }
    const struct {
        po_mesh mesh;
        double mm3;
    } parts[] = {
        {box(30, 20, 15.07, arena), 30 * 20 * 15.07},
        {tube(20, 12, 15.07, arena), M_PI * (400 - 144) * 15.07},
        {turned((const double[][2]){{16, 0}, {0, 30}}, 2, arena), M_PI * 256 * 30 / 3},
        {turned((const double(*)[2])ball, RINGS, arena), 4 * M_PI / 3 * 3375},
    };
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        po_estimate_setup setup = ask(&solid);
        po_estimate e = estimate(&parts[i].mesh, &setup, arena);
        near(e.wall_mm3 + e.solid_mm3, parts[i].mm3, 0.025);
        assert_true(e.fill_mm3 == 0);
    }
    po_arena_free(arena);
}

static void test_walls_of_a_tube(void **state)
{
    (void)state;
    po_recipe walls = EVERYDAY;
    walls.fill_percent = walls.floors = walls.roofs = 0;
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = tube(20, 12, 12.02, arena);
    po_estimate_setup setup = ask(&walls);
    po_estimate e = estimate(&mesh, &setup, arena);
    /* Loops at w/2 + k (w - h (1 - pi/4)): circumferences of both sides add up to 2 pi (20 + 12) at any depth. */
    int layers = 1 + (int)ceil((12.02 - 0.25 - 0.11) / 0.22);
    near(e.wall_mm, layers * 3 * 2 * M_PI * 32, 3e-4);
    assert_int_equal(e.layers, layers);
    double first = 0.44 * 0.25 - 0.25 * 0.25 * LOST, other = 0.44 * 0.22 - 0.22 * 0.22 * LOST;
    near(e.wall_mm3, 3 * 2 * M_PI * 32 * (first + (layers - 1) * other), 3e-4);
    assert_true(e.solid_mm == 0 && e.fill_mm == 0);
    near(e.volume_mm3 - e.once_mm * M_PI / 4 * 1.75 * 1.75, e.wall_mm3, 1e-9);
    po_arena_free(arena);
}

/* Depth of the lines' ends: the innermost loop's centre and 0.7 beads more. */
static double lines_begin(double w, double h, int walls)
{
    return w / 2 + (walls - 1) * (w - h * LOST) + 0.7 * w;
}

static void test_fill_of_a_box(void **state)
{
    (void)state;
    po_recipe sparse = EVERYDAY;
    sparse.floors = sparse.roofs = 0;
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = box(40, 30, 0.25 + 20 * 0.22, arena);
    po_estimate_setup setup = ask(&sparse);
    po_estimate e = estimate(&mesh, &setup, arena);
    double d0 = lines_begin(0.44, 0.25, 3), d = lines_begin(0.44, 0.22, 3);
    double want = ((40 - 2 * d0) * (30 - 2 * d0) + 20 * (40 - 2 * d) * (30 - 2 * d)) * 0.20 / 0.44;
    assert_int_equal(e.layers, 21);
    near(e.fill_mm, want, 1e-6);
    setup.fill_percent = 35;
    near(estimate(&mesh, &setup, arena).fill_mm, want * 35 / 20, 1e-6);
    setup.fill_percent = 0;
    assert_true(estimate(&mesh, &setup, arena).fill_mm == 0);
    po_arena_free(arena);
}

/* A box on a wider one: floors at the bottom, roofs under the step and at the top. */
static void test_roofs_of_a_step(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    double lower = 0.25 + 14 * 0.22, upper = 0.25 + 34 * 0.22;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 40, 30, lower);
    soup_box(&s, 0, 0, 0, 20, 30, upper); /* overlaps the lower one: outlines are joined */
    po_mesh mesh = weld_soup(&s, arena);
    po_estimate_setup setup = ask(&EVERYDAY);
    po_estimate e = estimate(&mesh, &setup, arena);
    double d0 = lines_begin(0.44, 0.25, 3), d = lines_begin(0.44, 0.22, 3), hold = (0.5 + 1.25) * 0.44;
    double bottom0 = (40 - 2 * d0) * (30 - 2 * d0), bottom = (40 - 2 * d) * (30 - 2 * d);
    double under_step = (40 - 20 - d + hold) * (30 - 2 * d), top = (20 - 2 * d) * (30 - 2 * d);
    double pitch0 = 0.44 - 0.25 * LOST, pitch = 0.44 - 0.22 * LOST;
    assert_int_equal(e.layers, 35);
    assert_true(e.filament_range_mm.high < 1.15 * e.filament_mm); /* what overlaps is no gap */
    /* Joins add half of the edge where lines meet it at 45 degrees: the edge of each area, at its own place. */
    double edges = (40 - 2 * d0 + 30 - 2 * d0) + 3 * (40 - 2 * d + 30 - 2 * d) + 4 * (20 - d + hold + 30 - 2 * d) +
                   4 * (20 - 2 * d + 30 - 2 * d);
    near(e.solid_mm, bottom0 / pitch0 + (3 * bottom + 4 * under_step + 4 * top) / pitch + edges, 0.01);
    po_arena_free(arena);
}

/* ---- time ---- */

/* No inertia, no retraction, warm: what is left is length over speed. */
static void test_time_without_inertia(void **state)
{
    (void)state;
    po_machine light = ALDER;
    for (int a = 0; a < 4; a++) {
        light.limits.accel_mm_s2[a] = light.limits.step_mm_s[a] = 1e9;
        light.limits.feed_mm_s[a] = a == PO_Z ? 12 : 1e6;
    }
    light.limits.print_mm_s2 = light.limits.travel_mm_s2 = light.limits.retract_mm_s2 = 1e9;
    light.retract_mm = 0;
    po_recipe one = EVERYDAY;
    one.walls = 1;
    one.floors = one.roofs = 0;
    one.fill_percent = 0;
    one.wall_mm_s = 20;
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = box(100, 80, 0.25 + 9 * 0.22, arena);
    po_estimate_setup setup = ask(&one);
    setup.machine = &light;
    po_estimate e = estimate(&mesh, &setup, arena);
    double loop = 2 * (100 + 80 - 4 * 0.22), lift = (0.25 + 9 * 0.22) / 12;
    double want = loop / 20 + 9 * loop / (20 * PO_EST_OUTER) + lift;
    near(e.wall_mm, 10 * loop, 1e-9);
    near(e.seconds - e.once_seconds, want, 1e-6);
    near(e.first_layer_seconds - e.once_seconds, loop / 20 + 0.25 / 12, 1e-6);
    /* Warming the bed takes longest: (77.5 - 21) / 0.32 s; then probing, a skirt, a purge line and a lift. */
    double skirt = 2 * 180 + 2 * M_PI * PO_EST_SKIRT_MM;
    near(e.once_seconds, 56.5 / 0.32 + 55 + (skirt + PO_EST_PURGE_MM) / 20 + 2 * PO_EST_PARK_MM / 12, 1e-9);
    /* Fast walls: a layer of 356 mm at 100 mm/s is slowed down to 12 s. */
    one.wall_mm_s = 100;
    e = estimate(&mesh, &setup, arena);
    near(e.seconds - e.once_seconds, loop / 20 + 9 * 12 + lift, 1e-6);
    /* With inertia it takes longer, and the same beads. */
    setup.machine = &ALDER;
    po_estimate heavy = estimate(&mesh, &setup, arena);
    assert_true(heavy.seconds > e.seconds && heavy.seconds < 1.1 * e.seconds && heavy.wall_mm == e.wall_mm);
    po_arena_free(arena);
}

static void test_supports_are_apart(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = box(20, 20, 10, arena);
    po_estimate_setup setup = ask(&EVERYDAY);
    po_estimate bare = estimate(&mesh, &setup, arena);
    setup.support_mm3 = 1000;
    po_estimate e = estimate(&mesh, &setup, arena);
    assert_true(bare.support_mm == 0 && bare.support_seconds == 0 && e.filament_mm == bare.filament_mm);
    assert_true(e.support_mm > 150 / 2.4053 && e.support_mm < 200 / 2.4053); /* 15 to 20 % of the volume */
    assert_true(e.support_seconds > 0 && e.seconds == bare.seconds);
    po_arena_free(arena);
}

/* ---- what must not matter ---- */

static po_mesh twisted(size_t up, size_t corners, double twist_rad, double height, po_arena *arena)
{
    soup s = {0};
    double low[3] = {0, 0, 0}, high[3] = {0, 0, height};
    for (size_t i = 0; i < up; i++) {
        for (size_t k = 0; k < corners; k++) {
            double p[4][3];
            for (int q = 0; q < 4; q++) {
                size_t level = i + (size_t)(q > 1);
                double t = 2 * M_PI * (double)(k + (size_t)(q == 1 || q == 2)) / (double)corners +
                           twist_rad * (double)level / (double)up;
                p[q][0] = 15 * cos(t);
                p[q][1] = 15 * sin(t);
                p[q][2] = height * (double)level / (double)up;
            }
            soup_add(&s, p[0], p[1], p[2]);
            soup_add(&s, p[0], p[2], p[3]);
            if (i == 0) {
                soup_add(&s, low, p[1], p[0]);
            }
            if (i + 1 == up) {
                soup_add(&s, high, p[3], p[2]);
            }
        }
    }
    return weld_soup(&s, arena);
}

static bool same_estimate(const po_estimate *a, const po_estimate *b)
{
    return a->filament_mm == b->filament_mm && a->seconds == b->seconds && a->travel_mm == b->travel_mm &&
           a->solid_mm == b->solid_mm && a->seconds_range.high == b->seconds_range.high;
}

static void test_threads_and_place_do_not_matter(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = twisted(60, 24, 1, 12, arena);
    po_estimate_setup setup = ask(&EVERYDAY);
    po_estimate e = estimate(&mesh, &setup, arena);
    for (int threads = 2; threads <= 5; threads++) {
        setup.threads = threads;
        po_estimate other = estimate(&mesh, &setup, arena);
        assert_true(same_estimate(&e, &other));
    }
    double *moved = po_arena_zeros(arena, mesh.n_vertices, 3 * sizeof *moved);
    for (size_t i = 0; i < mesh.n_vertices; i++) { /* turned by 90 degrees, moved, raised, half the size */
        moved[3 * i] = 0.5 * (-mesh.xyz[3 * i + 1]) + 31;
        moved[3 * i + 1] = 0.5 * mesh.xyz[3 * i] - 12;
        moved[3 * i + 2] = 0.5 * mesh.xyz[3 * i + 2] + 7;
    }
    po_mesh other = {moved, mesh.n_vertices, mesh.corners, mesh.n_triangles};
    setup.scale = 2;
    po_estimate e2 = estimate(&other, &setup, arena);
    near(e2.wall_mm, e.wall_mm, 1e-4);
    near(e2.filament_mm, e.filament_mm, 2e-3); /* where the lines happen to lie */
    near(e2.seconds, e.seconds, 0.01);
    /* Inside out. */
    uint32_t *back = po_arena_zeros(arena, mesh.n_triangles, 3 * sizeof *back);
    for (size_t i = 0; i < 3 * mesh.n_triangles; i++) {
        back[i] = mesh.corners[3 * (i / 3) + 2 - i % 3];
    }
    other = (po_mesh){mesh.xyz, mesh.n_vertices, back, mesh.n_triangles};
    setup.scale = 1;
    near(estimate(&other, &setup, arena).filament_mm, e.filament_mm, 1e-3);
    po_arena_free(arena);
}

/* A regular prism that twists by its own symmetry has the same area, length and moments everywhere: its outlines
 * differ. */
static void test_turned_outlines_are_told_apart(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_err err;
    po_mesh meshes[2] = {twisted(40, 6, 3, 10, arena), twisted(40, 6, 0, 10, arena)};
    po_est_plan plan = {.recipe = &EVERYDAY, .machine = &ALDER, .scale = 1};
    for (int m = 0; m < 2; m++) {
        po_est_slices slices = {0};
        assert_int_equal(po_est_slices_cut(&meshes[m], &plan, 1, NULL, NULL, arena, &slices, &err), PO_OK);
        size_t runs = 0;
        for (size_t k = 0; k < slices.n; k++) {
            runs += slices.at[k].same == k;
            near(po_loops_area(&slices.at[k].outline), 6 * 225 * sin(M_PI / 3) / 2, 0.03); /* facets bulge */
        }
        assert_int_equal(runs, m ? 1 : slices.n);
    }
    po_arena_free(arena);
}

/* Layers left out against all layers worked out. */
static void test_chosen_layers_stand_for_all(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    enum { RINGS = 81 };
    double vase[RINGS][2];
    for (int i = 0; i < RINGS; i++) {
        vase[i][1] = 70.0 * i / (RINGS - 1);
        vase[i][0] = 12 + 4 * sin(vase[i][1] / 9) + (i > 40 && i < 46 ? 3 : 0); /* with a flange */
    }
    soup_turned(&s, 0, 0, (const double(*)[2])vase, RINGS, 120);
    po_mesh mesh = weld_soup(&s, arena);
    po_estimate_setup setup = ask(&EVERYDAY);
    po_estimate all, few;
    po_err err;
    assert_int_equal(po_est_run(&mesh, &setup, true, SIZE_MAX, &all, &err), PO_OK);
    assert_int_equal(po_est_run(&mesh, &setup, true, 60, &few, &err), PO_OK);
    near(few.filament_mm, all.filament_mm, 0.01);
    near(few.seconds, all.seconds, 0.01);
    po_estimate usual = estimate(&mesh, &setup, arena);
    near(usual.filament_mm, all.filament_mm, 0.002);
    near(usual.seconds, all.seconds, 0.002);
    po_arena_free(arena);
}

static void test_very_tall(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_mesh tall = box(12, 9, 2000, arena), taller = box(12, 9, 60000, arena), tenth = box(12, 9, 200, arena);
    po_estimate_setup setup = ask(&EVERYDAY);
    po_estimate e = estimate(&tall, &setup, arena), t = estimate(&tenth, &setup, arena), e2;
    assert_int_equal(e.layers, 9091); /* 0.25 + 9090 * 0.22 = 2000.05: its middle at 1999.94 lies in the part */
    near(e.wall_mm, 10 * t.wall_mm, 0.002);
    near(e.fill_mm, 10 * t.fill_mm, 0.05);
    po_err err;
    assert_int_equal(po_part_estimate(&taller, &setup, arena, &e2, &err), PO_E_LIMIT);
    po_arena_free(arena);
}

/* ---- lines ---- */

static void test_lines_fill_a_ring(void **state)
{
    (void)state;
    double xy[2 * 2 * AROUND];
    uint32_t ends[2] = {AROUND, 2 * AROUND};
    for (int i = 0; i < AROUND; i++) {
        double t = 2 * M_PI * i / AROUND;
        xy[2 * i] = 20 * cos(t) + 3;
        xy[2 * i + 1] = 20 * sin(t) - 5;
        xy[2 * (AROUND + i)] = 8 * cos(-t) + 3;
        xy[2 * (AROUND + i) + 1] = 8 * sin(-t) - 5;
    }
    po_loops ring = {xy, 2 * AROUND, ends, 2};
    for (int across = 0; across < 2; across++) {
        po_est_paths paths = {.arena = po_arena_new(0)};
        bool done;
        double joins = po_est_lines(&ring, across, 0.4, true, 0, PO_EST_SOLID, &paths, &done), mm = 0;
        assert_true(done && !paths.failed);
        for (size_t i = 0; i < paths.n; i++) {
            mm += po_est_path_mm(&paths, i);
            for (size_t k = 0; k < paths.at[i].n; k++) { /* every end lies on the edge */
                const double *p = paths.xy + 2 * (paths.at[i].first + k);
                double r = hypot(p[0] - 3, p[1] + 5);
                assert_true(fabs(r - 20) < 1e-3 || fabs(r - 8) < 1e-3);
            }
        }
        near((mm - joins) * 0.4, M_PI * (400 - 64), 2e-3);
        /* Joined, but for the rows where the edge runs nearly along them (within 24 degrees: 4 a side). */
        assert_true(paths.n < 24);
        assert_true(joins > 0.25 * 2 * M_PI * 28 && joins < 0.5 * 2 * M_PI * 28); /* at most half of the edge */
        po_arena_free(paths.arena);
    }
}

/* ---- scale for an allowance ---- */

static void test_scale_for(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = twisted(30, 8, 0.7, 60, arena);
    po_estimate_setup setup = ask(&EVERYDAY);
    po_estimate whole = estimate(&mesh, &setup, arena), fits, over;
    po_err err;
    double scale;
    for (uint32_t times = 1; times <= 3; times += 2) {
        for (double share = 0.3; share < 1; share += 0.3) {
            double most = share * (times * (whole.filament_mm - whole.once_mm) + whole.once_mm);
            assert_int_equal(po_part_scale_for(&mesh, &setup, most, times, 1, arena, &scale, &err), PO_OK);
            assert_true(scale > 0.05 && scale < 1);
            setup.scale = scale;
            fits = estimate(&mesh, &setup, arena);
            assert_true(times * (fits.filament_mm - fits.once_mm) + fits.once_mm <= most * (1 + 1e-12));
            setup.scale = scale * 1.0011;
            over = estimate(&mesh, &setup, arena);
            assert_true(times * (over.filament_mm - over.once_mm) + over.once_mm > most * 0.998);
            setup.scale = 1;
        }
    }
    assert_int_equal(po_part_scale_for(&mesh, &setup, whole.filament_mm + 1, 1, 1, arena, &scale, &err), PO_OK);
    assert_true(scale == 1);
    assert_int_equal(po_part_scale_for(&mesh, &setup, 0.5, 1, 1, arena, &scale, &err), PO_OK);
    assert_true(isnan(scale));
    assert_int_equal(po_part_scale_for(&mesh, &setup, whole.filament_mm * 1.5, 1, 2, arena, &scale, &err), PO_OK);
    assert_true(scale > 1.1 && scale < 1.4); /* between the cube and the square root of 1.5, with some room */
    assert_int_equal(po_part_scale_for(&mesh, &setup, NAN, 1, 1, arena, &scale, &err), PO_E_RANGE);
    assert_int_equal(po_part_scale_for(&mesh, &setup, 100, 0, 1, arena, &scale, &err), PO_E_RANGE);
    po_arena_free(arena);
}

/* ---- what cannot be estimated ---- */

static bool stop_at(uint64_t done, uint64_t total, void *user)
{
    int *calls = user;
    assert_true(done <= total);
    return --*calls > 0;
}

static void test_bad_input(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = box(20, 20, 20, arena), bad = mesh;
    po_estimate_setup setup = ask(&EVERYDAY), other = setup;
    po_estimate e;
    po_err err;
    bad.n_triangles = 0;
    assert_int_equal(po_part_estimate(&bad, &setup, arena, &e, &err), PO_E_EMPTY);
    bad = mesh;
    bad.n_vertices = 5;
    assert_int_equal(po_part_estimate(&bad, &setup, arena, &e, &err), PO_E_RANGE);
    double xyz[24];
    memcpy(xyz, mesh.xyz, sizeof xyz);
    xyz[7] = NAN;
    bad = (po_mesh){xyz, 8, mesh.corners, mesh.n_triangles};
    assert_int_equal(po_part_estimate(&bad, &setup, arena, &e, &err), PO_E_RANGE);
    xyz[7] = 1e38;
    assert_int_not_equal(po_part_estimate(&bad, &setup, arena, &e, &err), PO_OK);
    const double scales[] = {0, -1, NAN, INFINITY};
    for (size_t i = 0; i < 4; i++) {
        other.scale = scales[i];
        assert_int_equal(po_part_estimate(&mesh, &other, arena, &e, &err), PO_E_RANGE);
    }
    po_recipe recipe = EVERYDAY;
    recipe.layer_mm = 0;
    other = setup;
    other.recipe = &recipe;
    assert_int_equal(po_part_estimate(&mesh, &other, arena, &e, &err), PO_E_RANGE);
    for (int calls = 1; calls < 4; calls++) {
        int left = calls;
        setup.progress = stop_at;
        setup.user = &left;
        assert_int_equal(po_part_estimate(&mesh, &setup, arena, &e, &err), PO_E_CANCELLED);
    }
    po_arena_free(arena);
}

/* Odd but good: flatter than half a layer, a speck, an open mesh, a needle. */
static void test_odd_parts(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_estimate_setup setup = ask(&EVERYDAY);
    po_mesh flat = box(20, 20, 0.1, arena), speck = box(0.1, 0.1, 0.1, arena), needle = box(0.5, 0.5, 30, arena);
    po_mesh open = box(20, 20, 20, arena);
    open.n_triangles -= 1;
    assert_true(estimate(&flat, &setup, arena).wall_mm == 0);
    assert_true(estimate(&speck, &setup, arena).wall_mm == 0);
    assert_true(estimate(&open, &setup, arena).wall_mm > 0);
    po_estimate e = estimate(&needle, &setup, arena);
    assert_true(isfinite(e.seconds) && e.filament_mm < 20);
    po_recipe bare = EVERYDAY;
    bare.walls = 0;
    setup.recipe = &bare;
    po_mesh cube = box(20, 20, 20, arena);
    e = estimate(&cube, &setup, arena);
    assert_true(e.wall_mm == 0 && e.fill_mm > 0 && e.solid_mm > 0);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_solid_parts_fill_their_volume),
        cmocka_unit_test(test_walls_of_a_tube),
        cmocka_unit_test(test_fill_of_a_box),
        cmocka_unit_test(test_roofs_of_a_step),
        cmocka_unit_test(test_time_without_inertia),
        cmocka_unit_test(test_supports_are_apart),
        cmocka_unit_test(test_threads_and_place_do_not_matter),
        cmocka_unit_test(test_turned_outlines_are_told_apart),
        cmocka_unit_test(test_chosen_layers_stand_for_all),
        cmocka_unit_test(test_very_tall),
        cmocka_unit_test(test_lines_fill_a_ring),
        cmocka_unit_test(test_scale_for),
        cmocka_unit_test(test_bad_input),
        cmocka_unit_test(test_odd_parts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
