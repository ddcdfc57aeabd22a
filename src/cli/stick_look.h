/* The files of a stick for the verbs: read, judged and shown. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_STICK_LOOK_H
#define PO_CLI_STICK_LOOK_H

#include "desk.h"
#include "work/stick_look.h"

/* Those of work/stick_look.h. EXIT_CLEAR, or a message printed. */
int stick_files_read(const char *mount, uint64_t most_bytes, po_arena *arena, stick_files *ret);
int stick_may_clear(const char *mount, const char *known);
int stick_judge(desk *d, const po_machine *machine, const json_t *stick, const stick_files *files, json_t **ret);

/* work_stick_counts as words, "proved 3, changed since 1", in the desk's arena; nothing there: "no file". */
const char *stick_count_words(const desk *d, const json_t *counts);
/* The rows as a table. */
void stick_table(const desk *d, json_t *rows, const char *none);

#endif
