/* Verbs that list: a question with its parameters from the command line, a table or JSON. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_LISTING_H
#define PO_CLI_LISTING_H

#include "desk.h"

typedef struct listing {
    const char *question, *list; /* list: the key of the answer that holds the rows */
    const desk_column *columns;
    size_t n_columns;
    const char *none; /* what is said where there is no row */
    const char *next,
        *next_key; /* the option that goes on behind a full page, and the key of the row it takes; NULL: none */
} listing;

#define LISTING_COLUMNS(columns_) .columns = columns_, .n_columns = sizeof columns_ / sizeof columns_[0]

/* For rows of verbs: options_NAME and examples_NAME. */
#define OPTIONS_OF(name) .options = options_##name, .n_options = sizeof options_##name / sizeof options_##name[0]
#define EXAMPLES_OF(name) .examples = examples_##name, .n_examples = sizeof examples_##name / sizeof examples_##name[0]

/* The whole of such a verb: fields of operands and options are the question's parameters. */
int listing_run(const cli_call *call, const listing *what);
/* The table alone, and how to go on. */
void listing_print(const desk *d, const json_t *answer, const listing *what);

#endif
