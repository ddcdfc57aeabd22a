/* All pictures of a part on one sheet, as SVG or PNG. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/part_pictures.h"
#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/say.h"
#include "slip/text_kit.h"

#define WIDTH_MM 200.0
#define MARGIN_MM 9.0
#define INNER (WIDTH_MM - 2 * MARGIN_MM)
#define LIES_H 74.0
#define ITEM_H 62.0
/* 200 dots an inch, as the sheet of a job. */
#define SHEET_DOTS_PER_MM (200 / 25.4)
enum { MOST_ITEMS = 6, MOST_BEDS = 10, BED_COLUMNS = 5, WAY_COLUMNS = 3 };

static size_t n_beds(const po_part_report *r)
{
    return r->shop->n_machines < MOST_BEDS ? r->shop->n_machines : MOST_BEDS;
}

static size_t bed_columns(const po_part_report *r)
{
    size_t n = n_beds(r);
    return n < 3 ? 3 : n < BED_COLUMNS ? n : BED_COLUMNS;
}

static double head(po_drawing *d, po_arena *a, const po_part_proof *proof)
{
    const po_part_report *r = proof->report;
    const po_estimate *e = po_part_judged(r);
    const char *file = po_last_part(po_say_clean(a, proof->file));
    double y = MARGIN_MM;
    po_draw_verdict(d, MARGIN_MM + 5, y + 4.6, 9, proof->verdict);
    po_draw_bold(
        d, MARGIN_MM + 13, y + 4, 4.4, PO_ANCHOR_START, PO_INK_LINE,
        po_text_cut(a, po_arena_printf(a, "%s: %s", po_say_clean(a, r->machine->name), po_say_answer(proof->verdict)),
                    INNER * 0.55, 4.4, true));
    po_draw_text(d, MARGIN_MM + 13, y + 8.6, 2.9, PO_ANCHOR_START, PO_INK_SOFT,
                 po_text_cut(a, file, INNER * 0.55, 2.9, false));
    if (e) {
        po_draw_bold(
            d, MARGIN_MM + INNER, y + 4, 3.4, PO_ANCHOR_END, PO_INK_LINE,
            po_arena_printf(a, "about %s, %s", po_say_metres(a, e->filament_mm), po_say_grams(a, e->filament_g)));
        po_draw_text(d, MARGIN_MM + INNER, y + 8.6, 2.9, PO_ANCHOR_END, PO_INK_SOFT,
                     po_arena_printf(a, "about %s, recipe %s", po_say_time(a, e->seconds),
                                     po_text_cut(a, po_say_clean(a, e->recipe->name), 40, 2.9, false)));
    }
    po_draw_line(d, MARGIN_MM, y + 12, MARGIN_MM + INNER, y + 12, PO_INK_FAINT, 0.25);
    return y + 15;
}

po_status po_part_sheet(po_drawing *d, po_arena *a, const po_part_proof *proof, po_err *err)
{
    const po_part_report *r = proof->report;
    size_t worst = po_part_worst_solid(proof), items = r->n_solids < MOST_ITEMS ? r->n_solids : MOST_ITEMS;
    po_part_gallery g;
    po_status status = po_part_gallery_make(r, worst, a, &g, err);
    if (status) {
        return status;
    }
    const char *title = po_arena_printf(a, "%s on %s: %s", po_last_part(po_say_clean(a, proof->file)),
                                        po_say_clean(a, r->machine->name), po_say_answer(proof->verdict));
    po_draw_init(d, a, WIDTH_MM, 0, title, proof->aloud ? po_say_clean(a, proof->aloud) : NULL);
    double y = head(d, a, proof), x = MARGIN_MM;
    if (items == 0) {
        po_draw_text(d, x, y + 5, 3, PO_ANCHOR_START, PO_INK_LINE, "There is no model in this file.");
        y += 10;
    }
    double h = items > 1 ? ITEM_H : LIES_H;
    for (size_t i = 0; i < items; i++) {
        po_part_picture_lies(d, (po_box2){x, y, INNER, h}, &g, proof, i, r->n_solids > 1 ? po_say_item(a, r, i) : NULL);
        y += h + 3;
    }
    if (r->n_solids > items) {
        po_draw_textf(d, x, y + 2, 2.6, PO_ANCHOR_START, PO_INK_SOFT, "and %zu kinds of items more",
                      r->n_solids - items);
        y += 6;
    }
    y += po_part_picture_key(d, x, y, INNER, &g, SIZE_MAX);
    y += items ? 3 : 0;
    double sections = po_part_sections_height(r, worst, INNER), ways, beds, takes;
    ways = po_part_ways_height(r, worst, INNER, WAY_COLUMNS, PO_MOST_WAYS);
    beds = po_part_beds_height(r, worst, INNER, n_beds(r), bed_columns(r));
    takes = po_part_takes_height(r);
    if (items > 1 && sections + ways + beds > 0) {
        const char *of = po_arena_printf(a, "%s:", po_say_item(a, r, worst));
        po_draw_line(d, x, y, x + INNER, y, PO_INK_FAINT, 0.25);
        po_draw_bold(d, x, y + 5, 3.4, PO_ANCHOR_START, PO_INK_LINE, po_text_cut(a, of, INNER, 3.4, true));
        y += 8;
    }
    if (sections > 0) {
        po_part_picture_sections(d, (po_box2){x, y, INNER, sections}, r, worst);
        y += sections + 4;
    }
    if (ways > 0) {
        po_part_picture_ways(d, (po_box2){x, y, INNER, ways}, &g, worst, WAY_COLUMNS, PO_MOST_WAYS);
        y += ways + 4;
    }
    if (beds > 0) {
        po_part_picture_beds(d, (po_box2){x, y, INNER, beds}, r, worst, 0, n_beds(r), bed_columns(r));
        y += beds + 3;
    }
    if (takes > 0) {
        po_part_picture_takes(d, (po_box2){x, y, INNER, takes}, r);
        y += takes + 2;
    }
    d->height_mm = y + MARGIN_MM - 3;
    return PO_OK;
}

po_status po_part_slip_svg(const po_part_proof *proof, po_arena *arena, po_document *ret, po_err *err)
{
    po_drawing d;
    po_text out;
    po_status status = po_part_sheet(&d, arena, proof, err);
    po_text_init(&out, arena);
    status = status ? status : po_render_svg(&d, true, &out, err);
    if (!status) {
        *ret = (po_document){.data = out.data, .n_bytes = out.n};
    }
    return status;
}

po_status po_part_slip_png(const po_part_proof *proof, po_arena *arena, po_document *ret, po_err *err)
{
    po_drawing d;
    po_status status = po_part_sheet(&d, arena, proof, err);
    return status ? status : po_render_png(&d, SHEET_DOTS_PER_MM, arena, ret, err);
}
