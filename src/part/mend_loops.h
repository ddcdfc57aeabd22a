/* Loops of open edges. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_MEND_LOOPS_H
#define PO_PART_MEND_LOOPS_H

#include "part/mend.h"

typedef struct po_loop { /* runs as the triangles that would fill it have to */
    size_t begin, n;     /* in the list's vertices */
    double normal[3];    /* of length 1; counter-clockwise around it */
    double area;         /* of its shadow along the normal */
    double centre[3];    /* mean of its vertices */
    double extent;       /* diagonal of its bounds */
    double off;          /* of its vertices from the plane through the centre, at most */
} po_loop;

typedef struct po_loop_list {
    po_loop *loops;
    size_t n;
    uint32_t *vertices;
} po_loop_list;

/* Simple loops of the edges that one triangle has. ret_loose: edges that close none. PO_E_NOMEM. */
po_status po_loops_of_holes(const po_mending *m, const po_edges *edges, po_loop_list *ret, uint64_t *ret_loose,
                            po_err *err) PO_MUST_USE;
void po_loop_list_done(po_loop_list *list);
/* Numbers of the loops, largest area first. */
void po_loops_by_area(const po_loop_list *list, uint32_t *ret);
/* Two directions square to the normal and to each other, right-handed with it. */
void po_loop_axes(const double normal[3], double u[3], double w[3]);
/* Whether the shadow of the loop along its normal holds that of the point. */
bool po_loop_holds(const po_loop_list *list, const po_loop *loop, const double *xyz, const double *point);

#endif
