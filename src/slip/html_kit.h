/* Pieces of slips as web pages. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_HTML_KIT_H
#define PO_SLIP_HTML_KIT_H

#include "slip/drawing.h"
#include "slip/say.h"

typedef struct po_html { /* zero it but for arena and err, then po_text_init(&out, arena) */
    po_text out;
    po_arena *arena;
    po_status status; /* the first failure of a picture */
    po_err *err;
} po_html;

/* From the first byte to <main>. shop_name and options may be NULL. */
void po_html_begin(po_html *p, const char *path, const char *shop_name, const po_slip_options *options);
/* The foot: the file, its size in words, its sum. */
po_status po_html_end(po_html *p, const char *path, const char *size, const char *sha256, po_document *ret) PO_MUST_USE;

/* <tag attributes>text</tag>; the text is made safe, tag and attributes are ours. */
void po_html_element(po_html *p, const char *tag, const char *attributes, const char *text);
void po_html_picture(po_html *p, const po_drawing *d);
void po_html_verdict_mark(po_html *p, po_verdict verdict);
void po_html_grade_mark(po_html *p, po_grade grade);
/* Class of a verdict's colour. */
const char *po_html_tone(po_verdict verdict);

/* The opening of a machine's section with its verdict; </section> is the caller's. */
void po_html_section(po_html *p, size_t number, const char *machine, po_verdict verdict, const char *file);
/* Label and value each; a row whose label is NULL is left out. */
void po_html_numbers(po_html *p, const po_fact_line *rows, size_t n);
void po_html_aloud(po_html *p, const char *aloud, po_verdict verdict);
/* of_part: places are on the part, not on the machine. */
void po_html_findings(po_html *p, const po_finding *list, size_t n, bool of_part);
void po_html_facts(po_html *p, const po_fact_line *lines, size_t n);
void po_html_care(po_html *p, const char *const *cautions, size_t n);
void po_html_rules(po_html *p, const char *const *changed, size_t n);

#endif
