/* The day at the desk for the verbs: work/due.h asked through an open desk. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_DUE_H
#define PO_CLI_DUE_H

#include "desk.h"
#include "work/due.h"
#include "work/message.h"

size_t due_hours(const desk *d, int64_t ms, work_span spans[WORK_SPANS_MOST]);
bool due_next_staffed(const desk *d, int64_t ms, int64_t *ret_ms);
/* EXIT_CLEAR or a message printed. */
int due_ask(desk *d, json_t **ret_today);
json_t *due_list(const desk *d, const json_t *today);
bool due_next_free(const desk *d, const json_t *today, const char *member, const char *machine,
                   const json_t *permissions, int64_t *ret_ms, const char **ret_machine);
const char *desk_message(const desk *d, po_text_kind kind, const work_message_words *words);

#endif
