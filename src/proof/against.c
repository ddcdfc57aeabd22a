/* A job held against a part: is it this part, whole, as large, not mirrored? SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "proof/judge.h"

/* Of a file with several solids, which one: " (lid)" or " (solid 2)". */
static const char *named(po_judging *j, size_t i)
{
    const po_against *a = j->context->against;
    if (a->n_solids < 2) {
        return "";
    }
    const char *text = a->solids[i].name ? po_arena_printf(j->arena, " (%s)", po_short_text(j, a->solids[i].name))
                                         : po_arena_printf(j->arena, " (solid %zu)", i + 1);
    j->failed |= text == NULL;
    return text ? text : "";
}

static bool any_found(const po_against *a)
{
    bool found = false;
    for (size_t i = 0; i < a->n_solids; i++) {
        found |= a->solids[i].found > 0;
    }
    return found;
}

void po_judge_other_part(po_judging *j)
{
    const po_against *a = j->context->against;
    if (!a || a->n_solids == 0 || any_found(a)) {
        return;
    }
    const po_match *best = NULL;
    for (size_t i = 0; i < a->n_solids; i++) {
        const po_match *m = a->solids[i].tried ? &a->solids[i].best : NULL;
        best = m && (!best || m->covered > best->covered) ? m : best;
    }
    if (a->objects == 0 || !best) {
        po_say(j, PO_GRADE_ASK, "Prepare the job anew from this part.",
               "Nothing in this job is like the part that it was held against: there is hardly anything on the bed.");
    } else if (best->covered >= 0.9) {
        po_say(j, PO_GRADE_ASK, "Prepare the job anew from this part, or ask which drawing it was made from.",
               "This job is not quite the part that it was held against: %s.",
               best->holes_filled ? "it lays material where the part has a hole"
                                  : "it lays material beside the part's outline");
    } else {
        po_say(j, PO_GRADE_ASK, "Prepare the job anew from this part, or ask which drawing it was made from.",
               "This job is not the part that it was held against: at best %.0f %% of the part's outline is laid.",
               floor(100 * best->covered));
    }
}

void po_judge_scaled(po_judging *j)
{
    const po_against *a = j->context->against;
    po_finding *f = NULL;
    for (size_t i = 0; a && i < a->n_solids; i++) {
        const po_against_solid *s = &a->solids[i];
        double off = fabs(s->best.scale - 1) * 100;
        if (s->found == 0 || !(off > LIM_SCALED_PERCENT)) {
            continue;
        }
        if (f) {
            f->count++;
        } else {
            f = s->best.scale == 25.4
                    ? po_say(j, PO_GRADE_ASK, "Ask whether the part is drawn in inches; then the size is right.",
                             "The job lays the part%s 25.4 times as large: inches in the drawing, taken as mm by its "
                             "file.",
                             named(j, i))
                    : po_say(j, PO_GRADE_ASK, "Ask whether that size is meant; else prepare the job at 100 %.",
                             "The job lays the part%s at about %.1f %% of its size.", named(j, i), 100 * s->best.scale);
        }
    }
}

void po_judge_mirrored(po_judging *j)
{
    const po_against *a = j->context->against;
    po_finding *f = NULL;
    for (size_t i = 0; a && i < a->n_solids; i++) {
        const po_against_solid *s = &a->solids[i];
        if (s->found == 0 || !s->best.mirrored) {
            continue;
        }
        if (f) {
            f->count++;
        } else {
            f = po_say(j, PO_GRADE_ASK, "Ask whether a mirror image is meant; else prepare the job anew.",
                       "The job lays the mirror image of the part%s.", named(j, i));
        }
    }
}

void po_judge_incomplete(po_judging *j)
{
    const po_against *a = j->context->against;
    uint32_t wanted = 0, found = 0;
    po_finding *f = NULL;
    for (size_t i = 0; a && i < a->n_solids; i++) {
        const po_against_solid *s = &a->solids[i];
        wanted += s->wanted;
        found += s->found < s->wanted ? s->found : s->wanted;
        if (s->found > 0 && !isnan(s->best.missing_from_mm) && !f) {
            f = po_say(j, PO_GRADE_ASK, "Ask whether the rest is printed apart; else prepare the job anew.",
                       "The job ends %s up; the part%s goes on above that.", po_mm_text(j, s->best.missing_from_mm),
                       named(j, i));
            if (f) {
                f->where = (po_place){.known = true, .x = NAN, .y = NAN, .z = s->best.missing_from_mm, .seconds = NAN};
                f->worst = f->where;
            }
        }
    }
    if (f || !a || found >= wanted) {
        return;
    }
    size_t first = 0;
    while (first + 1 < a->n_solids && a->solids[first].found >= a->solids[first].wanted) {
        first++;
    }
    f = po_say(j, PO_GRADE_ASK, "Ask what is meant to be printed, and whether the rest follows in another run.",
               "The part's file holds %u solids and the job lays %u of them; missing first%s.", wanted, found,
               a->n_solids > 1 ? named(j, first) : ": another copy");
    if (f) {
        f->count = wanted - found;
    }
}
