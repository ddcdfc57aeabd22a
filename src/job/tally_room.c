/* The machine's room: reach, keep-outs, height, the bed's surface. SPDX-License-Identifier: Apache-2.0
 *
 * include/proveout/job.h says what each sighting means. A block of moves lies within its bounds, so most blocks are done
 * with a few comparisons for each machine; where bounds leave the room, each move is tried. Straight moves leave a
 * rectangle by their ends; of arcs their extreme points are tried too. */
#include <math.h>

#include "job/tally.h"

#define BELOW_MM 0.005 /* include/proveout/job.h */
#define TINY_MM 1e-6   /* rounding of a number as written, with offsets added and taken off */
enum { ALONG = 32 };   /* points of a move at which its depth in a keep-out is looked at */

static bool over_bed(const po_machine_tally *machine, double x, double y)
{
    const double(*bed)[2] = machine->bed;
    if (machine->setup->machine->round_bed) {
        double r = (bed[0][1] - bed[0][0]) / 2;
        return hypot(x - (bed[0][0] + bed[0][1]) / 2, y - (bed[1][0] + bed[1][1]) / 2) <= r;
    }
    return x >= bed[0][0] && x <= bed[0][1] && y >= bed[1][0] && y <= bed[1][1];
}

static uint64_t events_before(const po_tally *t, const po_moves *m, size_t i)
{
    uint64_t later = 0; /* told to the clock, but after the start of move i */
    for (size_t e = m->n_events; e > 0 && m->events[e - 1].before > i; e--) {
        po_event_kind k = m->events[e - 1].kind;
        later += k == PO_EV_NOZZLE || k == PO_EV_BED || k == PO_EV_DWELL || k == PO_EV_HOME || k == PO_EV_PROBE ||
                 k == PO_EV_TOOL || k == PO_EV_HANDS;
    }
    return t->clock->events_queued - later;
}

static void see(po_tally *t, po_sighting *s, const po_moves *m, size_t i, uint64_t first, double worst)
{
    bool was = s->count > 0;
    if (po_seen(s, po_place_at(m->line[i], m->x[i], m->y[i], m->z[i], NAN), worst, 0)) {
        uint64_t event = events_before(t, m, i);
        if (!was) {
            po_tally_ask(t, first + i, event, &s->first.seconds);
        }
        po_tally_ask(t, first + i, event, &s->worst_at.seconds);
    }
}

/* How far beyond its reach a move goes; below the bed is another matter where there is a bed beneath. */
static double beyond_reach(const po_machine_tally *machine, const po_box *box, double x, double y)
{
    const po_range *reach = machine->setup->machine->reach;
    double worst = 0;
    for (int a = 0; a < 3; a++) {
        double under = reach[a].low - box->min[a];
        if (a == 2 && over_bed(machine, x, y)) {
            under = 0;
        }
        worst = fmax(worst, fmax(under, box->max[a] - reach[a].high));
    }
    return worst;
}

/* Deepest point of a move inside a keep-out: least way out sideways or upwards. */
static double inside_keep_out(const po_keep_out *k, const double from[3], const double to[3],
                              const struct po_arc_shape *shape)
{
    double deepest = 0;
    double r = 0, a0 = 0;
    double t0 = 0, t1 = 1;
    if (shape) {
        r = hypot(from[0] - shape->cx, from[1] - shape->cy);
        a0 = atan2(from[1] - shape->cy, from[0] - shape->cx);
    } else { /* the part of the move that lies within, so that a long one is not passed over */
        const po_range side[2] = {k->x, k->y};
        for (int a = 0; a < 2; a++) {
            double d = to[a] - from[a];
            if (d == 0) {
                if (!(from[a] > side[a].low && from[a] < side[a].high)) {
                    return 0;
                }
                continue;
            }
            double u = (side[a].low - from[a]) / d, v = (side[a].high - from[a]) / d;
            t0 = fmax(t0, fmin(u, v));
            t1 = fmin(t1, fmax(u, v));
        }
        if (!(t0 <= t1)) {
            return 0;
        }
    }
    int points = ALONG;
    if (shape) { /* not further apart than a millimetre, as far as that is sane */
        points = (int)fmin(fmax(ALONG, r * fabs(shape->turn)), 4096);
    }
    for (int i = 0; i <= points; i++) {
        double t = t0 + (t1 - t0) * i / points;
        double x = shape ? shape->cx + r * cos(a0 + shape->turn * t) : from[0] + (to[0] - from[0]) * t;
        double y = shape ? shape->cy + r * sin(a0 + shape->turn * t) : from[1] + (to[1] - from[1]) * t;
        double z = from[2] + (to[2] - from[2]) * t;
        double depth = fmin(fmin(x - k->x.low, k->x.high - x), fmin(y - k->y.low, k->y.high - y));
        deepest = fmax(deepest, fmin(depth, k->below_z_mm - z));
    }
    return deepest;
}

/* Reach seen since the last bead is reach before a bead, once one follows. */
static void not_parking(po_tally *t, po_machine_tally *machine)
{
    po_sighting *to = &machine->sights[PO_SIGHT_REACH], *from = &machine->parking;
    if (from->count == 0) {
        return;
    }
    if (to->count == 0) {
        *to = *from;
        po_clock_redirect(t->clock, &from->first.seconds, &to->first.seconds);
        po_clock_redirect(t->clock, &from->worst_at.seconds, &to->worst_at.seconds);
    } else {
        po_clock_redirect(t->clock, &from->first.seconds, NULL);
        if (from->worst > to->worst) {
            to->worst = from->worst;
            to->worst_at = from->worst_at;
            po_clock_redirect(t->clock, &to->worst_at.seconds, NULL);
            po_clock_redirect(t->clock, &from->worst_at.seconds, &to->worst_at.seconds);
        } else {
            po_clock_redirect(t->clock, &from->worst_at.seconds, NULL);
        }
        to->count += from->count;
    }
    *from = (po_sighting){0};
}

typedef struct trials {
    bool reach, tall, below, keep_out;
} trials;

static void each_move(po_tally *t, po_machine_tally *machine, const po_moves *m, uint64_t first, size_t last_bead,
                      trials try)
{
    const po_machine *at = machine->setup->machine;
    double from[3] = {m->x0, m->y0, m->z0};
    size_t arc = 0, e = 0;
    for (size_t i = 0; i < m->n; i++) {
        for (; e < m->n_events && m->events[e].before <= i; e++) {
            for (int a = 0; m->events[e].kind == PO_EV_HOME && a < 3; a++) {
                from[a] = m->events[e].bits & 1 << a ? at->home_mm[a] : from[a];
            }
        }
        const double to[3] = {m->x[i], m->y[i], m->z[i]};
        const unsigned kind = m->kind[i];
        const struct po_arc_shape *shape = kind & PO_MOVE_ARC ? &m->shapes[arc++] : NULL;
        if (kind & (PO_MOVE_BEAD | PO_MOVE_TRAVEL)) {
            po_box box = {{to[0], to[1], to[2]}, {to[0], to[1], to[2]}};
            if (shape) {
                po_arc_box(shape, from[0], from[1], &box);
            }
            if (try.reach) {
                double beyond = beyond_reach(machine, &box, to[0], to[1]);
                if (beyond > TINY_MM) {
                    bool before = last_bead != SIZE_MAX && i <= last_bead;
                    see(t, before ? &machine->sights[PO_SIGHT_REACH] : &machine->parking, m, i, first, beyond);
                }
            }
            if (try.tall && (kind & PO_MOVE_BEAD) && fmax(from[2], to[2]) > at->height_mm + TINY_MM) {
                see(t, &machine->sights[PO_SIGHT_TOO_TALL], m, i, first, fmax(from[2], to[2]) - at->height_mm);
            }
            if (try.below && to[2] < -BELOW_MM && over_bed(machine, to[0], to[1])) {
                see(t, &machine->sights[PO_SIGHT_BELOW_BED], m, i, first, -to[2]);
            }
            if (try.keep_out && !(kind & PO_MOVE_BLIND)) {
                double deepest = 0;
                for (size_t k = 0; k < at->n_keep_outs; k++) {
                    deepest = fmax(deepest, inside_keep_out(&at->keep_outs[k], from, to, shape));
                }
                if (deepest > TINY_MM) {
                    see(t, &machine->sights[PO_SIGHT_KEEP_OUT], m, i, first, deepest);
                }
            }
        }
        from[0] = to[0];
        from[1] = to[1];
        from[2] = to[2];
    }
}

void po_tally_room(po_tally *t, const po_moves *m, uint64_t first, const po_box *all, const po_box *beads,
                   size_t last_bead)
{
    for (size_t k = 0; k < t->n_machines; k++) {
        po_machine_tally *machine = &t->machines[k];
        const po_machine *at = machine->setup->machine;
        trials try = {.below = all->min[2]<-BELOW_MM, .tall = beads->max[2]> at->height_mm};
        for (int a = 0; a < 3; a++) {
            try.reach |= all->min[a] < at->reach[a].low || all->max[a] > at->reach[a].high;
        }
        for (size_t i = 0; i < at->n_keep_outs; i++) {
            const po_keep_out *out = &at->keep_outs[i];
            try.keep_out |= all->max[0] > out->x.low && all->min[0] < out->x.high && all->max[1] > out->y.low &&
                            all->min[1] < out->y.high && all->min[2] < out->below_z_mm;
        }
        if (last_bead != SIZE_MAX) {
            not_parking(t, machine);
        }
        if (try.reach || try.tall || try.below || try.keep_out) {
            each_move(t, machine, m, first, last_bead, try);
        }
    }
}
