/* What acts of a run share. SPDX-License-Identifier: Apache-2.0 */
#include "work/run_acts.h"

#include <inttypes.h>
#include <string.h>

#include "work/message.h"
#include "work/permits.h"

json_t *work_acts_add(work_acts *acts, const char *name, int64_t run)
{
    json_t *body = acts->n < WORK_ACTS_MOST ? json_pack("{s:I}", "run", (json_int_t)run) : NULL;
    if (body) {
        acts->names[acts->n] = name;
        acts->bodies[acts->n++] = body;
    }
    return body;
}

void work_acts_done(work_acts *acts)
{
    for (size_t i = 0; i < acts->n; i++) {
        json_decref(acts->bodies[i]);
    }
    *acts = (work_acts){0};
}

const char *work_run_message(const work_context *w, po_text_kind kind, const json_t *run, int64_t place,
                             int64_t until_ms)
{
    const char *metres = work_metres(w, work_int(run, "reserved_um", 0));
    work_message_words words = {
        .run = po_arena_printf(w->arena, "%" PRId64, work_int(run, "run", 0)),
        .machine = json_string_value(json_object_get(run, "machine")),
        .metres = po_arena_printf(w->arena, "%.*s", (int)strcspn(metres, " "), metres), /* the number alone */
        .place = place ? po_arena_printf(w->arena, "%" PRId64, place) : NULL,
        .until = until_ms ? work_until_words(w, until_ms) : NULL,
    };
    return work_message(w, kind, &words);
}

int64_t work_kept_until(const work_context *w)
{
    po_wall_time wall;
    if (!work_wall(w, w->now_ms, &wall, NULL)) {
        return 0;
    }
    wall.minute = 0;
    int64_t ms = work_day_over(w, po_wall_add(wall, (long)w->shop->rules.shelf_days * 1440).date);
    return ms > 0 ? ms : 0;
}

po_status work_shelf_place(work_context *w, json_t *body, int64_t *ret_place, int64_t *ret_until_ms, po_err *err)
{
    json_t *shelf = NULL;
    int places = w->shop->rules.shelf_places;
    int64_t place = work_int(body, "place", 0);
    po_status s = PO_OK;
    if (!place) {
        s = work_ask(w, "shelf", json_pack("{s:i}", "limit", 1), &shelf, err);
        place = work_int(shelf, "next_place", 0);
        json_decref(shelf);
        if (s == PO_OK && place > places) {
            s = po_fail_at(err, PO_E_CONFLICT, "place", 0, 0,
                           "all %d places of the shelf are taken: proveout shelf list --overdue shows what can "
                           "go, or give the part to its member",
                           places);
        }
        json_object_set_new(body, "place", json_integer(place));
    } else if (place > places) {
        s = po_fail_at(err, PO_E_RANGE, "place", 0, 0,
                       "there is no place %" PRId64 ": the shelf has %d (rules.shelf_places)", place, places);
    }
    if (!json_object_get(body, "kept_until")) {
        json_object_set_new(body, "kept_until", json_integer(work_kept_until(w)));
    }
    *ret_place = place;
    *ret_until_ms = work_int(body, "kept_until", 0);
    return s;
}

void work_outcome_counts(const po_shop *shop, json_t *body)
{
    const char *outcome = work_text(body, "outcome"), *word = work_text(body, "cause");
    po_run_cause cause = PO_CAUSE_UNKNOWN;
    bool broke = !strcmp(outcome, "failed") || !strcmp(outcome, "stopped");
    (void)po_cause_from_name(word, &cause);
    if (broke && !*word) {
        json_object_set_new(body, "cause", json_string(po_cause_name(cause)));
    }
    if (!json_object_get(body, "counts")) {
        json_object_set_new(body, "counts", json_boolean(!broke || shop->rules.counts_when_failed[cause]));
    }
    if (!json_object_get(body, "rerun_first")) {
        json_object_set_new(body, "rerun_first", json_boolean(broke && shop->rules.rerun_first[cause]));
    }
}
