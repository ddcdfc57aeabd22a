/* 3MF: the specifications' rules one by one, hostile input, and the published files. SPDX-License-Identifier: Apache-2.0
 * Sources: 3MF core specification 1.4.0, materials extension, production extension; the section stands in each case. The
 * published files: ../shared/data/3mf with the verdicts of its manifest.tsv. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>

#include "part/threemf.h"
#include "part/threemf_kit.h"

#define V(x, y, z) "<vertex x=\"" #x "\" y=\"" #y "\" z=\"" #z "\"/>"
#define T(a, b, c) "<triangle v1=\"" #a "\" v2=\"" #b "\" v3=\"" #c "\"/>"
#define TX(a, b, c, more) "<triangle v1=\"" #a "\" v2=\"" #b "\" v3=\"" #c "\" " more "/>"
#define VERTICES "<vertices>" V(0, 0, 0) V(10, 0, 0) V(0, 10, 0) V(0, 0, 10) "</vertices>"
#define TRIANGLES T(0, 2, 1) T(0, 1, 3) T(1, 2, 3) T(0, 3, 2)
#define MESH "<mesh>" VERTICES "<triangles>" TRIANGLES "</triangles></mesh>" /* handbook 6.1: 166.6667 mm3 */
#define OBJECT(id) "<object id=\"" #id "\">" MESH "</object>"
#define ITEM(id) "<item objectid=\"" #id "\"/>"
#define SPACES "xmlns=\"" KIT_CORE "\" xmlns:m=\"" KIT_MATERIAL "\" xmlns:p=\"" KIT_PRODUCTION "\" "
#define MODEL(attrs, resources, build)                                                                                 \
    "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model " SPACES attrs "><resources>" resources                        \
    "</resources><build>" build "</build></model>"
#define COMPONENTS(id, inner) "<object id=\"" #id "\"><components>" inner "</components></object>"
#define COMPONENT(id) "<component objectid=\"" #id "\"/>"
#define UUID(n) "0000000" #n "-1111-2222-3333-444444444444"

typedef struct read_result {
    po_arena *arena;
    po_part part;
    po_err err;
    po_status status;
} read_result;

/* Read from a block of exactly the size. */
static read_result read_exact(const unsigned char *data, size_t n, const po_part_limits *limits)
{
    read_result r = {.arena = po_arena_new(0)};
    unsigned char *exact = malloc(n ? n : 1);
    assert_non_null(exact);
    if (n) {
        memcpy(exact, data, n);
    }
    r.status = po_threemf_read(exact, n, limits, r.arena, &r.part, &r.err);
    free(exact);
    if (r.status != PO_OK) {
        assert_int_equal(r.err.code, r.status);
        assert_true(r.err.msg[0]);
    } else {
        for (size_t i = 0; i < r.part.n_items; i++) {
            assert_true(r.part.items[i].object < r.part.n_objects);
        }
        for (size_t i = 0; i < r.part.n_objects; i++) {
            const po_mesh *m = &r.part.objects[i].mesh;
            for (size_t c = 0; c < 3 * m->n_triangles; c++) {
                assert_true(m->corners[c] < m->n_vertices);
            }
        }
    }
    return r;
}

static read_result read_model_n(const char *model, size_t n, const po_part_limits *limits)
{
    kit_zip z = {0};
    kit_package(&z, model, n, NULL, NULL, NULL, n > 100000 ? KIT_DEFLATED : KIT_STORED);
    read_result r = read_exact(z.data, z.n, limits);
    kit_done(&z);
    return r;
}

static read_result read_model(const char *model)
{
    return read_model_n(model, strlen(model), NULL);
}

/* Volume of an item as placed: signed tetrahedra from the origin (handbook 6.1). */
static double volume_of(const po_part *part, size_t item)
{
    const po_part_item *it = &part->items[item];
    const po_mesh *m = &part->objects[it->object].mesh;
    double sum = 0;
    for (size_t t = 0; t < m->n_triangles; t++) {
        double p[3][3];
        for (int c = 0; c < 3; c++) {
            const double *v = m->xyz + 3 * m->corners[3 * t + (size_t)c];
            for (int k = 0; k < 3; k++) {
                p[c][k] = v[0] * it->matrix[k] + v[1] * it->matrix[3 + k] + v[2] * it->matrix[6 + k] +
                          it->matrix[9 + k];
            }
        }
        sum += p[0][0] * (p[1][1] * p[2][2] - p[1][2] * p[2][1]) - p[0][1] * (p[1][0] * p[2][2] - p[1][2] * p[2][0]) +
               p[0][2] * (p[1][0] * p[2][1] - p[1][1] * p[2][0]);
    }
    return (it->mirrored ? -sum : sum) / 6;
}

static void tetrahedron(void **state)
{
    (void)state;
    read_result r = read_model(MODEL("", OBJECT(1), ITEM(1)));
    assert_int_equal(r.status, PO_OK);
    assert_int_equal(r.part.n_objects, 1);
    assert_int_equal(r.part.n_items, 1);
    assert_int_equal(r.part.objects[0].mesh.n_vertices, 4);
    assert_int_equal(r.part.objects[0].mesh.n_triangles, 4);
    assert_int_equal(r.part.objects[0].id, 1);
    assert_null(r.part.objects[0].name);
    assert_int_equal(r.part.n_notes, 0);
    assert_true(fabs(volume_of(&r.part, 0) - 1000.0 / 6) < 1e-12);
    po_arena_free(r.arena);
}

/* Units (3.4) by their lengths in mm: SI, and the international inch and foot (25.4 and 304.8 mm, exact since 1959). */
static void units(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        double mm;
    } all[] = {{"micron", 0.001}, {"millimeter", 1}, {"centimeter", 10},
               {"inch", 25.4},    {"foot", 304.8},   {"meter", 1000}};
    for (size_t i = 0; i < 6; i++) {
        char model[4000];
        snprintf(model, sizeof model,
                 MODEL("unit=\"%s\"", OBJECT(1), "<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 2 3 4\"/>"),
                 all[i].name);
        read_result r = read_model(model);
        assert_int_equal(r.status, PO_OK);
        assert_string_equal(r.part.unit, all[i].name);
        assert_true(r.part.unit_mm == all[i].mm);
        assert_true(r.part.objects[0].mesh.xyz[3] == 10 * all[i].mm);
        assert_true(r.part.items[0].matrix[0] == 1 && r.part.items[0].matrix[11] == 4 * all[i].mm);
        po_arena_free(r.arena);
    }
}

/* Row vectors (3.3): a component's matrix first, then its item's; a mirrored item keeps the sign of its volume. */
static void transforms(void **state)
{
    (void)state;
    read_result r = read_model(
        MODEL("",
              OBJECT(1) "<object id=\"2\"><components><component objectid=\"1\" transform=\"2 0 0 0 2 0 0 0 2 1 0 0\"/>"
                        "<component objectid=\"1\" transform=\"-1 0 0 0 1 0 0 0 1 0 0 0\"/></components></object>",
              "<item objectid=\"2\" transform=\"0 1 0 -1 0 0 0 0 1 100 0 0\"/>" ITEM(1)));
    assert_int_equal(r.status, PO_OK);
    assert_int_equal(r.part.n_objects, 1);
    assert_int_equal(r.part.n_items, 3);
    /* (x y z) -> (2x+1 2y 2z) -> turned a quarter left: (-(2y) + 100, 2x+1, 2z) */
    const double *m = r.part.items[0].matrix;
    double x = 1 * m[0] + 2 * m[3] + 3 * m[6] + m[9], y = 1 * m[1] + 2 * m[4] + 3 * m[7] + m[10],
           z = 1 * m[2] + 2 * m[5] + 3 * m[8] + m[11];
    assert_true(x == 96 && y == 3 && z == 6);
    assert_false(r.part.items[0].mirrored);
    assert_true(r.part.items[1].mirrored);
    assert_false(r.part.items[2].mirrored);
    assert_int_equal(r.part.items[1].build_item, 1);
    assert_int_equal(r.part.items[2].build_item, 2);
    assert_true(fabs(volume_of(&r.part, 0) - 8000.0 / 6) < 1e-9);
    assert_true(fabs(volume_of(&r.part, 1) - 1000.0 / 6) < 1e-9);
    assert_true(fabs(volume_of(&r.part, 2) - 1000.0 / 6) < 1e-9);
    po_arena_free(r.arena);
}

typedef struct verdict {
    const char *model;
    po_status want;
    const char *says; /* part of the message, or of a note; NULL = anything, no note */
} verdict;

static void check_all(const verdict *list, size_t n)
{
    size_t bad = 0;
    for (size_t i = 0; i < n; i++) {
        read_result r = read_model(list[i].model);
        bool said = !list[i].says || r.status != PO_OK;
        for (size_t k = 0; r.status == PO_OK && list[i].says && k < r.part.n_notes; k++) {
            said = said || strstr(r.part.notes[k], list[i].says);
        }
        if (r.status != PO_OK && list[i].says) {
            said = strstr(r.err.msg, list[i].says) != NULL;
        }
        if (r.status == PO_OK && !list[i].says && r.part.n_notes > 0) {
            said = false;
        }
        if (r.status != list[i].want || !said) {
            print_error("case %zu: %d instead of %d, \"%s\"\n%s\n", i, r.status, list[i].want,
                        r.status != PO_OK ? r.err.msg
                        : r.part.n_notes  ? r.part.notes[0]
                                          : "",
                        list[i].model);
            bad++;
        }
        po_arena_free(r.arena);
    }
    assert_int_equal(bad, 0);
}
#define CHECK(list) check_all(list, sizeof(list) / sizeof *(list))
#define ONE(attrs) MODEL(attrs, OBJECT(1), ITEM(1))
#define IN_MODEL(extra) "<model " SPACES ">" extra "</model>"
#define RES "<resources>" OBJECT(1) "</resources>"
#define BUILD "<build>" ITEM(1) "</build>"

static void core_rules(void **state)
{
    (void)state;
    static const verdict list[] = {
        /* 2.3.2, 2.3.3, 2.3.4 */
        {"<!DOCTYPE model [<!ENTITY a \"b\">]>" IN_MODEL(RES BUILD), PO_E_SYNTAX, "document type"},
        {"<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?><model " SPACES ">" RES BUILD "</model>", PO_E_UNSUPPORTED,
         "UTF-8"},
        {"\xef\xbb\xbf<?xml version=\"1.0\" encoding=\"utf-8\"?><model " SPACES ">" RES BUILD "</model>", PO_OK, NULL},
        {IN_MODEL(RES BUILD), PO_OK, NULL},
        {ONE("xml:lang=\"en\""), PO_OK, NULL},
        {ONE("xml:space=\"preserve\""), PO_E_SYNTAX, "xml:space"},
        {ONE("xmlns:xsi=\"http://www.w3.org/2001/XMLSchema-instance\" xsi:schemaLocation=\"a b\""), PO_E_SYNTAX, "xsi"},
        {ONE("xmlns:v=\"urn:v\" v:new=\"ignored\""), PO_OK, NULL},
        {MODEL("xmlns:v=\"urn:v\"", "<v:thing id=\"1\"><object/></v:thing>" OBJECT(1), ITEM(1)), PO_OK, NULL},
        {MODEL("", OBJECT(1), "<item objectid=\"1\" printed=\"0\"/>"), PO_OK, "printed"},
        {MODEL("", OBJECT(1) "<thing/>", ITEM(1)), PO_E_SYNTAX, "may not stand here"},
        {MODEL("", OBJECT(1) "<q:thing/>", ITEM(1)), PO_OK, "declared nowhere"},
        {"<model><resources/><build/></model>", PO_E_SYNTAX, "core namespace"},
        {"<c:model xmlns:c=\"" KIT_CORE
         "\"><c:resources><c:object id=\"1\"><c:mesh><c:vertices><c:vertex x=\"0\" y=\"0\" "
         "z=\"0\"/><c:vertex x=\"1\" y=\"0\" z=\"0\"/><c:vertex x=\"0\" y=\"1\" z=\"0\"/><c:vertex x=\"0\" y=\"0\" "
         "z=\"1\"/></c:vertices><c:triangles><c:triangle v1=\"0\" v2=\"2\" v3=\"1\"/><c:triangle v1=\"0\" v2=\"1\" "
         "v3=\"3\"/>"
         "<c:triangle v1=\"1\" v2=\"2\" v3=\"3\"/><c:triangle v1=\"0\" v2=\"3\" "
         "v3=\"2\"/></c:triangles></c:mesh></c:object>"
         "</c:resources><c:build><c:item objectid=\"1\"/></c:build></c:model>",
         PO_OK, NULL},
        /* 3.4 */
        {"<model " SPACES ">" BUILD "</model>", PO_E_SYNTAX, "resources"},
        {"<model " SPACES ">" RES "</model>", PO_E_SYNTAX, "build"},
        {"<model " SPACES ">" RES RES BUILD "</model>", PO_E_SYNTAX, "twice"},
        {"<model " SPACES ">" RES BUILD BUILD "</model>", PO_E_SYNTAX, "twice"},
        {"<model " SPACES ">" RES BUILD "</model><model " SPACES ">" RES BUILD "</model>", PO_E_SYNTAX, "well-formed"},
        {ONE("unit=\"yard\""), PO_E_SYNTAX, "yard"},
        {ONE("requiredextensions=\"m p\""), PO_E_SYNTAX, "UUID"},
        {ONE("requiredextensions=\" m \""), PO_OK, NULL},
        {ONE("requiredextensions=\"q\""), PO_E_UNSUPPORTED, "\"q\""},
        {ONE("xmlns:b=\"http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02\" requiredextensions=\"b\""),
         PO_E_UNSUPPORTED, "beam lattice"},
        {ONE("xmlns:b=\"urn:b\" requiredextensions=\"b\""), PO_E_UNSUPPORTED, "urn:b"},
        {ONE("xmlns:b=\"urn:b\" recommendedextensions=\"b\""), PO_OK, "urn:b"},
        {ONE("requiredextensions=\"m\" recommendedextensions=\"m\""), PO_E_SYNTAX, "both"},
        {ONE("recommendedextensions=\"m\""), PO_OK, NULL},
        {MODEL("", OBJECT(1), ""), PO_E_EMPTY, "nothing"},
        /* 3.4.1 */
        {IN_MODEL("<metadata name=\"Title\">T <b/> </metadata>" RES BUILD), PO_OK, NULL},
        {IN_MODEL("<metadata name=\"Title\" preserve=\"1\" type=\"xs:string\"/>" RES BUILD), PO_OK, NULL},
        {IN_MODEL("<metadata name=\"Title\" preserve=\"maybe\"/>" RES BUILD), PO_E_SYNTAX, "boolean"},
        {IN_MODEL("<metadata/>" RES BUILD), PO_E_SYNTAX, "name"},
        {IN_MODEL("<metadata name=\"v:x\"/>" RES BUILD), PO_E_SYNTAX, "declared nowhere"},
        {IN_MODEL("<metadata name=\"m:x\"/>" RES BUILD), PO_OK, NULL},
        {IN_MODEL("<metadata name=\"Title\"/><metadata name=\"Title\"/>" RES BUILD), PO_OK, "twice"},
        {MODEL("", "<object id=\"1\"><metadatagroup><metadata name=\"m:x\"/></metadatagroup>" MESH "</object>",
               "<item objectid=\"1\"><metadatagroup><metadata name=\"m:x\"/></metadatagroup></item>"),
         PO_OK, NULL},
        /* 3.4.2, 4: ids, types */
        {MODEL("", OBJECT(1) OBJECT(1), ITEM(1)), PO_E_SYNTAX, "two resources"},
        {MODEL("", OBJECT(0), ITEM(0)), PO_E_SYNTAX, "id"},
        {MODEL("", OBJECT(2147483647), ITEM(2147483647)), PO_OK, NULL},
        {MODEL("", OBJECT(2147483648), ITEM(1)), PO_E_SYNTAX, "id"},
        {MODEL("", "<object id=\"1\" type=\"support\">" MESH "</object>", ITEM(1)), PO_OK, NULL},
        {MODEL("", "<object id=\"1\" type=\"thing\">" MESH "</object>", ITEM(1)), PO_E_SYNTAX, "thing"},
        {MODEL("", "<object id=\"1\" type=\"other\">" MESH "</object>", ITEM(1)), PO_E_SYNTAX, "other"},
        {MODEL("", "<object id=\"1\" type=\"other\">" MESH "</object>" OBJECT(2), ITEM(2)), PO_OK, "not in the build"},
        {MODEL("", "<object id=\"1\" type=\"other\">" MESH "</object>" COMPONENTS(2, COMPONENT(1)), ITEM(2)),
         PO_E_SYNTAX, "other"},
        {MODEL("", OBJECT(1) "<object id=\"2\" type=\"other\"><components>" COMPONENT(1) "</components></object>",
               ITEM(2)),
         PO_OK, NULL},
        {MODEL("", "<object id=\"1\"/>", ITEM(1)), PO_E_SYNTAX, "neither"},
        {MODEL("", "<object id=\"1\">" MESH MESH "</object>", ITEM(1)), PO_E_SYNTAX, "more than one"},
        {MODEL("", "<object id=\"1\">" MESH "<components>" COMPONENT(1) "</components></object>", ITEM(1)), PO_E_SYNTAX,
         "more than one"},
        /* 3.4.3, 4.2: define before use; no cycles */
        {MODEL("", OBJECT(1), ITEM(2)), PO_E_SYNTAX, "no object"},
        {MODEL("", OBJECT(1), "<item/>"), PO_E_SYNTAX, "objectid"},
        {MODEL("", COMPONENTS(1, COMPONENT(1)), ITEM(1)), PO_E_SYNTAX, "before it"},
        {MODEL("", COMPONENTS(1, COMPONENT(2)) COMPONENTS(2, COMPONENT(1)), ITEM(1)), PO_E_SYNTAX, "before it"},
        {MODEL("", COMPONENTS(2, COMPONENT(1)) OBJECT(1), ITEM(2)), PO_E_SYNTAX, "before it"},
        {MODEL("", OBJECT(1) COMPONENTS(2, ""), ITEM(2)), PO_E_SYNTAX, "none"},
        {MODEL("", "<basematerials id=\"1\"><base name=\"a\" displaycolor=\"#000000\"/></basematerials>" OBJECT(2),
               ITEM(1)),
         PO_E_SYNTAX, "no object"},
        /* 3.3 */
        {MODEL("", OBJECT(1), "<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 0 0 0 0\"/>"), PO_E_RANGE, "flattens"},
        {MODEL("", OBJECT(1), "<item objectid=\"1\" transform=\"1 2 3 4 5 6 7 8 9 0 0 0\"/>"), PO_E_RANGE, "flattens"},
        {MODEL("", OBJECT(1), "<item objectid=\"1\" transform=\"1e-6 0 0 0 1e-6 0 0 0 1e-6 0 0 0\"/>"), PO_OK, NULL},
        {MODEL("", OBJECT(1), "<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 0 0\"/>"), PO_E_SYNTAX, "twelve"},
        {MODEL("", OBJECT(1), "<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 0 0 0 0\"/>"), PO_E_SYNTAX, "twelve"},
        {MODEL("", OBJECT(1), "<item objectid=\"1\" transform=\" 1\n0 0 0 +1.0 0 0 0 10e-1\t0 0 0  \"/>"), PO_OK, NULL},
        {MODEL("", OBJECT(1), "<item objectid=\"1\" transform=\"1 0 0 0 NaN 0 0 0 1 0 0 0\"/>"), PO_E_SYNTAX, "twelve"},
        {MODEL("", OBJECT(1), "<item objectid=\"1\" transform=\"1e300 0 0 0 1e300 0 0 0 1 0 0 0\"/>"), PO_E_RANGE,
         NULL},
        /* 4, 5: properties */
        {MODEL("", "<object id=\"1\" pindex=\"0\">" MESH "</object>", ITEM(1)), PO_E_SYNTAX, "no pid"},
        {MODEL("", "<object id=\"1\" pid=\"7\" pindex=\"0\">" MESH "</object>", ITEM(1)), PO_E_SYNTAX, "no group"},
        {MODEL("", "<basematerials id=\"7\"><base name=\"a\"/></basematerials>" OBJECT(1), ITEM(1)), PO_E_SYNTAX,
         "displaycolor"},
        {MODEL("", "<basematerials id=\"7\"><base name=\"a\" displaycolor=\"red\"/></basematerials>" OBJECT(1),
               ITEM(1)),
         PO_E_SYNTAX, "colour"},
        {MODEL("", "<basematerials id=\"7\"><base displaycolor=\"#000000\"/></basematerials>" OBJECT(1), ITEM(1)),
         PO_E_SYNTAX, "name"},
    };
    CHECK(list);
}

#define BODY(vertices, triangles)                                                                                      \
    MODEL("",                                                                                                          \
          "<object id=\"1\"><mesh><vertices>" vertices "</vertices><triangles>" triangles                              \
          "</triangles></mesh></object>",                                                                              \
          ITEM(1))
#define FOUR V(0, 0, 0) V(10, 0, 0) V(0, 10, 0) V(0, 0, 10)
#define X(x) "<vertex x=\"" x "\" y=\"0\" z=\"10\"/>"
#define V3 V(0, 0, 0) V(10, 0, 0) V(0, 10, 0)

static void mesh_rules(void **state)
{
    (void)state;
    static const verdict list[] = {
        {BODY(FOUR, TRIANGLES), PO_OK, NULL},
        {BODY(FOUR, T(0, 2, 1) T(0, 1, 3) T(1, 2, 3)), PO_E_SYNTAX, "at least 4"}, /* 4.1.4 */
        {BODY(FOUR, ""), PO_E_SYNTAX, "0 triangles"},
        {BODY("", TRIANGLES), PO_E_RANGE, "beyond"},
        {BODY(FOUR, TRIANGLES T(0, 1, 4)), PO_E_RANGE, "triangle 5"},
        {BODY(FOUR, TRIANGLES T(0, 1, 2147483647)), PO_E_RANGE, "beyond"},
        {BODY(FOUR, TRIANGLES T(0, 1, 2147483648)), PO_E_SYNTAX, "v3"},
        {BODY(FOUR, TRIANGLES T(0, 1, 4294967296)), PO_E_SYNTAX, "v3"},
        {BODY(FOUR, TRIANGLES T(0, 1, 18446744073709551616)), PO_E_SYNTAX, "v3"},
        {BODY(FOUR, TRIANGLES T(0, 1, -1)), PO_E_SYNTAX, "v3"},
        {BODY(FOUR, TRIANGLES T(0, 1, 1)), PO_E_SYNTAX, "twice"}, /* 4.1.4.1 */
        {BODY(FOUR, TRIANGLES T(1, 0, 1)), PO_E_SYNTAX, "twice"},
        {BODY(FOUR, TRIANGLES "<triangle v1=\"0\" v2=\"1\"/>"), PO_E_SYNTAX, "v3"},
        {BODY(FOUR, TRIANGLES "<triangle v1=\"0\" v2=\"1\" v2=\"1\" v3=\"2\"/>"), PO_E_SYNTAX, "duplicate"},
        /* B.1.1 ST_Number */
        {BODY(V3 X("1"), TRIANGLES), PO_OK, NULL},
        {BODY(V3 X(" +1.50e+1 "), TRIANGLES), PO_OK, NULL},
        {BODY(V3 X(".5"), TRIANGLES), PO_OK, NULL},
        {BODY(V3 X("5."), TRIANGLES), PO_E_SYNTAX, "number"},
        {BODY(V3 X("NaN"), TRIANGLES), PO_E_SYNTAX, "number"},
        {BODY(V3 X("INF"), TRIANGLES), PO_E_SYNTAX, "number"},
        {BODY(V3 X("0x10"), TRIANGLES), PO_E_SYNTAX, "number"},
        {BODY(V3 X("1,5"), TRIANGLES), PO_E_SYNTAX, "number"},
        {BODY(V3 X("1e"), TRIANGLES), PO_E_SYNTAX, "number"},
        {BODY(V3 X(""), TRIANGLES), PO_E_SYNTAX, "number"},
        {BODY(V3 X("1 2"), TRIANGLES), PO_E_SYNTAX, "number"},
        {BODY(V3 X("1e400"), TRIANGLES), PO_E_SYNTAX, "number"}, /* beyond xs:double */
        {BODY(V3 X("1e38"), TRIANGLES), PO_OK, NULL},
        {BODY(V3 "<vertex x=\"1\" y=\"2\"/>", TRIANGLES), PO_E_SYNTAX, "\"z\""},
        /* order (B.1.1) */
        {MODEL("", "<object id=\"1\"><mesh><triangles>" TRIANGLES "</triangles>" VERTICES "</mesh></object>", ITEM(1)),
         PO_E_SYNTAX, "order"},
        {MODEL("", "<object id=\"1\"><mesh>" VERTICES VERTICES "<triangles>" TRIANGLES "</triangles></mesh></object>",
               ITEM(1)),
         PO_E_SYNTAX, "twice"},
        /* all that XML allows between and in the two hot elements */
        {BODY(V(0, 0, 0) "<!-- <vertex x='9' y='9' z='9'/> </vertices> -->" V(10, 0, 0) "<?go on?>" V(0, 10, 0)
                  V(0, 0, 10),
              T(0, 2, 1) "<!-- > -->" T(0, 1, 3) T(1, 2, 3) T(0, 3, 2)),
         PO_OK, NULL},
        {BODY("<vertex y='0'\n\tz=\"0\" x='0' ></vertex >" V(10, 0, 0) "<vertex x = '0' y='1&#48;' z='0'> </vertex>" V(
                  0, 0, 10),
              TRIANGLES),
         PO_OK, NULL},
        {BODY(FOUR "<![CDATA[" V(0, 0, 0) "]]>", TRIANGLES), PO_OK, NULL},
        {BODY(FOUR "<vertex x=\"1\" y=\"2\" z=\"3\"><a/></vertex>", TRIANGLES), PO_E_SYNTAX, "may not stand"},
        {BODY(FOUR "<vertexes/>", TRIANGLES), PO_E_SYNTAX, "may not stand"},
        {BODY(FOUR "<triangle v1=\"0\" v2=\"1\" v3=\"2\"/>", TRIANGLES), PO_E_SYNTAX, "may not stand"},
        {BODY(FOUR "<vertex x=\"1\" y=\"2\" z=\"3\"", TRIANGLES), PO_E_SYNTAX, NULL},
        {BODY(FOUR "<vertex x=\"1\"y=\"2\" z=\"3\"/>", TRIANGLES), PO_E_SYNTAX, "well-formed"},
        {BODY(FOUR "<vertex x=\"1\" y=\"2\" z=\"3\" w=\"4\"/>", TRIANGLES), PO_OK, "\"w\""},
        {BODY(FOUR "<vertex x=\"1\" y=\"2\" z=\"3\" m:w=\"4\"/>", TRIANGLES), PO_OK, NULL},
    };
    CHECK(list);
}

#define BASES                                                                                                          \
    "<basematerials id=\"10\"><base name=\"PLA\" displaycolor=\"#FF0000\"/><base name=\"PETG\" "                       \
    "displaycolor=\"#00ff00ff\"/>"                                                                                     \
    "<base name=\"TPU\" displaycolor=\"#0000FF\"/></basematerials>"
#define COLOURS                                                                                                        \
    "<m:colorgroup id=\"11\"><m:color color=\"#ff0000\"/><m:color color=\"#00FF00\"/><m:color "                        \
    "color=\"#FF0000FF\"/></m:colorgroup>"
#define WITH(resources, attrs, extra)                                                                                  \
    MODEL("",                                                                                                          \
          resources "<object id=\"1\" " attrs "><mesh>" VERTICES "<triangles>" T(0, 2, 1) T(0, 1, 3) T(1, 2, 3) extra  \
          "</triangles></mesh></object>",                                                                              \
          ITEM(1))

static void material_rules(void **state)
{
    (void)state;
    static const verdict list[] = {
        {WITH(BASES, "pid=\"10\" pindex=\"2\"", T(0, 3, 2)), PO_OK, NULL},
        {WITH(BASES, "pid=\"10\" pindex=\"3\"", T(0, 3, 2)), PO_E_RANGE, "pindex 3"},
        {WITH(BASES, "pid=\"10\" pindex=\"0\"", TX(0, 3, 2, "p1=\"1\" p2=\"1\"")), PO_OK, NULL},
        {WITH(BASES, "pid=\"10\" pindex=\"0\"", TX(0, 3, 2, "p1=\"1\" p2=\"1\" p3=\"2\"")), PO_E_SYNTAX,
         "blends"}, /* 4.1.4.1 */
        {WITH(BASES, "pid=\"10\" pindex=\"0\"", TX(0, 3, 2, "p1=\"3\"")), PO_E_SYNTAX, "beyond"},
        {WITH(BASES, "", TX(0, 3, 2, "pid=\"10\" p1=\"0\"")), PO_OK, "names none"},
        {WITH(BASES, "", TX(0, 3, 2, "p1=\"0\"")), PO_E_SYNTAX, "pid"},
        {WITH(BASES, "", TX(0, 3, 2, "pid=\"9\" p1=\"0\"")), PO_E_SYNTAX, "no group"},
        {WITH(BASES, "", TX(0, 3, 2, "pid=\"0\" p1=\"0\"")), PO_E_SYNTAX, "pid"},
        {WITH(BASES COLOURS, "pid=\"10\" pindex=\"0\"", TX(0, 3, 2, "pid=\"11\" p1=\"0\" p2=\"1\" p3=\"2\"")), PO_OK,
         NULL},
        {WITH(BASES BASES, "", T(0, 3, 2)), PO_E_SYNTAX, "two resources"},
        {WITH("<x:g xmlns:x=\"urn:x\" id=\"5\"/>", "pid=\"5\" pindex=\"0\"", TX(0, 3, 2, "p1=\"9\"")), PO_OK, NULL},
        /* materials extension, chapters 2 to 6 */
        {WITH("<m:colorgroup id=\"11\"><m:color/></m:colorgroup>", "", T(0, 3, 2)), PO_E_SYNTAX, "color"},
        {WITH("<m:colorgroup id=\"11\"><color color=\"#000000\"/></m:colorgroup>", "", T(0, 3, 2)), PO_OK, "prefix"},
        {WITH("<m:texture2d id=\"3\" path=\"/3D/no.png\" contenttype=\"image/png\"/>", "", T(0, 3, 2)), PO_E_NOTFOUND,
         "no.png"},
        {WITH("<m:texture2dgroup id=\"4\" texid=\"3\"/>", "", T(0, 3, 2)), PO_E_SYNTAX, "texid"},
        {WITH("<m:texture2dgroup id=\"4\"/>", "", T(0, 3, 2)), PO_E_SYNTAX, "texid"},
        {WITH(BASES "<m:compositematerials id=\"4\" matid=\"10\" matindices=\"0 2\"><m:composite values=\"0.5 0.5 7\"/>"
                    "</m:compositematerials>",
              "", T(0, 3, 2)),
         PO_E_SYNTAX, "share"},
        {WITH(BASES "<m:compositematerials id=\"4\" matid=\"10\" matindices=\"0 3\"/>", "", T(0, 3, 2)), PO_E_SYNTAX,
         "index"},
        {WITH(COLOURS "<m:compositematerials id=\"4\" matid=\"11\" matindices=\"0\"/>", "", T(0, 3, 2)), PO_E_SYNTAX,
         "matid"},
        {WITH(BASES COLOURS "<m:multiproperties id=\"4\" pids=\"11 10\"/>", "", T(0, 3, 2)), PO_E_SYNTAX,
         "after its first"},
        {WITH(BASES "<m:multiproperties id=\"4\" pids=\"10 10\"/>", "", T(0, 3, 2)), PO_E_SYNTAX,
         "more than one material"},
        {WITH(COLOURS "<m:multiproperties id=\"4\" pids=\"11 11\"/>", "", T(0, 3, 2)), PO_E_SYNTAX, "colour group"},
        {WITH(BASES
              "<m:multiproperties id=\"4\" pids=\"10\"><m:multi pindices=\"0\"/></m:multiproperties><m:multiproperties "
              "id=\"5\" pids=\"4\"/>",
              "", T(0, 3, 2)),
         PO_E_SYNTAX, "itself"},
        {WITH(BASES COLOURS "<m:multiproperties id=\"4\" pids=\"10 11\" blendmethods=\"mix multiply\"/>", "",
              T(0, 3, 2)),
         PO_E_SYNTAX, "blend"},
        {WITH(BASES COLOURS "<m:multiproperties id=\"4\" pids=\"10 11\" blendmethods=\"add\"/>", "", T(0, 3, 2)),
         PO_E_SYNTAX, "blend"},
    };
    CHECK(list);
}

/* How many materials: base materials by name, colours by RGB, composites by their constituents, layers together. */
static void materials_are_counted(void **state)
{
    (void)state;
    static const struct {
        const char *model;
        unsigned of_object, of_build;
    } list[] = {
        {ONE(""), 0, 0},
        {WITH(BASES, "pid=\"10\" pindex=\"2\"", T(0, 3, 2)), 1, 1},
        {WITH(BASES, "pid=\"10\" pindex=\"2\"", TX(0, 3, 2, "p1=\"0\"")), 2, 2},
        {WITH(BASES, "pid=\"10\" pindex=\"2\"", TX(0, 3, 2, "pid=\"10\"")), 1, 1},
        {WITH(BASES, "", TX(0, 3, 2, "pid=\"10\" p1=\"1\"")), 1, 1},
        {WITH(COLOURS, "pid=\"11\" pindex=\"0\"", TX(0, 3, 2, "p1=\"0\" p2=\"1\" p3=\"2\"")), 2,
         2},                                                                                /* 0 and 2 are one red */
        {WITH(COLOURS, "pid=\"11\" pindex=\"0\"", TX(0, 3, 2, "p1=\"2\" p2=\"1\"")), 1, 1}, /* p3 missing: p1 for all */
        {WITH(BASES "<m:compositematerials id=\"4\" matid=\"10\" matindices=\"0 2\"><m:composite values=\"0.5 0.5\"/>"
                    "<m:composite values=\"1\"/><m:composite values=\"0 0\"/></m:compositematerials>",
              "pid=\"4\" pindex=\"0\"", T(0, 3, 2)),
         2, 2},
        {WITH(BASES "<m:compositematerials id=\"4\" matid=\"10\" matindices=\"0 2\"><m:composite values=\"0.5 0.5\"/>"
                    "<m:composite values=\"1\"/><m:composite values=\"0 0\"/></m:compositematerials>",
              "pid=\"4\" pindex=\"1\"", T(0, 3, 2)),
         1, 1},
        {WITH(BASES "<m:compositematerials id=\"4\" matid=\"10\" matindices=\"0 2\"><m:composite values=\"0 0\"/>"
                    "</m:compositematerials>",
              "pid=\"4\" pindex=\"0\"", T(0, 3, 2)),
         2, 2},
        {WITH(BASES COLOURS
              "<m:multiproperties id=\"4\" pids=\"10 11\"><m:multi pindices=\"1\"/><m:multi pindices=\"1 1\"/>"
              "</m:multiproperties>",
              "pid=\"4\" pindex=\"0\"", T(0, 3, 2)),
         2, 2},
        {WITH(BASES COLOURS
              "<m:multiproperties id=\"4\" pids=\"10 11\"><m:multi pindices=\"1\"/><m:multi pindices=\"1 1\"/>"
              "</m:multiproperties>",
              "pid=\"4\" pindex=\"0\"", TX(0, 3, 2, "p1=\"1\"")),
         3, 3},
        /* two objects, one material in common; a third that is not built */
        {MODEL("",
               BASES
               "<object id=\"1\" pid=\"10\" pindex=\"0\"><mesh>" VERTICES "<triangles>" T(0, 2, 1) T(0, 1, 3) T(1, 2, 3)
                   TX(0, 3, 2, "p1=\"1\"") "</triangles></mesh></object><object id=\"2\" pid=\"10\" pindex=\"0\">" MESH
                                           "</object><object id=\"3\" pid=\"10\" pindex=\"2\">" MESH "</object>",
               ITEM(1) ITEM(2)),
         2, 2},
    };
    for (size_t i = 0; i < sizeof list / sizeof *list; i++) {
        read_result r = read_model(list[i].model);
        if (r.status != PO_OK || r.part.objects[0].n_materials != list[i].of_object ||
            r.part.n_materials != list[i].of_build) {
            print_error("case %zu: %s\n", i, r.status != PO_OK ? r.err.msg : "other counts");
        }
        assert_int_equal(r.status, PO_OK);
        assert_int_equal(r.part.objects[0].n_materials, list[i].of_object);
        assert_int_equal(r.part.n_materials, list[i].of_build);
        po_arena_free(r.arena);
    }
}

/* ---- packages ---- */

static po_status read_package(const char *model, const char *other_name, const char *other, const char *rels,
                              const char *says)
{
    kit_zip z = {0};
    kit_package(&z, model, strlen(model), other_name, other, rels, KIT_DEFLATED | KIT_STREAMED);
    read_result r = read_exact(z.data, z.n, NULL);
    kit_done(&z);
    if (says) {
        const char *said = r.status != PO_OK ? r.err.msg : r.part.n_notes ? r.part.notes[0] : "";
        if (!strstr(said, says)) {
            print_error("\"%s\" does not say \"%s\"\n", said, says);
        }
        assert_non_null(strstr(said, says));
    }
    po_arena_free(r.arena);
    return r.status;
}

#define OTHER_REL KIT_RELS_BEGIN KIT_REL("r0", KIT_MODEL_REL, "b.model") "</Relationships>"
#define P_ITEM "<item objectid=\"1\" p:path=\"/3D/b.model\" p:UUID=\"" UUID(3) "\"/>"
#define P_MODEL(resources, items)                                                                                      \
    "<model " SPACES "requiredextensions=\"p\"><resources>" resources                                                  \
    "</resources><build p:UUID=\"" UUID(1) "\">" items "</build></model>"
#define P_OBJECT                                                                                                       \
    "<object id=\"9\" p:UUID=\"" UUID(2) "\"><components><component objectid=\"1\" p:path=\"/3D/b.model\" "            \
                                         "p:UUID=\"" UUID(4) "\"/></components></object>"

static void production_rules(void **state)
{
    (void)state;
    static const char b[] = "<model " SPACES "unit=\"inch\">" RES BUILD "</model>";
    static const char name[] = "3D/b.model";
    assert_int_equal(read_package(P_MODEL("", P_ITEM), name, b, OTHER_REL, NULL), PO_OK);
    assert_int_equal(
        read_package(P_MODEL(P_OBJECT, "<item objectid=\"9\" p:UUID=\"" UUID(5) "\"/>"), name, b, OTHER_REL, NULL),
        PO_OK);
    /* the other file's unit holds for its coordinates, the root's for the item's shift */
    kit_zip z = {0};
    static const char root[] = P_MODEL(
        P_OBJECT, "<item objectid=\"9\" transform=\"1 0 0 0 1 0 0 0 1 5 0 0\" p:UUID=\"" UUID(5) "\"/>");
    kit_package(&z, root, strlen(root), name, b, OTHER_REL, 0);
    read_result r = read_exact(z.data, z.n, NULL);
    assert_int_equal(r.status, PO_OK);
    assert_int_equal(r.part.n_items, 1);
    assert_true(r.part.objects[0].mesh.xyz[3] == 254);
    assert_true(r.part.items[0].matrix[9] == 5);
    po_arena_free(r.arena);
    kit_done(&z);
    /* chapter 2: no relationship; not there; wrong object; a path in a file that is not the root; chapter 4: UUIDs */
    assert_int_equal(read_package(P_MODEL("", P_ITEM), name, b, NULL, "related"), PO_E_NOTFOUND);
    assert_int_equal(read_package(P_MODEL("", P_ITEM), "3D/c.model", b, OTHER_REL, "not in the package"),
                     PO_E_NOTFOUND);
    assert_int_equal(read_package(P_MODEL("", "<item objectid=\"2\" p:path=\"/3D/b.model\" p:UUID=\"" UUID(3) "\"/>"),
                                  name, b, OTHER_REL, "object 2"),
                     PO_E_SYNTAX);
    assert_int_equal(
        read_package(P_MODEL("", P_ITEM), name,
                     MODEL("",
                           "<object id=\"1\"><components><component objectid=\"1\" p:path=\"/3D/a.model\"/>"
                           "</components></object>",
                           ""),
                     OTHER_REL, "not the root"),
        PO_E_SYNTAX);
    assert_int_equal(
        read_package(P_MODEL("", "<item objectid=\"1\" p:path=\"/3D/b.model\"/>"), name, b, OTHER_REL, "UUID"),
        PO_E_SYNTAX);
    assert_int_equal(read_package(P_MODEL("", P_ITEM P_ITEM), name, b, OTHER_REL, "twice"), PO_E_SYNTAX);
    assert_int_equal(
        read_package(MODEL("", OBJECT(1), "<item objectid=\"1\" p:UUID=\"12\"/>"), NULL, NULL, NULL, "UUID"),
        PO_E_SYNTAX);
    assert_int_equal(
        read_package(P_MODEL("", P_ITEM), name, ONE("xmlns:q=\"urn:q\" requiredextensions=\"q\""), OTHER_REL, "urn:q"),
        PO_E_UNSUPPORTED);
    assert_int_equal(read_package(MODEL("", "", P_ITEM), name, b, OTHER_REL, "does not require"), PO_E_SYNTAX);
    /* other files' builds are ignored */
    assert_int_equal(read_package(P_MODEL("", P_ITEM), name,
                                  "<model " SPACES ">" RES "<build><item objectid=\"77\"/></build></model>", OTHER_REL,
                                  NULL),
                     PO_OK);
}

#define THUMB "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
#define TICKET "http://schemas.microsoft.com/3dmanufacturing/2013/01/printticket"
#define TEXTURE "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dtexture"
#define RELS(list) KIT_RELS_BEGIN list "</Relationships>"

static void package_rules(void **state)
{
    (void)state;
    static const char m[] = ONE("");
    /* 2.1.1, 2.1.3, 2.1.4 */
    assert_int_equal(read_package(m, "3D/t.png", "x", RELS(KIT_REL("a", THUMB, "t.png")), NULL), PO_OK);
    assert_int_equal(read_package(m, "3D/t.png", "x", RELS(KIT_REL("a", THUMB, "u.png")), "not in the package"),
                     PO_E_NOTFOUND);
    assert_int_equal(read_package(m, "3D/t.gif", "x", RELS(KIT_REL("a", THUMB, "t.gif")), "JPEG or PNG"), PO_E_SYNTAX);
    assert_int_equal(read_package(m, "3D/t.xml", "x", RELS(KIT_REL("a", TICKET, "t.xml")), NULL), PO_OK);
    assert_int_equal(read_package(m, "3D/t.xml", "x",
                                  RELS(KIT_REL("a", TICKET, "t.xml") KIT_REL("b", TICKET, "/3D/a.model")),
                                  "more than one print ticket"),
                     PO_E_SYNTAX);
    assert_int_equal(read_package(m, "3D/t.png", "x",
                                  RELS(KIT_REL("a", THUMB, "t.png") KIT_REL("b", THUMB, "/3d/T.png")), "of one type"),
                     PO_E_SYNTAX);
    assert_int_equal(
        read_package(m, "3D/t.png", "x", RELS(KIT_REL("a", THUMB, "t.png") KIT_REL("a", "urn:x", "t.png")), "Id"),
        PO_E_SYNTAX);
    assert_int_equal(read_package(m, NULL, NULL, RELS(KIT_REL("a", "urn:x", "../../x")), "no name"), PO_E_SYNTAX);
    assert_int_equal(read_package(m, NULL, NULL,
                                  RELS("<Relationship Id=\"a\" Type=\"urn:x\" Target=\"http://example.com/\" "
                                       "TargetMode=\"External\"/>"),
                                  "out of the package"),
                     PO_E_UNSUPPORTED);
    /* materials extension, chapter 6: a texture is related to its model */
    static const char with_texture[] = MODEL(
        "", "<m:texture2d id=\"3\" path=\"/3D/t.png\" contenttype=\"image/png\"/>" OBJECT(1), ITEM(1));
    assert_int_equal(read_package(with_texture, "3D/t.png", "x", RELS(KIT_REL("a", TEXTURE, "t.png")), NULL), PO_OK);
    assert_int_equal(read_package(with_texture, "3D/t.png", "x", NULL, "no relationship"), PO_E_SYNTAX);
    /* 6.1.1: a CMYK JPEG: SOI, frame header with four components (ITU-T T.81, B.2.2) */
    kit_zip z = {0};
    static const char rels[] = RELS(KIT_REL("a", THUMB, "t.jpg"));
    for (unsigned char components = 3; components <= 4; components++) {
        unsigned char jpeg[24] = {0xff, 0xd8, 0xff, 0xc0, 0, 20, 8, 0, 1, 0, 1, components};
        kit_add(&z, "[Content_Types].xml", KIT_TYPES, strlen(KIT_TYPES), 0);
        kit_add(&z, "_rels/.rels", KIT_RELS, strlen(KIT_RELS), 0);
        kit_add(&z, "3D/a.model", m, strlen(m), 0);
        kit_add(&z, "3D/_rels/a.model.rels", rels, strlen(rels), 0);
        kit_add(&z, "3D/t.jpg", jpeg, sizeof jpeg, 0);
        kit_end(&z, false);
        read_result r = read_exact(z.data, z.n, NULL);
        assert_int_equal(r.status, components == 4 ? PO_E_SYNTAX : PO_OK);
        po_arena_free(r.arena);
        kit_done(&z);
    }
    /* an archive that is no 3MF; content type of the start part missing (C.1) */
    kit_add(&z, "readme.txt", "x", 1, 0);
    kit_end(&z, false);
    read_result r = read_exact(z.data, z.n, NULL);
    assert_int_equal(r.status, PO_E_EMPTY);
    po_arena_free(r.arena);
    kit_done(&z);
    static const char no_types[] = "<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"/>";
    kit_add(&z, "[Content_Types].xml", no_types, strlen(no_types), 0);
    kit_add(&z, "_rels/.rels", KIT_RELS, strlen(KIT_RELS), 0);
    kit_add(&z, "3D/a.model", m, strlen(m), 0);
    kit_end(&z, false);
    r = read_exact(z.data, z.n, NULL);
    assert_int_equal(r.status, PO_E_SYNTAX);
    assert_non_null(strstr(r.err.msg, "content type"));
    po_arena_free(r.arena);
    kit_done(&z);
}

/* ---- hostile input ---- */

static void every_prefix(void **state)
{
    (void)state;
    static const char m[] = WITH(BASES COLOURS, "pid=\"10\" pindex=\"0\"",
                                 TX(0, 3, 2, "pid=\"11\" p1=\"0\" p2=\"1\" p3=\"2\""));
    size_t n = strlen(m);
    for (size_t cut = 0; cut < n; cut++) { /* of the model */
        read_result r = read_model_n(m, cut, NULL);
        assert_int_not_equal(r.status, PO_OK);
        po_arena_free(r.arena);
    }
    kit_zip z = {0};
    kit_package(&z, m, n, NULL, NULL, NULL, KIT_DEFLATED);
    for (size_t cut = 0; cut < z.n; cut++) { /* of the archive */
        read_result r = read_exact(z.data, cut, NULL);
        assert_int_not_equal(r.status, PO_OK);
        po_arena_free(r.arena);
    }
    kit_done(&z);
}

/* Bytes of the model replaced: ends in facts or an error; what is read holds together (read_exact looks). */
static void mutations(void **state)
{
    (void)state;
    static const char m[] = WITH(BASES COLOURS, "pid=\"10\" pindex=\"0\"",
                                 TX(0, 3, 2, "pid=\"11\" p1=\"0\" p2=\"1\" p3=\"2\""));
    static const char with[] = "<>&\"'/=019 -.e\0\xff\x80xv]!?";
    char copy[sizeof m];
    memcpy(copy, m, sizeof m);
    for (size_t i = 0; i + 1 < sizeof m; i++) {
        for (size_t k = 0; k + 1 < sizeof with; k++) {
            copy[i] = with[k];
            read_result r = read_model_n(copy, sizeof m - 1, NULL);
            po_arena_free(r.arena);
        }
        copy[i] = m[i];
    }
}

/* The scanner and expat agree: the same mesh with everything plain, and with everything in a form that the scanner
 * leaves to expat. Numbers are made from a seed, of all lengths. */
static void scanner_is_expat(void **state)
{
    (void)state;
    enum { N = 300 };
    size_t cap = 200000, n[2] = {0, 0};
    char *text[2] = {malloc(cap), malloc(cap)};
    uint64_t seed = 20250206;
    for (int form = 0; form < 2; form++) {
        n[form] += (size_t)snprintf(text[form], cap, "<model %s><resources><object id=\"1\"><mesh><vertices>", SPACES);
    }
    for (int i = 0; i < N; i++) {
        char v[3][48];
        for (int c = 0; c < 3; c++) {
            seed = seed * 6364136223846793005u + 1442695040888963407u;
            double value = (double)(int64_t)seed / 9.2e18 * pow(10, (double)(seed >> 40 & 15) - 7);
            int digits = (int)(seed >> 56 & 31) % 25;
            switch (seed >> 62) {
            case 0:
                snprintf(v[c], sizeof v[c], "%.*f", digits, value);
                break;
            case 1:
                snprintf(v[c], sizeof v[c], "%.*e", digits, value);
                break;
            case 2:
                snprintf(v[c], sizeof v[c], "%+.*f", digits, value);
                break;
            default:
                snprintf(v[c], sizeof v[c], "%.*E", digits, value);
            }
        }
        for (int form = 0; form < 2; form++) {
            n[form] += (size_t)snprintf(text[form] + n[form], cap - n[form],
                                        form ? "<vertex x='%s' y = '%s' z='%s' m:a=''/>"
                                             : "<vertex x=\"%s\" y=\"%s\" z=\"%s\"/>\n",
                                        v[0], v[1], v[2]);
        }
    }
    for (int form = 0; form < 2; form++) {
        n[form] += (size_t)snprintf(text[form] + n[form], cap - n[form], "</vertices><triangles>");
        for (int i = 0; i + 2 < N; i++) {
            n[form] += (size_t)snprintf(text[form] + n[form], cap - n[form],
                                        form ? "<triangle v1='%d' v2 = '%d' v3='%d'/>"
                                             : "<triangle v1=\"%d\" v2=\"%d\" v3=\"%d\" />",
                                        i, i + 1, i + 2);
        }
        n[form] += (size_t)snprintf(text[form] + n[form], cap - n[form],
                                    "</triangles></mesh></object></resources><build>%s</build></model>", ITEM(1));
        assert_true(n[form] + 1 < cap);
    }
    read_result r[2] = {read_model(text[0]), read_model(text[1])};
    for (int form = 0; form < 2; form++) {
        assert_int_equal(r[form].status, PO_OK);
        assert_int_equal(r[form].part.objects[0].mesh.n_vertices, N);
        assert_int_equal(r[form].part.objects[0].mesh.n_triangles, N - 2);
    }
    assert_memory_equal(r[0].part.objects[0].mesh.xyz, r[1].part.objects[0].mesh.xyz, 3 * N * sizeof(double));
    assert_memory_equal(r[0].part.objects[0].mesh.corners, r[1].part.objects[0].mesh.corners,
                        3 * (N - 2) * sizeof(uint32_t));
    for (int form = 0; form < 2; form++) {
        po_arena_free(r[form].arena);
        free(text[form]);
    }
}

/* Places in errors: the line and column of the tag, also behind children that were scanned. */
static void errors_have_places(void **state)
{
    (void)state;
    read_result r = read_model(BODY(FOUR, TRIANGLES "\n\n  " T(0, 1, 9)));
    assert_int_equal(r.status, PO_E_RANGE);
    assert_int_equal(r.err.line, 4);
    assert_int_equal(r.err.column, 3);
    assert_string_equal(r.err.where, "/3D/a.model");
    po_arena_free(r.arena);
    r = read_model(BODY(FOUR, TRIANGLES "\n &bad;"));
    assert_int_equal(r.status, PO_E_SYNTAX);
    assert_int_equal(r.err.line, 3);
    assert_int_equal(r.err.column, 2);
    po_arena_free(r.arena);
}

/* Ten levels of ten components: 10^10 tetrahedra from 4 kB; and chains that are too deep. */
static void components_multiply(void **state)
{
    (void)state;
    char text[20000];
    size_t n = (size_t)snprintf(text, sizeof text, "<model %s><resources>%s", SPACES, OBJECT(1));
    for (int level = 2; level <= 60; level++) {
        n += (size_t)snprintf(text + n, sizeof text - n, "<object id=\"%d\"><components>", level);
        for (int i = 0; i < (level < 12 ? 10 : 2); i++) {
            n += (size_t)snprintf(text + n, sizeof text - n, "<component objectid=\"%d\"/>", level - 1);
        }
        n += (size_t)snprintf(text + n, sizeof text - n, "</components></object>");
    }
    static const struct {
        int item;
        po_status want;
    } cases[] = {{4, PO_OK}, {11, PO_E_LIMIT}, {60, PO_E_LIMIT}};
    for (size_t i = 0; i < 3; i++) {
        snprintf(text + n, sizeof text - n, "</resources><build><item objectid=\"%d\"/></build></model>",
                 cases[i].item);
        read_result r = read_model(text);
        assert_int_equal(r.status, cases[i].want);
        if (r.status == PO_OK) {
            assert_int_equal(r.part.n_items, 1000);
        }
        po_arena_free(r.arena);
    }
    n = (size_t)snprintf(text, sizeof text, "<model %s><resources>%s", SPACES, OBJECT(1));
    for (int level = 2; level <= 65; level++) {
        n += (size_t)snprintf(text + n, sizeof text - n,
                              "<object id=\"%d\"><components><component objectid=\"%d\"/></components></object>", level,
                              level - 1);
    }
    for (int item = 64; item <= 65; item++) {
        snprintf(text + n, sizeof text - n, "</resources><build><item objectid=\"%d\"/></build></model>", item);
        read_result r = read_model(text);
        assert_int_equal(r.status, item == 64 ? PO_OK : PO_E_LIMIT);
        po_arena_free(r.arena);
    }
}

static void xml_bombs(void **state)
{
    (void)state;
    static const char laughs[] =
        "<!DOCTYPE m [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;\">]><model>&b;</model>";
    read_result r = read_model(laughs);
    assert_int_equal(r.status, PO_E_SYNTAX);
    assert_non_null(strstr(r.err.msg, "document type"));
    po_arena_free(r.arena);
    static const char outside[] = "<!DOCTYPE m SYSTEM \"file:///etc/passwd\"><model/>";
    r = read_model(outside);
    assert_int_equal(r.status, PO_E_SYNTAX);
    po_arena_free(r.arena);
    /* depth, also inside what is ignored; a long attribute; many attributes; '>' in a long attribute of a hot tag */
    size_t cap = 3u << 20;
    char *text = malloc(cap);
    size_t n = (size_t)snprintf(text, cap, "<model %s><resources>", SPACES);
    for (int i = 0; i < 100; i++) {
        n += (size_t)snprintf(text + n, cap - n, "<m:x>");
    }
    r = read_model(text);
    assert_int_equal(r.status, PO_E_LIMIT);
    assert_non_null(strstr(r.err.msg, "deep"));
    po_arena_free(r.arena);
    n = (size_t)snprintf(text, cap, "<model a=\"");
    memset(text + n, '>', 70000);
    snprintf(text + n + 70000, cap - n - 70000, "\"/>");
    r = read_model(text);
    assert_int_equal(r.status, PO_E_LIMIT);
    po_arena_free(r.arena);
    n = (size_t)snprintf(text, cap, "<model ");
    for (int i = 0; i < 300; i++) {
        n += (size_t)snprintf(text + n, cap - n, "a%d=\"\" ", i);
    }
    snprintf(text + n, cap - n, "/>");
    r = read_model(text);
    assert_int_equal(r.status, PO_E_LIMIT);
    po_arena_free(r.arena);
    n = (size_t)snprintf(text, cap, "<model %s><resources><object id=\"1\"><mesh><vertices m:a=\"", SPACES);
    memset(text + n, '>', 2u << 20);
    text[n + (2u << 20)] = 0;
    po_part_limits wide = PO_PART_LIMITS_INIT;
    wide.most_ratio = 5000;
    r = read_model_n(text, n + (2u << 20), &wide);
    assert_int_equal(r.status, PO_E_SYNTAX);
    po_arena_free(r.arena);
    free(text);
}

static void limits_hold(void **state)
{
    (void)state;
    static const char m[] = MODEL("", OBJECT(1), ITEM(1) ITEM(1));
    po_part_limits l = PO_PART_LIMITS_INIT;
    l.most_triangles = 8;
    read_result r = read_model_n(m, strlen(m), &l);
    assert_int_equal(r.status, PO_OK);
    po_arena_free(r.arena);
    l.most_triangles = 7;
    r = read_model_n(m, strlen(m), &l);
    assert_int_equal(r.status, PO_E_LIMIT);
    po_arena_free(r.arena);
    l.most_triangles = 3;
    r = read_model_n(m, strlen(m), &l);
    assert_int_equal(r.status, PO_E_LIMIT);
    po_arena_free(r.arena);
    /* an arena that is too small: an error at every size, never anything else */
    kit_zip z = {0};
    kit_package(&z, m, strlen(m), NULL, NULL, NULL, KIT_DEFLATED);
    for (size_t bytes = 16; bytes < 8192; bytes += 16) {
        po_arena *arena = po_arena_new(bytes);
        po_part part;
        po_err err;
        po_status s = po_threemf_read(z.data, z.n, NULL, arena, &part, &err);
        assert_true(s == PO_OK || s == PO_E_NOMEM);
        po_arena_free(arena);
    }
    kit_done(&z);
}

/* ---- the published files ---- */

static unsigned char *load(const char *folder, const char *name, size_t *ret_n)
{
    char path[2048];
    *ret_n = 0;
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *f = fopen(path, "rb");
    if (!f) {
        return NULL;
    }
    unsigned char *bytes = malloc(4u << 20);
    *ret_n = fread(bytes, 1, 4u << 20, f);
    fclose(f);
    return bytes;
}

/* Where the specification of today is read otherwise than the file's verdict: docs/3mf-notes.md has the clauses. */
static const struct {
    const char *name;
    po_status status;
} read_otherwise[] = {
    {"examples/pyramid.3mf", PO_E_UNSUPPORTED},          /* core 3.4: requires the beam lattice extension */
    {"examples/variable_voronoi.3mf", PO_E_UNSUPPORTED}, /* the same */
    {"conformance/MUSTFAIL_Chapter2.3.2c_UndefinedNameSpaceInXDS.3mf",
     PO_OK}, /* core B.1.1: CT_Vertices has anyAttribute */
};

static void published_files(void **state)
{
    (void)state;
    const char *shared = getenv("PO_SHARED");
    char folder[900], line[600];
    snprintf(folder, sizeof folder, "%s/data/3mf", shared ? shared : "");
    size_t n = 0, checked = 0, wrong = 0;
    unsigned char *manifest = shared ? load(folder, "manifest.tsv", &n) : NULL;
    if (!manifest) {
        print_message("the published 3MF files are not here; skipped\n");
        skip();
    }
    for (const char *p = (char *)manifest, *end = p + n; p < end;) {
        const char *stop = memchr(p, '\n', (size_t)(end - p));
        size_t len = (size_t)((stop ? stop : end) - p);
        snprintf(line, sizeof line, "%.*s", (int)len, p);
        p += len + 1;
        char *tab = strchr(line, '\t');
        if (line[0] == '#' || !tab) {
            continue;
        }
        *tab = 0;
        bool accept = strncmp(tab + 1, "accept", 6) == 0;
        size_t n_bytes = 0;
        unsigned char *bytes = load(folder, line, &n_bytes);
        assert_non_null(bytes);
        read_result r = read_exact(bytes, n_bytes, NULL);
        bool right = (r.status == PO_OK) == accept;
        for (size_t i = 0; i < sizeof read_otherwise / sizeof *read_otherwise; i++) {
            if (strcmp(read_otherwise[i].name, line) == 0) {
                right = r.status == read_otherwise[i].status;
            }
        }
        if (!right) {
            print_error("%s: %s\n", line, r.status != PO_OK ? r.err.msg : "accepted");
            wrong++;
        }
        checked++;
        po_arena_free(r.arena);
        free(bytes);
    }
    free(manifest);
    assert_int_equal(wrong, 0);
    assert_true(checked >= 51);
}

/* What the test models' own library says of them (manifest of ../shared/data/mesh). */
static void published_meshes(void **state)
{
    (void)state;
    const char *shared = getenv("PO_SHARED");
    char folder[900];
    snprintf(folder, sizeof folder, "%s/data/mesh", shared ? shared : "");
    static const struct {
        const char *name;
        size_t objects, items, vertices; /* vertices of the first mesh; 0 = not stated */
    } list[] = {{"counterXP.3MF", 2, 6, 0},
                {"pyramids.3mf", 6, 0, 0},
                {"P_XPM_0331_01.3mf", 1, 1, 5},
                {"featuretype.3MF", 1, 1, 0}};
    for (size_t i = 0; i < 4; i++) {
        size_t n = 0;
        unsigned char *bytes = shared ? load(folder, list[i].name, &n) : NULL;
        if (!bytes) {
            print_message("the mesh files are not here; skipped\n");
            skip();
        }
        read_result r = read_exact(bytes, n, NULL);
        assert_int_equal(r.status, PO_OK);
        assert_int_equal(r.part.n_objects, list[i].objects);
        assert_true(!list[i].items || r.part.n_items == list[i].items);
        assert_true(!list[i].vertices || r.part.objects[0].mesh.n_vertices == list[i].vertices);
        if (i == 3) { /* in inches; its STL, the same part in finer facets, has 11.627733431196749 cubic inches */
            double cubic_inches = volume_of(&r.part, 0) / (25.4 * 25.4 * 25.4);
            assert_true(fabs(cubic_inches / 11.627733431196749 - 1) < 1e-3);
        }
        po_arena_free(r.arena);
        free(bytes);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tetrahedron),
        cmocka_unit_test(units),
        cmocka_unit_test(transforms),
        cmocka_unit_test(core_rules),
        cmocka_unit_test(mesh_rules),
        cmocka_unit_test(material_rules),
        cmocka_unit_test(materials_are_counted),
        cmocka_unit_test(production_rules),
        cmocka_unit_test(package_rules),
        cmocka_unit_test(every_prefix),
        cmocka_unit_test(mutations),
        cmocka_unit_test(scanner_is_expat),
        cmocka_unit_test(errors_have_places),
        cmocka_unit_test(components_multiply),
        cmocka_unit_test(xml_bombs),
        cmocka_unit_test(limits_hold),
        cmocka_unit_test(published_files),
        cmocka_unit_test(published_meshes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
