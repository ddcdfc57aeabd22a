/* Loops: offsets. SPDX-License-Identifier: Apache-2.0 */
#include "geometry/loops_geos.h"

po_status po_loops_offset(const po_loops *loops, double by_mm, double arc_error_mm, po_arena *arena, po_loops *ret,
                          po_err *err)
{
    return po_geos_offset(loops, by_mm, arc_error_mm, arena, ret, err);
}
