/* Rules about parts as they stand on the bed: foothold, tipping, lifting. SPDX-License-Identifier: Apache-2.0
 *
 * Parts that merge higher up are one part and are judged as such; aids (supports, draft walls) are never graded.
 * Tilt that tips: atan of the distance from the centre of mass to the hull's edge over its height (handbook section 5). */
#include "proof/judge.h"

#include <math.h>

static double height_of(const po_job_part *part)
{
    return part->bounds_mm.max[2]; /* from the bed: a part stands on it */
}

/* Least width of the foothold's hull. Where it was not measured: area over longest edge (exact for a rectangle), and not
 * more than the side of a square of the same area (for round ones, whose hull's edges are short). */
static double least_base(const po_job_part *part)
{
    if (part->least_base_mm > 0) {
        return part->least_base_mm;
    }
    if (!(part->hull_area_mm2 > 0)) {
        return NAN;
    }
    double side = sqrt(part->hull_area_mm2);
    return part->longest_edge_mm > 0 ? fmin(side, part->hull_area_mm2 / part->longest_edge_mm) : side;
}

static void place_at(po_finding *f, const po_job_part *part, double z, size_t count)
{
    if (f != NULL) {
        f->count = count;
        f->where = f->worst = (po_place){
            .known = true, .line = 0, .x = part->x, .y = part->y, .z = z, .seconds = part->begun_seconds};
    }
}

void po_judge_small_foothold(po_judging *j)
{
    const po_job_part *worst = NULL;
    size_t n = 0;
    double worst_ratio = INFINITY, worst_least = 0;
    for (size_t i = 0; i < j->facts->n_parts; i++) {
        const po_job_part *part = &j->facts->parts[i];
        double least = j->rules->smallest_foothold_mm2;
        if (height_of(part) >= LIM_TALL_MM) {
            least = fmax(least, LIM_TALL_FOOT_MM2);
        }
        if (!part->aid && part->foothold_mm2 < least) {
            n++;
            if (part->foothold_mm2 / least < worst_ratio) {
                worst = part;
                worst_ratio = part->foothold_mm2 / least;
                worst_least = least;
            }
        }
    }
    if (worst != NULL) {
        po_finding *f = po_say(j, PO_GRADE_ASK, "Turn the part, or add a brim, and write the file anew.",
                               "Part %d stands on only %.0f mm2 and is %s tall: at least %.0f mm2 are wanted.",
                               worst->number, worst->foothold_mm2, po_mm_text(j, height_of(worst)), worst_least);
        place_at(f, worst, 0, n);
    }
}

void po_judge_tips_over(po_judging *j)
{
    const po_job_part *worst = NULL;
    size_t n = 0;
    double worst_risk = 1;
    for (size_t i = 0; i < j->facts->n_parts; i++) {
        const po_job_part *part = &j->facts->parts[i];
        double tall = height_of(part);
        if (part->aid || !(tall >= LIM_UPRIGHT_MM)) {
            continue;
        }
        double slender = tall / least_base(part) / LIM_SLENDER;
        double tilt = LIM_TIP_DEG / fmax(part->tip_deg, 0.01);
        double risk = fmax(isnan(slender) ? 0 : slender, isnan(tilt) ? 0 : tilt);
        if (risk > 1) {
            n++;
            if (risk > worst_risk) {
                worst = part;
                worst_risk = risk;
            }
        }
    }
    if (worst == NULL) {
        return;
    }
    double base = least_base(worst);
    const char *todo = "Lay the part down, add a brim, or print it slower.";
    po_finding *f;
    if (worst->tip_deg < LIM_TIP_DEG) {
        f = po_say(j, PO_GRADE_ASK, todo, "Part %d is %s tall and tips over when it is tilted by %.1f degrees.",
                   worst->number, po_mm_text(j, height_of(worst)), fmax(worst->tip_deg, 0));
    } else {
        f = po_say(j, PO_GRADE_ASK, todo, "Part %d is %s tall on a foot only %s wide: it sways and may break loose.",
                   worst->number, po_mm_text(j, height_of(worst)), po_mm_text(j, base));
    }
    place_at(f, worst, height_of(worst), n);
}

void po_judge_may_lift(po_judging *j)
{
    const po_tool_facts *tool = po_main_tool(j);
    const po_material *m = tool != NULL ? po_tool_material(j, tool) : NULL;
    if (m == NULL || !(m->shrink_percent > 0)) {
        return;
    }
    const po_job_part *worst = NULL;
    size_t n = 0;
    for (size_t i = 0; i < j->facts->n_parts; i++) {
        const po_job_part *part = &j->facts->parts[i];
        if (!part->aid && part->longest_edge_mm * m->shrink_percent / 100 > LIM_LIFT_MM) {
            n++;
            if (worst == NULL || part->longest_edge_mm > worst->longest_edge_mm) {
                worst = part;
            }
        }
    }
    if (worst != NULL) {
        po_finding *f = po_say(
            j, PO_GRADE_ASK, "Add a brim, keep draughts away, or use a material that shrinks less.",
            "Part %d has a straight edge of %s; %s shrinks by %.1f mm over that and may lift its corners.",
            worst->number, po_mm_text(j, worst->longest_edge_mm), m->name,
            worst->longest_edge_mm * m->shrink_percent / 100);
        place_at(f, worst, 0, n);
    }
}
