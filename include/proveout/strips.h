/* Strips of machines against desk hours: a plan, or one job's starts, as a picture. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_STRIPS_H
#define PROVEOUT_STRIPS_H

#include "proveout/calendar.h"
#include "proveout/slip.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { PO_STRIP_RUNS_MOST = 2000, PO_STRIP_ROWS_MOST = 64 };

typedef enum po_strip_kind {
    PO_STRIP_PLANNED,
    PO_STRIP_PROMISED,
    PO_STRIP_LATE,  /* planned, and past its due time */
    PO_STRIP_TAKEN, /* what is on the machine now, or holds it otherwise: from start_ms to off_ms */
    PO_STRIP_CLOSED /* out of use, from start_ms to off_ms */
} po_strip_kind;

typedef struct po_strip_run {
    size_t row;        /* of the machine */
    const char *label; /* such as "12"; "" = none */
    po_strip_kind kind;
    int64_t start_ms, watch_ms, end_ms, off_ms; /* rising; of PO_STRIP_TAKEN and _CLOSED the first and the last alone */
    int64_t end_low_ms, end_high_ms;
    const int64_t *hands_ms;
    size_t n_hands;
} po_strip_run;

typedef struct po_strips {
    const char *title;
    const po_calendar *calendar;
    int64_t from_ms, until_ms; /* shown; at most 70 days */
    const char *const *rows;   /* names of machines */
    size_t n_rows;
    const po_strip_run *runs;
    size_t n_runs;
} po_strips;

/* One page, 297 mm wide and as high as the machines need. Errors: PO_E_RANGE, PO_E_LIMIT, those of drawing; PNG and PDF take cairo. */
PO_API po_status po_strips_svg(const po_strips *strips, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;
PO_API po_status po_strips_png(const po_strips *strips, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;
PO_API po_status po_strips_pdf(const po_strips *strips, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
