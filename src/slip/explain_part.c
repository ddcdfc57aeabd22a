/* Drawings: findings about a part's size, walls and way up, and about a job held against it. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "slip/explain_kit.h"

static void too_big(po_drawing *d)
{
    po_box2 a = po_ex_bed_above(d, EX_LEFT), b = po_ex_bed_above(d, EX_RIGHT);
    po_ex_box(d, a.x - 5, a.y + 10, a.w + 10, 15);
    po_draw_rect(d, a, PO_INK_NONE, PO_INK_LINE, 0.5);
    po_ex_length(d, a.x - 5, a.x + a.w + 5, a.y + 33, "longer than the bed");
    po_ex_box(d, b.x + 7, b.y + 2.5, 27, 14);
    po_ex_box(d, b.x + 7, b.y + 19.5, 27, 14);
}

/* A slat as wide as w, thick t, turned, about a middle. */
static void slat(po_drawing *d, double x, double y, double w, double t, double deg)
{
    double c = cos(deg * M_PI / 180), s = sin(deg * M_PI / 180), q[8];
    static const int SIGN[4][2] = {{-1, -1}, {1, -1}, {1, 1}, {-1, 1}};
    for (int i = 0; i < 4; i++) {
        double u = SIGN[i][0] * w / 2, v = SIGN[i][1] * t / 2;
        q[2 * i] = x + c * u + s * v;
        q[2 * i + 1] = y - s * u + c * v;
    }
    po_ex_solid(d, q, 4);
}

static void fits_turned(po_drawing *d)
{
    po_box2 a = po_ex_bed_above(d, EX_LEFT), b = po_ex_bed_above(d, EX_RIGHT);
    slat(d, a.x + a.w / 2, a.y + a.h / 2, 48, 5, 0);
    po_draw_rect(d, a, PO_INK_NONE, PO_INK_LINE, 0.5);
    slat(d, b.x + b.w / 2, b.y + b.h / 2, 48, 5, 40);
    double q[22];
    for (int i = 0; i < 11; i++) {
        double t = (4 + 28 * i / 10.0) * M_PI / 180;
        q[2 * i] = b.x + b.w / 2 + 16 * cos(t);
        q[2 * i + 1] = b.y + b.h / 2 - 16 * sin(t);
    }
    po_draw_polyline(d, q, 11, PO_INK_LINE, 0.35);
    po_draw_arrow(d, q[18], q[19], q[20] - 0.4, q[21] - 0.8, PO_INK_LINE, 0.3);
}

/* Two upright lines: what was drawn. */
static void drawn_wall(po_drawing *d, double x, double w)
{
    po_draw_dashed(d, x - w / 2, 11, x - w / 2, EX_BED, PO_INK_LINE, 0.35, 1.2);
    po_draw_dashed(d, x + w / 2, 11, x + w / 2, EX_BED, PO_INK_LINE, 0.35, 1.2);
}

static void walls(po_drawing *d, bool thin)
{
    for (int half = 0; half < 2; half++) {
        double x = (half ? EX_RIGHT : EX_LEFT) + 28, w = half ? 15.5 : thin ? 4 : 11, bead = 8;
        po_ex_bed(d, x - 24, x + 27, EX_BED);
        for (int i = 0; i < 6; i++) {
            double y = EX_BED - 4.6 * i;
            if (half) {
                po_ex_row(d, x, y, 2, bead, 4.6);
            } else if (!thin || i % 3 != 1) { /* a thin one is left out here and there */
                po_ex_bead(d, x + (thin ? (i % 2 ? 0.8 : -0.8) : 0), y, bead, 4.6, false);
            }
        }
        drawn_wall(d, x, w);
        po_draw_text(d, x, 8.6, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE,
                     half   ? "drawn: two beads"
                     : thin ? "drawn: less than a bead"
                            : "drawn: a bead and a half");
    }
}

static void thin_walls(po_drawing *d)
{
    walls(d, true);
}

static void slim_walls(po_drawing *d)
{
    walls(d, false);
}

static void narrow_gaps(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, gap = half ? 8 : 2;
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        po_ex_box(d, x + 8, 16, 21 - gap / 2, EX_BED - 16);
        po_ex_box(d, x + 29 + gap / 2, 16, 21 - gap / 2, EX_BED - 16);
        if (half) {
            po_ex_length(d, x + 29 - gap / 2, x + 29 + gap / 2, 12, "0.4 mm and more");
        } else {
            for (int i = 0; i < 3; i++) {
                po_ex_bead(d, x + 29, 26.0 + 7 * i, 7, 3, true);
            }
            po_draw_text(d, x + 29, 11, 2.6, PO_ANCHOR_MIDDLE, PO_INK_LINE, "narrower than a bead: grows together");
        }
    }
}

static void needs_support(po_drawing *d)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, foot = half ? 14 : EX_BED, head = half ? EX_BED : 14;
        double way = half ? 1 : -1; /* towards the head */
        double q[] = {x + 24, foot, x + 34, foot, x + 34, head - way * 9, x + 49, head - way * 9,
                      x + 49, head, x + 9,  head, x + 9,  head - way * 9, x + 24, head - way * 9};
        double stem[] = {x + 24, foot, x + 34, foot, x + 34, head - way * 9, x + 24, head - way * 9};
        po_ex_bed(d, x + 3, x + 56, EX_BED);
        po_draw_polygon(d, q, 8, PO_INK_WASH, PO_INK_NONE, 0);
        po_draw_hatch(d, stem, 4, 45, 1.8, PO_INK_FAINT, 0.22);
        po_draw_hatch_box(d, (po_box2){x + 9, half ? head - 9 : head, 40, 9}, 45, 1.8, PO_INK_FAINT, 0.22);
        po_draw_polygon(d, q, 8, PO_INK_NONE, PO_INK_LINE, 0.45);
        for (int side = 0; side < 2 && !half; side++) {
            double from = x + (side ? 34.4 : 9);
            po_draw_line(d, from, 23, from + 14.6, 23, PO_INK_STOP, 0.9);
            for (int i = 0; i < 4; i++) {
                po_draw_dashed(d, from + 2 + 3.5 * i, 24.5, from + 2 + 3.5 * i, EX_BED, PO_INK_SOFT, 0.25, 1.2);
            }
        }
    }
}

/* ---- a job against its part: dashed what the part is, hatched what the job lays ---- */

static void key(po_drawing *d, double x)
{
    po_draw_dashed(d, x + 9, 47, x + 15, 47, PO_INK_LINE, 0.4, 1);
    po_ex_note(d, x + 16.5, 47.9, "part");
    po_ex_box(d, x + 29, 45.8, 5, 2.4);
    po_ex_note(d, x + 35.5, 47.9, "job");
}

static void dashed_loop(po_drawing *d, const double *q, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        size_t k = (i + 1) % n;
        po_draw_dashed(d, q[2 * i], q[2 * i + 1], q[2 * k], q[2 * k + 1], PO_INK_LINE, 0.5, 1.2);
    }
}

/* An L of two bars about a corner, scaled; mirrored: its foot to the left. */
static void ell(po_drawing *d, double x, double y, double s, bool mirrored, bool job)
{
    double k = mirrored ? -s : s;
    double q[] = {x - 9 * k,  y - 13 * s, x - 2 * k,  y - 13 * s, x - 2 * k, y + 5 * s,
                  x + 10 * k, y + 5 * s,  x + 10 * k, y + 12 * s, x - 9 * k, y + 12 * s};
    double bar[] = {q[0], q[1], q[2], q[3], q[4], q[9], q[10], q[11]},
           foot[] = {q[4], q[5], q[6], q[7], q[8], q[9], q[4], q[9]};
    if (job) {
        po_draw_polygon(d, q, 6, PO_INK_WASH, PO_INK_NONE, 0);
        po_draw_hatch(d, bar, 4, 45, 1.8, PO_INK_FAINT, 0.22);
        po_draw_hatch(d, foot, 4, 45, 1.8, PO_INK_FAINT, 0.22);
        po_draw_polygon(d, q, 6, PO_INK_NONE, PO_INK_LINE, 0.4);
    } else {
        dashed_loop(d, q, 6);
    }
}

static void against(po_drawing *d, int what)
{
    for (int half = 0; half < 2; half++) {
        double x = half ? EX_RIGHT : EX_LEFT, cx = x + 29.5, cy = 26;
        po_ex_bed_above(d, x);
        if (what == 0 && !half) {
            double disc[48];
            for (int i = 0; i < 24; i++) {
                disc[2 * i] = cx + 11 * cos(i * M_PI / 12);
                disc[2 * i + 1] = cy + 11 * sin(i * M_PI / 12);
            }
            po_ex_solid(d, disc, 24);
            ell(d, cx, cy, 1, false, false);
        } else if (what == 3) {
            ell(d, cx - 11, cy, 0.8, false, true);
            ell(d, cx - 11, cy, 0.8, false, false);
            if (half) {
                ell(d, cx + 11, cy, 0.8, false, true);
            }
            ell(d, cx + 11, cy, 0.8, false, false);
        } else {
            ell(d, cx, cy, what == 1 && !half ? 0.8 : 1.1, what == 2 && !half, true);
            ell(d, cx, cy, 1.1, false, false);
        }
        key(d, x);
    }
}

static void other_part(po_drawing *d)
{
    against(d, 0);
}

static void scaled(po_drawing *d)
{
    against(d, 1);
}

static void mirrored(po_drawing *d)
{
    against(d, 2);
}

static void incomplete(po_drawing *d)
{
    against(d, 3);
}

const po_explain *po_explain_part(size_t *ret_n)
{
    static const po_explain ROWS[] = {
        {"too-big", "The part is larger than the machine.", "Cut it into pieces, lay it otherwise, or make it smaller.",
         too_big},
        {"fits-turned", "As it lies it sticks out.", "Turned about the vertical it fits.", fits_turned},
        {"thin-walls", "Thinner than a bead: left out here and there.", "Two beads side by side hold.", thin_walls},
        {"slim-walls", "Between one bead and two: a single weak one.", "Two beads side by side hold.", slim_walls},
        {"narrow-gaps", "The two sides grow together.", "A wider gap stays open.", narrow_gaps},
        {"needs-support", "What hangs over has to be held up, and cleaned.", "Turned over it stands by itself.",
         needs_support},
        {"other-part", "The job lays another outline than the part has.", "Outline and part agree.", other_part},
        {"scaled", "The job lays the part at another size.", "The same size as it was drawn.", scaled},
        {"mirrored", "The job lays its mirror image.", "The hand as it was drawn.", mirrored},
        {"incomplete", "A piece of the part is not in the job.", "Everything that the part has is there.", incomplete},
    };
    *ret_n = sizeof ROWS / sizeof *ROWS;
    return ROWS;
}
