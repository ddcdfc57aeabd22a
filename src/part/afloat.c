/* Bodies that begin in the air. SPDX-License-Identifier: Apache-2.0
 *
 * A body (a piece that hangs together through its vertices) that does not reach down to where the part stands, and whose
 * bounds lie clear of every other body's, touches nothing: it cannot be printed without something beneath it. Bounds that
 * overlap prove nothing, so that links of a chain and bodies within bodies are not told of. */
#include <math.h>
#include <stdlib.h>

#include "base/sets.h"
#include "part/partfacts.h"

enum { MOST_BODIES = 2000 }; /* each is held against each other */

typedef struct body {
    double low[3], high[3], lowest[3];
} body;

static bool clear_of(const body *a, const body *b, double apart)
{
    for (int k = 0; k < 3; k++) {
        if (a->low[k] > b->high[k] + apart || b->low[k] > a->high[k] + apart) {
            return true;
        }
    }
    return false;
}

static void count_afloat(const body *bodies, size_t n, double apart, uint64_t *ret_n, double at[3])
{
    double bed = INFINITY;
    for (size_t i = 0; i < n; i++) {
        bed = fmin(bed, bodies[i].low[2]);
    }
    for (size_t i = 0; i < n; i++) {
        bool afloat = bodies[i].low[2] > bed + apart;
        for (size_t k = 0; k < n && afloat; k++) {
            afloat = k == i || clear_of(&bodies[i], &bodies[k], apart);
        }
        if (afloat && (++*ret_n == 1 || bodies[i].low[2] - bed > at[2] - bed)) {
            for (int k = 0; k < 3; k++) {
                at[k] = bodies[i].lowest[k];
            }
        }
    }
}

po_status po_solid_afloat(const po_mesh *mesh, uint64_t shells, double apart_mm, uint64_t *ret_n, double at[3],
                          po_err *err)
{
    *ret_n = 0;
    if (shells < 2 || shells > MOST_BODIES) {
        return PO_OK;
    }
    uint32_t *parent = malloc((mesh->n_vertices + 1) * sizeof *parent);
    uint32_t *number = calloc(mesh->n_vertices + 1, sizeof *number); /* 1 + the body's, at its root */
    body *bodies = malloc(MOST_BODIES * sizeof *bodies);
    po_status status = parent && number && bodies ? PO_OK : po_fail(err, PO_E_NOMEM, "no memory for a part's bodies");
    for (size_t i = 0; status == PO_OK && i < mesh->n_vertices; i++) {
        parent[i] = (uint32_t)i;
    }
    for (size_t t = 0; status == PO_OK && t < mesh->n_triangles; t++) {
        for (size_t k = 1; k < 3; k++) {
            uint32_t a = po_set_root(parent, mesh->corners[3 * t]), b = po_set_root(parent, mesh->corners[3 * t + k]);
            parent[a > b ? a : b] = a > b ? b : a;
        }
    }
    size_t n = 0;
    for (size_t i = 0; status == PO_OK && i < 3 * mesh->n_triangles;
         i++) { /* vertices without triangles are no bodies */
        uint32_t of = po_set_root(parent, mesh->corners[i]);
        const double *p = mesh->xyz + 3 * (size_t)mesh->corners[i];
        if (number[of] == 0 && n == MOST_BODIES) {
            n = 0; /* more than were counted: nothing is said */
            break;
        }
        if (number[of] == 0) {
            bodies[n++] = (body){{INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}, {0, 0, 0}};
            number[of] = (uint32_t)n;
        }
        body *b = &bodies[number[of] - 1];
        for (int k = 0; k < 3; k++) {
            if (k == 2 && p[2] < b->low[2]) {
                b->lowest[0] = p[0], b->lowest[1] = p[1], b->lowest[2] = p[2];
            }
            b->low[k] = fmin(b->low[k], p[k]);
            b->high[k] = fmax(b->high[k], p[k]);
        }
    }
    if (status == PO_OK) {
        count_afloat(bodies, n, apart_mm, ret_n, at);
    }
    free(parent);
    free(number);
    free(bodies);
    return status;
}
