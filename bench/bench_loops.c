/* How fast outlines are joined, clipped and offset. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_loops [ROUNDS]
 * Outlines as sections have them: wavy rings of 200 to 5000 points with holes, nested rings, combs, many small rings.
 * Each is done by ours and by GEOS (GEOSBuffer_r with round joins and at least as coarse an arc, GEOSUnion_r,
 * GEOSIntersection_r, GEOSDifference_r) in turns, best of ROUNDS each; GEOS is given its own geometries ready made, so that
 * only its work is timed. Prints one line of JSON: seconds of both, how often ours goes into GEOS, and by how much the
 * areas differ, relative to the area. */
#include <geos_c.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "geometry/clip_test.h"

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Outer loops in order, each followed by its holes. */
static GEOSGeometry *to_geos(GEOSContextHandle_t g, const po_loops *l)
{
    GEOSGeometry **polygons = calloc(l->n_loops + 1, sizeof *polygons), **rings = calloc(l->n_loops + 1, sizeof *rings);
    unsigned n = 0, n_rings = 0;
    for (size_t i = 0, start = 0; i <= l->n_loops; start = l->ends[i++]) {
        po_loops one = {0};
        uint32_t one_end = 0;
        if (i < l->n_loops) {
            one_end = (uint32_t)(l->ends[i] - start);
            one = (po_loops){l->xy + 2 * start, one_end, &one_end, 1};
        }
        if (n_rings > 0 && (i == l->n_loops || area_of(&one) > 0)) {
            polygons[n++] = GEOSGeom_createPolygon_r(g, rings[0], rings + 1, n_rings - 1);
            n_rings = 0;
        }
        if (i == l->n_loops) {
            break;
        }
        GEOSCoordSequence *s = GEOSCoordSeq_create_r(g, (unsigned)one.n_points + 1, 2);
        for (unsigned k = 0; k <= one.n_points; k++) {
            const double *p = one.xy + 2 * (k % one.n_points);
            GEOSCoordSeq_setXY_r(g, s, k, p[0], p[1]);
        }
        rings[n_rings++] = GEOSGeom_createLinearRing_r(g, s);
    }
    GEOSGeometry *all = GEOSGeom_createCollection_r(g, GEOS_MULTIPOLYGON, polygons, n);
    free(polygons);
    free(rings);
    return all;
}

enum { UNION, COMMON, LESS, GROW, SHRINK, FAR, N_WHAT };
static const char *const what_names[] = {"union", "common", "less", "grow", "shrink", "far"};
static const double by_of[] = {0, 0, 0, 0.4, -0.45, -2.5};
static const double OFF = 0.005;

static void make(int kind, int n, shape *a, shape *b)
{
    *a = *b = (shape){0};
    switch (kind) {
    case 0: /* a wavy ring with a hole */
        shape_ring(a, 50, 50, 40, n, 0.1, 12, 0);
        shape_ring(a, 50, 50, -20, n / 2, 0.1, 9, 0);
        shape_ring(b, 58, 53, 40, n, 0.1, 11, 0.3);
        shape_ring(b, 58, 53, -20, n / 2, 0.1, 7, 0);
        break;
    case 1: /* nested rings */
        for (int i = 10; i >= 1; i--) {
            shape_ring(a, 50, 50, 6.0 * i, n / 10 + 3, 0.02, 6, 0);
            shape_ring(a, 50, 50, -(6.0 * i - 3), n / 10 + 3, 0.02, 6, 0);
            shape_ring(b, 53, 50, 6.0 * i, n / 10 + 3, 0.02, 5, 0);
            shape_ring(b, 53, 50, -(6.0 * i - 3), n / 10 + 3, 0.02, 5, 0);
        }
        break;
    case 2: /* combs, one turned */
        for (int k = 0; k < 2; k++) {
            shape *s = k ? b : a;
            int teeth = n <= 200 ? 50 : n <= 1000 ? 100 : 150; /* crossings go with the square */
            double pitch = 100.0 / teeth;
            for (int i = 0; i < teeth; i++) {
                double x[4] = {i * pitch, i * pitch, (i + 0.6) * pitch, (i + 0.6) * pitch}, y[4] = {5, 60, 60, 5};
                for (int j = 0; j < 4; j++) {
                    shape_point(s, k ? y[j] : x[j], k ? x[j] : y[j]);
                }
            }
            shape_point(s, k ? 0 : 100, k ? 100 : 0);
            shape_point(s, 0, 0);
            shape_end(s);
            for (size_t i = 0; i < s->n / 2 && k == 0; i++) { /* drawn clockwise: turn it */
                size_t j = s->n - 1 - i;
                double x = s->xy[2 * i], y = s->xy[2 * i + 1];
                memcpy(&s->xy[2 * i], &s->xy[2 * j], 2 * sizeof x);
                s->xy[2 * j] = x;
                s->xy[2 * j + 1] = y;
            }
        }
        break;
    default: /* many small rings */
        for (int i = 0; i < n / 20; i++) {
            shape_ring(a, 3.0 * (i % 16), 3.0 * (i / 16), 1.2, 20, 0.1, 3, 0.1 * i);
            shape_ring(b, 3.0 * (i % 16) + 0.7, 3.0 * (i / 16), 1.2, 20, 0.1, 3, 0.2 * i);
        }
        break;
    }
}

static void complain(const char *message, void *user)
{
    (void)user;
    fprintf(stderr, "%s\n", message);
}

int main(int argc, char **argv)
{
    static const char *const kinds[] = {"wavy", "nested", "combs", "many"};
    static const int sizes[] = {200, 1000, 5000}; /* corners */
    int rounds = argc > 1 ? atoi(argv[1]) : 5;
    GEOSContextHandle_t g = GEOS_init_r();
    GEOSContext_setErrorMessageHandler_r(g, complain, NULL);
    shape *sa = calloc(1, sizeof *sa), *sb = calloc(1, sizeof *sb);
    double least = INFINITY, sum_ours = 0, sum_geos = 0, worst = 0;
    if (!sa || !sb || rounds < 1) {
        return 1;
    }
    printf("{\"bench\": \"loops\", \"rounds\": %d, \"cases\": [", rounds);
    for (int i = 0; i < 4 * 3 * N_WHAT; i++) {
        int kind = i / N_WHAT / 3, n = sizes[i / N_WHAT % 3], what = i % N_WHAT;
        make(kind, n, sa, sb);
        po_loops a = shape_loops(sa), b = shape_loops(sb);
        GEOSGeometry *ga = to_geos(g, &a), *gb = to_geos(g, &b);
        double ours = INFINITY, theirs = INFINITY, area = 0, their_area = 0;
        size_t points = 0;
        for (int r = 0; r < rounds; r++) {
            double t = now();
            po_arena *arena = po_arena_new(0);
            po_loops out = {0};
            po_err err;
            po_status status = what < GROW ? po_loops_clip(&a, &b, (po_clip)what, arena, &out, &err)
                                           : po_loops_offset(&a, by_of[what], OFF, arena, &out, &err);
            ours = fmin(ours, now() - t);
            if (status) {
                fprintf(stderr, "%s\n", err.msg);
                return 1;
            }
            area = area_of(&out);
            points = out.n_points;
            po_arena_free(arena);
            double by = by_of[what], step = by ? 4 * asin(sqrt(OFF / (2 * fabs(by)))) : 1;
            int quarter = (int)ceil(M_PI / 2 / step - 1e-9);
            t = now();
            GEOSGeometry *gr = what == UNION    ? GEOSUnion_r(g, ga, gb)
                               : what == COMMON ? GEOSIntersection_r(g, ga, gb)
                               : what == LESS   ? GEOSDifference_r(g, ga, gb)
                                                : GEOSBuffer_r(g, ga, by, quarter);
            theirs = fmin(theirs, now() - t);
            if (!gr || !GEOSArea_r(g, gr, &their_area)) {
                fprintf(stderr, "GEOS gave no answer\n");
                return 1;
            }
            GEOSGeom_destroy_r(g, gr);
        }
        double differ = fabs(area - their_area) / fmax(1, their_area);
        if (what < GROW) {
            worst = fmax(worst, differ);
        }
        least = fmin(least, theirs / ours);
        sum_ours += ours;
        sum_geos += theirs;
        printf("%s{\"what\": \"%s\", \"shape\": \"%s\", \"points\": %zu, \"out\": %zu, \"ours_s\": %.6f, \"geos_s\": "
               "%.6f, "
               "\"ratio\": %.2f, \"area_differs\": %.2g}",
               i ? ", " : "", what_names[what], kinds[kind], a.n_points, points, ours, theirs, theirs / ours, differ);
        GEOSGeom_destroy_r(g, ga);
        GEOSGeom_destroy_r(g, gb);
    }
    printf("], \"ours_s\": %.6f, \"geos_s\": %.6f, \"ratio\": %.2f, \"least_ratio\": %.2f, \"clips_differ\": %.2g}\n",
           sum_ours, sum_geos, sum_geos / sum_ours, least, worst);
    free(sa);
    free(sb);
    GEOS_finish_r(g);
    return 0;
}
