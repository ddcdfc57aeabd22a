/* A run that stopped before its end, in one go: from where it stopped to all acts that follow. SPDX-License-Identifier: Apache-2.0
 *
 * Somebody at opening finds a run that failed in the night and measures how high it came. By the proof by height this says what
 * was used and when it stopped; book and shop file say the likely cause, whether it counts, whether the rerun goes first, and
 * what the member hears. All of that is proposed; what was confirmed becomes acts. */
#ifndef PO_WORK_FAILURE_H
#define PO_WORK_FAILURE_H

#include "work/run_acts.h"

/* What is said of it. {0} with counts and rerun_first -1, z_um, percent, seconds, at_ms -1: nothing. */
typedef struct work_failure {
    int64_t z_um, percent, seconds; /* where it stopped, one of them; -1: not said */
    int64_t at_ms;                /* when; -1: not said (now, or where it says alone where it stopped: by the clock) */
    const char *symptom;          /* what was seen: one of work_symptoms' keys or any text; NULL: not said */
    const char *cause;            /* file, machine, material, power, handling, unknown; NULL: the outcome stays open */
    int counts, rerun_first;      /* 1 yes, 0 no, -1: by the shop's rules for the cause */
    const char *to;               /* shelf, member, waste; NULL: its part is still on the bed */
    int64_t place, kept_until_ms; /* of the shelf; 0: the next free place, the shop's days */
    int64_t recycled_mg;          /* 0: not weighed */
    bool back;                    /* the machine is taken back with it */
    const char *message;          /* to the member; NULL: the shop's text; "": none */
} work_failure;
#define WORK_FAILURE_INIT                                                                                              \
    {                                                                                                                  \
        .z_um = -1, .percent = -1, .seconds = -1, .at_ms = -1, .counts = -1, .rerun_first = -1                         \
    }

/* What is seen at a machine, with the cause that it mostly has. Common practice, no published source. */
typedef struct work_symptom {
    const char *key;  /* "loose" */
    const char *text; /* what the book keeps of it */
    po_run_cause cause;
} work_symptom;
const work_symptom *work_symptoms(size_t *ret_n);

/* Values to confirm, as one object (format "proveout/failure/1"; docs/api.md says each): used_um, used_mg, used_seconds, height_um;
 * at_ms with its range and whence; cause with why; counts, rerun_first; to, place, kept_until_ms; message; label. What was
 * said stands, the rest is proposed. Nothing is booked. The object is the caller's.
 * run     the book's question "run"; of a run that is out or ended
 * Errors  PO_E_CONFLICT (where "run": it is not on a machine), the book's about where it stopped (where z_um, percent, seconds, at), work_ask's */
po_status work_failure_propose(work_context *w, const json_t *run, const work_failure *said, json_t **ret,
                               po_err *err) PO_MUST_USE;

/* The acts of what was said, and of nothing else: run-failed; run-outcome where there is a cause; run-off where the part went
 * somewhere; run-take-back. ret: the caller's to work_acts_done, after an error too.
 * Errors  work_shelf_place's */
po_status work_failure_acts(work_context *w, const json_t *run, const work_failure *said, work_acts *ret,
                            po_err *err) PO_MUST_USE;

#endif
