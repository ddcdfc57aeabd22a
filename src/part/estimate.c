/* What it will take: filament, time and layers of a part by a recipe. SPDX-License-Identifier: Apache-2.0
 *
 * The part is cut half-way up every layer; some layers are worked out in full (estimate_layer.c, estimate_time.c), and
 * what lies between two of them is taken as changing evenly (estimate_slices.c says why that is close enough). Layers
 * are worked out in any order and summed in theirs: the answer does not depend on threads. What comes once a run, such
 * as heat, homing and a purge line, is counted once and also given apart. No job is written. */
#include "part/estimate.h"

#include <math.h>
#include <stdlib.h>

#include "base/pool.h"

enum { PARTS_OF_WORK = 1000, CUTTING = 300 }; /* what progress is told in */

/* What preparers do differently, as shares of what is laid (common practice, no published source). Low: lines that end
 * at the wall without lap or joins, no skirt, no purge. High: gaps between walls filled, sparse lines joined, a wide
 * skirt. */
static const double WALL_LOW = 0.985, WALL_HIGH = 1.01, SOLID_LOW = 0.97, SOLID_HIGH = 1.03, FILL_LOW = 0.93,
                    FILL_HIGH = 1.05, ONCE_HIGH = 2.5;
/* A good motion model is within 5 % of a machine (common practice, no published source); speeds of single walls, seams
 * and the order of travels are the preparer's choice. */
static const double SECONDS_LOW = 0.92, SECONDS_HIGH = 1.12;
static const char COVERS[] =
    "The range covers what preparing programs choose differently: laps, joins, gaps, skirt and purge, order of travels "
    "and "
    "the least time of a layer, and a motion model that is good to 5 %; not supports, nor a machine's own habits.";

typedef struct work {
    const po_est_plan *plan;
    const po_est_slices *slices;
    const uint32_t *chosen;
    uint32_t *like; /* for each chosen layer the first one that comes out the same: itself, or an earlier one */
    uint32_t *todo; /* those that are like no earlier one */
    size_t n, n_todo, from;
    po_est_layer *layers;
    po_status *status;
    po_err *errs; /* one for each of a batch */
} work;

static void one_layer(size_t i, void *user)
{
    work *w = user;
    size_t at = w->todo[w->from + i];
    w->status[i] = po_est_layer_work(w->plan, w->slices, w->chosen[at], at & 1, &w->layers[at], &w->errs[i]);
}

/* Whether two layers come out the same: the same outline, and the same seen from it below and above. */
static bool alike(const work *w, size_t a, size_t b)
{
    const po_est_slice *at = w->slices->at;
    const po_recipe *r = w->plan->recipe;
    size_t k = w->chosen[a], m = w->chosen[b], floors = (size_t)r->floors, roofs = (size_t)r->roofs, n = w->slices->n;
    if (k == 0 || m == 0 || ((a ^ b) & 1) || at[k].same != at[m].same) {
        return false;
    }
    bool open_k = k < floors || k + roofs >= n, open_m = m < floors || m + roofs >= n;
    if (open_k || open_m) {
        return open_k && open_m;
    }
    for (size_t j = 0; j <= floors + roofs; j++) {
        if (at[k - floors + j].same != at[m - floors + j].same) {
            return false;
        }
    }
    return true;
}

static bool find_alike(work *w, po_arena *arena)
{
    enum { BACK = 12 }; /* outlines that are the same follow each other */
    w->like = po_arena_zeros(arena, w->n, sizeof *w->like);
    w->todo = po_arena_zeros(arena, w->n, sizeof *w->todo);
    for (size_t i = 0; w->like && w->todo && i < w->n; i++) {
        w->like[i] = (uint32_t)i;
        for (size_t b = 1; b <= BACK && b <= i && w->like[i] == i; b++) {
            w->like[i] = alike(w, i, i - b) ? w->like[i - b] : (uint32_t)i;
        }
        if (w->like[i] == i) {
            w->todo[w->n_todo++] = (uint32_t)i;
        }
    }
    return w->like && w->todo;
}

typedef struct teller { /* of progress while the part is cut */
    const po_estimate_setup *setup;
} teller;

static bool tell_cut(void *user, double share)
{
    const po_estimate_setup *s = ((const teller *)user)->setup;
    return !s->progress || s->progress((uint64_t)(share * CUTTING), PARTS_OF_WORK, s->user);
}

/* All chosen layers, in batches, between which progress is told. */
static po_status all_layers(work *w, const po_estimate_setup *setup, po_err *err)
{
    po_pool *pool = po_pool_new(setup->threads);
    if (!pool) {
        return po_fail(err, PO_E_NOMEM, "no threads");
    }
    size_t batch = 4 * (size_t)po_pool_threads(pool);
    po_status st = PO_OK;
    w->status = calloc(batch, sizeof *w->status);
    w->errs = calloc(batch, sizeof *w->errs);
    if (!w->status || !w->errs) {
        st = po_fail(err, PO_E_NOMEM, "no memory for layers");
    }
    for (w->from = 0; st == PO_OK && w->from < w->n_todo; w->from += batch) {
        size_t n = w->n_todo - w->from < batch ? w->n_todo - w->from : batch;
        po_pool_each(pool, n, one_layer, w);
        for (size_t i = 0; i < n && st == PO_OK; i++) {
            st = w->status[i];
            if (st != PO_OK && err) {
                *err = w->errs[i];
            }
        }
        uint64_t done = CUTTING + (PARTS_OF_WORK - CUTTING) * (w->from + n) / w->n_todo;
        if (st == PO_OK && setup->progress && !setup->progress(done, PARTS_OF_WORK, setup->user)) {
            st = po_fail(err, PO_E_CANCELLED, "stopped");
        }
    }
    for (size_t i = 0; i < w->n && st == PO_OK; i++) {
        w->layers[i] = w->layers[w->like[i]];
    }
    free(w->status);
    free(w->errs);
    po_pool_free(pool);
    return st;
}

/* ---- once a run ---- */

static double middle_of(po_range r)
{
    return (r.low + r.high) / 2;
}

/* Heating from the room's temperature, all heaters at once while the machine homes (docs/measures.md, "Motion time"),
 * probing, a purge line and one skirt loop, the lift at the end. */
static void once(const po_est_plan *plan, const po_material *material, const double size_mm[3], po_estimate *ret,
                 double *ret_heat_s)
{
    const po_machine *m = plan->machine;
    const po_recipe *r = plan->recipe;
    const po_heat *h = &m->heat;
    double nozzle_c = middle_of(material->nozzle_c), bed_c = middle_of(material->bed_c);
    double nozzle_s = h->nozzle_c_per_s > 0 ? (nozzle_c - h->room_c) / h->nozzle_c_per_s : 0;
    double bed_s = h->bed_c_per_s > 0 ? (bed_c - h->room_c) / h->bed_c_per_s : 0;
    double warm_s = fmax(fmax(nozzle_s, bed_s), 0);
    double skirt_mm = 2 * (size_mm[0] + size_mm[1]) + 2 * M_PI * PO_EST_SKIRT_MM;
    double skirt_mm3 = skirt_mm * po_est_bead_of(r->bead_width_mm, r->first_layer_mm).area;
    double purge_mm3 = PO_EST_PURGE_MM * po_est_bead_of(r->bead_width_mm * PO_EST_PURGE_WIDTH, r->first_layer_mm).area;
    double z_mm_s = m->limits.feed_mm_s[PO_Z];
    ret->once_mm = (skirt_mm3 + purge_mm3) / plan->filament_mm2;
    ret->once_seconds = fmax(warm_s, h->home_seconds) + h->probe_seconds +
                        (skirt_mm + PO_EST_PURGE_MM) / r->first_layer_mm_s +
                        (z_mm_s > 0 ? 2 * PO_EST_PARK_MM / z_mm_s : 0);
    *ret_heat_s = fmax(0, warm_s - h->home_seconds);
}

/* ---- sums ---- */

/* Layers that a worked-out one stands for: itself, and its share of those up to its neighbours. */
static double weight(const uint32_t *chosen, size_t n, size_t i)
{
    double w = 1;
    if (i) {
        w += (double)(chosen[i] - chosen[i - 1] - 1) / 2;
    }
    if (i + 1 < n) {
        w += (double)(chosen[i + 1] - chosen[i] - 1) / 2;
    }
    return w;
}

static void sum_up(const work *w, const po_estimate_setup *setup, po_estimate *ret)
{
    const po_est_plan *plan = w->plan;
    const po_recipe *recipe = plan->recipe;
    po_est_layer all = {0};
    double heat_s;
    for (size_t i = 0; i < w->n; i++) {
        const po_est_layer *l = &w->layers[i];
        double n = weight(w->chosen, w->n, i);
        all.wall_mm += n * l->wall_mm;
        all.solid_mm += n * l->solid_mm;
        all.fill_mm += n * l->fill_mm;
        all.wall_mm3 += n * l->wall_mm3;
        all.solid_mm3 += n * l->solid_mm3;
        all.fill_mm3 += n * l->fill_mm3;
        all.gap_mm3 += n * l->gap_mm3;
        all.ends_mm += n * l->ends_mm;
        all.travel_mm += n * l->travel_mm;
        all.seconds += n * l->seconds;
        all.low_s += n * l->low_s;
        all.high_s += n * l->high_s;
    }
    *ret = (po_estimate){.recipe = recipe, .covers = COVERS, .layers = (int)w->slices->n};
    once(plan, setup->material, w->slices->size_mm, ret, &heat_s);
    double area = po_est_bead_of(recipe->bead_width_mm, recipe->layer_mm).area,
           once_mm3 = ret->once_mm * plan->filament_mm2;
    double part_mm3 = all.wall_mm3 + all.solid_mm3 + all.fill_mm3;
    double more_mm3 = all.gap_mm3 + all.ends_mm * area;
    double low_mm3 = WALL_LOW * all.wall_mm3 + SOLID_LOW * all.solid_mm3 + FILL_LOW * all.fill_mm3;
    double high_mm3 = WALL_HIGH * all.wall_mm3 + SOLID_HIGH * all.solid_mm3 + FILL_HIGH * all.fill_mm3 + more_mm3 +
                      ONCE_HIGH * once_mm3;
    ret->volume_mm3 = part_mm3 + once_mm3;
    ret->filament_mm = ret->volume_mm3 / plan->filament_mm2;
    ret->filament_g = ret->volume_mm3 * setup->material->density_g_cm3 / 1000;
    ret->filament_range_mm = (po_range){low_mm3 / plan->filament_mm2, high_mm3 / plan->filament_mm2};
    ret->wall_mm = all.wall_mm;
    ret->solid_mm = all.solid_mm;
    ret->fill_mm = all.fill_mm;
    ret->wall_mm3 = all.wall_mm3;
    ret->solid_mm3 = all.solid_mm3;
    ret->fill_mm3 = all.fill_mm3;
    ret->travel_mm = plan->timed ? all.travel_mm : NAN;
    double more_s = more_mm3 / (area * recipe->fill_mm_s);
    ret->seconds = all.seconds + ret->once_seconds;
    ret->first_layer_seconds = ret->once_seconds + w->layers[0].seconds;
    ret->seconds_range = (po_range){SECONDS_LOW * all.low_s + ret->once_seconds - heat_s,
                                    SECONDS_HIGH * (all.high_s + more_s) + ONCE_HIGH / 2 * ret->once_seconds};
    double support_mm3 = setup->support_mm3 > 0 ? setup->support_mm3 * pow(plan->scale, 3) * PO_EST_SUPPORT_SHARE : 0;
    ret->support_mm = support_mm3 / plan->filament_mm2;
    ret->support_seconds = support_mm3 / (area * recipe->fill_mm_s) * PO_EST_SUPPORT_SLOW;
}

/* ---- the whole ---- */

static po_status check(const po_mesh *mesh, const po_estimate_setup *s, po_err *err)
{
    const po_recipe *r = s->recipe;
    double numbers[] = {r->layer_mm,  r->first_layer_mm,   r->bead_width_mm,         r->wall_mm_s,
                        r->fill_mm_s, r->first_layer_mm_s, s->material->diameter_mm, s->scale};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        if (!(numbers[i] > 0 && numbers[i] < 1e6)) {
            return po_fail(err, PO_E_RANGE, "recipe %s: %g is no size, speed or scale to estimate with",
                           r->name ? r->name : "", numbers[i]);
        }
    }
    if (r->walls < 0 || r->walls > 1000 || r->floors < 0 || r->roofs < 0 || r->floors > 100000 || r->roofs > 100000) {
        return po_fail(err, PO_E_RANGE, "recipe %s: %d walls, %d floors, %d roofs", r->name ? r->name : "", r->walls,
                       r->floors, r->roofs);
    }
    if (mesh->n_triangles == 0) {
        return po_fail(err, PO_E_EMPTY, "the part has no triangle");
    }
    return PO_OK;
}

po_status po_est_run(const po_mesh *mesh, const po_estimate_setup *setup, bool timed, size_t most_layers,
                     po_estimate *ret, po_err *err)
{
    po_status st = check(mesh, setup, err);
    if (st != PO_OK) {
        return st;
    }
    double percent = isnan(setup->fill_percent) ? setup->recipe->fill_percent : setup->fill_percent;
    double d = setup->material->diameter_mm, x_mm_s = setup->machine->limits.feed_mm_s[PO_X];
    po_est_plan plan = {.recipe = setup->recipe,
                        .machine = setup->machine,
                        .scale = setup->scale,
                        .fill_share = fmin(fmax(percent / 100, 0), 1),
                        .filament_mm2 = M_PI / 4 * d * d,
                        .travel_mm_s = x_mm_s > 0 ? fmin(PO_EST_TRAVEL * x_mm_s, PO_EST_TRAVEL_MOST)
                                                  : PO_EST_TRAVEL_MOST,
                        .timed = timed};
    po_arena *arena = po_arena_new(0);
    if (!arena) {
        return po_fail(err, PO_E_NOMEM, "no memory for an estimate");
    }
    po_est_slices slices = {0};
    teller t = {setup};
    st = po_est_slices_cut(mesh, &plan, setup->threads, tell_cut, &t, arena, &slices, err);
    uint32_t *chosen = st == PO_OK ? po_arena_zeros(arena, slices.n, sizeof *chosen) : NULL;
    if (st == PO_OK && !chosen) {
        st = po_fail(err, PO_E_NOMEM, "no memory for layers");
    }
    if (st == PO_OK) {
        work w = {.plan = &plan, .slices = &slices, .chosen = chosen};
        w.n = po_est_choose(&slices, setup->recipe, most_layers, chosen);
        w.layers = w.n ? po_arena_zeros(arena, w.n, sizeof *w.layers) : NULL;
        st = w.layers && find_alike(&w, arena) ? all_layers(&w, setup, err)
                                               : po_fail(err, PO_E_NOMEM, "no memory for layers");
        if (st == PO_OK) {
            sum_up(&w, setup, ret);
        }
    }
    po_arena_free(arena);
    return st;
}

po_status po_part_estimate(const po_mesh *mesh, const po_estimate_setup *setup, po_arena *arena, po_estimate *ret,
                           po_err *err)
{
    (void)arena; /* nothing of an estimate outlives the call but plain numbers */
    return po_est_run(mesh, setup, true, PO_EST_LAYERS_MOST, ret, err);
}
