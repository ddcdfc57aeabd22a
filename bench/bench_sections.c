/* How fast a mesh becomes sections. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_sections [TRIANGLES] [ring | lumps | torn] [FILE.stl] [SECTIONS] [ROUNDS]
 * Makes a ring or a lumpy ball of about so many triangles (torn: the ball with a lone triangle beside it, so that no
 * section is sound), welds it, and times sections at the middles of equal slabs between its bounds, with area and
 * perimeter, on one thread and on two in turn. The mesh is left as a binary STL for outside/sections.py where a file is
 * named. Prints one line of JSON: seconds, smallest and median of ROUNDS. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "part/shapes_turned.h"
#include "part/weld.h"
#include "proveout/solid.h"

enum { MOST_ROUNDS = 99 };

typedef struct times {
    double cut[MOST_ROUNDS], all[MOST_ROUNDS];
} times;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void make(soup *s, size_t triangles, const char *kind)
{
    if (strcmp(kind, "ring") == 0) {
        size_t m = (size_t)sqrt((double)triangles / 4) + 2, n = triangles / 2 / m + 1;
        soup_torus(s, 100, 100, 20, 30, 10, n, m);
        return;
    }
    soup_lumps(s, 100, 100, 50, 40, triangles);
    if (strcmp(kind, "torn") == 0) {
        soup_add(s, (double[]){200, 0, 0}, (double[]){210, 0, 0}, (double[]){200, 0, 100});
    }
}

static void save(const soup *s, const char *path)
{
    size_t n;
    unsigned char *bytes = soup_binary(s, (uint32_t)s->n, &n);
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(bytes, 1, n, file) != n || fclose(file) != 0) {
        perror(path);
        exit(1);
    }
    free(bytes);
}

static po_mesh weld_soup(const soup *s, po_arena *arena)
{
    po_weld weld;
    bool good = po_weld_init(&weld, arena, s->n);
    for (size_t t = 0; good && t < s->n; t += PO_WELD_BATCH) {
        good = po_weld_add(&weld, s->nine + 9 * t, s->n - t < PO_WELD_BATCH ? s->n - t : PO_WELD_BATCH);
    }
    po_weld_done(&weld);
    if (!good) {
        fprintf(stderr, "bench_sections: no memory\n");
        exit(1);
    }
    return (po_mesh){weld.xyz, weld.n_vertices, weld.corners, weld.n_triangles};
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void print_times(const char *name, double *seconds, int rounds)
{
    qsort(seconds, (size_t)rounds, sizeof *seconds, rising);
    printf(", \"%s\": {\"smallest_s\": %.4f, \"median_s\": %.4f}", name, seconds[0], seconds[rounds / 2]);
}

int main(int argc, char **argv)
{
    size_t triangles = argc > 1 ? (size_t)atol(argv[1]) : 1000000, n_z = argc > 4 ? (size_t)atol(argv[4]) : 500;
    const char *kind = argc > 2 ? argv[2] : "ring";
    int rounds = argc > 5 ? atoi(argv[5]) : 5;
    rounds = rounds < 1 ? 1 : rounds > MOST_ROUNDS ? MOST_ROUNDS : rounds;
    soup s = {0};
    make(&s, triangles, kind);
    if (argc > 3) {
        save(&s, argv[3]);
    }
    po_arena *mesh_arena = po_arena_new(0);
    po_mesh mesh = weld_soup(&s, mesh_arena);
    free(s.nine);
    double low = INFINITY, high = -INFINITY, *z = malloc((n_z + 1) * sizeof *z), area = 0, length = 0;
    po_section *ret = malloc((n_z + 1) * sizeof *ret);
    if (!z || !ret) {
        return 1;
    }
    for (size_t v = 0; v < mesh.n_vertices; v++) {
        low = fmin(low, mesh.xyz[3 * v + 2]);
        high = fmax(high, mesh.xyz[3 * v + 2]);
    }
    for (size_t i = 0; i < n_z; i++) {
        z[i] = low + (high - low) * ((double)i + 0.5) / (double)n_z;
    }
    static times by_threads[2];
    size_t loops = 0, points = 0, open = 0;
    for (int i = 0; i < 2 * rounds; i++) {
        times *t = &by_threads[i % 2];
        po_err err;
        po_arena *arena = po_arena_new(0);
        double begun = now();
        if (po_mesh_sections(&mesh, z, n_z, i % 2 + 1, arena, ret, &err) != PO_OK) {
            fprintf(stderr, "bench_sections: %s\n", err.msg);
            return 1;
        }
        t->cut[i / 2] = now() - begun;
        area = length = 0;
        for (size_t k = 0; k < n_z; k++) {
            area += po_loops_area(&ret[k].loops);
            length += po_loops_length(&ret[k].loops);
        }
        t->all[i / 2] = now() - begun;
        loops = points = open = 0;
        for (size_t k = 0; k < n_z; k++) {
            loops += ret[k].loops.n_loops;
            points += ret[k].loops.n_points;
            open += ret[k].open_ends;
        }
        po_arena_free(arena);
    }
    printf("{\"bench\": \"sections\", \"kind\": \"%s\", \"triangles\": %zu, \"sections\": %zu, \"loops\": %zu, "
           "\"points\": %zu, \"open_ends\": %zu, \"area_mm2\": %.3f, \"length_mm\": %.3f",
           kind, mesh.n_triangles, n_z, loops, points, open, area, length);
    print_times("one_thread", by_threads[0].all, rounds);
    print_times("two_threads", by_threads[1].all, rounds);
    print_times("one_thread_outlines_alone", by_threads[0].cut, rounds);
    printf("}\n");
    po_arena_free(mesh_arena);
    free(z);
    free(ret);
    return 0;
}
