/* Loops by way of GEOS. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_LOOPS_GEOS_H
#define PO_LOOPS_GEOS_H

#include "proveout/loops.h"

/* The same promises as po_loops_clip and po_loops_offset, kept by GEOS. */
po_status po_geos_clip(const po_loops *a, const po_loops *b, po_clip how, po_arena *arena, po_loops *ret,
                       po_err *err) PO_MUST_USE;
po_status po_geos_offset(const po_loops *loops, double by_mm, double arc_error_mm, po_arena *arena, po_loops *ret,
                         po_err *err) PO_MUST_USE;
#endif
