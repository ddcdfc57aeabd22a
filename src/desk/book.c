/* Acts and questions over the network. SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "desk/desk_inside.h"

enum { ACTS_TOGETHER = 1000 };

/* What the book said no to. Where the system failed, the log says how; acts and persons are not in it. */
static void said_no(po_desk *desk, desk_request *rq, desk_reply *rp, const po_err *err, int which)
{
    desk_problem_of(rq, rp, err, which);
    if (rp->status >= 500) {
        desk_log(desk, json_pack("{s:s, s:s}", "what", "failure", "says", err->msg));
    }
}

/* May this one do this act, and what does the shop say to it? */
static bool may(po_desk *desk, const char *act, json_t *body, desk_request *rq, desk_reply *rp)
{
    if (po_ledger_act_takes(act) == PO_STANDS_AS_NOBODY) {
        desk_problem(rq, rp, 404, "act", "there is no such act");
        return false;
    }
    po_standing takes = desk_rule_of_act(act);
    if (rq->who.role < takes) {
        desk_problem(rq, rp, 403, "act", "%s takes the role %s, and you are signed in as %s", act,
                     desk_role_word(takes), desk_role_word(rq->who.role));
        return false;
    }
    return desk_house(desk, act, body, rq, rp);
}

static json_t *done_of(const po_act_done *done)
{
    return json_pack("{s:I, s:s, s:o}", "event", (json_int_t)done->event, "hash", done->hash, "answer",
                     json_loads(done->answer, 0, NULL));
}

void desk_do_act(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    if (!may(desk, rq->name, rq->json, rq, rp)) {
        return;
    }
    snprintf(rp->act, sizeof rp->act, "%s", rq->name);
    char *body = json_dumps(rq->json, JSON_COMPACT);
    po_act act = {rq->name, rq->who.member, body};
    po_act_done done;
    po_err err;
    po_status s = body ? po_ledger_act(desk->options.ledger, &act, rq->arena, &done, &err)
                       : po_fail(&err, PO_E_NOMEM, "memory ran out");
    free(body);
    if (s != PO_OK) {
        said_no(desk, rq, rp, &err, -1);
        return;
    }
    desk_live_poke(desk);
    desk_reply_json(rq, rp, done_of(&done));
}

/* [{"act": name, "body": {...}}, ...] as acts; false with the reply written. texts: the caller's to free. */
static bool make_acts(po_desk *desk, desk_request *rq, desk_reply *rp, const json_t *list, po_act *acts, char **texts)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        json_t *one = json_array_get(list, i), *body = json_object_get(one, "body");
        const char *name = json_string_value(json_object_get(one, "act"));
        if (!name || !json_is_object(body) || json_object_size(one) != 2) {
            desk_problem(rq, rp, 422, "acts",
                         "each of the acts is {\"act\": name, \"body\": object}; number %zu is not", i);
            return false;
        }
        if (!may(desk, name, body, rq, rp)) {
            return false;
        }
        texts[i] = json_dumps(body, JSON_COMPACT);
        acts[i] = (po_act){name, rq->who.member, texts[i]};
        if (!texts[i]) {
            desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
            return false;
        }
    }
    return true;
}

void desk_do_acts(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const json_t *list = json_object_get(rq->json, "acts");
    size_t n = json_array_size(list), failed = 0;
    if (json_object_size(rq->json) != 1 || !json_is_array(list) || n == 0 || n > ACTS_TOGETHER) {
        desk_problem(rq, rp, 422, "acts", "wanted {\"acts\": [...]} with 1 to %d acts", ACTS_TOGETHER);
        return;
    }
    po_act *acts = po_arena_zeros(rq->arena, n, sizeof *acts);
    po_act_done *done = po_arena_zeros(rq->arena, n, sizeof *done);
    char **texts = po_arena_zeros(rq->arena, n, sizeof *texts);
    if (!acts || !done || !texts) {
        desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        return;
    }
    if (make_acts(desk, rq, rp, list, acts, texts)) {
        po_err err;
        if (po_ledger_act_all(desk->options.ledger, acts, n, rq->arena, done, &failed, &err) != PO_OK) {
            said_no(desk, rq, rp, &err, (int)failed);
        } else {
            desk_live_poke(desk);
            json_t *answers = json_array();
            for (size_t i = 0; answers && i < n; i++) {
                json_array_append_new(answers, done_of(&done[i]));
            }
            desk_reply_json(rq, rp, json_pack("{s:o}", "done", answers));
        }
    }
    for (size_t i = 0; i < n; i++) {
        free(texts[i]);
    }
}

/* A member asks of themselves only. Where they name nobody, themselves are meant. */
static bool keep_to_own(desk_request *rq, desk_reply *rp)
{
    if (strcmp(rq->name, "run") == 0) {
        return true; /* whose it is the answer tells */
    }
    const json_t *whose = json_object_get(rq->json, "member");
    if (whose && strcmp(json_string_value(whose), rq->who.member) != 0) {
        desk_problem(rq, rp, 403, "member", "you may ask of yourself only");
        return false;
    }
    json_object_set_new(rq->json, "member", json_string(rq->who.member));
    return true;
}

/* Of one's own run a member sees what concerns them, not who at the desk did what, nor what was written to them by whom. */
static bool cut_run(desk_request *rq, const char **text)
{
    json_t *answer = json_loads(*text, 0, NULL);
    const char *whose = json_string_value(json_object_get(answer, "member"));
    bool own = whose && strcmp(whose, rq->who.member) == 0;
    json_object_del(answer, "events");
    json_object_del(answer, "files");
    char *cut = own ? json_dumps(answer, JSON_COMPACT | JSON_SORT_KEYS) : NULL;
    *text = cut ? po_arena_text(rq->arena, cut) : NULL;
    free(cut);
    json_decref(answer);
    return *text != NULL;
}

void desk_do_ask(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_rule rule = desk_rule_of_question(rq->name);
    if (rq->who.role < rule.least) {
        desk_problem(rq, rp, 403, "question", "%s takes the role %s, and you are signed in as %s", rq->name,
                     desk_role_word(rule.least), desk_role_word(rq->who.role));
        return;
    }
    snprintf(rp->act, sizeof rp->act, "%s", rq->name);
    bool own = rule.own && rq->who.role < PO_STANDS_AS_DESK;
    if (own && !keep_to_own(rq, rp)) {
        return;
    }
    char *parameters = json_dumps(rq->json, JSON_COMPACT);
    const char *text = NULL;
    po_err err;
    po_status s = parameters ? po_ledger_ask(desk->options.ledger, rq->name, parameters, rq->arena, &text, &err)
                             : po_fail(&err, PO_E_NOMEM, "memory ran out");
    free(parameters);
    if (own && strcmp(rq->name, "run") == 0 && (s == PO_E_NOTFOUND || (s == PO_OK && !cut_run(rq, &text)))) {
        desk_problem(rq, rp, 404, "run", "you have no such run");
        return;
    }
    if (s != PO_OK) {
        said_no(desk, rq, rp, &err, -1);
        return;
    }
    rp->status = 200;
    rp->type = "application/json";
    rp->body = text;
    rp->n = strlen(text);
}
