/* Checks of exact sides and self cuts. SPDX-License-Identifier: Apache-2.0
 * Against whole-number arithmetic in 128 bits, by another way: one triangle is clipped to the other, corner by corner. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "base/rounds.h"
#include "part/cut_pair.h"
#include "part/exact.h"
#include "part/shapes.h"
#include "part/weld.h"
#include "proveout/part.h"

__extension__ typedef __int128 wide;

static unsigned seed = 5;
static uint32_t dice(uint32_t n)
{
    seed = seed * 1664525u + 1013904223u;
    return (seed >> 8) % n;
}

static int sign(wide x)
{
    return (x > 0) - (x < 0);
}

static wide det3(const int64_t *a, const int64_t *b, const int64_t *c, const int64_t *d)
{
    wide u[3], v[3], w[3];
    for (int k = 0; k < 3; k++) {
        u[k] = b[k] - a[k];
        v[k] = c[k] - a[k];
        w[k] = d[k] - a[k];
    }
    return (u[1] * v[2] - u[2] * v[1]) * w[0] + (u[2] * v[0] - u[0] * v[2]) * w[1] + (u[0] * v[1] - u[1] * v[0]) * w[2];
}

/* Points in or very near a plane, of up to 41 bits: double arithmetic alone can't tell. */
static void test_sides(void **state)
{
    (void)state;
    int n_zero = 0, n_wrong_plainly = 0;
    for (int round = 0; round < 200000; round++) {
        int64_t p[4][3];
        double q[4][3];
        int bits = 1 + round % 40;
        for (int i = 0; i < 3; i++) {
            for (int k = 0; k < 3; k++) {
                p[i][k] = (int64_t)((uint64_t)dice(1u << 20) << 20 | dice(1u << 20)) >> (40 - bits);
            }
        }
        for (int k = 0; k < 3; k++) { /* d = b + c - a lies in the plane; nudged or not */
            p[3][k] = p[1][k] + p[2][k] - p[0][k] + (dice(4) == 0 ? (int64_t)dice(3) - 1 : 0);
        }
        for (int i = 0; i < 12; i++) {
            q[i / 3][i % 3] = (double)p[i / 3][i % 3];
        }
        int right = sign(det3(p[0], p[1], p[2], p[3]));
        assert_int_equal(po_side3(q[0], q[1], q[2], q[3]), right);
        assert_int_equal(po_side3_exact(q[0], q[1], q[2], q[3]), right);
        n_zero += right == 0;
        double plain = 0;
        for (int k = 0; k < 3; k++) {
            int l = (k + 1) % 3, m = (k + 2) % 3;
            plain += ((q[1][l] - q[0][l]) * (q[2][m] - q[0][m]) - (q[1][m] - q[0][m]) * (q[2][l] - q[0][l])) *
                     (q[3][k] - q[0][k]);
        }
        n_wrong_plainly += (plain > 0) - (plain < 0) != right;
        wide two = ((wide)p[1][0] - p[0][0]) * ((wide)p[3][1] - p[0][1]) -
                   ((wide)p[1][1] - p[0][1]) * ((wide)p[3][0] - p[0][0]);
        assert_int_equal(po_side2(q[0], q[1], q[3], 0, 1), sign(two));
        assert_int_equal(po_side2_exact(q[0], q[1], q[3], 0, 1), sign(two));
        assert_int_equal(po_side2(q[0], q[1], q[1], 2, 1), 0);
    }
    assert_true(n_zero > 1000 && n_wrong_plainly > 1000); /* the test is one that plain arithmetic fails */
}

/* Shewchuk's own picture (1997, figure 1): points a grid of last places around a line. Differences are not exact here. */
static void test_last_places(void **state)
{
    (void)state;
    for (int i = 0; i < 256; i++) {
        for (int j = 0; j < 256; j++) {
            double a[3] = {0.5 + i * 0x1p-53, 0.5 + j * 0x1p-53, 0}, b[3] = {12, 12, 0}, c[3] = {24, 24, 0};
            assert_int_equal(po_side2(a, b, c, 0, 1), (i < j) - (i > j));
            /* An upright plane through a and b: c lies on the other side of it, or in it, as in the picture. */
            double up[3] = {12, 12, 5};
            assert_int_equal(po_side3(a, b, up, c), -po_side2(a, b, c, 0, 1));
        }
    }
}

/* A point of a plane's triangle as whole numbers over one denominator. */
typedef struct point {
    wide x[3], w; /* w > 0 */
} point;

/* What is left of a convex polygon where f >= 0, f linear; n is at most 9. */
static int clip(point *polygon, int n, const wide f[4])
{
    point out[12];
    int n_out = 0;
    for (int i = 0; i < n; i++) {
        const point *p = &polygon[i], *q = &polygon[(i + 1) % n];
        wide a = f[3] * p->w, b = f[3] * q->w;
        for (int k = 0; k < 3; k++) {
            a += f[k] * p->x[k];
            b += f[k] * q->x[k];
        }
        if (a >= 0) {
            out[n_out++] = *p;
        }
        if ((a > 0 && b < 0) || (a < 0 && b > 0)) {
            point m;
            int s = a > 0 ? 1 : -1;
            m.w = s * (a * q->w - b * p->w);
            for (int k = 0; k < 3; k++) {
                m.x[k] = s * (a * q->x[k] - b * p->x[k]);
            }
            wide g = m.w; /* keep numbers short */
            for (int k = 0; k < 3; k++) {
                wide h = m.x[k] < 0 ? -m.x[k] : m.x[k];
                while (h) {
                    wide t = g % h;
                    g = h;
                    h = t;
                }
            }
            m.w /= g;
            for (int k = 0; k < 3; k++) {
                m.x[k] /= g;
            }
            out[n_out++] = m;
        }
    }
    memcpy(polygon, out, (size_t)n_out * sizeof *out);
    return n_out;
}

/* a clipped to b's plane from both sides, then to b's three sides in it: are two different points left? */
static bool plain_cut(int64_t a[3][3], int64_t b[3][3])
{
    wide u[3], v[3], normal[3], f[4];
    point polygon[12];
    int n = 3;
    for (int k = 0; k < 3; k++) {
        u[k] = b[1][k] - b[0][k];
        v[k] = b[2][k] - b[0][k];
    }
    for (int k = 0; k < 3; k++) {
        normal[k] = u[(k + 1) % 3] * v[(k + 2) % 3] - u[(k + 2) % 3] * v[(k + 1) % 3];
    }
    for (int i = 0; i < 3; i++) {
        polygon[i].w = 1;
        for (int k = 0; k < 3; k++) {
            polygon[i].x[k] = a[i][k];
        }
    }
    for (int s = -1; s <= 1; s += 2) {
        f[3] = 0;
        for (int k = 0; k < 3; k++) {
            f[k] = s * normal[k];
            f[3] -= f[k] * b[0][k];
        }
        n = clip(polygon, n, f);
    }
    for (int i = 0; i < 3; i++) {
        f[3] = 0;
        for (int k = 0; k < 3; k++) {
            int l = (k + 1) % 3, m = (k + 2) % 3;
            f[k] = normal[l] * (b[(i + 1) % 3][m] - b[i][m]) - normal[m] * (b[(i + 1) % 3][l] - b[i][l]);
            f[3] -= f[k] * b[i][k];
        }
        n = clip(polygon, n, f);
    }
    for (int i = 1; i < n; i++) {
        for (int k = 0; k < 3; k++) {
            if (polygon[i].x[k] * polygon[0].w != polygon[0].x[k] * polygon[i].w) {
                return true;
            }
        }
    }
    return false;
}

static bool has_area(int64_t t[3][3])
{
    for (int k = 0; k < 3; k++) {
        int l = (k + 1) % 3;
        if ((t[1][k] - t[0][k]) * (t[2][l] - t[0][l]) != (t[1][l] - t[0][l]) * (t[2][k] - t[0][k])) {
            return true;
        }
    }
    return false;
}

static void test_pairs(void **state)
{
    (void)state;
    enum { ROUNDS = PO_ROUNDS(400000, 80000) };
    int n_cut = 0, n_flat_cut = 0;
    for (int round = 0; round < ROUNDS; round++) {
        int64_t t[2][3][3];
        double q[2][3][3];
        uint32_t size = 2 + (uint32_t)round % 6, flat = dice(3); /* few places: touching of every kind is common */
        for (int i = 0; i < 18; i++) {
            t[i / 9][i / 3 % 3][i % 3] = flat == 0 && i % 3 == 2 ? t[0][0][0] % 2 : (int64_t)dice(size);
        }
        if (flat == 1) { /* a tilted common plane */
            for (int i = 0; i < 6; i++) {
                t[i / 3][i % 3][2] = t[i / 3][i % 3][0] + 2 * t[i / 3][i % 3][1];
            }
        }
        const double *p[2][3];
        for (int i = 0; i < 18; i++) {
            q[i / 9][i / 3 % 3][i % 3] = (double)t[i / 9][i / 3 % 3][i % 3];
            p[i / 9][i / 3 % 3] = q[i / 9][i / 3 % 3];
        }
        bool right = has_area(t[0]) && has_area(t[1]) && plain_cut(t[0], t[1]);
        n_cut += right;
        n_flat_cut += right && flat < 2;
        assert_int_equal(po_cut_pair(p[0], p[1]), right);
        assert_int_equal(po_cut_pair(p[1], p[0]), right);
        const double *turned[3] = {p[0][1], p[0][0], p[0][2]}, *shifted[3] = {p[1][2], p[1][0], p[1][1]};
        assert_int_equal(po_cut_pair(turned, shifted), right);
    }
    assert_true(n_cut > ROUNDS / 20 && n_flat_cut > ROUNDS / 40 && n_cut < ROUNDS - ROUNDS / 20);
}

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

static po_mesh_self_cuts cuts_of(const po_mesh *mesh, int threads, po_arena *arena)
{
    po_mesh_self_cuts cuts;
    po_err err;
    assert_int_equal(po_mesh_find_self_cuts(mesh, threads, arena, &cuts, &err), PO_OK);
    return cuts;
}

/* Every pair, one by one. */
static void check_mesh(const soup *s, uint64_t wanted)
{
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = weld_soup(s, arena);
    po_mesh_self_cuts cuts = cuts_of(&mesh, 1, arena);
    uint64_t pairs = 0;
    for (size_t i = 0; i < mesh.n_triangles; i++) {
        for (size_t j = i + 1; j < mesh.n_triangles; j++) {
            const double *p[3], *q[3];
            bool share = false;
            for (int k = 0; k < 9; k++) {
                share |= mesh.corners[3 * i + (size_t)k / 3] == mesh.corners[3 * j + (size_t)k % 3];
            }
            for (size_t k = 0; k < 3; k++) {
                p[k] = mesh.xyz + 3 * mesh.corners[3 * i + k];
                q[k] = mesh.xyz + 3 * mesh.corners[3 * j + k];
            }
            if (!share && po_cut_pair(p, q)) {
                if (pairs < 1000) {
                    assert_true(pairs < cuts.n_first && cuts.first[pairs][0] == i && cuts.first[pairs][1] == j);
                }
                pairs++;
            }
        }
    }
    assert_true(cuts.complete && cuts.pairs == pairs);
    assert_int_equal(cuts.n_first, pairs < 1000 ? pairs : 1000);
    assert_true(wanted == UINT64_MAX || pairs == wanted);
    for (int threads = 2; threads < 4; threads++) {
        po_mesh_self_cuts again = cuts_of(&mesh, threads, arena);
        assert_true(again.pairs == pairs && again.n_first == cuts.n_first && again.complete);
        assert_memory_equal(again.first, cuts.first, cuts.n_first * sizeof *cuts.first);
    }
    po_arena_free(arena);
}

static void test_meshes(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 10, 10);
    check_mesh(&s, 0); /* a box does not cut itself */
    soup_box(&s, 20, 0, 0, 10, 10, 10);
    soup_box(&s, 2, 2, 2, 6, 6, 6);
    check_mesh(&s, 0); /* apart, or inside */
    s.n = 0;
    soup_box(&s, 0, 0, 0, 10, 10, 10);
    soup_box(&s, 10, 3, 3, 4, 4, 4); /* stands on a face: two triangles of a face lie in two of the other's */
    check_mesh(&s, UINT64_MAX);
    s.n = 0;
    soup_box(&s, 0, 0, 0, 10, 10, 10);
    soup_tetra(&s, 10, 5, 5, 3); /* touches a face with one of its own */
    check_mesh(&s, UINT64_MAX);
    s.n = 0;
    soup_torus(&s, 0, 0, 0, 30, 10, 40, 30);
    check_mesh(&s, 0);
    soup_torus(&s, 30, 0, 3, 30, 10, 40, 30); /* two rings through each other */
    check_mesh(&s, UINT64_MAX);
    soup_torus(&s, 0, 0, 0, 9, 10, 20, 16); /* runs through itself */
    check_mesh(&s, UINT64_MAX);
    s.n = 0;
    for (int i = 0; i < 300; i++) { /* triangles anywhere: many cuts */
        double t[9];
        for (int k = 0; k < 9; k++) {
            t[k] = dice(1000) / 100.0;
        }
        soup_add(&s, t, t + 3, t + 6);
    }
    check_mesh(&s, UINT64_MAX);
    s.n = 0;
    for (int i = 0; i < 200; i++) { /* few places */
        double t[9];
        for (int k = 0; k < 9; k++) {
            t[k] = dice(5);
        }
        soup_add(&s, t, t + 3, t + 6);
    }
    check_mesh(&s, UINT64_MAX);
    s.n = 0;
    soup_box(&s, 1e38, 0, 0, 1e37, 1e37, 1e37);
    soup_box(&s, 1e38, 0.5e37, 0.5e37, 1e36, 1e37, 1e37);
    check_mesh(&s, UINT64_MAX);
    s.n = 0;
    double flat[9] = {0, 0, 0, 1, 1, 1, 2, 2, 2}; /* nothing has an area, or no size at all */
    soup_add(&s, flat, flat + 3, flat + 6);
    soup_add(&s, flat, flat, flat + 6);
    check_mesh(&s, 0);
    s.n = 0;
    soup_add(&s, flat, flat, flat);
    check_mesh(&s, 0);
    free(s.nine);
}

/* Inputs on which every box meets every other: the answer says that it is not whole, in bounded time. */
static void test_cut_off(void **state)
{
    (void)state;
    soup s = {0};
    for (int i = 0; i < 12000; i++) { /* slanted sheets one over the other */
        double z = i * 1e-6, a[3] = {0, 0, z}, b[3] = {10, 0, 10 + z}, c[3] = {0, 10, 10 + z};
        soup_add(&s, a, b, c);
    }
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = weld_soup(&s, arena);
    po_mesh_self_cuts one = cuts_of(&mesh, 1, arena), two = cuts_of(&mesh, 2, arena);
    assert_true(one.pairs == 0 && !one.complete && two.pairs == 0 && two.complete == one.complete);
    uint32_t corners[3] = {0, 1, 2};
    double xyz[9] = {0, 0, 0, 1, 0, 0, 0, NAN, 0};
    mesh = (po_mesh){xyz, 3, corners, 1};
    po_mesh_self_cuts cuts;
    po_err err;
    assert_int_equal(po_mesh_find_self_cuts(&mesh, 1, arena, &cuts, &err), PO_E_RANGE);
    assert_int_equal(err.byte, 2);
    corners[1] = 3;
    assert_int_equal(po_mesh_find_self_cuts(&mesh, 1, arena, &cuts, &err), PO_E_RANGE);
    mesh.n_triangles = 0;
    assert_int_equal(po_mesh_find_self_cuts(&mesh, 1, arena, &cuts, &err), PO_E_EMPTY);
    po_arena_free(arena);
    free(s.nine);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sides),  cmocka_unit_test(test_last_places), cmocka_unit_test(test_pairs),
        cmocka_unit_test(test_meshes), cmocka_unit_test(test_cut_off),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
