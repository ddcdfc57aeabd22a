/* A machine comes back: which run it is, what is proposed, and the acts. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_TAKE_BACK_H
#define PO_WORK_TAKE_BACK_H

#include "work/failure.h"

/* The run that is back, by its number, its machine or its stick; what else is named has to agree.
 * run      0: not named; machine, stick: NULL: not named. One of the three at least
 * ret_run  the book's question "run"; the caller's
 * Errors   PO_E_CONFLICT (where "machine" or "stick") with a sentence; PO_E_RANGE (where "run": nothing was named); work_ask's */
po_status work_back_run(work_context *w, int64_t run, const char *machine, const char *stick, json_t **ret_run,
                        po_err *err) PO_MUST_USE;
/* Whether the stick agrees with the run (NULL: it does). PO_E_CONFLICT, where "stick". */
po_status work_back_same_stick(const json_t *run, const char *stick, po_err *err) PO_MUST_USE;

/* What came back, as it is said at the desk. */
typedef struct work_back {
    work_failure
        how; /* symptom, cause, counts ..., to, place, kept_until_ms, recycled_mg, message; `back` is not looked at */
    const char *outcome;   /* good, failed, stopped; NULL: it stays open */
    const char *figure;    /* proof, counter, scale; NULL: proof */
    int64_t used_um;       /* with counter, or as reckoned at the desk; -1: the proof's */
    int64_t used_mg;       /* with scale; -1 */
    int stick_there;       /* 1, 0; -1: not said */
    const char *condition; /* NULL: nothing to say */
} work_back;
#define WORK_BACK_INIT                                                                                                 \
    {                                                                                                                  \
        .how = WORK_FAILURE_INIT, .used_um = -1, .used_mg = -1, .stick_there = -1                                      \
    }

/* What to confirm, as one object (format "proveout/take-back/1", docs/api.md): the run, whether its part is still on the bed, place and
 * day of the shelf, when the bed is cool, the message, symptoms with their usual causes. Nothing is booked. The caller's.
 * Errors  PO_E_CONFLICT (where "run": it is not on a machine any more), work_ask's. A full shelf is no error: place null */
po_status work_back_propose(work_context *w, const json_t *run, json_t **ret, po_err *err) PO_MUST_USE;

/* The acts of what was said, in the order in which it happens: run-ended (or run-failed), run-off, run-take-back, run-outcome.
 * ret: the caller's to work_acts_done, after an error too.
 * Errors  work_shelf_place's, work_failure_acts'; PO_E_RANGE (where "outcome", "figure") */
po_status work_back_acts(work_context *w, const json_t *run, const work_back *said, work_acts *ret,
                         po_err *err) PO_MUST_USE;

#endif
