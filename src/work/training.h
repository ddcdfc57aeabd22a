/* Training: papers drawn, shown without their answers, answered, marked, taught; permissions that follow by rule. SPDX-License-Identifier: Apache-2.0
 *
 * A paper shows its options in an order of its own under letters; answers go to the book by the numbers of the study's file. What is right, and why,
 * leaves here only once a paper is handed in. Marks are worked out here from the study; a study that was changed since the draw marks by what it is
 * now, and questions that are gone count as not answered. */
#ifndef PO_WORK_TRAINING_H
#define PO_WORK_TRAINING_H

#include "work/run_acts.h"
#include "work/studies.h"

enum { WORK_PAPER_GRACE_MS = 60000 }; /* an answer may come so late: lines are slow */

/* The act that draws a paper for a member. refresher: the shorter one. seed: by chance, of the caller.
 * Errors  PO_E_CONFLICT: one is open (where "paper"), the pause after a failed one is not over, a refresher without the permission; PO_E_NOTFOUND, work_ask's */
po_status work_paper_draw(work_context *w, const po_study *study, const char *member, bool refresher, uint64_t seed,
                          work_acts *ret, po_err *err) PO_MUST_USE;

/* "proveout/sitting/1" (docs/api.md): a paper as whoever sits it may see it; after it was handed in with marks, reasons and what is right. The caller's.
 * paper: the book's question of that name. */
po_status work_paper_show(work_context *w, const po_study *study, const json_t *paper, json_t **ret,
                          po_err *err) PO_MUST_USE;

/* The act of one answer, given as it is shown: "b", "a,c", "c,a,b", "40.5", "512,300".
 * Errors  PO_E_RANGE (where "answer": what would be one), PO_E_NOTFOUND (where "question"), PO_E_CONFLICT (it is handed in; the time is over) */
po_status work_paper_answer(work_context *w, const po_study *study, const json_t *paper, const char *question,
                            const char *answer, work_acts *ret, po_err *err) PO_MUST_USE;
/* The acts of handing in: marks, and the permission where all else is there. PO_E_CONFLICT: it is no more open. */
po_status work_paper_hand_in(work_context *w, const po_study *study, const json_t *paper, work_acts *ret,
                             po_err *err) PO_MUST_USE;
/* The acts of an answer to a question that is taught again; *ret_right: it is right now (else there are no acts). Errors as work_paper_answer's. */
po_status work_paper_teach(work_context *w, const po_study *study, const json_t *paper, const char *question,
                           const char *answer, bool *ret_right, work_acts *ret, po_err *err) PO_MUST_USE;
/* The acts of a step that was seen: it is signed, and the permission where all else is there.
 * Errors  PO_E_NOTFOUND (where "step"), work_ask's */
po_status work_practice_sign(work_context *w, const po_study *study, const char *member, const char *step,
                             const char *machine, const char *seen_by, const char *note, work_acts *ret,
                             po_err *err) PO_MUST_USE;

/* "proveout/signoff/1": whose paper is passed and whose steps are not all signed: member, name, study, passed_ms, steps (left), signed. The caller's. */
po_status work_signoff_waiting(work_context *w, const work_studies *studies, json_t **ret, po_err *err) PO_MUST_USE;
/* "proveout/unused/1": holders of a permission who have taken out no machine that needs it for as long as the shop file says. The caller's. */
po_status work_permits_unused(work_context *w, json_t **ret, po_err *err) PO_MUST_USE;
/* today["signoff"]: how many wait, by study; and today["unused"]. */
po_status work_training_today(work_context *w, const work_studies *studies, json_t *today, po_err *err) PO_MUST_USE;

#endif
