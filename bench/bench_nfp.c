/* No-fit polygons of shapes with 30 corners: prints one line of JSON. SPDX-License-Identifier: Apache-2.0
 *
 * bench_nfp PAIRS FILE writes the shapes, two lines of coordinates (in 1/1000 mm) for each pair, for bench/outside/cgal_nfp.cpp.
 * Shapes are stars with radii at random from a seed, so simple, with about half their corners turning inwards. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "proveout/nest.h"

enum { CORNERS = 30, MOST = 1000 };

static double number(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(*state >> 40) / 16777216.0;
}

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

int main(int argc, char **argv)
{
    long pairs = argc == 3 ? strtol(argv[1], NULL, 10) : 0;
    FILE *out = argc == 3 ? fopen(argv[2], "w") : NULL;
    if (pairs < 1 || pairs > MOST || !out) {
        fprintf(stderr, "usage: bench_nfp PAIRS FILE\n");
        return 4;
    }
    static double xy[MOST][2][2 * CORNERS];
    uint64_t seed = 20261201;
    for (long p = 0; p < pairs; p++) {
        for (int s = 0; s < 2; s++) {
            for (int i = 0; i < CORNERS; i++) {
                double r = (s ? 30 : 50) * (0.35 + 0.65 * number(&seed)), a = 2 * M_PI * i / CORNERS;
                xy[p][s][2 * i] = round(1000 * r * cos(a)) / 1000;
                xy[p][s][2 * i + 1] = round(1000 * r * sin(a)) / 1000;
                fprintf(out, "%.0f %.0f ", 1000 * xy[p][s][2 * i], 1000 * xy[p][s][2 * i + 1]);
            }
            fputc('\n', out);
        }
    }
    fclose(out);
    double area = 0, best = INFINITY;
    size_t corners = 0;
    const uint32_t end = CORNERS;
    for (int times = 0; times < 3; times++) {
        double begun = now();
        area = 0;
        corners = 0;
        for (long p = 0; p < pairs; p++) {
            po_arena *arena = po_arena_new(0);
            po_loops a = {xy[p][0], CORNERS, &end, 1}, b = {xy[p][1], CORNERS, &end, 1}, sum;
            po_err err;
            if (po_nest_no_fit(&a, &b, arena, &sum, &err) != PO_OK) {
                fprintf(stderr, "bench_nfp: %s\n", err.msg);
                return 5;
            }
            area += po_loops_area(&sum);
            corners += sum.n_points;
            po_arena_free(arena);
        }
        best = fmin(best, now() - begun);
    }
    printf("{\"bench\": \"nfp\", \"pairs\": %ld, \"corners\": %d, \"ms_each\": %.4f, \"area\": %.6f, \"corners_out\": "
           "%zu}\n",
           pairs, CORNERS, 1e3 * best / (double)pairs, area, corners);
    return 0;
}
