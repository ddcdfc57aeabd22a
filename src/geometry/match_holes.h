/* Holes of a shape that a job has filled. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_GEOMETRY_MATCH_HOLES_H
#define PO_GEOMETRY_MATCH_HOLES_H

#include "geometry/canvas.h"

/* Holes that shape encloses (4 neighbours) and whose inside, what lies beyond `near` (the shape grown), is a square
 * millimetre or more; filled: those of them over more than a tenth of whose inside the job lays material. All three on one
 * grid. False when memory is gone. */
bool po_match_holes(const po_canvas *shape, const po_canvas *near, const po_canvas *job, size_t *ret_holes,
                    size_t *ret_filled);

#endif
