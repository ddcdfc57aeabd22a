/* Outlines to search with. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PLAN_NEST_GROW_H
#define PO_PLAN_NEST_GROW_H

#include "proveout/nest.h"

/* Holds every point within by_mm (>= 0) of the outline, and at most some tenths of a mm more; few corners, no crossings.
 * fill_holes: holes count as solid. Errors: those of po_loops_offset. */
po_status po_nest_grow(const po_loops *outline, double by_mm, bool fill_holes, po_arena *arena, po_loops *ret,
                       po_err *err) PO_MUST_USE;

#endif
