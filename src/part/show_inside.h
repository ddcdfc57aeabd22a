/* What the files that show a part share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_SHOW_INSIDE_H
#define PO_PART_SHOW_INSIDE_H

#include <math.h>

#include "proveout/part.h"

/* Area of a triangle; its normal as it runs, of length 1, zeros where it has none. */
static inline double po_show_normal(const po_mesh *mesh, size_t t, double ret[3])
{
    const double *a = mesh->xyz + 3 * (size_t)mesh->corners[3 * t],
                 *b = mesh->xyz + 3 * (size_t)mesh->corners[3 * t + 1],
                 *c = mesh->xyz + 3 * (size_t)mesh->corners[3 * t + 2];
    double e[3] = {b[0] - a[0], b[1] - a[1], b[2] - a[2]}, f[3] = {c[0] - a[0], c[1] - a[1], c[2] - a[2]};
    ret[0] = e[1] * f[2] - e[2] * f[1];
    ret[1] = e[2] * f[0] - e[0] * f[2];
    ret[2] = e[0] * f[1] - e[1] * f[0];
    double length = sqrt(ret[0] * ret[0] + ret[1] * ret[1] + ret[2] * ret[2]);
    for (int k = 0; k < 3; k++) {
        ret[k] = length > 0 ? ret[k] / length : 0;
    }
    return length / 2;
}

#endif
