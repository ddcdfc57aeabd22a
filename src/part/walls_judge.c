/* How thick the material is at a point, and whether that is a wall. SPDX-License-Identifier: Apache-2.0
 *
 * The tree says which triangles a line meets; where exactly is worked out here in double precision, and bodies that
 * overlap or touch are taken as one by counting how deep in the line is (winding number: J. Alciatore, R. Miranda, "A
 * winding number and point-in-polygon algorithm", 1995, along a line in space).
 *
 * The plain distance to the far side is small near every sharp edge, and no printer minds an edge. What counts is a
 * *sheet*: the far side faces back, within FACES_BACK, and the two sides do not run out into an edge close by. That is
 * tried by walking between them towards where they come together, as their normals tell, each time half as far as it
 * would be to the edge of a wedge: in a wedge the thickness halves with each step, in a cusp (a curve that ends on a
 * face) it falls to 0.56, in a wall it hardly changes. Where it has gone to nothing, or ends bluntly below half a bead,
 * the place is an edge if the thickness grew to what it is within SLOPE of the way; else a sheet: a blade that thins
 * out over more than eight beads is missing over more than eight beads. Spikes are tried apart, by the point where three
 * of their sides meet. For gaps the same, in the air. The limits are common practice, no published source. */
#include "part/walls_inside.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_CROSSINGS = 64, MOST_CUTS = 40, MOST_STEPS = 24 };

static const double FACES_BACK = 0.9063077870366499; /* cosine of 25 degrees */
static const double SLOPE = 0.125;      /* thickness by length, from which on two sides are an edge: 7 deg */
static const double REACH = 8;          /* beads: no edge is longer than that; 1 / SLOPE */
static const double PARALLEL = 0.005;   /* tangent of half the angle, below which two sides do not meet */
static const double STILL_FACES = -0.5; /* cosine, on the way between two sides */
/* Of the thickness before: beyond, it does not thin out. On a fillet in facets, each next one may be a third as steep: 0.83
 * instead of a half. */
static const double STEADY = 0.88;

static const double LEAST_CORNER = 1e-4; /* triple product of three normals that meet in a point */

static double dot(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static void go(const double from[3], const double along[3], double way, double ret_to[3])
{
    for (int k = 0; k < 3; k++) {
        ret_to[k] = from[k] + way * along[k];
    }
}

void po_walls_normal(const po_walls *walls, uint32_t triangle, double ret_normal[3])
{
    double corners[3][3];
    po_triangle_corners(walls->mesh, triangle, corners);
    po_triangle_normal((const double(*)[3])corners, ret_normal);
    if (walls->turned && walls->turned[triangle]) {
        for (int k = 0; k < 3; k++) {
            ret_normal[k] = -ret_normal[k];
        }
    }
}

double po_walls_distance(const po_walls *walls, const double at[3], const double along[3], uint32_t triangle,
                         double ret_normal[3])
{
    po_walls_normal(walls, triangle, ret_normal);
    double corners[3][3], to[3];
    po_triangle_corners(walls->mesh, triangle, corners);
    go(corners[0], at, -1, to);
    return dot(to, ret_normal) / dot(along, ret_normal);
}

typedef struct crossing {
    double mm, normal[3];
    bool leaves; /* the material; else it enters it */
    uint32_t triangle;
} crossing;

static int by_distance(const void *a, const void *b)
{
    const crossing *p = a, *q = b;
    if (p->mm != q->mm) {
        return p->mm < q->mm ? -1 : 1;
    }
    if (p->leaves != q->leaves) {
        return p->leaves ? 1 : -1;
    }
    for (int k = 0; k < 3; k++) {
        if (p->normal[k] != q->normal[k]) {
            return p->normal[k] < q->normal[k] ? -1 : 1;
        }
    }
    return 0;
}

static bool share_corner(const po_mesh *mesh, uint32_t s, uint32_t t)
{
    const uint32_t *a = mesh->corners + 3 * (size_t)s, *b = mesh->corners + 3 * (size_t)t;
    for (int i = 0; i < 9; i++) {
        if (a[i / 3] == b[i % 3] ||
            memcmp(mesh->xyz + 3 * (size_t)a[i / 3], mesh->xyz + 3 * (size_t)b[i % 3], 3 * sizeof *mesh->xyz) == 0) {
            return true;
        }
    }
    return false;
}

/* All crossings along a line from `near` (exclusive) to far, by distance; those of one edge that two triangles share
 * once. At most MOST_CROSSINGS: where there are more (a comb of thousands of teeth, looked at along it), *ret_whole is
 * false and nothing is told; with ret_whole NULL the line is then cut short until what is left of it holds no more. Where
 * so many lie on one spot that no cut parts them, some of that spot. */
static int find_crossings(const po_walls *walls, const double at[3], const double along[3], double near, double far,
                          crossing *out, bool *ret_whole)
{
    uint32_t triangles[MOST_CROSSINGS];
    int n = 0, kept = 0;
    double slack = 0;
    for (int cuts = 0; cuts < MOST_CUTS; cuts++) {
        size_t found = po_rays_all(walls->rays, at, along, near, far, triangles, MOST_CROSSINGS);
        n = 0;
        for (size_t i = 0; i < found && i < MOST_CROSSINGS; i++) {
            crossing *c = out + n;
            c->mm = po_walls_distance(walls, at, along, triangles[i], c->normal);
            c->leaves = dot(along, c->normal) > 0;
            c->triangle = triangles[i];
            n += c->mm > near && c->mm <= far + slack; /* not where they run along: no number then, or far off */
        }
        qsort(out, (size_t)n, sizeof *out, by_distance);
        if (ret_whole) {
            *ret_whole = found <= MOST_CROSSINGS;
        }
        if (found <= MOST_CROSSINGS || ret_whole) {
            break;
        }
        slack = walls->slack;
        if (n == 0 || !(out[n / 2].mm + 2 * slack < far)) {
            break;
        }
        far = out[n / 2].mm; /* any half of them: the next cut may be needed too */
    }
    for (int i = 0; i < n; i++) {
        bool again = false;
        for (int k = kept - 1; k >= 0 && !again && out[i].mm - out[k].mm <= walls->slack; k--) {
            again = out[k].leaves == out[i].leaves && share_corner(walls->mesh, out[k].triangle, out[i].triangle);
        }
        if (!again) {
            out[kept++] = out[i];
        }
    }
    return kept;
}

/* From a point in the material to where it ends. */
static po_far_side walk_out(const po_walls *walls, const double at[3], const double along[3], double near, double far)
{
    crossing c[MOST_CROSSINGS];
    int n = find_crossings(walls, at, along, near, far, c, NULL), depth = 1;
    for (int i = 0; i < n; i++) {
        depth += c[i].leaves ? -1 : 1;
        if (depth <= 0 && !(i + 1 < n && !c[i + 1].leaves && c[i + 1].mm - c[i].mm <= walls->contact)) {
            po_far_side side = {.mm = c[i].mm};
            memcpy(side.normal, c[i].normal, sizeof side.normal);
            return side;
        }
    }
    return (po_far_side){.mm = INFINITY};
}

po_far_side po_walls_thickness(const po_walls *walls, const double at[3], const double normal[3], double far)
{
    double inwards[3] = {-normal[0], -normal[1], -normal[2]};
    return walk_out(walls, at, inwards, walls->slack, far);
}

static int depth_along(const crossing *c, int n)
{
    int depth = 0;
    for (int i = 0; i < n; i++) {
        depth += c[i].leaves ? 1 : -1;
    }
    return depth;
}

bool po_walls_outside(const po_walls *walls, const double at[3], const double normal[3], double far,
                      po_far_side *ret_air)
{
    crossing c[MOST_CROSSINGS];
    bool whole;
    int n = find_crossings(walls, at, normal, walls->contact, INFINITY, c, &whole);
    if (!whole) {
        n = find_crossings(walls, at, normal, walls->contact, far, c, NULL);
    }
    ret_air->mm = INFINITY;
    if (n > 0 && !c[0].leaves && c[0].mm <= far) {
        ret_air->mm = c[0].mm;
        memcpy(ret_air->normal, c[0].normal, sizeof c[0].normal);
    }
    if (!whole || depth_along(c, n) <= 0) { /* a surface that nothing is known against is one */
        return true;
    }
    /* A ray can slip past an edge, or through a hole of the mesh: ask another one as well. */
    int least = fabs(normal[0]) < fabs(normal[1]) ? 0 : 1;
    least = fabs(normal[2]) < fabs(normal[least]) ? 2 : least;
    double tilted[3] = {normal[0], normal[1], normal[2]}, from[3];
    tilted[least] += 0.37;
    double length = sqrt(dot(tilted, tilted));
    for (int k = 0; k < 3; k++) {
        tilted[k] /= length;
    }
    go(at, normal, walls->contact, from);
    n = find_crossings(walls, from, tilted, 0, INFINITY, c, &whole);
    return !whole || depth_along(c, n) <= 0;
}

/* Between two sides: the middle, and how they stand to each other. */
typedef struct between {
    double middle[3], across[3]; /* unit, towards the first side */
    double thinner[3];           /* unit, towards where they come together */
    double mm, tangent;          /* thickness across; of half the angle between the sides */
    double first[3], second[3];  /* normals out of what lies between */
} between;

/* first, second: normals that point out of what lies between. */
static void compare(const double first[3], const double second[3], between *b)
{
    double sum[3], difference[3];
    for (int k = 0; k < 3; k++) {
        sum[k] = first[k] + second[k];
        difference[k] = first[k] - second[k];
    }
    double s = sqrt(dot(sum, sum)), d = sqrt(dot(difference, difference));
    b->tangent = s / d;
    memcpy(b->first, first, sizeof b->first);
    memcpy(b->second, second, sizeof b->second);
    for (int k = 0; k < 3; k++) {
        b->across[k] = difference[k] / d;
        b->thinner[k] = s > 0 ? sum[k] / s : 0;
    }
}

/* Move by way towards the thin end and look to both sides; false where that is not between two sides any more. */
static bool shift(const po_walls *walls, const between *b, double way, double most, bool air, between *ret_b)
{
    double from[3], back[3] = {-b->across[0], -b->across[1], -b->across[2]};
    go(b->middle, b->thinner, way, from);
    po_far_side side[2];
    for (int i = 0; i < 2; i++) {
        const double *along = i ? back : b->across;
        if (air) {
            crossing c[MOST_CROSSINGS];
            int n = find_crossings(walls, from, along, 0, most, c, NULL);
            if (n == 0 || c[0].leaves) {
                return false;
            }
            side[i].mm = c[0].mm;
            for (int k = 0; k < 3; k++) {
                side[i].normal[k] = -c[0].normal[k];
            }
        } else { /* from the air it enters first, and the count never comes to nothing */
            side[i] = walk_out(walls, from, along, 0, most);
            if (!isfinite(side[i].mm)) {
                return false;
            }
        }
    }
    if (dot(side[0].normal, side[1].normal) > STILL_FACES) {
        return false;
    }
    *ret_b = *b;
    ret_b->mm = side[0].mm + side[1].mm;
    compare(side[0].normal, side[1].normal, ret_b);
    go(from, b->across, (side[0].mm - side[1].mm) / 2, ret_b->middle);
    return true;
}

/* Away from the thin end it has to grow thicker, else it is a pin or a bump. */
static bool thickens(const po_walls *walls, const between *b, double way, bool air)
{
    between wider;
    double most = REACH * walls->bead + 4 * b->mm;
    for (int i = 0; i < 3; i++, way /= 2) {
        if (shift(walls, b, -way, most, air, &wider)) {
            return wider.mm > 1.02 * b->mm;
        }
    }
    return false;
}

/* Walk from between the sides to where their normals say that they come together. */
static bool runs_out(const po_walls *walls, const between *start, bool air)
{
    const double reach = REACH * fmax(walls->bead, start->mm), sharp = fmin(0.1 * walls->bead, 0.3 * start->mm);
    double way = 0;
    bool to_nothing = false;
    between here = *start;
    for (int i = 0; i < MOST_STEPS && !to_nothing; i++) {
        if (here.tangent < PARALLEL) {
            return false;
        }
        double step = here.mm / here.tangent / 4; /* half of what is left of a wedge */
        if (way + step > reach) {
            return false;
        }
        between next;
        bool there = false;
        for (int halved = 0; halved < 4 && !there; halved++) {
            there = shift(walls, &here, step, 2 * start->mm + walls->bead, air, &next);
            step /= there ? 1 : 2;
        }
        if (!there) { /* it ends here, bluntly */
            break;
        }
        if (next.mm > here.mm * (1 - (1 - STEADY) * fmin(1, step * 4 * here.tangent / here.mm))) {
            return false;
        }
        way += step;
        here = next;
        to_nothing = here.mm <= sharp;
    }
    if (!to_nothing && here.mm > walls->bead / 2) {
        return false;
    }
    if (to_nothing) {
        way += here.tangent > PARALLEL ? fmin(here.mm / here.tangent / 2, reach) : 0;
    }
    double end = to_nothing ? 0 : here.mm, slope = way > 0 ? (start->mm - end) / way : 2 * start->tangent;
    bool steep = slope >= SLOPE;
    /* A cusp is flat near its tip; what counts is that it has grown to a bead within reach. */
    for (double far = 2; !steep && to_nothing && start->mm < walls->bead && far <= REACH; far *= 2) {
        between wider;
        steep = far * walls->bead > way &&
                (!shift(walls, start, way - far * walls->bead, 4 * walls->bead, air, &wider) ||
                 wider.mm >= walls->bead);
    }
    return steep && thickens(walls, start, fmin(start->mm / start->tangent / 4, reach), air);
}

static void cross(const double a[3], const double b[3], double ret[3])
{
    for (int k = 0; k < 3; k++) {
        ret[k] = a[(k + 1) % 3] * b[(k + 2) % 3] - a[(k + 2) % 3] * b[(k + 1) % 3];
    }
}

/* On a spike, a few steps towards where two sides come together end at a third one. Three of its sides meet in its tip:
 * look whether the thickness falls to a half and a quarter on the straight way there. */
static bool runs_out_to_a_tip(const po_walls *walls, const between *start, bool air)
{
    const double *first = start->first, *second = start->second, most = 4 * start->mm;
    double sideways[2][3], both[3];
    memcpy(sideways[0], start->thinner, sizeof sideways[0]);
    cross(start->across, start->thinner, sideways[1]);
    cross(first, second, both);
    for (int i = 0; i < 4; i++) {
        double along[3], tip[3];
        for (int k = 0; k < 3; k++) {
            along[k] = i < 2 ? sideways[i][k] : -sideways[i - 2][k];
        }
        crossing c[MOST_CROSSINGS];
        if (find_crossings(walls, start->middle, along, 0, most, c, NULL) == 0 || c[0].leaves == air) {
            continue;
        }
        /* From the middle, the planes of first and second are half the thickness away, across; that of the third one
         * as far along as it was met. Cramer's rule. */
        double third[3], with_second[3], with_first[3], det;
        for (int k = 0; k < 3; k++) {
            third[k] = air ? -c[0].normal[k] : c[0].normal[k];
        }
        det = dot(third, both);
        if (fabs(det) < LEAST_CORNER) { /* as good as parallel, or one of the two again */
            continue;
        }
        cross(second, third, with_second);
        cross(third, first, with_first);
        double d1 = start->mm / 2 * dot(start->across, first), d2 = -start->mm / 2 * dot(start->across, second),
               d3 = c[0].mm * dot(along, third);
        for (int k = 0; k < 3; k++) {
            tip[k] = (d1 * with_second[k] + d2 * with_first[k] + d3 * both[k]) / det;
        }
        double way = sqrt(dot(tip, tip));
        if (!(way > 0 && way <= start->mm / SLOPE)) {
            continue;
        }
        between look = *start, there;
        for (int k = 0; k < 3; k++) {
            look.thinner[k] = tip[k] / way;
        }
        if (shift(walls, &look, way * 0.5, most, air, &there) && there.mm < 0.65 * start->mm &&
            shift(walls, &look, way * 0.75, most, air, &there) && there.mm < 0.4 * start->mm &&
            shift(walls, &look, way * -0.5, most, air, &there) && there.mm > 1.3 * start->mm) {
            return true;
        }
    }
    return false;
}

bool po_walls_is_sheet(const po_walls *walls, const double at[3], const double normal[3], const po_far_side *side,
                       bool air)
{
    if (dot(normal, side->normal) > -FACES_BACK) {
        return false;
    }
    double first[3], second[3];
    for (int k = 0; k < 3; k++) {
        first[k] = air ? -normal[k] : normal[k];
        second[k] = air ? -side->normal[k] : side->normal[k];
    }
    between start = {.mm = side->mm};
    go(at, first, -side->mm / 2, start.middle);
    compare(first, second, &start);
    /* Across, the sides are t/2 / c and t/2 cos(angle) / c away, c the cosine of half the angle: t c in all. */
    double c = dot(first, start.across);
    go(start.middle, start.across, side->mm / 2 * (1 - c * c) / c, start.middle);
    start.mm = side->mm * c;
    return start.tangent < PARALLEL || !(runs_out(walls, &start, air) || runs_out_to_a_tip(walls, &start, air));
}
