/* Where alignment pins go. SPDX-License-Identifier: Apache-2.0
 *
 * Two round pins a joint keep it from sliding and from turning; common practice, no published source. Places are tried
 * on a grid over the section, each for the two pieces that meet there in the end. The hole's axis must keep the hole's
 * radius and a wall away from the whole part's surface, all the way to its end and a wall beyond (distance of a segment
 * from triangles, C. Ericson, Real-Time Collision Detection, 2005, sections 5.1.9 and 5.1.10), and from other cuts. Of
 * the places of a pair of pieces the two furthest apart are taken. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/pieces_plan.h"

enum { GRID = 24, PLACES_MOST = GRID * GRID, PAIRS_MOST = 32 };
static const double LEAST_WALL = 1.5, LEAST_PIN = 3, MOST_PIN = 10,
                    STANDS_PIN = 6 /* the least that stands on 25 mm2: pi / 4 * 6^2 = 28 */,
                    DEPTHS = 1.5 /* diameters in each half */,
                    SHORTER = 0.6 /* mm that a pin is shorter than its two holes */;

typedef struct place {
    double at[3], uv[2];
    const po_shard *below, *above;
} place;

static double dot(const double *a, const double *b)
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static double clamp(double x)
{
    return x < 0 ? 0 : x > 1 ? 1 : x;
}

/* Squared distance of segments p q and r s. */
static double segments(const double *p, const double *q, const double *r, const double *s)
{
    double d1[3], d2[3], between[3], sum = 0;
    for (int k = 0; k < 3; k++) {
        d1[k] = q[k] - p[k];
        d2[k] = s[k] - r[k];
        between[k] = p[k] - r[k];
    }
    double a = dot(d1, d1), e = dot(d2, d2), f = dot(d2, between), c = dot(d1, between), b = dot(d1, d2);
    double t1 = 0, t2 = 0, det = a * e - b * b;
    if (e <= 0) {
        t1 = a > 0 ? clamp(-c / a) : 0;
    } else if (a <= 0) {
        t2 = clamp(f / e);
    } else {
        t1 = det > 1e-14 * a * e ? clamp((b * f - c * e) / det) : 0;
        t2 = (b * t1 + f) / e;
        if (t2 < 0 || t2 > 1) {
            t2 = clamp(t2);
            t1 = clamp((b * t2 - c) / a);
        }
    }
    for (int k = 0; k < 3; k++) {
        double x = between[k] + d1[k] * t1 - d2[k] * t2;
        sum += x * x;
    }
    return sum;
}

/* Squared distance of a point over a triangle's inside from its plane; infinite beside it. */
static double above_triangle(const double *p, const double *const *t, const double *normal, double square)
{
    for (int k = 0; k < 3; k++) {
        const double *a = t[k], *b = t[(k + 1) % 3];
        double u[3] = {b[0] - a[0], b[1] - a[1], b[2] - a[2]}, v[3] = {p[0] - a[0], p[1] - a[1], p[2] - a[2]};
        double x[3] = {u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]};
        if (dot(x, normal) < 0) {
            return INFINITY;
        }
    }
    double v[3] = {p[0] - t[0][0], p[1] - t[0][1], p[2] - t[0][2]}, height = dot(v, normal);
    return height * height / square;
}

/* Is any triangle nearer than r to the segment p q? */
static bool touches(const po_mesh *mesh, const double *p, const double *q, double r)
{
    double low[3], high[3];
    for (int k = 0; k < 3; k++) {
        low[k] = fmin(p[k], q[k]) - r;
        high[k] = fmax(p[k], q[k]) + r;
    }
    for (size_t i = 0; i < mesh->n_triangles; i++) {
        const double *t[3];
        bool apart = false;
        for (size_t k = 0; k < 3; k++) {
            t[k] = mesh->xyz + 3 * (size_t)mesh->corners[3 * i + k];
        }
        for (int k = 0; k < 3 && !apart; k++) {
            apart = (t[0][k] < low[k] && t[1][k] < low[k] && t[2][k] < low[k]) ||
                    (t[0][k] > high[k] && t[1][k] > high[k] && t[2][k] > high[k]);
        }
        if (apart) {
            continue;
        }
        double u[3], v[3];
        for (int k = 0; k < 3; k++) {
            u[k] = t[1][k] - t[0][k];
            v[k] = t[2][k] - t[0][k];
        }
        double normal[3] = {u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]};
        double square = dot(normal, normal), least = INFINITY;
        for (int k = 0; k < 3; k++) {
            least = fmin(least, segments(p, q, t[k], t[(k + 1) % 3]));
        }
        if (square > 0) {
            least = fmin(least, above_triangle(p, t, normal, square));
            least = fmin(least, above_triangle(q, t, normal, square));
            double a[3] = {p[0] - t[0][0], p[1] - t[0][1], p[2] - t[0][2]};
            double b[3] = {q[0] - t[0][0], q[1] - t[0][1], q[2] - t[0][2]}, from = dot(a, normal), to = dot(b, normal);
            if (from * to < 0) { /* does it pass through? */
                double s = from / (from - to);
                double x[3] = {p[0] + s * (q[0] - p[0]), p[1] + s * (q[1] - p[1]), p[2] + s * (q[2] - p[2])};
                least = fmin(least, above_triangle(x, t, normal, square));
            }
        }
        if (least < r * r) {
            return true;
        }
    }
    return false;
}

/* Which of the solids of one side of a cut the point just there belongs to in the end, and no other cut near: NULL if
 * there is one. way: +1 above, -1 below. */
static const po_shard *owner(const po_plan *plan, const po_split *split, int side, const double *p,
                             const double *normal, double depth, double free)
{
    const po_shard *const *parts = split->parts[side];
    size_t n = split->n_parts[side];
    double end[3], inside[3];
    for (int k = 0; k < 3; k++) {
        end[k] = p[k] + (side ? depth : -depth) * normal[k];
        inside[k] = p[k] + (side ? 0.5 : -0.5) * normal[k];
    }
    for (size_t guard = 0; guard <= plan->n_splits; guard++) {
        const po_shard *found = NULL;
        for (size_t i = 0; i < n; i++) { /* of several solids the one whose box holds it, where that is clear */
            bool in = true;
            for (int k = 0; k < 3 && n > 1; k++) {
                double low = INFINITY, high = -INFINITY;
                for (size_t v = 0; v < parts[i]->mesh->n_vertices; v++) {
                    low = fmin(low, parts[i]->mesh->xyz[3 * v + (size_t)k]);
                    high = fmax(high, parts[i]->mesh->xyz[3 * v + (size_t)k]);
                }
                in = in && low <= inside[k] && inside[k] <= high;
            }
            if (in && found) {
                return NULL;
            }
            found = in ? parts[i] : found;
        }
        const po_split *next = NULL;
        for (size_t i = 0; i < plan->n_splits && found; i++) {
            next = plan->splits[i]->of == found ? plan->splits[i] : next;
        }
        if (!next) {
            return found;
        }
        const po_plane *plane = &next->cut.plane;
        double from = dot(plane->n, p) - plane->d, to = dot(plane->n, end) - plane->d;
        if (from * to <= 0 || fmin(fabs(from), fabs(to)) < free) {
            return NULL;
        }
        parts = next->parts[from > 0];
        n = next->n_parts[from > 0];
    }
    return NULL;
}

/* No cut made before this one is near either: its plane bounds the solid that is cut. */
static bool earlier_near(const po_split *split, const double *p, const double *end, double free)
{
    for (const po_split *s = split->of->from; s; s = s->of->from) {
        double from = dot(s->cut.plane.n, p) - s->cut.plane.d, to = dot(s->cut.plane.n, end) - s->cut.plane.d;
        if (from * to <= 0 || fmin(fabs(from), fabs(to)) < free) {
            return true;
        }
    }
    return false;
}

static bool well_inside(const po_loops *inset, double x, double y)
{
    return inset->n_loops && po_loops_winding(inset, x, y) > 0;
}

/* Places in one section where a hole of this radius has room. */
static size_t find_places(const po_mesh *whole, const po_plan *plan, const po_split *split, const po_loops *inset,
                          double radius, double depth, double wall, place *ret)
{
    double box[4];
    size_t n = 0;
    const double *f = split->cut.frame, *normal = split->cut.plane.n;
    if (!po_loops_bounds(inset, box)) {
        return 0;
    }
    for (int i = 0; i < GRID * GRID; i++) {
        double u = box[0] + (box[2] - box[0]) * (i % GRID + 0.5) / GRID;
        double v = box[1] + (box[3] - box[1]) * ((double)(i / GRID) + 0.5) / GRID;
        place at = {.uv = {u, v}};
        if (!well_inside(inset, u, v)) {
            continue;
        }
        double p[3], q[3];
        for (int k = 0; k < 3; k++) {
            at.at[k] = f[9 + k] + u * f[k] + v * f[3 + k];
            p[k] = at.at[k] - (depth + wall) * normal[k];
            q[k] = at.at[k] + (depth + wall) * normal[k];
        }
        at.below = owner(plan, split, 0, at.at, normal, depth + wall, radius + wall);
        at.above = owner(plan, split, 1, at.at, normal, depth + wall, radius + wall);
        if (at.below && at.above && !earlier_near(split, p, q, radius + wall)) {
            ret[n++] = at;
        }
    }
    /* the surface is asked last: it costs most */
    size_t kept = 0;
    for (size_t i = 0; i < n; i++) {
        double p[3], q[3];
        for (int k = 0; k < 3; k++) {
            p[k] = ret[i].at[k] - depth * normal[k];
            q[k] = ret[i].at[k] + depth * normal[k];
        }
        if (!touches(whole, p, q, radius + wall)) {
            ret[kept++] = ret[i];
        }
    }
    return kept;
}

/* Two of each pair of pieces, as far apart as they go. */
static void choose(const place *places, size_t n, double radius, double depth, double wall, po_pin_plan *ret)
{
    const place *done[PAIRS_MOST];
    size_t n_done = 0;
    for (size_t i = 0; i < n && n_done < PAIRS_MOST; i++) {
        bool again = false;
        for (size_t k = 0; k < n_done; k++) {
            again = again || (done[k]->below == places[i].below && done[k]->above == places[i].above);
        }
        if (again) {
            continue;
        }
        done[n_done++] = &places[i];
        size_t a = i, b = i;
        double most = 0;
        for (size_t j = i; j < n; j++) {
            for (size_t k = j + 1; k < n; k++) {
                bool pair = places[j].below == places[i].below && places[j].above == places[i].above &&
                            places[k].below == places[i].below && places[k].above == places[i].above;
                double away = pair ? hypot(places[j].uv[0] - places[k].uv[0], places[j].uv[1] - places[k].uv[1]) : 0;
                if (away > most) {
                    most = away;
                    a = j;
                    b = k;
                }
            }
        }
        const place *two[2] = {&places[a], &places[b]};
        bool both = most >= 4 * radius + wall; /* else one pin: two would weaken the joint */
        if (!both) {                           /* the middle one */
            size_t count = 0, seen = 0;
            for (size_t j = i; j < n; j++) {
                count += places[j].below == places[i].below && places[j].above == places[i].above;
            }
            for (size_t j = i; j < n; j++) {
                if (places[j].below == places[i].below && places[j].above == places[i].above && seen++ == count / 2) {
                    two[0] = &places[j];
                }
            }
        }
        for (int k = 0; k <= both && ret->n < sizeof ret->holes / sizeof ret->holes[0]; k++) {
            ret->joins[ret->n][0] = two[k]->below;
            ret->joins[ret->n][1] = two[k]->above;
            ret->holes[ret->n++] = (po_pin_hole){{two[k]->uv[0], two[k]->uv[1]}, radius, {depth, depth}};
        }
    }
}

po_status po_pins_plan(const po_mesh *whole, const po_planning *p, const po_plan *plan, po_pin_plan *ret, po_err *err)
{
    double slack = isnan(p->setup->pin_slack_mm) ? 0.3 : p->setup->pin_slack_mm;
    double least_wall = fmax(LEAST_WALL, p->setup->pose.bead_mm);
    place *places = calloc(PLACES_MOST, sizeof *places);
    po_status status = places ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    for (size_t i = 0; status == PO_OK && i < plan->n_splits; i++) {
        const po_split *split = plan->splits[i];
        ret[i] = (po_pin_plan){0};
        double wanted = p->setup->pin_mm;
        if (isnan(wanted)) { /* a third of the joint's thickness, within what prints and holds */
            wanted = fmin(MOST_PIN, fmax(LEAST_PIN, floor(split->cut.least_mm / 3)));
        }
        double smallest = isnan(p->setup->pin_mm) ? LEAST_PIN : wanted;
        double by_neck = wanted;
        wanted = isnan(p->setup->pin_mm) ? fmax(wanted, STANDS_PIN) : wanted;
        /* a wall as thick as the pin where there is room for it, else the least that holds */
        for (double size = wanted; status == PO_OK && size >= smallest && !ret[i].n;
             size = size > by_neck ? by_neck : size - 1) {
            for (int thin = 0; status == PO_OK && thin < 2 && !ret[i].n; thin++) {
                double radius = (size + slack) / 2, depth = DEPTHS * size, wall = thin ? least_wall : size;
                wall = size > by_neck && thin ? fmax(wall, size / 2) : wall; /* half of the joint is left */
                po_arena *own = po_arena_new(0);
                po_loops inset;
                status = own ? po_loops_offset(&split->cut.section, -(radius + wall), 0.02, own, &inset, err)
                             : po_fail(err, PO_E_NOMEM, "memory ran out");
                if (status == PO_OK) {
                    size_t n = find_places(whole, plan, split, &inset, radius, depth, wall, places);
                    choose(places, n, radius, depth, wall, &ret[i]);
                    ret[i].pin_mm = size;
                    ret[i].length_mm = 2 * depth - SHORTER;
                }
                po_arena_free(own);
            }
        }
    }
    free(places);
    return status;
}

const po_mesh *po_pin_mesh(double diameter, double length, po_arena *arena)
{
    enum { N = PO_PIN_SIDES };
    double *xyz = po_arena_zeros(arena, 2 * N, 3 * sizeof *xyz);
    uint32_t *corners = po_arena_zeros(arena, 4 * N - 4, 3 * sizeof *corners);
    po_mesh *mesh = po_arena_zeros(arena, 1, sizeof *mesh);
    size_t n = 0;
    if (!xyz || !corners || !mesh) {
        return NULL;
    }
    for (uint32_t i = 0; i < 2 * N; i++) {
        double turn = 6.28318530717958647692 * (i % N) / N;
        xyz[3 * i] = diameter / 2 * cos(turn);
        xyz[3 * i + 1] = diameter / 2 * sin(turn);
        xyz[3 * i + 2] = i < N ? 0 : length;
    }
    for (uint32_t i = 0; i < N; i++) {
        uint32_t k = (i + 1) % N, sides[4][3] = {{i, k, k + N}, {i, k + N, i + N}, {0, k, i}, {N, i + N, k + N}};
        for (int t = 0; t < (i && k ? 4 : 2); t++) {
            memcpy(corners + 3 * n++, sides[t], sizeof sides[t]);
        }
    }
    *mesh = (po_mesh){xyz, 2 * N, corners, n};
    return mesh;
}
