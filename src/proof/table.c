/* The table of rules: rules.inc read twice, once for the texts, once for the functions. SPDX-License-Identifier: Apache-2.0 */
#include "base/text.h"
#include "proof/judge.h"

#define RULE(id, name_, grade_, compares_, limit_, source_, cause_, remedy_, caution_)                                 \
    {.name = name_,                                                                                                    \
     .grade = grade_,                                                                                                  \
     .compares = compares_,                                                                                            \
     .limit = limit_,                                                                                                  \
     .source = source_,                                                                                                \
     .cause = cause_,                                                                                                  \
     .remedy = remedy_,                                                                                                \
     .caution = caution_},
static const po_rule_info rules[] = {
#include "proof/rules.inc"
};
#undef RULE

#define RULE(id, name, grade, compares, limit, source, cause, remedy, caution) po_judge_##id,
static po_judge_fn *const functions[] = {
#include "proof/rules.inc"
};
#undef RULE

enum { N_RULES = sizeof rules / sizeof rules[0] };

const po_rule_info *po_rules_table(size_t *ret_n)
{
    *ret_n = N_RULES;
    return rules;
}

po_judge_fn *po_rule_function(size_t index)
{
    return functions[index];
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
