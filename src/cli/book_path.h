/* Where the book is, without opening it. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_BOOK_PATH_H
#define PO_CLI_BOOK_PATH_H

#include "cli.h"

/* By --ledger, PROVEOUT_LEDGER, or the shop file, which is read only then. EXIT_CLEAR, or a message printed. */
int book_path(const cli_call *call, po_arena *arena, const char **ret);

#endif
