/* Rules of the house for parts: allowance, spool, hours, materials, permission. SPDX-License-Identifier: Apache-2.0
 *
 * They go by estimates: of the recipe asked for, else of the one that takes least, so that nothing is held against a part
 * that another recipe would mend. */
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "proof/judge.h"

/* ---- allowance ---- */

static double most_mm(const po_judging *j, bool *ret_term)
{
    double run = j->rules->allowance_m_per_run > 0 ? j->rules->allowance_m_per_run : INFINITY;
    double term = j->context->allowance_left_m;
    *ret_term = term < run;
    return 1000 * ((*ret_term ? fmax(term, 0) : run) + j->context->waived_m);
}

/* What would bring it below: a smaller scale, another recipe, no fill; then who may waive it. */
static const char *ways_out(po_judging *j, const po_estimate *e, double most, bool term)
{
    const po_part_report *r = j->part;
    po_text t;
    po_text_init(&t, j->arena);
    if (!term && r->allowance_scale > 0 && r->allowance_scale < 1) {
        po_text_printf(&t, "At %.1f %% of its size it would just meet it. ", floor(r->allowance_scale * 1000) / 10);
    }
    const po_estimate *lighter = NULL;
    for (size_t i = 0; i < j->shop->n_recipes; i++) {
        const po_estimate *other = &r->estimates[i];
        if (other != e && other->filament_mm <= most &&
            (lighter == NULL || other->filament_mm < lighter->filament_mm)) {
            lighter = other;
        }
    }
    if (lighter != NULL) {
        po_text_printf(&t, "By the recipe %s it needs %s. ", lighter->recipe->name,
                       po_metres_text(j, lighter->filament_mm));
    }
    if (r->hollow_mm < e->filament_mm * 0.98) {
        po_text_printf(&t, "Without fill it needs %s%s. ", po_metres_text(j, r->hollow_mm),
                       r->hollow_mm <= most ? "" : ", still too much");
    }
    bool desk = (e->filament_mm - most) / 1000 <= j->rules->desk_may_waive_m;
    po_text_printf(&t, "%s %s may waive it.", t.n > 0 ? "Or the" : "The", desk ? "desk" : "keeper");
    j->failed |= t.failed;
    return t.failed ? "" : t.data;
}

void po_judge_part_over_allowance(po_judging *j)
{
    const po_estimate *e = po_judged_estimate(j);
    bool term;
    double most = most_mm(j, &term);
    if (e == NULL || !isfinite(most)) {
        return;
    }
    const char *free_for = term ? "left of this term's allowance" : "free for one run";
    if (e->filament_mm > most + 0.5) {
        double over = e->filament_mm - most;
        po_say(j, PO_GRADE_ASK, ways_out(j, e, most, term),
               "By the recipe %s the part needs about %s; %s are %s: %s (%.0f g) too much.", e->recipe->name,
               po_metres_text(j, e->filament_mm), po_metres_text(j, most), free_for, po_metres_text(j, over),
               fmin(e->filament_g * over / e->filament_mm, 1e9));
    } else if (e->filament_mm + e->support_mm > most + 0.5) {
        po_say(j, PO_GRADE_NOTE, "Turn it so that less hangs over, or ask about the rest.",
               "The part needs about %s; with supports as it lies %s, and %s are %s.",
               po_metres_text(j, e->filament_mm), po_metres_text(j, e->filament_mm + e->support_mm),
               po_metres_text(j, most), free_for);
    }
}

/* ---- spool, hours ---- */

void po_judge_part_spool_short(po_judging *j)
{
    const po_estimate *e = po_judged_estimate(j);
    double have = j->context->spool_g - j->context->spool_reserve_g;
    if (e == NULL || !(e->filament_g > 0) || isnan(have)) {
        return;
    }
    double need = e->filament_g;
    if (have < need) {
        po_say(j, PO_GRADE_ASK, "Take a fuller spool.",
               "The spool holds %.0f g; the part needs about %.0f g: %.0f g are missing.", fmax(have, 0),
               fmin(need, 1e9), fmax(fmin(need - have, 1e9), 1));
    } else if (have < need * (1 + LIM_SPOOL_RESERVE / 100.0)) {
        po_say(j, PO_GRADE_NOTE, "Look at the spool before the run, and have the next one at hand.",
               "The spool holds %.0f g; the part needs about %.0f g: little to spare.", have, need);
    }
}

void po_judge_part_too_long(po_judging *j)
{
    const po_part_report *r = j->part;
    double most = j->rules->longest_run_hours * 3600;
    const po_estimate *best = NULL;
    for (size_t i = 0; r->estimates != NULL && i < j->shop->n_recipes; i++) {
        const po_estimate *e = &r->estimates[i];
        bool asked = r->recipe == NULL || e->recipe == r->recipe;
        if (asked && e->seconds > 0 && (best == NULL || e->seconds < best->seconds)) {
            best = e;
        }
    }
    if (best != NULL && most > 0 && best->seconds > most) {
        po_say(j, PO_GRADE_ASK, "Use thicker layers or less fill, cut the part in two, or ask for leave.",
               "By the recipe %s it takes about %s; the longest that the shop allows is %s.", best->recipe->name,
               po_time_text(j, best->seconds), po_time_text(j, most));
    }
}

/* ---- materials, permission ---- */

void po_judge_part_wrong_material(po_judging *j)
{
    const po_material *m = j->part->material;
    if (m == NULL || po_machine_takes(j->shop, j->machine, m)) {
        return;
    }
    const char *where = "";
    for (size_t k = 0; k < j->shop->n_machines && where[0] == '\0'; k++) {
        if (po_machine_takes(j->shop, &j->shop->machines[k], m)) {
            where = po_arena_printf(j->arena, " %s may.", j->shop->machines[k].name);
            if (where == NULL) {
                j->failed = true;
                return;
            }
        }
    }
    po_say(j, PO_GRADE_STOP, "Choose another machine or material.", "%s may not print %s.%s", j->machine->name, m->name,
           where);
}

void po_judge_part_not_permitted(po_judging *j)
{
    po_judge_not_permitted(j); /* asks the machine and the member, nothing of the job */
}

void po_judge_part_many_materials(po_judging *j)
{
    uint32_t n = j->part->part != NULL ? j->part->part->n_materials : 0;
    size_t have = j->machine->n_nozzles;
    if (n > have && n > 1) {
        po_say(j, PO_GRADE_NOTE,
               have > 1 ? "Agree on which of them to use." : "Agree on one, or use a machine with more nozzles.",
               "The part wants %u materials or colours; %s prints %zu at a time.", n, j->machine->name, have);
    }
}
