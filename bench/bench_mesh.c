/* How fast an STL becomes facts. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_mesh [TRIANGLES] [binary | text | shuffled]
 * Makes a ring of about so many triangles as a file (TMPDIR), in the order in which it is made or with all triangles
 * shuffled, and times, each in a process of its own, median of 5:
 *   read      file to welded mesh, with its hash
 *   facts     all of topology and bulk
 *   cuts      complete self cuts
 *   yardstick the file read with fread and its corners sorted with qsort, which finds equal ones and no more (text:
 *             fgets and strtod on every corner, not sorted)
 * Prints one line of JSON: seconds, peak MB, and how often read + facts go into the yardstick. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "part/shapes.h"
#include "proveout/part.h"

enum { ROUNDS = 5 };

typedef struct times {
    double read, facts, cuts, yardstick;
    unsigned long long triangles, open;
} times;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void make(const char *path, size_t triangles, const char *kind)
{
    soup s = {0};
    size_t m = (size_t)sqrt((double)triangles / 4) + 2, n = triangles / 2 / m + 1, bytes;
    soup_torus(&s, 100, 100, 20, 30, 10, n, m);
    if (strcmp(kind, "shuffled") == 0) {
        uint64_t state = 1;
        for (size_t i = s.n - 1; i > 0; i--) {
            state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
            size_t k = (size_t)((state >> 20) % (i + 1));
            double keep[9];
            memcpy(keep, s.nine + 9 * i, sizeof keep);
            memcpy(s.nine + 9 * i, s.nine + 9 * k, sizeof keep);
            memcpy(s.nine + 9 * k, keep, sizeof keep);
        }
    }
    void *data = strcmp(kind, "text") == 0 ? (void *)soup_text(&s, "ring", "\n", &bytes)
                                           : (void *)soup_binary(&s, (uint32_t)s.n, &bytes);
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(data, 1, bytes, file) != bytes || fclose(file) != 0) {
        perror(path);
        exit(1);
    }
    free(data);
    free(s.nine);
}

static times ours(const char *path, bool cuts)
{
    times t = {0};
    po_arena *arena = po_arena_new(0);
    const po_part *part;
    po_mesh_facts facts;
    po_mesh_self_cuts found;
    po_err err;
    char text[500];
    po_source source = {.path = path};
    double begun = now();
    if (po_part_read(&source, NULL, arena, &part, &err) != PO_OK) {
        fprintf(stderr, "%s\n", po_err_text(&err, text, sizeof text));
        exit(1);
    }
    t.read = now() - begun;
    begun = now();
    if (po_mesh_measure(&part->objects[0].mesh, 0, arena, &facts, &err) != PO_OK) {
        fprintf(stderr, "%s\n", po_err_text(&err, text, sizeof text));
        exit(1);
    }
    t.facts = now() - begun;
    begun = now();
    if (cuts && po_mesh_find_self_cuts(facts.judged, 0, arena, &found, &err) == PO_OK) {
        t.cuts = now() - begun;
    }
    t.triangles = facts.triangles;
    t.open = facts.open_edges;
    po_arena_free(arena);
    return t;
}

static int by_bytes(const void *a, const void *b)
{
    return memcmp(a, b, 12);
}

static times yardstick(const char *path, const char *kind)
{
    times t = {0};
    double begun = now(), sum = 0;
    FILE *file = fopen(path, "rb");
    if (!file) {
        perror(path);
        exit(1);
    }
    if (strcmp(kind, "text") == 0) {
        char line[1000];
        while (fgets(line, sizeof line, file)) {
            char *at = strstr(line, "vertex");
            for (int k = 0; at && k < 3; k++) {
                at += k ? 0 : 6;
                sum += strtod(at, &at);
            }
        }
    } else {
        unsigned char head[84], record[50];
        uint32_t count;
        if (fread(head, 1, 84, file) != 84) {
            exit(1);
        }
        memcpy(&count, head + 80, 4);
        unsigned char *corners = malloc((size_t)count * 36);
        for (size_t i = 0; corners && i < count && fread(record, 1, 50, file) == 50; i++) {
            memcpy(corners + 36 * i, record + 12, 36);
        }
        if (corners) {
            qsort(corners, (size_t)count * 3, 12, by_bytes);
            sum = corners[0];
        }
        free(corners);
    }
    fclose(file);
    t.yardstick = now() - begun + (sum < -1e300 ? 1 : 0); /* the sum is wanted, or it would be left out */
    return t;
}

/* Runs one of them in a process of its own. */
static times apart(const char *path, const char *kind, int which, double *ret_peak_mb)
{
    int ends[2];
    times t = {0};
    if (pipe(ends) != 0) {
        exit(1);
    }
    pid_t child = fork();
    if (child == 0) {
        t = which == 2 ? yardstick(path, kind) : ours(path, which == 1);
        _exit(write(ends[1], &t, sizeof t) == (ssize_t)sizeof t ? 0 : 1);
    }
    close(ends[1]);
    struct rusage use;
    int status = 1;
    bool good = child > 0 && read(ends[0], &t, sizeof t) == (ssize_t)sizeof t &&
                wait4(child, &status, 0, &use) == child;
    close(ends[0]);
    if (!good || status != 0) {
        fprintf(stderr, "bench_mesh: a run failed\n");
        exit(1);
    }
    *ret_peak_mb = (double)use.ru_maxrss / 1024;
    return t;
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *values)
{
    qsort(values, ROUNDS, sizeof *values, rising);
    return values[ROUNDS / 2];
}

int main(int argc, char **argv)
{
    size_t triangles = argc > 1 ? (size_t)atol(argv[1]) : 1000000;
    const char *kind = argc > 2 ? argv[2] : "binary", *folder = getenv("TMPDIR");
    char path[4096];
    snprintf(path, sizeof path, "%s/bench-mesh-%ld.stl", folder && *folder ? folder : "/tmp", (long)getpid());
    pid_t maker = fork(); /* so that this process stays small: children inherit its peak */
    int status = 1;
    if (maker == 0) {
        make(path, triangles, kind);
        _exit(0);
    }
    if (maker < 0 || waitpid(maker, &status, 0) != maker || status != 0) {
        return 1;
    }
    double read_s[ROUNDS], facts_s[ROUNDS], both_s[ROUNDS], cuts_s[ROUNDS], yard_s[ROUNDS], peak = 0, cuts_peak = 0,
                                                                                            yard_peak = 0;
    times t = {0};
    for (int i = 0; i < ROUNDS; i++) {
        t = apart(path, kind, 0, &peak);
        read_s[i] = t.read;
        facts_s[i] = t.facts;
        both_s[i] = t.read + t.facts;
        yard_s[i] = apart(path, kind, 2, &yard_peak).yardstick;
        cuts_s[i] = apart(path, kind, 1, &cuts_peak).cuts;
    }
    unlink(path);
    double both = median(both_s), yard = median(yard_s);
    printf("{\"bench\": \"mesh\", \"kind\": \"%s\", \"triangles\": %llu, \"open_edges\": %llu, \"read_s\": %.4f, "
           "\"facts_s\": %.4f, "
           "\"read_and_facts_s\": %.4f, \"peak_mb\": %.0f, \"cuts_s\": %.4f, \"cuts_peak_mb\": %.0f, \"yardstick_s\": "
           "%.4f, "
           "\"yardstick_peak_mb\": %.0f, \"times_the_yardstick\": %.2f}\n",
           kind, t.triangles, t.open, median(read_s), median(facts_s), both, peak, median(cuts_s), cuts_peak, yard,
           yard_peak, yard / both);
    return 0;
}
