/* Statistics of a study's questions from the papers in the book. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_TRAINING_ITEMS_H
#define PO_WORK_TRAINING_ITEMS_H

#include "proveout/items.h"
#include "work/studies.h"

struct work_items {
    po_items all;         /* its items by the study's questions */
    po_item_model *model; /* as many */
    bool fitted;          /* false: too few papers for any, or the fit did not settle */
    size_t lost;          /* answers to questions that the study has no more */
};
typedef struct work_items work_items;

/* Full papers that were handed in and are not void (refreshers are sat by others, who know more; imports have no questions). arena owns all.
 * Errors  those of po_ledger_scan_papers, po_items_of; PO_E_NOTFOUND: there is no such paper. */
po_status work_training_items(work_context *w, const po_study *study, po_arena *arena, work_items *ret,
                              po_err *err) PO_MUST_USE;

#endif
