/* A round of tramming as a picture. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_TRAM_PICTURE_H
#define PROVEOUT_TRAM_PICTURE_H

#include "proveout/slip.h"
#include "proveout/tram.h"

#ifdef __cplusplus
extern "C" {
#endif

/* The bed from above, front below: what is left at each place after the turns (hatched the denser the farther from level, rising one way where
 * high, the other where low), the readings, and each screw with its turn. In the arena.
 * Errors: PO_E_UNSUPPORTED (PNG and PDF without cairo), PO_E_NOMEM. */
PO_API po_status po_tram_picture(const po_tram *tram, const po_tram_reading *readings, const po_tram_setup *setup,
                                 const char *title, po_picture_kind kind, po_arena *arena, po_document *ret,
                                 po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
