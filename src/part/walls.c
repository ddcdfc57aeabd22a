/* Walls. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/solid.h"

po_status po_mesh_walls(const po_mesh *mesh, double bead_mm, size_t rays, uint64_t seed, int threads, po_arena *arena,
                        po_wall_facts *ret, po_err *err)
{
    (void)mesh;
    (void)bead_mm;
    (void)rays;
    (void)seed;
    (void)threads;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
