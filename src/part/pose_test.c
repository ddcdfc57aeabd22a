/* Poses measured against closed forms. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/pose.h"
#include "part/pose_shapes.h"

#define NEAR(a, b, by)                                                                                                 \
    do {                                                                                                               \
        double a_ = (a), b_ = (b);                                                                                     \
        if (!(fabs(a_ - b_) <= (by))) {                                                                                \
            fail_msg("%s is %.9g, expected %.9g within %.3g", #a, a_, b_, (double)(by));                               \
        }                                                                                                              \
    } while (0)

static const double PI = 3.14159265358979323846;

static po_pose measure_with(soup *s, const double *turn, const po_pose_setup *setup)
{
    pose_mesh m = mesh_of(s);
    po_pose pose, again;
    po_err err;
    if (po_pose_measure(&m.mesh, turn, setup, 1, NULL, &pose, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    assert_int_equal(po_pose_measure(&m.mesh, turn, setup, 3, NULL, &again, &err), PO_OK);
    assert_memory_equal(&pose, &again, sizeof pose); /* whatever the number of threads */
    mesh_done(&m);
    return pose;
}

static po_pose measure(soup *s)
{
    return measure_with(s, NULL, &POSE_SETUP);
}

static void a_box_lies_on_its_face(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, -3, 5, 7, 30, 20, 10);
    po_pose p = measure(&s);
    NEAR(p.size_mm[0], 30, 1e-9);
    NEAR(p.size_mm[1], 20, 1e-9);
    NEAR(p.size_mm[2], 10, 1e-9);
    NEAR(p.foothold_mm2, 600, 1e-9);
    assert_int_equal(p.footholds, 1);
    assert_true(p.overhang_mm2 == 0 && p.overhang_open_mm2 == 0 && p.support_mm3 == 0 && p.support_open_mm3 == 0);
    assert_true(p.longest_bridge_mm == 0 && p.steps_mm2 == 0);
    assert_true(p.stands && !p.brim);
    NEAR(p.tip_deg, atan(10.0 / 5) * 180 / PI, 1e-9);
    assert_int_equal(p.layers, 50);
    assert_true(isnan(p.across_layers));
}

/* shared/handbook.md 5, "Tip angle": square base b, height H. */
static void towers_tip_where_the_handbook_says(void **state)
{
    (void)state;
    static const double cases[3][3] = {{10, 60, 9.462}, {8, 100, 4.574}, {20, 60, 18.435}};
    for (int i = 0; i < 3; i++) {
        soup s = {0};
        soup_box(&s, 0, 0, 0, cases[i][0], cases[i][0], cases[i][1]);
        po_pose p = measure(&s);
        NEAR(p.tip_deg, cases[i][2], 5e-4);
        assert_true(p.stands);
        assert_int_equal(p.brim, i != 2); /* same place, "Slenderness": height over base 6, 12.5, 3 against 5 */
    }
}

/* Outlines run the way that makes normals point out: as seen from -y, x right and z up, counter-clockwise. */
static void a_t_hangs_on_both_sides(void **state)
{
    (void)state;
    /* stem 10 wide and 20 high, bar 40 wide and 5 high: two level faces of 15 x 12, 20 above the bed */
    static const double t[8][2] = {{15, 0}, {25, 0}, {25, 20}, {40, 20}, {40, 25}, {0, 25}, {0, 20}, {15, 20}};
    soup s = {0};
    soup_prism(&s, t, 8, (const double[2]){20, 22}, 12);
    po_pose p = measure(&s);
    NEAR(p.foothold_mm2, 120, 1e-9);
    NEAR(p.overhang_mm2, 360, 1e-9);
    NEAR(p.overhang_open_mm2, 360, 1e-9);
    NEAR(p.support_mm3, 360 * 20, 1e-6 * 7200);
    NEAR(p.support_open_mm3, 360 * 20, 1e-6 * 7200);
    assert_true(p.longest_bridge_mm == 0); /* held at one end only */
    assert_true(p.stands);
}

static po_pose table(double span, const double *turn)
{
    const double bridge[8][2] = {{0, 0},        {5, 0},         {5, 15},         {5 + span, 15},
                                 {5 + span, 0}, {10 + span, 0}, {10 + span, 20}, {0, 20}};
    soup s = {0};
    /* two legs and a top as one closed prism: star-shaped outlines only, so in three boxes that share no face would
     * overlap; the outline is cut into quads instead */
    static const int quads[3][4] = {{0, 1, 2, 7}, {2, 3, 6, 7}, {3, 4, 5, 6}};
    for (int y = 0; y < 2; y++) {
        for (int q = 0; q < 3; q++) {
            double c[4][3];
            for (int k = 0; k < 4; k++) {
                const double *a = bridge[quads[q][k]];
                c[k][0] = a[0], c[k][1] = y ? 6.5 : 0, c[k][2] = a[1];
            }
            if (y) {
                soup_add(&s, c[0], c[2], c[1]);
                soup_add(&s, c[0], c[3], c[2]);
            } else {
                soup_add(&s, c[0], c[1], c[2]);
                soup_add(&s, c[0], c[2], c[3]);
            }
        }
    }
    for (int i = 0; i < 8; i++) {
        const double *a = bridge[i], *b = bridge[(i + 1) % 8];
        double a0[3] = {a[0], 0, a[1]}, a1[3] = {a[0], 6.5, a[1]}, b0[3] = {b[0], 0, b[1]}, b1[3] = {b[0], 6.5, b[1]};
        soup_add(&s, a0, a1, b1);
        soup_add(&s, a0, b1, b0);
    }
    if (turn) {
        soup_turn(&s, turn);
    }
    return measure(&s);
}

static void a_table_bridges_its_span(void **state)
{
    (void)state;
    po_pose p = table(10, NULL);
    NEAR(p.longest_bridge_mm, 10, 1e-9);
    NEAR(p.overhang_mm2, 65, 1e-9);
    assert_true(p.overhang_open_mm2 == 0 && p.support_open_mm3 == 0);
    NEAR(p.support_mm3, 65 * 15, 1e-6 * 975);
    assert_int_equal(p.footholds, 2);
    p = table(20, NULL); /* longer than the limit of 12 */
    NEAR(p.longest_bridge_mm, 20, 1e-9);
    NEAR(p.overhang_open_mm2, 130, 1e-9);
    NEAR(p.support_open_mm3, 130 * 15, 1e-6 * 1950);
    for (double deg = 3; deg < 90; deg += 9.7) { /* however it stands on the bed */
        double c = cos(deg * PI / 180), n = sin(deg * PI / 180);
        double turn[9] = {c, n, 0, -n, c, 0, 0, 0, 1};
        p = table(10, turn);
        NEAR(p.longest_bridge_mm, 10, 1.3);
        NEAR(p.overhang_mm2, 65, 1e-9);
        assert_true(p.overhang_open_mm2 == 0);
        p = table(20, turn);
        NEAR(p.longest_bridge_mm, 20, 1.3);
        NEAR(p.overhang_open_mm2, 130, 1e-6);
    }
}

/* A wall leaning by deg from the vertical on one side: a parallelogram drawn out. */
static po_pose leaning(double deg)
{
    double x = 20 * tan(deg * PI / 180);
    const double outline[4][2] = {{0, 0}, {30, 0}, {30 + x, 20}, {x, 20}};
    soup s = {0};
    soup_prism(&s, outline, 4, (const double[2]){15 + x / 2, 10}, 8);
    for (size_t i = 0; i < 9 * s.n; i++) {
        s.nine[i] = (double)(float)s.nine[i]; /* as an STL holds it */
    }
    return measure(&s);
}

/* shared/handbook.md 5: self-supporting up to 45 degrees from the vertical (common practice; Mazlan et al. 2020). */
static void a_wall_leans_up_to_the_limit(void **state)
{
    (void)state;
    assert_true(leaning(44).overhang_mm2 == 0);
    assert_true(leaning(45).overhang_mm2 == 0);
    po_pose p = leaning(46);
    double strip = 8 * 0.1 / cos(46 * PI / 180); /* what stands on the bed: half a first layer of it */
    NEAR(p.overhang_mm2, 8 * 20 / cos(46 * PI / 180) - strip, 1e-3);
    NEAR(p.overhang_open_mm2, p.overhang_mm2, 1e-9);
    NEAR(p.foothold_mm2, 240 + 8 * 0.1 * tan(46 * PI / 180), 1e-3);
    /* a wedge beneath it */
    NEAR(p.support_mm3, 8 * 20 * 20 * tan(46 * PI / 180) / 2, 0.01 * 1600);
}

static void a_cone_on_its_base_and_on_its_tip(void **state)
{
    (void)state;
    const double base[4][2] = {{0, 0}, {20, 0}, {0, 20 * tan(60 * PI / 180)}};
    soup s = {0};
    soup_turned(&s, base, 3, 720);
    po_pose p = measure(&s);
    assert_true(p.overhang_mm2 == 0 && p.stands);
    NEAR(p.foothold_mm2, PI * 400, 0.1);
    /* centre of mass of a cone: a quarter of its height */
    NEAR(p.tip_deg, atan(20 / (5 * tan(60 * PI / 180))) * 180 / PI, 0.02);
    static const double over[9] = {1, 0, 0, 0, -1, 0, 0, 0, -1};
    soup_turned(&s, base, 3, 720);
    p = measure_with(&s, over, &POSE_SETUP); /* leans by 30 degrees: carried, but it stands on a point */
    assert_true(p.overhang_mm2 == 0 && !p.stands && p.tip_deg == 0);
    const double flat[3][2] = {{0, 0}, {20, 0}, {0, 20 * tan(30 * PI / 180)}};
    soup_turned(&s, flat, 3, 720);
    p = measure_with(&s, over, &POSE_SETUP); /* leans by 60 degrees */
    double r = 0.1 * tan(60 * PI / 180);     /* at half a first layer */
    NEAR(p.overhang_mm2, PI * 400 / cos(30 * PI / 180) - PI * r * r / cos(30 * PI / 180), 0.5);
    NEAR(p.foothold_mm2, PI * r * r, 1e-3);
    /* a cylinder less the cone */
    NEAR(p.support_mm3, PI * 400 * 20 * tan(30 * PI / 180) * 2 / 3, 0.01 * 9674);
}

/* Cap below the limit: 2 pi r h with h = r (1 - cos 45), less what lies within half a first layer: 2 pi r 0.1. */
static void a_sphere_hangs_by_its_cap(void **state)
{
    (void)state;
    soup s = {0};
    soup_sphere(&s, 10, 360, 720);
    po_pose p = measure(&s);
    double whole = 2 * PI * 100 * (1 - cos(45 * PI / 180));
    NEAR(p.overhang_mm2, whole - 2 * PI * 10 * 0.1, 0.01 * whole);
    NEAR(p.overhang_open_mm2, p.overhang_mm2, 0.01 * whole);
    NEAR(p.foothold_mm2, PI * (10 * 10 - 9.9 * 9.9), 0.05); /* the cap from above */
    /* beneath the sphere out to r sin 45: a cylinder less the cap of height h */
    double h = 10 * (1 - cos(45 * PI / 180)), cap = PI * h * h * (3 * 10 - h) / 3;
    NEAR(p.support_mm3, PI * 50 * h - cap, 0.02 * 50 * h);
    assert_true(p.brim);
}

/* A plate on edge with a level round hole: what a bracket has for a bolt. Ring of quads around the hole. */
static po_pose bored(double diameter)
{
    soup s = {0};
    enum { SIDES = 96 };
    double r = diameter / 2, outer[SIDES][2], inner[SIDES][2];
    for (int i = 0; i < SIDES; i++) {
        double u = 2 * PI * i / SIDES, c = cos(u), n = sin(u), to = 20 / fmax(fabs(c), fabs(n));
        inner[i][0] = 20 + r * c, inner[i][1] = 20 + r * n;
        outer[i][0] = 20 + to * c, outer[i][1] = 20 + to * n;
    }
    for (int i = 0; i < SIDES; i++) {
        int k = (i + 1) % SIDES;
        double o[2][2][3], h[2][2][3];
        for (int y = 0; y < 2; y++) {
            for (int e = 0; e < 2; e++) {
                int at = e ? k : i;
                memcpy(o[y][e], (double[3]){outer[at][0], y * 8, outer[at][1]}, sizeof o[0][0]);
                memcpy(h[y][e], (double[3]){inner[at][0], y * 8, inner[at][1]}, sizeof h[0][0]);
            }
        }
        soup_add(&s, h[0][0], o[0][0], o[0][1]);
        soup_add(&s, h[0][0], o[0][1], h[0][1]);
        soup_add(&s, h[1][0], o[1][1], o[1][0]);
        soup_add(&s, h[1][0], h[1][1], o[1][1]);
        soup_add(&s, o[0][0], o[1][0], o[1][1]);
        soup_add(&s, o[0][0], o[1][1], o[0][1]);
        soup_add(&s, h[0][0], h[1][1], h[1][0]);
        soup_add(&s, h[0][0], h[0][1], h[1][1]);
    }
    return measure(&s);
}

/* Common practice, no published source: small level holes print without supports, large ones don't. */
static void small_level_holes_carry_themselves(void **state)
{
    (void)state;
    for (double d = 3; d <= 8; d += 1) {
        po_pose p = bored(d);
        NEAR(p.overhang_mm2, 8 * d / 2 * PI / 2, 0.1 * 8 * d); /* the quarter of the hole around its top */
        assert_true(p.overhang_open_mm2 == 0 && p.support_open_mm3 == 0);
        assert_true(p.longest_bridge_mm == 0);
    }
    po_pose p = bored(30);
    NEAR(p.overhang_open_mm2, p.overhang_mm2, 1e-9);
    assert_true(p.support_open_mm3 > 100);
}

/* Two boxes, one sunk into the other, as drawing programs leave them: the face inside is no overhang. */
static void a_face_inside_another_shell_is_none(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 30, 30, 10);
    soup_box(&s, 10, 10, 4, 8, 8, 20);
    po_pose p = measure(&s);
    assert_true(p.overhang_mm2 == 0 && p.support_mm3 == 0);
    soup_box(&s, 0, 0, 0, 30, 30, 10); /* on top of each other: no gap, no overhang */
    soup_box(&s, 10, 10, 10, 8, 8, 20);
    p = measure(&s);
    assert_true(p.overhang_mm2 == 0 && p.support_mm3 == 0);
    soup_box(&s, 0, 0, 0, 30, 30, 10); /* half of it beside: that half hangs */
    soup_box(&s, 26, 10, 4, 8, 8, 20);
    p = measure(&s);
    NEAR(p.overhang_mm2, 32, 1e-9);
    NEAR(p.support_mm3, 32 * 4, 1e-6 * 128);
}

static void ledges_of_a_millimetre_carry_themselves(void **state)
{
    (void)state;
    for (int i = 0; i < 2; i++) {
        double out = i ? 4 : 0.8; /* free length, shared/handbook.md 5 (Mazlan et al.): 0.5 to 1.5 mm passed */
        const double g[6][2] = {{0, 0}, {20, 0}, {20, 10}, {20 + out, 10}, {20 + out, 15}, {0, 15}};
        soup s = {0};
        soup_prism(&s, g, 6, (const double[2]){10, 13}, 10);
        po_pose p = measure(&s);
        NEAR(p.overhang_mm2, 10 * out, 1e-9);
        NEAR(p.overhang_open_mm2, i ? 40 : 0, 1e-9);
    }
}

static void inside_out_is_seen_as_meant(void **state)
{
    (void)state;
    static const double t[8][2] = {{15, 0}, {25, 0}, {25, 20}, {40, 20}, {40, 25}, {0, 25}, {0, 20}, {15, 20}};
    soup s = {0};
    soup_prism(&s, t, 8, (const double[2]){20, 22}, 12);
    for (size_t i = 0; i < s.n; i++) {
        double keep[3];
        memcpy(keep, s.nine + 9 * i, sizeof keep);
        memcpy(s.nine + 9 * i, s.nine + 9 * i + 3, sizeof keep);
        memcpy(s.nine + 9 * i + 3, keep, sizeof keep);
    }
    po_pose p = measure(&s);
    NEAR(p.overhang_mm2, 360, 1e-9);
    NEAR(p.support_mm3, 7200, 1e-2);
}

static void turns_are_least_and_exact_along_axes(void **state)
{
    (void)state;
    for (int k = 0; k < 6; k++) {
        double up[3] = {0}, turn[9];
        up[k / 2] = k & 1 ? -3 : 3;
        po_pose_turn(up, turn);
        for (int i = 0; i < 9; i++) {
            assert_true(turn[i] == 0 || turn[i] == 1 || turn[i] == -1);
        }
        assert_true(up[0] * turn[2] + up[1] * turn[5] + up[2] * turn[8] == 3);
    }
    for (int i = 0; i < 2000; i++) {
        double up[3] = {sin(i * 1.7), cos(i * 2.9), cos(i * 0.013) * (i % 3 - 1)}, turn[9], to[3];
        if (i % 5 == 0) {
            up[0] *= 1e-7, up[1] *= 1e-7, up[2] = -1;
        }
        double length = sqrt(up[0] * up[0] + up[1] * up[1] + up[2] * up[2]);
        po_pose_turn(up, turn);
        for (int k = 0; k < 3; k++) {
            to[k] = (up[0] * turn[k] + up[1] * turn[3 + k] + up[2] * turn[6 + k]) / length;
        }
        NEAR(to[0], 0, 1e-12);
        NEAR(to[1], 0, 1e-12);
        NEAR(to[2], 1, 1e-12);
        double det = turn[0] * (turn[4] * turn[8] - turn[5] * turn[7]) -
                     turn[1] * (turn[3] * turn[8] - turn[5] * turn[6]) +
                     turn[2] * (turn[3] * turn[7] - turn[4] * turn[6]);
        NEAR(det, 1, 1e-12);
    }
}

static void loads_and_bad_input(void **state)
{
    (void)state;
    po_pose_setup setup = POSE_SETUP;
    setup.load_known = true;
    setup.load[0] = 3, setup.load[2] = 4;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 10, 10);
    po_pose p = measure_with(&s, NULL, &setup);
    NEAR(p.across_layers, 0.8, 1e-12);
    soup_box(&s, 0, 0, 0, 10, 10, 10);
    pose_mesh m = mesh_of(&s);
    po_err err;
    po_mesh bad = m.mesh;
    bad.n_vertices = 7;
    assert_int_equal(po_pose_measure(&bad, NULL, &setup, 1, NULL, &p, &err), PO_E_RANGE);
    bad = m.mesh;
    bad.n_triangles = 0;
    assert_int_equal(po_pose_measure(&bad, NULL, &setup, 1, NULL, &p, &err), PO_E_EMPTY);
    static const double no_turn[9] = {1, 0, 0, 0, 2, 0, 0, 0, 1};
    assert_int_equal(po_pose_measure(&m.mesh, no_turn, &setup, 1, NULL, &p, &err), PO_E_RANGE);
    setup.overhang_limit_deg = 90;
    assert_int_equal(po_pose_measure(&m.mesh, NULL, &setup, 1, NULL, &p, &err), PO_E_RANGE);
    setup.overhang_limit_deg = 45;
    m.xyz[4] = NAN;
    assert_int_equal(po_pose_measure(&m.mesh, NULL, &setup, 1, NULL, &p, &err), PO_E_RANGE);
    m.xyz[4] = 1e38;
    assert_int_equal(po_pose_measure(&m.mesh, NULL, &setup, 1, NULL, &p, &err), PO_E_RANGE);
    mesh_done(&m);
}

/* Very small and very large parts: the raster keeps its bounds. */
static void any_size(void **state)
{
    (void)state;
    static const double t[8][2] = {{15, 0}, {25, 0}, {25, 20}, {40, 20}, {40, 25}, {0, 25}, {0, 20}, {15, 20}};
    for (int e = -3; e <= 5; e++) {
        double scale = pow(10, e), scaled[8][2];
        for (int i = 0; i < 8; i++) {
            scaled[i][0] = t[i][0] * scale, scaled[i][1] = t[i][1] * scale;
        }
        soup s = {0};
        soup_prism(&s, (const double(*)[2])scaled, 8, (const double[2]){20 * scale, 22 * scale}, 12 * scale);
        po_pose_setup setup = POSE_SETUP;
        setup.layer_mm = setup.first_layer_mm = 1e-4;
        po_pose p = measure_with(&s, NULL, &setup);
        NEAR(p.overhang_mm2 / scale / scale, 360, 1e-6);
        NEAR(p.support_mm3 / scale / scale / scale, 7200, 0.01 * 7200);
    }
}

/* Large regions are judged by their rims alone; the answers are those of the plain way, cell by cell. */
static void large_regions_are_judged_as_small_ones(void **state)
{
    (void)state;
    static const double UPS[][3] = {{0, 0, 1}, {0, 0, -1}, {1, 0, 0}, {0.6, 0, 0.8}, {0.5, 0.3, 0.812403840463596}};
    size_t large = 0, carried = 0;
    for (size_t shape = 0; shape < 4; shape++) {
        soup s = {0};
        if (shape == 0) { /* a table: four legs and a top */
            for (int leg = 0; leg < 4; leg++) {
                soup_box(&s, leg % 2 ? 50 : 0, leg / 2 ? 40 : 0, 0, 6, 6, 21);
            }
            soup_box(&s, -2, -3, 20, 60, 52, 4);
        } else if (shape == 1) {
            soup_box(&s, 0, 0, 0, 40, 60, 50);
        } else if (shape == 2) {
            soup_box(&s, 0, 0, 0, 6, 60, 21); /* a bridge of 9 mm */
            soup_box(&s, 15, 0, 0, 6, 60, 21);
            soup_box(&s, 0, 0, 20, 21, 60, 3);
        } else {
            soup_sphere(&s, 20, 24, 48);
        }
        pose_mesh m = mesh_of(&s);
        po_pool *pool = po_pool_new(1);
        for (size_t up = 0; up < 5; up++) {
            double turn[9], bounds[2][3] = {{1e9, 1e9, 1e9}, {-1e9, -1e9, -1e9}};
            double *xyz = calloc(m.mesh.n_vertices, 3 * sizeof *xyz);
            po_pose_turn(UPS[up], turn);
            for (size_t i = 0; i < 3 * m.mesh.n_vertices; i++) {
                const double *p = m.mesh.xyz + i / 3 * 3;
                xyz[i] = p[0] * turn[i % 3] + p[1] * turn[3 + i % 3] + p[2] * turn[6 + i % 3];
                bounds[0][i % 3] = fmin(bounds[0][i % 3], xyz[i]);
                bounds[1][i % 3] = fmax(bounds[1][i % 3], xyz[i]);
            }
            for (size_t i = 0; i < m.mesh.n_vertices; i++) {
                xyz[3 * i + 2] -= bounds[0][2];
            }
            po_columns c;
            po_err err;
            assert_int_equal(po_columns_make(xyz, &m.mesh, bounds, false, pool, &c, &err), PO_OK);
            po_hang *hangs[2];
            size_t n = 0, room = (size_t)c.nx * c.ny * 4;
            double longest[2];
            hangs[0] = calloc(room, sizeof *hangs[0]);
            for (uint32_t at = 0; at < c.nx * c.ny; at++) {
                uint32_t k;
                const po_crossing *x = po_columns_at(&c, at % c.nx, at / c.nx, &k);
                int inside = 0;
                for (uint32_t q = 0; q < k && n < room; q++) {
                    if (po_crossing_leaves(x[q])) {
                        inside--;
                    } else if (!inside++ && po_crossing_z(x[q]) > 0.1f) {
                        hangs[0][n++] = (po_hang){
                            .i = at % c.nx, .j = at / c.nx, .z = po_crossing_z(x[q]), .level = up < 3, .open = 1};
                    }
                }
            }
            hangs[1] = calloc(n + 1, sizeof *hangs[1]);
            memcpy(hangs[1], hangs[0], n * sizeof *hangs[0]);
            for (int plain = 0; plain < 2; plain++) {
                c.plain = plain;
                assert_int_equal(po_spans_find(&c, hangs[plain], n, &POSE_SETUP, &longest[plain], &err), PO_OK);
            }
            assert_true(longest[0] == longest[1]);
            for (size_t k = 0; k < n; k++) {
                assert_int_equal(hangs[0][k].open, hangs[1][k].open);
                carried += !hangs[0][k].open;
            }
            large += n > 1000;
            free(hangs[0]);
            free(hangs[1]);
            free(xyz);
            po_columns_done(&c);
        }
        po_pool_free(pool);
        mesh_done(&m);
    }
    assert_true(large >= 8 && carried > 1000); /* there was something to compare */
}

static po_crossing crossing(float z, bool leaves)
{
    uint32_t bits;
    memcpy(&bits, &z, 4);
    return (uint64_t)(bits ^ 0x80000000u) << 32 | (leaves ? 0x80000000u : 0); /* heights above 0 only */
}

/* One cell that hangs at 9 between two columns of slabs, one above the other; is it carried? around: the slabs lie in a
 * body that reaches up from below them all; topped: a last slab goes on upwards past the cell. */
static bool carried_between(uint32_t slabs, bool around, bool topped)
{
    enum { MOST = 1300 };
    po_crossing *x = calloc(2 * MOST, sizeof *x);
    uint32_t start[4], n = 0;
    assert_non_null(x);
    for (int i = 0; i < 3; i++) {
        start[i] = n;
        for (uint32_t k = 0; i != 1 && k < slabs; k++) {
            if (k == 0 && around) {
                x[n++] = crossing(0.5F, false);
            }
            float z = 1 + 7 * (float)k / (float)slabs;
            x[n++] = crossing(z, false);
            x[n++] = crossing(z + 3.5F / (float)slabs, true);
        }
        if (i != 1 && topped) {
            x[n++] = crossing(8.5F, false);
        }
        if (i != 1) {
            x[n++] = crossing(20, topped || around); /* a way out above what is asked for, or one in */
        }
    }
    start[3] = n;
    assert_true(n <= 2 * MOST);
    struct po_band band = {.start = start, .crossings = x};
    po_columns c = {.cell = {0.5, 0.5}, .nx = 3, .ny = 1, .n_bands = 1, .bands = &band};
    po_hang hang = {.i = 1, .j = 0, .z = 9, .gap = 9, .level = 1};
    double longest;
    po_err err;
    assert_int_equal(po_spans_find(&c, &hang, 1, &POSE_SETUP, &longest, &err), PO_OK);
    free(x);
    return !hang.open;
}

/* Columns of very many crossings are counted down from the place asked for, no further than 512 of them. */
static void deep_columns_are_counted_so_far(void **state)
{
    (void)state;
    for (uint32_t slabs = 1; slabs <= 600; slabs += slabs == 1 ? 99 : 500) { /* 1, 100, 600 */
        assert_true(carried_between(slabs, false, true));
        assert_false(carried_between(slabs, false, false));
        assert_true(carried_between(slabs, true, true));
    }
    assert_true(carried_between(1, true, false));
    assert_true(carried_between(255, true, false));  /* 510 crossings, and the body that holds them all */
    assert_false(carried_between(256, true, false)); /* not known any more */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_box_lies_on_its_face),
        cmocka_unit_test(towers_tip_where_the_handbook_says),
        cmocka_unit_test(a_t_hangs_on_both_sides),
        cmocka_unit_test(a_table_bridges_its_span),
        cmocka_unit_test(a_wall_leans_up_to_the_limit),
        cmocka_unit_test(a_cone_on_its_base_and_on_its_tip),
        cmocka_unit_test(a_sphere_hangs_by_its_cap),
        cmocka_unit_test(small_level_holes_carry_themselves),
        cmocka_unit_test(a_face_inside_another_shell_is_none),
        cmocka_unit_test(ledges_of_a_millimetre_carry_themselves),
        cmocka_unit_test(inside_out_is_seen_as_meant),
        cmocka_unit_test(turns_are_least_and_exact_along_axes),
        cmocka_unit_test(loads_and_bad_input),
        cmocka_unit_test(any_size),
        cmocka_unit_test(large_regions_are_judged_as_small_ones),
        cmocka_unit_test(deep_columns_are_counted_so_far),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
