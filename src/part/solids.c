/* One solid of a part measured: what no machine has a say in, and where it fits. SPDX-License-Identifier: Apache-2.0
 *
 * Facts and cuts are of the mesh as the file gives it (seams closed within the tolerance of docs/measures.md). Walls, ways
 * up, fits and estimates need to know inside from outside: where triangles run the wrong way round they are taken of the
 * mesh turned right, and how much had to be turned is kept. An edge of more than two triangles is no fault for them as long
 * as it is run as often one way as the other: bodies that touch along an edge still have an inside. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/partfacts.h"
#include "part/topology.h"
#include "proveout/pieces.h"

enum { MOST_SECTIONS = 6 };

/* ---- edges, shells, sheets ---- */

typedef struct edge_use {
    uint32_t low, high;
    int32_t way; /* +1 from low to high, -1 back */
} edge_use;

static int by_edge(const void *left, const void *right)
{
    const edge_use *a = left, *b = right;
    return a->low != b->low ? (a->low < b->low ? -1 : 1) : a->high < b->high ? -1 : a->high > b->high;
}

static void middle_of(const po_mesh *mesh, const edge_use *e, double ret[3])
{
    for (size_t k = 0; k < 3; k++) {
        ret[k] = mesh->xyz[3 * (size_t)e->low + k] / 2 + mesh->xyz[3 * (size_t)e->high + k] / 2;
    }
}

/* Edges of more than two triangles that are not run as often one way as the other. open_at, crowded_at: NULL, or where
 * one such edge is; left alone where there is none. */
static po_status look_at_edges(const po_mesh *mesh, double *open_at, double *crowded_at, uint64_t *ret_uneven,
                               po_err *err)
{
    edge_use *uses = calloc(mesh->n_triangles ? mesh->n_triangles : 1, 3 * sizeof *uses);
    if (uses == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for a part's edges");
    }
    size_t n = 0;
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        if (c[0] == c[1] || c[1] == c[2] || c[2] == c[0]) {
            continue;
        }
        for (int k = 0; k < 3; k++) {
            uint32_t a = c[k], b = c[(k + 1) % 3];
            uses[n++] = a < b ? (edge_use){a, b, 1} : (edge_use){b, a, -1};
        }
    }
    qsort(uses, n, sizeof *uses, by_edge);
    *ret_uneven = 0;
    for (size_t i = 0; i < n;) {
        size_t end = i;
        int64_t sum = 0;
        for (; end < n && by_edge(&uses[i], &uses[end]) == 0; end++) {
            sum += uses[end].way;
        }
        *ret_uneven += end - i > 2 && sum != 0;
        double *at = end - i == 1 ? open_at : end - i > 2 ? crowded_at : NULL;
        if (at != NULL && isnan(at[0])) {
            middle_of(mesh, &uses[i], at);
        }
        i = end;
    }
    free(uses);
    return PO_OK;
}

typedef struct face {
    uint32_t corners[3]; /* the least first */
} face;

static int by_corners(const void *left, const void *right)
{
    return memcmp(left, right, sizeof(face)); /* any order does */
}

/* Triangles that come again with the same side outwards. Bodies that stand face to face share theirs the other way. */
static po_status count_twice(const po_mesh *mesh, uint64_t *ret, po_err *err)
{
    face *faces = malloc((mesh->n_triangles + 1) * sizeof *faces);
    if (faces == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for a part's doubled triangles");
    }
    size_t n = 0;
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        size_t k = c[0] <= c[1] && c[0] <= c[2] ? 0 : c[1] <= c[2] ? 1 : 2;
        if (c[0] != c[1] && c[1] != c[2] && c[2] != c[0]) {
            faces[n++] = (face){{c[k], c[(k + 1) % 3], c[(k + 2) % 3]}};
        }
    }
    qsort(faces, n, sizeof *faces, by_corners);
    *ret = 0;
    for (size_t i = 1; i < n; i++) {
        *ret += by_corners(&faces[i - 1], &faces[i]) == 0;
    }
    free(faces);
    return PO_OK;
}

static double sheet_share(const po_mesh *mesh, double area)
{
    double sum[3] = {0, 0, 0};
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const double *p[3];
        for (int k = 0; k < 3; k++) {
            p[k] = mesh->xyz + 3 * (size_t)mesh->corners[3 * t + (size_t)k];
        }
        for (int k = 0; k < 3; k++) {
            int a = (k + 1) % 3, b = (k + 2) % 3;
            sum[k] += (p[1][a] - p[0][a]) * (p[2][b] - p[0][b]) - (p[1][b] - p[0][b]) * (p[2][a] - p[0][a]);
        }
    }
    return area > 0 ? sqrt(sum[0] * sum[0] + sum[1] * sum[1] + sum[2] * sum[2]) / 2 / area : NAN;
}

/* How far a triangle reaches through the plane of another: the lesser of its ends on both sides. */
static double reach_through(const double *const a[3], const double *const b[3])
{
    double n[3], low = INFINITY, high = -INFINITY;
    for (int k = 0; k < 3; k++) {
        int i = (k + 1) % 3, l = (k + 2) % 3;
        n[k] = (b[1][i] - b[0][i]) * (b[2][l] - b[0][l]) - (b[1][l] - b[0][l]) * (b[2][i] - b[0][i]);
    }
    double length = sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
    for (int v = 0; v < 3; v++) {
        double d = 0;
        for (int k = 0; k < 3; k++) {
            d += (a[v][k] - b[0][k]) * n[k];
        }
        low = fmin(low, d / length);
        high = fmax(high, d / length);
    }
    return length > 0 ? fmax(fmin(-low, high), 0) : 0;
}

static double cut_depth(const po_mesh *mesh, const uint32_t pair[2])
{
    const double *p[2][3];
    for (int t = 0; t < 2; t++) {
        for (int k = 0; k < 3; k++) {
            p[t][k] = mesh->xyz + 3 * (size_t)mesh->corners[3 * (size_t)pair[t] + (size_t)k];
        }
    }
    return fmin(reach_through(p[0], p[1]), reach_through(p[1], p[0]));
}

/* Pairs of triangles of one shell among those listed, and the deepest of them with its place. */
static po_status look_at_cuts(const po_mesh *mesh, int threads, po_solid *s, po_err *err)
{
    po_topology topology;
    po_pool *pool = po_pool_new(mesh->n_triangles < PO_ONE_THREAD_BELOW ? 1 : threads);
    if (pool == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for a part's shells");
    }
    po_status status = po_topology_find(mesh, pool, &topology, err);
    if (status == PO_OK) {
        size_t deepest = 0;
        for (size_t i = 0; i < s->cuts.n_first; i++) {
            const uint32_t *pair = s->cuts.first[i];
            uint32_t a = mesh->corners[3 * (size_t)pair[0]], b = mesh->corners[3 * (size_t)pair[1]];
            if (topology.shell_of[a] == topology.shell_of[b]) {
                double depth = cut_depth(mesh, pair);
                deepest = s->cuts_within == 0 || depth > s->cut_depth_mm ? i : deepest;
                s->cut_depth_mm = fmax(s->cut_depth_mm, depth);
                s->cuts_within++;
            }
        }
        const uint32_t *c = mesh->corners + 3 * (size_t)s->cuts.first[deepest][0];
        for (size_t k = 0; k < 3; k++) { /* the middle of a triangle that takes part */
            s->cut_at[k] = (mesh->xyz[3 * (size_t)c[0] + k] + mesh->xyz[3 * (size_t)c[1] + k] +
                            mesh->xyz[3 * (size_t)c[2] + k]) /
                           3;
        }
        po_topology_done(&topology);
    }
    po_pool_free(pool);
    return status;
}

static void count_shells(po_solid *s, double bead_mm)
{
    const po_mesh_facts *f = &s->facts;
    uint64_t solid = 0, negative = 0;
    if (f->shell_volumes_mm3 == NULL) {
        s->loose_shells = f->shells > 0 ? f->shells - 1 : 0; /* too many to tell cavities from the rest */
        return;
    }
    for (uint64_t i = 0; i < f->shells; i++) {
        double v = f->shell_volumes_mm3[i];
        negative += v < 0;
        solid += v >= 0;
        s->specks += fabs(v) < bead_mm * bead_mm * bead_mm;
    }
    solid += s->shells_inside_out < negative ? s->shells_inside_out : negative; /* those are no cavities */
    s->loose_shells = solid > 0 ? solid - 1 : 0;
}

/* ---- the right way round ---- */

static bool has_negative_shell(const po_mesh_facts *f)
{
    if (f->shell_volumes_mm3 == NULL) {
        return f->volume_mm3 < 0;
    }
    for (uint64_t i = 0; i < f->shells; i++) {
        if (f->shell_volumes_mm3[i] < 0) {
            return true;
        }
    }
    return false;
}

static bool evenly_closed(const po_mesh_facts *f, uint64_t uneven)
{
    return f->watertight || (f->triangles > 0 && f->open_edges == 0 && f->flipped_triangles == 0 && uneven == 0);
}

static po_status turn_right(const po_solid_setup *setup, po_solid *s, po_arena *arena, po_err *err)
{
    const po_mesh_facts *f = &s->facts;
    s->judged = f->judged;
    if (f->crowded_edges + f->open_edges > 0) {
        po_status status = look_at_edges(f->judged, s->open_at, s->crowded_at, &s->uneven_edges, err);
        if (status != PO_OK) {
            return status;
        }
    }
    if (f->doubled_triangles > 0) {
        po_status status = count_twice(f->judged, &s->twice, err);
        if (status != PO_OK) {
            return status;
        }
    }
    s->closed = evenly_closed(f, s->uneven_edges);
    if (f->open_edges > 0 || !(f->flipped_triangles > 0 || has_negative_shell(f))) {
        return PO_OK;
    }
    po_mend mend;
    po_status status = po_mesh_mend(f->judged, NAN, setup->options->threads, arena, &mend, err);
    if (status != PO_OK) {
        return po_go_without(setup->unmeasured, "Which way round its triangles run", err) ? PO_OK : status;
    }
    if (mend.triangles_turned + mend.shells_turned == 0) {
        return PO_OK;
    }
    uint64_t uneven = 0;
    if (mend.after.crowded_edges > 0) {
        status = look_at_edges(mend.mesh, NULL, NULL, &uneven, err);
        if (status != PO_OK) {
            return status;
        }
    }
    if (evenly_closed(&mend.after, uneven)) {
        s->judged = mend.mesh;
        s->closed = true;
    }
    s->shells_inside_out = mend.shells_turned;
    return PO_OK;
}

/* ---- pictures ---- */

static int rising(const void *left, const void *right)
{
    const double *a = left, *b = right;
    return *a < *b ? -1 : *a > *b;
}

/* Heights worth a drawing: the first layer, the thinnest wall, the narrowest gap, and evenly spaced ones. */
static po_status find_sections(const po_solid_setup *setup, po_solid *s, po_arena *arena, po_err *err)
{
    double low = s->facts.bounds_mm[0][2], high = s->facts.bounds_mm[1][2], tall = high - low;
    if (!(tall > 0)) {
        return PO_OK;
    }
    double z[MOST_SECTIONS + 2];
    size_t n = 0;
    z[n++] = low + fmin(setup->pose.first_layer_mm / 2, tall / 2);
    if (s->walls_done && s->walls.thinnest_sheet_mm < 2 * s->walls.bead_mm) {
        z[n++] = s->walls.sheet_at[2];
    }
    if (s->walls_done && !isnan(s->walls.narrowest_gap_mm)) {
        z[n++] = s->walls.gap_at[2];
    }
    for (int i = 1; n < MOST_SECTIONS; i++) {
        z[n++] = low + tall * (0.3 * i - 0.05); /* 0.25, 0.55, 0.85: off the middle, where symmetry hides things */
        if (i == 3) {
            break;
        }
    }
    qsort(z, n, sizeof *z, rising);
    size_t kept = 0;
    for (size_t i = 0; i < n; i++) {
        if (isfinite(z[i]) && z[i] > low && z[i] < high && (kept == 0 || z[i] - z[kept - 1] > tall / 50)) {
            z[kept++] = z[i];
        }
    }
    po_section *sections = po_arena_zeros(arena, kept + 1, sizeof *sections);
    if (sections == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for a part's sections");
    }
    po_status status = po_mesh_sections(s->judged, z, kept, setup->options->threads, arena, sections, err);
    if (status != PO_OK) {
        return po_go_without(setup->unmeasured, "The sections for pictures", err) ? PO_OK : status;
    }
    s->sections = sections;
    s->n_sections = kept;
    return PO_OK;
}

/* ---- all of it ---- */

static po_status find_cuts(const po_solid_setup *setup, po_solid *s, po_arena *arena, po_err *err)
{
    int threads = setup->options->threads;
    po_status status = po_mesh_find_self_cuts(s->facts.judged, threads, arena, &s->cuts, err);
    if (status != PO_OK) {
        return po_go_without(setup->unmeasured, "Whether it cuts itself", err) ? PO_OK : status;
    }
    s->cuts_done = true;
    return s->cuts.n_first > 0 ? look_at_cuts(s->facts.judged, threads, s, err) : PO_OK;
}

static po_status find_walls(const po_solid_setup *setup, po_solid *s, po_arena *arena, po_err *err)
{
    po_status status = po_mesh_walls(s->judged, setup->bead_mm, 0, 1, setup->options->threads, arena, &s->walls, err);
    if (status != PO_OK) {
        return po_go_without(setup->unmeasured, "How thick its walls are", err) ? PO_OK : status;
    }
    s->walls_done = true;
    return PO_OK;
}

static po_status find_poses(const po_solid_setup *setup, po_solid *s, po_arena *arena, po_err *err)
{
    if (po_part_is_vast(setup->shop, &s->facts)) {
        (void)po_fail(err, PO_E_UNSUPPORTED, "it is far larger than anything printed here");
        (void)po_go_without(setup->unmeasured, "How it lies", err);
        return PO_OK;
    }
    if (setup->options->poses && s->closed) {
        po_status status = po_pose_find(s->judged, &setup->pose, NULL, 0, setup->options->threads, po_steps_within,
                                        setup->steps, arena, &s->poses, &s->n_poses, &s->as_is, err);
        if (status == PO_OK) {
            s->lies = s->poses[s->as_is];
            s->lies_done = true;
            return PO_OK;
        }
        s->poses = NULL;
        s->n_poses = 0;
        if (!po_go_without(setup->unmeasured, "Which ways up it could lie", err)) {
            return status;
        }
    }
    po_status status = po_pose_measure(s->judged, NULL, &setup->pose, setup->options->threads, arena, &s->lies, err);
    if (status != PO_OK) {
        return po_go_without(setup->unmeasured, "How it lies", err) ? PO_OK : status;
    }
    s->lies_done = true;
    return PO_OK;
}

static po_status find_fits(const po_solid_setup *setup, po_solid *s, po_arena *arena, po_err *err)
{
    size_t n = setup->shop->n_machines;
    po_fit *fits = po_arena_zeros(arena, n + 1, sizeof *fits);
    if (fits == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for a part's fits");
    }
    for (size_t i = 0; i < n; i++) {
        /* clearance: beads of the outermost wall lie within the outline, so the bed may be used to its edge */
        po_status status = po_part_fit(s->judged, &setup->shop->machines[i], 0, s->poses, s->n_poses, arena, &fits[i],
                                       err);
        if (status != PO_OK) {
            return po_go_without(setup->unmeasured, "Where it fits", err) ? PO_OK : status;
        }
    }
    s->fits = fits;
    return PO_OK;
}

po_status po_solid_measure(const po_solid_setup *setup, const po_copies *copies, po_arena *arena, po_solid *s,
                           po_err *err)
{
    const po_part_item *item = copies->items[0];
    const po_part_object *object = &setup->part->objects[item->object];
    *s = (po_solid){.name = object->name,
                    .object = item->object,
                    .build_item = item->build_item,
                    .times = (uint32_t)copies->n_items,
                    .open_at = {NAN, NAN, NAN},
                    .crowded_at = {NAN, NAN, NAN},
                    .afloat_at = {NAN, NAN, NAN},
                    .cut_at = {NAN, NAN, NAN},
                    .cut_depth_mm = NAN};
    po_status status = po_steps_begin(setup->steps, PO_SOLID_STEPS / 2, err);
    if (status == PO_OK) {
        status = po_mesh_placed(&object->mesh, item->matrix, arena, &s->mesh, err);
    }
    if (status == PO_OK) {
        status = po_mesh_measure(s->mesh, setup->options->threads, arena, &s->facts, err);
    }
    if (status == PO_OK) {
        s->sheet_share = sheet_share(s->facts.judged, s->facts.area_mm2);
        status = turn_right(setup, s, arena, err);
    }
    if (status == PO_OK) {
        count_shells(s, setup->bead_mm);
        /* half a bead apart: less grows together */
        status = po_solid_afloat(s->judged, s->facts.shells, setup->bead_mm / 2, &s->afloat, s->afloat_at, err);
    }
    if (status == PO_OK) {
        status = find_cuts(setup, s, arena, err);
    }
    if (status == PO_OK) {
        status = po_steps_begin(setup->steps, PO_SOLID_STEPS / 2, err);
    }
    if (status == PO_OK) {
        status = find_walls(setup, s, arena, err);
    }
    if (status == PO_OK) {
        status = po_steps_begin(setup->steps, PO_POSES_STEPS, err);
    }
    if (status == PO_OK) {
        status = find_poses(setup, s, arena, err);
    }
    if (status == PO_OK) {
        status = find_fits(setup, s, arena, err);
    }
    if (status == PO_OK && setup->options->images) {
        status = find_sections(setup, s, arena, err);
    }
    return status;
}
