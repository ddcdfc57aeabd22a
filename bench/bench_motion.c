/* How long planning takes per move, beside the same done plainly. SPDX-License-Identifier: Apache-2.0
 *
 * Prints one JSON line: nanoseconds per move of the planner, best of n, in blocks as the interpreter gives them; of a
 * plain program that follows docs/measures.md word by word with all moves in memory; and their ratio, both in this run.
 * The moves are walls, fill and travels of a small part, made from a seed. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "motion/plan.h"

enum { MOVES = 1 << 19, BEST_OF = 7 };

static double *dx, *dy, *dz, *de, *length, *feed;
static uint8_t *kind;

static double uniform(uint64_t *seed)
{
    *seed = *seed * 6364136223846793005u + 1442695040888963407u;
    return (double)(*seed >> 11) * 0x1p-53;
}

static double now_s(void) /* of this processor, so that others on the machine disturb less */
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void make_moves(void)
{
    uint64_t seed = 7;
    double angle = 0.0;
    for (size_t i = 0; i < MOVES; i++) {
        const double what = uniform(&seed);
        double far;
        if (what < 0.6) { /* a wall that bends */
            far = 0.1 + 1.2 * uniform(&seed);
            angle += 0.3 * (uniform(&seed) - 0.5);
            kind[i] = PO_MOVE_BEAD;
        } else if (what < 0.94) { /* fill, back and forth */
            far = 2.0 + 20.0 * uniform(&seed);
            angle += uniform(&seed) < 0.5 ? 1.5707963 : -1.5707963;
            kind[i] = PO_MOVE_BEAD;
        } else if (what < 0.98) {
            far = 10.0 * uniform(&seed);
            angle += 6.0 * uniform(&seed);
            kind[i] = PO_MOVE_TRAVEL;
        } else {
            far = 0.0;
            kind[i] = PO_MOVE_FEED;
        }
        length[i] = far;
        dx[i] = far * cos(angle);
        dy[i] = far * sin(angle);
        dz[i] = 0.0;
        de[i] = kind[i] == PO_MOVE_BEAD ? 0.034 * far : kind[i] == PO_MOVE_FEED ? (i % 2 ? 1.0 : -1.0) : 0.0;
        feed[i] = kind[i] == PO_MOVE_BEAD ? 40.0 + 60.0 * uniform(&seed) : 150.0;
        if (far > 0.0) {
            length[i] = sqrt(dx[i] * dx[i] + dy[i] * dy[i]);
        }
    }
}

/* window: how many different moves; the interpreter hands over few, still in the cache, all moves come from memory. */
static double planned(const po_limits *limits, size_t block_size, size_t window, double *ret_sum)
{
    double best = HUGE_VAL;
    po_planner *planner = po_planner_new(limits);
    for (int round = 0; planner && round < BEST_OF; round++) {
        double sum = 0.0;
        po_planned out;
        const double start = now_s();
        for (size_t i = 0; i < MOVES; i += block_size) {
            const size_t n = MOVES - i < block_size ? MOVES - i : block_size;
            const size_t k0 = i % window;
            const po_move_block block = {.n = n,
                                         .dx = dx + k0,
                                         .dy = dy + k0,
                                         .dz = dz + k0,
                                         .de = de + k0,
                                         .length = length + k0,
                                         .feed = feed + k0,
                                         .kind = kind + k0};
            if (po_planner_push(planner, &block, &out, NULL) != PO_OK) {
                exit(5);
            }
            for (size_t k = 0; k < out.n; k += 64) { /* look at some; summing all would be timed too */
                sum += out.seconds[k];
            }
        }
        if (po_planner_finish(planner, &out, NULL) != PO_OK) {
            exit(5);
        }
        const double took = now_s() - start;
        best = took < best ? took : best;
        *ret_sum = sum;
    }
    po_planner_free(planner);
    return best / MOVES * 1e9;
}

/* The words of docs/measures.md, one move after another. */
static double plainly(const po_limits *l, double *seconds, double *ret_sum)
{
    double best = HUGE_VAL;
    double *v = malloc(MOVES * sizeof *v), *a = malloc(MOVES * sizeof *a),
           *corner = malloc((MOVES + 1) * sizeof *corner);
    double(*u)[4] = malloc(MOVES * sizeof *u);
    if (!v || !a || !corner || !u) {
        exit(5);
    }
    for (int round = 0; round < BEST_OF; round++) {
        const double start = now_s();
        for (size_t i = 0; i < MOVES; i++) {
            const double far = length[i] > 0.0 ? length[i] : fabs(de[i]);
            const double d[4] = {dx[i], dy[i], dz[i], de[i]};
            v[i] = feed[i] > 0.0 ? feed[i] : 1e9;
            a[i] = kind[i] & PO_MOVE_BEAD   ? l->print_mm_s2
                   : kind[i] & PO_MOVE_FEED ? l->retract_mm_s2
                                            : l->travel_mm_s2;
            for (int k = 0; k < 4; k++) {
                u[i][k] = d[k] / far;
                if (u[i][k] != 0.0) {
                    v[i] = fmin(v[i], l->feed_mm_s[k] / fabs(u[i][k]));
                    a[i] = fmin(a[i], l->accel_mm_s2[k] / fabs(u[i][k]));
                }
            }
        }
        corner[0] = corner[MOVES] = 0.0;
        for (size_t i = 1; i < MOVES; i++) {
            double c = fmin(v[i - 1], v[i]);
            if (l->corner == PO_CORNER_STEP) {
                for (int k = 0; k < 4; k++) {
                    const double du = fabs(u[i][k] - u[i - 1][k]);
                    if (du > 0.0) {
                        c = fmin(c, l->step_mm_s[k] / du);
                    }
                }
            } else if (length[i] > 0.0 && length[i - 1] > 0.0) {
                const double cosine = -(u[i][0] * u[i - 1][0] + u[i][1] * u[i - 1][1] + u[i][2] * u[i - 1][2]);
                const double s = sqrt(fmax(0.5 * (1.0 - cosine), 0.0));
                if (s < 1.0) {
                    c = fmin(c, sqrt(fmin(a[i], a[i - 1]) * l->deviation_mm * s / (1.0 - s)));
                }
            } else {
                c = 0.0;
            }
            corner[i] = c;
        }
        for (size_t i = MOVES; i-- > 0;) {
            const double far = length[i] > 0.0 ? length[i] : fabs(de[i]);
            corner[i] = fmin(corner[i], sqrt(corner[i + 1] * corner[i + 1] + 2.0 * a[i] * far));
        }
        double sum = 0.0;
        for (size_t i = 0; i < MOVES; i++) {
            const double far = length[i] > 0.0 ? length[i] : fabs(de[i]);
            const double v0 = corner[i];
            const double v1 = corner[i + 1] = fmin(corner[i + 1], sqrt(v0 * v0 + 2.0 * a[i] * far));
            const double up = (v[i] * v[i] - v0 * v0) / (2.0 * a[i]), down = (v[i] * v[i] - v1 * v1) / (2.0 * a[i]);
            if (up + down <= far) {
                seconds[i] = (v[i] - v0) / a[i] + (v[i] - v1) / a[i] + (far - up - down) / v[i];
            } else {
                const double peak = sqrt((2.0 * a[i] * far + v0 * v0 + v1 * v1) / 2.0);
                seconds[i] = (peak - v0) / a[i] + (peak - v1) / a[i];
            }
            sum += seconds[i];
        }
        const double took = now_s() - start;
        best = took < best ? took : best;
        *ret_sum = sum;
    }
    free(v);
    free(a);
    free(corner);
    free(u);
    return best / MOVES * 1e9;
}

int main(void)
{
    double **arrays[] = {&dx, &dy, &dz, &de, &length, &feed};
    for (size_t k = 0; k < 6; k++) {
        *arrays[k] = malloc(MOVES * sizeof(double));
        if (!*arrays[k]) {
            return 5;
        }
    }
    kind = malloc(MOVES);
    double *seconds = malloc(MOVES * sizeof *seconds);
    if (!kind || !seconds) {
        return 5;
    }
    make_moves();
    po_limits limits = {.feed_mm_s = {180, 180, 12, 60},
                        .accel_mm_s2 = {2000, 1600, 120, 4000},
                        .print_mm_s2 = 1000,
                        .travel_mm_s2 = 1500,
                        .retract_mm_s2 = 1200,
                        .corner = PO_CORNER_STEP,
                        .step_mm_s = {9, 9, 0.4, 4},
                        .deviation_mm = 0.03};
    double sum, plain_sum;
    const double step = planned(&limits, 1024, 4096, &sum);
    const double step_far = planned(&limits, 1024, MOVES, &sum);
    const double step_big = planned(&limits, MOVES, MOVES, &sum);
    const double step_plain = plainly(&limits, seconds, &plain_sum);
    limits.corner = PO_CORNER_DEVIATION;
    const double dev = planned(&limits, 1024, 4096, &sum);
    const double dev_far = planned(&limits, 1024, MOVES, &sum);
    const double dev_plain = plainly(&limits, seconds, &plain_sum);
    printf("{\"bench\": \"motion\", \"moves\": %d, \"block\": 1024, \"best_of\": %d, \"unit\": \"ns/move\", "
           "\"step\": %.2f, \"step_from_memory\": %.2f, \"step_one_block\": %.2f, \"step_plain\": %.2f, "
           "\"step_ratio\": %.1f, \"deviation\": %.2f, \"deviation_from_memory\": %.2f, \"deviation_plain\": %.2f, "
           "\"deviation_ratio\": %.1f}\n",
           MOVES, BEST_OF, step, step_far, step_big, step_plain, step_plain / step_far, dev, dev_far, dev_plain,
           dev_plain / dev_far);
    for (size_t k = 0; k < 6; k++) {
        free(*arrays[k]);
    }
    free(kind);
    free(seconds);
    return 0;
}
