/* No-fit polygons by convolution. SPDX-License-Identifier: Apache-2.0
 *
 * The convolution of two closed walks joins every corner of one with those edges of the other whose direction lies in
 * the turn at that corner, forwards at left turns, backwards at right turns. A point's winding number along it is the
 * sum over pieces of a and b that meet there (L. J. Guibas, L. Ramshaw, J. Stolfi, 1983): above 0 exactly where the
 * insides meet, as long as neither has a hole; holes are opened by a slit first. Directions are put into one order with
 * exact signs, equal ones together; an edge of b counts as a hair further on than an equal one of a. So every node
 * (corner of a, corner of b) is entered as often as it is left, and the segments fall into closed walks, whose insides
 * po_loops_clip unites. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest_inside.h"

__extension__ typedef __int128 wide;
#define GRID 1e6 /* units in a mm, as in po_loops_clip */

typedef struct at {
    int64_t x, y;
} at;

typedef struct walk { /* one closed walk, material on the left */
    at *p;
    size_t n;
    uint32_t *rank; /* of the edge that begins at each corner */
    bool *left;     /* the turn at each corner */
} walk;

static int cross_sign(at a, at b)
{
    wide c = (wide)a.x * b.y - (wide)a.y * b.x;
    return (c > 0) - (c < 0);
}

static at step(const walk *w, size_t i)
{
    at a = w->p[i], b = w->p[i + 1 < w->n ? i + 1 : 0];
    return (at){b.x - a.x, b.y - a.y};
}

/* ---- walks from loops ---- */

static at round_at(const double *xy, double sign)
{
    return (at){llround(sign * xy[0] * GRID), llround(sign * xy[1] * GRID)};
}

/* Leave out corners that repeat the one before. */
static size_t add_loop(const po_loops *loops, size_t i, double sign, at *to)
{
    size_t begin = i ? loops->ends[i - 1] : 0, end = loops->ends[i], n = 0;
    for (size_t k = begin; k < end; k++) {
        at p = round_at(loops->xy + 2 * k, sign);
        if (n == 0 || p.x != to[n - 1].x || p.y != to[n - 1].y) {
            to[n++] = p;
        }
    }
    while (n > 1 && to[0].x == to[n - 1].x && to[0].y == to[n - 1].y) {
        n--;
    }
    return n;
}

static int area_sign(const at *p, size_t n)
{
    wide sum = 0;
    for (size_t i = 1; i + 1 < n; i++) {
        sum += (wide)(p[i].x - p[0].x) * (p[i + 1].y - p[0].y) - (wide)(p[i].y - p[0].y) * (p[i + 1].x - p[0].x);
    }
    return (sum > 0) - (sum < 0);
}

/* Open a hole: from its rightmost corner straight on to the first edge of the walk that it meets. */
static bool slit(walk *w, const at *hole, size_t n)
{
    size_t from = 0, hit = SIZE_MAX;
    for (size_t i = 1; i < n; i++) {
        from = hole[i].x > hole[from].x ? i : from;
    }
    at m = hole[from];
    double best = INFINITY;
    for (size_t i = 0; i < w->n; i++) {
        at a = w->p[i], b = w->p[i + 1 < w->n ? i + 1 : 0];
        if (a.y <= m.y && b.y > m.y) { /* upwards: material on its left */
            double x = (double)a.x + (double)(b.x - a.x) * ((double)(m.y - a.y) / (double)(b.y - a.y));
            if (x >= (double)m.x && x < best) {
                best = x;
                hit = i;
            }
        }
    }
    if (hit == SIZE_MAX) {
        return false; /* no outline around it: it is no hole of this one */
    }
    at on = {llround(best), m.y};
    memmove(w->p + hit + 1 + n + 3, w->p + hit + 1, (w->n - hit - 1) * sizeof *w->p);
    w->p[hit + 1] = on;
    for (size_t k = 0; k <= n; k++) {
        w->p[hit + 2 + k] = hole[(from + k) % n];
    }
    w->p[hit + 3 + n] = on;
    w->n += n + 3;
    return true;
}

typedef struct region { /* the walks of one set of loops */
    walk *walks;
    size_t n;
    at *points;
} region;

static void region_done(region *r)
{
    for (size_t i = 0; i < r->n; i++) {
        free(r->walks[i].p);
        free(r->walks[i].rank);
        free(r->walks[i].left);
    }
    free(r->walks);
    free(r->points);
}

static int64_t rightmost(const at *p, size_t n)
{
    int64_t x = INT64_MIN;
    for (size_t i = 0; i < n; i++) {
        x = p[i].x > x ? p[i].x : x;
    }
    return x;
}

static bool inside(const walk *w, at q)
{
    bool in = false;
    for (size_t i = 0; i < w->n; i++) {
        at a = w->p[i], b = w->p[i + 1 < w->n ? i + 1 : 0];
        if ((a.y <= q.y) != (b.y <= q.y)) {
            at e = {b.x - a.x, b.y - a.y}, d = {q.x - a.x, q.y - a.y};
            in ^= (cross_sign(e, d) > 0) == (b.y > a.y);
        }
    }
    return in;
}

/* Outer loops as walks, each with its holes slit open, the rightmost first, so that a slit meets what is open already. */
static bool region_make(const po_loops *loops, double sign, region *ret)
{
    size_t n = loops->n_loops, n_holes = 0;
    region r = {.walks = calloc(n + 1, sizeof *r.walks), .points = calloc(loops->n_points + 1, sizeof *r.points)};
    size_t *holes = calloc(n + 1, sizeof *holes), *starts = calloc(n + 2, sizeof *starts);
    size_t *counts = calloc(n + 1, sizeof *counts), used = 0;
    bool fine = r.walks && r.points && holes && starts && counts;
    for (size_t i = 0; fine && i < n; i++) {
        starts[i] = used;
        counts[i] = add_loop(loops, i, sign, r.points + used);
        used += counts[i];
        int way = counts[i] < 3 ? 0 : area_sign(r.points + starts[i], counts[i]);
        if (way > 0) {
            walk *w = &r.walks[r.n++];
            w->n = counts[i];
            w->p = malloc((loops->n_points + 3 * n + counts[i]) * sizeof *w->p); /* room for all holes */
            fine = w->p != NULL;
            if (fine) {
                memcpy(w->p, r.points + starts[i], counts[i] * sizeof *w->p);
            }
        } else if (way < 0) {
            holes[n_holes++] = i;
        }
    }
    for (size_t i = 0; fine && i < n_holes; i++) {
        for (size_t k = i; k > 0 && rightmost(r.points + starts[holes[k]], counts[holes[k]]) >
                                        rightmost(r.points + starts[holes[k - 1]], counts[holes[k - 1]]);
             k--) {
            size_t swap = holes[k];
            holes[k] = holes[k - 1];
            holes[k - 1] = swap;
        }
    }
    for (size_t i = 0; fine && i < n_holes; i++) {
        const at *hole = r.points + starts[holes[i]];
        walk *owner = NULL;
        for (size_t k = 0; k < r.n; k++) { /* the smallest outline around it: the last found inside the others */
            if (inside(&r.walks[k], hole[0]) && (!owner || inside(owner, r.walks[k].p[0]))) {
                owner = &r.walks[k];
            }
        }
        if (owner && slit(owner, hole, counts[holes[i]])) {
            size_t kept = 0; /* a slit may begin or end at a corner: no step may be without length */
            for (size_t k = 0; k < owner->n; k++) {
                at p = owner->p[k];
                if (kept == 0 || p.x != owner->p[kept - 1].x || p.y != owner->p[kept - 1].y) {
                    owner->p[kept++] = p;
                }
            }
            owner->n = kept;
        }
    }
    free(holes);
    free(starts);
    free(counts);
    for (size_t i = 0; i < r.n && fine; i++) {
        walk *w = &r.walks[i];
        w->rank = malloc(w->n * sizeof *w->rank);
        w->left = malloc(w->n * sizeof *w->left);
        fine = w->rank && w->left;
    }
    *ret = r;
    return fine;
}

/* ---- directions in order ---- */

typedef struct direction {
    at d;
    uint32_t *rank;
} direction;

static int half(at d)
{
    return d.y < 0 || (d.y == 0 && d.x < 0);
}

static int by_angle(const void *a, const void *b)
{
    at p = ((const direction *)a)->d, q = ((const direction *)b)->d;
    if (half(p) != half(q)) {
        return half(p) - half(q);
    }
    return -cross_sign(p, q);
}

/* Ranks of all edges of both walks, and the way each corner turns. Returns how many ranks there are; 0: no memory. */
static uint32_t put_in_order(walk *a, walk *b)
{
    direction *all = malloc((a->n + b->n) * sizeof *all);
    if (!all) {
        return 0;
    }
    size_t n = 0;
    for (int k = 0; k < 2; k++) {
        walk *w = k ? b : a;
        for (size_t i = 0; i < w->n; i++) {
            all[n++] = (direction){step(w, i), &w->rank[i]};
            at in = step(w, i ? i - 1 : w->n - 1), out = step(w, i);
            w->left[i] = cross_sign(in, out) >= 0; /* straight on: no edge lies in the turn; back: a left turn */
        }
    }
    qsort(all, n, sizeof *all, by_angle);
    uint32_t rank = 0;
    for (size_t i = 0; i < n; i++) {
        rank += i > 0 && by_angle(&all[i - 1], &all[i]) != 0;
        *all[i].rank = rank;
    }
    free(all);
    return rank + 1;
}

/* ---- the convolution of two walks ---- */

typedef struct mesh { /* segments between nodes i * b->n + j */
    uint32_t *first;  /* of each node that has any: where its segments begin in `to`; n_nodes + 1 */
    uint32_t *to, *from;
    size_t n, cap;
} mesh;

static bool mesh_add(mesh *m, size_t from, size_t to)
{
    if (m->n == m->cap) {
        size_t cap = m->cap ? 2 * m->cap : 1024;
        uint32_t *f = realloc(m->from, cap * sizeof *f);
        m->from = f ? f : m->from;
        uint32_t *t = f ? realloc(m->to, cap * sizeof *t) : NULL;
        m->to = t ? t : m->to;
        if (!f || !t) {
            return false;
        }
        m->cap = cap;
    }
    m->from[m->n] = (uint32_t)from;
    m->to[m->n++] = (uint32_t)to;
    return true;
}

/* low <= rank < high (or low < rank <= high), going round. */
static bool between(uint32_t rank, uint32_t low, uint32_t high, bool upper)
{
    uint32_t lo = upper ? low + 1 : low, hi = upper ? high + 1 : high;
    return low <= high ? rank >= lo && rank < hi : rank >= lo || rank < hi;
}

static bool segments(const walk *a, const walk *b, mesh *m)
{
    for (size_t i = 0; i < a->n; i++) { /* corners of a, edges of b */
        uint32_t in = a->rank[i ? i - 1 : a->n - 1], out = a->rank[i];
        if (in == out) {
            continue;
        }
        for (size_t j = 0; j < b->n; j++) {
            size_t next = j + 1 < b->n ? j + 1 : 0;
            bool fine = true;
            if (a->left[i] && between(b->rank[j], in, out, false)) {
                fine = mesh_add(m, i * b->n + j, i * b->n + next);
            } else if (!a->left[i] && between(b->rank[j], out, in, false)) {
                fine = mesh_add(m, i * b->n + next, i * b->n + j);
            }
            if (!fine) {
                return false;
            }
        }
    }
    for (size_t j = 0; j < b->n; j++) { /* corners of b, edges of a */
        uint32_t in = b->rank[j ? j - 1 : b->n - 1], out = b->rank[j];
        if (in == out) {
            continue;
        }
        for (size_t i = 0; i < a->n; i++) {
            size_t next = i + 1 < a->n ? i + 1 : 0;
            bool fine = true;
            if (b->left[j] && between(a->rank[i], in, out, true)) {
                fine = mesh_add(m, i * b->n + j, next * b->n + j);
            } else if (!b->left[j] && between(a->rank[i], out, in, true)) {
                fine = mesh_add(m, next * b->n + j, i * b->n + j);
            }
            if (!fine) {
                return false;
            }
        }
    }
    return true;
}

typedef struct collected { /* loops being made */
    double *xy;
    size_t n, cap;
    uint32_t *ends;
    size_t n_loops, cap_loops;
} collected;

static bool collect_point(collected *c, at p)
{
    if (c->n == c->cap) {
        c->cap = c->cap ? 2 * c->cap : 1024;
        double *xy = realloc(c->xy, 2 * c->cap * sizeof *xy);
        if (!xy) {
            return false;
        }
        c->xy = xy;
    }
    c->xy[2 * c->n] = (double)p.x / GRID;
    c->xy[2 * c->n++ + 1] = (double)p.y / GRID;
    return true;
}

static bool collect_end(collected *c)
{
    if (c->n_loops == c->cap_loops) {
        c->cap_loops = c->cap_loops ? 2 * c->cap_loops : 64;
        uint32_t *ends = realloc(c->ends, c->cap_loops * sizeof *ends);
        if (!ends) {
            return false;
        }
        c->ends = ends;
    }
    c->ends[c->n_loops++] = (uint32_t)c->n;
    return true;
}

/* Segments into closed walks: from any unused one on until it comes back. */
static bool follow(const walk *a, const walk *b, mesh *m, collected *c)
{
    size_t nodes = a->n * b->n;
    m->first = calloc(nodes + 2, sizeof *m->first);
    uint32_t *order = malloc((m->n + 1) * sizeof *order);
    bool fine = m->first && order;
    if (fine) {
        for (size_t i = 0; i < m->n; i++) {
            m->first[m->from[i] + 2]++;
        }
        for (size_t i = 2; i < nodes + 2; i++) {
            m->first[i] += m->first[i - 1];
        }
        for (size_t i = 0; i < m->n; i++) {
            order[m->first[m->from[i] + 1]++] = m->to[i]; /* afterwards first[k] is where node k's begin */
        }
    }
    uint32_t *next = malloc((nodes + 1) * sizeof *next);
    fine = fine && next;
    for (size_t i = 0; fine && i < nodes; i++) {
        next[i] = m->first[i];
    }
    for (size_t start = 0; fine && start < nodes; start++) {
        while (fine && next[start] < m->first[start + 1]) {
            size_t node = start;
            do {
                at p = a->p[node / b->n], q = b->p[node % b->n];
                fine = collect_point(c, (at){p.x + q.x, p.y + q.y});
                if (next[node] >= m->first[node + 1]) {
                    break; /* can't be: every node is left as often as entered */
                }
                node = order[next[node]++];
            } while (fine && node != start);
            fine = fine && collect_end(c);
        }
    }
    free(next);
    free(order);
    free(m->first);
    m->first = NULL;
    return fine;
}

po_status po_nfp_loops(const po_loops *a, const po_loops *b, po_arena *arena, po_loops *ret, po_err *err)
{
    region ra = {0}, rb = {0};
    collected c = {0};
    mesh m = {0};
    bool fine = region_make(a, 1, &ra) && region_make(b, -1, &rb);
    for (size_t i = 0; fine && i < ra.n; i++) {
        for (size_t j = 0; fine && j < rb.n; j++) {
            m.n = 0;
            size_t corners = ra.walks[i].n;
            if (corners * rb.walks[j].n >= UINT32_MAX / 2) {
                region_done(&ra);
                region_done(&rb);
                free(m.from);
                free(m.to);
                free(c.xy);
                free(c.ends);
                return po_fail(err, PO_E_LIMIT, "an outline of %zu corners is too fine to be laid out", corners);
            }
            fine = put_in_order(&ra.walks[i], &rb.walks[j]) > 0 && segments(&ra.walks[i], &rb.walks[j], &m) &&
                   follow(&ra.walks[i], &rb.walks[j], &m, &c);
        }
    }
    po_status status = PO_OK;
    if (!fine) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out");
    } else {
        po_loops raw = {c.xy, c.n, c.ends, c.n_loops};
        status = po_loops_clip(&raw, NULL, PO_CLIP_UNION, arena, ret, err);
    }
    region_done(&ra);
    region_done(&rb);
    free(m.from);
    free(m.to);
    free(c.xy);
    free(c.ends);
    return status;
}
