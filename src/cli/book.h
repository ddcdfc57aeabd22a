/* A proof in the light of the book: what is fitted and loaded, who asks, what is left, what runs have really taken. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_BOOK_H
#define PO_CLI_BOOK_H

#include "desk.h"
#include "proveout/learn.h"

enum { CLI_MOST_SPOOLS = 8 };

typedef struct cli_book {
    desk desk;           /* ledger NULL: no book is asked */
    bool own;            /* the ledger was opened here */
    const char *member;  /* NULL: nobody in particular */
    bool told_suspended; /* said once, however many machines are asked */
    const char *spools[CLI_MOST_SPOOLS];
    size_t n_spools;                      /* those of --spool, one for each tool in order; 0: what is loaded */
    po_learned *time, *filament, *latest; /* latest: time alone, from the latest runs, for a quick answer */
} cli_book;

/* How a machine is fitted and loaded now. */
typedef struct cli_fitted {
    const po_machine *machine;                  /* the shop's, or a copy with the nozzles that are fitted */
    const po_material *materials[PO_MAX_TOOLS]; /* NULL: the book does not say */
    double spool_g;                             /* left on the spool of a machine with one nozzle; NAN: not known */
    json_t *now; /* its row of the question "machines", NULL: the book has none; cli_book_close's */
} cli_fitted;

/* The book of --ledger, --member, --spool, PROVEOUT_LEDGER or the shop file, to be read only; ledger NULL where none is named, or
 * where only the shop file or PROVEOUT_LEDGER name one that is not there. EXIT_CLEAR or a message printed. */
int cli_book_open(cli_book *book, const cli_call *call, const po_shop *shop, po_arena *arena);
/* The same with a desk that is open already; member and spools are set by the caller. */
void cli_book_of(cli_book *book, const desk *d);
void cli_book_close(cli_book *book);

/* How this machine is fitted; without a book: as the shop file says. */
int cli_book_fitted(cli_book *book, const po_machine *machine, cli_fitted *ret);
/* What the book adds to the context of a proof of this job (sha256 NULL: none) on this machine. */
int cli_book_context(cli_book *book, const cli_fitted *fitted, const char *sha256, po_proof_context *context);
/* What runs of this machine and recipe (NULL: none) really took, into the context; nothing where nobody knows. */
int cli_book_learned(cli_book *book, const po_machine *machine, const po_recipe *recipe, po_proof_context *context);

/* Seconds alone, from the latest runs, as ratios of the model's; *ret_from "model": nobody knows better, and *ret is the model's own. */
int cli_book_seconds(cli_book *book, const po_machine *machine, const po_recipe *recipe, po_range *ret,
                     const char **ret_from);

/* When a run ends, and the range in which it does, from its proof's end and seconds, as runs really went; from "model": nobody knows
 * better. Whoever shows an end takes it from here, so that all verbs say the same. */
typedef struct cli_run_end {
    int64_t ms, low_ms, high_ms;
    const char *from;
} cli_run_end;
int cli_book_end(cli_book *book, const char *machine, const char *recipe, int64_t seconds, int64_t proof_end_ms,
                 cli_run_end *ret);

/* The same for a row of the question "machines", into its "ends_ms"; "proof_ends_ms" and "ends_from" beside it. */
int cli_book_machine_ends(cli_book *book, json_t *row);

/* Judge in the light of the book: once, and where runs have something to say of this recipe, once more. */
po_status cli_book_judge(cli_book *book, const po_job_report *report, const char *path, po_proof_context *context,
                         po_arena *arena, const po_proof **ret, po_err *err);

#endif
