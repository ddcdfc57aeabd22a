/* Plane figures as signed distances, to build the demo's solids from. SPDX-License-Identifier: Apache-2.0
 *
 * Every function gives the distance in mm from (x, y) to the figure's edge, negative inside. Figures are joined with fmin,
 * cut out with fmax(a, -b). Formulas are those of elementary geometry: a box is the Chebyshev-like distance with round
 * corners, a stroke is the distance to a segment less half its width. */
#ifndef DEMO_SHAPES_H
#define DEMO_SHAPES_H

double shape_disc(double x, double y, double cx, double cy, double radius);
/* A rectangle given by its middle and half sides; corner: radius of its corners, 0 = sharp. */
double shape_box(double x, double y, double cx, double cy, double half_x, double half_y, double corner);
/* A straight stroke of the given width with round ends. */
double shape_stroke(double x, double y, double x0, double y0, double x1, double y1, double width);
/* A wavy disc: r = radius (1 + size cos(waves t + turn)). The distance is that along the ray, good enough for small waves. */
double shape_flower(double x, double y, double cx, double cy, double radius, double size, int waves, double turn);

#endif
