/* Points spread evenly over a mesh. SPDX-License-Identifier: Apache-2.0
 *
 * The triangles are put in the order of the Morton number of their middle (G. M. Morton, "A computer oriented geodetic
 * data base and a new technique in file sequencing", IBM 1966), and equal numbers in that of their corners: the order in
 * the file then no longer matters, and what follows in it lies near in space, in memory too: the mesh is copied in that
 * order, its vertices as they are first used. Along the running sum of their areas stand
 * n points at even distances (systematic sampling with a random start: W. G. Cochran, "Sampling techniques", 3rd ed.
 * 1977, chapter 8), which puts into every stretch of surface its share of points, to less than one. Where in its
 * triangle a point lies comes from the two-dimensional additive recurrence with the plastic number (M. Roberts, "The
 * unreasonable effectiveness of quasirandom sequences", 2018, from memory), so that points on one large triangle are
 * spread as evenly. */
#include "part/walls_surface.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCKS = 64, TOP_BITS = 10, BUCKETS = 1 << TOP_BITS, AREA_BLOCK = 8192 };

void po_triangle_corners(const po_mesh *mesh, uint32_t triangle, double ret_corners[3][3])
{
    const uint32_t *c = mesh->corners + 3 * (size_t)triangle;
    for (int k = 0; k < 3; k++) {
        memcpy(ret_corners[k], mesh->xyz + 3 * (size_t)c[k], sizeof ret_corners[k]);
    }
}

double po_triangle_normal(const double corners[3][3], double ret_normal[3])
{
    double u[3], v[3];
    for (int k = 0; k < 3; k++) {
        u[k] = corners[1][k] - corners[0][k];
        v[k] = corners[2][k] - corners[0][k];
    }
    double n[3] = {u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]};
    double length = sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
    for (int k = 0; k < 3; k++) {
        ret_normal[k] = length > 0 ? n[k] / length : 0;
    }
    return length / 2;
}

typedef struct sorting {
    const po_mesh *mesh;
    po_surface *surface;
    double low[3], factor; /* coordinate to cell */
    int axis_bits, index_bits;
    float *cells;           /* of the vertices, a third of it, so that three add up to that of the middle */
    uint64_t *keys, *moved; /* Morton number above, triangle below */
    uint32_t (*counts)[BUCKETS];
    uint32_t starts[BUCKETS + 1];
    double *block_area;
} sorting;

static uint64_t spread_bits(uint64_t x) /* two zeros behind each of 16 bits */
{
    x = (x | x << 32) & UINT64_C(0x00ff00000000ffff);
    x = (x | x << 16) & UINT64_C(0x00ff0000ff0000ff);
    x = (x | x << 8) & UINT64_C(0xf00f00f00f00f00f);
    x = (x | x << 4) & UINT64_C(0x30c30c30c30c30c3);
    return (x | x << 2) & UINT64_C(0x9249249249249249);
}

static uint32_t bucket_of(const sorting *s, uint64_t key)
{
    int used = 3 * s->axis_bits + s->index_bits;
    return (uint32_t)(used > TOP_BITS ? key >> (used - TOP_BITS) : key);
}

static void block_range(size_t n, size_t block, size_t *ret_from, size_t *ret_to)
{
    *ret_from = n / BLOCKS * block + (block < n % BLOCKS ? block : n % BLOCKS);
    *ret_to = *ret_from + n / BLOCKS + (block < n % BLOCKS);
}

static void make_keys(size_t block, void *user)
{
    sorting *s = user;
    size_t from, to;
    block_range(s->mesh->n_triangles, block, &from, &to);
    const float last = (float)((1u << s->axis_bits) - 1);
    for (size_t t = from; t < to; t++) {
        const uint32_t *c = s->mesh->corners + 3 * t;
        const float *p = s->cells + 3 * (size_t)c[0], *q = s->cells + 3 * (size_t)c[1],
                    *r = s->cells + 3 * (size_t)c[2];
        uint64_t key = 0;
        for (int k = 0; k < 3; k++) { /* by size, so that where the triangle begins does not matter */
            float low = q[k] < r[k] ? q[k] : r[k], high = q[k] < r[k] ? r[k] : q[k], a = p[k];
            float cell = a < low ? (a + low) + high : a < high ? (low + a) + high : (low + high) + a;
            key |= spread_bits((uint64_t)(cell < last ? cell : last)) << k;
        }
        key = key << s->index_bits | t;
        s->keys[t] = key;
        s->counts[block][bucket_of(s, key)]++;
    }
}

static void move_keys(size_t block, void *user)
{
    sorting *s = user;
    size_t from, to;
    block_range(s->mesh->n_triangles, block, &from, &to);
    for (size_t t = from; t < to; t++) {
        s->moved[s->counts[block][bucket_of(s, s->keys[t])]++] = s->keys[t];
    }
}

static bool comes_before(const double a[3], const double b[3])
{
    return a[0] < b[0] || (a[0] == b[0] && (a[1] < b[1] || (a[1] == b[1] && a[2] < b[2])));
}

static void begin_with_least(const double *xyz, uint32_t corners[3])
{
    int least = 0;
    for (int k = 1; k < 3; k++) {
        least = comes_before(xyz + 3 * (size_t)corners[k], xyz + 3 * (size_t)corners[least]) ? k : least;
    }
    uint32_t turned[3] = {corners[least], corners[(least + 1) % 3], corners[(least + 2) % 3]};
    memcpy(corners, turned, sizeof turned);
}

static int by_corners(const void *a, const void *b, void *user)
{
    const sorting *s = user;
    const uint64_t mask = (UINT64_C(1) << s->index_bits) - 1;
    uint32_t c[2][3];
    memcpy(c[0], s->mesh->corners + 3 * (*(const uint64_t *)a & mask), sizeof c[0]);
    memcpy(c[1], s->mesh->corners + 3 * (*(const uint64_t *)b & mask), sizeof c[1]);
    begin_with_least(s->mesh->xyz, c[0]);
    begin_with_least(s->mesh->xyz, c[1]);
    for (int k = 0; k < 3; k++) {
        const double *p = s->mesh->xyz + 3 * (size_t)c[0][k], *q = s->mesh->xyz + 3 * (size_t)c[1][k];
        if (comes_before(p, q) || comes_before(q, p)) {
            return comes_before(p, q) ? -1 : 1;
        }
    }
    return 0; /* the same triangle twice: either will do */
}

/* Least digit first, 8 bits at a time, over the Morton bits below the bucket's. */
static void sort_keys(uint64_t *keys, uint64_t *spare, size_t n, int low_bit, int high_bit)
{
    if (n <= 48) {
        for (size_t i = 1; i < n; i++) {
            uint64_t key = keys[i];
            size_t k = i;
            for (; k > 0 && keys[k - 1] > key; k--) {
                keys[k] = keys[k - 1];
            }
            keys[k] = key;
        }
        return;
    }
    uint64_t *from = keys, *to = spare;
    for (int bit = low_bit; bit < high_bit; bit += 8) {
        size_t counts[256] = {0}, sum = 0;
        for (size_t i = 0; i < n; i++) {
            counts[from[i] >> bit & 255]++;
        }
        if (counts[from[0] >> bit & 255] == n) {
            continue;
        }
        for (int d = 0; d < 256; d++) {
            size_t count = counts[d];
            counts[d] = sum;
            sum += count;
        }
        for (size_t i = 0; i < n; i++) {
            to[counts[from[i] >> bit & 255]++] = from[i];
        }
        uint64_t *swap = from;
        from = to;
        to = swap;
    }
    if (from != keys) {
        memcpy(keys, from, n * sizeof *keys);
    }
}

static void sort_bucket(size_t bucket, void *user)
{
    sorting *s = user;
    size_t from = s->starts[bucket], n = s->starts[bucket + 1] - from;
    uint64_t *keys = s->moved + from;
    sort_keys(keys, s->keys + from, n, s->index_bits, s->index_bits + 3 * s->axis_bits);
    for (size_t i = 0, next; i < n; i = next) {
        next = i + 1;
        while (next < n && keys[next] >> s->index_bits == keys[i] >> s->index_bits) {
            next++;
        }
        if (next - i > 1) {
            qsort_r(keys + i, next - i, sizeof *keys, by_corners, s);
        }
    }
    const uint64_t mask = (UINT64_C(1) << s->index_bits) - 1;
    for (size_t i = 0; i < n; i++) {
        memcpy(s->surface->corners + 3 * (from + i), s->mesh->corners + 3 * (keys[i] & mask), 3 * sizeof(uint32_t));
    }
}

/* Vertices in the order in which the sorted triangles use them. */
static void number_vertices(sorting *s, uint32_t *number)
{
    uint32_t *corners = s->surface->corners, n = 0;
    memset(number, 255, s->mesh->n_vertices * sizeof *number);
    for (size_t i = 0; i < 3 * s->mesh->n_triangles; i++) {
        uint32_t v = corners[i];
        if (number[v] == UINT32_MAX) {
            memcpy(s->surface->xyz + 3 * (size_t)n, s->mesh->xyz + 3 * (size_t)v, 3 * sizeof(double));
            number[v] = n++;
        }
        corners[i] = number[v];
    }
    s->surface->mesh = (po_mesh){s->surface->xyz, n, corners, s->mesh->n_triangles};
}

static void sum_areas(size_t block, void *user)
{
    sorting *s = user;
    size_t from = block * AREA_BLOCK, to = from + AREA_BLOCK;
    to = to < s->mesh->n_triangles ? to : s->mesh->n_triangles;
    double sum = 0;
    for (size_t i = from; i < to; i++) {
        double c[3][3], normal[3];
        begin_with_least(s->surface->xyz, s->surface->corners + 3 * i);
        po_triangle_corners(&s->surface->mesh, (uint32_t)i, c);
        sum += po_triangle_normal((const double(*)[3])c, normal);
        s->surface->upto[i] = sum;
    }
    s->block_area[block] = sum;
}

static void shift_areas(size_t block, void *user)
{
    sorting *s = user;
    size_t from = block * AREA_BLOCK, to = from + AREA_BLOCK;
    to = to < s->mesh->n_triangles ? to : s->mesh->n_triangles;
    double before = s->block_area[block];
    for (size_t i = from; i < to; i++) {
        s->surface->upto[i] += before;
    }
}

static void find_cells(sorting *s)
{
    double high[3] = {-INFINITY, -INFINITY, -INFINITY}, side = 0;
    for (int k = 0; k < 3; k++) {
        s->low[k] = INFINITY;
    }
    for (size_t v = 0; v < s->mesh->n_vertices; v++) {
        for (int k = 0; k < 3; k++) {
            double x = s->mesh->xyz[3 * v + (size_t)k];
            s->low[k] = x < s->low[k] ? x : s->low[k];
            high[k] = x > high[k] ? x : high[k];
        }
    }
    for (int k = 0; k < 3; k++) {
        side = fmax(side, high[k] - s->low[k]);
    }
    s->index_bits = 1;
    while (s->mesh->n_triangles > UINT64_C(1) << s->index_bits) {
        s->index_bits++;
    }
    s->axis_bits = (64 - s->index_bits) / 3;
    s->axis_bits = s->axis_bits < 16 ? s->axis_bits : 16;
    s->factor = side > 0 ? ldexp(1, s->axis_bits) / 3 / side : 0;
    for (size_t i = 0; i < 3 * s->mesh->n_vertices; i++) {
        s->cells[i] = (float)((s->mesh->xyz[i] - s->low[i % 3]) * s->factor);
    }
}

static void sort_triangles(sorting *s, po_pool *pool)
{
    po_pool_each(pool, BLOCKS, make_keys, s);
    uint32_t sum = 0;
    for (size_t b = 0; b < BUCKETS; b++) {
        s->starts[b] = sum;
        for (size_t k = 0; k < BLOCKS; k++) {
            uint32_t count = s->counts[k][b];
            s->counts[k][b] = sum;
            sum += count;
        }
    }
    s->starts[BUCKETS] = sum;
    po_pool_each(pool, BLOCKS, move_keys, s);
    po_pool_each(pool, BUCKETS, sort_bucket, s);
}

po_status po_surface_init(po_surface *surface, const po_mesh *mesh, po_pool *pool, po_err *err)
{
    size_t n = mesh->n_triangles, n_blocks = n / AREA_BLOCK + 1;
    sorting s = {.mesh = mesh, .surface = surface};
    *surface = (po_surface){0};
    surface->xyz = malloc((3 * mesh->n_vertices + 1) * sizeof *surface->xyz);
    surface->corners = malloc((3 * n + 1) * sizeof *surface->corners);
    s.cells = malloc((3 * mesh->n_vertices + 1) * sizeof *s.cells);
    s.keys = malloc((n + 1) * sizeof *s.keys);
    s.moved = malloc((n + 1) * sizeof *s.moved);
    s.counts = calloc(BLOCKS, sizeof *s.counts);
    s.block_area = calloc(n_blocks, sizeof *s.block_area);
    po_status status = PO_OK;
    if (surface->xyz && surface->corners && s.cells && s.keys && s.moved && s.counts && s.block_area) {
        find_cells(&s);
        sort_triangles(&s, pool);
        number_vertices(&s, (uint32_t *)s.cells); /* not needed any more, and as large */
        surface->upto = (double *)s.keys;         /* nor are these, and as large: pages that are there already */
        s.keys = NULL;
        po_pool_each(pool, n_blocks, sum_areas, &s);
        for (size_t b = 0; b < n_blocks; b++) {
            double area = s.block_area[b];
            s.block_area[b] = surface->area;
            surface->area += area;
        }
        po_pool_each(pool, n_blocks, shift_areas, &s);
    } else {
        status = po_fail(err, PO_E_NOMEM, "no memory to sort %zu triangles", n);
        po_surface_done(surface);
    }
    free(s.cells);
    free(s.keys);
    free(s.moved);
    free(s.counts);
    free(s.block_area);
    return status;
}

void po_surface_done(po_surface *surface)
{
    free(surface->xyz);
    free(surface->corners);
    free(surface->upto);
    *surface = (po_surface){0};
}

static uint64_t mix(uint64_t x) /* splitmix64: S. Vigna, public domain, 2015; from memory */
{
    x += UINT64_C(0x9e3779b97f4a7c15);
    x = (x ^ x >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
    x = (x ^ x >> 27) * UINT64_C(0x94d049bb133111eb);
    return x ^ x >> 31;
}

static double unit(uint64_t x) /* above 0 and below 1 */
{
    return ((double)(x >> 12) + 0.5) * 0x1p-52;
}

void po_surface_points(const po_surface *surface, uint64_t seed, size_t n, size_t first, size_t count,
                       po_surface_point *ret_points)
{
    /* 1/g and 1/g^2 of g = 1.3247179572447460, the root of x^3 = x + 1, as fractions of 2^64. */
    static const uint64_t step_u = UINT64_C(0xc13fa9a902a6328f), step_v = UINT64_C(0x91e10da5c79e7b1d);
    const uint64_t start = mix(seed), u0 = mix(start), v0 = mix(u0);
    const size_t n_triangles = surface->mesh.n_triangles;
    size_t low = 0, high = n_triangles - 1; /* the triangle that holds the first point */
    double wanted = ((double)first + unit(start)) / (double)n * surface->area;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (surface->upto[middle] > wanted) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    size_t have = SIZE_MAX;
    double c[3][3], normal[3] = {0, 0, 0};
    for (size_t i = 0; i < count; i++) {
        uint64_t number = first + i;
        wanted = ((double)number + unit(start)) / (double)n * surface->area;
        while (low + 1 < n_triangles && surface->upto[low] <= wanted) {
            low++;
        }
        if (low != have) {
            po_triangle_corners(&surface->mesh, (uint32_t)low, c);
            po_triangle_normal((const double(*)[3])c, normal);
            have = low;
        }
        double u = unit(u0 + number * step_u), v = unit(v0 + number * step_v);
        if (u + v > 1) {
            u = 1 - u;
            v = 1 - v;
        }
        po_surface_point *p = ret_points + i;
        p->triangle = (uint32_t)low;
        for (int k = 0; k < 3; k++) {
            p->at[k] = c[0][k] + u * (c[1][k] - c[0][k]) + v * (c[2][k] - c[0][k]);
            p->normal[k] = normal[k];
        }
    }
}
