/* Sections of a mesh: level planes to closed outlines. SPDX-License-Identifier: Apache-2.0
 *
 * A vertex has a level: how many of the heights, sorted, are not above it. A triangle is cut by the planes from its lowest
 * corner's level up to its highest's, and by no other: corners in a plane need no case of their own (simulation of
 * simplicity: H. Edelsbrunner and E. P. Muecke, ACM Transactions on Graphics 9, 1990). Triangles are sorted by plane
 * (counting sort, as for slicing in R. Minetto et al., "An optimal algorithm for 3D triangle mesh slicing",
 * Computer-Aided Design 92, 2017); each plane is then worked off alone: every cut triangle is a segment between two
 * edges, a hash table finds the segment that begins on the edge where this one ends, and the loops are walked. Planes
 * with an edge that has not just two triangles that agree go to sections_join.c.
 *
 * A plane's triangles come in the order of the mesh, and one thread does the whole plane: the same answer on any number
 * of threads. */
#include "part/sections.h"

#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "base/pages.h"
#include "base/pool.h"
#include "part/topology.h"
#include "part/weld.h"

enum { VERTICES_AT_ONCE = 1 << 14, MOST_SLOTS = 64, PROBES_PER_SEGMENT = 16 };
static const double LARGEST_COORDINATE = 1e60;     /* as for topology */
static const size_t MOST_POINTS = (size_t)1 << 28; /* 5 GB; sound parts have some thousand points a section */

typedef struct height {
    double z;
    size_t index; /* in the caller's array */
} height;

typedef struct entry { /* of the table: a segment by the edge on which it begins */
    uint64_t edge;
    uint32_t segment, stamp; /* in use when the stamp is the plane's */
} entry;

typedef struct scratch { /* of one thread */
    atomic_flag taken;
    size_t room, table_room;
    uint32_t stamp;
    po_cut *cuts;
    double *points; /* where each segment begins */
    uint32_t *next;
    entry *table;
} scratch;

typedef struct outline { /* of one plane */
    po_walks walks;
    double *own; /* points that are not in the common array; free */
    bool no_memory;
} outline;

typedef struct cutting {
    const po_mesh *mesh;
    const height *heights;
    size_t n_z;
    /* heights by bucket: bucket b holds those from firsts[b] to firsts[b + 1] */
    double bucket_from, buckets_per_mm;
    size_t n_buckets;
    uint32_t *firsts;
    uint32_t *levels; /* of each vertex */
    size_t *bad;      /* of each stretch of vertices, then of each block of triangles; SIZE_MAX: none */
    size_t n_stretches, n_blocks;
    size_t *places;   /* n_blocks * (n_z + 1): where the block's next triangle of the plane goes */
    size_t *begins;   /* n_z + 1: of each plane's triangles */
    uint32_t *listed; /* triangles, plane by plane; later the ends of the plane's loops */
    double *xy;       /* a point for each of them */
    outline *outlines;
    scratch *scratches;
    int n_scratches;
} cutting;

static int rising(const void *a, const void *b)
{
    const height *p = a, *q = b;
    return p->z != q->z ? (p->z > q->z) - (p->z < q->z) : (p->index > q->index) - (p->index < q->index);
}

/* Rises with z, so that heights in lower buckets are below z and those in higher ones above. */
static size_t bucket_of(const cutting *c, double z)
{
    double at = (z - c->bucket_from) * c->buckets_per_mm;
    return !(at > 0) ? 0 : at >= (double)c->n_buckets ? c->n_buckets - 1 : (size_t)at;
}

static void fill_buckets(cutting *c)
{
    double span = c->n_z ? c->heights[c->n_z - 1].z - c->heights[0].z : 0;
    c->bucket_from = c->n_z ? c->heights[0].z : 0;
    c->buckets_per_mm = (double)c->n_buckets / span;
    if (!isfinite(c->buckets_per_mm)) {
        c->buckets_per_mm = 0;
    }
    for (size_t k = 0; k < c->n_z; k++) {
        c->firsts[bucket_of(c, c->heights[k].z) + 1]++;
    }
    for (size_t b = 0; b < c->n_buckets; b++) {
        c->firsts[b + 1] += c->firsts[b];
    }
}

static void level_stretch(size_t i, void *user)
{
    cutting *c = user;
    const po_mesh *mesh = c->mesh;
    size_t from = i * VERTICES_AT_ONCE, to = from + VERTICES_AT_ONCE;
    to = to > mesh->n_vertices ? mesh->n_vertices : to;
    c->bad[i] = SIZE_MAX;
    for (size_t v = from; v < to; v++) {
        const double *p = mesh->xyz + 3 * v;
        if (!(fabs(p[0]) <= LARGEST_COORDINATE && fabs(p[1]) <= LARGEST_COORDINATE &&
              fabs(p[2]) <= LARGEST_COORDINATE)) {
            c->bad[i] = v;
            return;
        }
        size_t bucket = bucket_of(c, p[2]);
        uint32_t low = c->firsts[bucket], high = c->firsts[bucket + 1];
        while (low < high) {
            uint32_t mid = low + (high - low) / 2;
            if (c->heights[mid].z <= p[2]) {
                low = mid + 1;
            } else {
                high = mid;
            }
        }
        c->levels[v] = low;
    }
}

static size_t block_begin(const cutting *c, size_t b)
{
    return c->mesh->n_triangles / c->n_blocks * b +
           (b < c->mesh->n_triangles % c->n_blocks ? b : c->mesh->n_triangles % c->n_blocks);
}

/* The planes that cut a triangle: from the least of its levels to below the greatest; none where two corners are one. */
static void planes_of(const cutting *c, const uint32_t *corner, uint32_t *ret_low, uint32_t *ret_high)
{
    uint32_t i = c->levels[corner[0]], j = c->levels[corner[1]], k = c->levels[corner[2]];
    uint32_t low = i < j ? i : j, high = i < j ? j : i;
    low = k < low ? k : low;
    high = k > high ? k : high;
    bool flat = corner[0] == corner[1] || corner[1] == corner[2] || corner[2] == corner[0];
    *ret_low = low;
    *ret_high = flat ? low : high;
}

/* Counts as differences: up where a triangle's planes begin, down where they end. */
static void count_block(size_t b, void *user)
{
    cutting *c = user;
    size_t *steps = c->places + b * (c->n_z + 1);
    const uint32_t *corners = c->mesh->corners;
    c->bad[c->n_stretches + b] = SIZE_MAX;
    for (size_t t = block_begin(c, b), end = block_begin(c, b + 1); t < end; t++) {
        const uint32_t *corner = corners + 3 * t;
        size_t n = c->mesh->n_vertices;
        if (corner[0] >= n || corner[1] >= n || corner[2] >= n) {
            c->bad[c->n_stretches + b] = t;
            return;
        }
        uint32_t low, high;
        planes_of(c, corner, &low, &high);
        steps[low]++;
        steps[high]--;
    }
}

/* Differences to counts to places. */
static size_t set_places(cutting *c)
{
    size_t total = 0;
    for (size_t b = 0; b < c->n_blocks; b++) {
        size_t *steps = c->places + b * (c->n_z + 1);
        for (size_t k = 1; k < c->n_z; k++) {
            steps[k] += steps[k - 1];
        }
    }
    for (size_t k = 0; k < c->n_z; k++) {
        c->begins[k] = total;
        for (size_t b = 0; b < c->n_blocks; b++) {
            size_t *place = c->places + b * (c->n_z + 1) + k, n = *place;
            *place = total;
            total += n;
        }
    }
    c->begins[c->n_z] = total;
    return total;
}

static void list_block(size_t b, void *user)
{
    cutting *c = user;
    size_t *places = c->places + b * (c->n_z + 1);
    for (size_t t = block_begin(c, b), end = block_begin(c, b + 1); t < end; t++) {
        uint32_t low, high;
        planes_of(c, c->mesh->corners + 3 * t, &low, &high);
        for (uint32_t k = low; k < high; k++) {
            c->listed[places[k]++] = (uint32_t)t;
        }
    }
}

static bool make_room(scratch *s, size_t n, unsigned bits)
{
    size_t table = (size_t)1 << bits;
    if (n > s->room) {
        free(s->cuts);
        free(s->points);
        free(s->next);
        s->room = 0;
        size_t room = n + n / 4;
        s->cuts = malloc(room * sizeof *s->cuts);
        s->points = malloc(room * 2 * sizeof *s->points);
        s->next = malloc(room * sizeof *s->next);
        if (!s->cuts || !s->points || !s->next) {
            return false;
        }
        s->room = room;
    }
    if (table > s->table_room) {
        free(s->table);
        s->table_room = 0;
        s->table = calloc(table, sizeof *s->table);
        if (!s->table) {
            return false;
        }
        s->table_room = table;
        s->stamp = 0;
    }
    if (++s->stamp == 0) {
        memset(s->table, 0, s->table_room * sizeof *s->table);
        s->stamp = 1;
    }
    return true;
}

/* The two edges of each triangle that the plane cuts. */
static void find_cuts(const cutting *c, size_t plane, const uint32_t *listed, size_t n, po_cut *cuts)
{
    /* By which corners are above (1, 2, 4): the corner from which the triangle runs down, that from which it runs up. */
    static const unsigned char DOWN[8] = {0, 0, 1, 1, 2, 0, 2, 0}, UP[8] = {0, 2, 0, 2, 1, 1, 0, 0};
    static const unsigned char AFTER[3] = {1, 2, 0};
    const uint32_t *levels = c->levels;
    for (size_t i = 0; i < n; i++) {
        const uint32_t *corner = c->mesh->corners + 3 * (size_t)listed[i];
        unsigned above = (unsigned)(levels[corner[0]] > plane) | (unsigned)(levels[corner[1]] > plane) << 1 |
                         (unsigned)(levels[corner[2]] > plane) << 2;
        unsigned down = DOWN[above], up = UP[above];
        cuts[i].from = (uint64_t)corner[down] << 32 | corner[AFTER[down]];
        cuts[i].to = (uint64_t)corner[AFTER[up]] << 32 | corner[up];
    }
}

static size_t slot_of(uint64_t edge, unsigned bits)
{
    return (size_t)(edge * UINT64_C(0x9e3779b97f4a7c15) >> (64 - bits));
}

/* The segment after each; false where one is missing, or two want to be it, or the table fills unevenly. */
static bool link_cuts(scratch *s, size_t n, unsigned bits)
{
    size_t mask = ((size_t)1 << bits) - 1, probes = PROBES_PER_SEGMENT * n;
    uint32_t stamp = s->stamp;
    for (size_t i = 0; i < n; i++) {
        uint64_t edge = s->cuts[i].from;
        size_t at = slot_of(edge, bits);
        for (; s->table[at].stamp == stamp; at = (at + 1) & mask) {
            if (s->table[at].edge == edge || probes-- == 0) {
                return false;
            }
        }
        s->table[at] = (entry){edge, (uint32_t)i, stamp};
    }
    for (size_t i = 0; i < n; i++) {
        uint64_t edge = s->cuts[i].to;
        size_t at = slot_of(edge, bits);
        for (; s->table[at].edge != edge || s->table[at].stamp != stamp; at = (at + 1) & mask) {
            if (s->table[at].stamp != stamp || probes-- == 0) {
                return false;
            }
        }
        if (s->table[at].segment == UINT32_MAX) {
            return false;
        }
        s->next[i] = s->table[at].segment;
        s->table[at].segment = UINT32_MAX; /* taken */
    }
    return true;
}

static void walk(scratch *s, size_t n, po_walks *walks)
{
    for (uint32_t i = 0; i < n; i++) {
        if (s->next[i] == UINT32_MAX) {
            continue;
        }
        size_t from = walks->n_points;
        for (uint32_t at = i; s->next[at] != UINT32_MAX;) {
            uint32_t next = s->next[at];
            s->next[at] = UINT32_MAX;
            po_walk_point(walks, from, s->points + 2 * (size_t)at);
            at = next;
        }
        po_walk_close(walks, from);
    }
}

static scratch *take_scratch(cutting *c)
{
    for (int i = 0;; i = (i + 1) % c->n_scratches) { /* there is one for each thread */
        if (!atomic_flag_test_and_set_explicit(&c->scratches[i].taken, memory_order_acquire)) {
            return &c->scratches[i];
        }
    }
}

static void cut_plane(size_t plane, void *user)
{
    cutting *c = user;
    outline *o = &c->outlines[plane];
    size_t n = c->begins[plane + 1] - c->begins[plane];
    uint32_t *listed = c->listed + c->begins[plane];
    unsigned bits = 4;
    while ((size_t)1 << bits < 2 * n) {
        bits++;
    }
    scratch *s = take_scratch(c);
    if (n && make_room(s, n, bits)) {
        double z = c->heights[plane].z;
        find_cuts(c, plane, listed, n, s->cuts);
        o->walks = (po_walks){.xy = c->xy + 2 * c->begins[plane], .ends = listed};
        if (link_cuts(s, n, bits)) {
            for (size_t i = 0; i < n; i++) {
                po_cut_point(c->mesh->xyz, s->cuts[i].from, z, s->points + 2 * i);
            }
            walk(s, n, &o->walks);
        } else {
            o->no_memory = !po_section_join(c->mesh->xyz, z, s->cuts, n, &o->walks);
            o->own = o->walks.xy;
        }
    } else {
        o->no_memory = n != 0;
    }
    atomic_flag_clear_explicit(&s->taken, memory_order_release);
}

static po_status check(const cutting *c, po_err *err)
{
    for (size_t i = 0; i < c->n_stretches + c->n_blocks; i++) {
        if (c->bad[i] != SIZE_MAX) {
            po_status s = po_fail(err, PO_E_RANGE,
                                  i < c->n_stretches ? "vertex %zu has a coordinate that is no number or beyond 1e60"
                                                     : "triangle %zu has a corner that is no vertex of the mesh",
                                  c->bad[i] + 1);
            if (err) {
                err->byte = c->bad[i];
            }
            return s;
        }
    }
    return PO_OK;
}

/* Into the arena what isn't yet there, and into the caller's order. */
static po_status hand_over(cutting *c, po_arena *arena, po_section *ret, po_err *err)
{
    size_t n_loops = 0, at = 0;
    for (size_t k = 0; k < c->n_z; k++) {
        if (c->outlines[k].no_memory) {
            return po_fail(err, PO_E_NOMEM, "no memory for sections");
        }
        n_loops += c->outlines[k].walks.n_loops;
    }
    uint32_t *ends = po_arena_zeros(arena, n_loops, sizeof *ends);
    if (!ends) {
        return po_fail(err, PO_E_NOMEM, "no memory for %zu loops", n_loops);
    }
    for (size_t k = 0; k < c->n_z; k++) {
        outline *o = &c->outlines[k];
        if (o->own) {
            double *xy = po_arena_zeros(arena, o->walks.n_points, 2 * sizeof *xy);
            if (!xy) {
                return po_fail(err, PO_E_NOMEM, "no memory for an outline of %zu points", o->walks.n_points);
            }
            memcpy(xy, o->own, o->walks.n_points * 2 * sizeof *xy);
            o->walks.xy = xy;
        }
    }
    for (size_t k = 0; k < c->n_z; k++) {
        const po_walks *w = &c->outlines[k].walks;
        if (w->n_loops) {
            memcpy(ends + at, w->ends, w->n_loops * sizeof *ends);
        }
        ret[c->heights[k].index] = (po_section){
            .z = c->heights[k].z, .loops = {w->xy, w->n_points, ends + at, w->n_loops}, .open_ends = w->open_ends};
        at += w->n_loops;
    }
    return PO_OK;
}

static po_status cut(cutting *c, po_pool *pool, po_arena *arena, po_section *ret, po_err *err)
{
    const po_mesh *mesh = c->mesh;
    c->n_stretches = (mesh->n_vertices + VERTICES_AT_ONCE - 1) / VERTICES_AT_ONCE;
    c->n_blocks = (size_t)po_pool_threads(pool);
    while (c->n_blocks > 1 && c->n_blocks * c->n_z > mesh->n_triangles) {
        c->n_blocks--; /* no more to add up than to count */
    }
    c->n_buckets = 4 * c->n_z + 1;
    c->firsts = calloc(c->n_buckets + 1, sizeof *c->firsts);
    c->levels = malloc((mesh->n_vertices + 1) * sizeof *c->levels);
    c->bad = malloc((c->n_stretches + c->n_blocks) * sizeof *c->bad);
    c->places = calloc(c->n_blocks * (c->n_z + 1), sizeof *c->places);
    c->begins = malloc((c->n_z + 1) * sizeof *c->begins);
    c->outlines = calloc(c->n_z + 1, sizeof *c->outlines);
    c->n_scratches = po_pool_threads(pool);
    c->scratches = calloc((size_t)c->n_scratches, sizeof *c->scratches);
    if (!c->firsts || !c->levels || !c->bad || !c->places || !c->begins || !c->outlines || !c->scratches) {
        return po_fail(err, PO_E_NOMEM, "no memory for %zu sections", c->n_z);
    }
    fill_buckets(c);
    for (size_t b = 0; b < c->n_blocks; b++) {
        c->bad[c->n_stretches + b] = SIZE_MAX;
    }
    po_pool_each(pool, c->n_stretches, level_stretch, c);
    po_status s = check(c, err);
    if (s != PO_OK) {
        return s;
    }
    po_pool_each(pool, c->n_blocks, count_block, c);
    s = check(c, err);
    if (s != PO_OK) {
        return s;
    }
    size_t total = set_places(c);
    if (total > MOST_POINTS) {
        return po_fail(err, PO_E_LIMIT, "sections of %zu points in all are more than %zu", total, MOST_POINTS);
    }
    c->xy = po_arena_zeros(arena, total, 2 * sizeof *c->xy);
    c->listed = c->xy ? malloc((total + 1) * sizeof *c->listed) : NULL;
    if (!c->listed) {
        return po_fail(err, PO_E_NOMEM, "no memory for outlines of %zu points", total);
    }
    po_pages_large(c->xy, total * 2 * sizeof *c->xy);
    po_pages_large(c->listed, total * sizeof *c->listed);
    po_pool_each(pool, c->n_blocks, list_block, c);
    po_pool_each(pool, c->n_z, cut_plane, c);
    return hand_over(c, arena, ret, err);
}

static void cutting_done(cutting *c)
{
    for (size_t k = 0; c->outlines && k < c->n_z; k++) {
        free(c->outlines[k].own);
    }
    for (int i = 0; c->scratches && i < c->n_scratches; i++) {
        free(c->scratches[i].cuts);
        free(c->scratches[i].points);
        free(c->scratches[i].next);
        free(c->scratches[i].table);
    }
    free(c->scratches);
    free(c->firsts);
    free(c->levels);
    free(c->bad);
    free(c->places);
    free(c->begins);
    free(c->listed);
    free(c->outlines);
}

po_status po_mesh_sections(const po_mesh *mesh, const double *z, size_t n_z, int threads, po_arena *arena,
                           po_section *ret, po_err *err)
{
    if (mesh->n_triangles > PO_WELD_MOST_TRIANGLES || mesh->n_vertices >= UINT32_MAX) {
        return po_fail(err, PO_E_RANGE, "more triangles than can be numbered");
    }
    if (n_z >= UINT32_MAX / 8) {
        return po_fail(err, PO_E_RANGE, "%zu sections are more than can be numbered", n_z);
    }
    height *heights = malloc((n_z + 1) * sizeof *heights);
    if (!heights) {
        return po_fail(err, PO_E_NOMEM, "no memory for %zu sections", n_z);
    }
    bool sorted = true;
    for (size_t k = 0; k < n_z; k++) {
        if (!isfinite(z[k])) {
            free(heights);
            return po_fail(err, PO_E_RANGE, "the height of section %zu is no number", k + 1);
        }
        heights[k] = (height){z[k], k};
        sorted &= k == 0 || z[k - 1] <= z[k];
    }
    if (!sorted) {
        qsort(heights, n_z, sizeof *heights, rising);
    }
    po_pool *pool = po_pool_new(mesh->n_triangles < PO_ONE_THREAD_BELOW && n_z < PO_ONE_THREAD_BELOW ? 1 : threads);
    if (!pool) {
        free(heights);
        return po_fail(err, PO_E_NOMEM, "no threads to cut sections with");
    }
    cutting c = {.mesh = mesh, .heights = heights, .n_z = n_z};
    po_status s = cut(&c, pool, arena, ret, err);
    cutting_done(&c);
    po_pool_free(pool);
    free(heights);
    return s;
}
