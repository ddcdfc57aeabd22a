/* Shares of failures over time as a picture. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_WEAR_PICTURE_H
#define PROVEOUT_WEAR_PICTURE_H

#include "proveout/slip.h"
#include "proveout/wear.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Each period's share as a dot (a ring with its number of failures where it is a signal), the centre, and the limits by each period's own number.
 * names: of the periods, n of them, such as "12 May"; says: the sentence that the picture shows. At most 520 periods.
 * Errors: PO_E_LIMIT, PO_E_UNSUPPORTED (PNG and PDF without cairo), PO_E_NOMEM. */
PO_API po_status po_wear_chart_picture(const po_wear_chart *chart, const po_wear_point *points,
                                       const po_wear_period *periods, const char *const *names, size_t n,
                                       const char *title, const char *says, po_picture_kind kind, po_arena *arena,
                                       po_document *ret, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
