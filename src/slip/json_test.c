/* The JSON of a proof, read back with jansson: every field of the contract with its type. SPDX-License-Identifier: Apache-2.0
 *
 * The contract is the text of design.md ("Contracts"); the names stand here a second time on purpose. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <jansson.h>
#include <math.h>
#include <string.h>

#include "slip/fixture.h"

static json_t *load(const po_document *doc)
{
    json_error_t error;
    json_t *root = json_loadb(doc->data, doc->n_bytes, JSON_REJECT_DUPLICATES, &error);
    if (!root) {
        fail_msg("not JSON: %s at %d", error.text, error.position);
    }
    return root;
}

static json_t *write_one(const po_fixture *f, po_document *ret)
{
    po_err err;
    const po_proof *proofs[] = {f->proof};
    assert_int_equal(po_slip_json(proofs, 1, false, f->arena, ret, &err), PO_OK);
    assert_true(ret->n_bytes > 2 && ret->data[ret->n_bytes - 1] == '\n');
    assert_null(memchr(ret->data, '\n', ret->n_bytes - 1)); /* one line */
    return load(ret);
}

/* kind: n number, N number or null, s string, S string or null, b boolean, a array, o object, O object or null */
static void has(json_t *object, const char *keys)
{
    char name[64], kind;
    int n;
    for (const char *p = keys; sscanf(p, " %c:%63s%n", &kind, name, &n) == 2; p += n) {
        json_t *v = json_object_get(object, name);
        if (!v) {
            fail_msg("no \"%s\"", name);
        }
        bool good = (kind == 'n' && json_is_number(v)) || (kind == 'N' && (json_is_number(v) || json_is_null(v))) ||
                    (kind == 's' && json_is_string(v)) || (kind == 'S' && (json_is_string(v) || json_is_null(v))) ||
                    (kind == 'b' && json_is_boolean(v)) || (kind == 'a' && json_is_array(v)) ||
                    (kind == 'o' && json_is_object(v)) || (kind == 'O' && (json_is_object(v) || json_is_null(v)));
        if (!good) {
            fail_msg("\"%s\" has the wrong type", name);
        }
    }
}

static void check_contract(json_t *root)
{
    has(root, "s:format s:file s:sha256 n:bytes n:lines s:machine a:materials S:recipe s:verdict a:findings o:facts "
              "o:ranges");
    assert_string_equal(json_string_value(json_object_get(root, "format")), "proveout/job-proof/1");
    json_t *facts = json_object_get(root, "facts"), *v;
    size_t i;
    has(facts,
        "n:filament_mm n:filament_net_mm n:filament_g n:volume_mm3 a:tools n:seconds n:motion_seconds n:heat_seconds "
        "n:wait_seconds N:first_bead_seconds N:first_layer_seconds a:later_first_layers n:layers N:layer_height_mm "
        "N:first_layer_height_mm N:bead_width_mm b:continuous o:bounds_mm o:bounds_all_mm o:travel_bounds_mm "
        "o:nozzle_c o:bed_c o:fan_percent N:peak_flow_mm3_s N:sustained_flow_mm3_s n:retractions n:extruding_mm "
        "n:travel_mm n:moves N:foothold_mm2 N:footholds a:parts N:on_air_mm N:across_gap_mm N:over_fill_mm o:bridges "
        "N:overhang_mm N:fill_fraction N:walls a:by_height");
    has(json_object_get(facts, "bridges"), "N:count N:longest_mm");
    has(json_object_get(facts, "nozzle_c"), "N:first N:lowest N:highest");
    has(json_object_get(facts, "bed_c"), "N:first N:lowest N:highest");
    has(json_object_get(facts, "bounds_mm"), "a:min a:max");
    assert_int_equal(json_array_size(json_object_get(json_object_get(facts, "bounds_mm"), "min")), 3);
    json_array_foreach(json_object_get(facts, "tools"), i, v)
    {
        has(v, "n:tool n:filament_mm");
    }
    json_array_foreach(json_object_get(facts, "by_height"), i, v)
    {
        has(v, "n:z n:filament_mm n:g n:seconds");
    }
    json_array_foreach(json_object_get(root, "findings"), i, v)
    {
        has(v, "s:name s:grade s:says s:do n:count O:where O:worst");
        json_t *where = json_object_get(v, "where");
        if (json_is_object(where)) {
            has(where, "N:line N:z N:x N:y N:seconds");
        }
    }
    json_t *ranges = json_object_get(root, "ranges");
    has(ranges, "a:filament_mm a:seconds s:from");
    assert_int_equal(json_array_size(json_object_get(ranges, "seconds")), 2);
}

static void every_field(void **state)
{
    (void)state;
    for (int stops = 0; stops < 2; stops++) {
        po_fixture f;
        po_document doc, again;
        po_err err;
        po_fixture_init(&f, stops, false, stops);
        json_t *root = write_one(&f, &doc);
        check_contract(root);
        assert_string_equal(json_string_value(json_object_get(root, "verdict")), stops ? "stop" : "clear");
        assert_int_equal(json_array_size(json_object_get(root, "findings")), stops ? 6 : 0);
        json_t *facts = json_object_get(root, "facts");
        assert_true(fabs(json_number_value(json_object_get(facts, "filament_mm")) / 12345.678 - 1) < 1e-8);
        assert_true(json_is_null(json_object_get(json_object_get(facts, "bed_c"), "first"))); /* never commanded */
        if (stops) {
            json_t *first = json_array_get(json_object_get(root, "findings"), 0);
            assert_string_equal(json_string_value(json_object_get(first, "name")), "prints-on-air");
            assert_int_equal(json_integer_value(json_object_get(json_object_get(first, "where"), "line")), 40210);
            assert_true(json_number_value(json_object_get(json_object_get(first, "where"), "z")) == 33.25);
            assert_string_equal(json_string_value(json_object_get(root, "end")), "2026-11-26T21:05");
        } else {
            assert_true(json_is_null(json_object_get(root, "end")));
        }
        const po_proof *proofs[] = {f.proof};
        assert_int_equal(po_slip_json(proofs, 1, false, f.arena, &again, &err), PO_OK);
        assert_int_equal(doc.n_bytes, again.n_bytes);
        assert_memory_equal(doc.data, again.data, doc.n_bytes);
        json_decref(root);
        po_fixture_done(&f);
    }
}

static void several_machines(void **state)
{
    (void)state;
    po_fixture a, b;
    po_document doc;
    po_err err;
    po_fixture_init(&a, true, false, false);
    po_fixture_init(&b, false, true, false);
    const po_proof *proofs[] = {a.proof, b.proof};
    assert_int_equal(po_slip_json(proofs, 2, true, a.arena, &doc, &err), PO_OK);
    json_t *root = load(&doc), *machines = json_object_get(root, "machines"), *v;
    has(root, "s:format s:file s:sha256 n:bytes n:lines s:verdict a:machines");
    assert_string_equal(json_string_value(json_object_get(root, "verdict")), "clear"); /* the best of them */
    assert_int_equal(json_array_size(machines), 2);
    size_t i;
    json_array_foreach(machines, i, v)
    {
        check_contract(v);
    }
    assert_int_equal(po_slip_json(proofs, 0, true, a.arena, &doc, &err), PO_E_RANGE);
    json_decref(root);
    po_fixture_done(&a);
    po_fixture_done(&b);
}

/* Values that JSON has no form for, and facts of a deposit that was not measured. */
static void no_value_is_null(void **state)
{
    (void)state;
    po_fixture f;
    po_document doc;
    po_fixture_init(&f, false, false, false);
    f.report->facts.peak_flow_mm3_s = INFINITY;
    f.report->facts.layer_height_mm = NAN;
    f.report->facts.deposit_done = false;
    f.report->facts.travel_mm = -0.0;
    f.report->facts.extruding_mm = 1e300;
    json_t *root = write_one(&f, &doc), *facts = json_object_get(root, "facts");
    check_contract(root);
    static const char *const NULLS[] = {"peak_flow_mm3_s", "layer_height_mm", "foothold_mm2",  "footholds",
                                        "on_air_mm",       "overhang_mm",     "fill_fraction", "walls"};
    for (size_t i = 0; i < sizeof NULLS / sizeof *NULLS; i++) {
        assert_true(json_is_null(json_object_get(facts, NULLS[i])));
    }
    assert_non_null(strstr(doc.data, "\"travel_mm\": 0,")); /* no minus zero */
    assert_true(json_number_value(json_object_get(facts, "extruding_mm")) == 1e300);
    json_decref(root);
    po_fixture_done(&f);
}

static void foreign_text(void **state)
{
    (void)state;
    static const struct {
        const char *file, *wanted;
    } CASES[] = {
        {"a\"b\\c", "a\"b\\c"},
        {"tab\there\x1b[31m", "tab here\xEF\xBF\xBD[31m"},
        {"\xff\xfe.gcode", "\xEF\xBF\xBD\xEF\xBF\xBD.gcode"},
        {"\xC3\xA9t\xC3\xA9.gcode", "\xC3\xA9t\xC3\xA9.gcode"},
        {"\xE2\x80\xAE"
         "edocg",
         "\xEF\xBF\xBD"
         "edocg"}, /* a mark that turns the direction of writing */
        {"cut\xE2\x82", "cut\xEF\xBF\xBD\xEF\xBF\xBD"},
        {"\xED\xA0\x80", "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD"}, /* half a surrogate pair (RFC 3629 section 3) */
        {"\xC0\xAF", "\xEF\xBF\xBD\xEF\xBF\xBD"},                 /* a longer form than needed */
    };
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        po_fixture f;
        po_document doc;
        po_fixture_init(&f, false, false, false);
        f.proof->file = CASES[i].file;
        json_t *root = write_one(&f, &doc);
        assert_string_equal(json_string_value(json_object_get(root, "file")), CASES[i].wanted);
        json_decref(root);
        po_fixture_done(&f);
    }
}

/* An arena that is too small gives an error, whatever its size. */
static void little_memory(void **state)
{
    (void)state;
    po_fixture f;
    po_fixture_init(&f, true, false, true);
    int failed = 0, done = 0;
    for (size_t limit = 64; limit < 400000; limit = limit * 5 / 4) {
        po_arena *arena = po_arena_new(limit);
        po_document doc;
        po_err err;
        const po_proof *proofs[] = {f.proof};
        po_status status = po_slip_json(proofs, 1, false, arena, &doc, &err);
        if (status) {
            assert_int_equal(status, PO_E_NOMEM);
            assert_int_equal(err.code, PO_E_NOMEM);
            failed++;
        } else {
            json_decref(load(&doc));
            done++;
        }
        po_arena_free(arena);
    }
    assert_true(failed > 3 && done > 3);
    po_fixture_done(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_field),  cmocka_unit_test(several_machines), cmocka_unit_test(no_value_is_null),
        cmocka_unit_test(foreign_text), cmocka_unit_test(little_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
