/* What the pages of jobs and of parts share. SPDX-License-Identifier: Apache-2.0
 *
 * No script, no font, no link to anywhere else: everything that a browser needs is in the file, and a policy in its
 * head says so. Inks are CSS variables for light and dark; on paper always light. Every text from outside goes through
 * po_add_escaped. Structure for screen readers: one h1, headings in order, figures with captions, tables with scopes. */
#include "slip/html_kit.h"

#include <string.h>

#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/text_kit.h"

static const char STYLE[] =
    "*{box-sizing:border-box}\n"
    "body{margin:0;background:var(--paper);color:var(--line);font:16px/1.5 'DejaVu Sans',Verdana,sans-serif}\n"
    "main,header.top,footer{max-width:62rem;margin:0 auto;padding:0 1.1rem}\n"
    "header.top{padding-top:1.4rem;color:var(--soft);font-size:.86rem}\n"
    ".code{display:flex;align-items:center;gap:1rem;color:var(--line)}.code "
    "svg{width:6.5rem;height:auto;background:#fff}"
    ".code p{margin:0;font-size:1rem}.code strong{font-size:1.7rem;letter-spacing:.06em}\n"
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

void po_html_element(po_html *p, const char *tag, const char *attributes, const char *text)
{
    po_text_printf(&p->out, "<%s%s>", tag, attributes);
    po_add_escaped(&p->out, text ? text : "");
    po_text_printf(&p->out, "</%s>\n", tag);
}

void po_html_picture(po_html *p, const po_drawing *d)
{
    if (!p->status) {
        p->status = po_render_svg(d, false, &p->out, p->err);
    }
}

const char *po_html_tone(po_verdict verdict)
{
    return verdict == PO_CLEAR ? "tyes" : verdict == PO_ASK ? "task" : "tno";
}

void po_html_verdict_mark(po_html *p, po_verdict verdict)
{
    po_drawing d;
    po_draw_init(&d, p->arena, 20, 20, po_say_answer(verdict), NULL);
    po_draw_verdict(&d, 10, 10, 18, verdict);
    po_html_picture(p, &d);
}

void po_html_grade_mark(po_html *p, po_grade grade)
{
    po_drawing d;
    po_draw_init(&d, p->arena, 10, 10, po_grade_name(grade), NULL);
    po_draw_grade(&d, 5, 5, 8, grade);
    po_html_picture(p, &d);
}

void po_html_findings(po_html *p, const po_finding *list, size_t n, bool of_part)
{
    po_arena *a = p->arena;
    po_html_element(p, "h3", "", "Findings");
    if (!n) {
        po_html_element(p, "p", "", "Nothing to say against it.");
        return;
    }
    po_text_add(&p->out, "<ol class=\"findings\">\n");
    for (size_t i = 0; i < n; i++) {
        const po_finding *f = &list[i];
        const char *ink = f->grade == PO_GRADE_STOP ? "tno" : f->grade == PO_GRADE_ASK ? "task" : "";
        po_text_printf(&p->out, "<li><div class=\"mark %s\">%zu ", ink, i + 1);
        po_html_grade_mark(p, f->grade);
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
        po_html_element(p, "p", "", f->says);
        if (f->todo && *f->todo) {
            po_html_element(p, "p", " class=\"do\"", f->todo);
        }
        const char *where = of_part ? po_say_point(a, &f->where) : po_say_place(a, &f->where);
        const char *worst = of_part ? po_say_point(a, &f->worst) : po_say_place(a, &f->worst);
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

void po_html_facts(po_html *p, const po_fact_line *lines, size_t n)
{
    po_html_element(p, "h3", "", "Facts");
    po_text_add(&p->out, "<table class=\"facts\"><tbody>\n");
    for (size_t i = 0; i < n; i++) {
        po_text_add(&p->out, "<tr>");
        po_html_element(p, "th", " scope=\"row\"", lines[i].label);
        po_html_element(p, "td", "", lines[i].value);
        po_text_add(&p->out, "</tr>\n");
    }
    po_text_add(&p->out, "</tbody></table>\n");
}

void po_html_care(po_html *p, const char *const *cautions, size_t n)
{
    if (!n) {
        return;
    }
    po_text_add(&p->out, "<div class=\"care\"><h3>Care</h3><ul>\n");
    for (size_t i = 0; i < n; i++) {
        po_html_element(p, "li", "", cautions[i]);
    }
    po_text_add(&p->out, "</ul></div>\n");
}

void po_html_rules(po_html *p, const char *const *changed, size_t n)
{
    if (!n) {
        return;
    }
    po_html_element(p, "h3", "", "This shop's own rules");
    po_text_add(&p->out, "<ul>\n");
    for (size_t i = 0; i < n; i++) {
        po_html_element(p, "li", "", changed[i]);
    }
    po_text_add(&p->out, "</ul>\n");
}

void po_html_section(po_html *p, size_t number, const char *machine, po_verdict verdict, const char *file)
{
    const char *word = verdict == PO_CLEAR ? "yes" : verdict == PO_ASK ? "ask the desk" : "no";
    po_text_printf(&p->out, "<section class=\"machine\" id=\"m%zu\">\n<div class=\"verdict\">", number);
    po_html_verdict_mark(p, verdict);
    po_text_printf(&p->out, "<h2 class=\"%s\">", po_html_tone(verdict));
    po_add_escaped(&p->out, machine);
    po_text_printf(&p->out, ": %s<small>", word);
    po_add_escaped(&p->out, po_last_part(po_say_clean(p->arena, file)));
    po_text_add(&p->out, "</small></h2></div>\n");
}

void po_html_aloud(po_html *p, const char *aloud, po_verdict verdict)
{
    if (aloud && *aloud) {
        po_text_printf(&p->out, "<p class=\"aloud %s\"><span>", po_html_tone(verdict));
        po_add_escaped(&p->out, aloud);
        po_text_add(&p->out, "</span></p>\n");
    }
}

void po_html_numbers(po_html *p, const po_fact_line *rows, size_t n)
{
    po_text_add(&p->out, "<dl class=\"numbers\">\n");
    for (size_t i = 0; i < n; i++) {
        if (rows[i].label) {
            po_text_add(&p->out, "<div>");
            po_html_element(p, "dt", "", rows[i].label);
            po_html_element(p, "dd", "", rows[i].value);
            po_text_add(&p->out, "</div>\n");
        }
    }
    po_text_add(&p->out, "</dl>\n");
}

/* The slip's code: to be read, and to be scanned where the library for that is there. */
static void put_code(po_html *p, const char *code)
{
    po_drawing d;
    po_err ignored;
    po_text_add(&p->out, "<div class=\"code\">");
    if (po_draw_code(&d, p->arena, code, &ignored) == PO_OK) {
        po_html_picture(p, &d);
    }
    po_text_add(&p->out, "<p>Slip <strong>");
    po_add_escaped(&p->out, code);
    po_text_add(&p->out, "</strong></p></div>\n");
}

void po_html_begin(po_html *p, const char *path, const char *shop_name, const po_slip_options *options)
{
    const char *today = options ? options->today : NULL;
    const char *file = po_say_clean(p->arena, path);
    po_text_add(&p->out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                         "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                         "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                         "style-src 'unsafe-inline'; img-src data:\">\n<title>Slip: ");
    po_add_escaped(&p->out, po_last_part(file));
    po_text_add(&p->out, "</title>\n<style>\n");
    po_svg_style(&p->out);
    po_text_add(&p->out, STYLE);
    po_text_add(&p->out, "</style>\n</head>\n<body>\n<header class=\"top\">");
    if (shop_name) {
        po_add_escaped(&p->out, shop_name);
    }
    if (today) {
        po_text_add(&p->out, shop_name ? ", " : "");
        po_add_escaped(&p->out, today);
    }
    po_text_add(&p->out, "\n<h1>Slip for ");
    po_add_escaped(&p->out, po_last_part(file));
    po_text_add(&p->out, "</h1>");
    if (options && options->code) {
        put_code(p, options->code);
    }
    po_text_add(&p->out, "</header>\n<main>\n");
}

po_status po_html_end(po_html *p, const char *path, const char *size, const char *sha256, po_document *ret)
{
    po_text_add(&p->out, "</main>\n<footer><p>File ");
    po_add_escaped(&p->out, path);
    po_text_add(&p->out, "<br>");
    po_add_escaped(&p->out, size ? size : "");
    po_text_add(&p->out, "<br>SHA-256 ");
    po_add_escaped(&p->out, sha256);
    po_text_add(&p->out, "</p></footer>\n</body>\n</html>\n");
    if (p->status) {
        return p->status;
    }
    if (p->out.failed) {
        return po_fail(p->err, PO_E_NOMEM, "no memory for the page");
    }
    *ret = (po_document){.data = p->out.data, .n_bytes = p->out.n};
    return PO_OK;
}
