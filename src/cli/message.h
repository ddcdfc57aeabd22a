/* What members hear, from the shop's texts. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_MESSAGE_H
#define PO_CLI_MESSAGE_H

#include "desk.h"

/* What stands for the words in braces (docs/shop-file.md, outbox.texts); NULL: not known. Times as desk_words gives them. */
typedef struct message_words {
    const char *run, *machine, *metres, *place, *until, *time, *number;
} message_words;

/* The shop's text of that kind, filled. In the desk's arena; NULL where the shop sends nothing (outbox.on) or memory is gone.
 * What is not known is called "a machine", "a place" and so on. */
const char *desk_message(const desk *d, po_text_kind kind, const message_words *words);

#endif
