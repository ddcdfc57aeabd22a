/* Drawings of symptoms. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_SYMPTOM_DRAWING_H
#define PROVEOUT_SYMPTOM_DRAWING_H

#include "proveout/slip.h"

#ifdef __cplusplus
extern "C" {
#endif

/* A symptom of the triage (why.h) as a small SVG of our own, in the arena. Errors: PO_E_NOTFOUND, PO_E_NOMEM. */
PO_API po_status po_symptom_svg(const char *symptom, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif

#endif
