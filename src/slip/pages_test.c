/* The slip as HTML and PDF. SPDX-License-Identifier: Apache-2.0
 *
 * Outside references: pdfinfo, pdftoppm and zbarimg where they are installed (the test says when they are not);
 * libqrencode's squares, linked here and opened by name in the library. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <qrencode.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "slip/fixture.h"
#include "slip/render.h"

static size_t times(const char *text, const char *part)
{
    size_t n = 0;
    for (const char *p = strstr(text, part); p; p = strstr(p + strlen(part), part)) {
        n++;
    }
    return n;
}

static void html_is_whole_and_safe(void **state)
{
    (void)state;
    po_fixture a, b;
    po_document doc;
    po_err err;
    po_slip_options options = PO_SLIP_OPTIONS_INIT;
    options.today = "<img src=x onerror=alert(1)>";
    po_fixture_init(&a, true, false, true);
    po_fixture_init(&b, false, true, true);
    a.proof->file = "x/\"><script>alert('f')</script>.gcode";
    a.machines[0].name = "<b onmouseover=\"x\">";
    ((po_finding *)a.proof->findings)[0].says = "a < b & c > d \"e\" 'f' <iframe>";
    ((po_finding *)a.proof->findings)[1].todo = "<svg onload=x>";
    a.materials[0].name = "<i>petg";
    a.shop->name = "<u>Shop";
    a.proof->aloud = "</p><script>";
    const po_proof *proofs[] = {a.proof, b.proof};
    assert_int_equal(po_slip_html(proofs, 2, a.shop, &options, a.arena, &doc, &err), PO_OK);
    static const char *const NEVER[] = {"<script", "<img",        "<iframe", "<b ",      "<i>",
                                        "<u>",     "<svg onload", "http://", "https://", "url("};
    for (size_t i = 0; i < sizeof NEVER / sizeof *NEVER; i++) {
        if (strstr(doc.data, NEVER[i])) {
            fail_msg("the page holds %s", NEVER[i]);
        }
    }
    assert_non_null(strstr(doc.data, "a &lt; b &amp; c &gt; d &quot;e&quot; &#39;f&#39; &lt;iframe&gt;"));
    assert_true(!strncmp(doc.data, "<!DOCTYPE html>", 15));
    assert_non_null(strstr(doc.data, "lang=\"en\""));
    assert_non_null(strstr(doc.data, "name=\"viewport\""));
    assert_non_null(strstr(doc.data, "prefers-color-scheme:dark"));
    assert_non_null(strstr(doc.data, "@media print"));
    assert_int_equal(times(doc.data, "<h1"), 1);
    assert_int_equal(times(doc.data, "<section"), 2);
    assert_int_equal(times(doc.data, "</section>"), 2);
    assert_int_equal(times(doc.data, "<svg "), times(doc.data, "</svg>"));
    assert_int_equal(times(doc.data, "<svg "), times(doc.data, "role=\"img\""));
    assert_true(times(doc.data, "aria-label=") >= times(doc.data, "<svg ")); /* each picture has words */
    assert_int_equal(times(doc.data, "<figure"), times(doc.data, "</figure>"));
    po_fixture_done(&a);
    po_fixture_done(&b);
}

static void code_is_qrencodes(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_err err;
    int n;
    const uint8_t *dark;
    const char *prefix = "3b1f9c0d5e77a246";
    assert_int_equal(po_code_squares(prefix, arena, &n, &dark, &err), PO_OK);
    QRcode *code = QRcode_encodeString(prefix, 0, QR_ECLEVEL_M, QR_MODE_8, 1);
    assert_non_null(code);
    assert_int_equal(n, code->width);
    for (int i = 0; i < n * n; i++) {
        assert_int_equal(dark[i], code->data[i] & 1);
    }
    QRcode_free(code);
    po_arena_free(arena);
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
    char folder[] = P_tmpdir "/po-slip-XXXXXX", path[128], command[512], line[128];
    assert_non_null(mkdtemp(folder));
    for (int k = 0; k < 3; k++) {
        po_fixture f;
        po_document doc, again;
        po_err err;
        po_fixture_init(&f, k > 0, k == 1, k == 2);
        po_finding many[40];
        if (k == 2) { /* far more than fits: still one page, and the rest is named */
            for (size_t i = 0; i < 40; i++) {
                many[i] = f.proof->findings[i % 6];
            }
            f.proof->findings = many;
            f.proof->n_findings = 40;
        }
        assert_int_equal(po_slip_pdf(f.proof, f.shop, NULL, f.arena, &doc, &err), PO_OK);
        assert_memory_equal(doc.data, "%PDF-", 5);
        assert_int_equal(po_slip_pdf(f.proof, f.shop, NULL, f.arena, &again, &err), PO_OK);
        assert_int_equal(doc.n_bytes, again.n_bytes); /* same input, same bytes */
        assert_memory_equal(doc.data, again.data, doc.n_bytes);
        assert_non_null(memmem(doc.data, doc.n_bytes, "/Creator", 8));   /* what it says of itself is readable ... */
        assert_null(memmem(doc.data, doc.n_bytes, "/CreationDate", 13)); /* ... and holds no clock */
        snprintf(path, sizeof path, "%s/slip.pdf", folder);
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
            assert_string_equal(line, "3b1f9c0d5e77a246");
        } else {
            print_message("pdftoppm or zbarimg is not there: the printed code was not read\n");
        }
        snprintf(command, sizeof command, "rm -f %s/page*.png", folder);
        ask(command, line, sizeof line);
        unlink(path);
        po_fixture_done(&f);
    }
    rmdir(folder);
}

/* Jobs at the edge: nothing laid, nothing measured, no machine height, absurd numbers. Every form still comes out. */
static void odd_jobs(void **state)
{
    (void)state;
    for (int k = 0; k < 4; k++) {
        po_fixture f;
        po_document doc;
        po_err err;
        po_fixture_init(&f, true, k % 2, k > 1);
        po_job_facts *facts = &f.report->facts;
        f.report->images = (po_job_images){0};
        if (k == 0) {
            *facts = (po_job_facts){.bytes = 10, .lines = 1, .moves = 1};
            for (int i = 0; i < 3; i++) {
                facts->bounds_mm.min[i] = facts->bounds_mm.max[i] = facts->bounds_all_mm.min[i] = NAN;
                facts->bounds_all_mm.max[i] = NAN;
            }
            facts->first_bead_seconds = facts->first_layer_seconds = facts->layer_height_mm = NAN;
            f.proof->cool_seconds = NAN;
        } else if (k == 1) {
            facts->bounds_mm = facts->bounds_all_mm = (po_span3){{-1e9, -1e9, 0}, {1e9, 1e9, 1e9}};
            facts->seconds = 1e15;
        } else if (k == 2) {
            facts->seconds = NAN;
            facts->filament_mm = NAN;
        } else {
            facts->first_bead_seconds = 1e12; /* beyond the end */
            facts->bounds_mm.max[2] = 1e-9;
        }
        const po_proof *proofs[] = {f.proof};
        assert_int_equal(po_slip_text(f.proof, f.shop, NULL, f.arena, &doc, &err), PO_OK);
        assert_int_equal(po_slip_table(proofs, 1, f.shop, NULL, f.arena, &doc, &err), PO_OK);
        assert_int_equal(po_slip_html(proofs, 1, f.shop, NULL, f.arena, &doc, &err), PO_OK);
        assert_true(doc.n_bytes < 400000);
        assert_int_equal(po_slip_svg(f.proof, f.shop, f.arena, &doc, &err), PO_OK);
        assert_null(strstr(doc.data, "nan"));
        assert_int_equal(po_slip_pdf(f.proof, f.shop, NULL, f.arena, &doc, &err), PO_OK);
        assert_int_equal(po_slip_png(f.proof, f.shop, f.arena, &doc, &err), PO_OK);
        po_fixture_done(&f);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(html_is_whole_and_safe),
        cmocka_unit_test(code_is_qrencodes),
        cmocka_unit_test(pdf_is_one_page),
        cmocka_unit_test(odd_jobs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
