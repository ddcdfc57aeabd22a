/* The shelf: a part put to a place, labels to print. SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "desk/at_desk.h"
#include "slip/code128.h"
#include "slip/render.h"

enum { LABELS_MOST = 60 };

/* A part moves, or is kept longer; its member hears where it is now. */
void desk_do_shelf_put(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    work_acts acts = {0};
    json_t *run = NULL;
    int64_t id = work_int(rq->json, "run", 0), place = 0, until = 0;
    po_err err;
    if (!desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    json_t *body = work_acts_add(&acts, "shelf-put", id);
    json_object_set(body, "place", json_object_get(rq->json, "place"));
    if (work_has(rq->json, "kept_until")) {
        json_object_set(body, "kept_until", json_object_get(rq->json, "kept_until"));
    }
    bool keeps = json_object_get(body, "kept_until") != NULL;
    po_status s = work_ask(&w, "run", json_pack("{s:I}", "run", (json_int_t)id), &run, &err);
    s = s == PO_OK ? work_shelf_place(&w, body, &place, &until, &err) : s;
    if (s == PO_OK && !keeps) { /* it is kept as long as before */
        json_object_del(body, "kept_until");
        until = work_int(json_object_get(run, "part"), "kept_until_ms", 0);
    }
    const char *text = s == PO_OK && !json_is_true(json_object_get(rq->json, "quiet"))
                           ? work_run_message(&w, PO_TEXT_COLLECT, run, place, until)
                           : NULL;
    if (text) {
        json_object_set_new(body, "message", json_string(text));
    }
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    } else {
        desk_book_acts(desk, rq, rp, &acts, NULL);
    }
    work_acts_done(&acts);
    json_decref(run);
}

/* ---- labels ---- */

/* {"modules": n, "widths": [...]}: bar and space in turn. */
static po_status put_bars(json_t *to, const char *code, po_arena *arena, po_err *err)
{
    const uint8_t *widths = NULL;
    int n = 0, modules = 0;
    po_status s = po_code128(code, arena, &widths, &n, &modules, err);
    json_t *list = json_array();
    for (int i = 0; s == PO_OK && i < n; i++) {
        json_array_append_new(list, json_integer(widths[i]));
    }
    json_object_set_new(to, "bars", json_pack("{s:i, s:o}", "modules", modules, "widths", list));
    return s;
}

/* {"size": n, "rows": ["0110...", ...]}; null where the library for it is not there. */
static po_status put_squares(json_t *to, const char *code, po_arena *arena, po_err *err)
{
    const uint8_t *dark = NULL;
    int size = 0;
    po_status s = po_code_squares(code, arena, &size, &dark, err);
    if (s == PO_E_UNSUPPORTED) {
        json_object_set_new(to, "squares", json_null());
        return PO_OK;
    }
    json_t *rows = json_array();
    char *row = s == PO_OK ? po_arena_zeros(arena, (size_t)size + 1, 1) : NULL;
    for (int y = 0; row && y < size; y++) {
        for (int x = 0; x < size; x++) {
            row[x] = dark[y * size + x] ? '1' : '0';
        }
        json_array_append_new(rows, json_string(row));
    }
    json_object_set_new(to, "squares", json_pack("{s:i, s:o}", "size", size, "rows", rows));
    return s == PO_OK && !row ? po_fail(err, PO_E_NOMEM, "memory ran out") : s;
}

/* A label of one run; its part has to be on the shelf. No name stands on it. */
static po_status put_label(work_context *w, int64_t id, json_t *list, po_err *err)
{
    json_t *run = NULL;
    po_status s = work_ask(w, "run", json_pack("{s:I}", "run", (json_int_t)id), &run, err);
    const json_t *part = json_object_get(run, "part");
    if (s == PO_OK && strcmp(work_text(part, "state"), "shelf") != 0) {
        s = po_fail_at(err, PO_E_CONFLICT, "runs", 0, 0, "the part of run %" PRId64 " is not on the shelf", id);
    }
    const char *code = po_arena_printf(w->arena, "%" PRId64, id);
    if (s == PO_OK) {
        json_t *one = json_pack("{s:I, s:s, s:O, s:O, s:O, s:O}", "run", (json_int_t)id, "code", code, "member",
                                json_object_get(run, "member"), "machine", json_object_get(run, "machine"), "place",
                                json_object_get(part, "place"), "kept_until_ms",
                                json_object_get(part, "kept_until_ms"));
        json_array_append_new(list, one);
        s = put_bars(one, code, w->arena, err);
        s = s == PO_OK ? put_squares(one, code, w->arena, err) : s;
    }
    json_decref(run);
    return s;
}

void desk_do_labels(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const json_t *runs = json_object_get(rq->json, "runs");
    json_t *list = json_array();
    work_context w;
    po_err err;
    po_status s = PO_OK;
    if (!desk_context_begin(desk, rq, rp, &w)) {
        json_decref(list);
        return;
    }
    if (json_array_size(runs) > LABELS_MOST) {
        desk_problem(rq, rp, 422, "runs", "at most %d labels are made at once", LABELS_MOST);
        json_decref(list);
        return;
    }
    for (size_t i = 0; s == PO_OK && i < json_array_size(runs); i++) {
        s = put_label(&w, json_integer_value(json_array_get(runs, i)), list, &err);
    }
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
        json_decref(list);
    } else {
        desk_reply_json(rq, rp, json_pack("{s:s, s:o}", "format", "proveout/labels/1", "labels", list));
    }
}
