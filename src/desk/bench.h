/* What is computed of a part that is looked at: a line of its own beside the proofs. SPDX-License-Identifier: Apache-2.0
 *
 * A way up, a mesh, a picture of a proof in memory takes from a hundredth of a second to many seconds: too long for those
 * who answer. Each is asked for by a key; who asks twice gets what was computed once. What nobody asks for any more is
 * broken off. */
#ifndef PO_DESK_BENCH_H
#define PO_DESK_BENCH_H

#include "desk/proving.h"
#include "proveout/show.h"

typedef enum desk_look {
    DESK_LOOK_PART,    /* the whole: solids, ways up, faces, spots */
    DESK_LOOK_MESH,    /* bytes */
    DESK_LOOK_POSE,    /* one way up in full */
    DESK_LOOK_CLASSES, /* bytes: of each triangle, in one way up */
    DESK_LOOK_SCALES,
    DESK_LOOK_VIEW, /* SVG */
    DESK_LOOK_WRITE /* 3MF */
} desk_look;

typedef struct desk_look_asked { /* plain values, so that it is its own key; texts are of the shop */
    desk_look look;
    size_t machine, solid; /* indices into the proof's machines and the report's solids */
    double turn[9], degrees[3], scale;
    int64_t face; /* a triangle to stand on; -1: none */
    const po_recipe *recipe;
    bool below, small, mended;
} desk_look_asked;

typedef struct desk_seen { /* what was computed; lives in the arena given */
    const char *type;
    const void *data;
    size_t n;
} desk_seen;

/* part_looks.c: the work itself, apart from any line. */
po_status desk_look_do(po_desk *desk, const desk_made *made, const desk_look_asked *asked,
                       bool (*progress)(uint64_t done, uint64_t total, void *user), void *user, po_arena *arena,
                       desk_seen *ret, po_err *err) PO_MUST_USE;

typedef enum desk_look_state { DESK_LOOK_WAITS, DESK_LOOK_DONE, DESK_LOOK_FAILED, DESK_LOOK_FULL } desk_look_state;

/* Find or begin; made is borrowed (the bench takes its own share of it while it works). Done: *ret in the arena given.
 * Failed: err. share: how far it is. */
desk_look_state desk_bench_ask(po_desk *desk, const char *proof, desk_made *made, const desk_look_asked *asked,
                               const char *client, po_arena *arena, desk_seen *ret, double *ret_share, po_err *err);

po_status desk_bench_open(po_desk *desk, po_err *err) PO_MUST_USE;
/* Its threads end, before the server is gone, which they tell what has changed. */
void desk_bench_stop(po_desk *desk);
void desk_bench_close(po_desk *desk);

#endif
