/* Slips of parts as JSON and text: every field of the contract, nothing wider than asked for, foreign names made safe.
 * SPDX-License-Identifier: Apache-2.0
 *
 * The contract is the text of design.md ("Contracts"); the names stand here a second time on purpose. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/fixture.h"
#include "slip/say.h"

typedef struct bench {
    po_fixture base; /* its shop, machines and materials */
    po_recipe recipes[2];
    po_part part;
    po_part_object objects[2];
    po_solid solids[2];
    po_fit fits[2][2];
    po_estimate estimates[2];
    po_pose poses[2];
    po_part_report reports[2];
    po_finding findings[2];
    po_part_proof proofs[2];
} bench;

static void bench_init(bench *b)
{
    memset(b, 0, sizeof *b);
    po_fixture_init(&b->base, false, false, false);
    po_shop *shop = b->base.shop;
    b->recipes[0] = (po_recipe){.name = "quick"};
    b->recipes[1] = (po_recipe){.name = "careful"};
    shop->recipes = b->recipes;
    shop->n_recipes = 2;
    b->objects[0].id = b->objects[1].id = 3;
    b->part = (po_part){.bytes = 684, .objects = b->objects, .n_objects = 2};
    memset(b->part.sha256, 'a', 64);
    b->poses[0] = (po_pose){.turn = {1, 0, 0, 0, 1, 0, 0, 0, 1},
                            .size_mm = {40, 30, 20},
                            .foothold_mm2 = 1200,
                            .footholds = 1,
                            .support_mm3 = NAN,
                            .longest_bridge_mm = NAN,
                            .across_layers = NAN,
                            .stands = true,
                            .tip_deg = 45,
                            .layers = 90,
                            .why = "It lies flat."};
    b->poses[1] = b->poses[0];
    for (size_t i = 0; i < 2; i++) {
        for (size_t m = 0; m < 2; m++) {
            b->fits[i][m] = (po_fit){
                .machine = &b->base.machines[m], .as_is = true, .turned = true, .pose = 0, .largest_scale = 5.1};
        }
        b->solids[i] = (po_solid){.build_item = (uint32_t)i + 1,
                                  .object = (uint32_t)i,
                                  .times = 1,
                                  .closed = true,
                                  .cuts_done = true,
                                  .walls_done = true,
                                  .lies_done = true,
                                  .lies = b->poses[0],
                                  .poses = b->poses,
                                  .n_poses = 2,
                                  .fits = b->fits[i],
                                  .cut_depth_mm = NAN};
        b->solids[i].facts = (po_mesh_facts){.triangles = 12,
                                             .vertices = 8,
                                             .shells = 1,
                                             .watertight = true,
                                             .volume_mm3 = 24000,
                                             .area_mm2 = 5200,
                                             .euler = 2,
                                             .seams_closed_at_mm = NAN,
                                             .bounds_mm = {{0, 0, 0}, {40, 30, 20}}};
        b->solids[i].walls = (po_wall_facts){.bead_mm = 0.44, .thinnest_wall_mm = 20, .narrowest_gap_mm = NAN};
        b->estimates[i] = (po_estimate){.recipe = &b->recipes[i],
                                        .filament_mm = 5204.5,
                                        .filament_g = 15.9,
                                        .seconds = 2580,
                                        .layers = 133,
                                        .filament_range_mm = {4980, 5900},
                                        .seconds_range = {2000, 3500},
                                        .covers = "What the range covers."};
        b->reports[i] = (po_part_report){.part = &b->part,
                                         .shop = shop,
                                         .machine = &b->base.machines[i],
                                         .material = &b->base.materials[0],
                                         .solids = b->solids,
                                         .n_solids = 1,
                                         .n_items = 1,
                                         .estimates = b->estimates,
                                         .allowance_scale = NAN,
                                         .hollow_mm = NAN,
                                         .unit_factor = 1};
        b->reports[i].totals = (po_part_totals){.triangles = 12,
                                                .vertices = 8,
                                                .shells = 1,
                                                .watertight = true,
                                                .seams_closed_at_mm = NAN,
                                                .volume_mm3 = 24000,
                                                .area_mm2 = 5200,
                                                .centre_of_mass_mm = {20, 15, 10},
                                                .bounds_mm = {{0, 0, 0}, {40, 30, 20}},
                                                .euler = 2,
                                                .thinnest_wall_mm = 20,
                                                .foothold_mm2 = 1200,
                                                .stands = true};
        b->findings[i] = (po_finding){.name = i ? "slim-walls" : "open-edges",
                                      .grade = i ? PO_GRADE_NOTE : PO_GRADE_ASK,
                                      .default_grade = i ? PO_GRADE_NOTE : PO_GRADE_ASK,
                                      .says = "The surface is not closed: 4 edges have a triangle on one side only.",
                                      .todo = "Mend it.",
                                      .count = 4,
                                      .where = {.known = true, .x = 1.3, .y = 2, .z = -3, .seconds = NAN},
                                      .solid = 0};
        b->findings[i].worst = b->findings[i].where;
        b->proofs[i] = (po_part_proof){.report = &b->reports[i],
                                       .file = "parts/box.stl",
                                       .verdict = PO_ASK,
                                       .findings = b->findings,
                                       .n_findings = 2,
                                       .aloud = "Alder can print this part if the desk agrees."};
    }
}

static void bench_done(bench *b)
{
    po_fixture_done(&b->base);
}

static json_t *json_of(bench *b, bool several)
{
    const po_part_proof *proofs[] = {&b->proofs[0], &b->proofs[1]};
    po_document doc;
    po_err err;
    json_error_t error;
    assert_int_equal(po_part_slip_json(proofs, several ? 2 : 1, several, b->base.arena, &doc, &err), PO_OK);
    assert_true(doc.data[doc.n_bytes - 1] == '\n' && !memchr(doc.data, '\n', doc.n_bytes - 1));
    json_t *root = json_loadb(doc.data, doc.n_bytes, JSON_REJECT_DUPLICATES, &error);
    if (!root) {
        fail_msg("not JSON: %s at %d", error.text, error.position);
    }
    return root;
}

/* kind: n number, N number or null, s string, S string or null, b boolean, a array, o object, O object or null */
static void has(json_t *object, const char *keys)
{
    char name[64], kind;
    int n;
    for (const char *p = keys; sscanf(p, " %c:%63s%n", &kind, name, &n) == 2; p += n) {
        json_t *v = json_object_get(object, name);
        bool null = json_is_null(v);
        bool good = (kind == 'n' && json_is_number(v)) || (kind == 'N' && (json_is_number(v) || null)) ||
                    (kind == 's' && json_is_string(v)) || (kind == 'S' && (json_is_string(v) || null)) ||
                    (kind == 'b' && json_is_boolean(v)) || (kind == 'a' && json_is_array(v)) ||
                    (kind == 'o' && json_is_object(v)) || (kind == 'O' && (json_is_object(v) || null));
        if (!good) {
            fail_msg("\"%s\" is missing or has the wrong type", name);
        }
    }
}

static void check_contract(json_t *root)
{
    has(root, "s:format s:file s:sha256 n:bytes s:machine a:materials S:recipe s:verdict a:findings o:facts a:items");
    assert_string_equal(json_string_value(json_object_get(root, "format")), "proveout/part-proof/1");
    json_t *facts = json_object_get(root, "facts"), *v;
    has(facts, "n:triangles n:vertices n:shells n:open_edges n:crowded_edges n:flipped_triangles n:flat_triangles "
               "n:doubled_triangles N:seams_closed_at_mm n:self_cuts b:watertight n:volume_mm3 n:area_mm2 o:bounds_mm "
               "a:centre_of_mass_mm n:euler N:genus S:units N:thinnest_wall_mm N:thin_wall_mm2 N:slim_wall_mm2 "
               "N:overhang_mm2 N:support_mm3 N:foothold_mm2 b:stands a:fits a:estimates");
    size_t i;
    json_array_foreach(json_object_get(facts, "fits"), i, v)
    {
        has(v, "s:machine b:as_is b:turned N:pose");
    }
    assert_int_equal(i, 2);
    json_array_foreach(json_object_get(facts, "estimates"), i, v)
    {
        has(v, "s:recipe N:filament_mm N:filament_g N:seconds N:layers o:range");
        has(json_object_get(v, "range"), "a:filament_mm a:seconds s:covers");
    }
    assert_int_equal(i, 2);
    json_array_foreach(json_object_get(root, "findings"), i, v)
    {
        has(v, "s:name s:grade s:says s:do n:count O:where O:worst");
    }
    json_array_foreach(json_object_get(root, "items"), i, v)
    {
        has(v, "n:item S:name n:times n:triangles b:watertight n:volume_mm3 O:walls a:fits O:lies");
    }
}

static void the_contract(void **state)
{
    (void)state;
    bench b;
    bench_init(&b);
    json_t *root = json_of(&b, false);
    check_contract(root);
    json_t *finding = json_array_get(json_object_get(root, "findings"), 0), *where = json_object_get(finding, "where");
    assert_float_equal(json_number_value(json_object_get(where, "z")), -3, 0);
    assert_true(json_is_null(json_object_get(where, "line")) && json_is_null(json_object_get(where, "seconds")));
    json_decref(root);
    root = json_of(&b, true);
    has(root, "s:format s:file s:sha256 s:verdict a:machines");
    assert_int_equal(json_array_size(json_object_get(root, "machines")), 2);
    check_contract(json_array_get(json_object_get(root, "machines"), 1));
    json_decref(root);
    bench_done(&b);
}

/* What was not measured is null, and a part without models is written as well. */
static void unknown_is_null(void **state)
{
    (void)state;
    bench b;
    bench_init(&b);
    po_part_report *r = &b.reports[0];
    b.solids[0].walls_done = b.solids[0].lies_done = false;
    b.solids[0].poses = NULL;
    b.estimates[0].filament_mm = NAN;
    r->totals.foothold_mm2 = r->totals.overhang_mm2 = r->totals.support_mm3 = NAN;
    json_t *root = json_of(&b, false), *item = json_array_get(json_object_get(root, "items"), 0);
    assert_true(json_is_null(json_object_get(item, "walls")) && json_is_null(json_object_get(item, "lies")));
    assert_true(json_is_null(json_object_get(item, "poses")));
    assert_true(json_is_null(json_object_get(json_object_get(root, "facts"), "foothold_mm2")));
    json_decref(root);
    r->n_solids = 0;
    r->n_items = 0;
    for (int k = 0; k < 3; k++) {
        r->totals.bounds_mm[0][k] = r->totals.bounds_mm[1][k] = NAN;
    }
    root = json_of(&b, false);
    assert_int_equal(json_array_size(json_object_get(root, "items")), 0);
    json_decref(root);
    po_document doc;
    po_err err;
    assert_int_equal(po_part_slip_text(&b.proofs[0], NULL, b.base.arena, &doc, &err), PO_OK);
    assert_non_null(strstr(doc.data, "no model"));
    assert_null(strstr(doc.data, "nan"));
    bench_done(&b);
}

static void not_wider(const po_document *doc, size_t columns)
{
    size_t at = 0;
    for (size_t i = 0; i < doc->n_bytes; i++) {
        if (doc->data[i] == '\n') {
            at = 0;
        } else if (((unsigned char)doc->data[i] & 0xC0) != 0x80 && ++at > columns) {
            fail_msg("wider than %zu: %.200s", columns, doc->data + i - at);
        }
    }
}

static void text(void **state)
{
    (void)state;
    bench b;
    bench_init(&b);
    po_document doc;
    po_err err;
    assert_int_equal(po_part_slip_text(&b.proofs[0], NULL, b.base.arena, &doc, &err), PO_OK);
    not_wider(&doc, 80);
    static const char *const pieces[] = {
        "Alder: ask",     "box.stl",      "40 x 30 x 20 mm",
        "Say: Alder can", "open-edges",   "x 1.3 y 2 z -3",
        "5.20 m",         "4.98-5.90 m",  "0:43",
        "0:33-0:58",      "133",          "What the range covers.",
        "24 cm3",         "12 triangles", "tips at 45",
        "as it lies",     "SHA-256",      "Quayside Workshop",
        "0.44 mm",
    };
    for (size_t i = 0; i < sizeof pieces / sizeof *pieces; i++) {
        if (!strstr(doc.data, pieces[i])) {
            fail_msg("\"%s\" is not in:\n%s", pieces[i], doc.data);
        }
    }
    bench_done(&b);
}

static void any_width_and_any_name(void **state)
{
    (void)state;
    static char longest[400];
    memset(longest, 'w', sizeof longest - 1);
    for (int columns = 40; columns <= 132; columns += 23) {
        bench b;
        bench_init(&b);
        po_document doc;
        po_err err;
        po_slip_options options = PO_SLIP_OPTIONS_INIT;
        options.columns = columns;
        b.reports[0].n_solids = 2;
        b.reports[0].n_items = 2;
        b.solids[0].name = longest;
        b.solids[1].name = "steer \033[2J\a\xC2\x9B"
                           "31m the terminal";
        b.findings[0].says = longest;
        b.findings[0].item = b.solids[1].name;
        b.proofs[0].file = longest;
        b.recipes[0].name = "a recipe with a long name that is wider than the page";
        b.base.machines[0].name = "a machine with a name that is longer than its place";
        assert_int_equal(po_part_slip_text(&b.proofs[0], &options, b.base.arena, &doc, &err), PO_OK);
        not_wider(&doc, (size_t)columns);
        assert_null(strchr(doc.data, '\033'));
        const po_part_proof *proofs[] = {&b.proofs[0], &b.proofs[1]};
        assert_int_equal(po_part_slip_table(proofs, 2, &options, b.base.arena, &doc, &err), PO_OK);
        not_wider(&doc, columns < 60 ? 60 : (size_t)columns);
        json_t *root = json_of(&b, false);
        check_contract(root);
        json_decref(root);
        options.colour = true;
        assert_int_equal(po_part_slip_text(&b.proofs[0], &options, b.base.arena, &doc, &err), PO_OK);
        assert_non_null(strstr(doc.data, "\033[1;33m"));
        assert_null(strstr(doc.data, "\033[2J"));
        bench_done(&b);
    }
}

static void table(void **state)
{
    (void)state;
    bench b;
    bench_init(&b);
    po_document doc;
    po_err err;
    b.proofs[1].verdict = PO_CLEAR;
    b.proofs[1].aloud = "Elm can print this part.";
    b.fits[0][1].as_is = false;
    const po_part_proof *proofs[] = {&b.proofs[0], &b.proofs[1]};
    assert_int_equal(po_part_slip_table(proofs, 2, NULL, b.base.arena, &doc, &err), PO_OK);
    assert_non_null(strstr(doc.data, "Alder    ask  yes      5.20 m    0:43  open-edges\n"));
    assert_non_null(strstr(doc.data, "Elm      yes  turned   5.20 m    0:43"));
    assert_non_null(strstr(doc.data, "\nElm can print this part.\n")); /* the best machine's sentence */
    bench_done(&b);
}

static void little_memory(void **state)
{
    (void)state;
    bench b;
    bench_init(&b);
    const po_part_proof *proofs[] = {&b.proofs[0]};
    bool done = false;
    for (size_t limit = 1; !done; limit += limit / 2 + 1) {
        po_arena *small = po_arena_new(limit);
        po_document doc;
        po_err err;
        po_status one = po_part_slip_json(proofs, 1, false, small, &doc, &err);
        po_status two = po_part_slip_text(&b.proofs[0], NULL, small, &doc, &err);
        assert_true((one == PO_OK || one == PO_E_NOMEM) && (two == PO_OK || two == PO_E_NOMEM));
        done = one == PO_OK && two == PO_OK;
        po_arena_free(small);
    }
    bench_done(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_contract),           cmocka_unit_test(unknown_is_null), cmocka_unit_test(text),
        cmocka_unit_test(any_width_and_any_name), cmocka_unit_test(table),           cmocka_unit_test(little_memory),
    };
    return cmocka_run_group_tests_name("slips of parts", tests, NULL, NULL);
}
