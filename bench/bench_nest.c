/* Strip packing on published instances, best densities of the literature beside ours. SPDX-License-Identifier: Apache-2.0
 *
 * Instances and best-known.tsv (with its sources) as in ../shared/data/nesting: bench_nest FOLDER SECONDS [NAME...]. */
#include <errno.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proveout/nest.h"

enum { PIECES_MOST = 64, LINE = 512, NAMES_MOST = 64 };

typedef struct instance {
    po_strip_piece pieces[PIECES_MOST];
    size_t n;
    double width;
} instance;

static void die(const char *what)
{
    fprintf(stderr, "bench_nest: %s\n", what);
    exit(1);
}

static po_strip_piece piece_of(const json_t *item, po_arena *arena)
{
    const json_t *points = json_object_get(json_object_get(item, "shape"), "data");
    const json_t *turns = json_object_get(item, "allowed_orientations");
    size_t n = json_array_size(points), n_turns = json_array_size(turns);
    double *xy = po_arena_zeros(arena, 2 * n, sizeof *xy), *deg = po_arena_zeros(arena, n_turns + 1, sizeof *deg);
    uint32_t *ends = po_arena_zeros(arena, 1, sizeof *ends);
    if (!xy || !deg || !ends) {
        die("memory ran out");
    }
    double area = 0;
    for (size_t i = 0; i < n; i++) {
        xy[2 * i] = json_number_value(json_array_get(json_array_get(points, i), 0));
        xy[2 * i + 1] = json_number_value(json_array_get(json_array_get(points, i), 1));
    }
    for (size_t i = 0; i < n; i++) {
        size_t k = (i + 1) % n;
        area += xy[2 * i] * xy[2 * k + 1] - xy[2 * k] * xy[2 * i + 1];
    }
    for (size_t i = 0; area < 0 && i < n / 2; i++) {
        for (int c = 0; c < 2; c++) {
            double swap = xy[2 * i + (size_t)c];
            xy[2 * i + (size_t)c] = xy[2 * (n - 1 - i) + (size_t)c];
            xy[2 * (n - 1 - i) + (size_t)c] = swap;
        }
    }
    for (size_t i = 0; i < n_turns; i++) {
        deg[i] = json_number_value(json_array_get(turns, i));
    }
    ends[0] = (uint32_t)n;
    return (po_strip_piece){.outline = {xy, n, ends, 1},
                            .copies = (uint32_t)json_integer_value(json_object_get(item, "demand")),
                            .turns_deg = deg,
                            .n_turns = n_turns};
}

static void read_instance(const char *folder, const char *name, po_arena *arena, instance *ret)
{
    char path[LINE];
    snprintf(path, sizeof path, "%s/%s.json", folder, name);
    json_error_t error;
    json_t *whole = json_load_file(path, 0, &error);
    const json_t *items = json_object_get(whole, "items");
    if (!whole || !json_is_array(items) || json_array_size(items) > PIECES_MOST) {
        die(path);
    }
    ret->width = json_number_value(json_object_get(whole, "strip_height"));
    ret->n = json_array_size(items);
    for (size_t i = 0; i < ret->n; i++) {
        ret->pieces[i] = piece_of(json_array_get(items, i), arena);
    }
    json_decref(whole);
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        die("usage: bench_nest FOLDER SECONDS [NAME...]");
    }
    char line[LINE], path[LINE];
    snprintf(path, sizeof path, "%s/best-known.tsv", argv[1]);
    FILE *table = fopen(path, "r");
    if (!table) {
        die(path);
    }
    double seconds = strtod(argv[2], NULL), ours = 0, best = 0;
    int n = 0;
    const char *threads = getenv("BENCH_THREADS");
    while (fgets(line, sizeof line, table)) {
        char name[64];
        double record, twenty, mean, cuckoo, width, length;
        int pieces;
        if (line[0] == '#' || sscanf(line, "%63s %d %lf %lf %lf %lf %lf %lf", name, &pieces, &width, &length, &record,
                                     &twenty, &mean, &cuckoo) != 8) {
            continue;
        }
        bool wanted = argc == 3;
        for (int i = 3; i < argc; i++) {
            wanted = wanted || strcmp(argv[i], name) == 0;
        }
        if (!wanted) {
            continue;
        }
        po_arena *arena = po_arena_new(0);
        instance in = {0};
        read_instance(argv[1], name, arena, &in);
        po_nest_effort effort = {
            .seed = 1, .seconds = seconds, .threads = threads ? (int)strtol(threads, NULL, 10) : 0};
        const char *steps = getenv("BENCH_STEPS"); /* instead of the time: the same layout on any machine */
        if (steps) {
            effort.steps = strtoull(steps, NULL, 10);
            effort.seconds = 0;
        }
        po_strip strip;
        po_err err;
        if (po_nest_strip(in.pieces, in.n, in.width, &effort, arena, &strip, &err) != PO_OK) {
            die(err.msg);
        }
        double known = record > cuckoo ? record : cuckoo;
        printf("{\"bench\": \"nest\", \"instance\": \"%s\", \"seconds\": %g, \"length\": %.3f, \"density\": %.2f, "
               "\"best_known\": %.2f, \"20min_mean\": %.2f, \"moves\": %llu}\n",
               name, seconds, strip.length, 100 * strip.density, known, mean, (unsigned long long)strip.steps);
        fflush(stdout);
        ours += 100 * strip.density;
        best += known;
        n++;
        po_arena_free(arena);
    }
    fclose(table);
    if (n > 1) {
        printf(
            "{\"bench\": \"nest\", \"instances\": %d, \"mean_density\": %.2f, \"mean_best_known\": %.2f, \"short_of\": "
            "%.2f}\n",
            n, ours / n, best / n, (best - ours) / n);
    }
    return 0;
}
