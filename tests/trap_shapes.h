/* Solids for the tests' job files: ordinary ones, and a few that can't be printed. SPDX-License-Identifier: Apache-2.0
 *
 * All are solid_fn or trace_fn of demo/toolpath.h, in mm, and take no `self` unless the comment says so. */
#ifndef TRAP_SHAPES_H
#define TRAP_SHAPES_H

#include "toolpath.h"

double trap_cube(const void *self, double x, double y, double z);        /* 16 x 16 */
double trap_ring(const void *self, double x, double y, double z);        /* round, 18 across, with a hole */
double trap_counterbore(const void *self, double x, double y, double z); /* 30 x 20 x 5, bored wider from below */
double trap_lean(const void *self, double x, double y, double z); /* leans by *(const double *)self degrees to +x */
double trap_chamfer(const void *self, double x, double y,
                    double z);                                    /* 20 x 14 x 9, 45 degree chamfers below and above */
double trap_text(const void *self, double x, double y, double z); /* 34 x 16 x 2 with raised letters of 1 mm */
double trap_cross_hole(const void *self, double x, double y, double z); /* 16 x 12 x 14, a round hole of 6 mm along y */
double trap_window(const void *self, double x, double y,
                   double z); /* an opening *(const double *)self mm wide along x */
double trap_thin_box(const void *self, double x, double y, double z); /* 24 x 18, walls of two beads */
double trap_flower(const void *self, double x, double y,
                   double z); /* wavy, 26 across, swelling: for one climbing bead */
double trap_mushroom(const void *self, double x, double y, double z);     /* cap of 20 mm from 8 mm upwards on a stem */
double trap_mushroom_aid(const void *self, double x, double y, double z); /* what carries the cap, with a gap above */
double trap_table(const void *self, double x, double y, double z);        /* a slab from 8 mm upwards beside its stem */
double trap_branch(const void *self, double x, double y, double z); /* twelve thin trunks that lean under the slab */
double trap_gear(const void *self, double x, double y, double z);   /* 22 across, 22 teeth */
double trap_dome(const void *self, double x, double y, double z);   /* a cap of a ball, 22 across */
double trap_stairs(const void *self, double x, double y, double z); /* three steps */
double trap_cone(const void *self, double x, double y, double z);   /* 18 to 6 across over 14 mm */
double trap_tower(const void *self, double x, double y, double z);  /* square, *(const double *)self mm */
double trap_funnel(const void *self, double x, double y, double z); /* opens upwards at 40 degrees */
double trap_bar(const void *self, double x, double y,
                double z); /* *(const double *)self long, 12 wide, sharp corners */
double trap_hook(const void *self, double x, double y, double z); /* its tip begins at 6 mm with nothing beneath */
void trap_wave_wall(const void *self, double z, polyline *ret);   /* one open bead, 60 mm of wave */
void trap_square_tube(const void *self, double z, polyline *ret); /* one closed bead, 30 mm square */

#endif
