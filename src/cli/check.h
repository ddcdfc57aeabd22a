/* What the checks of jobs and parts share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_CHECK_H
#define PO_CLI_CHECK_H

#include "book.h"

typedef struct cli_check {
    const cli_call *call;
    const po_shop *shop;
    po_arena *arena; /* of the whole call; each file has its own */
    const po_machine *const *machines;
    size_t n_machines;
    bool one_machine; /* it was asked for by name */
    const po_material *materials[PO_MAX_TOOLS];
    size_t n_materials;       /* 0: the shop's choice */
    cli_book book;            /* no ledger: none is asked */
    work_fitted *fitted;      /* of each machine, in the order of machines */
    po_proof_context context; /* what holds on every machine */
    int threads;
    bool text, json, pictures;
    const char *html, *pdf, *picture, *mend, *against;
    const char *today;
} cli_check;

/* What a machine's nozzle gets: as asked, the last one for nozzles beyond; else what the book says is loaded; else the house
 * material where the machine takes it, else the machine's first. */
const po_material *cli_material_for(const cli_check *check, const po_machine *machine, size_t nozzle);
bool cli_colour_wanted(void);
/* Write a document that was made, or say why it could not be. */
int cli_print_document(po_status status, const char *path, const po_document *document, const po_err *err);
/* What could not be proved has its line of JSON as well, so that lines and files go together. at: where it failed, NULL = nowhere in
 * particular. Hands exit_status back. */
int cli_no_proof(const cli_check *check, const char *path, int exit_status, const char *why, const po_err *at);

/* ---- check_part.c ---- */

/* Check one part; the arena is the file's. Returns the exit status. */
int cli_check_part(cli_check *check, const char *path, const po_source *source, po_arena *arena);

/* ---- check_against.c ---- */

/* Hold a measured job (with its prints kept) against the part of --against. EXIT_CLEAR, or a message printed. */
int cli_check_against(const cli_check *check, const char *job_path, const po_job_report *job, po_arena *arena,
                      const po_against **ret);

#endif
