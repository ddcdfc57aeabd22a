/* Mending: holes. SPDX-License-Identifier: Apache-2.0
 *
 * Open edges, run backwards, are chained to loops; a loop that meets a vertex twice is cut in two there. Flat loops are
 * closed by triangles in their plane, loops within loops of the same plane together with them (a face with a bore). A
 * loop that is not flat but short, or a slit, is closed by the triangles of least area, by dynamic programming (G. Barequet and
 * M. Sharir, "Filling gaps in the boundary of a polyhedron", CAGD 12, 1995, section 3; P. Liepa, "Filling holes in
 * meshes", 2003, section 3), with a little weight on length, so that of equal areas the better shaped one wins. No
 * vertex is made. Not filled: what is neither flat nor short, what would need an edge that the mesh has already, and what
 * would lie back to back on the triangles beside it: the edge of a sheet is no hole. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/mend.h"
#include "part/mend_loops.h"
#include "part/triangulate.h"

enum { MOST_DYNAMIC = 200, MOST_SORTED_BY_PLANE = 2000 };
static const double FLAT = 1e-3;        /* off the plane, of the loop's extent */
static const double SHORT = 0.1;        /* extent, of the part's diagonal */
static const double SLIT = 1e-6;        /* area, of the extent's square: a loop that is closed but for its corners */
static const double SAME_PLANE = 1e-5;  /* of the part's diagonal */
static const double RAGGED = 4;         /* area of the fill to that of its shadow */
static const double FOLDED = -0.9999;   /* cosine of the angle between normals */
static const double FOLDED_SHARE = 0.1; /* of the loop's length */

typedef struct filling {
    po_mending *m;
    const po_edges *edges;
    po_loop_list loops;
    unsigned char *done; /* of each loop */
    po_hole_counts *counts;
    size_t first_new; /* triangle */
} filling;

static const double *at(const po_mending *m, uint32_t v)
{
    return m->xyz + 3 * (size_t)v;
}

static void cross_of(const double *a, const double *b, const double *c, double ret[3])
{
    double u[3], v[3];
    for (int k = 0; k < 3; k++) {
        u[k] = b[k] - a[k];
        v[k] = c[k] - a[k];
    }
    for (int k = 0; k < 3; k++) {
        ret[k] = u[(k + 1) % 3] * v[(k + 2) % 3] - u[(k + 2) % 3] * v[(k + 1) % 3];
    }
}

static double dot(const double *a, const double *b)
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static double length_between(const double *a, const double *b)
{
    double d[3] = {a[0] - b[0], a[1] - b[1], a[2] - b[2]};
    return sqrt(dot(d, d));
}

static po_status add_triangle(filling *f, uint32_t a, uint32_t b, uint32_t c, po_err *err)
{
    po_mending *m = f->m;
    if (m->n_triangles == m->cap_triangles) {
        size_t cap = m->cap_triangles + m->cap_triangles / 4 + 64;
        uint32_t *more = realloc(m->corners, 3 * cap * sizeof *more);
        if (!more) {
            return po_fail(err, PO_E_NOMEM, "no memory to fill holes of %zu triangles", m->n_triangles);
        }
        m->corners = more;
        m->cap_triangles = cap;
    }
    uint32_t *to = m->corners + 3 * m->n_triangles++;
    to[0] = a;
    to[1] = b;
    to[2] = c;
    return PO_OK;
}

/* The last triangles, from `first` on, close loops: are they fit to stay? Their edges are either open ones or new, and
 * they do not lie back to back on what is beside them. */
static bool fill_is_good(const filling *f, size_t first, bool *ret_sheet)
{
    const po_mending *m = f->m;
    double folded = 0, all = 0;
    for (uint32_t half = (uint32_t)(3 * first); half < 3 * m->n_triangles; half++) {
        uint32_t a = po_half_from(m, half), b = po_half_to(m, half);
        size_t uses;
        const po_edge_use *use = po_edges_of(f->edges, a, b, &uses);
        if (uses > 1 || (uses == 1 && po_half_from(m, use->half) != b)) {
            return false;
        }
        if (uses == 1) {
            const uint32_t *c = m->corners + half / 3 * 3, *d = m->corners + use->half / 3 * 3;
            double n0[3], n1[3], length = length_between(at(m, a), at(m, b));
            cross_of(at(m, c[0]), at(m, c[1]), at(m, c[2]), n0);
            cross_of(at(m, d[0]), at(m, d[1]), at(m, d[2]), n1);
            double size = sqrt(dot(n0, n0) * dot(n1, n1));
            all += length;
            folded += size > 0 && dot(n0, n1) < FOLDED * size ? length : 0;
        }
    }
    *ret_sheet = folded > FOLDED_SHARE * all;
    return !*ret_sheet;
}

/* ---- flat loops ---- */

/* The loops of `list` (numbers), all in the plane of the first, outer ones counter-clockwise around its normal. */
static po_status fill_flat(filling *f, const uint32_t *list, size_t n_list, bool *ret_filled, bool *ret_sheet,
                           po_err *err)
{
    const po_loop_list *l = &f->loops;
    const po_loop *outer = &l->loops[list[0]];
    size_t n = 0;
    double u[3], w[3];
    *ret_filled = *ret_sheet = false;
    po_loop_axes(outer->normal, u, w);
    for (size_t i = 0; i < n_list; i++) {
        n += l->loops[list[i]].n;
    }
    double *xy = malloc(2 * n * sizeof *xy);
    uint32_t(*edges)[2] = malloc(n * sizeof *edges), *vertices = malloc(n * sizeof *vertices);
    po_arena *arena = po_arena_new(0);
    po_status s = PO_OK;
    if (!xy || !edges || !vertices || !arena) {
        s = po_fail(err, PO_E_NOMEM, "no memory to fill a hole of %zu edges", n);
        goto done;
    }
    n = 0;
    for (size_t i = 0; i < n_list; i++) {
        const po_loop *loop = &l->loops[list[i]];
        uint32_t base = (uint32_t)n;
        for (uint32_t k = 0; k < loop->n; k++, n++) {
            vertices[n] = l->vertices[loop->begin + k];
            double d[3];
            for (int axis = 0; axis < 3; axis++) {
                d[axis] = at(f->m, vertices[n])[axis] - outer->centre[axis];
            }
            xy[2 * n] = dot(d, u);
            xy[2 * n + 1] = dot(d, w);
            edges[n][0] = base + k;
            edges[n][1] = base + (k + 1) % (uint32_t)loop->n;
        }
    }
    po_flat flat;
    s = po_triangulate(xy, n, (const uint32_t(*)[2])edges, n, 1e-9 * outer->extent, arena, &flat, err);
    if (s != PO_OK) { /* edges that cross: not this way */
        s = s == PO_E_NOMEM ? s : PO_OK;
        goto done;
    }
    for (size_t i = 0; i < n; i++) {
        if (flat.same[i] != i) {
            goto done;
        }
    }
    size_t first = f->m->n_triangles;
    for (size_t t = 0; t < flat.n_triangles && s == PO_OK; t++) {
        const uint32_t *c = flat.corners + 3 * t;
        s = add_triangle(f, vertices[c[0]], vertices[c[1]], vertices[c[2]], err);
    }
    *ret_filled = s == PO_OK && f->m->n_triangles > first && fill_is_good(f, first, ret_sheet);
    if (!*ret_filled) {
        f->m->n_triangles = first;
    }
done:
    free(xy);
    free((void *)edges);
    free(vertices);
    po_arena_free(arena);
    return s;
}

/* ---- short loops ---- */

static po_status fill_short(filling *f, const po_loop *loop, bool *ret_filled, bool *ret_sheet, po_err *err)
{
    const po_mending *m = f->m;
    const uint32_t *v = f->loops.vertices + loop->begin;
    size_t n = loop->n;
    *ret_filled = *ret_sheet = false;
    double *weight = malloc(n * n * sizeof *weight);
    uint16_t *by = calloc(n * n, sizeof *by), (*stack)[2] = malloc(2 * n * sizeof *stack);
    po_status s = PO_OK;
    if (!weight || !by || !stack) {
        s = po_fail(err, PO_E_NOMEM, "no memory to fill a hole of %zu edges", n);
        goto done;
    }
    double dear = loop->extent * loop->extent; /* what a triangle without area costs */
    for (size_t span = 1; span < n; span++) {
        for (size_t i = 0; i + span < n; i++) {
            size_t k = i + span, uses;
            weight[i * n + k] = span == 1 ? 0 : INFINITY;
            if (span == 1) {
                continue;
            }
            if (span + 1 < n) { /* the chord must not be an edge already */
                po_edges_of(f->edges, v[i], v[k], &uses);
                if (uses) {
                    continue;
                }
            }
            double chord = length_between(at(m, v[i]), at(m, v[k])), extra = 1e-6 * chord * chord;
            for (size_t j = i + 1; j < k; j++) {
                double normal[3];
                cross_of(at(m, v[i]), at(m, v[j]), at(m, v[k]), normal);
                double area = sqrt(dot(normal, normal)) / 2,
                       sum = weight[i * n + j] + weight[j * n + k] + area + extra + (area < 1e-9 * dear ? dear : 0);
                if (sum < weight[i * n + k]) {
                    weight[i * n + k] = sum;
                    by[i * n + k] = (uint16_t)j;
                }
            }
        }
    }
    if (!isfinite(weight[n - 1])) {
        goto done;
    }
    size_t first = m->n_triangles, top = 0;
    double area = 0;
    stack[top][0] = 0;
    stack[top++][1] = (uint16_t)(n - 1);
    while (top > 0 && s == PO_OK) {
        uint16_t i = stack[--top][0], k = stack[top][1], j = by[i * n + k];
        double normal[3];
        cross_of(at(m, v[i]), at(m, v[j]), at(m, v[k]), normal);
        area += sqrt(dot(normal, normal)) / 2;
        s = add_triangle(f, v[i], v[j], v[k], err);
        if (k - j > 1) {
            stack[top][0] = j;
            stack[top++][1] = k;
        }
        if (j - i > 1) {
            stack[top][0] = i;
            stack[top++][1] = j;
        }
    }
    *ret_filled = s == PO_OK && area <= RAGGED * loop->area + SLIT * dear && fill_is_good(f, first, ret_sheet);
    if (!*ret_filled) {
        f->m->n_triangles = first;
    }
done:
    free(weight);
    free(by);
    free((void *)stack);
    return s;
}

/* ---- which loops ---- */

/* Loops that lie in the plane of loop i, run the other way round and are directly within it. */
static size_t holes_of(const filling *f, uint32_t i, uint32_t *ret)
{
    const po_loop_list *l = &f->loops;
    const po_loop *outer = &l->loops[i];
    size_t n = 1;
    ret[0] = i;
    if (l->n > MOST_SORTED_BY_PLANE) {
        return n;
    }
    for (uint32_t k = 0; k < l->n; k++) {
        const po_loop *inner = &l->loops[k];
        if (k == i || f->done[k] || inner->area >= outer->area || inner->off > FLAT * inner->extent ||
            dot(inner->normal, outer->normal) > -0.999999) {
            continue;
        }
        double d[3];
        for (int axis = 0; axis < 3; axis++) {
            d[axis] = inner->centre[axis] - outer->centre[axis];
        }
        if (fabs(dot(d, outer->normal)) > SAME_PLANE * f->m->diagonal + outer->off + inner->off ||
            !po_loop_holds(l, outer, f->m->xyz, at(f->m, l->vertices[inner->begin]))) {
            continue;
        }
        ret[n++] = k;
    }
    return n;
}

static po_status fill_all(filling *f, size_t largest_corners, po_err *err)
{
    const po_loop_list *l = &f->loops;
    uint32_t *list = malloc((l->n + 1) * sizeof *list), *order = malloc((l->n + 1) * sizeof *order);
    po_status s = PO_OK;
    if (!list || !order) {
        free(list);
        free(order);
        return po_fail(err, PO_E_NOMEM, "no memory to fill %zu holes", l->n);
    }
    po_loops_by_area(l, order); /* larger ones first: they may hold others */
    for (size_t i = 0; i < l->n && s == PO_OK; i++) {
        const po_loop *loop = &l->loops[order[i]];
        bool filled = false, sheet = false;
        bool slit = loop->area <= SLIT * loop->extent * loop->extent;
        bool flat = loop->off <= FLAT * loop->extent && !slit;
        bool brief = loop->n <= 4 || loop->extent <= SHORT * f->m->diagonal || slit;
        if (f->done[order[i]] || loop->n > largest_corners) {
            continue;
        }
        size_t n = 1, first = f->m->n_triangles;
        if (flat) {
            n = holes_of(f, order[i], list);
            s = fill_flat(f, list, n, &filled, &sheet, err);
            if (s == PO_OK && !filled && !sheet && n > 1) {
                n = 1;
                s = fill_flat(f, list, 1, &filled, &sheet, err);
            }
        }
        if (s == PO_OK && !filled && !sheet && (flat || brief) && loop->n <= MOST_DYNAMIC) {
            n = 1;
            list[0] = order[i];
            s = fill_short(f, loop, &filled, &sheet, err);
        }
        for (size_t k = 0; filled && k < n; k++) {
            f->done[list[k]] = 1;
        }
        f->counts->filled += filled ? n : 0;
        f->counts->triangles += f->m->n_triangles - first;
        f->counts->sheets += !filled && sheet;
        f->counts->large += !filled && !sheet && !flat && !brief;
        f->counts->ragged += !filled && !sheet && (flat || brief);
    }
    free(list);
    free(order);
    return s;
}

po_status po_mend_holes(po_mending *m, size_t largest_corners, po_hole_counts *ret, po_err *err)
{
    po_mesh mesh = po_mending_mesh(m);
    po_edges edges;
    *ret = (po_hole_counts){0};
    po_status s = po_edges_find(&mesh, &edges, err);
    if (s != PO_OK) {
        return s;
    }
    filling f = {.m = m, .edges = &edges, .counts = ret, .first_new = m->n_triangles};
    uint64_t loose;
    s = po_loops_of_holes(m, &edges, &f.loops, &loose, err);
    if (s == PO_OK) {
        ret->ragged += loose > 0;
        f.done = calloc(f.loops.n + 1, 1);
        s = f.done ? fill_all(&f, largest_corners, err)
                   : po_fail(err, PO_E_NOMEM, "no memory to fill %zu holes", f.loops.n);
        free(f.done);
        po_loop_list_done(&f.loops);
    }
    po_edges_done(&edges);
    return s;
}
