/* How full a layer is: gaps and their kinds, loops of walls, shares of filled cells. SPDX-License-Identifier: Apache-2.0
 *
 * docs/measures.md, "Deposit", fill_fraction and walls. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/deposit_inside.h"

bool po_deposit_need_bitmaps(po_deposit *d)
{
    return (d->mask.bits || po_bitmap_init(&d->mask, d->width, d->height)) &&
           (d->scratch.bits || po_bitmap_init(&d->scratch, d->width, d->height));
}

/* Mark which gaps reach the border of the area and which hold a square so large that they may be too wide for fill. */
uint8_t *po_gap_kinds(po_deposit *d, const po_runs *gaps, const po_bitmap *map, po_cells area)
{
    uint8_t *kind = calloc(gaps->n_pieces ? gaps->n_pieces : 1, 1);
    if (!kind) {
        return NULL;
    }
    for (size_t i = 0; i < gaps->n_runs; i++) {
        const po_run *r = &gaps->runs[i];
        if (r->x0 == area.x0 || r->x1 == area.x1 || r->y == area.y0 || r->y == area.y1 - 1) {
            kind[r->piece] |= 1;
        }
    }
    /* A circle has an area, and holds a square of side 0.707 diameters: where not even those fit, the gap is narrow. The
     * areas are free; the squares are looked for only where one is large enough. */
    uint32_t *cells = calloc(gaps->n_pieces ? gaps->n_pieces : 1, sizeof *cells);
    if (!cells) {
        free(kind);
        return NULL;
    }
    bool large = false;
    uint32_t circle = (uint32_t)(0.78f * FILL_GAP_MM * FILL_GAP_MM * d->inv_cell * d->inv_cell);
    for (size_t i = 0; i < gaps->n_runs; i++) {
        const po_run *r = &gaps->runs[i];
        if (!(kind[r->piece] & 1)) {
            cells[r->piece] += (uint32_t)(r->x1 - r->x0);
            large |= cells[r->piece] >= circle;
        }
    }
    free(cells);
    int side = (int)(FILL_GAP_MM * d->inv_cell * 0.7f);
    if (large && area.x1 - area.x0 >= side && area.y1 - area.y0 >= side) {
        po_bitmap_clear(&d->scratch);
        po_bitmap_erode(map, area, true, side, &d->scratch);
        size_t w0 = (size_t)area.x0 >> 6, w1 = ((size_t)area.x1 + 63) >> 6;
        for (int y = area.y0; y < area.y1; y++) {
            const uint64_t *row = d->scratch.bits + (size_t)y * d->scratch.stride;
            for (size_t w = w0; w < w1; w++) {
                for (uint64_t bits = row[w]; bits;) {
                    int at = __builtin_ctzll(bits), x = (int)(w << 6) + at;
                    const po_run *r = po_runs_at(gaps, x, y);
                    if (!r) {
                        bits &= bits - 1;
                        continue;
                    }
                    kind[r->piece] |= 2;
                    /* the rest of this run in this word says the same */
                    int past = r->x1 - (int)(w << 6);
                    bits = past >= 64 ? 0 : bits & (~0ull << past);
                }
            }
        }
    }
    return kind;
}

po_cells po_cells_grown(const po_deposit *d, po_cells c, int by)
{
    c.x0 = c.x0 - by < 0 ? 0 : c.x0 - by;
    c.y0 = c.y0 - by < 0 ? 0 : c.y0 - by;
    c.x1 = c.x1 + by > d->width ? d->width : c.x1 + by;
    c.y1 = c.y1 + by > d->height ? d->height : c.y1 + by;
    return c;
}

/* Loops: chains that end where they begin and enclose something. */
typedef struct loop {
    uint32_t from, to;
    float x0, y0, x1, y1, w;
} loop;

static size_t find_loops(const work *w, loop *loops, size_t most)
{
    size_t n = 0;
    const po_batch *batch = w->batch;
    for (uint32_t i = 0; i < batch->n_beads && n < most;) {
        uint32_t end = i + 1;
        while (end < batch->n_beads && !(batch->beads[end].flags & PO_BEAD_CHAIN)) {
            end++;
        }
        const po_bead *first = &batch->beads[i], *last = &batch->beads[end - 1];
        float width = w->info[i].w;
        if (end - i > 2 && hypotf(last->x1 - first->x0, last->y1 - first->y0) <= 1.5f * width) {
            loop l = {i, end, first->x0, first->y0, first->x0, first->y0, width};
            double twice = 0;
            for (uint32_t k = i; k < end; k++) {
                const po_bead *b = &batch->beads[k];
                twice += (double)(b->x0 - first->x0) * (double)(b->y1 - first->y0) -
                         (double)(b->x1 - first->x0) * (double)(b->y0 - first->y0);
                l.x0 = min_f(l.x0, b->x1);
                l.x1 = max_f(l.x1, b->x1);
                l.y0 = min_f(l.y0, b->y1);
                l.y1 = max_f(l.y1, b->y1);
            }
            float side = min_f(l.x1 - l.x0, l.y1 - l.y0);
            if (side > 2 * width && fabs(twice) / 2 > 0.05 * (double)((l.x1 - l.x0) * (l.y1 - l.y0))) {
                loops[n++] = l;
            }
        }
        i = end;
    }
    return n;
}

/* Is b the next loop inwards from a: nested, about one bead further in on every side? */
static bool next_inwards(const loop *a, const loop *b)
{
    float lo = 0.6f * min_f(a->w, b->w), hi = 1.5f * max_f(a->w, b->w);
    float in[4] = {b->x0 - a->x0, a->x1 - b->x1, b->y0 - a->y0, a->y1 - b->y1};
    for (int i = 0; i < 4; i++) {
        if (in[i] < lo || in[i] > hi) {
            return false;
        }
    }
    return true;
}

/* Put the loops of parts first and return their number: aids (draft walls, skirts) have no walls. Where nothing is thick
 * enough to be a part, all count. */
static size_t of_parts(po_deposit *d, const work *w, loop *loops, size_t n)
{
    size_t m = 0;
    for (size_t i = 0; i < n; i++) {
        const po_bead *b = &w->batch->beads[loops[i].from];
        const po_run *r = po_runs_at(&d->pieces, (int)cell_x(d, b->x0), (int)cell_y(d, b->y0));
        uint32_t node_of = r ? d->piece_node[r->piece] : 0;
        if (node_of && d->nodes[po_node_root(d, node_of)].thick) {
            loop t = loops[m];
            loops[m++] = loops[i];
            loops[i] = t;
        }
    }
    return m ? m : n;
}

static double count_walls(const loop *loops, size_t n)
{
    double best_size = 0, walls = NAN;
    for (size_t i = 0; i < n; i++) {
        bool outermost = true;
        for (size_t j = 0; j < n && outermost; j++) {
            outermost = !next_inwards(&loops[j], &loops[i]);
        }
        double size = (double)(loops[i].x1 - loops[i].x0) + (double)(loops[i].y1 - loops[i].y0);
        if (!outermost || size <= best_size) {
            continue;
        }
        size_t at = i;
        double depth = 1;
        for (bool more = true; more && depth < 200;) {
            more = false;
            for (size_t j = 0; j < n; j++) {
                if (j != at && next_inwards(&loops[at], &loops[j])) {
                    at = j;
                    depth++;
                    more = true;
                    break;
                }
            }
        }
        best_size = size;
        walls = depth;
    }
    return walls;
}

/* Gaps that lie between two pieces of material (a skirt and its part, two parts) are no fill of either: open. */
static bool between_pieces(po_deposit *d, uint8_t *kind)
{
    const po_runs *gaps = &d->open_runs, *pieces = &d->pieces;
    uint32_t *neighbour = malloc((gaps->n_pieces + 1) * sizeof *neighbour);
    if (!neighbour) {
        return false;
    }
    memset(neighbour, 0xff, (gaps->n_pieces + 1) * sizeof *neighbour);
    for (size_t j = 0; j < gaps->n_rows; j++) {
        int y = gaps->y0 + (int)j;
        if (y < pieces->y0 || (size_t)(y - pieces->y0) >= pieces->n_rows) {
            continue;
        }
        uint32_t m = pieces->row_start[y - pieces->y0], m_end = pieces->row_start[y - pieces->y0 + 1];
        for (uint32_t k = gaps->row_start[j]; k < gaps->row_start[j + 1]; k++) {
            const po_run *g = &gaps->runs[k];
            while (m < m_end && pieces->runs[m].x1 < g->x0) {
                m++;
            }
            for (uint32_t i = m; i < m_end && pieces->runs[i].x0 <= g->x1; i++) {
                if (neighbour[g->piece] == UINT32_MAX) {
                    neighbour[g->piece] = pieces->runs[i].piece;
                } else if (neighbour[g->piece] != pieces->runs[i].piece) {
                    kind[g->piece] |= 1;
                }
            }
        }
    }
    free(neighbour);
    return true;
}

static double cells_set(const po_bitmap *map, po_cells area)
{
    uint64_t n = 0;
    size_t w0 = (size_t)area.x0 >> 6, w1 = ((size_t)area.x1 + 63) >> 6;
    for (int y = area.y0; y < area.y1; y++) {
        const uint64_t *row = map->bits + (size_t)y * map->stride;
        for (size_t w = w0; w < w1; w++) {
            n += (uint64_t)__builtin_popcountll(row[w]);
        }
    }
    return (double)n;
}

bool po_deposit_shares(po_deposit *d, work *w, bool fill_too)
{
    enum { MOST_LOOPS = 512 };
    if (!po_deposit_need_bitmaps(d)) {
        return false;
    }
    po_cells area = po_cells_grown(d, d->laid.used, 8);
    if (area.x0 >= area.x1 || !po_runs_find(&d->open_runs, &d->laid, area, true)) {
        return area.x0 >= area.x1;
    }
    uint8_t *kind = po_gap_kinds(d, &d->open_runs, &d->laid, area);
    if (!kind) {
        return false;
    }
    if (!between_pieces(d, kind)) {
        free(kind);
        return false;
    }
    double empty = 0, wide_cells = 0;
    for (size_t i = 0; i < d->open_runs.n_runs; i++) {
        const po_run *r = &d->open_runs.runs[i];
        uint8_t k = kind[r->piece];
        if (k & 1) {
            continue;
        }
        if ((k & 2) && !(k & 4)) { /* may be too wide: settle it once */
            kind[r->piece] |= 4;
            double wide = po_runs_inscribed(&d->open_runs, r->piece) * (double)d->cell;
            kind[r->piece] |= wide > (double)FILL_GAP_MM || wide < 0 ? 8 : 0;
        }
        if (kind[r->piece] & 8) {
            wide_cells += r->x1 - r->x0;
        } else {
            empty += r->x1 - r->x0;
        }
    }
    free(kind);
    double filled = 0;
    for (size_t i = 0; i < d->pieces.n_runs; i++) {
        filled += d->pieces.runs[i].x1 - d->pieces.runs[i].x0;
    }
    w->solid_share = filled > 0 ? filled / (filled + empty + wide_cells) : NAN;
    if (!fill_too) {
        return true;
    }
    loop *loops = malloc(MOST_LOOPS * sizeof *loops);
    if (!loops) {
        return false;
    }
    size_t n = find_loops(w, loops, MOST_LOOPS);
    w->walls = count_walls(loops, of_parts(d, w, loops, n));
    /* take the walls off: draw every loop, count what is laid outside of them */
    po_bitmap_clear(&d->scratch);
    for (size_t i = 0; i < n; i++) {
        for (uint32_t k = loops[i].from; k < loops[i].to; k++) {
            const po_bead *b = &w->batch->beads[k];
            if (!(w->info[k].bits & INFO_OUTSIDE)) {
                po_bitmap_line(&d->scratch, cell_x(d, b->x0), cell_y(d, b->y0), cell_x(d, b->x1), cell_y(d, b->y1),
                               0.5f * w->info[k].w * d->inv_cell);
            }
        }
    }
    free(loops);
    double walls = d->scratch.used.x0 < d->scratch.used.x1 ? cells_set(&d->scratch, d->scratch.used) : 0;
    double inner = filled - walls; /* the walls are laid, so they are among the filled */
    w->fill_share = inner + empty > 25 * (double)(d->inv_cell * d->inv_cell) ? fmax(inner, 0) / (inner + empty) : NAN;
    return true;
}
