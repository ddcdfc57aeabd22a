/* One layer of a solid: outlines at any depth, and lines that fill it. SPDX-License-Identifier: Apache-2.0
 *
 * A solid is a function that gives the signed distance in mm to its edge within the plane z (negative inside). A section
 * samples it on a square grid. Outlines at a depth are traced by marching squares (W. Lorensen, H. Cline, "Marching cubes",
 * 1987, in two dimensions), each point then moved onto the true edge by one secant step. */
#ifndef DEMO_SECTION_H
#define DEMO_SECTION_H

#include <stdbool.h>
#include <stddef.h>

typedef struct pt {
    double x, y;
} pt;

typedef double (*solid_fn)(const void *self, double x, double y, double z);

typedef struct section {
    double x0, y0, step, z;
    int nx, ny;
    float *depth; /* nx * ny distances */
} section;

typedef struct polyline {
    pt *p;
    size_t n, room;
    bool closed;
} polyline;

typedef struct polylines {
    polyline *at;
    size_t n, room;
} polylines;

/* malloc and realloc that end the program when memory is gone. */
void *demo_alloc(size_t n, size_t size);
void *demo_more(void *p, size_t n, size_t size);

void section_make(section *s, solid_fn solid, const void *self, double z, double x0, double y0, double x1, double y1,
                  double step);
void section_free(section *s);
/* Distance at a point, interpolated; far outside the grid: a large number. */
double section_at(const section *s, double x, double y);

polyline *polylines_add(polylines *lines);
void polyline_point(polyline *line, double x, double y);
void polylines_free(polylines *lines);
double polyline_length(const polyline *line);

/* Closed loops where the distance is `level`, material on the left; loops shorter than shortest mm are left out. */
void section_outline(const section *s, solid_fn solid, const void *self, double level, double shortest, polylines *ret);

/* What a fill wants to know of a point: 0 none, 1 and more the kind of fill. */
typedef int (*fill_kind_fn)(const void *user, double x, double y);
/* Straight lines at `degrees`, `spacing` mm apart, over the points whose kind is `kind`; ends reach `extend` mm further
 * where the point there still has any kind. Neighbouring lines are joined at their ends where join is true. */
void section_fill(const section *s, double degrees, double spacing, int kind, fill_kind_fn kind_of, const void *user,
                  double extend, bool join, polylines *ret);

/* Drop points that lie within `tolerance` mm of the line through those kept (Douglas and Peucker, 1973). */
void polyline_thin(polyline *line, double tolerance);

#endif
