/* Which overhangs carry themselves: bridges, narrow arches, ledges. SPDX-License-Identifier: Apache-2.0
 *
 * Cells of the raster whose ceiling is an overhang are joined to regions (neighbours whose heights are near). A region is
 * crossed by lines in 16 directions and along and across its own narrowest hull edge; a chord is held where just behind
 * its end there is material just below it. Then
 * - a region most of whose chords in one direction are held at both ends is a bridge (level) or an arch (curved, such as
 *   the top of a hole that lies level); its span is its longest such chord, in the direction where that is shortest. It
 *   carries itself where a bridge's span is within the shop's limit, and an arch's within half of it;
 * - other regions are judged cell by cell: by the shortest chord through it that is held at both ends, or as a ledge
 *   within LEDGE_MM of where it is held, if all of the region is.
 * Of large regions only the rims are looked at for where chords begin and end; the answers are the same.
 * Lines are digital ones, one cell in each column or row (Bresenham, IBM Systems Journal 4, 1965). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/sets.h"
#include "geometry/hull.h"
#include "part/pose.h"

/* A free length of 0.5 to 1.5 mm printed well: Mazlan, Kadir, Yusof, Wahab, "Overhang analysis fabricated using FDM
 * technique", J. Adv. Ind. Technol. Appl. 2020: 38-47 (handbook 5). */
static const double LEDGE_MM = 1;
static const double MOST_HELD =
    0.85;                       /* share of the cells; what is missing are steps of the raster at a slanted edge */
static const double ARCH = 0.5; /* common practice, no published source: holes of 8 mm print, of 15 sag */
enum { DIRECTIONS = 16, MOST_OWN = 2, LARGE_REGION = 256, MOST_BELOW = 512 };

typedef struct lines {
    const po_columns *columns;
    po_hang *hangs;
    double below; /* how far below a chord its end has to be held */
    float *best;  /* of each cell: shortest chord held at both ends */
    uint8_t *ledge;
    uint32_t *by_i, *by_j, *sorted, *count;
} lines;

/* Counted from the bottom, where a way out of nothing counts nothing, a place is inside exactly where some run of
 * crossings that ends at it has more ways in than out (D. Lindley, Proc. Cambridge Phil. Soc. 48, 1952: the maximum of the
 * sums; from memory). So it is looked for downwards, and mostly ends at once. Beyond MOST_BELOW crossings, as in combs of
 * thousands of teeth, it is not known and taken as outside: what is held there is then not relied upon. */
static bool solid_at(const po_columns *c, int64_t i, int64_t j, float z)
{
    if (i < 0 || j < 0 || i >= (int64_t)c->nx || j >= (int64_t)c->ny) {
        return false;
    }
    uint32_t n, low = 0;
    const po_crossing *x = po_columns_at(c, (uint32_t)i, (uint32_t)j, &n);
    while (low < n) { /* how many lie at or below z */
        uint32_t middle = low + (n - low) / 2;
        if (po_crossing_z(x[middle]) <= z) {
            low = middle + 1;
        } else {
            n = middle;
        }
    }
    int inside = 0;
    for (uint32_t k = 0; k < MOST_BELOW && k < low; k++) {
        inside += po_crossing_leaves(x[low - 1 - k]) ? -1 : 1;
        if (inside > 0) {
            return true;
        }
    }
    return false;
}

/* One step of a digital line beyond a cell, and two: a thin wall may fall between columns. */
static bool held(const lines *l, const po_hang *h, bool x_major, double slope, int sign)
{
    float z = h->z - (float)l->below;
    for (int step = 1; step <= 2; step++) {
        int64_t along = sign * step, aside = (int64_t)floor(slope * (double)along + 0.5);
        int64_t i = (int64_t)h->i + (x_major ? along : aside), j = (int64_t)h->j + (x_major ? aside : along);
        if (solid_at(l->columns, i, j, z)) {
            return true;
        }
    }
    return false;
}

typedef struct chord_sum {
    uint64_t held_cells;
    double longest;
} chord_sum;

/* Chords of n cells (numbers in `order`, rising along the major axis) in one direction. */
static chord_sum cross(lines *l, const uint32_t *order, size_t n, bool x_major, double slope, uint32_t base,
                       uint32_t room)
{
    chord_sum sum = {0};
    memset(l->count, 0, ((size_t)room + 1) * sizeof *l->count);
    int64_t low = INT64_MAX;
    for (size_t k = 0; k < n; k++) { /* the line's number: where it crosses the other axis */
        const po_hang *h = &l->hangs[order[k]];
        int64_t a = x_major ? h->i : h->j, b = x_major ? h->j : h->i,
                c = b - (int64_t)floor(slope * (double)(a - base) + 0.5);
        low = c < low ? c : low;
    }
    for (int pass = 0; pass < 2; pass++) {
        for (size_t k = 0; k < n; k++) {
            const po_hang *h = &l->hangs[order[k]];
            int64_t a = x_major ? h->i : h->j, b = x_major ? h->j : h->i;
            size_t c = (size_t)(b - (int64_t)floor(slope * (double)(a - base) + 0.5) - low);
            if (pass) {
                l->sorted[l->count[c]++] = order[k];
            } else {
                l->count[c + 1]++;
            }
        }
        for (size_t c = 0; !pass && c < room; c++) {
            l->count[c + 1] += l->count[c];
        }
    }
    const double *side = l->columns->cell;
    double step = hypot(side[!x_major], slope * side[x_major]); /* a line's way from cell to cell */
    for (size_t k = 0; k < n;) {
        size_t end = k;
        const po_hang *first = &l->hangs[l->sorted[k]], *last = first;
        uint32_t from = x_major ? first->i : first->j, to = from;
        int64_t line = (int64_t)(x_major ? first->j : first->i) - (int64_t)floor(slope * ((double)from - base) + 0.5);
        for (; end < n; end++) {
            const po_hang *h = &l->hangs[l->sorted[end]];
            uint32_t a = x_major ? h->i : h->j, b = x_major ? h->j : h->i;
            if (a < to || a > to + 1 || (int64_t)b - (int64_t)floor(slope * ((double)a - base) + 0.5) != line) {
                break;
            }
            to = a;
            last = h;
        }
        bool before = held(l, first, x_major, slope, -1), behind = held(l, last, x_major, slope, 1);
        double length = (double)(to - from + 1) * step;
        if (before && behind) {
            sum.held_cells += end - k;
            sum.longest = fmax(sum.longest, length);
        }
        for (size_t m = k; m < end && (before || behind); m++) {
            uint32_t cell = l->sorted[m];
            const po_hang *h = &l->hangs[cell];
            uint32_t a = x_major ? h->i : h->j;
            double in = ((double)(a - from) + 0.5) * step;
            if (before && behind) {
                l->best[cell] = fminf(l->best[cell], (float)length);
            }
            l->ledge[cell] |= (before && in <= LEDGE_MM) || (behind && length - in <= LEDGE_MM);
        }
        k = end;
    }
    return sum;
}

/* Directions along and across the narrowest side of the region's hull. Returns how many. */
static int own_directions(const lines *l, const uint32_t *order, size_t n, double ret[MOST_OWN][2])
{
    po_xy *points = malloc(n * sizeof *points), *hull = malloc((n + 1) * sizeof *hull);
    int found = 0;
    size_t m = 0;
    if (points && hull) {
        for (size_t k = 0; k < n; k++) {
            points[k] = (po_xy){l->hangs[order[k]].i, l->hangs[order[k]].j};
        }
        m = po_hull(points, n, hull);
    }
    double least = INFINITY;
    for (size_t k = 0; m >= 3 && k < m && m <= 2000; k++) {
        po_xy a = hull[k], b = hull[(k + 1) % m];
        double x = b.x - a.x, y = b.y - a.y, length = hypot(x, y), width = 0;
        for (size_t q = 0; q < m; q++) {
            width = fmax(width, (x * (hull[q].y - a.y) - y * (hull[q].x - a.x)) / length);
        }
        if (width < least) {
            least = width;
            ret[0][0] = x, ret[0][1] = y;
            ret[1][0] = -y, ret[1][1] = x;
            found = 2;
        }
    }
    free(points);
    free(hull);
    return found;
}

/* ---- the same for large regions: chords from their rims ---- */

/* A region as seen from above, and its rim: only there chords begin and end. */
typedef struct rims {
    uint32_t low[2], size[2]; /* of the region: in i and j */
    size_t stride;
    uint32_t *cell; /* 1 + number of the hang, 0 = none; one free line all around */
    uint32_t *rim;
    size_t n_rim;
    int64_t *aside; /* of each step along the major axis: how far the line through 0 lies aside */
} rims;

static size_t rims_at(const rims *r, int64_t i, int64_t j)
{
    return (size_t)(j + 1) * r->stride + (size_t)(i + 1);
}

static void rims_done(rims *r)
{
    free(r->cell);
    free(r->rim);
    free(r->aside);
}

/* False, and nothing to be given back: the region winds about or lies above itself, or there is no memory. */
static bool rims_make(const lines *l, const uint32_t *order, size_t n, rims *r)
{
    r->stride = (size_t)r->size[0] + 2;
    size_t room = r->stride * ((size_t)r->size[1] + 2);
    size_t longer = r->size[0] > r->size[1] ? r->size[0] : r->size[1];
    bool fine = room / 8 <= n;
    r->cell = fine ? calloc(room, sizeof *r->cell) : NULL;
    r->rim = fine ? malloc(n * sizeof *r->rim) : NULL;
    r->aside = fine ? malloc(longer * sizeof *r->aside) : NULL;
    fine = r->cell && r->rim && r->aside;
    for (size_t k = 0; fine && k < n; k++) {
        const po_hang *h = &l->hangs[order[k]];
        uint32_t *cell = &r->cell[rims_at(r, h->i - r->low[0], h->j - r->low[1])];
        fine = !*cell;
        *cell = order[k] + 1;
    }
    for (size_t k = 0; fine && k < n; k++) {
        const po_hang *h = &l->hangs[order[k]];
        const uint32_t *cell = &r->cell[rims_at(r, h->i - r->low[0], h->j - r->low[1])];
        const uint32_t *before = cell - r->stride, *behind = cell + r->stride;
        if (!(before[-1] && before[0] && before[1] && cell[-1] && cell[1] && behind[-1] && behind[0] && behind[1])) {
            r->rim[r->n_rim++] = order[k];
        }
    }
    if (!fine) {
        rims_done(r);
    }
    return fine;
}

/* The cell of the line of number c at step a along the major axis; 0: not of the region. */
static uint32_t rims_on(const rims *r, bool x_major, int64_t c, int64_t a)
{
    if (a < 0 || a >= (int64_t)r->size[!x_major]) {
        return 0;
    }
    int64_t b = c + r->aside[a];
    if (b < 0 || b >= (int64_t)r->size[x_major]) {
        return 0;
    }
    return r->cell[x_major ? rims_at(r, a, b) : rims_at(r, b, a)];
}

/* What cross() does. Only chords whose beginning is held are followed. */
static chord_sum cross_rims(lines *l, rims *r, bool x_major, double slope)
{
    chord_sum sum = {0};
    const double *side = l->columns->cell;
    double step = hypot(side[!x_major], slope * side[x_major]);
    for (uint32_t a = 0; a < r->size[!x_major]; a++) {
        r->aside[a] = (int64_t)floor(slope * (double)a + 0.5);
    }
    for (size_t k = 0; k < r->n_rim; k++) {
        const po_hang *h = &l->hangs[r->rim[k]];
        int64_t a = x_major ? h->i - r->low[0] : h->j - r->low[1], b = x_major ? h->j - r->low[1] : h->i - r->low[0];
        int64_t c = b - r->aside[a], to = a;
        if (!rims_on(r, x_major, c, a + 1) && held(l, h, x_major, slope, 1)) {
            for (uint32_t cell = r->rim[k] + 1; cell && ((double)(a - to) + 0.5) * step <= LEDGE_MM;) {
                l->ledge[cell - 1] = 1;
                cell = rims_on(r, x_major, c, --to);
            }
        }
        if (rims_on(r, x_major, c, a - 1) || !held(l, h, x_major, slope, -1)) {
            continue;
        }
        uint32_t last = r->rim[k] + 1;
        to = a;
        for (uint32_t cell = last; cell; cell = rims_on(r, x_major, c, ++to)) {
            last = cell;
            if (((double)(to - a) + 0.5) * step <= LEDGE_MM) {
                l->ledge[cell - 1] = 1;
            }
        }
        if (!held(l, &l->hangs[last - 1], x_major, slope, 1)) {
            continue;
        }
        double length = (double)(to - a) * step;
        sum.held_cells += (uint64_t)(to - a);
        sum.longest = fmax(sum.longest, length);
        for (int64_t m = a; m < to; m++) {
            float *best = &l->best[rims_on(r, x_major, c, m) - 1];
            *best = fminf(*best, (float)length);
        }
    }
    return sum;
}

/* ---- regions ---- */

/* order: sorted by j, then i; low_i, width: the cells' bounds. */
static void sort_both_ways(lines *l, const uint32_t *order, size_t n, uint32_t low_i, uint32_t width)
{
    memcpy(l->by_j, order, n * sizeof *order);
    memset(l->count, 0, ((size_t)width + 1) * sizeof *l->count);
    for (size_t k = 0; k < n; k++) {
        l->count[l->hangs[order[k]].i - low_i + 1]++;
    }
    for (uint32_t i = 0; i < width; i++) {
        l->count[i + 1] += l->count[i];
    }
    for (size_t k = 0; k < n; k++) {
        l->by_i[l->count[l->hangs[order[k]].i - low_i]++] = order[k];
    }
}

/* order: cells of one region sorted by j, then i. */
static void judge_region(lines *l, const uint32_t *order, size_t n, const po_pose_setup *setup, double *longest)
{
    uint32_t low_i = UINT32_MAX, high_i = 0, low_j = UINT32_MAX, high_j = 0;
    size_t level = 0;
    for (size_t k = 0; k < n; k++) {
        const po_hang *h = &l->hangs[order[k]];
        low_i = h->i < low_i ? h->i : low_i;
        high_i = h->i > high_i ? h->i : high_i;
        low_j = h->j < low_j ? h->j : low_j;
        high_j = h->j > high_j ? h->j : high_j;
        level += h->level;
    }
    uint32_t width = high_i - low_i + 1, depth = high_j - low_j + 1;
    rims rim = {.low = {low_i, low_j}, .size = {width, depth}};
    bool by_rims = n >= LARGE_REGION && !l->columns->plain && rims_make(l, order, n, &rim);
    if (!by_rims) {
        sort_both_ways(l, order, n, low_i, width);
    }
    double span = INFINITY, own[MOST_OWN][2];
    int more = by_rims ? own_directions(l, rim.rim, rim.n_rim, own) : n >= 8 ? own_directions(l, order, n, own) : 0;
    for (int d = 0; d < DIRECTIONS + more; d++) {
        double angle = d < DIRECTIONS ? 3.14159265358979324 * d / DIRECTIONS
                                      : atan2(own[d - DIRECTIONS][1], own[d - DIRECTIONS][0]);
        double x = cos(angle), y = sin(angle);
        bool x_major = fabs(x) >= fabs(y);
        double slope = x_major ? y / x : x / y;
        slope = fabs(slope) < 1e-12 ? 0 : slope;
        chord_sum sum = by_rims ? cross_rims(l, &rim, x_major, slope)
                                : cross(l, x_major ? l->by_i : l->by_j, n, x_major, slope, x_major ? low_i : low_j,
                                        width + depth + 2);
        if ((double)sum.held_cells >= MOST_HELD * (double)n) {
            span = fmin(span, sum.longest);
        }
    }
    if (by_rims) {
        rims_done(&rim);
    }
    bool is_level = 2 * level > n;
    double limit = setup->bridge_limit_mm * (is_level ? 1 : ARCH), far = 0;
    limit += 1e-6 * limit; /* chords are floats */
    size_t hang = 0;
    for (size_t k = 0; k < n; k++) {
        po_hang *h = &l->hangs[order[k]];
        double best = isfinite(span) ? span : (double)l->best[order[k]];
        h->open = !(best <= limit);
        far = isfinite(best) ? fmax(far, best) : far;
        hang += h->open && !l->ledge[order[k]];
    }
    for (size_t k = 0; k < n && !hang; k++) {
        l->hangs[order[k]].open = 0;
    }
    *longest = is_level ? fmax(*longest, far) : *longest;
}

/* Joins hang k with those of column (i, j) whose heights are near. *from: where that column's hangs may begin to be near; it
 * only ever rises, as hangs are sorted by j, i and z, so columns of very many hangs are gone through once. */
static void join_near(const po_hang *hangs, size_t n, size_t k, uint32_t i, uint32_t j, double near_mm, size_t *from,
                      uint32_t *parent)
{
    double z = (double)hangs[k].z;
    for (; *from < n; ++*from) {
        const po_hang *h = &hangs[*from];
        bool before = h->j != j ? h->j < j : h->i != i ? h->i < i : (double)h->z - z < -near_mm;
        if (!before) {
            break;
        }
    }
    for (size_t m = *from; m < n && hangs[m].j == j && hangs[m].i == i && (double)hangs[m].z - z <= near_mm; m++) {
        po_set_join(parent, (uint32_t)k, (uint32_t)m);
    }
}

/* Cells of neighbouring columns are one region where their heights are near. */
static void join_all(const po_hang *hangs, size_t n, double near_mm, uint32_t *parent)
{
    size_t beside = 0, above = 0;
    for (size_t k = 0; k < n; k++) {
        join_near(hangs, n, k, hangs[k].i + 1, hangs[k].j, near_mm, &beside, parent);
        join_near(hangs, n, k, hangs[k].i, hangs[k].j + 1, near_mm, &above, parent);
    }
}

po_status po_spans_find(const po_columns *columns, po_hang *hangs, size_t n, const po_pose_setup *setup,
                        double *ret_longest_mm, po_err *err)
{
    /* From one column to the next a surface at the limit falls by that much; what is flatter falls less. */
    double cell = fmax(columns->cell[0], columns->cell[1]);
    double fall = cell / tan(setup->overhang_limit_deg / 57.295779513082321);
    size_t room = n > (size_t)columns->nx + columns->ny + 8 ? n : (size_t)columns->nx + columns->ny + 8;
    *ret_longest_mm = 0;
    if (n == 0) {
        return PO_OK;
    }
    uint32_t *parent = malloc(n * sizeof *parent), *order = malloc(n * sizeof *order);
    uint32_t *first = calloc(n + 1, sizeof *first);
    lines l = {.columns = columns, .hangs = hangs};
    l.below = fmin(fmin(cell, fall) / 2, setup->layer_mm > 0 ? setup->layer_mm : 0.2);
    l.best = malloc(n * sizeof *l.best);
    l.ledge = calloc(n, 1);
    l.by_i = malloc(n * sizeof *l.by_i);
    l.by_j = malloc(n * sizeof *l.by_j);
    l.sorted = malloc(n * sizeof *l.sorted);
    l.count = malloc(room * sizeof *l.count);
    bool fine = parent && order && first && l.best && l.ledge && l.by_i && l.by_j && l.sorted && l.count;
    if (fine) {
        for (size_t k = 0; k < n; k++) {
            parent[k] = (uint32_t)k;
            l.best[k] = INFINITY;
        }
        join_all(hangs, n, 1.5 * fmax(fall, cell), parent);
        for (size_t k = 0; k < n; k++) {
            first[po_set_root(parent, (uint32_t)k) + 1]++;
        }
        for (size_t k = 0; k < n; k++) {
            first[k + 1] += first[k];
        }
        for (size_t k = 0; k < n; k++) { /* stable: by j, then i, within each region */
            order[first[parent[k] = po_set_root(parent, (uint32_t)k)]++] = (uint32_t)k;
        }
        for (size_t k = 0, begin = 0; k < n; k++) { /* first[k] is now the end of region k */
            if (first[k] > begin) {
                judge_region(&l, order + begin, first[k] - begin, setup, ret_longest_mm);
                begin = first[k];
            }
        }
    }
    free(parent);
    free(order);
    free(first);
    free(l.best);
    free(l.ledge);
    free(l.by_i);
    free(l.by_j);
    free(l.sorted);
    free(l.count);
    return fine ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out while bridges were looked for");
}
