/* The slip as one self-contained page. SPDX-License-Identifier: Apache-2.0
 *
 * No script, no font, no link to anywhere else: everything that a browser needs is in the file, and a policy in its
 * head says so. Inks are CSS variables for light and dark; on paper always light. Every text from outside goes through
 * po_add_escaped. Structure for screen readers: one h1, headings in order, figures with captions, tables with scopes. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/say.h"

static const char STYLE[] =
    "*{box-sizing:border-box}\n"
    "body{margin:0;background:var(--paper);color:var(--line);font:16px/1.5 'DejaVu Sans',Verdana,sans-serif}\n"
    "main,header.top,footer{max-width:62rem;margin:0 auto;padding:0 1.1rem}\n"
    "header.top{padding-top:1.4rem;color:var(--soft);font-size:.86rem}\n"
    "h1{font-size:1rem;font-weight:400;margin:.1rem 0 0;color:var(--soft);overflow-wrap:anywhere}\n"
    "h2{font-size:1.9rem;line-height:1.15;margin:0}\nh2 "
    "small{display:block;font-size:1rem;font-weight:400;color:var(--soft);margin-top:.3rem}\n"
    "h3{font-size:1.02rem;margin:2rem 0 .5rem;padding-top:.55rem;border-top:1px solid var(--faint)}\n"
    "h4{font-size:1rem;margin:0}\n"
    ".verdict{display:grid;grid-template-columns:4.6rem 1fr;gap:1rem;align-items:center;margin:1.1rem 0 .8rem}\n"
    ".verdict svg{width:100%;display:block}\n"
    ".tyes{color:var(--yes)}.task{color:var(--ask)}.tno{color:var(--stop)}\n"
    ".numbers{display:flex;flex-wrap:wrap;gap:.4rem 2.4rem;margin:.6rem 0 1rem;padding:0}\n"
    ".numbers div{min-width:6rem}\n.numbers dt{color:var(--soft);font-size:.82rem}\n"
    ".numbers dd{margin:0;font-size:1.32rem;font-weight:700}\n"
    ".aloud{margin:0 0 1rem;padding:.65rem .9rem;background:var(--wash);border-left:4px solid currentColor}\n"
    ".aloud span{color:var(--line)}\n"
    "figure{margin:0}\nfigure svg{display:block;width:100%;height:auto}\n"
    "figcaption{color:var(--soft);font-size:.82rem;margin-top:.2rem}\n"
    ".panels{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(22rem,100%),1fr));gap:1.4rem;margin-top:"
    "1rem}\n"
    ".wide{grid-column:1/-1}\n"
    ".frames{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(15rem,100%),1fr));gap:1rem 1.2rem}\n"
    ".scroll{overflow-x:auto}\n.scroll svg{min-width:34rem}\n"
    "ol.findings{list-style:none;margin:0;padding:0}\n"
    "ol.findings li{display:grid;grid-template-columns:2.9rem 1fr;gap:.2rem .7rem;padding:.7rem 0;border-top:1px solid "
    "var(--wash)}\n"
    "ol.findings li:first-child{border-top:0}\n"
    "ol.findings .mark{display:flex;gap:.3rem;align-items:flex-start;font-weight:700;padding-top:.1rem}\n"
    "ol.findings .mark svg{width:1.15rem;flex:none;margin-top:.2rem}\n"
    "ol.findings p{margin:.12rem 0}\n.do::before{content:'\\2192\\00a0'}\n.soft{color:var(--soft);font-size:.86rem}\n"
    "table{border-collapse:collapse;width:100%;font-size:.92rem}\n"
    "th,td{text-align:left;padding:.26rem .8rem .26rem 0;vertical-align:top;border-bottom:1px solid var(--wash)}\n"
    "table.facts th{font-weight:400;color:var(--soft);width:11rem}\n"
    "table.machines th[scope=col]{color:var(--soft);font-weight:400;font-size:.82rem}\n"
    "th.n,td.n{text-align:right;white-space:nowrap}\n"
    ".care{border:1px solid var(--line);padding:.5rem .9rem .6rem;margin-top:1.6rem}\n.care "
    "h3{border:0;margin:0;padding:0}\n"
    ".care ul{margin:.2rem 0 0;padding-left:1.1rem}\n"
    "a{color:inherit}\nsection.machine{margin-top:2.4rem;border-top:3px solid var(--line);padding-top:.4rem}\n"
    "footer{color:var(--soft);font-size:.8rem;padding-top:1.6rem;padding-bottom:2rem;overflow-wrap:anywhere}\n"
    "@media (max-width:34rem){body{font-size:15px}.verdict{grid-template-columns:3.2rem 1fr}h2{font-size:1.5rem}"
    "table.facts th{width:8.4rem}.numbers{gap:.4rem 1.4rem}.numbers dd{font-size:1.12rem}}\n"
    "@media print{body{font-size:10pt}main,header.top,footer{max-width:none;padding:0}"
    "figure,ol.findings "
    "li,.care{break-inside:avoid}section.machine+section.machine{break-before:page}.scroll{overflow:visible}"
    ".panels{grid-template-columns:1fr 1fr}.frames{grid-template-columns:repeat(4,1fr)}"
    "*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}\n";

typedef struct page {
    po_text out;
    po_arena *arena;
    const po_shop *shop;
    po_status status;
    po_err *err;
} page;

static void element(page *p, const char *tag, const char *attributes, const char *text)
{
    po_text_printf(&p->out, "<%s%s>", tag, attributes);
    po_add_escaped(&p->out, text ? text : "");
    po_text_printf(&p->out, "</%s>\n", tag);
}

static void picture(page *p, const po_drawing *d)
{
    if (!p->status) {
        p->status = po_render_svg(d, false, &p->out, p->err);
    }
}

static const char *tone(po_verdict verdict)
{
    return verdict == PO_CLEAR ? "tyes" : verdict == PO_ASK ? "task" : "tno";
}

static const char *last_part(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash && slash[1] ? slash + 1 : path;
}

static void verdict_mark(page *p, po_verdict verdict)
{
    po_drawing d;
    po_draw_init(&d, p->arena, 20, 20, po_say_answer(verdict), NULL);
    po_draw_verdict(&d, 10, 10, 18, verdict);
    picture(p, &d);
}

static void grade_mark(page *p, po_grade grade)
{
    po_drawing d;
    po_draw_init(&d, p->arena, 10, 10, po_grade_name(grade), NULL);
    po_draw_grade(&d, 5, 5, 8, grade);
    picture(p, &d);
}

static void numbers(page *p, const po_proof *proof)
{
    po_arena *a = p->arena;
    const po_job_facts *f = &proof->report->facts;
    po_text_add(&p->out, "<dl class=\"numbers\">\n");
    const char *rows[5][2] = {
        {"filament", po_say_metres(a, f->filament_mm)},
        {po_say_materials(a, proof->report), po_say_grams(a, f->filament_g)},
        {"takes", po_say_time(a, f->seconds)},
        {proof->start_known ? "ends" : NULL, proof->start_known ? po_say_clock(a, proof->end, NULL) : ""},
        {isfinite(proof->cool_seconds) ? (proof->start_known ? "cool enough from" : "cool after the end") : NULL, ""},
    };
    rows[4][1] = proof->start_known ? po_say_clock(a, proof->cool, &proof->end) : po_say_time(a, proof->cool_seconds);
    for (size_t i = 0; i < 5; i++) {
        if (rows[i][0]) {
            po_text_add(&p->out, "<div>");
            element(p, "dt", "", rows[i][0]);
            element(p, "dd", "", rows[i][1]);
            po_text_add(&p->out, "</div>\n");
        }
    }
    po_text_add(&p->out, "</dl>\n");
}

static void findings(page *p, const po_proof *proof)
{
    po_arena *a = p->arena;
    element(p, "h3", "", "Findings");
    if (!proof->n_findings) {
        element(p, "p", "", "Nothing to say against it.");
        return;
    }
    po_text_add(&p->out, "<ol class=\"findings\">\n");
    for (size_t i = 0; i < proof->n_findings; i++) {
        const po_finding *f = &proof->findings[i];
        const char *ink = f->grade == PO_GRADE_STOP ? "tno" : f->grade == PO_GRADE_ASK ? "task" : "";
        po_text_printf(&p->out, "<li><div class=\"mark %s\">%zu ", ink, i + 1);
        grade_mark(p, f->grade);
        po_text_add(&p->out, "</div><div><h4>");
        po_add_escaped(&p->out, f->name);
        po_text_printf(&p->out, " <span class=\"soft\">%s", po_grade_name(f->grade));
        if (f->grade != f->default_grade) {
            po_text_printf(&p->out, " in this shop, usually %s", po_grade_name(f->default_grade));
        }
        if (f->count > 1) {
            po_text_printf(&p->out, ", %llu times", (unsigned long long)f->count);
        }
        po_text_add(&p->out, "</span></h4>\n");
        element(p, "p", "", f->says);
        if (f->todo && *f->todo) {
            element(p, "p", " class=\"do\"", f->todo);
        }
        const char *where = po_say_place(a, &f->where), *worst = po_say_place(a, &f->worst);
        bool both = worst && f->count > 1 && (!where || strcmp(where, worst));
        if (where || both) {
            po_text_add(&p->out, "<p class=\"soft\">");
            po_add_escaped(&p->out, where ? (both ? "first at " : "at ") : "");
            po_add_escaped(&p->out, where ? where : "");
            po_add_escaped(&p->out, both ? (where ? "; worst at " : "worst at ") : "");
            po_add_escaped(&p->out, both ? worst : "");
            po_text_add(&p->out, "</p>\n");
        }
        po_text_add(&p->out, "</div></li>\n");
    }
    po_text_add(&p->out, "</ol>\n");
}

typedef void one_picture(po_drawing *d, po_box2 box, const po_proof *proof);

static void panel(page *p, const po_proof *proof, const char *attributes, const char *title, const char *description,
                  double w, double h, one_picture *paint)
{
    po_drawing d;
    po_draw_init(&d, p->arena, w, h, title, description);
    paint(&d, (po_box2){1, 1, w - 2, h - 2}, proof);
    po_text_printf(&p->out, "<figure%s>", attributes);
    picture(p, &d);
    po_text_add(&p->out, "</figure>\n");
}

static void pictures(page *p, const po_proof *proof)
{
    po_arena *a = p->arena;
    const po_job_report *r = proof->report;
    element(p, "h3", "", "Pictures");
    po_drawing d;
    po_draw_init(&d, a, 180, 26, "The run's time",
                 po_arena_printf(a, "first bead after %s, watch of %s, end after %s",
                                 po_say_time(a, r->facts.first_bead_seconds), po_say_time(a, proof->watch_seconds),
                                 po_say_time(a, r->facts.seconds)));
    po_picture_time(&d, (po_box2){2, 1, 176, 24}, proof, p->shop);
    po_text_add(&p->out, "<figure class=\"scroll\">");
    picture(p, &d);
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
        element(p, "h3", "", "The worst heights");
        po_text_add(&p->out, "<div class=\"frames\">\n");
        for (size_t i = 0; i < r->images.n_worst && i < 12; i++) {
            const char *title = po_arena_printf(a, "The layer at %s mm", po_say_number(a, r->images.worst[i].z, 2));
            double h = po_heights_height(50, 1) - 1;
            po_draw_init(&d, a, 52, h, title, "flags carry the numbers of the findings");
            po_picture_heights(&d, (po_box2){1, 0.5, 50, h}, proof, i, 1);
            po_text_add(&p->out, "<figure>");
            picture(p, &d);
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
        picture(p, &key);
        po_text_add(&p->out, "<figcaption>Flags carry the numbers of the findings: filled ones stop the job. "
                             "Kinds of area are told apart by their hatching.</figcaption></figure>\n");
    }
}

static void machine_section(page *p, const po_proof *proof, size_t number)
{
    po_arena *a = p->arena;
    const char *word = proof->verdict == PO_CLEAR ? "yes" : proof->verdict == PO_ASK ? "ask the desk" : "no";
    po_text_printf(&p->out, "<section class=\"machine\" id=\"m%zu\">\n<div class=\"verdict\">", number);
    verdict_mark(p, proof->verdict);
    po_text_printf(&p->out, "<h2 class=\"%s\">", tone(proof->verdict));
    po_add_escaped(&p->out, proof->report->machine->name);
    po_text_printf(&p->out, ": %s<small>", word);
    po_add_escaped(&p->out, last_part(po_say_clean(a, proof->file)));
    po_text_add(&p->out, "</small></h2></div>\n");
    numbers(p, proof);
    if (proof->aloud && *proof->aloud) {
        po_text_printf(&p->out, "<p class=\"aloud %s\"><span>", tone(proof->verdict));
        po_add_escaped(&p->out, proof->aloud);
        po_text_add(&p->out, "</span></p>\n");
    }
    findings(p, proof);
    const char *cautions[PO_MOST_CAUTIONS];
    size_t n = po_cautions(proof, p->shop, cautions);
    if (n) {
        po_text_add(&p->out, "<div class=\"care\"><h3>Care</h3><ul>\n");
        for (size_t i = 0; i < n; i++) {
            element(p, "li", "", cautions[i]);
        }
        po_text_add(&p->out, "</ul></div>\n");
    }
    pictures(p, proof);

    element(p, "h3", "", "Facts");
    po_text_add(&p->out, "<table class=\"facts\"><tbody>\n");
    po_fact_line lines[PO_MOST_FACT_LINES];
    n = po_fact_lines(proof, a, lines);
    for (size_t i = 0; i < n; i++) {
        po_text_add(&p->out, "<tr>");
        element(p, "th", " scope=\"row\"", lines[i].label);
        element(p, "td", "", lines[i].value);
        po_text_add(&p->out, "</tr>\n");
    }
    po_text_add(&p->out, "</tbody></table>\n");
    if (proof->n_changed_rules) {
        element(p, "h3", "", "This shop's own rules");
        po_text_add(&p->out, "<ul>\n");
        for (size_t i = 0; i < proof->n_changed_rules; i++) {
            element(p, "li", "", proof->changed_rules[i]);
        }
        po_text_add(&p->out, "</ul>\n");
    }
    po_text_add(&p->out, "</section>\n");
}

static void machines_table(page *p, const po_proof *const *proofs, size_t n)
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
        po_text_printf(&p->out, "</a></th><td class=\"%s\"><strong>%s</strong></td>", tone(proof->verdict),
                       po_say_answer(proof->verdict));
        element(p, "td", " class=\"n\"", po_say_metres(a, proof->report->facts.filament_mm));
        element(p, "td", " class=\"n\"", po_say_time(a, proof->report->facts.seconds));
        element(p, "td", "", proof->start_known ? po_say_clock(a, proof->end, &proof->start) : "");
        bool why = proof->n_findings && proof->findings[0].grade >= PO_GRADE_ASK;
        element(p, "td", "", why ? proof->findings[0].name : "");
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
    page p = {.arena = arena, .shop = shop, .err = err};
    po_text_init(&p.out, arena);
    const char *file = po_say_clean(arena, proofs[0]->file);
    po_text_add(&p.out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                        "style-src 'unsafe-inline'; img-src data:\">\n<title>Slip: ");
    po_add_escaped(&p.out, last_part(file));
    po_text_add(&p.out, "</title>\n<style>\n");
    po_svg_style(&p.out);
    po_text_add(&p.out, STYLE);
    po_text_add(&p.out, "</style>\n</head>\n<body>\n<header class=\"top\">");
    if (shop && shop->name) {
        po_add_escaped(&p.out, shop->name);
    }
    if (options && options->today) {
        po_text_add(&p.out, shop && shop->name ? ", " : "");
        po_add_escaped(&p.out, options->today);
    }
    po_text_add(&p.out, "\n<h1>Slip for ");
    po_add_escaped(&p.out, last_part(file));
    po_text_add(&p.out, "</h1></header>\n<main>\n");
    if (n_proofs > 1) {
        machines_table(&p, proofs, n_proofs);
    }
    for (size_t i = 0; i < n_proofs && !p.status; i++) {
        machine_section(&p, proofs[i], i + 1);
    }
    const po_job_report *r = proofs[0]->report;
    po_text_add(&p.out, "</main>\n<footer><p>File ");
    po_add_escaped(&p.out, file);
    po_text_printf(&p.out, "<br>%llu bytes, %llu lines<br>SHA-256 ", (unsigned long long)r->facts.bytes,
                   (unsigned long long)r->facts.lines);
    po_add_escaped(&p.out, r->sha256);
    po_text_add(&p.out, "</p></footer>\n</body>\n</html>\n");
    if (p.status) {
        return p.status;
    }
    if (p.out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the page");
    }
    *ret = (po_document){.data = p.out.data, .n_bytes = p.out.n};
    return PO_OK;
}
