/* What learn.c makes of the runs and learn_ask.c reasons from. SPDX-License-Identifier: Apache-2.0 */
#ifndef LEDGER_LEARN_INSIDE_H
#define LEDGER_LEARN_INSIDE_H

#include "proveout/learn.h"

/* Most points of the grids over scatter, recipes' spread and machines' spread, and ways to trust the model. */
enum { PO_LEARN_SCATTERS = 12, PO_LEARN_SPREADS = 12, PO_LEARN_TRUSTS = 2 };
#define PO_LEARN_PARTS (PO_LEARN_SCATTERS * PO_LEARN_SPREADS * PO_LEARN_SPREADS * PO_LEARN_TRUSTS)

/* Runs of one recipe on one machine, as logarithms of their ratios. */
typedef struct po_learn_cell {
    uint32_t recipe, n; /* n: runs that spoke */
    double weight;      /* sum of the runs' weights, above 0: for today it is as good as so many fresh runs */
    double counts;      /* at least weight: with scatter alone, the mean is as good as that of so many runs */
    double mean;
} po_learn_cell;

typedef struct po_learn_machine {
    uint32_t id, n;          /* n: runs that spoke */
    size_t first_cell, ends; /* its cells */
    double freedom, squares; /* within cells: degrees of freedom, sum of squares; squares / freedom is a variance */
    /* Filled for a question: */
    double variance;        /* of one run, before the common factor */
    double knowledge, mean; /* of the machine's own level: 1 / variance, and where it is */
} po_learn_machine;

/* One piece of the answer: a normal distribution of the logarithm of the ratio to come. */
typedef struct po_learn_part {
    double weight; /* all sum to 1 */
    double mean, deviation, own_share;
} po_learn_part;

struct po_learned {
    po_learn_options options;
    po_learn_machine *machines; /* by rising id */
    po_learn_cell *cells;       /* machine by machine, by rising recipe */
    size_t n_machines, n_cells;
    uint32_t n_all, n_aside;
    po_learn_part *parts; /* room for PO_LEARN_PARTS: the last answer */
    size_t n_parts;
};

#endif
