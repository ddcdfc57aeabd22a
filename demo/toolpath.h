/* Honest toolpaths for simple solids: walls, floors, roofs, fill, aids, heat and the words around them.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Made for the demo and the tests, so that they have job files whose every line is known. Lengths mm, speeds mm/s. */
#ifndef DEMO_TOOLPATH_H
#define DEMO_TOOLPATH_H

#include "dialect.h"
#include "section.h"

typedef enum fill_kind { FILL_LINES, FILL_GRID, FILL_RINGS } fill_kind;

typedef struct style {
    double width, first_width;
    int walls, floors, roofs;
    double fill_percent;
    fill_kind fill;
    double wall_mm_s, outer_mm_s, fill_mm_s, first_mm_s;
    bool outer_first;
    double ramp_mm;        /* length over which a loop climbs in and fades out; 0 = plain starts */
    bool smooth_roofs;     /* a second pass with hardly any plastic over the topmost layer */
    bool spiral;           /* one climbing bead above the floors */
    double turn_degrees;   /* added to the direction of all fill lines */
    double bridge_degrees; /* direction of solid lines on layers with air beneath; NAN = as ever */
    double layer_seconds;  /* slow down so that a layer takes at least this long */
} style;

#define STYLE_INIT                                                                                                     \
    {                                                                                                                  \
        .width = 0.44, .first_width = 0.48, .walls = 3, .floors = 4, .roofs = 4, .fill_percent = 20,                   \
        .fill = FILL_LINES, .wall_mm_s = 45, .outer_mm_s = 40, .fill_mm_s = 65, .first_mm_s = 20,                      \
        .bridge_degrees = NAN, .layer_seconds = 12                                                                     \
    }

/* A bead that stands alone: points of its centre line at height z (closed or open). */
typedef void (*trace_fn)(const void *self, double z, polyline *ret);

typedef struct body {
    solid_fn solid; /* in its own coordinates */
    trace_fn trace; /* instead of solid */
    const void *self;
    double x, y;           /* where its origin stands on the bed */
    double x0, y0, x1, y1; /* its bounds, own coordinates */
    double base, height;   /* material from base to height above the bed */
    const style *style;
    int tool;
} body;

typedef enum purge_kind { PURGE_NONE, PURGE_LINE, PURGE_HIGH, PURGE_TWICE, PURGE_OFF_BED } purge_kind;

typedef struct job {
    const dialect *words;
    const body *bodies;
    int n_bodies;
    bool in_turn; /* each body finished before the next is begun */
    double layer, first_layer;
    double other_layer, other_from; /* another layer height from this height on; 0 = none */
    double nozzle_c, bed_c, fan_percent;
    double nozzle_c2; /* of tool 1; 0 = one tool */
    int fan_from;     /* layer, 0 = the first */
    purge_kind purge;
    double purge_x, purge_y; /* its start */
    int skirt_loops, skirt_layers;
    double skirt_gap;
    int brim_loops;
    double park_x, park_y;
    bool probe;
    int pause_layer;         /* M600 before this layer; 0 = none */
    const char *extra_start; /* lines put in after the start, NULL = none */
    double stop_share;       /* only this share of the bytes: a file cut short; 0 = whole */
} job;

#define JOB_INIT                                                                                                       \
    {                                                                                                                  \
        .layer = 0.22, .first_layer = 0.25, .nozzle_c = 235, .bed_c = 75, .fan_percent = 40, .fan_from = 3,            \
        .purge = PURGE_LINE, .purge_x = 10, .purge_y = 4, .skirt_loops = 1, .skirt_layers = 1, .skirt_gap = 4,         \
        .park_x = 5, .park_y = 190, .probe = true                                                                      \
    }

/* The whole job as text in w (w->d set from the job). */
void job_write(const job *j, words *w);
/* The same into a file; false with a word on stderr when it cannot be written. */
bool job_save(const job *j, const char *file);

#endif
