/* Outlines to search with: grown by half the clearance, with few corners. SPDX-License-Identifier: Apache-2.0
 *
 * What is searched with has to hold the true outline and half the clearance about it; how much more is our own choice.
 * So it is grown a little further, and then corners are left out that bring the line no nearer than that (D. H. Douglas,
 * T. K. Peucker, "Algorithms for the reduction of the number of points", 1973). Where many corners stay, both steps are
 * taken larger. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest_grow.h"

enum { CORNERS = 120 }; /* more make every question slower than they are worth */
static const double SLACK_MM = 0.04, SLACK_MOST_MM = 0.35;

static double off_line(const double *p, const double *a, const double *b)
{
    double ex = b[0] - a[0], ey = b[1] - a[1], px = p[0] - a[0], py = p[1] - a[1], l2 = ex * ex + ey * ey;
    double t = l2 > 0 ? fmin(1, fmax(0, (px * ex + py * ey) / l2)) : 0;
    return hypot(px - t * ex, py - t * ey);
}

/* Corners of a loop that stay, marked; a stack instead of recursion. */
static bool thin_out(const double *xy, size_t n, double slack, unsigned char *keep)
{
    typedef struct span {
        size_t from, to;
    } span;
    span *stack = malloc((n + 2) * sizeof *stack);
    if (!stack) {
        return false;
    }
    size_t far = 0, depth = 0;
    for (size_t i = 1; i < n; i++) {
        far = hypot(xy[2 * i] - xy[0], xy[2 * i + 1] - xy[1]) > hypot(xy[2 * far] - xy[0], xy[2 * far + 1] - xy[1])
                  ? i
                  : far;
    }
    memset(keep, 0, n);
    keep[0] = keep[far] = 1;
    stack[depth++] = (span){0, far};
    stack[depth++] = (span){far, n};
    while (depth > 0) {
        span s = stack[--depth];
        double most = slack;
        size_t at = 0;
        for (size_t i = s.from + 1; i < s.to; i++) {
            double d = off_line(xy + 2 * i, xy + 2 * s.from, xy + 2 * (s.to % n));
            if (d > most) {
                most = d;
                at = i;
            }
        }
        if (at) {
            keep[at] = 1;
            stack[depth++] = (span){s.from, at};
            stack[depth++] = (span){at, s.to};
        }
    }
    free(stack);
    return true;
}

static po_status simpler(const po_loops *loops, double slack, po_arena *arena, po_loops *ret, po_err *err)
{
    double *xy = po_arena_zeros(arena, loops->n_points + 1, 2 * sizeof *xy);
    uint32_t *ends = po_arena_zeros(arena, loops->n_loops + 1, sizeof *ends);
    unsigned char *keep = po_arena_zeros(arena, loops->n_points + 1, 1);
    if (!xy || !ends || !keep) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    size_t n = 0, n_loops = 0;
    for (size_t l = 0; l < loops->n_loops; l++) {
        size_t begin = l ? loops->ends[l - 1] : 0, end = loops->ends[l], first = n;
        if (!thin_out(loops->xy + 2 * begin, end - begin, slack, keep + begin)) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        for (size_t i = begin; i < end; i++) {
            if (keep[i]) {
                xy[2 * n] = loops->xy[2 * i];
                xy[2 * n++ + 1] = loops->xy[2 * i + 1];
            }
        }
        if (n - first < 3) {
            n = first; /* a hole that has become a line */
        } else {
            ends[n_loops++] = (uint32_t)n;
        }
    }
    po_loops raw = {xy, n, ends, n_loops};
    return po_loops_clip(&raw, NULL, PO_CLIP_UNION, arena, ret, err);
}

/* Outer loops alone. */
static po_loops filled(const po_loops *loops, po_arena *arena)
{
    po_loops none = {0};
    double *xy = po_arena_zeros(arena, loops->n_points + 1, 2 * sizeof *xy);
    uint32_t *ends = po_arena_zeros(arena, loops->n_loops + 1, sizeof *ends);
    size_t n = 0, n_loops = 0;
    for (size_t l = 0; xy && ends && l < loops->n_loops; l++) {
        size_t begin = l ? loops->ends[l - 1] : 0, count = loops->ends[l] - begin;
        uint32_t end = (uint32_t)count;
        po_loops one = {loops->xy + 2 * begin, count, &end, 1};
        if (po_loops_area(&one) > 0) {
            memcpy(xy + 2 * n, one.xy, 2 * count * sizeof *xy);
            n += count;
            ends[n_loops++] = (uint32_t)n;
        }
    }
    return xy && ends ? (po_loops){xy, n, ends, n_loops} : none;
}

po_status po_nest_grow(const po_loops *outline, double by_mm, bool fill_holes, po_arena *arena, po_loops *ret,
                       po_err *err)
{
    po_status status = PO_OK;
    po_loops from = fill_holes ? filled(outline, arena) : *outline;
    for (double slack = SLACK_MM; status == PO_OK; slack *= 2) {
        po_loops grown;
        /* chords end on the arc: they lie inside it by as much as the arc's error */
        status = po_loops_offset(&from, by_mm + 1.5 * slack, slack / 2, arena, &grown, err);
        if (status == PO_OK) {
            status = simpler(&grown, slack * 0.98, arena, ret, err);
        }
        if (status != PO_OK || ret->n_points <= CORNERS || 2 * slack > SLACK_MOST_MM) {
            break;
        }
    }
    return status;
}
