/* One layer of a solid: see section.h. SPDX-License-Identifier: Apache-2.0 */
#include "section.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "shapes.h"

enum { MOST_RUNS = 128 }; /* pieces of one fill line; more are left out */

void *demo_alloc(size_t n, size_t size)
{
    void *p = calloc(n ? n : 1, size);
    if (!p) {
        fprintf(stderr, "out of memory\n");
        exit(5);
    }
    return p;
}

void *demo_more(void *p, size_t n, size_t size)
{
    p = size && n > SIZE_MAX / size ? NULL : realloc(p, n * size);
    if (!p) {
        fprintf(stderr, "out of memory\n");
        exit(5);
    }
    return p;
}

void section_make(section *s, solid_fn solid, const void *self, double z, double x0, double y0, double x1, double y1,
                  double step)
{
    /* The grid stands off round numbers, so that straight edges never run exactly along its lines. */
    *s = (section){.x0 = x0 - 0.0137, .y0 = y0 - 0.0173, .step = step, .z = z};
    s->nx = (int)ceil((x1 - s->x0) / step) + 2;
    s->ny = (int)ceil((y1 - s->y0) / step) + 2;
    s->depth = demo_alloc((size_t)s->nx * (size_t)s->ny, sizeof *s->depth);
    for (int j = 0; j < s->ny; j++) {
        for (int i = 0; i < s->nx; i++) {
            s->depth[(size_t)j * (size_t)s->nx + (size_t)i] = (float)solid(self, s->x0 + i * step, s->y0 + j * step, z);
        }
    }
}

void section_free(section *s)
{
    free(s->depth);
    s->depth = NULL;
}

double section_at(const section *s, double x, double y)
{
    double u = (x - s->x0) / s->step, v = (y - s->y0) / s->step;
    if (!(u >= 0 && v >= 0 && u < s->nx - 1 && v < s->ny - 1)) {
        return 1e3;
    }
    int i = (int)u, j = (int)v;
    const float *f = s->depth + (size_t)j * (size_t)s->nx + (size_t)i;
    u -= i;
    v -= j;
    return (1 - v) * ((1 - u) * f[0] + u * f[1]) + v * ((1 - u) * f[s->nx] + u * f[s->nx + 1]);
}

polyline *polylines_add(polylines *lines)
{
    if (lines->n == lines->room) {
        lines->room = lines->room ? 2 * lines->room : 16;
        lines->at = demo_more(lines->at, lines->room, sizeof *lines->at);
    }
    polyline *line = &lines->at[lines->n++];
    memset(line, 0, sizeof *line);
    return line;
}

void polyline_point(polyline *line, double x, double y)
{
    if (line->n == line->room) {
        line->room = line->room ? 2 * line->room : 8;
        line->p = demo_more(line->p, line->room, sizeof *line->p);
    }
    line->p[line->n++] = (pt){x, y};
}

void polylines_free(polylines *lines)
{
    for (size_t i = 0; i < lines->n; i++) {
        free(lines->at[i].p);
    }
    free(lines->at);
    *lines = (polylines){0};
}

double polyline_length(const polyline *line)
{
    double l = 0;
    for (size_t i = 1; i < line->n; i++) {
        l += hypot(line->p[i].x - line->p[i - 1].x, line->p[i].y - line->p[i - 1].y);
    }
    if (line->closed && line->n > 1) {
        l += hypot(line->p[0].x - line->p[line->n - 1].x, line->p[0].y - line->p[line->n - 1].y);
    }
    return l;
}

/* Edges of the grid: 2 * node is the one to the right of a node, 2 * node + 1 the one above it. */
static pt crossing(const section *s, solid_fn solid, const void *self, double level, long edge)
{
    long node = edge / 2;
    int i = (int)(node % s->nx), j = (int)(node / s->nx), up = (int)(edge & 1);
    double a = s->depth[node] - level, b = s->depth[node + (up ? s->nx : 1)] - level;
    double t = a / (a - b);
    pt p = {s->x0 + s->step * (i + (up ? 0 : t)), s->y0 + s->step * (j + (up ? t : 0))};
    double f = solid(self, p.x, p.y, s->z) - level; /* secant step towards the end with the other sign */
    double t2 = (f > 0) == (a > 0) ? t + (1 - t) * f / (f - b) : t * a / (a - f);
    if (t2 > 0 && t2 < 1) {
        p = (pt){s->x0 + s->step * (i + (up ? 0 : t2)), s->y0 + s->step * (j + (up ? t2 : 0))};
    }
    return p;
}

void section_outline(const section *s, solid_fn solid, const void *self, double level, double shortest, polylines *ret)
{
    size_t n_edges = 2 * (size_t)s->nx * (size_t)s->ny;
    int32_t *next = demo_alloc(n_edges, sizeof *next);
    memset(next, 0xff, n_edges * sizeof *next);
    for (int j = 0; j + 1 < s->ny; j++) {
        for (int i = 0; i + 1 < s->nx; i++) {
            long n = (long)j * s->nx + i;
            const float *f = s->depth + n;
            int code = (f[0] < level) | (f[1] < level) << 1 | (f[s->nx + 1] < level) << 2 | (f[s->nx] < level) << 3;
            int32_t e[4] = {(int32_t)(2 * n), (int32_t)(2 * (n + 1) + 1), (int32_t)(2 * (n + s->nx)),
                            (int32_t)(2 * n + 1)};
            /* from edge, to edge (bottom 0, right 1, top 2, left 3), material on the left; saddles by the cell's mean */
            static const signed char one[16][4] = {{-1, 0, 0, 0}, {0, 3, -1, 0}, {1, 0, -1, 0}, {1, 3, -1, 0},
                                                   {2, 1, -1, 0}, {0, 3, 2, 1},  {2, 0, -1, 0}, {2, 3, -1, 0},
                                                   {3, 2, -1, 0}, {0, 2, -1, 0}, {1, 0, 3, 2},  {1, 2, -1, 0},
                                                   {3, 1, -1, 0}, {0, 1, -1, 0}, {3, 0, -1, 0}, {-1, 0, 0, 0}};
            static const signed char joined[2][4] = {{0, 1, 2, 3}, {3, 0, 1, 2}};
            const signed char *c = one[code];
            if ((code == 5 || code == 10) && (f[0] + f[1] + f[s->nx] + f[s->nx + 1]) / 4 < level) {
                c = joined[code == 10];
            }
            for (int k = 0; k < 4 && c[k] >= 0; k += 2) {
                next[e[c[k]]] = e[c[k + 1]];
            }
        }
    }
    for (size_t e = 0; e < n_edges; e++) {
        if (next[e] < 0) {
            continue;
        }
        polyline *line = polylines_add(ret);
        line->closed = true;
        for (long at = (long)e; next[at] >= 0;) {
            pt p = crossing(s, solid, self, level, at);
            if (line->n == 0 || hypot(p.x - line->p[line->n - 1].x, p.y - line->p[line->n - 1].y) > 1e-3) {
                polyline_point(line, p.x, p.y);
            }
            long to = next[at];
            next[at] = -1;
            at = to;
        }
        if (line->n < 4 || polyline_length(line) < shortest) {
            free(line->p);
            ret->n--;
        }
    }
    free(next);
}

typedef struct run {
    double u0, u1;
} run;

/* Runs of one kind along the line v, in rising u. */
static size_t row_runs(const section *s, double c, double d, double v, double u0, double u1, int kind,
                       fill_kind_fn kind_of, const void *user, double extend, run *runs)
{
    const double fine = 0.2;
    size_t n = 0;
    bool inside = false;
    double begun = 0;
    for (double u = u0; u <= u1 + fine; u += fine) {
        if (!inside) { /* nothing begins nearer than the outline is */
            double off = section_at(s, u * c - v * d, u * d + v * c);
            u += off > 0.5 && off < 900 ? 0.7 * off : 0;
        }
        bool now = u <= u1 && kind_of(user, u * c - v * d, u * d + v * c) == kind;
        if (now == inside) {
            continue;
        }
        double a = u - fine, b = u; /* where the kind changes, to less than a hundredth of a mm */
        for (int it = 0; it < 5; it++) {
            double m = (a + b) / 2;
            if ((kind_of(user, m * c - v * d, m * d + v * c) == kind) == inside) {
                a = m;
            } else {
                b = m;
            }
        }
        double end = a, past = 0;
        if (now) {
            for (begun = b; past < extend && kind_of(user, (begun - fine) * c - v * d, (begun - fine) * d + v * c);
                 past += fine) {
                begun -= fine;
            }
        } else {
            for (; past < extend && kind_of(user, (end + fine) * c - v * d, (end + fine) * d + v * c); past += fine) {
                end += fine;
            }
            if (n && begun < runs[n - 1].u1 + 0.3) {
                runs[n - 1].u1 = end;
            } else if (end - begun > 0.35 && n < MOST_RUNS) {
                runs[n++] = (run){begun, end};
            }
        }
        inside = now;
    }
    return n;
}

void section_fill(const section *s, double degrees, double spacing, int kind, fill_kind_fn kind_of, const void *user,
                  double extend, bool join, polylines *ret)
{
    double c = cos(degrees * M_PI / 180), d = sin(degrees * M_PI / 180);
    double corner[4][2] = {{s->x0, s->y0},
                           {s->x0 + s->nx * s->step, s->y0},
                           {s->x0, s->y0 + s->ny * s->step},
                           {s->x0 + s->nx * s->step, s->y0 + s->ny * s->step}};
    double u0 = INFINITY, u1 = -INFINITY, v0 = INFINITY, v1 = -INFINITY;
    for (int i = 0; i < 4; i++) {
        double u = corner[i][0] * c + corner[i][1] * d, v = -corner[i][0] * d + corner[i][1] * c;
        u0 = fmin(u0, u);
        u1 = fmax(u1, u);
        v0 = fmin(v0, v);
        v1 = fmax(v1, v);
    }
    bool back = false;
    size_t open[MOST_RUNS], n_open = 0; /* lines of ret whose ends the next row may go on from */
    for (long k = (long)ceil(v0 / spacing); k * spacing <= v1; k++) {
        double v = k * spacing;
        run runs[MOST_RUNS];
        size_t n = row_runs(s, c, d, v, u0, u1, kind, kind_of, user, extend, runs), next_open[MOST_RUNS], n_next = 0;
        for (size_t i = 0; i < n; i++) {
            run r = runs[back ? n - 1 - i : i];
            double ua = back ? r.u1 : r.u0, uz = back ? r.u0 : r.u1;
            pt a = {ua * c - v * d, ua * d + v * c}, z = {uz * c - v * d, uz * d + v * c};
            size_t line = ret->n;
            for (size_t o = 0; join && o < n_open; o++) {
                const polyline *l = &ret->at[open[o]];
                pt end = l->p[l->n - 1];
                if (hypot(end.x - a.x, end.y - a.y) < 2.2 * spacing &&
                    section_at(s, (end.x + a.x) / 2, (end.y + a.y) / 2) < -0.3) {
                    line = open[o];
                    open[o] = open[--n_open];
                    break;
                }
            }
            if (line == ret->n) {
                polylines_add(ret);
            }
            polyline_point(&ret->at[line], a.x, a.y);
            polyline_point(&ret->at[line], z.x, z.y);
            next_open[n_next++] = line;
        }
        memcpy(open, next_open, sizeof open);
        n_open = n_next;
        back = !back;
    }
}

void polyline_thin(polyline *line, double tolerance)
{
    if (line->n < 3) {
        return;
    }
    size_t n = line->n + (line->closed ? 1 : 0);
    unsigned char *keep = demo_alloc(n, 1);
    size_t *stack = demo_alloc(2 * n, sizeof *stack), n_stack = 0;
    pt *p = demo_alloc(n, sizeof *p);
    memcpy(p, line->p, line->n * sizeof *p);
    if (line->closed) {
        p[n - 1] = p[0];
    }
    keep[0] = keep[n - 1] = 1;
    stack[n_stack++] = 0;
    stack[n_stack++] = n - 1;
    while (n_stack) {
        size_t z = stack[--n_stack], a = stack[--n_stack], far = a;
        double most = tolerance;
        for (size_t i = a + 1; i < z; i++) {
            double off = shape_stroke(p[i].x, p[i].y, p[a].x, p[a].y, p[z].x, p[z].y, 0);
            if (off > most) {
                most = off;
                far = i;
            }
        }
        if (far != a) {
            keep[far] = 1;
            stack[n_stack++] = a;
            stack[n_stack++] = far;
            stack[n_stack++] = far;
            stack[n_stack++] = z;
        }
    }
    size_t m = 0;
    for (size_t i = 0; i < line->n; i++) {
        if (keep[i]) {
            line->p[m++] = p[i];
        }
    }
    line->n = m;
    free(p);
    free(stack);
    free(keep);
}
