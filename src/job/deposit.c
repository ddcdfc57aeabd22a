/* The deposit: takes batches in order. SPDX-License-Identifier: Apache-2.0
 *
 * A batch is looked at (h, w, what carries it), then laid into the maps, then kept back until it is known which of its
 * pieces are priming: what lies on the bed waits for the next batch that lies on material. */
#include "job/batcher.h"
#include "job/deposit_inside.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PENDING_MOST_BATCHES = 256, PENDING_MOST_BEADS = 1 << 20, MOST_CELLS = 1 << 27 };

po_deposit *po_deposit_new(const po_deposit_setup *setup)
{
    po_deposit *d = calloc(1, sizeof *d);
    if (!d) {
        return NULL;
    }
    d->setup = *setup;
    d->cell = (float)setup->raster_mm;
    d->inv_cell = (float)(1 / setup->raster_mm);
    d->tan_limit = (float)tan(fmin(fmax(setup->overhang_limit_deg, 1), 89) * M_PI / 180);
    d->inv_cell_d = nearbyint(1e6 / setup->raster_mm) / 1e6;
    d->corner_x = floor(setup->window_x.low / setup->raster_mm);
    d->corner_y = floor(setup->window_y.low / setup->raster_mm);
    d->x0 = d->corner_x * setup->raster_mm;
    d->y0 = d->corner_y * setup->raster_mm;
    d->width = (int)ceil(setup->window_x.high / setup->raster_mm - d->corner_x);
    d->height = (int)ceil(setup->window_y.high / setup->raster_mm - d->corner_y);
    if (d->width <= 0 || d->height <= 0 || (size_t)d->width * (size_t)d->height > MOST_CELLS) {
        free(d);
        return NULL;
    }
    d->lanes = calloc(setup->n_lanes, sizeof *d->lanes);
    d->sums = calloc(setup->n_machines, sizeof *d->sums);
    d->machines = calloc(setup->n_machines, sizeof *d->machines);
    d->lane_of = calloc(setup->n_machines, sizeof *d->lane_of);
    d->cap_nodes = 64;
    d->nodes = calloc(d->cap_nodes, sizeof *d->nodes);
    d->n_nodes = 1; /* 0 means none */
    d->first_layer_z = NAN;
    d->share_step = 1;
    d->probe_z = -1e9f;
    for (int a = 0; a < 3; a++) {
        d->min[a] = INFINITY;
        d->max[a] = -INFINITY;
    }
    bool ok = po_relief_init(&d->relief, d->width, d->height) && d->lanes && d->sums && d->machines && d->lane_of &&
              d->nodes && po_bitmap_init(&d->laid, d->width, d->height);
    if (!ok) {
        po_deposit_free(d);
        return NULL;
    }
    for (size_t i = 0; i < setup->n_machines; i++) {
        d->machines[i] = setup->machines[i];
        d->lane_of[i] = setup->lane_of[i];
    }
    for (size_t i = 0; i < setup->n_lanes; i++) {
        d->lanes[i].first_bead = d->lanes[i].first_layer_end = NAN;
    }
    return d;
}

void po_deposit_help(po_deposit *d, void (*each)(void *, size_t, void (*)(size_t, void *), void *), void *helpers)
{
    d->each = each;
    d->helpers = helpers;
}

static void free_work(work *w)
{
    if (w) {
        po_batch_free(w->batch);
        free(w->info);
        free(w->stretches);
        free(w->hits);
        po_image_free(w->image);
        free(w);
    }
}

void po_deposit_free(po_deposit *d)
{
    if (!d) {
        return;
    }
    po_relief_done(&d->relief);
    po_bitmap_done(&d->laid);
    po_bitmap_done(&d->mask);
    po_bitmap_done(&d->scratch);
    po_bitmap_done(&d->carried);
    po_runs_done(&d->pieces);
    po_runs_done(&d->gaps);
    po_runs_done(&d->open_runs);
    free(d->probes);
    free(d->segments);
    for (size_t i = 0; i < d->n_shares; i++) {
        free(d->shares[i].at);
    }
    free(d->shares);
    po_bands_free(d);
    free(d->roots);
    free(d->piece_node);
    free(d->flags);
    for (size_t i = 0; i < d->n_nodes && d->nodes; i++) {
        free(d->nodes[i].hull);
    }
    free(d->nodes);
    for (size_t i = 0; i < d->n_pending; i++) {
        free_work(d->pending[i]);
    }
    free(d->pending);
    free_work(d->spare);
    for (size_t i = 0; d->lanes && i < d->setup.n_lanes; i++) {
        lane_sums *l = &d->lanes[i];
        for (int t = 0; t < PO_MAX_TOOLS; t++) {
            free(l->flow[t].t);
            free(l->flow[t].f);
        }
        free(l->later);
        free(l->rows);
    }
    for (int t = 0; t < PO_MAX_TOOLS; t++) {
        free(d->tools[t]);
    }
    free(d->lanes);
    free(d->sums);
    free(d->machines);
    free(d->lane_of);
    free(d->rows);
    free(d->work_times);
    for (size_t i = 0; i < d->n_images; i++) {
        po_image_free(d->images[i]);
    }
    po_image_free(d->first_image);
    for (size_t i = 0; i < d->n_prints; i++) {
        po_image_free(d->prints[i].image);
    }
    free(d->prints);
    free(d->side);
    free(d);
}

static work *new_work(po_deposit *d, po_batch *batch)
{
    work *w = d->spare;
    d->spare = NULL;
    if (!w) {
        w = calloc(1, sizeof *w);
        if (!w) {
            return NULL;
        }
    }
    if (w->cap_info < batch->n_beads) {
        free(w->info);
        w->info = malloc(batch->cap_beads * sizeof *w->info);
        w->cap_info = w->info ? batch->cap_beads : 0;
        if (!w->info) {
            free_work(w);
            return NULL;
        }
    }
    w->batch = batch;
    w->n_stretches = w->n_hits = 0;
    w->any_on_bed = w->any_above = w->missing = w->drawn = w->seen_from_side = false;
    w->missing_mm = 0;
    w->solid_share = w->fill_share = w->walls = NAN;
    w->image = NULL;
    w->area_mm2 = 0;
    memset(&w->used, 0, sizeof w->used);
    return w;
}

static bool close_pending(po_deposit *d, bool all_counts, void (*spent)(po_batch *, void *), void *user)
{
    for (size_t i = 0; i < d->n_pending; i++) {
        work *w = d->pending[i];
        bool ok = po_deposit_close(d, w, all_counts);
        po_image_free(w->image);
        w->image = NULL;
        po_batch *batch = w->batch;
        w->batch = NULL;
        if (!d->spare) {
            d->spare = w;
        } else {
            free_work(w);
        }
        spent(batch, user);
        if (!ok) {
            memmove(d->pending, d->pending + i + 1, (d->n_pending - i - 1) * sizeof *d->pending);
            d->n_pending -= i + 1;
            return false;
        }
    }
    d->n_pending = 0;
    d->pending_beads = 0;
    return true;
}

static bool keep(po_deposit *d, work *w)
{
    if (d->n_pending == d->cap_pending) {
        size_t cap = d->cap_pending ? d->cap_pending * 2 : 16;
        work **more = realloc(d->pending, cap * sizeof(work *));
        if (!more) {
            return false;
        }
        d->pending = more;
        d->cap_pending = cap;
    }
    d->pending[d->n_pending++] = w;
    d->pending_beads += w->batch->n_beads;
    return true;
}

bool po_deposit_batch(po_deposit *d, po_batch *batch, void (*spent)(po_batch *batch, void *user), void *user)
{
    if (batch->n_beads == 0 && batch->n_passings == 0) {
        spent(batch, user);
        return true;
    }
    work *w = new_work(d, batch);
    if (!w) {
        po_batch_free(batch);
        return false;
    }
    if (batch->n_beads == 0) {
        po_deposit_close_due(d);
    }
    bool ok = po_deposit_sample(d, w) && !d->closing.failed;
    if (ok) {
        po_deposit_hits(d, w);
        ok = po_deposit_lay(d, w);
    }
    if (!keep(d, w)) {
        free_work(w);
        return false;
    }
    if (!ok) {
        return false; /* the kept work is freed with the deposit */
    }
    bool known = d->n_footholds > 0 && (w->any_above || batch->n_beads == 0);
    if (known || d->n_pending > PENDING_MOST_BATCHES || d->pending_beads > PENDING_MOST_BEADS) {
        d->closing.due = true;
        d->closing.all_counts = !known && d->n_footholds == 0;
        d->closing.spent = spent;
        d->closing.user = user;
    }
    return true;
}

void po_deposit_close_due(po_deposit *d)
{
    if (d->closing.due) {
        d->closing.due = false;
        d->closing.failed |= !close_pending(d, d->closing.all_counts, d->closing.spent, d->closing.user);
    }
}

bool po_deposit_finish(po_deposit *d, const double end_xyz[3], void (*spent)(po_batch *batch, void *user), void *user)
{
    /* A job that never found a foothold: what lies on the bed is priming, the rest began in the air. */
    po_deposit_close_due(d);
    if (d->closing.failed || !close_pending(d, d->n_footholds == 0, spent, user)) {
        return false;
    }
    /* does the nozzle stay on the part? */
    float far_x = cell_x(d, (float)end_xyz[0]), far_y = cell_y(d, (float)end_xyz[1]); /* may be kilometres away */
    int cx = (int)floorf(max_f(min_f(far_x, 1e6f), -1e6f)), cy = (int)floorf(max_f(min_f(far_y, 1e6f), -1e6f));
    float reach = (float)(0.5 * d->setup.nozzle_mm[0]) * d->inv_cell;
    int r = (int)ceilf(reach);
    float top = 0;
    uint32_t part = 0;
    for (int y = cy - r; y <= cy + r; y++) {
        for (int x = cx - r; x <= cx + r; x++) {
            if (cell_inside(d, x, y) && height_at(d, x, y) > top) {
                top = height_at(d, x, y);
                part = label_at(d, x, y);
            }
        }
    }
    float h = d->usual_h > 0 ? d->usual_h : 0.2f;
    if (top > 0 && part && (d->nodes[part].foothold || d->nodes[po_node_root(d, part)].foothold) &&
        (float)end_xyz[2] - top < h) {
        for (size_t m = 0; m < d->setup.n_machines; m++) {
            po_seen(&d->sums[m].sights[PO_SIGHT_PARKS_ON_PART], po_place_at(0, end_xyz[0], end_xyz[1], end_xyz[2], NAN),
                    end_xyz[2] - (double)top, 0);
        }
    }
    return true;
}
