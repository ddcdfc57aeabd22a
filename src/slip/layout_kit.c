/* Pieces of slips as printed pages. SPDX-License-Identifier: Apache-2.0
 *
 * A4 is ISO 216: 210 by 297 mm. Blocks are measured first (d NULL) and drawn then, by the same lines. */
#include "slip/layout_kit.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/text_kit.h"

#define SMALL 2.55
#define LEADING 3.5
enum { CODE_DIGITS = 16, MOST_LINES = 4 };

static void key_number(po_drawing *d, double x, double y, const char *label, const char *value)
{
    po_draw_text(d, x, y, 2.5, PO_ANCHOR_START, PO_INK_SOFT, label);
    po_draw_bold(d, x, y + 5.2, 4.4, PO_ANCHOR_START, PO_INK_LINE, value);
}

double po_layout_finding(po_drawing *d, po_arena *arena, double x, double y, double w, const po_finding *f,
                         size_t number, bool of_part)
{
    const char *lines[MOST_LINES];
    double at = y + 3, text_x = x + 11, text_w = w - 11;
    char title[128];
    snprintf(title, sizeof title, "%s%s", f->name, f->grade != f->default_grade ? " (graded by this shop)" : "");
    if (d) {
        po_draw_bold(d, x + 4, at, 2.9, PO_ANCHOR_END, po_grade_ink(f->grade), po_arena_printf(arena, "%zu", number));
        po_draw_grade(d, x + 7.3, at - 1.05, 2.7, f->grade);
        po_draw_bold(d, text_x, at, 2.8, PO_ANCHOR_START, PO_INK_LINE, title);
        const po_place *place = f->worst.known ? &f->worst : &f->where;
        char where[96];
        const char *point = of_part ? po_say_point(arena, place) : NULL;
        if (point) {
            snprintf(where, sizeof where, "%s%s", f->count > 1 ? "worst at " : "at ", point);
        } else if (place->known && place->line && isfinite(place->z)) {
            snprintf(where, sizeof where, "%s%llu, %s mm up", f->count > 1 ? "worst at line " : "line ",
                     (unsigned long long)place->line, po_say_number(arena, place->z, 1));
        } else if (place->known && place->line) {
            snprintf(where, sizeof where, "line %llu", (unsigned long long)place->line);
        } else {
            where[0] = 0;
        }
        char both[128];
        if (f->count > 1) {
            snprintf(both, sizeof both, "%llu times%s%s", (unsigned long long)f->count, *where ? ", " : "", where);
        } else {
            snprintf(both, sizeof both, "%s", where);
        }
        po_draw_text(d, x + w, at, 2.4, PO_ANCHOR_END, PO_INK_SOFT, both);
    }
    at += LEADING;
    size_t n = po_text_wrap(arena, po_say_clean(arena, f->says), text_w, SMALL, false, lines, 3);
    for (size_t i = 0; i < n; i++, at += LEADING) {
        if (d) {
            po_draw_text(d, text_x, at, SMALL, PO_ANCHOR_START, PO_INK_LINE, lines[i]);
        }
    }
    if (f->todo && *f->todo) {
        n = po_text_wrap(arena, po_say_clean(arena, f->todo), text_w - 4, SMALL, false, lines, 2);
        for (size_t i = 0; i < n; i++, at += LEADING) {
            if (d) {
                if (!i) {
                    po_draw_arrow(d, text_x + 0.2, at - 0.85, text_x + 2.8, at - 0.85, PO_INK_LINE, 0.25);
                }
                po_draw_text(d, text_x + 4, at, SMALL, PO_ANCHOR_START, PO_INK_LINE, lines[i]);
            }
        }
    }
    return at - y - 1;
}

size_t po_layout_fitting(po_arena *arena, const po_finding *findings, size_t n, bool of_part, double room,
                         double *ret_used)
{
    size_t shown = 0;
    *ret_used = 0;
    for (; shown < n; shown++) {
        double h = po_layout_finding(NULL, arena, 0, 0, PO_PAGE_INNER, &findings[shown], shown + 1, of_part);
        double after = shown + 1 < n ? 4 : 0;
        if (*ret_used + h + after + 2 > room) {
            break;
        }
        *ret_used += h;
    }
    return shown;
}

double po_layout_findings(po_drawing *d, po_arena *arena, double y, const po_finding *findings, size_t n, size_t shown,
                          bool of_part)
{
    if (!n) {
        po_draw_text(d, PO_PAGE_MARGIN, y + 3, 2.8, PO_ANCHOR_START, PO_INK_LINE, "Nothing to say against it.");
        y += 6;
    }
    for (size_t i = 0; i < shown; i++) {
        y += po_layout_finding(d, arena, PO_PAGE_MARGIN, y, PO_PAGE_INNER, &findings[i], i + 1, of_part);
    }
    if (shown < n) {
        po_text more;
        po_text_init(&more, arena);
        po_text_printf(&more, "and %zu more: ", n - shown);
        for (size_t i = shown; i < n; i++) {
            po_text_printf(&more, "%s%zu %s", i > shown ? ", " : "", i + 1, findings[i].name);
        }
        po_draw_text(d, PO_PAGE_MARGIN + 11, y + 3, SMALL, PO_ANCHOR_START, PO_INK_SOFT,
                     more.failed ? "" : po_text_cut(arena, more.data, PO_PAGE_INNER - 11, SMALL, false));
        y += 4;
    }
    return y;
}

po_status po_layout_head(po_drawing *d, po_arena *a, const po_layout_head_text *t, double *ret_y, po_err *err)
{
    double y = PO_PAGE_MARGIN, code = 23, code_x = PO_PAGE_MARGIN + PO_PAGE_INNER - code;
    const char *word = t->verdict == PO_CLEAR ? "Yes" : t->verdict == PO_ASK ? "Ask the desk" : "No";
    po_draw_verdict(d, PO_PAGE_MARGIN + 9, y + 9.5, 17, t->verdict);
    po_draw_bold(d, PO_PAGE_MARGIN + 23, y + 8.4, 9, PO_ANCHOR_START, po_verdict_ink(t->verdict), word);
    double w = PO_PAGE_INNER - code - 30;
    po_draw_bold(d, PO_PAGE_MARGIN + 23, y + 14.6, 4, PO_ANCHOR_START, PO_INK_LINE,
                 po_text_cut(a, po_arena_printf(a, "on %s", po_say_clean(a, t->machine)), w, 4, true));
    po_draw_text(d, PO_PAGE_MARGIN + 23, y + 19.6, 3, PO_ANCHOR_START, PO_INK_SOFT,
                 po_text_cut(a, po_last_part(po_say_clean(a, t->file)), w, 3, false));
    const char *shop_name = t->shop_name ? po_say_clean(a, t->shop_name) : "";
    po_draw_text(d, code_x - 4, y + 2.6, 2.6, PO_ANCHOR_END, PO_INK_SOFT, shop_name);
    if (t->today) {
        po_draw_text(d, code_x - 4, y + 6.2, 2.6, PO_ANCHOR_END, PO_INK_SOFT, po_say_clean(a, t->today));
    }
    char prefix[CODE_DIGITS + 1];
    snprintf(prefix, sizeof prefix, "%.16s", t->code ? t->code : t->sha256);
    po_status status = po_draw_squares(d, (po_box2){code_x, y, code, code}, prefix,
                                       t->code ? "Code of the slip" : "Code of the file", err);
    if (t->code) {
        po_draw_bold(d, code_x + code / 2, y + code + 4, 4.2, PO_ANCHOR_MIDDLE, PO_INK_LINE, prefix);
    } else {
        po_draw_text(d, code_x + code / 2, y + code + 2.8, 2.1, PO_ANCHOR_MIDDLE, PO_INK_SOFT, prefix);
    }
    y += 25;
    for (size_t i = 0; i < PO_HEAD_NUMBERS; i++) {
        if (t->numbers[i].label) {
            key_number(d, PO_PAGE_MARGIN + t->numbers_x[i], y, t->numbers[i].label, t->numbers[i].value);
        }
    }
    y += 9.5;
    if (t->aloud && *t->aloud) {
        const char *lines[3];
        size_t n = po_text_wrap(a, po_say_clean(a, t->aloud), PO_PAGE_INNER - 6, 3.1, false, lines, 3);
        double h = 4.2 * (double)n + 2.6;
        po_draw_rect(d, (po_box2){PO_PAGE_MARGIN, y, PO_PAGE_INNER, h}, PO_INK_WASH, PO_INK_NONE, 0);
        po_draw_rect(d, (po_box2){PO_PAGE_MARGIN, y, 1.2, h}, po_verdict_ink(t->verdict), PO_INK_NONE, 0);
        for (size_t i = 0; i < n; i++) {
            po_draw_text(d, PO_PAGE_MARGIN + 4, y + 4.3 + 4.2 * (double)i, 3.1, PO_ANCHOR_START, PO_INK_LINE, lines[i]);
        }
        y += h + 2;
    }
    *ret_y = y;
    return status;
}

double po_layout_facts(po_drawing *d, po_arena *a, double y, const po_fact_line *lines, size_t n,
                       const char *const *wanted, size_t count)
{
    size_t half = (count + 1) / 2;
    double column = PO_PAGE_INNER / 2 + 1;
    for (size_t i = 0; d && i < count; i++) {
        for (size_t k = 0; k < n; k++) {
            if (!strcmp(lines[k].label, wanted[i])) {
                double x = PO_PAGE_MARGIN + (i < half ? 0 : column), at = y + 2.8 + 3.3 * (double)(i % half);
                po_draw_text(d, x, at, 2.4, PO_ANCHOR_START, PO_INK_SOFT, lines[k].label);
                po_draw_text(d, x + 26, at, 2.4, PO_ANCHOR_START, PO_INK_LINE,
                             po_text_cut(a, lines[k].value, PO_PAGE_INNER / 2 - 28, 2.4, false));
            }
        }
    }
    return 3.3 * (double)half + 1.5;
}

double po_layout_care(po_drawing *d, po_arena *a, double y, const char *const *cautions, size_t n,
                      const char *const *changed, size_t n_changed)
{
    const char *lines[MOST_LINES];
    double at = y + 2.8;
    for (size_t i = 0; i < n; i++) {
        size_t k = po_text_wrap(a, cautions[i], PO_PAGE_INNER - 6, 2.3, false, lines, 2);
        for (size_t j = 0; j < k; j++, at += 3.1) {
            if (d) {
                if (!j) { /* a bar of its own shape: care, not a finding */
                    po_draw_rect(d, (po_box2){PO_PAGE_MARGIN + 1, at - 2, 0.9, 2.4}, PO_INK_LINE, PO_INK_NONE, 0);
                }
                po_draw_text(d, PO_PAGE_MARGIN + 4, at, 2.3, PO_ANCHOR_START, PO_INK_LINE, lines[j]);
            }
        }
    }
    for (size_t i = 0; i < n_changed && i < 3; i++) {
        size_t k = po_text_wrap(a, po_say_clean(a, changed[i]), PO_PAGE_INNER - 6, 2.3, false, lines, 1);
        for (size_t j = 0; j < k; j++, at += 3.1) {
            if (d) {
                po_draw_text(d, PO_PAGE_MARGIN + 4, at, 2.3, PO_ANCHOR_START, PO_INK_SOFT, lines[j]);
            }
        }
    }
    return at - y - 2.8 + 1;
}

double po_layout_divider(po_drawing *d, double y)
{
    po_draw_line(d, PO_PAGE_MARGIN, y, PO_PAGE_MARGIN + PO_PAGE_INNER, y, PO_INK_FAINT, 0.25);
    return y + 2;
}

void po_layout_foot(po_drawing *d, po_arena *a, const char *sha256, const char *size)
{
    po_draw_text(d, PO_PAGE_MARGIN, PO_PAGE_BOTTOM, 2, PO_ANCHOR_START, PO_INK_SOFT,
                 po_text_cut(a, po_arena_printf(a, "SHA-256 %s, %s", sha256, size), PO_PAGE_INNER - 22, 2, false));
    po_draw_text(d, PO_PAGE_MARGIN + PO_PAGE_INNER, PO_PAGE_BOTTOM, 2, PO_ANCHOR_END, PO_INK_SOFT, "proveout");
}
