/* From a report to a proof: ask every rule, merge by cause, grade by the shop, order by gravity, and sum up.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Cooling: T(t) = room + (T0 - room) exp(-t / tau) (Newton; docs/measures.md, "Cooling"; handbook 7.6), solved for the
 * shop's collect_below_bed_c. The watch runs from the first bead for the shop's minutes or the first layer, whichever is
 * longer (docs/measures.md, "Motion time"). */
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "proof/judge.h"

/* A finding that another one explains and that would be mended with it. It is dropped where its cause was said and is at
 * least as grave. Only pairs where the second can't be true by itself at the same time belong here. */
static const struct {
    const char *cause, *effect;
} explained[] = {
    {"no-print", "cut-short"},
    {"wrong-filament", "bead-too-thin"},
    {"wrong-filament", "bead-too-wide"},
    {"wrong-filament", "melts-too-fast"},
    {"wrong-filament", "wrong-nozzle"},
    {"wrong-filament", "layer-too-thick"},
    {"wrong-filament", "few-roofs"},
    {"cut-short", "few-roofs"},
    {"cut-short", "parks-on-part"},
    {"cut-short", "leaves-heat-on"},
    {"two-jobs-in-one", "few-roofs"},
    {"two-jobs-in-one", "parks-on-part"},
    {"feed-mode-doubtful", "bead-too-thin"},
    {"feed-mode-doubtful", "bead-too-wide"},
    {"feed-mode-doubtful", "small-foothold"},
    {"feed-mode-doubtful", "few-roofs"},
    {"feed-mode-doubtful", "layer-too-thick"},
    {"wrong-nozzle", "bead-too-thin"},
    {"wrong-nozzle", "bead-too-wide"},
    {"wrong-nozzle", "layer-too-thick"},
    {"wrong-nozzle", "first-layer-too-thick"},
    {"wrong-nozzle", "off-recipe"},
    {"wrong-filament", "off-recipe"},
    {"missing-layers", "prints-on-air"},
    {"starts-in-the-air", "prints-on-air"},
    {"starts-in-the-air", "first-layer-too-thick"},
};

static po_finding *find(po_judging *j, const char *name)
{
    for (size_t i = 0; i < j->n_findings; i++) {
        if (strcmp(j->findings[i].name, name) == 0) {
            return &j->findings[i];
        }
    }
    return NULL;
}

static void remove_finding(po_judging *j, po_finding *f)
{
    size_t at = (size_t)(f - j->findings);
    memmove(f, f + 1, (j->n_findings - at - 1) * sizeof *f);
    j->n_findings--;
}

static void merge_by_cause(po_judging *j)
{
    for (size_t i = 0; i < sizeof explained / sizeof explained[0]; i++) {
        po_finding *cause = find(j, explained[i].cause), *effect = find(j, explained[i].effect);
        if (cause != NULL && effect != NULL && cause->grade >= effect->grade) {
            remove_finding(j, effect);
        }
    }
}

/* The shop's grade in place of the default. A finding that its rule itself calls milder than the default (a parking lift,
 * a tool that is only heated) is never made graver by that. */
static po_grade regrade(po_grade said, po_grade usual, po_grade shop)
{
    if (shop == usual) {
        return said;
    }
    return said < usual && shop > said ? said : shop;
}

/* The last entry for a finding counts. */
static const po_grade_change *change_for(const po_rules *rules, const char *name)
{
    for (size_t i = rules->n_grades; i-- > 0;) {
        if (po_text_same(rules->grades[i].finding, name)) {
            return &rules->grades[i];
        }
    }
    return NULL;
}

/* Apply rules.grades and say every change in a sentence, also those that made no difference to this job. */
static const char *const *change_grades(po_judging *j, size_t *ret_n)
{
    const po_rules *rules = j->rules;
    const char **said = po_arena_zeros(j->arena, rules->n_grades + 1, sizeof *said);
    size_t n = 0;
    if (said == NULL) {
        j->failed = true;
        return NULL;
    }
    for (size_t i = 0; i < rules->n_grades; i++) {
        const po_grade_change *change = &rules->grades[i];
        const po_rule_info *rule = po_rule_find(change->finding);
        if (rule == NULL) {
            said[n] = po_arena_printf(j->arena,
                                      "The shop file grades \"%s\", but there is no such finding; the nearest is %s.",
                                      po_short_text(j, change->finding), po_rule_nearest(change->finding));
            j->failed |= said[n++] == NULL;
            continue;
        }
        if (change_for(rules, rule->name) != change || change->grade == rule->grade) {
            continue; /* a later entry counts, or nothing changes */
        }
        po_finding *f = find(j, rule->name);
        const char *here = f != NULL ? " It applies to this job." : "";
        if (change->grade == PO_GRADE_OFF) {
            said[n] = po_arena_printf(j->arena, "This shop has switched off %s (usually: %s).%s", rule->name,
                                      po_grade_name(rule->grade), here);
        } else {
            said[n] = po_arena_printf(j->arena, "This shop grades %s as \"%s\" (usually: %s).%s", rule->name,
                                      po_grade_name(change->grade), po_grade_name(rule->grade), here);
        }
        j->failed |= said[n++] == NULL;
        if (f != NULL) {
            f->grade = regrade(f->grade, rule->grade, change->grade);
            if (f->grade == PO_GRADE_OFF) {
                remove_finding(j, f);
            }
        }
    }
    *ret_n = n;
    return said;
}

/* Graver first; within a grade the table's order, which the rules were asked in. Insertion sort: it is stable. */
static void order(po_judging *j)
{
    for (size_t i = 1; i < j->n_findings; i++) {
        po_finding f = j->findings[i];
        size_t k = i;
        for (; k > 0 && j->findings[k - 1].grade < f.grade; k--) {
            j->findings[k] = j->findings[k - 1];
        }
        j->findings[k] = f;
    }
}

static po_verdict verdict_of(const po_judging *j)
{
    po_grade worst = j->n_findings > 0 ? j->findings[0].grade : PO_GRADE_OFF;
    return worst == PO_GRADE_STOP ? PO_STOP : worst == PO_GRADE_ASK ? PO_ASK : PO_CLEAR;
}

/* Grams, materials and time in words, as "12.4 m of petg, about 3 h 20 min". */
static const char *needs(po_judging *j)
{
    po_text text;
    po_text_init(&text, j->arena);
    po_text_printf(&text, "%s of ", po_metres_text(j, j->facts->filament_mm));
    const po_material *said[PO_MAX_TOOLS] = {NULL};
    size_t n = 0;
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        const po_material *m = po_tool_used(tool) ? po_tool_material(j, tool) : NULL;
        bool again = m == NULL;
        for (size_t k = 0; k < n; k++) {
            again |= said[k] == m;
        }
        if (!again && n < PO_MAX_TOOLS) {
            po_text_printf(&text, "%s%s", n > 0 ? " and " : "", m->name);
            said[n++] = m;
        }
    }
    po_text_printf(&text, "%s, about %s", n == 0 ? "filament" : "", po_time_text(j, j->facts->seconds));
    j->failed |= text.failed;
    return text.failed ? "" : text.data;
}

static const char *aloud(po_judging *j, po_verdict verdict, double watch_seconds)
{
    const char *name = j->machine->name, *text = NULL;
    if (verdict == PO_STOP) {
        text = po_arena_printf(j->arena, "%s can't print this as it is. %s", name, j->findings[0].says);
    } else if (verdict == PO_ASK) {
        text = po_arena_printf(j->arena, "%s can print this (%s) if the desk agrees. %s", name, needs(j),
                               j->findings[0].says);
    } else if (j->facts->first_bead_seconds + watch_seconds >= j->facts->seconds) {
        text = po_arena_printf(j->arena, "%s can print this: %s; stay until it is done.", name, needs(j));
    } else {
        /* what the member hears is counted from the first bead, when there is something to watch */
        text = po_arena_printf(j->arena, "%s can print this: %s; stay for the first %s of printing.", name, needs(j),
                               po_time_text(j, ceil(watch_seconds / 60 - 1e-9) * 60));
    }
    j->failed |= text == NULL;
    return text;
}

static double watch(const po_judging *j)
{
    double s = fmax(j->rules->watch_minutes, 0) * 60;
    double layer = j->facts->first_layer_seconds - j->facts->first_bead_seconds;
    return j->rules->watch_first_layer && layer > s ? layer : s;
}

static double cooling(const po_judging *j)
{
    double t0 = j->facts->last_bed_c, room = j->machine->heat.room_c, tau = j->machine->heat.bed_tau_minutes * 60;
    double until = fmax(j->rules->collect_below_bed_c, room + 1); /* it comes that near to the room's, never below */
    if (isnan(t0)) {
        return NAN;
    }
    return t0 <= until || !(tau > 0) ? 0 : tau * log((t0 - room) / (until - room));
}

static po_range around(double value, double share)
{
    return (po_range){value * (1 - share), value * (1 + share)};
}

po_status po_proof_job(const po_job_report *report, const char *file, const po_proof_context *context, po_arena *arena,
                       const po_proof **ret_proof, po_err *err)
{
    if (context->shop == NULL) {
        return po_fail(err, PO_E_RANGE, "no shop was given to judge by");
    }
    size_t n_rules;
    const po_rule_info *rules = po_rules_table(&n_rules);
    po_proof *proof = po_arena_zeros(arena, 1, sizeof *proof);
    po_judging j = {.report = report,
                    .facts = &report->facts,
                    .machine = report->machine,
                    .context = context,
                    .shop = context->shop,
                    .rules = &context->shop->rules,
                    .arena = arena,
                    .findings = po_arena_zeros(arena, n_rules, sizeof(po_finding))};
    if (proof == NULL || j.findings == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for the proof");
    }
    j.nearest = po_recipe_nearest(&j);
    for (size_t i = 0; i < n_rules; i++) {
        j.rule = &rules[i];
        po_rule_function(i)(&j);
    }
    /* grades first: a cause that the shop switched off must not take its effects with it */
    proof->changed_rules = change_grades(&j, &proof->n_changed_rules);
    merge_by_cause(&j);
    if (j.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the findings");
    }
    order(&j);

    proof->report = report;
    proof->file = file;
    proof->recipe = j.nearest;
    proof->verdict = verdict_of(&j);
    proof->findings = j.findings;
    proof->n_findings = j.n_findings;
    proof->watch_seconds = watch(&j);
    proof->cool_seconds = cooling(&j);
    proof->aloud = aloud(&j, proof->verdict, proof->watch_seconds);
    proof->filament_mm = around(report->facts.filament_mm, LIM_FILAMENT_RANGE);
    proof->seconds = around(report->facts.seconds, LIM_TIME_RANGE);
    proof->ranges_from = "model";
    if (j.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the verdict");
    }

    double seconds = report->facts.seconds, watched = report->facts.first_bead_seconds + proof->watch_seconds;
    proof->start = context->start;
    proof->start_known = po_clock_at(context, seconds, &proof->end) &&
                         po_clock_at(context, fmin(isnan(watched) ? seconds : watched, seconds), &proof->watch_until) &&
                         po_clock_at(context, seconds + (isnan(proof->cool_seconds) ? 0 : proof->cool_seconds),
                                     &proof->cool);
    *ret_proof = proof;
    return PO_OK;
}
