/* What concerns whoever is signed in. SPDX-License-Identifier: Apache-2.0 */
#include "work/mine.h"

#include "desk/at_desk.h"
#include "desk/opening.h"
#include "desk/proving.h"

void desk_do_mine(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *mine = NULL;
    po_err err;
    po_status s = work_begin(&w, rq->arena, desk_shop_now(desk), NULL, desk->options.ledger, desk_now_ms_of(desk),
                             &err);
    s = s == PO_OK ? work_mine(&w, rq->who.member, &mine, &err) : s;
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
        return;
    }
    desk_reply_json(rq, rp, mine);
}
