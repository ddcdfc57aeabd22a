/* Sections of a mesh. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/solid.h"

po_status po_mesh_sections(const po_mesh *mesh, const double *z, size_t n_z, int threads, po_arena *arena,
                           po_section *ret, po_err *err)
{
    (void)mesh;
    (void)z;
    (void)n_z;
    (void)threads;
    (void)arena;
    (void)ret;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
