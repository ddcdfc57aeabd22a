/* Shares of failures and who differs. SPDX-License-Identifier: Apache-2.0 */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>

#include "proveout/care.h"

static po_status sound(size_t x, size_t n, double level, po_err *err)
{
    return x > n                            ? po_fail(err, PO_E_RANGE, "%zu of %zu can't be", x, n)
           : !(level >= 0.5 && level < 1.0) ? po_fail(err, PO_E_RANGE, "a level is from 0.5 to below 1, such as 0.95")
                                            : PO_OK;
}

po_status po_care_wilson(size_t x, size_t n, double level, po_care_share *ret, po_err *err)
{
    po_status s = sound(x, n, level, err);
    if (s == PO_OK && n == 0) {
        *ret = (po_care_share){NAN, 0, 1};
    } else if (s == PO_OK) {
        double z = gsl_cdf_ugaussian_Pinv(0.5 + level / 2), all = (double)n, p = (double)x / all, zz = z * z / all;
        double centre = (p + zz / 2) / (1 + zz), half = z / (1 + zz) * sqrt(p * (1 - p) / all + zz / (4 * all));
        *ret = (po_care_share){p, x == 0 ? 0 : fmax(centre - half, 0), x == n ? 1 : fmin(centre + half, 1)};
    }
    return s;
}

po_status po_care_exact(size_t x, size_t n, double level, po_care_share *ret, po_err *err)
{
    po_status s = sound(x, n, level, err);
    if (s == PO_OK && n == 0) {
        *ret = (po_care_share){NAN, 0, 1};
    } else if (s == PO_OK) {
        double a = (1 - level) / 2, k = (double)x,
               all = (double)n; /* bounds of a binomial share are quantiles of beta distributions */
        *ret = (po_care_share){k / all, x == 0 ? 0 : gsl_cdf_beta_Pinv(a, k, all - k + 1),
                               x == n ? 1 : gsl_cdf_beta_Qinv(a, k + 1, all - k)};
    }
    return s;
}

/* Two-sided: all tables that are no likelier than this one. */
static double fisher(size_t failed, size_t n, size_t all_failed, size_t all)
{
    unsigned int good = (unsigned int)(all - all_failed), bad = (unsigned int)all_failed, drawn = (unsigned int)n;
    unsigned int low = drawn > good ? drawn - good : 0, high = drawn < bad ? drawn : bad;
    double here = gsl_ran_hypergeometric_pdf((unsigned int)failed, bad, good, drawn), p = 0;
    for (unsigned int k = low; k <= high; k++) {
        double one = gsl_ran_hypergeometric_pdf(k, bad, good, drawn);
        p += one <= here * (1 + 1e-7) ? one : 0;
    }
    return fmin(p, 1);
}

typedef struct place {
    double p;
    size_t at;
} place;

static int by_p(const void *a, const void *b)
{
    const place *x = a, *y = b;
    return x->p != y->p ? (x->p > y->p) - (x->p < y->p) : (x->at > y->at) - (x->at < y->at);
}

po_status po_care_compare(po_care_group *groups, size_t n, po_err *err)
{
    size_t all = 0, failed = 0, looked = 0;
    place places[PO_CARE_GROUPS_MOST];
    if (n > PO_CARE_GROUPS_MOST) {
        return po_fail(err, PO_E_LIMIT, "at most %d groups", PO_CARE_GROUPS_MOST);
    }
    for (size_t i = 0; i < n; i++) {
        po_status s = po_care_wilson(groups[i].failed, groups[i].n, 0.95, &groups[i].share, err);
        if (s != PO_OK) {
            return s;
        }
        all += groups[i].n;
        failed += groups[i].failed;
    }
    if (all > 10000000) {
        return po_fail(err, PO_E_LIMIT, "at most 10 million runs");
    }
    for (size_t i = 0; i < n; i++) {
        groups[i].few = groups[i].n < 10;
        groups[i].p = 1;
        groups[i].differs = false;
        if (!groups[i].few && groups[i].n < all) {
            places[looked++] = (place){fisher(groups[i].failed, groups[i].n, failed, all), i};
        }
    }
    qsort(places, looked, sizeof *places, by_p);
    double so_far = 0; /* Holm: the smallest times all, the next times one fewer, never falling */
    for (size_t i = 0; i < looked; i++) {
        so_far = fmax(so_far, fmin(places[i].p * (double)(looked - i), 1));
        groups[places[i].at].p = so_far;
        groups[places[i].at].differs = so_far < 0.05;
    }
    return PO_OK;
}
