/* Walking the machines at opening and closing: what is left to see, what the book says against what was found. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_ROUND_H
#define PO_WORK_ROUND_H

#include "work/due.h"

/* A machine that is looked at: found in one of five ways, and five points, each good or not. */
enum { WORK_ROUND_POINTS = 5 };
typedef struct work_round_point {
    const char *word, *field; /* "bed", "bed_clear" */
} work_round_point;
extern const work_round_point work_round_points[WORK_ROUND_POINTS];
/* A part on the bed and hot heaters belong to a run that goes on: they are no fault there. found: free, running, finished, failed,
 * out-of-use. */
bool work_round_of_course(const char *found, size_t point);

/* What was found against what the book says; a machine of the book's is known by the state of its run ("": none). */
typedef enum work_against {
    WORK_AGREES = 0,
    WORK_WHOSE_JOB,  /* it runs, and nobody has it */
    WORK_WHOSE_PART, /* a part lies there, and nobody had it */
    WORK_BOOK_ENDED, /* it has finished, and that is not booked */
    WORK_BOOK_FAILED,
    WORK_STILL_GOING, /* it is free, and by the book its run goes on */
    WORK_STILL_THERE, /* it is free, and by the book the part is on it */
    WORK_RUNS_ON      /* it runs, and by the book its run is over */
} work_against;
work_against work_round_against(const char *found, const char *run_state);
/* "whose-job" ...; "" where they agree */
const char *work_against_word(work_against against);

/* Names of machines, of the shop and of the book, that a round has not seen: a list, the caller's. answer: of the question "rounds" of one round;
 * today: the question "today". NULL: out of memory. */
json_t *work_round_left(const work_context *w, const json_t *answer, const json_t *today);

/* What goes on when the desk has gone home, and until when another start would have been watched: "running", "last_safe_start_ms", "opens_ms".
 * The caller's. */
json_t *work_round_overnight(const work_context *w, const json_t *today);

/* Everything that somebody who walks needs: the open round or which is due, and machine by machine what the book says, what was found, what
 * differs (docs/api.md, "round"). The caller's.
 * Errors  work_today's, work_ask's */
po_status work_round_now(work_context *w, json_t **ret, po_err *err) PO_MUST_USE;

#endif
