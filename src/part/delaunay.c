/* Triangles over points in the plane that hold given edges. SPDX-License-Identifier: Apache-2.0
 *
 * Points are put in one by one, in the order of a Hilbert curve, and the triangles around each new one are flipped until
 * none has a point inside its circle (C. L. Lawson, "Software for C1 surface interpolation", 1977; order: Zhou and Jones,
 * "HCPO: an efficient insertion order for incremental Delaunay triangulation", Inf. Process. Lett. 93, 2005). Edges are
 * put in by flipping the sides that they cross (S. W. Sloan, "A fast algorithm for generating constrained Delaunay
 * triangulations", Computers & Structures 47, 1993). Sides of lines are asked for without error (exact.h); a side is
 * flipped for its circle only where rounding cannot have decided, so flipping ends. */
#include "part/delaunay.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "part/exact.h"

typedef struct po_hold { /* an edge that waits to be put in */
    uint32_t a, b;
    int32_t times;
} po_hold;

typedef struct place {
    uint64_t key;
    uint32_t point;
} place;

static const double *point(const po_delaunay *d, uint32_t i)
{
    return d->xy + 2 * (size_t)i;
}

static int side(const po_delaunay *d, uint32_t a, uint32_t b, uint32_t c)
{
    return po_side2(point(d, a), point(d, b), point(d, c), 0, 1);
}

static int corner_of(const po_triangle *t, uint32_t p)
{
    return t->corner[0] == p ? 0 : t->corner[1] == p ? 1 : 2;
}

static int side_to(const po_triangle *t, uint32_t neighbour)
{
    return t->beyond[0] == neighbour ? 0 : t->beyond[1] == neighbour ? 1 : 2;
}

static bool grow(po_arena *arena, void **array, size_t *cap, size_t wanted, size_t size)
{
    if (wanted <= *cap) {
        return true;
    }
    size_t more = *cap ? *cap * 2 : 64;
    more = more < wanted ? wanted : more;
    void *bigger = po_arena_resize(arena, *array, *cap * size, more * size);
    if (!bigger) {
        return false;
    }
    *array = bigger;
    *cap = more;
    return true;
}

/* Surely inside the circle through a, b, c (counter-clockwise)? The bound is Shewchuk's for this sum (1997, iccerrboundA,
 * (10 + 96 eps) eps), rounded up. */
static bool inside_circle(const double *a, const double *b, const double *c, const double *p)
{
    double ax = a[0] - p[0], ay = a[1] - p[1], bx = b[0] - p[0], by = b[1] - p[1], cx = c[0] - p[0], cy = c[1] - p[1];
    double bc = bx * cy, cb = cx * by, ca = cx * ay, ac = ax * cy, ab = ax * by, ba = bx * ay;
    double aa = ax * ax + ay * ay, bb = bx * bx + by * by, cc = cx * cx + cy * cy;
    double det = aa * (bc - cb) + bb * (ca - ac) + cc * (ab - ba);
    double size = aa * (fabs(bc) + fabs(cb)) + bb * (fabs(ca) + fabs(ac)) + cc * (fabs(ab) + fabs(ba));
    return det > 1.2e-15 * size;
}

/* Flip side i of t: with t = (a, b, c), a at i, and d beyond, they become (a, b, d) and (a, d, c), a first in both. */
static void flip(po_delaunay *d, uint32_t t, int i)
{
    po_triangle *x = &d->triangles[t];
    uint32_t u = x->beyond[i];
    po_triangle *y = &d->triangles[u];
    int j = side_to(y, t), i1 = (i + 1) % 3, i2 = (i + 2) % 3, j1 = (j + 1) % 3, j2 = (j + 2) % 3;
    uint32_t a = x->corner[i], b = x->corner[i1], c = x->corner[i2], e = y->corner[j];
    uint32_t n_ab = x->beyond[i2], n_ca = x->beyond[i1], n_ec = y->beyond[j2], n_be = y->beyond[j1];
    int32_t h_ab = x->held[i2], h_ca = x->held[i1], h_ec = y->held[j2], h_be = y->held[j1];
    *x = (po_triangle){{a, b, e}, {n_be, u, n_ab}, {h_be, 0, h_ab}};
    *y = (po_triangle){{a, e, c}, {n_ec, n_ca, t}, {h_ec, h_ca, 0}};
    if (n_be != PO_NO_TRIANGLE) {
        d->triangles[n_be].beyond[side_to(&d->triangles[n_be], u)] = t;
    }
    if (n_ca != PO_NO_TRIANGLE) {
        d->triangles[n_ca].beyond[side_to(&d->triangles[n_ca], t)] = u;
    }
    d->at[a] = d->at[b] = d->at[e] = t;
    d->at[c] = u;
}

static bool push(po_delaunay *d, uint32_t t)
{
    void *stack = d->stack;
    bool done = grow(d->arena, &stack, &d->stack_cap, d->n_stack + 1, sizeof *d->stack);
    d->stack = stack;
    if (done) {
        d->stack[d->n_stack++] = t;
    }
    return done;
}

static bool should_flip(const po_delaunay *d, uint32_t t, int i)
{
    const po_triangle *x = &d->triangles[t];
    if (x->beyond[i] == PO_NO_TRIANGLE || x->held[i]) {
        return false;
    }
    const po_triangle *y = &d->triangles[x->beyond[i]];
    uint32_t e = y->corner[side_to(y, t)];
    uint32_t a = x->corner[i], b = x->corner[(i + 1) % 3], c = x->corner[(i + 2) % 3];
    /* the circle alone would do but for rounding: both new triangles must turn left */
    return inside_circle(point(d, a), point(d, b), point(d, c), point(d, e)) && side(d, a, b, e) > 0 &&
           side(d, a, e, c) > 0;
}

/* The triangle that holds a point, from a walk that begins at t; *ret_side: the side it lies on, or -1. */
static uint32_t find(const po_delaunay *d, uint32_t t, uint32_t p, int *ret_side)
{
    for (size_t step = 0; step < d->n_triangles + 64; step++) {
        const po_triangle *x = &d->triangles[t];
        int on = -1, out = -1;
        for (int k = 0; k < 3 && out < 0; k++) { /* another first side each time: no walk goes round for ever */
            int i = (int)((step + (size_t)k) % 3), s = side(d, x->corner[(i + 1) % 3], x->corner[(i + 2) % 3], p);
            on = s == 0 ? i : on;
            out = s < 0 ? i : -1;
        }
        if (out < 0) {
            *ret_side = on;
            return t;
        }
        t = x->beyond[out];
    }
    for (t = 0; t < d->n_triangles; t++) { /* not seen to happen; the answer is as right, only slow */
        const po_triangle *x = &d->triangles[t];
        int s0 = side(d, x->corner[1], x->corner[2], p), s1 = side(d, x->corner[2], x->corner[0], p);
        int s2 = side(d, x->corner[0], x->corner[1], p);
        if (s0 >= 0 && s1 >= 0 && s2 >= 0) {
            *ret_side = s0 == 0 ? 0 : s1 == 0 ? 1 : s2 == 0 ? 2 : -1;
            return t;
        }
    }
    return PO_NO_TRIANGLE;
}

static void relink(po_delaunay *d, uint32_t t, uint32_t before, uint32_t now)
{
    if (t != PO_NO_TRIANGLE) {
        d->triangles[t].beyond[side_to(&d->triangles[t], before)] = now;
    }
}

/* p inside t: three triangles, p first in each. */
static bool split_inside(po_delaunay *d, uint32_t t, uint32_t p)
{
    po_triangle x = d->triangles[t];
    uint32_t u = (uint32_t)d->n_triangles, v = u + 1;
    d->n_triangles += 2;
    d->triangles[t] = (po_triangle){{p, x.corner[1], x.corner[2]}, {x.beyond[0], u, v}, {0, 0, 0}};
    d->triangles[u] = (po_triangle){{p, x.corner[2], x.corner[0]}, {x.beyond[1], v, t}, {0, 0, 0}};
    d->triangles[v] = (po_triangle){{p, x.corner[0], x.corner[1]}, {x.beyond[2], t, u}, {0, 0, 0}};
    relink(d, x.beyond[1], t, u);
    relink(d, x.beyond[2], t, v);
    d->at[p] = d->at[x.corner[1]] = d->at[x.corner[2]] = t;
    d->at[x.corner[0]] = u;
    return push(d, t) && push(d, u) && push(d, v);
}

/* p on side i of t: four triangles, p first in each. */
static bool split_side(po_delaunay *d, uint32_t t, int i, uint32_t p)
{
    po_triangle x = d->triangles[t], y = d->triangles[x.beyond[i]];
    uint32_t u = x.beyond[i], v = (uint32_t)d->n_triangles, w = v + 1;
    int j = side_to(&y, t), i1 = (i + 1) % 3, i2 = (i + 2) % 3, j1 = (j + 1) % 3, j2 = (j + 2) % 3;
    uint32_t a = x.corner[i], b = x.corner[i1], c = x.corner[i2], e = y.corner[j];
    d->n_triangles += 2;
    d->triangles[t] = (po_triangle){{p, a, b}, {x.beyond[i2], w, v}, {0, 0, 0}};
    d->triangles[v] = (po_triangle){{p, c, a}, {x.beyond[i1], t, u}, {0, 0, 0}};
    d->triangles[u] = (po_triangle){{p, e, c}, {y.beyond[j2], v, w}, {0, 0, 0}};
    d->triangles[w] = (po_triangle){{p, b, e}, {y.beyond[j1], u, t}, {0, 0, 0}};
    relink(d, x.beyond[i1], t, v);
    relink(d, y.beyond[j1], u, w);
    d->at[p] = d->at[a] = d->at[b] = t;
    d->at[c] = d->at[e] = u;
    return push(d, t) && push(d, u) && push(d, v) && push(d, w);
}

/* Distance along a Hilbert curve of 2^16 cells a side. Source: J. K. Lawder, "Calculation of mappings between one and
 * n-dimensional values using the Hilbert space-filling curve", 2000, in its plane form. */
static uint64_t hilbert(uint32_t x, uint32_t y)
{
    uint64_t sum = 0;
    for (uint32_t s = 1u << 15; s; s >>= 1) {
        uint32_t rx = (x & s) != 0, ry = (y & s) != 0;
        sum += (uint64_t)s * s * ((3 * rx) ^ ry);
        if (!ry) {
            if (rx) {
                x = 65535 - x;
                y = 65535 - y;
            }
            uint32_t swap = x;
            x = y;
            y = swap;
        }
    }
    return sum;
}

static int by_key(const void *a, const void *b)
{
    const place *x = a, *y = b;
    return x->key < y->key ? -1 : x->key > y->key ? 1 : x->point < y->point ? -1 : x->point > y->point;
}

static place *in_order(const double *xy, uint32_t n, const uint32_t *same, double *low, double *size, po_arena *arena,
                       size_t *ret_n)
{
    double high[2] = {-INFINITY, -INFINITY};
    low[0] = low[1] = INFINITY;
    for (uint32_t i = 0; i < n; i++) {
        for (int k = 0; k < 2; k++) {
            low[k] = fmin(low[k], xy[2 * (size_t)i + (size_t)k]);
            high[k] = fmax(high[k], xy[2 * (size_t)i + (size_t)k]);
        }
    }
    *size = n ? fmax(fmax(high[0] - low[0], high[1] - low[1]), 1e-30) : 1;
    place *places = po_arena_zeros(arena, n, sizeof *places);
    size_t count = 0;
    for (uint32_t i = 0; places && i < n; i++) {
        if (same[i] == i) {
            uint32_t x = (uint32_t)(65535 * ((xy[2 * (size_t)i] - low[0]) / *size));
            uint32_t y = (uint32_t)(65535 * ((xy[2 * (size_t)i + 1] - low[1]) / *size));
            places[count++] = (place){hilbert(x, y), i};
        }
    }
    if (places) {
        qsort(places, count, sizeof *places, by_key);
    }
    *ret_n = count;
    return places;
}

po_status po_delaunay_points(double *xy, uint32_t n_points, const uint32_t *same, double tolerance, po_arena *arena,
                             po_delaunay *ret, po_err *err)
{
    double low[2], size;
    size_t n;
    place *places = in_order(xy, n_points, same, low, &size, arena, &n);
    *ret = (po_delaunay){.xy = xy, .n_points = n_points, .arena = arena, .tolerance = tolerance};
    ret->triangles = po_arena_zeros(arena, 2 * (size_t)n_points + 1, sizeof *ret->triangles);
    ret->at = po_arena_zeros(arena, (size_t)n_points + 3, sizeof *ret->at);
    if ((n_points && !places) || !ret->triangles || !ret->at) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    double far[3][2] = {{-20, -18}, {22, -18}, {0.5, 24}}; /* sizes away from the lower corner: all points lie inside */
    for (size_t k = 0; k < 3; k++) {
        xy[2 * (n_points + k)] = low[0] + far[k][0] * size;
        xy[2 * (n_points + k) + 1] = low[1] + far[k][1] * size;
    }
    if (n == 0) {
        xy[0] = xy[1] = xy[3] = xy[4] = 0;
        xy[2] = xy[5] = 1;
    }
    uint32_t none = PO_NO_TRIANGLE;
    ret->triangles[0] = (po_triangle){{n_points, n_points + 1, n_points + 2}, {none, none, none}, {0, 0, 0}};
    ret->n_triangles = 1;
    uint32_t at = 0;
    for (size_t i = 0; i < n; i++) {
        uint32_t p = places[i].point;
        int on;
        at = find(ret, at, p, &on);
        if (at == PO_NO_TRIANGLE || (on >= 0 && ret->triangles[at].beyond[on] == PO_NO_TRIANGLE)) {
            return po_fail(err, PO_E_RANGE, "a point of the outline is not a finite number");
        }
        bool done = on < 0 ? split_inside(ret, at, p) : split_side(ret, at, on, p);
        while (done && ret->n_stack) {
            uint32_t t = ret->stack[--ret->n_stack];
            if (should_flip(ret, t, 0)) {
                uint32_t u = ret->triangles[t].beyond[0];
                flip(ret, t, 0);
                done = push(ret, t) && push(ret, u);
            }
        }
        if (!done) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        at = ret->at[p];
    }
    return PO_OK;
}

/* ---- edges ---- */

static po_status wait_for(po_delaunay *d, uint32_t a, uint32_t b, int32_t times, po_err *err)
{
    void *holds = d->holds;
    bool done = grow(d->arena, &holds, &d->holds_cap, d->n_holds + 1, sizeof *d->holds);
    d->holds = holds;
    if (!done) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    d->holds[d->n_holds++] = (po_hold){a, b, times};
    return PO_OK;
}

/* The edge from a to b goes over c instead. */
static po_status lead_over(po_delaunay *d, po_hold hold, uint32_t c, po_err *err)
{
    void *patches = d->patches;
    bool done = grow(d->arena, &patches, &d->patches_cap, d->n_patches + 1, sizeof *d->patches);
    d->patches = patches;
    if (!done) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    d->patches[d->n_patches++] = (po_patch){hold.a, hold.b, c, hold.times};
    po_status status = wait_for(d, hold.a, c, hold.times, err);
    return status == PO_OK ? wait_for(d, c, hold.b, hold.times, err) : status;
}

/* c lies between a and b, within the tolerance of their line? */
static bool beside(const po_delaunay *d, uint32_t a, uint32_t b, uint32_t c)
{
    const double *p = point(d, a), *q = point(d, b), *r = point(d, c);
    double ux = q[0] - p[0], uy = q[1] - p[1], vx = r[0] - p[0], vy = r[1] - p[1];
    double length = hypot(ux, uy), along = (ux * vx + uy * vy) / length, across = (ux * vy - uy * vx) / length;
    return c < d->n_points && c != a && c != b && along > 0 && along < length && fabs(across) <= d->tolerance;
}

/* Where the way from a to b leaves the triangles around a: *ret_t and the corner's index; false: *ret_over is a point on
 * the way (or b itself). */
static bool set_out(const po_delaunay *d, uint32_t a, uint32_t b, uint32_t *ret_t, int *ret_i, uint32_t *ret_over)
{
    uint32_t t = d->at[a], first = t;
    do {
        const po_triangle *x = &d->triangles[t];
        int i = corner_of(x, a);
        uint32_t p = x->corner[(i + 1) % 3], q = x->corner[(i + 2) % 3];
        if (p == b) {
            *ret_over = b;
            *ret_t = t;
            *ret_i = i;
            return false;
        }
        int right = side(d, a, p, b);
        if (right == 0) {
            const double *o = point(d, a), *u = point(d, p), *v = point(d, b);
            if ((u[0] - o[0]) * (v[0] - o[0]) + (u[1] - o[1]) * (v[1] - o[1]) > 0) {
                *ret_over = p;
                *ret_t = t;
                *ret_i = i;
                return false;
            }
        } else if (right > 0 && side(d, a, q, b) < 0) {
            *ret_over = PO_NO_TRIANGLE;
            *ret_t = t;
            *ret_i = i;
            return true;
        }
        t = x->beyond[(i + 1) % 3];
    } while (t != first && t != PO_NO_TRIANGLE);
    *ret_over = PO_NO_TRIANGLE;
    *ret_t = PO_NO_TRIANGLE;
    return false;
}

/* The way from a to b crosses the edge from p to q, which is held. */
static po_status conflict(po_delaunay *d, po_hold hold, uint32_t t, int i, po_err *err)
{
    po_triangle *x = &d->triangles[t], *y = &d->triangles[x->beyond[i]];
    uint32_t p = x->corner[(i + 1) % 3], q = x->corner[(i + 2) % 3];
    if (beside(d, hold.a, hold.b, p)) {
        return lead_over(d, hold, p, err);
    }
    if (beside(d, hold.a, hold.b, q)) {
        return lead_over(d, hold, q, err);
    }
    uint32_t over = beside(d, p, q, hold.a) ? hold.a : beside(d, p, q, hold.b) ? hold.b : PO_NO_TRIANGLE;
    if (over == PO_NO_TRIANGLE) {
        return po_fail(err, PO_E_RANGE, "outlines cross each other in the plane");
    }
    po_hold other = {p, q, x->held[i]};
    x->held[i] = 0;
    y->held[side_to(y, t)] = 0;
    po_status status = wait_for(d, hold.a, hold.b, hold.times, err);
    return status == PO_OK ? lead_over(d, other, over, err) : status;
}

static bool note_crossed(po_delaunay *d, size_t n, uint32_t p, uint32_t q)
{
    void *crossed = d->crossed;
    bool done = grow(d->arena, &crossed, &d->crossed_cap, n + 1, sizeof *d->crossed);
    d->crossed = crossed;
    if (done) {
        d->crossed[n][0] = p;
        d->crossed[n][1] = q;
    }
    return done;
}

/* The triangle that has the side from p to q in its own sense, *ret_i: opposite which corner. One of them is a point
 * given: all around that one are triangles, around the three far ones there are not. */
static uint32_t find_side(const po_delaunay *d, uint32_t p, uint32_t q, int *ret_i)
{
    uint32_t o = p < d->n_points ? p : q, t = d->at[o], first = t;
    do {
        const po_triangle *x = &d->triangles[t];
        int i = corner_of(x, o);
        if (o == p && x->corner[(i + 1) % 3] == q) {
            *ret_i = (i + 2) % 3;
            return t;
        }
        if (o == q && x->corner[(i + 2) % 3] == p) {
            *ret_i = (i + 1) % 3;
            return t;
        }
        t = x->beyond[(i + 1) % 3];
    } while (t != first && t != PO_NO_TRIANGLE);
    return PO_NO_TRIANGLE;
}

/* Flip the n sides noted until none crosses the way from a to b. */
static po_status flip_crossed(po_delaunay *d, uint32_t a, uint32_t b, size_t n, po_err *err)
{
    size_t from = 0, left = n, since = 0, cap = n + 1; /* a ring of what is left */
    if (!note_crossed(d, n, 0, 0)) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    while (left) {
        uint32_t p = d->crossed[from][0], q = d->crossed[from][1];
        from = (from + 1) % cap;
        left--;
        int i;
        uint32_t t = find_side(d, p, q, &i);
        if (t == PO_NO_TRIANGLE || since > cap) {
            return po_fail(err, PO_E_INTERNAL, "an edge could not be put into the triangles");
        }
        const po_triangle *x = &d->triangles[t], *y = &d->triangles[x->beyond[i]];
        uint32_t r = x->corner[i], s = y->corner[side_to(y, t)];
        since++;
        bool again = true;
        if (side(d, r, p, s) > 0 && side(d, r, s, q) > 0) {
            flip(d, t, i);
            since = 0;
            int r_side = side(d, a, b, r), s_side = side(d, a, b, s);
            again = r != a && r != b && s != a && s != b && r_side * s_side < 0;
            p = r;
            q = s;
        }
        if (again) {
            size_t to = (from + left) % cap;
            d->crossed[to][0] = p;
            d->crossed[to][1] = q;
            left++;
        }
    }
    return PO_OK;
}

static void add_hold(po_delaunay *d, uint32_t a, uint32_t b, int32_t times)
{
    int i;
    uint32_t t = find_side(d, a, b, &i);
    if (t == PO_NO_TRIANGLE) {
        return;
    }
    po_triangle *x = &d->triangles[t];
    x->held[i] += times;
    if (x->beyond[i] != PO_NO_TRIANGLE) {
        po_triangle *y = &d->triangles[x->beyond[i]];
        y->held[side_to(y, t)] -= times;
    }
}

static po_status put_in(po_delaunay *d, po_hold hold, po_err *err)
{
    uint32_t t, over;
    int i;
    if (!set_out(d, hold.a, hold.b, &t, &i, &over)) {
        if (over == hold.b) {
            add_hold(d, hold.a, hold.b, hold.times);
            return PO_OK;
        }
        return over == PO_NO_TRIANGLE ? po_fail(err, PO_E_INTERNAL, "an edge has no way through the triangles")
                                      : lead_over(d, hold, over, err);
    }
    size_t n = 0;
    for (;;) { /* side i of t is crossed */
        const po_triangle *x = &d->triangles[t];
        uint32_t p = x->corner[(i + 1) % 3], q = x->corner[(i + 2) % 3];
        if (x->held[i]) {
            return conflict(d, hold, t, i, err);
        }
        if (!note_crossed(d, n++, p, q)) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        uint32_t u = x->beyond[i];
        if (u == PO_NO_TRIANGLE) {
            return po_fail(err, PO_E_INTERNAL, "an edge leads out of the triangles");
        }
        const po_triangle *y = &d->triangles[u];
        int j = side_to(y, t);
        uint32_t w = y->corner[j];
        if (w == hold.b) {
            break;
        }
        int turn = side(d, hold.a, hold.b, w);
        if (turn == 0) {
            return lead_over(d, hold, w, err);
        }
        /* y = (w, q, p): left of the way: out by the side from p to w, else by that from w to q */
        i = turn > 0 ? (j + 1) % 3 : (j + 2) % 3;
        t = u;
    }
    po_status status = flip_crossed(d, hold.a, hold.b, n, err);
    if (status == PO_OK) {
        add_hold(d, hold.a, hold.b, hold.times);
    }
    return status;
}

po_status po_delaunay_hold(po_delaunay *d, uint32_t a, uint32_t b, int32_t times, po_err *err)
{
    po_status status = a == b ? PO_OK : wait_for(d, a, b, times, err);
    /* each leading over takes up a point between two others; tolerances could in theory lead round for ever */
    size_t most = 1000 + 16 * (size_t)d->n_points;
    while (status == PO_OK && d->n_holds) {
        po_hold next = d->holds[--d->n_holds];
        if (most-- == 0) {
            status = po_fail(err, PO_E_RANGE, "outlines run into each other in the plane");
        } else if (next.a != next.b) {
            status = put_in(d, next, err);
        }
    }
    return status;
}

po_status po_delaunay_settle(po_delaunay *d, po_err *err)
{
    for (size_t t = d->n_triangles; t-- > 0;) {
        if (!push(d, (uint32_t)t)) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
    }
    while (d->n_stack) {
        uint32_t t = d->stack[--d->n_stack];
        for (int i = 0; i < 3; i++) {
            if (should_flip(d, t, i)) {
                uint32_t u = d->triangles[t].beyond[i];
                flip(d, t, i);
                if (!push(d, t) || !push(d, u)) {
                    return po_fail(err, PO_E_NOMEM, "memory ran out");
                }
                break;
            }
        }
    }
    return PO_OK;
}
