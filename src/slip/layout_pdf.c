/* The slip of a job as one A4 page. SPDX-License-Identifier: Apache-2.0
 *
 * From the top: verdict, machine and the four numbers that the desk asks for, with a code of the file; the sentence to
 * say; the run's time; the pictures; the findings with the numbers of the flags; facts; care. Everything must fit one
 * page: findings are set first, the pictures take what is left, and what does not fit is counted and named. */
#include <math.h>

#include "slip/layout_kit.h"
#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/text_kit.h"

#define MARGIN PO_PAGE_MARGIN
#define INNER PO_PAGE_INNER

static const char *const WANTED[] = {
    "Layers", "Bead width", "Made of", "Nearest recipe", "Size",    "First layer down", "Nozzle",
    "Bed",    "Fan",        "Flow",    "Parts",          "Bridges", "Overhangs",        "Watch"};
enum { N_WANTED = sizeof WANTED / sizeof *WANTED };

static po_status head(po_drawing *d, po_arena *a, const po_proof *proof, const po_shop *shop,
                      const po_slip_options *options, double *ret_y, po_err *err)
{
    const po_job_report *r = proof->report;
    const po_job_facts *f = &r->facts;
    po_layout_head_text t = {.verdict = proof->verdict,
                             .machine = r->machine->name,
                             .file = proof->file,
                             .shop_name = shop ? shop->name : NULL,
                             .today = options ? options->today : NULL,
                             .code = options ? options->code : NULL,
                             .sha256 = r->sha256,
                             .aloud = proof->aloud,
                             .numbers_x = {0, 32, 62, 104}};
    t.numbers[0] = (po_fact_line){"filament", po_say_metres(a, f->filament_mm)};
    t.numbers[1] = (po_fact_line){po_say_materials(a, r), po_say_grams(a, f->filament_g)};
    t.numbers[2] = (po_fact_line){"takes", po_say_time(a, f->seconds)};
    if (proof->start_known) {
        t.numbers[3] = (po_fact_line){"ends", po_say_clock(a, proof->end, NULL)};
    } else if (isfinite(proof->cool_seconds)) {
        t.numbers[3] = (po_fact_line){"cool after the end", po_say_time(a, proof->cool_seconds)};
    }
    return po_layout_head(d, a, &t, ret_y, err);
}

po_status po_slip_pdf(const po_proof *proof, const po_shop *shop, const po_slip_options *options, po_arena *arena,
                      po_document *ret, po_err *err)
{
    po_drawing page, *d = &page;
    const char *title = po_arena_printf(arena, "Slip: %s", po_last_part(po_say_clean(arena, proof->file)));
    po_draw_init(d, arena, PO_PAGE_W, PO_PAGE_H, title, NULL);
    double y;
    po_status status = head(d, arena, proof, shop, options, &y, err);
    if (status) {
        return status;
    }
    const char *cautions[PO_MOST_CAUTIONS];
    po_fact_line lines[PO_MOST_FACT_LINES];
    size_t n_cautions = po_cautions(proof, shop, cautions), n_lines = po_fact_lines(proof, arena, lines);
    double care_h = po_layout_care(NULL, arena, 0, cautions, n_cautions, proof->changed_rules, proof->n_changed_rules);
    double facts_h = po_layout_facts(NULL, arena, 0, lines, n_lines, WANTED, N_WANTED);
    double time_h = 26, room = PO_PAGE_BOTTOM - 6 - care_h - facts_h - 4 - time_h - y;
    bool heights = proof->report->images.n_worst > 0;
    double frames_h = heights ? po_heights_height(INNER, 5) + 5 : 0, key_h = 5.5;

    /* Findings first, as many as leave the pictures their least height. */
    double least = 44 + frames_h + key_h, used;
    size_t shown = po_layout_fitting(arena, proof->findings, proof->n_findings, false, room - least, &used);
    double findings_h = proof->n_findings ? used + (shown < proof->n_findings ? 4 : 0) + 2 : 6;
    double panel_h = fmin(fmax(room - findings_h - frames_h - key_h - 3, 40), 150);

    po_picture_time(d, (po_box2){MARGIN, y, INNER, time_h}, proof, shop);
    y += time_h;
    y = po_layout_divider(d, y);
    po_panels(d, (po_box2){MARGIN, y, INNER, panel_h}, proof);
    y += panel_h + 1;
    if (heights) {
        po_picture_heights(d, (po_box2){MARGIN, y, INNER, frames_h}, proof, 0, 5);
        y += frames_h - 1;
    }
    y += po_picture_key(d, MARGIN, y, INNER, proof) > 0 ? key_h : 0;
    y = po_layout_divider(d, y - 1);
    y = po_layout_findings(d, arena, y, proof->findings, proof->n_findings, shown, false);
    y = po_layout_divider(d, y + 1);
    y += po_layout_facts(d, arena, y, lines, n_lines, WANTED, N_WANTED);
    if (care_h > 1.5) {
        y = po_layout_divider(d, y);
        po_layout_care(d, arena, y, cautions, n_cautions, proof->changed_rules, proof->n_changed_rules);
    }
    po_layout_foot(d, arena, proof->report->sha256,
                   po_arena_printf(arena, "%llu bytes, %llu lines", (unsigned long long)proof->report->facts.bytes,
                                   (unsigned long long)proof->report->facts.lines));
    return po_render_pdf(d, title, arena, ret, err);
}
