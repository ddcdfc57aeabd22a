/* Beads into the bitmap and into the maps. SPDX-License-Identifier: Apache-2.0
 *
 * Cells of different rows have nothing to do with each other: a large batch is cut into bands of rows, and each band is
 * drawn or painted by whoever is free, its beads in their order. */
#include <stdlib.h>

#include "job/deposit_inside.h"

enum { MOST_BANDS = 32, BAND_BEADS = 1024 };

void po_deposit_raise(po_deposit *d, const po_bead *b, float radius)
{
    float z = bead_z(b);
    int at = INT32_MIN;
    int32_t lo[PO_SPAN_ROWS], hi[PO_SPAN_ROWS];
    for (int n; (n = po_line_spans(cell_x(d, b->x0), cell_y(d, b->y0), cell_x(d, b->x1), cell_y(d, b->y1), radius, &at,
                                   lo, hi)) > 0;) {
        for (int k = 0; k < n; k++) {
            int y = at - n + k;
            if (y < 0 || y >= d->height) {
                continue;
            }
            int x1 = hi[k] < d->width ? hi[k] : d->width - 1;
            for (int x = lo[k] < 0 ? 0 : lo[k]; x <= x1; x++) {
                po_relief_raise(&d->relief, x, y, z);
            }
        }
    }
}

static bool little_flow(const po_deposit *d, const po_bead *b)
{
    return b->area < 0.15f * (float)(d->setup.nozzle_mm[0] * d->setup.nozzle_mm[0]);
}

/* Rows [y0, y1) of a batch, drawn or painted by one thread. Bands do not share rows of tiles or what is kept of two rows. */
typedef struct band {
    int y0, y1;
    uint32_t *beads; /* that reach into it, in order */
    size_t n, cap;
    po_cells used; /* of what is drawn in it */
} band;

void po_bands_free(po_deposit *d)
{
    for (size_t i = 0; d->bands && i < MOST_BANDS; i++) {
        free(d->bands[i].beads);
    }
    free(d->bands);
    d->bands = NULL;
}

static bool add_to_band(band *b, uint32_t bead)
{
    if (b->n == b->cap) {
        size_t cap = b->cap ? b->cap * 2 : 1024;
        uint32_t *more = realloc(b->beads, cap * sizeof *more);
        if (!more) {
            return false;
        }
        b->beads = more;
        b->cap = cap;
    }
    b->beads[b->n++] = bead;
    return true;
}

/* Whether a bead lies so far inside the window that nothing of it is cut off. */
static inline bool well_inside(const po_deposit *d, float ax, float ay, float bx, float by, float r)
{
    float edge = r + 2, w = (float)d->width - edge, h = (float)d->height - edge;
    return ax > edge && ay > edge && bx > edge && by > edge && ax < w && bx < w && ay < h && by < h;
}

typedef struct painting {
    po_deposit *d;
    work *w;
    bool top;
} painting;

/* Sort the beads of a batch into bands. False where they must be taken in order: few, nobody to share with, beads that look
 * at those before them, beads at the rim (or memory is short, which matters no more than that). */
static bool fill_bands(po_deposit *d, const work *w, size_t *ret_n)
{
    const po_batch *batch = w->batch;
    if (batch->n_beads < BAND_BEADS || !d->each || (!d->bands && !(d->bands = calloc(MOST_BANDS, sizeof *d->bands)))) {
        return false;
    }
    int shift = 7, n;
    while ((n = ((d->height - 1) >> shift) + 1) > MOST_BANDS) {
        shift++;
    }
    for (int k = 0; k < n; k++) {
        d->bands[k].n = 0;
        d->bands[k].y0 = k << shift;
        d->bands[k].y1 = (k + 1) << shift;
        d->bands[k].used = (po_cells){0, 0, 0, 0};
    }
    for (uint32_t i = 0; i < batch->n_beads; i++) {
        const po_bead *b = &batch->beads[i];
        if (w->info[i].bits & INFO_OUTSIDE) {
            continue;
        }
        float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
        float r = radius_of(d, &w->info[i]);
        if (little_flow(d, b) || !well_inside(d, ax, ay, bx, by, r)) {
            return false;
        }
        int k0 = (int)(min_f(ay, by) - r - 1) >> shift, k1 = (int)(max_f(ay, by) + r + 1) >> shift;
        for (int k = k0; k <= k1; k++) {
            if (!add_to_band(&d->bands[k], i)) {
                return false;
            }
        }
    }
    *ret_n = (size_t)n;
    return true;
}

static void draw_band(size_t k, void *user)
{
    const painting *job = user;
    po_deposit *d = job->d;
    band *rows = &d->bands[k];
    for (size_t i = 0; i < rows->n; i++) {
        const po_bead *b = &job->w->batch->beads[rows->beads[i]];
        po_bitmap_line_rows(&d->laid, cell_x(d, b->x0), cell_y(d, b->y0), cell_x(d, b->x1), cell_y(d, b->y1),
                            radius_of(d, &job->w->info[rows->beads[i]]), rows->y0, rows->y1, &rows->used);
    }
}

void po_deposit_draw(po_deposit *d, work *w)
{
    if (w->drawn) {
        return;
    }
    w->drawn = true;
    const po_batch *batch = w->batch;
    size_t n_bands;
    if (fill_bands(d, w, &n_bands)) {
        painting job = {d, w, false};
        share_out(d, n_bands, draw_band, &job);
        for (size_t k = 0; k < n_bands; k++) {
            po_cells_join(&d->laid.used, &d->bands[k].used);
        }
        return;
    }
    for (size_t i = 0; i < batch->n_beads; i++) {
        const po_bead *b = &batch->beads[i];
        bead_info *info = &w->info[i];
        if (info->bits & INFO_OUTSIDE) {
            continue;
        }
        float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
        if (little_flow(d, b)) { /* does it pass over what this height has laid already? */
            int on = 0;
            for (int k = 0; k < 5; k++) {
                float t = 0.1f + 0.2f * (float)k;
                on += po_bitmap_at(&d->laid, (int)(ax + (bx - ax) * t), (int)(ay + (by - ay) * t));
            }
            if (on >= 4) {
                info->bits |= INFO_SECOND;
            }
        }
        po_bitmap_line(&d->laid, ax, ay, bx, by, radius_of(d, info));
    }
}

/* Height and label of one bead into the rows [y0, y1) of the maps. */
static inline void paint_bead(po_deposit *d, const po_bead *b, const bead_info *info, uint16_t label, int from, int to,
                              bool top)
{
    float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
    float z = bead_z(b), r = radius_of(d, info);
    if (!well_inside(d, ax, ay, bx, by, r)) {
        po_deposit_raise(d, b, r);
    } else {
        po_relief_line(&d->relief, ax, ay, bx, by, r, from, to, z, label, top);
    }
}

static void paint_band(size_t k, void *user)
{
    const painting *job = user;
    po_deposit *d = job->d;
    if (k == 0) { /* beside it */
        if (d->setup.images) {
            po_deposit_side_view(d, job->w);
        }
        return;
    }
    k--;
    const band *rows = &d->bands[k];
    const po_bead *beads = job->w->batch->beads;
    for (size_t i = 0; i < rows->n; i++) {
        if (i + FETCH_AHEAD < rows->n) {
            fetch_paint(d, &beads[rows->beads[i + FETCH_AHEAD]]);
        }
        uint32_t bead = rows->beads[i];
        paint_bead(d, &beads[bead], &job->w->info[bead], d->roots[bead], rows->y0, rows->y1, job->top);
    }
}

/* All beads in order: where what one finds there depends on those before it. */
static void paint_in_order(po_deposit *d, work *w, bool top)
{
    for (size_t i = 0; i < w->batch->n_beads; i++) {
        const po_bead *b = &w->batch->beads[i];
        bead_info *info = &w->info[i];
        if (info->bits & INFO_OUTSIDE) {
            continue;
        }
        if (little_flow(d, b)) {
            float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
            int on = 0;
            for (int k = 0; k < 5; k++) {
                float t = 0.1f + 0.2f * (float)k;
                on += height_at(d, (int)(ax + (bx - ax) * t), (int)(ay + (by - ay) * t)) >= bead_z(b) - 1e-4f;
            }
            if (on >= 4) {
                info->bits |= INFO_SECOND;
            }
        }
        paint_bead(d, b, info, d->roots[i], 0, (d->height + 15) & ~15, top);
    }
}

void po_deposit_paint(po_deposit *d, work *w)
{
    painting job = {d, w, w->batch->z_low >= d->highest};
    size_t n_bands;
    if (fill_bands(d, w, &n_bands)) {
        w->seen_from_side = true;
        share_out(d, n_bands + 1, paint_band, &job);
    } else {
        paint_in_order(d, w, job.top);
    }
    d->highest = max_f(d->highest, w->batch->z_high);
}
