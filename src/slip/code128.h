/* Bars for a scanner: code 128. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_CODE128_H
#define PO_SLIP_CODE128_H

#include <stdint.h>

#include "proveout/arena.h"

/* The bars of a text of 1 to 48 signs of ASCII from blank to ~: widths in modules, bar and space in turn, beginning and ending with a bar;
 * their sum, and the quiet ten modules on each side that whoever draws it leaves free. In the arena.
 * Source  ISO/IEC 15417: sets B and C, checksum modulo 103
 * Errors  PO_E_RANGE (length, another sign), PO_E_NOMEM */
po_status po_code128(const char *text, po_arena *arena, const uint8_t **ret_widths, int *ret_n, int *ret_modules,
                     po_err *err) PO_MUST_USE;

#endif
