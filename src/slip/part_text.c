/* The slip of a part as plain text, and the table over machines. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "slip/text_kit.h"

static const po_estimate *judged(const po_part_report *r)
{
    return r->estimates != NULL && r->judged_estimate < r->shop->n_recipes &&
                   isfinite(r->estimates[r->judged_estimate].filament_mm)
               ? &r->estimates[r->judged_estimate]
               : NULL;
}

/* Of a side: a tenth of a millimetre, and more digits of what is smaller than one. */
static const char *side(po_arena *a, double mm)
{
    return po_say_number(a, mm, mm >= 1 ? 1 : mm >= 0.1 ? 2 : 4);
}

static void head(po_page *p, const po_part_proof *proof)
{
    po_arena *a = p->out.arena;
    const po_part_report *r = proof->report;
    const po_estimate *e = judged(r);
    const double(*b)[3] = r->totals.bounds_mm;
    const char *lines[5] = {
        po_arena_printf(a, "%s: %s", po_say_clean(a, r->machine->name), po_say_answer(proof->verdict)),
        po_last_part(po_say_clean(a, proof->file)),
        isfinite(b[0][0])
            ? po_arena_printf(a, "%u item%s, %s x %s x %s mm", r->n_items, r->n_items == 1 ? "" : "s",
                              side(a, b[1][0] - b[0][0]), side(a, b[1][1] - b[0][1]), side(a, b[1][2] - b[0][2]))
            : "no model",
        e ? po_arena_printf(a, "about %s of %s, %s", po_say_metres(a, e->filament_mm),
                            r->material ? po_say_clean(a, r->material->name) : "filament",
                            po_say_grams(a, e->filament_g))
          : "",
        e ? po_arena_printf(a, "about %s (%s)", po_say_time(a, e->seconds), po_say_clean(a, e->recipe->name)) : "",
    };
    po_page_banner(p, proof->verdict, lines);
}

/* "4.98-5.90 m" */
static const char *metres_range(po_arena *a, po_range r)
{
    const char *low = po_say_metres(a, r.low);
    const char *blank = strchr(low, ' ');
    return po_arena_printf(a, "%.*s-%s", blank ? (int)(blank - low) : 0, low, po_say_metres(a, r.high));
}

/* Columns of the table of estimates; the first ones to go on a narrow page have the highest number. */
static const struct {
    const char *head;
    size_t width;
    int goes;
} table[] = {{"metres", 8, 0}, {"range", 14, 3}, {"grams", 8, 2}, {"h:mm", 8, 1}, {"range", 16, 4}, {"layers", 7, 5}};
enum { N_CELLS = sizeof table / sizeof *table };

static void choose_cells(size_t columns, size_t name_w, bool shown[N_CELLS])
{
    size_t used = 2 + name_w;
    for (int goes = 0; goes < N_CELLS; goes++) {
        for (size_t k = 0; k < N_CELLS; k++) {
            if (table[k].goes == goes) {
                shown[k] = used + table[k].width <= columns;
                used += shown[k] ? table[k].width : 0;
            }
        }
    }
}

/* One line a recipe: metres, grams, hours, and the range of both. */
static void estimates(po_page *p, const po_part_report *r)
{
    po_arena *a = p->out.arena;
    size_t name_w = 10;
    const po_estimate *any = NULL;
    for (size_t i = 0; r->estimates != NULL && i < r->shop->n_recipes; i++) {
        size_t w = po_columns(po_say_clean(a, r->estimates[i].recipe->name));
        name_w = w > name_w ? w : name_w;
        any = any == NULL && isfinite(r->estimates[i].filament_mm) ? &r->estimates[i] : any;
    }
    name_w = name_w > 20 ? 20 : name_w;
    po_text_add(&p->out, "\nWhat it will take\n");
    if (any == NULL) {
        po_page_paragraph(p, "", 2, "Not estimated: that needs a closed surface (and a recipe in the shop file).");
        return;
    }
    bool shown[N_CELLS];
    choose_cells(p->columns, name_w, shown);
    po_text_add(&p->out, "  ");
    po_table_cell(&p->out, "recipe", name_w, false);
    for (size_t k = 0; k < N_CELLS; k++) {
        if (shown[k]) {
            po_table_cell(&p->out, table[k].head, table[k].width, true);
        }
    }
    po_text_add(&p->out, "\n");
    for (size_t i = 0; i < r->shop->n_recipes; i++) {
        const po_estimate *e = &r->estimates[i];
        bool known = isfinite(e->filament_mm);
        const char *cells[N_CELLS] = {
            po_say_metres(a, e->filament_mm),
            metres_range(a, e->filament_range_mm),
            po_say_grams(a, e->filament_g),
            po_say_hmm(a, e->seconds),
            po_arena_printf(a, "%s-%s", po_say_hmm(a, e->seconds_range.low), po_say_hmm(a, e->seconds_range.high)),
            po_arena_printf(a, "%d", e->layers),
        };
        po_text_add(&p->out, "  ");
        po_table_cell(&p->out, po_say_clean(a, e->recipe->name), name_w, false);
        for (size_t k = 0; k < N_CELLS; k++) {
            if (shown[k]) {
                po_table_cell(&p->out, known && cells[k] ? cells[k] : "-", table[k].width, true);
            }
        }
        po_text_add(&p->out, "\n");
    }
    if (any->support_mm > 0) {
        po_page_paragraph(p, "", 2,
                          po_arena_printf(a, "Supports as it lies would add about %s and %s.",
                                          po_say_metres(a, any->support_mm), po_say_time(a, any->support_seconds)));
    }
    if (any->covers != NULL) {
        po_page_paragraph(p, "", 2, any->covers);
    }
}

po_status po_part_slip_text(const po_part_proof *proof, const po_slip_options *options, po_arena *arena,
                            po_document *ret, po_err *err)
{
    const po_part_report *r = proof->report;
    po_page p;
    po_page_init(&p, options, arena);
    head(&p, proof);
    if (proof->aloud && *proof->aloud) {
        po_page_paragraph(&p, "Say:", 5, proof->aloud);
    }
    po_text_add(&p.out, "\n");
    po_page_findings(&p, proof->findings, proof->n_findings, true);
    estimates(&p, r);
    po_fact_line lines[PO_MOST_FACT_LINES];
    po_page_facts(&p, lines, po_part_fact_lines(proof, arena, lines));
    po_page_list(&p, "This shop's own rules", "  -", proof->changed_rules, proof->n_changed_rules);
    const char *cautions[PO_MOST_CAUTIONS];
    po_page_list(&p, "Care", "  !", cautions, po_part_cautions(proof, cautions));
    po_page_end(&p, proof->file, r->part->sha256, r->shop, options);
    if (p.out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the slip");
    }
    *ret = (po_document){.data = p.out.data, .n_bytes = p.out.n};
    return PO_OK;
}

/* The worst fit of the part's items on the report's machine, in a word. */
static const char *fits(const po_part_report *r)
{
    static const char *const words[] = {"yes", "turned", "tipped", "no"};
    int worst = -1;
    for (size_t i = 0; i < r->n_solids; i++) {
        for (size_t m = 0; r->solids[i].fits != NULL && m < r->shop->n_machines; m++) {
            const po_fit *f = &r->solids[i].fits[m];
            int rank = f->as_is ? 0 : f->turned ? 1 : f->pose >= 0 ? 2 : 3;
            worst = f->machine == r->machine && rank > worst ? rank : worst;
        }
    }
    return worst < 0 ? "-" : words[worst];
}

po_status po_part_slip_table(const po_part_proof *const *proofs, size_t n_proofs, const po_slip_options *options,
                             po_arena *arena, po_document *ret, po_err *err)
{
    size_t columns = po_table_columns(options), name_w = 7;
    bool colour = options && options->colour;
    for (size_t i = 0; i < n_proofs; i++) {
        size_t w = po_columns(po_say_clean(arena, proofs[i]->report->machine->name));
        name_w = w > name_w ? w : name_w;
    }
    name_w = name_w > 18 ? 18 : name_w;
    po_text out;
    po_text_init(&out, arena);
    if (n_proofs) {
        po_table_path(&out, proofs[0]->file, columns);
    }
    po_table_cell(&out, "machine", name_w, false);
    po_text_add(&out, "       ");
    po_table_cell(&out, "fits", 6, false);
    po_text_add(&out, "  ");
    po_table_cell(&out, "metres", 7, true);
    po_text_add(&out, "  ");
    po_table_cell(&out, "h:mm", 6, true);
    po_text_add(&out, "  why\n");
    size_t used = name_w + 2 + 3 + 2 + 6 + 2 + 7 + 2 + 6 + 2;
    size_t left = columns > used + 8 ? columns - used : 8;
    const po_part_proof *best = NULL;
    for (size_t i = 0; i < n_proofs; i++) {
        const po_part_proof *proof = proofs[i];
        const po_estimate *e = judged(proof->report);
        po_table_cell(&out, po_say_clean(arena, proof->report->machine->name), name_w, false);
        po_text_add(&out, "  ");
        po_table_answer(&out, proof->verdict, colour);
        po_text_add(&out, "  ");
        po_table_cell(&out, fits(proof->report), 6, false);
        po_text_add(&out, "  ");
        po_table_cell(&out, e ? po_say_metres(arena, e->filament_mm) : "-", 7, true);
        po_text_add(&out, "  ");
        po_table_cell(&out, e ? po_say_hmm(arena, e->seconds) : "-", 6, true);
        po_text_add(&out, "  ");
        po_table_why(&out, proof->findings, proof->n_findings, left);
        best = !best || proof->verdict < best->verdict ? proof : best;
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
