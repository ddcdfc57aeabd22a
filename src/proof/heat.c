/* Rules about heat and fan. SPDX-License-Identifier: Apache-2.0
 *
 * Bands are judged by share of bead-laying time, with a slack that heaters and sensors have anyway. A first layer that is
 * hotter (or a first bed that is) is how ordinary files are written: its share is taken off before judging. */
#include "proof/judge.h"

#include <math.h>
#include <string.h>

void po_judge_pushes_cold(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_PUSHES_COLD);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_PUSHES_COLD,
                    "Set the nozzle temperature of the loaded material and write the file anew.",
                    "Filament is pushed with the nozzle at only %.0f C: it would not melt.", s->worst);
    } else if (po_seen(j, PO_SIGHT_NEVER_HEATED) != NULL) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_NEVER_HEATED,
                    "Heat the machine at its panel before the start, or add the heating words to the file.",
                    "The file never heats the nozzle. That works only if the machine is heated at its panel first.");
    }
}

void po_judge_beyond_rating(po_judging *j)
{
    const po_sighting *nozzle = po_seen(j, PO_SIGHT_NOZZLE_TOO_HOT), *bed = po_seen(j, PO_SIGHT_BED_TOO_HOT);
    if (nozzle != NULL) {
        double hottest = 0;
        for (size_t i = 0; i < j->machine->n_nozzles; i++) { /* the nozzle meant is the one it is too hot for */
            double c = j->machine->nozzles[i].hottest_c;
            if (c < nozzle->worst && c > hottest) {
                hottest = c;
            }
        }
        po_finding *f = po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_NOZZLE_TOO_HOT,
                                    "Set temperatures that this machine may reach, or use a machine rated for them.",
                                    "The nozzle is set to %.0f C; this machine may reach %.0f C at most.",
                                    nozzle->worst, hottest);
        if (f != NULL && bed != NULL) {
            f->count += bed->count;
        }
    } else if (bed != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_BED_TOO_HOT,
                    "Set temperatures that this machine may reach, or use a machine rated for them.",
                    "The bed is set to %.0f C; this machine's may reach %.0f C at most.", bed->worst,
                    j->machine->bed_hottest_c);
    }
}

/* Share of bead time that a hotter (or cooler) first layer explains. */
static double first_layer_share(const po_judging *j, const float *shares, size_t n_bins, double first, po_range band)
{
    const po_job_facts *f = j->facts;
    if (isnan(first) || first < 1 || first > (double)(n_bins - 1) || !(f->seconds > f->first_bead_seconds) ||
        first > band.high + LIM_BOOST_C || first < band.low - LIM_BOOST_C) {
        return 0;
    }
    double all = 0;
    for (size_t i = 0; i < n_bins; i++) {
        all += shares[i];
    }
    double at_first = all > 0 ? shares[(size_t)floor(first)] / all : 0;
    double layer = (f->first_layer_seconds - f->first_bead_seconds) / (f->seconds - f->first_bead_seconds);
    /* the fact counts bead time only, this ratio all time: travels make them differ a little */
    return layer > 0 ? fmin(at_first, 1.3 * layer) : 0;
}

/* Share of bead time outside a temperature band, after the slack and the first layer's own. unset: count bin 0. */
static double out_of_band(const po_judging *j, const float *shares, double first, po_range band, bool unset,
                          bool *ret_hot)
{
    double below = po_share_below(shares, PO_C_BINS, 1, band.low - LIM_HEAT_SLACK_C);
    double above = po_share_above(shares, PO_C_BINS, 1, band.high + LIM_HEAT_SLACK_C);
    if (shares != NULL) {
        double none = unset ? 0 : fmin(po_share_below(shares, PO_C_BINS, 1, 1), below);
        below = none < 1 ? (below - none) / (1 - none) : 0;
        double excused = first_layer_share(j, shares, PO_C_BINS, first, band);
        if (first > band.high + LIM_HEAT_SLACK_C) {
            above -= fmin(above, excused);
        } else if (first < band.low - LIM_HEAT_SLACK_C) {
            below -= fmin(below, excused);
        }
    }
    *ret_hot = above > below;
    return below + above;
}

static bool bed_fits(const po_judging *j, const po_material *m)
{
    bool hot;
    return j->facts->bed_share == NULL ||
           out_of_band(j, j->facts->bed_share, j->facts->bed_c.first, m->bed_c, true, &hot) * 100 <= LIM_HEAT_SHARE;
}

static bool nozzle_fits(const po_judging *j, const po_tool_facts *tool, const po_material *m)
{
    bool hot;
    return out_of_band(j, tool->nozzle_share, tool->nozzle_c.first, m->nozzle_c, false, &hot) * 100 <= LIM_HEAT_SHARE;
}

/* " That would suit pla." for another material of the shop whose bands hold these temperatures; best one that fits both
 * nozzle and bed and that the machine takes. */
static const char *would_suit(po_judging *j, const po_tool_facts *tool, const po_material *not_this, bool nozzle)
{
    const po_material *best = NULL;
    int best_points = 0;
    for (size_t i = 0; i < j->shop->n_materials; i++) {
        const po_material *m = &j->shop->materials[i];
        bool fits_nozzle = nozzle_fits(j, tool, m), fits_bed = bed_fits(j, m);
        if (m == not_this || strcmp(m->name, not_this->name) == 0 || !(nozzle ? fits_nozzle : fits_bed)) {
            continue;
        }
        int points = 1 + 4 * (fits_nozzle && fits_bed) + 2 * po_machine_takes(j->shop, j->machine, m);
        if (points > best_points) {
            best = m;
            best_points = points;
        }
    }
    if (best == NULL) {
        return "";
    }
    const char *text = po_arena_printf(j->arena, " That would suit %s.", best->name);
    j->failed |= text == NULL;
    return text != NULL ? text : "";
}

void po_judge_nozzle_out_of_band(po_judging *j)
{
    const po_tool_facts *worst = NULL;
    double worst_share = LIM_HEAT_SHARE / 100.0;
    bool worst_hot = false;
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        const po_material *m = po_tool_material(j, tool);
        bool hot = false;
        if (!po_tool_used(tool) || m == NULL || tool->nozzle_share == NULL) {
            continue;
        }
        double share = out_of_band(j, tool->nozzle_share, tool->nozzle_c.first, m->nozzle_c, false, &hot);
        if (share > worst_share) {
            worst = tool;
            worst_share = share;
            worst_hot = hot;
        }
    }
    if (worst != NULL) {
        const po_material *m = po_tool_material(j, worst);
        po_say(j, PO_GRADE_ASK, "Check which material is meant. Choose the one that is loaded and write the file anew.",
               "The nozzle%s is set to %.0f C; %s wants %.0f to %.0f C.%s", po_tool_text(j, worst),
               worst_hot ? worst->nozzle_c.highest : worst->nozzle_c.lowest, m->name, m->nozzle_c.low, m->nozzle_c.high,
               would_suit(j, worst, m, true));
    }
}

/* The band that any of the used tools' materials allows. */
static po_range joint_band(const po_judging *j, bool fan)
{
    po_range band = {INFINITY, -INFINITY};
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        const po_material *m = po_tool_material(j, tool);
        if (po_tool_used(tool) && m != NULL) {
            const po_range *r = fan ? &m->fan_percent : &m->bed_c;
            band.low = fmin(band.low, r->low);
            band.high = fmax(band.high, r->high);
        }
    }
    return band;
}

void po_judge_bed_out_of_band(po_judging *j)
{
    const po_job_facts *f = j->facts;
    const po_tool_facts *tool = po_main_tool(j);
    po_range band = joint_band(j, false);
    bool hot = false;
    if (tool == NULL || f->bed_share == NULL || !(band.low <= band.high)) {
        return;
    }
    double share = out_of_band(j, f->bed_share, f->bed_c.first, band, true, &hot);
    const po_material *m = po_tool_material(j, tool);
    if (share * 100 <= LIM_HEAT_SHARE || m == NULL) {
        return;
    }
    if (isnan(f->bed_c.highest) || f->bed_c.highest < 1) {
        po_say(j, PO_GRADE_ASK, "Set the bed's temperature in the file, or heat it at the panel if the desk agrees.",
               "The bed is never heated; %s wants %.0f to %.0f C to hold on.", m->name, band.low, band.high);
        return;
    }
    double c = hot ? f->bed_c.highest : f->bed_c.lowest;
    if (!hot && c < 1) {
        po_say(j, PO_GRADE_ASK, "Keep the bed warm to the end and write the file anew.",
               "The bed is switched off during %.0f %% of the printing; %s wants %.0f to %.0f C.", 100 * share, m->name,
               band.low, band.high);
        return;
    }
    po_say(j, PO_GRADE_ASK, "Check which material is meant. Choose the one that is loaded and write the file anew.",
           "The bed is set to %.0f C; %s wants %.0f to %.0f C.%s", c, m->name, band.low, band.high,
           would_suit(j, tool, m, false));
}

void po_judge_fan_out_of_band(po_judging *j)
{
    const po_tool_facts *tool = po_main_tool(j);
    const po_material *m = tool != NULL ? po_tool_material(j, tool) : NULL;
    const float *shares = j->facts->fan_share;
    po_range band = joint_band(j, true);
    if (m == NULL || shares == NULL) {
        return;
    }
    double below = po_share_below(shares, PO_FAN_BINS, 1, band.low - LIM_FAN_SLACK);
    double above = po_share_above(shares, PO_FAN_BINS, 1, band.high + LIM_FAN_SLACK);
    if ((below + above) * 100 <= LIM_FAN_SHARE) {
        return;
    }
    bool more = above > below;
    po_say(j, PO_GRADE_ASK, "Set the fan of the loaded material and write the file anew.",
           "From the fourth layer on the fan runs %s than %s wants (%.0f to %.0f %%) during %.0f %% of the time.",
           more ? "faster" : "slower", m->name, band.low, band.high, 100 * (more ? above : below));
}

void po_judge_no_heat_wait(po_judging *j)
{
    const po_sighting *nozzle = po_seen_above(j, PO_SIGHT_NO_NOZZLE_WAIT, LIM_WAIT_SHORT_C);
    const po_sighting *bed = po_seen_above(j, PO_SIGHT_NO_BED_WAIT, LIM_WAIT_SHORT_C);
    const char *todo = "Heat the machine before the start, or use the waiting words (M109, M190) in the start text.";
    if (nozzle != NULL && bed != NULL) {
        po_say_seen(
            j, PO_GRADE_ASK, nozzle->worst >= bed->worst ? PO_SIGHT_NO_NOZZLE_WAIT : PO_SIGHT_NO_BED_WAIT, todo,
            "Printing starts while the nozzle is about %.0f C and the bed %.0f C too cold: the file doesn't wait "
            "for the heat.",
            fmin(nozzle->worst, 1e6), fmin(bed->worst, 1e6));
    } else if (nozzle != NULL || bed != NULL) {
        po_say_seen(j, PO_GRADE_ASK, nozzle != NULL ? PO_SIGHT_NO_NOZZLE_WAIT : PO_SIGHT_NO_BED_WAIT, todo,
                    "Printing starts while the %s is about %.0f C too cold: the file doesn't wait for the heat.",
                    nozzle != NULL ? "nozzle" : "bed", fmin(nozzle != NULL ? nozzle->worst : bed->worst, 1e6));
    }
}

void po_judge_leaves_heat_on(po_judging *j)
{
    const po_sighting *nozzle = po_seen(j, PO_SIGHT_LEAVES_NOZZLE_ON), *bed = po_seen(j, PO_SIGHT_LEAVES_BED_ON);
    if (nozzle == NULL && bed == NULL) {
        return;
    }
    po_wall_time end;
    bool known = po_clock_at(j->context, j->facts->seconds, &end);
    bool unstaffed = known && !po_shop_staffed(j->shop, end) && !j->machine->switches_itself_off;
    const char *when = known ? po_clock_text(j, j->facts->seconds) : "";
    const char *what = nozzle != NULL && bed != NULL
                           ? po_arena_printf(j->arena,
                                             "nozzle (%.0f C) and the bed (%.0f C) stay heated: nothing "
                                             "switches them off",
                                             fmin(nozzle->worst, 1e6), fmin(bed->worst, 1e6))
                           : po_arena_printf(j->arena, "%s stays heated to %.0f C: nothing switches it off",
                                             nozzle != NULL ? "nozzle" : "bed",
                                             fmin(nozzle != NULL ? nozzle->worst : bed->worst, 1e6));
    if (what == NULL) {
        j->failed = true;
        return;
    }
    const char *todo =
        unstaffed ? "Switch both heaters off in the end text, or start so that it ends while somebody is there."
                  : "Switch both heaters off in the end text, or agree who switches the machine off.";
    po_finding *f = po_say_seen(j, unstaffed ? PO_GRADE_STOP : PO_GRADE_ASK,
                                nozzle != NULL ? PO_SIGHT_LEAVES_NOZZLE_ON : PO_SIGHT_LEAVES_BED_ON, todo,
                                "At the end%s the %s.", when, what);
    if (f != NULL && nozzle != NULL && bed != NULL) {
        f->count = nozzle->count + bed->count;
    }
}

void po_judge_sits_hot(po_judging *j)
{
    const po_sighting *s = po_seen_above(j, PO_SIGHT_SITS_HOT, LIM_SITS_HOT_S);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_SITS_HOT, "Heat the bed first, and wait with the nozzle below 170 C.",
                    "The hot nozzle rests for %s: plastic oozes and cooks in it.", po_time_text(j, s->worst));
    }
}
