/* Solids for the tests' job files: see trap_shapes.h. SPDX-License-Identifier: Apache-2.0 */
#include "trap_shapes.h"

#include <math.h>

#include "shapes.h"

double trap_cube(const void *self, double x, double y, double z)
{
    (void)self;
    (void)z;
    return shape_box(x, y, 8, 8, 8, 8, 0);
}

double trap_ring(const void *self, double x, double y, double z)
{
    (void)self;
    (void)z;
    return fmax(shape_disc(x, y, 9, 9, 9), -shape_disc(x, y, 9, 9, 3));
}

double trap_counterbore(const void *self, double x, double y, double z)
{
    (void)self;
    double d = shape_box(x, y, 15, 10, 15, 10, 2);
    d = fmax(d, -shape_disc(x, y, 8, 10, z < 2.5 ? 4 : 2));
    return fmax(d, -shape_disc(x, y, 22, 10, z > 2.5 ? 4 : 2));
}

double trap_lean(const void *self, double x, double y, double z)
{
    double shift = tan(*(const double *)self * M_PI / 180) * z;
    return shape_box(x, y, 8 + shift, 7, 8, 7, 1);
}

double trap_chamfer(const void *self, double x, double y, double z)
{
    (void)self;
    double in = z < 1.5 ? 1.5 - z : z > 7.5 ? z - 7.5 : 0;
    return shape_box(x, y, 10, 7, 10 - in, 7 - in, 0);
}

double trap_text(const void *self, double x, double y, double z)
{
    (void)self;
    if (z < 2) {
        return shape_box(x, y, 17, 8, 17, 8, 2);
    }
    /* Q u a y, in strokes of 1.7 mm */
    double d = fabs(shape_disc(x, y, 7, 8.5, 3.2)) - 0.85;
    d = fmin(d, shape_stroke(x, y, 7.5, 6.5, 10, 4, 1.7));
    d = fmin(d, shape_stroke(x, y, 13, 10, 13, 5.5, 1.7));
    d = fmin(d, shape_stroke(x, y, 13, 5.5, 17, 5.5, 1.7));
    d = fmin(d, shape_stroke(x, y, 17, 10, 17, 5.5, 1.7));
    d = fmin(d, shape_stroke(x, y, 20, 5.5, 22, 11, 1.7));
    d = fmin(d, shape_stroke(x, y, 22, 11, 24, 5.5, 1.7));
    d = fmin(d, shape_stroke(x, y, 27, 11, 29, 8, 1.7));
    return fmin(d, shape_stroke(x, y, 31, 11, 27.6, 4, 1.7));
}

double trap_cross_hole(const void *self, double x, double y, double z)
{
    (void)self;
    double d = shape_box(x, y, 8, 6, 8, 6, 1), dz = z - 7;
    return fabs(dz) < 3 ? fmax(d, -shape_box(x, y, 8, 6, sqrt(9 - dz * dz), 12, 0)) : d;
}

double trap_window(const void *self, double x, double y, double z)
{
    double wide = *(const double *)self, d = shape_box(x, y, 6 + wide / 2, 5, 6 + wide / 2, 5, 0);
    return z > 2 && z < 8 ? fmax(d, -shape_box(x, y, 6 + wide / 2, 5, wide / 2, 12, 0)) : d;
}

double trap_thin_box(const void *self, double x, double y, double z)
{
    (void)self;
    double d = shape_box(x, y, 12, 9, 12, 9, 2);
    return z < 1 ? d : fmax(d, -shape_box(x, y, 12, 9, 11.12, 8.12, 1.12));
}

double trap_flower(const void *self, double x, double y, double z)
{
    (void)self;
    return shape_flower(x, y, 0, 0, 12 + 2 * sin(z / 9), 0.05, 7, z / 15);
}

double trap_mushroom(const void *self, double x, double y, double z)
{
    (void)self;
    return shape_disc(x, y, 10, 10, z < 8 ? 4 : 10);
}

double trap_mushroom_aid(const void *self, double x, double y, double z)
{
    (void)self;
    (void)z;
    return fmax(shape_disc(x, y, 10, 10, 10.4), -shape_disc(x, y, 10, 10, 4.7));
}

double trap_table(const void *self, double x, double y, double z)
{
    (void)self;
    double stem = shape_box(x, y, 4, 7, 4, 7, 0);
    return z < 8 ? stem : shape_box(x, y, 11, 7, 11, 7, 0);
}

double trap_branch(const void *self, double x, double y, double z)
{
    (void)self;
    double d = 1e3, share = z / 8, r = 1.5 + fmax(0, z - 6.2) * 0.35; /* they spread out where they carry */
    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < 4; k++) {
            double tx = 12.6 + 4 * i, ty = 1.2 + 3.9 * k;   /* under the slab */
            double bx = 13.5 + 3.6 * i, by = 1.6 + 3.6 * k; /* on the bed, drawn together */
            d = fmin(d, shape_disc(x, y, bx + (tx - bx) * share, by + (ty - by) * share, r));
        }
    }
    return d;
}

double trap_gear(const void *self, double x, double y, double z)
{
    (void)self;
    (void)z;
    /* every tooth turned onto the first one */
    double pitch = 2 * M_PI / 22, t = remainder(atan2(y - 11, x - 11), pitch), r = hypot(x - 11, y - 11);
    double d = fmin(r - 9.2, shape_box(r * cos(t), r * sin(t), 9, 0, 2.2, 0.95, 0.3));
    return fmax(d, -shape_disc(x, y, 11, 11, 2.5));
}

double trap_dome(const void *self, double x, double y, double z)
{
    (void)self;
    double r = 15.0, up = z + 10.2, half = r * r - up * up; /* a ball's cap: the steepest lean is at the bed, inwards */
    return half > 0 ? shape_disc(x, y, 11, 11, sqrt(half)) : 1e3;
}

double trap_stairs(const void *self, double x, double y, double z)
{
    (void)self;
    double left = z < 3 ? 0 : z < 6 ? 8 : 16;
    return shape_box(x, y, (left + 24) / 2, 6, (24 - left) / 2, 6, 0);
}

double trap_cone(const void *self, double x, double y, double z)
{
    (void)self;
    return shape_disc(x, y, 9, 9, 9 - z * 6 / 14);
}

double trap_tower(const void *self, double x, double y, double z)
{
    (void)z;
    double half = *(const double *)self / 2;
    return shape_box(x, y, half, half, half, half, 0);
}

double trap_funnel(const void *self, double x, double y, double z)
{
    (void)self;
    double r = 6 + z * tan(40 * M_PI / 180);
    return fmax(shape_disc(x, y, 14, 14, r), z < 1.2 ? -1e3 : -shape_disc(x, y, 14, 14, r - 2.4));
}

double trap_bar(const void *self, double x, double y, double z)
{
    (void)z;
    double half = *(const double *)self / 2;
    return shape_box(x, y, half, 6, half, 6, 0);
}

double trap_hook(const void *self, double x, double y, double z)
{
    (void)self;
    double d = shape_box(x, y, 5, 5, 5, 5, 0);
    if (z > 6 && z < 10) {
        d = fmin(d, shape_box(x, y, 18, 5, 4, 5, 0));
    }
    return z >= 10 ? shape_box(x, y, 11, 5, 11, 5, 0) : d;
}

void trap_wave_wall(const void *self, double z, polyline *ret)
{
    (void)self;
    (void)z;
    for (int i = 0; i <= 120; i++) {
        polyline_point(ret, i * 0.5, 5 + 4 * sin(i * 0.5 / 60 * 6 * M_PI));
    }
}

void trap_square_tube(const void *self, double z, polyline *ret)
{
    (void)self;
    (void)z;
    ret->closed = true;
    polyline_point(ret, 0, 0);
    polyline_point(ret, 30, 0);
    polyline_point(ret, 30, 30);
    polyline_point(ret, 0, 30);
}
