/* What the verbs of why share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_WHY_H
#define PO_CLI_WHY_H

#include "desk.h"

/* "proveout/why/1" as words: what is known, what is likely and why, the next check or the remedy. */
void why_tell_view(const json_t *view);

#endif
