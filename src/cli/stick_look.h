/* What the book says of the files on a stick. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_STICK_LOOK_H
#define PO_CLI_STICK_LOOK_H

#include "desk.h"
#include "stick_files.h"

/* Each file of a stick as a row: path, name, bytes, sha256, state (proved, old, changed, unproved, part, no-job, too-large,
 * unreadable), verdict, proved_ms, proved_on (other machines), run (the one that is out with it), name_says (what a small
 * panel can't show), why. In the order of files->files.
 * stick  its row in the book, or NULL
 * ret    a list, the caller's
 * EXIT_CLEAR, or a message printed. */
int stick_judge(desk *d, const po_machine *machine, const json_t *stick, const stick_files *files, json_t **ret);
/* The machine whose stick shows there by the shop file; NULL: none. */
const po_machine *stick_machine_at(const po_shop *shop, const char *mount);
/* How many rows have each state, as an object; the caller's. */
json_t *stick_counts(const json_t *rows);
/* The same as words, "proved 3, changed since 1", in the desk's arena; nothing there: "no file". */
const char *stick_count_words(const desk *d, const json_t *counts);
/* The rows as a table. */
void stick_table(const desk *d, json_t *rows, const char *none);

#endif
