/* Checks of flat triangles and plane cuts. SPDX-License-Identifier: Apache-2.0
 * Outside: closed forms (each named where it is used); that both halves are closed is told by po_mesh_measure, which
 * counts edges and knows nothing of cuts. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/cut.h"
#include "part/cut_shapes.h"
#include "part/triangulate.h"

static double volume_of(const po_mesh *mesh, po_arena *arena)
{
    po_mesh_facts facts;
    po_err err;
    if (!mesh->n_triangles) {
        return 0;
    }
    assert_int_equal(po_mesh_measure(mesh, 1, arena, &facts, &err), PO_OK);
    assert_true(facts.watertight);
    assert_true(facts.judged == mesh);
    assert_int_equal(facts.open_edges, 0);
    assert_int_equal(facts.crowded_edges, 0);
    assert_int_equal(facts.flipped_triangles, 0);
    assert_int_equal(facts.doubled_triangles, 0);
    return facts.volume_mm3;
}

typedef struct halves {
    po_mesh below, above;
    po_cut cut;
    double v_below, v_above, v_whole;
} halves;

static halves cut_checked(const po_mesh *mesh, double x, double y, double z, double d, po_arena *arena)
{
    halves h;
    po_err err = {0};
    double length = sqrt(x * x + y * y + z * z);
    po_plane plane = {{x / length, y / length, z / length}, d};
    po_status status = po_mesh_cut(mesh, &plane, arena, &h.below, &h.above, &h.cut, &err);
    if (status != PO_OK) {
        fail_msg("%s", err.msg);
    }
    h.v_whole = volume_of(mesh, arena);
    h.v_below = volume_of(&h.below, arena);
    h.v_above = volume_of(&h.above, arena);
    assert_true(fabs(h.v_below + h.v_above - h.v_whole) <= 1e-9 * fabs(h.v_whole));
    for (int side = 0; side < 2; side++) { /* each half keeps to its side */
        const po_mesh *m = side ? &h.above : &h.below;
        double slack = 2 * po_cut_tolerance(mesh) + 1e-12;
        for (size_t v = 0; v < m->n_vertices; v++) {
            const double *p = m->xyz + 3 * v;
            double at = p[0] * plane.n[0] + p[1] * plane.n[1] + p[2] * plane.n[2] - d;
            assert_true(side ? at >= -slack : at <= slack);
        }
    }
    return h;
}

static void assert_near(double got, double wanted, double within)
{
    if (!(fabs(got - wanted) <= within)) {
        fail_msg("%.12g is not %.12g", got, wanted);
    }
}

static void test_box(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 20, 30);
    po_mesh mesh = cut_weld(&s, arena);
    halves h = cut_checked(&mesh, 0, 0, 1, 12, arena);
    assert_near(h.v_below, 10 * 20 * 12, 1e-9);
    assert_near(h.cut.area_mm2, 200, 1e-9);
    assert_near(h.cut.least_mm, 10, 0.25); /* a rectangle's largest inset is half its short side; found to 2 % */
    assert_int_equal(h.cut.loops, 1);
    /* across all three axes: a hexagon; x + y + z = d cuts d^3 / 6 off a corner while d <= 10 */
    h = cut_checked(&mesh, 1, 1, 1, 6 / sqrt(3), arena);
    assert_near(h.v_below, 36, 1e-9);
    assert_near(h.cut.area_mm2, 6 * 6 * sqrt(3) / 2, 1e-9); /* equilateral with side 6 sqrt 2 */
    h = cut_checked(&mesh, 0, 0, -1, -12, arena);
    assert_near(h.v_above, 10 * 20 * 12, 1e-9);
    /* along faces, and beside the box: nothing is parted */
    h = cut_checked(&mesh, 0, 0, 1, 0, arena);
    assert_int_equal(h.below.n_triangles, 0);
    assert_int_equal(h.above.n_triangles, 12);
    h = cut_checked(&mesh, 0, 0, 1, 30, arena);
    assert_int_equal(h.above.n_triangles, 0);
    h = cut_checked(&mesh, 1, 0, 0, -5, arena);
    assert_int_equal(h.above.n_triangles, 12);
    assert_int_equal(h.cut.loops, 0);
    /* through four corners: the diagonal plane */
    h = cut_checked(&mesh, 2, 1, 0, 20 / sqrt(5), arena);
    assert_near(h.v_below, 3000, 1e-9);
    assert_near(h.cut.area_mm2, 30 * sqrt(500), 1e-6);
    assert_int_equal(h.below.n_triangles, 8); /* a wedge, and nothing more than its corners */
    assert_int_equal(h.below.n_vertices, 6);
    free(s.nine);
    po_arena_free(arena);
}

static void test_steps(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    /* an L seen from the side, cut at its step: the step's face lies in the plane and belongs to the lower half */
    double outline[12] = {0, 0, 30, 0, 30, 10, 10, 10, 10, 40, 0, 40};
    soup_prism(&s, outline, 6, 0, 7);
    po_mesh mesh = cut_weld(&s, arena);
    halves h = cut_checked(&mesh, 0, 1, 0, 10, arena);
    assert_near(h.v_below, 30 * 10 * 7, 1e-9);
    assert_near(h.v_above, 10 * 30 * 7, 1e-9);
    assert_near(h.cut.area_mm2, 10 * 7, 1e-9);
    h = cut_checked(&mesh, 0, -1, 0, -10, arena); /* the same with the face looking down */
    assert_near(h.v_above, 30 * 10 * 7, 1e-9);
    assert_near(h.cut.area_mm2, 10 * 7, 1e-9);
    free(s.nine);
    s = (soup){0};
    /* a tunnel whose lower or upper edge just touches the plane: a fold, on both sides of which there is material */
    double block[16] = {0, 0, 20, 0, 20, 20, 0, 20, 0, 12, 4, 12, 4, 8, 0, 8};
    soup_prism(&s, block, 8, 0, 5);
    mesh = cut_weld(&s, arena);
    h = cut_checked(&mesh, 0, 1, 0, 8, arena);
    assert_near(h.v_below, 20 * 8 * 5, 1e-9);
    assert_near(h.cut.area_mm2, 16 * 5, 1e-9);
    h = cut_checked(&mesh, 0, 1, 0, 12, arena);
    assert_near(h.v_above, 20 * 8 * 5, 1e-9);
    free(s.nine);
    s = (soup){0};
    /* a roof-shaped tunnel through a block, apex in the plane */
    double front[8][2] = {{0, 0}, {20, 0}, {20, 20}, {0, 20}, {5, 5}, {15, 5}, {10, 10}, {0, 0}};
    for (int w = 0; w < 4; w++) { /* outer walls */
        double a[3] = {front[w][0], 0, front[w][1]}, b[3] = {front[(w + 1) % 4][0], 0, front[(w + 1) % 4][1]};
        double c[3] = {b[0], 9, b[2]}, d[3] = {a[0], 9, a[2]};
        soup_add(&s, a, c, b);
        soup_add(&s, a, d, c);
    }
    for (int w = 0; w < 3; w++) { /* the tunnel's */
        int p = 4 + w, q = 4 + (w + 1) % 3;
        double a[3] = {front[p][0], 0, front[p][1]}, b[3] = {front[q][0], 0, front[q][1]};
        double c[3] = {b[0], 9, b[2]}, d[3] = {a[0], 9, a[2]};
        soup_add(&s, a, b, c);
        soup_add(&s, a, c, d);
    }
    static const int mouth[7][3] = {{0, 1, 4}, {1, 5, 4}, {1, 2, 5}, {2, 6, 5}, {2, 3, 6}, {3, 4, 6}, {3, 0, 4}};
    for (int t = 0; t < 7; t++) {
        double p[3][3], q[3][3];
        for (int k = 0; k < 3; k++) {
            p[k][0] = q[k][0] = front[mouth[t][k]][0];
            p[k][2] = q[k][2] = front[mouth[t][k]][1];
            p[k][1] = 0;
            q[k][1] = 9;
        }
        soup_add(&s, p[0], p[1], p[2]);
        soup_add(&s, q[0], q[2], q[1]);
    }
    mesh = cut_weld(&s, arena);
    assert_near(volume_of(&mesh, arena), (400 - 25) * 9, 1e-9);
    h = cut_checked(&mesh, 0, 0, 1, 10, arena);
    assert_near(h.v_above, 20 * 10 * 9, 1e-9);
    assert_near(h.cut.area_mm2, 20 * 9, 1e-9);
    h = cut_checked(&mesh, 0, 0, 1, 5, arena);
    assert_near(h.v_below, 20 * 5 * 9, 1e-9);
    assert_near(h.cut.area_mm2, 10 * 9, 1e-9);
    assert_int_equal(h.cut.loops, 2);
    assert_near(h.cut.least_mm, 5, 0.15); /* the two strips beside the tunnel */
    free(s.nine);
    po_arena_free(arena);
}

static void test_round(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_tube(&s, 8, 10, -20, 20, 64);
    po_mesh mesh = cut_weld(&s, arena);
    halves h = cut_checked(&mesh, 0, 0, 1, 3.25, arena);
    assert_near(h.v_below, tube_volume(8, 10, 23.25, 64), 1e-6);
    assert_int_equal(h.cut.loops, 2);
    assert_near(h.cut.area_mm2, tube_volume(8, 10, 1, 64), 1e-9);
    assert_near(h.cut.least_mm, 2 * cos(3.14159265358979 / 64), 0.05); /* the wall */
    h = cut_checked(&mesh, 1, 0, 0, 0, arena);                         /* along: two strips, through corners */
    assert_near(h.v_below, h.v_above, 1e-6);
    assert_near(h.cut.area_mm2, 2 * 2 * 40, 1e-6);
    assert_int_equal(h.cut.loops, 2);
    free(s.nine);
    s = (soup){0};
    soup_torus(&s, 0, 0, 0, 50, 10, 60, 24);
    mesh = cut_weld(&s, arena);
    h = cut_checked(&mesh, 0, 1, 0, 0, arena); /* two 24-gons */
    assert_int_equal(h.cut.loops, 2);
    assert_near(h.cut.area_mm2, 2 * 12 * 100 * sin(6.28318530717958647692 / 24), 1e-3);
    assert_near(h.v_below, torus_volume(50, 10, 60, 24) / 2, 1e-2);
    h = cut_checked(&mesh, 0, 0, 1, 0, arena); /* a ring, all corners of two circles in the plane */
    assert_int_equal(h.cut.loops, 2);
    assert_near(h.cut.area_mm2, 30 * (3600 - 1600) * sin(6.28318530717958647692 / 60), 1e-2);
    h = cut_checked(&mesh, 1, 0, 0, 40, arena); /* touches the inner side: two loops meet in a corner */
    assert_near(h.v_below + h.v_above, torus_volume(50, 10, 60, 24), 1e-2);
    free(s.nine);
    po_arena_free(arena);
}

static void test_shells(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_box(&s, 0, 0, 0, 20, 20, 20);
    size_t first = s.n;
    soup_box(&s, 5, 5, 5, 10, 10, 10);
    soup_invert(&s, first);
    soup_box(&s, 8, 8, 8, 4, 4, 4);     /* loose within the hollow */
    soup_box(&s, 20, 0, 0, 10, 20, 20); /* face to face */
    soup_box(&s, 25, -5, 3, 30, 30, 5); /* and one that overlaps that */
    po_arena *own = po_arena_new(0);
    /* welded apart, put into one mesh: the two boxes face to face would share edges else */
    double *xyz = po_arena_zeros(arena, s.n * 3, 3 * sizeof *xyz);
    uint32_t *corners = po_arena_zeros(arena, s.n, 3 * sizeof *corners);
    size_t n_vertices = 0, n_triangles = 0;
    static const size_t begins[6] = {0, 12, 24, 36, 48, 60};
    for (int b = 0; b < 5; b++) {
        soup one = {s.nine + 9 * begins[b], 12, 0};
        po_mesh m = cut_weld(&one, own);
        memcpy(xyz + 3 * n_vertices, m.xyz, m.n_vertices * 3 * sizeof *xyz);
        for (size_t i = 0; i < 36; i++) {
            corners[3 * n_triangles + i] = m.corners[i] + (uint32_t)n_vertices;
        }
        n_vertices += m.n_vertices;
        n_triangles += 12;
    }
    po_mesh mesh = {xyz, n_vertices, corners, n_triangles};
    halves h = cut_checked(&mesh, 0, 0, 1, 10, arena);
    assert_near(h.v_whole, 8000 - 1000 + 64 + 4000 + 4500, 1e-9);
    assert_near(h.v_below, 4000 - 500 + 32 + 2000 + 4500, 1e-9);
    assert_near(h.cut.area_mm2, 400 - 100 + 16 + 200, 1e-9);
    h = cut_checked(&mesh, 0, 0, 1, 6, arena);
    assert_near(h.cut.area_mm2, 400 - 100 + 200 + 900, 1e-9);
    h = cut_checked(&mesh, 0, 0, 1, 5, arena); /* the floor of the hollow lies in the plane, and a wall ends above */
    assert_near(h.v_below, 400 * 5 + 200 * 5 + 900 * 2, 1e-9);
    assert_near(h.cut.area_mm2, 400 - 100 + 200 + 900, 1e-9);
    h = cut_checked(&mesh, 1, 0, 0, 20, arena); /* in the faces of two boxes that touch */
    assert_near(h.v_below, 8000 - 1000 + 64, 1e-9);
    cut_checked(&mesh, 0.3, 0.5, 0.7, 14, arena);
    po_arena_free(own);
    free(s.nine);
    po_arena_free(arena);
}

static void test_random(void **state)
{
    (void)state;
    lottery l = {88172645463325252ull};
    po_arena *arena = po_arena_new(0);
    soup s[4] = {{0}};
    soup_bumpy(&s[0], 40, 0, 1, 12);
    soup_bumpy(&s[1], 40, 9, 5, 24);
    soup_torus(&s[2], 1000, -300, 20, 60, 22, 40, 20);
    soup_tube(&s[3], 50, 51, 0, 500, 64);
    for (int i = 0; i < 4; i++) {
        po_mesh mesh = cut_weld(&s[i], arena);
        for (int k = 0; k < 60; k++) {
            po_arena *own = po_arena_new(0);
            double n[3] = {draw(&l) * 2 - 1, draw(&l) * 2 - 1, draw(&l) * 2 - 1};
            const double *p = mesh.xyz + 3 * (size_t)(draw(&l) * (double)mesh.n_vertices);
            if (k % 3 == 0) { /* a plane of the axes, through a corner exactly */
                int axis = k / 3 % 3;
                for (int a = 0; a < 3; a++) {
                    n[a] = a == axis;
                }
            }
            double length = sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
            double d = (n[0] * p[0] + n[1] * p[1] + n[2] * p[2]) /
                       length; /* through a corner, as near as numbers are */
            cut_checked(&mesh, n[0], n[1], n[2], d, own);
            po_arena_free(own);
        }
        free(s[i].nine);
    }
    po_arena_free(arena);
}

/* Cut again and again: what one cut makes is as good as what was given. */
static void test_again(void **state)
{
    (void)state;
    lottery l = {4101842887655102017ull};
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_bumpy(&s, 40, 9, 5, 20);
    po_mesh pieces[64] = {cut_weld(&s, arena)};
    size_t n = 1;
    double whole = volume_of(&pieces[0], arena), sum = 0;
    for (int k = 0; k < 4; k++) {
        double x = draw(&l) - 0.5, y = draw(&l) - 0.5, z = k == 1 ? 0 : draw(&l) - 0.5;
        size_t before = n;
        for (size_t i = 0; i < before; i++) {
            halves h = cut_checked(&pieces[i], x, y, z, 3.0 * k, arena);
            pieces[i] = h.below.n_triangles ? h.below : h.above;
            if (h.below.n_triangles && h.above.n_triangles) {
                pieces[n++] = h.above;
            }
        }
    }
    for (size_t i = 0; i < n; i++) {
        sum += volume_of(&pieces[i], arena);
    }
    assert_true(n > 8);
    assert_near(sum, whole, 1e-9 * whole);
    free(s.nine);
    po_arena_free(arena);
}

static void test_pins(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_box(&s, 0, 0, 0, 40, 30, 60);
    po_mesh mesh = cut_weld(&s, arena), below, above;
    po_plane plane = {{0, 0, 1}, 25};
    double frame[12];
    po_plane_frame(&plane, frame);
    po_pin_hole pins[2] = {{{0}, 3, {8, 9}}, {{0}, 2, {5, 5}}};
    double at[2][3] = {{10, 15, 25}, {30, 12, 25}};
    for (int i = 0; i < 2; i++) {
        for (int k = 0; k < 3; k++) {
            pins[i].at[0] += (at[i][k] - frame[9 + k]) * frame[k];
            pins[i].at[1] += (at[i][k] - frame[9 + k]) * frame[3 + k];
        }
    }
    po_cut cut;
    po_err err;
    assert_int_equal(po_cut_mesh(&mesh, &plane, pins, 2, arena, &below, &above, &cut, &err), PO_OK);
    /* a polygon of 48 sides around a circle has the area n r^2 tan(pi / n) */
    double round = 48 * tan(3.14159265358979323846 / 48);
    assert_near(volume_of(&below, arena), 40 * 30 * 25 - round * (9 * 8 + 4 * 5), 1e-8);
    assert_near(volume_of(&above, arena), 40 * 30 * 35 - round * (9 * 9 + 4 * 5), 1e-8);
    assert_near(cut.area_mm2, 1200, 1e-9); /* the joint, pins aside */
    pins[0].at[0] += 100;
    assert_int_equal(po_cut_mesh(&mesh, &plane, pins, 2, arena, &below, &above, &cut, &err), PO_E_RANGE);
    free(s.nine);
    po_arena_free(arena);
}

static void test_refused(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 20, 30);
    po_mesh mesh = cut_weld(&s, arena), below, above, open = mesh;
    po_plane plane = {{0, 0, 1}, 12};
    po_cut cut;
    po_err err;
    open.n_triangles--;
    assert_int_equal(po_mesh_cut(&open, &plane, arena, &below, &above, &cut, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "mend"));
    plane.n[2] = 2;
    assert_int_equal(po_mesh_cut(&mesh, &plane, arena, &below, &above, &cut, &err), PO_E_RANGE);
    soup_invert(&s, 0);
    mesh = cut_weld(&s, arena);
    plane.n[2] = 1;
    assert_int_equal(po_mesh_cut(&mesh, &plane, arena, &below, &above, &cut, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "inside out"));
    free(s.nine);
    po_arena_free(arena);
}

/* ---- triangles ---- */

/* Triangles close the outline: every directed edge of it once, every other one both ways. */
static void check_flat(const double *xy, size_t n_points, const uint32_t (*edges)[2], size_t n_edges, double area)
{
    po_arena *arena = po_arena_new(0);
    po_flat flat;
    po_err err = {0};
    po_status status = po_triangulate(xy, n_points, edges, n_edges, 1e-9, arena, &flat, &err);
    if (status != PO_OK) {
        fail_msg("%s", err.msg);
    }
    assert_near(flat.area, area, 1e-9 * (1 + fabs(area)));
    int *sum = calloc(n_points * n_points, sizeof *sum);
    assert_non_null(sum);
    for (size_t t = 0; t < flat.n_triangles; t++) {
        for (size_t k = 0; k < 3; k++) {
            sum[flat.corners[3 * t + k] * n_points + flat.corners[3 * t + (k + 1) % 3]]++;
        }
    }
    for (size_t i = 0; i < n_edges; i++) {
        sum[flat.same[edges[i][0]] * n_points + flat.same[edges[i][1]]]--;
    }
    for (size_t a = 0; a < n_points; a++) {
        for (size_t b = 0; b < a; b++) {
            assert_int_equal(sum[a * n_points + b], sum[b * n_points + a]);
        }
    }
    free(sum);
    po_arena_free(arena);
}

static void test_flat(void **state)
{
    (void)state;
    /* a square with a square hole that touches its corner, and a point of a third on its side */
    double xy[] = {0, 0, 10, 0, 10, 10, 0, 10, 0, 0, 3, 1, 3, 3, 1, 3, 5, 0, 6, 2, 4, 2};
    uint32_t square[][2] = {{0, 1}, {1, 2}, {2, 3}, {3, 0}, {4, 7}, {7, 6}, {6, 5}, {5, 4}, {8, 10}, {10, 9}, {9, 8}};
    check_flat(xy, 8, (const uint32_t(*)[2])square, 4, 100);
    check_flat(xy, 8, (const uint32_t(*)[2])square, 8, 100 - 6);
    check_flat(xy, 11, (const uint32_t(*)[2])square, 11, 100 - 6 - 2);
    /* a star of random radii, many points in a row on straight sides, thousands of them */
    lottery l = {1442695040888963407ull};
    enum { N = 1500 };
    static double star[2 * N];
    static uint32_t ring[N][2];
    double area = 0;
    for (size_t i = 0; i < N; i++) {
        double r = 5 + 50 * draw(&l), a = 6.28318530717958647692 * (double)i / N;
        star[2 * i] = r * cos(a);
        star[2 * i + 1] = r * sin(a);
        ring[i][0] = (uint32_t)i;
        ring[i][1] = (uint32_t)((i + 1) % N);
    }
    for (size_t i = 0; i < N; i++) { /* shoelace */
        const double *p = star + 2 * i, *q = star + 2 * ((i + 1) % N);
        area += (p[0] * q[1] - p[1] * q[0]) / 2;
    }
    check_flat(star, N, (const uint32_t(*)[2])ring, N, area);
    for (size_t i = 0; i < N; i++) { /* a square whose sides hold many points, off the line by rounding */
        double t = 4.0 * (double)i / N, f = t - floor(t), a = 0.3;
        double x = t < 1 ? f : t < 2 ? 1 : t < 3 ? 1 - f : 0, y = t < 1 ? 0 : t < 2 ? f : t < 3 ? 1 : 1 - f;
        star[2 * i] = 100 * (x * cos(a) - y * sin(a));
        star[2 * i + 1] = 100 * (x * sin(a) + y * cos(a));
    }
    check_flat(star, N, (const uint32_t(*)[2])ring, N, 10000);
    /* crossing and overlapping outlines are refused, and so are open ones */
    po_arena *arena = po_arena_new(0);
    po_flat flat;
    po_err err;
    double bow[] = {0, 0, 10, 10, 10, 0, 0, 10};
    assert_int_equal(po_triangulate(bow, 4, (const uint32_t(*)[2])square, 4, 1e-9, arena, &flat, &err), PO_E_RANGE);
    double twice[] = {0, 0, 10, 0, 10, 10, 0, 10, 2, 2, 2, 8, 8, 8, 8, 2};
    uint32_t both[][2] = {{0, 1}, {1, 2}, {2, 3}, {3, 0}, {4, 7}, {7, 6}, {6, 5}, {5, 4}};
    assert_int_equal(po_triangulate(twice, 8, (const uint32_t(*)[2])both, 8, 1e-9, arena, &flat, &err), PO_E_RANGE);
    assert_int_equal(po_triangulate(twice, 8, (const uint32_t(*)[2])both, 3, 1e-9, arena, &flat, &err), PO_E_RANGE);
    assert_int_equal(po_triangulate(twice, 3, (const uint32_t(*)[2])both, 4, 1e-9, arena, &flat, &err), PO_E_RANGE);
    twice[3] = NAN;
    assert_int_equal(po_triangulate(twice, 8, (const uint32_t(*)[2])both, 4, 1e-9, arena, &flat, &err), PO_E_RANGE);
    po_arena_free(arena);
}

/* The closed meshes of the samples that other tests read, cut in many places. */
static void test_samples(void **state)
{
    (void)state;
    static const char *const names[] = {"7_8ths_cube.stl", "box.STL", "busted.STL", "cylinder.stl", "plate_holes.STL"};
    const char *shared = getenv("PO_SHARED");
    lottery l = {7046029254386353131ull};
    size_t n = 0;
    for (size_t i = 0; shared && i < sizeof names / sizeof names[0]; i++) {
        po_arena *arena = po_arena_new(0);
        char path[512];
        snprintf(path, sizeof path, "%s/data/mesh/%s", shared, names[i]);
        po_source source = {.path = path};
        const po_part *part;
        po_err err;
        if (po_part_read(&source, NULL, arena, &part, &err) == PO_OK) {
            const po_mesh *mesh = &part->objects[0].mesh;
            n++;
            for (int k = 0; k < 24; k++) {
                double x[3] = {draw(&l) - 0.5, draw(&l) - 0.5, draw(&l) - 0.5};
                const double *p = mesh->xyz + 3 * (size_t)(draw(&l) * (double)mesh->n_vertices);
                if (k % 2) {
                    for (int a = 0; a < 3; a++) {
                        x[a] = a == k / 2 % 3;
                    }
                }
                double length = sqrt(x[0] * x[0] + x[1] * x[1] + x[2] * x[2]);
                cut_checked(mesh, x[0], x[1], x[2], (x[0] * p[0] + x[1] * p[1] + x[2] * p[2]) / length, arena);
            }
        }
        po_arena_free(arena);
    }
    if (!n) {
        print_message("no sample meshes here: skipped\n");
        skip();
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_flat),    cmocka_unit_test(test_box),    cmocka_unit_test(test_steps),
        cmocka_unit_test(test_round),   cmocka_unit_test(test_shells), cmocka_unit_test(test_random),
        cmocka_unit_test(test_again),   cmocka_unit_test(test_pins),   cmocka_unit_test(test_refused),
        cmocka_unit_test(test_samples),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
