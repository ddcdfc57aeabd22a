/* Which cuts: a search. SPDX-License-Identifier: Apache-2.0
 *
 * Beam search (B. T. Lowerre, "The HARPY speech recognition system", 1976): of the plans so far the few that promise the
 * fewest pieces, then the best joints, are carried on; the solid of a plan that is furthest from fitting is cut next, by
 * each of its best planes, for real. The promise is a count by boxes, so a plan with fewer pieces may exist; it is never
 * promised that there is none. Each solid is looked at once, whichever plans hold it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/pieces_plan.h"

enum { BEAM_MOST = 4, STATES_MOST = BEAM_MOST * PO_CUT_PLANES_MOST + BEAM_MOST };

static const double MOST_LEFT = 0.85; /* of the volume, in a part that takes as many pieces as before */

typedef struct own_shard {
    po_shard shard;
    bool tried;
    const po_split *options[PO_CUT_PLANES_MOST];
    size_t n_options;
} own_shard;

typedef struct state {
    own_shard **shards;
    size_t n_shards;
    const po_split **splits;
    size_t n_splits;
    size_t pieces; /* promised */
    double cost;
    bool done;
} state;

typedef struct search {
    const po_planning *p;
    po_arena *arena;
    size_t beam, breadth;
    uint64_t steps;
    size_t n_shards;
    po_err last; /* why a cut could not be made */
    bool refused, limited;
} search;

double po_plain_volume(const po_mesh *m)
{
    double sum = 0;
    const double *o = m->xyz;
    for (size_t t = 0; t < m->n_triangles; t++) {
        double p[3][3];
        for (int i = 0; i < 3; i++) {
            for (int k = 0; k < 3; k++) {
                p[i][k] = m->xyz[3 * (size_t)m->corners[3 * t + (size_t)i] + (size_t)k] - o[k];
            }
        }
        sum += p[0][0] * (p[1][1] * p[2][2] - p[1][2] * p[2][1]) + p[0][1] * (p[1][2] * p[2][0] - p[1][0] * p[2][2]) +
               p[0][2] * (p[1][0] * p[2][1] - p[1][1] * p[2][0]);
    }
    return sum / 6;
}

size_t po_plain_poses(const po_planning *p, po_pose *ret)
{
    size_t n = 0;
    for (size_t a = 0; a < p->n_axes; a++) {
        for (int i = 0; i < 6; i++) {
            const double *z = p->axes[a].of[i / 2], *x = p->axes[a].of[(i / 2 + 1) % 3],
                         *y = p->axes[a].of[(i / 2 + 2) % 3];
            double sign = i % 2 ? -1 : 1; /* upside down: about x */
            po_pose pose = {.support_mm3 = NAN, .longest_bridge_mm = NAN, .across_layers = NAN};
            for (int k = 0; k < 3; k++) {
                pose.turn[3 * k] = x[k];
                pose.turn[3 * k + 1] = sign * y[k];
                pose.turn[3 * k + 2] = sign * z[k];
            }
            ret[n++] = pose;
        }
    }
    return n;
}

po_status po_fits_plainly(const po_planning *p, const po_mesh *mesh, bool *ret_fits, po_err *err)
{
    po_pose poses[6 * PO_AXES_MOST];
    size_t n = po_plain_poses(p, poses);
    po_fit fit;
    po_arena *own = po_arena_new(0);
    po_status status = own ? po_part_fit(mesh, p->setup->machine, p->setup->clearance_mm, poses, n, own, &fit, err)
                           : po_fail(err, PO_E_NOMEM, "memory ran out");
    *ret_fits = status == PO_OK && (fit.turned || fit.pose >= 0);
    po_arena_free(own);
    return status;
}

static po_status make_shard(search *s, const po_mesh *mesh, const po_split *from, int side, const po_shard **ret,
                            po_err *err)
{
    own_shard *shard = po_arena_zeros(s->arena, 1, sizeof *shard);
    bool fits;
    if (!shard) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status status = po_fits_plainly(s->p, mesh, &fits, err);
    shard->shard = (po_shard){.mesh = mesh,
                              .from = from,
                              .side = side,
                              .volume = po_plain_volume(mesh),
                              .pieces = 1,
                              .number = s->n_shards++};
    if (status == PO_OK && !fits) {
        unsigned least = 1000;
        for (size_t a = 0; a < s->p->n_axes; a++) {
            double low[3], high[3];
            po_axes_bounds(&s->p->axes[a], mesh, low, high);
            double size[3] = {high[0] - low[0], high[1] - low[1], high[2] - low[2]};
            unsigned n = po_box_pieces(&s->p->room, size, NULL);
            least = n && n < least ? n : least;
        }
        shard->shard.pieces = least < 2 ? 2 : least;
    }
    *ret = &shard->shard;
    return status;
}

static po_status make_shards(search *s, const po_mesh *mesh, const po_split *from, int side,
                             const po_shard *const **ret, size_t *ret_n, po_err *err)
{
    const po_mesh *solids;
    size_t n;
    po_status status = po_mesh_bodies(mesh, s->arena, &solids, &n, err);
    const po_shard **list = status == PO_OK ? po_arena_zeros(s->arena, n, sizeof *list) : NULL;
    if (status == PO_OK && !list) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; status == PO_OK && i < n; i++) {
        status = make_shard(s, &solids[i], from, side, &list[i], err);
    }
    *ret = list;
    *ret_n = n;
    return status;
}

/* Something must be gained, or slivers could be cut off for ever. */
static bool gains(const po_split *split)
{
    for (int k = 0; k < 2; k++) {
        for (size_t i = 0; i < split->n_parts[k]; i++) {
            const po_shard *part = split->parts[k][i];
            if (part->pieces >= split->of->pieces && part->volume > MOST_LEFT * split->of->volume) {
                return false;
            }
        }
    }
    return true;
}

/* Cut a shard by each of its best planes. */
static po_status find_options(search *s, own_shard *shard, po_err *err)
{
    po_cut_plane candidates[PO_CUT_PLANES_MOST];
    size_t n = 0;
    po_status status = po_planes_find(s->p, &shard->shard, s->breadth, candidates, &n, err);
    shard->tried = true;
    for (size_t i = 0; status == PO_OK && i < n; i++) {
        po_split *split = po_arena_zeros(s->arena, 1, sizeof *split);
        po_mesh halves[2];
        if (!split) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        if (s->p->setup->progress && !s->p->setup->progress(++s->steps, 0, s->p->setup->user)) {
            return po_fail(err, PO_E_CANCELLED, "cancelled");
        }
        status = po_cut_mesh(shard->shard.mesh, &candidates[i].plane, NULL, 0, s->arena, &halves[0], &halves[1],
                             &split->cut, err);
        if (status == PO_E_RANGE) { /* the surface overlaps itself here; elsewhere it may not */
            s->refused = true;
            if (err) {
                s->last = *err;
            }
            status = PO_OK;
            continue;
        }
        split->of = &shard->shard;
        split->cost = candidates[i].cost;
        for (int k = 0; status == PO_OK && k < 2; k++) {
            status = make_shards(s, &halves[k], split, k, &split->parts[k], &split->n_parts[k], err);
        }
        if (status == PO_OK && halves[0].n_triangles && halves[1].n_triangles && gains(split)) {
            shard->options[shard->n_options++] = split;
        }
    }
    return status;
}

static own_shard *own_of(const po_shard *shard)
{
    return (own_shard *)(uintptr_t)shard; /* all shards of a search are its own; they come first in it */
}

static po_status set_out(search *s, state *next, const state *from, size_t skip, const po_split *split, po_err *err)
{
    size_t n = split ? split->n_parts[0] + split->n_parts[1] : 0;
    *next = (state){.n_splits = from->n_splits + (split != NULL), .cost = from->cost + (split ? split->cost : 0)};
    next->shards = po_arena_zeros(s->arena, from->n_shards + n, sizeof *next->shards);
    next->splits = po_arena_zeros(s->arena, next->n_splits + 1, sizeof *next->splits);
    if (!next->shards || !next->splits) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < from->n_shards; i++) {
        if (i != skip) {
            next->shards[next->n_shards++] = from->shards[i];
        }
    }
    memcpy(next->splits, from->splits, from->n_splits * sizeof *next->splits);
    if (split) {
        next->splits[from->n_splits] = split;
    }
    for (int k = 0; split && k < 2; k++) {
        for (size_t i = 0; i < split->n_parts[k]; i++) {
            next->shards[next->n_shards++] = own_of(split->parts[k][i]);
        }
    }
    next->done = true;
    for (size_t i = 0; i < next->n_shards; i++) {
        next->pieces += next->shards[i]->shard.pieces;
        next->done = next->done && next->shards[i]->shard.pieces == 1;
    }
    return PO_OK;
}

static int by_promise(const void *a, const void *b)
{
    const state *x = a, *y = b;
    return x->pieces != y->pieces ? (x->pieces > y->pieces) - (x->pieces < y->pieces)
           : x->cost < y->cost    ? -1
           : x->cost > y->cost    ? 1
                                  : (x->n_shards > y->n_shards) - (x->n_shards < y->n_shards);
}

/* The same cuts, found in another order. */
static bool alike(const state *a, const state *b)
{
    return a->pieces == b->pieces && a->n_shards == b->n_shards && fabs(a->cost - b->cost) < 1e-12;
}

static size_t keep_best(state *list, size_t n, size_t most)
{
    size_t kept = 0;
    for (size_t i = 1; i < n; i++) { /* insertion keeps the order of equals: the answer is the same every time */
        state x = list[i];
        size_t at = i;
        for (; at > 0 && by_promise(&x, &list[at - 1]) < 0; at--) {
            list[at] = list[at - 1];
        }
        list[at] = x;
    }
    for (size_t i = 0; i < n && kept < most; i++) {
        if (!kept || !alike(&list[i], &list[kept - 1])) {
            list[kept++] = list[i];
        }
    }
    return kept;
}

/* All that follows from one state; a finished one stays. */
static po_status carry_on(search *s, const state *from, state *list, size_t *n, po_err *err)
{
    if (from->done) {
        list[(*n)++] = *from;
        return PO_OK;
    }
    size_t worst = 0;
    for (size_t i = 1; i < from->n_shards; i++) {
        worst = from->shards[i]->shard.pieces > from->shards[worst]->shard.pieces ? i : worst;
    }
    own_shard *shard = from->shards[worst];
    po_status status = shard->tried ? PO_OK : find_options(s, shard, err);
    for (size_t i = 0; status == PO_OK && i < shard->n_options; i++) {
        const po_split *split = shard->options[i];
        if (from->n_shards - 1 + split->n_parts[0] + split->n_parts[1] > s->p->most_pieces) {
            s->limited = true;
            continue;
        }
        status = set_out(s, &list[*n], from, worst, split, err);
        *n += status == PO_OK;
    }
    return status;
}

static po_status finish(search *s, const state *best, po_plan *ret, po_err *err)
{
    const po_shard **shards = po_arena_zeros(s->arena, best->n_shards, sizeof *shards);
    if (!shards) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < best->n_shards; i++) {
        shards[i] = &best->shards[i]->shard;
    }
    *ret = (po_plan){shards, best->n_shards, best->splits, best->n_splits};
    return PO_OK;
}

static po_status begin(search *s, const po_mesh *mesh, state *first, po_err *err)
{
    const po_shard *const *shards;
    size_t n;
    po_status status = make_shards(s, mesh, NULL, 0, &shards, &n, err);
    if (status != PO_OK) {
        return status;
    }
    po_split whole = {.parts = {shards, NULL}, .n_parts = {n, 0}};
    state none = {0};
    const po_split *no_split = NULL;
    none.splits = &no_split;
    status = set_out(s, first, &none, SIZE_MAX, &whole, err);
    first->n_splits = 0;
    return status;
}

po_status po_plan_cuts(const po_mesh *mesh, const po_planning *p, po_arena *arena, po_plan *ret, po_err *err)
{
    search s = {.p = p, .arena = arena, .beam = BEAM_MOST, .breadth = 6};
    if (mesh->n_triangles > 100000) { /* every cut of a large mesh is kept until the end */
        s.beam = mesh->n_triangles > 1000000 ? 1 : 2;
        s.breadth = mesh->n_triangles > 1000000 ? 2 : 3;
    }
    state beam[STATES_MOST], next[STATES_MOST];
    size_t n = 1;
    po_status status = begin(&s, mesh, &beam[0], err);
    if (status == PO_OK && beam[0].n_shards > p->most_pieces) {
        return po_fail(err, PO_E_LIMIT, "the part is %zu solids apart already; at most %zu pieces are allowed",
                       beam[0].n_shards, p->most_pieces);
    }
    /* every cut makes one solid more at least */
    for (size_t step = 0; status == PO_OK && step <= p->most_pieces && n && !beam[0].done; step++) {
        size_t n_next = 0;
        for (size_t i = 0; status == PO_OK && i < n; i++) {
            status = carry_on(&s, &beam[i], next, &n_next, err);
        }
        n = status == PO_OK ? keep_best(next, n_next, s.beam) : 0;
        memcpy(beam, next, n * sizeof beam[0]);
    }
    if (status != PO_OK) {
        return status;
    }
    if (n && beam[0].done) {
        return finish(&s, &beam[0], ret, err);
    }
    if (s.limited) {
        return po_fail(err, PO_E_LIMIT, "more than %zu pieces would be needed", p->most_pieces);
    }
    if (s.refused) {
        return po_fail(err, PO_E_RANGE, "%s", err ? s.last.msg : "");
    }
    return po_fail(err, PO_E_NOTFOUND,
                   "no plane cut makes it fit through sections at least %.2g mm thick; "
                   "a machine with more room, or a thicker part, is needed",
                   p->least_joint);
}
