/* A relief: for each cell of a raster the highest deposited height and a label. SPDX-License-Identifier: Apache-2.0
 *
 * Cells lie in tiles of 8 x 8. A tile holds what was painted into it last, and before that, as one height, one label and
 * a bit for each cell: 32 bytes instead of 384, so that the part of a bed that is being laid stays in the near caches.
 * What is older is written out, cell by cell, into arrays behind the tiles:
 *
 *     tile (i, j) = tiles[j * across + i],  i = x >> 3, j = y >> 3;  bit 8 * (y & 7) + (x & 7)
 *     its cells behind it: heights[64 * (j * across + i) + bit]
 *
 * Untouched memory is zero and costs nothing. */
#ifndef PO_GEOMETRY_RELIEF_H
#define PO_GEOMETRY_RELIEF_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "geometry/bitmap.h"

typedef struct po_tile {
    uint64_t last, before;  /* cells of the last paint; of the one before, where the last has not covered them */
    float last_z, before_z; /* their heights */
    float most;             /* the highest z ever painted here; 0 = nothing was */
    uint16_t last_label, before_label;
} po_tile;

typedef struct po_relief {
    int width, height; /* cells */
    size_t across;     /* tiles in a row of tiles */
    po_tile *tiles;
    float *heights;   /* 0 = nothing deposited; older than what the tiles hold */
    uint16_t *labels; /* 0 = none */
    size_t n_tiles;
    float *coarse; /* of 2 x 2 tiles: nothing in them is higher */
    size_t coarse_across, coarse_down;
} po_relief;

/* False when memory is gone. */
bool po_relief_init(po_relief *relief, int width, int height);
void po_relief_done(po_relief *relief); /* accepts zeroed */

/* Height and label of a cell; 0 <= x < width, 0 <= y < height. */
static inline float po_relief_look(const po_relief *r, int x, int y, uint16_t *ret_label)
{
    size_t at = (size_t)((unsigned)y >> 3) * r->across + ((unsigned)x >> 3);
    unsigned bit = ((unsigned)y & 7) << 3 | ((unsigned)x & 7);
    const po_tile *t = &r->tiles[at];
    if (t->last >> bit & 1) {
        *ret_label = t->last_label;
        return t->last_z;
    }
    if (t->before >> bit & 1) {
        *ret_label = t->before_label;
        return t->before_z;
    }
    if (t->most == 0) {
        *ret_label = 0;
        return 0;
    }
    *ret_label = r->labels[at << 6 | bit];
    return r->heights[at << 6 | bit];
}

static inline float po_relief_height(const po_relief *r, int x, int y)
{
    size_t at = (size_t)((unsigned)y >> 3) * r->across + ((unsigned)x >> 3);
    unsigned bit = ((unsigned)y & 7) << 3 | ((unsigned)x & 7);
    const po_tile *t = &r->tiles[at];
    if (t->last >> bit & 1) {
        return t->last_z;
    }
    if (t->before >> bit & 1) {
        return t->before_z;
    }
    return t->most == 0 ? 0 : r->heights[at << 6 | bit];
}

static inline uint16_t po_relief_label(const po_relief *r, int x, int y)
{
    uint16_t label;
    (void)po_relief_look(r, x, y, &label);
    return label;
}

/* How many cells from (x, y) on, along the row, are known to be of that one's height and label; at least 1. */
static inline int po_relief_alike(const po_relief *r, int x, int y)
{
    const po_tile *t = &r->tiles[(size_t)((unsigned)y >> 3) * r->across + ((unsigned)x >> 3)];
    if (t->most == 0 && !t->last && !t->before) {
        return 8 - (x & 7);
    }
    unsigned rest = (unsigned)(t->last >> (((unsigned)y & 7) << 3) & 255) >> ((unsigned)x & 7); /* from x on */
    return rest & 1 ? __builtin_ctz(~rest) : 1;
}

/* Ask early for what a look at a cell, or painting it, will need. Any x and y. */
static inline void po_relief_fetch(const po_relief *r, int x, int y)
{
    if (x >= 0 && y >= 0 && x < r->width && y < r->height) {
        __builtin_prefetch(&r->tiles[(size_t)((unsigned)y >> 3) * r->across + ((unsigned)x >> 3)]);
    }
}

/* Cells [x0, x1) of row y: the height becomes z where z is higher (top: nothing there is higher, no need to look), the
 * label becomes label. z > 0. */
void po_relief_span(po_relief *r, int y, int x0, int x1, float z, uint16_t label, bool top);
/* The same for labels alone, and for one cell's height alone. */
void po_relief_label_span(po_relief *r, int y, int x0, int x1, uint16_t label);
void po_relief_raise(po_relief *r, int x, int y, float z);

/* The same for the cells of a thick line (bitmap.h) that lies wholly inside, a cell from every edge; only those in rows
 * [y0, y1), both multiples of 16. Threads may paint at once into rows that are not the same. */
void po_relief_line(po_relief *r, float ax, float ay, float bx, float by, float radius, int y0, int y1, float z,
                    uint16_t label, bool top);

/* Set the bits (of a map of the same size, cleared) of the cells of the area whose height is at least floor; whole words
 * of a row, so a little more than the area in x. */
void po_relief_at_least(const po_relief *r, po_cells area, float floor, po_bitmap *map);

#endif
