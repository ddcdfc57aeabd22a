/* The book beside a proof, for the verbs: opened by their options, asked through src/work, failures printed. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_BOOK_H
#define PO_CLI_BOOK_H

#include "desk.h"
#include "work/book.h"

typedef struct cli_book {
    desk desk;           /* ledger NULL: no book is asked */
    bool own;            /* the ledger was opened here */
    bool told_suspended; /* said once, however many machines are asked */
    work_context work;   /* made anew from the desk at each call */
    work_book light;     /* member and spools stand here */
} cli_book;

/* The book of --ledger, --member, --spool, PROVEOUT_LEDGER or the shop file, to be read only; ledger NULL where none is named, or
 * where only the shop file or PROVEOUT_LEDGER name one that is not there. EXIT_CLEAR or a message printed. */
int cli_book_open(cli_book *book, const cli_call *call, const po_shop *shop, po_arena *arena);
/* The same with a desk that is open already; member and spools are set by the caller. */
void cli_book_of(cli_book *book, const desk *d);
void cli_book_close(cli_book *book);

/* The same book for a function of src/work, and its failure told; the exit status. */
work_book *cli_book_light(cli_book *book);
int cli_book_failed(const cli_book *book, const po_err *err);
/* Once, where a proof found out that the member is suspended. */
void cli_book_tell_suspended(cli_book *book);

/* Those of work/book.h. EXIT_CLEAR or a message printed. */
int cli_book_fitted(cli_book *book, const po_machine *machine, work_fitted *ret);
int cli_book_context(cli_book *book, const work_fitted *fitted, const char *sha256, po_proof_context *context);
int cli_book_end(cli_book *book, const char *machine, const char *recipe, int64_t seconds, int64_t proof_end_ms,
                 work_run_end *ret);
int cli_book_machine_ends(cli_book *book, json_t *row);
int cli_book_judge(cli_book *book, const po_job_report *report, const char *path, po_proof_context *context,
                   po_arena *arena, const po_proof **ret);

#endif
