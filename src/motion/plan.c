/* Look-ahead: moves wait until nothing that follows can change them, then get their times.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Method (docs/measures.md, "Motion time"; handbook 3.3, two-pass planners): all in squared speeds, where both passes
 * are a sum and a minimum.
 *
 *     backward   e[i]   = min(corner2[i], e[i+1] + 2 a L of move i)
 *     forward    f[i+1] = min(e[i+1],     f[i]   + 2 a L of move i)
 *
 * What follows the newest move is not known: its exit speed lies between 0 and its own cruise speed. The backward pass
 * runs from both. It only adds and takes minima, which keep their order when rounded; so where both runs meet, any
 * third between them would be there too, and everything before that corner is settled, to the bit. Hence results do not
 * depend on how the moves were cut into blocks.
 *
 * Cost: the settled part is passed over once backward, once forward. The part that waits is looked at again only when it
 * has grown by half, so that even moves pushed one by one cost a constant number of steps each.
 *
 *     waiting moves    0        1        2           n-1
 *     edge2            | v2 ia  | v2 ia  | v2 ia ...  | v2 ia   |
 *                      0 (entry, settled) 1           n-1       n (no corner yet)
 *
 * Does not do: arcs, single corners (rates.c); the loops over whole blocks (kernels.c). */
#include "motion/plan.h"

#include <stdlib.h>
#include <string.h>

#include "motion/kernels.h"

enum {
    CHUNK = 512,                  /* moves prepared at once: their scratch stays in the first cache */
    CAP_EVERY = PO_PLAN_MOST / 8, /* the cap is looked at only every so many moves, counted from the start, so that the
                                     cut does not depend on the blocks either */
    WAIT_MOST = PO_PLAN_MOST + CAP_EVERY,
};

struct po_planner {
    po_rates rates;
    const po_kernels *kernels;
    po_tail tail; /* the newest move */
    size_t n_waiting;
    size_t n_looked_at; /* how many of those the last look left waiting */
    size_t since_cap;   /* moves pushed since the cap was looked at */
    size_t room, room_out;
    double *edge2, *v2, *ia, *reach2; /* [room + 1] */
    double *seconds, *top_mm_s;       /* [room_out] */
    double ux[CHUNK], uy[CHUNK], uz[CHUNK], ue[CHUNK];
};

static void start_from_rest(po_planner *p)
{
    memset(&p->tail, 0, sizeof p->tail);
    p->tail.ia = 1.0;
    p->tail.rest = 1;
    p->n_waiting = p->n_looked_at = p->since_cap = 0;
}

po_planner *po_planner_new(const po_limits *limits)
{
    po_planner *p = calloc(1, sizeof *p);
    if (p) {
        po_rates_set(&p->rates, limits);
        p->kernels = po_kernels_best();
        start_from_rest(p);
    }
    return p;
}

void po_planner_free(po_planner *planner)
{
    if (!planner) {
        return;
    }
    free(planner->edge2);
    free(planner->v2);
    free(planner->ia);
    free(planner->reach2);
    free(planner->seconds);
    free(planner->top_mm_s);
    free(planner);
}

void po_planner_limits(po_planner *planner, const po_limits *limits)
{
    po_rates_set(&planner->rates, limits);
}

/* Room for n values in each of the arrays; *room is what all of them have. On failure they are as they were or larger. */
static int grow(double **arrays[], size_t n_arrays, size_t n, size_t *room)
{
    if (n <= *room) {
        return 1;
    }
    size_t wanted = *room + *room / 2;
    wanted = wanted < n ? n : wanted;
    if (wanted > SIZE_MAX / sizeof(double)) {
        return 0;
    }
    for (size_t k = 0; k < n_arrays; k++) {
        double *more = realloc(*arrays[k], wanted * sizeof(double));
        if (!more) {
            return 0;
        }
        *arrays[k] = more;
    }
    *room = wanted;
    return 1;
}

/* Room for n more moves: nothing can fail after this. */
static int reserve(po_planner *p, size_t n)
{
    double **waiting[] = {&p->edge2, &p->v2, &p->ia, &p->reach2};
    double **out[] = {&p->seconds, &p->top_mm_s};
    if (n > SIZE_MAX / sizeof(double) - WAIT_MOST) {
        return 0;
    }
    const size_t all = p->n_waiting + n, most = WAIT_MOST + CHUNK;
    return grow(waiting, 4, (all < most ? all : most) + 1, &p->room) && grow(out, 2, all, &p->room_out);
}

/* Settle the n oldest moves, the last of which leaves with squared speed exit2. Their times go to seconds and tops. */
static void settle(po_planner *p, size_t n, double exit2, double *seconds, double *top_mm_s)
{
    double *restrict edge2 = p->edge2;
    const double *restrict reach2 = p->reach2;
    double e = edge2[n] = exit2;
    for (size_t i = n - 1; i > 0; i--) {
        e = po_min(edge2[i], e + reach2[i]);
        edge2[i] = e;
    }
    double f = edge2[0];
    for (size_t i = 0; i < n; i++) {
        f = po_min(edge2[i + 1], f + reach2[i]);
        edge2[i + 1] = f;
    }
    p->kernels->times(n, edge2, p->v2, p->ia, reach2, seconds, top_mm_s);
    const size_t left = p->n_waiting - n;
    memmove(edge2, edge2 + n, (left > 0 ? left : 1) * sizeof *edge2);
    memmove(p->v2, p->v2 + n, left * sizeof *p->v2);
    memmove(p->ia, p->ia + n, left * sizeof *p->ia);
    memmove(p->reach2, p->reach2 + n, left * sizeof *p->reach2);
    p->n_waiting = left;
}

/* Settle what can be. most2: squared speed that the newest move may leave with, at most. Returns how many. */
static size_t look(po_planner *p, double most2, double *seconds, double *top_mm_s)
{
    size_t i = p->n_waiting;
    double low = 0.0, high = most2;
    while (i > 0 && low != high) {
        i--;
        low = po_min(p->edge2[i], low + p->reach2[i]);
        high = po_min(p->edge2[i], high + p->reach2[i]);
    }
    if (i > 0) {
        settle(p, i, low, seconds, top_mm_s);
    }
    p->n_looked_at = p->n_waiting;
    return i;
}

/* Too many wait: the oldest half goes as if motion could come to rest at the newest move. */
static size_t cut(po_planner *p, double *seconds, double *top_mm_s)
{
    const size_t half = p->n_waiting / 2;
    double e = 0.0;
    for (size_t i = p->n_waiting; i > half;) {
        i--;
        e = po_min(p->edge2[i], e + p->reach2[i]);
    }
    settle(p, half, e, seconds, top_mm_s);
    p->n_looked_at = p->n_waiting;
    return half;
}

/* Direction and rates of move i of the chunk, as a tail. */
static po_tail tail_of(const po_planner *p, const po_move_block *block, size_t first, size_t i)
{
    const size_t w = p->n_waiting + i;
    return (po_tail){.u = {p->ux[i], p->uy[i], p->uz[i], p->ue[i]},
                     .v2 = p->v2[w],
                     .ia = p->ia[w],
                     .has_xyz = block->length[first + i] > 0.0,
                     .rest = (block->kind[first + i] & PO_MOVE_REST) != 0};
}

/* Whether any of n kinds has one of the bits. */
static int any_of(const uint8_t *kind, size_t n, unsigned bits)
{
    uint8_t seen = 0;
    for (size_t i = 0; i < n; i++) {
        seen |= kind[i];
    }
    return (seen & bits) != 0;
}

/* Replace the rates of the chunk's arcs; their directions become those at their ends. */
static void mend_arcs(po_planner *p, const po_move_block *block, size_t first, size_t n, size_t arc)
{
    const size_t base = p->n_waiting;
    for (size_t i = 0; i < n; i++) {
        const size_t b = first + i;
        if (block->kind[b] & PO_MOVE_ARC && block->length[b] > 0.0 && arc < block->n_arcs) {
            po_tail t;
            po_arc_rates(&p->rates, &block->arcs[arc], block->dz[b], block->de[b], block->length[b], block->feed[b],
                         block->kind[b], &t, &p->reach2[base + i]);
            p->v2[base + i] = t.v2;
            p->ia[base + i] = t.ia;
            p->ux[i] = t.u[0];
            p->uy[i] = t.u[1];
            p->uz[i] = t.u[2];
            p->ue[i] = t.u[3];
        }
        arc += (block->kind[b] & PO_MOVE_ARC) != 0;
    }
}

/* Corners at the seam with what came before, into arcs, and after a rest. Returns the arcs passed. */
static size_t mend_corners(po_planner *p, const po_move_block *block, size_t first, size_t n, size_t arc, int singles)
{
    const uint8_t *kind = block->kind + first;
    double *edge2 = p->edge2 + p->n_waiting;
    size_t arcs = 0;
    for (size_t i = 0; i < (singles ? n : 1); i++) {
        const int is_arc = (kind[i] & PO_MOVE_ARC) != 0;
        if (i == 0 || is_arc) {
            po_tail t = tail_of(p, block, first, i);
            const po_tail before = i > 0 ? tail_of(p, block, first, i - 1) : p->tail;
            if (is_arc && t.has_xyz && arc + arcs < block->n_arcs && t.v2 > 0.0) {
                memcpy(t.u, block->arcs[arc + arcs].start, 3 * sizeof *t.u);
            }
            edge2[i] = po_corner_into(&p->rates, &before, t.u, t.v2, t.ia, t.has_xyz);
        } else if (kind[i - 1] & PO_MOVE_REST) {
            edge2[i] = 0.0;
        }
        arcs += (size_t)is_arc;
    }
    if (p->n_waiting == 0) {
        edge2[0] = 0.0; /* nothing waits only where motion rests */
    }
    return arcs;
}

/* Take in moves first .. first+n-1, n <= CHUNK. Returns how many of them are arcs. */
static size_t take_in(po_planner *p, const po_move_block *block, size_t first, size_t n, size_t arc)
{
    const size_t base = p->n_waiting;
    const po_directions u = {p->ux, p->uy, p->uz, p->ue};
    double *v2 = p->v2 + base, *ia = p->ia + base;
    const int singles = any_of(block->kind + first, n, PO_MOVE_ARC | PO_MOVE_REST);
    p->kernels->limits(&p->rates, block, first, n, u, v2, ia, p->reach2 + base);
    if (singles) {
        mend_arcs(p, block, first, n, arc);
    }
    p->kernels->corners(&p->rates, block->length + first, n, u, v2, ia, p->edge2 + base);
    const size_t arcs = mend_corners(p, block, first, n, arc, singles);
    p->tail = tail_of(p, block, first, n - 1);
    p->n_waiting += n;
    p->since_cap += n;
    return arcs;
}

po_status po_planner_push(po_planner *planner, const po_move_block *block, po_planned *ret, po_err *err)
{
    po_planner *p = planner;
    *ret = (po_planned){0};
    if (!reserve(p, block->n)) {
        return po_fail(err, PO_E_NOMEM, "no memory to plan %zu moves", block->n);
    }
    size_t done = 0, arc = 0;
    for (size_t first = 0; first < block->n;) {
        size_t n = block->n - first;
        n = n < CHUNK ? n : CHUNK;
        n = n < CAP_EVERY - p->since_cap ? n : CAP_EVERY - p->since_cap;
        arc += take_in(p, block, first, n, arc);
        first += n;
        const int cap = p->since_cap == CAP_EVERY;
        const int too_many = cap && p->n_waiting > PO_PLAN_MOST;
        if (cap) {
            p->since_cap = 0;
        }
        const size_t news = p->n_waiting - p->n_looked_at;
        if (too_many || p->tail.rest || news >= p->n_looked_at / 2) {
            done += look(p, p->tail.rest ? 0.0 : p->tail.v2, p->seconds + done, p->top_mm_s + done);
        }
        if (too_many && p->n_waiting > PO_PLAN_MOST) {
            done += cut(p, p->seconds + done, p->top_mm_s + done);
        }
    }
    *ret = (po_planned){.n = done, .seconds = p->seconds, .top_mm_s = p->top_mm_s};
    return PO_OK;
}

po_status po_planner_finish(po_planner *planner, po_planned *ret, po_err *err)
{
    po_planner *p = planner;
    *ret = (po_planned){0};
    if (!reserve(p, 0)) {
        return po_fail(err, PO_E_NOMEM, "no memory to plan the last moves");
    }
    const size_t done = look(p, 0.0, p->seconds, p->top_mm_s);
    *ret = (po_planned){.n = done, .seconds = p->seconds, .top_mm_s = p->top_mm_s};
    start_from_rest(p);
    return PO_OK;
}
