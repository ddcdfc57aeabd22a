/* A run on its machine: started, watched, ended, its part taken off. SPDX-License-Identifier: Apache-2.0
 *
 * The start check is there to be done, not to stand in the way later: people forget to book it, and a run that was never
 * started by the book can be watched, end and fail all the same. */
#include <string.h>

#include "ledger/run_row.h"

/* Each point of the start check, and what to do where it is not so. */
static const struct {
    const char *field, *says;
} points[] = {
    {"heated", "it is not at its temperature yet: wait until it is; nozzle and bed are hot, keep hands away"},
    {"stream_steady",
     "the filament does not come steadily: see to spool and nozzle first; the nozzle is hot, do not touch it"},
    {"bed_clean", "the bed is not clean: clean it as its maker says; it may be hot, let it cool first"},
    {"gap_good",
     "the gap of the first layer is not good: set it and check it; the nozzle may be hot and the axes move"},
    {"spool_right",
     "it is not the right spool: change it and push the old filament out; the nozzle is hot, keep hands away"},
};

po_status po_apply_run_start(po_book *book, po_err *err)
{
    po_run_row r = {0};
    po_status s = po_run_take(book, "out", &r, err);
    if (s == PO_OK && r.started_ms >= 0) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %lld was started already; go on with the watch",
                          (long long)r.id);
    }
    for (size_t i = 0; s == PO_OK && i < sizeof points / sizeof points[0]; i++) {
        if (!po_field_flag(book->body, points[i].field)) {
            return po_fail_at(err, PO_E_CONFLICT, points[i].field, 0, 0, "%.20s: %s", r.machine, points[i].says);
        }
    }
    po_book_answer_int(book, "run", r.id);
    po_book_answer_text(book, "machine", r.machine);
    return s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE runs SET last = ?1, started_ms = ?2 WHERE id = ?3",
                                    "iii", book->event, book->at_ms, r.id)
                      : s;
}

po_status po_apply_run_watched(po_book *book, po_err *err)
{
    const char *seen_by = po_field_text(book->body, "seen_by"), *layer = po_field_text(book->body, "first_layer");
    po_role role = PO_ROLE_NONE;
    po_run_row r = {0};
    po_status s = po_run_take(book, "out ended failed", &r, err);
    if (s == PO_OK && r.watched_ms >= 0) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                          "the watch of run %lld was booked already; undo that act if it is wrong", (long long)r.id);
    }
    if (s == PO_OK && seen_by) {
        s = po_role_of(book->store, seen_by, book->at_ms, &role, err);
        if (s == PO_OK && role == PO_ROLE_NONE) {
            return po_fail_at(err, PO_E_NOTFOUND, "seen_by", 0, 0, "%.60s is no member; name who saw the first layer",
                              seen_by);
        }
    }
    po_book_answer_int(book, "run", r.id);
    po_book_answer_text(book, "first_layer", layer);
    return s == PO_OK
               ? po_store_do(book->store, NULL, err,
                             "UPDATE runs SET last = ?1, watched_ms = ?2, first_layer = ?3, seen_by = ?4 WHERE id = ?5",
                             "iitti", book->event, book->at_ms, layer, seen_by ? seen_by : book->by, r.id)
               : s;
}

po_status po_run_end_time(const po_book *book, const po_run_row *r, int64_t *ret_ms, po_err *err)
{
    int64_t at = po_field_has(book->body, "at") ? po_field_int(book->body, "at") : book->at_ms;
    if (at > book->at_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "at", 0, 0, "that is still to come: say when it stopped, now or earlier");
    }
    if (at < r->out_ms || at < r->started_ms) {
        return po_fail_at(err, PO_E_CONFLICT, "at", 0, 0, "run %lld %s only after that: say when it stopped",
                          (long long)r->id, at < r->out_ms ? "was handed out" : "was started");
    }
    *ret_ms = at;
    return PO_OK;
}

po_status po_apply_run_ended(po_book *book, po_err *err)
{
    const char *message = po_field_text(book->body, "message");
    int64_t at = 0, seconds = -1;
    po_run_row r = {0};
    po_status s = po_run_take(book, "out", &r, err);
    s = s == PO_OK ? po_run_end_time(book, &r, &at, err) : s;
    if (po_field_has(book->body, "seconds")) { /* no other clock knows it: an act is often booked long after the end */
        seconds = po_field_int(book->body, "seconds");
    }
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "UPDATE runs SET last = ?1, state = 'ended', ended_ms = ?2, real_seconds = nullif(?3, -1) "
                          "WHERE id = ?4",
                          "iiii", book->event, at, seconds, r.id)
            : s;
    po_book_answer_int(book, "run", r.id);
    po_book_answer_text(book, "machine", r.machine);
    if (seconds >= 0) {
        po_book_answer_int(book, "real_seconds", seconds);
    }
    return s == PO_OK && message ? po_message_put(book, r.member, "done", message, r.id, err) : s;
}

po_status po_apply_run_off(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *to = po_field_text(b, "to"), *message = po_field_text(b, "message");
    int64_t mg = po_field_int(b, "recycled_mg"), place = po_field_int(b, "place");
    bool shelf = strcmp(to, "shelf") == 0;
    char material[72] = "";
    po_run_row r = {0};
    if (!shelf && (place || po_field_has(b, "kept_until"))) {
        return po_fail_at(err, PO_E_RANGE, place ? "place" : "kept_until", 0, 0,
                          "a part that is not on the shelf has no place and no time there; leave them out");
    }
    po_status s = po_run_take(book, "ended failed back", &r, err);
    s = s == PO_OK ? po_mass_holds("recycled_mg", mg, err) : s;
    if (s == PO_OK && r.off_ms >= 0) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "the part of run %lld is off the bed already",
                          (long long)r.id);
    }
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err, "UPDATE runs SET last = ?1, off_ms = ?2, off_to = ?3 WHERE id = ?4",
                          "iiti", book->event, book->at_ms, to, r.id)
            : s;
    s = s == PO_OK ? po_part_off(book, r.id, to, place, po_field_int(b, "kept_until"), err) : s;
    if (s == PO_OK && mg > 0) {
        s = po_run_material(book->store, r.id, material, err);
        if (s == PO_OK && !material[0]) {
            return po_fail_at(
                err, PO_E_CONFLICT, "recycled_mg", 0, 0,
                "the book knows no spool of run %lld, so no material: leave the weight out, and spool waste books it",
                (long long)r.id);
        }
        /* what is thrown away of a good part are its aids */
        const char *kind = !r.failed && strcmp(to, "waste") != 0 ? "aids" : "failed";
        s = s == PO_OK ? po_waste_put(book, material, mg, kind, NULL, r.id, err) : s;
    }
    po_book_answer_int(book, "run", r.id);
    po_book_answer_text(book, "machine", r.machine);
    return s == PO_OK && message ? po_message_put(book, r.member, "collect", message, r.id, err) : s;
}
