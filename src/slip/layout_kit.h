/* Pieces of slips as printed pages. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_LAYOUT_KIT_H
#define PO_SLIP_LAYOUT_KIT_H

#include "slip/drawing.h"
#include "slip/say.h"

#define PO_PAGE_W 210.0
#define PO_PAGE_H 297.0
#define PO_PAGE_MARGIN 13.0
#define PO_PAGE_INNER (PO_PAGE_W - 2 * PO_PAGE_MARGIN)
#define PO_PAGE_BOTTOM (PO_PAGE_H - 9)

enum { PO_HEAD_NUMBERS = 4 };
typedef struct po_layout_head_text {
    po_verdict verdict;
    const char *machine, *file, *shop_name, *today, *sha256, *code,
        *aloud;                            /* shop_name, today, code, aloud: NULL = none */
    po_fact_line numbers[PO_HEAD_NUMBERS]; /* label NULL = left out */
    double numbers_x[PO_HEAD_NUMBERS];     /* mm from the margin */
} po_layout_head_text;

/* Verdict, names, the code of the file, the numbers that the desk asks for, and the sentence to say. ret_y: below it. */
po_status po_layout_head(po_drawing *d, po_arena *a, const po_layout_head_text *text, double *ret_y,
                         po_err *err) PO_MUST_USE;
/* Height that a finding takes; drawn when d is given. */
double po_layout_finding(po_drawing *d, po_arena *arena, double x, double y, double w, const po_finding *f,
                         size_t number, bool of_part);
/* How many findings, from the first on, fit into `room`; ret_used: their height. */
size_t po_layout_fitting(po_arena *arena, const po_finding *findings, size_t n, bool of_part, double room,
                         double *ret_used);
/* Those, and a line that counts and names the others. Returns y below it. */
double po_layout_findings(po_drawing *d, po_arena *arena, double y, const po_finding *findings, size_t n, size_t shown,
                          bool of_part);
/* Those facts that are wanted, in two columns; returns the height (drawn when d is given). */
double po_layout_facts(po_drawing *d, po_arena *a, double y, const po_fact_line *lines, size_t n,
                       const char *const *wanted, size_t count);
/* Cautions and the shop's own rules; as above. */
double po_layout_care(po_drawing *d, po_arena *a, double y, const char *const *cautions, size_t n,
                      const char *const *changed, size_t n_changed);
/* Returns y below it. */
double po_layout_divider(po_drawing *d, double y);
void po_layout_foot(po_drawing *d, po_arena *a, const char *sha256, const char *size);

#endif
