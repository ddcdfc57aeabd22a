/* One plane cut and its facts. SPDX-License-Identifier: Apache-2.0
 *
 * The cutting itself is in cut_mesh.c. How thick a joint is at its thinnest comes from insets: a region of the section
 * falls in two, or away, where the inset is more than half of that (the section's medial axis has its lowest saddle
 * there); the inset is found by halving. */
#include "part/cut.h"

#include <math.h>
#include <string.h>

static const double ARC_ERROR = 0.02; /* mm; corners of insets are sharp, arcs matter at inner corners only */

void po_plane_frame(const po_plane *plane, double ret[12])
{
    const double *n = plane->n;
    int least = 0;
    for (int k = 1; k < 3; k++) {
        least = fabs(n[k]) < fabs(n[least]) ? k : least;
    }
    /* u: the axis nearest to the plane, made level with it; v = n x u */
    double u[3], length = 0;
    for (int k = 0; k < 3; k++) {
        u[k] = (k == least) - n[least] * n[k];
        length += u[k] * u[k];
    }
    length = sqrt(length);
    for (int k = 0; k < 3; k++) {
        ret[k] = u[k] / length;
    }
    ret[3] = n[1] * ret[2] - n[2] * ret[1];
    ret[4] = n[2] * ret[0] - n[0] * ret[2];
    ret[5] = n[0] * ret[1] - n[1] * ret[0];
    for (int k = 0; k < 3; k++) {
        ret[6 + k] = n[k];
        ret[9 + k] = plane->d * n[k];
    }
}

double po_cut_tolerance(const po_mesh *mesh)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY}, most = 0, sum = 0;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        for (int k = 0; k < 3; k++) {
            double x = mesh->xyz[3 * v + (size_t)k];
            low[k] = fmin(low[k], x);
            high[k] = fmax(high[k], x);
            most = fmax(most, fabs(x));
        }
    }
    for (int k = 0; k < 3 && mesh->n_vertices; k++) {
        sum += (high[k] - low[k]) * (high[k] - low[k]);
    }
    /* rounding of a distance is some 1e-16 of the largest coordinate; a billionth of the part is far below any bead */
    return fmax(1e-9 * sqrt(sum), 2e-15 * most);
}

/* ---- the thinnest place ---- */

static double loop_area(const po_loops *loops, size_t i)
{
    size_t first = i ? loops->ends[i - 1] : 0, last = loops->ends[i];
    double sum = 0;
    for (size_t k = first; k < last; k++) {
        const double *o = loops->xy + 2 * first, *p = loops->xy + 2 * k,
                     *q = loops->xy + 2 * (k + 1 < last ? k + 1 : first);
        sum += (p[0] - o[0]) * (q[1] - o[1]) - (q[0] - o[0]) * (p[1] - o[1]);
    }
    return sum / 2;
}

static size_t regions(const po_loops *loops, double *ret_widest)
{
    size_t n = 0;
    for (size_t i = 0; i < loops->n_loops; i++) {
        double area = loop_area(loops, i);
        n += area > 0;
        if (ret_widest && area > 0) { /* a disc holds the largest inset of all shapes of its area */
            *ret_widest = fmin(*ret_widest, 2 * sqrt(area / 3.14159265358979323846));
        }
    }
    return n;
}

po_status po_section_least(const po_loops *section, double most, double *ret_mm, po_err *err)
{
    po_arena *own = po_arena_new(0);
    po_loops clean;
    po_status status = own ? po_loops_clip(section, NULL, PO_CLIP_UNION, own, &clean, err)
                           : po_fail(err, PO_E_NOMEM, "memory ran out");
    double high = most, low = 0;
    size_t whole = status == PO_OK ? regions(&clean, &high) : 0;
    if (whole == 0) {
        high = 0;
    }
    high *= 1.0001;
    double next = high; /* most first: a sturdy joint is told by one inset */
    while (status == PO_OK && high - low > 0.004 * high && high > 1e-3) {
        po_arena *step = po_arena_new(0);
        po_loops inset;
        status = step ? po_loops_offset(&clean, -next / 2, ARC_ERROR, step, &inset, err)
                      : po_fail(err, PO_E_NOMEM, "memory ran out");
        bool still = status == PO_OK && regions(&inset, NULL) == whole;
        po_arena_free(step);
        low = still ? next : low;
        high = still ? high : next;
        if (still && next >= high) {
            break;
        }
        next = (low + high) / 2;
    }
    po_arena_free(own);
    if (status == PO_OK) {
        *ret_mm = fmin(low, most);
    }
    return status;
}

po_status po_mesh_cut(const po_mesh *mesh, const po_plane *plane, po_arena *arena, po_mesh *ret_below,
                      po_mesh *ret_above, po_cut *ret_cut, po_err *err)
{
    double length = sqrt(plane->n[0] * plane->n[0] + plane->n[1] * plane->n[1] + plane->n[2] * plane->n[2]);
    if (!(fabs(length - 1) < 1e-6) || !isfinite(plane->d)) {
        return po_fail(err, PO_E_RANGE, "a plane's normal must have length 1");
    }
    po_plane unit = {{plane->n[0] / length, plane->n[1] / length, plane->n[2] / length}, plane->d / length};
    po_mesh_facts facts;
    po_arena *own = po_arena_new(0);
    po_status status = own ? po_mesh_measure(mesh, 1, own, &facts, err) : po_fail(err, PO_E_NOMEM, "memory ran out");
    bool closed = status == PO_OK && facts.watertight && facts.judged == mesh,
         inside_out = closed && facts.volume_mm3 < 0;
    po_arena_free(own);
    if (status != PO_OK) {
        return status;
    }
    if (!closed || inside_out) {
        return po_fail(err, PO_E_RANGE, "the mesh is %s; mend it first",
                       inside_out ? "inside out" : "not the closed surface of a solid");
    }
    po_mesh halves[2];
    po_cut cut;
    status = po_cut_mesh(mesh, &unit, NULL, 0, arena, &halves[0], &halves[1], &cut, err);
    if (status == PO_OK) {
        status = po_section_least(&cut.section, 1e6, &cut.least_mm, err);
    }
    if (status == PO_OK) {
        *ret_below = halves[0];
        *ret_above = halves[1];
        *ret_cut = cut;
    }
    return status;
}
