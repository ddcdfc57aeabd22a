/* A machine comes back. SPDX-License-Identifier: Apache-2.0
 *
 * Stick or machine name the run, the proof offers the metres. A run that was never booked as ended ends with it. */
#include "work/take_back.h"

#include <inttypes.h>
#include <string.h>

#include "work/due.h"

/* ---- which run ---- */

static po_status run_on(work_context *w, const char *machine, int64_t *ret, po_err *err)
{
    json_t *answer = NULL;
    po_status s = work_ask(w, "machines", json_pack("{s:s}", "machine", machine), &answer, err);
    *ret = work_int(json_array_get(json_object_get(answer, "machines"), 0), "run", 0);
    json_decref(answer);
    if (s == PO_OK && !*ret) {
        w->asked = NULL;
        s = po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                       "%s is not out by the book, so there is nothing to take back; run list --machine %s shows its "
                       "runs",
                       machine, machine);
    }
    return s;
}

static po_status run_with(work_context *w, const char *stick, int64_t *ret, po_err *err)
{
    json_t *answer = NULL;
    po_status s = work_ask(w, "sticks", json_pack("{s:s}", "stick", stick), &answer, err);
    const json_t *row = json_array_get(json_object_get(answer, "sticks"), 0);
    *ret = work_int(row, "run", 0);
    if (s == PO_OK && !row) {
        w->asked = NULL;
        s = po_fail_at(err, PO_E_CONFLICT, "stick", 0, 0, "there is no stick %s in the book; stick list shows them",
                       stick);
    } else if (s == PO_OK && !*ret) {
        w->asked = NULL;
        s = po_fail_at(err, PO_E_CONFLICT, "stick", 0, 0,
                       "stick %s is not out by the book: it belongs to %s, and --machine %s takes that back", stick,
                       work_text(row, "machine"), work_text(row, "machine"));
    }
    json_decref(answer);
    return s;
}

po_status work_back_same_stick(const json_t *run, const char *stick, po_err *err)
{
    const char *out = work_text(run, "stick");
    if (!stick || !strcmp(out, stick)) {
        return PO_OK;
    }
    return *out ? po_fail_at(err, PO_E_CONFLICT, "stick", 0, 0,
                             "run %" PRId64 " on %s went out with stick %s, not with %s: look which one came back",
                             work_int(run, "run", 0), work_text(run, "machine"), out, stick)
                : po_fail_at(err, PO_E_CONFLICT, "stick", 0, 0,
                             "run %" PRId64 " on %s went out without a stick, not with %s: leave --stick out",
                             work_int(run, "run", 0), work_text(run, "machine"), stick);
}

po_status work_back_run(work_context *w, int64_t run, const char *machine, const char *stick, json_t **ret_run,
                        po_err *err)
{
    json_t *found = NULL;
    po_status s = PO_OK;
    w->asked = NULL;
    if (!run && !machine && !stick) {
        return po_fail_at(err, PO_E_RANGE, "run", 0, 0, "say which run is back: its number, its machine or its stick");
    }
    if (!run) {
        s = machine ? run_on(w, machine, &run, err) : run_with(w, stick, &run, err);
    }
    s = s == PO_OK ? work_ask(w, "run", json_pack("{s:I}", "run", (json_int_t)run), &found, err) : s;
    if (s != PO_OK) {
        return s;
    }
    w->asked = NULL;
    if (machine && strcmp(work_text(found, "machine"), machine) != 0) {
        s = po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0, "run %" PRId64 " is on %s, not on %s: name one of them",
                       run, work_text(found, "machine"), machine);
    }
    s = s == PO_OK ? work_back_same_stick(found, stick, err) : s;
    if (s != PO_OK) {
        json_decref(found);
        return s;
    }
    *ret_run = found;
    return PO_OK;
}

/* ---- what is proposed ---- */

static po_status is_out(const json_t *run, po_err *err)
{
    const char *state = work_text(run, "state");
    return !strcmp(state, "out") || !strcmp(state, "ended") || !strcmp(state, "failed")
               ? PO_OK
               : po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %" PRId64 " is not out: it is %s",
                            work_int(run, "run", 0), state);
}

static json_t *symptom_rows(void)
{
    size_t n = 0;
    const work_symptom *list = work_symptoms(&n);
    json_t *rows = json_array();
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(rows, json_pack("{s:s, s:s, s:s}", "key", list[i].key, "text", list[i].text, "cause",
                                              po_cause_name(list[i].cause)));
    }
    return rows;
}

static json_t *time_or_none(int64_t ms)
{
    return ms > 0 ? json_integer(ms) : json_null();
}

/* When the bed is cool, by the row of the question today, which knows the materials. */
static int64_t cool_at(work_context *w, int64_t run)
{
    json_t *today = NULL;
    po_err ignored;
    int64_t at = 0;
    if (work_today(w, &today, &ignored) == PO_OK) {
        size_t i;
        json_t *row;
        json_array_foreach(json_object_get(today, "runs"), i, row)
        {
            at = work_int(row, "run", 0) == run ? work_cool_at(w, row) : at;
        }
        json_decref(today);
    }
    w->asked = NULL;
    return at;
}

po_status work_back_propose(work_context *w, const json_t *run, json_t **ret, po_err *err)
{
    static const char *const same[] = {"run",      "machine",     "member",           "stick",      "file",
                                       "sha256",   "state",       "out_ms",           "started_ms", "watched_ms",
                                       "ended_ms", "reserved_um", "reserved_seconds", "failed_um",  "outcome",
                                       "off_ms"};
    int64_t place = 0, until = 0, number = work_int(run, "run", 0);
    json_t *shelf = json_object();
    w->asked = NULL;
    po_status s = is_out(run, err);
    po_err full;
    if (s == PO_OK) {
        s = work_shelf_place(w, shelf, &place, &until, &full);
        if (s == PO_E_CONFLICT && !w->asked) { /* nothing else hangs on it */
            place = 0;
            s = PO_OK;
        } else if (s != PO_OK && err) {
            *err = full;
        }
    }
    json_decref(shelf);
    if (s != PO_OK) {
        return s;
    }
    json_t *o = json_pack("{s:s, s:b, s:o, s:o, s:o, s:o, s:f, s:o}", "format", "proveout/take-back/1", "part_on_bed",
                          !work_has(run, "off_ms"), "place", place ? json_integer(place) : json_null(), "kept_until_ms",
                          time_or_none(until), "cool_ms", time_or_none(cool_at(w, number)), "symptoms", symptom_rows(),
                          "cool_below_c", w->shop->rules.collect_below_bed_c, "message", json_null());
    for (size_t i = 0; o && i < sizeof same / sizeof same[0]; i++) {
        json_t *v = json_object_get(run, same[i]);
        if (v) {
            json_object_set(o, same[i], v);
        }
    }
    const char *text = place ? work_run_message(w, PO_TEXT_COLLECT, run, place, until) : NULL;
    if (o && text) {
        json_object_set_new(o, "message", json_string(text));
    }
    *ret = o;
    return o ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
}

/* ---- the acts ---- */

static void put_text(json_t *body, const char *key, const char *text)
{
    if (text && *text) {
        json_object_set_new(body, key, json_string(text));
    }
}

static po_status figure(json_t *body, const work_back *said, po_err *err)
{
    const char *word = said->figure ? said->figure : "proof";
    bool scale = !strcmp(word, "scale"), counter = !strcmp(word, "counter");
    if ((scale && said->used_mg < 0) || (counter && said->used_um < 0)) {
        return po_fail_at(err, PO_E_RANGE, scale ? "used_mg" : "used_um", 0, 0,
                          scale ? "say how much the scale shows was used" : "say what the machine's counter shows");
    }
    json_object_set_new(body, "figure", json_string(word));
    if (scale) {
        json_object_set_new(body, "used_mg", json_integer(said->used_mg));
    } else if (said->used_um >= 0) {
        json_object_set_new(body, "used_um", json_integer(said->used_um));
    }
    if (said->stick_there >= 0) {
        json_object_set_new(body, "stick_there", json_boolean(said->stick_there));
    }
    put_text(body, "condition", said->condition);
    return PO_OK;
}

/* The part off the bed, where it went somewhere. */
static po_status off(work_context *w, const json_t *run, const work_failure *how, work_acts *ret, po_err *err)
{
    if (!how->to || work_has(run, "off_ms")) {
        return PO_OK;
    }
    int64_t place = how->place, until = how->kept_until_ms;
    json_t *body = work_acts_add(ret, "run-off", work_int(run, "run", 0));
    if (!body) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    json_object_set_new(body, "to", json_string(how->to));
    if (how->recycled_mg > 0) {
        json_object_set_new(body, "recycled_mg", json_integer(how->recycled_mg));
    }
    if (strcmp(how->to, "shelf") != 0) {
        return PO_OK;
    }
    if (place) {
        json_object_set_new(body, "place", json_integer(place));
    }
    if (until) {
        json_object_set_new(body, "kept_until", json_integer(until));
    }
    po_status s = work_shelf_place(w, body, &place, &until, err);
    if (s == PO_OK) {
        put_text(body, "message",
                 how->message ? how->message : work_run_message(w, PO_TEXT_COLLECT, run, place, until));
    }
    return s;
}

static po_status ended_well(work_context *w, const json_t *run, const work_back *said, work_acts *ret, po_err *err)
{
    int64_t number = work_int(run, "run", 0);
    if (!strcmp(work_text(run, "state"), "out") && !work_acts_add(ret, "run-ended", number)) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status s = off(w, run, &said->how, ret, err);
    json_t *back = s == PO_OK ? work_acts_add(ret, "run-take-back", number) : NULL;
    s = s == PO_OK ? (back ? figure(back, said, err) : po_fail(err, PO_E_NOMEM, "memory ran out")) : s;
    if (s == PO_OK && said->outcome) {
        json_t *outcome = work_acts_add(ret, "run-outcome", number);
        if (!outcome) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        json_object_set_new(outcome, "outcome", json_string(said->outcome));
        put_text(outcome, "cause", said->how.cause);
        put_text(outcome, "symptom", said->how.symptom);
        if (said->how.counts >= 0) {
            json_object_set_new(outcome, "counts", json_boolean(said->how.counts));
        }
        if (said->how.rerun_first >= 0) {
            json_object_set_new(outcome, "rerun_first", json_boolean(said->how.rerun_first));
        }
        work_outcome_counts(w->shop, outcome);
    }
    return s;
}

/* It stopped before its end: as at the round, with the outcome's word and a better figure where there is one. */
static po_status broke_off(work_context *w, const json_t *run, const work_back *said, work_acts *ret, po_err *err)
{
    work_failure how = said->how;
    how.back = true;
    how.cause = how.cause ? how.cause : po_cause_name(PO_CAUSE_UNKNOWN);
    po_status s = work_failure_acts(w, run, &how, ret, err);
    for (size_t i = 0; s == PO_OK && i < ret->n; i++) {
        if (!strcmp(ret->names[i], "run-outcome")) {
            json_object_set_new(ret->bodies[i], "outcome", json_string(said->outcome));
        } else if (!strcmp(ret->names[i], "run-take-back")) {
            s = figure(ret->bodies[i], said, err);
        }
    }
    return s;
}

po_status work_back_acts(work_context *w, const json_t *run, const work_back *said, work_acts *ret, po_err *err)
{
    const char *outcome = said->outcome ? said->outcome : "";
    bool broke = !strcmp(outcome, "failed") || !strcmp(outcome, "stopped");
    bool where = said->how.z_um >= 0 || said->how.percent >= 0 || said->how.seconds >= 0;
    *ret = (work_acts){0};
    w->asked = NULL;
    po_status s = is_out(run, err);
    if (s == PO_OK && *outcome && !broke && strcmp(outcome, "good") != 0) {
        s = po_fail_at(err, PO_E_RANGE, "outcome", 0, 0, "a run comes back good, failed or stopped");
    }
    if (s != PO_OK) {
        return s;
    }
    /* one that printed to its end and is still not good has no height at which it stopped */
    return broke && where ? broke_off(w, run, said, ret, err) : ended_well(w, run, said, ret, err);
}
