/* Settings from test pieces. SPDX-License-Identifier: Apache-2.0
 *
 * Student's t for means and lines: NIST/SEMATECH e-Handbook of Statistical Methods 1.3.5.2 (confidence limits for the mean) and 4.1.4.1, 4.5.1.2
 * (straight line by least squares). A bead's section is a rectangle with round ends (docs/measures.md). Thresholds for acting: common practice, no
 * published source. */
#include "proveout/tune.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

static const double PI = 3.14159265358979323846;

static double quantile(double freedom)
{
    return gsl_cdf_tdist_Pinv(0.975, freedom);
}

static po_status few(size_t n, size_t least, po_err *err)
{
    return n < least ? po_fail(err, PO_E_EMPTY, "%zu reading%s given; at least %zu", n, n == 1 ? "" : "s", least)
           : n > PO_TUNE_MOST ? po_fail(err, PO_E_LIMIT, "at most %d readings", PO_TUNE_MOST)
                              : PO_OK;
}

static bool sound(double value, double low, double high)
{
    return isfinite(value) && value >= low && value <= high;
}

po_status po_tune_mean_of(const double *values, size_t n, po_tune_mean *ret, po_err *err)
{
    po_status s = few(n, 1, err);
    double sum = 0, squares = 0, low = INFINITY, high = -INFINITY;
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        if (!sound(values[i], 1e-6, 1e5)) {
            return po_fail(err, PO_E_RANGE, "reading %zu is %g: a length in mm is above nothing", i + 1, values[i]);
        }
        sum += values[i];
        low = fmin(low, values[i]);
        high = fmax(high, values[i]);
    }
    if (s != PO_OK) {
        return s;
    }
    double mean = sum / (double)n;
    for (size_t i = 0; i < n; i++) {
        squares += (values[i] - mean) * (values[i] - mean);
    }
    double sd = n > 1 ? sqrt(squares / (double)(n - 1)) : NAN;
    *ret = (po_tune_mean){n, mean, sd, n > 1 ? quantile((double)(n - 1)) * sd / sqrt((double)n) : NAN, low, high};
    return PO_OK;
}

po_status po_tune_feed_of(double steps, double asked_mm, const double *moved_mm, size_t n, po_tune_feed *ret,
                          po_err *err)
{
    po_tune_feed f = {0};
    if (!sound(steps, 1, 1e5) || !sound(asked_mm, 1, 1000)) {
        return po_fail(err, PO_E_RANGE, "steps a mm are from 1 to 100000, and 1 to 1000 mm are asked for");
    }
    po_status s = po_tune_mean_of(moved_mm, n, &f.moved, err);
    if (s != PO_OK) {
        return s;
    }
    if (f.moved.low < asked_mm / 10 || f.moved.high > 2 * asked_mm) {
        return po_fail(err, PO_E_RANGE,
                       "%g mm came where %g mm were asked for: that is no matter of steps; was the mark read as what "
                       "came, not as what "
                       "was left?",
                       f.moved.low < asked_mm / 10 ? f.moved.low : f.moved.high, asked_mm);
    }
    f.steps = steps * asked_mm / f.moved.mean;
    f.error = 1 - f.moved.mean / asked_mm;
    f.low = steps * asked_mm / (f.moved.mean + f.moved.half);
    f.high = f.moved.mean > f.moved.half ? steps * asked_mm / (f.moved.mean - f.moved.half) : INFINITY;
    f.low = n > 1 ? f.low : NAN;
    f.high = n > 1 ? f.high : NAN;
    f.act = f.moved.high - f.moved.low > 0.01 * asked_mm ? PO_TUNE_LOOK
            : fabs(f.error) > 0.01                       ? PO_TUNE_CHANGE
                                                         : PO_TUNE_LEAVE;
    *ret = f;
    return PO_OK;
}

po_status po_tune_flow_of(double flow, double width_mm, double layer_mm, const double *wall_mm, size_t n,
                          po_tune_flow *ret, po_err *err)
{
    po_tune_flow f = {0};
    if (!sound(flow, 0.2, 5) || !sound(width_mm, 0.05, 5) || !sound(layer_mm, 0.01, 5) || layer_mm >= width_mm) {
        return po_fail(
            err, PO_E_RANGE,
            "a flow factor is from 0.2 to 5 (1 is 100 %%), a bead from 0.05 to 5 mm wide and flatter than wide");
    }
    po_status s = po_tune_mean_of(wall_mm, n, &f.wall, err);
    if (s != PO_OK) {
        return s;
    }
    double ends = layer_mm * (1 - PI / 4); /* what the round ends take from a rectangle, as width */
    if (f.wall.low <= ends || f.wall.low < width_mm / 3 || f.wall.high > 3 * width_mm) {
        return po_fail(err, PO_E_RANGE,
                       "a wall of %g mm is no bead of %g mm: is it a piece of one wall, measured in mm?",
                       f.wall.low < width_mm / 3 ? f.wall.low : f.wall.high, width_mm);
    }
    f.by_width = flow * width_mm / f.wall.mean;
    f.by_area = flow * (width_mm - ends) / (f.wall.mean - ends);
    double thick = f.wall.mean + f.wall.half - ends, thin = f.wall.mean - f.wall.half - ends;
    f.low = n > 1 ? flow * (width_mm - ends) / thick : NAN;
    f.high = n > 1 ? (thin > 0 ? flow * (width_mm - ends) / thin : INFINITY) : NAN;
    bool sure = n > 1 && !(f.low <= flow && flow <= f.high);
    f.act = f.wall.high - f.wall.low > 0.2 * width_mm               ? PO_TUNE_LOOK
            : fabs(f.by_area / flow - 1) > 0.03 && (sure || n == 1) ? PO_TUNE_CHANGE
                                                                    : PO_TUNE_LEAVE;
    *ret = f;
    return PO_OK;
}

po_status po_tune_line_of(const double *x, const double *y, size_t n, po_tune_line *ret, po_err *err)
{
    po_status s = few(n, 2, err);
    double mx = 0, my = 0, xx = 0, xy = 0, squares = 0;
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        if (!sound(x[i], 1e-3, 1e5) || !sound(y[i], 1e-3, 1e5)) {
            return po_fail(err, PO_E_RANGE, "reading %zu: lengths in mm are above nothing", i + 1);
        }
        mx += x[i] / (double)n;
        my += y[i] / (double)n;
    }
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        xx += (x[i] - mx) * (x[i] - mx);
        xy += (x[i] - mx) * (y[i] - my);
    }
    if (s != PO_OK) {
        return s;
    }
    if (xx < 1e-6 * mx * mx) {
        return po_fail(
            err, PO_E_RANGE,
            "all lengths are alike: scale and offset are told apart by short and long ones, 20 mm and 100 mm say");
    }
    double slope = xy / xx, offset = my - slope * mx, freedom = (double)n - 2;
    for (size_t i = 0; i < n; i++) {
        double left = y[i] - offset - slope * x[i];
        squares += left * left;
    }
    po_tune_line l = {.n = n, .scale = slope - 1, .offset_mm = offset, .rms_mm = sqrt(squares / (double)n)};
    l.scale_half = l.offset_half_mm = NAN;
    if (freedom > 0) {
        double variance = squares / freedom, q = quantile(freedom);
        l.scale_half = q * sqrt(variance / xx);
        l.offset_half_mm = q * sqrt(variance * (1 / (double)n + mx * mx / xx));
        l.scale_sure = fabs(l.scale) > l.scale_half;
        l.offset_sure = fabs(l.offset_mm) > l.offset_half_mm;
    }
    *ret = l;
    return PO_OK;
}

po_status po_tune_size_of(double steps, const double *nominal_mm, const double *measured_mm, size_t n,
                          po_tune_size *ret, po_err *err)
{
    po_tune_size z = {0};
    if (steps != 0 && !sound(steps, 1, 1e5)) {
        return po_fail(err, PO_E_RANGE, "steps a mm are from 1 to 100000");
    }
    po_status s = po_tune_line_of(nominal_mm, measured_mm, n, &z.line, err);
    if (s != PO_OK) {
        return s;
    }
    if (fabs(z.line.scale) > 0.1) {
        return po_fail(
            err, PO_E_RANGE,
            "lengths come out %.1f %% off: that is no matter of steps; are all in mm, and in the same order?",
            100 * z.line.scale);
    }
    z.steps = steps > 0 ? steps / (1 + z.line.scale) : NAN;
    z.shrinkage = -z.line.scale;
    z.act = fabs(z.line.scale) > 0.001 && (z.line.scale_sure || n == 2) ? PO_TUNE_CHANGE : PO_TUNE_LEAVE;
    *ret = z;
    return PO_OK;
}

po_status po_tune_split(double on, double om, double in, double im, double *ret_scale, double *ret_width_mm,
                        po_err *err)
{
    if (!sound(on, 0.1, 1e4) || !sound(om, 0.1, 1e4) || !sound(in, 0.1, 1e4) || !sound(im, 0.1, 1e4) || in >= on) {
        return po_fail(err, PO_E_RANGE, "an outer measure is larger than the inner one, both in mm and above nothing");
    }
    *ret_scale = ((om + im) - (on + in)) / (on + in);
    *ret_width_mm = (om - im) - (on - in);
    return PO_OK;
}

po_status po_tune_skew_of(double ac, double bd, double ad, po_tune_skew *ret, po_err *err)
{
    if (!sound(ac, 1, 1e4) || !sound(bd, 1, 1e4) || !sound(ad, 1, 1e4)) {
        return po_fail(err, PO_E_RANGE, "both diagonals and the side are lengths in mm from 1 to 10000");
    }
    double ab2 = 2 * ac * ac + 2 * bd * bd - 4 * ad * ad, ab = ab2 > 0 ? 0.5 * sqrt(ab2) : 0;
    double sine = ab > 0 ? (ac * ac - bd * bd) / (4 * ab * ad) : 2;
    if (!(fabs(sine) < 0.2)) {
        return po_fail(err, PO_E_RANGE,
                       "no nearly square piece has diagonals of %g and %g mm and a side of %g mm; measure again", ac,
                       bd, ad);
    }
    double angle = asin(sine), tangent = tan(angle);
    *ret = (po_tune_skew){ab, tangent, angle * 180 / PI, 100 * tangent,
                          fabs(100 * tangent) > 0.1 ? PO_TUNE_CHANGE : PO_TUNE_LEAVE};
    return PO_OK;
}

po_status po_tune_gap_of(double wanted_mm, const double *layer_mm, size_t n, po_tune_gap *ret, po_err *err)
{
    po_tune_gap g = {0};
    if (!sound(wanted_mm, 0.03, 2)) {
        return po_fail(err, PO_E_RANGE, "a first layer is from 0.03 to 2 mm high");
    }
    po_status s = po_tune_mean_of(layer_mm, n, &g.layer, err);
    if (s == PO_OK && g.layer.high > 5 * wanted_mm) {
        return po_fail(err, PO_E_RANGE, "%g mm is no first layer of %g mm: measured in mm?", g.layer.high, wanted_mm);
    }
    if (s == PO_OK) {
        g.correction_mm = wanted_mm - g.layer.mean;
        g.range_mm = g.layer.high - g.layer.low;
        g.act = g.range_mm > 0.1 ? PO_TUNE_LOOK : fabs(g.correction_mm) > 0.02 ? PO_TUNE_CHANGE : PO_TUNE_LEAVE;
        *ret = g;
    }
    return s;
}

po_status po_tune_limit_of(const double *at, const bool *good, size_t n, po_tune_limit *ret, po_err *err)
{
    po_tune_limit l = {NAN, NAN, NAN, false};
    po_status s = few(n, 1, err);
    double best = NAN;
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        if (!sound(at[i], 0.1, 1000)) {
            return po_fail(err, PO_E_RANGE, "reading %zu: a length or an angle is from 0.1 to 1000", i + 1);
        }
        l.bad = good[i] ? l.bad : isnan(l.bad) ? at[i] : fmin(l.bad, at[i]);
    }
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        best = good[i] ? (isnan(best) ? at[i] : fmax(best, at[i])) : best;
        if (good[i] && !(at[i] >= l.bad)) {
            l.good = isnan(l.good) ? at[i] : fmax(l.good, at[i]);
        }
    }
    if (s == PO_OK) {
        l.mixed = best >= l.bad;
        l.state = l.good;
        *ret = l;
    }
    return s;
}
