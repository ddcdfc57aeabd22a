/* The slip of a part as pages and pictures. SPDX-License-Identifier: Apache-2.0
 *
 * Parts are read, measured and judged by the library itself. Outside references: expat (XML 1.0), the PNG specification's
 * header, pdfinfo and zbarimg where they are installed; areas and places of views from the closed form of a box. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <expat.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "part/shapes.h"
#include "slip/fixture.h"
#include "slip/part_pictures.h"
#include "slip/part_view.h"
#include "slip/pictures.h"
#include "slip/render.h"

/* ---- parts ---- */

typedef struct judged { /* a part on both machines of the fixture's shop */
    po_fixture shop;
    po_arena *arena;
    const po_part_report *reports[2];
    const po_part_proof *proofs[2];
} judged;

static po_recipe RECIPES[2] = {
    {.name = "quick <b>",
     .layer_mm = 0.28,
     .bead_width_mm = 0.46,
     .walls = 2,
     .floors = 3,
     .roofs = 4,
     .fill_percent = 12,
     .wall_mm_s = 50,
     .fill_mm_s = 80,
     .first_layer_mm = 0.28,
     .first_layer_mm_s = 20},
    {.name = "fine",
     .layer_mm = 0.12,
     .bead_width_mm = 0.44,
     .walls = 3,
     .floors = 5,
     .roofs = 6,
     .fill_percent = 20,
     .wall_mm_s = 40,
     .fill_mm_s = 60,
     .first_layer_mm = 0.2,
     .first_layer_mm_s = 20},
};

static void judge(judged *j, const soup *s, bool poses)
{
    po_err err;
    size_t n;
    unsigned char *bytes = soup_binary(s, (uint32_t)s->n, &n);
    po_fixture_init(&j->shop, false, false, false);
    j->arena = j->shop.arena;
    po_shop *shop = j->shop.shop;
    shop->machines = j->shop.machines;
    shop->n_machines = 2;
    shop->recipes = RECIPES;
    shop->n_recipes = 2;
    shop->rules.overhang_limit_deg = 45;
    shop->rules.allowance_m_per_run = 30;
    po_source source = {.data = bytes, .n_bytes = n};
    const po_part *part;
    const po_machine *machines[2] = {&shop->machines[0], &shop->machines[1]};
    const po_material *materials[2] = {&j->shop.materials[0], &j->shop.materials[0]};
    po_part_options options = {.poses = poses, .images = true, .threads = 1};
    po_proof_context context = {.shop = shop, .spool_g = NAN, .allowance_left_m = NAN};
    assert_int_equal(po_part_read(&source, NULL, j->arena, &part, &err), PO_OK);
    assert_int_equal(po_part_measure(part, shop, machines, materials, 2, &options, j->arena, j->reports, &err), PO_OK);
    for (int i = 0; i < 2; i++) {
        assert_int_equal(po_proof_part(j->reports[i], "t.stl", &context, j->arena, &j->proofs[i], &err), PO_OK);
    }
    free(bytes);
}

static void done(judged *j)
{
    po_fixture_done(&j->shop);
}

static void bracket(soup *s) /* two plates on a post, as separate bodies: one hangs over */
{
    soup_box(s, 0, 0, 0, 60, 34, 6);
    soup_box(s, 0, 0, 6.5, 8, 34, 33);
    soup_box(s, 0, 0, 40, 44, 34, 6);
}

/* ---- documents ---- */

typedef struct reading {
    XML_Parser parser;
    double right, bottom, width, height; /* farthest place of any shape or the start of a text; size of the picture */
    size_t marks;
} reading;

static void XMLCALL started(void *user, const XML_Char *name, const XML_Char **attributes)
{
    reading *r = user;
    double x = 0, y = 0, w = 0, h = 0;
    for (const XML_Char **a = attributes; *a; a += 2) {
        if (!strcmp(a[0], "x") || !strcmp(a[0], "cx")) {
            x = strtod(a[1], NULL);
        } else if (!strcmp(a[0], "y") || !strcmp(a[0], "cy")) {
            y = strtod(a[1], NULL);
        } else if (!strcmp(a[0], "width") && strcmp(a[1], "100%")) {
            w = strtod(a[1], NULL);
        } else if (!strcmp(a[0], "height") && strcmp(a[1], "100%")) {
            h = strtod(a[1], NULL);
        } else if (!strcmp(a[0], "points")) {
            for (const char *p = a[1]; *p;) {
                char *end;
                double px = strtod(p, &end), py = strtod(end + 1, &end);
                r->right = fmax(r->right, px);
                r->bottom = fmax(r->bottom, py);
                p = *end ? end + 1 : end;
            }
        }
    }
    if (!strcmp(name, "svg")) {
        r->width = w;
        r->height = h;
        return;
    }
    r->marks++;
    r->right = fmax(r->right, x + w);
    r->bottom = fmax(r->bottom, y + h);
}

static reading read_xml(const char *data, size_t n)
{
    reading r = {.parser = XML_ParserCreate("UTF-8")};
    XML_SetUserData(r.parser, &r);
    XML_SetElementHandler(r.parser, started, NULL);
    if (XML_Parse(r.parser, data, (int)n, 1) != XML_STATUS_OK) {
        fail_msg("line %lu: %s", XML_GetCurrentLineNumber(r.parser), XML_ErrorString(XML_GetErrorCode(r.parser)));
    }
    XML_ParserFree(r.parser);
    return r;
}

static size_t times(const char *text, const char *part)
{
    size_t n = 0;
    for (const char *p = strstr(text, part); p; p = strstr(p + strlen(part), part)) {
        n++;
    }
    return n;
}

/* A number that is none; the letters alone may stand in an image's base64. */
static bool says_nan(const char *text)
{
    return strstr(text, " nan") || strstr(text, "\"nan") || strstr(text, "nan ") || strstr(text, "nan<") ||
           strstr(text, " inf<") || strstr(text, "-inf");
}

static void all_forms(judged *j)
{
    po_document doc;
    po_err err;
    assert_int_equal(po_part_slip_svg(j->proofs[0], j->arena, &doc, &err), PO_OK);
    reading r = read_xml(doc.data, doc.n_bytes);
    assert_true(r.marks > 3);
    assert_true(r.right <= r.width && r.bottom <= r.height); /* nothing is drawn beyond the paper */
    assert_false(says_nan(doc.data));
    assert_int_equal(po_part_slip_png(j->proofs[0], j->arena, &doc, &err), PO_OK);
    static const unsigned char PNG[8] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1A, '\n'};
    assert_memory_equal(doc.data, PNG, 8);
    assert_memory_equal(doc.data + 12, "IHDR", 4);
    const unsigned char *b = (const unsigned char *)doc.data;
    double width = b[16] << 24 | b[17] << 16 | b[18] << 8 | b[19],
           height = b[20] << 24 | b[21] << 16 | b[22] << 8 | b[23];
    assert_true(fabs(width - r.width * 200 / 25.4) <= 1 && fabs(height - r.height * 200 / 25.4) <= 1);
    assert_int_equal(po_part_slip_html(j->proofs, 2, NULL, j->arena, &doc, &err), PO_OK);
    assert_true(doc.n_bytes < 2000000);
    assert_false(says_nan(doc.data));
    assert_int_equal(po_part_slip_html(j->proofs, 1, NULL, j->arena, &doc, &err), PO_OK);
    assert_int_equal(po_part_slip_pdf(j->proofs[0], NULL, j->arena, &doc, &err), PO_OK);
    assert_memory_equal(doc.data, "%PDF-", 5);
}

static void every_form_comes_out(void **state)
{
    (void)state;
    for (int k = 0; k < 6; k++) {
        soup s = {0};
        judged j;
        if (k == 0) {
            bracket(&s);
        } else if (k == 1) { /* a box without one of its triangles */
            soup_box(&s, 0, 0, 0, 30, 20, 10);
            s.n--;
        } else if (k == 2) { /* inside out */
            soup_box(&s, 0, 0, 0, 30, 20, 10);
            for (size_t i = 0; i < s.n; i++) {
                double t[3];
                memcpy(t, s.nine + 9 * i, sizeof t);
                memcpy(s.nine + 9 * i, s.nine + 9 * i + 3, sizeof t);
                memcpy(s.nine + 9 * i + 3, t, sizeof t);
            }
        } else if (k == 3) { /* too large for both machines */
            soup_box(&s, 0, 0, 0, 900, 30, 20);
        } else if (k == 4) { /* a sheet without thickness */
            soup_box(&s, 0, 0, 0, 30, 20, 10);
            s.n = 2;
        } else { /* a speck */
            soup_box(&s, 0, 0, 0, 0.02, 0.03, 0.01);
        }
        judge(&j, &s, k == 0 || k == 3);
        all_forms(&j);
        done(&j);
        free(s.nine);
    }
}

static void texts_are_escaped(void **state)
{
    (void)state;
    soup s = {0};
    judged j;
    po_document doc;
    po_err err;
    po_slip_options options = PO_SLIP_OPTIONS_INIT;
    options.today = "<img src=x onerror=alert(1)>";
    bracket(&s);
    judge(&j, &s, true);
    j.shop.shop->name = "<u>Shop";
    j.shop.shop->currency = "<em>";
    j.shop.machines[0].name = "<b onmouseover=\"x\">";
    j.shop.materials[0].name = "<i>petg";
    po_part_proof proof = *j.proofs[0];
    assert_true(proof.n_findings > 0);
    po_finding first = proof.findings[0];
    first.says = "a < b & c > d \"e\" 'f' <iframe>";
    first.todo = "<svg onload=x>";
    proof.findings = &first;
    proof.n_findings = 1;
    proof.file = "x/\"><script>alert('f')</script>.stl";
    proof.aloud = "</p><script>";
    ((po_solid *)proof.report->solids)->name = "<object>";
    const po_part_proof *proofs[] = {&proof, j.proofs[1]};
    static const char *const NEVER[] = {"<script", "<img",    "<iframe", "<b ",         "<i>",     "<u>",
                                        "<em>",    "<object", "<b>",     "<svg onload", "http://", "https://"};
    for (size_t n = 1; n < 3; n++) {
        assert_int_equal(po_part_slip_html(proofs, n, &options, j.arena, &doc, &err), PO_OK);
        for (size_t i = 0; i < sizeof NEVER / sizeof *NEVER; i++) {
            if (strstr(doc.data, NEVER[i])) {
                fail_msg("the page holds %s", NEVER[i]);
            }
        }
        assert_non_null(strstr(doc.data, "a &lt; b &amp; c &gt; d &quot;e&quot; &#39;f&#39; &lt;iframe&gt;"));
        assert_int_equal(times(doc.data, "<h1"), 1);
        assert_int_equal(times(doc.data, "<section"), n == 1 ? 1 : 3); /* and one about the part itself */
        assert_int_equal(times(doc.data, "<svg "), times(doc.data, "</svg>"));
        assert_int_equal(times(doc.data, "<svg "), times(doc.data, "role=\"img\""));
        assert_true(times(doc.data, "aria-label=") >= times(doc.data, "<svg ")); /* each picture has words */
        assert_int_equal(times(doc.data, "<th"), times(doc.data, "scope=\"") + times(doc.data, "<thead"));
        /* <svg ...> of the page stands in well-formed XML, but for the first line and <meta> */
        for (const char *p = strstr(doc.data, "<svg "); p; p = strstr(p + 1, "<svg ")) {
            const char *end = strstr(p, "</svg>") + 6;
            read_xml(p, (size_t)(end - p));
        }
    }
    assert_int_equal(po_part_slip_svg(&proof, j.arena, &doc, &err), PO_OK);
    read_xml(doc.data, doc.n_bytes);
    assert_null(strstr(doc.data, "<b on"));
    assert_int_equal(po_part_slip_pdf(&proof, &options, j.arena, &doc, &err), PO_OK);
    done(&j);
    free(s.nine);
}

/* First line of a command's output; false when it cannot be run. */
static bool ask(const char *command, char *line, size_t n)
{
    FILE *pipe = popen(command, "r");
    if (!pipe) {
        return false;
    }
    bool got = fgets(line, (int)n, pipe) != NULL;
    pclose(pipe);
    return got;
}

static void pdf_is_one_page(void **state)
{
    (void)state;
    char folder[] = P_tmpdir "/po-part-XXXXXX", path[128], command[512], line[128];
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/slip.pdf", folder);
    soup s = {0};
    judged j;
    bracket(&s);
    judge(&j, &s, true);
    po_part_proof proof = *j.proofs[0];
    po_finding many[40];
    for (int k = 0; k < 2; k++) {
        po_document doc, again;
        po_err err;
        if (k == 1) { /* far more than fits: still one page */
            for (size_t i = 0; i < 40; i++) {
                many[i] = proof.findings[i % proof.n_findings];
            }
            proof.findings = many;
            proof.n_findings = 40;
        }
        assert_int_equal(po_part_slip_pdf(&proof, NULL, j.arena, &doc, &err), PO_OK);
        assert_int_equal(po_part_slip_pdf(&proof, NULL, j.arena, &again, &err), PO_OK);
        assert_int_equal(doc.n_bytes, again.n_bytes); /* same input, same bytes */
        assert_memory_equal(doc.data, again.data, doc.n_bytes);
        FILE *file = fopen(path, "wb");
        assert_non_null(file);
        assert_int_equal(fwrite(doc.data, 1, doc.n_bytes, file), doc.n_bytes);
        fclose(file);
        snprintf(command, sizeof command, "pdfinfo %s 2>/dev/null | grep Pages", path);
        if (ask(command, line, sizeof line)) {
            assert_int_equal(atol(line + 6), 1);
        } else {
            print_message("pdfinfo is not there: number of pages not checked\n");
        }
        snprintf(command, sizeof command,
                 "cd %s && pdftoppm -r 200 -png slip.pdf page 2>/dev/null && zbarimg -q --raw page*.png 2>/dev/null",
                 folder);
        if (ask(command, line, sizeof line)) {
            line[strcspn(line, "\n")] = 0;
            assert_int_equal(strlen(line), 16);
            assert_memory_equal(line, proof.report->part->sha256, 16);
        } else {
            print_message("pdftoppm or zbarimg is not there: the printed code was not read\n");
        }
        snprintf(command, sizeof command, "rm -f %s/page*.png", folder);
        ask(command, line, sizeof line);
        unlink(path);
    }
    rmdir(folder);
    done(&j);
    free(s.nine);
}

/* ---- views ---- */

static po_mesh mesh_of(const soup *s, uint32_t **ret_corners)
{
    uint32_t *corners = malloc(3 * s->n * sizeof *corners);
    for (size_t i = 0; i < 3 * s->n; i++) {
        corners[i] = (uint32_t)i;
    }
    *ret_corners = corners;
    return (po_mesh){.xyz = s->nine, .n_vertices = 3 * s->n, .corners = corners, .n_triangles = s->n};
}

static size_t dots_seen(const po_palette_image *image)
{
    size_t n = 0, all = (size_t)image->width * (size_t)image->height;
    for (size_t i = 0; i < all; i++) {
        n += (image->rgba[image->px[i]] & 0xFF) != 0;
    }
    return n;
}

/* From above a box of 40 by 20 covers 800 mm2; turned about its y axis by a quarter, 10 by 20. */
static void a_box_has_its_area(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_err err;
    po_part_view v;
    soup s = {0};
    uint32_t *corners;
    soup_box(&s, 1e4, -3, 7, 40, 20, 10);
    po_mesh m = mesh_of(&s, &corners);
    double turn[9] = {0, 0, -1, 0, 1, 0, 1, 0, 0};
    po_view_setup setup = {.mesh = &m, .from = PO_VIEW_DOWN, .width = 404, .height = 404, .overhang_limit_deg = 45};
    assert_int_equal(po_part_view_make(&setup, arena, &v, &err), PO_OK);
    double mm2 = (double)dots_seen(v.image) * v.dot_mm * v.dot_mm;
    assert_true(fabs(mm2 - 800) < 4 * v.dot_mm * 60);
    assert_false(v.seen[PO_SURFACE_OVERHANG] || v.seen[PO_SURFACE_INSIDE]);
    setup.turn = turn;
    assert_int_equal(po_part_view_make(&setup, arena, &v, &err), PO_OK);
    mm2 = (double)dots_seen(v.image) * v.dot_mm * v.dot_mm;
    assert_true(fabs(mm2 - 200) < 4 * v.dot_mm * 30);
    assert_true(fabs(v.high[0] - v.low[0] - 10) < 1e-9 && fabs(v.high[2] - v.low[2] - 40) < 1e-9);

    /* a point on its top is seen from above and not from beneath; one on its underside the other way round */
    double on_top[3] = {1e4 + 20, 7, 17}, under[3] = {1e4 + 20, 7, 7}, x, y;
    setup.turn = NULL;
    setup.from = PO_VIEW_ABOVE;
    assert_int_equal(po_part_view_make(&setup, arena, &v, &err), PO_OK);
    assert_true(po_part_view_point(&v, on_top, &x, &y));
    assert_true(x > 0 && y > 0 && x < v.image->width && y < v.image->height);
    assert_false(po_part_view_point(&v, under, &x, &y));
    setup.from = PO_VIEW_BELOW;
    assert_int_equal(po_part_view_make(&setup, arena, &v, &err), PO_OK);
    assert_false(po_part_view_point(&v, on_top, &x, &y));
    assert_true(po_part_view_point(&v, under, &x, &y));
    assert_false(v.seen[PO_SURFACE_OVERHANG]); /* its underside stands on the bed */

    soup_box(&s, 1e4 + 10, 2, 30, 60, 5, 5); /* something that hangs */
    free(corners);
    m = mesh_of(&s, &corners);
    assert_int_equal(po_part_view_make(&setup, arena, &v, &err), PO_OK);
    assert_true(v.seen[PO_SURFACE_OVERHANG]);
    free(corners);
    free(s.nine);
    po_arena_free(arena);
}

static void odd_meshes_have_views(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_err err;
    po_part_view v;
    static const double XYZ[] = {0, 0, 0, 1, 0, 0, 0, 1, 0, 1e38, -1e38, 1e38, 5, 5, 5};
    static const uint32_t POINT[] = {4, 4, 4}, EDGE_ON[] = {0, 1, 1}, HUGE_ONE[] = {0, 1, 3}, FLAT[] = {0, 1, 2};
    const uint32_t *const corners[] = {POINT, EDGE_ON, HUGE_ONE, FLAT};
    for (size_t i = 0; i < 4; i++) {
        for (int from = PO_VIEW_ABOVE; from <= PO_VIEW_DOWN; from++) {
            po_mesh m = {.xyz = XYZ, .n_vertices = 5, .corners = corners[i], .n_triangles = 1};
            po_view_setup setup = {
                .mesh = &m, .from = (po_view_from)from, .width = 64, .height = 48, .overhang_limit_deg = NAN};
            assert_int_equal(po_part_view_make(&setup, arena, &v, &err), PO_OK);
            assert_true(i != 3 || (v.image && dots_seen(v.image) > 10));
            assert_true(i == 3 || !v.image || v.image->width <= 64);
        }
    }
    po_mesh empty = {0};
    po_view_setup setup = {.mesh = &empty, .width = 64, .height = 48};
    assert_int_equal(po_part_view_make(&setup, arena, &v, &err), PO_OK);
    assert_null(v.image);
    setup.width = 5000;
    assert_int_equal(po_part_view_make(&setup, arena, &v, &err), PO_E_RANGE);
    po_arena_free(arena);
}

/* A ring from loops: inside of the outer one, less the hole. */
static void a_section_has_its_area(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    static const double XY[] = {0, 0, 30, 0, 30, 20, 0, 20, 10, 5, 10, 15, 20, 15, 20, 5};
    static const uint32_t ENDS[] = {4, 8};
    po_loops loops = {.xy = XY, .n_points = 8, .ends = ENDS, .n_loops = 2};
    const po_palette_image *image = po_section_dots(arena, &loops, -1, -1, 0.1, 320, 220);
    assert_non_null(image);
    assert_true(fabs((double)dots_seen(image) * 0.01 - 500) < 15);
    assert_true((image->rgba[image->px[110 * 320 + 160]] & 0xFF) == 0); /* the hole's middle */
    po_arena_free(arena);
}

static void explained_drawings(void **state)
{
    (void)state;
    static const char *const NAMES[] = {
        "open-edges",  "crowded-edges",  "inside-out", "cuts-itself", "loose-shells", "unit-suspect",
        "not-a-solid", "many-materials", "too-big",    "fits-turned", "thin-walls",   "slim-walls",
        "narrow-gaps", "needs-support",  "other-part", "scaled",      "mirrored",     "incomplete"};
    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++) {
        po_arena *arena = po_arena_new(0);
        po_document doc;
        po_err err;
        assert_non_null(po_rule_find(NAMES[i]));
        assert_int_equal(po_slip_explain_svg(NAMES[i], arena, &doc, &err), PO_OK);
        reading r = read_xml(doc.data, doc.n_bytes);
        assert_true(r.marks > 8 && r.right <= r.width && r.bottom <= r.height);
        po_arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_form_comes_out),  cmocka_unit_test(texts_are_escaped),
        cmocka_unit_test(pdf_is_one_page),       cmocka_unit_test(a_box_has_its_area),
        cmocka_unit_test(odd_meshes_have_views), cmocka_unit_test(a_section_has_its_area),
        cmocka_unit_test(explained_drawings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
