/* What the files of training share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_TRAINING_INSIDE_H
#define PO_WORK_TRAINING_INSIDE_H

#include "work/training.h"

/* One more act; the body is taken over. NULL: memory is gone, or there are too many. */
json_t *work_training_act(work_acts *acts, const char *name, json_t *body);
/* Add the permission where all else is there: the paper counts as passed (paper: this one will, when the acts are booked; 0: whichever is the latest),
 * and every step is signed (step: this one will be; NULL: none). A refresher's permission is granted anew. */
po_status work_training_grant(work_context *w, const po_study *study, const char *member, int64_t paper,
                              const char *step, work_acts *acts, po_err *err) PO_MUST_USE;

/* Letters of a paper's own order to the file's numbers and back; in the arena. */
bool work_answer_from_shown(work_context *w, const po_question *q, uint64_t seed, const char *shown, const char **ret);
const char *work_answer_as_shown(work_context *w, const po_question *q, uint64_t seed, const char *answer);

#endif
