/* The slip as one A4 page. SPDX-License-Identifier: Apache-2.0
 *
 * From the top: verdict, machine and the four numbers that the desk asks for, with a code of the file; the sentence to
 * say; the run's time; the pictures; the findings with the numbers of the flags; facts; care. Everything must fit one
 * page: findings are set first, the pictures take what is left, and what does not fit is counted and named. A4 is ISO
 * 216: 210 by 297 mm. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/say.h"

#define PAGE_W 210.0
#define PAGE_H 297.0
#define MARGIN 13.0
#define INNER (PAGE_W - 2 * MARGIN)
#define SMALL 2.55
#define LEADING 3.5
enum { CODE_DIGITS = 16, MOST_LINES = 4 };

static const char *last_part(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash && slash[1] ? slash + 1 : path;
}

static po_status draw_code(po_drawing *d, double x, double y, double size_mm, const char *prefix, po_err *err)
{
    int n;
    const uint8_t *dark;
    po_status status = po_code_squares(prefix, d->arena, &n, &dark, err);
    if (status) {
        return status;
    }
    double s = size_mm / n;
    po_draw_begin(d, "Code of the file");
    for (int row = 0; row < n; row++) {
        for (int from = 0; from < n;) { /* one rectangle for each run of dark squares */
            int to = from;
            while (to < n && dark[row * n + to]) {
                to++;
            }
            if (to > from) {
                po_draw_rect(d, (po_box2){x + from * s, y + row * s, (to - from) * s, s}, PO_INK_LINE, PO_INK_NONE, 0);
            }
            from = to + 1;
        }
    }
    po_draw_end(d);
    return PO_OK;
}

static void key_number(po_drawing *d, double x, double y, const char *label, const char *value)
{
    po_draw_text(d, x, y, 2.5, PO_ANCHOR_START, PO_INK_SOFT, label);
    po_draw_bold(d, x, y + 5.2, 4.4, PO_ANCHOR_START, PO_INK_LINE, value);
}

/* Height that a finding takes; drawn when d is given. */
static double finding_block(po_drawing *d, po_arena *arena, double x, double y, double w, const po_finding *f,
                            size_t number)
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
        if (place->known && place->line && isfinite(place->z)) {
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

static double head(po_drawing *d, po_arena *a, const po_proof *proof, const po_shop *shop,
                   const po_slip_options *options, po_status *status, po_err *err)
{
    const po_job_report *r = proof->report;
    const po_job_facts *f = &r->facts;
    double y = MARGIN, code = 23, code_x = MARGIN + INNER - code;
    const char *word = proof->verdict == PO_CLEAR ? "Yes" : proof->verdict == PO_ASK ? "Ask the desk" : "No";
    po_draw_verdict(d, MARGIN + 9, y + 9.5, 17, proof->verdict);
    po_draw_bold(d, MARGIN + 23, y + 8.4, 9, PO_ANCHOR_START, po_verdict_ink(proof->verdict), word);
    double w = INNER - code - 30;
    po_draw_bold(d, MARGIN + 23, y + 14.6, 4, PO_ANCHOR_START, PO_INK_LINE,
                 po_text_cut(a, po_arena_printf(a, "on %s", po_say_clean(a, r->machine->name)), w, 4, true));
    po_draw_text(d, MARGIN + 23, y + 19.6, 3, PO_ANCHOR_START, PO_INK_SOFT,
                 po_text_cut(a, last_part(po_say_clean(a, proof->file)), w, 3, false));
    const char *shop_name = shop && shop->name ? po_say_clean(a, shop->name) : "";
    po_draw_text(d, code_x - 4, y + 2.6, 2.6, PO_ANCHOR_END, PO_INK_SOFT, shop_name);
    if (options && options->today) {
        po_draw_text(d, code_x - 4, y + 6.2, 2.6, PO_ANCHOR_END, PO_INK_SOFT, po_say_clean(a, options->today));
    }
    char prefix[CODE_DIGITS + 1];
    snprintf(prefix, sizeof prefix, "%.16s", r->sha256);
    *status = draw_code(d, code_x, y, code, prefix, err);
    po_draw_text(d, code_x + code / 2, y + code + 2.8, 2.1, PO_ANCHOR_MIDDLE, PO_INK_SOFT, prefix);
    y += 25;
    key_number(d, MARGIN, y, "filament", po_say_metres(a, f->filament_mm));
    key_number(d, MARGIN + 32, y, po_say_materials(a, r), po_say_grams(a, f->filament_g));
    key_number(d, MARGIN + 62, y, "takes", po_say_time(a, f->seconds));
    if (proof->start_known) {
        key_number(d, MARGIN + 104, y, "ends", po_say_clock(a, proof->end, NULL));
    } else if (isfinite(proof->cool_seconds)) {
        key_number(d, MARGIN + 104, y, "cool after the end", po_say_time(a, proof->cool_seconds));
    }
    y += 9.5;
    if (proof->aloud && *proof->aloud) {
        const char *lines[3];
        size_t n = po_text_wrap(a, po_say_clean(a, proof->aloud), INNER - 6, 3.1, false, lines, 3);
        double h = 4.2 * (double)n + 2.6;
        po_draw_rect(d, (po_box2){MARGIN, y, INNER, h}, PO_INK_WASH, PO_INK_NONE, 0);
        po_draw_rect(d, (po_box2){MARGIN, y, 1.2, h}, po_verdict_ink(proof->verdict), PO_INK_NONE, 0);
        for (size_t i = 0; i < n; i++) {
            po_draw_text(d, MARGIN + 4, y + 4.3 + 4.2 * (double)i, 3.1, PO_ANCHOR_START, PO_INK_LINE, lines[i]);
        }
        y += h + 2;
    }
    return y;
}

/* Facts in two columns; returns the height (drawn when d is given). */
static double facts_block(po_drawing *d, po_arena *a, double y, const po_proof *proof)
{
    static const char *const WANTED[] = {
        "Layers", "Bead width", "Made of", "Nearest recipe", "Size",    "First layer down", "Nozzle",
        "Bed",    "Fan",        "Flow",    "Parts",          "Bridges", "Overhangs",        "Watch"};
    po_fact_line lines[PO_MOST_FACT_LINES];
    size_t n = po_fact_lines(proof, a, lines), count = sizeof WANTED / sizeof *WANTED, half = (count + 1) / 2;
    double column = INNER / 2 + 1;
    for (size_t i = 0; d && i < count; i++) {
        for (size_t k = 0; k < n; k++) {
            if (!strcmp(lines[k].label, WANTED[i])) {
                double x = MARGIN + (i < half ? 0 : column), at = y + 2.8 + 3.3 * (double)(i % half);
                po_draw_text(d, x, at, 2.4, PO_ANCHOR_START, PO_INK_SOFT, lines[k].label);
                po_draw_text(d, x + 26, at, 2.4, PO_ANCHOR_START, PO_INK_LINE,
                             po_text_cut(a, lines[k].value, INNER / 2 - 28, 2.4, false));
            }
        }
    }
    return 3.3 * (double)half + 1.5;
}

static double care_block(po_drawing *d, po_arena *a, double y, const po_proof *proof, const po_shop *shop)
{
    const char *cautions[PO_MOST_CAUTIONS], *lines[MOST_LINES];
    size_t n = po_cautions(proof, shop, cautions);
    double at = y + 2.8;
    for (size_t i = 0; i < n; i++) {
        size_t k = po_text_wrap(a, cautions[i], INNER - 6, 2.3, false, lines, 2);
        for (size_t j = 0; j < k; j++, at += 3.1) {
            if (d) {
                if (!j) { /* a bar of its own shape: care, not a finding */
                    po_draw_rect(d, (po_box2){MARGIN + 1, at - 2, 0.9, 2.4}, PO_INK_LINE, PO_INK_NONE, 0);
                }
                po_draw_text(d, MARGIN + 4, at, 2.3, PO_ANCHOR_START, PO_INK_LINE, lines[j]);
            }
        }
    }
    for (size_t i = 0; i < proof->n_changed_rules && i < 3; i++) {
        size_t k = po_text_wrap(a, po_say_clean(a, proof->changed_rules[i]), INNER - 6, 2.3, false, lines, 1);
        for (size_t j = 0; j < k; j++, at += 3.1) {
            if (d) {
                po_draw_text(d, MARGIN + 4, at, 2.3, PO_ANCHOR_START, PO_INK_SOFT, lines[j]);
            }
        }
    }
    return at - y - 2.8 + 1;
}

static double divider(po_drawing *d, double y)
{
    po_draw_line(d, MARGIN, y, MARGIN + INNER, y, PO_INK_FAINT, 0.25);
    return y + 2;
}

po_status po_slip_pdf(const po_proof *proof, const po_shop *shop, const po_slip_options *options, po_arena *arena,
                      po_document *ret, po_err *err)
{
    po_drawing page, *d = &page;
    po_status status = PO_OK;
    const char *title = po_arena_printf(arena, "Slip: %s", last_part(po_say_clean(arena, proof->file)));
    po_draw_init(d, arena, PAGE_W, PAGE_H, title, NULL);
    double y = head(d, arena, proof, shop, options, &status, err);
    if (status) {
        return status;
    }
    double bottom = PAGE_H - 9, care_h = care_block(NULL, arena, 0, proof, shop),
           facts_h = facts_block(NULL, arena, 0, proof);
    double time_h = 26, room = bottom - 6 - care_h - facts_h - 4 - time_h - y;
    bool heights = proof->report->images.n_worst > 0;
    double frames_h = heights ? po_heights_height(INNER, 5) + 5 : 0, key_h = 5.5;

    /* Findings first, as many as leave the pictures their least height. */
    double least = 44 + frames_h + key_h, used = 0;
    size_t shown = 0;
    for (; shown < proof->n_findings; shown++) {
        double h = finding_block(NULL, arena, 0, 0, INNER, &proof->findings[shown], shown + 1);
        double after = shown + 1 < proof->n_findings ? 4 : 0;
        if (used + h + after + 2 > room - least) {
            break;
        }
        used += h;
    }
    double findings_h = proof->n_findings ? used + (shown < proof->n_findings ? 4 : 0) + 2 : 6;
    double panel_h = fmin(fmax(room - findings_h - frames_h - key_h - 3, 40), 150);

    po_picture_time(d, (po_box2){MARGIN, y, INNER, time_h}, proof, shop);
    y += time_h;
    y = divider(d, y);
    po_panels(d, (po_box2){MARGIN, y, INNER, panel_h}, proof);
    y += panel_h + 1;
    if (heights) {
        po_picture_heights(d, (po_box2){MARGIN, y, INNER, frames_h}, proof, 0, 5);
        y += frames_h - 1;
    }
    y += po_picture_key(d, MARGIN, y, INNER, proof) > 0 ? key_h : 0;
    y = divider(d, y - 1);
    if (!proof->n_findings) {
        po_draw_text(d, MARGIN, y + 3, 2.8, PO_ANCHOR_START, PO_INK_LINE, "Nothing to say against it.");
        y += 6;
    }
    for (size_t i = 0; i < shown; i++) {
        y += finding_block(d, arena, MARGIN, y, INNER, &proof->findings[i], i + 1);
    }
    if (shown < proof->n_findings) {
        po_text more;
        po_text_init(&more, arena);
        po_text_printf(&more, "and %zu more: ", proof->n_findings - shown);
        for (size_t i = shown; i < proof->n_findings; i++) {
            po_text_printf(&more, "%s%zu %s", i > shown ? ", " : "", i + 1, proof->findings[i].name);
        }
        po_draw_text(d, MARGIN + 11, y + 3, SMALL, PO_ANCHOR_START, PO_INK_SOFT,
                     more.failed ? "" : po_text_cut(arena, more.data, INNER - 11, SMALL, false));
        y += 4;
    }
    y = divider(d, y + 1);
    y += facts_block(d, arena, y, proof);
    if (care_h > 1.5) {
        y = divider(d, y);
        care_block(d, arena, y, proof, shop);
    }
    po_draw_text(d, MARGIN, bottom, 2, PO_ANCHOR_START, PO_INK_SOFT,
                 po_text_cut(arena,
                             po_arena_printf(arena, "SHA-256 %s, %llu bytes, %llu lines", proof->report->sha256,
                                             (unsigned long long)proof->report->facts.bytes,
                                             (unsigned long long)proof->report->facts.lines),
                             INNER - 22, 2, false));
    po_draw_text(d, MARGIN + INNER, bottom, 2, PO_ANCHOR_END, PO_INK_SOFT, "proveout");
    return po_render_pdf(d, title, arena, ret, err);
}
