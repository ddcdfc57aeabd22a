/* A term's report for people. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_TERM_PRINT_H
#define PO_CLI_TERM_PRINT_H

#include "desk.h"

void term_print(const desk *d, const json_t *report);
/* How many things are open before a term can be closed; told one by one with what to do. weighed_days: as it was asked. */
size_t term_count_open(const json_t *report);
size_t term_print_open(const desk *d, const json_t *report, int weighed_days);

#endif
