/* What members hear, from the shop's texts. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_MESSAGE_H
#define PO_WORK_MESSAGE_H

#include "work/work.h"

/* What stands for the words in braces (docs/shop-file.md, outbox.texts); NULL: not known. Times as work_time_words gives them. */
typedef struct work_message_words {
    const char *run, *machine, *metres, *place, *until, *time, *number;
} work_message_words;

/* The shop's text of that kind, filled. In the context's arena; NULL where the shop sends nothing (outbox.on) or memory is gone.
 * What is not known is called "a machine", "a place" and so on. */
const char *work_message(const work_context *w, po_text_kind kind, const work_message_words *words);

#endif
