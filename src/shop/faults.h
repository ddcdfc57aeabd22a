/* Faults of a shop file, collected while it is read. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SHOP_FAULTS_H
#define PO_SHOP_FAULTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/shop.h"

enum { PO_SHOP_MOST_FAULTS = 1000 }; /* listed; after that one more says that there are others */

typedef struct po_fault_list {
    po_arena *arena;
    po_shop_fault *faults;
    size_t n, cap;
    bool full;   /* the cap was reached: checks may stop */
    bool failed; /* memory is gone */
    bool limit;  /* one of them is a cap on size, not a mistake in the text */
} po_fault_list;

/* A step of the way to a value, kept on the caller's stack: machines -> [1] -> bed -> x. */
typedef struct po_key_path {
    const struct po_key_path *up;
    const char *key; /* NULL: an index */
    size_t index;
} po_key_path;

/* Add a fault unless the same one (place and expectation) is there already; found and expected are formatted by the
 * caller and must live in the arena or be constants. NULL texts count as memory gone. */
void po_fault_add(po_fault_list *list, uint32_t line, uint32_t column, const po_key_path *path, const char *found,
                  const char *expected);
/* By line and column; faults at the same place keep the order in which they were found. */
void po_fault_sort(po_fault_list *list);

#endif
