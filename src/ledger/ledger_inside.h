/* The open book. SPDX-License-Identifier: Apache-2.0
 *
 * Two connections: one writes, under the queue of acts; one asks, under a lock of its own, so that questions never wait for
 * the disk. */
#ifndef PO_LEDGER_INSIDE_H
#define PO_LEDGER_INSIDE_H

#include <pthread.h>

#include "ledger/book.h"

typedef struct po_waiting po_waiting;

struct po_ledger {
    po_store *store, *asking; /* store NULL: read only */
    int64_t (*now_ms)(void *user);
    void *user;
    pthread_mutex_t queue_lock, asking_lock;
    pthread_cond_t moved, more; /* somebody is done or may lead; somebody came to wait */
    po_waiting *first, **end;   /* acts that wait */
    int n_waiting, n_last;      /* how many wait; how many the last turn took */
    bool leading;               /* somebody has the writing connection */
    po_ledger_step *step;       /* told how far long work has come; may be NULL */
    void *step_user;
};

/* The writing connection for one caller alone. */
void po_ledger_lead(po_ledger *ledger);
void po_ledger_let_go(po_ledger *ledger);
/* Make the derived tables where they are due: after an older book was brought up. */
po_status po_ledger_derive(po_ledger *ledger, po_err *err) PO_MUST_USE;
/* Everything there is to check, through the asking connection. */
po_status po_ledger_verify_store(po_store *store, po_store_say *say, void *user, const po_watching *watching,
                                 po_err *err) PO_MUST_USE;

/* Faults as sentences in the arena; more than these are not told. */
enum { PO_FAULTS_MOST = 200 };
typedef struct po_faults {
    po_arena *arena;
    const char *list[PO_FAULTS_MOST];
    size_t n;
    bool failed;
} po_faults;
po_faults *po_faults_new(po_arena *arena, po_err *err); /* NULL: out of memory */
void po_faults_note(void *faults, const char *sentence);
po_status po_faults_hand_back(po_faults *faults, const char *const **ret_faults, size_t *ret_n,
                              po_err *err) PO_MUST_USE;

/* A question: parameters that were read in, an object out. */
typedef po_status (*po_question)(po_store *store, const json_t *parameters, int64_t now_ms, json_t *ret, po_err *err);
po_question po_question_find(const char *name, const char **ret_fields);

#endif
