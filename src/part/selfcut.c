/* Every pair of triangles of a mesh that cut each other. SPDX-License-Identifier: Apache-2.0
 *
 * Triangles are put in the order of a space-filling curve and boxed by fours, the boxes by twos (C. Lauterbach et al.,
 * "Fast BVH construction on GPUs", Computer Graphics Forum 28, 2009). The tree is whole: node i has children 2i and 2i
 * + 1. It is then run against itself, both sides a level down at a time (S. Gottschalk et al., "OBBTree", SIGGRAPH
 * 1996, for the pairwise descent), and what is left is asked of cut_pair.c.
 *
 * Boxes are in single precision: x -> (float)((x - low) * factor) never turns two numbers' order around, so boxes that
 * meet still meet. Work is shared out by subtrees of a fixed depth, each with its own list and its own allowance of
 * steps; so nothing depends on the number of threads. */
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#ifdef __SSE__
#include <xmmintrin.h>
#endif

#include "base/pages.h"
#include "base/pool.h"
#include "part/cut_pair.h"
#include "part/topology.h"
#include "part/weld.h"
#include "proveout/part.h"

enum { LEAF = 4, SPLIT_DEPTH = 7, FIRST_MOST = 1000, DIGIT_BITS = 11, CURVE_BITS = 30 };
static const double LARGEST = 1e60, SMALLEST = 1e-70; /* exact.h */
/* Meshes of parts take 5 to 50 steps a triangle; more than these only where very many boxes meet without need. */
static const uint64_t STEPS_FREE = 20000000, STEPS_EACH = 1000;

typedef struct box {
    float low[4], high[4]; /* x y z and one for alignment */
} box;

typedef struct leaf { /* boxes of four triangles, number by number */
    float low[3][LEAF], high[3][LEAF];
    uint32_t triangles[LEAF]; /* UINT32_MAX: none */
    uint32_t corners[LEAF][3];
} leaf;

typedef struct list {
    uint64_t pairs;
    uint32_t (*first)[2];
    size_t n, cap;
    uint64_t steps, most_steps;
    bool cut_off, no_memory;
} list;

typedef struct search {
    const po_mesh *mesh;
    const double *xyz; /* the mesh's, or a copy without the tiniest numbers */
    double low[3], factor;
    size_t n;       /* triangles with three different corners */
    uint64_t *keys; /* curve position, triangle */
    leaf *leaves;
    box *nodes;      /* [1, 2 * n_leaves) */
    size_t n_leaves; /* a power of two */
    unsigned depth;
    size_t n_tasks;
    list *lists;
} search;

static float at_scale(const search *s, double value, int axis)
{
    return (float)((value - s->low[axis]) * s->factor);
}

/* Bits of a number below 1024, two zeros after each (G. M. Morton 1966). */
static uint32_t spread(uint32_t x)
{
    x = (x | x << 16) & 0x030000ff;
    x = (x | x << 8) & 0x0300f00f;
    x = (x | x << 4) & 0x030c30c3;
    return (x | x << 2) & 0x09249249;
}

static void make_keys(search *s)
{
    for (size_t t = 0; t < s->mesh->n_triangles; t++) {
        const uint32_t *c = s->mesh->corners + 3 * t;
        if (c[0] == c[1] || c[1] == c[2] || c[2] == c[0]) {
            continue;
        }
        uint32_t key = 0;
        for (int k = 0; k < 3; k++) {
            float a = at_scale(s, s->xyz[3 * (size_t)c[0] + (size_t)k], k),
                  b = at_scale(s, s->xyz[3 * (size_t)c[1] + (size_t)k], k),
                  d = at_scale(s, s->xyz[3 * (size_t)c[2] + (size_t)k], k);
            float low = fminf(a, fminf(b, d)), high = fmaxf(a, fmaxf(b, d));
            float middle = (low + high) * 512; /* of 0..1024 */
            uint32_t cell = middle >= 1023 ? 1023 : middle > 0 ? (uint32_t)middle : 0;
            key |= spread(cell) << k;
        }
        s->keys[s->n++] = (uint64_t)key << 32 | (uint32_t)t;
    }
}

/* By the upper half, stable: rising numbers within equal keys. */
static bool sort_keys(search *s)
{
    uint64_t *other = malloc((s->n + 1) * sizeof *other), *from = s->keys, *to = other;
    size_t *counts = calloc(1u << DIGIT_BITS, sizeof *counts);
    bool good = other && counts;
    for (unsigned shift = 32; good && shift < 32 + CURVE_BITS; shift += DIGIT_BITS) {
        memset(counts, 0, sizeof *counts << DIGIT_BITS);
        for (size_t i = 0; i < s->n; i++) {
            counts[from[i] >> shift & ((1u << DIGIT_BITS) - 1)]++;
        }
        size_t sum = 0;
        for (size_t d = 0; d < 1u << DIGIT_BITS; d++) {
            size_t n = counts[d];
            counts[d] = sum;
            sum += n;
        }
        for (size_t i = 0; i < s->n; i++) {
            to[counts[from[i] >> shift & ((1u << DIGIT_BITS) - 1)]++] = from[i];
        }
        uint64_t *swap = from;
        from = to;
        to = swap;
    }
    if (good) {
        s->keys = from;
        free(to);
    } else {
        free(other);
    }
    free(counts);
    return good;
}

/* One task's leaves and the nodes above them, up to the subtree's root. */
static void build_subtree(size_t task, void *user)
{
    search *s = user;
    size_t each = s->n_leaves / s->n_tasks, from = task * each;
    for (size_t l = from; l < from + each; l++) {
        leaf *at = &s->leaves[l];
        box *b = &s->nodes[s->n_leaves + l];
        for (int k = 0; k < 4; k++) {
            b->low[k] = k < 3 ? FLT_MAX : -FLT_MAX;
            b->high[k] = k < 3 ? -FLT_MAX : FLT_MAX;
        }
        for (size_t i = 0; i < LEAF; i++) {
            size_t number = l * LEAF + i;
            uint32_t t = number < s->n ? (uint32_t)s->keys[number] : UINT32_MAX;
            at->triangles[i] = t;
            for (int k = 0; k < 3; k++) {
                at->low[k][i] = FLT_MAX;
                at->high[k][i] = -FLT_MAX;
            }
            for (int c = 0; t != UINT32_MAX && c < 3; c++) {
                uint32_t v = s->mesh->corners[3 * (size_t)t + (size_t)c];
                at->corners[i][c] = v;
                for (int k = 0; k < 3; k++) {
                    float x = at_scale(s, s->xyz[3 * (size_t)v + (size_t)k], k);
                    at->low[k][i] = fminf(at->low[k][i], x);
                    at->high[k][i] = fmaxf(at->high[k][i], x);
                }
            }
            for (int k = 0; k < 3; k++) {
                b->low[k] = fminf(b->low[k], at->low[k][i]);
                b->high[k] = fmaxf(b->high[k], at->high[k][i]);
            }
        }
    }
    for (size_t first = (s->n_leaves + from) / 2, n = each / 2; n; first /= 2, n /= 2) {
        for (size_t i = first; i < first + n; i++) {
            for (int k = 0; k < 4; k++) {
                s->nodes[i].low[k] = fminf(s->nodes[2 * i].low[k], s->nodes[2 * i + 1].low[k]);
                s->nodes[i].high[k] = fmaxf(s->nodes[2 * i].high[k], s->nodes[2 * i + 1].high[k]);
            }
        }
    }
}

static inline bool boxes_meet(const box *a, const box *b)
{
#ifdef __SSE__
    __m128 apart = _mm_or_ps(_mm_cmpgt_ps(_mm_loadu_ps(a->low), _mm_loadu_ps(b->high)),
                             _mm_cmpgt_ps(_mm_loadu_ps(b->low), _mm_loadu_ps(a->high)));
    return _mm_movemask_ps(apart) == 0;
#else
    bool meet = true;
    for (int k = 0; k < 3; k++) {
        meet &= a->low[k] <= b->high[k] && b->low[k] <= a->high[k];
    }
    return meet;
#endif
}

/* Which of b's four meet a's triangle i: a bit each. */
static inline unsigned meeting(const leaf *a, int i, const leaf *b)
{
#ifdef __SSE__
    __m128 apart = _mm_setzero_ps();
    for (int k = 0; k < 3; k++) {
        apart = _mm_or_ps(apart, _mm_cmpgt_ps(_mm_set1_ps(a->low[k][i]), _mm_loadu_ps(b->high[k])));
        apart = _mm_or_ps(apart, _mm_cmpgt_ps(_mm_loadu_ps(b->low[k]), _mm_set1_ps(a->high[k][i])));
    }
    return (unsigned)_mm_movemask_ps(apart) ^ 15;
#else
    unsigned bits = 0;
    for (int j = 0; j < LEAF; j++) {
        bool meet = true;
        for (int k = 0; k < 3; k++) {
            meet &= a->low[k][i] <= b->high[k][j] && b->low[k][j] <= a->high[k][i];
        }
        bits |= (unsigned)meet << j;
    }
    return bits;
#endif
}

static int by_pair(const void *a, const void *b)
{
    const uint32_t *x = a, *y = b;
    if (x[0] != y[0]) {
        return x[0] < y[0] ? -1 : 1;
    }
    return (x[1] > y[1]) - (x[1] < y[1]);
}

/* Keeps the lowest FIRST_MOST pairs; twice as many now and then. */
static void keep_lowest(list *l)
{
    if (l->n) {
        qsort(l->first, l->n, sizeof *l->first, by_pair);
    }
    l->n = l->n > FIRST_MOST ? FIRST_MOST : l->n;
}

static void note_pair(list *l, uint32_t a, uint32_t b)
{
    l->pairs++;
    if (l->n == l->cap && l->cap == 2 * FIRST_MOST) {
        keep_lowest(l);
    }
    if (l->n == l->cap) {
        size_t cap = l->cap ? l->cap * 2 : 125;
        uint32_t(*more)[2] = realloc(l->first, cap * sizeof *more);
        if (!more) {
            l->no_memory = true;
            return;
        }
        l->first = more;
        l->cap = cap;
    }
    l->first[l->n][0] = a < b ? a : b;
    l->first[l->n++][1] = a < b ? b : a;
}

static inline bool share_corner(const uint32_t *a, const uint32_t *b)
{
    return (a[0] == b[0]) | (a[0] == b[1]) | (a[0] == b[2]) | (a[1] == b[0]) | (a[1] == b[1]) | (a[1] == b[2]) |
           (a[2] == b[0]) | (a[2] == b[1]) | (a[2] == b[2]);
}

static void test_leaves(const search *s, list *l, const leaf *a, const leaf *b)
{
    for (int i = 0; i < LEAF; i++) {
        unsigned bits = meeting(a, i, b);
        if (a == b) {
            bits &= ~0u << (i + 1);
        }
        for (bits &= 15; bits; bits &= bits - 1) {
            int j = __builtin_ctz(bits);
            if (share_corner(a->corners[i], b->corners[j])) {
                continue;
            }
            const double *p[3], *q[3];
            for (int k = 0; k < 3; k++) {
                p[k] = s->xyz + 3 * (size_t)a->corners[i][k];
                q[k] = s->xyz + 3 * (size_t)b->corners[j][k];
            }
            l->steps += 4;
            if (po_cut_pair(p, q)) {
                note_pair(l, a->triangles[i], b->triangles[j]);
            }
        }
    }
}

/* Two subtrees of one level against each other, or one against itself. A level takes at most four entries (three of
 * them wait), and there are at most 28 levels. */
static void descend(const search *s, list *l, size_t a, size_t b)
{
    size_t stack[4 * 32][2];
    int n = 0;
    stack[n][0] = a;
    stack[n++][1] = b;
    while (n) {
        a = stack[--n][0];
        b = stack[n][1];
        if (++l->steps > l->most_steps) {
            l->cut_off = true;
            return;
        }
        if (a != b && !boxes_meet(&s->nodes[a], &s->nodes[b])) {
            continue;
        }
        if (a >= s->n_leaves) {
            test_leaves(s, l, &s->leaves[a - s->n_leaves], &s->leaves[b - s->n_leaves]);
            continue;
        }
        for (size_t i = 0; i < 4; i++) {
            size_t c = 2 * a + i / 2, d = 2 * b + i % 2;
            if (c <= d) { /* within one node: each pair of children once. Of two different, all of a lie before b */
                stack[n][0] = c;
                stack[n++][1] = d;
            }
        }
    }
}

static void run_task(size_t task, void *user)
{
    search *s = user;
    list *l = &s->lists[task];
    uint64_t triangles = s->n / s->n_tasks + 1;
    l->most_steps = STEPS_FREE / s->n_tasks + STEPS_EACH * triangles;
    for (size_t other = task; other < s->n_tasks && !l->cut_off; other++) {
        descend(s, l, s->n_tasks + task, s->n_tasks + other);
    }
    keep_lowest(l);
}

static po_status check(search *s, po_err *err)
{
    const po_mesh *mesh = s->mesh;
    if (mesh->n_triangles > PO_WELD_MOST_TRIANGLES) {
        return po_fail(err, PO_E_RANGE, "more triangles than can be numbered");
    }
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        if (mesh->corners[i] >= mesh->n_vertices) {
            po_status status = po_fail(err, PO_E_RANGE, "triangle %zu has a corner that is no vertex of the mesh",
                                       i / 3 + 1);
            if (err) {
                err->byte = i / 3;
            }
            return status;
        }
    }
    double high[3] = {-INFINITY, -INFINITY, -INFINITY}, side = 0;
    for (int k = 0; k < 3; k++) {
        s->low[k] = INFINITY;
    }
    for (size_t i = 0; i < 3 * mesh->n_vertices; i++) {
        double x = mesh->xyz[i];
        if (!(fabs(x) <= LARGEST)) {
            po_status status = po_fail(err, PO_E_RANGE, "vertex %zu has a coordinate that is no number or beyond 1e60",
                                       i / 3 + 1);
            if (err) {
                err->byte = i / 3;
            }
            return status;
        }
        s->low[i % 3] = fmin(s->low[i % 3], x);
        high[i % 3] = fmax(high[i % 3], x);
    }
    for (int k = 0; k < 3; k++) {
        side = fmax(side, high[k] - s->low[k]);
    }
    s->factor = side > SMALLEST ? 1 / side : 0;
    return PO_OK;
}

/* Numbers so small that products of three would lose digits count as 0. */
static bool drop_tiny(search *s, double **ret_copy)
{
    size_t n = 3 * s->mesh->n_vertices;
    bool any = false;
    for (size_t i = 0; i < n; i++) {
        any |= s->mesh->xyz[i] != 0 && fabs(s->mesh->xyz[i]) < SMALLEST;
    }
    s->xyz = s->mesh->xyz;
    if (any) {
        double *copy = malloc(n * sizeof *copy);
        if (!copy) {
            return false;
        }
        for (size_t i = 0; i < n; i++) {
            copy[i] = fabs(s->mesh->xyz[i]) < SMALLEST ? 0 : s->mesh->xyz[i];
        }
        *ret_copy = copy;
        s->xyz = copy;
    }
    return true;
}

static bool build(search *s, po_pool *pool)
{
    s->keys = malloc((s->mesh->n_triangles + 1) * sizeof *s->keys);
    if (!s->keys) {
        return false;
    }
    make_keys(s);
    if (!sort_keys(s)) {
        return false;
    }
    s->n_leaves = 1;
    while (s->n_leaves * LEAF < s->n) {
        s->n_leaves *= 2;
        s->depth++;
    }
    s->n_tasks = (size_t)1 << (s->depth < SPLIT_DEPTH ? s->depth : SPLIT_DEPTH);
    s->leaves = malloc(s->n_leaves * sizeof *s->leaves);
    s->nodes = malloc(2 * s->n_leaves * sizeof *s->nodes);
    s->lists = calloc(s->n_tasks, sizeof *s->lists);
    if (!s->leaves || !s->nodes || !s->lists) {
        return false;
    }
    po_pages_large(s->leaves, s->n_leaves * sizeof *s->leaves);
    po_pages_large(s->nodes, 2 * s->n_leaves * sizeof *s->nodes);
    po_pool_each(pool, s->n_tasks, build_subtree, s);
    return true; /* nodes above the tasks' roots are not asked for */
}

/* All lists in one. */
static po_status gather(const search *s, po_arena *arena, po_mesh_self_cuts *ret, po_err *err)
{
    po_mesh_self_cuts cuts = {.complete = true};
    size_t n = 0;
    for (size_t i = 0; i < s->n_tasks; i++) {
        const list *l = &s->lists[i];
        if (l->no_memory) {
            return po_fail(err, PO_E_NOMEM, "no memory for the list of cuts");
        }
        cuts.pairs += l->pairs;
        cuts.complete &= !l->cut_off;
        n += l->n;
    }
    list all = {.first = malloc((n + 1) * sizeof *all.first)};
    cuts.first = po_arena_zeros(arena, n < FIRST_MOST ? n : FIRST_MOST, sizeof *cuts.first);
    if (!all.first || !cuts.first) {
        free(all.first);
        return po_fail(err, PO_E_NOMEM, "no memory for the list of cuts");
    }
    for (size_t i = 0; i < s->n_tasks; i++) {
        if (s->lists[i].n) {
            memcpy(all.first + all.n, s->lists[i].first, s->lists[i].n * sizeof *all.first);
            all.n += s->lists[i].n;
        }
    }
    keep_lowest(&all);
    if (all.n) {
        memcpy(cuts.first, all.first, all.n * sizeof *all.first);
    }
    cuts.n_first = all.n;
    free(all.first);
    *ret = cuts;
    return PO_OK;
}

po_status po_mesh_find_self_cuts(const po_mesh *mesh, int threads, po_arena *arena, po_mesh_self_cuts *ret_cuts,
                                 po_err *err)
{
    search s = {.mesh = mesh};
    if (mesh->n_triangles == 0) {
        return po_fail(err, PO_E_EMPTY, "a mesh without a triangle");
    }
    po_status status = check(&s, err);
    if (status != PO_OK) {
        return status;
    }
    double *copy = NULL;
    po_pool *pool = po_pool_new(mesh->n_triangles < PO_ONE_THREAD_BELOW ? 1 : threads);
    if (!pool || !drop_tiny(&s, &copy) || !build(&s, pool)) {
        status = po_fail(err, PO_E_NOMEM, "no memory to look for cuts among %zu triangles", mesh->n_triangles);
    } else {
        po_pool_each(pool, s.n_tasks, run_task, &s);
        status = gather(&s, arena, ret_cuts, err);
    }
    for (size_t i = 0; s.lists && i < s.n_tasks; i++) {
        free(s.lists[i].first);
    }
    free(s.lists);
    free(s.leaves);
    free(s.nodes);
    free(s.keys);
    free(copy);
    po_pool_free(pool);
    return status;
}
