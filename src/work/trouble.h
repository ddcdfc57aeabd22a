/* The search for a cause, with what the book knows: its symptom, the proof, the spool, the machine, what the shop has confirmed. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_TROUBLE_H
#define PO_WORK_TROUBLE_H

#include "proveout/why.h"
#include "work/work.h"

enum { WORK_FACTS_MOST = 64, WORK_SAID_MOST = 64 };

typedef struct work_trouble {
    const po_why *why;
    size_t facts[WORK_FACTS_MOST];
    po_why_said said[WORK_SAID_MOST];
    po_why_case search;         /* of those */
    const char *machine, *note; /* NULL: none; in the arena */
    int64_t trouble, run;       /* 0: not in the book, of no run */
    const json_t *row; /* the book's row; borrowed from answers that live as long as work_trouble_end is not called */
    json_t *answer;
} work_trouble;

/* The net with what the book has confirmed (w->ledger NULL: the tables alone).
 * Errors  work_ask's, po_why_new's */
po_status work_why_net(work_context *w, const po_why **ret, po_err *err) PO_MUST_USE;

/* A search that is not in the book: symptom by its id; machine and run (0: none) as far as they are known.
 * Errors  PO_E_NOTFOUND (where "symptom" with the nearest, "run"), work_ask's */
po_status work_trouble_new(work_context *w, const char *symptom, const char *machine, int64_t run, work_trouble *ret,
                           po_err *err) PO_MUST_USE;
/* One that is in the book, with its checks; names that the net does not know are passed over.
 * Errors  PO_E_NOTFOUND, work_ask's */
po_status work_trouble_read(work_context *w, int64_t trouble, work_trouble *ret, po_err *err) PO_MUST_USE;
void work_trouble_end(work_trouble *t);
/* Answer a check within this search. PO_E_NOTFOUND (where "check" or "answer", naming those there are), PO_E_CONFLICT (answered before). */
po_status work_trouble_say(work_context *w, work_trouble *t, const char *check, const char *answer,
                           po_err *err) PO_MUST_USE;

/* What to believe and what to look at next, "proveout/why/1" (docs/api.md): symptom, facts, said, beliefs, next, reasons, enough, remedy
 * of the first. The caller's. */
po_status work_trouble_view(work_context *w, const work_trouble *t, json_t **ret, po_err *err) PO_MUST_USE;

/* A sentence for each letter of cautions (why.h), with the usual reference to local codes; in the arena, "" for none. */
const char *work_why_caution(const work_context *w, const char *letters);
/* The nearest id of a list of ids, for messages. */
const char *work_why_nearest_symptom(const po_why *why, const char *word);

#endif
