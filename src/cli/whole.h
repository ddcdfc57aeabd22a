/* A file or a folder that is there whole or not at all, and never over something. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_WHOLE_H
#define PO_CLI_WHOLE_H

#include "cli.h"
#include "proveout/ledger_export.h"

typedef struct whole {
    const char *target;  /* as it was given; "-": standard output, at once */
    char *part;          /* under which it is written */
    bool folder, secret; /* secret: for its owner only */
    FILE *file;
    int failed; /* errno of what went wrong; 0: nothing */
    cli_progress progress;
    uint64_t bytes;
} whole;

/* EXIT_CLEAR, or a message printed: something is there already, or it can't be made. End with whole_end in any case. */
int whole_begin(whole *w, const char *target, bool folder, bool secret);
/* Bring all to the disk and give it its name. done false: remove what was written. EXIT_CLEAR or a message printed. */
int whole_end(whole *w, bool done);
/* For po_ledger_export: user is the whole. */
bool whole_file(void *user, const char *name);
bool whole_write(void *user, const char *bytes, size_t n);

/* An export to a target; from 0 and until 0: all times. EXIT_CLEAR or a message printed. */
int whole_export(po_ledger *ledger, const po_export_options *options, const char *target);

#endif
