/* Proofs: the queue, the computing, what is kept of them. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_DESK_PROVING_H
#define PO_DESK_PROVING_H

#include "desk/files.h"
#include "proveout/calendar.h"
#include "proveout/slip.h"
#include "work/prove.h"

enum { DESK_PROOF_ID = 33, DESK_SLIP_CODE = 10 }; /* 32 hex digits; "ABCD-EFGH" */

/* ---- proving.c: one file proved, apart from queue and network ---- */

/* What is asked of a file; texts of the shop or in whoever's arena. */
typedef struct desk_asked {
    desk_file file;
    const po_machine *machine; /* NULL: all */
    const po_material *materials[PO_MAX_TOOLS];
    size_t n_materials;
    const po_recipe *recipe;
    const char *permissions[32];
    size_t n_permissions;
    bool permissions_asked;
    int64_t start_ms; /* -1: not asked */
    char member[DESK_ID_MOST];
} desk_asked;

/* A proof as it was computed, in memory; shared by count. */
typedef struct desk_made {
    po_arena *arena;
    size_t n;
    const po_proof **jobs;       /* n, or NULL */
    const po_part_proof **parts; /* n, or NULL */
    const po_part *part;         /* of parts: as it was read */
    const po_machine **machines; /* the shop's own */
    size_t best;
    int users;
} desk_made;

/* share: 0 to 1 of what `doing` names; false breaks it off (PO_E_CANCELLED). */
typedef bool desk_progress(void *user, double share, const char *doing);

/* ret_result: the document of `check --json`; the caller's. Errors: PO_E_EMPTY, PO_E_SYNTAX ... as the readers say; PO_E_CANCELLED;
 * PO_E_INTERNAL: the file's bytes are not those of its hash any more. */
po_status desk_prove(po_desk *desk, const desk_asked *asked, int threads, desk_progress *progress, void *user,
                     desk_made **ret, json_t **ret_result, po_err *err) PO_MUST_USE;
void desk_made_free(desk_made *made);
/* What the book's part in a proof rests on, as a hash in hex: another one, another proof. */
po_status desk_book_state(po_desk *desk, const char *member, char ret[65], po_err *err) PO_MUST_USE;
int64_t desk_now_ms_of(const po_desk *desk);

/* ---- proof_rows.c: one line a machine ---- */

/* Facts of each machine for its line, from what was computed: kept with the result. The caller's. */
json_t *desk_rows(po_desk *desk, const desk_made *made, const json_t *result);
/* The rows as they are now: with start, last start, end, off the bed by the calendar and what is promised. The caller's. */
json_t *desk_rows_now(po_desk *desk, const json_t *rows, po_arena *arena);

/* ---- proofs.c ---- */

typedef enum desk_state { DESK_WAITING, DESK_COMPUTING, DESK_DONE, DESK_FAILED, DESK_CANCELLED } desk_state;
const char *desk_state_word(desk_state state); /* "waits", "works", "done", "failed", "cancelled" */

/* How a proof stands; a copy. */
typedef struct desk_standing {
    desk_state state;
    char id[DESK_PROOF_ID], code[DESK_SLIP_CODE], sha256[65], member[DESK_ID_MOST];
    int position, waiting; /* in the queue, from 1; how many wait in all */
    double share;
    const char *doing;
    po_status failed;
    char says[256];
} desk_standing;

/* Put a proof into the queue, or join or find the one there is. settings: the normalised object, borrowed.
 * Errors: PO_E_LIMIT (this client has enough in the queue), PO_E_CONFLICT (the queue is full), PO_E_IO, PO_E_NOMEM. */
po_status desk_proof_ask(po_desk *desk, const json_t *settings, const char *state, const char *client,
                         desk_standing *ret, po_err *err) PO_MUST_USE;
/* How it stands; who asks keeps it alive. False: there is none of that id. */
bool desk_proof_stands(po_desk *desk, const char *id, const char *client, desk_standing *ret);
/* This client does not want it any more. */
bool desk_proof_leave(po_desk *desk, const char *id, const char *client);
/* The record with settings, result and rows; the caller's. NULL: gone. */
json_t *desk_proof_note(po_desk *desk, const char *id);
/* The computed proof, borrowed until desk_proof_give; NULL: not in memory, and it was queued again if it was done (then *ret_later). */
desk_made *desk_proof_take(po_desk *desk, const char *id, const char *client, bool *ret_later);
void desk_proof_give(po_desk *desk, desk_made *made);
/* One more share of a proof that is borrowed. */
void desk_proof_share(po_desk *desk, desk_made *made);
/* By a slip's code in any spelling; false: none, or no code (its check character does not fit: *ret_slip false). */
bool desk_proof_by_code(po_desk *desk, const char *code, char ret_id[DESK_PROOF_ID], bool *ret_slip);

/* ---- slip_codes.c ---- */

void desk_slip_code_new(po_desk *desk, char ret[DESK_SLIP_CODE]);
/* A code in any spelling: small letters, blanks, dashes. False: it is none. */
bool desk_slip_code_read(const char *text, char ret[DESK_SLIP_CODE]);

/* ---- proof_routes.c ---- */

/* The computed proof that a route is about, borrowed; NULL with the reply written, or put off until it is computed again. */
desk_made *desk_proof_route_take(po_desk *desk, desk_request *rq, desk_reply *rp, desk_standing *st);
/* Which machine is asked about; made->n: none of that name, with the reply written. */
size_t desk_proof_route_which(const desk_made *made, desk_request *rq, desk_reply *rp);

/* ---- proof_ask.c ---- */

/* Settings as they are asked for, held against the shop; false with the reply written. */
bool desk_asked_read(po_desk *desk, const json_t *settings, desk_asked *ret, desk_request *rq, desk_reply *rp);
/* The same in one spelling, for the key and for keeping. The caller's. */
json_t *desk_asked_note(const desk_asked *asked);
/* Of a note that was kept; false: the shop has no such machine, material ... any more. */
bool desk_asked_again(po_desk *desk, const json_t *note, desk_asked *ret);

#endif
