/* Loops: clipping. SPDX-License-Identifier: Apache-2.0 */
#include "geometry/loops_geos.h"

po_status po_loops_clip(const po_loops *a, const po_loops *b, po_clip how, po_arena *arena, po_loops *ret, po_err *err)
{
    return po_geos_clip(a, b, how, arena, ret, err);
}
