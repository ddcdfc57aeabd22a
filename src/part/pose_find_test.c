/* The best way up of ordinary shapes. SPDX-License-Identifier: Apache-2.0
 * What is expected of each is common practice, no published source, where nothing else is said. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/pose_bulk.h"
#include "part/pose_shapes.h"

#define NEAR(a, b, by)                                                                                                 \
    do {                                                                                                               \
        double a_ = (a), b_ = (b);                                                                                     \
        if (!(fabs(a_ - b_) <= (by))) {                                                                                \
            fail_msg("%s is %.9g, expected %.9g within %.3g", #a, a_, b_, (double)(by));                               \
        }                                                                                                              \
    } while (0)

static const double PI = 3.14159265358979323846;

typedef struct found {
    po_arena *arena;
    const po_pose *poses;
    size_t n, as_is;
} found;

static found find_with(soup *s, const po_pose_setup *setup, const double *keep, size_t most)
{
    pose_mesh m = mesh_of(s);
    found f = {.arena = po_arena_new(0)}, g;
    po_err err;
    if (po_pose_find(&m.mesh, setup, keep, most, 1, NULL, NULL, f.arena, &f.poses, &f.n, &f.as_is, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    assert_int_equal(po_pose_find(&m.mesh, setup, keep, most, 3, NULL, NULL, f.arena, &g.poses, &g.n, &g.as_is, &err),
                     PO_OK);
    assert_int_equal(g.n, f.n); /* whatever the number of threads */
    assert_int_equal(g.as_is, f.as_is);
    assert_true(f.as_is < f.n && f.n <= (most ? most + 1 : 12));
    size_t best = 0;
    for (size_t i = 0; i < f.n; i++) {
        assert_memory_equal(&f.poses[i], &g.poses[i], offsetof(po_pose, why));
        assert_string_equal(f.poses[i].why, g.poses[i].why);
        assert_true(i == 0 || keep || i == f.as_is || i == f.as_is + 1 || f.poses[i].cost >= f.poses[i - 1].cost);
        best += f.poses[i].best_in_something;
        if (getenv("POSES_SHOWN")) {
            const po_pose *p = &f.poses[i];
            printf("%c%c up %6.3f %6.3f %6.3f h %6.2f foot %8.2f/%d over %8.2f open %8.2f supp %9.1f bridge %5.2f %s "
                   "tip %5.1f "
                   "steps %7.1f min %5.1f hand %5.1f cost %7.4f: %s\n",
                   i == f.as_is ? '*' : ' ', p->best_in_something ? '!' : ' ', p->turn[2], p->turn[5], p->turn[8],
                   p->size_mm[2], p->foothold_mm2, p->footholds, p->overhang_mm2, p->overhang_open_mm2,
                   p->support_open_mm3, p->longest_bridge_mm, p->stands ? "stands" : "falls ", p->tip_deg, p->steps_mm2,
                   p->minutes_machine, p->minutes_hand, p->cost, p->why);
        }
    }
    assert_true(best >= 1);
    mesh_done(&m);
    return f;
}

static found find(soup *s)
{
    if (getenv("POSES_SHOWN")) {
        printf("\n");
    }
    return find_with(s, &POSE_SETUP, NULL, 0);
}

static void done(found *f)
{
    po_arena_free(f->arena);
}

/* A slanted start, so that nothing is found only because it lies along an axis. */
static const double *slant(void)
{
    static double turn[9];
    po_pose_turn((const double[3]){0.36, -0.48, 0.8}, turn);
    return turn;
}

static void a_plate_lies_flat(void **state)
{
    (void)state;
    for (int i = 0; i < 2; i++) {
        soup s = {0};
        soup_box(&s, 0, 0, 0, 60, 4, 90);
        if (i) {
            soup_turn(&s, slant());
        }
        found f = find(&s);
        NEAR(f.poses[0].size_mm[2], 4, 1e-4);
        NEAR(f.poses[0].foothold_mm2, 5400, 0.1);
        assert_true(f.poses[0].stands && !f.poses[0].brim && f.poses[0].overhang_open_mm2 < 1e-6);
        assert_non_null(strstr(f.poses[0].why, "largest flat face"));
        done(&f);
    }
}

static void a_box_has_three_poses(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 30, 20, 10);
    found f = find(&s);
    size_t stand = 0;
    for (size_t i = 0; i < f.n; i++) {
        stand += f.poses[i].stands && f.poses[i].overhang_mm2 == 0;
    }
    assert_int_equal(stand, 3);
    assert_int_equal(f.n, 3); /* nothing on an edge or corner, and no twin */
    assert_int_equal(f.as_is, 0);
    NEAR(f.poses[0].size_mm[2], 10, 1e-9);
    NEAR(f.poses[1].size_mm[2], 20, 1e-9);
    NEAR(f.poses[2].size_mm[2], 30, 1e-9);
    done(&f);
}

static void a_cup_opens_upward(void **state)
{
    (void)state;
    static const double wall[6][2] = {{0, 0}, {30, 0}, {30, 60}, {27, 60}, {27, 3}, {0, 3}};
    for (int i = 0; i < 2; i++) {
        soup s = {0};
        soup_turned(&s, wall, 6, 96);
        double turn[9] = {1, 0, 0, 0, -1, 0, 0, 0, -1};
        if (i) {
            soup_turn(&s, turn);
        }
        found f = find(&s);
        assert_true(f.poses[0].turn[8] == (i ? -1 : 1));
        assert_true(f.poses[0].overhang_mm2 == 0 && f.poses[0].stands);
        assert_int_equal(f.as_is == 0, !i);
        const po_pose *upside_down = &f.poses[f.as_is];
        if (i) { /* its floor would be a ceiling of 54 mm */
            NEAR(upside_down->overhang_open_mm2, PI * 27 * 27, 10);
        }
        done(&f);
    }
}

static void an_angle_needs_no_support(void **state)
{
    (void)state;
    static const double outline[6][2] = {{0, 0}, {40, 0}, {40, 4}, {4, 4}, {4, 50}, {0, 50}};
    soup s = {0};
    soup_prism(&s, outline, 6, (const double[2]){2, 2}, 25);
    soup_turn(&s, (const double[9]){-1, 0, 0, 0, 1, 0, 0, 0, -1});
    found f = find(&s);
    assert_true(f.poses[0].overhang_open_mm2 == 0 && f.poses[0].stands);
    NEAR(f.poses[0].size_mm[2], 25, 1e-6); /* on its side: the lowest without supports */
    assert_true(f.poses[f.as_is].overhang_open_mm2 > 100);
    done(&f);
}

static void a_t_and_a_table_lie_where_nothing_hangs(void **state)
{
    (void)state;
    static const double t[8][2] = {{15, 0}, {25, 0}, {25, 20}, {40, 20}, {40, 25}, {0, 25}, {0, 20}, {15, 20}};
    soup s = {0};
    soup_prism(&s, t, 8, (const double[2]){20, 22}, 40);
    found f = find(&s); /* upside down: 25 high, on its bar; on its side it is 40 high */
    assert_true(f.poses[0].overhang_open_mm2 == 0);
    NEAR(f.poses[0].size_mm[2], 25, 1e-6);
    assert_true(f.poses[0].turn[8] == -1);
    done(&f);
}

static void a_cone_stands_on_its_base(void **state)
{
    (void)state;
    static const double cone[3][2] = {{0, 0}, {15, 0}, {0, 40}};
    soup s = {0};
    soup_turned(&s, cone, 3, 64);
    soup_turn(&s, slant());
    found f = find(&s);
    double up[3] = {f.poses[0].turn[2], f.poses[0].turn[5], f.poses[0].turn[8]};
    const double *t = slant();
    NEAR(up[0] * t[6] + up[1] * t[7] + up[2] * t[8], 1, 1e-9);
    assert_true(f.poses[0].stands && f.poses[0].overhang_open_mm2 < 1e-6);
    done(&f);
}

static void a_sphere_is_the_same_all_round(void **state)
{
    (void)state;
    soup s = {0};
    soup_sphere(&s, 20, 48, 96);
    found f = find(&s);
    for (size_t i = 0; i < f.n; i++) {
        NEAR(f.poses[i].size_mm[2], 40, 0.1);
        assert_true(f.poses[i].overhang_open_mm2 > 500);
        assert_true(f.poses[i].brim);
    }
    assert_true(f.poses[f.n - 1].cost < 1.5 * f.poses[0].cost);
    done(&f);
}

static void a_tower_lies_down_and_a_rod_too(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 8, 8, 100); /* shared/handbook.md 5: tips at 4.574 degrees as it stands */
    found f = find(&s);
    NEAR(f.poses[0].size_mm[2], 8, 1e-9);
    NEAR(f.poses[f.as_is].tip_deg, 4.574, 1e-3);
    assert_true(f.as_is > 0 && f.poses[f.as_is].brim);
    done(&f);
}

static void strength_counts_when_the_load_is_known(void **state)
{
    (void)state;
    /* a hook plate, flat 20 x 6 x 60, pulled along z: it must not stand */
    po_pose_setup setup = POSE_SETUP;
    setup.load_known = true;
    setup.load[2] = 1;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 20, 20, 22);
    found f = find_with(&s, &setup, NULL, 0);
    NEAR(f.poses[0].across_layers, 0, 1e-9);
    NEAR(f.poses[0].size_mm[2], 20, 1e-9);
    assert_non_null(strstr(f.poses[0].why, "along its layers"));
    done(&f);
    soup_box(&s, 0, 0, 0, 20, 20, 18); /* lower as it lies, but weak */
    f = find_with(&s, &setup, NULL, 0);
    NEAR(f.poses[0].across_layers, 0, 1e-9);
    assert_true(f.as_is > 0);
    done(&f);
}

static void a_face_is_kept_down(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 20, 30);
    found f = find_with(&s, &POSE_SETUP, (const double[3]){0, 2, 0}, 0);
    assert_true(f.n == 2 && f.as_is == 1);
    assert_true(f.poses[0].turn[5] == -1);
    assert_true(f.poses[0].best_in_something && !f.poses[1].best_in_something); /* no choice: it keeps no face */
    NEAR(f.poses[0].size_mm[2], 20, 1e-9);
    done(&f);
    soup_box(&s, 0, 0, 0, 10, 20, 30);
    f = find_with(&s, &POSE_SETUP, (const double[3]){0, 0, -1}, 0);
    assert_true(f.n == 1 && f.as_is == 0 && f.poses[0].best_in_something);
    done(&f);
    soup_box(&s, 0, 0, 0, 10, 20, 30);
    f = find_with(&s, &POSE_SETUP, NULL, 1); /* the best, and as it lies */
    assert_true(f.n == 2 && f.as_is == 1);
    done(&f);
}

/* Bulk scores are those of the full measure where nothing hides anything: convex parts. */
static void bulk_agrees_with_the_full_measure(void **state)
{
    (void)state;
    static const double ups[6][3] = {{0, 0, 1}, {0, 0, -1},       {0.3, 0.2, 0.9},
                                     {1, 0, 0}, {0.6, -0.5, 0.2}, {-0.2, 0.9, -0.4}};
    for (int shape = 0; shape < 3; shape++) {
        soup s = {0};
        if (shape == 0) {
            soup_box(&s, 0, 0, 0, 30, 20, 10);
        } else if (shape == 1) {
            soup_sphere(&s, 15, 90, 180);
        } else {
            soup_turned(&s, (const double[3][2]){{0, 0}, {15, 0}, {0, 40}}, 3, 64);
        }
        pose_mesh m = mesh_of(&s);
        po_pose scores[6], again[6], full;
        po_err err;
        assert_int_equal(po_pose_score(&m.mesh, ups, 6, &POSE_SETUP, 1, NULL, scores, &err), PO_OK);
        assert_int_equal(po_pose_score(&m.mesh, ups, 6, &POSE_SETUP, 2, NULL, again, &err), PO_OK);
        assert_memory_equal(scores, again, sizeof scores);
        for (int i = 0; i < 6; i++) {
            double turn[9];
            po_pose_turn(ups[i], turn);
            assert_int_equal(po_pose_measure(&m.mesh, turn, &POSE_SETUP, 1, NULL, &full, &err), PO_OK);
            for (int k = 0; k < 3; k++) {
                NEAR(scores[i].size_mm[k], full.size_mm[k], 1e-3);
            }
            NEAR(scores[i].overhang_mm2, full.overhang_mm2, 0.01 * full.overhang_mm2 + 8);
            NEAR(scores[i].steps_mm2, full.steps_mm2, 1e-3 * full.steps_mm2 + 1e-3);
            NEAR(scores[i].support_open_mm3, full.support_open_mm3, 0.03 * full.support_open_mm3 + 10);
            NEAR(scores[i].tip_deg, full.tip_deg, 3);
            assert_int_equal(scores[i].stands, full.stands);
            assert_true(isnan(scores[i].support_mm3) && isnan(scores[i].longest_bridge_mm) && !scores[i].footholds);
        }
        mesh_done(&m);
    }
}

/* Every way of computing gives the same numbers to the bit. */
static void all_kernels_agree(void **state)
{
    (void)state;
    soup s = {0};
    soup_torus(&s, 0, 0, 0, 30, 10, 60, 40);
    pose_mesh m = mesh_of(&s);
    po_pool *pool = po_pool_new(1);
    po_pose_bulk bulk;
    po_err err;
    assert_int_equal(po_pose_bulk_make(&m.mesh, pool, &bulk, &err), PO_OK);
    double up[PO_MOST_AXES][3];
    float axes[PO_MOST_AXES][3], low[PO_MOST_AXES], bounds[2][PO_MOST_AXES][2];
    po_plane_sums sums[2][PO_MOST_AXES];
    uint32_t lowest[2][PO_MOST_AXES];
    po_pose_spread(PO_MOST_AXES, up);
    for (int i = 0; i < PO_MOST_AXES; i++) {
        for (int k = 0; k < 3; k++) {
            axes[i][k] = (float)up[i][k];
        }
    }
    po_plane_limits limits = {-0.7f, 0.7f, 0.99f};
    for (size_t v = 0; po_pose_kernel_at(v); v++) {
        const po_pose_kernel *k = po_pose_kernel_at(v);
        k->heights(&bulk.corners, (const float(*)[3])axes, PO_MOST_AXES, bounds[v > 0]);
        for (int i = 0; i < PO_MOST_AXES; i++) {
            low[i] = bounds[0][i][0];
        }
        k->sums(&bulk.planes, (const float(*)[3])axes, low, 0.1f, PO_MOST_AXES, &limits, sums[v > 0]);
        k->lowest(&bulk.corners, (const float(*)[3])axes, PO_MOST_AXES, lowest[v > 0]);
        assert_memory_equal(bounds[0], bounds[v > 0], sizeof bounds[0]);
        assert_memory_equal(sums[0], sums[v > 0], sizeof sums[0]);
        assert_memory_equal(lowest[0], lowest[v > 0], sizeof lowest[0]);
    }
    for (int i = 0; i < PO_MOST_AXES; i++) { /* and they are the plain ones over all corners, left out ones included */
        double least = INFINITY;
        for (size_t p = 0; p < m.mesh.n_vertices; p++) {
            double h = 0;
            for (int k = 0; k < 3; k++) {
                h += (m.xyz[3 * p + (size_t)k] - bulk.middle[k]) * up[i][k];
            }
            least = fmin(least, h);
        }
        NEAR((double)low[i], least, 1e-3);
    }
    po_pose_bulk_done(&bulk);
    po_pool_free(pool);
    mesh_done(&m);
}

static bool stop(uint64_t at, uint64_t total, void *user)
{
    assert_true(at <= total);
    return ++*(int *)user < 2;
}

static void it_can_be_cancelled_and_says_what_is_wrong(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 20, 30);
    pose_mesh m = mesh_of(&s);
    po_arena *arena = po_arena_new(0);
    const po_pose *poses = NULL;
    size_t n = 0, as_is;
    int calls = 0;
    po_err err;
    assert_int_equal(po_pose_find(&m.mesh, &POSE_SETUP, NULL, 0, 1, stop, &calls, arena, &poses, &n, &as_is, &err),
                     PO_E_CANCELLED);
    assert_int_equal(calls, 2);
    assert_null(poses);
    assert_int_equal(po_pose_find(&m.mesh, &POSE_SETUP, (const double[3]){0, 0, 0}, 0, 1, NULL, NULL, arena, &poses, &n,
                                  &as_is, &err),
                     PO_E_RANGE);
    m.xyz[0] = NAN;
    assert_int_equal(po_pose_find(&m.mesh, &POSE_SETUP, NULL, 0, 1, NULL, NULL, arena, &poses, &n, &as_is, &err),
                     PO_E_RANGE);
    m.xyz[0] = 0;
    po_mesh one = m.mesh; /* a single triangle: a pose, if a poor one */
    one.n_triangles = 1;
    assert_int_equal(po_pose_find(&one, &POSE_SETUP, NULL, 0, 1, NULL, NULL, arena, &poses, &n, &as_is, &err), PO_OK);
    assert_true(n >= 1 && isfinite(poses[0].cost));
    one.n_triangles = 0;
    assert_int_equal(po_pose_find(&one, &POSE_SETUP, NULL, 0, 1, NULL, NULL, arena, &poses, &n, &as_is, &err),
                     PO_E_EMPTY);
    po_arena_free(arena);
    mesh_done(&m);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plate_lies_flat),
        cmocka_unit_test(a_box_has_three_poses),
        cmocka_unit_test(a_cup_opens_upward),
        cmocka_unit_test(an_angle_needs_no_support),
        cmocka_unit_test(a_t_and_a_table_lie_where_nothing_hangs),
        cmocka_unit_test(a_cone_stands_on_its_base),
        cmocka_unit_test(a_sphere_is_the_same_all_round),
        cmocka_unit_test(a_tower_lies_down_and_a_rod_too),
        cmocka_unit_test(strength_counts_when_the_load_is_known),
        cmocka_unit_test(a_face_is_kept_down),
        cmocka_unit_test(bulk_agrees_with_the_full_measure),
        cmocka_unit_test(all_kernels_agree),
        cmocka_unit_test(it_can_be_cancelled_and_says_what_is_wrong),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
