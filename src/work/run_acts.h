/* What acts of a run share: a message to its member, a place of the shelf, what an outcome counts. SPDX-License-Identifier: Apache-2.0
 *
 * All of it follows from the shop file and the book, so that the command line and the server put the same into an act. */
#ifndef PO_WORK_RUN_ACTS_H
#define PO_WORK_RUN_ACTS_H

#include "work/work.h"

enum { WORK_ACTS_MOST = 8 };

/* Acts in the order in which they are booked, all or none (po_ledger_act_all). Names are static; bodies are the owner's. */
typedef struct work_acts {
    size_t n;
    const char *names[WORK_ACTS_MOST];
    json_t *bodies[WORK_ACTS_MOST];
} work_acts;
/* One more, with "run" in its body; the body, which stays the list's. NULL: memory is gone, or there are too many. */
json_t *work_acts_add(work_acts *acts, const char *name, int64_t run);
void work_acts_done(work_acts *acts);

/* The shop's text of that kind about a run (the book's question "run", or a row of it), filled. place, until_ms: 0: none.
 * NULL: the shop sends nothing. In the context's arena. */
const char *work_run_message(const work_context *w, po_text_kind kind, const json_t *run, int64_t place,
                             int64_t until_ms);

/* When a part that goes to the shelf now is kept no longer: the end of the day after the shop's days; 0: not known here. */
int64_t work_kept_until(const work_context *w);

/* "place" and "kept_until" of a body, where it has none: the next free place, the shop's days. What holds then is handed back.
 * Errors  PO_E_CONFLICT (where "place": all are taken), PO_E_RANGE (where "place": the shelf has no such place), work_ask's */
po_status work_shelf_place(work_context *w, json_t *body, int64_t *ret_place, int64_t *ret_until_ms,
                           po_err *err) PO_MUST_USE;

/* "cause", "counts" and "rerun_first" of an outcome's body, where it has none: by the shop's rules for its cause. */
void work_outcome_counts(const po_shop *shop, json_t *body);

#endif
