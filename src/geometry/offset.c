/* Loops: offsets. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/loops.h"

po_status po_loops_offset(const po_loops *loops, double by_mm, double arc_error_mm, po_arena *arena, po_loops *ret,
                          po_err *err)
{
    (void)loops;
    (void)by_mm;
    (void)arc_error_mm;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
