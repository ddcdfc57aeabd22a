/* A part as it lies in one way up, with its trouble spots numbered. SPDX-License-Identifier: Apache-2.0 */
#include "slip/spots_picture.h"

#include <math.h>
#include <string.h>

#include "slip/part_view.h"
#include "slip/pictures.h"
#include "slip/render.h"

enum { WIDE = 720, HIGH = 540, SMALL_WIDE = 168, SMALL_HIGH = 126, KEY_ROWS = PO_SURFACE_COUNT };
#define KEY_H 5.0

static const char *const KEY[PO_SURFACE_COUNT] = {
    [PO_SURFACE_OVERHANG] = "hangs over too far to carry itself",
    [PO_SURFACE_INSIDE] = "seen from inside",
    [PO_SURFACE_THIN] = "wall thinner than one bead",
    [PO_SURFACE_SLIM] = "wall thinner than two beads",
};

/* Where the number of a spot may stand: not on another. */
static void number_spots(po_drawing *d, const po_spots_picture *p, const po_part_view *v, double per_dot, double left,
                         double top)
{
    enum { MOST = 48 };
    double xs[MOST], ys[MOST];
    for (size_t i = 0; i < p->n_spots && i < MOST; i++) {
        double x, y;
        bool seen = po_part_view_point(v, p->spots[i].at, &x, &y);
        x = left + x * per_dot;
        y = top + y * per_dot;
        double fx = x, fy = y;
        po_draw_circle(d, x, y, 0.9, seen ? PO_INK_STOP : PO_INK_PAPER, PO_INK_STOP, 0.3);
        for (int lift = 0; lift < 8; lift++) { /* away from those before, around the spot */
            bool taken = false;
            fx = x + 5.5 * cos(0.9 + lift * 0.8);
            fy = y - 5.5 * sin(0.9 + lift * 0.8);
            for (size_t k = 0; k < i; k++) {
                taken |= hypot(xs[k] - fx, ys[k] - fy) < 4.2;
            }
            if (!taken) {
                break;
            }
        }
        xs[i] = fx;
        ys[i] = fy;
        if (seen) {
            po_draw_line(d, x, y, fx, fy, PO_INK_LINE, 0.25);
        } else {
            po_draw_dashed(d, x, y, fx, fy, PO_INK_LINE, 0.25, 0.8);
        }
        po_draw_circle(d, fx, fy, 2.1, PO_INK_PAPER, PO_INK_LINE, 0.3);
        po_draw_textf(d, fx, fy + 0.95, 2.7, PO_ANCHOR_MIDDLE, PO_INK_LINE, "%zu", i + 1);
    }
}

po_status po_spots_svg(const po_spots_picture *p, po_arena *arena, po_document *ret, po_err *err)
{
    const po_solid *s = p->solid;
    po_view_setup setup = {.mesh = s->judged,
                           .turn = p->turn,
                           .from = p->below ? PO_VIEW_BELOW : PO_VIEW_ABOVE,
                           .width = p->small ? SMALL_WIDE : WIDE,
                           .height = p->small ? SMALL_HIGH : HIGH,
                           .overhang_limit_deg = p->overhang_limit_deg,
                           .on_bed_mm = p->first_layer_mm / 2,
                           .samples = s->walls_done && !p->small ? s->walls.samples : NULL,
                           .n_samples = s->walls_done && !p->small ? s->walls.n_samples : 0,
                           .bead_mm = p->bead_mm};
    po_part_view view;
    po_status status = po_part_view_make(&setup, arena, &view, err);
    if (status != PO_OK) {
        return status;
    }
    double per_dot = 0.25, edge = p->small ? 0 : 8; /* mm a dot; room for numbers */
    double w = view.image ? view.image->width * per_dot : 20, h = view.image ? view.image->height * per_dot : 15,
           key = 0;
    for (int k = 0; k < KEY_ROWS; k++) {
        key += !p->small && view.image && view.seen[k] ? KEY_H : 0;
    }
    double wide = fmax(w + 2 * edge, p->small ? 0 : 80);
    po_drawing d;
    po_draw_init(&d, arena, wide, h + 2 * edge + key, p->title, p->description);
    double left = (wide - w) / 2;
    if (view.image) {
        po_draw_image(&d, (po_box2){left, edge, w, h}, view.image);
        if (!p->small) {
            number_spots(&d, p, &view, per_dot, left, edge);
        }
    }
    double row = h + 2 * edge;
    for (int k = 0; k < KEY_ROWS && key > 0; k++) {
        const po_palette_image *patch = view.seen[k] ? po_surface_patch(arena, (po_view_kind)k, 48, 24) : NULL;
        if (patch) {
            po_draw_image(&d, (po_box2){2, row, 6, 3}, patch);
            po_draw_text(&d, 10, row + 2.4, 2.6, PO_ANCHOR_START, PO_INK_SOFT, KEY[k]);
            row += KEY_H;
        }
    }
    po_text out;
    po_text_init(&out, arena);
    status = d.failed ? po_fail(err, PO_E_NOMEM, "memory ran out while a part was drawn")
                      : po_render_svg(&d, true, &out, err);
    if (status == PO_OK) {
        *ret = (po_document){.data = out.data, .n_bytes = out.n};
    }
    return status;
}
