/* Charts of shares over time. SPDX-License-Identifier: Apache-2.0
 *
 * NIST/SEMATECH e-Handbook 6.3.3.2 (limits). Rows of nine: L. S. Nelson, J. Qual. Technology 16, 1984, test 2 (from memory). */
#include "proveout/wear.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

enum { ROW = 9 };
static const double BEYOND_THREE = 0.00135; /* one tail of the normal distribution beyond three standard deviations */
static const double ROW_CHANCE = 1.0 / 400; /* nine fair coins alike: 1 in 512 */

/* Of at least x of n; of at most x of n. By the beta function, which takes n beyond unsigned int. */
static double at_least(int64_t x, int64_t n, double p)
{
    return x <= 0 ? 1 : gsl_cdf_beta_P(p, (double)x, (double)(n - x + 1));
}

static double at_most(int64_t x, int64_t n, double p)
{
    return x >= n ? 1 : gsl_cdf_beta_Q(p, (double)(x + 1), (double)(n - x));
}

static int side(const po_wear_point *point, double centre)
{
    return point->share > centre ? 1 : point->share < centre ? -1 : 0;
}

/* Where a row of periods on one side has come to nine and is rarer than chance allows, its last ones are signals. A share that is mostly 0 lies below the
 * centre nearly always: so the row's own chance counts, not its length alone. */
static void rows_of(const po_wear_period *periods, size_t n, double centre, double allowed, po_wear_point *points)
{
    size_t row = 0;
    int last = 0;
    double chance = 1;
    for (size_t i = 0; i < n; i++) {
        if (periods[i].n == 0) {
            continue;
        }
        int now = side(&points[i], centre);
        int64_t edge = (int64_t)floor(centre * (double)periods[i].n);
        double above = at_least(edge + 1, periods[i].n, centre);
        double here = now > 0 ? above : 1 - above;
        row = now != 0 && now == last ? row + 1 : now != 0;
        chance = row > 1 ? chance * here : here;
        last = now;
        if (row >= ROW && chance <= allowed && points[i].signal == PO_WEAR_QUIET) {
            points[i].signal = now > 0 ? PO_WEAR_ROW_HIGH : PO_WEAR_ROW_LOW;
        }
    }
}

po_status po_wear_chart_of(const po_wear_period *periods, size_t n, const po_wear_chart_options *options,
                           po_wear_point *points, po_wear_chart *ret, po_err *err)
{
    const po_wear_chart_options usual = PO_WEAR_CHART_OPTIONS_INIT, *o = options ? options : &usual;
    po_wear_chart c = {.worst = SIZE_MAX};
    if (n > PO_WEAR_MOST) {
        return po_fail(err, PO_E_LIMIT, "%zu periods: at most %d", n, PO_WEAR_MOST);
    }
    if (!(o->width > 0 && o->width <= 10) || !(o->false_signals >= 0.001 && o->false_signals <= 0.5) || o->centre < 0 ||
        o->centre > 1) {
        return po_fail(err, PO_E_RANGE,
                       "limits are above 0 and up to 10 standard deviations wide, a centre is from 0 to 1, false "
                       "signals from 0.001 to 0.5");
    }
    for (size_t i = 0; i < n; i++) {
        if (periods[i].failed < 0 || periods[i].n < periods[i].failed || periods[i].n > INT64_C(1000000000)) {
            return po_fail(err, PO_E_RANGE, "period %zu has %lld failed of %lld", i + 1, (long long)periods[i].failed,
                           (long long)periods[i].n);
        }
        c.failed += periods[i].failed;
        c.n += periods[i].n;
        c.periods += periods[i].n > 0;
    }
    if (c.n == 0) {
        return po_fail(err, PO_E_EMPTY, "nothing ran in any of %zu periods", n);
    }
    c.centre = isnan(o->centre) ? (double)c.failed / (double)c.n : o->centre;
    double each = o->false_signals / 4 / (double)c.periods; /* two sides, and points beside rows */
    for (size_t i = 0; i < n; i++) {
        po_wear_point *p = &points[i];
        *p = (po_wear_point){NAN, NAN, NAN, 1, PO_WEAR_QUIET};
        if (periods[i].n == 0) {
            continue;
        }
        double half = o->width * sqrt(c.centre * (1 - c.centre) / (double)periods[i].n);
        p->share = (double)periods[i].failed / (double)periods[i].n;
        p->low = fmax(0, c.centre - half);
        p->high = fmin(1, c.centre + half);
        bool above = p->share >= c.centre;
        p->chance = above ? at_least(periods[i].failed, periods[i].n, c.centre)
                          : at_most(periods[i].failed, periods[i].n, c.centre);
        bool rare = p->chance <= fmin(BEYOND_THREE, each);
        p->signal = rare && p->share > p->high                     ? PO_WEAR_ABOVE
                    : rare && !above && p->share < c.centre - half ? PO_WEAR_BELOW
                                                                   : PO_WEAR_QUIET;
    }
    rows_of(periods, n, c.centre, fmin(ROW_CHANCE, each), points);
    for (size_t i = 0; i < n; i++) {
        bool up = points[i].signal == PO_WEAR_ABOVE || points[i].signal == PO_WEAR_ROW_HIGH;
        c.signals += points[i].signal != PO_WEAR_QUIET;
        if (up && (c.worst == SIZE_MAX || points[i].chance < points[c.worst].chance)) {
            c.worst = i;
        }
    }
    *ret = c;
    return PO_OK;
}
