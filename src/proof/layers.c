/* Rules about layers: the first one, gaps in height, air beneath, roofs, time to set. SPDX-License-Identifier: Apache-2.0 */
#include "proof/judge.h"

#include <math.h>

/* The nozzle that lays the first layer: the main tool's. 0 when not known. */
static double nozzle_mm(const po_judging *j)
{
    const po_tool_facts *tool = po_main_tool(j);
    const po_nozzle *nozzle = tool != NULL ? po_tool_nozzle(j, tool) : NULL;
    return nozzle != NULL ? nozzle->diameter_mm : 0;
}

void po_judge_starts_in_the_air(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_STARTS_IN_AIR);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_STARTS_IN_AIR, "Set the part down on the bed and write the file anew.",
                    "The first plastic is laid %s above the bed: it would hang in the air.", po_mm_text(j, s->worst));
    }
}

void po_judge_missing_layers(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_MISSING_LAYERS);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_MISSING_LAYERS,
                    "Write the file anew. If the gap stays, look at the model there.",
                    "Layers are missing: %s of nothing%s.", po_mm_text(j, s->worst), po_place_text(j, &s->worst_at));
    }
}

void po_judge_prints_on_air(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_ON_AIR);
    if (s != NULL && s->worst > LIM_ON_AIR_MM) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_ON_AIR, "Turn the part, or switch on supports, and write the file anew.",
                    "A piece with %s of bead is laid on nothing but air%s.", po_mm_text(j, s->worst),
                    po_place_text(j, &s->worst_at));
    }
}

void po_judge_first_layer_too_thick(po_judging *j)
{
    double d = nozzle_mm(j), h = j->facts->first_layer_height_mm, most = LIM_LAYER_NOZZLES * d;
    if (d > 0 && h > most + LIM_LAYER_SLACK_MM + 1e-9) {
        po_say(j, PO_GRADE_ASK, "Use a first layer of half to three quarters of the nozzle, and write the file anew.",
               "The first layer is %s high; the %.2g mm nozzle presses on at most %s.", po_mm_text(j, h), d,
               po_mm_text(j, most));
    }
}

void po_judge_first_layer_too_thin(po_judging *j)
{
    double d = nozzle_mm(j), h = j->facts->first_layer_height_mm;
    double least = fmax(LIM_FIRST_THIN_MM, LIM_FIRST_THIN_NOZZLES * d);
    if (h < least - 0.005) {
        po_say(j, PO_GRADE_ASK, "Use a first layer of about half of the nozzle, and write the file anew.",
               "The first layer is only %s high; below %s the nozzle scrapes the bed.", po_mm_text(j, h),
               po_mm_text(j, least));
    }
}

void po_judge_first_layer_too_fast(po_judging *j)
{
    double v = j->facts->first_layer_mm_s;
    if (v > LIM_FIRST_FAST_MM_S + 0.5) {
        po_say(j, PO_GRADE_ASK, "Set 15 to 30 mm/s for the first layer and write the file anew.",
               "The first layer is laid at %.0f mm/s; it holds on well at 15 to 30 mm/s.", fmin(v, 1e6));
    }
}

void po_judge_layer_too_quick(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_QUICK_LAYER);
    if (s == NULL) {
        return;
    }
    /* what was seen is every quick layer; only those too quick for any ordinary plastic count */
    size_t n = 0;
    double quickest = INFINITY;
    const po_job_facts *f = j->facts;
    for (size_t i = 0; i < f->n_layer_rows; i++) {
        const po_layer_row *row = &f->layer_rows[i];
        if (row->z > f->first_layer_height_mm + 0.02 && row->extruding_mm > 0 && row->seconds < LIM_QUICK_S) {
            n++;
            quickest = fmin(quickest, row->seconds);
        }
    }
    if (f->continuous && f->n_layer_rows == 0 && s->worst < LIM_QUICK_S) {
        n = (size_t)fmin(fmax(s->total, 0), 1e9); /* one climbing bead has no rows: what was seen is its turns */
        quickest = s->worst;
    }
    if (n >= LIM_QUICK_LAYERS) {
        po_finding *found = po_say_seen(
            j, PO_GRADE_ASK, PO_SIGHT_QUICK_LAYER,
            "Set a least time for each layer (5 to 10 s), or print two parts at once.",
            "%zu small layers take less than %d s each (quickest %.1f s): the plastic can't set.", n, LIM_QUICK_S,
            fmax(quickest, 0));
        if (found != NULL) {
            found->count = n;
        }
    }
}

void po_judge_long_bridge(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_BRIDGE);
    double limit = j->rules->bridge_limit_mm;
    if (s != NULL && limit > 0 && s->worst > limit + 0.05) {
        po_finding *f = po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_BRIDGE,
                                    "Turn the part, or switch on supports below the gap.",
                                    "The longest bridge spans %s freely%s; the shop's limit is %s.",
                                    po_mm_text(j, s->worst), po_place_text(j, &s->worst_at), po_mm_text(j, limit));
        if (f != NULL) { /* what was seen is every bridge; those within the limit are no part of this */
            f->count = 1;
            f->where = f->worst;
        }
    }
}

void po_judge_steep_overhang(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_OVERHANG);
    const po_job_facts *f = j->facts;
    if (s == NULL || !(s->worst >= LIM_OVERHANG_STRETCH_MM)) {
        return;
    }
    bool much = f->overhang_mm * 100 >= LIM_OVERHANG_JOB * f->extruding_mm;
    for (size_t i = 0; i < f->n_layer_rows && !much; i++) {
        double mm = (double)f->layer_rows[i].overhang_mm;
        much = mm >= LIM_OVERHANG_LAYER_MM && mm * 100 >= LIM_OVERHANG_LAYER * f->layer_rows[i].extruding_mm;
    }
    if (much) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_OVERHANG, "Turn the part, or switch on supports.",
                    "%s of bead lean out by more than %.0f degrees; the longest stretch is %s%s.",
                    po_mm_text(j, f->overhang_mm), j->rules->overhang_limit_deg, po_mm_text(j, s->worst),
                    po_place_text(j, &s->worst_at));
    }
}

void po_judge_few_roofs(po_judging *j)
{
    const po_job_facts *f = j->facts;
    double thick = f->roofs * f->layer_height_mm, fill = 100 * f->fill_fraction;
    if (thick < LIM_ROOF_MM - 0.005 && fill < LIM_SPARSE_FILL && fill >= LIM_SOME_FILL) {
        const char *todo = "Use four or five roofs, or 0.8 mm and more, and write the file anew.";
        if (f->roofs < 0.5) {
            po_say(j, PO_GRADE_ASK, todo, "No layer closes the top over a fill of %.0f %%: the fill will show.", fill);
            return;
        }
        po_say(j, PO_GRADE_ASK, todo,
               "The top is closed by only %.0f layer%s (%s) over a fill of %.0f %%: it may show holes.", f->roofs,
               f->roofs == 1 ? "" : "s", po_mm_text(j, thick), fill);
    }
}

void po_judge_across_gap(po_judging *j)
{
    double mm = j->facts->across_gap_mm;
    if (mm > LIM_GAP_MM) {
        po_say(j, PO_GRADE_NOTE, "Nothing. The underside there will be rougher.",
               "%s of bead lie across a small gap: strands of open fill, or above a support.", po_metres_text(j, mm));
    }
}

void po_judge_over_fill(po_judging *j)
{
    double mm = j->facts->over_fill_mm;
    if (mm > LIM_GAP_MM) {
        po_say(j, PO_GRADE_NOTE, "Nothing: that is ordinary.", "%s of bead lie over the gaps of sparse fill.",
               po_metres_text(j, mm));
    }
}
