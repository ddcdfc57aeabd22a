/* One job proved on one machine or on all, in the light of book and calendar. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_PROVE_H
#define PO_WORK_PROVE_H

#include "work/book.h"

typedef struct work_prove_options {
    const po_recipe *recipe;                    /* NULL: the nearest */
    const po_material *materials[PO_MAX_TOOLS]; /* wished, by nozzle; NULL: what is loaded, else the house's */
    const char *const
        *permissions; /* of somebody whom the book does not know; NULL: not asked. book->member goes before it */
    size_t n_permissions;
    bool start_known;
    po_wall_time start; /* of the run, on the shop's wall; it is then judged in the light of the calendar */
    bool images;        /* keep images of the layers, for slips with pictures */
    size_t prints;      /* heights kept, for holding it against a part; 0: none */
    int threads;        /* 0: as many as cores */
    /* Called now and then from the calling thread; false cancels (PO_E_CANCELLED). NULL: none. total 0: not known */
    bool (*progress)(uint64_t bytes_done, uint64_t bytes_total, void *user);
    void *user;
} work_prove_options;

typedef struct work_proved {
    const po_proof *proof; /* with report, findings, ranges */
    const po_material *materials[PO_MAX_TOOLS];
    po_proof_context context;  /* what it was judged by */
    const po_machine *machine; /* the shop's own (proof->report->machine is as it is fitted) */
} work_proved;

/* Measure a job once and judge it on each of n machines, as `check` does.
 * book      with member and spools set, or without a ledger: then by the shop file alone. spools go with n_machines 1
 * source    path or memory; file: its name, for messages and slips; both borrowed as long as the proofs are used
 * options   NULL: none
 * arena     owns what is returned, except that texts from the book live in book->work->arena; may be the same
 * ret       room for n_machines; written on success only
 * Errors    PO_E_EMPTY (no job at all), PO_E_SYNTAX, PO_E_LIMIT, PO_E_IO, PO_E_CANCELLED (progress said so), those of
 *           work_book_fitted and work_book_context; PO_E_RANGE with where "start": that time does not exist
 * Threads   calls from several threads with books, contexts and arenas of their own are safe; they may share one ledger */
po_status work_prove(work_book *book, const po_machine *const *machines, size_t n_machines, const po_source *source,
                     const char *file, const work_prove_options *options, po_arena *arena, work_proved *ret,
                     po_err *err) PO_MUST_USE;

/* On all machines of the shop, in its order: ret has room for shop->n_machines. */
po_status work_prove_all(work_book *book, const po_source *source, const char *file, const work_prove_options *options,
                         po_arena *arena, work_proved *ret, po_err *err) PO_MUST_USE;

/* The index of the best verdict, the first of equals; what `check` answers with. n is at least 1. */
size_t work_best(const work_proved *proved, size_t n);

/* ---- what `check` does of its own accord, piece by piece ---- */

/* The proof of a job that starts at context->start, judged anew in the light of the calendar; as it is where the zone is not known here or
 * the desk never opens.
 * Errors  PO_E_RANGE (where "start": there is no such time that day), PO_E_NOMEM */
po_status work_judge_when(const po_job_report *report, const char *file, po_proof_context *context, po_arena *arena,
                          const po_proof **proof, po_err *err) PO_MUST_USE;

#endif
