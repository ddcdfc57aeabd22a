/* Shared by the statistics of questions. SPDX-License-Identifier: Apache-2.0 */
#ifndef PEOPLE_ITEMS_INSIDE_H
#define PEOPLE_ITEMS_INSIDE_H

#include "proveout/items.h"

/* Marks and options in range, no more questions than are handled. */
po_status items_check(const po_items_table *table, po_err *err) PO_MUST_USE;

#endif
