/* A free place among things in the way. SPDX-License-Identifier: Apache-2.0
 *
 * Shifts of a convex outline that keep it inside a convex bed are a convex polygon; shifts that make it overlap a
 * convex thing in the way are the inside of another, the sum of that thing and the outline turned by half
 * (configuration space: T. Lozano-Perez, "Spatial planning", IEEE Trans. Computers, 1983). What is left after taking
 * the latter from the former, when it is anything at all, has a corner, and all its corners are corners of the polygons
 * or points where two of their edges meet: a sweep over x tries each of those. */
#include <math.h>
#include <stdlib.h>

#include "part/fit.h"

/* Rounding of turned coordinates (up to 1e3 mm) is some 1e-13 mm; touching has to count as free. */
static const double TOUCH_MM = 1e-9;

typedef struct chains { /* of a convex polygon */
    const po_xy *at;
    size_t n, right_low, right_high, left_high; /* left_high: n when the leftmost corner is the top one as well */
    double low_x, high_x;
} chains;

static chains chains_of(const po_convex *p)
{
    chains c = {.at = p->at, .n = p->n};
    for (size_t i = 1; i < p->n; i++) {
        c.right_low = p->at[i].x > p->at[c.right_low].x ? i : c.right_low;
    }
    c.right_high = c.right_low;
    while (c.right_high + 1 < p->n && p->at[c.right_high + 1].x == p->at[c.right_low].x) {
        c.right_high++;
    }
    c.left_high = p->n;
    while (c.left_high > c.right_high + 1 && p->at[c.left_high - 1].x == p->at[0].x) {
        c.left_high--;
    }
    if (c.left_high == c.right_high + 1 && p->at[c.right_high].x == p->at[0].x) {
        c.left_high = c.right_high; /* all in one column */
    }
    c.low_x = p->at[0].x;
    c.high_x = p->at[c.right_low].x;
    return c;
}

static double between(po_xy a, po_xy b, double x)
{
    double wide = b.x - a.x;
    if (wide == 0) {
        return a.y;
    }
    double t = (x - a.x) / wide;
    return t <= 0 ? a.y : t >= 1 ? b.y : a.y + t * (b.y - a.y);
}

static double lower(const chains *c, double x)
{
    size_t low = 0, high = c->right_low;
    while (high - low > 1) {
        size_t mid = (low + high) / 2;
        if (c->at[mid].x <= x) {
            low = mid;
        } else {
            high = mid;
        }
    }
    return high > low ? between(c->at[low], c->at[high], x) : c->at[low].y;
}

static double upper(const chains *c, double x)
{
    size_t low = c->right_high, high = c->left_high; /* x falls */
    while (high - low > 1) {
        size_t mid = (low + high) / 2;
        if (c->at[mid].x >= x) {
            low = mid;
        } else {
            high = mid;
        }
    }
    return high > low ? between(c->at[high % c->n], c->at[low], x) : c->at[low].y;
}

typedef struct search {
    chains in;
    const chains *out;
    size_t n_out;
    po_xy target, best;
    double best_far; /* INFINITY: none yet */
} search;

static void try_point(search *s, double x, double y)
{
    double far = hypot(x - s->target.x, y - s->target.y);
    if (!(far < s->best_far)) {
        return;
    }
    for (size_t k = 0; k < s->n_out; k++) {
        const chains *c = &s->out[k];
        if (x > c->low_x + TOUCH_MM && x < c->high_x - TOUCH_MM && y > lower(c, x) + TOUCH_MM &&
            y < upper(c, x) - TOUCH_MM) {
            return;
        }
    }
    s->best = (po_xy){x, y};
    s->best_far = far;
}

static void try_column(search *s, double x)
{
    if (fabs(x - s->target.x) >= s->best_far) {
        return;
    }
    double y0 = lower(&s->in, x), y1 = upper(&s->in, x);
    try_point(s, x, y0);
    try_point(s, x, y1);
    try_point(s, x, fmin(fmax(s->target.y, y0), y1));
    for (size_t k = 0; k < s->n_out; k++) {
        const chains *c = &s->out[k];
        if (x < c->low_x || x > c->high_x) {
            continue;
        }
        double a = lower(c, x), b = upper(c, x);
        if (a >= y0 && a <= y1) {
            try_point(s, x, a);
        }
        if (b >= y0 && b <= y1) {
            try_point(s, x, b);
        }
    }
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Columns where two edges cross between xa and xb. ya, yb: room for the heights of all chains. */
static void try_crossings(search *s, double xa, double xb, double *ya, double *yb)
{
    size_t n = 0;
    if (xa - s->target.x >= s->best_far || s->target.x - xb >= s->best_far) {
        return;
    }
    for (size_t k = 0; k <= s->n_out; k++) {
        const chains *c = k ? &s->out[k - 1] : &s->in;
        if (c->low_x > xa || c->high_x < xb) {
            continue;
        }
        ya[n] = lower(c, xa);
        yb[n++] = lower(c, xb);
        ya[n] = upper(c, xa);
        yb[n++] = upper(c, xb);
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t k = i + 1; k < n; k++) {
            double a = ya[i] - ya[k], b = yb[i] - yb[k];
            if ((a < 0 && b > 0) || (a > 0 && b < 0)) {
                try_column(s, xa + (xb - xa) * (a / (a - b)));
            }
        }
    }
}

bool po_free_point(const po_convex *in, const po_convex *out, size_t n_out, po_xy target, po_xy *ret, bool *ret_memory)
{
    size_t n = in->n + 1, n_xs = 0;
    for (size_t k = 0; k < n_out; k++) {
        n += out[k].n;
    }
    chains *all = malloc((n_out + 1) * sizeof *all);
    double *xs = malloc(n * sizeof *xs), *ys = malloc(4 * (n_out + 1) * sizeof *ys);
    search s = {.out = all, .n_out = n_out, .target = target, .best_far = INFINITY};
    if (!all || !xs || !ys) {
        *ret_memory = false;
        goto done;
    }
    s.in = chains_of(in);
    for (size_t k = 0; k < n_out; k++) {
        all[k] = chains_of(&out[k]);
    }
    xs[n_xs++] = fmin(fmax(target.x, s.in.low_x), s.in.high_x);
    for (size_t k = 0; k <= n_out; k++) {
        const po_convex *p = k ? &out[k - 1] : in;
        for (size_t i = 0; i < p->n; i++) {
            if (p->at[i].x >= s.in.low_x && p->at[i].x <= s.in.high_x) {
                xs[n_xs++] = p->at[i].x;
            }
        }
    }
    qsort(xs, n_xs, sizeof *xs, by_value);
    for (size_t i = 0; i < n_xs; i++) {
        if (i == 0 || xs[i] > xs[i - 1]) {
            try_column(&s, xs[i]);
        }
        if (i > 0 && xs[i] > xs[i - 1]) {
            try_crossings(&s, xs[i - 1], xs[i], ys, ys + 2 * (n_out + 1));
        }
    }
    *ret = s.best;
done:
    free(all);
    free(xs);
    free(ys);
    return isfinite(s.best_far);
}
