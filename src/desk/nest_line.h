/* Bedfuls for the desk's page: laid out in a thread of their own, the best so far to be seen meanwhile. SPDX-License-Identifier: Apache-2.0
 *
 * A layout is searched for in rounds, each twice as long as the one before and from another seed; after each the best layout so far can be
 * seen. Who stops it keeps that. It ends by itself where no layout can take fewer beds, when its time is over, or when nobody asks for it
 * any more. Pictures and files are made by the same thread, so that whoever answers only copies them. */
#ifndef PO_DESK_NEST_LINE_H
#define PO_DESK_NEST_LINE_H

#include "desk/files.h"
#include "work/bedful.h"

enum {
    DESK_NEST_ID = 33,    /* 32 hex digits */
    DESK_NEST_FILES = 64, /* of one layout */
    DESK_NEST_SECONDS = 20,
    DESK_NEST_SECONDS_MOST = 300
};

typedef struct desk_nest_asked { /* held against the shop */
    const po_machine *machine;
    const po_material *material;
    const po_recipe *recipe;
    desk_file files[DESK_NEST_FILES];
    uint32_t copies[DESK_NEST_FILES];
    size_t n;
    double turn_step, clearance_mm, margin_mm;
    bool find_pose, keep_holes_free, finish_each;
    int seconds;
} desk_nest_asked;

typedef enum desk_nest_stage {
    DESK_NEST_FREE,
    DESK_NEST_WAITS,
    DESK_NEST_WORKS,
    DESK_NEST_DONE,
    DESK_NEST_FAILED
} desk_nest_stage;

typedef struct desk_nest_standing { /* a copy; texts in the arena of whoever asks */
    desk_nest_stage stage;
    char id[DESK_NEST_ID];
    int position;   /* in the line, from 1 */
    double seconds; /* searched so far */
    int most_seconds, rounds;
    bool stopped;
    const char *doing;  /* "reads", "lays", "writes" */
    const char *result; /* "proveout/nest/1" of the best so far; NULL: none yet */
    size_t n_files;     /* bedfuls that can be had as 3MF */
    po_err err;         /* of FAILED */
} desk_nest_standing;

/* Errors: PO_E_LIMIT (this client has enough in the line), PO_E_CONFLICT (the line is full), PO_E_NOMEM. */
po_status desk_nest_ask(po_desk *desk, const desk_nest_asked *asked, const char *client, desk_nest_standing *ret,
                        po_err *err) PO_MUST_USE;
/* How it stands; who asks keeps it alive. False: there is none of that id. */
bool desk_nest_stands(po_desk *desk, const char *id, po_arena *arena, desk_nest_standing *ret);
/* No more searching: the best so far is the answer; what still waits ends without one. */
bool desk_nest_stop_one(po_desk *desk, const char *id);
/* The picture of the best so far (bedful 0) or the 3MF of one bedful, from 1, copied into the arena; NULL: none (yet). */
const void *desk_nest_bytes(po_desk *desk, const char *id, size_t bedful, po_arena *arena, size_t *ret_n);

po_status desk_nests_open(po_desk *desk, po_err *err) PO_MUST_USE;
/* Its thread ends, before the server is gone, which it tells what has changed. */
void desk_nests_stop(po_desk *desk);
void desk_nests_close(po_desk *desk);

#endif
