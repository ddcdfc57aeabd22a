/* Bitmaps of a raster: thick lines in, spans and pieces out. SPDX-License-Identifier: Apache-2.0
 *
 * Cell (i, j) covers x in [i, i + 1), y in [j, j + 1) in units of the raster; its centre is (i + 0.5, j + 0.5). A cell
 * belongs to a thick line when its centre is within the radius of the centre line. Rows are words of 64 cells, lowest
 * bit first. */
#ifndef PO_GEOMETRY_BITMAP_H
#define PO_GEOMETRY_BITMAP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct po_cells { /* a rectangle of cells, upper ends excluded; empty when x0 >= x1 */
    int x0, y0, x1, y1;
} po_cells;

typedef struct po_bitmap {
    int width, height; /* cells */
    size_t stride;     /* words in a row */
    uint64_t *bits;
    po_cells used; /* bounds of what was set since the last clear (words, so a little wide in x) */
} po_bitmap;

/* Lazily zeroed; false when memory is gone. */
bool po_bitmap_init(po_bitmap *map, int width, int height);
void po_bitmap_done(po_bitmap *map);  /* accepts zeroed */
void po_bitmap_clear(po_bitmap *map); /* only what was used */

static inline bool po_bitmap_at(const po_bitmap *map, int x, int y)
{
    return map->bits[(size_t)y * map->stride + ((size_t)x >> 6)] >> (x & 63) & 1;
}
void po_bitmap_set_span(po_bitmap *map, int y, int x0, int x1); /* [x0, x1), clipped */

/* Set the cells of a thick line from (ax, ay) to (bx, by) of the given radius, in cells; clipped to the map. */
void po_bitmap_line(po_bitmap *map, float ax, float ay, float bx, float by, float radius);
/* The same for those in rows [y0, y1); used, not the map's own, is widened: threads may draw at once into other rows. */
void po_bitmap_line_rows(po_bitmap *map, float ax, float ay, float bx, float by, float radius, int y0, int y1,
                         po_cells *used);
/* Make a hold b as well. */
void po_cells_join(po_cells *a, const po_cells *b);

/* The spans of that line, for callers that write something else than bits: at most max rows at a time.
 * Returns the number of rows written from *row on and moves *row; 0 when done. lo/hi: first and last cell, lo > hi: none.
 * Start with *row = INT_MIN. */
enum { PO_SPAN_ROWS = 32 };
int po_line_spans(float ax, float ay, float bx, float by, float radius, int *row, int32_t lo[PO_SPAN_ROWS],
                  int32_t hi[PO_SPAN_ROWS]);

typedef struct po_run { /* set cells [x0, x1) of row y, belonging to piece */
    int32_t x0, x1, y;
    uint32_t piece;
} po_run;

/* Runs of set (or, with empty, unset) cells of an area and the connected pieces they form (8 neighbours; 4 for empty
 * ones, so that the two agree). Grown as needed and reused. */
typedef struct po_runs {
    po_run *runs;
    size_t n_runs, cap_runs;
    uint32_t *row_start; /* n_rows + 1 indices into runs */
    size_t n_rows, cap_rows;
    int y0;           /* row of row_start[0] */
    uint32_t *parent; /* of provisional pieces */
    size_t cap_parent;
    uint32_t n_pieces; /* pieces are 0 .. n_pieces - 1, in the order of their first run */
} po_runs;
void po_runs_done(po_runs *runs);
/* false when memory is gone. */
bool po_runs_find(po_runs *runs, const po_bitmap *map, po_cells area, bool empty);
/* Join pieces that lie at most one cell apart along a row or a column: seams thinner than the raster tells. False when
 * memory is gone. */
bool po_runs_join_near(po_runs *runs);
/* The run that holds a cell, or NULL. */
const po_run *po_runs_at(const po_runs *runs, int x, int y);

/* out = cells of `in` (or its complement within area, with empty) whose square of side x side cells towards higher x and
 * y lies wholly in the set: an erosion by shifts and ands. out must have the same size; its area is overwritten. */
void po_bitmap_erode(const po_bitmap *in, po_cells area, bool empty, int side, po_bitmap *out);

/* Diameter in cells of the largest circle inside one piece of runs (cells outside the piece are walls), by an exact
 * distance transform (Felzenszwalb & Huttenlocher, Theory of Computing 8, 2012). Returns a negative number when memory
 * is gone or the piece spans more than 64 million cells. */
double po_runs_inscribed(const po_runs *runs, uint32_t piece);

#endif
