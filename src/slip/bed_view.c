/* A picture of a bed as a document. SPDX-License-Identifier: Apache-2.0 */
#include "slip/bed_view.h"

#include "slip/render.h"

enum { DOTS_PER_MM = 6 };

po_status po_bed_document(const po_drawing *d, po_picture_kind kind, const char *title, po_arena *arena,
                          po_document *ret, po_err *err)
{
    if (kind == PO_PICTURE_PNG) {
        return po_render_png(d, DOTS_PER_MM, arena, ret, err);
    }
    if (kind == PO_PICTURE_PDF) {
        return po_render_pdf(d, title, arena, ret, err);
    }
    po_text text;
    po_text_init(&text, arena);
    po_status status = po_render_svg(d, true, &text, err);
    *ret = (po_document){text.data, text.n};
    return status;
}
