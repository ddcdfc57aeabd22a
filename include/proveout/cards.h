/* Short cards for the wall: fire, first aid, waste by material. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_CARDS_H
#define PROVEOUT_CARDS_H

#include <stddef.h>

#include "proveout/arena.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef struct po_card {
    const char *id, *title, *lines; /* lines parted by | */
} po_card;
/* Static. */
PO_API const po_card *po_cards(size_t *ret_n);
/* All cards, or one, as one page to print (A5, one a sheet), each with the standing caution; in the arena.
 * Errors: PO_E_NOTFOUND (no such card), PO_E_NOMEM. */
PO_API po_status po_cards_html(const char *shop, const char *only, po_arena *arena, const char **ret, size_t *ret_n,
                               po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif

#endif
