/* proveout check JOB --against PART: what of the part is found on the bed. SPDX-License-Identifier: Apache-2.0
 *
 * Brings together what the library measures of the one and of the other: heights as they were laid, sections of the solids
 * in likely ways up. Which of them are alike the library's match tells. */
#include <math.h>
#include <string.h>

#include "check.h"
#include "proveout/match.h"
#include "proveout/pieces.h"
#include "proveout/solid.h"

enum { AXES = 6, MORE_POSES = 12, MOST_POSES = AXES + MORE_POSES, MOST_SOLIDS = 256, MOST_TRIED = 4000 };
#define LEAST_OBJECT_MM2 9.0 /* smaller than three millimetres square: purge dots */

typedef struct solid {
    const char *name;
    uint32_t object, wanted;
    const double *matrix;
    const po_mesh *mesh;
    const po_mesh *posed[MOST_POSES]; /* turned; NULL: not yet */
    double low[MOST_POSES], heights[MOST_POSES];
    size_t n_poses;
    bool searched; /* for more ways up than the axes */
} solid;

typedef struct against {
    const cli_check *check;
    po_arena *arena;
    solid *solids;
    size_t n_solids;
    solid *now; /* that sections are asked of */
} against;

/* Rows of turns that bring each axis up, the part's own way first. */
static const double axis_turns[AXES][9] = {
    {1, 0, 0, 0, 1, 0, 0, 0, 1},  {1, 0, 0, 0, -1, 0, 0, 0, -1}, {1, 0, 0, 0, 0, 1, 0, -1, 0},
    {1, 0, 0, 0, 0, -1, 0, 1, 0}, {0, 0, 1, 0, 1, 0, -1, 0, 0},  {0, 0, -1, 0, 1, 0, 1, 0, 0},
};

static po_status pose_mesh(const against *a, solid *s, const double turn[9], po_err *err)
{
    double matrix[12] = {0};
    memcpy(matrix, turn, 9 * sizeof *turn);
    size_t p = s->n_poses;
    po_status status = po_mesh_placed(s->mesh, matrix, a->arena, &s->posed[p], err);
    if (status == PO_OK) {
        double low = INFINITY, high = -INFINITY;
        for (size_t v = 0; v < s->posed[p]->n_vertices; v++) {
            low = fmin(low, s->posed[p]->xyz[3 * v + 2]);
            high = fmax(high, s->posed[p]->xyz[3 * v + 2]);
        }
        s->low[p] = low;
        s->heights[p] = high - low;
        s->n_poses++;
    }
    return status;
}

static po_status sections(void *user, size_t pose, const double *z, size_t n, po_arena *arena, po_loops *ret,
                          po_err *err)
{
    const against *a = user;
    double *at = po_arena_zeros(arena, n + 1, sizeof *at);
    po_section *cuts = po_arena_zeros(arena, n + 1, sizeof *cuts);
    if (!at || !cuts) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < n; i++) {
        at[i] = a->now->low[pose] + z[i];
    }
    po_status status = po_mesh_sections(a->now->posed[pose], at, n, a->check->threads, arena, cuts, err);
    for (size_t i = 0; i < n && status == PO_OK; i++) {
        ret[i] = cuts[i].loops;
    }
    return status;
}

static bool same_form(const double *a, const double *b)
{
    return memcmp(a, b, 9 * sizeof *a) == 0;
}

/* A solid's mesh made ready: seams closed, the right way round, turned along the axes. */
static po_status ready(const against *a, solid *s, po_err *err)
{
    po_mesh_facts facts;
    po_status status = po_mesh_measure(s->mesh, a->check->threads, a->arena, &facts, err);
    if (status != PO_OK) {
        return status;
    }
    s->mesh = facts.judged;
    if (facts.volume_mm3 < 0) { /* inside out: its triangles turned */
        uint32_t *corners = po_arena_zeros(a->arena, 3 * s->mesh->n_triangles, sizeof *corners);
        po_mesh *mesh = po_arena_zeros(a->arena, 1, sizeof *mesh);
        if (!corners || !mesh) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        for (size_t t = 0; t < s->mesh->n_triangles; t++) {
            corners[3 * t] = s->mesh->corners[3 * t];
            corners[3 * t + 1] = s->mesh->corners[3 * t + 2];
            corners[3 * t + 2] = s->mesh->corners[3 * t + 1];
        }
        *mesh = *s->mesh;
        mesh->corners = corners;
        s->mesh = mesh;
    }
    for (int p = 0; p < AXES && status == PO_OK; p++) {
        status = pose_mesh(a, s, axis_turns[p], err);
    }
    return status;
}

/* Models of the build. What a build item brings together is one solid; copies that differ only by where they lie are one
 * as well. */
static po_status read_solids(against *a, const char *path, po_err *err)
{
    const po_part *part;
    po_source source = {.path = path};
    po_status status = po_part_read(&source, NULL, a->arena, &part, err);
    if (status == PO_OK) {
        status = po_part_assembled(part, a->arena, &part, err);
    }
    if (status != PO_OK) {
        return status;
    }
    a->solids = po_arena_zeros(a->arena, MOST_SOLIDS, sizeof *a->solids);
    if (!a->solids) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < part->n_items && status == PO_OK; i++) {
        const po_part_item *item = &part->items[i];
        const po_part_object *object = &part->objects[item->object];
        size_t same = 0;
        while (same < a->n_solids &&
               !(a->solids[same].object == item->object && same_form(a->solids[same].matrix, item->matrix))) {
            same++;
        }
        if (object->type != PO_OBJECT_MODEL || same == MOST_SOLIDS) {
            continue;
        }
        if (same < a->n_solids) {
            a->solids[same].wanted++;
            continue;
        }
        solid *s = &a->solids[a->n_solids++];
        *s = (solid){.name = object->name, .object = item->object, .wanted = 1, .matrix = item->matrix};
        status = po_mesh_placed(&object->mesh, item->matrix, a->arena, &s->mesh, err);
        if (status == PO_OK) {
            status = ready(a, s, err);
        }
    }
    return status != PO_OK || a->n_solids > 0 ? status : po_fail(err, PO_E_EMPTY, "there is no model in it");
}

static po_status more_poses(against *a, solid *s, po_err *err)
{
    po_pose_setup setup;
    const po_pose *poses;
    size_t n, as_is;
    s->searched = true;
    po_pose_setup_for(a->check->shop, NULL, a->check->context.recipe, &setup);
    po_status status = po_pose_find(s->mesh, &setup, NULL, MORE_POSES, a->check->threads, NULL, NULL, a->arena, &poses,
                                    &n, &as_is, err);
    for (size_t i = 0; i < n && status == PO_OK && s->n_poses < MOST_POSES; i++) {
        status = pose_mesh(a, s, poses[i].turn, err);
    }
    return status;
}

static po_status try_solid(against *a, const po_match_object *object, size_t k, double layer_mm, const po_match *like,
                           po_match *ret, po_err *err)
{
    solid *s = a->now = &a->solids[k];
    po_match_shape shape = {s->n_poses, s->heights, sections, a};
    po_status status = po_match_find(object, &shape, layer_mm, like, ret, err);
    if (status == PO_OK && !ret->found && !s->searched && (status = more_poses(a, s, err)) == PO_OK) {
        shape.n_poses = s->n_poses;
        status = po_match_find(object, &shape, layer_mm, NULL, ret, err);
    }
    return status;
}

typedef struct tally { /* objects on the bed, and what they were found to be */
    const po_match_object *objects;
    size_t n;
    bool *known;
    double layer_mm;
    size_t tried;
} tally;

/* Objects that are not known yet against solids first .. n_solids - 1. */
static po_status match_solids(against *a, tally *t, po_against_solid *solids, size_t first, po_err *err)
{
    po_status status = PO_OK;
    for (size_t i = 0; i < t->n && status == PO_OK; i++) {
        for (size_t k = first; !t->known[i] && k < a->n_solids && status == PO_OK && t->tried < MOST_TRIED;
             k++, t->tried++) {
            po_match m;
            po_against_solid *s = &solids[k];
            status = try_solid(a, &t->objects[i], k, t->layer_mm, s->found > 0 ? &s->best : NULL, &m, err);
            if (status != PO_OK) {
                break;
            }
            if (!s->tried || (m.found && !s->best.found) || (m.found == s->best.found && m.covered > s->best.covered)) {
                s->best = m;
                s->tried = true;
            }
            s->found += m.found;
            t->known[i] = m.found;
        }
    }
    return status;
}

/* Solids that were not found whole, and are of several bodies: each by itself, where any of them is found. */
static po_status match_bodies(against *a, tally *t, po_against_solid *solids, size_t *n_solids, po_err *err)
{
    po_status status = PO_OK;
    size_t whole = a->n_solids;
    for (size_t k = 0; k < whole && status == PO_OK; k++) {
        const po_mesh *bodies;
        size_t n, first = a->n_solids;
        if (solids[k].found > 0) {
            continue;
        }
        status = po_mesh_bodies(a->solids[k].mesh, a->arena, &bodies, &n, err);
        if (status != PO_OK || n < 2 || first + n > MOST_SOLIDS) {
            continue;
        }
        for (size_t i = 0; i < n && status == PO_OK; i++) {
            const char *name = po_arena_printf(a->arena, "%s%sbody %zu", a->solids[k].name ? a->solids[k].name : "",
                                               a->solids[k].name ? ", " : "", i + 1);
            a->solids[first + i] = (solid){.name = name, .mesh = &bodies[i], .wanted = a->solids[k].wanted};
            solids[first + i] = (po_against_solid){.name = name, .wanted = a->solids[k].wanted};
            status = ready(a, &a->solids[first + i], err);
            a->n_solids++;
        }
        uint32_t found = 0;
        if (status == PO_OK) {
            status = match_solids(a, t, solids, first, err);
        }
        for (size_t i = first; i < a->n_solids; i++) {
            found += solids[i].found;
        }
        if (found == 0) {
            a->n_solids = first; /* it stays one */
        } else {
            solids[k].wanted = 0;
        }
    }
    *n_solids = 0;
    for (size_t k = 0; k < a->n_solids; k++) {
        if (solids[k].wanted > 0) {
            solids[(*n_solids)++] = solids[k];
        }
    }
    return status;
}

static po_status match_all(against *a, const po_job_report *job, po_against *ret, po_err *err)
{
    po_match_layer *layers = po_arena_zeros(a->arena, job->n_prints + 1, sizeof *layers);
    po_against_solid *solids = po_arena_zeros(a->arena, MOST_SOLIDS, sizeof *solids);
    if (!layers || !solids) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < job->n_prints; i++) {
        const po_layer_image *p = &job->prints[i];
        layers[i] = (po_match_layer){p->z, p->x0, p->y0, p->px_mm, p->width, p->height, p->px};
    }
    tally t = {.layer_mm = job->facts.layer_height_mm > 0 ? job->facts.layer_height_mm : 0.2};
    po_status status = po_match_objects(layers, job->n_prints, LEAST_OBJECT_MM2, a->arena, &t.objects, &t.n, err);
    if (status != PO_OK) {
        return status;
    }
    t.known = po_arena_zeros(a->arena, t.n + 1, sizeof *t.known);
    if (!t.known) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t k = 0; k < a->n_solids; k++) {
        solids[k] = (po_against_solid){.name = a->solids[k].name, .wanted = a->solids[k].wanted};
    }
    status = match_solids(a, &t, solids, 0, err);
    if (status == PO_OK) {
        status = match_bodies(a, &t, solids, &ret->n_solids, err);
    }
    for (size_t i = 0; i < t.n; i++) {
        ret->others += !t.known[i];
    }
    ret->objects = t.n;
    ret->solids = solids;
    return status;
}

int cli_check_against(const cli_check *check, const char *job_path, const po_job_report *job, po_arena *arena,
                      const po_against **ret)
{
    against a = {.check = check, .arena = arena};
    po_against *found = po_arena_zeros(arena, 1, sizeof *found);
    po_err err;
    if (!found) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    po_status status = read_solids(&a, check->against, &err);
    if (status != PO_OK) {
        if (!err.where[0]) {
            snprintf(err.where, sizeof err.where, "%s", check->against);
        }
        int result = cli_fail_err(&err);
        return result == EXIT_NO_JOB ? EXIT_USAGE : result; /* the job is one; what it is held against is not */
    }
    found->part = check->against;
    status = match_all(&a, job, found, &err);
    if (status != PO_OK) {
        if (!err.where[0]) {
            snprintf(err.where, sizeof err.where, "%s", job_path);
        }
        return cli_fail_err(&err);
    }
    *ret = found;
    return EXIT_CLEAR;
}
