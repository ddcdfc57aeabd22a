/* Closed surfaces from outlines: what the demo's parts are made of. SPDX-License-Identifier: Apache-2.0
 *
 * A body is built face by face: flat faces with holes, walls along an outline, turned profiles. Every point is rounded to
 * a micrometre, so that faces which meet share the same numbers and the surface closes without a tolerance. Lengths in
 * mm. Nothing of the program is used here. */
#ifndef DEMO_SOLIDMESH_H
#define DEMO_SOLIDMESH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "section.h" /* pt, polyline */

typedef struct solidmesh {
    double *xyz; /* 9 for each triangle */
    size_t n, room;
    double unit; /* every coordinate is divided by it as it is written: 1, or 25.4 for a part in inches */
} solidmesh;

/* How a flat drawing lies in space: point (u, v) is at from + u*along + v*up. Seen so that u goes right and v goes up, the
 * outside of the body is on the viewer's side. */
typedef struct frame {
    double from[3], along[3], up[3];
} frame;

void solidmesh_free(solidmesh *m);
void solidmesh_triangle(solidmesh *m, const double a[3], const double b[3], const double c[3]);

/* Outlines: points added one by one, in arcs (degrees, n steps, both ends included) or as whole circles. */
void outline_arc(polyline *line, double x, double y, double radius, double from_deg, double to_deg, int n);
void outline_circle(polyline *line, double x, double y, double radius, int n);
/* A rectangle with round corners, counter-clockwise. */
void outline_rounded(polyline *line, double x0, double y0, double x1, double y1, double radius, int n);

/* A flat face: the outline counter-clockwise, holes either way round; n_holes may be 0. Triangles by cutting ears off
 * after the holes are joined to the outline by slits (D. Eberly, "Triangulation by ear clipping", 2002, from memory). */
void solidmesh_face(solidmesh *m, const frame *f, const polyline *outline, const polyline *holes, size_t n_holes);
/* The wall between z0 and z1 along an outline that runs counter-clockwise around material (or, for a hole, clockwise). */
void solidmesh_wall(solidmesh *m, const polyline *outline, double z0, double z1);
/* A whole prism: outline, holes (both counter-clockwise) and both ends. */
void solidmesh_prism(solidmesh *m, const polyline *outline, const polyline *holes, size_t n_holes, double z0,
                     double z1);
/* A profile of (radius, z) turned about the line x = y = 0: from the axis or a closed loop, material on its left. */
void solidmesh_turned(solidmesh *m, const polyline *profile, int n_around);

/* Turn triangles from .. to-1 inside out, or shift them. */
void solidmesh_flip(solidmesh *m, size_t from, size_t to);
void solidmesh_shift(solidmesh *m, size_t from, size_t to, double x, double y, double z);

bool solidmesh_save_stl(const solidmesh *m, const char *path);

typedef struct mesh_item {
    const solidmesh *mesh;
    const char *name;
    double x, y; /* where it stands */
} mesh_item;
/* A 3MF (core specification): one object and one item each; members stored, not packed. */
bool solidmesh_save_3mf(const mesh_item *items, size_t n, const char *path);

#endif
