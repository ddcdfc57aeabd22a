/* Whether a machine that is repaired and runs on is getting worse. SPDX-License-Identifier: Apache-2.0 */
#include <gsl/gsl_cdf.h>
#include <math.h>

#include "proveout/care.h"

static double two_sided(double below)
{
    return fmin(1, 2 * fmin(below, 1 - below));
}

static po_status sound(const double *hours, size_t n, double total, bool by_failure, po_err *err)
{
    if (!(total > 0 && isfinite(total))) {
        return po_fail(err, PO_E_RANGE, "the hours watched are above nothing");
    }
    for (size_t i = 0; i < n; i++) {
        if (!(hours[i] > 0 && hours[i] <= total && (i == 0 || hours[i] >= hours[i - 1]))) {
            return po_fail(err, PO_E_RANGE, "failure %zu at %g h: times rise from above 0 to the hours watched (%g)",
                           i + 1, hours[i], total);
        }
    }
    return by_failure && (n == 0 || hours[n - 1] != total)
               ? po_fail(err, PO_E_RANGE, "a watch that ended with a failure ends at its time")
               : PO_OK;
}

po_status po_care_trend_of(const double *hours, size_t n, double total, bool by_failure, po_care_trend *ret,
                           po_err *err)
{
    po_status s = sound(hours, n, total, by_failure, err);
    if (s != PO_OK) {
        return s;
    }
    po_care_trend t = {.failures = n};
    double k = (double)n;
    t.laplace = t.laplace_p = t.chi2 = t.freedom = t.chi2_p = t.beta = t.beta_fair = t.lambda = t.between_h = NAN;
    /* of a Poisson count: chi-squared quantiles (e-Handbook 8.4.5.1) */
    t.between_low_h = 2 * total / gsl_cdf_chisq_Pinv(0.975, 2 * k + (by_failure ? 0 : 2));
    t.between_high_h = n > 0 ? 2 * total / gsl_cdf_chisq_Pinv(0.025, 2 * k) : INFINITY;
    for (size_t i = 0; i < n; i++) { /* gaps, the first from the beginning */
        double gap = hours[i] - (i ? hours[i - 1] : 0);
        for (size_t j = i + 1; j < n && n <= 5000; j++) {
            t.arrangements += hours[j] - hours[j - 1] > gap;
        }
    }
    t.arrangements_most = n > 0 && n <= 5000 ? n * (n - 1) / 2 : 0;
    if (n < PO_CARE_FAILURES_LEAST) {
        t.way = PO_CARE_FEW;
        *ret = t;
        return PO_OK;
    }
    double m = by_failure ? k - 1 : k, sum = 0, logs = 0;
    for (size_t i = 0; i < n; i++) {
        logs += log(total / hours[i]);
        sum += i < (size_t)m ? hours[i] - total / 2 : 0;
    }
    t.laplace = sqrt(12 * m) * sum / (m * total);
    t.laplace_p = two_sided(gsl_cdf_ugaussian_P(t.laplace));
    t.chi2 = 2 * logs;
    t.freedom = 2 * m;
    if (!(logs > 0)) { /* all at the end: nothing fits a power law */
        t.way = PO_CARE_UNSURE;
        *ret = t;
        return PO_OK;
    }
    double below = gsl_cdf_chisq_P(t.chi2, t.freedom);
    t.chi2_p = two_sided(below);
    t.beta = k / logs;
    t.beta_fair = (by_failure ? k - 2 : k - 1) / logs;
    t.lambda = k / pow(total, t.beta);
    t.between_h = total / (k * t.beta_fair);
    bool worse = t.laplace > 0 && t.laplace_p < 0.05, better = t.laplace < 0 && t.laplace_p < 0.05;
    bool low = below<0.025, high = below> 0.975;
    t.way = worse && low                     ? PO_CARE_WORSE
            : better && high                 ? PO_CARE_BETTER
            : worse || better || low || high ? PO_CARE_UNSURE
                                             : PO_CARE_NONE;
    *ret = t;
    return PO_OK;
}
