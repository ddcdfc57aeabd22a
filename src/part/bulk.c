/* Volume, area, centre of mass. SPDX-License-Identifier: Apache-2.0
 *
 * Sums of signed tetrahedra between each triangle and one point (the divergence theorem; C. Zhang and T. Chen,
 * "Efficient feature extraction for 2D/3D objects in mesh representation", ICIP 2001): volume (a x b) . c / 6, centre
 * (a + b + c) / 4, with corners relative to that point. Of a closed surface the sum does not depend on the point, and
 * one in its middle keeps a small part far from the origin exact. Stretches of fixed size are summed apart and then
 * added up in order: the same sum on any number of threads, and less rounding than one long sum. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/topology.h"

enum { AT_ONCE = 4096, MOST_SHELLS = 10000 };
static const double FLAT_MM2 = 1e-12; /* docs/measures.md, "Meshes" */

typedef struct sums {
    double volume6, area2, moment[3];
    uint64_t n_flat;
} sums;

typedef struct summing {
    const po_mesh *mesh;
    double from[3];
    sums *sums;
} summing;

static void sum_stretch(size_t i, void *user)
{
    const summing *b = user;
    const po_mesh *mesh = b->mesh;
    size_t first = i * AT_ONCE, end = first + AT_ONCE > mesh->n_triangles ? mesh->n_triangles : first + AT_ONCE;
    sums s = {0};
    const double ox = b->from[0], oy = b->from[1], oz = b->from[2];
    for (size_t t = first; t < end; t++) {
        const uint32_t *corner = mesh->corners + 3 * t;
        const double *p = mesh->xyz + 3 * (size_t)corner[0], *q = mesh->xyz + 3 * (size_t)corner[1],
                     *r = mesh->xyz + 3 * (size_t)corner[2];
        double ux = q[0] - p[0], uy = q[1] - p[1], uz = q[2] - p[2];
        double vx = r[0] - p[0], vy = r[1] - p[1], vz = r[2] - p[2];
        double nx = uy * vz - uz * vy, ny = uz * vx - ux * vz, nz = ux * vy - uy * vx;
        double px = p[0] - ox, py = p[1] - oy, pz = p[2] - oz;
        double volume6 = px * nx + py * ny + pz * nz; /* p . ((q - p) x (r - p)) = p . (q x r) */
        double area2 = sqrt(nx * nx + ny * ny + nz * nz);
        s.volume6 += volume6;
        s.area2 += area2;
        s.moment[0] += volume6 * (3 * px + ux + vx);
        s.moment[1] += volume6 * (3 * py + uy + vy);
        s.moment[2] += volume6 * (3 * pz + uz + vz);
        s.n_flat += area2 < 2 * FLAT_MM2; /* two equal corners: 0 */
    }
    b->sums[i] = s;
}

po_status po_bulk_find(const po_mesh *mesh, const double from[3], po_pool *pool, po_bulk *ret, po_err *err)
{
    size_t n = (mesh->n_triangles + AT_ONCE - 1) / AT_ONCE;
    summing b = {.mesh = mesh, .from = {from[0], from[1], from[2]}, .sums = calloc(n + 1, sizeof(sums))};
    if (!b.sums) {
        return po_fail(err, PO_E_NOMEM, "no memory to measure %zu triangles", mesh->n_triangles);
    }
    po_pool_each(pool, n, sum_stretch, &b);
    sums all = {0};
    for (size_t i = 0; i < n; i++) {
        all.volume6 += b.sums[i].volume6;
        all.area2 += b.sums[i].area2;
        all.n_flat += b.sums[i].n_flat;
        for (int k = 0; k < 3; k++) {
            all.moment[k] += b.sums[i].moment[k];
        }
    }
    free(b.sums);
    ret->volume = all.volume6 / 6;
    ret->area = all.area2 / 2;
    ret->n_flat = all.n_flat;
    for (int k = 0; k < 3; k++) {
        ret->centre[k] = all.volume6 != 0 ? from[k] + all.moment[k] / (4 * all.volume6) : NAN;
    }
    return PO_OK;
}

po_status po_bulk_shells(const po_mesh *mesh, const po_topology *topology, const double *from, po_arena *arena,
                         const double **ret_volumes, po_err *err)
{
    size_t n = topology->shells;
    *ret_volumes = NULL;
    if (n > MOST_SHELLS) {
        return PO_OK;
    }
    double *volumes = po_arena_zeros(arena, n, sizeof *volumes);
    uint32_t *own = calloc(n + 1, sizeof *own); /* a corner of each shell, plus 1 */
    if (!volumes || !own) {
        free(own);
        return po_fail(err, PO_E_NOMEM, "no memory to measure %zu shells", n);
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *corner = mesh->corners + 3 * t;
        if (corner[0] == corner[1] || corner[1] == corner[2] || corner[2] == corner[0]) {
            continue;
        }
        uint32_t shell = topology->shell_of[corner[0]];
        if (!own[shell]) {
            own[shell] = corner[0] + 1;
        }
        const double *o = from ? from : mesh->xyz + 3 * (size_t)(own[shell] - 1),
                     *p = mesh->xyz + 3 * (size_t)corner[0], *q = mesh->xyz + 3 * (size_t)corner[1],
                     *r = mesh->xyz + 3 * (size_t)corner[2];
        double ux = q[0] - p[0], uy = q[1] - p[1], uz = q[2] - p[2];
        double vx = r[0] - p[0], vy = r[1] - p[1], vz = r[2] - p[2];
        volumes[shell] += ((p[0] - o[0]) * (uy * vz - uz * vy) + (p[1] - o[1]) * (uz * vx - ux * vz) +
                           (p[2] - o[2]) * (ux * vy - uy * vx)) /
                          6;
    }
    free(own);
    *ret_volumes = volumes;
    return PO_OK;
}
