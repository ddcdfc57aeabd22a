/* Strips of machines written to a file. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_PLAN_PICTURE_H
#define PO_CLI_PLAN_PICTURE_H

#include "desk.h"
#include "proveout/strips.h"

/* .svg, .png or .pdf by the name's ending; "-": SVG on standard output. EXIT_CLEAR or a message printed. */
int plan_draw(const desk *d, const po_strips *strips, const char *path);
/* A job at its times; hands live in the arena. */
po_strip_run plan_strip_of(po_arena *arena, const po_job_when *when, size_t row, const char *label, po_strip_kind kind);

#endif
