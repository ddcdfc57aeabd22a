/* docs/findings.md from the table of rules. SPDX-License-Identifier: Apache-2.0 */
#include "base/text.h"
#include "proof/judge.h"

static const char *about(const po_rule_info *rule)
{
    return rule->kind == PO_RULE_JOB ? "jobs" : rule->kind == PO_RULE_PART ? "parts" : "jobs, parts";
}

static void overview(po_text *t, const po_rule_info *rules, size_t n, po_grade grade)
{
    po_text_printf(t, "\n## %s\n\n| finding | of | when | compares |\n| --- | --- | --- | --- |\n",
                   grade == PO_GRADE_STOP  ? "Stop: don't run it"
                   : grade == PO_GRADE_ASK ? "Ask: a desk person decides"
                                           : "Note: good to know");
    for (size_t i = 0; i < n; i++) {
        if (rules[i].grade == grade) {
            po_text_printf(t, "| [`%s`](#%s) | %s | %s | %s |\n", rules[i].name, rules[i].name, about(&rules[i]),
                           rules[i].limit, rules[i].compares);
        }
    }
}

const char *po_proof_doc(po_arena *arena)
{
    size_t n;
    const po_rule_info *rules = po_rules_table(&n);
    po_text t;
    po_text_init(&t, arena);
    po_text_printf(
        &t,
        "# Findings\n\n"
        "Written from the table of rules (`src/proof/rules.inc`, `src/proof/limits.h`) by `findings-doc`; don't edit "
        "it "
        "by hand.\n%zu findings. The grades are defaults: `rules.grades` in the shop file may change a grade or "
        "switch a\nrule off, and the slip then says so. `proveout explain NAME` shows the long form.\n\n"
        "\"The measures\" are `docs/measures.md`; handbook sections are those of the shop handbook that the defaults "
        "come\nfrom. Shares of length go by the length of beads, shares of time by the time that beads are laid.\n\n"
        "Two ranges stand on every slip: time +/- %.0f %% (handbook section 3.3: a good model) and filament +/- %.0f "
        "%%\n"
        "(handbook section 1.2: good spools hold 0.02 to 0.03 mm of diameter, which is 2.3 to 3.4 %% of the area).\n",
        n, 100 * LIM_TIME_RANGE, 100 * LIM_FILAMENT_RANGE);
    overview(&t, rules, n, PO_GRADE_STOP);
    overview(&t, rules, n, PO_GRADE_ASK);
    overview(&t, rules, n, PO_GRADE_NOTE);
    po_text_add(&t, "\n# Each finding\n");
    for (size_t i = 0; i < n; i++) {
        const po_rule_info *r = &rules[i];
        po_text_printf(
            &t,
            "\n## %s\n\n- Grade: %s\n- Of: %s\n- Compares: %s\n- Limit: %s\n- Source: %s\n- How it comes about: %s\n"
            "- What helps: %s\n",
            r->name, po_grade_name(r->grade), about(r), r->compares, r->limit, r->source, r->cause, r->remedy);
        if (r->caution != NULL) {
            po_text_printf(&t, "- Caution: %s Local codes and the maker's instructions come first.\n", r->caution);
        }
    }
    return t.failed ? NULL : t.data;
}
