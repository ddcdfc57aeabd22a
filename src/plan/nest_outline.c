/* What of a part is seen from above. SPDX-License-Identifier: Apache-2.0
 *
 * The union of all sections between two heights is the union of the triangles there, seen from above, and of the section
 * at the foot of the slab (what goes straight through it shows in no level triangle). Triangles are cut to the slab;
 * points on an edge are computed from its lower end, so both its triangles have the same. Unions of some thousand
 * triangles at a time, then of those. */
#include <math.h>
#include <stdlib.h>

#include "proveout/nest.h"

enum { AT_A_TIME = 4096 };

typedef struct pile {
    double *xy;
    uint32_t *ends;
    size_t n, n_loops;
} pile;

/* Where an edge passes a height; the same whichever way it is run. */
static void pass(const double *p, const double *q, double z, double ret[2])
{
    const double *a = p[2] < q[2] ? p : q, *b = p[2] < q[2] ? q : p;
    double t = (z - a[2]) / (b[2] - a[2]);
    ret[0] = a[0] + t * (b[0] - a[0]);
    ret[1] = a[1] + t * (b[1] - a[1]);
}

/* The part of a triangle between two heights as a convex loop, counter-clockwise; at most 6 corners (a corner cut off at
 * each of two heights makes 5; 2 spare). Returns how many. */
static size_t between(const double *const p[3], double low, double high, double ret[14])
{
    double lowest = fmin(fmin(p[0][2], p[1][2]), p[2][2]), highest = fmax(fmax(p[0][2], p[1][2]), p[2][2]);
    if (lowest > high || highest < low) {
        return 0;
    }
    size_t n = 0;
    for (int i = 0; i < 3; i++) {
        const double *a = p[i], *b = p[(i + 1) % 3];
        if (a[2] >= low && a[2] <= high) {
            ret[2 * n] = a[0];
            ret[2 * n++ + 1] = a[1];
        }
        double first = a[2] < b[2] ? low : high, second = a[2] < b[2] ? high : low;
        for (int k = 0; k < 2; k++) {
            double z = k ? second : first;
            if ((a[2] < z && b[2] > z) || (a[2] > z && b[2] < z)) {
                pass(a, b, z, ret + 2 * n++);
            }
        }
    }
    double area = 0;
    for (size_t i = 1; i + 1 < n; i++) {
        area += (ret[2 * i] - ret[0]) * (ret[2 * i + 3] - ret[1]) -
                (ret[2 * i + 1] - ret[1]) * (ret[2 * i + 2] - ret[0]);
    }
    for (size_t i = 0; area < 0 && i < n / 2; i++) {
        for (size_t k = 0; k < 2; k++) {
            double swap = ret[2 * i + k];
            ret[2 * i + k] = ret[2 * (n - 1 - i) + k];
            ret[2 * (n - 1 - i) + k] = swap;
        }
    }
    return area == 0 ? 0 : n;
}

/* The pile's union joined with what there is already. */
static po_status join(pile *p, po_arena **held, po_loops *all, po_err *err)
{
    po_arena *next = po_arena_new(0);
    po_loops more = {p->xy, p->n, p->ends, p->n_loops};
    po_loops one;
    po_status status = next ? po_loops_clip(&more, NULL, PO_CLIP_UNION, next, &one, err)
                            : po_fail(err, PO_E_NOMEM, "memory ran out");
    if (status == PO_OK && all->n_points) {
        status = po_loops_clip(all, &one, PO_CLIP_UNION, next, &one, err);
    }
    if (status != PO_OK) {
        po_arena_free(next);
        return status;
    }
    po_arena_free(*held);
    *held = next;
    *all = one;
    p->n = p->n_loops = 0;
    return PO_OK;
}

static po_status copy(const po_loops *from, po_arena *arena, po_loops *ret, po_err *err)
{
    double *xy = po_arena_zeros(arena, from->n_points + 1, 2 * sizeof *xy);
    uint32_t *ends = po_arena_zeros(arena, from->n_loops + 1, sizeof *ends);
    if (!xy || !ends) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < 2 * from->n_points; i++) {
        xy[i] = from->xy[i];
    }
    for (size_t i = 0; i < from->n_loops; i++) {
        ends[i] = from->ends[i];
    }
    *ret = (po_loops){xy, from->n_points, ends, from->n_loops};
    return PO_OK;
}

static po_status add_section(const po_mesh *mesh, double z, po_arena **held, po_loops *all, po_err *err)
{
    po_arena *next = po_arena_new(0);
    po_section section;
    po_loops one;
    po_status status = next ? po_mesh_sections(mesh, &z, 1, 1, next, &section, err)
                            : po_fail(err, PO_E_NOMEM, "memory ran out");
    if (status == PO_OK) {
        status = po_loops_clip(&section.loops, all->n_points ? all : NULL, PO_CLIP_UNION, next, &one, err);
    }
    if (status != PO_OK) {
        po_arena_free(next);
        return status;
    }
    po_arena_free(*held);
    *held = next;
    *all = one;
    return PO_OK;
}

po_status po_nest_outline(const po_mesh *mesh, double from_mm, double to_mm, po_arena *arena, po_loops *ret,
                          po_err *err)
{
    if (mesh->n_triangles == 0) {
        return po_fail(err, PO_E_EMPTY, "there is no triangle");
    }
    double foot = INFINITY;
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        if (mesh->corners[i] >= mesh->n_vertices) {
            return po_fail(err, PO_E_RANGE, "triangle %zu has a corner that is no vertex", i / 3 + 1);
        }
        const double *p = mesh->xyz + 3 * (size_t)mesh->corners[i];
        if (!(fabs(p[0]) < 1e6 && fabs(p[1]) < 1e6 && fabs(p[2]) < 1e6)) {
            return po_fail(err, PO_E_RANGE, "a corner of triangle %zu lies beyond 1 km", i / 3 + 1);
        }
        foot = fmin(foot, p[2]);
    }
    double low = from_mm > 0 ? foot + from_mm : -INFINITY, high = foot + to_mm;
    pile p = {malloc(14 * AT_A_TIME * sizeof(double)), malloc(AT_A_TIME * sizeof(uint32_t)), 0, 0};
    po_arena *held = NULL;
    po_loops all = {0};
    po_status status = p.xy && p.ends ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    for (size_t t = 0; status == PO_OK && t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        const double *corners[3] = {mesh->xyz + 3 * (size_t)c[0], mesh->xyz + 3 * (size_t)c[1],
                                    mesh->xyz + 3 * (size_t)c[2]};
        size_t n = between(corners, low, high, p.xy + 2 * p.n);
        if (n > 0) {
            p.n += n;
            p.ends[p.n_loops++] = (uint32_t)p.n;
        }
        if (p.n_loops == AT_A_TIME) {
            status = join(&p, &held, &all, err);
        }
    }
    if (status == PO_OK && p.n_loops) {
        status = join(&p, &held, &all, err);
    }
    if (status == PO_OK && isfinite(low)) {
        status = add_section(mesh, low, &held, &all, err);
    }
    if (status == PO_OK) {
        status = copy(&all, arena, ret, err);
    }
    po_arena_free(held);
    free(p.xy);
    free(p.ends);
    return status;
}
