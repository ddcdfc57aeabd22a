/* One job proved on one machine, in the light of the book: for the desk's acts. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_PROVE_H
#define PO_CLI_PROVE_H

#include "book.h"
#include "work/prove.h"

/* Measure and judge a job, as check would with --member, --spool and --machine.
 * book    cli_book_of an open desk, with member and spools set; cli_book_close by the caller
 * recipe  NULL: the nearest
 * Returns EXIT_CLEAR (whatever the verdict), or a message printed: EXIT_NO_JOB where the file is none, EXIT_USAGE, EXIT_OWN. */
int cli_prove_one(cli_book *book, const po_machine *machine, const po_recipe *recipe, const char *path, po_arena *arena,
                  work_proved *ret);

#endif
