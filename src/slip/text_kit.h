/* Pieces of slips as plain text. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_TEXT_KIT_H
#define PO_SLIP_TEXT_KIT_H

#include "slip/say.h"

typedef struct po_page {
    po_text out;
    size_t columns;
    bool colour;
} po_page;

/* options may be NULL: 80 columns, no colour. */
void po_page_init(po_page *page, const po_slip_options *options, po_arena *arena);
/* Text broken at blanks: `first` stands before the first line, then so many blanks before the others. */
void po_page_paragraph(po_page *page, const char *first, size_t indent, const char *text);
/* A line of one character. */
void po_page_rule(po_page *page, char c);
/* The verdict in large letters, five lines beside it. */
void po_page_banner(po_page *page, po_verdict verdict, const char *const lines[5]);
/* of_part: places are on the part, not on the machine. */
void po_page_findings(po_page *page, const po_finding *findings, size_t n, bool of_part);
/* "Facts", a label and value each. */
void po_page_facts(po_page *page, const po_fact_line *lines, size_t n);
/* A heading and paragraphs with a mark of four columns; nothing where n is 0. */
void po_page_list(po_page *page, const char *heading, const char *mark, const char *const *texts, size_t n);
/* File, sum, shop and day at the foot. shop may be NULL. */
void po_page_end(po_page *page, const char *file, const char *sha256, const po_shop *shop,
                 const po_slip_options *options);
/* What stands behind the last slash of a path. */
const char *po_last_part(const char *path);

/* ---- tables ---- */

/* A cell of exactly n columns. */
void po_table_cell(po_text *out, const char *text, size_t n, bool right);
/* A sentence over several lines of at most n columns. */
void po_table_wrapped(po_text *out, const char *text, size_t n);
/* The columns asked for, at least 60. */
size_t po_table_columns(const po_slip_options *options);
/* The path in one line of at most n columns: its end says more than its beginning. */
void po_table_path(po_text *out, const char *path, size_t n);
/* "yes", "ask" or "no" in three columns. */
void po_table_answer(po_text *out, po_verdict verdict, bool colour);
/* "too-big +2": the gravest finding and how many more are no mere notes, in at most n columns, then the line's end. */
void po_table_why(po_text *out, const po_finding *findings, size_t n_findings, size_t n);

#endif
