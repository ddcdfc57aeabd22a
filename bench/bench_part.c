/* One part file through the library, step by step. SPDX-License-Identifier: Apache-2.0
 * usage: bench_part FILE [THREADS [cuts]]. Prints one line of JSON: seconds of each step, facts, peak memory. */
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <time.h>

#include "proveout/solid.h"

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int fail(const po_err *err)
{
    char text[500];
    fprintf(stderr, "bench_part: %s\n", po_err_text(err, text, sizeof text));
    return 1;
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        fprintf(stderr, "usage: bench_part FILE [THREADS [cuts]]\n");
        return 2;
    }
    int threads = argc > 2 ? atoi(argv[2]) : 0;
    po_arena *arena = po_arena_new(0);
    po_source source = {.path = argv[1]};
    const po_part *part;
    po_mesh_facts facts;
    po_mesh_self_cuts cuts = {0};
    po_err err;
    double begun = now();
    if (po_part_read(&source, NULL, arena, &part, &err) != PO_OK) {
        return fail(&err);
    }
    double read = now() - begun;
    begun = now();
    if (po_mesh_measure(&part->objects[0].mesh, threads, arena, &facts, &err) != PO_OK) {
        return fail(&err);
    }
    double measured = now() - begun, cut = 0;
    struct rusage use;
    getrusage(RUSAGE_SELF, &use);
    if (argc > 3) {
        begun = now();
        if (po_mesh_find_self_cuts(facts.judged, threads, arena, &cuts, &err) != PO_OK) {
            return fail(&err);
        }
        cut = now() - begun;
    }
    printf(
        "{\"triangles\": %llu, \"open_edges\": %llu, \"volume_mm3\": %.12g, \"area_mm2\": %.12g, \"self_cuts\": %llu, "
        "\"read\": %.6f, \"facts\": %.6f, \"cuts\": %.6f, \"peak_mb\": %.1f}\n",
        (unsigned long long)facts.triangles, (unsigned long long)facts.open_edges, facts.volume_mm3, facts.area_mm2,
        (unsigned long long)cuts.pairs, read, measured, cut, (double)use.ru_maxrss / 1024);
    po_arena_free(arena);
    return 0;
}
