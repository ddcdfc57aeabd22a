/* Plane figures as signed distances. SPDX-License-Identifier: Apache-2.0 */
#include "shapes.h"

#include <math.h>

double shape_disc(double x, double y, double cx, double cy, double radius)
{
    return hypot(x - cx, y - cy) - radius;
}

double shape_box(double x, double y, double cx, double cy, double half_x, double half_y, double corner)
{
    double dx = fabs(x - cx) - (half_x - corner), dy = fabs(y - cy) - (half_y - corner);
    if (dx > 0 && dy > 0) {
        if (corner <= 0) { /* a sharp corner keeps its mitre: wall loops then have sharp corners too */
            return fmax(dx, dy);
        }
        return hypot(dx, dy) - corner;
    }
    return fmax(dx, dy) - corner;
}

double shape_stroke(double x, double y, double x0, double y0, double x1, double y1, double width)
{
    double dx = x1 - x0, dy = y1 - y0, l2 = dx * dx + dy * dy;
    double t = l2 > 0 ? ((x - x0) * dx + (y - y0) * dy) / l2 : 0;
    t = t < 0 ? 0 : t > 1 ? 1 : t;
    return hypot(x - x0 - t * dx, y - y0 - t * dy) - width / 2;
}

double shape_flower(double x, double y, double cx, double cy, double radius, double size, int waves, double turn)
{
    double dx = x - cx, dy = y - cy, t = atan2(dy, dx);
    double r = radius * (1 + size * cos(waves * t + turn)), slope = radius * size * waves * sin(waves * t + turn) / r;
    return (hypot(dx, dy) - r) / sqrt(1 + slope * slope);
}
