/* The slip of a job as plain text: the verdict first and large, then findings, facts, changed rules, cautions.
 * SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "slip/text_kit.h"

static void head(po_page *p, const po_proof *proof)
{
    po_arena *a = p->out.arena;
    const po_job_report *r = proof->report;
    const char *lines[5] = {
        po_arena_printf(a, "%s: %s", po_say_clean(a, r->machine->name), po_say_answer(proof->verdict)),
        po_last_part(po_say_clean(a, proof->file)),
        po_arena_printf(a, "%s of %s, %s", po_say_metres(a, r->facts.filament_mm), po_say_materials(a, r),
                        po_say_grams(a, r->facts.filament_g)),
        po_say_time(a, r->facts.seconds),
        "",
    };
    if (proof->start_known) {
        lines[4] = po_arena_printf(a, "starts %s, ends %s", po_say_clock(a, proof->start, NULL),
                                   po_say_clock(a, proof->end, &proof->start));
    } else {
        lines[4] = isfinite(proof->cool_seconds)
                       ? po_arena_printf(a, "cool enough %s after the end", po_say_time(a, proof->cool_seconds))
                       : "";
    }
    po_page_banner(p, proof->verdict, lines);
}

po_status po_slip_text(const po_proof *proof, const po_shop *shop, const po_slip_options *options, po_arena *arena,
                       po_document *ret, po_err *err)
{
    po_page p;
    po_page_init(&p, options, arena);
    head(&p, proof);
    if (proof->aloud && *proof->aloud) {
        po_page_paragraph(&p, "Say:", 5, proof->aloud);
    }
    po_text_add(&p.out, "\n");
    po_page_findings(&p, proof->findings, proof->n_findings, false);
    po_fact_line lines[PO_MOST_FACT_LINES];
    po_page_facts(&p, lines, po_fact_lines(proof, arena, lines));
    if (proof->start_known) {
        po_text_printf(&p.out, "  %-19s%s\n", "Watch until", po_say_clock(arena, proof->watch_until, &proof->start));
        if (isfinite(proof->cool_seconds)) {
            po_text_printf(&p.out, "  %-19s%s\n", "Take off from", po_say_clock(arena, proof->cool, &proof->start));
        }
    }
    po_page_list(&p, "This shop's own rules", "  -", proof->changed_rules, proof->n_changed_rules);
    const char *cautions[PO_MOST_CAUTIONS];
    po_page_list(&p, "Care", "  !", cautions, po_cautions(proof, shop, cautions));
    po_page_end(&p, proof->file, proof->report->sha256, shop, options);
    if (p.out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the slip");
    }
    *ret = (po_document){.data = p.out.data, .n_bytes = p.out.n};
    return PO_OK;
}
