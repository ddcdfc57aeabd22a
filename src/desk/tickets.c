/* Tickets: who waits, when their turn comes, and calling them. SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "desk/at_desk.h"
#include "work/due.h"
#include "work/message.h"
#include "work/permits.h"

/* When a member's turn will come, after those before them, of the machines that they may use: "next_free_ms", "next_machine", "free_now" of
 * `to`; none of them where nobody knows. */
static po_status expect(work_context *w, const json_t *today, const char *member, const char *machine, json_t *to,
                        po_err *err)
{
    json_t *who = NULL;
    int64_t ms = 0;
    const char *name = NULL;
    po_status s = work_ask(w, "member", json_pack("{s:s, s:o}", "member", member, "implies", work_implied(w->shop)),
                           &who, err);
    if (s == PO_OK &&
        work_next_free(w, today, member, *machine ? machine : NULL, json_object_get(who, "permissions"), &ms, &name)) {
        json_object_set_new(to, "next_free_ms", json_integer(ms));
        json_object_set_new(to, "next_machine", json_string(name));
        json_object_set_new(to, "free_now", json_boolean(ms <= w->now_ms));
    }
    json_decref(who);
    return s;
}

/* Machines that can be offered now: free, and kept for no ticket. */
static json_t *free_machines(const work_context *w, const json_t *today)
{
    json_t *list = json_array();
    for (size_t m = 0; m < w->shop->n_machines; m++) {
        const char *name = w->shop->machines[m].name;
        bool is_free = true;
        size_t i;
        const json_t *row;
        json_array_foreach(json_object_get(today, "machines"), i, row)
        {
            if (!strcmp(work_text(row, "machine"), name)) {
                is_free = is_free && json_is_true(json_object_get(row, "free"));
            }
        }
        json_array_foreach(json_object_get(today, "tickets"), i, row)
        {
            bool kept = !strcmp(work_text(row, "state"), "called") && !json_is_true(json_object_get(row, "lapsed"));
            is_free = is_free && !(kept && !strcmp(work_text(row, "offered"), name));
        }
        if (is_free) {
            json_array_append_new(list, json_string(name));
        }
    }
    return list;
}

void desk_do_tickets(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *today = NULL, *answer = NULL;
    size_t i;
    json_t *t;
    int64_t ms = 0;
    const char *name = NULL;
    po_err err;
    if (!desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    int64_t since = w.now_ms - w.shop->rules.no_show_days * INT64_C(86400000);
    po_status s = work_today(&w, &today, &err);
    s = s == PO_OK ? work_ask(&w, "tickets", json_pack("{s:I}", "no_shows_since", (json_int_t)(since > 0 ? since : 0)),
                              &answer, &err)
                   : s;
    json_array_foreach(json_object_get(answer, "tickets"), i, t)
    {
        if (s == PO_OK && !strcmp(work_text(t, "state"), "waiting")) {
            s = expect(&w, today, work_text(t, "member"), work_text(t, "machine"), t, &err);
        }
    }
    if (s == PO_OK) {
        json_object_set_new(answer, "format", json_string("proveout/tickets-now/1"));
        json_object_set_new(answer, "now_ms", json_integer(w.now_ms));
        json_object_set_new(answer, "free", free_machines(&w, today));
        json_object_set_new(answer, "claim_minutes", json_integer(w.shop->rules.ticket_claim_minutes));
        if (work_next_free(&w, today, NULL, NULL, NULL, &ms, &name)) {
            json_object_set_new(answer, "next_free_ms", json_integer(ms));
            json_object_set_new(answer, "next_machine", json_string(name));
        }
        desk_reply_json(rq, rp, json_incref(answer));
    } else {
        desk_said_no(desk, rq, rp, &err);
    }
    json_decref(today);
    json_decref(answer);
}

/* A number for a member, with when their turn comes. */
void desk_do_ticket_take(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *member = work_text(rq->json, "member"), *machine = work_text(rq->json, "machine");
    work_context w;
    work_acts acts = {.n = 1, .names = {"ticket-take"}, .bodies = {json_deep_copy(rq->json)}};
    json_t *today = NULL, *turn = json_object();
    po_err err;
    if (desk_context_begin(desk, rq, rp, &w) && desk_house(desk, "ticket-take", acts.bodies[0], rq, rp)) {
        /* asked before: their ticket comes behind all that wait already, as without it */
        if (work_today(&w, &today, &err) != PO_OK || expect(&w, today, member, machine, turn, &err) != PO_OK) {
            desk_said_no(desk, rq, rp, &err);
        } else {
            desk_book_acts(desk, rq, rp, &acts, json_pack("{s:O}", "turn", turn));
        }
    }
    json_decref(turn);
    json_decref(today);
    work_acts_done(&acts);
}

/* A machine is kept for a ticket, for the shop's minutes, and its member hears of it. */
void desk_do_ticket_call(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    work_acts acts = {.n = 1, .names = {"ticket-call"}, .bodies = {json_deep_copy(rq->json)}};
    json_t *body = acts.bodies[0];
    if (desk_context_begin(desk, rq, rp, &w)) {
        int64_t until = work_int(body, "until", w.now_ms + w.shop->rules.ticket_claim_minutes * INT64_C(60000));
        json_object_set_new(body, "until", json_integer(until));
        work_message_words words = {.number = po_arena_printf(w.arena, "%" PRId64, work_int(body, "ticket", 0)),
                                    .machine = json_string_value(json_object_get(body, "machine")),
                                    .until = work_time_words(&w, until)};
        const char *text = json_is_true(json_object_get(body, "quiet")) ? NULL
                                                                        : work_message(&w, PO_TEXT_TICKET, &words);
        json_object_del(body, "quiet");
        if (text) {
            json_object_set_new(body, "message", json_string(text));
        }
        desk_book_acts(desk, rq, rp, &acts, NULL);
    }
    work_acts_done(&acts);
}
