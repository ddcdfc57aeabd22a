/* Bedfuls as a picture. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_NEST_PICTURE_H
#define PROVEOUT_NEST_PICTURE_H

#include "proveout/nest.h"
#include "proveout/slip.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef struct po_nest_sheet { /* what is drawn; borrowed for the call */
    const po_nest *nest;
    const po_nest_part *parts;
    const char *const *names; /* of each part */
    size_t n_parts, n_bands;
    const po_machine *machine;
    const char *title;
    const char *const *heads; /* a line over each bedful, such as its material; NULL: none */
    bool in_order;            /* the order of printing stands beside each part */
} po_nest_sheet;

/* Beds from above, the front below, each part with its number; then the numbers with their names. At most 24 bedfuls are
 * drawn, and said how many are not. In the arena. Errors: PO_E_UNSUPPORTED (PNG and PDF without cairo), PO_E_NOMEM. */
PO_API po_status po_nest_picture(const po_nest_sheet *sheet, po_picture_kind kind, po_arena *arena, po_document *ret,
                                 po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
