/* Many grid points, asked for along an edge. SPDX-License-Identifier: Apache-2.0
 *
 * The points stand in the order of their interleaved bits (G. M. Morton, IBM 1966), in a binary tree of boxes over small
 * groups; an edge goes down where it may pass through a box. With k points evenly spread that is about the square root of
 * k of them, however long the edge. */
#include "geometry/pixels.h"

#include <math.h>
#include <stdlib.h>

enum { GROUP = 4, DEPTH = 32 };

typedef struct box {
    int64_t x0, y0, x1, y1;
} box;

typedef struct keyed {
    uint64_t key;
    uint32_t number;
} keyed;

struct po_pixels {
    const po_spot *at;
    keyed *sorted;
    size_t n;
    box *level[DEPTH];
    size_t n_level[DEPTH];
    int n_levels;
    uint32_t *found;
    size_t room;
    po_scratch *scratch;
};

static int by_key(const void *a, const void *b)
{
    const keyed *p = a, *q = b;
    return p->key != q->key ? (p->key < q->key ? -1 : 1) : (p->number > q->number) - (p->number < q->number);
}

/* The low 32 bits with a gap after each. */
static uint64_t spread(uint64_t v)
{
    v = (v | v << 16) & UINT64_C(0x0000FFFF0000FFFF);
    v = (v | v << 8) & UINT64_C(0x00FF00FF00FF00FF);
    v = (v | v << 4) & UINT64_C(0x0F0F0F0F0F0F0F0F);
    v = (v | v << 2) & UINT64_C(0x3333333333333333);
    return (v | v << 1) & UINT64_C(0x5555555555555555);
}

static void widen(box *b, int64_t x, int64_t y)
{
    b->x0 = x < b->x0 ? x : b->x0;
    b->x1 = x > b->x1 ? x : b->x1;
    b->y0 = y < b->y0 ? y : b->y0;
    b->y1 = y > b->y1 ? y : b->y1;
}

po_pixels *po_pixels_new(const po_spot *at, const uint32_t *numbers, size_t n, po_scratch *scratch)
{
    po_pixels *p = po_scratch_zeros(scratch, 1, sizeof *p);
    keyed *sorted = po_scratch_take(scratch, n, sizeof *sorted);
    if (!p || !sorted || n == 0) {
        return NULL;
    }
    const po_spot *o = &at[numbers[0]];
    box all = {o->x, o->y, o->x, o->y};
    for (size_t i = 0; i < n; i++) {
        widen(&all, at[numbers[i]].x, at[numbers[i]].y);
    }
    int shift = 0; /* of the larger extent to 32 bits */
    while (((all.x1 - all.x0) | (all.y1 - all.y0)) >> shift > UINT32_MAX) {
        shift++;
    }
    for (size_t i = 0; i < n; i++) {
        const po_spot *s = &at[numbers[i]];
        sorted[i] = (keyed){
            spread((uint64_t)(s->x - all.x0) >> shift) | spread((uint64_t)(s->y - all.y0) >> shift) << 1, numbers[i]};
    }
    qsort(sorted, n, sizeof *sorted, by_key);
    p->at = at;
    p->sorted = sorted;
    p->n = n;
    p->scratch = scratch;
    for (size_t m = (n + GROUP - 1) / GROUP; p->n_levels == 0 || m < p->n_level[p->n_levels - 1]; m = (m + 1) / 2) {
        int k = p->n_levels++;
        p->n_level[k] = m;
        p->level[k] = po_scratch_take(scratch, m, sizeof(box));
        if (!p->level[k]) {
            return NULL;
        }
        for (size_t i = 0; k == 0 && i < n; i++) {
            const po_spot *s = &at[sorted[i].number];
            if (i % GROUP == 0) {
                p->level[0][i / GROUP] = (box){s->x, s->y, s->x, s->y};
            }
            widen(&p->level[0][i / GROUP], s->x, s->y);
        }
        for (size_t i = 0; k > 0 && i < p->n_level[k - 1]; i++) {
            const box *b = &p->level[k - 1][i];
            if (i % 2 == 0) {
                p->level[k][i / 2] = *b;
            }
            widen(&p->level[k][i / 2], b->x0, b->y0);
            widen(&p->level[k][i / 2], b->x1, b->y1);
        }
    }
    return p;
}

/* Whether the edge may come within a unit of a point in the box. The half extents are taken one unit larger, which is more
 * than doubles can be off: the products' errors are 2^-51 of them, and they are below 2^42 times the edge's length. */
static bool may_pass(const po_spot *e, const box *b)
{
    double dx = (double)(e[1].x - e[0].x), dy = (double)(e[1].y - e[0].y);
    double cx = (double)(b->x0 - e[0].x) + (double)(b->x1 - b->x0) / 2;
    double cy = (double)(b->y0 - e[0].y) + (double)(b->y1 - b->y0) / 2;
    double hx = (double)(b->x1 - b->x0) / 2 + 2, hy = (double)(b->y1 - b->y0) / 2 + 2;
    return fabs(dx * cy - dy * cx) <= fabs(dx) * hy + fabs(dy) * hx;
}

const uint32_t *po_pixels_along(po_pixels *p, const po_spot *e, uint64_t *tests, size_t *ret_n)
{
    struct {
        size_t i;
        int level;
    } stack[2 * DEPTH];
    size_t n = 0, found = 0;
    box eb = {e->x, e->y, e->x, e->y};
    widen(&eb, e[1].x, e[1].y);
    stack[n].i = 0;
    stack[n++].level = p->n_levels - 1;
    while (n > 0) {
        n--;
        size_t i = stack[n].i;
        int level = stack[n].level;
        const box *b = &p->level[level][i];
        ++*tests;
        if (b->x0 > eb.x1 || b->x1 < eb.x0 || b->y0 > eb.y1 || b->y1 < eb.y0 || !may_pass(e, b)) {
            continue;
        }
        if (level > 0) {
            stack[n].i = 2 * i;
            stack[n++].level = level - 1;
            if (2 * i + 1 < p->n_level[level - 1]) {
                stack[n].i = 2 * i + 1;
                stack[n++].level = level - 1;
            }
            continue;
        }
        if (found + GROUP > p->room) {
            size_t room = 2 * p->room + 64;
            uint32_t *more = po_scratch_more(p->scratch, p->found, found * sizeof *more, room * sizeof *more);
            if (!more) {
                *ret_n = 1;
                return NULL;
            }
            p->found = more;
            p->room = room;
        }
        for (size_t k = GROUP * i; k < GROUP * (i + 1) && k < p->n; k++) {
            p->found[found++] = p->sorted[k].number;
        }
    }
    *ret_n = found;
    return p->found;
}
