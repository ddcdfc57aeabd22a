/* care's verbs that look at runs one by one, and at parts. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_CARE_H
#define PO_CLI_CARE_H

#include <math.h>

#include "desk.h"

int care_run_chart(const cli_call *call);
int care_run_compare(const cli_call *call);
int care_run_life(const cli_call *call);
int care_run_due(const cli_call *call);
int care_run_done(const cli_call *call);
int care_run_log(const cli_call *call);

/* Each run of the book, the latest first. parameters: of the question "runs", borrowed. EXIT_CLEAR or a message printed. */
int care_each_run(desk *d, const json_t *parameters, void (*each)(void *user, const json_t *run), void *user);

/* A figure in JSON; null where there is none. */
static inline json_t *care_real(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

#endif
