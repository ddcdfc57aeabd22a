/* A part in pieces that fit a machine. SPDX-License-Identifier: Apache-2.0
 *
 * Looked at as it is first; then cuts are planned (pieces_plan.c), pins placed (pins.c), and the plan is carried out on
 * the mesh as given. Each piece is laid the cheapest way that fits: by an axis of the part, as a rule with a joint down,
 * where that needs no support, else of all ways up that po_pose_find knows. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/pieces_plan.h"

enum { POSES_ASKED = 8, MEASURED_MOST = 3, PLAIN_MOST = 6 * PO_AXES_MOST };
static const double BEAD = 0.45; /* mm, where a setup names none */

typedef struct laying {
    const po_pieces_setup *setup;
    const po_planning *p;
    uint64_t done, total;
    po_arena *arena;
} laying;

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "memory ran out");
}

/* ---- how a piece is laid ---- */

static void make_matrix(const po_mesh *mesh, const double *turn, double turn_deg, double *ret, double *ret_size)
{
    double a = turn_deg * 3.14159265358979323846 / 180, c = cos(a), s = sin(a);
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    if (turn_deg == 0) {
        c = 1;
        s = 0;
    }
    for (int r = 0; r < 3; r++) { /* turned, then about the vertical, counter-clockwise */
        ret[3 * r] = turn[3 * r] * c - turn[3 * r + 1] * s;
        ret[3 * r + 1] = turn[3 * r] * s + turn[3 * r + 1] * c;
        ret[3 * r + 2] = turn[3 * r + 2];
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        const double *p = mesh->xyz + 3 * v;
        for (int k = 0; k < 3; k++) {
            double x = p[0] * ret[k] + p[1] * ret[3 + k] + p[2] * ret[6 + k];
            low[k] = fmin(low[k], x);
            high[k] = fmax(high[k], x);
        }
    }
    for (int k = 0; k < 3; k++) {
        ret[9 + k] = k < 2 ? -(low[k] + high[k]) / 2 : -low[k];
        ret_size[k] = high[k] - low[k];
    }
}

/* The matrix for a pose that is known to fit, and the fit as it is then laid. */
static po_status settle(const laying *l, const po_mesh *mesh, const po_pose *pose, double turn_deg, po_piece *ret,
                        po_err *err)
{
    po_status status = PO_OK;
    for (int sign = 1; sign >= -1 && status == PO_OK; sign -= 2) {
        const po_mesh *placed;
        po_arena *own = po_arena_new(0);
        double size[3];
        ret->pose = *pose;
        make_matrix(mesh, pose->turn, sign * turn_deg, ret->matrix, size);
        memcpy(ret->pose.size_mm, size, sizeof size);
        status = own ? po_mesh_placed(mesh, ret->matrix, own, &placed, err) : no_memory(err);
        if (status == PO_OK) {
            status = po_part_fit(placed, l->setup->machine, l->setup->clearance_mm, NULL, 0, own, &ret->fit, err);
        }
        po_arena_free(own);
        if (ret->fit.as_is || turn_deg == 0) {
            break;
        }
    }
    return status;
}

static bool lay_progress(uint64_t done, uint64_t total, void *user)
{
    (void)done;
    (void)total;
    laying *l = user;
    return !l->setup->progress || l->setup->progress(l->done, l->total, l->setup->user);
}

/* The cheapest pose of po_pose_find that fits. *ret_found false: none does, or poses can't be had here. */
static po_status lay_well(laying *l, const po_mesh *mesh, po_piece *ret, bool *ret_found, po_err *err)
{
    const po_pose *poses;
    size_t n, as_is;
    po_err own;
    *ret_found = false;
    po_status status = po_pose_find(mesh, &l->setup->pose, NULL, POSES_ASKED, l->setup->threads, lay_progress, l,
                                    l->arena, &poses, &n, &as_is, &own);
    if (status == PO_E_UNSUPPORTED) { /* no ray library: plain ways up then */
        return PO_OK;
    }
    po_fit fit;
    if (status == PO_OK) {
        status = po_part_fit(mesh, l->setup->machine, l->setup->clearance_mm, poses, n, l->arena, &fit, &own);
    }
    if (status == PO_OK && fit.pose >= 0) {
        *ret_found = true;
        status = settle(l, mesh, &poses[fit.pose], fit.pose_turn_deg, ret, &own);
    }
    if (status != PO_OK && err) {
        *err = own;
    }
    return status;
}

/* Down-facing area on the bed: what ways up are told apart by where nothing better can be had. */
static double area_on_bed(const po_mesh *mesh, const double *turn)
{
    double low = INFINITY, area = 0;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        const double *p = mesh->xyz + 3 * v;
        low = fmin(low, p[0] * turn[2] + p[1] * turn[5] + p[2] * turn[8]);
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        double q[3][3], z = -INFINITY;
        for (size_t k = 0; k < 3; k++) {
            const double *p = mesh->xyz + 3 * (size_t)mesh->corners[3 * t + k];
            for (int j = 0; j < 3; j++) {
                q[k][j] = p[0] * turn[j] + p[1] * turn[3 + j] + p[2] * turn[6 + j];
            }
            z = fmax(z, q[k][2]);
        }
        double flat = ((q[1][0] - q[0][0]) * (q[2][1] - q[0][1]) - (q[1][1] - q[0][1]) * (q[2][0] - q[0][0])) / 2;
        area += z - low < 0.1 && flat < 0 ? -flat : 0;
    }
    return area;
}

typedef struct plain { /* a plain way up that fits */
    po_pose pose;
    double turn_deg, cost;
} plain;

/* Those that fit, cheapest first by the scores that need no rays. */
static po_status find_plain(const laying *l, const po_mesh *mesh, plain *ret, size_t *ret_n, po_err *err)
{
    po_pose poses[PLAIN_MOST], scores[PLAIN_MOST];
    double ups[PLAIN_MOST][3];
    size_t n = po_plain_poses(l->p, poses), count = 0;
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < 3; k++) {
            ups[i][k] = poses[i].turn[3 * k + 2];
        }
    }
    po_err own;
    po_status scored = po_pose_score(mesh, (const double(*)[3])ups, n, &l->setup->pose, l->setup->threads, l->arena,
                                     scores, &own);
    for (size_t i = 0; i < n; i++) {
        po_fit fit;
        po_status status = po_part_fit(mesh, l->setup->machine, l->setup->clearance_mm, &poses[i], 1, l->arena, &fit,
                                       err);
        if (status != PO_OK) {
            return status;
        }
        if (fit.pose != 0) {
            continue;
        }
        bool known = scored == PO_OK && isfinite(scores[i].cost);
        plain x = {poses[i], fit.pose_turn_deg, known ? scores[i].cost : -area_on_bed(mesh, poses[i].turn)};
        size_t at = count++;
        for (; at > 0 && x.cost < ret[at - 1].cost; at--) {
            ret[at] = ret[at - 1];
        }
        ret[at] = x;
    }
    *ret_n = count;
    return PO_OK;
}

/* By an axis of the part: of the few most promising that fit the cheapest in full. */
static po_status lay_plainly(laying *l, const po_mesh *mesh, po_piece *ret, bool *ret_found, po_err *err)
{
    plain list[PLAIN_MOST];
    size_t n, best = SIZE_MAX;
    po_status status = find_plain(l, mesh, list, &n, err);
    *ret_found = false;
    for (size_t i = 0; status == PO_OK && i < n && i < MEASURED_MOST; i++) {
        double turn[9];
        po_err own;
        memcpy(turn, list[i].pose.turn, sizeof turn);
        po_status measured = po_pose_measure(mesh, turn, &l->setup->pose, l->setup->threads, l->arena, &list[i].pose,
                                             &own);
        if (measured == PO_E_UNSUPPORTED) { /* no ray library: the first in the order found */
            list[i].pose.foothold_mm2 = area_on_bed(mesh, turn);
            list[i].pose.stands = list[i].pose.foothold_mm2 > 0;
            list[i].pose.cost = (double)i;
        } else if (measured != PO_OK) {
            if (err) {
                *err = own;
            }
            return measured;
        }
        best = best == SIZE_MAX || list[i].pose.cost < list[best].pose.cost ? i : best;
        if (list[best].pose.stands && list[best].pose.support_open_mm3 == 0) {
            break; /* nothing to hold, and those that follow cost more by what is known of them */
        }
    }
    *ret_found = status == PO_OK && best != SIZE_MAX;
    return *ret_found ? settle(l, mesh, &list[best].pose, list[best].turn_deg, ret, err) : status;
}

/* A part that need not be cut keeps its way up where it fits so, at most turned about the vertical: it was drawn that way,
 * and better ways up are another question. *ret_found false: it does not fit so. */
static po_status lay_upright(laying *l, const po_mesh *mesh, po_piece *ret, bool *ret_found, po_err *err)
{
    static const double upright[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    po_fit fit;
    po_pose pose = {0};
    po_err own_err;
    po_arena *own = po_arena_new(0);
    po_status status = own ? po_part_fit(mesh, l->setup->machine, l->setup->clearance_mm, NULL, 0, own, &fit, err)
                           : no_memory(err);
    po_arena_free(own);
    *ret_found = status == PO_OK && (fit.as_is || fit.turned);
    if (!*ret_found) {
        return status;
    }
    po_status measured = po_pose_measure(mesh, NULL, &l->setup->pose, l->setup->threads, l->arena, &pose, &own_err);
    if (measured == PO_E_UNSUPPORTED) { /* no ray library */
        memcpy(pose.turn, upright, sizeof upright);
        pose.foothold_mm2 = area_on_bed(mesh, upright);
        pose.stands = pose.foothold_mm2 > 0;
    } else if (measured != PO_OK) {
        if (err) {
            *err = own_err;
        }
        return measured;
    }
    return settle(l, mesh, &pose, fit.as_is ? 0 : fit.turn_deg, ret, err);
}

/* An axis of the part where nothing then has to be supported or held; else the cheapest of all. */
static po_status lay(laying *l, const po_mesh *mesh, po_piece *ret, bool *ret_found, po_err *err)
{
    po_piece well = *ret;
    bool found;
    po_status status = lay_plainly(l, mesh, ret, ret_found, err);
    l->done++;
    if (status != PO_OK || (*ret_found && ret->pose.stands && ret->pose.support_open_mm3 == 0)) {
        return status;
    }
    status = lay_well(l, mesh, &well, &found, err);
    if (status == PO_OK && found && (!*ret_found || well.pose.cost < ret->pose.cost)) {
        *ret = well;
        *ret_found = true;
    }
    return status;
}

/* Longer than the machine from corner to corner, or larger altogether: no way up can help. */
static bool far_too_large(const po_planning *p, const po_mesh *mesh, double volume)
{
    const po_bed_room *r = &p->room;
    double across = r->round ? r->x : hypot(r->x, r->y), most = hypot(across, r->z);
    bool too_large = volume > r->x * r->y * r->z;
    for (size_t i = 0; i < p->n_axes; i++) {
        double low[3], high[3];
        po_axes_bounds(&p->axes[i], mesh, low, high);
        for (int k = 0; k < 3; k++) {
            too_large = too_large || high[k] - low[k] > most;
        }
    }
    return too_large;
}

/* ---- the plan carried out ---- */

typedef struct slot { /* a solid of the plan, and its mesh with pin holes */
    const po_shard *shard;
    const po_mesh *mesh;
} slot;

typedef struct making {
    const po_plan *plan;
    const po_pin_plan *pins; /* NULL: none */
    slot *slots;
    size_t n_slots;
    po_cut *cuts;
    po_arena *arena;
} making;

/* SIZE_MAX: none. */
static size_t find_slot(const making *m, const po_shard *shard)
{
    for (size_t i = 0; i < m->n_slots; i++) {
        if (m->slots[i].shard == shard) {
            return i;
        }
    }
    return SIZE_MAX;
}

/* The solids of a mesh put in at `at`: what hangs together in the part is numbered in a row. */
static po_status add_slots(making *m, size_t at, const po_mesh *mesh, const po_shard *const *parts, size_t n_parts,
                           po_err *err)
{
    const po_mesh *solids;
    size_t n;
    po_status status = po_mesh_bodies(mesh, m->arena, &solids, &n, err);
    if (status == PO_OK && n != n_parts) {
        return po_fail(err, PO_E_INTERNAL, "a cut came apart otherwise than planned");
    }
    if (status == PO_OK) {
        memmove(m->slots + at + n, m->slots + at, (m->n_slots - at) * sizeof *m->slots);
        m->n_slots += n;
        for (size_t i = 0; i < n; i++) {
            m->slots[at + i] = (slot){parts[i], &solids[i]};
        }
    }
    return status;
}

static po_status carry_out(making *m, const po_mesh *whole, po_err *err)
{
    const po_shard *const *first = NULL;
    size_t n_first = 0, room = m->plan->n_shards + m->plan->n_splits;
    const po_shard **roots = po_arena_zeros(m->arena, room + 1, sizeof *roots);
    m->slots = po_arena_zeros(m->arena, 2 * room + 2, sizeof *m->slots);
    m->cuts = po_arena_zeros(m->arena, m->plan->n_splits + 1, sizeof *m->cuts);
    if (!roots || !m->slots || !m->cuts) {
        return no_memory(err);
    }
    /* the solids that the part was before any cut, in their order: shards of a plan keep their order of making */
    for (size_t pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < (pass ? m->plan->n_splits : m->plan->n_shards); i++) {
            const po_shard *s = pass ? m->plan->splits[i]->of : m->plan->shards[i];
            if (!s->from) {
                roots[n_first++] = s;
            }
        }
    }
    for (size_t i = 1; i < n_first; i++) { /* by number: they were made in one row */
        const po_shard *s = roots[i];
        size_t at = i;
        for (; at > 0 && s->number < roots[at - 1]->number; at--) {
            roots[at] = roots[at - 1];
        }
        roots[at] = s;
    }
    first = roots;
    po_status status = add_slots(m, 0, whole, first, n_first, err);
    for (size_t i = 0; status == PO_OK && i < m->plan->n_splits; i++) {
        const po_split *split = m->plan->splits[i];
        size_t at = find_slot(m, split->of);
        po_mesh halves[2];
        if (at == SIZE_MAX) {
            return po_fail(err, PO_E_INTERNAL, "a cut has no solid");
        }
        const po_mesh *of = m->slots[at].mesh;
        memmove(m->slots + at, m->slots + at + 1, (m->n_slots - at - 1) * sizeof *m->slots);
        m->n_slots--;
        status = po_cut_mesh(of, &split->cut.plane, m->pins ? m->pins[i].holes : NULL, m->pins ? m->pins[i].n : 0,
                             m->arena, &halves[0], &halves[1], &m->cuts[i], err);
        for (int k = 1; status == PO_OK && k >= 0; k--) {
            status = add_slots(m, at, &halves[k], split->parts[k], split->n_parts[k], err);
        }
        if (status == PO_OK) {
            m->cuts[i].least_mm = split->cut.least_mm;
        }
    }
    return status;
}

/* The lowest number among the pieces that a solid became. */
static uint32_t lowest(const making *m, const po_shard *const *parts, size_t n_parts)
{
    uint32_t least = UINT32_MAX, number = 1;
    for (size_t i = 0; i < m->n_slots; i++) {
        for (const po_shard *s = m->slots[i].shard; s; s = s->from ? s->from->of : NULL) {
            for (size_t k = 0; k < n_parts; k++) {
                least = s == parts[k] && number < least ? number : least;
            }
        }
        number++;
    }
    return least == UINT32_MAX ? 0 : least;
}

static uint32_t number_of(const making *m, const po_shard *shard)
{
    return (uint32_t)(find_slot(m, shard) + 1);
}

static po_status list_pins(making *m, po_pieces *ret, po_err *err)
{
    size_t n = 0;
    for (size_t i = 0; i < m->plan->n_splits; i++) {
        n += m->pins[i].n;
    }
    po_pin *pins = po_arena_zeros(m->arena, n + 1, sizeof *pins);
    if (!pins) {
        return no_memory(err);
    }
    n = 0;
    for (size_t i = 0; i < m->plan->n_splits; i++) {
        const po_pin_plan *plan = &m->pins[i];
        const po_mesh *mesh = plan->n ? po_pin_mesh(plan->pin_mm, plan->length_mm, m->arena) : NULL;
        if (plan->n && !mesh) {
            return no_memory(err);
        }
        for (size_t k = 0; k < plan->n; k++) {
            const double *f = m->cuts[i].frame;
            po_pin *pin = &pins[n++];
            *pin = (po_pin){
                .mesh = mesh, .diameter_mm = plan->pin_mm, .length_mm = plan->length_mm, .cut = (uint32_t)i};
            pin->hole_mm = 2 * plan->holes[k].radius;
            pin->hole_depth_mm = plan->holes[k].depth[0];
            for (int a = 0; a < 3; a++) {
                pin->at[a] = f[9 + a] + plan->holes[k].at[0] * f[a] + plan->holes[k].at[1] * f[3 + a];
            }
            for (int side = 0; side < 2; side++) {
                pin->pieces[side] = number_of(m, plan->joins[k][side]);
            }
        }
    }
    ret->pins = pins;
    ret->n_pins = n;
    return PO_OK;
}

static po_status say(const po_pieces *pieces, const po_planning *p, po_arena *arena, const char *const **ret,
                     size_t *ret_n, po_err *err)
{
    const char **says = po_arena_zeros(arena, 8, sizeof *says);
    size_t n = 0;
    double area = 0, thinnest = INFINITY;
    bool bare = false;
    if (!says) {
        return no_memory(err);
    }
    for (size_t i = 0; i < pieces->n_cuts; i++) {
        area += pieces->cuts[i].area_mm2;
        thinnest = fmin(thinnest, pieces->cuts[i].least_mm);
        bare = bare || pieces->cuts[i].pins == 0;
    }
    if (pieces->n_cuts) {
        says[n++] = po_arena_printf(arena, "%.0f mm2 to glue in all; the thinnest joint is %.1f mm at its narrowest.",
                                    area, thinnest);
        says[n++] = "The plan is the best that a search found; it is not proved that fewer pieces would not do.";
    }
    if (pieces->n_cuts && p->setup->pins && bare) {
        says[n++] = "Some joints have no pin: nowhere in them is room for a hole with a wall around it.";
    }
    for (size_t i = 0; i < n; i++) {
        if (!says[i]) {
            return no_memory(err);
        }
    }
    *ret = says;
    *ret_n = n;
    return PO_OK;
}

static po_status make(const po_mesh *mesh, laying *l, const po_plan *plan, double whole, po_pieces *ret, po_err *err)
{
    making m = {.plan = plan, .arena = l->arena};
    po_pin_plan *pins = NULL;
    po_pieces pieces = {0};
    po_status status = PO_OK;
    for (size_t i = 0; status == PO_OK && i < plan->n_splits; i++) {
        po_split *split = (po_split *)(uintptr_t)plan->splits[i]; /* the plan is ours */
        status = po_section_least(&split->cut.section, 1e6, &split->cut.least_mm, err);
    }
    if (status == PO_OK && l->setup->pins && plan->n_splits) {
        pins = calloc(plan->n_splits, sizeof *pins);
        status = pins ? po_pins_plan(mesh, l->p, plan, pins, err) : no_memory(err);
        m.pins = pins;
    }
    if (status == PO_OK) {
        status = carry_out(&m, mesh, err);
    }
    po_piece *list = status == PO_OK ? po_arena_zeros(l->arena, plan->n_shards, sizeof *list) : NULL;
    if (status == PO_OK && !list) {
        status = no_memory(err);
    }
    l->total = l->done + plan->n_shards;
    for (size_t i = 0; status == PO_OK && i < m.n_slots; i++) {
        po_piece *piece = &list[pieces.n_pieces++];
        bool found;
        piece->number = (uint32_t)pieces.n_pieces;
        piece->mesh = m.slots[i].mesh;
        piece->volume_mm3 = po_plain_volume(piece->mesh);
        pieces.volume_mm3 += m.slots[i].shard->volume;
        if (!lay_progress(0, 0, l)) {
            status = po_fail(err, PO_E_CANCELLED, "cancelled");
            break;
        }
        /* the holes of pins carry themselves: ways up are judged without them */
        status = lay(l, m.slots[i].shard->mesh, piece, &found, err);
        if (status == PO_OK && !found) {
            status = po_fail(err, PO_E_INTERNAL, "a piece that was planned to fit does not");
        }
    }
    if (status == PO_OK) {
        for (size_t i = 0; i < plan->n_splits; i++) {
            for (int k = 0; k < 2; k++) {
                m.cuts[i].pieces[k] = lowest(&m, plan->splits[i]->parts[k], plan->splits[i]->n_parts[k]);
            }
        }
        pieces.pieces = list;
        pieces.cuts = m.cuts;
        pieces.n_cuts = plan->n_splits;
        pieces.volume_error = fabs(pieces.volume_mm3 - whole) / fabs(whole);
        status = m.pins ? list_pins(&m, &pieces, err) : PO_OK;
    }
    if (status == PO_OK) {
        status = say(&pieces, l->p, l->arena, &pieces.says, &pieces.n_says, err);
    }
    free(pins);
    if (status == PO_OK) {
        *ret = pieces;
    }
    return status;
}

static po_status run(const po_mesh *mesh, const po_pieces_setup *setup, po_arena *own, po_arena *arena, po_pieces *ret,
                     po_err *err)
{
    po_mesh_facts facts;
    po_status status = po_mesh_measure(mesh, setup->threads, own, &facts, err);
    if (status != PO_OK) {
        return status;
    }
    if (!facts.watertight || facts.judged != mesh || facts.volume_mm3 <= 0) {
        return po_fail(err, PO_E_RANGE, "the mesh is %s; mend it first",
                       facts.watertight && facts.volume_mm3 <= 0 ? "inside out" : "not the closed surface of a solid");
    }
    double bead = setup->pose.bead_mm > 0 ? setup->pose.bead_mm : BEAD;
    po_planning p = {.setup = setup, .room = po_bed_room_of(setup->machine, setup->clearance_mm)};
    p.n_axes = po_axes_find(mesh, p.axes);
    p.least_joint = isnan(setup->least_joint_mm) ? 3 * bead : setup->least_joint_mm;
    p.most_pieces = setup->most_pieces ? setup->most_pieces : 64;
    laying l = {.setup = setup, .p = &p, .arena = arena};
    bool fits, found = false;
    status = po_fits_plainly(&p, mesh, &fits, err);
    po_piece *one = status == PO_OK ? po_arena_zeros(arena, 1, sizeof *one) : NULL;
    if (status == PO_OK && !one) {
        status = no_memory(err);
    }
    if (status == PO_OK) {
        status = lay_upright(&l, mesh, one, &found, err);
    }
    if (status == PO_OK && !found) { /* tilted it may fit where it does not along its axes */
        status = fits                                        ? lay(&l, mesh, one, &found, err)
                 : far_too_large(&p, mesh, facts.volume_mm3) ? PO_OK
                                                             : lay_well(&l, mesh, one, &found, err);
    }
    if (status != PO_OK) {
        return status;
    }
    if (found) {
        one->number = 1;
        one->mesh = mesh;
        one->volume_mm3 = facts.volume_mm3;
        *ret = (po_pieces){.pieces = one, .n_pieces = 1, .volume_mm3 = facts.volume_mm3};
        return PO_OK;
    }
    po_plan plan;
    status = po_plan_cuts(mesh, &p, own, &plan, err);
    return status == PO_OK ? make(mesh, &l, &plan, facts.volume_mm3, ret, err) : status;
}

po_status po_part_pieces(const po_mesh *mesh, const po_pieces_setup *setup, po_arena *arena, po_pieces *ret,
                         po_err *err)
{
    if (!setup->machine || !(setup->clearance_mm >= 0) || setup->least_joint_mm < 0 || setup->pin_mm < 0.5 ||
        setup->pin_slack_mm < 0 || setup->pin_slack_mm > 5) {
        return po_fail(err, PO_E_RANGE, "a clearance, joint or pin size that is no sensible number");
    }
    po_pieces pieces;
    po_arena *own = po_arena_new(0);
    po_status status = own ? run(mesh, setup, own, arena, &pieces, err) : no_memory(err);
    po_arena_free(own);
    if (status == PO_OK) {
        *ret = pieces;
    }
    return status;
}
