/* A run as its acts see it: found, split, its takes from spools. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_LEDGER_RUN_ROW_H
#define PO_LEDGER_RUN_ROW_H

#include "ledger/book.h"

typedef struct po_run_row {
    int64_t id, member, term; /* term 0: none */
    int64_t um, reserved_um;  /* um: by the last figure, used, failed or reserved */
    int64_t limit_um, out_ms; /* from here on -1: none */
    int64_t started_ms, watched_ms, ended_ms, off_ms, real_seconds;
    int64_t price_minor_kg, diameter_um, density_mg_cm3;
    char state[12], machine[72], sha256[72], fund[72], beyond[8], currency[72], member_number[72]; /* "": none */
    bool counts, has_outcome, failed;
} po_run_row;

/* PO_E_NOTFOUND: there is no such run. */
po_status po_run_find(po_store *store, int64_t id, po_run_row *ret, po_err *err) PO_MUST_USE;
/* The run that the body names, in one of the states ("out ended"), touched; else PO_E_CONFLICT with what to do first. */
po_status po_run_take(po_book *book, const char *states, po_run_row *ret, po_err *err) PO_MUST_USE;
bool po_run_is(const po_run_row *run, const char *states);

/* How much of um needs a waiver, and what is left of the term (INT64_MAX: there is none). */
po_status po_run_need(po_store *store, const po_run_row *run, int64_t um, int64_t *ret_need, int64_t *ret_left,
                      po_err *err) PO_MUST_USE;
/* What um cost at the run's price, in minor units, rounded half up; 0 without a price. PO_E_RANGE beyond 10 km. */
po_status po_run_minor(const po_run_row *run, int64_t um, int64_t *ret_minor, po_err *err) PO_MUST_USE;
/* Split anew what the run takes, by its last figure, between term, waivers, fund and money; its row was touched before. */
po_status po_run_settle(po_book *book, int64_t id, po_err *err) PO_MUST_USE;

/* The takes of a hand-out: from `uses`, or all um from `spool`; none where the body has neither. */
po_status po_takes_put(po_book *book, const po_run_row *run, po_err *err) PO_MUST_USE;
/* The takes come to um now: tool by tool as `uses` (may be NULL) says, else in proportion to what was promised. mg: on the
 * scale, -1: by length. Spools give what was used, but those that were weighed after ended_ms: the scale has seen it.
 * ret_mg: what it comes to, -1: not known. */
po_status po_takes_settle(po_book *book, const po_run_row *run, int64_t um, int64_t mg, const json_t *uses,
                          int64_t ended_ms, int64_t *ret_mg, po_err *err) PO_MUST_USE;
/* What um would come to in mass, shared over the takes as po_takes_settle shares it; nothing is written. ret_mg -1: not known. */
po_status po_takes_weigh(po_store *store, const po_run_row *run, int64_t um, int64_t *ret_mg, po_err *err) PO_MUST_USE;
/* When the run of the body stopped: `at`, else now; PO_E_CONFLICT for a time that is to come, or before the hand-out. */
po_status po_run_end_time(const po_book *book, const po_run_row *run, int64_t *ret_ms, po_err *err) PO_MUST_USE;
/* The material of the run's first spool; "" where the book knows none. */
po_status po_run_material(po_store *store, int64_t run, char out[72], po_err *err) PO_MUST_USE;

#endif
