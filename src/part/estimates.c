/* What a whole part will take: the estimates of its solids added up, and what would meet an allowance.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Copies count as often as they stand. Layers are those of the tallest solid: what lies on one bed is printed layer by
 * layer. An estimate of a part of several solids is the sum of theirs; where one of them is not closed there is none, for
 * half an answer would look like a whole one.
 * The scale for several solids is found by bisection over estimates (the filament grows with the scale), to 0.1 %. */
#include <math.h>
#include <string.h>

#include "part/partfacts.h"

static const double SMALLEST_SCALE = 0.05, SCALE_ERROR = 1e-3;
enum { MOST_SOLIDS_TO_SCALE = 16 };

static po_estimate nothing(const po_recipe *recipe)
{
    return (po_estimate){.recipe = recipe,
                         .filament_mm = NAN,
                         .filament_g = NAN,
                         .volume_mm3 = NAN,
                         .seconds = NAN,
                         .first_layer_seconds = NAN,
                         .once_mm = NAN,
                         .once_seconds = NAN,
                         .filament_range_mm = {NAN, NAN},
                         .seconds_range = {NAN, NAN},
                         .wall_mm = NAN,
                         .solid_mm = NAN,
                         .fill_mm = NAN,
                         .travel_mm = NAN,
                         .wall_mm3 = NAN,
                         .solid_mm3 = NAN,
                         .fill_mm3 = NAN,
                         .support_mm = NAN,
                         .support_seconds = NAN,
                         .covers = "not estimated"};
}

/* What comes once a run stands in each estimate: it is taken off each, and the largest comes back on at the end. */
static void add(po_estimate *sum, const po_estimate *one, double times)
{
    double part = one->filament_mm > 0 ? 1 - one->once_mm / one->filament_mm
                                       : 1; /* of filament, without what is once */
    sum->filament_mm += times * (one->filament_mm - one->once_mm);
    sum->filament_g += times * one->filament_g * part;
    sum->volume_mm3 += times * one->volume_mm3 * part;
    sum->seconds += times * (one->seconds - one->once_seconds);
    sum->first_layer_seconds += times * (one->first_layer_seconds - one->once_seconds);
    sum->filament_range_mm.low += times * (one->filament_range_mm.low - one->once_mm);
    sum->filament_range_mm.high += times * (one->filament_range_mm.high - one->once_mm);
    sum->seconds_range.low += times * (one->seconds_range.low - one->once_seconds);
    sum->seconds_range.high += times * (one->seconds_range.high - one->once_seconds);
    sum->once_mm = fmax(sum->once_mm, one->once_mm);
    sum->once_seconds = fmax(sum->once_seconds, one->once_seconds);
    sum->wall_mm += times * one->wall_mm;
    sum->solid_mm += times * one->solid_mm;
    sum->fill_mm += times * one->fill_mm;
    sum->travel_mm += times * one->travel_mm;
    sum->wall_mm3 += times * one->wall_mm3;
    sum->solid_mm3 += times * one->solid_mm3;
    sum->fill_mm3 += times * one->fill_mm3;
    sum->support_mm += times * one->support_mm;
    sum->support_seconds += times * one->support_seconds;
    sum->layers = one->layers > sum->layers ? one->layers : sum->layers;
    sum->covers = one->covers;
}

static void add_once(po_estimate *sum, const po_material *material)
{
    double mm2 = acos(-1) / 4 * material->diameter_mm * material->diameter_mm;
    sum->filament_mm += sum->once_mm;
    sum->volume_mm3 += sum->once_mm * mm2;
    sum->filament_g += sum->once_mm * mm2 * material->density_g_cm3 / 1000;
    sum->filament_range_mm.low += sum->once_mm;
    sum->filament_range_mm.high += sum->once_mm;
    sum->seconds += sum->once_seconds;
    sum->first_layer_seconds += sum->once_seconds;
    sum->seconds_range.low += sum->once_seconds;
    sum->seconds_range.high += sum->once_seconds;
}

static po_estimate_setup setup_of(const po_estimating *e, const po_recipe *recipe, const po_solid *solid, double scale,
                                  double fill_percent)
{
    double support = solid->lies_done && isfinite(solid->lies.support_open_mm3) ? solid->lies.support_open_mm3 : 0;
    return (po_estimate_setup){.recipe = recipe,
                               .machine = e->machine,
                               .material = e->material,
                               .scale = scale,
                               .support_mm3 = support,
                               .fill_percent = fill_percent,
                               .threads = e->threads,
                               .progress = po_steps_within,
                               .user = e->steps};
}

/* The sum over all solids. Sections are kept for the while of one estimate only: the arena gets the words. */
static po_status estimate_all(const po_estimating *e, const po_recipe *recipe, double scale, double fill_percent,
                              po_arena *arena, po_estimate *ret, po_err *err)
{
    po_estimate sum = {.recipe = recipe};
    po_arena *scratch = po_arena_new(0);
    po_status status = scratch != NULL ? PO_OK : po_fail(err, PO_E_NOMEM, "no memory for an estimate");
    for (size_t i = 0; status == PO_OK && i < e->n_solids; i++) {
        const po_solid *s = &e->solids[i];
        po_estimate_setup setup = setup_of(e, recipe, s, scale, fill_percent);
        po_estimate one;
        if (e->steps->slice > 0) {
            status = po_steps_begin(e->steps, PO_ESTIMATE_STEPS, err);
        }
        if (status == PO_OK) {
            status = po_part_estimate(s->judged, &setup, scratch, &one, err);
        }
        if (status == PO_OK) {
            add(&sum, &one, s->times);
        }
    }
    if (status == PO_OK) {
        add_once(&sum, e->material);
        sum.covers = sum.covers != NULL ? po_arena_text(arena, sum.covers) : NULL;
        *ret = sum;
    }
    po_arena_free(scratch);
    return status;
}

/* Why there can be no estimate; NULL where there can be one, or nothing is to be estimated. */
static const char *why_not(const po_estimating *e)
{
    for (size_t i = 0; i < e->n_solids; i++) {
        if (!e->solids[i].closed) {
            return "it is not closed";
        }
        if (po_part_is_vast(e->shop, &e->solids[i].facts)) {
            return "it is far larger than anything printed here";
        }
    }
    return NULL;
}

po_status po_part_estimates(const po_estimating *e, po_arena *arena, const po_estimate **ret_estimates,
                            size_t *ret_judged, po_err *err)
{
    size_t n = e->shop->n_recipes;
    po_estimate *estimates = po_arena_zeros(arena, n + 1, sizeof *estimates);
    if (estimates == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for estimates");
    }
    const char *without = why_not(e);
    bool possible = without == NULL && e->n_solids > 0;
    if (without != NULL) {
        po_err why;
        (void)po_fail(&why, PO_E_UNSUPPORTED, "%s", without);
        (void)po_go_without(e->unmeasured, "What it will take", &why);
    }
    *ret_judged = 0;
    for (size_t i = 0; i < n; i++) {
        const po_recipe *recipe = &e->shop->recipes[i];
        estimates[i] = nothing(recipe);
        if (possible) {
            po_status status = estimate_all(e, recipe, 1, NAN, arena, &estimates[i], err);
            if (status != PO_OK) {
                if (!po_go_without(e->unmeasured, "What it will take", err)) {
                    return status;
                }
                estimates[i] = nothing(recipe);
            }
        }
        bool better = e->asked != NULL ? recipe == e->asked
                                       : estimates[i].filament_mm < estimates[*ret_judged].filament_mm;
        *ret_judged = better ? i : *ret_judged;
    }
    *ret_estimates = estimates;
    return PO_OK;
}

static po_status filament_at(const po_estimating *e, const po_recipe *recipe, double scale, po_arena *arena,
                             double *ret_mm, po_err *err)
{
    po_estimate sum;
    po_status status = estimate_all(e, recipe, scale, NAN, arena, &sum, err);
    *ret_mm = status == PO_OK ? sum.filament_mm : NAN;
    return status;
}

static po_status scale_for(const po_estimating *e, const po_recipe *recipe, double most_mm, po_arena *arena,
                           double *ret_scale, po_err *err)
{
    if (e->n_solids == 1) {
        po_estimate_setup setup = setup_of(e, recipe, &e->solids[0], 1, NAN);
        po_arena *scratch = po_arena_new(0);
        if (scratch == NULL) {
            return po_fail(err, PO_E_NOMEM, "no memory for an estimate");
        }
        po_status status = po_part_scale_for(e->solids[0].judged, &setup, most_mm, e->solids[0].times, 1, scratch,
                                             ret_scale, err);
        po_arena_free(scratch);
        return status;
    }
    double low = SMALLEST_SCALE, high = 1, mm;
    po_status status = filament_at(e, recipe, low, arena, &mm, err);
    if (status != PO_OK || !(mm <= most_mm)) {
        return status; /* the scale stays NAN */
    }
    while (status == PO_OK && high / low > 1 + SCALE_ERROR) {
        double middle = sqrt(low * high);
        status = filament_at(e, recipe, middle, arena, &mm, err);
        *(mm <= most_mm ? &low : &high) = middle;
    }
    *ret_scale = status == PO_OK ? low : NAN;
    return status;
}

po_status po_part_lighter(const po_estimating *given, const po_recipe *recipe, double most_mm, po_arena *arena,
                          double *ret_scale, double *ret_hollow_mm, po_err *err)
{
    po_steps silent = {.options = given->steps->options}; /* its work is not in the total of steps */
    po_estimating with = *given, *e = &with;
    e->steps = &silent;
    *ret_scale = *ret_hollow_mm = NAN;
    po_estimate hollow;
    po_status status = estimate_all(e, recipe, 1, 0, arena, &hollow, err);
    if (status == PO_OK) {
        *ret_hollow_mm = hollow.filament_mm;
        status = e->n_solids <= MOST_SOLIDS_TO_SCALE ? scale_for(e, recipe, most_mm, arena, ret_scale, err) : PO_OK;
    }
    if (status != PO_OK && po_go_without(e->unmeasured, "What would meet the allowance", err)) {
        return PO_OK;
    }
    return status;
}
