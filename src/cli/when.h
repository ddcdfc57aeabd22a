/* The calendar for the verbs: laid out from the shop file and iCalendar files, and asked. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_WHEN_H
#define PO_CLI_WHEN_H

#include "book.h"
#include "proveout/calendar.h"

enum { WHEN_DAYS = 400 }; /* that a calendar is laid out for */

#define WHEN_OPTIONS                                                                                                   \
    {.name = "calendar",                                                                                               \
     .value = "FILE[,FILE]",                                                                                           \
     .says = "iCalendar files of the house: events whose summary begins with open or closed, or with the category "    \
             "OPEN or CLOSED, change the desk's hours"},                                                               \
    {                                                                                                                  \
        .name = "holidays", .value = "FILE[,FILE]",                                                                    \
        .says = "iCalendar files of days on which the desk is closed: every event counts"                              \
    }

/* The shop with what the files of --calendar and --holidays say, where the verb has them and they are given. EXIT_CLEAR or a message printed. */
int when_opening(const cli_call *call, po_arena *arena, const po_shop **shop);
/* The shop's calendar from a moment on. EXIT_CLEAR or a message printed. */
int when_calendar(const po_shop *shop, int64_t from_ms, po_arena *arena, const po_calendar **ret);

/* The proof of a job that starts at context->start, judged anew in the light of the calendar; as it is where the zone is not known here or
 * the desk never opens. EXIT_CLEAR or a message printed. */
int when_judge(const po_job_report *report, const char *path, po_proof_context *context, po_arena *arena,
               const po_proof **proof);

/* ---- one machine of `plan when` ---- */

enum { WHEN_HITS = 8 };

typedef struct when_taken { /* what the book has promised or runs on a machine */
    po_ms_span span;
    long long run;
    bool promised; /* else it is on the machine now */
} when_taken;

typedef struct when_row {
    const po_machine *machine;
    const po_proof *proof;
    bool may;
    const char *why; /* not may: the first obstacle; else what is to be asked, or NULL */
    po_need need;
    const when_taken *taken;
    size_t n_taken;
    po_good good;
    po_job_when best;                  /* unless PO_GOOD_NEVER */
    bool asked;                        /* --start: */
    po_job_when then;                  /* what happens if it is started at that time */
    const when_taken *hits[WHEN_HITS]; /* what that (else best) collides with; of a slow run only: unsure */
    bool hit_unsure[WHEN_HITS];
    size_t n_hits;
} when_row;

typedef struct when_plan {
    const desk *desk; /* arena, shop, now_ms */
    const char *file;
    const po_calendar *calendar;
    int64_t from_ms; /* --start, else now */
    when_row *rows;
    size_t n_rows;
} when_plan;

void when_print(const when_plan *plan); /* plan_print.c */
int when_picture(const when_plan *plan, const char *path);
json_t *when_json(const when_plan *plan);

#endif
