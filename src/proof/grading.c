/* Findings to a verdict, for jobs and parts alike: every rule is asked, the shop's grades are put in place of the usual
 * ones, effects go where their cause was said, graver ones come first. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "base/text.h"
#include "proof/judge.h"

static po_rule_kind kind_of(const po_judging *j)
{
    return j->part != NULL ? PO_RULE_PART : PO_RULE_JOB;
}

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

static void merge_by_cause(po_judging *j, const po_cause *causes, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        po_finding *cause = find(j, causes[i].cause), *effect = find(j, causes[i].effect);
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

/* Apply rules.grades and say every change in a sentence, also those that made no difference here. */
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
        if (change_for(rules, rule->name) != change || change->grade == rule->grade || !(rule->kind & kind_of(j))) {
            continue; /* a later entry counts, or nothing changes, or it is about other things */
        }
        po_finding *f = find(j, rule->name);
        const char *here = f == NULL ? "" : j->part != NULL ? " It applies to this part." : " It applies to this job.";
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

po_verdict po_verdict_of(const po_judging *j)
{
    po_grade worst = j->n_findings > 0 ? j->findings[0].grade : PO_GRADE_OFF;
    return worst == PO_GRADE_STOP ? PO_STOP : worst == PO_GRADE_ASK ? PO_ASK : PO_CLEAR;
}

const char *const *po_judge_all(po_judging *j, const po_cause *causes, size_t n_causes, size_t *ret_n_changed)
{
    size_t n_rules;
    const po_rule_info *rules = po_rules_table(&n_rules);
    j->findings = po_arena_zeros(j->arena, n_rules, sizeof(po_finding));
    if (j->findings == NULL) {
        j->failed = true;
        return NULL;
    }
    for (size_t i = 0; i < n_rules; i++) {
        if (rules[i].kind & kind_of(j)) {
            j->rule = &rules[i];
            po_rule_function(i, kind_of(j))(j);
        }
    }
    /* grades first: a cause that the shop switched off must not take its effects with it */
    const char *const *changed = change_grades(j, ret_n_changed);
    merge_by_cause(j, causes, n_causes);
    order(j);
    return changed;
}
