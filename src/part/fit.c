/* Room on a machine. SPDX-License-Identifier: Apache-2.0
 *
 * The convex hull of what is seen from above (fit_outline.c) against the bed (fit_room.c). Exact but for a nanometre's
 * thousandth of slack, with which a part as wide as the bed fits it; what is approximate where something is in the way
 * stands in fit_room.c. The outline is the beads' outer edge: with no clearance a part may lie flush with the edge. A
 * keep-out is in the way of what the part has below its height, no more. Where nothing fits, shift_mm puts the middle of
 * the part in the middle of the bed. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/fit.h"

static po_status check(const po_mesh *mesh, const po_machine *machine, double clearance_mm, unsigned char **ret_used,
                       po_err *err)
{
    if (mesh->n_triangles == 0) {
        return po_fail(err, PO_E_EMPTY, "a mesh without a triangle");
    }
    if (!isfinite(clearance_mm) || !machine) {
        return po_fail(err, PO_E_RANGE, "a clearance that is no number");
    }
    unsigned char *used = calloc(mesh->n_vertices + 1, 1);
    if (!used) {
        return po_fail(err, PO_E_NOMEM, "no memory for the outline of %zu vertices", mesh->n_vertices);
    }
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        if (mesh->corners[i] >= mesh->n_vertices) {
            free(used);
            return po_fail(err, PO_E_RANGE, "triangle %zu has a corner that is no vertex of the mesh", i / 3 + 1);
        }
        used[mesh->corners[i]] = 1;
    }
    for (size_t i = 0; i < 3 * mesh->n_vertices; i++) {
        if (!(fabs(mesh->xyz[i]) <= 1e60)) {
            free(used);
            return po_fail(err, PO_E_RANGE, "vertex %zu has a coordinate that is no number or beyond 1e60", i / 3 + 1);
        }
    }
    *ret_used = used;
    return PO_OK;
}

static void fit_as_it_lies(const po_room *room, po_outline *o, po_fit *fit, bool *memory)
{
    po_xy at = {0};
    fit->over_mm[2] = o->size[2] - room->height;
    for (int k = 0; k < 2; k++) {
        fit->over_mm[k] = room->round ? 2 * (o->radius - room->radius) : o->size[k] - (room->high[k] - room->low[k]);
    }
    fit->as_is = po_room_place(room, o, 0, 1, &at, memory);
    fit->turn_deg = fit->as_is ? 0 : po_room_turn(room, o, 1, &at, memory);
    fit->turned = !isnan(fit->turn_deg);
    if (!fit->turned) {
        at = (po_xy){room->centre[0] - o->middle.x, room->centre[1] - o->middle.y};
    }
    fit->shift_mm[0] = at.x;
    fit->shift_mm[1] = at.y;
    fit->largest_scale = po_room_scale(room, o, fit->turn_deg, memory);
}

/* The cheapest of the poses that fits. done: of each pose, whether it was tried. */
static po_status fit_poses(const po_mesh *mesh, const unsigned char *used, const po_room *room, const po_pose *poses,
                           size_t n_poses, unsigned char *done, po_fit *fit, po_err *err)
{
    for (size_t round = 0; round < n_poses; round++) {
        size_t best = n_poses;
        for (size_t i = 0; i < n_poses; i++) {
            if (!done[i] && (best == n_poses || poses[i].cost < poses[best].cost)) {
                best = i;
            }
        }
        done[best] = 1;
        po_outline o = {0};
        bool memory = true;
        po_xy at;
        po_status s = po_outline_find(mesh, used, poses[best].turn, room, &o, err);
        if (s != PO_OK) {
            return s;
        }
        double turn = po_room_turn(room, &o, 1, &at, &memory);
        po_outline_done(&o);
        if (!memory) {
            return po_fail(err, PO_E_NOMEM, "no memory to look for room on a bed");
        }
        if (!isnan(turn)) {
            fit->pose = (int)best;
            fit->pose_turn_deg = turn;
            return PO_OK;
        }
    }
    return PO_OK;
}

po_status po_part_fit(const po_mesh *mesh, const po_machine *machine, double clearance_mm, const po_pose *poses,
                      size_t n_poses, po_arena *arena, po_fit *ret, po_err *err)
{
    (void)arena;
    unsigned char *used = NULL, *done = NULL;
    po_room room = {0};
    po_outline o = {0};
    po_fit fit = {.machine = machine, .pose = -1, .pose_turn_deg = NAN};
    bool memory = true;
    po_status s = check(mesh, machine, clearance_mm, &used, err);
    if (s != PO_OK) {
        return s;
    }
    s = po_room_init(&room, machine, clearance_mm, err);
    if (s == PO_OK) {
        s = po_outline_find(mesh, used, NULL, &room, &o, err);
    }
    if (s != PO_OK) {
        goto done;
    }
    fit_as_it_lies(&room, &o, &fit, &memory);
    done = calloc(n_poses + 1, 1);
    if (!memory || !done) {
        s = po_fail(err, PO_E_NOMEM, "no memory to look for room on a bed");
        goto done;
    }
    if (poses) {
        s = fit_poses(mesh, used, &room, poses, n_poses, done, &fit, err);
    }
    if (s == PO_OK) {
        *ret = fit;
    }
done:
    free(used);
    free(done);
    po_outline_done(&o);
    po_room_done(&room);
    return s;
}
