/* For tests: three machines, and programs as strings measured on them. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_JOB_TRY_JOB_H
#define PO_JOB_TRY_JOB_H

#include "proveout/job.h"

/* Plain: 200 x 200 x 180 mm, one nozzle of 0.4, home at 0, rule step, E follows G90. Pair: 300 x 250, nozzles of 0.4 and
 * 0.4, rule deviation, E doesn't follow. Round: diameter 200, origin in the centre, home high above the bed. */
typedef enum try_machine { TRY_PLAIN, TRY_PAIR, TRY_ROUND, TRY_MACHINES } try_machine;

extern const po_machine try_machines[TRY_MACHINES];
extern const po_rules try_rules;

po_job_setup try_setup(try_machine machine);

/* Measure a program; the report lives in *ret_arena, which the caller frees. NULL: it failed with *ret_status. */
const po_job_report *try_text(const char *text, size_t n, try_machine machine, bool deposit, po_arena **ret_arena,
                              po_status *ret_status);

/* Whether two reports say the same, to the bit; *ret_what: what differs first. */
bool try_same(const po_job_report *a, const po_job_report *b, const char **ret_what);

/* A block of some heights with walls and fill, with words before and after it; caller frees. */
char *try_block(const char *before, const char *after, int heights, double side);

/* What an ordinary job begins and ends with. */
#define TRY_HEAD "G21\nG28\nG29\nG90\nM83\nM140 S60\nM190 S60\nM109 S220\nG1 Z5 F600\nG1 X20 Y20 F6000\nG1 Z0.2 F600\n"
#define TRY_BODY "G1 X60 E1.5 F1800\nG1 Y60 E1.5\nG1 X20 E1.5\nG1 Y20 E1.5\n"
#define TRY_TAIL "G1 E-1 F1800\nG1 Z30 F600\nM104 S0\nM140 S0\nM84\n"

#endif
