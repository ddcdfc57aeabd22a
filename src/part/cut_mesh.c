/* A mesh cut by a plane. SPDX-License-Identifier: Apache-2.0
 *
 * Corners are below the plane, above it, or in it (within a tolerance that only rounding needs). A triangle goes to the
 * side where it has a corner; one that has corners on both is parted at points that it shares, by number, with its
 * neighbours. One that lies in the plane goes below where it faces up and above where it faces down: it closes that side
 * already, so what has to be closed is the same outline from both.
 *
 *       above                the edges in the plane that only one triangle of a half has make this outline; an edge
 *     --*-----*--  plane     and its opposite in the same half cancel
 *        below
 *
 * Nothing moves: corners keep their coordinates, and both halves get the same triangles over the outline, the other way
 * round. So the volumes add up but for the rounding of the points where edges are parted. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/sets.h"
#include "part/cut.h"

enum { VERTICES_MOST = 2000000000 };

typedef struct half {
    uint32_t (*triangles)[3]; /* numbers of vertices; from n_vertices of the mesh on: points of the plane */
    size_t n, cap;
    po_on_edge *edges; /* of its triangles, in the plane, in their sense */
    size_t n_edges, edges_cap;
    uint64_t *folds; /* edges in the plane that two of its own triangles share, as lower and higher end, sorted */
    size_t n_folds;
} half;

typedef struct cutting {
    const po_mesh *mesh;
    const po_plane *plane;
    double frame[12];
    double tolerance;
    signed char *side;
    double *distance;
    uint32_t *parent; /* shells */
    bool *inward;
    uint64_t *keys; /* table of parted edges: lower and higher end + 1; 0 is free */
    uint32_t *values;
    size_t table_mask;
    uint32_t *on_of;  /* point of the plane of a vertex in it; UINT32_MAX: none yet */
    uint32_t *number; /* vertex number of each point of the plane */
    size_t number_cap;
    po_on_points on;
    half halves[2];
    uint32_t *pins; /* first point of each pin's circle */
    po_arena *own, *arena;
} cutting;

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "memory ran out");
}

static const double *vertex(const cutting *c, uint32_t v)
{
    return c->mesh->xyz + 3 * (size_t)v;
}

static double plane_distance(const po_plane *p, const double *x)
{
    return (x[0] * p->n[0] + x[1] * p->n[1] + x[2] * p->n[2]) - p->d;
}

/* Sides, shells, which shells are hollows; *ret_split: triangles on both sides. */
static po_status look_over(cutting *c, size_t *ret_split, size_t ret_sides[2], po_err *err)
{
    const po_mesh *m = c->mesh;
    double *volume = po_arena_zeros(c->own, m->n_vertices + 1, sizeof *volume);
    c->side = po_arena_zeros(c->own, m->n_vertices + 1, 1);
    c->distance = po_arena_zeros(c->own, m->n_vertices + 1, sizeof *c->distance);
    c->parent = po_arena_zeros(c->own, m->n_vertices + 1, sizeof *c->parent);
    c->inward = po_arena_zeros(c->own, m->n_vertices + 1, sizeof *c->inward);
    if (!volume || !c->side || !c->distance || !c->parent || !c->inward) {
        return no_memory(err);
    }
    for (size_t v = 0; v < m->n_vertices; v++) {
        const double *p = m->xyz + 3 * v;
        if (!isfinite(p[0] + p[1] + p[2])) {
            return po_fail(err, PO_E_RANGE, "vertex %zu is not a finite number", v);
        }
        double at = plane_distance(c->plane, p);
        c->distance[v] = at;
        c->side[v] = at > c->tolerance ? 1 : at < -c->tolerance ? -1 : 0;
        c->parent[v] = (uint32_t)v;
    }
    *ret_split = ret_sides[0] = ret_sides[1] = 0;
    for (size_t t = 0; t < m->n_triangles; t++) {
        const uint32_t *k = m->corners + 3 * t;
        if (k[0] >= m->n_vertices || k[1] >= m->n_vertices || k[2] >= m->n_vertices) {
            return po_fail(err, PO_E_RANGE, "triangle %zu names a vertex that is not there", t);
        }
        int low = c->side[k[0]], high = low;
        for (int i = 1; i < 3; i++) {
            uint32_t a = po_set_root(c->parent, k[0]), b = po_set_root(c->parent, k[i]);
            c->parent[a > b ? a : b] = a > b ? b : a;
            low = c->side[k[i]] < low ? c->side[k[i]] : low;
            high = c->side[k[i]] > high ? c->side[k[i]] : high;
        }
        *ret_split += low < 0 && high > 0;
        ret_sides[0] += low < 0;
        ret_sides[1] += high > 0;
    }
    const double *o = m->xyz;
    for (size_t t = 0; t < m->n_triangles; t++) {
        const uint32_t *k = m->corners + 3 * t;
        double u[3], v[3], w[3];
        for (int i = 0; i < 3; i++) {
            u[i] = vertex(c, k[0])[i] - o[i];
            v[i] = vertex(c, k[1])[i] - o[i];
            w[i] = vertex(c, k[2])[i] - o[i];
        }
        volume[po_set_root(c->parent, k[0])] += u[0] * (v[1] * w[2] - v[2] * w[1]) +
                                                u[1] * (v[2] * w[0] - v[0] * w[2]) + u[2] * (v[0] * w[1] - v[1] * w[0]);
    }
    for (size_t v = 0; v < m->n_vertices; v++) {
        c->inward[v] = volume[po_set_root(c->parent, (uint32_t)v)] < 0;
    }
    return PO_OK;
}

static bool room_for_points(cutting *c)
{
    po_on_points *on = &c->on;
    if (on->n < on->cap && on->n < c->number_cap) {
        return true;
    }
    size_t cap = on->cap ? on->cap * 2 : 1024;
    double *xyz = po_arena_resize(c->own, on->xyz, on->cap * 3 * sizeof *xyz, cap * 3 * sizeof *xyz);
    double *uv = xyz ? po_arena_resize(c->own, on->uv, on->cap * 2 * sizeof *uv, cap * 2 * sizeof *uv) : NULL;
    uint32_t *number = uv ? po_arena_resize(c->own, c->number, c->number_cap * sizeof *number, cap * sizeof *number)
                          : NULL;
    if (!number) {
        return false;
    }
    on->xyz = xyz;
    on->uv = uv;
    c->number = number;
    on->cap = c->number_cap = cap;
    return true;
}

static void to_frame(const double *frame, const double *p, double *uv)
{
    double x = p[0] - frame[9], y = p[1] - frame[10], z = p[2] - frame[11];
    uv[0] = x * frame[0] + y * frame[1] + z * frame[2];
    uv[1] = x * frame[3] + y * frame[4] + z * frame[5];
}

/* A new point of the plane; UINT32_MAX: no memory. */
static uint32_t add_point(cutting *c, const double *p, uint32_t number)
{
    if (!room_for_points(c)) {
        return UINT32_MAX;
    }
    size_t i = c->on.n++;
    memcpy(c->on.xyz + 3 * i, p, 3 * sizeof *p);
    to_frame(c->frame, p, c->on.uv + 2 * i);
    c->number[i] = number;
    return (uint32_t)i;
}

/* The point of the plane that a vertex in it is. */
static uint32_t point_of(cutting *c, uint32_t v)
{
    if (c->on_of[v] == UINT32_MAX) {
        c->on_of[v] = add_point(c, vertex(c, v), v);
    }
    return c->on_of[v];
}

/* Where the edge between two vertices is parted: made once, from its lower end to its higher. */
static uint32_t parted(cutting *c, uint32_t a, uint32_t b)
{
    uint32_t low = a < b ? a : b, high = a < b ? b : a;
    uint64_t key = ((uint64_t)low << 32 | high) + 1;
    size_t at = (size_t)((key * 0x9e3779b97f4a7c15u) >> 20) & c->table_mask;
    while (c->keys[at] && c->keys[at] != key) {
        at = (at + 1) & c->table_mask;
    }
    if (!c->keys[at]) {
        const double *p = vertex(c, low), *q = vertex(c, high);
        double t = c->distance[low] / (c->distance[low] - c->distance[high]), x[3];
        for (int k = 0; k < 3; k++) {
            x[k] = t < 0.5 ? p[k] + t * (q[k] - p[k]) : q[k] + (1 - t) * (p[k] - q[k]);
            if (fabs(c->plane->n[k]) == 1) {
                x[k] = c->plane->d * c->plane->n[k];
            }
        }
        c->values[at] = add_point(c, x, (uint32_t)(c->mesh->n_vertices + c->on.n));
        c->keys[at] = c->values[at] == UINT32_MAX ? 0 : key;
    }
    return c->values[at];
}

static bool add_triangle(cutting *c, int which, uint32_t x, uint32_t y, uint32_t z)
{
    half *h = &c->halves[which];
    if (x == y || y == z || z == x) {
        return true;
    }
    if (h->n == h->cap) {
        size_t cap = h->cap ? h->cap * 2 : 1024;
        void *bigger = po_arena_resize(c->own, h->triangles, h->cap * sizeof *h->triangles, cap * sizeof *h->triangles);
        if (!bigger) {
            return false;
        }
        h->triangles = bigger;
        h->cap = cap;
    }
    h->triangles[h->n][0] = x;
    h->triangles[h->n][1] = y;
    h->triangles[h->n++][2] = z;
    return true;
}

static bool add_edge(cutting *c, int which, uint32_t from, uint32_t to, uint32_t shell)
{
    half *h = &c->halves[which];
    if (h->n_edges == h->edges_cap) {
        size_t cap = h->edges_cap ? h->edges_cap * 2 : 256;
        void *bigger = po_arena_resize(c->own, h->edges, h->edges_cap * sizeof *h->edges, cap * sizeof *h->edges);
        if (!bigger) {
            return false;
        }
        h->edges = bigger;
        h->edges_cap = cap;
    }
    h->edges[h->n_edges++] = (po_on_edge){from, to, shell};
    return from != UINT32_MAX && to != UINT32_MAX;
}

/* A whole triangle, and those of its edges that lie in the plane. */
static bool whole(cutting *c, int which, const uint32_t *k, uint32_t shell)
{
    bool done = add_triangle(c, which, k[0], k[1], k[2]);
    for (int i = 0; done && i < 3; i++) {
        uint32_t a = k[i], b = k[(i + 1) % 3];
        if (c->side[a] == 0 && c->side[b] == 0) {
            done = add_edge(c, which, point_of(c, a), point_of(c, b), shell);
        }
    }
    return done;
}

static bool faces_up(const cutting *c, const uint32_t *k)
{
    const double *p = vertex(c, k[0]), *q = vertex(c, k[1]), *r = vertex(c, k[2]), *n = c->plane->n;
    double u[3] = {q[0] - p[0], q[1] - p[1], q[2] - p[2]}, v[3] = {r[0] - p[0], r[1] - p[1], r[2] - p[2]};
    return (u[1] * v[2] - u[2] * v[1]) * n[0] + (u[2] * v[0] - u[0] * v[2]) * n[1] +
               (u[0] * v[1] - u[1] * v[0]) * n[2] >
           0;
}

/* Corner k[0] alone on its side, the others on the other one. */
static bool part_alone(cutting *c, const uint32_t *k, uint32_t shell)
{
    int alone = c->side[k[0]] > 0;
    uint32_t p = parted(c, k[0], k[1]), q = parted(c, k[2], k[0]);
    if (p == UINT32_MAX || q == UINT32_MAX) {
        return false;
    }
    uint32_t x = c->number[p], y = c->number[q];
    return add_triangle(c, alone, k[0], x, y) && add_edge(c, alone, p, q, shell) &&
           add_triangle(c, !alone, x, k[1], k[2]) && add_triangle(c, !alone, x, k[2], y) &&
           add_edge(c, !alone, q, p, shell);
}

/* Corner k[0] in the plane, the others on either side. */
static bool part_through(cutting *c, const uint32_t *k, uint32_t shell)
{
    int first = c->side[k[1]] > 0;
    uint32_t o = point_of(c, k[0]), p = parted(c, k[1], k[2]);
    if (o == UINT32_MAX || p == UINT32_MAX) {
        return false;
    }
    uint32_t x = c->number[p];
    return add_triangle(c, first, k[0], k[1], x) && add_edge(c, first, p, o, shell) &&
           add_triangle(c, !first, k[0], x, k[2]) && add_edge(c, !first, o, p, shell);
}

static bool part_triangle(cutting *c, const uint32_t *corners)
{
    int below = 0, above = 0;
    for (int i = 0; i < 3; i++) {
        below += c->side[corners[i]] < 0;
        above += c->side[corners[i]] > 0;
    }
    uint32_t shell = po_set_root(c->parent, corners[0]);
    if (corners[0] == corners[1] || corners[1] == corners[2] || corners[2] == corners[0]) {
        return true;
    }
    if (!below || !above) {
        return whole(c, below ? 0 : above ? 1 : !faces_up(c, corners), corners, shell);
    }
    int wanted = below + above == 2 ? 0 : below == 1 ? -1 : 1, first = 0;
    while (c->side[corners[first]] != wanted) {
        first++;
    }
    uint32_t k[3] = {corners[first], corners[(first + 1) % 3], corners[(first + 2) % 3]};
    return wanted == 0 ? part_through(c, k, shell) : part_alone(c, k, shell);
}

static int by_pair(const void *a, const void *b)
{
    const po_on_edge *e = a, *f = b;
    uint32_t e0 = e->from < e->to ? e->from : e->to, e1 = e->from < e->to ? e->to : e->from;
    uint32_t f0 = f->from < f->to ? f->from : f->to, f1 = f->from < f->to ? f->to : f->from;
    return e0 != f0   ? (e0 > f0) - (e0 < f0)
           : e1 != f1 ? (e1 > f1) - (e1 < f1)
                      : (e->from > f->from) - (e->from < f->from);
}

static uint64_t pair_key(uint32_t a, uint32_t b)
{
    return a < b ? (uint64_t)a << 32 | b : (uint64_t)b << 32 | a;
}

/* Edges of a half in the plane: those that cancel become folds, the others are kept. */
static bool cancel(cutting *c, int which)
{
    half *h = &c->halves[which];
    size_t kept = 0;
    h->folds = po_arena_zeros(c->own, h->n_edges / 2 + 1, sizeof *h->folds);
    if (!h->folds) {
        return false;
    }
    if (h->n_edges) {
        qsort(h->edges, h->n_edges, sizeof *h->edges, by_pair);
    }
    for (size_t i = 0, last; i < h->n_edges; i = last) {
        long sum = 0;
        po_on_edge e = h->edges[i];
        uint64_t key = pair_key(e.from, e.to);
        size_t first = i;
        for (last = i; last < h->n_edges && pair_key(h->edges[last].from, h->edges[last].to) == key; last++) {
            sum += h->edges[last].from == e.from ? 1 : -1;
        }
        if (last - first > (size_t)labs(sum)) {
            h->folds[h->n_folds++] = key;
        }
        for (long k = 0; k < labs(sum); k++) {
            h->edges[kept++] = sum > 0 ? e : (po_on_edge){e.to, e.from, e.shell};
        }
    }
    h->n_edges = kept;
    return true;
}

/* As many edges come to each point as go from it, or the mesh is open there. */
static bool closes(const cutting *c)
{
    const half *h = &c->halves[0];
    int32_t *sum = po_arena_zeros(c->own, c->on.n + 1, sizeof *sum);
    bool even = sum != NULL;
    for (size_t i = 0; even && i < h->n_edges; i++) {
        sum[h->edges[i].from]++;
        sum[h->edges[i].to]--;
    }
    for (size_t i = 0; even && i < c->on.n; i++) {
        even = sum[i] == 0;
    }
    return even;
}

static int by_value(const void *a, const void *b)
{
    const uint64_t *x = a, *y = b;
    return (*x > *y) - (*x < *y);
}

static bool has(const uint64_t *sorted, size_t n, uint64_t key)
{
    return n && bsearch(&key, sorted, n, sizeof *sorted, by_value);
}

/* A cap's inner side must not run where two triangles of the half already meet: they get a point more in between. */
static bool part_folds(cutting *c, int which, const po_caps *caps)
{
    half *h = &c->halves[which];
    size_t n = 0, n_before = h->n;
    if (!h->n_folds) {
        return true;
    }
    uint64_t *met = po_arena_zeros(c->own, 3 * caps->n_triangles + 1, sizeof *met);
    for (size_t t = 0; met && t < 3 * caps->n_triangles; t++) {
        uint64_t key = pair_key(caps->corners[t], caps->corners[t % 3 == 2 ? t - 2 : t + 1]);
        if (has(h->folds, h->n_folds, key)) {
            met[n++] = key;
        }
    }
    if (!met || !n) {
        return met != NULL;
    }
    qsort(met, n, sizeof *met, by_value);
    uint32_t *middle = po_arena_zeros(c->own, n, sizeof *middle);
    for (size_t i = 0; middle && i < n; i++) {
        if (i && met[i] == met[i - 1]) {
            middle[i] = middle[i - 1];
            continue;
        }
        const double *p = c->on.xyz + 3 * (size_t)(met[i] >> 32), *q = c->on.xyz + 3 * (size_t)(uint32_t)met[i];
        double x[3] = {(p[0] + q[0]) / 2, (p[1] + q[1]) / 2, (p[2] + q[2]) / 2};
        uint32_t point = add_point(c, x, (uint32_t)(c->mesh->n_vertices + c->on.n));
        if (point == UINT32_MAX) {
            return false;
        }
        middle[i] = c->number[point];
    }
    for (size_t t = 0; middle && t < h->n; t++) { /* also those that are added on the way */
        for (int k = 0; k < 3; k++) {
            uint32_t a = h->triangles[t][k], b = h->triangles[t][(k + 1) % 3], o = h->triangles[t][(k + 2) % 3];
            if (a >= c->mesh->n_vertices || b >= c->mesh->n_vertices || c->on_of[a] == UINT32_MAX ||
                c->on_of[b] == UINT32_MAX) {
                continue; /* folds join vertices of the mesh */
            }
            uint64_t key = pair_key(c->on_of[a], c->on_of[b]);
            const uint64_t *found = bsearch(&key, met, n, sizeof *met, by_value);
            if (found) {
                uint32_t m = middle[found - met];
                h->triangles[t][0] = a;
                h->triangles[t][1] = m;
                h->triangles[t][2] = o;
                if (!add_triangle(c, which, m, b, o)) {
                    return false;
                }
                k = -1;
            }
        }
    }
    (void)n_before;
    return middle != NULL;
}

static bool add_caps(cutting *c, const po_caps *caps)
{
    bool done = true;
    for (size_t t = 0; done && t < caps->n_triangles; t++) {
        const uint32_t *k = caps->corners + 3 * t;
        uint32_t x = c->number[k[0]], y = c->number[k[1]], z = c->number[k[2]];
        done = add_triangle(c, 0, x, y, z) && add_triangle(c, 1, x, z, y);
    }
    return done;
}

/* Walls and end of a pin's hole in one half. */
static bool add_hole(cutting *c, int which, uint32_t first, double depth)
{
    double move = which ? depth : -depth;
    uint32_t ring[PO_PIN_SIDES], end[PO_PIN_SIDES];
    for (uint32_t k = 0; k < PO_PIN_SIDES; k++) {
        const double *p = c->on.xyz + 3 * (size_t)(first + k);
        double x[3] = {p[0] + move * c->plane->n[0], p[1] + move * c->plane->n[1], p[2] + move * c->plane->n[2]};
        uint32_t point = add_point(c, x, (uint32_t)(c->mesh->n_vertices + c->on.n));
        if (point == UINT32_MAX) {
            return false;
        }
        ring[k] = c->number[first + k];
        end[k] = c->number[point];
    }
    bool done = true;
    for (int k = 0; done && k < PO_PIN_SIDES; k++) {
        int m = (k + 1) % PO_PIN_SIDES;
        done = which ? add_triangle(c, 1, ring[m], ring[k], end[k]) && add_triangle(c, 1, ring[m], end[k], end[m])
                     : add_triangle(c, 0, ring[k], ring[m], end[m]) && add_triangle(c, 0, ring[k], end[m], end[k]);
        if (done && k > 0 && m != 0) {
            done = which ? add_triangle(c, 1, end[0], end[m], end[k]) : add_triangle(c, 0, end[0], end[k], end[m]);
        }
    }
    return done;
}

/* Vertices that a half uses, numbered anew in their order. */
static po_status finish(cutting *c, int which, const uint32_t *merged, po_mesh *ret, po_err *err)
{
    half *h = &c->halves[which];
    size_t n_all = c->mesh->n_vertices + c->on.n, n = 0, kept = 0;
    uint32_t *renumber = po_arena_zeros(c->own, n_all + 1, sizeof *renumber);
    uint32_t *corners = po_arena_zeros(c->arena, h->n + 1, 3 * sizeof *corners);
    if (!renumber || !corners) {
        return no_memory(err);
    }
    for (size_t t = 0; t < h->n; t++) {
        uint32_t k[3];
        for (int i = 0; i < 3; i++) {
            uint32_t v = h->triangles[t][i];
            uint32_t point = v < c->mesh->n_vertices ? c->on_of[v] : (uint32_t)(v - c->mesh->n_vertices);
            k[i] = point != UINT32_MAX ? c->number[merged[point]] : v;
        }
        if (k[0] != k[1] && k[1] != k[2] && k[2] != k[0]) {
            for (int i = 0; i < 3; i++) {
                renumber[k[i]] = 1;
                corners[3 * kept + (size_t)i] = k[i];
            }
            kept++;
        }
    }
    for (size_t v = 0; v < n_all; v++) {
        n += renumber[v];
    }
    double *xyz = po_arena_zeros(c->arena, n + 1, 3 * sizeof *xyz);
    if (!xyz) {
        return no_memory(err);
    }
    n = 0;
    for (size_t v = 0; v < n_all; v++) {
        if (renumber[v]) {
            const double *p = v < c->mesh->n_vertices ? vertex(c, (uint32_t)v)
                                                      : c->on.xyz + 3 * (v - c->mesh->n_vertices);
            memcpy(xyz + 3 * n, p, 3 * sizeof *p);
            renumber[v] = (uint32_t)n++;
        }
    }
    for (size_t i = 0; i < 3 * kept; i++) {
        corners[i] = renumber[corners[i]];
    }
    *ret = (po_mesh){xyz, n, corners, kept};
    return PO_OK;
}

/* The points of each pin's circle in space. */
static void lift_pins(cutting *c, size_t n_pins)
{
    for (size_t i = 0; i < n_pins; i++) {
        for (size_t k = c->pins[i]; k < (size_t)c->pins[i] + PO_PIN_SIDES; k++) {
            const double *uv = c->on.uv + 2 * k;
            for (int a = 0; a < 3; a++) {
                c->on.xyz[3 * k + (size_t)a] = c->frame[9 + a] + uv[0] * c->frame[a] + uv[1] * c->frame[3 + a];
            }
        }
    }
}

static po_status part_all(cutting *c, const po_pin_hole *pins, size_t n_pins, po_mesh *ret_halves, po_cut *cut,
                          po_err *err)
{
    for (size_t t = 0; t < c->mesh->n_triangles; t++) {
        if (!part_triangle(c, c->mesh->corners + 3 * t)) {
            return no_memory(err);
        }
    }
    if (!cancel(c, 0) || !cancel(c, 1)) {
        return no_memory(err);
    }
    half *below = &c->halves[0];
    if (!closes(c)) {
        return po_fail(err, PO_E_RANGE, "the surface is open where the plane cuts it; mend it first");
    }
    for (size_t i = 0; i < below->n_edges; i++) { /* the section's outline runs against the lower half's edges */
        uint32_t from = below->edges[i].from;
        below->edges[i].from = below->edges[i].to;
        below->edges[i].to = from;
    }
    po_caps caps;
    c->pins = po_arena_zeros(c->own, n_pins + 1, sizeof *c->pins);
    if (!c->pins) {
        return no_memory(err);
    }
    size_t n_before = c->on.n;
    po_status status = po_cut_caps(&c->on, below->edges, below->n_edges, c->inward, pins, n_pins, c->pins, c->tolerance,
                                   c->own, c->arena, &caps, err);
    if (status != PO_OK) {
        if (err && status == PO_E_RANGE) {
            size_t n = strlen(err->msg);
            snprintf(err->msg + n, sizeof err->msg - n, "; mend it first");
        }
        return status;
    }
    if (c->on.cap > c->number_cap) {
        uint32_t *number = po_arena_resize(c->own, c->number, c->number_cap * sizeof *number,
                                           c->on.cap * sizeof *number);
        if (!number) {
            return no_memory(err);
        }
        c->number = number;
        c->number_cap = c->on.cap;
    }
    for (size_t i = n_before; i < c->on.n; i++) {
        c->number[i] = (uint32_t)(c->mesh->n_vertices + i);
    }
    lift_pins(c, n_pins);
    bool done = part_folds(c, 0, &caps) && part_folds(c, 1, &caps) && add_caps(c, &caps);
    for (size_t i = 0; done && i < n_pins; i++) {
        done = add_hole(c, 0, c->pins[i], pins[i].depth[0]) && add_hole(c, 1, c->pins[i], pins[i].depth[1]);
    }
    uint32_t *merged = po_arena_zeros(c->own, c->on.n + 1, sizeof *merged);
    if (!done || !merged) {
        return no_memory(err);
    }
    for (size_t i = 0; i < c->on.n; i++) { /* points added after the caps stand for themselves */
        merged[i] = i < n_before ? caps.same[i] : (uint32_t)i;
    }
    status = finish(c, 0, merged, &ret_halves[0], err);
    status = status == PO_OK ? finish(c, 1, merged, &ret_halves[1], err) : status;
    cut->section = caps.section;
    return status;
}

static po_status cut(cutting *c, const po_pin_hole *pins, size_t n_pins, po_mesh *ret_halves, po_cut *ret, po_err *err)
{
    size_t split = 0, sides[2] = {0, 0};
    po_status status = look_over(c, &split, sides, err);
    if (status != PO_OK) {
        return status;
    }
    if (!sides[0] || !sides[1]) { /* all of it on one side: nothing is made */
        ret_halves[sides[1] > 0] = *c->mesh;
        return PO_OK;
    }
    size_t size = 1024;
    while (size < 4 * split) {
        size *= 2;
    }
    c->keys = po_arena_zeros(c->own, size, sizeof *c->keys);
    c->values = po_arena_zeros(c->own, size, sizeof *c->values);
    c->on_of = po_arena_zeros(c->own, c->mesh->n_vertices + 1, sizeof *c->on_of);
    c->table_mask = size - 1;
    if (!c->keys || !c->values || !c->on_of) {
        return no_memory(err);
    }
    memset(c->on_of, 0xff, c->mesh->n_vertices * sizeof *c->on_of);
    for (int i = 0; i < 2; i++) {
        half *h = &c->halves[i];
        h->cap = sides[i] + 2 * split + 64;
        h->triangles = po_arena_zeros(c->own, h->cap, sizeof *h->triangles);
        if (!h->triangles) {
            return no_memory(err);
        }
    }
    return part_all(c, pins, n_pins, ret_halves, ret, err);
}

po_status po_cut_mesh(const po_mesh *mesh, const po_plane *plane, const po_pin_hole *pins, size_t n_pins,
                      po_arena *arena, po_mesh *ret_below, po_mesh *ret_above, po_cut *ret_cut, po_err *err)
{
    if (mesh->n_vertices > VERTICES_MOST) {
        return po_fail(err, PO_E_LIMIT, "more than %d vertices", VERTICES_MOST);
    }
    po_mesh halves[2] = {{0}, {0}};
    po_cut facts = {.plane = *plane, .least_mm = NAN, .pins = n_pins};
    cutting c = {.mesh = mesh, .plane = plane, .tolerance = po_cut_tolerance(mesh), .arena = arena};
    po_plane_frame(plane, c.frame);
    memcpy(facts.frame, c.frame, sizeof c.frame);
    c.own = po_arena_new(0);
    po_status status = c.own ? cut(&c, pins, n_pins, halves, &facts, err) : no_memory(err);
    po_arena_free(c.own);
    if (status != PO_OK) {
        return status;
    }
    facts.loops = facts.section.n_loops;
    facts.area_mm2 = facts.section.n_loops ? po_loops_area(&facts.section) : 0;
    *ret_below = halves[0];
    *ret_above = halves[1];
    *ret_cut = facts;
    return PO_OK;
}
