/* What proof and book know of a trouble before anybody looks. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_TROUBLE_FACTS_H
#define PO_WORK_TROUBLE_FACTS_H

#include "work/trouble.h"

/* Facts of the net that hold, each once. machine: *machine may be NULL and is then the run's, in the arena.
 * Errors  PO_E_NOTFOUND where "run", work_ask's */
po_status work_trouble_facts(work_context *w, const po_why *why, const char **machine, int64_t run,
                             size_t facts[WORK_FACTS_MOST], size_t *ret_n, po_err *err) PO_MUST_USE;

#endif
