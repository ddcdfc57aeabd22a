/* Tuning from test pieces: feed, flow, size, skew, holes, first-layer gap, bridges and overhangs. SPDX-License-Identifier: Apache-2.0
 *
 * Each takes what was measured and gives the new value with its error, and whether there is reason to act on it. Settings are proposed, never sent: the
 * keeper enters them by hand, by the maker's instructions. docs/tram-and-tune.md names each method's source. */
#ifndef PROVEOUT_TUNE_H
#define PROVEOUT_TUNE_H

#include <stdbool.h>
#include <stddef.h>

#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { PO_TUNE_MOST = 200 };

typedef enum po_tune_act {
    PO_TUNE_LEAVE, /* nearer than is worth a change, or no difference that the spread of the readings would let one see */
    PO_TUNE_CHANGE,
    PO_TUNE_LOOK, /* the readings differ so much that the cause comes first: slip, a blunder, a loose part */
} po_tune_act;

typedef struct po_tune_mean {
    size_t n;
    double mean, sd;  /* NAN: of one */
    double half;      /* of the 95 % interval of the mean (Student's t); NAN: of one */
    double low, high; /* smallest and largest */
} po_tune_mean;
/* Errors: PO_E_EMPTY, PO_E_LIMIT; PO_E_RANGE: a value that is not above nothing. */
PO_API po_status po_tune_mean_of(const double *values, size_t n, po_tune_mean *ret, po_err *err) PO_MUST_USE;

typedef struct po_tune_feed {
    po_tune_mean moved;      /* mm */
    double steps, low, high; /* new steps a mm, and by the interval of the mean; NAN where one reading */
    double error;            /* share by which too little came: 0.045 = 4.5 % */
    po_tune_act act;         /* CHANGE beyond 1 %, LOOK where the readings differ by more than 1 % of what was asked */
} po_tune_feed;
/* asked_mm of filament were asked for, so much came each time. Errors: as above; PO_E_RANGE: less than a tenth or more than twice as
 * much came (then it is no matter of steps). */
PO_API po_status po_tune_feed_of(double steps, double asked_mm, const double *moved_mm, size_t n, po_tune_feed *ret,
                                 po_err *err) PO_MUST_USE;

typedef struct po_tune_flow {
    po_tune_mean wall;        /* mm */
    double by_width, by_area; /* the new flow: rectangle model, bead with round ends */
    double low, high;         /* of by_area, by the interval of the mean */
    po_tune_act act;          /* CHANGE beyond 3 %; LOOK where walls differ by more than a fifth */
} po_tune_flow;
/* A piece of one wall, asked for at bead width and layer height, printed at a flow factor (1 = 100 %). */
PO_API po_status po_tune_flow_of(double flow, double width_mm, double layer_mm, const double *wall_mm, size_t n,
                                 po_tune_flow *ret, po_err *err) PO_MUST_USE;

typedef struct po_tune_line { /* measured = offset + (1 + scale) * nominal */
    size_t n;
    double scale, offset_mm;
    double scale_half, offset_half_mm; /* of their 95 % intervals; NAN: of two readings */
    double rms_mm;
    bool scale_sure, offset_sure; /* the interval does not hold nothing */
} po_tune_line;
/* Ordinary least squares. Errors: PO_E_EMPTY below two; PO_E_RANGE: all of one length. */
PO_API po_status po_tune_line_of(const double *nominal_mm, const double *measured_mm, size_t n, po_tune_line *ret,
                                 po_err *err) PO_MUST_USE;

typedef struct po_tune_size {
    po_tune_line line;
    double steps;     /* new steps a mm where some were given; NAN */
    double shrinkage; /* share by which lengths come out short, as a factor to enlarge by is 1 / (1 - shrinkage) */
    po_tune_act act;  /* CHANGE where the scale is sure and beyond 0.1 % */
} po_tune_size;
/* One axis; steps 0: not asked. */
PO_API po_status po_tune_size_of(double steps, const double *nominal_mm, const double *measured_mm, size_t n,
                                 po_tune_size *ret, po_err *err) PO_MUST_USE;
/* An outer and an inner measure of one piece: what is of the axis and what of the bead's width. */
PO_API po_status po_tune_split(double outer_nominal, double outer_measured, double inner_nominal, double inner_measured,
                               double *ret_scale, double *ret_width_mm, po_err *err) PO_MUST_USE;

typedef struct po_tune_skew {
    double ab_mm;        /* the side that was not measured */
    double tangent, deg; /* of the skew: positive, the angle at the corner that AC starts from is less than 90 */
    double mm_per_100;
    po_tune_act act; /* CHANGE beyond 0.1 mm in 100 mm */
} po_tune_skew;
/* A printed parallelogram ABCD: both diagonals and the side AD. Errors: PO_E_RANGE where no parallelogram has these. */
PO_API po_status po_tune_skew_of(double ac_mm, double bd_mm, double ad_mm, po_tune_skew *ret, po_err *err) PO_MUST_USE;

typedef struct po_tune_gap {
    po_tune_mean layer;   /* mm */
    double correction_mm; /* to add to the nozzle's height: negative, nearer */
    double range_mm;      /* thickest less thinnest */
    po_tune_act act;      /* LOOK: they differ by more than 0.1 mm, tram first; CHANGE beyond 0.02 mm */
} po_tune_gap;
/* Thickness of the first layer at several places, wished at wanted_mm. */
PO_API po_status po_tune_gap_of(double wanted_mm, const double *layer_mm, size_t n, po_tune_gap *ret,
                                po_err *err) PO_MUST_USE;

typedef struct po_tune_limit {
    double good, bad; /* the largest up to which all are good; the smallest that is bad. NAN: none */
    double state;     /* what the shop file should state: good; NAN: none is */
    bool mixed;       /* one beyond a bad one is good again: print it anew */
} po_tune_limit;
/* A row of bridges (mm) or overhangs (degrees from the vertical), each good or not, in any order. */
PO_API po_status po_tune_limit_of(const double *at, const bool *good, size_t n, po_tune_limit *ret,
                                  po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
