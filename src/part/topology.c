/* How the triangles of a mesh hang together. SPDX-License-Identifier: Apache-2.0
 *
 * For each vertex, the corners that triangles have there, each as (next corner, corner before) in the triangle's sense:
 * a table sorted by counting (D. E. Knuth, The Art of Computer Programming 3, section 5.2, algorithm D).
 *
 *            c           At a, this triangle says (b, c): it comes in along b, it leaves along c. Around an
 *           / \          ordinary vertex the pairs chain up to one ring: (b,c) (c,d) (d,e) ... (x,b). If they do, in a
 *          / > \         ring of three or more, every edge at a belongs to two triangles that run it either way, no
 *         a-----b        triangle comes twice and nothing else touches here: nothing more has to be looked at.
 *
 * The few vertices without such a ring are counted out edge by edge. An edge is seen from both ends and counted at
 * the lower one. Shells by union of vertices (R. E. Tarjan, "Efficiency of a good but not linear set union algorithm",
 * 1975, with path halving), the lower number as root, so that the numbering does not depend on anything else. */
#include "part/topology.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#ifdef __SSE2__
#include <emmintrin.h>
#endif

#include "base/pages.h"
#include "part/weld.h"

enum { VERTICES_AT_ONCE = 1 << 14, TRIANGLES_AT_ONCE = 1 << 16, RING_MOST = 8 };
static const double LARGEST_COORDINATE = 1e60; /* its fourth power is still a double */

typedef struct corner {
    uint32_t next, before;
} corner;

typedef struct sums { /* of one stretch of vertices */
    uint64_t vertices, edges_twice, open, crowded, against, doubled, fans;
    bool no_memory;
    double low[3], high[3];
} sums;

typedef struct finding {
    const po_mesh *mesh;
    uint32_t *ends; /* of each vertex's corners in the table; they begin where the vertex before ends */
    corner *corners;
    uint32_t *parents;
    unsigned char *at_open;
    uint64_t n_flat;
    sums *sums;
    size_t *bad; /* of each stretch: first index out of bounds, or SIZE_MAX */
    size_t n_triangle_stretches;
} finding;

static bool is_flat(const uint32_t *c)
{
    return c[0] == c[1] || c[1] == c[2] || c[2] == c[0];
}

static void check_stretch(size_t i, void *user)
{
    finding *f = user;
    const po_mesh *mesh = f->mesh;
    f->bad[i] = SIZE_MAX;
    if (i < f->n_triangle_stretches) {
        size_t from = i * TRIANGLES_AT_ONCE * 3, to = from + TRIANGLES_AT_ONCE * 3;
        to = to > 3 * mesh->n_triangles ? 3 * mesh->n_triangles : to;
        uint32_t highest = 0;
        for (size_t k = from; k < to; k++) {
            highest = mesh->corners[k] > highest ? mesh->corners[k] : highest;
        }
        for (size_t k = from; highest >= mesh->n_vertices && k < to; k++) {
            if (mesh->corners[k] >= mesh->n_vertices) {
                f->bad[i] = k / 3;
                return;
            }
        }
        return;
    }
    size_t from = (i - f->n_triangle_stretches) * VERTICES_AT_ONCE * 3, to = from + VERTICES_AT_ONCE * 3;
    to = to > 3 * mesh->n_vertices ? 3 * mesh->n_vertices : to;
    bool good = true;
    for (size_t k = from; k < to; k++) {
        good &= fabs(mesh->xyz[k]) <= LARGEST_COORDINATE;
    }
    for (size_t k = from; !good && k < to; k++) {
        if (!(fabs(mesh->xyz[k]) <= LARGEST_COORDINATE)) {
            f->bad[i] = k / 3;
            return;
        }
    }
}

static void fill_table(finding *f)
{
    const po_mesh *mesh = f->mesh;
    uint32_t *ends = f->ends;
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        if (is_flat(c)) {
            f->n_flat++;
            continue;
        }
        ends[c[0]]++;
        ends[c[1]]++;
        ends[c[2]]++;
    }
    uint32_t sum = 0;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        uint32_t n = ends[v];
        ends[v] = sum;
        sum += n;
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        if (is_flat(c)) {
            continue;
        }
        f->corners[ends[c[0]]++] = (corner){c[1], c[2]};
        f->corners[ends[c[1]]++] = (corner){c[2], c[0]};
        f->corners[ends[c[2]]++] = (corner){c[0], c[1]};
    }
}

static uint32_t root_of(uint32_t *parents, uint32_t v)
{
    while (parents[v] != v) {
        parents[v] = parents[parents[v]];
        v = parents[v];
    }
    return v;
}

static void join_vertices(finding *f)
{
    const po_mesh *mesh = f->mesh;
    uint32_t *parents = f->parents;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        parents[v] = (uint32_t)v;
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        if (is_flat(c)) {
            continue;
        }
        uint32_t a = root_of(parents, c[0]), b = root_of(parents, c[1]);
        if (a != b) {
            parents[a > b ? a : b] = a < b ? a : b;
            a = a < b ? a : b;
        }
        b = root_of(parents, c[2]);
        if (a != b) {
            parents[a > b ? a : b] = a < b ? a : b;
        }
    }
}

static void either(size_t i, void *user)
{
    if (i == 0) {
        fill_table(user);
    } else {
        join_vertices(user);
    }
}

/* Do 3 to RING_MOST corners chain up to one ring? */
static bool is_ring(const corner *corners, uint32_t n)
{
#ifdef __SSE2__
    /* Reads RING_MOST corners whatever n is: the table has as many behind its end. */
    __m128 e0 = _mm_loadu_ps((const float *)(const void *)corners),
           e1 = _mm_loadu_ps((const float *)(const void *)(corners + 2));
    __m128 e2 = _mm_loadu_ps((const float *)(const void *)(corners + 4)),
           e3 = _mm_loadu_ps((const float *)(const void *)(corners + 6));
    __m128i low = _mm_castps_si128(_mm_shuffle_ps(e0, e1, _MM_SHUFFLE(2, 0, 2, 0)));
    __m128i high = _mm_castps_si128(_mm_shuffle_ps(e2, e3, _MM_SHUFFLE(2, 0, 2, 0)));
#endif
    unsigned all = (1u << n) - 1;
    uint32_t at = 0;
    for (uint32_t step = 1; step <= n; step++) {
        unsigned match = 0;
#ifdef __SSE2__
        __m128i want = _mm_set1_epi32((int)corners[at].before);
        match = (unsigned)_mm_movemask_ps(_mm_castsi128_ps(_mm_cmpeq_epi32(low, want))) |
                (unsigned)_mm_movemask_ps(_mm_castsi128_ps(_mm_cmpeq_epi32(high, want))) << 4;
        match &= all;
#else
        for (uint32_t k = 0; k < n; k++) {
            match |= (unsigned)(corners[k].next == corners[at].before) << k;
        }
#endif
        if (match == 0 || (match & (match - 1)) != 0) {
            return false;
        }
        at = (uint32_t)__builtin_ctz(match);
        if (at == 0) {
            return step == n;
        }
    }
    (void)all;
    return false;
}

static int by_number(const void *a, const void *b)
{
    uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;
    return (x > y) - (x < y);
}

static void sort_numbers(uint64_t *numbers, size_t n)
{
    if (n > 32) {
        qsort(numbers, n, sizeof *numbers, by_number);
        return;
    }
    for (size_t i = 1; i < n; i++) {
        uint64_t number = numbers[i];
        size_t k = i;
        for (; k > 0 && numbers[k - 1] > number; k--) {
            numbers[k] = numbers[k - 1];
        }
        numbers[k] = number;
    }
}

/* The edges at vertex v, from both ends' sides; whether each has two triangles that run it either way. */
static bool count_edges(finding *f, sums *s, uint32_t v, const corner *corners, size_t n, uint64_t *numbers)
{
    for (size_t i = 0; i < n; i++) {
        numbers[2 * i] = (uint64_t)corners[i].next << 1;
        numbers[2 * i + 1] = (uint64_t)corners[i].before << 1 | 1;
    }
    sort_numbers(numbers, 2 * n);
    bool good = true;
    for (size_t i = 0, end; i < 2 * n; i = end) {
        uint64_t other = numbers[i] >> 1, back = 0;
        for (end = i; end < 2 * n && numbers[end] >> 1 == other; end++) {
            back += numbers[end] & 1;
        }
        size_t uses = end - i;
        s->edges_twice++;
        good &= uses == 2 && back == 1;
        if (uses == 1) {
            f->at_open[v] = 1;
        }
        if (other > v) {
            s->open += uses == 1;
            s->crowded += uses > 2;
            s->against += uses == 2 && back != 1;
        }
    }
    return good;
}

static uint64_t count_doubled(uint32_t v, const corner *corners, size_t n, uint64_t *numbers)
{
    size_t n_above = 0;
    uint64_t doubled = 0;
    for (size_t i = 0; i < n; i++) {
        uint64_t a = corners[i].next, b = corners[i].before;
        if (a > v && b > v) { /* each triangle is looked at from its lowest vertex */
            numbers[n_above++] = a < b ? a << 32 | b : b << 32 | a;
        }
    }
    sort_numbers(numbers, n_above);
    for (size_t i = 1; i < n_above; i++) {
        doubled += numbers[i] == numbers[i - 1];
    }
    return doubled;
}

/* Rings around a vertex all of whose edges are good: corners sorted by `next`, then cycles of next -> before. */
static uint64_t count_rings(const corner *corners, size_t n, uint64_t *numbers)
{
    for (size_t i = 0; i < n; i++) {
        numbers[i] = (uint64_t)corners[i].next << 32 | corners[i].before;
    }
    sort_numbers(numbers, n);
    unsigned char *seen = (unsigned char *)(numbers + n); /* room for 2 n numbers */
    memset(seen, 0, n);
    uint64_t rings = 0;
    for (size_t i = 0; i < n; i++) {
        if (seen[i]) {
            continue;
        }
        rings++;
        for (size_t at = i; !seen[at];) {
            seen[at] = 1;
            uint64_t want = numbers[at] << 32; /* the corner that begins where this one ends */
            size_t low = 0, high = n;
            while (high - low > 1) {
                size_t mid = (low + high) / 2;
                if (numbers[mid] >= want) {
                    if (numbers[mid] >> 32 == want >> 32) {
                        low = mid;
                        break;
                    }
                    high = mid;
                } else {
                    low = mid;
                }
            }
            at = low;
        }
    }
    return rings;
}

static void count_stretch(size_t i, void *user)
{
    finding *f = user;
    sums *s = &f->sums[i];
    const po_mesh *mesh = f->mesh;
    size_t from = i * VERTICES_AT_ONCE, to = from + VERTICES_AT_ONCE, room = 64;
    to = to > mesh->n_vertices ? mesh->n_vertices : to;
    uint64_t few[64], *numbers = few, *heap = NULL;
    for (int k = 0; k < 3; k++) {
        s->low[k] = INFINITY;
        s->high[k] = -INFINITY;
    }
    uint32_t begin = from ? f->ends[from - 1] : 0;
    for (size_t v = from; v < to; v++) {
        uint32_t end = f->ends[v], n = end - begin;
        const corner *corners = f->corners + begin;
        begin = end;
        if (n == 0) {
            continue;
        }
        s->vertices++;
        const double *p = mesh->xyz + 3 * v;
        for (int k = 0; k < 3; k++) {
            s->low[k] = p[k] < s->low[k] ? p[k] : s->low[k];
            s->high[k] = p[k] > s->high[k] ? p[k] : s->high[k];
        }
        if (n >= 3 && n <= RING_MOST && is_ring(corners, n)) {
            s->edges_twice += n;
            s->fans++;
            continue;
        }
        if ((size_t)n * 2 > room) {
            room = (size_t)n * 4;
            uint64_t *more = realloc(heap, room * sizeof *more);
            if (!more) {
                s->no_memory = true;
                break;
            }
            numbers = heap = more;
        }
        bool good = count_edges(f, s, (uint32_t)v, corners, n, numbers);
        s->doubled += count_doubled((uint32_t)v, corners, n, numbers);
        s->fans += good ? count_rings(corners, n, numbers) : 1;
    }
    free(heap);
}

static void sum_up(const finding *f, size_t n_stretches, po_topology *ret)
{
    uint64_t edges_twice = 0;
    for (int k = 0; k < 3; k++) {
        ret->bounds[0][k] = INFINITY;
        ret->bounds[1][k] = -INFINITY;
    }
    for (size_t i = 0; i < n_stretches; i++) {
        const sums *s = &f->sums[i];
        ret->n_vertices += s->vertices;
        edges_twice += s->edges_twice;
        ret->open += s->open;
        ret->crowded += s->crowded;
        ret->against += s->against;
        ret->doubled += s->doubled;
        ret->fans += s->fans;
        for (int k = 0; k < 3; k++) {
            ret->bounds[0][k] = fmin(ret->bounds[0][k], s->low[k]);
            ret->bounds[1][k] = fmax(ret->bounds[1][k], s->high[k]);
        }
    }
    ret->n_edges = edges_twice / 2;
    ret->n_flat = f->n_flat;
    ret->watertight = ret->n_vertices && ret->open == 0 && ret->crowded == 0 && ret->against == 0;
    /* Roots come before what hangs on them. */
    uint32_t *shells = f->parents;
    for (size_t v = 0, begin = 0; v < f->mesh->n_vertices; begin = f->ends[v++]) {
        shells[v] = f->ends[v] == begin ? UINT32_MAX : shells[v] == v ? (uint32_t)ret->shells++ : shells[shells[v]];
    }
}

static po_status find(finding *f, po_pool *pool, po_topology *ret, po_err *err)
{
    const po_mesh *mesh = f->mesh;
    size_t n_vertices = mesh->n_vertices, n_triangles = mesh->n_triangles;
    size_t n_stretches = (n_vertices + VERTICES_AT_ONCE - 1) / VERTICES_AT_ONCE;
    f->n_triangle_stretches = (n_triangles + TRIANGLES_AT_ONCE - 1) / TRIANGLES_AT_ONCE;
    f->bad = calloc(n_stretches + f->n_triangle_stretches + 1, sizeof *f->bad);
    f->sums = calloc(n_stretches + 1, sizeof *f->sums);
    f->ends = calloc(n_vertices + 1, sizeof *f->ends);
    f->parents = malloc((n_vertices + 1) * sizeof *f->parents);
    f->at_open = calloc(n_vertices + 1, 1);
    f->corners = malloc((3 * n_triangles + RING_MOST) * sizeof *f->corners);
    if (!f->bad || !f->sums || !f->ends || !f->parents || !f->at_open || !f->corners) {
        return po_fail(err, PO_E_NOMEM, "no memory for the edges of %zu triangles", n_triangles);
    }
    po_pages_large(f->ends, n_vertices * sizeof *f->ends);
    po_pages_large(f->parents, n_vertices * sizeof *f->parents);
    po_pages_large(f->corners, 3 * n_triangles * sizeof *f->corners);
    memset(f->corners + 3 * n_triangles, 0, RING_MOST * sizeof *f->corners);
    po_pool_each(pool, n_stretches + f->n_triangle_stretches, check_stretch, f);
    for (size_t i = 0; i < n_stretches + f->n_triangle_stretches; i++) {
        if (f->bad[i] != SIZE_MAX) {
            bool triangle = i < f->n_triangle_stretches;
            po_status s = po_fail(err, PO_E_RANGE,
                                  triangle ? "triangle %zu has a corner that is no vertex of the mesh"
                                           : "vertex %zu has a coordinate that is no number or beyond 1e60",
                                  f->bad[i] + 1);
            if (err) {
                err->byte = f->bad[i];
            }
            return s;
        }
    }
    po_pool_each(pool, 2, either, f);
    po_pool_each(pool, n_stretches, count_stretch, f);
    for (size_t i = 0; i < n_stretches; i++) {
        if (f->sums[i].no_memory) {
            return po_fail(err, PO_E_NOMEM, "no memory for the edges of %zu triangles", n_triangles);
        }
    }
    sum_up(f, n_stretches, ret);
    return PO_OK;
}

po_status po_topology_find(const po_mesh *mesh, po_pool *pool, po_topology *ret, po_err *err)
{
    memset(ret, 0, sizeof *ret);
    if (mesh->n_triangles > PO_WELD_MOST_TRIANGLES || mesh->n_vertices >= UINT32_MAX) {
        return po_fail(err, PO_E_RANGE, "more triangles than can be numbered");
    }
    finding f = {.mesh = mesh};
    po_status s = find(&f, pool, ret, err);
    free(f.bad);
    free(f.sums);
    free(f.ends);
    free(f.corners);
    ret->shell_of = f.parents;
    ret->at_open = f.at_open;
    if (s != PO_OK) {
        po_topology_done(ret);
    }
    return s;
}

void po_topology_done(po_topology *topology)
{
    free(topology->shell_of);
    free(topology->at_open);
    topology->shell_of = NULL;
    topology->at_open = NULL;
}
