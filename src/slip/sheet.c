/* All pictures of a job on one sheet, as SVG or PNG. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/say.h"

#define WIDTH_MM 200.0
#define MARGIN_MM 9.0
/* 200 dots an inch: sharp on a screen, and about 1600 dots wide. */
#define SHEET_DOTS_PER_MM (200 / 25.4)

static const char *last_part(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash && slash[1] ? slash + 1 : path;
}

void po_panels(po_drawing *d, po_box2 box, const po_proof *proof)
{
    double gap = 5;
    if (box.h < 76) {
        double a = fmin(box.w * 0.34, box.h * 1.15), b = fmin(box.w * 0.27, box.h * 0.9), x = box.x;
        po_picture_bed(d, (po_box2){x, box.y, a, box.h}, proof);
        po_picture_close(d, (po_box2){x + a + gap, box.y, b, box.h}, proof);
        po_picture_side(d, (po_box2){x + a + b + 2 * gap, box.y, box.w - a - b - 2 * gap, box.h}, proof);
        return;
    }
    double h = fmin(box.h * 0.58, box.w / 2), w = (box.w - gap) / 2;
    po_picture_bed(d, (po_box2){box.x, box.y, w, h}, proof);
    po_picture_close(d, (po_box2){box.x + w + gap, box.y, w, h}, proof);
    po_picture_side(d, (po_box2){box.x, box.y + h + 3, box.w, box.h - h - 3}, proof);
}

void po_sheet(po_drawing *d, po_arena *arena, const po_proof *proof, const po_shop *shop)
{
    const po_job_report *r = proof->report;
    size_t n = r->images.n_worst, per_row = 4, rows = (n + per_row - 1) / per_row;
    rows = rows > 4 ? 4 : rows;
    double inner = WIDTH_MM - 2 * MARGIN_MM, frames_h = po_heights_height(inner, per_row) + 2;
    double panel_h = 140, height = MARGIN_MM + 15 + 30 + panel_h + 8 + (rows ? 6 + (double)rows * frames_h : 0) + 10;
    const char *file = last_part(po_say_clean(arena, proof->file));
    const char *title = po_arena_printf(arena, "%s on %s: %s", file, po_say_clean(arena, r->machine->name),
                                        po_say_answer(proof->verdict));
    po_draw_init(d, arena, WIDTH_MM, height, title, proof->aloud);
    double y = MARGIN_MM;
    po_draw_verdict(d, MARGIN_MM + 5, y + 4.6, 9, proof->verdict);
    po_draw_bold(
        d, MARGIN_MM + 13, y + 4, 4.4, PO_ANCHOR_START, PO_INK_LINE,
        po_arena_printf(arena, "%s: %s", po_say_clean(arena, r->machine->name), po_say_answer(proof->verdict)));
    po_draw_text(d, MARGIN_MM + 13, y + 8.6, 2.9, PO_ANCHOR_START, PO_INK_SOFT,
                 po_text_cut(arena, file, inner * 0.6, 2.9, false));
    po_draw_bold(d, MARGIN_MM + inner, y + 4, 3.4, PO_ANCHOR_END, PO_INK_LINE,
                 po_arena_printf(arena, "%s, %s", po_say_metres(arena, r->facts.filament_mm),
                                 po_say_grams(arena, r->facts.filament_g)));
    po_draw_text(d, MARGIN_MM + inner, y + 8.6, 2.9, PO_ANCHOR_END, PO_INK_SOFT, po_say_time(arena, r->facts.seconds));
    y += 14;
    po_draw_line(d, MARGIN_MM, y - 2, MARGIN_MM + inner, y - 2, PO_INK_FAINT, 0.25);
    po_picture_time(d, (po_box2){MARGIN_MM, y, inner, 24}, proof, shop);
    y += 29;
    po_panels(d, (po_box2){MARGIN_MM, y, inner, panel_h}, proof);
    y += panel_h + 4;
    if (rows) {
        po_draw_bold(d, MARGIN_MM, y + 3.1, 3.1, PO_ANCHOR_START, PO_INK_LINE, "The worst heights");
        y += 7;
        for (size_t row = 0; row < rows; row++) {
            po_picture_heights(d, (po_box2){MARGIN_MM, y, inner, frames_h}, proof, row * per_row, per_row);
            y += frames_h;
        }
    }
    po_picture_key(d, MARGIN_MM, y, inner, proof);
}

po_status po_slip_svg(const po_proof *proof, const po_shop *shop, po_arena *arena, po_document *ret, po_err *err)
{
    po_drawing d;
    po_text out;
    po_sheet(&d, arena, proof, shop);
    po_text_init(&out, arena);
    po_status status = po_render_svg(&d, true, &out, err);
    if (!status) {
        *ret = (po_document){.data = out.data, .n_bytes = out.n};
    }
    return status;
}

po_status po_slip_png(const po_proof *proof, const po_shop *shop, po_arena *arena, po_document *ret, po_err *err)
{
    po_drawing d;
    po_sheet(&d, arena, proof, shop);
    return po_render_png(&d, SHEET_DOTS_PER_MM, arena, ret, err);
}
