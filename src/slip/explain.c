/* The drawing of `proveout explain NAME`: what a finding means, and what helps. SPDX-License-Identifier: Apache-2.0
 *
 * Only findings that a picture makes clearer have one; for the others the words of the rule are enough. */
#include <string.h>

#include "slip/explain_kit.h"
#include "slip/render.h"
#include "slip/say.h"

static const po_explain *find(const char *finding)
{
    const po_explain *(*const tables[])(size_t *) = {po_explain_room, po_explain_beads, po_explain_desk,
                                                     po_explain_mesh, po_explain_part};
    for (size_t t = 0; t < sizeof tables / sizeof *tables; t++) {
        size_t n;
        const po_explain *rows = tables[t](&n);
        for (size_t i = 0; i < n; i++) {
            if (po_text_same(rows[i].finding, finding)) {
                return &rows[i];
            }
        }
    }
    return NULL;
}

static void caption(po_drawing *d, double x, po_verdict like, const char *text)
{
    const char *lines[3];
    size_t n = po_text_wrap(d->arena, text, EX_HALF - 8, 2.7, false, lines, 3);
    po_draw_verdict(d, x + 2.2, 52, 3.4, like);
    for (size_t i = 0; i < n; i++) {
        po_draw_text(d, x + 6.5, 53 + 3.5 * (double)i, 2.7, PO_ANCHOR_START, PO_INK_LINE, lines[i]);
    }
}

po_status po_slip_explain_svg(const char *finding, po_arena *arena, po_document *ret, po_err *err)
{
    const po_explain *row = finding ? find(finding) : NULL;
    if (!row) {
        return po_fail(err, PO_E_NOTFOUND, "there is no drawing for \"%s\"",
                       finding ? po_say_clean(arena, finding) : "");
    }
    po_drawing d;
    const char *description = po_arena_printf(arena, "Left: %s Right: %s", row->left, row->right);
    po_draw_init(&d, arena, EX_W, EX_H, row->finding, description);
    row->paint(&d);
    const po_rule_info *rule = po_rule_find(row->finding);
    po_draw_line(&d, EX_W / 2, 4, EX_W / 2, EX_H - 4, PO_INK_FAINT, 0.25);
    caption(&d, EX_LEFT, rule && rule->grade == PO_GRADE_STOP ? PO_STOP : PO_ASK, row->left);
    caption(&d, EX_RIGHT, PO_CLEAR, row->right);
    po_text out;
    po_text_init(&out, arena);
    po_status status = po_render_svg(&d, true, &out, err);
    if (!status) {
        *ret = (po_document){.data = out.data, .n_bytes = out.n};
    }
    return status;
}
