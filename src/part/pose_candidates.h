/* Which ways up are worth a look. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_POSE_CANDIDATES_H
#define PO_PART_POSE_CANDIDATES_H

#include "part/pose_bulk.h"

enum { PO_SPREAD = 1000, PO_MOST_CANDIDATES = 2048 };

typedef enum po_candidate_kind {
    PO_CANDIDATE_AS_IS,
    PO_CANDIDATE_FLAT,  /* a large flat face down, or up */
    PO_CANDIDATE_FACE,  /* a face of the hull down */
    PO_CANDIDATE_SPHERE /* a point of a covering of the sphere, or near one */
} po_candidate_kind;

typedef struct po_candidates {
    double up[PO_MOST_CANDIDATES][3]; /* of length 1; the first is as it lies */
    po_candidate_kind kind[PO_MOST_CANDIDATES];
    size_t n;
} po_candidates;

/* PO_E_NOMEM. */
po_status po_candidates_find(const po_pose_bulk *bulk, po_candidates *ret, po_err *err) PO_MUST_USE;
/* Unless it is there already, or there are PO_MOST_CANDIDATES. */
void po_candidates_add(po_candidates *candidates, const double up[3], po_candidate_kind kind);

/* ---- pose_words.c ---- */

/* Why one would, or would not: one sentence. largest_mm2: the largest foothold of all poses found. NULL: no memory. */
const char *po_pose_why(const po_pose *pose, double largest_mm2, const po_pose_setup *setup, po_arena *arena);

#endif
