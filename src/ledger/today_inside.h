/* The lists of today, for the question and for the test that looks how they are found. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_LEDGER_TODAY_INSIDE_H
#define PO_LEDGER_TODAY_INSIDE_H

#include <stddef.h>

/* ?1 now, ?2 below_mg, ?3 lapse_before, ?4 how many rows at most. key NULL: the end */
typedef struct po_today_list {
    const char *key, *sql;
} po_today_list;
extern const po_today_list po_today_lists[];

#endif
