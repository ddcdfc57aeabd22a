/* Mending: shapes with known answers, broken by hand, and published broken files. SPDX-License-Identifier: Apache-2.0
 * Volumes and areas of boxes are closed forms; of the files in ../shared/data/mesh they are from its manifest.tsv. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "part/mend.h"
#include "part/shapes.h"
#include "part/weld.h"
#include "proveout/pieces.h"

static po_mesh mesh_of(const soup *s, po_arena *arena)
{
    po_weld weld;
    assert_true(po_weld_init(&weld, arena, s->n));
    for (size_t t = 0; t < s->n; t++) {
        assert_true(po_weld_add(&weld, s->nine + 9 * t, 1));
    }
    po_mesh mesh = {weld.xyz, weld.n_vertices, weld.corners, weld.n_triangles};
    po_weld_done(&weld);
    return mesh;
}

static po_mend mend(const po_mesh *mesh, double weld_mm, po_arena *arena)
{
    po_mend one, two;
    po_err err = {0};
    size_t n_xyz = 3 * mesh->n_vertices, n_corners = 3 * mesh->n_triangles;
    double *xyz = malloc((n_xyz + 1) * sizeof *xyz);
    uint32_t *corners = malloc((n_corners + 1) * sizeof *corners);
    assert_true(xyz && corners);
    memcpy(xyz, mesh->xyz, n_xyz * sizeof *xyz);
    memcpy(corners, mesh->corners, n_corners * sizeof *corners);
    if (po_mesh_mend(mesh, weld_mm, 1, arena, &one, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    assert_memory_equal(xyz, mesh->xyz, n_xyz * sizeof *xyz); /* the input is never changed */
    assert_memory_equal(corners, mesh->corners, n_corners * sizeof *corners);
    free(xyz);
    free(corners);
    assert_int_equal(po_mesh_mend(mesh, weld_mm, 2, arena, &two, &err),
                     PO_OK); /* nor does the answer hang on threads */
    assert_int_equal(one.mesh->n_triangles, two.mesh->n_triangles);
    assert_memory_equal(one.mesh->corners, two.mesh->corners, 12 * one.mesh->n_triangles);
    assert_true(one.n_says > 0 && one.n_says == two.n_says && one.n_left == two.n_left);
    assert_true(one.after.open_edges <= one.before.open_edges && one.after.crowded_edges <= one.before.crowded_edges);
    return one;
}

static void assert_solid(const po_mend *m, double volume)
{
    if (!m->after.watertight || m->after.flipped_triangles || m->n_left) {
        fail_msg("not a solid: %s", m->n_left ? m->left[0] : "?");
    }
    if (!(fabs(m->after.volume_mm3 - volume) <= 1e-9 * fabs(volume))) {
        fail_msg("volume %.12g, wanted %.12g", m->after.volume_mm3, volume);
    }
}

static void turn_round(soup *s, size_t t)
{
    double swap[3];
    memcpy(swap, s->nine + 9 * t + 3, sizeof swap);
    memcpy(s->nine + 9 * t + 3, s->nine + 9 * t + 6, sizeof swap);
    memcpy(s->nine + 9 * t + 6, swap, sizeof swap);
}

static void drop_triangle(soup *s, size_t t)
{
    memmove(s->nine + 9 * t, s->nine + 9 * (t + 1), (s->n - t - 1) * 9 * sizeof *s->nine);
    s->n--;
}

typedef void (*breaking)(soup *s);

static po_mend broken_box(breaking how, po_arena *arena)
{
    soup s = {0};
    soup_box(&s, 1, 2, 3, 10, 20, 30);
    how(&s);
    po_mesh mesh = mesh_of(&s, arena);
    free(s.nine);
    return mend(&mesh, NAN, arena);
}

static void sound(soup *s)
{
    (void)s;
}

static void without_one(soup *s)
{
    drop_triangle(s, 5);
}

static void without_top(soup *s)
{
    drop_triangle(s, 2); /* (4 5 6) and (5 7 6) are the top */
    drop_triangle(s, 2);
}

static void one_turned(soup *s)
{
    turn_round(s, 4);
}

static void all_turned(soup *s)
{
    for (size_t t = 0; t < s->n; t++) {
        turn_round(s, t);
    }
}

static void doubled(soup *s)
{
    soup_add(s, s->nine + 9 * 3, s->nine + 9 * 3 + 3,
             s->nine + 9 * 3 + 6); /* again, and once more the other way round */
    soup_add(s, s->nine + 9 * 7, s->nine + 9 * 7 + 6, s->nine + 9 * 7 + 3);
    soup_add(s, s->nine + 9 * 7 + 3, s->nine + 9 * 7 + 6, s->nine + 9 * 7);
    soup_add(s, s->nine, s->nine, s->nine + 3); /* flat */
}

/* A wall without thickness on an edge of the box: two triangles back to back. */
static void flap(soup *s)
{
    double a[3] = {1, 2, 33}, b[3] = {11, 2, 33}, c[3] = {6, 2, 50};
    soup_add(s, a, b, c);
    soup_add(s, a, c, b);
}

static void worse(soup *s)
{
    without_one(s);
    all_turned(s);
    turn_round(s, 0);
    turn_round(s, 6);
    doubled(s);
}

static void boxes(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_mend m = broken_box(sound, arena);
    assert_solid(&m, 6000);
    assert_int_equal(m.n_says, 1);
    assert_non_null(strstr(m.says[0], "Nothing needed"));
    m = broken_box(without_one, arena);
    assert_solid(&m, 6000);
    assert_int_equal(m.before.open_edges, 3);
    assert_int_equal(m.holes_filled, 1);
    assert_int_equal(m.triangles_added, 1);
    assert_true(fabs(m.after.area_mm2 - 2200) < 1e-9);
    m = broken_box(without_top, arena);
    assert_solid(&m, 6000);
    assert_int_equal(m.triangles_added, 2);
    m = broken_box(one_turned, arena);
    assert_solid(&m, 6000);
    assert_int_equal(m.triangles_turned, 1);
    assert_int_equal(m.shells_turned, 0);
    m = broken_box(all_turned, arena);
    assert_solid(&m, 6000);
    assert_true(m.before.volume_mm3 < 0);
    assert_int_equal(m.shells_turned, 1);
    m = broken_box(doubled, arena);
    assert_solid(&m, 6000);
    assert_int_equal(m.doubled_dropped, 3);
    assert_int_equal(m.flat_dropped, 1);
    assert_int_equal(m.after.triangles, 12);
    m = broken_box(flap, arena);
    assert_solid(&m, 6000);
    assert_int_equal(m.doubled_dropped, 2);
    m = broken_box(worse, arena);
    assert_solid(&m, 6000);
    po_arena_free(arena);
}

/* Two boxes as one mesh. */
static po_mesh pair(double x, double a, bool turn_inner, po_arena *arena)
{
    soup s = {0};
    soup_box(&s, 0, 0, 0, 20, 20, 20);
    soup_box(&s, x, x, x, a, a, a);
    for (size_t t = 12; turn_inner && t < 24; t++) {
        turn_round(&s, t);
    }
    po_mesh mesh = mesh_of(&s, arena);
    free(s.nine);
    return mesh;
}

static void nested(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = pair(5, 10, true, arena);
    po_mend m = mend(&mesh, NAN, arena);
    assert_solid(&m, 8000 - 1000);
    assert_ptr_equal(m.mesh, &mesh); /* a cavity is as it should be */
    mesh = pair(5, 10, false, arena);
    m = mend(&mesh, NAN, arena);
    assert_true(m.after.watertight && fabs(m.after.volume_mm3 - 7000) < 1e-9);
    assert_int_equal(m.shells_turned, 1);
    assert_int_equal(m.n_left, 1); /* a person is told */
    mesh = pair(5, 10, true, arena);
    uint32_t *turned = po_arena_zeros(arena, mesh.n_triangles, 12);
    assert_non_null(turned);
    for (size_t i = 0; i < 3 * mesh.n_triangles; i += 3) { /* both the wrong way round */
        turned[i] = mesh.corners[i];
        turned[i + 1] = mesh.corners[i + 2];
        turned[i + 2] = mesh.corners[i + 1];
    }
    mesh.corners = turned;
    m = mend(&mesh, NAN, arena);
    assert_true(m.after.watertight && fabs(m.after.volume_mm3 - 7000) < 1e-9);
    assert_int_equal(m.shells_turned, 2);
    mesh = pair(30, 10, true, arena); /* apart: both are solid */
    m = mend(&mesh, NAN, arena);
    assert_solid(&m, 9000);
    assert_int_equal(m.shells_turned, 1);
    /* onions: solid, cavity, solid within */
    soup s = {0};
    soup_box(&s, 0, 0, 0, 20, 20, 20);
    soup_box(&s, 2, 2, 2, 16, 16, 16);
    soup_box(&s, 4, 4, 4, 12, 12, 12);
    mesh = mesh_of(&s, arena);
    m = mend(&mesh, NAN, arena);
    assert_true(m.after.watertight && fabs(m.after.volume_mm3 - (8000 - 4096 + 1728)) < 1e-9);
    free(s.nine);
    po_arena_free(arena);
}

/* Both sides of every edge rounded apart by up to 1e-6 mm. */
static void noisy_seams(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_torus(&s, 0, 0, 0, 30, 10, 40, 20);
    uint64_t seed = 7;
    for (size_t i = 0; i < 9 * s.n; i++) {
        seed = seed * UINT64_C(6364136223846793005) + 1;
        s.nine[i] += ((double)(seed >> 33) / 2147483648.0 - 0.5) * 1e-6;
    }
    po_mesh mesh = mesh_of(&s, arena);
    po_mend m = mend(&mesh, NAN, arena);
    assert_true(m.after.watertight && m.weld_mm > 0 && m.weld_mm < 2e-3);
    assert_int_equal(m.mesh->n_vertices, 800);
    assert_true(fabs(m.after.volume_mm3 / torus_volume(30, 10, 40, 20) - 1) < 1e-6);
    assert_true(isnan(m.after.seams_closed_at_mm)); /* the mesh itself is closed now */
    m = mend(&mesh, 0, arena);                      /* no welding: loose triangles are no solid */
    assert_int_equal(m.weld_mm, 0);
    assert_int_equal(m.holes_filled, 0);
    po_mend unused;
    assert_int_equal(po_mesh_mend(&mesh, 5, 1, arena, &unused, NULL), PO_E_RANGE);
    assert_int_equal(po_mesh_mend(&mesh, -1, 1, arena, &unused, NULL), PO_E_RANGE);
    free(s.nine);
    po_arena_free(arena);
}

static void quad(soup *s, const double *a, const double *b, const double *c, const double *d)
{
    soup_add(s, a, b, c);
    soup_add(s, a, c, d);
}

/* A ring of n sides from radius `inner` to `outer`, height h, without its top: two loops in one plane, and the face
 * between them is what is missing, not a lid on the bore. */
static void ring_without_top(void **state)
{
    (void)state;
    enum { N = 24 };
    const double inner = 5, outer = 12, h = 8;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    for (int i = 0; i < N; i++) {
        double a = 2 * M_PI * i / N, b = 2 * M_PI * (i + 1) / N;
        b = i + 1 == N ? 0 : b; /* the same corner to the bit */
        double o0[3] = {outer * cos(a), outer * sin(a), 0}, o1[3] = {outer * cos(b), outer * sin(b), 0},
               p0[3] = {inner * cos(a), inner * sin(a), 0}, p1[3] = {inner * cos(b), inner * sin(b), 0},
               ot0[3] = {o0[0], o0[1], h}, ot1[3] = {o1[0], o1[1], h}, pt0[3] = {p0[0], p0[1], h},
               pt1[3] = {p1[0], p1[1], h};
        quad(&s, o0, o1, ot1, ot0);
        quad(&s, p1, p0, pt0, pt1);
        quad(&s, o1, o0, p0, p1);
    }
    po_mesh mesh = mesh_of(&s, arena);
    po_mend m = mend(&mesh, NAN, arena);
    assert_solid(&m, N / 2.0 * sin(2 * M_PI / N) * (outer * outer - inner * inner) * h); /* regular n-gons */
    assert_int_equal(m.before.open_edges, 2 * N);
    assert_int_equal(m.holes_filled, 2);
    assert_true(m.after.genus == 1);
    free(s.nine);
    po_arena_free(arena);
}

/* A bent hole in a ball is filled when it is small, and left when it is large. */
static void bent_holes(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    for (int large = 0; large < 2; large++) {
        soup s = {0};
        soup_torus(&s, 0, 0, 0, 30, 10, 90, 40);
        for (size_t t = s.n; t-- > 0;) {
            const double *p = s.nine + 9 * t;
            double wide = large ? 1.2 : 0.04, u = atan2(p[1], p[0]), v = atan2(p[2], hypot(p[0], p[1]) - 30);
            if (fabs(u - 0.9) < wide && fabs(v - 0.5) < (large ? 1 : 4) * wide) {
                drop_triangle(&s, t);
            }
        }
        po_mesh mesh = mesh_of(&s, arena);
        po_mend m = mend(&mesh, NAN, arena);
        assert_true(m.before.open_edges > 3);
        if (large) {
            assert_int_equal(m.holes_filled, 0);
            assert_int_equal(m.after.open_edges, m.before.open_edges);
            assert_int_equal(m.n_left, 1);
        } else {
            assert_true(m.after.watertight && m.n_left == 0 && m.holes_filled == 1);
            assert_true(fabs(m.after.volume_mm3 / torus_volume(30, 10, 90, 40) - 1) < 1e-3);
        }
        free(s.nine);
    }
    po_arena_free(arena);
}

/* A sheet has an edge, not a hole. */
static void sheets(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    double a[3] = {0, 0, 0}, b[3] = {10, 0, 0}, c[3] = {10, 10, 0}, d[3] = {0, 10, 0};
    quad(&s, a, b, c, d);
    po_mesh mesh = mesh_of(&s, arena);
    po_mend m = mend(&mesh, NAN, arena);
    assert_ptr_equal(m.mesh, &mesh);
    assert_true(m.n_left > 0);
    free(s.nine);
    po_arena_free(arena);
}

/* Two boxes that share an edge, four triangles: left as it is, and said; an inverted pair is turned all the same. */
static void shared_edge(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    for (int turned = 0; turned < 2; turned++) {
        soup s = {0};
        soup_box(&s, 0, 0, 0, 1, 1, 1);
        soup_box(&s, 1, 1, 0, 2, 2, 1);
        for (size_t t = 0; turned && t < s.n; t++) {
            turn_round(&s, t);
        }
        po_mesh mesh = mesh_of(&s, arena);
        assert_int_equal(mesh.n_vertices, 14);
        po_mend m = mend(&mesh, NAN, arena);
        assert_true(m.before.crowded_edges == 1 && m.after.crowded_edges == 1 && m.n_left == 1);
        assert_true(fabs(m.after.volume_mm3 - 5) < 1e-12);
        assert_int_equal(m.shells_turned, turned);
        free(s.nine);
    }
    po_arena_free(arena);
}

/* The middle of an edge as a corner on one side only, and a triangle without area to close it. */
static void corners_in_a_row(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    double o[3] = {0, 0, 0}, i[3] = {8, 0, 0}, j[3] = {0, 8, 0}, k[3] = {0, 0, 8}, mid[3] = {4, 0, 0};
    soup s = {0};
    soup_add(&s, o, j, i);
    soup_add(&s, o, k, j);
    soup_add(&s, i, j, k);
    soup_add(&s, o, mid, k);
    soup_add(&s, mid, i, k);
    soup_add(&s, o, i, mid); /* on the edge from o to i */
    po_mesh mesh = mesh_of(&s, arena);
    po_mend m = mend(&mesh, NAN, arena);
    assert_int_equal(m.before.flat_triangles, 1);
    assert_int_equal(m.flat_dropped, 1);
    assert_int_equal(m.after.flat_triangles, 0);
    assert_solid(&m, 512.0 / 6);
    free(s.nine);
    po_arena_free(arena);
}

/* One side of an edge has three corners more than the other: slits, closed by triangles in a row and those flipped. */
static void slits(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_box(&s, 1, 2, 3, 10, 20, 30);
    for (size_t t = 0; t < 12; t += 5) {
        double a[3], b[3], c[3], from[3], to[3];
        memcpy(a, s.nine + 9 * t, sizeof a);
        memcpy(b, s.nine + 9 * t + 3, sizeof b);
        memcpy(c, s.nine + 9 * t + 6, sizeof c);
        memcpy(from, a, sizeof a);
        for (int i = 1; i <= 4; i++) {
            for (int k = 0; k < 3; k++) {
                to[k] = a[k] + (b[k] - a[k]) * i / 4;
            }
            if (i == 1) {
                memcpy(s.nine + 9 * t + 3, to, sizeof to);
            } else {
                soup_add(&s, from, to, c);
            }
            memcpy(from, to, sizeof to);
        }
    }
    po_mesh mesh = mesh_of(&s, arena);
    po_mend m = mend(&mesh, NAN, arena);
    assert_int_equal(m.before.open_edges, 15);
    assert_int_equal(m.holes_filled, 3);
    assert_int_equal(m.after.flat_triangles, 0);
    assert_solid(&m, 6000);
    free(s.nine);
    po_arena_free(arena);
}

/* A strip with a half twist has one side: nothing can be turned, and that is said. */
static void moebius(void **state)
{
    (void)state;
    enum { N = 20 };
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    double p[2 * (N + 1)][3];
    for (int i = 0; i <= N; i++) {
        for (int side = 0; side < 2; side++) {
            double a = 2 * M_PI * i / N, h = (side ? 3 : -3), r = 20 + h * cos(a / 2), *q = p[2 * i + side];
            q[0] = r * cos(a);
            q[1] = r * sin(a);
            q[2] = h * sin(a / 2);
        }
    }
    memcpy(p[2 * N], p[1], sizeof p[0]); /* joined crosswise, to the bit */
    memcpy(p[2 * N + 1], p[0], sizeof p[0]);
    for (int i = 0; i < N; i++) {
        quad(&s, p[2 * i], p[2 * i + 2], p[2 * i + 3], p[2 * i + 1]);
    }
    po_mesh mesh = mesh_of(&s, arena);
    po_mend m = mend(&mesh, NAN, arena);
    assert_ptr_equal(m.mesh, &mesh);
    bool said = false;
    for (size_t i = 0; i < m.n_left; i++) {
        said = said || strstr(m.left[i], "twisted");
    }
    assert_true(said);
    free(s.nine);
    po_arena_free(arena);
}

/* Winding numbers: points in and out of a torus, told by its equation. */
static void winding(void **state)
{
    (void)state;
    soup s = {0};
    soup_torus(&s, 0, 0, 0, 30, 10, 200, 100);
    uint32_t *corners = malloc(12 * s.n), *list = malloc(4 * s.n);
    assert_true(corners && list);
    for (uint32_t i = 0; i < 3 * s.n; i++) {
        corners[i] = i;
        list[i / 3] = i / 3;
    }
    po_mending m = {.xyz = s.nine, .n_vertices = 3 * s.n, .corners = corners, .n_triangles = s.n};
    uint64_t seed = 3;
    for (int i = 0; i < 400; i++) {
        double p[3];
        for (int k = 0; k < 3; k++) {
            seed = seed * UINT64_C(6364136223846793005) + 1;
            p[k] = ((double)(seed >> 33) / 2147483648.0 - 0.5) * (k == 2 ? 30 : 90);
        }
        if (i % 4 == 0) { /* in the column of a corner, and of an edge */
            p[0] = s.nine[9 * (size_t)(i * 40)];
            p[1] = s.nine[9 * (size_t)(i * 40) + 1];
        }
        double off = hypot(hypot(p[0], p[1]) - 30, p[2]) - 10;
        if (fabs(off) > 0.1) {
            assert_int_equal(po_winding(&m, list, s.n, p), off < 0);
        }
    }
    free(corners);
    free(list);
    free(s.nine);
}

static void published(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        double volume;   /* 0: no solid is to be had */
        double within;   /* relative */
        int before_open; /* of the exact mesh, from the manifest; -1: not looked at */
        bool solid;
    } all[] = {{"unit_cube.STL", 1, 1e-9, 0, true},
               {"featuretype.STL", 11.627733431196749, 2e-4, -1, true},
               {"idler_riser.STL", 1.48780264, 1e-2, -1, false},
               {"angle_block.STL", 1.14552254, 1e-2, -1, false},
               {"multibody.stl", 0, 0, 0, true},
               {"shared.STL", 2, 1e-9, 0, false},
               {"soup.stl", 0, 0, 300, false},
               {"box.STL", 16.0844891, 1e-6, 0, true}};
    const char *shared = getenv("PO_SHARED");
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        char path[4096];
        snprintf(path, sizeof path, "%s/data/mesh/%s", shared ? shared : "../shared", all[i].name);
        if (access(path, R_OK) != 0) {
            print_message("no %s: left out\n", path);
            continue;
        }
        po_arena *arena = po_arena_new(0);
        po_source source = {.path = path};
        const po_part *part;
        po_err err = {0};
        if (po_part_read(&source, NULL, arena, &part, &err) != PO_OK) {
            fail_msg("%s: %s", path, err.msg);
        }
        po_mend m = mend(&part->objects[0].mesh, NAN, arena);
        print_message(
            "%s: open %llu -> %llu, crowded %llu -> %llu, flipped %llu -> %llu, flat %llu -> %llu, shells %llu "
            "-> %llu, volume %.9g -> %.9g%s\n",
            all[i].name, (unsigned long long)m.before.open_edges, (unsigned long long)m.after.open_edges,
            (unsigned long long)m.before.crowded_edges, (unsigned long long)m.after.crowded_edges,
            (unsigned long long)m.before.flipped_triangles, (unsigned long long)m.after.flipped_triangles,
            (unsigned long long)m.before.flat_triangles, (unsigned long long)m.after.flat_triangles,
            (unsigned long long)m.before.shells, (unsigned long long)m.after.shells, m.before.volume_mm3,
            m.after.volume_mm3, m.after.watertight ? ", watertight" : "");
        for (size_t k = 0; k < m.n_says + m.n_left; k++) {
            print_message("  %c %s\n", k < m.n_says ? '+' : '-', k < m.n_says ? m.says[k] : m.left[k - m.n_says]);
        }
        if (all[i].before_open >= 0) {
            assert_int_equal(m.before.open_edges, all[i].before_open);
        }
        assert_true(!all[i].solid || m.after.watertight);
        if (all[i].volume != 0) {
            assert_true(fabs(m.after.volume_mm3 / all[i].volume - 1) <= all[i].within);
        }
        po_arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(boxes),       cmocka_unit_test(nested),
                                       cmocka_unit_test(noisy_seams), cmocka_unit_test(ring_without_top),
                                       cmocka_unit_test(bent_holes),  cmocka_unit_test(sheets),
                                       cmocka_unit_test(shared_edge), cmocka_unit_test(corners_in_a_row),
                                       cmocka_unit_test(winding),     cmocka_unit_test(moebius),
                                       cmocka_unit_test(slits),       cmocka_unit_test(published)};
    return cmocka_run_group_tests_name("mend", tests, NULL, NULL);
}
