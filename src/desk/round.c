/* The round, and a run that failed in one go. SPDX-License-Identifier: Apache-2.0
 *
 * Figures, causes and messages come from src/work, as the verbs round and run failed have them; a page shows them to be confirmed
 * and sends back what was confirmed. */
#include "work/round.h"

#include <string.h>

#include "desk/at_desk.h"
#include "work/failure.h"

void desk_do_round(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *now = NULL, *seen = json_array();
    size_t n;
    po_err err;
    if (desk_context_begin(desk, rq, rp, &w)) {
        if (work_round_now(&w, &now, &err) != PO_OK) {
            desk_said_no(desk, rq, rp, &err);
        } else {
            const work_symptom *symptoms = work_symptoms(&n);
            for (size_t i = 0; i < n; i++) {
                json_array_append_new(seen, json_string(symptoms[i].key));
            }
            json_object_set(now, "symptoms", seen);
            desk_reply_json(rq, rp, now);
        }
    }
    json_decref(seen);
}

static int flag_of(const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    return json_is_boolean(v) ? json_is_true(v) : -1;
}

static const char *text_of(const json_t *o, const char *key)
{
    return json_string_value(json_object_get(o, key));
}

static work_failure said_of(const json_t *o)
{
    return (work_failure){.z_um = work_int(o, "z_um", -1),
                          .percent = work_int(o, "percent", -1),
                          .seconds = work_int(o, "seconds", -1),
                          .at_ms = work_int(o, "at", -1),
                          .symptom = text_of(o, "symptom"),
                          .cause = text_of(o, "cause"),
                          .counts = flag_of(o, "counts"),
                          .rerun_first = flag_of(o, "rerun_first"),
                          .to = text_of(o, "to"),
                          .place = work_int(o, "place", 0),
                          .kept_until_ms = work_int(o, "kept_until", 0),
                          .recycled_mg = work_int(o, "recycled_mg", 0),
                          .back = flag_of(o, "back") == 1,
                          .message = flag_of(o, "quiet") == 1 ? "" : text_of(o, "message")};
}

/* The run of the body; NULL with the reply written. The caller's. */
static json_t *run_of(po_desk *desk, desk_request *rq, desk_reply *rp, work_context *w)
{
    json_t *run = NULL;
    po_err err;
    if (!desk_context_begin(desk, rq, rp, w)) {
        return NULL;
    }
    po_status s = work_ask(w, "run", json_pack("{s:I}", "run", (json_int_t)work_int(rq->json, "run", 0)), &run, &err);
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    }
    return s == PO_OK ? run : NULL;
}

void desk_do_failure(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *run = run_of(desk, rq, rp, &w), *values = NULL;
    work_failure said = said_of(rq->json);
    po_err err;
    if (!run) {
        return;
    }
    if (work_failure_propose(&w, run, &said, &values, &err) != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    } else {
        desk_reply_json(rq, rp, values);
    }
    json_decref(run);
}

void desk_do_failure_confirm(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *run = run_of(desk, rq, rp, &w);
    work_failure said = said_of(rq->json);
    work_acts acts = {0};
    po_err err;
    if (!run) {
        return;
    }
    if (work_failure_acts(&w, run, &said, &acts, &err) != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    } else {
        desk_book_acts(desk, rq, rp, &acts, NULL);
    }
    work_acts_done(&acts);
    json_decref(run);
}
