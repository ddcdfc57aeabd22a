/* Results of papers from another system: comma-separated values. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_RESULTS_H
#define PROVEOUT_RESULTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/shop.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { PO_RESULTS_MOST = 10000 };

typedef struct po_result {
    const char *member, *study;
    bool passed;
    int64_t points, most; /* -1: not said */
    po_date date;
    uint32_t line;
} po_result;

/* The first line names the columns: member, study, passed (yes or no), date (2026-11-30) and, if they are there, points and most, in any order; others are
 * passed over. Every fault is told with its line, in the arena, and then nothing is read.
 * data: n bytes and room for one more; written to. Errors: PO_E_SYNTAX with the first fault, PO_E_LIMIT, PO_E_NOMEM. */
PO_API po_status po_results_read(char *data, size_t n, po_arena *arena, const po_result **ret, size_t *ret_n,
                                 const char *const **ret_faults, size_t *ret_n_faults, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif

#endif
