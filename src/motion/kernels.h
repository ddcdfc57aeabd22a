/* The loops over blocks of moves, once for each kind of processor. SPDX-License-Identifier: Apache-2.0
 *
 * All versions give the same bits: the same operations in the same order, each rounded once. */
#ifndef PO_MOTION_KERNELS_H
#define PO_MOTION_KERNELS_H

#include "motion/rates.h"

/* Directions of the moves of one chunk, one array per axis. */
typedef struct po_directions {
    double *x, *y, *z, *e;
} po_directions;

typedef struct po_kernels {
    const char *name;
    /* Squared cruise speed, 1 / acceleration, 2 a L and direction of moves first .. first+n-1 of the block, as if all
     * were straight. Void moves get speed 0, 2 a L 0 and no direction. */
    void (*limits)(const po_rates *rates, const po_move_block *block, size_t first, size_t n, po_directions u,
                   double *v2, double *ia, double *reach2);
    /* Squared speeds at the corners into moves 1 .. n-1 of the chunk; corner2[0] is left alone. */
    void (*corners)(const po_rates *rates, const double *xyz_length, size_t n, po_directions u, const double *v2,
                    const double *ia, double *corner2);
    /* Seconds and top speeds of n moves from their squared speeds at both ends, edge2[0 .. n]. */
    void (*times)(size_t n, const double *edge2, const double *v2, const double *ia, const double *reach2,
                  double *seconds, double *top_mm_s);
} po_kernels;

/* The fastest that this processor can run. */
const po_kernels *po_kernels_best(void);
/* All that this processor can run, plainest first; for tests. NULL past the last. */
const po_kernels *po_kernels_at(size_t i);

#endif
