/* Many grid points, asked for along an edge. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_GEOMETRY_PIXELS_H
#define PO_GEOMETRY_PIXELS_H

#include "geometry/rings.h"

typedef struct po_pixels po_pixels;

/* A tree over n points, which are at[numbers[i]]; both are borrowed. NULL when memory is gone. */
po_pixels *po_pixels_new(const po_spot *at, const uint32_t *numbers, size_t n, po_scratch *scratch);

/* The numbers of all points that lie in the box of the edge (edge[0], edge[1]) and within a unit of its line, and perhaps
 * of some more: to a list that lives in the tree until the next call. tests counts the boxes looked at. NULL (and
 * *ret_n > 0) when memory is gone. */
const uint32_t *po_pixels_along(po_pixels *pixels, const po_spot *edge, uint64_t *tests, size_t *ret_n);

#endif
