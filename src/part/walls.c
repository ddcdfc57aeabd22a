/* Walls and gaps of a mesh, by rays. SPDX-License-Identifier: Apache-2.0
 *
 * docs/measures.md, "Meshes": from points spread evenly over the surface (walls_surface.c) a ray goes inwards along the
 * normal to the far side, and one outwards to what faces it. The rays of a block of points, which lie side by side, are
 * followed sixteen at a time; only what they find below two beads, and what may be the thinnest of all, is then looked
 * at closely (walls_judge.c). A first round with every eighth point follows the rays inwards to the end. The others need to
 * go no further than the thinnest wall of that round, and where that is thicker than eight beads only to two beads: how
 * thick walls are that no rule asks for is then known from every eighth point. Each block works by itself from there, so
 * that no answer depends on the number of threads; in the order of the file nothing is done at all.
 *
 * Not seen: walls thinner than the slack of the tree (2e-6 of the part), and patches between the points. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/pool.h"
#include "part/walls_inside.h"
#include "proveout/solid.h"

enum { BLOCK = 2048, EVERY = 8, MOST_SAMPLES = 4000, LEAST_RAYS = 20000, MOST_CHOSEN = 1000000 };

static const double MOST_RAYS = 1 << 26;
/* Points in a square of a bead, where the number is left to us: a thin patch of 5 by 5 mm at a bead of 0.45 mm gets 62. */
static const double POINTS_A_BEAD = 0.5;
/* Beads; what is thicker than that all over is not looked for with every point. */
static const double THICK = 8;
/* Bodies are taken to touch below this share of a bead, about a micrometre. */
static const double TOUCH = 2e-3;

typedef struct found { /* a point whose wall is below two beads */
    uint64_t number;
    double mm;
    bool sheet;
} found;

typedef struct least {
    double mm;
    uint64_t number;
    double at[3];
} least;

typedef struct block {
    least wall, sheet, gap;
    uint64_t thin, slim, thin_sheet, slim_sheet, near; /* points */
    found *found;
    size_t n_found, cap;
    bool no_memory;
} block;

typedef struct search {
    po_walls walls;
    po_surface surface;
    uint64_t seed;
    size_t rays;
    double reach; /* how far rays go inwards in the second round */
    bool first;   /* the first round: every eighth point, as far as it goes; else the others */
    size_t n_blocks;
    block *blocks; /* n_blocks for each round */
} search;

static void keep_least(least *best, double mm, uint64_t number, const double at[3])
{
    if (mm < best->mm || (mm == best->mm && number < best->number)) {
        best->mm = mm;
        best->number = number;
        memcpy(best->at, at, sizeof best->at);
    }
}

static void keep_found(block *b, uint64_t number, double mm, bool sheet)
{
    if (b->n_found == b->cap) {
        size_t cap = b->cap ? 2 * b->cap : 64;
        found *grown = realloc(b->found, cap * sizeof *grown);
        if (!grown) {
            b->no_memory = true;
            return;
        }
        b->found = grown;
        b->cap = cap;
    }
    b->found[b->n_found++] = (found){number, mm, sheet};
}

/* A point looked at closely. reach: how far its ray inwards is of interest. */
static void judge(const search *s, block *b, const po_surface_point *p, uint64_t number, double reach)
{
    const po_walls *w = &s->walls;
    const double bead = w->bead;
    po_far_side air;
    if (!po_walls_outside(w, p->at, p->normal, bead, &air)) {
        return;
    }
    if (air.mm < bead && po_walls_is_sheet(w, p->at, p->normal, &air, true)) {
        b->near++;
        keep_least(&b->gap, air.mm, number, p->at);
    }
    po_far_side side = po_walls_thickness(w, p->at, p->normal, reach);
    if (!isfinite(side.mm)) {
        return;
    }
    bool slim = side.mm < 2 * bead, thin = side.mm < bead,
         sheet = (slim || side.mm < b->sheet.mm) && po_walls_is_sheet(w, p->at, p->normal, &side, false);
    keep_least(&b->wall, side.mm, number, p->at);
    if (sheet) {
        keep_least(&b->sheet, side.mm, number, p->at);
    }
    b->thin += thin;
    b->slim += slim && !thin;
    b->thin_sheet += thin && sheet;
    b->slim_sheet += slim && !thin && sheet;
    if (slim) {
        keep_found(b, number, side.mm, sheet);
    }
}

/* Whether what the rays of a point met calls for a close look. */
static bool is_worth(const search *s, const block *b, const po_surface_point *p, double inwards, uint32_t triangle,
                     bool air)
{
    if (air) {
        return true;
    }
    if (triangle == PO_RAY_MISSED) {
        return false;
    }
    double normal[3], way[3] = {-p->normal[0], -p->normal[1], -p->normal[2]};
    if (inwards <= 2 * s->walls.bead + 2 * s->walls.slack) {
        return true;
    }
    /* Further off it can only be the thinnest. */
    if (inwards > b->wall.mm + s->walls.slack && inwards > b->sheet.mm + s->walls.slack) {
        return false;
    }
    double mm = po_walls_distance(&s->walls, p->at, way, triangle, normal), against = 0;
    for (int k = 0; k < 3; k++) {
        against += way[k] * normal[k];
    }
    if (against < 0) { /* into another body that overlaps: the end of it lies further on */
        return true;
    }
    return mm < b->wall.mm || (mm < b->sheet.mm && against > 0.9);
}

static void look(const search *s, block *b, const po_surface_point *points, const uint64_t *numbers, int n)
{
    po_ray_batch in, out;
    const po_walls *w = &s->walls;
    double reach = fmax(fmin(s->reach, b->sheet.mm), 2 * w->bead) + 2 * w->slack;
    for (int i = 0; i < n; i++) {
        memcpy(in.from[i], points[i].at, sizeof in.from[i]);
        memcpy(out.from[i], points[i].at, sizeof out.from[i]);
        for (int k = 0; k < 3; k++) {
            in.along[i][k] = -points[i].normal[k];
            out.along[i][k] = points[i].normal[k];
        }
        in.near[i] = w->slack;
        in.far[i] = s->first ? INFINITY : reach;
        out.near[i] = w->contact;
        out.far[i] = w->bead + w->slack;
    }
    po_rays_first(w->rays, &in, n);
    po_rays_first(w->rays, &out, n);
    for (int i = 0; i < n; i++) {
        if (is_worth(s, b, points + i, in.distance[i], in.triangle[i], out.triangle[i] != PO_RAY_MISSED)) {
            judge(s, b, points + i, numbers[i], in.far[i]);
        }
    }
}

static void search_block(size_t number, void *user)
{
    search *s = user;
    block *b = s->blocks + number + (s->first ? 0 : s->n_blocks);
    po_surface_point points[PO_RAYS_AT_ONCE];
    uint64_t numbers[PO_RAYS_AT_ONCE];
    size_t from = number * BLOCK, to = from + BLOCK;
    to = to < s->rays ? to : s->rays;
    for (size_t i = from; i < to;) {
        int n = 0;
        while (n < PO_RAYS_AT_ONCE && i < to) {
            /* BLOCK is a multiple of EVERY: from an eighth one to the next */
            size_t start = s->first ? i : i % EVERY ? i : i + 1, end = s->first ? i + 1 : (start / EVERY + 1) * EVERY;
            end = end < to ? end : to;
            size_t count = start < end ? end - start : 0, room = (size_t)(PO_RAYS_AT_ONCE - n);
            count = count < room ? count : room;
            if (count) {
                po_surface_points(&s->surface, s->seed, s->rays, start, count, points + n);
            }
            for (size_t k = 0; k < count; k++) {
                numbers[n++] = start + k;
            }
            i = s->first ? i + EVERY : start + count;
        }
        for (int k = 0; k < n; k++) {
            if (s->walls.turned && s->walls.turned[points[k].triangle]) {
                for (int j = 0; j < 3; j++) {
                    points[k].normal[j] = -points[k].normal[j];
                }
            }
        }
        if (n) {
            look(s, b, points, numbers, n);
        }
    }
}

static const least NONE = {.mm = INFINITY, .number = UINT64_MAX};

/* Both rounds; false: no memory. */
static bool search_all(search *s, po_pool *pool)
{
    double sheet = INFINITY;
    for (size_t i = 0; i < 2 * s->n_blocks; i++) {
        s->blocks[i] = (block){.wall = NONE, .sheet = NONE, .gap = NONE};
    }
    s->first = true;
    po_pool_each(pool, s->n_blocks, search_block, s);
    for (size_t i = 0; i < s->n_blocks; i++) {
        sheet = fmin(sheet, s->blocks[i].sheet.mm);
    }
    s->first = false;
    s->reach = sheet < THICK * s->walls.bead ? sheet : 0;
    po_pool_each(pool, s->n_blocks, search_block, s);
    for (size_t i = 0; i < 2 * s->n_blocks; i++) {
        if (s->blocks[i].no_memory) {
            return false;
        }
    }
    return true;
}

/* The pictures' points: thin ones, then slim ones; where there are too many, each as many-th. */
static bool fill_samples(const search *s, po_arena *arena, po_wall_facts *ret)
{
    const size_t n_blocks = 2 * s->n_blocks;
    const double bead = s->walls.bead;
    size_t counts[2] = {0, 0}, takes[2];
    for (size_t i = 0; i < n_blocks; i++) {
        counts[0] += s->blocks[i].thin;
        counts[1] += s->blocks[i].slim;
    }
    takes[0] = counts[0] < MOST_SAMPLES ? counts[0] : MOST_SAMPLES;
    takes[1] = counts[1] < MOST_SAMPLES - takes[0] ? counts[1] : MOST_SAMPLES - takes[0];
    po_wall_sample *samples = po_arena_zeros(arena, takes[0] + takes[1] + 1, sizeof *samples);
    if (!samples) {
        return false;
    }
    size_t n = 0;
    for (int slim = 0; slim < 2; slim++) {
        size_t seen = 0;
        for (size_t i = 0; i < n_blocks; i++) {
            for (size_t k = 0; k < s->blocks[i].n_found; k++) {
                const found *f = s->blocks[i].found + k;
                if ((f->mm >= bead) != (slim == 1)) {
                    continue;
                }
                size_t before = seen * takes[slim] / counts[slim];
                seen++;
                if (seen * takes[slim] / counts[slim] > before) {
                    po_surface_point p;
                    po_surface_points(&s->surface, s->seed, s->rays, f->number, 1, &p);
                    samples[n] = (po_wall_sample){.mm = f->mm, .sheet = f->sheet};
                    samples[n].mm2 = s->surface.area / (double)s->rays * (double)counts[slim] / (double)takes[slim];
                    double outwards = s->walls.turned && s->walls.turned[p.triangle] ? -1 : 1;
                    for (int j = 0; j < 3; j++) {
                        samples[n].normal[j] = outwards * p.normal[j];
                    }
                    memcpy(samples[n++].at, p.at, sizeof p.at);
                }
            }
        }
    }
    ret->samples = samples;
    ret->n_samples = n;
    return true;
}

static void write_least(const least *from, double *ret_mm, double ret_at[3])
{
    bool any = isfinite(from->mm);
    *ret_mm = any ? from->mm : (double)NAN;
    for (int k = 0; k < 3; k++) {
        ret_at[k] = any ? from->at[k] : (double)NAN;
    }
}

static void sum_up(const search *s, po_wall_facts *ret)
{
    block all = {.wall = NONE, .sheet = NONE, .gap = NONE};
    for (size_t i = 0; i < 2 * s->n_blocks; i++) {
        const block *b = s->blocks + i;
        keep_least(&all.wall, b->wall.mm, b->wall.number, b->wall.at);
        keep_least(&all.sheet, b->sheet.mm, b->sheet.number, b->sheet.at);
        keep_least(&all.gap, b->gap.mm, b->gap.number, b->gap.at);
        all.thin += b->thin;
        all.slim += b->slim;
        all.thin_sheet += b->thin_sheet;
        all.slim_sheet += b->slim_sheet;
        all.near += b->near;
    }
    double n = (double)s->rays, each = s->rays ? s->surface.area / n : 0, share = s->rays ? (double)all.thin / n : 0;
    write_least(&all.wall, &ret->thinnest_wall_mm, ret->thinnest_at);
    write_least(&all.sheet, &ret->thinnest_sheet_mm, ret->sheet_at);
    write_least(&all.gap, &ret->narrowest_gap_mm, ret->gap_at);
    ret->thin_wall_mm2 = (double)all.thin * each;
    ret->slim_wall_mm2 = (double)all.slim * each;
    ret->thin_sheet_mm2 = (double)all.thin_sheet * each;
    ret->slim_sheet_mm2 = (double)all.slim_sheet * each;
    ret->gap_mm2 = (double)all.near * each;
    ret->area_error_mm2 = s->rays ? s->surface.area * sqrt(share * (1 - share) / n) : 0;
}

static po_status check(const po_mesh *mesh, double bead_mm, size_t rays, po_err *err)
{
    if (!(bead_mm > 0 && bead_mm < 1000)) {
        return po_fail(err, PO_E_RANGE, "a bead of %g mm: more than 0 and less than 1000 was wanted", bead_mm);
    }
    if ((double)rays > MOST_RAYS) {
        return po_fail(err, PO_E_RANGE, "%zu rays: at most %.0f", rays, MOST_RAYS);
    }
    if (mesh->n_triangles >= UINT32_MAX || mesh->n_vertices > UINT32_MAX) {
        return po_fail(err, PO_E_RANGE, "a mesh of %zu triangles: at most 2^32 - 2", mesh->n_triangles);
    }
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        if (mesh->corners[i] >= mesh->n_vertices) {
            po_status s = po_fail(err, PO_E_RANGE, "triangle %zu names vertex %u of %zu", i / 3, mesh->corners[i],
                                  mesh->n_vertices);
            if (err) {
                err->byte = i / 3;
            }
            return s;
        }
    }
    for (size_t i = 0; i < 3 * mesh->n_vertices; i++) {
        if (!(fabs(mesh->xyz[i]) < 1e100)) { /* so that areas are finite, too */
            po_status s = po_fail(err, PO_E_RANGE, "vertex %zu has a coordinate that is not a finite number", i / 3);
            if (err) {
                err->byte = i / 3;
            }
            return s;
        }
    }
    return PO_OK;
}

static po_status measure(search *s, po_pool *pool, uint8_t *turned, po_arena *arena, po_wall_facts *ret, po_err *err)
{
    bool any = false;
    po_status status = po_walls_find_turned(s->walls.mesh, s->walls.rays, pool, turned, &any, err);
    if (status != PO_OK) {
        return status;
    }
    s->walls.turned = any ? turned : NULL;
    s->n_blocks = (s->rays + BLOCK - 1) / BLOCK;
    s->blocks = calloc(2 * s->n_blocks + 1, sizeof *s->blocks);
    bool good = s->blocks && search_all(s, pool);
    if (good) {
        sum_up(s, ret);
        good = fill_samples(s, arena, ret);
    }
    for (size_t i = 0; s->blocks && i < 2 * s->n_blocks; i++) {
        free(s->blocks[i].found);
    }
    free(s->blocks);
    return good ? PO_OK : po_fail(err, PO_E_NOMEM, "no memory for %zu rays", s->rays);
}

po_status po_mesh_walls(const po_mesh *mesh, double bead_mm, size_t rays, uint64_t seed, int threads, po_arena *arena,
                        po_wall_facts *ret, po_err *err)
{
    po_status status = check(mesh, bead_mm, rays, err);
    if (status != PO_OK) {
        return status;
    }
    po_wall_facts facts = {.bead_mm = bead_mm, .seed = seed};
    search s = {.seed = seed, .reach = INFINITY};
    po_rays *tree = NULL;
    po_pool *pool = po_pool_new(threads);
    uint8_t *turned = malloc(mesh->n_triangles + 1);
    if (!pool || !turned) {
        status = po_fail(err, PO_E_NOMEM, "no memory for the walls of %zu triangles", mesh->n_triangles);
    }
    if (status == PO_OK && mesh->n_triangles > 0) {
        status = po_surface_init(&s.surface, mesh, pool, err);
    }
    if (status == PO_OK && s.surface.area > 0) {
        double wanted = s.surface.area / (bead_mm * bead_mm) * POINTS_A_BEAD;
        s.rays = rays ? rays : wanted > MOST_CHOSEN ? MOST_CHOSEN : wanted < LEAST_RAYS ? LEAST_RAYS : (size_t)wanted;
        status = po_rays_open(&s.surface.mesh, s.rays < 2 * mesh->n_triangles, po_pool_threads(pool), &tree, err);
    }
    if (status == PO_OK && tree) {
        double slack = po_rays_slack(tree);
        s.walls = (po_walls){.mesh = &s.surface.mesh, .rays = tree, .bead = bead_mm, .slack = slack};
        s.walls.contact = fmax(slack, TOUCH * bead_mm);
        status = measure(&s, pool, turned, arena, &facts, err);
    } else if (status == PO_OK) {
        sum_up(&s, &facts); /* no triangle with an area */
    }
    facts.rays = s.rays;
    if (status == PO_OK) {
        *ret = facts;
    }
    po_rays_close(tree);
    po_surface_done(&s.surface);
    free(turned);
    po_pool_free(pool);
    return status;
}
