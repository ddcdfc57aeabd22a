/* What concerns one member: their runs, where they are, when to collect, what is left. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_MINE_H
#define PO_WORK_MINE_H

#include "work/due.h"

enum { WORK_MINE_RUNS = 40 }; /* the latest runs that are told */

/* A member's own view (docs/api.md, "mine"): balance, permissions, a ticket that waits, the latest runs. Each run says where it is
 * ("where": reserved, handed-out, prints, on-bed, shelf, collected, waste, dropped) and, where there is something to
 * collect, from when on: not before the whole range of its end has passed and, where that can be told, the bed is cool, and when somebody is at the desk. Nothing of anybody
 * else is in it. The answer is the caller's.
 * Errors  PO_E_NOTFOUND (no such member); those of work_today */
po_status work_mine(work_context *w, const char *member, json_t **ret_mine, po_err *err) PO_MUST_USE;

#endif
