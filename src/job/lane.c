/* One way of running a job. SPDX-License-Identifier: Apache-2.0
 *
 *     lines -> po_state -> block -+-> tally (sums, sightings) -> questions to the clock
 *                                 +-> planner -> seconds, some blocks later -> clock
 *                                 +-> batcher (of the lane that leads its group)
 *
 * Where motion rests (docs/measures.md, "Motion time") the move before is marked for the planner. */
#include "job/lane.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FLUSH_MOVES = 512 }; /* a block this full is worked on: it then still lies in the nearest caches */

po_reading po_reading_of(const po_job_setup *setup)
{
    const po_machine *m = setup->machine;
    return (po_reading){.e_follows_g90 = m->e_follows_g90,
                        .home = {m->home_mm[0], m->home_mm[1], m->home_mm[2]},
                        .retract_mm = m->retract_mm,
                        .retract_mm_s = m->retract_mm_s,
                        .retract_extra_mm = m->retract_extra_mm,
                        .home_seconds = m->heat.home_seconds,
                        .probe_seconds = m->heat.probe_seconds,
                        .filament_mm = setup->materials[0]->diameter_mm};
}

static bool same(const double *a, const double *b, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (a[i] != b[i]) {
            return false;
        }
    }
    return true;
}

bool po_lane_alike(const po_job_setup *a, const po_job_setup *b)
{
    po_reading r = po_reading_of(a), s = po_reading_of(b);
    const po_limits *l = &a->machine->limits, *k = &b->machine->limits;
    const po_heat *h = &a->machine->heat, *g = &b->machine->heat;
    return r.e_follows_g90 == s.e_follows_g90 && same(r.home, s.home, 3) && r.retract_mm == s.retract_mm &&
           r.retract_mm_s == s.retract_mm_s && r.retract_extra_mm == s.retract_extra_mm &&
           r.home_seconds == s.home_seconds && r.probe_seconds == s.probe_seconds && r.filament_mm == s.filament_mm &&
           same(l->feed_mm_s, k->feed_mm_s, 4) && same(l->accel_mm_s2, k->accel_mm_s2, 4) &&
           l->print_mm_s2 == k->print_mm_s2 && l->travel_mm_s2 == k->travel_mm_s2 &&
           l->retract_mm_s2 == k->retract_mm_s2 && l->corner == k->corner && same(l->step_mm_s, k->step_mm_s, 4) &&
           l->deviation_mm == k->deviation_mm && h->nozzle_c_per_s == g->nozzle_c_per_s &&
           h->bed_c_per_s == g->bed_c_per_s && h->room_c == g->room_c;
}

po_status po_lane_init(po_lane *lane, const po_job_setup *const *machines, size_t n_machines, po_err *err)
{
    memset(lane, 0, sizeof *lane);
    po_reading reading = po_reading_of(machines[0]);
    po_clock_init(&lane->clock, &machines[0]->machine->heat);
    po_state_init(&lane->state, &reading, &machines[0]->machine->limits);
    lane->planner = po_planner_new(&machines[0]->machine->limits);
    lane->block = malloc(sizeof *lane->block);
    if (!lane->planner || !lane->block || !po_tally_init(&lane->tally, &lane->clock, machines, n_machines)) {
        po_lane_done(lane);
        return po_fail(err, PO_E_NOMEM, "no memory to read a job");
    }
    po_moves_reset(lane->block, &lane->state);
    for (int i = 0; i < PO_ODD_COUNT; i++) {
        lane->odd_first_s[i] = lane->odd_worst_s[i] = NAN;
    }
    return PO_OK;
}

void po_lane_done(po_lane *lane)
{
    po_planner_free(lane->planner);
    free(lane->block);
    po_tally_done(&lane->tally);
    po_clock_done(&lane->clock);
    lane->planner = NULL;
    lane->block = NULL;
}

static bool rests(const po_event *ev)
{
    switch (ev->kind) {
    case PO_EV_DWELL:
    case PO_EV_HOME:
    case PO_EV_PROBE:
    case PO_EV_TOOL:
    case PO_EV_HANDS:
    case PO_EV_REST:
        return true;
    case PO_EV_NOZZLE:
    case PO_EV_BED:
        return ev->wait;
    default:
        return false;
    }
}

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "no memory for the moves of a job");
}

/* Times of what the interpreter found odd: at the move that was next then. */
static void ask_oddities(po_lane *lane, uint64_t first)
{
    for (int i = 0; i < PO_ODD_COUNT; i++) {
        const po_oddity *o = &lane->state.odd[i];
        if (o->count == lane->odd_count[i]) {
            continue;
        }
        if (lane->odd_count[i] == 0) {
            po_tally_ask(&lane->tally, o->first_move > first ? o->first_move : first, lane->clock.events_queued,
                         &lane->odd_first_s[i]);
        }
        if (lane->odd_worst_asked[i] != o->worst_line + 1) {
            lane->odd_worst_asked[i] = o->worst_line + 1;
            po_tally_ask(&lane->tally, o->worst_move > first ? o->worst_move : first, lane->clock.events_queued,
                         &lane->odd_worst_s[i]);
        }
        lane->odd_count[i] = o->count;
    }
}

static po_status flush(po_lane *lane, po_err *err)
{
    po_moves *m = lane->block;
    po_planned planned;
    bool at_start = false, limits = false;
    for (size_t e = 0; e < m->n_events; e++) {
        const po_event *ev = &m->events[e];
        limits |= ev->kind == PO_EV_LIMITS;
        if (rests(ev)) {
            if (ev->before == 0) {
                at_start = true;
            } else {
                m->kind[ev->before - 1] |= PO_MOVE_REST;
            }
        }
    }
    if (at_start && lane->clock.done < lane->clock.queued) {
        po_status status = po_planner_finish(lane->planner, &planned, err);
        if (status != PO_OK) {
            return status;
        }
        if (!po_clock_take(&lane->clock, planned.n, planned.seconds, planned.top_mm_s)) {
            return no_memory(err);
        }
    }
    ask_oddities(lane, lane->tally.n_moves);
    if (!po_tally_block(&lane->tally, m)) {
        return no_memory(err);
    }
    if (m->n) {
        const po_move_block block = {.n = m->n,
                                     .dx = m->dx,
                                     .dy = m->dy,
                                     .dz = m->dz,
                                     .de = m->de,
                                     .length = m->length,
                                     .feed = m->feed,
                                     .kind = m->kind,
                                     .arcs = m->arcs,
                                     .n_arcs = m->n_arcs};
        po_status status = po_planner_push(lane->planner, &block, &planned, err);
        if (status != PO_OK) {
            return status;
        }
    } else {
        planned = (po_planned){0};
    }
    if (!po_clock_take(&lane->clock, planned.n, planned.seconds, planned.top_mm_s)) {
        return no_memory(err);
    }
    if (lane->batcher && !po_batcher_moves(lane->batcher, m)) {
        return no_memory(err);
    }
    if (limits) {
        po_planner_limits(lane->planner, &lane->state.limits);
    }
    po_moves_reset(m, &lane->state);
    return PO_OK;
}

po_status po_lane_lines(po_lane *lane, const po_line *lines, size_t n, po_err *err)
{
    po_moves *m = lane->block;
    for (size_t i = 0; i < n; i++) {
        const size_t before = m->n;
        if (!lane->counting) { /* what was said before the first bead */
            bool units = lane->state.units_said, mode = lane->state.mode_said;
            po_state_line(&lane->state, &lines[i], m);
            for (size_t k = before; k < m->n; k++) {
                lane->counting |= (m->kind[k] & PO_MOVE_BEAD) != 0;
            }
            lane->sets_units = units;
            lane->sets_mode = mode;
        } else {
            po_state_line(&lane->state, &lines[i], m);
        }
        if (m->n >= FLUSH_MOVES || po_moves_full(m)) {
            po_status status = flush(lane, err);
            if (status != PO_OK) {
                return status;
            }
        }
    }
    return PO_OK;
}

po_status po_lane_finish(po_lane *lane, po_err *err)
{
    po_status status = flush(lane, err);
    if (status != PO_OK) {
        return status;
    }
    /* what stands after the last move must wait for its time, too */
    po_planned planned;
    status = po_planner_finish(lane->planner, &planned, err);
    if (status != PO_OK) {
        return status;
    }
    if (!po_clock_take(&lane->clock, planned.n, planned.seconds, planned.top_mm_s)) {
        return no_memory(err);
    }
    po_clock_finish(&lane->clock);
    lane->finished = true;
    return lane->clock.failed ? no_memory(err) : PO_OK;
}
