/* Outlines of meshes that are not sound. SPDX-License-Identifier: Apache-2.0
 *
 * Where an edge has one triangle, more than two, or two that don't agree, segments cannot simply follow each other. Here
 * all ends of segments are sorted by their edge (radix sort: bounded time whatever the numbers are), and each edge's
 * ends are joined in pairs:
 *   one end      stays open: there is a hole
 *   two ends     are joined, even where both begin or both end there: one of the triangles is flipped
 *   more         by angle about the point. Material begins to the right of an end that comes in, seen from the point, so
 *                each is joined to the nearest one that goes out, turning clockwise (as brackets are paired): solids
 *                that touch in an edge stay apart. What is left is joined in order.
 * Then walks: first those from open ends, closed by a straight edge, then the rest, which are rings. A walk goes the way
 * that the greater length of its segments wants to go. No segment is lost, and none is used twice. */
#include "part/sections.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NONE UINT32_MAX

typedef struct end { /* of a segment: id = 2 * segment, + 1 where it ends */
    uint64_t edge;
    uint32_t id;
} end;

typedef struct ray { /* from an edge's point along a segment */
    double angle;
    uint32_t id;
} ray;

typedef struct joining {
    size_t n;
    end *ends, *spare; /* 2 n */
    double *points;    /* 2 n: where end id lies */
    uint32_t *partners;
    unsigned char *seen; /* segments walked over */
    uint32_t *order;     /* of one walk: the end by which each segment is entered */
    ray *rays;
    uint32_t *stack;
    size_t rays_room;
} joining;

static void sort_ends(joining *j)
{
    size_t n = 2 * j->n;
    uint64_t varies = 0;
    for (size_t i = 0; i < n; i++) {
        varies |= j->ends[i].edge ^ j->ends[0].edge;
    }
    for (unsigned shift = 0; shift < 64; shift += 8) {
        if ((varies >> shift & 255) == 0) {
            continue;
        }
        size_t places[256] = {0}, sum = 0;
        for (size_t i = 0; i < n; i++) {
            places[j->ends[i].edge >> shift & 255]++;
        }
        for (int k = 0; k < 256; k++) {
            size_t count = places[k];
            places[k] = sum;
            sum += count;
        }
        for (size_t i = 0; i < n; i++) {
            j->spare[places[j->ends[i].edge >> shift & 255]++] = j->ends[i];
        }
        end *keep = j->ends;
        j->ends = j->spare;
        j->spare = keep;
    }
}

static void join(joining *j, uint32_t a, uint32_t b)
{
    j->partners[a] = b;
    j->partners[b] = a;
}

/* Clockwise; those that go out first where two lie on each other, so that solids with a common wall stay apart. */
static int clockwise(const void *a, const void *b)
{
    const ray *p = a, *q = b;
    if (p->angle != q->angle) {
        return p->angle < q->angle ? 1 : -1;
    }
    if ((p->id & 1) != (q->id & 1)) {
        return p->id & 1 ? 1 : -1;
    }
    return (p->id > q->id) - (p->id < q->id);
}

static bool join_crowd(joining *j, const end *ends, size_t n)
{
    if (n > j->rays_room) {
        free(j->rays);
        free(j->stack);
        j->rays_room = 0;
        j->rays = malloc(2 * n * sizeof *j->rays);
        j->stack = malloc(2 * n * sizeof *j->stack);
        if (!j->rays || !j->stack) {
            return false;
        }
        j->rays_room = 2 * n;
    }
    for (size_t i = 0; i < n; i++) {
        const double *at = j->points + 2 * (size_t)ends[i].id, *to = j->points + 2 * (size_t)(ends[i].id ^ 1);
        j->rays[i] = (ray){atan2(to[1] - at[1], to[0] - at[0]), ends[i].id};
    }
    qsort(j->rays, n, sizeof *j->rays, clockwise);
    size_t open = 0;
    for (size_t i = 0; i < 2 * n; i++) { /* twice round: the last that come in meet the first that go out */
        uint32_t id = j->rays[i % n].id;
        if (j->partners[id] != NONE) {
            continue;
        }
        if (id & 1) {
            if (i < n) {
                j->stack[open++] = id;
            }
        } else if (open) {
            join(j, j->stack[--open], id);
        }
    }
    uint32_t left = NONE;
    for (size_t i = 0; i < n; i++) {
        uint32_t id = j->rays[i].id;
        if (j->partners[id] == NONE) {
            if (left != NONE) {
                join(j, left, id);
                left = NONE;
            } else {
                left = id;
            }
        }
    }
    return true;
}

static bool join_all(joining *j)
{
    memset(j->partners, 0xff, 2 * j->n * sizeof *j->partners);
    for (size_t i = 0, next; i < 2 * j->n; i = next) {
        for (next = i + 1; next < 2 * j->n && j->ends[next].edge == j->ends[i].edge; next++) {
        }
        if (next - i == 2) {
            join(j, j->ends[i].id, j->ends[i + 1].id);
        } else if (next - i > 2 && !join_crowd(j, j->ends + i, next - i)) {
            return false;
        }
    }
    return true;
}

/* From an end that begins a walk until it is open or round. */
static void walk(joining *j, uint32_t first, bool open, po_walks *walks)
{
    size_t n = 0, from = walks->n_points;
    double forward = 0;
    for (uint32_t at = first; at != NONE && !j->seen[at / 2]; at = j->partners[at ^ 1]) {
        const double *p = j->points + 4 * (size_t)(at / 2);
        double length = hypot(p[2] - p[0], p[3] - p[1]);
        forward += at & 1 ? -length : length;
        j->seen[at / 2] = 1;
        j->order[n++] = at;
    }
    if (forward < 0) { /* the same walk from its other end */
        for (size_t i = 0; i < n - i; i++) {
            uint32_t keep = j->order[i] ^ 1;
            j->order[i] = j->order[n - 1 - i] ^ 1;
            j->order[n - 1 - i] = keep;
        }
    }
    for (size_t i = 0; i < n; i++) {
        po_walk_point(walks, from, j->points + 2 * (size_t)j->order[i]);
    }
    if (open) {
        po_walk_point(walks, from, j->points + 2 * (size_t)(j->order[n - 1] ^ 1));
        walks->open_ends++;
    }
    po_walk_close(walks, from);
}

static void walk_all(joining *j, po_walks *walks)
{
    for (uint32_t id = 0; id < 2 * j->n; id++) {
        if (j->partners[id] == NONE && !j->seen[id / 2]) {
            walk(j, id, true, walks);
        }
    }
    for (uint32_t id = 0; id < 2 * j->n; id += 2) {
        if (!j->seen[id / 2]) {
            walk(j, id, false, walks);
        }
    }
}

bool po_section_join(const double *xyz, double z, const po_cut *cuts, size_t n, po_walks *walks)
{
    joining j = {.n = n};
    j.ends = malloc(2 * n * sizeof *j.ends);
    j.spare = malloc(2 * n * sizeof *j.spare);
    j.points = malloc(4 * n * sizeof *j.points);
    j.partners = malloc(2 * n * sizeof *j.partners);
    j.seen = calloc(n + 1, 1);
    j.order = malloc(n * sizeof *j.order);
    walks->xy = malloc(4 * n * sizeof *walks->xy); /* at most n open walks */
    bool good = j.ends && j.spare && j.points && j.partners && j.seen && j.order && walks->xy;
    for (size_t i = 0; good && i < n; i++) {
        j.ends[2 * i] = (end){cuts[i].from, (uint32_t)(2 * i)};
        j.ends[2 * i + 1] = (end){cuts[i].to, (uint32_t)(2 * i + 1)};
        po_cut_point(xyz, cuts[i].from, z, j.points + 4 * i);
        po_cut_point(xyz, cuts[i].to, z, j.points + 4 * i + 2);
    }
    if (good) {
        sort_ends(&j);
        good = join_all(&j);
    }
    if (good) {
        walk_all(&j, walks);
    }
    free(j.ends);
    free(j.spare);
    free(j.points);
    free(j.partners);
    free(j.seen);
    free(j.order);
    free(j.rays);
    free(j.stack);
    return good;
}
