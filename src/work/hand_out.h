/* A machine goes out to a member for one job: what the book and the proof say to it, and the acts. SPDX-License-Identifier: Apache-2.0
 *
 * A hand-out is made in steps, for the command line and the server alike: begin with what is wished, look whether the machine may go
 * out, take a proof, decide, then the acts. Every figure of the acts is the proof's, never a caller's. */
#ifndef PO_WORK_HAND_OUT_H
#define PO_WORK_HAND_OUT_H

#include "work/prove.h"

typedef struct work_hand_out {
    work_book *book; /* with member and, where others than the loaded ones are wished, spools */
    const po_machine *machine;
    const char *file;    /* the job's name */
    json_t *body;        /* of the act run-hand-out; what is wished stands in it at first (member, fund, beyond ...) */
    json_t *now;         /* the machine's row of the question "machines"; NULL: the book has none */
    json_t *reservation; /* the run that goes out, of the question "run"; NULL: none was reserved */
    json_t *found;       /* findings that remain for a person, as {name, grade, says, do} */
    po_grade worst;      /* of them */
    work_proved proved;  /* of this machine */
    const char *loaded, *other; /* the spool that is loaded by the book, where another was named for its tool */
    int other_tool;
} work_hand_out;

/* body: an object, taken over; machine and reservation are set by the caller (the latter is taken over too). */
void work_hand_out_begin(work_hand_out *h, work_book *book, json_t *body);
void work_hand_out_done(work_hand_out *h); /* accepts one that was zeroed */

/* Whether member and machine may go out at all, said before a long job is measured. The machine's row is kept in h->now.
 * needed  false: only the row is asked for (a reservation)
 * Errors  PO_E_CONFLICT with where "member", "any_of" or "machine" and a sentence; those of work_book_fitted and work_book_context */
po_status work_hand_out_may(work_hand_out *h, bool needed, po_err *err) PO_MUST_USE;

/* The stick: where body has none, the one of the machine that is there and not out. Nothing where there are several or none. */
po_status work_hand_out_stick(work_hand_out *h, po_err *err) PO_MUST_USE;

/* What the shop does with filament beyond allowance and waivers where no fund pays; PO_E_CONFLICT (where "beyond"): nothing. */
po_status work_hand_out_beyond(work_hand_out *h, po_err *err) PO_MUST_USE;

/* Take h->proved: findings, and what the act says of the job. begins_now: held against the desk's hours from now on as well.
 * Errors  those of work_judge_when */
po_status work_hand_out_take(work_hand_out *h, bool begins_now, po_arena *arena, po_err *err) PO_MUST_USE;

/* The figures of the act: um, uses or spool; for a hand-out also price, permissions, the limit for one run, verdict. */
po_status work_hand_out_figures(work_hand_out *h, bool out, po_err *err) PO_MUST_USE;

/* The act proof-keep: what is true of the job on the machine whoever brings it. The caller's; NULL: out of memory. */
json_t *work_hand_out_proof(const work_hand_out *h, po_arena *arena);

const char *work_verdict_word(po_grade worst); /* "clear", "ask", "stop" */

/* ---- which machine: the offers ---- */

/* One machine for a member's job. Lower rank goes before; of equals the earlier end, then the shop's order. */
typedef struct work_offer {
    const po_machine *machine;
    work_hand_out hand; /* taken, with figures, where `may` */
    bool may;           /* can go out now, perhaps after an answer */
    po_err why;         /* not may: why not */
    int rank;
    work_run_end end; /* may: if it begins now */
    int64_t need_um;  /* beyond allowance and waivers; 0: covered; -1: no term, nothing is counted */
    bool spool_known, spool_enough, stick_known;
} work_offer;

/* Hold a job that was measured on all machines against member and book, as it is now.
 * reports  shop->n_machines of them, as measured (work_prove_all); borrowed as long as the offers are used
 * wishes   an object that each body begins with: member, and what else is known (run, fund ...); borrowed
 * ret      room for shop->n_machines, best first; the caller ends each by work_hand_out_done(&ret[i].hand)
 * ret_anew a machine is fitted or loaded otherwise than it was measured for: measure anew, and ask again
 * Errors   of the book; on an error there is nothing to end */
po_status work_offers(work_book *book, const po_job_report *const *reports, const char *file, const json_t *wishes,
                      po_arena *arena, work_offer *ret, bool *ret_anew, po_err *err) PO_MUST_USE;

/* The same for one machine; wishes may hold what was decided (fund, beyond, stick). */
po_status work_offer_one(work_book *book, const po_machine *machine, const po_job_report *report, const char *file,
                         const json_t *wishes, po_arena *arena, work_offer *ret, bool *ret_anew,
                         po_err *err) PO_MUST_USE;

/* Whether a report holds for how the machine is fitted and loaded now. */
bool work_report_holds(const po_job_report *report, const work_fitted *fitted, const po_shop *shop);

#endif
