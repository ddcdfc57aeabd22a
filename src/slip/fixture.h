/* A job made by hand for the tests of slips: a bracket on Alder. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_FIXTURE_H
#define PO_SLIP_FIXTURE_H

#include "proveout/slip.h"

typedef struct po_fixture {
    po_arena *arena;
    po_shop *shop;
    po_machine machines[2]; /* Alder, rectangular; Elm, round with its origin in the centre */
    po_material materials[2];
    po_job_report *report;
    po_proof *proof;
} po_fixture;

/* stops: with findings (two stops, an ask, notes), flags and worst heights; else a clear job.
 * round: on the round machine. start: with clock times. Free with po_fixture_done. */
void po_fixture_init(po_fixture *fixture, bool stops, bool round, bool start);
void po_fixture_done(po_fixture *fixture);

#endif
