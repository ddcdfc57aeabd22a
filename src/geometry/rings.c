/* Outlines onto the integer grid and back. SPDX-License-Identifier: Apache-2.0 */
#include "geometry/rings.h"

#include <math.h>
#include <stdlib.h>

enum { FINEST_BITS = 24, SORT_FROM = 16 };
static const double FURTHEST_MM = 1e6;

po_grid po_grid_for(double most_mm)
{
    int exponent = 0;
    frexp(most_mm, &exponent); /* most_mm < 2^exponent, so differences stay below 2^(exponent + 1) */
    int bits = PO_RINGS_BITS - 1 - exponent;
    bits = bits < FINEST_BITS ? bits : FINEST_BITS;
    return (po_grid){ldexp(1, bits), ldexp(1, -bits)};
}

po_status po_loops_reach(const po_loops *loops, double *ret_mm, po_err *err)
{
    double most = 0;
    if (loops->n_points > PO_RINGS_MOST_POINTS || loops->n_loops > PO_RINGS_MOST_POINTS) {
        return po_fail(err, PO_E_LIMIT, "outlines of %zu points, more than %d", loops->n_points, PO_RINGS_MOST_POINTS);
    }
    for (size_t i = 0, start = 0; i < loops->n_loops; start = loops->ends[i++]) {
        if (loops->ends[i] < start || loops->ends[i] > loops->n_points) {
            return po_fail(err, PO_E_RANGE, "outline %zu ends at point %u, after %zu and before %zu was wanted", i,
                           loops->ends[i], start, loops->n_points);
        }
    }
    size_t n = loops->n_loops ? 2 * (size_t)loops->ends[loops->n_loops - 1] : 0;
    for (size_t i = 0; i < n; i++) {
        double v = fabs(loops->xy[i]);
        if (!(v <= FURTHEST_MM)) {
            return po_fail(err, PO_E_RANGE, "point %zu of an outline lies at %g mm; at most 1e6 was wanted", i / 2,
                           loops->xy[i]);
        }
        most = most > v ? most : v;
    }
    *ret_mm = most;
    return PO_OK;
}

typedef struct order {
    uint64_t key;
    uint32_t loop;
} order;

static int by_key(const void *a, const void *b)
{
    const order *p = a, *q = b;
    return p->key != q->key ? (p->key < q->key ? -1 : 1) : (p->loop > q->loop) - (p->loop < q->loop);
}

/* The bits of two 16-bit numbers in turn (G. M. Morton, IBM 1966). */
static uint64_t interleaved(uint32_t x, uint32_t y)
{
    uint64_t r = 0;
    for (int i = 0; i < 16; i++) {
        r |= (uint64_t)(x >> i & 1) << (2 * i) | (uint64_t)(y >> i & 1) << (2 * i + 1);
    }
    return r;
}

/* The loops by the place of their first point, so that the tree over them has boxes that say something. */
static po_status near_each_other(const po_loops *l, double reach, po_scratch *scratch, order **ret, po_err *err)
{
    order *o = po_scratch_zeros(scratch, l->n_loops + 1, sizeof *o);
    if (!o) {
        return po_rings_memory(err);
    }
    double scale = reach > 0 ? 32767 / reach : 0;
    for (size_t i = 0, start = 0; i < l->n_loops; start = l->ends[i++]) {
        o[i].loop = (uint32_t)i;
        if (l->n_loops >= SORT_FROM && l->ends[i] > start) {
            const double *p = l->xy + 2 * start;
            o[i].key = interleaved((uint32_t)(p[0] * scale + 32768), (uint32_t)(p[1] * scale + 32768));
        }
    }
    if (l->n_loops >= SORT_FROM) {
        qsort(o, l->n_loops, sizeof *o, by_key);
    }
    *ret = o;
    return PO_OK;
}

static po_status add_loops(const po_loops *l, po_grid grid, po_scratch *scratch, po_rings *to, po_err *err)
{
    double reach = 0;
    order *o = NULL;
    po_status status = po_loops_reach(l, &reach, err);
    status = status ? status : near_each_other(l, reach, scratch, &o, err);
    for (size_t i = 0; !status && i < l->n_loops; i++) {
        size_t k = o[i].loop, start = k ? l->ends[k - 1] : 0;
        po_spot *first = to->at + to->n_points;
        size_t n = 0;
        for (size_t j = start; j < l->ends[k]; j++) {
            po_spot p = {llrint(l->xy[2 * j] * grid.per_mm), llrint(l->xy[2 * j + 1] * grid.per_mm)};
            if (n == 0 || p.x != first[n - 1].x || p.y != first[n - 1].y) {
                first[n++] = p;
            }
        }
        while (n > 1 && first[n - 1].x == first[0].x && first[n - 1].y == first[0].y) {
            n--;
        }
        if (n < 3) {
            continue;
        }
        first[n++] = first[0];
        to->n_points += n;
        to->start[++to->n_rings] = (uint32_t)to->n_points;
    }
    return status;
}

po_status po_rings_of(const po_loops *a, const po_loops *b, po_grid grid, po_scratch *scratch, po_rings *ret,
                      po_err *err)
{
    size_t n_loops = a->n_loops + (b ? b->n_loops : 0), n_points = a->n_points + (b ? b->n_points : 0);
    *ret = (po_rings){.at = po_scratch_take(scratch, n_points + n_loops + 1, sizeof *ret->at),
                      .start = po_scratch_zeros(scratch, n_loops + 1, sizeof *ret->start)};
    if (!ret->at || !ret->start) {
        return po_rings_memory(err);
    }
    po_status status = add_loops(a, grid, scratch, ret, err);
    ret->n_first = ret->n_rings;
    return status || !b ? status : add_loops(b, grid, scratch, ret, err);
}

po_status po_rings_to_loops(const po_rings *rings, po_grid grid, po_arena *arena, po_loops *ret, po_err *err)
{
    size_t n = rings->n_points - rings->n_rings;
    double *xy = po_arena_zeros(arena, n + 1, 2 * sizeof *xy);
    uint32_t *ends = po_arena_zeros(arena, rings->n_rings + 1, sizeof *ends);
    if (!xy || !ends) {
        return po_rings_memory(err);
    }
    size_t k = 0;
    for (size_t r = 0; r < rings->n_rings; r++) {
        for (uint32_t i = rings->start[r]; i + 1 < rings->start[r + 1]; i++) {
            xy[2 * k] = (double)rings->at[i].x * grid.mm;
            xy[2 * k + 1] = (double)rings->at[i].y * grid.mm;
            k++;
        }
        ends[r] = (uint32_t)k;
    }
    *ret = (po_loops){xy, k, ends, rings->n_rings};
    return PO_OK;
}
