/* The slip of a part as one A4 page. SPDX-License-Identifier: Apache-2.0
 *
 * From the top: verdict, machine and the numbers that the desk asks for, with a code of the file; the sentence to say; the
 * item that matters most as it lies; cuts beside its bed; ways up; what it takes; the findings; facts; care. Everything
 * must fit one page: findings come before pictures, and pictures are dropped from the least to the most needed. */
#include <math.h>
#include <string.h>

#include "slip/layout_kit.h"
#include "slip/part_pictures.h"
#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/text_kit.h"

#define MARGIN PO_PAGE_MARGIN
#define INNER PO_PAGE_INNER
#define BED_W 30.0
#define LIES_W (INNER - BED_W - 5) /* the bed stands beside it */
#define LIES_H 40.0
#define CUTS_W (INNER * 0.84)
enum { WAYS = 5 };

static const char *const WANTED[] = {"Holds", "Volume", "Mesh", "Unit", "Faults", "Allowance"};
static const char *const WIDE[] = {"Walls", "As it lies", "Overhangs", "Best way up", "Fits"}; /* a line each */
enum { N_WANTED = sizeof WANTED / sizeof *WANTED, N_WIDE = sizeof WIDE / sizeof *WIDE };

/* Facts: short ones in two columns, long ones beneath. */
static double facts(po_drawing *d, po_arena *a, double y, const po_fact_line *lines, size_t n)
{
    double h = po_layout_facts(d, a, y, lines, n, WANTED, N_WANTED) - 1.5;
    for (size_t i = 0; i < N_WIDE; i++) {
        for (size_t k = 0; k < n; k++) {
            if (strcmp(lines[k].label, WIDE[i])) {
                continue;
            }
            if (d) {
                double at = y + h + 2.8;
                po_draw_text(d, MARGIN, at, 2.4, PO_ANCHOR_START, PO_INK_SOFT, lines[k].label);
                po_draw_text(d, MARGIN + 26, at, 2.4, PO_ANCHOR_START, PO_INK_LINE,
                             po_text_cut(a, lines[k].value, INNER - 27, 2.4, false));
            }
            h += 3.3;
        }
    }
    return h + 1.5;
}

static po_status head(po_drawing *d, po_arena *a, const po_part_proof *proof, const po_slip_options *options,
                      double *ret_y, po_err *err)
{
    const po_part_report *r = proof->report;
    const po_estimate *e = po_part_judged(r);
    const double(*b)[3] = r->totals.bounds_mm;
    po_layout_head_text t = {.verdict = proof->verdict,
                             .machine = r->machine->name,
                             .file = proof->file,
                             .shop_name = r->shop->name,
                             .today = options ? options->today : NULL,
                             .code = options ? options->code : NULL,
                             .sha256 = r->part->sha256,
                             .aloud = proof->aloud,
                             .numbers_x = {0, 50, 84, 110}};
    if (e) {
        t.numbers[1] = (po_fact_line){"filament, about", po_say_metres(a, e->filament_mm)};
        t.numbers[2] = (po_fact_line){r->material ? po_say_clean(a, r->material->name) : "mass",
                                      po_say_grams(a, e->filament_g)};
        t.numbers[3] = (po_fact_line){"takes about", po_say_time(a, e->seconds)};
    }
    if (isfinite(b[0][0])) {
        t.numbers[0] = (po_fact_line){"size, mm",
                                      po_arena_printf(a, "%s x %s x %s", po_say_number(a, b[1][0] - b[0][0], 1),
                                                      po_say_number(a, b[1][1] - b[0][1], 1),
                                                      po_say_number(a, b[1][2] - b[0][2], 1))};
    }
    return po_layout_head(d, a, &t, ret_y, err);
}

typedef struct plan { /* heights, mm; 0 = left out */
    double lies, cuts, ways, takes, key, bed;
    size_t shown;
} plan;

static double sum(const plan *p)
{
    double first = fmax(p->lies + p->key, p->bed), gaps = (first > 0) + (p->cuts > 0) + (p->ways > 0) + (p->takes > 0);
    return first + p->cuts + p->ways + p->takes + 1.5 * gaps;
}

/* Whether a finding is one that cuts show better than ways up do. */
static bool asks_for_cuts(const po_part_proof *proof)
{
    static const char *const NAMES[] = {"thin-walls", "slim-walls", "narrow-gaps", "open-edges", "not-a-solid"};
    for (size_t i = 0; i < proof->n_findings; i++) {
        for (size_t k = 0; k < sizeof NAMES / sizeof *NAMES; k++) {
            if (!strcmp(proof->findings[i].name, NAMES[k])) {
                return true;
            }
        }
    }
    return false;
}

/* Pictures go, the least needed first, until the findings have their room; findings that still do not fit are counted
 * and named. What is left over makes the first picture larger. */
static plan make_plan(po_arena *a, const po_part_proof *proof, size_t solid, double room, bool key)
{
    const po_part_report *r = proof->report;
    double used, wanted;
    plan p = {.lies = r->n_solids ? LIES_H : 0,
              .cuts = po_part_sections_height(r, solid, CUTS_W),
              .ways = po_part_ways_height(r, solid, INNER, WAYS, WAYS),
              .takes = po_part_takes_height(r),
              .key = key ? 5.5 : 0,
              .bed = po_part_machine_index(r) != SIZE_MAX ? po_part_beds_height(r, solid, BED_W, 1, 1) : 0};
    po_layout_fitting(a, proof->findings, proof->n_findings, true, 1e6, &wanted);
    wanted = fmin(proof->n_findings ? wanted + 2 : 6, 70);
    bool cuts = p.cuts > 0 && asks_for_cuts(proof);
    double *const drop[] = {cuts ? &p.ways : &p.cuts, cuts ? &p.cuts : &p.ways, &p.takes};
    for (size_t i = 0; i < sizeof drop / sizeof *drop && sum(&p) + wanted > room; i++) {
        *drop[i] = 0;
    }
    double beside = fmax(p.bed - p.lies - p.key, 0);
    p.lies += p.lies > 0 ? beside : 0; /* as tall as the bed at least */
    double left = room - sum(&p);
    p.shown = po_layout_fitting(a, proof->findings, proof->n_findings, true, left, &used);
    double findings = proof->n_findings ? used + (p.shown < proof->n_findings ? 4 : 0) + 2 : 6;
    p.lies += p.lies > 0 ? fmin(fmax(left - findings, 0), 46) : 0;
    return p;
}

po_status po_part_slip_pdf(const po_part_proof *proof, const po_slip_options *options, po_arena *arena,
                           po_document *ret, po_err *err)
{
    po_drawing page, *d = &page;
    const po_part_report *r = proof->report;
    const char *title = po_arena_printf(arena, "Slip: %s", po_last_part(po_say_clean(arena, proof->file)));
    size_t solid = po_part_worst_solid(proof);
    po_part_gallery g;
    double y;
    po_draw_init(d, arena, PO_PAGE_W, PO_PAGE_H, title, NULL);
    po_status status = po_part_gallery_make(r, solid, arena, &g, err);
    status = status ? status : head(d, arena, proof, options, &y, err);
    if (status) {
        return status;
    }
    const char *cautions[PO_MOST_CAUTIONS];
    po_fact_line lines[PO_MOST_FACT_LINES];
    size_t n_cautions = po_part_cautions(proof, cautions), n_lines = po_part_fact_lines(proof, arena, lines);
    double care_h = po_layout_care(NULL, arena, 0, cautions, n_cautions, proof->changed_rules, proof->n_changed_rules);
    double facts_h = facts(NULL, arena, 0, lines, n_lines);
    po_drawing scratch;
    po_draw_init(&scratch, arena, 1, 1, NULL, NULL);
    bool key = po_part_picture_key(&scratch, 0, 0, INNER, &g, solid) > 0;
    plan p = make_plan(arena, proof, solid, PO_PAGE_BOTTOM - 6 - care_h - facts_h - 6 - y, key);
    if (p.lies > 0) {
        po_part_picture_lies(d, (po_box2){MARGIN, y, p.bed > 0 ? LIES_W : INNER, p.lies}, &g, proof, solid,
                             r->n_solids > 1 ? po_say_item(arena, r, solid) : NULL);
        po_part_picture_beds(d, (po_box2){MARGIN + INNER - BED_W, y, BED_W, p.bed}, r, solid, po_part_machine_index(r),
                             p.bed > 0, 1);
        po_part_picture_key(d, MARGIN, y + p.lies, LIES_W, &g, solid);
        y += p.lies + p.key + 1.5;
    }
    if (p.cuts > 0) {
        po_part_picture_sections(d, (po_box2){MARGIN, y, CUTS_W, p.cuts}, r, solid);
        y += p.cuts + 1.5;
    }
    if (p.ways > 0) {
        po_part_picture_ways(d, (po_box2){MARGIN, y, INNER, p.ways}, &g, solid, WAYS, WAYS);
        y += p.ways + 1.5;
    }
    if (p.takes > 0) {
        po_part_picture_takes(d, (po_box2){MARGIN, y, INNER, p.takes}, r);
        y += p.takes + 1.5;
    }
    y = po_layout_divider(d, y - 1);
    y = po_layout_findings(d, arena, y, proof->findings, proof->n_findings, p.shown, true);
    y = po_layout_divider(d, y + 1);
    y += facts(d, arena, y, lines, n_lines);
    if (care_h > 1.5) {
        y = po_layout_divider(d, y);
        po_layout_care(d, arena, y, cautions, n_cautions, proof->changed_rules, proof->n_changed_rules);
    }
    po_layout_foot(d, arena, r->part->sha256,
                   po_arena_printf(arena, "%llu bytes, %llu triangles", (unsigned long long)r->part->bytes,
                                   (unsigned long long)r->totals.triangles));
    return po_render_pdf(d, title, arena, ret, err);
}
