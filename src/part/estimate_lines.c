/* Paths, and straight lines that fill an area. SPDX-License-Identifier: Apache-2.0
 *
 * Lines are found by the even-odd rule on the edges of clean loops (J. Foley and others, "Computer Graphics: Principles
 * and Practice", 1990, section 3.6): each edge is met by the rows between its ends, half open, so that a corner on a
 * row counts once; crossings are sorted by row, then along it. */
#include "part/estimate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_IN_ROW = 256 }; /* lines of a row with more than this are not joined */
static const double MOST_CROSSINGS = 2e6;
static const double JOIN_SPACINGS = 2.5; /* a line goes on from an end that lies at most this many spacings away */

/* ---- paths ---- */

static bool room_for(po_arena *arena, void **at, size_t n, size_t *cap, size_t size)
{
    if (n < *cap) {
        return true;
    }
    size_t more = *cap ? 2 * *cap : 64;
    void *p = more > SIZE_MAX / size / 2 ? NULL : po_arena_resize(arena, *at, *cap * size, more * size);
    if (!p) {
        return false;
    }
    *at = p;
    *cap = more;
    return true;
}

void po_est_path_begin(po_est_paths *paths, po_est_kind kind, bool closed)
{
    void *at = paths->at;
    if (paths->failed || !room_for(paths->arena, &at, paths->n, &paths->cap, sizeof *paths->at)) {
        paths->failed = true;
        return;
    }
    paths->at = at;
    paths->at[paths->n++] = (po_est_path){
        .first = paths->n_points, .group = paths->group, .kind = kind, .closed = closed};
}

void po_est_path_point(po_est_paths *paths, double x, double y)
{
    void *at = paths->xy;
    if (paths->failed || !room_for(paths->arena, &at, paths->n_points, &paths->cap_points, 2 * sizeof(double))) {
        paths->failed = true;
        return;
    }
    paths->xy = at;
    paths->xy[2 * paths->n_points] = x;
    paths->xy[2 * paths->n_points++ + 1] = y;
    paths->at[paths->n - 1].n++;
}

double po_est_path_mm(const po_est_paths *paths, size_t i)
{
    const po_est_path *p = &paths->at[i];
    const double *xy = paths->xy + 2 * p->first;
    double mm = 0;
    for (size_t k = 1; k < p->n; k++) {
        mm += hypot(xy[2 * k] - xy[2 * k - 2], xy[2 * k + 1] - xy[2 * k - 1]);
    }
    if (p->closed && p->n > 1) {
        mm += hypot(xy[0] - xy[2 * p->n - 2], xy[1] - xy[2 * p->n - 1]);
    }
    return mm;
}

/* ---- rows ---- */

static const double HALF_ROOT = 0.70710678118654752440;

typedef struct rows {
    double spacing;
    long lowest;
    size_t n;
    size_t *first; /* n + 1 indices into meetings */
    double *u;
} rows;

/* Turned by -45 or -135 degrees: u along the lines, v across. */
static void turned(const double *p, bool across, double *u, double *v)
{
    *u = HALF_ROOT * (across ? p[1] - p[0] : p[0] + p[1]);
    *v = HALF_ROOT * (across ? -p[0] - p[1] : p[1] - p[0]);
}

static void turned_back(double u, double v, bool across, double *x, double *y)
{
    *x = HALF_ROOT * (across ? -u - v : u - v);
    *y = HALF_ROOT * (across ? u - v : u + v);
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Every meeting of a row and an edge, counted (u NULL) or written down. */
static void meet(const po_loops *area, bool across, const rows *r, size_t *count, double *u)
{
    for (size_t i = 0, start = 0; i < area->n_loops; start = area->ends[i++]) {
        for (size_t k = start; k < area->ends[i]; k++) {
            double u0, v0, u1, v1;
            turned(area->xy + 2 * k, across, &u0, &v0);
            turned(area->xy + 2 * (k + 1 < area->ends[i] ? k + 1 : start), across, &u1, &v1);
            double low = ceil(fmin(v0, v1) / r->spacing), high = ceil(fmax(v0, v1) / r->spacing);
            for (long row = (long)low; row < (long)high; row++) {
                size_t at = (size_t)(row - r->lowest);
                if (u) {
                    u[count[at]] = u0 + (u1 - u0) * (((double)row * r->spacing - v0) / (v1 - v0));
                }
                count[at]++;
            }
        }
    }
}

/* False where there are too many, or memory is gone (paths->failed then). */
static bool find_rows(const po_loops *area, bool across, double spacing, po_est_paths *paths, rows *ret)
{
    double v_low = INFINITY, v_high = -INFINITY, met = 0;
    for (size_t i = 0, start = 0; i < area->n_loops; start = area->ends[i++]) {
        for (size_t k = start; k < area->ends[i]; k++) {
            double u0, v0, u1, v1;
            turned(area->xy + 2 * k, across, &u0, &v0);
            turned(area->xy + 2 * (k + 1 < area->ends[i] ? k + 1 : start), across, &u1, &v1);
            v_low = fmin(v_low, v0);
            v_high = fmax(v_high, v0);
            met += fabs(v1 - v0) / spacing + 1;
        }
    }
    if (!(v_low <= v_high) || !(met < MOST_CROSSINGS)) {
        return false;
    }
    *ret = (rows){.spacing = spacing, .lowest = (long)ceil(v_low / spacing)};
    ret->n = (size_t)((long)ceil(v_high / spacing) - ret->lowest);
    ret->first = po_arena_zeros(paths->arena, ret->n + 2, sizeof *ret->first);
    if (!ret->first) {
        paths->failed = true;
        return false;
    }
    meet(area, across, ret, ret->first + 2, NULL); /* counts stand two places on, so that filling in leaves starts */
    for (size_t i = 2; i < ret->n + 2; i++) {
        ret->first[i] += ret->first[i - 1];
    }
    ret->u = po_arena_zeros(paths->arena, ret->first[ret->n + 1] + 1, sizeof *ret->u);
    if (!ret->u) {
        paths->failed = true;
        return false;
    }
    meet(area, across, ret, ret->first + 1, ret->u);
    for (size_t i = 0; i < ret->n; i++) {
        qsort(ret->u + ret->first[i], ret->first[i + 1] - ret->first[i], sizeof *ret->u, by_size);
    }
    return true;
}

/* ---- lines ---- */

typedef struct line {
    double from[2], to[2];
    size_t next; /* line that goes on from its end; SIZE_MAX = none */
    bool begun;  /* goes on from another */
} line;

/* Lines of a row are joined to the open ends of the row before: both lie in rising order along the row, so that an end
 * is looked for only where it can be. */
static double join_rows(line *lines, size_t before, size_t row, size_t end, double most)
{
    double mm = 0;
    for (size_t i = row; i < end; i++) {
        size_t best = SIZE_MAX;
        double least = most;
        for (size_t k = before; k < row; k++) {
            double d = hypot(lines[k].to[0] - lines[i].from[0], lines[k].to[1] - lines[i].from[1]);
            if (lines[k].next == SIZE_MAX && d < least) {
                least = d;
                best = k;
            }
        }
        if (best != SIZE_MAX) {
            lines[best].next = i;
            lines[i].begun = true;
            mm += least;
        }
    }
    return mm;
}

double po_est_lines(const po_loops *area, bool across, double spacing, bool join, double least_mm, po_est_kind kind,
                    po_est_paths *paths, bool *ret_done)
{
    rows r;
    *ret_done = true;
    if (area->n_points == 0) {
        return 0;
    }
    if (!find_rows(area, across, spacing, paths, &r)) {
        *ret_done = false;
        return 0;
    }
    line *lines = po_arena_zeros(paths->arena, r.first[r.n] / 2 + 1, sizeof *lines);
    if (!lines) {
        paths->failed = true;
        return 0;
    }
    double joins = 0;
    size_t n = 0, before = 0, row_start = 0;
    for (size_t i = 0; i < r.n; i++) {
        bool back = (r.lowest + (long)i) & 1;
        double v = (double)(r.lowest + (long)i) * spacing;
        before = row_start;
        row_start = n;
        for (size_t k = r.first[i]; k + 1 < r.first[i + 1]; k += 2) {
            double a = r.u[k], b = r.u[k + 1];
            if (b - a < least_mm) {
                continue;
            }
            line *l = &lines[n++];
            l->next = SIZE_MAX;
            turned_back(back ? b : a, v, across, &l->from[0], &l->from[1]);
            turned_back(back ? a : b, v, across, &l->to[0], &l->to[1]);
        }
        if (join && n > row_start && row_start - before < MOST_IN_ROW) {
            joins += join_rows(lines, before, row_start, n, JOIN_SPACINGS * spacing);
        }
    }
    for (size_t i = 0; i < n; i++) {
        if (lines[i].begun) {
            continue;
        }
        po_est_path_begin(paths, kind, false);
        for (size_t k = i; k != SIZE_MAX && !paths->failed; k = lines[k].next) {
            po_est_path_point(paths, lines[k].from[0], lines[k].from[1]);
            po_est_path_point(paths, lines[k].to[0], lines[k].to[1]);
        }
    }
    return joins;
}
