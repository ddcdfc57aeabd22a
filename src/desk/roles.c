/* Who may ask and do what. SPDX-License-Identifier: Apache-2.0
 *
 * Routes have their least role in routes.inc; this is for what stands behind /ask/ and /acts/. An act takes what the book's
 * own table says (ledger/acts.inc), so that the two cannot part; the book checks it once more for whoever does it. A question
 * that nobody thought of here is the keeper's until somebody does. */
#include <string.h>

#include "desk/request.h"

static const struct {
    const char *question;
    desk_rule rule;
} questions[] = {
    /* a member: their own account and runs, no one else's */
    {"balance", {PO_STANDS_AS_MEMBER, true}},
    {"runs", {PO_STANDS_AS_MEMBER, true}},
    {"run", {PO_STANDS_AS_MEMBER, true}},
    /* the desk's day */
    {"member", {PO_STANDS_AS_DESK, false}},
    {"members", {PO_STANDS_AS_DESK, false}},
    {"waivers", {PO_STANDS_AS_DESK, false}},
    {"money", {PO_STANDS_AS_DESK, false}},
    {"permits", {PO_STANDS_AS_DESK, false}},
    {"courses", {PO_STANDS_AS_DESK, false}},
    {"groups", {PO_STANDS_AS_DESK, false}},
    {"funds", {PO_STANDS_AS_DESK, false}},
    {"stopped", {PO_STANDS_AS_DESK, false}},
    {"run-sums", {PO_STANDS_AS_DESK, false}},
    {"proofs", {PO_STANDS_AS_DESK, false}},
    {"machines", {PO_STANDS_AS_DESK, false}},
    {"machine-history", {PO_STANDS_AS_DESK, false}},
    {"sticks", {PO_STANDS_AS_DESK, false}},
    {"spools", {PO_STANDS_AS_DESK, false}},
    {"weighings", {PO_STANDS_AS_DESK, false}},
    {"stock", {PO_STANDS_AS_DESK, false}},
    {"waste", {PO_STANDS_AS_DESK, false}},
    {"shelf", {PO_STANDS_AS_DESK, false}},
    {"tickets", {PO_STANDS_AS_DESK, false}},
    {"outbox", {PO_STANDS_AS_DESK, false}},
    {"rounds", {PO_STANDS_AS_DESK, false}},
    {"today", {PO_STANDS_AS_DESK, false}},
    {"term", {PO_STANDS_AS_DESK, false}},
    {"terms", {PO_STANDS_AS_DESK, false}},
    {"ratios", {PO_STANDS_AS_DESK, false}},
    {"files", {PO_STANDS_AS_DESK, false}},
    {"book", {PO_STANDS_AS_DESK, false}},
    {"care-measures", {PO_STANDS_AS_DESK, false}},
    {"care-log", {PO_STANDS_AS_DESK, false}},
    {"care-last", {PO_STANDS_AS_DESK, false}},
    {"care-counters", {PO_STANDS_AS_DESK, false}},
    {"troubles", {PO_STANDS_AS_DESK, false}},
    {"trouble-learned", {PO_STANDS_AS_DESK, false}},
    /* members see their own papers by routes of their own, without what is right */
    {"papers", {PO_STANDS_AS_DESK, false}},
    {"paper", {PO_STANDS_AS_DESK, false}},
    {"practice", {PO_STANDS_AS_DESK, false}},
    {"accommodations", {PO_STANDS_AS_DESK, false}},
    {"permit-use", {PO_STANDS_AS_DESK, false}},
    /* the whole book, with who did what */
    {"events", {PO_STANDS_AS_KEEPER, false}},
};

desk_rule desk_rule_of_question(const char *question)
{
    for (size_t i = 0; i < sizeof questions / sizeof questions[0]; i++) {
        if (strcmp(questions[i].question, question) == 0) {
            return questions[i].rule;
        }
    }
    return (desk_rule){PO_STANDS_AS_KEEPER, false};
}

po_standing desk_rule_of_act(const char *act)
{
    po_standing takes = po_ledger_act_takes(act);
    return takes < PO_STANDS_AS_DESK ? PO_STANDS_AS_DESK : takes;
}
