/* Closed outlines on an integer grid, and what becomes of them where they cross. SPDX-License-Identifier: Apache-2.0
 *
 * All of clipping and offsetting is exact from here on: points are whole numbers of at most 41 bits, so that products
 * of two or three differences fit 128 bits. Steps, each with a file of its own:
 *   crossings.c  where rings touch or cross (nodes), by snap rounding
 *   pixels.c     (of these, many roundings along an edge)
 *   paths.c      rings cut at the nodes into paths; winding numbers on both sides of each
 *   beside.c     the path that lies next to the left of a point
 *   arrange.c    the paths between inside and outside, linked to loops
 * Memory is scratch that the caller gives and frees; nothing here keeps anything. */
#ifndef PO_GEOMETRY_RINGS_H
#define PO_GEOMETRY_RINGS_H

#include "geometry/scratch.h"
#include "proveout/loops.h"

typedef struct po_spot {
    int64_t x, y;
} po_spot;

__extension__ typedef __int128 po_wide;

static inline po_wide po_spot_cross(int64_t ax, int64_t ay, int64_t bx, int64_t by)
{
    return (po_wide)ax * by - (po_wide)ay * bx;
}

enum {
    PO_RINGS_BITS = 41,             /* no two coordinates differ by more than 2^41 */
    PO_RINGS_MOST_POINTS = 1 << 23, /* of one call's input or raw offset */
    PO_RINGS_MOST_NODES = 1 << 23,  /* places where rings touch or cross, counted once for each edge there */
};
#define PO_RINGS_MOST_TESTS ((uint64_t)1 << 33) /* pairs of edges looked at: about half a minute */
#define PO_RINGS_MOST_BYTES ((size_t)8 << 30)   /* scratch of one call */
#define PO_RINGS_BYTES_A_POINT ((size_t)104)    /* of it, where rings hardly touch */
/* Rings of a smaller mean width are what rounding leaves, not material. */
#define PO_RINGS_LEAST_WIDTH_MM 1e-6

/* Ring i is at[start[i]] .. at[start[i + 1] - 1]; its last point is its first again. No two points in a row are equal. */
typedef struct po_rings {
    po_spot *at;
    uint32_t *start; /* n_rings + 1 */
    size_t n_points, n_rings;
    size_t n_first; /* rings below this one belong to the first operand, the others to the second */
} po_rings;

/* Whole numbers of mm / 2^bits. */
typedef struct po_grid {
    double per_mm, mm;
} po_grid;

/* The grid for coordinates up to most_mm on either side of 0: 2^-24 mm up to 65 m, coarser beyond. */
po_grid po_grid_for(double most_mm);
/* The largest absolute coordinate; PO_E_RANGE for one that is not finite or beyond 1e6 mm, or for loops whose ends are
 * not in order. */
po_status po_loops_reach(const po_loops *loops, double *ret_mm, po_err *err);
/* Both operands on the grid (b may be NULL), without points twice in a row and rings of fewer than three points. Many
 * loops are put in an order that keeps neighbours together. */
po_status po_rings_of(const po_loops *a, const po_loops *b, po_grid grid, po_scratch *scratch, po_rings *ret,
                      po_err *err);
/* Back to mm, into the arena. */
po_status po_rings_to_loops(const po_rings *rings, po_grid grid, po_arena *arena, po_loops *ret, po_err *err);

/* The boundary of what `how` makes of the two operands, each taken by positive winding: simple rings that do not cross,
 * outer ones counter-clockwise. Rings of a mean width below least_width (grid units) are left out. */
po_status po_rings_arrange(const po_rings *in, po_clip how, double least_width, po_scratch *scratch, po_rings *ret,
                           po_err *err);

/* Points with numbers: equal ones have the same. */
typedef struct po_spots {
    po_spot *at;
    uint32_t *slots; /* number + 1, 0 = free */
    uint32_t n, room, mask;
} po_spots;

/* A node on an edge (by the number of the edge's start), between its ends. */
typedef struct po_hit {
    uint32_t edge, node;
} po_hit;

typedef struct po_crossings {
    po_spots nodes;
    uint32_t *node_of; /* for each point of the rings: number of its node + 1, 0 = touches nothing */
    po_hit *hits;      /* by edge, and along each edge; none twice */
    size_t n_hits, n_marked;
} po_crossings;

po_status po_rings_cross(const po_rings *rings, po_scratch *scratch, po_crossings *ret, po_err *err);

/* A stretch of a ring between two nodes, or a whole ring that touches nothing (closed). */
typedef struct po_path {
    uint32_t first, last; /* points of po_paths.at, both ends included */
    uint32_t node[2];     /* of first and last; PO_NO_NODE when closed */
    uint32_t lowest;      /* its point with the least x, of these the least y */
    uint32_t part;        /* number + 1 of its connected part */
    int32_t weight[2];    /* how often each operand runs along it, against counts less */
    int32_t right[2];     /* winding numbers on its right; on its left they are larger by the weight */
    bool dead;            /* lies on another one, which has taken over its weight */
} po_path;

#define PO_NO_NODE UINT32_MAX

/* A path's end as seen from its node. */
typedef struct po_way {
    int64_t dx, dy;
    uint32_t end; /* 2 * path + (0 first, 1 last) */
} po_way;

typedef struct po_paths {
    po_spot *at;
    po_path *paths;
    size_t n_points, n_paths, n_nodes;
    /* Node i has the ways [way_start[i], way_start[i] + n_ways[i]), counter-clockwise from the direction of +x. */
    po_way *ways;
    uint32_t *way_start, *n_ways;
    uint32_t *place; /* of each end among the ways of its node */
} po_paths;

/* Cut the rings and find all winding numbers. */
po_status po_paths_of(const po_rings *rings, const po_crossings *crossings, po_scratch *scratch, po_paths *ret,
                      po_err *err);

/* Paths in a tree of boxes. */
typedef struct po_beside po_beside;
po_status po_beside_new(const po_paths *paths, po_scratch *scratch, po_beside **ret, po_err *err);
/* The first edge that a ray meets which leaves v for smaller x, a trifle above v; edges through v are not met. False when
 * there is none. ret_up: the edge goes up along its path, so that v lies on the path's right. */
bool po_beside_left_of(const po_beside *beside, po_spot v, uint32_t *ret_path, bool *ret_up);

/* Memory of n pieces, not zeroed beyond what an arena does; fills err. */
po_status po_rings_memory(po_err *err);

#endif
