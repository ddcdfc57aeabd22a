/* When the next failure of a machine is to be expected. SPDX-License-Identifier: Apache-2.0
 *
 * At a steady rate hours to the next failure over hours a failure so far are F-distributed on 2 and 2 n degrees (a ratio of gamma variables). By the power
 * law: L. Lee, S. K. Lee, Technometrics 20, 1978 (from memory): after a watch that ends at the n-th failure n (n-1) ln(t_next / t_n) / S is F-distributed on
 * 2 and 2 (n-1) degrees, S the sum of ln(t_n / t_i). A watch that ends at a given hour has seen half a failure more, which is what the test on
 * invented watches bears out. */
#include "proveout/wear.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

po_status po_wear_next_of(const double *hours, size_t n, double total, bool by_failure, bool by_law, po_wear_next *ret,
                          po_err *err)
{
    double logs = 0;
    if (!(total > 0 && isfinite(total)) || n > PO_WEAR_MOST) {
        return po_fail(err, PO_E_RANGE, "%zu failures in %g h: expected up to %d, in more than nothing", n, total,
                       PO_WEAR_MOST);
    }
    for (size_t i = 0; i < n; i++) {
        if (!(hours[i] > 0 && hours[i] <= total)) {
            return po_fail(err, PO_E_RANGE, "failure %zu at %g h: expected above 0 and up to the hours watched (%g)",
                           i + 1, hours[i], total);
        }
        logs += log(total / hours[i]);
    }
    double counted = (double)n - (by_failure ? 1 : 0), seen = (double)n + (by_failure ? 0 : 0.5);
    if (n < PO_WEAR_FEW || (by_law && !(logs > 0))) {
        return po_fail(err, PO_E_EMPTY, "%zu failures: too few to tell when the next one comes (%d at least)", n,
                       PO_WEAR_FEW);
    }
    static const double within[] = {0.05, 0.5, 0.95};
    double at[3];
    for (size_t i = 0; i < 3; i++) {
        at[i] = by_law ? total * expm1(gsl_cdf_fdist_Pinv(within[i], 2, 2 * counted) * logs / (seen * counted))
                       : total / seen * gsl_cdf_fdist_Pinv(within[i], 2, 2 * seen);
    }
    *ret = (po_wear_next){at[0], at[1], at[2]};
    return PO_OK;
}
