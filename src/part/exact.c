/* On which side of a plane or line a point lies, without error. SPDX-License-Identifier: Apache-2.0
 *
 * J. R. Shewchuk, "Adaptive precision floating-point arithmetic and fast robust geometric predicates", Discrete &
 * Computational Geometry 18, 1997. Plain arithmetic with a bound on its error decides nearly always; else the same sum
 * is made of expansions: sums of doubles that do not overlap, smallest first, which hold a number exactly; its sign is
 * that of the last term. Sums: his figure 8 (fast expansion sum); products: figure 13 (scale expansion), both leaving
 * out zeros; so differences that are exact, as they mostly are for coordinates in single precision, cost little. Needs
 * round-to-even double arithmetic without excess precision and without fused operations (the build says so). */
#include "part/exact.h"

#include <stddef.h>

enum { MOST = 192 }; /* (2 x 2 products: 8, of two: 16, by 2: 64) three times */

typedef struct expansion {
    int n;
    double terms[MOST];
} expansion;

/* a + b = *ret_sum + *ret_rest exactly. */
static inline void two_sum(double a, double b, double *ret_sum, double *ret_rest)
{
    double sum = a + b, b_part = sum - a, a_part = sum - b_part;
    *ret_rest = (a - a_part) + (b - b_part);
    *ret_sum = sum;
}

/* The same where |a| >= |b|. */
static inline void fast_two_sum(double a, double b, double *ret_sum, double *ret_rest)
{
    double sum = a + b;
    *ret_rest = b - (sum - a);
    *ret_sum = sum;
}

static inline void split(double a, double *ret_high, double *ret_low)
{
    double c = 134217729.0 * a; /* 2^27 + 1 */
    *ret_high = c - (c - a);
    *ret_low = a - *ret_high;
}

static inline void two_product(double a, double b, double *ret_product, double *ret_rest)
{
    double product = a * b, ah, al, bh, bl;
    split(a, &ah, &al);
    split(b, &bh, &bl);
    *ret_rest = al * bl - (((product - ah * bh) - al * bh) - ah * bl);
    *ret_product = product;
}

static void put(expansion *e, double term)
{
    if (term != 0) {
        e->terms[e->n++] = term;
    }
}

static void add(const expansion *e, const expansion *f, expansion *sum)
{
    int i = 0, k = 0;
    double total = 0, rest;
    sum->n = 0;
    for (int step = 0; step < e->n + f->n; step++) { /* merged by size, smallest first */
        double next = k == f->n || (i < e->n && fabs(e->terms[i]) < fabs(f->terms[k])) ? e->terms[i++] : f->terms[k++];
        two_sum(total, next, &total, &rest);
        put(sum, rest);
    }
    put(sum, total);
}

static void scale(const expansion *e, double by, expansion *product)
{
    double total = 0, rest, high, low;
    product->n = 0;
    for (int i = 0; i < e->n; i++) {
        two_product(e->terms[i], by, &high, &low);
        two_sum(total, low, &total, &rest);
        put(product, rest);
        fast_two_sum(high, total, &total, &rest);
        put(product, rest);
    }
    put(product, total);
}

static void negate(expansion *e)
{
    for (int i = 0; i < e->n; i++) {
        e->terms[i] = -e->terms[i];
    }
}

/* by: at most two terms. */
static void multiply(const expansion *e, const expansion *by, expansion *product)
{
    product->n = 0;
    if (by->n == 1) {
        scale(e, by->terms[0], product);
    } else if (by->n == 2) {
        expansion first, second;
        scale(e, by->terms[0], &first);
        scale(e, by->terms[1], &second);
        add(&first, &second, product);
    }
}

static void difference(double a, double b, expansion *e)
{
    double sum, rest;
    two_sum(a, -b, &sum, &rest);
    e->n = 0;
    put(e, rest);
    put(e, sum);
}

/* a b - c d; all of at most two terms. */
static void cross(const expansion *a, const expansion *b, const expansion *c, const expansion *d, expansion *ret)
{
    expansion ab, cd;
    multiply(a, b, &ab);
    multiply(c, d, &cd);
    negate(&cd);
    add(&ab, &cd, ret);
}

static int sign_of(const expansion *e)
{
    return e->n == 0 ? 0 : e->terms[e->n - 1] > 0 ? 1 : -1;
}

int po_side3_exact(const double *a, const double *b, const double *c, const double *d)
{
    expansion u[3], v[3], w[3], normal, part, sum, total;
    for (int k = 0; k < 3; k++) {
        difference(b[k], a[k], &u[k]);
        difference(c[k], a[k], &v[k]);
        difference(d[k], a[k], &w[k]);
    }
    total.n = 0;
    for (int k = 0; k < 3; k++) {
        int l = (k + 1) % 3, m = (k + 2) % 3;
        cross(&u[l], &v[m], &u[m], &v[l], &normal);
        multiply(&normal, &w[k], &part);
        add(&total, &part, &sum);
        total = sum;
    }
    return sign_of(&total);
}

int po_side3(const double *a, const double *b, const double *c, const double *d)
{
    po_exact_plane plane;
    po_exact_plane_set(&plane, a, b, c);
    return po_exact_plane_side(&plane, d);
}

int po_side2_exact(const double *a, const double *b, const double *c, int x, int y)
{
    expansion ux, uy, vx, vy, total;
    difference(b[x], a[x], &ux);
    difference(b[y], a[y], &uy);
    difference(c[x], a[x], &vx);
    difference(c[y], a[y], &vy);
    cross(&ux, &vy, &uy, &vx, &total);
    return sign_of(&total);
}

int po_side2(const double *a, const double *b, const double *c, int x, int y)
{
    double left = (b[x] - a[x]) * (c[y] - a[y]), right = (b[y] - a[y]) * (c[x] - a[x]), det = left - right;
    double bound = 4e-16 * (fabs(left) + fabs(right)); /* (3 + 16 eps) eps = 3.4e-16 */
    if (det > bound) {
        return 1;
    }
    if (det < -bound) {
        return -1;
    }
    return bound == 0 ? 0 : po_side2_exact(a, b, c, x, y);
}
