/* Checks of sections. SPDX-License-Identifier: Apache-2.0
 * Outside: closed forms (regular n-gon: n/2 r^2 sin(2 pi/n)); Cavalieri's principle with Gauss's two-point rule, which is
 * exact between levels without a corner, where the area is a quadratic in z (so the sum must be the volume, however the
 * mesh is shaped: shared/data/mesh/manifest.tsv, and divergence theorem); a plain cut of every triangle in numbers that
 * are exact; counted voxels. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/shapes_turned.h"
#include "part/weld.h"
#include "proveout/solid.h"

static const double TURN = 6.28318530717958647692;

static unsigned seed = 7;
static uint32_t dice(uint32_t n)
{
    seed = seed * 1664525u + 1013904223u;
    return (seed >> 8) % n;
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

static po_section *sections(const po_mesh *mesh, const double *z, size_t n, int threads, po_arena *arena)
{
    po_section *ret = po_arena_zeros(arena, n + 1, sizeof *ret);
    po_err err;
    assert_non_null(ret);
    assert_int_equal(po_mesh_sections(mesh, z, n, threads, arena, ret, &err), PO_OK);
    for (size_t i = 0; i < n; i++) {
        const po_loops *l = &ret[i].loops;
        assert_true(ret[i].z == z[i]);
        assert_int_equal(l->n_points, l->n_loops ? l->ends[l->n_loops - 1] : 0);
        for (size_t k = 0; k < l->n_loops; k++) {
            assert_true(l->ends[k] > (k ? l->ends[k - 1] : 0));
        }
    }
    return ret;
}

static po_section section(const po_mesh *mesh, double z, po_arena *arena)
{
    return *sections(mesh, &z, 1, 1, arena);
}

static bool near(double a, double b)
{
    return fabs(a - b) <= 1e-11 * (1 + fabs(b));
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The integral of the area over z; *ret_open: walks that did not close. */
static double volume_by_sections(const po_mesh *mesh, int threads, po_arena *arena, uint64_t *ret_open)
{
    double *levels = malloc(mesh->n_vertices * sizeof *levels), sum = 0;
    double *z = malloc(2 * mesh->n_vertices * sizeof *z);
    assert_true(levels && z);
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        levels[v] = mesh->xyz[3 * v + 2];
    }
    qsort(levels, mesh->n_vertices, sizeof *levels, rising);
    size_t n = 1;
    for (size_t v = 1; v < mesh->n_vertices; v++) {
        if (levels[v] > levels[n - 1]) {
            levels[n++] = levels[v];
        }
    }
    for (size_t k = 0; k + 1 < n; k++) {
        double middle = (levels[k] + levels[k + 1]) / 2, half = (levels[k + 1] - levels[k]) / 2;
        z[2 * k] = middle - half / sqrt(3);
        z[2 * k + 1] = middle + half / sqrt(3);
    }
    po_section *s = sections(mesh, z, 2 * (n - 1), threads, arena);
    *ret_open = 0;
    for (size_t k = 0; k < 2 * (n - 1); k++) {
        sum += po_loops_area(&s[k].loops) * (levels[k / 2 + 1] - levels[k / 2]) / 2;
        *ret_open += s[k].open_ends;
    }
    free(levels);
    free(z);
    return sum;
}

static void boxes(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    double bounds[4];
    soup_box(&s, 10, 20, 1, 30, 40, 5);
    po_mesh mesh = weld_soup(&s, arena);
    for (double z = 1.25; z < 6; z += 0.25) {
        po_section cut = section(&mesh, z, arena);
        assert_true(cut.loops.n_loops == 1 && cut.open_ends == 0 && cut.loops.n_points == 8);
        assert_true(near(po_loops_area(&cut.loops), 1200) && near(po_loops_length(&cut.loops), 140));
        assert_true(po_loops_bounds(&cut.loops, bounds));
        assert_true(bounds[0] == 10 && bounds[1] == 20 && bounds[2] == 40 && bounds[3] == 60);
    }
    /* Corners in the plane count as above: nothing at the bottom, the corners themselves at the top, nothing beyond. */
    assert_int_equal(section(&mesh, 1, arena).loops.n_loops, 0);
    assert_int_equal(section(&mesh, 0.5, arena).loops.n_loops, 0);
    assert_int_equal(section(&mesh, nextafter(6, 7), arena).loops.n_loops, 0);
    po_section top = section(&mesh, 6, arena);
    assert_true(top.loops.n_loops == 1 && top.loops.n_points == 4);
    assert_true(po_loops_area(&top.loops) == 1200 && po_loops_length(&top.loops) == 140);

    /* Hollow: the hole runs the other way round. */
    soup inner = {0};
    soup_box(&inner, 15, 25, 2, 20, 30, 3);
    for (size_t t = 0; t < inner.n; t++) {
        soup_add(&s, inner.nine + 9 * t, inner.nine + 9 * t + 6, inner.nine + 9 * t + 3);
    }
    mesh = weld_soup(&s, arena);
    po_section wall = section(&mesh, 3, arena);
    assert_true(wall.loops.n_loops == 2 && wall.open_ends == 0);
    assert_true(near(po_loops_area(&wall.loops), 1200 - 600) && near(po_loops_length(&wall.loops), 140 + 100));
    assert_int_equal(po_loops_winding(&wall.loops, 12, 30), 1);
    assert_int_equal(po_loops_winding(&wall.loops, 20, 30), 0);
    free(s.nine);
    free(inner.nine);
    po_arena_free(arena);
}

static double ring_area(double r, double n)
{
    return n / 2 * r * r * sin(TURN / n);
}

static void turned(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    for (size_t n = 3; n < 60; n += 8) {
        double ball[21][2], sides = (double)n;
        for (int k = 0; k < 21; k++) {
            ball[k][0] = k % 20 ? 9 * cos(TURN / 2 * (k / 20.0 - 0.5)) : 0;
            ball[k][1] = 9 * sin(TURN / 2 * (k / 20.0 - 0.5));
        }
        static const double cylinder[][2] = {{7, 0}, {7, 12}}, cone[][2] = {{7, 0}, {0, 14}};
        soup s = {0};
        soup_turned(&s, 50, 60, cylinder, 2, n);
        po_mesh mesh = weld_soup(&s, arena);
        po_section cut = section(&mesh, 3.7, arena);
        assert_true(cut.loops.n_loops == 1 && near(po_loops_area(&cut.loops), ring_area(7, sides)));
        assert_true(near(po_loops_length(&cut.loops), sides * 14 * sin(TURN / 2 / sides)));
        s.n = 0;
        soup_turned(&s, 50, 60, cone, 2, n);
        mesh = weld_soup(&s, arena);
        for (double z = 0.1; z < 14; z += 0.7) {
            cut = section(&mesh, z, arena);
            assert_true(cut.loops.n_loops == 1 && near(po_loops_area(&cut.loops), ring_area(7 * (1 - z / 14), sides)));
        }
        assert_int_equal(section(&mesh, 14, arena).loops.n_loops, 0); /* the tip alone is no outline */
        s.n = 0;
        soup_turned(&s, 50, 60, (const double(*)[2])ball, 21, n);
        mesh = weld_soup(&s, arena);
        for (int k = 0; k < 20; k++) {
            for (double part = 0.125; part <= 1; part += 0.125) {
                double z = part == 1 ? ball[k + 1][1] : ball[k][1] + part * (ball[k + 1][1] - ball[k][1]);
                double r = ball[k][0] + part * (ball[k + 1][0] - ball[k][0]);
                cut = section(&mesh, z, arena);
                assert_int_equal(cut.open_ends, 0);
                assert_true(fabs(po_loops_area(&cut.loops) - ring_area(r, sides)) < 1e-9);
                assert_true(fabs(po_loops_length(&cut.loops) - sides * 2 * r * sin(TURN / 2 / sides)) < 1e-9);
                assert_int_equal(cut.loops.n_loops, r > 1e-9);
            }
        }
        free(s.nine);
    }
    po_arena_free(arena);
}

/* At each height a regular n-gon less a smaller one; corners in the plane are met to the bit. */
static void ring(void **state)
{
    (void)state;
    enum { N = 48, M = 32 };
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_torus(&s, 0, 0, 0, 30, 10, N, M);
    po_mesh mesh = weld_soup(&s, arena);
    for (size_t j = 0; j < M / 4; j++) {
        double v = TURN * (double)j / M, w = TURN * (double)(j + 1) / M;
        double low = (double)(float)(10 * sin(v)), high = (double)(float)(10 * sin(w));
        for (double part = 0.25; part < 1; part += 0.25) {
            double across = 10 * (cos(v) + part * (cos(w) - cos(v)));
            po_section cut = section(&mesh, low + part * (high - low), arena);
            assert_true(cut.loops.n_loops == 2 && cut.open_ends == 0);
            /* float coordinates: good to 2e-6 each */
            assert_true(fabs(po_loops_area(&cut.loops) - ring_area(30 + across, N) + ring_area(30 - across, N)) < 2e-3);
            assert_int_equal(po_loops_winding(&cut.loops, 30, 0), 1);
            assert_int_equal(po_loops_winding(&cut.loops, 0, 0), 0);
        }
        po_section cut = section(&mesh, high, arena);
        for (size_t k = 0; k < cut.loops.n_points; k++) {
            bool found = false;
            for (size_t c = 0; c < mesh.n_vertices; c++) {
                const double *p = mesh.xyz + 3 * c;
                found |= p[2] == high && p[0] == cut.loops.xy[2 * k] && p[1] == cut.loops.xy[2 * k + 1];
            }
            assert_true(found);
        }
        assert_int_equal(cut.loops.n_points, 2 * N);
        assert_int_equal(cut.open_ends, 0);
    }
    free(s.nine);
    po_arena_free(arena);
}

static void volumes(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    uint64_t open;
    po_mesh_facts facts;
    po_err err;
    soup_torus(&s, 5, 6, 7, 30, 10, 40, 28);
    po_mesh mesh = weld_soup(&s, arena);
    assert_int_equal(po_mesh_measure(&mesh, 1, arena, &facts, &err), PO_OK);
    assert_true(fabs(volume_by_sections(&mesh, 1, arena, &open) / facts.volume_mm3 - 1) < 1e-10 && open == 0);
    soup_lumps(&s, 100, 0, 0, 25, 3000); /* beside it */
    mesh = weld_soup(&s, arena);
    assert_int_equal(po_mesh_measure(&mesh, 1, arena, &facts, &err), PO_OK);
    assert_true(facts.watertight && facts.shells == 2 && facts.flat_triangles == 0);
    assert_true(fabs(volume_by_sections(&mesh, 2, arena, &open) / facts.volume_mm3 - 1) < 1e-10 && open == 0);
    free(s.nine);
    po_arena_free(arena);
}

/* An edge of an outline or a segment of a triangle, for counting. */
typedef struct edge {
    double p[4];
} edge;

static int by_numbers(const void *a, const void *b)
{
    const edge *e = a, *f = b;
    for (int k = 0; k < 4; k++) {
        if (e->p[k] != f->p[k]) {
            return e->p[k] < f->p[k] ? -1 : 1;
        }
    }
    return 0;
}

/* Adds an edge unless it has no length; either way round when undirected. */
static void add_edge(edge *edges, size_t *n, const double *a, const double *b, bool directed)
{
    edge e = {{a[0] + 0.0, a[1] + 0.0, b[0] + 0.0, b[1] + 0.0}}, back = {{b[0], b[1], a[0], a[1]}};
    if (a[0] != b[0] || a[1] != b[1]) {
        edges[(*n)++] = !directed && by_numbers(&e, &back) > 0 ? back : e;
    }
}

/* The outline has every triangle's segment, and beside them one edge at most for each walk that did not close. Levels of
 * corners are 0, 16 or 32 and all numbers whole, so that any way of cutting is exact. */
static void same_segments(const po_mesh *mesh, const po_section *cut, bool directed)
{
    edge *want = malloc(mesh->n_triangles * sizeof *want + 1), *got = malloc(cut->loops.n_points * sizeof *got + 1);
    size_t n_want = 0, n_got = 0, missing = 0, more = 0;
    assert_true(want && got);
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        double at[2][2];
        int met = 0;
        if (c[0] == c[1] || c[1] == c[2] || c[2] == c[0]) {
            continue;
        }
        for (int k = 0; k < 3; k++) {
            const double *p = mesh->xyz + 3 * (size_t)c[k], *q = mesh->xyz + 3 * (size_t)c[(k + 1) % 3];
            bool p_above = p[2] >= cut->z, q_above = q[2] >= cut->z;
            if (p_above != q_above) {
                double part = (cut->z - p[2]) / (q[2] - p[2]);
                at[q_above][0] = p[0] + part * (q[0] - p[0]);
                at[q_above][1] = p[1] + part * (q[1] - p[1]);
                met++;
            }
        }
        if (met) {
            assert_int_equal(met, 2);
            add_edge(want, &n_want, at[0], at[1], directed);
        }
    }
    for (size_t i = 0, from = 0; i < cut->loops.n_loops; from = cut->loops.ends[i++]) {
        for (size_t k = from, before = cut->loops.ends[i] - 1; k < cut->loops.ends[i]; before = k++) {
            add_edge(got, &n_got, cut->loops.xy + 2 * before, cut->loops.xy + 2 * k, directed);
        }
    }
    qsort(want, n_want, sizeof *want, by_numbers);
    qsort(got, n_got, sizeof *got, by_numbers);
    size_t i = 0, k = 0;
    while (i < n_want || k < n_got) {
        int order = i == n_want ? 1 : k == n_got ? -1 : by_numbers(want + i, got + k);
        missing += order < 0;
        more += order > 0;
        i += order <= 0;
        k += order >= 0;
    }
    assert_int_equal(missing, 0);
    assert_true(more <= cut->open_ends);
    free(want);
    free(got);
}

static void tangles(void **state)
{
    (void)state;
    double z[36];
    uint64_t open = 0, closed = 0;
    for (int k = 0; k < 36; k++) {
        z[k] = (k * 11) % 36 - 1; /* in no order */
    }
    for (uint32_t round = 0; round < 400; round++) {
        po_arena *arena = po_arena_new(0);
        uint32_t n_vertices = 3 + dice(round < 200 ? 6 : 300), n_triangles = 1 + dice(round < 200 ? 40 : 900);
        double *xyz = po_arena_zeros(arena, n_vertices, 3 * sizeof *xyz);
        uint32_t *corners = po_arena_zeros(arena, n_triangles, 3 * sizeof *corners);
        for (uint32_t v = 0; v < n_vertices; v++) {
            xyz[3 * v] = dice(1000);
            xyz[3 * v + 1] = dice(1000);
            xyz[3 * v + 2] = 16 * dice(3);
        }
        for (uint32_t i = 0; i < 3 * n_triangles; i++) {
            corners[i] = dice(n_vertices);
        }
        po_mesh mesh = {xyz, n_vertices, corners, n_triangles};
        po_section *one = sections(&mesh, z, 36, 1, arena), *two = sections(&mesh, z, 36, 2, arena);
        for (int k = 0; k < 36; k++) {
            same_segments(&mesh, &one[k], false);
            const po_loops *a = &one[k].loops, *b = &two[k].loops;
            assert_true(a->n_points == b->n_points && a->n_loops == b->n_loops);
            assert_true(one[k].open_ends == two[k].open_ends);
            assert_true(a->n_points == 0 || memcmp(a->xy, b->xy, a->n_points * 16) == 0);
            assert_true(a->n_loops == 0 || memcmp(a->ends, b->ends, a->n_loops * 4) == 0);
            open += one[k].open_ends;
            closed += a->n_loops > one[k].open_ends ? a->n_loops - one[k].open_ends : 0;
        }
        po_arena_free(arena);
    }
    assert_true(open > 100000 && closed > 1000);
}

/* Solids of cubes of 16 that touch in faces (left out), edges and corners: the area is their number, to the bit. */
static void cubes(void **state)
{
    (void)state;
    enum { SIDE = 7 };
    static const int faces[6][4][3] = {
        {{0, 0, 0}, {0, 0, 1}, {0, 1, 1}, {0, 1, 0}}, {{1, 0, 0}, {1, 1, 0}, {1, 1, 1}, {1, 0, 1}},
        {{0, 0, 0}, {1, 0, 0}, {1, 0, 1}, {0, 0, 1}}, {{0, 1, 0}, {0, 1, 1}, {1, 1, 1}, {1, 1, 0}},
        {{0, 0, 0}, {0, 1, 0}, {1, 1, 0}, {1, 0, 0}}, {{0, 0, 1}, {1, 0, 1}, {1, 1, 1}, {0, 1, 1}}};
    static const int beyond[6][3] = {{-1, 0, 0}, {1, 0, 0}, {0, -1, 0}, {0, 1, 0}, {0, 0, -1}, {0, 0, 1}};
    for (int round = 0; round < 40; round++) {
        po_arena *arena = po_arena_new(0);
        soup s = {0};
        bool full[SIDE + 2][SIDE + 2][3 + 1] = {0};
        for (int x = 1; x <= SIDE; x++) {
            for (int y = 1; y <= SIDE; y++) {
                for (int z = 1; z <= 2; z++) {
                    full[x][y][z] = dice(2);
                }
            }
        }
        full[1][1][1] = true;
        for (int i = 0; i < SIDE * SIDE * 2 * 6; i++) {
            int at[3] = {i / 6 % SIDE + 1, i / 6 / SIDE % SIDE + 1, i / 6 / SIDE / SIDE + 1}, f = i % 6;
            if (!full[at[0]][at[1]][at[2]] || full[at[0] + beyond[f][0]][at[1] + beyond[f][1]][at[2] + beyond[f][2]]) {
                continue;
            }
            double p[4][3];
            for (int k = 0; k < 12; k++) {
                p[k / 3][k % 3] = 16 * (at[k % 3] + faces[f][k / 3][k % 3]);
            }
            soup_add(&s, p[0], p[1], p[2]);
            soup_add(&s, p[0], p[2], p[3]);
        }
        po_mesh mesh = weld_soup(&s, arena);
        for (double z = 17; z <= 48; z++) {
            po_section cut = section(&mesh, z, arena);
            int count = 0;
            assert_int_equal(cut.open_ends, 0);
            same_segments(&mesh, &cut, true);
            for (int x = 1; x <= SIDE; x++) {
                for (int y = 1; y <= SIDE; y++) {
                    bool in = full[x][y][(int)ceil(z / 16) - 1];
                    count += in;
                    assert_int_equal(po_loops_winding(&cut.loops, 16 * x + 7, 16 * y + 9), in);
                }
            }
            assert_true(po_loops_area(&cut.loops) == 256 * count);
        }
        free(s.nine);
        po_arena_free(arena);
    }
    /* Two that touch in an edge stay apart, and so do two with a wall in common (shells that share its corners). */
    for (int round = 0; round < 2; round++) {
        po_arena *arena = po_arena_new(0);
        soup s = {0};
        soup_box(&s, 0, 0, 0, 16, 16, 32);
        soup_box(&s, 16, round ? 0 : 16, 0, 16, 16, 32);
        po_mesh mesh = weld_soup(&s, arena);
        po_section cut = section(&mesh, 8, arena);
        assert_true(cut.loops.n_loops == 2 && cut.open_ends == 0 && po_loops_length(&cut.loops) == 128);
        for (uint32_t i = 0; i < 2; i++) {
            uint32_t from = i ? cut.loops.ends[0] : 0, n = cut.loops.ends[i] - from;
            po_loops own = {cut.loops.xy + 2 * (size_t)from, n, &n, 1};
            assert_true(po_loops_area(&own) == 256);
        }
        same_segments(&mesh, &cut, true);
        free(s.nine);
        po_arena_free(arena);
    }
}

static void unsound(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    static const double cylinder[][2] = {{10, 0}, {10, 20}};
    soup_turned(&s, 0, 0, cylinder, 2, 24);
    po_mesh mesh = weld_soup(&s, arena);
    uint32_t *corners = po_arena_zeros(arena, 3 * mesh.n_triangles, sizeof *corners);
    memcpy(corners, mesh.corners, 3 * mesh.n_triangles * sizeof *corners);
    po_mesh other = {mesh.xyz, mesh.n_vertices, corners, mesh.n_triangles};
    double area = ring_area(10, 24), tooth = ring_area(10, 24) / 24;
    /* Each triangle turned, or made flat: an outline that still is right, or one that is closed by a straight edge. */
    for (size_t t = 0; t < mesh.n_triangles; t++) {
        uint32_t *c = corners + 3 * t, keep = c[1];
        po_section sound = section(&mesh, 7, arena);
        int above = 0;
        for (int k = 0; k < 3; k++) {
            above += mesh.xyz[3 * c[k] + 2] >= 7;
        }
        c[1] = c[2];
        c[2] = keep;
        po_section turned_one = section(&other, 7, arena);
        assert_true(turned_one.open_ends == 0 && turned_one.loops.n_loops == 1);
        assert_true(near(po_loops_area(&turned_one.loops), area));
        assert_true(near(po_loops_length(&turned_one.loops), po_loops_length(&sound.loops)));
        c[1] = c[2];
        po_section open = section(&other, 7, arena);
        assert_int_equal(open.open_ends, above % 3 != 0);
        assert_true(open.loops.n_loops == 1 && fabs(po_loops_area(&open.loops) - area) < tooth);
        assert_true(near(po_loops_length(&open.loops), po_loops_length(&sound.loops))); /* the gap is straight */
        c[1] = keep;
        c[2] = mesh.corners[3 * t + 2];
    }
    /* All of them: a hole. */
    for (size_t t = 0; t < mesh.n_triangles; t++) {
        corners[3 * t] = mesh.corners[3 * t + 1];
        corners[3 * t + 1] = mesh.corners[3 * t];
    }
    po_section inside_out = section(&other, 7, arena);
    assert_true(near(po_loops_area(&inside_out.loops), -area) && inside_out.open_ends == 0);

    /* A lone triangle far off changes nothing about the rest, though its planes are joined the slow way. */
    soup lumps = {0};
    double z[40];
    soup_lumps(&lumps, 0, 0, 0, 10, 5000);
    mesh = weld_soup(&lumps, arena);
    soup_add(&lumps, (double[]){900, 0, -20}, (double[]){910, 0, -20}, (double[]){900, 0, 20});
    other = weld_soup(&lumps, arena);
    for (int k = 0; k < 40; k++) {
        z[k] = -9.7 + 0.5 * k;
    }
    po_section *one = sections(&mesh, z, 40, 1, arena), *two = sections(&other, z, 40, 1, arena);
    for (int k = 0; k < 40; k++) {
        const po_loops *a = &one[k].loops, *b = &two[k].loops;
        assert_true(two[k].open_ends == 1 && one[k].open_ends == 0 && b->n_loops == a->n_loops + 1);
        assert_true(b->n_points == a->n_points + 2 && b->ends[0] == 2);
        assert_memory_equal(b->xy + 4, a->xy, a->n_points * 16);
        assert_true(po_loops_length(b) - po_loops_length(a) > 0);
    }
    free(lumps.nine);
    free(s.nine);
    po_arena_free(arena);
}

/* Many triangles on one edge, as leaves of a book: time and memory are bounded, every leaf is there. */
static void book(void **state)
{
    (void)state;
    enum { LEAVES = 20000 };
    po_arena *arena = po_arena_new(0);
    double *xyz = po_arena_zeros(arena, LEAVES + 2, 3 * sizeof *xyz);
    uint32_t *corners = po_arena_zeros(arena, LEAVES, 3 * sizeof *corners);
    xyz[5] = 32;
    for (uint32_t i = 0; i < LEAVES; i++) {
        xyz[3 * i + 6] = (double)((int)dice(2001) - 1000);
        xyz[3 * i + 7] = (double)((int)dice(2001) - 1000);
        xyz[3 * i + 8] = 16;
        corners[3 * i] = i % 3 ? 0 : 1;
        corners[3 * i + 1] = i % 3 ? 1 : 0;
        corners[3 * i + 2] = i + 2;
    }
    po_mesh mesh = {xyz, LEAVES + 2, corners, LEAVES};
    double z[] = {8, 16, 24, 40};
    po_section *cut = sections(&mesh, z, 4, 1, arena);
    for (int k = 0; k < 4; k++) {
        same_segments(&mesh, &cut[k], false);
        assert_int_equal(cut[k].open_ends, k < 3 ? LEAVES / 2 : 0); /* each walk has two leaves */
    }
    po_arena_free(arena);
}

static void files(void **state)
{
    (void)state;
    const char *shared = getenv("PO_SHARED");
    char path[4096], line[1024];
    snprintf(path, sizeof path, "%s/data/mesh/manifest.tsv", shared ? shared : "");
    FILE *manifest = fopen(path, "r");
    if (!manifest) {
        print_message("no %s: skipped\n", path);
        skip();
    }
    int n = 0, exact = 0;
    while (fgets(line, sizeof line, manifest)) {
        if (line[0] == '#' || !strstr(line, "\tSTL-")) {
            continue;
        }
        snprintf(path, sizeof path, "%s/data/mesh/%.*s", shared, (int)strcspn(line, "\t"), line);
        po_arena *arena = po_arena_new(0);
        po_source source = {.path = path};
        const po_part *part;
        po_err err;
        assert_int_equal(po_part_read(&source, NULL, arena, &part, &err), PO_OK);
        double sum = 0, want = atof(strstr(line, "\tvol=") + 5);
        uint64_t open = 0;
        bool watertight = true;
        for (size_t i = 0; i < part->n_objects; i++) {
            po_mesh_facts facts;
            uint64_t o;
            assert_int_equal(po_mesh_measure(&part->objects[i].mesh, 0, arena, &facts, &err), PO_OK);
            sum += volume_by_sections(facts.judged, 0, arena, &o);
            open += o;
            watertight &= facts.watertight;
        }
        print_message("%.*s: %.9g by sections, %.9g in the manifest, %llu open\n", (int)strcspn(line, "\t"), line, sum,
                      want, (unsigned long long)open);
        if (watertight) {
            assert_int_equal(open, 0);
            double within = strstr(line, "watertight=yes\t") ? strstr(line, "STL-asc") ? 1e-6 : 1e-8 : 0.01;
            assert_true(fabs(sum - want) <= within * fabs(want));
            exact++;
        }
        n++;
        po_arena_free(arena);
    }
    fclose(manifest);
    assert_true(n >= 15 && exact >= 8);
}

static void errors(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(1 << 20);
    double xyz[] = {0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1}, z[] = {0.5, 0.25, 0.75};
    uint32_t corners[] = {0, 2, 1, 0, 3, 2, 0, 1, 3, 1, 2, 3};
    po_mesh mesh = {xyz, 4, corners, 4};
    po_section ret[3];
    po_err err;
    assert_int_equal(po_mesh_sections(&mesh, z, 3, 1, arena, ret, &err), PO_OK);
    for (int k = 0; k < 3; k++) {
        assert_true(ret[k].z == z[k] && near(po_loops_area(&ret[k].loops), (1 - z[k]) * (1 - z[k]) / 2));
    }
    assert_int_equal(po_mesh_sections(&mesh, NULL, 0, 1, arena, NULL, &err), PO_OK);
    po_mesh none = {xyz, 4, corners, 0}, nothing = {0};
    assert_int_equal(po_mesh_sections(&none, z, 3, 1, arena, ret, &err), PO_OK);
    assert_int_equal(ret[1].loops.n_loops, 0);
    assert_int_equal(po_mesh_sections(&nothing, z, 3, 0, arena, ret, &err), PO_OK);
    assert_true(ret[2].loops.n_points == 0 && ret[2].z == 0.75);
    static const double bad[] = {NAN, INFINITY, -INFINITY, 1e61};
    for (int k = 0; k < 4; k++) {
        double keep = z[1];
        z[1] = bad[k];
        assert_int_equal(po_mesh_sections(&mesh, z, 3, 1, arena, ret, &err), k < 3 ? PO_E_RANGE : PO_OK);
        z[1] = keep;
        keep = xyz[7];
        xyz[7] = bad[k];
        assert_int_equal(po_mesh_sections(&mesh, z, 3, 1, arena, ret, &err), PO_E_RANGE);
        assert_true(err.byte == 2 && strstr(err.msg, "vertex 3"));
        xyz[7] = keep;
    }
    corners[10] = 4;
    assert_int_equal(po_mesh_sections(&mesh, z, 3, 1, arena, ret, &err), PO_E_RANGE);
    assert_true(err.byte == 3 && strstr(err.msg, "triangle 4"));
    assert_int_equal(po_mesh_sections(&mesh, z, 3, 1, arena, ret, NULL), PO_E_RANGE);
    corners[10] = 2;
    /* Coordinates and heights at the ends of what is allowed. */
    xyz[11] = 1e60;
    xyz[8] = -1e60;
    z[0] = 1e308;
    z[1] = -1e308;
    z[2] = 1e59;
    assert_int_equal(po_mesh_sections(&mesh, z, 3, 1, arena, ret, &err), PO_OK);
    assert_true(ret[0].loops.n_loops == 0 && ret[1].loops.n_loops == 0 && ret[2].loops.n_loops == 1);
    for (size_t k = 0; k < 2 * ret[2].loops.n_points; k++) {
        assert_true(isfinite(ret[2].loops.xy[k]));
    }
    /* More than is sensible: 40000 upright triangles at 7000 heights. */
    double tall[] = {0, 0, 0, 1, 0, 0, 0, 1, 10000}, *steps = malloc(7000 * sizeof *steps);
    uint32_t *same = malloc(120000 * sizeof *same);
    assert_true(steps && same);
    for (int k = 0; k < 7000; k++) {
        steps[k] = k + 1;
    }
    for (uint32_t k = 0; k < 120000; k++) {
        same[k] = k % 3;
    }
    po_mesh spikes = {tall, 3, same, 40000};
    assert_int_equal(po_mesh_sections(&spikes, steps, 7000, 1, arena, ret, &err), PO_E_LIMIT);
    assert_non_null(strstr(err.msg, "280000000 points"));
    free(steps);
    free(same);
    /* An arena that is too small. */
    soup s = {0};
    double many[200];
    soup_lumps(&s, 0, 0, 0, 10, 40000);
    po_arena *large = po_arena_new(0);
    mesh = weld_soup(&s, large);
    for (int k = 0; k < 200; k++) {
        many[k] = -9 + 0.09 * k;
    }
    po_section sections_of_it[200];
    assert_int_equal(po_mesh_sections(&mesh, many, 200, 2, arena, sections_of_it, &err), PO_E_NOMEM);
    assert_int_equal(po_mesh_sections(&mesh, many, 200, 2, large, sections_of_it, &err), PO_OK);
    free(s.nine);
    po_arena_free(large);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(boxes),   cmocka_unit_test(turned), cmocka_unit_test(ring),    cmocka_unit_test(volumes),
        cmocka_unit_test(tangles), cmocka_unit_test(cubes),  cmocka_unit_test(unsound), cmocka_unit_test(book),
        cmocka_unit_test(files),   cmocka_unit_test(errors),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
