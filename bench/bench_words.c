/* How fast lines are parsed. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_words [FILE | mixed | comments] [MEGABYTES]
 * Parses a buffer in memory (a file, or lines made from a fixed seed: X Y E moves with numbers of changing lengths, a
 * feed on some) the way job/state.c does, best of 15; then hands every number of the same buffer to strtod. Prints one
 * line of JSON. strtod is here as the measure of what the C library takes, not as a way to read jobs. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "job/words.h"
#include "job/words_plain.h"

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static uint64_t state = 12345;
static uint32_t dice(uint32_t n)
{
    state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (uint32_t)((state >> 33) % n);
}

static size_t make(char *to, size_t room, const char *kind)
{
    size_t n = 0;
    while (n + 200 < room) {
        double x = dice(250000) / 1000.0, y = dice(250000) / 1000.0;
        if (strcmp(kind, "plain") == 0 || dice(20)) {
            n += (size_t)sprintf(to + n, "G1 X%.*f Y%.*f E%.5f", 1 + (int)dice(3), x, 1 + (int)dice(3), y,
                                 dice(1000000) / 100000.0);
            if (dice(16) == 0) {
                n += (size_t)sprintf(to + n, " F%u", 600 + 60 * dice(100));
            }
            n += (size_t)sprintf(to + n, strcmp(kind, "comments") == 0 && dice(2) ? " ; wall loop\n" : "\n");
        } else {
            n += (size_t)sprintf(to + n, "G92 E0\nG1 E-.8 F2400\nG1 X%.3f Y%.3f F9000\nM106 S%u\nG1 E.8 F2400\n", x, y,
                                 dice(256));
        }
    }
    return n;
}

int main(int argc, char **argv)
{
    const char *kind = argc > 1 ? argv[1] : "plain";
    size_t room = (argc > 2 ? (size_t)atol(argv[2]) : 8) << 20;
    bool made = strcmp(kind, "plain") == 0 || strcmp(kind, "mixed") == 0 || strcmp(kind, "comments") == 0;
    FILE *file = made ? NULL : fopen(kind, "rb");
    if (!made && !file) {
        fprintf(stderr, "bench_words: cannot open %s\n", kind);
        return 1;
    }
    char *buffer = calloc(room + PO_LINE_PADDING, 1);
    if (!buffer) {
        return 1;
    }
    size_t n = file ? fread(buffer, 1, room, file) : make(buffer, room, kind);
    if (file) {
        fclose(file);
    }
    enum { RUN = 32 };
    static po_line lines_of_run[RUN];
    po_line line = {0};
    double best = 1e9, best_one = 1e9, best_any = 1e9, best_c = 1e9, sum = 0;
    uint64_t lines = 0, numbers = 0;
    for (int i = 0; i < 15; i++) {
        double t = now();
        lines = 0;
        size_t n_run = RUN;
        for (const char *p = buffer; n_run == RUN;) {
            p = po_line_parse_run(p, buffer + n, true, lines_of_run, RUN, &n_run);
            for (size_t j = 0; j < n_run; j++) {
                sum += lines_of_run[j].value[lines_of_run[j].has & 1];
            }
            lines += n_run;
        }
        t = now() - t;
        best = t < best ? t : best;
        t = now();
        for (const char *p = buffer, *next; (next = po_line_parse(p, buffer + n, true, &line)); p = next) {
            sum += line.value[line.has & 1];
        }
        t = now() - t;
        best_one = t < best_one ? t : best_one;
        t = now();
        for (const char *p = buffer, *next; (next = po_line_parse_any(p, buffer + n, true, &line)); p = next) {
            sum += line.value[line.has & 1];
        }
        t = now() - t;
        best_any = t < best_any ? t : best_any;
        /* 'E' would be taken for an exponent: the numbers of a line are found by their blanks, as in these lines. */
        t = now();
        numbers = 0;
        for (const char *p = buffer, *end = buffer + n; p < end;) {
            const char *stop = po_line_stop(p, end);
            while ((p = memchr(p, ' ', (size_t)(stop - p))) && p + 1 < stop && *++p != ';') {
                sum += strtod(p + 1, NULL);
                numbers++;
            }
            p = stop + 1;
        }
        t = now() - t;
        best_c = t < best_c ? t : best_c;
    }
    printf("{\"bench\": \"words\", \"input\": \"%s\", \"bytes\": %zu, \"lines\": %" PRIu64 ", \"mb_s\": %.0f, "
           "\"ns_line\": %.1f, \"one_by_one_mb_s\": %.0f, \"careful_way_mb_s\": %.0f, \"strtod_alone_mb_s\": %.0f, "
           "\"ratio_to_strtod\": %.2f, "
           "\"numbers\": %" PRIu64 ", \"sum\": %.3g}\n",
           kind, n, lines, (double)n / best * 1e-6, best / (double)lines * 1e9, (double)n / best_one * 1e-6,
           (double)n / best_any * 1e-6, (double)n / best_c * 1e-6, best_c / best, numbers, sum);
    free(buffer);
    return 0;
}
