/* Solids of an STL that are pieces of one surface. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_PATCHES_H
#define PO_PART_PATCHES_H

#include "part/stl.h"

/* Some programs write each face of a body as a "solid" of its own. Where the solids are open one by one and at least
 * half of their open edges close when all are taken together (and no edge gets crowded), *objects becomes that one
 * mesh, *n becomes 1, and a note says so; else nothing changes. PO_E_NOMEM. */
po_status po_patches_join(po_part_object *objects, size_t *n, po_arena *arena, po_notes *notes,
                          po_err *err) PO_MUST_USE;

#endif
