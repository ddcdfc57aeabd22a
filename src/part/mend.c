/* Mending, step by step. SPDX-License-Identifier: Apache-2.0
 *
 * Weld what nearly meets at open edges (seams.c), drop triangles that are too many, turn those that lie the wrong way
 * round, fill holes, flip triangles without area away, turn shells. After each step open and crowded
 * edges are counted: a step that leaves more of either is taken back whole. What cuts itself is not touched: which side
 * is meant only a person knows. Nor are crowded edges parted: bodies that touch in a line would do so still, as a cut. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/mend.h"
#include "part/topology.h"
#include "proveout/pieces.h"

static const double WELD = 1e-5;         /* of the diagonal: docs/measures.md, "Meshes" */
static const double LARGEST_WELD = 0.01; /* of the diagonal */
static const double LEAST_WELD = 1e-9;   /* of the diagonal: less is rounding */
enum { MOST_SAYS = 16, ANY_CORNERS = 1 << 24 };

typedef struct counts {
    uint64_t open, crowded, against;
} counts;

typedef struct work {
    po_mending m;
    po_pool *pool;
    po_arena *arena;
    counts now;
    uint32_t *kept_corners; /* before the step at hand */
    size_t kept_triangles;
    const char *says[MOST_SAYS], *left[MOST_SAYS];
    size_t n_says, n_left;
    bool no_memory, changed;
    uint64_t twisted;
    po_hole_counts holes;
    po_shell_counts shells;
    po_mend mend;
} work;

static void say(work *w, bool left, const char *text)
{
    w->no_memory = w->no_memory || !text;
    if (left && w->n_left < MOST_SAYS) {
        w->left[w->n_left++] = text;
    } else if (!left && w->n_says < MOST_SAYS) {
        w->says[w->n_says++] = text;
    }
}

#define SAY(w, ...) say(w, false, po_arena_printf((w)->arena, __VA_ARGS__))
#define LEAVE(w, ...) say(w, true, po_arena_printf((w)->arena, __VA_ARGS__))
#define NUMBER(n, one, many) (unsigned long long)(n), (n) == 1 ? (one) : (many)

static po_status count(work *w, counts *ret, po_err *err)
{
    po_mesh mesh = po_mending_mesh(&w->m);
    po_topology t;
    po_status s = po_topology_find(&mesh, w->pool, &t, err);
    if (s == PO_OK) {
        *ret = (counts){t.open, t.crowded, t.against};
        po_topology_done(&t);
    }
    return s;
}

static po_status keep(work *w, po_err *err)
{
    uint32_t *corners = realloc(w->kept_corners, (3 * w->m.n_triangles + 1) * sizeof *corners);
    if (!corners) {
        return po_fail(err, PO_E_NOMEM, "no memory to mend %zu triangles", w->m.n_triangles);
    }
    w->kept_corners = corners;
    w->kept_triangles = w->m.n_triangles;
    memcpy(corners, w->m.corners, 3 * w->m.n_triangles * sizeof *corners);
    return PO_OK;
}

static void take_back(work *w)
{
    w->m.n_triangles = w->kept_triangles; /* steps never give memory back */
    memcpy(w->m.corners, w->kept_corners, 3 * w->kept_triangles * sizeof *w->m.corners);
}

/* Did the step leave it no worse? Takes it back where not. */
static po_status accept(work *w, bool *ret_good, po_err *err)
{
    counts after;
    po_status s = PO_OK;
    *ret_good = w->m.n_triangles > 0;
    if (*ret_good) {
        s = count(w, &after, err);
        *ret_good = s == PO_OK && after.open <= w->now.open && after.crowded <= w->now.crowded;
    }
    if (*ret_good) {
        w->now = after;
    } else {
        take_back(w);
    }
    return s;
}

static po_status weld(work *w, double tolerance, po_err *err)
{
    for (double t = tolerance; w->now.open && t >= LEAST_WELD * w->m.diagonal && t > 0; t /= 10) {
        po_mesh mesh = po_mending_mesh(&w->m);
        const po_mesh *closed = NULL;
        po_topology before, after;
        po_arena *arena = po_arena_new(0);
        po_status s = arena ? po_topology_find(&mesh, w->pool, &before, err)
                            : po_fail(err, PO_E_NOMEM, "no memory to weld %zu vertices", mesh.n_vertices);
        if (s != PO_OK) {
            po_arena_free(arena);
            return s;
        }
        s = po_seams_close(&mesh, &before, t, arena, &closed, err);
        po_topology_done(&before);
        if (s == PO_OK) {
            s = po_topology_find(closed, w->pool, &after, err);
        }
        bool better = false;
        if (s == PO_OK) {
            better = after.n_vertices && after.open < w->now.open && after.crowded <= w->now.crowded;
            if (better) {
                memcpy(w->m.xyz, closed->xyz, 3 * closed->n_vertices * sizeof(double));
                memcpy(w->m.corners, closed->corners, 3 * closed->n_triangles * sizeof(uint32_t));
                w->mend.welded_vertices = before.n_vertices - after.n_vertices;
                w->mend.weld_mm = t;
                w->changed = true;
                SAY(w, "%llu %s welded to neighbours within %.3g mm: %llu open %s closed.",
                    NUMBER(w->mend.welded_vertices, "vertex was", "vertices were"), t,
                    NUMBER(w->now.open - after.open, "edge", "edges"));
                w->m.n_vertices = closed->n_vertices;
                w->now = (counts){after.open, after.crowded, after.against};
            }
            po_topology_done(&after);
        }
        po_arena_free(arena);
        if (s != PO_OK || better) {
            return s;
        }
    }
    return PO_OK;
}

static po_status drop(work *w, po_err *err)
{
    bool good = false;
    for (int keep_one = 0; keep_one < 2 && !good; keep_one++) {
        uint64_t flat, doubled;
        po_status s = keep(w, err);
        if (s == PO_OK) {
            s = po_mend_drop(&w->m, keep_one, &flat, &doubled, err);
        }
        if (s != PO_OK || flat + doubled == 0) {
            return s;
        }
        s = accept(w, &good, err);
        if (s != PO_OK) {
            return s;
        }
        if (good) {
            w->changed = true;
            w->mend.flat_dropped += flat;
            w->mend.doubled_dropped += doubled;
        }
    }
    return PO_OK;
}

static po_status turn(work *w, po_err *err)
{
    uint64_t turned;
    po_status s = po_mend_turn(&w->m, &turned, &w->twisted, err);
    if (s == PO_OK && turned) {
        w->mend.triangles_turned += turned;
        w->changed = true;
        SAY(w, "%llu %s turned to face as the neighbours do.", NUMBER(turned, "triangle was", "triangles were"));
    }
    return s;
}

static po_status fill(work *w, po_err *err)
{
    bool good = false;
    static const size_t largest[2] = {ANY_CORNERS, 3}; /* triangles alone need no new edge */
    for (int round = 0; w->now.open && round < 2 && !good; round++) {
        po_status s = keep(w, err);
        if (s == PO_OK) {
            s = po_mend_holes(&w->m, largest[round], &w->holes, err);
        }
        if (s == PO_OK && w->holes.filled == 0) {
            return PO_OK;
        }
        if (s == PO_OK) {
            s = accept(w, &good, err);
        }
        if (s != PO_OK) {
            return s;
        }
    }
    if (good) {
        w->changed = true;
        w->mend.holes_filled += w->holes.filled;
        w->mend.triangles_added += w->holes.triangles;
        SAY(w, "%llu %s filled with %llu %s.", NUMBER(w->holes.filled, "hole was", "holes were"),
            NUMBER(w->holes.triangles, "triangle", "triangles"));
    }
    return PO_OK;
}

static po_status flatten(work *w, po_err *err)
{
    uint64_t flat = 0;
    bool good;
    po_status s = keep(w, err);
    if (s == PO_OK) {
        s = po_mend_flat(&w->m, &flat, err);
    }
    if (s != PO_OK || flat == 0) {
        return s;
    }
    uint64_t against = w->now.against;
    s = accept(w, &good, err);
    if (s == PO_OK && good && w->now.against > against) {
        take_back(w);
        return count(w, &w->now, err);
    }
    if (s == PO_OK && good) {
        w->mend.flat_dropped += flat;
        w->changed = true;
    }
    return s;
}

static po_status turn_shells(work *w, po_err *err)
{
    po_status s = po_mend_shells(&w->m, &w->shells, err);
    uint64_t out = w->shells.turned - w->shells.cavities;
    w->mend.shells_turned += w->shells.turned;
    w->changed = w->changed || w->shells.turned;
    if (s == PO_OK && out) {
        SAY(w, "%llu %s turned inside out, to face outwards.", NUMBER(out, "piece was", "pieces were"));
    }
    if (s == PO_OK && w->shells.cavities) {
        SAY(w, "%llu %s inside another faced the wrong way and now %s a cavity.",
            NUMBER(w->shells.cavities, "piece", "pieces"), w->shells.cavities == 1 ? "bounds" : "bound");
        LEAVE(w, "If %s inside another that %s turned %s meant to be solid, take %s out of the drawing.",
              w->shells.cavities == 1 ? "the piece" : "a piece", w->shells.cavities == 1 ? "was" : "was", "is", "it");
    }
    return s;
}

static po_status steps(work *w, double tolerance, po_err *err)
{
    po_status s = count(w, &w->now, err);
    if (s == PO_OK) {
        s = weld(w, tolerance, err);
    }
    if (s == PO_OK) {
        s = drop(w, err);
    }
    if (s == PO_OK && w->now.against) {
        s = turn(w, err);
    }
    if (s == PO_OK) {
        s = fill(w, err);
    }
    if (s == PO_OK) {
        s = flatten(w, err);
    }
    if (s == PO_OK) {
        s = turn_shells(w, err);
    }
    if (s == PO_OK && w->mend.flat_dropped) {
        SAY(w, "%llu flat %s dropped.", NUMBER(w->mend.flat_dropped, "triangle was", "triangles were"));
    }
    if (s == PO_OK && w->mend.doubled_dropped) {
        SAY(w, "%llu doubled %s dropped.", NUMBER(w->mend.doubled_dropped, "triangle was", "triangles were"));
    }
    return s;
}

/* The mesh in the arena, without vertices that nothing uses. */
static const po_mesh *finished(work *w, po_err *err)
{
    const po_mending *m = &w->m;
    uint32_t *numbers = calloc(m->n_vertices + 1, sizeof *numbers);
    size_t n = 0;
    po_mesh *mesh = po_arena_zeros(w->arena, 1, sizeof *mesh);
    uint32_t *corners = po_arena_zeros(w->arena, m->n_triangles, 3 * sizeof *corners);
    double *xyz = NULL;
    for (size_t i = 0; numbers && i < 3 * m->n_triangles; i++) {
        n += !numbers[m->corners[i]];
        numbers[m->corners[i]] = 1;
    }
    xyz = po_arena_zeros(w->arena, n, 3 * sizeof *xyz);
    if (!numbers || !mesh || !corners || !xyz) {
        free(numbers);
        (void)po_fail(err, PO_E_NOMEM, "no memory for the mended mesh of %zu triangles", m->n_triangles);
        return NULL;
    }
    n = 0;
    for (size_t v = 0; v < m->n_vertices; v++) {
        if (numbers[v]) {
            memcpy(xyz + 3 * n, m->xyz + 3 * v, 3 * sizeof *xyz);
            numbers[v] = (uint32_t)n++;
        }
    }
    for (size_t i = 0; i < 3 * m->n_triangles; i++) {
        corners[i] = numbers[m->corners[i]];
    }
    free(numbers);
    *mesh = (po_mesh){xyz, n, corners, m->n_triangles};
    return mesh;
}

static po_status tell_what_is_left(work *w, int threads, po_err *err)
{
    const po_mesh_facts *a = &w->mend.after;
    po_mesh_self_cuts cuts;
    po_status s = po_mesh_find_self_cuts(w->mend.mesh, threads, w->arena, &cuts, err);
    if (s != PO_OK) {
        return s;
    }
    if (w->now.open) {
        LEAVE(w, "%llu open %s: %s. Close the surface in the drawing.",
              NUMBER(w->now.open, "edge is left", "edges are left"),
              w->holes.large    ? "a hole is too large and not flat"
              : w->holes.sheets ? "a surface ends there that has no thickness"
                                : "no simple loop runs around the hole");
    }
    if (w->now.crowded) {
        LEAVE(w,
              "%llu %s by more than two triangles: walls that meet in a line, or lie on each other. Join them or part "
              "them in the drawing.",
              NUMBER(w->now.crowded, "edge is shared", "edges are shared"));
    }
    if (w->twisted) {
        LEAVE(w, "%llu %s no inside and outside: a surface that is twisted into itself. Draw it anew.",
              NUMBER(w->twisted, "piece has", "pieces have"));
    }
    if (cuts.pairs) {
        LEAVE(w, "The surface cuts itself: %s%llu %s of triangles. Join the bodies in the drawing.",
              cuts.complete ? "" : "at least ", NUMBER(cuts.pairs, "pair", "pairs"));
    }
    if (a->flat_triangles) {
        LEAVE(w, "%llu flat %s, which would tear the surface if dropped; printing does not mind.",
              NUMBER(a->flat_triangles, "triangle is left", "triangles are left"));
    }
    if (w->shells.too_many) {
        LEAVE(w, "There are too many pieces to look which lies within which: none was turned.");
    }
    if (a->watertight && !(fabs(a->volume_mm3) > 0)) {
        LEAVE(w, "The surface holds no volume: walls without thickness. Give them some in the drawing.");
    }
    return PO_OK;
}

static po_status begin(work *w, const po_mesh *mesh, double weld_mm, double *ret_tolerance, po_err *err)
{
    /* of the mesh as it is: the facts may be of a welded one, which is smaller where all that lay outside fell flat */
    po_topology t;
    po_status s = po_topology_find(mesh, w->pool, &t, err);
    if (s != PO_OK) {
        return s;
    }
    for (int k = 0; t.n_vertices && k < 3; k++) {
        w->m.diagonal = hypot(w->m.diagonal, t.bounds[1][k] - t.bounds[0][k]);
    }
    po_topology_done(&t);
    *ret_tolerance = isnan(weld_mm) ? WELD * w->m.diagonal : weld_mm;
    if (!(*ret_tolerance >= 0 && *ret_tolerance <= LARGEST_WELD * w->m.diagonal)) {
        return po_fail(err, PO_E_RANGE, "welding within %g mm, wanted 0 to a hundredth of the part's diagonal, %g mm",
                       weld_mm, LARGEST_WELD * w->m.diagonal);
    }
    w->m.n_vertices = mesh->n_vertices;
    w->m.n_triangles = w->m.cap_triangles = mesh->n_triangles;
    w->m.xyz = malloc((3 * mesh->n_vertices + 1) * sizeof *w->m.xyz);
    w->m.corners = malloc((3 * mesh->n_triangles + 1) * sizeof *w->m.corners);
    if (!w->m.xyz || !w->m.corners) {
        return po_fail(err, PO_E_NOMEM, "no memory to mend %zu triangles", mesh->n_triangles);
    }
    memcpy(w->m.xyz, mesh->xyz, 3 * mesh->n_vertices * sizeof *w->m.xyz);
    memcpy(w->m.corners, mesh->corners, 3 * mesh->n_triangles * sizeof *w->m.corners);
    return PO_OK;
}

static po_status finish(work *w, const po_mesh *mesh, int threads, po_err *err)
{
    po_status s;
    w->mend.mesh = mesh;
    w->mend.after = w->mend.before;
    if (w->changed) {
        w->mend.mesh = finished(w, err);
        s = w->mend.mesh ? po_mesh_measure(w->mend.mesh, threads, w->arena, &w->mend.after, err) : PO_E_NOMEM;
        if (s != PO_OK) {
            return s;
        }
    }
    s = tell_what_is_left(w, threads, err);
    if (s != PO_OK) {
        return s;
    }
    if (!w->changed) {
        SAY(w, "%s",
            w->n_left ? "Nothing was mended: what is wrong has to be put right in the drawing."
                      : "Nothing needed mending.");
    }
    const char **says = po_arena_zeros(w->arena, w->n_says + 1, sizeof *says),
               **left = po_arena_zeros(w->arena, w->n_left + 1, sizeof *left);
    if (!says || !left || w->no_memory) {
        return po_fail(err, PO_E_NOMEM, "no memory to tell what was mended");
    }
    memcpy(says, w->says, w->n_says * sizeof *says);
    memcpy(left, w->left, w->n_left * sizeof *left);
    w->mend.says = says;
    w->mend.n_says = w->n_says;
    w->mend.left = left;
    w->mend.n_left = w->n_left;
    return PO_OK;
}

po_status po_mesh_mend(const po_mesh *mesh, double weld_mm, int threads, po_arena *arena, po_mend *ret, po_err *err)
{
    work w = {.arena = arena};
    double tolerance;
    po_status s = po_mesh_measure(mesh, threads, arena, &w.mend.before, err);
    if (s != PO_OK) {
        return s;
    }
    w.pool = po_pool_new(mesh->n_triangles < PO_ONE_THREAD_BELOW ? 1 : threads);
    if (!w.pool) {
        return po_fail(err, PO_E_NOMEM, "no threads to mend a part with");
    }
    s = begin(&w, mesh, weld_mm, &tolerance, err);
    if (s == PO_OK) {
        s = steps(&w, tolerance, err);
    }
    if (s == PO_OK) {
        s = finish(&w, mesh, threads, err);
    }
    if (s == PO_OK) {
        *ret = w.mend;
    }
    free(w.m.xyz);
    free(w.m.corners);
    free(w.kept_corners);
    po_pool_free(w.pool);
    return s;
}
