/* Life of parts that are replaced: Weibull's distribution by maximum likelihood, parts still running counted. SPDX-License-Identifier: Apache-2.0
 *
 * NIST/SEMATECH e-Handbook 8.1.6.2 (the distribution), 8.4.1.2 (maximum likelihood with censoring). Intervals by the likelihood ratio: W. Q. Meeker,
 * L. A. Escobar, Statistical Methods for Reliability Data, 1998, ch. 8 (from memory). Hours are taken relative to the longest, so that powers stay in
 * bounds. */
#include "proveout/wear.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

static const double SHAPE_LEAST = 0.02, SHAPE_MOST = 500; /* beyond these no part's life is described */

typedef struct sample {
    const double *hours;
    const bool *running;
    size_t n, failed;
    double longest, log_sum; /* of ln(t / longest) over failures */
} sample;

double po_wear_life_failed(double shape, double scale, double hours)
{
    return hours <= 0 ? 0 : -expm1(-pow(hours / scale, shape));
}

double po_wear_life_rate(double shape, double scale, double hours)
{
    return shape / scale * pow(hours / scale, shape - 1);
}

double po_wear_life_mean(double shape, double scale)
{
    return scale * tgamma(1 + 1 / shape);
}

double po_wear_life_by(double shape, double scale, double share)
{
    return scale * pow(-log1p(-share), 1 / shape);
}

/* Sums over all parts of u^shape and u^shape ln u, u = t / longest. */
static void powers(const sample *s, double shape, double *ret_sum, double *ret_logs)
{
    double sum = 0, logs = 0;
    for (size_t i = 0; i < s->n; i++) {
        double log_u = log(s->hours[i] / s->longest), power = exp(shape * log_u);
        sum += power;
        logs += power * log_u;
    }
    *ret_sum = sum;
    *ret_logs = logs;
}

/* Log likelihood at a shape, with the scale that is best for it, less what all have in common. */
static double best_at_shape(const sample *s, double shape, double *ret_scale)
{
    double sum, logs, r = (double)s->failed;
    powers(s, shape, &sum, &logs);
    *ret_scale = s->longest * pow(sum / r, 1 / shape);
    return r * (log(shape) - log(sum / r)) + (shape - 1) * s->log_sum - r * log(s->longest) - r;
}

static double likelihood(const sample *s, double shape, double scale)
{
    double sum, logs, r = (double)s->failed, ratio = log(s->longest / scale);
    powers(s, shape, &sum, &logs);
    return r * (log(shape) - log(scale)) + (shape - 1) * (s->log_sum + r * ratio) - exp(shape * ratio) * sum;
}

/* Best log likelihood where a share of parts has failed by the given hours (share NAN: where the scale is given). */
static double best_at(const sample *s, double share, double hours)
{
    /* one parameter is left, the shape: golden section over its logarithm; the profile has one top */
    double drop = isnan(share) ? 1 : -log1p(-share), low = log(SHAPE_LEAST), high = log(SHAPE_MOST);
    const double golden = 0.6180339887498949;
    double a = high - golden * (high - low), b = low + golden * (high - low), at_a = 0, at_b = 0;
    for (int i = 0; i < 40; i++) {
        double shape_a = exp(a), shape_b = exp(b);
        at_a = likelihood(s, shape_a, hours * pow(drop, -1 / shape_a));
        at_b = likelihood(s, shape_b, hours * pow(drop, -1 / shape_b));
        at_a = isfinite(at_a) ? at_a : -1e300;
        at_b = isfinite(at_b) ? at_b : -1e300;
        if (at_a > at_b) {
            high = b;
        } else {
            low = a;
        }
        a = high - golden * (high - low);
        b = low + golden * (high - low);
    }
    return fmax(at_a, at_b);
}

/* Where the profile has fallen by half of the quantile, going from the best by factors of `step` and then halving. */
static double edge(const sample *s, int which, double best, double top, double step)
{
    double fall = top - gsl_cdf_chisq_Pinv(0.95, 1) / 2, in = best, out = best, scale;
    for (int i = 0; i < 80; i++) {
        out *= step;
        double at = which == 0 ? (out < SHAPE_LEAST || out > SHAPE_MOST ? -INFINITY : best_at_shape(s, out, &scale))
                               : best_at(s, which == 1 ? NAN : 0.1, out);
        if (at < fall) {
            for (int k = 0; k < 30; k++) {
                double middle = sqrt(in * out);
                double there = which == 0 ? best_at_shape(s, middle, &scale)
                                          : best_at(s, which == 1 ? NAN : 0.1, middle);
                if (there < fall) {
                    out = middle;
                } else {
                    in = middle;
                }
            }
            return sqrt(in * out);
        }
        in = out;
    }
    return step > 1 ? INFINITY : 0;
}

static bool fit(const sample *s, po_wear_life *life)
{
    double low = log(SHAPE_LEAST), high = log(SHAPE_MOST);
    for (int i = 0; i < 100; i++) { /* the score falls all the way: halve */
        double middle = (low + high) / 2, shape = exp(middle), sum, logs;
        powers(s, shape, &sum, &logs);
        if (1 / shape + s->log_sum / (double)s->failed - logs / sum > 0) {
            low = middle;
        } else {
            high = middle;
        }
    }
    life->shape = exp((low + high) / 2);
    life->log_likelihood = best_at_shape(s, life->shape, &life->scale);
    return life->shape > 1.01 * SHAPE_LEAST && life->shape < 0.99 * SHAPE_MOST && isfinite(life->scale);
}

po_status po_wear_life_of(const double *hours, const bool *running, size_t n, po_wear_life *ret, po_err *err)
{
    sample s = {hours, running, n, 0, 0, 0};
    if (n == 0) {
        return po_fail(err, PO_E_EMPTY, "no part of this kind is in the book");
    }
    if (n > PO_WEAR_MOST) {
        return po_fail(err, PO_E_LIMIT, "%zu parts: at most %d", n, PO_WEAR_MOST);
    }
    for (size_t i = 0; i < n; i++) {
        if (!(hours[i] > 0 && hours[i] < 1e9)) {
            return po_fail(err, PO_E_RANGE, "part %zu ran for %g h: expected more than 0", i + 1, hours[i]);
        }
        s.longest = fmax(s.longest, hours[i]);
        s.failed += !(running && running[i]);
    }
    for (size_t i = 0; i < n; i++) {
        s.log_sum += running && running[i] ? 0 : log(hours[i] / s.longest);
    }
    po_wear_life life = {.failed = s.failed, .running = n - s.failed, .verdict = PO_WEAR_TOO_FEW};
    life.shape = life.scale = life.shape_low = life.shape_high = life.scale_low = life.scale_high = NAN;
    life.mean = life.tenth = life.tenth_low = life.tenth_high = life.log_likelihood = NAN;
    if (s.failed >= 2 && fit(&s, &life)) {
        life.mean = po_wear_life_mean(life.shape, life.scale);
        life.tenth = po_wear_life_by(life.shape, life.scale, 0.1);
        life.shape_low = edge(&s, 0, life.shape, life.log_likelihood, 1 / 1.25);
        life.shape_high = edge(&s, 0, life.shape, life.log_likelihood, 1.25);
        life.scale_low = edge(&s, 1, life.scale, life.log_likelihood, 1 / 1.25);
        life.scale_high = edge(&s, 1, life.scale, life.log_likelihood, 1.25);
        life.tenth_low = edge(&s, 2, life.tenth, life.log_likelihood, 1 / 1.25);
        life.tenth_high = edge(&s, 2, life.tenth, life.log_likelihood, 1.25);
        if (s.failed >= PO_WEAR_FEW) {
            life.verdict = life.shape_low > 1 ? PO_WEAR_WORSE : life.shape_high < 1 ? PO_WEAR_BETTER : PO_WEAR_STEADY;
        }
    } else if (s.failed >= 2) { /* all at one age: no shape to be had */
        life.shape = life.scale = life.log_likelihood = NAN;
    }
    *ret = life;
    return PO_OK;
}
