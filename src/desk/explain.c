/* What a finding means and what helps, for the page. SPDX-License-Identifier: Apache-2.0 */
#include "desk/desk_inside.h"
#include "proveout/proof.h"
#include "proveout/slip.h"

static const char *of_what(const po_rule_info *rule)
{
    return rule->kind == PO_RULE_JOB ? "jobs" : rule->kind == PO_RULE_PART ? "parts" : "jobs and parts";
}

void desk_do_findings(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    (void)desk;
    size_t n;
    const po_rule_info *rules = po_rules_table(&n);
    json_t *list = json_array();
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(list, json_pack("{s:s, s:s, s:s, s:s}", "name", rules[i].name, "of", of_what(&rules[i]),
                                              "grade", po_grade_name(rules[i].grade), "compares", rules[i].compares));
    }
    desk_reply_json(rq, rp, json_pack("{s:s, s:o}", "format", "proveout/findings/1", "findings", list));
}

static const po_rule_info *named(desk_request *rq, desk_reply *rp)
{
    const po_rule_info *rule = po_rule_find(rq->name);
    if (!rule) {
        const char *says = po_arena_printf(rq->arena, "there is no finding of that name; the nearest is \"%s\"",
                                           po_rule_nearest(rq->name));
        desk_problem(rq, rp, 404, "finding", "%s", says ? says : "there is no finding of that name");
    }
    return rule;
}

void desk_do_finding(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    (void)desk;
    const po_rule_info *rule = named(rq, rp);
    if (!rule) {
        return;
    }
    po_document drawing;
    po_err err;
    bool drawn = po_slip_explain_svg(rule->name, rq->arena, &drawing, &err) == PO_OK;
    desk_reply_json(rq, rp,
                    json_pack("{s:s, s:s, s:s, s:s, s:s, s:s?, s:s?, s:s?, s:s?, s:s?, s:b}", "format",
                              "proveout/finding/1", "name", rule->name, "of", of_what(rule), "grade",
                              po_grade_name(rule->grade), "compares", rule->compares, "limit", rule->limit, "cause",
                              rule->cause, "remedy", rule->remedy, "caution", rule->caution, "source", rule->source,
                              "drawing", drawn));
}

void desk_do_finding_drawing(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    (void)desk;
    const po_rule_info *rule = named(rq, rp);
    if (!rule) {
        return;
    }
    po_document drawing = {0};
    po_err err;
    if (po_slip_explain_svg(rule->name, rq->arena, &drawing, &err) != PO_OK) {
        desk_problem(rq, rp, 404, "finding", "there is no drawing of this finding");
        return;
    }
    rp->status = 200;
    rp->type = "image/svg+xml";
    rp->body = drawing.data;
    rp->n = drawing.n_bytes;
}
