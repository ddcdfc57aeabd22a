/* What the routes of the desk's own pages share. SPDX-License-Identifier: Apache-2.0 */
#include "desk/at_desk.h"
#include "desk/opening.h"

#include <stdlib.h>

#include "desk/proving.h"

void desk_said_no(po_desk *desk, desk_request *rq, desk_reply *rp, const po_err *err)
{
    desk_problem_of(rq, rp, err, -1);
    if (rp->status >= 500) {
        desk_log(desk, json_pack("{s:s, s:s}", "what", "failure", "says", err->msg));
    }
}

bool desk_context_begin(po_desk *desk, desk_request *rq, desk_reply *rp, work_context *ret)
{
    po_err err;
    if (work_begin(ret, rq->arena, desk_shop_now(desk), NULL, desk->options.ledger, desk_now_ms_of(desk), &err) !=
        PO_OK) {
        desk_said_no(desk, rq, rp, &err);
        return false;
    }
    ret->studies = desk->studies;
    return true;
}

void desk_book_acts(po_desk *desk, desk_request *rq, desk_reply *rp, const work_acts *acts, json_t *more)
{
    desk_book_acts_by(desk, rq, rp, rq->who.member, acts, more);
}

void desk_book_acts_by(po_desk *desk, desk_request *rq, desk_reply *rp, const char *by, const work_acts *acts,
                       json_t *more)
{
    po_act list[WORK_ACTS_MOST];
    po_act_done done[WORK_ACTS_MOST];
    char *texts[WORK_ACTS_MOST] = {0};
    size_t failed = 0;
    po_err err;
    po_status s = PO_OK;
    for (size_t i = 0; i < acts->n; i++) {
        texts[i] = json_dumps(acts->bodies[i], JSON_COMPACT);
        list[i] = (po_act){acts->names[i], by, texts[i]};
        s = texts[i] ? s : po_fail(&err, PO_E_NOMEM, "memory ran out");
    }
    s = s == PO_OK ? po_ledger_act_all(desk->options.ledger, list, acts->n, rq->arena, done, &failed, &err) : s;
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
        json_decref(more);
    } else {
        desk_live_poke(desk);
        json_t *answers = json_array(), *reply = more ? more : json_object();
        for (size_t i = 0; answers && i < acts->n; i++) {
            json_array_append_new(answers, json_pack("{s:s, s:I, s:s, s:o}", "act", acts->names[i], "event",
                                                     (json_int_t)done[i].event, "hash", done[i].hash, "answer",
                                                     json_loads(done[i].answer, 0, NULL)));
        }
        json_object_set_new(reply, "done", answers);
        desk_reply_json(rq, rp, reply);
    }
    for (size_t i = 0; i < acts->n; i++) {
        free(texts[i]);
    }
}
