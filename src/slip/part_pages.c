/* The slip of a part as one self-contained page. SPDX-License-Identifier: Apache-2.0
 *
 * One machine: everything in its section. Several: each section says what that machine makes of the part (findings, its
 * bed, what it takes), and what no machine has a say in (items, cuts, ways up, all beds) follows once. What holds for
 * every page (no script, no link, all texts escaped, light and dark) is in html_kit.c. */
#include <math.h>
#include <string.h>

#include "slip/html_kit.h"
#include "slip/part_pictures.h"
#include "slip/pictures.h"

#define PICTURE_W 180.0

static const char *size_of(po_arena *a, const double b[2][3])
{
    return isfinite(b[0][0])
               ? po_arena_printf(a, "%s x %s x %s mm", po_say_number(a, b[1][0] - b[0][0], 1),
                                 po_say_number(a, b[1][1] - b[0][1], 1), po_say_number(a, b[1][2] - b[0][2], 1))
               : "nothing";
}

static void numbers(po_html *p, const po_part_proof *proof)
{
    po_arena *a = p->arena;
    const po_part_report *r = proof->report;
    const po_estimate *e = po_part_judged(r);
    const po_fact_line rows[] = {
        {"size", size_of(a, r->totals.bounds_mm)},
        {"items", po_arena_printf(a, "%u", r->n_items)},
        {e ? "filament, about" : NULL, e ? po_say_metres(a, e->filament_mm) : ""},
        {e ? (r->material ? po_say_clean(a, r->material->name) : "mass") : NULL,
         e ? po_say_grams(a, e->filament_g) : ""},
        {e ? "takes about" : NULL, e ? po_say_time(a, e->seconds) : ""},
        {e ? "recipe" : NULL, e ? e->recipe->name : ""},
    };
    po_html_numbers(p, rows, sizeof rows / sizeof *rows);
}

/* ---- pictures ---- */

static void figure(po_html *p, const po_drawing *d, const char *attributes, const char *caption)
{
    po_text_printf(&p->out, "<figure%s>", attributes);
    po_html_picture(p, d);
    if (caption) {
        po_html_element(p, "figcaption", "", caption);
    }
    po_text_add(&p->out, "</figure>\n");
}

static const char *told(const po_text *t)
{
    return t->failed || !t->data ? "" : t->data;
}

static void lies(po_html *p, const po_part_gallery *g, const po_part_proof *proof, size_t solid, const char *title)
{
    po_drawing d;
    po_arena *a = p->arena;
    const po_solid *s = &g->report->solids[solid];
    const char *says = po_arena_printf(
        a, "%s%s", size_of(a, s->facts.bounds_mm),
        s->lies_done ? po_arena_printf(a, ", %s mm2 hang beyond the limit", po_say_number(a, s->lies.overhang_mm2, 0))
                     : "");
    po_draw_init(&d, a, PICTURE_W, 76, po_arena_printf(a, "%s as it lies", po_say_item(a, g->report, solid)), says);
    po_part_picture_lies(&d, (po_box2){1, 1, PICTURE_W - 2, 74}, g, proof, solid, title);
    figure(p, &d, " class=\"scroll\"", NULL);
    po_draw_init(&d, a, PICTURE_W, 8, "Key to the surfaces", NULL);
    double h = po_part_picture_key(&d, 1, 1, PICTURE_W - 2, g, solid);
    if (h > 0) {
        d.height_mm = h + 1;
        figure(p, &d, " class=\"scroll\"",
               "Flags carry the numbers of the findings: filled ones stop the part. Kinds of surface are told apart by "
               "their texture.");
    }
}

static void sections(po_html *p, const po_part_report *r, size_t solid)
{
    po_drawing d;
    po_text says;
    double h = po_part_sections_height(r, solid, PICTURE_W - 2);
    if (!(h > 0)) {
        return;
    }
    const po_solid *s = &r->solids[solid];
    po_text_init(&says, p->arena);
    for (size_t i = 0; i < s->n_sections; i++) {
        double area = po_loops_area(&s->sections[i].loops);
        po_text_printf(&says, "%s%s mm up: %s mm2", i ? "; " : "",
                       po_say_number(p->arena, s->sections[i].z - s->facts.bounds_mm[0][2], 2),
                       po_say_number(p->arena, area, 0));
    }
    po_draw_init(&d, p->arena, PICTURE_W, h + 2, "Cuts through the part", told(&says));
    po_part_picture_sections(&d, (po_box2){1, 1, PICTURE_W - 2, h}, r, solid);
    figure(p, &d, " class=\"wide scroll\"", NULL);
}

static void ways(po_html *p, const po_part_gallery *g, size_t solid)
{
    po_drawing d;
    po_text says;
    const po_solid *s = &g->report->solids[solid];
    double h = po_part_ways_height(g->report, solid, PICTURE_W - 2, 3, PO_MOST_WAYS);
    if (!(h > 0)) {
        return;
    }
    po_text_init(&says, p->arena);
    for (size_t i = 0; i < s->n_poses && i < PO_MOST_WAYS; i++) {
        const po_pose *q = &s->poses[i];
        po_text_printf(&says, "%s%zu%s: %s mm tall, %s", i ? "; " : "", i + 1, i == s->as_is ? " (as it lies)" : "",
                       po_say_number(p->arena, q->size_mm[2], 1), q->why ? q->why : "");
    }
    po_draw_init(&d, p->arena, PICTURE_W, h + 2, "Ways up, cheapest first", told(&says));
    po_part_picture_ways(&d, (po_box2){1, 1, PICTURE_W - 2, h}, g, solid, 3, PO_MOST_WAYS);
    figure(p, &d, " class=\"wide scroll\"", NULL);
}

static void beds(po_html *p, const po_part_report *r, size_t solid, size_t first, size_t n, size_t columns)
{
    po_drawing d;
    po_text says;
    double h = po_part_beds_height(r, solid, PICTURE_W - 2, n, columns);
    if (!(h > 0)) {
        return;
    }
    po_text_init(&says, p->arena);
    for (size_t i = first; i < first + n && i < r->shop->n_machines; i++) {
        const char *words = po_part_fit_words(p->arena, &r->solids[solid].fits[i]);
        po_text_printf(&says, "%s%s: %s", i > first ? "; " : "", po_say_clean(p->arena, r->shop->machines[i].name),
                       words ? words : "");
    }
    po_draw_init(&d, p->arena, PICTURE_W, h + 2, n == 1 ? "The part on the bed" : "The part on the beds", told(&says));
    po_part_picture_beds(&d, (po_box2){1, 1, PICTURE_W - 2, h}, r, solid, first, n, columns);
    figure(p, &d, " class=\"wide scroll\"", NULL);
}

static void takes(po_html *p, const po_part_report *r)
{
    static const char *const HEADS[] = {"filament", "range", "grams", "time", "range", "layers"};
    po_arena *a = p->arena;
    po_drawing d;
    double h = po_part_takes_height(r);
    po_html_element(p, "h3", "", "Material and time");
    if (!(h > 0)) {
        po_html_element(p, "p", "", "Not estimated: that needs a closed surface (and a recipe in the shop file).");
        return;
    }
    po_draw_init(&d, a, PICTURE_W, h + 2, "Filament and time by recipe", "the table beneath has the same numbers");
    po_part_picture_takes(&d, (po_box2){1, 1, PICTURE_W - 2, h}, r);
    figure(p, &d, " class=\"scroll\"", NULL);
    po_text_add(&p->out, "<div class=\"scroll\"><table class=\"machines\"><thead><tr><th scope=\"col\">recipe</th>");
    for (size_t i = 0; i < sizeof HEADS / sizeof *HEADS; i++) {
        po_html_element(p, "th", " class=\"n\" scope=\"col\"", HEADS[i]);
    }
    po_text_add(&p->out, "</tr></thead><tbody>\n");
    const po_estimate *any = NULL;
    for (size_t i = 0; i < r->shop->n_recipes; i++) {
        const po_estimate *e = &r->estimates[i];
        bool known = isfinite(e->filament_mm);
        const char *cells[] = {
            po_say_metres(a, e->filament_mm),
            po_arena_printf(a, "%s to %s", po_say_metres(a, e->filament_range_mm.low),
                            po_say_metres(a, e->filament_range_mm.high)),
            po_say_grams(a, e->filament_g),
            po_say_time(a, e->seconds),
            po_arena_printf(a, "%s to %s", po_say_hmm(a, e->seconds_range.low), po_say_hmm(a, e->seconds_range.high)),
            po_arena_printf(a, "%d", e->layers),
        };
        any = known && !any ? e : any;
        po_text_add(&p->out, "<tr>");
        po_html_element(p, "th", " scope=\"row\"", e->recipe->name);
        for (size_t k = 0; k < sizeof cells / sizeof *cells; k++) {
            po_html_element(p, "td", " class=\"n\"", known ? cells[k] : "-");
        }
        po_text_add(&p->out, "</tr>\n");
    }
    po_text_add(&p->out, "</tbody></table></div>\n");
    if (any && any->support_mm > 0) {
        po_html_element(p, "p", " class=\"soft\"",
                        po_arena_printf(a, "Supports as it lies would add about %s and %s.",
                                        po_say_metres(a, any->support_mm), po_say_time(a, any->support_seconds)));
    }
    if (any && any->covers) {
        po_html_element(p, "p", " class=\"soft\"", any->covers);
    }
}

static size_t columns_for(size_t n)
{
    return n < 3 ? 3 : n < 5 ? n : 5;
}

/* Every item with all of its pictures. */
static void items(po_html *p, const po_part_gallery *g, const po_part_proof *proof)
{
    const po_part_report *r = g->report;
    size_t n_machines = r->shop->n_machines < 20 ? r->shop->n_machines : 20;
    for (size_t i = 0; i < g->n && !p->status; i++) {
        const po_solid *s = &r->solids[i];
        const char *name = r->n_solids > 1 ? po_say_item(p->arena, r, i) : "Pictures";
        const char *title = s->times > 1 ? po_arena_printf(p->arena, "%s, %u of it", name, s->times) : name;
        po_html_element(p, "h3", "", title);
        lies(p, g, proof, i, NULL);
        po_text_add(&p->out, "<div class=\"panels\">\n");
        sections(p, r, i);
        ways(p, g, i);
        beds(p, r, i, 0, n_machines, columns_for(n_machines));
        po_text_add(&p->out, "</div>\n");
    }
    if (r->n_solids > g->n) {
        po_html_element(
            p, "p", " class=\"soft\"",
            po_arena_printf(p->arena, "And %zu kinds of items more, without pictures.", r->n_solids - g->n));
    }
    if (r->n_solids == 0) {
        po_html_element(p, "p", "", "There is no model in this file.");
    }
}

/* ---- the page ---- */

static void machine_section(po_html *p, const po_part_gallery *g, const po_part_proof *proof, size_t number, bool alone)
{
    const po_part_report *r = proof->report;
    const char *cautions[PO_MOST_CAUTIONS];
    po_fact_line lines[PO_MOST_FACT_LINES];
    po_html_section(p, number, r->machine->name, proof->verdict, proof->file);
    numbers(p, proof);
    po_html_aloud(p, proof->aloud, proof->verdict);
    po_html_findings(p, proof->findings, proof->n_findings, true);
    po_html_care(p, cautions, po_part_cautions(proof, cautions));
    if (alone) {
        items(p, g, proof);
    } else if (g->n > 0) {
        size_t worst = po_part_worst_solid(proof), machine = po_part_machine_index(r);
        po_html_element(p, "h3", "", "Pictures");
        lies(p, g, proof, worst, r->n_solids > 1 ? po_say_item(p->arena, r, worst) : NULL);
        if (machine != SIZE_MAX) {
            po_text_add(&p->out, "<div class=\"panels\">\n");
            beds(p, r, worst, machine, 1, 3);
            po_text_add(&p->out, "</div>\n");
        }
    }
    takes(p, r);
    po_html_facts(p, lines, po_part_fact_lines(proof, p->arena, lines));
    po_html_rules(p, proof->changed_rules, proof->n_changed_rules);
    po_text_add(&p->out, "</section>\n");
}

/* What no machine has a say in. Flags are left out: their numbers are those of one machine's findings. */
static void part_section(po_html *p, const po_part_gallery *g, const po_part_proof *proof)
{
    po_part_proof bare = *proof;
    bare.n_findings = 0;
    po_text_add(&p->out, "<section class=\"machine\" id=\"part\">\n<h2>The part<small>the same for every "
                         "machine</small></h2>\n");
    items(p, g, &bare);
    po_text_add(&p->out, "</section>\n");
}

static void machines_table(po_html *p, const po_part_proof *const *proofs, size_t n)
{
    po_arena *a = p->arena;
    po_text_add(&p->out, "<div class=\"scroll\"><table class=\"machines\"><thead><tr><th scope=\"col\">machine</th>"
                         "<th scope=\"col\">answer</th><th scope=\"col\">fits</th><th class=\"n\" "
                         "scope=\"col\">filament</th><th class=\"n\" scope=\"col\">takes</th><th scope=\"col\">why</th>"
                         "</tr></thead><tbody>\n");
    for (size_t i = 0; i < n; i++) {
        const po_part_report *r = proofs[i]->report;
        const po_estimate *e = po_part_judged(r);
        po_text_printf(&p->out, "<tr><th scope=\"row\"><a href=\"#m%zu\">", i + 1);
        po_add_escaped(&p->out, r->machine->name);
        po_text_printf(&p->out, "</a></th><td class=\"%s\"><strong>%s</strong></td>", po_html_tone(proofs[i]->verdict),
                       po_say_answer(proofs[i]->verdict));
        const po_fit *worst = po_part_worst_fit(r, r->machine);
        po_html_element(p, "td", "", worst ? po_say_fit(a, worst) : "-");
        po_html_element(p, "td", " class=\"n\"", e ? po_say_metres(a, e->filament_mm) : "-");
        po_html_element(p, "td", " class=\"n\"", e ? po_say_time(a, e->seconds) : "-");
        bool why = proofs[i]->n_findings && proofs[i]->findings[0].grade >= PO_GRADE_ASK;
        po_html_element(p, "td", "", why ? proofs[i]->findings[0].name : "");
        po_text_add(&p->out, "</tr>\n");
    }
    po_text_add(&p->out, "</tbody></table></div>\n");
}

po_status po_part_slip_html(const po_part_proof *const *proofs, size_t n_proofs, const po_slip_options *options,
                            po_arena *arena, po_document *ret, po_err *err)
{
    if (!n_proofs) {
        return po_fail(err, PO_E_RANGE, "no proof to write");
    }
    const po_part_report *r = proofs[0]->report;
    po_part_gallery g;
    po_status status = po_part_gallery_make(r, SIZE_MAX, arena, &g, err);
    if (status) {
        return status;
    }
    po_html p = {.arena = arena, .err = err};
    po_text_init(&p.out, arena);
    const char *file = po_say_clean(arena, proofs[0]->file);
    po_html_begin(&p, file, r->shop->name, options);
    if (n_proofs > 1) {
        machines_table(&p, proofs, n_proofs);
    }
    for (size_t i = 0; i < n_proofs && !p.status; i++) {
        machine_section(&p, &g, proofs[i], i + 1, n_proofs == 1);
    }
    if (n_proofs > 1) {
        part_section(&p, &g, proofs[0]);
    }
    const char *size = po_arena_printf(arena, "%llu bytes, %llu triangles", (unsigned long long)r->part->bytes,
                                       (unsigned long long)r->totals.triangles);
    return po_html_end(&p, file, size, r->part->sha256, ret);
}
