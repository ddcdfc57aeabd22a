/* What the parts of "poses" share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_POSE_H
#define PO_PART_POSE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/pool.h"
#include "geometry/hull.h"
#include "proveout/solid.h"

/* A wall at the very limit is carried; coordinates in files are rounded, so a little beyond it as well. */
#define PO_POSE_SLACK_DEG 0.05
/* From level: where stair steps show. */
#define PO_POSE_STEPS_LOW_DEG 2.0
#define PO_POSE_STEPS_HIGH_DEG 45.0

int po_pose_layers(double height_mm, const po_pose_setup *setup);
/* NAN when no load is known. */
double po_pose_across(const po_pose_setup *setup, const double turn[9]);
/* stands and tip_deg from the points of a foothold (sorted in place; hull: room for n_feet + 1) and the centre of mass. */
void po_pose_stand(po_xy *feet, size_t n_feet, const double centre[3], po_xy *hull, po_pose *pose);

/* What po_pose_mark says of a triangle. */
enum { PO_MARK_FOOTHOLD = 1, PO_MARK_CARRIED = 2, PO_MARK_HANGS = 4 };
/* po_pose_measure, and for each triangle where it stands (PO_MARK_FOOTHOLD), or hangs over: by the columns that meet it, or
 * where none does, by those that meet what hangs together with it. marks: one for each triangle, zeroed. */
po_status po_pose_mark(const po_mesh *mesh, const double turn[9], const po_pose_setup *setup, int threads,
                       uint8_t *marks, po_pose *ret, po_err *err) PO_MUST_USE;

/* ---- pose_columns.c: where vertical lines on a raster cross the mesh ---- */

/* One crossing as a number that sorts by height, entering (from below) before leaving at the same height:
 * ordered bits of the height as a float, 1 bit leaving, 31 bits triangle. */
typedef uint64_t po_crossing;

typedef struct po_columns {
    double cell[2], x0, y0; /* size of a cell in x and y, nearly square; centre of column (0, 0) */
    uint32_t nx, ny;
    bool plain;       /* tests: judge large regions as small ones are */
    uint32_t n_bands; /* of PO_BAND_ROWS rows each */
    struct po_band {
        uint32_t *start; /* one for each column of the band, and the end */
        po_crossing *crossings;
    } * bands;
} po_columns;

enum { PO_BAND_ROWS = 16 };

/* xyz: turned corners, lowest 0. against: the triangles run the other way round (inside out). PO_E_NOMEM. */
po_status po_columns_make(const double *xyz, const po_mesh *mesh, double bounds[2][3], bool against, po_pool *pool,
                          po_columns *ret, po_err *err) PO_MUST_USE;
void po_columns_done(po_columns *columns); /* accepts zeroed */
/* Crossings of one column, rising. */
static inline const po_crossing *po_columns_at(const po_columns *c, uint32_t i, uint32_t j, uint32_t *ret_n)
{
    const struct po_band *band = &c->bands[j / PO_BAND_ROWS];
    size_t at = (size_t)(j % PO_BAND_ROWS) * c->nx + i;
    *ret_n = band->start[at + 1] - band->start[at];
    return band->crossings + band->start[at];
}
static inline bool po_crossing_leaves(po_crossing c)
{
    return c >> 31 & 1;
}
static inline uint32_t po_crossing_triangle(po_crossing c)
{
    return (uint32_t)c & 0x7fffffff;
}
static inline float po_crossing_z(po_crossing c)
{
    uint32_t bits = (uint32_t)(c >> 32);
    bits = bits & 0x80000000u ? bits ^ 0x80000000u : ~bits;
    float z;
    __builtin_memcpy(&z, &bits, 4);
    return z;
}

/* ---- pose_spans.c: which overhangs carry themselves ---- */

typedef struct po_hang { /* a cell of the raster where a free ceiling is an overhang */
    uint32_t i, j;
    float z, gap; /* height; free space beneath it */
    uint32_t triangle;
    uint8_t level, open; /* nearly level; in: 0, out: 1 = needs support */
} po_hang;

/* hangs: sorted by j, i, z. Sets .open and the longest level ceiling that both sides carry. PO_E_NOMEM. */
po_status po_spans_find(const po_columns *columns, po_hang *hangs, size_t n, const po_pose_setup *setup,
                        double *ret_longest_mm, po_err *err) PO_MUST_USE;

#endif
