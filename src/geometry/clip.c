/* Loops: clipping. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/loops.h"

po_status po_loops_clip(const po_loops *a, const po_loops *b, po_clip how, po_arena *arena, po_loops *ret, po_err *err)
{
    (void)a;
    (void)b;
    (void)how;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
