/* Cuts moves into batches of one height. SPDX-License-Identifier: Apache-2.0 */
#include "job/batcher.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NEAR ((float)PO_HEIGHT_NEAR_UM / 1000)
#define CHORD_ERROR_MM 0.01 /* an arc's chords lie within this of it */
#define RAMP_PIECE_MM 0.02  /* a piece of a ramp is taken as flat at its middle */
/* before a layer height is known: a ramp off the bed may be a thick first layer; a climb from the bed on is cut often */
#define FLAT_START_MM 2.0f
#define UNKNOWN_RAMP_MM 0.5f
#define UNKNOWN_STEP_MM 0.2f
enum { MOST_PIECES = 2048 }; /* of one move */

po_batch *po_batch_new(size_t n_lanes)
{
    po_batch *b = calloc(1, sizeof *b);
    if (b) {
        b->times = calloc(n_lanes ? n_lanes : 1, sizeof *b->times);
        b->n_times = n_lanes;
        if (!b->times) {
            free(b);
            b = NULL;
        }
    }
    return b;
}

static void free_times(po_batch *b)
{
    for (size_t i = 0; i < b->n_times; i++) {
        free(b->times[i].start);
        free(b->times[i].seconds);
        free(b->times[i].top_mm_s);
        memset(&b->times[i], 0, sizeof b->times[i]);
    }
}

void po_batch_free(po_batch *b)
{
    if (b) {
        free_times(b);
        free(b->times);
        free(b->beads);
        free(b->passings);
        free(b);
    }
}

void po_batch_empty(po_batch *b)
{
    b->n_beads = b->n_passings = 0;
    b->z_low = b->z_high = 0;
    b->climbing = b->continues = b->settled = false;
    b->last_line = 0;
}

bool po_batch_times(po_batch *b)
{
    if (b->cap_times >= b->n_beads) {
        return true;
    }
    free_times(b);
    b->cap_times = b->cap_beads;
    for (size_t i = 0; i < b->n_times; i++) {
        b->times[i].start = malloc(b->cap_times * sizeof(double));
        b->times[i].seconds = malloc(b->cap_times * sizeof(float));
        b->times[i].top_mm_s = malloc(b->cap_times * sizeof(float));
        if (!b->times[i].start || !b->times[i].seconds || !b->times[i].top_mm_s) {
            b->cap_times = 0;
            return false;
        }
    }
    return true;
}

void po_batcher_init(po_batcher *b, const double *filament_mm, size_t n_tools, po_batch *first, po_batch_taker take,
                     void *user)
{
    memset(b, 0, sizeof *b);
    for (size_t i = 0; i < PO_MAX_TOOLS; i++) {
        double d = filament_mm[i < n_tools ? i : n_tools - 1];
        b->filament_area[i] = M_PI / 4 * d * d;
        b->nozzle_c[i] = NAN;
    }
    b->take = take;
    b->user = user;
    b->now = first;
    b->new_chain = true;
    b->highest = -1e9f;
}

static bool hand_over(po_batcher *b, bool continues)
{
    po_batch *full = b->now;
    if (full->n_beads && full->z_high > b->highest) {
        b->highest = full->z_high;
    }
    full->filament_mm = 0;
    for (int t = 0; t < PO_MAX_TOOLS; t++) {
        full->filament_mm += b->most[t];
    }
    bool climbing = full->climbing;
    float z = full->z_high;
    b->now = b->take(full, b->user);
    if (!b->now) {
        b->failed = true;
        return false;
    }
    po_batch_empty(b->now);
    b->now->continues = continues;
    b->now->climbing = continues && climbing;
    b->climb_from = z;
    b->flat = false;
    return true;
}

static po_bead *add_bead(po_batcher *b)
{
    po_batch *now = b->now;
    if (now->n_beads == now->cap_beads) {
        size_t cap = now->cap_beads ? now->cap_beads * 2 : 512;
        po_bead *more = realloc(now->beads, cap * sizeof *more);
        if (!more) {
            b->failed = true;
            return NULL;
        }
        now->beads = more;
        now->cap_beads = cap;
    }
    return &now->beads[now->n_beads++];
}

static void add_passing(po_batcher *b, const double from[3], const double to[3], uint64_t line, bool blind)
{
    po_batch *now = b->now;
    if (now->n_passings == now->cap_passings) {
        size_t cap = now->cap_passings ? now->cap_passings * 2 : 64;
        po_passing *more = cap > PO_BATCH_MOST ? NULL : realloc(now->passings, cap * sizeof *more);
        if (!more) {
            return; /* beyond a quarter of a million low travels at one height the rest adds nothing */
        }
        now->passings = more;
        now->cap_passings = cap;
    }
    now->passings[now->n_passings++] = (po_passing){(float)from[0], (float)from[1],         (float)from[2],
                                                    (float)to[0],   (float)to[1],           (float)to[2],
                                                    line,           (uint32_t)now->n_beads, blind};
}

/* Whether a bead that ends at z1 (begun at z0) belongs to another height than the batch. */
static bool cuts(po_batcher *b, float z0, float z1)
{
    po_batch *now = b->now;
    if (now->n_beads == 0) {
        return false;
    }
    if (now->n_beads >= PO_BATCH_MOST) {
        return true;
    }
    float step = b->usual_step > 0 ? b->usual_step : now->continues ? UNKNOWN_STEP_MM : UNKNOWN_RAMP_MM;
    if (fabsf(z1 - z0) <= 1e-4f) { /* flat; after a ramp: the ramp belongs to the height it ends at */
        return fabsf(z1 - (b->flat ? b->flat_z : now->z_high)) > NEAR;
    }
    float low = fminf(z0, z1), high = fmaxf(z0, z1);
    if (b->flat) { /* a ramp into this very height, such as the ramped start of a loop */
        return !(high <= b->flat_z + 1e-3f && low >= b->flat_z - 1.05f * step - NEAR);
    }
    /* A ramp of at most a layer belongs to the height it ends at; a steady climb is cut every half layer, so that a batch
     * never lies over itself. */
    float most = now->continues ? 0.5f * step + 1e-4f : step + 0.003f;
    return high - b->climb_from > most || low < b->climb_from - NEAR;
}

/* A ramp may begin with a bead or two that are flat: a batch of no more than those, in the same chain, is no height. */
static bool begins_ramp(const po_batcher *b, const po_bead *bead)
{
    const po_batch *now = b->now;
    float length = 0;
    if (now->n_beads == 0 || now->n_beads > 3 || (bead->flags & PO_BEAD_CHAIN) || bead->z1 <= bead->z0) {
        return false;
    }
    for (size_t i = 0; i < now->n_beads; i++) {
        length += now->beads[i].length;
    }
    return length < FLAT_START_MM;
}

static void put(po_batcher *b, const po_bead *bead)
{
    float z1 = bead->z1, z0 = bead->z0;
    bool ramp = fabsf(z1 - z0) > 1e-4f;
    if (ramp && b->flat && begins_ramp(b, bead)) {
        b->flat = b->now->settled = false; /* the short flat start of a ramp */
        b->climb_from = b->now->z_low;
    }
    if (cuts(b, z0, z1)) {
        bool same = b->now->n_beads >= PO_BATCH_MOST || (ramp && !b->flat && z0 >= b->climb_from - NEAR);
        if (b->flat) {
            b->last_flat = b->now->z_high;
        }
        if (!hand_over(b, same)) {
            return;
        }
    }
    po_batch *now = b->now;
    po_bead *p = add_bead(b);
    if (!p) {
        return;
    }
    *p = *bead;
    if (now->n_beads == 1) {
        p->flags |= PO_BEAD_CHAIN;
        now->z_low = fminf(z0, z1);
        now->z_high = fmaxf(z0, z1);
        b->climb_from = ramp ? now->z_low : z1;
    } else {
        now->z_low = fminf(now->z_low, fminf(z0, z1));
        now->z_high = fmaxf(now->z_high, fmaxf(z0, z1));
    }
    if (ramp && !b->flat) {
        now->climbing = true;
    } else if (!ramp && !b->flat && (!now->climbing || (bead->flags & PO_BEAD_CHAIN))) {
        /* Flat beads among a climb are rounding of the file's numbers; a flat chain settles the height. */
        b->flat = now->settled = true;
        b->flat_z = z1;
        float step = z1 - b->last_flat;
        if (step > 0.02f && step < 2) {
            b->usual_step = step;
        }
    }
    now->last_line = bead->line;
}

/* The next share of an arc, after `after`, at which it crosses a multiple of a quarter turn; 2 when there is none. */
static double next_quarter(double a0, double turn, double after)
{
    double now = a0 + turn * after, step = M_PI / 2;
    double next = turn > 0 ? (floor(now / step + 1e-9) + 1) * step : (ceil(now / step - 1e-9) - 1) * step;
    double t = (next - a0) / turn;
    return t < 1 ? t : 2;
}

static void bead_move(po_batcher *b, const po_moves *m, size_t i, const double from[3], size_t *arc)
{
    bool is_arc = m->kind[i] & PO_MOVE_ARC;
    double dz = m->dz[i], length = m->length[i];
    int tool = b->tool < 0 ? 0 : b->tool;
    int slot = tool < PO_MAX_TOOLS ? tool : PO_MAX_TOOLS - 1;
    po_bead bead = {
        .length = (float)length,
        .area = (float)(m->de[i] * b->filament_area[slot] / length),
        .share = 1,
        .nozzle_c = (float)b->nozzle_c[slot],
        .tool = (uint8_t)(tool > 255 ? 255 : tool),
        .fan_percent = (uint8_t)(b->fan_percent + 0.5),
        .line = m->line[i],
        .flags = (uint8_t)((b->new_chain ? PO_BEAD_CHAIN : 0) | (length > 1 ? PO_BEAD_LONG : 0)),
    };
    b->new_chain = false;
    if (fabs(dz) > 1e-4) {
        bead.flags |= (uint8_t)(PO_BEAD_RAMP | (dz > 0 ? PO_BEAD_CLIMB : 0));
    }
    double pieces = 1;
    const struct po_arc_shape *shape = NULL;
    if (is_arc) {
        shape = &m->shapes[*arc];
        double r = m->arcs[*arc].radius;
        double step = r > CHORD_ERROR_MM ? 2 * acos(1 - CHORD_ERROR_MM / r) : M_PI / 2;
        pieces = ceil(fabs(shape->turn) / step);
    }
    if (bead.flags & PO_BEAD_RAMP) {
        pieces = fmax(pieces, ceil(fabs(dz) / RAMP_PIECE_MM));
    }
    pieces = fmin(fmax(pieces, 1), MOST_PIECES);
    int n = (int)pieces;
    if (n == 1) {
        bead.x0 = (float)from[0];
        bead.y0 = (float)from[1];
        bead.z0 = (float)from[2];
        bead.x1 = (float)m->x[i];
        bead.y1 = (float)m->y[i];
        bead.z1 = (float)m->z[i];
        put(b, &bead);
        return;
    }
    double px = from[0], py = from[1], pz = from[2];
    double r = 0, a0 = 0;
    if (is_arc) {
        r = hypot(px - shape->cx, py - shape->cy);
        a0 = atan2(py - shape->cy, px - shape->cx);
    }
    /* where the pieces end, in 0..1 of the move; an arc also where it is furthest in x or y, so that bounds are exact */
    double at[MOST_PIECES + 8];
    at[0] = 0;
    int m_at = 1;
    double quarter = is_arc ? next_quarter(a0, shape->turn, 0) : 2;
    for (int k = 1; k <= n; k++) {
        double t = k == n ? 1 : (double)k / n;
        while (quarter < t - 1e-9) {
            if (quarter > at[m_at - 1] + 1e-9 && m_at < MOST_PIECES + 6) {
                at[m_at++] = quarter;
            }
            quarter = next_quarter(a0, shape->turn, quarter);
        }
        at[m_at++] = t;
    }
    n = m_at - 1;
    for (int k = 1; k <= n && !b->failed; k++) {
        double t = at[k], qx, qy, qz = from[2] + dz * t;
        if (k == n) {
            qx = m->x[i];
            qy = m->y[i];
            qz = m->z[i];
        } else if (is_arc) {
            qx = shape->cx + r * cos(a0 + shape->turn * t);
            qy = shape->cy + r * sin(a0 + shape->turn * t);
        } else {
            qx = from[0] + m->dx[i] * t;
            qy = from[1] + m->dy[i] * t;
        }
        bead.x0 = (float)px;
        bead.y0 = (float)py;
        bead.z0 = (float)pz;
        bead.x1 = (float)qx;
        bead.y1 = (float)qy;
        bead.z1 = (float)qz;
        bead.from = (float)at[k - 1];
        bead.share = (float)(at[k] - at[k - 1]);
        bead.length = (float)(length * (at[k] - at[k - 1]));
        put(b, &bead);
        bead.flags &= (uint8_t)~PO_BEAD_CHAIN;
        bead.flags |= PO_BEAD_PIECE;
        px = qx;
        py = qy;
        pz = qz;
    }
}

static void event(po_batcher *b, const po_event *ev)
{
    switch (ev->kind) {
    case PO_EV_NOZZLE:
        if (ev->tool >= 0 && ev->tool < PO_MAX_TOOLS && ev->value >= 0) {
            b->nozzle_c[ev->tool] = ev->value;
        }
        break;
    case PO_EV_FAN:
        b->fan_percent = ev->value;
        break;
    case PO_EV_TOOL:
        b->tool = ev->tool;
        b->new_chain = true;
        break;
    case PO_EV_HOME:
    case PO_EV_PROBE:
        b->new_chain = true;
        break;
    default:
        break;
    }
}

bool po_batcher_moves(po_batcher *b, const po_moves *m)
{
    size_t ev = 0, arc = 0;
    double from[3] = {m->x0, m->y0, m->z0};
    for (size_t i = 0; i < m->n && !b->failed; i++) {
        while (ev < m->n_events && m->events[ev].before <= i) {
            event(b, &m->events[ev++]);
        }
        int slot = b->tool < 0 ? 0 : b->tool < PO_MAX_TOOLS ? b->tool : PO_MAX_TOOLS - 1;
        unsigned kind = m->kind[i];
        if (kind & PO_MOVE_BEAD) {
            bead_move(b, m, i, from, &arc); /* may end the batch before: its filament does not count the new bead */
        } else if (kind & PO_MOVE_TRAVEL) {
            b->new_chain |= m->dx[i] != 0 || m->dy[i] != 0 || (kind & PO_MOVE_ARC);
            double to[3] = {m->x[i], m->y[i], m->z[i]};
            float low = (float)fmin(from[2], to[2]);
            if (low < fmaxf(b->highest, b->now->n_beads ? b->now->z_high : -1e9f) - 0.01f) {
                add_passing(b, from, to, m->line[i], kind & PO_MOVE_BLIND);
            }
        }
        b->net[slot] += m->de[i];
        b->most[slot] = fmax(b->most[slot], b->net[slot]);
        arc += kind & PO_MOVE_ARC ? 1 : 0;
        from[0] = m->x[i];
        from[1] = m->y[i];
        from[2] = m->z[i];
    }
    while (ev < m->n_events) {
        event(b, &m->events[ev++]);
    }
    return !b->failed;
}

bool po_batcher_finish(po_batcher *b)
{
    return !b->failed && hand_over(b, false);
}
