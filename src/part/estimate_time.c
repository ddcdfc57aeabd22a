/* Driving along the beads of one layer. SPDX-License-Identifier: Apache-2.0
 *
 * The order is that of many programs that prepare prints (common practice, no published source): all innermost loops of
 * the layer first, then the next ones outwards, each begun at its corner nearest to the nozzle; then solid and fill,
 * each time the line with the nearest end. Travels are straight. Beads of a layer that would be done too soon are
 * slowed down together. The moves go through the planner (motion/plan.h), so that corners, accelerations and the limits
 * of each axis count as they do for a job. */
#include "part/estimate.h"

#include <math.h>
#include <string.h>

#include "motion/plan.h"

enum { LOOK_AT = 400 }; /* lines of fill that the nearest is chosen from: rows lie in order, so it is there */
static const double LOOK_POINTS = 2e6; /* points that choosing the nearest loops may look at */

typedef struct drive {
    const po_est_plan *plan;
    const po_est_paths *paths;
    po_est_bead bead;
    bool first_layer;
    double slow;
    double x, y;
    /* moves; room for all */
    double *dx, *dy, *dz, *de, *length, *feed;
    uint8_t *kind;
    size_t n;
    po_est_layer *ret;
} drive;

static double wanted_speed(const drive *d, po_est_kind kind)
{
    const po_recipe *r = d->plan->recipe;
    if (d->first_layer) {
        return r->first_layer_mm_s;
    }
    switch (kind) {
    case PO_EST_WALL:
        return r->wall_mm_s;
    case PO_EST_OUTER_WALL:
        return r->wall_mm_s * PO_EST_OUTER;
    default:
        return r->fill_mm_s;
    }
}

static double slowed(const drive *d, double mm_s)
{
    return fmax(mm_s * d->slow, fmin(mm_s, PO_EST_SLOWEST_MM_S));
}

/* ---- moves ---- */

static void add(drive *d, double dx, double dy, double dz, double de, double length, double feed, uint8_t kind)
{
    size_t i = d->n++;
    d->dx[i] = dx;
    d->dy[i] = dy;
    d->dz[i] = dz;
    d->de[i] = de;
    d->length[i] = length;
    d->feed[i] = feed;
    d->kind[i] = kind;
}

static void bead_to(drive *d, double x, double y, double feed)
{
    double dx = x - d->x, dy = y - d->y, mm = hypot(dx, dy);
    if (mm > 1e-6) {
        add(d, dx, dy, 0, mm * d->bead.area / d->plan->filament_mm2, mm, feed, PO_MOVE_BEAD);
        d->x = x;
        d->y = y;
    }
}

static void travel_to(drive *d, double x, double y, bool inside)
{
    const po_machine *m = d->plan->machine;
    double dx = x - d->x, dy = y - d->y, mm = hypot(dx, dy);
    bool pull = mm > (inside ? PO_EST_PULL_INSIDE_MM : PO_EST_PULL_MM) && m->retract_mm > 0;
    if (mm <= 1e-6) {
        return;
    }
    if (pull) {
        add(d, 0, 0, 0, -m->retract_mm, 0, m->retract_mm_s, PO_MOVE_FEED);
    }
    add(d, dx, dy, 0, 0, mm, d->plan->travel_mm_s, PO_MOVE_TRAVEL);
    if (pull) {
        add(d, 0, 0, 0, m->retract_mm, 0, m->retract_mm_s, PO_MOVE_FEED);
    }
    d->ret->travel_mm += mm;
    d->x = x;
    d->y = y;
}

/* Along path i from its point `from`; closed ones all the way round, open ones forward or, from their last point, back.
 * */
static void along(drive *d, size_t i, size_t from)
{
    const po_est_path *p = &d->paths->at[i];
    const double *xy = d->paths->xy + 2 * p->first;
    double feed = slowed(d, wanted_speed(d, p->kind));
    bool back = !p->closed && from > 0;
    travel_to(d, xy[2 * from], xy[2 * from + 1], p->kind == PO_EST_SOLID || p->kind == PO_EST_FILL);
    for (size_t k = 1; k < p->n + (p->closed ? 1 : 0); k++) {
        size_t at = back ? p->n - 1 - k : (from + k) % p->n;
        bead_to(d, xy[2 * at], xy[2 * at + 1], feed);
    }
}

/* ---- order ---- */

static double distance2(const drive *d, const double *p)
{
    return (p[0] - d->x) * (p[0] - d->x) + (p[1] - d->y) * (p[1] - d->y);
}

/* The corner of a loop nearest to the nozzle; of an open path one of its ends. */
static size_t nearest_corner(const drive *d, const po_est_path *p, double *ret_distance2)
{
    const double *xy = d->paths->xy + 2 * p->first;
    size_t best = 0;
    *ret_distance2 = distance2(d, xy);
    for (size_t k = p->closed ? 1 : p->n - 1; k < p->n; k++) {
        double r2 = distance2(d, xy + 2 * k);
        if (r2 < *ret_distance2) {
            *ret_distance2 = r2;
            best = k;
        }
    }
    return best;
}

/* Paths first .. end - 1, the nearest next, looked for among the `look` that come first of those left. left: scratch.
 * */
static void in_turn(drive *d, size_t first, size_t end, size_t look, size_t *left)
{
    size_t n = 0;
    for (size_t i = first; i < end; i++) {
        if (d->paths->at[i].n > 1) {
            left[n++] = i;
        }
    }
    for (size_t done = 0; done < n; done++) {
        size_t best = done, corner = 0;
        double least = INFINITY, r2;
        for (size_t i = done; i < n && i < done + look; i++) {
            size_t at = nearest_corner(d, &d->paths->at[left[i]], &r2);
            if (r2 < least) {
                least = r2;
                best = i;
                corner = at;
            }
        }
        size_t chosen = left[best];
        memmove(left + done + 1, left + done, (best - done) * sizeof *left); /* the rest keep their order */
        along(d, chosen, corner);
    }
}

static void all_paths(drive *d, size_t *left)
{
    const po_est_paths *paths = d->paths;
    for (size_t i = 0, end; i < paths->n; i = end) {
        bool lines = paths->at[i].kind == PO_EST_SOLID || paths->at[i].kind == PO_EST_FILL;
        size_t points = 0;
        for (end = i; end < paths->n && paths->at[end].group == paths->at[i].group; end++) {
            points += paths->at[end].n;
        }
        size_t look = lines ? LOOK_AT : (size_t)fmax(1, LOOK_POINTS / (double)(points + 1));
        in_turn(d, i, end, look, left);
    }
}

/* ---- seconds ---- */

static po_status run(drive *d, double *ret_seconds, po_err *err)
{
    po_planner *planner = po_planner_new(&d->plan->machine->limits);
    po_planned out;
    double seconds = 0;
    if (!planner) {
        return po_fail(err, PO_E_NOMEM, "no memory to plan motion");
    }
    po_move_block block = {.n = d->n,
                           .dx = d->dx,
                           .dy = d->dy,
                           .dz = d->dz,
                           .de = d->de,
                           .length = d->length,
                           .feed = d->feed,
                           .kind = d->kind};
    po_status st = po_planner_push(planner, &block, &out, err);
    for (size_t i = 0; st == PO_OK && i < out.n; i++) {
        seconds += out.seconds[i];
    }
    if (st == PO_OK) {
        st = po_planner_finish(planner, &out, err);
    }
    for (size_t i = 0; st == PO_OK && i < out.n; i++) {
        seconds += out.seconds[i];
    }
    po_planner_free(planner);
    *ret_seconds = seconds;
    return st;
}

po_status po_est_drive(const po_est_plan *plan, const po_est_paths *paths, po_est_bead bead, bool first_layer,
                       double more_mm, double more_mm_s, po_est_layer *ret, po_err *err)
{
    drive d = {.plan = plan, .paths = paths, .bead = bead, .first_layer = first_layer, .ret = ret};
    size_t room = paths->n_points + 4 * paths->n + 4;
    double *six = po_arena_zeros(paths->arena, room, 6 * sizeof *six);
    size_t *left = po_arena_zeros(paths->arena, paths->n + 1, sizeof *left);
    d.kind = po_arena_zeros(paths->arena, room, 1);
    if (!six || !left || !d.kind) {
        return po_fail(err, PO_E_NOMEM, "no memory for the moves of a layer");
    }
    d.dx = six;
    d.dy = six + room;
    d.dz = six + 2 * room;
    d.de = six + 3 * room;
    d.length = six + 4 * room;
    d.feed = six + 5 * room;
    double nominal = more_mm / more_mm_s, slow_s = more_mm / more_mm_s;
    for (size_t i = 0; i < paths->n; i++) {
        nominal += po_est_path_mm(paths, i) / wanted_speed(&d, paths->at[i].kind);
    }
    d.slow = nominal < PO_EST_LAYER_S ? nominal / PO_EST_LAYER_S : 1;
    slow_s = more_mm / slowed(&d, more_mm_s);
    for (size_t i = 0; i < paths->n; i++) {
        slow_s += po_est_path_mm(paths, i) / slowed(&d, wanted_speed(&d, paths->at[i].kind));
    }
    all_paths(&d, left); /* once for where it ends: the layer before, being much the same, ended about there */
    d.n = 0;
    ret->travel_mm = 0;
    add(&d, 0, 0, bead.h, 0, bead.h, plan->machine->limits.feed_mm_s[PO_Z], PO_MOVE_TRAVEL);
    all_paths(&d, left);
    po_status st = run(&d, &ret->seconds, err);
    if (st != PO_OK) {
        return st;
    }
    double extra = slow_s - nominal, base, share_low = 0, share_high = 0;
    ret->seconds += more_mm / slowed(&d, more_mm_s);
    base = ret->seconds - extra;
    if (nominal < PO_EST_LAYER_S) { /* what waiting for the layer below to set costs, by other shares of it */
        share_low = fmax(0, PO_EST_LAYER_LOW_S - nominal) / (PO_EST_LAYER_S - nominal);
        share_high = (PO_EST_LAYER_HIGH_S - nominal) / (PO_EST_LAYER_S - nominal);
    }
    ret->low_s = base + extra * share_low;
    ret->high_s = nominal < PO_EST_LAYER_S ? base + extra * share_high : base + fmax(0, PO_EST_LAYER_HIGH_S - nominal);
    return PO_OK;
}
