/* Rules about beads: melting, width against the nozzle, wrong nozzle, wrong filament, retraction.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Widths go by the stadium model (handbook 2.1): A = (w - h) h + pi h^2 / 4, so w = A / h + h (1 - pi / 4). */
#include "proof/judge.h"

#include <math.h>
#include <string.h>

static const double PI = 3.14159265358979323846;

/* The band of what a nozzle lays, in percent of bead length outside it. */
typedef struct outside {
    double thin, wide, thick;
} outside;

static outside outside_of(const po_tool_facts *tool, double nozzle_mm)
{
    return (outside){.thin = 100 * po_share_below(tool->width_share, PO_WIDTH_BINS, 0.01, LIM_THIN_NOZZLES * nozzle_mm),
                     .wide = 100 * po_share_above(tool->width_share, PO_WIDTH_BINS, 0.01, LIM_WIDE_NOZZLES * nozzle_mm),
                     .thick = 100 * po_share_above(tool->height_share, PO_WIDTH_BINS, 0.01,
                                                   LIM_LAYER_NOZZLES * nozzle_mm + LIM_LAYER_SLACK_MM)};
}

void po_judge_melts_too_fast(po_judging *j)
{
    const po_tool_facts *worst = NULL;
    double worst_ratio = 1 + 1e-9;
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        const po_nozzle *nozzle = po_tool_nozzle(j, tool);
        if (nozzle != NULL && nozzle->melt_mm3_s > 0 && tool->sustained_flow_mm3_s / nozzle->melt_mm3_s > worst_ratio) {
            worst = tool;
            worst_ratio = tool->sustained_flow_mm3_s / nozzle->melt_mm3_s;
        }
    }
    if (worst != NULL) {
        const po_nozzle *nozzle = po_tool_nozzle(j, worst);
        po_say_seen(j, worst_ratio >= LIM_MELT_STOP ? PO_GRADE_STOP : PO_GRADE_ASK, PO_SIGHT_MELT,
                    "Print slower, or with thinner layers or narrower beads, and write the file anew.",
                    "The job wants %.1f mm3/s of melted plastic; the nozzle%s melts %.1f mm3/s.",
                    fmin(worst->sustained_flow_mm3_s, 1e6), po_tool_text(j, worst), nozzle->melt_mm3_s);
    }
}

/* Usual area of a tool's beads: measured, or net feed over bead length (priming is a small part of a job). */
static double usual_area(const po_tool_facts *tool, double filament_mm2)
{
    if (tool->bead_area_mm2 > 0) {
        return tool->bead_area_mm2;
    }
    return tool->extruding_mm > 0 ? tool->filament_net_mm * filament_mm2 / tool->extruding_mm : NAN;
}

static double stadium_width(double area_mm2, double h)
{
    return area_mm2 / h + h * (1 - PI / 4);
}

/* The diameter that the job was made for, when it isn't this one; 0 when it is. */
static double other_filament(const po_judging *j, const po_tool_facts *tool)
{
    const po_material *m = po_tool_material(j, tool);
    const po_nozzle *nozzle = po_tool_nozzle(j, tool);
    double h = tool->layer_height_mm > 0 ? tool->layer_height_mm : j->facts->layer_height_mm;
    if (m == NULL || nozzle == NULL || !(h > 0) || !po_tool_used(tool)) {
        return 0;
    }
    double d = m->diameter_mm, other = fabs(d - 1.75) <= 0.15 ? 2.85 : fabs(d - 2.85) <= 0.25 ? 1.75 : 0;
    double area = usual_area(tool, PI / 4 * d * d);
    if (other == 0 || !(area > 0)) {
        return 0;
    }
    double here = stadium_width(area, h) / nozzle->diameter_mm;
    double there = stadium_width(area * other * other / (d * d), h) / nozzle->diameter_mm;
    bool odd = other > d ? here < 0.65 : here > 2.2;
    return odd && there >= 0.95 && there <= 1.4 ? other : 0;
}

void po_judge_wrong_filament(po_judging *j)
{
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        double other = other_filament(j, tool);
        if (other > 0) {
            double d = po_tool_material(j, tool)->diameter_mm;
            po_say(j, PO_GRADE_STOP, "Set the filament diameter of this machine and write the file anew.",
                   "The job was made for filament of %.2f mm; this machine uses %.2f mm, so it would lay %s plastic.",
                   other, d, other > d ? "far too little" : "far too much");
            return;
        }
    }
}

static bool same_machine(const po_judging *j, const po_machine *m)
{
    return strcmp(m->name, j->machine->name) == 0; /* by name: a caller may judge on a changed copy */
}

/* Whose nozzle of the shop lays this tool's beads; NULL when none does. narrow: go by the usual width alone. */
static const po_machine *other_nozzle(const po_judging *j, const po_tool_facts *tool, double not_mm, bool narrow,
                                      double *ret_mm)
{
    const po_machine *best = NULL;
    double best_off = INFINITY;
    for (size_t i = 0; i < j->shop->n_machines; i++) {
        /* of this machine what is fitted, not what the shop file says: the nozzle that came off is no other tool */
        const po_machine *m = same_machine(j, &j->shop->machines[i]) ? j->machine : &j->shop->machines[i];
        for (size_t k = 0; k < m->n_nozzles; k++) {
            double d = m->nozzles[k].diameter_mm, ratio = tool->bead_width_mm / d;
            outside out = outside_of(tool, d);
            bool lays = out.thin <= LIM_LENGTH_SHARE && out.wide <= LIM_LENGTH_SHARE && out.thick <= LIM_LENGTH_SHARE;
            if (fabs(d - not_mm) < 0.01 || !lays || !(ratio >= 0.95 && ratio <= (narrow ? 1.5 : 1.7))) {
                continue;
            }
            /* nearest to the middle of the usual window; this machine's own other nozzle wins a tie */
            double off = fabs(ratio - 1.15) - (same_machine(j, m) ? 1e-6 : 0);
            if (off < best_off) {
                best = m;
                best_off = off;
                *ret_mm = d;
            }
        }
    }
    return best;
}

void po_judge_wrong_nozzle(po_judging *j)
{
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        const po_nozzle *nozzle = po_tool_nozzle(j, tool);
        if (nozzle == NULL || !po_tool_used(tool)) {
            continue;
        }
        outside out = outside_of(tool, nozzle->diameter_mm);
        bool much = fmax(fmax(out.thin, out.wide), out.thick) > LIM_MUCH_SHARE;
        bool narrow = tool->bead_width_mm < LIM_NARROW_NOZZLES * nozzle->diameter_mm;
        double other = 0;
        const po_machine *m = much || narrow ? other_nozzle(j, tool, nozzle->diameter_mm, !much, &other) : NULL;
        if (m == NULL) {
            continue;
        }
        double h = tool->layer_height_mm > 0 ? tool->layer_height_mm : j->facts->layer_height_mm;
        po_say(j, much ? PO_GRADE_STOP : PO_GRADE_ASK,
               "Choose the nozzle of this machine and write the file anew, or use the machine named here.",
               "Made for a nozzle of %.2g mm (as %s has): beads of %.2f mm in layers of %.2f mm; here the nozzle%s is "
               "%.2g mm.",
               other, same_machine(j, m) ? "this machine's other tool" : m->name, tool->bead_width_mm, h,
               po_tool_text(j, tool), nozzle->diameter_mm);
        return;
    }
}

typedef enum fault { THIN, WIDE, THICK } fault;

/* Worst tool for one fault of its beads; its share in percent. */
static const po_tool_facts *worst_tool(const po_judging *j, fault which, double *ret_percent)
{
    const po_tool_facts *worst = NULL;
    double most = LIM_LENGTH_SHARE;
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        const po_nozzle *nozzle = po_tool_nozzle(j, tool);
        if (nozzle == NULL || !po_tool_used(tool)) {
            continue;
        }
        outside out = outside_of(tool, nozzle->diameter_mm);
        double percent = which == THIN ? out.thin : which == WIDE ? out.wide : out.thick;
        if (percent > most) {
            most = percent;
            worst = tool;
        }
    }
    *ret_percent = most;
    return worst;
}

/* One sentence for three rules: so much of the job lies `beyond` a limit of so many nozzles, which is `too` much for it. */
static void say_share(po_judging *j, fault which, po_sight sight, double nozzles, const char *beyond, const char *too,
                      const char *todo)
{
    double percent;
    const po_tool_facts *tool = worst_tool(j, which, &percent);
    if (tool != NULL) {
        double d = po_tool_nozzle(j, tool)->diameter_mm;
        po_say_seen(j, PO_GRADE_ASK, sight, todo,
                    "%.0f %% of the bead length lies in %s %.2f mm, too %s for the %.2g mm nozzle%s.", percent, beyond,
                    nozzles * d, too, d, po_tool_text(j, tool));
    }
}

void po_judge_bead_too_thin(po_judging *j)
{
    say_share(j, THIN, PO_SIGHT_THIN_BEAD, LIM_THIN_NOZZLES, "beads thinner than", "thin",
              "Use beads about as wide as the nozzle, set the flow to 100 %, and write the file anew.");
}

void po_judge_bead_too_wide(po_judging *j)
{
    say_share(j, WIDE, PO_SIGHT_WIDE_BEAD, LIM_WIDE_NOZZLES, "beads wider than", "wide",
              "Use beads at most one and a half times as wide as the nozzle, and write the file anew.");
}

void po_judge_layer_too_thick(po_judging *j)
{
    say_share(j, THICK, PO_SIGHT_THICK_LAYER, LIM_LAYER_NOZZLES, "layers above", "thick",
              "Use layers of at most three quarters of the nozzle, and write the file anew.");
}

void po_judge_grinds_filament(po_judging *j)
{
    const po_sighting *s = po_seen_above(j, PO_SIGHT_GRINDS, LIM_GRIND_PASSES);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_GRINDS,
                    "Retract less often, only on long travels, and write the file anew.",
                    "The same stretch of filament passes the drive %.0f times%s: its teeth may grind it away.",
                    fmin(s->worst, 1e6), po_place_text(j, &s->worst_at));
    }
}

void po_judge_retracts_too_far(po_judging *j)
{
    double most = j->machine->retract_most_mm;
    const po_sighting *s = most > 0 ? po_seen_above(j, PO_SIGHT_RETRACTS_FAR, most + 0.05) : NULL;
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_RETRACTS_FAR,
                    "Set the retraction of this machine and write the file anew.",
                    "The file pulls the filament back by %s; this hot end bears %s.", po_mm_text(j, s->worst),
                    po_mm_text(j, most));
    }
}
