/* Loops: area, length, bounds, winding. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/loops.h"

double po_loops_area(const po_loops *loops)
{
    (void)loops;
    return 0;
}

double po_loops_length(const po_loops *loops)
{
    (void)loops;
    return 0;
}

bool po_loops_bounds(const po_loops *loops, double ret[4])
{
    (void)loops;
    (void)ret;
    return 0;
}

int po_loops_winding(const po_loops *loops, double x, double y)
{
    (void)loops;
    (void)x;
    (void)y;
    return 0;
}
