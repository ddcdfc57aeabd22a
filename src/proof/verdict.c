/* From a job's report to its proof: every rule is asked and graded (grading.c), and the whole is summed up.
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
static const po_cause explained[] = {
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
    {"other-part", "incomplete"},
    {"ends-unstaffed", "off-late"},
    {"runs-alone", "off-late"},
};

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

double po_proof_cool_seconds(const po_machine *machine, const po_rules *rules, double bed_c)
{
    double t0 = bed_c, room = machine->heat.room_c, tau = machine->heat.bed_tau_minutes * 60;
    double until = fmax(rules->collect_below_bed_c, room + 1); /* it comes that near to the room's, never below */
    if (isnan(t0)) {
        return NAN;
    }
    return t0 <= until || !(tau > 0) ? 0 : tau * log((t0 - room) / (until - room));
}

void po_proof_model_ranges(po_range *ret_filament, po_range *ret_seconds)
{
    *ret_filament = (po_range){1 - LIM_FILAMENT_RANGE, 1 + LIM_FILAMENT_RANGE};
    *ret_seconds = (po_range){1 - LIM_TIME_RANGE, 1 + LIM_TIME_RANGE};
}

static void put_ranges(po_proof *proof, const po_proof_context *context)
{
    po_range filament, seconds;
    po_proof_model_ranges(&filament, &seconds);
    bool learned_filament = context->learned_filament.low > 0, learned_seconds = context->learned_seconds.low > 0;
    filament = learned_filament ? context->learned_filament : filament;
    seconds = learned_seconds ? context->learned_seconds : seconds;
    const po_job_facts *f = &proof->report->facts;
    proof->filament_mm = (po_range){f->filament_mm * filament.low, f->filament_mm * filament.high};
    proof->seconds = (po_range){f->seconds * seconds.low, f->seconds * seconds.high};
    proof->ranges_from = (learned_filament || learned_seconds) && context->learned_from ? context->learned_from
                                                                                        : "model";
}

po_status po_proof_job(const po_job_report *report, const char *file, const po_proof_context *context, po_arena *arena,
                       const po_proof **ret_proof, po_err *err)
{
    if (context->shop == NULL) {
        return po_fail(err, PO_E_RANGE, "no shop was given to judge by");
    }
    po_proof *proof = po_arena_zeros(arena, 1, sizeof *proof);
    if (proof == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for the proof");
    }
    po_judging j = {.report = report,
                    .facts = &report->facts,
                    .machine = report->machine,
                    .context = context,
                    .shop = context->shop,
                    .rules = &context->shop->rules,
                    .arena = arena};
    j.nearest = po_recipe_nearest(&j);
    proof->changed_rules = po_judge_all(&j, explained, sizeof explained / sizeof explained[0], &proof->n_changed_rules);
    if (j.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the findings");
    }

    proof->report = report;
    proof->against = context->against;
    proof->file = file;
    proof->recipe = j.nearest;
    proof->verdict = po_verdict_of(&j);
    proof->findings = j.findings;
    proof->n_findings = j.n_findings;
    proof->watch_seconds = watch(&j);
    proof->cool_seconds = po_proof_cool_seconds(j.machine, j.rules, j.facts->last_bed_c);
    proof->aloud = aloud(&j, proof->verdict, proof->watch_seconds);
    put_ranges(proof, context);
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
