/* Shared by state.c (G words, motion) and state_words.c (M words) only. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_JOB_STATE_INSIDE_H
#define PO_JOB_STATE_INSIDE_H

#include "job/state.h"

#define HAS(line, c) ((line)->has & PO_LETTER(c))
#define VALUE(line, c) ((line)->value[(c) - 'A'])

/* A happening before the next move of the block; fields but kind, line, tool and height are zero. */
po_event *po_state_event(const po_state *s, po_moves *out, po_event_kind kind, uint64_t line);
/* Carry out one M word of a line. */
void po_state_m_word(po_state *s, const po_line *line, const po_code *code, po_moves *out);
/* A nozzle's temperature: S (or R) of the tool that tool_letter names, else of the tool selected. */
void po_state_nozzle(po_state *s, const po_line *line, po_moves *out, bool wait, char tool_letter);
/* Words that every shop may meet and that change nothing which is measured here. */
bool po_word_is_harmless(char letter, int n);

#endif
