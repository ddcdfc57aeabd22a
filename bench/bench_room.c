/* A room's air over a year, minute by minute, and how a bed cools: prints one line of JSON. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_room [TURNS]
 * The room of the handbook's worked figures (180 m3, 340 m3/h), up to eight machines by the hour. Beside it in the same run: a plain loop
 * of Euler's steps, one a minute, and as many a minute as are never off by more than a thousandth of the year's peak. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "base/random.h"
#include "proveout/room.h"

enum { MINUTES = 365 * 1440, TURNS_MOST = 101, BED = 40 };

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec * 1e-6;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double middle(double *list, size_t n)
{
    qsort(list, n, sizeof *list, by_size);
    return list[n / 2];
}

/* The same year by Euler's steps, so many in a minute. Milliseconds; the largest difference from the exact one over its peak. */
static double euler(const po_air *air, const double *emission, const double *exact, double peak, int steps,
                    double *ret_off)
{
    double begun = now_ms(), c = 0, off = 0, h = 1.0 / 60 / steps, rate = air->rate_h[PO_AIR_PARTICLES];
    for (size_t i = 0; i < MINUTES; i++) {
        double gain = emission[i] * 60 / 1e6 / air->volume_m3;
        for (int k = 0; k < steps; k++) {
            c += (gain - rate * c) * h;
        }
        off = fmax(off, fabs(c - exact[i]));
    }
    *ret_off = off / peak;
    return now_ms() - begun;
}

int main(int argc, char **argv)
{
    long turns = argc > 1 ? strtol(argv[1], NULL, 10) : 21;
    double *emission = malloc(MINUTES * sizeof *emission), *c = malloc(MINUTES * sizeof *c), times[TURNS_MOST], off,
           off_one;
    po_house_room room = {.area_m2 = 60, .height_m = 3, .outdoor_m3_h = 340, .settle_h = 0.5};
    po_air air;
    po_air_run run = {0};
    po_cooling cooling = {0};
    po_cooling_reading bed[BED];
    uint64_t seed = 1;
    if (!emission || !c || turns < 1 || turns > TURNS_MOST || po_air_of(&room, &air, NULL) != PO_OK) {
        fputs("bench_room: 1 to 101 turns\n", stderr);
        return 1;
    }
    for (size_t i = 0; i < MINUTES; i++) {
        emission[i] = i % 60 == 0
                          ? (double)(po_random_next(&seed) % 9) * po_emission_of("petg")->typical[PO_AIR_PARTICLES]
                          : emission[i - 1];
    }
    for (int i = 0; i < BED; i++) {
        bed[i] = (po_cooling_reading){i, 22 + 53 * exp(-i / 15.0) + (double)(po_random_next(&seed) % 100) / 250};
    }
    for (long t = 0; t < turns; t++) {
        double begun = now_ms();
        if (po_air_simulate(&air, PO_AIR_PARTICLES, emission, MINUTES, 0, 14200, c, &run, NULL) != PO_OK) {
            return 1;
        }
        times[t] = now_ms() - begun;
    }
    double year = middle(times, (size_t)turns);
    double one = euler(&air, emission, c, run.peak, 1, &off_one), slow = 0;
    int steps = 1;
    for (off = off_one; off > 1e-3 && steps < 4096; steps *= 2) {
        slow = euler(&air, emission, c, run.peak, steps * 2, &off);
    }
    for (long t = 0; t < turns; t++) {
        double begun = now_ms();
        if (po_cooling_fit(bed, BED, NAN, &cooling, NULL) != PO_OK) {
            return 1;
        }
        times[t] = now_ms() - begun;
    }
    printf("{\"minutes\": %d, \"year_ms\": %.2f, \"euler_one_ms\": %.2f, \"euler_one_off\": %.5f, \"euler_ms\": %.2f, "
           "\"euler_steps\": %d, "
           "\"euler_off\": %.6f, \"peak\": %.0f, \"mean\": %.0f, \"fit_ms\": %.3f, \"tau_minutes\": %.2f}\n",
           (int)MINUTES, year, one, off_one, slow, steps, off, run.peak, run.mean, middle(times, (size_t)turns),
           cooling.tau_minutes);
    free(emission);
    free(c);
    return 0;
}
