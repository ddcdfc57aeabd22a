/* One line for each machine, then the sentence to read aloud. SPDX-License-Identifier: Apache-2.0
 *
 * The first obstacle is the gravest finding: findings come by gravity. Never wider than asked for. */
#include "slip/text_kit.h"

static size_t min(size_t a, size_t b)
{
    return a < b ? a : b;
}

po_status po_slip_table(const po_proof *const *proofs, size_t n_proofs, const po_shop *shop,
                        const po_slip_options *options, po_arena *arena, po_document *ret, po_err *err)
{
    (void)shop;
    size_t columns = po_table_columns(options);
    bool colour = options && options->colour, clocks = false;
    size_t name_w = 7, end_w = 4;
    for (size_t i = 0; i < n_proofs; i++) {
        name_w = min(18, name_w > po_columns(po_say_clean(arena, proofs[i]->report->machine->name))
                             ? name_w
                             : po_columns(po_say_clean(arena, proofs[i]->report->machine->name)));
        if (proofs[i]->start_known) {
            size_t w = po_columns(po_say_clock(arena, proofs[i]->end, &proofs[i]->start));
            end_w = w > end_w ? w : end_w;
            clocks = true;
        }
    }
    po_text out;
    po_text_init(&out, arena);
    if (n_proofs) {
        po_table_path(&out, proofs[0]->file, columns);
    }
    po_table_cell(&out, "machine", name_w, false);
    po_text_add(&out, "  ");
    po_table_cell(&out, "", 3, false);
    po_text_add(&out, "  ");
    po_table_cell(&out, "metres", 7, true);
    po_text_add(&out, "  ");
    po_table_cell(&out, "h:mm", 6, true);
    po_text_add(&out, "  ");
    if (clocks) {
        po_table_cell(&out, "ends", end_w, false);
        po_text_add(&out, "  ");
    }
    po_text_add(&out, "why\n");
    size_t used = name_w + 2 + 3 + 2 + 7 + 2 + 6 + 2 + (clocks ? end_w + 2 : 0),
           left = columns - min(columns - 8, used);
    for (size_t i = 0; i < n_proofs; i++) {
        const po_proof *proof = proofs[i];
        const po_job_facts *f = &proof->report->facts;
        po_table_cell(&out, po_say_clean(arena, proof->report->machine->name), name_w, false);
        po_text_add(&out, "  ");
        po_table_answer(&out, proof->verdict, colour);
        po_text_add(&out, "  ");
        po_table_cell(&out, po_say_metres(arena, f->filament_mm), 7, true);
        po_text_add(&out, "  ");
        po_table_cell(&out, po_say_hmm(arena, f->seconds), 6, true);
        po_text_add(&out, "  ");
        if (clocks) {
            po_table_cell(&out, proof->start_known ? po_say_clock(arena, proof->end, &proof->start) : "-", end_w,
                          false);
            po_text_add(&out, "  ");
        }
        po_table_why(&out, proof->findings, proof->n_findings, left);
    }
    /* The best machine's sentence: that is the one the member will hear. */
    const po_proof *best = NULL;
    for (size_t i = 0; i < n_proofs; i++) {
        best = !best || proofs[i]->verdict < best->verdict ? proofs[i] : best;
    }
    if (best && best->aloud && *best->aloud) {
        po_text_add(&out, "\n");
        po_table_wrapped(&out, po_say_clean(arena, best->aloud), columns);
    }
    if (out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the table");
    }
    *ret = (po_document){.data = out.data ? out.data : "", .n_bytes = out.n};
    return PO_OK;
}
