/* The slip of a job as one self-contained page. SPDX-License-Identifier: Apache-2.0
 *
 * What holds for every page (no script, no link, all texts escaped, light and dark) is in html_kit.c. */
#include <math.h>

#include "slip/html_kit.h"
#include "slip/pictures.h"

static void numbers(po_html *p, const po_proof *proof)
{
    po_arena *a = p->arena;
    const po_job_facts *f = &proof->report->facts;
    po_fact_line rows[5] = {
        {"filament", po_say_metres(a, f->filament_mm)},
        {po_say_materials(a, proof->report), po_say_grams(a, f->filament_g)},
        {"takes", po_say_time(a, f->seconds)},
        {proof->start_known ? "ends" : NULL, proof->start_known ? po_say_clock(a, proof->end, NULL) : ""},
        {isfinite(proof->cool_seconds) ? (proof->start_known ? "cool enough from" : "cool after the end") : NULL, ""},
    };
    rows[4].value = proof->start_known ? po_say_clock(a, proof->cool, &proof->end)
                                       : po_say_time(a, proof->cool_seconds);
    po_html_numbers(p, rows, 5);
}

typedef void one_picture(po_drawing *d, po_box2 box, const po_proof *proof);

static void panel(po_html *p, const po_proof *proof, const char *attributes, const char *title, const char *description,
                  double w, double h, one_picture *paint)
{
    po_drawing d;
    po_draw_init(&d, p->arena, w, h, title, description);
    paint(&d, (po_box2){1, 1, w - 2, h - 2}, proof);
    po_text_printf(&p->out, "<figure%s>", attributes);
    po_html_picture(p, &d);
    po_text_add(&p->out, "</figure>\n");
}

static void pictures(po_html *p, const po_proof *proof, const po_shop *shop)
{
    po_arena *a = p->arena;
    const po_job_report *r = proof->report;
    po_html_element(p, "h3", "", "Pictures");
    po_drawing d;
    po_draw_init(&d, a, 180, 26, "The run's time",
                 po_arena_printf(a, "first bead after %s, watch of %s, end after %s",
                                 po_say_time(a, r->facts.first_bead_seconds), po_say_time(a, proof->watch_seconds),
                                 po_say_time(a, r->facts.seconds)));
    po_picture_time(&d, (po_box2){2, 1, 176, 24}, proof, shop);
    po_text_add(&p->out, "<figure class=\"scroll\">");
    po_html_picture(p, &d);
    po_text_add(&p->out, "</figure>\n");

    po_text_add(&p->out, "<div class=\"panels\">\n");
    const char *stands = po_arena_printf(a, "%d footholds, %s mm2 in all", r->facts.footholds,
                                         po_say_number(a, r->facts.foothold_mm2, 0));
    panel(p, proof, "", "The bed from above with the first layer", stands, 74, 72, po_picture_bed);
    panel(p, proof, "", "The first layer close up", stands, 74, 72, po_picture_close);
    panel(p, proof, " class=\"wide scroll\"", "From the front, with the heights of the findings", NULL, 150,
          po_side_height(proof, 146, 58) + 4, po_picture_side);
    po_text_add(&p->out, "</div>\n");
    if (r->images.n_worst) {
        po_html_element(p, "h3", "", "The worst heights");
        po_text_add(&p->out, "<div class=\"frames\">\n");
        for (size_t i = 0; i < r->images.n_worst && i < 12; i++) {
            const char *title = po_arena_printf(a, "The layer at %s mm", po_say_number(a, r->images.worst[i].z, 2));
            double h = po_heights_height(50, 1) - 1;
            po_draw_init(&d, a, 52, h, title, "flags carry the numbers of the findings");
            po_picture_heights(&d, (po_box2){1, 0.5, 50, h}, proof, i, 1);
            po_text_add(&p->out, "<figure>");
            po_html_picture(p, &d);
            po_text_add(&p->out, "</figure>\n");
        }
        po_text_add(&p->out, "</div>\n");
    }
    po_drawing key;
    po_draw_init(&key, a, 180, 10, "Key to the areas", NULL);
    double h = po_picture_key(&key, 1, 2, 178, proof);
    if (h > 0) {
        key.height_mm = h + 2;
        po_text_add(&p->out, "<figure class=\"scroll\">");
        po_html_picture(p, &key);
        po_text_add(&p->out, "<figcaption>Flags carry the numbers of the findings: filled ones stop the job. "
                             "Kinds of area are told apart by their hatching.</figcaption></figure>\n");
    }
}

static void machine_section(po_html *p, const po_proof *proof, const po_shop *shop, size_t number)
{
    const char *cautions[PO_MOST_CAUTIONS];
    po_fact_line lines[PO_MOST_FACT_LINES];
    po_html_section(p, number, proof->report->machine->name, proof->verdict, proof->file);
    numbers(p, proof);
    po_html_aloud(p, proof->aloud, proof->verdict);
    po_html_findings(p, proof->findings, proof->n_findings, false);
    po_html_care(p, cautions, po_cautions(proof, shop, cautions));
    pictures(p, proof, shop);
    po_html_facts(p, lines, po_fact_lines(proof, p->arena, lines));
    po_html_rules(p, proof->changed_rules, proof->n_changed_rules);
    po_text_add(&p->out, "</section>\n");
}

static void machines_table(po_html *p, const po_proof *const *proofs, size_t n)
{
    po_arena *a = p->arena;
    po_text_add(&p->out,
                "<div class=\"scroll\"><table class=\"machines\"><thead><tr>"
                "<th scope=\"col\">machine</th><th scope=\"col\">answer</th><th class=\"n\" scope=\"col\">filament</th>"
                "<th class=\"n\" scope=\"col\">takes</th><th scope=\"col\">ends</th><th "
                "scope=\"col\">why</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < n; i++) {
        const po_proof *proof = proofs[i];
        po_text_printf(&p->out, "<tr><th scope=\"row\"><a href=\"#m%zu\">", i + 1);
        po_add_escaped(&p->out, proof->report->machine->name);
        po_text_printf(&p->out, "</a></th><td class=\"%s\"><strong>%s</strong></td>", po_html_tone(proof->verdict),
                       po_say_answer(proof->verdict));
        po_html_element(p, "td", " class=\"n\"", po_say_metres(a, proof->report->facts.filament_mm));
        po_html_element(p, "td", " class=\"n\"", po_say_time(a, proof->report->facts.seconds));
        po_html_element(p, "td", "", proof->start_known ? po_say_clock(a, proof->end, &proof->start) : "");
        bool why = proof->n_findings && proof->findings[0].grade >= PO_GRADE_ASK;
        po_html_element(p, "td", "", why ? proof->findings[0].name : "");
        po_text_add(&p->out, "</tr>\n");
    }
    po_text_add(&p->out, "</tbody></table></div>\n");
}

po_status po_slip_html(const po_proof *const *proofs, size_t n_proofs, const po_shop *shop,
                       const po_slip_options *options, po_arena *arena, po_document *ret, po_err *err)
{
    if (!n_proofs) {
        return po_fail(err, PO_E_RANGE, "no proof to write");
    }
    po_html p = {.arena = arena, .err = err};
    po_text_init(&p.out, arena);
    const char *file = po_say_clean(arena, proofs[0]->file);
    const po_job_report *r = proofs[0]->report;
    po_html_begin(&p, file, shop ? shop->name : NULL, options);
    if (n_proofs > 1) {
        machines_table(&p, proofs, n_proofs);
    }
    for (size_t i = 0; i < n_proofs && !p.status; i++) {
        machine_section(&p, proofs[i], shop, i + 1);
    }
    const char *size = po_arena_printf(arena, "%llu bytes, %llu lines", (unsigned long long)r->facts.bytes,
                                       (unsigned long long)r->facts.lines);
    return po_html_end(&p, file, size, r->sha256, ret);
}
