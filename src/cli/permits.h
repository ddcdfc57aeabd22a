/* How long permissions hold by the shop file. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_PERMITS_H
#define PO_CLI_PERMITS_H

#include "desk.h"

/* Until when a permission that is granted now holds, in ms of UTC; -1: without end. One that lapses with the term: to the end of the
 * shop's term that is on or comes next; one that lapses after months: to the end of that day. Both: whichever is first. */
int64_t permit_until(const desk *d, const po_permission *permission);

#endif
