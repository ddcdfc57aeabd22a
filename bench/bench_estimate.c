/* How long an estimate takes: a part of a million triangles by the everyday recipe, against cutting it into 500
 * sections, which any estimate has to do in some form. Prints one line of JSON. SPDX-License-Identifier: Apache-2.0
 * Usage: bench_estimate SHOP_FILE [TRIANGLES] [THREADS] */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

#include "proveout/solid.h"

enum { RUNS = 5, SECTIONS = 500 };
static const double HEIGHT_MM = 110, RADIUS_MM = 28;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void *room(size_t n, size_t size)
{
    void *p = calloc(n, size);
    if (!p) {
        fprintf(stderr, "out of memory\n");
        exit(5);
    }
    return p;
}

/* A vase that twists, swells and ripples: no two layers alike. Closed, walls only a skin of facets around a solid. */
static po_mesh vase(size_t n_triangles)
{
    size_t around = (size_t)sqrt((double)n_triangles / 2), up = n_triangles / (2 * around), n = 0;
    double *xyz = room((up + 1) * around + 2, 3 * sizeof *xyz);
    uint32_t *corners = room(2 * around * up + 2 * around, 3 * sizeof *corners);
    for (size_t i = 0; i <= up; i++) {
        double z = HEIGHT_MM * (double)i / (double)up;
        for (size_t k = 0; k < around; k++) {
            double t = 2 * M_PI * (double)k / (double)around;
            double r = RADIUS_MM * (1 + 0.25 * sin(z / 17) + 0.08 * cos(9 * t + z / 11) + 0.01 * cos(53 * t - z / 3));
            double *p = xyz + 3 * (i * around + k);
            p[0] = r * cos(t);
            p[1] = r * sin(t);
            p[2] = z;
        }
    }
    uint32_t low = (uint32_t)((up + 1) * around), high = low + 1;
    xyz[3 * high + 2] = HEIGHT_MM;
    for (size_t i = 0; i < up; i++) {
        for (size_t k = 0; k < around; k++) {
            uint32_t a = (uint32_t)(i * around + k), b = (uint32_t)(i * around + (k + 1) % around);
            uint32_t c = a + (uint32_t)around, d = b + (uint32_t)around;
            memcpy(corners + 3 * n++, (uint32_t[]){a, b, d}, 3 * sizeof(uint32_t));
            memcpy(corners + 3 * n++, (uint32_t[]){a, d, c}, 3 * sizeof(uint32_t));
        }
    }
    for (size_t k = 0; k < around; k++) {
        uint32_t a = (uint32_t)k, b = (uint32_t)((k + 1) % around), top = (uint32_t)(up * around);
        memcpy(corners + 3 * n++, (uint32_t[]){low, b, a}, 3 * sizeof(uint32_t));
        memcpy(corners + 3 * n++, (uint32_t[]){high, top + a, top + b}, 3 * sizeof(uint32_t));
    }
    return (po_mesh){xyz, (up + 1) * around + 2, corners, n};
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void stop(const po_err *err)
{
    char text[400];
    fprintf(stderr, "%s\n", po_err_text(err, text, sizeof text));
    exit(5);
}

int main(int argc, char **argv)
{
    po_err err;
    po_shop_faults faults;
    const po_shop *shop;
    po_arena *arena = po_arena_new(0);
    if (argc < 2 || !arena) {
        fprintf(stderr, "usage: bench_estimate SHOP_FILE [TRIANGLES] [THREADS]\n");
        return 4;
    }
    if (po_shop_read_file(argv[1], arena, &shop, &faults, &err) != PO_OK) {
        stop(&err);
    }
    size_t n_triangles = argc > 2 ? strtoul(argv[2], NULL, 10) : 1000000;
    int threads = argc > 3 ? (int)strtol(argv[3], NULL, 10) : 1;
    po_mesh mesh = vase(n_triangles < 1000 ? 1000 : n_triangles);
    po_estimate_setup setup = {.recipe = po_shop_recipe(shop, "everyday"),
                               .machine = &shop->machines[0],
                               .material = po_shop_house_material(shop),
                               .scale = 1,
                               .fill_percent = NAN,
                               .threads = threads};
    double z[SECTIONS], ours[RUNS], cut[RUNS];
    po_estimate e = {0};
    for (int i = 0; i < SECTIONS; i++) {
        z[i] = HEIGHT_MM * (i + 0.5) / SECTIONS;
    }
    for (int run = 0; run < RUNS; run++) {
        po_arena *scratch = po_arena_new(0);
        po_section *sections = room(SECTIONS, sizeof *sections);
        double t0 = now();
        if (!scratch || po_mesh_sections(&mesh, z, SECTIONS, threads, scratch, sections, &err) != PO_OK) {
            stop(&err);
        }
        double t1 = now();
        if (po_part_estimate(&mesh, &setup, scratch, &e, &err) != PO_OK) {
            stop(&err);
        }
        double t2 = now();
        cut[run] = t1 - t0;
        ours[run] = t2 - t1;
        free(sections);
        po_arena_free(scratch);
    }
    qsort(ours, RUNS, sizeof *ours, by_size);
    qsort(cut, RUNS, sizeof *cut, by_size);
    struct rusage use;
    getrusage(RUSAGE_SELF, &use);
    printf("{\"name\": \"estimate\", \"triangles\": %zu, \"layers\": %d, \"threads\": %d, \"median_s\": %.3f, "
           "\"sections_500_s\": %.3f, \"ratio\": %.2f, \"filament_mm\": %.0f, \"seconds\": %.0f, \"peak_kib\": %ld}\n",
           mesh.n_triangles, e.layers, threads, ours[RUNS / 2], cut[RUNS / 2], ours[RUNS / 2] / cut[RUNS / 2],
           e.filament_mm, e.seconds, use.ru_maxrss);
    free((void *)(uintptr_t)mesh.xyz);
    free((void *)(uintptr_t)mesh.corners);
    po_arena_free(arena);
    return 0;
}
