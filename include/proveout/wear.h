/* Wear in figures: shares over time, life of parts, machines compared by what they print, the next failure. SPDX-License-Identifier: Apache-2.0
 *
 * Beside proveout/care.h. Plain values in, plain values out: no book, no clock. Each result has a verdict and a sentence that a person can act on; where
 * the figures are too few to tell, that is what they say. How often each speaks up where nothing has changed stands beside it. Sources: docs/care.md. */
#ifndef PROVEOUT_WEAR_H
#define PROVEOUT_WEAR_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
    PO_WEAR_MOST = 1000000, /* runs, failures or parts in one call */
    PO_WEAR_FEW = 5,        /* failures below which nothing is said of a part's wear (common practice) */
};

typedef enum po_wear_verdict {
    PO_WEAR_TOO_FEW,
    PO_WEAR_STEADY, /* nothing that chance would not do */
    PO_WEAR_WORSE,
    PO_WEAR_BETTER,
} po_wear_verdict;

/* ---- Chart of shares over time ---- */

typedef struct po_wear_period {
    int64_t failed, n; /* n 0: nothing ran; it breaks no row of periods */
} po_wear_period;

typedef struct po_wear_chart_options {
    double width;         /* of the limits, in standard deviations of the period's own n; above 0 */
    double centre;        /* share that was agreed on; NAN: of all periods given */
    double false_signals; /* most charts without any change that may show a signal; 0.001 to 0.5 */
} po_wear_chart_options;
#define PO_WEAR_CHART_OPTIONS_INIT                                                                                     \
    {                                                                                                                  \
        3, NAN, 0.05                                                                                                   \
    }

typedef enum po_wear_signal {
    PO_WEAR_QUIET,
    PO_WEAR_ABOVE,    /* beyond the upper limit, and rarer than chance allows by the binomial itself */
    PO_WEAR_BELOW,    /* the same downward: better, and worth knowing why */
    PO_WEAR_ROW_HIGH, /* ends a row of nine or more periods on the bad side of the centre (Nelson 1984, test 2) */
    PO_WEAR_ROW_LOW,
} po_wear_signal;

typedef struct po_wear_point {
    double share, low, high; /* NAN: nothing ran. low and high: the limits, within 0 to 1 */
    double chance; /* of so many failures or more (fewer, where below the centre) at the centre; 1: nothing ran */
    po_wear_signal signal;
} po_wear_point;

typedef struct po_wear_chart {
    double centre;
    int64_t failed, n;
    size_t periods, signals; /* periods in which something ran */
    size_t worst;            /* index of the signal upward with the smallest chance; SIZE_MAX: none */
} po_wear_chart;
/* points: room for n. Limits by each period's own n. A point beyond its limit is a signal only where the binomial's tail is below
 * both 0.00135 (what three standard deviations stand for) and false_signals / 2 / periods: the normal limits alone cry wolf for
 * small n. options NULL: as INIT. Errors: PO_E_EMPTY: nothing ran at all; PO_E_RANGE, PO_E_LIMIT. */
PO_API po_status po_wear_chart_of(const po_wear_period *periods, size_t n, const po_wear_chart_options *options,
                                  po_wear_point *points, po_wear_chart *ret, po_err *err) PO_MUST_USE;

/* ---- The next failure ---- */

typedef struct po_wear_next {
    double low_h, middle_h, high_h; /* hours of running from the end of the watch: 5, 50 and 95 of 100 fail within */
} po_wear_next;
/* hours, n, total, by_failure: as po_wear_trend_of takes them. by_law: by the power law, for a machine that gets worse or better; else at a steady rate.
 * Errors: PO_E_EMPTY below PO_WEAR_FEW failures, or where they tell nothing; PO_E_RANGE. */
PO_API po_status po_wear_next_of(const double *hours, size_t n, double total, bool by_failure, bool by_law,
                                 po_wear_next *ret, po_err *err) PO_MUST_USE;

/* ---- Life of parts ---- */

typedef struct po_wear_life {
    size_t failed, running;
    double shape, scale;          /* Weibull's: F = 1 - exp(-(t / scale)^shape); NAN: not to be had */
    double shape_low, shape_high; /* 95 %, by the likelihood ratio */
    double scale_low, scale_high; /* the same */
    double mean, tenth;           /* hours: mean life, and by when a tenth has failed */
    double tenth_low, tenth_high; /* 95 %, by the likelihood ratio */
    double log_likelihood;
    po_wear_verdict
        verdict; /* WORSE: wears out (shape above 1 for sure); STEADY: age tells nothing; BETTER: early failures */
} po_wear_life;
/* Maximum likelihood. hours[i] above 0; running[i]: it still runs, or was taken out before it failed (NULL: all failed).
 * Fewer than two failures, or all at one age: shape and what follows from it are NAN, the verdict TOO_FEW; so it is below PO_WEAR_FEW.
 * Errors: PO_E_EMPTY: no part; PO_E_RANGE names the part; PO_E_LIMIT. */
PO_API po_status po_wear_life_of(const double *hours, const bool *running, size_t n, po_wear_life *ret,
                                 po_err *err) PO_MUST_USE;
/* Share that has failed by then, and failures per hour of those that are left. */
PO_API double po_wear_life_failed(double shape, double scale, double hours);
PO_API double po_wear_life_rate(double shape, double scale, double hours);
PO_API double po_wear_life_mean(double shape, double scale);
/* Hours by when a share has failed. */
PO_API double po_wear_life_by(double shape, double scale, double share);

/* ---- Machines compared ---- */

/* Runs of one machine with one kind of job (material, recipe, length ...). */
typedef struct po_wear_cell {
    uint32_t machine, kind; /* from 0, dense */
    int64_t failed, n;
} po_wear_cell;

typedef struct po_wear_machine {
    int64_t failed, n;
    double expected;        /* failures, had each of its kinds of job failed as in the whole shop */
    double odds, low, high; /* Mantel-Haenszel odds against the other machines, kinds alike; 95 %; NAN: not to be had */
    double chi;             /* Cochran-Mantel-Haenszel, with correction */
    double chance, chance_of_all;        /* exact, two-sided; and after Holm for all machines */
    double ratio, ratio_low, ratio_high; /* failed / expected, drawn towards 1 as far as few runs ask for; 95 % */
    po_wear_verdict verdict;
} po_wear_machine;
/* ret: room for machines. Cells of one machine and kind are added up. A verdict of WORSE or BETTER needs chance_of_all <= 0.05: a
 * shop of like machines gets one in at most 1 of 20 comparisons. TOO_FEW: neither, and twice the
 * odds of the others cannot be ruled out.
 * Errors: PO_E_EMPTY: no run; PO_E_RANGE: a cell with its index; PO_E_LIMIT; PO_E_NOMEM. */
PO_API po_status po_wear_compare(const po_wear_cell *cells, size_t n, size_t machines, size_t kinds, po_arena *arena,
                                 po_wear_machine *ret, po_err *err) PO_MUST_USE;

/* ---- Sentences ---- */

/* In the arena; NULL when memory is gone. name: the machine's, part's ... name. */
/* period: the name of the worst period ("the week from 12 May"); NULL where there is none. */
PO_API const char *po_wear_chart_says(const char *name, const po_wear_chart *chart, const po_wear_point *points,
                                      const po_wear_period *periods, const char *period, po_arena *arena);
PO_API const char *po_wear_life_says(const char *name, const po_wear_life *life, po_arena *arena);
PO_API const char *po_wear_machine_says(const char *name, const po_wear_machine *machine, po_arena *arena);

#ifdef __cplusplus
}
#endif
#endif
