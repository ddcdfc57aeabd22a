/* Take-back over the network: which run a stick names, and the acts. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "desk/at_desk.h"
#include "work/take_back.h"

static const char *text_of(const json_t *o, const char *field)
{
    return json_string_value(json_object_get(o, field));
}

/* In the shop's own spelling; as it is where the shop has none of that name. */
static const char *machine_of(const po_shop *shop, const char *name)
{
    const po_machine *m = name ? po_shop_machine(shop, name) : NULL;
    return m ? m->name : name;
}

/* What was scanned may be a stick's name or a machine's. */
void desk_do_take_back(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *run = NULL, *o = NULL;
    po_err err;
    const char *stick = text_of(rq->json, "stick"), *machine = text_of(rq->json, "machine");
    if (!desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    if (stick && !machine && po_shop_machine(desk->options.shop, stick)) {
        machine = stick;
        stick = NULL;
    }
    po_status s = work_back_run(&w, work_int(rq->json, "run", 0), machine_of(desk->options.shop, machine), stick, &run,
                                &err);
    s = s == PO_OK ? work_back_propose(&w, run, &o, &err) : s;
    if (s == PO_OK) {
        json_object_set_new(o, "now_ms", json_integer(w.now_ms));
        desk_reply_json(rq, rp, o);
    } else {
        desk_said_no(desk, rq, rp, &err);
    }
    json_decref(run);
}

static int flag_of(const json_t *o, const char *field)
{
    const json_t *v = json_object_get(o, field);
    return json_is_boolean(v) ? json_is_true(v) : -1;
}

static work_back said_of(const json_t *b)
{
    work_back said = WORK_BACK_INIT;
    said.outcome = text_of(b, "outcome");
    said.figure = text_of(b, "figure");
    said.used_um = work_int(b, "used_um", -1);
    said.used_mg = work_int(b, "used_mg", -1);
    said.stick_there = flag_of(b, "stick_there");
    said.condition = text_of(b, "condition");
    said.how.z_um = work_int(b, "z_um", -1);
    said.how.percent = work_int(b, "percent", -1);
    said.how.seconds = work_int(b, "seconds", -1);
    said.how.at_ms = work_int(b, "at", -1);
    said.how.symptom = text_of(b, "symptom");
    said.how.cause = text_of(b, "cause");
    said.how.counts = flag_of(b, "counts");
    said.how.rerun_first = flag_of(b, "rerun_first");
    said.how.to = text_of(b, "to");
    said.how.place = work_int(b, "place", 0);
    said.how.kept_until_ms = work_int(b, "kept_until", 0);
    said.how.recycled_mg = work_int(b, "recycled_mg", 0);
    said.how.message = json_is_false(json_object_get(b, "tell")) ? "" : text_of(b, "message");
    return said;
}

/* The next ticket that the machine can be offered to; may be NULL. */
static json_t *next_ticket(work_context *w, const char *machine)
{
    json_t *answer = NULL, *found = NULL, *t;
    po_err ignored;
    size_t i;
    if (work_ask(w, "tickets", NULL, &answer, &ignored) != PO_OK) {
        return NULL; /* it is booked all the same */
    }
    json_array_foreach(json_object_get(answer, "tickets"), i, t)
    {
        const char *wants = work_text(t, "machine");
        if (!found && !strcmp(work_text(t, "state"), "waiting") && (!*wants || !strcmp(wants, machine))) {
            found = json_incref(t);
        }
    }
    json_decref(answer);
    return found;
}

/* What the answer says besides the acts; NULL: no memory. */
static json_t *taken_back(work_context *w, const work_acts *acts, const json_t *run)
{
    const json_t *off = NULL;
    for (size_t i = 0; i < acts->n; i++) {
        off = strcmp(acts->names[i], "run-off") == 0 && work_has(acts->bodies[i], "place") ? acts->bodies[i] : off;
    }
    return json_pack("{s:s, s:O, s:O, s:O, s:O?, s:O?, s:O?, s:o?}", "format", "proveout/taken-back/1", "run",
                     json_object_get(run, "run"), "machine", json_object_get(run, "machine"), "member",
                     json_object_get(run, "member"), "file", json_object_get(run, "file"), "place",
                     json_object_get(off, "place"), "kept_until_ms", json_object_get(off, "kept_until"), "next_ticket",
                     next_ticket(w, work_text(run, "machine")));
}

void desk_do_take_back_confirm(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    work_acts list = {0};
    json_t *run = NULL;
    po_err err;
    if (!desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    work_back said = said_of(rq->json);
    po_status s = work_back_run(&w, work_int(rq->json, "run", 0), NULL, NULL, &run, &err);
    s = s == PO_OK ? work_back_acts(&w, run, &said, &list, &err) : s;
    if (s == PO_OK) {
        desk_book_acts(desk, rq, rp, &list, taken_back(&w, &list, run));
    } else {
        desk_said_no(desk, rq, rp, &err);
    }
    work_acts_done(&list);
    json_decref(run);
}
