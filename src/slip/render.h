/* Drawing lists to documents. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_RENDER_H
#define PO_SLIP_RENDER_H

#include "base/text.h"
#include "proveout/slip.h"
#include "slip/drawing.h"

/* Append an <svg> element. standalone: with namespace, size in mm and its own inks; else for a page that has the inks
 * as CSS variables (po_svg_style). Texts are made safe. Needs no drawing library. */
po_status po_render_svg(const po_drawing *d, bool standalone, po_text *out, po_err *err) PO_MUST_USE;
/* The CSS of inks: variables for light and dark and the classes that <svg> elements use. */
void po_svg_style(po_text *out);

/* One PDF page of the drawing's size / a PNG at dots per mm. Through cairo, opened when first asked for.
 * Errors: PO_E_UNSUPPORTED (cairo is not there or refuses), PO_E_NOMEM, PO_E_LIMIT (more than 16384 dots a side). */
po_status po_render_pdf(const po_drawing *d, const char *document_title, po_arena *arena, po_document *ret,
                        po_err *err) PO_MUST_USE;
po_status po_render_png(const po_drawing *d, double dots_per_mm, po_arena *arena, po_document *ret,
                        po_err *err) PO_MUST_USE;

/* A palette image as a PNG file (RFC 2083: PLTE and tRNS, 8 bits an index, zlib). */
po_status po_png_palette(const po_palette_image *image, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;
/* Base64 (RFC 4648 section 4) appended. */
void po_text_base64(po_text *out, const void *data, size_t n);

/* The squares of a code for a text (ISO/IEC 18004), through libqrencode, opened when first asked for.
 * ret_size modules a side, ret_dark size * size bytes (1 = dark), in the arena. Errors: PO_E_UNSUPPORTED, PO_E_NOMEM. */
po_status po_code_squares(const char *text, po_arena *arena, int *ret_size, const uint8_t **ret_dark,
                          po_err *err) PO_MUST_USE;

#endif
