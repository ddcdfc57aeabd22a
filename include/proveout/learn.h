/* Estimates that learn: what a run will really take, from what runs have taken. SPDX-License-Identifier: Apache-2.0
 *
 * A model says what a run takes; a machine's own runs say how far the model is off, there and with that recipe. From the
 * ratios of real to modelled follows a corrected estimate, and the range in which one run to come will lie. One quantity at a
 * time: ratios of time and ratios of filament are two sets of runs. Numbers only: no store, no files, no clock.
 * Method and sources: docs/learned.md. */
#ifndef PROVEOUT_LEARN_H
#define PROVEOUT_LEARN_H

#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

#define PO_LEARN_NO_RECIPE UINT32_MAX /* a run on no recipe of the house; such runs are kept together like a recipe's */

/* What one run has taken. Leave out runs that did not come to their end, and figures that are the model's own (filament by
 * the proof): they would say that the model is always right. */
typedef struct po_learn_run {
    uint32_t machine, recipe; /* the caller's numbers for them; any value */
    double ratio;             /* real / modelled, above 0 */
    double age_days;          /* since the run; 0 or more */
} po_learn_run;

/* Spreads are standard deviations of the natural logarithm of the ratio: 0.06 is about 6 %. */
typedef struct po_learn_options {
    double level;            /* share of runs to come that shall lie within low..high; 0.01 to 0.999 */
    double half_life_days;   /* a run so old counts half; 0 = all count alike, however old; up to 1e9 */
    double between_machines; /* spread that machines are likely to have; 1e-9 to 1000 */
    double between_recipes;  /* the same of the recipes of one machine */
    double doubt;            /* how far the model may be off everywhere, a spread; 1e-9 to 1000 */
    double trust;            /* probability that it is right within its range, the rest is for doubt; 0 to 1 */
    double range_runs;       /* on scatter the model's range speaks with the voice of so many runs; 1e-9 to 1e9 */
} po_learn_options;
#define PO_LEARN_OPTIONS_INIT                                                                                          \
    {                                                                                                                  \
        0.90, 365, 0.06, 0.03, 0.5, 0.5, 2                                                                             \
    }

/* Runs made ready to be asked. Lives in its arena; one caller at a time. */
typedef struct po_learned po_learned;

/* Read the runs of all machines. The order of the runs makes no difference, to the last bit.
 * runs     n of them, borrowed for the call; n 0 is allowed, at most 10 million
 * options  NULL = PO_LEARN_OPTIONS_INIT
 * arena    owns the result; about 100 bytes a run
 * Errors   PO_E_RANGE for a run whose ratio is not a finite number above 0 or whose age is not a finite number of 0 or more
 *          (err->msg names its index and err->byte is it), or for an option; PO_E_LIMIT for too many runs; PO_E_NOMEM.
 * Cost     in proportion to n. */
PO_API po_status po_learn_new(const po_learn_run *runs, size_t n, const po_learn_options *options, po_arena *arena,
                              po_learned **ret, po_err *err) PO_MUST_USE;

typedef struct po_learn_question {
    uint32_t machine, recipe; /* recipe: PO_LEARN_NO_RECIPE = none */
    double modelled;          /* what the model says, in any unit */
    double low, high;         /* the model's own range, taken as holding nine runs of ten; low <= modelled <= high */
                              /* all three from 1e-12 to 1e12 */
} po_learn_question;

/* low <= centre <= high, in the unit of `modelled`; as many runs end below centre as above. */
typedef struct po_learn_estimate {
    double centre, low, high;
    double own_share;      /* 0 to 1: how much of centre rests on this machine's runs, the rest on all machines' */
    uint32_t n_recipe;     /* runs that spoke: of this machine and recipe, */
    uint32_t n_own, n_all; /* of this machine, of all */
    uint32_t n_aside;      /* runs of all machines that were set aside as absurd */
    const char *from;      /* "model", "this machine's runs" or "all machines' runs", whichever carries more; static */
} po_learn_estimate;

/* What one run to come will take. Without any run that speaks: the model's own value and range, as given. The range is of
 * runs that go as runs go: it does not widen for absurd entries.
 * Errors   PO_E_RANGE for a question outside its bounds.
 * Cost     well below a millisecond for some tens of machines and recipes. */
PO_API po_status po_learn_ask(po_learned *learned, const po_learn_question *question, po_learn_estimate *ret,
                              po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
