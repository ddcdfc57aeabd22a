/* Checks of topology and bulk. SPDX-License-Identifier: Apache-2.0
 * Outside: shared/data/mesh/manifest.tsv (computed apart from this project), closed forms (each named where it is used),
 * and a plain count of everything, pair by pair, on small random meshes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/shapes.h"
#include "part/topology.h"
#include "part/weld.h"

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

static po_mesh_facts measure(const po_mesh *mesh, int threads, po_arena *arena)
{
    po_mesh_facts facts;
    po_err err;
    assert_int_equal(po_mesh_measure(mesh, threads, arena, &facts, &err), PO_OK);
    return facts;
}

static bool close_to(double a, double b, double relative)
{
    return fabs(a - b) <= relative * fabs(b);
}

static double field(const char *line, const char *name)
{
    char key[32];
    snprintf(key, sizeof key, "\t%s=", name);
    const char *at = strstr(line, key);
    return at ? atof(at + strlen(key)) : NAN;
}

static void check_file(const char *path, const char *line)
{
    po_arena *arena = po_arena_new(0);
    po_source source = {.path = path};
    const po_part *part;
    po_err err;
    assert_int_equal(po_part_read(&source, NULL, arena, &part, &err), PO_OK);
    po_pool *pool = po_pool_new(2);
    double v = 0, f = 0, e = 0, comp = 0, open = 0, crowded = 0, against = 0, volume = 0, area = 0;
    bool watertight = true;
    for (size_t i = 0; i < part->n_objects; i++) {
        const po_mesh *mesh = &part->objects[i].mesh;
        po_topology t;
        po_bulk bulk;
        assert_int_equal(po_topology_find(mesh, pool, &t, &err), PO_OK);
        /* The manifest's tetrahedra meet in the file's first corner. */
        const po_mesh *first = &part->objects[0].mesh;
        assert_int_equal(po_bulk_find(mesh, first->xyz + 3 * first->corners[0], pool, &bulk, &err), PO_OK);
        v += (double)t.n_vertices;
        f += (double)mesh->n_triangles;
        e += (double)t.n_edges;
        comp += (double)t.shells;
        open += (double)t.open;
        crowded += (double)t.crowded;
        against += (double)t.against;
        volume += bulk.volume;
        area += bulk.area;
        watertight &= t.watertight;
        po_topology_done(&t);
    }
    assert_true(v == field(line, "V") && f == field(line, "F") && e == field(line, "E"));
    assert_true(v - e + f == field(line, "chi") && comp == field(line, "comp"));
    assert_true(open == field(line, "boundary") && crowded == field(line, "nonmanifold") &&
                against == field(line, "inconsistent"));
    assert_int_equal(watertight, strstr(line, "watertight=yes\t") != NULL);
    double within = strstr(line, "STL-asc") ? 1e-6 : 1e-8; /* the manifest's reader takes text for single precision */
    assert_true(close_to(volume, field(line, "vol"), within));
    assert_true(close_to(area, field(line, "area"), within));
    po_pool_free(pool);
    po_arena_free(arena);
}

static void test_manifest(void **state)
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
    int n = 0;
    while (fgets(line, sizeof line, manifest)) {
        if (line[0] != '#' && strstr(line, "\tSTL-")) {
            snprintf(path, sizeof path, "%s/data/mesh/%.*s", shared, (int)strcspn(line, "\t"), line);
            check_file(path, line);
            n++;
        }
    }
    fclose(manifest);
    assert_true(n >= 15);
}

/* Seams that the library's own tests state as closed or measured: see the head of the manifest. */
static void test_seams_of_files(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        int64_t euler;
        double volume, area;
    } cases[] = {{"featuretype.STL", -16, 11.627733431196749, NAN},
                 {"angle_block.STL", 0, NAN, 9.388587},
                 {"idler_riser.STL", -4, NAN, 18.13860637}};
    const char *shared = getenv("PO_SHARED");
    for (size_t i = 0; i < 3; i++) {
        char path[4096];
        snprintf(path, sizeof path, "%s/data/mesh/%s", shared ? shared : "", cases[i].name);
        FILE *there = fopen(path, "rb");
        if (!there) {
            skip();
        }
        fclose(there);
        po_arena *arena = po_arena_new(0);
        po_source source = {.path = path};
        const po_part *part;
        assert_int_equal(po_part_read(&source, NULL, arena, &part, NULL), PO_OK);
        po_mesh_facts facts = measure(&part->objects[0].mesh, 1, arena);
        assert_true(facts.watertight && facts.open_edges == 0 && facts.seams_closed_at_mm > 0);
        assert_true(facts.shells == 1 && facts.euler == cases[i].euler && facts.genus == (double)(2 - facts.euler) / 2);
        assert_true(facts.judged != &part->objects[0].mesh);
        assert_true(isnan(cases[i].volume) || close_to(facts.volume_mm3, cases[i].volume, 1e-8));
        assert_true(isnan(cases[i].area) || close_to(facts.area_mm2, cases[i].area, 2e-4));
        po_arena_free(arena);
    }
}

static void test_closed_forms(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_tetra(&s, 0, 0, 0, 10); /* a^3/6; centre a/4; area 3 a^2/2 + sqrt(3)/2 a^2 */
    po_mesh mesh = weld_soup(&s, arena);
    po_mesh_facts f = measure(&mesh, 1, arena);
    assert_true(f.watertight && f.vertices == 4 && f.triangles == 4 && f.euler == 2 && f.genus == 0 && f.shells == 1);
    assert_true(close_to(f.volume_mm3, 1000.0 / 6, 1e-14) && close_to(f.area_mm2, 150 + 50 * sqrt(3), 1e-14));
    assert_true(close_to(f.centre_of_mass_mm[0], 2.5, 1e-13) && close_to(f.centre_of_mass_mm[2], 2.5, 1e-13));
    assert_true(f.judged == &mesh && isnan(f.seams_closed_at_mm) &&
                close_to(f.shell_volumes_mm3[0], f.volume_mm3, 1e-14));
    s.n = 0;
    soup_box(&s, 1e4, -1e4, 1e4, 1, 2, 3); /* far off: still exact to the rounding of the corners */
    mesh = weld_soup(&s, arena);
    f = measure(&mesh, 1, arena);
    assert_true(close_to(f.volume_mm3, 6, 1e-11) && close_to(f.area_mm2, 22, 1e-11));
    assert_true(close_to(f.centre_of_mass_mm[1], -9999, 1e-13));
    for (size_t i = 0; i < s.n; i++) { /* turned inside out: the sign */
        double keep[3];
        memcpy(keep, s.nine + 9 * i, sizeof keep);
        memcpy(s.nine + 9 * i, s.nine + 9 * i + 3, sizeof keep);
        memcpy(s.nine + 9 * i + 3, keep, sizeof keep);
    }
    mesh = weld_soup(&s, arena);
    f = measure(&mesh, 1, arena);
    assert_true(f.watertight && f.flipped_triangles == 0 && close_to(f.volume_mm3, -6, 1e-11));
    s.n = 0;
    soup_torus(&s, 10, 20, 30, 30, 10, 300, 200);
    mesh = weld_soup(&s, arena);
    for (int threads = 1; threads <= 3; threads++) {
        po_mesh_facts g = measure(&mesh, threads, arena);
        assert_true(g.watertight && g.genus == 1 && g.euler == 0 && g.vertices == 60000 && g.triangles == 120000);
        assert_true(close_to(g.volume_mm3, torus_volume(30, 10, 300, 200), 1e-7)); /* corners are floats */
        assert_true(close_to(g.volume_mm3, 2 * 9.8696044 * 30 * 100, 1e-3));       /* Pappus: 2 pi^2 R r^2 */
        assert_true(close_to(g.centre_of_mass_mm[2], 30, 1e-7));
        if (threads > 1) {
            assert_memory_equal(&g.volume_mm3, &f.volume_mm3, sizeof(double)); /* bit for bit */
            assert_memory_equal(&g.centre_of_mass_mm, &f.centre_of_mass_mm, 3 * sizeof(double));
        }
        f = g;
    }
    s.n = 0;
    soup_box(&s, 0, 0, 0, 10, 10, 10); /* a void inside: a shell of negative volume */
    soup_box(&s, 8, 2, 2, -6, 6, 6);
    mesh = weld_soup(&s, arena);
    f = measure(&mesh, 2, arena);
    assert_true(f.watertight && f.shells == 2 && f.euler == 4 && f.genus == 0 &&
                close_to(f.volume_mm3, 1000 - 216, 1e-13));
    assert_true(close_to(f.shell_volumes_mm3[0], 1000, 1e-13) && close_to(f.shell_volumes_mm3[1], -216, 1e-13));
    free(s.nine);
    po_arena_free(arena);
}

static void swap_corners(soup *s, size_t t)
{
    double keep[3];
    memcpy(keep, s->nine + 9 * t, sizeof keep);
    memcpy(s->nine + 9 * t, s->nine + 9 * t + 3, sizeof keep);
    memcpy(s->nine + 9 * t + 3, keep, sizeof keep);
}

static po_mesh_facts facts_of(const soup *s, po_arena *arena)
{
    po_mesh *mesh = po_arena_zeros(arena, 1, sizeof *mesh);
    *mesh = weld_soup(s, arena);
    return measure(mesh, 1, arena);
}

static void test_faults(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_box(&s, 0, 0, 0, 1, 1, 1);
    swap_corners(&s, 5); /* one triangle the wrong way: three edges run twice the same way, one to turn */
    po_mesh_facts f = facts_of(&s, arena);
    assert_true(f.flipped_triangles == 1 && !f.watertight && f.open_edges == 0 && f.crowded_edges == 0 &&
                isnan(f.genus));
    for (size_t t = 0; t < 12; t++) { /* all but that one and another turned */
        if (t != 7) {
            swap_corners(&s, t);
        }
    }
    f = facts_of(&s, arena);
    assert_true(f.flipped_triangles == 2 && !f.watertight);
    s.n = 0;
    soup_box(&s, 0, 0, 0, 1, 1, 1);
    s.n = 11; /* one triangle gone */
    f = facts_of(&s, arena);
    assert_true(f.open_edges == 3 && !f.watertight && f.euler == 1 && isnan(f.seams_closed_at_mm) &&
                f.flipped_triangles == 0);
    s.n = 12;
    soup_add(&s, s.nine + 9 * 4, s.nine + 9 * 4 + 3, s.nine + 9 * 4 + 6); /* one twice */
    f = facts_of(&s, arena);
    assert_true(f.doubled_triangles == 1 && f.crowded_edges == 3 && f.open_edges == 0 && !f.watertight);
    soup_add(&s, s.nine + 9 * 4 + 3, s.nine + 9 * 4, s.nine + 9 * 4 + 6); /* and backwards */
    f = facts_of(&s, arena);
    assert_true(f.doubled_triangles == 2);
    s.n = 0;
    soup_box(&s, 0, 0, 0, 1, 1, 1); /* two boxes that share an edge */
    soup_box(&s, 1, 1, 0, 1, 1, 1);
    f = facts_of(&s, arena);
    assert_true(f.crowded_edges == 1 && f.shells == 1 && f.euler == 3 && !f.watertight);
    s.n = 0;
    soup_box(&s, 0, 0, 0, 1, 1, 1); /* ... a point: watertight, and each a ball */
    soup_box(&s, 1, 1, 1, 1, 1, 1);
    f = facts_of(&s, arena);
    assert_true(f.watertight && f.shells == 1 && f.euler == 3 && f.genus == 0 && close_to(f.volume_mm3, 2, 1e-14));
    s.n = 0;
    soup_box(&s, 0, 0, 0, 1, 1, 1);
    soup_add(&s, s.nine, s.nine, s.nine + 3); /* two equal corners: flat, and harmless */
    soup_add(&s, s.nine, s.nine, s.nine);
    f = facts_of(&s, arena);
    assert_true(f.watertight && f.flat_triangles == 2 && f.triangles == 14 && f.euler == 2 && f.open_edges == 0);
    s.n = 0;
    double a[3] = {0, 0, 0}, b[3] = {10, 0, 0}, c[3] = {5, 1e-13, 0}; /* area 5e-13: flat, but its edges count */
    soup_add(&s, a, b, c);
    f = facts_of(&s, arena);
    assert_true(f.flat_triangles == 1 && f.open_edges == 3);
    s.n = 0;
    double strip[10][3]; /* a Moebius strip of five quads: every edge inside is fine but for one that can't be */
    for (int i = 0; i < 5; i++) {
        double u = 6.283185307179586 * i / 5, w = 3.141592653589793 * i / 5;
        for (int side = 0; side < 2; side++) {
            double r = 10 + (side ? 2 : -2) * cos(w);
            strip[2 * i + side][0] = r * cos(u);
            strip[2 * i + side][1] = r * sin(u);
            strip[2 * i + side][2] = (side ? 2 : -2) * sin(w);
        }
    }
    for (int i = 0; i < 5; i++) {
        int j = i == 4 ? 1 : 2 * i + 2, k = i == 4 ? 0 : 2 * i + 3;
        soup_add(&s, strip[2 * i], strip[j], strip[2 * i + 1]);
        soup_add(&s, strip[2 * i + 1], strip[j], strip[k]);
    }
    f = facts_of(&s, arena);
    assert_true(f.open_edges == 10 && f.euler == 0 && f.shells == 1 && f.flipped_triangles >= 1);
    free(s.nine);
    po_arena_free(arena);
}

/* A wheel: hubs with thousands of triangles, which no quick way takes. */
static void test_hubs(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    enum { N = 5000 };
    double top[3] = {0, 0, 5}, foot[3] = {0, 0, -5};
    for (int i = 0; i < N; i++) {
        double u = 6.283185307179586 * i / N, w = 6.283185307179586 * ((i + 1) % N) / N;
        double p[3] = {10 * cos(u), 10 * sin(u), 0}, q[3] = {10 * cos(w), 10 * sin(w), 0};
        soup_add(&s, top, p, q);
        soup_add(&s, foot, q, p);
    }
    po_mesh_facts f = facts_of(&s, arena);
    assert_true(f.watertight && f.genus == 0 && f.vertices == N + 2);
    /* Two pyramids over an N-gon: N/2 R^2 sin(2 pi/N) 10/3. */
    assert_true(close_to(f.volume_mm3, N * 50 * sin(6.283185307179586 / N) * 10 / 3, 1e-12));
    s.n = 0;
    for (int k = 0; k < 2; k++) { /* two wheels on one hub: two fans there, still two balls */
        for (int i = 0; i < N; i++) {
            double u = 6.283185307179586 * i / N, w = 6.283185307179586 * ((i + 1) % N) / N, z = k ? -5 : 5;
            double p[3] = {10 * cos(u), 10 * sin(u), z}, q[3] = {10 * cos(w), 10 * sin(w), z}, end[3] = {0, 0, 2 * z};
            double o[3] = {0, 0, 0};
            soup_add(&s, k ? q : p, k ? p : q, end);
            soup_add(&s, k ? p : q, k ? q : p, o);
        }
    }
    f = facts_of(&s, arena);
    assert_true(f.watertight && f.genus == 0 && f.euler == 3 && f.shells == 1);
    free(s.nine);
    po_arena_free(arena);
}

/* Random triangles over few points, counted pair by pair. */
static void test_against_plain_count(void **state)
{
    (void)state;
    unsigned seed = 11;
    po_pool *pool = po_pool_new(1);
    for (int round = 0; round < 3000; round++) {
        uint32_t corners[40 * 3], n_points = 3 + (uint32_t)(round % 9);
        double xyz[12 * 3] = {0};
        size_t n = 1 + (size_t)(round % 37);
        for (size_t i = 0; i < 3 * n; i++) {
            seed = seed * 1664525u + 1013904223u;
            corners[i] = (seed >> 16) % n_points;
        }
        po_mesh mesh = {xyz, n_points, corners, n};
        po_topology t;
        assert_int_equal(po_topology_find(&mesh, pool, &t, NULL), PO_OK);
        uint64_t open = 0, crowded = 0, against = 0, edges = 0, doubled = 0, used = 0, flat = 0, shells = 0;
        uint32_t label[12];
        bool is_used[12] = {false}, is_flat[40];
        for (uint32_t v = 0; v < n_points; v++) {
            label[v] = v;
        }
        for (size_t i = 0; i < n; i++) {
            const uint32_t *c = corners + 3 * i;
            is_flat[i] = c[0] == c[1] || c[1] == c[2] || c[2] == c[0];
            flat += is_flat[i];
            for (int k = 0; !is_flat[i] && k < 3; k++) {
                uint32_t from = label[c[k]], to = label[c[0]];
                is_used[c[k]] = true;
                for (uint32_t v = 0; v < n_points; v++) {
                    label[v] = label[v] == from ? to : label[v];
                }
            }
            for (size_t j = 0; !is_flat[i] && j < i; j++) {
                const uint32_t *d = corners + 3 * j;
                int same = 0;
                for (int k = 0; k < 9; k++) {
                    same += c[k / 3] == d[k % 3];
                }
                if (same == 3 && !is_flat[j]) {
                    doubled++; /* against the first alike */
                    break;
                }
            }
        }
        for (uint32_t a = 0; a < n_points; a++) {
            used += is_used[a];
            shells += is_used[a] && label[a] == a;
            for (uint32_t b = a + 1; b < n_points; b++) {
                uint64_t there = 0, back = 0;
                for (size_t i = 0; i < 3 * n; i++) {
                    uint32_t p = corners[i], q = corners[i % 3 == 2 ? i - 2 : i + 1];
                    there += !is_flat[i / 3] && p == a && q == b;
                    back += !is_flat[i / 3] && p == b && q == a;
                }
                edges += there + back > 0;
                open += there + back == 1;
                crowded += there + back > 2;
                against += there + back == 2 && there != 1;
            }
        }
        uint64_t labels = 0; /* a label need not be its own member's number */
        for (uint32_t a = 0; a < n_points; a++) {
            bool first = is_used[a];
            for (uint32_t b = 0; b < a; b++) {
                first &= !(is_used[b] && label[b] == label[a]);
            }
            labels += first;
        }
        shells = labels;
        assert_true(t.open == open && t.crowded == crowded && t.against == against && t.n_edges == edges);
        assert_true(t.doubled == doubled && t.n_vertices == used && t.n_flat == flat && t.shells == shells);
        for (uint32_t a = 0; a < n_points; a++) {
            assert_true((t.shell_of[a] != UINT32_MAX) == is_used[a]);
            for (uint32_t b = 0; b < a; b++) {
                assert_true(!is_used[a] || !is_used[b] || (t.shell_of[a] == t.shell_of[b]) == (label[a] == label[b]));
            }
        }
        po_topology_done(&t);
    }
    po_pool_free(pool);
}

static void test_seams(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_torus(&s, 0, 0, 0, 30, 10, 60, 40);
    double diagonal = sqrt(80 * 80 * 2 + 20 * 20);
    for (size_t i = 0; i < 9 * s.n; i++) { /* one half a little aside */
        s.nine[i] += i / 9 < s.n / 2 && i % 3 == 0 ? 0.5e-5 * diagonal : 0;
    }
    po_mesh_facts f = facts_of(&s, arena);
    assert_true(f.watertight && f.genus == 1 && f.vertices == 2400 &&
                close_to(f.seams_closed_at_mm, 1e-5 * diagonal, 1e-3));
    for (size_t i = 0; i < 9 * s.n; i++) { /* too far aside: open as it is, exact counts */
        s.nine[i] += i / 9 < s.n / 2 && i % 3 == 0 ? 1e-3 * diagonal : 0;
    }
    f = facts_of(&s, arena);
    assert_true(!f.watertight && f.open_edges == 160 && f.vertices == 2480 && isnan(f.seams_closed_at_mm));
    /* A long row of points closer than the tolerance must not fall into one. */
    s.n = 0;
    for (int i = 0; i < 1000; i++) {
        double p[3] = {i * 1e-3, 0, 0}, q[3] = {(i + 1) * 1e-3, 0, 0}, r[3] = {500, 1000, 0};
        soup_add(&s, p, q, r);
    }
    f = facts_of(&s, arena);
    assert_true(f.bounds_mm[1][0] >= 500 && f.triangles == 1000 && close_to(f.area_mm2, 0.5 * 1000, 0.05));
    free(s.nine);
    po_arena_free(arena);
}

static void test_hard(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_mesh_facts f;
    po_err err;
    double xyz[9] = {0, 0, 0, 1, 0, 0, 0, 1, 0};
    uint32_t corners[3] = {0, 1, 3};
    po_mesh mesh = {xyz, 3, corners, 1};
    assert_int_equal(po_mesh_measure(&mesh, 1, arena, &f, &err), PO_E_RANGE);
    assert_int_equal(err.byte, 0);
    corners[2] = 2;
    static const double bad[] = {NAN, INFINITY, -INFINITY, 1e61};
    for (int i = 0; i < 4; i++) {
        xyz[4] = bad[i];
        assert_int_equal(po_mesh_measure(&mesh, 1, arena, &f, &err), PO_E_RANGE);
        assert_int_equal(err.byte, 1);
    }
    mesh.n_triangles = 0;
    assert_int_equal(po_mesh_measure(&mesh, 1, arena, &f, &err), PO_E_EMPTY);
    corners[0] = corners[1] = corners[2] = 0; /* nothing but a flat one */
    mesh.n_triangles = 1;
    xyz[4] = 0;
    f = measure(&mesh, 1, arena);
    assert_true(f.flat_triangles == 1 && !f.watertight && f.vertices == 0 && f.shells == 0 && isnan(f.bounds_mm[0][0]));
    soup s = {0};
    soup_box(&s, -1e38, -1e38, -1e38, 2e38, 2e38, 2e38);
    f = facts_of(&s, arena);
    assert_true(f.watertight && close_to(f.volume_mm3, 8e114, 1e-12) && fabs(f.centre_of_mass_mm[0]) < 1e24);
    s.n = 0;
    for (int i = 0; i < 1000000; i++) { /* a million shells */
        double a[3] = {i % 1000, i / 1000, 0}, b[3] = {i % 1000 + 0.5, i / 1000, 0},
               c[3] = {i % 1000, i / 1000 + 0.5, 0};
        soup_add(&s, a, b, c);
    }
    f = facts_of(&s, arena);
    assert_true(f.shells == 1000000 && f.open_edges == 3000000 && f.shell_volumes_mm3 == NULL);
    free(s.nine);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_manifest),     cmocka_unit_test(test_seams_of_files),
        cmocka_unit_test(test_closed_forms), cmocka_unit_test(test_faults),
        cmocka_unit_test(test_hubs),         cmocka_unit_test(test_against_plain_count),
        cmocka_unit_test(test_seams),        cmocka_unit_test(test_hard),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
