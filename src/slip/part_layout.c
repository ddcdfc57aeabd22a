/* The slip of a part as one A4 page. SPDX-License-Identifier: Apache-2.0
 *
 * From the top: verdict, machine and the numbers that the desk asks for, with a code of the file; the sentence to say; the
 * item that matters most as it lies; cuts beside its bed; ways up; what it takes; the findings; facts; care. Everything
 * must fit one page: findings come before pictures, and pictures are dropped from the least to the most needed. */
#include <math.h>

#include "slip/layout_kit.h"
#include "slip/part_pictures.h"
#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/text_kit.h"

#define MARGIN PO_PAGE_MARGIN
#define INNER PO_PAGE_INNER
#define BED_W 42.0
#define CUTS_W (INNER - BED_W - 6)
#define WAYS 4

static const char *const WANTED[] = {"Holds", "Size",       "Unit",      "Volume", "Mesh",  "Faults",
                                     "Walls", "As it lies", "Overhangs", "Fits",   "Wants", "Allowance"};
enum { N_WANTED = sizeof WANTED / sizeof *WANTED };

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
                             .sha256 = r->part->sha256,
                             .aloud = proof->aloud,
                             .numbers_x = {0, 36, 64, 100}};
    if (e) {
        t.numbers[0] = (po_fact_line){"filament, about", po_say_metres(a, e->filament_mm)};
        t.numbers[1] = (po_fact_line){r->material ? po_say_clean(a, r->material->name) : "mass",
                                      po_say_grams(a, e->filament_g)};
        t.numbers[2] = (po_fact_line){"takes about", po_say_time(a, e->seconds)};
    }
    if (isfinite(b[0][0])) {
        t.numbers[3] = (po_fact_line){"size, mm",
                                      po_arena_printf(a, "%s x %s x %s", po_say_number(a, b[1][0] - b[0][0], 1),
                                                      po_say_number(a, b[1][1] - b[0][1], 1),
                                                      po_say_number(a, b[1][2] - b[0][2], 1))};
    }
    return po_layout_head(d, a, &t, ret_y, err);
}

typedef struct plan { /* heights, mm; 0 = left out */
    double lies, cuts, ways, takes, key, findings;
    size_t shown;
} plan;

static double sum(const plan *p)
{
    double gaps = (p->lies > 0) + (p->cuts > 0) + (p->ways > 0) + (p->takes > 0);
    return p->lies + p->cuts + p->ways + p->takes + p->key + 1.5 * gaps;
}

/* Pictures shrink, then go, until the findings have their room; findings that still do not fit are counted and named. */
static plan make_plan(po_arena *a, const po_part_proof *proof, size_t solid, double room, bool key)
{
    const po_part_report *r = proof->report;
    size_t machine = po_part_machine_index(r);
    double cuts = po_part_sections_height(r, solid, CUTS_W);
    double bed = machine != SIZE_MAX ? po_part_beds_height(r, solid, BED_W, 1, 1) : 0;
    plan p = {.lies = r->n_solids ? 44 : 0,
              .cuts = fmax(cuts, bed),
              .ways = po_part_ways_height(r, solid, INNER, WAYS, WAYS),
              .takes = po_part_takes_height(r),
              .key = key ? 5.5 : 0};
    double wanted, *const drop[] = {&p.ways, &p.cuts, &p.takes};
    p.shown = po_layout_fitting(a, proof->findings, proof->n_findings, true, 1e6, &wanted);
    wanted = proof->n_findings ? wanted + 2 : 6;
    for (size_t i = 0; i < sizeof drop / sizeof *drop && sum(&p) + fmin(wanted, 70) > room; i++) {
        *drop[i] = 0;
    }
    double left = room - sum(&p), used;
    p.shown = po_layout_fitting(a, proof->findings, proof->n_findings, true, left, &used);
    p.findings = proof->n_findings ? used + (p.shown < proof->n_findings ? 4 : 0) + 2 : 6;
    p.lies += p.lies > 0 ? fmin(fmax(left - p.findings, 0), 46) : 0;
    return p;
}

po_status po_part_slip_pdf(const po_part_proof *proof, const po_slip_options *options, po_arena *arena,
                           po_document *ret, po_err *err)
{
    po_drawing page, *d = &page;
    const po_part_report *r = proof->report;
    const char *title = po_arena_printf(arena, "Slip: %s", po_last_part(po_say_clean(arena, proof->file)));
    size_t solid = po_part_worst_solid(proof), machine = po_part_machine_index(r);
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
    double facts_h = po_layout_facts(NULL, arena, 0, lines, n_lines, WANTED, N_WANTED);
    po_drawing scratch;
    po_draw_init(&scratch, arena, 1, 1, NULL, NULL);
    bool key = po_part_picture_key(&scratch, 0, 0, INNER, &g, solid) > 0;
    plan p = make_plan(arena, proof, solid, PO_PAGE_BOTTOM - 6 - care_h - facts_h - 6 - y, key);
    if (p.lies > 0) {
        po_part_picture_lies(d, (po_box2){MARGIN, y, INNER, p.lies}, &g, proof, solid);
        y += p.lies + 1.5;
        y += key ? po_part_picture_key(d, MARGIN, y - 1, INNER, &g, solid) + 0.9 : 0;
    }
    if (p.cuts > 0) {
        double h = po_part_sections_height(r, solid, CUTS_W);
        po_part_picture_sections(d, (po_box2){MARGIN, y, CUTS_W, h}, r, solid);
        if (machine != SIZE_MAX) {
            h = po_part_beds_height(r, solid, BED_W, 1, 1);
            po_part_picture_beds(d, (po_box2){MARGIN + INNER - BED_W, y, BED_W, h}, r, solid, machine, 1, 1);
        }
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
    y += po_layout_facts(d, arena, y, lines, n_lines, WANTED, N_WANTED);
    if (care_h > 1.5) {
        y = po_layout_divider(d, y);
        po_layout_care(d, arena, y, cautions, n_cautions, proof->changed_rules, proof->n_changed_rules);
    }
    po_layout_foot(d, arena, r->part->sha256,
                   po_arena_printf(arena, "%llu bytes, %llu triangles", (unsigned long long)r->part->bytes,
                                   (unsigned long long)r->totals.triangles));
    return po_render_pdf(d, title, arena, ret, err);
}
