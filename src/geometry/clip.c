/* Loops: clipping. SPDX-License-Identifier: Apache-2.0
 * The arrangement of all edges on an integer grid (rings.h tells the steps). */
#include "geometry/rings.h"

po_status po_loops_clip(const po_loops *a, const po_loops *b, po_clip how, po_arena *arena, po_loops *ret, po_err *err)
{
    double reach_a = 0, reach_b = 0;
    po_status status = po_loops_reach(a, &reach_a, err);
    status = status || !b ? status : po_loops_reach(b, &reach_b, err);
    if (status) {
        return status;
    }
    po_scratch scratch;
    po_scratch_init(&scratch, PO_RINGS_BYTES_A_POINT * (a->n_points + (b ? b->n_points : 0)), PO_RINGS_MOST_BYTES);
    po_grid grid = po_grid_for(reach_a > reach_b ? reach_a : reach_b);
    po_rings in, out;
    status = po_rings_of(a, b, grid, &scratch, &in, err);
    status = status ? status : po_rings_arrange(&in, how, PO_RINGS_LEAST_WIDTH_MM * grid.per_mm, &scratch, &out, err);
    status = status ? status : po_rings_to_loops(&out, grid, arena, ret, err);
    po_scratch_done(&scratch);
    return status;
}
