/* The picture of a part in pieces. SPDX-License-Identifier: Apache-2.0
 *
 * The whole with its cuts, the pieces drawn apart with their numbers, and each joint as it is glued. Views by part_view.c;
 * for the pieces apart, each is moved away from the middle of the whole by a share of its distance. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "proveout/slip.h"
#include "slip/drawing.h"
#include "slip/part_view.h"
#include "slip/render.h"

enum { PAGE = 190, MARGIN = 8, DOTS_PER_MM = 5, COLUMNS = 4, MOST_JOINTS = 40 };
static const double APART = 0.4, WHOLE_H = 72, APART_H = 104, JOINT_H = 46;

typedef struct box3 {
    double low[3], high[3];
} box3;

static box3 bounds_of(const po_mesh *mesh)
{
    box3 b = {{INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}};
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        for (int k = 0; k < 3; k++) {
            b.low[k] = fmin(b.low[k], mesh->xyz[3 * v + (size_t)k]);
            b.high[k] = fmax(b.high[k], mesh->xyz[3 * v + (size_t)k]);
        }
    }
    return b;
}

/* All pieces as one mesh, each moved from `middle` by `apart` of its own distance; moves: three for each. */
static po_status gather(const po_pieces *pieces, double apart, double *moves, po_arena *arena, po_mesh *ret,
                        po_err *err)
{
    size_t n_vertices = 0, n_triangles = 0;
    box3 all = {{INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}};
    for (size_t i = 0; i < pieces->n_pieces; i++) {
        box3 b = bounds_of(pieces->pieces[i].mesh);
        for (int k = 0; k < 3; k++) {
            all.low[k] = fmin(all.low[k], b.low[k]);
            all.high[k] = fmax(all.high[k], b.high[k]);
            moves[3 * i + (size_t)k] = (b.low[k] + b.high[k]) / 2;
        }
        n_vertices += pieces->pieces[i].mesh->n_vertices;
        n_triangles += pieces->pieces[i].mesh->n_triangles;
    }
    double *xyz = po_arena_zeros(arena, n_vertices + 1, 3 * sizeof *xyz);
    uint32_t *corners = po_arena_zeros(arena, n_triangles + 1, 3 * sizeof *corners);
    if (!xyz || !corners || n_vertices > UINT32_MAX) {
        return po_fail(err, PO_E_NOMEM, "no memory for a picture of the pieces");
    }
    size_t v = 0, c = 0;
    for (size_t i = 0; i < pieces->n_pieces; i++) {
        const po_mesh *m = pieces->pieces[i].mesh;
        for (int k = 0; k < 3; k++) {
            moves[3 * i + (size_t)k] = apart * (moves[3 * i + (size_t)k] - (all.low[k] + all.high[k]) / 2);
        }
        for (size_t j = 0; j < 3 * m->n_triangles; j++) {
            corners[c++] = m->corners[j] + (uint32_t)v;
        }
        for (size_t j = 0; j < m->n_vertices; j++, v++) {
            for (size_t k = 0; k < 3; k++) {
                xyz[3 * v + k] = m->xyz[3 * j + k] + moves[3 * i + k];
            }
        }
    }
    *ret = (po_mesh){xyz, n_vertices, corners, n_triangles};
    return PO_OK;
}

typedef struct placed_view {
    po_part_view view;
    double x, y, dot; /* of the image's corner on the paper, and a dot's size */
} placed_view;

static po_status draw_view(po_drawing *d, const po_mesh *mesh, po_box2 box, placed_view *ret, po_err *err)
{
    po_view_setup setup = {.mesh = mesh,
                           .from = PO_VIEW_ABOVE,
                           .width = (int)(box.w * DOTS_PER_MM),
                           .height = (int)(box.h * DOTS_PER_MM),
                           .overhang_limit_deg = NAN};
    po_status status = po_part_view_make(&setup, d->arena, &ret->view, err);
    if (status != PO_OK || !ret->view.image) {
        return status;
    }
    ret->dot = 1.0 / DOTS_PER_MM;
    double w = ret->view.image->width * ret->dot, h = ret->view.image->height * ret->dot;
    ret->x = box.x + (box.w - w) / 2;
    ret->y = box.y + (box.h - h) / 2;
    po_draw_image(d, (po_box2){ret->x, ret->y, w, h}, ret->view.image);
    return PO_OK;
}

static bool to_paper(const placed_view *v, const double *p, double *x, double *y)
{
    bool seen = po_part_view_point(&v->view, p, x, y);
    *x = v->x + *x * v->dot;
    *y = v->y + *y * v->dot;
    return seen;
}

static void draw_number(po_drawing *d, double x, double y, const char *text, bool seen)
{
    double r = fmax(2.6, po_text_width(text, 3.2, true) / 2 + 1);
    po_draw_circle(d, x, y, r, PO_INK_PAPER, seen ? PO_INK_LINE : PO_INK_SOFT, seen ? 0.4 : 0.2);
    po_draw_bold(d, x, y + 1.15, 3.2, PO_ANCHOR_MIDDLE, seen ? PO_INK_LINE : PO_INK_SOFT, text);
}

/* The outline of a section where it is seen on the whole, and the cut's number beside it. */
static void draw_cut(po_drawing *d, const placed_view *v, const po_cut *cut, size_t number)
{
    const po_loops *l = &cut->section;
    double top_x = NAN, top_y = INFINITY;
    int steps = l->n_points > 2000 ? 1 : 12; /* a long edge may be hidden in part */
    for (size_t i = 0, first = 0; i < l->n_loops; first = l->ends[i++]) {
        for (size_t k = first; k < l->ends[i]; k++) {
            const double *p = l->xy + 2 * k, *q = l->xy + 2 * (k + 1 < l->ends[i] ? k + 1 : first);
            double ends[2][2];
            bool seen[2];
            for (int s = 0; s < steps; s++) {
                for (int e = 0; e < 2; e++) {
                    double t = (double)(s + e) / steps, x[3];
                    double u = p[0] + t * (q[0] - p[0]), w = p[1] + t * (q[1] - p[1]);
                    for (int a = 0; a < 3; a++) {
                        x[a] = cut->frame[9 + a] + u * cut->frame[a] + w * cut->frame[3 + a];
                    }
                    seen[e] = to_paper(v, x, &ends[e][0], &ends[e][1]);
                }
                if (seen[0] && seen[1]) {
                    po_draw_line(d, ends[0][0], ends[0][1], ends[1][0], ends[1][1], PO_INK_STOP, 0.5);
                    if (ends[0][1] < top_y) {
                        top_x = ends[0][0];
                        top_y = ends[0][1];
                    }
                }
            }
        }
    }
    if (!isnan(top_x)) {
        po_draw_textf(d, top_x, top_y - 1.2, 3, PO_ANCHOR_MIDDLE, PO_INK_STOP, "cut %zu", number);
    }
}

/* Where a piece's number goes: the middle of the triangle that is seen and nearest to the middle of the piece. */
static void place_number(po_drawing *d, const placed_view *v, const po_piece *piece, const double *move)
{
    box3 b = bounds_of(piece->mesh);
    double middle[3], at_x, at_y, best = INFINITY, x, y;
    char text[16];
    snprintf(text, sizeof text, "%u", piece->number);
    for (int k = 0; k < 3; k++) {
        middle[k] = (b.low[k] + b.high[k]) / 2 + move[k];
    }
    to_paper(v, middle, &at_x, &at_y);
    double found_x = at_x, found_y = at_y;
    size_t step = piece->mesh->n_triangles / 5000 + 1;
    for (size_t t = 0; t < piece->mesh->n_triangles; t += step) {
        double p[3] = {move[0], move[1], move[2]};
        for (size_t i = 0; i < 3; i++) {
            for (size_t k = 0; k < 3; k++) {
                p[k] += piece->mesh->xyz[3 * (size_t)piece->mesh->corners[3 * t + i] + k] / 3;
            }
        }
        if (to_paper(v, p, &x, &y) && hypot(x - at_x, y - at_y) < best) {
            best = hypot(x - at_x, y - at_y);
            found_x = x;
            found_y = y;
        }
    }
    draw_number(d, found_x, found_y, text, best < INFINITY);
}

static double loop_area(const po_loops *l, size_t i)
{
    size_t first = i ? l->ends[i - 1] : 0;
    uint32_t end = (uint32_t)(l->ends[i] - first);
    po_loops one = {l->xy + 2 * first, end, &end, 1};
    return po_loops_area(&one);
}

static void draw_joint(po_drawing *d, const po_pieces *pieces, size_t number, po_box2 box)
{
    const po_cut *cut = &pieces->cuts[number];
    const po_loops *l = &cut->section;
    double bounds[4];
    po_draw_begin(d, "joint");
    po_draw_textf(d, box.x, box.y + 3.4, 3, PO_ANCHOR_START, PO_INK_LINE, "cut %zu: %u | %u", number + 1,
                  cut->pieces[0], cut->pieces[1]);
    po_draw_textf(d, box.x, box.y + 7.2, 2.6, PO_ANCHOR_START, PO_INK_SOFT, "%.0f mm2, neck %.1f mm", cut->area_mm2,
                  cut->least_mm);
    if (po_loops_bounds(l, bounds)) {
        double w = box.w - 4, h = box.h - 12;
        double scale = fmin(w / fmax(bounds[2] - bounds[0], 1e-9), h / fmax(bounds[3] - bounds[1], 1e-9));
        double x0 = box.x + (w - scale * (bounds[2] - bounds[0])) / 2, y0 = box.y + box.h - 2;
        double *xy = po_arena_zeros(d->arena, l->n_points + 1, 2 * sizeof *xy);
        for (size_t i = 0; xy && i < l->n_points; i++) {
            xy[2 * i] = x0 + scale * (l->xy[2 * i] - bounds[0]);
            xy[2 * i + 1] = y0 - scale * (l->xy[2 * i + 1] - bounds[1]);
        }
        for (int holes = 0; xy && holes < 2; holes++) { /* solids first, then what is cut out of them */
            for (size_t i = 0; i < l->n_loops; i++) {
                size_t first = i ? l->ends[i - 1] : 0;
                if ((loop_area(l, i) < 0) == (holes == 1)) {
                    po_draw_polygon(d, xy + 2 * first, l->ends[i] - first, holes ? PO_INK_PAPER : PO_INK_WASH,
                                    PO_INK_LINE, 0.25);
                }
            }
        }
        for (size_t i = 0; i < pieces->n_pins; i++) {
            const po_pin *pin = &pieces->pins[i];
            if (pin->cut == number) {
                double u = 0, v = 0;
                for (int a = 0; a < 3; a++) {
                    u += (pin->at[a] - cut->frame[9 + a]) * cut->frame[a];
                    v += (pin->at[a] - cut->frame[9 + a]) * cut->frame[3 + a];
                }
                po_draw_circle(d, x0 + scale * (u - bounds[0]), y0 - scale * (v - bounds[1]), scale * pin->hole_mm / 2,
                               PO_INK_PAPER, PO_INK_LINE, 0.25);
            }
        }
    }
    po_draw_end(d);
}

po_status po_pieces_svg(const po_pieces *pieces, const char *title, const char *machine, po_arena *arena,
                        po_document *ret, po_err *err)
{
    po_drawing d;
    bool cut = pieces->n_cuts > 0;
    size_t n_joints = pieces->n_cuts < MOST_JOINTS ? pieces->n_cuts : MOST_JOINTS;
    size_t rows = (n_joints + COLUMNS - 1) / COLUMNS;
    double whole_h = WHOLE_H, apart_h = pieces->n_pieces > 1 ? APART_H : 0, y = MARGIN;
    double height = MARGIN + 14 + whole_h + apart_h + (double)rows * JOINT_H + MARGIN;
    char *says = po_arena_printf(arena, "%s in %zu pieces for %s, by %zu cuts", title, pieces->n_pieces, machine,
                                 pieces->n_cuts);
    double *moves = po_arena_zeros(arena, pieces->n_pieces + 1, 3 * sizeof *moves);
    po_mesh mesh;
    placed_view view = {0};
    if (!says || !moves) {
        return po_fail(err, PO_E_NOMEM, "no memory for a picture of the pieces");
    }
    po_draw_init(&d, arena, PAGE, height, says,
                 "The part with its cuts, its pieces drawn apart and numbered, and the joints to glue");
    po_draw_bold(&d, MARGIN, y + 4, 4.4, PO_ANCHOR_START, PO_INK_LINE,
                 po_text_cut(arena, title, PAGE - 2 * MARGIN, 4.4, true));
    po_draw_textf(&d, MARGIN, y + 9.5, 3.2, PO_ANCHOR_START, PO_INK_SOFT, "%zu piece%s for %s, %zu cut%s",
                  pieces->n_pieces, pieces->n_pieces == 1 ? "" : "s", machine, pieces->n_cuts,
                  pieces->n_cuts == 1 ? "" : "s");
    y += 14;
    po_draw_begin(&d, "the whole");
    po_status status = gather(pieces, 0, moves, arena, &mesh, err);
    if (status == PO_OK) {
        status = draw_view(&d, &mesh, (po_box2){MARGIN, y, PAGE - 2 * MARGIN, whole_h - 6}, &view, err);
    }
    for (size_t i = 0; status == PO_OK && view.view.image && i < pieces->n_cuts; i++) {
        draw_cut(&d, &view, &pieces->cuts[i], i + 1);
    }
    po_draw_end(&d);
    y += whole_h;
    if (status == PO_OK && pieces->n_pieces > 1) {
        po_draw_begin(&d, "the pieces apart");
        status = gather(pieces, cut ? APART : 0, moves, arena, &mesh, err);
        if (status == PO_OK) {
            status = draw_view(&d, &mesh, (po_box2){MARGIN, y, PAGE - 2 * MARGIN, apart_h - 8}, &view, err);
        }
        for (size_t i = 0; status == PO_OK && view.view.image && i < pieces->n_pieces; i++) {
            place_number(&d, &view, &pieces->pieces[i], moves + 3 * i);
        }
        po_draw_end(&d);
        y += apart_h;
    }
    double column = (PAGE - 2.0 * MARGIN) / COLUMNS;
    for (size_t i = 0; status == PO_OK && i < n_joints; i++) {
        draw_joint(&d, pieces, i,
                   (po_box2){MARGIN + column * (double)(i % COLUMNS), y + JOINT_H * (double)(i / COLUMNS), column - 3,
                             JOINT_H - 4});
    }
    if (status == PO_OK) {
        po_text text;
        po_text_init(&text, arena);
        status = po_render_svg(&d, true, &text, err);
        *ret = (po_document){text.data, text.n};
    }
    return status;
}
