/* Rules about how a part lies: room on the machine, foothold, tipping, overhangs, bridges. SPDX-License-Identifier: Apache-2.0
 *
 * All of them judge the part as it lies in its file. Where another way up is known that helps, the finding says which. */
#include <math.h>

#include "proof/judge.h"

/* ---- room ---- */

static const po_fit *fit_of(const po_judging *j, const po_solid *s)
{
    for (size_t i = 0; s->fits != NULL && i < j->shop->n_machines; i++) {
        if (s->fits[i].machine == j->machine) {
            return &s->fits[i];
        }
    }
    return NULL;
}

static double over(const po_fit *f)
{
    return fmax(f->over_mm[0], fmax(f->over_mm[1], f->over_mm[2]));
}

static double ill_too_big(const po_judging *j, const po_solid *s)
{
    const po_fit *f = fit_of(j, s);
    if (f == NULL || f->as_is || f->turned) {
        return 0;
    }
    return fmax(over(f), 1e-3) + (f->pose < 0 ? 1e9 : 0);
}

/* The shop's first machine that every item fits without tipping; NULL = none. */
static const po_machine *roomier(const po_judging *j)
{
    for (size_t m = 0; m < j->shop->n_machines; m++) {
        bool all = j->part->n_solids > 0;
        for (size_t i = 0; i < j->part->n_solids && all; i++) {
            const po_solid *s = &j->part->solids[i];
            all = s->fits != NULL && (s->fits[m].as_is || s->fits[m].turned);
        }
        if (all) {
            return &j->shop->machines[m];
        }
    }
    return NULL;
}

void po_judge_part_too_big(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_too_big, &items);
    if (s == NULL) {
        return;
    }
    const po_fit *f = fit_of(j, s);
    const po_machine *other = roomier(j);
    const double *low = s->facts.bounds_mm[0], *high = s->facts.bounds_mm[1];
    const char *size = po_arena_printf(j->arena, "%.4g x %.4g x %.4g mm", high[0] - low[0], high[1] - low[1],
                                       high[2] - low[2]);
    const char *scale = isfinite(f->largest_scale) && f->largest_scale >= 0.01
                            ? po_arena_printf(j->arena, "; at %.1f %% of its size it would fit as it lies or turned",
                                              floor(f->largest_scale * 1000) / 10)
                            : "";
    const char *todo;
    if (f->pose >= 0) {
        todo = other != NULL
                   ? po_arena_printf(j->arena, "Lay it another way up (proveout orient shows which), or use %s.",
                                     other->name)
                   : "Lay it another way up (proveout orient shows which).";
    } else if (other != NULL) {
        todo = po_arena_printf(j->arena, "Use %s, make it smaller, or cut it into pieces (proveout pieces).",
                               other->name);
    } else {
        todo = "Make it smaller, or cut it into pieces (proveout pieces).";
    }
    if (size == NULL || scale == NULL || todo == NULL) {
        j->failed = true;
        return;
    }
    if (f->pose >= 0) {
        po_say_solid(j, PO_GRADE_ASK, s, items, items, NULL, todo,
                     "It measures %s and fits %s only when it is tipped over%s.", size, j->machine->name, scale);
    } else {
        po_say_solid(j, PO_GRADE_STOP, s, items, items, NULL, todo, "It measures %s and does not fit %s%s.", size,
                     j->machine->name, scale);
    }
}

static double ill_turned(const po_judging *j, const po_solid *s)
{
    const po_fit *f = fit_of(j, s);
    return f != NULL && !f->as_is && f->turned ? fmax(over(f), 1e-3) : 0;
}

void po_judge_part_fits_turned(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_turned, &items);
    if (s != NULL) {
        po_say_solid(j, PO_GRADE_NOTE, s, items, items, NULL, "Turn it when the job is prepared.",
                     "It fits %s only when it is turned about the vertical, by %.1f degrees%s.", j->machine->name,
                     fabs(fit_of(j, s)->turn_deg), fit_of(j, s)->turn_deg < 0 ? " clockwise" : "");
    }
}

/* ---- as it lies ---- */

static double tall(const po_pose *p)
{
    return p->size_mm[2];
}

static double wanted_foothold(const po_judging *j, const po_pose *p)
{
    double least = j->rules->smallest_foothold_mm2;
    return tall(p) >= LIM_TALL_MM ? fmax(least, LIM_TALL_FOOT_MM2) : least;
}

static bool stands_well(const po_judging *j, const po_pose *p)
{
    return p->foothold_mm2 >= wanted_foothold(j, p) && p->stands && !(p->tip_deg < LIM_TIP_DEG);
}

/* The cheapest known way up that stands well; NULL = none known. */
static const po_pose *better_footed(const po_judging *j, const po_solid *s)
{
    for (size_t i = 0; i < s->n_poses; i++) {
        if (i != s->as_is && stands_well(j, &s->poses[i])) {
            return &s->poses[i];
        }
    }
    return NULL;
}

/* Advice: the better way up where there is one, else what helps where there is none, or none was looked for. */
static const char *turn_or(po_judging *j, const po_solid *s, const char *brim, const char *unknown)
{
    const po_pose *better = better_footed(j, s);
    if (better == NULL) {
        return s->n_poses > 0 ? brim : unknown; /* known ways up that are no better: turning won't help */
    }
    const char *text = po_arena_printf(j->arena,
                                       "Turn it: another way up (proveout orient shows it) is %.0f mm tall and stands "
                                       "on %.0f mm2.",
                                       tall(better), better->foothold_mm2);
    j->failed |= text == NULL;
    return text != NULL ? text : "";
}

static double ill_foothold(const po_judging *j, const po_solid *s)
{
    double want = wanted_foothold(j, &s->lies);
    return s->lies_done && s->lies.foothold_mm2 < want ? 2 - s->lies.foothold_mm2 / want : 0;
}

void po_judge_part_small_foothold(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_foothold, &items);
    if (s != NULL) {
        po_say_solid(j, PO_GRADE_ASK, s, items, items, NULL,
                     turn_or(j, s, "Add a brim when the job is prepared, or hold it with supports.",
                             "Turn it, or add a brim when the job is prepared."),
                     "As it lies it stands on only %.0f mm2 and is %s tall: at least %.0f mm2 are wanted.",
                     s->lies.foothold_mm2, po_mm_text(j, tall(&s->lies)), wanted_foothold(j, &s->lies));
    }
}

static double ill_tips(const po_judging *j, const po_solid *s)
{
    (void)j;
    bool tips = s->lies_done && tall(&s->lies) >= LIM_UPRIGHT_MM && (!s->lies.stands || s->lies.tip_deg < LIM_TIP_DEG);
    return tips ? 91 - fmin(fmax(s->lies.tip_deg, 0), 90) : 0;
}

void po_judge_part_tips_over(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_tips, &items);
    if (s == NULL) {
        return;
    }
    const char *todo = turn_or(j, s, "Add a brim, or hold it with supports.",
                               "Lay it down, add a brim, or hold it with supports.");
    if (s->lies.tip_deg > 0) {
        po_say_solid(j, PO_GRADE_ASK, s, items, items, NULL, todo,
                     "As it lies it is %s tall and tips over when it is tilted by %.1f degrees.",
                     po_mm_text(j, tall(&s->lies)), fmin(s->lies.tip_deg, LIM_TIP_DEG - 0.1)); /* not "6.0" of 5.96 */
    } else {
        po_say_solid(j, PO_GRADE_ASK, s, items, items, NULL, todo,
                     "As it lies it is %s tall and does not stand by itself: its weight lies beside its foot.",
                     po_mm_text(j, tall(&s->lies)));
    }
}

static double ill_bridge(const po_judging *j, const po_solid *s)
{
    double limit = j->rules->bridge_limit_mm;
    return s->lies_done && limit > 0 && s->lies.longest_bridge_mm > limit ? s->lies.longest_bridge_mm : 0;
}

void po_judge_part_long_bridge(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_bridge, &items);
    if (s != NULL) {
        po_say_solid(j, PO_GRADE_NOTE, s, items, items, NULL,
                     "Turn it, or switch on supports below the gap when the job is prepared.",
                     "As it lies a ceiling spans %s; beads sag over more than %s.",
                     po_mm_text(j, s->lies.longest_bridge_mm), po_mm_text(j, j->rules->bridge_limit_mm));
    }
}

static double ill_support(const po_judging *j, const po_solid *s)
{
    (void)j;
    return s->lies_done && s->lies.overhang_open_mm2 > LIM_OVERHANG_MM2 ? s->lies.overhang_open_mm2 : 0;
}

/* The known way up with the least to support, if that is less than half of what it is as it lies. */
static const po_pose *less_hanging(const po_solid *s)
{
    const po_pose *best = NULL;
    for (size_t i = 0; i < s->n_poses; i++) {
        const po_pose *p = &s->poses[i];
        if (p->overhang_open_mm2 < s->lies.overhang_open_mm2 / 2 && p->stands &&
            (best == NULL || p->overhang_open_mm2 < best->overhang_open_mm2)) {
            best = p;
        }
    }
    return best;
}

void po_judge_part_needs_support(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_support, &items);
    if (s == NULL) {
        return;
    }
    double volume = 0, support = 0;
    for (size_t i = 0; i < j->part->n_solids; i++) {
        const po_solid *each = &j->part->solids[i];
        volume += each->times * fabs(each->facts.volume_mm3);
        support += each->lies_done && isfinite(each->lies.support_open_mm3) ? each->times * each->lies.support_open_mm3
                                                                            : 0;
    }
    const po_estimate *e = po_judged_estimate(j);
    bool much = e != NULL && isfinite(e->support_mm)
                    ? e->support_mm > e->filament_mm * LIM_SUPPORT_SHARE / 100
                    : support > LIM_TINY_VOLUME_MM3 && support > volume * LIM_SUPPORT_VOLUME / 100;
    if (e != NULL && e->support_mm < LIM_SUPPORT_LEAST_MM && e->support_seconds < LIM_SUPPORT_LEAST_S) {
        return; /* rounded lower edges and the like: nobody would see that they are there */
    }
    const po_pose *better = less_hanging(s);
    const char *todo = s->n_poses > 0 ? "Switch on supports when the job is prepared."
                                      : "Switch on supports when the job is prepared, or turn it.";
    const char *takes = "";
    if (better != NULL) {
        todo = po_arena_printf(j->arena, "Turn it (proveout orient shows how): another way up leaves %.0f mm2 hanging.",
                               better->overhang_open_mm2);
    }
    if (e != NULL && e->support_mm > 0) {
        takes = po_arena_printf(j->arena, " Supports would take about %s and %s more.",
                                po_metres_text(j, e->support_mm), po_time_text(j, e->support_seconds));
    }
    if (todo == NULL || takes == NULL) {
        j->failed = true;
        return;
    }
    po_say_solid(j, much ? PO_GRADE_ASK : PO_GRADE_NOTE, s, items, items, NULL, todo,
                 "As it lies %.0f mm2 hang over more than the printer can lay in the air.%s", s->lies.overhang_open_mm2,
                 takes);
}
