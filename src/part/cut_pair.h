/* Do two triangles cut each other? SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_CUT_PAIR_H
#define PO_PART_CUT_PAIR_H

#include <stdbool.h>

/* Whether the two have more than one point in common, exactly (bounds as in exact.h). Triangles without area: never. */
bool po_cut_pair(const double *const a[3], const double *const b[3]);

#endif
