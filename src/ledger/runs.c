/* Runs: a machine goes out, the run ends or fails, the machine comes back, the outcome is booked. SPDX-License-Identifier: Apache-2.0
 *
 * What a run takes is split at hand-out: what exceeds the allowance for one run, or what is left of the term, is drawn from
 * waivers; the rest is charged to the term. Every later figure (where it failed, what was really used, whether it counts)
 * settles the split anew: draws are given back first when less was needed; what was used beyond the proof is charged to the
 * term, which may then be overdrawn, because it has been used. */
#include <string.h>

#include "ledger/book.h"

typedef struct run_row {
    int64_t id, member, term, um, limit_um; /* term 0: none; limit_um -1: none */
    char state[8], machine[72];
    bool counts, has_outcome;
} run_row;

static void put(char *to, size_t room, const char *from)
{
    size_t n = strnlen(from, room - 1);
    memcpy(to, from, n);
    to[n] = 0;
}

static po_status find_run(po_store *store, int64_t id, run_row *ret, po_err *err)
{
    po_rows *rows = NULL;
    run_row r = {.id = id};
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT member, coalesce(term, 0), coalesce(used_um, failed_um, reserved_um), coalesce(run_limit_um, "
        "-1), state, machine, counts, outcome IS NOT NULL FROM runs WHERE id = ?1",
        "i", id);
    if (s != PO_OK) {
        return s;
    }
    bool found = po_rows_next(rows);
    if (found) {
        r.member = po_rows_int(rows, 0);
        r.term = po_rows_int(rows, 1);
        r.um = po_rows_int(rows, 2);
        r.limit_um = po_rows_int(rows, 3);
        put(r.state, sizeof r.state, po_rows_text(rows, 4));
        put(r.machine, sizeof r.machine, po_rows_text(rows, 5));
        r.counts = po_rows_int(rows, 6) != 0;
        r.has_outcome = po_rows_int(rows, 7) != 0;
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && !found) {
        return po_fail_at(err, PO_E_NOTFOUND, "run", 0, 0, "there is no run %lld", (long long)id);
    }
    *ret = r;
    return s;
}

/* How much of um needs a waiver, and what is left of the term (limit -1, term 0: none). */
static po_status needed(po_store *store, const run_row *r, int64_t um, int64_t *ret_need, int64_t *ret_left,
                        po_err *err)
{
    int64_t need = r->limit_um >= 0 && um > r->limit_um ? um - r->limit_um : 0, allowance = 0, charged = 0;
    *ret_left = INT64_MAX;
    po_status s = PO_OK;
    if (r->term) {
        s = po_store_number(store, &allowance, NULL, err, "SELECT allowance_um FROM terms WHERE id = ?1", "i", r->term);
        s = s == PO_OK ? po_term_charged(store, r->member, r->term, r->id, &charged, err) : s;
        int64_t left = allowance - charged, over = um - (left > 0 ? left : 0);
        *ret_left = left;
        need = over > need ? over : need;
    }
    *ret_need = need;
    return s;
}

/* Give back draws until they come to `target`: the last drawn first. */
static po_status shrink_draws(po_book *book, int64_t run, int64_t target, int64_t *ret_drawn, po_err *err)
{
    int64_t ids[64], ums[64], drawn = 0;
    int n = 0;
    po_rows *rows = NULL;
    po_status s = po_store_ask(book->store, &rows, err, "SELECT id, um FROM draws WHERE run = ?1 ORDER BY id DESC", "i",
                               run);
    if (s != PO_OK) {
        return s;
    }
    while (n < 64 && po_rows_next(rows)) {
        ids[n] = po_rows_int(rows, 0);
        ums[n] = po_rows_int(rows, 1);
        drawn += ums[n++];
    }
    s = po_rows_end(rows, err);
    for (int i = 0; s == PO_OK && i < n && drawn > target; i++) {
        int64_t back = ums[i] < drawn - target ? ums[i] : drawn - target;
        if (back > 0) {
            s = po_book_touch(book, PO_T_DRAWS, ids[i], err);
            s = s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE draws SET last = ?1, um = ?2 WHERE id = ?3",
                                         "iii", book->event, ums[i] - back, ids[i])
                           : s;
            drawn -= back;
        }
    }
    *ret_drawn = drawn;
    return s;
}

/* Split anew after the run's row has changed (it was touched before). */
static po_status settle(po_book *book, int64_t id, po_err *err)
{
    run_row r = {0};
    int64_t need = 0, left = 0, drawn = 0;
    po_status s = find_run(book->store, id, &r, err);
    int64_t um = r.counts ? r.um : 0;
    s = s == PO_OK ? needed(book->store, &r, um, &need, &left, err) : s;
    s = s == PO_OK ? shrink_draws(book, id, need, &drawn, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err, "UPDATE runs SET charge_um = ?1 WHERE id = ?2", "ii", um - drawn, id)
            : s;
    po_book_answer_int(book, "run", id);
    po_book_answer_int(book, "charged_um", um - drawn);
    po_book_answer_int(book, "waived_um", drawn);
    return s;
}

/* One of the permissions that the machine asks for. *ret_permit 0: none was asked for. */
static po_status find_permit(po_book *book, int64_t member, int64_t *ret_permit, po_err *err)
{
    const json_t *any = json_object_get(book->body, "any_of");
    po_status s = PO_OK;
    *ret_permit = 0;
    for (size_t i = 0; s == PO_OK && !*ret_permit && i < json_array_size(any); i++) {
        s = po_permit_held(book->store, member, json_string_value(json_array_get(any, i)), book->at_ms, ret_permit,
                           err);
    }
    if (s == PO_OK && any && !*ret_permit) {
        return po_fail_at(err, PO_E_CONFLICT, "any_of", 0, 0,
                          "member %s does not hold the permission %s that %s needs: it is granted "
                          "after training",
                          po_field_text(book->body, "member"), json_string_value(json_array_get(any, 0)),
                          po_field_text(book->body, "machine"));
    }
    return s;
}

static po_status machine_free(po_book *book, const char *machine, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(
        book->store, &rows, err,
        "SELECT runs.id, members.member FROM runs JOIN members ON members.id = runs.member WHERE machine = ?1 "
        "AND runs.state <> 'back'",
        "t", machine);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        s = po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0, "%s is out with member %s (run %lld); take it back first",
                       machine, po_rows_text(rows, 1), (long long)po_rows_int(rows, 0));
    }
    po_status end = po_rows_end(rows, s == PO_OK ? err : NULL);
    return s == PO_OK ? end : s;
}

po_status po_apply_run_hand_out(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *number = po_field_text(b, "member"), *sha256 = po_field_text(b, "sha256");
    int64_t um = po_field_int(b, "um"), permit = 0, need = 0, left = 0, waived = 0, allowance = 0, end = 0;
    run_row r = {.id = book->event, .limit_um = po_field_has(b, "run_limit_um") ? po_field_int(b, "run_limit_um") : -1};
    po_member m = {0};
    char x[32], y[32], z[32];
    po_status s = po_member_find(book->store, number, book->at_ms, &m, err);
    if (s == PO_OK && m.suspended) {
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0, "member %s is suspended (%s); member-resume ends it",
                          number, m.reason);
    }
    r.member = m.id;
    s = s == PO_OK ? find_permit(book, m.id, &permit, err) : s;
    s = s == PO_OK ? machine_free(book, po_field_text(b, "machine"), err) : s;
    s = s == PO_OK ? po_term_at(book->store, book->at_ms, &r.term, &allowance, &end, err) : s;
    s = s == PO_OK ? needed(book->store, &r, um, &need, &left, err) : s;
    if (s == PO_OK && need > 0) {
        s = po_waivers_left(book->store, m.id, sha256, book->at_ms, &waived, err);
        if (s == PO_OK && waived < need) {
            return r.term && um - (left > 0 ? left : 0) == need
                       ? po_fail_at(err, PO_E_CONFLICT, "um", 0, 0,
                                    "the job takes %s and %s are left of the term: a waiver of %s more would "
                                    "do",
                                    po_metres(x, um), po_metres(y, left > 0 ? left : 0), po_metres(z, need - waived))
                       : po_fail_at(err, PO_E_CONFLICT, "um", 0, 0,
                                    "the job takes %s and one run may take %s: a waiver of %s more would do",
                                    po_metres(x, um), po_metres(y, r.limit_um), po_metres(z, need - waived));
        }
    }
    if (s == PO_OK) {
        s = po_store_do(
            book->store, NULL, err,
            "INSERT INTO runs(id, last, member, term, permit, machine, stick, spool, sha256, purpose, by, state, "
            "out_ms, "
            "reserved_um, reserved_seconds, run_limit_um, counts, rerun_first, charge_um) VALUES(?1, ?1, ?2, "
            "nullif(?3, "
            "0), nullif(?4, 0), ?5, ?6, ?7, ?8, ?9, ?10, 'out', ?11, ?12, nullif(?13, -1), nullif(?14, -1), 1, 0, ?15)",
            "iiiittttttiiiii", book->event, m.id, r.term, permit, po_field_text(b, "machine"),
            po_field_text(b, "stick"), po_field_text(b, "spool"), sha256, po_field_text(b, "purpose"), book->by,
            book->at_ms, um, po_field_has(b, "seconds") ? po_field_int(b, "seconds") : INT64_C(-1), r.limit_um,
            um - need);
    }
    s = s == PO_OK ? po_book_made(book, PO_T_RUNS, book->event, err) : s;
    s = s == PO_OK && need > 0 ? po_waivers_draw(book, m.id, book->event, sha256, need, err) : s;
    po_book_answer_int(book, "run", book->event);
    po_book_answer_int(book, "charged_um", um - need);
    po_book_answer_int(book, "waived_um", need);
    return s;
}

/* The run of the body, touched. */
static po_status take_run(po_book *book, run_row *ret, po_err *err)
{
    po_status s = find_run(book->store, po_field_int(book->body, "run"), ret, err);
    return s == PO_OK ? po_book_touch(book, PO_T_RUNS, ret->id, err) : s;
}

po_status po_apply_run_ended(po_book *book, po_err *err)
{
    run_row r = {0};
    po_status s = take_run(book, &r, err);
    if (s == PO_OK && strcmp(r.state, "out") != 0) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %lld is %s already", (long long)r.id, r.state);
    }
    po_book_answer_int(book, "run", r.id);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE runs SET last = ?1, state = 'ended', ended_ms = ?2 WHERE id = ?3", "iii",
                                    book->event, book->at_ms, r.id)
                      : s;
}

/* y at x on the line through (x0, y0) and (x1, y1), x0 <= x <= x1, rounded half up; a value is at most 10^15. */
static int64_t between(int64_t x, int64_t x0, int64_t y0, int64_t x1, int64_t y1)
{
    __extension__ typedef __int128 wide;
    return x1 == x0 ? y1 : y0 + (int64_t)(((wide)(y1 - y0) * (x - x0) * 2 + (x1 - x0)) / (2 * (wide)(x1 - x0)));
}

/* Filament and seconds used until the run stopped: straight between the rows of by_height, from nothing at 0. */
static void used_until(const json_t *table, int by, int64_t at, int64_t *ret_um, int64_t *ret_seconds)
{
    int64_t row[3] = {0}, before[3] = {0};
    for (size_t i = 0; i < json_array_size(table); i++) {
        const json_t *cells = json_array_get(table, i);
        memcpy(before, row, sizeof row);
        for (size_t k = 0; k < 3; k++) {
            row[k] = json_integer_value(json_array_get(cells, k));
        }
        if (row[by] >= at) {
            *ret_um = between(at, before[by], before[1], row[by], row[1]);
            *ret_seconds = between(at, before[by], before[2], row[by], row[2]);
            return;
        }
    }
    *ret_um = row[1];
    *ret_seconds = row[2];
}

po_status po_apply_run_failed(po_book *book, po_err *err)
{
    const json_t *b = book->body, *table = json_object_get(b, "by_height");
    bool z = po_field_has(b, "z_um"), percent = po_field_has(b, "percent"), seconds = po_field_has(b, "seconds");
    run_row r = {0};
    int64_t um = 0, secs = 0, last[3];
    const json_t *end = json_array_get(table, json_array_size(table) - 1);
    for (size_t k = 0; k < 3; k++) {
        last[k] = json_integer_value(json_array_get(end, k));
    }
    if (z + percent + seconds != 1) {
        return po_fail_at(err, PO_E_RANGE, "z_um", 0, 0,
                          "say where it stopped in one way: a height, a percentage or a time");
    }
    int64_t at = z         ? po_field_int(b, "z_um")
                 : seconds ? po_field_int(b, "seconds")
                           : last[2] * po_field_int(b, "percent") / 100;
    if (percent && po_field_int(b, "percent") > 100) {
        return po_fail_at(err, PO_E_RANGE, "percent", 0, 0, "a percentage is at most 100");
    }
    if ((z && at > last[0]) || (seconds && at > last[2])) {
        return po_fail_at(err, PO_E_RANGE, z ? "z_um" : "seconds", 0, 0,
                          "the job ends before that: at %lld um after %lld seconds", (long long)last[0],
                          (long long)last[2]);
    }
    used_until(table, z ? 0 : 2, at, &um, &secs);
    po_status s = take_run(book, &r, err);
    if (s == PO_OK && strcmp(r.state, "out") != 0 && strcmp(r.state, "ended") != 0) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %lld is %s already", (long long)r.id, r.state);
    }
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE runs SET last = ?1, state = 'failed', ended_ms = ?2, failed_um = ?3, "
                                 "failed_seconds = ?4, symptom "
                                 "= ?5 WHERE id = ?6",
                                 "iiiiti", book->event, book->at_ms, um, secs, po_field_text(b, "symptom"), r.id)
                   : s;
    po_book_answer_int(book, "used_um", um);
    po_book_answer_int(book, "used_seconds", secs);
    return s == PO_OK ? settle(book, r.id, err) : s;
}

po_status po_apply_run_take_back(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *figure = po_field_text(b, "figure");
    bool scale = strcmp(figure, "scale") == 0;
    int64_t um = po_field_int(b, "used_um"), mg = -1;
    run_row r = {0};
    if (scale) {
        if (!po_field_has(b, "used_mg") || !po_field_has(b, "diameter_um") || !po_field_has(b, "density_mg_cm3") ||
            po_field_has(b, "used_um")) {
            return po_fail_at(err, PO_E_RANGE, "used_mg", 0, 0,
                              "a figure from the scale takes used_mg, diameter_um and density_mg_cm3, and no used_um");
        }
        mg = po_field_int(b, "used_mg");
        um = po_ledger_um(mg, po_field_int(b, "diameter_um"), po_field_int(b, "density_mg_cm3"));
        if (um < 0) {
            return po_fail_at(err, PO_E_RANGE, "used_mg", 0, 0, "no filament has such a diameter, density or mass");
        }
    } else if (!po_field_has(b, "used_um")) {
        return po_fail_at(err, PO_E_RANGE, "used_um", 0, 0, "used_um is missing");
    }
    po_status s = take_run(book, &r, err);
    if (s == PO_OK && strcmp(r.state, "back") == 0) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %lld was taken back already", (long long)r.id);
    }
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "UPDATE runs SET last = ?1, state = 'back', back_ms = ?2, used_um = ?3, used_mg = nullif(?4, "
                          "-1), figure = "
                          "?5, condition = ?6 WHERE id = ?7",
                          "iiiitti", book->event, book->at_ms, um, mg, figure, po_field_text(b, "condition"), r.id)
            : s;
    po_book_answer_text(book, "machine", r.machine);
    po_book_answer_int(book, "used_um", um);
    return s == PO_OK ? settle(book, r.id, err) : s;
}

po_status po_apply_run_outcome(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    run_row r = {0};
    po_status s = take_run(book, &r, err);
    if (s == PO_OK && strcmp(r.state, "out") == 0) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0,
                          "run %lld is still going; book first that it ended or failed", (long long)r.id);
    }
    if (s == PO_OK && r.has_outcome) {
        return po_fail_at(err, PO_E_CONFLICT, "run", 0, 0, "run %lld has an outcome already; undo that act first",
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
    return s == PO_OK ? settle(book, r.id, err) : s;
}
