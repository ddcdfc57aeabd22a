/* The net of causes, inside. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CARE_WHY_INSIDE_H
#define PO_CARE_WHY_INSIDE_H

#include "proveout/why.h"

struct po_why {
    size_t n_symptoms, n_causes, n_checks, n_facts;
    const po_why_symptom *symptoms;
    const po_why_cause *causes;
    po_why_check *checks;
    const po_why_fact *facts;
    double *prior;  /* symptom by cause, the last "something else"; each row sums to 1 */
    double *odds;   /* check by cause (the last: something else) by answer; each row sums to 1 */
    double *factor; /* fact by cause */
};

static inline double *po_why_odds_at(const po_why *w, size_t check, size_t cause)
{
    return w->odds + (check * (w->n_causes + 1) + cause) * PO_WHY_ANSWERS_MOST;
}

#endif
