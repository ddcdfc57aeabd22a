/* The verbs of the queue, and how they print. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_PLAN_QUEUE_H
#define PO_CLI_PLAN_QUEUE_H

#include "desk.h"
#include "work/queue.h"

int plan_queue(const cli_call *call);
int plan_add(const cli_call *call);
int plan_promise(const cli_call *call);
int plan_moved(const cli_call *call);
int plan_without(const cli_call *call);

/* ---- plan_queue_print.c ---- */

/* The queue by start, what it costs, what is left out, what is late and what would make room. */
void plan_queue_print(const desk *d, const work_queue *queue);
/* One run's place in words: "Birch, Mon 15:10, off about Tue 10:00". */
const char *plan_place_words(const work_context *w, const work_queue *queue, size_t place);
/* How far from the best it can be, in one sentence. */
void plan_bound_print(const work_queue *queue);
/* For --picture: .svg, .png or .pdf by the name's ending. EXIT_CLEAR or a message printed. */
int plan_picture(const desk *d, const work_queue *queue, const char *path);

#endif
