/* One message through the shop's command. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_OUTBOX_RUN_H
#define PO_CLI_OUTBOX_RUN_H

#include <stdbool.h>
#include <stddef.h>

#include "proveout/arena.h"

enum { OUTBOX_WORDS_MOST = 64, OUTBOX_LIMIT_SECONDS = 30 };

/* The words of a command, parted by blanks, with {contact} replaced; a command without it gets the contact as its last word. No
 * shell reads it. argv ends with NULL; its texts live in the arena. false: no word, too many, or memory is gone. */
bool outbox_words(const char *command, const char *contact, po_arena *arena, char *argv[OUTBOX_WORDS_MOST + 2]);
/* A contact that can be handed to a program as a word of its own: not empty, no option, no control character. */
bool outbox_contact_fits(const char *contact);
/* Run it with the text on standard input, for at most so many seconds; then it is ended, with what it started.
 * why, said: written when false is returned: one sentence how it ended; the first line that it wrote to standard error, "" for none.
 * Such a line may hold whom it wrote to, so it is for the screen and not for the book. */
bool outbox_run(char *const argv[], const char *text, int limit_seconds, char *why, size_t n_why, char *said,
                size_t n_said);

#endif
