/* The trouble spots of a part: places as a person would point at them. SPDX-License-Identifier: Apache-2.0
 *
 * What hangs together is one place: triangles that share corners, edges that share ends, samples of walls not farther apart
 * than they are spread. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/sets.h"
#include "part/mend.h"
#include "part/show_inside.h"
#include "proveout/show.h"

enum { MOST_OF_A_KIND = 12, KINDS = 8 };

/* Worst first. */
static const char *const KIND[KINDS] = {"open-edges", "crowded-edges", "cuts-itself", "loose-shells",
                                        "thin-walls", "needs-support", "narrow-gaps", "slim-walls"};
enum { OPEN, CROWDED, CUTS, AFLOAT, THIN, HANGS, GAPS, SLIM };

typedef struct place { /* what was gathered of one */
    double weight, sum[3], normal[3], low[3], high[3];
    double least; /* the measure; the thinnest wall */
    double near;  /* squared distance of the best point so far to the middle */
    double at[3], at_normal[3];
    uint32_t triangle;
    bool used;
} place;

typedef struct gather {
    const po_solid *solid;
    po_arena *arena;
    po_spot *spots; /* malloc */
    size_t n, cap, all;
    bool failed;
} gather;

static void begin(place *p)
{
    if (!p->used) {
        *p = (place){.used = true, .least = INFINITY, .near = INFINITY, .triangle = UINT32_MAX};
        for (int k = 0; k < 3; k++) {
            p->low[k] = INFINITY;
            p->high[k] = -INFINITY;
        }
    }
}

static void widen(place *p, const double at[3])
{
    for (int k = 0; k < 3; k++) {
        p->low[k] = fmin(p->low[k], at[k]);
        p->high[k] = fmax(p->high[k], at[k]);
    }
}

static void weigh(place *p, const double at[3], const double normal[3], double weight)
{
    p->weight += weight;
    for (int k = 0; k < 3; k++) {
        p->sum[k] += weight * at[k];
        p->normal[k] += weight * normal[k];
    }
}

/* A point that may stand for the place: the one nearest to its middle does. */
static void offer(place *p, const double at[3], const double normal[3], uint32_t triangle)
{
    double d = 0;
    for (int k = 0; k < 3; k++) {
        double x = at[k] - p->sum[k] / fmax(p->weight, 1e-300);
        d += x * x;
    }
    if (d < p->near) {
        p->near = d;
        memcpy(p->at, at, sizeof p->at);
        memcpy(p->at_normal, normal, sizeof p->at_normal);
        p->triangle = triangle;
    }
}

static int larger_first(const void *a, const void *b)
{
    const po_spot *p = a, *q = b;
    double x = isnan(p->mm2) ? p->size_mm : p->mm2, y = isnan(q->mm2) ? q->size_mm : q->mm2;
    return x != y ? (x > y ? -1 : 1) : p->triangle < q->triangle ? -1 : p->triangle > q->triangle;
}

static int thinner_first(const void *a, const void *b)
{
    const po_spot *p = a, *q = b;
    return p->mm != q->mm ? (p->mm < q->mm ? -1 : 1) : larger_first(a, b);
}

static po_spot *room(gather *g)
{
    if (g->n == g->cap) {
        size_t cap = g->cap ? 2 * g->cap : 64;
        po_spot *more = realloc(g->spots, cap * sizeof *more);
        if (!more) {
            g->failed = true;
            return NULL;
        }
        g->spots = more;
        g->cap = cap;
    }
    g->spots[g->n] = (po_spot){.mm = NAN, .mm2 = NAN, .triangle = UINT32_MAX};
    return &g->spots[g->n++];
}

/* The spots of one kind are all there from `from` on: the first ones stay. */
static void keep_most(gather *g, size_t from)
{
    size_t n = g->n - from;
    g->all += n;
    if (n > 1) {
        bool walls = g->spots[from].finding == KIND[THIN] || g->spots[from].finding == KIND[SLIM];
        qsort(g->spots + from, n, sizeof *g->spots, walls ? thinner_first : larger_first);
    }
    g->n = n > MOST_OF_A_KIND ? from + MOST_OF_A_KIND : g->n;
}

static void settle(gather *g, int kind, const place *p, double mm2, double mm)
{
    po_spot *s = room(g);
    if (!s) {
        return;
    }
    s->finding = KIND[kind];
    double across = 0;
    for (int k = 0; k < 3; k++) {
        across += (p->high[k] - p->low[k]) * (p->high[k] - p->low[k]);
    }
    memcpy(s->at, p->at, sizeof s->at);
    memcpy(s->normal, p->at_normal, sizeof s->normal);
    s->size_mm = sqrt(across);
    s->mm2 = mm2;
    s->mm = mm;
    s->triangle = p->triangle;
}

static void middle(const po_mesh *mesh, size_t t, double ret[3])
{
    for (size_t k = 0; k < 3; k++) {
        const uint32_t *c = mesh->corners + 3 * t;
        ret[k] = (mesh->xyz[3 * (size_t)c[0] + k] + mesh->xyz[3 * (size_t)c[1] + k] + mesh->xyz[3 * (size_t)c[2] + k]) /
                 3;
    }
}

/* Triangles with a class that share corners. */
static void triangles_of(gather *g, const uint8_t *classes, int class, int kind, double least_mm2, uint32_t *parent,
                         place *places)
{
    const po_mesh *mesh = g->solid->judged;
    size_t from = g->n;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        parent[v] = (uint32_t)v;
        places[v].used = false;
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        if (classes[t] & class) {
            po_set_join(parent, mesh->corners[3 * t], mesh->corners[3 * t + 1]);
            po_set_join(parent, mesh->corners[3 * t], mesh->corners[3 * t + 2]);
        }
    }
    for (int round = 0; round < 2; round++) {
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            if (!(classes[t] & class)) {
                continue;
            }
            place *p = &places[po_set_root(parent, mesh->corners[3 * t])];
            double at[3], normal[3], area = po_show_normal(mesh, t, normal);
            middle(mesh, t, at);
            begin(p);
            if (round == 1) {
                offer(p, at, normal, (uint32_t)t);
                continue;
            }
            weigh(p, at, normal, area > 0 ? area : 1e-12);
            for (size_t k = 0; k < 3; k++) {
                widen(p, mesh->xyz + 3 * (size_t)mesh->corners[3 * t + k]);
            }
        }
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        if (places[v].used && places[v].weight >= least_mm2) {
            settle(g, kind, &places[v], places[v].weight, NAN);
        }
    }
    keep_most(g, from);
}

/* Edges of one triangle, or of more than two, that share ends. */
static po_status edges_of(gather *g, bool open, uint32_t *parent, place *places, po_err *err)
{
    const po_mesh *mesh = g->solid->judged;
    size_t from = g->n;
    po_edges edges;
    po_status status = po_edges_find(mesh, &edges, err);
    if (status != PO_OK) {
        return status;
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        parent[v] = (uint32_t)v;
        places[v].used = false;
    }
    for (int round = 0; round < 3; round++) { /* join, weigh, choose */
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            const uint32_t *c = mesh->corners + 3 * t;
            for (size_t k = 0; k < 3 && !po_is_flat(c); k++) {
                uint32_t a = c[k], b = c[(k + 1) % 3];
                size_t n;
                const po_edge_use *use = po_edges_of(&edges, a, b, &n);
                if ((open ? n != 1 : n < 3) || use[0].half / 3 != t) { /* each edge once */
                    continue;
                }
                if (round == 0) {
                    po_set_join(parent, a, b);
                    continue;
                }
                const double *p = mesh->xyz + 3 * (size_t)a, *q = mesh->xyz + 3 * (size_t)b;
                double at[3] = {(p[0] + q[0]) / 2, (p[1] + q[1]) / 2, (p[2] + q[2]) / 2}, normal[3];
                place *of = &places[po_set_root(parent, a)];
                po_show_normal(mesh, t, normal);
                begin(of);
                if (round == 2) {
                    offer(of, at, normal, (uint32_t)t);
                    continue;
                }
                weigh(of, at, normal,
                      sqrt((p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1]) +
                           (p[2] - q[2]) * (p[2] - q[2])));
                widen(of, p);
                widen(of, q);
            }
        }
    }
    po_edges_done(&edges);
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        if (places[v].used) {
            settle(g, open ? OPEN : CROWDED, &places[v], NAN, places[v].weight);
        }
    }
    keep_most(g, from);
    return PO_OK;
}

/* Samples of sheets below one bead, or from one to two, as near to each other as samples are spread. */
static bool walls_of(gather *g, bool thin)
{
    const po_wall_facts *w = &g->solid->walls;
    size_t from = g->n;
    uint32_t *parent = malloc((w->n_samples + 1) * sizeof *parent), *list = malloc((w->n_samples + 1) * sizeof *list);
    place *places = calloc(w->n_samples + 1, sizeof *places);
    bool fine = parent && list && places;
    size_t n = 0;
    for (size_t i = 0; fine && i < w->n_samples; i++) {
        if (w->samples[i].sheet && (w->samples[i].mm < w->bead_mm) == thin) {
            parent[n] = (uint32_t)n;
            list[n++] = (uint32_t)i;
        }
    }
    for (size_t i = 0; fine && i < n; i++) { /* at most 4000 of them */
        const po_wall_sample *a = &w->samples[list[i]];
        double reach = 2.5 * sqrt(a->mm2) + a->mm;
        for (size_t j = 0; j < i; j++) {
            const double *b = w->samples[list[j]].at;
            double x = a->at[0] - b[0], y = a->at[1] - b[1], z = a->at[2] - b[2];
            if (x * x + y * y + z * z < reach * reach) {
                po_set_join(parent, (uint32_t)i, (uint32_t)j);
            }
        }
    }
    for (size_t i = 0; fine && i < n; i++) {
        const po_wall_sample *s = &w->samples[list[i]];
        place *p = &places[po_set_root(parent, (uint32_t)i)];
        begin(p);
        weigh(p, s->at, s->normal, s->mm2);
        widen(p, s->at);
        if (s->mm < p->least) { /* the thinnest is pointed at */
            p->least = s->mm;
            memcpy(p->at, s->at, sizeof p->at);
            memcpy(p->at_normal, s->normal, sizeof p->at_normal);
        }
    }
    for (size_t i = 0; fine && i < n; i++) {
        if (places[i].used) {
            settle(g, thin ? THIN : SLIM, &places[i], places[i].weight, places[i].least);
        }
    }
    keep_most(g, from);
    free(parent);
    free(list);
    free(places);
    return fine;
}

/* A place that is known by one point. */
static void point_of(gather *g, int kind, const double at[3], double mm2, double mm)
{
    if (!isfinite(at[0])) {
        return;
    }
    po_spot *s = room(g);
    if (s) {
        s->finding = KIND[kind];
        memcpy(s->at, at, sizeof s->at);
        s->mm2 = mm2;
        s->mm = mm;
        g->all++;
    }
}

po_status po_show_spots(const po_solid *s, const uint8_t *classes, double least_overhang_mm2, po_arena *arena,
                        po_spots *ret, po_err *err)
{
    gather g = {.solid = s, .arena = arena};
    size_t n = s->judged->n_vertices;
    uint32_t *parent = malloc((n + 1) * sizeof *parent);
    place *places = calloc(n + 1, sizeof *places);
    po_status status = parent && places ? PO_OK : PO_E_NOMEM;
    int any = 0;
    for (size_t t = 0; t < s->judged->n_triangles; t++) {
        any |= classes[t];
    }
    if (status == PO_OK && (any & PO_SHOW_OPEN)) {
        status = edges_of(&g, true, parent, places, err);
    }
    if (status == PO_OK && (any & PO_SHOW_CROWDED)) {
        status = edges_of(&g, false, parent, places, err);
    }
    if (status == PO_OK && (any & PO_SHOW_CUT)) {
        triangles_of(&g, classes, PO_SHOW_CUT, CUTS, 0, parent, places);
    } else if (status == PO_OK && s->cuts_done && s->cuts.pairs > 0) {
        point_of(&g, CUTS, s->cut_at, NAN, s->cut_depth_mm);
    }
    if (status == PO_OK && s->afloat > 0) {
        point_of(&g, AFLOAT, s->afloat_at, NAN, NAN);
    }
    if (status == PO_OK && s->walls_done && !walls_of(&g, true)) {
        status = PO_E_NOMEM;
    }
    if (status == PO_OK && (any & PO_SHOW_OVERHANG)) {
        triangles_of(&g, classes, PO_SHOW_OVERHANG, HANGS, least_overhang_mm2, parent, places);
    }
    if (status == PO_OK && s->walls_done) {
        point_of(&g, GAPS, s->walls.gap_at, s->walls.gap_mm2, s->walls.narrowest_gap_mm);
        status = walls_of(&g, false) ? PO_OK : PO_E_NOMEM;
    }
    po_spot *spots = po_arena_zeros(arena, g.n + 1, sizeof *spots);
    if (g.failed || !spots || status == PO_E_NOMEM) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out while trouble spots were gathered");
    }
    if (status == PO_OK) {
        if (g.n > 0) {
            memcpy(spots, g.spots, g.n * sizeof *spots);
        }
        *ret = (po_spots){spots, g.n, g.all};
    }
    free(g.spots);
    free(parent);
    free(places);
    return status;
}
