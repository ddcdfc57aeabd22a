/* Checks of a part made ready to be looked at: classes and spots against closed forms, decimation, turns. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/pose_shapes.h"
#include "proveout/pieces.h"
#include "proveout/show.h"

#define NEAR(a, b, by)                                                                                                 \
    do {                                                                                                               \
        double a_ = (a), b_ = (b);                                                                                     \
        if (!(fabs(a_ - b_) <= (by))) {                                                                                \
            fail_msg("%s is %.9g, expected %.9g within %.3g", #a, a_, b_, (double)(by));                               \
        }                                                                                                              \
    } while (0)

typedef struct rig {
    po_arena *arena;
    pose_mesh *m; /* in the arena: the solid points into it */
    po_solid solid;
    const uint8_t *classes;
    po_pose pose;
    po_spots spots;
} rig;

/* The solid as po_part_measure would hand it on, measured in what the test is about. */
static rig rig_of(soup *s, const double *turn, bool walls)
{
    rig r = {.arena = po_arena_new(0)};
    po_err err;
    r.m = po_arena_zeros(r.arena, 1, sizeof(*r.m));
    assert_non_null(r.m);
    *r.m = mesh_of(s);
    assert_int_equal(po_mesh_measure(&r.m->mesh, 1, r.arena, &r.solid.facts, &err), PO_OK);
    r.solid.mesh = r.solid.judged = r.solid.facts.judged;
    r.solid.times = 1;
    r.solid.lies_done = true;
    if (walls) {
        po_status status = po_mesh_walls(r.solid.judged, 0.45, 0, 1, 1, r.arena, &r.solid.walls, &err);
        if (status == PO_E_UNSUPPORTED) {
            skip();
        }
        assert_int_equal(status, PO_OK);
        r.solid.walls_done = true;
    }
    if (po_show_classes(&r.solid, turn, &POSE_SETUP, 1, r.arena, &r.classes, &r.pose, &err) != PO_OK ||
        po_show_spots(&r.solid, r.classes, 1, r.arena, &r.spots, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    return r;
}

static void rig_done(rig *r)
{
    mesh_done(r->m);
    po_arena_free(r->arena);
}

static double area_of(const rig *r, int class)
{
    const po_mesh *m = r->solid.judged;
    double sum = 0;
    for (size_t t = 0; t < m->n_triangles; t++) {
        const double *a = m->xyz + 3 * (size_t)m->corners[3 * t], *b = m->xyz + 3 * (size_t)m->corners[3 * t + 1],
                     *c = m->xyz + 3 * (size_t)m->corners[3 * t + 2];
        double e[3], f[3];
        for (int k = 0; k < 3; k++) {
            e[k] = b[k] - a[k];
            f[k] = c[k] - a[k];
        }
        double x = e[1] * f[2] - e[2] * f[1], y = e[2] * f[0] - e[0] * f[2], z = e[0] * f[1] - e[1] * f[0];
        sum += r->classes[t] & class ? sqrt(x * x + y * y + z * z) / 2 : 0;
    }
    return sum;
}

static size_t count_spots(const rig *r, const char *finding)
{
    size_t n = 0;
    for (size_t i = 0; i < r->spots.n; i++) {
        n += strcmp(r->spots.spots[i].finding, finding) == 0;
    }
    return n;
}

/* A T, 30 deep: its head reaches 15 to both sides of its stem, 20 above the bed. */
static soup tee(void)
{
    static const double xz[8][2] = {{15, 0}, {25, 0}, {25, 20}, {40, 20}, {40, 25}, {0, 25}, {0, 20}, {15, 20}};
    soup s = {0};
    soup_prism(&s, xz, 8, (const double[2]){20, 22}, 30);
    return s;
}

static void a_tee_hangs_at_both_sides(void **state)
{
    (void)state;
    soup s = tee();
    rig r = rig_of(&s, NULL, false);
    NEAR(area_of(&r, PO_SHOW_OVERHANG), 2 * 15 * 30, 1e-9);
    NEAR(area_of(&r, PO_SHOW_FOOTHOLD), 10 * 30, 1e-9);
    NEAR(r.pose.overhang_open_mm2, 900, 1);
    assert_int_equal(count_spots(&r, "needs-support"), 2);
    assert_int_equal(r.spots.n, 2);
    for (size_t i = 0; i < 2; i++) {
        NEAR(r.spots.spots[i].mm2, 450, 1e-9);
        NEAR(r.spots.spots[i].at[2], 20, 1e-9);
        NEAR(r.spots.spots[i].normal[2], -1, 1e-12);
        NEAR(r.spots.spots[i].size_mm, sqrt(15 * 15 + 30 * 30), 1e-9);
    }
    rig_done(&r);
    double turn[9];
    po_turn_by(NULL, (const double[3]){180, 0, 0}, turn);
    s = tee();
    r = rig_of(&s, turn, false); /* on its head nothing hangs */
    NEAR(area_of(&r, PO_SHOW_OVERHANG), 0, 0);
    NEAR(area_of(&r, PO_SHOW_FOOTHOLD), 40 * 30, 1e-9);
    assert_int_equal(r.spots.n, 0);
    rig_done(&r);
}

/* A bridge of 10 mm between two posts carries itself: no trouble. */
static void a_bridge_is_no_trouble(void **state)
{
    (void)state;
    static const double xz[8][2] = {{0, 0}, {10, 0}, {10, 20}, {20, 20}, {20, 0}, {30, 0}, {30, 25}, {0, 25}};
    soup s = {0};
    soup_prism(&s, xz, 8, (const double[2]){15, 22.5}, 10);
    rig r = rig_of(&s, NULL, false);
    NEAR(area_of(&r, PO_SHOW_CARRIED), 100, 1e-9);
    NEAR(area_of(&r, PO_SHOW_OVERHANG), 0, 0);
    assert_int_equal(r.spots.n, 0);
    rig_done(&r);
}

static void a_thin_plate_is_thin_on_both_sides(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 20, 0.3, 20);
    rig r = rig_of(&s, NULL, true);
    NEAR(area_of(&r, PO_SHOW_THIN), 2 * 20 * 20, 1e-9);
    assert_int_equal(count_spots(&r, "thin-walls"), 1);
    NEAR(r.spots.spots[0].mm, 0.3, 1e-6);
    NEAR(r.spots.spots[0].mm2, 800, 20); /* by samples */
    NEAR(fabs(r.spots.spots[0].normal[1]), 1, 1e-6);
    rig_done(&r);
    s = (soup){0};
    soup_box(&s, 0, 0, 0, 20, 0.7, 20); /* between one bead and two */
    r = rig_of(&s, NULL, true);
    NEAR(area_of(&r, PO_SHOW_THIN), 0, 0);
    NEAR(area_of(&r, PO_SHOW_SLIM), 800, 1e-9);
    assert_int_equal(count_spots(&r, "slim-walls"), 1);
    rig_done(&r);
    s = (soup){0};
    soup_box(&s, 0, 0, 0, 20, 5, 20);
    r = rig_of(&s, NULL, true);
    NEAR(area_of(&r, PO_SHOW_THIN | PO_SHOW_SLIM), 0, 0);
    assert_int_equal(r.spots.n, 0);
    rig_done(&r);
}

static void an_open_box_is_open_around_its_lid(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 20, 5);
    memmove(s.nine + 9 * 2, s.nine + 9 * 4, (s.n - 4) * 9 * sizeof(double)); /* without the lid's two triangles */
    s.n -= 2;
    rig r = rig_of(&s, NULL, false);
    assert_int_equal(r.solid.facts.open_edges, 4);
    assert_int_equal(count_spots(&r, "open-edges"), 1);
    assert_string_equal(r.spots.spots[0].finding, "open-edges");
    NEAR(r.spots.spots[0].mm, 60, 1e-9);
    NEAR(r.spots.spots[0].at[2], 5, 1e-9);
    assert_true(r.classes[r.spots.spots[0].triangle] & PO_SHOW_OPEN);
    rig_done(&r);
}

static double volume_of_shown(const po_shown *s)
{
    double sum = 0;
    for (size_t t = 0; t < s->n_triangles; t++) {
        const float *a = s->xyz + 3 * (size_t)s->corners[3 * t], *b = s->xyz + 3 * (size_t)s->corners[3 * t + 1],
                    *c = s->xyz + 3 * (size_t)s->corners[3 * t + 2];
        sum += ((double)a[0] * ((double)b[1] * (double)c[2] - (double)b[2] * (double)c[1]) +
                (double)a[1] * ((double)b[2] * (double)c[0] - (double)b[0] * (double)c[2]) +
                (double)a[2] * ((double)b[0] * (double)c[1] - (double)b[1] * (double)c[0])) /
               6;
    }
    return sum;
}

static void fewer_triangles_keep_what_findings_are_about(void **state)
{
    (void)state;
    enum { FLAGGED = 150, MOST = 3000 };
    soup s = {0};
    soup_torus(&s, 0, 0, 0, 30, 10, 200, 100);
    pose_mesh m = mesh_of(&s);
    po_arena *arena = po_arena_new(0);
    uint8_t *classes = po_arena_zeros(arena, m.mesh.n_triangles, 1);
    for (size_t i = 0; i < FLAGGED; i++) {
        classes[(i * 7919) % m.mesh.n_triangles] = i % 2 ? PO_SHOW_THIN : PO_SHOW_OVERHANG;
    }
    po_shown shown;
    po_err err;
    assert_int_equal(po_show_mesh(&m.mesh, classes, MOST, arena, &shown, &err), PO_OK);
    assert_int_equal(shown.n_whole, 40000);
    assert_true(shown.n_triangles <= MOST && shown.n_triangles > MOST / 4);
    assert_true(shown.kept_all && shown.cell_mm > 0);
    size_t flagged = 0;
    for (size_t t = 0; t < shown.n_triangles; t++) {
        size_t from = shown.from[t];
        assert_int_equal(shown.classes[t], classes[from]);
        if (!classes[from]) {
            continue;
        }
        flagged++;
        for (size_t k = 0; k < 9; k++) { /* where it was, corner by corner */
            double was = m.mesh.xyz[3 * (size_t)m.mesh.corners[3 * from + k / 3] + k % 3] - shown.origin[k % 3];
            NEAR((double)shown.xyz[3 * (size_t)shown.corners[3 * t + k / 3] + k % 3], was, 1e-5);
        }
    }
    assert_int_equal(flagged, FLAGGED);
    NEAR(volume_of_shown(&shown) / torus_volume(30, 10, 200, 100), 1, 0.06); /* means of cells lie within a curve */
    /* all of them there where there is room, to the last */
    assert_int_equal(po_show_mesh(&m.mesh, classes, 0, arena, &shown, &err), PO_OK);
    assert_int_equal(shown.n_triangles, 40000);
    assert_true(shown.cell_mm == 0);
    NEAR(volume_of_shown(&shown) / torus_volume(30, 10, 200, 100), 1, 1e-5);
    /* more flagged than there is room for: the gravest are kept, and it is said */
    memset(classes, PO_SHOW_OVERHANG, m.mesh.n_triangles);
    classes[17] = PO_SHOW_OPEN;
    assert_int_equal(po_show_mesh(&m.mesh, classes, MOST, arena, &shown, &err), PO_OK);
    assert_false(shown.kept_all);
    bool there = false;
    for (size_t t = 0; t < shown.n_triangles; t++) {
        there |= shown.from[t] == 17;
    }
    assert_true(there && shown.n_triangles <= MOST);
    po_arena_free(arena);
    mesh_done(&m);
}

static uint32_t u32_at(const unsigned char *p)
{
    return (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
}

static void bytes_hold_what_was_made(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 20, 30);
    pose_mesh m = mesh_of(&s);
    po_arena *arena = po_arena_new(0);
    po_shown shown;
    po_err err;
    const unsigned char *bytes;
    size_t n;
    po_wall_sample sample = {.at = {5, 10, 15}, .mm = 0.25};
    assert_int_equal(po_show_mesh(&m.mesh, NULL, 0, arena, &shown, &err), PO_OK);
    assert_int_equal(po_show_bytes(&shown, &sample, 1, arena, &bytes, &n, &err), PO_OK);
    assert_int_equal(n, 56 + 8 * 12 + 12 * (4 + 6 + 1) + 16);
    assert_memory_equal(bytes, "PVM1", 4);
    assert_int_equal(u32_at(bytes + 4), 8);
    assert_int_equal(u32_at(bytes + 8), 12);
    assert_int_equal(u32_at(bytes + 16), 2);
    assert_int_equal(u32_at(bytes + 20), 1);
    double middle;
    memcpy(&middle, bytes + 32, 8);
    NEAR(middle, 5, 0);
    float at[4];
    memcpy(at, bytes + 56 + 8 * 12 + 12 * 4, sizeof at);
    NEAR((double)at[0], 0, 0);
    NEAR((double)at[3], 0.25, 0);
    po_arena_free(arena);
    mesh_done(&m);
}

static void turns_are_what_they_say(void **state)
{
    (void)state;
    double t[9], back[9];
    static const struct {
        double degrees[3], up[3]; /* where +z of the part goes */
    } cases[] = {{{90, 0, 0}, {0, -1, 0}}, {{-90, 0, 0}, {0, 1, 0}}, {{0, 90, 0}, {1, 0, 0}},
                 {{0, 0, 90}, {0, 0, 1}},  {{90, 0, 90}, {1, 0, 0}}, {{270, 0, 0}, {0, 1, 0}}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        po_turn_by(NULL, cases[i].degrees, t);
        assert_true(po_is_turn(t));
        for (int k = 0; k < 3; k++) {
            NEAR(t[6 + k], cases[i].up[k], 0); /* right angles are whole */
        }
    }
    po_turn_by(NULL, (const double[3]){30, 0, 0}, t);
    NEAR(t[7], -0.5, 1e-15);
    NEAR(t[8], sqrt(3) / 2, 1e-15);
    for (int i = 0; i < 1000; i++) { /* many small turns stay a turn */
        po_turn_by(t, (const double[3]){1.7, -0.3, 11}, t);
    }
    assert_true(po_is_turn(t));
    po_turn_by(NULL, (const double[3]){10, 20, 30}, t);
    po_turn_by(t, (const double[3]){0, 0, -30}, back);
    po_turn_by(back, (const double[3]){0, -20, 0}, back);
    po_turn_by(back, (const double[3]){-10, 0, 0}, back);
    for (int k = 0; k < 9; k++) {
        NEAR(back[k], k % 4 == 0, 1e-12);
    }
    assert_false(po_is_turn((const double[9]){1, 0, 0, 0, 1, 0, 0, 0, -1})); /* mirrored */
    assert_false(po_is_turn((const double[9]){2, 0, 0, 0, 1, 0, 0, 0, 1}));
    assert_false(po_is_turn((const double[9]){NAN, 0, 0, 0, 1, 0, 0, 0, 1}));
}

static void a_box_has_six_faces_to_stand_on(void **state)
{
    (void)state;
    static const double areas[6] = {600, 600, 300, 300, 200, 200};
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 20, 30);
    pose_mesh m = mesh_of(&s);
    po_arena *arena = po_arena_new(0);
    const po_flat_face *faces;
    size_t n;
    po_err err;
    assert_int_equal(po_mesh_flat_faces(&m.mesh, 10, arena, &faces, &n, &err), PO_OK);
    assert_int_equal(n, 6);
    for (size_t i = 0; i < 6; i++) {
        double turn[9];
        po_flat_face one;
        po_pose pose;
        NEAR(faces[i].mm2, areas[i], 1e-9);
        assert_int_equal(po_mesh_flat_face(&m.mesh, faces[i].triangle, arena, &one, &err), PO_OK);
        NEAR(one.mm2, areas[i], 1e-9);
        po_turn_down(one.normal, turn);
        assert_int_equal(po_pose_measure(&m.mesh, turn, &POSE_SETUP, 1, NULL, &pose, &err), PO_OK);
        NEAR(pose.foothold_mm2, areas[i], 1e-6);
        NEAR(pose.size_mm[2], 6000 / areas[i], 1e-9);
    }
    assert_int_equal(po_mesh_flat_face(&m.mesh, 12, arena, &(po_flat_face){0}, &err), PO_E_RANGE);
    mesh_done(&m);
    s = tee();
    m = mesh_of(&s); /* undersides of the head are flat, but the stem reaches through their plane */
    assert_int_equal(po_mesh_flat_faces(&m.mesh, 100, arena, &faces, &n, &err), PO_OK);
    assert_int_equal(n, 6);
    NEAR(faces[0].mm2, 1200, 1e-9);
    mesh_done(&m);
    po_arena_free(arena);
}

/* ---- with a shop ---- */

typedef struct whole {
    po_arena *arena;
    const po_shop *shop;
    const po_part *part;
    const po_part_report *report;
} whole;

static whole whole_of(soup *s)
{
    whole w = {.arena = po_arena_new(0)};
    char path[4096];
    const char *root = getenv("PO_SOURCE_ROOT");
    po_err err;
    size_t n;
    snprintf(path, sizeof path, "%s/demo/shop.yaml", root ? root : ".");
    po_shop_faults faults;
    if (po_shop_read_file(path, w.arena, &w.shop, &faults, &err) != PO_OK) {
        fail_msg("%s: %s", path, err.msg);
    }
    unsigned char *bytes = soup_binary(s, (uint32_t)s->n, &n);
    po_source source = {.data = bytes, .n_bytes = n};
    assert_int_equal(po_part_read(&source, NULL, w.arena, &w.part, &err), PO_OK);
    free(bytes);
    free(s->nine);
    const po_machine *machine = &w.shop->machines[0];
    const po_material *material = po_shop_house_material(w.shop);
    po_part_options options = {.poses = true, .threads = 1};
    if (po_part_measure(w.part, w.shop, &machine, &material, 1, &options, w.arena, &w.report, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    return w;
}

static void one_way_up_is_what_the_proof_says(void **state)
{
    (void)state;
    soup s = tee();
    whole w = whole_of(&s);
    static const double as_is[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    po_part_options options = {.threads = 1};
    po_posed posed, turned;
    po_err err;
    assert_int_equal(po_solid_posed(w.report, 0, as_is, true, &options, w.arena, &posed, &err), PO_OK);
    assert_true(w.shop->n_recipes > 1);
    for (size_t i = 0; i < w.shop->n_recipes; i++) {
        NEAR(posed.estimates[i].filament_mm, w.report->estimates[i].filament_mm, 1e-6);
        NEAR(posed.estimates[i].seconds, w.report->estimates[i].seconds, 1e-6);
        NEAR(posed.estimates[i].support_mm, w.report->estimates[i].support_mm, 1e-6);
    }
    double turn[9];
    po_turn_by(NULL, (const double[3]){180, 0, 0}, turn);
    assert_int_equal(po_solid_posed(w.report, 0, turn, true, &options, w.arena, &turned, &err), PO_OK);
    assert_true(posed.estimates[0].support_mm > 0);
    assert_true(turned.estimates[0].support_mm == 0);
    NEAR(turned.pose.foothold_mm2, 1200, 1e-3);
    assert_non_null(turned.pose.why);
    for (size_t m = 0; m < w.shop->n_machines; m++) {
        assert_true(turned.fits[m].as_is);
    }
    turn[0] = 1.01;
    assert_int_equal(po_solid_posed(w.report, 0, turn, true, &options, w.arena, &turned, &err), PO_E_RANGE);
    /* a scale whose filament is asked for again */
    double allowance, machine;
    const po_recipe *recipe = &w.shop->recipes[0];
    double half = w.report->estimates[0].filament_mm / 2;
    assert_int_equal(po_solid_scales(w.report, 0, as_is, recipe, half, &options, w.arena, &allowance, &machine, &err),
                     PO_OK);
    assert_true(allowance > 0.5 && allowance < 1);
    assert_true(machine > 2 && machine < 20);
    po_estimate_setup e = {.recipe = recipe,
                           .machine = w.report->machine,
                           .material = w.report->material,
                           .scale = allowance,
                           .fill_percent = NAN,
                           .threads = 1};
    po_estimate check;
    assert_int_equal(po_part_estimate(w.report->solids[0].judged, &e, w.arena, &check, &err), PO_OK);
    NEAR(check.filament_mm / half, 1, 0.02);
    po_arena_free(w.arena);
}

static void what_is_written_is_read_back_turned(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 3, 4, 5, 10, 20, 30);
    whole w = whole_of(&s);
    double turn[9];
    const unsigned char *bytes;
    size_t n;
    po_err err;
    po_turn_by(NULL, (const double[3]){90, 0, 0}, turn);
    assert_int_equal(po_solid_write(w.report, 0, turn, 2, false, w.arena, &bytes, &n, &err), PO_OK);
    po_source source = {.data = bytes, .n_bytes = n};
    const po_part *back;
    const po_mesh *placed;
    assert_int_equal(po_part_read(&source, NULL, w.arena, &back, &err), PO_OK);
    assert_int_equal(back->n_items, 1);
    assert_int_equal(po_mesh_placed(&back->objects[0].mesh, back->items[0].matrix, w.arena, &placed, &err), PO_OK);
    po_mesh_facts facts;
    assert_int_equal(po_mesh_measure(placed, 1, w.arena, &facts, &err), PO_OK);
    static const double size[3] = {20, 60, 40};
    for (int k = 0; k < 3; k++) {
        NEAR(facts.bounds_mm[0][k], 0, 1e-9);
        NEAR(facts.bounds_mm[1][k], size[k], 1e-9);
    }
    NEAR(facts.volume_mm3, 8 * 6000, 1e-6);
    assert_int_equal(po_solid_write(w.report, 0, turn, 0, false, w.arena, &bytes, &n, &err), PO_E_RANGE);
    po_arena_free(w.arena);
}

/* A box without two of its triangles: mended it is whole. */
static void what_is_mended_is_closed(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 10, 20, 30);
    s.n -= 2;
    whole w = whole_of(&s);
    static const double as_is[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    const unsigned char *bytes;
    size_t n;
    po_err err;
    assert_int_equal(w.report->solids[0].facts.open_edges, 4);
    assert_int_equal(po_solid_write(w.report, 0, as_is, 1, true, w.arena, &bytes, &n, &err), PO_OK);
    po_source source = {.data = bytes, .n_bytes = n};
    const po_part *back;
    assert_int_equal(po_part_read(&source, NULL, w.arena, &back, &err), PO_OK);
    po_mesh_facts facts;
    assert_int_equal(po_mesh_measure(&back->objects[0].mesh, 1, w.arena, &facts, &err), PO_OK);
    assert_true(facts.watertight);
    NEAR(facts.volume_mm3, 6000, 1e-6);
    po_arena_free(w.arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_tee_hangs_at_both_sides),
        cmocka_unit_test(a_bridge_is_no_trouble),
        cmocka_unit_test(a_thin_plate_is_thin_on_both_sides),
        cmocka_unit_test(an_open_box_is_open_around_its_lid),
        cmocka_unit_test(fewer_triangles_keep_what_findings_are_about),
        cmocka_unit_test(bytes_hold_what_was_made),
        cmocka_unit_test(turns_are_what_they_say),
        cmocka_unit_test(a_box_has_six_faces_to_stand_on),
        cmocka_unit_test(one_way_up_is_what_the_proof_says),
        cmocka_unit_test(what_is_written_is_read_back_turned),
        cmocka_unit_test(what_is_mended_is_closed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
