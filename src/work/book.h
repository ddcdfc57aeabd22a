/* A proof in the light of the book: what is fitted and loaded, who asks, what is left, what runs have really taken. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_BOOK_H
#define PO_WORK_BOOK_H

#include "proveout/learn.h"
#include "work/work.h"

enum { WORK_MOST_SPOOLS = 8 };

typedef struct work_book {
    work_context *work;
    const char *member; /* NULL: nobody in particular */
    const char *spools[WORK_MOST_SPOOLS];
    size_t n_spools; /* one for each tool in order; 0: what is loaded */
    const char
        *suspended; /* set by work_book_context: why the member is suspended (no permission then counts); NULL: not */
    po_learned *time, *filament, *latest; /* latest: time alone, from the latest runs, for a quick answer */
} work_book;

/* How a machine is fitted and loaded now. */
typedef struct work_fitted {
    const po_machine *machine;                  /* the shop's, or a copy with the nozzles that are fitted */
    const po_material *materials[PO_MAX_TOOLS]; /* NULL: the book does not say */
    double spool_g;                             /* left on the spool of a machine with one nozzle; NAN: not known */
    json_t *
        now; /* its row of the question "machines", with the ends corrected; NULL: the book has none. work_fitted_done's */
} work_fitted;

/* How this machine is fitted; without a book: as the shop file says.
 * Errors  work_ask's; PO_E_RANGE (more spools than nozzles, a spool of a material that the shop has not), PO_E_NOTFOUND (no such spool) */
po_status work_book_fitted(work_book *book, const po_machine *machine, work_fitted *ret, po_err *err) PO_MUST_USE;
void work_fitted_done(work_fitted *fitted);
/* The material in a nozzle: what is loaded, else the house's where the machine takes it, else the machine's first. */
const po_material *work_material(const po_shop *shop, const work_fitted *fitted, size_t nozzle);

/* What the book adds to the context of a proof of this job (sha256 NULL: none) on this machine; book->suspended. */
po_status work_book_context(work_book *book, const work_fitted *fitted, const char *sha256, po_proof_context *context,
                            po_err *err) PO_MUST_USE;
/* What runs of this machine and recipe (NULL: none) really took, into the context; nothing where nobody knows. */
po_status work_book_learned(work_book *book, const po_machine *machine, const po_recipe *recipe,
                            po_proof_context *context, po_err *err) PO_MUST_USE;
/* Judge in the light of the book: once, and where runs have something to say of this recipe, once more. */
po_status work_book_judge(work_book *book, const po_job_report *report, const char *file, po_proof_context *context,
                          po_arena *arena, const po_proof **ret, po_err *err) PO_MUST_USE;

/* Seconds alone, from the latest runs, as ratios of the model's; *ret_from "model": nobody knows better, and *ret is the model's own. */
po_status work_book_seconds(work_book *book, const po_machine *machine, const po_recipe *recipe, po_range *ret,
                            const char **ret_from, po_err *err) PO_MUST_USE;

/* When a run ends, and the range in which it does, from its proof's end and seconds, as runs really went; from "model": nobody knows
 * better. Whoever shows an end takes it from here, so that all say the same. */
typedef struct work_run_end {
    int64_t ms, low_ms, high_ms;
    const char *from;
} work_run_end;
/* machine, recipe: names; recipe may be NULL or of none */
po_status work_book_end(work_book *book, const char *machine, const char *recipe, int64_t seconds, int64_t proof_end_ms,
                        work_run_end *ret, po_err *err) PO_MUST_USE;
/* The same for a row of the question "machines", into its "ends_ms"; "proof_ends_ms" and "ends_from" beside it. */
po_status work_book_machine_ends(work_book *book, json_t *row, po_err *err) PO_MUST_USE;

#endif
