/* What is not carried: on air, over fill, a bridge or an overhang. SPDX-License-Identifier: Apache-2.0
 *
 * docs/measures.md, "Deposit". All of it is worked out only where a stretch asks for it: pieces of this height's
 * material, gaps of what lies beneath, material of this height that is carried. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/deposit_inside.h"

#define EDGE_MM 1.3f
#define SUPPORT_LINES_MM 3.2f /* lines of a support lie 2 to 3 mm apart (common practice, no published source) */
enum { POINTS = 24 };         /* looked at along a stretch */

typedef struct finder { /* what was worked out for this batch so far */
    bool have_pieces, have_gaps, have_open, have_carried;
    uint8_t *piece_carried;
    uint8_t *gap_kind; /* bit 0: open to the outside; bit 1: wider than FILL_GAP_MM; bit 2: width known */
    float *gap_width;  /* cells */
    uint8_t *open_kind;
    bool failed;
} finder;

/* Bits of the cells whose map is at least floor_z. */
static void mask_of_map(po_deposit *d, po_cells area, float floor_z)
{
    po_bitmap_clear(&d->mask);
    po_relief_at_least(&d->relief, area, floor_z, &d->mask);
}

static bool point(const po_deposit *d, const work *w, const stretch *s, int k, int n, float *x, float *y, float *nx,
                  float *ny, uint32_t *bead)
{
    float want = s->length * ((float)k + 0.5f) / (float)n, sum = 0;
    for (uint32_t i = s->bead0; i <= s->bead1; i++) {
        const po_bead *b = &w->batch->beads[i];
        float t0 = i == s->bead0 ? s->t0 : 0, t1 = i == s->bead1 ? s->t1 : 1, len = (t1 - t0) * b->length;
        if (sum + len >= want || i == s->bead1) {
            float t = len > 0 ? t0 + (t1 - t0) * min_f(1, max_f(0, (want - sum) / len)) : t0;
            float dx = b->x1 - b->x0, dy = b->y1 - b->y0, l = sqrtf(dx * dx + dy * dy);
            *x = cell_x(d, bead_x(b, t));
            *y = cell_y(d, bead_y(b, t));
            *nx = l > 0 ? -dy / l : 0;
            *ny = l > 0 ? dx / l : 0;
            *bead = i;
            return cell_inside(d, (int)floorf(*x), (int)floorf(*y)) && *x >= 0 && *y >= 0;
        }
        sum += len;
    }
    return false;
}

static bool find_pieces(po_deposit *d, work *w, finder *f)
{
    if (f->have_pieces) {
        return true;
    }
    f->have_pieces = true;
    po_deposit_draw(d, w);
    if (!po_runs_find(&d->pieces, &d->laid, d->laid.used, false) || !po_runs_join_near(&d->pieces)) {
        return false;
    }
    f->piece_carried = calloc(d->pieces.n_pieces ? d->pieces.n_pieces : 1, 1);
    if (!f->piece_carried) {
        return false;
    }
    size_t seg = 0;
    for (uint32_t i = 0; i < w->batch->n_beads; i++) {
        const po_bead *b = &w->batch->beads[i];
        float t = 0.5f;
        if (w->info[i].bits & INFO_OUTSIDE) {
            continue;
        }
        if (w->info[i].bits & INFO_PART_FREE) {
            bool any = false;
            while (seg < d->n_segments && d->segments[seg].bead < i) {
                seg++;
            }
            for (size_t k = seg; k < d->n_segments && d->segments[k].bead == i && !any; k++) {
                any = d->segments[k].carried;
                t = 0.5f * (d->segments[k].t0 + d->segments[k].t1);
            }
            if (!any) {
                continue;
            }
        }
        const po_run *r = po_runs_at(&d->pieces, (int)cell_x(d, bead_x(b, t)), (int)cell_y(d, bead_y(b, t)));
        if (r) {
            f->piece_carried[r->piece] = 1;
        }
    }
    return true;
}

/* "Walls all round" are those of one part: a gap between two (a part and its draft wall) is open. */
static bool open_between_parts(po_deposit *d, const finder *f)
{
    uint32_t *part = calloc(d->gaps.n_pieces + 1, sizeof *part);
    if (!part) {
        return false;
    }
    for (size_t i = 0; i < d->gaps.n_runs; i++) {
        const po_run *r = &d->gaps.runs[i];
        int side[2] = {r->x0 - 1, r->x1};
        for (int k = 0; k < 2; k++) {
            uint16_t label = cell_inside(d, side[k], r->y) ? label_at(d, side[k], r->y) : 0;
            if (!label || (f->gap_kind[r->piece] & 1)) {
                continue;
            }
            uint32_t root = po_node_root(d, label);
            if (!part[r->piece]) {
                part[r->piece] = root;
            } else if (part[r->piece] != root) {
                f->gap_kind[r->piece] |= 1;
            }
        }
    }
    free(part);
    return true;
}

static bool gaps_of(po_deposit *d, work *w, finder *f, po_cells area)
{
    free(f->gap_kind);
    free(f->gap_width);
    f->gap_width = NULL;
    f->gap_kind = NULL;
    float h = d->usual_h > 0 ? d->usual_h : 0.2f, z = po_batch_floor(w->batch);
    if (!po_deposit_need_bitmaps(d)) {
        return false;
    }
    mask_of_map(d, area, z - h - gap_most(d, h));
    if (!po_runs_find(&d->gaps, &d->mask, area, true)) {
        return false;
    }
    f->gap_kind = po_gap_kinds(d, &d->gaps, &d->mask, area);
    f->gap_width = calloc(d->gaps.n_pieces ? d->gaps.n_pieces : 1, sizeof *f->gap_width);
    return f->gap_kind && f->gap_width && open_between_parts(d, f);
}

static bool over_open(po_deposit *d, const work *w, const finder *f, const stretch *s)
{
    for (int k = 0; k < POINTS; k++) {
        float x, y, nx, ny;
        uint32_t bead;
        if (point(d, w, s, k, POINTS, &x, &y, &nx, &ny, &bead)) {
            const po_run *r = po_runs_at(&d->gaps, (int)floorf(x), (int)floorf(y));
            if (r && (f->gap_kind[r->piece] & 1)) {
                return true;
            }
        }
    }
    return false;
}

/* Gaps under a stretch. A look at its surroundings is enough where they hold the whole of the gaps that it lies over. */
static bool find_gaps(po_deposit *d, work *w, finder *f, const stretch *s)
{
    enum { FEW = 4, AROUND_MM = 12 };
    if (f->have_gaps) {
        return true;
    }
    po_cells all = po_cells_grown(d, w->used, 8);
    if (w->n_stretches <= FEW) {
        float x0 = INFINITY, x1 = -INFINITY, y0 = INFINITY, y1 = -INFINITY;
        for (uint32_t i = s->bead0; i <= s->bead1; i++) {
            const po_bead *b = &w->batch->beads[i];
            float t0 = i == s->bead0 ? s->t0 : 0, t1 = i == s->bead1 ? s->t1 : 1;
            for (int k = 0; k < 2; k++) {
                float x = cell_x(d, bead_x(b, k ? t1 : t0)), y = cell_y(d, bead_y(b, k ? t1 : t0));
                x0 = min_f(x0, x);
                x1 = max_f(x1, x);
                y0 = min_f(y0, y);
                y1 = max_f(y1, y);
            }
        }
        float out = AROUND_MM * d->inv_cell;
        po_cells near = {(int)max_f(x0 - out, (float)all.x0), (int)max_f(y0 - out, (float)all.y0),
                         (int)min_f(x1 + out, (float)all.x1), (int)min_f(y1 + out, (float)all.y1)};
        if (near.x0 < near.x1 && near.y0 < near.y1) {
            if (!gaps_of(d, w, f, near)) {
                return false;
            }
            if (!over_open(d, w, f, s)) {
                return true;
            }
        }
    }
    f->have_gaps = true;
    return gaps_of(d, w, f, all);
}

/* Width in mm of an enclosed gap that may be too wide for fill. */
static float width_of_gap(po_deposit *d, finder *f, uint32_t piece)
{
    if (!(f->gap_kind[piece] & 4)) {
        f->gap_kind[piece] |= 4;
        double cells = po_runs_inscribed(&d->gaps, piece);
        f->gap_width[piece] = cells < 0 ? 1e6f : (float)cells;
    }
    return f->gap_width[piece] * d->cell;
}

static bool find_open(po_deposit *d, work *w, finder *f)
{
    if (f->have_open) {
        return true;
    }
    f->have_open = true;
    po_deposit_draw(d, w);
    po_cells area = po_cells_grown(d, w->used, 8);
    if (!po_runs_find(&d->open_runs, &d->laid, area, true)) {
        return false;
    }
    f->open_kind = po_gap_kinds(d, &d->open_runs, &d->laid, area);
    return f->open_kind != NULL;
}

/* Material of this height that is carried, into a bitmap of its own. */
static bool find_carried(po_deposit *d, work *w, finder *f)
{
    if (f->have_carried) {
        return true;
    }
    f->have_carried = true;
    if (!d->carried.bits && !po_bitmap_init(&d->carried, d->width, d->height)) {
        return false;
    }
    po_bitmap_clear(&d->carried);
    size_t seg = 0;
    for (uint32_t i = 0; i < w->batch->n_beads; i++) {
        const po_bead *b = &w->batch->beads[i];
        float r = 0.5f * w->info[i].w * d->inv_cell;
        if (w->info[i].bits & INFO_OUTSIDE) {
            continue;
        }
        if (!(w->info[i].bits & INFO_PART_FREE)) {
            po_bitmap_line(&d->carried, cell_x(d, b->x0), cell_y(d, b->y0), cell_x(d, b->x1), cell_y(d, b->y1), r);
            continue;
        }
        while (seg < d->n_segments && d->segments[seg].bead < i) {
            seg++;
        }
        for (; seg < d->n_segments && d->segments[seg].bead == i; seg++) {
            const segment *s = &d->segments[seg];
            if (s->carried) {
                po_bitmap_line(&d->carried, cell_x(d, bead_x(b, s->t0)), cell_y(d, bead_y(b, s->t0)),
                               cell_x(d, bead_x(b, s->t1)), cell_y(d, bead_y(b, s->t1)), r);
            }
        }
    }
    return true;
}

/* Does the round end of a bead at (x, y), cells, touch something that carries, or carried material of its own height? */
static bool end_touches(const po_deposit *d, float x, float y, float reach, float floor_z)
{
    /* damaged files hold beads wider than any bed: never beyond the raster */
    int r = (int)ceilf(min_f(reach, (float)(d->width + d->height))), ix = (int)floorf(x), iy = (int)floorf(y);
    int low_x = ix > r ? ix - r : 0, high_x = ix + r < d->width ? ix + r : d->width - 1;
    int low_y = iy > r ? iy - r : 0, high_y = iy + r < d->height ? iy + r : d->height - 1;
    for (int j = low_y; j <= high_y; j++) {
        for (int i = low_x; i <= high_x; i++) {
            float ox = (float)i + 0.5f - x, oy = (float)j + 0.5f - y;
            if (ox * ox + oy * oy <= (reach + 0.5f) * (reach + 0.5f) &&
                (height_at(d, i, j) >= floor_z || po_bitmap_at(&d->carried, i, j))) {
                return true;
            }
        }
    }
    return false;
}

static bool bit_near(const po_deposit *d, const po_bitmap *map, float x, float y)
{
    return x >= 0 && y >= 0 && x < (float)d->width && y < (float)d->height && po_bitmap_at(map, (int)x, (int)y);
}

static bool beside(const po_deposit *d, const po_bitmap *map, float x, float y, float nx, float ny, float w)
{
    for (int k = 0; k < 3; k++) {
        float off = w * (0.5f + 0.2f + 0.35f * (float)k);
        if (bit_near(d, map, x + nx * off, y + ny * off)) {
            return true;
        }
    }
    return false;
}

/* A bead of fill has no neighbour of its own height at its edges, and both its sides are enclosed by this height's walls. */
static bool is_fill(po_deposit *d, work *w, finder *f, const stretch *s)
{
    int sparse = 0, n = 0;
    po_deposit_draw(d, w);
    for (int k = 0; k < POINTS / 2; k++) {
        float x, y, nx, ny;
        uint32_t bead;
        if (!point(d, w, s, k, POINTS / 2, &x, &y, &nx, &ny, &bead)) {
            continue;
        }
        n++;
        float off = 0.9f * w->info[bead].w * d->inv_cell;
        sparse += !bit_near(d, &d->laid, x + nx * off, y + ny * off) &&
                  !bit_near(d, &d->laid, x - nx * off, y - ny * off);
    }
    if (n == 0 || 2 * sparse <= n || !find_open(d, w, f)) {
        return false;
    }
    int inside = 0;
    n = 0;
    for (int k = 0; k < POINTS / 2; k++) {
        float x, y, nx, ny;
        uint32_t bead;
        if (!point(d, w, s, k, POINTS / 2, &x, &y, &nx, &ny, &bead)) {
            continue;
        }
        float off = 0.9f * w->info[bead].w * d->inv_cell;
        for (int side = -1; side <= 1; side += 2) {
            const po_run *r = po_runs_at(&d->open_runs, (int)floorf(x + (float)side * nx * off),
                                         (int)floorf(y + (float)side * ny * off));
            if (r) {
                n++;
                inside += !(f->open_kind[r->piece] & 1);
            }
        }
    }
    return n > 0 && 4 * inside >= 3 * n;
}

/* Longest part of a stretch without a sharp corner (more than 45 degrees): a zigzag that turns over a gap spans it line by
 * line. */
static float longest_straight(const work *w, const stretch *s)
{
    float longest = 0, now = 0, px = 0, py = 0;
    for (uint32_t i = s->bead0; i <= s->bead1; i++) {
        const po_bead *b = &w->batch->beads[i];
        float t0 = i == s->bead0 ? s->t0 : 0, t1 = i == s->bead1 ? s->t1 : 1;
        float dx = b->x1 - b->x0, dy = b->y1 - b->y0, l = sqrtf(dx * dx + dy * dy);
        if (l > 0) {
            dx /= l;
            dy /= l;
            now = px * dx + py * dy < 0.7071f ? 0 : now;
            px = dx;
            py = dy;
        }
        now += (t1 - t0) * b->length;
        longest = max_f(longest, now);
    }
    return longest;
}

/* Cells between carriers on both sides of a point, along the normal; 0 when they are further apart than `most`. */
static float between_carriers(const po_deposit *d, float x, float y, float nx, float ny, float most)
{
    float reach[2] = {0, 0};
    for (int side = 0; side < 2; side++) {
        float sign = side ? -1 : 1;
        for (float t = 0.5f;; t += 0.5f) {
            if (t > most) {
                return 0;
            }
            if (bit_near(d, &d->mask, x + sign * nx * t, y + sign * ny * t)) {
                reach[side] = t;
                break;
            }
        }
    }
    return reach[0] + reach[1] <= most ? reach[0] + reach[1] : 0;
}

static bool carrier_within(const po_deposit *d, float x, float y, float nx, float ny, float most)
{
    for (float t = 0.5f; t <= most; t += 0.5f) {
        if (bit_near(d, &d->mask, x + nx * t, y + ny * t) || bit_near(d, &d->mask, x - nx * t, y - ny * t)) {
            return true;
        }
    }
    return false;
}

typedef struct beneath_it { /* what lies under the points of a stretch, and how many of them say so */
    int in_gap;             /* over a gap at all */
    int enclosed;           /* over one with walls all round that is narrow enough for fill */
    int narrow;             /* between carriers that lie close on both sides, such as the lines of a support */
    int beside;             /* close beside a carrier on one side: along the edge of what is carried */
    float widest;           /* mm, of the enclosed gaps that are too wide for fill; 0: none */
    float span;             /* mm, widest distance between such carriers */
} beneath_it;

static beneath_it look_beneath(po_deposit *d, work *w, finder *f, const stretch *s)
{
    beneath_it b = {0};
    for (int k = 0; k < POINTS; k++) {
        float x, y, nx, ny;
        uint32_t bead;
        if (!point(d, w, s, k, POINTS, &x, &y, &nx, &ny, &bead)) {
            continue;
        }
        const po_run *r = po_runs_at(&d->gaps, (int)floorf(x), (int)floorf(y));
        if (!r) {
            continue;
        }
        b.in_gap++;
        uint8_t kind = f->gap_kind[r->piece];
        if (kind & 1) {
            float span = between_carriers(d, x, y, nx, ny, SUPPORT_LINES_MM * d->inv_cell) * d->cell;
            b.narrow += span > 0;
            b.beside += span > 0 || carrier_within(d, x, y, nx, ny, EDGE_MM * d->inv_cell);
            b.span = max_f(b.span, span);
            continue;
        }
        float width = kind & 2 ? width_of_gap(d, f, r->piece) : 0;
        b.enclosed += width <= FILL_GAP_MM;
        if (width > FILL_GAP_MM) {
            b.widest = max_f(b.widest, width);
        }
    }
    return b;
}

static bool class_of(po_deposit *d, work *w, finder *f, stretch *s)
{
    bool on_air = false;
    if (!s->chain_carried) {
        if (!find_pieces(d, w, f)) {
            return false;
        }
        const po_run *r = po_runs_at(&d->pieces, (int)floorf(cell_x(d, s->x)), (int)floorf(cell_y(d, s->y)));
        on_air = r && !f->piece_carried[r->piece];
        s->air_piece = on_air ? r->piece : 0;
    }
    if (!find_gaps(d, w, f, s)) {
        return false;
    }
    const beneath_it under = look_beneath(d, w, f, s);
    if (on_air) {
        /* A loop that begins within a narrow hollow (a branch of a support that parts) falls no further than its walls. */
        s->class = under.in_gap > 0 && under.enclosed == under.in_gap ? FREE_OVER_FILL : FREE_ON_AIR;
        return true;
    }
    if ((under.in_gap > 0 && 2 * under.enclosed > under.in_gap) || is_fill(d, w, f, s)) {
        s->class = FREE_OVER_FILL;
        return true;
    }
    if (5 * under.narrow > 3 * under.in_gap) { /* along a narrow gap: what is free is its width */
        s->class = FREE_BRIDGE;
        s->free_mm = min_f(s->free_mm, under.span);
        return true;
    }
    const float widest = under.widest;
    if (!find_carried(d, w, f)) {
        return false;
    }
    const po_bead *b0 = &w->batch->beads[s->bead0], *b1 = &w->batch->beads[s->bead1];
    float h = w->info[s->bead0].h, width = w->info[s->bead0].w, reach = 0.5f * width * d->inv_cell;
    float floor_z = s->z - h - gap_most(d, h);
    bool left = s->left_carried ||
                end_touches(d, cell_x(d, bead_x(b0, s->t0)), cell_y(d, bead_y(b0, s->t0)), reach, floor_z);
    bool right = s->right_carried ||
                 end_touches(d, cell_x(d, bead_x(b1, s->t1)), cell_y(d, bead_y(b1, s->t1)), reach, floor_z);
    int with_neighbour = 0, n = 0;
    for (int k = 0; k < POINTS; k++) {
        float x, y, nx, ny;
        uint32_t bead;
        if (!point(d, w, s, k, POINTS, &x, &y, &nx, &ny, &bead)) {
            continue;
        }
        n++;
        float wide = w->info[bead].w * d->inv_cell;
        with_neighbour += beside(d, &d->carried, x, y, nx, ny, wide) || beside(d, &d->carried, x, y, -nx, -ny, wide);
    }
    bool edge = 5 * under.beside > 3 * under.in_gap; /* runs along what carries, a little beside it */
    if (left && right && 2 * with_neighbour < n && !edge) {
        s->class = FREE_BRIDGE;
        s->free_mm = min_f(s->free_mm, longest_straight(w, s));
        if (widest > 0) {
            s->free_mm = min_f(s->free_mm, widest);
        }
    } else {
        s->class = FREE_OVERHANG;
    }
    return true;
}

/* A gap in height that nothing spans: nearly all of this height lies free over material, by more than may be spanned. */
static void look_for_missing(po_deposit *d, work *w)
{
    double free_mm = 0, all = 0, air = 0, over = 0;
    for (size_t i = 0; i < w->n_stretches; i++) {
        if (w->stretches[i].class == FREE_ON_AIR) {
            free_mm += (double)w->stretches[i].length;
        }
    }
    for (size_t i = 0; i < w->batch->n_beads; i++) {
        const bead_info *b = &w->info[i];
        double len = (double)w->batch->beads[i].length;
        all += len;
        if (b->beneath > 0 && !(b->bits & INFO_FOUND)) {
            over += len;
            air += len * (double)(bead_z(&w->batch->beads[i]) - b->h - b->beneath);
        }
    }
    if (free_mm > 0.8 * all && over > 0.5 * all && all > 5 && d->n_footholds > 0) {
        w->missing = true;
        w->missing_mm = (float)(air / over);
    }
}

bool po_deposit_classify(po_deposit *d, work *w)
{
    if (w->n_stretches == 0) {
        return true;
    }
    finder f = {0};
    bool ok = true;
    for (size_t i = 0; ok && i < w->n_stretches; i++) {
        ok = class_of(d, w, &f, &w->stretches[i]);
    }
    for (size_t i = 0; ok && i < w->n_stretches; i++) {
        const stretch *s = &w->stretches[i];
        if (s->class == FREE_BRIDGE) {
            for (uint32_t k = s->bead0; k <= s->bead1; k++) {
                float t0 = k == s->bead0 ? s->t0 : 0, t1 = k == s->bead1 ? s->t1 : 1;
                if (t1 - t0 > 0.5f) {
                    w->info[k].bits |= INFO_BRIDGE;
                }
            }
        }
    }
    if (ok) {
        look_for_missing(d, w);
    }
    free(f.piece_carried);
    free(f.gap_kind);
    free(f.gap_width);
    free(f.open_kind);
    return ok;
}
