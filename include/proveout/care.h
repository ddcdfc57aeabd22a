/* Failures in figures that a person can act on: shares with their intervals, who differs, whether a machine is getting worse. SPDX-License-Identifier: Apache-2.0
 *
 * Plain values in, plain values out. docs/care.md says each method in prose; sources stand at each function. */
#ifndef PROVEOUT_CARE_H
#define PROVEOUT_CARE_H

#include <stdbool.h>
#include <stddef.h>

#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { PO_CARE_FAILURES_LEAST = 5, PO_CARE_GROUPS_MOST = 1000 };

typedef struct po_care_share {
    double share, low, high;
} po_care_share;

/* x of n with Wilson's interval. level: 0.95. Source: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927); NIST/SEMATECH e-Handbook 7.2.4.1.
 * n 0: share NAN, 0 to 1. Errors: PO_E_RANGE where x is more than n or the level is not between 0.5 and 1. */
PO_API po_status po_care_wilson(size_t x, size_t n, double level, po_care_share *ret, po_err *err) PO_MUST_USE;
/* The same with the exact interval of C. J. Clopper and E. S. Pearson, Biometrika 26 (1934); e-Handbook 7.2.4.2. */
PO_API po_status po_care_exact(size_t x, size_t n, double level, po_care_share *ret, po_err *err) PO_MUST_USE;

typedef struct po_care_group {
    size_t failed, n;    /* given */
    po_care_share share; /* of failures, Wilson, 95 % */
    double
        p; /* that a group like all others differs so much from them by chance: Fisher's exact test, two-sided, and Holm's correction
                            for as many groups as are looked at; 1 where there is nothing to compare */
    bool differs; /* p < 0.05 */
    bool few;     /* fewer than 10 runs: nothing is said of it */
} po_care_group;
/* Each group against all others together. The mix of jobs is not taken into account: who prints what is harder fails more.
 * Sources: R. A. Fisher, "Statistical Methods for Research Workers" (from memory); S. Holm, Scand. J. Statist. 6 (1979). */
PO_API po_status po_care_compare(po_care_group *groups, size_t n, po_err *err) PO_MUST_USE;

typedef enum po_care_way { PO_CARE_FEW, PO_CARE_NONE, PO_CARE_WORSE, PO_CARE_BETTER, PO_CARE_UNSURE } po_care_way;

typedef struct po_care_trend {
    size_t failures;
    double laplace, laplace_p;      /* above nothing: worse; two-sided */
    double chi2, freedom, chi2_p;   /* MIL-HDBK-189; two-sided */
    double beta, beta_fair, lambda; /* of the power law (Crow-AMSAA); beta_fair without bias */
    double between_h;               /* mean time between failures now: 1 / intensity at the end, by beta_fair */
    double between_low_h,
        between_high_h; /* 95 % by the number of failures if there is no trend (Poisson); high INFINITY: none came */
    size_t arrangements, arrangements_most; /* reverse arrangements of the gaps: pairs that grow */
    po_care_way way;                        /* WORSE, BETTER: both tests say so at 5 %; UNSURE: one of them */
} po_care_trend;
/* Failures of one machine that is repaired and runs on.
 * hours  n times of failures, in hours that the machine ran, not falling, above 0; total: hours watched. by_failure: the watch ended with the last
 *        failure (total is then its time).
 * Sources: NIST/SEMATECH e-Handbook 8.2.3.4 (Laplace, military handbook and reverse arrangement tests), 8.2.2.3, 8.4.5.2 (power law); MIL-HDBK-189.
 * Errors: PO_E_RANGE. Fewer than PO_CARE_FAILURES_LEAST failures: way is PO_CARE_FEW, tests are NAN. */
PO_API po_status po_care_trend_of(const double *hours, size_t n, double total, bool by_failure, po_care_trend *ret,
                                  po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
