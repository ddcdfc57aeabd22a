/* Do two triangles cut each other? SPDX-License-Identifier: Apache-2.0
 *
 * After P. Guigue and O. Devillers, "Fast and robust triangle-triangle overlap test using orientation predicates",
 * Journal of Graphics Tools 8, 2003: only sides of planes and lines are asked, so exact sides give an exact answer.
 * Theirs says yes to any contact; here contact in one point is no cut, so the comparisons are strict:
 *  - planes that cross: each triangle has a stretch of the common line; both must have length, and the stretches must
 *    overlap by more than an end;
 *  - the same plane: no side's line parts the two; or the line of one runs along the other's side, and the two sides
 *    overlap by more than an end. */
#include "part/cut_pair.h"

#include "part/exact.h"

/* The sign of each corner of t, and whether t has a stretch of the plane's line: -1 no cut, 0 in the plane, 1 yes. */
static int against(const po_exact_plane *plane, const double *const t[3], int sides[3])
{
    int n_above = 0, n_below = 0;
    for (int i = 0; i < 3; i++) {
        sides[i] = po_exact_plane_side(plane, t[i]);
        n_above += sides[i] > 0;
        n_below += sides[i] < 0;
    }
    if (n_above == 0 && n_below == 0) {
        return 0;
    }
    /* All on one side, or a single corner in the plane and the rest on one side: not more than a point. */
    return n_above < 2 && n_below < 2 ? 1 : n_above && n_below ? 1 : -1;
}

/* Turn t so that its first corner is alone on its side. */
static int lonely_first(const double *const t[3], const int sides[3], const double *ret[3])
{
    int alone = 0, n_above = (sides[0] > 0) + (sides[1] > 0) + (sides[2] > 0), want = n_above == 1 ? 1 : -1;
    for (int i = 0; i < 3; i++) {
        alone = sides[i] == want ? i : alone;
    }
    for (int i = 0; i < 3; i++) {
        ret[i] = t[(alone + i) % 3];
    }
    return want;
}

static bool stretches_overlap(const double *a[3], const double *b[3], int side_a, int side_b)
{
    const double *swap;
    if (side_a > 0) { /* both lonely corners behind the other's plane: then the stretches run alike */
        swap = b[1];
        b[1] = b[2];
        b[2] = swap;
    }
    if (side_b > 0) {
        swap = a[1];
        a[1] = a[2];
        a[2] = swap;
    }
    return po_side3(a[0], a[1], b[0], b[1]) > 0 && po_side3(a[0], a[2], b[2], b[0]) > 0;
}

/* Two collinear sides, along the axis in which they extend most: is more than an end in common? */
static bool sides_overlap(const double *p, const double *q, const double *r, const double *s)
{
    int k = 0;
    for (int i = 1; i < 3; i++) {
        k = fabs(q[i] - p[i]) > fabs(q[k] - p[k]) ? i : k;
    }
    double low = fmax(fmin(p[k], q[k]), fmin(r[k], s[k])), high = fmin(fmax(p[k], q[k]), fmax(r[k], s[k]));
    return low < high;
}

/* The lines of a's sides against b: 1 parts them, -1 does not, 0 parts them but for sides that overlap. turn: the sense
 * in which a runs around, seen along the axis. */
static int parts(const double *const a[3], const double *const b[3], int turn, int x, int y)
{
    for (int i = 0; i < 3; i++) {
        const double *p = a[i], *q = a[(i + 1) % 3];
        int on[3], n_on = 0, n_inside = 0;
        for (int k = 0; k < 3; k++) {
            int side = turn * po_side2(p, q, b[k], x, y);
            n_inside += side > 0;
            if (side == 0) {
                on[n_on++] = k;
            }
        }
        if (n_inside == 0) {
            return n_on == 2 && sides_overlap(p, q, b[on[0]], b[on[1]]) ? 0 : 1;
        }
    }
    return -1;
}

static bool cut_in_plane(const double *const a[3], const double *const b[3])
{
    for (int k = 0; k < 3; k++) { /* seen along an axis in which neither is a line */
        int x = (k + 1) % 3, y = (k + 2) % 3;
        int turn_a = po_side2(a[0], a[1], a[2], x, y), turn_b = po_side2(b[0], b[1], b[2], x, y);
        if (turn_a && turn_b) {
            int by_a = parts(a, b, turn_a, x, y);
            return by_a <= 0 && (by_a == 0 || parts(b, a, turn_b, x, y) <= 0);
        }
    }
    return false; /* one of them has no area */
}

bool po_cut_pair(const double *const a[3], const double *const b[3])
{
    po_exact_plane plane;
    int sides_a[3], sides_b[3];
    po_exact_plane_set(&plane, b[0], b[1], b[2]);
    int way = against(&plane, a, sides_a);
    if (way < 0) {
        return false;
    }
    if (way == 0) {
        return cut_in_plane(a, b);
    }
    po_exact_plane_set(&plane, a[0], a[1], a[2]);
    way = against(&plane, b, sides_b);
    if (way <= 0) {
        return false; /* 0: a has no area, as b's plane does not hold it */
    }
    const double *turned_a[3], *turned_b[3];
    int side_a = lonely_first(a, sides_a, turned_a), side_b = lonely_first(b, sides_b, turned_b);
    return stretches_overlap(turned_a, turned_b, side_a, side_b);
}
