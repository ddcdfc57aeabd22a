/* Sums over moves. SPDX-License-Identifier: Apache-2.0
 *
 * Quantities: docs/measures.md, "Interpreter" (kinds, counts), "Filament, volume, mass" (highest net feed), "Layers and
 * beads" (bounds). One plain loop over the moves between two happenings; whatever is rare (arcs, retractions, cold
 * nozzles) is taken out of it. Bounds of beads are gathered over runs of one height. */
#include "job/tally.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TALL_MM 1.0         /* material below this is no obstacle for homing: skirts, first layers */
#define NEAR_BED_MM 1.0     /* a job begins there */
#define COOLING_FEED_MM 2.0 /* a nozzle that was just switched off still melts the last of it */
#define BIN_MM 0.5
#define LIFT_MM 2.0 /* a lift that ends a job; hops within one are lower */

static int slot(int tool)
{
    return tool < 0 ? 0 : tool < PO_TOOL_SLOTS ? tool : PO_TOOL_SLOTS - 1;
}

static const po_heat_facts NO_HEAT = {NAN, NAN, NAN};

bool po_tally_init(po_tally *t, po_clock *clock, const po_job_setup *const *machines, size_t n_machines)
{
    memset(t, 0, sizeof *t);
    t->clock = clock;
    t->machines = calloc(n_machines, sizeof *t->machines);
    t->tools = calloc(PO_TOOL_SLOTS, sizeof *t->tools);
    if (!t->machines || !t->tools) {
        po_tally_done(t);
        return false;
    }
    t->n_machines = n_machines;
    for (int i = 0; i < PO_TOOL_SLOTS; i++) {
        t->coldest_limit[i] = -INFINITY;
        t->tools[i].command_c = NAN;
        t->tools[i].nozzle_c = NO_HEAT;
        t->tools[i].passed = -1;
    }
    for (size_t i = 0; i < n_machines; i++) {
        const po_machine *machine = machines[i]->machine;
        t->machines[i].setup = machines[i];
        for (int a = 0; a < 2; a++) {
            t->machines[i].bed[a][0] = machine->origin_centre ? -machine->bed_mm[a] / 2 : 0;
            t->machines[i].bed[a][1] = t->machines[i].bed[a][0] + machine->bed_mm[a];
        }
        for (size_t k = 0; k < machine->n_nozzles && k < PO_MAX_TOOLS; k++) {
            t->coldest_limit[k] = fmax(t->coldest_limit[k], machines[i]->materials[k]->cold_below_c);
        }
    }
    po_box_empty(&t->beads);
    po_box_empty(&t->travels);
    po_box_empty(&t->tall);
    t->nozzle_c = t->bed_c = t->fan_percent = NO_HEAT;
    t->bed_command_c = NAN;
    t->heated_tool = -1;
    return true;
}

void po_tally_done(po_tally *t)
{
    free(t->machines);
    free(t->tools);
    free(t->questions);
    t->machines = NULL;
    t->tools = NULL;
    t->questions = NULL;
}

void po_tally_ask(po_tally *t, uint64_t move, uint64_t event, double *dest)
{
    for (size_t i = 0; i < t->n_questions; i++) {
        if (t->questions[i].dest == dest) { /* only the last answer counts */
            t->questions[i].move = move;
            t->questions[i].event = event;
            return;
        }
    }
    if (t->n_questions == t->cap_questions) {
        size_t cap = t->cap_questions ? t->cap_questions * 2 : 32;
        struct po_question *more = realloc(t->questions, cap * sizeof *more);
        if (!more) {
            t->failed = true;
            return;
        }
        t->questions = more;
        t->cap_questions = cap;
    }
    t->questions[t->n_questions++] = (struct po_question){move, event, dest};
}

static int by_move(const void *a, const void *b)
{
    const struct po_question *p = a, *q = b;
    return p->move != q->move ? (p->move < q->move ? -1 : 1) : p->event < q->event ? -1 : p->event > q->event;
}

static void ask_clock(po_tally *t)
{
    if (t->n_questions) {
        qsort(t->questions, t->n_questions, sizeof *t->questions, by_move);
        for (size_t i = 0; i < t->n_questions; i++) {
            t->failed |= !po_clock_ask(t->clock, t->questions[i].move, t->questions[i].event, t->questions[i].dest);
        }
        t->n_questions = 0;
    }
}

/* Whoever asked for `from` now wants it in `to`. */
static void redirect(po_tally *t, const double *from, double *to)
{
    po_clock_redirect(t->clock, from, to);
    for (size_t i = 0; i < t->n_questions; i++) {
        if (t->questions[i].dest == from) {
            t->questions[i].dest = to;
        }
    }
}

/* Count a sighting whose time is asked for. */
static void see(po_tally *t, po_sighting *s, po_place at, uint64_t move, double worst)
{
    bool first = s->count == 0;
    bool is_worst = po_seen(s, at, worst, 0);
    uint64_t event = t->clock->events_queued;
    if (first) {
        po_tally_ask(t, move, event, &s->first.seconds);
    }
    if (is_worst) {
        po_tally_ask(t, move, event, &s->worst_at.seconds);
    }
}

void po_arc_box(const struct po_arc_shape *shape, double x0, double y0, po_box *box)
{
    double r = hypot(x0 - shape->cx, y0 - shape->cy), a0 = atan2(y0 - shape->cy, x0 - shape->cx);
    double low = shape->turn < 0 ? a0 + shape->turn : a0, high = shape->turn < 0 ? a0 : a0 + shape->turn;
    for (int k = -8; k <= 8; k++) { /* quarter turns, from -4 pi to 4 pi */
        double a = k * (M_PI / 2);
        if (a >= low && a <= high) {
            double x = shape->cx + (k % 4 == 0 ? r : k % 2 == 0 ? -r : 0);
            double y = shape->cy + (k % 2 == 0 ? 0 : ((k % 4) + 4) % 4 == 1 ? r : -r);
            box->min[0] = fmin(box->min[0], x);
            box->max[0] = fmax(box->max[0], x);
            box->min[1] = fmin(box->min[1], y);
            box->max[1] = fmax(box->max[1], y);
        }
    }
}

/* A move of filament that goes back, or goes over what passed the drive before. */
static void drive(po_tally *t, const po_moves *m, size_t i, uint64_t move, double net, double most)
{
    po_tool_tally *tool = &t->tools[slot(t->tool)];
    double de = m->de[i];
    int64_t reached = (int64_t)floor(most / BIN_MM - 0.5); /* bins are counted when their middle passes */
    if (reached > tool->passed) {
        int64_t from = tool->passed + 1;
        from = reached - from >= PO_DRIVE_BINS ? reached - PO_DRIVE_BINS + 1 : from;
        for (int64_t k = from; k <= reached; k++) {
            tool->passes[k & (PO_DRIVE_BINS - 1)] = 1;
        }
        tool->passed = reached;
    }
    if (de < 0) {
        if (t->back_bead != t->last_bead) { /* a bead since: the longest until then counts */
            po_sighting *s = &t->sights[PO_SIGHT_RETRACTS_FAR];
            if (t->back_most > 0 && po_seen(s, t->back_at, t->back_most, 0)) {
                redirect(t, &t->back_at.seconds, &s->worst_at.seconds);
            }
            t->back_most = t->back_mm = 0;
            t->back_bead = t->last_bead;
        }
        t->back_mm -= de;
        if (t->back_mm > t->back_most) {
            t->back_most = t->back_mm;
            t->back_at = po_place_at(m->line[i], m->x[i], m->y[i], m->z[i], NAN);
            if (t->back_mm > t->sights[PO_SIGHT_RETRACTS_FAR].worst) {
                po_tally_ask(t, move, t->clock->events_queued, &t->back_at.seconds);
            }
        }
        return;
    }
    if (de > 0) {
        t->back_mm = 0;
        double end = net + de < most ? net + de : most;
        int64_t from = (int64_t)floor(net / BIN_MM - 0.5) + 1, to = (int64_t)floor(end / BIN_MM - 0.5);
        from = from > tool->passed - PO_DRIVE_BINS + 1 ? from : tool->passed - PO_DRIVE_BINS + 1;
        unsigned worst = 0;
        for (int64_t k = from; k <= to; k++) {
            uint16_t *p = &tool->passes[k & (PO_DRIVE_BINS - 1)];
            *p = (uint16_t)(*p + (*p < UINT16_MAX));
            worst = *p > worst ? *p : worst;
        }
        if (worst > 2) { /* back and forth once is every retraction */
            see(t, &t->sights[PO_SIGHT_GRINDS], po_place_at(m->line[i], m->x[i], m->y[i], m->z[i], NAN), move,
                (double)worst);
        }
    }
}

static void heat_facts(po_heat_facts *f, double c)
{
    if (!isnan(c)) {
        f->first = isnan(f->first) ? c : f->first;
        f->lowest = fmin(f->lowest, c); /* fmin leaves NAN out */
        f->highest = fmax(f->highest, c);
    }
}

/* New filament was pushed between two happenings although the nozzle is not commanded hot enough for some machine. */
static void cold(po_tally *t, const po_moves *m, size_t from, size_t to, uint64_t first, double net, double most,
                 double pushed)
{
    int number = t->tool < 0 ? 0 : t->tool;
    po_tool_tally *tool = &t->tools[slot(number)];
    size_t at = to;
    for (size_t i = from; i < to; i++) {
        net += m->de[i];
        if (net > most) {
            at = i;
            break;
        }
    }
    if (at == to) {
        return;
    }
    po_place place = po_place_at(m->line[at], m->x[at], m->y[at], m->z[at], NAN);
    bool never = isnan(tool->command_c);
    tool->cold_mm += pushed;
    for (size_t k = 0; k < t->n_machines; k++) {
        po_machine_tally *machine = &t->machines[k];
        if ((size_t)number >= machine->setup->machine->n_nozzles || number >= PO_MAX_TOOLS) {
            continue; /* it has no such nozzle */
        }
        if (never) {
            see(t, &machine->sights[PO_SIGHT_NEVER_HEATED], place, first + at, 0);
        } else if (tool->command_c < machine->setup->materials[number]->cold_below_c &&
                   (tool->command_c > 0 || !tool->was_hot || tool->cold_mm > COOLING_FEED_MM)) {
            see(t, &machine->sights[PO_SIGHT_PUSHES_COLD], place, first + at, -tool->command_c);
        }
    }
}

/* Beads after a shutdown: does another job begin? */
static void after_shutdown(po_tally *t, const po_moves *m, size_t from, size_t to, uint64_t first)
{
    for (size_t i = from; i < to; i++) {
        if (m->kind[i] & PO_MOVE_BEAD) {
            if (m->z[i] <= NEAR_BED_MM) {
                see(t, &t->sights[PO_SIGHT_TWO_JOBS], po_place_at(m->line[i], m->x[i], m->y[i], m->z[i], NAN),
                    first + i, 0);
            }
            t->shut_down = false;
            return;
        }
    }
}

static void needs_tool(po_tally *t, const po_moves *m, size_t from, size_t to, uint64_t first)
{
    size_t i = from;
    while (i < to && !(m->kind[i] & PO_MOVE_BEAD)) {
        i++;
    }
    for (size_t k = 0; k < t->n_machines && i < to; k++) {
        po_machine_tally *machine = &t->machines[k];
        if (t->tool >= 0 && (size_t)t->tool >= machine->setup->machine->n_nozzles) {
            see(t, &machine->sights[PO_SIGHT_NEEDS_TOOL], po_place_at(m->line[i], m->x[i], m->y[i], m->z[i], NAN),
                first + i, t->tool);
        }
    }
}

/* What a block adds to, kept in registers while its loops run. */
typedef struct sums {
    po_box beads, travels, tall, others;
    double at[3];
    uint64_t counted, retractions;
    double travel_mm;
    size_t last_bead; /* SIZE_MAX = none */
    size_t arc;
} sums;

static void close_run(sums *b, double x_low, double x_high, double y_low, double y_high, double z_low, double z_high)
{
    if (x_low <= x_high) {
        const po_box run = {{x_low, y_low, z_low}, {x_high, y_high, z_high}};
        po_box_join(&b->beads, &run);
        if (z_high > TALL_MM) {
            po_box_join(&b->tall, &run);
        }
    }
}

/* The moves [from, to), between which nothing happens. */
static void stretch(po_tally *t, const po_moves *m, size_t from, size_t to, uint64_t first, sums *b)
{
    if (from >= to) {
        return;
    }
    po_tool_tally *tool = &t->tools[slot(t->tool)];
    const double net0 = tool->net, most0 = tool->most;
    double net = net0, most = most0, extruding = 0, travel_mm = 0;
    double px = b->at[0], py = b->at[1], pz = b->at[2];
    double x_low = INFINITY, x_high = -INFINITY, y_low = INFINITY, y_high = -INFINITY, z_low = pz, z_high = pz;
    uint64_t counted = 0, retractions = 0;
    size_t last_bead = SIZE_MAX, n_beads = 0;
    bool joined = false; /* the move before was a bead of this run: its end is in the run's bounds */
    for (size_t i = from; i < to; i++) {
        const unsigned kind = m->kind[i];
        const double x = m->x[i], y = m->y[i], z = m->z[i], de = m->de[i];
        counted += kind / PO_MOVE_COUNTED & 1;
        retractions += kind / PO_MOVE_RETRACT & 1;
        if (z != pz) {
            close_run(b, x_low, x_high, y_low, y_high, z_low, z_high);
            x_low = y_low = INFINITY;
            x_high = y_high = -INFINITY;
            z_low = z_high = z;
            joined = false;
        }
        if (kind & PO_MOVE_BEAD) {
            extruding += m->length[i];
            last_bead = i;
            n_beads++;
            if (!joined) {
                x_low = px < x_low ? px : x_low;
                x_high = px > x_high ? px : x_high;
                y_low = py < y_low ? py : y_low;
                y_high = py > y_high ? py : y_high;
                z_low = pz < z_low ? pz : z_low;
                z_high = pz > z_high ? pz : z_high;
                joined = true;
            }
            x_low = x < x_low ? x : x_low;
            x_high = x > x_high ? x : x_high;
            y_low = y < y_low ? y : y_low;
            y_high = y > y_high ? y : y_high;
            if (kind & PO_MOVE_ARC) {
                po_box box = {{x_low, y_low, z_low}, {x_high, y_high, z_high}};
                po_arc_box(&m->shapes[b->arc++], px, py, &box);
                x_low = box.min[0];
                x_high = box.max[0];
                y_low = box.min[1];
                y_high = box.max[1];
            }
        } else {
            joined = false;
            if (kind & PO_MOVE_TRAVEL) {
                po_box box = {{x < px ? x : px, y < py ? y : py, z < pz ? z : pz},
                              {x > px ? x : px, y > py ? y : py, z > pz ? z : pz}};
                if (kind & PO_MOVE_ARC) {
                    po_arc_box(&m->shapes[b->arc++], px, py, &box);
                }
                /* E with Z alone is a feed (docs/measures.md), though the planner takes it for a travel */
                if (de != 0 && m->dx[i] == 0 && m->dy[i] == 0 && !(kind & PO_MOVE_ARC)) {
                    po_box_join(&b->others, &box);
                } else {
                    travel_mm += m->length[i];
                    po_box_join(&b->travels, &box);
                }
            }
        }
        if (de != 0) {
            if (de < 0 || net < most) {
                tool->used = true;
                t->last_bead = last_bead != SIZE_MAX ? first + last_bead + 1 : t->last_bead;
                drive(t, m, i, first + i, net, most);
            }
            net += de;
            most = net > most ? net : most;
        }
        px = x;
        py = y;
        pz = z;
    }
    close_run(b, x_low, x_high, y_low, y_high, z_low, z_high);
    b->at[0] = px;
    b->at[1] = py;
    b->at[2] = pz;
    b->counted += counted;
    b->retractions += retractions;
    b->travel_mm += travel_mm;
    tool->net = net;
    tool->most = most;
    tool->extruding += extruding;
    if (most > most0) {
        tool->used = true;
        if (isnan(tool->command_c) || tool->command_c < t->coldest_limit[slot(t->tool)]) {
            cold(t, m, from, to, first, net0, most0, most - most0);
        }
    }
    if (n_beads) {
        b->last_bead = last_bead;
        t->last_bead = first + last_bead + 1;
        t->last_bead_line = m->line[last_bead];
        t->last_bead_z = m->z[last_bead];
        tool->laid = true;
        t->any_bead = true;
        heat_facts(&tool->nozzle_c, tool->command_c);
        heat_facts(&t->nozzle_c, tool->command_c);
        heat_facts(&t->bed_c, t->bed_command_c);
        heat_facts(&t->fan_percent, t->fan);
        if (t->shut_down) {
            after_shutdown(t, m, from, to, first);
        }
        if (t->tool > 0) {
            needs_tool(t, m, from, to, first);
        }
    }
}

static bool all_off(const po_tally *t)
{
    bool any = false;
    for (int k = 0; k < PO_TOOL_SLOTS; k++) {
        if (t->tools[k].command_c > 0) {
            return false;
        }
        any |= t->tools[k].was_hot;
    }
    return any && !(t->bed_command_c > 0);
}

/* Homing Z, or probing: is something under the nozzle? */
static void home(po_tally *t, const po_event *ev, uint64_t move, const sums *b)
{
    po_box tall = t->tall;
    po_box_join(&tall, &b->tall);
    if (!(tall.min[0] <= tall.max[0])) {
        return;
    }
    for (size_t k = 0; k < t->n_machines; k++) {
        po_machine_tally *machine = &t->machines[k];
        const double *at_home = machine->setup->machine->home_mm;
        double x = ev->bits & 1 ? at_home[0] : b->at[0], y = ev->bits & 2 ? at_home[1] : b->at[1];
        bool touches = at_home[2] <= TALL_MM; /* homes downwards, onto the bed */
        bool over = x >= tall.min[0] && x <= tall.max[0] && y >= tall.min[1] && y <= tall.max[1];
        if (ev->kind == PO_EV_PROBE || ((ev->bits & 4) && touches && over)) {
            see(t, &machine->sights[PO_SIGHT_HOMES_INTO_PART], po_place_at(ev->line, x, y, NAN, NAN), move, 0);
        }
    }
}

static void nozzle(po_tally *t, const po_event *ev, uint64_t move)
{
    if (isnan(ev->value)) {
        return;
    }
    po_tool_tally *tool = &t->tools[slot(ev->tool)];
    if (ev->value > 0) {
        tool->used = tool->was_hot = true;
    }
    tool->command_c = ev->value;
    tool->cold_mm = 0;
    for (size_t k = 0; k < t->n_machines; k++) {
        po_machine_tally *machine = &t->machines[k];
        const po_machine *at = machine->setup->machine;
        if (ev->tool >= 0 && (size_t)ev->tool < at->n_nozzles && ev->value > at->nozzles[ev->tool].hottest_c) {
            see(t, &machine->sights[PO_SIGHT_NOZZLE_TOO_HOT], po_place_at(ev->line, NAN, NAN, ev->z, NAN), move,
                ev->value);
        }
    }
}

static void bed(po_tally *t, const po_event *ev, uint64_t move)
{
    if (isnan(ev->value)) {
        return;
    }
    t->bed_command_c = ev->value;
    t->bed_was_hot |= ev->value > 0;
    for (size_t k = 0; k < t->n_machines; k++) {
        po_machine_tally *machine = &t->machines[k];
        if (ev->value > machine->setup->machine->bed_hottest_c) {
            see(t, &machine->sights[PO_SIGHT_BED_TOO_HOT], po_place_at(ev->line, NAN, NAN, ev->z, NAN), move,
                ev->value);
        }
    }
}

static void happening(po_tally *t, const po_event *ev, uint64_t move, sums *b)
{
    bool for_clock = true, end_sign = false;
    switch (ev->kind) {
    case PO_EV_NOZZLE:
        nozzle(t, ev, move);
        end_sign = ev->value == 0;
        break;
    case PO_EV_BED:
        bed(t, ev, move);
        end_sign = ev->value == 0;
        break;
    case PO_EV_FAN:
        t->fan = ev->value;
        for_clock = false;
        break;
    case PO_EV_HOME:
        home(t, ev, move, b);
        t->homes |= !t->any_bead;
        for (int a = 0; a < 3; a++) {
            if (ev->bits & 1 << a) {
                b->at[a] = t->machines[0].setup->machine->home_mm[a];
            }
        }
        end_sign = true;
        break;
    case PO_EV_PROBE:
        home(t, ev, move, b);
        t->probes |= !t->any_bead;
        t->probed = true;
        break;
    case PO_EV_TOOL:
        t->tool = ev->tool;
        t->back_mm = t->back_most = 0; /* filament pulled back for a change of tool is no retraction within a job */
        break;
    case PO_EV_HANDS:
        t->back_mm = t->back_most = 0; /* nor is it for a change of filament */
        end_sign = true;
        break;
    case PO_EV_MOTORS_OFF:
        end_sign = true;
        for_clock = false;
        break;
    case PO_EV_DWELL:
        break;
    default:
        for_clock = false;
        break;
    }
    if (ev->kind == PO_EV_TOOL || (ev->kind == PO_EV_NOZZLE && ev->value > 0)) {
        if (ev->tool > t->heated_tool) {
            t->heated_tool = ev->tool;
            t->heated_line = ev->line;
        }
    }
    if (end_sign) {
        t->end_signs = move;
        t->any_end_sign = true;
        t->shut_down |= (ev->kind == PO_EV_NOZZLE || ev->kind == PO_EV_BED) && t->any_bead && all_off(t);
    }
    if (for_clock) {
        t->failed |= !po_clock_event(t->clock, ev, move);
    }
}

static uint64_t bits_of(double v)
{
    uint64_t u;
    memcpy(&u, &v, sizeof u);
    return u;
}

/* What lanes of one deposit must have in common: beads, and the travels between them. */
static void hash_moves(po_tally *t, const po_moves *m)
{
    uint64_t hash = t->hash, travel = t->hash_travel;
    for (size_t i = 0; i < m->n; i++) {
        uint64_t v = bits_of(m->x[i]) * 0x9e3779b97f4a7c15u + bits_of(m->y[i]) * 0xc2b2ae3d27d4eb4fu +
                     bits_of(m->z[i]) * 0x165667b19e3779f9u + bits_of(m->dx[i]) * 0xd6e8feb86659fd93u +
                     bits_of(m->dy[i]) * 0xa0761d6478bd642fu + bits_of(m->dz[i]) * 0xe7037ed1a0b428dbu + m->line[i];
        if (m->kind[i] & PO_MOVE_BEAD) {
            v += bits_of(m->de[i]) * 0x8ebc6af09c88c6e3u;
            hash = (hash ^ travel ^ v) * 0x589965cc75374cc3u;
            hash ^= hash >> 32;
            travel = 0;
        } else if (hash && (m->kind[i] & PO_MOVE_TRAVEL)) { /* how the first bead is reached does not matter */
            travel = (travel ^ v) * 0x1d8e4e27c47d124fu;
            travel ^= travel >> 32;
        }
    }
    t->hash = hash;
    t->hash_travel = travel;
}

bool po_tally_block(po_tally *t, const po_moves *m)
{
    sums b = {.at = {m->x0, m->y0, m->z0}, .last_bead = SIZE_MAX};
    po_box_empty(&b.beads);
    po_box_empty(&b.travels);
    po_box_empty(&b.tall);
    po_box_empty(&b.others);
    const uint64_t first = t->n_moves;
    if (!po_clock_moves(t->clock, m->kind, m->line, m->n)) {
        return false;
    }
    size_t from = 0;
    for (size_t e = 0; e < m->n_events; e++) {
        size_t to = m->events[e].before < m->n ? m->events[e].before : m->n;
        stretch(t, m, from, to, first, &b);
        from = to > from ? to : from;
        happening(t, &m->events[e], first + from, &b);
    }
    stretch(t, m, from, m->n, first, &b);
    t->n_moves += m->n;
    t->n_counted += b.counted;
    t->n_retractions += b.retractions;
    t->travel_mm += b.travel_mm;
    po_box_join(&t->beads, &b.beads);
    po_box_join(&t->travels, &b.travels);
    po_box_join(&t->tall, &b.tall);
    if (m->n) {
        po_box all = b.others;
        po_box_join(&all, &b.beads);
        po_box_join(&all, &b.travels);
        if (t->last_bead && m->z[m->n - 1] >= t->last_bead_z + LIFT_MM) {
            t->end_signs = t->n_moves; /* the nozzle is lifted away */
            t->any_end_sign = true;
        }
        po_tally_room(t, m, first, &all, &b.beads, b.last_bead);
        if (t->hashing) {
            hash_moves(t, m);
        }
    }
    ask_clock(t);
    return !t->failed && !t->clock->failed;
}
