/* The book read through for statistics: runs and papers row by row, without JSON. SPDX-License-Identifier: Apache-2.0
 *
 * For what needs all of ten years: shares of failures, trends, the statistics of questions. Texts in a row are borrowed until the
 * callback returns. The callback must not use the ledger. */
#ifndef PROVEOUT_SCAN_H
#define PROVEOUT_SCAN_H

#include "proveout/ledger.h"

#ifdef __cplusplus
extern "C" {
#endif

/* A run that used a machine: ended, failed, or back. -1 and NULL: not known. */
typedef struct po_run_seen {
    int64_t run, member;                     /* member: which one, by a number of this book alone */
    int64_t out_ms, ended_ms;                /* handed out; ended, or back */
    int64_t seconds, um;                     /* by a clock or, else, as proved; by the last figure */
    const char *machine, *recipe, *material; /* material: of its first spool */
    const char *outcome;                     /* good, failed, stopped, not-collected */
    const char *cause, *symptom, *first_layer;
} po_run_seen;
/* false stops: PO_E_CANCELLED. */
typedef bool po_run_look(const po_run_seen *run, void *user);

/* Every such run that was handed out from from_ms to before until_ms, by that time.
 * Errors: PO_E_CANCELLED, PO_E_IO, PO_E_NOMEM. */
PO_API po_status po_ledger_scan_runs(po_ledger *ledger, int64_t from_ms, int64_t until_ms, po_run_look *look,
                                     void *user, po_err *err) PO_MUST_USE;

/* A paper that was drawn here and handed in. Lists are lines of one text, as many as there are questions. */
typedef struct po_paper_seen {
    int64_t paper, member, drawn_ms, handed_ms;
    bool refresher, met, passed;
    const char *questions; /* ids, one on a line */
    const char *marks;     /* of each one letter: r right, w wrong, - not answered */
    const char *answers;   /* one on a line, empty: none */
} po_paper_seen;
typedef bool po_paper_look(const po_paper_seen *paper, void *user);

/* Every such paper of a study that is not void, in the order in which they were drawn. Errors as above. */
PO_API po_status po_ledger_scan_papers(po_ledger *ledger, const char *study, po_paper_look *look, void *user,
                                       po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif

#endif
