/* The section that closes both halves of a cut. SPDX-License-Identifier: Apache-2.0
 *
 * Each shell is closed by itself, together with the hollows inside it: shells that overlap or touch each other then never
 * meet in one outline. Which hollow lies in which shell is told by winding numbers in the plane. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/cut.h"
#include "part/triangulate.h"

typedef struct bounds {
    double low[2], high[2];
    size_t first, last; /* edges, sorted by shell */
    uint32_t shell;     /* the group's, in the end */
} bounds;

static int by_shell(const void *a, const void *b)
{
    const po_on_edge *e = a, *f = b;
    return e->shell != f->shell ? (e->shell > f->shell) - (e->shell < f->shell)
           : e->from != f->from ? (e->from > f->from) - (e->from < f->from)
                                : (e->to > f->to) - (e->to < f->to);
}

static int winding_at(const po_on_points *on, const po_on_edge *edges, size_t n, const double *p)
{
    int sum = 0;
    for (size_t i = 0; i < n; i++) {
        const double *a = on->uv + 2 * (size_t)edges[i].from, *b = on->uv + 2 * (size_t)edges[i].to;
        if ((a[1] <= p[1]) != (b[1] <= p[1])) {
            double left = (b[0] - a[0]) * (p[1] - a[1]) - (p[0] - a[0]) * (b[1] - a[1]);
            sum += b[1] > a[1] ? left > 0 : -(left < 0);
        }
    }
    return sum;
}

/* Stretches of edges of one shell, with bounds. */
static bounds *find_shells(const po_on_points *on, const po_on_edge *edges, size_t n, po_arena *own, size_t *ret_n)
{
    bounds *list = po_arena_zeros(own, n + 1, sizeof *list);
    size_t count = 0;
    for (size_t i = 0; list && i < n; i++) {
        if (i == 0 || edges[i].shell != edges[i - 1].shell) {
            list[count++] = (bounds){{INFINITY, INFINITY}, {-INFINITY, -INFINITY}, i, i, edges[i].shell};
        }
        bounds *b = &list[count - 1];
        b->last = i + 1;
        for (int k = 0; k < 2; k++) {
            b->low[k] = fmin(b->low[k], on->uv[2 * (size_t)edges[i].from + (size_t)k]);
            b->high[k] = fmax(b->high[k], on->uv[2 * (size_t)edges[i].from + (size_t)k]);
        }
    }
    *ret_n = count;
    return list;
}

/* Hollows go with the smallest shell that holds them. */
static void group_hollows(const po_on_points *on, const po_on_edge *edges, bounds *shells, size_t n, const bool *inward)
{
    for (size_t i = 0; i < n; i++) {
        if (!inward[shells[i].shell]) {
            continue;
        }
        const po_on_edge *e = &edges[shells[i].first];
        double p[2], smallest = INFINITY;
        uint32_t holder = shells[i].shell;
        for (int k = 0; k < 2; k++) {
            p[k] = (on->uv[2 * (size_t)e->from + (size_t)k] + on->uv[2 * (size_t)e->to + (size_t)k]) / 2;
        }
        for (size_t j = 0; j < n; j++) {
            const bounds *b = &shells[j];
            double size = (b->high[0] - b->low[0]) * (b->high[1] - b->low[1]);
            if (j != i && size < smallest && b->low[0] <= p[0] && p[0] <= b->high[0] && b->low[1] <= p[1] &&
                p[1] <= b->high[1] && !inward[edges[b->first].shell] &&
                winding_at(on, edges + b->first, b->last - b->first, p) > 0) {
                smallest = size;
                holder = edges[b->first].shell;
            }
        }
        shells[i].shell = holder;
    }
}

static bool add_circle(po_on_points *on, const po_pin_hole *pin, po_arena *own)
{
    const double turn = 6.28318530717958647692, outer = pin->radius / cos(turn / 2 / PO_PIN_SIDES);
    if (on->n + PO_PIN_SIDES > on->cap) {
        size_t cap = on->cap * 2 + PO_PIN_SIDES;
        double *xyz = po_arena_resize(own, on->xyz, on->cap * 3 * sizeof *xyz, cap * 3 * sizeof *xyz);
        on->xyz = xyz ? xyz : on->xyz;
        double *uv = po_arena_resize(own, on->uv, on->cap * 2 * sizeof *uv, cap * 2 * sizeof *uv);
        on->uv = uv ? uv : on->uv;
        if (!xyz || !uv) {
            return false;
        }
        on->cap = cap;
    }
    for (int k = 0; k < PO_PIN_SIDES; k++) {
        double *uv = on->uv + 2 * on->n++;
        uv[0] = pin->at[0] + outer * cos(turn * k / PO_PIN_SIDES);
        uv[1] = pin->at[1] + outer * sin(turn * k / PO_PIN_SIDES);
    }
    return true;
}

/* ---- closed walks, for pictures and offsets ---- */

typedef struct walk {
    const po_on_points *on;
    const po_on_edge *edges; /* sorted by their first point */
    size_t n;
    unsigned char *used;
} walk;

static int by_from(const void *a, const void *b)
{
    const po_on_edge *e = a, *f = b;
    return e->from != f->from ? (e->from > f->from) - (e->from < f->from) : (e->to > f->to) - (e->to < f->to);
}

static size_t first_from(const walk *w, uint32_t point)
{
    size_t low = 0, high = w->n;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (w->edges[middle].from < point) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

/* The edge that goes on from the end of edge i: of several the first one clockwise from where we came from, so that
 * walks touch in a point but never cross there. SIZE_MAX: none. */
static size_t next_edge(const walk *w, size_t i)
{
    const po_on_edge *e = &w->edges[i];
    const double *from = w->on->uv + 2 * (size_t)e->from, *at = w->on->uv + 2 * (size_t)e->to;
    double back = atan2(from[1] - at[1], from[0] - at[0]), least = INFINITY;
    size_t best = SIZE_MAX;
    for (size_t k = first_from(w, e->to); k < w->n && w->edges[k].from == e->to; k++) {
        if (w->used[k]) {
            continue;
        }
        const double *to = w->on->uv + 2 * (size_t)w->edges[k].to;
        double turn = back - atan2(to[1] - at[1], to[0] - at[0]);
        turn = turn <= 0 ? turn + 6.28318530717958647692 : turn;
        if (turn < least) {
            least = turn;
            best = k;
        }
    }
    return best;
}

static po_status find_loops(const po_on_points *on, po_on_edge *edges, size_t n, po_arena *own, po_arena *arena,
                            po_loops *ret, po_err *err)
{
    qsort(edges, n, sizeof *edges, by_from);
    walk w = {on, edges, n, po_arena_zeros(own, n + 1, 1)};
    double *xy = po_arena_zeros(arena, n + 1, 2 * sizeof *xy);
    uint32_t *ends = po_arena_zeros(arena, n + 1, sizeof *ends);
    if (!w.used || !xy || !ends) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    size_t n_points = 0, n_loops = 0;
    for (size_t i = 0; i < n; i++) {
        if (w.used[i]) {
            continue;
        }
        for (size_t k = i; k != SIZE_MAX; k = next_edge(&w, k)) {
            w.used[k] = 1;
            memcpy(xy + 2 * n_points++, on->uv + 2 * (size_t)edges[k].from, 2 * sizeof *xy);
        }
        ends[n_loops++] = (uint32_t)n_points;
    }
    *ret = (po_loops){xy, n_points, ends, n_loops};
    return PO_OK;
}

/* ---- caps ---- */

typedef struct capping {
    po_on_points *on;
    po_caps *caps;
    uint32_t *local, *global; /* numbers of points within one group, and back */
    uint32_t (*pairs)[2];
    size_t corners_cap;
    double tolerance;
    po_arena *own;
} capping;

static uint32_t number(capping *c, uint32_t point, size_t *n)
{
    if (c->local[point] == UINT32_MAX) {
        c->local[point] = (uint32_t)*n;
        c->global[(*n)++] = point;
    }
    return c->local[point];
}

static po_status cap_group(capping *c, const po_on_edge *edges, size_t n, po_err *err)
{
    size_t n_points = 0;
    for (size_t i = 0; i < n; i++) {
        c->pairs[i][0] = number(c, edges[i].from, &n_points);
        c->pairs[i][1] = number(c, edges[i].to, &n_points);
    }
    po_flat flat;
    double *uv = po_arena_zeros(c->own, n_points + 1, 2 * sizeof *uv);
    if (!uv) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < n_points; i++) {
        memcpy(uv + 2 * i, c->on->uv + 2 * (size_t)c->global[i], 2 * sizeof *uv);
    }
    po_status status = po_triangulate(uv, n_points, (const uint32_t(*)[2])c->pairs, n, c->tolerance, c->own, &flat,
                                      err);
    if (status != PO_OK) {
        return status;
    }
    po_caps *caps = c->caps;
    size_t wanted = caps->n_triangles + flat.n_triangles;
    if (wanted > c->corners_cap) {
        size_t more = wanted * 2;
        uint32_t *bigger = po_arena_resize(c->own, caps->corners, c->corners_cap * 3 * sizeof *bigger,
                                           more * 3 * sizeof *bigger);
        if (!bigger) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        caps->corners = bigger;
        c->corners_cap = more;
    }
    for (size_t i = 0; i < 3 * flat.n_triangles; i++) {
        caps->corners[3 * caps->n_triangles + i] = c->global[flat.corners[i]];
    }
    caps->n_triangles = wanted;
    caps->area += flat.area;
    for (size_t i = 0; i < n_points; i++) {
        caps->same[c->global[i]] = c->global[flat.same[i]];
        c->local[c->global[i]] = UINT32_MAX;
    }
    return PO_OK;
}

/* The shell in whose section a pin stands, its circle's edges added to the list; false: none. */
static bool place_pin(const po_on_points *on, po_on_edge *edges, size_t *n, const bounds *shells, size_t n_shells,
                      const po_pin_hole *pin, uint32_t first)
{
    for (size_t i = 0; i < n_shells; i++) {
        int winding = 0;
        for (size_t j = 0; j < n_shells; j++) { /* with its hollows */
            if (shells[j].shell == shells[i].shell) {
                winding += winding_at(on, edges + shells[j].first, shells[j].last - shells[j].first, pin->at);
            }
        }
        if (winding > 0 && shells[i].shell == edges[shells[i].first].shell) {
            for (uint32_t k = 0; k < PO_PIN_SIDES; k++) { /* clockwise: a hole */
                edges[(*n)++] = (po_on_edge){first + (k + 1) % PO_PIN_SIDES, first + k, shells[i].shell};
            }
            return true;
        }
    }
    return false;
}

po_status po_cut_caps(po_on_points *on, const po_on_edge *edges, size_t n_edges, const bool *inward,
                      const po_pin_hole *pins, size_t n_pins, uint32_t *ret_pins, double tolerance, po_arena *own,
                      po_arena *arena, po_caps *ret, po_err *err)
{
    po_caps caps = {0};
    size_t n = n_edges, room = n_edges + n_pins * PO_PIN_SIDES, n_stretches;
    po_on_edge *list = po_arena_zeros(own, room + 1, sizeof *list);
    if (!list) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    if (n) { /* two shells may touch the plane and nothing be cut */
        memcpy(list, edges, n * sizeof *list);
    }
    po_status status = find_loops(on, list, n, own, arena, &caps.section, err);
    if (status != PO_OK) {
        return status;
    }
    qsort(list, n, sizeof *list, by_shell);
    bounds *shells = find_shells(on, list, n, own, &n_stretches);
    if (!shells) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    group_hollows(on, list, shells, n_stretches, inward);
    for (size_t i = 0; i < n_pins; i++) {
        ret_pins[i] = (uint32_t)on->n;
        if (!add_circle(on, &pins[i], own)) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        if (!place_pin(on, list, &n, shells, n_stretches, &pins[i], ret_pins[i])) {
            return po_fail(err, PO_E_RANGE, "a pin would stand outside the section");
        }
    }
    for (size_t i = 0; i < n_stretches; i++) { /* now every edge carries its group */
        for (size_t k = shells[i].first; k < shells[i].last; k++) {
            list[k].shell = shells[i].shell;
        }
    }
    qsort(list, n, sizeof *list, by_shell);
    capping c = {.on = on, .caps = &caps, .tolerance = tolerance, .own = own};
    c.local = po_arena_zeros(own, on->n + 1, sizeof *c.local);
    c.global = po_arena_zeros(own, on->n + 1, sizeof *c.global);
    c.pairs = po_arena_zeros(own, n + 1, sizeof *c.pairs);
    caps.same = po_arena_zeros(own, on->n + 1, sizeof *caps.same);
    if (!c.local || !c.global || !c.pairs || !caps.same) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < on->n; i++) {
        c.local[i] = UINT32_MAX;
        caps.same[i] = (uint32_t)i;
    }
    for (size_t i = 0, last; status == PO_OK && i < n; i = last) {
        for (last = i + 1; last < n && list[last].shell == list[i].shell; last++) {
        }
        status = cap_group(&c, list + i, last - i, err);
    }
    if (status == PO_OK) {
        *ret = caps;
    }
    return status;
}
