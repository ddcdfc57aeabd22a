/* Rings cut at their nodes, and winding numbers beside every piece. SPDX-License-Identifier: Apache-2.0
 *
 * Between nodes a ring touches nothing, so winding numbers change at nodes only: all the rest of the work is in the number
 * of nodes. Around a node the ways are sorted by angle, and a turn about it gives the winding numbers of all its ways from
 * one of them. A connected part is walked through from node to node with numbers that are right but for a common term;
 * that comes from the path next to the left of the part's leftmost point (beside.c), parts being taken from left to right. */
#include <stdlib.h>
#include <string.h>

#include "geometry/rings.h"

enum { SHORT_SORT = 24 };

typedef struct cutter {
    const po_rings *rings;
    const po_crossings *crossings;
    po_paths *out;
    uint32_t ring_operand;
    uint32_t open_node; /* of the path that is being made */
    uint32_t first;
} cutter;

static inline bool before(const po_spot *a, const po_spot *b)
{
    return a->x != b->x ? a->x < b->x : a->y < b->y;
}

static void add_path(cutter *c, uint32_t last, uint32_t node0, uint32_t node1)
{
    po_paths *out = c->out;
    uint32_t lowest = c->first;
    for (uint32_t i = c->first + 1; i <= last; i++) {
        lowest = before(&out->at[i], &out->at[lowest]) ? i : lowest;
    }
    po_path *p = &out->paths[out->n_paths++];
    *p = (po_path){.first = c->first, .last = last, .node = {node0, node1}, .lowest = lowest};
    p->weight[c->ring_operand] = 1;
}

static void put_node(cutter *c, uint32_t node, bool more)
{
    po_paths *out = c->out;
    po_spot at = c->crossings->nodes.at[node];
    out->at[out->n_points++] = at;
    if (c->open_node != PO_NO_NODE) {
        uint32_t last = (uint32_t)out->n_points - 1;
        if (node == c->open_node && last - c->first <= 2) {
            out->n_points = c->first; /* out and back again on one edge */
            out->at[out->n_points++] = at;
        } else {
            add_path(c, last, c->open_node, node);
            out->at[out->n_points++] = at;
        }
    }
    c->first = (uint32_t)out->n_points - 1;
    c->open_node = more ? node : PO_NO_NODE;
    out->n_points -= !more;
}

/* One ring; hits[*h] is the first hit on its edges or behind them. */
static void cut_ring(cutter *c, size_t ring, size_t *h)
{
    const po_rings *r = c->rings;
    const po_crossings *x = c->crossings;
    po_paths *out = c->out;
    uint32_t start = r->start[ring], n = r->start[ring + 1] - 1 - start, from = 0;
    size_t h0 = *h, end = h0;
    while (end < x->n_hits && x->hits[end].edge < start + n) {
        end++;
    }
    *h = end;
    while (from < n && !x->node_of[start + from] && !(h0 < end && x->hits[h0].edge == start + from)) {
        from++;
    }
    c->open_node = PO_NO_NODE;
    c->first = (uint32_t)out->n_points;
    if (from == n) {
        memcpy(out->at + out->n_points, r->at + start, ((size_t)n + 1) * sizeof *out->at);
        out->n_points += (size_t)n + 1;
        add_path(c, c->first + n, PO_NO_NODE, PO_NO_NODE);
        return;
    }
    size_t k = h0; /* the hits before h0's edge: none in this ring, because from is the first edge with an event */
    for (uint32_t i = 0; i < n; i++) {
        uint32_t e = start + (from + i < n ? from + i : from + i - n);
        if (i > 0 && e == start) {
            k = end; /* hits are sorted by edge; those below `from` do not exist */
        }
        if (x->node_of[e]) {
            put_node(c, x->node_of[e] - 1, true);
        } else if (i > 0) {
            out->at[out->n_points++] = r->at[e];
        }
        for (; k < end && x->hits[k].edge == e; k++) {
            put_node(c, x->hits[k].node, true);
        }
    }
    uint32_t e = start + from;
    if (x->node_of[e]) {
        put_node(c, x->node_of[e] - 1, false);
    } else {
        out->at[out->n_points++] = r->at[e];
        put_node(c, x->hits[h0].node, false);
    }
}

static int by_angle(const void *a, const void *b)
{
    const po_way *p = a, *q = b;
    bool low_p = p->dy < 0 || (p->dy == 0 && p->dx < 0), low_q = q->dy < 0 || (q->dy == 0 && q->dx < 0);
    if (low_p != low_q) {
        return low_p ? 1 : -1;
    }
    po_wide turn = po_spot_cross(p->dx, p->dy, q->dx, q->dy);
    return turn != 0 ? (turn > 0 ? -1 : 1) : (p->end > q->end) - (p->end < q->end);
}

static bool same_direction(const po_way *p, const po_way *q)
{
    return po_spot_cross(p->dx, p->dy, q->dx, q->dy) == 0 && ((p->dx > 0) == (q->dx > 0)) &&
           ((p->dy > 0) == (q->dy > 0)) && ((p->dx < 0) == (q->dx < 0)) && ((p->dy < 0) == (q->dy < 0));
}

/* Paths that lie on each other are single edges between the same nodes. The first of them (by number, so that both nodes
 * choose alike) takes over the weights of all. */
static void merge_ways(po_paths *o, uint32_t node)
{
    po_way *w = o->ways + o->way_start[node];
    uint32_t n = o->n_ways[node], kept = 0;
    for (uint32_t i = 0; i < n; i++) {
        if (kept > 0 && same_direction(&w[kept - 1], &w[i])) {
            uint32_t to_end = w[kept - 1].end, end = w[i].end;
            po_path *to = &o->paths[to_end / 2], *p = &o->paths[end / 2];
            if (to_end % 2 == 0) {
                for (int k = 0; k < 2; k++) {
                    to->weight[k] += end % 2 == 0 ? p->weight[k] : -p->weight[k];
                }
            }
            p->dead = true;
            continue;
        }
        w[kept++] = w[i];
    }
    o->n_ways[node] = kept;
    for (uint32_t i = 0; i < kept; i++) {
        o->place[w[i].end] = i;
    }
}

static po_status gather_ways(po_paths *o, po_scratch *scratch, po_err *err)
{
    o->way_start = po_scratch_zeros(scratch, o->n_nodes + 2, sizeof *o->way_start);
    o->n_ways = po_scratch_zeros(scratch, o->n_nodes + 1, sizeof *o->n_ways);
    o->ways = po_scratch_take(scratch, 2 * o->n_paths + 1, sizeof *o->ways);
    o->place = po_scratch_take(scratch, 2 * o->n_paths + 1, sizeof *o->place);
    if (!o->way_start || !o->n_ways || !o->ways || !o->place) {
        return po_rings_memory(err);
    }
    for (size_t i = 0; i < o->n_paths; i++) {
        for (int k = 0; k < 2 && o->paths[i].node[0] != PO_NO_NODE; k++) {
            o->way_start[o->paths[i].node[k] + 1]++;
        }
    }
    for (size_t i = 0; i < o->n_nodes; i++) {
        o->way_start[i + 1] += o->way_start[i];
    }
    for (size_t i = 0; i < o->n_paths; i++) {
        const po_path *p = &o->paths[i];
        for (uint32_t k = 0; k < 2 && p->node[0] != PO_NO_NODE; k++) {
            const po_spot *from = &o->at[k ? p->last : p->first], *to = &o->at[k ? p->last - 1 : p->first + 1];
            uint32_t node = p->node[k];
            o->ways[o->way_start[node] + o->n_ways[node]++] = (po_way){to->x - from->x, to->y - from->y,
                                                                       2 * (uint32_t)i + k};
        }
    }
    for (uint32_t i = 0; i < o->n_nodes; i++) {
        po_way *w = o->ways + o->way_start[i];
        uint32_t n = o->n_ways[i];
        if (n > SHORT_SORT) {
            qsort(w, n, sizeof *w, by_angle);
        } else {
            for (uint32_t j = 1; j < n; j++) {
                po_way v = w[j];
                uint32_t to = j;
                for (; to > 0 && by_angle(&w[to - 1], &v) > 0; to--) {
                    w[to] = w[to - 1];
                }
                w[to] = v;
            }
        }
        merge_ways(o, i);
    }
    return PO_OK;
}

typedef struct part {
    po_spot lowest;
    uint32_t path; /* that has it */
    int32_t add[2];
} part;

static int by_lowest(const void *a, const void *b)
{
    const part *const *p = a, *const *q = b;
    const po_spot *s = &(*p)->lowest, *t = &(*q)->lowest;
    return before(s, t) ? -1 : before(t, s) ? 1 : ((*p)->path > (*q)->path) - ((*p)->path < (*q)->path);
}

static void note_lowest(const po_paths *o, part *p, uint32_t path)
{
    const po_spot *at = &o->at[o->paths[path].lowest];
    if (p->path == UINT32_MAX || before(at, &p->lowest)) {
        p->lowest = *at;
        p->path = path;
    }
}

/* All windings of the part that the node belongs to, but for a common term. */
static void walk_part(po_paths *o, uint32_t number, uint32_t root, uint32_t *reached_by, uint32_t *queue, part *p)
{
    size_t n = 0, done = 0;
    queue[n++] = root;
    while (done < n) {
        uint32_t node = queue[done++], deg = o->n_ways[node];
        const po_way *w = o->ways + o->way_start[node];
        uint32_t at = 0;
        int32_t wind[2] = {0, 0}; /* clockwise of way `at` */
        if (node != root) {
            uint32_t end = reached_by[node];
            const po_path *q = &o->paths[end / 2];
            at = o->place[end];
            for (int k = 0; k < 2; k++) {
                wind[k] = end % 2 == 0 ? q->right[k] : q->right[k] + q->weight[k];
            }
        }
        for (uint32_t i = 0; i < deg; i++) {
            uint32_t end = w[at].end;
            po_path *q = &o->paths[end / 2];
            for (int k = 0; k < 2; k++) {
                q->right[k] = end % 2 == 0 ? wind[k] : wind[k] - q->weight[k];
                wind[k] += end % 2 == 0 ? q->weight[k] : -q->weight[k];
            }
            uint32_t other = q->node[1 - end % 2];
            if (q->part == 0) {
                q->part = number + 1;
                note_lowest(o, p, end / 2);
            }
            if (other != root && reached_by[other] == UINT32_MAX) {
                reached_by[other] = end ^ 1;
                queue[n++] = other;
            }
            at = at + 1 < deg ? at + 1 : 0;
        }
    }
}

/* The part's winding numbers as walked at a point just left of its lowest one. */
static void outside_of(const po_paths *o, const part *p, int32_t ret[2])
{
    const po_path *q = &o->paths[p->path];
    bool left = false;
    if (q->lowest == q->first || q->lowest == q->last) {
        if (q->node[0] != PO_NO_NODE) {
            /* All ways of this node go up or to the right: behind the last one below 180 degrees lies the outside. */
            uint32_t node = q->node[q->lowest == q->first ? 0 : 1], n = o->n_ways[node], i = 0;
            const po_way *w = o->ways + o->way_start[node];
            while (i < n && (w[i].dy > 0 || (w[i].dy == 0 && w[i].dx > 0))) {
                i++;
            }
            uint32_t end = w[i > 0 ? i - 1 : n - 1].end;
            q = &o->paths[end / 2];
            left = end % 2 == 0;
        } else {
            const po_spot *a = &o->at[q->last - 1], *b = &o->at[q->first], *c = b + 1;
            left = po_spot_cross(b->x - a->x, b->y - a->y, c->x - b->x, c->y - b->y) < 0;
        }
    } else {
        const po_spot *b = &o->at[q->lowest], *a = b - 1, *c = b + 1;
        left = po_spot_cross(b->x - a->x, b->y - a->y, c->x - b->x, c->y - b->y) < 0;
    }
    for (int k = 0; k < 2; k++) {
        ret[k] = left ? q->right[k] + q->weight[k] : q->right[k];
    }
}

static po_status place_parts(po_paths *o, part *parts, size_t n_parts, po_scratch *scratch, po_err *err)
{
    part **order = po_scratch_take(scratch, n_parts + 1, sizeof *order);
    po_beside *beside = NULL;
    if (!order) {
        return po_rings_memory(err);
    }
    for (size_t i = 0; i < n_parts; i++) {
        order[i] = &parts[i];
    }
    if (n_parts > 1) {
        po_status status = po_beside_new(o, scratch, &beside, err);
        if (status) {
            return status;
        }
        qsort(order, n_parts, sizeof(part *), by_lowest);
    }
    for (size_t i = 0; i < n_parts; i++) {
        part *p = order[i];
        int32_t outside[2], add[2] = {0, 0};
        uint32_t hit;
        bool up;
        outside_of(o, p, outside);
        if (i > 0 && po_beside_left_of(beside, p->lowest, &hit, &up)) {
            const po_path *q = &o->paths[hit];
            const part *other = &parts[q->part - 1];
            for (int k = 0; k < 2; k++) {
                add[k] = q->right[k] + (up ? 0 : q->weight[k]) + other->add[k];
            }
        }
        for (int k = 0; k < 2; k++) {
            p->add[k] = add[k] - outside[k];
        }
    }
    for (size_t i = 0; i < o->n_paths; i++) {
        po_path *q = &o->paths[i];
        for (int k = 0; k < 2 && !q->dead; k++) {
            q->right[k] += parts[q->part - 1].add[k];
        }
    }
    return PO_OK;
}

static po_status find_windings(po_paths *o, po_scratch *scratch, po_err *err)
{
    uint32_t *reached_by = po_scratch_take(scratch, o->n_nodes + 1, sizeof *reached_by);
    uint32_t *queue = po_scratch_take(scratch, o->n_nodes + 1, sizeof *queue);
    size_t n_parts = 0, most = 1;
    for (size_t i = 0; i < o->n_paths; i++) {
        most += o->paths[i].node[0] == PO_NO_NODE;
    }
    part *parts = po_scratch_zeros(scratch, most + o->n_nodes, sizeof *parts);
    if (!reached_by || !queue || !parts) {
        return po_rings_memory(err);
    }
    memset(reached_by, 0xff, o->n_nodes * sizeof *reached_by);
    for (uint32_t i = 0; i < o->n_paths; i++) {
        po_path *q = &o->paths[i];
        if (q->dead || q->part) {
            continue;
        }
        part *p = &parts[n_parts];
        p->path = UINT32_MAX;
        if (q->node[0] == PO_NO_NODE) {
            q->part = (uint32_t)n_parts + 1;
            note_lowest(o, p, i);
        } else {
            walk_part(o, (uint32_t)n_parts, q->node[0], reached_by, queue, p);
        }
        n_parts++;
    }
    return place_parts(o, parts, n_parts, scratch, err);
}

po_status po_paths_of(const po_rings *rings, const po_crossings *crossings, po_scratch *scratch, po_paths *ret,
                      po_err *err)
{
    size_t events = crossings->n_marked + crossings->n_hits;
    *ret = (po_paths){
        .n_nodes = crossings->nodes.n,
        .at = po_scratch_take(scratch, rings->n_points + 2 * events + rings->n_rings + 2, sizeof *ret->at),
        .paths = po_scratch_take(scratch, events + rings->n_rings + 1, sizeof *ret->paths)};
    if (!ret->at || !ret->paths) {
        return po_rings_memory(err);
    }
    cutter c = {.rings = rings, .crossings = crossings, .out = ret};
    size_t h = 0;
    for (size_t r = 0; r < rings->n_rings; r++) {
        c.ring_operand = r >= rings->n_first;
        cut_ring(&c, r, &h);
    }
    po_status status = gather_ways(ret, scratch, err);
    return status ? status : find_windings(ret, scratch, err);
}
