/* Checks of cutting a part into pieces. SPDX-License-Identifier: Apache-2.0
 * Outside: closed forms for how many pieces a box needs at least (its length over the longest thing that a bed holds),
 * volumes of boxes, tubes and rings, and po_mesh_measure and po_part_fit on every piece as it is laid. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/cut_shapes.h"
#include "part/pieces_plan.h"

static const po_machine alder = {.name = "Alder", .bed_mm = {245, 205}, .height_mm = 230};
static const po_machine elm = {
    .name = "Elm", .bed_mm = {270, 270}, .height_mm = 345, .round_bed = true, .origin_centre = true};

static po_pieces_setup setup_for(const po_machine *machine)
{
    return (po_pieces_setup){.machine = machine,
                             .pose = {.overhang_limit_deg = 45,
                                      .bridge_limit_mm = 12,
                                      .support_gap_mm = 0.5,
                                      .layer_mm = 0.2,
                                      .first_layer_mm = 0.25,
                                      .bead_mm = 0.45,
                                      .machine_cost_h = 0.6,
                                      .hand_cost_min = 0.2,
                                      .material_cost_mm3 = 2.4e-5,
                                      .rough_flow_mm3_s = 5},
                             .pin_mm = NAN,
                             .pin_slack_mm = NAN,
                             .least_joint_mm = NAN,
                             .threads = 1};
}

static void assert_near(double got, double wanted, double within)
{
    if (!(fabs(got - wanted) <= within)) {
        fail_msg("%.12g is not %.12g", got, wanted);
    }
}

/* Every promise that does not depend on the part. */
static po_pieces pieces_checked(const po_mesh *mesh, const po_pieces_setup *setup, po_arena *arena)
{
    po_pieces pieces;
    po_err err = {0};
    po_status status = po_part_pieces(mesh, setup, arena, &pieces, &err);
    if (status != PO_OK) {
        fail_msg("%s", err.msg);
    }
    po_mesh_facts whole, facts;
    assert_int_equal(po_mesh_measure(mesh, 1, arena, &whole, &err), PO_OK);
    double sum = 0;
    for (size_t i = 0; i < pieces.n_pieces; i++) {
        const po_piece *p = &pieces.pieces[i];
        assert_int_equal(p->number, i + 1);
        assert_int_equal(po_mesh_measure(p->mesh, 1, arena, &facts, &err), PO_OK);
        assert_true(facts.watertight);
        assert_true(facts.judged == p->mesh);
        assert_true(facts.volume_mm3 > 0);
        assert_near(facts.volume_mm3, p->volume_mm3, 1e-9 * whole.volume_mm3);
        sum += facts.volume_mm3;
        const po_mesh *placed;
        assert_int_equal(po_mesh_placed(p->mesh, p->matrix, arena, &placed, &err), PO_OK);
        assert_int_equal(po_mesh_measure(placed, 1, arena, &facts, &err), PO_OK);
        assert_near(facts.volume_mm3, p->volume_mm3, 1e-9 * whole.volume_mm3); /* turned, not mirrored */
        for (int k = 0; k < 3; k++) {
            double low = facts.bounds_mm[0][k], high = facts.bounds_mm[1][k];
            assert_near(k < 2 ? low + high : low, 0, 1e-9 * (1 + high));
        }
        po_fit fit;
        assert_int_equal(po_part_fit(placed, setup->machine, setup->clearance_mm, NULL, 0, arena, &fit, &err), PO_OK);
        assert_true(fit.as_is);
        assert_true(p->fit.as_is);
    }
    if (!setup->pins) {
        assert_near(sum, whole.volume_mm3, 1e-9 * whole.volume_mm3);
    }
    assert_near(pieces.volume_mm3, whole.volume_mm3, 1e-9 * whole.volume_mm3);
    assert_true(pieces.volume_error <= 1e-9);
    for (size_t i = 0; i < pieces.n_cuts; i++) {
        const po_cut *c = &pieces.cuts[i];
        double least = isnan(setup->least_joint_mm) ? 3 * 0.45 : setup->least_joint_mm;
        assert_true(c->least_mm >= 0.97 * least);
        assert_true(c->area_mm2 > 0);
        assert_true(c->pieces[0] >= 1 && c->pieces[0] <= pieces.n_pieces && c->pieces[1] >= 1 &&
                    c->pieces[1] <= pieces.n_pieces && c->pieces[0] != c->pieces[1]);
    }
    return pieces;
}

static void test_boxes(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_bed_room room = po_bed_room_of(&alder, 0);
    /* a thin bar lies across the bed: Carver's bound, here by its own closed form sqrt(245^2 + 205^2) = 319.4 for q = 0 */
    double thin[3] = {319.4, 0.01, 1}, wide[3] = {319.5, 0.01, 1}, flat[3] = {245, 205, 230}, over[3] = {246, 206, 231};
    double both[3] = {410, 400, 390};
    assert_true(po_box_fits(&room, thin));
    assert_false(po_box_fits(&room, wide));
    assert_true(po_box_fits(&room, flat));
    assert_false(po_box_fits(&room, over));
    assert_int_equal(po_box_pieces(&room, over, NULL), 2); /* the halves lie on another side */
    assert_int_equal(po_box_pieces(&room, both, NULL), 8); /* longer than 245 each way, so 2 each way */
    assert_int_equal(po_box_pieces(&room, flat, NULL), 1);
    /* a scraper in the corner leaves 227 x 205 and 245 x 193 of the bed */
    po_keep_out scraper = {{227, 245}, {193, 205}, 15};
    po_machine scraped = alder;
    scraped.keep_outs = &scraper;
    scraped.n_keep_outs = 1;
    po_bed_room less = po_bed_room_of(&scraped, 0);
    double slabs[3][3] = {{227, 205, 230}, {245, 193, 230}, {228, 194, 230}};
    assert_true(po_box_fits(&less, slabs[0]));
    assert_true(po_box_fits(&less, slabs[1]));
    assert_false(po_box_fits(&less, slabs[2]));
    assert_true(po_box_fits(&room, slabs[2]));
    soup s = {0};
    soup_box(&s, -7, 3, 11, 600, 100, 100);
    po_mesh mesh = cut_weld(&s, arena);
    po_pieces_setup setup = setup_for(&alder);
    po_pieces pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 3); /* 600 / 245 > 2 */
    assert_int_equal(pieces.n_cuts, 2);
    for (size_t i = 0; i < 2; i++) {
        assert_near(pieces.cuts[i].area_mm2, 10000, 1e-6);
        assert_near(fabs(pieces.cuts[i].plane.n[0]), 1, 0);
        assert_near(pieces.cuts[i].least_mm, 100, 2.5);
    }
    /* what fits is left alone, also where it has to be turned first */
    free(s.nine);
    s = (soup){0};
    soup_box(&s, 0, 0, 0, 200, 240, 10);
    mesh = cut_weld(&s, arena);
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 1);
    assert_int_equal(pieces.n_cuts, 0);
    /* in all three directions too large: 2 x 2 x 2 */
    free(s.nine);
    s = (soup){0};
    soup_box(&s, 0, 0, 0, 400, 390, 380);
    mesh = cut_weld(&s, arena);
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 8);
    setup.most_pieces = 7;
    po_err err;
    assert_int_equal(po_part_pieces(&mesh, &setup, arena, &pieces, &err), PO_E_LIMIT);
    free(s.nine);
    po_arena_free(arena);
}

static void test_shapes(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_pieces_setup setup = setup_for(&alder);
    soup s = {0};
    double outline[12] = {0, 0, 350, 0, 350, 40, 40, 40, 40, 160, 0, 160};
    soup_prism(&s, outline, 6, 0, 30);
    po_mesh mesh = cut_weld(&s, arena);
    po_pieces pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 2);
    free(s.nine);
    s = (soup){0};
    soup_tube(&s, 20, 25, 0, 640, 48);
    mesh = cut_weld(&s, arena);
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 3);
    assert_near(pieces.volume_mm3, tube_volume(20, 25, 640, 48), 1e-5);
    for (size_t i = 0; i < pieces.n_cuts; i++) {
        assert_int_equal(pieces.cuts[i].loops, 2); /* rings, not strips */
    }
    /* a ring of 380 across: in quarters or less; never across its thin wall */
    free(s.nine);
    s = (soup){0};
    soup_tube(&s, 170, 190, 0, 15, 96);
    mesh = cut_weld(&s, arena);
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_true(pieces.n_pieces >= 3 && pieces.n_pieces <= 4);
    pieces = pieces_checked(&mesh,
                            &(po_pieces_setup){.machine = &elm,
                                               .pose = setup.pose,
                                               .pin_mm = NAN,
                                               .pin_slack_mm = NAN,
                                               .least_joint_mm = NAN,
                                               .threads = 1},
                            arena);
    assert_true(pieces.n_pieces <= 4);
    /* a U: one cut across both legs makes three pieces or one cut off the base fewer; all are sound */
    free(s.nine);
    s = (soup){0};
    double u[16] = {0, 0, 200, 0, 200, 340, 160, 340, 160, 40, 40, 40, 40, 340, 0, 340};
    soup_prism(&s, u, 8, 0, 20);
    mesh = cut_weld(&s, arena);
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_true(pieces.n_pieces >= 2 && pieces.n_pieces <= 3);
    /* turned by 30 degrees about two axes, the bar is cut along its own axes all the same */
    free(s.nine);
    s = (soup){0};
    soup_box(&s, 0, 0, 0, 600, 60, 40);
    for (size_t i = 0; i < 3 * s.n; i++) {
        double *p = s.nine + 3 * i, x = p[0], y = p[1], z = p[2], c = sqrt(0.75);
        p[0] = c * x - 0.5 * y;
        p[1] = 0.5 * x + c * y;
        y = p[1];
        p[1] = c * y - 0.5 * z;
        p[2] = 0.5 * y + c * z;
    }
    mesh = cut_weld(&s, arena);
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_true(pieces.n_pieces <= 3);
    for (size_t i = 0; i < pieces.n_cuts; i++) {
        assert_near(pieces.cuts[i].area_mm2, 2400, 1e-3);
    }
    free(s.nine);
    po_arena_free(arena);
}

static void test_thin(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_pieces_setup setup = setup_for(&alder);
    po_pieces pieces;
    po_err err = {0};
    soup s = {0};
    soup_tube(&s, 50, 51, 0, 500, 64); /* a wall of 1 mm is less than three beads */
    po_mesh mesh = cut_weld(&s, arena);
    po_status status = po_part_pieces(&mesh, &setup, arena, &pieces, &err);
    if (status != PO_E_NOTFOUND) {
        fail_msg("%d %s", status, status == PO_OK ? "" : err.msg);
    }
    assert_non_null(strstr(err.msg, "thick"));
    setup.least_joint_mm = 0.8;
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_true(pieces.n_pieces >= 2 && pieces.n_pieces <= 3);
    free(s.nine);
    /* thick at one place only: two blocks joined by a sheet, and a bridge in the middle of it */
    s = (soup){0};
    double outline[24] = {0,   0,    150, 0,    150, 19.5, 180, 19.5, 180, 10, 220, 10,
                          220, 19.5, 250, 19.5, 250, 0,    400, 0,    400, 40, 0,   40};
    double full[32] = {0,   0, 150, 0, 150, 19.5, 180, 19.5, 180, 10,   220, 10,   220, 19.5, 250, 19.5,
                       250, 0, 400, 0, 400, 40,   250, 40,   250, 20.5, 150, 20.5, 150, 40,   0,   40};
    (void)outline;
    size_t n = 16;
    for (size_t i = 0; i < n; i++) { /* walls */
        const double *p = full + 2 * i, *q = full + 2 * ((i + 1) % n);
        double a[3] = {p[0], p[1], 0}, b[3] = {q[0], q[1], 0}, c[3] = {q[0], q[1], 60}, d[3] = {p[0], p[1], 60};
        soup_add(&s, a, b, c);
        soup_add(&s, a, c, d);
    }
    static const int tops[14][3] = {{0, 1, 2},  {0, 2, 13}, {0, 13, 14}, {0, 14, 15}, {2, 3, 13},
                                    {3, 6, 13}, {3, 4, 5},  {3, 5, 6},   {6, 12, 13}, {6, 7, 12},
                                    {7, 8, 9},  {7, 9, 12}, {9, 11, 12}, {9, 10, 11}};
    for (int t = 0; t < 14; t++) {
        double low[3][3], high[3][3];
        for (int k = 0; k < 3; k++) {
            for (int j = 0; j < 2; j++) {
                low[k][j] = high[k][j] = full[2 * tops[t][k] + j];
            }
            low[k][2] = 0;
            high[k][2] = 60;
        }
        soup_add(&s, low[0], low[2], low[1]);
        soup_add(&s, high[0], high[1], high[2]);
    }
    mesh = cut_weld(&s, arena);
    setup.least_joint_mm = NAN;
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 2);
    double x = fabs(pieces.cuts[0].plane.d);
    assert_true(x < 150 || x > 250 || (x > 180 && x < 220)); /* not through the sheet */
    free(s.nine);
    po_arena_free(arena);
}

static void test_loose(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_pieces_setup setup = setup_for(&alder);
    soup s = {0};
    soup_box(&s, 0, 0, 0, 200, 100, 100); /* two solids far apart: no cut is needed */
    soup_box(&s, 500, 0, 0, 200, 100, 100);
    soup_box(&s, 520, 20, 20, 50, 50, 50); /* overlaps the second: stays with it */
    po_mesh mesh = cut_weld(&s, arena);
    po_pieces pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 2);
    assert_int_equal(pieces.n_cuts, 0);
    free(s.nine);
    /* hollow: the cavity stays with its solid */
    s = (soup){0};
    soup_box(&s, 0, 0, 0, 300, 100, 100);
    size_t first = s.n;
    soup_box(&s, 10, 10, 10, 280, 80, 80);
    soup_invert(&s, first);
    mesh = cut_weld(&s, arena);
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 2);
    assert_near(pieces.cuts[0].area_mm2, 10000 - 6400, 1e-6);
    assert_near(pieces.cuts[0].least_mm, 10, 0.5);
    free(s.nine);
    po_arena_free(arena);
}

static void test_pins(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_pieces_setup setup = setup_for(&alder);
    setup.pins = true;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 600, 100, 100);
    po_mesh mesh = cut_weld(&s, arena);
    po_pieces pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 3);
    assert_int_equal(pieces.n_pins, 4);
    double removed = 0;
    for (size_t i = 0; i < pieces.n_pins; i++) {
        const po_pin *pin = &pieces.pins[i];
        po_mesh_facts facts;
        po_err err;
        assert_near(pin->diameter_mm, 10, 0);
        assert_near(pin->hole_mm, 10.3, 1e-12);
        assert_true(pin->length_mm < 2 * pin->hole_depth_mm);
        assert_int_equal(po_mesh_measure(pin->mesh, 1, arena, &facts, &err), PO_OK);
        assert_true(facts.watertight);
        /* a polygon of 48 sides within a circle: n r^2 sin(2 pi / n) / 2 */
        assert_near(facts.volume_mm3, 24 * 25 * sin(6.28318530717958647692 / 48) * pin->length_mm, 1e-9);
        for (int k = 1; k < 3; k++) { /* a wall is left */
            assert_true(pin->at[k] > 10.3 / 2 + 1.5 - 1e-9 && pin->at[k] < 100 - 10.3 / 2 - 1.5 + 1e-9);
        }
        removed += 2 * 48 * tan(3.14159265358979323846 / 48) * 5.15 * 5.15 * pin->hole_depth_mm;
        assert_true(pin->pieces[0] != pin->pieces[1]);
    }
    double sum = 0;
    for (size_t i = 0; i < pieces.n_pieces; i++) {
        sum += pieces.pieces[i].volume_mm3;
    }
    assert_near(sum, 6e6 - removed, 1e-5);
    /* eight pieces: each joint ends up between several, and every pair that has room gets its pins */
    free(s.nine);
    s = (soup){0};
    soup_box(&s, 0, 0, 0, 400, 390, 380);
    mesh = cut_weld(&s, arena);
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pieces, 8);
    assert_int_equal(pieces.n_pins, 2 * 12); /* a 2 x 2 x 2 grid has twelve faces between two cells */
    /* a bar 16 mm thick: a third of it is 5 mm, which stands on 20 mm2; there is room for 6 mm, which stands on 28 */
    free(s.nine);
    s = (soup){0};
    soup_box(&s, 0, 0, 0, 600, 60, 16);
    mesh = cut_weld(&s, arena);
    setup.pin_mm = NAN;
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_true(pieces.n_pins > 0);
    for (size_t i = 0; i < pieces.n_pins; i++) {
        assert_near(pieces.pins[i].diameter_mm, 6, 0);
    }
    /* a tube's wall of 5 mm has no room for a pin of 3 mm with walls: said, not forced */
    free(s.nine);
    s = (soup){0};
    soup_tube(&s, 20, 25, 0, 400, 48);
    mesh = cut_weld(&s, arena);
    pieces = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(pieces.n_pins, 0);
    assert_non_null(strstr(pieces.says[pieces.n_says - 1], "no pin"));
    free(s.nine);
    po_arena_free(arena);
}

static bool stop_soon(uint64_t done, uint64_t total, void *user)
{
    (void)done;
    (void)total;
    return --*(int *)user > 0;
}

static void test_refused(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_pieces_setup setup = setup_for(&alder);
    po_pieces pieces;
    po_err err;
    soup s = {0};
    soup_box(&s, 0, 0, 0, 900, 400, 300);
    po_mesh mesh = cut_weld(&s, arena), open = mesh;
    for (int after = 1; after < 8; after += 3) {
        int left = after;
        setup.progress = stop_soon;
        setup.user = &left;
        assert_int_equal(po_part_pieces(&mesh, &setup, arena, &pieces, &err), PO_E_CANCELLED);
    }
    setup.progress = NULL;
    open.n_triangles--;
    assert_int_equal(po_part_pieces(&open, &setup, arena, &pieces, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "mend"));
    setup.clearance_mm = -1;
    assert_int_equal(po_part_pieces(&mesh, &setup, arena, &pieces, &err), PO_E_RANGE);
    free(s.nine);
    po_arena_free(arena);
}

/* The same input gives the same answer, to the bit. */
static void test_same(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_pieces_setup setup = setup_for(&alder);
    soup s = {0};
    soup_bumpy(&s, 170, 20, 5, 30);
    po_mesh mesh = cut_weld(&s, arena);
    po_pieces a = pieces_checked(&mesh, &setup, arena);
    setup.threads = 2;
    po_pieces b = pieces_checked(&mesh, &setup, arena);
    assert_int_equal(a.n_pieces, b.n_pieces);
    for (size_t i = 0; i < a.n_pieces; i++) {
        assert_int_equal(a.pieces[i].mesh->n_vertices, b.pieces[i].mesh->n_vertices);
        assert_memory_equal(a.pieces[i].mesh->xyz, b.pieces[i].mesh->xyz, a.pieces[i].mesh->n_vertices * 24);
        assert_memory_equal(a.pieces[i].matrix, b.pieces[i].matrix, sizeof a.pieces[i].matrix);
    }
    free(s.nine);
    po_arena_free(arena);
}

/* Sample meshes, made so large that they fit nowhere. */
static void test_samples(void **state)
{
    (void)state;
    static const char *const names[] = {"7_8ths_cube.stl", "busted.STL", "cylinder.stl", "plate_holes.STL"};
    const char *shared = getenv("PO_SHARED");
    size_t n = 0;
    for (size_t i = 0; shared && i < sizeof names / sizeof names[0]; i++) {
        po_arena *arena = po_arena_new(0);
        char path[512];
        snprintf(path, sizeof path, "%s/data/mesh/%s", shared, names[i]);
        po_source source = {.path = path};
        const po_part *part;
        po_err err;
        if (po_part_read(&source, NULL, arena, &part, &err) == PO_OK) {
            po_mesh_facts facts;
            assert_int_equal(po_mesh_measure(&part->objects[0].mesh, 1, arena, &facts, &err), PO_OK);
            double longest = 0;
            for (int k = 0; k < 3; k++) {
                longest = fmax(longest, facts.bounds_mm[1][k] - facts.bounds_mm[0][k]);
            }
            double f = 420 / longest, matrix[12] = {f, 0, 0, 0, f, 0, 0, 0, f, 0, 0, 0};
            const po_mesh *large;
            assert_int_equal(po_mesh_placed(&part->objects[0].mesh, matrix, arena, &large, &err), PO_OK);
            po_pieces_setup setup = setup_for(&alder);
            setup.pins = i % 2;
            po_pieces pieces = pieces_checked(large, &setup, arena);
            assert_true(pieces.n_pieces >= 2 && pieces.n_pieces <= 12);
            n++;
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
        cmocka_unit_test(test_boxes), cmocka_unit_test(test_shapes),  cmocka_unit_test(test_thin),
        cmocka_unit_test(test_loose), cmocka_unit_test(test_pins),    cmocka_unit_test(test_refused),
        cmocka_unit_test(test_same),  cmocka_unit_test(test_samples),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
