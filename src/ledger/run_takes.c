/* What a run takes from which spool, tool by tool. SPDX-License-Identifier: Apache-2.0
 *
 * A hand-out says what each tool will take; nothing comes off a spool before the run has failed or is back. Then the takes come
 * to what was used: in proportion to what was promised, whole micrometres, what is left over on the last; or as was said tool
 * by tool. A later figure changes the spools by the difference. */
#include <stdio.h>
#include <string.h>

#include "ledger/run_row.h"

enum { TAKES_MOST = 8 }; /* tools go from 0 to 7 */
__extension__ typedef __int128 wide;

typedef struct take {
    int64_t id, tool, spool, promised_um, um, mg, booked_mg; /* spool 0: none; mg -1: not known */
    int64_t diameter_um, density_mg_cm3, weighed_ms;         /* of the spool, else of the run; -1: not known, never */
} take;

/* Where time stands (a clock that was set back), a weighing that follows on the run's end counts as after it: by the events'
 * numbers, for what came last to the run was its end, or later. */
static po_status load(po_store *store, const po_run_row *run, take takes[TAKES_MOST], int *ret_n, po_err *err)
{
    po_rows *rows = NULL;
    int n = 0;
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT t.id, t.tool, coalesce(t.spool, 0), t.promised_um, t.um, t.mg, t.booked_mg, "
        "coalesce(s.diameter_um, ?2), coalesce(s.density_mg_cm3, ?3), coalesce(s.weighed_ms, -1) + EXISTS(SELECT 1 "
        "FROM weighings w JOIN runs r ON r.id = t.run WHERE w.spool = s.id AND w.at_ms = r.ended_ms AND w.id > r.last) "
        "FROM takes t LEFT JOIN spools s ON s.id = t.spool WHERE t.run = ?1 ORDER BY t.tool",
        "iii", run->id, run->diameter_um, run->density_mg_cm3);
    if (s != PO_OK) {
        return s;
    }
    while (n < TAKES_MOST && po_rows_next(rows)) {
        int64_t v[10];
        for (int c = 0; c < 10; c++) {
            v[c] = po_rows_int(rows, c);
        }
        takes[n++] = (take){v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8], v[9]};
    }
    *ret_n = n;
    return po_rows_end(rows, err);
}

/* Milligrams of a take by its length; -1 where nobody knows the filament. */
static po_status weigh(take *t, po_err *err)
{
    bool known = t->diameter_um > 0 && t->density_mg_cm3 > 0;
    t->mg = known ? po_ledger_mg(t->um, t->diameter_um, t->density_mg_cm3) : -1;
    return known && t->mg < 0 ? po_fail_at(err, PO_E_RANGE, "um", 0, 0, "a run takes at most 10 km from a spool")
                              : PO_OK;
}

static po_status insert(po_book *book, int64_t run, take *t, po_err *err)
{
    po_status s = po_book_next_id(book, PO_T_TAKES, &t->id, err);
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "INSERT INTO takes(id, last, run, tool, spool, promised_um, um, mg, booked_mg) VALUES(?1, "
                          "?2, ?3, ?4, nullif(?5, 0), ?6, ?7, ?8, ?9)",
                          "iiiiiiiii", t->id, book->event, run, t->tool, t->spool, t->promised_um, t->um,
                          t->mg < 0 ? INT64_C(0) : t->mg, t->booked_mg)
            : s;
    return s == PO_OK ? po_book_made(book, PO_T_TAKES, t->id, err) : s;
}

/* A spool by name, fit to be taken from. */
static po_status good_spool(po_book *book, const char *name, take *t, bool must_be_ready, po_err *err)
{
    po_spool sp = {0};
    po_status s = po_unless_old(book, po_spool_find(book->store, name, &sp, err));
    if (s == PO_OK && must_be_ready && strcmp(sp.state, "empty") == 0) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0,
                          "the spool %s is used up; take another, or weigh it if it is not", name);
    }
    if (s == PO_OK && must_be_ready && strcmp(sp.state, "drying") == 0) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0,
                          "the spool %s is in the dryer; take another, or book that it is dried", name);
    }
    if (s == PO_OK && sp.id) {
        t->spool = sp.id;
        t->diameter_um = sp.diameter_um;
        t->density_mg_cm3 = sp.density_mg_cm3;
        t->weighed_ms = sp.weighed_ms;
    }
    return s;
}

static int64_t sum_of(const json_t *uses)
{
    int64_t sum = 0; /* at most 8 counts */
    for (size_t i = 0; i < json_array_size(uses); i++) {
        sum += po_field_int(json_array_get(uses, i), "um");
    }
    return sum;
}

static po_status adds_up(const json_t *uses, int64_t um, po_err *err)
{
    char x[32], y[32];
    return sum_of(uses) == um ? PO_OK
                              : po_fail_at(err, PO_E_RANGE, "uses", 0, 0,
                                           "the tools come to %s and the whole to %s: they must be the same",
                                           po_metres(x, sum_of(uses)), po_metres(y, um));
}

po_status po_takes_put(po_book *book, const po_run_row *run, po_err *err)
{
    const json_t *uses = json_object_get(book->body, "uses");
    const char *spool = po_field_text(book->body, "spool");
    size_t n = uses ? json_array_size(uses) : spool ? 1 : 0;
    po_status s = uses ? adds_up(uses, run->um, err) : PO_OK;
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        const json_t *use = json_array_get(uses, i); /* NULL: all from one spool */
        const char *name = use && po_field_text(use, "spool") ? po_field_text(use, "spool") : spool;
        take t = {.tool = po_field_int(use, "tool"),
                  .um = use ? po_field_int(use, "um") : run->um,
                  .diameter_um = run->diameter_um,
                  .density_mg_cm3 = run->density_mg_cm3};
        t.promised_um = t.um;
        s = name ? good_spool(book, name, &t, true, err) : PO_OK;
        s = s == PO_OK ? weigh(&t, err) : s;
        s = s == PO_OK ? insert(book, run->id, &t, err) : s;
    }
    return s;
}

/* Shares of a whole in proportion to weights; without any weight all is on the last. */
static void share(int64_t whole, const int64_t *weights, int n, int64_t *shares)
{
    int64_t total = 0, left = whole;
    for (int i = 0; i < n; i++) {
        total += weights[i];
    }
    for (int i = 0; i < n; i++) {
        shares[i] = i == n - 1 ? left : total ? (int64_t)((wide)whole * weights[i] / total) : 0;
        left -= shares[i];
    }
}

/* Does the spool's own figure hold already what the run used? */
static bool scale_has_seen(const take *t, int64_t ended_ms)
{
    return t->weighed_ms > ended_ms;
}

/* The spool of a take is another one than was thought: it gets its own back. */
static po_status change_spool(po_book *book, take *t, const char *name, int64_t ended_ms, po_err *err)
{
    take other = *t;
    po_status s = good_spool(book, name, &other, false, err);
    if (s != PO_OK || other.spool == t->spool) {
        return s;
    }
    if (t->spool && t->booked_mg && !scale_has_seen(t, ended_ms)) {
        s = po_spool_take(book, t->spool, -t->booked_mg, err);
    }
    *t = other;
    t->booked_mg = 0;
    return s;
}

/* Tool by tool, as was said. A tool that was not promised anything comes on as a row of its own. */
static po_status by_uses(po_book *book, const po_run_row *run, take *takes, int *n, const json_t *uses,
                         int64_t ended_ms, po_err *err)
{
    po_status s = PO_OK;
    for (int i = 0; i < *n; i++) {
        takes[i].um = 0;
    }
    for (size_t i = 0; s == PO_OK && i < json_array_size(uses); i++) {
        const json_t *use = json_array_get(uses, i);
        const char *name = po_field_text(use, "spool");
        int at = 0;
        while (at < *n && takes[at].tool != po_field_int(use, "tool")) {
            at++;
        }
        if (at == *n) { /* tools are from 0 to 7 and each has one row, so that there is room */
            takes[(*n)++] = (take){.tool = po_field_int(use, "tool"),
                                   .diameter_um = run->diameter_um,
                                   .density_mg_cm3 = run->density_mg_cm3,
                                   .weighed_ms = -1};
        }
        takes[at].um = po_field_int(use, "um");
        s = name ? change_spool(book, &takes[at], name, ended_ms, err) : PO_OK;
    }
    return s;
}

static po_status keep(po_book *book, int64_t run, take *t, int64_t ended_ms, po_err *err)
{
    int64_t mg = t->mg < 0 ? 0 : t->mg, more = t->spool ? mg - t->booked_mg : 0;
    po_status s = more && !scale_has_seen(t, ended_ms) ? po_spool_take(book, t->spool, more, err) : PO_OK;
    t->booked_mg += more;
    if (s != PO_OK || !t->id) {
        return s == PO_OK ? insert(book, run, t, err) : s;
    }
    s = po_book_touch(book, PO_T_TAKES, t->id, err);
    return s == PO_OK
               ? po_store_do(book->store, NULL, err,
                             "UPDATE takes SET last = ?1, spool = nullif(?2, 0), um = ?3, mg = ?4, booked_mg = ?5 "
                             "WHERE id = ?6",
                             "iiiiii", book->event, t->spool, t->um, mg, t->booked_mg, t->id)
               : s;
}

po_status po_takes_settle(po_book *book, const po_run_row *run, int64_t um, int64_t mg, const json_t *uses,
                          int64_t ended_ms, int64_t *ret_mg, po_err *err)
{
    take takes[TAKES_MOST];
    int64_t weights[TAKES_MOST] = {0}, shares[TAKES_MOST], sum = 0;
    int n = 0;
    po_status s = uses ? adds_up(uses, um, err) : PO_OK;
    s = s == PO_OK ? load(book->store, run, takes, &n, err) : s;
    if (s != PO_OK) {
        return s;
    }
    if (uses) {
        s = by_uses(book, run, takes, &n, uses, ended_ms, err);
    } else {
        for (int i = 0; i < n; i++) {
            weights[i] = takes[i].promised_um;
        }
        share(um, weights, n, shares);
        for (int i = 0; i < n; i++) {
            takes[i].um = shares[i];
        }
    }
    bool known = n > 0;
    for (int i = 0; s == PO_OK && i < n; i++) {
        s = weigh(&takes[i], err);
        weights[i] = takes[i].mg < 0 ? 0 : takes[i].mg;
    }
    if (s == PO_OK && mg >= 0) { /* the scale knows better than lengths */
        share(mg, weights, n, shares);
        for (int i = 0; i < n; i++) {
            takes[i].mg = shares[i];
        }
    }
    for (int i = 0; s == PO_OK && i < n; i++) {
        known = known && takes[i].mg >= 0;
        sum += known ? takes[i].mg : 0;
        s = keep(book, run->id, &takes[i], ended_ms, err);
    }
    *ret_mg = mg >= 0 ? mg : known ? sum : n == 0 ? po_ledger_mg(um, run->diameter_um, run->density_mg_cm3) : -1;
    return s;
}

po_status po_takes_weigh(po_store *store, const po_run_row *run, int64_t um, int64_t *ret_mg, po_err *err)
{
    take takes[TAKES_MOST];
    int64_t weights[TAKES_MOST] = {0}, shares[TAKES_MOST], sum = 0;
    int n = 0;
    po_status s = load(store, run, takes, &n, err);
    for (int i = 0; s == PO_OK && i < n; i++) {
        weights[i] = takes[i].promised_um;
    }
    if (s == PO_OK) {
        share(um, weights, n, shares);
    }
    bool known = true;
    for (int i = 0; s == PO_OK && i < n; i++) {
        takes[i].um = shares[i];
        s = weigh(&takes[i], err);
        known = known && takes[i].mg >= 0;
        sum += known ? takes[i].mg : 0;
    }
    *ret_mg = n == 0 ? po_ledger_mg(um, run->diameter_um, run->density_mg_cm3) : known ? sum : -1;
    return s;
}

po_status po_run_material(po_store *store, int64_t run, char out[72], po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT s.material FROM takes t JOIN spools s ON s.id = t.spool WHERE t.run = ?1 ORDER BY "
        "t.tool LIMIT 1",
        "i", run);
    if (s != PO_OK) {
        return s;
    }
    snprintf(out, 72, "%s", po_rows_next(rows) ? po_rows_word(rows, 0) : "");
    return po_rows_end(rows, err);
}
