/* Loops by way of GEOS: lines are noded on a grid, made into faces, and the faces with positive winding are joined.
 * SPDX-License-Identifier: Apache-2.0 */
#include "geometry/loops_geos.h"

#include <geos_c.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double GRID = 1e-7; /* mm */

static int winding(const po_loops *l, double x, double y)
{
    int w = 0;
    for (size_t i = 0, start = 0; i < l->n_loops; start = l->ends[i++]) {
        for (size_t k = start; k < l->ends[i]; k++) {
            const double *p = l->xy + 2 * k, *q = l->xy + 2 * (k + 1 < l->ends[i] ? k + 1 : start);
            if ((p[1] <= y) != (q[1] <= y)) {
                double side = (q[0] - p[0]) * (y - p[1]) - (x - p[0]) * (q[1] - p[1]);
                w += p[1] <= y ? side > 0 : -(side < 0);
            }
        }
    }
    return w;
}

static GEOSGeometry *area_of(GEOSContextHandle_t g, const po_loops *l)
{
    GEOSGeometry **lines = malloc((l->n_loops + 1) * sizeof(GEOSGeometry *));
    unsigned n = 0;
    for (size_t i = 0, start = 0; lines && i < l->n_loops; start = l->ends[i++]) {
        unsigned m = (unsigned)(l->ends[i] - start);
        if (m < 3) {
            continue;
        }
        GEOSCoordSequence *s = GEOSCoordSeq_create_r(g, m + 1, 2);
        for (unsigned k = 0; s && k <= m; k++) {
            const double *p = l->xy + 2 * (start + k % m);
            GEOSCoordSeq_setXY_r(g, s, k, p[0], p[1]);
        }
        lines[n] = s ? GEOSGeom_createLineString_r(g, s) : NULL;
        n += lines[n] != NULL;
    }
    if (!lines) {
        return NULL;
    }
    GEOSGeometry *all = GEOSGeom_createCollection_r(g, GEOS_MULTILINESTRING, lines, n);
    GEOSGeometry *noded = all ? GEOSUnaryUnionPrec_r(g, all, GRID) : NULL;
    const GEOSGeometry *const one[1] = {noded};
    GEOSGeometry *faces = noded ? GEOSPolygonize_r(g, one, 1) : NULL;
    GEOSGeometry *ret = NULL;
    int n_faces = faces ? GEOSGetNumGeometries_r(g, faces) : 0;
    GEOSGeometry **kept = malloc(((size_t)n_faces + 1) * sizeof(GEOSGeometry *));
    unsigned n_kept = 0;
    for (int i = 0; kept && i < n_faces; i++) {
        const GEOSGeometry *f = GEOSGetGeometryN_r(g, faces, i);
        GEOSGeometry *p = GEOSPointOnSurface_r(g, f);
        double x = 0, y = 0;
        if (p && GEOSGeomGetX_r(g, p, &x) == 1 && GEOSGeomGetY_r(g, p, &y) == 1 && winding(l, x, y) > 0) {
            kept[n_kept] = GEOSGeom_clone_r(g, f);
            n_kept += kept[n_kept] != NULL;
        }
        GEOSGeom_destroy_r(g, p);
    }
    if (kept && faces) {
        GEOSGeometry *many = GEOSGeom_createCollection_r(g, GEOS_MULTIPOLYGON, kept, n_kept);
        ret = many ? GEOSUnaryUnionPrec_r(g, many, GRID) : NULL;
        GEOSGeom_destroy_r(g, many);
    }
    GEOSGeom_destroy_r(g, faces);
    GEOSGeom_destroy_r(g, noded);
    GEOSGeom_destroy_r(g, all);
    free(kept);
    free(lines);
    return ret;
}

/* One ring, turned as wanted, onto the end of the result (or only counted when xy is NULL). */
static void put_ring(GEOSContextHandle_t g, const GEOSGeometry *ring, bool ccw, double *xy, uint32_t *ends, size_t *n,
                     size_t *n_loops)
{
    const GEOSCoordSequence *s = GEOSGeom_getCoordSeq_r(g, ring);
    unsigned m = 0;
    char is_ccw = 0;
    GEOSCoordSeq_getSize_r(g, s, &m);
    if (m < 4) {
        return;
    }
    m--;
    if (xy) {
        GEOSCoordSeq_isCCW_r(g, s, &is_ccw);
        for (unsigned k = 0; k < m; k++) {
            GEOSCoordSeq_getXY_r(g, s, (bool)is_ccw == ccw ? k : m - 1 - k, xy + 2 * (*n + k), xy + 2 * (*n + k) + 1);
        }
        ends[*n_loops] = (uint32_t)(*n + m);
    }
    *n += m;
    *n_loops += 1;
}

static po_status to_loops(GEOSContextHandle_t g, const GEOSGeometry *area, po_arena *arena, po_loops *ret, po_err *err)
{
    double *xy = NULL;
    uint32_t *ends = NULL;
    size_t n = 0, n_loops = 0;
    for (int pass = 0; pass < 2; pass++) {
        n = n_loops = 0;
        int n_parts = GEOSGetNumGeometries_r(g, area);
        for (int i = 0; i < n_parts; i++) {
            const GEOSGeometry *f = GEOSGetGeometryN_r(g, area, i);
            if (GEOSGeomTypeId_r(g, f) != GEOS_POLYGON || GEOSisEmpty_r(g, f)) {
                continue;
            }
            put_ring(g, GEOSGetExteriorRing_r(g, f), true, xy, ends, &n, &n_loops);
            for (int k = 0; k < GEOSGetNumInteriorRings_r(g, f); k++) {
                put_ring(g, GEOSGetInteriorRingN_r(g, f, k), false, xy, ends, &n, &n_loops);
            }
        }
        if (pass == 0) {
            xy = po_arena_zeros(arena, n + 1, 2 * sizeof *xy);
            ends = po_arena_zeros(arena, n_loops + 1, sizeof *ends);
            if (!xy || !ends) {
                return po_fail(err, PO_E_NOMEM, "no memory left for outlines");
            }
        }
    }
    *ret = (po_loops){xy, n, ends, n_loops};
    return PO_OK;
}

static po_status check(const po_loops *l, po_err *err)
{
    for (size_t i = 0; i < 2 * l->n_points; i++) {
        if (!(fabs(l->xy[i]) <= 1e6)) {
            return po_fail(err, PO_E_RANGE, "an outline has a coordinate beyond 1e6 mm");
        }
    }
    return PO_OK;
}

po_status po_geos_clip(const po_loops *a, const po_loops *b, po_clip how, po_arena *arena, po_loops *ret, po_err *err)
{
    po_loops none = {0};
    b = b ? b : &none;
    po_status s = check(a, err);
    s = s ? s : check(b, err);
    if (s) {
        return s;
    }
    GEOSContextHandle_t g = GEOS_init_r();
    GEOSGeometry *ga = area_of(g, a), *gb = area_of(g, b), *gr = NULL;
    if (ga && gb) {
        gr = how == PO_CLIP_UNION    ? GEOSUnionPrec_r(g, ga, gb, GRID)
             : how == PO_CLIP_COMMON ? GEOSIntersectionPrec_r(g, ga, gb, GRID)
                                     : GEOSDifferencePrec_r(g, ga, gb, GRID);
    }
    s = gr ? to_loops(g, gr, arena, ret, err) : po_fail(err, PO_E_INTERNAL, "outlines could not be clipped");
    GEOSGeom_destroy_r(g, gr);
    GEOSGeom_destroy_r(g, gb);
    GEOSGeom_destroy_r(g, ga);
    GEOS_finish_r(g);
    return s;
}

po_status po_geos_offset(const po_loops *loops, double by_mm, double arc_error_mm, po_arena *arena, po_loops *ret,
                         po_err *err)
{
    po_status s = check(loops, err);
    if (s) {
        return s;
    }
    if (!(fabs(by_mm) <= 1e6) || !(arc_error_mm >= 1e-7) || !(arc_error_mm <= 1e6)) {
        return po_fail(err, PO_E_RANGE, "an offset of %g mm with an arc error of %g mm", by_mm, arc_error_mm);
    }
    double quarter = M_PI / 2, step = 2 * acos(1 - fmin(1, arc_error_mm / fmax(fabs(by_mm), 1e-12)));
    GEOSContextHandle_t g = GEOS_init_r();
    GEOSGeometry *ga = area_of(g, loops);
    int segments = (int)fmin(1e4, fmax(1, ceil(quarter / step)));
    GEOSGeometry *gr = ga ? GEOSBuffer_r(g, ga, by_mm, segments) : NULL;
    s = gr ? to_loops(g, gr, arena, ret, err) : po_fail(err, PO_E_INTERNAL, "outlines could not be offset");
    GEOSGeom_destroy_r(g, gr);
    GEOSGeom_destroy_r(g, ga);
    GEOS_finish_r(g);
    return s;
}
