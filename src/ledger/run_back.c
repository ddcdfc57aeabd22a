/* Runs that failed or are back: what was used, and how they came out. SPDX-License-Identifier: Apache-2.0
 *
 * A run that failed at a height or a time used what its proof says until there: straight between the rows of by_height. A
 * figure of the take-back is better and replaces it. */
#include <string.h>

#include "ledger/answers.h"
#include "ledger/run_row.h"

/* y at x on the line through (x0, y0) and (x1, y1), x0 <= x <= x1, rounded half up; a value is at most 10^15. */
static int64_t between(int64_t x, int64_t x0, int64_t y0, int64_t x1, int64_t y1)
{
    __extension__ typedef __int128 wide;
    return x1 == x0 ? y1 : y0 + (int64_t)(((wide)(y1 - y0) * (x - x0) * 2 + (x1 - x0)) / (2 * (wide)(x1 - x0)));
}

/* Height, filament and seconds (um, um, s) when the run stopped, at `at` of column `by`: straight between the rows of by_height, from
 * nothing at 0. */
static void used_until(const json_t *table, int by, int64_t at, int64_t ret[3])
{
    int64_t row[3] = {0}, before[3] = {0};
    for (size_t i = 0; i < json_array_size(table); i++) {
        const json_t *cells = json_array_get(table, i);
        memcpy(before, row, sizeof row);
        for (size_t k = 0; k < 3; k++) {
            row[k] = json_integer_value(json_array_get(cells, k));
        }
        if (row[by] >= at) {
            for (size_t k = 0; k < 3; k++) {
                ret[k] = between(at, before[by], before[k], row[by], row[k]);
            }
            return;
        }
    }
    memcpy(ret, row, sizeof row);
}

/* by_height of the proof that was kept of this job on this machine. The caller owns *ret. */
static po_status kept_table(po_store *store, const po_run_row *r, json_t **ret, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(store, &rows, err, "SELECT by_height FROM proofs WHERE sha256 = ?1 AND machine = ?2",
                               "tt", r->sha256, r->machine);
    if (s != PO_OK) {
        return s;
    }
    json_t *table = NULL;
    json_error_t fault = {.text = "none is kept"};
    if (po_rows_next(rows) && po_rows_text(rows, 0)) {
        fault.text[0] = 0;
        table = po_json_read(po_rows_text(rows, 0), &fault);
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && !table && !fault.text[0]) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for a proof by height");
    }
    if (s == PO_OK && !table) {
        s = po_fail_at(
            err, PO_E_NOTFOUND, "by_height", 0, 0,
            "no proof by height is kept of this job on %.60s: check the job on it and keep the proof, or give "
            "by_height",
            r->machine);
    }
    if (s != PO_OK) {
        json_decref(table);
        return s;
    }
    *ret = table;
    return PO_OK;
}

/* Seconds before the first bead: the first row is at no height and has no filament where the job heats first. */
static int64_t heating(const json_t *table)
{
    const json_t *first = json_array_get(table, 0);
    bool heats = json_integer_value(json_array_get(first, 0)) == 0 && json_integer_value(json_array_get(first, 1)) == 0;
    return heats ? json_integer_value(json_array_get(first, 2)) : 0;
}

/* Where it stopped by the fields of b, on the table: by column 0 (um of height) or 2 (seconds). */
static po_status where_stopped(const json_t *b, const po_run_row *r, const json_t *table, int64_t ended_ms, int *ret_by,
                               int64_t *ret_at, po_err *err)
{
    const json_t *end = json_array_get(table, json_array_size(table) - 1);
    bool z = po_field_has(b, "z_um"), percent = po_field_has(b, "percent"), seconds = po_field_has(b, "seconds");
    bool clock = !z && !percent && !seconds && po_field_has(b, "at") && r->started_ms >= 0;
    int64_t last_um = json_integer_value(json_array_get(end, 0)), last_s = json_integer_value(json_array_get(end, 2));
    if (z + percent + seconds + clock != 1) {
        return po_fail_at(err, PO_E_RANGE, "z_um", 0, 0,
                          "say where it stopped in one way: a height, a percentage or a time");
    }
    if (percent && po_field_int(b, "percent") > 100) {
        return po_fail_at(err, PO_E_RANGE, "percent", 0, 0, "a percentage is at most 100");
    }
    /* by the clock it runs from the start check, which is made before the first bead; the table from the job's first word */
    int64_t at = z         ? po_field_int(b, "z_um")
                 : seconds ? po_field_int(b, "seconds")
                 : clock   ? (ended_ms - r->started_ms) / 1000 + heating(table)
                           : last_s * po_field_int(b, "percent") / 100;
    if (z && at > last_um) {
        return po_fail_at(err, PO_E_RANGE, "z_um", 0, 0,
                          "by its proof the job ends before that: it is %lld.%03lld mm high",
                          (long long)(last_um / 1000), (long long)(last_um % 1000));
    }
    if (!z && at > last_s) {
        return po_fail_at(
            err, PO_E_RANGE, clock ? "at" : "seconds", 0, 0,
            "by its proof the job ends before that: it takes %lld:%02lld h; the machine may be slower, so "
            "say at which height it stopped",
            (long long)(last_s / 3600), (long long)(last_s / 60 % 60));
    }
    *ret_by = z ? 0 : 2;
    *ret_at = at;
    return PO_OK;
}

/* table: of the body, or the kept one */
static po_status failed(po_book *book, const po_run_row *r, const json_t *table, po_err *err)
{
    const char *message = po_field_text(book->body, "message");
    int64_t used[3] = {0}, ended = 0, at = 0, mg = -1;
    int by = 0;
    /* a run that was thought to have ended keeps its end, unless there is a better time */
    po_status s = PO_OK;
    if (r->ended_ms >= 0 && !po_field_has(book->body, "at")) {
        ended = r->ended_ms;
    } else {
        s = po_run_end_time(book, r, &ended, err);
    }
    s = s == PO_OK ? where_stopped(book->body, r, table, ended, &by, &at, err) : s;
    if (s != PO_OK) {
        return s;
    }
    used_until(table, by, at, used);
    int64_t um = used[1], seconds = used[2];
    s = po_takes_settle(book, r, um, -1, NULL, ended, &mg, err);
    s = s != PO_OK
            ? s
            : po_store_do(
                  book->store, NULL, err,
                  "UPDATE runs SET last = ?1, state = 'failed', ended_ms = ?2, failed_um = ?3, failed_seconds = ?4, "
                  "symptom = ?5, real_seconds = coalesce(real_seconds, iif(started_ms IS NULL, NULL, (?2 - started_ms "
                  "+ "
                  "500) / 1000)) WHERE id = ?6",
                  "iiiiti", book->event, ended, um, seconds, po_field_text(book->body, "symptom"), r->id);
    po_book_answer_int(book, "used_um", um);
    po_book_answer_int(book, "used_seconds", seconds);
    if (mg >= 0) {
        po_book_answer_int(book, "used_mg", mg);
    }
    s = s == PO_OK ? po_run_settle(book, r->id, err) : s;
    return s == PO_OK && message ? po_message_put(book, r->member, "failed", message, r->id, err) : s;
}

po_status po_apply_run_failed(po_book *book, po_err *err)
{
    const json_t *given = json_object_get(book->body, "by_height");
    json_t *kept = NULL;
    po_run_row r = {0};
    po_status s = po_run_take(book, "out ended", &r, err);
    s = s == PO_OK && !given ? kept_table(book->store, &r, &kept, err) : s;
    s = s == PO_OK ? failed(book, &r, given ? given : kept, err) : s;
    json_decref(kept);
    return s;
}

po_status po_ask_stopped(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const json_t *given = json_object_get(p, "by_height");
    json_t *kept = NULL;
    int64_t used[3] = {0}, at = 0, mg = -1;
    int by = 0;
    po_run_row r = {0};
    po_put_text(ret, "format", "proveout/stopped/1");
    po_status s = po_run_find(store, po_field_int(p, "run"), &r, err);
    if (s == PO_OK && !po_run_is(&r, "out ended")) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %lld is %s by the book, so it can't have failed now",
                          (long long)r.id, r.state);
    }
    s = s == PO_OK && !given ? kept_table(store, &r, &kept, err) : s;
    const json_t *table = given ? given : kept, *end = json_array_get(table, json_array_size(table) - 1);
    int64_t ended = po_field_has(p, "at") ? po_field_int(p, "at") : r.ended_ms >= 0 ? r.ended_ms : now;
    s = s == PO_OK ? where_stopped(p, &r, table, ended, &by, &at, err) : s;
    if (s == PO_OK) {
        used_until(table, by, at, used);
        po_put_int(ret, "run", r.id);
        po_put_int(ret, "height_um", json_integer_value(json_array_get(end, 0)));
        po_put_int(ret, "z_um", used[0]);
        po_put_int(ret, "used_um", used[1]);
        po_put_int(ret, "used_seconds", used[2]);
        po_put_int(ret, "first_bead_seconds", heating(table));
        s = po_takes_weigh(store, &r, used[1], &mg, err);
    }
    if (s == PO_OK) {
        po_put(ret, "used_mg", mg >= 0 ? json_integer(mg) : json_null());
    }
    json_decref(kept);
    return s;
}

/* What was used by the body: length, and mass where the scale says it (else -1). */
static po_status read_figure(const json_t *b, const po_run_row *r, int64_t *ret_um, int64_t *ret_mg, po_err *err)
{
    const json_t *uses = json_object_get(b, "uses");
    const char *figure = po_field_text(b, "figure");
    *ret_mg = -1;
    if (strcmp(figure, "scale") == 0) {
        int64_t diameter = po_field_has(b, "diameter_um") ? po_field_int(b, "diameter_um") : r->diameter_um;
        int64_t density = po_field_has(b, "density_mg_cm3") ? po_field_int(b, "density_mg_cm3") : r->density_mg_cm3;
        if (!po_field_has(b, "used_mg") || po_field_has(b, "used_um") || diameter < 0 || density < 0) {
            return po_fail_at(err, PO_E_RANGE, "used_mg", 0, 0,
                              "a figure from the scale takes used_mg, diameter_um and density_mg_cm3, and no used_um");
        }
        *ret_mg = po_field_int(b, "used_mg");
        *ret_um = po_ledger_um(*ret_mg, diameter, density);
        return *ret_um >= 0
                   ? PO_OK
                   : po_fail_at(err, PO_E_RANGE, "used_mg", 0, 0, "no filament has such a diameter, density or mass");
    }
    if (po_field_has(b, "used_mg")) {
        return po_fail_at(err, PO_E_RANGE, "used_mg", 0, 0,
                          "a mass is a figure from the scale; give used_um, or figure scale");
    }
    *ret_um = 0;
    if (po_field_has(b, "used_um")) {
        *ret_um = po_field_int(b, "used_um");
    } else if (uses) {
        for (size_t i = 0; i < json_array_size(uses); i++) {
            *ret_um += po_field_int(json_array_get(uses, i), "um");
        }
    } else if (strcmp(figure, "proof") == 0) {
        *ret_um = r->um; /* as far as it came, or all of it */
    } else {
        return po_fail_at(err, PO_E_RANGE, "used_um", 0, 0, "used_um is missing: say what the counter says");
    }
    return PO_OK;
}

po_status po_apply_run_take_back(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    int64_t um = 0, mg = -1, all_mg = -1;
    po_run_row r = {0};
    po_status s = po_run_take(book, "out ended failed", &r, err);
    s = s == PO_OK ? read_figure(b, &r, &um, &mg, err) : s;
    int64_t ended = r.ended_ms >= 0 ? r.ended_ms : book->at_ms;
    s = s == PO_OK ? po_takes_settle(book, &r, um, mg, json_object_get(b, "uses"), ended, &all_mg, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "UPDATE runs SET last = ?1, state = 'back', back_ms = ?2, ended_ms = ?3, used_um = ?4, "
                          "used_mg = nullif(?5, -1), figure = ?6, condition = ?7, stick_there = nullif(?8, -1) WHERE "
                          "id = ?9",
                          "iiiiittii", book->event, book->at_ms, ended, um, all_mg, po_field_text(b, "figure"),
                          po_field_text(b, "condition"),
                          po_field_has(b, "stick_there") ? (int64_t)po_field_flag(b, "stick_there") : INT64_C(-1), r.id)
            : s;
    po_book_answer_text(book, "machine", r.machine);
    po_book_answer_int(book, "used_um", um);
    if (all_mg >= 0) {
        po_book_answer_int(book, "used_mg", all_mg);
    }
    return s == PO_OK ? po_run_settle(book, r.id, err) : s;
}

po_status po_apply_run_outcome(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    po_run_row r = {0};
    po_status s = po_run_take(book, "ended failed back", &r, err);
    if (s == PO_OK && r.has_outcome) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %lld has an outcome already; undo that act first",
                          (long long)r.id);
    }
    if (s == PO_OK && r.failed && book->answer &&
        strcmp(po_field_text(b, "outcome"), "good") == 0) { /* older programs let */
        return po_fail_at(
            err, PO_E_CONFLICT, "outcome", 0, 0,
            "run %lld failed by the book, so it came out failed or stopped; if it did not fail, undo that "
            "act first",
            (long long)r.id);
    }
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE runs SET last = ?1, outcome = ?2, cause = ?3, counts = ?4, rerun_first = ?5, "
                                 "symptom = coalesce(?6, "
                                 "symptom) WHERE id = ?7",
                                 "ittiiti", book->event, po_field_text(b, "outcome"), po_field_text(b, "cause"),
                                 (int64_t)po_field_flag(b, "counts"), (int64_t)po_field_flag(b, "rerun_first"),
                                 po_field_text(b, "symptom"), r.id)
                   : s;
    return s == PO_OK ? po_run_settle(book, r.id, err) : s;
}
