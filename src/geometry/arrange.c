/* From rings that touch and cross to the simple boundary of what they enclose. SPDX-License-Identifier: Apache-2.0
 *
 * A path belongs to the boundary when the wanted region lies on one side of it only; it is run along with the region on its
 * left. At a node the walk goes on along the next boundary way clockwise: that is the other border of the sector of the
 * region through which it came, so regions that meet in a point are walked around separately. A walk that comes to a node
 * for the second time has closed a ring, which is taken off at once; what is left stays simple. */
#include <math.h>
#include <string.h>

#include "geometry/rings.h"

typedef struct linker {
    po_paths *p;
    po_rings *out;
    uint8_t *run;    /* for each path: 0 not on the boundary, 1 forward, 2 backward; +4 when it has been used */
    uint32_t *on;    /* for each node: place on the stack of the path that leaves it + 1 */
    uint32_t *stack; /* paths of the walk */
    double least_width;
} linker;

static bool inside(const int32_t w[2], po_clip how)
{
    bool a = w[0] > 0, b = w[1] > 0;
    return how == PO_CLIP_UNION ? a || b : how == PO_CLIP_COMMON ? a && b : a && !b;
}

static uint8_t run_of(const po_path *q, po_clip how)
{
    int32_t left[2] = {q->right[0] + q->weight[0], q->right[1] + q->weight[1]};
    bool l = inside(left, how), r = inside(q->right, how);
    return l == r ? 0 : l ? 1 : 2;
}

/* The end at which a run along the path begins (0) or ends (1). */
static uint32_t end_of(uint8_t run, int which)
{
    return (run & 3) == 1 ? (uint32_t)which : 1u - (uint32_t)which;
}

/* Whether the ring just written is wide enough to stay. Its mean width is twice the area over the length. */
static bool wide_enough(const po_spot *at, size_t n, double least)
{
    double twice = 0, x0 = (double)at->x, y0 = (double)at->y, px = 0, py = 0, reach = 0;
    for (size_t i = 1; i < n; i++) {
        double x = (double)at[i].x - x0, y = (double)at[i].y - y0;
        twice += px * y - x * py;
        reach = fmax(reach, fmax(fabs(x), fabs(y)));
        px = x;
        py = y;
    }
    twice = fabs(twice);
    if (twice > least * 4 * reach * (double)n) { /* no edge is longer than the diagonal of twice the reach */
        return true;
    }
    double length = 0;
    for (size_t i = 1; i < n; i++) {
        length += hypot((double)(at[i].x - at[i - 1].x), (double)(at[i].y - at[i - 1].y));
    }
    return twice > least * length;
}

static void finish_ring(linker *k, size_t first)
{
    po_rings *out = k->out;
    size_t n = out->n_points - first;
    if (n < 3 || !wide_enough(out->at + first, n + 1, k->least_width)) {
        out->n_points = first;
        return;
    }
    out->n_points = first + n + 1;
    out->start[++out->n_rings] = (uint32_t)out->n_points;
}

static bool goes_straight_on(const po_spot *a, const po_spot *b, const po_spot *c)
{
    int64_t dx = b->x - a->x, dy = b->y - a->y, ex = c->x - b->x, ey = c->y - b->y;
    return po_spot_cross(dx, dy, ex, ey) == 0 && (po_wide)dx * ex + (po_wide)dy * ey > 0;
}

/* One ring of m paths, each from its node to the next one's. A node between exactly two boundary paths that go straight
 * on there is no corner any more. */
static void write_ring(linker *k, const uint32_t *path, size_t m)
{
    po_rings *out = k->out;
    const po_paths *p = k->p;
    size_t first = out->n_points;
    for (size_t i = 0; i < m; i++) {
        const po_path *q = &p->paths[path[i]], *w = &p->paths[path[i > 0 ? i - 1 : m - 1]];
        bool forward = (k->run[path[i]] & 3) == 1, w_forward = (k->run[path[i > 0 ? i - 1 : m - 1]] & 3) == 1;
        uint32_t n = q->last - q->first, from = forward ? q->first : q->last;
        uint32_t node = q->node[forward ? 0 : 1];
        const po_spot *a = &p->at[w_forward ? w->last - 1 : w->first + 1], *b = &p->at[from],
                      *c = &p->at[forward ? from + 1 : from - 1];
        if (p->n_ways[node] != 2 || !goes_straight_on(a, b, c)) {
            out->at[out->n_points++] = *b;
        }
        for (uint32_t j = 1; j < n; j++) {
            out->at[out->n_points++] = p->at[forward ? from + j : from - j];
        }
    }
    out->at[out->n_points] = out->at[first];
    finish_ring(k, first);
}

static void write_closed(linker *k, uint32_t path)
{
    const po_path *q = &k->p->paths[path];
    po_rings *out = k->out;
    size_t first = out->n_points, n = q->last - q->first;
    for (size_t j = 0; j <= n; j++) {
        out->at[first + j] = k->p->at[(k->run[path] & 3) == 1 ? q->first + j : q->last - j];
    }
    out->n_points += n;
    finish_ring(k, first);
}

/* Leave the boundary ways only at every node. */
static void keep_boundary(linker *k)
{
    po_paths *p = k->p;
    for (size_t i = 0; i < p->n_nodes; i++) {
        po_way *w = p->ways + p->way_start[i];
        uint32_t n = 0;
        for (uint32_t j = 0; j < p->n_ways[i]; j++) {
            if (k->run[w[j].end / 2]) {
                w[n] = w[j];
                p->place[w[j].end] = n++;
            }
        }
        p->n_ways[i] = n;
    }
}

static po_status walk(linker *k, uint32_t start, po_err *err)
{
    po_paths *p = k->p;
    size_t n = 0;
    for (uint32_t path = start;;) {
        const po_path *q = &p->paths[path];
        uint32_t leave = q->node[end_of(k->run[path], 0)], last = end_of(k->run[path], 1), arrive = q->node[last];
        k->run[path] |= 4;
        k->stack[n] = path;
        k->on[leave] = (uint32_t)++n;
        if (k->on[arrive]) {
            size_t from = k->on[arrive] - 1;
            for (size_t i = from; i < n; i++) {
                k->on[p->paths[k->stack[i]].node[end_of(k->run[k->stack[i]], 0)]] = 0;
            }
            write_ring(k, k->stack + from, n - from);
            n = from;
        }
        uint32_t at = p->place[2 * path + last], deg = p->n_ways[arrive];
        uint32_t next = p->ways[p->way_start[arrive] + (at > 0 ? at - 1 : deg - 1)].end;
        if (next / 2 == start && n == 0) {
            return PO_OK;
        }
        path = next / 2;
        if ((k->run[path] & 4) || end_of(k->run[path], 0) != next % 2) {
            return po_fail(err, PO_E_INTERNAL, "the boundary of outlines does not close");
        }
    }
}

po_status po_rings_arrange(const po_rings *in, po_clip how, double least_width, po_scratch *scratch, po_rings *ret,
                           po_err *err)
{
    po_crossings crossings;
    po_paths paths;
    po_status status = po_rings_cross(in, scratch, &crossings, err);
    status = status ? status : po_paths_of(in, &crossings, scratch, &paths, err);
    if (status) {
        return status;
    }
    linker k = {.p = &paths,
                .out = ret,
                .run = po_scratch_take(scratch, paths.n_paths + 1, sizeof *k.run),
                .on = po_scratch_zeros(scratch, paths.n_nodes + 1, sizeof *k.on),
                .stack = po_scratch_take(scratch, paths.n_paths + 1, sizeof *k.stack),
                .least_width = least_width};
    *ret = (po_rings){.at = po_scratch_take(scratch, paths.n_points + 1, sizeof *ret->at),
                      .start = po_scratch_zeros(scratch, paths.n_paths + 2, sizeof *ret->start)};
    if (!k.run || !k.on || !k.stack || !ret->at || !ret->start) {
        return po_rings_memory(err);
    }
    for (size_t i = 0; i < paths.n_paths; i++) {
        k.run[i] = paths.paths[i].dead ? 0 : run_of(&paths.paths[i], how);
    }
    keep_boundary(&k);
    for (uint32_t i = 0; i < paths.n_paths; i++) {
        if (!k.run[i] || (k.run[i] & 4)) {
            continue;
        }
        if (paths.paths[i].node[0] == PO_NO_NODE) {
            write_closed(&k, i);
        } else {
            status = walk(&k, i, err);
            if (status) {
                return status;
            }
        }
    }
    ret->n_first = ret->n_rings;
    return PO_OK;
}
