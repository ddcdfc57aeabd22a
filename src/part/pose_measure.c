/* One pose in full: overhangs, supports, bridges, foothold, stand. SPDX-License-Identifier: Apache-2.0
 *
 * Areas are sums over triangles; what lies within half a first layer of the bed is cut off them exactly. The space beneath
 * overhangs and the spans of bridges come from vertical lines on a raster (pose_columns.c, pose_spans.c), which also tell
 * faces that lie inside another shell: they are no overhangs. docs/measures.md, "Meshes", and docs/poses.md. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/sets.h"
#include "geometry/hull.h"
#include "part/pose.h"

static const double DEG = 57.295779513082321;
static const double LEVEL_DEG = 10;       /* a ceiling that slopes less is laid as bridges */
static const double STANDS_INSIDE = 0.05; /* of the hull's width; docs/measures.md */
static const double MOST_MM = 1e7;

typedef struct patch { /* overhanging triangles that hang together, at the root of their vertices */
    double area;
    uint32_t seen, hidden, open; /* columns that meet it from outside, inside another shell; seen ones that stay open */
} patch;

typedef struct look {
    const po_mesh *mesh;
    const po_pose_setup *setup;
    double *xyz; /* turned, lowest 0 */
    double bounds[2][3];
    double low_mm; /* up to here it stands on the bed */
    double down;   /* a unit normal with a lower z overhangs */
    double sign;   /* -1: all triangles run the other way round */
    double centre[3];
    uint32_t *parent; /* of vertices, over overhanging triangles */
    uint8_t *at_bed;  /* of vertices: corner of a foothold */
    patch *patches;   /* by root vertex */
    po_xy *feet;
    size_t n_feet, cap_feet;
    bool failed;
    uint8_t *marks; /* of triangles, for whoever asked; else NULL */
} look;

static po_status turn_all(look *l, const double *turn, po_err *err)
{
    const po_mesh *mesh = l->mesh;
    static const double as_is[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    turn = turn ? turn : as_is;
    for (int a = 0; a < 3; a++) {
        for (int b = a; b < 3; b++) { /* rows of a turn are at right angles and of length 1 */
            double dot = turn[3 * a] * turn[3 * b] + turn[3 * a + 1] * turn[3 * b + 1] +
                         turn[3 * a + 2] * turn[3 * b + 2];
            if (!(fabs(dot - (a == b)) < 1e-6)) {
                return po_fail(err, PO_E_RANGE, "a pose's nine numbers are no turn");
            }
        }
    }
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        if (mesh->corners[i] >= mesh->n_vertices) {
            po_status s = po_fail(err, PO_E_RANGE, "triangle %zu names vertex %u of %zu", i / 3, mesh->corners[i],
                                  mesh->n_vertices);
            if (err) {
                err->byte = i / 3;
            }
            return s;
        }
        l->at_bed[mesh->corners[i]] = 1; /* for now: used */
    }
    for (int k = 0; k < 3; k++) {
        l->bounds[0][k] = INFINITY;
        l->bounds[1][k] = -INFINITY;
    }
    for (size_t i = 0; i < mesh->n_vertices; i++) {
        const double *p = mesh->xyz + 3 * i;
        double *q = l->xyz + 3 * i;
        for (int k = 0; k < 3; k++) {
            q[k] = p[0] * turn[k] + p[1] * turn[3 + k] + p[2] * turn[6 + k];
        }
        if (!l->at_bed[i]) {
            memset(q, 0, 3 * sizeof *q);
            continue;
        }
        l->at_bed[i] = 0;
        for (int k = 0; k < 3; k++) {
            if (!(fabs(q[k]) <= MOST_MM)) {
                po_status s = po_fail(err, PO_E_RANGE, "vertex %zu lies beyond 10 km, or nowhere", i);
                if (err) {
                    err->byte = i;
                }
                return s;
            }
            l->bounds[0][k] = fmin(l->bounds[0][k], q[k]);
            l->bounds[1][k] = fmax(l->bounds[1][k], q[k]);
        }
    }
    for (size_t i = 0; i < mesh->n_vertices; i++) {
        l->xyz[3 * i + 2] -= l->bounds[0][2];
    }
    l->bounds[1][2] -= l->bounds[0][2];
    l->bounds[0][2] = 0;
    return PO_OK;
}

static void corners_of(const look *l, size_t t, const double *p[3])
{
    for (int k = 0; k < 3; k++) {
        p[k] = l->xyz + 3 * (size_t)l->mesh->corners[3 * t + (size_t)k];
    }
}

static double normal_of(const double *const p[3], double n[3])
{
    double e[3], f[3];
    for (int k = 0; k < 3; k++) {
        e[k] = p[1][k] - p[0][k];
        f[k] = p[2][k] - p[0][k];
    }
    n[0] = e[1] * f[2] - e[2] * f[1];
    n[1] = e[2] * f[0] - e[0] * f[2];
    n[2] = e[0] * f[1] - e[1] * f[0];
    return sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
}

/* Tetrahedra to the middle of the bounds; of a surface without volume, the centre of its area. */
static void weigh(look *l)
{
    double from[3], volume = 0, sum[3] = {0}, area = 0, flat[3] = {0};
    for (int k = 0; k < 3; k++) {
        from[k] = (l->bounds[0][k] + l->bounds[1][k]) / 2;
    }
    double box = 1;
    for (int k = 0; k < 3; k++) {
        box *= fmax(l->bounds[1][k] - l->bounds[0][k], 1e-9);
    }
    for (size_t t = 0; t < l->mesh->n_triangles; t++) {
        const double *p[3];
        double n[3];
        corners_of(l, t, p);
        double a = normal_of(p, n) / 2;
        double v = (n[0] * (p[0][0] - from[0]) + n[1] * (p[0][1] - from[1]) + n[2] * (p[0][2] - from[2])) / 6;
        volume += v;
        area += a;
        for (int k = 0; k < 3; k++) {
            double three = p[0][k] + p[1][k] + p[2][k];
            sum[k] += v * (three + from[k]) / 4;
            flat[k] += a * three / 3;
        }
    }
    l->sign = volume < 0 ? -1 : 1;
    bool solid = fabs(volume) > 1e-9 * box;
    for (int k = 0; k < 3; k++) {
        l->centre[k] = solid ? sum[k] / volume : area > 0 ? flat[k] / area : from[k];
    }
}

static void add_foot(look *l, double x, double y)
{
    if (l->n_feet == l->cap_feet) {
        size_t cap = l->cap_feet ? 2 * l->cap_feet : 256;
        po_xy *more = realloc(l->feet, cap * sizeof *more);
        if (!more) {
            l->failed = true;
            return;
        }
        l->feet = more;
        l->cap_feet = cap;
    }
    l->feet[l->n_feet++] = (po_xy){x, y};
}

/* The part of a triangle below low_mm: its area from above; its corners are noted. */
static double stand(look *l, const double *const p[3], const uint32_t *v)
{
    double area = 0, low = l->low_mm;
    po_xy poly[4];
    int n = 0;
    for (int k = 0; k < 3; k++) {
        const double *a = p[k], *b = p[(k + 1) % 3];
        if (a[2] <= low) {
            poly[n++] = (po_xy){a[0], a[1]};
            if (!l->at_bed[v[k]]) {
                l->at_bed[v[k]] = 1;
                add_foot(l, a[0], a[1]);
            }
        }
        if ((a[2] <= low) != (b[2] <= low)) {
            double s = (low - a[2]) / (b[2] - a[2]);
            poly[n] = (po_xy){a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])};
            add_foot(l, poly[n].x, poly[n].y);
            n++;
        }
    }
    for (int k = 2; k < n; k++) {
        area += (poly[k - 1].x - poly[0].x) * (poly[k].y - poly[0].y) -
                (poly[k - 1].y - poly[0].y) * (poly[k].x - poly[0].x);
    }
    return fabs(area) / 2;
}

/* Foothold, overhang and steps by triangle; *ret_hangs: some triangle overhangs above the bed. */
static void sum_triangles(look *l, po_pose *pose, bool *ret_hangs)
{
    const double steps_low = cos(PO_POSE_STEPS_HIGH_DEG / DEG), steps_high = cos(PO_POSE_STEPS_LOW_DEG / DEG);
    for (size_t t = 0; t < l->mesh->n_triangles; t++) {
        const double *p[3];
        double n[3];
        corners_of(l, t, p);
        double length = normal_of(p, n), z = l->sign * n[2];
        if (!(length > 0)) {
            continue;
        }
        pose->steps_mm2 += z >= steps_low * length && z <= steps_high * length ? length / 2 : 0;
        if (!(z < l->down * length)) {
            continue;
        }
        const uint32_t *v = l->mesh->corners + 3 * t;
        double least = fmin(p[0][2], fmin(p[1][2], p[2][2])), area = length / 2, share = 1;
        if (least <= l->low_mm) {
            double seen = -z / 2, below = fmin(stand(l, p, v), seen);
            pose->foothold_mm2 += below;
            share = fmax(p[0][2], fmax(p[1][2], p[2][2])) <= l->low_mm ? 0 : 1 - below / seen;
        }
        if (l->marks && share < 0.5) {
            l->marks[t] |= PO_MARK_FOOTHOLD;
        }
        if (share > 0) {
            if (l->marks && share >= 0.5) {
                l->marks[t] |= PO_MARK_HANGS; /* until the columns are asked */
            }
            po_set_join(l->parent, v[0], v[1]);
            po_set_join(l->parent, v[0], v[2]);
            l->patches[v[0]].area += share * area; /* gathered at the roots later */
            *ret_hangs = true;
        }
    }
}

/* Pieces of the foothold: corners at the bed that overhanging triangles join. */
static bool count_footholds(const look *l, po_pose *pose)
{
    const po_mesh *mesh = l->mesh;
    uint32_t *parent = malloc((mesh->n_vertices + 1) * sizeof *parent);
    if (!parent) {
        return false;
    }
    for (size_t i = 0; i < mesh->n_vertices; i++) {
        parent[i] = (uint32_t)i;
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *v = mesh->corners + 3 * t;
        if (!(l->at_bed[v[0]] | l->at_bed[v[1]] | l->at_bed[v[2]])) {
            continue;
        }
        const double *p[3];
        double n[3];
        corners_of(l, t, p);
        double length = normal_of(p, n);
        for (int k = 0; length > 0 && l->sign * n[2] < l->down * length && k < 3; k++) {
            if (l->at_bed[v[k]] && l->at_bed[v[(k + 1) % 3]]) {
                po_set_join(parent, v[k], v[(k + 1) % 3]);
            }
        }
    }
    for (size_t i = 0; i < mesh->n_vertices; i++) {
        pose->footholds += l->at_bed[i] && parent[i] == i;
    }
    free(parent);
    return true;
}

void po_pose_stand(po_xy *feet, size_t n_feet, const double centre[3], po_xy *hull, po_pose *pose)
{
    size_t n = po_hull(feet, n_feet, hull);
    double least = INFINITY;
    bool inside = n >= 3 && po_hull_area(hull, n) > 0;
    for (size_t k = 0; k < n && inside; k++) {
        po_xy a = hull[k], b = hull[(k + 1) % n];
        double x = b.x - a.x, y = b.y - a.y, length = hypot(x, y), width = 0;
        for (size_t m = 0; m < n && n <= 1000; m++) { /* of a rounder hull the corners across suffice */
            width = fmax(width, (x * (hull[m].y - a.y) - y * (hull[m].x - a.x)) / length);
        }
        for (size_t m = 0; m < 1000 && n > 1000; m++) {
            po_xy c = hull[(k + m * n / 1000) % n];
            width = fmax(width, (x * (c.y - a.y) - y * (c.x - a.x)) / length);
        }
        double inset = (x * (centre[1] - a.y) - y * (centre[0] - a.x)) / length;
        least = fmin(least, inset);
        inside &= inset >= STANDS_INSIDE * width;
        if (!(inset > 0)) {
            break;
        }
    }
    pose->stands = inside;
    pose->tip_deg = n >= 3 && isfinite(least) && least > 0 ? atan2(least, fmax(centre[2], 1e-12)) * DEG : 0;
}

/* The ceilings that columns meet from outside, by row, column and height. */
static po_status find_hangs(look *l, const po_columns *c, po_hang **ret_hangs, size_t *ret_n, double *support,
                            po_err *err)
{
    po_hang *hangs = NULL;
    size_t n_hangs = 0, cap = 0;
    double cell2 = c->cell[0] * c->cell[1];
    for (uint32_t j = 0; j < c->ny; j++) {
        for (uint32_t i = 0; i < c->nx; i++) {
            uint32_t n;
            const po_crossing *x = po_columns_at(c, i, j, &n);
            int inside = 0;
            float top = 0;
            for (uint32_t k = 0; k < n; k++) {
                float z = po_crossing_z(x[k]);
                if (po_crossing_leaves(x[k])) {
                    inside -= inside > 0;
                    top = inside ? top : z;
                    continue;
                }
                uint32_t t = po_crossing_triangle(x[k]);
                bool free_here = !inside++;
                const double *p[3];
                double normal[3];
                corners_of(l, t, p);
                double length = normal_of(p, normal), down = l->sign * normal[2];
                if (!(down < l->down * length) || z <= l->low_mm) {
                    continue;
                }
                patch *of = &l->patches[po_set_root(l->parent, l->mesh->corners[3 * (size_t)t])];
                if (!free_here) {
                    of->hidden++;
                    continue;
                }
                of->seen++;
                *support += (double)(z - top) * cell2;
                if (n_hangs == cap) {
                    cap = cap ? 2 * cap : 1024;
                    po_hang *more = realloc(hangs, cap * sizeof *more);
                    if (!more) {
                        free(hangs);
                        return po_fail(err, PO_E_NOMEM, "memory ran out while overhangs were looked for");
                    }
                    hangs = more;
                }
                hangs[n_hangs++] = (po_hang){.i = i,
                                             .j = j,
                                             .z = z,
                                             .gap = z - top,
                                             .triangle = t,
                                             .level = down <= -cos(LEVEL_DEG / DEG) * length,
                                             .open = 1};
            }
        }
    }
    *ret_hangs = hangs;
    *ret_n = n_hangs;
    return PO_OK;
}

/* Triangles that hang: those that carry themselves, and those that lie inside another shell, are told apart. */
static bool mark_hangs(const look *l, const po_hang *hangs, size_t n)
{
    typedef struct tally {
        uint32_t seen, open;
    } tally;
    tally *of = calloc(l->mesh->n_triangles, sizeof *of);
    for (size_t k = 0; of && k < n; k++) {
        of[hangs[k].triangle].seen++;
        of[hangs[k].triangle].open += hangs[k].open;
    }
    for (size_t t = 0; of && t < l->mesh->n_triangles; t++) {
        if (!(l->marks[t] & PO_MARK_HANGS)) {
            continue;
        }
        const patch *p = &l->patches[po_set_root(l->parent, l->mesh->corners[3 * t])];
        tally own = of[t].seen ? of[t] : (tally){p->seen > p->hidden ? p->seen : 0, p->open};
        l->marks[t] &= (uint8_t)~PO_MARK_HANGS;
        l->marks[t] |= !own.seen ? (p->seen + p->hidden ? 0 : PO_MARK_CARRIED) /* narrower than a cell: a ledge */
                       : 2 * own.open > own.seen ? PO_MARK_HANGS
                                                 : PO_MARK_CARRIED;
    }
    bool fine = of != NULL;
    free(of);
    return fine;
}

static po_status hang(look *l, po_pool *pool, po_pose *pose, po_err *err)
{
    po_columns columns;
    po_status s = po_columns_make(l->xyz, l->mesh, l->bounds, l->sign < 0, pool, &columns, err);
    if (s != PO_OK) {
        return s;
    }
    po_hang *hangs = NULL;
    size_t n = 0;
    pose->support_mm3 = 0;
    s = find_hangs(l, &columns, &hangs, &n, &pose->support_mm3, err);
    if (s == PO_OK) {
        s = po_spans_find(&columns, hangs, n, l->setup, &pose->longest_bridge_mm, err);
    }
    for (size_t k = 0; s == PO_OK && k < n; k++) {
        if (hangs[k].open) {
            l->patches[po_set_root(l->parent, l->mesh->corners[3 * (size_t)hangs[k].triangle])].open++;
            pose->support_open_mm3 += (double)hangs[k].gap * columns.cell[0] * columns.cell[1];
        }
    }
    for (size_t i = 0; s == PO_OK && i < l->mesh->n_vertices; i++) {
        const patch *of = &l->patches[i];
        if (l->parent[i] == i && of->area > 0) {
            double seen = of->seen + of->hidden ? (double)of->seen / (of->seen + of->hidden) : 1;
            pose->overhang_mm2 += of->area * seen;
            /* what no column meets is narrower than a cell: a ledge */
            pose->overhang_open_mm2 += of->seen ? of->area * seen * of->open / of->seen : 0;
        }
    }
    if (s == PO_OK && l->marks && !mark_hangs(l, hangs, n)) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out while overhangs were looked for");
    }
    free(hangs);
    po_columns_done(&columns);
    return s;
}

static po_status measure(look *l, const double *turn, po_pool *pool, po_pose *pose, po_err *err)
{
    po_status s = turn_all(l, turn, err);
    if (s != PO_OK) {
        return s;
    }
    weigh(l);
    for (size_t i = 0; i < l->mesh->n_vertices; i++) {
        l->parent[i] = (uint32_t)i;
    }
    for (int k = 0; k < 3; k++) {
        pose->size_mm[k] = l->bounds[1][k] - l->bounds[0][k];
    }
    pose->layers = po_pose_layers(pose->size_mm[2], l->setup);
    bool hangs = false;
    sum_triangles(l, pose, &hangs);
    po_xy *hull = malloc((l->n_feet + 1) * sizeof *hull);
    bool fine = hull && !l->failed && count_footholds(l, pose);
    if (fine) {
        po_pose_stand(l->feet, l->n_feet, l->centre, hull, pose);
    }
    free(hull);
    if (!fine) {
        return po_fail(err, PO_E_NOMEM, "memory ran out while a pose was measured");
    }
    for (size_t i = 0; hangs && i < l->mesh->n_vertices; i++) {
        uint32_t r = po_set_root(l->parent, (uint32_t)i);
        if (r != i) {
            l->patches[r].area += l->patches[i].area;
        }
    }
    return hangs ? hang(l, pool, pose, err) : PO_OK;
}

po_status po_pose_measure(const po_mesh *mesh, const double turn[9], const po_pose_setup *setup, int threads,
                          po_arena *arena, po_pose *ret, po_err *err)
{
    (void)arena; /* a pose is plain numbers; what it takes to find them is given back */
    return po_pose_mark(mesh, turn, setup, threads, NULL, ret, err);
}

po_status po_pose_mark(const po_mesh *mesh, const double turn[9], const po_pose_setup *setup, int threads,
                       uint8_t *marks, po_pose *ret, po_err *err)
{
    if (mesh->n_triangles == 0) {
        return po_fail(err, PO_E_EMPTY, "a part without triangles has no pose");
    }
    if (!(setup->overhang_limit_deg > 0 && setup->overhang_limit_deg < 90)) {
        return po_fail(err, PO_E_RANGE, "the overhang limit is %g degrees; expected more than 0 and less than 90",
                       setup->overhang_limit_deg);
    }
    double first = setup->first_layer_mm > 0 ? setup->first_layer_mm : setup->layer_mm > 0 ? setup->layer_mm : 0.2;
    look l = {.mesh = mesh, .setup = setup, .low_mm = first / 2, .marks = marks};
    l.down = -sin((setup->overhang_limit_deg + PO_POSE_SLACK_DEG) / DEG);
    l.xyz = malloc(mesh->n_vertices * 3 * sizeof *l.xyz);
    l.parent = malloc(mesh->n_vertices * sizeof *l.parent);
    l.at_bed = calloc(mesh->n_vertices, 1);
    l.patches = calloc(mesh->n_vertices, sizeof *l.patches);
    po_pool *pool = po_pool_new(mesh->n_triangles < 4000 ? 1 : threads);
    po_pose pose = {.across_layers = NAN};
    po_status s = l.xyz && l.parent && l.at_bed && l.patches && pool
                      ? measure(&l, turn, pool, &pose, err)
                      : po_fail(err, PO_E_NOMEM, "memory ran out while a pose was measured");
    if (s == PO_OK) {
        po_pose_turn((const double[3]){0, 0, 1}, pose.turn);
        if (turn) {
            memcpy(pose.turn, turn, sizeof pose.turn);
        }
        pose.across_layers = po_pose_across(setup, pose.turn);
        po_pose_price(setup, &pose);
        *ret = pose;
    }
    po_pool_free(pool);
    free(l.feet);
    free(l.xyz);
    free(l.parent);
    free(l.at_bed);
    free(l.patches);
    return s;
}
