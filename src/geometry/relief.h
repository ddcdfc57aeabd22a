/* A relief: for each cell of a raster the highest deposited height and a label. SPDX-License-Identifier: Apache-2.0
 *
 * Cells lie in squares of 4 x 4, each square's heights in one cache line, so that a line drawn or sampled in any direction
 * touches few of them:
 *
 *     square (i, j):  heights[16 * (j * squares + i) + 4 * (y & 3) + (x & 3)],  i = x >> 2, j = y >> 2
 *
 * Untouched memory is zero and costs nothing. */
#ifndef PO_GEOMETRY_RELIEF_H
#define PO_GEOMETRY_RELIEF_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct po_relief {
    int width, height; /* cells */
    size_t squares;    /* in a row of squares */
    float *heights;    /* 0 = nothing deposited */
    uint16_t *labels;  /* 0 = none */
    size_t cells;      /* of each array */
} po_relief;

/* False when memory is gone. */
bool po_relief_init(po_relief *relief, int width, int height);
void po_relief_done(po_relief *relief); /* accepts zeroed */

/* Index of a cell into heights and labels; 0 <= x < width, 0 <= y < height. */
static inline size_t po_relief_at(const po_relief *r, int x, int y)
{
    return (((size_t)((unsigned)y >> 2) * r->squares + ((unsigned)x >> 2)) << 4) + (((unsigned)y & 3) << 2) +
           ((unsigned)x & 3);
}

/* Cells [x0, x1) of row y: the height becomes z where z is higher (top: nothing there is higher, no need to look), the
 * label becomes label. */
void po_relief_span(po_relief *r, int y, int x0, int x1, float z, uint16_t label, bool top);

/* The same for the cells of a thick line (bitmap.h) that lies wholly inside, a cell from every edge. */
void po_relief_line(po_relief *r, float ax, float ay, float bx, float by, float radius, float z, uint16_t label,
                    bool top);

/* Bits of the four cells from x (a multiple of 4) on whose height is at least floor. */
static inline unsigned po_relief_four(const po_relief *r, int x, int y, float floor)
{
    const float *h = r->heights + po_relief_at(r, x, y);
    return (unsigned)(h[0] >= floor) | (unsigned)(h[1] >= floor) << 1 | (unsigned)(h[2] >= floor) << 2 |
           (unsigned)(h[3] >= floor) << 3;
}

#endif
