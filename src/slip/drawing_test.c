/* The drawing list, the pictures made with it, and the documents they become. SPDX-License-Identifier: Apache-2.0
 *
 * Outside references: the bytes of PNG files (RFC 2083), base64 (RFC 4648 section 10), libqrencode's own squares. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "slip/fixture.h"
#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/say.h"

static size_t count(const po_drawing *d, po_mark_kind kind)
{
    size_t n = 0;
    for (size_t i = 0; i < d->n_marks; i++) {
        n += d->marks[i].kind == kind;
    }
    return n;
}

static const po_mark *text_mark(const po_drawing *d, const char *text)
{
    for (size_t i = 0; i < d->n_marks; i++) {
        if (d->marks[i].kind == PO_MARK_TEXT && !strcmp(d->marks[i].text, text)) {
            return &d->marks[i];
        }
    }
    return NULL;
}

/* Hatching of a square at 45 degrees with pitch p: the total length is its area / p, within the ends (geometry). */
static void hatching(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_drawing d;
    po_draw_init(&d, arena, 50, 50, NULL, NULL);
    po_draw_hatch_box(&d, (po_box2){5, 5, 40, 40}, 45, 0.5, PO_INK_LINE, 0.1);
    double sum = 0;
    for (size_t i = 0; i < d.n_marks; i++) {
        const double *q = d.marks[i].xy;
        for (int k = 0; k < 4; k++) {
            assert_true(q[k] >= 5 - 1e-9 && q[k] <= 45 + 1e-9);
        }
        sum += hypot(q[2] - q[0], q[3] - q[1]);
    }
    assert_true(fabs(sum * 0.5 / 1600 - 1) < 0.01);
    size_t before = d.n_marks;
    po_draw_hatch_box(&d, (po_box2){0, 0, 1e9, 10}, 90, 0.5, PO_INK_LINE, 0.1); /* absurd: nothing, not a flood */
    assert_int_equal(d.n_marks, before);
    po_arena_free(arena);
}

static void text_is_set(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const char *lines[4];
    assert_true(fabs(po_text_width("m", 10, false) - 9.74) < 1e-9); /* advance of DejaVu Sans: 0.974 em */
    size_t n = po_text_wrap(arena, "one two three four five six seven eight nine ten", 20, 3, false, lines, 4);
    assert_int_equal(n, 4);
    for (size_t i = 0; i < n; i++) {
        assert_true(po_text_width(lines[i], 3, false) <= 20);
        assert_true(*lines[i] != ' ');
    }
    n = po_text_wrap(arena, "one two three four five six seven eight nine ten", 20, 3, false, lines, 2);
    assert_int_equal(n, 2);
    assert_string_equal(lines[1] + strlen(lines[1]) - 3, "...");
    n = po_text_wrap(arena, "\xC3\xA9\xC3\xA9\xC3\xA9\xC3\xA9\xC3\xA9\xC3\xA9", 5, 3, false, lines,
                     4); /* never inside a character */
    for (size_t i = 0; i < n; i++) {
        assert_int_equal(strlen(lines[i]) % 2, 0);
    }
    po_arena_free(arena);
}

static void pictures_hold_what_they_say(void **state)
{
    (void)state;
    po_fixture f;
    po_drawing d;
    po_fixture_init(&f, true, false, true);
    po_draw_init(&d, f.arena, 100, 100, "bed", NULL);
    po_picture_bed(&d, (po_box2){0, 0, 100, 100}, f.proof);
    assert_false(d.failed);
    assert_int_equal(count(&d, PO_MARK_IMAGE), 1);
    assert_non_null(text_mark(&d, "keep out below 15 mm"));
    assert_non_null(text_mark(&d, "front"));
    assert_non_null(text_mark(&d, "home"));
    const po_mark *x0 = text_mark(&d, "100"), *x1 = text_mark(&d, "200");
    assert_true(x0 && x1);
    /* The first "100" and "200" stand on the x scale: 100 mm of bed at 92 / 245 mm of paper a mm. */
    assert_true(fabs((x1->xy[0] - x0->xy[0]) - 100 * 92 / 245.0) < 1e-6);
    /* The extent of the parts, dashed: 80 by 60 mm at that scale, 0.8 mm off on each side. */
    size_t dashed = 0;
    for (size_t i = 0; i < d.n_marks; i++) {
        if (d.marks[i].dash_mm > 0) {
            const double *q = d.marks[i].xy;
            double length = hypot(q[2] - q[0], q[3] - q[1]), wanted = (dashed % 2 ? 60 : 80) * 92 / 245.0 + 1.6;
            assert_true(fabs(length - wanted) < 1e-6);
            dashed++;
        }
    }
    assert_int_equal(dashed, 4);

    po_draw_init(&d, f.arena, 200, 60, "heights", NULL);
    po_picture_heights(&d, (po_box2){0, 0, 200, 60}, f.proof, 0, 4);
    assert_int_equal(count(&d, PO_MARK_IMAGE), 3);
    assert_non_null(text_mark(&d, "33.25 mm up"));
    assert_non_null(text_mark(&d, "1")); /* flags carry the findings' numbers */
    assert_non_null(text_mark(&d, "3"));
    assert_non_null(text_mark(&d, "4"));
    assert_null(text_mark(&d, "2")); /* leaves-heat-on has no place on a layer */

    po_draw_init(&d, f.arena, 100, 70, "side", NULL);
    po_picture_side(&d, (po_box2){0, 0, 100, 70}, f.proof);
    assert_non_null(text_mark(&d, "80 mm wide, 46 mm tall"));
    assert_non_null(text_mark(&d, "23 mm")); /* half way up */

    po_draw_init(&d, f.arena, 200, 26, "time", NULL);
    po_picture_time(&d, (po_box2){10, 0, 180, 26}, f.proof, f.shop);
    assert_non_null(text_mark(&d, "watch over"));
    assert_non_null(text_mark(&d, "18:22")); /* 17:45 and 371 + 1800 s, begun minutes counted */
    assert_non_null(text_mark(&d, "Thu 26 Nov 17:45"));
    double last = -1; /* labels never run into each other */
    static const char *const LABELS[] = {"start", "first bead: watch", "watch over", "end", "cool enough"};
    for (size_t i = 0; i < 5; i++) {
        const po_mark *mark = text_mark(&d, LABELS[i]);
        assert_non_null(mark);
        assert_true(mark->xy[0] > last);
        last = mark->xy[0] + po_text_width(LABELS[i], 2.5, true);
        assert_true(last <= 190.01);
    }
    po_fixture_done(&f);
}

/* Layers become dots: a single attention pixel survives drawing small; rows are turned upright. */
static void dots(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    enum { N = 200 };
    static uint8_t px[N * N];
    memset(px, PO_PX_FOOTHOLD, sizeof px);
    px[10 * N + 190] = PO_PX_ON_AIR; /* near the front, on the right */
    po_layer_image layer = {.px_mm = 0.1, .width = N, .height = N, .px = px};
    const po_palette_image *image = po_layer_dots(arena, &layer, (po_window){0, 0, 20, 20}, 20, 20);
    assert_non_null(image);
    uint8_t plain = image->px[10 * 20 + 10];
    size_t other = 0, row = 0, column = 0;
    for (size_t i = 0; i < 400; i++) {
        if (image->px[i] != plain) {
            other++;
            row = i / 20;
            column = i % 20;
        }
    }
    assert_int_equal(other, 1);
    assert_int_equal(row, 18);
    assert_int_equal(column, 19);
    assert_null(po_layer_dots(arena, &layer, (po_window){0, 0, 20, 20}, 0, 20));
    po_window w;
    assert_true(po_layer_extent(&layer, false, &w));
    assert_true(fabs(w.x1 - 20) < 1e-9 && fabs(w.y0) < 1e-9);
    memset(px, PO_PX_PRIMING, sizeof px);
    assert_false(po_layer_extent(&layer, true, &w));
    po_arena_free(arena);
}

static uint32_t big(const char *p)
{
    const unsigned char *u = (const unsigned char *)p;
    return (uint32_t)u[0] << 24 | (uint32_t)u[1] << 16 | (uint32_t)u[2] << 8 | u[3];
}

static void png_and_base64(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    static const uint8_t px[] = {0, 1, 2, 2, 1, 0};
    static const uint32_t rgba[] = {0x00000000, 0x112233FF, 0xFFFFFF80};
    po_palette_image image = {.width = 3, .height = 2, .px = px, .rgba = rgba, .n_colours = 3};
    po_document doc;
    po_err err;
    assert_int_equal(po_png_palette(&image, arena, &doc, &err), PO_OK);
    assert_memory_equal(doc.data, "\x89PNG\r\n\x1a\n", 8);
    size_t at = 8;
    char seen[64] = "";
    while (at < doc.n_bytes) { /* every chunk: length, name, data, CRC of name and data */
        uint32_t n = big(doc.data + at);
        assert_true(at + 12 + n <= doc.n_bytes);
        strncat(seen, doc.data + at + 4, 4);
        assert_int_equal(big(doc.data + at + 8 + n), crc32(0, (const Bytef *)doc.data + at + 4, n + 4));
        if (!memcmp(doc.data + at + 4, "IDAT", 4)) {
            uint8_t raw[8];
            uLongf raw_n = sizeof raw;
            assert_int_equal(uncompress(raw, &raw_n, (const Bytef *)doc.data + at + 8, n), Z_OK);
            assert_int_equal(raw_n, 8);
            assert_memory_equal(raw, "\0\0\1\2\0\2\1\0", 8);
        }
        at += 12 + n;
    }
    assert_string_equal(seen, "IHDRPLTEtRNSIDATIEND");
    image.width = 100000;
    assert_int_equal(po_png_palette(&image, arena, &doc, &err), PO_E_LIMIT);
    /* RFC 4648 section 10 */
    static const char *const PLAIN[] = {"", "f", "fo", "foo", "foob", "fooba", "foobar"};
    static const char *const CODED[] = {"", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"};
    for (size_t i = 0; i < 7; i++) {
        po_text out;
        po_text_init(&out, arena);
        po_text_base64(&out, PLAIN[i], strlen(PLAIN[i]));
        assert_string_equal(out.data ? out.data : "", CODED[i]);
    }
    po_arena_free(arena);
}

static void svg_is_safe(void **state)
{
    (void)state;
    po_fixture f;
    po_document doc;
    po_err err;
    po_fixture_init(&f, true, false, false);
    f.machines[0].name = "</svg><script>alert(1)</script>";
    assert_int_equal(po_slip_svg(f.proof, f.shop, f.arena, &doc, &err), PO_OK);
    assert_non_null(strstr(doc.data, "xmlns=\"http://www.w3.org/2000/svg\""));
    assert_null(strstr(doc.data, "<script"));
    assert_non_null(strstr(doc.data, "&lt;script&gt;"));
    assert_non_null(strstr(doc.data, "<title>"));
    assert_non_null(strstr(doc.data, "data:image/png;base64,"));
    assert_int_equal(doc.data[doc.n_bytes - 1], '\n');
    po_fixture_done(&f);
}

/* A few dots of the drawn sheet: paper in the corner, the stop's ink in its mark, darker than paper on the foothold. */
static void sheet_as_png(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_drawing d;
    po_document doc;
    po_err err;
    po_draw_init(&d, arena, 20, 10, "two halves", NULL);
    po_draw_rect(&d, (po_box2){0, 0, 10, 10}, PO_INK_STOP, PO_INK_NONE, 0);
    assert_int_equal(po_render_png(&d, 4, arena, &doc, &err), PO_OK);
    assert_int_equal(big(doc.data + 16), 80); /* IHDR: width and height */
    assert_int_equal(big(doc.data + 20), 40);
    static uint8_t packed[65536], raw[65536];
    size_t n_packed = 0;
    for (size_t at = 8; at < doc.n_bytes; at += 12 + big(doc.data + at)) {
        if (!memcmp(doc.data + at + 4, "IDAT", 4)) {
            assert_true(n_packed + big(doc.data + at) <= sizeof packed);
            memcpy(packed + n_packed, doc.data + at + 8, big(doc.data + at));
            n_packed += big(doc.data + at);
        }
    }
    uLongf n_raw = sizeof raw;
    assert_int_equal(uncompress(raw, &n_raw, packed, n_packed), Z_OK);
    assert_int_equal(n_raw, 40 * (1 + 80 * 3)); /* 8 bit RGB */
    assert_true(raw[0] <= 1);                   /* filter none or sub: the first dot is itself */
    assert_int_equal(raw[1], po_ink_rgb(PO_INK_STOP) >> 16);
    assert_int_equal(raw[2], po_ink_rgb(PO_INK_STOP) >> 8 & 255);
    assert_int_equal(raw[3], po_ink_rgb(PO_INK_STOP) & 255);
    d.width_mm = 1e7;
    assert_int_equal(po_render_png(&d, 4, arena, &doc, &err), PO_E_LIMIT);
    po_arena_free(arena);

    po_fixture f;
    po_fixture_init(&f, true, true, false);
    assert_int_equal(po_slip_png(f.proof, f.shop, f.arena, &doc, &err), PO_OK);
    assert_int_equal(big(doc.data + 16), 1575); /* 200 mm at 200 dots an inch */
    po_fixture_done(&f);
}

static void every_explanation(void **state)
{
    (void)state;
    size_t n, drawn = 0;
    const po_rule_info *rules = po_rules_table(&n);
    for (size_t i = 0; i < n; i++) {
        po_arena *arena = po_arena_new(0);
        po_document doc;
        po_err err;
        po_status status = po_slip_explain_svg(rules[i].name, arena, &doc, &err);
        assert_true(status == PO_OK || status == PO_E_NOTFOUND);
        if (!status) {
            drawn++;
            assert_non_null(strstr(doc.data, "</svg>"));
            assert_non_null(strstr(doc.data, rules[i].name));
        }
        po_arena_free(arena);
    }
    assert_int_equal(drawn, 52); /* each drawing belongs to a rule that there is */
    po_arena *arena = po_arena_new(0);
    po_document doc;
    po_err err;
    assert_int_equal(po_slip_explain_svg("no-such-thing", arena, &doc, &err), PO_E_NOTFOUND);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hatching),
        cmocka_unit_test(text_is_set),
        cmocka_unit_test(pictures_hold_what_they_say),
        cmocka_unit_test(dots),
        cmocka_unit_test(png_and_base64),
        cmocka_unit_test(svg_is_safe),
        cmocka_unit_test(sheet_as_png),
        cmocka_unit_test(every_explanation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
