/* What the verbs of train, paper and signoff share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_TRAINING_H
#define PO_CLI_TRAINING_H

#include "desk.h"
#include "work/training.h"

/* The folder of studies: the one given, else the shop file's. EXIT_CLEAR or a message printed. */
int training_folder(const cli_call *call, const char *given, const po_shop *shop, po_arena *arena, const char **ret);
/* All studies of the shop; faults are told on standard error and do not stop it. */
int training_studies(const desk *d, work_studies *ret);
/* One by id, the nearest named otherwise. */
int training_study(const work_studies *studies, const char *id, const po_study **ret);
/* Book acts, all or none; says what the book refuses. */
int training_book(desk *d, work_acts *acts);
/* A status of src/work's training as an exit status with a message. */
int training_said(const desk *d, const char *what, po_status s, const po_err *err);

/* proveout train items. */
int train_items(const cli_call *call);

#endif
