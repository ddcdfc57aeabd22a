/* Solids both as signed distances for the demo's toolpaths and as meshes. SPDX-License-Identifier: Apache-2.0 */
#ifndef ESTIMATE_SOLIDS_H
#define ESTIMATE_SOLIDS_H

#include "proveout/part.h"
#include "toolpath.h"

typedef struct solid solid;
struct solid {
    const char *name;
    solid_fn at; /* self: the solid; its middle at the origin, standing on 0 */
    double half[2], height;
    double size[4]; /* what the shape needs: radii, walls */
    void (*mesh)(const solid *s, po_mesh *ret);
};

extern const solid SOLIDS[];
enum { N_SOLIDS = 12 };

/* Fine facets, on the solid's surface; free with free_mesh. */
po_mesh solid_mesh(const solid *s);
void free_mesh(po_mesh *mesh);

#endif
