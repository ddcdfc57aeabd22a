/* A plane through a bed's readings, and turns of its screws. SPDX-License-Identifier: Apache-2.0
 *
 * Least squares by the normal equations about the centre (NIST/SEMATECH e-Handbook of Statistical Methods, 4.1.4.1); the variance of the plane
 * at a place from the inverse of their matrix (same, 4.3.3). Blunders by least median of squares: P. J. Rousseeuw, "Least median of squares
 * regression", J. Am. Stat. Assoc. 79 (1984), with his factor for few points. Between readings: D. Shepard, "A two-dimensional
 * interpolation function for irregularly-spaced data", Proc. 23rd ACM National Conference (1968). */
#include "proveout/tram.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"

enum { TRIPLES_MOST = 4000 };
static const double TWENTIETH = 0.05, WARP_MOST = 0.30, BLUNDER_LEAST = 0.15, BLUNDER_SCALES = 6;

typedef struct plane {
    double a, b, z0, x0, y0;   /* z = z0 + a (x - x0) + b (y - y0) */
    double xx, xy, yy, n, det; /* sums about the centre */
} plane;

static double at(const plane *p, double x, double y)
{
    return p->z0 + p->a * (x - p->x0) + p->b * (y - p->y0);
}

/* False where the points lie on one line, or nearly: then the plane turns about it freely. */
static bool fit(const po_tram_reading *r, size_t n, const bool *out, plane *ret)
{
    plane p = {0};
    double xz = 0, yz = 0;
    for (size_t i = 0; i < n; i++) {
        if (!out || !out[i]) {
            p.n++;
            p.x0 += r[i].x_mm;
            p.y0 += r[i].y_mm;
            p.z0 += r[i].z_mm;
        }
    }
    p.x0 /= p.n;
    p.y0 /= p.n;
    p.z0 /= p.n;
    for (size_t i = 0; i < n; i++) {
        if (!out || !out[i]) {
            double x = r[i].x_mm - p.x0, y = r[i].y_mm - p.y0, z = r[i].z_mm - p.z0;
            p.xx += x * x;
            p.xy += x * y;
            p.yy += y * y;
            xz += x * z;
            yz += y * z;
        }
    }
    p.det = p.xx * p.yy - p.xy * p.xy;
    double size = p.xx + p.yy; /* of the narrow way at least a hundredth of the long one, and a millimetre */
    if (p.n < 3 || p.det < 1e-4 * size * size || p.det / (size > 0 ? size : 1) < p.n * 0.25) {
        return false;
    }
    p.a = (p.yy * xz - p.xy * yz) / p.det;
    p.b = (p.xx * yz - p.xy * xz) / p.det;
    *ret = p;
    return true;
}

/* Standard deviation of the plane's height at a place less that at another (or less its mean), for a scatter of 1. */
static double spread(const plane *p, double dx, double dy)
{
    return sqrt(fmax((p->yy * dx * dx - 2 * p->xy * dx * dy + p->xx * dy * dy) / p->det, 0));
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Which readings the others speak against. Few: nothing can be said below six. */
static bool find_blunders(const po_tram_reading *r, size_t n, double *room, bool *out)
{
    plane best = {0};
    double least = INFINITY;
    uint64_t seed = 1;
    size_t all = n * (n - 1) * (n - 2) / 6, tries = n <= 30 ? all : TRIPLES_MOST;
    size_t i = 0, j = 1, k = 1;
    if (n < 6) {
        return false;
    }
    for (size_t t = 0; t < tries; t++) {
        if (n <= 30) { /* the next three in turn */
            k++;
            if (k == n) {
                j++;
                if (j == n - 1) {
                    i++;
                    j = i + 1;
                }
                k = j + 1;
            }
        } else {
            i = po_random_next(&seed) % n;
            j = po_random_next(&seed) % n;
            k = po_random_next(&seed) % n;
        }
        po_tram_reading three[3] = {r[i], r[j], r[k]};
        plane p;
        if (i == j || j == k || i == k || !fit(three, 3, NULL, &p)) {
            continue;
        }
        for (size_t m = 0; m < n; m++) {
            room[m] = fabs(r[m].z_mm - at(&p, r[m].x_mm, r[m].y_mm));
        }
        qsort(room, n, sizeof *room, rising);
        double median = room[n / 2 + 1 < n ? n / 2 + 1 : n - 1]; /* half of all and the three that it goes through */
        if (median < least) {
            least = median;
            best = p;
        }
    }
    if (!(least < INFINITY)) {
        return false;
    }
    double scale = 1.4826 * (1 + 5.0 / ((double)n - 3)) * least, most = fmax(BLUNDER_SCALES * scale, BLUNDER_LEAST);
    size_t n_out = 0;
    for (size_t m = 0; m < n; m++) {
        out[m] = fabs(r[m].z_mm - at(&best, r[m].x_mm, r[m].y_mm)) > most;
        n_out += out[m];
    }
    if (n_out * 4 > n) { /* so many are no slips of the hand: the bed is bent */
        memset(out, 0, n * sizeof *out);
        n_out = 0;
    }
    return n_out > 0;
}

/* What is left at a place, from the readings about it. */
static double left_at(const po_tram_reading *r, const double *left, size_t n, double x, double y)
{
    double sum = 0, weight = 0;
    for (size_t i = 0; i < n; i++) {
        double d2 = (r[i].x_mm - x) * (r[i].x_mm - x) + (r[i].y_mm - y) * (r[i].y_mm - y);
        if (d2 < 1e-6) {
            return left[i];
        }
        double w = 1 / (d2 * sqrt(d2));
        sum += w * left[i];
        weight += w;
    }
    return sum / weight;
}

static void map_of(const po_tram_reading *r, const double *left, size_t n, const po_tram_setup *s, po_tram *t)
{
    int in = 0, within = 0;
    double cx = (s->bed_x[0] + s->bed_x[1]) / 2, cy = (s->bed_y[0] + s->bed_y[1]) / 2,
           radius = (s->bed_x[1] - s->bed_x[0]) / 2;
    size_t step = n > 400 ? n / 400 + 1 : 1; /* of very many readings some */
    po_tram_reading some[PO_TRAM_READINGS_MOST / 25 + 1];
    double of_some[PO_TRAM_READINGS_MOST / 25 + 1];
    size_t n_some = 0;
    for (size_t i = 0; i < n; i += step) {
        some[n_some] = r[i];
        of_some[n_some++] = left[i];
    }
    for (int j = 0; j < PO_TRAM_MAP; j++) {
        for (int i = 0; i < PO_TRAM_MAP; i++) {
            double x = s->bed_x[0] + (s->bed_x[1] - s->bed_x[0]) * (i + 0.5) / PO_TRAM_MAP;
            double y = s->bed_y[0] + (s->bed_y[1] - s->bed_y[0]) * (j + 0.5) / PO_TRAM_MAP;
            double *z = &t->map_mm[j * PO_TRAM_MAP + i];
            bool outside = s->round_bed && hypot(x - cx, y - cy) > radius;
            *z = outside ? NAN : left_at(some, of_some, n_some, x, y);
            in += !outside;
            within += !outside && fabs(*z) <= s->tolerance_mm;
        }
    }
    t->share_within = in > 0 ? (double)within / in : 0;
}

/* How far a place lies outside the box of the readings. */
static double outside(const po_tram_reading *r, size_t n, double x, double y)
{
    double low_x = INFINITY, low_y = INFINITY, high_x = -INFINITY, high_y = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        low_x = fmin(low_x, r[i].x_mm);
        high_x = fmax(high_x, r[i].x_mm);
        low_y = fmin(low_y, r[i].y_mm);
        high_y = fmax(high_y, r[i].y_mm);
    }
    return hypot(fmax(fmax(low_x - x, x - high_x), 0), fmax(fmax(low_y - y, y - high_y), 0));
}

static void turns_of(const po_tram_reading *r, const po_tram_setup *s, const plane *p, po_tram *t)
{
    double keep_x = p->x0, keep_y = p->y0, q = t->n_used > 3 ? gsl_cdf_tdist_Pinv(0.975, (double)t->n_used - 3) : NAN;
    if (s->keep >= 0) {
        keep_x = s->screws[s->keep].x_mm;
        keep_y = s->screws[s->keep].y_mm;
    }
    for (size_t i = 0; i < s->n_screws; i++) {
        const po_tram_screw *screw = &s->screws[i];
        po_tram_turn *turn = &t->turns[i];
        turn->height_mm = at(p, screw->x_mm, screw->y_mm);
        turn->move_mm = at(p, keep_x, keep_y) - turn->height_mm;
        turn->error_mm = q * t->scatter_mm * spread(p, screw->x_mm - keep_x, screw->y_mm - keep_y);
        turn->turns = fabs(turn->move_mm) / screw->pitch_mm;
        turn->clockwise = (turn->move_mm > 0) == screw->clockwise_raises;
        turn->within = turn->turns < TWENTIETH ||
                       (fabs(turn->move_mm) < turn->error_mm && fabs(turn->move_mm) <= s->tolerance_mm);
        turn->outside_mm = outside(r, t->n, screw->x_mm, screw->y_mm);
    }
}

static size_t nearest(const po_tram_reading *r, size_t n, const bool *out, double x, double y, double *ret_mm)
{
    size_t best = 0;
    *ret_mm = INFINITY;
    for (size_t i = 0; i < n; i++) {
        double d = hypot(r[i].x_mm - x, r[i].y_mm - y);
        if (!out[i] && d < *ret_mm) {
            *ret_mm = d;
            best = i;
        }
    }
    return best;
}

/* Four screws at the corners of a rectangle, in any order, and a reading near each. */
static double twist_of(const po_tram_reading *r, size_t n, const bool *out, const double *left, const po_tram_setup *s)
{
    if (s->n_screws != 4) {
        return NAN;
    }
    double cx = 0, cy = 0, sum = 0, far = 0;
    for (size_t i = 0; i < 4; i++) {
        cx += s->screws[i].x_mm / 4;
        cy += s->screws[i].y_mm / 4;
    }
    int corners = 0;
    for (size_t i = 0; i < 4; i++) {
        double dx = s->screws[i].x_mm - cx, dy = s->screws[i].y_mm - cy, d;
        size_t k = nearest(r, n, out, s->screws[i].x_mm, s->screws[i].y_mm, &d);
        far = fmax(far, d / hypot(dx, dy));
        corners |= 1 << ((dx > 0) + 2 * (dy > 0));
        sum += (dx > 0) == (dy > 0) ? left[k] : -left[k];
    }
    return corners == 15 && far < 0.25 ? fabs(sum) / 2 : NAN;
}

static po_status sound(const po_tram_reading *r, size_t n, const po_tram_setup *s, po_err *err)
{
    if (n < 3) {
        return po_fail(err, PO_E_EMPTY, "%zu reading%s %s: a plane needs three at least, five or more are better", n,
                       n == 1 ? "" : "s", n == 1 ? "is too few" : "are too few");
    }
    if (n > PO_TRAM_READINGS_MOST || s->n_screws > PO_TRAM_SCREWS_MOST) {
        return po_fail(err, PO_E_LIMIT, "at most %d readings and %d screws", PO_TRAM_READINGS_MOST,
                       PO_TRAM_SCREWS_MOST);
    }
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(r[i].x_mm + r[i].y_mm + r[i].z_mm)) {
            return po_fail(err, PO_E_RANGE, "reading %zu is no number", i + 1);
        }
    }
    if (s->n_screws < 3) {
        return po_fail(err, PO_E_RANGE, "a bed is levelled by three screws or more; %zu given", s->n_screws);
    }
    po_tram_reading places[PO_TRAM_SCREWS_MOST];
    for (size_t i = 0; i < s->n_screws; i++) {
        if (!(s->screws[i].pitch_mm >= 0.1 && s->screws[i].pitch_mm <= 10)) {
            return po_fail(err, PO_E_RANGE, "screw %zu: a pitch is from 0.1 to 10 mm a turn", i + 1);
        }
        places[i] = (po_tram_reading){s->screws[i].x_mm, s->screws[i].y_mm, 0, 0};
    }
    plane p;
    if (!fit(places, s->n_screws, NULL, &p)) {
        return po_fail(err, PO_E_RANGE, "the screws stand on one line: they can't set a plane; give their places anew");
    }
    bool map = s->bed_x[1] > s->bed_x[0] && s->bed_y[1] > s->bed_y[0];
    return map && s->tolerance_mm > 0 && s->keep < (int)s->n_screws
               ? PO_OK
               : po_fail(err, PO_E_RANGE, "the bed's size, the tolerance or the screw that is kept are out of range");
}

/* A blunder of a whole number of turns is a slip at the dial or the knob. */
static void name_blunders(const po_tram_reading *r, const bool *out, const plane *p, double pitch, po_tram *t)
{
    for (size_t i = 0; i < t->n && t->n_blunders < PO_TRAM_BLUNDERS_MOST; i++) {
        if (out[i]) {
            double off = r[i].z_mm - at(p, r[i].x_mm, r[i].y_mm), turns = off / pitch, whole = round(turns);
            bool so = fabs(whole) >= 1 && fabs(turns - whole) < 0.12;
            t->blunders[t->n_blunders++] = (po_tram_blunder){i, off, so ? whole : 0};
        }
    }
}

po_status po_tram_make(const po_tram_reading *r, size_t n, const po_tram_setup *s, po_arena *arena, const po_tram **ret,
                       po_err *err)
{
    po_status status = sound(r, n, s, err);
    if (status != PO_OK) {
        return status;
    }
    po_tram *t = po_arena_zeros(arena, 1, sizeof *t);
    double *left = po_arena_zeros(arena, n, sizeof *left), *room = po_arena_zeros(arena, n, sizeof *room);
    bool *out = po_arena_zeros(arena, n, sizeof *out);
    if (!t || !left || !room || !out || !(t->turns = po_arena_zeros(arena, s->n_screws, sizeof *t->turns))) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    plane p;
    if (!fit(r, n, NULL, &p)) {
        return po_fail(
            err, PO_E_RANGE,
            "the readings lie on one line: the bed may tilt about it unseen; read at places on both sides of it");
    }
    find_blunders(r, n, room, out);
    plane with = p;
    if (!fit(r, n, out, &p)) { /* what is left lies on a line: then nothing may be left out */
        memset(out, 0, n * sizeof *out);
        p = with;
    }
    double squares = 0, low = INFINITY, high = -INFINITY, low_z = INFINITY, high_z = -INFINITY;
    t->n = n;
    for (size_t i = 0; i < n; i++) {
        left[i] = r[i].z_mm - at(&p, r[i].x_mm, r[i].y_mm);
        if (!out[i]) {
            t->n_used++;
            squares += left[i] * left[i];
            low = fmin(low, left[i]);
            high = fmax(high, left[i]);
            low_z = fmin(low_z, r[i].z_mm);
            high_z = fmax(high_z, r[i].z_mm);
        }
    }
    t->left_mm = left;
    t->a = p.a;
    t->b = p.b;
    t->c = at(&p, 0, 0);
    t->tilt_deg = atan(hypot(p.a, p.b)) * 180 / 3.14159265358979323846;
    t->rms_mm = sqrt(squares / (double)t->n_used);
    t->scatter_mm = t->n_used > 3 ? sqrt(squares / ((double)t->n_used - 3)) : NAN;
    t->before_mm = high_z - low_z;
    t->after_mm = high - low;
    t->gap_low_mm = s->gap_mm - high;
    t->gap_high_mm = s->gap_mm - low;
    turns_of(r, s, &p, t);
    name_blunders(r, out, &p, s->screws[0].pitch_mm, t);
    t->twist_mm = twist_of(r, n, out, left, s);
    map_of(r, left, n, s, t);
    t->verdict = t->before_mm <= 2 * s->tolerance_mm  ? PO_TRAM_LEVEL
                 : t->after_mm <= 2 * s->tolerance_mm ? PO_TRAM_TURN
                 : t->after_mm <= WARP_MOST           ? PO_TRAM_WARPED
                                                      : PO_TRAM_BENT;
    *ret = t;
    return PO_OK;
}

void po_tram_compare(const po_tram *before, const po_tram *after, const po_tram_setup *s, po_tram_next *ret)
{
    for (size_t i = 0; i < s->n_screws; i++) {
        double was = before->turns[i].move_mm, is = after->turns[i].move_mm;
        double unsure = fmax(TWENTIETH * s->screws[i].pitch_mm, s->tolerance_mm / 2);
        double error = fmax(isnan(after->turns[i].error_mm) ? 0 : after->turns[i].error_mm, unsure);
        ret[i] = fabs(is) <= error                     ? PO_TRAM_DONE
                 : was * is < 0                        ? PO_TRAM_TOO_FAR
                 : fabs(is) > fabs(was) + error        ? PO_TRAM_WRONG_WAY
                 : fabs(fabs(is) - fabs(was)) <= error ? PO_TRAM_NOT_TURNED
                                                       : PO_TRAM_SHORT;
    }
}
