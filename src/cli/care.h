/* care's verbs that look at runs one by one, and at parts. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_CARE_H
#define PO_CLI_CARE_H

#include <math.h>

#include "desk.h"

int care_run_chart(const cli_call *call);
int care_run_compare(const cli_call *call);
int care_run_life(const cli_call *call);
int care_run_due(const cli_call *call);
int care_run_done(const cli_call *call);
int care_run_log(const cli_call *call);
int care_run_measured(const cli_call *call);

/* The options of a verb without a book that can keep what it found in a machine's history. */
#define CARE_KEEP_OPTIONS                                                                                              \
    {.name = "book", .says = "keep it in the machine's history in the book (care measured)"},                          \
        {.name = "ledger",                                                                                             \
         .value = "FILE",                                                                                              \
         .says = "the book; else PROVEOUT_LEDGER, else the one that the shop file names"},                             \
        {.name = "by",                                                                                                 \
         .value = "WHO",                                                                                               \
         .says = "who does it: a member's number, desk or keeper; else PROVEOUT_BY, else desk"},                       \
    {                                                                                                                  \
        .name = "note", .value = "TEXT", .says = "what else to know, kept with it"                                     \
    }
typedef struct care_figure {
    const char *name; /* ends in its unit */
    double value;     /* in that unit; not finite: left out */
} care_figure;
/* With --book: one measurement into the history of --machine. readings: in um, owned by the call; NULL: none.
 * EXIT_CLEAR (also where nothing was to be kept), or a message printed. */
int care_keep(const cli_call *call, const char *kind, const care_figure *figures, size_t n, json_t *readings);
/* Refuses --book without --machine before anything is reckoned. */
int care_keep_possible(const cli_call *call);

/* Each run of the book, the latest first. parameters: of the question "runs", borrowed. EXIT_CLEAR or a message printed. */
int care_each_run(desk *d, const json_t *parameters, void (*each)(void *user, const json_t *run), void *user);

/* A figure in JSON; null where there is none. */
static inline json_t *care_real(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

#endif
