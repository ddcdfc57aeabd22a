/* Thresholds of the rules, once: rules use them as numbers, the table prints them. SPDX-License-Identifier: Apache-2.0
 * "common practice" = common practice, no published source; sections are those of the shop handbook. */
#ifndef PO_PROOF_LIMITS_H
#define PO_PROOF_LIMITS_H

#define PO_LIMIT_TEXT_(x) #x
#define PO_LIMIT_TEXT(x) PO_LIMIT_TEXT_(x)

/* room */
#define LIM_NOISE_MM 0.01 /* below this a distance is rounding, not a fault */

/* heat */
#define LIM_HEAT_SLACK_C 3 /* common practice: thermistors and heaters differ by as much */
#define LIM_HEAT_SHARE 10  /* percent of bead time outside the band; common practice */
#define LIM_BOOST_C 15     /* a first layer up to this much outside is ordinary; common practice */
#define LIM_FAN_SLACK 10   /* points */
#define LIM_FAN_SHARE 20   /* percent of time; slow layers ordinarily run more fan */
#define LIM_WAIT_SHORT_C 5 /* what the heating model may be off by; common practice */
#define LIM_SITS_HOT_S 360 /* a bed heats to 110 C in about 5 min, section 3.3 */

/* beads and layers */
#define LIM_MELT_STOP 1.5
#define LIM_LENGTH_SHARE 5    /* percent of bead length outside the band, from the measures */
#define LIM_THIN_NOZZLES 0.6  /* common practice; section 2.2 calls 1.0 to 1.5 the usual window */
#define LIM_WIDE_NOZZLES 2.5  /* the flat of a nozzle ends about there; common practice */
#define LIM_LAYER_NOZZLES 0.8 /* section 2.2 */
#define LIM_LAYER_SLACK_MM 0.02
#define LIM_MUCH_SHARE 30 /* percent of bead length that this nozzle can't lay: made for another one */
#define LIM_NARROW_NOZZLES 0.85
#define LIM_QUICK_S 3 /* common practice: 5 s are wanted, below 3 s no layer of ordinary plastic sets */
#define LIM_QUICK_LAYERS 5
#define LIM_FIRST_THIN_MM 0.10 /* section 4.5, item 3 */
#define LIM_FIRST_THIN_NOZZLES 0.2
#define LIM_FIRST_FAST_MM_S 60 /* section 2.2 gives 15 to 30 as usual; twice its top end */
#define LIM_GRIND_PASSES 40 /* common practice, no published source: soft filament is chewed through from about there */
#define LIM_ON_AIR_MM 5
#define LIM_OVERHANG_STRETCH_MM 5
#define LIM_OVERHANG_JOB 1       /* percent of all bead length */
#define LIM_OVERHANG_LAYER 15    /* percent of one layer's bead length ... */
#define LIM_OVERHANG_LAYER_MM 20 /* ... and not less than this */
#define LIM_ROOF_MM 0.6 /* section 11, fault 9: four to five layers or 0.8 to 1.0 mm are good; 0.6 is sure to be poor */
#define LIM_SPARSE_FILL 60 /* percent */
#define LIM_SOME_FILL 3    /* percent; below there is no fill at all (an open shell) */

/* parts */
#define LIM_TIP_DEG 6         /* section 5: 4.6 degrees for 8 x 8 x 100 mm, 9.5 for 10 x 10 x 60 mm; between the two */
#define LIM_SLENDER 8         /* section 5 */
#define LIM_TALL_MM 50        /* section 5: under a part this tall ... */
#define LIM_TALL_FOOT_MM2 100 /* ... less than 1 cm2 of contact wants a brim */
#define LIM_UPRIGHT_MM 15     /* lower parts do not tip */
#define LIM_LIFT_MM 1.0       /* edge length x shrinkage; common practice (ABS 0.5 %: 200 mm) */

/* the shop's rules */
#define LIM_SPOOL_RESERVE 10 /* percent, section 11, fault 18 */
#define LIM_CENTRED_MM 0.75  /* a centre that lies this close to another bed's centre is no accident */
#define LIM_UNCENTRED_MM 10  /* at least this far from this bed's own */

/* a job held against its part */
#define LIM_SCALED_PERCENT 0.8

/* notes */
#define LIM_GAP_MM 10
#define LIM_RECIPE_LAYER_MM 0.02
#define LIM_RECIPE_WIDTH_MM 0.05
#define LIM_RECIPE_FILL 8   /* points; the raster's own error is about half of this */
#define LIM_RECIPE_SPEED 30 /* percent */

/* parts as meshes */
#define LIM_NO_SOLID_OPEN 50 /* percent of edges open: loose triangles; common practice */
#define LIM_SHEET 0.95       /* share of the area that faces one way: a sheet (an open box faces one way by a third) */
#define LIM_FLAT_VOLUME                                                                                                \
    1e-6                /* of area^1.5: nothing inside (a ball has 0.094, a plate 1000 times as wide as thick 0.0004) */
#define LIM_CUT_MM 0.1  /* how deep a surface may cut itself: a bead's edge wanders by as much; common practice */
#define LIM_WALL_MM2 10 /* both faces of a rib of 5 x 1 mm; common practice */
#define LIM_WALL_SHARE 0.05     /* percent of the surface: on large parts the odd edge is no wall; common practice */
#define LIM_WALL_ERRORS 3       /* standard errors of the area measured by rays */
#define LIM_GAP_MM2 10          /* as for walls */
#define LIM_OVERHANG_MM2 15     /* less droops a little and prints; common practice */
#define LIM_SUPPORT_SHARE 50    /* percent of the part's own filament that supports would take; common practice */
#define LIM_SUPPORT_LEAST_MM 5  /* of filament, and */
#define LIM_SUPPORT_LEAST_S 0.5 /* of time: what reads as nothing is nothing to be told of */
#define LIM_SUPPORT_VOLUME 200  /* percent of the part's volume, where filament is not estimated */
#define LIM_TINY_VOLUME_MM3 1

/* ranges */
#define LIM_TIME_RANGE 0.05     /* section 3.3: a good model is within 5 % */
#define LIM_FILAMENT_RANGE 0.03 /* section 1.2: good spools hold 0.02 to 0.03 mm, that is 2.3 to 3.4 % of the area */

/* the clock */
#define LIM_OFF_LATE_HOURS 4 /* a part that is off within half a day at the desk holds nobody up; common practice */

#endif
