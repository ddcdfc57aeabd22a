/* One bed, as full as can be. SPDX-License-Identifier: Apache-2.0
 *
 * First one part after another, where samples find room, towards the front. Then what had no room is dropped onto the
 * bed all the same and the overlaps are taken away (nest_search.c): by two lanes at once from the same state, each with
 * its own random numbers; the first lane that succeeds counts, so that threads don't matter. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "nest_inside.h"

enum { ON_A_BED = 1500, INSERT_SAMPLES = 160, PATIENCE = 40, TRIES = 3 };

double po_nest_now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

typedef struct lane {
    po_nest_state *state;
    const po_nest_spot *from;
    size_t slot;
    uint32_t shape;
    uint64_t quota, steps;
    double ends;
    bool done;
} lane;

/* Drop one more and take the overlaps away. */
static void attempt(size_t at, void *user)
{
    lane *l = (lane *)user + at;
    po_nest_state_set(l->state, l->from);
    po_nest_state_shape(l->state, l->slot, l->shape);
    po_nest_state_drop(l->state, l->slot, 0);
    double least = INFINITY;
    l->done = false;
    l->steps = 0;
    for (int waited = 0; waited < PATIENCE && l->steps < l->quota;) {
        double overlap = po_nest_state_overlap(l->state);
        if (overlap <= 0) {
            l->done = true;
            return;
        }
        waited = overlap < 0.98 * least ? 0 : waited + 1;
        least = fmin(least, overlap);
        l->steps += po_nest_state_pass(l->state) + 1;
        if (l->ends > 0 && po_nest_now() > l->ends) {
            return;
        }
    }
}

static size_t slots_for(const po_nest_filling *f, const uint32_t *order, size_t n_order)
{
    double least = INFINITY;
    size_t all = 0;
    for (size_t k = 0; k < n_order; k++) {
        if (f->left[order[k]]) {
            least = fmin(least, f->table->shapes[order[k]].area);
            all += f->left[order[k]];
        }
    }
    double most = isfinite(f->room) ? floor(f->room / least) + 1 : (double)all;
    most = fmin(fmin(most, (double)all), ON_A_BED);
    return (size_t)most;
}

typedef struct bed {
    lane lanes[PO_NEST_LANES];
    po_nest_spot *spots; /* n_slots + fixed */
    uint32_t *shapes;
    size_t n, n_slots;
    unsigned char *closed; /* by shape: one more had no room */
    double area;
} bed;

static void bed_done(bed *b)
{
    for (size_t k = 0; k < PO_NEST_LANES; k++) {
        po_nest_state_free(b->lanes[k].state);
    }
    free(b->closed);
}

static bool bed_make(const po_nest_filling *f, size_t n_slots, bed *b)
{
    size_t n = n_slots + f->n_fixed;
    *b = (bed){.n_slots = n_slots};
    b->spots = calloc(n + 1, sizeof *b->spots);
    b->shapes = calloc(n + 1, sizeof *b->shapes);
    b->closed = calloc(f->table->n_shapes + 1, 1);
    bool fine = b->spots && b->shapes && b->closed;
    for (size_t i = 0; fine && i < n; i++) {
        b->spots[i].bed = i < n_slots ? UINT32_MAX : 0;
        b->shapes[i] = i < n_slots ? 0 : f->first_fixed + (uint32_t)(i - n_slots);
    }
    for (size_t k = 0; fine && k < PO_NEST_LANES; k++) {
        b->lanes[k].state = po_nest_state_new(f->table, b->shapes, n, f->n_fixed, f->seed * PO_NEST_LANES + k);
        fine = b->lanes[k].state != NULL;
        if (fine) {
            po_nest_state_bed(b->lanes[k].state, &f->bed, 1);
            po_nest_state_set(b->lanes[k].state, b->spots);
        }
    }
    return fine;
}

static void lay_plainly(po_nest_filling *f, const uint32_t *order, size_t n_order, bed *b)
{
    static const double towards[2] = {0.03, 1};
    po_nest_state *s = b->lanes[0].state;
    for (size_t k = 0; k < n_order; k++) {
        uint32_t shape = order[k];
        while (f->left[shape] && !b->closed[shape] && b->n < b->n_slots) {
            po_nest_state_shape(s, b->n, shape);
            if (b->area + f->table->shapes[shape].area > f->room ||
                !po_nest_state_insert(s, b->n, 0, towards, INSERT_SAMPLES)) {
                b->closed[shape] = 1;
                break;
            }
            b->shapes[b->n++] = shape;
            b->area += f->table->shapes[shape].area;
            f->left[shape]--;
        }
    }
    memcpy(b->spots, po_nest_state_spots(s), b->n_slots * sizeof *b->spots);
    for (size_t i = 0; i < b->n; i++) {
        po_nest_state_shape(b->lanes[1].state, i, b->shapes[i]);
    }
}

static bool one_more(po_nest_filling *f, uint32_t shape, uint64_t most, bed *b)
{
    for (size_t k = 0; k < PO_NEST_LANES; k++) {
        lane *l = &b->lanes[k];
        l->from = b->spots;
        l->slot = b->n;
        l->shape = shape;
        l->quota = most / PO_NEST_LANES + 1;
        l->ends = f->ends;
    }
    po_pool_each(f->pool, PO_NEST_LANES, attempt, b->lanes);
    const lane *won = NULL;
    for (size_t k = 0; k < PO_NEST_LANES; k++) {
        f->steps -= b->lanes[k].steps < f->steps ? b->lanes[k].steps : f->steps;
        won = !won && b->lanes[k].done ? &b->lanes[k] : won;
    }
    if (!won) {
        return false;
    }
    memcpy(b->spots, po_nest_state_spots(won->state), b->n_slots * sizeof *b->spots);
    b->shapes[b->n++] = shape;
    b->area += f->table->shapes[shape].area;
    f->left[shape]--;
    return true;
}

po_status po_nest_fill(po_nest_filling *f, const uint32_t *order, size_t n_order, uint64_t steps, po_nest_full *ret,
                       po_err *err)
{
    bed b;
    if (!bed_make(f, slots_for(f, order, n_order), &b)) {
        bed_done(&b);
        free(b.spots);
        free(b.shapes);
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    lay_plainly(f, order, n_order, &b);
    uint64_t until = f->steps > steps ? f->steps - steps : 0;
    for (int tries = 0; tries < TRIES || f->ends > 0;) { /* where time was given it is used */
        bool any = false, won = false;
        for (size_t k = 0; k < n_order && b.n < b.n_slots; k++) {
            uint32_t shape = order[k];
            while (f->left[shape] && b.area + f->table->shapes[shape].area <= f->room && f->steps > until &&
                   !f->ended && b.n < b.n_slots && !(f->ends > 0 && po_nest_now() > f->ends)) {
                any = true;
                if (f->effort->progress &&
                    !f->effort->progress(f->value, po_nest_now() - f->started, f->effort->user)) {
                    f->ended = true;
                    break;
                }
                if (!one_more(f, shape, f->steps - until, &b)) {
                    break;
                }
                won = true;
            }
        }
        tries += won ? 0 : 1;
        if (!any) {
            break;
        }
    }
    bed_done(&b);
    *ret = (po_nest_full){b.spots, b.shapes, b.n};
    return PO_OK;
}
