/* Sections of any mesh. SPDX-License-Identifier: Apache-2.0
 * The bytes: numbers of vertices, triangles and heights (a byte each), then how coordinates are written (bit 0: as signed
 * bytes on a small grid, so that corners meet and lie in planes; otherwise as doubles); heights, coordinates, corners (a
 * byte each). What is missing at the end is zero.
 * Promises: an error exactly where an index or number is out of bounds; else ends that rise, points within the mesh's
 * bounds, at most two for a segment, no length lost, and the same outlines whatever the order of the heights. */
#include <math.h>
#include <string.h>

#include "fuzz.h"
#include "proveout/solid.h"

static const double LARGEST = 1e60;

typedef struct feed {
    const uint8_t *data;
    size_t n, at;
} feed;

static uint8_t byte_of(feed *f)
{
    return f->at < f->n ? f->data[f->at++] : 0;
}

static double number_of(feed *f, int small)
{
    uint8_t bytes[8];
    double d;
    if (small) {
        return (int8_t)byte_of(f) / 8;
    }
    for (int i = 0; i < 8; i++) {
        bytes[i] = byte_of(f);
    }
    memcpy(&d, bytes, 8);
    return d;
}

/* The length of all segments, cut plainly. */
static double length_of(const po_mesh *mesh, double z)
{
    double sum = 0;
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        double at[2][2] = {{0, 0}, {0, 0}};
        for (int k = 0; k < 3; k++) {
            const double *p = mesh->xyz + 3 * (size_t)c[k], *q = mesh->xyz + 3 * (size_t)c[(k + 1) % 3];
            if ((p[2] >= z) != (q[2] >= z)) {
                double part = (z - p[2]) / (q[2] - p[2]);
                at[q[2] >= z][0] = p[0] + part * (q[0] - p[0]);
                at[q[2] >= z][1] = p[1] + part * (q[1] - p[1]);
            }
        }
        sum += hypot(at[1][0] - at[0][0], at[1][1] - at[0][1]);
    }
    return sum;
}

static void check_section(const po_mesh *mesh, const po_section *s, double z, double reach)
{
    const po_loops *l = &s->loops;
    PROMISE(s->z == z && l->n_points <= 2 * mesh->n_triangles && s->open_ends <= mesh->n_triangles);
    PROMISE(l->n_points == (l->n_loops ? l->ends[l->n_loops - 1] : 0));
    for (size_t i = 0; i < l->n_loops; i++) {
        PROMISE(l->ends[i] > (i ? l->ends[i - 1] : 0) + 1);
    }
    for (size_t i = 0; i < 2 * l->n_points; i++) {
        PROMISE(fabs(l->xy[i]) <= reach);
    }
    double length = po_loops_length(l), want = length_of(mesh, z),
           slack = 1e-9 * (want + reach) + 1e-140; /* squares below 1e-300 are 0 */
    PROMISE(length >= want - slack && (s->open_ends || length <= want + slack));
    PROMISE(!isnan(po_loops_area(l)));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    feed f = {data, n, 0};
    size_t n_vertices = byte_of(&f), n_triangles = byte_of(&f), n_z = byte_of(&f) % 32;
    int small = byte_of(&f) & 1, bad = 0;
    double z[32] = {0}, back[32] = {0}, reach = 0;
    double *xyz = malloc(n_vertices * 3 * sizeof *xyz + 1);
    uint32_t *corners = malloc(n_triangles * 3 * sizeof *corners + 1);
    po_arena *arena = po_arena_new(16 << 20);
    PROMISE(xyz && corners && arena);
    for (size_t i = 0; i < n_z; i++) {
        z[i] = back[n_z - 1 - i] = number_of(&f, small);
        bad |= !isfinite(z[i]);
    }
    for (size_t i = 0; i < 3 * n_vertices; i++) {
        xyz[i] = number_of(&f, small);
        bad |= !(fabs(xyz[i]) <= LARGEST);
        reach = i % 3 < 2 ? fmax(reach, fabs(xyz[i])) : reach;
    }
    for (size_t i = 0; i < 3 * n_triangles; i++) {
        corners[i] = byte_of(&f);
        bad |= corners[i] >= n_vertices;
    }
    po_mesh mesh = {xyz, n_vertices, corners, n_triangles};
    po_section one[32], two[32];
    po_err err;
    po_status status = po_mesh_sections(&mesh, z, n_z, 1, arena, one, &err);
    PROMISE(status == (bad ? PO_E_RANGE : PO_OK));
    PROMISE(status == PO_OK || (err.code == status && err.msg[0]));
    if (status == PO_OK) {
        PROMISE(po_mesh_sections(&mesh, back, n_z, 2, arena, two, &err) == PO_OK);
        for (size_t i = 0; i < n_z; i++) {
            const po_loops *a = &one[i].loops, *b = &two[n_z - 1 - i].loops;
            check_section(&mesh, &one[i], z[i], reach);
            PROMISE(a->n_points == b->n_points && a->n_loops == b->n_loops);
            PROMISE(!a->n_points || memcmp(a->xy, b->xy, a->n_points * 16) == 0);
        }
    }
    po_arena_free(arena);
    free(xyz);
    free(corners);
    return 0;
}
