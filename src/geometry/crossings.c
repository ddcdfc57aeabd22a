/* Where rings touch or cross, by snap rounding. SPDX-License-Identifier: Apache-2.0
 *
 * A pixel is the half-open unit square about a grid point. Hot are the pixels of all points and of all crossings, these
 * rounded exactly; an edge is bent to pass through the centre of every hot pixel that it meets. After that edges meet in
 * their ends only (J. D. Hobby, Practical segment intersection with finite precision output, Comput. Geom. 13, 1999;
 * L. J. Guibas, D. H. Marimont, Rounding arrangements dynamically, IJCGA 8, 1998), so one pass is enough.
 *
 * Candidates come from a binary tree of boxes over short stretches of the rings, in the order of the rings, in which
 * neighbours are near each other anyway. Stretches are monotone in x and y: edges of one monotone run cannot cross, and no
 * edge meets the pixel of another point of its run, because one coordinate of that lies a whole unit beyond the edge. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "geometry/pixels.h"
#include "geometry/rings.h"

enum { STRETCH = 6, DEPTH = 32, SHORT_SORT = 24 };

typedef struct box {
    int64_t x0, y0, x1, y1;
} box;

typedef struct stretch {
    uint32_t first, last; /* edges, by the number of their start; last is included */
    uint32_t run;
} stretch;

typedef struct search {
    const po_spot *at;
    po_scratch *scratch;
    po_crossings *out;
    stretch *stretches;
    box *level[DEPTH]; /* level[0][i] is the box of stretch i, level[k + 1][i] holds [2i] and [2i + 1] of level k */
    uint32_t n_level[DEPTH];
    int n_levels;
    size_t room_hits;
    uint32_t *pixels; /* nodes of crossings */
    size_t n_pixels, room_pixels;
    uint8_t *is_pixel; /* for each node below room_is_pixel */
    size_t room_is_pixel;
    uint64_t tests;
    po_err *err;
} search;

po_status po_rings_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "no memory left for outlines");
}

static po_status too_many(po_err *err)
{
    return po_fail(err, PO_E_LIMIT, "outlines touch or cross each other too often");
}

static uint64_t hash_of(po_spot p)
{
    uint64_t h = (uint64_t)p.x * UINT64_C(0x9E3779B97F4A7C15) ^ (uint64_t)p.y * UINT64_C(0xC2B2AE3D27D4EB4F);
    h ^= h >> 29;
    h *= UINT64_C(0xBF58476D1CE4E5B9);
    return h ^ h >> 32;
}

static po_status more_slots(po_spots *s, po_scratch *scratch, po_err *err)
{
    uint32_t room = s->room ? 2 * s->room : 64;
    if (room > 2 * (uint32_t)PO_RINGS_MOST_NODES) {
        return too_many(err);
    }
    po_spot *at = po_scratch_more(scratch, s->at, s->room * sizeof *at, room * sizeof *at);
    uint32_t *slots = po_scratch_zeros(scratch, 2 * (size_t)room, sizeof *slots);
    if (!at || !slots) {
        return po_rings_memory(err);
    }
    *s = (po_spots){at, slots, s->n, room, 2 * room - 1};
    for (uint32_t i = 0; i < s->n; i++) {
        uint32_t k = (uint32_t)hash_of(at[i]) & s->mask;
        while (slots[k]) {
            k = (k + 1) & s->mask;
        }
        slots[k] = i + 1;
    }
    return PO_OK;
}

static po_status number_of(po_spots *s, po_spot p, po_scratch *scratch, uint32_t *ret, po_err *err)
{
    if (s->n == s->room) {
        po_status status = more_slots(s, scratch, err);
        if (status) {
            return status;
        }
    }
    uint32_t k = (uint32_t)hash_of(p) & s->mask;
    for (; s->slots[k]; k = (k + 1) & s->mask) {
        const po_spot *q = &s->at[s->slots[k] - 1];
        if (q->x == p.x && q->y == p.y) {
            *ret = s->slots[k] - 1;
            return PO_OK;
        }
    }
    s->at[s->n] = p;
    s->slots[k] = s->n + 1;
    *ret = s->n++;
    return PO_OK;
}

static po_status mark(search *s, uint32_t point)
{
    uint32_t *to = &s->out->node_of[point], node;
    if (*to) {
        return PO_OK;
    }
    po_status status = number_of(&s->out->nodes, s->at[point], s->scratch, &node, s->err);
    if (!status) {
        *to = node + 1;
        s->out->n_marked++;
    }
    return status;
}

static po_status add_hit(search *s, uint32_t edge, uint32_t node)
{
    po_crossings *out = s->out;
    if (out->n_hits == s->room_hits) {
        size_t room = s->room_hits ? 2 * s->room_hits : 256;
        if (room > PO_RINGS_MOST_NODES) {
            return too_many(s->err);
        }
        po_hit *hits = po_scratch_more(s->scratch, out->hits, s->room_hits * sizeof *hits, room * sizeof *hits);
        if (!hits) {
            return po_rings_memory(s->err);
        }
        out->hits = hits;
        s->room_hits = room;
    }
    out->hits[out->n_hits++] = (po_hit){edge, node};
    return PO_OK;
}

/* Whether an edge along d meets the pixel of a grid point inside the edge's box, o being the cross product of d and the
 * way from the edge's start to the point. Twice the cross products of the pixel's corners: the right and the upper border
 * are not the pixel's own, so of the corners only the lower left is. */
static bool meets(int64_t dx, int64_t dy, po_wide o)
{
    if (dx == 0 || dy == 0) {
        return true;
    }
    if (dx < 0) { /* seen from its left end */
        dx = -dx;
        dy = -dy;
        o = -o;
    }
    po_wide ul = 2 * o + dx + dy, ur = 2 * o + dx - dy, ll = 2 * o - dx + dy, lr = 2 * o - dx - dy;
    if (dy > 0) { /* rises: of the corners upper left is highest, lower right lowest; through either it stays outside */
        return ul > 0 && lr < 0;
    }
    /* Falls: upper right is highest, lower left lowest. Through the lower left it meets; through the upper right not. */
    return ur > 0 && ll <= 0;
}

/* A point at the start of one edge against another edge (p, q) whose box holds it. */
static po_status start_on_edge(search *s, uint32_t point, uint32_t edge, po_wide o)
{
    const po_spot *a = &s->at[point], *p = &s->at[edge], *q = p + 1;
    if (a->x == q->x && a->y == q->y) {
        return PO_OK; /* q starts an edge too, and that one is compared with this */
    }
    if (a->x == p->x && a->y == p->y) {
        po_status status = mark(s, point);
        return status ? status : mark(s, edge);
    }
    if (!meets(q->x - p->x, q->y - p->y, o)) {
        return PO_OK;
    }
    po_status status = mark(s, point);
    return status ? status : add_hit(s, edge, s->out->node_of[point] - 1);
}

/* floor(d * num / den + 1/2) for den > 0 and 0 <= num <= den. */
static int64_t rounded_part(int64_t d, po_wide num, po_wide den)
{
    double v = (double)d * ((double)num / (double)den) + 0.5, low = floor(v), part = v - low;
    if (part > 0.01 && part < 0.99) { /* doubles are off by 2^-10 at most: five roundings of a number below 2^41 */
        return (int64_t)low;
    }
    po_wide above = 2 * (po_wide)d * num + den, below = 2 * den, whole = above / below;
    return (int64_t)(whole - (above % below < 0));
}

static po_status cross_at(search *s, const po_spot *p, int64_t dx, int64_t dy, po_wide num, po_wide den)
{
    if (den < 0) {
        num = -num;
        den = -den;
    }
    po_spot c = {p->x + rounded_part(dx, num, den), p->y + rounded_part(dy, num, den)};
    uint32_t node;
    po_status status = number_of(&s->out->nodes, c, s->scratch, &node, s->err);
    if (status) {
        return status;
    }
    if (s->out->nodes.room > s->room_is_pixel) {
        size_t had = s->room_is_pixel, room = s->out->nodes.room;
        uint8_t *is_pixel = po_scratch_more(s->scratch, s->is_pixel, had, room);
        if (!is_pixel) {
            return po_rings_memory(s->err);
        }
        memset(is_pixel + had, 0, room - had);
        s->is_pixel = is_pixel;
        s->room_is_pixel = room;
    }
    if (s->is_pixel[node]) {
        return PO_OK;
    }
    s->is_pixel[node] = 1;
    if (s->n_pixels == s->room_pixels) {
        size_t room = s->room_pixels ? 2 * s->room_pixels : 256;
        if (room > PO_RINGS_MOST_NODES) {
            return too_many(s->err);
        }
        uint32_t *pixels = po_scratch_more(s->scratch, s->pixels, s->room_pixels * sizeof *pixels,
                                           room * sizeof *pixels);
        if (!pixels) {
            return po_rings_memory(s->err);
        }
        s->pixels = pixels;
        s->room_pixels = room;
    }
    s->pixels[s->n_pixels++] = node;
    return PO_OK;
}

static inline bool between(int64_t v, int64_t a, int64_t b)
{
    return a < b ? a <= v && v <= b : b <= v && v <= a;
}

static inline bool in_box_of(const po_spot *v, const po_spot *edge)
{
    return between(v->x, edge[0].x, edge[1].x) && between(v->y, edge[0].y, edge[1].y);
}

static inline bool boxes_meet(const po_spot *s, const po_spot *t)
{
#define APART(c)                                                                                                       \
    ((s[0].c < t[0].c && s[0].c < t[1].c && s[1].c < t[0].c && s[1].c < t[1].c) ||                                     \
     (s[0].c > t[0].c && s[0].c > t[1].c && s[1].c > t[0].c && s[1].c > t[1].c))
    return !APART(x) && !APART(y);
#undef APART
}

static po_status compare_edges(search *s, uint32_t i, uint32_t k)
{
    const po_spot *p = &s->at[i], *q = p + 1, *a = &s->at[k], *b = a + 1;
    int64_t dx = q->x - p->x, dy = q->y - p->y, ex = b->x - a->x, ey = b->y - a->y;
    po_wide turn = po_spot_cross(dx, dy, ex, ey);
    po_wide oa = po_spot_cross(dx, dy, a->x - p->x, a->y - p->y), ob = oa + turn;
    po_wide op = po_spot_cross(ex, ey, p->x - a->x, p->y - a->y), oq = op - turn;
    po_status status = PO_OK;
    if (((oa > 0 && ob < 0) || (oa < 0 && ob > 0)) && ((op > 0 && oq < 0) || (op < 0 && oq > 0))) {
        status = cross_at(s, p, dx, dy, op, turn);
    }
    if (!status && in_box_of(a, p)) {
        status = start_on_edge(s, k, i, oa);
    }
    if (!status && in_box_of(p, a)) {
        status = start_on_edge(s, i, k, op);
    }
    return status;
}

static inline bool edge_in_box(const po_spot *e, const box *b)
{
    return !((e[0].x < b->x0 && e[1].x < b->x0) || (e[0].x > b->x1 && e[1].x > b->x1) ||
             (e[0].y < b->y0 && e[1].y < b->y0) || (e[0].y > b->y1 && e[1].y > b->y1));
}

static po_status compare_stretches(search *s, uint32_t a, uint32_t b)
{
    const stretch *sa = &s->stretches[a], *sb = &s->stretches[b];
    for (uint32_t i = sa->first; i <= sa->last; i++) {
        s->tests++;
        if (!edge_in_box(&s->at[i], &s->level[0][b])) {
            continue;
        }
        for (uint32_t k = sb->first; k <= sb->last; k++) {
            if (boxes_meet(&s->at[i], &s->at[k])) {
                po_status status = compare_edges(s, i, k);
                if (status) {
                    return status;
                }
            }
        }
        s->tests += sb->last - sb->first + 1;
    }
    return s->tests > PO_RINGS_MOST_TESTS ? too_many(s->err) : PO_OK;
}

static inline int sign(int64_t v)
{
    return (v > 0) - (v < 0);
}

static po_status make_stretches(search *s, const po_rings *rings, uint32_t *ret_n)
{
    size_t n = 0, room = rings->n_points + 1;
    s->stretches = po_scratch_take(s->scratch, room, sizeof *s->stretches);
    s->level[0] = po_scratch_take(s->scratch, room, sizeof(box));
    if (!s->stretches || !s->level[0]) {
        return po_rings_memory(s->err);
    }
    uint32_t run = 0;
    for (size_t r = 0; r < rings->n_rings; r++) {
        uint32_t end = rings->start[r + 1] - 1;
        int rx = 0, ry = 0;
        run++;
        for (uint32_t i = rings->start[r]; i < end;) {
            uint32_t k = i;
            bool turned = false;
            for (; k < end && k < i + STRETCH; k++) {
                int sx = sign(s->at[k + 1].x - s->at[k].x), sy = sign(s->at[k + 1].y - s->at[k].y);
                if (sx * rx < 0 || sy * ry < 0) {
                    turned = true;
                    break;
                }
                rx = rx ? rx : sx;
                ry = ry ? ry : sy;
            }
            if (k > i) {
                const po_spot *p = &s->at[i], *q = &s->at[k];
                s->stretches[n] = (stretch){i, k - 1, run};
                s->level[0][n++] = (box){p->x < q->x ? p->x : q->x, p->y < q->y ? p->y : q->y,
                                         p->x > q->x ? p->x : q->x, p->y > q->y ? p->y : q->y};
            }
            if (turned) {
                run++;
                rx = ry = 0;
            }
            i = k;
        }
    }
    *ret_n = (uint32_t)n;
    return PO_OK;
}

static inline box both(const box *a, const box *b)
{
    return (box){a->x0 < b->x0 ? a->x0 : b->x0, a->y0 < b->y0 ? a->y0 : b->y0, a->x1 > b->x1 ? a->x1 : b->x1,
                 a->y1 > b->y1 ? a->y1 : b->y1};
}

static po_status make_tree(search *s, uint32_t n)
{
    s->n_level[0] = n;
    s->n_levels = 1;
    for (int k = 0; s->n_level[k] > 1; k++) {
        uint32_t m = (s->n_level[k] + 1) / 2;
        box *up = po_scratch_take(s->scratch, m, sizeof *up);
        if (!up) {
            return po_rings_memory(s->err);
        }
        const box *low = s->level[k];
        for (uint32_t i = 0; i < m; i++) {
            up[i] = both(&low[2 * i], &low[2 * i + 1 < s->n_level[k] ? 2 * i + 1 : 2 * i]);
        }
        s->level[k + 1] = up;
        s->n_level[k + 1] = m;
        s->n_levels = k + 2;
    }
    return PO_OK;
}

typedef struct pair {
    uint32_t a, b;
    int level;
} pair;

static inline bool pair_matters(const search *s, uint32_t a, uint32_t b, int level)
{
    const box *p = &s->level[level][a], *q = &s->level[level][b];
    if (p->x0 > q->x1 || q->x0 > p->x1 || p->y0 > q->y1 || q->y0 > p->y1) {
        return false;
    }
    uint64_t last = (((uint64_t)b + 1) << level) - 1, most = s->n_level[0] - 1;
    return s->stretches[(uint64_t)a << level].run != s->stretches[last < most ? last : most].run;
}

static po_status compare_all(search *s)
{
    pair stack[4 * DEPTH];
    size_t n = 0;
    stack[n++] = (pair){0, 0, s->n_levels - 1};
    while (n > 0) {
        pair t = stack[--n];
        if (t.level == 0) {
            po_status status = t.a == t.b ? PO_OK : compare_stretches(s, t.a, t.b);
            if (status) {
                return status;
            }
            continue;
        }
        int low = t.level - 1;
        uint32_t a = 2 * t.a, b = 2 * t.b, m = s->n_level[low];
        s->tests++;
        if (t.a == t.b) {
            stack[n++] = (pair){a, a, low};
            if (a + 1 < m) { /* an only child has nothing beside it */
                stack[n++] = (pair){a + 1, a + 1, low};
                if (pair_matters(s, a, a + 1, low)) {
                    stack[n++] = (pair){a, a + 1, low};
                }
            }
            continue;
        }
        for (uint32_t i = 0; i < 4; i++) { /* a < b: a's second child exists */
            uint32_t x = a + (i & 1), y = b + (i >> 1);
            if (y < m && pair_matters(s, x, y, low)) {
                stack[n++] = (pair){x, y, low};
            }
        }
    }
    return PO_OK;
}

static po_status pixel_on_edge(search *s, uint32_t node, uint32_t e)
{
    const po_spot *c = &s->out->nodes.at[node], *p = &s->at[e], *q = p + 1;
    if (!in_box_of(c, p) || (c->x == q->x && c->y == q->y)) {
        return PO_OK;
    }
    if (c->x == p->x && c->y == p->y) {
        return mark(s, e);
    }
    int64_t dx = q->x - p->x, dy = q->y - p->y;
    return meets(dx, dy, po_spot_cross(dx, dy, c->x - p->x, c->y - p->y)) ? add_hit(s, e, node) : PO_OK;
}

/* The pixel of a crossing against all edges, those that cross in it among them. */
static po_status compare_pixel(search *s, uint32_t node)
{
    pair stack[2 * DEPTH];
    size_t n = 0;
    po_spot c = s->out->nodes.at[node];
    stack[n++] = (pair){0, 0, s->n_levels - 1};
    while (n > 0) {
        pair t = stack[--n];
        const box *b = &s->level[t.level][t.a];
        s->tests++;
        if (c.x < b->x0 || c.x > b->x1 || c.y < b->y0 || c.y > b->y1) {
            continue;
        }
        if (t.level > 0) {
            stack[n++] = (pair){2 * t.a, 0, t.level - 1};
            if (2 * t.a + 1 < s->n_level[t.level - 1]) {
                stack[n++] = (pair){2 * t.a + 1, 0, t.level - 1};
            }
            continue;
        }
        const stretch *st = &s->stretches[t.a];
        for (uint32_t e = st->first; e <= st->last; e++) {
            po_status status = pixel_on_edge(s, node, e);
            if (status) {
                return status;
            }
        }
    }
    return s->tests > PO_RINGS_MOST_TESTS ? too_many(s->err) : PO_OK;
}

/* All of them: each down the tree of the edges, or, where they are many for the edges, each edge down a tree of theirs. */
static po_status compare_pixels(search *s, size_t n_edges)
{
    po_status status = PO_OK;
    if (s->n_pixels <= n_edges / 4) {
        for (size_t i = 0; !status && i < s->n_pixels; i++) {
            status = compare_pixel(s, s->pixels[i]);
        }
        return status;
    }
    po_pixels *tree = po_pixels_new(s->out->nodes.at, s->pixels, s->n_pixels, s->scratch);
    if (!tree) {
        return po_rings_memory(s->err);
    }
    for (uint32_t i = 0; i < s->n_level[0]; i++) {
        for (uint32_t e = s->stretches[i].first; e <= s->stretches[i].last; e++) {
            size_t n = 0;
            const uint32_t *found = po_pixels_along(tree, &s->at[e], &s->tests, &n);
            if (n > 0 && !found) {
                return po_rings_memory(s->err);
            }
            for (size_t k = 0; !status && k < n; k++) {
                status = pixel_on_edge(s, found[k], e);
            }
            if (status || s->tests > PO_RINGS_MOST_TESTS) {
                return status ? status : too_many(s->err);
            }
        }
    }
    return PO_OK;
}

typedef struct keyed {
    po_wide along;
    uint32_t node;
} keyed;

static int by_along(const void *a, const void *b)
{
    const keyed *p = a, *q = b;
    return p->along != q->along ? (p->along < q->along ? -1 : 1) : (p->node > q->node) - (p->node < q->node);
}

/* Hits by edge (counted into place), then along each edge; those met twice are dropped. Centres of pixels that a line
 * meets rise with it in both coordinates, so their order along the edge is the order in which it enters them. */
static po_status sort_hits(search *s, size_t n_edges)
{
    po_crossings *out = s->out;
    if (out->n_hits == 0) {
        return PO_OK;
    }
    uint32_t *start = po_scratch_zeros(s->scratch, n_edges + 2, sizeof *start);
    po_hit *sorted = po_scratch_take(s->scratch, out->n_hits, sizeof *sorted);
    if (!start || !sorted) {
        return po_rings_memory(s->err);
    }
    for (size_t i = 0; i < out->n_hits; i++) {
        start[out->hits[i].edge + 2]++;
    }
    for (size_t e = 2; e < n_edges + 2; e++) {
        start[e] += start[e - 1];
    }
    for (size_t i = 0; i < out->n_hits; i++) {
        sorted[start[out->hits[i].edge + 1]++] = out->hits[i];
    }
    size_t n = 0;
    keyed few[SHORT_SORT], *many = NULL;
    size_t room = 0;
    for (size_t i = 0; i < out->n_hits;) {
        uint32_t edge = sorted[i].edge;
        size_t end = i;
        while (end < out->n_hits && sorted[end].edge == edge) {
            end++;
        }
        keyed *k = few;
        if (end - i > SHORT_SORT) {
            if (end - i > room) {
                many = po_scratch_more(s->scratch, many, room * sizeof *many, 2 * (end - i) * sizeof *many);
                if (!many) {
                    return po_rings_memory(s->err);
                }
                room = 2 * (end - i);
            }
            k = many;
        }
        const po_spot *p = &s->at[edge];
        int sx = sign(p[1].x - p->x), sy = sign(p[1].y - p->y);
        size_t m = end - i;
        for (size_t j = 0; j < m; j++) {
            const po_spot *c = &out->nodes.at[sorted[i + j].node];
            keyed v = {(po_wide)sx * (c->x - p->x) + (po_wide)sy * (c->y - p->y), sorted[i + j].node};
            size_t to = j;
            if (m <= SHORT_SORT) {
                for (; to > 0 && by_along(&k[to - 1], &v) > 0; to--) {
                    k[to] = k[to - 1];
                }
            }
            k[to] = v;
        }
        if (m > SHORT_SORT) {
            qsort(k, m, sizeof *k, by_along);
        }
        for (size_t j = 0; j < m; j++) {
            if (j == 0 || k[j].node != k[j - 1].node) {
                sorted[n++] = (po_hit){edge, k[j].node};
            }
        }
        i = end;
    }
    out->hits = sorted;
    out->n_hits = n;
    return PO_OK;
}

po_status po_rings_cross(const po_rings *rings, po_scratch *scratch, po_crossings *ret, po_err *err)
{
    *ret = (po_crossings){0};
    search s = {.at = rings->at, .scratch = scratch, .out = ret, .err = err};
    ret->node_of = po_scratch_zeros(scratch, rings->n_points + 1, sizeof *ret->node_of);
    if (!ret->node_of) {
        return po_rings_memory(err);
    }
    uint32_t n = 0;
    po_status status = make_stretches(&s, rings, &n);
    if (status || n == 0) {
        return status;
    }
    status = make_tree(&s, n);
    status = status ? status : compare_all(&s);
    status = status ? status : compare_pixels(&s, rings->n_points);
    return status ? status : sort_hits(&s, rings->n_points);
}
