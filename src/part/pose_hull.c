/* Convex hulls in space. SPDX-License-Identifier: Apache-2.0
 *
 * Qhull's messages go nowhere: what it can't do (points in a plane) is an answer here, not an error. */
#include <libqhull_r/qhull_ra.h>
#include <stdio.h>
#include <stdlib.h>

#include "part/pose_bulk.h"

po_status po_hull_faces(const double *points, size_t n, po_hull_face **ret, size_t *ret_n, po_err *err)
{
    *ret = NULL;
    *ret_n = 0;
    if (n < 4 || n > 10000000) {
        return PO_OK;
    }
    coordT *copy = malloc(3 * n * sizeof *copy); /* Qhull may turn and scale its input */
    FILE *nowhere = fopen("/dev/null", "w");
    if (!copy || !nowhere) {
        free(copy);
        if (nowhere) {
            fclose(nowhere);
        }
        return po_fail(err, PO_E_NOMEM, "memory or files ran out while a hull was made");
    }
    for (size_t i = 0; i < 3 * n; i++) {
        copy[i] = points[i];
    }
    qhT state, *qh = &state;
    char command[] = "qhull Pp";
    qh_zero(qh, nowhere);
    int failed = qh_new_qhull(qh, 3, (int)n, copy, False, command, NULL, nowhere);
    po_status s = PO_OK;
    if (!failed) {
        facetT *facet;
        size_t n_faces = 0;
        qh_getarea(qh, qh->facet_list);
        FORALLfacets
        {
            n_faces++;
        }
        po_hull_face *faces = malloc((n_faces + 1) * sizeof *faces);
        if (faces) {
            FORALLfacets
            {
                po_hull_face *f = &faces[(*ret_n)++];
                for (int k = 0; k < 3; k++) {
                    f->normal[k] = facet->normal[k];
                }
                f->offset = facet->offset;
                f->area = facet->f.area;
            }
            *ret = faces;
        } else {
            s = po_fail(err, PO_E_NOMEM, "memory ran out while a hull was made");
        }
    }
    qh_freeqhull(qh, !qh_ALL);
    int rest, total;
    qh_memfreeshort(qh, &rest, &total);
    fclose(nowhere);
    free(copy);
    return s;
}
