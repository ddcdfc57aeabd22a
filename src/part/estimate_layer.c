/* The beads of one layer from its outline and its neighbours'. SPDX-License-Identifier: Apache-2.0
 *
 * Walls: the outline moved in by w/2, then by one pitch for each further loop, as long as anything is left; beads a
 * pitch apart fill a solid (estimate.h). An outermost loop whose sides lie nearly on each other becomes one bead along
 * its middle; bits narrower than a bead are not laid, nor are gaps between walls that hold no further loop: the range
 * covers those. Inside the innermost loop, less the lap: solid where one of the next `floors` outlines below or `roofs`
 * above leaves the layer uncovered, grown to be held; else sparse. Lengths of both come from their area and the spacing
 * of their lines, so that they do not depend on where the first line happens to lie; the lines themselves serve the
 * clock. */
#include "part/estimate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double ARC_MM = 0.01, WIPE_MM = 0.04, LEAST_MM2 = 0.02;

typedef struct layer {
    const po_est_plan *plan;
    const po_est_slices *slices;
    size_t k;
    po_est_bead bead;
    po_arena *arena;
    po_est_paths paths;
    po_est_layer *ret;
} layer;

/* ---- walls ---- */

/* Loops of one wall as paths, each begun at its corner that comes first; what has no room is left out. */
static void take_wall(layer *l, const po_loops *loops, bool outer)
{
    const double w = l->bead.w;
    for (size_t i = 0, start = 0; i < loops->n_loops; start = loops->ends[i++]) {
        uint32_t n = (uint32_t)(loops->ends[i] - start);
        po_loops one = {loops->xy + 2 * start, n, &n, 1};
        double area = po_loops_area(&one), mm = po_loops_length(&one);
        bool narrow = area > 0 && 2 * area < PO_EST_SLIVER * w * mm;
        if (n < 3 || mm < 2 * w || (narrow && !outer)) {
            continue;
        }
        double laid = narrow ? mm / 2 : mm; /* narrow: one bead along its middle, there and not back */
        l->ret->wall_mm += laid;
        po_est_path_begin(&l->paths, outer && l->k > 0 ? PO_EST_OUTER_WALL : PO_EST_WALL, !narrow);
        for (size_t p = 0; p < (narrow ? n / 2 + 1 : n); p++) {
            po_est_path_point(&l->paths, one.xy[2 * p], one.xy[2 * p + 1]);
        }
    }
}

/* All walls, innermost first; ret_inside: the innermost loops' centre lines, or the outline where there are no walls.
 * */
static po_status walls(layer *l, const po_loops *outline, po_loops *ret_inside, po_err *err)
{
    int n = l->plan->recipe->walls, laid = 0;
    po_loops *at = po_arena_zeros(l->arena, (size_t)n + 1, sizeof *at);
    const po_loops *from = outline;
    if (!at) {
        return po_fail(err, PO_E_NOMEM, "no memory for walls");
    }
    for (; laid < n; laid++) {
        po_status st = po_loops_offset(from, -(laid ? l->bead.pitch : l->bead.w / 2), ARC_MM, l->arena, &at[laid], err);
        if (st != PO_OK) {
            return st;
        }
        if (at[laid].n_loops == 0) {
            break;
        }
        from = &at[laid];
    }
    for (int i = laid - 1; i >= 0; i--) {
        l->paths.group++;
        take_wall(l, &at[i], i == 0);
    }
    l->ret->wall_mm3 = l->ret->wall_mm * l->bead.area;
    *ret_inside = laid == n ? *from : (po_loops){0};
    return PO_OK;
}

/* ---- solid and sparse ---- */

/* Where all neighbours that matter have material. *ret_none: one of them lies below the bed or above the top, so
 * nothing is covered; *ret_all: all of them are as this layer. */
static po_status covered(layer *l, po_loops *ret, bool *ret_none, bool *ret_all, po_err *err)
{
    const po_recipe *r = l->plan->recipe;
    const po_est_slice *at = l->slices->at;
    uint32_t seen = at[l->k].same;
    *ret = at[l->k].outline;
    *ret_none = l->k < (size_t)r->floors || l->k + (size_t)r->roofs >= l->slices->n;
    *ret_all = true;
    if (*ret_none) {
        return PO_OK;
    }
    size_t low = l->k - (size_t)r->floors, high = l->k + (size_t)r->roofs;
    for (size_t j = low; j <= high; j++) { /* from the ends inwards: what is farthest off covers least */
        size_t step = j - low, i = step % 2 ? high - step / 2 : low + step / 2;
        if (at[i].same == at[l->k].same || at[i].same == seen) {
            continue;
        }
        seen = at[i].same;
        *ret_all = false;
        po_status st = po_loops_clip(ret, &at[i].outline, PO_CLIP_COMMON, l->arena, ret, err);
        if (st != PO_OK) {
            return st;
        }
    }
    return PO_OK;
}

/* Splits the inside into what must be solid and what is sparse. */
static po_status split(layer *l, const po_loops *inside, po_loops *ret_solid, po_loops *ret_sparse, po_err *err)
{
    po_loops cover, core, held;
    bool none, all;
    *ret_solid = *ret_sparse = (po_loops){0};
    if (inside->n_loops == 0) {
        return PO_OK;
    }
    if (l->plan->fill_share >= 1) {
        *ret_solid = *inside;
        return PO_OK;
    }
    po_status st = covered(l, &cover, &none, &all, err);
    if (st != PO_OK || none || all) {
        *(none ? ret_solid : ret_sparse) = *inside;
        return st;
    }
    st = po_loops_offset(&cover, -PO_EST_COVER * l->bead.w, ARC_MM, l->arena, &cover, err);
    if (st == PO_OK) {
        st = po_loops_clip(inside, &cover, PO_CLIP_LESS, l->arena, &core, err);
    }
    if (st == PO_OK && po_loops_area(&core) > LEAST_MM2) { /* slivers along slopes are no roof */
        st = po_loops_offset(&core, -WIPE_MM, ARC_MM, l->arena, &core, err);
    }
    if (st != PO_OK || po_loops_area(&core) < LEAST_MM2) {
        *ret_sparse = *inside;
        return st;
    }
    st = po_loops_offset(&core, WIPE_MM + PO_EST_HOLD * l->bead.w, 5 * ARC_MM, l->arena, &held, err);
    if (st == PO_OK) {
        st = po_loops_clip(inside, &held, PO_CLIP_COMMON, l->arena, ret_solid, err);
    }
    if (st == PO_OK) {
        st = po_loops_clip(inside, &held, PO_CLIP_LESS, l->arena, ret_sparse, err);
    }
    return st;
}

static void fill(layer *l, const po_loops *solid, const po_loops *sparse, bool across, double *more_mm)
{
    po_est_layer *r = l->ret;
    const po_est_bead *b = &l->bead;
    double area = po_loops_area(solid);
    bool done;
    l->paths.group++;
    if (area > LEAST_MM2) {
        r->joins_mm = po_est_lines(solid, across, b->pitch, true, b->w, PO_EST_SOLID, &l->paths, &done);
        if (!done) { /* too many lines to lay one by one: half of the edge joins them */
            r->joins_mm = po_loops_length(solid) / 2;
            *more_mm += area / b->pitch + r->joins_mm;
        }
        r->solid_mm = area / b->pitch + r->joins_mm;
        r->solid_mm3 = r->solid_mm * b->area;
    }
    area = po_loops_area(sparse);
    if (area > LEAST_MM2 && l->plan->fill_share > 0) {
        double spacing = b->w / l->plan->fill_share; /* beads cover this share of what is seen from above */
        (void)po_est_lines(sparse, across, spacing, false, b->w, PO_EST_FILL, &l->paths, &done);
        r->fill_mm = area / spacing;
        r->fill_mm3 = r->fill_mm * b->area;
        r->ends_mm = po_loops_length(sparse) / 2;
        *more_mm += done ? 0 : r->fill_mm;
    }
}

/* Shells may overlap: their outlines are joined where there are several outer ones, or areas would count twice. */
static po_status clean(const po_loops *raw, po_arena *arena, po_loops *ret, po_err *err)
{
    size_t outer = 0;
    for (size_t i = 0, start = 0; i < raw->n_loops; start = raw->ends[i++]) {
        uint32_t n = (uint32_t)(raw->ends[i] - start);
        po_loops one = {raw->xy + 2 * start, n, &n, 1};
        outer += po_loops_area(&one) > 0;
    }
    *ret = *raw;
    return outer > 1 ? po_loops_clip(raw, NULL, PO_CLIP_UNION, arena, ret, err) : PO_OK;
}

po_status po_est_layer_work(const po_est_plan *plan, const po_est_slices *slices, size_t k, bool across,
                            po_est_layer *ret, po_err *err)
{
    const po_recipe *recipe = plan->recipe;
    *ret = (po_est_layer){.seconds = NAN};
    layer l = {.plan = plan, .slices = slices, .k = k, .ret = ret, .arena = po_arena_new(0)};
    if (!l.arena) {
        return po_fail(err, PO_E_NOMEM, "no memory for layer %zu", k);
    }
    l.paths.arena = l.arena;
    l.bead = po_est_bead_of(recipe->bead_width_mm, k ? recipe->layer_mm : recipe->first_layer_mm);
    po_loops outline, innermost = {0}, inside = {0}, solid = {0}, sparse = {0};
    double more_mm = 0, deep = recipe->walls ? (1 - PO_EST_LAP) * l.bead.w : l.bead.w / 2;
    po_status st = clean(&slices->at[k].outline, l.arena, &outline, err);
    if (st == PO_OK && outline.n_loops) {
        st = walls(&l, &outline, &innermost, err);
    }
    if (st == PO_OK && innermost.n_loops) {
        st = po_loops_offset(&innermost, -deep, ARC_MM, l.arena, &inside, err);
    }
    if (st == PO_OK) {
        st = split(&l, &inside, &solid, &sparse, err);
    }
    if (st == PO_OK) {
        fill(&l, &solid, &sparse, across, &more_mm);
        /* A bead tiles its pitch; the round sides of the outermost and the lap of the fill are no gaps. */
        double open = po_loops_area(&outline) - po_loops_length(&outline) * (l.bead.w - l.bead.pitch) / 2 -
                      ret->wall_mm * l.bead.pitch - po_loops_area(&inside) -
                      po_loops_length(&inside) * (recipe->walls ? deep - l.bead.pitch / 2 : 0);
        ret->gap_mm3 = fmax(0, open * l.bead.h);
        if (l.paths.failed) {
            st = po_fail(err, PO_E_NOMEM, "no memory for the beads of layer %zu", k);
        }
    }
    if (st == PO_OK && plan->timed) {
        st = po_est_drive(plan, &l.paths, l.bead, k == 0, more_mm, k ? recipe->fill_mm_s : recipe->first_layer_mm_s,
                          ret, err);
    }
    po_arena_free(l.arena);
    return st;
}
