/* A file layer that fails on purpose, for tests. SPDX-License-Identifier: Apache-2.0
 *
 * A shim over SQLite's usual layer (the pattern of its own tests: "How SQLite Is Tested", sqlite.org/testing.html, 3.2 and 3.3).
 * Writes, syncs, truncations and removals are counted; the n-th fails, or the power goes at it: from then on everything fails, and
 * po_fault_power_cut makes of each file what the disk had: what was synced, and of the writes since a random choice, the
 * last perhaps by half. One of it at a time; not for threads. */
#ifndef PO_LEDGER_FAULT_VFS_H
#define PO_LEDGER_FAULT_VFS_H

#include <stdbool.h>
#include <stdint.h>

typedef enum po_fault_kind {
    PO_FAULT_NONE,
    PO_FAULT_ERROR,
    PO_FAULT_SHORT,
    PO_FAULT_FULL,
    PO_FAULT_POWER
} po_fault_kind;

#define PO_FAULT_VFS "po-fault"

void po_fault_register(void);
/* From now on: the call number at (from 1) meets this. lasting: all later ones too. Starts the count anew. */
void po_fault_arm(po_fault_kind kind, int64_t at, bool lasting);
int64_t po_fault_count(void);           /* calls since */
void po_fault_power_cut(uint64_t seed); /* once all is closed: files become what the disk had */
void po_fault_forget(void);             /* what was written is taken to be on the disk */

#endif
