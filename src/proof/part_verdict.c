/* From a part's report to its proof: every rule is asked and graded (grading.c), and the whole is summed up.
 * SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "base/text.h"
#include "proof/judge.h"

/* What is explained by something else, and would be mended with it. */
static const po_cause explained[] = {
    {"not-a-solid", "open-edges"},      {"not-a-solid", "crowded-edges"},  {"not-a-solid", "inside-out"},
    {"not-a-solid", "cuts-itself"},     {"not-a-solid", "loose-shells"},   {"not-a-solid", "thin-walls"},
    {"not-a-solid", "slim-walls"},      {"not-a-solid", "narrow-gaps"},    {"not-a-solid", "needs-support"},
    {"not-a-solid", "tips-over"},       {"not-a-solid", "small-foothold"}, {"not-a-solid", "long-bridge"},
    {"unit-suspect", "thin-walls"},     {"unit-suspect", "slim-walls"},    {"unit-suspect", "narrow-gaps"},
    {"unit-suspect", "small-foothold"}, {"unit-suspect", "needs-support"}, {"unit-suspect", "long-bridge"},
    {"unit-suspect", "over-allowance"}, {"unit-suspect", "too-long"},      {"unit-suspect", "spool-short"},
};

/* "about 12.4 m of petg and 3 h 20 min by the recipe quick"; "" where there is no estimate. */
static const char *needs(po_judging *j)
{
    const po_estimate *e = po_judged_estimate(j);
    bool odd_size = j->part->unit_guess != NULL && j->part->unit_factor != 1; /* then it takes something else */
    if (e == NULL || odd_size) {
        return "";
    }
    const char *text = po_arena_printf(
        j->arena, "about %s of %s and %s by the recipe %s", po_metres_text(j, e->filament_mm),
        j->part->material != NULL ? j->part->material->name : "filament", po_time_text(j, e->seconds), e->recipe->name);
    j->failed |= text == NULL;
    return text != NULL ? text : "";
}

static const char *aloud(po_judging *j, po_verdict verdict)
{
    const char *name = j->machine->name, *takes = needs(j), *text;
    if (verdict == PO_STOP) {
        text = po_arena_printf(j->arena, "%s can't print this as it is. %s", name, j->findings[0].says);
    } else if (verdict == PO_ASK) {
        text = po_arena_printf(j->arena, "%s can print this part%s%s%s if the desk agrees. %s", name,
                               takes[0] != '\0' ? " (" : "", takes, takes[0] != '\0' ? ")" : "", j->findings[0].says);
    } else {
        text = po_arena_printf(j->arena, "%s can print this part%s%s.", name, takes[0] != '\0' ? ": " : "", takes);
    }
    j->failed |= text == NULL;
    return text;
}

po_status po_proof_part(const po_part_report *report, const char *file, const po_proof_context *context,
                        po_arena *arena, const po_part_proof **ret_proof, po_err *err)
{
    if (context->shop == NULL) {
        return po_fail(err, PO_E_RANGE, "no shop was given to judge by");
    }
    po_part_proof *proof = po_arena_zeros(arena, 1, sizeof *proof);
    if (proof == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for the proof");
    }
    po_judging j = {.part = report,
                    .machine = report->machine,
                    .context = context,
                    .shop = context->shop,
                    .rules = &context->shop->rules,
                    .arena = arena};
    proof->changed_rules = po_judge_all(&j, explained, sizeof explained / sizeof explained[0], &proof->n_changed_rules);
    if (j.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the findings");
    }
    proof->report = report;
    proof->file = file;
    proof->verdict = po_verdict_of(&j);
    proof->findings = j.findings;
    proof->n_findings = j.n_findings;
    proof->aloud = aloud(&j, proof->verdict);
    if (j.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the verdict");
    }
    *ret_proof = proof;
    return PO_OK;
}
