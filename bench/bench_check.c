/* One job on one machine through the library: prints one line of JSON. SPDX-License-Identifier: Apache-2.0
 *
 * Usage: bench_check FILE SHOP MACHINE facts|deposit|pictures THREADS. The first read of the file from disk is not
 * counted: the caller warms the cache. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

#include "proveout/arena.h"
#include "proveout/job.h"

int main(int argc, char **argv)
{
    if (argc != 6) {
        fprintf(stderr, "usage: bench_check FILE SHOP MACHINE facts|deposit|pictures THREADS\n");
        return 4;
    }
    po_err err;
    char text[512];
    po_arena *arena = po_arena_new(0);
    const po_shop *shop = NULL;
    po_shop_faults faults;
    const po_job_report *report = NULL;
    int status = 5;
    if (!arena || po_shop_read_file(argv[2], arena, &shop, &faults, &err) != PO_OK) {
        fprintf(stderr, "%s\n", arena ? po_err_text(&err, text, sizeof text) : "out of memory");
        goto done;
    }
    po_job_setup setup = {.machine = po_shop_machine(shop, argv[3]), .rules = &shop->rules};
    if (!setup.machine) {
        fprintf(stderr, "%s: no such machine\n", argv[3]);
        goto done;
    }
    for (size_t i = 0; i < PO_MAX_TOOLS; i++) {
        setup.materials[i] = po_shop_house_material(shop);
    }
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.deposit = strcmp(argv[4], "facts") != 0;
    options.images = strcmp(argv[4], "pictures") == 0;
    options.threads = (int)strtol(argv[5], NULL, 10);
    po_source source = {.path = argv[1]};
    struct timespec a, b;
    struct rusage use;
    clock_gettime(CLOCK_MONOTONIC, &a);
    if (po_job_measure(&source, &setup, 1, &options, arena, &report, &err) != PO_OK) {
        fprintf(stderr, "%s\n", po_err_text(&err, text, sizeof text));
        goto done;
    }
    clock_gettime(CLOCK_MONOTONIC, &b);
    getrusage(RUSAGE_SELF, &use);
    double seconds = (double)(b.tv_sec - a.tv_sec) + (double)(b.tv_nsec - a.tv_nsec) * 1e-9;
    printf("{\"what\": \"%s\", \"threads\": %d, \"bytes\": %llu, \"seconds\": %.4f, \"mb_per_s\": %.1f, \"peak_mb\": "
           "%.1f, "
           "\"layers\": %d, \"filament_mm\": %.3f, \"job_seconds\": %.1f}\n",
           argv[4], options.threads, (unsigned long long)report->facts.bytes, seconds,
           (double)report->facts.bytes * 1e-6 / seconds, (double)use.ru_maxrss / 1024, report->facts.layers,
           report->facts.filament_mm, report->facts.seconds);
    status = 0;
done:
    po_arena_free(arena);
    return status;
}
