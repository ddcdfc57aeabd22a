/* The table of rules: rules.inc read twice, once for the texts, once for the functions. SPDX-License-Identifier: Apache-2.0 */
#include "base/text.h"
#include "proof/judge.h"

#define ROW(kind_, name_, grade_, compares_, limit_, source_, cause_, remedy_, caution_)                               \
    {.name = name_,                                                                                                    \
     .kind = kind_,                                                                                                    \
     .grade = grade_,                                                                                                  \
     .compares = compares_,                                                                                            \
     .limit = limit_,                                                                                                  \
     .source = source_,                                                                                                \
     .cause = cause_,                                                                                                  \
     .remedy = remedy_,                                                                                                \
     .caution = caution_},
#define RULE(id, ...) ROW(PO_RULE_JOB, __VA_ARGS__)
#define RULE_PART(id, ...) ROW(PO_RULE_PART, __VA_ARGS__)
#define RULE_BOTH(id, ...) ROW(PO_RULE_BOTH, __VA_ARGS__)
static const po_rule_info rules[] = {
#include "proof/rules.inc"
};
#undef RULE
#undef RULE_PART
#undef RULE_BOTH

#define RULE(id, ...) {.of_job = po_judge_##id},
#define RULE_PART(id, ...) {.of_part = po_judge_part_##id},
#define RULE_BOTH(id, ...) {.of_job = po_judge_##id, .of_part = po_judge_part_##id},
static const struct {
    po_judge_fn *of_job, *of_part;
} functions[] = {
#include "proof/rules.inc"
};
#undef RULE
#undef RULE_PART
#undef RULE_BOTH

enum { N_RULES = sizeof rules / sizeof rules[0] };

const po_rule_info *po_rules_table(size_t *ret_n)
{
    *ret_n = N_RULES;
    return rules;
}

po_judge_fn *po_rule_function(size_t index, po_rule_kind kind)
{
    return kind == PO_RULE_PART ? functions[index].of_part : functions[index].of_job;
}

const po_rule_info *po_rule_find(const char *name)
{
    for (size_t i = 0; i < N_RULES; i++) {
        if (po_text_same(rules[i].name, name)) {
            return &rules[i];
        }
    }
    return NULL;
}

const char *po_rule_nearest(const char *name)
{
    size_t best = 0, least = SIZE_MAX;
    for (size_t i = 0; i < N_RULES; i++) {
        size_t d = po_text_distance(rules[i].name, name);
        if (d < least) {
            least = d;
            best = i;
        }
    }
    return rules[best].name;
}

const char *po_grade_name(po_grade grade)
{
    switch (grade) {
    case PO_GRADE_STOP:
        return "stop";
    case PO_GRADE_ASK:
        return "ask";
    case PO_GRADE_NOTE:
        return "note";
    case PO_GRADE_OFF:
        break;
    }
    return "off";
}

const char *po_verdict_name(po_verdict verdict)
{
    switch (verdict) {
    case PO_STOP:
        return "stop";
    case PO_ASK:
        return "ask";
    case PO_CLEAR:
        break;
    }
    return "clear";
}
