/* The folder beside the book, for those who work in it. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_LEDGER_KEEPSAKES_INSIDE_H
#define PO_LEDGER_KEEPSAKES_INSIDE_H

#include <sys/stat.h>

#include "ledger/ledger_inside.h"
#include "proveout/keepsakes.h"

typedef struct po_vault {
    char *path;
    int folder, lock; /* descriptors; -1: none */
} po_vault;

/* PO_E_NOTFOUND where there is no folder and none is to be made. po_vault_close in any case. */
po_status po_vault_open(po_ledger *ledger, bool create, po_vault *ret, po_err *err) PO_MUST_USE;
void po_vault_close(po_vault *vault);
/* Nobody else puts a file or removes one until po_vault_unlock. PO_E_CONFLICT after 10 s of waiting. */
po_status po_vault_lock(po_vault *vault, po_err *err) PO_MUST_USE;
void po_vault_unlock(po_vault *vault);

/* What lies in the folder: of a hash's name in its right place, or (sha256 NULL) in the folder itself or out of place.
 * folder, name: to reach it; st: of the thing itself, not of what a link points at. */
typedef po_status po_vault_visit(void *user, const char *sha256, int folder, const char *name, const struct stat *st,
                                 po_err *err);
po_status po_vault_walk(const po_vault *vault, po_vault_visit *visit, void *user, po_err *err) PO_MUST_USE;

/* An open descriptor and the size. PO_E_NOTFOUND: not there; PO_E_SYNTAX: not a plain file. */
po_status po_vault_find(const po_vault *vault, const char *sha256, int *ret_file, int64_t *ret_bytes,
                        po_err *err) PO_MUST_USE;
typedef po_status po_pour_to(void *user, const void *bytes, size_t n, po_err *err);
/* All bytes of a kept file, verified at the end: PO_E_SYNTAX where they are not what they should be. to may be NULL. */
po_status po_vault_pour(int file, const char *sha256, po_pour_to *to, void *user, po_err *err) PO_MUST_USE;
/* As po_keepsake_put, from a descriptor to a vault that is open; what: for sentences; want NULL, or the hash it must have. */
po_status po_vault_put(po_vault *vault, int from, const char *what, const char *want, const po_keepsake_limits *limits,
                       po_keepsake *ret, po_err *err) PO_MUST_USE;

#endif
