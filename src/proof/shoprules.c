/* Rules of the house: permission, material, allowance, spool, hours, the right machine. SPDX-License-Identifier: Apache-2.0
 *
 * made-for-other-machine speaks only on clear evidence: parts that lie off this bed but within another's, parts centred to
 * a fraction of a mm on another bed and well off this one's centre, or more tools than this machine has. */
#include "proof/judge.h"

#include <math.h>
#include <string.h>

void po_judge_wrong_material(po_judging *j)
{
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        const po_material *m = po_tool_material(j, tool);
        if (po_tool_used(tool) && m != NULL && !po_machine_takes(j->shop, j->machine, m)) {
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
            po_say(j, PO_GRADE_STOP, "Choose another machine or material.", "%s may not print %s (%.0f g).%s",
                   j->machine->name, m->name, fmin(tool->filament_g, 1e9), where);
            return;
        }
    }
}

void po_judge_not_permitted(po_judging *j)
{
    const po_proof_context *c = j->context;
    const char *wanted = j->machine->permission;
    if (c->permissions == NULL || wanted == NULL) {
        return;
    }
    for (size_t i = 0; i < c->n_permissions; i++) {
        if (po_shop_grants(j->shop, c->permissions[i], wanted)) {
            return;
        }
    }
    po_say(j, PO_GRADE_STOP, "Choose a machine that you may use, or ask at the desk for the next training.",
           "%s is for members with the permission \"%s\".", j->machine->name, po_short_text(j, wanted));
}

void po_judge_machine_taken(po_judging *j)
{
    const po_proof_context *c = j->context;
    if (c->not_free != NULL) {
        po_say(j, c->out_of_use ? PO_GRADE_STOP : PO_GRADE_ASK,
               c->out_of_use ? "Take another machine. Whoever cares for it puts it in use again."
                             : "Take another machine, or a ticket and wait.",
               "%s", c->not_free);
    }
}

void po_judge_gap_unverified(po_judging *j)
{
    if (j->context->gap_due != NULL) {
        po_say(j, PO_GRADE_ASK, "Check the gap of the first layer, and book it, before the machine goes out.", "%s",
               j->context->gap_due);
    }
}

void po_judge_over_allowance(po_judging *j)
{
    const po_job_facts *f = j->facts;
    double need_m = f->filament_mm / 1000, run = j->rules->allowance_m_per_run, term = j->context->allowance_left_m;
    double waived = j->context->waived_m;
    double over_run = run > 0 ? need_m - run : 0, over_term = !isnan(term) ? need_m - fmax(term, 0) : 0;
    double over = fmax(over_run, over_term) - waived;
    if (!(over > 0.0005)) {
        return;
    }
    const char *less = waived > 0 ? po_arena_printf(j->arena, ", and %s by waiver", po_metres_text(j, waived * 1000))
                                  : "";
    if (less == NULL) {
        j->failed = true;
        return;
    }
    double g = f->filament_mm > 0 ? f->filament_g * over / need_m : 0;
    bool desk = over <= j->rules->desk_may_waive_m;
    const char *todo = desk ? "The desk may waive that. Or make the part smaller or hollower."
                            : "Only the keeper may waive that. Or make the part smaller or hollower.";
    if (over_term >= over_run) {
        po_say(j, PO_GRADE_ASK, todo, "The job needs %s; %s are left of this term's allowance%s: %s (%.0f g) too much.",
               po_metres_text(j, f->filament_mm), po_metres_text(j, fmax(term, 0) * 1000), less,
               po_metres_text(j, over * 1000), fmin(g, 1e9));
    } else {
        po_say(j, PO_GRADE_ASK, todo, "The job needs %s; %s are free for one run%s: %s (%.0f g) too much.",
               po_metres_text(j, f->filament_mm), po_metres_text(j, run * 1000), less, po_metres_text(j, over * 1000),
               fmin(g, 1e9));
    }
}

/* Grams that the spool must give: all tools that print the main tool's material. */
static double spool_need(const po_judging *j, double *ret_mm)
{
    const po_tool_facts *tool = po_main_tool(j);
    const po_material *m = tool != NULL ? po_tool_material(j, tool) : NULL;
    double g = 0;
    *ret_mm = 0;
    for (size_t i = 0; m != NULL && i < j->facts->n_tools; i++) {
        const po_tool_facts *other = &j->facts->tools[i];
        if (po_tool_material(j, other) == m) {
            g += other->filament_g;
            *ret_mm += other->filament_mm;
        }
    }
    return g;
}

void po_judge_spool_short(po_judging *j)
{
    double mm, need = spool_need(j, &mm), have = j->context->spool_g, end = j->context->spool_reserve_g;
    if (!(need > 0) || isnan(have)) {
        return;
    }
    have = fmax(have, 0); /* a book can say that more was used than was there */
    if (have < need + end && have >= need) {
        po_say(j, PO_GRADE_ASK, "Take a fuller spool.",
               "The spool holds %.0f g; the job needs %.0f g, and the last %.0f g of a spool can't be relied on.", have,
               fmin(need, 1e9), end);
    } else if (have < need) {
        po_say(j, PO_GRADE_ASK, "Take a fuller spool.",
               "The spool holds %.0f g; the job needs %.0f g: %.0f g (%s) are missing.", have, fmin(need, 1e9),
               fmax(fmin(need - have, 1e9), 1), po_metres_text(j, mm * (need - have) / need));
    } else if (have < need * (1 + LIM_SPOOL_RESERVE / 100.0)) {
        po_say(j, PO_GRADE_NOTE, "Look at the spool before the run, and have the next one at hand.",
               "The spool holds %.0f g; the job needs %.0f g: little to spare.", have, need);
    }
}

void po_judge_too_long(po_judging *j)
{
    double hours = j->rules->longest_run_hours, s = j->facts->seconds;
    po_wall_time end;
    if (hours > 0 && s > hours * 3600) {
        po_say(j, PO_GRADE_ASK, "Use thicker layers or less fill, cut the part in two, or ask for leave.",
               "The run takes about %s; the longest that the shop allows is %s.", po_time_text(j, s),
               po_time_text(j, hours * 3600));
    } else if (j->context->when == NULL && !j->rules->may_end_unstaffed && /* else ends-unstaffed knows better */
               po_clock_at(j->context, s, &end) && !po_shop_staffed(j->shop, end)) {
        po_say(j, PO_GRADE_ASK, "Start at another time, or agree who will be there.",
               "The run takes about %s and would end when nobody is at the desk (%d:%02d).", po_time_text(j, s),
               end.minute / 60, end.minute % 60);
    }
}

/* ---- made for another machine ---- */

static void bed_centre(const po_machine *m, double ret_xy[2])
{
    po_range x, y;
    po_machine_bed_extent(m, &x, &y);
    ret_xy[0] = (x.low + x.high) / 2;
    ret_xy[1] = (y.low + y.high) / 2;
}

/* Whether a box lies on a bed, and how far beyond it reaches at most. */
static double beyond_bed(const po_machine *m, const po_span3 *b)
{
    po_range x, y;
    po_machine_bed_extent(m, &x, &y);
    double beyond = fmax(fmax(x.low - b->min[0], b->max[0] - x.high), fmax(y.low - b->min[1], b->max[1] - y.high));
    if (m->round_bed) { /* the middles of the box's sides at least must lie on the disc; its corners need not be filled */
        double cx = (x.low + x.high) / 2, cy = (y.low + y.high) / 2, r = (x.high - x.low) / 2;
        double bx = (b->min[0] + b->max[0]) / 2, by = (b->min[1] + b->max[1]) / 2;
        double far = fmax(fmax(hypot(b->min[0] - cx, by - cy), hypot(b->max[0] - cx, by - cy)),
                          fmax(hypot(bx - cx, b->min[1] - cy), hypot(bx - cx, b->max[1] - cy)));
        beyond = fmax(beyond, far - r);
    }
    return beyond;
}

/* How clearly the job was made for m rather than for this machine: 0 not at all. */
static int evidence_for(const po_judging *j, const po_machine *m, const po_span3 *b, int top_tool)
{
    double here[2], there[2], x = (b->min[0] + b->max[0]) / 2, y = (b->min[1] + b->max[1]) / 2;
    bed_centre(j->machine, here);
    bed_centre(m, there);
    double off_here = fmax(fabs(x - here[0]), fabs(y - here[1])),
           off_there = fmax(fabs(x - there[0]), fabs(y - there[1]));
    if (beyond_bed(m, b) > 0 || b->max[2] > m->height_mm || top_tool >= (int)m->n_nozzles) {
        return 0;
    }
    int points = 0;
    if (beyond_bed(j->machine, b) > 1 && off_here > LIM_CENTRED_MM) {
        points += 2; /* not merely too large: it also lies elsewhere */
    }
    if (off_there <= LIM_CENTRED_MM && off_here >= LIM_UNCENTRED_MM) {
        points += 3;
    }
    if (top_tool >= (int)j->machine->n_nozzles) {
        points += 2;
    }
    return points;
}

void po_judge_made_for_other_machine(po_judging *j)
{
    const po_span3 *b = &j->facts->bounds_mm;
    for (int i = 0; i < 3; i++) {
        if (!isfinite(b->min[i]) || !isfinite(b->max[i])) {
            return;
        }
    }
    const po_sighting *tool = po_seen(j, PO_SIGHT_NEEDS_TOOL);
    int top_tool = tool != NULL && tool->worst >= 0 && tool->worst < 1000 ? (int)tool->worst : 0;
    const po_machine *best = NULL;
    int most = 0;
    for (size_t i = 0; i < j->shop->n_machines; i++) {
        const po_machine *m = &j->shop->machines[i];
        int points = strcmp(m->name, j->machine->name) == 0 ? 0 : evidence_for(j, m, b, top_tool);
        if (points > most) {
            most = points;
            best = m;
        }
    }
    if (best == NULL) {
        return;
    }
    const char *todo = "Use that machine, or choose this one in the program that wrote the file, and write it anew.";
    if (top_tool >= (int)j->machine->n_nozzles) {
        po_say(j, PO_GRADE_ASK, todo, "The job seems to be made for %s: it uses %d tools, %s has %zu.", best->name,
               top_tool + 1, j->machine->name, j->machine->n_nozzles);
    } else {
        po_say(j, PO_GRADE_ASK, todo,
               "The job seems to be made for %s: its middle lies at x %.0f mm, y %.0f mm, which fits that bed better.",
               best->name, (b->min[0] + b->max[0]) / 2 + 0.0, (b->min[1] + b->max[1]) / 2 + 0.0);
    }
}
