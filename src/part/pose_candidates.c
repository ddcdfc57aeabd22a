/* Which ways up are worth a look. SPDX-License-Identifier: Apache-2.0
 *
 * A part rests on faces of its convex hull, so those come first; then its large flat faces, turned down (a first layer
 * without steps) or up; then a covering of the sphere, for parts that print best on no face. Directions nearer than a
 * hundredth of a degree are one; the first stays. */
#include <math.h>
#include <stdlib.h>

#include "part/pose_candidates.h"

enum { MOST_FACES = 400, MOST_FLATS = 200, MANY_CORNERS = 20000, PROBES = 2048 };
static const double SMALL_FLAT = 1e-3; /* of the whole surface */
static const double SAME_DEG = 0.01, AXIS_DEG = 1e-3;

/* Add a direction; along an axis but for the rounding of coordinates: along it. */
static void add(po_candidates *c, const double up[3], po_candidate_kind kind)
{
    static const double DEG = 57.295779513082321;
    double length = sqrt(up[0] * up[0] + up[1] * up[1] + up[2] * up[2]), u[3];
    if (!(length > 0) || c->n == PO_MOST_CANDIDATES) {
        return;
    }
    for (int k = 0; k < 3; k++) {
        u[k] = up[k] / length;
    }
    for (int k = 0; k < 3; k++) {
        if (hypot(u[(k + 1) % 3], u[(k + 2) % 3]) < AXIS_DEG / DEG) {
            double sign = u[k] < 0 ? -1 : 1;
            u[0] = u[1] = u[2] = 0;
            u[k] = sign;
            break;
        }
    }
    for (size_t i = 0; i < c->n; i++) {
        double square = 0;
        for (int k = 0; k < 3; k++) {
            square += (c->up[i][k] - u[k]) * (c->up[i][k] - u[k]);
        }
        if (square < SAME_DEG / DEG * (SAME_DEG / DEG)) {
            return;
        }
    }
    for (int k = 0; k < 3; k++) {
        c->up[c->n][k] = u[k];
    }
    c->kind[c->n++] = kind;
}

void po_candidates_add(po_candidates *candidates, const double up[3], po_candidate_kind kind)
{
    add(candidates, up, kind);
}

typedef struct sized {
    double size;
    size_t number;
} sized;

static int larger_first(const void *a, const void *b)
{
    const sized *p = a, *q = b;
    return p->size != q->size ? (p->size > q->size ? -1 : 1) : p->number < q->number ? -1 : p->number > q->number;
}

static po_status add_hull(po_candidates *c, const po_pose_bulk *bulk, po_err *err)
{
    const po_corners3 *corners = &bulk->corners;
    size_t n = bulk->n_corners;
    uint32_t *probes = NULL;
    if (n > MANY_CORNERS) { /* a round part: the hull of its outermost corners along many directions is near enough */
        double(*directions)[3] = malloc(PROBES * sizeof *directions);
        float(*axes)[3] = malloc(PROBES * sizeof *axes);
        probes = malloc(PROBES * sizeof *probes);
        if (directions && axes && probes) {
            po_pose_spread(PROBES, directions);
            for (size_t i = 0; i < PROBES; i++) {
                for (int k = 0; k < 3; k++) {
                    axes[i][k] = (float)directions[i][k];
                }
            }
            for (size_t i = 0; i < PROBES; i += PO_MOST_AXES) {
                po_pose_kernel_best()->lowest(corners, (const float(*)[3])axes + i, PO_MOST_AXES, probes + i);
            }
        }
        free(directions);
        free(axes);
        n = PROBES;
        if (!directions || !axes || !probes) {
            free(probes);
            return po_fail(err, PO_E_NOMEM, "memory ran out while poses were looked for");
        }
    }
    double *points = malloc((3 * n + 1) * sizeof *points);
    for (size_t i = 0; points && i < n; i++) {
        size_t at = probes ? probes[i] : i;
        points[3 * i] = (double)corners->x[at];
        points[3 * i + 1] = (double)corners->y[at];
        points[3 * i + 2] = (double)corners->z[at];
    }
    po_hull_face *faces = NULL;
    size_t n_faces = 0;
    po_status s = points ? po_hull_faces(points, n, &faces, &n_faces, err)
                         : po_fail(err, PO_E_NOMEM, "memory ran out while poses were looked for");
    sized *order = s == PO_OK ? malloc((n_faces + 1) * sizeof *order) : NULL;
    if (order) {
        for (size_t i = 0; i < n_faces; i++) {
            order[i] = (sized){faces[i].area, i};
        }
        qsort(order, n_faces, sizeof *order, larger_first);
        for (size_t i = 0; i < n_faces && i < MOST_FACES; i++) {
            const double *f = faces[order[i].number].normal;
            add(c, (const double[3]){-f[0], -f[1], -f[2]}, PO_CANDIDATE_FACE);
        }
    } else if (s == PO_OK) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out while poses were looked for");
    }
    free(order);
    free(faces);
    free(points);
    free(probes);
    return s;
}

static po_status add_flats(po_candidates *c, const po_pose_bulk *bulk, po_err *err)
{
    sized *order = malloc((bulk->n_planes + 1) * sizeof *order);
    if (!order) {
        return po_fail(err, PO_E_NOMEM, "memory ran out while poses were looked for");
    }
    const po_planes *p = &bulk->planes;
    double whole = 0;
    size_t n = 0;
    for (size_t i = 0; i < bulk->n_planes; i++) {
        whole += (double)p->area[i];
    }
    for (size_t i = 0; i < bulk->n_planes; i++) {
        if ((double)p->area[i] >= SMALL_FLAT * whole) {
            order[n++] = (sized){(double)p->area[i], i};
        }
    }
    qsort(order, n, sizeof *order, larger_first);
    for (size_t i = 0; i < n && i < MOST_FLATS; i++) {
        size_t at = order[i].number;
        double f[3] = {(double)p->nx[at], (double)p->ny[at], (double)p->nz[at]};
        add(c, (const double[3]){-f[0], -f[1], -f[2]}, PO_CANDIDATE_FLAT);
        add(c, f, PO_CANDIDATE_FLAT);
    }
    free(order);
    return PO_OK;
}

po_status po_candidates_find(const po_pose_bulk *bulk, po_candidates *ret, po_err *err)
{
    ret->n = 0;
    add(ret, (const double[3]){0, 0, 1}, PO_CANDIDATE_AS_IS);
    po_status s = add_flats(ret, bulk, err); /* before the hull: their normals are the more exact ones */
    if (s == PO_OK) {
        s = add_hull(ret, bulk, err);
    }
    static const double axes[6][3] = {{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}};
    for (int i = 0; s == PO_OK && i < 6; i++) {
        add(ret, axes[i], PO_CANDIDATE_SPHERE);
    }
    double(*spread)[3] = malloc(PO_SPREAD * sizeof *spread);
    if (s == PO_OK && !spread) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out while poses were looked for");
    }
    if (s == PO_OK) {
        po_pose_spread(PO_SPREAD, spread);
        for (size_t i = 0; i < PO_SPREAD; i++) {
            add(ret, spread[i], PO_CANDIDATE_SPHERE);
        }
    }
    free(spread);
    return s;
}
