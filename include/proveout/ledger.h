/* The book of the desk: append-only events in one SQLite file, and what follows from them. SPDX-License-Identifier: Apache-2.0
 *
 * Whatever happens at the desk is an act. An act is checked against what the book says now, written as one event, chained
 * to the last by hash, and applied to derived tables, all in one transaction that is on the disk before the call returns.
 * The derived tables can be thrown away and made again from the events, equal byte for byte. What a person's name is stands
 * apart from the events, so that a person can be forgotten and the accounts still add up.
 * Money is in minor units and lengths of filament in micrometres, masses in milligrams: integers, never floating point.
 * Times are milliseconds of UTC since 1970. Bodies and answers are JSON objects (RFC 8259, UTF-8). */
#ifndef PROVEOUT_LEDGER_H
#define PROVEOUT_LEDGER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

/* An open book. One at a time may use it; several callers in threads share one through po_ledger_act's own lock. */
typedef struct po_ledger po_ledger;

typedef struct po_ledger_options {
    bool create;                   /* make a new book where there is none; else PO_E_NOTFOUND */
    bool read_only;                /* questions only */
    int64_t wait_ms;               /* how long to wait for another process; 0 = 10 s */
    const char *vfs;               /* SQLite's file layer by name, for tests; NULL = the usual one */
    int64_t (*now_ms)(void *user); /* the clock; NULL = the system's */
    void *user;
} po_ledger_options;

/* Errors: PO_E_NOTFOUND, PO_E_IO (rights, disk), PO_E_SYNTAX (not a book, or damaged), PO_E_UNSUPPORTED (made by a newer
 * version), PO_E_NOMEM. options may be NULL. */
PO_API po_status po_ledger_open(const char *path, const po_ledger_options *options, po_ledger **ret,
                                po_err *err) PO_MUST_USE;
PO_API void po_ledger_close(po_ledger *ledger); /* accepts NULL */

typedef struct po_act {
    const char *name; /* "member-enrol", "permit-grant" ...; docs/ledger.md lists them with their fields */
    const char *by;   /* who does it: a member's number or a word such as "keeper" */
    const char *body; /* a JSON object */
} po_act;

typedef struct po_act_done {
    uint64_t event;     /* its number */
    char hash[65];      /* of the event, in hex */
    const char *answer; /* a JSON object: what it came to; in the arena */
} po_act_done;

/* Carry out one act. When it returns PO_OK the act is on the disk.
 * Errors: PO_E_CONFLICT (the book does not allow it: err->msg is one sentence that says why and what would make it
 * possible), PO_E_NOTFOUND (no such act, member, machine ...), PO_E_RANGE / PO_E_SYNTAX (a field: err->where names it),
 * PO_E_IO, PO_E_NOMEM. After an error nothing of the act is there. Safe from several threads at once: acts that wait
 * together share one sync of the disk. */
PO_API po_status po_ledger_act(po_ledger *ledger, const po_act *act, po_arena *arena, po_act_done *ret,
                               po_err *err) PO_MUST_USE;

enum { PO_ACTS_MOST = 20000 };
/* Carry out several acts in order, all of them or none: one transaction, an event each.
 * acts, ret  n of each; ret is written on success only
 * ret_failed always written: on failure, which act could not be carried out
 * Errors     as po_ledger_act; PO_E_RANGE for n of 0 or above PO_ACTS_MOST */
PO_API po_status po_ledger_act_all(po_ledger *ledger, const po_act *acts, size_t n, po_arena *arena, po_act_done *ret,
                                   size_t *ret_failed, po_err *err) PO_MUST_USE;

/* Ask a question: name and a JSON object of parameters (NULL = none) to a JSON document, in the arena.
 * Errors: PO_E_NOTFOUND (no such question or thing), PO_E_RANGE, PO_E_IO, PO_E_NOMEM. */
PO_API po_status po_ledger_ask(po_ledger *ledger, const char *question, const char *parameters, po_arena *arena,
                               const char **ret_json, po_err *err) PO_MUST_USE;

/* Acts and questions there are, for help and for tests. Static data. */
typedef struct po_ledger_verb {
    const char *name, *says, *fields; /* fields: "member: text; metres: number ..." */
} po_ledger_verb;
PO_API const po_ledger_verb *po_ledger_acts(size_t *ret_n);
PO_API const po_ledger_verb *po_ledger_questions(size_t *ret_n);

/* Check everything: the chain of hashes, foreign keys, SQLite's integrity_check, and derived tables against the events.
 * Faults are sentences in the arena; none: n 0. */
PO_API po_status po_ledger_verify(po_ledger *ledger, po_arena *arena, const char *const **ret_faults, size_t *ret_n,
                                  po_err *err) PO_MUST_USE;
/* Throw the derived tables away and make them again from the events. */
PO_API po_status po_ledger_rebuild(po_ledger *ledger, po_err *err) PO_MUST_USE;
/* A verified copy while others go on working; `to` must not exist. */
PO_API po_status po_ledger_backup(po_ledger *ledger, const char *to, po_err *err) PO_MUST_USE;

/* Make a backup the book at `path`. A copy of it is brought up to the present version and verified first; the book that is
 * there is kept under a dated name (*ret_aside, in the arena; NULL: there was none) and never changed. Whenever this is cut off,
 * a whole book stands under the name: the old one or the new one.
 * options  clock and waiting of the check; may be NULL
 * Errors   PO_E_CONFLICT (another program has the book open; the backup is the book), PO_E_SYNTAX (the backup is damaged or no
 *          ledger), PO_E_UNSUPPORTED (of a newer version), PO_E_NOTFOUND, PO_E_IO, PO_E_NOMEM. Then all is as it was. */
PO_API po_status po_ledger_restore(const char *from, const char *path, const po_ledger_options *options,
                                   po_arena *arena, const char **ret_aside, po_err *err) PO_MUST_USE;

/* Be told how far long work has come (verify, rebuild, backup): events done of all, now and then. false stops it with
 * PO_E_CANCELLED; nothing is changed then. NULL: no more. Not while a call is under way. */
typedef bool po_ledger_step(uint64_t done, uint64_t total, void *user);
PO_API void po_ledger_watch(po_ledger *ledger, po_ledger_step *step, void *user);

/* Milligrams of a length of filament, rounded to the nearest, and micrometres of a mass; -1 where a value is out of reach
 * (10 km, 100 t, 10 mm, 30 g/cm3). No floating point. Source: docs/measures.md, "Filament, volume, mass". */
PO_API int64_t po_ledger_mg(int64_t um, int64_t diameter_um, int64_t density_mg_cm3);
PO_API int64_t po_ledger_um(int64_t mg, int64_t diameter_um, int64_t density_mg_cm3);

#ifdef __cplusplus
}
#endif
#endif
